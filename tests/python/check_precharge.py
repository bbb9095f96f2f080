"""Pre-charge, discharge and balancing: differential equations integrated as they stand."""

import math

import numpy
from scipy.integrate import quad, solve_ivp
from scipy.optimize import minimize_scalar

from harness import check

LOADS = (
    {"load.kind": "none"},
    {},
    {"load.resistance_ohm": 1500.0, "start_v": 100.0},
    {"load.resistance_ohm": 500.0},
    {"load.kind": "constant-current", "load.current_a": 0.4},
    {"load.kind": "constant-current", "load.current_a": 0.4, "load.enable_v": 300.0},
    {"load.kind": "constant-current", "load.current_a": 3.0, "load.enable_v": 300.0},
    {"load.kind": "constant-power", "load.power_w": 500.0, "load.enable_v": 450.0},
    {"load.kind": "constant-power", "load.power_w": 1500.0, "load.enable_v": 450.0},
    {"load.kind": "constant-power", "load.power_w": 540.0, "load.enable_v": 200.0, "start_v": 250.0},
    {"load.kind": "constant-power", "load.power_w": 4000.0, "start_v": 500.0},
    {"load.kind": "constant-power", "load.power_w": 1500.0, "start_v": 800.0, "target_percent": 99.0},
    # At the collapse and just above it, falling: both equilibria in one place, then none.
    {"load.kind": "constant-power", "load.power_w": 831.6**2 / 240.0, "start_v": 700.0, "load.enable_v": 200.0},
    {"load.kind": "constant-power", "load.power_w": 831.6**2 / 239.9, "start_v": 700.0, "load.enable_v": 200.0},
)


def drawn(load, v):
    """What an awake load takes."""
    return {
        "none": 0.0,
        "resistive": v / load["resistance_ohm"],
        "constant-current": load["current_a"],
        "constant-power": load["power_w"] / max(v, 1e-9),
    }[load["kind"]]


def course(given, until):
    """Link voltage and energy in the resistor over time; the load sleeps below its wake-up voltage."""
    pack, ohm, farad, load = given["pack_v"], given["resistance_ohm"], given["capacitance_farad"], given["load"]
    wakes = load["enable_v"] if load["kind"].startswith("constant") else 0.0

    def slope(awake):
        def derivative(_, state):
            v = state[0]
            return [((pack - v) / ohm - (drawn(load, v) if awake else 0.0)) / farad, (pack - v) ** 2 / ohm]

        return derivative

    def crossing(direction, level):
        def event(_, state):
            return state[0] - level

        event.terminal, event.direction = True, direction
        return event

    tight = {"method": "DOP853", "rtol": 1e-11, "atol": 1e-10, "dense_output": True}
    pieces, t, state = [], 0.0, [given["start_v"], 0.0]
    if state[0] < wakes:
        asleep = solve_ivp(slope(False), (t, until), state, events=crossing(1, wakes), **tight)
        pieces.append((t, asleep.t[-1], asleep.sol))
        t, state = asleep.t[-1], [wakes if asleep.status == 1 else asleep.y[0, -1], asleep.y[1, -1]]
    if t < until:
        if state[0] == wakes > 0.0 and slope(True)(t, state)[0] < 0.0:
            loss = (pack - wakes) ** 2 / ohm
            begin, spent = t, state[1]
            pieces.append((t, until, lambda at: numpy.array([wakes, spent + loss * (at - begin)])))
        else:
            floor = max(wakes, 1e-3)
            awake = solve_ivp(slope(True), (t, until), state, events=crossing(-1, floor), **tight)
            pieces.append((t, awake.t[-1], awake.sol))
            if awake.status == 1:
                begin, spent, held = awake.t[-1], awake.y[1, -1], wakes
                loss = (pack - held) ** 2 / ohm
                pieces.append((begin, until, lambda at: numpy.array([held, spent + loss * (at - begin)])))

    def at(time):
        for begin, end, solution in pieces:
            if begin <= time <= end:
                return solution(time)
        raise AssertionError(f"{time} is not integrated")

    return at


@check("/api/v1/precharge", "pre-charge: course with every load", "scipy DOP853", 1e-7, *LOADS)
def precharge_course(given, result):
    charge, pack = result["charge"], given["pack_v"]
    end = max(result["curve"][-1]["time_s"], given["max_time_s"], charge.get("time_s", 0.0))
    link = course(given, end)
    if charge["reaches"]:
        # A voltage that is met to the last digits, at a time that is worked out otherwise.
        yield "time_s meets the target", link(charge["time_s"])[0], max(charge["target_v"], given["start_v"])
    else:
        highest = max(link(t)[0] for t in numpy.linspace(end / 200, end, 200))
        yield "never at the target", float(highest < charge["target_v"]), 1.0
    until = min(charge.get("time_s", given["max_time_s"]), given["max_time_s"])
    yield "energy_j", charge["energy_j"], link(until)[1], 1e-6 + 1e-7 * abs(link(until)[1])
    yield "time_out_v", charge["time_out_v"], link(given["max_time_s"])[0], 2e-5
    for point in result["curve"][1::7]:
        v, energy = link(point["time_s"])
        label = f"at {point['time_s']}"
        yield label + " link_v", point["link_v"], v, 2e-5
        yield label + " current_a", point["current_a"], (pack - v) / given["resistance_ohm"], 1e-6
        yield label + " energy_j", point["energy_j"], energy, 1e-6 + 1e-7 * energy


@check(
    "/api/v1/precharge",
    "pre-charge: inrush of R, L, C",
    "scipy DOP853",
    1e-6,
    {},
    {"path.inductance_henry": 3e-6, "path.resistance_ohm": 0.1152, "link_error_percent": 1.2},
    {"path.inductance_henry": 1e-5, "path.resistance_ohm": 0.05},
    {"path.inductance_henry": 1e-6, "path.resistance_ohm": 2.0 * math.sqrt(1e-6 / 900e-6)},
)
def precharge_inrush(given, result):
    ohm, henry = given["path"]["resistance_ohm"], given["path"]["inductance_henry"]
    farad, volt = given["capacitance_farad"], result["difference"]["largest_v"]
    slow = max(ohm * farad, 2 * henry / ohm)

    def slope(_, state):
        current, charged, _ = state
        return [(volt - charged - ohm * current) / henry, current / farad, current * current]

    found = solve_ivp(slope, (0, 40 * slow), [0, 0, 0], method="DOP853", rtol=1e-11, atol=1e-9, dense_output=True)
    inrush = result["inrush"]
    around = (inrush["peak_s"] * 0.3, inrush["peak_s"] * 3.0)
    peak = minimize_scalar(lambda t: -found.sol(t)[0], bounds=around, method="bounded", options={"xatol": 1e-12})
    yield "peak_a", inrush["peak_a"], -peak.fun
    yield "peak_s", inrush["peak_s"], peak.x, 2e-4 * peak.x
    yield "a2s", inrush["a2s"], found.y[2, -1]


@check(
    "/api/v1/discharge",
    "discharge: every way",
    "scipy DOP853",
    1e-7,
    {},
    {"active.kind": "constant-current", "capacitance_tolerance_percent": 10.0, "weld.reading_error_v": 5.0},
    {"active.kind": "constant-power", "passive.tolerance_percent": 5.0, "weld.reading_error_v": 2.0},
)
def discharge_ways(given, result):
    farad = given["capacitance_farad"] * (1 + given["capacitance_tolerance_percent"] / 100)
    active, passive, start = given["active"], given["passive"], given["start_v"]
    off = active["tolerance_percent"] / 100
    bleeder = passive["resistance_ohm"] * (1 + passive["tolerance_percent"] / 100)
    ways = {
        "resistor": lambda v: v / (active["resistance_ohm"] * (1 + off)),
        "constant-current": lambda v: active["current_a"] * (1 - off),
        "constant-power": lambda v: active["power_w"] * (1 - off) / v,
    }
    demand = ways[active["kind"]]

    def left(current, seconds):
        found = solve_ivp(lambda _, v: [-current(v[0]) / farad], (0, seconds), [start], method="DOP853", rtol=1e-12)
        return found.y[0, -1]

    def bleed(v):
        return v / bleeder

    safe = given["safe_v"]
    yield "active.time_s", left(demand, result["active"]["time_s"]), safe
    yield "passive.time_s", left(bleed, result["passive"]["time_s"]), safe
    yield "together_s", left(lambda v: demand(v) + bleed(v), result["together_s"]), safe
    yield "passive.left_v", result["passive"]["left_v"], left(bleed, passive["limit_s"])
    if "weld" in result:
        yield "weld.drop_v", result["weld"]["drop_v"], start - left(bleed, given["weld"]["time_s"])
        yield "weld.shortest_s", start - left(bleed, result["weld"]["shortest_s"]), 4 * given["weld"]["reading_error_v"]


CURVE = [(0, 3.0), (10, 3.45), (30, 3.58), (50, 3.68), (70, 3.88), (90, 4.08), (100, 4.2)]
LEVEL = [(0, 2.8), (10, 3.2), (20, 3.28), (60, 3.3), (80, 3.33), (95, 3.33), (100, 3.45)]


def points(pairs):
    return [{"soc_percent": soc, "ocv_v": volt} for soc, volt in pairs]


@check(
    "/api/v1/balancing",
    "balancing: along the open-circuit voltage",
    "scipy DOP853, quad",
    1e-7,
    {},
    {"curve.points": points(CURVE), "curve.start_soc_percent": 95.0, "imbalance_percent": 12.0},
    {"curve.points": points(CURVE), "curve.start_soc_percent": 100.0, "imbalance_percent": 95.0, "wire_ohm": 0.2},
    {"curve.points": points(LEVEL), "curve.start_soc_percent": 99.0, "imbalance_percent": 30.0, "switch_ohm": 1.5},
)
def balancing_time(given, result):
    table = [(point["soc_percent"], point["ocv_v"]) for point in given["curve"]["points"]]
    ohm = given["bleed_ohm"] + given["switch_ohm"] + 2 * given["wire_ohm"]
    start = given["curve"]["start_soc_percent"]

    def volt(soc):
        return numpy.interp(soc, *zip(*table)) if table else given["cell_v"]

    def slope(_, state):
        return [-100 / given["capacity_ah"] * given["duty_percent"] / 100 * volt(state[0]) / ohm]

    hours = result["passive"]["time_h"]
    found = solve_ivp(slope, (0, hours), [start], method="DOP853", rtol=1e-11, atol=1e-11, max_step=hours / 2000)
    yield "time_h", start - found.y[0, -1], given["imbalance_percent"]
    end = start - given["imbalance_percent"]
    corners = [soc for soc, _ in table if end < soc < start] or None
    energy, _ = quad(volt, end, start, points=corners, epsrel=1e-12)
    yield "energy_j", result["passive"]["energy_j"], energy * given["capacity_ah"] / 100 * 3600
