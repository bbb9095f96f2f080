"""Voltage divider: ratio, tolerance, drift, leakage, bend, filter, noise and drain."""

import math

import numpy
import scipy.constants
import scipy.integrate
import scipy.optimize

from harness import changed, check, examples, fetch, hunt

DIVIDERS = (
    {},
    {"load_ohm": 2e6, "filter_farad": 1e-8, "leakage_ohm": 1e9, "bias_current_a": 1e-7, "upper.drift_by": "absolute"},
    {"upper.count": 3, "upper.resistance_ohm": 1e6, "lower.count": 2, "lower.resistance_ohm": 4700.0, "load_ohm": 1e7},
)


def output(pack, chain, load=math.inf, across=None, source=0.0):
    """The voltage over the last element of a chain from the pack to its negative pole, by solving the node equations.

    `chain` lists the resistances, `across` puts one from node to node (0 is the pack, the last one the negative pole),
    `source` is a current drawn from the output.
    """
    count = len(chain)
    conductance = numpy.zeros((count + 1, count + 1))

    def place(a, b, ohm):
        for row, column, sign in ((a, a, 1), (b, b, 1), (a, b, -1), (b, a, -1)):
            conductance[row, column] += sign / ohm

    for index, ohm in enumerate(chain):
        place(index, index + 1, ohm)
    if math.isfinite(load):
        place(count - 1, count, load)
    if across:
        place(*across)
    drawn = -conductance[1:count, 0] * pack
    drawn[-1] -= source
    return numpy.linalg.solve(conductance[1:count, 1:count], drawn)[-1]


def strings(given, upper=1.0, lower=1.0):
    """The chain of elements with the lower string as one."""
    part = given["upper"]["resistance_ohm"] * upper
    return [part] * given["upper"]["count"] + [given["lower"]["resistance_ohm"] * given["lower"]["count"] * lower]


@check("/api/v1/divider", "divider: ratio, tolerance, drift, leakage", "numpy node equations", 1e-7, *DIVIDERS)
def divider_ratio(given, result):
    load = given.get("load_ohm", math.inf)
    top = given["input_max_v"]
    nominal = output(1.0, strings(given), load)
    yield "ratio", result["ratio"]["ratio"], nominal
    yield "unloaded_ratio", result["ratio"]["unloaded_ratio"], output(1.0, strings(given))
    yield "output_v", result["ratio"]["output_v"], output(top, strings(given), load)
    yield "over_range_v", result["ratio"]["over_range_v"], given["converter_full_scale_v"] / nominal

    def off(upper, lower):
        return (output(1.0, strings(given, 1.0 + upper, 1.0 + lower), load) / nominal - 1.0) * 100.0

    upper, lower = given["upper"]["tolerance_percent"] / 100.0, given["lower"]["tolerance_percent"] / 100.0
    found = result["tolerance"]
    yield "ratio_high_percent", found["ratio_high_percent"], off(-upper, lower)
    yield "ratio_low_percent", abs(found["ratio_low_percent"]), abs(off(upper, -lower))
    tiny = 1e-5
    slopes = [(off(tiny, 0.0) - off(-tiny, 0.0)) / (200.0 * tiny), (off(0.0, tiny) - off(0.0, -tiny)) / (200.0 * tiny)]
    yield "sensitivity_upper", found["sensitivity_upper"], slopes[0], 1e-6
    yield "sensitivity_lower", found["sensitivity_lower"], slopes[1], 1e-6
    worst = abs(slopes[0]) * upper + abs(slopes[1]) * lower
    yield "worst_case_percent", found["worst_case_percent"], worst * 100.0, 1e-6
    distance = abs(given["ambient_degc"] - given["calibration_degc"])
    absolute = abs(slopes[0]) * given["upper"]["tcr_ppm_per_k"] + abs(slopes[1]) * given["lower"]["tcr_ppm_per_k"]
    yield "absolute_percent", result["drift"]["absolute_percent"], absolute * distance * 1e-4, 1e-6

    if "leakage_ohm" in given:
        count, leak = given["upper"]["count"], given["leakage_ohm"]
        for name, across in (
            ("whole", (0, count, leak)),
            ("element", (0, 1, leak)),
            ("lower", (count, count + 1, leak)),
        ):
            change = (output(1.0, strings(given), load, across) / nominal - 1.0) * 100.0
            yield f"leakage.{name}_percent", abs(result["leakage"][f"{name}_percent"]), abs(change), 1e-10
        smallest = result["leakage"]["smallest_ohm"]
        change = (output(1.0, strings(given), load, (0, count, smallest)) / nominal - 1.0) * 100.0
        yield "leakage.smallest_ohm uses the budget", change, given["leakage_budget_percent"]
    if math.isfinite(load):
        change = (nominal / output(1.0, strings(given)) - 1.0) * 100.0
        yield "load.loading_percent", abs(result["load"]["loading_percent"]), abs(change), 1e-10
    bias = output(top, strings(given), load) - output(top, strings(given), load, source=given["bias_current_a"])
    yield "load.bias_output_v", abs(result["load"]["bias_output_v"]), bias, 1e-12
    yield "load.bias_v", abs(result["load"]["bias_v"]), bias / nominal, 1e-9


@check("/api/v1/divider", "divider: bend", "scipy root of the nonlinear chain", 1e-2, *DIVIDERS)
def divider_bend(given, result):
    """The elements change with the voltage on them: solved as it is. The server has the first order,
    which misses some thousandths of the bend itself."""
    upper, lower = given["upper"], given["lower"]
    load = given.get("load_ohm", math.inf)

    def reading(pack):
        def surplus(volt):
            high = (pack - volt) / upper["count"]
            low = volt / lower["count"]
            above = (
                upper["resistance_ohm"] * upper["count"] * (1.0 + upper["voltage_coefficient_ppm_per_v"] * 1e-6 * high)
            )
            below = (
                lower["resistance_ohm"] * lower["count"] * (1.0 + lower["voltage_coefficient_ppm_per_v"] * 1e-6 * low)
            )
            return (pack - volt) / above - volt / below - (volt / load if math.isfinite(load) else 0.0)

        return scipy.optimize.brentq(surplus, 0.0, pack, xtol=1e-15, rtol=1e-15) / output(1.0, strings(given), load)

    found, top = result["bend"], given["input_max_v"]
    yield "at_max_v", found["at_max_v"], reading(top) - top
    low, high = found["calibration_low_v"], found["calibration_high_v"]

    def left(pack):
        """The error after a straight line through the two calibration points has been taken off."""
        slope = (reading(high) - reading(low)) / (high - low)
        return reading(low) + slope * (pack - low) - reading(pack)

    between = max(abs(left(pack)) for pack in numpy.linspace(low, high, 101))
    yield "left_between_v", abs(found["left_between_v"]), between


@check("/api/v1/divider", "divider: filter, noise, drain", "numpy phasors, scipy quad", 1e-6, *DIVIDERS)
def divider_dynamics(given, result):
    load, top = given.get("load_ohm", math.inf), given["input_max_v"]
    chain = strings(given)
    # What a current drawn from the output takes from its voltage.
    source = (output(1.0, chain, load) - output(1.0, chain, load, source=1e-9)) / 1e-9
    yield "source_loaded_ohm", result["dynamics"]["source_loaded_ohm"], source
    if "filter_farad" in given:
        farad, found = given["filter_farad"], result["dynamics"]
        corner = scipy.optimize.brentq(lambda f: abs(1 / (1 + 2j * math.pi * f * source * farad)) - 0.5**0.5, 1e-3, 1e9)
        yield "corner_hz", found["corner_hz"], corner
        yield "ramp_lag_v", found["ramp_lag_v"], given["ramp_v_per_s"] * source * farad
        kelvin = given["ambient_degc"] + scipy.constants.zero_Celsius
        power, _ = scipy.integrate.quad(lambda x: 1 / (1 + x * x), 0, numpy.inf, epsrel=1e-12)
        noise = math.sqrt(4 * scipy.constants.k * kelvin * source * corner * power)
        yield "noise_output_v", found["noise_output_v"], noise
    # The load takes a part of the current through the upper string.
    current = (top - output(top, chain, load)) / sum(chain[:-1]) if math.isfinite(load) else top / sum(chain)
    yield "drain.current_a", result["drain"]["current_a"], current
    yield "drain.power_w", result["drain"]["power_w"], given["strings"] * top * result["drain"]["current_a"]
    charge = given["strings"] * result["drain"]["current_a"] * scipy.constants.Julian_year / scipy.constants.hour
    # Whether a year has 365 days or a quarter more is nothing to argue about.
    yield "drain.charge_ah_per_year", result["drain"]["charge_ah_per_year"], charge, 1e-3 * charge


def nodes(chain, pack, load, leak=None, drawn=0.0):
    """Every node voltage of a chain with what follows across its last resistance, by the node equations: `leak` lies from
    node to node, `drawn` flows into the output from what follows."""
    count = len(chain)
    conductance = numpy.zeros((count + 1, count + 1))
    for a, b, ohm in [
        *((index, index + 1, ohm) for index, ohm in enumerate(chain)),
        *([(count - 1, count, load)] if math.isfinite(load) else []),
        *([leak] if leak else []),
    ]:
        conductance[[a, b], [a, b]] += 1.0 / ohm
        conductance[[a, b], [b, a]] -= 1.0 / ohm
    right = -conductance[1:count, 0] * pack
    right[-1] += drawn
    return numpy.concatenate([[pack], numpy.linalg.solve(conductance[1:count, 1:count], right), [0.0]])


def drawn_divider(random):
    """A string for a pack of 60 to 1000 V, its ratings and its range around what it needs."""
    top = float(random.uniform(60.0, 1000.0))
    count = int(random.integers(1, 9)) if top < 400 else int(random.integers(2, 9))
    ohm = float(10 ** random.uniform(4.5, 6.5))
    scale = float(random.choice([1.0, 2.0, 2.5]))
    lower = count * ohm * scale / top * float(random.uniform(0.9, 1.01))
    on_each = top / count
    case = {
        "input_min_v": top * float(random.uniform(0.0, 0.7)),
        "input_max_v": top,
        "upper.count": count,
        "upper.resistance_ohm": ohm,
        "upper.tolerance_percent": float(random.choice([0.1, 0.5, 1.0, 5.0])),
        "upper.life_drift_percent": float(random.choice([0.0, 0.3, 1.0])),
        "upper.tcr_ppm_per_k": float(random.choice([15.0, 50.0, 100.0])),
        "upper.tcr_tracking_ppm_per_k": float(random.choice([5.0, 10.0, 25.0])),
        "upper.drift_by": str(random.choice(["tracking", "absolute"])),
        "upper.voltage_coefficient_ppm_per_v": float(random.uniform(-20.0, 5.0)),
        "upper.max_working_v": on_each * float(random.uniform(0.9, 2.5)),
        "upper.rated_power_w": max(on_each**2 / ohm * float(random.uniform(0.9, 4.0)), 1e-3),
        "lower.resistance_ohm": max(lower, 1.0),
        "lower.tolerance_percent": float(random.choice([0.1, 1.0])),
        "load_ohm": float(10 ** random.uniform(6.5, 9.0)),
        "bias_current_a": float(10 ** random.uniform(-10.0, -7.5)),
        "leakage_ohm": float(10 ** random.uniform(6.0, 11.0)),
        "leakage_path": str(random.choice(["whole", "element"])),
        "ambient_degc": float(random.uniform(-40.0, 110.0)),
        "converter_full_scale_v": scale,
        "chassis_referenced": True,
        "pack_insulation_ohm": float(10 ** random.uniform(5.5, 8.0)),
        "strings": int(random.integers(1, 5)),
        "insulation_requirement_ohm_per_v": float(random.choice([100.0, 500.0])),
    }
    if random.random() < 0.5:
        case["transient_v"] = top * float(random.uniform(1.0, 1.5))
    return case if random.random() < 0.3 else just_enough(random, case)


def just_enough(random, case):
    """The same with ratings a ten-thousandth above what is told of one of the stresses, by voltage or by power."""
    kinds = ["unequal", "lower"] + ["one-short"] * (case["upper.count"] > 1)
    kind, by_power = str(random.choice(kinds)), bool(random.random() < 0.6)
    part = "lower" if kind == "lower" else "upper"
    case |= {f"{part}.max_working_v": 1e5, f"{part}.rated_power_w": 1e3, "ambient_degc": min(case["ambient_degc"], 65.0)}
    # An element that may lose more is less warm.
    for _ in range(12):
        ladder = fetch("/api/v1/divider", changed(examples()["/api/v1/divider"], case))["result"]["stress"]["ladder"]
        (row,) = (row for row in ladder if row["id"] == kind)
        if not by_power:
            case[f"{part}.max_working_v"] = max(row["element_v"] * (1.0 + 1e-4), 1.0 if part == "upper" else 0.01)
            break
        case[f"{part}.rated_power_w"] = max(row["power_w"] * (1.0 + 1e-4), 1e-3)
    return case


@hunt("/api/v1/divider", "divider: no corner is worse", "numpy node equations at random corners", drawn_divider)
def divider_corners(given, result, random):
    upper, lower, top = given["upper"], given["lower"], given["input_max_v"]
    count, load = upper["count"], given["load_ohm"]
    leak_ends = (0, count if given["leakage_path"] == "whole" else 1)

    def derated(part):
        line = numpy.interp(given["ambient_degc"], [part["derate_from_degc"], part["zero_power_degc"]], [1.0, 0.0])
        return part["rated_power_w"] * line

    def stress(part, volt, ohm):
        allowed = derated(part)
        by_power = math.sqrt(volt**2 / ohm / allowed) if allowed > 0.0 else math.inf
        return max(volt / part["max_working_v"], by_power)

    def sign():
        return float(random.choice([-1.0, 1.0]))

    heat = [(part["zero_power_degc"] - part["derate_from_degc"]) / part["rated_power_w"] for part in (upper, lower)]
    per_volt = upper["voltage_coefficient_ppm_per_v"] * 1e-6, lower["voltage_coefficient_ppm_per_v"] * 1e-6

    def stressed(ohm, foot, signs, below, trial):
        """Parts drift apart as their tolerance goes, and together; each is moved by its own heat and voltage; what follows is at
        an end, a leakage is there or not, the bias current runs either way. Gives voltages and resistances of the elements."""
        away = given["ambient_degc"] - given["calibration_degc"]
        load_sign, leaks, shared, bias = sign(), random.random() < 0.7, sign(), sign()
        if trial < 32:
            load_sign, shared, leaks, bias = below, 1.0 if trial & 4 else -1.0, bool(trial & 8), below
            load_sign = -load_sign if trial & 16 else load_sign
        if upper["drift_by"] == "tracking":
            half = 0.5 * upper["tcr_tracking_ppm_per_k"]
            bound = min(max(part["tcr_ppm_per_k"] - half, 0.0) for part in (upper, lower))
            slopes = [shared * bound * away + signs * min(half, upper["tcr_ppm_per_k"]) * abs(away),
                      shared * bound * away + below * min(half, lower["tcr_ppm_per_k"]) * abs(away)]
        else:
            slopes = [signs * upper["tcr_ppm_per_k"] * abs(away), below * lower["tcr_ppm_per_k"] * abs(away)]
        slopes = [one * 1e-6 for one in slopes]
        own = [shared * part["tcr_ppm_per_k"] * 1e-6 for part in (upper, lower)]
        follows = load * (1.0 + load_sign * given["load_tolerance_percent"] / 100.0)
        leak = (*leak_ends, given["leakage_ohm"]) if leaks else None

        def settled(left, volt):
            left = list(left)
            start = numpy.append(ohm[left] * (1.0 + slopes[0][left]), foot * (1.0 + slopes[1]) * lower["count"])
            # The leakage over one element lies beside the first of the chain: the one that is high comes last.
            chain = numpy.append(start[:-1][::-1], start[-1])
            ends = leak and (0, 1 if leak[1] == 1 else len(left), leak[2])
            now = chain
            for _ in range(4):
                at = nodes(now, volt, follows, ends, bias * given["bias_current_a"])
                drops = at[:-1] - at[1:]
                drops[-1] /= lower["count"]
                part = numpy.append(now[:-1], now[-1] / lower["count"])
                tcr = numpy.append(numpy.full(len(left), own[0]), own[1])
                k_per_w = numpy.append(numpy.full(len(left), heat[0]), heat[1])
                bend = numpy.append(numpy.full(len(left), per_volt[0]), per_volt[1])
                now = chain * (1.0 + tcr * k_per_w * drops**2 / part) * (1.0 + bend * drops)
            part = numpy.append(now[:-1], now[-1] / lower["count"])
            pairs = list(zip(drops, part))
            return pairs[:-1], pairs[-1]

        return settled

    worst = dict.fromkeys(("unequal", "one-short", "surge", "lower", "range", "insulation", "leakage"), 0.0)
    distance = abs(given["ambient_degc"] - given["calibration_degc"])
    nominal = nodes(strings(given), 1.0, load)[-2]
    for trial in range(200):
        # Every element at an end of its tolerance and its drift; the first trials are the structured ones.
        signs = numpy.array([sign() for _ in range(count)])
        below = sign()
        if trial < 32:
            signs = numpy.full(count, 1.0 if trial % 4 in (0, 3) else -1.0)
            signs[0] = 1.0 if trial % 4 < 2 else signs[0]
            below = [-1.0, 1.0, 1.0, -1.0][trial % 4]
        new = 1.0 + signs * upper["tolerance_percent"] / 100.0
        aged = new * (1.0 + signs * upper["life_drift_percent"] / 100.0)
        ohm = upper["resistance_ohm"] * aged
        foot = lower["resistance_ohm"] * (1.0 + below * lower["tolerance_percent"] / 100.0)
        foot *= 1.0 + below * lower["life_drift_percent"] / 100.0
        # What follows sits across the whole lower string, which is one resistance to the nodes above it.
        at = nodes([*ohm, foot * lower["count"]], top, load)
        drops = at[:-1] - at[1:]
        settled = stressed(ohm, foot, signs, below, trial)
        worst["unequal"] = max(worst["unequal"], *(stress(upper, v, r) for v, r in settled(range(count), top)[0]))
        worst["lower"] = max(worst["lower"], stress(lower, *settled(range(count), top)[1]))
        if count > 1:
            short = int(random.integers(count)) if trial >= 32 else count - 1
            left = [index for index in range(count) if index != short]
            worst["one-short"] = max(worst["one-short"], *(stress(upper, v, r) for v, r in settled(left, top)[0]))
        if "transient_v" in given:
            limit = upper.get("overload_v", upper["max_working_v"])
            on_each = [v for v, _ in settled(range(count), given["transient_v"])[0]]
            worst["surge"] = max(worst["surge"], max(on_each) / limit)
        strung = (sum(ohm) + 1.0 / (1.0 / (foot * lower["count"]) + 1.0 / load)) / given["strings"]
        together = 1.0 / (1.0 / strung + 1.0 / given["pack_insulation_ohm"])
        worst["insulation"] = max(worst["insulation"], given["insulation_requirement_ohm_per_v"] * top / together)

        # The reading: temperature, own heat and voltage on top, leakage there or not.
        if upper["drift_by"] == "tracking":
            slope_up = sign() * upper["tcr_ppm_per_k"] * 1e-6
            apart = upper["tcr_tracking_ppm_per_k"] * 1e-6
            bound = lower["tcr_ppm_per_k"] * 1e-6
            slope_low = float(numpy.clip(slope_up + sign() * apart, -bound, bound))
        else:
            slope_up, slope_low = sign() * upper["tcr_ppm_per_k"] * 1e-6, sign() * lower["tcr_ppm_per_k"] * 1e-6
        if trial < 4:
            together = -1.0 if upper["drift_by"] == "tracking" else 1.0
            slope_up, slope_low = -abs(slope_up), together * abs(slope_low)
        away = math.copysign(distance, given["ambient_degc"] - given["calibration_degc"])
        hot = ohm * (1.0 + slope_up * away)
        hot = hot * (1.0 + slope_up * heat[0] * drops[:count] ** 2 / ohm) * (1.0 + per_volt[0] * drops[:count])
        each = drops[-1] / lower["count"]
        low = foot * (1.0 + slope_low * away) * (1.0 + slope_low * heat[1] * each**2 / foot)
        low *= 1.0 + per_volt[1] * each
        follows = load * (1.0 + sign() * given["load_tolerance_percent"] / 100.0)
        leak = (*leak_ends, given["leakage_ohm"]) if random.random() < 0.7 else None
        reading = nodes([*hot, low * lower["count"]], top, follows, leak, given["bias_current_a"])[-2]
        worst["range"] = max(worst["range"], reading / given["converter_full_scale_v"])
    leaking = nodes(strings(given), 1.0, load, (*leak_ends, given["leakage_ohm"]))[-2]
    worst["leakage"] = (leaking / nominal - 1.0) * 100.0 / given["leakage_budget_percent"]
    for name, share in worst.items():
        if (name == "surge" and "transient_v" not in given) or (name == "one-short" and count == 1):
            continue
        stressed = name in ("unequal", "one-short", "surge", "lower")
        yield (f"divider.stress-{name}" if stressed else f"divider.{name}"), 0, share

    # A check that is said to see a fault sees it at every voltage, with leakage there or not.
    part = lower["resistance_ohm"] * lower["count"]
    for row in result["faults"]:
        if row["id"] != "upper-open":
            continue
        for _ in range(50):
            pack = float(random.uniform(given["input_min_v"], top))
            leak = given["leakage_ohm"] * float(10 ** random.uniform(0.0, 6.0))
            rest = 0.0 if given["leakage_path"] == "whole" else upper["resistance_ohm"] * (count - 1)
            foot = 1.0 / (1.0 / part + 1.0 / load)
            reads = (pack * foot / (leak + rest + foot) + given["bias_current_a"] * foot) / nominal
            inside = given["input_min_v"] <= reads <= given["converter_full_scale_v"] / nominal
            agrees = abs(reads - pack) <= given["comparison_error_percent"] / 100.0 * pack
            yield None, 0, math.inf if row["seen_by_range"] and inside else 0.0
            yield None, 0, math.inf if row["seen_by_comparison"] and agrees else 0.0


@check("/api/v1/divider", "divider: open element", "numpy node equations", 1e-6, {"leakage_ohm": 5e6}, *DIVIDERS[1:2])
def divider_open(given, result):
    (row,) = (row for row in result["faults"] if row["id"] == "upper-open")
    chain, load = strings(given), given.get("load_ohm", math.inf)
    leak, whole = given["leakage_ohm"], given["leakage_path"] == "whole"
    opened = [1e18, *chain[1:]]
    ends = (0, given["upper"]["count"] if whole else 1, leak)
    reads = nodes(opened, given["input_max_v"], load, ends, given["bias_current_a"])[-2]
    yield "output_v", row["output_v"], reads
    # Without the leakage the open element takes all of the voltage that the bias current leaves.
    yield "gap_v", row["gap_v"], given["input_max_v"], 1e-9
