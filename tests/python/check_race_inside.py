"""The race of a fault inside one of several strings or units, and of one outside, against a search over random states.

Attack     random designs with fast switches, limits a few thousandths beyond what is told; for each the worst states of a model
           that is followed from event to event (race_inside_model). Faults that settle less than 5 % above a threshold are left
           out: their time, and what passes, grow without bound.
"""

import math

import numpy

from harness import DESIGNS, changed, check, fetch
from race_inside_model import METRICS, decode, genes, simulate, spans

RULES = {
    "back": "race.breaking-backwards",
    "fwd": "race.breaking",
    "clamp": "race.clamp-energy",
    "a2s": "race.shunt-pulse",
    "carry": "race.carry",
    "tau": "race.fuse-time-constant",
}
LIMITS = {
    "race.breaking-backwards": "switch.breaking_reverse_a",
    "race.breaking": "switch.breaking_a",
    "race.clamp-energy": "switch.clamp_energy_j",
    "race.carry": "switch.carry_a",
    "race.fuse-time-constant": "fuse.time_constant_s",
    "race.shunt-pulse": "shunt_pulse_a2s",
}


def design(dice):
    """A random design: request without limits. `own_inductance_henry` stands in the source where one is given."""

    def some(low, high):
        return float(dice.uniform(low, high))

    def decades(low, high):
        return float(math.exp(dice.uniform(math.log(low), math.log(high))))

    kind = dice.random()
    n = 1 if kind < 0.4 else int(dice.integers(2, 6))
    units = int(dice.integers(2, 7)) if n == 1 else 1
    if kind > 0.85:
        n, units = int(dice.integers(2, 4)), int(dice.integers(2, 4))
    volt, strongest = decades(48, 900), decades(1000, 9000)
    ohm = volt / strongest
    ext = ohm * decades(0.01, 0.4)
    pack = ohm - ext
    longest = decades(5e-6, 2e-3) if dice.random() < 0.8 else decades(5e-6, 5e-5)
    henry = ohm * longest * decades(0.1, 8)
    each = strongest / n
    before = each * some(0.01, 0.06)
    source = {"voltage_v": volt, "pack_resistance_ohm": pack, "external_resistance_ohm": ext, "inductance_henry": henry}
    if dice.random() < 0.4:
        source["voltage_min_v"] = volt * some(0.6, 0.95)
    if dice.random() < 0.5:
        source["pack_resistance_max_ohm"] = pack * some(1.1, 2.5)
    if dice.random() < 0.4:
        source["external_resistance_max_ohm"] = ext * some(1.2, 5)
    if dice.random() < 0.4:
        source["inductance_max_henry"] = henry * some(1.1, 3)
    if dice.random() < 0.5:
        # No more than the smallest loop: n strings side by side are a part of it.
        source["own_inductance_henry"] = n * henry * (1.0 if dice.random() < 0.2 else some(0.03, 0.98))
    value = {
        "source": source,
        "before_a": before if dice.random() < 0.8 else 0.0,
        "threshold_a": max(each * decades(0.05, 0.4), before * 1.3),
        "threshold_error_percent": some(0, 8) if dice.random() < 0.8 else 0.0,
        "filter_s": longest * decades(0.02, 1.0) if dice.random() < 0.5 else 0.0,
        "filter_tolerance_percent": some(0, 25),
        "stages": [{"name": "all", "longest_s": longest, "shortest_s": longest * some(0.1, 1.0)}],
        "fuse": {"prearc_a2s": 0.0},
        "switch": {
            "breaking_a": 1e7,
            "breaking_reverse_a": 1e7,
            "carry_a": 1e7,
            "carry_s": longest * decades(0.3, 30),
            "clamp_voltage_v": volt * some(1.1, 2.2),
            "clamp_energy_j": 1e9,
        },
        "shunt_pulse_a2s": 1e12,
        "strings": {"count": n, "spread_percent": some(0, 20) if n > 1 and dice.random() < 0.7 else 0.0},
        "units_in_parallel": units,
    }
    if dice.random() < 0.4:
        value["before_min_a"] = -before * some(0.2, 1.0)
    if dice.random() < 0.25:
        melts = (each * units) ** 2 * longest * decades(1, 30)
        value["fuse"] = {
            "prearc_a2s": melts,
            "tolerance_percent": some(0, 15),
            "clearing_a2s": 3 * melts,
            "adiabatic_from_a": 0.001 + before * 0.01,
            "voltage_v": volt * 1.3,
            "time_constant_s": 10.0,
            "breaking_a": 1e7,
        }
    return value


def attack(given, dice, inside, population=160, generations=3):
    """The largest of each quantity with its state."""
    M = spans(given)["M"]
    found = {name: (0.0, None) for name in METRICS}
    g = genes(dice, population, M)
    for generation in range(generations + 1):
        c = decode(given, g, inside)
        values = simulate(given, c)
        if inside:
            settled = c["drive"] / (1 / (1 / c["R"]).sum(axis=1) + c["r"])
            each = settled[:, None] / c["R"] / (1 / c["R"]).sum(axis=1, keepdims=True)
            ratio = numpy.concatenate([settled[:, None], each], axis=1) / c["thr"]
            near = ((ratio > 1 - 1e-9) & (ratio < 1.05)).any(axis=1)
            for name in METRICS:
                values[name] = numpy.where(near, 0.0, values[name])
            # How much passes is judged at the voltages of the source.
            for name in ("a2s", "carry"):
                values[name] = numpy.where(c["drive"] < spans(given)["volt"][0], 0.0, values[name])
        parents = []
        for name in METRICS:
            order = numpy.argsort(-values[name])[:3]
            if values[name][order[0]] > found[name][0]:
                found[name] = (float(values[name][order[0]]), g[order[0]].copy())
            parents += [g[k] for k in order[:2]] + [found[name][1] if found[name][1] is not None else g[order[0]]]
        parents = numpy.array(parents)
        pick = parents[dice.integers(0, len(parents), population)]
        size = 0.5 if generation == 0 else 0.15
        moved = dice.random(pick.shape) < dice.choice([0.03, 0.1, 0.3], (population, 1))
        how = dice.random(pick.shape)
        other = numpy.where(how < 0.4, dice.integers(0, 2, pick.shape), numpy.where(how < 0.7, pick + size * dice.normal(0, 0.5, pick.shape), dice.random(pick.shape)))
        g = numpy.clip(numpy.where(moved, other, pick), 0.0, 1.0)
    return found


def inside_time_constant(given):
    """The longest L/R of the loop of an inside fault: all of the own inductance, none of the own resistance."""
    d = spans(given)
    n, M, s = d["n"], d["M"], given["strings"]["spread_percent"] / 100
    Ls = d["own"] or n * d["henry"][1]
    pack = d["pack"][0]
    conduct = (d["N"] - 1) / pack  # other units as a whole
    if n > 1:
        shape = numpy.array([1 + s] + [1 - s] * (n - 1))
        R = shape * pack * (1 / shape).sum()
        conduct += (1 / R[1:]).sum()
    return (Ls / (M - 1) + Ls) * conduct


@check("/api/v1/race", "race: a fault inside one of several", "every string followed from event to event", 1e-9)
def race_inside(_, __):
    closest = {}
    for number in range(max(DESIGNS // 4, 6)):
        dice = numpy.random.default_rng([20261130, number])
        given = design(dice)
        rows = fetch("/api/v1/race", given)["requirements"]
        most = {row["id"]: row["achieved"] for row in rows if row.get("achieved")}
        limits = {LIMITS[rule]: most[rule] * float(dice.uniform(1.002, 1.006)) for rule in LIMITS if rule in most}
        given = changed(given, limits)
        judged = {row["id"]: row for row in fetch("/api/v1/race", given)["requirements"]}
        for inside in (True, False):
            found = {name: own for name, (own, _) in attack(given, dice, inside).items()}
            if inside and given["fuse"]["prearc_a2s"]:
                found["tau"] = inside_time_constant(given)
            for name, own in found.items():
                row = judged.get(RULES[name])
                if row and row["verdict"] in ("holds", "thin"):
                    closest[name] = max(closest.get(name, 0.0), own / row["achieved"])
                    label = f"design {number}: {RULES[name]}, {'inside' if inside else 'outside'}"
                    yield label, max(own / row["required"] - 1.0, 0.0), 0.0, 1e-3
    for name in METRICS:
        yield f"a state comes close to {RULES[name]}", float(closest.get(name, 0.0) > 0.5), 1.0
