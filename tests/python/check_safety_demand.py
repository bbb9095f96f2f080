"""Functional safety: a short circuit, a pre-charge and a count that rest on a faulty reading, integrated over time.

    BASE_URL=http://127.0.0.1:8080 python check_safety_demand.py

SAFETY_DESIGNS says how many.
"""

import math
import os
import sys

import numpy

import safety_consequence as consequence
from charge_designs import between, decades, of
from check_safety_follow import PIECES, Fault
from check_safety_inserted import divider, sense
from harness import changed, check, examples, fetch
from harness import run as run_checks
from safety_designs import errless, sensed, string

PATH = "/api/v1/safety"
COUNT = int(os.environ.get("SAFETY_DESIGNS", "30"))
SIGNS = (-1.0, 1.0)


def lines(fault, circuit, group, at):
    """Gain and offset of each magnitude's reading in both states: they are straight in what is read."""
    found = []
    for sign in SIGNS:
        for size in fault.sizes:
            reading = fault.alone(circuit, group, sign, size)
            start = reading(0.0)
            found.append((sign, (reading(at) - start) / at, start))
    return found


def asked(start, case):
    answer = fetch(PATH, changed(start, case))
    return answer["input"], answer["result"]["modes"][0]


def missed(words):
    """Largest share of what harms over the states, in percent: magnitudes stand in the same order in each."""
    harmed = numpy.array([word != "in-time" for word in words]).reshape(len(SIGNS), -1)
    return 100.0 * float(harmed.mean(axis=1).max())


# --- Race -----------------------------------------------------------------------------------------------------------


def race(random, peak):
    strongest = of(random, 3.0, 6.0, 12.0) * peak
    volt = between(random, 300.0, 900.0)
    found = {
        "voltage_v": volt,
        "resistance_ohm": volt / strongest,
        "inductance_henry": decades(random, 2e-6, 2e-5),
        "weakest_v": 0.8 * volt,
        "weakest_ohm": volt / strongest * between(random, 1.0, 1.8),
        "before_a": of(random, 0.0, 0.5, 1.0) * peak,
        "threshold_a": peak * between(random, 1.4, 2.2),
        "threshold_error_percent": of(random, 0.0, 5.0),
        "reaction_s": decades(random, 5e-6, 1e-3),
        "breaking_a": strongest * between(random, 0.5, 1.1),
    }
    found["largest_henry"] = found["inductance_henry"] * of(random, 1.0, 2.0)
    if of(random, True, False):
        found["filter_s"] = decades(random, 1e-6, 1e-4)
    if of(random, True, False):
        found["pulse_a2s"] = decades(random, 1e2, 1e5)
    return found


def raced(given, gain, start):
    """In time, late or never, and the nearest that a limit comes, as a share of it."""
    above = 1.0 + given["threshold_error_percent"] / 100.0
    near, words, last = math.inf, [], 0.0
    for volt, ohm, henry in (
        (given["voltage_v"], given["resistance_ohm"], given["inductance_henry"]),
        (given["weakest_v"], given["weakest_ohm"], given["largest_henry"]),
    ):
        for before in (0.0, given["before_a"]):
            more = {"gain": gain, "offset": start, "filter_s": given.get("filter_s") or 0.0}
            limit = above * given["threshold_a"]
            seconds, ampere, joule = consequence.opened(volt, ohm, henry, before, limit, given["reaction_s"], **more)
            near = min(near, abs((gain * volt / ohm + start) / limit - 1.0))
            if math.isinf(seconds):
                words.append("never")
                continue
            last = max(last, seconds)
            limits = [(ampere, given["breaking_a"]), (joule, given.get("pulse_a2s", math.inf))]
            near = min(near, *(abs(reached / allowed - 1.0) for reached, allowed in limits))
            words.append("late" if any(reached > allowed for reached, allowed in limits) else "in-time")
    worst = next(word for word in ("never", "late", "in-time") if word in words)
    return worst, near, last


@check(PATH, "safety: a race on a faulty reading", "fault currents in small steps", 1.0)
def safety_race(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(81)
    for number in range(COUNT):
        group, fault = sensed(random), Fault(random, "current")
        # One magnitude in each state is followed through some 200,000 steps.
        fault.sizes = fault.sizes[:: max(1, fault.sizes.size // 5)]
        typed = race(random, 0.03 / group["shunt_ohm"])
        aim = {"name": "Goal", "asil": "c", "reads": "current", "dangerous": "low", "decided_by": "race"}
        case = {"goals": [aim | {"ftti_s": 1.0, "reaction_s": 0.0}], "faults": [fault.row], "checks": [], "current": group, "race": typed}
        given, told = asked(start, case)
        healthy, _, _ = raced(given["race"], 1.0, 0.0)
        every = lines(fault, sense, given["current"], typed["threshold_a"])
        found = [raced(given["race"], *line[1:]) for line in every]
        words, near = [one[0] for one in found], min(one[1] for one in found)
        label = f"{number} {fault.row} {typed}, healthy {healthy}"
        if near < 2e-3:
            continue
        if "direct_percent" not in told:
            # No reading is harmless where the race is lost without a fault: that is not judged.
            yield f"{label}: is not judged", float(healthy in ("late", "never")), 1.0, 0.5
            continue
        spread = 100.0 / PIECES * 5.0 * 1.01 * (len(words) > 2) + 1e-6
        yield f"{label}: missed", told["direct_percent"], missed(words), spread
        worst = next(word for word in ("never", "late", "in-time") if word in words)
        order = ("never", "late", "early", "in-time")
        word = told["behaviour"]
        yield f"{label}: {worst} is told as {word}", float(order.index(word) <= order.index(worst)), 1.0, 0.5
        if len(words) == 2:
            yield f"{label}: {word} is told of {words}", float(word == "early" or word in words), 1.0, 0.5


# --- Pre-charge -----------------------------------------------------------------------------------------------------


def precharge(random, pack_v):
    found = {
        "pack_v": pack_v,
        "capacitance_farad": decades(random, 3e-4, 3e-3),
        "resistance_ohm": decades(random, 20.0, 200.0),
        "target_percent": between(random, 90.0, 98.0),
        "link_error_v": pack_v * decades(random, 1e-3, 1e-2),
        "pack_error_v": pack_v * decades(random, 1e-3, 1e-2),
        "path_ohm": decades(random, 0.05, 0.5),
        "path_henry": decades(random, 1e-6, 1e-5),
    }
    found["max_time_s"] = found["resistance_ohm"] * found["capacitance_farad"] * between(random, 3.0, 8.0)
    if of(random, True, False):
        found["load_ohm"] = found["resistance_ohm"] * decades(random, 20.0, 1000.0)
    if of(random, True, False, False):
        found["closing_difference_v"] = pack_v * between(random, 0.02, 0.1)
    # What closing at the target takes, and some room.
    step = pack_v * (1.0 - found["target_percent"] / 100.0) + found["link_error_v"] + found["pack_error_v"]
    if "closing_difference_v" in found:
        step = found["closing_difference_v"] + found["link_error_v"] + found["pack_error_v"]
    path = found["path_ohm"], found["path_henry"], found["capacitance_farad"]
    found["making_a"] = consequence.inrush_a(step, *path) * between(random, 1.05, 2.5)
    return found


def closed(given, side, gain, start):
    """Whether the contactor closes too soon for its contacts, in time or never, how near that is to another word, and
    the inrush."""
    faulty, healthy = consequence.Read(gain, start), consequence.Read()
    link, pack = (faulty, healthy) if side == "link" else (healthy, faulty)
    draws = (lambda volt: volt / given["load_ohm"]) if given.get("load_ohm") else (lambda volt: 0.0)
    more = {"difference_v": given.get("closing_difference_v")}
    parts = given["pack_v"], given["resistance_ohm"], given["capacitance_farad"], given["target_percent"] / 100.0
    shifted = lambda read, by: consequence.Read(read.gain, read.offset + by)  # noqa: E731
    errors = given["link_error_v"], given["pack_error_v"]
    early = consequence.closes(*parts, shifted(link, errors[0]), shifted(pack, -errors[1]), draws, **more)
    late = consequence.closes(*parts, shifted(link, -errors[0]), shifted(pack, errors[1]), draws, **more)
    path = given["path_ohm"], given["path_henry"], given["capacitance_farad"]
    peak = 0.0
    if early[0] <= given["max_time_s"]:
        # Whichever way the current goes.
        peak = consequence.inrush_a(abs(1.0 - early[1]) * given["pack_v"], *path)
    near = abs(peak / given["making_a"] - 1.0)
    if peak > given["making_a"]:
        return "too-soon", near, peak
    near = min(near, abs(late[0] / given["max_time_s"] - 1.0)) if math.isfinite(late[0]) else near
    return ("in-time" if late[0] <= given["max_time_s"] else "never"), near, peak


@check(PATH, "safety: a pre-charge on a faulty reading", "differential equations of link and path", 1.0)
def safety_precharge(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(82)
    for number in range(COUNT):
        group, fault = string(random), Fault(random, "voltage")
        fault.sizes = fault.sizes[:: max(1, fault.sizes.size // 5)]
        side, typed = of(random, "pack", "link"), precharge(random, group["highest_v"])
        aim = {"name": "Goal", "asil": "c", "reads": "voltage", "dangerous": "both", "decided_by": "pre-charge"}
        row = fault.row | {"side": side}
        case = {"goals": [aim | {"ftti_s": 1.0, "reaction_s": 0.0}], "faults": [row], "checks": [], "voltage": group, "precharge": typed}
        given, told = asked(start, case)
        found = [
            closed(given["precharge"], side, *line[1:])
            for line in lines(fault, divider, given["voltage"], group["highest_v"])
        ]
        words, near = [one[0] for one in found], min(one[1] for one in found)
        if near < 2e-3:
            continue
        label = f"{number} {row} {typed}"
        if "direct_percent" not in told:
            healthy, close, _ = closed(given["precharge"], side, 1.0, 0.0)
            if close > 2e-3:
                yield f"{label}: fails without a fault", float(healthy != "in-time"), 1.0, 0.5
            continue
        word = told["behaviour"]
        soon = [one == "too-soon" for one in words]
        share = 100.0 * float(numpy.array(soon).reshape(len(SIGNS), -1).mean(axis=1).max())
        spread = 100.0 / PIECES * 5.0 * 1.01 * (len(words) > 2) + 1e-6
        yield f"{label}: too soon", told["direct_percent"], share, spread
        if any(soon):
            yield f"{label}: {word} of {words}", float(word == "too-soon"), 1.0, 0.5
            if len(words) == 2:
                peak = max(one[2] for one in found)
                yield f"{label}: inrush", told["inrush_a"], peak, 2e-3 * peak
        elif len(words) == 2:
            yield f"{label}: {word} of {words}", float(word in words), 1.0, 0.5


if __name__ == "__main__":
    sys.exit(not run_checks())
