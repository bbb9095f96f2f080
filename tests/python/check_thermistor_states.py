"""Verdicts of the temperature channel against a search for the part and the state that break them.

THERMISTOR_DESIGNS sets how many random designs are tried.
"""

import os

import numpy
from harness import changed, check, examples, fetch
from thermistor_states import Channel, largest, root_sum_square

COUNT = int(os.environ.get("THERMISTOR_DESIGNS", "12"))
PATH = "/api/v1/thermistor"


def design(dice):
    """A design as an engineer might have it, everything in play."""
    pick = lambda *options: options[dice.integers(len(options))]
    upto = lambda most: 0.0 if dice.random() < 0.3 else float(most * dice.random())
    decades = lambda low, high: float(low * (high / low) ** dice.random())
    curve = pick("beta", "beta", "steinhart-hart", "platinum")
    low = float(dice.uniform(-40, 5))
    case = {
        "curve": curve,
        "min_degc": low,
        "max_degc": float(dice.uniform(max(low, 0.0) + 40, 130)),
        "points_degc": [25.0],
        "electronics_span_k": upto(60),
        "ageing.sensor_percent": upto(1 if curve != "platinum" else 0.2),
        "ageing.part_percent": upto(0.5),
        "ageing.reference_percent": upto(0.3),
        "wiring.lead_ohm": upto(3 if curve != "platinum" else 0.5),
        "body.dissipation_w_per_k": decades(1e-3, 1e-2),
        "body.duty_percent": pick(100.0, 100.0, 10.0, 0.0),
        "body.time_constant_s": decades(3, 40),
        "body.ramp_k_per_s": decades(0.005, 0.2),
        "cell.heat_flow_w": upto(3),
        "requirement.with_lag_and_gradient": pick(True, False),
        "requirement.judged_by": pick("worst-case", "worst-case", "root-sum-square"),
        "experiment.trials": 1000,
    }
    if dice.random() < 0.4:
        case |= {"electronics_min_degc": float(dice.uniform(-40, 20)), "electronics_max_degc": float(dice.uniform(30, 100))}
    if dice.random() < 0.5:
        case["wiring.leakage_ohm"] = decades(2e5, 1e8)
    if dice.random() < 0.4:
        case["requirement.from_degc"] = float(dice.uniform(low, 10))
    if dice.random() < 0.4:
        case["requirement.to_degc"] = float(dice.uniform(30, case["max_degc"]))
    if curve == "beta":
        case |= {"beta.r25_ohm": pick(5e3, 1e4, 1e5), "beta.beta_k": float(dice.uniform(3300, 4300))}
        case |= {"beta.r25_tolerance_percent": upto(3), "beta.beta_tolerance_percent": upto(2), "beta.curve_k": upto(0.5)}
    elif curve == "steinhart-hart":
        case |= {"steinhart_hart.tolerance_percent": upto(3), "steinhart_hart.tolerance_k": upto(0.3)}
        if dice.random() < 0.5:
            case |= {"steinhart_hart.a": 1.00925e-3, "steinhart_hart.b": 2.3784e-4, "steinhart_hart.c": 2.0192e-7}
    else:
        case |= {"platinum.nominal": pick("pt100", "pt1000"), "platinum.class": pick("b", "c")}
    ohm = case.get("beta.r25_ohm", 1e4)
    if curve == "platinum":
        ohm = {"pt100": 100.0, "pt1000": 1000.0}[case["platinum.nominal"]]
    read_out = pick("divider", "divider", "oscillator", "current")
    case["read_out"] = read_out
    if read_out == "divider":
        supply = pick(3.3, 5.0)
        case |= {"divider.fixed_ohm": ohm * decades(0.3, 3), "divider.fixed_tolerance_percent": upto(1), "divider.supply_v": supply}
        case |= {"divider.fixed_tcr_ppm_per_k": upto(100), "divider.side": pick("low", "high"), "divider.ratiometric": pick(True, True, False)}
        case |= {"divider.reference_error_percent": upto(0.5), "converter.full_scale_v": supply * float(dice.uniform(0.97, 1.2))}
        case |= {"converter.bits": int(dice.integers(12, 17))}
    elif read_out == "current":
        case |= {"current.current_a": pick(5e-5, 1e-4) if curve != "platinum" else pick(5e-4, 1e-3), "current.error_percent": upto(0.5)}
        top = 1.6 if curve == "platinum" else pick(12.0, 60.0)
        case |= {"converter.full_scale_v": min(60.0, case["current.current_a"] * ohm * top), "current.drift_ppm_per_k": upto(50)}
        case |= {"converter.bits": int(dice.integers(14, 20))}
    else:
        case |= {"oscillator.capacitance_farad": 1e-4 / ohm, "oscillator.capacitance_tolerance_percent": upto(5)}
        case |= {"oscillator.comparator_delay_s": upto(2e-6), "oscillator.delay_corrected": pick(True, False)}
        case |= {"oscillator.counting": pick("gated", "reciprocal"), "oscillator.gate_s": pick(0.1, 1.0), "oscillator.clock_hz": 1e7}
        if dice.random() < 0.5:
            case |= {"oscillator.reference_ohm": ohm, "oscillator.reference_tolerance_percent": upto(0.5)}
    if read_out != "oscillator":
        case |= {"converter.inl_lsb": upto(4), "converter.offset_v": upto(5e-4), "converter.gain_error_percent": upto(0.1)}
    return case


def ends(label, channel, said, dice):
    """Between the ends that are told no part is full, a hair outside one is."""
    whole = channel.whole()
    low, high = whole.range
    cold, hot = said.get("full_below_degc"), said.get("full_from_degc")
    if cold is None and hot is None:
        return
    hair = 1e-3 * (high - low)
    whole.range = cold + hair if cold is not None else low, hot - hair if hot is not None else high
    if whole.range[0] < whole.range[1]:
        inside, _ = largest(whole.reached, whole.axes, dice)
        yield f"{label}: full inside {whole.range}", max(inside, 1.0), 1.0, 1e-9
    for outside in ([cold - 2.0 * hair, cold - hair] if cold is not None else None, [hot + hair, hot + 2.0 * hair] if hot is not None else None):
        if outside and low <= outside[0] and outside[1] <= high:
            whole.range = outside
            beyond, _ = largest(whole.reached, whole.axes, dice)
            yield f"{label}: not full outside {outside}", min(beyond, 1.0), 1.0, 1e-9


@check(PATH, "temperature channel, every state", "search over random parts", 1e-6)
def verdicts(given, result):
    example = examples()[PATH]
    seen = {"holds": 0, "fails": 0, "full": 0}
    for number in range(COUNT):
        dice = numpy.random.default_rng(number)
        case = design(dice)
        channel = Channel(changed(example, case))
        nearness, _ = largest(channel.whole().reached, channel.axes, dice)
        by = case["requirement.judged_by"]
        full = nearness >= 1.0
        worst = largest(channel.size, channel.axes, dice)[0] if by == "worst-case" else root_sum_square(channel)
        # Near the limit a verdict is most easily wrong.
        case["requirement.allowed_k"] = float(numpy.clip(worst * dice.uniform(0.85, 1.3), 1e-3, 99.0))
        answer = fetch(PATH, changed(example, case))
        rows = {row["id"]: row for row in answer["requirements"]}
        error, codes = rows["thermistor.error"], rows["thermistor.saturates"]
        label = f"design {number}, {case['curve']}, {case['read_out']}, {by}"
        # A part that the search finds full must fail the range; a range that fails must have such a part.
        if abs(nearness - 1.0) > 1e-5:
            yield f"{label}: {codes['verdict']}, codes reach {nearness}", float(codes["verdict"] == "fails"), float(full), 0.5
        if codes["verdict"] == "fails":
            seen["full"] += 1
            yield from ends(label, channel, answer["result"]["range"], dice)
            continue
        seen[error["verdict"]] = seen.get(error["verdict"], 0) + 1
        achieved = error["achieved"]
        yield f"{label}: worse than said", max(worst / achieved, 1.0), 1.0, 1e-6 if by == "worst-case" else 1e-3
        yield f"{label}: largest error", worst, achieved, 0.02 * achieved
        if error["verdict"] in ("holds", "thin"):
            yield f"{label}: holds", max(worst / case["requirement.allowed_k"], 1.0), 1.0, 1e-6 if by == "worst-case" else 1e-3
        elif error["verdict"] == "fails":
            yield f"{label}: fails", min(worst / case["requirement.allowed_k"], 1.0), 1.0, 0.02
    if COUNT >= 12:
        for verdict in ("holds", "fails", "full"):
            yield f"some design is {verdict}", float(seen[verdict] + (seen.get("thin", 0) if verdict == "holds" else 0) > 0), 1.0, 0.5
