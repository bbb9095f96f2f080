"""Cases of barrier and bus with known answers, worked out by the independent model alone: no server is asked.

    python isolation_cases.py

Each line gives what the model says, what is expected and how far they may be apart.
"""

import math
import sys

import numpy
import scipy.integrate

import isolation_model as model
import isolation_tables as tables

CASES = []


def case(function):
    CASES.append(function)
    return function


def barrier(**changes):
    return {
        "pack_v": 800.0,
        "impulse_by": "stated",
        "rated_impulse_v": 2500.0,
        "insulation": "reinforced",
        "altitude_m": 0.0,
        "pollution_degree": 2,
    } | changes


@case
def clearance_2500_v_at_1870_m():
    found = tables.clearance(barrier(recurring_peak_v=831.6, pack_v=831.6, altitude_m=1870.0))
    yield "impulse, V", found["impulse_v"], 4000.0, 0.0
    yield "required, mm", found["required_mm"], 3.000, 5e-4
    yield "by peak, mm", found["by_peak_mm"], 0.568, 5e-4


@case
def clearance_3200_v_at_2600_m():
    found = tables.clearance(barrier(rated_impulse_v=3200.0, recurring_peak_v=900.0, altitude_m=2600.0))
    yield "impulse, V", found["impulse_v"], 5120.0, 1e-9
    yield "by impulse, mm", found["by_impulse_mm"], 4.18, 5e-4
    yield "altitude", found["altitude_factor"], 1.084, 5e-4
    yield "required, mm", found["required_mm"], 4.531, 5e-4


@case
def clearance_by_peak_at_4300_m():
    found = tables.clearance(
        barrier(rated_impulse_v=1500.0, recurring_peak_v=2400.0, insulation="basic", altitude_m=4300.0)
    )
    yield "by peak, mm", found["by_peak_mm"], 1.694, 5e-4
    yield "altitude", found["altitude_factor"], 1.347, 5e-4
    yield "required, mm", found["required_mm"], 2.282, 5e-4


@case
def creepage_735_v():
    found = tables.creepage(barrier(working_v=735.0, pollution_degree=3), {"material_group": "IIIa"})
    yield "half, mm", found["table_mm"] / 2.0, 11.544, 5e-4
    yield "required, mm", found["required_mm"], 23.088, 5e-4


@case
def creepage_printed_wiring():
    yield "560 V, mm", tables.creepage_table(560.0, 2, "IIIa", printed=True), 2.823, 5e-4
    try:
        tables.creepage_table(1001.0, 2, "I", printed=True)
        refused = 0.0
    except tables.Outside:
        refused = 1.0
    yield "1001 V is refused", refused, 1.0, 0.0


@case
def creepage_set_by_clearance():
    given = barrier(working_v=150.0, pack_v=150.0, pollution_degree=1, insulation="basic", rated_impulse_v=6000.0)
    found = tables.creepage(given, {"material_group": "I"})
    yield "table, mm", found["table_mm"], 0.3086, 5e-5
    yield "required, mm", found["required_mm"], 5.5, 1e-12


@case
def two_measurements():
    paths = [model.path(3e6, 0.0), model.path(900e3, 1.0), model.path(2e6, 0.4)]
    low, high, lower = model.meter_readings(500.0, paths, 250e3, 10e6)
    yield "negative, V", low, 320.652, 5e-4
    yield "positive, V", high, 154.891, 5e-4
    yield "with the resistor, V", lower, 108.456, 5e-4
    method, ohm = model.from_readings(500.0, low, lower, 250e3, 10e6)
    yield "method from readings, kohm", method / 1e3, 762.71, 5e-3
    yield "method from the circuit, kohm", model.method_ohm(500.0, paths) / 1e3, 762.71, 5e-3
    yield "parallel from readings, kohm", ohm / 1e3, 514.29, 5e-3
    yield "parallel from the circuit, kohm", model.seen(500.0, paths) / 1e3, 514.29, 5e-3
    yield "method as printed, kohm", 250.0 * 500.0 * (1.0 / lower - 1.0 / low), 762.71, 5e-3


@case
def two_measurements_uncertainty():
    paths = [model.path(1.2e6, 0.0), model.path(260e3, 1.0)]
    method = model.Method(480.0, paths, 240e3, 10e6, 1e-3, 0.05, 2e-3)
    yield "isolation resistance, kohm", method.told() / 1e3, 260.00, 5e-3
    parts = method.budget()
    for name, expected in (("drift", 644.6), ("r0", 150.1), ("lower", 78.1), ("v", 22.3), ("vb", 15.6)):
        yield f"u of {name}, ohm", parts[name], expected, 5e-2
    yield "u, ohm", math.hypot(*parts.values()), 667.0, 5e-2
    yield "worst, ohm", sum(parts.values()) * math.sqrt(3.0), 1577.0, 0.5
    results = method.drawn(numpy.random.default_rng(7), 4_000_000) / 1e3
    low, high = numpy.quantile(results, [0.025, 0.975])
    yield "95 % from, kohm", low, 258.85, 1e-2
    yield "95 % to, kohm", high, 261.15, 1e-2


@case
def bus_of_six():
    unit = [model.path(12e6, 0.0), model.path(12e6, 1.0), model.path(8e6, 1.0)]
    paths = [*unit * 6, model.path(6e6, 0.0)]
    ohm = model.seen(700.0, paths)
    yield "seen, kohm", ohm / 1e3, 521.74, 5e-3
    yield "ohm per volt", ohm / 700.0, 745.3, 5e-2
    each, shared = sum(siemens for _, siemens in unit), 1.0 / 6e6
    for rate, expected in ((500.0, 9), (100.0, 48)):
        yield f"units at {rate:.0f} ohm/V", model.most_units(700.0, rate, each, shared), expected, 0.0
        # The circuit itself says so, too.
        fits = [model.seen(700.0, [*unit * count, paths[-1]]) >= rate * 700.0 for count in (expected, expected + 1)]
        yield f"{expected} fit and one more does not", float(fits == [True, False]), 1.0, 0.0
    low, high = model.alarm_window(500.0 * 700.0, ohm, 0.15)
    yield "alarm from, kohm", low / 1e3, 402.5, 5e-2
    yield "alarm to, kohm", high / 1e3, 443.5, 5e-2
    yield "8 units of two 10 Mohm strings, kohm", model.seen(700.0, [model.path(10e6, 0.0)] * 16) / 1e3, 625.0, 1e-9
    yield "one-sided fault that alarms, Mohm", model.one_sided_alarm(420e3, 700.0, paths) / 1e6, 2.1538, 5e-5


@case
def touch():
    paths = [model.path(2e6, 0.0), model.path(3e6, 1.0), model.path(1e6, 0.25)]
    for pole, expected in (("plus", 0.81189), ("minus", 0.37891)):
        found = model.touched(650.0, model.without_own(paths, pole), pole, 500.0)
        yield f"{pole}, mA", found * 1e3, expected, 5e-6
        yield (
            f"{pole}, over every choice of paths, mA",
            model.worst_touch(650.0, paths, pole, 500.0) * 1e3,
            expected,
            5e-6,
        )


Y = {"positive_farad": 2 * 220e-9 * 1.1, "negative_farad": 2 * 220e-9 * 1.1}
ONE_SIDED = [model.path(4e6, 1.0), model.path(305e3, 0.0)]


def integrated(volt, paths, body_ohm, farads):
    """Energy in a body at the positive pole over ten time constants, by one differential equation: with a pack of no
    resistance, both capacitors are one."""
    both = sum(farads.values())
    siemens = sum(one for _, one in paths)
    drives = volt * sum(one * place for place, one in paths)

    def slope(_, state):
        chassis = state[0]
        body = (volt - chassis) / body_ohm
        return [(body + drives - siemens * chassis) / both, body * body * body_ohm]

    start = [drives / siemens, 0.0]
    found = scipy.integrate.solve_ivp(slope, (0.0, 10.0 * body_ohm * both), start, rtol=1e-11, atol=1e-12)
    return found.y[1, -1]


@case
def y_energy():
    both = sum(Y.values())
    yield "capacitance, nF", both * 1e9, 968.0, 1e-9
    balanced = [model.path(1e12, 0.0), model.path(1e12, 1.0)]
    whole, _ = model.spread(610.0, balanced, "plus", 500.0, **Y)
    yield "balanced, mJ", whole * 1e3, 45.02, 1e-2
    low, high = model.poles(610.0, ONE_SIDED)
    yield "as the paths divide, V", max(low, high), 566.78, 5e-3
    yield "as the paths divide, mJ", 0.5 * both * max(low, high) ** 2 * 1e3, 155.5, 5e-2
    whole, _ = model.spread(610.0, ONE_SIDED, "plus", 500.0, **Y)
    # What the paths feed in the meantime is in it, the discharge through the paths is not.
    yield "as the paths divide, through the body, mJ", whole * 1e3, integrated(610.0, ONE_SIDED, 500.0, Y) * 1e3, 1e-3
    # The fault takes the whole pack onto one pole.
    lone, _ = model.spread(610.0, [model.path(1e9, 0.0)], "plus", 500.0, **Y)
    yield "one-sided fault, mJ", lone * 1e3, 180.1, 5e-2
    yield "largest, uF", 2.0 * 0.2 / 610.0**2 * 1e6, 1.0750, 5e-5


@case
def y_bleed():
    start, tau, time = model.bled(610.0, *Y.values(), 2.1e6, 60.0)
    yield "start, V", start, 305.0, 1e-9
    yield "time constant, s", tau, 1.0164, 5e-5
    yield "below 60 V after, s", time, 1.653, 5e-4
    # Unequal capacitors, discharged pole to pole through a resistance: what is left on both poles.
    for ends in ((300e-9, 700e-9), (700e-9, 300e-9)):
        positive, negative = ends

        def slope(_, state):
            current = (state[0] + state[1]) / 1e3
            return [-current / positive, -current / negative]

        left = scipy.integrate.solve_ivp(slope, (0.0, 0.1), [610.0, 0.0], method="Radau", rtol=1e-10).y[:, -1]
        yield "left on the positive pole, V", left[0], 610.0 * positive / sum(ends), 1e-5
        yield "left on the negative pole, V", -left[1], 610.0 * positive / sum(ends), 1e-5
    yield "unequal start, V", model.bled(610.0, 300e-9, 700e-9, 2.1e6, 60.0)[0], 427.0, 1e-9


@case
def supply():
    given = {
        "loads": [{"voltage_v": v, "current_a": i} for v, i in ((5.0, 0.012), (3.3, 0.009), (5.0, 0.003))],
        "efficiency_points": [
            {"output_w": w, "efficiency_percent": p} for w, p in ((0.05, 30.0), (0.25, 55.0), (1.0, 72.0))
        ],
        "ambient_degc": 95.0,
        "thermal_resistance_k_per_w": 90.0,
        "rated_w": 0.8,
        "derate_from_degc": 85.0,
        "zero_power_degc": 115.0,
    }
    found = model.supply(given)
    yield "output, mW", found["output_w"] * 1e3, 104.7, 1e-9
    yield "loss, mW", found["loss_w"] * 1e3, 140.7, 5e-2
    yield "input, mW", found["input_w"] * 1e3, 245.4, 5e-2
    yield "efficiency, %", found["output_w"] / found["input_w"] * 100.0, 42.66, 5e-3
    yield "junction, degC", found["junction_degc"], 107.66, 5e-3
    yield "allowed, mW", found["allowed_w"] * 1e3, 533.3, 5e-2


@case
def common_mode():
    found = model.injected(2 * 1.2e-12 + 14e-12 + 3e-12, 40e9, 750.0, 0.30, 20e-3, 2e-6)
    yield "current, A", found["current_a"], 0.776, 5e-4
    yield "duration, ns", found["duration_s"] * 1e9, 18.75, 5e-3
    yield "charge, nC", found["charge_coulomb"] * 1e9, 14.55, 5e-3
    yield "peak, mV", found["peak_v"] * 1e3, 4.656, 5e-4
    yield "behind the pole, uV", found["filtered_v"] * 1e6, 43.45, 5e-3
    yield "mean, uV", 0.30 * found["charge_coulomb"] * 20e-3 * 40e3 * 1e6, 3.492, 5e-4


@case
def start_offset_data():
    yield "start, ms", model.started(22e-6, 5.0, 45e-3, 1.5, 90e-3) * 1e3, 4.889, 5e-4
    yield "never", float(math.isinf(model.started(22e-6, 5.0, 45e-3, 1.5, 65e-3))), 1.0, 0.0
    offset = model.offset_v(60e-3, 52.0)
    yield "offset, uV", offset * 1e6, 75.36, 5e-3
    yield "offset, A", offset / 50e-6, 1.507, 5e-4
    yield "utilisation, %", 96 * 2000 * 1.3 / 1e6 * 100.0, 24.96, 5e-3
    seen = model.latency(96, 2000.0, 0.30, 1e6, 60e-9, 1, numpy.random.default_rng(3))
    yield "latency, ms", seen * 1e3, 1.12486, 1e-4


@case
def published():
    """Values from outside the project: textbook circuits and the rows of the tables."""
    for volt, low, high, r0, meter, expected in (
        (400.0, 600e3, 150e3, 200e3, math.inf, (320.0, 80.0, 200.0, 150e3, 120e3)),
        (800.0, 2e6, 60e3, 400e3, math.inf, (776.699029, 23.300971, 677.966102, 60e3, 58252.43)),
        (400.0, 600e3, 150e3, 200e3, 10e6, (316.20553, None, 198.51117, 150e3, 120e3)),
    ):
        paths = [model.path(low, 0.0), model.path(high, 1.0)]
        first, second, lower = model.meter_readings(volt, paths, r0, meter)
        told = (first, second, lower, *model.from_readings(volt, first, lower, r0, meter))
        for label, got, wanted in zip(("V1", "V2", "V'", "Ri", "parallel"), told, expected):
            if wanted is not None:
                yield f"{volt:.0f} V, {label}", got, wanted, 1e-6 * wanted
    for kilovolt, expected in ((1.5, 1.5), (2.5, 3.0), (4.0, 5.5), (6.0, 8.0), (8.0, 14.0)):
        found = tables.clearance(barrier(rated_impulse_v=1e3 * kilovolt, pack_v=100.0))
        yield f"reinforced {kilovolt} kV, mm", found["required_mm"], expected, 1e-12
    found = tables.clearance(barrier(rated_impulse_v=3000.0, pack_v=100.0))
    yield "reinforced 3 kV, mm", found["required_mm"], 3.8, 1e-9
    for kilovolt, altitude, expected in ((4.0, 3000.0, 3.42), (8.0, 4000.0, 10.32), (6.0, 5000.0, 8.14)):
        given = barrier(rated_impulse_v=1e3 * kilovolt, insulation="basic", altitude_m=altitude, pack_v=100.0)
        yield f"{kilovolt} kV at {altitude} m, mm", tables.clearance(given)["required_mm"], expected, 5e-3
    given = barrier(working_v=100.0, insulation="basic", rated_impulse_v=4000.0, pack_v=100.0)
    found = tables.creepage(given, {"material_group": "I"})
    yield "100 V I, table, mm", found["table_mm"], 0.71, 1e-12
    yield "100 V I, required, mm", found["required_mm"], 3.0, 1e-12
    for index, expected in (
        (399, "IIIa"),
        (400, "II"),
        (599, "II"),
        (600, "I"),
        (380, "IIIa"),
        (175, "IIIa"),
        (174, "IIIb"),
    ):
        yield f"CTI {index} is {expected}", float(tables.group({"cti_v": index}) == expected), 1.0, 0.0
    for altitude, how, expected in (
        (1870.0, "linear", 1.0),
        (2000.0, "next-row", 1.0),
        (2001.0, "linear", 1.00014),
        (2001.0, "next-row", 1.14),
        (-500.0, "linear", 1.0),
    ):
        yield f"{altitude} m {how}", tables.altitude_factor(altitude, how), expected, 1e-12
    # Doubled creepage of the mountain-rescue car, one-sided energy with the nominal capacitors.
    found = tables.creepage(barrier(pack_v=831.6, recurring_peak_v=900.0), {"material_group": "II"})
    yield "831.6 V II doubled, mm", found["required_mm"], 11.674, 5e-4
    lone, _ = model.spread(831.6, [model.path(1e9, 0.0)], "plus", 500.0, 470e-9, 470e-9)
    yield "0.94 uF at 831.6 V, J", lone, 0.3250, 5e-5


def air_pa(altitude_m):
    """Pressure of the ISO 2533 standard atmosphere, up to 20 km."""
    if altitude_m <= 11000.0:
        return 101325.0 * (1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588
    return 22632.06 * math.exp(-(altitude_m - 11000.0) / 6341.62)


@case
def thin_air():
    """The altitude factors against the standard atmosphere counted from 2000 m; a factor below it would be unsafe."""
    heights = numpy.linspace(2000.0, 5000.0, 3001)
    over = [tables.altitude_factor(h) / (air_pa(2000.0) / air_pa(h)) - 1.0 for h in heights]
    yield "least, %", min(over) * 100.0, 0.0, 5e-3
    yield "most up to 5000 m, %", max(over) * 100.0, 0.64, 5e-3
    rows = [row for row in tables.ALTITUDE if row > 5000]
    apart = [tables.ALTITUDE[row] / (80e3 / air_pa(row)) - 1.0 for row in rows]
    yield "rows above 5000 m against 80 kPa, worst, %", max(map(abs, apart)) * 100.0, 0.0, 1.0


@case
def tables_are_sound():
    """No row falls behind the one before, no worse group is shorter, no dirtier air either."""
    for table in (tables.IMPULSE, tables.IMPULSE_HOMOGENEOUS, tables.PEAK, tables.ALTITUDE):
        yield "rises", float(all(numpy.diff([table[key] for key in sorted(table)]) > 0)), 1.0, 0.0
    rows = numpy.array([tables.GENERAL[key] for key in sorted(tables.GENERAL)])
    yield "creepage rises with voltage", float((numpy.diff(rows, axis=0) >= 0).all()), 1.0, 0.0
    yield "and from column to column", float((numpy.diff(rows[:, [0, 1, 4]], axis=1) >= 0).all()), 1.0, 0.0
    yield "and from group to group", float((numpy.diff(rows[:, 1:4], axis=1) >= 0).all()), 1.0, 0.0
    yield "dirty the same", float((numpy.diff(rows[:, 4:], axis=1) >= 0).all()), 1.0, 0.0
    yield (
        "rated impulse rises",
        float((numpy.diff([tables.RATED[key] for key in sorted(tables.RATED)], axis=1) > 0).all()),
        1.0,
        0.0,
    )


def run():
    failed = 0
    for function in CASES:
        for label, got, expected, allowed in function():
            ok = abs(got - expected) <= allowed
            failed += not ok
            print(f"{'ok' if ok else 'FAILED':6} {function.__name__:32} {label:45} {got:.6g}, expected {expected:g}")
    print(f"{failed} failed")
    return not failed


if __name__ == "__main__":
    sys.exit(not run())
