"""Discharge: time, energy, loss, highest voltage and weld test over every state of random designs.

Kirchhoff's law at the link, followed state by state in closed forms of RC (see discharge_model): capacitance over its whole
tolerance, the way over its own, the start over its range, a feed that ends or goes on, a machine that runs out. Nothing may
be told lower than the worst state found, nor more than half a hundredth above it. The limits lie two ten-thousandths above
what is told, so that a "holds" is no broader than that.
"""

import functools

import numpy

from discharge_model import course, taken
from harness import changed, check, examples, fetch, hunt

PATH, ROOM, ABOVE = "/api/v1/discharge", 2e-4, 5e-3
WITNESS = "closed forms over a grid of states"
LIMITS = {
    "discharge.active": ("active.limit_s", 1e6),
    "discharge.passive": ("passive.limit_s", 1e7),
    "discharge.resistor-pulse": ("active.pulse_j", 1e9),
    "discharge.bleeder-power": ("passive.power_w", 1e6),
    "discharge.link-voltage": ("feed.link_rated_v", 1e4),
}
JUDGED = ("holds", "thin", "fails")


def span(low, high, count):
    return numpy.unique(numpy.linspace(low, high, count))


def worst(values, *axes):
    """The largest of `values(*states)` over a box: a grid, and a finer one between the neighbours of its best place."""
    best = -numpy.inf
    for _ in range(2):
        states = [one.ravel() for one in numpy.meshgrid(*axes, indexing="ij")]
        found = values(*states)
        place = int(numpy.argmax(found))
        best = max(best, float(found[place]))
        around = []
        for axis, state in zip(axes, states):
            at = int(numpy.argmin(numpy.abs(axis - state[place])))
            around.append(span(axis[max(at - 1, 0)], axis[min(at + 1, axis.size - 1)], 9))
        axes = around
    return best


def farads(given):
    spread = given["capacitance_tolerance_percent"] / 100.0
    return given["capacitance_farad"] * span(1.0 - spread, 1.0 + spread, 25)


def factors(given, way, count):
    """The tolerance of a way, its slow limit last."""
    off = given[way]["tolerance_percent"] / 100.0
    slow = 1.0 + off if way == "passive" or given["active"]["kind"] == "resistor" else 1.0 - off
    return span(1.0 - off, 1.0 + off, count), numpy.array([slow])


def largest(given, way, name, count=1):
    """The largest of what the course of a way tells; with one factor, at the slow limit."""
    every, slow = factors(given, way, count)

    def values(farad, factor):
        told = course(given, given["start_v"], farad, taken(given, way, factor))
        loss = told["most"] ** 2 / (given["passive"]["resistance_ohm"] * factor)
        return loss if name == "loss" else told[name]

    return worst(values, farads(given), every if count > 1 else slow)


def least_drop(given, way):
    """How far the link falls at least until the second reading, from any voltage of the first."""
    starts = span(given.get("start_min_v", given["start_v"]), given["start_v"], 7)
    slow = factors(given, way, 1)[1]

    def values(farad, start):
        return course(given, start, farad, taken(given, way, slow + 0.0 * farad), given["weld"]["time_s"])["end"] - start

    return -worst(values, farads(given), starts)


def any_link(random, kinds=("resistor", "resistor", "constant-current", "constant-power", "none")):
    u, start = random.uniform, 10.0 ** random.uniform(1.8, 3.1)
    farad, kind, tau = 10.0 ** u(-4.5, -2.3), str(random.choice(kinds)), 10.0 ** u(-1.5, 0.7)
    bleeds = tau * 10.0 ** u(0.3, 2.3)
    case = {"start_v": start, "start_min_v": start * u(0.3, 1.0), "safe_v": start * u(0.04, 0.9), "capacitance_farad": farad}
    case |= {"capacitance_tolerance_percent": float(random.choice([0.0, 5.0, 20.0, 60.0])), "active.kind": kind}
    case |= {"active.resistance_ohm": tau / farad, "active.current_a": farad * start / tau}
    case |= {"active.power_w": 0.5 * farad * start**2 / tau, "active.tolerance_percent": float(random.choice([0.0, 5.0, 30.0]))}
    case |= {"active.limit_s": 1e6, "active.pulse_j": 1e9, "passive.fitted": bool(u() < 0.8)}
    case |= {"passive.resistance_ohm": bleeds / farad, "passive.tolerance_percent": float(random.choice([0.0, 5.0, 30.0]))}
    case |= {"passive.limit_s": 1e7, "passive.power_w": 1e6}
    # A feed that a way just carries, or hardly feels, or that lifts the link.
    over = tau if u() < 0.5 else bleeds
    amps = farad * start / over * (u(0.3, 1.3) if u() < 0.5 else 10.0 ** u(-3.0, 0.7))
    case |= {"feed.kind": str(random.choice(["none", "constant-current", "constant-power"])), "feed.link_rated_v": 1e4}
    case |= {"feed.current_a": amps, "feed.power_w": amps * start}
    if u() < 0.85:
        case["feed.for_s"] = over * 10.0 ** u(-2.0, 1.0)
    if u() < 0.5:
        case |= {"feed.back_emf_v": start * u(0.2, 1.5), "feed.stop_s": max(over * 10.0 ** u(-2.0, 1.0), 1e-3)}
    case |= {"weld.time_s": (bleeds if case["passive.fitted"] else tau) * 10.0 ** u(-2.0, 0.0), "weld.reading_error_v": 0.0}
    case |= {"weld.readings": str(random.choice(["unrelated", "one-channel"])), "weld.gain_percent": u(0.0, 5.0)}
    return case | {"weld.pack_change_v": start * u(0.0, 0.01)}


@functools.cache
def example():
    return examples()[PATH]


def close(case):
    """The limits of a design just above what is told, and the error of a reading that the drop just allows."""
    answer = fetch(PATH, changed(example(), case))
    for row in answer["requirements"]:
        name, most = LIMITS.get(row["id"], (None, 0.0))
        if name and row["verdict"] in JUDGED and row.get("achieved"):
            case = case | {name: min(row["achieved"] * (1.0 + ROOM), most)}
    drop, weld = answer["result"]["weld"].get("drop_v", 0.0), answer["input"]["weld"]
    gain = weld["gain_percent"] / 100.0 if weld["readings"] == "one-channel" else 0.0
    room = drop * (1.0 - gain) - weld["pack_change_v"] * (1.0 + gain)
    return case | {"weld.reading_error_v": min(max(0.25 * room * (1.0 - ROOM), 0.0), 1000.0)}


def told(rows, name):
    """The row of a requirement that was judged; its verdict is the hunt's to compare."""
    return next((row for row in rows if row["id"] == name and row["verdict"] in JUDGED), None)


def compared(given, row, own):
    """A told value against the worst state: by its verdict, from below, and from above."""
    place, most = LIMITS[row["id"]]
    group, field = place.split(".")
    yield row["id"], 0, own / given[group][field]
    achieved = row.get("achieved")
    if achieved is None or achieved >= most or numpy.isinf(own):
        return
    floor = 1e-6 * given["start_v"] if group == "feed" else 1e-9
    yield None, 0, own / (achieved * (1.0 + ROOM) + floor)
    yield None, 0, achieved / (own * (1.0 + ABOVE) + floor)


def answered(given):
    return fetch(PATH, given)["requirements"]


@hunt(PATH, "discharge: time, loss, voltage, weld test", WITNESS, lambda random: close(any_link(random)))
def states(given, result, _random):
    rows = answered(given)
    for way in ("active", "passive"):
        row = told(rows, f"discharge.{way}")
        if row and way in result:
            yield from compared(given, row, largest(given, way, "time"))
    way = "passive" if given["passive"]["fitted"] else "active"
    if way in result:
        row = told(rows, "discharge.link-voltage")
        if row:
            yield from compared(given, row, largest(given, way, "most"))
        row = told(rows, "discharge.bleeder-power")
        if row and way == "passive":
            yield from compared(given, row, largest(given, way, "loss", 9))
    row, weld = told(rows, "discharge.weld-check"), given["weld"]
    if row and way in result:
        drop, low = least_drop(given, way), result["weld"]["drop_v"]
        gain = weld["gain_percent"] / 100.0 if weld["readings"] == "one-channel" else 0.0
        asks = 4.0 * weld["reading_error_v"] + weld["pack_change_v"] * (1.0 + gain)
        # A link that is lifted shows no drop at all.
        yield row["id"], 0, asks / (drop * (1.0 - gain)) if drop > 0.0 else numpy.inf
        yield None, 0, 1.0 + (low - drop) / given["start_v"] - ROOM
        yield None, 0, 1.0 + (drop - low) / given["start_v"] - ABOVE


def energy(given, result, _random):
    row = told(answered(given), "discharge.resistor-pulse")
    if row and "active" in result:
        yield from compared(given, row, largest(given, "active", "joule", 5))


KINDS = ("resistor", "constant-current", "constant-power")
hunt(PATH, "discharge: energy in the active way", WITNESS, lambda random: close(any_link(random, KINDS)))(energy)

# A load of constant power that a current feeds: far below the even voltage, P/I, where all digits of the time cancel, and so
# near to it that the link hesitates before it falls.
POWER = {"safe_v": 60.0, "capacitance_farad": 1e-3, "capacitance_tolerance_percent": 10.0}
POWER |= {"active.kind": "constant-power", "active.tolerance_percent": 5.0, "feed.kind": "constant-current"}
FED = tuple(
    POWER
    | {"start_v": volts, "active.power_w": watts, "passive.fitted": False, "feed.current_a": amps, "feed.for_s": 100.0}
    | {"weld.time_s": 250.0 / watts, "weld.reading_error_v": 1.0}
    for volts, watts, amps in (
        (800.0, 5000.0, 1e-9),
        (800.0, 5000.0, 1e-7),
        (800.0, 5000.0, 1e-6),
        (800.0, 500.0, 1e-2),
        (200.0, 300.0, 1.424),
    )
)


@check(PATH, "discharge: a load of power that a current feeds", "series of y + ln(1 - y)", ROOM, *FED)
def fed(given, result):
    yield "time_s", result["active"]["time_s"], largest(given, "active", "time")
    yield "drop_v", result["weld"]["drop_v"], least_drop(given, "active")
    yield "energy", result["active_j"], largest(given, "active", "joule", 5)


# The voltage is above zero until the machine stands, so the load takes its power; after that there is nothing left.
HELD = tuple(
    POWER
    | {"start_v": 800.0, "active.power_w": 1000.0, "feed.back_emf_v": 300.0, "feed.stop_s": 3.0}
    | {"feed.kind": kind, "feed.current_a": 0.01, "feed.for_s": lasts_s}
    for kind, lasts_s in (("constant-current", 10.0), ("constant-current", 2.0), ("none", 1.0))
)


@check(PATH, "discharge: a load of power and a machine", "power by time", ROOM, *HELD)
def held(given, result):
    watts = given["active"]["power_w"] * (1.0 + given["active"]["tolerance_percent"] / 100.0)
    yield "energy", result["active_j"], watts * given["feed"]["stop_s"]
