"""A race of a part of the ranges: what fewer faults and devices allow may ask no more.

Attack     random races with ranges of everything, strings, units, a link and a fuse with its points; each range is then narrowed
           at random to a part of itself, or to one of its ends: no row may come to more than it did with the whole range
"""

import copy

import numpy

from harness import DESIGNS, check, fetch

# What a place between two of a search may miss, as a share of a row.
FINE = 0.02


def wide(dice):
    volt, ohm = float(dice.choice([60.0, 400.0, 800.0])), 10 ** dice.uniform(-1.7, -0.1)
    outside, henry = 10 ** dice.uniform(-2.5, -1.2), 10 ** dice.uniform(-5.6, -4.6)
    strongest = volt / (ohm + outside)
    threshold = strongest * dice.uniform(0.08, 0.4)
    latest = float(10 ** dice.uniform(-3.7, -2.5))
    current, melts = threshold * dice.uniform(0.6, 1.1), 10 ** dice.uniform(0.5, 2.0)
    points = []
    for _ in range(12):
        points.append({"current_a": current, "pre_arcing_s": melts, "clearing_s": melts * 1.15})
        step = dice.uniform(1.25, 1.4)
        current, melts = current * step, melts / step ** (2.0 + dice.choice([0.3, 1.5, 6.0]) / len(points))
    source = {
        "voltage_v": volt,
        "voltage_min_v": volt * dice.uniform(0.7, 0.95),
        "pack_resistance_ohm": ohm,
        "pack_resistance_max_ohm": ohm * dice.uniform(1.05, 1.6),
        "external_resistance_ohm": outside,
        "external_resistance_max_ohm": outside * dice.uniform(1.1, 6.0),
        "inductance_henry": henry,
        "inductance_max_henry": henry * dice.uniform(1.1, 3.0),
    }
    if dice.random() < 0.6:
        source["link_farad"] = float(10 ** dice.uniform(-4.0, -2.5))
    given = {
        "source": source,
        "before_a": threshold * 0.2,
        "before_min_a": -threshold * 0.15,
        "threshold_a": threshold,
        "threshold_error_percent": 4.0,
        "filter_s": float(dice.choice([0.0, 0.1 * latest])),
        "filter_tolerance_percent": 20.0,
        "stages": [{"name": "all", "longest_s": latest, "shortest_s": latest * dice.uniform(0.1, 0.95)}],
        "fuse": {
            "prearc_a2s": 0,
            "points": points,
            "current_tolerance_percent": 8.0,
            "preload_percent": dice.uniform(20.0, 90.0),
            "voltage_v": 2 * volt,
            "time_constant_s": 1.0,
            "breaking_a": 1e6,
            "never_clears_below_a": points[0]["current_a"],
        },
        "switch": {
            "breaking_a": strongest * dice.uniform(0.5, 5.0),
            "breaking_reverse_a": 1e6,
            "carry_a": 1e6,
            "carry_s": 1.0,
            "clamp_voltage_v": volt * dice.uniform(1.3, 2.0),
            "clamp_energy_j": 1e6,
        },
        "shunt_pulse_a2s": 1e12,
        "wiring": {"area_mm2": 9999},
    }
    kind = dice.integers(3)
    if kind == 1:
        given["strings"] = {"count": int(dice.integers(2, 5)), "spread_percent": float(dice.choice([0.0, 10.0]))}
    elif kind == 2:
        given["units_in_parallel"] = int(dice.integers(2, 6))
    return given


def part(dice, given):
    """The same with every range narrowed."""
    less, source = copy.deepcopy(given), given["source"]

    def narrowed(low, high):
        if dice.random() < 0.4:
            end = float(dice.choice([low, high, dice.uniform(low, high)]))
            return end, end
        return sorted(float(one) for one in dice.uniform(low, high, 2))

    for low, high in (
        ("voltage_min_v", "voltage_v"),
        ("pack_resistance_ohm", "pack_resistance_max_ohm"),
        ("external_resistance_ohm", "external_resistance_max_ohm"),
        ("inductance_henry", "inductance_max_henry"),
    ):
        less["source"][low], less["source"][high] = narrowed(source[low], source[high])
    stage = given["stages"][0]
    stage = dict(zip(("shortest_s", "longest_s"), narrowed(stage["shortest_s"], stage["longest_s"])))
    less["stages"] = [{"name": "all"} | stage]
    less["before_min_a"], less["before_a"] = given["before_min_a"] * dice.random(), given["before_a"] * dice.random()
    less["threshold_error_percent"] = given["threshold_error_percent"] * dice.random()
    less["fuse"]["preload_percent"] = dice.uniform(given["fuse"]["preload_percent"], 100.0)
    if dice.random() < 0.4:
        # One of the fuses that its tolerance allows.
        error = given["fuse"]["current_tolerance_percent"] / 100
        scale = 1 + float(dice.choice([-error, error, dice.uniform(-error, error)]))
        less["fuse"]["points"] = [one | {"current_a": one["current_a"] * scale} for one in less["fuse"]["points"]]
        less["fuse"]["current_tolerance_percent"] = 0.0
        less["fuse"]["never_clears_below_a"] *= scale
    return less


@check("/api/v1/race", "race: a part of the ranges asks no more", "set inclusion, random designs", 1e-9)
def race_parts(_, __):
    dice, compared = numpy.random.default_rng(20261129), 0
    for number in range(max(DESIGNS // 2, 12)):
        given = wide(dice)
        whole = {row["id"]: row for row in fetch("/api/v1/race", given)["requirements"]}
        for _ in range(4):
            less = part(dice, given)
            for row in fetch("/api/v1/race", less)["requirements"]:
                name, most = row["id"], whole.get(row["id"])
                # Without the row the whole range was taken to come to nothing; without a number it is not known how much it is.
                if row.get("achieved") is None or (most and (most["verdict"] == "not-judged" or most.get("achieved") is None)):
                    continue
                compared += 1
                more = row["achieved"] / most["achieved"] - 1 if most and most["achieved"] else row["achieved"]
                label = f"design {number}: {name}, {row['achieved']:.6g} of {most and most['achieved']}"
                yield label, max(more - FINE, 0.0), 0.0
    yield "rows compared", float(compared > 100), 1.0


@check("/api/v1/race", "race: the most inductance of several units", "set inclusion, two units", 1e-9)
def most_inductance(_, __):
    dice = numpy.random.default_rng(134)
    for number in range(12):
        given = wide(dice) | {"units_in_parallel": 2 + number % 3}
        given.pop("strings", None)
        source = given["source"]
        less = given | {"source": source | {"inductance_henry": source["inductance_max_henry"]}}
        energy = [
            next((row.get("achieved") or 0.0 for row in fetch("/api/v1/race", one)["requirements"] if row["id"] == "race.clamp-energy"), 0.0)
            for one in (given, less)
        ]
        yield f"design {number}: {energy[1]:.6g} of {energy[0]:.6g} J", max(energy[1] - energy[0] * (1 + FINE), 0.0), 0.0
