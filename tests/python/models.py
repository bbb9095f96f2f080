"""The physics that several checks need, written down from the definitions of its terms."""

import math

import numpy
import scipy.optimize


def ppm(value):
    return value * 1e-6


class Element:
    """A shunt on one thermal node."""

    def __init__(self, part, ambient):
        self.part, self.ambient = part, ambient

    def resistance(self, degc):
        coefficients = [1.0, ppm(self.part["tcr_ppm_per_k"]), ppm(self.part["tcr_quadratic_ppm_per_k2"])]
        alloy = numpy.polynomial.Polynomial(coefficients)(degc - self.part["reference_degc"])
        # IEC 60028: a straight line from the resistance at 20 degC.
        copper = (1.0 + 3.93e-3 * (degc - 20.0)) / (1.0 + 3.93e-3 * (self.part["reference_degc"] - 20.0))
        share = self.part["copper_share_percent"] / 100.0
        return self.part["resistance_ohm"] * ((1.0 - share) * alloy + share * copper)

    def change(self, degc):
        return self.resistance(degc) / self.part["resistance_ohm"] - 1.0

    def surplus(self, degc, current):
        """Heat made minus heat carried away, in watts."""
        return current**2 * self.resistance(degc) - (degc - self.ambient) / self.part["thermal_resistance_k_per_w"]

    def settled(self, current):
        """The lowest temperature at which the heat balances: marched up to, then found by Brent's method. Infinite in
        a runaway."""
        steps = self.ambient + numpy.linspace(0.0, 2000.0, 20001)
        cool = numpy.flatnonzero(self.surplus(steps, current) <= 0.0)
        if not cool.size:
            return math.inf
        if cool[0] == 0:
            return steps[0]
        bracket = steps[cool[0] - 1 : cool[0] + 1]
        return scipy.optimize.brentq(self.surplus, *bracket, (current,), xtol=1e-13, rtol=1e-15)
