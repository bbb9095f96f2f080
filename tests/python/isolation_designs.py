"""Random barriers and buses whose figures lie around what they need, so that verdicts of all kinds come."""

import math

import numpy

import isolation_tables as tables

# What a volt of the highest working voltage asks for, by the case that applies.
RATES = {"dc-separate": 100.0, "ac": 500.0, "combined": 500.0, "combined-ac-protected": 100.0}


def of(random, *choices):
    return random.choice(choices).item()


def between(random, low, high):
    return float(random.uniform(low, high))


def decades(random, low, high):
    return float(10.0 ** random.uniform(math.log10(low), math.log10(high)))


def drawn(random):
    """A barrier, its supply and a bus between 48 and 1500 V whose figures lie around what they need."""
    pack = between(random, 48.0, 1500.0)
    working = pack * of(random, 1.0, 1.0, 1.0, 1.02, 0.5)
    peak = max(working, pack) * between(random, 1.0, 1.3)
    rated = of(random, 800.0, 1500.0, 2500.0, 4000.0, 6000.0, between(random, 500.0, 6000.0))
    kind = of(random, "functional", "basic", "supplementary", "reinforced", "reinforced")
    pollution = int(of(random, 1, 2, 2, 3))
    barrier = {
        "pack_v": pack,
        "working_v": working,
        "recurring_peak_v": peak,
        "impulse_by": of(random, "category", "stated"),
        "system_v": of(random, 50.0, 120.0, 230.0, 300.0, 400.0, 690.0, 1000.0),
        "overvoltage_category": of(random, "i", "ii", "iii", "iv"),
        "rated_impulse_v": rated,
        "insulation": kind,
        "lv_side_bonded": bool(random.random() < 0.5),
        "altitude_m": between(random, -300.0, 5000.0) if random.random() < 0.9 else between(random, 5000.0, 12000.0),
        "pollution_degree": pollution,
        "coating_tested": bool(random.random() < 0.2),
        "between_rows": of(random, "linear", "linear", "next-row"),
        "altitude_between_rows": of(random, "linear", "next-row"),
    }
    barrier["temporary_overvoltage_v"] = peak * (between(random, 1.0, 1.6) if random.random() < 0.3 else 1.0)
    crossings = []
    for number in range(int(random.integers(1, 4))):
        crossing = {
            "name": f"Crossing {number + 1}",
            "printed_wiring": bool(random.random() < 0.3 and max(working, pack) <= 1000.0),
        }
        materials = ["group-i", "group-ii", "group-iiia"]
        if not (pollution == 3 and max(working, pack) > 630.0) and not crossing["printed_wiring"]:
            materials.append("group-iiib")
        if random.random() < 0.5:
            crossing["material_group"] = of(random, *materials)
        else:
            crossing["cti_v"] = of(random, 600.0, 599.0, 400.0, 399.0, 380.0, 175.0)
        if random.random() < 0.3:
            crossing |= {"rib_width_mm": between(random, 0.5, 6.0), "rib_height_mm": between(random, 0.5, 8.0)}
        need = tables.creepage(barrier | {"working_v": max(working, pack)}, crossing)["required_mm"]
        air = tables.clearance(barrier)["required_mm"]
        crossing["clearance_mm"] = air * between(random, 0.8, 1.5)
        crossing["creepage_mm"] = max(need * between(random, 0.8, 1.5), crossing["clearance_mm"])
        crossings.append(crossing)
    case = {"barrier": barrier, "crossings": crossings}
    for draw in (isolator, coupling, data, fed, insulated):
        case |= draw(random, barrier)
    # Each field apart: what the example holds besides stays.
    return {
        name if not isinstance(value, dict) else f"{name}.{field}": one
        for name, value in case.items()
        for field, one in (value.items() if isinstance(value, dict) else [(None, value)])
    }


def isolator(random, barrier):
    needed, peak = barrier["working_v"], barrier["recurring_peak_v"]
    kind = of(random, "minimum", "minimum", "typical")
    working, rated = needed * between(random, 0.9, 1.6), peak * between(random, 0.9, 1.6)
    return {
        "isolator": {
            # No part has them the other way round.
            "working_dc_v": min(working, rated),
            "recurring_peak_v": rated,
            "impulse_v": min(30e3, max(330.0, tables.impulse_v(barrier) * between(random, 0.8, 1.6))),
            "temporary_v": max(rated, peak * between(random, 1.0, 3.0)),
            "pd_test_v": peak * between(random, 1.2, 2.4),
            "pd_charge_coulomb": of(random, 5e-12, 3e-12, 6e-12),
            "life_years": between(random, 10.0, 40.0),
            "life_v": needed * between(random, 0.9, 1.6),
            "required_life_years": between(random, 8.0, 25.0),
            "immunity_v_per_s": decades(random, 1e10, 2e11),
            "immunity_is": kind,
        }
    }


def coupling(random, barrier):
    return {
        "common_mode": {
            "node_slew_v_per_s": decades(random, 1e9, 1e11),
            "node_step_v": barrier["pack_v"],
            "edge_rate_hz": between(random, 5e3, 1e5),
            "couplings": [
                {
                    "name": "Data",
                    "capacitance_farad": between(random, 0.5e-12, 3e-12),
                    "count": int(random.integers(1, 5)),
                },
                {"name": "Supply", "capacitance_farad": between(random, 5e-12, 30e-12), "count": 1},
            ],
            "injected_share_percent": between(random, 5.0, 100.0),
            "shared_resistance_ohm": decades(random, 2e-3, 1.0),
            "shared_inductance_henry": decades(random, 1e-9, 2e-8),
            "current_rise_s": decades(random, 1e-9, 1e-8),
            "cancellation_percent": of(random, 0.0, 0.0, 50.0),
            "channel_filter_s": decades(random, 1e-7, 1e-3),
        }
    }


def data(random, _):
    bits, rate = int(random.integers(16, 256)), between(random, 500.0, 10e3)
    clock = between(random, 1e6, 2e7)
    return {
        "data": {
            "frame_bits": bits,
            "frame_rate_hz": rate,
            "overhead_percent": between(random, 0.0, 50.0),
            "rate_bit_per_s": bits * rate * between(random, 1.0, 5.0),
            "utilisation_limit_percent": 70.0,
            "clock_hz": clock,
            "clock_returned": bool(random.random() < 0.5),
            "delay_max_s": between(random, 5e-9, 6e-8),
            "skew_s": between(random, 1e-9, 2e-8),
            "valid_s": between(random, 5e-9, 3e-8),
            "setup_s": between(random, 2e-9, 2e-8),
            "lost_frames": int(random.integers(0, 4)),
        }
    }


def fed(random, _):
    loads = [
        {"name": f"Load {number}", "voltage_v": of(random, 3.3, 5.0), "current_a": between(random, 1e-3, 4e-2)}
        for number in range(int(random.integers(1, 5)))
    ]
    output = sum(load["voltage_v"] * load["current_a"] for load in loads)
    watts = numpy.sort(random.uniform(0.3, 2.5, int(random.integers(1, 5)))) * output
    # A loss that rises with the output, as losses do.
    losses = numpy.cumsum(random.uniform(0.01, 0.2, len(watts))) * output
    current = sum(load["current_a"] for load in loads)
    from_degc = between(random, 70.0, 95.0)
    return {
        "supply": {
            "loads": loads,
            "efficiency_points": [
                {"output_w": float(w), "efficiency_percent": float(100.0 * w / (w + loss))}
                for w, loss in zip(watts, losses)
            ],
            "rated_w": output * between(random, 0.9, 4.0),
            "derate_from_degc": from_degc,
            "zero_power_degc": from_degc + between(random, 20.0, 50.0),
            "ambient_degc": between(random, 60.0, 110.0),
            "thermal_resistance_k_per_w": between(random, 40.0, 150.0),
            "junction_limit_degc": 125.0,
            "start_factor": between(random, 1.0, 2.0),
            "current_limit_a": current * between(random, 1.0, 4.0),
            "output_farad": decades(random, 1e-6, 1e-4),
            "start_allowed_s": decades(random, 1e-3, 2e-2),
            "ripple_pp_v": between(random, 5e-3, 0.1),
            "rejection_at_ripple_db": between(random, 30.0, 80.0),
            "regulation_v": between(random, 0.0, 0.2),
            "rejection_dc_db": between(random, 50.0, 100.0),
            "offset_allowed_v": decades(random, 1e-5, 1e-3),
        }
    }


def insulated(random, barrier):
    pack, units = barrier["pack_v"], int(of(random, 1, 1, 2, 4, 8))
    kind = of(random, *RATES, "stated")
    rate = between(random, 50.0, 1000.0) if kind == "stated" else RATES[kind]
    required = rate * pack
    places = (0.0, 100.0, 100.0, 50.0, between(random, 0.0, 100.0))

    def paths(count, share):
        return [
            {
                "name": f"Path {number + 1}",
                "resistance_ohm": required * decades(random, 1.5, 12.0) / share * count,
                "position_percent": of(random, *places),
                "count": int(of(random, 1, 1, 2)),
                "kind": of(random, "insulation", "string"),
            }
            for number in range(count)
        ]

    unit = paths(int(random.integers(2, 5)), 1.0 / units)
    shared = paths(int(random.integers(0, 3)), 0.3)
    everything = [(one, units) for one in unit] + [(one, 1) for one in shared]
    seen = 1.0 / sum(times * one["count"] / one["resistance_ohm"] for one, times in everything)
    capacitance = decades(random, 0.2, 2.0) * 0.4 / pack**2 / units / 2.0
    bus = {
        "earthing": of(random, *["floating"] * 8, "negative-earthed", "positive-earthed"),
        "units_in_parallel": units,
        "unit_paths": unit,
        "shared_paths": shared,
        "bus_case": kind,
    }
    if kind == "stated":
        bus["ohm_per_v"] = rate
    if random.random() < 0.3:
        bus[of(random, "strings_positive_ohm", "strings_negative_ohm")] = 8.0 * required * units * decades(random, 1.0, 10.0)
    return {
        "bus": bus,
        "y": {
            "unit_positive_farad": capacitance,
            "unit_negative_farad": capacitance * of(random, 1.0, 1.0, between(random, 0.4, 2.5)),
            "tolerance_percent": of(random, 0.0, 10.0, 20.0),
            "energy_limit_j": 0.2,
            "pole_bleeder_ohm": 20.0 * required,
            "bleeder_tolerance_percent": of(random, 0.0, 1.0, 5.0, 20.0),
            "discharge_allowed_s": 20.0 * required * capacitance * units * between(random, 0.5, 4.0),
            "touch_v": 60.0,
        },
        "touch": {"body_ohm": of(random, 500.0, 1000.0, 2000.0), "limit_a": 2e-3},
        "monitor": {
            "kind": of(random, "active", "switched", "balance"),
            "alarm_ohm": decades(random, min(required, seen) * 0.9, max(required, seen) * 1.1),
            "error_percent": of(random, 5.0, 15.0),
            "settle_tau": 5.0,
            "internal_ohm": max(30.0 * pack, 15e3) * between(random, 1.0, 20.0),
            "response_allowed_s": decades(random, 1e-2, 30.0),
        },
    }
