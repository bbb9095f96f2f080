"""Balancing: time, heat and the smallest imbalance that shows, of random boards and cells.

The full cell bleeds alone, which is slowest: Q ds/dt = -d V(s)/(R + Rs + 2 Rw) along the open-circuit voltage, piece by piece of
it, while the leakage takes the others down, Q ds'/dt = -dI; the time is where both meet, or never. The largest current is that
of some pattern of cells that bleed beside each other: the wire between two of them carries the difference of their currents,
(R + Rs + 2 Rw) i(k) - Rw (i(k-1) + i(k+1)) = V, and every pattern is solved. What a cell reads is off by -Rw (2 i(k) - i(k-1) -
i(k+1)); that counts in the error where no pause is left for measuring. The floor is the smallest imbalance that shows above
any state of charge at which the cells may be level, with the leakage or without, or by the typed slope, whichever shows
later.

The limits lie a thousandth beyond or below what is told, so that both verdicts are asked for; what is told may differ by a
thousandth from what is found.
"""

import itertools
import math

import numpy

from harness import changed, examples, fetch, hunt, pressed

PATH, ROOM, APART, PLACES = "/api/v1/balancing", 1e-3, 1e-3, 20000
# Places between the ends at which the cells may be level.
FLOORS = 200
# Where the limit of a requirement is typed, and limits that nothing reaches.
KEYS = {"time": "time_h", "resistor-power": "resistor_w", "board-power": "board_w", "temperature": "limit_degc"}
WIDE = {"time_h": 1e5, "resistor_w": 1e4, "board_w": 1e5, "limit_degc": 400.0}


def patterns(given, volt):
    """Largest current of a channel, largest sum of squares of a board, largest difference of two readings."""
    wire, on = given["wire_ohm"], given["channels_on"]
    whole = given["bleed_ohm"] + given["switch_ohm"] + 2.0 * wire
    current, squares, apart = 0.0, 0.0, 0.0
    # Three cells more than bleed: a gap anywhere and a cell at rest far from it.
    for pattern in itertools.product((False, True), repeat=on + 3):
        if not 0 < sum(pattern) <= on:
            continue
        cells = numpy.flatnonzero(pattern)
        beside = numpy.abs(cells[:, None] - cells) == 1
        bleeds = numpy.zeros(on + 5)
        bleeds[cells + 1] = numpy.linalg.solve(whole * numpy.eye(cells.size) - wire * beside, numpy.full(cells.size, volt))
        off = -wire * (2.0 * bleeds[1:-1] - bleeds[:-2] - bleeds[2:])
        current, squares = max(current, bleeds.max()), max(squares, (bleeds**2).sum())
        apart = max(apart, off.max() - off.min())
    return current, squares, apart


class Cell:
    """The open-circuit voltage, and what bleeds at it in the mean of pauses."""

    def __init__(self, given):
        self.given, rows = given, given["curve"]["points"]
        self.start = given["curve"]["start_soc_percent"] if rows else 100.0
        self.socs = numpy.array([row["soc_percent"] for row in rows]) if rows else numpy.array([-1e6, 1e6])
        self.volts = numpy.array([row["ocv_v"] for row in rows]) if rows else numpy.full(2, given["cell_v"])

    def volt(self, soc):
        return numpy.interp(soc, self.socs, self.volts)

    def bleeds_a(self, soc):
        ohm = self.given["bleed_ohm"] + self.given["switch_ohm"] + 2.0 * self.given["wire_ohm"]
        return self.volt(soc) / ohm * self.given["duty_percent"] / 100.0

    def meets(self):
        """When the full cell meets the others, what bleeds then and where; never when the points end before."""
        given, leaks = self.given, self.given["accuracy"]["leak_mismatch_a"]
        percent_ah = given["capacity_ah"] / 100.0
        points, lowest = self.socs, self.socs[0]
        if self.volts[0] == self.volts[-1]:
            # A level voltage needs no curve: as far down as both go together.
            bleeds = self.bleeds_a(self.start)
            lasts = given["imbalance_percent"] * percent_ah / (bleeds - leaks) if bleeds > leaks else math.inf
            place = self.start - bleeds * lasts / percent_ah
            return (lasts, bleeds, place) if place >= lowest - 1e-9 else (math.inf, 0.0, lowest)
        inside = points[(points > lowest) & (points < self.start)]
        socs = numpy.unique(numpy.concatenate([numpy.linspace(lowest, self.start, PLACES), inside]))[::-1]
        middle = 0.5 * (socs[1:] + socs[:-1])
        times = numpy.concatenate([[0.0], numpy.cumsum(percent_ah * -numpy.diff(socs) / self.bleeds_a(middle))])
        apart = socs - (self.start - given["imbalance_percent"] - leaks * times / percent_ah)
        met = numpy.flatnonzero(apart <= 1e-9)
        if not met.size:
            return math.inf, 0.0, lowest
        k = met[0]
        lasts = times[k - 1] + apart[k - 1] / (apart[k - 1] - apart[k]) * (times[k] - times[k - 1])
        return lasts, self.bleeds_a(socs[k]), socs[k]

    def floor_percent(self, error, level):
        """The smallest imbalance that shows wherever the cells are level: where bleeding ends without a leakage, or as far
        down as one takes them."""
        end, slope = self.start - self.given["imbalance_percent"], self.given["accuracy"].get("slope_v_per_percent")
        shown = error / slope if slope else 0.0
        if not self.given["curve"]["points"]:
            return shown
        last, below = self.socs[-1], min(level, end)
        socs = numpy.linspace(below, end, FLOORS)
        # As finely as it can be told where a level piece of the curve begins to hide more.
        bends = numpy.interp(self.volts - error, self.volts + 1e-12 * numpy.arange(self.volts.size), self.socs)
        bends = numpy.concatenate([self.socs, bends])
        bends = numpy.concatenate([bends, bends + 1e-7])
        socs = numpy.concatenate([socs, bends[(bends > below) & (bends < end)]])
        if (self.volt(last) - self.volt(socs) < error).any():
            return math.inf
        low, high = numpy.zeros(socs.size), last - socs
        for _ in range(100):
            half = 0.5 * (low + high)
            seen = self.volt(socs + half) - self.volt(socs) >= error
            low, high = numpy.where(seen, low, half), numpy.where(seen, half, high)
        return max(shown, high.max())


def own(given):
    """What each requirement achieves."""
    cell, duty = Cell(given), given["duty_percent"] / 100.0
    current, squares, apart = patterns(given, cell.volt(cell.start))
    resistor_w, board_w = current**2 * given["bleed_ohm"], squares * (given["bleed_ohm"] + given["switch_ohm"]) * duty
    limits = given["limits"]
    rises = limits["board_k_per_w"] * board_w + limits["resistor_k_per_w"] * resistor_w
    error = given["accuracy"]["error_v"] + (apart if duty == 1.0 else 0.0)
    found = {"resistor-power": resistor_w, "board-power": board_w, "temperature": rises}
    lasts, bleeds, level = cell.meets()
    leaks = given["accuracy"]["leak_mismatch_a"]
    found |= {"time": lasts, "leak-outruns": leaks / bleeds if bleeds else math.inf}
    return found | {"floor": cell.floor_percent(error, level)}


def limit_of(given, name):
    limits = given["limits"]
    if name not in KEYS:
        return {"floor": given["imbalance_percent"], "leak-outruns": 1.0}[name]
    return limits[KEYS[name]] - (limits["ambient_degc"] if name == "temperature" else 0.0)


def draw(random):
    """A curve with a level or steep piece, or none; a leakage that is nothing beside the bleeding, or keeps up with it."""
    u, case = random.uniform, {"channels_on": int(random.integers(1, 6)), "bleed_ohm": 10.0 ** random.uniform(0.7, 3.0)}
    ohm, ambient = case["bleed_ohm"], u(-20.0, 60.0)
    wire = float(random.choice([0.0, min(ohm * 10.0 ** u(-3.0, 1.0), 1e3)]))
    case |= {"switch_ohm": ohm * u(0.0, 0.3), "wire_ohm": wire, "capacity_ah": 10.0 ** u(0.3, 2.5)}
    case |= {"duty_percent": 100.0 if u() < 0.4 else u(2.0, 99.0), "cell_v": u(1.5, 4.2)}
    start, volt = 100.0, case["cell_v"]
    if u() < 0.7:
        count = int(random.integers(2, 10))
        socs = numpy.concatenate([[0.0], 1.0 + numpy.cumsum(u(1.0, 10.0, count - 2)), [100.0]])
        steps = 10.0 ** u(-2.5, -0.3, count - 1) * (u(0.0, 1.0, count - 1) > 0.1)
        volts = u(2.0, 3.0) + numpy.concatenate([[0.0], numpy.cumsum(steps)])
        case["curve.points"] = [{"soc_percent": float(soc), "ocv_v": float(one)} for soc, one in zip(socs, volts)]
        start = case["curve.start_soc_percent"] = u(20.0, 100.0)
        volt = float(numpy.interp(start, socs, volts))
    case["imbalance_percent"] = start * 10.0 ** u(-2.0, -0.05)
    bleeds = volt / (ohm + case["switch_ohm"] + 2.0 * wire) * case["duty_percent"] / 100.0
    case["accuracy.leak_mismatch_a"] = 0.0 if u() < 0.4 else min(bleeds * 10.0 ** u(-4.0, 0.02), 1.0)
    case["accuracy.error_v"] = 10.0 ** u(-3.5, -1.8)
    if u() < 0.5 or "curve.points" not in case:
        case["accuracy.slope_v_per_percent"] = 10.0 ** u(-3.0, -1.0)
    heat = {"ambient_degc": ambient, "board_k_per_w": 10.0 ** u(-1.0, 1.0), "resistor_k_per_w": 10.0 ** u(0.0, 2.3)}
    case |= {f"limits.{name}": value for name, value in heat.items()}
    for name, value in WIDE.items():
        case[f"limits.{name}"] = value
    beyond = 1.0 + ROOM * float(random.choice([-1.0, 1.0]))
    if "curve.points" not in case:
        # The floor depends on nothing that the imbalance changes.
        told = fetch(PATH, changed(examples()[PATH], case))["result"]
        case["imbalance_percent"] = min(told["floor"]["percent"] * beyond, 100.0)
    told = {row["id"]: row.get("achieved") for row in fetch(PATH, changed(examples()[PATH], case))["requirements"]}
    for name, key in KEYS.items():
        reached, begin = told[f"balancing.{name}"], ambient if name == "temperature" else 0.0
        if reached is not None:
            case[f"limits.{key}"] = min(max(begin + (reached - begin) * beyond, 1e-3), WIDE[key])
    return case


@hunt(PATH, "balancing: time, heat and floor", "steps along the curve, mesh currents of every pattern", draw)
def balancing_hunt(given, result, _random):
    found, told = own(given), result["passive"]
    for name, value in found.items():
        yield f"balancing.{name}", 0, pressed(value / limit_of(given, name))
    pairs = [("resistor_w", "resistor-power"), ("board_w", "board-power")]
    pairs += [("against_leak_h", "time")] if math.isfinite(found["time"]) else []
    for name, key in pairs:
        yield None, 0, abs(told.get(name, math.inf) / found[key] - 1.0) / APART
    # What is never removed has no time.
    yield None, 0, 0.0 if math.isfinite(found["time"]) or "against_leak_h" not in told else 2.0
    rises = told["resistor_degc"] - given["limits"]["ambient_degc"]
    yield None, 0, abs(rises / found["temperature"] - 1.0) / APART
    if math.isfinite(found.get("floor", math.inf)):
        yield None, 0, abs(result["floor"]["percent"] / found["floor"] - 1.0) / APART
