"""Proof that no request breaks the program, by tens of thousands that are made up.

Run from the checkout: ``python -m tests.proofs.fuzz [--requests N] [--seed N] [--record]``. Prints its figures, writes
them into fuzz.md with ``--record``, and exits with 1 if anything does not hold.
"""

from __future__ import annotations

import argparse
import csv
import faulthandler
import json
import logging
import random
import re
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any
from urllib.parse import quote as in_address
from urllib.parse import urlencode

import schemathesis
from bs4 import BeautifulSoup
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import HealthCheck, Phase, given, seed, settings
from PIL import Image
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from werkzeug.datastructures import MultiDict
from werkzeug.test import TestResponse

from scenarios import demo_lot
from tests.proofs.fuzz_sources import (
    NO_NUMBERS,
    WORDS,
    as_toml,
    scenario_entries,
    spoilt,
    spoilt_bytes,
    typed_differently,
)
from webapp import create_app
from webapp.security import HEADERS
from webapp.settings import Settings
from webapp.store import backup

PAGE = Path(__file__).with_suffix(".md")
MARK = "<!-- written by fuzz.py --record -->\n"
SEED = 20261125
REQUESTS = 50_000
SLOW_S, DEADLINE_S = 2.0, 30.0
DRAFT = "the-quote-that-is-fuzzed"
DEMO = "leaf-gold-walk-in"
# What a page must never show, unless it was typed.
BROKEN = re.compile(r"Traceback|\bnan\b|\bNaN\b|\binf\b|\bInfinity\b")
INJECTED = re.compile(r"<img src=x|<script>alert")
TYPED = "input, textarea, option, button[value], summary, .problem, title"
PART = {"interface": 18, "damaged": 6, "forms": 12, "addresses": 7, "files": 7}  # of 50


@dataclass
class Found:
    """What was sent and what came of it."""

    sent: Counter[str] = field(default_factory=Counter)
    statuses: Counter[tuple[str, int]] = field(default_factory=Counter)
    routes: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    slowest: list[tuple[float, str, str]] = field(default_factory=list)
    slow: int = 0

    def note(self, part: str, what: str, took_s: float, status: int) -> None:
        self.sent[part] += 1
        self.statuses[part, status] += 1
        self.slow += took_s > SLOW_S
        self.slowest = sorted([*self.slowest, (took_s, part, what)], reverse=True)[:8]


@dataclass(frozen=True)
class Form:
    """A form as a browser would send it, and its buttons: where each sends it, with what."""

    action: str
    pairs: list[tuple[str, str]]
    buttons: list[tuple[str, tuple[tuple[str, str], ...]]]


class Errors(logging.Handler):
    """What the program logs as a mistake of its own."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.newest = ""

    def emit(self, record: logging.LogRecord) -> None:
        self.newest = " ".join(record.getMessage().split())


class Attack:
    """One app with something of everything in it, and a client that sends it what nobody would."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.chance = random.Random(seed)
        self.folder = folder
        self.app: Flask = create_app(folder, Settings(locale="en_US", time_zone="America/Denver", data=folder))
        self.client: FlaskClient = self.app.test_client()
        self.found = Found()
        self.errors = Errors()
        logging.getLogger("webapp").addHandler(self.errors)
        self.entries = scenario_entries()
        self.token = ""
        self.sheet = self._begun()
        self.forms = self._forms()
        self.names = sorted({name for form in self.forms for name, _ in form.pairs} | {"do", "use", "seen", "kind"})
        self.files = self._files()

    def close(self) -> None:
        logging.getLogger("webapp").removeHandler(self.errors)
        self.app.extensions["store"].close()

    # ---- something of everything

    def _page(self, address: str) -> BeautifulSoup:
        return BeautifulSoup(self.client.get(address, follow_redirects=True).text, "html.parser")

    def _begun(self) -> str:
        """A quote, a lot, and an offer sheet that was handed over once; the sheet's name."""
        form = next(f for f in forms_of(self._page(f"/quotes/{DRAFT}?demo={DEMO}")) if f.action.endswith(DRAFT))
        typed = MultiDict(form.pairs)
        self.token = typed["token"]
        typed.poplist("demo")  # a demo is never handed over
        now = datetime.now(UTC).strftime("%Y-%m-%d %H:%M+00:00")
        typed["quoted_at"] = typed["spot.seen_at"] = now
        begun = self.client.post(f"/quotes/{DRAFT}/sheet", data=typed)
        sheet = begun.headers["Location"].split("/")[2]
        (form,) = (f for f in forms_of(self._page(f"/sheets/{sheet}/write")) if f.action.endswith("/write"))
        self.client.post(form.action, data={**dict(form.pairs), "do": "preview"})
        (form,) = (f for f in forms_of(self._page(f"/sheets/{sheet}/preview")) if f.action.endswith("/hand-over"))
        self.client.post(form.action, data=dict(form.pairs))
        assert self.client.get(f"/sheets/{sheet}/1/offer-sheet.json").status_code == 200
        return sheet

    def _forms(self) -> list[Form]:
        """Every form of every kind of page, as a browser would send it."""
        places = ("/quotes", "/asks/an-ask-that-is-fuzzed-", "/lots/the-lot-that-is-fuzzed?demo=1", "/open", "/house")
        of_quote = (f"/quotes/{DRAFT}{rest}" for rest in ("", "/turn", "/earlier"))
        of_sheet = (f"/sheets/{self.sheet}{rest}" for rest in ("", "/write", "/preview", "/reference"))
        rest = ("/house/feeds", "/house/feeds/new", "/prices", "/sheets", "/sheets/check", "/backup")
        pages = [self._page(place) for place in (*places, *of_quote, *of_sheet, *rest)]
        return [form for page in pages for form in forms_of(page)]

    def _files(self) -> list[tuple[str, str, str, bytes]]:
        """Where a file is sent, in which field, under which name, and a good one."""
        picture, kept = BytesIO(), BytesIO()
        Image.new("RGB", (60, 40), (200, 160, 40)).save(picture, "JPEG")
        png = BytesIO()
        Image.new("P", (30, 30)).save(png, "PNG")
        backup.write(self.app.extensions["store"], kept, datetime(2026, 3, 14, 17, 30, tzinfo=UTC))
        copies = [
            ("/sheets/check", "file", name, self.client.get(f"/sheets/{self.sheet}/1/{name}").data)
            for name in ("offer-sheet.pdf", "working-papers.pdf", "offer-sheet.json", "house-copy.json")
        ]
        return [
            *copies,
            (f"/sheets/{self.sheet}/write", "photograph", "a.jpg", picture.getvalue()),
            (f"/sheets/{self.sheet}/write", "photograph", "a.png", png.getvalue()),
            ("/backup/restore", "file", "b.zip", kept.getvalue()),
            ("/lots/the-lot-that-is-fuzzed", "file", "pieces.csv", self.client.get("/lots/template.csv").data),
            ("/lots/the-lot-that-is-fuzzed", "file", "pieces.toml", demo_lot().encode()),
            *(("/open", "file", "a.json", json.dumps(one).encode()) for one in self.entries),
            *(("/open", "file", "a.toml", as_toml(one).encode()) for one in self.entries),
        ]

    # ---- what is sent

    def interface(self) -> None:
        """A request of a demo with some of it changed, as JSON."""
        entries = spoilt(self.chance, *self.chance.sample(self.entries, 2))
        self._judge("interface", "POST", "/api/quote", json.dumps(entries).encode(), "application/json")

    def damaged(self) -> None:
        """JSON that is damaged as text, sometimes as another type or packed."""
        body = spoilt_bytes(self.chance, json.dumps(self.chance.choice(self.entries)).encode())
        kind = self.chance.choice(
            ("application/json",) * 8 + ("text/json", "application/json; charset=utf-16", "", "x")
        )
        packed = {"Content-Encoding": "gzip"} if self.chance.random() < 0.05 else {}
        self._judge("damaged", "POST", "/api/quote", body, kind, packed)

    def forms_typed(self) -> None:
        """A form of a page, typed differently, sent where it belongs or to another address that takes one."""
        form = self.chance.choice(self.forms)
        made = [(n, t) for n, t in typed_differently(self.chance, form.pairs, self.names) if n != "token"]
        address, pressed = self.chance.choice(form.buttons) if form.buttons else (form.action, ())
        made += [("token", self.token), *pressed]
        if self.chance.random() < 0.25:
            address = self._address("POST")
        kind, body = "application/x-www-form-urlencoded", urlencode(made, errors="surrogatepass").encode()
        if self.chance.random() < 0.1:
            kind, body = _as_multipart(made)
        headers = {"HX-Request": "true"} if self.chance.random() < 0.3 else {}
        self._judge("forms", "POST", address, body, kind, headers)

    def addresses(self) -> None:
        """An address that there is or nearly is, with a query."""
        names = (*self.names, *["page", "demo", "text", "state", "order", "since", "metal", "mark"] * 5)
        words = self.chance.choices(WORDS, k=self.chance.choice((0, 0, 1, 3)))
        query = [(self.chance.choice(names), word) for word in words]
        address = self._address("GET")
        if query:
            address += "?" + urlencode(query, errors="surrogatepass")
        method = self.chance.choice((*["GET"] * 12, "HEAD", "OPTIONS", "PUT", "DELETE", "PATCH", "TRACE"))
        headers = {"HX-Request": "true"} if self.chance.random() < 0.2 else {}
        self._judge("addresses", method, address, b"", "", headers)

    def files_sent(self) -> None:
        """A file that was good, damaged, under any name."""
        address, name, file, good = self.chance.choice(self.files)
        data = good if self.chance.random() < 0.1 and "backup" not in address else spoilt_bytes(self.chance, good)
        if file.startswith("a.") and address == "/open" and self.chance.random() < 0.5:
            entries = spoilt(self.chance, *self.chance.sample(self.entries, 2))
            data = (as_toml(entries) if file.endswith("toml") else json.dumps(entries)).encode("utf-8", "replace")
        file = self.chance.choice((file, file, file, self.chance.choice(WORDS) + file, "../../x", "", "a" * 300))
        pairs = [("token", self.token), ("sure", "yes"), ("do", "add")]
        kind, body = _as_multipart(pairs, (name, file, data))
        self._judge("files", "POST", address, body, kind)

    def _address(self, method: str) -> str:
        rules = [r for r in self.app.url_map.iter_rules() if method in (r.methods or ()) and self._is_wanted(r.rule)]
        rule = self.chance.choice(rules)
        self.found.routes[rule.rule] += 1
        return re.sub(r"<(?:(\w+)(?:\((.*?)\))?:)?(\w+)>", self._part, rule.rule)

    def _is_wanted(self, rule: str) -> bool:
        # What another test costs takes a second or so, whatever is asked.
        return not rule.endswith(("/evidence", "/preview")) or self.chance.random() < 0.1

    def _part(self, told: re.Match[str]) -> str:
        kind, choices, name = told[1], told[2], told[3]
        if self.chance.random() < 0.2:
            word = self.chance.choice([word for word in WORDS if word not in NO_NUMBERS])
            return in_address(word, safe="", errors="surrogatepass")
        if kind == "any":
            return self.chance.choice([word.strip(" '\"") for word in choices.split(",")])
        if kind == "int":
            return self.chance.choice(("0", "1", "2", "3", "99999999999999999999", "-1"))
        known = {"sheet": self.sheet, "filename": "app.css", "digest": "0" * 64}
        other = (DRAFT, DEMO, "the-lot-that-is-fuzzed", "an-ask-that-is-fuzzed-", "x" * 30)
        return known.get(name) or self.chance.choice(other)

    # ---- what comes of it

    def _judge(
        self, part: str, method: str, address: str, body: bytes, kind: str, headers: dict[str, str] | None = None
    ) -> None:
        self.errors.newest = ""
        before = time.perf_counter()
        answer = self.client.open(address, method=method, data=body, content_type=kind or None, headers=headers)
        data = answer.get_data()
        took_s = time.perf_counter() - before
        what = f"{method} {address[:200]}"
        self.found.note(part, what, took_s, answer.status_code)
        for words in self._wrong(answer, data, body, address):
            self.found.faults.append(f"{part} {what}: {words} | {kind} {body[:2000]!r}")
        answer.close()
        if "/lots/" in address and method == "POST":
            self.app.extensions["lots"].stop("the-lot-that-is-fuzzed")

    def _wrong(self, answer: TestResponse, data: bytes, body: bytes, address: str) -> list[str]:
        wrong = []
        if answer.status_code >= 500:
            wrong.append(f"status {answer.status_code} {self.errors.newest}")
        for name, value in HEADERS.items():
            if answer.headers.get(name) != value:
                wrong.append(f"header {name}")
        if "attachment" in answer.headers.get("Content-Disposition", ""):
            if not re.fullmatch(r'attachment; filename="?[\w.-]+"?', answer.headers["Content-Disposition"]):
                wrong.append(f"file name {answer.headers['Content-Disposition']}")
        if answer.mimetype == "application/json" and data:
            try:
                json.loads(data, parse_constant=lambda word: wrong.append(f"{word} as a value"))
            except ValueError:
                wrong.append("not JSON")
        if answer.mimetype in ("text/html", "image/svg+xml"):
            wrong += [f"shows {words!r}" for words in broken_in(data.decode())]
        if answer.mimetype == "text/csv":
            cells = [c for row in csv.reader(StringIO(data.decode("utf-8-sig")), delimiter=",") for c in row]
            wrong += [f"cell {c!r}" for c in cells if c[:1] in tuple("=+-@\t\r") and not re.fullmatch(r"-?[\d.,]+", c)]
        return wrong

    def run(self, requests: int) -> Found:
        """Send so many, of every part in turn."""
        kinds = {
            "interface": self.interface,
            "damaged": self.damaged,
            "forms": self.forms_typed,
            "addresses": self.addresses,
            "files": self.files_sent,
        }
        turns = [part for part, share in PART.items() for _ in range(share)]
        self.chance.shuffle(turns)
        for i in range(requests):
            if i % 200 == 0:
                self._house_again()
            kinds[turns[i % len(turns)]]()
        return self.found

    def _house_again(self) -> None:
        """The house as it was, so that what one request set does not shape all that follow."""
        (self.folder / "house.toml").unlink(missing_ok=True)


def broken_in(html: str) -> list[str]:
    """What a page must not show; of words that may have been typed, those that stand where nobody typed them."""
    found = INJECTED.findall(html)
    if not BROKEN.search(html):
        return found
    page = BeautifulSoup(html, "html.parser")
    for tag in page.select(TYPED):
        tag.extract()
    shown = [re.sub("“[^”]*”", "", str(text)) for text in page.find_all(string=True) if text.strip() not in WORDS]
    drawn = [
        str(value) for tag in page.find_all(True) for name, value in tag.attrs.items() if name not in ("href", "id")
    ]
    return found + [text.strip()[:80] for text in shown + drawn if BROKEN.search(text)]


def forms_of(page: BeautifulSoup) -> list[Form]:
    """Each form of a page that is posted."""
    found = []
    for form in page.select("form[method=post]"):
        action, pairs = str(form["action"]), []
        for tag in form.select("input, select, textarea"):
            name = str(tag.get("name", ""))
            if not name or tag.get("type") == "file":
                continue
            if tag.name == "select":
                chosen = tag.select_one("option[selected]") or tag.select_one("option")
                pairs.append((name, str(chosen.get("value", "")) if chosen else ""))
            elif tag.get("type") not in ("radio", "checkbox") or tag.has_attr("checked"):
                pairs.append((name, tag.get_text() if tag.name == "textarea" else str(tag.get("value", ""))))
        buttons = [*form.select("button"), *page.select(f"button[form={form.get('id')}]" if form.get("id") else "x")]
        told = [(b.get("formaction", action), b.get("name"), b.get("value", "")) for b in buttons]
        presses = [(str(goal), ((str(name), str(text)),) if name else ()) for goal, name, text in told]
        found.append(Form(action, pairs, presses))
    return found


def _as_multipart(pairs: list[tuple[str, str]], file: tuple[str, str, bytes] | None = None) -> tuple[str, bytes]:
    """Content type and body of a form with a file."""
    mark = "----a-mark-of-this-proof"
    told = [f'--{mark}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{text}\r\n' for name, text in pairs]
    body = "".join(told).encode("utf-8", "replace")
    if file is not None:
        name, called, data = file
        head = f'--{mark}\r\nContent-Disposition: form-data; name="{name}"; filename="{called}"\r\n'
        body += head.encode("utf-8", "replace") + b"Content-Type: application/octet-stream\r\n\r\n" + data + b"\r\n"
    return f"multipart/form-data; boundary={mark}", body + f"--{mark}--\r\n".encode()


def described(found: Found, app: Flask, requests: int, seed_of: int) -> None:
    """Requests that schemathesis makes up from the description, half of them breaking it, judged by it too."""
    quoting = schemathesis.openapi.from_wsgi("/api/openapi.json", app)["/api/quote"]["POST"]
    checks = [not_a_server_error, status_code_conformance, response_schema_conformance, content_type_conformance]
    still = [Phase.generate]

    for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):

        @seed(seed_of)
        @settings(
            deadline=None,
            database=None,
            phases=still,
            max_examples=requests // 2,
            suppress_health_check=list(HealthCheck),
        )
        @given(case=quoting.as_strategy(generation_mode=mode))
        def judged(case: Any) -> None:
            before = time.perf_counter()
            answer = case.call()
            took_s = time.perf_counter() - before
            found.note("described", "POST /api/quote", took_s, answer.status_code)
            try:
                case.validate_response(answer, checks=checks)
                json.loads(
                    answer.text, parse_constant=lambda word: found.faults.append(f"described: {word} as a value")
                )
            except Exception as fault:
                found.faults.append(f"described POST /api/quote: {fault} | {case.body!r:.2000}")

        judged()


def proved(requests: int, seed_of: int) -> Found:
    """Everything once, in a folder of its own; a tenth of the requests are schemathesis's."""
    with tempfile.TemporaryDirectory() as name:
        attack = Attack(Path(name), seed_of)
        try:
            found = attack.run(requests - requests // 10)
            described(found, attack.app, requests // 10, seed_of)
        finally:
            attack.close()
    return found


def main() -> int:
    """Run the proof; 0 if all holds."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--requests", type=int, default=REQUESTS)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--record", action="store_true", help="write the figures into fuzz.md")
    chosen = parser.parse_args()
    faulthandler.dump_traceback_later(3600)
    found = proved(chosen.requests, chosen.seed)
    lines = report(found, chosen.seed)
    print(*lines, sep="\n")
    if chosen.record:
        head = PAGE.read_text(encoding="utf-8").partition(MARK)[0]
        PAGE.write_text(head + MARK + "\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return 1 if found.faults or found.slowest[0][0] > DEADLINE_S else 0


def report(found: Found, seed_of: int) -> list[str]:
    """The figures as a table, and what did not hold."""
    groups = ("2xx", "3xx", "4xx", "5xx")
    lines = [f"Seed {seed_of}.", "", "| | requests | answered | sent on | refused | 5xx |", "|---|---|---|---|---|---|"]
    for part in found.sent:
        by = Counter(
            {g: sum(n for (p, s), n in found.statuses.items() if p == part and f"{s // 100}xx" == g) for g in groups}
        )
        lines.append(f"| {part} | {found.sent[part]:,} | " + " | ".join(f"{by[group]:,}" for group in groups) + " |")
    whole = sum(found.sent.values())
    lines += [
        "",
        f"{whole:,} requests, {len(found.routes)} different addresses of the program; {len(found.faults)} faults; "
        f"{found.slow} took longer than {SLOW_S:g} s.",
        "",
        "The slowest:",
        "",
        *(
            f"- {took:.1f} s, {part}, `{re.sub(r'[^ -~]|[?].*', '', what)[:60]}`"
            for took, part, what in found.slowest[:4]
        ),
        "",
        "All held." if not found.faults else "DID NOT HOLD:",
        *(f"- {fault[:600]}" for fault in found.faults[:50]),
    ]
    return lines


if __name__ == "__main__":
    sys.exit(main())
