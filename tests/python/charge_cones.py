"""Worst-case and 95 % cone of the state of charge of a design with a typed counter, source by source.

Every source is added up over the plan with its sign first; limits and variances come after. All results are in
points at the times asked for.
"""

import collections
import itertools
import math

import numpy

from charge_model import (
    HOUR,
    MONTH_H,
    WORST_SIGMAS,
    block_deviation,
    covered,
    kept_current,
    mean_word,
    rounding_limit,
)

# The error of a small current is looked at in so many places between its limits, where rounding and dead band bend it.
BENT_STEPS = 81
# Noise in steps from which on the mean of rounded samples counts as helped by it.
DITHER = 0.3


def share(value):
    return (value or 0.0) / 100.0


class Source:
    """What one source may add at each time: a limit (`unit`), one of two values (`ends`) or a deviation (`normal`)."""

    def __init__(self, name, kind, amounts):
        self.name, self.kind, self.amounts = name, kind, amounts


State = collections.namedtuple("State", "first capacity believed missed")


def states(given):
    """Every state that the design allows: what comes first, capacities in Ah, share of missed readings."""
    battery, counting = given["battery"], given["counting"]
    new = battery["capacity_ah"]
    firsts = ("discharge",) if given["usage"]["kind"] in ("rest", "profile") else ("discharge", "charge")
    if given["usage"]["kind"] == "cycles":
        # Nobody has said when one charges: a cycle may rest before it turns.
        firsts += ("discharge late", "charge late")
    found = set()
    for first, age, missed in itertools.product(
        firsts, (1.0, share(battery["soh_end_percent"])), (0.0, share(counting["missed_percent"]))
    ):
        believed = new * age if battery["capacity_learned"] else new
        found.add(State(first, new * age, believed, missed))
    return sorted(found)


def truly(given, state, deviate):
    """The state with a true capacity that is off by this much of its limit."""
    return state._replace(capacity=state.capacity * (1.0 + deviate * share(given["battery"]["capacity_error_percent"])))


class Cones:
    """The sources of a design over a plan, in one state, at these times in seconds."""

    def __init__(self, given, plan, at, state):
        self.given, self.plan, self.at, self.state = given, plan, numpy.asarray(at, float), state
        self.believed = state.believed
        awake = plan.awake.astype(float)
        self.levels = sorted({float(amps) for amps in plan.amps[plan.awake]})
        # What small currents may lose; while they are taken apart no source counts for their time.
        self.small = {amps: (low, high) for amps, low, high in self.bent()}
        self.counted = plan.awake
        # Chance does not mind what becomes of the mean.
        self.awake_time = plan.total(awake, at) / HOUR
        self.wall = self.at / HOUR
        self.out = plan.total(numpy.maximum(plan.amps, 0.0) * awake, at) / HOUR
        self.into = plan.total(numpy.maximum(-plan.amps, 0.0) * awake, at) / HOUR

    def set_apart(self, small):
        """Counts the hours of small currents for the sources, or not."""
        apart = numpy.isin(self.plan.amps, list(self.small)) if small else False
        self.counted = self.plan.awake & ~numpy.asarray(apart)

    @property
    def time(self):
        return self.plan.total(self.counted.astype(float), self.at) / HOUR

    def hours_at(self, amps, counted=None):
        there = (self.counted if counted is None else counted) & (self.plan.amps == amps)
        return self.plan.total(there.astype(float), self.at) / HOUR

    # --- Sources of the count, in Ah ---

    def sources(self):
        counter, counting = self.given["counter"], self.given["counting"]
        zeroed = counting["zeroed_at_rest"]
        offset = counting.get("zero_left_a") if zeroed else counter["offset_a"]
        net, through = self.out - self.into, self.out + self.into
        yield Source("offset", "unit", (offset or 0.0) * self.time)
        if not zeroed:
            yield Source("drift", "unit", counter["drift_a"] * self.time)
        yield Source("gain", "unit", share(counter["gain_percent"]) * net)
        yield Source("clock", "unit", 1e-6 * counting["clock_ppm"] * net)
        yield Source("asymmetry", "unit", share(counter["asymmetry_percent"]) / 2.0 * through)
        # At rest the non-linearity has a value of its own, as each direction has.
        levels = {name: [] for name in ("discharge", "charge", "rest")}
        for amps in self.levels:
            levels["rest" if amps in (0.0, self.plan.standby) else "discharge" if amps > 0.0 else "charge"].append(amps)
        for found in levels.values():
            hours = sum((self.hours_at(amps) for amps in found), numpy.zeros_like(self.at))
            yield Source("bend", "unit", counter["bend_a"] * hours)
        # The same joints warm up alike in every cycle.
        yield Source("emf", "unit", counter["emf_a"] * self.time)
        # It never averages: not over cycles either.
        yield Source("flicker", "normal", counter["flicker_a"] * self.time)
        # Less than this much noise is taken for none.
        dithered = counter["noise_a"] >= DITHER * counting["step_a"]
        limit = rounding_limit(counting["step_a"], counter["noise_a"] if dithered else 0.0)
        for amps in self.levels:
            # Rounding down about nothing takes a whole step or none, by the sign of what else is wrong.
            edge = counting["rounding"] == "floor" and abs(amps) < self.reach() and limit > 0.3 * counting["step_a"]
            yield Source("rounding", "ends" if edge else "unit", limit * self.hours_at(amps))
        yield Source("noise", "normal", self.word_deviation() * numpy.sqrt(self.awake_time))
        yield Source("missed", "normal", self.missed())
        peak = max((abs(amps) for amps in self.levels), default=0.0)
        # A loss that is rare is no normal part: one reading counts whole.
        single = counting["period_s"] if self.state.missed and counting["missed_reading"] != "timed" else 0.0
        gap = max(counting["longest_gap_s"], single)
        yield Source("gap", "unit", numpy.full_like(self.at, peak * gap / HOUR))
        yield Source("steps", "normal", self.steps())

    def word_noise(self):
        counter = self.given["counter"]
        return block_deviation(
            counter["noise_a"], counter["averaging"], counter["sample_s"], counter["noise_correlation_s"]
        )

    def word_deviation(self):
        """Of the count after one hour, in Ah: samples that are correlated add up to more."""
        counter = self.given["counter"]
        sample, tau = counter["sample_s"], counter["noise_correlation_s"]
        period = self.given["counting"]["period_s"]
        factor = math.exp(-sample / tau) if tau else 0.0
        long_run = counter["noise_a"] ** 2 * sample * (1.0 + factor) / (1.0 - factor)
        # A reading stands for its period, however few samples it was made of.
        stretched = period / (sample * counter["averaging"])
        step = self.given["counting"]["step_a"]
        dither = step**2 / 12.0 * sample if step and counter["noise_a"] else 0.0
        return math.sqrt((long_run * stretched + dither) / HOUR)

    def missed(self):
        counting = self.given["counting"]
        m, period = self.state.missed, counting["period_s"]
        if counting["missed_reading"] == "zero":
            squares = self.plan.total(self.plan.amps**2 * self.plan.awake, self.at)
            return numpy.sqrt(period * m * (1.0 - m) * squares) / HOUR
        return period * numpy.sqrt(m * self.stepped()) / HOUR

    def steps(self):
        counting = self.given["counting"]
        unseen = counting["period_s"] - counting["aperture_s"]
        return unseen * numpy.sqrt(self.stepped() / 12.0) / HOUR

    def now(self):
        """The current that flows just before each time."""
        where = numpy.searchsorted(self.plan.ends, self.at - 1e-6)
        return (self.plan.amps * self.plan.awake)[numpy.minimum(where, self.plan.ends.size - 1)]

    def stepped(self):
        """Sum of the squared steps so far."""
        steps = numpy.diff(numpy.concatenate([[0.0], self.plan.amps * self.plan.awake]))
        return numpy.array([(steps[self.plan.starts < at - 1e-9] ** 2).sum() for at in self.at])

    # --- Small currents: what rounding toward zero and the dead band leave of them ---

    def reach(self):
        """How far the steady errors of a reading go, in amperes."""
        counter, counting = self.given["counter"], self.given["counting"]
        offset = counting.get("zero_left_a") if counting["zeroed_at_rest"] else counter["offset_a"]
        offset = (offset or 0.0) + (0.0 if counting["zeroed_at_rest"] else counter["drift_a"])
        return offset + counter["emf_a"] + counter["bend_a"] + WORST_SIGMAS * counter["flicker_a"]

    def bent(self):
        """(level, lowest and highest mean error in amperes) of currents that may partly vanish."""
        counting, noise, single = self.given["counting"], self.word_noise(), self.given["counter"]["noise_a"]
        step, band = counting["step_a"], counting["dead_band_a"]
        if not band and (counting["rounding"] != "toward-zero" or not step):
            return
        for amps in self.levels:
            shift = -self.plan.standby if counting["zeroed_at_rest"] else 0.0
            if abs(amps + shift) > self.reach() + band + 2.0 * step + 5.0 * noise:
                continue
            offs = numpy.linspace(-self.reach(), self.reach(), BENT_STEPS) + shift
            coded = lambda v: mean_word(v, step, single, counting["rounding"]) if step else v  # noqa: E731
            rates = [kept_current(coded(amps + off), noise, band) - amps for off in offs]
            yield amps, min(rates), max(rates)

    # --- What is known, in points; the states ---

    def fixed(self, small=0.0):
        """Points that have their sign; with Ah that small currents leave."""
        missed, capacity = self.state.missed, self.state.capacity
        counting, apart = self.given["counting"], self.given.get("apart")
        net = self.out - self.into
        known = numpy.zeros_like(self.at)
        if counting["missed_reading"] == "zero":
            known -= missed * net
        # A spot value stands until the next one: half a reading of every step is missing in the mean.
        unseen = counting["period_s"] - counting["aperture_s"]
        known -= unseen / 2.0 * self.now() / HOUR
        step = counting["step_a"]
        if step and counting["rounding"] == "floor":
            known -= step / 2.0 * self.time
        if step and counting["rounding"] == "toward-zero":
            for amps in self.levels:
                known -= numpy.sign(amps) * step / 2.0 * self.hours_at(amps)
        if counting["zeroed_at_rest"]:
            known -= self.plan.standby * self.time
        known += small
        points = -100.0 * known / self.believed
        points += 100.0 * net * (1.0 / capacity - 1.0 / self.believed)
        if apart:
            lost = share(apart.get("self_discharge_percent_per_month")) * capacity / MONTH_H
            lost += apart.get("unseen_a") or 0.0
            believed = share(apart["assumed_efficiency_percent"]) / self.believed
            points += 100.0 * (lost * self.wall / capacity)
            points += 100.0 * self.into * (
                (1.0 - share(apart["efficiency_percent"])) / capacity - (1.0 / self.believed - believed)
            )
        return points

    def spreads(self, capacity):
        apart = self.given.get("apart")
        if not apart:
            return
        month = share(apart.get("self_discharge_percent_per_month")) * share(apart["self_discharge_spread_percent"])
        yield Source("self-discharge", "unit", 100.0 * month * self.wall / MONTH_H)
        yield Source("unseen", "unit", 100.0 * apart["unseen_spread_a"] * self.wall / capacity)
        yield Source("efficiency", "unit", apart["efficiency_spread_percent"] * self.into / capacity)

    def scaled(self):
        """All sources in points, with the error at the beginning."""
        start = self.given["start"]
        kind = "normal" if start.get("kind") == "standard" else "unit"
        yield Source("start", kind, numpy.full_like(self.at, start.get("error_percent") or 0.0))
        # What has flowed at a time is known; what it is of the capacity is not.
        unknown = share(self.given["battery"]["capacity_error_percent"]) * numpy.abs(self.out - self.into)
        yield Source("capacity", "unit", 100.0 * unknown / self.state.capacity)
        for source in self.sources():
            yield Source(source.name, source.kind, 100.0 * numpy.abs(source.amounts) / self.believed)
        yield from self.spreads(self.state.capacity)

    # --- Cones ---

    def worst(self):
        """Lowest and highest error at each time."""
        self.set_apart(True)
        ends = [
            sum((rate[side] * self.hours_at(amps, self.plan.awake) for amps, rate in self.small.items()), 0.0)
            for side in (0, 1)
        ]
        limits, squares = numpy.zeros_like(self.at), numpy.zeros_like(self.at)
        for source in self.scaled():
            if source.kind == "normal":
                squares += source.amounts**2
            else:
                limits += source.amounts
        reach = limits + WORST_SIGMAS * numpy.sqrt(squares)
        # What is counted too much takes state of charge away.
        return self.fixed(ends[1]) - reach, self.fixed(ends[0]) + reach

    def inside(self):
        """The 95 % half-width about nothing at each time."""
        best = numpy.zeros(self.at.size)
        for apart in {False, bool(self.small)}:
            self.set_apart(apart)
            # Set apart, small currents vanish altogether.
            lost = -sum((amps * self.hours_at(amps, self.plan.awake) for amps in self.small), 0.0) if apart else 0.0
            best = numpy.maximum(best, self.inside_state(self.fixed(lost)))
        return best

    def inside_state(self, known):
        found, sources = numpy.empty(self.at.size), list(self.scaled())
        for index in range(self.at.size):
            limits, ends, squares = [], [], 0.0
            for source in sources:
                if source.kind == "normal":
                    squares += source.amounts[index] ** 2
                elif source.kind == "unit":
                    limits.append(source.amounts[index])
                else:
                    ends.append(source.amounts[index])
            found[index] = covered(known[index], limits, math.sqrt(squares), ends=ends)
        return found


def first_crossing(at, values, limit):
    """First time at which a value that is straight between the places reaches the limit; none inside the plan."""
    over = numpy.flatnonzero(values >= limit)
    if not over.size:
        return None
    index = over[0]
    if index == 0:
        return float(at[0])
    part = (limit - values[index - 1]) / (values[index] - values[index - 1])
    return float(at[index - 1] + part * (at[index] - at[index - 1]))
