"""What the checks share: the list of them, the questions to the server, the comparison and its report.

A check compares numbers. A hunt draws random designs and tries to make a "holds" false: DESIGNS says how many.
"""

import copy
import json
import os
import time
import urllib.error
import urllib.request

import numpy

BASE = os.environ["BASE_URL"]
CHECKS = []
HUNTS = []
DESIGNS = int(os.environ.get("DESIGNS", "20"))
# What "fails" must be confirmed by: own models are searched, not solved.
CONFIRMED = 0.98


def check(path, title, witness, tolerance, *cases):
    """Registers a function that works out one answer again.

    It gets the input and the result of the API and yields (label, got, expected), compared by the relative tolerance,
    or (label, got, expected, allowed difference). A case changes the example's input: dotted names and their values.
    """

    def register(function):
        CHECKS.append((path, title, witness, tolerance, cases or ({},), function))
        return function

    return register


def hunt(path, title, witness, draw):
    """Registers a function that looks for the worst state of a design by brute force.

    `draw` takes a random generator and gives a case as of a check. The function gets input, result and generator and
    yields (id of a requirement, or nothing, its row among those of that id, own share of the allowance): what the server
    calls holding must be no more than 1, what it calls failing no less than 0.98; a share without a requirement must be no
    more than 1.
    """

    def register(function):
        HUNTS.append((path, title, witness, draw, function))
        return function

    return register


def fetch(path, value=None):
    body = None if value is None else json.dumps(value).encode()
    request = urllib.request.Request(BASE + path, body, {"content-type": "application/json"})
    try:
        with urllib.request.urlopen(request, timeout=60) as response:
            return json.load(response)
    except urllib.error.HTTPError as error:
        raise AssertionError(f"{path}: {error.code} {error.read().decode()[:400]}") from None


def changed(example, case):
    """The example with the case's values put in."""
    value = copy.deepcopy(example)
    for name, given in case.items():
        *groups, last = name.split(".")
        node = value
        for group in groups:
            node = node.setdefault(group, {})
        node[last] = given
    return value


def examples():
    """The example input of every calculation, from the interface description."""
    found = {}
    for path, item in fetch("/api/openapi.json")["paths"].items():
        media = item.get("post", {}).get("requestBody", {}).get("content", {}).get("application/json", {})
        if "example" in media:
            found[path] = media["example"]
        elif media.get("examples"):
            found[path] = next(iter(media["examples"].values()))["value"]
    return found


def refuted(requirement, share):
    """Whether a share found by brute force contradicts a requirement as the server tells it."""
    if requirement is None or requirement["verdict"] in ("holds", "thin"):
        return not share <= 1.0 + 1e-6
    return requirement["verdict"] == "fails" and not share >= CONFIRMED


def pressed(share):
    """Thirty times as far from one: of limits a thousandth beside what is told a "fails" is confirmed by two percent, too."""
    return 1.0 + 30.0 * (share - 1.0)


def run_hunt(start, path, title, witness, draw, function):
    random = numpy.random.default_rng(1)
    judged, refused, faults, verdicts = 0, 0, [], {}
    for _ in range(DESIGNS):
        case = draw(random)
        try:
            answer = fetch(path, changed(start[path], case))
        except AssertionError:
            # Numbers that contradict each other are no design.
            refused += 1
            continue
        for name, row, share in function(answer["input"], answer["result"], random):
            found = [one for one in answer["requirements"] if one["id"] == name]
            requirement = found[row] if name else None
            judged += 1
            if requirement:
                verdicts[requirement["verdict"]] = verdicts.get(requirement["verdict"], 0) + 1
            if refuted(requirement, share):
                told = f"{requirement['verdict']}, {requirement.get('used_percent')} %" if requirement else "claimed"
                faults.append(f"{name}: {told}, own share {share:.6f}; case {case}")
    # Designs that all hold, or all fail, would test one direction only.
    ok = not faults and judged > 0 and refused <= DESIGNS / 2
    told = ", ".join(f"{count} {word}" for word, count in sorted(verdicts.items()))
    print(f"{'ok' if ok else 'FAILED':6} {title:40} {DESIGNS - refused} designs, {told}; {witness}")
    for fault in faults[:10]:
        print(f"       {fault}")
    return ok


def run():
    """Runs every check and hunt, prints a line for each and returns whether all of them hold."""
    start = examples()
    failed = sum(not run_hunt(start, *one) for one in HUNTS)
    for path, title, witness, tolerance, cases, function in CHECKS:
        began, count, worst, faults = time.monotonic(), 0, 0.0, []
        for case in cases:
            try:
                answer = fetch(path, changed(start[path], case))
                for label, got, expected, *allowed in function(answer["input"], answer["result"]):
                    count += 1
                    # Relative, but a zero has nothing to be relative to.
                    limit = allowed[0] if allowed else tolerance * max(abs(expected), 1e-12)
                    used = abs(got - expected) / limit
                    worst = max(worst, used)
                    # Written so that a value that is no number fails, too.
                    if not used <= 1.0:
                        faults.append(f"{label}: got {got!r}, expected {float(expected)!r}; case {case}")
            except (AssertionError, KeyError, TypeError, ValueError) as error:
                faults.append(f"{type(error).__name__}: {error}; case {case}")
        ok = not faults and count > 0
        failed += not ok
        took = time.monotonic() - began
        print(f"{'ok' if ok else 'FAILED':6} {title:40} {count:4} values, {worst:7.1e} of what is allowed; {witness}; {took:.0f} s")
        for fault in faults[:10]:
            print(f"       {fault}")
    print(f"{len(CHECKS) + len(HUNTS) - failed} checks passed, {failed} failed")
    return failed == 0 and len(CHECKS) > 0
