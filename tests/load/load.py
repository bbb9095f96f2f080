#!/usr/bin/env python3
"""What one client notices of others that ask for all they can.

Starts a server. Attackers ask from 127.0.0.2 on, in a process of their own; another client asks from 127.0.0.1 for a single
calculation. Quiet windows and windows of an attack come in turn, so that what the machine does besides counts on both sides.

    tests/load/load.py target/release/sensewright-server            three windows of ten seconds each: judged in full
    tests/load/load.py target/release/sensewright-server short      one of three seconds, and a quiet one for all: judged as far
                                                                    as a busy machine cannot spoil it
    tests/load/load.py target/release/sensewright-server files      the windows of one attack alone, or of some

    designs     two designs a second, as somebody at work asks for them
    dear        designs of ten million trials, by JSON and by opening their links
    heads       heads that announce a body and never send it
    idle        1,030 connections on which nothing is asked
    unread      answers of many kilobytes that nobody reads
    pairs       forms of 150,000 pairs
    files       two recorded profiles at once, a million rows each, again and again
"""

import functools
import http.client
import json
import multiprocessing
import os
import pathlib
import re
import signal
import socket
import statistics
import subprocess
import sys
import threading
import time

ROOT = pathlib.Path(__file__).parents[2]
JSON = {"Content-Type": "application/json"}
CSV = {"Content-Type": "text/csv"}
FORM = {"Content-Type": "application/x-www-form-urlencoded"}
ATTACKERS = 8
KINDS = ["designs", "dear", "heads", "idle", "unread", "pairs", "files"]
# What an attacker may be told; nothing else. The last two are no answers: a connection was ended, or not taken.
ALLOWED = [200, 408, 413, 422, 429, 503]
TOLD = [*ALLOWED, "other", "ended", "not taken"]


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def ask(port, source, method, path, body=None, headers=None):
    """One request on a connection of its own: its status, how long it took in milliseconds, and what was told."""
    began = time.monotonic()
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60, source_address=(source, 0))
    try:
        connection.request(method, path, body, headers or {})
        response = connection.getresponse()
        text = response.read()
        return response.status, (time.monotonic() - began) * 1000, text
    except (OSError, http.client.HTTPException):
        return "ended", (time.monotonic() - began) * 1000, b""
    finally:
        connection.close()


class Server:
    def __init__(self, binary):
        self.port, self.watched = free_port(), free_port()
        self.process = subprocess.Popen(
            [binary, "--listen", f"127.0.0.1:{self.port}", "--watch-listen", f"127.0.0.1:{self.watched}", "--log-level", "error"],
            stdin=subprocess.DEVNULL,
        )  # fmt: skip
        while ask(self.port, "127.0.0.1", "GET", "/readyz")[0] != 200:
            time.sleep(0.05)

    def end(self):
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(15)

    def cpu_millis(self):
        """To the nanosecond: the ticks of `/proc` are as long as a fifth of what is allowed."""
        clock = (~self.process.pid << 3) | 2  # as clock_getcpuclockid(3) of Linux makes it
        return time.clock_gettime_ns(clock) / 1e6

    def most_megabytes(self):
        status = pathlib.Path(f"/proc/{self.process.pid}/status").read_text()
        return int(re.search(r"VmHWM:\s+(\d+)", status)[1]) / 1024

    def refusals(self):
        """How many were refused at once for load, and how many of them within 50 ms."""
        text = ask(self.watched, "127.0.0.1", "GET", "/metrics")[2].decode()
        of = lambda le: re.search(rf'refused_seconds_bucket\{{le="{le}",code="busy"\}} (\d+)', text)  # noqa: E731
        return [int(found[1]) if (found := of(le)) else 0 for le in (r"\+Inf", r"0\.05")]


class Attack:
    """What attackers do until their process ends, and what they were told."""

    def __init__(self, kind, port, document, link):
        self.kind, self.port, self.document, self.link = kind, port, document, link
        # Without a lock between processes, which one that is killed would keep.
        self.counts, self.lock = multiprocessing.Array("Q", len(TOLD), lock=False), threading.Lock()

    def count(self, told):
        at = TOLD.index(told if told in TOLD else "other")
        with self.lock:
            self.counts[at] += 1

    def designs(self, _):
        self.count(ask(self.port, "127.0.0.2", "POST", "/api/v1/design/assess", json.dumps(self.document), JSON)[0])
        time.sleep(0.5)

    def dear(self, source):
        design = json.dumps(dear(self.document))
        self.count(ask(self.port, source, "POST", "/api/v1/design/assess?include=all", design, JSON)[0])
        self.count(ask(self.port, source, "GET", self.link, None, {"Accept": "text/html"})[0])

    def pairs(self, source):
        self.count(ask(self.port, source, "POST", "/worksheet", "a=1&" * 150_000, FORM)[0])

    def files(self, source):
        self.count(ask(self.port, source, "POST", "/api/v1/charge-counting/profile", profile(), CSV)[0])

    def keep_open(self, source, text, most, small=False):
        """Connections on which a text is sent and nothing is read; one that has ended is replaced."""
        kept = []
        while True:
            if len(kept) >= most:
                time.sleep(0.05)
                for one in [one for one in kept if has_ended(one)]:
                    one.close()
                    kept.remove(one)
                    self.count("ended")
                continue
            try:
                connection = socket.socket()
                if small:
                    connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
                connection.bind((source, 0))
                connection.settimeout(5)
                connection.connect(("127.0.0.1", self.port))
                connection.sendall(text)
                kept.append(connection)
            except OSError:
                connection.close()
                self.count("not taken")
                time.sleep(0.02)

    def heads(self, source):
        head = b"POST /api/v1/shunt HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\nContent-Length: 900000\r\n\r\n{"
        self.keep_open(source, head, 150)

    def idle(self, source):
        self.keep_open(source, b"", 1030 // ATTACKERS + 1)

    def unread(self, source):
        request = b"GET /current-channel?v=1 HTTP/1.1\r\nHost: a\r\nAccept: text/html\r\n\r\n"
        self.keep_open(source, request * 4, 60, small=True)

    def run(self):
        # Attackers sit elsewhere: what their own program takes of these cores must not count as the server's.
        os.nice(10)

        def again(source):
            while True:
                getattr(self, self.kind)(source)

        # The same few addresses for all: who opens more connections gets no more.
        count = {"designs": 1, "files": 2}.get(self.kind, ATTACKERS)
        threads = [threading.Thread(target=again, args=(f"127.0.0.{2 + at % 4}",)) for at in range(count)]
        for thread in threads:
            thread.start()

    def begun(self):
        process = multiprocessing.get_context("fork").Process(target=self.run, daemon=True)
        process.start()
        return process


def has_ended(connection):
    try:
        connection.setblocking(False)
        return connection.recv(1, socket.MSG_PEEK) == b""
    except BlockingIOError:
        return False
    except OSError:
        return True


@functools.cache
def profile():
    """A million rows."""
    return "".join(f"{k / 100:.2f},{k * 7919 % 60_001 / 100 - 300:.2f}\n" for k in range(1_000_000)).encode()


def dear(document):
    """A design whose channels draw ten million trials each."""
    document = json.loads(json.dumps(document))
    for section in ("current", "voltage"):
        for part in document.get(section, []):
            part["experiment"] = {"trials": 10_000_000, "seed": 1}
    return document


class Window:
    """The times of one question in so many seconds, two clients asking in turn of their own."""

    def __init__(self, server, question, seconds):
        self.times, self.missed = [], []
        until = time.monotonic() + seconds

        def client():
            while time.monotonic() < until:
                status, millis, _ = ask(server.port, "127.0.0.1", *question)
                self.times.append(millis)
                if status != 200:
                    self.missed.append(status)
                time.sleep(0.02)

        clients = [threading.Thread(target=client) for _ in range(2)]
        for one in clients:
            one.start()
        for one in clients:
            one.join()
        self.times.sort()

    def at(self, share):
        return self.times[min(len(self.times) - 1, int(len(self.times) * share))]


def median(windows, share):
    return statistics.median(window.at(share) for window in windows)


def judged(kind, quiet, attacked, counts, refusals, spent, megabytes, full):
    """What is not as it should be, in words."""
    faults = []
    say = lambda holds, words: holds or faults.append(f"{kind}: {words}")  # noqa: E731
    missed = [status for window in quiet + attacked for status in window.missed]
    say(not missed, f"requests of the other client had no answer, but {missed}")
    say(counts["other"] == 0, f"an attacker was told something else than {ALLOWED}, {counts['other']} times")
    say(megabytes <= 256, f"{megabytes:.0f} MB")
    p50, p99 = ([median(windows, share) for windows in (quiet, attacked)] for share in (0.5, 0.99))
    if full:
        times = 2 if kind == "designs" else 4
        most = times * p99[0] if kind == "designs" else max(times * p99[0], 20)
        say(p99[1] <= most, f"p99 {p99[1]:.1f} ms, {most:.1f} are allowed")
        say(p50[1] <= 2 * p50[0], f"p50 {p50[1]:.1f} ms, {2 * p50[0]:.1f} are allowed")
        say(sum(len(window.times) for window in attacked) >= 2_000, "too few were asked")
        say(refusals[0] == refusals[1], f"{refusals[0] - refusals[1]} of {refusals[0]} refusals took more than 50 ms")
        say(spent < 50, f"{spent:.0f} ms of a core in the second after the end")
    else:
        # What waits behind an attack waits for seconds.
        say(p50[1] <= max(2 * p50[0], 100), f"p50 {p50[1]:.1f} ms")
    return faults


def main():
    binary = sys.argv[1]
    full = "short" not in sys.argv[2:]
    kinds = [kind for kind in sys.argv[2:] if kind != "short"] or KINDS
    rounds, seconds = (3, 10) if full else (1, 3)
    server = Server(binary)
    paths = json.loads(ask(server.port, "127.0.0.1", "GET", "/api/openapi.json")[2])["paths"]
    example = paths["/api/v1/shunt"]["post"]["requestBody"]["content"]["application/json"]["example"]
    question = ("POST", "/api/v1/shunt", json.dumps(example), JSON)
    document = json.loads((ROOT / "demo-data/mountain-rescue-car.json").read_text())
    document = document.get("design", document)
    made = ask(server.port, "127.0.0.1", "POST", "/api/v1/links", json.dumps(dear(document)), JSON)[2]
    link = json.loads(made)["link"]

    faults = []
    print(f"load of the machine {os.getloadavg()[0]:.2f} on {os.cpu_count()} cores", flush=True)
    for kind in kinds:
        attack = Attack(kind, server.port, document, link)
        before, attacked, spent = server.refusals(), [], []
        if full or kind == kinds[0]:
            quiet = []
        for _ in range(rounds):
            if len(quiet) < rounds:
                quiet.append(Window(server, question, seconds))
            attackers = attack.begun()
            time.sleep(1 if full else 0.5)
            attacked.append(Window(server, question, seconds))
            attackers.kill()
            attackers.join()
            cpu = server.cpu_millis()
            time.sleep(1)
            spent.append(server.cpu_millis() - cpu)
        counts = dict(zip(TOLD, attack.counts))
        refusals = [now - then for now, then in zip(server.refusals(), before)]
        told = {key: count for key, count in counts.items() if count}
        for words, windows in (("quiet", quiet), (kind, attacked)):
            asked = sum(len(window.times) for window in windows)
            print(
                f"{words:8} {asked:5} asked, p50 {median(windows, 0.5):6.1f} ms, p99 {median(windows, 0.99):6.1f} ms, "
                f"worst {max(window.at(1) for window in windows):7.1f} ms",
                flush=True,
            )
        print(
            f"         attackers were told {told}; refused {refusals[0]}, within 50 ms {refusals[1]}; after the end "
            f"{statistics.median(spent):.0f} ms of a core; {server.most_megabytes():.0f} MB",
            flush=True,
        )
        faults += judged(kind, quiet, attacked, counts, refusals, statistics.median(spent), server.most_megabytes(), full)
    if server.end() != 0:
        faults.append("the server did not end in order")
    for fault in faults:
        print("FAULT", fault)
    return bool(faults)


if __name__ == "__main__":
    sys.exit(main())
