"""Recorded profiles: the built-in one is made again by its formula and summed by numpy."""

import numpy

from harness import check

PATH = "/api/v1/charge-counting/profile"
# Continuous, peak, its duration, charging peak, nominal voltage, resistance.
PACKS = {
    "mountain-rescue-car": (400, 600, 10, 600, 722.7, 0.2082),
    "lighthouse-relay": (60, 120, 60, 120, 51.2, 0.0168),
    "vineyard-tractor-charger": (32, 34, 2, 0, 360, 0),
}


def profile(name):
    continuous, peak, duration, charging, nominal, resistance = PACKS[name]
    k = numpy.arange(601)
    place, cycle = k % 150, k // 150
    since = 2.0 * place - 100
    wave = continuous * (0.45 + 0.3 * numpy.sin(2 * numpy.pi * k / 95) + 0.2 * numpy.sin(2 * numpy.pi * k / 23))
    i = numpy.maximum(wave, 0)
    i[(cycle % 2 == 1) & (place >= 125)] = 0
    i[(since >= duration) & (since < duration + 24)] = -0.7 * charging
    i[(since >= 0) & (since < duration)] = peak
    return 2.0 * k, numpy.round(i, 2), numpy.round(nominal - resistance * i, 2)


@check(PATH, "a built-in profile", "numpy", 1e-9, *({"profile": name} for name in PACKS))
def built_in(given, result):
    t, i, v = profile(given["profile"])
    step, held = numpy.diff(t), i[:-1]
    yield "out", result["discharge_ah"], (numpy.maximum(held, 0) * step).sum() / 3600
    yield "in", result["charge_ah"], (numpy.maximum(-held, 0) * step).sum() / 3600, 1e-9
    yield "straight", result["net_trapezoid_ah"], numpy.trapezoid(i, t) / 3600
    yield "effective", result["rms_a"], numpy.sqrt((held**2 * step).sum() / step.sum())
    yield "energy", result["energy_net_j"], (held * v[:-1] * step).sum()
    yield "largest", result["highest"]["current_a"], i.max()


@check(PATH, "noise and limits in the count", "closed form", 1e-9,
       {"chain": {"offset_a": 0.2, "gain_percent": 0.4, "asymmetry_percent": 0.1, "noise_a": 0.3, "sample_s": 0.01}})
def cone(given, result):
    t, i, _ = profile(given["profile"])
    seconds, net = t[-1], (i[:-1] * numpy.diff(t)).sum()
    through = (abs(i[:-1]) * numpy.diff(t)).sum()
    noise = 0.3 * numpy.sqrt(0.01 * seconds)
    limits = 0.2 * seconds + 0.004 * abs(net) + 0.0005 * through
    reading = result["reading"]
    yield "noise", reading["noise_ah"], noise / 3600
    yield "highest", reading["highest_ah"], (limits + 3 * noise) / 3600
    yield "lowest", reading["lowest_ah"], -(limits + 3 * noise) / 3600
