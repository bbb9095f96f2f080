"""Plausibility checks of a reading, sample by sample: what they see, how often, how late, and how often for nothing.

A check compares a difference with a limit L at every interval and speaks after n samples in a row beyond it. The
difference is a fault, an error that a unit keeps for ever, and noise that is new in every sample. Nothing here uses the
closed form of a run of n: runs are counted, or followed as a chain of states.
"""

import itertools
import math

import numpy
import scipy.integrate
import scipy.stats


# --- Runs of samples beyond the limit -------------------------------------------------------------------------------


def first_run(beyond, n):
    """Place of the sample that completes the first n in a row, for each line; its length where there is none."""
    count, found = numpy.zeros(len(beyond), int), numpy.full(len(beyond), beyond.shape[1])
    for place in range(beyond.shape[1]):
        count = numpy.where(beyond[:, place], count + 1, 0)
        found = numpy.where((count == n) & (found > place), place, found)
    return found


def chain(p, n):
    """Transition matrix of the samples in a row so far, the last state being the alarm."""
    step = numpy.zeros((n + 1, n + 1))
    step[:n, 0] = 1.0 - p
    for run in range(n):
        step[run, run + 1] = p
    step[n, n] = 1.0
    return step


def run_probability(p, n, samples):
    """Probability of n in a row among so many samples."""
    return float(numpy.linalg.matrix_power(chain(p, n), max(samples, 0))[0, n])


def alarms_an_hour(p, n, interval_s):
    """One over the mean time until n in a row, counted from nothing after each alarm."""
    waits = numpy.eye(n) - chain(p, n)[:n, :n]
    # A chance far below a rounding error of 1: solved backwards from the alarm, where nothing is subtracted.
    if p**n < 1e-9:
        return 3600.0 / interval_s / sum(p ** (n - k - 1.0) for k in range(n)) * p**n
    mean = numpy.linalg.solve(waits, numpy.ones(n))[0]
    return 3600.0 / (mean * interval_s)


def beyond(difference, limit, sigma):
    """Probability that one sample is beyond the limit, on either side."""
    if sigma == 0.0:
        return float(abs(difference) > limit)
    return float(scipy.stats.norm.sf((limit - difference) / sigma) + scipy.stats.norm.sf((limit + difference) / sigma))


# --- Units ----------------------------------------------------------------------------------------------------------


def statics(random, units, limits=(), normals=()):
    """What each unit is off for ever: rectangular limits and normal parts."""
    found = numpy.zeros(units)
    for half in limits:
        found += random.uniform(-half, half, units)
    for u in normals:
        found += random.normal(0.0, u, units)
    return found


def found_by(random, units, samples, fault, limit, n, sigmas, limits=(), normals=()):
    """Share of units whose check speaks within so many samples: each has its own error, each sample its own noise."""
    found, left = 0, units
    while left:
        some = min(left, max(1, 2_000_000 // max(samples, 1)))
        error = statics(random, some, limits, normals)[:, None] + fault
        for sigma in sigmas:
            error = error + random.normal(0.0, sigma, (some, samples)) if sigma else error
        error = numpy.broadcast_to(error, (some, samples))
        found += int((first_run(numpy.abs(error) > limit, n) < samples).sum())
        left -= some
    return found / units


def expected(samples, fault, limit, n, sigma, limits=(), normals=(), cells=4000):
    """The same by a chain of states, averaged over the distribution of the static error."""
    values, weight = spread_of(limits, normals, cells)
    given = [run_probability(beyond(fault + value, limit, sigma), n, samples) for value in values]
    return float(numpy.dot(given, weight))


def spread_of(limits, normals, cells):
    """Places and weights of a sum of rectangles and normal parts, convolved on a grid."""
    reach = sum(limits) + 6.0 * math.hypot(*normals) if limits or normals else 0.0
    if reach == 0.0:
        return numpy.zeros(1), numpy.ones(1)
    cells += 1 - cells % 2
    x = numpy.linspace(-reach, reach, cells)
    step = x[1] - x[0]
    parts = [numpy.diff(scipy.stats.uniform.cdf(edges(x, step), -half, 2.0 * half)) for half in limits if half > 0.0]
    parts += [numpy.diff(scipy.stats.norm.cdf(edges(x, step), 0.0, u)) for u in normals if u > 0.0]
    weight = parts[0]
    for part in parts[1:]:
        weight = numpy.convolve(weight, part, mode="same")
    kept = weight > 1e-12 * weight.max()
    return x[kept], weight[kept] / weight[kept].sum()


def edges(x, step):
    return numpy.concatenate([x - step / 2.0, [x[-1] + step / 2.0]])


def false_alarms(random, samples, static, limit, n, sigma, interval_s):
    """Alarms an hour of a healthy unit with its static error at the limit, counted; each alarm begins anew."""
    over, alarms = numpy.abs(static + random.normal(0.0, sigma, samples)) > limit, 0
    # Lengths of the runs, each alarm taking n of one.
    ends = numpy.flatnonzero(numpy.diff(numpy.concatenate([[0], over.astype(int), [0]])))
    for start, end in zip(ends[::2], ends[1::2], strict=True):
        alarms += (end - start) // n
    return alarms * 3600.0 / (samples * interval_s), alarms


# --- Time -----------------------------------------------------------------------------------------------------------


def averaged(fault, window_s):
    """What a step of a fault makes behind a running average."""
    return lambda t: fault * numpy.clip(t / window_s, 0.0, 1.0) if window_s else fault * (t >= 0.0)


def low_pass(fault, tau_s):
    return lambda t: fault * -numpy.expm1(-numpy.maximum(t, 0.0) / tau_s)


def times(signal, threshold, n, interval_s, processing_s, phases=400, horizon=4000):
    """Seconds from the fault to the speaking of the check, the sampling anywhere against the fault."""
    phase = numpy.linspace(0.0, interval_s, phases)[:, None]
    at = phase + interval_s * numpy.arange(horizon)
    # The sample that meets the fault on its first moment still reads what was before.
    found = first_run(numpy.where(at > 0.0, numpy.abs(signal(at)), 0.0) >= threshold * (1.0 - 1e-12), n)
    return numpy.where(found < horizon, phase[:, 0] + interval_s * found + processing_s, math.inf)


# --- Differences of two channels in one model -----------------------------------------------------------------------


def corners(deviations):
    """Every combination of ends of named deviations, each (low, high) or a half-width."""
    ends = [given if isinstance(given, tuple) else (-given, given) for given in deviations.values()]
    return [dict(zip(deviations, values, strict=True)) for values in itertools.product(*ends)]


def fault_free(first, second, deviations, places):
    """Lowest and highest difference of two healthy readings over places and corners; what both share is one
    deviation."""
    told = [first(x, one) - second(x, one) for x in places for one in corners(deviations)]
    return min(told), max(told)


def surely_seen(low, high, limit, noise=0.0):
    """Smallest faults, upwards and downwards, that are beyond the limit from wherever the healthy difference lies."""
    starts = numpy.linspace(low, high, 1001)
    return tuple(float(max(limit + noise - sign * start for start in starts)) for sign in (1.0, -1.0))


# --- Particular kinds -----------------------------------------------------------------------------------------------


def rate_check(readings, interval_s, limit, n, hold):
    """Whether a limit on the slope speaks: against the last sample, or against the last one that was accepted."""
    kept, run = readings[0], 0
    for value in readings[1:]:
        over = abs(value - kept) / interval_s > limit
        run = run + 1 if over else 0
        if run == n:
            return True
        kept = kept if hold and over else value
    return False


def equal_codes(random, sigma_steps, count, mean_steps=0.0, blocks=200_000):
    """Share of blocks of readings in which noise happens to leave every code the same."""
    codes = numpy.rint(mean_steps + random.normal(0.0, sigma_steps, (blocks, count)))
    return float((codes == codes[:, :1]).all(axis=1).mean())


def counter_looks_whole(bits, lost):
    """Whether a counter of so many bits hides that so many frames were lost between two that arrived."""
    return (0 + lost + 1) % 2**bits == 1


def remainder(bits, polynomial, width):
    """Remainder of a word by a polynomial over the field of two elements, bit by bit."""
    left = 0
    for bit in bits:
        left = (left << 1) | int(bit)
        if left >> width:
            left ^= polynomial
    return left


def heated(loss_w, k_per_w, tau_s, seconds):
    """How far an element is above its surroundings after a time, integrated."""
    rate = lambda _, above: [(loss_w * k_per_w - above[0]) / tau_s]  # noqa: E731
    return float(scipy.integrate.solve_ivp(rate, (0.0, seconds), [0.0], rtol=1e-9, atol=1e-12).y[0, -1])


def closure(random, units, fault, hours, anchor_points, capacity_ah, offset_a):
    """Counted less anchored charge of units: two anchors that err each on its own, an offset, and the fault."""
    error = anchor_points / 100.0 * capacity_ah
    own = random.choice([-1.0, 1.0], (3, units))
    return (fault + offset_a * own[0]) * hours + error * (own[1] - own[2])
