"""Proof that three tabs and a handing over at once get no error, no long wait, and leave the memory as it was.

Run from the checkout: ``python -m tests.proofs.load [--seconds N] [--record]``. Prints its figures, writes them into
load.md with ``--record``, and exits with 1 if anything does not hold.
"""

import argparse
import http.client
import json
import os
import random
import re
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import count
from math import ceil
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from bs4 import BeautifulSoup, Tag
from werkzeug.datastructures import MultiDict

from scenarios import FIRST

ROOT = Path(__file__).parents[2]
PAGE = Path(__file__).with_suffix(".md")
MARK = "<!-- written by load.py --record -->\n"
SEED = 20261125
HOST = "127.0.0.1"
TABS = 3
RECALCULATION_S, SHEET_S = 0.5, 5.0
LIMIT_MS = 150
WARM = 15  # sheets, and recalculations of each tab, before the minute: by then every thread and cache has what it keeps
GROWTH_MB = 12  # that is allowed: a fifth of what a leak of one answer (100 kB) at each request would come to
Fields = MultiDict[str, str]


class Refused(Exception):  # noqa: N818 - told as an event
    """An answer that is none."""


class Browser:
    """One tab: a connection that stays open, the cookie, the token."""

    def __init__(self, port: int) -> None:
        self.connection = http.client.HTTPConnection(HOST, port, timeout=30)
        self.connection.connect()
        self.connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.origin = f"http://{HOST}:{port}"
        self.cookie = ""
        self.answers = 0

    def get(self, address: str) -> str:
        """A page, wherever it leads."""
        return self._followed(self._asked("GET", address))

    def send(self, address: str, fields: Fields, *, by_script: bool = False) -> str:
        """What a form leads to; `by_script` as htmx sends it."""
        return self._followed(self._asked("POST", address, fields, by_script=by_script))

    def _followed(self, answer: tuple[int, str, bytes]) -> str:
        status, place, body = answer
        for _ in range(5):
            if status not in (302, 303):
                break
            status, place, body = self._asked("GET", place)
        if status != 200:
            raise Refused(f"{status}: {words_of(body)[:300]}")
        return body.decode("utf-8", "replace")

    def _asked(
        self, method: str, address: str, fields: Fields | None = None, *, by_script: bool = False
    ) -> tuple[int, str, bytes]:
        headers = {"Sec-Fetch-Site": "same-origin", "Cookie": self.cookie}
        if by_script:
            headers["HX-Request"] = "true"
        if fields is not None:
            headers |= {"Origin": self.origin, "Content-Type": "application/x-www-form-urlencoded"}
        self.connection.request(method, address, urlencode(list((fields or Fields()).items(multi=True))), headers)
        answer = self.connection.getresponse()
        body = answer.read()
        self.answers += 1
        for cookie in answer.headers.get_all("Set-Cookie", []):
            self.cookie = cookie.partition(";")[0]
        return answer.status, answer.headers.get("Location", ""), body


def words_of(body: bytes) -> str:
    """What a page says, for a message."""
    main = BeautifulSoup(body, "html.parser").select_one("main")
    return " ".join(main.get_text(" ").split()) if main else repr(body[:200])


def form_of(page: str, selector: str) -> tuple[str, Fields]:
    """Where a form goes, and what a browser would send of it."""
    form = BeautifulSoup(page, "html.parser").select_one(selector)
    if form is None:
        raise Refused(f"no {selector}: {words_of(page.encode())[:300]}")
    fields = Fields()
    for tag in form.select("input[name], select, textarea"):
        name, value = str(tag["name"]), _sent(tag)
        if value is not None and not tag.has_attr("disabled"):
            fields.add(name, value)
    return str(form["action"]), fields


def _sent(tag: Tag) -> str | None:
    if tag.name == "select":
        chosen = tag.select_one("option[selected]") or tag.select_one("option")
        return str(chosen["value"]) if chosen else None
    if tag.name == "textarea":
        return tag.get_text()
    if tag.get("type") in ("radio", "checkbox"):
        return str(tag.get("value", "on")) if tag.has_attr("checked") else None
    return None if tag.get("type") == "file" else str(tag.get("value", ""))


@dataclass
class Tab(Browser):
    """One that types into a quote, and one that turns quotes into sheets; each waits for its answer, as a page does."""

    port: int
    seed: int
    waits_s: list[float] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(self.port)
        self.chance = random.Random(self.seed)
        self.address, self.fields = "", Fields()

    def open_quote(self) -> None:
        """A quote of its own, from a demo, priced now."""
        self.address, self.fields = form_of(self.get(f"/demos/{FIRST}"), "#quote-form")
        self.fields.poplist("demo")  # a demo is not handed over
        self.fields["spot.seen_at"] = datetime.now(UTC).isoformat(" ", "minutes")

    def warm_up(self, times: int) -> None:
        """A quote of its own, recalculated so often."""
        self.open_quote()
        for _ in range(times):
            self.recalculate()

    def recalculate(self) -> float:
        """Type another figure; how long the answer took."""
        self.fields["title"] = f"Load {self.chance.randrange(10**6)}"
        self.fields["spot.gold"] = f"{self.chance.uniform(3000, 5000):.2f}"
        begun = time.perf_counter()
        page = self.send(self.address, self.fields, by_script=True)
        taken = time.perf_counter() - begun
        seen = re.search(r'name="seen" value="(\d+)"', page)
        if seen is None or self.fields["title"] not in page or "fair" not in page.lower():
            raise Refused(f"not the quote that was asked for: {words_of(page.encode())[:200]}")
        self.fields["seen"] = seen[1]
        return taken

    def hand_over(self) -> str:
        """A new quote, its sheet, a look at its pages, handing over; the number that it got."""
        self.open_quote()
        self.recalculate()
        action, fields = form_of(self.send(f"{self.address}/sheet", self.fields), "#sheet-form")
        looked = self.send(action, Fields([*fields.items(multi=True), ("do", "preview")]))
        for picture in re.findall(r'<img class="leaf" src="([^"]+)"', looked):
            status, _, body = self._asked("GET", picture)
            if status != 200 or not body.startswith(b"\x89PNG"):
                raise Refused(f"{status} for a page of the paper")
        done = self.send(*form_of(looked, ".decide form"))
        found = re.search(r"Handed over as (\d{4}-\d{4}), revision 1", done)
        if found is None:
            raise Refused(f"not handed over: {words_of(done.encode())[:200]}")
        return found[1]


def at_each(step_s: float, seconds: float, first_s: float = 0.0) -> Iterator[None]:
    """So often, for so long; late ones follow at once, and none is left out."""
    begun = time.monotonic() + first_s
    for i in count():
        if i * step_s + first_s >= seconds:
            return
        time.sleep(max(0.0, begun + i * step_s - time.monotonic()))
        yield


# ---- the process that hands over: apart, so that its reading of pages does not hold up the tabs' clocks


def keep_handing_over(port: int, seconds: float, seed: int, warm: int) -> None:
    """Hand over a sheet each few seconds; tells on standard output of each, and of what went wrong."""
    tab = Tab(port, seed)
    print(json.dumps({"warm": [tab.hand_over() for _ in range(warm)]}), flush=True)
    sys.stdin.readline()
    for _ in at_each(SHEET_S, seconds, first_s=1.0):
        begun = time.perf_counter()
        try:
            number = tab.hand_over()
            print(json.dumps({"number": number, "took_s": time.perf_counter() - begun}), flush=True)
        except (Refused, OSError, http.client.HTTPException) as fault:
            print(json.dumps({"fault": f"handing over: {type(fault).__name__} {fault}"}), flush=True)


# ---- the one that measures


@dataclass
class Figures:
    """What was seen in one run."""

    seconds: float
    waits_ms: list[float]
    quiet_ms: list[float]
    sheets: list[str]
    sheet_s: list[float]
    faults: list[str]
    memory: list[tuple[float, float]]  # seconds, MB
    load: float

    def share_ms(self, frac: float) -> float:
        """So many of the waits are at most this long."""
        return sorted(self.waits_ms)[min(len(self.waits_ms) - 1, int(frac * len(self.waits_ms)))]

    @property
    def growth_mb(self) -> float:
        """How much more memory the last quarter took than the first, at the median."""
        quarter = max(1, len(self.memory) // 4)
        return statistics.median(mb for _, mb in self.memory[-quarter:]) - statistics.median(
            mb for _, mb in self.memory[:quarter]
        )

    @property
    def slope_mb_per_min(self) -> float:
        """Least-squares slope of the memory over the second half."""
        half = self.memory[len(self.memory) // 2 :]
        return 60 * statistics.linear_regression([at for at, _ in half], [mb for _, mb in half]).slope


def rss_mb(pid: int) -> float:
    """Memory that a process and those it started hold; where there is no /proc, as `ps` has it, without those."""
    folder = Path(f"/proc/{pid}")
    if not folder.is_dir():
        told = subprocess.run(["ps", "-o", "rss=", "-p", str(pid)], capture_output=True, text=True, check=True)
        return int(told.stdout) * 1024 / 1e6
    children = (folder / f"task/{pid}/children").read_text().split()
    own = int((folder / "statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6
    return own + sum(rss_mb(int(child)) for child in children)


@contextmanager
def serving(data: Path) -> Iterator[tuple[int, int]]:
    """The server as `lodeworth serve` starts it, in a process of its own: its port, and the id of that process."""
    command = [sys.executable, "-m", "webapp", "serve", "--no-browser", "--data", str(data)]
    environment = {**os.environ, "LODEWORTH_LOCALE": "en_US", "LODEWORTH_TIME_ZONE": "America/Denver"}
    with (
        (data.parent / "server.log").open("w") as log,
        subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=log, text=True, env=environment) as server,
    ):
        try:
            assert server.stdout is not None
            yield int(server.stdout.readline().rstrip("/\n").rpartition(":")[2]), server.pid
        finally:
            server.send_signal(signal.SIGTERM)
            if server.wait(30) != 0:
                raise AssertionError(f"the server ended with {server.returncode}")


def measured(folder: Path, seconds: float, seed: int = SEED, warm: int = WARM) -> Figures:
    """What three tabs and the one that hands over saw, for so long, with a server and a data folder of their own."""
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else 0.0
    with serving(folder / "data") as (port, pid), _handing_over(port, seconds, seed, warm) as (other, told):
        tabs = [Tab(port, seed + i) for i in range(TABS)]
        with ThreadPoolExecutor(TABS) as together:
            list(together.map(lambda tab: tab.warm_up(warm), tabs))
        quiet = [1000 * tabs[0].recalculate() for _ in range(10)]
        stop, memory = threading.Event(), list[tuple[float, float]]()
        typing = [threading.Thread(target=_type, args=(tab, seconds, i / TABS / 2)) for i, tab in enumerate(tabs)]
        watching = threading.Thread(target=_watch, args=(pid, stop, memory))
        assert other.stdin is not None
        other.stdin.write("go\n")
        other.stdin.flush()
        for thread in (watching, *typing):
            thread.start()
        for thread in typing:
            thread.join()
        other.wait(60)
        stop.set()
        watching.join()
        for tab in tabs:
            tab.connection.close()
    faults = [fault for tab in tabs for fault in tab.faults] + [one["fault"] for one in told if "fault" in one]
    log = (folder / "server.log").read_text()
    faults += [f"the server's log: {log[:500]}"] if log.strip() else []
    done = [one for one in told if "number" in one]
    waits = [1000 * wait for tab in tabs for wait in tab.waits_s]
    numbers = [one["number"] for one in done]
    return Figures(seconds, waits, quiet, numbers, [one["took_s"] for one in done], faults, memory, load)


@contextmanager
def _handing_over(
    port: int, seconds: float, seed: int, warm: int
) -> Iterator[tuple[subprocess.Popen[str], list[dict[str, Any]]]]:
    command = [sys.executable, "-m", "tests.proofs.load", "--hand-over", str(port), "--seconds", str(seconds)]
    told: list[dict[str, Any]] = []
    with subprocess.Popen(
        [*command, "--seed", str(seed + TABS), "--warm", str(warm)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as other:
        assert other.stdout is not None
        assert "warm" in other.stdout.readline(), "the first handing over failed"
        reader = threading.Thread(target=lambda: told.extend(json.loads(line) for line in other.stdout or ()))
        reader.start()
        try:
            yield other, told
        finally:
            if other.poll() is None:
                other.kill()
            reader.join()


def _type(tab: Tab, seconds: float, first_s: float) -> None:
    for _ in at_each(RECALCULATION_S, seconds, first_s):
        try:
            tab.waits_s.append(tab.recalculate())
        except (Refused, OSError, http.client.HTTPException) as fault:
            tab.faults.append(f"recalculating: {type(fault).__name__} {fault}")
            return


def _watch(pid: int, stop: threading.Event, memory: list[tuple[float, float]]) -> None:
    begun = time.monotonic()
    while not stop.wait(0.25):
        memory.append((time.monotonic() - begun, rss_mb(pid)))


def what_does_not_hold(found: Figures, *, timed: bool = True, growth_mb: float = GROWTH_MB) -> list[str]:
    """What of the promise is not kept; waits count only if `timed`."""
    faults = list(found.faults)
    due = TABS * found.seconds / RECALCULATION_S
    if len(found.waits_ms) < 0.9 * due:
        faults.append(f"only {len(found.waits_ms)} of {due:.0f} recalculations were answered")
    if not found.sheets or len(found.sheets) < ceil((found.seconds - 1) / SHEET_S):
        faults.append(f"only {len(found.sheets)} sheets were handed over")
    if len(set(found.sheets)) != len(found.sheets):
        faults.append("a number was given twice")
    if found.growth_mb > growth_mb:
        faults.append(f"the memory grew by {found.growth_mb:.1f} MB")
    if timed and found.share_ms(0.95) >= LIMIT_MS:
        faults.append(f"the 95th percentile is {found.share_ms(0.95):.0f} ms, not under {LIMIT_MS}")
    return faults


def main() -> int:
    """Run the proof; 0 if all holds."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--warm", type=int, default=WARM, help="sheets and recalculations before the minute")
    parser.add_argument("--record", action="store_true", help="write the figures into load.md")
    parser.add_argument("--hand-over", type=int, metavar="PORT", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.hand_over:
        keep_handing_over(chosen.hand_over, chosen.seconds, chosen.seed, chosen.warm)
        return 0
    with tempfile.TemporaryDirectory() as name:
        found = measured(Path(name), chosen.seconds, chosen.seed, chosen.warm)
    faults = what_does_not_hold(found)
    lines = [*_report(found), "", "All held." if not faults else "DID NOT HOLD:", *(f"- {one}" for one in faults[:50])]
    print(*lines, sep="\n")
    if chosen.record:
        head = PAGE.read_text(encoding="utf-8").partition(MARK)[0]
        PAGE.write_text(head + MARK + "\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return 1 if faults else 0


def _report(found: Figures) -> list[str]:
    shares = " | ".join(f"{found.share_ms(frac):.0f} ms" for frac in (0.5, 0.9, 0.95, 0.99, 1))
    first, last = found.memory[0][1], found.memory[-1][1]
    return [
        "| recalculations | median | 90 % under | 95 % under | 99 % under | longest |",
        "|---|---|---|---|---|---|",
        f"| {len(found.waits_ms)} | {shares} |",
        "",
        f"Errors: {len(found.faults)}. One tab alone, just before: median {statistics.median(found.quiet_ms):.0f} ms. "
        f"Sheets handed over: {len(found.sheets)}, each from a new quote to its number in "
        f"{statistics.median(found.sheet_s or [0]):.1f} s at the median, {max(found.sheet_s or [0]):.1f} s at most.",
        "",
        f"Memory: {first:.0f} MB at the beginning, {last:.0f} MB at the end; the last quarter took "
        f"{found.growth_mb:+.1f} MB against the first; slope over the second half "
        f"{found.slope_mb_per_min:+.1f} MB a minute.",
        "",
        f"{found.seconds:.0f} s on {os.cpu_count()} cores; load of the machine before: {found.load:.1f}.",
    ]


if __name__ == "__main__":
    with closing(sys.stdout):
        sys.exit(main())
