"""Two servers behind a proxy, of which one goes again and again while clients ask: no answer is lost, all have the same bytes.

    python replicas.py target/release/sensewright-server nginx [seconds between two ends [rounds]]
"""

import collections
import contextlib
import http.client
import json
import pathlib
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time

HERE = pathlib.Path(__file__).parent
JSON = {"Content-Type": "application/json"}
CLIENTS = 6


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Replicas(contextlib.ExitStack):
    """The servers and the proxy with `nginx.conf`, on free ports."""

    def __init__(self, binary, proxy):
        super().__init__()
        self.binary = str(pathlib.Path(binary).resolve())
        self.folder = self.enter_context(tempfile.TemporaryDirectory())
        # The workers of the proxy are somebody else, when it is started by root.
        pathlib.Path(self.folder).chmod(0o755)
        self.port, *self.ports = (free_port() for _ in range(3))
        self.servers = [None, None]
        self.callback(lambda: [self.end(at, signal.SIGTERM) for at in (0, 1)])
        for at in (0, 1):
            self.begin(at)
        text = (HERE / "nginx.conf").read_text()
        for of_file, port in zip((8080, 8081, 8082), (self.port, *self.ports)):
            text = re.sub(rf"^(\s+(?:listen|server) 127\.0\.0\.1):{of_file}\b", rf"\1:{port}", text, flags=re.M)
        settings = pathlib.Path(self.folder, "nginx.conf")
        settings.write_text(text)
        front = self.started(shutil.which(proxy) or proxy, "-p", self.folder, "-c", str(settings), "-g", "daemon off;")
        self.callback(front.wait)
        self.callback(front.terminate)
        self.wait_for(self.port)

    def started(self, *command):
        return subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    def begin(self, at):
        port = self.ports[at]
        self.servers[at] = self.started(
            self.binary, "--listen", f"127.0.0.1:{port}", "--trusted-proxies", "127.0.0.1", "--log-level", "error"
        )
        self.wait_for(port)

    def end(self, at, how):
        self.servers[at].send_signal(how)
        self.servers[at].wait()

    def wait_for(self, port):
        for _ in range(200):
            with contextlib.suppress(OSError):
                if self.ask("GET", "/healthz", port=port)[0] == 200:
                    return
            time.sleep(0.05)
        raise AssertionError(f"nothing answers at {port}")

    def ask(self, method, path, body=None, headers=None, port=None):
        connection = http.client.HTTPConnection("127.0.0.1", port or self.port, timeout=60)
        try:
            connection.request(method, path, body, headers or {})
            response = connection.getresponse()
            return response.status, response.read().decode(), response.getheader("location")
        finally:
            connection.close()

    def log(self):
        return pathlib.Path(self.folder, "access.log").read_text()


def ends_under_load(replicas, seconds, rounds):
    """One server after the other is killed, and told to end, and begins anew; what clients got meanwhile."""
    paths = json.loads(replicas.ask("GET", "/api/openapi.json")[1])["paths"]
    content = paths["/api/v1/shunt"]["post"]["requestBody"]["content"]["application/json"]
    body = json.dumps(content.get("example") or next(iter(content["examples"].values()))["value"])
    over, got = threading.Event(), [collections.Counter() for _ in range(CLIENTS)]

    def client(counts):
        connection = http.client.HTTPConnection("127.0.0.1", replicas.port, timeout=60)
        while not over.is_set():
            try:
                connection.request("POST", "/api/v1/shunt", body, JSON)
                response = connection.getresponse()
                counts[response.status, response.read()] += 1
            except (OSError, http.client.HTTPException) as fault:
                counts[type(fault).__name__, b""] += 1
                connection.close()
        connection.close()

    threads = [threading.Thread(target=client, args=(counts,)) for counts in got]
    for thread in threads:
        thread.start()
    for turn in range(rounds):
        for how in (signal.SIGKILL, signal.SIGTERM):
            time.sleep(seconds)
            replicas.end(turn % 2, how)
            time.sleep(seconds)
            replicas.begin(turn % 2)
    time.sleep(seconds)
    over.set()
    for thread in threads:
        thread.join()
    return sum(got, collections.Counter())


def main():
    binary, proxy, seconds, rounds = (*sys.argv[1:], "2", "4")[:4]
    with Replicas(binary, proxy) as replicas:
        got = ends_under_load(replicas, float(seconds), int(rounds))
    by_status = collections.Counter()
    for (status, _), count in got.items():
        by_status[status] += count
    print(f"{got.total()} asked, {len(got)} different answers, {dict(by_status)}")
    return len(got) != 1


if __name__ == "__main__":
    sys.exit(main())
