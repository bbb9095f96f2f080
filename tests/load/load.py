#!/usr/bin/env python3
"""How long a single calculation takes while others ask for as much as they can.

Attackers ask from 127.0.0.2 on for designs of ten million trials, by JSON and by opening their links. Another client asks
from 127.0.0.1 for single calculations, first alone, then beside them.

    tests/load/load.py http://127.0.0.1:8080 [seconds [attackers]]
"""

import http.client
import json
import pathlib
import sys
import threading
import time
from urllib.parse import urlsplit

ROOT = pathlib.Path(__file__).parents[2]
JSON = {"Content-Type": "application/json"}


def ask(server, source, method, path, body=None, headers=None):
    """One request on a connection of its own: its status, and how long it took in milliseconds."""
    began = time.monotonic()
    connection = http.client.HTTPConnection(server.hostname, server.port, timeout=60, source_address=(source, 0))
    try:
        connection.request(method, path, body, headers or {})
        response = connection.getresponse()
        text = response.read()
        return response.status, (time.monotonic() - began) * 1000, text
    except OSError:
        return 0, (time.monotonic() - began) * 1000, b""
    finally:
        connection.close()


def dear(document):
    """A design whose channels draw ten million trials each."""
    for section in ("current", "voltage"):
        for part in document.get(section, []):
            part["experiment"] = {"trials": 10_000_000, "seed": 1}
    return json.dumps(document)


def attack(server, source, document, link, until, counts):
    while time.monotonic() < until:
        for method, path, body, headers in (
            ("POST", "/api/v1/design/assess?include=all", document, JSON),
            ("GET", link, None, {"Accept": "text/html"}),
        ):
            status, _, _ = ask(server, source, method, path, body, headers)
            counts[status] = counts.get(status, 0) + 1


def measured(server, questions, seconds):
    """The times of each question, asked in turn by one client."""
    taken = {name: [] for name in questions}
    bad = dict.fromkeys(questions, 0)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        for name, question in questions.items():
            status, millis, _ = ask(server, "127.0.0.1", *question)
            taken[name].append(millis)
            bad[name] += status != 200
        time.sleep(0.02)
    return taken, bad


def told(words, taken, bad):
    for name, times in taken.items():
        times.sort()
        at = lambda share: times[min(len(times) - 1, int(len(times) * share))]  # noqa: E731
        print(
            f"{words:9} {name:16} {len(times):5} asked, {bad[name]:3} without answer, "
            f"p50 {at(0.5):8.1f} ms, p99 {at(0.99):8.1f} ms, worst {times[-1]:8.1f} ms",
            flush=True,
        )


def main():
    server = urlsplit(sys.argv[1])
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 10.0
    attackers = int(sys.argv[3]) if len(sys.argv) > 3 else 8
    _, _, text = ask(server, "127.0.0.1", "GET", "/api/openapi.json")
    paths = json.loads(text)["paths"]

    def example(slug):
        content = paths[f"/api/v1/{slug}"]["post"]["requestBody"]["content"]["application/json"]
        return json.dumps(content.get("example") or next(iter(content["examples"].values()))["value"])

    questions = {slug: ("POST", f"/api/v1/{slug}", example(slug), JSON) for slug in ("shunt", "current-channel")}
    questions["page of a shunt"] = ("GET", "/shunt", None, {"Accept": "text/html"})
    document = json.loads((ROOT / "demo-data/mountain-rescue-car.json").read_text())
    document = dear(document.get("design", document))
    _, _, text = ask(server, "127.0.0.1", "POST", "/api/v1/links", document, JSON)
    link = urlsplit(json.loads(text)["link"]).path

    told("quiet", *measured(server, questions, seconds))
    counts = {}
    until = time.monotonic() + seconds + 1
    threads = [
        threading.Thread(
            target=attack, args=(server, f"127.0.0.{2 + index % 4}", document, link, until, counts), daemon=True
        )
        for index in range(attackers)
    ]
    for thread in threads:
        thread.start()
    time.sleep(0.5)
    taken, bad = measured(server, questions, seconds)
    told("attacked", taken, bad)
    for thread in threads:
        thread.join(15)
    print("attackers got", dict(sorted(counts.items())))
    return any(bad.values())


if __name__ == "__main__":
    sys.exit(main())
