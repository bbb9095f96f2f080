"""A channel of a design as a circuit, with a fault in it: from the completed input of the part to what firmware tells.

Firmware's constants and its calibration are those of the healthy part.
"""

import math

from safety_circuits import GROUND, Beta, Divider, Shunt, Thermistor


class Firmware:
    """A reading put on the line through the two readings that were stored, or as it is."""

    def __init__(self, given, points, reading):
        self.kind = given["calibration"]["kind"]
        self.points = points
        self.stored = [reading(point) for point in points] if self.kind != "none" else []

    def __call__(self, raw):
        if self.kind == "none":
            return raw
        (first, *_), (low, high) = self.stored, self.points
        slope = (high - low) / (self.stored[1] - first) if self.kind == "two-point" else 1.0
        return low + (raw - first) * slope


class Voltage:
    def __init__(self, given, sign):
        up, low, after = given["upper"], given["lower"], given["following"]
        under, load = low["count"] * low["resistance_ohm"], after.get("load_ohm") or math.inf
        known = under / (1.0 + under / load) if after["factor_includes_load"] else under
        constant = up["count"] * up["resistance_ohm"] / known + 1.0
        bias = sign * after["bias_current_a"]
        self.circuit = Divider(up["count"], up["resistance_ohm"], under, load, bias, constant)
        self.numbers = {"upper_ohm": up["resistance_ohm"], "lower_ohm": under}
        at = given["calibration"]
        self.firmware = Firmware(given, (at["low_v"], at["high_v"]), self.circuit.reading)

    def faulty(self, volt, changes):
        return self.firmware(self.circuit.reading(volt, changes(self.numbers)))


class Current:
    def __init__(self, given, sign):
        ohm, leg = given["shunt"]["resistance_ohm"], given["filter"]["resistance_ohm"] / 2.0
        across = given["amplifier"].get("input_ohm") or math.inf
        self.circuit = Shunt(ohm, leg, across, sign * given["amplifier"]["bias_current_a"])
        self.numbers = {"shunt_ohm": ohm}
        at = given["calibrated_at"]
        first, second = at.get("low_a"), at.get("high_a")
        points = (0.0 if first is None else first, given["load"]["continuous_a"] if second is None else second)
        self.firmware = Firmware(given, points, self.circuit.reading)

    def faulty(self, ampere, changes):
        return self.firmware(self.circuit.reading(ampere, changes(self.numbers)))


class Temperature:
    def __init__(self, given, _sign):
        beta, divider = given["beta"], given["divider"]
        self.curve, self.fixed = Beta(beta["r25_ohm"], beta["beta_k"]), divider["fixed_ohm"]
        below = divider["side"] == "low"
        self.circuit = Thermistor(self.curve, self.fixed, divider["supply_v"], divider["ratiometric"], below)

    def faulty(self, degc, changes):
        far = GROUND if self.circuit.below else "supply"
        numbers = {"ohm": self.curve.at(degc), "fixed_ohm": self.fixed, "far": far}
        return self.circuit.reading(degc, changes(numbers))
