"""Functional safety: random claims, checks, circuits and designs against faults that are lived, sampled and solved.

    BASE_URL=http://127.0.0.1:8080 python check_safety.py

SAFETY_DESIGNS says how many of each. The models know nothing of the server but the names of its fields.
"""

import functools
import math
import os
import sys

import numpy
import scipy.stats

import safety_check_cases  # noqa: F401
import safety_kind_cases  # noqa: F401
import safety_detection as detection
import safety_metrics as metrics
from charge_designs import between, decades, of
from harness import changed, check, examples, fetch
from harness import run as run_checks
from safety_cases import CASES
from safety_designs import SUFFIX, claims, compared, deviating, errless, goal, harmed

PATH = "/api/v1/safety"
PREFIX = "safety."
COUNT = int(os.environ.get("SAFETY_DESIGNS", "30"))
UNITS = 20_000
# So unlikely a surplus is no chance.
SIGMAS = 5.0
SAME = 1e-6


@check(PATH, "safety: the model itself", "cases with known answers", 1.0)
def safety_model_itself(_given, _result):
    for function in CASES:
        for what, got, expected, allowed in function():
            yield f"{function.__name__}: {what}", got, expected, max(allowed, 1e-9)


@functools.cache
def asked(draw, seed, times=1):
    """Answers to random inputs; what contradicts itself is none. A draw gives the changes of the example and what the
    check wants to know besides."""
    start, random = errless(examples()[PATH]), numpy.random.default_rng(seed)
    found, refused = [], []
    for number in range(times * COUNT):
        case, beside = draw(random)
        try:
            found.append((number, case, beside, fetch(PATH, changed(start, case))))
        except AssertionError as error:
            refused.append(error)
    if len(refused) > times * COUNT / 5:
        raise AssertionError(f"{len(refused)} of {times * COUNT} designs refused: {refused[0]}")
    return found


def row(answer, name):
    return next((one for one in answer["requirements"] if one["id"] == PREFIX + name), {})


def holds(answer, name):
    return row(answer, name).get("verdict") in ("holds", "thin")


# --- Claims ---------------------------------------------------------------------------------------------------------


def as_mode(fault):
    """A row of typed claims as the models take it."""
    names = {"safe": 0.0, "direct": 0.0, "coverage": 0.0, "signalled": 0.0, "tested": 0.0}
    shares = {name: fault.get(f"{name}_percent", start) / 100.0 for name, start in names.items()}
    return {"fit": fault["rate_fit"] * fault.get("mode_percent", 100.0) / 100.0} | shares


def drawn_claims(random):
    return {"goals": [goal(random)], "faults": claims(random), "checks": []}, None


@check(PATH, "safety: roll-ups of random claims", "every outcome of every fault added up", SAME)
def safety_roll_up(_given, _result):
    for number, case, _, answer in asked(drawn_claims, 21):
        rates = metrics.tally([as_mode(fault) for fault in case["faults"]])
        told = answer["result"]["goals"][0]
        unseen = told.get("single_point_fit", 0.0) + told.get("residual_fit", 0.0)
        yield f"{number} residual", unseen, rates["residual"] + rates["single-point"], 1e-9
        yield f"{number} latent", told["latent_fit"], rates["latent"], 1e-9
        for with_safe, ending in ((True, ""), (False, "_without_safe")):
            for name, own in zip(("spfm", "lfm"), metrics.metrics(rates, with_safe), strict=True):
                value = told.get(f"{name}{ending}_percent")
                yield f"{number} {name}{ending} is told", float(value is not None), float(own is not None), 0.5
                if own is not None and value is not None:
                    yield f"{number} {name}{ending}", value, 100.0 * own, 1e-7
        targets = metrics.TARGETS.get(case["goals"][0]["asil"])
        for name, place in (("spfm", 0), ("lfm", 1)):
            found, own = row(answer, name), metrics.metrics(rates)[place]
            yield f"{number} {name} is required", float(bool(found)), float(targets is not None), 0.5
            if targets and own is not None and "used_percent" in found:
                used = 100.0 * (1.0 - own) / (1.0 - targets[place])
                yield f"{number} {name} used", found["used_percent"], used, 1e-6 * max(used, 1.0)


# --- Two faults -----------------------------------------------------------------------------------------------------


def drawn_pairs(random):
    """One covered mode with one check that may be lost."""
    tested = of(random, True, True, False)
    # A step that it just sees is seen in time.
    one = compared(random) | {"loss_fit": decades(random, 1.0, 200.0), "kind": "comparison", "low_pass_s": 0.0}
    if tested:
        one |= {"test_interval_h": decades(random, 1.0, 500.0), "test_coverage_percent": between(random, 50.0, 100.0)}
    life = {"life_h": decades(random, 2000.0, 30_000.0), "beta_percent": of(random, 0.0, 3.0, 10.0)}
    fault = {"component": "Channel", "mode": "all", "rate_fit": decades(random, 5.0, 300.0), "seen_by": one["name"]}
    fault |= {"safe_percent": 0.0, "direct_percent": 100.0, "coverage_percent": between(random, 50.0, 99.0)}
    fault |= {"signalled_percent": of(random, 100.0, between(random, 0.0, 100.0))}
    stated = goal(random, asil="c", ftti_s=1e5, reaction_s=0.0)
    return {"goals": [stated], "faults": [fault], "checks": [one], "life": life}, tested


@check(PATH, "safety: a fault and a lost check", "followed from test to test", 1.0)
def safety_pairs(_given, _result):
    for number, case, tested, answer in asked(drawn_pairs, 22):
        fault, one, life = case["faults"][0], case["checks"][0], case["life"]
        covered = fault["rate_fit"] * fault["coverage_percent"] / 100.0
        spans = (one["test_interval_h"], one["test_coverage_percent"] / 100.0) if tested else (life["life_h"], 0.0)
        first = metrics.with_tests(covered * 1e-9, one["loss_fit"] * 1e-9, life["life_h"], *spans)
        # Faults that nobody is told of count in any order.
        own = first * 1e9 * (2.0 - fault["signalled_percent"] / 100.0)
        told = answer["result"]["goals"][0]
        # A life is no whole number of tests.
        yield f"{number} dual, FIT", told["dual_fit"], own, 0.05 * own
        together = metrics.common_cause(life["beta_percent"] / 100.0, one["loss_fit"], [covered])
        yield f"{number} common cause, FIT", told["common_cause_fit"], together, 1e-6 * max(together, 1e-3)
        left = fault["rate_fit"] - covered
        yield f"{number} all, FIT", told["pmhf_fit"], left + own + together, 0.05 * own + 1e-6 * left + 1e-9
        if holds(answer, "pmhf"):
            item = case["goals"][0]["share_of_item_percent"] / 100.0
            target = metrics.TARGETS["c"][2] * 1e9 * item
            yield f"{number} holds", max(0.0, left + 0.95 * own + together - target), 0.0, 1e-6 * target


# --- Checks ---------------------------------------------------------------------------------------------------------


class Compared:
    """A check as its ends, in one unit."""

    def __init__(self, given):
        end = SUFFIX[given["reads"]]
        value = lambda name: given.get(f"{name}_{end}") or 0.0  # noqa: E731
        self.limit, self.errors = value("limit"), (value("error"), value("other_error"))
        self.sigma = math.hypot(value("noise"), value("other_noise"))
        self.known = value("known_low"), value("known_high")
        both = lambda _, one: one["own"] + one["other"]  # noqa: E731
        other = lambda _, one: -one["known"]  # noqa: E731
        parts = {"own": self.errors[0], "other": self.errors[1], "known": self.known}
        self.low, self.high = detection.fault_free(both, other, parts, (0.0,))
        self.noise = given["noise_sigma"] * self.sigma
        self.n, self.interval_s, self.processing_s = given["in_a_row"], given["interval_s"], given["processing_s"]

    def surely(self):
        return detection.surely_seen(self.low, self.high, self.limit, self.noise)

    def alarms(self):
        """An hour, of the unit and state that alarms most."""
        ends = (detection.beyond(end, self.limit, self.sigma) for end in (self.low, self.high))
        p = max(ends)
        if p >= 1.0:
            return 3600.0 / (self.n * self.interval_s)
        return detection.alarms_an_hour(p, self.n, self.interval_s) if p > 0.0 else 0.0

    def looks(self, seconds):
        return max(0, math.floor((seconds - self.processing_s) / self.interval_s + 1e-9))


def drawn_checks(random):
    one = compared(random)
    return {"goals": [], "faults": [], "checks": [one]}, Compared(one)


@check(PATH, "safety: what a check sees and when", "corners of both errors, sampled steps", 1e-6)
def safety_checks(_given, _result):
    for number, _, own, answer in asked(drawn_checks, 23):
        told = answer["result"]["checks"][0]
        for name, value in zip(("certain_high", "certain_low"), own.surely(), strict=True):
            yield f"{number} {name}", told[name], value
        least = max(-own.low, own.high) + own.noise
        yield f"{number} least limit", told["least_limit"], least
        found = detection.times(detection.averaged(1e9, 0.0), 1.0, own.n, own.interval_s, own.processing_s)
        yield f"{number} earliest", told["earliest_s"], found.min(), 0.01 * own.interval_s
        yield f"{number} latest", told["latest_s"], found.max(), 0.01 * own.interval_s
        rate = own.alarms()
        yield f"{number} false alarms", told.get("false_per_hour", 0.0), rate, 1e-4 * rate + 1e-30
        # Where they are often enough to be counted.
        verdict = row(answer, "false-alarm").get("verdict")
        yield f"{number} judged", float(verdict in ("holds", "thin")), float(rate <= 1e-3 * (1.0 + 1e-9)), 0.5


@check(PATH, "safety: false alarms are counted", "millions of samples of the worst unit", 1.0)
def safety_false_alarms(_given, _result):
    random = numpy.random.default_rng(24)
    for number, _, own, answer in asked(drawn_checks, 24, 4):
        told = answer["result"]["checks"][0].get("false_per_hour")
        many = 400_000
        if not told or told * many * own.interval_s / 3600.0 < 20.0:
            continue
        worst = max((own.low, own.high), key=abs)
        counted, alarms = detection.false_alarms(random, many, worst, own.limit, own.n, own.sigma, own.interval_s)
        yield f"{number} counted", counted, told, SIGMAS * told / math.sqrt(max(alarms, 1)) + 1e-3 * told


# --- Detection ------------------------------------------------------------------------------------------------------


def drawn_faults(random):
    one = compared(random)
    # What is known of a difference is a matter of states; here units differ by their errors.
    end = SUFFIX[one["reads"]]
    one |= {f"known_low_{end}": 0.0, f"known_high_{end}": 0.0, "kind": "comparison"}
    fault = deviating(random, one)
    judged = of(random, "worst-case", "probability")
    case = {"goals": [harmed(random, one, fault)], "faults": [fault], "checks": [one], "judged_by": judged}
    return case, Compared(one)


def sizes(fault, end, count=401):
    """Magnitudes that stand for the span, all of which harm."""
    first, last = fault[f"from_{end}"], fault.get(f"to_{end}")
    return numpy.array([first]) if last is None else first + (last - first) * (numpy.arange(count) + 0.5) / count


@check(PATH, "safety: probabilities of detection", "chains of states over the units' errors", 1.0)
def safety_detection(_given, _result):
    random = numpy.random.default_rng(26)
    for number, case, own, answer in asked(drawn_faults, 25):
        fault, end = case["faults"][0], SUFFIX[case["checks"][0]["reads"]]
        samples = own.looks(case["goals"][0]["ftti_s"] - case["goals"][0]["reaction_s"])
        told = answer["result"]["modes"][0]["dc_computed_percent"] / 100.0
        spread = sizes(fault, end)
        if case["judged_by"] == "probability":
            few = spread if spread.size == 1 else sizes(fault, end, 41)
            each = [detection.expected(samples, d, own.limit, own.n, own.sigma, own.errors, (), 801) for d in few]
            expected, near = float(numpy.mean(each)), 0.005 + 0.5 / few.size * (few.size > 1)
            if few.size == 1:
                sigmas = (own.sigma,)
                found = detection.found_by(random, UNITS, samples, few[0], own.limit, own.n, sigmas, own.errors)
                spread_of = math.sqrt(max(found * (1.0 - found), 1.0 / UNITS) / UNITS)
                yield f"{number} units", told, found, SIGMAS * spread_of + 1e-3
        else:
            seen = numpy.where(spread > 0.0, spread >= own.surely()[0], -spread >= own.surely()[1])
            expected, near = float(seen.mean()) * (samples >= own.n), 1.5 / spread.size
        yield f"{number} {case['judged_by']}", told, expected, near


@check(PATH, "safety: what holds is seen by every unit", f"{UNITS} units sample by sample", 1.0)
def safety_holding(_given, _result):
    random = numpy.random.default_rng(27)
    for number, case, own, answer in asked(drawn_faults, 28, 6):
        goals, fault, end = case["goals"][0], case["faults"][0], SUFFIX[case["checks"][0]["reads"]]
        if case["judged_by"] == "probability" or not holds(answer, "hole") or not holds(answer, "handling-time"):
            continue
        samples = own.looks(goals["ftti_s"] - goals["reaction_s"])
        # The least of what harms, in units at the corner of their errors that hides it best.
        span = sizes(fault, end)
        least = span[numpy.argmin(numpy.abs(span))]
        hidden = least + (own.low if least > 0.0 else own.high)
        found = detection.found_by(random, UNITS, samples, hidden, own.limit, own.n, (own.sigma,))
        chance = 1.0 - scipy.stats.norm.sf(case["checks"][0]["noise_sigma"]) * samples
        yield f"{number} seen", max(0.0, chance - found), 0.0, SIGMAS * math.sqrt(max(1.0 - chance, 1e-4) / UNITS)


if __name__ == "__main__":
    sys.exit(not run_checks())
