"""What the checks of the running server share: one request at a time, what a page loads and where it leads."""

import html.parser
import http.client
import json
import os
import socket
import sys
import time
import unittest
import urllib.parse

BASE = urllib.parse.urlsplit(os.environ["BASE_URL"])
BINARY = sys.argv.pop(1)
JSON = "application/json"
PROBLEM = "application/problem+json"
# Far above any sensible input and far below what would hurt the machine if the limit were missing.
TOO_LARGE = 16 * 1024 * 1024


class Answer:
    def __init__(self, response):
        self.status = response.status
        self.headers = {}
        for name, value in response.getheaders():
            # A header given twice means the same as its values in one line (RFC 9110 5.2).
            self.headers[name.lower()] = ", ".join(filter(None, [self.headers.get(name.lower()), value]))
        self.body = response.read()
        self.kind = self.headers.get("content-type", "").split(";")[0]

    def json(self):
        return json.loads(self.body)


def ask(method, path, body=None, headers=None):
    """One request on a connection of its own."""
    connection = http.client.HTTPConnection(BASE.hostname, BASE.port, timeout=30)
    try:
        connection.request(method, path, body=body, headers=headers or {})
        return Answer(connection.getresponse())
    finally:
        connection.close()


def get(path, **headers):
    return ask("GET", path, headers=headers)


def post(path, value, kind=JSON):
    body = value if isinstance(value, bytes) else json.dumps(value).encode()
    return ask("POST", path, body, {"content-type": kind})


def patiently(question, *asked, **headers):
    """The answer to a question that is asked again, as the server asks for, while other work leaves it no place."""
    until = time.monotonic() + 60
    while True:
        answer = question(*asked, **headers)
        if answer.status != 503 or time.monotonic() > until:
            return answer
        time.sleep(int(answer.headers.get("retry-after", 1)))


def send(*parts):
    """Raw bytes to the server, and what it says. It may answer and close before it has seen everything."""
    with socket.create_connection((BASE.hostname, BASE.port), timeout=30) as connection:
        try:
            for part in parts:
                connection.sendall(part)
        except (BrokenPipeError, ConnectionResetError):
            pass
        response = http.client.HTTPResponse(connection)
        response.begin()
        return Answer(response)


def openapi():
    return get("/api/openapi.json").json()


def operations(document):
    """Every documented operation as (method, path, operation)."""
    methods = {"get", "post", "put", "patch", "delete", "head"}
    for path, item in document["paths"].items():
        for method, operation in item.items():
            if method in methods:
                yield method, path, operation


def calculations(document):
    """The paths that take a JSON body: the calculations."""
    return [path for method, path, operation in operations(document) if method == "post" and "requestBody" in operation]


def request_examples(operation):
    """Every example of a request body, wherever the description may keep it."""
    media = operation["requestBody"]["content"][JSON]
    if "example" in media:
        yield "example", media["example"]
    for name, example in media.get("examples", {}).items():
        yield name, example["value"]


class Page(html.parser.HTMLParser):
    """What a page loads (style sheets, scripts, icons, pictures) and where it leads."""

    def __init__(self, text):
        super().__init__()
        self.assets, self.links = [], []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        if tag == "link" and "href" in attributes:
            self.assets.append(attributes["href"])
        if tag in ("script", "img") and "src" in attributes:
            self.assets.append(attributes["src"])
        if tag == "a" and "href" in attributes:
            self.links.append(attributes["href"])


class Check(unittest.TestCase):
    maxDiff = None

    def assert_problem(self, answer, status):
        """RFC 9457: the media type, and a status that repeats the answer's own."""
        self.assertEqual(answer.status, status, answer.body[:300])
        self.assertEqual(answer.kind, PROBLEM)
        problem = answer.json()
        self.assertEqual(problem["status"], status)
        self.assertTrue(problem["title"].strip())
        return problem
