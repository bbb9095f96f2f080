"""Faulty readings and what a design does with them, in cases with known answers, worked out by the independent models
alone: no server is asked.

    python safety_cases.py

`safety_check_cases.py` adds those of checks and rates. Each line gives what a model says, what is expected and how far
they may be apart.
"""

import math
import sys

import numpy
import scipy.optimize

import safety_consequence as consequence
from safety_circuits import GROUND, Beta, Divider, Shunt, Thermistor

CASES = []
# Figures are known with as many digits as they are given.
GIVEN = 1e-4


def case(function):
    CASES.append(function)
    return function


def alike(label, got, expected, relative=GIVEN):
    return label, got, expected, relative * abs(expected)


STRING = Divider(6, 680e3, 8060.0, load=10e6, bias=20e-9)
FULL_V = 2.0


def shunt(**changes):
    return Shunt(**{"ohm": 35e-6, "leg": 10.0, "across": 50e3, "bias": 50e-9} | changes)


# --- Readings -------------------------------------------------------------------------------------------------------


@case
def one_element_short():
    short = {"upper.1": 0.0}
    yield alike("constant", STRING.constant, 507.2035, 1e-6)
    for volt, told in ((554.4, 664.565), (722.7, 866.283), (831.6, 996.807)):
        yield alike(f"{volt} V", STRING.reading(volt, short), told)
    yield alike("848.481 V is told at", STRING.true_at(848.481, short), 707.85)
    # The converter is full where the tap stands at its full scale.
    yield alike("full at", STRING.true_at(FULL_V * STRING.constant, short), 846.28)
    yield alike("the others carry a fifth", STRING.stress(831.6, short), 831.6 / 5.0, 2.5e-3)


@case
def any_element_is_as_good():
    for place in range(1, 7):
        yield alike(f"short of {place}", STRING.reading(831.6, {f"upper.{place}": 0.0}), 996.807)


@case
def a_crack_that_leaks():
    crack = {"upper.3": 2.2e6}
    yield alike("831.6 V", STRING.reading(831.6, crack), 605.80)
    yield alike("836 V is told at", STRING.true_at(836.0, crack), 1147.6)


@case
def an_open_element():
    """Nothing but the current of the input is left, on lower element and load."""
    told = STRING.reading(831.6, {"upper.3": math.inf})
    yield alike("told, V", told, 20e-9 / (1.0 / 8060.0 + 1e-7) * STRING.constant, 1e-9)
    both = [STRING.reading(831.6, {"upper.3": ohm}) for ohm in numpy.geomspace(680e3, 1e12, 200)]
    yield "a crack reads anything below", float((numpy.diff(both) < 0.0).all()), 1.0, 0.0


@case
def leakage_along_the_chain():
    """Across elements it reads high, from an inner node to ground low."""
    healthy = STRING.reading(831.6)
    across = STRING.reading(831.6, {"leak": ("n1", "n3", 10e6)})
    ground = STRING.reading(831.6, {"leak": ("n3", GROUND, 10e6)})
    yield "across two", float(across > healthy), 1.0, 0.0
    yield "to ground", float(ground < healthy), 1.0, 0.0
    # Two elements with a leak across them are one of another value.
    pair = 1.0 / (1.0 / 1.36e6 + 1.0 / 10e6) / 2.0
    yield alike("across two, as elements", across, STRING.reading(831.6, {"upper.2": pair, "upper.3": pair}), 1e-9)


@case
def the_lower_element():
    small = Divider(6, 680e3, 8060.0, load=20e3, bias=20e-9)
    told = STRING.reading(831.6, {"lower": math.inf})
    yield "open: full", float(told > FULL_V * STRING.constant), 1.0, 0.0
    # The load alone stands in its place; the current of the input goes into it and the chain.
    volt = (300.0 / 4.08e6 + 20e-9) / (1.0 / 4.08e6 + 1.0 / 20e3)
    yield alike("open with a low load, V", small.input_v(300.0, {"lower": math.inf}), volt, 1e-9)
    yield "which is in range", float(volt < FULL_V), 1.0, 0.0
    yield "short", STRING.reading(831.6, {"lower": 0.0}), 0.0, 1e-9
    yield alike("drift of +1 %", STRING.reading(831.6, {"lower": 8140.6}) / STRING.reading(831.6), 1.00997, 1e-4)


@case
def an_open_tap():
    """The input holds its voltage and then goes where load and current take it."""
    filtered = Divider(6, 680e3, 8060.0, load=10e6, bias=20e-9, farad=100e-9)
    healthy = filtered.at(831.6)
    held = healthy.held(healthy.solve())
    broken = filtered.at(831.6, {"wire": math.inf})
    for seconds in (1e-3, 1.0, 30.0):
        left = math.exp(-seconds / 1.0)
        expected = held["filter"] * left + 0.2 * (1.0 - left)
        yield f"after {seconds} s", broken.after(held, seconds)["input"], expected, 2e-3 * held["filter"]
    yield alike("settled: the current on the load", broken.solve()["input"], 0.2, 1e-9)


@case
def leakage_into_the_input():
    more = STRING.reading(831.6, {"bias": 120e-9}) - STRING.reading(831.6)
    yield alike("100 nA more", more, 100e-9 * 6 * 680e3, 2e-3)


@case
def elements_that_drift():
    """One element drifts upwards by 0 to 50 %: what is harmful and not yet seen is not covered."""
    healthy = STRING.reading(831.6)
    off = lambda share: STRING.reading(831.6, {"upper.1": 680e3 * (1.0 + share)}) / healthy - 1.0  # noqa: E731
    harms = scipy.optimize.brentq(lambda d: off(d) + 0.02, 0.0, 0.5)
    seen = scipy.optimize.brentq(lambda d: off(d) + 0.029, 0.0, 0.5)
    yield alike("harms from, %", 100.0 * harms, 12.27, 5e-4)
    yield alike("seen from, %", 100.0 * seen, 17.96, 5e-4)
    drawn = numpy.random.default_rng(1).uniform(0.0, 0.5, 20000)
    told = numpy.interp(drawn, grid := numpy.linspace(0.0, 0.5, 401), [off(d) for d in grid])
    covered = (told <= -0.029).sum() / (told <= -0.02).sum()
    yield "covered, %", 100.0 * (0.5 - seen) / (0.5 - harms), 84.93, 0.02
    yield "covered of drawn ones, %", 100.0 * covered, 84.93, 1.2


@case
def sense_wires():
    both = lambda faults: sorted(shunt(bias=sign * 50e-9).reading(400.0, faults) for sign in (-1, 1))  # noqa: E731
    yield alike("healthy", shunt().reading(400.0), 399.840, 2e-6)
    low, high = both({"wire": math.inf})
    yield alike("open, A", low, -71.43)
    yield alike("open, other sign, A", high, 71.43)
    whatever = shunt().reading(600.0, {"wire": math.inf}) - shunt().reading(0.0, {"wire": math.inf})
    yield "open: whatever flows", whatever, 0.0, 1e-6
    low, high = both({"wire": 5e3})
    yield alike("5 kohm joint, A", high, 369.995)
    yield alike("5 kohm joint, other sign, A", low, 357.013)
    for sign, ends in ((1.0, 800.0), (-1.0, 0.0)):
        bare = shunt(across=math.inf, farad=100e-9, bias=sign * 50e-9)
        # What flows afterwards is not seen any more.
        told = bare.reading_after(28e-3, 400.0, 650.0, {"wire": math.inf})
        yield f"28 ms after a break at 400 A, {sign:+.0f}", told, ends, 0.5
    with_resistor = shunt(farad=100e-9)
    told = with_resistor.reading_after(0.1, 400.0, 400.0, {"wire": math.inf})
    yield alike("and with a resistor it settles, A", told, 71.43, 1e-3)


@case
def the_shunt_itself():
    yield "a joint between the taps reads high", shunt().reading(400.0, {"joint": 3.5e-6}) / 399.840, 1.1, 1e-5
    yield "a bridge reads low", shunt().reading(400.0, {"bridge": ("high", GROUND, 35e-6)}) / 399.840, 0.5, 1e-5
    yield "sense wires short", shunt().reading(400.0, {"short": ("plus", "minus", 0.0)}), 0.0, 1e-9


@case
def the_open_wire_test():
    unseen = scipy.optimize.brentq(lambda r: shunt().test_v(1e-6, {"wire": r}) - 5e-3, 0.0, 1e5)
    yield alike("unseen to, ohm", unseen, 5535.6)
    calm = shunt(bias=0.0)
    lost = 100.0 * (calm.reading(400.0, {"wire": unseen}) / calm.reading(400.0) - 1.0)
    yield alike("costs, %", lost, -9.964)
    yield alike("both signs of the current", shunt().test_v(-1e-6, {"wire": unseen}), -5e-3, 1e-6)


@case
def thermistors():
    warm = Thermistor(Beta(10e3, 3435.0), 10e3)
    across = ("node", GROUND)
    yield alike("-30 degC with 100 kohm across", warm.reading(-30.0, {"leak": (*across, 100e3)}), -14.310)
    yield alike("60 degC and a lead of 1 kohm", warm.reading(60.0, {"lead": 1e3}), 50.908)
    wet = warm.reading(25.0, {"sensor": math.inf, "leak": (*across, 220e3)})
    yield alike("open, 220 kohm across", wet, -38.071)
    other_way = Thermistor(Beta(10e3, 3435.0), 10e3, below=False)
    yield "short: hottest", float(warm.reading(25.0, {"sensor": 0.0}) == math.inf), 1.0, 0.0
    yield "open: coldest", warm.reading(25.0, {"sensor": math.inf}), -273.15, 1e-9
    for degc in (-30.0, 25.0, 80.0):
        yield f"healthy at {degc}", warm.reading(degc), degc, 1e-9
        yield f"healthy at {degc}, above the fixed one", other_way.reading(degc), degc, 1e-9
        # -d T^2 / B, to first order.
        slope = -((degc + 273.15) ** 2) / 3435.0
        drift = {"sensor": warm.curve.at(degc) * 1.001}
        yield f"drift of 0.1 % at {degc}, K", (warm.reading(degc, drift) - degc) / 1e-3, slope, 2e-3 * abs(slope)
    yield "ratiometric: the supply is nothing", warm.reading(25.0, supply=0.05), 25.0, 1e-9
    fixed = Thermistor(Beta(10e3, 3435.0), 10e3, ratiometric=False)
    yield "stated: it is", float(abs(fixed.reading(25.0, supply=0.05) - 25.0) > 1.0), 1.0, 0.0


@case
def a_shared_reference():
    """Both channels read too much by the same share: their difference is none."""
    calm, alone = shunt(bias=0.0, leg=0.0), shunt(bias=0.0, leg=0.0)
    high = calm.reading(350.0, reference=-0.02)
    yield alike("both read, %", 100.0 * (high / 350.0 - 1.0), 2.0408)
    yield "difference, shared", high - alone.reading(350.0, reference=-0.02), 0.0, 1e-9
    yield alike("difference, separate", high - alone.reading(350.0), 7.143)
    apart = lambda share: calm.reading(350.0, reference=share) - alone.reading(350.0) - (11.25 + 8.72)  # noqa: E731
    yield alike("seen from, %", 100.0 * scipy.optimize.brentq(apart, -0.5, 0.0), -5.398)


# --- Consequences ---------------------------------------------------------------------------------------------------


@case
def a_crack_and_a_threshold():
    """It trips where nothing gets: never."""
    gain, start = STRING.line({"upper.3": 2.2e6})
    crack = lambda volt: gain * volt + start  # noqa: E731
    yield alike("trips surely at", consequence.trips_at(crack, 0.0, 836.0, (0.0, 2000.0)), 1147.6)
    for largest, word in ((920.0, "never"), (1200.0, "late")):
        found = consequence.rides(crack, 0.0, 836.0, 800.0, 851.4, largest, 1.0, 0.1, 831.6, 1e-3)
        yield f"largest {largest} V: {word}", float(found.word == word), 1.0, 0.0


@case
def thresholds_on_a_ramp():
    """x + s t against the hazard."""
    ride = lambda gain, error=2.0: consequence.rides(  # noqa: E731
        lambda x: gain * x, error, 836.0, 800.0, 851.4, 2000.0, 10.0, 0.5, 825.0, 1e-4
    )
    words = [(1.0, "in-time"), (0.97, "late"), (1.02, "early"), (0.4, "never")]
    for gain, word in words:
        yield f"gain {gain}: {word}", float(ride(gain).word == word), 1.0, 0.0
    yield alike("late by", ride(0.97).late_s, (838.0 / 0.97 + 5.0 - 851.4) / 10.0, 1e-3)


@case
def the_race():
    for gain, micros in ((1.0, 16.159), (0.7, 29.641), (0.5, 81.974)):
        seconds = consequence.crosses_s(831.6, 0.2202, 6e-6, 200.0, 1800.0, gain)
        yield alike(f"gain {gain}", seconds * 1e6, micros)
    never = 1800.0 / (831.6 / 0.2202)
    yield alike("never below", never, 0.47662)
    for share, crosses in ((0.999, 0.0), (1.001, 1.0)):
        seconds = consequence.crosses_s(831.6, 0.2202, 6e-6, 200.0, 1800.0, never * share)
        yield f"at {share} of it", float(math.isfinite(seconds)), crosses, 0.0
    filtered = consequence.opened(831.6, 0.2202, 6e-6, 200.0, 1800.0, 10e-6, 0.7)
    yield alike("opens, us", filtered[0] * 1e6, 29.641 + 10.0, 3e-4)
    # A filter much slower than the fault lags by the time that its step takes.
    slow = consequence.opened(831.6, 0.2202, 6e-6, 0.0, 1800.0, 0.0, filter_s=10e-3)
    yield alike("behind a slow filter, ms", slow[0] * 1e3, -10.0 * math.log(1.0 - 1800.0 * 0.2202 / 831.6), 5e-3)


@case
def pre_charge():
    high = consequence.Read(1.199527)
    healthy = consequence.Read()
    seconds, ratio = consequence.closes(831.6, 60.0, 900e-6, 0.95, link=high)
    yield alike("link high: true ratio, %", 100.0 * ratio, 79.198)
    yield alike("link high: ms", 1e3 * seconds, 84.786)
    step = 831.6 * (1.0 - ratio)
    yield alike("link high: step, V", step, 172.99)
    yield alike("link high: peak, A", consequence.inrush_a(step, 0.2482, 2e-6, 900e-6), 634.9, 3e-4)
    never = consequence.closes(831.6, 60.0, 900e-6, 0.95, pack=high)
    yield "pack high: never", float(math.isinf(never[0])), 1.0, 0.0
    _, ratio = consequence.closes(831.6, 60.0, 900e-6, 0.95, link=high, pack=high)
    yield alike("both high: true ratio, %", 100.0 * ratio, 95.0)
    yield alike("both high: peak, A", consequence.inrush_a(831.6 * 0.05, 0.2482, 2e-6, 900e-6), 152.6, 4e-4)
    dead = consequence.closes(831.6, 60.0, 900e-6, 0.95, pack=consequence.Read(0.0))
    yield "a pack channel that tells 0 closes at once", dead[0] + dead[1], 0.0, 0.0
    loaded = consequence.closes(831.6, 60.0, 900e-6, 0.95, load=lambda volt: 1500.0 / max(volt, 450.0), link=healthy)
    yield "a load forbids it", float(math.isinf(loaded[0])), 1.0, 0.0


def run():
    failed = 0
    for function in CASES:
        for label, got, expected, allowed in function():
            ok = abs(got - expected) <= allowed
            failed += not ok
            print(f"{'ok' if ok else 'FAILED':6} {function.__name__:32} {label:45} {got:.6g}, expected {expected:.6g}")
    print(f"{failed} failed")
    return not failed


if __name__ == "__main__":
    sys.exit(not run())
