"""Sensing circuits with a fault in them, solved node by node, and what firmware makes of it with healthy constants.

A circuit is a list of named parts between named nodes. A fault replaces the value of a part or adds one; nothing here
knows a formula for a faulty divider. Currents are positive out of the battery.
"""

import math

import numpy

GROUND = "0"
KELVIN = 273.15


class Floating(Exception):
    """A node that nothing ties to anything: it has no settled voltage."""


class Circuit:
    """Resistors as (node, node, ohm), currents as (from, into, ampere), sources as (plus, minus, volt), capacitors as
    (node, node, farad)."""

    def __init__(self, resistors, currents=None, sources=None, capacitors=None):
        self.resistors, self.currents = dict(resistors), dict(currents or {})
        self.sources, self.capacitors = dict(sources or {}), dict(capacitors or {})

    def changed(self, faults):
        """With resistors replaced by a value, or added as (node, node, ohm). Currents and capacitors by their names."""
        found = Circuit(self.resistors, self.currents, self.sources, self.capacitors)
        for name, given in faults.items():
            for kind in (found.currents, found.capacitors, found.resistors):
                if name in kind:
                    kind[name] = (*kind[name][:2], given)
                    break
            else:
                found.resistors[name] = given
        return found

    def solve(self, charged=None, step=None):
        """Voltages of the nodes. A capacitor is open; with `charged` (volts by name) it is taken one step of time on,
        by the backward rule of Euler."""
        ends = [pair[:2] for kind in self.kinds() for pair in kind.values()]
        names = dict.fromkeys(name for pair in ends for name in pair if name != GROUND)
        nodes = {name: place for place, name in enumerate(names)}
        # A resistor without resistance is a source without voltage.
        rigid = [*self.sources.values(), *((a, b, 0.0) for a, b, ohm in self.resistors.values() if ohm == 0.0)]
        size = len(nodes) + len(rigid)
        matrix, right = numpy.zeros((size, size)), numpy.zeros(size)

        def add(a, b, siemens, ampere=0.0):
            """A conductance between two nodes and a current into the first, out of the second."""
            for one, other, sign in ((a, b, 1.0), (b, a, -1.0)):
                if one != GROUND:
                    matrix[nodes[one], nodes[one]] += siemens
                    right[nodes[one]] += sign * ampere
                    if other != GROUND:
                        matrix[nodes[one], nodes[other]] -= siemens

        for a, b, ohm in self.resistors.values():
            if ohm != 0.0 and math.isfinite(ohm):
                add(a, b, 1.0 / ohm)
        for a, b, ampere in self.currents.values():
            add(b, a, 0.0, ampere)
        if charged is not None:
            for name, (a, b, farad) in self.capacitors.items():
                add(a, b, farad / step, farad / step * charged[name])
        for place, (a, b, volt) in enumerate(rigid, len(nodes)):
            for node, sign in ((a, 1.0), (b, -1.0)):
                if node != GROUND:
                    matrix[place, nodes[node]] = matrix[nodes[node], place] = sign
            right[place] = volt
        # Rows of very different size: each counts by its own largest.
        scale = numpy.abs(matrix).max(axis=1)
        if (scale == 0.0).any() or numpy.linalg.cond(matrix / scale[:, None]) > 1e15:
            raise Floating
        found = numpy.linalg.solve(matrix / scale[:, None], right / scale)
        return {GROUND: 0.0} | {name: float(found[place]) for name, place in nodes.items()}

    def kinds(self):
        return self.resistors, self.currents, self.sources, self.capacitors

    def after(self, charged, seconds, steps=4000):
        """Voltages of the nodes a time after the capacitors held `charged`."""
        for _ in range(steps):
            volts = self.solve(charged, seconds / steps)
            charged = {name: volts[a] - volts[b] for name, (a, b, _) in self.capacitors.items()}
        return volts

    def held(self, volts):
        """What the capacitors hold where the nodes have these voltages."""
        return {name: volts[a] - volts[b] for name, (a, b, _) in self.capacitors.items()}


# --- Voltage --------------------------------------------------------------------------------------------------------


class Divider:
    """A chain of elements from the pole to a tap, a lower element, an input that loads it and sends a current into it.

    Nodes are top, n1, n2, ... and tap; the input sees `input`, which a break of the tap separates.
    """

    def __init__(self, count, element, lower, load=math.inf, bias=0.0, constant=None, farad=0.0):
        self.count, self.element = count, element
        self.nodes = ["top", *(f"n{place}" for place in range(1, count)), "tap"]
        chain = zip(self.nodes, self.nodes[1:], strict=False)
        parts = {f"upper.{place}": (a, b, element) for place, (a, b) in enumerate(chain, 1)}
        parts |= {"lower": ("tap", GROUND, lower), "wire": ("tap", "input", 0.0), "load": ("input", GROUND, load)}
        capacitors = {"filter": ("input", GROUND, farad)} if farad else {}
        self.circuit = Circuit(parts, {"bias": (GROUND, "input", bias)}, {}, capacitors)
        # Firmware's constant may leave the load out.
        self.constant = constant or count * element / lower + 1.0

    def at(self, volt, faults=None):
        circuit = self.circuit.changed(faults or {})
        circuit.sources["pack"] = ("top", GROUND, volt)
        return circuit

    def input_v(self, volt, faults=None):
        return self.at(volt, faults).solve()["input"]

    def reading(self, volt, faults=None, reference=0.0):
        """What firmware tells, with the reference off by a share of itself."""
        return self.constant * self.input_v(volt, faults) / (1.0 + reference)

    def line(self, faults=None, reference=0.0):
        """Gain and offset of the reading: it is straight in the voltage."""
        start = self.reading(0.0, faults, reference)
        return (self.reading(1000.0, faults, reference) - start) / 1000.0, start

    def stress(self, volt, faults=None):
        """The largest voltage across one element of the chain."""
        volts = self.at(volt, faults).solve()
        return max(abs(volts[a] - volts[b]) for a, b in zip(self.nodes, self.nodes[1:], strict=False))

    def true_at(self, told, faults=None, reference=0.0):
        """The voltage at which a reading is told: never where the reading does not rise."""
        gain, start = self.line(faults, reference)
        return (told - start) / gain if gain > 0.0 else math.inf


# --- Current --------------------------------------------------------------------------------------------------------


class Shunt:
    """A shunt, a joint between its taps, two sense wires with their filter legs, and across the input a resistor, a
    capacitor and the currents of both inputs."""

    def __init__(self, ohm, leg=0.0, across=math.inf, bias=0.0, farad=0.0, constant=None):
        parts = {
            "shunt": ("high", "joint", ohm),
            "joint": ("joint", GROUND, 0.0),
            "wire": ("high", "wire", 0.0),
            "leg": ("wire", "plus", leg),
            "return": (GROUND, "minus", leg),
            "across": ("plus", "minus", across),
        }
        # The supply of the read-out stands at the battery's side of the shunt: inputs draw from it or send into it.
        currents = {"bias": (GROUND, "plus", bias), "bias of the return": (GROUND, "minus", bias)}
        self.circuit = Circuit(parts, currents, {}, {"filter": ("plus", "minus", farad)} if farad else {})
        self.constant = constant or ohm

    def at(self, ampere, faults=None):
        circuit = self.circuit.changed(faults or {})
        circuit.currents["flows"] = (GROUND, "high", ampere)
        return circuit

    def told(self, volts, reference=0.0):
        return (volts["plus"] - volts["minus"]) / self.constant / (1.0 + reference)

    def reading(self, ampere, faults=None, reference=0.0):
        return self.told(self.at(ampere, faults).solve(), reference)

    def reading_after(self, seconds, before, ampere, faults):
        """Some time after a fault appeared while `before` flowed: the capacitor holds what it held."""
        healthy = self.at(before)
        circuit = self.at(ampere, faults)
        return self.told(circuit.after(healthy.held(healthy.solve()), seconds))

    def test_v(self, ampere, faults=None):
        """How far a test current sent into the input moves it: nothing flows in the shunt."""
        circuit = self.at(0.0, faults)
        at_rest = circuit.solve()
        circuit.currents["test"] = ("minus", "plus", ampere)
        tested = circuit.solve()
        return tested["plus"] - tested["minus"] - at_rest["plus"] + at_rest["minus"]


# --- Temperature ----------------------------------------------------------------------------------------------------


class Beta:
    """A thermistor by its beta: R = R25 exp(B (1/T - 1/298.15 K))."""

    def __init__(self, ohm, beta, reference_degc=25.0):
        self.ohm, self.beta, self.reference = ohm, beta, reference_degc + KELVIN

    def at(self, degc):
        return self.ohm * math.exp(self.beta * (1.0 / (degc + KELVIN) - 1.0 / self.reference))

    def degc(self, ohm):
        """Infinitely cold without a current, infinitely hot without a voltage."""
        if ohm <= 0.0:
            return math.inf
        if not math.isfinite(ohm):
            return -KELVIN
        upside_down = 1.0 / self.reference + math.log(ohm / self.ohm) / self.beta
        return 1.0 / upside_down - KELVIN if upside_down > 0.0 else math.inf


class Thermistor:
    """A thermistor at the end of two leads, below a fixed resistor; the read-out knows the fixed resistor alone."""

    def __init__(self, curve, fixed, supply=3.3, ratiometric=True, below=True):
        self.curve, self.fixed, self.supply, self.ratiometric = curve, fixed, supply, ratiometric
        high, low = ("supply", GROUND) if below else (GROUND, "supply")
        parts = {"fixed": (high, "node", fixed), "lead": ("node", "sensor", 0.0), "sensor": ("sensor", low, curve.ohm)}
        self.circuit, self.below = Circuit(parts), below

    def reading(self, degc, faults=None, reference=0.0, supply=0.0):
        """Told temperature. A reference that is not the supply counts only where the read-out is not ratiometric."""
        circuit = self.circuit.changed({"sensor": self.curve.at(degc)} | (faults or {}))
        volt = self.supply * (1.0 + supply)
        circuit.sources["supply"] = ("supply", GROUND, volt)
        node = circuit.solve()["node"]
        share = node / volt if self.ratiometric else node / self.supply / (1.0 + reference)
        share = share if self.below else 1.0 - share
        if share >= 1.0:
            return self.curve.degc(math.inf)
        return self.curve.degc(self.fixed * share / (1.0 - share))
