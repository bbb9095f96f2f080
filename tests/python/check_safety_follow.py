"""Functional safety: what a design does with a faulty reading, ridden in small steps through the faulty circuit.

    BASE_URL=http://127.0.0.1:8080 python check_safety_follow.py

SAFETY_DESIGNS says how many.
"""

import math
import os
import sys

import numpy

from charge_designs import between, decades, of
from check_safety_inserted import ALONE, CURRENT, MADE, READING, TEMPERATURE, VOLTAGE
from harness import changed, check, examples, fetch
from harness import run as run_checks
from safety_circuits import Floating
from safety_consequence import rides
from safety_designs import drawn, errless

COUNT = int(os.environ.get("SAFETY_DESIGNS", "30"))
ASSESS = "/api/v1/design/assess?include=parts"
# Into how many magnitudes a span is cut.
PIECES = 25

# --- Faults with a span ---------------------------------------------------------------------------------------------

MODES = {"voltage": VOLTAGE | READING, "current": CURRENT | READING, "temperature": TEMPERATURE}
# Ends of the resistances that a mode may have, in ohm.
OHMS = {
    "upper-open": (1e5, 1e9),
    "upper-joint": (1e3, 1e6),
    "upper-leak": (1e5, 1e9),
    "filter-leak": (1e4, 1e8),
    "shunt-joint": (1e-7, 1e-4),
    "shunt-bridge": (1e-5, 1e-2),
    "sense-resistive": (1.0, 1e5),
    "thermistor-open": (1e5, 1e7),
    "lead-resistive": (10.0, 1e4),
    "lead-leak": (1e4, 1e7),
}


class Fault:
    """A mode with a span of magnitudes and what each makes of the circuit."""

    def __init__(self, random, reads):
        self.mode = of(random, *MODES[reads])
        _, self.changes = MODES[reads][self.mode]
        self.of_reading = self.mode in READING
        self.row = {"component": "Part", "mode": "one", "rate_fit": 5.0, "insert": self.mode}
        if self.mode in OHMS:
            low, high = sorted(decades(random, *OHMS[self.mode]) for _ in range(2))
            ends = {"from_ohm": low, "to_ohm": high, "law": "log-uniform"}
            self.sizes = low * (high / low) ** ((numpy.arange(PIECES) + 0.5) / PIECES)
        elif self.mode.endswith(("-drift", "-gain")):
            low, high = sorted(of(random, -1.0, 1.0) * between(random, 0.5, 45.0) for _ in range(2))
            ends = {"from_percent": low, "to_percent": high, "law": "uniform"}
            self.sizes = (low + (high - low) * (numpy.arange(PIECES) + 0.5) / PIECES) / 100.0
        else:
            ends, self.sizes = {}, numpy.array([math.nan])
        self.row |= ends

    def reading(self, channel, size):
        """What firmware tells of a true value."""
        if self.of_reading:
            return lambda x: self.changes(channel.faulty(x, lambda _: {}), size)
        return lambda x: channel.faulty(x, lambda given: self.changes(given, size))

    def alone(self, circuit, group, sign, size):
        """The same of a circuit that stands alone."""
        if self.of_reading:
            return lambda x: self.changes(circuit(group, sign, lambda _: {}, x), size)
        return lambda x: circuit(group, sign, lambda given: self.changes(given, size), x)


# --- Thresholds -----------------------------------------------------------------------------------------------------

# Kind of a threshold: what it reads, the way to its hazard, which readings are dangerous.
KINDS = {
    "pack-over-voltage": ("voltage", 1.0, "low"),
    "pack-under-voltage": ("voltage", -1.0, "high"),
    "over-current-discharge": ("current", 1.0, "low"),
    "over-temperature": ("temperature", 1.0, "low"),
    "under-temperature": ("temperature", -1.0, "high"),
}
NUMBER = {"current": 1, "voltage": 2, "temperature": 3}
UNIT = {"current": "a", "voltage": "v", "temperature": "degc"}
STEP = {"current": "a", "voltage": "v", "temperature": "k"}


def turned(design, kind):
    """The design with its threshold the other way round, where that is the kind."""
    reads, way, _ = KINDS[kind]
    given, end = design["protection"][NUMBER[reads] - 1], UNIT[reads]
    given["kind"] = kind
    if way < 0.0:
        lowest = design["pack"]["cells_in_series"] * design["pack"]["cell_min_v"]
        normal, hazard = (lowest, 0.93 * lowest) if reads == "voltage" else (-10.0, -22.0)
        room = (given[f"threshold_{end}"] - given[f"normal_{end}"]) / (given[f"hazard_{end}"] - given[f"normal_{end}"])
        given |= {f"normal_{end}": normal, f"hazard_{end}": hazard}
        given[f"threshold_{end}"] = normal + room * (hazard - normal)
    return design


class Ride:
    """A threshold as its own part tells it, on the way from normal use to the hazard."""

    def __init__(self, part, kind):
        self.reads, self.way, _ = KINDS[kind]
        given, told, self.part = part["input"], part["result"], part
        end, step = UNIT[self.reads], STEP[self.reads]
        self.normal, self.hazard = given[f"normal_{end}"], given[f"hazard_{end}"]
        self.threshold = given[f"threshold_{end}"]
        # What else the threshold reckons with, at its worst; a cell that is warmer than its sensor is late on one way.
        gradient = told["consumed"].get("gradient", 0.0) if self.way > 0.0 else 0.0
        self.error = given[f"error_hazard_{step}"] + told["consumed"]["noise_hazard"] + gradient
        self.error_normal = given[f"error_normal_{step}"]
        self.slope, self.delay_s = self.way * given[f"rate_{step}_per_s"], told["reaction_s"]
        self.room = abs(self.hazard - self.normal)

    def largest(self):
        return self.hazard + self.way * 3.0 * self.room

    def line(self, reading, count=None):
        """A reading as a table over the whole way."""
        x = numpy.linspace(self.normal - 0.2 * self.way * self.room, self.largest(), count or 2)
        told = numpy.array([reading(one) for one in x])
        order = numpy.argsort(x)
        return lambda at: numpy.interp(at, x[order], told[order])

    def outcome(self, reading):
        table = self.line(reading, 160 if self.reads == "temperature" else None)
        step_s = 2e-4 * self.room / abs(self.slope)
        start = self.normal
        given = table, self.error, self.threshold, start, self.hazard, self.largest()
        return rides(*given, self.slope, self.delay_s, self.normal, step_s)

    def margin(self, reading):
        """How near the last moment lies, by the reading there, as a share of the room."""
        last = self.hazard - self.slope * self.delay_s
        return abs(self.way * (reading(last) - self.threshold) - self.error) / self.room


def ridden(random):
    """A design with a fault of one mode and a goal on its threshold: kind, fault, answer of the part, own outcomes of
    each state and magnitude."""
    kind = of(random, *KINDS)
    reads, _, dangerous = KINDS[kind]
    design, fault = turned(drawn(random), kind), Fault(random, reads)
    aim = {"name": "Goal", "asil": "c", "reads": reads, "dangerous": dangerous, "ftti_s": 1.0, "reaction_s": 0.0}
    aim |= {"share_of_item_percent": 10.0}
    given, end = design["protection"][NUMBER[reads] - 1], UNIT[reads]
    aim[f"largest_possible_{end}"] = 4.0 * given[f"hazard_{end}"] - 3.0 * given[f"normal_{end}"]
    design["safety"][0] |= {"goals": [aim], "faults": [fault.row], "checks": [], f"{reads}_threshold": NUMBER[reads]}
    if reads != "temperature":
        # What a calibration takes away is another check's matter.
        design[reads][0]["calibration"]["kind"] = "none"
    answer = fetch(ASSESS, design)
    parts = {one["part"]: one for one in answer["result"]["parts"]}
    own = f"/protection/{NUMBER[reads] - 1}"
    rows = [row for row in answer["result"]["requirements"] if row["part"] == own]
    ride = Ride(parts[own] | {"requirements": rows}, kind)
    where, made, _ = MADE[reads]
    readings = [
        [fault.reading(made(parts[where]["input"], sign), size) for size in fault.sizes] for sign in (-1.0, 1.0)
    ]
    return kind, fault, parts["/safety/0"], ride, readings


HARMED = ("late", "never")


def missed(outcomes):
    """Largest share of late and never over the states, in percent."""
    return max(100.0 * sum(one.word in HARMED for one in state) / len(state) for state in outcomes)


@check("/api/v1/safety", "safety: spans of faults ridden to the hazard", "ramps stepped in time", 1.0)
def safety_ridden(_given, _result):
    random = numpy.random.default_rng(71)
    for number in range(COUNT):
        kind, fault, part, ride, readings = ridden(random)
        told = part["result"]["modes"][0]
        label = f"{number} {kind} {fault.row}"
        try:
            outcomes = [[ride.outcome(one) for one in state] for state in readings]
            near = min(ride.margin(one) for state in readings for one in state)
        except Floating:
            known = told["origin"] != "not-known" and told["direct_percent"] < 100.0
            yield f"{label}: nobody knows", float(known), 0.0, 0.5
            continue
        yield from told_of(label, told, fault, outcomes, near, ride)


def promises_nothing(part):
    """Whether a threshold that judges nothing fails, or is not judged, on the side of its hazard."""
    open_rows = {row["id"] for row in part["requirements"] if row["verdict"] in ("fails", "not-judged", "not-resolved")}
    return bool(open_rows - {f"protection.{name}" for name in ("room", "nuisance-side", "pack-peak")})


def told_of(label, told, fault, outcomes, near, ride):
    """What is told of a mode against the rides of its magnitudes."""
    if fault.sizes.size == 1 and near < 5e-3:
        return
    if "direct_percent" not in told and "is not judged, without a fault" in told["lacks"]:
        yield f"{label}: the threshold itself does not hold", float(promises_nothing(ride.part)), 1.0, 0.5
        return
    if "direct_percent" not in told:
        # What is late without a fault promises nothing.
        if ride.margin(lambda x: x) > 1e-3:
            healthy = ride.outcome(lambda x: x)
            yield f"{label}: fails without a fault", float(healthy.word in HARMED), 1.0, 0.5
        return
    pieces = 101.0 / PIECES * (fault.sizes.size > 1) + 1e-6
    yield f"{label}: missed", told["direct_percent"], missed(outcomes), pieces
    if "behaviour" not in told:
        return
    every = [one for state in outcomes for one in state]
    words = {one.word for one in every}
    # A span has magnitudes between those that were ridden, which may be worse.
    worse = [word for word in ("never", "late", "early", "in-time") if word in words]
    word = told["behaviour"]
    yield f"{label}: {worse} is told as {word}", float(ORDER.index(word) <= ORDER.index(worse[0])), 1.0, 0.5
    if fault.sizes.size == 1:
        yield f"{label}: {word} is told of {worse}", float(word in words), 1.0, 0.5
        last = max(one.trips_at * ride.way for one in every)
        if word == "late" and math.isfinite(last):
            yield f"{label}: trips at", told["trips_at"], last * ride.way, 1e-3 * ride.room
        elif math.isfinite(last):
            # Where nothing harms any state may be told.
            nearest = min((one.trips_at for one in every), key=lambda at: abs(at - told["trips_at"]))
            yield f"{label}: trips at", told["trips_at"], nearest, 1e-3 * ride.room
        late = max(one.late_s for one in every)
        if word == "late" and worse[0] == "late":
            yield f"{label}: late by", told["late_by_s"], late, 1e-3 * ride.room / abs(ride.slope)


# From what harms most to what harms least.
ORDER = ["never", "late", "early", "in-time"]


# --- Thresholds that are typed --------------------------------------------------------------------------------------


class Typed:
    """A threshold of a calculation that stands alone, and how far its quantity can go."""

    def __init__(self, random, reads, way, span):
        """`span` is what the quantity may be: in normal use up to the one end, at the hazard at the other."""
        self.reads, self.way = reads, way
        self.normal, self.hazard = span
        self.room = abs(self.hazard - self.normal)
        self.threshold = self.normal + way * self.room * between(random, 0.2, 0.6)
        self.error = self.room * of(random, 0.0, decades(random, 0.01, 0.3))
        self.slope = way * self.room * decades(random, 0.1, 10.0)
        self.delay_s = of(random, 0.0, between(random, 0.02, 0.3) * self.room / abs(self.slope))
        self.largest_at = self.hazard + way * self.room * of(random, 0.2, 1.0, 5.0)

    def largest(self):
        return self.largest_at

    def group(self):
        end, step = UNIT[self.reads], STEP[self.reads]
        found = {f"threshold_{end}": self.threshold, f"error_{step}": self.error, f"hazard_{end}": self.hazard}
        found |= {f"slope_{step}_per_s": abs(self.slope), f"normal_{end}": self.normal, "delay_s": self.delay_s}
        return found | {f"largest_possible_{end}": self.largest()}

    line, outcome, margin = Ride.line, Ride.outcome, Ride.margin


SPANS = {
    "voltage": lambda random, group: (group["highest_v"], group["highest_v"] * between(random, 1.05, 1.3)),
    "current": lambda random, group: (0.03 / group["shunt_ohm"], 0.03 / group["shunt_ohm"] * between(random, 1.2, 2.0)),
    "temperature": lambda random, _: (50.0, between(random, 60.0, 80.0)),
}


@check("/api/v1/safety", "safety: typed thresholds ridden to the hazard", "ramps stepped in time", 1.0)
def safety_typed(_given, _result):
    start, random = errless(examples()["/api/v1/safety"]), numpy.random.default_rng(72)
    for number in range(2 * COUNT):
        reads = of(random, *ALONE)
        draw, circuit, _, _ = ALONE[reads]
        group, fault = draw(random), Fault(random, reads)
        ride = Typed(random, reads, 1.0, SPANS[reads](random, group))
        aim = {"name": "Goal", "asil": "c", "reads": reads, "dangerous": "low", "ftti_s": 1.0, "reaction_s": 0.0}
        aim |= {"share_of_item_percent": 10.0} | ride.group()
        case = {"goals": [aim], "faults": [fault.row], "checks": [], reads: group}
        answer = fetch("/api/v1/safety", changed(start, case))
        group, told = answer["input"][reads], answer["result"]["modes"][0]
        readings = [[fault.alone(circuit, group, sign, size) for size in fault.sizes] for sign in (-1.0, 1.0)]
        outcomes = [[ride.outcome(one) for one in state] for state in readings]
        near = min(ride.margin(one) for state in readings for one in state)
        label = f"{number} {fault.row} {ride.group()}"
        yield from told_of(label, told, fault, outcomes, near, ride)


if __name__ == "__main__":
    sys.exit(not run_checks())
