"""Trip curve: the latest trip at a limit and the sum of a load profile, stepped through in time, over errors of the reading.

What is added up is dS/dt = m^2 - In^2, never below zero, of a reading m = min(I, largest)(1 + g) + o; a current trips when S
reaches the trip value and is off after the reaction. Gain g and offset o are tried over their whole ranges, not at the ends
alone. The load profile is added up in small steps, round after round until a round ends as it began, or gains. The limits lie
a thousandth beyond or below what is told, so that both verdicts are asked for; what is told may differ by a ten-thousandth.
"""

import math

import numpy

from harness import changed, examples, fetch, hunt, pressed

PATH, ROOM, APART, LIMITS, STEPS = "/api/v1/protection/trip-curve", 1e-3, 1e-4, ("wire", "shunt", "fuse"), 60


def readings(given, amps):
    """What the channel may tell of a current: errors over their ranges, never below zero."""
    gains, offsets = numpy.meshgrid(
        given["error_percent"] / 100.0 * numpy.linspace(-1.0, 1.0, 9), given["error_a"] * numpy.linspace(-1.0, 1.0, 9)
    )
    return numpy.maximum(min(amps, given.get("reads_to_a", math.inf)) * (1.0 + gains) + offsets, 0.0).ravel()


def latest_s(given, amps):
    """Until a constant current is off, in the worst case of its reading; infinite when it is never added up."""
    slopes = readings(given, amps) ** 2 - given["pickup_a"] ** 2
    return given["trip_a2s"] / slopes.min() + given["reaction_s"] if slopes.min() > 0.0 else math.inf


def largest_a2s(given):
    """The largest sum of the load, and whether it gains with every round: both of the worst error."""
    total = largest = numpy.zeros(81)
    gains = numpy.zeros(81, bool)
    for _ in range(3 if given["repeats"] else 1):
        begin = total
        for step in given["load"]:
            adds = (readings(given, step["current_a"]) ** 2 - given["pickup_a"] ** 2) * step["duration_s"] / STEPS
            for _ in range(STEPS):
                total = numpy.maximum(total + adds, 0.0)
                largest = numpy.maximum(largest, total)
        gains = total > begin * (1.0 + 1e-9) + 1e-9 * largest
    return largest, bool((gains & given["repeats"]).any())


def trips_s(given):
    """When the load trips at the earliest; infinite when it does not within a thousand rounds."""
    gain, offset = given["error_percent"] / 100.0, given["error_a"]
    total, time = 0.0, 0.0
    for _ in range(1000 if given["repeats"] else 1):
        for step in given["load"]:
            amps = min(step["current_a"], given.get("reads_to_a", math.inf))
            slope = (amps * (1.0 + gain) + offset) ** 2 - given["pickup_a"] ** 2
            if slope > 0.0 and total + slope * step["duration_s"] >= given["trip_a2s"]:
                return time + (given["trip_a2s"] - total) / slope
            total, time = max(total + slope * step["duration_s"], 0.0), time + step["duration_s"]
    return math.inf


def draw(random):
    """A channel that reads far beyond the pick-up, or hardly; limits near it and beyond its range; a load that gains or not."""
    u, pickup = random.uniform, 10.0 ** random.uniform(1.0, 3.5)
    error, fixed = float(random.choice([0.0, u(0.2, 5.0), u(5.0, 30.0)])), float(random.choice([0.0, pickup * u(0.001, 0.1)]))
    full = (pickup + fixed) / (1.0 - error / 100.0) * 10.0 ** u(-0.02, 1.3)
    case = {"pickup_a": pickup, "error_percent": error, "error_a": fixed, "reads_to_a": full, "repeats": u() < 0.7}
    case |= {"reaction_s": float(random.choice([0.0, 10.0 ** u(-3.0, 1.0)])), "trip_a2s": pickup**2 * 10.0 ** u(-1.0, 2.5)}
    steps = range(int(random.integers(1, 7)))
    loads = [pickup * float(random.choice([u(0.0, 1.0), u(0.8, 3.0), u(1.0, 20.0)])) for _ in steps]
    case["load"] = [{"current_a": amps, "duration_s": 10.0 ** u(-1.0, 2.0)} for amps in loads]
    for name in LIMITS:
        amps = [pickup * 10.0 ** u(0.0, 1.5) for _ in range(int(random.integers(0, 4)))]
        case[name] = [{"current_a": one, "time_s": 1.0} for one in amps]
    told = fetch(PATH, changed(examples()[PATH], case))["result"]
    beyond = 1.0 + ROOM * float(random.choice([-1.0, 1.0]))
    if told["load"]["peak_a2s"] > 0.0 and u() < 0.7:
        case["trip_a2s"] = told["load"]["peak_a2s"] * beyond
        told = fetch(PATH, changed(examples()[PATH], case))["result"]
    for name in LIMITS:
        rows = [row for row in told["limits"] if row["id"] == name]
        times = [min(max(row.get("latest_s", 1e6) * beyond, 1e-6), 1e7) for row in rows]
        case[name] = [{"current_a": row["current_a"], "time_s": time} for row, time in zip(rows, times)]
    return case


@hunt(PATH, "trip curve: load and limits", "sums in small steps over errors of the reading", draw)
def trip_curve_hunt(given, result, _random):
    largest, gains = largest_a2s(given)
    yield "protection.load-profile", 0, pressed(math.inf if gains else largest.max() / given["trip_a2s"])
    trips, told = trips_s(given), result["load"].get("trips_after_s", math.inf)
    both = math.isfinite(trips) and math.isfinite(told)
    if both or not gains:
        yield None, 0, abs(told / trips - 1.0) / APART if both else float(told != trips) * 2.0
    if not gains and math.isinf(trips):
        yield None, 0, abs(result["load"]["peak_a2s"] - largest.max()) / (APART * max(largest.max(), 1e-9))
    for name in LIMITS:
        if given[name]:
            used = (latest_s(given, row["current_a"]) / row["time_s"] for row in given[name])
            yield f"protection.limit-{name}", 0, pressed(max(used))
    for row in result["limits"]:
        latest, told = latest_s(given, row["current_a"]), row.get("latest_s", math.inf)
        both = math.isfinite(latest) and math.isfinite(told)
        yield None, 0, abs(told - latest) / (APART * latest) if both else float(told != latest) * 2.0
    # Beyond its range the channel tells less than what is added up from.
    yield "protection.curve-range", 0, pressed(given["pickup_a"] / max(readings(given, 1e9).min(), 1e-9))
