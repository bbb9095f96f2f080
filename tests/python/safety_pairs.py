"""Two faults in one small design, every pair gone through: which of them violate a goal, and whether anybody was told
of the first.

A design is a goal, modes with a span of deviations, and checks that may be lost. The span is cut wherever harm or a
check begins: within a piece all magnitudes go alike.
"""

import dataclasses
import math

import numpy

import safety_metrics as metrics


@dataclasses.dataclass
class Watch:
    """A check: what it surely sees upwards and downwards, whether it acts in time, and what becomes of its loss."""

    name: str
    sees_up: float
    sees_down: float
    in_time: bool = True
    acts: bool = True
    signals: bool = True
    loss_fit: float = 0.0
    test_h: float = math.inf
    tested: float = 0.0
    ceiling: float = 1.0
    compares: bool = True

    def sees(self, off):
        return off >= self.sees_up or -off >= self.sees_down

    def covers(self, off):
        return self.acts and self.in_time and self.sees(off)


@dataclasses.dataclass
class Mode:
    """A mode of failure: deviations with their shares, and the checks that look at it."""

    name: str
    fit: float
    deviations: numpy.ndarray
    shares: numpy.ndarray
    seen_by: tuple
    span: tuple = (0.0, 0.0)


@dataclasses.dataclass
class Goal:
    """Deviations from here on harm, upwards or downwards or both."""

    harm: float
    up: bool = True
    down: bool = False

    def harms(self, off):
        return (self.up and off >= self.harm) or (self.down and -off >= self.harm)


def spread(first, last, goal, checks):
    """Middles and shares of the pieces of a span of alike probable deviations."""
    cuts = [goal.harm, *(one.sees_up for one in checks), *(one.sees_down for one in checks)]
    inside = sorted(cut for size in cuts for cut in (size, -size) if first < cut < last)
    ends = numpy.array([first, *inside, last])
    if first == last:
        return numpy.array([first]), numpy.ones(1)
    return (ends[1:] + ends[:-1]) / 2.0, numpy.diff(ends) / (last - first)


# --- One fault ------------------------------------------------------------------------------------------------------


def outcomes(goal, mode, checks):
    """For each magnitude: whether it harms, and the checks that end it in time."""
    looking = [one for one in checks if one.name in mode.seen_by]
    return [(goal.harms(off), tuple(one.name for one in looking if one.covers(off))) for off in mode.deviations]


def told(mode, off, checks, acting):
    """Whether somebody is told of a magnitude, soon or late: by a check that acts, or by any."""
    return any(one.name in mode.seen_by and one.signals and one.sees(off) for one in checks if one.acts or not acting)


def shares(goal, mode, checks):
    """Direct share, covered part of all, and the part of all that each check covers alone."""
    direct, covered, alone = 0.0, 0.0, {one.name: 0.0 for one in checks}
    for (harms, by), share in zip(outcomes(goal, mode, checks), mode.shares, strict=True):
        direct += share * harms
        covered += share * (harms and bool(by))
        if harms and len(by) == 1:
            alone[by[0]] += share
    return direct, covered, alone


def hidden(goal, mode, checks, acting, alone=None):
    """Share of all magnitudes that is covered, by one check alone if it is named, and of which nobody is told."""
    found = 0.0
    for (harms, by), off, share in zip(outcomes(goal, mode, checks), mode.deviations, mode.shares, strict=True):
        if harms and (by == (alone,) if alone else by) and not told(mode, off, checks, acting):
            found += share
    return found


# --- A fault and a lost check ---------------------------------------------------------------------------------------


def exposed(check, life_h):
    return (check.test_h, check.tested) if check.test_h < life_h else (life_h, 0.0)


def dual_fit(goal, modes, checks, life_h, ceiling, acting):
    """Rate in FIT at which a mode meets the loss of the one check that covers it, in any order where nobody is told of
    the mode, and the covered rate by check. No more than `ceiling` of a mode may be counted as covered."""
    total, covered_by = 0.0, {one.name: 0.0 for one in checks}
    for mode in modes:
        direct, covered, alone = shares(goal, mode, checks)
        cut = min(1.0, ceiling * direct / covered) if covered else 1.0
        for check in checks:
            if alone[check.name] == 0.0:
                continue
            fit = mode.fit * alone[check.name] * cut
            covered_by[check.name] += fit
            rates = fit * 1e-9, check.loss_fit * 1e-9
            first = metrics.with_tests(*rates, life_h, *exposed(check, life_h)) * 1e9
            total += first * (1.0 + hidden(goal, mode, checks, acting, check.name) / alone[check.name])
    return total, covered_by


# --- Every pair -----------------------------------------------------------------------------------------------------


def noticed(check, multi_point_h):
    """Whether the loss of a check is found before a second fault is to be reckoned with."""
    return check.test_h <= multi_point_h and check.tested > 0.0


def losses(goal, modes, checks, multi_point_h):
    """Each mode with each check as (mode, check), whether it violates when the check is lost, and whether the loss is
    found before."""
    for check in checks:
        left = [one for one in checks if one is not check]
        for mode in modes:
            with_it, without = outcomes(goal, mode, checks), outcomes(goal, mode, left)
            lost = any(harms and by and not rest for (harms, by), (_, rest) in zip(with_it, without, strict=True))
            yield (mode.name, check.name), lost, noticed(check, multi_point_h)


def places(goal, mode, checks, count):
    """Magnitudes of a span, closely on both sides of where harm and what a check sees begin as well."""
    ends = [goal.harm, *(one.sees_up for one in checks), *(one.sees_down for one in checks)]
    cuts = numpy.multiply.outer([-1.0 - 1e-6, -1.0 + 1e-6, 1.0 - 1e-6, 1.0 + 1e-6], ends).ravel()
    low, high = mode.span
    return numpy.concatenate([numpy.linspace(low, high, count), cuts[(low < cuts) & (cuts < high)]])


def additions(goal, one, other, checks, looking, count=201):
    """Whether two modes violate together unnoticed: the first does not harm, and no check that acts or tells somebody
    sees it, so that it stays; the second is none that violates alone; both add up to what harms and what no check of
    `looking` ends in time."""
    first, second = (places(goal, mode, checks, count) for mode in (one, other))
    first, second = first[:, None], second[None, :]

    def by(off, of, test):
        found = numpy.zeros(numpy.shape(off), bool)
        for check in of:
            found |= test(check) & ((off >= check.sees_up) | (-off >= check.sees_down))
        return found

    def harms(off):
        return ((off >= goal.harm) & goal.up) | ((-off >= goal.harm) & goal.down)

    ends = lambda check: check.acts and check.in_time  # noqa: E731
    both = first + second
    missed = harms(both) & ~by(both, looking, ends)
    found = numpy.zeros(both.shape, bool)
    for here, mine, there, others in ((first, one, second, other), (second, other, first, one)):
        of_mine = [check for check in checks if check.name in mine.seen_by]
        of_others = [check for check in checks if check.name in others.seen_by]
        stays = ~harms(here) & ~by(here, of_mine, lambda check: check.acts or check.signals)
        found |= missed & stays & (~harms(there) | by(there, of_others, ends))
    return bool(found.any())
