"""Peer of the benchmark: the Monte Carlo budget in numpy on one thread, blocked so that the work stays in the cache.

Prints one line of JSON with the seconds of the run and of its random numbers alone, for numpy's usual generator and for
its fastest one.
"""

import json
import time

import numpy

import peer_budget

TRIALS = 1_000_000
BLOCK = 8192
COVERAGES = (0.95, 0.9973)


def draw(generator, size):
    """The deviates of `size` trials, source by source, so that only one array of them lives at a time."""
    for shape, limit in peer_budget.SOURCES:
        if shape == "rectangular":
            yield generator.uniform(-limit, limit, size)
        elif shape == "triangular":
            yield generator.triangular(-limit, 0.0, limit, size)
        else:
            yield generator.normal(0.0, limit / 2.0, size)


def blocks():
    for start in range(0, TRIALS, BLOCK):
        yield slice(start, min(start + BLOCK, TRIALS))


def run(generator):
    values = numpy.empty(TRIALS)
    for block in blocks():
        values[block] = peer_budget.error(draw(generator, block.stop - block.start))
    # JCGM 101 7.7.2: the ends are order statistics; only those ranks are put in place, which is faster than sorting.
    ranks = {}
    for coverage in COVERAGES:
        width = round(coverage * TRIALS)
        low = round((TRIALS - width) / 2)
        ranks[coverage] = (low, low + width)
    values.partition(sorted(rank for pair in ranks.values() for rank in pair))
    intervals = {str(coverage): [float(values[low]), float(values[high])] for coverage, (low, high) in ranks.items()}
    return intervals | {"mean": float(values.mean()), "standard": float(values.std(ddof=1))}


def draws_only(generator):
    for block in blocks():
        for _ in draw(generator, block.stop - block.start):
            pass


def best_of(times, work, generator):
    """The shortest run: what disturbs a run only ever makes it longer."""
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        result = work(generator)
        seconds.append(time.perf_counter() - start)
    return min(seconds), result


if __name__ == "__main__":
    answer = {"peer": f"numpy {numpy.__version__}", "trials": TRIALS, "sources": len(peer_budget.SOURCES)}
    for name, bits in (("usual", numpy.random.PCG64(1)), ("fastest", numpy.random.SFC64(1))):
        generator = numpy.random.Generator(bits)
        seconds, result = best_of(7, run, generator)
        drawing, _ = best_of(7, draws_only, generator)
        answer[name] = {"seconds": seconds, "draws_only_seconds": drawing, "result": result}
    print(json.dumps(answer))
