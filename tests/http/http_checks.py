"""The running server as a client sees it: statuses, headers, bytes and the interface description.

    BASE_URL=http://127.0.0.1:8080 python http_checks.py target/release/sensewright-server

Requests go through `http.client`, which neither follows redirects nor unpacks answers, so that every byte is seen.
The binary is needed for the checks that end a server of their own. The pages of a design, the API reference and the life
of a server have files of their own, which this one runs as well.
"""

import concurrent.futures
import copy
import csv
import gzip
import io
import unittest
import urllib.parse
import xml.etree.ElementTree

import openapi_spec_validator
from jsonschema import Draft202012Validator
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from client import (
    BASE,
    JSON,
    PROBLEM,
    TOO_LARGE,
    Check,
    Page,
    ask,
    calculations,
    get,
    openapi,
    operations,
    patiently,
    post,
    request_examples,
    send,
)
from crawl_checks import Crawl  # noqa: F401
from design_checks import Designs  # noqa: F401
from lifetime_checks import Lifetime  # noqa: F401
from profile_checks import Costs, Profiles  # noqa: F401
from reference_checks import Reference  # noqa: F401


class Health(Check):
    def test_alive_and_ready(self):
        for path in ("/healthz", "/readyz"):
            self.assertEqual(get(path).status, 200, path)


class BadRequests(Check):
    def test_what_is_not_json_is_400(self):
        for body in (b"", b"{", b"ohm", b'{"a": NaN}', b'{"a": "\xff"}', b"[" * 100_000):
            with self.subTest(body=body[:20]):
                self.assert_problem(post("/api/v1/shunt", body), 400)

    def test_another_media_type_is_415(self):
        for kind in ("text/plain", "application/x-www-form-urlencoded", "application/xml"):
            with self.subTest(kind):
                self.assert_problem(post("/api/v1/shunt", b"{}", kind), 415)

    def test_no_media_type_is_415(self):
        self.assert_problem(ask("POST", "/api/v1/shunt", b"{}"), 415)

    def test_json_with_parameters_is_json(self):
        self.assertNotEqual(post("/api/v1/shunt", b"{}", "application/json; charset=utf-8").status, 415)

    def test_too_large_is_413(self):
        head = f"POST /api/v1/shunt HTTP/1.1\r\nHost: {BASE.netloc}\r\nContent-Type: {JSON}\r\nConnection: close\r\n"
        body, size = b" " * TOO_LARGE, TOO_LARGE
        with self.subTest("announced"):
            self.assert_problem(send(f"{head}Content-Length: {size}\r\n\r\n".encode(), body), 413)
        with self.subTest("in pieces of unknown number"):
            chunked = f"{head}Transfer-Encoding: chunked\r\n\r\n{size:x}\r\n".encode()
            self.assert_problem(send(chunked, body, b"\r\n0\r\n\r\n"), 413)

    def test_every_bad_field_in_one_answer(self):
        document = openapi()
        for path in calculations(document):
            examples = [example for _, example in request_examples(document["paths"][path]["post"])]
            with self.subTest(path):
                value = copy.deepcopy(examples[0])
                value["no_such_field"] = 1
                value["and/another~one"] = 1
                problem = self.assert_problem(post(path, value), 422)
                errors = {error["field"]: error for error in problem["errors"]}
                # RFC 6901 writes `~` as `~0` and `/` as `~1`.
                self.assertLessEqual({"/no_such_field", "/and~1another~0one"}, set(errors))
                for error in problem["errors"]:
                    self.assertLessEqual({"field", "code", "message", "accepted", "got"}, set(error))

    def test_an_empty_object_names_what_is_missing(self):
        problem = self.assert_problem(post("/api/v1/shunt", {}), 422)
        self.assertGreater(len(problem["errors"]), 0)

    def test_a_body_that_is_no_object_is_422(self):
        for value in (None, [], 1, "text", True):
            with self.subTest(value=value):
                self.assert_problem(post("/api/v1/shunt", value), 422)

    def test_another_method_is_405_and_says_which(self):
        answer = ask("GET", "/api/v1/shunt")
        self.assert_problem(answer, 405)
        self.assertIn("POST", answer.headers["allow"])
        answer = ask("DELETE", "/shunt")
        self.assertEqual(answer.status, 405)
        self.assertIn("GET", answer.headers["allow"])

    def test_an_unknown_path_is_404_in_the_callers_language(self):
        self.assert_problem(get("/api/v1/no-such-thing"), 404)
        self.assert_problem(post("/api/v1/no-such-thing", {}), 404)
        page = get("/no-such-page")
        self.assertEqual((page.status, page.kind), (404, "text/html"))
        self.assertIn(b"<h1", page.body)

    def test_a_path_never_leaves_the_server(self):
        for path in ("/static/../Cargo.toml", "/static/..%2f..%2fCargo.toml", "//etc/passwd", "/%00", "/%ff"):
            with self.subTest(path):
                self.assertIn(get(path).status, (400, 404))

    def test_an_endless_address_is_refused(self):
        for length in (20_000, 60_000, 1_000_000):
            with self.subTest(length=length):
                head = f"GET /shunt?{'a' * length} HTTP/1.1\r\nHost: {BASE.netloc}\r\nConnection: close\r\n\r\n"
                self.assertIn(send(head.encode()).status, (400, 414, 431))

    def test_a_wrong_value_on_a_page_is_422_and_stays_as_typed(self):
        answer = get("/shunt?shunt.resistance_ohm=80O")
        self.assertEqual((answer.status, answer.kind), (422, "text/html"))
        self.assertIn(b'value="80O"', answer.body)

    def test_markup_in_a_value_stays_text(self):
        answer = get("/shunt?shunt.resistance_ohm=" + urllib.parse.quote('"><script>alert(1)</script>'))
        self.assertEqual(answer.status, 422)
        self.assertNotIn(b"<script>alert", answer.body)


class Headers(Check):
    PATHS = ("/", "/shunt", "/no-such-page", "/api/v1/no-such-thing", "/api/openapi.json", "/healthz")

    def test_security_headers_on_every_answer(self):
        for path in self.PATHS:
            with self.subTest(path):
                headers = get(path).headers
                policy = {
                    part.split()[0]: part.split()[1:]
                    for part in headers["content-security-policy"].split(";")
                    if part.strip()
                }
                self.assertIn(policy["default-src"], (["'self'"], ["'none'"]))
                for directive, sources in policy.items():
                    self.assertFalse(
                        {"'unsafe-inline'", "'unsafe-eval'", "*", "data:", "https:"} & set(sources), directive
                    )
                self.assertTrue(policy.get("frame-ancestors") == ["'none'"] or headers.get("x-frame-options") == "DENY")
                self.assertEqual(headers["x-content-type-options"], "nosniff")
                self.assertIn(headers["referrer-policy"], ("no-referrer", "same-origin"))
                self.assertNotIn("server", headers)

    def test_the_policy_names_form_and_base(self):
        # `default-src` covers neither of them.
        policy = get("/").headers["content-security-policy"]
        self.assertIn("form-action", policy)
        self.assertIn("base-uri", policy)

    def test_every_answer_has_a_request_id_of_its_own(self):
        ids = [get(path).headers["x-request-id"] for path in self.PATHS * 2]
        self.assertEqual(len(set(ids)), len(ids))

    def test_pages_are_utf8(self):
        self.assertEqual(get("/").headers["content-type"].replace(" ", "").lower(), "text/html;charset=utf-8")


class Bytes(Check):
    def test_head_is_get_without_the_body(self):
        for path in ("/", "/shunt", "/api/openapi.json", "/healthz"):
            with self.subTest(path):
                head, whole = ask("HEAD", path), get(path)
                self.assertEqual((head.status, head.kind, head.body), (whole.status, whole.kind, b""))

    def test_gzip_carries_the_same_bytes(self):
        # The start page is mostly links of designs, which are packed already.
        for path in ("/uncertainty", "/shunt", "/api/openapi.json"):
            with self.subTest(path):
                plain, packed = get(path), get(path, **{"accept-encoding": "gzip"})
                self.assertNotIn("content-encoding", plain.headers)
                self.assertEqual(packed.headers["content-encoding"], "gzip")
                self.assertIn("accept-encoding", packed.headers["vary"].lower())
                self.assertEqual(gzip.decompress(packed.body), plain.body)
                self.assertLess(len(packed.body), len(plain.body) / 2)

    def test_the_same_question_has_the_same_bytes(self):
        document = openapi()

        for path in calculations(document):
            for name, example in request_examples(document["paths"][path]["post"]):
                with self.subTest(path, example=name):
                    first = patiently(post, path, example)
                    # Together, so that a different spread over threads would show; four of the dearest at once are more
                    # than a small machine answers in its turn.
                    with concurrent.futures.ThreadPoolExecutor(4) as pool:
                        for again in pool.map(lambda _: patiently(post, path, example), range(4)):
                            self.assertEqual(again.body, first.body)

    def test_what_a_page_loads_is_there(self):
        assets = Page(get("/").body.decode()).assets
        self.assertGreaterEqual(len(assets), 2)
        for path in assets:
            with self.subTest(path):
                self.assertTrue(path.startswith("/"), "from this server only")
                answer = get(path)
                self.assertEqual(answer.status, 200)
                self.assertIn("cache-control", answer.headers)
                self.assertGreater(len(answer.body), 0)

    def test_what_is_loaded_is_not_loaded_twice(self):
        for path in Page(get("/").body.decode()).assets:
            with self.subTest(path):
                first = get(path)
                if "etag" in first.headers:
                    again = get(path, **{"if-none-match": first.headers["etag"]})
                    self.assertEqual((again.status, again.body), (304, b""))
                else:
                    self.assertIn("immutable", first.headers["cache-control"])

    def test_every_link_leads_somewhere(self):
        start = Page(get("/").body.decode()).links
        seen = {"/"}
        queue = [link for link in start if link.startswith("/")]
        # One step further than the start page: tables and charts to download hang on the calculations, the parts of a
        # design on its overview, from which their links count.
        for page in list(queue):
            answer = self.follow(page)
            if answer.kind == "text/html":
                links = (urllib.parse.urljoin(page, link) for link in Page(answer.body.decode()).links)
                queue += [link.split("#")[0] for link in links if link.startswith("/")]
        for link in queue:
            if link in seen:
                continue
            seen.add(link)
            with self.subTest(link[:100]):
                if "/set?" in link:
                    # A change that is offered leads to another design, whose pages are alike.
                    self.assertEqual(get(link).status, 303)
                    continue
                answer = self.follow(link)
                self.assertEqual(answer.status, 200)
                if answer.kind == "image/svg+xml":
                    xml.etree.ElementTree.fromstring(answer.body)
                if answer.kind == "text/csv":
                    rows = list(csv.reader(io.StringIO(answer.body.decode("utf-8-sig"), newline="")))
                    self.assertGreater(len(rows), 1)
                    self.assertEqual({len(row) for row in rows}, {len(rows[0])}, "as many cells in every row")
        self.assertGreater(len(seen), 5)

    def follow(self, path):
        answer = patiently(get, path)
        for _ in range(3):
            if answer.status not in (301, 302, 303, 307, 308):
                break
            self.assertTrue(answer.headers["location"].startswith("/"), "stays on this server")
            answer = patiently(get, answer.headers["location"])
        return answer

    def test_a_page_has_its_numbers_as_json_too(self):
        for address, wish in (("/shunt?format=json", "text/html"), ("/shunt", "application/json")):
            with self.subTest(address):
                answer = get(address, accept=wish)
                self.assertEqual((answer.status, answer.kind), (200, JSON))
                self.assertEqual(answer.json(), post("/api/v1/shunt", answer.json()["input"]).json())

    def test_browsers_find_an_icon(self):
        self.assertIn(get("/favicon.ico").status, (200, 204, 301, 308))


class Description(Check):
    """The OpenAPI document, and whether the server keeps what it promises."""

    @classmethod
    def setUpClass(cls):
        cls.document = openapi()
        cls.registry = Registry().with_resource("urn:openapi", DRAFT202012.create_resource(cls.document))

    def validate(self, value, *pointer):
        """Against the schema at `pointer`; references lead back into the document."""
        steps = (step.replace("~", "~0").replace("/", "~1") for step in pointer)
        fragment = urllib.parse.quote("/" + "/".join(steps), safe="/~")
        validator = Draft202012Validator({"$ref": f"urn:openapi#{fragment}"}, registry=self.registry)
        faults = [f"{fault.json_path}: {fault.message[:200]}" for fault in validator.iter_errors(value)]
        self.assertEqual(faults, [])

    def test_it_is_valid_openapi_3_1(self):
        self.assertTrue(self.document["openapi"].startswith("3.1."))
        openapi_spec_validator.validate(self.document)

    def test_every_calculation_is_in_it(self):
        expected = {
            "/api/v1/shunt",
            "/api/v1/shunt/fit",
            "/api/v1/converter",
            "/api/v1/current-channel",
            "/api/v1/uncertainty",
        }
        self.assertLessEqual(expected, set(calculations(self.document)))

    def test_every_example_is_answered_as_described(self):
        for path in calculations(self.document):
            operation = self.document["paths"][path]["post"]
            examples = list(request_examples(operation))
            self.assertTrue(examples, f"{path} has no example")
            for name, example in examples:
                with self.subTest(path, example=name):
                    self.validate(example, "paths", path, "post", "requestBody", "content", JSON, "schema")
                    answer = post(path, example)
                    self.assertEqual((answer.status, answer.kind), (200, JSON), answer.body[:500])
                    self.validate(answer.json(), "paths", path, "post", "responses", "200", "content", JSON, "schema")

    def test_an_answer_has_the_common_envelope(self):
        # A design's working stands with its parts, its document is there when it is asked for; links and comparisons have
        # no input to echo.
        design = ["engine", "input", "result", "findings", "link", "fingerprint"]
        common = ["engine", "input", "result", "requirements", "working", "findings", "cautions", "link"]
        for path in calculations(self.document):
            operation = self.document["paths"][path]["post"]
            if "calculations" not in operation["tags"] and path != "/api/v1/design/assess":
                continue
            _, example = next(request_examples(operation))
            with self.subTest(path):
                asked = f"{path}?include=input" if "design" in path else path
                answer = post(asked, example).json()
                self.assertEqual(list(answer), design if "design" in path else common)
                # The echo is complete: asked again with it, the answer is the same.
                self.assertEqual(post(asked, answer["input"]).json(), answer)

    def test_the_link_of_an_answer_opens(self):
        for path in calculations(self.document):
            # Its answer is a document, which is a link already.
            if path == "/api/v1/links/open":
                continue
            _, example = next(request_examples(self.document["paths"][path]["post"]))
            with self.subTest(path):
                link = urllib.parse.urlsplit(post(path, example).json()["link"])
                page = get(link.path + (f"?{link.query}" if link.query else ""))
                self.assertEqual((page.status, page.kind), (200, "text/html"))

    def test_refusals_are_described_and_look_as_described(self):
        for path in calculations(self.document):
            responses = self.document["paths"][path]["post"]["responses"]
            asked = {"400": (b"{", JSON), "415": (b"{}", "application/xml"), "422": (b'{"no_such_field": 1}', JSON)}
            for status, (body, kind) in asked.items():
                with self.subTest(path, status=status):
                    self.assertIn(status, responses)
                    answer = post(path, body, kind)
                    self.assert_problem(answer, int(status))
                    self.validate(
                        answer.json(), "paths", path, "post", "responses", status, "content", PROBLEM, "schema"
                    )

    def test_documented_gets_are_there(self):
        for method, path, operation in operations(self.document):
            if method == "get" and "{" not in path and not operation.get("parameters"):
                with self.subTest(path):
                    self.assertEqual(get(path).status, 200)


if __name__ == "__main__":
    unittest.main(verbosity=2)
