"""A channel of a design as a circuit, with a fault in it: from the completed input of the part to what firmware tells.

Firmware's constants and its calibration are those of the healthy part. Magnitudes are shares (of a drift), ohms (of a
crack, a joint, a leakage) or kelvin, whatever the mode takes.
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


class Inserted:
    """A channel that reads with a fault and without."""

    def healthy(self, x):
        return self.reading(x)

    def line(self, fault=None):
        """Gain and offset; only where the reading is straight."""
        start = self.reading(0.0, fault)
        far = self.far()
        return (self.reading(far, fault) - start) / far, start


class Voltage(Inserted):
    def __init__(self, given, bias=1.0):
        up, low, after = given["upper"], given["lower"], given["following"]
        under, load = low["count"] * low["resistance_ohm"], after.get("load_ohm") or math.inf
        known = under / (1.0 + under / load) if after["factor_includes_load"] else under
        constant = up["count"] * up["resistance_ohm"] / known + 1.0
        self.element, self.under, self.bias = up["resistance_ohm"], under, bias * after["bias_current_a"]
        farad = after.get("filter_farad") or 0.0
        self.circuit = Divider(up["count"], up["resistance_ohm"], under, load, self.bias, constant, farad)
        at = given["calibration"]
        self.firmware = Firmware(given, (at["low_v"], at["high_v"]), self.circuit.reading)
        self.full_v = given["converter"]["full_scale_v"] / given["amplifier"]["gain"]
        self.given = given

    def far(self):
        return self.given["input_max_v"]

    def parts(self, fault):
        """Changes of the circuit and how far the reference is off."""
        if fault is None:
            return {}, 0.0
        component, mode, size = fault
        named = {
            ("upper", "short"): lambda: {"upper.1": 0.0},
            ("upper", "open"): lambda: {"upper.1": math.inf},
            ("upper", "crack"): lambda: {"upper.1": size},
            ("upper", "drift"): lambda: {"upper.1": self.element * (1.0 + size)},
            ("upper", "joint"): lambda: {"upper.1": self.element + size},
            ("lower", "open"): lambda: {"lower": math.inf},
            ("lower", "short"): lambda: {"lower": 0.0},
            ("lower", "drift"): lambda: {"lower": self.under * (1.0 + size)},
            ("filter", "leak"): lambda: {"leak": ("input", GROUND, size)},
            ("tap", "open"): lambda: {"wire": math.inf},
            ("input", "leak"): lambda: {"bias": self.bias + size},
            ("reference", "drift"): dict,
        }
        return named[component, mode](), size if component == "reference" else 0.0

    def raw(self, x, fault=None):
        changes, reference = self.parts(fault)
        return self.circuit.reading(x, changes, reference)

    def reading(self, x, fault=None):
        return self.firmware(self.raw(x, fault))

    def full(self, x, fault=None):
        """Whether the converter ends before this value, on either side."""
        volt = self.raw(x, fault) / self.circuit.constant
        return volt >= self.full_v or volt < 0.0


class Current(Inserted):
    def __init__(self, given, bias=1.0, across=math.inf):
        part = given["shunt"]
        self.ohm, leg = part["resistance_ohm"], given["filter"]["resistance_ohm"] / 2.0
        farad = given["filter"].get("capacitance_farad") or 0.0
        self.circuit = Shunt(self.ohm, leg, across, bias * given["amplifier"]["bias_current_a"], farad)
        at = given["calibrated_at"]
        first, second = at.get("low_a"), at.get("high_a")
        points = (0.0 if first is None else first, given["load"]["continuous_a"] if second is None else second)
        self.firmware = Firmware(given, points, self.circuit.reading)
        self.full_v = given["converter"]["full_scale_v"] / given["amplifier"]["gain"]
        self.given = given

    def far(self):
        return self.given["load"]["peak_a"]

    def parts(self, fault):
        if fault is None:
            return {}, 0.0
        component, mode, size = fault
        named = {
            ("shunt", "drift"): lambda: {"shunt": self.ohm * (1.0 + size)},
            ("shunt", "joint"): lambda: {"joint": size},
            ("shunt", "crack"): lambda: {"joint": size},
            ("shunt", "bridge"): lambda: {"bridge": ("high", GROUND, size)},
            ("sense", "open"): lambda: {"wire": math.inf},
            ("sense", "resistive"): lambda: {"wire": size},
            ("sense", "short"): lambda: {"short": ("plus", "minus", 0.0)},
            ("reference", "drift"): dict,
        }
        return named[component, mode](), size if component == "reference" else 0.0

    def raw(self, x, fault=None):
        changes, reference = self.parts(fault)
        return self.circuit.reading(x, changes, reference)

    def reading(self, x, fault=None):
        if fault is not None and fault[:2] == ("sense", "swap"):
            return self.firmware(-self.raw(x))
        return self.firmware(self.raw(x, fault))

    def full(self, x, fault=None):
        return abs(self.raw(x, fault)) * self.ohm >= self.full_v


class Temperature(Inserted):
    def __init__(self, given):
        beta, divider = given["beta"], given["divider"]
        curve = Beta(beta["r25_ohm"], beta["beta_k"])
        self.circuit = Thermistor(
            curve, divider["fixed_ohm"], divider["supply_v"], divider["ratiometric"], divider["side"] == "low"
        )
        self.curve, self.fixed, self.given = curve, divider["fixed_ohm"], given

    def reading(self, x, fault=None):
        if fault is None:
            return self.circuit.reading(x)
        component, mode, size = fault
        ohm = self.curve.at(x)
        across = ("node", GROUND if self.circuit.below else "supply")
        named = {
            ("thermistor", "open"): lambda: {"sensor": math.inf},
            ("thermistor", "short"): lambda: {"sensor": 0.0},
            ("thermistor", "drift"): lambda: {"sensor": ohm * (1.0 + size)},
            ("lead", "resistive"): lambda: {"lead": size},
            ("lead", "leak"): lambda: {"leak": (*across, size)},
            ("fixed", "open"): lambda: {"fixed": math.inf},
            ("fixed", "short"): lambda: {"fixed": 0.0},
            ("fixed", "drift"): lambda: {"fixed": self.fixed * (1.0 + size)},
            ("reference", "drift"): dict,
        }
        return self.circuit.reading(x, named[component, mode](), size if component == "reference" else 0.0)
