"""Functional safety: kinds of check beside the comparison, met by faults event by event in random designs.

    BASE_URL=http://127.0.0.1:8080 python check_safety_kinds.py

SAFETY_DESIGNS says how many.
"""

import math
import os
import sys

import numpy

import safety_kinds as kinds
from charge_designs import between, decades, of
from harness import changed, check, examples, fetch
from harness import run as run_checks
from safety_designs import errless, sensed

PATH = "/api/v1/safety"
COUNT = int(os.environ.get("SAFETY_DESIGNS", "30"))
UNITS = 500


def asked(start, case):
    answer = fetch(PATH, changed(start, case))
    return answer["result"]["modes"][0], answer["result"]["checks"][0], answer["input"]


def watched(random, kind, fault, given, ftti_s, group, harm, at=0.0):
    """A goal, one fault and one check of a kind."""
    aim = {"name": "Goal", "asil": "c", "reads": "current", "dangerous": "both", "harm_a": harm, "at_a": at}
    row = {"component": "Part", "mode": "one", "rate_fit": 5.0, "seen_by": "Check"} | fault
    one = {"name": "Check", "kind": kind, "reads": "current", "in_a_row": 1, "loss_fit": 1.0} | given
    return {"goals": [aim | {"ftti_s": ftti_s, "reaction_s": 0.0}], "faults": [row], "checks": [one], "current": group | {"error_a": 0.0}}


def in_time(told):
    return told.get("dc_computed_percent") == 100.0


# --- Slope ----------------------------------------------------------------------------------------------------------


@check(PATH, "safety: steps against a limit on the slope", f"{UNITS} units sample by sample", 1.0)
def safety_slopes(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(91)
    for number in range(COUNT):
        group, interval = sensed(random), of(random, 0.005, 0.02, 0.1)
        slope, sigma = decades(random, 10.0, 1000.0), of(random, 0.0, decades(random, 0.01, 1.0))
        z, n = of(random, 3.0, 4.5), int(of(random, 1, 1, 2, 3))
        hold = of(random, "last-sample", "last-accepted")
        limit = (slope + math.sqrt(2.0) * z * sigma / interval) * between(random, 1.05, 2.0)
        size = n * (limit + slope) * interval + math.sqrt(2.0) * z * sigma
        size *= of(random, between(random, 0.3, 0.98), between(random, 1.02, 2.0))
        given = {"rate_a_per_s": limit, "slope_a_per_s": slope, "interval_s": interval, "in_a_row": n}
        given |= {"held_against": hold, "noise_a": sigma, "error_a": 0.0, "noise_sigma": z}
        fault = {"from_a": of(random, -1.0, 1.0) * size, "comes": "at-once"}
        group |= {"noise_a": sigma}
        told, one, _ = asked(start, watched(random, "rate", fault, given, 10.0, group, 0.5 * size))
        found = {}
        looks = {"samples": 2 * n + 11, "interval_s": interval, "limit": limit, "n": n, "sigma": sigma}
        for way in (-1.0, 1.0):
            more = {"hold": hold == "last-accepted", "grows": hold == "last-accepted"}
            found[way] = kinds.slopes(random, UNITS, slope=way * slope, step=size, **looks, **more).mean()
        label = f"{number} step {size:.4g}, limit {limit * interval:.4g}, n {n}, {hold}"
        if in_time(told):
            yield f"{label}: seen by all", min(found.values()), 1.0, 0.02
        else:
            # A step that every unit sees is told to be seen, but for what noise leaves open.
            least = n * (limit + slope) * interval + math.sqrt(2.0) * z * sigma
            missed = min(found.values()) == 1.0 and size > 1.001 * least
            yield f"{label}: needlessly unseen", float(missed), 0.0, 0.5
        healthy = kinds.slopes(random, UNITS, slope=slope, **looks | {"samples": 60}, **more).sum()
        if one.get("false_per_hour", 0.0) * 60 * UNITS * interval / 3600.0 < 1e-3:
            yield f"{label}: false alarms", float(healthy), 0.0, 0.5


# --- Open wire ------------------------------------------------------------------------------------------------------


@check(PATH, "safety: joints in a wire against its test", "nodal analysis", 1.0)
def safety_wires(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(92)
    for number in range(COUNT):
        group, test = sensed(random), decades(random, 1e-7, 1e-5)
        whole = test * group["input_ohm"]
        limit, error = whole * between(random, 0.02, 0.9), whole * decades(random, 1e-3, 3e-2)
        joint = group["input_ohm"] * decades(random, 1e-2, 1e2)
        given = {"test_current_a": test, "limit_v": limit, "error_v": error, "noise_v": 0.0, "interval_s": 0.1}
        group |= {"filter_farad": decades(random, 1e-9, 1e-7)}
        fault = {"insert": "sense-resistive", "from_ohm": joint}
        told, one, answer = asked(start, watched(random, "open-wire", fault, given, 10.0, group, 1e-6, 100.0))
        leg, across = answer["current"]["leg_ohm"], group["input_ohm"]
        room = kinds.moved_v(joint, leg, across, test) - error - limit
        if abs(room) < 1e-3 * limit:
            continue
        label = f"{number} joint of {joint:.4g} ohm"
        yield label, told["dc_computed_percent"], 100.0 * (room > 0.0), 1e-6
        left = one.get("left_ohm")
        if left is not None:
            least = kinds.moved_v(left, leg, across, test)
            yield f"{label}: what is left unseen", least, limit + error, 1e-6 * limit
        settles = 5.0 * across * group["filter_farad"]
        if told.get("time_s") is not None:
            yield f"{label}: time", told["time_s"], settles + 0.1, 1e-6


# --- Heat -----------------------------------------------------------------------------------------------------------


@check(PATH, "safety: gains against the heat of the shunt", "a thermal body over time", 1.0)
def safety_heat(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(93)
    for number in range(COUNT):
        group = sensed(random) | {"bias_current_a": 0.0, "leg_ohm": 0.0}
        at = 0.03 / group["shunt_ohm"] * between(random, 0.3, 1.0)
        tau, whole = decades(random, 5.0, 100.0), between(random, 10.0, 60.0)
        k_per_w = whole / (at**2 * group["shunt_ohm"])
        limit, error = whole * between(random, 0.05, 0.4), whole * between(random, 0.01, 0.1)
        gain = of(random, between(random, 0.3, 0.95), between(random, 1.05, 1.8))
        fault = {"insert": "converter-gain", "from_percent": 100.0 * (gain - 1.0)}
        given = {"heat_k_per_w": k_per_w, "limit_k": limit, "error_k": error, "noise_k": 0.0, "low_pass_s": tau}
        given |= {"interval_s": 0.1}
        told, _, _ = asked(start, watched(random, "current-heat", fault, given, 1e5, group, 1e-3, at))
        body = kinds.Body(group["shunt_ohm"], k_per_w, tau)
        # A fault that comes while the current flows shows as one that is there when it comes.
        seconds = body.seen_after_s(at, gain * at, limit, error, 20.0 * tau)
        room = abs(abs(1.0 - gain**2) * whole - limit - error)
        if room < 5e-3 * whole:
            continue
        label = f"{number} gain {gain:.4g}, {whole:.4g} K, limit {limit:.4g}"
        yield label, told["dc_computed_percent"], 100.0 * math.isfinite(seconds), 1e-6
        if math.isfinite(seconds):
            yield f"{label}: time", told["time_s"], seconds + 0.1, 0.02 * tau + 0.1


# --- Closure --------------------------------------------------------------------------------------------------------


@check(PATH, "safety: a fault between two anchors", "days counted at the corners of all errors", 1.0)
def safety_closure(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(94)
    for number in range(COUNT):
        capacity, anchors, hours = decades(random, 20.0, 300.0), between(random, 0.3, 3.0), of(random, 12.0, 24.0, 72.0)
        offset = decades(random, 1e-3, 1e-1)
        least = 2.0 * anchors / 100.0 * capacity + offset * hours
        limit = least * between(random, 1.02, 2.0)
        sure = (limit + least) / hours
        size = of(random, -1.0, 1.0) * sure * of(random, between(random, 0.5, 0.98), between(random, 1.02, 4.0))
        given = {"limit_ah": limit, "capacity_ah": capacity, "anchor_percent": anchors, "interval_s": 3600.0 * hours}
        given |= {"error_a": offset, "noise_a": 0.0}
        ftti = 3600.0 * hours * of(random, 1.1, 1.6, 2.5)
        case = watched(random, "closure", {"from_a": size}, given, ftti, sensed(random), 0.3 * abs(size))
        told, one, _ = asked(start, case)
        label = f"{number} {size:.4g} A of {sure:.4g}, {ftti / 3600.0:.4g} h of {hours} h"
        if in_time(told):
            # Begun at any time after an anchor: what is gathered by the next one, else by the one after it.
            worst = 0.0
            for begun in numpy.linspace(0.0, hours, 49)[:-1]:
                part = size * (hours - begun) / hours
                first = numpy.abs(kinds.closed(random, 64, part, hours, anchors / 100.0, capacity, offset)) > limit
                second = numpy.abs(kinds.closed(random, 64, size, hours, anchors / 100.0, capacity, offset)) > limit
                waits = hours - begun if first.all() else 2.0 * hours - begun if second.all() else math.inf
                worst = max(worst, waits)
            yield f"{label}: in time", max(0.0, worst - ftti / 3600.0), 0.0, 1e-9
        yield f"{label}: certain", one["certain_high"], sure, 1e-6 * sure
        healthy = numpy.abs(kinds.closed(random, 64, 0.0, hours, anchors / 100.0, capacity, offset)).max()
        yield f"{label}: fault-free", one["fault_free"] * hours, healthy, 1e-6 * healthy


if __name__ == "__main__":
    sys.exit(not run_checks())
