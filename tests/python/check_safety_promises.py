"""Functional safety: inputs that must not be told to hold, each for a reason that needs no calculation.

    BASE_URL=http://127.0.0.1:8080 python check_safety_promises.py

A refusal is as good an answer as a row that fails or is not judged.
"""

import copy
import sys

import numpy

from harness import changed, check, examples, fetch
from harness import run as run_checks
from safety_designs import drawn, errless

PATH = "/api/v1/safety"

COMPARISON = {
    "name": "A",
    "kind": "comparison",
    "reads": "voltage",
    "other_full_v": 1e6,
    "limit_v": 6.0,
    "error_v": 0.3,
    "other_error_v": 0.3,
    "noise_v": 0.0,
    "other_noise_v": 0.0,
    "interval_s": 0.02,
    "in_a_row": 3,
    "loss_fit": 1.0,
    "test_interval_h": 12.0,
}
GOAL = {"name": "Goal", "asil": "c", "reads": "voltage", "dangerous": "low", "harm_v": 3.0, "ftti_s": 1.0, "reaction_s": 0.0}
CLAIM = {"safe_percent": 0.0, "direct_percent": 100.0, "coverage_percent": 99.0, "signalled_percent": 100.0}


def fault(**more):
    return {"component": "Part", "mode": "one", "rate_fit": 10.0, "seen_by": "A"} | more


def holding(requirements, names):
    """Which of these rows are told to hold."""
    told = [row for row in requirements if row["id"] in {f"safety.{name}" for name in names}]
    return sum(row["verdict"] in ("holds", "thin") for row in told)


def told_to_hold(path, given, names):
    """A refused input tells nothing."""
    try:
        answer = fetch(path, given)
    except AssertionError:
        return 0
    return holding(answer.get("requirements") or answer["result"]["requirements"], names)


def alone():
    """What stands alone: label, changes of the example, rows that must not hold."""
    lists = lambda row, one, **aim: {"goals": [GOAL | aim], "faults": [row], "checks": [one]}  # noqa: E731
    for acts in ("record", "warn"):
        only = COMPARISON | {"acts": acts}
        yield f"covered by a check that only says {acts}", lists(fault(**CLAIM), only), ("spfm",)
    late = COMPARISON | {"interval_s": 10.0}
    yield "covered by a check that is too late", lists(fault(**CLAIM), late), ("spfm", "handling-time")
    harmful = fault(from_v=-20.0, to_v=-4.0)
    safe = harmful | {"safe_percent": 90.0, "direct_percent": 10.0}
    yield "a safe share of a span that all harms", lists(safe, COMPARISON), ("spfm",)
    yield "a span that is not seen from its begin", lists(harmful, COMPARISON), ("hole",)
    shared = fault(insert="reference-drift", from_percent=5.0, to_percent=10.0)
    for kind in ("comparison", "sum-of-cells"):
        one = COMPARISON | {"kind": kind, "one_reference": True}
        yield f"one reference on both sides of a {kind}", lists(shared, one, at_v=500.0), ("spfm", "hole")
    unknown = {name: value for name, value in COMPARISON.items() if name != "error_v"}
    # Where its own error is left out that of the channel counts, if it is known.
    apart = lists(harmful, unknown) | {"voltage": {}}
    yield "a check without its error", apart, ("spfm", "hole", "false-alarm")
    endless = {name: value for name, value in COMPARISON.items() if name != "other_full_v"}
    yield "another side that reads nobody knows how far", lists(fault(from_v=-20.0), endless), ("spfm", "hole")
    harmless = {name: value for name, value in GOAL.items() if name != "harm_v"}
    yield "a goal without harm", lists(harmful, COMPARISON) | {"goals": [harmless]}, ("hole",)


@check(PATH, "safety: nothing holds that cannot", "by reason alone", 1.0)
def safety_promises(_given, _result):
    start = errless(examples()[PATH])
    # What is in order holds: the cases differ from it by what they are named for.
    good = {"goals": [GOAL], "faults": [fault(from_v=-20.0, to_v=-8.0)], "checks": [COMPARISON]}
    rows = ("spfm", "hole", "handling-time", "false-alarm")
    yield "in order", holding(fetch(PATH, changed(start, good))["requirements"], rows), len(rows), 0.5
    for label, case, names in alone():
        yield label, told_to_hold(PATH, changed(start, case), names), 0.0, 0.5


UNDER = {
    "of": "voltage",
    "number": 4,
    "name": "Pack under-voltage",
    "rests_on": 1,
    "kind": "pack-under-voltage",
    "noise_v": 0.05,
    "rate_v_per_s": 1.0,
    "sample_rate_hz": 100.0,
    "samples_in_a_row": 3,
}


def designed(random):
    """A design with one drifting element and no good reason to hold."""
    aim = {name: value for name, value in GOAL.items() if name != "harm_v"}
    drift = fault(seen_by="", insert="upper-drift", from_percent=5.0, to_percent=50.0)
    rows = ("spfm", "hole")
    base = drawn(random)
    lowest = base["pack"]["cells_in_series"] * base["pack"]["cell_min_v"]
    under = UNDER | {"normal_v": lowest, "hazard_v": 0.9 * lowest, "threshold_v": 0.95 * lowest}

    def design(aim, row, checks=(), threshold=2):
        found = copy.deepcopy(base)
        found["protection"].append(under)
        found["safety"][0] |= {"goals": [aim], "faults": [row], "checks": list(checks), "voltage_threshold": threshold}
        return found

    # The same with a check that sees it, so that the others fail by what they are named for.
    highest = base["pack"]["cells_in_series"] * base["pack"]["cell_max_v"]
    wide = COMPARISON | {"limit_v": 0.025 * highest, "error_v": 0.02 * highest}
    wide |= {"noise_v": 1e-3 * highest, "noise_sigma": 3.0}
    harms = drift | {"from_percent": 45.0, "seen_by": "A"}
    yield "in order", design(aim, harms, [wide]), rows, 2
    yield "harm typed beyond what the threshold leaves", design(aim | {"harm_v": 1e4}, drift), rows, 0
    yield "over-voltage to which readings are harmless", design(aim | {"dangerous": "high"}, drift), rows, 0
    up = drift | {"from_percent": -50.0, "to_percent": -5.0}
    yield "under-voltage to which readings are harmless", design(aim, up, threshold=4), rows, 0
    # Limit and errors of a thousandth of what the channel itself may err.
    calm = COMPARISON | {"limit_v": 0.01, "error_v": 1e-3, "other_error_v": 1e-3}
    seen = drift | {"seen_by": "A"}
    yield "a check that errs less than its channel", design(aim, seen, [calm]), ("false-alarm",), 0


@check(PATH, "safety: no design holds that cannot", "by reason alone", 1.0)
def safety_design_promises(_given, _result):
    random = numpy.random.default_rng(41)
    for number in range(3):
        for label, design, names, expected in designed(random):
            yield f"{number} {label}", told_to_hold("/api/v1/design/assess", design, names), expected, 0.5


if __name__ == "__main__":
    sys.exit(not run_checks())
