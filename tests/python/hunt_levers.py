"""Presses every offered change of random new designs and compares what follows with what was said of it.

A hunt beside the tests: a program that knows the service by its addresses alone. Nothing but the pack and a few facts is
typed, so that most values follow from the pack and move with a lever.

    BASE_URL=http://127.0.0.1:8080 SECONDS=80 python3 tests/python/hunt_levers.py
"""

import json
import os
import random
import sys
import time
import urllib.error
import urllib.parse
import urllib.request

BASE = os.environ.get("BASE_URL", "http://127.0.0.1:8080")
PARTS = ["current:", "voltage:", "temperatures:", "protection:current", "precharge:"]


class Stay(urllib.request.HTTPRedirectHandler):
    """An answer that leads elsewhere is looked at, not followed."""

    def redirect_request(self, *_):
        return None


opener = urllib.request.build_opener(Stay)


def led(path: str, form=None) -> str:
    """Where an answer leads."""
    body = urllib.parse.urlencode(form).encode() if form else None
    try:
        opener.open(urllib.request.Request(BASE + path, body))
    except urllib.error.HTTPError as answer:
        if 300 <= answer.code < 400:
            return answer.headers["location"]
        raise SystemExit(f"{path[-80:]}: {answer.code} {answer.read()[:400]!r}") from answer
    raise SystemExit(f"{path[-80:]} leads nowhere")


def read(path: str) -> dict:
    """An answer as JSON."""
    with urllib.request.urlopen(BASE + path) as answer:
        return json.load(answer)


def overview(path: str) -> str:
    """The overview of a design, without where the visit began."""
    return f"/worksheet/{path.split('/')[2].split('~')[0]}/"


def design(dice: random.Random) -> str:
    """A random new design with five parts."""
    peak = dice.choice([40, 120, 300, 700])
    form = {
        "title": "Hunted", "pack.cells_in_series": dice.choice([12, 48, 96, 150, 216, 330]),
        "pack.cell_max_v": dice.choice([3.65, 4.2]), "pack.cell_nominal_v": 3.3, "pack.cell_min_v": 2.8,
        "pack.cell_capacity_ah": 50, "pack.cell_resistance_ohm": "1m", "pack.busbars_ohm": "5m",
        "pack.loop_inductance_henry": "2u", "pack.ripple_current_a": 0.03 * peak, "pack.continuous_a": peak / 2,
        "pack.peak_a": peak, "pack.peak_duration_s": 10, "pack.ambient_min_degc": -20,
        "pack.ambient_max_degc": dice.choice([45, 65, 85]),
        "requirements.current.gain_percent": dice.choice([0.3, 0.6, 1]),
        "requirements.current.offset_a": dice.choice([0.1, 0.5]),
        "requirements.voltage.gain_percent": dice.choice([0.3, 0.6]),
        "requirements.temperature.allowed_k": dice.choice([1, 2]),
    }
    path = overview(led("/worksheet", [*form.items(), *(("add", part) for part in PARTS)]))
    own = {
        "precharge.1": {"capacitance_farad": dice.choice(["500u", "2m"]), "resistance_ohm": dice.choice([30, 100]),
                        "load.resistance_ohm": "20k", "resistor.pulse_j": dice.choice([20, 200, 900])},
        "protection.1": {"hazard_a": peak * dice.choice([1.1, 1.3, 2]), "noise_a": 0.5,
                         "rate_a_per_s": dice.choice([100, 5000])},
    }
    for part, values in own.items():
        path = overview(led(path + part, {f"{part}.{key}": value for key, value in values.items()}))
    return path


def wrong(path: str) -> tuple[int, list]:
    """How many changes were pressed, and those that did not do what was said."""
    told = read(f"{path}?format=json&include=levers,input")
    rows, document = told["result"]["requirements"], told["input"]
    pressed, found = 0, []
    for cause in told["result"]["levers"]["causes"]:
        first = rows[cause["rows"][0]]
        for lever in cause["offered"]:
            _, section, index, *field = lever["field"].split("/")
            if any(name.isdigit() for name in field):
                continue  # a cell of a list is put by its whole list
            key = ".".join([section, str(document[section][int(index)]["number"]), *field])
            for step in filter(None, [lever["turns"], lever.get("holds")]):
                moved = led(f"{path}set?{urllib.parse.urlencode({key: repr(step['value'])})}")
                then = read(f"{overview(moved)}?format=json")["result"]
                same = [row["verdict"] for row in then["requirements"]
                        if all(row[name] == first[name] for name in ("part", "id", "label"))]
                pressed += 1
                if same != [step["verdict"]] or then["verdict"]["fail"] != step["fail"]:
                    found.append((key, step, same, then["verdict"]["fail"]))
    return pressed, found


def main() -> None:
    dice, ends = random.Random(5), time.monotonic() + float(os.environ.get("SECONDS", "80"))
    designs = pressed = 0
    all_wrong: list = []
    while time.monotonic() < ends:
        count, found = wrong(design(dice))
        designs, pressed = designs + 1, pressed + count
        all_wrong += found
    print(f"{designs} designs, {pressed} changes pressed, {len(all_wrong)} wrong")
    for one in all_wrong:
        print(one)
    sys.exit(bool(all_wrong))


if __name__ == "__main__":
    main()
