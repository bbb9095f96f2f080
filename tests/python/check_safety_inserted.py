"""Faults inserted into circuits that stand alone and into the channels of random designs, solved node by node.

    BASE_URL=http://127.0.0.1:8080 python check_safety_inserted.py

SAFETY_DESIGNS says how many. Each fault of one size is asked for alone; its lowest and highest deviation is that of the
circuit with the current of the input one way or the other.
"""

import math
import os
import sys

import numpy

from charge_designs import between, decades, of, often
from harness import changed, check, examples, fetch
from harness import run as run_checks
from safety_circuits import GROUND, Beta, Divider, Floating, Shunt, Thermistor
from safety_consequence import rides
from safety_designs import FULL, SUFFIX, drawn, errless, sensed, string, warm
from safety_inserted import Current, Temperature, Voltage

PATH = "/api/v1/safety"
COUNT = int(os.environ.get("SAFETY_DESIGNS", "30"))


# --- What each mode changes -----------------------------------------------------------------------------------------


def share(random):
    return {"from_percent": of(random, -1.0, 1.0) * between(random, 0.5, 45.0)}


def ohms(low, high):
    return lambda random: {"from_ohm": decades(random, low, high)}


def nothing(_):
    return {}


def size_of(fault):
    if "from_percent" in fault:
        return fault["from_percent"] / 100.0
    return fault.get("from_ohm", math.inf)


# What a mode changes in each circuit, from its size and the numbers of the group.
VOLTAGE = {
    "upper-short": (nothing, lambda given, _: {"upper.1": 0.0}),
    "upper-open": (ohms(1e5, 1e9), lambda given, ohm: {"upper.1": ohm}),
    "upper-drift": (share, lambda given, part: {"upper.1": given["upper_ohm"] * (1.0 + part)}),
    "upper-joint": (ohms(1e2, 1e6), lambda given, ohm: {"upper.1": given["upper_ohm"] + ohm}),
    "upper-leak": (ohms(1e5, 1e9), lambda given, ohm: {"leak": ("top", "n1", ohm)}),
    "lower-open": (nothing, lambda given, _: {"lower": math.inf}),
    "lower-short": (nothing, lambda given, _: {"lower": 0.0}),
    "lower-drift": (share, lambda given, part: {"lower": given["lower_ohm"] * (1.0 + part)}),
    "filter-leak": (ohms(1e3, 1e8), lambda given, ohm: {"leak": ("input", GROUND, ohm)}),
}
CURRENT = {
    "shunt-drift": (share, lambda given, part: {"shunt": given["shunt_ohm"] * (1.0 + part)}),
    "shunt-joint": (ohms(1e-7, 1e-4), lambda given, ohm: {"joint": ohm}),
    "shunt-bridge": (ohms(1e-6, 1e-3), lambda given, ohm: {"bridge": ("high", GROUND, ohm)}),
    "sense-open": (nothing, lambda given, _: {"wire": math.inf}),
    "sense-resistive": (ohms(1.0, 1e5), lambda given, ohm: {"wire": ohm}),
    "sense-short": (nothing, lambda given, _: {"short": ("plus", "minus", 0.0)}),
}
TEMPERATURE = {
    "thermistor-open": (ohms(1e4, 1e6), lambda given, ohm: {"sensor": math.inf, "leak": ("node", given["far"], ohm)}),
    "thermistor-drift": (share, lambda given, part: {"sensor": given["ohm"] * (1.0 + part)}),
    "lead-resistive": (ohms(1.0, 1e4), lambda given, ohm: {"lead": ohm}),
    "lead-leak": (ohms(1e4, 1e7), lambda given, ohm: {"leak": ("node", given["far"], ohm)}),
    "fixed-drift": (share, lambda given, part: {"fixed": given["fixed_ohm"] * (1.0 + part)}),
}
# What all kinds of channel share: how the reading itself is changed.
READING = {
    "reference-drift": (share, lambda told, part: told / (1.0 + part)),
    "converter-gain": (share, lambda told, part: told * (1.0 + part)),
}


# --- Circuits that stand alone ---------------------------------------------------------------------------------------


def divider(given, sign, fault, at):
    bias = sign * given["bias_current_a"]
    count, upper, lower, load = (given[name] for name in ("upper_count", "upper_ohm", "lower_ohm", "load_ohm"))
    chain = Divider(int(count), upper, lower, load, bias, given["factor"])
    return chain.reading(at, fault(given))


def sense(given, sign, fault, at):
    bias = sign * given["bias_current_a"]
    return Shunt(given["shunt_ohm"], given["leg_ohm"], given["input_ohm"], bias).reading(at, fault(given))


def sensor(given, _, fault, at):
    curve, fixed = Beta(given["r25_ohm"], given["beta_k"]), 10e3
    return Thermistor(curve, fixed).reading(at, fault({"ohm": curve.at(at), "fixed_ohm": fixed, "far": GROUND}))


# What draws a circuit, what makes it, its modes, and the value at which a goal is decided.
ALONE = {
    "voltage": (string, divider, VOLTAGE, lambda random, given: given["highest_v"] * between(random, 0.6, 1.0)),
    "current": (sensed, sense, CURRENT, lambda random, given: 0.03 / given["shunt_ohm"] * between(random, 0.1, 1.0)),
    "temperature": (warm, sensor, TEMPERATURE, lambda random, _: between(random, -20.0, 80.0)),
}


def goal(reads, at, harm):
    end = {"voltage": "v", "current": "a", "temperature": "k"}[reads]
    place = {"voltage": "at_v", "current": "at_a", "temperature": "at_degc"}[reads]
    found = {"name": "Goal", "asil": "c", "reads": reads, "dangerous": "low", f"harm_{end}": harm, place: at}
    return found | {"ftti_s": 1.0, "reaction_s": 0.0, "share_of_item_percent": 10.0}


def inserted(random, reads):
    """A mode with a size, what it changes in the circuit and what it makes of the reading."""
    of_circuit = ALONE[reads][2]
    both = of_circuit | (READING if reads != "temperature" else {})
    mode = of(random, *both)
    sized, changes = both[mode]
    fault = {"component": "Part", "mode": "one", "rate_fit": 5.0, "insert": mode} | sized(random)
    size = size_of(fault)
    if mode in of_circuit:
        return fault, lambda given: changes(given, size), lambda told: told
    return fault, lambda given: {}, lambda told: changes(told, size)


def compared(label, told, readings, at):
    """The deviation that is told is that of one of the states; the largest is what nobody sees."""
    if told.get("beyond_range"):
        return
    off = [reading - at for reading in readings]
    ends = [told["deviates_from"], told["deviates_to"]]
    for end in ends:
        nearest = min(off, key=lambda one: abs(one - end))
        yield label, end, nearest, 1e-4 * abs(nearest) + 1e-6 * abs(at) + 1e-6
    if told["direct_percent"] == 100.0:
        worst = max(abs(one) for one in off)
        yield f"{label}, unseen to", told["unseen_to"], worst, 1e-4 * worst + 1e-6 * abs(at) + 1e-6


@check(PATH, "safety: faults in circuits that stand alone", "nodal analysis", 1.0)
def safety_alone(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(31)
    for number in range(COUNT):
        reads = of(random, *ALONE)
        draw, circuit, _, place = ALONE[reads]
        group, (fault, changes, makes) = draw(random), inserted(random, reads)
        at = place(random, group)
        case = {"goals": [goal(reads, at, 1e-4 * abs(at))], "faults": [fault], "checks": [], reads: group}
        answer = fetch(PATH, changed(start, case))
        # What is typed stands beside what the example holds of the same group.
        group = answer["input"][reads]
        readings = [makes(circuit(group, sign, changes, at)) for sign in (-1.0, 1.0)]
        label = f"{number} {fault['insert']} {size_of(fault):.4g} at {at:.4g}"
        yield from compared(label, answer["result"]["modes"][0], readings, at)


# --- Which check sees which fault ------------------------------------------------------------------------------------


def watching(random, reads, at, healthy_span):
    """A check of some kind with limits around what a fault may do, and what tells whether it surely sees a reading."""
    end = SUFFIX[reads]
    kind = of(random, "comparison", "comparison", "sum-of-cells", "range", "reference-test", "communication")
    kind = "comparison" if kind == "sum-of-cells" and reads != "voltage" else kind
    one = {"name": "Check", "kind": kind, "reads": reads, f"noise_{end}": 0.0, f"other_noise_{end}": 0.0}
    one |= {"in_a_row": 1, "interval_s": 0.01} | FULL
    error, other = (healthy_span * decades(random, 1e-3, 1e-2) for _ in range(2))
    one |= {f"error_{end}": error, f"other_error_{end}": other}
    if kind == "range":
        place = "degc" if reads == "temperature" else end
        low, high = at - healthy_span * decades(random, 0.05, 1.0), at + healthy_span * decades(random, 0.05, 1.0)
        # It knows no other reading.
        del one[f"other_error_{end}"], one[f"other_noise_{end}"]
        return one | {f"low_{place}": low, f"high_{place}": high}, lambda told, _: max(low - told, told - high) - error
    if kind == "communication":
        return one | {"time_out_s": 0.05}, lambda told, mode: -math.inf
    limit = healthy_span * decades(random, 0.02, 0.5)
    one |= {f"limit_{end}": limit, "one_reference": often(random, 0.5)}

    def beyond(told, mode):
        """How far the least difference of any unit is beyond the limit."""
        shared = one["one_reference"] and mode == "reference-drift"
        if kind == "reference-test" or shared:
            return -math.inf
        return abs(told - at) - error - other - limit

    return one, beyond


@check(PATH, "safety: each fault is seen by the checks that see it", "nodal analysis, every unit", 1.0)
def safety_seen(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(33)
    for number in range(4 * COUNT):
        reads = of(random, *ALONE)
        draw, circuit, _, place = ALONE[reads]
        group, (fault, changes, makes) = draw(random), inserted(random, reads)
        at = place(random, group)
        span = 100.0 if reads == "temperature" else at
        one, beyond = watching(random, reads, at, span)
        if one["kind"] == "reference-test" and fault["insert"] in READING:
            # It looks at reference and converter, by a limit of its own.
            continue
        case = {"goals": [goal(reads, at, 1e-6 * span)], "checks": [one], reads: group}
        case["faults"] = [fault | {"seen_by": "Check"}]
        case["goals"][0]["dangerous"] = "both"
        answer = fetch(PATH, changed(start, case))
        group, told = answer["input"][reads], answer["result"]["modes"][0]
        readings = [makes(circuit(group, sign, changes, at)) for sign in (-1.0, 1.0)]
        room = min(beyond(reading, fault["insert"]) for reading in readings)
        # What stands at the limit, or harms nobody, or leaves the converter is a matter of digits.
        least = min(abs(reading - at) for reading in readings)
        if abs(room) < 1e-3 * span or least < 1e-3 * span or told.get("beyond_range"):
            continue
        label = f"{number} {fault['insert']} {size_of(fault):.4g} at {at:.4g} by {one['kind']}"
        yield label, told.get("dc_computed_percent") or 0.0, 100.0 * (room > 0.0), 1e-6


# --- Channels of designs ---------------------------------------------------------------------------------------------

MADE = {
    "voltage": ("/voltage/0", Voltage, lambda random, pack: pack["cells_in_series"] * between(random, 2.8, 4.2)),
    "current": ("/current/0", Current, lambda random, pack: pack["peak_a"] * between(random, 0.1, 1.0)),
    "temperature": ("/temperatures/0", Temperature, lambda random, _: between(random, -20.0, 80.0)),
}


@check(PATH, "safety: faults in the channels of random designs", "nodal analysis of the channel's own parts", 1.0)
def safety_in_designs(_given, _result):
    random = numpy.random.default_rng(32)
    for number in range(COUNT):
        design, reads = drawn(random), of(random, *MADE)
        part, made, place = MADE[reads]
        at, (fault, changes, makes) = place(random, design["pack"]), inserted(random, reads)
        design["safety"][0] |= {"goals": [goal(reads, at, 1e-4 * abs(at))], "faults": [fault], "checks": []}
        answer = fetch("/api/v1/design/assess?include=parts", design)
        parts = {one["part"]: one for one in answer["result"]["parts"]}
        channels = [made(parts[part]["input"], sign) for sign in (-1.0, 1.0)]
        told = parts["/safety/0"]["result"]["modes"][0]
        label = f"{number} {fault['insert']} {size_of(fault):.4g} at {at:.4g}"
        try:
            readings = [makes(one.faulty(at, changes)) for one in channels]
        except Floating:
            # Nothing says where it goes from what it holds: nobody may claim to know.
            known = told["origin"] != "not-known" and told["direct_percent"] < 100.0
            yield f"{label}: nobody knows", float(known), 0.0, 0.5
            continue
        if reads == "voltage" and design["voltage"][0].get("calibration", {}).get("kind") != "none":
            # A calibration takes the bias current away, of which either sign is told all the same: no less may be told.
            worst = max(abs(reading - at) for reading in readings)
            if told["direct_percent"] == 100.0 and not told.get("beyond_range"):
                short = max(worst - told["unseen_to"], 0.0)
                yield f"{label}, less than it is", short, 0.0, 1e-4 * worst + 1e-6 * abs(at)
            continue
        yield from compared(label, told, readings, at)


# --- Thresholds of designs -------------------------------------------------------------------------------------------

RIDES = {
    "voltage": (1, "v", ("upper-drift", "lower-drift", "converter-gain")),
    "current": (0, "a", ("shunt-drift", "shunt-joint", "converter-gain")),
}


@check(PATH, "safety: a goal is missed where its threshold is late", "ramps stepped in time", 1.0)
def safety_thresholds(_given, _result):
    random = numpy.random.default_rng(34)
    for number in range(COUNT):
        design, reads = drawn(random), of(random, *RIDES)
        (place, end, modes), (part, made, _) = RIDES[reads], MADE[reads]
        fault, changes, makes = inserted(random, reads)
        if fault["insert"] not in modes:
            continue
        aim = {"name": "Goal", "asil": "c", "reads": reads, "dangerous": "low", "ftti_s": 1.0, "reaction_s": 0.0}
        design["safety"][0] |= {"goals": [aim], "faults": [fault], "checks": [], f"{reads}_threshold": place + 1}
        # What a calibration takes away is another check's matter.
        design[reads][0]["calibration"]["kind"] = "none"
        answer = fetch("/api/v1/design/assess?include=parts", design)
        parts = {one["part"]: one for one in answer["result"]["parts"]}
        told, threshold = parts["/safety/0"]["result"]["modes"][0], parts[f"/protection/{place}"]
        given, delay = threshold["input"], threshold["result"]["reaction_s"]
        value = lambda name: given[f"{name}_{end}"]  # noqa: B023,E731
        hazard, slope = value("hazard"), given[f"rate_{end}_per_s"]
        if "direct_percent" not in told and "is not judged, without a fault" in told["lacks"]:
            own = [row for row in answer["result"]["requirements"] if row["part"] == f"/protection/{place}"]
            of_operation = {f"protection.{name}" for name in ("room", "nuisance-side", "pack-peak")}
            wrong = [row for row in own if row["verdict"] not in ("holds", "thin") and row["id"] not in of_operation]
            yield f"{number}: the threshold itself does not hold", float(bool(wrong)), 1.0, 0.5
            continue
        if "direct_percent" not in told:
            trips = value("threshold"), value("normal")
            step = 1e-4 * (hazard - trips[1]) / slope
            healthy = rides(
                lambda x: x, value("error_hazard"), trips[0], 0.9 * trips[1], hazard, 3.0 * hazard, slope, delay, trips[1], step
            )
            yield f"{number}: fails without a fault", float(healthy.word in ("late", "never")), 1.0, 0.5
            continue
        words, room = set(), math.inf
        for sign in (-1.0, 1.0):
            one = made(parts[part]["input"], sign)
            start, far = makes(one.faulty(0.0, changes)), makes(one.faulty(hazard, changes))
            reading = lambda x: start + (far - start) * x / hazard  # noqa: B023,E731
            error, trip, normal = value("error_hazard"), value("threshold"), value("normal")
            step = 1e-4 * (hazard - normal) / slope
            found = rides(reading, error, trip, 0.9 * normal, hazard, 3.0 * hazard, slope, delay, normal, step)
            words.add(found.word in ("late", "never"))
            # How near the last moment lies, by the reading there.
            room = min(room, abs(reading(hazard - slope * delay) - error - trip))
        if room < 5e-3 * hazard or len(words) > 1:
            continue
        label = f"{number} {fault['insert']} {size_of(fault):.4g}: missed"
        yield label, told["direct_percent"], 100.0 * words.pop(), 1e-6


if __name__ == "__main__":
    sys.exit(not run_checks())
