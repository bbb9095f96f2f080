"""Worst-case and 95 % cone of the state of charge of a design with a typed counter, source by source.

Every source is added up over the plan with its sign first; limits and variances come after. All results are in points at
the times asked for.
"""

import itertools
import math

import numpy

from charge_model import (
    HOUR,
    MONTH_H,
    WORST_SIGMAS,
    block_deviation,
    covered,
    mean_kept,
    rounding_limit,
)

# The error of a small current is looked at in so many places between its limits, where rounding and dead band bend it.
BENT_STEPS = 81


def share(value):
    return (value or 0.0) / 100.0


class Source:
    """What one source may add at each time: `unit` is one deviate, `cycle` one for each cycle, `normal` a deviation."""

    def __init__(self, name, kind, amounts):
        self.name, self.kind, self.amounts = name, kind, amounts


class Cones:
    """The sources of a design over a plan, at these times in seconds."""

    def __init__(self, given, plan, at):
        self.given, self.plan, self.at = given, plan, numpy.asarray(at, float)
        self.believed = given["battery"]["capacity_ah"]
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

    def by_cycle(self):
        """Awake hours of each cycle, [cycle, time]."""
        return numpy.array(
            [
                self.plan.total((self.counted & (self.plan.cycle == cycle)).astype(float), self.at) / HOUR
                for cycle in range(self.plan.cycle.max() + 1)
            ]
        )

    # --- Sources of the count, in Ah ---

    def sources(self):
        counter, counting = self.given["counter"], self.given["counting"]
        zeroed = counting["zeroed_at_rest"]
        offset = counting.get("zero_left_a") if zeroed else counter["offset_a"]
        net, through = self.out - self.into, self.out + self.into
        yield Source("offset", "unit", (offset or 0.0) * self.time)
        yield Source("gain", "unit", share(counter["gain_percent"]) * net)
        yield Source("clock", "unit", 1e-6 * counting["clock_ppm"] * net)
        yield Source("asymmetry", "unit", share(counter["asymmetry_percent"]) / 2.0 * through)
        for sign in (1.0, -1.0):
            hours = sum((self.hours_at(amps) for amps in self.levels if amps * sign > 0.0), numpy.zeros_like(self.at))
            yield Source("bend", "unit", counter["bend_a"] * hours)
        cycles = self.by_cycle()
        yield Source("emf", "cycle", counter["emf_a"] * cycles)
        yield Source("flicker", "normal", counter["flicker_a"] * numpy.sqrt((cycles**2).sum(axis=0)))
        limit = rounding_limit(counting["step_a"], self.word_noise())
        for amps in self.levels:
            # Rounding down about nothing takes a whole step or none, by the sign of what else is wrong.
            edge = counting["rounding"] == "floor" and abs(amps) < self.reach() and limit > 0.3 * counting["step_a"]
            yield Source("rounding", "ends" if edge else "unit", limit * self.hours_at(amps))
        yield Source("noise", "normal", self.word_deviation() * numpy.sqrt(self.awake_time))
        yield Source("missed", "normal", self.missed())
        if counting["longest_gap_s"]:
            peak = max((abs(amps) for amps in self.levels), default=0.0)
            yield Source("gap", "unit", numpy.full_like(self.at, peak * counting["longest_gap_s"] / HOUR))
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
        dither = step**2 / 12.0 * period if step else 0.0
        return math.sqrt((long_run * stretched + dither) / HOUR)

    def missed(self):
        counting = self.given["counting"]
        m, period = share(counting["missed_percent"]), counting["period_s"]
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
        return (offset or 0.0) + counter["emf_a"] + counter["bend_a"] + WORST_SIGMAS * counter["flicker_a"]

    def bent(self):
        """(level, lowest and highest mean error in amperes) of currents that may partly vanish."""
        counting, noise = self.given["counting"], self.word_noise()
        step, band = counting["step_a"], counting["dead_band_a"]
        if not band and (counting["rounding"] != "toward-zero" or not step):
            return
        for amps in self.levels:
            shift = -self.plan.standby if counting["zeroed_at_rest"] else 0.0
            if abs(amps + shift) > self.reach() + band + 2.0 * step + 5.0 * noise:
                continue
            offs = numpy.linspace(-self.reach(), self.reach(), BENT_STEPS) + shift
            rates = [mean_kept(amps + off, step, noise, counting["rounding"], band) - amps for off in offs]
            yield amps, min(rates), max(rates)

    # --- What is known, in points; the states ---

    def fixed(self, missed, capacity, small=0.0):
        """Points that have their sign, for a true capacity, a share of missed readings, and Ah of small currents."""
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
            lost = share(apart["self_discharge_percent_per_month"]) * capacity / MONTH_H + apart["unseen_a"]
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
        month = share(apart["self_discharge_percent_per_month"]) * share(apart["self_discharge_spread_percent"])
        yield Source("self-discharge", "unit", 100.0 * month * self.wall / MONTH_H)
        yield Source("unseen", "unit", 100.0 * apart["unseen_spread_a"] * self.wall / capacity)
        yield Source("efficiency", "unit", apart["efficiency_spread_percent"] * self.into / capacity)

    def states(self):
        """(missed share, true capacity) of every state that the design allows."""
        battery, counting = self.given["battery"], self.given["counting"]
        spread = share(battery["capacity_error_percent"])
        ages = [1.0] if battery["capacity_learned"] else [1.0, share(battery["soh_end_percent"])]
        capacities = {self.believed * (age + sign * spread) for age in ages for sign in (-1.0, 1.0)}
        return list(itertools.product({0.0, share(counting["missed_percent"])}, capacities))

    def scaled(self, capacity):
        """All sources in points, with the error at the beginning."""
        start = self.given["start"]
        kind = "normal" if start.get("kind") == "standard" else "unit"
        yield Source("start", kind, numpy.full_like(self.at, start.get("error_percent") or 0.0))
        for source in self.sources():
            yield Source(source.name, source.kind, 100.0 * numpy.abs(source.amounts) / self.believed)
        yield from self.spreads(capacity)

    # --- Cones ---

    def worst(self):
        """Lowest and highest error over all states at each time."""
        low, high = numpy.full_like(self.at, math.inf), numpy.full_like(self.at, -math.inf)
        self.set_apart(True)
        ends = [sum((rate[side] * self.hours_at(amps, self.plan.awake) for amps, rate in self.small.items()), 0.0) for side in (0, 1)]
        for missed, capacity in self.states():
            limits, squares = numpy.zeros_like(self.at), numpy.zeros_like(self.at)
            for source in self.scaled(capacity):
                if source.kind == "normal":
                    squares += source.amounts**2
                else:
                    limits += source.amounts.sum(axis=0) if source.kind == "cycle" else source.amounts
            reach = limits + WORST_SIGMAS * numpy.sqrt(squares)
            # What is counted too much takes state of charge away.
            low = numpy.minimum(low, self.fixed(missed, capacity, ends[1]) - reach)
            high = numpy.maximum(high, self.fixed(missed, capacity, ends[0]) + reach)
        return low, high

    def inside(self):
        """The 95 % half-width about nothing at each time, the largest over all states."""
        best = numpy.zeros(self.at.size)
        for apart in {False, bool(self.small)}:
            self.set_apart(apart)
            # Set apart, small currents vanish altogether.
            lost = -sum((amps * self.hours_at(amps, self.plan.awake) for amps in self.small), 0.0) if apart else 0.0
            for missed, capacity in self.states():
                best = numpy.maximum(best, self.inside_state(self.fixed(missed, capacity, lost), capacity))
        return best

    def inside_state(self, known, capacity):
        found, sources = numpy.empty(self.at.size), list(self.scaled(capacity))
        for index in range(self.at.size):
            limits, ends, squares = [], [], 0.0
            for source in sources:
                if source.kind == "normal":
                    squares += source.amounts[index] ** 2
                elif source.kind == "unit":
                    limits.append(source.amounts[index])
                elif source.kind == "ends":
                    ends.append(source.amounts[index])
                else:
                    limits.extend(source.amounts[:, index])
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
