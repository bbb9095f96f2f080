"""Current channel: the complete error of a reading, over ambient temperature, calibration and life."""

import math

import numpy

import budgets
from budgets import Source
from harness import check
from models import Element, front_end, ppm

CHANNELS = (
    {},
    {"calibration.kind": "none", "shunt.tcr_quadratic_ppm_per_k2": -0.45, "shunt.emf_v_per_k": 8e-7},
    {
        "calibration.kind": "offset",
        "shunt.tcr_ppm_per_k": -60.0,
        "shunt.tcr_tolerance_ppm_per_k": 20.0,
        "shunt.life_drift_percent": 0.2,
        "shunt.sense_position_error_ohm": 1e-7,
        "conditions.shunt_extra_k": 15.0,
        "currents_a": [3.0, 250.0],
        "experiment.seed": 7,
    },
)


def channel(given, current, ambient, calibrated, end_of_life):
    """The reading's error at one current and one ambient, and its sources there."""
    shunt, conditions, calibration = given["shunt"], given["conditions"], given["calibration"]
    # The shunt's surroundings warm up with the pack: fully at the hot end, not at all at the cold end.
    share = (ambient - conditions["ambient_min_degc"]) / (
        conditions["ambient_max_degc"] - conditions["ambient_min_degc"]
    )
    element = Element(shunt, ambient + conditions["shunt_extra_k"] * share)
    degc = element.settled(current)
    distance = abs(ambient - conditions["calibration_degc"])
    sources, read = front_end(given["amplifier"], given["converter"], calibration, distance, calibrated, end_of_life)
    gain_goes = calibrated and calibration["kind"] == "two-point"
    spread = ppm(shunt["tcr_tolerance_ppm_per_k"]) * abs(degc - shunt["reference_degc"])
    sources |= {
        "left gain": Source(calibration["gain_residual_percent"] / 100.0 if gain_goes else 0.0),
        "tolerance": Source(0.0 if gain_goes else shunt["tolerance_percent"] / 100.0),
        "curve": Source(0.0, estimate=element.change(degc)),
        "curve spread": Source(spread),
        "tap": Source(0.0 if gain_goes else shunt["sense_position_error_ohm"] / shunt["resistance_ohm"]),
        "ageing": Source(shunt["life_drift_percent"] / 100.0 if end_of_life else 0.0),
        "emf": Source(shunt["emf_v_per_k"] * shunt["end_temperature_difference_k"]),
    }

    def error(d):
        gains = (1.0 + d["left gain"] + d["tolerance"]) * (1.0 + d["curve"] + d["curve spread"])
        gains = gains * (1.0 + d["tap"]) * (1.0 + d["ageing"])
        volt = current * shunt["resistance_ohm"] * gains + d["emf"]
        return read(volt, d) / shunt["resistance_ohm"] - current

    return error, sources, degc


@check("/api/v1/current-channel", "current channel: budget", "numpy corners and trials, uncertainties", 1e-7, *CHANNELS)
def channel_budget(given, result):
    for point in result["points"]:
        current, at = point["current_a"], point["worst_corner"]
        error, sources, degc = channel(given, current, at["ambient_degc"], True, True)
        yield f"{current} A: element", at["element_degc"], degc
        for row in budgets.compare(point["assessment"], error, sources):
            yield (f"{current} A: {row[0]}", *row[1:])


@check("/api/v1/current-channel", "current channel: worst ambient", "numpy sweep in steps of 2.5 K", 1e-5, *CHANNELS)
def channel_sweep(given, result):
    low, high = given["conditions"]["ambient_min_degc"], given["conditions"]["ambient_max_degc"]
    for point in result["points"]:
        current = point["current_a"]
        for row in point["grid"]:
            state = row["calibrated"], row["end_of_life"]
            title = f"{current} A, calibrated {state[0]}, end of life {state[1]}"
            error, sources, _ = channel(given, current, row["ambient_degc"], *state)
            ends = budgets.corners(error, sources)
            yield f"{title}: low", row["worst_case_low_a"], ends[0]
            yield f"{title}: high", row["worst_case_high_a"], ends[1]
            yield f"{title}: worst", row["worst_case_a"], max(map(abs, ends))
            sweep = numpy.linspace(low, high, round((high - low) / 2.5) + 1)
            worst = max(budgets.directed(*channel(given, current, degc, *state)[:2]) for degc in sweep)
            yield f"{title}: none is worse", max(worst, row["worst_case_a"]), row["worst_case_a"]


@check("/api/v1/current-channel", "current channel: zero, range, ripple", "arithmetic in numpy", 1e-9, *CHANNELS)
def channel_zero(given, result):
    conditions, ohm, zero = given["conditions"], given["shunt"]["resistance_ohm"], result["zero"]
    gain = given["amplifier"]["gain"]
    at_sensor = ["left offset", "amplifier offset", "amplifier offset drift", "common mode", "supply", "bias", "emf"]
    at_converter = ["converter offset", "converter offset drift"]
    if given["calibration"]["kind"] == "none":
        # Only a zero that was calibrated is free of both.
        at_converter += ["linearity", "quantisation"]
    found = []
    for ambient in (conditions["ambient_min_degc"], conditions["ambient_max_degc"]):
        _, sources, _ = channel(given, 0.0, ambient, True, True)
        limits = [sources[name].limit for name in at_sensor] + [sources[name].limit / gain for name in at_converter]
        found.append((sum(limits), math.hypot(*limits)))
    worst = max(found)
    yield "zero.offset_v", zero["offset_v"], worst[0]
    yield "zero.offset_a", zero["offset_a"], worst[0] / ohm
    yield "zero.root_sum_square_a", zero["root_sum_square_a"], worst[1] / ohm
    yield "zero.charge_ah_per_day", zero["charge_ah_per_day"], worst[0] / ohm * 86400.0 / 3600.0
    signal = given["load"]["full_scale_a"] * ohm
    amplifier, converter = given["amplifier"], given["converter"]
    # Each end of the chain, seen from the shunt; of a bipolar one the nearer side.
    ends = [converter["full_scale_v"] / gain, amplifier["input_max_v"], amplifier["output_max_v"] / gain]
    if converter["bipolar"]:
        ends += [-amplifier["input_min_v"], -amplifier["output_min_v"] / gain]
    yield "range.full_scale_v", result["range"]["full_scale_v"], signal
    yield "range.used_percent", result["range"]["used_percent"], signal / min(ends) * 100.0
    edge = 2.0 * given["load"]["ripple_current_a"] / (0.5 / given["load"]["ripple_frequency_hz"])
    yield "ripple.spike_a", result["ripple"]["spike_a"], given["shunt"]["inductance_henry"] * edge / ohm
    for point in result["points"]:
        allowed = given["requirement"]
        if "gain_percent" in allowed or "offset_a" in allowed:
            limit = allowed.get("gain_percent", 0.0) / 100.0 * point["current_a"] + allowed.get("offset_a", 0.0)
            yield f"{point['current_a']} A: used_percent", point["used_percent"], point["judged_a"] / limit * 100.0
