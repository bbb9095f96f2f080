"""Current and voltage channel by brute force: every state on a grid, every deviation at both of its limits.

Written from the definitions alone. A calibrated reading is carried out as firmware does it: the raw readings of the two
calibrating points are stored with all deviations of that part, and every later reading is put on the line through them.
"""

import copy
import itertools
import math

import numpy

PPM = 1e-6
COPPER_PER_K = 3930 * PPM


def percent(value):
    return (value or 0.0) / 100.0


class Front:
    """Amplifier and converter between a sensor's voltage and the reading, in volts of the sensor."""

    def __init__(self, amplifier, converter):
        self.gain = amplifier["gain"]
        self.amplifier, self.converter = amplifier, converter
        span = converter["full_scale_v"] * (2.0 if converter["bipolar"] else 1.0)
        self.step = span / 2.0 ** converter["bits"] / self.gain
        bent = converter.get("inl_ppm")
        bent = PPM * bent if bent is not None else percent(converter.get("peak_error_percent"))
        self.bend = bent * converter["full_scale_v"] / self.gain
        db = lambda name: 10.0 ** (-amplifier[name] / 20.0)  # noqa: E731
        leg = amplifier["source_ohm"] * percent(amplifier["source_mismatch_percent"])
        self.limits = {
            "amplifier gain": percent(amplifier["gain_error_percent"]),
            "amplifier gain drift": PPM * amplifier["gain_drift_ppm_per_k"],
            "amplifier offset": amplifier["offset_v"],
            "amplifier offset drift": amplifier["offset_drift_v_per_k"],
            "common mode": abs(amplifier["common_mode_v"]) * db("common_mode_rejection_db"),
            "supply": amplifier["supply_ripple_v"] * db("supply_rejection_db"),
            "bias": amplifier["bias_current_a"] * leg,
            "fed": amplifier["supply_change_v"] * db("supply_rejection_slow_db") + amplifier["injected_v"],
            "converter offset": converter["offset_v"],
            "converter offset drift": converter["offset_drift_v_per_k"],
            "converter gain": percent(converter["gain_error_percent"]),
            "converter gain drift": PPM * converter["gain_drift_ppm_per_k"],
            "reference": percent(converter["reference_error_percent"]),
            "reference drift": PPM * converter["reference_drift_ppm_per_k"],
            "reference ageing": PPM * converter["reference_life_drift_ppm"],
        }

    def amplified(self, volt, d, warmer, used):
        """At the converter's input, over the nominal gain."""
        volt = volt + d["amplifier offset"] + d["amplifier offset drift"] * warmer
        if used:
            volt = volt + d["common mode"] + d["supply"] + d["bias"] + d["fed"]
        return volt * (1.0 + d["amplifier gain"]) * (1.0 + d["amplifier gain drift"] * warmer)

    def read(self, volt, d, warmer, used):
        code = self.amplified(volt, d, warmer, used)
        code = code + (d["converter offset"] + d["converter offset drift"] * warmer) / self.gain
        code = code * (1.0 + d["converter gain"]) * (1.0 + d["converter gain drift"] * warmer)
        code = code / ((1.0 + d["reference"]) * (1.0 + d["reference drift"] * warmer))
        return code / (1.0 + d["reference ageing"]) if used else code

    def ends(self):
        """Name, low and high end in volts of the sensor, and what is compared with them."""
        amplifier, converter, gain = self.amplifier, self.converter, self.gain
        low = -converter["full_scale_v"] if converter["bipolar"] else 0.0
        return (
            ("converter", low / gain, converter["full_scale_v"] / gain, self.read),
            ("output", amplifier["output_min_v"] / gain, amplifier["output_max_v"] / gain, self.amplified),
            ("input", amplifier["input_min_v"], amplifier["input_max_v"], lambda volt, d, warmer, used: volt),
        )


class Channel:
    """What both channels share: the calibration, the search for the worst vertex and for the worst state."""

    def __init__(self, given, points, per_volt, noise, noise_counted, stored):
        self.given, self.front = given, Front(given["amplifier"], given["converter"])
        self.kind, self.points = given["calibration"]["kind"], points
        self.bench, self.conditions = given["bench"], given["conditions"]
        self.per_volt = per_volt
        self.life = 1.0
        interval, life = self.bench.get("interval_years"), self.conditions.get("life_years")
        if interval is not None and life is not None:
            self.life = min(interval / life, 1.0) if self.kind != "none" else 1.0
        self.limits = dict(self.front.limits)
        self.limits["reference ageing"] *= self.life
        # No calibration moves the end of the range: all ageing counts there.
        self.whole = lambda name: 1.0 / self.life if name.endswith("ageing") else 1.0
        half = self.front.step * per_volt / 2.0
        self.limits |= {"bend": self.front.bend * per_volt, "round": half}
        calibrated, left = self.kind != "none", given["calibration"]
        readings = self.bench["readings"]
        rounded = readings < 16 or noise <= half
        # Normal: joined by their squares, counted once with three standard uncertainties.
        self.normal = {} if noise_counted is None else {"noise": noise_counted}
        for place in ("1", "2"):
            here = calibrated and (place == "1" or self.kind == "two-point")
            self.limits |= {
                "bend " + place: self.limits["bend"] if here else 0.0,
                "round " + place: half if here and rounded else 0.0,
                "own " + place: percent(self.bench["independent_percent"]) if here else 0.0,
            }
            # What was stored wrong by chance stays wrong, whatever noise of the reading counts.
            if here and stored:
                self.normal["noise " + place] = stored
        self.limits["calibrator gain"] = percent(left["gain_residual_percent"]) if self.kind == "two-point" else 0.0
        self.limits["calibrator offset"] = left["offset_residual_v"] * per_volt if calibrated else 0.0

    # --- A reading -------------------------------------------------------------------------------------------------

    def error(self, s, d):
        """Of a reading in a state with these deviations."""
        x = s["x"]
        raw = self.raw(x, s, d, True) + d["bend"] + d["round"] + d["noise"]
        if self.kind == "none":
            return raw - x
        stored = [self.stored(place, s, d) for place in range(2 if self.kind == "two-point" else 1)]
        if self.kind == "offset":
            return raw - (stored[0] - self.points[0]) - x
        (low, high), (first, second) = self.points, stored
        return low + (raw - first) * (high - low) / (second - first) - x

    def bends(self, s, d):
        """Other values of the non-linearity at the three readings, when its slope is limited as well: every chain of
        full limits and steepest slopes between the readings."""
        limit, slope = self.limits["bend"], self.bench.get("nonlinearity_slope_ppm")
        if slope is None or self.kind == "none":
            return
        names = ["bend", "bend 1", "bend 2"][: 1 + self.used_points()]
        at = [s["x"], *(numpy.full_like(s["x"], x) for x in self.points)]
        far = lambda i, j: PPM * slope * numpy.abs(at[i] - at[j])  # noqa: E731
        for order in itertools.permutations(range(len(names))):
            for signs in itertools.product((-1.0, 1.0), repeat=len(names)):
                for mode in itertools.product((False, True), repeat=len(names)):
                    values, full = {}, numpy.full_like(s["x"], limit)
                    for i, sign, linked in zip(order, signs, mode, strict=True):
                        low = numpy.maximum.reduce([-full, *(v - far(i, j) for j, v in values.items())])
                        high = numpy.minimum.reduce([full, *(v + far(i, j) for j, v in values.items())])
                        values[i] = numpy.where(sign > 0.0, high, low)
                        if linked:
                            values[i] = numpy.clip(0.0, low, high)
                    yield {names[i]: v for i, v in values.items()}

    def used_points(self):
        return {"none": 0, "offset": 1, "two-point": 2}[self.kind]

    def stored(self, place, s, d):
        at, number = self.points[place], str(place + 1)
        true = at * (1.0 + d["calibrator gain"]) + d["calibrator offset"] + abs(at) * d["own " + number]
        added = d["bend " + number] + d["round " + number] + d["noise " + number]
        return self.raw(true, self.bench_state(place, s), d, False) + added

    # --- The worst vertex of one state ------------------------------------------------------------------------------

    def moving(self):
        return [name for name, limit in self.limits.items() if limit > 0.0]

    def nothing(self):
        return dict.fromkeys([*self.limits, "noise", "noise 1", "noise 2"], 0.0)

    def noisy(self, s):
        """Three standard uncertainties of all noise together."""
        zero, squares = self.nothing(), 0.0
        for name, u in self.normal.items():
            squares = squares + ((self.error(s, zero | {name: u}) - self.error(s, zero | {name: -u})) / 2.0) ** 2
        return 3.0 * numpy.sqrt(squares)

    def slopes(self, s):
        zero, found = self.nothing(), {}
        for name in self.moving():
            limit = self.limits[name]
            found[name] = (self.error(s, zero | {name: limit}) - self.error(s, zero | {name: -limit})) / 2.0
        return found

    def ends(self, s, exact):
        """Lowest and highest error over all vertices. The error is a quotient of linear functions in every single
        deviation, so no inner point is worse and flipping one after the other until none helps ends at a vertex."""
        slopes, noisy, out = self.slopes(s), self.noisy(s), []
        for side in (-1.0, 1.0):
            d = self.nothing() | {
                name: side * self.limits[name] * numpy.where(slope < 0.0, -1.0, 1.0) for name, slope in slopes.items()
            }
            best, tried = self.error(s, d), numpy.zeros(len(s["x"]), dtype=bool)
            for bent in self.bends(s, d):
                other = self.error(s, d | bent)
                better = (side * (other - best) > 0.0) | ~tried
                d |= {name: numpy.where(better, value, d[name]) for name, value in bent.items()}
                best, tried = numpy.where(better, other, best), True | tried
            moved = exact
            while moved:
                moved = False
                for name in slopes:
                    if name.startswith("bend") and self.bench.get("nonlinearity_slope_ppm") is not None:
                        continue
                    other = self.error(s, d | {name: -d[name]})
                    better = side * (other - best) > 1e-12 * numpy.abs(best)
                    if better.any():
                        d[name] = numpy.where(better, -d[name], d[name])
                        best, moved = numpy.where(better, other, best), True
            out.append(best + side * noisy)
        return out

    def root_sum_square(self, s):
        """What is known with the root of the squares of all limits: what comes and goes stands beside it."""
        known, slopes = self.error(s, self.nothing()), self.slopes(s)
        slopes["noise"] = self.noisy(s)
        goes = sum(numpy.abs(slopes.pop(name)) for name in self.coming() if name in slopes)
        root = numpy.sqrt(sum((slope * self.joined(name)) ** 2 for name, slope in slopes.items()))
        return known - goes - root, known + goes + root

    def coming(self):
        """What comes and goes: a state, never under the root."""
        return ("fed",)

    def joined(self, name):
        """How much of a source's limit is left under the root."""
        return 1.0

    def both(self, s, exact=False):
        if self.given["requirement"]["judged_by"] == "root-sum-square":
            return self.root_sum_square(s)
        return self.ends(s, exact)

    # --- The worst state -------------------------------------------------------------------------------------------

    def search(self, xs, rounds=6, share=True):
        """The largest used share (or error) over these readings and all states, with its state."""
        axes = self.axes(xs)
        s = self.states(axes)
        best, at, found = self.judge(s, False, share)
        steps = {name: (values.max() - values.min()) / max(len(values) - 1, 1) for name, values in axes.items()}
        for side in found:
            here = {name: float(side[name]) for name in axes}
            size = dict(steps)
            for _ in range(rounds):
                near = {}
                for name, values in axes.items():
                    if name == "x":
                        # The range may have a gap around nothing.
                        values = values[values * here["x"] >= 0.0]
                    around = here[name] + size[name] * numpy.linspace(-1.0, 1.0, 5)
                    near[name] = numpy.unique(numpy.clip(around, values.min(), values.max()))
                u, state, _ = self.judge(self.states(near), True, share)
                for name in axes:
                    # Finer only around what did not move to the rim.
                    if abs(state[name] - here[name]) < 0.75 * size[name]:
                        size[name] /= 2.5
                    here[name] = float(state[name])
                if u > best:
                    best, at = u, state
        return best, at

    def judge(self, s, exact, share):
        low, high = self.both(s, exact)
        allowed = self.allowed(s["x"]) if share else 1.0
        # The three best of either side.
        places, found = [], []
        for values in (-low / allowed, high / allowed):
            values = numpy.where(numpy.isnan(values), math.inf, values)
            order = numpy.argsort(values)[-3:]
            places.append((float(values[order[-1]]), int(order[-1])))
            found += [{name: value[i] for name, value in s.items()} for i in order]
        u, place = max(places)
        state = {name: float(value[place]) for name, value in s.items()}
        return u, state | {"low": float(low[place]), "high": float(high[place])}, found

    def states(self, axes):
        names = list(axes)
        mesh = numpy.meshgrid(*(axes[name] for name in names), indexing="ij")
        s = {name: values.ravel() for name, values in zip(names, mesh, strict=True)}
        return self.placed(s)

    def allowed(self, x):
        r = self.given["requirement"]
        part, fixed = r.get("gain_percent"), r.get(self.FIXED)
        reading = percent(part) * numpy.abs(x)
        if r["form"] == "sum":
            return reading + (fixed or 0.0)
        if r["form"] == "full-scale":
            return percent(part) * self.full_scale() + 0.0 * x
        return numpy.maximum(reading, fixed or 0.0)

    def kink(self):
        """Where the larger of two allowances changes over."""
        r = self.given["requirement"]
        part, fixed = percent(r.get("gain_percent")), r.get(self.FIXED) or 0.0
        return fixed / part if part and r["form"] == "larger" else math.nan

    # --- Where a part is full --------------------------------------------------------------------------------------

    def full(self, side):
        """The smallest |x| of that side at which some part in some state is full, and which part."""
        s = self.states(self.axes(numpy.array([float(side)])))
        found = []
        for name, low, high, measure in self.front.ends():
            end = high if side > 0 else low
            if side * end <= 0.0:
                found.append((0.0, name))
                continue
            def at(x, d, measure=measure):
                return measure(self.sensor(x, s, d, True), d, self.warmer(s), True)

            d, zero = {}, self.nothing()
            for source, limit in self.limits.items():
                limit = limit * self.whole(source)
                grows = at(float(side), zero | {source: limit}) - at(float(side), zero | {source: -limit})
                d[source] = numpy.where(side * grows >= 0.0, limit, -limit)
            lowest = numpy.zeros_like(s["x"])
            highest = numpy.full_like(lowest, 3.0 * end * self.per_volt * side)
            for _ in range(60):
                middle = (lowest + highest) / 2.0
                over = side * (at(side * middle, d) - end) >= 0.0
                highest, lowest = numpy.where(over, middle, highest), numpy.where(over, lowest, middle)
            found.append((float(highest.min()), name))
        return min(found)


class CurrentChannel(Channel):
    FIXED = "offset_a"

    def __init__(self, given, noise=0.0, noise_counted=None, stored=0.0):
        self.shunt, self.load, self.known_hot = given["shunt"], given["load"], {}
        at = given["calibrated_at"]
        first = at.get("low_a") if at.get("low_a") is not None else 0.0
        second = at.get("high_a") if at.get("high_a") is not None else self.load["continuous_a"]
        super().__init__(given, (first, second), 1.0 / self.shunt["resistance_ohm"], noise, noise_counted, stored)
        part = self.shunt
        self.limits |= {
            "tolerance": percent(part["tolerance_percent"]),
            "spread": PPM * part["tcr_tolerance_ppm_per_k"],
            "taps": part["sense_position_error_ohm"] / part["resistance_ohm"],
            "ageing": percent(part["life_drift_percent"]) * self.life,
            "emf": part["emf_v_per_k"] * part["end_temperature_difference_k"],
        }

    def coming(self):
        return (*super().coming(), "emf")

    def full_scale(self):
        return self.load["full_scale_a"]

    # --- The part --------------------------------------------------------------------------------------------------

    def curve(self, degc):
        part = self.shunt
        distance = degc - part["reference_degc"]
        alloy = PPM * part["tcr_ppm_per_k"] * distance + PPM * part["tcr_quadratic_ppm_per_k2"] * distance**2
        share = percent(part.get("copper_share_percent"))
        return (1.0 - share) * alloy + share * COPPER_PER_K * distance

    def sensor(self, current, s, d, used):
        part = self.shunt
        ohm = part["resistance_ohm"] * (1.0 + d["tolerance"]) * (1.0 + d["taps"])
        ohm = ohm * (1.0 + self.curve(s["element"]) + d["spread"] * (s["element"] - part["reference_degc"]))
        if not used:
            return current * ohm
        return current * ohm * (1.0 + d["ageing"]) + d["emf"]

    def warmer(self, s):
        return s["electronics"] - self.conditions["calibration_degc"]

    def raw(self, current, s, d, used):
        return self.front.read(self.sensor(current, s, d, used), d, self.warmer(s), used) * self.per_volt

    def bench_state(self, number, s):
        return {"element": s[f"element {number}"], "electronics": s["bench"]}

    def bench_elements(self, ambient):
        """The element at the calibrating points: the calibrator's own error heats nothing worth counting."""
        values, place = numpy.unique(ambient, return_inverse=True)
        hot = self.bench["heated"] == "settled"
        heated = (self.settled(values, at) if hot else values for at in self.points)
        return {f"element {number}": degc[place] for number, degc in enumerate(heated)}

    # --- Heat ------------------------------------------------------------------------------------------------------

    def heat(self, degc, ambient, current):
        part = self.shunt
        loss = current**2 * part["resistance_ohm"] * (1.0 + self.curve(degc))
        return (loss - (degc - ambient) / part["thermal_resistance_k_per_w"]) / part["heat_capacity_j_per_k"]

    def settled(self, ambient, current):
        """The first temperature at which the heat balances, marched up to and halved; infinite in a runaway."""
        ambient = numpy.asarray(ambient, dtype=float)
        rises = numpy.concatenate([numpy.linspace(0.0, 600.0, 2401), numpy.linspace(600.0, 5000.0, 800)[1:]])
        surplus = self.heat(ambient[..., None] + rises, ambient[..., None], current)
        cool = surplus <= 0.0
        first = numpy.argmax(cool, axis=-1)
        high = rises[first]
        low = rises[numpy.maximum(first - 1, 0)]
        for _ in range(50):
            middle = (low + high) / 2.0
            below = self.heat(ambient + middle, ambient, current) > 0.0
            low, high = numpy.where(below, middle, low), numpy.where(below, high, middle)
        return numpy.where(cool.any(axis=-1), ambient + (low + high) / 2.0, math.inf)

    def warmed(self, degc, ambient, current, seconds):
        """Runge and Kutta's fourth order: the element after that time."""
        tau = self.shunt["thermal_resistance_k_per_w"] * self.shunt["heat_capacity_j_per_k"]
        seconds = min(seconds, 25.0 * tau)
        steps = max(int(math.ceil(seconds / tau * 12.0)), 6)
        h = seconds / steps
        for _ in range(steps):
            with numpy.errstate(over="ignore", invalid="ignore"):
                a = self.heat(degc, ambient, current)
                b = self.heat(degc + h / 2.0 * a, ambient, current)
                c = self.heat(degc + h / 2.0 * b, ambient, current)
                e = self.heat(degc + h * c, ambient, current)
                degc = degc + h / 6.0 * (a + 2.0 * b + 2.0 * c + e)
                degc = numpy.where(numpy.isfinite(degc) & (degc < 5000.0), degc, math.inf)
        return degc

    def hottest(self, ambient):
        """Of every part inside the limits: resistance and ageing at their upper ends, the coefficient at either."""
        part = self.shunt
        ohm = part["resistance_ohm"] * (1.0 + percent(part["tolerance_percent"])) * (1.0 + percent(part["life_drift_percent"]))
        found = []
        for sign in (-1.0, 1.0):
            one = copy.copy(self)
            tcr = part["tcr_ppm_per_k"] + sign * part["tcr_tolerance_ppm_per_k"]
            one.shunt = part | {"resistance_ohm": ohm, "tcr_ppm_per_k": tcr}
            found.append(one.hottest_of_part(ambient))
        return numpy.maximum(*found)

    def hottest_of_part(self, ambient):
        """Settled at the continuous current, or at the end of the longest peak begun from there, each with its ripple."""
        load = self.load | {"continuous_a": math.hypot(self.load["continuous_a"], self.load["ripple_current_a"] / math.sqrt(3.0))}
        ambient = self.surroundings(numpy.asarray(ambient, dtype=float))
        settled = self.settled(ambient, load["continuous_a"])
        again, peak = load.get("peak_repeat_s"), max(load["peak_a"], self.charge_peak())
        peak = math.hypot(peak, load["ripple_current_a"] / math.sqrt(3.0))
        if not again:
            return numpy.maximum(settled, self.warmed(settled, ambient, peak, load["peak_duration_s"]))

        def period(degc):
            end = self.warmed(degc, ambient, peak, load["peak_duration_s"])
            return end, self.warmed(end, ambient, load["continuous_a"], again - load["peak_duration_s"])

        # Period after period, drawn out to its end by Aitken's rule wherever it runs towards one.
        degc = settled
        with numpy.errstate(invalid="ignore", divide="ignore"):
            for _ in range(100):
                _, first = period(degc)
                end, second = period(first)
                if numpy.all((numpy.abs(second - degc) < 1e-7) | ~numpy.isfinite(second)):
                    break
                shrunk = (second - first) / (first - degc)
                drawn = first + (second - first) / (1.0 - shrunk)
                degc = numpy.where((shrunk > 0.0) & (shrunk < 0.999) & numpy.isfinite(drawn), drawn, second)
        return numpy.maximum(settled, end)

    def charge_peak(self):
        given = self.load.get("charge_peak_a")
        return self.load["peak_a"] if given is None else given

    def surroundings(self, ambient):
        low, high = self.conditions["ambient_min_degc"], self.conditions["ambient_max_degc"]
        share = (ambient - low) / (high - low) if high > low else 1.0
        return ambient + self.conditions["shunt_extra_k"] * share

    # --- States ----------------------------------------------------------------------------------------------------

    def axes(self, xs, places=17):
        c = self.conditions
        ambients = numpy.linspace(c["ambient_min_degc"], c["ambient_max_degc"], places)
        rises = numpy.array([0.0, c["electronics_rise_k"]]) if c["electronics_rise_k"] else numpy.zeros(1)
        off = self.bench["tolerance_k"] if self.kind != "none" else 0.0
        offs = numpy.linspace(-off, off, 5) if off else numpy.zeros(1)
        return {"x": xs, "ambient": ambients, "part": numpy.linspace(0.0, 1.0, 9), "rise": rises, "off": offs}

    def placed(self, s):
        """With the temperatures that follow from the state."""
        # The heat depends on the ambient alone: worked out once for each.
        values, place = numpy.unique(s["ambient"], return_inverse=True)
        new = [value for value in values if value not in self.known_hot]
        if new:
            self.known_hot |= dict(zip(new, self.hottest(numpy.array(new)), strict=True))
        hot, cold = numpy.array([self.known_hot[value] for value in values])[place], s["ambient"]
        with numpy.errstate(invalid="ignore"):
            element = cold + numpy.where(s["part"] == 0.0, 0.0, s["part"] * (hot - cold))
        bench = self.conditions["calibration_degc"] + s["off"]
        found = {"element": element, "electronics": s["ambient"] + s["rise"], "bench": bench}
        return s | found | self.bench_elements(bench)

    def range(self, places=25, full=(math.inf, -math.inf)):
        r, load = self.given["requirement"], self.load
        listed = min(abs(i) for i in self.given["currents_a"])
        start = r.get("from_a") if r.get("from_a") is not None else listed
        peaks = load["peak_a"], self.charge_peak()
        to = r.get("to_a")
        ends = [to if to is not None else min(peak, load["full_scale_a"]) for peak in peaks]
        marks = [*self.points, self.kink()]
        xs = [grid(start, min(ends[0], full[0]), places, marks)]
        if peaks[1] > 0.0 and self.given["converter"]["bipolar"]:
            xs.append(-grid(start, min(ends[1], peaks[1], -full[1]), places, [-x for x in self.points] + [self.kink()]))
        return numpy.concatenate(xs)


def grid(start, end, places, marks):
    if end < start:
        return numpy.zeros(0)
    wide = numpy.linspace(start, end, places)
    fine = numpy.geomspace(max(start, 1e-6 * max(end, 1e-9)), max(end, 1e-9), places) if end > 0.0 else wide
    inside = [m for m in marks if start <= m <= end]
    return numpy.unique(numpy.clip(numpy.concatenate([wide, fine, inside]), start, end))


class VoltageChannel(Channel):
    FIXED = "offset_v"

    def __init__(self, given, noise=0.0, noise_counted=None, stored=0.0):
        self.upper, self.lower, self.following = given["upper"], given["lower"], given["following"]
        up, low, after = self.upper, self.lower, self.following
        self.nominal = up["count"] * up["resistance_ohm"], low["count"] * low["resistance_ohm"]
        self.load_ohm = after.get("load_ohm") or math.inf
        under = self.nominal[1]
        if after["factor_includes_load"]:
            under = under / (1.0 + under / self.load_ohm)
        self.factor = (self.nominal[0] + under) / under
        at = given["calibration"]
        points = (at["low_v"], at["high_v"])
        super().__init__(given, points, self.factor, noise, noise_counted, stored)
        varying = percent(after["bias_varying_percent"])
        tracking = max(up["tcr_tracking_ppm_per_k"], low.get("tcr_tracking_ppm_per_k") or 0.0)
        self.tracking = up["drift_by"] == "tracking"
        self.limits |= {
            "upper tolerance": percent(up["tolerance_percent"]),
            "lower tolerance": percent(low["tolerance_percent"]),
            "upper drift": PPM * (tracking if self.tracking else up["tcr_ppm_per_k"]),
            "lower drift": 0.0 if self.tracking else PPM * low["tcr_ppm_per_k"],
            "warm drift": PPM * up["tcr_ppm_per_k"],
            "upper ageing": percent(up["life_drift_percent"]) * self.life,
            "lower ageing": percent(low["life_drift_percent"]) * self.life,
            "load": percent(after["load_tolerance_percent"]) if math.isfinite(self.load_ohm) else 0.0,
            "load drift": PPM * after["load_drift_ppm_per_k"] if math.isfinite(self.load_ohm) else 0.0,
            "divider bias": after["bias_current_a"] * (1.0 - varying),
            "divider bias varying": after["bias_current_a"] * varying,
        }
        if not self.tracking:
            # One coefficient: the elements' own warmth moves them as the ambient does.
            self.limits["warm drift"] = 0.0

    def full_scale(self):
        return self.given["input_max_v"]

    def joined(self, name):
        # A string of n elements whose deviations are correlated by r.
        string = {"upper": self.upper, "lower": self.lower}.get(name.split()[0])
        if string is None or "ageing" in name or "drift" in name:
            return 1.0
        return math.sqrt((1.0 + (string["count"] - 1) * string["correlation"]) / string["count"])

    def sensor(self, volt, s, d, used):
        up, low = self.upper, self.lower
        warmer = s["ambient"] - self.conditions["calibration_degc"]
        upper, lower = self.nominal
        upper = upper * (1.0 + d["upper tolerance"])
        lower = lower * (1.0 + d["lower tolerance"])
        load = self.load_ohm * (1.0 + d["load"]) * (1.0 + d["load drift"] * warmer)
        if used:
            upper, lower = upper * (1.0 + d["upper ageing"]), lower * (1.0 + d["lower ageing"])
        share = 1.0 / (1.0 + 1.0 / self.nominal[0] / (1.0 / self.nominal[1] + 1.0 / self.load_ohm))
        element_v, under_v = volt * share / up["count"], volt * (1.0 - share) / low["count"]
        rise = element_v**2 / up["resistance_ohm"] / up["rated_power_w"]
        rise = rise * (up["zero_power_degc"] - up["derate_from_degc"]) * s["warm"]
        hotter = warmer if self.tracking else warmer + rise
        upper = upper * (1.0 + d["upper drift"] * hotter + d["warm drift"] * rise)
        lower = lower * (1.0 + d["lower drift"] * warmer)
        # The voltage coefficients as an error of q V².
        bend = low["voltage_coefficient_ppm_per_v"] * under_v - up["voltage_coefficient_ppm_per_v"] * element_v
        bend = PPM * bend * share
        bridged, leak = upper, self.given["surface"].get("leakage_ohm")
        if used and leak:
            over = upper if self.given["surface"]["leakage_path"] == "whole" else upper / up["count"]
            bridged = upper - over + 1.0 / (1.0 / over + s["leak"] / leak)
        conductance = 1.0 / lower + 1.0 / load
        bias = d["divider bias"] + (d["divider bias varying"] if used else 0.0)
        return (volt / bridged + bias) / (1.0 / bridged + conductance) * (1.0 + bend)

    def warmer(self, s):
        return s["electronics"] - self.conditions["calibration_degc"]

    def raw(self, volt, s, d, used):
        return self.front.read(self.sensor(volt, s, d, used), d, self.warmer(s), used) * self.per_volt

    def bench_state(self, number, s):
        warm = 1.0 if self.bench["heated"] == "settled" else 0.0
        return {"ambient": s["bench"], "electronics": s["bench"], "warm": warm, "leak": 0.0}

    def axes(self, xs, places=13):
        c = self.conditions
        ambients = numpy.linspace(c["ambient_min_degc"], c["ambient_max_degc"], places)
        rises = numpy.array([0.0, c["electronics_rise_k"]]) if c["electronics_rise_k"] else numpy.zeros(1)
        off = self.bench["tolerance_k"] if self.kind != "none" else 0.0
        offs = numpy.linspace(-off, off, 5) if off else numpy.zeros(1)
        leaks = numpy.linspace(0.0, 1.0, 3) if self.given["surface"].get("leakage_ohm") else numpy.zeros(1)
        warm = numpy.linspace(0.0, 1.0, 3)
        return {"x": xs, "ambient": ambients, "warm": warm, "leak": leaks, "rise": rises, "off": offs}

    def placed(self, s):
        return s | {
            "electronics": s["ambient"] + s["rise"],
            "bench": self.conditions["calibration_degc"] + s["off"],
        }

    def range(self, places=33, full=(math.inf, -math.inf)):
        top = self.given["input_max_v"]
        start = max(self.given["input_min_v"], percent(self.given["requirement"]["from_percent"]) * top)
        return grid(start, min(top, full[0]), places, [*self.points, self.kink()])
