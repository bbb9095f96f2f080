"""Thermistor coefficients by a linear-algebra library, preferred values by a library of the series."""

import eseries
import numpy
from harness import check

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
