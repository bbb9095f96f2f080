"""Random counters, packs and uses whose errors lie around what they may be, so that verdicts of all kinds come."""

import math

FLAT = [(0, 2.90), (10, 3.20), (20, 3.25), (35, 3.285), (60, 3.295), (70, 3.325), (95, 3.335), (100, 3.40)]
STEEP = [(0, 3.00), (10, 3.42), (30, 3.58), (50, 3.68), (70, 3.88), (90, 4.08), (100, 4.20)]
STRAIGHT = [(0, 3.3), (100, 4.0)]


def of(random, *choices):
    return random.choice(choices).item()


def between(random, low, high):
    return float(random.uniform(low, high))


def decades(random, low, high):
    return float(10.0 ** random.uniform(math.log10(low), math.log10(high)))


def often(random, share):
    return bool(random.random() < share)


def counter(random, capacity, coded):
    """Errors in proportion to the pack; a reading every few seconds, so that days can be counted one by one."""
    rate = capacity / 100.0
    period = decades(random, 4.0, 40.0)
    # Few samples to a reading where each is rounded by itself.
    averaging = int(of(random, 1, 4, 40, 400)) if not coded else int(of(random, 1, 2, 4))
    noise = of(random, 0.0, 1.0) * decades(random, 0.005, 1.0) * rate * math.sqrt(averaging)
    return {
        "offset_a": decades(random, 0.002, 0.2) * rate,
        "drift_a": of(random, 0.0, 1.0) * decades(random, 0.001, 0.1) * rate,
        "gain_percent": decades(random, 0.02, 1.5),
        "asymmetry_percent": of(random, 0.0, 0.0, 1.0) * decades(random, 0.01, 0.5),
        "bend_a": of(random, 0.0, 1.0) * decades(random, 0.002, 0.2) * rate,
        "emf_a": of(random, 0.0, 0.0, 1.0) * decades(random, 0.002, 0.2) * rate,
        "noise_a": noise,
        "sample_s": period / averaging,
        "noise_correlation_s": of(random, 0.0, 0.0, 1.0) * period * decades(random, 0.01, 3.0),
        "flicker_a": of(random, 0.0, 0.0, 1.0) * decades(random, 0.001, 0.05) * rate,
        "averaging": averaging,
    }


def counting(random, source, capacity, coded):
    rate = capacity / 100.0
    period = source["sample_s"] * source["averaging"]
    step = decades(random, 0.005, 0.3) * rate if coded else 0.0
    zeroed = often(random, 0.2)
    if often(random, 0.35):
        # Nothing but what adds up: its cone is a matter of arithmetic alone.
        return {"period_s": period, "aperture_s": period, "clock_ppm": decades(random, 10.0, 1000.0)}
    found = {
        "period_s": period,
        "aperture_s": of(random, period, period, period, 0.0),
        "step_a": step,
        "rounding": of(random, "nearest", "nearest", "floor", "toward-zero"),
        "dead_band_a": of(random, 0.0, 0.0, 1.0) * decades(random, 0.01, 0.3) * rate,
        "clock_ppm": decades(random, 10.0, 1000.0),
        "missed_percent": of(random, 0.0, 0.0, 1.0) * decades(random, 0.3, 3.0),
        "missed_reading": of(random, "zero", "hold", "timed"),
        "longest_gap_s": of(random, 0.0, 0.0, 0.0, 1.0) * period * between(random, 1.0, 6.0),
        "zeroed_at_rest": zeroed,
    }
    if zeroed:
        found["zero_left_a"] = source["offset_a"] * between(random, 0.02, 0.3)
    return found


def used(random, capacity):
    kind = of(random, "rest", "one-way", "cycles", "cycles", "cycles")
    swing = between(random, 10.0, 80.0)
    use = {
        "kind": kind,
        "discharge_a": capacity * between(random, 0.2, 1.0),
        "charge_a": capacity * between(random, 0.2, 1.0),
        "swing_percent": swing,
        "awake_h": 24.0 if often(random, 0.5) else between(random, 4.0, 23.0),
        "standby_a": of(random, 0.0, 0.0, 1.0, -1.0) * decades(random, 1e-3, 2e-1) * capacity / 100.0,
    }
    cycle = swing * capacity / 100.0 * (1.0 / use["discharge_a"] + 1.0 / use["charge_a"])
    use["awake_h"] = max(use["awake_h"], min(24.0, 1.3 * cycle))
    use["cycles_per_day"] = min(use["awake_h"] / (1.1 * cycle), of(random, 0.4, 1.0, 1.0, 2.0, 3.5, 5.0))
    return use


def coursed(random, capacity):
    """A course of rows that ends about where it began and moves a part of the capacity."""
    count, each = int(random.integers(2, 41)), of(random, 0.5, 1.0, 1.0, 2.0)
    awake = 24.0 if often(random, 0.5) else between(random, 8.0, 23.0)
    hours = [between(random, 0.05, 1.0) for _ in range(count)]
    busy = between(random, 0.2, 1.0) * awake / each
    hours = [busy * one / sum(hours) for one in hours]
    amps = [of(random, 0.0, 1.0, 1.0, 1.0) * between(random, -1.0, 1.0) for _ in range(count)]
    # The last row brings back what the others took, but for a little.
    net = sum(one * long for one, long in zip(amps[:-1], hours[:-1], strict=True))
    amps[-1] = -net / hours[-1] * between(random, 0.9, 1.0)
    level, levels = 0.0, [0.0]
    for one, long in zip(amps, hours, strict=True):
        level += one * long
        levels.append(level)
    scale = between(random, 0.05, 0.7) * capacity / max(max(levels) - min(levels), 1e-9)
    scale = min(scale, 3.0 * capacity / max(max(abs(one) for one in amps), 1e-9))
    rows = [{"duration_s": 3600.0 * long, "current_a": one * scale} for one, long in zip(amps, hours, strict=True)]
    return {
        "kind": "profile",
        "profile": rows,
        "awake_h": awake,
        "cycles_per_day": each,
        "standby_a": of(random, 0.0, 0.0, 1.0, -1.0) * decades(random, 1e-3, 2e-1) * capacity / 100.0,
    }


def apart(random, capacity):
    rate = capacity / 100.0
    efficiency = between(random, 99.0, 100.0)
    return {
        "self_discharge_percent_per_month": between(random, 0.0, 5.0),
        "self_discharge_spread_percent": between(random, 0.0, 80.0),
        "unseen_a": of(random, 0.0, 1.0) * between(random, -0.03, 0.06) * rate,
        "unseen_spread_a": of(random, 0.0, 1.0) * decades(random, 1e-3, 2e-2) * rate,
        "efficiency_percent": efficiency,
        "assumed_efficiency_percent": of(random, 100.0, efficiency),
        "efficiency_spread_percent": of(random, 0.0, 1.0) * min(between(random, 0.0, 0.2), 100.0 - efficiency),
    }


def anchor(random):
    points = of_list(random, FLAT, STEEP, STRAIGHT)
    low = of(random, 0.0, between(random, 0.0, 50.0))
    high = of(random, 100.0, between(random, low + 5.0, 100.0))
    return {
        "curve": [{"soc_percent": float(soc), "ocv_v": volt} for soc, volt in points],
        "reads": "cell",
        "cell_error_v": decades(random, 1e-3, 1.5e-2),
        "gain_percent": of(random, 0.0, 1.0) * decades(random, 0.01, 0.3),
        "random_v": decades(random, 1e-4, 3e-3),
        "curve_error_v": of(random, 0.0, 1.0) * decades(random, 5e-4, 5e-3),
        "hysteresis_v": of(random, 0.0, 0.0, 1.0) * decades(random, 1e-3, 3e-2),
        "relax_v": decades(random, 1e-3, 3e-2),
        "relax_tau_s": decades(random, 600.0, 7200.0),
        "rest_s": decades(random, 900.0, 20000.0),
        "after": of(random, "charge", "discharge", "either"),
        "entropy_v_per_k": of(random, 0.0, 1.0) * between(random, 0.0, 3e-4),
        "temperature_error_k": between(random, 0.5, 5.0),
        "rest_current_a": of(random, 0.0, 1.0) * decades(random, 0.01, 3.0),
        "cell_resistance_ohm": decades(random, 2e-4, 5e-3),
        "place_min_percent": low,
        "place_max_percent": high,
        "weight": of(random, 1.0, between(random, 0.05, 1.0)),
        "interval_h": between(random, 6.0, 72.0),
        "count": int(random.integers(1, 60)),
    }


def of_list(random, *choices):
    return choices[int(random.integers(len(choices)))]


def health(random, capacity):
    first = between(random, 2.0, 60.0)
    return {
        "capacity": {
            "method": of(random, "two-rests", "full-and-rest", "full-and-empty"),
            "first_percent": first,
            "second_percent": between(random, first + 10.0, 98.0),
            "current_a": capacity * between(random, 0.1, 1.0),
            "full_error_percent": between(random, 0.1, 2.0),
            "empty_error_percent": between(random, 0.1, 4.0),
        },
        "resistance": {
            "step_a": capacity * between(random, 0.5, 3.0),
            "resistance_ohm": between(random, 0.5, 5.0) * 10.0 / capacity,
            "voltage_noise_v": decades(random, 0.005, 0.5),
            "voltage_gain_percent": decades(random, 0.05, 1.0),
            "current_slope_a_per_s": of(random, 0.0, 1.0) * decades(random, 10.0, 1000.0),
            "skew_s": decades(random, 1e-4, 1e-2),
            "polarisation_ohm_per_s": of(random, 0.0, 1.0) * decades(random, 1e-3, 1e-1) * 10.0 / capacity,
            "time_error_s": decades(random, 1e-3, 1e-1),
            "averaged": int(random.integers(1, 20)),
        },
        "trend": trend(random),
    }


def trend(random):
    loss = between(random, 2.0, 20.0)
    life = between(random, 5.0, 20.0)
    return {
        "loss_percent": loss,
        "claim_percent": of(random, 0.0, loss * between(random, 0.0, 0.9)),
        "years": between(random, 1.0, life),
        "life_years": life,
        "estimate_percent": between(random, 0.2, 4.0),
        "channel_drift_percent": of(random, 0.5, between(random, 0.0, 6.0)),
        "power_percent": of(random, 90.0, between(random, 60.0, 99.0)),
    }


def drawn(random, use=used):
    """A whole input; `use` draws what is done with the battery."""
    capacity = decades(random, 10.0, 500.0)
    coded = often(random, 0.35)
    source = counter(random, capacity, coded)
    case = {
        "battery": {
            "capacity_ah": capacity,
            "capacity_error_percent": of(random, 0.0, between(random, 0.0, 3.0)),
            "soh_end_percent": between(random, 70.0, 95.0),
            "capacity_learned": often(random, 0.7),
            "voltage_v": between(random, 300.0, 800.0),
            "cells_in_series": int(random.integers(80, 220)),
        },
        "usage": use(random, capacity),
        "counter": source,
        "counting": counting(random, source, capacity, coded),
        "start": {"error_percent": between(random, 0.0, 2.0), "kind": of(random, "limit", "limit", "standard")},
        "anchor": anchor(random),
        "requirement": {
            "soc_error_percent": between(random, 2.0, 12.0),
            "judged_by": of(random, "worst-case", "probability-95"),
            "percent_per_day": decades(random, 0.3, 10.0),
            "anchor_interval_days": decades(random, 0.2, 5.0),
            "anchor_percent": decades(random, 0.5, 8.0),
            "capacity_percent": decades(random, 0.5, 8.0),
            "resistance_percent": decades(random, 0.3, 5.0),
            "proven_within_years": between(random, 0.5, 10.0),
        },
    }
    case["apart"] = apart(random, capacity)
    # An anchor that replaces the count is what the next interval begins with.
    if case["anchor"]["weight"] == 1.0 and often(random, 0.4):
        case["start"] = {"kind": "from-anchor"}
    case |= health(random, capacity)
    return case
