"""Free measurement models: sums, products, correlations, degrees of freedom."""

import math

import numpy
import scipy.stats
import uncertainties

import budgets
from budgets import Source
from harness import check


def quantity(estimate, limit, shape="rectangular", **more):
    return {"estimate": estimate, "limit": limit, "shape": shape} | more


def sources_of(given):
    return {
        index: Source(
            x["limit"], x["shape"], x["estimate"], x.get("coverage", 1.0), x.get("degrees_of_freedom", math.inf)
        )
        for index, x in enumerate(given["inputs"])
    }


def model_of(given):
    weights = [x["weight"] for x in given["inputs"]]
    if given["form"] == "sum":
        return lambda d: sum(weight * d[index] for index, weight in enumerate(weights))
    return lambda d: math.prod(d[index] ** weight for index, weight in enumerate(weights))


FREE = (
    {},
    {
        "inputs": [
            quantity(1.0, 0.3, "triangular", weight=-2.0),
            quantity(0.0, 1.0, "normal", coverage=2.0, weight=0.5),
            quantity(2.0, 0.4, "arcsine"),
        ],
        "seed": 3,
    },
    {
        "form": "product",
        "inputs": [
            quantity(0.05, 0.0005, weight=1.0),
            quantity(1e-4, 1e-6, "triangular", weight=-1.0),
            quantity(20.0, 0.5, "normal", coverage=3.0, weight=0.5),
        ],
        "coverage_factor": 3.0,
    },
    # Far from linear: half of its width is the curvature.
    {"form": "product", "inputs": [quantity(1.0, 0.6, weight=3.0), quantity(2.0, 0.3, weight=-2.0)]},
    {"inputs": [quantity(10.0, 0.1, "normal", degrees_of_freedom=6.0), quantity(5.0, 0.1, "rectangular")]},
)


@check("/api/v1/uncertainty", "free model: all four questions", "numpy corners and trials, uncertainties", 1e-7, *FREE)
def free_model(given, result):
    yield from budgets.compare(result["assessment"], model_of(given), sources_of(given), deviations=False)


CORRELATED = (
    {
        "form": "product",
        "inputs": [
            quantity(4.999, 0.0032, "normal", weight=1.0),
            quantity(0.019661, 9.5e-6, "normal", weight=-1.0),
        ],
        "correlations": [{"first": 1, "second": 2, "coefficient": -0.36}],
    },
    {
        "inputs": [quantity(0.0, 1.0, "normal"), quantity(0.0, 2.0, "normal"), quantity(0.0, 1.5, "normal")],
        "correlations": [
            {"first": 1, "second": 2, "coefficient": 0.8},
            {"first": 3, "second": 2, "coefficient": -0.5},
            {"first": 1, "second": 3, "coefficient": -0.2},
        ],
    },
)


@check(
    "/api/v1/uncertainty",
    "free model: correlated inputs",
    "uncertainties, numpy multivariate normal",
    1e-7,
    *CORRELATED,
)
def free_correlated(given, result):
    sources, model, done = sources_of(given), model_of(given), result["assessment"]
    standards = numpy.array([source.standard() for source in sources.values()])
    coefficients = numpy.eye(len(standards))
    for pair in given["correlations"]:
        i, j = pair["first"] - 1, pair["second"] - 1
        coefficients[i, j] = coefficients[j, i] = pair["coefficient"]
    covariance = coefficients * numpy.outer(standards, standards)
    middle = [source.estimate for source in sources.values()]
    output = model(dict(enumerate(uncertainties.correlated_values(middle, covariance))))
    yield "gum.standard", done["gum"]["standard"], output.std_dev
    draws = numpy.random.default_rng(1).multivariate_normal(middle, covariance, budgets.TRIALS).T
    yield from budgets.compare_trials(
        done["monte_carlo"], model(dict(enumerate(draws))), output.nominal_value, output.std_dev
    )
    if given["form"] == "product":
        # JCGM 100 H.2, table H.3: 254.260 ohm with 0.236 ohm; the inputs are printed with few digits.
        yield "H.2 impedance", done["value"], 254.260, 0.01
        yield "H.2 standard uncertainty", done["gum"]["standard"], 0.236, 0.001


PARTS = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)]


@check(
    "/api/v1/uncertainty",
    "free model: degrees of freedom",
    "scipy Student's t; JCGM 100 H.1.6",
    1e-7,
    {
        "inputs": [quantity(0.0, u, "normal", degrees_of_freedom=degrees) for u, degrees in PARTS],
        "coverage_probability_percent": 99.0,
    },
)
def free_degrees(given, result):
    gum = result["assessment"]["gum"]
    standard = math.hypot(*(u for u, _ in PARTS))
    degrees = standard**4 / math.fsum(u**4 / known for u, known in PARTS)
    yield "gum.standard", gum["standard"], standard
    yield "gum.degrees_of_freedom", gum["degrees_of_freedom"], degrees
    yield "gum.k", gum["k"], scipy.stats.t.ppf(0.995, math.floor(degrees))
    # As printed there.
    yield "printed: effective degrees of freedom", gum["degrees_of_freedom"], 16.7, 0.1
    yield "printed: coverage factor", gum["k"], 2.92, 0.005
    yield "printed: expanded uncertainty", gum["expanded"], 93.0, 0.6
