"""Plausibility checks and rates of failures in cases with known answers, worked out by the independent models alone.

    python safety_check_cases.py

runs them with those of `safety_cases.py`.
"""

import math
import sys

import numpy
import scipy.stats

import safety_detection as detection
import safety_metrics as metrics
from safety_cases import alike, case, run

# --- Checks of readings ---------------------------------------------------------------------------------------------


@case
def the_blind_zone():
    yield alike("D_c, A", detection.surely_seen(-0.56, 0.56, 6.0)[0], 6.56)
    yield alike("in a day, Ah", detection.surely_seen(-0.56, 0.56, 6.0)[0] * 24.0, 157.44)
    for (low, high), signal in (
        ((55.0, 75.0), detection.averaged(20.0, 0.0)),
        ((87.0, 107.0), detection.averaged(1.25 * 6.56, 40e-3)),
    ):
        found = 1e3 * detection.times(signal, 6.56, 3, 20e-3, 15e-3)
        yield "earliest, ms", found.min(), low, 0.1
        yield "latest, ms", found.max(), high, 0.1
    tau = detection.times(detection.low_pass(10.0, 0.1), 6.56, 3, 20e-3, 15e-3).max()
    yield alike("behind a low-pass", tau, 0.1 * math.log(10.0 / (10.0 - 6.56)) + 75e-3, 2e-3)


@case
def one_error_for_each_unit():
    """A static error does not average over samples; one probability for all units says more, and then less."""
    random = numpy.random.default_rng(2)
    for fault, samples, probability in ((7.0, 3, 0.8715), (6.5, 10, 0.8807)):
        given = (samples, fault, 6.0, 3)
        found = detection.found_by(random, 400_000, *given, (0.3, 0.4), (0.5, 0.3))
        yield f"{fault}: units", found, probability, 2.5e-3
        yield f"{fault}: chain of states", detection.expected(*given, 0.5, (0.5, 0.3)), probability, 5e-4
    calm = detection.found_by(random, 1000, 2, 20.0, 6.0, 3, (0.3,))
    yield "fewer samples than in a row", calm, 0.0, 0.0
    yield "no noise, at the limit", detection.found_by(random, 1, 3, 6.0, 6.0, 3, ()), 0.0, 0.0


@case
def false_alarms():
    p = detection.beyond(1.2, 2.0, 0.25)
    for n, rate in ((1, 49.47), (2, 0.033972), (3, 2.3343e-5)):
        yield alike(f"{n} in a row", detection.alarms_an_hour(p, n, 0.05), rate)
    # Often enough to be counted.
    random = numpy.random.default_rng(3)
    for n in (1, 2, 3):
        expected = detection.alarms_an_hour(detection.beyond(1.2, 1.5, 0.25), n, 0.05)
        counted, alarms = detection.false_alarms(random, 2_000_000, 1.2, 1.5, n, 0.25, 0.05)
        yield f"counted, {n} in a row", counted, expected, 5.0 * expected / math.sqrt(alarms)


@case
def pack_against_cells():
    """The wiring between both taps drops a known voltage; the cells err together, as one reference makes them."""
    deviations = {"pack": 0.0108 * 831.6, "cells": 198 * 4e-3}
    drop = {"drop": (-0.2, 0.2)}
    pack = lambda i, one: 831.6 - 30e-3 * i + one["pack"]  # noqa: E731
    cells = lambda _, one: 831.6 + one["cells"]  # noqa: E731
    low, high = detection.fault_free(pack, cells, deviations, (600.0, -400.0))
    limit = max(-low, high)
    yield alike("L", limit, 27.773)
    up, down = detection.surely_seen(low, high, limit)
    yield alike("D_c upwards", up, 55.547)
    yield alike("D_c downwards", -down, -49.547)
    known = lambda i, one: 831.6 - 30e-3 * i * one["drop"] + one["pack"]  # noqa: E731
    low, high = detection.fault_free(known, cells, deviations | drop, (600.0, -400.0))
    yield alike("L, drop known to 20 %", max(-low, high), 13.373)


@case
def checks_of_a_slope():
    """A drift has no slope to see, and against the last sample a step is seen once alone."""
    still, jump = numpy.zeros(50), numpy.repeat([0.0, 50.0], [10, 40])
    drift = numpy.linspace(0.0, 50.0, 2000)
    for what, given, n, hold, sees in (
        ("step, n 1", jump, 1, False, 1.0),
        ("step, n 3, against the last sample", jump, 3, False, 0.0),
        ("step, n 3, against the last accepted", jump, 3, True, 1.0),
        ("drift, n 1", drift, 1, False, 0.0),
        ("nothing", still, 1, True, 0.0),
    ):
        yield what, float(detection.rate_check(given, 0.02, 1000.0, n, hold)), sees, 0.0
    # Slope and noise of both samples leave so much room.
    random, z, sigma, slope, interval = numpy.random.default_rng(4), 4.5, 0.3, 200.0, 0.02
    ramp = slope * interval * numpy.arange(200_000) + random.normal(0.0, sigma, 200_000)
    limit = slope + math.sqrt(2.0) * z * sigma / interval
    beyond = (numpy.abs(numpy.diff(ramp)) / interval > limit).sum()
    yield "false", beyond, 200_000 * scipy.stats.norm.sf(z), 6.0
    step = (limit + slope) * interval + math.sqrt(2.0) * z * sigma
    # The other way than what goes on anyway.
    seen = random.normal(0.0, math.sqrt(2.0) * sigma, 200_000) + step - slope * interval > limit * interval
    yield "missed", (~seen).sum(), 200_000 * scipy.stats.norm.sf(z), 6.0


@case
def equal_codes():
    """What is told is no less than what happens, wherever the mean lies between two codes."""
    random = numpy.random.default_rng(5)
    for sigma, count in ((0.3, 8), (0.5, 5), (1.0, 4)):
        told = math.erf(0.5 / (sigma * math.sqrt(2.0))) ** (count - 1)
        found = max(detection.equal_codes(random, sigma, count, mean) for mean in (0.0, 0.2, 0.5))
        yield f"sigma {sigma}, {count} codes: not less", float(found <= told * 1.01), 1.0, 0.0
        yield f"sigma {sigma}, {count} codes: not far off", float(found >= 0.3 * told), 1.0, 0.0


@case
def frames():
    hidden = [lost for lost in range(1, 40) if detection.counter_looks_whole(4, lost)]
    yield "first number of lost frames that look whole", hidden[0], 16, 0.0
    yield "and the next", hidden[1], 32, 0.0
    # Random corruption passes a remainder of 8 bits once in 256.
    random, passed, tried = numpy.random.default_rng(6), 0, 60_000
    for _ in range(tried):
        passed += detection.remainder(random.integers(0, 2, 40), 0b100101111, 8) == 0
    yield "passes", passed / tried, 2.0**-8, 5.0 * math.sqrt(2.0**-8 / tried)


@case
def current_and_heat():
    """The heat of what flows against the heat of what is told."""
    loss, k_per_w, tau, limit = 400.0**2 * 35e-6, 5.0, 30.0, 8.0
    whole = loss * k_per_w
    yield alike("settled", detection.heated(loss, k_per_w, tau, 30.0 * tau), whole, 1e-6)
    after = -tau * math.log1p(-limit / whole)
    yield alike("a lost current is seen after", detection.heated(loss, k_per_w, tau, after), limit, 1e-6)
    gain = math.sqrt(1.0 - limit / whole)
    told = detection.heated(gain**2 * loss, k_per_w, tau, 30.0 * tau)
    yield alike("gain that is just seen", whole - told, limit, 1e-6)
    lost = math.sqrt(limit / (k_per_w * 35e-6))
    real = detection.heated(lost**2 * 35e-6, k_per_w, tau, 30.0 * tau)
    yield alike("lost current that is just seen", real, limit, 1e-6)


@case
def closure_of_charge():
    """Two anchors of 1 point each on 120 Ah and 0.05 A leave room for a fault that is surely seen later."""
    random, units = numpy.random.default_rng(7), 20_000
    fault, points, capacity, offset = 0.5, 1.0, 120.0, 0.05
    hours = 4.0 * points / 100.0 * capacity / (fault - 2.0 * offset)
    for share, seen in ((1.0001, 1.0), (0.99, 0.0)):
        limit = 2.0 * points / 100.0 * capacity + offset * hours * share
        told = numpy.abs(detection.closure(random, units, fault, hours * share, points, capacity, offset))
        yield f"{share} of the time: all", float((told >= limit).all()), seen, 0.0
    healthy = numpy.abs(detection.closure(random, units, 0.0, hours, points, capacity, offset))
    yield "no healthy one", float((healthy <= 2.0 * points / 100.0 * capacity + offset * hours + 1e-9).all()), 1.0, 0.0


# --- Rates ----------------------------------------------------------------------------------------------------------


def mode(fit, safe, direct, coverage, signalled, tested):
    shares = {"safe": safe, "direct": direct, "coverage": coverage, "signalled": signalled, "tested": tested}
    return {"fit": fit} | shares


FOUR = [
    mode(30.0, 0.2, 0.5, 0.95, 0.9, 0.6),
    mode(12.0, 0.0, 1.0, 0.9, 0.8, 1.0),
    mode(40.0, 0.5, 0.3, 0.99, 0.95, 0.9),
    mode(18.0, 0.1, 0.0, 0.0, 1.0, 0.7),
]


@case
def roll_up():
    rates = metrics.tally(FOUR)
    yield alike("residual, FIT", rates["residual"] + rates["single-point"], 2.07, 1e-6)
    yield alike("latent, FIT", rates["latent"], 13.439, 1e-6)
    for with_safe, spfm, lfm in ((True, 97.930, 86.277), (False, 97.133, 80.837)):
        got = metrics.metrics(rates, with_safe)
        yield alike(f"SPFM, safe {with_safe}", 100.0 * got[0], spfm, 1e-5)
        yield alike(f"LFM, safe {with_safe}", 100.0 * got[1], lfm, 1e-5)
    faults = 4_000_000
    happened = metrics.lived(FOUR, faults, numpy.random.default_rng(8))
    for word, rate in rates.items():
        yield f"{word} of faults one by one", happened[word], rate, 5.0 * math.sqrt(100.0 * max(rate, 1e-3) / faults)


@case
def roll_up_of_elements():
    """Five elements whose multi-point share is tested, each with all of its covered faults told."""
    elements = [
        mode(10.0, 0.0, 1.0, 0.99, 1.0, 1.0),
        mode(20.0, 0.0, 0.5, 0.9, 1.0, 0.9),
        mode(40.0, 0.0, 0.6, 0.97, 1.0, 0.8),
        mode(15.0, 0.0, 1.0, 0.9, 1.0, 1.0),
        mode(5.0, 0.0, 1.0, 0.6, 1.0, 1.0),
    ]
    rates = metrics.tally(elements)
    yield "residual, FIT", rates["residual"], 5.32, 1e-9
    yield "latent, FIT", rates["latent"], 4.2, 1e-9
    yield "SPFM", metrics.metrics(rates)[0], 0.9408889, 1e-6
    yield "LFM", metrics.metrics(rates)[1], 0.9504015, 1e-6
    without = metrics.tally([mode(10.0, 0.0, 1.0, None, 1.0, 1.0)])
    yield "no check: single-point", without["single-point"], 10.0, 0.0
    yield "and no latent metric", float(metrics.metrics(without)[1] is None), 1.0, 0.0


@case
def two_faults_in_a_life():
    exposed = metrics.exposed_h(0.9, 12.0, 12000.0)
    half = 0.5 * 80e-9 * 30e-9 * exposed
    yield alike("dual, by hand", half, 1.4530e-12)
    yield alike("dual, followed from test to test", metrics.with_tests(80e-9, 30e-9, 12000.0, 12.0, 0.9), half, 1e-3)
    together = metrics.common_cause(0.03, 30.0, [80.0])
    yield alike("common cause, per h", together * 1e-9, 1.4697e-9)
    yield alike("sum, per h", 3.02e-9 + half + together * 1e-9, 4.4911e-9)
    yield alike("long life, check first", metrics.both_in_order(4e-6, 2e-6, 40e3), 1.4399e-7)
    yield alike("long life, any order", metrics.both_in_any_order(2e-6, 4e-6, 40e3), 2.8419e-7)
    yield alike("published, any order", metrics.both_in_any_order(1e-7, 5e-8, 1e4), 4.996251666e-11, 1e-6)
    yield alike("published, check first", metrics.both_in_order(5e-8, 1e-7, 1e4), 2.4979176559e-11, 1e-6)


@case
def two_faults_lived():
    """Rates high enough to be met within a life."""
    random, count = numpy.random.default_rng(9), 2_000_000
    fault, loss, life, interval, part = 2e-6, 3e-6, 10_000.0, 500.0, 0.7
    found = metrics.lives(random, count, fault, loss, life, interval, part)
    expected = metrics.with_tests(fault, loss, life, interval, part)
    spread = 5.0 * math.sqrt(expected * life / count) / life
    yield "lived", found, expected, spread + 0.03 * expected
    half = 0.5 * fault * loss * metrics.exposed_h(part, interval, life)
    yield "by hand", half, expected, 0.02 * expected


@case
def magnitudes():
    """A union of checks over each magnitude, not a product of coverages."""
    random = numpy.random.default_rng(10)
    one, other = (lambda d: d > 18.0), (lambda d: d > 30.0)
    harms = lambda d: d > 12.0  # noqa: E731
    both, count = metrics.covered(metrics.uniform(0.0, 50.0), harms, [one, other], random)
    yield "union", both, 32.0 / 38.0, 5.0 / math.sqrt(count)
    alone, count = metrics.covered(metrics.log_uniform(1e3, 1e6), lambda r: r < 1e5, [lambda r: r < 1e4], random)
    yield "log-uniform", alone, 0.5, 5.0 / math.sqrt(count)
    yield "none harms", float(metrics.covered(metrics.uniform(0.0, 1.0), harms, [one], random)[0] is None), 1.0, 0.0


if __name__ == "__main__":
    sys.exit(not run())
