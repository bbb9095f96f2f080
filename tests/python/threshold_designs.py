"""Thresholds of current and temperature in random designs, attacked sample by sample.

Reading    the true value behind a first-order lag, off by the error limit, with Gaussian noise of the stated
           autocorrelation in each sample; a cell may be warmer than its sensor by what its loss makes, or not at all. The
           threshold trips at the last of n samples in a row beyond it; processing, link and opening follow.
Late       ramps at the largest slope and at a slower one, samples of any phase: how far the true value is beyond the
           threshold at opening, in all but the allowed share of the ramps, and never less than a row takes without noise,
           because a part may have less of it.
Nuisance   rows of n that begin while the value stands at its normal extreme, an hour: samples are drawn one after
           another, each under the condition that it is beyond, and weighted by its chance.
Fault      i' = (V - R i)/L from the pack's peak the other way, a filter y' = (i - y)/tau; in white noise the chance of no
           row yet is followed from sample to sample until no more than the allowed share is left; square's integral by
           quadrature. What is told must be no less than this.

What is drawn is known to three deviations: the share told is the end of that interval which speaks for the server.
"""

import math

import numpy
import scipy.fft
import scipy.linalg
import scipy.optimize
import scipy.special

from event_thresholds import correlation
from harness import DESIGNS, fetch, hunt

# Few designs are tried in a hurry: the intervals of what is drawn are wide then, and one lever of each is pressed.
LONG = DESIGNS > 50
RAMPS, ROWS = (40_000, 500) if LONG else (8_000, 100)
NODES, WEIGHTS = numpy.polynomial.legendre.leggauss(24)
SIDES = ("protection.room", "protection.harm-side", "protection.nuisance-side")


def courses(kind, hz, rate, count, length, dice):
    """Unit noise sample by sample, one course a row."""
    if kind != "gaussian":
        drawn = dice.standard_normal((count, length))
        if kind == "one-pole":
            keeps = math.exp(-2.0 * math.pi * hz / rate)
            drawn[:, 1:] *= math.sqrt(1.0 - keeps**2)
            for at in range(1, length):
                drawn[:, at] += keeps * drawn[:, at - 1]
        return drawn
    # On a ring so long that its two ends know nothing of each other.
    size = scipy.fft.next_fast_len(length + int(8.0 * rate / (2.0 * math.pi * hz)) + 1, real=True)
    lag = numpy.minimum(numpy.arange(size), size - numpy.arange(size)) / rate
    power = numpy.maximum(scipy.fft.rfft(correlation(kind, hz, lag)).real, 0.0)
    drawn = scipy.fft.rfft(dice.standard_normal((count, size)), axis=1)
    return scipy.fft.irfft(drawn * numpy.sqrt(power), size, axis=1)[:, :length]


def gained(noise, rate, n, slope, share, dice, ramps):
    """What a ramp gains on the threshold until the last sample of its first complete row: its quantile, least and most.

    `noise` is (kind, frequency, deviation of a sample).
    """
    kind, hz, deviation = noise
    step = slope / rate
    count = int(min(max(40.0 / share, ramps / 10), ramps))
    # From where a row by noise alone is out of reach to where none can be missing.
    length = int(math.ceil(15.0 * deviation / step)) + n + 1
    places = numpy.arange(length) - math.ceil(6.0 * deviation / step)
    found = numpy.empty(0)
    for part in numpy.array_split(numpy.arange(count), max(1, count * length // 3_000_000)):
        phase = (part + dice.random(len(part))) / count
        gain = (places + phase[:, None]) * step
        beyond = gain + deviation * courses(kind, hz, rate, len(part), length, dice) >= 0.0
        row = numpy.cumsum(numpy.pad(beyond, ((0, 0), (1, 0))), axis=1)
        complete = row[:, n:] - row[:, :-n] == n
        found = numpy.append(found, numpy.take_along_axis(gain, complete.argmax(axis=1)[:, None] + n - 1, axis=1))
    found.sort()
    late = share * count
    spread = 3.0 * math.sqrt(late * (1.0 - share))
    least = found[max(count - 1 - math.ceil(late + spread), 0)]
    most = found[min(count - 1 - math.floor(late - spread), count - 1)]
    return max(least, n * step), max(most, n * step)


def kept(noise, rate, n, allowed, dice):
    """The distance at which noise makes the allowed number of rows an hour, least and most; never less than none."""
    kind, hz, deviation = noise
    lags = correlation(kind, hz, numpy.arange(n + 1) / rate)
    root = scipy.linalg.cholesky(scipy.linalg.toeplitz(lags) + 1e-12 * numpy.eye(n + 1), lower=True)
    uniform, first = dice.random((n, 8, ROWS)), dice.random((n, 8, 1))

    def hourly(sigma):
        """Of eight crowds. The sample that follows a row is not beyond: rows end as often as they begin."""
        drawn, rows = numpy.zeros((8, ROWS, n)), numpy.full(8, 3600.0 * rate)
        for at in range(n):
            chance = scipy.special.ndtr((drawn[:, :, :at] @ root[at, :at] - sigma) / root[at, at])
            rows *= chance.mean(axis=1)
            # Who is likely to be beyond is followed the more.
            ends = numpy.cumsum(chance, axis=1)
            places = (first[at] + numpy.arange(ROWS)) / ROWS * ends[:, -1:]
            chosen = numpy.array([numpy.searchsorted(*pair) for pair in zip(ends, places)]).clip(max=ROWS - 1)
            drawn = numpy.take_along_axis(drawn, chosen[:, :, None], axis=1)
            chance = numpy.take_along_axis(chance, chosen, axis=1)
            drawn[:, :, at] = -scipy.special.ndtri(numpy.maximum(uniform[at] * chance, 1e-300))
        return rows * scipy.special.ndtr((sigma - drawn @ root[n, :n]) / root[n, n]).mean(axis=1)

    def excess(sigma):
        return math.log(max(hourly(sigma).mean(), 1e-290) / allowed)

    if excess(0.0) <= 0.0:
        return 0.0, 0.0
    sigma = scipy.optimize.brentq(excess, 0.0, 12.0, xtol=1e-4)
    rows = hourly(sigma)
    unsure = 3.0 * rows.std(ddof=1) / math.sqrt(len(rows)) / rows.mean() / abs(excess(sigma + 0.1) - excess(sigma)) * 0.1
    return deviation * max(sigma - unsure - 1e-3, 0.0), deviation * (sigma + unsure + 1e-3)


def told(needs, available):
    """The share of what is available that is needed, on the server's side of what is known of it."""
    least, most = (value / available if available > 0.0 else math.inf for value in needs)
    return least if least > 1.0 else min(most, 1.0)


def errors(given, unit):
    """Error limits at the normal value and at the hazard, of the direction that is read."""
    if given["kind"] == "over-current-charge" and ("error_charge_normal_a" in given or "error_charge_hazard_a" in given):
        normal = given.get("error_charge_normal_a", given["error_normal_a"])
        return normal, given.get("error_charge_hazard_a", normal)
    normal = given[f"error_normal_{unit}"]
    return normal, given.get(f"error_hazard_{unit}", normal)


def steepest(given, unit):
    """A short circuit rises with V/L, whatever slope is typed."""
    slope = given[f"rate_{unit}_per_s"]
    if given["kind"] == "short-circuit" and "fault_v" in given:
        slope = max(slope, given["fault_v"] / given["fault_inductance_henry"])
    return slope


def afterwards(given):
    return sum(given.get(name, 0.0) for name in ("processing_s", "link_s", "opening_s"))


def needs(given, unit, lag, warmer, dice, ramps=RAMPS):
    """What the two sides of a threshold need, least and most; `warmer` is by how much the cell is than its sensor."""
    noise = (given["noise_is"], given.get("noise_bandwidth_hz"), given[f"noise_{unit}"])
    rate, n, slope = given["sample_rate_hz"], given["samples_in_a_row"], steepest(given, unit)
    error, error_late = errors(given, unit)
    # A warm cell reads too cold: that trips an under-temperature early and an over-temperature late.
    early, delayed = (warmer, 0.0) if given["kind"] == "under-temperature" else (0.0, warmer)
    asked = given["noise_sigma"] * noise[2]
    edges = kept(noise, rate, n, given["allowed_nuisance_per_hour"], dice)
    nuisance = [error + max(edge, asked) + early for edge in edges]
    late = [0.0, 0.0]
    for speed in (slope, slope * dice.uniform(0.5, 1.0)):
        ramp = gained(noise, rate, n, speed, given["missed_share_percent"] / 100.0, dice, ramps)
        other = error_late + speed * (lag + afterwards(given)) + delayed
        late = [max(most, gain + other) for most, gain in zip(late, ramp)]
    return nuisance, late


def sides(given, result, unit, field, lag, warmer, dice):
    """Shares of the rows of both sides, of the room, the range and the peak."""
    nuisance, late = needs(given, unit, lag, warmer, dice)
    up = -1.0 if given["kind"] == "under-temperature" else 1.0
    normal, hazard = up * given[f"normal_{field}"], up * given[f"hazard_{field}"]
    threshold = up * result["judged"]["threshold"]
    here = given.get("harm_judged", "here") == "here"
    if here:
        yield "protection.room", 0, told([sum(pair) for pair in zip(nuisance, late)], hazard - normal)
    if f"threshold_{field}" in given:
        yield "protection.nuisance-side", 0, told(nuisance, threshold - normal)
        if here:
            yield "protection.harm-side", 0, told(late, hazard - threshold)
    reads, peak = (given.get(name) for name in read_and_peak(given["kind"], field))
    if reads is not None:
        yield "protection.beyond-range", 0, 0.5 if threshold + max(errors(given, unit)) <= up * reads else 2.0
    if peak is not None:
        yield "protection.pack-peak", 0, told(nuisance, threshold - peak)


def read_and_peak(kind, field):
    """The fields of the end of the channel's range and of the pack's own peak, of the direction that is read."""
    if kind == "over-current-charge":
        return "reads_charge_to_a", "pack_charge_peak_a"
    return f"reads_{'from' if kind == 'under-temperature' else 'to'}_{field}", f"pack_peak_{field}"


def pressed(path, given, result, dice):
    """Puts in values that are said to be enough alone: the first row that failed holds, and no other begins to fail."""

    def failing(asked):
        rows = [row["id"] for row in fetch(path, asked)["requirements"] if row["verdict"] in ("fails", "not-resolved")]
        return [name for name in SIDES if name in rows]

    offered = [lever for lever in result["levers"] if "enough_at" in lever]
    if not offered or not LONG and dice.random() < 0.5:
        return
    before = failing(given)
    if not before:
        # The row that it turns is not judged: its threshold lies beyond the channel's range.
        return
    for lever in offered if LONG else [offered[dice.integers(len(offered))]]:
        value = int(lever["enough_at"]) if lever["id"] == "samples_in_a_row" else lever["enough_at"]
        then = failing({**given, lever["id"]: value})
        yield None, 0, 2.0 if before[0] in then or set(then) - set(before) else 0.5


def course(volt, henry, last, before, lag, time):
    """Current and filtered current of a step, and the integral of the current's square."""
    tau, jump = henry * last / volt, last - before
    if abs(tau - lag) < 1e-6 * lag:
        lag *= 1.0 + 1e-5
    width = numpy.diff(numpy.minimum(numpy.array([0.0, 1.0, 4.0, 12.0, 40.0, math.inf]) * tau, time))[:, None]
    begin = numpy.concatenate([[0.0], numpy.cumsum(width)[:-1]])[:, None]
    squares = (last - jump * numpy.exp(-(begin + width * (NODES + 1.0) / 2.0) / tau)) ** 2
    slow = math.exp(-time / tau)
    seen = slow if lag == 0.0 else (tau * slow - lag * math.exp(-time / lag)) / (tau - lag)
    return last - jump * slow, last - jump * seen, float(numpy.sum(width / 2.0 * WEIGHTS * squares))


def backwards(given):
    """The field of the pack's peak in the direction that the threshold does not watch."""
    return "pack_peak_a" if given["kind"] == "over-current-charge" else "pack_charge_peak_a"


def trips(given, loop, level):
    """When a row is complete in all but the allowed share of the units, at the earliest; none where that takes too long."""
    rate, n, noise = given["sample_rate_hz"], given["samples_in_a_row"], given["noise_a"]
    share = given["missed_share_percent"] / 100.0
    open_ones = numpy.full((2, n), 0.0)
    open_ones[:, 0] = 1.0
    for at in range(4000 if LONG else 1200):
        seen = [course(*loop, (at + phase) / rate)[1] - level for phase in (0.25, 0.75)]
        chance = scipy.special.ndtr(numpy.array(seen) / noise)[:, None]
        open_ones = numpy.hstack([open_ones.sum(axis=1, keepdims=True) * (1.0 - chance), open_ones[:, :-1] * chance])
        if open_ones.sum(axis=1).mean() <= share:
            return at / rate
    return None


def late_fault(given, threshold):
    """The largest integral of the square and current at opening of some steps; nothing of noise that hangs together."""
    level = threshold + max(errors(given, "a"))
    strongest = min(given["strongest_fault_a"], given.get("faster_from_a", math.inf))
    passed = opening = 0.0
    if given["noise_is"] != "white" or strongest <= level:
        return passed, opening
    for part in numpy.geomspace(1e-4, 1.0, 25 if LONG else 6):
        last, before = level + (strongest - level) * part, -given.get(backwards(given), 0.0)
        loop = (given["fault_v"], given["fault_inductance_henry"], last, before, given["filter_s"])
        time = trips(given, loop, level)
        if time is not None:
            current, _, square = course(*loop, time + afterwards(given))
            passed, opening = max(passed, square), max(opening, current)
    return passed, opening


def fault(given, threshold):
    """About what passes, for limits that are near it: the largest integral of the square in all samples' noise."""
    n = given["samples_in_a_row"]
    level = threshold + max(errors(given, "a"))
    level -= given["noise_a"] * min(scipy.special.ndtri(given["missed_share_percent"] / 100.0 / n), 0.0)
    strongest = max(min(given["strongest_fault_a"], given.get("faster_from_a", math.inf)), level)
    passed = 0.0
    for part in numpy.geomspace(1e-3, 1.0, 25):
        last, before = level + (strongest - level) * part, -given.get(backwards(given), 0.0)
        loop = (given["fault_v"], given["fault_inductance_henry"], last, before, given["filter_s"])
        ends = 40.0 * (given["filter_s"] + loop[1] * (last - before) / loop[0])
        reached = scipy.optimize.brentq(lambda time, loop=loop: course(*loop, time)[1] - level, 0.0, ends)
        passed = max(passed, course(*loop, reached + n / given["sample_rate_hz"] + afterwards(given))[2])
    return passed


def decades(dice, low, high):
    return math.exp(dice.uniform(math.log(low), math.log(high)))


def rounded(case):
    return {name: float(f"{value:.7g}") if isinstance(value, float) else value for name, value in case.items()}


def reading(dice, case, unit, rate):
    """Noise, rows and times of a random reading, in proportion to what its ramp makes between two samples."""
    n = int(dice.integers(1, 13)) if dice.random() < 0.85 else int(dice.integers(13, 40))
    case |= {
        f"noise_{unit}": steepest(case, unit) / rate * decades(dice, 0.05, 40.0 if LONG else 15.0),
        "noise_is": str(dice.choice(["white", "white", "one-pole", "gaussian"])),
        "noise_sigma": float(dice.choice([0.0, dice.uniform(1.0, 5.0)])),
        "samples_in_a_row": n,
        "sample_rate_hz": rate,
        "processing_s": n / rate * dice.uniform(0.0, 2.0),
        "opening_s": n / rate * dice.uniform(0.0, 1.0),
        "allowed_nuisance_per_hour": decades(dice, 1e-3, 1e2),
        "missed_share_percent": decades(dice, 0.1, 5.0),
    }
    if case["noise_is"] != "white":
        case["noise_bandwidth_hz"] = rate * decades(dice, 0.03, 1.0)
    if dice.random() < 0.3:
        case["link_s"] = n / rate * dice.uniform(0.0, 0.5)


def placed(dice, case, unit, field, lag, warmer):
    """Threshold and hazard within a fifth of where the two sides begin to fail."""
    up = -1.0 if case["kind"] == "under-temperature" else 1.0
    nuisance, late = needs(case, unit, lag, warmer, dice, RAMPS // 4)
    case[f"threshold_{field}"] = case[f"normal_{field}"] + up * nuisance[0] * dice.uniform(0.85, 1.2)
    case[f"hazard_{field}"] = case[f"threshold_{field}"] + up * late[0] * dice.uniform(0.85, 1.2)
    if dice.random() < 0.6:
        ends, _ = read_and_peak(case["kind"], field)
        case[ends] = case[f"threshold_{field}"] + up * max(errors(case, unit)) * dice.uniform(0.8, 2.0)


def currents(dice):
    """A random current threshold: slow or fast, of either direction, many with faults."""
    normal, rate = decades(dice, 20.0, 900.0), decades(dice, 10.0, 1e5)
    error, slope = normal * dice.uniform(0.002, 0.03), normal * rate * decades(dice, 1e-4, 3e-2)
    case = {
        "kind": str(dice.choice(["over-current-discharge", "over-current-charge", "short-circuit"])),
        "normal_a": normal,
        "error_normal_a": error,
        "rate_a_per_s": slope,
        "filter_s": float(dice.choice([0.0, decades(dice, 0.1, 10.0) / rate])),
    }
    if dice.random() < 0.6:
        case["error_hazard_a"] = error * dice.uniform(0.9, 2.0)
    for field in ("error_charge_normal_a", "error_charge_hazard_a"):
        if dice.random() < 0.5:
            case[field] = error * dice.uniform(0.5, 2.0)
    if dice.random() < 0.4:
        case[read_and_peak(case["kind"], "a")[1]] = normal * dice.uniform(0.8, 1.05)
    if dice.random() < 0.8:
        case[backwards(case)] = normal * dice.uniform(0.0, 1.05)
    if dice.random() < 0.7:
        case["fault_v"] = decades(dice, 40.0, 900.0)
        case["fault_inductance_henry"] = min(case["fault_v"] / slope * decades(dice, 1e-2, 3.0), 0.01)
    reading(dice, case, "a", rate)
    placed(dice, case, "a", "a", case["filter_s"], 0.0)
    if "fault_v" in case:
        noisy = case["threshold_a"] + max(errors(case, "a")) + 6.0 * case["noise_a"]
        case["strongest_fault_a"] = noisy * decades(dice, 1.02, 12.0)
        if dice.random() < 0.3:
            case["faster_from_a"] = noisy + (case["strongest_fault_a"] - noisy) * dice.uniform(0.1, 1.2)
            case["race_threshold_a"], case["race_error_percent"] = case["faster_from_a"] * 0.95, 4.0
        passed = fault(case, case["threshold_a"])
        case["shunt_a2s"], case["wire_a2s"] = passed * dice.uniform(0.8, 1.2), passed * dice.uniform(0.95, 1.1)
    elif dice.random() < 0.4:
        del case["threshold_a"]
    if case["kind"] == "short-circuit" and "threshold_a" in case and dice.random() < 0.2:
        case |= {"harm_judged": "race", "race_threshold_a": case["threshold_a"]}
    return rounded(case)


@hunt("/api/v1/protection/current", "thresholds of current", "events, own fault", currents)
def current(given, result, dice):
    yield from sides(given, result, "a", "a", given["filter_s"], 0.0, dice)
    if "fault_v" in given:
        passed, opening = late_fault(given, result["judged"]["threshold"])
        rows = {row["id"]: row["verdict"] for row in fetch("/api/v1/protection/current", given)["requirements"]}
        for name in ("shunt", "wire"):
            if rows[f"protection.let-through-{name}"] in ("holds", "thin"):
                yield None, 0, passed / given[f"{name}_a2s"]
        # What is told of the worst step is a promise, too.
        if "let_through" in result:
            yield None, 0, passed / result["let_through"]["let_through_a2s"] - 1e-3
            yield None, 0, opening / result["let_through"]["opening_a"] - 1e-3
    yield from pressed("/api/v1/protection/current", given, result, dice)


def temperatures(dice):
    """A random temperature threshold, of heat or of cold."""
    case = {
        "kind": str(dice.choice(["over-temperature", "under-temperature"])),
        "normal_degc": dice.uniform(-20.0, 55.0),
        "error_normal_k": dice.uniform(0.2, 2.0),
        "rate_k_per_s": decades(dice, 0.01, 0.5),
        "lag_s": dice.uniform(0.0, 30.0),
        "cell_power_w": float(dice.choice([0.0, dice.uniform(0.5, 8.0)])),
        "cell_to_sensor_k_per_w": dice.uniform(0.0, 1.0),
    }
    if dice.random() < 0.6:
        case["error_hazard_k"] = case["error_normal_k"] * dice.uniform(0.7, 1.6)
    reading(dice, case, "k", decades(dice, 0.5, 50.0))
    placed(dice, case, "k", "degc", case["lag_s"], case["cell_power_w"] * case["cell_to_sensor_k_per_w"])
    if dice.random() < 0.15:
        del case["threshold_degc"]
    return rounded(case)


@hunt("/api/v1/protection/temperature", "thresholds of temperature", "events", temperatures)
def temperature(given, result, dice):
    warmer = given["cell_power_w"] * given["cell_to_sensor_k_per_w"]
    yield from sides(given, result, "k", "degc", given["lag_s"], warmer, dice)
    yield from pressed("/api/v1/protection/temperature", given, result, dice)
