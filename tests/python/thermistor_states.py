"""A temperature channel as one part after the other: a program of its own that looks for the worst of them.

A part is a point in a box: the temperature, how far everything that comes and goes is there, the read-out's ambient, and
every deviation anywhere inside its limits. Its chain is followed as the parts do it, sensor to code and back to kelvin by
the firmware's constants. The worst part is looked for by drawing parts at random and walking from the worst of them along
one axis at a time, which knows nothing of sensitivities, sums or corners.
"""

import math

import numpy

ZERO = 273.15
T25 = 298.15
CLASSES = {"aa": (0.1, 0.0017), "a": (0.15, 0.002), "b": (0.3, 0.005), "c": (0.6, 0.01)}
NOMINAL = {"pt100": 100.0, "pt500": 500.0, "pt1000": 1000.0}


def bisected(function, wanted, low, high):
    """Where a rising function has a value, for whole arrays."""
    low, high = numpy.full_like(wanted, low), numpy.full_like(wanted, high)
    for _ in range(70):
        middle = 0.5 * (low + high)
        below = function(middle) < wanted
        low, high = numpy.where(below, middle, low), numpy.where(below, high, middle)
    return 0.5 * (low + high)


class Curve:
    """Resistance and temperature of the sensor by the constants that firmware knows."""

    def __init__(self, given):
        self.kind = given["curve"]
        self.given = given[self.kind.replace("-", "_")]
        self.falls = self.kind != "platinum"

    def ohm(self, degc):
        kelvin = numpy.asarray(degc, dtype=float) + ZERO
        if self.kind == "beta":
            return self.given["r25_ohm"] * numpy.exp(self.given["beta_k"] * (1.0 / kelvin - 1.0 / T25))
        if self.kind == "steinhart-hart":
            a, b, c = (self.given[name] for name in "abc")
            return numpy.exp(bisected(lambda log: a + b * log + c * log**3, 1.0 / kelvin, -5.0, 25.0))
        t = kelvin - ZERO
        below = numpy.where(t < 0.0, -4.183e-12 * (t - 100.0) * t**3, 0.0)
        return NOMINAL[self.given["nominal"]] * (1.0 + 3.9083e-3 * t - 5.775e-7 * t * t + below)

    def degc(self, ohm):
        log = numpy.log(ohm)
        if self.kind == "beta":
            return 1.0 / (1.0 / T25 + (log - math.log(self.given["r25_ohm"])) / self.given["beta_k"]) - ZERO
        if self.kind == "steinhart-hart":
            a, b, c = (self.given[name] for name in "abc")
            return 1.0 / (a + b * log + c * log**3) - ZERO
        return bisected(self.ohm, ohm, -199.0, 849.0)


class Channel:
    """The box of parts, its axes in the order in which `error` takes them, each from 0 to 1."""

    def __init__(self, given):
        self.given = given
        self.curve = Curve(given)
        with_ = given["requirement"]
        self.range = with_.get("from_degc", given["min_degc"]), with_.get("to_degc", given["max_degc"])
        span = given["electronics_span_k"]
        self.ambient = (
            given.get("electronics_min_degc", T25 - ZERO - span),
            given.get("electronics_max_degc", T25 - ZERO + span),
        )
        counts = with_["with_lag_and_gradient"]
        body, cell = given["body"], given["cell"]
        self.lag_k = body["time_constant_s"] * body["ramp_k_per_s"] if counts else 0.0
        self.gradient_k = cell["thermal_resistance_k_per_w"] * cell["heat_flow_w"] if counts else 0.0
        leak = given["wiring"].get("leakage_ohm")
        self.leak_s = 1.0 / leak if leak else 0.0
        self.limits = self.deviations()
        self.states = 6  # temperature, heat, leakage, lag, gradient, ambient
        self.axes = self.states + len(self.limits)
        low, high = given["min_degc"], given["max_degc"]
        self.grid = numpy.linspace(min(low, self.range[0]), max(high, self.range[1]), 601)
        self.heat = self.self_heating(self.grid)

    def deviations(self):
        """The limits of one part, as shares unless the name says kelvin or steps."""
        given, read_out = self.given, self.given["read_out"]
        percent = lambda group, name: given[group][name] / 100.0
        kind = self.curve.kind
        sensor = {
            "beta": (
                percent("beta", "r25_tolerance_percent"),
                percent("beta", "beta_tolerance_percent"),
                given["beta"].get("curve_k", 0.0),
            ),
            "steinhart-hart": (
                percent("steinhart_hart", "tolerance_percent"),
                0.0,
                given["steinhart_hart"]["tolerance_k"],
            ),
            "platinum": (0.0, 0.0, 1.0),
        }[kind]
        ageing = [given["ageing"][name] / 100.0 for name in ("sensor_percent", "part_percent", "reference_percent")]
        adc, o, d, c = given["converter"], given["oscillator"], given["divider"], given["current"]
        beside = o.get("reference_ohm")
        if read_out == "divider":
            own = d["ratiometric"]
            part = d["fixed_tolerance_percent"] / 100.0, d["fixed_tcr_ppm_per_k"] * 1e-6
            reference = 0.0 if own else d["reference_error_percent"] / 100.0
            ageing[2] *= 0.0 if own else 1.0
        elif read_out == "current":
            part, reference = (c["error_percent"] / 100.0, c["drift_ppm_per_k"] * 1e-6), 0.0
        elif beside:
            part, reference = (o["reference_tolerance_percent"] / 100.0, o["reference_tcr_ppm_per_k"] * 1e-6), 0.0
            ageing[2] = 0.0
        else:
            part = o["capacitance_tolerance_percent"] / 100.0, o["capacitance_tcr_ppm_per_k"] * 1e-6
            reference = o["threshold_error_percent"] / 100.0
        if read_out == "oscillator":
            clock = 0.0 if beside else o["clock_error_ppm"] * 1e-6
            late = o["comparator_delay_s"] * o["delay_spread_percent"] / 100.0
            steps = clock, 0.0, 0.0, 1.0, 1.0 if beside else 0.0
        else:
            full = d["supply_v"] if read_out == "divider" and d["ratiometric"] else adc["full_scale_v"]
            late = 0.0
            steps = adc["gain_error_percent"] / 100.0, adc["offset_v"] / full * 2 ** adc["bits"], adc["inl_lsb"], 0.5, 0.0
        return numpy.array([*sensor, *ageing, *part, reference, late, *steps])

    def power(self, ohm):
        given, read_out = self.given, self.given["read_out"]
        if read_out == "divider":
            return (given["divider"]["supply_v"] / (ohm + given["divider"]["fixed_ohm"])) ** 2 * ohm
        if read_out == "current":
            return given["current"]["current_a"] ** 2 * ohm
        # The capacitor swings between the thresholds: the mean square of the resistor's voltage over a half period, by a sum.
        o = given["oscillator"]
        ratio = math.exp(o["k"] / 2.0)
        time = (numpy.arange(20000) + 0.5) / 20000 * o["k"] / 2.0
        across = o["supply_v"] * ratio / (1.0 + ratio) * numpy.exp(-time)
        return numpy.mean(across**2) / ohm

    def self_heating(self, degc):
        body = self.given["body"]
        scale = body["duty_percent"] / 100.0 / body["dissipation_w_per_k"]
        rise = numpy.zeros_like(degc)
        for _ in range(400):
            rise = 0.7 * rise + 0.3 * scale * self.power(self.curve.ohm(degc + rise))
        return rise

    def parts(self, z):
        """What the axes mean: temperature, the sensor's own, states, deviations."""
        low, high = self.range
        degc = low + (high - low) * z[0]
        own = degc + z[1] * numpy.interp(degc, self.grid, self.heat)
        ambient = self.ambient[0] + (self.ambient[1] - self.ambient[0]) * z[5]
        off = self.lag_k * (1.0 - 2.0 * z[3]) - self.gradient_k * z[4]
        deviations = (2.0 * z[self.states :] - 1.0) * self.limits[:, None]
        return degc, own, z[2] * self.leak_s, ambient - (T25 - ZERO), off, deviations

    def code(self, own, kelvin, leak, away, d):
        """The code that firmware sees, not clipped, and that of the reference beside it."""
        given = self.given
        r, beta, _, aged, part_aged, reference_aged, part, drift, reference, late, gain, offset, bend, step, beside = d
        sensor = self.curve.ohm(own + kelvin) * (1.0 + r) * (1.0 + aged)
        if self.curve.kind == "beta":
            sensor = sensor * numpy.exp(given["beta"]["beta_k"] * beta * (1.0 / (own + ZERO) - 1.0 / T25))
        seen = 1.0 / (1.0 / sensor + leak) + given["wiring"]["lead_ohm"]
        fixed = (1.0 + part) * (1.0 + drift * away) * (1.0 + part_aged)
        against = (1.0 + reference) * (1.0 + reference_aged)
        adc, o = given["converter"], given["oscillator"]
        if given["read_out"] == "divider":
            divider = given["divider"]
            resistor = divider["fixed_ohm"] * fixed
            share = (seen if divider["side"] == "low" else resistor) / (seen + resistor)
            full = 1.0 if divider["ratiometric"] else adc["full_scale_v"] / divider["supply_v"]
            return 2 ** adc["bits"] * share / full * against * (1.0 + gain) + offset + bend + step, None
        if given["read_out"] == "current":
            volt = given["current"]["current_a"] * fixed * seen
            return 2 ** adc["bits"] * volt / adc["full_scale_v"] * against * (1.0 + gain) + offset + bend + step, None
        delay = 2.0 * (o["comparator_delay_s"] + late)
        if o.get("reference_ohm"):
            period = o["k"] * o["capacitance_farad"] * seen + delay
            other = o["k"] * o["capacitance_farad"] * o["reference_ohm"] * fixed + delay
            return self.counted(period, 0.0, step), self.counted(other, 0.0, beside)
        period = o["k"] * o["capacitance_farad"] * seen * fixed * against + delay
        return self.counted(period, gain, step), None

    def counted(self, period, gain, step):
        o = self.given["oscillator"]
        if o["counting"] == "gated":
            return o["gate_s"] / period * (1.0 + gain) + step
        return period * o["clock_hz"] * o["periods"] * (1.0 + gain) + step

    def read(self, code, beside):
        """What firmware shows, degC."""
        given = self.given
        adc, o = given["converter"], given["oscillator"]
        if given["read_out"] == "divider":
            divider = given["divider"]
            full = 1.0 if divider["ratiometric"] else adc["full_scale_v"] / divider["supply_v"]
            share = code / 2 ** adc["bits"] * full
            ratio = share / (1.0 - share)
            ohm = divider["fixed_ohm"] * (ratio if divider["side"] == "low" else 1.0 / ratio)
        elif given["read_out"] == "current":
            ohm = code / 2 ** adc["bits"] * adc["full_scale_v"] / given["current"]["current_a"]
        else:
            known = 2.0 * o["comparator_delay_s"] if o["delay_corrected"] else 0.0
            rate = o["clock_hz"] * o["periods"]
            period = (lambda n: o["gate_s"] / n) if o["counting"] == "gated" else (lambda n: n / rate)
            if beside is None:
                ohm = (period(code) - known) / (o["k"] * o["capacitance_farad"])
            else:
                ohm = o["reference_ohm"] * (period(code) - known) / (period(beside) - known)
        return self.curve.degc(ohm)

    def error(self, z):
        """Reading less what is to be read, K."""
        degc, own, leak, away, off, d = self.parts(z)
        with numpy.errstate(all="ignore"):
            return self.read(*self.code(own, self.kelvin(own, d), leak, away, d)) + off - degc

    def kelvin(self, own, d):
        """How far the sensor itself is off its curve: what it has at another temperature."""
        if self.curve.kind == "platinum":
            fixed, slope = CLASSES[self.given["platinum"]["class"]]
            return d[2] * (fixed + slope * abs(own))
        return d[2]

    def size(self, z):
        """How far a reading is off, K."""
        return abs(self.error(z))

    def reached(self, z):
        """How near the code of a part is to the ends of its converter: 1 is at an end."""
        _, own, leak, away, _, d = self.parts(z)
        code, _ = self.code(own, self.kelvin(own, d), leak, away, d)
        if self.given["read_out"] == "oscillator":
            return numpy.where(code > 0.0, 1.0 / (1.0 + code), 1.0 - code)
        top = 2 ** self.given["converter"]["bits"] - 1
        return numpy.abs(2.0 * code / top - 1.0)

    def whole(self):
        """The box over the sensor's range as well."""
        other = Channel(self.given)
        low, high = other.range
        other.range = min(low, self.given["min_degc"]), max(high, self.given["max_degc"])
        return other


def largest(function, axes, dice, fixed=(), draws=4000, walkers=24, sweeps=4):
    """The largest value found over the box: drawn at random, then axis by axis from the best."""
    z = dice.random((axes, draws))
    ends = dice.random((axes, draws))
    z = numpy.where(ends < 0.35, 0.0, numpy.where(ends > 0.65, 1.0, z))
    for axis, value in fixed:
        z[axis] = value
    size = numpy.nan_to_num(function(z), nan=numpy.inf)
    order = numpy.argsort(-size)[:walkers]
    z, best = z[:, order], size[order]
    closed = {axis for axis, _ in fixed}
    reach = 0.25
    for _ in range(sweeps):
        for axis in range(axes):
            if axis in closed:
                continue
            tries = [numpy.zeros(z.shape[1]), numpy.ones(z.shape[1])]
            tries += [numpy.clip(z[axis] + step * reach, 0.0, 1.0) for step in (-1.0, -0.3, 0.3, 1.0)]
            for value in tries:
                moved = z.copy()
                moved[axis] = value
                now = numpy.nan_to_num(function(moved), nan=numpy.inf)
                better = now > best
                z[:, better], best = moved[:, better], numpy.where(better, now, best)
        reach *= 0.4
    return best.max(), z[:, best.argmax()]


def root_sum_square(channel, degc_count=161):
    """Known deviations and the root of the squares of what each limit does alone, at its largest over ends of the states."""
    worst = 0.0
    place = numpy.linspace(0.0, 1.0, degc_count)
    for corner in range(16):
        z = numpy.full((channel.axes, degc_count), 0.5)
        z[0] = place
        for bit in range(4):
            z[1 + bit] = float(corner >> bit & 1)
        away = [abs(end - (T25 - ZERO)) for end in channel.ambient]
        z[5] = float(away[1] >= away[0])
        known = channel.error(z)
        squares = 0.0
        for axis in range(channel.states, channel.axes):
            up, down = z.copy(), z.copy()
            # A twentieth of the limit: first order, as the sum is.
            up[axis], down[axis] = 0.525, 0.475
            squares = squares + (10.0 * (channel.error(up) - channel.error(down))) ** 2
        worst = max(worst, numpy.max(abs(known) + numpy.sqrt(squares)))
    return worst
