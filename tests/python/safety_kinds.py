"""Checks beside the comparison, event by event: what a unit of each kind says about a fault, sample by sample.

Each function gives, for many units, whether the check spoke. What is seen for certain is what every unit sees, what is
a false alarm is what any healthy unit says; nothing here knows a limit from a formula.
"""

import math

import numpy

from safety_circuits import GROUND, Circuit

# --- Slope ----------------------------------------------------------------------------------------------------------


def slopes(random, units, samples, interval_s, limit, n, slope=0.0, sigma=0.0, step=0.0, hold=False, grows=False):
    """Which units speak: a signal on a ramp jumps by a step before the middle sample. Against the last sample, or
    (`hold`) against the last one that was accepted, the limit per interval or (`grows`) per time since then."""
    kept = random.normal(0.0, sigma, units) if sigma else numpy.zeros(units)
    run, since, spoke = numpy.zeros(units, int), numpy.ones(units, int), numpy.zeros(units, bool)
    for place in range(1, samples):
        told = slope * interval_s * place + step * (place >= samples // 2)
        told = told + random.normal(0.0, sigma, units) if sigma else numpy.full(units, told)
        span = interval_s * (since if grows else 1)
        over = numpy.abs(told - kept) > limit * span
        run = numpy.where(over, run + 1, 0)
        spoke |= run >= n
        held = over & hold
        kept, since = numpy.where(held, kept, told), numpy.where(held, since + 1, 1)
    return spoke


# --- Open wire ------------------------------------------------------------------------------------------------------


def sense_pair(wire_ohm, leg_ohm, across_ohm, farad=0.0):
    """Both sense wires with their legs at one point of the battery, and what stands across the input."""
    parts = {
        "wire": (GROUND, "wire", wire_ohm),
        "leg": ("wire", "plus", leg_ohm),
        "return": (GROUND, "minus", leg_ohm),
        "across": ("plus", "minus", across_ohm),
    }
    return Circuit(parts, {}, {}, {"filter": ("plus", "minus", farad)} if farad else {})


def moved_v(wire_ohm, leg_ohm, across_ohm, test_a, farad=0.0, seconds=math.inf):
    """How far a test current moves the input, settled or after some time."""
    circuit = sense_pair(wire_ohm, leg_ohm, across_ohm, farad)
    circuit.currents["test"] = ("minus", "plus", test_a)
    if farad and math.isfinite(seconds):
        volts = circuit.after({"filter": 0.0}, seconds, 1000)
    else:
        volts = circuit.solve()
    return volts["plus"] - volts["minus"]


def wire_unseen_ohm(limit_v, error_v, test, steps=2001, reach=(1e3, 1e5)):
    """The highest resistance of a wire that some unit does not see, walked up; infinite where an open one is missed.
    `test` gives the volts of a resistance."""
    unseen = 0.0
    for ohm in [*numpy.geomspace(*reach, steps), math.inf]:
        if test(float(ohm)) - error_v <= limit_v:
            unseen = float(ohm)
    return unseen


# --- Current and heat -----------------------------------------------------------------------------------------------


class Body:
    """A conductor that warms on one thermal node by what flows, and firmware that expects what is told to warm it."""

    def __init__(self, ohm, k_per_w, tau_s):
        self.ohm, self.k_per_w, self.tau_s = ohm, k_per_w, tau_s

    def difference_k(self, flows_a, told_a, seconds, steps=4000):
        """Measured less expected warming over time, both from cold."""
        step, real, model, found = seconds / steps, 0.0, 0.0, []
        # Midpoint rule: the node follows its final value.
        for _ in range(steps):
            for_real = flows_a**2 * self.ohm * self.k_per_w
            for_model = told_a**2 * self.ohm * self.k_per_w
            half = step / self.tau_s / 2.0
            real += (for_real - real) * 2.0 * half / (1.0 + half)
            model += (for_model - model) * 2.0 * half / (1.0 + half)
            found.append(real - model)
        return (numpy.arange(steps) + 1.0) * step, numpy.array(found)

    def seen_after_s(self, flows_a, told_a, limit_k, error_k, longest_s):
        """Seconds until the unit that hides it best speaks, the fault standing before the current comes."""
        at, off = self.difference_k(flows_a, told_a, longest_s)
        beyond = numpy.flatnonzero(numpy.abs(off) - error_k >= limit_k)
        return float(at[beyond[0]]) if beyond.size else math.inf


# --- Steps of a current ---------------------------------------------------------------------------------------------


def stepped_ohm(random, units, step_a, ohm, noise_a=0.0, noise_v=0.0, gain=1.0, offset_a=0.0):
    """Resistances that units work out from a step of current and the drop it makes: an offset falls out."""
    before = offset_a + random.normal(0.0, noise_a, units)
    after = gain * step_a + offset_a + random.normal(0.0, noise_a, units)
    drop = step_a * ohm + random.normal(0.0, noise_v, units) - random.normal(0.0, noise_v, units)
    return drop / (after - before)


# --- Closure of a count ---------------------------------------------------------------------------------------------


def closed(random, units, fault_a, hours, anchor_share, capacity_ah, offset_a, uses=288):
    """Counted less anchored charge of a day in uses of random currents: each anchor errs on its own, the count by a
    fault and by an offset that a unit keeps. Units stand at the corners of their errors."""
    step = hours / uses
    flows = random.normal(0.0, 0.2 * capacity_ah, (min(units, 64), uses))
    true = flows.sum(axis=1) * step
    signs = numpy.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], float)
    corner = signs[numpy.arange(units) % 8]
    which = numpy.arange(units) % len(true)
    off = fault_a + corner[:, 0] * offset_a
    counted = (flows[which] + off[:, None]).sum(axis=1) * step
    anchored = true[which] + anchor_share * capacity_ah * (corner[:, 1] - corner[:, 2])
    return counted - anchored


# --- Two clocks -----------------------------------------------------------------------------------------------------


def clocks(random, units, drift, own, other, gate_s, tick_s):
    """Share by which one clock runs fast, as counted in a gate that the other one opens: units at the corners of both
    errors, ticks anywhere against the gate."""
    sign = random.choice([-1.0, 1.0], (2, units))
    one, second = (1.0 + drift) * (1.0 + own * sign[0]), 1.0 + other * sign[1]
    # The gate lasts as long as the second clock takes for it.
    lasts = gate_s / second
    start = random.random(units)
    ticks = numpy.floor(start + lasts * one / tick_s)
    return ticks * tick_s / gate_s - 1.0


# --- Equal codes ----------------------------------------------------------------------------------------------------


def stuck_after(random, units, sigma_steps, count, interval_s, samples, stuck_from=None):
    """Seconds after which each unit has seen so many equal codes, from when its code is held, or from the start where
    it is not: infinite where it has not."""
    codes = numpy.rint(random.normal(random.random(units)[:, None], sigma_steps, (units, samples)))
    if stuck_from is not None:
        codes[:, stuck_from:] = codes[:, stuck_from : stuck_from + 1]
    run, found = numpy.ones(units, int), numpy.full(units, math.inf)
    for place in range(1, samples):
        run = numpy.where(codes[:, place] == codes[:, place - 1], run + 1, 1)
        first = (run >= count) & ~numpy.isfinite(found)
        found[first] = (place - (stuck_from or 0)) * interval_s
    return found


# --- Two channels, one value used -----------------------------------------------------------------------------------

USES = {
    "a": lambda a, b: a,
    "b": lambda a, b: b,
    "mean": lambda a, b: (a + b) / 2.0,
    "larger": lambda a, b: numpy.maximum(a, b),
}


def used(use, a, b):
    """The value that the design goes on with."""
    return USES[use](a, b)


def differences(random, units, samples, interval_s, slope, skew_s, fault=0.0, errors=(0.0, 0.0), sigmas=(0.0, 0.0)):
    """Differences of two channels that look at different moments, units at the corners of both errors."""
    sign = random.choice([-1.0, 1.0], (2, units, 1))
    at = interval_s * numpy.arange(samples)
    one = slope * at + fault + errors[0] * sign[0] + random.normal(0.0, 1.0, (units, samples)) * sigmas[0]
    two = slope * (at - skew_s) + errors[1] * sign[1] + random.normal(0.0, 1.0, (units, samples)) * sigmas[1]
    return one, two
