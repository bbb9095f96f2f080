"""Health of a pack by trials: a capacity and a fitted loss, their parts drawn again and again."""

import math

import numpy
import scipy.stats

from charge_model import ROOT3, Curve, distribution, line_loss_deviation

# The level at which a loss counts as proven, and its quantile.
PROVEN = scipy.stats.norm.ppf(0.95)


def share(value):
    return (value or 0.0) / 100.0


# --- A loss proven by a line ----------------------------------------------------------------------------------------


def steady_loss(trend):
    """What the channel's drift adds to the loss at the most, in points."""
    return trend["channel_drift_percent"] * trend["years"] / trend["life_years"]


def loss_deviation(trend, count):
    return math.hypot(trend["estimate_percent"] * line_loss_deviation(count), steady_loss(trend) / ROOT3)


def detection(trend, count):
    """How often units with this loss are told to have lost more than the claim, from so many estimates."""
    scatter = trend["estimate_percent"] * line_loss_deviation(count)
    x, held = distribution([steady_loss(trend)], scatter)
    margin = trend["loss_percent"] - trend["claim_percent"] - PROVEN * loss_deviation(trend, count)
    return float(numpy.interp(margin, x, held, left=0.0, right=1.0))


def detected(trend, count, random, units=20_000):
    """The same by fitting lines to estimates of units."""
    place = numpy.linspace(0.0, 1.0, count)
    weights = (place - place.mean()) / ((place - place.mean()) ** 2).sum()
    true = trend["loss_percent"] + random.uniform(-1.0, 1.0, units) * steady_loss(trend)
    estimates = true[:, None] * place + random.normal(size=(units, count)) * trend["estimate_percent"]
    fitted = estimates @ weights
    return float((fitted - trend["claim_percent"] >= PROVEN * loss_deviation(trend, count)).mean())


# --- Capacity -------------------------------------------------------------------------------------------------------


def rest_volts(anchor, soc, random, trials, after, shared):
    """A cell's reading at rest; `shared` is the deviate of the gain that both rests have in common."""
    flat = lambda limit: random.uniform(-1.0, 1.0, trials) * limit  # noqa: E731
    some = lambda limit: random.uniform(0.0, 1.0, trials) * limit  # noqa: E731
    true = Curve(anchor["curve"]).at(soc)
    volt = true * (1.0 + shared * share(anchor["gain_percent"])) + random.normal(size=trials) * anchor["random_v"]
    volt = volt + flat(anchor["cell_error_v"]) + flat(anchor["curve_error_v"])
    volt = volt + flat(anchor["entropy_v_per_k"] * anchor["temperature_error_k"])
    volt = volt + flat(anchor["rest_current_a"] * anchor["cell_resistance_ohm"])
    # One deviate for all that lags: hysteresis and what relaxation left go with the branch.
    left = (anchor.get("relax_v") or 0.0) * math.exp(-anchor["rest_s"] / anchor["relax_tau_s"])
    return volt + after * (some(anchor["hysteresis_v"] / 2.0) + some(left))


def charge_errors(given, swing_ah, random, trials):
    """Relative error of the charge that flowed between two rests at a constant current."""
    counter, counting, current = given["counter"], given["counting"], given["capacity"]["current_a"]
    flat = lambda limit: random.uniform(-1.0, 1.0, trials) * limit  # noqa: E731
    offset = counting.get("zero_left_a") if counting["zeroed_at_rest"] else counter["offset_a"]
    steady = flat(offset or 0.0) + flat(counter["bend_a"]) + flat(counter["emf_a"])
    gain = flat(share(counter["gain_percent"])) + flat(share(counter["asymmetry_percent"]) / 2.0)
    # What passes beside the shunt, and what leaks inside, is missing in discharge and too much in charge.
    apart, capacity = given["apart"], given["capacity"]
    leaks = share(apart.get("self_discharge_percent_per_month")) * given["battery"]["capacity_ah"] / (8766.0 / 12.0)
    beside = (apart.get("unseen_a") or 0.0) + flat(apart["unseen_spread_a"])
    beside = beside + leaks * (1.0 + flat(share(apart["self_discharge_spread_percent"])))
    lost = -beside if capacity["first_percent"] > capacity["second_percent"] else beside
    missed = random.uniform(0.0, share(counting["missed_percent"]), trials) if counting["missed_reading"] == "zero" else 0.0
    gap = random.uniform(0.0, 1.0, trials) * min(counting["longest_gap_s"] * current / 3600.0 / swing_ah, 1.0)
    rounded = flat(counting["step_a"] / 2.0) if counter["noise_a"] < 0.3 * counting["step_a"] else 0.0
    return (steady + lost + rounded) / current + gain + flat(1e-6 * counting["clock_ppm"]) - missed - gap


def capacity_trials(given, random, trials=200_000, sides=(-1.0, 1.0)):
    """Estimated over true capacity of two rests. `sides`: what moved the pack before each of them."""
    capacity, anchor = given["capacity"], given["anchor"]
    first, second = capacity["first_percent"], capacity["second_percent"]
    swing = second - first
    counted = charge_errors(given, share(swing) * given["battery"]["capacity_ah"], random, trials)
    curve = Curve(anchor["curve"])
    shared = random.uniform(-1.0, 1.0, trials)
    read = [
        curve.back(rest_volts(anchor, soc, random, trials, side, shared))
        for soc, side in ((first, sides[0]), (second, sides[1]))
    ]
    return (1.0 + counted) * swing / (read[1] - read[0])
