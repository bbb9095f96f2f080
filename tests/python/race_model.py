"""A fuse of two bodies and a short circuit, event by event: an independent model of the reaction race.

Fuse       a melting element (heat capacity C1) on a body (C2), both linear: C1 T1' = i² − (T1 − T2)/R1,
           C2 T2' = (T1 − T2)/R1 − T2/R2; it melts at T1 = 1. In terms of its data: C1 = W (adiabatic I²t),
           R1 + R2 = 1/I_min², R1 C1 = the short time constant, R2 C2 = the long one. After melting it holds a constant
           arc voltage.
Fault      a constant source behind R and L; the switch opens a reaction after the filtered current has reached the
           threshold, against a constant clamp; it opens only what it can break.
Attack     random designs, for each random faults, corners, and faults close to where a device begins to act; what the
           server says "holds" must be true of every one of them, and its worst values must not be passed.
"""

import math
import os

import numpy
import scipy.integrate
import scipy.linalg
import scipy.optimize

from harness import DESIGNS, check, fetch

FAULTS = int(os.environ.get("FAULTS", "36"))
SEED = int(os.environ.get("SEED", "20261126"))

# The events lie on a grid of times whose steps are below 1 %, with straight lines between.
GRID = numpy.concatenate([[0.0], numpy.geomspace(1e-8, 2e3, 3200)])
EXACT = 3e-3


class Fuse:
    """Two bodies; `scale` shifts the currents of a specimen."""

    def __init__(self, adiabatic_a2s, least_a, short_s, long_s, arc_v, scale=1.0):
        self.data = (adiabatic_a2s, least_a, short_s, long_s, arc_v)
        self.arc_v, self.least_a, self.scale = arc_v, least_a * scale, scale
        c1, r1 = adiabatic_a2s, short_s / adiabatic_a2s
        r2 = 1.0 / least_a**2 - r1
        assert r2 > 0
        c2 = long_s / r2
        matrix = numpy.array([[-1 / (r1 * c1), 1 / (r1 * c1)], [1 / (r1 * c2), -1 / (r1 * c2) - 1 / (r2 * c2)]])
        self.rates, vectors = numpy.linalg.eig(matrix)
        self.input = numpy.linalg.solve(vectors, [1 / c1, 0.0])
        self.element, self.inverse = vectors[0], numpy.linalg.inv(vectors)
        self.r1, self.r2 = r1, r2

    def specimen(self, scale):
        return Fuse(*self.data, scale=scale)

    def warm(self, current_a):
        """Modes after a long time at a current."""
        heat = (current_a / self.scale) ** 2
        return self.inverse @ [heat * (self.r1 + self.r2), heat * self.r2]

    def pre_arcing(self, current_a, before_a=0.0):
        """Pre-arcing time of a constant current."""
        heat, start = (current_a / self.scale) ** 2, self.warm(before_a)
        settled = -self.input * heat / self.rates

        def temperature(time):
            return float(self.element @ (settled + (start - settled) * numpy.exp(self.rates * time))) - 1.0

        return scipy.optimize.brentq(temperature, 0.0, 1e5, xtol=1e-15, rtol=1e-13)

    def melts(self, passed, before):
        """Melting times of courses: `passed` holds the I²t of each at every time of the grid; inf where they do not melt."""
        count = passed.shape[0]
        modes = numpy.array([self.warm(current) for current in before])
        last = modes @ self.element
        found = numpy.full(count, math.inf)
        heat = numpy.diff(passed, axis=1) / self.scale**2
        for step, (begin, end) in enumerate(zip(GRID, GRID[1:])):
            width = end - begin
            decay = numpy.exp(self.rates * width)
            gain = self.input * numpy.expm1(self.rates * width) / self.rates / width
            modes = modes * decay + heat[:, step : step + 1] * gain
            now = modes @ self.element
            new = (now >= 1.0) & numpy.isinf(found)
            found[new] = begin + width * (1.0 - last[new]) / (now[new] - last[new])
            if not numpy.isinf(found).any():
                break
            last = now
        return found


def rise(volt, ohm, henry, before, time):
    """Current and its square's integral of a loop at some times."""
    last, tau = volt / ohm, henry / ohm
    if tau == 0:
        return numpy.where(time > 0, last, before), last * last * time
    x = time / tau
    g, jump = -numpy.expm1(-x), before - last
    current = before - jump * g
    square = last * last * time + 2 * last * jump * tau * g + jump * jump * tau / 2 * -numpy.expm1(-2 * x)
    # The differences vanish for short times: there the current is a straight line.
    short = x < 1e-4
    line = time * (before * before + before * (current - before) + (current - before) ** 2 / 3)
    return current, numpy.where(short, line, square)


def fall(volt, ohm, henry, current, against):
    """From a current to zero against a voltage: the time, what passes, the charge; inf where it never gets there."""
    over = (against - volt) / ohm
    if over <= 0:
        return (math.inf,) * 3
    tau, x = henry / ohm, current / over
    time = tau * math.log1p(x)
    fine = numpy.linspace(0.0, time, 2001)
    course = (current + over) * numpy.exp(-fine / tau) - over if tau > 0 else numpy.zeros_like(fine)
    return time, numpy.trapezoid(course**2, fine), numpy.trapezoid(course, fine)


def trips(current, threshold, filter_s, before):
    """When the filtered current reaches the threshold, on the grid."""
    if before >= threshold:
        return 0.0
    seen = current
    if filter_s > 0:
        seen, value = numpy.empty_like(current), before
        seen[0] = before
        keep = numpy.exp(-numpy.diff(GRID) / filter_s)
        middle = (current[1:] + current[:-1]) / 2
        for step, (share, drive) in enumerate(zip(keep, middle)):
            value = drive + (value - drive) * share
            seen[step + 1] = value
    above = numpy.flatnonzero(seen >= threshold)
    if not len(above):
        return math.inf
    step = above[0]
    return float(numpy.interp(threshold, [seen[step - 1], seen[step]], [GRID[step - 1], GRID[step]]))


class Course:
    """One fault of one specimen from its beginning to its end."""

    def __init__(self, given, fault, melted, current, fuse):
        volt, ohm, henry, before = (fault[name] for name in ("volt", "ohm", "henry", "before"))
        switch = given["switch"]
        reached = trips(current, fault["threshold"], fault["filter"], before)
        self.opens, self.melted = reached + fault["reaction"], melted
        self.prospective = volt / ohm

        def at(time):
            value, square = rise(volt, ohm, henry, before, numpy.array(time))
            return float(value), float(square)

        self.broken_a, self.charge, self.passed, self.ended = None, 0.0, math.inf, False
        first = min(self.opens, melted)
        self.closed_a2s = at(first)[1] if math.isfinite(first) else math.inf
        self.peak = max(abs(before), at(first)[0] if math.isfinite(first) else self.prospective)
        if self.opens < melted:
            self.broken_a, until = at(self.opens)
            if self.broken_a <= switch["breaking_a"]:
                _, passed, charge = fall(volt, ohm, henry, self.broken_a, switch["clamp_voltage_v"])
                self.passed, self.charge, self.ended = until + passed, charge, math.isfinite(passed)
        able = given["fuse"]["never_clears_below_a"] <= self.prospective <= given["fuse"]["breaking_a"]
        if not self.ended and math.isfinite(melted) and able:
            value, until = at(melted)
            time, passed, _ = fall(volt, ohm, henry, value, fuse.arc_v)
            self.passed, self.ended = until + passed, math.isfinite(passed)
            if melted < self.opens < melted + time:
                # What is left of the arc's current when the switch opens.
                over = (fuse.arc_v - volt) / ohm
                self.broken_a = (value + over) * math.exp(-(self.opens - melted) * ohm / max(henry, 1e-30)) - over
            if self.opens > melted:
                # Closed until the switch opens or the arc is out.
                self.closed_a2s = max(self.closed_a2s, self.passed if self.opens >= melted + time else self.closed_a2s)
        if not self.ended and melted <= self.opens < math.inf and not able:
            # A fuse that cannot clear stays a conductor: the switch breaks the whole current later.
            value, until = at(self.opens)
            self.broken_a, self.peak = max(self.broken_a or 0.0, value), max(self.peak, value)
            self.closed_a2s = until
            if value <= switch["breaking_a"]:
                _, passed, charge = fall(volt, ohm, henry, value, switch["clamp_voltage_v"])
                self.passed, self.charge, self.ended = until + passed, charge, math.isfinite(passed)


def draw(dice):
    """A random design that somebody could build, and its fuse."""

    def some(low, high):
        return float(dice.uniform(low, high))

    def decades(low, high):
        return float(numpy.exp(dice.uniform(math.log(low), math.log(high))))

    volt, strongest = decades(40, 900), decades(1200, 9000)
    ohm = volt / strongest
    pack = ohm * some(0.7, 0.97)
    before = strongest * some(0.01, 0.06)
    fast = dice.random() < 0.4
    source = {
        "voltage_v": volt,
        "pack_resistance_ohm": pack,
        "external_resistance_ohm": ohm - pack,
        "inductance_henry": decades(2e-6, 4e-5) if dice.random() < 0.9 else 0.0,
    }
    # Each range is there or is not.
    if dice.random() < 0.6:
        source["voltage_min_v"] = volt * some(0.6, 0.95)
    if dice.random() < 0.6:
        source["pack_resistance_max_ohm"] = pack * some(1.1, 3)
    if dice.random() < 0.7:
        source["external_resistance_max_ohm"] = (ohm - pack) + ohm * decades(0.1, 4)
    if dice.random() < 0.5:
        source["inductance_max_henry"] = max(source["inductance_henry"], 1e-6) * some(1.5, 8)
    least = before * some(1.5, 3)
    rated_v = volt * some(1.0, 1.3)
    fuse = Fuse(least**2 * decades(0.05, 0.4), least, decades(4e-3, 0.03), decades(40, 400), rated_v * some(1.3, 2))
    rated_tau = max(source.get("inductance_max_henry", source["inductance_henry"]) / ohm, 1e-4) * some(1.0, 1.5)
    points = []
    for current in numpy.geomspace(least * some(1.15, 1.4), strongest * some(0.8, 4), int(dice.integers(4, 13))):
        melted = fuse.pre_arcing(current)
        arc, _, _ = fall(rated_v, 1.0, rated_tau, rated_v, fuse.arc_v)
        points.append({"current_a": float(current), "pre_arcing_s": melted, "clearing_s": melted + arc})
    tolerance = some(2, 15) if dice.random() < 0.6 else 0.0
    warm = min(fuse.pre_arcing(point["current_a"], before) / point["pre_arcing_s"] for point in points)
    value = {
        "source": source,
        "before_a": before,
        "threshold_a": before * some(1.3, 5),
        "threshold_error_percent": some(0, 8),
        "filter_s": decades(2e-6, 2e-4) if dice.random() < 0.7 else 0.0,
        "filter_tolerance_percent": some(0, 20),
        "stages": [{"name": "all", "longest_s": decades(3e-6, 6e-5) if fast else decades(1e-3, 2e-2)}],
        "fuse": {
            "prearc_a2s": 0.0,
            "points": points,
            "current_tolerance_percent": tolerance,
            "preload_percent": max(1.0, 100 * warm * (1 - 1e-3)),
            "voltage_v": rated_v,
            "time_constant_s": rated_tau,
            "never_clears_below_a": points[0]["current_a"] * some(0.5, 1.5),
            "breaking_a": strongest * some(0.5, 3),
        },
        "switch": {
            "breaking_a": strongest * decades(0.1, 1.5),
            "carry_a": strongest * some(0.4, 1.5),
            "carry_s": decades(1e-3, 0.1),
            "clamp_voltage_v": volt * some(1.05, 2),
            "clamp_energy_j": decades(1, 2000),
        },
        "meant_first": str(dice.choice(["any", "fuse", "switch"])),
        "shunt_pulse_a2s": strongest**2 * decades(1e-5, 1),
        "wiring": {"area_mm2": decades(2, 120)},
    }
    stage = value["stages"][0]
    stage["shortest_s"] = stage["longest_s"] * some(0.3, 1.0)
    if dice.random() < 0.4:
        value["before_min_a"] = -before * some(0.2, 1.0)
    return value, fuse


def faults(dice, given):
    """Corners, random faults, and those close to where a device begins to act."""
    source = given["source"]
    ranges = {
        "volt": (source.get("voltage_min_v", source["voltage_v"]), source["voltage_v"]),
        "pack": (source["pack_resistance_ohm"], source.get("pack_resistance_max_ohm", source["pack_resistance_ohm"])),
        "external": (
            source["external_resistance_ohm"],
            source.get("external_resistance_max_ohm", source["external_resistance_ohm"]),
        ),
        "henry": (source["inductance_henry"], source.get("inductance_max_henry", source["inductance_henry"])),
        "before": (min(given.get("before_min_a", 0.0), 0.0), given["before_a"]),
        "error": (-given["threshold_error_percent"] / 100, given["threshold_error_percent"] / 100),
        "lag": (-given["filter_tolerance_percent"] / 100, given["filter_tolerance_percent"] / 100),
        "reaction": (given["stages"][0]["shortest_s"], given["stages"][0]["longest_s"]),
        "scale": (-given["fuse"]["current_tolerance_percent"] / 100, given["fuse"]["current_tolerance_percent"] / 100),
    }
    edges = [given["threshold_a"] * (1 + ranges["error"][1])] + [p["current_a"] for p in given["fuse"]["points"]]
    for index in range(FAULTS):
        # Half of them stand in a corner, but for one of their values.
        corner = index % 2 == 0
        fault = {
            name: float(low + (high - low) * (dice.integers(0, 2) if corner and dice.random() < 0.85 else dice.random()))
            for name, (low, high) in ranges.items()
        }
        fault["ohm"] = fault["pack"] + fault["external"]
        if index % 3 == 0:
            # As close to an edge as the resistance of the short allows.
            wanted = fault["volt"] / (float(dice.choice(edges)) * (1 + float(dice.normal(0, 5e-3)))) - fault["pack"]
            fault["ohm"] = fault["pack"] + min(max(wanted, ranges["external"][0]), ranges["external"][1])
        fault["threshold"] = given["threshold_a"] * (1 + fault["error"])
        fault["filter"] = given["filter_s"] * (1 + fault["lag"])
        fault["warm"] = abs(fault["before"]) if dice.random() < 0.5 else 0.0
        yield fault


def simulate(dice, given, fuse):
    """All faults of a design; those of one specimen of the fuse together."""
    drawn = list(faults(dice, given))
    for edge in (-1, 1, None):
        share = given["fuse"]["current_tolerance_percent"] / 100
        scale = 1 + (edge * share if edge else share * float(dice.uniform(-1, 1)))
        group = [fault for index, fault in enumerate(drawn) if index % 3 == (edge or 0) + 1]
        if not group:
            continue
        specimen = fuse.specimen(scale)
        courses = [rise(fault["volt"], fault["ohm"], fault["henry"], fault["before"], GRID) for fault in group]
        melted = specimen.melts(numpy.array([square for _, square in courses]), [fault["warm"] for fault in group])
        for fault, (current, _), time in zip(group, courses, melted):
            yield fault, Course(given, fault, float(time), current, specimen)


def broken(given, result, holds, fault, course):
    """By how much a fault passes what the server promised of it: names and excesses."""
    switch = given["switch"]
    strongest = abs(course.prospective / result["strongest"]["prospective_a"] - 1) < 1e-9
    if "race.opens" in holds and not course.ended:
        yield "race.opens", math.inf
    values = [
        ("race.shunt-pulse", course.passed, given["shunt_pulse_a2s"]),
        ("race.wiring", course.passed, result["wiring"]["limit_a2s"]),
        ("race.breaking", course.broken_a or 0.0, switch["breaking_a"]),
        ("race.carry", course.peak, switch["carry_a"]),
        ("race.carry", course.closed_a2s, switch["carry_a"] ** 2 * switch["carry_s"]),
        ("race.clamp-energy", course.charge * switch["clamp_voltage_v"], switch["clamp_energy_j"]),
        ("race.fuse-breaking", course.prospective if course.melted < course.opens else 0.0, given["fuse"]["breaking_a"]),
    ]
    if strongest and math.isfinite(min(course.opens, course.melted)):
        values.append(("race.switch-first", course.opens, course.melted))
        values.append(("race.fuse-first", course.melted, course.opens))
    for name, value, limit in values:
        if name in holds and not value <= limit:
            yield name, value / limit - 1
    for name, value in (("worst_let_through_a2s", course.passed), ("must_break_a", course.broken_a or 0.0)):
        if name in result and value > result[name]:
            yield name, value / result[name] - 1


@check("/api/v1/race", "race: two bodies, event by event", "scipy, random designs", 1e-9)
def race_events(_, __):
    dice = numpy.random.default_rng(SEED)
    counts, tight = {}, 0.0
    for number in range(DESIGNS):
        given, fuse = draw(dice)
        answer = fetch("/api/v1/race", given)
        result = answer["result"]
        holds = {row["id"] for row in answer["requirements"] if row["verdict"] in ("holds", "thin")}
        for name in holds | {name for name in ("worst_let_through_a2s", "must_break_a") if name in result}:
            counts[name] = counts.get(name, 0) + 1
        worst = {}
        for fault, course in simulate(dice, given, fuse):
            if "worst_let_through_a2s" in result and math.isfinite(course.passed):
                tight = max(tight, course.passed / result["worst_let_through_a2s"])
            for name, excess in broken(given, result, holds, fault, course):
                if excess > worst.get(name, 0.0):
                    worst[name] = excess
        for name in sorted(holds & {row["id"] for row in answer["requirements"]}):
            yield f"design {number} of seed {SEED}: {name}", worst.get(name, 0.0), 0.0, EXACT
        for name in ("worst_let_through_a2s", "must_break_a"):
            if name in result:
                yield f"design {number} of seed {SEED}: {name}", worst.get(name, 0.0), 0.0, EXACT
    # An attack that judges nothing, or never comes close, shows nothing.
    yield "verdicts that hold", float(sum(counts.values()) >= 2 * DESIGNS), 1.0
    yield "a fault comes close to the worst let-through", float(tight > 0.9), 1.0


def strings(dice, given):
    """Strings step by step: the current of each when it opens, and what passed until then."""
    source, count = given["source"], given["strings"]["count"]
    share, volt = given["strings"]["spread_percent"] / 100, source["voltage_v"]
    own = 1 + share * dice.choice([-1.0, 1.0, 0.0], count)
    # Together they make the pack's resistance.
    own *= source["pack_resistance_ohm"] * (1 / own).sum()
    henry, outside = count * source["inductance_henry"], source["external_resistance_ohm"]
    error = given["threshold_error_percent"] / 100
    levels = given["threshold_a"] * (1 + error * dice.uniform(-1, 1, count))
    stage = given["stages"][0]
    waits = dice.choice([stage["shortest_s"], stage["longest_s"]], count)
    width = (stage["longest_s"] + 20 * henry / own.min()) / 12_000
    current, passed = numpy.full(count, given["before_a"] * float(dice.integers(0, 2))), numpy.zeros(count)
    closed, opens, found = numpy.ones(count, bool), numpy.full(count, math.inf), []
    melts = given["fuse"]["points"][0]["pre_arcing_s"] * given["fuse"]["points"][0]["current_a"] ** 2
    step, settled, time = None, None, 0.0
    while closed.any():
        if step is None:
            matrix = numpy.diag(own[closed]) + outside
            settled = numpy.linalg.solve(matrix, numpy.full(closed.sum(), volt))
            step = scipy.linalg.expm(-matrix * width / henry)
        last = current[closed]
        current[closed] = settled + step @ (last - settled)
        passed[closed] += width * (last**2 + last * current[closed] + current[closed] ** 2) / 3
        time += width
        seen = closed & (current >= levels) & numpy.isinf(opens)
        opens[seen] = time + waits[seen]
        switched, melted = closed & (time >= opens), closed & (passed >= melts)
        found += [(current[index], passed[index]) for index in numpy.flatnonzero(switched & ~melted)]
        found += [(0.0, passed[index]) for index in numpy.flatnonzero(melted)]
        if (switched | melted).any():
            closed &= ~(switched | melted)
            current[~closed], step = 0.0, None
    return found


@check("/api/v1/race", "race: parallel strings, step by step", "scipy expm, random strings", 1e-9)
def race_strings(_, __):
    dice, closest = numpy.random.default_rng(SEED), 0.0
    for number in range(max(DESIGNS // 8, 3)):
        count, strongest = int(dice.integers(2, 5)), float(dice.uniform(1500, 5000))
        volt = float(dice.uniform(300, 850))
        ohm, latest = volt / strongest, float(dice.uniform(2e-3, 1e-2))
        outside = float(dice.uniform(0.05, 0.5)) * ohm
        each = strongest / count
        melts = each**2 * latest * float(dice.uniform(0.5, 6))
        points = [
            {"current_a": current, "pre_arcing_s": melts / current**2, "clearing_s": melts / current**2}
            for current in (each * 0.3, each * 3, strongest * 3)
        ]
        given = {
            "source": {
                "voltage_v": volt,
                "pack_resistance_ohm": ohm - outside,
                "external_resistance_ohm": outside,
                "inductance_henry": float(dice.uniform(3e-6, 3e-5)),
            },
            "strings": {"count": count, "spread_percent": float(dice.uniform(0, 25))},
            "before_a": each * 0.05,
            "threshold_a": each * 0.4,
            "threshold_error_percent": 5.0,
            "stages": [{"name": "all", "longest_s": latest, "shortest_s": latest * float(dice.uniform(0.4, 1))}],
            "fuse": {"prearc_a2s": 0.0, "points": points, "voltage_v": 1000.0, "time_constant_s": 0.01, "breaking_a": 1e6},
            "switch": {"breaking_a": 1e5, "breaking_reverse_a": 1e5, "clamp_voltage_v": 1e5},
        }
        result = fetch("/api/v1/race", given)["result"]
        for _ in range(6):
            for current, passed in strings(dice, given):
                closest = max(closest, current / result.get("must_break_a", math.inf))
                label = f"{count} strings, design {number} of seed {SEED}"
                most = result.get("must_break_a", 0.0)
                yield f"{label}: must break", max(current / most - 1, 0.0) if current else 0.0, 0.0, EXACT
                # The fuse bounds what passes by its own I²t, in a string with a fault inside by that of the sum.
                yield f"{label}: passes", max(passed / result["worst_let_through_a2s"] - 1, 0.0), 0.0, EXACT
    # What the last string takes over while another one opens is bounded on top of these courses.
    yield "a string comes close to what it must break", float(closest > 0.6), 1.0


def circuit(volt, ohm, henry):
    return {"voltage_v": volt, "pack_resistance_ohm": ohm - 0.01, "external_resistance_ohm": 0.01, "inductance_henry": henry}


@check(
    "/api/v1/race",
    "race: a fast switch against its clamp",
    "numpy, event by event",
    1e-5,
    {
        "source": circuit(831.6, 0.2202, 20e-6),
        "threshold_a": 1000.0,
        "stages": [{"name": "all", "longest_s": 1e-5}],
        "switch.clamp_voltage_v": 900.0,
        "switch.breaking_a": 2000.0,
    },
)
def race_fast(given, result):
    source = given["source"]
    volt, henry, ohm = source["voltage_v"], source["inductance_henry"], source["pack_resistance_ohm"] + 0.01
    reached = scipy.optimize.brentq(
        lambda time: float(rise(volt, ohm, henry, given["before_a"], numpy.array(time))[0]) - given["threshold_a"], 0, 1e-3
    )
    opened = reached + 1e-5
    current, passed = (float(value) for value in rise(volt, ohm, henry, given["before_a"], numpy.array(opened)))
    time, after, _ = fall(volt, ohm, henry, current, 900.0)
    yield "opens", result["opening_current_a"], current
    yield "at", result["interruption_max_s"], opened
    yield "zero", result["zero_current_s"], opened + time
    yield "A²s", result["let_through_to_zero_a2s"], passed + after
    # The printed numbers of the reference test.
    yield "1289.5 A", current, 1289.5, 0.05
    yield "33.0 µs", opened, 33.0e-6, 5e-8
    yield "181.9 µs", opened + time, 181.9e-6, 5e-8
    yield "76.71 A²s", passed + after, 76.71, 5e-3


@check(
    "/api/v1/race",
    "race: the link into a short",
    "scipy solve_ivp",
    1e-6,
    {"source.link_farad": 9e-4},
    {"source.link_farad": 9e-4, "source.external_resistance_ohm": 0.4},
    {"source.link_farad": 2e-5, "source.external_resistance_ohm": 1.5},
)
def race_link(given, result):
    source = given["source"]
    henry, ohm, farad = source["inductance_henry"], source["external_resistance_ohm"], source["link_farad"]

    def slopes(_, state):
        current, volt, _ = state
        return [(volt - ohm * current) / henry, -current / farad, current * current]

    until = 40 * max(henry / ohm, ohm * farad)
    solved = scipy.integrate.solve_ivp(
        slopes, (0, until), [0.0, source["voltage_v"], 0.0], method="DOP853", rtol=1e-11, atol=1e-10,
        events=lambda _, state: state[1] - ohm * state[0],
    )
    yield "peak", result["link"]["peak_a"], max(state[0] for state in solved.y_events[0])
    yield "A²s", result["link"]["let_through_a2s"], solved.y[2, -1]


@check("/api/v1/race", "race: the fuse of two bodies", "two linear bodies, scipy brentq", 1e-9)
def race_fuse(_, __):
    """The points of the reference test, and the server's bounds between them."""
    fuse = Fuse(60e3, 600.0, 20e-3, 200.0, 1500.0)
    for current, time, digits in ((833.3, 120.7, 0.05), (1200.0, 32.0, 0.05), (1500.0, 9.35, 0.005), (1350.0, 18.50, 0.005)):
        yield f"{current} A", fuse.pre_arcing(current), time, digits
    currents = (700.0, 833.3, 1200.0, 1500.0, 2200.0, 3500.0, 6000.0)
    points = [{"current_a": current, "pre_arcing_s": fuse.pre_arcing(current)} for current in currents]
    for current in numpy.geomspace(701.0, 5990.0, 25):
        given = {
            "source": {"voltage_v": 800.0, "pack_resistance_ohm": 800.0 / current, "external_resistance_ohm": 0.0, "inductance_henry": 0.0},
            "before_a": 0.0,
            "threshold_a": 1e5,
            "stages": [{"name": "all", "longest_s": 1e-3}],
            "fuse": {"prearc_a2s": 0.0, "points": points},
            "switch": {},
        }
        found = fetch("/api/v1/race", given)["result"]["fuse"]
        time = fuse.pre_arcing(current)
        yield f"{current:.0f} A, earliest", max(found["prearc_min_s"] / time - 1.0, 0.0), 0.0, 1e-6
        yield f"{current:.0f} A, latest", max(time / found["prearc_max_s"] - 1.0, 0.0), 0.0, 1e-6
