"""The insulation of a high-voltage bus and what feeds its sensing, from the circuits themselves.

Bus        every path from pack to chassis is a resistance from a tap of the pack; node equations give chassis voltage,
           resistance seen by a monitor, the current into a solid earth, a body, a meter.
Y          capacitors of both poles, the pack with its own resistance behind, a body: integrated, energy and all.
Coupling   a node that slews, its capacitance, the shared resistance and the pole behind: integrated.
Supply     losses between the measured points, start of the output capacitor integrated.
Readings   the two-measurement method carried out on the circuit with wrong meters, resistor and pack.
"""

import math

import numpy
import scipy.integrate
import scipy.optimize


class Net:
    """Resistances, sources and capacitances between named nodes; the node "minus" is zero."""

    def __init__(self):
        self.nodes, self.resistances, self.sources, self.capacitances = {"minus": 0}, [], [], []

    def at(self, name):
        return self.nodes.setdefault(name, len(self.nodes))

    def resistance(self, a, b, ohm):
        self.resistances.append((self.at(a), self.at(b), ohm))

    def source(self, a, b, volt):
        """Holds a at `volt` above b; its current is counted out of a."""
        self.sources.append((self.at(a), self.at(b), volt))

    def capacitance(self, a, b, farad):
        self.capacitances.append((self.at(a), self.at(b), farad))

    def solve(self, injected=None, held=None):
        """Node voltages by name and the currents that the sources give; `held` are the capacitors' voltages."""
        sources = list(self.sources)
        if held is not None:
            sources += [(a, b, volt) for (a, b, _), volt in zip(self.capacitances, held, strict=True)]
        count, more = len(self.nodes), len(sources)
        matrix, right = numpy.zeros((count + more, count + more)), numpy.zeros(count + more)
        for a, b, ohm in self.resistances:
            matrix[[a, b], [a, b]] += 1.0 / ohm
            matrix[[a, b], [b, a]] -= 1.0 / ohm
        for row, (a, b, volt) in enumerate(sources, count):
            matrix[a, row], matrix[b, row] = -1.0, 1.0
            matrix[row, a], matrix[row, b] = 1.0, -1.0
            right[row] = volt
        for name, current in (injected or {}).items():
            right[self.at(name)] += current
        # The zero node's own equation follows from the others.
        matrix[0, :], right[0] = 0.0, 0.0
        matrix[0, 0] = 1.0
        found = numpy.linalg.solve(matrix, right)
        return {name: found[index] for name, index in self.nodes.items()}, found[count:]

    def course(self, start, watched):
        """The modes of capacitors from their starting voltages: (settled, amplitudes, rates) of the voltage between two
        nodes. The circuit is linear, so that its slope at rest and for each capacitor alone says all."""
        farads = numpy.array([farad for *_, farad in self.capacitances])

        def told(held):
            volts, currents = self.solve(held=held)
            return -currents[len(self.sources) :] / farads, volts[watched[0]] - volts[watched[1]]

        size = len(farads)
        rest, level = told(numpy.zeros(size))
        alone = [told(unit) for unit in numpy.eye(size)]
        matrix = numpy.array([slope - rest for slope, _ in alone]).T
        output = numpy.array([volt - level for _, volt in alone])
        settled = numpy.linalg.solve(matrix, -rest)
        rates, vectors = numpy.linalg.eig(matrix)
        amplitudes = (output @ vectors) * numpy.linalg.solve(vectors, numpy.asarray(start) - settled)
        return level + output @ settled, amplitudes.real, rates.real


def squared(course, until):
    """The integral of a voltage's square over time."""
    settled, amplitudes, rates = course
    whole = settled**2 * until + 2.0 * settled * (amplitudes * numpy.expm1(rates * until) / rates).sum()
    both = rates[:, None] + rates[None, :]
    return whole + (numpy.outer(amplitudes, amplitudes) * numpy.expm1(both * until) / both).sum()


def path(ohm, position=0.0, count=1):
    """A path to chassis: 0 at the negative pole, 1 at the positive."""
    return (position, count / ohm)


def bus(volt, paths, pack_ohm=0.0):
    """Pack and paths; the positive pole is "plus". A pack resistance keeps capacitors and source apart."""
    net, below, low = Net(), "minus", 0.0
    for position in sorted({1.0, *(place for place, _ in paths)} - {0.0}):
        name = "plus" if position == 1.0 else f"tap {position}"
        behind = f"{name} behind" if pack_ohm else name
        net.source(behind, below, volt * (position - low))
        if pack_ohm:
            net.resistance(behind, name, pack_ohm * (position - low))
        below, low = name, position
    for position, siemens in paths:
        net.resistance(
            "minus" if position == 0.0 else "plus" if position == 1.0 else f"tap {position}", "chassis", 1 / siemens
        )
    return net


def poles(volt, paths, extra=()):
    """Voltages of negative and positive pole to chassis, with resistances added from a pole to chassis."""
    net = bus(volt, paths)
    for pole, ohm in extra:
        net.resistance(pole, "chassis", ohm)
    chassis = net.solve()[0]["chassis"]
    return chassis, volt - chassis


def seen(volt, paths):
    """What a monitor between bus and chassis sees: volts per ampere put in."""
    net = bus(volt, paths)
    known = volt * sum(siemens for _, siemens in paths)
    with_it, without = (net.solve({"chassis": current})[0]["chassis"] for current in (known, 0.0))
    return (with_it - without) / known


def earthed(volt, paths, pole):
    """The current through a pole that is put solidly to chassis."""
    net = bus(volt, paths)
    net.source(pole, "chassis", 0.0)
    return abs(net.solve()[1][-1])


def method_ohm(volt, paths):
    """The isolation resistance of UN R100: voltage over the largest of both currents into a solid earth."""
    return volt / max(earthed(volt, paths, pole) for pole in ("minus", "plus"))


def touched(volt, paths, pole, body_ohm):
    """The current through a body from a pole to chassis."""
    net = bus(volt, paths)
    net.resistance(pole, "chassis", body_ohm)
    volts, _ = net.solve()
    return abs(volts[pole] - volts["chassis"]) / body_ohm


def without_own(paths, pole):
    """The touched pole's own paths need not be there."""
    return [one for one in paths if one[0] != (0.0 if pole == "minus" else 1.0)]


def worst_touch(volt, paths, pole, body_ohm):
    """The largest current over every choice of paths that are there: a path close to the touched pole takes more off
    the body than it feeds, so the far ones are added one by one."""
    own = 0.0 if pole == "minus" else 1.0
    far = sorted(without_own(paths, pole), key=lambda one: -abs(one[0] - own))
    return max((touched(volt, far[:count], pole, body_ohm) for count in range(1, len(far) + 1)), default=0.0)


def spread(volt, paths, pole, body_ohm, positive_farad, negative_farad, pack_ohm=1e-3, taus=10.0):
    """Energy in a body at a pole until the capacitors are done: all of it, and without what flows steadily."""
    before = poles(volt, paths)
    net = bus(volt, paths, pack_ohm)
    net.resistance(pole, "chassis", body_ohm)
    net.capacitance("chassis", "minus", negative_farad)
    net.capacitance("plus", "chassis", positive_farad)
    settled = touched(volt, paths, pole, body_ohm)
    until = taus * body_ohm * (positive_farad + negative_farad)
    whole = squared(net.course(before, (pole, "chassis")), until) / body_ohm
    return whole, whole - settled**2 * body_ohm * until


def bled(volt, positive_farad, negative_farad, bleeder_ohm, touch_v):
    """A link discharged pole to pole after a one-sided fault: voltage that both poles keep, time constant and time to
    the touch voltage through the bleeders of both poles."""

    def at_fault(low, high):
        # One pole at chassis, the other at full voltage; then the poles meet and share the charge.
        return abs(high * volt) / (low + high)

    start = max(at_fault(positive_farad, negative_farad), at_fault(negative_farad, positive_farad))
    net = Net()
    net.resistance("poles", "minus", bleeder_ohm)
    net.resistance("poles", "minus", bleeder_ohm)
    net.capacitance("poles", "minus", positive_farad + negative_farad)

    settled, amplitudes, rates = net.course([start], ("poles", "minus"))
    (rate,) = rates

    def left(time):
        return settled + (amplitudes * numpy.exp(rates * time)).sum() - touch_v

    time = 0.0 if start <= touch_v else scipy.optimize.brentq(left, 0.0, -100.0 / rate, xtol=1e-15, rtol=1e-14)
    return start, -1.0 / rate, time


def worst_bleed(volt, positive_farad, negative_farad, tolerance, bleeder_ohm, touch_v):
    """The longest time over every pair of capacitances within the tolerance. The larger one is as large as it can be; a
    smaller other one starts the poles higher and leaves less to discharge, so that it is searched."""

    def longest(own, other):
        def time(scale):
            return -bled(volt, own * (1.0 + tolerance), other * scale, bleeder_ohm, touch_v)[2]

        ends = (1.0 - tolerance, 1.0 + tolerance)
        between = scipy.optimize.minimize_scalar(time, bounds=ends, method="bounded", options={"xatol": 1e-6})
        return -min(between.fun, *map(time, ends))

    return max(longest(positive_farad, negative_farad), longest(negative_farad, positive_farad))


def accepted_energy(volt, required_ohm, body_ohm, positive_farad, negative_farad):
    """The most energy in a body when a one-sided fault is there that the requirement still accepts: every other path
    may be gone, and the fault recharges the capacitors while the body discharges them. The current that stays is
    no part of it."""

    def energy(ohm):
        return spread(volt, [path(ohm)], "plus", body_ohm, positive_farad, negative_farad)[1]

    return max(energy(required_ohm * times) for times in numpy.geomspace(1.0, 100.0, 9))


def meter_readings(volt, paths, r0_ohm, meter_ohm=math.inf):
    """Negative and positive pole to chassis by a meter, then the larger one again with a resistor beside it."""
    own = [] if math.isinf(meter_ohm) else [meter_ohm]
    low = poles(volt, paths, [("minus", ohm) for ohm in own])[0]
    high = poles(volt, paths, [("plus", ohm) for ohm in own])[1]
    pole = "minus" if low >= high else "plus"
    lower = poles(volt, paths, [(pole, ohm) for ohm in [*own, r0_ohm]])
    return low, high, lower[0 if pole == "minus" else 1]


def from_readings(pack_v, larger_v, lower_v, r0_ohm, meter_ohm=math.inf):
    """The source behind chassis that gives both readings: (isolation resistance of the method, resistance to chassis).

    Unknown are its voltage and resistance, the meter loads it each time, the resistor the second time."""
    meter = 0.0 if math.isinf(meter_ohm) else 1.0 / meter_ohm
    # reading = e - reading * load * r, twice.
    matrix = [[1.0, -larger_v * meter], [1.0, -lower_v * (meter + 1.0 / r0_ohm)]]
    volt, ohm = numpy.linalg.solve(matrix, [larger_v, lower_v])
    return pack_v * ohm / volt, ohm


class Method:
    """The two-measurement method with all that goes wrong, on a circuit of which the truth is known."""

    def __init__(self, volt, paths, r0_ohm, meter_ohm, r0_error, reading_v, drift, gain=0.0):
        self.volt, self.r0, self.limits = volt, r0_ohm, (r0_error, reading_v, drift, gain)
        self.ohm = seen(volt, paths)
        low, high = poles(volt, paths)
        self.share, self.meter = max(low, high) / volt, meter_ohm

    def told(self, r0=0.0, vb=0.0, v=0.0, lower=0.0, drift=0.0, drift_first=0.0, gain=0.0):
        """What the method says when things are off: resistor (relative), readings (volts), pack at the reading with the
        resistor and at the one before it (relative to when the pack was read), the other range's gain."""
        load = 0.0 if math.isinf(self.meter) else 1.0 / self.meter
        larger = self.volt * (1.0 + drift_first) * self.share / (1.0 + self.ohm * load) + v
        beside = load + 1.0 / (self.r0 * (1.0 + r0))
        smaller = self.volt * (1.0 + drift) * self.share / (1.0 + self.ohm * beside) + lower
        pack = self.volt * (1.0 + gain) + vb
        return self.r0 * pack * (1.0 / smaller - 1.0 / larger)

    def budget(self):
        """Standard uncertainties of each source, rectangular, by central differences."""
        r0, reading, drift, gain = self.limits
        limits = {"r0": r0, "vb": reading, "v": reading, "lower": reading, "drift": drift, "gain": gain}

        def slope(name, limit):
            return abs(self.told(**{name: limit * 1e-3}) - self.told(**{name: -limit * 1e-3})) / 2e-3 if limit else 0.0

        return {name: slope(name, limit) / math.sqrt(3.0) for name, limit in limits.items()}

    def drawn(self, random, trials, every=False):
        """Results of many measurements; `every` lets the pack drift before each reading, not only before the last."""
        r0, reading, drift, gain = self.limits

        def of(limit):
            return random.uniform(-limit, limit, trials)

        first = of(drift) if every else 0.0
        return self.told(of(r0), of(reading), of(reading), of(reading), of(drift), first, of(gain))


def injected(capacitance, slew, step, share, shared_ohm, filter_s=None):
    """A ramp of a node through a capacitance and a shared resistance: peak current, duration, charge, peak at the
    shared resistance and behind the pole; integrated, with the voltage the resistance itself takes off."""
    duration = step / slew
    behind = filter_s or duration / 1e3

    # Across the shared resistance, behind the pole, charge.
    matrix = numpy.array(
        [
            [-1.0 / (shared_ohm * capacitance), 0.0, 0.0],
            [1.0 / behind, -1.0 / behind, 0.0],
            [1.0 / shared_ohm, 0.0, 0.0],
        ]
    )

    def over(start, rise, until):
        # The capacitor's far end is the voltage across the resistance.
        return scipy.integrate.solve_ivp(
            lambda _, state: matrix @ state + [rise, 0.0, 0.0],
            (0.0, until),
            start,
            method="Radau",
            jac=matrix,
            rtol=1e-7,
            atol=1e-18,
        )

    up = over([0.0, 0.0, 0.0], slew, duration)
    after = over(up.y[:, -1], 0.0, 40.0 * shared_ohm * capacitance)
    return {
        "current_a": up.y[0].max() / shared_ohm,
        "duration_s": duration,
        "charge_coulomb": after.y[2, -1],
        "peak_v": share * up.y[0].max(),
        "filtered_v": share * max(up.y[1].max(), after.y[1].max()),
    }


def train(capacitance, slew, step, share, shared_ohm, filter_s, rate_hz, edges=2000):
    """The highest output of the pole after many edges that all push the same way: what one edge leaves adds up."""
    one = injected(capacitance, slew, step, share, shared_ohm, filter_s)["filtered_v"]
    left = math.exp(-1.0 / (rate_hz * filter_s))
    return one * sum(left**count for count in range(edges))


def total(couplings):
    return sum(one["capacitance_farad"] * one.get("count", 1) for one in couplings)


def supply(given):
    """Operating point at the stated loads: losses, not efficiencies, lie on straight lines between the points."""
    output = sum(load["current_a"] * load["voltage_v"] for load in given["loads"])
    points = sorted(
        (p["output_w"], p["output_w"] * (100.0 / p["efficiency_percent"] - 1.0)) for p in given["efficiency_points"]
    )
    if output > points[-1][0] * (1 + 1e-12):
        loss = None
    else:
        loss = float(numpy.interp(output, *zip(*points)))
    told = {"output_w": output, "loss_w": loss, "input_w": None if loss is None else output + loss}
    hot = given.get("ambient_degc")
    if loss is not None and given.get("thermal_resistance_k_per_w") is not None and hot is not None:
        told["junction_degc"] = hot + loss * given["thermal_resistance_k_per_w"]
    derating = [given.get(name) for name in ("derate_from_degc", "zero_power_degc", "rated_w")]
    if None not in derating and hot is not None:
        told["allowed_w"] = derating[2] * float(numpy.interp(hot, derating[:2], [1.0, 0.0]))
    return told


def started(farad, volt, current_a, factor, limit_a):
    """Time until the output stands, by integration; infinite when the limit feeds the loads alone."""
    surplus = limit_a - factor * current_a
    if surplus <= 0.0:
        return math.inf

    def stands(_, state):
        return state[0] - volt

    stands.terminal = True
    found = scipy.integrate.solve_ivp(
        lambda _, v: [surplus / farad], (0.0, 2.0 * farad * volt / surplus), [0.0], events=stands
    )
    return found.t[-1]


def offset_v(ripple_pp_v, rejection_db, regulation_v=0.0, rejection_dc_db=0.0):
    """What ripple (whatever it aliases to) and regulation leave at a channel's input."""
    return ripple_pp_v / 2.0 / 10.0 ** (rejection_db / 20.0) + regulation_v / 10.0 ** (rejection_dc_db / 20.0)


def latency(bits, frame_hz, overhead, rate, delay_s, lost, random, trials=200_000):
    """The age of what is known when it is oldest: samples are taken at a rate, sent, and some are lost. A fault happens
    anywhere between two samples; simulated, so a little below the bound."""
    happens = random.uniform(0.0, 1.0 / frame_hz, trials)
    sampled = 1.0 / frame_hz
    return float(max(sampled - happens + lost / frame_hz)) + bits * (1.0 + overhead) / rate + delay_s


def settling(ohm, farad):
    """Time constant of the capacitors of both poles, which meet at chassis, with what lies beside them."""
    net = Net()
    net.resistance("chassis", "minus", ohm)
    net.capacitance("chassis", "minus", farad)
    _, _, (rate,) = net.course([1.0], ("chassis", "minus"))
    return -1.0 / rate


def most_units(volt, ohm_per_v, unit_siemens, shared_siemens):
    """How many units a bus takes, counted up in fractions of its own numbers."""
    room = 1.0 / (ohm_per_v * volt) - shared_siemens
    count = max(int(room / unit_siemens) - 1, 0)
    while (count + 1) * unit_siemens <= room * (1 + 1e-12):
        count += 1
    return count if room > 0 else 0


def alarm_window(required_ohm, seen_ohm, error):
    """Alarm settings that no reading within its error misses or gives in vain."""
    return required_ohm * (1.0 + error), seen_ohm * (1.0 - error)


def one_sided_alarm(alarm_ohm, volt, paths):
    """The one-pole fault at which a monitor alarms, found on the circuit; none when it alarms already."""
    if seen(volt, paths) <= alarm_ohm:
        return None

    def surplus(log_ohm):
        return math.log(seen(volt, [*paths, path(math.exp(log_ohm))]) / alarm_ohm)

    return math.exp(scipy.optimize.brentq(surplus, math.log(alarm_ohm) - 1.0, math.log(alarm_ohm) + 60.0, xtol=1e-14))
