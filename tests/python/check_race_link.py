"""The link capacitor into a short on the pack's side, alone and together with other strings, as differential equations.

Circuit    link C at the voltage V, others V behind R_o, both into the short R through one closed switch; the inductance of the
           path all in common, or one for the link and one for the others
Attack     random designs: random shorts and inductances of their ranges, random filters; no current at an opening that is
           not before the earliest may pass what the server tells
"""

import math

import numpy
import scipy.integrate

from harness import DESIGNS, check, fetch

TIGHT = {"rtol": 1e-9, "atol": 1e-9, "method": "Radau"}


def course(volt, farad, ohm, henry, others_ohm, common, until, points=4000):
    """Times and currents of the short."""

    def slope(_, state):
        link, others, left = state
        short = ohm * (link + others)
        if common:
            return [(left - short) / henry, 0.0, ((volt - left) / others_ohm - link) / farad]
        fed = 0.0 if math.isinf(others_ohm) else (volt - others_ohm * others - short) / henry
        return [(left - short) / henry, fed, -link / farad]

    times = numpy.concatenate([[0.0], numpy.geomspace(until * 1e-5, until, points)])
    found = scipy.integrate.solve_ivp(slope, (0.0, until), [0.0, 0.0, volt], t_eval=times, **TIGHT)
    assert found.success
    return times, found.y[0] + found.y[1]


def opened(given, times, current):
    """The largest current from the earliest opening to the latest: the threshold reached behind the filter, and the reaction."""
    low, high = (given["threshold_a"] * (1 + sign * given["threshold_error_percent"] / 100) for sign in (-1, 1))
    filter_s = given["filter_s"] * (1 - given["filter_tolerance_percent"] / 100)
    seen, filtered = numpy.abs(current), numpy.zeros_like(current)
    if filter_s > 0:
        for place in range(1, len(times)):
            share = -math.expm1(-(times[place] - times[place - 1]) / filter_s)
            filtered[place] = filtered[place - 1] + share * (current[place] - filtered[place - 1])
        seen = numpy.abs(filtered)
    reached = numpy.flatnonzero(seen >= low)
    if not reached.size:
        return None
    earliest = times[reached[0]] + given["stages"][0]["shortest_s"]
    surely = numpy.flatnonzero(seen >= high)
    latest = times[surely[0]] + given["stages"][0]["longest_s"] if surely.size else math.inf
    later = numpy.abs(current[(times >= earliest) & (times <= latest)])
    return float(later.max()) if later.size else None


def design(dice):
    henry, ohm = 10 ** dice.uniform(-6, -4.5), 10 ** dice.uniform(-2.5, -0.7)
    latest = float(10 ** dice.uniform(-4.5, -2.5))
    count = int(dice.choice([1, 1, 2, 4]))
    source = {
        "voltage_v": float(dice.uniform(50, 1000)),
        "pack_resistance_ohm": float(10 ** dice.uniform(-2, -0.7)),
        "external_resistance_ohm": float(ohm),
        "inductance_henry": float(henry),
        "link_farad": float(10 ** dice.uniform(-4, -2)),
    }
    if dice.random() < 0.5:
        source["external_resistance_max_ohm"] = float(ohm * dice.uniform(1.2, 8))
    if dice.random() < 0.5:
        source["inductance_max_henry"] = float(henry * dice.uniform(1.2, 6))
    return {
        "source": source,
        "strings": {"count": count},
        "threshold_a": float(dice.uniform(100, 1500)),
        "threshold_error_percent": 5.0,
        "filter_s": float(dice.choice([0.0, latest * 0.5])),
        "filter_tolerance_percent": 20.0,
        "before_a": 0.0,
        "stages": [{"name": "all", "longest_s": latest, "shortest_s": latest * float(dice.uniform(0.05, 1))}],
        "fuse": {"prearc_a2s": 0.0},
        "switch": {"breaking_a": 1e5, "breaking_reverse_a": 1e5, "carry_a": 1e5, "carry_s": 0.01, "clamp_voltage_v": 5e3},
    }


@check("/api/v1/race", "race: link and others into one fault", "scipy Radau, random designs", 1e-9)
def race_link(_, __):
    dice, closest, judged = numpy.random.default_rng(20261128), 0.0, 0
    for number in range(max(DESIGNS // 2, 12)):
        given = design(dice)
        source, count = given["source"], given["strings"]["count"]
        answer = fetch("/api/v1/race", given)
        link = answer["result"]["link"]
        others_ohm = math.inf if count == 1 else source["pack_resistance_ohm"] * count / (count - 1)
        volt, farad, label = source["voltage_v"], source["link_farad"], f"design {number}"
        ohm, henry = source["external_resistance_ohm"], source["inductance_henry"]
        settled = 30 * (farad * (ohm + min(others_ohm, 1.0)) + math.sqrt(farad * henry) + henry / ohm)
        until = max(settled, 3 * given["stages"][0]["longest_s"])
        alone = numpy.abs(course(volt, farad, ohm, henry, math.inf, False, until)[1]).max()
        yield f"{label}: peak of the link, relative", link["peak_a"] / alone, 1.0, 1e-4
        if count > 1:
            # No switch opens before.
            ends = given["stages"][0]["longest_s"]
            for common in (True, False):
                peak = numpy.abs(course(volt, farad, ohm, henry, others_ohm, common, ends)[1]).max()
                yield f"{label}: peak with the others", max(peak / link["with_others_a"] - 1, 0.0), 0.0, 1e-3
        row = next((row for row in answer["requirements"] if row["id"] == "race.breaking-backwards"), None)
        for _ in range(4):
            ohm = dice.uniform(ohm, source.get("external_resistance_max_ohm", ohm))
            henry = dice.uniform(henry, source.get("inductance_max_henry", henry))
            for common in (True, False) if count > 1 else (False,):
                met = opened(given, *course(volt, farad, ohm, henry, others_ohm, common, until))
                if met is None:
                    continue
                # Without a row it is nothing against the peak.
                most = row["achieved"] if row else 1e-3 * link["peak_a"]
                if row:
                    closest, judged = max(closest, met / most), judged + 1
                yield f"{label}: at an opening", max(met / most - 1, 0.0), 0.0, 5e-3
            ohm, henry = source["external_resistance_ohm"], source["inductance_henry"]
    yield "openings that are judged", float(judged >= 10), 1.0
    yield "an opening comes close", float(closest > 0.95), 1.0
