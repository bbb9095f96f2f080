"""Thermistor coefficients by a linear-algebra library, preferred values by a library of the series."""

import itertools
import math

import eseries
import numpy
import scipy.optimize

from harness import check, hunt

POINTS = [(5.0, 25e3), (25.0, 10e3), (45.0, 4e3)]
MANY = [(-40.0, 239.8e3), (-20.0, 76676.0), (0.0, 28677.0), (25.0, 1e4), (50.0, 4075.1), (85.0, 1420.6), (125.0, 531.0)]


def listed(points):
    return [{"degc": degc, "resistance_ohm": ohm} for degc, ohm in points]


@check(
    "/api/v1/thermistor/fit",
    "Steinhart-Hart coefficients",
    "numpy.linalg",
    1e-9,
    {"points": listed(POINTS), "equation": "steinhart-hart"},
    {"points": listed(MANY), "equation": "steinhart-hart"},
)
def steinhart_hart(given, result):
    kelvin = numpy.array([point["degc"] for point in given["points"]]) + 273.15
    log = numpy.log([point["resistance_ohm"] for point in given["points"]])
    design = numpy.stack([numpy.ones_like(log), log, log**3], axis=1)
    if len(kelvin) == 3:
        solution = numpy.linalg.solve(design, 1.0 / kelvin)
        allowed = [1e-9, 1e-9, 1e-9]
    else:
        # Rows weighted by T², so that the residuals are kelvins; columns scaled to about one.
        weight = kelvin[:, None] ** 2
        scale = numpy.linalg.norm(design * weight, axis=0)
        solution = numpy.linalg.lstsq(design * weight / scale, weight[:, 0] / kelvin, rcond=None)[0] / scale
        allowed = [1e-7, 1e-7, 1e-6]
    for name, value, relative in zip("abc", solution, allowed, strict=True):
        yield name, result["steinhart_hart"][name]["value"], value, abs(value) * relative
    for point, fitted in zip(result["points"], 1.0 / (design @ solution) - 273.15, strict=True):
        yield f"fitted at {point['degc']} °C", point["fitted_degc"], fitted, 1e-6


@check(
    "/api/v1/divider/choice",
    "preferred values of a divider",
    "eseries",
    1e-9,
    *({"series": series, "target_output_v": output} for series in ("e24", "e96", "e192") for output in (1.64, 1.2)),
)
def choice(given, result):
    series = eseries.ESeries[given["series"].upper()]
    ratio, count = result["target_ratio"], given["count"]
    lowers = list(eseries.erange(series, given["lower_min_ohm"], given["lower_max_ohm"]))
    best = min(
        abs(lower / (lower + count * upper) / ratio - 1.0)
        for lower in lowers
        for wanted in [lower * (1.0 / ratio - 1.0) / count]
        for upper in (
            eseries.find_less_than_or_equal(series, wanted),
            eseries.find_greater_than_or_equal(series, wanted),
        )
    )
    yield "smallest error", min(abs(pair["error_percent"]) for pair in result["pairs"]) / 100.0, best, 1e-12
    for pair in result["pairs"]:
        for name in ("upper_ohm", "lower_ohm"):
            yield f"{name} {pair[name]}", pair[name], eseries.find_nearest(series, pair[name])


def resistance(given, degc, r25=1.0, beta=1.0):
    """A thermistor by its definition of beta."""
    part, kelvin = given["beta"], degc + 273.15
    return part["r25_ohm"] * r25 * math.exp(part["beta_k"] * beta * (1.0 / kelvin - 1.0 / 298.15))


def code_of(given, ohm, fixed=1.0):
    """What a ratiometric divider makes of a resistance."""
    other = given["divider"]["fixed_ohm"] * fixed
    over = ohm if given["divider"]["side"] == "low" else other
    return 2 ** given["converter"]["bits"] * over / (ohm + other)


def firmware(given, code):
    """The temperature whose nominal code that is, by a root finder."""
    return scipy.optimize.brentq(lambda degc: code_of(given, resistance(given, degc)) - code, -150.0, 500.0, xtol=1e-12)


READINGS = (
    {"reading": {"resistance_ohm": 4321.0, "voltage_v": 1.1, "code": 3210.0}},
    {"reading": {"code": 512.0}, "divider.side": "high", "converter.bits": 10, "divider.fixed_ohm": 4700.0},
)


@check("/api/v1/thermistor", "thermistor: readings, sensitivity", "scipy brentq, central difference", 1e-7, *READINGS)
def thermistor_readings(given, result):
    supply, asked = given["divider"]["supply_v"], given["reading"]
    codes = {
        "resistance": lambda: code_of(given, asked["resistance_ohm"]),
        "voltage": lambda: asked["voltage_v"] / supply * 2 ** given["converter"]["bits"],
        "code": lambda: asked["code"],
    }
    yield "readings", len(result["read_back"]), len(asked)
    for read in result["read_back"]:
        degc = firmware(given, codes[read["from"]]())
        yield f"from {read['from']}", read["degc"], degc, 1e-7
        yield f"resistance from {read['from']}", read["resistance_ohm"], resistance(given, degc)
    step = supply / 2 ** given["converter"]["bits"]
    for point in result["points"]:
        degc = point["at"]["degc"]
        around = [code_of(given, resistance(given, degc + by)) * step for by in (-0.01, 0.01)]
        yield f"V/K at {degc}", point["at"]["sensitivity_v_per_k"], (around[1] - around[0]) / 0.02, 1e-8


def drawn_thermistor(random):
    """A thermistor in a ratiometric divider, powered so little that it stays cold."""
    return {
        "beta.r25_ohm": float(10 ** random.uniform(3.5, 5.0)),
        "beta.beta_k": float(random.uniform(3000.0, 4500.0)),
        "beta.r25_tolerance_percent": float(random.choice([0.5, 1.0, 3.0])),
        "beta.beta_tolerance_percent": float(random.choice([0.3, 1.0])),
        "beta.curve_k": 0.0,
        "divider.fixed_ohm": float(10 ** random.uniform(3.3, 5.0)),
        "divider.fixed_tolerance_percent": float(random.choice([0.1, 1.0])),
        "divider.side": str(random.choice(["low", "high"])),
        "converter.bits": int(random.choice([12, 14, 16])),
        "converter.inl_lsb": float(random.uniform(0.0, 4.0)),
        "electronics_span_k": float(random.uniform(0.0, 60.0)),
        "body.dissipation_w_per_k": 1.0,
        "min_degc": -30.0,
        "max_degc": 85.0,
        "points_degc": [-20.0, 25.0, 60.0],
        "requirement.allowed_k": float(random.uniform(0.4, 3.0)),
        "experiment.trials": 1000,
    }


@hunt("/api/v1/thermistor", "thermistor: no corner is worse", "all corners through a root finder", drawn_thermistor)
def thermistor_corners(given, result, random):
    spread = [given["beta"][f"{name}_tolerance_percent"] / 100.0 for name in ("r25", "beta")]
    fixed = given["divider"]["fixed_tolerance_percent"] / 100.0
    drift = given["divider"]["fixed_tcr_ppm_per_k"] * 1e-6 * given["electronics_span_k"]
    steps = given["converter"]["inl_lsb"] + 0.5
    # The server puts the requirements worst first; each names its point, as the points do.
    for point in result["points"]:
        degc, worst = point["at"]["degc"], 0.0
        for r25, beta, part, warm, off in itertools.product((-1.0, 1.0), repeat=5):
            ohm = resistance(given, degc, 1.0 + r25 * spread[0], 1.0 + beta * spread[1])
            code = code_of(given, ohm, (1.0 + part * fixed) * (1.0 + warm * drift)) + off * steps
            worst = max(worst, abs(firmware(given, code) - degc))
        share = worst / given["requirement"]["allowed_k"]
        told = point["verdict"]
        yield None, 0, share if told in ("holds", "thin") else 0.0
        yield None, 0, 0.98 / share if told == "fails" else 0.0
