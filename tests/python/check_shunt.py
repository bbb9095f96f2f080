"""Shunt: heat, pulse, largest current, inductance, curve; and the fit of a curve to measured points."""

import math

import numpy
import scipy.integrate
import scipy.optimize
import scipy.stats
import uncertainties

from harness import check, hunt
from models import Element

SHUNTS = (
    {},
    {"shunt.tcr_ppm_per_k": 65.0, "shunt.tcr_quadratic_ppm_per_k2": -0.5, "operating.ripple_current_a": 60.0},
    # Copper, far up its curve, where the coupling is strong.
    {
        "shunt.tcr_ppm_per_k": 3930.0,
        "shunt.thermal_resistance_k_per_w": 8.0,
        "operating.ambient_degc": 20.0,
        "operating.pulse_duration_s": 3.0,
    },
    {
        "shunt.tcr_ppm_per_k": -80.0,
        "shunt.tcr_quadratic_ppm_per_k2": 1.5,
        "shunt.reference_degc": 25.0,
        "operating.ambient_degc": -30.0,
    },
    {
        "shunt.inductance_henry": 9e-9,
        "operating.ripple_current_a": 30.0,
        "operating.slew_a_per_s": 5e7,
        "matching.time_constant_error_percent": 15.0,
    },
)


def element(given):
    return Element(given["shunt"], given["operating"]["ambient_degc"])


def rms(given):
    """Of direct current and a triangle, by integrating one edge of it: Simpson's rule is exact for a parabola."""
    edge = given["operating"]["current_a"] + given["operating"]["ripple_current_a"] * numpy.array([-1.0, 0.0, 1.0])
    return math.sqrt(scipy.integrate.simpson(edge**2, dx=0.5))


@check("/api/v1/shunt", "shunt: steady heat, coupled", "scipy brentq on the heat balance", 1e-9, *SHUNTS)
def shunt_heat(given, result):
    body, current = element(given), rms(given)
    degc = body.settled(current)
    ohm = body.resistance(degc)
    yield "rms_current_a", result["rms_current_a"], current
    yield "element_degc", result["element_degc"], degc
    yield "rise_k", result["rise_k"], degc - body.ambient
    yield "resistance_ohm", result["resistance_ohm"], ohm
    yield "change_ppm", result["change_ppm"] + 1e6, ohm / given["shunt"]["resistance_ohm"] * 1e6
    yield "power_w", result["power_w"], current**2 * ohm
    yield "signal_v", result["signal_v"], given["operating"]["current_a"] * ohm
    # The slope of the surplus at the solution, by a central difference, is (gain - 1)/Rth.
    slope = (body.surplus(degc + 1.0, current) - body.surplus(degc - 1.0, current)) / 2.0
    yield "1 - loop_gain", 1.0 - result["loop_gain"], -slope * given["shunt"]["thermal_resistance_k_per_w"]


@check("/api/v1/shunt", "shunt: pulse", "scipy solve_ivp and quad", 1e-8, *SHUNTS)
def shunt_pulse(given, result):
    body, part, op, pulse = element(given), given["shunt"], given["operating"], result["pulse"]
    current, start = op["pulse_current_a"], body.settled(rms(given))

    def rate(_, degc):
        return body.surplus(degc, current) / part["heat_capacity_j_per_k"]

    def too_hot(_, degc):
        return degc[0] - part["max_element_degc"]

    precise = {"method": "DOP853", "rtol": 1e-12, "atol": 1e-9}
    course = scipy.integrate.solve_ivp(rate, (0.0, op["pulse_duration_s"]), [start], **precise)
    yield "element_degc", pulse["element_degc"], course.y[0, -1]
    if start < part["max_element_degc"] < body.settled(current):
        too_hot.terminal = True
        course = scipy.integrate.solve_ivp(rate, (0.0, 1e5), [start], events=too_hot, **precise)
        yield "longest_s", pulse["longest_s"], course.t_events[0][0]
    yield "let_through_a2s", pulse["let_through_a2s"], current**2 * op["pulse_duration_s"]
    heat, _ = scipy.integrate.quad(
        lambda degc: part["heat_capacity_j_per_k"] / body.resistance(degc),
        start,
        max(start, part["max_element_degc"]),
        epsrel=1e-12,
    )
    yield "adiabatic_limit_a2s", pulse["adiabatic_limit_a2s"], heat
    yield "power_w", pulse["power_w"], current**2 * body.resistance(start)
    if "adiabatic_rise_k" in pulse:

        def heated(_, degc):
            return current**2 * body.resistance(degc) / part["heat_capacity_j_per_k"]

        course = scipy.integrate.solve_ivp(heated, (0.0, op["pulse_duration_s"]), [start], **precise)
        yield "adiabatic_rise_k", pulse["adiabatic_rise_k"], course.y[0, -1] - start


def extremes(part, spread=(-1.0, 1.0)):
    """The parts at the upper end of tolerance and drift, over the spread of the coefficient."""
    highest = part["resistance_ohm"] * (1.0 + part["tolerance_percent"] / 100.0)
    highest *= 1.0 + part["life_drift_percent"] / 100.0
    slopes = [part["tcr_ppm_per_k"] + share * part["tcr_tolerance_ppm_per_k"] for share in spread]
    return [part | {"resistance_ohm": highest, "tcr_ppm_per_k": slope} for slope in slopes]


@check("/api/v1/shunt", "shunt: largest current", "scipy brentq on current", 1e-9, *SHUNTS)
def shunt_largest_current(given, result):
    part, ambient = given["shunt"], given["operating"]["ambient_degc"]
    bodies = [Element(one, ambient) for one in extremes(part)]
    line = numpy.interp(ambient, [part["derate_from_degc"], part["zero_power_degc"]], [1.0, 0.0])
    allowed = part["rated_power_w"] * line
    yield "derated_power_w", result["derated_power_w"], allowed

    def over(current):
        worst = 0.0
        for body in bodies:
            degc = body.settled(current)
            if math.isinf(degc):
                return 1e9
            heat = (degc - ambient) / (part["max_element_degc"] - ambient)
            worst = max(worst, current**2 * body.resistance(degc) / allowed, heat)
        return worst - 1.0

    yield (
        "largest_current_a",
        result["largest_current_a"],
        scipy.optimize.brentq(over, 1.0, 1e5, xtol=1e-10, rtol=1e-14),
    )


@check("/api/v1/shunt", "shunt: inductance and thermal EMF", "numpy complex impedances", 1e-9, *SHUNTS)
def shunt_inductance(given, result):
    part, op, found = given["shunt"], given["operating"], result["inductance"]
    omega = 2.0 * numpy.pi * op["ripple_frequency_hz"]
    impedance = part["resistance_ohm"] + 1j * omega * part["inductance_henry"]
    gain = abs(impedance) / part["resistance_ohm"]
    yield "ripple_gain", found["ripple_gain"], gain
    # The steepest edge of a triangle goes from peak to peak in half a period.
    edge = 2.0 * op["ripple_current_a"] / (0.5 / op["ripple_frequency_hz"])
    yield "ripple_spike_v", found["ripple_spike_v"], part["inductance_henry"] * edge
    yield "slew_error_v", found["slew_error_v"], part["inductance_henry"] * op["slew_a_per_s"]
    if part["inductance_henry"]:
        corner = scipy.optimize.brentq(
            lambda f: 2.0 * numpy.pi * f * part["inductance_henry"] - part["resistance_ohm"], 1.0, 1e12, rtol=1e-14
        )
        yield "corner_hz", found["corner_hz"], corner
        series = given["matching"]["series_ohm"]
        yield (
            "matching: L/R = R_f C_f",
            found["matching_farad"] * series,
            part["inductance_henry"] / part["resistance_ohm"],
        )
        for name, sign in (("residual_slow_percent", 1.0), ("residual_fast_percent", -1.0)):
            mismatch = 1.0 + sign * given["matching"]["time_constant_error_percent"] / 100.0
            capacitor = 1.0 / (1j * omega * found["matching_farad"] * mismatch)
            after = impedance / part["resistance_ohm"] * capacitor / (series + capacitor)
            yield name, found[name] + 100.0, abs(after) * 100.0
    emf = part["emf_v_per_k"] * part["end_temperature_difference_k"]
    yield "emf.voltage_v", result["emf"]["voltage_v"], emf
    yield "emf.current_a", result["emf"]["current_a"], emf / part["resistance_ohm"]


@check("/api/v1/shunt", "shunt: curve", "numpy polynomial", 1e-9, *SHUNTS)
def shunt_curve(given, result):
    body = element(given)
    degc = numpy.array([point["degc"] for point in result["curve"]])
    ohm = body.resistance(degc)
    reference = given["shunt"]["reference_degc"]
    # IEC 60028: 3930 ppm/K of the resistance at 20 degC, so that at another reference the coefficient is another.
    copper = (1.0 + 3.93e-3 * (degc - 20.0)) / (1.0 + 3.93e-3 * (reference - 20.0))
    for index, point in enumerate(result["curve"]):
        yield f"resistance_ohm at {degc[index]:.1f} degC", point["resistance_ohm"], ohm[index]
        yield f"copper_change_ppm at {degc[index]:.1f} degC", point["copper_change_ppm"] + 1e6, copper[index] * 1e6


def drawn_shunt(random):
    """A bar, foil or copper shunt sized for its current, with ratings around what it does."""
    current = float(10 ** random.uniform(1.3, 3.3))
    ohm = float(random.uniform(0.01, 0.12) / current)
    power = current**2 * ohm
    rise = float(random.uniform(5.0, 110.0))
    copper = random.random() < 0.2
    return {
        "shunt.resistance_ohm": ohm,
        "shunt.tolerance_percent": float(random.choice([0.1, 0.5, 1.0, 5.0])),
        "shunt.tcr_ppm_per_k": 3930.0 if copper else float(random.uniform(-200.0, 200.0)),
        "shunt.tcr_tolerance_ppm_per_k": float(random.choice([0.0, 5.0, 50.0, 300.0])),
        "shunt.tcr_quadratic_ppm_per_k2": 0.0 if copper else float(random.uniform(-0.8, 0.3)),
        "shunt.copper_share_percent": float(random.choice([0.0, 0.0, 2.0, 20.0])),
        "shunt.reference_degc": float(random.choice([20.0, 25.0])),
        "shunt.rated_power_w": power * float(random.uniform(0.9, 1.8)),
        "shunt.thermal_resistance_k_per_w": rise / power,
        "shunt.heat_capacity_j_per_k": power * float(10 ** random.uniform(-1.0, 1.5)) / rise,
        "shunt.life_drift_percent": float(random.choice([0.0, 0.2, 1.0])),
        "operating.current_a": current,
        "operating.ripple_current_a": current * float(random.uniform(0.0, 0.2)),
        "operating.ambient_degc": float(random.uniform(-40.0, 105.0)),
        "operating.pulse_current_a": current * float(random.uniform(1.1, 5.0)),
        "operating.pulse_duration_s": float(10 ** random.uniform(-2.0, 1.5)),
    }


@hunt("/api/v1/shunt", "shunt: no part is hotter", "scipy ODE over tolerance, spread, drift", drawn_shunt)
def shunt_parts(given, result, random):
    part, op = given["shunt"], given["operating"]
    current, ambient = rms(given), op["ambient_degc"]
    line = numpy.interp(ambient, [part["derate_from_degc"], part["zero_power_degc"]], [1.0, 0.0])
    room, copper_melts = part["max_element_degc"] - ambient, 1084.62
    worst = {"shunt.power": 0.0, "shunt.temperature": 0.0, "shunt.pulse": 0.0, "shunt.thermal-runaway": 0.0}

    def found(name, share):
        worst[name] = max(worst[name], share)

    drawn = []
    for one in extremes(part, [*numpy.linspace(-1.0, 1.0, 5), random.uniform(-1.0, 1.0)]):
        low = one["resistance_ohm"] / (1.0 + part["tolerance_percent"] / 50.0)
        drawn += [one, one | {"resistance_ohm": float(random.uniform(low, one["resistance_ohm"]))}]
    for one in drawn:
        body = Element(one, ambient)
        degc = body.settled(current)
        if degc > copper_melts:
            for name in worst:
                found(name, math.inf)
            continue
        found("shunt.power", current**2 * body.resistance(degc) / max(part["rated_power_w"] * line, 1e-300))
        found("shunt.temperature", (degc - ambient) / room)

        def rate(_, hot, body=body):
            return body.surplus(hot, op["pulse_current_a"]) / part["heat_capacity_j_per_k"]

        def melts(_, hot):
            return hot[0] - copper_melts

        melts.terminal = True
        course = scipy.integrate.solve_ivp(
            rate, (0.0, op["pulse_duration_s"]), [degc], method="LSODA", rtol=1e-9, atol=1e-9, events=melts
        )
        end = course.y[0, -1]
        found("shunt.pulse", math.inf if course.t_events[0].size else (end - ambient) / room)
    for name, share in worst.items():
        yield name, 0, share
    largest = result["largest_current_a"] * (1.0 - 1e-9)
    if largest > 0.0:
        for one in drawn:
            body = Element(one, ambient)
            degc = body.settled(largest)
            yield None, 0, largest**2 * body.resistance(degc) / (part["rated_power_w"] * line)
            yield None, 0, (degc - ambient) / room


def points(*pairs):
    return [{"degc": degc, "resistance_ohm": ohm} for degc, ohm in pairs]


# A line with scatter, a parabola with scatter, and an exact number of points.
FITS = (
    {},
    {"order": "line", "reference_degc": 25.0},
    {
        "points": points(
            *((t, 1e-4 * (1 + 6e-5 * t - 4e-7 * t * t + 3e-6 * math.sin(7 * t))) for t in range(-40, 160, 5))
        )
    },
    {"points": points((-40, 9.96e-5), (20, 1e-4), (120, 9.99e-5)), "reference_degc": 0.0},
    {"points": points((0, 1.0), (40, 1.1573), (80, 1.3141), (120, 1.4718)), "order": "line"},
)


@check("/api/v1/shunt/fit", "shunt fit", "numpy lstsq, uncertainties for a = c1/c0", 1e-7, *FITS)
def shunt_fit(given, result):
    degc = numpy.array([point["degc"] for point in given["points"]])
    ohm = numpy.array([point["resistance_ohm"] for point in given["points"]])
    powers = 3 if given["order"] == "parabola" else 2
    design = numpy.vander(degc - given["reference_degc"], powers, increasing=True)
    # Column scaling keeps the normal matrix of the covariance well conditioned.
    scale = numpy.abs(design).max(axis=0)
    solution, *_ = numpy.linalg.lstsq(design / scale, ohm, rcond=None)
    residuals = ohm - design / scale @ solution
    spare = len(ohm) - powers
    yield "degrees_of_freedom", result["degrees_of_freedom"], spare
    for index, point in enumerate(result["points"]):
        yield (
            f"residual_ppm + 1e6 of point {index}",
            point["residual_ppm"] + 1e6,
            residuals[index] / solution[0] * 1e6 + 1e6,
        )
    box = (ohm.max() - ohm.min()) / (solution[0] * numpy.ptp(degc)) * 1e6
    yield "box_ppm_per_k", result["box_ppm_per_k"], box

    variance = residuals @ residuals / spare if spare else 1.0
    covariance = numpy.linalg.inv(design.T / scale[:, None] @ (design / scale)) * variance / numpy.outer(scale, scale)
    fitted = uncertainties.correlated_values(solution / scale, covariance)
    names = ["resistance_ohm", "tcr_ppm_per_k", "tcr_quadratic_ppm_per_k2"][:powers]
    expected = [fitted[0], fitted[1] / fitted[0] * 1e6, *(c / fitted[0] * 1e6 for c in fitted[2:])]
    for name, value in zip(names, expected, strict=True):
        yield name, result[name]["value"], value.nominal_value
        if spare:
            yield f"{name}, standard error", result[name]["standard_error"], value.std_dev
            student = scipy.stats.t.ppf(0.975, spare)
            yield f"{name}, 95 %", result[name]["half_width_95"], value.std_dev * student
        else:
            yield f"{name}, without spare points", "standard_error" in result[name], False
    yield "correlation", result["correlation"], covariance[0, 1] / math.sqrt(covariance[0, 0] * covariance[1, 1])
    if spare:
        yield "deviation_ppm", result["deviation_ppm"], math.sqrt(variance) / solution[0] * 1e6
    if powers == 3:
        (turn,) = numpy.polynomial.Polynomial(solution / scale).deriv().roots()
        yield "vertex_degc - reference", result["vertex_degc"] - given["reference_degc"], turn


@check(
    "/api/v1/shunt/parallel",
    "shunts in parallel",
    "numpy solve of the circuit",
    1e-9,
    {},
    {"elements": [{"resistance_ohm": r, "mounting_ohm": m} for r, m in ((5e-5, 4e-6), (1e-4, 0.0), (2.5e-4, 3e-5))]},
)
def shunt_parallel(given, result):
    element = numpy.array([part["resistance_ohm"] for part in given["elements"]])
    mounting = numpy.array([part["mounting_ohm"] for part in given["elements"]])
    count, total = len(element), given["current_a"]

    def currents(series):
        """Every branch drops the common voltage, and the branches carry the total together."""
        matrix = numpy.zeros((count + 1, count + 1))
        matrix[:count, :count] = numpy.diag(series)
        matrix[:count, count] = -1.0
        matrix[count, :count] = 1.0
        *branches, voltage = numpy.linalg.solve(matrix, [0.0] * count + [total])
        return numpy.array(branches), voltage

    (real, voltage), (ideal, _) = currents(element + mounting), currents(element)
    yield "voltage_v", result["voltage_v"], voltage
    yield "resistance_ohm", result["resistance_ohm"], voltage / total
    yield "power_w", result["power_w"], float(real**2 @ (element + mounting))
    for index, part in enumerate(result["elements"]):
        yield f"element {index}: current_a", part["current_a"], real[index]
        yield f"element {index}: ideal_percent", part["ideal_percent"], ideal[index] / total * 100.0
        error = (real[index] / ideal[index] - 1.0) * 100.0
        yield f"element {index}: share_error_percent", part["share_error_percent"], error, 1e-9
        yield f"element {index}: signal_v", part["signal_v"], real[index] * element[index]
        yield f"element {index}: power_w", part["power_w"], real[index] ** 2 * element[index]


@check(
    "/api/v1/shunt/two-range",
    "two ranges on one shunt",
    "numpy corners, weighted least squares",
    1e-9,
    {},
    {"fine.gain_percent": 0.5, "coarse.gain_percent": 0.2, "change_over_a": 60.0, "hysteresis_percent": 25.0},
)
def shunt_two_range(given, result):
    def limit(name, current):
        return given[name]["gain_percent"] / 100.0 * current + given[name]["offset_a"]

    def seam(current):
        """The largest difference of two readings that err inside their limits."""
        fine, coarse = (numpy.array([-1.0, 1.0]) * limit(name, current) for name in ("fine", "coarse"))
        return numpy.abs(fine[:, None] - coarse[None, :]).max()

    up = given["change_over_a"]
    down = up - up * given["hysteresis_percent"] / 100.0
    yield "seam_step_a", result["seam_step_a"], seam(up)
    yield "seam_step_down_a", result["seam_step_down_a"], seam(down)
    yield "change_back_a", result["change_back_a"], down
    # Two readings of one current, weighted by their standard uncertainties: the least-squares estimate.
    standards = numpy.array([limit("fine", up), limit("coarse", up)]) / math.sqrt(3.0)
    design = 1.0 / standards[:, None]
    weights = numpy.linalg.pinv(design) @ numpy.diag(1.0 / standards)
    yield "fine_weight", result["fine_weight"], weights[0, 0]
    yield "fused_standard_a", result["fused_standard_a"], math.sqrt(numpy.linalg.inv(design.T @ design)[0, 0])
    if "equal_error_a" in result:
        equal = result["equal_error_a"]
        yield "equal_error_a", limit("fine", equal), limit("coarse", equal)
