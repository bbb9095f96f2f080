"""Pre-charge: how hot the resistor becomes, from the differential equations of link and body, series after series.

C dv/dt = (V - v)/R - v/Rb - i(v) and Cth dT/dt = (V - v)^2/R - T/Rth over a grid of pack voltages and resistances; attempt
follows attempt until nothing changes. A load that pulls the link back to where it wakes holds it there. The limit lies a ten-
thousandth of the rise above what is told.
"""

import numpy

from harness import changed, check, examples, fetch, hunt

PATH, PLACES, STEPS, SERIES, ROOM = "/api/v1/precharge", 15, 1500, 250, 1e-4


def net(given, state, v, awake):
    """What charges the link, A."""
    load, kind = given["load"], given["load"]["kind"]
    ohm = load["resistance_ohm"] if kind == "resistive" else load.get("bleeder_ohm", numpy.inf)
    drawn = load["current_a"] if kind == "constant-current" else 0.0
    drawn = drawn + (load["power_w"] / numpy.maximum(v, 1e-6) if kind == "constant-power" else 0.0)
    return (state["pack"] - v) / state["ohm"] - v / ohm - numpy.where(awake, drawn, 0.0)


def closes_v(given, pack):
    """The link voltage at which the readings close whatever their errors."""
    off = {name: given[f"{name}_error_percent"] / 100.0 * given["pack_v"] for name in ("link", "pack")}
    read = pack + off["pack"]
    away = given.get("closing_difference_v")
    return (read - away if away else given["target_percent"] / 100.0 * read) + off["link"]


def rises(given, state):
    """Length of the attempt, what it has warmed a cold body by at its end, and at each step."""
    resistor, pack, ohm = given["resistor"], state["pack"], state["ohm"]
    wakes = given["load"]["enable_v"] if given["load"]["kind"].startswith("constant") else 0.0
    heat, tau = resistor["heat_j_per_k"], resistor["heat_j_per_k"] * resistor["k_per_w"]
    h, target = given["max_time_s"] / STEPS, closes_v(given, pack)
    v, rise = state["start"], numpy.zeros(pack.size)
    length = numpy.where(v >= target, 0.0, numpy.inf)
    held, end, warm = numpy.zeros(pack.size, bool), rise, [rise]

    def slopes(u, warmth, on):
        flows = numpy.where(held, 0.0, net(given, state, u, u >= wakes) / given["capacitance_farad"])
        return flows, numpy.where(on, (pack - u) ** 2 / ohm, 0.0) / heat - warmth / tau

    for step in range(1, STEPS + 1):
        on = numpy.isinf(length)
        held = held | ((v >= wakes) & (v <= wakes * (1.0 + 1e-12)) & (net(given, state, v, True) < 0.0))
        v1, r1 = slopes(v, rise, on)
        v2, r2 = slopes(v + 0.5 * h * v1, rise + 0.5 * h * r1, on)
        v3, r3 = slopes(v + 0.5 * h * v2, rise + 0.5 * h * r2, on)
        v4, r4 = slopes(v + h * v3, rise + h * r3, on)
        new, hotter = v + h / 6.0 * (v1 + 2.0 * v2 + 2.0 * v3 + v4), rise + h / 6.0 * (r1 + 2.0 * r2 + 2.0 * r3 + r4)
        # Awake it does not fall asleep again: there the load would not pull.
        pulled = (v >= wakes) & (new < wakes)
        held, new = held | pulled, numpy.where(pulled, wakes, new)
        over = on & (new >= target)
        part = numpy.where(over, (target - v) / numpy.where(over, new - v, 1.0), 1.0)
        rise = rise + part * (hotter - rise)
        length, end = numpy.where(over, (step - 1.0 + part) * h, length), numpy.where(on, rise, end)
        v, rise = new, rise * numpy.exp(-(1.0 - part) * h / tau)
        warm.append(rise)
    return numpy.minimum(length, given["max_time_s"]), end, numpy.array(warm)


def hottest_k(given, state):
    """The highest rise of each state, series after series: followed until each begins as warm as the one before."""
    resistor, last_s = given["resistor"], given["max_time_s"]
    tau = resistor["heat_j_per_k"] * resistor["k_per_w"]
    length, end, warm = rises(given, state)
    fades = numpy.exp(-numpy.linspace(0.0, last_s, STEPS + 1) / tau)[:, None]
    paused = length + resistor["cool_down_s"] if resistor["cool_down_s"] > 0.0 else resistor["repeat_s"]
    start = most = numpy.zeros(length.size)
    for _ in range(SERIES):
        most = numpy.zeros(length.size)
        for attempt in range(resistor["retries"] + 1):
            most = numpy.maximum(most, start)
            apart = paused if attempt == resistor["retries"] else resistor["repeat_s"]
            start = (start * fades[-1] + warm[-1]) * numpy.exp(-(apart - last_s) / tau)
    return numpy.maximum((most * fades + warm).max(axis=0), most * numpy.exp(-length / tau) + end)


def begins(given):
    """Where the link may stand at the begin of an attempt: what draws takes it down before a later one."""
    load = given["load"]
    draws = load["kind"] != "none" or "bleeder_ohm" in load
    return numpy.unique([given["start_v"], 0.0 if draws and given["resistor"]["retries"] else given["start_v"]])


def grid(given):
    share = given["resistor"]["tolerance_percent"] / 100.0
    pack, ohm, start = numpy.meshgrid(
        numpy.linspace(given["pack_min_v"], given["pack_v"], PLACES),
        given["resistance_ohm"] * numpy.linspace(1.0 - share, 1.0 + share, PLACES),
        begins(given),
    )
    return {"pack": pack.ravel(), "ohm": ohm.ravel(), "start": start.ravel()}


def draw(random):
    """A load that the resistor just feeds, or just does not; a body that is quicker or slower than an attempt."""
    u, pack = random.uniform, random.uniform(48.0, 1000.0)
    low, ohm, farad = pack * u(0.5, 1.0), 10.0 ** u(0.7, 2.5), 10.0 ** u(-4.3, -2.0)
    last_s = ohm * farad * (u(3.0, 12.0) if u() < 0.2 else u(0.3, 3.0))
    case = {"pack_v": pack, "pack_min_v": low, "start_v": u(0.0, 0.9) * low if u() < 0.3 else 0.0}
    case |= {"capacitance_farad": farad, "resistance_ohm": ohm, "target_percent": u(60.0, 99.0), "waits_above": False}
    case |= {"max_time_s": last_s, "link_error_percent": u(0.0, 3.0), "pack_error_percent": u(0.0, 3.0)}
    if u() < 0.3:
        case["closing_difference_v"] = pack * u(0.05, 0.3)
    kind = str(random.choice(["resistive", "constant-current", "constant-power"]))
    case |= {"load.kind": kind, "load.resistance_ohm": ohm * 10.0 ** u(-0.7, 1.3), "load.bleeder_ohm": ohm * 10.0 ** u(0.5, 3.0)}
    wakes = u(0.1, 0.9) * low
    amps = (u(low, pack) - wakes) / ohm * u(0.8, 1.1)
    case |= {"load.enable_v": wakes, "load.current_a": amps, "load.power_w": amps * wakes}
    tau, repeat = last_s * 10.0 ** u(-0.7, 0.8), last_s * 10.0 ** u(0.02, 2.0)
    heat = farad * pack * pack / u(10.0, 120.0)
    case |= {"resistor.tolerance_percent": float(random.choice([5.0, 30.0])), "resistor.ambient_degc": 40.0}
    case |= {"resistor.heat_j_per_k": heat, "resistor.k_per_w": tau / heat, "resistor.repeat_s": repeat, "resistor.limit_degc": 1000.0}
    case |= {"resistor.retries": int(random.integers(0, 5)), "resistor.cool_down_s": 0.0 if u() < 0.5 else repeat * u(1.0, 10.0)}
    told = fetch(PATH, changed(examples()[PATH], case))["result"]["repeated"]["body_degc"]
    return case | {"resistor.limit_degc": min(40.0 + max((told - 40.0) * (1.0 + ROOM), 1.0), 1000.0)}


@hunt(PATH, "pre-charge: how hot the resistor becomes", "Runge-Kutta over a grid of states", draw)
def heat_hunt(given, _result, _random):
    resistor = given["resistor"]
    yield "precharge.temperature", 0, hottest_k(given, grid(given)).max() / (resistor["limit_degc"] - resistor["ambient_degc"])


# Designs whose hottest state lies inside the pack voltages and inside the tolerance, apart from that with most energy: link and
# body, pack voltage and resistance of the hottest state.
INSIDE = (
    (
        {"pack_v": 445.3, "pack_min_v": 284.6, "capacitance_farad": 0.00157, "resistance_ohm": 137.0, "target_percent": 74.7}
        | {"max_time_s": 2.18, "link_error_percent": 1.55, "pack_error_percent": 0.56, "closing_difference_v": 34.2}
        | {"load.kind": "constant-power", "load.bleeder_ohm": 3800.0, "load.enable_v": 220.91, "load.power_w": 171.024}
        | {"resistor.tolerance_percent": 4.0, "resistor.heat_j_per_k": 10.9, "resistor.k_per_w": 0.416}
        | {"resistor.retries": 4, "resistor.repeat_s": 8.87, "resistor.cool_down_s": 0.0},
        (339.502, 142.48),
    ),
    (
        {"pack_v": 516.2, "pack_min_v": 452.3, "capacitance_farad": 0.000152, "resistance_ohm": 64.0, "target_percent": 70.6}
        | {"max_time_s": 0.0118, "link_error_percent": 0.17, "pack_error_percent": 0.96}
        | {"load.kind": "constant-current", "load.enable_v": 0.0, "load.current_a": 6.0649}
        | {"resistor.tolerance_percent": 30.0, "resistor.heat_j_per_k": 1.06, "resistor.k_per_w": 0.00577}
        | {"resistor.retries": 4, "resistor.repeat_s": 0.1108, "resistor.cool_down_s": 0.316},
        (516.2, 69.977),
    ),
    (
        {"pack_v": 647.2, "pack_min_v": 330.0, "start_v": 240.8, "capacitance_farad": 0.00224, "resistance_ohm": 241.0}
        | {"target_percent": 71.5, "max_time_s": 1.48, "link_error_percent": 0.23, "pack_error_percent": 2.49}
        | {"load.kind": "resistive", "load.resistance_ohm": 223.0}
        | {"resistor.tolerance_percent": 30.0, "resistor.heat_j_per_k": 8.76, "resistor.k_per_w": 0.0994}
        | {"resistor.retries": 0, "resistor.repeat_s": 11.83, "resistor.cool_down_s": 0.0},
        (647.2, 187.571),
    ),
)


@check(PATH, "pre-charge: the hottest state lies inside", "Runge-Kutta at that state", 5e-4)
def inside(_given, _result):
    for case, (pack, ohm) in INSIDE:
        case = case | {"waits_above": False, "resistor.ambient_degc": 40.0}
        answer = fetch(PATH, changed(examples()[PATH], case))
        start = begins(answer["input"])
        state = {"pack": numpy.full(start.size, pack), "ohm": numpy.full(start.size, ohm), "start": start}
        own = hottest_k(answer["input"], state).max()
        yield f"rise of {case['pack_v']} V", answer["result"]["repeated"]["body_degc"] - 40.0, own
