"""What the checks share: the list of them, the questions to the server, the comparison and its report."""

import copy
import json
import os
import urllib.error
import urllib.request

BASE = os.environ["BASE_URL"]
CHECKS = []


def check(path, title, witness, tolerance, *cases):
    """Registers a function that works out one answer again.

    It gets the input and the result of the API and yields (label, got, expected), compared by the relative tolerance,
    or (label, got, expected, allowed difference). A case changes the example's input: dotted names and their values.
    """

    def register(function):
        CHECKS.append((path, title, witness, tolerance, cases or ({},), function))
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


def run():
    """Runs every check, prints a line for each and returns whether all of them hold."""
    start = examples()
    failed = 0
    for path, title, witness, tolerance, cases, function in CHECKS:
        count, worst, faults = 0, 0.0, []
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
        print(f"{'ok' if ok else 'FAILED':6} {title:40} {count:4} values, {worst:7.1e} of what is allowed; {witness}")
        for fault in faults[:10]:
            print(f"       {fault}")
    print(f"{len(CHECKS) - failed} checks passed, {failed} failed")
    return failed == 0 and len(CHECKS) > 0
