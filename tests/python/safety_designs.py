"""Random claims, checks and whole designs for functional safety; errors lie around what a check may leave, so that
verdicts of all kinds come."""

import math

from charge_designs import between, decades, of, often

# Components of the three kinds of channel, by what a fault does.
CLAIMED = ("shunt", "sense", "amplifier", "upper", "converter", "reference", "thermistor", "supply", "link", "controller")


def shared(random, count):
    """Whole percents that add up to a hundred."""
    cuts = sorted(int(random.integers(0, 101)) for _ in range(count - 1))
    return [float(high - low) for low, high in zip([0, *cuts], [*cuts, 100], strict=True)]


# --- Claims ---------------------------------------------------------------------------------------------------------

MODES = {
    "shunt": ("drift", "open", "bridge"),
    "sense": ("open", "short"),
    "amplifier": ("gain", "offset", "rail"),
    "upper": ("short", "open", "drift"),
    "converter": ("stuck", "gain", "offset"),
    "reference": ("drift",),
    "thermistor": ("open", "short", "drift"),
    "supply": ("low", "lost"),
    "link": ("stuck", "late", "lost"),
    "controller": ("frozen", "late"),
}


def claims(random):
    """Rows of faults whose shares and coverages are typed; the modes of one component share its rate."""
    found = []
    for component in CLAIMED:
        if often(random, 0.25):
            continue
        modes = MODES[component][: int(random.integers(1, len(MODES[component]) + 1))]
        rate = of(random, decades(random, 0.5, 80.0), decades(random, 0.5, 80.0), 0.0)
        for mode, part in zip(modes, shared(random, len(modes)), strict=True):
            safe, direct, _ = shared(random, 3) if often(random, 0.7) else (20.0, 80.0, 0.0)
            row = {"component": component, "mode": mode, "rate_fit": rate, "mode_percent": part}
            row |= {"safe_percent": safe, "direct_percent": direct, "source": "drawn"}
            row |= {"coverage_percent": of(random, 0.0, 60.0, 90.0, 97.0, 99.0, between(random, 50.0, 99.9))}
            row |= {"signalled_percent": of(random, 0.0, 80.0, 90.0, 100.0), "tested_percent": between(random, 0.0, 100.0)}
            found.append(row)
    return found


def goal(random, name="Nothing burns", **more):
    return {"name": name, "asil": of(random, "qm", "a", "b", "c", "d"), "reaction_s": decades(random, 1e-3, 0.1)} | more


def claimed(random):
    """A whole input that stands alone."""
    rows = claims(random)
    return {
        "goals": [goal(random, share_of_item_percent=of(random, 100.0, 30.0, between(random, 1.0, 100.0)))],
        "faults": rows,
        "life_h": decades(random, 2000.0, 200_000.0),
        "beta_percent": of(random, 0.0, 3.0, 10.0),
    }


# --- Checks ---------------------------------------------------------------------------------------------------------


def timing(random):
    return {
        "interval_s": of(random, 0.005, 0.01, 0.02, 0.1),
        "in_a_row": int(of(random, 1, 2, 3, 5)),
        "processing_s": of(random, 0.0, 0.005, 0.02),
        "acts": "safe-state",
        "signals": often(random, 0.7),
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


def insertions(random):
    """One row for each mode whose reading a circuit of our own gives, a single magnitude each or a range of them."""
    rows = [
        ("upper", "short", {}),
        ("upper", "open", {}),
        ("upper", "drift", {"from_percent": -50.0, "to_percent": 50.0, "law": "uniform"}),
        ("upper", "crack", {"from_ohm": 1e5, "to_ohm": 1e9, "law": "log-uniform"}),
        ("lower", "open", {}),
        ("lower", "short", {}),
        ("shunt", "drift", {"from_percent": -50.0, "to_percent": 50.0, "law": "uniform"}),
        ("sense", "open", {}),
        ("thermistor", "open", {}),
        ("thermistor", "short", {}),
        ("thermistor", "drift", {"from_percent": -50.0, "to_percent": 50.0, "law": "uniform"}),
        ("reference", "drift", {"from_percent": -10.0, "to_percent": 10.0, "law": "uniform"}),
    ]
    kept = [row for row in rows if often(random, 0.7)] or rows
    found = []
    for component in dict.fromkeys(row[0] for row in kept):
        modes = [row for row in kept if row[0] == component]
        rate = decades(random, 0.5, 40.0)
        for (_, mode, how), part in zip(modes, shared(random, len(modes)), strict=True):
            row = {"component": component, "mode": mode, "rate_fit": rate, "mode_percent": part, "source": "drawn"}
            found.append(row | how)
    return found


def checks(random, peak_a, highest_v, lowest_v):
    room = lambda: 1.0 + decades(random, 0.01, 0.3)  # noqa: E731
    found = [
        {"name": "Range, current", "kind": "range", "channel": "Shunt A"}
        | {"low_a": -peak_a * room(), "high_a": peak_a * room()},
        {"name": "Range, voltage", "kind": "range", "channel": "Pack voltage"}
        | {"low_v": lowest_v / room(), "high_v": highest_v * room()},
        {"name": "Range, temperature", "kind": "range", "channel": "Cell temperature"}
        | {"low_degc": -30.0 - between(random, 2.0, 10.0), "high_degc": 85.0 + between(random, 2.0, 20.0)},
        {"name": "A against B", "kind": "comparison", "channel": "Shunt A", "against": "Shunt B"}
        | {"limit_a": peak_a * decades(random, 0.01, 0.05), "use": "a"},
        {"name": "Pack against cells", "kind": "sum-of-cells", "channel": "Pack voltage"}
        | {"limit_percent": between(random, 1.0, 6.0), "cell_error_v": decades(random, 1e-3, 1e-2)},
        {"name": "Open wire", "kind": "open-wire", "channel": "Shunt A"}
        | {"test_current_a": 1e-6, "limit_v": 5e-3},
        {"name": "Reference test", "kind": "reference-test", "channel": "Pack voltage", "limit_percent": 1.0},
    ]
    return [check | timing(random) for check in found if often(random, 0.75)] or [found[1] | timing(random)]


def drawn(random):
    """A whole design with a section of safety."""
    given = pack(random)
    highest = given["cells_in_series"] * given["cell_max_v"]
    lowest = given["cells_in_series"] * given["cell_min_v"]
    peak = given["peak_a"]
    goals = [
        goal(random, "No over-current", part="Over-current", ftti_s=decades(random, 0.05, 1.0)),
        goal(random, "No over-voltage", part="Pack over-voltage", ftti_s=decades(random, 0.1, 10.0)),
        goal(random, "No over-temperature", part="Over-temperature", ftti_s=decades(random, 1.0, 60.0)),
    ]
    safety = {
        "goals": goals,
        "faults": insertions(random),
        "checks": checks(random, peak, highest, lowest),
        "life_h": 12000.0,
        "beta_percent": of(random, 0.0, 3.0),
        "judged_by": of(random, "worst-case", "probability"),
    }
    if often(random, 0.5):
        safety["shares"] = [{"what": "reference", "users": "Shunt A, Shunt B, Pack voltage"}]
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
        "current": [shunt(random, peak, 1, "Shunt A"), shunt(random, peak, 2, "Shunt B")],
        "voltage": [divider(random, highest, lowest)],
        "temperatures": [thermistor(random)],
        "protection": thresholds(random, peak, highest),
        "safety": [safety],
    }
