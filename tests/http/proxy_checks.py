"""Behind a proxy as it is set up by default: no design meets 414 or 502, by address, form or file.

    python proxy_checks.py target/release/sensewright-server [nginx]

Starts two servers and the proxy with `nginx.conf` on free ports. Without a proxy on this machine nothing is checked, and said
so.
"""

import html
import json
import os
import pathlib
import random
import re
import shutil
import string
import sys
import unittest
import urllib.parse

from replicas import JSON, Replicas, ends_under_load

ROOT = pathlib.Path(__file__).parents[2]
BINARY = sys.argv.pop(1)
# Where it is installed it is not among what everybody may run.
PROXY = sys.argv.pop(1) if len(sys.argv) > 1 else shutil.which("nginx", path=f"{os.environ['PATH']}:/usr/sbin")
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


@unittest.skipUnless(PROXY, "there is no nginx on this machine")
class BehindAProxy(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.replicas = Replicas(BINARY, PROXY)
        cls.addClassCleanup(cls.replicas.close)
        cls.ask = cls.replicas.ask

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
        for name, lengths in (("mountain-rescue-car", (0, 12, 20, 33, 36, 60)), ("night-bus-drive", (0, 25))):
            document = json.loads((ROOT / "demo-data" / f"{name}.json").read_text())
            document = document.get("design", document)
            for notes in lengths:
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

    def test_nothing_is_lost_when_a_server_goes(self):
        got = ends_under_load(self.replicas, 0.5, 2)
        self.assertEqual([status for status, _ in got], [200], "all answers have the same bytes")
        self.assertGreater(got.total(), 100)

    def test_the_log_has_no_design(self):
        self.ask("GET", "/shunt?v=1&shunt.resistance_ohm=50u")
        log = self.replicas.log()
        self.assertIn("GET 200", log)
        self.assertNotIn("shunt", log)


if __name__ == "__main__":
    unittest.main(verbosity=2)
