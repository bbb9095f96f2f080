"""Protection: room for a threshold, nuisance and missed trips, trip curve."""

import numpy
import scipy.integrate
import scipy.optimize
import scipy.stats

from harness import check

VOLTAGE = (
    {},
    {"threshold_v": 4.296, "noise_v": 2e-3, "rate_v_per_s": 0.0},
    {"threshold_v": 4.204, "noise_v": 1e-3, "samples_in_a_row": 3, "error_normal_v": 1e-3, "error_hazard_v": 6e-3},
    {"threshold_v": 4.298, "noise_v": 2e-3, "error_method": "interval-95", "filter_s": 0.05},
    {
        "kind": "cell-under-voltage",
        "normal_v": 2.8,
        "hazard_v": 2.0,
        "threshold_v": 2.008,
        "noise_v": 3e-3,
        "error_method": "root-sum-square",
    },
)
TEMPERATURE = (
    {},
    {"noise_k": 0.1, "threshold_degc": 53.0, "samples_in_a_row": 2},
    {"kind": "under-temperature", "normal_degc": -25.0, "hazard_degc": -40.0, "noise_k": 0.2, "threshold_degc": -36.0},
)
CURRENT = (
    {},
    {"threshold_a": 650.0, "noise_a": 9.0, "samples_in_a_row": 2},
    {"threshold_a": 900.0, "noise_a": 9.0, "error_hazard_a": 30.0},
)
CURVES = (
    {},
    {"error_percent": 5.0, "error_a": 3.0, "pickup_a": 300.0},
    {"load": [{"current_a": 600.0, "duration_s": 10.0}, {"current_a": 300.0, "duration_s": 6.0}]},
    {"load": [{"current_a": 480.0, "duration_s": 100.0}, {"current_a": 650.0, "duration_s": 3.0}], "repeats": False},
)


def threshold(given, result, value, difference, times, gradient=0.0):
    """Both edges by a search for the extreme true value, and the probabilities by quadrature."""
    over = result["trips_above"]
    s = 1.0 if over else -1.0
    normal, hazard = s * given[f"normal_{value}"], s * given[f"hazard_{value}"]
    low_error = given[f"error_normal_{difference}"]
    high_error = given.get(f"error_hazard_{difference}", low_error)
    noise = given[f"noise_{difference}"]
    rate = given[f"rate_{difference}_per_s"]
    delay = given["samples_in_a_row"] / given["sample_rate_hz"] + sum(given[name] for name in times)

    # The highest reading in allowed operation, and the reading of a ramp that ends at the hazard when it is off.
    highest = normal + low_error + given["noise_sigma"] * noise + (0.0 if over else gradient)
    latest = hazard - rate * delay - (gradient if over else 0.0)
    lowest = latest - high_error
    yield "nuisance_edge", s * result["nuisance_edge"], highest, 1e-9
    yield "harm_edge", s * result["harm_edge"], lowest, 1e-9
    yield "width", result["width"], lowest - highest, 1e-9
    yield "used_percent", result["used_percent"], 100.0 * (1.0 - (lowest - highest) / (hazard - normal))

    judged = result["judged"]
    at = s * judged["threshold"]
    if noise > 0.0:
        sample = scipy.stats.norm.sf(at, loc=highest - given["noise_sigma"] * noise, scale=noise)
        yield "nuisance_per_sample", judged["nuisance_per_sample"], sample
        hourly = 3600.0 * given["sample_rate_hz"] * sample ** given["samples_in_a_row"]
        yield "nuisance_per_hour", judged["nuisance_per_hour"], hourly
    width = scipy.stats.norm.ppf(0.975) if given["error_method"] == "interval-95" else numpy.sqrt(3.0)
    together = numpy.hypot(high_error / width, noise)
    plain = scipy.stats.norm.cdf(at, loc=latest, scale=together)
    yield "missed_probability_normal", judged["missed_probability_normal"], plain
    if given["error_method"] != "worst-case":
        missed = plain
    elif noise > 0.0:
        density = scipy.stats.uniform(loc=-high_error, scale=2.0 * high_error).pdf(0.0)
        missed, _ = scipy.integrate.quad(
            lambda error: density * scipy.stats.norm.cdf(at, loc=latest + error, scale=noise),
            -high_error,
            high_error,
            epsabs=0.0,
            epsrel=1e-12,
            limit=500,
        )
    else:
        missed = scipy.stats.uniform.cdf(at, loc=latest - high_error, scale=2.0 * high_error)
    yield "missed_probability", judged["missed_probability"], missed, 1e-9 * missed + 1e-15

    balanced = result["balanced"]["threshold"]
    below = numpy.hypot(low_error / width, noise)
    start = normal + (0.0 if over else gradient)
    root = scipy.optimize.brentq(lambda x: (x - start) / below - (latest - x) / together, start - 1e3, latest + 1e3)
    yield "balanced", s * balanced, root, 1e-8


@check("/api/v1/protection/voltage", "protection: voltage", "scipy norm, quad, brentq", 1e-9, *VOLTAGE)
def voltage(given, result):
    yield from threshold(given, result, "v", "v", ("filter_s", "processing_s", "opening_s"))


@check("/api/v1/protection/current", "protection: current", "scipy norm, quad, brentq", 1e-9, *CURRENT)
def current(given, result):
    yield from threshold(given, result, "a", "a", ("filter_s", "processing_s", "opening_s"))


@check("/api/v1/protection/temperature", "protection: temperature", "scipy norm, quad, brentq", 1e-9, *TEMPERATURE)
def temperature(given, result):
    gradient = given["cell_power_w"] * given["cell_to_sensor_k_per_w"]
    yield from threshold(given, result, "degc", "k", ("lag_s", "processing_s", "opening_s"), gradient)


@check("/api/v1/protection/temperature", "protection: lag of the sensor", "scipy solve_ivp", 1e-6)
def lag(given, result):
    """A first-order sensor on a ramp, integrated: after twenty time constants it lags by rate times time constant."""
    tau, rate = given["lag_s"], given["rate_k_per_s"]
    end = 20.0 * tau
    done = scipy.integrate.solve_ivp(lambda t, y: [(rate * t - y[0]) / tau], (0.0, end), [0.0], rtol=1e-10, atol=1e-10)
    rest = result["consumed"]["reaction"] - rate * (result["reaction_s"] - tau)
    yield "lag", rest, rate * end - done.y[0][-1]


def trip_time(pickup, trip, current):
    """The sum integrated until it reaches the trip value."""
    if current <= pickup:
        return None

    def reached(_, y):
        return y[0] - 1.0

    reached.terminal = True
    slope = (current**2 - pickup**2) / trip
    done = scipy.integrate.solve_ivp(lambda t, y: [slope], (0.0, 2.0 / slope), [0.0], events=reached, rtol=1e-10)
    return done.t_events[0][0]


@check("/api/v1/protection/trip-curve", "protection: trip curve", "scipy solve_ivp", 1e-7, *CURVES)
def trip_curve(given, result):
    pickup, trip = given["pickup_a"], given["trip_a2s"]
    gain, offset = given["error_percent"] / 100.0, given["error_a"]
    for point in result["curve"][::6]:
        true = point["current_a"]
        for name, reading, more in (
            ("earliest_s", true * (1.0 + gain) + offset, 0.0),
            ("nominal_s", true, 0.0),
            ("latest_s", true * (1.0 - gain) - offset, given["reaction_s"]),
        ):
            expected = trip_time(pickup, trip, reading)
            if expected is None:
                yield name, float(name in point), 0.0, 0.5
            else:
                yield name, point[name], expected + more
    # The profile in small steps, round after round.
    total, peak, time, tripped = 0.0, 0.0, 0.0, None
    for _ in range(200 if given["repeats"] else 1):
        for step in given["load"]:
            slope = (step["current_a"] * (1.0 + gain) + offset) ** 2 - pickup**2
            count = 400
            for _ in range(count):
                total = max(0.0, total + slope * step["duration_s"] / count)
                time += step["duration_s"] / count
                peak = max(peak, total)
                if tripped is None and total >= trip:
                    tripped = time
        if tripped is not None:
            break
    if tripped is None:
        yield "no trip", float("trips_after_s" in result["load"]), 0.0, 0.5
        yield "peak_a2s", result["load"]["peak_a2s"], peak
    else:
        resolution = max(step["duration_s"] for step in given["load"]) / 400
        yield "trips_after_s", result["load"]["trips_after_s"], tripped, 1.01 * resolution
