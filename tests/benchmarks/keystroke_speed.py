"""Time from a keystroke to the painted answer on the demo quote: `python -m tests.benchmarks.keystroke_speed`.

A real Chromium types digits into the readings of the demo. Counted is the time from the keystroke to the frame that
shows the answer to it, less the pause after which the page asks (in the form's `hx-trigger`): the request, the
server's work, the browser's taking over of the page, layout and paint. The server's part is measured apart, as the time
between a request's coming in and its answer's going out; and once more alone, without a browser beside it. Last, the
bytes that a first start loads. Machines differ and are noisy, so no test asserts a time; the bytes are asserted in
`tests/webapp/test_quotes.py`. What the last run said stands in `keystroke_speed.md`.
"""

import logging
import re
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from flask import Flask, Response, g, request
from playwright.sync_api import Page, sync_playwright

import run
from scenarios import FIRST
from tests.browser.conftest import FLAGS, WIDE, Server
from tests.webapp.conftest import Page as Visited
from webapp import create_app
from webapp.settings import Settings

KEYSTROKES, WARM_UP = 60, 5
FIELDS = ("weighing.dry_g.0", "weighing.dry_g.1", "spot.gold")
# A keystroke is timed by the browser's own clock. The answer is on the screen one frame after htmx has taken it over:
# the first frame's callback runs before its paint, the message channel's after it.
WATCH = """() => {
  let typed, settle;
  document.addEventListener('input', event => {
    typed = event.timeStamp;
    window.answered = new Promise(done => { settle = done; });
  }, true);
  document.addEventListener('htmx:after:swap', () => requestAnimationFrame(() => {
    const channel = new MessageChannel();
    channel.port1.onmessage = () => settle(performance.now() - typed);
    channel.port2.postMessage(null);
  }));
}"""


def timed(app: Flask) -> list[float]:
    """Have the app note how long each recalculation keeps it, in milliseconds."""
    spent: list[float] = []

    def begin() -> None:
        g.begun = time.perf_counter()

    def end(answer: Response) -> Response:
        if request.method == "POST":
            spent.append((time.perf_counter() - g.begun) * 1000)
        return answer

    app.before_request_funcs.setdefault(None, []).insert(0, begin)
    app.after_request(end)
    return spent


def keystrokes(page: Page) -> list[float]:
    """Milliseconds from each keystroke to the painted answer, the pause before asking taken off."""
    page.goto(f"/demos/{FIRST}")
    trigger = page.locator("#quote-form").get_attribute("hx-trigger") or ""
    pause = float(re.search(r"delay:(\d+)ms", trigger)[1])  # type: ignore[index]
    page.evaluate(WATCH)
    found = []
    for number in range(WARM_UP + KEYSTROKES):
        field = page.locator(f'[id="f-{FIELDS[number % len(FIELDS)]}"]')
        field.focus()
        field.press("End")
        # Typed in turn: one digit more, the same taken away.
        field.press(str(1 + number % 9) if number // len(FIELDS) % 2 == 0 else "Backspace")
        found.append(page.evaluate("window.answered") - pause)
    return found[WARM_UP:]


def alone(app: Flask, address: str, clock: Callable[[], float]) -> list[float]:
    """Milliseconds of the recalculation without a browser or a socket, the draft kept each time."""
    client = app.test_client()
    form = Visited(client.get(address)).typed()
    found = []
    for number in range(KEYSTROKES + WARM_UP):
        form["spot.gold"] = str(4100 + number)
        start = clock()
        answer = client.post(address, data=form, headers={"HX-Request": "true"})
        found.append((clock() - start) * 1000)
        assert answer.status_code == 200 and "Fair price" in answer.text
    return found[WARM_UP:]


def first_page(page: Page) -> dict[str, int]:
    """Bytes of every answer of a first start, by address."""
    sizes: dict[str, int] = {}
    page.on("response", lambda answer: answer.ok and sizes.update({answer.url: len(answer.body())}))
    page.goto(f"/demos/{FIRST}", wait_until="networkidle")
    return sizes


def told(what: str, times: list[float]) -> None:
    half, most, top = np.quantile(times, [0.5, 0.95, 1.0])
    print(f"{what:48} median {half:6.1f} ms, 95 % {most:6.1f} ms, most {top:6.1f} ms ({len(times)} times)")


def main() -> None:
    """Print the figures."""
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        app = create_app(Path(name), Settings(locale="en_US", time_zone="America/Denver", data=Path(name)))
        spent = timed(app)
        server = Server()
        server.start(app)
        flags = [*FLAGS, "--no-sandbox"] if sys.platform == "linux" else FLAGS
        path = run.browser() or playwright.chromium.executable_path
        browser = playwright.chromium.launch(executable_path=path, args=flags)
        size = {"width": WIDE[0], "height": WIDE[1]}
        base = f"http://127.0.0.1:{server.port}"
        sizes = first_page(browser.new_page(base_url=base, viewport=size))
        page = browser.new_page(base_url=base, viewport=size)
        whole = keystrokes(page)
        address = page.url.removeprefix(base).partition("?")[0]
        server_part = spent[-len(whole) :]
        browser.close()
        server.stop()
        told("keystroke to painted answer, less the pause", whole)
        told("the server's part of it", server_part)
        told("keystroke to painted answer, server apart", [a - b for a, b in zip(whole, server_part, strict=True)])
        told("recalculation alone, no browser", alone(app, address, time.perf_counter))
        told("the same, processor of this thread", alone(app, address, time.thread_time))
        for url, count in sizes.items():
            print(f"{count:9,} bytes  {url.removeprefix(base).partition('?')[0]}")
        print(f"{sum(sizes.values()):9,} bytes in all")
        app.extensions["store"].close()


if __name__ == "__main__":
    main()
