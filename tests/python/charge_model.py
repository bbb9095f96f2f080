"""Charge counting from first principles: what the errors of a current do to a count, and that to a gauge.

    python charge_model.py

runs the self-test. Nothing here uses a closed form where a sum, a quadrature, an inversion or a fixed point will
do: mean codes are summed over all codes, kept currents integrated, random walks added up sample by sample, anchors
read from the inverted curve, the saw-tooth iterated, lines fitted. Discharge is positive; E is counted less true
discharge in Ah; e is estimated less true state of charge in points.
"""

import math

import numpy
import scipy.integrate
import scipy.optimize
import scipy.special
import scipy.stats

HOUR = 3600.0
MONTH_H = 30.4375 * 24.0
ROOT3 = math.sqrt(3.0)
# How many standard uncertainties the random part counts in a worst case.
WORST_SIGMAS = 3.0


# --- The sum of limits and normal parts -----------------------------------------------------------------------------


def distribution(limits, normal, cells=8000):
    """The cumulative distribution of independent rectangular parts and one normal part: places and values.

    A rectangle of half-width a turns a distribution F into the mean of F over x - a to x + a.
    """
    limits = sorted((abs(a) for a in limits if a), reverse=True)
    span = sum(limits) + 7.0 * normal
    if span == 0.0:
        return numpy.array([0.0]), numpy.array([1.0])
    x = numpy.linspace(-span, span, cells + 1)
    step = x[1] - x[0]
    # What is narrower than the grid counts by its variance.
    small = [a for a in limits if a < 2.0 * step]
    wide = [a for a in limits if a >= 2.0 * step]
    normal = math.sqrt(normal**2 + sum(a * a for a in small) / 3.0)
    if normal >= 2.0 * step:
        held = scipy.special.ndtr(x / normal)
    else:
        first, *wide = wide
        held = numpy.clip((x / first + 1.0) / 2.0, 0.0, 1.0)
    for a in wide:
        # The area below by trapezoids, and straight between the places; beyond them the distribution is 0 or 1.
        area = step * (numpy.cumsum(held) - (held + held[0]) / 2.0)
        whole, part = int(a / step), a / step % 1.0
        beyond = numpy.arange(1, whole + 2)
        area = numpy.concatenate([0.0 * beyond, area, area[-1] + step * beyond])
        low = part * area[: x.size] + (1.0 - part) * area[1 : x.size + 1]
        area = area[2 * whole + 1 :]
        high = (1.0 - part) * area[: x.size] + part * area[1 : x.size + 1]
        held = (high - low) / (2.0 * a)
    return x, held


def covered(known, limits, normal, share=0.95, ends=()):
    """The smallest E that |known + sum| does not exceed with this probability; `ends` are parts of either sign and no
    value between."""
    x, held = distribution(limits, normal)
    at = lambda value: numpy.interp(value, x, held, left=0.0, right=1.0)  # noqa: E731
    centres = numpy.array([known])
    for end in ends:
        centres = numpy.concatenate([centres - end, centres + end])
    inside = lambda e: (at(e - centres) - at(-e - centres)).mean() - share  # noqa: E731
    high = numpy.abs(centres).max() + x[-1]
    if x.size == 1 or inside(0.0) >= 0.0:
        return high
    return scipy.optimize.brentq(inside, 0.0, high, xtol=1e-12 * high, rtol=1e-13)


# --- One reading ----------------------------------------------------------------------------------------------------


def rounded(value, step, rounding):
    """What firmware keeps of a value."""
    if not step:
        return value
    ratio = value / step
    how = {"nearest": lambda r: numpy.floor(r + 0.5), "floor": numpy.floor, "toward-zero": numpy.trunc}[rounding]
    return step * how(ratio)


def mean_word(value, step, noise, rounding="nearest"):
    """Mean of the rounded word of a value with normal noise, summed over all codes."""
    if not noise:
        return float(rounded(numpy.float64(value), step, rounding))
    reach = int(math.ceil(10.0 * noise / step)) + 2
    codes = int(round(value / step)) + numpy.arange(-reach, reach + 1)
    if rounding == "nearest":
        low, high = codes - 0.5, codes + 0.5
    elif rounding == "floor":
        low, high = codes, codes + 1.0
    else:
        low = numpy.where(codes > 0, codes, codes - 1.0)
        high = numpy.where(codes < 0, codes, codes + 1.0)
    weight = scipy.special.ndtr((high * step - value) / noise) - scipy.special.ndtr((low * step - value) / noise)
    return float(step * (codes * weight).sum())


def rounding_limit(step, noise):
    """The largest mean error of rounding to nearest over all places between two codes."""
    if not step:
        return 0.0
    if noise < 1e-3 * step:
        return step / 2.0
    places = numpy.linspace(0.0, step, 401)
    return max(abs(mean_word(place, step, noise) - place) for place in places)


def kept_current(mean, noise, band):
    """Mean of readings that count as nothing inside a dead band."""
    if not noise:
        return mean if abs(mean) > band else 0.0
    # Beyond nine deviations nothing is left to integrate.
    low, high = max(-band, mean - 9.0 * noise), min(band, mean + 9.0 * noise)
    if low >= high:
        return mean
    y = numpy.linspace(low, high, 4001)
    inside = scipy.integrate.simpson(y * scipy.stats.norm.pdf(y, mean, noise), x=y)
    return mean - inside


def walk(noise, sample_s, seconds, correlation_s=0.0):
    """Standard uncertainty in As of the sum of correlated samples, each times its duration; every pair is added."""
    count = max(int(round(seconds / sample_s)), 1)
    factor = math.exp(-sample_s / correlation_s) if correlation_s else 0.0
    # Pairs further apart than this add less than a rounding error.
    far = min(count - 1, int(math.ceil(40.0 / -math.log(factor))) if factor else 0)
    apart = numpy.arange(1, far + 1)
    pairs = count + 2.0 * ((count - apart) * factor**apart).sum()
    return noise * sample_s * math.sqrt(pairs)


def block_deviation(noise, samples, sample_s, correlation_s=0.0):
    """Standard deviation of the mean of so many correlated samples in a row."""
    return walk(noise, sample_s, samples * sample_s, correlation_s) / (samples * sample_s)


# --- A count over pieces of constant current ------------------------------------------------------------------------


def pieces(*rows):
    """(current A, seconds) as columns."""
    return numpy.array([row[0] for row in rows], float), numpy.array([row[1] for row in rows], float)


def linear_count(current, seconds, offset=0.0, out=0.0, into=0.0):
    """E in Ah at the end of each piece, of an offset and the gain errors of both directions."""
    error = offset + numpy.where(current > 0.0, out, into) * current
    return numpy.cumsum(error * seconds) / HOUR


class Node:
    """A shunt on one thermal node, integrated in time."""

    def __init__(self, a, b, reference, ohm, k_per_w, j_per_k):
        self.a, self.b, self.reference, self.ohm = a, b, reference, ohm
        self.k_per_w, self.j_per_k = k_per_w, j_per_k

    def change(self, degc):
        above = degc - self.reference
        return self.a * above + self.b * above**2

    def count(self, current, seconds, ambient):
        """E in Ah of the changing resistance, over the pieces."""
        degc, total = ambient, 0.0
        for amps, length in zip(current, seconds, strict=True):

            def rate(_, y, amps=amps):
                heat = amps**2 * self.ohm * (1.0 + self.change(y[0]))
                return [(heat - (y[0] - ambient) / self.k_per_w) / self.j_per_k, amps * self.change(y[0])]

            end = scipy.integrate.solve_ivp(rate, (0.0, length), [degc, 0.0], method="LSODA", rtol=1e-10, atol=1e-10)
            degc, total = end.y[0, -1], total + end.y[1, -1]
        return total / HOUR


# --- Anchors --------------------------------------------------------------------------------------------------------


class Curve:
    """Open-circuit voltage over state of charge, straight between its rows."""

    def __init__(self, rows):
        self.soc = numpy.array([row["soc_percent"] for row in rows], float)
        self.volt = numpy.array([row["ocv_v"] for row in rows], float)

    def at(self, soc):
        return numpy.interp(soc, self.soc, self.volt)

    def back(self, volt):
        """State of charge of a voltage; what lies beyond the curve is cut."""
        return numpy.interp(volt, self.volt, self.soc)

    def interval(self, soc, low, high):
        """Lowest and highest deviation of the state that is read when the voltage is wrong by -low to +high."""
        there = self.at(soc)
        return self.back(there - low) - soc, self.back(there + high) - soc

    def bounded(self, soc, low, high):
        """Whether neither end leaves the curve."""
        there = self.at(soc)
        return (there - low >= self.volt[0]) & (there + high <= self.volt[-1])

    def places(self, low, high, step=0.01):
        """All places to look at: a fine scan, the knots, and where an end of the interval meets a knot."""
        scan = numpy.arange(low, high + step / 2.0, step)
        knots = self.soc[(self.soc >= low) & (self.soc <= high)]
        return numpy.unique(numpy.clip(numpy.concatenate([scan, knots, [low, high]]), low, high))

    def best(self, below, above, place_min, place_max):
        """Smallest larger end, and where."""
        places = self.places(place_min, place_max)
        down, up = self.interval(places, below, above)
        larger = numpy.where(self.bounded(places, below, above), numpy.maximum(-down, up), math.inf)
        best = int(numpy.argmin(larger))
        return float(larger[best]), float(places[best])

    def within(self, below, above, place_min, place_max, limit):
        """Ranges of places at which the larger end keeps a limit."""
        places = self.places(place_min, place_max, 0.001)
        down, up = self.interval(places, below, above)
        good = self.bounded(places, below, above) & (numpy.maximum(-down, up) <= limit + 1e-9)
        edges = numpy.flatnonzero(numpy.diff(numpy.concatenate([[0], good.astype(int), [0]])))
        return [(float(places[a]), float(places[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def saw_tooth(weight, anchor, drift, random_anchor=0.0, random_drift=0.0, anchors=4000):
    """Error just before an anchor after many: worst case and standard uncertainty of its random part, by iteration."""
    top, variance = 0.0, 0.0
    for _ in range(anchors):
        top = (1.0 - weight) * top + weight * anchor + drift
        variance = (1.0 - weight) ** 2 * variance + (weight * random_anchor) ** 2 + random_drift**2
    return top, math.sqrt(variance)


# --- Health ---------------------------------------------------------------------------------------------------------


def line_loss_deviation(count):
    """Standard deviation of the loss at the end of a fitted line, in those of one estimate."""
    x = numpy.linspace(0.0, 1.0, count)
    design = numpy.column_stack([numpy.ones(count), x])
    return math.sqrt(numpy.linalg.inv(design.T @ design)[1, 1])


def estimates_needed(loss, claim, years, life_years, estimate, drift, power):
    """Smallest number of estimates that proves a loss with this power; none if the channel's drift takes all."""
    steady = drift * years / life_years / ROOT3
    # Both normal quantiles as a reviewer looks them up.
    needed = (loss - claim) / (scipy.stats.norm.ppf(0.95) + scipy.stats.norm.ppf(power))
    if needed <= steady:
        return None
    for count in range(3, 200):
        if math.hypot(estimate * line_loss_deviation(count), steady) <= needed:
            return count
    # Far out the factor falls like 12/n: refined by halving between two numbers.
    low, high = 200, 200
    fits = lambda n: math.hypot(estimate * math.sqrt(12.0 * (n - 1) / (n * (n + 1.0))), steady) <= needed  # noqa: E731
    while not fits(high):
        low, high = high, 2 * high
        if high > 10**12:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if fits(middle) else (middle, high)
    return high


class Rests:
    """Capacity from two rests, read by one voltage channel and inverted through the curve."""

    def __init__(self, curve, first, second):
        self.curve, self.first, self.second = curve, first, second

    def swings(self, gain=0.0, offset=0.0, second_gain=None, second_offset=None, first_own=0.0, second_own=0.0):
        """The measured swing in points, for arrays of deviations (gains as shares, the rest in volts of a cell)."""
        again = lambda value, first: first if value is None else value  # noqa: E731
        low = self.curve.at(self.first) * (1.0 + gain) + offset + first_own
        high = self.curve.at(self.second)
        high = high * (1.0 + again(second_gain, gain)) + again(second_offset, offset) + second_own
        return self.curve.back(high) - self.curve.back(low)


def capacity_deviation(true_swing, swings, counted):
    """Relative standard uncertainty and bias of a capacity: `counted` holds the relative errors of the charge."""
    ratio = (1.0 + counted) * true_swing / swings
    return float(ratio.std()), float(ratio.mean() - 1.0)


# --- Self-test ------------------------------------------------------------------------------------------------------

KNEES = [(0, 2.90), (10, 3.20), (20, 3.25), (35, 3.285), (60, 3.295), (70, 3.325), (95, 3.335), (100, 3.40)]
STEEP = [(0, 3.00), (10, 3.42), (30, 3.58), (50, 3.68), (70, 3.88), (90, 4.08), (100, 4.20)]


def rows(points):
    return [{"soc_percent": soc, "ocv_v": volt} for soc, volt in points]


def own_checks():
    """(what, own value, printed value, half its last digit) of independent simulations of the same cases."""
    current, seconds = pieces((100, 1800), (0, 600), (-50, 3600))
    error = linear_count(current, seconds, 0.02, 0.004, 0.001)
    yield "count", error[-1], 0.18333, 5e-6
    yield "largest inside", error.max(), 0.21333, 5e-6
    yield "points", -100.0 * error[-1] / 120.0, -0.15278, 5e-6
    current, seconds = pieces((200, 3600), (-400, 1800))
    yield "bend even", 0.14 * seconds.sum() / HOUR, 0.210, 5e-4
    yield "bend odd", (0.14 * numpy.sign(current) * seconds).sum() / HOUR, 0.070, 5e-4
    # A typical alloy element: 35 micro-ohm, 45 ppm/K and -0.45 ppm/K2 about 25 degC, 5 K/W, 4.1 J/K.
    node = Node(45e-6, -0.45e-6, 25.0, 35e-6, 5.0, 4.1)
    heat = pieces((-400, 900), (0, 600), (100, 3600))
    yield "R(T) 25 degC", node.count(*heat, 25.0), -0.08141, 5e-6
    yield "R(T) -30 degC", node.count(*heat, -30.0), -0.20795, 5e-6
    yield "correlated walk", walk(0.05, 0.1, 3600.0, 0.4), 2.690, 5e-4
    yield "white walk", walk(0.05, 0.1, 3600.0), 0.949, 5e-4
    for noise, mean in ((0.0, 10.000), (3.0, 12.487), (5.0, 12.978)):
        yield f"mean word, noise {noise}", mean_word(13.0, 10.0, noise), mean, 5e-4
    yield "kept of a dead band", kept_current(15.0, 4.5, 20.0), 2.967, 5e-4
    # Steps at a random place of the reading that holds them.
    random = numpy.random.default_rng(6)
    signs = numpy.where(random.random((20000, 200)) < 0.5, -300.0, 300.0)
    walked = (signs * (0.5 - random.random((20000, 200)))).sum(axis=1)
    yield "spot steps", walked.std(), 1225.0, 4.0 * 1225.0 / math.sqrt(40000.0)
    lost = random.random((20000, 3600)) < 0.01
    walked = -(lost[:, :1800].sum(axis=1) * 100.0 - lost[:, 1800:].sum(axis=1) * 100.0)
    yield "missed readings", walked.std(), 597.0, 4.0 * 597.0 / math.sqrt(40000.0)
    # A beat: the largest running sum over many phases.
    times = numpy.arange(200000) / 50.0
    sums = [numpy.abs(numpy.cumsum(3.0 * numpy.sin(2 * math.pi * 100.4 * times + p))).max() / 50.0 for p in range(12)]
    yield "beat", max(sums), 2.388, 2e-3
    limits = numpy.array([0.05714, 0.51429, 0.13714, 0.00029])
    yield "a day of the worst", limits.sum() * 24.0 / 1.2, 14.177, 1e-3
    yield "a day at the end of life", limits.sum() * 24.0 / 0.96, 17.721, 1e-3
    yield "drift alone, worst", 3.6 / limits.sum(), 5.079, 1e-3
    in_time = lambda start: scipy.optimize.brentq(  # noqa: E731
        lambda hours: covered(0.0, [*(100.0 * limits * hours / 120.0), start], 0.0) - 3.0, 0.1, 20.0
    )
    yield "drift alone, 95 %", in_time(0.0), 6.700, 2e-3
    yield "with start, worst", (3.0 - 1.1429) * 1.2 / limits.sum(), 3.144, 1e-3
    yield "with start, 95 %", in_time(1.1429), 5.804, 2e-3
    yield "aged", gauge(60.0, 0.005 * 60.0 + 0.12 * 1.5, 120.0, 102.0), 8.4235, 5e-5
    lines = dict(apart_hours=14 * 24.0, self_discharge=2.0, unseen=0.015, lost=0.002, charged=14 * 60.0)
    yield "apart", gauge(0.0, 0.0, 100.0, 100.0, **lines), 7.640, 5e-4
    day = lambda t: numpy.minimum(t % 24.0, 24.0 - t % 24.0) * 6.0  # noqa: E731
    hours = numpy.linspace(0.0, 100.0, 1000001)
    error = 1.0 + 100.0 * (0.008 * day(hours) + 0.01 * hours) / 120.0
    yield "inside the cycle", hours[numpy.argmax(error >= 1.6)], 32.28, 5e-3
    ends = numpy.arange(0.0, 200.0, 12.0)[::2]
    yield "ends only", ends[numpy.argmax(1.0 + 100.0 * 0.01 * ends / 120.0 >= 1.6 - 1e-12)], 72.0, 1e-9
    yield from own_anchor_checks()
    yield from own_health_checks()


def gauge(net, error, estimated, true, apart_hours=0.0, self_discharge=0.0, unseen=0.0, lost=0.0, charged=0.0):
    """Two states of charge written down and subtracted: what firmware believes and what is there."""
    believed = -(net + error) / estimated
    left = net + apart_hours * (self_discharge / 100.0 * true / MONTH_H + unseen) + lost * charged
    return 100.0 * (believed + left / true)


def own_anchor_checks():
    curve = Curve(rows(KNEES))
    down, up = curve.interval(50.0, 0.005, 0.005)
    yield "anchor below", down, -12.5, 1e-9
    yield "anchor above", up, 10.333, 5e-4
    yield "anchor after discharge", curve.interval(50.0, 0.009, 0.005)[0], -16.286, 5e-4
    best, _ = curve.best(0.005, 0.005, 12.0, 99.0)
    yield "best anchor", best, 0.3846, 5e-5
    found = curve.within(0.005, 0.005, 12.0, 99.0, 2.0)
    expected = [(12.0, 19.875), (61.616, 68.384), (95.333, 99.0)]
    for got, wanted in zip(found, expected, strict=True):
        for a, b in zip(got, wanted, strict=True):
            yield "range of anchors", a, b, 2e-3
    for weight, top, inside in ((0.3, 2.3333, 1.887), (1.0, 1.4, 1.669)):
        worst, _ = saw_tooth(weight, 1.0, 0.4)
        _, random = saw_tooth(weight, 0.0, 0.0, 0.6, 0.05)
        yield f"saw-tooth {weight}", worst, top, 5e-5
        yield f"saw-tooth 95 % {weight}", covered(0.0, [1.0, 0.4 / weight], random), inside, 2e-3


def own_health_checks():
    random = numpy.random.default_rng(13)
    trials = 1_000_000
    flat = lambda limit: random.uniform(-limit, limit, trials)  # noqa: E731
    rests = Rests(Curve(rows(STEEP)), 20.0, 85.0)
    counted = flat(0.003) + flat(0.12 / 60.0)
    own = {"first_own": random.normal(0.0, 1e-3, trials), "second_own": random.normal(0.0, 1e-3, trials)}
    u, _ = capacity_deviation(65.0, rests.swings(flat(0.002), **own), counted)
    yield "capacity", 100.0 * u, 0.328, 2e-3
    u, _ = capacity_deviation(65.0, rests.swings(flat(0.002), second_gain=flat(0.002), **own), counted)
    yield "capacity, two channels", 100.0 * u, 1.105, 6e-3
    after = random.uniform(0.0, 0.008, trials)
    both = {"first_own": own["first_own"] - after, "second_own": own["second_own"] + after}
    swings = rests.swings(flat(0.002), **both)
    _, bias = capacity_deviation(65.0, swings, counted)
    # Printed to first order; the ratio itself spreads by 0.842 % about its biased mean.
    yield "capacity, hysteresis", 100.0 * math.hypot(swings.std() / 65.0, counted.std()), 0.86, 6e-3
    yield "capacity, bias", 100.0 * bias, -1.36, 6e-3
    step = 200.0
    volts = step * 0.2082 * (1.0 + flat(0.006)) + random.normal(0.0, 0.076 * math.sqrt(2.0), trials)
    amps = step * (1.0 + flat(0.004)) + random.normal(0.0, 0.286 * math.sqrt(2.0), trials) + flat(400.0 * 0.002)
    yield "resistance", 100.0 * (volts / amps / 0.2082).std(), 0.578, 2e-3
    yield "estimates", estimates_needed(8.0, 5.0, 4.0, 15.0, 1.5, 0.5, 0.9), 24, 0.5


if __name__ == "__main__":
    failed = 0
    for what, got, expected, allowed in own_checks():
        ok = abs(got - expected) <= allowed
        failed += not ok
        print(f"{'ok' if ok else 'FAILED':6} {what:28} {got:12.6f} {expected:12.6f}")
    raise SystemExit(failed > 0)
