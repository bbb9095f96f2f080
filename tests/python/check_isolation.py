"""The isolation barrier and the insulation of the bus: random designs against circuits and tables of our own.

    BASE_URL=http://127.0.0.1:8080 python check_isolation.py

Every figure that a requirement states is worked out again; a search of states tries to make a "holds" false and
confirms what "fails". The model knows nothing of the server but the names of its fields.
"""

import math
import os
import sys

import numpy

os.environ.setdefault("DESIGNS", "200")

import isolation_model as model  # noqa: E402
import isolation_tables as tables  # noqa: E402
from harness import DESIGNS, changed, check, examples, fetch, hunt, run  # noqa: E402
from isolation_designs import RATES, between, decades, drawn  # noqa: E402

PATH = "/api/v1/isolation"
PREFIX = "isolation."
TOUCH_DC_V = 60.0


# What each requirement says, from the input alone: its name, what is achieved, what is required, the used share.


def rate_of(bus):
    return bus["ohm_per_v"] if bus["bus_case"] == "stated" else RATES[bus["bus_case"]]


def judged(given):
    """Whether the bus has a requirement at all."""
    bus = given["bus"]
    return bus["earthing"] == "floating" and (given["barrier"]["pack_v"] > TOUCH_DC_V or bus["bus_case"] == "stated")


def paths_of(given):
    """Every path of every unit as (position, siemens)."""
    bus = given["bus"]
    lists = [(bus.get("unit_paths") or [], bus.get("units_in_parallel") or 1), (bus.get("shared_paths") or [], 1)]
    listed = [
        model.path(one["resistance_ohm"], one["position_percent"] / 100.0, one["count"] * times)
        for paths, times in lists
        for one in paths
    ]
    # Strings of the voltage channels, brought by each unit.
    strings = [(bus.get("strings_positive_ohm"), 1.0), (bus.get("strings_negative_ohm"), 0.0)]
    return listed + [model.path(ohm, place, lists[0][1]) for ohm, place in strings if ohm]


def all_paths_of(given):
    """With what hangs on the bus besides: the monitoring device and the bleeders of both poles."""
    paths, monitor, bleeder = paths_of(given), given["monitor"], given["y"].get("pole_bleeder_ohm")
    if bleeder:
        # The highest is typed: 1 + t of the nominal one, of which the lowest has 1 - t.
        part = given["y"]["bleeder_tolerance_percent"] / 100.0
        bleeder *= (1.0 - part) / (1.0 + part)
    if monitor["kind"] != "none" and monitor.get("internal_ohm"):
        paths = [*paths, model.path(monitor["internal_ohm"], 0.5)]
    return [*paths, *(model.path(bleeder, place) for place in (0.0, 1.0))] if bleeder else paths


def unit_paths_of(given):
    return paths_of({"bus": {**given["bus"], "units_in_parallel": 1, "shared_paths": []}})


def farads_of(given):
    """The capacitances of both poles, all units."""
    y, units = given["y"], given["bus"].get("units_in_parallel") or 1
    return [units * y[f"unit_{pole}_farad"] + (y.get(f"shared_{pole}_farad") or 0.0) for pole in ("positive", "negative")]


def yes_or_no(holds):
    """The share of a requirement without a number."""
    return 0.0 if holds else math.inf


def stressed(given):
    """The barrier with all of the pack across it, whatever working voltage was typed."""
    barrier = given["barrier"]
    return barrier | {"working_v": max(barrier["working_v"], barrier["pack_v"])}


def distances(given):
    barrier = stressed(given)
    layer = barrier["insulation"] in ("basic", "supplementary") and barrier["lv_side_bonded"]
    apart = barrier["insulation"] == "reinforced" or layer
    if barrier["pack_v"] > TOUCH_DC_V:
        yield "barrier.class", None, None, yes_or_no(apart)
    for crossing in given["crossings"]:
        # A coating is one of printed wiring.
        there = barrier | {"coating_tested": barrier["coating_tested"] and crossing["printed_wiring"]}
        air = tables.clearance(there)["required_mm"]
        yield "clearance", crossing["clearance_mm"], air, air / crossing["clearance_mm"]
        along = tables.creepage(there, crossing)["required_mm"]
        yield "creepage", crossing["creepage_mm"], along, along / crossing["creepage_mm"]
    yield "barrier.voltage", None, None, yes_or_no(given["barrier"]["working_v"] >= barrier["pack_v"])


def rated(given):
    barrier, part, common = stressed(given), given["isolator"], given["common_mode"]
    factor = {"reinforced": 1.875}.get(barrier["insulation"], 1.5)
    discharge = max(factor * barrier["recurring_peak_v"] / part["pd_test_v"], part["pd_charge_coulomb"] / 5e-12)
    life = max(barrier["working_v"] / part["life_v"], part["required_life_years"] / part["life_years"])
    yield "isolator.working", part["working_dc_v"], barrier["working_v"], barrier["working_v"] / part["working_dc_v"]
    peak = barrier["recurring_peak_v"]
    yield "isolator.peak", part["recurring_peak_v"], peak, peak / part["recurring_peak_v"]
    impulse = tables.impulse_v(barrier)
    yield "isolator.impulse", part["impulse_v"], impulse, impulse / part["impulse_v"]
    if barrier.get("temporary_overvoltage_v"):
        lasting = barrier["temporary_overvoltage_v"]
        yield "isolator.temporary", part["temporary_v"], lasting, lasting / part["temporary_v"]
    if barrier["insulation"] != "functional":
        yield "isolator.discharge", None, None, discharge
    yield "isolator.life", None, None, life
    if part["immunity_is"] == "minimum":
        slew = common["node_slew_v_per_s"]
        yield "isolator.immunity", part["immunity_v_per_s"], slew, slew / part["immunity_v_per_s"]


def sent(given):
    link = given["data"]
    overhead = 1.0 + link["overhead_percent"] / 100.0
    needed = link["frame_bits"] * link["frame_rate_hz"] * overhead
    used = needed / link["rate_bit_per_s"]
    yield "data.utilisation", None, None, used / (link["utilisation_limit_percent"] / 100.0)
    late = (
        link["skew_s"]
        + link["valid_s"]
        + link["setup_s"]
        + (0.0 if link["clock_returned"] else 2.0 * link["delay_max_s"])
    )
    yield "data.timing", late, 1.0 / link["clock_hz"], late * link["clock_hz"]


def powered(given):
    part = given["supply"]
    found = model.supply(part)
    if found["loss_w"] is not None:
        if found["allowed_w"] > 0.0:
            yield "supply.power", found["output_w"], found["allowed_w"], found["output_w"] / found["allowed_w"]
        yield "supply.junction", found["junction_degc"], part["junction_limit_degc"], None
    current = sum(load["current_a"] for load in part["loads"])
    # Every rail shares one output capacitor, at the highest voltage.
    volt = max(load["voltage_v"] for load in part["loads"])
    time = model.started(part["output_farad"], volt, current, part["start_factor"], part["current_limit_a"])
    if math.isfinite(time):
        yield "supply.start", time, part["start_allowed_s"], time / part["start_allowed_s"]
    offset = model.offset_v(
        part["ripple_pp_v"], part["rejection_at_ripple_db"], part["regulation_v"], part["rejection_dc_db"]
    )
    yield "supply.offset", offset, part["offset_allowed_v"], offset / part["offset_allowed_v"]


def insulation(given):
    """The bus as its own nodes say."""
    pack, paths = given["barrier"]["pack_v"], all_paths_of(given)
    if judged(given):
        required = rate_of(given["bus"]) * pack
        seen, method = model.seen(pack, paths), model.method_ohm(pack, paths)
        yield "bus.resistance", seen, required, required / seen
        yield "bus.method", method, required, required / method
        each = sum(siemens for _, siemens in unit_paths_of(given))
        shared = sum(siemens for _, siemens in paths) - each * given["bus"]["units_in_parallel"]
        most = model.most_units(pack, rate_of(given["bus"]), each, shared)
        yield "bus.units", None, None, given["bus"]["units_in_parallel"] / most if most else math.inf
        monitor = given["monitor"]
        if monitor["kind"] == "balance":
            yield "monitor.symmetric", None, None, yes_or_no(False)
        both = sum(farads_of(given)) * (1.0 + given["y"]["tolerance_percent"] / 100.0)
        # The healthy bus holds the device already.
        for name, beside in (("detects", 1.0 / (1.0 / required + 1.0 / monitor["internal_ohm"])), ("release", seen)):
            time, allowed = monitor["settle_tau"] * model.settling(beside, both), monitor["response_allowed_s"]
            yield f"monitor.{name}", time, allowed, time / allowed
        low, high = model.alarm_window(required, seen, monitor["error_percent"] / 100.0)
        yield "monitor.window", None, None, max(low / monitor["alarm_ohm"], monitor["alarm_ohm"] / high)
    if given["bus"]["earthing"] == "floating" and pack > TOUCH_DC_V:
        body = given["touch"]
        for name, pole in (("positive", "plus"), ("negative", "minus")):
            current = model.worst_touch(pack, paths, pole, body["body_ohm"])
            yield f"touch.{name}", current, body["limit_a"], current / body["limit_a"]
    if given["bus"]["earthing"] == "floating":
        y, more = given["y"], given["y"]["tolerance_percent"] / 100.0
        energy = 0.5 * sum(farads_of(given)) * (1.0 + more) * pack**2
        yield "y.energy", energy, y["energy_limit_j"], energy / y["energy_limit_j"]
        time = model.worst_bleed(pack, *farads_of(given), more, y["pole_bleeder_ohm"], y["touch_v"])
        yield "y.bleed", time, y["discharge_allowed_s"], time / y["discharge_allowed_s"]


def coupled(given):
    """What a slewing node does to the reading, where the server states it: (name, achieved)."""
    part, link = given["common_mode"], given["data"]
    ohm, share = part["shared_resistance_ohm"], part["injected_share_percent"] / 100.0
    capacitance, slew = model.total(part["couplings"]), part["node_slew_v_per_s"]
    found = model.injected(capacitance, slew, part["node_step_v"], share, ohm, part["channel_filter_s"])
    induced = share * part["shared_inductance_henry"] * found["current_a"] / part["current_rise_s"]
    left = 1.0 - part["cancellation_percent"] / 100.0
    yield "common-mode.current", found["current_a"]
    yield "common-mode.comparator", found["peak_v"] + induced
    yield "common-mode.voltage", share * found["charge_coulomb"] * ohm * part["edge_rate_hz"] * left
    oldest = (1 + link["lost_frames"]) / link["frame_rate_hz"] + link["delay_max_s"]
    sending = link["frame_bits"] * (1.0 + link["overhead_percent"] / 100.0) / link["rate_bit_per_s"]
    yield "data.latency", oldest + sending


# A resistance in the way of the coupled current takes some of it, which a formula may leave out.
COUPLED = 0.02

GROUPS = (distances, rated, sent, powered, insulation)


def answers(seed, start):
    """What the server says of random designs."""
    random = numpy.random.default_rng(seed)
    for _ in range(DESIGNS):
        yield fetch(PATH, changed(start, drawn(random)))


def rows(answer, name):
    """The rows of a requirement, in the order of what was sent and not of their verdicts."""
    found = [one for one in answer["requirements"] if one["id"] == PREFIX + name]
    return sorted(found, key=lambda one: one["field"])


@check(PATH, "isolation: every requirement of random designs", "node equations, scipy, own tables", 1e-6)
def isolation_figures(_given, _result):
    start = examples()[PATH]
    for number, answer in enumerate(answers(11, start)):
        seen = {}
        for name, achieved, required, share in (one for group in GROUPS for one in group(answer["input"])):
            place = seen.get(name, 0)
            seen[name] = place + 1
            found = rows(answer, name)
            label = f"design {number}, {name} {place}"
            # A row that is missing is no agreement.
            yield f"{label} is there", float(len(found) > place), 1.0
            if len(found) <= place:
                continue
            row = found[place]
            for key, expected in (("achieved", achieved), ("required", required)):
                if expected is not None and key in row:
                    yield f"{label} {key}", row[key], expected
            if share and math.isfinite(share) and "used_percent" in row:
                yield f"{label} share", row["used_percent"], 100.0 * share


@hunt(PATH, "isolation: every kind is judged right", "node equations, scipy, own tables", drawn)
def isolation_verdicts(given, _result, _random):
    """Holds and fails against the model's own shares, state by state as the rules name them."""
    seen = {}
    for name, _, _, share in (one for group in GROUPS for one in group(given)):
        place = seen.get(name, 0)
        seen[name] = place + 1
        if share is not None and name not in ("clearance", "creepage"):
            yield PREFIX + name, place, share


@hunt(PATH, "isolation: no state is worse", "nodes and transients, searched", drawn)
def isolation_states(given, _result, random):
    """Paths that are gone and unequal capacitors."""
    if not judged(given):
        return
    pack, paths = given["barrier"]["pack_v"], all_paths_of(given)
    required, y, body = rate_of(given["bus"]) * pack, given["y"], given["touch"]
    yield PREFIX + "bus.resistance", 0, required / model.seen(pack, paths)
    poles = (("positive", "plus"), ("negative", "minus")) if pack > TOUCH_DC_V else ()
    for name, pole in poles:
        worst = model.worst_touch(pack, paths, pole, body["body_ohm"])
        yield PREFIX + f"touch.{name}", 0, worst / body["limit_a"]
    more = y["tolerance_percent"] / 100.0
    time = model.worst_bleed(pack, *farads_of(given), more, y["pole_bleeder_ohm"], y["touch_v"])
    yield PREFIX + "y.bleed", 0, time / y["discharge_allowed_s"]


@check(PATH, "isolation: what a slewing node couples", "scipy Radau", COUPLED)
def isolation_coupling(_given, _result):
    start = examples()[PATH]
    for number, answer in enumerate(answers(13, start)):
        for name, expected in coupled(answer["input"]):
            for row in rows(answer, name):
                if "achieved" in row:
                    yield f"design {number}, {name}", row["achieved"], expected


REFUSED = (
    {"barrier.working_v": 1001.0, "barrier.pack_v": 1001.0, "crossings.printed_wiring": True},
    {"barrier.working_v": 700.0, "barrier.pollution_degree": 3, "crossings.material_group": "group-iiib"},
    {"barrier.working_v": 3300.0, "barrier.pack_v": 3300.0},
    {"barrier.recurring_peak_v": 7000.0, "barrier.insulation": "reinforced"},
    {"barrier.field": "homogeneous-tested", "barrier.rated_impulse_v": 15000.0, "barrier.insulation": "reinforced"},
    {"barrier.impulse_by": "category", "barrier.system_v": 1501.0},
    {"barrier.altitude_m": 20001.0},
    {"barrier.recurring_peak_v": 300.0},
    {"crossings.creepage_mm": 5.0},
    {"crossings.cti_v": 99.0},
)


@check(PATH, "isolation: what no table reaches is refused", "the tables' ends", 0.0)
def isolation_refusals(_given, _result):
    start = examples()[PATH]
    plain = {"barrier.pack_v": 600.0, "barrier.working_v": 600.0, "barrier.recurring_peak_v": 1500.0}
    plain |= {"barrier.impulse_by": "stated", "barrier.rated_impulse_v": 2500.0, "barrier.pollution_degree": 2}
    # The first is what all others are changed from, and is accepted.
    for case in ({}, *REFUSED):
        crossing = {"name": "Board", "clearance_mm": 30.0, "creepage_mm": 90.0, "printed_wiring": False}
        crossing |= {name.removeprefix("crossings."): value for name, value in case.items() if "crossings." in name}
        if "cti_v" not in crossing:
            crossing.setdefault("material_group", "group-iiia")
        given = plain | {name: value for name, value in case.items() if "crossings." not in name}
        try:
            fetch(PATH, changed(start, given | {"crossings": [crossing]}))
            told = ""
        except AssertionError as error:
            told = str(error)
        yield f"{case} is refused", float(f"{PATH}: 422" in told), float(bool(case)), 0.5


@check(PATH, "isolation: two measurements on a random bus", "node equations", 1e-6)
def isolation_two_measurements(_given, _result):
    """Readings as a circuit gives them, and the circuit found again from what the server says."""
    start, random = examples()[PATH], numpy.random.default_rng(5)
    for number in range(DESIGNS):
        pack, meter, r0 = between(random, 80.0, 1500.0), decades(random, 1e6, 1e8), decades(random, 5e4, 1e6)
        paths = [model.path(decades(random, 1e5, 1e7), place) for place in (0.0, 1.0, between(random, 0.0, 1.0))]
        low, high, lower = model.meter_readings(pack, paths, r0, meter)
        case = {
            "barrier.pack_v": pack,
            "barrier.working_v": pack,
            "barrier.recurring_peak_v": pack,
            "barrier.temporary_overvoltage_v": pack,
            "two_measurement": {
                "vb_v": pack,
                "v1_v": low,
                "v2_v": high,
                "v_with_r0_v": lower,
                "r0_ohm": r0,
                "meter_ohm": meter,
                "r0_tolerance_percent": 0.1,
                "reading_limit_v": 1e-4 * pack,
                "drift_percent": 0.05,
                "judged_by": "worst-case",
            },
        }
        result = fetch(PATH, changed(start, case))["result"]["measured"]
        yield f"{number} method", result["method_ohm"], model.method_ohm(pack, paths)
        yield f"{number} parallel", result["parallel_ohm"], model.seen(pack, paths)
        method = model.Method(pack, paths, r0, meter, 1e-3, 1e-4 * pack, 5e-4)
        yield f"{number} u", result["standard_ohm"], math.hypot(*method.budget().values()), 1e-4


if __name__ == "__main__":
    sys.exit(not run())
