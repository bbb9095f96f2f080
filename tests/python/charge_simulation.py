"""Charge counting in the time domain: many units, reading by reading, as firmware counts them.

A unit draws its errors within the limits of its design; every reading is a mean over the aperture of the true current,
made wrong by them, with noise, rounded, put through the dead band, perhaps missed, and added up by the unit's own clock.
The state of charge that the unit believes in is compared with the true one. No formula of an error occurs here.
"""

import math

import numpy

from charge_model import HOUR, MONTH_H, WORST_SIGMAS, Curve, rounded

# Readings of one run at most: longer plans are shortened by the caller, not thinned out.
READINGS = 60_000
# A relaxed voltage goes this far with the branches of the hysteresis.
AFTER = {"discharge": (-1.0,), "charge": (1.0,), "either": (-1.0, 1.0)}


def share(value):
    return (value or 0.0) / 100.0


class Plan:
    """True current over time: pieces of (seconds, amperes, awake, cycle), repeated as the use says.

    `swing_ah` is what one half of a cycle moves.
    """

    def __init__(self, given, hours, swing_ah=None):
        use = given["use"]
        self.standby = use.get("standby_a") or 0.0
        self.rows, self.left = [], hours * HOUR
        swing = swing_ah if swing_ah is not None else share(use["swing_percent"]) * given["battery"]["capacity_ah"]
        {"rest": self.rest, "one-way": self.one_way, "cycles": self.cycles}[use["kind"]](use, swing)
        rows = numpy.array([row for row in self.rows if row[0] > 0.0], float)
        self.seconds, self.amps, self.awake = rows[:, 0], rows[:, 1], rows[:, 2] > 0.0
        self.cycle = rows[:, 3].astype(int)
        self.ends = numpy.cumsum(self.seconds)
        self.starts = self.ends - self.seconds

    def add(self, seconds, amps, awake, cycle):
        seconds = min(seconds, self.left)
        self.left -= seconds
        self.rows.append((seconds, amps, float(awake), cycle))

    def day(self, use, day, busy):
        """The pieces of a day, then awake and asleep rest."""
        left = use["awake_h"] * HOUR
        for seconds, amps, cycle in busy:
            self.add(seconds, amps, True, cycle)
            left -= seconds
        cycle = busy[-1][2] if busy else day
        self.add(max(left, 0.0), self.standby, True, cycle)
        self.add((24.0 - use["awake_h"]) * HOUR, 0.0, False, cycle)

    def rest(self, use, _):
        day = 0
        while self.left > 1e-9:
            self.day(use, day, [])
            day += 1

    def one_way(self, use, swing):
        self.add(swing * HOUR / use["discharge_a"], use["discharge_a"], True, 0)
        while self.left > 1e-9:
            self.day(use, 0, [])

    def cycles(self, use, swing):
        """Cycles run one after the other from the beginning of the day; a fraction of one is owed to the next day."""
        day, done = 0, 0
        while self.left > 1e-9:
            due = math.floor((day + 1) * use["cycles_per_day"] + 1e-9)
            busy = []
            for cycle in range(done, due):
                busy.append((swing * HOUR / use["discharge_a"], use["discharge_a"], cycle))
                busy.append((swing * HOUR / use["charge_a"], -use["charge_a"], cycle))
            done = due
            self.day(use, day, busy)
            day += 1

    def total(self, values, at):
        """Integral over time of a value of each piece, at these times."""
        sums = numpy.concatenate([[0.0], numpy.cumsum(values * self.seconds)])
        return numpy.interp(at, numpy.concatenate([[0.0], self.ends]), sums)

    def places(self, each=12):
        """Times to look at: the ends of all pieces and some between."""
        inner = self.starts[:, None] + self.seconds[:, None] * numpy.arange(1, each + 1) / each
        return inner.ravel()


class Units:
    """Deviates between -1 and 1 of every unit: drawn inside the limits, or each at one of its ends."""

    def __init__(self, random, count, corners):
        self.random, self.count, self.corners = random, count, corners

    def draw(self, *more):
        size = (self.count, *more)
        if self.corners:
            return numpy.where(self.random.random(size) < 0.5, -1.0, 1.0)
        return self.random.uniform(-1.0, 1.0, size)

    def normal(self, *more):
        """Standard normal; cut where a worst case ends when ends are asked for."""
        value = self.random.normal(size=(self.count, *more))
        return numpy.clip(value, -WORST_SIGMAS, WORST_SIGMAS) if self.corners else value


def block_means(random, count, blocks, samples, noise, period_s, correlation_s):
    """Means of `samples` correlated samples in a row, for many blocks one after the other.

    A block's sum is normal, given the sample before it and its last one; the last samples are a chain of their own.
    """
    if not correlation_s:
        return random.normal(0.0, noise / math.sqrt(samples), (count, blocks))
    step = math.exp(-period_s / correlation_s)
    index = numpy.arange(1, samples + 1)
    gap = numpy.abs(index[:, None] - index)
    # Of (before, block's sum, last), all of one normal vector with covariance step^distance.
    sum_var = (step**gap).sum()
    sum_before = (step**index).sum()
    sum_last = (step ** (samples - index)).sum()
    ends = numpy.array([[1.0, step**samples], [step**samples, 1.0]])
    to_sum = numpy.array([sum_before, sum_last])
    weights = numpy.linalg.solve(ends, to_sum) if step**samples < 1.0 - 1e-12 else numpy.array([samples / 2.0] * 2)
    own = math.sqrt(max(sum_var - weights @ to_sum, 0.0))
    chain = numpy.empty((count, blocks + 1))
    chain[:, 0] = random.normal(size=count)
    fresh = random.normal(size=(count, blocks)) * math.sqrt(1.0 - step ** (2 * samples))
    for block in range(blocks):
        chain[:, block + 1] = step**samples * chain[:, block] + fresh[:, block]
    sums = weights[0] * chain[:, :-1] + weights[1] * chain[:, 1:] + own * random.normal(size=(count, blocks))
    return noise * sums / samples


def readings(given, plan, phase):
    """Start of every reading that is taken, its true mean current and the piece it starts in."""
    period, aperture = given["counting"]["period_s"], given["counting"]["aperture_s"]
    count = int(plan.ends[-1] / period)
    if count > READINGS:
        raise ValueError(f"{count} readings")
    # The first reading began before the plan did, when nothing flowed.
    starts = (numpy.arange(count) + phase - 1.0) * period
    starts = starts[starts + period <= plan.ends[-1]]
    charge = lambda at: plan.total(plan.amps, at)  # noqa: E731
    where = numpy.minimum(numpy.searchsorted(plan.ends, starts, side="right"), plan.ends.size - 1)
    if aperture > 0.0:
        true = (charge(starts + aperture) - charge(starts)) / aperture
    else:
        true = numpy.where(starts < 0.0, 0.0, plan.amps[where])
    return starts, true, where


def words(given, plan, units, true, where, misses):
    """What firmware adds up: the word of every reading of every unit."""
    counter, counting = given["counter"], given["counting"]
    random, count = units.random, units.count
    offset = units.draw() * (counter["offset_a"] or 0.0)
    if counting["zeroed_at_rest"]:
        # The zero is taken while the standby current flows.
        offset = units.draw() * (counting.get("zero_left_a") or 0.0) - plan.standby
    gain = units.draw() * share(counter["gain_percent"])
    apart = units.draw() * share(counter["asymmetry_percent"]) / 2.0
    bend = [units.draw() * counter["bend_a"] for _ in range(2)]
    cycles = plan.cycle.max() + 1
    steady = units.draw(cycles) * counter["emf_a"]
    steady = steady + units.normal(cycles) * counter["flicker_a"]
    out, into = (true > 0.0)[None, :], (true < 0.0)[None, :]
    value = true * (1.0 + gain[:, None]) + numpy.abs(true) * apart[:, None]
    value = value + offset[:, None] + steady[:, plan.cycle[where]]
    value = value + numpy.where(out, bend[0][:, None], 0.0) + numpy.where(into, bend[1][:, None], 0.0)
    spread = (counter["averaging"], counter["noise_a"], counter["sample_s"], counter["noise_correlation_s"])
    value = value + block_means(random, count, true.size, *spread)
    value = rounded(value, counting["step_a"], counting["rounding"])
    value = numpy.where(numpy.abs(value) <= counting["dead_band_a"], 0.0, value)
    return replaced(given, value, random.random(value.shape) < misses)


def replaced(given, value, lost):
    """Missed readings count as nothing, as the one before, or are made good by the next one's duration."""
    kind = given["counting"]["missed_reading"]
    if kind == "zero":
        return numpy.where(lost, 0.0, value)
    # The last reading that came, or the next one.
    order = numpy.arange(value.shape[1])[None, :]
    if kind == "hold":
        last = numpy.maximum.accumulate(numpy.where(lost, 0, order), axis=1)
    else:
        last = numpy.minimum.accumulate(numpy.where(lost, value.shape[1] - 1, order)[:, ::-1], axis=1)[:, ::-1]
    return numpy.take_along_axis(value, last, axis=1)


def started(given, units):
    """Error of the state of charge at the beginning, in points."""
    start = given["start"]
    if start.get("kind") == "standard":
        return units.normal() * start["error_percent"]
    return units.draw() * start["error_percent"]


def run(given, plan, at, random, count, corners=False, capacity=None, misses=None, start=None):
    """Errors of the state of charge in points and of the count in Ah, [unit, time], at the given times in seconds.

    `capacity` is the true one. The times are moved to the end of the reading that is under way.
    """
    points, counts = [], []
    # All units of a phase see a step at the same place of a reading.
    phases = 4 if given["counting"]["aperture_s"] >= given["counting"]["period_s"] else 100
    for _ in range(phases):
        units = Units(random, count // phases, corners)
        points_here, counts_here = one_phase(given, plan, at, units, capacity, misses, start)
        points.append(points_here)
        counts.append(counts_here)
    return numpy.concatenate(points), numpy.concatenate(counts)


def one_phase(given, plan, at, units, capacity, misses, start):
    battery, counting, apart = given["battery"], given["counting"], given.get("apart")
    believed = battery["capacity_ah"]
    true_capacity = capacity or believed
    period = counting["period_s"]
    starts, true, where = readings(given, plan, units.random.random())
    # Whoever wakes up starts a reading at once: none is lost for a sleep that ends inside.
    after = numpy.minimum(numpy.searchsorted(plan.ends, starts + period, side="right"), plan.ends.size - 1)
    taken = plan.awake[where] | plan.awake[after]
    missed = share(counting["missed_percent"]) if misses is None else misses
    word = words(given, plan, units, true, where, missed) * taken[None, :]
    clock = 1.0 + units.draw() * 1e-6 * counting["clock_ppm"]
    word = word * clock[:, None] * period / HOUR
    if counting["longest_gap_s"]:
        word = gap(word, counting["longest_gap_s"] / period, units.random)
    lines = apart or {"efficiency_percent": 100.0, "assumed_efficiency_percent": 100.0}
    assumed = share(lines["assumed_efficiency_percent"])
    zero = numpy.zeros((units.count, 1))
    counted = numpy.concatenate([zero, numpy.cumsum(word, axis=1)], axis=1)
    gone = numpy.cumsum(numpy.where(word < 0.0, assumed, 1.0) * word, axis=1)
    gone = numpy.concatenate([zero, gone], axis=1)
    # Only whole readings are compared with the truth of the same time.
    last = numpy.searchsorted(starts + period, at + 1e-9, side="right")
    moment = numpy.where(last > 0, starts[numpy.maximum(last - 1, 0)] + period, 0.0)
    flowed = lambda amps: plan.total(amps, moment) / HOUR  # noqa: E731
    count_error = counted[:, last] - flowed(plan.amps)[None, :]
    hours = moment / HOUR
    left = true_loss(plan, units, apart, true_capacity, hours, flowed)
    first = started(given, units) if start is None else start
    error = first[:, None] + 100.0 * (left / true_capacity - gone[:, last] / believed)
    return error, count_error


def true_loss(plan, units, apart, capacity, hours, flowed):
    """Ah that left the cells, [unit, time]."""
    out = flowed(numpy.maximum(plan.amps, 0.0))[None, :]
    into = flowed(numpy.maximum(-plan.amps, 0.0))[None, :]
    if not apart:
        return numpy.repeat(out - into, units.count, axis=0)
    month = share(apart["self_discharge_percent_per_month"])
    month = month * (1.0 + units.draw() * share(apart["self_discharge_spread_percent"]))
    unseen = apart["unseen_a"] + units.draw() * apart["unseen_spread_a"]
    efficiency = share(apart["efficiency_percent"]) + units.draw() * share(apart["efficiency_spread_percent"])
    lost = (month * capacity / MONTH_H + unseen)[:, None] * hours[None, :]
    return out - efficiency[:, None] * into + lost


def gap(word, length, random):
    """One gap of this many readings somewhere in each run; the last reading before it is held, or nothing counts."""
    length = min(int(length), word.shape[1])
    if not length:
        return word
    first = random.integers(0, word.shape[1] - length + 1, word.shape[0])
    held = random.random(word.shape[0]) < 0.5
    for unit, (at, keep) in enumerate(zip(first, held, strict=True)):
        word[unit, at : at + length] = word[unit, at - 1] if keep and at else 0.0
    return word


# --- Anchors --------------------------------------------------------------------------------------------------------


def anchor_readings(given, soc, random, count, after, corners=False, cell_error_v=None):
    """States of charge that units read at rest, in points off the true one."""
    anchor, units = given["anchor"], Units(random, count, corners)
    curve = Curve(anchor["curve"])
    limit = anchor["cell_error_v"] if cell_error_v is None else cell_error_v
    volt = curve.at(soc) + units.draw() * limit + units.draw() * anchor["curve_error_v"]
    volt = volt + random.normal(size=count) * anchor["random_v"]
    volt = volt + units.draw() * anchor["entropy_v_per_k"] * anchor["temperature_error_k"]
    # Between nothing and all of it, to the side of the branch; all that is left of the relaxation goes the same way.
    branch = (units.draw() + 1.0) / 2.0
    volt = volt + after * branch * anchor["hysteresis_v"] / 2.0
    left = (units.draw() + 1.0) / 2.0 * (anchor.get("relax_v") or 0.0)
    volt = volt + after * left * math.exp(-anchor["rest_s"] / anchor["relax_tau_s"])
    # A current that flows at rest drops the voltage by its resistance.
    volt = volt - anchor["rest_current_a"] * anchor["cell_resistance_ohm"]
    return curve.back(volt) - soc
