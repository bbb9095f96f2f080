"""Voltage divider: ratio, tolerance, drift, leakage, bend, filter, noise and drain."""

import math

import numpy
import scipy.constants
import scipy.integrate
import scipy.optimize

from harness import check

DIVIDERS = (
    {},
    {"load_ohm": 2e6, "filter_farad": 1e-8, "leakage_ohm": 1e9, "bias_current_a": 1e-7, "upper.drift_by": "absolute"},
    {"upper.count": 3, "upper.resistance_ohm": 1e6, "lower.count": 2, "lower.resistance_ohm": 4700.0, "load_ohm": 1e7},
)


def output(pack, chain, load=math.inf, across=None, source=0.0):
    """The voltage over the last element of a chain from the pack to its negative pole, by solving the node equations.

    `chain` lists the resistances, `across` puts one from node to node (0 is the pack, the last one the negative pole),
    `source` is a current drawn from the output.
    """
    count = len(chain)
    conductance = numpy.zeros((count + 1, count + 1))

    def place(a, b, ohm):
        for row, column, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
            conductance[row, column] += sign / ohm

    for index, ohm in enumerate(chain):
        place(index, index + 1, ohm)
    if math.isfinite(load):
        place(count - 1, count, load)
    if across:
        place(*across)
    drawn = -conductance[1:count, 0] * pack
    drawn[-1] -= source
    return numpy.linalg.solve(conductance[1:count, 1:count], drawn)[-1]


def strings(given, upper=1.0, lower=1.0):
    """The chain of elements with the lower string as one."""
    part = given["upper"]["resistance_ohm"] * upper
    return [part] * given["upper"]["count"] + [given["lower"]["resistance_ohm"] * given["lower"]["count"] * lower]


@check("/api/v1/divider", "divider: ratio, tolerance, drift, leakage", "numpy node equations", 1e-7, *DIVIDERS)
def divider_ratio(given, result):
    load = given.get("load_ohm", math.inf)
    top = given["input_max_v"]
    nominal = output(1.0, strings(given), load)
    yield "ratio", result["ratio"]["ratio"], nominal
    yield "unloaded_ratio", result["ratio"]["unloaded_ratio"], output(1.0, strings(given))
    yield "output_v", result["ratio"]["output_v"], output(top, strings(given), load)
    yield "over_range_v", result["ratio"]["over_range_v"], given["converter_full_scale_v"] / nominal

    def off(upper, lower):
        return (output(1.0, strings(given, 1.0 + upper, 1.0 + lower), load) / nominal - 1.0) * 100.0

    upper, lower = given["upper"]["tolerance_percent"] / 100.0, given["lower"]["tolerance_percent"] / 100.0
    found = result["tolerance"]
    yield "ratio_high_percent", found["ratio_high_percent"], off(-upper, lower)
    yield "ratio_low_percent", abs(found["ratio_low_percent"]), abs(off(upper, -lower))
    tiny = 1e-5
    slopes = [(off(tiny, 0.0) - off(-tiny, 0.0)) / (200.0 * tiny), (off(0.0, tiny) - off(0.0, -tiny)) / (200.0 * tiny)]
    yield "sensitivity_upper", found["sensitivity_upper"], slopes[0], 1e-6
    yield "sensitivity_lower", found["sensitivity_lower"], slopes[1], 1e-6
    worst = abs(slopes[0]) * upper + abs(slopes[1]) * lower
    yield "worst_case_percent", found["worst_case_percent"], worst * 100.0, 1e-6
    distance = abs(given["ambient_degc"] - given["calibration_degc"])
    absolute = abs(slopes[0]) * given["upper"]["tcr_ppm_per_k"] + abs(slopes[1]) * given["lower"]["tcr_ppm_per_k"]
    yield "absolute_percent", result["drift"]["absolute_percent"], absolute * distance * 1e-4, 1e-6

    if "leakage_ohm" in given:
        count, leak = given["upper"]["count"], given["leakage_ohm"]
        for name, across in (
            ("whole", (0, count, leak)),
            ("element", (0, 1, leak)),
            ("lower", (count, count + 1, leak)),
        ):
            change = (output(1.0, strings(given), load, across) / nominal - 1.0) * 100.0
            yield f"leakage.{name}_percent", abs(result["leakage"][f"{name}_percent"]), abs(change), 1e-10
        smallest = result["leakage"]["smallest_ohm"]
        change = (output(1.0, strings(given), load, (0, count, smallest)) / nominal - 1.0) * 100.0
        yield "leakage.smallest_ohm uses the budget", change, given["leakage_budget_percent"]
    if math.isfinite(load):
        change = (nominal / output(1.0, strings(given)) - 1.0) * 100.0
        yield "load.loading_percent", abs(result["load"]["loading_percent"]), abs(change), 1e-10
    bias = output(top, strings(given), load) - output(top, strings(given), load, source=given["bias_current_a"])
    yield "load.bias_output_v", abs(result["load"]["bias_output_v"]), bias, 1e-12
    yield "load.bias_v", abs(result["load"]["bias_v"]), bias / nominal, 1e-9


@check("/api/v1/divider", "divider: bend", "scipy root of the nonlinear chain", 1e-2, *DIVIDERS)
def divider_bend(given, result):
    """The elements change with the voltage on them: solved as it is. The server has the first order,
    which misses some thousandths of the bend itself."""
    upper, lower = given["upper"], given["lower"]
    load = given.get("load_ohm", math.inf)

    def reading(pack):
        def surplus(volt):
            high = (pack - volt) / upper["count"]
            low = volt / lower["count"]
            above = (
                upper["resistance_ohm"] * upper["count"] * (1.0 + upper["voltage_coefficient_ppm_per_v"] * 1e-6 * high)
            )
            below = (
                lower["resistance_ohm"] * lower["count"] * (1.0 + lower["voltage_coefficient_ppm_per_v"] * 1e-6 * low)
            )
            return (pack - volt) / above - volt / below - (volt / load if math.isfinite(load) else 0.0)

        return scipy.optimize.brentq(surplus, 0.0, pack, xtol=1e-15, rtol=1e-15) / output(1.0, strings(given), load)

    found, top = result["bend"], given["input_max_v"]
    yield "at_max_v", found["at_max_v"], reading(top) - top
    low, high = found["calibration_low_v"], found["calibration_high_v"]

    def left(pack):
        """The error after a straight line through the two calibration points has been taken off."""
        slope = (reading(high) - reading(low)) / (high - low)
        return reading(low) + slope * (pack - low) - reading(pack)

    between = max(abs(left(pack)) for pack in numpy.linspace(low, high, 101))
    yield "left_between_v", abs(found["left_between_v"]), between


@check("/api/v1/divider", "divider: filter, noise, drain", "numpy phasors, scipy quad", 1e-6, *DIVIDERS)
def divider_dynamics(given, result):
    load, top = given.get("load_ohm", math.inf), given["input_max_v"]
    chain = strings(given)
    # What a current drawn from the output takes from its voltage.
    source = (output(1.0, chain, load) - output(1.0, chain, load, source=1e-9)) / 1e-9
    yield "source_loaded_ohm", result["dynamics"]["source_loaded_ohm"], source
    if "filter_farad" in given:
        farad, found = given["filter_farad"], result["dynamics"]
        corner = scipy.optimize.brentq(lambda f: abs(1 / (1 + 2j * math.pi * f * source * farad)) - 0.5**0.5, 1e-3, 1e9)
        yield "corner_hz", found["corner_hz"], corner
        yield "ramp_lag_v", found["ramp_lag_v"], given["ramp_v_per_s"] * source * farad
        kelvin = given["ambient_degc"] + scipy.constants.zero_Celsius
        power, _ = scipy.integrate.quad(lambda x: 1 / (1 + x * x), 0, numpy.inf, epsrel=1e-12)
        noise = math.sqrt(4 * scipy.constants.k * kelvin * source * corner * power)
        yield "noise_output_v", found["noise_output_v"], noise
    # The load takes a part of the current through the upper string.
    current = (top - output(top, chain, load)) / sum(chain[:-1]) if math.isfinite(load) else top / sum(chain)
    yield "drain.current_a", result["drain"]["current_a"], current
    yield "drain.power_w", result["drain"]["power_w"], given["strings"] * top * result["drain"]["current_a"]
    charge = given["strings"] * result["drain"]["current_a"] * scipy.constants.Julian_year / scipy.constants.hour
    # Whether a year has 365 days or a quarter more is nothing to argue about.
    yield "drain.charge_ah_per_year", result["drain"]["charge_ah_per_year"], charge, 1e-3 * charge
