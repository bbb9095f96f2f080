"""What a design does with a reading that a fault has shifted: thresholds, the race, pre-charge; stepped or
integrated."""

import dataclasses
import math

import numpy
import scipy.integrate
import scipy.signal

# --- Threshold ------------------------------------------------------------------------------------------------------


@dataclasses.dataclass
class Outcome:
    """When a threshold opens, and at what: `in-time`, `late`, `never` or `early`."""

    word: str
    trips_at: float = math.inf
    late_s: float = 0.0


def trips_at(reading, error, threshold, reach, upward=True, places=200_001):
    """Where a rising (or falling) quantity surely trips: its reading has passed the threshold with all of its error."""
    x = numpy.linspace(*reach, places)
    told = reading(x)
    sure = told - error >= threshold if upward else told + error <= threshold
    if not sure.any():
        return math.inf
    # Every value that has not been passed may be passed by; what stands beyond the last that does not trip is sure.
    ordered = sure if upward else sure[::-1]
    silent = numpy.flatnonzero(~ordered)
    first = 0 if not silent.size else silent[-1] + 1
    if first >= places:
        return math.inf
    return float(x[first] if upward else x[places - 1 - first])


def rides(reading, error, threshold, start, hazard, largest, slope, delay_s, normal, step_s):
    """A quantity rises (or falls) at a slope to the largest possible value and stays: time runs, the reading is looked
    at, and what opens opens a delay later. The answer says where the quantity is by then."""
    sign = math.copysign(1.0, slope)
    t = numpy.arange(0.0, abs(largest - start) / abs(slope) + 1000.0 * step_s, step_s)
    x = start + slope * t
    x = numpy.minimum(x, largest) if slope > 0.0 else numpy.maximum(x, largest)
    seen = numpy.flatnonzero(sign * (reading(x) - sign * error) >= sign * threshold)
    if not seen.size:
        return Outcome("never")
    passed = x[seen[0]]
    # The quantity goes on while the design reacts.
    reached = passed + slope * delay_s
    over = sign * (reached - hazard)
    if over > 0.0:
        return Outcome("late", passed, over / abs(slope))
    # What harms comes first: only what is in time may also come too soon.
    early = sign * (float(reading(normal)) + sign * error) >= sign * threshold
    return Outcome("early" if early else "in-time", passed)


# --- Race -----------------------------------------------------------------------------------------------------------


def crosses_s(source_v, ohm, henry, before_a, threshold_a, gain=1.0, offset=0.0, longest_tau=60.0):
    """Seconds until the reading of a short circuit's current passes the threshold, integrated."""

    def slope(_, i):
        return [(source_v - i[0] * ohm) / henry]

    def passed(_, i):
        return gain * i[0] + offset - threshold_a

    passed.terminal = True
    if gain * before_a + offset >= threshold_a:
        return 0.0
    longest = longest_tau * henry / ohm
    steps = {"rtol": 1e-11, "atol": 1e-9, "max_step": longest / 200.0}
    found = scipy.integrate.solve_ivp(slope, (0.0, longest), [before_a], events=passed, **steps)
    return float(found.t_events[0][0]) if found.t_events[0].size else math.inf


def opened(source_v, ohm, henry, before_a, threshold_a, reaction_s, gain=1.0, offset=0.0, filter_s=0.0, longest_s=None):
    """A short circuit met by a threshold behind a filter, in small steps: seconds, current and I2t when the switch
    opens; infinite where the reading never gets there."""
    tau = henry / ohm
    longest_s = longest_s or 40.0 * (tau + filter_s)
    steps = 200_000
    t = numpy.linspace(0.0, longest_s, steps + 1)
    end = source_v / ohm
    i = end + (before_a - end) * numpy.exp(-t / tau)
    told = gain * i + offset
    if filter_s:
        # The pole follows each step's mean exactly.
        left = math.exp(-(t[1] - t[0]) / filter_s)
        means = (1.0 - left) * (told[1:] + told[:-1]) / 2.0
        start = gain * before_a + offset
        told = scipy.signal.lfilter([1.0], [1.0, -left], numpy.concatenate([[start], means]))
    passed = numpy.flatnonzero(told >= threshold_a)
    if not passed.size:
        return math.inf, end, math.inf
    opens_s = t[passed[0]] + reaction_s
    at = end + (before_a - end) * math.exp(-opens_s / tau)
    course = numpy.linspace(0.0, opens_s, 20_001)
    flows = end + (before_a - end) * numpy.exp(-course / tau)
    return float(opens_s), float(at), float(scipy.integrate.simpson(flows**2, x=course))


# --- Pre-charge -----------------------------------------------------------------------------------------------------


@dataclasses.dataclass
class Read:
    """A channel: gain and offset of what it tells."""

    gain: float = 1.0
    offset: float = 0.0

    def __call__(self, volt):
        return self.gain * volt + self.offset


def closes(pack_v, ohm, farad, target, link=Read(), pack=Read(), load=lambda volt: 0.0, longest_s=1e3, **more):
    """Seconds until the contactor closes by its readings and the true ratio then; infinite and where it stalls. It
    closes at a share of the pack, or (`difference_v`) where the readings differ by no more."""
    start_v, difference_v = more.get("start_v", 0.0), more.get("difference_v")

    def lacks(v):
        wanted = target * pack(pack_v) if difference_v is None else pack(pack_v) - difference_v
        return link(v) - wanted

    def slope(_, v):
        return [((pack_v - v[0]) / ohm - load(v[0])) / farad]

    def reached(_, v):
        return lacks(v[0])

    reached.terminal = True
    if lacks(start_v) >= 0.0:
        return 0.0, start_v / pack_v
    span = (0.0, min(longest_s, 40.0 * ohm * farad))
    steps = {"rtol": 1e-10, "atol": 1e-9, "max_step": span[1] / 100.0}
    found = scipy.integrate.solve_ivp(slope, span, [start_v], events=reached, **steps)
    volt = found.y[0, -1]
    return (float(found.t_events[0][0]) if found.t_events[0].size else math.inf), float(volt / pack_v)


def inrush_a(step_v, ohm, henry, farad):
    """The largest current when a contactor closes onto a capacitor that lacks `step_v`."""

    def slope(_, state):
        current, volt = state
        return [(step_v - volt - current * ohm) / henry, current / farad]

    ring = math.sqrt(henry * farad)
    longest = 3.0 * max(henry / ohm, ohm * farad, ring)
    steps = {"rtol": 1e-10, "atol": 1e-10, "max_step": ring / 20.0}
    found = scipy.integrate.solve_ivp(slope, (0.0, longest), [0.0, 0.0], method="LSODA", **steps)
    return float(found.y[0].max())
