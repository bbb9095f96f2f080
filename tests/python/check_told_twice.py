"""A fact that two parts of a design tell differently: what rests on it is met with both, or not judged.

The interface of single calculations knows no other parts: each is asked with the value as it is typed and with the value
that the other part tells, worked out here by hand. A requirement of the design that is met with one alone must not be judged.
"""

import copy
import json
import math
import pathlib

import numpy

from harness import check, fetch

ASSESS, MET = "/api/v1/design/assess", ("holds", "thin")
DEMOS = pathlib.Path(__file__).parents[2] / "demo-data"


def part(design, section, number=0):
    return design[section][number]


def put(node, pointer, value):
    *groups, last = pointer.strip("/").split("/")
    for group in groups:
        node = node[int(group)] if isinstance(node, list) else node.setdefault(group, {})
    node[last] = value


def link_farad(design):
    return sum(one["capacitance_farad"] for one in design["precharge"])


def shunt_percent(design):
    return min(one["shunt"]["tolerance_percent"] + one["shunt"]["life_drift_percent"] for one in design["current"])


def machine_v(design):
    return part(design, "discharge")["feed"]["back_emf_v"]


def wiring_a2s(design):
    """Copper in cross-linked polyethylene, 90 to 250 °C: IEC 60949."""
    k = 226.0 * math.sqrt(math.log((250.0 + 234.5) / (90.0 + 234.5)))
    return (k * part(design, "race")["wiring"]["area_mm2"]) ** 2


def rate_hz(design):
    return part(design, "current")["converter"]["data_rate_hz"]


def heated_a2s(design):
    """Heat of a body without loss from the highest ambient temperature."""
    shunt = part(design, "current")["shunt"]
    rises = shunt["max_element_degc"] - design["pack"]["ambient_max_degc"]
    return shunt["heat_capacity_j_per_k"] * rises / shunt["resistance_ohm"]


def shunt_a2s(design):
    """The same, and what the threshold tells."""
    return min(heated_a2s(design), part(design, "protection", 1)["shunt_a2s"])


def area_mm2(design):
    """Of the wire that takes what the threshold tells."""
    return part(design, "race")["wiring"]["area_mm2"] * math.sqrt(part(design, "protection", 1)["wire_a2s"] / wiring_a2s(design))


def race_farad(design):
    return part(design, "race")["source"]["link_farad"]


def counted_a(design):
    usage = part(design, "charge_counting")["usage"]
    return max(usage["discharge_a"], usage["charge_a"])


def course_a(design):
    """Second by second: what lasts longer than a peak, and the steady current that heats as much beside one peak."""
    pack, usage = design["pack"], part(design, "charge_counting")["usage"]
    rows = [(int(row["duration_s"]), abs(row["current_a"])) for row in usage["profile"]]
    course, border = numpy.repeat([row[1] for row in rows], [row[0] for row in rows]), numpy.cumsum([0] + [row[0] for row in rows])
    level, peak_s = pack["continuous_a"], pack["peak_duration_s"]
    for ampere in set(course):
        runs = "".join("1" if one >= ampere else "0" for one in course).split("0")
        if max(len(run) for run in runs) > peak_s:
            level = max(level, float(ampere))
    for at, start in enumerate(border):
        for end in border[at + 1 :]:
            if end - start > peak_s:
                heat = float(numpy.sum(course[start:end] ** 2.0)) - peak_s * pack["peak_a"] ** 2
                level = max(level, math.sqrt(max(heat, 0.0) / (end - start - peak_s)))
    return level


def some_course(design, random):
    """A course of whole seconds, of bursts, pauses and currents that last."""
    rows = [(random.choice((20, 60, 85, 100, 300)), random.choice((-160.0, 0.0, 100.0, 130.0, 150.0, 280.0))) for _ in range(random.integers(3, 12))]
    usage = part(design, "charge_counting")["usage"]
    usage |= {"kind": "profile", "profile": [{"duration_s": float(second), "current_a": float(ampere)} for second, ampere in rows]}


def opening_s(design):
    return part(design, "protection", 1)["opening_s"]


# The part that is judged, the input, what it is told to be elsewhere, values that are typed here, what makes rows turn.
CASES = (
    ("race/0", "/source/link_farad", link_farad, (1e-5, 1e-4, 1e-3), (("race/0/shunt_pulse_a2s", (1e4, 3e5, 5e5, 1.38e6)), ("race/0/switch/carry_a", (9e3, 3e4, 7.2e4, 7.3e4)))),
    ("race/0", "/threshold_error_percent", shunt_percent, (0.0, 0.3), (("race/0/switch/breaking_a", (12e3, 20e3)), ("race/0/threshold_a", (285.0, 291.0)))),
    ("precharge/0", "/start_v", machine_v, (0.0, 20.0), (("precharge/0/path/contactor_making_a", (300.0, 900.0)), ("precharge/0/resistor/pulse_j", (900.0, 8e3)))),
    ("protection/1", "/wire_a2s", wiring_a2s, (5e7, 5e9), (("race/0/wiring/area_mm2", (1.0, 1.5, 50.0)), ("protection/1/samples_in_a_row", (2, 3)))),
    ("protection/1", "/sample_rate_hz", rate_hz, (3e3, 5e4), (("protection/1/samples_in_a_row", (80, 100, 150)), ("protection/1/rate_a_per_s", (200.0, 500.0)))),
    ("race/0", "/shunt_pulse_a2s", shunt_a2s, (1.3e7, 2e7, 5e7), (("current/0/shunt/heat_capacity_j_per_k", (0.3, 14.0)), ("protection/1/shunt_a2s", (1e5, 3e7)))),
    ("race/0", "/wiring/area_mm2", area_mm2, (150.0, 185.0), (("protection/1/wire_a2s", (1e3, 2e4, 7e8)),)),
    ("precharge/0", "/capacitance_farad", race_farad, (1e-4, 2e-3), (("race/0/source/link_farad", (3e-3, 2e-2)), ("precharge/0/max_time_s", (1.0, 2.5)))),
    ("discharge/0", "/capacitance_farad", race_farad, (), (("race/0/source/link_farad", (3e-3, 1e-2, 4e-2)), ("precharge/0/capacitance_farad", (1e-3, 5e-3)))),
    ("protection/1", "/shunt_a2s", heated_a2s, (1.3e7, 1e6), (("current/0/shunt/heat_capacity_j_per_k", (0.03, 0.3, 14.0)), ("protection/1/samples_in_a_row", (2, 3)))),
    ("current/0", "/load/continuous_a", counted_a, (), (("charge_counting/0/usage/discharge_a", (120.0, 180.0, 250.0)), ("current/0/shunt/thermal_resistance_k_per_w", (3.5, 14.0, 20.0)))),
    ("current/0", "/load/continuous_a", course_a, (), (("current/0/shunt/thermal_resistance_k_per_w", (3.5, 14.0, 20.0)),)),
    ("safety/0", "/goals/0/reaction_s", opening_s, (1e-3, 2e-3), (("protection/1/opening_s", (6e-3, 8e-3)), ("safety/0/goals/0/ftti_s", (0.065, 0.07)))),
)


def unsettled(design, place, at, there):
    """Rows of the design that are otherwise than the single calculation says, and how many are open by the fact."""
    answer = fetch(ASSESS + "?include=parts", design)["result"]
    name = f"/{place}"
    own = next(one for one in answer["parts"] if one["part"] == name)
    value = there(design)
    typed = fetch("/api/v1/" + own["calculation"], own["input"])["requirements"]
    other = copy.deepcopy(own["input"])
    put(other, at, value)
    then = {(row["id"], row["label"]): row["verdict"] for row in fetch("/api/v1/" + own["calculation"], other)["requirements"]}
    told = {(row["id"], row["label"]): row for row in answer["requirements"] if row["part"] == name}
    faults, opened = [], 0
    for row in typed:
        key = (row["id"], row["label"])
        turns = row["verdict"] in MET and then.get(key) not in MET
        expected = "not-judged" if turns else row["verdict"]
        opened += turns
        if told[key]["verdict"] != expected:
            faults.append((key, told[key]["verdict"], expected))
    return faults, opened


# The part that is judged, the part that is told otherwise and rests beneath it, its input, what it is told to be, what makes rows turn.
BENEATH = (
    ("mountain-rescue-car", "safety/0", "protection/1", "/sample_rate_hz", rate_hz, (("current/0/converter/data_rate_hz", (20.0, 40.0, 60.0)), ("safety/0/goals/0/ftti_s", (0.07, 0.1, 0.13)))),
    ("funicular-summit-buffer", "protection/1", "race/0", "/threshold_error_percent", shunt_percent, (("race/0/threshold_error_percent", (0.0, 0.3)), ("race/0/source/external_resistance_max_ohm", (0.15,)), ("protection/1/faster_from_a", (903.0, 906.0, 940.0)))),
)


def alone(design, place):
    """Rows of a part as its calculation gives them alone, with the input that the design makes complete."""
    answer = fetch(ASSESS + "?include=parts", design)["result"]
    own = next(one for one in answer["parts"] if one["part"] == f"/{place}")
    rows = fetch("/api/v1/" + own["calculation"], own["input"])["requirements"]
    told = {(row["id"], row["label"]): row["verdict"] for row in answer["requirements"] if row["part"] == f"/{place}"}
    return {(row["id"], row["label"]): row["verdict"] for row in rows}, told


def unsettled_beneath(design, place, told_of, at, there):
    """The same of a part that rests on the one of which others tell otherwise: what it takes from it is worked out anew."""
    typed, told = alone(design, place)
    other = copy.deepcopy(design)
    section, number = told_of.split("/")
    put(part(other, section, int(number)), at, there(design))
    then, _ = alone(other, place)
    turns = {key for key, word in typed.items() if word in MET and then.get(key) not in MET}
    faults = [(key, told[key], word) for key, word in typed.items() if told[key] != ("not-judged" if key in turns else word)]
    return faults, len(turns)


@check("/api/v1/race", "facts told twice beneath", "each part alone, with what the other then gives", 0.0)
def facts_told_twice_beneath(_, __):
    random = numpy.random.default_rng(8)
    for demo, place, told_of, at, there, levers in BENEATH:
        base, faults, opened = json.loads((DEMOS / f"{demo}.json").read_text())["design"], [], 0
        for _ in range(10):
            design = copy.deepcopy(base)
            for pointer, values in levers:
                section, number, below = pointer.split("/", 2)
                put(part(design, section, int(number)), below, random.choice(values).item())
            more, count = unsettled_beneath(design, place, told_of, at, there)
            faults, opened = faults + more, opened + count
        yield f"{place}, {told_of}{at}: rows that are otherwise {faults[:3]}", len(faults), 0, 0.5
        yield f"{place}, {told_of}{at}: some are open", min(opened, 1), 1, 0.5


@check("/api/v1/race", "facts told twice", "each part alone, with both values", 0.0)
def facts_told_twice(_, __):
    random = numpy.random.default_rng(7)
    for place, at, there, typed, levers in CASES:
        # The funicular has no goal that rests on a threshold.
        demo = "mountain-rescue-car" if place == "safety/0" else "funicular-summit-buffer"
        base, faults, opened = json.loads((DEMOS / f"{demo}.json").read_text())["design"], [], 0
        for _ in range(10):
            design = copy.deepcopy(base)
            if at == "/start_v":
                design["discharge"][0]["feed"] = {"back_emf_v": float(random.uniform(100.0, 1600.0)), "stop_s": 3.0}
            if there is course_a:
                some_course(design, random)
            for pointer, values in (*levers, *([(place + at, typed)] if typed else [])):
                section, number, below = pointer.split("/", 2)
                put(part(design, section, int(number)), below, random.choice(values).item())
            more, count = unsettled(design, place, at, there)
            faults, opened = faults + more, opened + count
        yield f"{place}{at}: rows that are otherwise {faults[:3]}", len(faults), 0, 0.5
        yield f"{place}{at}: some are open", min(opened, 1), 1, 0.5
