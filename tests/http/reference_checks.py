"""The pages of the API reference, and the examples they print: what a reader copies is what is run here."""

import html
import json
import re
import subprocess
import sys

from client import JSON, Check, Page, get, openapi, operations


def reference():
    """The pages that the index leads to."""
    links = Page(get("/api", accept="text/html").body.decode()).links
    return sorted({link for link in links if link.startswith("/api/") and link != "/api/openapi.json"})


def printed(page, what):
    """The examples of a page as its reader sees them, by the id of their operation."""
    found = re.findall(rf'<code id="(op-[\w-]+)-{what}">(.*?)</code>', page, re.S)
    return {operation: html.unescape(text) for operation, text in found}


def run(*command, text=None):
    return subprocess.run(command, input=text, capture_output=True, text=True, timeout=60, check=False)


class Reference(Check):
    @classmethod
    def setUpClass(cls):
        answers = {path: get(path, accept="text/html") for path in reference()}
        cls.statuses = {path: answer.status for path, answer in answers.items()}
        cls.pages = {path: answer.body.decode() for path, answer in answers.items()}
        cls.operations = {}
        for method, path, operation in operations(openapi()):
            name = re.sub("[^a-zA-Z0-9]", "-", f"{method}{path}")
            cls.operations[f"op-{name}"] = JSON in operation["responses"]["200"]["content"]

    def test_the_index_leads_to_every_operation_and_every_page_is_there(self):
        self.assertEqual(set(self.statuses.values()), {200})
        shown = [operation for page in self.pages.values() for operation in printed(page, "curl")]
        self.assertEqual(sorted(shown), sorted(self.operations))
        # An address that was handed out when all stood on one page.
        index = get("/api", accept="text/html").body.decode()
        for operation in self.operations:
            self.assertIn(f'id="{operation}"', index)

    def test_every_curl_example_is_answered(self):
        for path, page in self.pages.items():
            for operation, command in printed(page, "curl").items():
                with self.subTest(path, operation=operation):
                    done = run("sh", "-c", f"{command} -w '\\n%{{http_code}}'")
                    self.assertEqual((done.returncode, done.stderr), (0, ""))
                    body, status = done.stdout.rsplit("\n", 1)
                    self.assertEqual(status, "200", body[:300])
                    if self.operations[operation]:
                        self.assertIsInstance(json.loads(body), dict)

    def test_every_python_example_is_answered(self):
        for path, page in self.pages.items():
            for operation, program in printed(page, "python").items():
                with self.subTest(path, operation=operation):
                    done = run(sys.executable, "-", text=program)
                    self.assertEqual((done.returncode, done.stderr), (0, ""))
                    if self.operations[operation]:
                        # What is refused is told with its status in front.
                        answer, _ = json.JSONDecoder().raw_decode(done.stdout)
                        self.assertIsInstance(answer, dict, done.stdout[:300])

    def test_a_link_to_a_shared_type_leads_to_it(self):
        types = self.pages["/api/types"]
        linked = {link for page in self.pages.values() for link in Page(page).links if "/api/types#" in link}
        self.assertGreater(len(linked), 10)
        for link in linked:
            self.assertIn(f'id="{link.split("#")[1]}"', types)

    def test_an_unknown_page_leads_to_the_index(self):
        for path in ("/api/none", "/api/shunt/none", "/api/v2/shunt"):
            with self.subTest(path):
                answer = get(path, accept="text/html")
                self.assertEqual((answer.status, answer.kind), (404, "text/html"))
                self.assertIn("/api", Page(answer.body.decode()).links)
                self.assert_problem(get(path, accept=JSON), 404)
