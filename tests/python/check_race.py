"""Reaction race and ripple: the fault loop, the clamp and the filters as differential equations."""

import math

import numpy
import scipy.integrate
import scipy.optimize

from harness import check

EXACT = {"rtol": 1e-11, "atol": 1e-12, "method": "DOP853"}

# Both I²t of the fuse hold at every fault.
HELD = {"fuse.adiabatic_from_a": 50.0, "fuse.clearing_a2s": 400e3, "fuse.breaking_a": 50e3}

FAULTS = (
    HELD,
    HELD | {"before_a": 0.0, "threshold_error_percent": 3.0, "fuse.tolerance_percent": 15.0},
    HELD | {"before_a": -250.0, "filter_s": 2e-5, "filter_tolerance_percent": 10.0, "switch.clamp_voltage_v": 1100.0},
    HELD
    | {
        "source.inductance_henry": 2e-4,
        "filter_s": 1e-3,
        "fuse.prearc_a2s": 4000.0,
        "fuse.tolerance_percent": 10.0,
        "switch.clamp_voltage_v": 850.0,
    },
    HELD
    | {
        "source.voltage_min_v": 554.4,
        "source.pack_resistance_max_ohm": 0.35,
        "source.external_resistance_max_ohm": 1.5,
        "fuse.never_clears_below_a": 700.0,
        "fuse.tolerance_percent": 10.0,
        "switch.breaking_a": 2500.0,
        "filter_s": 1e-5,
        "wiring.area_mm2": 16.0,
    },
    HELD
    | {
        "source.external_resistance_max_ohm": 0.6,
        "switch.breaking_a": 1500.0,
        "fuse.prearc_a2s": 9000.0,
        "fuse.tolerance_percent": 20.0,
        "threshold_a": 900.0,
    },
    HELD
    | {
        "source.inductance_henry": 2e-4,
        "source.external_resistance_max_ohm": 1.0,
        "stages": [{"name": "all", "longest_s": 1.2e-3, "shortest_s": 9e-4}],
        "threshold_a": 600.0,
        "fuse.prearc_a2s": 2500.0,
        "fuse.tolerance_percent": 5.0,
        "switch.breaking_a": 1400.0,
    },
)


class Course:
    """Current, its square's integral from two beginnings and the filtered current, step by step."""

    def __init__(self, volt, ohm, henry, before, filters, until):
        self.filters = [tau for tau in filters if tau > 0]

        def slopes(_, state):
            current, _, zero, _, *filtered = state
            return [
                (volt - ohm * current) / henry,
                current * current,
                (volt - ohm * zero) / henry,
                zero * zero,
                *((current - y) / tau for y, tau in zip(filtered, self.filters)),
            ]

        start = [before, 0.0, 0.0, 0.0, *([before] * len(self.filters))]
        solved = scipy.integrate.solve_ivp(slopes, (0.0, until), start, dense_output=True, **EXACT)
        self.at, self.until, self.times, self.values = solved.sol, until, solved.t, solved.y

    def when(self, row, level):
        """The first time a rising row reaches a level."""
        for left, right, value in zip(self.times, self.times[1:], self.values[row][1:]):
            if value >= level:
                return scipy.optimize.brentq(lambda time: self.at(time)[row] - level, left, right, xtol=1e-18)
        if row in (1, 3):
            # The current has settled to the last digit: its square's integral goes on as a straight line.
            return self.until + (level - self.values[row][-1]) / self.values[row - 1][-1] ** 2
        return None

    def trips(self, level, tau):
        """When the detection behind a filter sees a level."""
        if self.at(0.0)[0] >= level:
            return 0.0
        return self.when(0 if tau == 0 else 4 + self.filters.index(tau), level)


def chain(given):
    longest = sum(stage["longest_s"] for stage in given["stages"])
    return sum(stage.get("shortest_s", stage["longest_s"]) for stage in given["stages"]), longest


def run(given, volt, ohm, before):
    """Times of switch and fuse at one fault, and the course."""
    henry = given["source"]["inductance_henry"]
    error, spread = given["filter_tolerance_percent"] / 100, given["filter_s"]
    taus = [spread, spread * (1 - error), spread * (1 + error)]
    pre, off = given["fuse"]["prearc_a2s"], given["fuse"]["tolerance_percent"] / 100
    last = volt / ohm
    course = Course(volt, ohm, henry, before, taus, 40 * (henry / ohm + spread * (1 + error)))
    off_level = given["threshold_error_percent"] / 100
    shortest, longest = chain(given)
    level = given["threshold_a"]
    early = course.trips(level * (1 - off_level), taus[1]) if level * (1 - off_level) < last else None
    late = course.trips(level * (1 + off_level), taus[2]) if level * (1 + off_level) < last else None
    clears = pre > 0 and last >= given["fuse"].get("never_clears_below_a", 0.0)
    # From the current before and from none.
    fuse = None
    if clears:
        both = [[course.when(row, pre * share) for row in (1, 3)] for share in (1 - off, 1 + off)]
        fuse = (course.when(3, pre), min(both[0]), max(both[1]))
    return course, None if early is None else early + shortest, None if late is None else late + longest, fuse


@check("/api/v1/race", "race: strongest fault", "scipy solve_ivp with events", 1e-7, *FAULTS)
def race_strongest(given, result):
    source = given["source"]
    volt, ohm = source["voltage_v"], source["pack_resistance_ohm"] + source["external_resistance_ohm"]
    henry = source["inductance_henry"]
    course, early, late, fuse = run(given, volt, ohm, given["before_a"])
    yield "prospective_a", result["strongest"]["prospective_a"], volt / ohm
    reach = course.when(0, given["threshold_a"])
    yield "time_to_threshold_s", result["time_to_threshold_s"], reach
    yield "filter_delay_s", result["filter_delay_s"], course.trips(given["threshold_a"], given["filter_s"]) - reach, 1e-12
    yield "interruption_min_s", result["interruption_min_s"], early
    yield "interruption_max_s", result["interruption_max_s"], late
    # Beyond the integrated time the loop is settled to the last digit.
    beyond = max(late - course.until, 0.0)
    current, square, zero, square_zero, *_ = course.at(min(late, course.until))
    yield "opening_current_a", result["opening_current_a"], current
    yield "opening_current_from_zero_a", result["opening_current_from_zero_a"], zero
    yield "stored_energy_j", result["stored_energy_j"], henry * current * current / 2
    yield "let_through_from_before_a2s", result["let_through_from_before_a2s"], square + beyond * current**2
    yield "let_through_a2s", result["let_through_a2s"], square_zero + beyond * zero**2
    for name, time in zip(("prearc_s", "prearc_min_s", "prearc_max_s"), fuse):
        yield f"fuse.{name}", result["fuse"][name], time
    for point in result["course"][::20]:
        if point["time_s"] < course.until:
            state = course.at(point["time_s"])
            yield "course current", point["current_a"], state[0]
            yield "course let-through", point["let_through_a2s"], state[1], 1e-7 * max(state[1], 1e-6)
    if "clamp" in result:
        yield from clamp(given["switch"]["clamp_voltage_v"], volt, ohm, henry, current, result["clamp"])


def clamp(clamp_v, volt, ohm, henry, current, found):
    """The current falls against the clamp until it is zero."""

    def ends(_, state):
        return state[0]

    ends.terminal = True
    solved = scipy.integrate.solve_ivp(
        lambda _, state: [(volt - clamp_v - ohm * state[0]) / henry, state[0], ohm * state[0] ** 2],
        (0.0, 10 * henry * current / (clamp_v - volt)),
        [current, 0.0, 0.0],
        events=ends,
        **EXACT,
    )
    _, charge, heat = solved.y[:, -1]
    yield "clamp.opening_s", found["opening_s"], solved.t[-1]
    yield "clamp.energy_j", found["energy_j"], clamp_v * charge
    yield "clamp.source_j", found["source_j"], volt * charge
    yield "clamp.resistance_j", found["resistance_j"], heat, 1e-7 * clamp_v * charge


@check("/api/v1/race", "race: currents that nothing interrupts", "scipy solve_ivp at 16 faults", 1e-9, *FAULTS[3:])
def race_nobody(given, result):
    """At some currents between the weakest and the strongest fault: do they lie in an interval, and should they?"""
    source, low, high = given["source"], result["weakest"], result["strongest"]
    breaking, least = given["switch"].get("breaking_a", math.inf), given["fuse"].get("never_clears_below_a", 0.0)
    volts = source.get("voltage_min_v", source["voltage_v"]), source["voltage_v"]
    for current in numpy.geomspace(low["prospective_a"] * (1 + 1e-9), high["prospective_a"] * (1 - 1e-9), 16):
        # The same current at the lowest and the highest voltage: the longest and the shortest time constant.
        ends = {max(volts[0], current * high["resistance_ohm"]), min(volts[1], current * low["resistance_ohm"])}
        expected = False
        for volt in ends:
            for before in {min(given["before_a"], 0.0), max(given["before_a"], 0.0)}:
                course, early, late, fuse = run(given, volt, volt / current, before)
                # Until then no fuse can have cleared; one that does not clear at all does not count.
                last = [time for time in (late, fuse and course.when(1, fuse_low(given))) if time is not None]
                met = 0.0
                if early is not None and not (fuse and course.when(1, fuse_low(given)) <= early):
                    end = max(early, min(last)) if last else math.inf
                    met = max(abs(course.at(min(time, course.until))[0]) for time in (early, end))
                expected |= met > breaking or (late is None and current < least)
        inside = any(
            row["from_a"] <= current <= row["to_a"] for row in result["nobody"] if row["reason"] != "not-judged"
        )
        yield f"{current:.1f} A", float(inside), float(expected), 1e-9


def fuse_low(given):
    return given["fuse"]["prearc_a2s"] * (1 - given["fuse"]["tolerance_percent"] / 100)


RIPPLES = (
    {},
    {"converter.filter_s": 2e-5, "converter.full_scale_v": 0.0225, "duty_percent": 20.0},
    {"converter.filter_s": 1e-4, "converter.full_scale_v": 0.0205, "duty_percent": 70.0, "mean_a": 570.0},
    {"converter.filter_s": 5e-3, "converter.full_scale_v": 0.02101, "duty_percent": 35.0},
    {"shape": "sine", "converter.filter_s": 3e-5, "converter.full_scale_v": 0.021},
    {"converter.bipolar": False, "mean_a": 20.0, "duty_percent": 30.0},
    {"trips": [{"name": "a", "threshold_a": 700.0, "filter_s": 4e-5}, {"name": "b", "threshold_a": -9.0, "filter_s": 1e-3}]},
)


def periodic(given, tau):
    """Times of one period and the filtered signal there: the periodic solution of τ y' = u − y."""
    f, pp, mean = given["frequency_hz"], given["peak_to_peak_a"], given["mean_a"]
    lag = given["shunt"]["inductance_henry"] / given["shunt"]["resistance_ohm"]
    period = 1.0 / f
    rise = given["duty_percent"] / 100 if given["shape"] == "triangle" else 0.5

    def current(t):
        if given["shape"] == "sine":
            return pp / 2 * math.sin(2 * math.pi * f * t), math.pi * f * pp * math.cos(2 * math.pi * f * t)
        if t < rise * period:
            return -pp / 2 + pp * t / (rise * period), pp / (rise * period)
        return pp / 2 - pp * (t / period - rise) / (1 - rise), -pp / ((1 - rise) * period)

    # Midpoints of many steps: corners fall between them.
    count = 40_000
    edges = numpy.concatenate(
        [numpy.linspace(0, rise * period, count // 2, endpoint=False), numpy.linspace(rise * period, period, count // 2 + 1)]
    )
    middles, steps = (edges[1:] + edges[:-1]) / 2, numpy.diff(edges)
    u = numpy.array([value + lag * slope for value, slope in map(current, middles)])
    if tau == 0:
        # Without a filter the extremes stand right before and after the corners; a sine has them anywhere.
        corners = [numpy.nextafter(rise * period, side) for side in (0.0, period)]
        sides = [value + lag * slope for value, slope in map(current, (0.0, *corners, numpy.nextafter(period, 0.0)))]
        return steps, mean + u, mean + numpy.concatenate([u, sides])
    # Exact steps of a held input; the last value is linear in the first one.
    decay = numpy.exp(-steps / tau)

    def last(first):
        y, values = first, numpy.empty(len(u) + 1)
        values[0] = y
        for index, (value, keep) in enumerate(zip(u, decay)):
            y = value + (y - value) * keep
            values[index + 1] = y
        return values

    base = last(0.0)
    slope = math.exp(-period / tau)
    values = last(base[-1] / (1 - slope))
    return steps, mean + (values[1:] + values[:-1]) / 2, mean + values


@check("/api/v1/ripple", "ripple: peaks and clipping", "numpy steps over one period", 2e-6, *RIPPLES)
def ripple_period(given, result):
    steps, y, ends = periodic(given, given["converter"]["filter_s"])
    found, period = result["converter"], 1.0 / given["frequency_hz"]
    yield "converter.highest_a", found["highest_a"], ends.max()
    yield "converter.lowest_a", found["lowest_a"], ends.min(), 2e-6 * abs(ends).max()
    mean = (numpy.clip(y, found["range_low_a"], found["range_high_a"]) * steps).sum() / period
    yield "converter.mean_a", found["mean_a"], mean
    yield "converter.shift_a", found["shift_a"], mean - given["mean_a"], 1e-4
    rate = given["peak_to_peak_a"] / 2
    squares = scipy.integrate.quad(lambda x: (rate * x) ** 2, -1, 1)[0] / 2
    if given["shape"] == "sine":
        squares = scipy.integrate.quad(lambda x: (rate * math.sin(x)) ** 2, 0, 2 * math.pi)[0] / (2 * math.pi)
    yield "sense.rms_a", result["sense"]["rms_a"], math.hypot(given["mean_a"], math.sqrt(squares))
    for trip, given_trip in zip(result["trips"], given["trips"]):
        _, _, ends = periodic(given, given_trip["filter_s"])
        # At the largest current of its side; where nobody says what flows there, at none.
        sign, peak = (-1, "pack_charge_peak_a") if trip["threshold_a"] < 0 else (1, "pack_peak_a")
        judged = sign * max(given.get(peak, 0.0), sign * given["mean_a"], 0.0)
        extreme = (ends.min() if sign < 0 else ends.max()) - given["mean_a"] + judged
        yield f"{trip['name']}: peak_a", trip["peak_a"], extreme
        if "needed_filter_s" in trip:
            _, _, ends = periodic(given, trip["needed_filter_s"])
            yield f"{trip['name']}: needed_filter_s", trip["threshold_a"], ends.max()


BEATS = (
    {
        "shape": "sine",
        "peak_to_peak_a": 6.0,
        "frequency_hz": 100.4,
        "samples": {"rate_hz": 250.0, "averages": 5},
        "converter.filter_s": 4.7e-5,
    },
    {"shape": "sine", "frequency_hz": 10_003.0, "samples": {"rate_hz": 1000.0, "averages": 4}},
    {"frequency_hz": 310.0, "samples": {"rate_hz": 1000.0, "averages": 3}, "duty_percent": 25.0},
)


@check("/api/v1/ripple", "ripple: beat of the sampling", "numpy samples, averaged", 1e-6, *BEATS)
def ripple_beat(given, result):
    """Each harmonic is sampled, averaged and measured by least squares at the frequency it should appear at."""
    rate, count = given["samples"]["rate_hz"], given["samples"]["averages"]
    lag = given["shunt"]["inductance_henry"] / given["shunt"]["resistance_ohm"]
    tau = given["converter"]["filter_s"]
    rise = given["duty_percent"] / 100
    for row in result["sampling"]["harmonics"][:7]:
        f = given["frequency_hz"] * row["order"]
        amplitude = given["peak_to_peak_a"] / 2
        if given["shape"] == "triangle":

            def wave(x):
                return -0.5 + x / rise if x < rise else 0.5 - (x - rise) / (1 - rise)

            turn = 2 * math.pi * row["order"]
            parts = [
                sum(
                    scipy.integrate.quad(lambda x: 2 * wave(x) * part(turn * x), *ends, epsabs=1e-13)[0]
                    for ends in ((0, rise), (rise, 1))
                )
                for part in (math.sin, math.cos)
            ]
            amplitude = given["peak_to_peak_a"] * math.hypot(*parts)
        yield f"{row['order']}: current_a", row["current_a"], amplitude
        response = (1 + 2j * math.pi * f * lag) / (1 + 2j * math.pi * f * tau)
        times = numpy.arange(count * 4000) / rate
        samples = abs(response) * amplitude * numpy.sin(2 * math.pi * numpy.mod(f * times, 1.0) + 0.7)
        words = samples.reshape(-1, count).mean(axis=1)
        at = 2 * math.pi * row["beat_hz"] * times[::count]
        base = numpy.column_stack([numpy.sin(at), numpy.cos(at)])
        (a, b), *_ = numpy.linalg.lstsq(base, words, rcond=None)
        left = abs(words - base @ [a, b]).max()
        yield f"{row['order']}: nothing else is left", left, 0.0, 1e-6 * amplitude
        yield f"{row['order']}: beat_a", row["beat_a"], math.hypot(a, b), 1e-6 * amplitude
