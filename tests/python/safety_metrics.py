"""Failure rates of modes rolled up outcome by outcome, and two faults in one life, integrated or lived.

A mode is a dict with `fit` and, as shares of one, `safe`, `direct`, `coverage`, `signalled`, `tested`; what is neither
safe nor direct is multi-point. Without any check `coverage` is None.
"""

import math

import numpy
import scipy.integrate

TARGETS = {"b": (0.90, 0.60, 1e-7), "c": (0.97, 0.80, 1e-7), "d": (0.99, 0.90, 1e-8)}


# --- One fault ------------------------------------------------------------------------------------------------------


def outcomes(mode):
    """Every way a fault of this mode can go, with its share."""
    multi = 1.0 - mode["safe"] - mode["direct"]
    yield mode["safe"], "safe"
    covered = mode["coverage"]
    if covered is None:
        yield mode["direct"], "single-point"
    else:
        yield mode["direct"] * (1.0 - covered), "residual"
        yield mode["direct"] * covered * mode["signalled"], "told"
        yield mode["direct"] * covered * (1.0 - mode["signalled"]), "latent"
    yield multi * mode["tested"], "told"
    yield multi * (1.0 - mode["tested"]), "latent"


def tally(modes):
    """Rates of each outcome in FIT."""
    found = dict.fromkeys(("safe", "single-point", "residual", "latent", "told"), 0.0)
    for mode in modes:
        for share, word in outcomes(mode):
            found[word] += mode["fit"] * share
    return found


def metrics(rates, with_safe=True):
    """SPFM and LFM of such a tally; none where nothing is left to divide by."""
    total = sum(rates.values()) - (0.0 if with_safe else rates["safe"])
    unseen = rates["single-point"] + rates["residual"]
    spfm = 1.0 - unseen / total if total > 0.0 else None
    rest = total - unseen
    # What is left of a difference of equal rates is a rounding error.
    return spfm, (1.0 - rates["latent"] / rest if rest > 1e-12 * max(total, 1e-300) else None)


def lived(modes, faults, random):
    """The same tally from faults that happen one by one."""
    rate = numpy.array([mode["fit"] for mode in modes])
    ways = [list(outcomes(mode)) for mode in modes]
    found = dict.fromkeys(("safe", "single-point", "residual", "latent", "told"), 0.0)
    for number, which in zip(random.multinomial(faults, rate / rate.sum()), ways, strict=True):
        shares = numpy.clip([share for share, _ in which], 0.0, 1.0)
        for count, (_, word) in zip(random.multinomial(number, shares / shares.sum()), which, strict=True):
            found[word] += count * rate.sum() / faults
    return found


# --- Coverage over magnitudes ---------------------------------------------------------------------------------------


def uniform(low, high):
    return lambda random, count: random.uniform(low, high, count)


def log_uniform(low, high):
    return lambda random, count: numpy.exp(random.uniform(math.log(low), math.log(high), count))


def covered(draw, harms, seen, random, count=200_000):
    """Share of the harmful magnitudes that some check sees; none where no magnitude harms. `harms` and each of `seen`
    take an array of magnitudes."""
    drawn = draw(random, count)
    dangerous = harms(drawn)
    if not dangerous.any():
        return None, 0
    by_any = numpy.zeros(count, bool)
    for check in seen:
        by_any |= check(drawn)
    return float((by_any & dangerous).sum() / dangerous.sum()), int(dangerous.sum())


# --- Two faults -----------------------------------------------------------------------------------------------------


def both_in_order(first, second, hours):
    """Probability an hour that within so many hours the first happens and then the second, rates per hour."""
    # At t the second happens, and the first has.
    density = lambda t: second * math.exp(-second * t) * -math.expm1(-first * t)  # noqa: E731
    return scipy.integrate.quad(density, 0.0, hours, epsabs=0.0, epsrel=1e-12)[0] / hours


def both_in_any_order(one, other, hours):
    return both_in_order(one, other, hours) + both_in_order(other, one, hours)


def with_tests(fault, loss, life_h, interval_h, coverage, steps=40):
    """Probability an hour that a fault meets a check that is lost: a part of the losses is found at each test, the rest
    lives until the end. Followed from test to test."""
    tests = max(1, round(life_h / interval_h))
    total = 0.0
    for share, span, times in ((coverage, life_h / tests, tests), (1.0 - coverage, life_h, 1)):
        # How likely the check is lost, over the time since the last test.
        t = (numpy.arange(steps * 25) + 0.5) * span / (steps * 25)
        total += share * times * fault * numpy.mean(-numpy.expm1(-loss * t)) * span
    return total / life_h


def lives(random, count, fault, loss, life_h, interval_h, coverage):
    """Share of lives, an hour, in which a fault meets a check that was lost and not yet found to be: lived one by one,
    with rates high enough to be met."""
    lost, broke = random.exponential(1.0 / loss, count), random.exponential(1.0 / fault, count)
    found = numpy.where(random.random(count) < coverage, numpy.ceil(lost / interval_h) * interval_h, life_h)
    return float(((lost < broke) & (broke < numpy.minimum(found, life_h))).mean()) / life_h


def common_cause(beta, check_fit, covered_fits):
    """Rate in FIT at which a check fails with what it covers, by the beta factor: at most the smaller of the two."""
    together = sum(covered_fits)
    return min(beta * math.sqrt(check_fit * together), check_fit, together)


def exposed_h(coverage, interval_h, life_h):
    """How long a loss stays on average before it is found, in hours: what is not found by the test stays for life."""
    return coverage * interval_h + (1.0 - coverage) * life_h
