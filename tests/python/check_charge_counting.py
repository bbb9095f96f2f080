"""Charge counting: random designs against cones added up source by source and units counted reading by reading.

    BASE_URL=http://127.0.0.1:8080 python check_charge_counting.py

CHARGE_DESIGNS says how many designs. The models know nothing of the server but the names of its fields.
"""

import functools
import math
import os
import sys

import numpy
import scipy.stats

import charge_health as health
from charge_cones import Cones, states, truly
from charge_designs import coursed, drawn, used
from charge_model import HOUR, WORST_SIGMAS, Curve, own_checks
from charge_simulation import AFTER, Plan, Units, anchor_readings, run
from harness import changed, check, examples, fetch
from harness import run as run_checks

PATH = "/api/v1/charge-counting"
PREFIX = "charge."
COUNT = int(os.environ.get("CHARGE_DESIGNS", "30"))
UNITS = 400
# Readings, or samples where each is rounded, of one unit at most.
LONGEST = 12_000
# So many units may leave three standard deviations, and so unlikely a surplus is no chance.
BEYOND = 2.0 * (1.0 - scipy.stats.norm.cdf(WORST_SIGMAS))
CHANCE = 1e-6
# Cones of one's own against the server's.
SAME = 2e-3
# Times of a cone that are looked at.
TIMES = 7
# So many stretches at most, and each time of a cone is surely one of its own.
EACH_ITS_OWN = 96


def flattened(case):
    """Each field apart: what the example holds besides stays."""
    return {f"{group}.{field}": value for group, fields in case.items() for field, value in fields.items()}


def completed(given):
    """What is left out when it follows from something else."""
    counting = given["counting"]
    counting.setdefault("period_s", given["counter"]["sample_s"] * given["counter"]["averaging"])
    counting.setdefault("aperture_s", counting["period_s"])
    return given


@functools.cache
def answers(use=used):
    """Answers to random designs; a design that contradicts itself is none."""
    start, random = examples()[PATH], numpy.random.default_rng(8)
    found, refused = [], []
    for number in range(COUNT):
        try:
            answer = fetch(PATH, changed(start, flattened(drawn(random, use))))
            found.append((f"{use.__name__} {number}", completed(answer["input"]), answer))
        except AssertionError as error:
            refused.append(error)
    if len(refused) > COUNT / 5:
        raise AssertionError(f"{len(refused)} of {COUNT} designs refused: {refused[0]}")
    return found


def counted():
    """Answers to random uses: by swings, and by courses row by row."""
    return answers() + answers(coursed)


def row(answer, name):
    return next((one for one in answer["requirements"] if one["id"] == PREFIX + name), {})


def surplus(out, units, share):
    """How many units are out beyond what chance explains at this share."""
    return max(0.0, out - scipy.stats.binom.ppf(1.0 - CHANCE, units, share))


@check(PATH, "charge counting: the model itself", "cases of an independent simulation", 1.0)
def charge_model_itself(_given, _result):
    for what, got, expected, allowed in own_checks():
        yield what, got, expected, allowed


# --- Cones ----------------------------------------------------------------------------------------------------------


def plain(given):
    """No part whose bound is a matter of choice: cones are equal then."""
    counting = given["counting"]
    bent = ("step_a", "dead_band_a", "missed_percent", "longest_gap_s", "zeroed_at_rest")
    seen = counting["aperture_s"] >= counting["period_s"] * (1.0 - 1e-9)
    # An anchor that is taken in part leaves some of the error before it: what is judged is the height of the saw-tooth.
    whole = given["anchor"]["weight"] == 1.0 and given["start"]["kind"] != "from-anchor"
    return seen and whole and not any(counting[name] for name in bent)


def repeated(given):
    """Repetitions of the use in a day."""
    use = given["usage"]
    return max(use["cycles_per_day"], 1.0) if use["kind"] in ("cycles", "profile") else 1.0


def added_up():
    """Random uses of which cones are equal: swings where nothing else is described, and all courses so."""
    for number, given, _ in answers():
        if plain(given):
            yield number, without_relaxation(given)
    for number, given, _ in answers(coursed):
        exact = dict.fromkeys(("step_a", "dead_band_a", "missed_percent", "longest_gap_s"), 0.0)
        seen = {"zeroed_at_rest": False, "aperture_s": given["counting"]["period_s"]}
        begins = {"start": {"kind": "limit", "error_percent": 1.0}, "anchor": given["anchor"] | {"weight": 1.0}}
        if given["requirement"]["judged_by"] != "worst-case":
            # With 95 % either end of the capacity is a state of the server and a limit in the sum of one's own.
            begins["battery"] = given["battery"] | {"capacity_error_percent": 0.0}
        yield number, without_relaxation(given | begins | {"counting": given["counting"] | exact | seen})


def without_relaxation(given):
    """Behind an anchor that leaves more than was typed the next time begins with that: here with what was typed."""
    return given | {"anchor": {name: value for name, value in given["anchor"].items() if name != "relax_v"}}


def cones_of(given, hours, each=12):
    for state in states(given):
        plan = Plan(given, hours, state.capacity, state.first)
        yield Cones(given, plan, plan.places(each), state)


def largest(given, hours):
    """The largest error that is judged, over all times; of a worst case with either end of the capacity."""
    if given["requirement"]["judged_by"] != "worst-case":
        return max(cones.inside().max() for cones in cones_of(given, hours, 2))
    known = given | {"battery": given["battery"] | {"capacity_error_percent": 0.0}}
    found = 0.0
    for state in (truly(given, state, end) for state in states(given) for end in (-1.0, 1.0)):
        plan = Plan(known, hours, state.capacity, state.first)
        low, high = Cones(known, plan, plan.places(12), state).worst()
        found = max(found, (-low).max(), high.max())
    return found


def near(given, told, own):
    """The own figure, or what is told where that lies as near as the two descriptions of the same use do."""
    use, low, high = given["usage"], 0.0, 0.0
    if given["battery"]["capacity_error_percent"]:
        # What flows may be taken with the lower capacity, and a part of 95 % at one time or at the end of a swing.
        low, high = (0.0 if given["requirement"]["judged_by"] == "worst-case" else 1e-2), 2e-2
    if use["kind"] == "one-way" and use["awake_h"] < 24.0:
        # Whether the first day's use counts among its hours awake.
        high = max(high, 5e-2)
    return min(max(told, own * (1.0 - low)), own * (1.0 + high))


@check(PATH, "charge counting: cones of random designs", "sources added up one by one", SAME)
def charge_cones(_given, _result):
    for number, given in added_up():
        result = fetch(PATH, given)["result"]
        own = largest(given, given["anchor"]["interval_h"])
        told = result["largest"]["judged_percent"]
        yield f"{number} largest error", told, near(given, told, own)
        lasts, limit = result["lasts"].get("judged_h"), given["requirement"]["soc_error_percent"]
        # At the very end of what lasts the limit is reached, and nowhere before.
        if lasts and lasts < 1000.0:
            yield f"{number} at {lasts:.3f} h", limit, near(given, limit, largest(given, lasts))


@check(PATH, "charge counting: both cones at each time", "sources added up one by one", SAME)
def charge_cones_over_time(_given, _result):
    """Where repetitions are few each point is that of its own time, over every state."""
    for number, given in added_up():
        cone = fetch(PATH, given)["result"]["cone"]
        hours = given["anchor"]["interval_h"]
        # A stretch ends at another time in each state of life, order and capacity.
        stretches, cases = max(len(given["usage"]["profile"]), 2) + 2, 16 if given["usage"]["kind"] == "cycles" else 1
        if cases * stretches * (hours / 24.0 * repeated(given) + 1.0) > EACH_ITS_OWN:
            continue
        for point in [cone[int(place)] for place in numpy.linspace(1, len(cone) - 1, TIMES)]:
            at = numpy.array([point["time_h"] * HOUR])
            likely = given | {"requirement": given["requirement"] | {"judged_by": "probability-95"}}
            for name, judged, told in (
                ("worst case", given | {"requirement": {"judged_by": "worst-case"}}, worse_end(point)),
                ("95 %", likely, point["probability_percent"]),
            ):
                own = largest_at(judged, hours, at)
                if given["battery"]["capacity_error_percent"]:
                    # With another capacity a swing ends at another time: at one time the two descriptions differ by it.
                    own = max(told, own * 0.98)
                yield f"{number} {name} at {point['time_h']:.3f} h", told, near(judged, told, own)


def worse_end(point):
    return max(point["high_percent"], -point["low_percent"])


def largest_at(given, hours, at):
    """The largest error at one time, over every state."""
    if given["requirement"]["judged_by"] != "worst-case":
        plans = ((state, Plan(given, hours, state.capacity, state.first)) for state in states(given))
        return max(float(Cones(given, plan, at, state).inside().max()) for state, plan in plans)
    known = given | {"battery": given["battery"] | {"capacity_error_percent": 0.0}}
    found = 0.0
    for state in (truly(given, state, end) for state in states(given) for end in (-1.0, 1.0)):
        low, high = Cones(known, Plan(known, hours, state.capacity, state.first), at, state).worst()
        found = max(found, (-low).max(), high.max())
    return float(found)


def over_time(cone, low, high):
    """What is told at times in seconds, both ends: between two points the larger one."""
    hours, points = numpy.array([point["time_h"] for point in cone]), range(len(cone))

    def told(at):
        after = numpy.minimum(numpy.searchsorted(hours, at / HOUR - 1e-9), len(cone) - 1)
        before = numpy.maximum(after - 1, 0)
        lows, highs = (numpy.array([end(cone[point]) for point in points]) for end in (low, high))
        return numpy.minimum(lows[before], lows[after]), numpy.maximum(highs[before], highs[after])

    return told


def always(told):
    return lambda at: (numpy.full_like(at, -told), numpy.full_like(at, told))


@check(PATH, "charge counting: units counted reading by reading", f"{UNITS} units in each state", 1.0)
def charge_units(_given, _result):
    """No more units leave what is told than chance explains, at any time in any state."""
    random = numpy.random.default_rng(9)
    for number, given, answer in counted():
        result = answer["result"]
        hours, judged = given["anchor"]["interval_h"], given["requirement"]["judged_by"] == "worst-case"
        worst = over_time(result["cone"], lambda one: one["low_percent"], lambda one: one["high_percent"])
        likely = over_time(
            result["cone"], lambda one: -one["probability_percent"], lambda one: one["probability_percent"]
        )
        spans = [
            ("until the anchor", hours, always(result["largest"]["judged_percent"]), judged),
            ("worst case at each time", hours, worst, True),
            ("95 % at each time", hours, likely, False),
        ]
        if result["lasts"].get("judged_h"):
            # As long as it is told to last, but for the last reading.
            lasts = result["lasts"]["judged_h"] - given["counting"]["period_s"] / HOUR
            spans.append(("while it lasts", lasts, always(given["requirement"]["soc_error_percent"]), judged))
        each = given["counter"]["averaging"] if given["counting"]["step_a"] else 1
        for what, hours, told, worst in spans:
            long = hours * HOUR / given["counting"]["period_s"] * each > LONGEST
            if long or hours <= 10.0 * given["counting"]["period_s"] / HOUR:
                continue
            place = result["anchor"].get("worst_place_percent")
            for state, out, units, share in left(given, hours, told, worst, random, place):
                yield f"{number} {what}, {state}", surplus(out, units, share), 0.0, 0.5


def left(given, hours, told, worst, random, place):
    """For each state how many of how many units are beyond at the worst time, and the share that may be."""
    period = given["counting"]["period_s"]
    deviates = (-1.0, 1.0) if worst else (-0.8, -0.4, 0.0, 0.4, 0.8)
    for state in states(given):
        at = Plan(given, hours, state.capacity, state.first).places(4)
        at = at[numpy.unique(numpy.linspace(0, at.size - 1, min(at.size, 30)).astype(int))]
        true = [truly(given, state, deviate) for deviate in deviates]
        error = [one_capacity(given, hours, at, random, one, worst, place, len(deviates)) for one in true]
        error = numpy.concatenate(error)
        # A reading that is half asleep counts whole.
        edges = (hours / 24.0 + 2.0) * max(given["usage"]["cycles_per_day"], 1.0)
        cones = Cones(given, Plan(given, hours, state.capacity, state.first), at, state)
        slack = 100.0 * cones.reach() / state.believed
        slack *= edges * period / HOUR
        # Units are looked at where a reading ends, up to one reading before the time.
        (low, high), (before_low, before_high) = told(at), told(numpy.maximum(at - period, 0.0))
        out = (error > numpy.maximum(high, before_high) + slack) | (error < numpy.minimum(low, before_low) - slack)
        yield state, int(out.sum(axis=0).max()), len(error), BEYOND if worst else 0.05


def one_capacity(given, hours, at, random, state, worst, place, parts):
    plan = Plan(given, hours, state.capacity, state.first)
    return run(given, plan, at, random, UNITS // parts, state, worst, place)[0]


# --- Anchors --------------------------------------------------------------------------------------------------------


def volts(anchor, place):
    """How far readings at these places may be too low and too high, in volts of a cell."""
    both = anchor["cell_error_v"] + anchor["curve_error_v"] + WORST_SIGMAS * anchor["random_v"]
    both = both + anchor["gain_percent"] / 100.0 * Curve(anchor["curve"]).at(place)
    both = both + anchor["entropy_v_per_k"] * anchor["temperature_error_k"]
    both = both + anchor["rest_current_a"] * anchor["cell_resistance_ohm"]
    left = anchor["relax_v"] * math.exp(-anchor["rest_s"] / anchor["relax_tau_s"])
    branch, sides = anchor["hysteresis_v"] / 2.0 + left, AFTER[anchor["after"]]
    return both + branch * (-1.0 in sides), both + branch * (1.0 in sides)


def best_anchor(anchor):
    curve = Curve(anchor["curve"])
    places = curve.places(anchor["place_min_percent"], anchor["place_max_percent"], 0.002)
    low, high = volts(anchor, places)
    down, up = curve.interval(places, low, high)
    larger = numpy.where(curve.bounded(places, low, high), numpy.maximum(-down, up), math.inf)
    return float(larger.min())


@check(PATH, "charge counting: anchors", "voltages through the inverted curve", SAME)
def charge_anchors(_given, _result):
    random = numpy.random.default_rng(10)
    for number, given, answer in answers():
        told = row(answer, "anchor").get("achieved")
        own = best_anchor(given["anchor"])
        yield f"{number} there is one", float(told is not None), float(math.isfinite(own)), 0.5
        if told is None:
            continue
        # The best place is a point; a scan comes as near as its step.
        yield f"{number} best", told, own, 4e-3 + SAME * own
        place = answer["result"]["anchor"]["place_percent"]
        for after in AFTER[given["anchor"]["after"]]:
            read = anchor_readings(given["anchor"], place, Units(random, UNITS, True), numpy.full(UNITS, after))
            out = int((numpy.abs(read) > told + 1e-9).sum())
            yield f"{number} read after {after:+.0f}", surplus(out, UNITS, BEYOND), 0.0, 0.5


# --- Health ---------------------------------------------------------------------------------------------------------


@check(PATH, "charge counting: capacity from two rests", "voltages through the inverted curve", 1.0)
def charge_capacity(_given, _result):
    """What is told to hold 95 % and the worst case hold them."""
    random, trials = numpy.random.default_rng(11), 20_000
    opposite = {"charge": (1.0, 1.0), "discharge": (-1.0, -1.0), "either": (-1.0, 1.0)}
    for number, given, answer in answers():
        result = answer["result"].get("capacity")
        if given["capacity"]["method"] != "two-rests" or not result or "probability_percent" not in result:
            continue
        sides = opposite[given["anchor"]["after"]]
        off = 100.0 * numpy.abs(health.capacity_trials(given, random, trials, sides) - 1.0)
        beyond = int((off > result["probability_percent"]).sum())
        yield f"{number} 95 %", surplus(beyond, trials, 0.06) / trials, 0.0, 1e-9
        # Absent where a swing may be read as none.
        beyond = int((off > result.get("worst_percent", math.inf)).sum())
        yield f"{number} worst", surplus(beyond, trials, BEYOND) / trials, 0.0, 1e-9


@check(PATH, "charge counting: resistance from a step", "budget by hand", SAME)
def charge_resistance(_given, _result):
    for number, given, answer in answers():
        step, counter, noise = given["resistance"], given["counter"], answer["result"]["reading"]["noise_a"]
        volt = step["step_a"] * step["resistance_ohm"]
        normal = [step["voltage_noise_v"] / volt, noise / step["step_a"]]
        normal.append(counter["bend_a"] / math.sqrt(3.0) / step["step_a"])
        # A code stands for a step of currents; noise at the word makes the mean follow.
        width, spread = given["counting"]["step_a"], counter["noise_a"]
        code = width / 2.0
        if spread >= 0.3 * width > 0.0:
            code = width / math.pi * math.exp(-2.0 * (math.pi * spread / width) ** 2)
        normal.append(code / math.sqrt(3.0) / step["step_a"])
        limits = [
            step["voltage_gain_percent"] / 100.0,
            counter["gain_percent"] / 100.0,
            counter["asymmetry_percent"] / 200.0,
            step["current_slope_a_per_s"] * step["skew_s"] / step["step_a"],
            step["polarisation_ohm_per_s"] * step["time_error_s"] / step["resistance_ohm"],
        ]
        # What is new in every reading is averaged, what each current has of its own is not.
        times = (step["averaged"], step["averaged"], 1.0, 1.0)
        squares = sum(2.0 * u * u / n for u, n in zip(normal, times, strict=True)) + sum(a * a for a in limits) / 3.0
        told = answer["result"]["resistance"]["standard_percent"]
        yield f"{number} standard", told, 100.0 * math.sqrt(squares), 1e-3 * told
        # The extremes of the quotient; what scatters counts three times its deviation.
        scatter = math.sqrt(sum(2.0 * u * u / n for u, n in zip(normal[:2], times[:2], strict=True)))
        volts, amperes = limits[0] + limits[4] + 3.0 * scatter, sum(limits[1:4])
        amperes += 2.0 * (counter["bend_a"] + code) / step["step_a"]
        worst = 100.0 * ((1.0 + volts) / (1.0 - amperes) - 1.0) if amperes < 1.0 else math.inf
        yield f"{number} worst", answer["result"]["resistance"].get("worst_percent", math.inf), worst, 1e-3 * worst if amperes < 1.0 else 0.0


@check(PATH, "charge counting: a loss is proven as often as asked", "lines fitted to units", 1.0)
def charge_trend(_given, _result):
    """At the time that is told, with the estimates that were made until then."""
    random = numpy.random.default_rng(12)
    for number, given, answer in answers():
        trend, told = given["trend"], answer["result"]["trend"]
        count, years = told.get("estimates"), told.get("after_years")
        if count is None or years is None or count > 1e6:
            continue
        count = int(count)
        yield f"{number} there is a loss by then", max(0.0, trend["years"] - years), 0.0, 1e-6 * trend["years"]
        made = count * given["anchor"]["interval_h"] / 8766.0
        yield f"{number} estimates are made", max(0.0, made - years), 0.0, 1e-2
        then = trend | {"years": years}
        found, power = health.detection(then, count), trend["power_percent"] / 100.0
        # A rectangular drift under a normal quantile costs some points of power.
        yield f"{number} found with {count}", max(0.0, power - found), 0.0, 0.05
        if count <= 300:
            yield f"{number} found by units", health.detected(then, count, random), found, 0.02


if __name__ == "__main__":
    sys.exit(not run_checks())
