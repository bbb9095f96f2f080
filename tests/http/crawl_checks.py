"""Every link of two designs is opened, the offered changes included: none is dead, each change does what it prints, and
the same address gives the same bytes, for one of them asked twice."""

import html
import re
import urllib.parse

from client import Check, Page, get, patiently

# What an answer says of the moment it was asked for.
OF_THE_MOMENT = re.compile(rb"\d{4}-\d\d-\d\d(?:T[\d:.]+Z)?")


def plain(text):
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]*>", "", text))).strip()


def packs():
    links = Page(get("/").body.decode()).links
    return [link for link in links if link.startswith("/worksheet/") and link.endswith("/")]


def failing(page):
    """How many requirements fail, by the heading of an overview."""
    lead = plain(re.search(r'<h2 class="lead">(.*?)</h2>', page, re.DOTALL).group(1))
    if re.search(r"\bAll \d+ requirements hold", lead):
        return 0
    found = re.search(r"(\d+) fails?\b", lead)
    return int(found.group(1)) if found else 0


class Crawl(Check):
    def follow(self, path):
        """The answer behind redirections, and where it stood."""
        for _ in range(4):
            answer = patiently(get, path)
            if answer.status not in (303, 307, 308):
                return answer, path
            path = urllib.parse.urljoin(path, answer.headers["location"])
        return self.fail(f"no end of redirections: {path[-60:]}")

    def crawl(self, start, twice):
        """Opens all that can be reached without leaving the design; the changes that are offered one step far."""
        token = start.split("/")[2]
        waiting, seen, changes = [start], {start}, {}
        while waiting:
            path = waiting.pop()
            answer, stood = self.follow(path)
            self.assertEqual(answer.status, 200, path[-80:])
            if answer.kind != "text/html":
                continue
            if twice:
                # Drawn anew: what was drawn before may be kept.
                again = patiently(get, stood, **{"cache-control": "no-cache"})
                same = [OF_THE_MOMENT.sub(b"", one.body) for one in (answer, again)]
                self.assertEqual(*same, f"{path[-60:]}: not the same bytes twice")
            for link in Page(answer.body.decode()).links:
                target = urllib.parse.urldefrag(urllib.parse.urljoin(stood, link)).url
                if target.startswith("http") or target in seen:
                    continue
                seen.add(target)
                if "/set?" in target:
                    changes[target] = stood
                elif not target.startswith("/worksheet/") or target.split("/")[2] == token:
                    # Pages beside the design are opened, and not gone into.
                    if target.startswith("/worksheet/"):
                        waiting.append(target)
                    else:
                        self.assertEqual(self.follow(target)[0].status, 200, target[:120])
        return seen, changes

    def test_every_link_of_two_packs_opens(self):
        for start, twice in ((packs()[0], False), (packs()[-1], True)):
            seen, changes = self.crawl(start, twice)
            self.assertGreater(len(seen), 60)
            for change in changes:
                with self.subTest(change[-80:]):
                    answer, _ = self.follow(change)
                    # What a source of another kind needs is asked for by the page that it leads to.
                    accepted = (200, 422) if "pack.source=" in change else (200,)
                    self.assertIn(answer.status, accepted)
                    self.assertEqual(answer.kind, "text/html")

    def test_each_change_that_is_offered_does_what_it_prints(self):
        pressed = with_room = 0
        for start in packs()[:2]:
            page = patiently(get, start).body.decode()
            for href, effect in re.findall(
                r'<a class="lever"[^>]*href="([^"]+)".*?<span class="then">(.*?)</span></li>', page, re.DOTALL
            ):
                said = re.match(r"(none|\d+) fails? instead of (\d+)", plain(effect))
                if not said:
                    continue
                with self.subTest(href[-80:]):
                    self.assertEqual(int(said.group(2)), failing(page))
                    answer, _ = self.follow(urllib.parse.urljoin(start, html.unescape(href)))
                    then = 0 if said.group(1) == "none" else int(said.group(1))
                    self.assertEqual(failing(answer.body.decode()), then, effect)
                    pressed += 1
                    for room in re.findall(r'<a class="room"[^>]*href="([^"]+)"', effect):
                        answer, _ = self.follow(urllib.parse.urljoin(start, html.unescape(room)))
                        self.assertLessEqual(failing(answer.body.decode()), failing(page), effect)
                        with_room += 1
        self.assertGreater(pressed, 5)
        self.assertGreater(with_room, 0)
