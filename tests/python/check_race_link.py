"""The link capacitor into a short on the pack's side, alone and together with other strings, and units that share a short.

Circuit    link C at the voltage V, others V behind R_o, both into the short R through one closed switch; the inductance of the
           path all in common, or one for the link and one for the others, or one for the link alone
Attack     random designs: random shorts and inductances of their ranges, random filters; no current at an opening between
           the earliest and the latest may pass what the server tells
Units      each its own resistance, threshold and reaction, the inductance their own or in common; a switch that opens puts its
           clamp against the current until that is over; no opening, let-through or clamp may pass what the server tells
"""

import math

import numpy
import scipy.linalg

from harness import DESIGNS, check, fetch


# Where the inductance lies.
COMMON, EACH, LINK = "common", "each", "link"


def course(volt, farad, ohm, henry, others_ohm, lies, until, points=4000, times=1.0):
    """Times and currents of the short: a linear circuit, so each of its modes decays or swings by itself. What each has of its
    own is so many times as much for the others."""
    if lies == LINK and math.isfinite(others_ohm):
        # The others follow at once: i_o = (V - R i_l)/(R_o + R).
        share = ohm / (others_ohm + ohm)
        slopes = [[-ohm * (1 - share) / henry, 1 / henry], [-1 / farad, 0.0]]
        driven, begun = [-share * volt / henry, 0.0], [0.0, volt]
        times, current = moved(slopes, driven, begun, until, points)
        return times, current + (volt - ohm * current) / (others_ohm + ohm)
    if lies == COMMON:
        # The current of all of them, and the voltage of the link, which the others feed.
        slopes = [[-ohm / henry, 1 / henry], [-1 / farad, -1 / (farad * others_ohm)]]
        driven = [0.0, volt / (farad * others_ohm)]
        begun = [0.0, volt]
    elif math.isinf(others_ohm):
        slopes, driven, begun = [[-ohm / henry, 1 / henry], [-1 / farad, 0.0]], [0.0, 0.0], [0.0, volt]
    else:
        # The current of the link and of the others, each behind its own inductance, and the voltage of the link.
        theirs = times * henry
        slopes = [[-ohm / henry, -ohm / henry, 1 / henry], [-ohm / theirs, -(ohm + others_ohm) / theirs, 0.0], [-1 / farad, 0.0, 0.0]]
        driven, begun = [0.0, volt / theirs, 0.0], [0.0, 0.0, volt]
    return moved(slopes, driven, begun, until, points)


def moved(slopes, driven, begun, until, points):
    """Times and the sum of the currents, which stand before the voltage of the link."""
    times = numpy.concatenate([[0.0], numpy.geomspace(until * 1e-5, until, points)])
    settled = numpy.linalg.solve(slopes, numpy.negative(driven))
    rates, modes = numpy.linalg.eig(numpy.array(slopes))
    shares = numpy.linalg.solve(modes, begun - settled)
    found = settled[:, None] + (modes * shares) @ numpy.exp(rates[:, None] * times)
    assert numpy.abs(found.imag).max() <= 1e-6 * numpy.abs(found.real).max()
    return times, found.real[:-1].sum(axis=0)


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


@check("/api/v1/race", "race: link and others into one fault", "modes of the linear circuit, random designs", 1e-9)
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
        alone = numpy.abs(course(volt, farad, ohm, henry, math.inf, LINK, until)[1]).max()
        yield f"{label}: peak of the link, relative", link["peak_a"] / alone, 1.0, 1e-4
        if count > 1:
            # No switch opens before.
            ends = given["stages"][0]["longest_s"]
            for lies in (COMMON, EACH, LINK):
                times = float(dice.choice([1.0, count / (count - 1)]))
                peak = numpy.abs(course(volt, farad, ohm, henry, others_ohm, lies, ends, times=times)[1]).max()
                yield f"{label}: peak with the others", max(peak / link["with_others_a"] - 1, 0.0), 0.0, 1e-3
        row = next((row for row in answer["requirements"] if row["id"] == "race.breaking-backwards"), None)
        for _ in range(4):
            ohm = dice.uniform(ohm, source.get("external_resistance_max_ohm", ohm))
            henry = dice.uniform(henry, source.get("inductance_max_henry", henry))
            for lies in (COMMON, EACH, LINK) if count > 1 else (LINK,):
                met = opened(given, *course(volt, farad, ohm, henry, others_ohm, lies, until))
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


def units(dice, given):
    """Units on one bus step by step: the current of each when its switch opens against the clamp, what passed through each until
    its current was over, and the energy of each clamp."""
    source, count, clamp_v = given["source"], given["units_in_parallel"], given["switch"]["clamp_voltage_v"]
    least, most = source["pack_resistance_ohm"], source.get("pack_resistance_max_ohm", source["pack_resistance_ohm"])
    own = dice.choice([least, most, dice.uniform(least, most)], count)
    outside = dice.uniform(source["external_resistance_ohm"], source["external_resistance_max_ohm"])
    volt, henry, common = source["voltage_v"], source["inductance_henry"], dice.choice([0.0, 0.5, 0.97])
    error, stage = given["threshold_error_percent"] / 100, given["stages"][0]
    levels = given["threshold_a"] * (1 + error * dice.uniform(-1, 1, count))
    waits = dice.choice([stage["shortest_s"], stage["longest_s"], dice.uniform(stage["shortest_s"], stage["longest_s"])], count)
    # Often one alone is late.
    if dice.random() < 0.5:
        waits[:], waits[0], levels[0] = stage["shortest_s"], stage["longest_s"], given["threshold_a"] * (1 + error)
    current, opens = numpy.full(count, given["before_a"] * float(dice.integers(0, 2))), numpy.full(count, math.inf)
    passed, energy, carrying, opened = numpy.zeros(count), numpy.zeros(count), numpy.ones(count, bool), numpy.zeros(count, bool)
    time, found, width = 0.0, numpy.full(count, math.nan), (stage["longest_s"] + 6 * count * henry / own.min()) / 6000
    settled, step = None, None
    while carrying.any() and time < 40 * stage["longest_s"] + 60 * count * henry / own.min():
        if step is None:
            inductance = numpy.diag(numpy.full(carrying.sum(), (1 - common) * henry)) + common * henry
            matrix = numpy.diag(own[carrying]) + outside
            settled = numpy.linalg.solve(matrix, volt - clamp_v * opened[carrying])
            step = scipy.linalg.expm(-numpy.linalg.solve(inductance, matrix) * width)
        last = current[carrying]
        current[carrying] = settled + step @ (last - settled)
        now = numpy.maximum(current[carrying], 0.0)
        passed[carrying] += width * (last**2 + last * now + now**2) / 3
        energy[carrying] += numpy.where(opened[carrying], clamp_v * width * (last + now) / 2, 0.0)
        time += width
        seen = carrying & (current >= levels) & numpy.isinf(opens)
        opens[seen] = time + waits[seen]
        opening = carrying & ~opened & (time >= opens)
        over = opened & carrying & (current <= 0)
        found[opening] = current[opening]
        if opening.any() or over.any():
            opened |= opening
            carrying &= ~over
            current[~carrying], step = 0.0, None
    return found, passed, energy, not carrying.any()


@check("/api/v1/race", "race: units on one bus, step by step", "scipy expm, random units", 1e-9)
def race_units(_, __):
    dice, closest, held = numpy.random.default_rng(20261129), 0.0, 0
    for number in range(max(DESIGNS // 2, 10)):
        volt, ohm = float(dice.uniform(300, 900)), float(10 ** dice.uniform(-1.5, -0.5))
        latest, outside = float(10 ** dice.uniform(-4, -2.5)), float(ohm * dice.uniform(0.05, 0.4))
        count = int(dice.integers(2, 6))
        weakest = volt / (ohm * 1.3 + outside * 1.5 * (1 + 1.3 * (count - 1)))
        given = {
            "source": {
                "voltage_v": volt,
                "pack_resistance_ohm": ohm,
                "pack_resistance_max_ohm": ohm * float(dice.uniform(1.0, 1.3)),
                "external_resistance_ohm": outside,
                "external_resistance_max_ohm": outside * float(dice.uniform(1.0, 1.5)),
                "inductance_henry": float(10 ** dice.uniform(-5.5, -4.5)),
            },
            "units_in_parallel": count,
            "before_a": 0.1 * weakest,
            "threshold_a": 0.6 * weakest,
            "threshold_error_percent": 5.0,
            "filter_s": 0.0,
            "stages": [{"name": "all", "longest_s": latest, "shortest_s": latest * float(dice.uniform(0.05, 1))}],
            "fuse": {"prearc_a2s": 0.0},
            "switch": {
                "breaking_a": 1e6,
                "breaking_reverse_a": 1e6,
                "carry_a": 1e6,
                "carry_s": 0.01,
                "clamp_voltage_v": volt * float(dice.uniform(1.2, 2.0)),
                "clamp_energy_j": 1e8,
            },
            "shunt_pulse_a2s": 1e12,
        }
        answer = fetch("/api/v1/race", given)
        rows = {row["id"]: row for row in answer["requirements"]}
        for _ in range(8):
            found, passed, energy, ended = units(dice, given)
            label = f"{count} units, design {number}"
            if rows["race.opens"]["verdict"] == "holds":
                held += 1
                yield f"{label}: all open", float(ended), 1.0
            if rows["race.breaking"]["verdict"] in ("holds", "thin"):
                ratio = numpy.nanmax(found) / rows["race.breaking"]["achieved"]
                closest = max(closest, ratio)
                yield f"{label}: opens", max(ratio - 1, 0.0), 0.0, 3e-3
            for name, reached in (("race.shunt-pulse", passed.max()), ("race.clamp-energy", energy.max())):
                if rows[name]["verdict"] in ("holds", "thin"):
                    yield f"{label}: {name}", max(reached / rows[name]["achieved"] - 1, 0.0), 0.0, 1e-2
    yield "races that are judged", float(held >= 20), 1.0
    yield "a unit comes close to what it must break", float(closest > 0.8), 1.0
