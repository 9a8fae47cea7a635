"""Hostile pages in the next tab of a real browser: of another site, of another port here, of a name that leads here.

Every attack must be seen to reach the server, or it would show nothing.
"""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from flask import Flask
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

import run
from tests.browser.conftest import FLAGS, Server
from webapp import create_app
from webapp.settings import Settings
from webapp.store import drafts, sheets

NAME = "a-quote-under-attack-"
SECRET = "Blue tin on the shelf"
AT = datetime(2026, 3, 14, 17, 30, tzinfo=UTC)
EVIL = "evil.example"


@dataclass
class Seen:
    """What reached the server, told by itself: method, path, where the browser says that it came from, status."""

    requests: list[tuple[str, str, str, int]] = field(default_factory=list)

    def to(self, path: str) -> list[int]:
        return [status for _, seen, _, status in self.requests if seen == path]


@pytest.fixture
def seen(app: Flask) -> Seen:
    noted, inner = Seen(), app.wsgi_app

    def noting(environ: dict[str, Any], start_response: Callable[..., Any]) -> Any:
        def start(status: str, *rest: Any) -> Any:
            site = environ.get("HTTP_SEC_FETCH_SITE", "")
            noted.requests.append((environ["REQUEST_METHOD"], environ["PATH_INFO"], site, int(status[:3])))
            return start_response(status, *rest)

        return inner(environ, start)

    app.wsgi_app = noting  # type: ignore[method-assign]
    return noted


@pytest.fixture
def quote(app: Flask) -> str:
    """A quote that somebody is writing."""
    entries = [("title", SECRET), ("spot.gold", "4100")]
    drafts.keep(app.extensions["store"], NAME, entries, SECRET, AT, kind="quote")
    return f"/quotes/{NAME}"


def is_unharmed(app: Flask) -> bool:
    kept = drafts.get(app.extensions["store"], NAME)
    held = app.extensions["store"]
    return kept.revision == 1 and kept.closed_at is None and not sheets.of_draft(held, NAME)


class EvilServer:
    """A page of the attacker's on a port of its own, with any headers."""

    def __init__(self) -> None:
        self.html, self.headers = "", {"Content-Type": "text/html; charset=utf-8"}
        self.heard: list[str] = []
        outer = self

        class Answer(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                outer.heard.append(self.path)
                self.send_response(200)
                for name, value in outer.headers.items():
                    self.send_header(name, value)
                self.end_headers()
                self.wfile.write(outer.html.encode() if self.path == "/" else b"")

            def log_message(self, *_: object) -> None:
                pass

        self._made = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
        self.port = self._made.server_port
        self._thread = threading.Thread(target=self._made.serve_forever, args=(0.05,), daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._made.shutdown()
        self._thread.join()
        self._made.server_close()


@pytest.fixture
def evil() -> Iterator[EvilServer]:
    made = EvilServer()
    yield made
    made.stop()


@pytest.fixture(scope="module")
def rebound() -> Iterator[Browser]:
    """A browser for which the attacker's name leads to this machine."""
    root = sys.platform == "linux" and os.geteuid() == 0
    rules = f"--host-resolver-rules=MAP {EVIL} 127.0.0.1, MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"
    flags = [flag for flag in FLAGS if not flag.startswith("--host-resolver-rules")] + [rules]
    with sync_playwright() as playwright:
        path = run.browser() or playwright.chromium.executable_path
        if not Path(path).is_file():
            pytest.fail("There is no Chromium. Type python3 run.py test, which installs one.", pytrace=False)
        opened = playwright.chromium.launch(executable_path=path, args=[*flags, "--no-sandbox"] if root else flags)
        yield opened
        opened.close()


@pytest.fixture
def context(rebound: Browser, live: str) -> Iterator[BrowserContext]:
    """The person's browser, in which Lodeworth was opened and so has its cookie."""
    made = rebound.new_context()
    made.set_default_timeout(5_000)
    first = made.new_page()
    first.goto(f"{live}/open")
    assert [cookie["name"] for cookie in made.cookies()] == ["lodeworth"]
    first.close()
    yield made
    made.close()


@pytest.fixture(params=["another site", "another port"])
def attacker(request: pytest.FixtureRequest, context: BrowserContext, evil: EvilServer) -> Callable[[str], Page]:
    """Opens a hostile page."""
    host = EVIL if request.param == "another site" else "127.0.0.1"

    def opened(html: str) -> Page:
        evil.html = html
        page = context.new_page()
        page.goto(f"http://{host}:{evil.port}/")
        return page

    return opened


@pytest.fixture
def attackers(context: BrowserContext, evil: EvilServer) -> list[Page]:
    """A hostile page of another site and one of another port."""
    pages = []
    for host in (EVIL, "127.0.0.1"):
        pages.append(context.new_page())
        pages[-1].goto(f"http://{host}:{evil.port}/")
    return pages


def price_typed(page: Page, figure: str, app: Flask) -> str:
    """What is kept once somebody typed a price and the page had its answer."""
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.get_by_label("Gold spot").fill(figure)
    entries = dict(drafts.get(app.extensions["store"], NAME).entries)
    return str(entries["spot.gold"])


def token_in(live: str, browser: Browser) -> tuple[str, str]:
    """A token and its cookie, as a program on this machine gets them for itself."""
    own = browser.new_context()
    page = own.new_page()
    page.goto(f"{live}/quotes/new")
    token = page.locator("input[name=token]").first.get_attribute("value")
    (cookie,) = own.cookies()
    own.close()
    assert token
    return token, str(cookie["value"])


# ---- a name that leads here


@pytest.mark.browser
def test_a_name_that_was_rebound_to_this_machine_gets_nothing(
    context: BrowserContext, live: str, seen: Seen, quote: str
) -> None:
    page = context.new_page()
    port = urlsplit(live).port
    answer = page.goto(f"http://{EVIL}:{port}{quote}")
    assert answer is not None and answer.status == 400
    assert SECRET not in page.content() and "token" not in page.content()
    status = page.evaluate("async path => (await fetch(path)).status", quote)  # the same origin to the browser
    sent = page.evaluate("async path => (await fetch(path, {method: 'POST', body: '{}'})).status", f"{quote}/close")
    assert (status, sent) == (400, 400)
    assert seen.to(quote) == [400, 400] and seen.to(f"{quote}/close") == [400]


# ---- sending


@pytest.mark.browser
@pytest.mark.parametrize("kind", ["application/x-www-form-urlencoded", "multipart/form-data", "text/plain"])
def test_a_form_of_another_page_changes_nothing(
    attacker: Callable[[str], Page], app: Flask, live: str, seen: Seen, quote: str, kind: str
) -> None:
    page = attacker(
        f'<form id="f" method="post" enctype="{kind}" action="{live}{quote}/close">'
        '<input name="token" value="guess"></form>'
    )
    with page.expect_navigation():
        page.evaluate("document.getElementById('f').submit()")
    assert seen.to(f"{quote}/close") == [403]
    assert is_unharmed(app)


@pytest.mark.browser
@pytest.mark.parametrize("action", ["close", "sheet", "kept", ""])
def test_a_valid_token_and_its_cookie_do_not_help_another_page(
    attacker: Callable[[str], Page],
    app: Flask,
    live: str,
    seen: Seen,
    quote: str,
    action: str,
    evil: EvilServer,
    rebound: Browser,
) -> None:
    """A server on this machine fetches both for itself and puts its cookie over ours: cookies know no ports."""
    token, cookie = token_in(live, rebound)
    evil.headers["Set-Cookie"] = f"lodeworth={cookie}; Path=/"
    goal = f"{quote}/{action}".rstrip("/")
    page = attacker(f'<form id="f" method="post" action="{live}{goal}"><input name="token" value="{token}"></form>')
    with page.expect_navigation():
        page.evaluate("document.getElementById('f').submit()")
    assert 403 in seen.to(goal) and 303 not in seen.to(goal)
    assert is_unharmed(app)


SENDING = """async ([goal, kind]) => {
  const body = new URLSearchParams({token: "guess", title: "changed"});
  const ways = {
    simple: () => fetch(goal, {method: "POST", mode: "no-cors", credentials: "include", body}),
    cors: () => fetch(goal, {method: "POST", credentials: "include", body}),
    json: () => fetch(goal, {method: "POST", credentials: "include", body: "{}",
                             headers: {"Content-Type": "application/json"}}),
    plain_json: () => fetch(goal, {method: "POST", mode: "no-cors", body: "{}"}),
    put: () => fetch(goal, {method: "PUT", credentials: "include", body}),
    override: () => fetch(goal, {method: "POST", body, headers: {"X-HTTP-Method-Override": "DELETE"}}),
    beacon: async () => navigator.sendBeacon(goal, body),
    keepalive: () => fetch(goal, {method: "POST", mode: "no-cors", keepalive: true, body}),
    htmx: () => fetch(goal, {method: "POST", body, headers: {"HX-Request": "true"}}),
    xhr: () => new Promise((done, failed) => {
      const asked = new XMLHttpRequest();
      asked.open("POST", goal); asked.withCredentials = true;
      asked.onload = () => done({type: "read", status: asked.status, text: async () => asked.responseText});
      asked.onerror = () => failed(new Error("refused"));
      asked.send(body);
    }),
  };
  try {
    const answer = await ways[kind]();
    if (answer === true) return "sent";
    return answer.type === "opaque" ? "opaque" : `read ${answer.status} ${await answer.text()}`;
  } catch (error) { return "refused"; }
}"""


POSTED = ("simple", "cors", "xhr", "beacon", "keepalive", "plain_json")
ASKED_FIRST = ("json", "put", "override", "htmx")  # the browser asks for a permission, which is not given
GOALS = (f"/quotes/{NAME}", f"/quotes/{NAME}/close", "/api/quote", "/house", "/backup/restore", "/prices/refresh")


@pytest.mark.browser
@pytest.mark.parametrize("way", [*POSTED, *ASKED_FIRST])
def test_a_script_of_another_page_changes_nothing_and_reads_nothing(
    attackers: list[Page], app: Flask, live: str, seen: Seen, quote: str, way: str
) -> None:
    for page in attackers:
        seen.requests.clear()
        for goal in GOALS:
            told = page.evaluate(SENDING, [live + goal, way])
            assert told in ("refused", "opaque", "sent"), told
        while len(seen.requests) < len(GOALS):  # a beacon is sent when the browser likes
            page.wait_for_timeout(20)
        assert {path for _, path, _, _ in seen.requests} == set(GOALS)
        assert {method for method, *_ in seen.requests} == {"POST" if way in POSTED else "OPTIONS"}
        assert {status for *_, status in seen.requests} == {403}
    assert is_unharmed(app)


# ---- reading

READING = """async ([goal, kind]) => {
  const put = (tag, names) => new Promise((done) => {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(names)) made.setAttribute(name, value);
    made.onload = () => done(`loaded ${made.naturalWidth ?? made.contentDocument ?? ""}`);
    made.onerror = () => done("refused");
    document.body.append(made);
    setTimeout(() => done("silent"), 1000);
  });
  const asked = async (settings) => {
    try {
      const answer = await fetch(goal, settings);
      return answer.type === "opaque" ? "opaque" : `read ${await answer.text()}`;
    } catch { return "refused"; }
  };
  switch (kind) {
    case "image": return put("img", {src: goal});
    case "script": return put("script", {src: goal});
    case "module": return put("script", {src: goal, type: "module"});
    case "style": return put("link", {rel: "stylesheet", href: goal});
    case "preload": return put("link", {rel: "preload", as: "fetch", href: goal});
    case "prefetch": return put("link", {rel: "prefetch", href: goal});
    case "video": return put("video", {src: goal});
    case "frame": return put("iframe", {src: goal});
    case "embed": return put("embed", {src: goal});
    case "object": return put("object", {data: goal});
    case "fetch": return asked({credentials: "include"});
    case "no-cors": return asked({mode: "no-cors", credentials: "include"});
    case "socket": return new Promise((done) => {
      const made = new WebSocket(goal.replace("http:", "ws:"));
      made.onopen = () => done("open"); made.onerror = () => done("refused");
    });
    case "events": return new Promise((done) => {
      const made = new EventSource(goal, {withCredentials: true});
      made.onopen = () => done("open"); made.onerror = () => { made.close(); done("refused"); };
    });
  }
}"""
KINDS = ["image", "script", "module", "style", "preload", "prefetch", "video", "frame", "embed", "object"]


TARGETS = (f"/quotes/{NAME}", f"/quotes/{NAME}/file", "/api/openapi.json", "/static/app.css", "/nowhere")
# These tell that something came, whatever it is: here the page of a refusal, which is not shown.
TELL_NOTHING = ("frame", "embed", "object", "prefetch")


@pytest.mark.browser
@pytest.mark.parametrize("kind", [*KINDS, "fetch", "no-cors", "socket", "events"])
def test_nothing_can_be_made_a_part_of_another_page(
    attackers: list[Page], live: str, seen: Seen, quote: str, kind: str
) -> None:
    for page in attackers:
        seen.requests.clear()
        told = page.evaluate(
            f"([goals, kind]) => Promise.all(goals.map(goal => ({READING})([goal, kind])))",
            [[live + goal for goal in TARGETS], kind],
        )
        fine = {"refused", "silent", "opaque", *(("loaded ",) if kind in TELL_NOTHING else ())}
        assert set(told) <= fine, told
        assert all(set(seen.to(goal)) == {403} for goal in TARGETS), seen.requests
        assert SECRET not in page.content()


@pytest.mark.browser
def test_a_page_is_not_prepared_unseen(
    attacker: Callable[[str], Page], app: Flask, live: str, seen: Seen, quote: str
) -> None:
    rules = f'{{"prefetch": [{{"source": "list", "urls": ["{live}{quote}"]}}]}}'
    page = attacker(f'<script type="speculationrules">{rules}</script>')
    page.wait_for_timeout(500)
    assert 200 not in seen.to(quote)
    assert is_unharmed(app)


@pytest.mark.browser
def test_a_window_that_another_page_opens_is_out_of_its_reach(
    attacker: Callable[[str], Page], app: Flask, live: str, quote: str
) -> None:
    page = attacker("<p>Hello</p>")
    with page.expect_popup() as opened:
        page.evaluate("goal => { window.held = window.open(goal, 'held'); }", live + quote)
    popup = opened.value
    expect(popup.locator("#f-title")).to_have_value(SECRET)
    assert popup.evaluate("window.opener") is None
    assert page.evaluate("window.held.closed")  # severed, though it stands open
    page.evaluate("() => { try { window.held.location = 'about:blank'; } catch {} }")
    page.wait_for_timeout(200)
    assert popup.url == live + quote
    assert is_unharmed(app)


# ---- what a person may do all the same


@pytest.mark.browser
def test_a_link_from_elsewhere_leads_here_and_costs_other_tabs_nothing(
    attacker: Callable[[str], Page], context: BrowserContext, app: Flask, live: str, quote: str
) -> None:
    own = context.new_page()
    own.goto(live + quote)
    before = context.cookies()
    page = attacker(f'<a href="{live}{quote}?a=1&amp;b=%22%C3%A9">here</a>')
    page.get_by_text("here").click()
    expect(page.locator("#f-title")).to_have_value(SECRET)
    assert page.url == f"{live}{quote}?a=1&b=%22%C3%A9"
    assert [c["value"] for c in context.cookies(live)] == [c["value"] for c in before]
    assert price_typed(own, "4200", app) == "4200"
    expect(own.locator("#lost")).to_be_hidden()


@pytest.mark.browser
@pytest.mark.parametrize("path", ["/", "/quotes"])
def test_a_cookie_that_another_port_puts_before_ours_shuts_nobody_out(
    context: BrowserContext, evil: EvilServer, app: Flask, live: str, quote: str, path: str
) -> None:
    evil.headers["Set-Cookie"] = f"lodeworth=junk; Path={path}"
    hostile = context.new_page()
    hostile.goto(f"http://127.0.0.1:{evil.port}/")
    assert "junk" in [cookie["value"] for cookie in context.cookies(live + quote)]
    own = context.new_page()
    own.goto(live + quote)
    assert price_typed(own, "4200", app) == "4200"


@pytest.mark.browser
def test_the_cookie_is_not_seen_by_scripts(context: BrowserContext, live: str, quote: str) -> None:
    page = context.new_page()
    page.goto(live + quote)
    assert page.evaluate("document.cookie") == ""


@pytest.mark.browser
def test_an_old_token_is_refused_and_what_was_typed_stays_on_the_page(
    context: BrowserContext, server: Server, app: Flask, live: str, quote: str, tmp_path: Path
) -> None:
    page = context.new_page()
    page.goto(live + quote)
    server.stop()
    app.extensions["store"].close()
    (tmp_path / "cookie.key").unlink()
    later = create_app(tmp_path, Settings(locale="en_US", time_zone="America/Denver", data=tmp_path))
    server.start(later)
    assert price_typed(page, "4200", later) == "4100"
    expect(page.locator("#lost")).to_contain_text("reload the page")
    expect(page.get_by_label("Gold spot")).to_have_value("4200")
    page.reload()
    assert price_typed(page, "4300", later) == "4300"
    server.stop()
    later.extensions["store"].close()
    server.start(app)
