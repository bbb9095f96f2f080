"""The pages of a design as a client sees them: addresses that last, changes by link and by form, files to hand on."""

import gzip
import html
import re
import urllib.parse
import xml.etree.ElementTree

from client import BASE, JSON, TOO_LARGE, Check, Page, ask, get, post, send

FORM = "application/x-www-form-urlencoded"
RESISTANCE = "current.1.shunt.resistance_ohm"


def form(path, values, **headers):
    return ask("POST", path, urllib.parse.urlencode(values).encode(), {"content-type": FORM, **headers})


def pages():
    """The overviews of the packs that the start page offers."""
    links = Page(get("/").body.decode()).links
    return [link for link in links if link.startswith("/worksheet/") and link.endswith("/")]


class Designs(Check):
    @classmethod
    def setUpClass(cls):
        cls.packs = pages()
        cls.pack = cls.packs[0]
        cls.token = cls.pack.split("/")[2]

    def assert_led(self, answer, page):
        """303 to that page of another design, and nothing on the way keeps it."""
        self.assertEqual(answer.status, 303, answer.body[:300])
        self.assertEqual(answer.headers["cache-control"], "no-store")
        location = answer.headers["location"]
        self.assertTrue(location.startswith("/worksheet/") and location.endswith("/" + page), location)
        return location

    def test_every_page_of_a_pack_is_there(self):
        parts = {link for link in Page(get(self.pack).body.decode()).links if re.fullmatch(r"[a-z]+\.\d+", link)}
        self.assertGreater(len(parts), 5)
        for place in ("pack", "report", "compare", *sorted(parts)):
            with self.subTest(place):
                answer = get(self.pack + place)
                self.assertEqual((answer.status, answer.kind), (200, "text/html"))

    def test_links_between_the_pages_of_a_design_do_not_carry_it(self):
        for place in ("", "pack", "current.1"):
            with self.subTest(place):
                links = Page(get(self.pack + place).body.decode()).links
                self.assertEqual([link for link in links if self.token in link], [])

    def test_former_addresses_lead_to_the_path_for_ever(self):
        for old, new in (
            (f"/worksheet?d={self.token}", self.pack),
            (f"/worksheet?d={self.token}&format=json", self.pack + "?format=json"),
            (f"/worksheet/{self.token}", self.pack),
            (f"/report?d={self.token}", self.pack + "report"),
        ):
            with self.subTest(new[-20:]):
                answer = get(old)
                self.assertEqual((answer.status, answer.headers["location"]), (308, new))

    def test_a_link_that_cannot_be_opened_is_400_in_words(self):
        for token in ("nonsense", self.token[:-30]):
            for path in (f"/worksheet?d={token}", f"/worksheet/{token}/", f"/worksheet/{token}/current.1"):
                with self.subTest(path[:40]):
                    answer = get(path)
                    self.assertEqual((answer.status, answer.kind), (400, "text/html"))
                    self.assertRegex(answer.body.decode(), "cut off|damaged")

    def test_what_a_design_does_not_have_is_404(self):
        for place in ("current.9", "nothing", "pack.1", "current", "current.1/more"):
            with self.subTest(place):
                self.assertEqual(get(self.pack + place).status, 404)
                self.assertEqual(form(self.pack + place, {RESISTANCE: "36u"}).status, 404)

    def test_an_offered_change_is_a_link_that_stays_on_its_page(self):
        for at in ("", "pack", "current.1"):
            with self.subTest(at):
                location = self.assert_led(get(f"{self.pack}set?at={at}&{RESISTANCE}=36u"), at)
                self.assertIn("~", location)
                self.assertEqual(get(location).status, 200)
        self.assert_led(get(f"{self.pack}set?at=nowhere&{RESISTANCE}=36u"), "")
        for change in (f"{RESISTANCE}=36O", "no.such.field=1"):
            with self.subTest(change):
                refused = get(f"{self.pack}set?{change}", accept="text/html")
                self.assertEqual(refused.status, 422)
                self.assertIn(self.pack, Page(refused.body.decode()).links)

    def test_a_change_taken_back_is_the_design_before(self):
        changed = get(f"{self.pack}set?at=&{RESISTANCE}=36u").headers["location"]
        back = [link for link in Page(get(changed).body.decode()).links if link.startswith(f"set?at=&{RESISTANCE}=")]
        # One of them is offered to turn a verdict, the other takes back.
        self.assertIn(self.pack, [get(changed + link).headers["location"] for link in back])

    def test_a_form_leads_to_the_changed_design(self):
        location = self.assert_led(form(self.pack + "current.1", {RESISTANCE: "36u"}), "current.1")
        document = get(location.replace("current.1", "document.json")).json()
        self.assertEqual(document["current"][0]["shunt"]["resistance_ohm"], 36e-6)
        self.assertEqual(self.assert_led(form(self.pack + "current.1", {}), "current.1"), self.pack + "current.1")

    def test_a_form_that_is_refused_keeps_what_was_typed(self):
        answer = form(self.pack + "current.1", {RESISTANCE: '3"><script>alert(1)</script>', "current.1.name": "A&B"})
        self.assertEqual((answer.status, answer.kind), (422, "text/html"))
        self.assertEqual(answer.headers["cache-control"], "no-store")
        self.assertNotIn(b"<script>alert", answer.body)
        self.assertIn("alert(1)", answer.body.decode())
        self.assertIn('value="A&B"', html.unescape(answer.body.decode()))

    def test_a_body_that_is_no_form_is_refused(self):
        for path in ("/worksheet", "/worksheet/open", self.pack, self.pack + "current.1"):
            with self.subTest(path[:40]):
                self.assertEqual(post(path, {}).status, 415)
                head = f"POST {path} HTTP/1.1\r\nHost: {BASE.netloc}\r\nContent-Type: {FORM}\r\nConnection: close\r\n"
                large = send(f"{head}Content-Length: {TOO_LARGE}\r\n\r\n".encode(), b"a" * TOO_LARGE)
                self.assertEqual(large.status, 413)

    def test_another_method_is_405(self):
        for method, path in (("GET", "/worksheet/open"), ("DELETE", self.pack), ("PUT", self.pack + "current.1")):
            with self.subTest(path[:40]):
                answer = ask(method, path)
                self.assertEqual(answer.status, 405)
                self.assertIn("POST", answer.headers["allow"])

    def test_a_document_leads_to_the_design_it_came_from(self):
        for pack in self.packs:
            with self.subTest(pack[:30]):
                document = get(pack + "document.json")
                self.assertEqual((document.status, document.kind), (200, JSON))
                answer = form("/worksheet/open", {"document": document.body.decode()})
                self.assertEqual(self.assert_led(answer, ""), pack)

    def test_an_overview_has_its_numbers_as_json_too(self):
        document = get(self.pack + "document.json").json()
        wanted = post("/api/v1/design/assess", document).json()
        self.assertEqual(get(self.pack + "?format=json").json(), wanted)
        self.assertEqual(get(self.pack, accept=JSON).json(), wanted)
        self.assertEqual(wanted["link"], self.pack)

    def test_the_badge_is_a_drawing_with_words(self):
        for pack in self.packs:
            with self.subTest(pack[:30]):
                badge = get(pack + "badge.svg")
                self.assertEqual((badge.status, badge.kind), (200, "image/svg+xml"))
                drawing = xml.etree.ElementTree.fromstring(badge.body)
                self.assertRegex("".join(drawing.itertext()), "holds|fails|not judged")
                self.assertNotIn(self.token.encode(), badge.body)

    def test_where_a_visit_began_is_not_handed_on(self):
        changed = get(f"{self.pack}set?at=&{RESISTANCE}=36u").headers["location"]
        began = changed.split("~")[1].rstrip("/")
        for place in ("report", "badge.svg", "document.json", "?format=json"):
            with self.subTest(place):
                self.assertNotIn(began.encode(), get(changed + place).body)

    def test_the_same_address_has_the_same_bytes_packed_or_not(self):
        for place in ("", "current.1"):
            with self.subTest(place):
                plain = get(self.pack + place)
                packed = get(self.pack + place, **{"accept-encoding": "gzip"})
                self.assertEqual(gzip.decompress(packed.body), plain.body)
                head = ask("HEAD", self.pack + place)
                self.assertEqual((head.status, head.kind, head.body), (200, "text/html", b""))

    def test_a_crawler_is_told_not_to_compute(self):
        self.assertIn("Disallow: /worksheet/", get("/robots.txt").body.decode())
