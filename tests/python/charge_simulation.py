"""Charge counting in the time domain: many units, reading by reading, as firmware counts them.

A unit draws its errors within the limits of its design; every reading is a mean over the aperture of the true
current, made wrong by them, with noise, rounded, put through the dead band, perhaps missed, and added up by the
unit's own clock. The state of charge that the unit believes in is compared with the true one. No formula of an
error occurs here.
"""

import math

import numpy
import scipy.signal

from charge_model import HOUR, MONTH_H, WORST_SIGMAS, Curve, rounded

# Readings of one run at most: longer plans are shortened by the caller, not thinned out.
READINGS = 60_000
# A relaxed voltage goes this far with the branches of the hysteresis.
AFTER = {"discharge": (-1.0,), "charge": (1.0,), "either": (-1.0, 1.0)}


def share(value):
    return (value or 0.0) / 100.0


class Plan:
    """True current over time: pieces of (seconds, amperes, awake), as the use says, from the beginning of a day.

    Cycles are spread evenly over the day, and so are the hours awake; each moves the swing of the true capacity,
    or follows the rows of a course. What comes first is "discharge" or "charge"; "late" behind it: a cycle rests
    before the other one.
    """

    def __init__(self, given, hours, capacity, first="discharge"):
        use = given["usage"]
        self.standby = use["standby_a"]
        self.rows, self.left = [], hours * HOUR
        first, _, late = first.partition(" ")
        halves = {
            "discharge": (use.get("discharge_a") or 0.0, 1.0),
            "charge": (use.get("charge_a") or 0.0, -1.0),
        }
        order = [halves[first], *(half for name, half in halves.items() if name != first)]
        swing = share(use.get("swing_percent")) * capacity
        if use["kind"] == "one-way":
            order = order[:1]
        busy = [(swing * HOUR / amps, sign * amps) for amps, sign in order if use["kind"] != "rest" and amps]
        if use["kind"] == "profile":
            busy = [(row["duration_s"], row["current_a"]) for row in use["profile"]]
        each = use["cycles_per_day"] if use["kind"] in ("cycles", "profile") else 1.0
        while self.left > 1e-9:
            awake = use["awake_h"] * HOUR / each
            awake = max(awake - sum(seconds for seconds, _ in busy), 0.0)
            rest = [(awake, self.standby, True), ((24.0 - use["awake_h"]) * HOUR / each, 0.0, False)]
            pieces = [(seconds, amps, True) for seconds, amps in busy]
            at = 1 if late else len(pieces)
            for piece in pieces[:at] + rest + pieces[at:]:
                self.add(*piece)
            if use["kind"] == "one-way":
                busy = []
        rows = numpy.array([row for row in self.rows if row[0] > 1e-9], float)
        self.seconds, self.amps, self.awake = rows[:, 0], rows[:, 1], rows[:, 2] > 0.0
        self.ends = numpy.cumsum(self.seconds)
        self.starts = self.ends - self.seconds

    def add(self, seconds, amps, awake):
        seconds = min(seconds, self.left)
        self.left -= seconds
        self.rows.append((seconds, amps, float(awake)))

    def total(self, values, at):
        """Integral over time of a value of each piece, at these times."""
        sums = numpy.concatenate([[0.0], numpy.cumsum(values * self.seconds)])
        return numpy.interp(at, numpy.concatenate([[0.0], self.ends]), sums)

    def places(self, each=12):
        """Times to look at: the ends of all pieces and some between."""
        inner = self.starts[:, None] + self.seconds[:, None] * numpy.arange(1, each + 1) / each
        return inner.ravel()


# Most ends of a unit pull the same way: so many of them.
ALIGNED = 0.95


class Units:
    """Deviates between -1 and 1 of every unit: drawn inside the limits, or each at one of its ends."""

    def __init__(self, random, count, corners):
        self.random, self.count, self.corners = random, count, corners
        self.side = numpy.where(random.random(count) < 0.5, -1.0, 1.0)

    def draw(self, *more, pulls=0.0):
        """`pulls` is the sign with which a deviate moves the state of charge; none where that depends."""
        size = (self.count, *more)
        if not self.corners:
            return self.random.uniform(-1.0, 1.0, size)
        if not pulls:
            return numpy.where(self.random.random(size) < 0.5, -1.0, 1.0)
        side = pulls * self.side.reshape(-1, *[1] * len(more))
        return side * numpy.where(self.random.random(size) < ALIGNED, 1.0, -1.0)

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
    chain = chained(random, count, blocks + 1, step**samples)
    sums = weights[0] * chain[:, :-1] + weights[1] * chain[:, 1:] + own * random.normal(size=(count, blocks))
    return noise * sums / samples


def chained(random, count, length, factor):
    """Normal values of unit variance, each leaning on the one before."""
    fresh = random.normal(size=(count, length))
    if not factor:
        return fresh
    fresh[:, 1:] *= math.sqrt(1.0 - factor**2)
    return scipy.signal.lfilter([1.0], [1.0, -factor], fresh, axis=1)


def coded(random, value, samples, noise, sample_s, correlation_s, step, rounding):
    """Readings whose every sample is rounded: the current of a reading stands still, its noise does not."""
    factor = math.exp(-sample_s / correlation_s) if correlation_s else 0.0
    count, blocks = value.shape
    if not noise:
        return rounded(value, step, rounding)
    chain = noise * chained(random, count, blocks * samples, factor)
    words = rounded(numpy.repeat(value, samples, axis=1) + chain, step, rounding)
    return words.reshape(count, blocks, samples).mean(axis=2)


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


def words(given, plan, units, true, misses):
    """What firmware adds up: the word of every reading of every unit."""
    counter, counting = given["counter"], given["counting"]
    random, count = units.random, units.count
    offset = units.draw(pulls=-1.0) * counter["offset_a"] + units.draw(pulls=-1.0) * counter["drift_a"]
    if counting["zeroed_at_rest"]:
        # The zero is taken while the standby current flows.
        offset = units.draw(pulls=-1.0) * (counting.get("zero_left_a") or 0.0) - plan.standby
    gain = units.draw() * share(counter["gain_percent"])
    apart = units.draw(pulls=-1.0) * share(counter["asymmetry_percent"]) / 2.0
    bend = [units.draw(pulls=-1.0) * counter["bend_a"] for _ in range(3)]
    # Joints that warm up alike in every cycle, and noise so slow that it never averages.
    offset = offset + units.draw(pulls=-1.0) * counter["emf_a"] + units.normal() * counter["flicker_a"]
    out, into = (true > 0.0)[None, :], (true < 0.0)[None, :]
    value = true * (1.0 + gain[:, None]) + numpy.abs(true) * apart[:, None]
    value = value + offset[:, None]
    value = value + numpy.where(out, bend[0][:, None], numpy.where(into, bend[1][:, None], bend[2][:, None]))
    spread = (counter["averaging"], counter["noise_a"], counter["sample_s"], counter["noise_correlation_s"])
    if counting["step_a"]:
        value = coded(random, value, *spread, counting["step_a"], counting["rounding"])
    else:
        value = value + block_means(random, count, true.size, *spread)
    if counting["dead_band_a"]:
        value = numpy.where(numpy.abs(value) <= counting["dead_band_a"], 0.0, value)
    return replaced(given, value, random.random(value.shape) < misses) if misses else value


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


def started(given, units, place):
    """Error of the state of charge at the beginning, in points."""
    start = given["start"]
    if start["kind"] == "from-anchor":
        return anchored(given, units, place)
    if start["kind"] == "standard":
        return units.normal() * start["error_percent"]
    return units.draw(pulls=1.0) * start["error_percent"]


def run(given, plan, at, random, count, state, corners=False, place=None):
    """Errors of the state of charge in points and of the count in Ah, [unit, time], at the given times in seconds.

    The times are moved to the end of the reading that is under way. `place` is where an anchor was that begins.
    """
    points, counts = [], []
    # All units of a phase see a step at the same place of a reading.
    phases = 4 if given["counting"]["aperture_s"] >= given["counting"]["period_s"] else min(count, 40)
    for _ in range(phases):
        units = Units(random, count // phases, corners)
        points_here, counts_here = one_phase(given, plan, at, units, state, place)
        points.append(points_here)
        counts.append(counts_here)
    return numpy.concatenate(points), numpy.concatenate(counts)


def one_phase(given, plan, at, units, state, place):
    counting, apart = given["counting"], given.get("apart")
    believed, true_capacity = state.believed, state.capacity
    period = counting["period_s"]
    starts, true, where = readings(given, plan, units.random.random())
    # Whoever wakes up starts a reading at once: none is lost for a sleep that ends inside.
    after = numpy.minimum(numpy.searchsorted(plan.ends, starts + period, side="right"), plan.ends.size - 1)
    taken = plan.awake[where] | plan.awake[after]
    word = words(given, plan, units, true, state.missed) * taken[None, :]
    clock = 1.0 + units.draw() * 1e-6 * counting["clock_ppm"]
    word = word * clock[:, None] * period / HOUR
    if counting["longest_gap_s"]:
        word = gap(word, counting["longest_gap_s"] / period, units.random)
    lines = apart or {"efficiency_percent": 100.0, "assumed_efficiency_percent": 100.0}
    assumed = share(lines["assumed_efficiency_percent"])
    zero = numpy.zeros((units.count, 1))
    counted = numpy.concatenate([zero, numpy.cumsum(word, axis=1)], axis=1)
    gone = counted
    if assumed != 1.0:
        gone = numpy.cumsum(numpy.where(word < 0.0, assumed, 1.0) * word, axis=1)
        gone = numpy.concatenate([zero, gone], axis=1)
    # Only whole readings are compared with the truth of the same time.
    last = numpy.searchsorted(starts + period, at + 1e-9, side="right")
    moment = numpy.where(last > 0, starts[numpy.maximum(last - 1, 0)] + period, 0.0)
    flowed = lambda amps: plan.total(amps, moment) / HOUR  # noqa: E731
    count_error = counted[:, last] - flowed(plan.amps)[None, :]
    hours = moment / HOUR
    left = true_loss(plan, units, apart, true_capacity, hours, flowed)
    first = started(given, units, place)
    error = first[:, None] + 100.0 * (left / true_capacity - gone[:, last] / believed)
    return error, count_error


def true_loss(plan, units, apart, capacity, hours, flowed):
    """Ah that left the cells, [unit, time]."""
    out = flowed(numpy.maximum(plan.amps, 0.0))[None, :]
    into = flowed(numpy.maximum(-plan.amps, 0.0))[None, :]
    if not apart:
        return numpy.repeat(out - into, units.count, axis=0)
    month = share(apart.get("self_discharge_percent_per_month"))
    month = month * (1.0 + units.draw(pulls=1.0) * share(apart["self_discharge_spread_percent"]))
    unseen = (apart.get("unseen_a") or 0.0) + units.draw(pulls=1.0) * apart["unseen_spread_a"]
    efficiency = share(apart["efficiency_percent"]) + units.draw(pulls=-1.0) * share(apart["efficiency_spread_percent"])
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


def anchored(given, units, place):
    """What anchors leave at a place, in points: either branch, where the rest may follow either."""
    after = units.random.choice(AFTER[given["anchor"]["after"]], units.count)
    return anchor_readings(given["anchor"], place, units, after)


def anchor_readings(anchor, place, units, after):
    """States of charge that units read at rest, in points off the true one; `after` is the side of what lags."""
    curve = Curve(anchor["curve"])
    # The side of a reading that is too high; of the branch it is given.
    flat = lambda limit: units.draw(pulls=1.0) * limit  # noqa: E731
    true = curve.at(place)
    volt = true + flat(anchor["cell_error_v"]) + flat(anchor["curve_error_v"])
    volt = volt + flat(share(anchor["gain_percent"]) * true)
    volt = volt + units.normal() * anchor["random_v"]
    volt = volt + flat(anchor["entropy_v_per_k"] * anchor["temperature_error_k"])
    volt = volt + flat(anchor["rest_current_a"] * anchor["cell_resistance_ohm"])
    # Between nothing and all of it, to the side of the branch.
    part = lambda: (units.draw() + 1.0) / 2.0  # noqa: E731
    left = (anchor.get("relax_v") or 0.0) * math.exp(-anchor["rest_s"] / anchor["relax_tau_s"])
    return curve.back(volt + after * (part() * anchor["hysteresis_v"] / 2.0 + part() * left)) - place
