"""Thresholds in noise: an own chain, an own integral and events, against the server.

Events are drawn: samples of a process with the stated autocorrelation stand at a level or move on a ramp, and rows of
samples beyond the threshold are counted. THRESHOLD_DESIGNS says how many random designs are tried (at least 200 for a
thorough run); a "holds" that events make false is a fault.
"""

import os

import numpy
import scipy.integrate
import scipy.stats

from harness import check, fetch

DESIGNS = int(os.environ.get("THRESHOLD_DESIGNS", "0"))
RNG = numpy.random.default_rng(20261126)


def correlation(kind, hz, time):
    if kind == "white":
        return (time == 0.0).astype(float)
    phase = 2.0 * numpy.pi * hz * time
    return numpy.exp(-phase) if kind == "one-pole" else numpy.exp(-0.5 * phase**2)


def process(kind, hz, rate, count, length, generator):
    """Samples of unit noise: a recursion, or a sum over the spectrum by a fast Fourier transform."""
    if kind == "white":
        return generator.standard_normal((count, length))
    if kind == "one-pole":
        keeps = numpy.exp(-2.0 * numpy.pi * hz / rate)
        drawn = generator.standard_normal((count, length))
        drawn[:, 1:] *= numpy.sqrt(1.0 - keeps**2)
        for at in range(1, length):
            drawn[:, at] += keeps * drawn[:, at - 1]
        return drawn
    # Circulant embedding: exact for a correlation that has died out at half of the length.
    memory = int(numpy.ceil(8.0 * rate / (2.0 * numpy.pi * hz))) + 1
    size = scipy.fft.next_fast_len(length + memory)
    lag = numpy.minimum(numpy.arange(size), size - numpy.arange(size)) / rate
    power = numpy.clip(numpy.fft.fft(correlation(kind, hz, lag)).real, 0.0, None)
    drawn = generator.standard_normal((count, size)) + 1j * generator.standard_normal((count, size))
    return numpy.fft.fft(drawn * numpy.sqrt(power / size), axis=1).real[:, :length]


def runs(beyond, n):
    """Number of rows of at least n in each course."""
    padded = numpy.pad(beyond, ((0, 0), (1, 1)))
    change = numpy.diff(padded.astype(numpy.int8), axis=1)
    starts, ends = numpy.nonzero(change == 1), numpy.nonzero(change == -1)
    return int(numpy.sum(ends[1] - starts[1] >= n))


def late_share(kind, hz, rate, n, noise, slope, distance, count, generator):
    """Share of ramps without a complete row when they are so far beyond the threshold; phase of the samples even."""
    step = slope / rate
    length = int(numpy.ceil((distance + 9.0 * noise) / step)) + n
    unit = process(kind, hz, rate, count, length, generator)
    phase = generator.random((count, 1))
    above = distance - (numpy.arange(length)[::-1] + phase) * step
    beyond = above + noise * unit >= 0.0
    padded = numpy.cumsum(numpy.pad(beyond, ((0, 0), (1, 0))), axis=1)
    return 1.0 - numpy.mean(numpy.any(padded[:, n:] - padded[:, :-n] == n, axis=1))


def chain(rate, n, noise, slope, distance, phases=64):
    """White noise: the chance of no row, state by state."""
    step, late = slope / rate, []
    for phase in (numpy.arange(phases) + 0.5) / phases:
        length = int(numpy.ceil((distance + 9.0 * noise) / step))
        state, done = numpy.zeros(n), 0.0
        state[0] = 1.0
        for place in range(length, -1, -1):
            chance = scipy.stats.norm.cdf((distance - (place + phase) * step) / noise)
            done += state[-1] * chance
            state = numpy.concatenate(([state.sum() * (1.0 - chance)], state[:-1] * chance))
        late.append(1.0 - done)
    return float(numpy.mean(late))


RAMP = {"hazard_v": 4.27, "threshold_v": 4.255, "noise_v": 0.01, "noise_sigma": 0.0}
LEVEL = {"error_normal_v": 0.0, "noise_v": 1e-3, "threshold_v": 4.202, "samples_in_a_row": 5, "noise_sigma": 0.0}
# Hunts that take minutes: they run when THRESHOLD_DESIGNS says how many designs are tried.
hunt = check if DESIGNS else lambda *_: lambda asked: asked
PATH = "/api/v1/protection/voltage"


@check(PATH, "thresholds: late on a ramp", "own chain, events", 1e-3, RAMP)
def ramp(given, result):
    printed = {"late_without_error_percent": 0.0, "late_percent": given["error_normal_v"]}
    for name, error in printed.items():
        distance = given["hazard_v"] - given["threshold_v"] - error
        arguments = (given["sample_rate_hz"], given["samples_in_a_row"], given["noise_v"], given["rate_v_per_s"], distance)
        yield name, result["judged"][name] / 100.0, chain(*arguments), 5e-4
        events = late_share("white", 0.0, *arguments, 40_000, RNG)
        yield f"{name}, events", result["judged"][name] / 100.0, events, 0.01


@check(
    PATH,
    "thresholds: rows at a level",
    "scipy multivariate_normal",
    5e-3,
    {**LEVEL},
    {**LEVEL, "noise_is": "one-pole", "noise_bandwidth_hz": 1.7},
    {**LEVEL, "noise_is": "gaussian", "noise_bandwidth_hz": 1.7},
    {**LEVEL, "noise_is": "gaussian", "noise_bandwidth_hz": 0.8, "samples_in_a_row": 3},
    {**LEVEL, "noise_is": "one-pole", "noise_bandwidth_hz": 0.3, "samples_in_a_row": 7, "threshold_v": 4.2015},
)
def level(given, result):
    n, rate = given["samples_in_a_row"], given["sample_rate_hz"]
    sigma = (given["threshold_v"] - given["normal_v"] - given["error_normal_v"]) / given["noise_v"]

    def all_beyond(count):
        lags = numpy.abs(numpy.subtract.outer(numpy.arange(count), numpy.arange(count))) / rate
        matrix = correlation(given["noise_is"], given.get("noise_bandwidth_hz"), lags)
        law = scipy.stats.multivariate_normal(cov=matrix, maxpts=400_000, abseps=1e-13, releps=1e-5)
        return law.cdf(numpy.full(count, -sigma))

    hourly = 3600.0 * rate * (all_beyond(n) - all_beyond(n + 1))
    yield "nuisance_per_hour", result["judged"]["nuisance_per_hour"], hourly, 0.02 * hourly


@hunt(
    "/api/v1/protection/current",
    "thresholds: I²t of a fault",
    "scipy solve_ivp",
    1e-3,
    *(
        {
            "threshold_a": 800.0,
            "strongest_fault_a": strongest,
            "fault_v": 800.0,
            "fault_inductance_henry": henry,
            "filter_s": lag,
            "noise_a": 0.0,
            "pack_charge_peak_a": charging,
        }
        for strongest, henry, lag, charging in (
            (3000.0, 6e-6, 1e-3, 0.0),
            (1500.0, 2e-3, 0.0, 500.0),
            (1200.0, 1e-5, 0.2, 300.0),
            (9000.0, 1e-6, 1e-4, 900.0),
        )
    ),
)
def fault(given, result):
    """Every step integrated with its filter, on a grid of its own."""
    level = given["threshold_a"] + given.get("error_hazard_a", given["error_normal_a"])
    later = given["samples_in_a_row"] / given["sample_rate_hz"] + given["processing_s"] + given["opening_s"]
    worst = 0.0
    for above in numpy.geomspace(1e-6 * level, given["strongest_fault_a"] - level, 25):
        step = level + above
        slope, lag = given["fault_v"] / given["fault_inductance_henry"], max(given["filter_s"], 1e-9)
        for before in (-given["pack_charge_peak_a"], 0.0, given["normal_a"]):

            def law(_, y, step=step, slope=slope, lag=lag):
                return [slope * (1.0 - y[0] / step), (y[0] - y[1]) / lag, y[0] ** 2]

            def reached(_, y):
                return y[1] - level

            reached.terminal = True
            end = 40.0 * (lag + step / slope)
            rise = scipy.integrate.solve_ivp(
                law, (0.0, end), [before, before, 0.0], "LSODA", events=reached, rtol=1e-9, atol=1e-9
            )
            rest = scipy.integrate.solve_ivp(
                law, (0.0, later), rise.y[:, -1], "LSODA", rtol=1e-9, atol=1e-9
            )
            worst = max(worst, rest.y[2, -1])
    yield "let_through_a2s", result["let_through"]["let_through_a2s"], worst, 2e-3 * worst


def random_design(generator):
    """A realistic voltage threshold whose allowed rates are high enough to be counted."""
    normal = generator.uniform(3.4, 4.2)
    rate = float(generator.choice([5.0, 10.0, 50.0]))
    n = int(generator.integers(1, 13))
    noise = 10 ** generator.uniform(-3.7, -2.2)
    slope = 10 ** generator.uniform(-3.0, -1.3)
    error = 10 ** generator.uniform(-3.3, -2.0)
    kind = str(generator.choice(["white", "one-pole", "gaussian"]))
    design = {
        "normal_v": normal,
        "error_normal_v": error,
        "error_hazard_v": error * generator.uniform(0.8, 1.5),
        "noise_v": noise,
        "noise_is": kind,
        "noise_sigma": 0.0,
        "sample_rate_hz": rate,
        "samples_in_a_row": n,
        "rate_v_per_s": slope,
        "processing_s": generator.uniform(0.0, 0.2),
        "allowed_nuisance_per_hour": 10 ** generator.uniform(0.5, 2.5),
        "missed_share_percent": 10 ** generator.uniform(-0.5, 1.0),
    }
    if kind != "white":
        design["noise_bandwidth_hz"] = rate * 10 ** generator.uniform(-1.5, 0.0)
    # Near the edges, where a wrong model would show.
    up = error + noise * generator.uniform(0.0, 4.0)
    design["threshold_v"] = normal + up
    down = design["error_hazard_v"] + slope * (n / rate + design["processing_s"]) + noise * generator.uniform(0.0, 3.0)
    design["hazard_v"] = design["threshold_v"] + down
    return {name: value if isinstance(value, (str, int)) else float(f"{value:.6g}") for name, value in design.items()}


@hunt(
    PATH,
    "thresholds: random designs",
    "events drawn",
    1e-9,
    *(random_design(numpy.random.default_rng(seed)) for seed in range(DESIGNS)),
)
def designs(given, result):
    generator = numpy.random.default_rng(7)
    kind, hz, rate, n = (given["noise_is"], given.get("noise_bandwidth_hz"), given["sample_rate_hz"], given["samples_in_a_row"])
    noise = given["noise_v"]
    rows = {row["id"]: row["verdict"] for row in fetch(PATH, given)["requirements"]}

    length, count = 20_000, 60
    free = given["threshold_v"] - given["normal_v"] - given["error_normal_v"]
    counted = runs(noise * process(kind, hz, rate, count, length, generator) >= free, n)
    hours = count * length / rate / 3600.0
    allowed = given["allowed_nuisance_per_hour"] * hours
    # Three deviations of a count, rows of slow noise come in bunches of two.
    spread = 3.0 * numpy.sqrt(2.0 * allowed) + 3.0
    if rows["protection.nuisance-side"] in ("holds", "thin"):
        yield "nuisance trips of a holds", max(0.0, counted - allowed), 0.0, spread
    elif rows["protection.nuisance-side"] == "fails" and result["judged"]["nuisance_margin"] < -0.02 * free < 0.0:
        yield "nuisance trips of a fails", max(0.0, allowed - counted), 0.0, spread

    distance = given["hazard_v"] - given["threshold_v"] - given["error_hazard_v"]
    later = sum(given[name] for name in ("filter_s", "processing_s", "opening_s"))
    left = distance - given["rate_v_per_s"] * later
    share = given["missed_share_percent"] / 100.0
    count = 6000
    late = late_share(kind, hz, rate, n, noise, given["rate_v_per_s"], left, count, generator) if left > 0.0 else 1.0
    spread = 3.0 * numpy.sqrt(share * (1.0 - share) / count) + 1.0 / count
    if rows["protection.harm-side"] in ("holds", "thin"):
        yield "late trips of a holds", max(0.0, late - share), 0.0, spread
    # Where it fails, noise delays too much, or the row takes too long without any.
    elif rows["protection.harm-side"] == "fails" and left > given["rate_v_per_s"] * n / rate:
        yield "late trips of a fails", max(0.0, 0.98 * share - late), 0.0, 2.0 * spread
    for lever in result["levers"]:
        if "enough_at" in lever:
            then = fetch(PATH, {**given, lever["id"]: int(lever["enough_at"]) if "row" in lever["id"] else lever["enough_at"]})
            failing = sum(row["verdict"] == "fails" for row in then["requirements"])
            before = sum(verdict == "fails" for verdict in rows.values())
            yield f"lever {lever['id']}", float(failing), float(before - 1), 0.5 if failing >= before else before
    yield "counted", 1.0, 1.0
