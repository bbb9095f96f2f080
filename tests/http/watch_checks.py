"""The metrics as programs read them that watch services: their form is checked by one, and another takes them in.

    python watch_checks.py target/release/sensewright-server

Where these programs are not on this machine nothing is checked, and said so.
"""

import contextlib
import http.client
import json
import pathlib
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import unittest
import urllib.parse

from replicas import free_port

BINARY = sys.argv.pop(1)


def asked(port, path):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    try:
        connection.request("GET", path)
        return connection.getresponse().read().decode()
    finally:
        connection.close()


class Watched(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.port, cls.watched = free_port(), free_port()
        cls.run_until_the_end(
            BINARY, "--listen", f"127.0.0.1:{cls.port}", "--watch-listen", f"127.0.0.1:{cls.watched}", "--log-level", "error"
        )
        cls.wait_for(lambda: asked(cls.port, "/healthz"))
        for path in ("/shunt", "/current-channel", "/nothing", "/api/v1/shunt"):
            asked(cls.port, path)

    @classmethod
    def run_until_the_end(cls, *command):
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        cls.addClassCleanup(process.wait)
        cls.addClassCleanup(process.send_signal, signal.SIGTERM)

    @classmethod
    def wait_for(cls, there):
        for _ in range(200):
            with contextlib.suppress(OSError, ValueError):
                if found := there():
                    return found
            time.sleep(0.05)
        raise AssertionError("nothing answers")

    @unittest.skipUnless(shutil.which("promtool"), "there is no promtool on this machine")
    def test_their_form_is_as_it_should_be(self):
        text = asked(self.watched, "/metrics")
        # It reads the older text form, in which the words about a counter name it as its numbers do.
        for name in re.findall(r"^# TYPE (\w+) counter$", text, flags=re.M):
            text = re.sub(rf"^# (HELP|TYPE) {name} ", rf"# \1 {name}_total ", text, flags=re.M)
        checked = subprocess.run(["promtool", "check", "metrics"], input=text, capture_output=True, text=True)
        self.assertEqual((checked.returncode, checked.stderr), (0, ""), text)

    @unittest.skipUnless(shutil.which("prometheus"), "there is no prometheus on this machine")
    def test_they_are_taken_in(self):
        folder = self.enterContext(tempfile.TemporaryDirectory())
        port = free_port()
        settings = {
            "global": {"scrape_interval": "1s"},
            "scrape_configs": [{"job_name": "sensewright", "static_configs": [{"targets": [f"127.0.0.1:{self.watched}"]}]}],
        }
        pathlib.Path(folder, "settings.yml").write_text(json.dumps(settings))
        taker = subprocess.Popen(
            ["prometheus", f"--config.file={folder}/settings.yml", f"--storage.tsdb.path={folder}/data",
             f"--web.listen-address=127.0.0.1:{port}"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        self.addCleanup(taker.wait)
        self.addCleanup(taker.terminate)

        def value(question):
            path = "/api/v1/query?" + urllib.parse.urlencode({"query": question})
            return [float(one["value"][1]) for one in json.loads(asked(port, path))["data"]["result"]]

        self.assertEqual(self.wait_for(lambda: value('sensewright_requests_total{route="/shunt"}')), [1])
        self.assertEqual(value("up"), [1])
        self.assertEqual(value('sensewright_request_seconds_bucket{route="/shunt",le="+Inf"}'), [1])
        self.assertEqual(len(value("sensewright_waiting_seconds")), 3)
        self.assertGreater(sum(value("sensewright_cost_seconds_sum")), 0)


if __name__ == "__main__":
    unittest.main(verbosity=2)
