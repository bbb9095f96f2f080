"""Kinds of check and modes behind the circuit, and pairs of faults, in cases with known answers, worked out by the
independent models alone.

    python safety_kind_cases.py

runs them with those of `safety_cases.py`.
"""

import math
import sys

import numpy

import safety_kinds as kinds
import safety_modes as modes
import safety_pairs as pairs
from safety_cases import alike, case, run, shunt
from safety_circuits import Beta, Thermistor

# --- Kinds of check -------------------------------------------------------------------------------------------------


@case
def a_limit_on_the_slope():
    """What the healthy slope and noise leave alone, which step no unit misses, and what debouncing makes of it."""
    random, units = numpy.random.default_rng(51), 4000
    slope, sigma, interval, z = 200.0, 0.3, 0.02, 5.0
    noise = math.sqrt(2.0) * z * sigma
    limit = slope + noise / interval
    looks = {"samples": 41, "interval_s": interval, "limit": limit, "sigma": sigma}
    healthy = kinds.slopes(random, units, n=1, slope=slope, **looks).mean()
    yield "healthy", healthy, 0.0, 5e-4
    step = (limit + slope) * interval + noise
    for n, hold, size, seen in (
        (1, False, 1.0, 1.0),
        (1, False, 0.25, 0.0),
        (3, False, 4.0, 0.0),
        (3, True, 4.0, 1.0),
    ):
        # Against the ramp: that hides most of it.
        found = kinds.slopes(random, units, n=n, slope=-slope, step=size * step, hold=hold, **looks).mean()
        yield f"{size} of the step, n {n}, held {hold}", found, seen, 6e-3
    # Against what was accepted the signal itself goes on while it is looked at again.
    calm = looks | {"sigma": 0.0}
    for n, grows, span in ((3, False, limit + 3 * slope), (3, True, 3 * (limit + slope))):
        for part, seen in ((0.999, 0.0), (1.001, 1.0)):
            jump = part * span * interval
            found = kinds.slopes(random, 1, n=n, slope=-slope, step=jump, hold=True, grows=grows, **calm).mean()
            yield f"held, n {n}, limit grows {grows}: {part}", found, seen, 0.0
    drift = kinds.slopes(random, 1, n=1, slope=0.99 * limit, **calm).mean()
    yield "a drift", drift, 0.0, 0.0


@case
def a_test_of_the_wires():
    test = lambda ohm: kinds.moved_v(ohm, 10.0, 50e3, 1e-6)  # noqa: E731
    unseen = kinds.wire_unseen_ohm(5e-3, 0.0, test)
    yield alike("unseen to, ohm", unseen, 5535.6, 3e-3)
    # With its own error it hides more.
    worse = kinds.wire_unseen_ohm(5e-3, 0.5e-3, test)
    yield alike("unseen with an error, ohm", worse, 1.0 / (1.0 / 5500.0 - 1.0 / 50e3) - 20.0, 3e-3)
    yield "an open one that is missed", float(math.isinf(kinds.wire_unseen_ohm(0.06, 0.0, test))), 1.0, 0.0
    # An open wire charges the capacitor through the resistor across it.
    for taus, left in ((1.0, math.exp(-1.0)), (5.0, math.exp(-5.0))):
        early = kinds.moved_v(math.inf, 10.0, 50e3, 1e-6, 100e-9, taus * 5e-3)
        yield f"open, after {taus} times", early, 0.05 * (1.0 - left), 2e-4
    costs = 100.0 * (shunt(bias=0.0).reading(400.0, {"wire": unseen}) / shunt(bias=0.0).reading(400.0) - 1.0)
    yield alike("costs, %", costs, -9.964, 3e-3)


@case
def heat_against_current():
    body, flows, limit, error = kinds.Body(35e-6, 5.0, 30.0), 400.0, 6.0, 2.0
    whole = flows**2 * body.ohm * body.k_per_w
    share = (limit + error) / whole
    seconds = body.seen_after_s(flows, 0.0, limit, error, 300.0)
    yield alike("a lost current is seen after", seconds, -body.tau_s * math.log1p(-share), 5e-3)
    lost = math.sqrt((limit + error) / (body.ohm * body.k_per_w))
    for name, told, seen in (
        ("lost", lambda size: (size * lost, 0.0), (0.99, 1.01)),
        ("low", lambda size: (flows, math.sqrt(1.0 - size * share) * flows), (0.99, 1.01)),
        ("high", lambda size: (flows, math.sqrt(1.0 + size * share) * flows), (0.99, 1.01)),
    ):
        for size, expected in zip(seen, (0.0, 1.0), strict=True):
            found = math.isfinite(body.seen_after_s(*told(size), limit, error, 20.0 * body.tau_s))
            yield f"{name}, {size} of what is just seen", float(found), expected, 0.0


@case
def resistance_from_a_step():
    random = numpy.random.default_rng(52)
    calm = kinds.stepped_ohm(random, 10, 200.0, 0.1, offset_a=5.0)
    yield alike("an offset falls out", calm.mean(), 0.1, 1e-12)
    yield alike("a gain does not", kinds.stepped_ohm(random, 10, 200.0, 0.1, gain=0.8).mean(), 0.125, 1e-12)


@case
def closure_of_a_day():
    """As in `closure_of_charge`, on a current that goes both ways."""
    random, units, anchors, capacity, offset = numpy.random.default_rng(53), 512, 0.01, 120.0, 0.05
    limit = 2.0 * anchors * capacity + offset * 24.0
    healthy = numpy.abs(kinds.closed(random, units, 0.0, 24.0, anchors, capacity, offset))
    yield alike("the worst healthy one, Ah", healthy.max(), limit, 1e-9)
    for part, all_see in ((1.001, 1.0), (0.999, 0.0)):
        fault = part * (2.0 * limit / 24.0)
        found = numpy.abs(kinds.closed(random, units, fault, 24.0, anchors, capacity, offset))
        yield f"{part} of the smallest: all see", float((found > limit).all()), all_see, 0.0


@case
def a_second_clock():
    random, own, other, gate, tick = numpy.random.default_rng(54), 1e-4, 3e-4, 0.1, 1e-6
    healthy = numpy.abs(kinds.clocks(random, 20_000, 0.0, own, other, gate, tick)).max()
    room = own + other + tick / gate
    yield "healthy", float(0.95 * (own + other) < healthy <= room * 1.001), 1.0, 0.0
    limit = 1e-3
    for drift, seen in ((limit + room + 2e-6, 1.0), (limit - own - other, 0.0)):
        found = numpy.abs(kinds.clocks(random, 20_000, drift, own, other, gate, tick)) > limit
        yield f"drift of {drift:.6f}: all see", float(found.all()), seen, 0.0


@case
def a_held_code():
    random = numpy.random.default_rng(55)
    found = kinds.stuck_after(random, 2000, 1.0, 40, 0.01, 200, stuck_from=100)
    yield "seen at the latest", found.max(), 39 * 0.01, 1e-9
    # The last codes before it may happen to be the same.
    yield "and hardly sooner", numpy.median(found), 39 * 0.01, 0.02
    free = kinds.stuck_after(random, 2000, 1.0, 40, 0.01, 400)
    yield "moving codes", float(numpy.isfinite(free).sum()), 0.0, 0.0


@case
def what_is_used():
    a, b = numpy.array([10.0]), numpy.array([4.0])
    for use, value in (("a", 10.0), ("b", 4.0), ("mean", 7.0), ("larger", 10.0)):
        yield use, kinds.used(use, a, b)[0], value, 0.0
    random = numpy.random.default_rng(56)
    one, two = kinds.differences(random, 8, 50, 0.02, 1000.0, 0.005, 0.0, (2.0, 1.0))
    yield "skew and errors", float(numpy.abs(one - two).max()), 1000.0 * 0.005 + 3.0, 1e-9


# --- Modes ----------------------------------------------------------------------------------------------------------


@case
def bits():
    """A bit that is held shows where it differs and nowhere else."""
    for bipolar, low in ((False, 0.0), (True, -0.999)):
        codes = modes.Codes(8, 1.0, bipolar)
        places = numpy.linspace(low, 0.999, 4001)
        for bit in range(7):
            size = 2**bit * codes.step
            down, up = codes.forced_off(places, bit)
            yield f"bit {bit}, two signs {bipolar}, down", down, -size, 1e-12
            yield f"bit {bit}, two signs {bipolar}, up", up, size, 1e-12
    signs = modes.Codes(8, 1.0, True)
    yield "the bit of the sign", signs.forced_off(numpy.array([0.5]), 7)[0], -1.0, 1e-12
    flat = modes.Codes(8, 1.0, False)
    small = flat.forced_off(numpy.array([0.25 + 2.5 * flat.step]), 6)
    yield "held at what it is: nothing", small[1], 0.0, 0.0


@case
def signals_that_lag():
    ramp = lambda t: 50.0 * t  # noqa: E731
    at = numpy.linspace(0.0, 2.0, 201)
    told = modes.slow(ramp, 0.1, at)
    yield alike("a pole lags by its time", ramp(2.0) - told[-1], 5.0, 1e-3)
    yield "a late link by its delay", modes.delayed(ramp, 0.3)(2.0), 85.0, 1e-9
    yield "a held one by all that moved", float(modes.held(ramp, 0.5)(2.0)), 25.0, 1e-9
    oldest = modes.stale_s(0.02, 5, 200, 0.1, 1e-4)
    yield "the oldest value in use", oldest, 0.1, 2e-4


@case
def clocks_that_drift():
    day = modes.counted_ah(lambda t: 10.0, 24.0, 0.05)
    yield alike("charge", day, 240.0 * 1.05, 1e-3)
    yield alike("a time-out", modes.timed_out_s(0.1, 0.05), 0.1 / 1.05, 1e-6)


@case
def sensors_in_trouble():
    yield "loose by half", modes.loose(60.0, 20.0, 0.5), 40.0, 1e-9
    yield "quite loose", modes.loose(60.0, 20.0, 0.0), 20.0, 0.0
    yield "not loose", modes.loose(60.0, 20.0, 1.0), 60.0, 0.0
    for below in (True, False):
        warm = Thermistor(Beta(10e3, 3435.0), 10e3, below=below)
        yield f"fixed one short, below {below}: coldest", warm.reading(25.0, {"fixed": 0.0}), -273.15, 1e-6
        hottest = warm.reading(25.0, {"fixed": 1e13})
        yield f"fixed one open, below {below}: hottest", float(hottest > 1000.0), 1.0, 0.0
        # R is read as R Rf / Rf'.
        told = warm.curve.degc(warm.curve.at(25.0) / 1.5)
        yield f"fixed one drifts, below {below}", warm.reading(25.0, {"fixed": 15e3}), told, 1e-6


# --- Pairs ----------------------------------------------------------------------------------------------------------


@case
def pairs_of_faults():
    """A covered mode and its check; two modes that harm together."""
    goal = pairs.Goal(5.0)
    watch = pairs.Watch("A", 4.0, 4.0, loss_fit=30.0)
    blind = pairs.Watch("B", 40.0, 40.0, loss_fit=30.0)

    def mode(name, first, last, seen_by=("A", "B")):
        return pairs.Mode(name, 80.0, *pairs.spread(first, last, goal, [watch, blind]), seen_by, (first, last))

    one, other, late = mode("one", 3.0, 3.0), mode("other", 3.0, 3.0), mode("late", 6.0, 8.0)
    every = pairs.losses(goal, [late], [watch, blind], 12.0)
    found = {names: violates for names, violates, _ in every}
    yield "a covered mode without its check", float(found["late", "A"]), 1.0, 0.0
    yield "without one that sees nothing", float(found["late", "B"]), 0.0, 0.0
    checks = [watch, blind]
    together = lambda one, other, looking: float(pairs.additions(goal, one, other, checks, looking))  # noqa: E731
    yield "two small ones are seen together", together(one, other, checks), 0.0, 0.0
    yield "unless nobody looks", together(one, other, []), 1.0, 0.0
    masks, hides = mode("masks", -3.0, -3.0), mode("hides", 9.0, 9.0)
    high = [pairs.Watch("A", 8.0, 8.0)]
    yield "one hides the other", float(pairs.additions(goal, masks, hides, high, high)), 1.0, 0.0
    slow = [pairs.Watch("A", 2.5, 2.5, in_time=False)]
    free = mode("free", 3.0, 3.0, ())
    yield "the check is too late for the sum", float(pairs.additions(goal, free, one, slow, slow)), 1.0, 0.0
    yield "but not for the first", float(pairs.additions(goal, one, other, slow, slow)), 0.0, 0.0
    dual, by = pairs.dual_fit(goal, [late], [watch, blind], 12000.0, 1.0, True)
    yield alike("covered", by["A"], 80.0, 1e-12)
    yield alike("dual, never tested", dual, 0.5 * 80.0 * 30.0 * 12000.0 * 1e-9, 1e-3)
    # Half of a span is seen by both of two checks: that takes three faults.
    both = [watch, pairs.Watch("C", 7.0, 7.0, loss_fit=30.0)]
    seen = pairs.Mode("late", 80.0, *pairs.spread(6.0, 8.0, goal, both), ("A", "C"))
    yield "alone", pairs.shares(goal, seen, both)[2]["A"], 0.5, 1e-12


if __name__ == "__main__":
    sys.exit(not run())
