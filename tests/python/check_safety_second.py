"""Functional safety: pairs of faults that come one after the other, in front of filters and limits on the slope, or in
one circuit at once.

    BASE_URL=http://127.0.0.1:8080 python check_safety_second.py

SAFETY_DESIGNS says how many.
"""

import os
import sys

import numpy

import safety_second as second
from charge_designs import between, decades, of, often
from check_safety_inserted import ALONE, READING, goal, inserted
from harness import changed, check, examples, fetch
from harness import run as run_checks
from safety_designs import errless

PATH = "/api/v1/safety"
COUNT = int(os.environ.get("SAFETY_DESIGNS", "30"))


def holding(answer):
    told = next((one for one in answer["requirements"] if one["id"] == "safety.two-faults"), {})
    return told.get("verdict") in ("holds", "thin")


# --- One after the other --------------------------------------------------------------------------------------------


def looking(random, name, harm):
    """A check without noise: a comparison, maybe behind a filter, or a limit on the slope."""
    interval = of(random, 0.01, 0.05)
    found = {"name": name, "reads": "voltage", "interval_s": interval, "in_a_row": int(of(random, 1, 1, 3))}
    found |= {"signals": often(random, 0.7), "acts": of(random, "safe-state", "safe-state", "warn")}
    found |= {"processing_s": 0.0, "loss_fit": 1.0, "test_interval_h": 10.0, "error_v": 0.0, "noise_v": 0.0}
    limit = harm * between(random, 0.8, 2.5)
    if often(random, 0.3):
        found |= {"in_a_row": 1, "kind": "rate", "rate_v_per_s": limit / interval, "slope_v_per_s": 0.0}
        return found
    found |= {"kind": "comparison", "limit_v": limit, "other_error_v": of(random, 0.0, 0.3), "other_noise_v": 0.0}
    found |= {"other_full_v": 1e6}
    filters = [{}, {"averaging_s": decades(random, 0.1, 1.0)}, {"low_pass_s": decades(random, 0.1, 1.0)}]
    return found | filters[int(of(random, 0, 1, 2))]


def as_look(given):
    return second.Look(
        given["name"],
        given.get("limit_v", 0.0),
        given["interval_s"],
        given["in_a_row"],
        given.get("other_error_v", 0.0),
        given["processing_s"],
        given.get("averaging_s", 0.0),
        given.get("low_pass_s", 0.0),
        given.get("rate_v_per_s", 0.0),
        acts=given["acts"] == "safe-state",
        signals=given["signals"],
    )


def sized(random, place, names, harm):
    """Harmless alone, or the other way, or more than enough."""
    ends = (0.5, 1.0), (-2.0, -0.5), (1.2, 4.0)
    low, high = sorted(harm * between(random, *ends[int(random.integers(3))]) for _ in range(2))
    mine = [name for name in names if often(random, 0.8)]
    found = {"component": f"Part {place}", "mode": "off", "rate_fit": 10.0, "seen_by": ", ".join(mine)}
    found |= {"from_v": low, "comes": "at-once"}
    return found | ({"to_v": high} if often(random, 0.5) else {})


@check(PATH, "safety: a second fault while a first one stands", "sample by sample behind filters", 1.0)
def safety_second(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(101)
    for number in range(4 * COUNT):
        harm, way = between(random, 1.0, 9.0), of(random, "high", "high", "low", "both")
        checks = [looking(random, f"Check {place}", harm) for place in range(int(random.integers(1, 4)))]
        names = [one["name"] for one in checks]
        faults = [sized(random, place, names, harm) for place in range(2)]
        aim = {"name": "Goal", "asil": "b", "reads": "voltage", "dangerous": way, "harm_v": harm, "reaction_s": 0.0}
        # Around what the slowest filter takes.
        slowest = max(one.get("averaging_s", 0.0) + one.get("low_pass_s", 0.0) for one in checks)
        aim |= {"ftti_s": slowest * between(random, 0.5, 2.5) or decades(random, 0.05, 3.0)}
        answer = fetch(PATH, changed(start, {"goals": [aim], "faults": faults, "checks": checks}))
        if not holding(answer):
            continue
        up, down = way != "low", way != "high"
        harms = lambda off: (up and off >= harm) or (down and -off >= harm)  # noqa: B023,E731
        looks = [as_look(one) for one in checks]
        spans = [(one["from_v"], one.get("to_v", one["from_v"]), one["seen_by"].split(", ")) for one in faults]
        for one, other in (spans, spans[::-1]):
            found = second.violates(looks, harms, aim["ftti_s"], one, other)
            brief = [{key: one[key] for key in one if one[key] and key != "name"} for one in checks]
            label = f"{number} holds, {found}; {aim} {faults} {brief}"
            yield label, float(found is not None), 0.0, 0.5


# --- In one circuit -------------------------------------------------------------------------------------------------


@check(PATH, "safety: two faults in one circuit", "both inserted at once, nodal analysis", 1.0)
def safety_both_inserted(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(102)
    for number in range(4 * COUNT):
        reads = of(random, "voltage", "current")
        draw, circuit, _, place = ALONE[reads]
        group = draw(random)
        at, ends = place(random, group), SUFFIX[reads]
        pair = [inserted(random, reads) for _ in range(2)]
        both = [one for one in pair if one[0]["insert"] not in READING]
        if pair[0][0]["insert"] == pair[1][0]["insert"] or len(both) > 1 and shares_part(*both):
            continue
        off = [apart(circuit, group, sign, at, [one]) for one in pair for sign in (-1.0, 1.0)]
        alone, together = max(map(abs, off)), [apart(circuit, group, sign, at, pair) for sign in (-1.0, 1.0)]
        # The sum may fall short of what both do, or pass it.
        harm = alone + between(random, 0.0, 1.0) * (min(map(abs, together)) - alone)
        if not alone < 0.999 * harm < 0.998 * min(map(abs, together)):
            continue
        aim = goal(reads, at, harm) | {"dangerous": "both"}
        rows = [one[0] | {"component": f"Part {place}"} for place, one in enumerate(pair)]
        answer = fetch(PATH, changed(start, {"goals": [aim], "faults": rows, "checks": [], reads: group}))
        if any(one.get("beyond_range") or one["origin"] == "not-known" for one in answer["result"]["modes"]):
            continue
        label = f"{number} {rows} alone up to {alone:.4g}, both {together} {ends}, harm {harm:.5g}"
        yield label, float(holding(answer)), 0.0, 0.5


SUFFIX = {"voltage": "V", "current": "A"}
# Modes of one resistor do not come together.
PLACES = {"upper": "upper", "lower": "lower", "filter": "tap", "shunt": "shunt", "sense": "wire"}


def shares_part(one, other):
    return len({PLACES[fault[0]["insert"].split("-")[0]] for fault in (one, other)}) == 1


def apart(circuit, group, sign, at, faults):
    """Read less true with all of these faults in."""
    changes = lambda given: {name: to for fault in faults for name, to in fault[1](given).items()}  # noqa: E731
    told = circuit(group, sign, changes, at)
    for fault in faults:
        told = fault[2](told)
    return told - at


if __name__ == "__main__":
    sys.exit(not run_checks())
