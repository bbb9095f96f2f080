"""Ripple: what a comparator, a clipping converter and a mean of samples see at worst, from the differential equation.

The current is a triangle x of slope s, the shunt tells u = x + (L/R) s, and a filter turns it into y by tau dy/dt = u - y. On a
straight piece of x the solution is y = x + (L/R - tau) s + A exp(-t/tau); that both corners join makes it periodic and gives A
(a sine: the two poles at its frequency). Nothing but this solution is used. Over the range of the rising part it is searched
for the highest and lowest value, for the mean of what the range of the converter leaves of it (rectangles, a thousand to a
piece), and for the highest and lowest mean of equally spaced samples in every phase. A mean of samples has its extremes where
samples meet a corner, or both corners: these states are tried besides a grid, and the best are followed uphill.

The limits lie a thousandth beyond or below what is told, so that both verdicts are asked for; what is told may differ by half
a percent from what is found.
"""

import numpy

from harness import changed, examples, fetch, hunt, pressed

PATH, ROOM, APART, EDGE = "/api/v1/ripple", 1e-3, 5e-3, 1e-9
# States of a mean of samples that are followed uphill, and how far a step goes at first.
CLIMBERS, TRIES, STEPS, STRIDE = 8, 16, 60, 0.02


class Wave:
    """What is seen of the ripple without its mean, behind the shunt and a filter."""

    def __init__(self, given, tau):
        self.period, self.swing, self.tau = 1.0 / given["frequency_hz"], given["peak_to_peak_a"], tau
        self.lag, self.sine = given["shunt"]["inductance_henry"] / given["shunt"]["resistance_ohm"], given["shape"] == "sine"
        self.amplitude = 0.5 * self.swing * abs(1.0 + 2j * numpy.pi * self.lag / self.period)
        self.amplitude /= abs(1.0 + 2j * numpy.pi * tau / self.period)
        self.duties = (0.5, 0.5)
        if not self.sine:
            usual = given["duty_percent"]
            self.duties = (given.get("duty_min_percent", usual) / 100.0, given.get("duty_max_percent", usual) / 100.0)

    def pieces(self, duty):
        """Of the rising and of the falling edge: length, slope, value at its begin less the decaying part, and that part."""
        rises, falls = duty * self.period, (1.0 - duty) * self.period
        up, down = self.swing / rises, -self.swing / falls
        step = (self.lag - self.tau) * (up - down)
        first = second = numpy.zeros_like(duty)
        if self.tau > 0.0:
            whole = -numpy.expm1(-self.period / self.tau)
            first, second = step * numpy.expm1(-falls / self.tau) / whole, -step * numpy.expm1(-rises / self.tau) / whole
        half, moved = 0.5 * self.swing, self.lag - self.tau
        return (rises, up, moved * up - half, first), (falls, down, moved * down + half, second)

    def fades(self, t):
        return numpy.exp(-t / self.tau) if self.tau > 0.0 else numpy.zeros_like(t)

    def at(self, duty, turn):
        """The value at a part of the period."""
        turn = turn % 1.0
        if self.sine:
            return self.amplitude * numpy.sin(2.0 * numpy.pi * turn) + 0.0 * duty
        rising, falling = self.pieces(duty)
        on = turn < duty
        _, slope, begin, decays = (numpy.where(on, one, other) for one, other in zip(rising, falling))
        t = numpy.where(on, turn, turn - duty) * self.period
        return begin + slope * t + decays * self.fades(t)

    def span(self):
        """Lowest and highest value over every rising part: at a corner, or where the slope of a piece passes zero."""
        duty = numpy.linspace(*self.duties, 2001)
        if self.sine:
            return -self.amplitude, self.amplitude
        found = []
        for length, slope, begin, decays in self.pieces(duty):
            times = [0.0 * duty, length]
            if self.tau > 0.0:
                part = numpy.clip(decays / (slope * self.tau), 1e-300, None)
                times.append(numpy.clip(self.tau * numpy.log(part), 0.0, length))
            found += [begin + slope * t + decays * self.fades(t) for t in times]
        return min(one.min() for one in found), max(one.max() for one in found)


def clipped(given, value):
    full = given["converter"]["full_scale_v"] / given["shunt"]["resistance_ohm"]
    low = -full if given["converter"]["bipolar"] else 0.0
    return numpy.clip(given["mean_a"] + value, low, full) - given["mean_a"]


def shift_a(given):
    """What clipping adds to the mean over a period, as a size, at the rising part where it is most."""
    wave = Wave(given, given["converter"]["filter_s"])
    # Close together where an edge begins: what decays is steep there.
    root, most = (numpy.arange(1000) + 0.5) / 1000.0, 0.0
    part, weight = root**3, 3.0 * root**2
    for duty in numpy.linspace(*wave.duties, 101):
        added = 0.0
        for share, turn in ((duty, part * duty), (1.0 - duty, duty + part * (1.0 - duty))):
            value = wave.at(duty, turn)
            added += share * (weight * (clipped(given, value) - value)).mean()
        most = max(most, abs(added))
    return most


def beat_a(given, random):
    """Lowest and highest deviation of a mean of samples from the true mean, over phase and rising part."""
    wave, sampling = Wave(given, given["converter"]["filter_s"]), given["samples"]
    low, high = wave.duties
    apart = (numpy.arange(sampling["averages"]) * given["frequency_hz"] / sampling["rate_hz"]) % 1.0

    def mean(duty, phase):
        return clipped(given, wave.at(duty[:, None], phase[:, None] + apart)).mean(axis=1)

    # One sample at a corner and another at the other one: this is the rising part then.
    meets = ((apart[:, None] - apart) % 1.0).ravel()
    meets = numpy.concatenate([meets - EDGE, meets, meets + EDGE])
    duties = numpy.unique(numpy.concatenate([numpy.linspace(low, high, 41), meets[(meets > low) & (meets < high)]]))
    if duties.size > 400:
        duties = random.choice(duties, 400, replace=False)
    states = []
    for duty in duties:
        corners = numpy.concatenate([corner - apart + side for corner in (0.0, duty) for side in (-EDGE, 0.0, EDGE)])
        phase = numpy.concatenate([corners, numpy.linspace(0.0, 1.0, 100, endpoint=False)])
        states.append(numpy.stack([numpy.full(phase.size, duty), phase, mean(numpy.full(phase.size, duty), phase)]))
    states, found = numpy.concatenate(states, axis=1), []
    for sign in (-1.0, 1.0):
        most = -numpy.inf
        for number in numpy.argsort(-sign * states[2])[:: max(1, duties.size // 20)][:CLIMBERS]:
            duty, phase, best = states[:, number]
            best, stride = sign * best, STRIDE
            for _ in range(STEPS):
                first, second = stride * random.normal(size=(2, TRIES)) * random.integers(0, 2, (2, TRIES))
                # Half of them keep the distance to the corner where the current begins to fall.
                near = numpy.clip(duty + first, low, high), phase + second + first * random.integers(0, 2, TRIES)
                value = sign * mean(*near)
                top = value.argmax()
                if value[top] > best:
                    duty, phase, best = near[0][top], near[1][top], value[top]
                else:
                    stride *= 0.7
            most = max(most, best)
        found.append(sign * most)
    return found


def draw(random):
    """Edges of a converter and a shunt whose inductance shows; thresholds on both sides; a range that clips, or does not."""
    u, frequency = random.uniform, 10.0 ** random.uniform(2.0, 5.3)
    mean, period = u(5.0, 800.0) * float(random.choice([-1.0, 1.0])), 1.0 / frequency
    swing, ohm = abs(mean) * 10.0 ** u(-1.5, 0.3), 10.0 ** u(-5.0, -3.0)
    lag = period * 10.0 ** u(-2.5, 1.0)
    case = {"shape": "sine" if u() < 0.15 else "triangle", "mean_a": mean, "peak_to_peak_a": swing, "frequency_hz": frequency}
    case |= {"shunt.resistance_ohm": ohm, "shunt.inductance_henry": lag * ohm}
    low, usual, high = (float(one) for one in numpy.sort(u(2.0, 98.0, 3)))
    case |= {"duty_percent": usual} | ({"duty_min_percent": low, "duty_max_percent": high} if u() < 0.7 else {})
    filters = [0.0 if u() < 0.3 else period * 10.0 ** u(-3.0, 0.7) for _ in range(2)]
    side = float(random.choice([-1.0, 1.0]))
    peak = abs(mean) * u(0.5, 3.0)
    case |= {"pack_peak_a": peak, "pack_charge_peak_a": peak * u(0.3, 1.0)}
    trip = {"name": "trip", "threshold_a": side * 1e6, "filter_s": filters[0], "tolerance_a": u(0.0, 0.05) * peak}
    full = ohm * (abs(mean) + swing * (0.5 + lag / period) * float(random.choice([u(0.0, 1.0), 20.0])))
    case |= {"converter.full_scale_v": min(max(full, 1e-4), 100.0), "converter.bipolar": u() < 0.7}
    case["converter.filter_s"] = filters[1]
    case |= {"converter.allowed_error_a": 1e6, "samples.averages": int(random.choice([1, 2, 3, 5, 8, 12, 16]))}
    ratio = int(random.integers(1, 9)) / int(random.integers(1, 9)) * (1.0 + float(random.choice([0.0, 1e-3])))
    case |= {"samples.rate_hz": frequency * (10.0 ** u(-1.5, 1.5) if u() < 0.6 else ratio), "trips": [trip]}
    told = fetch(PATH, changed(examples()[PATH], case))["result"]
    beyond = 1.0 + ROOM * float(random.choice([-1.0, 1.0]))
    reached = side * told["trips"][0]["peak_a"] * beyond + trip["tolerance_a"]
    case["trips"] = [trip | {"threshold_a": side * max(reached, 1.01 * trip["tolerance_a"] + 1.0)}]
    shift, beat = abs(told["converter"]["shift_a"]), told["sampling"]["beat_bound_a"]
    allowed = shift if shift > 1e-3 * swing and u() < 0.6 else beat
    return case | {"converter.allowed_error_a": max(allowed * beyond, 1e-6 * swing)}


def agrees(told, own, scale):
    """The difference as a share of what is allowed."""
    return abs(told - own) / (APART * abs(own) + 1e-4 * scale)


@hunt(PATH, "ripple: comparator, clipping, mean of samples", "solution of the filter, searched over states", draw)
def ripple_hunt(given, result, random):
    trip, mean = given["trips"][0], given["mean_a"]
    side = 1.0 if trip["threshold_a"] > 0.0 else -1.0
    lowest, highest = Wave(given, trip["filter_s"]).span()
    peak = given["pack_peak_a"] if side > 0.0 else given["pack_charge_peak_a"]
    reached = max(side * mean, peak) + (highest if side > 0.0 else -lowest)
    yield "ripple.trip", 0, pressed(reached / (side * trip["threshold_a"] - trip["tolerance_a"]))
    yield None, 0, agrees(side * result["trips"][0]["peak_a"], reached, highest - lowest)
    lowest, highest = Wave(given, given["converter"]["filter_s"]).span()
    scale = highest - lowest
    yield None, 0, agrees(result["converter"]["lowest_a"], mean + lowest, scale)
    yield None, 0, agrees(result["converter"]["highest_a"], mean + highest, scale)
    shift, (low, high), allowed = shift_a(given), beat_a(given, random), given["converter"]["allowed_error_a"]
    yield "ripple.shift", 0, pressed(shift / allowed)
    yield None, 0, agrees(abs(result["converter"]["shift_a"]), shift, scale)
    yield "ripple.beat", 0, pressed(max(-low, high) / allowed)
    yield None, 0, agrees(result["sampling"]["low_a"], low, scale)
    yield None, 0, agrees(result["sampling"]["high_a"], high, scale)
