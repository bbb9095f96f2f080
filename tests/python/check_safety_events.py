"""Functional safety: checks behind an average, and kinds beside the comparison, met by faults event by event.

    BASE_URL=http://127.0.0.1:8080 python check_safety_events.py

SAFETY_DESIGNS says how many.
"""

import math
import sys

import numpy
import scipy.stats

import safety_detection as detection
from charge_designs import between, of
from check_safety import PATH, SIGMAS, Compared, asked
from harness import check
from harness import run as run_checks
from safety_designs import SUFFIX, compared, harmed

UNITS = 4000


def drawn_averaged(random):
    one = compared(random) | {"kind": "comparison"}
    end = SUFFIX[one["reads"]]
    one |= {f"known_low_{end}": 0.0, f"known_high_{end}": 0.0}
    one["averaging_s"] = of(random, 0.5, 2.0, 5.0) * one["interval_s"] * one["in_a_row"]
    own = Compared(one)
    size = of(random, -1.0, 1.0) * own.surely()[0] * between(random, 0.95, 4.0)
    fault = {"component": "Channel", "mode": "off", "rate_fit": 10.0, "seen_by": one["name"], f"from_{end}": size}
    aim = harmed(random, one, fault)
    looks = one["processing_s"] + one["interval_s"] * one["in_a_row"]
    aim["ftti_s"] = looks + one["averaging_s"] * between(random, 0.0, 1.5)
    return {"goals": [aim], "faults": [fault], "checks": [one], "judged_by": "worst-case"}, own


def speaks(random, own, signal, deadline_s):
    """Share of units that speak before a deadline, the sampling anywhere against the fault, each at the corner of its
    errors that hides it best."""
    samples = max(0, math.floor((deadline_s - own.processing_s) / own.interval_s + 2.0))
    phase = random.random((UNITS, 1)) * own.interval_s
    at = phase + own.interval_s * numpy.arange(samples)
    hidden = signal(at) - math.copysign(sum(own.errors), signal(1e9))
    off = hidden + random.normal(0.0, 1.0, at.shape) * own.sigma
    place = detection.first_run(numpy.abs(off) > own.limit, own.n)
    spoken = numpy.where(place < samples, phase[:, 0] + own.interval_s * place + own.processing_s, math.inf)
    return float((spoken <= deadline_s * (1.0 + 1e-9)).mean())


@check(PATH, "safety: a fault behind an average", f"{UNITS} units sample by sample", 1.0)
def safety_averaged(_given, _result):
    random = numpy.random.default_rng(61)
    for number, case, own, answer in asked(drawn_averaged, 62, 3):
        aim, one, fault = case["goals"][0], case["checks"][0], case["faults"][0]
        size = fault[f"from_{SUFFIX[one['reads']]}"]
        told = answer["result"]["modes"][0]
        covers = told["dc_computed_percent"]
        if covers == 100.0:
            signal = detection.averaged(size, one["averaging_s"])
            found = speaks(random, own, signal, aim["ftti_s"] - aim["reaction_s"])
            each = scipy.stats.norm.sf(one["noise_sigma"]) if own.sigma else 0.0
            short = max(0.0, 1.0 - own.n * each - found)
            yield f"{number} seen in time", short, 0.0, SIGMAS * math.sqrt(max(own.n * each, 1e-4) / UNITS)
        elif abs(size) > own.surely()[0] * (1.0 + 1e-9):
            # Needlessly late? With all of the noise against it, it must be possible to be late.
            rises, against = detection.averaged(abs(size), one["averaging_s"]), sum(own.errors) + own.noise
            hidden = lambda t: numpy.maximum(rises(t) - against, 0.0)  # noqa: B023,E731
            calm = detection.times(hidden, own.limit, own.n, own.interval_s, own.processing_s).max()
            left = aim["ftti_s"] - aim["reaction_s"]
            yield f"{number} is late: {covers} %", float(calm >= 0.995 * left - 0.01 * own.interval_s), 1.0, 0.5


if __name__ == "__main__":
    sys.exit(not run_checks())
