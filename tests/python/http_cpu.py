"""What an answer costs the server: its own time on a processor (user and system), over the number of answers.

    http_cpu.py NOW BARE [BEFORE]

NOW and BEFORE are server binaries, BARE one that does nothing (`server/examples/bare.rs`). Requests a second would count
the client, too, which shares the cores. Each row is the best of three runs of one client on one connection, because other
work on the machine only ever slows a run down. Ratios are to the bare server of the same run.
"""

import http.client
import json
import os
import socket
import subprocess
import sys
import time

ANSWERS = 2000
RUNS = 3
JSON = {"content-type": "application/json"}
PAGE = {"accept": "text/html"}
PACKED = {**PAGE, "accept-encoding": "gzip"}


class Server:
    """A binary on a free port."""

    def __init__(self, binary: str, bare: bool = False):
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        address = f"127.0.0.1:{self.port}"
        command = [binary, address] if bare else [binary, "--listen", address]
        self.process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(100):
            try:
                socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
                break
            except OSError:
                time.sleep(0.05)
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.kill()
        self.process.wait()

    def ask(self, method: str, path: str, body: str | None, headers: dict) -> bytes:
        self.connection.request(method, path, body, headers)
        answer = self.connection.getresponse()
        data = answer.read()
        assert answer.status == 200, (path, answer.status, data[:200])
        return data

    def ticks(self) -> int:
        fields = open(f"/proc/{self.process.pid}/stat").read().rsplit(")", 1)[1].split()
        return int(fields[11]) + int(fields[12])

    def seconds(self, *question) -> float:
        """Time on a processor for one answer."""
        best = float("inf")
        # A dear question is asked less often.
        started = time.monotonic()
        self.ask(*question)
        count = max(20, min(ANSWERS, int(4 / (time.monotonic() - started))))
        for _ in range(RUNS):
            before = self.ticks()
            for _ in range(count):
                self.ask(*question)
            best = min(best, (self.ticks() - before) / os.sysconf("SC_CLK_TCK") / count)
        return best


def main() -> None:
    now, bare, *before = sys.argv[1:]
    with Server(bare, bare=True) as peer:
        post = peer.seconds("POST", "/", "x" * 1000, JSON)
        get = peer.seconds("GET", "/", None, PAGE)
    print(f"bare: POST {post * 1e6:.0f} us, GET {get * 1e6:.0f} us of a core")
    with Server(now) as server:
        described = json.loads(server.ask("GET", "/api/openapi.json", None, {}))
    rows = []
    for slug in ["shunt", "discharge", "protection/current", "current-channel"]:
        operation = described["paths"][f"/api/v1/{slug}"]["post"]
        example = json.dumps(operation["requestBody"]["content"]["application/json"]["example"])
        rows.append((f"{slug} by POST", post, "<= 8" if slug in ("shunt", "discharge") else "", ("POST", f"/api/v1/{slug}", example, JSON)))
    rows += [
        ("page of the shunt", get, "<= 20", ("GET", "/shunt", None, PAGE)),
        ("the same with gzip", get, "<= 30", ("GET", "/shunt", None, PACKED)),
        ("start page", get, "<= 1.3", ("GET", "/", None, PAGE)),
        ("the same with gzip", get, "<= 1.3", ("GET", "/", None, PACKED)),
        ("health", get, "<= 1.3", ("GET", "/healthz", None, {})),
    ]
    binaries = {"now": now} | ({"before": before[0]} if before else {})
    found: dict[str, list[float | None]] = {}
    for name, binary in binaries.items():
        with Server(binary) as server:
            for _, _, _, question in rows:
                try:
                    found.setdefault(name, []).append(server.seconds(*question))
                except AssertionError:
                    # A question that it did not know.
                    found.setdefault(name, []).append(None)
    print(f"\n{'what':28} {'us of a core':>12} {'times bare':>10}  {'goal':8} {'before':>8}")
    for at, (what, peer, goal, _) in enumerate(rows):
        mine = found["now"][at]
        old = found.get("before", [None] * len(rows))[at]
        print(f"{what:28} {mine * 1e6:12.0f} {mine / peer:9.1f}x  {goal:8} {f'{old / mine:7.2f}x' if old else '':>8}")


if __name__ == "__main__":
    main()
