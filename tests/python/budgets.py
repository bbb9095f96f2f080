"""The four questions about a measurement model, answered the slow way.

A model is a function of a dict of deviations; it is asked with plain numbers, with arrays and with uncertain numbers.
"""

import itertools
import math
from typing import NamedTuple

import numpy
import scipy.optimize
import scipy.stats
from uncertainties import ufloat

DIVISORS = {"rectangular": math.sqrt(3.0), "triangular": math.sqrt(6.0), "arcsine": math.sqrt(2.0)}
TRIALS = 400_000
# How many standard errors two right answers may be apart: with some hundred comparisons, one in a million runs fails.
ERRORS = 6.0


class Source(NamedTuple):
    limit: float
    shape: str = "rectangular"
    estimate: float = 0.0
    # Of a normal limit: how many standard uncertainties it is, and how well these are known.
    coverage: float = 1.0
    degrees: float = math.inf

    def standard(self):
        return self.limit / (self.coverage if self.shape == "normal" else DIVISORS[self.shape])

    def uncertain(self):
        # A deviation without a limit is a plain number; the library warns of an uncertainty of zero.
        return ufloat(self.estimate, self.standard()) if self.limit else self.estimate

    def draw(self, generator, size):
        if self.shape == "rectangular":
            deviates = generator.uniform(-1.0, 1.0, size)
        elif self.shape == "triangular":
            deviates = generator.uniform(-0.5, 0.5, size) + generator.uniform(-0.5, 0.5, size)
        elif self.shape == "normal":
            # JCGM 101 6.4.9: a standard uncertainty from few readings stands for a wider distribution.
            few = math.isfinite(self.degrees)
            deviates = generator.standard_t(self.degrees, size) if few else generator.standard_normal(size)
            return self.estimate + self.standard() * deviates
        else:
            deviates = numpy.sin(generator.uniform(0.0, 2.0 * math.pi, size))
        return self.estimate + self.limit * deviates


def estimates(sources):
    return {name: source.estimate for name, source in sources.items()}


def joined(slope, sources):
    """The normal sources of a budget as one line: their factor and their joined standard uncertainty."""
    terms = {name: slope[name] * s.standard() for name, s in sources.items() if s.shape == "normal" and s.limit}
    standard = math.hypot(*terms.values())
    poorly = math.fsum(term**4 / sources[name].degrees for name, term in terms.items())
    factor = 3.0
    if poorly:
        # Few degrees of freedom: Student's 99.73 % at their effective number (JCGM 100 G.4).
        factor = max(factor, scipy.stats.t.ppf(0.5 + 0.9973 / 2.0, math.floor(standard**4 / poorly)))
    return factor, standard


def corners(model, sources):
    """The model at every corner of the box of limits, for models that are monotone in each deviation.

    Normal sources have no limit: together they stand anywhere on a sphere of so many standard uncertainties, which is
    searched from the corner.
    """
    moving = [name for name, source in sources.items() if source.limit and source.shape != "normal"]
    normal = [name for name, source in sources.items() if source.limit and source.shape == "normal"]
    signs = numpy.array(list(itertools.product((-1.0, 1.0), repeat=len(moving)))).T
    point = dict(estimates(sources))
    if not normal:
        for name, sign in zip(moving, signs, strict=True):
            point[name] = sources[name].estimate + sign * sources[name].limit
        values = model(point)
        return values.min(), values.max()
    factor, _ = joined(slopes(model, sources, estimates(sources)), sources)
    values = []
    for corner in itertools.product((-1.0, 1.0), repeat=len(moving)):
        for name, sign in zip(moving, corner, strict=True):
            point[name] = sources[name].estimate + sign * sources[name].limit

        def on_sphere(direction, point=point):
            length = numpy.linalg.norm(direction)
            for name, part in zip(normal, direction, strict=True):
                point[name] = sources[name].estimate + factor * sources[name].standard() * part / length
            return model(point)

        for side, start in itertools.product((-1.0, 1.0), itertools.product((-1.0, 1.0), repeat=len(normal))):
            found = scipy.optimize.minimize(lambda at, side=side: side * on_sphere(at), start, tol=1e-12)
            values.append(side * found.fun)
    return min(values), max(values)


def slopes(model, sources, at):
    """Partial derivatives by automatic differentiation."""
    point = {name: ufloat(at[name], 1.0) for name in sources}
    derivatives = model(point).derivatives
    return {name: derivatives.get(point[name], 0.0) for name in sources}


def directed(model, sources):
    """The larger magnitude of the two corners that the signs of the slopes point to: quick, for sweeps."""
    signs = {name: math.copysign(1.0, slope) for name, slope in slopes(model, sources, estimates(sources)).items()}
    ends = ({name: s.estimate + side * signs[name] * s.limit for name, s in sources.items()} for side in (-1.0, 1.0))
    return max(abs(model(end)) for end in ends)


def compare(assessment, model, sources, deviations=True):
    """Everything an assessment says against the same by brute force: yields what a check yields.

    `deviations`: whether the sources are deviations from zero, whose known part counts in the hand sums and whose
    slopes are taken where nothing deviates; otherwise they are values.
    """
    low, high = corners(model, sources)
    yield "worst_case.low", assessment["worst_case"]["low"], low
    yield "worst_case.high", assessment["worst_case"]["high"], high

    at = dict.fromkeys(sources, 0.0) if deviations else estimates(sources)
    hand = slopes(model, sources, at)
    factor, standard = joined(hand, sources)
    limits = {name: abs(hand[name]) * s.limit for name, s in sources.items() if s.limit and s.shape != "normal"}
    known = math.fsum(hand[name] * s.estimate for name, s in sources.items()) if deviations else 0.0
    yield "known", assessment["known"], known, 1e-9 * max(abs(low), abs(high))
    together = abs(known) + math.fsum(limits.values()) + factor * standard
    yield "sum_of_limits", assessment["worst_case"]["sum_of_limits"], together
    root = abs(known) + math.hypot(*limits.values(), factor * standard)
    yield "root_sum_square", assessment["root_sum_square"], root
    if standard:
        yield "joined.k", assessment["joined"]["k"], factor
        yield "joined.contribution", assessment["joined"]["contribution"], factor * standard

    value = model(estimates(sources))
    yield "value", assessment["value"], value, 1e-9 * max(abs(low), abs(high))
    combined = model({name: s.uncertain() for name, s in sources.items()}).std_dev
    yield "gum.standard", assessment["gum"]["standard"], combined
    yield "gum.expanded", assessment["gum"]["expanded"], assessment["gum"]["k"] * combined

    slope = slopes(model, sources, estimates(sources))
    parts = {
        name: factor * (hand[name] * s.standard()) ** 2 / standard
        for name, s in sources.items()
        if s.limit and s.shape == "normal" and standard
    }
    sizes = sorted([*limits.values(), *parts.values()], reverse=True)
    said = sorted((line["contribution"] for line in assessment["contributions"]), reverse=True)
    said = [size for size in said if size]
    yield "number of contributions", len(said), len(sizes)
    for place, (got, expected) in enumerate(zip(said, sizes, strict=True)):
        yield f"contribution {place}", got, expected
    counted = [line["contribution"] + abs(line["known"]) * deviations for line in assessment["contributions"]]
    yield "contributions largest first", float(counted == sorted(counted, reverse=True)), 1.0
    shares = sum(line.get("share_percent", 0.0) for line in assessment["contributions"])
    yield "shares together", shares, 100.0

    generator = numpy.random.default_rng(1)
    values = model({name: s.draw(generator, TRIALS) for name, s in sources.items()})
    # Welch and Satterthwaite: JCGM 100 G.4.
    poorly = math.fsum((slope[name] * s.standard()) ** 4 / s.degrees for name, s in sources.items())
    degrees = combined**4 / poorly if poorly else math.inf
    yield from compare_trials(assessment["monte_carlo"], values, value, combined, degrees)


def quantile_error(values, at, per_root):
    around = math.sqrt(at * (1.0 - at)) * per_root
    low, high = numpy.quantile(values, [max(at - around, 0.0), min(at + around, 1.0)])
    return (high - low) / 2.0


def compare_trials(run, values, estimate, standard, degrees=math.inf):
    """A Monte Carlo run against the values of another generator, within the errors of both."""
    both = math.sqrt(1.0 / run["trials"] + 1.0 / len(values))
    spread = values.std()
    yield "monte_carlo.mean", run["mean"], values.mean(), ERRORS * spread * both
    yield "monte_carlo.standard", run["standard"], spread, ERRORS * spread * both
    for name, probability in (("p95", 0.95), ("p99_73", 0.9973)):
        tail = (1.0 - probability) / 2.0
        for end, error, at in (("low", "low_error", tail), ("high", "high_error", 1.0 - tail)):
            # The standard error of a quantile, from how far the quantiles beside it are.
            slip = quantile_error(values, at, both)
            yield f"{name}.symmetric.{end}", run[name]["symmetric"][end], numpy.quantile(values, at), ERRORS * slip
            # The error that the run gives for itself rests on few values far out: it need not be exact.
            own = quantile_error(values, at, math.sqrt(1.0 / run["trials"]))
            yield f"{name}.{error}", run[name][error], own, own
        width = run[name]["symmetric"]["high"] - run[name]["symmetric"]["low"]
        shortest = run[name]["shortest"]["high"] - run[name]["shortest"]["low"]
        yield f"{name}: the shortest is no longer", max(shortest, width), width
    # JCGM 101 7.9.2 and 8.1: half a unit of the second significant digit of the standard uncertainty.
    digits = float(f"1e{int(f'{standard:.1e}'.split('e')[1]) - 1}")
    comparison = run["comparison"]
    yield "comparison.delta", comparison["delta"], digits / 2.0
    student = scipy.stats.t.ppf(0.975, math.floor(degrees)) if math.isfinite(degrees) else scipy.stats.norm.ppf(0.975)
    reach = student * standard
    for end, distance, sign in (("low", "d_low", -1.0), ("high", "d_high", 1.0)):
        apart = abs(estimate + sign * reach - run["p95"]["symmetric"][end])
        yield f"comparison.{distance}", comparison[distance], apart, 1e-9 * reach
    agree = max(comparison["d_low"], comparison["d_high"]) <= comparison["delta"]
    yield "comparison.validated", comparison["validated"], agree
