"""Functional safety: modes behind the circuit, of random channels, against how they behave.

    BASE_URL=http://127.0.0.1:8080 python check_safety_modes.py

SAFETY_DESIGNS says how many.
"""

import math
import os
import sys

import numpy

import safety_modes as modes
from charge_designs import between, decades, of
from check_safety_inserted import divider, sense
from harness import changed, check, examples, fetch
from harness import run as run_checks
from safety_circuits import Beta, Thermistor
from safety_designs import errless, sensed, string

PATH = "/api/v1/safety"
COUNT = int(os.environ.get("SAFETY_DESIGNS", "30"))
SIGNS = (-1.0, 1.0)
# A string that tells what it sees, so that a mode is all that counts.
EXACT = {"bias_current_a": 0.0, "load_ohm": 1e14}


def exact(random):
    """A string that nothing loads, as firmware takes it to be."""
    found = string(random) | EXACT
    return found | {"factor": 1.0 + found["upper_count"] * found["upper_ohm"] / found["lower_ohm"]}


def told_of(start, reads, group, row, at, harm, **aim):
    end, place = {"voltage": ("v", "at_v"), "current": ("a", "at_a"), "temperature": ("k", "at_degc")}[reads]
    goal = {"name": "Goal", "asil": "c", "reads": reads, "dangerous": "both", f"harm_{end}": harm, place: at}
    fault = {"component": "Part", "mode": "one", "rate_fit": 5.0} | row
    case = {"goals": [goal | {"ftti_s": 1.0, "reaction_s": 0.0} | aim], "faults": [fault], "checks": [], reads: group}
    answer = fetch(PATH, changed(start, case))
    return answer["input"][reads], answer["result"]["modes"][0]


def near(label, told, expected, allowed):
    """Both ends of what is told are among what may be read."""
    for end in ("deviates_from", "deviates_to"):
        nearest = min(expected, key=lambda one: abs(one - told[end]))
        yield f"{label}, {end}", told[end], nearest, allowed


# --- Offsets and gains behind the circuit ---------------------------------------------------------------------------

BOTH_WAYS = {
    "amplifier-gain": lambda told, part, full: told * (1.0 + part),
    "controller-constant": lambda told, part, full: told * (1.0 + part),
    "amplifier-offset": lambda told, part, full: told + part * full,
    "converter-offset": lambda told, part, full: told + part * full,
    "supply-low": lambda told, part, full: told * (1.0 - abs(part)),
    "supply-high": lambda told, part, full: told * (1.0 + abs(part)),
}


@check(PATH, "safety: modes of amplifier, converter and supply", "nodal analysis, then the mode", 1.0)
def safety_behind(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(101)
    for number in range(2 * COUNT):
        reads = of(random, "voltage", "current")
        mode, part = of(random, *BOTH_WAYS), of(random, -1.0, 1.0) * between(random, 0.005, 0.09)
        if reads == "voltage":
            group, circuit = string(random), divider
            at, full = group["highest_v"] * between(random, 0.6, 1.0), group["full_at_v"]
        else:
            group, circuit = sensed(random), sense
            at, full = 0.03 / group["shunt_ohm"] * between(random, 0.1, 1.0), group["full_at_a"]
        group |= {"supply_gain": 1.0, "supply_works_percent": 10.0}
        size = {"supply-low": -abs(part), "supply-high": abs(part)}.get(mode, part)
        row = {"insert": mode, "from_percent": 100.0 * size}
        given, told = told_of(start, reads, group, row, at, 1e-4 * at)
        label = f"{number} {reads} {mode} {size:.4g} at {at:.4g}"
        if told["origin"] == "not-known":
            yield f"{label}: {told['lacks']}", 1.0, 0.0, 0.5
            continue
        plain = [circuit(given, sign, lambda _: {}, at) for sign in SIGNS]
        expected = [BOTH_WAYS[mode](one, part, full) - at for one in plain]
        yield from near(label, told, expected, 1e-5 * at)


# --- Codes ----------------------------------------------------------------------------------------------------------


@check(PATH, "safety: bits that are forced", "a table of codes", 1.0)
def safety_bits(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(102)
    for number in range(COUNT):
        group, bit = exact(random), int(random.integers(4, 11))
        group["step_v"] = step = group["full_at_v"] / 4096.0
        # Within a code, however it is rounded.
        at = step * (math.floor(group["highest_v"] * between(random, 0.6, 1.0) / step) + 0.25)
        row = {"insert": "converter-bit", "bit": bit}
        given, told = told_of(start, "voltage", group, row, at, 0.5 * step)
        codes = modes.Codes(12, group["full_at_v"], False)
        reading = divider(given, 1.0, lambda _: {}, at)
        healthy = codes.told(codes.code(reading))
        expected = [float(codes.forced(reading, bit, value) - healthy) for value in (0, 1)]
        yield from near(f"{number} bit {bit} at {at:.5g}", told, expected, 1e-3 * step)


# --- Temperature ----------------------------------------------------------------------------------------------------


@check(PATH, "safety: modes of a temperature channel", "nodal analysis of divider and reference", 1.0)
def safety_warm(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(103)
    for number in range(COUNT):
        curve, fixed = Beta(10e3, between(random, 3000.0, 4300.0)), of(random, 4.7e3, 10e3, 22e3)
        above, at = of(random, 0.0, 1.0), between(random, -20.0, 80.0)
        circuit = Thermistor(curve, fixed, ratiometric=False, below=above == 0.0)
        cold, hot = between(random, -30.0, 0.0), between(random, 20.0, 50.0)
        group = {"r25_ohm": 10e3, "beta_k": curve.beta, "fixed_ohm": fixed, "sensor_above": above}
        group |= {"lowest_degc": -80.0, "highest_degc": 300.0, "ambient_low_degc": cold, "ambient_high_degc": hot}
        group |= {"reference_gain": 1.0, "error_k": 0.0, "noise_k": 0.0}
        part = of(random, -1.0, 1.0) * between(random, 0.005, 0.08)
        electric = "reference-drift", "converter-gain", "fixed-drift", "fixed-open", "fixed-short"
        mode = of(random, *electric, "thermistor-loose")
        row = {"insert": mode}
        if mode == "thermistor-loose":
            share = between(random, 0.1, 0.9)
            row["from_percent"] = 100.0 * share
            expected = [modes.loose(at, around, share) for around in (cold, hot)]
        elif mode == "fixed-open":
            expected = [300.0]
        elif mode == "fixed-short":
            expected = [-80.0]
        else:
            row["from_percent"] = 100.0 * part
            readings = {
                "reference-drift": lambda: circuit.reading(at, reference=part),
                "converter-gain": lambda: circuit.reading(at, reference=1.0 / (1.0 + part) - 1.0),
                "fixed-drift": lambda: circuit.reading(at, {"fixed": fixed * (1.0 + part)}),
            }
            expected = [readings[mode]()]
        _, told = told_of(start, "temperature", group, row, at, 1e-3)
        if told["origin"] == "not-known":
            yield f"{number} {row}: {told['lacks']}", 1.0, 0.0, 0.5
            continue
        expected = [min(max(one, -80.0), 300.0) - at for one in expected]
        yield from near(f"{number} {row} at {at:.4g}, above {above}", told, expected, 1e-4 * (1.0 + abs(at)))


# --- Lag ------------------------------------------------------------------------------------------------------------


@check(PATH, "safety: readings that lag", "ramps in small steps", 1.0)
def safety_lags(_given, _result):
    start, random = errless(examples()[PATH]), numpy.random.default_rng(104)
    for number in range(COUNT):
        group = exact(random)
        mode, lag = of(random, "amplifier-slow", "link-late", "controller-late"), decades(random, 0.01, 1.0)
        normal = group["highest_v"]
        hazard = normal * between(random, 1.05, 1.3)
        slope, delay = (hazard - normal) * decades(random, 0.2, 5.0), 0.01
        threshold = normal + (hazard - normal) * between(random, 0.3, 0.6)
        typed = {"threshold_v": threshold, "error_v": 0.0, "hazard_v": hazard, "slope_v_per_s": slope}
        typed |= {"delay_s": delay, "normal_v": normal, "dangerous": "low", "largest_possible_v": 3.0 * hazard}
        goal = {"name": "Goal", "asil": "c", "reads": "voltage", "ftti_s": 1.0, "reaction_s": 0.0} | typed
        fault = {"component": "Part", "mode": "one", "rate_fit": 5.0, "insert": mode, "from_s": lag}
        case = {"goals": [goal], "faults": [fault], "checks": [], "voltage": group}
        answer = fetch(PATH, changed(start, case))
        given, told = answer["input"]["voltage"], answer["result"]["modes"][0]
        gain = divider(given, 1.0, lambda _: {}, 1000.0) / 1000.0
        # The ramp has begun long before, in normal use: the lag is at its full size.
        times = numpy.arange(-12.0 * lag, 3.0 * (hazard - normal) / slope + 12.0 * lag, lag / 40.0)
        ramp = lambda t: gain * (normal + slope * t)  # noqa: B023,E731
        slow = mode == "amplifier-slow"
        reading = modes.slow(ramp, lag, times, 4) if slow else modes.delayed(ramp, lag)(times)
        passed = times[numpy.flatnonzero(reading >= threshold)[0]] + delay
        late = passed - (hazard - normal) / slope
        label = f"{number} {mode} {lag:.4g} s, {typed}"
        if told["origin"] == "not-known":
            yield f"{label}: {told['lacks']}", 1.0, 0.0, 0.5
            continue
        if abs(late) < 0.05 * lag:
            continue
        yield f"{label}: missed", told["direct_percent"], 100.0 * (late > 0.0), 1e-6
        if late > 0.0 and told.get("behaviour") == "late":
            yield f"{label}: late by", told["late_by_s"], late, 0.05 * lag


if __name__ == "__main__":
    sys.exit(not run_checks())
