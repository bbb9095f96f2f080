"""The link that discharges, state by state: C dv/dt = I + P/v - v/R - i - p/v, and v never below a back-EMF that falls in a
straight line.

Kirchhoff's current law at the link, its diode ideal. Between the corners (a feed ends, the machine stands) every step is a
closed form: the exponential of RC for v with a resistance and a current, for v^2 with a resistance and a power. With a current
and a power y = v k / P has y + ln|1 - y| run in a straight line; W of Lambert turns it round, near zero a series, because
there y and ln(1 - y) cancel. A sink of power ends where the link is empty, then it takes what a source of power gives it.
"""

import numpy
from scipy.special import lambertw, wrightomega

POINTS = 50


def bent(y):
    """y + ln|1 - y|, to all digits where y is small."""
    small = numpy.abs(y) < 0.03
    z = numpy.where(small, y, 0.0)
    with numpy.errstate(all="ignore"):
        far = y + numpy.log(numpy.abs(1.0 - y))
    return numpy.where(small, -sum(z**n / n for n in range(2, 13)), far)


def straight(g, above):
    """y from y + ln|1 - y|, above or below 1; zero where it has come to its end."""
    p = numpy.sqrt(numpy.maximum(-2.0 * g, 0.0))
    near = p * (1.0 + p * (-1.0 / 3.0 + p * (1.0 / 36.0 + p * (1.0 / 270.0 + p / 4320.0))))
    with numpy.errstate(all="ignore"):
        below = numpy.where(p < 0.02, near, 1.0 + lambertw(-numpy.exp(numpy.minimum(g, 0.0) - 1.0)).real)
        return numpy.where(above, 1.0 + wrightomega(g - 1.0), below)


def stepped(v, dt, farad, siemens, amps, watts):
    """The voltage `dt` later, the machine left out; amps and watts flow into the link, or out of it where negative."""
    with numpy.errstate(all="ignore"):
        if not numpy.any(watts):
            share = -numpy.expm1(-dt * siemens / farad)
            moved = numpy.where(siemens > 0.0, amps / siemens * share, amps * dt / farad)
            return numpy.maximum(v * (1.0 - share) + moved, 0.0)
        if not numpy.any(amps):
            share = -numpy.expm1(-2.0 * dt * siemens / farad)
            moved = numpy.where(siemens > 0.0, watts / siemens * share, 2.0 * watts * dt / farad)
            return numpy.sqrt(numpy.maximum(v * v * (1.0 - share) + moved, 0.0))
    even = -watts / amps
    y = v / even
    return even * straight(bent(y) + dt * amps / (farad * even), y > 1.0)


def lasts(v, end, farad, siemens, amps, watts):
    """The time from v down to `end` when nothing changes any more; infinite where it never comes there."""
    with numpy.errstate(all="ignore"):
        if not numpy.any(watts):
            even = amps / siemens
            time = numpy.where(siemens > 0.0, farad / siemens * numpy.log((v - even) / (end - even)), farad * (v - end) / -amps)
            falls = amps < siemens * end
            falls = numpy.where(siemens > 0.0, falls, amps < 0.0)
        elif not numpy.any(amps):
            even = watts / siemens
            slow = 0.5 * farad / siemens * numpy.log((v * v - even) / (end * end - even))
            time = numpy.where(siemens > 0.0, slow, 0.5 * farad * (v * v - end * end) / -watts)
            falls = numpy.where(siemens > 0.0, watts < siemens * end * end, watts < 0.0)
        else:
            even = -watts / amps
            time = (bent(end / even) - bent(v / even)) * farad * even / amps
            # A sink of power pulls below the even voltage, one of current above it.
            falls = numpy.where(watts < 0.0, v < even, end > even)
        return numpy.where(v <= end, 0.0, numpy.where(falls, time, numpy.inf))


def taken(given, way, factor):
    """Conductance, current and power of a way, its value times `factor`."""
    none, active = numpy.zeros_like(factor), given["active"]
    if way == "passive":
        return 1.0 / (given["passive"]["resistance_ohm"] * factor), none, none
    if active["kind"] == "resistor":
        return 1.0 / (active["resistance_ohm"] * factor), none, none
    if active["kind"] == "constant-current":
        return none, active["current_a"] * factor, none
    return none, none, active["power_w"] * factor


class Sources:
    """What feeds the link: a current or a power until it ends, and a machine until it stands."""

    def __init__(self, feed):
        kind = feed["kind"]
        self.amps = feed["current_a"] if kind == "constant-current" else 0.0
        self.watts = feed["power_w"] if kind == "constant-power" else 0.0
        self.off = 0.0 if kind == "none" else feed.get("for_s", numpy.inf)
        self.emf = feed.get("back_emf_v", 0.0)
        self.stands = feed["stop_s"] if self.emf else 0.0

    def held(self, t):
        return self.emf * max(1.0 - t / self.stands, 0.0) if self.emf else 0.0

    def passes(self, volts):
        """When the machine is at a voltage."""
        return self.stands * (1.0 - volts / self.emf) if self.emf > volts else 0.0

    def grid(self, until):
        """The corners, and steps that begin short behind each."""
        marks = sorted({0.0, until, *(x for x in (self.off, self.stands) if 0.0 < x < until)})
        grow = numpy.unique(numpy.concatenate([numpy.geomspace(1e-5, 1.0, POINTS), numpy.linspace(0.0, 1.0, POINTS)]))
        spans = [a + (b - a) * grow[:-1] for a, b in zip(marks, marks[1:])]
        return numpy.concatenate([*spans, [until]])


def spent(alive, dt, seen, takes, source):
    """Energy in a way within one step: `alive` until the link is empty, voltages at its beginning, its middle and its end."""
    siemens, amps, watts = takes
    if numpy.any(watts):
        return watts * alive + numpy.minimum(source, watts) * (dt - alive)
    return alive / 6.0 * sum(n * (siemens * v * v + amps * v) for n, v in zip((1.0, 4.0, 1.0), seen))


def course(given, start, farad, takes, until=None):
    """Follows states: the time to the safe voltage, the highest voltage, that at the end, the energy in the way.

    As far as `until`, or for ever: what follows the last corner is a closed form.
    """
    sources, safe = Sources(given["feed"]), given["safe_v"]
    siemens, sink_a, sink_w = takes
    last = until or max(x for x in (sources.off, sources.stands) if numpy.isfinite(x))
    grid = sources.grid(last) if last > 0.0 else numpy.zeros(1)
    v = numpy.maximum(start, sources.emf) + 0.0 * farad
    most, joule, time = v, 0.0 * v, numpy.zeros_like(v)
    for t, then in zip(grid, grid[1:]):
        fed = (sources.amps, sources.watts) if t < sources.off else (0.0, 0.0)
        net, dt = (siemens, fed[0] - sink_a, fed[1] - sink_w), then - t
        # A machine that turns, and a resistance, never leave the link empty.
        whole = sources.held(t) > 0.0 or numpy.any(siemens)
        alive = dt + 0.0 * v if whole else numpy.minimum(lasts(v, 0.0, farad, *net), dt)
        middle = numpy.maximum(stepped(v, 0.5 * alive, farad, *net), sources.held(t + 0.5 * dt))
        new = numpy.maximum(stepped(v, dt, farad, *net), sources.held(then))
        joule = joule + spent(alive, dt, (v, middle, new), takes, fed[1])
        leaves = (v > safe) & (new <= safe)
        if leaves.any():
            passes = numpy.maximum(t + lasts(v, safe, farad, *net), sources.passes(safe))
            time = numpy.where(leaves, numpy.minimum(passes, then), time)
        time = numpy.where(new > safe, then, time)
        most, v = numpy.maximum(most, new), new
    if until is None:
        fed = (0.0, 0.0) if numpy.isfinite(sources.off) else (sources.amps, sources.watts)
        net = (siemens, fed[0] - sink_a, fed[1] - sink_w)
        time = numpy.where(v > safe, last + lasts(v, safe, farad, *net), time)
        if any(fed):
            rests = stepped(v, 1e9, farad, *net)
            most, time = numpy.maximum(most, rests), numpy.where(rests > safe, numpy.inf, time)
            joule = joule + numpy.inf
    return {"time": time, "most": most, "end": v, "joule": joule + 0.5 * farad * v * v}
