"""Conformity with a tolerance: probabilities and risks by scipy's distributions and its own quadrature."""

import math

import scipy.integrate
import scipy.stats

from harness import check

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
