#!/usr/bin/env python3
"""What one client notices of others that ask for all they can.

Attackers ask from 127.0.0.2 on; another client asks from 127.0.0.1 for single calculations, and twice a second for a whole
design. It asks alone and beside each attack in turn, so that what the machine does besides counts on both sides.

    tests/load/load.py http://127.0.0.1:8080 [seconds [attackers]]

    dear        designs of ten million trials, by JSON and by opening their links
    heads       heads that announce a body and never send it
    idle        1,030 connections on which nothing is asked
    unread      answers of many kilobytes that nobody reads
    pairs       forms of 150,000 pairs
"""

import http.client
import json
import pathlib
import socket
import sys
import threading
import time
from urllib.parse import urlsplit

ROOT = pathlib.Path(__file__).parents[2]
JSON = {"Content-Type": "application/json"}
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


def ask(server, source, method, path, body=None, headers=None):
    """One request on a connection of its own: its status, and how long it took in milliseconds."""
    began = time.monotonic()
    connection = http.client.HTTPConnection(server.hostname, server.port, timeout=60, source_address=(source, 0))
    try:
        connection.request(method, path, body, headers or {})
        response = connection.getresponse()
        text = response.read()
        return response.status, (time.monotonic() - began) * 1000, text
    except (OSError, http.client.HTTPException):
        return 0, (time.monotonic() - began) * 1000, b""
    finally:
        connection.close()


def dear(document):
    """A design whose channels draw ten million trials each."""
    for section in ("current", "voltage"):
        for part in document.get(section, []):
            part["experiment"] = {"trials": 10_000_000, "seed": 1}
    return json.dumps(document)


class Attack:
    """What attackers do until it is over, and what they got."""

    def __init__(self, server, document, link):
        self.server, self.document, self.link = server, document, link
        self.over, self.counts = threading.Event(), {}

    def count(self, status):
        self.counts[status] = self.counts.get(status, 0) + 1

    def dear(self, source):
        self.count(ask(self.server, source, "POST", "/api/v1/design/assess?include=all", dear(dict(self.document)), JSON)[0])
        self.count(ask(self.server, source, "GET", self.link, None, {"Accept": "text/html"})[0])

    def pairs(self, source):
        self.count(ask(self.server, source, "POST", "/worksheet", "a=1&" * 150_000, FORM)[0])

    def open(self, source, text, kept, most, small=False):
        """One more connection on which a text is sent and nothing is read."""
        if len(kept) >= most:
            self.over.wait(0.05)
            gone = [one for one in kept if has_ended(one)]
            for one in gone:
                one.close()
                kept.remove(one)
                self.count("ended")
            return
        try:
            connection = socket.socket()
            if small:
                connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
            connection.bind((source, 0))
            connection.settimeout(5)
            connection.connect((self.server.hostname, self.server.port))
            connection.sendall(text)
            kept.append(connection)
            self.count("opened")
        except OSError:
            self.count("refused")
            self.over.wait(0.02)

    def heads(self, source, kept):
        head = b"POST /api/v1/shunt HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\nContent-Length: 900000\r\n\r\n{"
        self.open(source, head, kept, 150)

    def idle(self, source, kept):
        self.open(source, b"", kept, 1030 // 8 + 1)

    def unread(self, source, kept):
        request = b"GET /current-channel?v=1 HTTP/1.1\r\nHost: a\r\nAccept: text/html\r\n\r\n"
        self.open(source, request * 4, kept, 60, small=True)

    def run(self, kind, source):
        act, kept = getattr(self, kind), []
        while not self.over.is_set():
            act(source, kept) if kind in ("heads", "idle", "unread") else act(source)
        for connection in kept:
            connection.close()


def has_ended(connection):
    try:
        connection.setblocking(False)
        return connection.recv(1, socket.MSG_PEEK) == b""
    except BlockingIOError:
        return False
    except OSError:
        return True


def measured(server, questions, seconds, document):
    """The times of each question, asked in turn by one client; a whole design twice a second."""
    taken = {name: [] for name in (*questions, "design")}
    bad = dict.fromkeys(taken, 0)
    until, next_design = time.monotonic() + seconds, 0.0

    def one(name, question):
        status, millis, _ = ask(server, "127.0.0.1", *question)
        taken[name].append(millis)
        bad[name] += status != 200

    while time.monotonic() < until:
        if time.monotonic() >= next_design:
            next_design = time.monotonic() + 0.5
            one("design", ("POST", "/api/v1/design/assess", document, JSON))
        for name, question in questions.items():
            one(name, question)
        time.sleep(0.02)
    return taken, bad


def told(words, taken, bad):
    for name, times in taken.items():
        times.sort()
        at = lambda share: times[min(len(times) - 1, int(len(times) * share))]  # noqa: E731
        print(
            f"{words:7} {name:16} {len(times):5} asked, {bad[name]:3} without answer, "
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
    document = document.get("design", document)
    plain = json.dumps(document)
    _, _, text = ask(server, "127.0.0.1", "POST", "/api/v1/links", dear(dict(document)), JSON)
    link = urlsplit(json.loads(text)["link"]).path

    missed = 0
    for kind in ("dear", "heads", "idle", "unread", "pairs"):
        taken, bad = measured(server, questions, seconds, plain)
        told("quiet", taken, bad)
        missed += sum(bad.values())
        attack = Attack(server, document, link)
        # The same few addresses for all: who opens more connections gets no more.
        threads = [
            threading.Thread(target=attack.run, args=(kind, f"127.0.0.{2 + index % 4}"), daemon=True)
            for index in range(attackers)
        ]
        for thread in threads:
            thread.start()
        time.sleep(1.5)
        taken, bad = measured(server, questions, seconds, plain)
        told(kind, taken, bad)
        missed += sum(bad.values())
        attack.over.set()
        for thread in threads:
            thread.join(20)
        print("attackers got", dict(sorted(attack.counts.items(), key=str)), flush=True)
        time.sleep(1)
    return missed > 0


if __name__ == "__main__":
    sys.exit(main())
