"""Behind a proxy as it is set up by default: no design meets 414 or 502, by address, form or file.

    python proxy_checks.py target/release/sensewright-server [nginx]

Starts two servers and the proxy with `nginx.conf` on free ports. Without a proxy on this machine nothing is checked, and said
so.
"""

import html
import http.client
import json
import pathlib
import random
import re
import shutil
import socket
import string
import subprocess
import sys
import tempfile
import time
import unittest
import urllib.parse

HERE = pathlib.Path(__file__).parent
ROOT = HERE.parents[1]
BINARY = str(pathlib.Path(sys.argv.pop(1)).resolve())
PROXY = sys.argv.pop(1) if len(sys.argv) > 1 else shutil.which("nginx", path="/usr/sbin:/usr/bin:/usr/local/bin")
FORM = {"Content-Type": "application/x-www-form-urlencoded"}
JSON = {"Content-Type": "application/json"}


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@unittest.skipUnless(PROXY, "there is no nginx on this machine")
class BehindAProxy(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.addClassCleanup(cls.folder.cleanup)
        # The workers of the proxy are somebody else, when it is started by root.
        pathlib.Path(cls.folder.name).chmod(0o755)
        cls.port, *servers = (free_port() for _ in range(3))
        cls.servers = [
            cls.run_until_the_end(BINARY, "--listen", f"127.0.0.1:{port}", "--trusted-proxies", "127.0.0.1")
            for port in servers
        ]
        text = (HERE / "nginx.conf").read_text()
        for of_file, port in zip(("8080;", "8081;", "8082;"), (cls.port, *servers)):
            text = text.replace(of_file, f"{port};")
        settings = pathlib.Path(cls.folder.name, "nginx.conf")
        settings.write_text(text)
        cls.run_until_the_end(PROXY, "-p", cls.folder.name, "-c", str(settings), "-g", "daemon off;")
        for _ in range(100):
            try:
                if cls.ask("GET", "/healthz")[0] == 200:
                    return
            except OSError:
                pass
            time.sleep(0.1)
        raise AssertionError("the proxy does not answer")

    @classmethod
    def run_until_the_end(cls, *command):
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        cls.addClassCleanup(process.wait)
        cls.addClassCleanup(process.terminate)
        return process

    @classmethod
    def ask(cls, method, path, body=None, headers=None):
        connection = http.client.HTTPConnection("127.0.0.1", cls.port, timeout=60)
        try:
            connection.request(method, path, body, headers or {})
            response = connection.getresponse()
            return response.status, response.read().decode(), response.getheader("location")
        finally:
            connection.close()

    def page(self, path, pairs=None):
        """The page that an address or a form leads to, and its address."""
        body = urllib.parse.urlencode(pairs) if pairs else None
        status, text, to = self.ask("POST" if pairs else "GET", path, body, FORM if pairs else {"Accept": "text/html"})
        onward = re.search(r'content="0; url=([^"]*)"', text)
        to = to or (onward and html.unescape(onward[1]))
        if to:
            return self.page(to)
        self.assertEqual(status, 200, text[:300])
        return text, path

    def designs(self):
        """From a demo on, more and more letters that nothing makes shorter."""
        random.seed(1)
        for name in ("mountain-rescue-car", "night-bus-drive"):
            document = json.loads((ROOT / "demo-data" / f"{name}.json").read_text())
            document = document.get("design", document)
            for notes in (0, 4, 8, 12, 16, 20, 25, 30, 33, 36, 40, 60):
                letters = lambda: "".join(random.choices(string.ascii_letters, k=150))  # noqa: E731
                document["assumed"] = [{"value": "pack.cell_max_v", "why": letters()} for _ in range(notes)]
                yield notes, json.dumps(document)

    def test_every_design_opens_and_can_be_changed(self):
        lengths = []
        for notes, document in self.designs():
            with self.subTest(notes=notes):
                status, text, _ = self.ask("POST", "/api/v1/links", document, JSON)
                self.assertEqual(status, 200, text)
                made = json.loads(text)
                page, path = self.page("/worksheet/open", {"document": document})
                lengths.append(len(path))
                self.assertEqual("link" in made, path == made.get("link"))
                form = {} if "link" in made else {"token": made["token"]}
                base = made.get("link", "/worksheet/-/")
                for place in ("pack", "current.1", "report", "document.json"):
                    self.page(base + place, form)
                changed, _ = self.page(base + "current.1", form | {"current.1.shunt.resistance_ohm": "36u"})
                self.assertIn("36", changed)
                self.page("/compare", [("d", made["token"])] * 3)
        # Those between a header that is too long and an address that is too long are among them.
        self.assertTrue(any(3_000 < length < 8_000 for length in lengths), lengths)
        self.assertTrue(any(length < 100 for length in lengths), lengths)

    def test_a_form_is_sent_again_when_a_server_has_gone(self):
        document = next(document for _, document in self.designs())
        for turn in range(30):
            if turn == 10:
                self.servers[1].kill()
            self.assertEqual(self.ask("POST", "/api/v1/design/assess", document, JSON)[0], 200)

    def test_the_log_has_no_design(self):
        self.ask("GET", "/shunt?v=1&shunt.resistance_ohm=50u")
        log = pathlib.Path(self.folder.name, "access.log").read_text()
        self.assertIn("GET 200", log)
        self.assertNotIn("shunt", log)


if __name__ == "__main__":
    unittest.main(verbosity=2)
