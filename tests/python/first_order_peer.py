"""Peer of the benchmark: the first-order budget of the same 22 sources with the `uncertainties` package.

Prints one line of JSON with the seconds of one budget: the combined standard uncertainty and every source's share.
"""

import json
import math
import timeit

import uncertainties

import peer_budget

DIVISORS = {"rectangular": math.sqrt(3.0), "triangular": math.sqrt(6.0), "normal": 2.0}


def run():
    inputs = [uncertainties.ufloat(0.0, limit / DIVISORS[shape]) for shape, limit in peer_budget.SOURCES]
    error = peer_budget.error(inputs)
    variance = error.std_dev**2
    return error.std_dev, [part**2 / variance for part in error.error_components().values()]


if __name__ == "__main__":
    standard, shares = run()
    assert len(shares) == len(peer_budget.SOURCES)
    assert math.isclose(sum(shares), 1.0)
    rounds = 200
    seconds = min(timeit.repeat(run, number=rounds, repeat=7)) / rounds
    peer = f"uncertainties {uncertainties.__version__}"
    print(json.dumps({"peer": peer, "seconds": seconds, "standard": standard}))
