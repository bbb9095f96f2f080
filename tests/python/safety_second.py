"""A second fault that comes while a first one stands, followed sample by sample through filters and several checks.

Nothing is added up but the signal itself: checks see what a filter makes of it, a limit on the slope sees steps.
"""

import dataclasses
import math

import numpy

from safety_detection import first_run

# Where the second fault may fall between two samples.
PHASES = numpy.linspace(0.02, 1.0, 13)


@dataclasses.dataclass
class Look:
    """A check without noise. Its unit errs by what hides the fault best; `rate` is a limit per second, with `step` the
    most that normal use moves the signal in an interval."""

    name: str
    limit: float
    interval_s: float
    n: int = 1
    error: float = 0.0
    processing_s: float = 0.0
    window_s: float = 0.0
    tau_s: float = 0.0
    rate: float = 0.0
    step: float = 0.0
    acts: bool = True
    signals: bool = True

    def filtered(self, t, first, second):
        """The signal behind the filter, `second` being added at 0 to a `first` that has stood for long."""
        if self.window_s:
            return first + second * numpy.clip(t / self.window_s, 0.0, 1.0)
        if self.tau_s:
            return first + second * -numpy.expm1(-numpy.maximum(t, 0.0) / self.tau_s)
        return first + second * (t > 0.0)

    def after_s(self, first, second):
        """Seconds from the second fault to the alarm in the slowest unit; infinite where some unit never alarms."""
        # Long enough for all that still changes.
        count = self.n + 3 + math.ceil((self.window_s + 40.0 * self.tau_s) / self.interval_s)
        t = self.interval_s * (PHASES[:, None] + numpy.arange(-1, count))
        told = self.filtered(t, first, second)
        if self.rate:
            moved = numpy.abs(numpy.diff(told, axis=1))
            beyond = numpy.pad(moved - self.step >= self.rate * self.interval_s, ((0, 0), (1, 0)))
        else:
            beyond = numpy.abs(told) - self.error >= self.limit
            # Before the second fault it was silent.
            beyond &= t > 0.0
        place = first_run(beyond, self.n)
        if (place == t.shape[1]).any():
            return math.inf
        return float(t[numpy.arange(len(t)), place].max()) + self.processing_s


def ended_s(looks, first, second):
    """Seconds until some check that acts alarms."""
    return min((one.after_s(first, second) for one in looks if one.acts), default=math.inf)


def stays(looks, harms, first):
    """Whether a fault that comes alone stays: it does not harm, and no check acts or tells somebody of it."""
    heard = [one.after_s(0.0, first) for one in looks if one.acts or one.signals]
    return not harms(first) and min(heard, default=math.inf) == math.inf


def violates(looks, harms, allowed_s, one, other, count=25):
    """The first pair of sizes, in this order, that harms for longer than allowed while nobody was told of the first: a
    second that violates alone is no pair. Each fault is (lowest size, highest size, names of its checks)."""
    mine, others = ([look for look in looks if look.name in fault[2]] for fault in (one, other))
    # Whether a check that only one of them names sees both is left open: here it does.
    both = [look for look in looks if look.name in one[2] + other[2]]
    for first in numpy.linspace(*one[:2], count if one[0] < one[1] else 1):
        if not stays(mine, harms, first):
            continue
        for second in numpy.linspace(*other[:2], count if other[0] < other[1] else 1):
            alone = harms(second) and ended_s(others, 0.0, second) > allowed_s
            if not alone and harms(first + second) and ended_s(both, first, second) > allowed_s * (1.0 + 1e-9):
                return float(first), float(second)
    return None
