"""Current and voltage channel against a search of every state by brute force: see channel_states.

CHANNEL_STATES=200 python reference.py takes 200 random designs of either channel instead of a few.
"""

import math
import os
import random

import numpy

import harness
from channel_states import CurrentChannel, VoltageChannel
from harness import check

CURRENT, VOLTAGE = "/api/v1/current-channel", "/api/v1/voltage-channel"
COUNT = int(os.environ.get("CHANNEL_STATES", "3"))
# What either search may miss, what a limit under the root loses as a slope, and how far a failure may be overstated.
SEARCHED, SLOPE, OVERSTATED = 1e-3, 5e-3, 0.02
FEW = {"experiment.trials": 1000}

# --- The model itself, against figures worked out elsewhere ----------------------------------------------------------

RESCUE = {
    "shunt.tcr_ppm_per_k": 45.0,
    "shunt.tcr_tolerance_ppm_per_k": 0.0,
    "shunt.tcr_quadratic_ppm_per_k2": -0.45,
    "shunt.reference_degc": 25.0,
    "amplifier.bias_current_a": 5e-8,
    "converter.inl_ppm": 100.0,
    "requirement.gain_percent": 0.8,
    "requirement.offset_a": 0.6,
} | FEW
SPREAD = RESCUE | {
    "shunt.tcr_ppm_per_k": 100.0,
    "shunt.tcr_tolerance_ppm_per_k": 25.0,
    "shunt.tcr_quadratic_ppm_per_k2": 0.0,
    "shunt.reference_degc": 20.0,
    "conditions.calibration_degc": 60.0,
    "bench.heated": "settled",
}
PACK = {
    "following.load_ohm": 1e7,
    "following.load_tolerance_percent": 0.0,
    "following.factor_includes_load": False,
    "following.bias_varying_percent": 0.0,
    "converter.inl_ppm": 300.0,
    "requirement.gain_percent": 1.2,
} | FEW


def one(channel, **state):
    """A single state."""
    return channel.placed({name: numpy.array([value]) for name, value in state.items()})


def largest(channel, s):
    return max(float(numpy.abs(end)[0]) for end in channel.ends(s, True))


@check(CURRENT, "channel states: worked figures", "a second search, to their digits", 1.0, RESCUE)
def worked(given, result):
    given["converter"]["offset_v"] = 0.0
    cold = {"ambient": -30.0, "part": 0.0, "rise": 0.0, "off": 0.0}
    sides = {400.0: 4.516, -400.0: 4.846, 600.0: 6.434, -600.0: 6.768, 280.0: 3.462}
    for low, figures in ((0.0, sides), (-400.0, {400.0: 4.516, -400.0: 4.516, 600.0: 6.353, -600.0: 6.353})):
        given["calibrated_at"] = {"low_a": low}
        channel = CurrentChannel(given)
        for current, figure in figures.items():
            yield f"{low} A and 400 A: {current} A", largest(channel, one(channel, x=current, **cold)), figure, 0.001
    # The worked figure is that of the nominal part, without ripple.
    given["load"]["ripple_current_a"] = 0.0
    hot = CurrentChannel(given).hottest_of_part(numpy.array([85.0]))[0]
    yield "warmest element at 85 °C", hot, 126.5, 0.05


@check(CURRENT, "channel states: settled calibration", "a second search, to their digits", 1.0, SPREAD)
def worked_settled(given, result):
    given["converter"]["offset_v"] = 0.0
    channel = CurrentChannel(given)
    s = one(channel, x=400.0, ambient=-30.0, part=0.0, rise=0.0, off=0.0)
    yield "switched on cold", largest(channel, s), 9.727, 0.001
    s["element"] = channel.settled(numpy.array([-30.0]), 400.0)
    yield "settled", largest(channel, s), 8.351, 0.001


# --- Whole designs ---------------------------------------------------------------------------------------------------


def figures(made, given, result):
    """The channel's model with what is not its matter taken over: the size of the noise."""
    noise = result["noise"]
    single = noise.get("single_a", noise.get("single_v"))
    mean = noise.get("averaged_a", noise.get("averaged_v"))
    # A stored reading is the mean of the bench's readings, each averaged; the 1/f part of its noise does not fall.
    flicker, readings = noise.get("flicker_v", 0.0), given["bench"]["readings"]
    stored = math.sqrt(max(mean**2 - flicker**2, 0.0) / readings + flicker**2)
    return made(given, single, {"none": None, "mean": mean, "single": single}[given["requirement"]["noise"]], stored)


def judged(channel, xs, result):
    """The used share: what holds must hold in every state, what fails may not be overstated."""
    worst = result["worst"]
    share, state = channel.search(xs)
    said, mine = worst["used_percent"], share * 100.0
    if worst["verdict"] == "not-judged":
        return
    if worst["verdict"] == "fails":
        yield f"used share of a failure, here at {state}"[:160], said, mine, OVERSTATED * mine
        return
    missed = SLOPE if channel.given["requirement"]["judged_by"] == "root-sum-square" else SEARCHED
    where = ", ".join(f"{name} {value:.4g}" for name, value in state.items())
    yield f"used share, here at {where}", min(said, mine), mine, missed * mine


def full_points(result):
    found = result["range"]
    return found.get("full_at_a", found.get("full_at_v")), found.get("full_below_a")


def compared(made, given, result):
    channel = figures(made, given, result)
    above, below = full_points(result)
    for name, said, side in (("full at", above, 1), ("full below", below, -1)):
        if said is not None:
            # The tool takes the converter's non-linearity and three sigma of a noise that counts off that point, too.
            bent = (given["converter"].get("inl_ppm") or 0.0) * 1e-6 * given["converter"]["full_scale_v"]
            noise = result["noise"]
            sigma = {"none": 0.0, "mean": noise.get("averaged_a", noise.get("averaged_v")), "single": noise.get("single_a", noise.get("single_v"))}
            new = bent * abs(channel.per_volt) + 3.0 * sigma[given["requirement"]["noise"]]
            yield name, abs(said), channel.full(side)[0], 2e-4 * abs(said) + new
    xs = channel.range(full=(above if above is not None else numpy.inf, below if below is not None else -numpy.inf))
    yield from judged(channel, xs, result)


def random_current(seed):
    """A design as an engineer might type it."""
    r = random.Random(seed)
    u, pick = r.uniform, r.choice
    steady = 10 ** u(1.3, 3.0)
    peak = steady * u(1.1, 3.0)
    full = peak * u(1.0, 2.0)
    ohm = 0.05 * u(0.3, 0.9) / full
    kelvin_per_watt = min(max(u(3.0, 60.0) / (steady**2 * ohm), 0.01), 500.0)
    gain = pick([1.0, 1.0, 20.0])
    kind = pick(["two-point", "two-point", "two-point", "offset", "none"])
    case = {
        "shunt.resistance_ohm": ohm,
        "shunt.tolerance_percent": u(0.1, 5.0),
        "shunt.tcr_ppm_per_k": pick([u(-100.0, 100.0), u(0.0, 50.0), u(-300.0, 300.0)]),
        "shunt.tcr_tolerance_ppm_per_k": pick([0.0, u(0.0, 50.0)]),
        "shunt.tcr_quadratic_ppm_per_k2": pick([0.0, u(-1.0, 1.0), -0.5]),
        "shunt.copper_share_percent": pick([0.0, 0.0, 0.0, u(0.0, 5.0)]),
        "shunt.reference_degc": pick([20.0, 25.0]),
        "shunt.rated_power_w": 1000.0,
        "shunt.max_element_degc": 400.0,
        "shunt.zero_power_degc": 420.0,
        "shunt.thermal_resistance_k_per_w": kelvin_per_watt,
        "shunt.heat_capacity_j_per_k": min(max(10 ** u(0.3, 2.3) / kelvin_per_watt, 1e-3), 1e4),
        "shunt.emf_v_per_k": pick([0.0, u(0.0, 3e-6)]),
        "shunt.sense_position_error_ohm": pick([0.0, ohm * u(0.0, 0.01)]),
        "shunt.life_drift_percent": u(0.0, 0.5),
        "amplifier.gain": gain,
        "amplifier.gain_error_percent": pick([0.0, u(0.0, 0.5)]),
        "amplifier.gain_drift_ppm_per_k": pick([0.0, u(0.0, 30.0)]),
        "amplifier.offset_v": pick([0.0, u(0.0, 5e-5)]),
        "amplifier.offset_drift_v_per_k": pick([0.0, u(0.0, 2e-7)]),
        "amplifier.bias_current_a": u(0.0, 1e-7),
        "amplifier.common_mode_v": pick([0.0, u(0.0, 5.0)]),
        "amplifier.common_mode_rejection_db": u(90.0, 130.0),
        "amplifier.supply_ripple_v": pick([0.0, u(0.0, 0.1)]),
        "converter.bits": pick([12, 14, 16, 18]),
        "converter.full_scale_v": 0.05 * gain,
        "converter.offset_v": u(0.0, 5e-5) * gain,
        "converter.offset_drift_v_per_k": u(0.0, 3e-7) * gain,
        "converter.gain_error_percent": u(0.0, 0.5),
        "converter.gain_drift_ppm_per_k": u(0.0, 40.0),
        "converter.inl_ppm": u(0.0, 300.0),
        "converter.reference_error_percent": u(0.0, 0.2),
        "converter.reference_drift_ppm_per_k": u(0.0, 25.0),
        "converter.reference_life_drift_ppm": pick([0.0, u(0.0, 500.0)]),
        "calibration.kind": kind,
        "calibration.gain_residual_percent": u(0.0, 0.2),
        "calibration.offset_residual_v": u(0.0, 3e-6),
        "bench.heated": pick(["pulsed", "pulsed", "settled"]),
        "bench.tolerance_k": pick([0.0, u(0.0, 8.0)]),
        "bench.independent_percent": pick([0.0, u(0.0, 0.1)]),
        "bench.readings": pick([1, 16, 64]),
        # Tenths of a degree: the ends of a range must be met whatever their binary digits.
        "conditions.ambient_min_degc": round(u(-40.0, 10.0), 1),
        "conditions.ambient_max_degc": round(u(40.0, 105.0), 1),
        "conditions.calibration_degc": pick([25.0, u(15.0, 40.0)]),
        "conditions.shunt_extra_k": pick([0.0, 0.0, u(0.0, 20.0)]),
        "conditions.electronics_rise_k": pick([0.0, u(0.0, 20.0)]),
        "load.continuous_a": steady,
        "load.peak_a": peak,
        "load.peak_duration_s": 10 ** u(0.0, 2.0),
        "load.full_scale_a": full,
        "currents_a": [peak / 100.0, steady, peak],
        "requirement.gain_percent": 10 ** u(-0.3, 0.7),
        "requirement.offset_a": steady * 10 ** u(-3.5, -2.0),
        "requirement.form": pick(["sum", "sum", "full-scale", "larger"]),
        "requirement.judged_by": pick(["worst-case", "worst-case", "root-sum-square"]),
    } | FEW
    low, high = pick([(0.0, steady), (-steady, steady), (0.2 * steady, steady * u(0.5, 1.2)), (-peak, peak)])
    case |= {"calibrated_at.low_a": low, "calibrated_at.high_a": high}
    if r.random() < 0.3:
        case |= {"bench.interval_years": u(1.0, 5.0), "conditions.life_years": u(5.0, 15.0)}
    if r.random() < 0.25:
        case["load.peak_repeat_s"] = case["load.peak_duration_s"] * u(1.5, 20.0)
    charge = r.random()
    if charge < 0.3:
        case["load.charge_peak_a"] = peak * u(0.2, 1.0)
    elif charge < 0.4:
        case["load.charge_peak_a"] = 0.0
        if kind == "none":
            case["converter.bipolar"] = False
    elif charge < 0.45:
        case["load.charge_read_elsewhere"] = True
    if r.random() < 0.2:
        case["requirement.from_a"] = peak * u(0.02, 0.3)
    if r.random() < 0.2:
        case["requirement.to_a"] = peak * u(0.5, 1.3)
    if r.random() < 0.5:
        case |= {"amplifier.supply_change_v": u(0.0, 0.3), "amplifier.supply_rejection_slow_db": u(60.0, 110.0)}
        case |= {"amplifier.injected_v": pick([0.0, u(0.0, 1e-5)])}
    return case


def random_voltage(seed):
    """A design as an engineer might type it."""
    r = random.Random(seed)
    u, pick = r.uniform, r.choice
    top = round(10 ** u(1.3, 3.0), 1)
    count, each = pick([1, 3, 4, 6, 8]), 10 ** u(5.0, 6.2)
    out = 2.0 * u(0.5, 0.9)
    under = count * each * out / (top - out)
    case = {
        "input_min_v": round(top * u(0.3, 0.8), 1),
        "input_max_v": top,
        "upper.count": count,
        "upper.resistance_ohm": each,
        "upper.tolerance_percent": u(0.05, 1.0),
        "upper.tcr_ppm_per_k": u(5.0, 100.0),
        "upper.tcr_tracking_ppm_per_k": u(2.0, 50.0),
        "upper.drift_by": pick(["tracking", "absolute"]),
        "upper.voltage_coefficient_ppm_per_v": u(-10.0, 10.0) * min(100.0 * count / top, 1.0),
        "upper.max_working_v": 5000.0,
        "upper.rated_power_w": u(0.1, 1.0),
        "upper.life_drift_percent": u(0.0, 0.5),
        "upper.correlation": pick([0.0, 0.5, 1.0]),
        "lower.resistance_ohm": under,
        "lower.tolerance_percent": u(0.05, 0.5),
        "lower.tcr_ppm_per_k": u(5.0, 50.0),
        "lower.voltage_coefficient_ppm_per_v": pick([0.0, u(-10.0, 10.0)]),
        "lower.life_drift_percent": u(0.0, 0.3),
        "following.load_tolerance_percent": pick([0.0, u(0.0, 30.0)]),
        "following.load_drift_ppm_per_k": pick([0.0, u(0.0, 200.0)]),
        "following.factor_includes_load": pick([True, False]),
        "following.bias_current_a": pick([0.0, 10 ** u(-10.0, -7.0)]),
        "following.bias_varying_percent": pick([0.0, 100.0, u(0.0, 100.0)]),
        "converter.bits": pick([10, 12, 14, 16]),
        "converter.bipolar": pick([False, False, True]),
        "converter.offset_v": pick([0.0, u(0.0, 1e-3)]),
        "converter.offset_drift_v_per_k": u(0.0, 5e-6),
        "converter.gain_error_percent": u(0.0, 0.4),
        "converter.gain_drift_ppm_per_k": u(0.0, 40.0),
        "converter.inl_ppm": u(0.0, 500.0),
        "converter.reference_error_percent": u(0.0, 0.2),
        "converter.reference_drift_ppm_per_k": u(0.0, 20.0),
        "converter.reference_life_drift_ppm": pick([0.0, u(0.0, 500.0)]),
        "calibration.kind": pick(["two-point", "two-point", "offset", "none"]),
        "calibration.low_v": top * u(0.3, 0.6),
        "calibration.high_v": top * u(0.65, 1.0),
        "calibration.gain_residual_percent": u(0.0, 0.1),
        "calibration.offset_residual_v": pick([0.0, u(0.0, 1e-4)]),
        "bench.heated": pick(["pulsed", "pulsed", "settled"]),
        "bench.tolerance_k": pick([0.0, u(0.0, 8.0)]),
        "bench.independent_percent": pick([0.0, u(0.0, 0.05)]),
        "bench.readings": pick([1, 16, 64]),
        "conditions.ambient_min_degc": round(u(-40.0, 10.0), 1),
        "conditions.ambient_max_degc": round(u(40.0, 105.0), 1),
        "conditions.calibration_degc": pick([25.0, u(15.0, 40.0)]),
        "conditions.electronics_rise_k": pick([0.0, u(0.0, 20.0)]),
        "voltages_v": [0.7 * top, top],
        "requirement.gain_percent": 10 ** u(-0.2, 0.6),
        "requirement.offset_v": pick([0.0, top * 10 ** u(-4.0, -2.5)]),
        "requirement.form": pick(["sum", "sum", "full-scale", "larger"]),
        "requirement.from_percent": pick([50.0, u(20.0, 90.0)]),
        "requirement.judged_by": pick(["worst-case", "worst-case", "root-sum-square"]),
    } | FEW
    if r.random() < 0.6:
        case["following.load_ohm"] = under * 10 ** u(1.0, 4.0)
    if r.random() < 0.4:
        case["surface.leakage_ohm"] = count * each * 10 ** u(2.0, 4.0)
        case["surface.leakage_path"] = pick(["whole", "element"])
    if r.random() < 0.5:
        case |= {"amplifier.supply_change_v": u(0.0, 0.3), "amplifier.supply_rejection_slow_db": u(60.0, 110.0)}
        case |= {"amplifier.injected_v": pick([0.0, u(0.0, 1e-3)])}
    return case


@check(CURRENT, "current channel: every state", "grid and vertices in numpy", 1.0, *map(random_current, range(COUNT)))
def current_states(given, result):
    yield from compared(CurrentChannel, given, result)


@check(VOLTAGE, "voltage channel: every state", "grid and vertices in numpy", 1.0, *map(random_voltage, range(COUNT)))
def voltage_states(given, result):
    yield from compared(VoltageChannel, given, result)


# --- Designs made to be missed ---------------------------------------------------------------------------------------

HARD_CURRENT = (
    # The hot end of the ambients, whose binary digits do not end where a step of the range does.
    RESCUE
    | {
        "conditions.ambient_min_degc": -40.0,
        "conditions.ambient_max_degc": 40.4,
        "conditions.calibration_degc": -35.0,
        "requirement.gain_percent": 1.807,
        "requirement.from_a": 100.0,
    },
    # The worst calibration temperature lies inside its tolerance: drift and a curve pull against each other.
    RESCUE
    | {
        "bench.tolerance_k": 20.0,
        "shunt.tcr_ppm_per_k": 0.0,
        "shunt.tcr_quadratic_ppm_per_k2": -3.0,
        "conditions.ambient_min_degc": 20.0,
        "conditions.ambient_max_degc": 30.0,
        "requirement.gain_percent": 1.02,
        "requirement.from_a": 300.0,
    },
    # To first order the hot end reads lowest; in fact the vertex of the curve reads highest.
    RESCUE
    | {
        "calibration.kind": "none",
        "shunt.tolerance_percent": 15.0,
        "shunt.tcr_ppm_per_k": -50.0,
        "shunt.tcr_quadratic_ppm_per_k2": -0.86,
        "shunt.life_drift_percent": 0.0,
        "converter.offset_v": 0.0,
        "converter.offset_drift_v_per_k": 0.0,
        "converter.gain_error_percent": 0.0,
        "converter.gain_drift_ppm_per_k": 0.0,
        "converter.reference_error_percent": 3.6,
        "converter.reference_drift_ppm_per_k": 0.0,
        "converter.inl_ppm": 0.0,
        "requirement.gain_percent": 19.1,
        "requirement.from_a": 500.0,
    },
    # A steep curve either way, strong heating of its own, peaks that come again.
    RESCUE | {"shunt.tcr_ppm_per_k": 150.0, "shunt.tcr_quadratic_ppm_per_k2": -3.0, "requirement.gain_percent": 3.0},
    RESCUE
    | {
        "shunt.tcr_ppm_per_k": -1500.0,
        "shunt.tcr_quadratic_ppm_per_k2": -1.0,
        "shunt.thermal_resistance_k_per_w": 20.0,
        "shunt.max_element_degc": 500.0,
        "shunt.zero_power_degc": 500.0,
        "requirement.gain_percent": 45.0,
    },
    RESCUE | {"load.peak_repeat_s": 15.0, "shunt.tcr_ppm_per_k": 300.0, "requirement.gain_percent": 4.0},
    # Two points close together; noise that is one line of the sum.
    RESCUE | {"calibrated_at.low_a": 380.0, "requirement.gain_percent": 20.0},
    RESCUE | {"requirement.noise": "single", "requirement.offset_a": 1.4, "converter.noise_v": 1e-5},
)
HARD_VOLTAGE = (
    PACK | {"calibration.low_v": 750.0, "requirement.gain_percent": 2.0},
    PACK | {"requirement.noise": "single", "converter.noise_v": 1.5e-4},
    PACK | {"upper.rated_power_w": 0.05, "upper.tcr_ppm_per_k": 100.0, "upper.drift_by": "absolute"},
    PACK | {"surface.leakage_ohm": 1e9},
    # One coefficient: what the ambient and the elements' own warmth do to a part adds up.
    PACK
    | {
        "calibration.kind": "none",
        "upper.drift_by": "absolute",
        "upper.tcr_ppm_per_k": 100.0,
        "upper.rated_power_w": 0.1,
        "requirement.judged_by": "root-sum-square",
        "requirement.gain_percent": 1.5,
    },
)


@check(CURRENT, "current channel: designs made to be missed", "grid and vertices in numpy", 1.0, *HARD_CURRENT)
def hard_current(given, result):
    yield from compared(CurrentChannel, given, result)


@check(VOLTAGE, "voltage channel: designs made to be missed", "grid and vertices in numpy", 1.0, *HARD_VOLTAGE)
def hard_voltage(given, result):
    yield from compared(VoltageChannel, given, result)


PULSES = (
    RESCUE,
    RESCUE | {"load.charge_peak_a": 700.0},
    RESCUE | {"load.peak_repeat_s": 15.0},
    RESCUE | {"load.peak_duration_s": 1.0, "load.peak_repeat_s": 1.2, "shunt.heat_capacity_j_per_k": 40.0},
)


@check(CURRENT, "current channel: element after peaks", "Runge-Kutta, period after period", 1e-3, *PULSES)
def after_peaks(given, result):
    hot = CurrentChannel(given).hottest(numpy.array([given["conditions"]["ambient_max_degc"]]))[0]
    yield "after_peak_degc", result["stress"]["after_peak_degc"], hot


UNREADABLE = (
    (CURRENT, RESCUE | {"calibrated_at.high_a": 1500.0}),
    (CURRENT, RESCUE | {"converter.bipolar": False, "load.charge_peak_a": 0.0}),
    (VOLTAGE, PACK | {"calibration.high_v": 1500.0}),
    (VOLTAGE, PACK | {"calibration.low_v": 0.0}),
)


@check(CURRENT, "channels: calibrated where nothing is read", "fails", 1e-9)
def unreadable(given, result):
    start = harness.examples()
    for path, case in UNREADABLE:
        answer = harness.fetch(path, harness.changed(start[path], case))
        rows = {row["id"].split(".")[1]: row["verdict"] for row in answer["requirements"]}
        yield f"{path} with {case}"[:160], float(rows["calibrating-point"] == "fails"), 1.0
        yield f"error of {path} with {case}"[:160], float(rows["error"] == "not-judged"), 1.0
