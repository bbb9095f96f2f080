#!/usr/bin/env python3
"""Compares two dumps of every number of every calculation.

The dumps are made by the example `freeze` of the core, both from the same inputs:

    cargo build --release -p sensewright-core --example freeze
    target/release/examples/freeze inputs OLD        once; 400 random inputs of each calculation and its example
    target/release/examples/freeze dump OLD          before a change
    mkdir NEW && cp -r OLD/inputs NEW                (or a link)
    target/release/examples/freeze dump NEW          after it
    tests/freeze/compare.py OLD NEW [--renames FILE] [--allow FILE] [--most 20] [--within 1e-12 | --exact] [--only GLOB]

Exit code: 0 when nothing differs but what is allowed, 1 when something does, 2 when the call is wrong.

What is compared. Lines are taken in pairs, equal lines are passed over. Numbers are the same within `--within`,
relative; with `--exact` their bits must be. Entries of a list are paired by what names them and their occurrence, so
that one that is put in moves none of the others:

    requirement   id|label          table, budget, chart, lane, number-line, listing   id
    finding       code|field        their columns, rows, curves, marks, stages         label, or head
    step          label             figure                                             label
    result        paths of the JSON; lists by id, code, label, name or part where all entries have one, else by index
    words         the view's lead, more, care      order  of the blocks; any list's own order is `.../(order)`
    input, link, verdict, refused                  the answer's own
    checks-alone  requirements that are asked for alone, where they are not those of the whole answer

Demo designs are `demos/<name>`: kinds `design` (token, verdict), `turning`, `design-requirement`, `api` (the whole JSON
of the interface), and every kind above, its path beginning with the part: `current/0: ...` (a rename is written
without).

What is printed. Differences are grouped by calculation, kind, and path with its numbers as `#`; each group has its
count, the largest relative difference of numbers, and the first pair, old beside new. `--most` groups are printed: what
changed before what is missing or added, large groups first. A table of counts per calculation and kind follows.

Renames: a JSON list. `old` and `new` are paths as printed; `*` stands for any text and is put back in order. A path
that goes on after `old` is renamed too. What is renamed is still compared.

    [{"slug": "*", "kind": "requirement", "old": "shunt.heat|*", "new": "shunt.temperature|*"},
     {"slug": "shunt", "kind": "result", "old": "points/*/rise", "new": "points/*/rise_k"}]

Allowed: a JSON list. `what` is a regular expression that is looked for in the path as printed and in "what path", where
what is missing, added, changed or renamed. A difference that is allowed is counted and named, and is no failure.

    [{"slug": "ripple", "kind": "requirement", "what": "^added ripple.beat", "why": "the beat is judged now"}]

`*` as a slug or kind is any; a slug may be a shell pattern such as `protection/*`.
"""

import argparse
import fnmatch
import json
import math
import re
import sys
from collections import Counter
from pathlib import Path

# What names the entries of a list: the first set of keys that all entries have.
NAMES = [
    ("id", "label"),
    ("code", "field"),
    ("id",),
    ("code",),
    ("part", "name"),
    ("part",),
    ("label",),
    ("head",),
    ("name",),
]
# The view's lists and their kinds. Their entries are whole things: one that is missing counts once, not once a value.
VIEW_KINDS = {
    "figures": "figure",
    "tables": "table",
    "budgets": "budget",
    "charts": "chart",
    "lanes": "lane",
    "number_lines": "number-line",
    "listings": "listing",
    "checks": "requirement",
}
# Their own names: the field of a finding may be absent.
OWN_NAMES = {
    "requirement": ("id", "label"),
    "checks-alone": ("id", "label"),
    "finding": ("code", "field"),
    "step": ("label",),
    "figure": ("label",),
    "turning": ("pointer", "requirement"),
    "design-requirement": ("part", "id", "label"),
}
MISSING = object()
# A number with its unit, of whatever prefix: paths that differ only in such are one group.
DIGITS = re.compile(
    r"[-−]?\d+(?:[.,]\d+)*(?:e[-+]?\d+)?(?:[ \u00a0\u202f]?[fpnµmkMGT]?(?:V|Ah|A|Ω|W|J|s|Hz|H|F|K|°C|%)(?!\w))?"
)


def with_zero_sign(text):
    """A number; a negative zero is a text of its own, since it equals zero."""
    value = float(text)
    return "-0.0" if value == 0 and text.startswith("-") else value


def natural(value):
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def named(items, names=None):
    """The entries of a list by name, or nothing when they have none."""
    if not items or not all(isinstance(item, dict) for item in items):
        return None
    if names is None:
        names = next((keys for keys in NAMES if all(key in item for item in items for key in keys)), None)
    if names is None:
        return None
    found, seen = {}, Counter()
    for item in items:
        name = "|".join(str(item.get(key, "")) for key in names)
        seen[name] += 1
        found[name if seen[name] == 1 else f"{name}~{seen[name]}"] = item
    return names, found


def with_columns(table):
    """A table whose cells are named by their columns."""
    labels, seen = [], Counter()
    for column in table["columns"]:
        seen[column["label"]] += 1
        count = seen[column["label"]]
        labels.append(column["label"] if count == 1 else f"{column['label']}~{count}")
    rows = [{**row, "cells": dict(zip(labels, row["cells"]))} for row in table["rows"]]
    return {**table, "rows": rows}


def leaves(value, path=""):
    """The values of a tree with their paths."""
    if isinstance(value, dict) and value:
        for key, item in value.items():
            yield from leaves(item, join(path, key))
    elif isinstance(value, list) and value:
        found = named(value)
        if found:
            entries = ((name, without(item, found[0])) for name, item in found[1].items())
        else:
            entries = enumerate(value)
        for key, item in entries:
            yield from leaves(item, join(path, key))
    else:
        yield path, value


def without(entry, names):
    """An entry without what names it: that stands in its path."""
    return {key: item for key, item in entry.items() if key not in names} if isinstance(entry, dict) else entry


def join(path, key):
    return f"{path}/{key}" if path else str(key)


class Difference:
    __slots__ = ("what", "path", "old", "new")

    def __init__(self, what, path, old, new):
        self.what, self.path, self.old, self.new = what, path, old, new


class Comparison:
    def __init__(self, within):
        self.within = within

    def read(self, line):
        return json.loads(line, parse_float=with_zero_sign if self.within == 0 else float)

    def same(self, old, new):
        if old == new:
            return True
        if not (natural(old) and natural(new)):
            return False
        return abs(old - new) <= self.within * max(abs(old), abs(new))

    def tree(self, old, new, path=""):
        """Differences of two JSON values; a subtree on one side only gives each of its values."""
        if old == new and type(old) is type(new):
            return
        if isinstance(old, dict) and isinstance(new, dict):
            for key, item in old.items():
                if key in new:
                    yield from self.tree(item, new[key], join(path, key))
                else:
                    yield from self.one_side("missing", item, join(path, key))
            for key, item in new.items():
                if key not in old:
                    yield from self.one_side("added", item, join(path, key))
        elif isinstance(old, list) and isinstance(new, list):
            had, has = named(old), named(new)
            if had and has and had[0] == has[0]:
                yield from self.entries(had[1], has[1], path, had[0], whole=False)
                return
            for index in range(max(len(old), len(new))):
                at = join(path, index)
                if index >= len(new):
                    yield from self.one_side("missing", old[index], at)
                elif index >= len(old):
                    yield from self.one_side("added", new[index], at)
                else:
                    yield from self.tree(old[index], new[index], at)
        elif isinstance(old, (dict, list)) and isinstance(new, (dict, list)):
            yield from self.one_side("missing", old, path)
            yield from self.one_side("added", new, path)
        elif not self.same(old, new):
            yield Difference("changed", path, old, new)

    def one_side(self, what, value, path):
        for at, leaf in leaves(value, path):
            yield Difference(what, at, leaf if what == "missing" else MISSING, leaf if what == "added" else MISSING)

    def entries(self, old, new, path, names, whole=True):
        """Differences of named entries; with `whole`, one that is on one side only is one difference."""
        for name, item in old.items():
            at = join(path, name)
            if name in new:
                yield from self.entry(item, new[name], at, names)
            elif whole:
                yield Difference("missing", at, item, MISSING)
            else:
                yield from self.one_side("missing", without(item, names), at)
        for name, item in new.items():
            if name in old:
                continue
            if whole:
                yield Difference("added", join(path, name), MISSING, item)
            else:
                yield from self.one_side("added", without(item, names), join(path, name))
        kept = [name for name in old if name in new]
        if kept != (now := [name for name in new if name in old]):
            yield Difference("changed", join(path, "(order)"), kept, now)

    def entry(self, old, new, path, names):
        """Two entries of one name: what names them is not compared again."""
        if old == new:
            return
        if isinstance(old, dict) and isinstance(new, dict):
            if "columns" in old and "columns" in new:
                old, new = with_columns(old), with_columns(new)
            elif "table" in old and "table" in new:
                old, new = ({**one, "table": with_columns(one["table"])} for one in (old, new))
        yield from self.tree(without(old, names), without(new, names), path)

    def paired(self, differences, renames, names):
        """Puts a missing path and an added one together where a rename says that they are one; the rest is compared."""
        differences = list(differences)
        if not renames:
            return differences
        added = {one.path: one for one in differences if one.what == "added"}
        out, taken = [], set()
        for one in differences:
            targets = (rename(one.path) for rename in renames)
            target = next((to for to in targets if to in added and to not in taken), None)
            if one.what != "missing" or target is None:
                out.append(one)
                continue
            taken.add(target)
            out.append(Difference("renamed", one.path, one.path, target))
            out.extend(self.entry(one.old, added[target].new, target, names))
        return [one for one in out if not (one.what == "added" and one.path in taken)]


def names_of(kind):
    return OWN_NAMES.get(kind, ("id",))


def lists(old, new, kind, comparison):
    """The differences of two lists of whole things."""
    if old == new:
        return
    names = names_of(kind)
    had, has = (named(items, names) or (names, {}) for items in (old, new))
    yield from comparison.entries(had[1], has[1], "", names)


def of_answer(old, new, comparison, prefix=""):
    """(kind, differences) of two answers."""
    if "refused" in old or "refused" in new:
        old, new = ({"refused": one["refused"]} if "refused" in one else {} for one in (old, new))
        yield "refused", prefix, comparison.tree(old, new)
        return
    for key in ("input", "result"):
        yield key, prefix, comparison.tree(old[key], new[key])
    for key in ("link", "verdict"):
        yield key, prefix, comparison.tree(old[key], new[key], key)
    yield "step", prefix, lists(old["working"], new["working"], "step", comparison)
    yield "finding", prefix, lists(old["findings"], new["findings"], "finding", comparison)
    yield "checks-alone", prefix, lists(old.get("checks_alone"), new.get("checks_alone"), "checks-alone", comparison)
    was, now = old["view"], new["view"]
    for key, kind in VIEW_KINDS.items():
        yield kind, prefix, lists(was[key], now[key], kind, comparison)
    yield "words", prefix, comparison.tree(*({key: one[key] for key in ("lead", "more", "care")} for one in (was, now)))
    yield "order", prefix, comparison.tree(was["order"], now["order"], "blocks")


def of_demo(old, new, comparison):
    """(kind, differences) of two designs."""
    if "refused" in old or "refused" in new:
        yield from of_answer(old, new, comparison)
        return
    yield "design", "", comparison.tree(*({key: one[key] for key in ("token", "verdict")} for one in (old, new)))
    yield "turning", "", lists(old["turning"], new["turning"], "turning", comparison)
    rows = ([{**row, **row["check"], "check": None} for row in one["requirements"]] for one in (old, new))
    yield "design-requirement", "", lists(*rows, "design-requirement", comparison)
    yield "api", "", comparison.tree(old["api"], new["api"])
    had, has = ({part["part"]: part for part in one["parts"]} for one in (old, new))
    heads = ({name: {**part, "answer": None} for name, part in one.items()} for one in (had, has))
    yield "design", "", comparison.entries(*heads, "parts", ("part",))
    for name in had.keys() & has.keys():
        yield from of_answer(had[name]["answer"], has[name]["answer"], comparison, f"{name.lstrip('/')}: ")


def rules(file, keys):
    """The entries of a renames or an allow file."""
    if file is None:
        return []
    entries = json.loads(Path(file).read_text(encoding="utf-8"))
    for entry in entries:
        if lacking := [key for key in ("slug", "kind", *keys) if key not in entry]:
            raise ValueError(f"{file}: {entry} lacks {', '.join(lacking)}")
    return entries


def applies(entry, slug, kind):
    return fnmatch.fnmatchcase(slug, entry["slug"]) and entry["kind"] in ("*", kind)


def renaming(entry):
    """The function that gives a path's new name, or nothing."""
    stretches = "(.*?)".join(re.escape(part) for part in entry["old"].split("*"))
    pattern = re.compile(stretches + r"(/.*|~\d+.*)?", re.DOTALL)
    parts = entry["new"].split("*")

    def rename(path):
        if not (hit := pattern.fullmatch(path)):
            return None
        *stars, rest = (group or "" for group in hit.groups())
        return "".join(part + star for part, star in zip(parts, [*stars, *[""] * len(parts)])) + rest

    return rename


class Tally:
    """Counts differences in groups; keeps the first of each."""

    def __init__(self, allowed):
        self.allowed = [(entry, re.compile(entry["what"])) for entry in allowed]
        self.groups, self.counts, self.excused = {}, {}, Counter()
        self.lines = self.equal = 0

    def add(self, slug, kind, prefix, one, line):
        path = prefix + one.path
        key = (slug, kind, one.what, DIGITS.sub("#", path))
        group = self.groups.get(key)
        excuse = self.excuse(slug, kind, one.what, path, key[3])
        if group is None:
            group = self.groups[key] = {"count": 0, "excused": 0, "worst": 0.0, "first": None}
        if excuse is not None:
            group["excused"] += 1
            self.excused[excuse] += 1
        else:
            group["count"] += 1
            if group["first"] is None:
                group["first"] = (line, path, one.old, one.new)
        if natural(one.old) and natural(one.new):
            size = max(abs(one.old), abs(one.new))
            group["worst"] = max(group["worst"], abs(one.old - one.new) / size if size else 0.0)
        row = self.counts.setdefault(slug, Counter())
        what = one.what
        if what == "changed":
            # A changed value is told by its last name: verdict, achieved, message ...
            what = "changed numbers" if natural(one.old) and natural(one.new) else f"changed {changed_name(one.path)}"
        row[(kind, what, excuse is not None)] += 1

    def excuse(self, slug, kind, what, path, grouped):
        if what == "renamed":
            return "renamed"
        for index, (entry, pattern) in enumerate(self.allowed):
            texts = (path, f"{what} {path}", grouped, f"{what} {grouped}")
            if applies(entry, slug, kind) and any(pattern.search(text) for text in texts):
                return index
        return None

    def failures(self):
        return sum(group["count"] for group in self.groups.values())


def changed_name(path):
    last = path.rsplit("/", 1)[-1]
    return last if re.fullmatch(r"[a-z_]+|\(order\)", last) else "values"


def pairs(old, new):
    """The files of two dumps that belong together."""
    for pattern in ("*.jsonl", "demos/*.json"):
        names = {str(file.relative_to(folder)) for folder in (old, new) for file in folder.glob(pattern)}
        for name in sorted(names):
            yield name.rsplit(".", 1)[0].replace("__", "/"), old / name, new / name


def compare_files(slug, old, new, comparison, renames, tally):
    if not (old.exists() and new.exists()):
        what = "missing" if old.exists() else "added"
        tally.add(slug, "file", "", Difference(what, "file", old.name, new.name), 0)
        return
    own, whole = {}, of_demo if slug.startswith("demos/") else of_answer
    with old.open("rb") as before, new.open("rb") as after:
        number = 0
        while True:
            had, has = before.readline(), after.readline()
            if not had and not has:
                return
            number += 1
            tally.lines += 1
            if had == has:
                tally.equal += 1
            elif not had or not has:
                tally.add(slug, "file", "", Difference("missing" if had else "added", "line", "", ""), number)
            else:
                for kind, prefix, differences in whole(comparison.read(had), comparison.read(has), comparison):
                    if kind not in own:
                        own[kind] = [renaming(entry) for entry in renames if applies(entry, slug, kind)]
                    for one in comparison.paired(differences, own[kind], names_of(kind)):
                        tally.add(slug, kind, prefix, one, number)


def shown(value, width):
    if value is MISSING:
        return "-"
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= width else text[: width - 1] + "…"


def apart(old, new, width):
    """Two values, cut so that the place where they differ is seen."""
    had, has = shown(old, 10**9), shown(new, 10**9)
    if old is not MISSING and new is not MISSING and max(len(had), len(has)) > width:
        at = next((index for index, (a, b) in enumerate(zip(had, has)) if a != b), min(len(had), len(has)))
        if (start := max(0, at - width // 3)) > 0:
            had, has = "…" + had[start:], "…" + has[start:]
    return shown(had, width), shown(has, width)


def report(tally, most):
    # What has moved comes before what has gone or come.
    open_groups = [item for item in tally.groups.items() if item[1]["count"]]
    open_groups.sort(key=lambda item: (item[0][2] != "changed", -item[1]["count"]))
    for (slug, kind, what, path), group in open_groups[:most]:
        line, full, old, new = group["first"]
        worst = f", at most {group['worst']:.3g} relative" if group["worst"] else ""
        print(f"{group['count']:>8}  {slug}  {kind}  {what}  {path}{worst}")
        old, new = apart(old, new, 200)
        print(f"          line {line}: {shown(full, 200)}\n            old  {old}\n            new  {new}")
    if len(open_groups) > most:
        print(f"          ... and {len(open_groups) - most} more groups (--most)")
    if tally.counts:
        print("\nPer calculation, kind and what (allowed ones in brackets):")
    for slug, row in sorted(tally.counts.items()):
        print(f"  {slug}")
        table = {}
        for (kind, what, allowed), count in row.items():
            table.setdefault((kind, what), [0, 0])[allowed] += count
        for (kind, what), (count, allowed) in sorted(table.items()):
            print(f"    {kind:<20} {what:<24} {count:>8}" + (f"  ({allowed})" if allowed else ""))
    for index, (entry, _) in enumerate(tally.allowed):
        print(f"allowed {tally.excused[index]:>8}  {entry['slug']}  {entry['kind']}  {entry['what']}: {entry['why']}")
    if tally.excused["renamed"]:
        print(f"renamed {tally.excused['renamed']:>8}")
    failures = tally.failures()
    counts = f"{failures} differences in {len(open_groups)} groups"
    print(f"\n{tally.lines} lines, {tally.equal} the same byte for byte; {counts}")
    return 1 if failures else 0


def main():
    parser = argparse.ArgumentParser(description="Compares two dumps of the example `freeze`.")
    parser.add_argument("old", type=Path)
    parser.add_argument("new", type=Path)
    parser.add_argument("--renames", metavar="FILE", help="what has another name now (JSON)")
    parser.add_argument("--allow", metavar="FILE", help="differences that are meant (JSON)")
    parser.add_argument("--most", type=int, default=20, help="groups to print")
    parser.add_argument("--only", default="*", metavar="GLOB", help="slugs to compare, such as 'protection/*'")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--within", type=float, default=1e-12, help="relative difference that is none")
    how.add_argument("--exact", action="store_true", help="numbers must be the same bit for bit")
    wish = parser.parse_args()
    try:
        renames = rules(wish.renames, ("old", "new"))
        tally = Tally(rules(wish.allow, ("what", "why")))
    except (OSError, ValueError, re.error) as fault:
        parser.error(str(fault))
    if not math.isfinite(wish.within) or wish.within < 0:
        parser.error("--within must be a number from 0 on")
    files = [pair for pair in pairs(wish.old, wish.new) if fnmatch.fnmatchcase(pair[0], wish.only)]
    if not files:
        parser.error("no dump is there to compare")
    comparison = Comparison(0.0 if wish.exact else wish.within)
    for slug, old, new in files:
        compare_files(slug, old, new, comparison, renames, tally)
    return report(tally, wish.most)


if __name__ == "__main__":
    sys.exit(main())
