"""Free measurement models: sums, products, correlations, degrees of freedom."""

import itertools
import math

import numpy
import scipy.stats
import uncertainties

import budgets
from budgets import Source
from harness import check, hunt


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
    # All inputs are normal: the root with every coefficient, the worst case with those that add.
    slope = budgets.slopes(model, sources, budgets.estimates(sources))
    terms = numpy.array([slope[name] for name in sources]) * standards
    products = coefficients * numpy.outer(terms, terms)
    yield "root_sum_square", done["root_sum_square"], 3.0 * math.sqrt(products.sum())
    # The diagonal is positive.
    adding = 3.0 * math.sqrt(products[products > 0.0].sum())
    yield "sum_of_limits", done["worst_case"]["sum_of_limits"], adding
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


def normal(estimate, standard):
    return {"estimate": estimate, "standard": standard}


def factors(*rows):
    names = ("output", "term", "input", "exponent", "scale")
    return [dict(zip(names, row, strict=True)) for row in rows]


@check(
    "/api/v1/uncertainty",
    "free model: several outputs, second order",
    "uncertainties, closed forms of normal moments",
    1e-7,
    {
        "form": "sum-of-products",
        "inputs": [normal(2.0, 0.3), normal(-1.0, 0.4), normal(0.5, 0.1)],
        # y1 = x1 x2, y2 = 3 x1² − x3, y3 = x3/x1.
        "factors": factors(
            (1, 1, 1, 1.0, 1.0),
            (1, 1, 2, 1.0, 1.0),
            (2, 1, 1, 2.0, 3.0),
            (2, 2, 3, 1.0, -1.0),
            (3, 1, 3, 1.0, 1.0),
            (3, 1, 1, -1.0, 1.0),
        ),
    },
)
def free_outputs(given, result):
    x = [uncertainties.ufloat(row["estimate"], row["standard"]) for row in given["inputs"]]
    outputs = [x[0] * x[1], 3.0 * x[0] ** 2 - x[2], x[2] / x[0]]
    done = [result, *result["others"]]
    for place, (one, expected) in enumerate(zip(done, outputs, strict=True)):
        yield f"y{place + 1}", one["assessment"]["value"], expected.nominal_value
        yield f"u(y{place + 1})", one["assessment"]["gum"]["standard"], expected.std_dev
    matrix = uncertainties.correlation_matrix(outputs)
    for pair in result["output_correlations"]:
        i, j = pair["first"] - 1, pair["second"] - 1
        yield f"r({i + 1}, {j + 1})", pair["coefficient"], matrix[i][j], 1e-9
    # Var(XY) = a² v² + b² u² + u² v²; Var(X²) = 4 a² u² + 2 u⁴.
    (a, u), (b, v), (_, w) = ((row["estimate"], row["standard"]) for row in given["inputs"])
    product = (a * v) ** 2 + (b * u) ** 2 + (u * v) ** 2
    yield "second order of a product", done[0]["second_order"]["standard"], math.sqrt(product)
    square = 9.0 * (4.0 * (a * u) ** 2 + 2.0 * u**4) + w**2
    yield "second order of a square", done[1]["second_order"]["standard"], math.sqrt(square)
    yield "mean of a square", done[1]["second_order"]["mean"], 3.0 * (a * a + u * u) - 0.5


TRIALS = 400_000
# Of a limit of one; the rest of a normal quantity is what its limit leaves out.
SHAPES = {
    "rectangular": lambda dice, n: dice.uniform(-1, 1, n),
    "triangular": lambda dice, n: dice.triangular(-1, 0, 1, n),
    "arcsine": lambda dice, n: numpy.sin(dice.uniform(-math.pi, math.pi, n)),
    "normal": lambda dice, n: dice.normal(0, 1, n),
}


def drawn(random):
    """A sum or product of up to five quantities; what is allowed lies near what comes out, on either side."""
    form = str(random.choice(["sum", "product"]))
    inputs = []
    for _ in range(int(random.integers(2, 6))):
        shape = str(random.choice(list(SHAPES)))
        estimate = float(random.choice([-1, 1]) * 10 ** random.uniform(-1, 1)) if form == "sum" else 10 ** random.uniform(-2, 2)
        limit = abs(estimate) * 10 ** random.uniform(-2.5, -1)
        weight = float(random.choice([-2, -1, 0.5, 1, 1, 2]))
        inputs.append(quantity(estimate, limit, shape, weight=weight, coverage=float(random.choice([1.0, 2.0, 3.0])) if shape == "normal" else 1.0))
    case = {"form": form, "inputs": inputs, "judged_by": str(random.choice(["worst-case", "coverage-interval"])), "trials": TRIALS}
    case["allowed"] = float(_off(case, random)) * float(random.choice([random.uniform(0.8, 0.97), random.uniform(1.03, 1.3)]))
    return case


def _off(case, dice):
    """How far the output may be off its estimate: at the corners of all limits, or in 95 % of all trials."""
    model = model_of(case)
    estimates = [x["estimate"] for x in case["inputs"]]
    middle = model(estimates)
    if case["judged_by"] == "worst-case":
        return max(abs(_joined(case, model, corner, sign) - middle) for corner in _corners(case) for sign in (-1, 1))
    off = [x["limit"] / x["coverage"] * SHAPES[x["shape"]](dice, TRIALS) for x in case["inputs"]]
    outputs = numpy.sort(model([estimate + by for estimate, by in zip(estimates, off)]) - middle)
    cut = TRIALS // 40
    return max(abs(outputs[cut]), abs(outputs[-cut]))


def _corners(case):
    """Every corner of the quantities that have ends; normal ones stand at their estimates."""
    ends = lambda x: [x["estimate"]] if x["shape"] == "normal" else [x["estimate"] - x["limit"], x["estimate"] + x["limit"]]
    return itertools.product(*map(ends, case["inputs"]))


def _joined(case, model, corner, sign):
    """The farthest output one way when the normal quantities together are three of their standard uncertainties off."""
    size = numpy.array([x["limit"] / x["coverage"] if x["shape"] == "normal" else 0.0 for x in case["inputs"]])
    at, off = numpy.array(corner), numpy.zeros(len(size))
    if not size.any():
        return model(at)
    # A point of the ball that lies along its own slope.
    for _ in range(60):
        steps = numpy.diag(1e-6 * size)
        slope = numpy.array([model(at + off + step) - model(at + off - step) for step in steps]) * (size > 0)
        off = sign * 3.0 * size * slope / numpy.linalg.norm(slope)
    return model(at + off)


@hunt("/api/v1/uncertainty", "free model: no corner or trial is worse", "corners and trials in numpy", drawn)
def deviations(given, result, random):
    yield "uncertainty.deviation", 0, _off(given, random) / given["allowed"]
