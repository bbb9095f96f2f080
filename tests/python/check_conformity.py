"""Conformity with a tolerance: probabilities and risks by scipy's distributions and its own quadrature."""

import math

import numpy
import scipy.integrate
import scipy.stats

from harness import check, hunt

CASES = (
    {},
    {"measured": 1500.15, "process.mean": 1500.02, "process.standard_deviation": 0.12},
    {
        "sides": "upper",
        "upper": 3.0,
        "standard": 0.5,
        "measured": 2.1,
        "decision.guard": "risk",
        "decision.risk_percent": 1.0,
        "process.mean": 1.0,
        "process.standard_deviation": 0.9,
    },
    {
        "sides": "lower",
        "lower": -1.0,
        "standard": 0.02,
        "decision.guard": "width",
        "decision.width": 0.03,
        "decision.rule": "rejection",
        "process.mean": -0.2,
        "process.standard_deviation": 0.5,
    },
    # A measurement as wide as the process, and one a hundred times better.
    {
        "lower": -1.0,
        "upper": 1.0,
        "standard": 0.5,
        "decision.multiple": 0.3,
        "process.mean": 0.3,
        "process.standard_deviation": 0.5,
    },
    {"lower": -1.0, "upper": 1.0, "standard": 0.005, "process.mean": 0.0, "process.standard_deviation": 0.5},
)


@check("/api/v1/conformity", "conformity: limits, probabilities, risks", "scipy normal and quadrature", 1e-8, *CASES)
def conformity(given, result):
    u, decision = given["standard"], given["decision"]
    low = -math.inf if given["sides"] == "upper" else given["lower"]
    high = math.inf if given["sides"] == "lower" else given["upper"]
    width = {
        "none": lambda: 0.0,
        "multiple": lambda: decision["multiple"] * decision["coverage_factor"] * u,
        "risk": lambda: u * scipy.stats.norm.isf(decision["risk_percent"] / 100.0),
        "width": lambda: decision["width"],
    }[decision["guard"]]()
    guard = width if decision["rule"] == "acceptance" else -width
    yield "guard band", result["guard_band"], guard, 1e-12
    accept_low, accept_high = low + guard, high - guard
    mean, spread = given["process"].get("mean"), given["process"].get("standard_deviation")

    def risk(value):
        """The part of what is known of a unit outside the tolerance."""
        if spread is None:
            known = scipy.stats.norm(value, u)
        else:
            weights = (u**-2, spread**-2)
            known = scipy.stats.norm(
                (value * weights[0] + mean * weights[1]) / math.fsum(weights), math.fsum(weights) ** -0.5
            )
        return 100.0 * (known.cdf(low) + known.sf(high))

    ends = [end for end in (accept_low, accept_high) if math.isfinite(end)]
    yield "risk at the acceptance limit", result["limit_risk_percent"], max(map(risk, ends))
    if "measured" in given:
        yield "risk of the unit", result["measured"]["risk_percent"], risk(given["measured"])
    if spread is None:
        assert "lot" not in result
        return
    process = scipy.stats.norm(mean, spread)

    def accepted(value):
        reading = scipy.stats.norm(value, u)
        return reading.cdf(accept_high) - reading.cdf(accept_low)

    def integral(function, start, end):
        start, end = max(start, mean - 10 * spread), min(end, mean + 10 * spread)
        if start >= end:
            return 0.0
        # The integrand bends within some u of the acceptance limits.
        places = [end_ + step * u for end_ in ends for step in (-6, -3, -1, 0, 1, 3, 6)]
        places = sorted(place for place in places if start < place < end)
        edges = [start, *places, end]
        pieces = zip(edges[:-1], edges[1:], strict=True)
        return math.fsum(
            scipy.integrate.quad(function, a, b, epsabs=1e-12, epsrel=1e-10, limit=200)[0] for a, b in pieces
        )

    consumer = sum(
        integral(lambda x: process.pdf(x) * accepted(x), a, b) for a, b in ((-math.inf, low), (high, math.inf))
    )
    producer = integral(lambda x: process.pdf(x) * (1.0 - accepted(x)), low, high)
    lot = result["lot"]
    yield "consumer's risk", lot["consumer_risk_percent"], 100.0 * consumer, 1e-8
    yield "producer's risk", lot["producer_risk_percent"], 100.0 * producer, 1e-8
    yield "conforming", lot["conforming_percent"], 100.0 * (process.cdf(high) - process.cdf(low))
    readings = scipy.stats.norm(mean, math.hypot(spread, u))
    yield "accepted", lot["accepted_percent"], 100.0 * (readings.cdf(accept_high) - readings.cdf(accept_low))
    # The same share as a corner of a bivariate normal distribution of value and reading.
    together = scipy.stats.multivariate_normal(
        [mean, mean], [[spread**2, spread**2], [spread**2, spread**2 + u**2]], allow_singular=True
    )
    if math.isinf(low):
        both = together.cdf([high, accept_high])
        bad = 100.0 * (readings.cdf(accept_high) - both)
        yield "accepted and bad, bivariate", lot["consumer_risk_percent"], bad, 1e-3
    for point in result["guards"][::20]:
        assert point["consumer_risk_percent"] >= 0.0 and point["producer_risk_percent"] >= 0.0


UNITS = 2_000_000


def drawn(random):
    """A decision on units of a known process; what is allowed lies near what comes out, on either side."""
    half, sides = 10 ** random.uniform(-3, 3), str(random.choice(["both", "both", "lower", "upper"]))
    middle = half * random.uniform(-5, 5)
    case = {
        "sides": sides,
        "lower": middle - half,
        "upper": middle + half,
        "standard": half * random.uniform(0.05, 0.4),
        "process.mean": middle + half * random.uniform(-0.5, 0.5),
        "process.standard_deviation": half * random.uniform(0.3, 1.0),
        "decision.guard": str(random.choice(["none", "multiple", "risk", "width"])),
        "decision.rule": str(random.choice(["acceptance", "acceptance", "rejection"])),
        "decision.multiple": random.uniform(0.1, 0.8),
        "decision.risk_percent": 10 ** random.uniform(-1, 1.3),
        "decision.width": half * random.uniform(0, 0.3),
    }
    if random.random() < 0.5:
        case["measured"] = middle + half * random.uniform(-1, 1)
    beside = lambda: float(random.choice([random.uniform(0.5, 0.9), random.uniform(1.1, 2.0)]))
    decide = _decision(case)
    consumer, producer = _shares(case, decide, numpy.random.default_rng(int(random.integers(2**31))))
    for name, share in ("consumer", consumer), ("producer", producer):
        # Shares of fewer units than make two per cent are told by nobody.
        if share * UNITS > 20_000:
            case[f"allowed.{name}_risk_percent"] = min(50.0, 100 * share * beside())
    risk = max(_unit_risk(case, value) for value in ([case["measured"]] if "measured" in case else decide) if math.isfinite(value))
    if 1e-6 < risk < 0.4:
        case["allowed.unit_risk_percent"] = 100 * risk * beside()
    return case


def _limits(case):
    low = -math.inf if case["sides"] == "upper" else case["lower"]
    return low, math.inf if case["sides"] == "lower" else case["upper"]


def _decision(case):
    """Between which readings a unit is accepted."""
    u = case["standard"]
    band = {
        "none": 0.0,
        "multiple": case["decision.multiple"] * 2.0 * u,
        "risk": u * scipy.stats.norm.isf(case["decision.risk_percent"] / 100),
        "width": case["decision.width"],
    }[case["decision.guard"]]
    band = band if case["decision.rule"] == "acceptance" else -band
    low, high = _limits(case)
    return low + band, high - band


def _shares(case, decide, dice):
    """Units made, measured and sorted one by one."""
    true = dice.normal(case["process.mean"], case["process.standard_deviation"], UNITS)
    read = true + dice.normal(0.0, case["standard"], UNITS)
    (low, high), (from_, to) = _limits(case), decide
    good, taken = (low <= true) & (true <= high), (from_ <= read) & (read <= to)
    return numpy.mean(~good & taken), numpy.mean(good & ~taken)


def _unit_risk(case, value):
    """What is known of a unit that was read so, by Bayes' rule on a fine grid of true values."""
    mean, spread, u = case["process.mean"], case["process.standard_deviation"], case["standard"]
    true = numpy.linspace(value - 9 * u, value + 9 * u, 200_001)
    weight = numpy.exp(-0.5 * ((true - mean) / spread) ** 2 - 0.5 * ((true - value) / u) ** 2)
    low, high = _limits(case)
    return float(weight[(true < low) | (true > high)].sum() / weight.sum())


@hunt("/api/v1/conformity", "conformity: no decision is worse", f"{UNITS} units made and measured", drawn)
def decisions(given, result, random):
    case = given | {f"{group}.{name}": value for group in ("decision", "process") for name, value in given[group].items()}
    decide, allowed = _decision(case), given["allowed"]
    impossible = decide[0] > decide[1]
    yield "conformity.nothing-accepted", 0, 2.0 if impossible else 0.0
    shares = _shares(case, decide, random)
    for name, share in zip(("consumer", "producer"), shares):
        if f"{name}_risk_percent" in allowed:
            yield f"conformity.{name}-risk", 0, 100 * share / allowed[f"{name}_risk_percent"]
    measured = given.get("measured")
    if measured is not None:
        yield "conformity.measured", 0, 0.0 if decide[0] <= measured <= decide[1] else 2.0
    if "unit_risk_percent" in allowed and not impossible:
        values = [measured] if measured is not None else [end for end in decide if math.isfinite(end)]
        yield "conformity.unit-risk", 0, 100 * max(_unit_risk(case, value) for value in values) / allowed["unit_risk_percent"]
