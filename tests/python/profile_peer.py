"""A profile by general-purpose libraries, and by the server: the same sums of the same file, and how long each takes.

    BASE_URL=http://127.0.0.1:8080 python profile_peer.py FILE [TIMES]

Needs pandas beside what requirements.txt names. Each turn of the libraries has a process of its own, as a script has: a
second turn in one process finds its memory ready and takes half the time. Prints seconds of each turn, the middle ratio, and
the largest relative difference of any sum.
"""

import http.client
import json
import multiprocessing
import os
import statistics
import sys
import time
import urllib.parse

import numpy
import pandas


def peer(path):
    """The sums that a profile without a chain has."""
    table = pandas.read_csv(path)
    t, i, v = (table.iloc[:, column].to_numpy() for column in range(3))
    step, held = numpy.diff(t), i[:-1]
    power, points = v[:-1] * held, range(0, len(i), len(i) // 2048 + 1)
    numpy.histogram(held, 64, weights=step)
    numpy.minimum.reduceat(i, points), numpy.maximum.reduceat(i, points)
    numpy.add.reduceat(held * step, [point for point in points if point < len(held)])
    numpy.count_nonzero(step > 10 * numpy.median(step[:1000]))
    i.argmax(), i.argmin(), v.max(), v.min()
    return {
        "discharge_ah": (numpy.maximum(held, 0) * step).sum() / 3600,
        "charge_ah": (numpy.maximum(-held, 0) * step).sum() / 3600,
        "net_trapezoid_ah": numpy.trapezoid(i, t) / 3600,
        "rms_a": numpy.sqrt((held * held * step).sum() / step.sum()),
        "energy_out_j": (numpy.maximum(power, 0) * step).sum(),
        "energy_in_j": (numpy.maximum(-power, 0) * step).sum(),
    }


def server(path):
    base = urllib.parse.urlsplit(os.environ["BASE_URL"])
    connection = http.client.HTTPConnection(base.hostname, base.port, timeout=600, blocksize=1 << 18)
    with open(path, "rb") as file:
        headers = {"content-type": "text/csv", "content-length": str(os.path.getsize(path))}
        connection.request("POST", "/api/v1/charge-counting/profile", file, headers)
        return json.loads(connection.getresponse().read())["result"]


def timed(work, path):
    began = time.perf_counter()
    return work(path), time.perf_counter() - began


def main():
    path, times = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 3
    turns = []
    for _ in range(times):
        with multiprocessing.get_context("spawn").Pool(1) as process:
            sums, theirs = process.apply(timed, (peer, path))
        result, ours = timed(server, path)
        turns.append(theirs / ours)
        print(f"pandas and numpy {theirs:.3f} s, server {ours:.3f} s, {turns[-1]:.2f} times faster")
    worst = max(abs(result[name] / value - 1) for name, value in sums.items())
    print(f"middle of {times}: {statistics.median(turns):.2f} times faster; largest relative difference {worst:.1e}")
    assert worst < 1e-9


if __name__ == "__main__":
    main()
