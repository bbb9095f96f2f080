"""Protection: room for a threshold, nuisance and missed trips, trip curve."""

import numpy
import scipy.integrate

from harness import check

CURVES = (
    {},
    {"error_percent": 5.0, "error_a": 3.0, "pickup_a": 300.0},
    {"load": [{"current_a": 600.0, "duration_s": 10.0}, {"current_a": 300.0, "duration_s": 6.0}]},
    {"load": [{"current_a": 480.0, "duration_s": 100.0}, {"current_a": 650.0, "duration_s": 3.0}], "repeats": False},
)


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
