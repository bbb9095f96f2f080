"""Pre-charge, discharge, weld test, ripple and balancing: random designs, every state tried, a "holds" must never be false.

Each campaign draws realistic designs, asks for the verdicts, and tries states by brute force: pack voltages, tolerances,
errors of readings, phases, patterns. A "holds" or "thin" that some state breaks is a fault, and so is a "fails" that no
state comes within two percent of. DESIGNS says how many designs of each kind (25 unless given).
"""

import itertools
import math
import os

import numpy

from check_precharge_heat import begins
from harness import changed, check, examples, fetch

DESIGNS = int(os.environ.get("DESIGNS", "25"))
STAND = ("holds", "thin")


def campaign(path, title, draw):
    """Registers a campaign: `draw` makes a case from random numbers, the function gives {requirement: share used}."""

    def register(function):
        @check(path, f"{title}, {DESIGNS} designs", "brute force over states", 1.0)
        def run(given, result):
            start = examples()[path]
            for number in range(DESIGNS):
                rng = numpy.random.default_rng([20261126, number])
                case = draw(rng)
                answer = fetch(path, changed(start, case))
                verdicts = {row["id"]: row["verdict"] for row in answer["requirements"]}
                for name, used in function(answer["input"], answer["result"], rng).items():
                    verdict = verdicts.get(name)
                    if verdict is None or verdict == "not-judged":
                        continue
                    label = f"design {number}: {name} {verdict}, {used:.5f} of the limit by brute force; {case}"
                    wrong = used > 1.0 + 1e-3 if verdict in STAND else used < 0.98
                    yield label, float(wrong), 0.0, 0.5

        return run

    return register


# --- Pre-charge ----------------------------------------------------------------------------------------------------


def any_precharge(rng):
    pack = rng.choice([60.0, 400.0, 800.0]) * rng.uniform(0.8, 1.1)
    low = pack * rng.uniform(0.6, 0.95)
    farad = 10 ** rng.uniform(-3.5, -2.5)
    ohm = pack / rng.uniform(4.0, 15.0)
    case = {
        "pack_v": pack,
        "pack_min_v": low,
        "capacitance_farad": farad,
        "resistance_ohm": ohm,
        "target_percent": rng.uniform(88.0, 98.0),
        "max_time_s": ohm * farad * rng.uniform(2.0, 9.0),
        "link_error_v": pack * rng.choice([0.0, rng.uniform(0.0, 0.015)]),
        "pack_error_v": pack * rng.choice([0.0, rng.uniform(0.0, 0.015)]),
        "resistor.tolerance_percent": rng.choice([0.0, 5.0, 10.0]),
        "resistor.retries": int(rng.integers(0, 4)),
        "resistor.repeat_s": max(2.0, 10 * ohm * farad) * rng.uniform(1.0, 10.0),
        "resistor.cool_down_s": rng.choice([0.0, 60.0, rng.uniform(0.5, 20.0)]),
        "path.contactor_inrush_a2s": farad * (0.05 * pack) ** 2 / 2 / 0.2482 * rng.uniform(0.5, 6.0),
        "load.kind": str(rng.choice(["none", "resistive", "constant-current", "constant-power"])),
        "load.resistance_ohm": ohm * 10 ** rng.uniform(1.2, 3.0),
        "load.current_a": pack / ohm * rng.uniform(0.005, 0.08),
        "load.power_w": pack**2 / ohm * rng.uniform(0.003, 0.06),
        "load.enable_v": rng.choice([0.3, 0.6, 0.93]) * pack,
    }
    if rng.random() < 0.4:
        case["closing_difference_v"] = pack * rng.uniform(0.015, 0.08)
    if rng.random() < 0.25:
        case["start_v"] = pack * rng.uniform(0.1, 1.02)
        case["waits_above"] = bool(rng.random() < 0.5)
    # A body whose two ratings mean one rise, told or hidden.
    heat, rise = 0.5 * farad * pack**2 / rng.uniform(5.0, 60.0), rng.uniform(80.0, 200.0)
    tau = min(case["resistor.repeat_s"] * rng.uniform(0.5, 10.0), 5e3 * heat)
    case |= {"resistor.pulse_j": heat * rise, "resistor.power_w": rise / (tau / heat), "resistor.ambient_degc": 60.0}
    if rng.random() < 0.6:
        case |= {"resistor.heat_j_per_k": heat, "resistor.k_per_w": tau / heat, "resistor.limit_degc": 60.0 + rise}
    return case


def charged(given, rng, start_v):
    """The states as arrays, and the course of each until it closes or the time is up: time, difference, energy, power."""
    low, high = given["pack_min_v"], given["pack_v"]
    part = given["resistor"]["tolerance_percent"] / 100
    wake = given["load"]["enable_v"] if given["load"]["kind"].startswith("constant") else 0.0
    closes = [(wake / (given["target_percent"] / 100)) + shift for shift in (0.0, 0.3, 1.0, 3.0)]
    packs = [low, high, *numpy.linspace(low, high, 25), *(v for v in closes if low < v < high)]
    packs += list(rng.uniform(low, high, 10))
    signs = [(-1, 1), (1, -1), (-1, -1), (1, 1)]
    states = [
        (v, 1 + t * part, *pair) for v, t, pair in itertools.product(packs, (-1, 1) if part else (0,), signs)
    ]
    states += [(v, 1 + rng.uniform(-part, part), rng.uniform(-1, 1), rng.uniform(-1, 1)) for v in packs]
    # A load may just begin to hold the link inside the tolerance.
    states += [(v, 1 + t * part, -1, 1) for v in (low, high, 0.5 * (low + high)) for t in numpy.linspace(-1, 1, 41) if part]
    pack, factor, link_sign, pack_sign = numpy.array(states).T
    ohm, farad = given["resistance_ohm"] * factor, given["capacitance_farad"]
    reads_link = link_sign * given["link_error_v"]
    reads_pack = pack + pack_sign * given["pack_error_v"]
    load = given["load"]
    wakes = load["enable_v"] if load["kind"].startswith("constant") else -1.0

    def slope(v):
        taken = {
            "none": 0.0 * v,
            "resistive": v / load["resistance_ohm"],
            "constant-current": load["current_a"] + 0.0 * v,
            "constant-power": load["power_w"] / numpy.maximum(v, 1e-6),
        }[load["kind"]]
        return ((pack - v) / ohm - numpy.where(v >= wakes, taken, 0.0)) / farad

    share = given["target_percent"] / 100
    gap = given.get("closing_difference_v")

    def closed(v):
        seen = v + reads_link
        band = gap if gap is not None else (1 - share) * reads_pack
        above = seen - reads_pack <= band if given["waits_above"] else True
        return (reads_pack - seen <= band) & above

    limit = given["max_time_s"]
    steps = int(min(6000, max(1500, 300 * limit / (given["resistance_ohm"] * farad))))
    h = limit / steps
    v = numpy.full_like(pack, start_v)
    time, left = numpy.where(closed(v), 0.0, numpy.inf), numpy.where(closed(v), pack - v, numpy.nan)
    energy, powers = numpy.zeros_like(pack), []
    for step in range(steps):
        if step == int(0.9 * steps):
            rests = v.copy()
        before = (pack - v) ** 2 / ohm
        k1 = slope(v)
        k2 = slope(v + 0.5 * h * k1)
        k3 = slope(v + 0.5 * h * k2)
        k4 = slope(v + h * k3)
        v = v + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        running = numpy.isinf(time)
        spent = numpy.where(running, 0.5 * h * (before + (pack - v) ** 2 / ohm), 0.0)
        energy += spent
        powers.append(spent / h)
        now = running & closed(v)
        time[now], left[now] = (step + 1) * h, (pack - v)[now]
    # What is lost for ever where the link neither closes nor moves.
    held = numpy.isinf(time) & (numpy.abs(v - rests) < 1e-6 * pack)
    stalls = numpy.where(held, (pack - v) ** 2 / ohm, 0.0)
    return time, left, energy, numpy.array(powers), h, pack, ohm, stalls


def warmest(given, powers, h, heat, k_per_w):
    """The highest rise when series follow series, stepped attempt by attempt until nothing changes."""
    tau, resistor = heat * k_per_w, given["resistor"]
    # The pause counts from the end of the attempt.
    powers = powers[: 1 + int(numpy.flatnonzero(powers)[-1])] if powers.any() else powers
    keeps = math.exp(-h / tau)
    rise, warm = 0.0, []
    for power in powers:
        rise = rise * keeps + power * k_per_w * (1 - keeps)
        warm.append(rise)
    warm = numpy.array(warm)
    fades = numpy.exp(-h * numpy.arange(1, len(powers) + 1) / tau)
    highest = 0.0
    # A series ends with the attempt that succeeds, the first one or the last.
    for n in {1, resistor["retries"] + 1}:
        start = 0.0
        for attempt in range(3000):
            highest = max(highest, start, float((start * fades + warm).max()))
            # The pause after the last one counts from its end.
            pause = resistor["cool_down_s"] if (attempt + 1) % n == 0 else 0.0
            rests = pause or resistor["repeat_s"] - h * len(powers)
            start = (start * fades[-1] + warm[-1]) * math.exp(-rests / tau)
    return highest


@campaign("/api/v1/precharge", "pre-charge: readings over the pack voltage", any_precharge)
def precharge_states(given, result, rng):
    starts = begins(given)
    time, left, energy, powers, h, pack, ohm, stalls = charged(given, rng, starts[-1])
    resistor, farad = given["resistor"], given["capacitance_farad"]
    # One step of the integration is the resolution of the time.
    slowest = float(time.max())
    found = {"precharge.time": slowest / given["max_time_s"] if math.isfinite(slowest) else math.inf}
    if math.isfinite(slowest) and slowest > given["max_time_s"] - 3 * h:
        found.pop("precharge.time")
    gap = numpy.nanmax(numpy.abs(left)) if numpy.isfinite(left).any() else 0.0
    a2s = farad * gap**2 / (2 * given["path"]["resistance_ohm"])
    if math.isfinite(slowest):
        found["precharge.inrush"] = a2s / given["path"]["contactor_inrush_a2s"]
    # The resistor takes the attempts after the first one as well, from where a load has taken the link.
    for start in starts[:-1]:
        _, _, also, course, _, packs, ohms, ends = charged(given, rng, start)
        energy, powers = numpy.append(energy, also), numpy.append(powers, course, axis=1)
        pack, ohm, stalls = numpy.append(pack, packs), numpy.append(ohm, ohms), numpy.append(stalls, ends)
    found["precharge.resistor-pulse"] = float(energy.max()) / resistor["pulse_j"]
    short = given["pack_v"] ** 2 / (given["resistance_ohm"] * (1 - resistor["tolerance_percent"] / 100))
    found["precharge.short-energy"] = short * given["max_time_s"] / resistor["pulse_j"]
    most, attempts = int(energy.argmax()), resistor["retries"] + 1
    ends = h * (1 + int(numpy.flatnonzero(powers[:, most])[-1])) if powers[:, most].any() else h
    last = ends + resistor["cool_down_s"] if resistor["cool_down_s"] else resistor["repeat_s"]
    cycle = (attempts - 1) * resistor["repeat_s"] + last
    # One attempt alone is followed by its pause, and by no other attempt.
    during = 1 / resistor["repeat_s"] if attempts > 1 else 0.0
    mean = float(energy.max()) * max(during, attempts / cycle, 1 / last)
    found["precharge.resistor-power"] = mean / resistor["power_w"]
    # Only those that have come to rest within the time-out are known here.
    if float(stalls.max()) > resistor["power_w"]:
        found["precharge.stall-power"] = float(stalls.max()) / resistor["power_w"]
    # The body: both ratings mean one rise. The split of the hidden one does not matter for the share of it.
    if "heat_j_per_k" in resistor:
        heat, k_per_w = resistor["heat_j_per_k"], resistor["k_per_w"]
    else:
        heat, k_per_w = resistor["pulse_j"] / 100.0, 100.0 / resistor["power_w"]
    rise = resistor["pulse_j"] / heat
    # Less energy in a shorter time may warm it more: the lowest resistance is followed beside the most energy.
    lowest = int(numpy.where(ohm <= ohm.min() * (1 + 1e-12), energy, -1.0).argmax())
    worst = max(warmest(given, powers[:, i], h, heat, k_per_w) for i in {int(energy.argmax()), lowest})
    shorted = warmest(given, numpy.full(1000, short), given["max_time_s"] / 1000, heat, k_per_w)
    exact = "heat_j_per_k" in resistor
    for name, value in (("precharge.warm-pulse", worst), ("precharge.warm-short", shorted)):
        # Without the heat it is a bound: it may not be told to hold when it does not; it never fails.
        found[name] = value / rise if exact else value / rise
    found["precharge.temperature"] = worst / rise
    found["precharge.short-temperature"] = shorted / rise
    return found


def any_joining(rng):
    """A unit among others: its closing rule, how far they may lie apart, told or not, and what its contactor takes."""
    case = any_precharge(rng) | {"load.kind": "none", "start_v": 0.0, "waits_above": bool(rng.random() < 0.5)}
    range_v = case["pack_v"] - case["pack_min_v"]
    ohm = 10 ** rng.uniform(-1.7, -0.3)
    case |= {"units_in_parallel": int(rng.integers(2, 9)), "path.resistance_ohm": ohm}
    case["path.contactor_making_a"] = range_v / ohm * rng.uniform(0.02, 1.3)
    if rng.random() < 0.7:
        case["units_apart_v"] = range_v * rng.uniform(0.05, 0.9)
    return case


@campaign("/api/v1/precharge", "pre-charge: a unit joins others", any_joining)
def joined_units(given, result, rng):
    """Batteries drawn at random, readings wrong inside their errors: where the contactor closes, the current of both."""
    low, high = given["pack_min_v"], given["pack_v"]
    apart = given.get("units_apart_v", high - low)
    count = 200_000
    own, shift = rng.uniform(low, high, count), rng.uniform(-1, 1, count)
    own[: count // 4], shift[: count // 2] = rng.choice([low, high], count // 4), numpy.sign(shift[: count // 2])
    bus = own + shift * apart
    errors = [rng.choice([-1.0, 1.0, 0.3], count) * given[key] for key in ("link_error_v", "pack_error_v")]
    seen, pack = bus + errors[0], own + errors[1]
    gap = given.get("closing_difference_v")
    band = gap if gap is not None else (1 - given["target_percent"] / 100) * pack
    closes = (pack - seen <= band) & ((seen - pack <= band) | (not given["waits_above"]))
    if not closes.any():
        return {}
    # The current of two batteries with nothing but this unit's path between them: the others add none of their own.
    current = float(numpy.abs(bus - own)[closes].max()) / given["path"]["resistance_ohm"]
    return {"precharge.joins": current / given["path"]["contactor_making_a"]}


@check("/api/v1/precharge", "pre-charge: closing by readings", "sweep over the pack voltage by RK4", 2e-3,
       {"pack_v": 400.0, "pack_min_v": 400.0, "capacitance_farad": 1e-3, "resistance_ohm": 50.0, "load.kind": "none",
        "link_error_v": 2.0, "pack_error_v": 2.0, "closing_difference_v": 10.0},
       {"pack_v": 400.0, "pack_min_v": 250.0, "capacitance_farad": 1e-3, "resistance_ohm": 50.0, "load.kind": "none",
        "link_error_v": 2.0, "pack_error_v": 2.0, "target_percent": 97.5, "max_time_s": 0.4},
       {"pack_min_v": 554.4, "load.kind": "constant-power", "load.power_w": 200.0, "load.enable_v": 600.0,
        "link_error_v": 4.0, "pack_error_v": 3.0, "target_percent": 93.0, "resistor.tolerance_percent": 5.0})
def precharge_closing(given, result):
    time, left, energy, *_ = charged(given, numpy.random.default_rng(1), given["start_v"])
    yield "slowest", result["slowest"]["charge"]["time_s"], float(time.max())
    yield "largest difference", result["difference"]["largest_v"], float(numpy.nanmax(numpy.abs(left))), 0.05
    yield "attempt.energy_j", result["attempt"]["energy_j"], float(energy.max())


# --- Discharge and weld test ---------------------------------------------------------------------------------------


def any_discharge(rng):
    start = rng.choice([60.0, 400.0, 800.0]) * rng.uniform(0.8, 1.1)
    farad = 10 ** rng.uniform(-3.5, -2.5)
    case = {
        "start_v": start,
        "start_min_v": start * rng.uniform(0.6, 1.0),
        "safe_v": min(60.0, 0.3 * start),
        "capacitance_farad": farad,
        "capacitance_tolerance_percent": rng.choice([0.0, 10.0, 20.0]),
        "active.kind": str(rng.choice(["none", "resistor", "constant-current", "constant-power"])),
        "active.resistance_ohm": rng.uniform(0.3, 3.0) / farad,
        "active.current_a": farad * start / rng.uniform(0.5, 6.0),
        "active.power_w": 0.5 * farad * start**2 / rng.uniform(0.5, 6.0),
        "active.pulse_j": 0.5 * farad * start**2 * rng.uniform(0.7, 3.0),
        "passive.resistance_ohm": rng.uniform(15.0, 70.0) / farad,
        "passive.tolerance_percent": rng.choice([0.0, 5.0]),
        "weld.time_s": rng.uniform(0.2, 5.0),
        "weld.readings": str(rng.choice(["unrelated", "one-channel"])),
        "weld.gain_percent": rng.uniform(0.1, 2.0),
        "weld.pack_change_v": rng.choice([0.0, 0.01 * start]),
    }
    case["passive.power_w"] = start**2 / case["passive.resistance_ohm"] * rng.uniform(0.8, 3.0)
    case["weld.reading_error_v"] = start * 10 ** rng.uniform(-3.0, -1.8)
    if rng.random() < 0.5:
        case["feed.kind"] = str(rng.choice(["constant-current", "constant-power"]))
        case["feed.current_a"] = start / case["passive.resistance_ohm"] * 10 ** rng.uniform(-2.5, 0.3)
        case["feed.power_w"] = case["feed.current_a"] * start * 0.3
        case["feed.link_rated_v"] = start * rng.uniform(1.02, 1.6)
        if rng.random() < 0.7:
            case["feed.for_s"] = 10 ** rng.uniform(-1.0, 2.0)
    if rng.random() < 0.4:
        case |= {"feed.back_emf_v": start * rng.uniform(0.5, 1.3), "feed.stop_s": 10 ** rng.uniform(-0.3, 2.0)}
        case["feed.link_rated_v"] = start * rng.uniform(1.02, 1.6)
    return case


def emptied(given, way, until, starts, slow=True, steps=4000):
    """Voltages at the end, highest voltage and energy in the way for every state, by Runge and Kutta."""
    sign = 1 if slow else -1
    spread = given["capacitance_tolerance_percent"] / 100
    farads = [given["capacitance_farad"] * (1 + s * spread) for s in (-1, 1)]
    active, passive, feed = given["active"], given["passive"], given["feed"]
    off = {"active": active["tolerance_percent"], "passive": passive["tolerance_percent"]}[way] / 100
    states = numpy.array(list(itertools.product(starts, farads, (1 - off, 1 + off))))
    start, farad, factor = states.T
    ohm = (active if way == "active" else passive)["resistance_ohm"]
    kind = active["kind"] if way == "active" else "resistor"

    def own(v):
        v = numpy.maximum(v, 1e-9)
        return {
            "resistor": v / (ohm * factor),
            "constant-current": active["current_a"] * factor,
            "constant-power": active["power_w"] * factor / v,
        }[kind] * (v > 1e-6)

    ends, emf, stop = feed.get("for_s", math.inf), feed.get("back_emf_v", 0.0), feed.get("stop_s", 1.0)

    def fed(v, t):
        if feed["kind"] == "none" or t >= ends:
            return 0.0 * v
        return feed["current_a"] + 0.0 * v if feed["kind"] == "constant-current" else feed["power_w"] / numpy.maximum(v, 1.0)

    v = numpy.maximum(start, emf)
    highest, energy = v.copy(), numpy.zeros_like(v)
    # The end of the feed is a corner: no step goes over it.
    grid = numpy.unique(numpy.concatenate([numpy.linspace(0, until, steps + 1), [min(ends, until)]]))
    for t, then in zip(grid, grid[1:]):
        h, middle = then - t, 0.5 * (t + then)

        def slope(v):
            return (fed(v, middle) - own(v)) / farad

        before = own(v) * v
        k1 = slope(v)
        k2 = slope(v + 0.5 * h * k1)
        k3 = slope(v + 0.5 * h * k2)
        k4 = slope(v + h * k3)
        v = numpy.maximum(v + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4), max(emf * (1 - then / stop), 0.0))
        energy += 0.5 * h * (before + own(v) * v)
        highest = numpy.maximum(highest, v)
    return v, highest, energy, start


@campaign("/api/v1/discharge", "discharge: sources meanwhile, weld test", any_discharge)
def discharge_states(given, result, rng):
    found = {}
    safe, emf = given["safe_v"], given["feed"].get("back_emf_v", 0.0)
    lifted = given["start_v"]
    for way in ("active", "passive"):
        if way not in result:
            continue
        limit = given[way]["limit_s"]
        left, highest, energy, _ = emptied(given, way, limit, [given["start_v"]])
        # What the link still holds at the limit, and whether a feed that goes on brings it back later.
        later = given["feed"].get("for_s", 4 * limit)
        if given["feed"]["kind"] != "none" and later > limit:
            after, _, _, _ = emptied(given, way, min(later, 20 * limit), [given["start_v"]])
            left = numpy.maximum(left, numpy.where(left <= safe, after, left))
        worst = float(left.max())
        if abs(worst - safe) > 2e-3 * safe:
            found[f"discharge.{way}"] = 2.0 if worst > safe else 0.5
        lifted = max(lifted, float(highest.max()))
        if way == "passive":
            off = given["passive"]["tolerance_percent"] / 100
            ohms = given["passive"]["resistance_ohm"] * numpy.tile([1 - off, 1 + off], len(highest) // 2)
            found["discharge.bleeder-power"] = float((highest**2 / ohms).max()) / given["passive"]["power_w"]
        else:
            begin = max(given["start_v"], emf)
            stored = 0.5 * given["capacitance_farad"] * (1 + given["capacitance_tolerance_percent"] / 100) * begin**2
            # The resistor goes on as long as something feeds it, and takes what is left in the end.
            feed = given["feed"]
            until = max(limit, feed.get("for_s", 0.0) if feed["kind"] != "none" else 0.0, feed.get("stop_s", 0.0) if emf else 0.0)
            rest, _, energy, _ = emptied(given, way, until, [given["start_v"]], steps=int(4000 * max(1.0, until / limit)))
            farad = given["capacitance_farad"] * (1 + given["capacitance_tolerance_percent"] / 100)
            takes = float((energy + 0.5 * farad * rest**2).max()) if feed["kind"] != "none" or emf else 0.0
            found["discharge.resistor-pulse"] = max(stored, takes) / given["active"]["pulse_j"]
    if "link_rated_v" in given["feed"] and lifted > given["start_v"]:
        found["discharge.link-voltage"] = lifted / given["feed"]["link_rated_v"]
    # The weld test: every pair of readings, of an opened link and of a welded one.
    weld = given["weld"]
    starts = numpy.linspace(given["start_min_v"], given["start_v"], 7)
    # The first reading is taken at the opening: a machine lifts the link only then.
    left, _, _, begin = emptied(given, "passive", weld["time_s"], starts)
    e, g = weld["reading_error_v"], weld["gain_percent"] / 100 * (weld["readings"] == "one-channel")
    pairs = [(a, b, c) for a in (-e, e) for b in (-e, e) for c in (-g, 0.0, g)]
    opened = min(float(((begin + a + c * begin) - (left + b + c * left)).min()) for a, b, c in pairs)
    change = weld["pack_change_v"]
    welded = max((s + a + c * s) - (s - change + b + c * (s - change)) for s in starts for a, b, c in pairs)
    drop = float((begin - left).min())
    found["discharge.weld-check"] = (welded + (drop - opened)) / drop if drop > 0 else math.inf
    return found


# --- Ripple --------------------------------------------------------------------------------------------------------


def any_ripple(rng):
    f = 10 ** rng.uniform(2.5, 4.5)
    pp, mean = 10 ** rng.uniform(0.5, 2.0), 10 ** rng.uniform(1.5, 2.8)
    henry = 10 ** rng.uniform(-9.0, -8.0)
    low = rng.uniform(5.0, 60.0)
    spike = henry / 50e-6 * pp * f / min(low / 100, 0.3)
    case = {
        "mean_a": mean,
        "peak_to_peak_a": pp,
        "frequency_hz": f,
        "duty_percent": low + 10.0,
        "duty_min_percent": low,
        "duty_max_percent": low + rng.uniform(10.0, 35.0),
        "shunt.resistance_ohm": 50e-6,
        "shunt.inductance_henry": henry,
        "trips": [{
            "name": "trip",
            "threshold_a": mean + pp / 2 + spike * rng.uniform(0.0, 1.5) + 1.0,
            "filter_s": float(rng.choice([0.0, 10 ** rng.uniform(-6.0, -3.5)])),
            "tolerance_a": 0.02 * mean,
        }],
        "converter.full_scale_v": 50e-6 * (mean + 10 * (pp + spike)),
        "converter.filter_s": float(rng.choice([0.0, 10 ** rng.uniform(-6.5, -3.5)])),
        "samples.rate_hz": f * rng.choice([0.25, 1.0, 4.0, 16.0, rng.uniform(0.3, 30.0)]),
        "samples.averages": int(rng.integers(1, 40)),
    }
    case["converter.allowed_error_a"] = (pp + spike) * 10 ** rng.uniform(-2.0, 0.0)
    return case


def wave(given, duty, tau, points=4000):
    """One period behind one pole as an interpolating function: exact steps of straight input, made periodic."""
    period, pp = 1 / given["frequency_hz"], given["peak_to_peak_a"]
    lag = given["shunt"]["inductance_henry"] / given["shunt"]["resistance_ohm"]
    pieces = [(0.0, duty, -pp / 2, pp / 2), (duty, 1.0, pp / 2, -pp / 2)]
    times, inputs = [], []
    for begin, end, first, last in pieces:
        at = numpy.linspace(begin, end, max(int(points * (end - begin)), 50))
        jump = lag * (last - first) / ((end - begin) * period)
        times.append(at * period)
        inputs.append(first + (last - first) * (at - begin) / (end - begin) + jump)
    if tau == 0.0:
        return lambda t: numpy.where(
            t < duty * period, numpy.interp(t, times[0], inputs[0]), numpy.interp(t, times[1], inputs[1])
        )

    def run(y):
        found = []
        for at, u in zip(times, inputs):
            h = at[1] - at[0]
            keeps = math.exp(-h / tau)
            slope = (u[1] - u[0]) / h
            values = [y]
            for value in u[:-1]:
                y = keeps * y + (1 - keeps) * (value - slope * tau) + slope * h
                values.append(y)
            found.append(numpy.array(values))
        return found, y

    _, drift = run(0.0)
    first = drift / -math.expm1(-period / tau)
    found, _ = run(first)
    t_all = numpy.concatenate([times[0], times[1][1:]])
    y_all = numpy.concatenate([found[0], found[1][1:]])
    return lambda t: numpy.interp(t, t_all, y_all)


def sampled(given, duty, phases=3000):
    """Means of samples over phases, as deviations from the true mean."""
    period = 1 / given["frequency_hz"]
    seen = wave(given, duty, given["converter"]["filter_s"])
    phase = (numpy.arange(phases) + 0.5) / phases
    k = numpy.arange(given["samples"]["averages"])
    turns = phase[:, None] + k[None, :] * given["frequency_hz"] / given["samples"]["rate_hz"]
    return seen((turns % 1.0) * period).mean(axis=1)


def duties(given, count=15):
    return numpy.linspace(given["duty_min_percent"], given["duty_max_percent"], count) / 100


@campaign("/api/v1/ripple", "ripple: samples at every phase, comparators", any_ripple)
def ripple_states(given, result, rng):
    off = [sampled(given, duty) for duty in duties(given)]
    beat = max(float(numpy.abs(one).max()) for one in off)
    trip = given["trips"][0]
    peaks = []
    for duty in duties(given):
        seen = wave(given, duty, trip["filter_s"])
        t = numpy.concatenate([numpy.linspace(0, 1, 4001)[:-1], [duty * (1 - 1e-9), 1 - 1e-12]])
        peaks.append(float(seen(t / given["frequency_hz"]).max()))
    reached = given["mean_a"] + max(peaks)
    return {
        "ripple.beat": beat / given["converter"]["allowed_error_a"],
        "ripple.trip": reached / (trip["threshold_a"] - trip["tolerance_a"]),
    }


@check("/api/v1/ripple", "ripple: mean of samples, worst phase", "the wave sampled in 3000 phases", 5e-3,
       {"peak_to_peak_a": 60.0, "duty_percent": 30.0, "duty_min_percent": 30.0, "duty_max_percent": 30.0,
        "converter.filter_s": 2e-6, "converter.full_scale_v": 0.1, "samples.rate_hz": 160e3, "samples.averages": 16},
       {"peak_to_peak_a": 60.0, "duty_percent": 30.0, "duty_min_percent": 10.0, "duty_max_percent": 90.0,
        "converter.filter_s": 2e-6, "converter.full_scale_v": 0.1, "samples.rate_hz": 160e3, "samples.averages": 16})
def ripple_means(given, result):
    off = [sampled(given, duty, 20000) for duty in duties(given, 33)]
    yield "low_a", result["sampling"]["low_a"], min(float(one.min()) for one in off)
    yield "high_a", result["sampling"]["high_a"], max(float(one.max()) for one in off)


# --- Balancing -----------------------------------------------------------------------------------------------------


def any_balancing(rng):
    return {
        "cell_v": rng.uniform(2.8, 4.2),
        "bleed_ohm": rng.uniform(10.0, 100.0),
        "switch_ohm": rng.uniform(0.0, 2.0),
        "wire_ohm": rng.uniform(0.01, 2.0),
        "channels_on": int(rng.integers(1, 7)),
        "duty_percent": rng.choice([75.0, 100.0]),
        "imbalance_percent": rng.uniform(1.0, 8.0),
        "accuracy.error_v": rng.uniform(0.001, 0.005),
        "accuracy.slope_v_per_percent": rng.uniform(0.002, 0.05),
        "limits.resistor_w": 10 ** rng.uniform(-1.0, 0.3),
        "limits.board_w": 10 ** rng.uniform(-1.0, 1.0),
    }


def patterns(given, cells=12):
    """Errors of all readings, losses of the resistors and of the board of every pattern: nodal analysis of the string."""
    r, w, v, on = given["bleed_ohm"] + given["switch_ohm"], given["wire_ohm"], given["cell_v"], given["channels_on"]
    rows = []
    for pattern in itertools.product((0, 1), repeat=cells):
        if not 0 < sum(pattern) <= on:
            continue
        # Node k of the sense lines: its wire to the tap at k v, and the bleed resistors beside it.
        a, b = numpy.eye(cells + 1) / w, numpy.arange(cells + 1) * v / w
        for cell, bleeds in enumerate(pattern):
            if bleeds:
                a[cell, cell] += 1 / r
                a[cell + 1, cell + 1] += 1 / r
                a[cell, cell + 1] -= 1 / r
                a[cell + 1, cell] -= 1 / r
        node = numpy.linalg.solve(a, b)
        read = numpy.diff(node)
        current = read / r * numpy.array(pattern)
        rows.append((read - v, current))
    return rows


@campaign("/api/v1/balancing", "balancing: every pattern of the wires", any_balancing)
def balancing_patterns(given, result, rng):
    rows = patterns(given)
    apart = max(float(off.max() - off.min()) for off, _ in rows)
    error = given["accuracy"]["error_v"] + (apart if given["duty_percent"] == 100.0 else 0.0)
    resistor = max(float(current.max()) for _, current in rows) ** 2 * given["bleed_ohm"]
    board = max(float((current**2).sum()) for _, current in rows) * (given["bleed_ohm"] + given["switch_ohm"])
    return {
        "balancing.floor": error / given["accuracy"]["slope_v_per_percent"] / given["imbalance_percent"],
        "balancing.resistor-power": resistor / given["limits"]["resistor_w"],
        "balancing.board-power": board * given["duty_percent"] / 100 / given["limits"]["board_w"],
    }


@check("/api/v1/balancing", "balancing: worst pattern of the wires", "nodal analysis of every pattern", 1e-9,
       *({"bleed_ohm": 38.0, "switch_ohm": 1.0, "wire_ohm": ohm, "channels_on": on}
         for ohm, on in ((0.5, 1), (0.5, 2), (0.5, 3), (0.5, 4), (2.0, 5), (0.05, 6))))
def balancing_wires(given, result):
    rows = patterns(given)
    yield "own_v", result["wire"]["own_v"], min(float(off.min()) for off, _ in rows)
    yield "neighbour_v", result["wire"]["neighbour_v"], max(float(off.max()) for off, _ in rows)
    yield "difference_v", result["wire"]["difference_v"], max(float(off.max() - off.min()) for off, _ in rows)
    yield "largest_a", result["passive"]["largest_a"], max(float(current.max()) for _, current in rows)
