"""How modes of failure behind the circuit behave: what firmware reads over time, code by code and frame by frame.

A signal is a function of time in seconds. A mode makes another one of it.
"""

import math

import numpy

# --- Amplifier ------------------------------------------------------------------------------------------------------


def slow(signal, tau_s, times, steps=20):
    """What an amplifier with one pole makes of a signal, followed in small steps."""
    found, told, before = [], float(signal(times[0])), times[0]
    for t in times:
        fine = numpy.linspace(before, t, steps + 1)
        for one, other in zip(fine, fine[1:], strict=False):
            left = math.exp(-(other - one) / tau_s)
            told = told * left + float(signal((one + other) / 2.0)) * (1.0 - left)
        before = t
        found.append(told)
    return numpy.array(found)


# --- Converter ------------------------------------------------------------------------------------------------------


class Codes:
    """A converter as a table: codes upwards from the lowest input, two's complement where it reads both signs."""

    def __init__(self, bits, full, bipolar):
        self.bits, self.full, self.bipolar = bits, full, bipolar
        self.step = full / 2 ** (bits - bipolar)

    def code(self, x):
        low = -(2 ** (self.bits - 1)) if self.bipolar else 0
        return numpy.clip(numpy.rint(numpy.asarray(x) / self.step), low, low + 2**self.bits - 1).astype(int)

    def told(self, code):
        return code * self.step

    def forced(self, x, bit, value):
        """The reading with one bit of the word held."""
        word = self.code(x) & (2**self.bits - 1)
        word = word | (1 << bit) if value else word & ~(1 << bit)
        if self.bipolar:
            word = numpy.where(word >= 2 ** (self.bits - 1), word - 2**self.bits, word)
        return self.told(word)

    def forced_off(self, places, bit):
        """Lowest and highest deviation over a range, by a bit held at either value."""
        healthy = self.told(self.code(places))
        off = numpy.concatenate([self.forced(places, bit, value) - healthy for value in (0, 1)])
        return float(off.min()), float(off.max())


# --- Link -----------------------------------------------------------------------------------------------------------


def delayed(signal, late_s):
    return lambda t: signal(t - late_s)


def held(signal, since_s):
    return lambda t: signal(numpy.minimum(t, since_s))


def stale_s(period_s, lost_from, frames, time_out_s, step_s):
    """How old the value in use gets before a time-out ends it, frames arriving until one is lost; time runs."""
    at = numpy.arange(0.0, frames * period_s, step_s)
    arrived = numpy.minimum(numpy.floor(at / period_s), lost_from - 1) * period_s
    age = at - arrived
    return float(age[age <= time_out_s].max())


# --- Clock ----------------------------------------------------------------------------------------------------------


def counted_ah(current, hours, drift, ticks=10_000):
    """Charge that is counted where a clock runs fast by a share: each tick stands for a period and is shorter."""
    period_h = hours / ticks
    real = period_h / (1.0 + drift)
    times = numpy.arange(int(round(hours / real))) * real
    return float(sum(current(t) for t in times) * period_h)


def timed_out_s(time_out_s, drift, tick_s=1e-4):
    """How long a time-out really is."""
    ticks = math.ceil(time_out_s / tick_s - 1e-9)
    return ticks * tick_s / (1.0 + drift)


# --- Sensor that has come loose -------------------------------------------------------------------------------------


def loose(cell_degc, ambient_degc, share):
    """A sensor between two bodies: of the way from the ambient to the cell it still goes a share. As two resistances to
    heat in a row, one of them grown."""
    to_cell, to_air = 1.0 - share, share
    if to_cell <= 0.0:
        return cell_degc
    if to_air <= 0.0:
        return ambient_degc
    return (cell_degc / to_cell + ambient_degc / to_air) / (1.0 / to_cell + 1.0 / to_air)
