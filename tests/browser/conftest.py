"""A real browser on a live server. A test fails on a page error, a breach of the policy, or a request that leaves."""

import os
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from flask import Flask
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request, sync_playwright
from werkzeug.serving import make_server

import run
from webapp import create_app
from webapp.settings import Settings

VENDOR = Path(__file__).parent / "vendor"
FLAGS = [
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]
WIDE, PHONE = (1280, 900), (360, 740)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    root = sys.platform == "linux" and os.geteuid() == 0
    with sync_playwright() as playwright:
        path = run.browser() or playwright.chromium.executable_path
        if not Path(path).is_file():
            line = "python3 run.py test, which installs one"
            pytest.fail(f"There is no Chromium, Chrome or Edge. Type {line}.", pytrace=False)
        flags = [*FLAGS, "--no-sandbox"] if root else FLAGS
        opened = playwright.chromium.launch(executable_path=path, args=flags)
        yield opened
        opened.close()


@pytest.fixture
def app(tmp_path: Path) -> Iterator[Flask]:
    made = create_app(tmp_path, Settings(locale="en_US", time_zone="America/Denver", data=tmp_path))
    yield made
    made.extensions["store"].close()


class Server:
    """The app at one address, where it can stop and start again."""

    def __init__(self) -> None:
        self.port = 0

    def start(self, app: Flask) -> None:
        self._made = make_server("127.0.0.1", self.port, app, threaded=True)
        self.port = self._made.server_port
        self._thread = threading.Thread(target=self._made.serve_forever, args=(0.05,), daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._made.shutdown()
        self._thread.join()
        self._made.server_close()


@pytest.fixture
def server(app: Flask) -> Iterator[Server]:
    made = Server()
    made.start(app)
    yield made
    made.stop()


@pytest.fixture
def live(server: Server) -> str:
    return f"http://127.0.0.1:{server.port}"


class Watched:
    """Pages of one test, and what went wrong on them."""

    def __init__(self, browser: Browser, base: str) -> None:
        self.browser, self.base = browser, base
        self.contexts: list[BrowserContext] = []
        self.wrong: list[str] = []
        self.expected: tuple[str, ...] = ("status of 422",)

    def page(self, size: tuple[int, int] = WIDE, scheme: str = "light", scripts: bool = True) -> Page:
        context = self.browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme="dark" if scheme == "dark" else "light",
            java_script_enabled=scripts,
            base_url=self.base,
        )
        context.set_default_timeout(5_000)
        self.contexts.append(context)
        return self.watch(context.new_page())

    def watch(self, page: Page) -> Page:
        page.on("pageerror", lambda error: self.wrong.append(f"page error: {error}"))
        page.on("console", self._console)
        page.on("request", self._request)
        return page

    def _console(self, message: ConsoleMessage) -> None:
        if message.type == "error" and not any(words in message.text for words in self.expected):
            self.wrong.append(f"console: {message.text}")

    def _request(self, request: Request) -> None:
        if not request.url.startswith(self.base + "/"):
            self.wrong.append(f"request leaves the server: {request.url}")


@pytest.fixture
def watched(browser: Browser, live: str) -> Iterator[Watched]:
    watch = Watched(browser, live)
    yield watch
    for context in watch.contexts:
        context.close()
    assert watch.wrong == []


def first_start(page: Page) -> None:
    """Open the address of the app for the first time, and go on to the demo without answering its questions."""
    page.goto("/")
    page.get_by_role("button", name="Skip").click()


@pytest.fixture(scope="session")
def axe() -> Callable[[Page], list[str]]:
    (script,) = VENDOR.glob("axe-*.min.js")
    source = script.read_text("utf-8")
    rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

    def violations(page: Page) -> list[str]:
        if page.evaluate("typeof axe === 'undefined'"):
            page.evaluate(source)  # a script element would be stopped by the policy
        # Of what passed, one place per rule is told, which saves half the time; violations are told in full.
        found = page.evaluate(
            "rules => axe.run(document, {runOnly: rules, resultTypes: ['violations'], preload: false})", rules
        )
        assert found["passes"], "axe checked nothing"
        return [f"{v['id']}: {n['target']} {n['failureSummary']}" for v in found["violations"] for n in v["nodes"]]

    return violations
