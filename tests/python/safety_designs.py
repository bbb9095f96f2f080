"""Random claims, checks and whole designs for functional safety; errors lie around what a check may leave, so that
verdicts of all kinds come."""

import math

from charge_designs import between, decades, of, often

def shared(random, count):
    """Whole percents that add up to a hundred."""
    cuts = sorted(int(random.integers(0, 101)) for _ in range(count - 1))
    return [float(high - low) for low, high in zip([0, *cuts], [*cuts, 100], strict=True)]


# --- Claims ---------------------------------------------------------------------------------------------------------

MODES = {
    "Shunt": ("drifts", "open", "bridged"),
    "Sense wires": ("open", "short"),
    "Amplifier": ("gain", "offset", "at the rail"),
    "Divider": ("short", "open", "drifts"),
    "Converter": ("stuck", "gain", "offset"),
    "Reference": ("drifts",),
    "Thermistor": ("open", "short", "drifts"),
    "Supply": ("low", "lost"),
    "Link": ("stuck", "late", "lost"),
    "Controller": ("frozen", "late"),
}


def claims(random):
    """Rows of faults whose shares and coverages are typed; the modes of one component share its rate."""
    found = []
    for component, modes in MODES.items():
        if often(random, 0.25):
            continue
        modes = modes[: int(random.integers(1, len(modes) + 1))]
        rate = of(random, decades(random, 0.5, 80.0), decades(random, 0.5, 80.0), 0.0)
        for mode, part in zip(modes, shared(random, len(modes)), strict=True):
            safe, direct, _ = shared(random, 3) if often(random, 0.7) else (20.0, 80.0, 0.0)
            row = {"component": component, "mode": mode, "rate_fit": rate, "mode_percent": part}
            row |= {"safe_percent": safe, "direct_percent": direct}
            row |= {"coverage_percent": of(random, 0.0, 60.0, 90.0, 97.0, 99.0, between(random, 50.0, 99.9))}
            row |= {"signalled_percent": of(random, 0.0, 80.0, 90.0, 100.0)}
            row |= {"tested_percent": between(random, 0.0, 100.0)}
            found.append(row)
    return found or claims(random)


def goal(random, **more):
    item = of(random, 100.0, 30.0, between(random, 1.0, 100.0))
    return {"name": "Goal", "asil": of(random, "qm", "a", "b", "c", "d"), "share_of_item_percent": item} | more


def errless(example):
    """The example with a channel that errs by nothing: what its checks are typed to err is all that they err."""
    return example | {"voltage": example["voltage"] | {"error_v": 0.0}}


# --- Checks ---------------------------------------------------------------------------------------------------------

# What ends the names of fields in the unit of the quantity.
SUFFIX = {"current": "a", "voltage": "v", "temperature": "k"}
SIZE = {"current": 10.0, "voltage": 10.0, "temperature": 4.0}
# The other side of a comparison reads whatever comes: where it ends is a case of its own.
FULL = {"other_full_a": 1e6, "other_full_v": 1e6, "other_full_degc": 500.0}


def timing(random):
    return {
        "interval_s": of(random, 0.005, 0.01, 0.02, 0.1),
        "in_a_row": int(of(random, 1, 2, 3, 5)),
        "processing_s": of(random, 0.0, 0.005, 0.02),
    }


def compared(random, name="Comparison"):
    """A comparison of two readings: its limit lies around what errors and noise ask for."""
    reads = of(random, *SUFFIX)
    end, size = SUFFIX[reads], SIZE[reads]
    own, other = size * decades(random, 0.01, 0.3), size * decades(random, 0.01, 0.3)
    noise = size * of(random, 0.0, decades(random, 3e-3, 0.1)), size * of(random, 0.0, decades(random, 3e-3, 0.1))
    known = of(random, 0.0, 0.0, size * between(random, -0.3, 0.3))
    asked = own + other + abs(known) + math.hypot(*noise) * between(random, 1.5, 6.0)
    return {
        "name": name,
        "kind": of(random, "comparison", "sum-of-cells") if reads == "voltage" else "comparison",
        "reads": reads,
        f"limit_{end}": asked * between(random, 0.9, 1.6),
        f"error_{end}": own,
        f"other_error_{end}": other,
        f"noise_{end}": noise[0],
        f"other_noise_{end}": noise[1],
        f"known_low_{end}": min(known, 0.0),
        f"known_high_{end}": max(known, 0.0),
        "noise_sigma": of(random, 3.0, 4.5, 6.0),
        "averaging_s": 0.0,
    } | FULL | timing(random)


def deviating(random, check):
    """A fault of one size, or of a span of sizes, around what the check sees."""
    end = SUFFIX[check["reads"]]
    sees = check[f"limit_{end}"] + between(random, -1.0, 2.0) * (check[f"error_{end}"] + check[f"other_error_{end}"])
    sees += between(random, -3.0, 6.0) * math.hypot(check[f"noise_{end}"], check[f"other_noise_{end}"])
    size = of(random, -1.0, 1.0) * max(sees, 0.1 * check[f"limit_{end}"])
    row = {"component": "Channel", "mode": "off", "rate_fit": 10.0, "seen_by": check["name"], f"from_{end}": size}
    if often(random, 0.5):
        row[f"to_{end}"] = size * between(random, 1.05, 4.0)
        # A span runs upwards.
        row[f"from_{end}"], row[f"to_{end}"] = sorted((row[f"from_{end}"], row[f"to_{end}"]))
    return row


def harmed(random, check, fault):
    """A goal that such a fault may violate: a deviation from here on, that way, within so long."""
    end = SUFFIX[check["reads"]]
    sizes = [abs(fault[name]) for name in (f"from_{end}", f"to_{end}") if name in fault]
    looks = check["in_a_row"] + int(random.integers(-1, 12))
    return {
        "name": "Goal",
        "asil": of(random, "b", "c", "d"),
        "reads": check["reads"],
        "dangerous": "low" if fault[f"from_{end}"] < 0.0 else "high",
        f"harm_{end}": between(random, 0.3, 0.95) * min(sizes),
        "ftti_s": check["processing_s"] + check["interval_s"] * (looks + 0.5),
        "reaction_s": 0.0,
        "share_of_item_percent": 10.0,
    }


# --- Circuits that stand alone ---------------------------------------------------------------------------------------


def string(random):
    count, ohm = int(random.integers(2, 12)), of(random, 330e3, 680e3, 1e6)
    highest = between(random, 200.0, 900.0)
    lower = count * ohm * 2.0 / highest / between(random, 1.1, 1.5)
    load = decades(random, 1e6, 1e8)
    return {
        "upper_count": float(count),
        "upper_ohm": ohm,
        "lower_ohm": lower,
        "load_ohm": load,
        "bias_current_a": decades(random, 1e-10, 1e-7),
        # Firmware knows what the healthy channel reads.
        "factor": 1.0 + count * ohm * (1.0 / lower + 1.0 / load),
        "full_at_v": highest * 3.0,
        "lowest_v": 0.6 * highest,
        "highest_v": highest,
    }


def sensed(random):
    peak = between(random, 100.0, 1000.0)
    leg = of(random, 0.0, 10.0, 100.0)
    return {
        "shunt_ohm": 0.03 / peak,
        "leg_ohm": leg,
        # Its filter takes less than a thousandth of the healthy signal.
        "input_ohm": max(decades(random, 1e4, 1e6), 2500.0 * leg),
        "bias_current_a": decades(random, 1e-10, 1e-7),
        "full_at_a": 10.0 * peak,
        "full_charge_a": 10.0 * peak,
    }


def warm(random):
    return {
        "r25_ohm": of(random, 5e3, 10e3, 100e3),
        "beta_k": between(random, 3000.0, 4300.0),
        "lowest_degc": -80.0,
        "highest_degc": 300.0,
    }


# --- Whole designs --------------------------------------------------------------------------------------------------


def pack(random):
    cells = int(random.integers(90, 210))
    peak = between(random, 300.0, 700.0)
    return {
        "cells_in_series": cells,
        "cell_max_v": 4.2,
        "cell_nominal_v": 3.65,
        "cell_min_v": 2.8,
        "cell_capacity_ah": between(random, 40.0, 200.0),
        "cell_resistance_ohm": decades(random, 5e-4, 2e-3),
        "busbars_ohm": decades(random, 5e-3, 5e-2),
        "loop_inductance_henry": decades(random, 3e-6, 2e-5),
        "continuous_a": 0.6 * peak,
        "peak_a": peak,
        "peak_duration_s": 10.0,
        "ripple_current_a": 0.0,
        "ambient_min_degc": of(random, -30.0, -10.0),
        "ambient_max_degc": of(random, 60.0, 85.0),
        "calibration_degc": 25.0,
        "life_years": 15.0,
        "altitude_m": 0.0,
    }


def converter(random, full_scale_v, bits, bipolar):
    return {
        "bits": bits,
        "full_scale_v": full_scale_v,
        "bipolar": bipolar,
        "offset_v": full_scale_v * decades(random, 1e-5, 3e-4),
        "offset_drift_v_per_k": full_scale_v * decades(random, 1e-7, 3e-6),
        "gain_error_percent": decades(random, 0.02, 0.3),
        "gain_drift_ppm_per_k": decades(random, 2.0, 30.0),
        "inl_ppm": decades(random, 10.0, 200.0),
        "noise_v": full_scale_v * decades(random, 1e-5, 3e-4),
        "reference_error_percent": 0.1,
        "reference_drift_ppm_per_k": decades(random, 3.0, 20.0),
    }


def shunt(random, peak_a, number, name):
    ohm = 0.03 / peak_a * between(random, 0.5, 1.5)
    full = 1.6 * peak_a
    return {
        "number": number,
        "name": name,
        "shunt": {
            "resistance_ohm": ohm,
            "tolerance_percent": 1.0,
            "tcr_ppm_per_k": between(random, -50.0, 50.0),
            "tcr_tolerance_ppm_per_k": between(random, 0.0, 20.0),
            "reference_degc": 25.0,
            "rated_power_w": 50.0,
            "derate_from_degc": 100.0,
            "zero_power_degc": 170.0,
            "max_element_degc": 170.0,
            "thermal_resistance_k_per_w": between(random, 1.0, 4.0),
            "heat_capacity_j_per_k": 5.0,
            "emf_v_per_k": 8e-7,
            "end_temperature_difference_k": 2.0,
            "inductance_henry": 2e-9,
            "sense_position_error_ohm": 0.0,
            "life_drift_percent": decades(random, 0.02, 0.3),
        },
        "amplifier": {"bias_current_a": decades(random, 1e-9, 1e-7), "source_ohm": 10.0},
        "filter": {"resistance_ohm": 20.0, "capacitance_farad": decades(random, 1e-8, 1e-6)},
        "converter": converter(random, full * ohm * between(random, 1.1, 1.6), 16, True)
        | {"data_rate_hz": 40000.0, "oversampling": 250, "filter_order": 3},
        "averaging": 40,
        "calibration": {"kind": of(random, "none", "offset", "two-point"), "offset_residual_v": ohm * 0.02},
        "load": {"full_scale_a": full},
        "currents_a": [5.0, 0.6 * peak_a, peak_a],
    }


def divider(random, highest_v, lowest_v):
    count = int(random.integers(3, 9))
    ohm = of(random, 470e3, 680e3, 820e3, 1e6)
    full = of(random, 1.25, 2.0, 2.5)
    lower = count * ohm * full / highest_v / between(random, 1.1, 1.5)
    return {
        "number": 1,
        "name": "Pack voltage",
        "upper": {
            "count": count,
            "resistance_ohm": ohm,
            "tolerance_percent": 0.5,
            "tcr_ppm_per_k": 50.0,
            "tcr_tracking_ppm_per_k": between(random, 5.0, 40.0),
            "voltage_coefficient_ppm_per_v": 0.0,
            "max_working_v": 400.0,
            "rated_power_w": 0.25,
            "derate_from_degc": 70.0,
            "zero_power_degc": 155.0,
            "life_drift_percent": decades(random, 0.05, 0.3),
        },
        "lower": {
            "resistance_ohm": lower,
            "tolerance_percent": 0.1,
            "tcr_ppm_per_k": 25.0,
            "life_drift_percent": 0.1,
        },
        "following": {
            "load_ohm": decades(random, 2e6, 1e8),
            "load_tolerance_percent": 0.0,
            "factor_includes_load": often(random, 0.5),
            "bias_current_a": decades(random, 1e-10, 3e-8),
            "bias_varying_percent": of(random, 0.0, 100.0),
        },
        "surface": {"leakage_ohm": 1e12},
        "converter": converter(random, full, 14, False),
        "calibration": {
            "kind": of(random, "none", "two-point"),
            "low_v": 0.5 * highest_v,
            "high_v": 0.95 * highest_v,
            "gain_residual_percent": 0.05,
        },
        "voltages_v": [lowest_v, highest_v],
    }


def thermistor(random):
    return {
        "number": 1,
        "name": "Cell temperature",
        "curve": "beta",
        "beta": {
            "r25_ohm": 10e3,
            "beta_k": between(random, 3000.0, 4200.0),
            "r25_tolerance_percent": 1.0,
            "beta_tolerance_percent": 1.0,
            "curve_k": 0.2,
        },
        "read_out": "divider",
        "divider": {
            "fixed_ohm": of(random, 4.7e3, 10e3, 22e3),
            "side": of(random, "low", "low", "high"),
            "supply_v": 3.3,
            "ratiometric": often(random, 0.7),
            "reference_error_percent": 0.5,
        },
        "converter": {"bits": 12, "full_scale_v": 3.3, "inl_lsb": 2.0},
        "body": {"dissipation_w_per_k": 0.0015, "time_constant_s": of(random, 3.0, 12.0)}
        | {"ramp_k_per_s": decades(random, 0.01, 0.3)},
        "cell": {"thermal_resistance_k_per_w": 0.2, "heat_flow_w": 4.0},
        "min_degc": -30.0,
        "max_degc": 85.0,
        "points_degc": [0.0, 25.0, 60.0],
    }


def thresholds(random, peak_a, highest_v):
    """One for each channel, with more room or less."""
    hazard_a = peak_a * between(random, 1.3, 1.55)
    hazard_v = highest_v * between(random, 1.03, 1.12)
    hazard_degc = between(random, 62.0, 75.0)
    within = lambda low, high, part: low + part * (high - low)  # noqa: E731
    sampled = {"noise_is": "white", "samples_in_a_row": int(of(random, 1, 3, 5)), "sample_rate_hz": 100.0}
    return [
        {
            "of": "current",
            "number": 1,
            "name": "Over-current",
            "rests_on": 1,
            "kind": "over-current-discharge",
            "normal_a": peak_a,
            "hazard_a": hazard_a,
            "noise_a": 0.3,
            "rate_a_per_s": decades(random, 100.0, 2000.0),
            "threshold_a": within(peak_a, hazard_a, between(random, 0.3, 0.6)),
        }
        | sampled,
        {
            "of": "voltage",
            "number": 2,
            "name": "Pack over-voltage",
            "rests_on": 1,
            "kind": "pack-over-voltage",
            "normal_v": highest_v,
            "hazard_v": hazard_v,
            "noise_v": 0.05,
            "rate_v_per_s": decades(random, 0.1, 5.0),
            "threshold_v": within(highest_v, hazard_v, between(random, 0.3, 0.6)),
        }
        | sampled,
        {
            "of": "temperature",
            "number": 3,
            "name": "Over-temperature",
            "rests_on": 1,
            "kind": "over-temperature",
            "normal_degc": 50.0,
            "hazard_degc": hazard_degc,
            "threshold_degc": within(50.0, hazard_degc, between(random, 0.3, 0.6)),
        }
        | sampled,
    ]


def drawn(random):
    """A whole design whose safety has faults in its channels."""
    given = pack(random)
    highest = given["cells_in_series"] * given["cell_max_v"]
    lowest = given["cells_in_series"] * given["cell_min_v"]
    peak = given["peak_a"]
    safety = {"number": 1, "current_channel": 1, "voltage_channel": 1, "temperature_channel": 1}
    return {
        "schema": 2,
        "start_values": 2,
        "title": "Drawn",
        "pack": given,
        "requirements": {
            "current": {"gain_percent": 5.0, "offset_a": 20.0},
            "voltage": {"gain_percent": 5.0},
            "temperature": {"allowed_k": 5.0},
        },
        "current": [shunt(random, peak, 1, "Shunt A")],
        "voltage": [divider(random, highest, lowest)],
        "temperatures": [thermistor(random)],
        "protection": thresholds(random, peak, highest),
        "safety": [safety],
    }
