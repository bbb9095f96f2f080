"""Pre-charge beside a bleeder: differential equations integrated as they stand, and a search for what breaks a promise.

C dv/dt = (V - v)/R - v/Rb - i(v): Rb is always across the link, i sleeps below its wake-up voltage, and a load that pulls
the link back holds it there. The bleeder is the lowest: any larger one is allowed, too.
"""

import math

import numpy
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

from harness import changed, check, examples, fetch

PATH, COUNT, STATES, STEPS = "/api/v1/precharge", 40, 240, 1500
BLEEDERS = (
    {"load.kind": "none", "load.bleeder_ohm": 12e3},
    {"load.kind": "none", "load.bleeder_ohm": 700.0, "start_v": 300.0},
    {"load.kind": "none", "load.bleeder_ohm": 700.0, "start_v": 785.0},
    {"load.resistance_ohm": 2000.0, "load.bleeder_ohm": 5000.0},
    {"load.resistance_ohm": 25e3, "load.bleeder_ohm": 1500.0},
    {"load.kind": "constant-current", "load.current_a": 0.4, "load.bleeder_ohm": 8e3},
    {"load.kind": "constant-current", "load.current_a": 0.4, "load.enable_v": 300.0, "load.bleeder_ohm": 3500.0},
    {"load.kind": "constant-current", "load.current_a": 3.0, "load.enable_v": 600.0, "load.bleeder_ohm": 1000.0},
    {"load.kind": "constant-current", "load.current_a": 0.1, "load.enable_v": 450.0, "load.bleeder_ohm": 65.0},
    {"load.kind": "constant-power", "load.power_w": 300.0, "load.enable_v": 450.0, "load.bleeder_ohm": 4000.0},
    {"load.kind": "constant-power", "load.power_w": 300.0, "load.enable_v": 450.0, "load.bleeder_ohm": 2500.0},
    {"load.kind": "constant-power", "load.power_w": 2000.0, "load.enable_v": 400.0, "load.bleeder_ohm": 600.0},
    {"load.kind": "constant-power", "load.power_w": 250.0, "start_v": 500.0, "load.bleeder_ohm": 9e3, "load.enable_v": 90.0},
    {"load.kind": "constant-power", "load.power_w": 250.0, "start_v": 850.0, "load.bleeder_ohm": 9e3, "load.enable_v": 90.0},
)


def across(load):
    """What is always across the link, as a conductance."""
    bleeder = 1.0 / load.get("bleeder_ohm", math.inf)
    return max(bleeder, 1.0 / load["resistance_ohm"]) if load["kind"] == "resistive" else bleeder


def drawn(load):
    """Current and power of the load that sleeps, and where it wakes."""
    amps = load["current_a"] if load["kind"] == "constant-current" else 0.0
    watts = load["power_w"] if load["kind"] == "constant-power" else 0.0
    return amps, watts, load["enable_v"] if amps or watts else 0.0


def course(given, until):
    """Link voltage and energy in the resistor, as a function of time."""
    pack, ohm, farad, start = (given[name] for name in ("pack_v", "resistance_ohm", "capacitance_farad", "start_v"))
    leaks, (amps, watts, wakes) = across(given["load"]), drawn(given["load"])

    def net(v, awake):
        return (pack - v) / ohm - v * leaks - (amps + watts / max(v, 1e-9) if awake else 0.0)

    def level(direction):
        def event(_, state):
            return state[0] - wakes

        event.terminal, event.direction = True, direction
        return event

    pieces, t, state, awake = [], 0.0, [start, 0.0], start >= wakes
    while t < until:
        if state[0] == wakes > 0.0 and net(wakes, True) < 0.0 <= net(wakes, False):
            loss, begin, spent = (pack - wakes) ** 2 / ohm, t, state[1]
            pieces.append((t, until, lambda at: numpy.array([wakes, spent + loss * (at - begin)])))
            break
        slope = lambda _, s, on=awake: [net(s[0], on) / farad, (pack - s[0]) ** 2 / ohm]  # noqa: E731
        tight = {"method": "DOP853", "rtol": 1e-11, "atol": 1e-10, "dense_output": True}
        part = solve_ivp(slope, (t, until), state, events=level(-1 if awake else 1), **tight)
        pieces.append((t, part.t[-1], part.sol))
        t, state, awake = part.t[-1], [wakes if part.status == 1 else part.y[0, -1], part.y[1, -1]], not awake
    return lambda at: next(solution(at) for begin, end, solution in pieces if begin <= at <= end)


@check(PATH, "pre-charge beside a bleeder: course", "scipy DOP853", 1e-7, *BLEEDERS)
def bleeder_course(given, result):
    charge, last = result["charge"], given["max_time_s"]
    settled = 60.0 * given["resistance_ohm"] * given["capacitance_farad"]
    end = max(result["curve"][-1]["time_s"], last, charge.get("time_s", 0.0), settled)
    link = course(given, end)
    if charge["reaches"]:
        yield "time_s meets the target", link(charge["time_s"])[0], max(charge["target_v"], given["start_v"])
    else:
        highest = max(link(t)[0] for t in numpy.linspace(end / 200, end, 200))
        yield "never at the target", float(highest < charge["target_v"]), 1.0
    until = min(charge.get("time_s", last), last)
    yield "energy_j", charge["energy_j"], link(until)[1], 1e-6 + 1e-7 * link(until)[1]
    yield "time_out_v", charge["time_out_v"], link(last)[0], 2e-5
    yield "settle_v", charge["settle_v"], link(end)[0], 1e-3
    for point in result["curve"][1::9]:
        v, energy = link(point["time_s"])
        yield f"at {point['time_s']} link_v", point["link_v"], v, 2e-5
        yield f"at {point['time_s']} energy_j", point["energy_j"], energy, 1e-6 + 1e-7 * energy


@check(PATH, "pre-charge beside a bleeder: limits", "least of what is left, searched", 1e-6, *BLEEDERS[5:13])
def bleeder_limits(given, result):
    pack, ohm, load, limits = given["pack_v"], given["resistance_ohm"], given["load"], result["limits"]
    target, leaks = result["charge"]["target_v"], across(load)
    path = numpy.linspace(max(given["start_v"], load["enable_v"]), target, 20001)
    left = (pack - path) / ohm - path * leaks
    yield "largest_current_a", limits["largest_current_a"], max(left.min(), 0.0)
    yield "largest_power_w", limits["largest_power_w"], max((left * path).min(), 0.0)
    most = minimize_scalar(lambda v: -v * ((pack - v) / ohm - v * leaks), bounds=(0.0, pack), method="bounded")
    yield "collapse_power_w", limits["collapse_power_w"], -most.fun


def attempts(given, state):
    """Time to closing (infinite: never before the time-out), energy and whether the load holds the link, of many states."""
    pack, ohm, farad, leaks, low, high = (state[name] for name in ("pack", "ohm", "farad", "leaks", "link", "other"))
    amps, watts, wakes = drawn(given["load"])
    away = given.get("closing_difference_v") or (1.0 - given["target_percent"] / 100.0) * (pack + high)
    target, v = pack + high - away - low, numpy.full(pack.size, given["start_v"])
    done, settles, tau = v >= target, pack / (1.0 + ohm * leaks), farad / (1.0 / ohm + leaks)
    # Asleep it is an exponential, with its energy.
    goal = numpy.where(v < wakes, numpy.minimum(target, wakes), v)
    with numpy.errstate(all="ignore"):
        t = numpy.where(settles > goal, tau * numpy.log((settles - v) / (settles - goal)), math.inf)
    t = numpy.where(done, 0.0, numpy.minimum(t, given["max_time_s"]))
    a, b, fall = pack - settles, settles - v, numpy.exp(-t / tau)
    energy = (a * a * t + 2.0 * a * b * tau * (1.0 - fall) + 0.5 * b * b * tau * (1.0 - fall**2)) / ohm
    v, last = settles - b * fall, given["max_time_s"]
    closes = numpy.where(done | ((v >= target - 1e-9) & (t < last)), t, math.inf)

    def slope(u):
        return ((pack - u) / ohm - u * leaks - amps - watts / numpy.maximum(u, 1e-3)) / farad

    open_still = numpy.isinf(closes) & (t < last)
    held = open_still & (v <= wakes * (1.0 + 1e-12)) & (slope(v) < 0.0) & (wakes > 0.0)
    h = (last - t) / STEPS
    for _ in range(STEPS):
        live = open_still & numpy.isinf(closes)
        move = numpy.where(held, 0.0, slope(v))
        half, more = v + 0.5 * h * move, numpy.where(held, 0.0, 1.0)
        second = slope(half) * more
        third = slope(v + 0.5 * h * second) * more
        new = v + h / 6.0 * (move + 2.0 * second + 2.0 * third + more * slope(v + h * third))
        pulled = live & (new < wakes)
        held, new = held | pulled, numpy.maximum(new, wakes)
        over = live & (new >= target)
        part = numpy.where(over, (target - v) / numpy.where(over, new - v, 1.0), 1.0) * live
        middle = v + part * (new - v) / 2.0
        energy = energy + h * part * ((pack - v) ** 2 + 4.0 * (pack - middle) ** 2 + (pack - v - part * (new - v)) ** 2) / 6.0 / ohm
        closes, v, t = numpy.where(over, t + part * h, closes), numpy.where(live, new, v), t + h * live
    return closes, energy, held, v


def draw(random):
    """A design near its edges: what the load may take, the time and the ratings lie close to what the answer tells."""
    u, volt = random.uniform, float(random.choice([48.0, 400.0, 831.6, 1500.0]))
    low, ohm, kind = volt * u(0.6, 0.98), 10.0 ** u(1.0, 2.5), str(random.choice(["none", "constant-current", "constant-power"]))
    case = {"pack_v": volt, "pack_min_v": low, "resistance_ohm": ohm, "capacitance_farad": 10.0 ** u(-4.0, -2.0), "load.kind": kind}
    case |= {"target_percent": u(85.0, 97.0), "link_error_v": volt * u(0.0, 0.008), "pack_error_v": volt * u(0.0, 0.008)}
    case |= {"resistor.tolerance_percent": float(random.choice([0.0, 5.0, 20.0, 50.0])), "load.enable_v": low * u(0.3, 0.85)}
    case |= {"start_v": low * float(random.choice([0.0, 0.2])), "max_time_s": ohm * case["capacitance_farad"] * 60.0}
    case |= {"load.bleeder_ohm": ohm * 10.0 ** u(1.5, 3.5), "load.current_a": 0.0, "load.power_w": 0.0, "resistor.repeat_s": 1e3}
    if u() < 0.4:
        case["closing_difference_v"] = volt * u(0.03, 0.12)
    start = examples()[PATH]
    first = fetch(PATH, changed(start, case))["result"]
    room = first["heaviest"]["limits"]
    case |= {"load.current_a": room["largest_current_a"] * u(0.5, 1.03), "load.power_w": room["largest_power_w"] * u(0.5, 1.03)}
    slow = fetch(PATH, changed(start, case))["result"]["slowest"]["charge"].get("time_s")
    case["max_time_s"] = (slow or case["max_time_s"] / 8.0) * float(random.choice([0.9, 1.001, 1.2]))
    told = fetch(PATH, changed(start, case))["result"]
    case |= {"resistor.pulse_j": told["attempt"]["energy_j"] * 1.05, "resistor.power_w": told["repeated"]["series_w"] * 1.05}
    return changed(start, case)


def allowed(given, random):
    """States that the design allows: ends and insides, each error on either side, a larger bleeder, a smaller capacitance."""
    mix = lambda low, high: random.choice([low, high, math.nan], STATES)  # noqa: E731
    fill = lambda value, low, high: numpy.where(numpy.isnan(value), random.uniform(min(low, high), max(low, high), STATES), value)  # noqa: E731
    span = lambda low, high: fill(mix(low, high), low, high)  # noqa: E731
    part, leaks = given["resistor"]["tolerance_percent"] / 100.0, across(given["load"])
    state = {"pack": span(given["pack_min_v"], given["pack_v"]), "ohm": given["resistance_ohm"] * span(1.0 - part, 1.0 + part)}
    state |= {"leaks": leaks * span(1.0, 0.0), "farad": given["capacitance_farad"] * span(1.0, 0.3)}
    error = {name: given[f"{name}_error_v"] for name in ("link", "pack")}
    return state | {"link": span(-error["link"], error["link"]), "other": span(error["pack"], -error["pack"])}


@check(PATH, "pre-charge beside a bleeder: promises", "Runge-Kutta over allowed states", 1.0)
def bleeder_promises(_given, _result):
    random = numpy.random.default_rng(22)
    for number in range(COUNT):
        answer = fetch(PATH, draw(random))
        given, rows = answer["input"], {row["id"]: row for row in answer["requirements"]}
        closes, energy, held, _ = attempts(given, allowed(given, random))
        worst = {"time": closes.max(), "resistor-pulse": energy.max(), "resistor-power": energy.max() / given["resistor"]["repeat_s"]}
        for name, value in worst.items():
            row = rows[f"precharge.{name}"]
            if row["verdict"] in ("holds", "thin"):
                yield f"{number} {name} {row['achieved']} of {row['required']}", float(value <= row["required"] * (1.0 + 1e-6)), 1.0, 0.5
        if rows.get("precharge.held-where-it-wakes", {}).get("verdict") in ("holds", "thin"):
            yield f"{number} held where it wakes", float(held.any()), 0.0, 0.5


@check(PATH, "pre-charge beside a bleeder: in a design", "the calculation alone", 1e-12)
def bleeder_design(_given, _result):
    """Two discharges across the same link count in parallel, each with its lowest resistance; one that nobody typed decides nothing."""
    given = examples()["/api/v1/design/assess"]
    lead = {"schema": 2, "start_values": 2, "pack": given["pack"], "precharge": [given["precharge"][0] | {"number": 1}]}
    lead["precharge"][0].pop("rests_on", None)
    bleeders = [{"resistance_ohm": 20e3, "tolerance_percent": 5.0}, {"resistance_ohm": 30e3, "tolerance_percent": 10.0}]
    parts = [{"number": 1, "rests_on": 1, "passive": bleeders[0]}, {"number": 2, "passive": bleeders[1]}]
    for typed in (parts, [parts[0], {"number": 2, "passive": {"fitted": True}}]):
        answer = fetch("/api/v1/design/assess?include=parts", lead | {"discharge": typed})["result"]
        rows = {row["id"]: row for row in answer["requirements"] if row["part"] == "/precharge/0"}
        if typed is not parts:
            yield "untyped: none holds", float(any(row["verdict"] in ("holds", "thin") for row in rows.values())), 0.0, 0.5
            continue
        part = next(part for part in answer["parts"] if part["part"] == "/precharge/0")["input"]
        yield "in parallel", part["load"]["bleeder_ohm"], 1.0 / (1.0 / 19e3 + 1.0 / 27e3)
        alone = {row["id"]: row for row in fetch(PATH, part)["requirements"]}
        for name, row in rows.items():
            yield f"{name} as alone", row.get("achieved", 0.0), alone[name].get("achieved", 0.0)
            yield f"{name} verdict", float(row["verdict"] == alone[name]["verdict"]), 1.0
