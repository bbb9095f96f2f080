#!/usr/bin/env python3
"""Bodies, forms, addresses and tokens with a few letters changed, cut, doubled or put elsewhere.

Every one is answered: never with another 5xx than 503, never late, and what is refused to a program is a problem document.

Each worker keeps its connection. What is dear unchanged is asked as much less often as it takes longer, so that a million
ask as many different things as may be.

    COUNT=1000000 SEED=1 tests/load/mutations.py http://127.0.0.1:8080
"""

import http.client
import json
import os
import pathlib
import random
import sys
import threading
import time
from collections import Counter
from urllib.parse import quote, urlencode, urlsplit

ROOT = pathlib.Path(__file__).parents[2]
COUNT = int(os.environ.get("COUNT", "20000"))
SEED = int(os.environ.get("SEED", "1"))
CLIENTS = 4
# What takes longer unchanged, in seconds, is asked less often.
QUICK = 0.002
# Longer than any request may take; who waits longer hangs.
PATIENCE = 30
FORM, JSON, PROBLEM = "application/x-www-form-urlencoded", "application/json", "application/problem+json"
# Letters that mean something to one reader or another.
LETTERS = list(b'{}[]",:0123456789.eE+-&=%/~#\\ \t\n\0\xff\xc2\xb5ateu') + list("−²Ω".encode())
WORDS = [
    b"1e308", b"-1e308", b"1e-320", b"9" * 400, b"null", b"true", b"NaN", b"[]", b"{}", b"[[[[", b'""', b"%F0%9F%92%A9",
    b"\xed\xa0\x80", b"&" * 3_000, b"a=" * 500, b'"schema":1', b'"schema":99', b"50u", b"4k7", b"1,5", b"..", b"~", b"current.1.",
]  # fmt: skip


def mutated(dice, text):
    text = bytearray(text)
    for _ in range(1 + int(dice.expovariate(1))):
        at, end = dice.randrange(len(text) + 1), dice.randrange(len(text) + 1)
        first, last = min(at, end), min(max(at, end), min(at, end) + dice.choice((1, 3, 20, 2_000)))
        match dice.randrange(7):
            case 0:
                text[at:at] = bytes([dice.choice(LETTERS)])
            case 1 if at < len(text):
                text[at] = dice.choice(LETTERS)
            case 2:
                del text[first:last]
            case 3:
                text[at:at] = text[first:last]
            case 4:
                text[first:last] = dice.choice(WORDS)
            case 5:
                text[at:at] = dice.choice(WORDS)
            case _ if dice.random() < 0.1:
                del text[at:]
    return bytes(text[:200_000])


def seeds(server):
    """What is asked before it is changed: method, path, body, media type. What is dear costs little here."""
    asked = Client(server)
    _, _, text = asked.ask("GET", "/api/openapi.json", None, {})
    found = []
    paths = json.loads(text)["paths"]
    for path, item in paths.items():
        if "post" in item:
            content = item["post"]["requestBody"]["content"][JSON]
            body = json.dumps(content.get("example") or next(iter(content["examples"].values()))["value"]).encode()
            found.append(("POST", path.encode(), body, JSON))
            if not path.startswith(("/api/v1/design", "/api/v1/links")):
                page = path.removeprefix("/api/v1").encode()
                found.append(("GET", page + b"?v=1&format=json&" + dotted(json.loads(body)), None, None))
    for file in sorted((ROOT / "demo-data").glob("*.json"))[:3]:
        document = json.loads(file.read_text())
        document = document.get("design", document)
        text = json.dumps(document).encode()
        made = json.loads(asked.ask("POST", "/api/v1/links", text, {"Content-Type": JSON})[2])
        token, link = made["token"].encode(), made["link"].encode()
        found += [("POST", b"/api/v1/links", text, JSON)] * 3
        found += [("GET", b"/api/v1/links/" + token, None, None)] * 4
        found += [
            ("POST", b"/api/v1/links/open", b'{"token": "' + token + b'"}', JSON),
            ("GET", link + b"document.json", None, None),
            ("GET", link + b"set?current.1.shunt.resistance_ohm=36u&at=pack", None, None),
            ("GET", b"/worksheet?d=" + token, None, None),
            ("GET", b"/compare?format=json&d=" + token + b"&d=" + token, None, None),
            ("POST", b"/worksheet/open", urlencode({"document": text}).encode(), FORM),
            ("POST", b"/worksheet/open", urlencode({"document": token}).encode(), FORM),
            ("POST", b"/worksheet/-/document.json", urlencode({"token": token}).encode(), FORM),
            ("POST", link, b"action=add&add=current%3A&part=current.1", FORM),
            ("POST", link + b"pack", b"pack.cells_in_series=90&why:pack.cell_max_v=1&assume:pack.cell_max_v=1", FORM),
            ("POST", b"/worksheet", b"pack.cells_in_series=90&pack.cell_max_v=4.2&add=current%3A", FORM),
            ("POST", b"/worksheet/use", urlencode({"values": "/shunt?v=1", "design": token}).encode(), FORM),
        ]
    return found


def weights(server, all_seeds):
    """How often each is asked: those that are dear as much less as they take longer."""
    asked, found = Client(server), []
    for method, path, body, kind in all_seeds:
        began = time.monotonic()
        asked.ask(method, sound(path), body, {"Accept": PROBLEM} | ({"Content-Type": kind} if kind else {}))
        found.append(min(1, QUICK / (time.monotonic() - began)))
    return found


def dotted(tree, before=""):
    pairs = []
    for key, value in tree.items():
        name = f"{before}{key}"
        if isinstance(value, dict):
            pairs.append(dotted(value, f"{name}.").decode())
        elif not isinstance(value, list):
            word = ("no", "yes")[value] if isinstance(value, bool) else str(value)
            pairs.append(f"{name}={quote(word)}")
    return "&".join(filter(None, pairs)).encode()


class Client:
    def __init__(self, server):
        self.server, self.connection = server, None

    def ask(self, method, path, body, headers):
        for again in (True, False):
            kept = self.connection is not None
            self.connection = self.connection or http.client.HTTPConnection(
                self.server.hostname, self.server.port, timeout=PATIENCE
            )
            try:
                self.connection.putrequest(method, path, skip_accept_encoding=True)
                for name, value in headers.items():
                    self.connection.putheader(name, value)
                if body is not None:
                    self.connection.putheader("Content-Length", str(len(body)))
                self.connection.endheaders(body)
                response = self.connection.getresponse()
                text = response.read()
                if response.will_close:
                    self.close()
                return response.status, response.getheader("content-type", ""), text
            except TimeoutError:
                self.close()
                raise
            except (OSError, http.client.HTTPException):
                self.close()
                # A connection that was kept may have ended before it was asked.
                if not (again and kept):
                    raise

    def close(self):
        if self.connection is not None:
            self.connection.close()
        self.connection = None


def sound(path):
    """An address that may stand in a line of a request: everything else is for the library that reads lines."""
    return "/" + quote(path.lstrip(b"/"), safe="/?&=%~#.:;,+-_!*'()@$[]").split("#")[0][:12_000]


def run(server, all_seeds, often, number, share, counts, slowest, faults):
    dice = random.Random(f"{SEED}-{number}")
    client = Client(server)
    for method, path, body, kind in dice.choices(all_seeds, often, k=share):
        if body is None or dice.random() < 0.05:
            path = mutated(dice, path)
        else:
            body = mutated(dice, body)
        headers = {"Accept": PROBLEM}
        if kind:
            headers["Content-Type"] = kind if dice.random() > 0.01 else dice.choice(("text/plain", kind + "; charset=x"))
        path = sound(path)
        began = time.monotonic()
        try:
            status, answered, text = client.ask(method, path, body, headers)
        except Exception as fault:  # noqa: BLE001
            status, answered, text = 0, "", repr(fault).encode()
        took = time.monotonic() - began
        counts[status] = counts.get(status, 0) + 1
        slowest[number] = max(slowest[number], took)
        # A page tells a person; a program gets a problem document, also from a page's address when it asks so.
        told = status < 400 or answered == PROBLEM or answered.startswith("text/html") and not path.startswith("/api/v1/")
        if status == 0 or (status >= 500 and status != 503) or took > PATIENCE or not told:
            faults.append((status, method, path, headers, body, text[:300]))
            print("FAULT", faults[-1], flush=True)


def main():
    server = urlsplit(sys.argv[1])
    all_seeds, slowest, faults = seeds(server), [0.0] * CLIENTS, []
    often, counts = weights(server, all_seeds), [{} for _ in range(CLIENTS)]
    began = time.monotonic()
    threads = [
        threading.Thread(
            target=run, args=(server, all_seeds, often, number, COUNT // CLIENTS, counts[number], slowest, faults)
        )
        for number in range(CLIENTS)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    seconds = time.monotonic() - began
    total = sum(map(Counter, counts), Counter())
    print(
        f"{total.total()} asked in {seconds:.0f} s, {total.total() / seconds:.0f} a second, "
        f"slowest {max(slowest):.2f} s, {dict(sorted(total.items()))}, {len(faults)} faults"
    )
    return bool(faults)


if __name__ == "__main__":
    sys.exit(main())
