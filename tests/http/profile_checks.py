"""Recorded profiles that are sent: as bodies and forms, in pieces, slowly, by clients that leave; what they cost.

    BASE_URL=http://127.0.0.1:8080 python profile_checks.py target/release/sensewright-server

PROFILE_ROWS=10000000 is the long version of the check of memory.
"""

import http.client
import json
import math
import os
import pathlib
import random
import socket
import time
import unittest
import urllib.parse

from client import BASE, JSON, Check, ask, send
from lifetime_checks import Servers

PATH = "/api/v1/charge-counting/profile"
PAGE = "/charge-counting/profile"
ROWS = int(os.environ.get("PROFILE_ROWS", "1000000"))
BOUNDARY = "part-of-a-form"
MEGABYTE = 1 << 20


def text(rows, seed=1):
    """A profile as text, and its rows."""
    dice = random.Random(seed)
    values = [(0.01 * row, round(200 * math.sin(row / 300) + dice.gauss(0, 20), 2)) for row in range(rows)]
    return "time_s,current_a\n" + "".join(f"{t:.2f},{i}\n" for t, i in values), values


def sent(body, kind="text/csv", path=PATH, **headers):
    return ask("POST", path, body, {"content-type": kind, **headers})


def form(*parts):
    """A body of parts: names and what they hold."""
    pieces = [
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{name}"'.encode()
        + (b'; filename="a.csv"' if name == "file" else b"")
        + b"\r\n\r\n"
        + (held if isinstance(held, bytes) else held.encode())
        + b"\r\n"
        for name, held in parts
    ]
    return b"".join(pieces) + f"--{BOUNDARY}--\r\n".encode()


def post_form(path, *parts, **headers):
    return ask("POST", path, form(*parts), {"content-type": f"multipart/form-data; boundary={BOUNDARY}", **headers})


class Profiles(Check):
    def test_sums_are_those_of_the_rows(self):
        body, values = text(20_000)
        result = sent(body.encode()).json()["result"]
        pairs = list(zip(values, values[1:]))
        out = math.fsum(max(i, 0) * (u - t) for (t, i), (u, _) in pairs)
        self.assertAlmostEqual(result["discharge_ah"] * 3600 / out, 1, delta=1e-9)
        net = math.fsum((i + k) / 2 * (u - t) for (t, i), (u, k) in pairs)
        self.assertAlmostEqual(result["net_trapezoid_ah"] * 3600 / net, 1, delta=1e-9)
        self.assertEqual(result["lines"]["rows"], 20_000)

    def test_pieces_forms_and_progress_give_the_same_answer(self):
        body, _ = text(50_000)
        options = {"chain": {"offset_a": 0.1, "sample_s": 0.01, "noise_a": 0.2, "step_a": 0.05}, "limits": [{"limit_a": 150}]}
        query = f"{PATH}?{urllib.parse.urlencode({'options': json.dumps(options)})}"
        whole = sent(body.encode(), path=query)
        self.assertEqual((whole.status, whole.kind), (200, JSON), whole.body[:300])
        dice = random.Random(3)

        def pieces(data):
            while data:
                length = dice.randint(1, 30_000)
                yield data[:length]
                data = data[length:]

        self.assertEqual(sent(pieces(body.encode()), "application/octet-stream", query).json(), whole.json())
        parts = post_form(PATH, ("options", json.dumps(options)), ("file", body))
        self.assertEqual(parts.json(), whole.json())
        told = sent(body.encode(), "text/plain", query, accept="application/x-ndjson")
        self.assertEqual(told.kind, "application/x-ndjson")
        lines = [json.loads(line) for line in told.body.splitlines()]
        self.assertEqual(lines[-1], {"answer": whole.json()})
        self.assertTrue(all(set(line) == {"progress"} for line in lines[:-1]))

    def test_progress_is_told_while_it_runs(self):
        connection = http.client.HTTPConnection(BASE.hostname, BASE.port, timeout=30)
        self.addCleanup(connection.close)
        connection.putrequest("POST", PATH)
        for name, value in {"content-type": "text/csv", "accept": "application/x-ndjson", "transfer-encoding": "chunked"}.items():
            connection.putheader(name, value)
        connection.endheaders()
        row = b"".join(b"%d,1\n" % k for k in range(100_000))
        connection.send(b"%x\r\n%s\r\n" % (len(row), row))
        answer = connection.getresponse()
        first = json.loads(answer.readline())
        while first["progress"]["rows"] == 0:
            first = json.loads(answer.readline())
        self.assertLessEqual(first["progress"]["rows"], 100_000)
        connection.send(b"0\r\n\r\n")
        last = json.loads(answer.read().splitlines()[-1])
        self.assertEqual(last["answer"]["result"]["lines"]["rows"], 100_000)

    def test_who_waits_to_be_told_to_continue_is_told_so_first(self):
        """RFC 9110, 10.1.1: an answer instead of 100 would be the last word, and the file would never come."""
        rows = "".join(f"{k},1\n" for k in range(3)).encode()
        head = f"POST {PATH} HTTP/1.1\r\nHost: a\r\nContent-Type: text/csv\r\nAccept: application/x-ndjson\r\n"
        head += f"Content-Length: {len(rows)}\r\nExpect: 100-continue\r\n\r\n"
        with socket.create_connection((BASE.hostname, BASE.port), timeout=10) as connection:
            connection.sendall(head.encode())
            self.assertTrue(connection.recv(4_096).startswith(b"HTTP/1.1 100 "))
            connection.sendall(rows)
            answer = b""
            while b'{"answer"' not in answer:
                answer += connection.recv(65_536)
        self.assertTrue(answer.startswith(b"HTTP/1.1 200 "))

    def test_what_is_no_profile_is_refused_in_words(self):
        good = "".join(f"{k};{k % 7}\n" for k in range(300))
        for body, code in [
            (good.encode() + b"300;\0\n", "nul"),
            (b"\xff\xfe1\0;\0", "utf-16"),
            (",".join("1" * 10_000).encode() + b"\n", "too-many-columns"),
            (b"0,5;1,5\n0.5;1.5\n" * 50, "ambiguous"),
            (good.encode() + b"300;1,5\n", "not-a-number"),
            (b"a,b\n1,2\n2,3\n", "no-name"),
            (b"", "too-few-rows"),
        ]:
            with self.subTest(code):
                answer = sent(body)
                self.assert_problem(answer, 422)
                fault = answer.json()["errors"][-1]
                self.assertEqual(fault["code"], code)
                self.assertTrue(fault["message"] and fault["accepted"])
                self.assertLessEqual(len(fault["got"]), 80)

    def test_bad_rows_are_named_and_all_are_counted(self):
        body = "".join(f"{k},x\n" if k % 3 == 2 else f"{k},1\n" for k in range(30_000))
        problem = sent(body.encode()).json()
        self.assertEqual((len(problem["errors"]), problem["faults_total"]), (20, 10_000))
        self.assertEqual(problem["errors"][0]["message"], "Line 3, column 2: This is no number. Given: x")
        options = urllib.parse.quote('{"handling": {"bad_row": "leave-out"}}')
        lines = sent(body.encode(), path=f"{PATH}?options={options}").json()["result"]["lines"]
        self.assertEqual((lines["rows"], lines["left_out"], len(lines["first_left_out"])), (20_000, 10_000, 20))

    def test_a_line_without_end_is_refused_early(self):
        length = 1 << 30
        head = f"POST {PATH} HTTP/1.1\r\nhost: a\r\ncontent-type: text/csv\r\ncontent-length: {length}\r\n\r\n".encode()
        answer = send(head, b"1" * (200 * MEGABYTE))
        self.assertIn(b"long-line", answer.body)

    def test_other_bodies_are_refused(self):
        self.assert_problem(sent(b"0,1\n1,2\n", "application/pdf"), 415)
        self.assert_problem(sent(b"0,1\n1,2\n", **{"content-encoding": "gzip"}), 415)
        self.assert_problem(sent(b"0,1\n1,2\n", path=f"{PATH}?options=%7B"), 422)
        self.assert_problem(sent(b"0,1\n1,2\n", path=f"{PATH}?options=%7B%22a%22:1%7D"), 422)
        self.assert_problem(post_form(PATH, ("file", "0,1\n1,2\n"), ("options", "{}")), 422)
        self.assert_problem(post_form(PATH, ("options", "{}")), 422)
        cut = form(("file", "0,1\n1,2\n"))[:-10]
        self.assert_problem(ask("POST", PATH, cut, {"content-type": f"multipart/form-data; boundary={BOUNDARY}"}), 400)

    def test_the_values_of_a_link_are_options(self):
        """What the page shows at an address is what a file sent with the same values goes through."""
        body = "".join(f"{k},{k % 50}\n" for k in range(200)).encode()
        shown = {"offset_a": 0.05, "gain_percent": 0.5, "clip_low_a": -700, "clip_high_a": 700, "step_a": 0.02, "sample_s": 0.01, "noise_a": 0.1}
        link = {"v": "1", "chain.offset_a": "50m", "limits": "20\n"}
        asked = {"chain": shown, "limits": [{"limit_a": 20}], "element": {"resistance_ohm": 35e-6}}
        typed = sent(body, path=f"{PATH}?{urllib.parse.urlencode({'options': json.dumps(asked)})}")
        linked = sent(body, path=f"{PATH}?{urllib.parse.urlencode(link)}")
        self.assertEqual((typed.status, linked.status), (200, 200), linked.body[:500])
        self.assertEqual(linked.json(), typed.json())
        self.assertEqual(post_form(PATH, *link.items(), ("file", body)).json(), typed.json())
        # The page starts with a chain, and the interface with none.
        codes = [[one["code"] for one in answer.json()["findings"]] for answer in (linked, sent(body, path=f"{PATH}?v=1"), sent(body))]
        self.assertEqual(["charge.chain-as-it-starts" in code for code in codes], [True, True, False])
        refused = sent(body, path=f"{PATH}?chain.offset=50m")
        self.assert_problem(refused, 422)
        self.assertEqual(refused.json()["errors"][0]["field"], "/chain/offset")

    def test_the_page_takes_a_file_without_script(self):
        self.assertIn(b'name="file"', ask("GET", PAGE).body)
        body, _ = text(3_000)
        answer = post_form(PAGE, ("profile", "mountain-rescue-car"), ("chain.offset_a", "100m"), ("file", body))
        self.assertEqual((answer.status, answer.kind), (200, "text/html"), answer.body[:500])
        for words in (b"3000 rows", b"Net discharge", b"How the text was read", b"named current_a"):
            self.assertIn(words, answer.body)
        self.assertNotIn(b"format=csv", answer.body, "a table as a file would be that of another profile")
        kept = post_form(PAGE + "?format=json", ("file", body))
        self.assertIn("attachment", kept.headers["content-disposition"])
        self.assertEqual(kept.json()["result"]["lines"]["rows"], 3_000)
        refused = post_form(PAGE, ("chain.offset_a", "12 V"), ("file", body))
        self.assertEqual((refused.status, refused.kind), (422, "text/html"))
        self.assertIn(b'value="12 V"', refused.body)
        bad = post_form(PAGE, ("file", "t;i\n0;1\n1;x\n"))
        self.assertEqual(bad.status, 422)
        self.assertIn(b"Line 3, column 2", bad.body)


class Costs(Servers):
    """Servers of their own, whose memory and time are looked at."""

    def status(self, process, name):
        lines = pathlib.Path(f"/proc/{process.pid}/status").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith(f"{name}:")) * 1024

    def spent(self, process):
        fields = pathlib.Path(f"/proc/{process.pid}/stat").read_text().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def begin(self, address, length=None):
        connection = http.client.HTTPConnection(address, timeout=60)
        self.addCleanup(connection.close)
        connection.putrequest("POST", PATH)
        connection.putheader("content-type", "text/csv")
        connection.putheader("transfer-encoding", "chunked")
        connection.endheaders()
        return connection

    def chunk(self, connection, data):
        connection.send(b"%x\r\n%s\r\n" % (len(data), data))

    def test_a_long_profile_takes_no_memory(self):
        process, address = self.start()
        small = self.begin(address)
        self.chunk(small, b"0,1\n1,2\n")
        small.send(b"0\r\n\r\n")
        small.getresponse().read()
        idle = self.status(process, "VmRSS")
        connection = self.begin(address)
        for start in range(0, ROWS, 50_000):
            rows = range(start, min(start + 50_000, ROWS))
            self.chunk(connection, "".join(f"{k / 100:.2f},{k * 7919 % 60_001 / 100 - 300:.2f}\n" for k in rows).encode())
        connection.send(b"0\r\n\r\n")
        result = json.loads(connection.getresponse().read())["result"]
        self.assertEqual(result["lines"]["rows"], ROWS)
        grown = self.status(process, "VmHWM") - idle
        self.assertLess(grown, 8 * MEGABYTE, f"{grown / MEGABYTE:.1f} MB for {ROWS} rows")

    def test_who_stands_still_is_closed_and_others_go_on(self):
        """64 kB must come in each 20 seconds: who sends less is told so, and keeps nobody waiting meanwhile."""
        _, address = self.start()
        begun = time.monotonic()
        still, trickling = self.begin(address), self.begin(address)
        for one in (still, trickling):
            self.chunk(one, b"0,1\n1,1\n")
        for row in range(2, 10):
            time.sleep(2)
            # A trickle is no progress.
            self.chunk(trickling, b"%d,1\n" % row)
            other = http.client.HTTPConnection(address, timeout=5)
            other.request("GET", PAGE)
            self.assertEqual(other.getresponse().status, 200)
            other.close()
        for one in (still, trickling):
            answer = one.getresponse()
            self.assertEqual((answer.status, answer.getheader("connection")), (408, "close"))
            self.assertEqual(json.loads(answer.read())["code"], "body-too-slow")
        took = time.monotonic() - begun
        self.assertTrue(19 < took < 30, f"{took:.1f} s")
        # Their places are free again.
        whole = self.begin(address)
        self.chunk(whole, b"0,1\n1,1\n")
        whole.send(b"0\r\n\r\n")
        self.assertEqual(whole.getresponse().status, 200)

    def test_who_leaves_is_worked_for_no_longer(self):
        process, address = self.start()
        connection = self.begin(address)
        data = "".join(f"{k},1\n" for k in range(20_000)).encode()
        self.chunk(connection, data)
        connection.close()
        time.sleep(0.5)
        before = self.spent(process)
        time.sleep(1)
        self.assertLess(self.spent(process) - before, 0.1)
        # Its place is free again: two at once are what one client has.
        held = [self.begin(address) for _ in range(2)]
        for one in held:
            self.chunk(one, b"0,1\n")
        time.sleep(0.3)
        third = self.begin(address)
        answer = third.getresponse()
        self.assertEqual((answer.status, answer.getheader("retry-after")), (503, "5"))
        for one in held:
            self.chunk(one, b"1,1\n")
            one.send(b"0\r\n\r\n")
            self.assertEqual(one.getresponse().status, 200)


if __name__ == "__main__":
    unittest.main(verbosity=2)
