"""The physics that several checks need, written down from the definitions of its terms."""

import math

import numpy
import scipy.optimize

from budgets import Source


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


def front_end(amplifier, converter, calibration, distance, calibrated=True, end_of_life=True):
    """The parts between a sensor's voltage and its reading: their sources, and the reading as a function of both.

    Limits are in the unit and at the place where the part states them: volts of the converter at the converter's input.
    """
    kind = calibration["kind"] if calibrated else "none"
    gain_goes, offset_goes = kind == "two-point", kind in ("offset", "two-point")

    def initial(goes, limit):
        return 0.0 if goes else limit

    full_scale, gain = converter["full_scale_v"], amplifier["gain"]
    span = 2.0 * full_scale if converter["bipolar"] else full_scale
    linearity = ppm(converter.get("inl_ppm", 0.0)) or converter.get("peak_error_percent", 0.0) / 100.0
    mismatch = amplifier["source_mismatch_percent"] / 100.0
    sources = {
        "amplifier gain": Source(initial(gain_goes, amplifier["gain_error_percent"] / 100.0)),
        "amplifier gain drift": Source(ppm(amplifier["gain_drift_ppm_per_k"]) * distance),
        "converter gain": Source(initial(gain_goes, converter["gain_error_percent"] / 100.0)),
        "converter gain drift": Source(ppm(converter["gain_drift_ppm_per_k"]) * distance),
        "reference": Source(initial(gain_goes, converter["reference_error_percent"] / 100.0)),
        "reference drift": Source(ppm(converter["reference_drift_ppm_per_k"]) * distance),
        "reference ageing": Source(ppm(converter["reference_life_drift_ppm"]) if end_of_life else 0.0),
        "left offset": Source(calibration["offset_residual_v"] if offset_goes else 0.0),
        "amplifier offset": Source(initial(offset_goes, amplifier["offset_v"])),
        "amplifier offset drift": Source(amplifier["offset_drift_v_per_k"] * distance),
        "common mode": Source(abs(amplifier["common_mode_v"]) / 10.0 ** (amplifier["common_mode_rejection_db"] / 20.0)),
        # A ripple of unknown phase.
        "supply": Source(amplifier["supply_ripple_v"] / 10.0 ** (amplifier["supply_rejection_db"] / 20.0), "arcsine"),
        "bias": Source(amplifier["bias_current_a"] * amplifier["source_ohm"] * mismatch),
        "converter offset": Source(initial(offset_goes, converter["offset_v"])),
        "converter offset drift": Source(converter["offset_drift_v_per_k"] * distance),
        "linearity": Source(linearity * full_scale),
        "quantisation": Source(span / 2.0 ** converter["bits"] / 2.0),
    }

    def read(volt, d):
        at_input = volt + d["left offset"] + d["amplifier offset"] + d["amplifier offset drift"]
        at_input = at_input + d["common mode"] + d["supply"] + d["bias"]
        amplified = gain * (1.0 + d["amplifier gain"]) * (1.0 + d["amplifier gain drift"]) * at_input
        at_converter = (
            amplified + d["converter offset"] + d["converter offset drift"] + d["linearity"] + d["quantisation"]
        )
        code = at_converter * (1.0 + d["converter gain"]) * (1.0 + d["converter gain drift"])
        # The code counts in units of the reference: a reference too high makes it too small.
        code = code / ((1.0 + d["reference"]) * (1.0 + d["reference drift"]) * (1.0 + d["reference ageing"]))
        return code / gain

    return sources, read
