"""Distances of an insulation barrier, read from the tables of IEC 60664-1.

The tables are typed here from public transcriptions, apart from the data of the server. Rows above 5000 m and above
1000 V line to neutral are from memory; the former agree with the standard atmosphere (see `isolation_cases.py`).
"""

import math

import numpy

# Clearance against impulse, kV to mm, inhomogeneous field, pollution degree 1 (table F.2, case A).
IMPULSE = dict(
    zip(
        (0.33, 0.4, 0.5, 0.6, 0.8, 1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100),
        (0.01, 0.02, 0.04, 0.06, 0.1, 0.15, 0.25, 0.5, 1, 1.5, 2, 3, 4, 5.5, 8, 11, 14, 18, 25, 33, 40, 60, 75, 90)
        + (130, 170),
        strict=True,
    )
)
# The same in a homogeneous field (case B).
IMPULSE_HOMOGENEOUS = {1.5: 0.3, 2.5: 0.6, 4: 1.2, 6: 2.0, 8: 3.0, 12: 4.5}
# What dirt asks for, however small the impulse.
FLOOR_MM = {1: 0.0, 2: 0.2, 3: 0.8}
# Clearance against recurring and temporary peaks, kV to mm (table F.8, case A).
PEAK = {
    0.04: 0.001,
    0.06: 0.002,
    0.1: 0.003,
    0.12: 0.004,
    0.15: 0.005,
    0.2: 0.006,
    0.25: 0.008,
    0.33: 0.01,
    0.4: 0.02,
    0.5: 0.04,
    0.6: 0.06,
    0.8: 0.13,
    1: 0.26,
    1.2: 0.42,
    1.5: 0.76,
    2: 1.27,
    2.5: 1.8,
    3: 2.4,
    4: 3.8,
    5: 5.7,
    6: 7.9,
    8: 11.0,
    10: 15.2,
}
# Rated impulse in kV for category I to IV, by the voltage line to neutral (table F.1).
RATED = {
    50: (0.33, 0.5, 0.8, 1.5),
    100: (0.5, 0.8, 1.5, 2.5),
    150: (0.8, 1.5, 2.5, 4),
    300: (1.5, 2.5, 4, 6),
    600: (2.5, 4, 6, 8),
    1000: (4, 6, 8, 12),
    1250: (4, 6, 8, 12),
    1500: (6, 8, 10, 15),
}
PREFERRED = (0.33, 0.5, 0.8, 1.5, 2.5, 4, 6, 8, 12)
# Air at 80 kPa against air at the altitude (table A.2).
ALTITUDE = {
    2000: 1.0,
    3000: 1.14,
    4000: 1.29,
    5000: 1.48,
    6000: 1.7,
    7000: 1.95,
    8000: 2.25,
    9000: 2.62,
    10000: 3.02,
    15000: 6.67,
    20000: 14.5,
}
# Creepage in mm: general columns PD1, PD2 I II III, PD3 I II III (table F.5).
GENERAL = {
    10: (0.08, 0.4, 0.4, 0.4, 1, 1, 1),
    12.5: (0.09, 0.42, 0.42, 0.42, 1.05, 1.05, 1.05),
    16: (0.1, 0.45, 0.45, 0.45, 1.1, 1.1, 1.1),
    20: (0.11, 0.48, 0.48, 0.48, 1.2, 1.2, 1.2),
    25: (0.125, 0.5, 0.5, 0.5, 1.25, 1.25, 1.25),
    32: (0.14, 0.53, 0.53, 0.53, 1.3, 1.3, 1.3),
    40: (0.16, 0.56, 0.8, 1.1, 1.4, 1.6, 1.8),
    50: (0.18, 0.6, 0.85, 1.2, 1.5, 1.7, 1.9),
    63: (0.2, 0.63, 0.9, 1.25, 1.6, 1.8, 2.0),
    80: (0.22, 0.67, 0.95, 1.3, 1.7, 1.9, 2.1),
    100: (0.25, 0.71, 1.0, 1.4, 1.8, 2.0, 2.2),
    125: (0.28, 0.75, 1.05, 1.5, 1.9, 2.1, 2.4),
    160: (0.32, 0.8, 1.1, 1.6, 2.0, 2.2, 2.5),
    200: (0.42, 1.0, 1.4, 2.0, 2.5, 2.8, 3.2),
    250: (0.56, 1.25, 1.8, 2.5, 3.2, 3.6, 4.0),
    320: (0.75, 1.6, 2.2, 3.2, 4.0, 4.5, 5.0),
    400: (1.0, 2.0, 2.8, 4.0, 5.0, 5.6, 6.3),
    500: (1.3, 2.5, 3.6, 5.0, 6.3, 7.1, 8.0),
    630: (1.8, 3.2, 4.5, 6.3, 8.0, 9.0, 10.0),
    800: (2.4, 4.0, 5.6, 8.0, 10.0, 11.0, 12.5),
    1000: (3.2, 5.0, 7.1, 10.0, 12.5, 14.0, 16.0),
    1250: (4.2, 6.3, 9.0, 12.5, 16, 18, 20),
    1600: (5.6, 8, 11, 16, 20, 22, 25),
    2000: (7.5, 10, 14, 20, 25, 28, 32),
    2500: (10, 12.5, 18, 25, 32, 36, 40),
    3200: (12.5, 16, 22, 32, 40, 45, 50),
}
# Printed wiring, PD1 and PD2.
PRINTED = dict(
    zip(
        (10, 12.5, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200, 250, 320, 400, 500, 630, 800, 1000),
        zip(
            (0.025,) * 8 + (0.04, 0.063, 0.1, 0.16, 0.25, 0.4, 0.56, 0.75, 1.0, 1.3, 1.8, 2.4, 3.2),
            (0.04,) * 8 + (0.063, 0.1, 0.16, 0.25, 0.4, 0.63, 1.0, 1.6, 2.0, 2.5, 3.2, 4.0, 5.0),
            strict=True,
        ),
        strict=True,
    )
)
# With a rib, PD3: groups I, II, III.
RIB = {630: (7.9, 8.4, 9.0), 800: (9.0, 9.6, 10.2), 1000: (10.2, 11.2, 12.8)}
RIB_WIDTH, RIB_HEIGHT = 0.2, 0.25
GROOVE_MM = {1: 0.25, 2: 1.0, 3: 1.5}
GROUPS = ("I", "II", "III")


class Outside(ValueError):
    """A table does not reach there."""


def read(table, at, how="linear", column=None):
    """A value between the rows of a table; below its first row the first row."""
    keys = numpy.array(sorted(table), float)
    values = numpy.array([table[key] if column is None else table[key][column] for key in sorted(table)], float)
    if at > keys[-1] * (1 + 1e-12):
        raise Outside(f"{at} is above {keys[-1]}")
    if how == "next-row":
        return float(values[numpy.searchsorted(keys, at * (1 - 1e-12))])
    return float(numpy.interp(at, keys, values))


def group(crossing):
    """The material group, typed or by its comparative tracking index."""
    named = (crossing.get("material_group") or "not-given").lower().removeprefix("group-")
    if named != "not-given":
        return {"i": "I", "ii": "II", "iiia": "IIIa", "iiib": "IIIb"}[named]
    index = crossing["cti_v"]
    if index < 100:
        raise Outside("no group below 100 V")
    return "I" if index >= 600 else "II" if index >= 400 else "IIIa" if index >= 175 else "IIIb"


def doubled(barrier):
    return barrier["insulation"] == "reinforced"


def degree(barrier):
    """Pollution that a distance sees."""
    return 1 if barrier.get("coating_tested") else int(barrier["pollution_degree"])


def basic_impulse_v(barrier):
    """Rated impulse of basic insulation, stated or by category."""
    if barrier["impulse_by"] == "stated":
        return barrier["rated_impulse_v"]
    category = ("i", "ii", "iii", "iv").index(barrier["overvoltage_category"].lower())
    return 1e3 * read(RATED, barrier["system_v"], "next-row", category)


def impulse_v(barrier):
    """The impulse that the distance and the isolator must withstand, for the class of insulation."""
    basic = basic_impulse_v(barrier)
    if not doubled(barrier):
        return basic
    for step, following in zip(PREFERRED, PREFERRED[1:]):
        if math.isclose(basic, 1e3 * step, rel_tol=1e-12):
            return 1e3 * following
    return 1.6 * basic


def altitude_factor(altitude_m, how="linear"):
    """Thinner air needs a longer path; denser air than at 2000 m earns nothing."""
    return read(ALTITUDE, altitude_m, how)


def by_peak_mm(peak_v, how="linear"):
    return read(PEAK, peak_v / 1e3, how)


def clearance(barrier):
    """What the air gap must be, by each of its two reasons, at the altitude."""
    how = barrier.get("between_rows", "linear")
    table = IMPULSE_HOMOGENEOUS if barrier.get("field") == "homogeneous-tested" else IMPULSE
    impulse = impulse_v(barrier)
    # The standard prints a column a pollution degree: between rows it is read from rows that are long enough for the dirt.
    least = FLOOR_MM[degree(barrier)]
    air = read({key: max(row, least) for key, row in table.items()}, impulse / 1e3, how)
    # A lasting overvoltage is a peak as the recurring one; a barrier sees at least its working voltage.
    working = barrier.get("working_v") or barrier["pack_v"]
    peak = max(barrier.get("recurring_peak_v") or working, barrier.get("temporary_overvoltage_v") or 0.0)
    lasting = by_peak_mm(peak * (1.6 if doubled(barrier) else 1.0), how)
    factor = altitude_factor(barrier["altitude_m"], barrier.get("altitude_between_rows", "linear"))
    return {
        "impulse_v": impulse,
        "by_impulse_mm": air,
        "by_peak_mm": lasting,
        "altitude_factor": factor,
        "required_mm": max(air, lasting) * factor,
    }


def creepage_table(volt, pollution, material, printed=False, rib=False, how="linear"):
    """A row of the creepage table, basic insulation."""
    column = GROUPS.index("III" if material.startswith("III") else material)
    if pollution == 3 and material == "IIIb" and volt > 630:
        raise Outside("group IIIb is not for pollution degree 3 above 630 V")
    if printed and pollution < 3:
        if pollution == 2 and material == "IIIb":
            raise Outside("printed wiring at pollution degree 2 is not of group IIIb")
        return read(PRINTED, volt, how, column=pollution - 1)
    if rib and pollution == 3 and 630 <= volt <= 1000:
        return read(RIB, volt, how, column=column)
    return read(GENERAL, volt, how, column=0 if pollution == 1 else 1 + 3 * (pollution - 2) + column)


def creepage(barrier, crossing):
    """What the path along the surface must be."""
    volt = barrier.get("working_v") or barrier["pack_v"]
    times = 2.0 if doubled(barrier) else 1.0
    air = clearance(barrier)["required_mm"]

    def required(rib):
        printed = crossing.get("printed_wiring", False)
        how = barrier.get("between_rows") or "linear"
        plain = times * creepage_table(volt, degree(barrier), group(crossing), printed, rib, how)
        return plain, max(plain, air)

    plain, need = required(False)
    width, height = crossing.get("rib_width_mm") or 0.0, crossing.get("rib_height_mm") or 0.0
    # The rib must be large against the path that would be needed without it.
    if width >= RIB_WIDTH * need and height >= RIB_HEIGHT * need:
        plain, need = required(True)
    return {"table_mm": plain, "required_mm": need}
