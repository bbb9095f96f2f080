"""Functional safety: small random designs whose faults and lost checks are gone through pair by pair.

    BASE_URL=http://127.0.0.1:8080 python check_safety_pairs.py

SAFETY_DESIGNS says how many.
"""

import itertools
import math
import sys

import safety_metrics as metrics
import safety_pairs as pairs
from charge_designs import between, decades, of, often
from check_safety import PATH, Compared, asked
from harness import check
from harness import run as run_checks
from safety_designs import compared, goal

# --- Designs --------------------------------------------------------------------------------------------------------


def watch(given, goals, life_h, rates):
    """A drawn check as the pairs take it."""
    needed = [name.strip() for name in given.get("needs", "").split(",") if name]
    own = Compared(given)
    up, down = own.surely()
    latest = own.n * own.interval_s + own.processing_s + goals["reaction_s"]
    return pairs.Watch(
        given["name"],
        up,
        down,
        in_time=latest <= goals["ftti_s"],
        acts=given["acts"] in ("safe-state", "substitute"),
        signals=given["signals"],
        loss_fit=given["loss_fit"] if "loss_fit" in given else sum(rates[name] for name in needed),
        test_h=given.get("test_interval_h", life_h),
        tested=given.get("test_coverage_percent", 90.0) / 100.0,
        ceiling=given["ceiling_percent"] / 100.0,
    )


def checked(random, place):
    one = compared(random, f"Check {place}") | {"kind": "comparison", "reads": "voltage"}
    # One unit for all of them.
    one = {name: value for name, value in one.items() if not name.endswith(("_a", "_k", "_v"))}
    one |= {"limit_v": decades(random, 1.0, 20.0), "error_v": decades(random, 0.05, 1.0)}
    one |= {"other_error_v": decades(random, 0.05, 1.0), "noise_v": 0.0, "other_noise_v": 0.0, "other_full_v": 1e6}
    one |= {"loss_fit": decades(random, 1.0, 200.0), "signals": often(random, 0.7), "ceiling_percent": 99.9}
    one |= {"acts": of(random, "safe-state", "safe-state", "safe-state", "substitute", "warn")}
    if often(random, 0.7):
        one |= {"test_interval_h": decades(random, 1.0, 500.0), "test_coverage_percent": between(random, 50.0, 100.0)}
    return one


def failing(random, place, names):
    ends = sorted(of(random, -1.0, 1.0, 1.0) * decades(random, 0.5, 60.0) for _ in range(2))
    mine = [name for name in names if often(random, 0.7)]
    found = {"component": f"Part {place}", "mode": "off", "rate_fit": decades(random, 1.0, 200.0)}
    return found | {"from_v": ends[0], "to_v": ends[1], "seen_by": ", ".join(mine)}


def drawn_small(random):
    checks = [checked(random, place) for place in range(int(random.integers(1, 4)))]
    names = [one["name"] for one in checks]
    faults = [failing(random, place, names) for place in range(int(random.integers(2, 5)))]
    taken = set()
    for one in checks:
        # Its loss may be that of a component at which it does not look, and no other check's.
        apart = [fault["component"] for fault in faults if one["name"] not in fault["seen_by"]]
        apart = [name for name in apart if name not in taken]
        if apart and often(random, 0.4):
            del one["loss_fit"]
            one["needs"] = ", ".join(apart)
            taken |= set(apart)
    aim = goal(random, asil=of(random, "b", "c", "d"), reads="voltage", dangerous=of(random, "high", "low", "both"))
    aim |= {"harm_v": decades(random, 1.0, 20.0), "ftti_s": decades(random, 0.02, 2.0), "reaction_s": 0.01}
    life = {"life_h": decades(random, 2000.0, 30_000.0), "multi_point_interval_h": 12.0, "beta_percent": 5.0}
    case = {"goals": [aim], "faults": faults, "checks": checks, "life": life, "judged_by": "worst-case"}
    return case, None


class Small:
    """A drawn design as the pairs take it."""

    def __init__(self, case):
        aim, self.life = case["goals"][0], case["life"]
        way = aim["dangerous"]
        self.goal = pairs.Goal(aim["harm_v"], way in ("high", "both"), way in ("low", "both"))
        rates = {fault["component"]: fault["rate_fit"] for fault in case["faults"]}
        self.checks = [watch(one, aim, self.life["life_h"], rates) for one in case["checks"]]
        self.modes = [
            pairs.Mode(
                fault["component"],
                fault["rate_fit"],
                *pairs.spread(fault["from_v"], fault["to_v"], self.goal, self.checks),
                tuple(name.strip() for name in fault["seen_by"].split(",")),
                (fault["from_v"], fault["to_v"]),
            )
            for fault in case["faults"]
        ]


# --- What is told ---------------------------------------------------------------------------------------------------


CEILING = 0.999


@check(PATH, "safety: faults that meet a lost check", "every magnitude, followed from test to test", 1.0)
def safety_dual(_given, _result):
    for number, case, _, answer in asked(drawn_small, 51):
        own, told = Small(case), answer["result"]["goals"][0]
        left, latent = 0.0, {True: 0.0, False: 0.0}
        for mode in own.modes:
            direct, covered, _ = pairs.shares(own.goal, mode, own.checks)
            left += mode.fit * (direct - min(covered, CEILING * direct))
            for acting in latent:
                latent[acting] += mode.fit * pairs.hidden(own.goal, mode, own.checks, acting)
        told_left = told["single_point_fit"] + told["residual_fit"]
        yield f"{number} residual, FIT", told_left, left, 1e-6 * left + 1e-9
        # Whether a check that does not act may tell somebody is left open: no less than if it may.
        short = max(0.0, (1.0 - 1e-3) * latent[False] - told["latent_fit"])
        yield f"{number} latent, FIT: less than it is", short, 0.0, 1e-9
        # What waits for another mode is latent as well: each mode of a pair may.
        modes = {one.name: one for one in own.modes}
        rows = [[one["first"].split(",")[0], one["second"].split(",")[0]] for one in answer["result"]["pairs"]]
        met = [pair for pair in rows if pair[1] in modes]
        if told["pairs"] > len(rows):
            continue
        waits = {name for pair in met for name in pair}
        most_waits = sum(modes[name].fit * (1.0 - pairs.shares(own.goal, modes[name], own.checks)[0]) for name in waits)
        over = max(0.0, told["latent_fit"] - latent[True] - most_waits)
        yield f"{number} latent, FIT: more than it is", over, 0.0, 1e-6 * (latent[True] + most_waits) + 1e-9
        given = own.goal, own.modes, own.checks, own.life["life_h"], CEILING
        (least, alone), (most, _) = (pairs.dual_fit(*given, acting) for acting in (False, True))
        # Modes that meet do so in any order in a life.
        life_h = own.life["life_h"]
        fail = {name: -math.expm1(-one.fit * 1e-9 * life_h) for name, one in modes.items()}
        meet = sum(fail[one] * fail[other] / life_h * 1e9 for one, other in met)
        # A life is no whole number of tests; small products stand for their exponentials.
        allowed = 0.05 * most + 1e-2 * meet + 1e-15
        dual = told["dual_fit"]
        yield f"{number} dual, FIT", dual, min(max(dual, least + meet), most + meet), allowed
        beta = own.life["beta_percent"] / 100.0
        together = sum(metrics.common_cause(beta, one.loss_fit, [alone[one.name]]) for one in own.checks)
        yield f"{number} common cause, FIT", told["common_cause_fit"], together, 1e-6 * together + 1e-12


@check(PATH, "safety: pairs of faults", "every pair of magnitudes, in both orders", 1.0)
def safety_pairs_of_faults(_given, _result):
    for number, case, _, answer in asked(drawn_small, 53):
        own, found = Small(case), answer["result"]
        if found["goals"][0]["pairs"] > len(found["pairs"]):
            continue
        told = {frozenset((one["first"].split(",")[0], one["second"].split(",")[0])) for one in found["pairs"]}
        for (mode, name), violates, _ in pairs.losses(own.goal, own.modes, own.checks, 12.0):
            yield f"{number} {mode}, loss of {name}", float({mode, f"loss of {name}"} in told), float(violates), 0.5
        for one, other in itertools.combinations(own.modes, 2):
            every = [check for check in own.checks if check.name in one.seen_by + other.seen_by]
            both = [check for check in every if check.name in one.seen_by and check.name in other.seen_by]
            # Whether a check that is named by one of them sees the sum is left open.
            least, most = (pairs.additions(own.goal, one, other, own.checks, by) for by in (every, both))
            is_told = {one.name, other.name} in told
            label = f"{number} {one.name}, {other.name}"
            yield f"{label}: is not told", float(least and not is_told), 0.0, 0.5
            yield f"{label}: needlessly told", float(is_told and not most), 0.0, 0.5


if __name__ == "__main__":
    sys.exit(not run_checks())
