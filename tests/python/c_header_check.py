"""The C header of the temperature table: compiled, run at every code, compared with the curve.

    BASE_URL=http://127.0.0.1:8080 python3 tests/python/c_header_check.py

Needs `cc` and nothing but the standard library. The curve is worked out here again from its equation: beta and
Steinhart-Hart in closed form, platinum by bisection on the polynomial of IEC 60751. The exit code is 1 when a header
does not compile, a value is further from the curve than the answer says, or a test vector does not hold.
"""

import json
import math
import os
import pathlib
import subprocess
import sys
import tempfile
import urllib.request

BASE = os.environ.get("BASE_URL", "http://127.0.0.1:8080")
PATH = "/api/v1/thermistor/table"
FLAGS = ["-std=c99", "-Wall", "-Wextra", "-Werror"]
CASES = (
    {},
    {"max_error_k": 0.05, "steps_per_k": 1000, "placement": "offset"},
    {"divider": {"side": "high", "fixed_ohm": 4700.0}, "converter": {"bits": 14}, "name": "cell_7"},
    {"divider": {"ratiometric": False, "supply_v": 3.0}, "converter": {"full_scale_v": 3.3}},
    {"converter": {"bits": 16}, "steps_per_k": 1000, "max_error_k": 10.0, "placement": "offset"},
    {"steps_per_k": 1, "max_error_k": 1.5, "min_degc": -20.0, "max_degc": 60.0},
    {
        "curve": "steinhart-hart",
        "steinhart_hart": {"a": 0.001009249522, "b": 0.0002378405444, "c": 2.019202697e-07},
        "max_error_k": 0.1,
    },
    {
        "curve": "platinum",
        "platinum": {"nominal": "pt1000"},
        "read_out": "current",
        "current": {"current_a": 1e-3},
        "min_degc": -50.0,
        "max_degc": 300.0,
        "max_error_k": 0.1,
        "name": "oil",
    },
    {"read_out": "oscillator", "oscillator": {"gate_s": 0.3, "comparator_delay_s": 1e-6}, "max_error_k": 0.2},
    {"read_out": "oscillator", "oscillator": {"counting": "reciprocal"}, "max_error_k": 0.2},
)
A, B, C = 3.9083e-3, -5.775e-7, -4.183e-12


def answer(value):
    request = urllib.request.Request(BASE + PATH, json.dumps(value).encode(), {"content-type": "application/json"})
    with urllib.request.urlopen(request, timeout=60) as response:
        return json.load(response)


def platinum(degc):
    return 1.0 + A * degc + B * degc**2 + (C * (degc - 100.0) * degc**3 if degc < 0.0 else 0.0)


def bisected(ratio):
    low, high = -200.0, 850.0
    for _ in range(100):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if platinum(middle) < ratio else (low, middle)
    return 0.5 * (low + high)


def degrees(given, ohm):
    """The temperature of a resistance."""
    if given["curve"] == "platinum":
        return bisected(ohm / {"pt100": 100.0, "pt500": 500.0, "pt1000": 1000.0}[given["platinum"]["nominal"]])
    log = math.log(ohm)
    if given["curve"] == "beta":
        with_beta = given["beta"]
        inverse = 1.0 / 298.15 + (log - math.log(with_beta["r25_ohm"])) / with_beta["beta_k"]
    else:
        with_three = given["steinhart_hart"]
        inverse = with_three["a"] + with_three["b"] * log + with_three["c"] * log**3
    return 1.0 / inverse - 273.15


def resistance(given, code):
    """The resistance of a code."""
    full = 2 ** given["converter"]["bits"]
    if given["read_out"] == "current":
        return code / full * given["converter"]["full_scale_v"] / given["current"]["current_a"]
    if given["read_out"] == "oscillator":
        with_it = given["oscillator"]
        gated = with_it["counting"] == "gated"
        period = with_it["gate_s"] / code if gated else code / (with_it["clock_hz"] * with_it["periods"])
        return (period - 2.0 * with_it["comparator_delay_s"]) / (with_it["k"] * with_it["capacitance_farad"])
    divider = given["divider"]
    share = code / full
    if not divider["ratiometric"]:
        share *= given["converter"]["full_scale_v"] / divider["supply_v"]
    ratio = share / (1.0 - share)
    return divider["fixed_ohm"] * (ratio if divider["side"] == "low" else 1.0 / ratio)


def run(header, name, first, last):
    """Compiles the header and gives what its function returns for every code."""
    program = f"""#define {name.upper()}_TEST
#include "table.h"
#include <stdio.h>
int main(void) {{
    uint32_t code;
    unsigned i;
    for (i = 0u; i < sizeof {name}_vectors / sizeof {name}_vectors[0]; ++i) {{
        if ({name}_of({name}_vectors[i].code) != {name}_vectors[i].value) {{ return 1; }}
    }}
    for (code = {first}u; code <= {last}u; ++code) {{ printf("%ld %d\\n", (long){name}_of(code), {name}_state(code)); }}
    return 0;
}}
"""
    with tempfile.TemporaryDirectory() as folder:
        place = pathlib.Path(folder)
        (place / "table.h").write_text(header)
        (place / "main.c").write_text(program)
        built = subprocess.run(["cc", *FLAGS, "-o", "main", "main.c"], cwd=place, capture_output=True, text=True)
        if built.returncode != 0:
            raise AssertionError(f"it does not compile: {built.stderr[:600]}")
        done = subprocess.run([str(place / "main")], capture_output=True, text=True)
        if done.returncode != 0:
            raise AssertionError("a test vector does not hold")
    return [tuple(map(int, line.split())) for line in done.stdout.splitlines()]


def check(case):
    start = {"min_degc": -40.0, "max_degc": 125.0, "max_error_k": 0.25}
    said = answer(start | case)
    given, result = said["input"], said["result"]
    first, last = result["code_min"], result["code_max"]
    header = result["c_header"]
    if said["link"] not in header or said["engine"] not in header:
        raise AssertionError("the header does not say where it comes from")
    values = run(header, given["name"], first, last)
    worst = (0.0, first)
    for code, (value, state) in zip(range(first, last + 1), values, strict=True):
        off = value / given["steps_per_k"] - degrees(given, resistance(given, code))
        worst = max(worst, (abs(off), code))
        if state != 0:
            raise AssertionError(f"code {code} of the table has state {state}")
    # The same curve by other formulas: equal to a few units of the last place of a double.
    if worst[0] > given["max_error_k"] or abs(worst[0] - result["worst_error_k"]) > 1e-9:
        raise AssertionError(f"{worst[0]} K at code {worst[1]}; {result['worst_error_k']} K was said")
    return f"{result['node_count']:3} nodes, {len(values):5} codes, {worst[0]:.6f} K of {given['max_error_k']} K"


def main():
    failed = 0
    for case in CASES:
        try:
            print(f"ok     {check(case)}  {json.dumps(case)}")
        except (AssertionError, OSError, KeyError, ValueError) as error:
            failed += 1
            print(f"FAILED {type(error).__name__}: {error}  {json.dumps(case)}")
    print(f"{len(CASES) - failed} headers hold, {failed} do not")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
