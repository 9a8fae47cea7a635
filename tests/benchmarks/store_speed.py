"""Time to keep a quote in progress, against plain sqlite3 doing the same: `python -m tests.benchmarks.store_speed`.

Prints medians, 99th percentiles and ratios of one run, the two taking turns. Machines differ and are noisy, so no test
asserts a time. The same: a transaction begun IMMEDIATE in a WAL file with synchronous FULL, that reads the draft, puts
its last state into the history, lets the oldest go, and writes the new state.

Last run, on 2 cores shared with other work (load 8), Python 3.11, SQLite 3.40, forms of 3 kB, 50 earlier states:

                         | median: ours, plain, ratio    | 99 %: ours, plain, ratio
keep                     |   10.91 ms    7.88 ms   1.4 |   46.08 ms   40.68 ms   1.1
keep, processor alone    |    1.34 ms    0.46 ms   2.9 |    1.83 ms    0.81 ms   2.3
get                      |    0.12 ms    0.02 ms   6.7 |    8.49 ms    0.08 ms 106.1
a page of 10,000 open quotes: median 7.3 ms, most 22.0 ms
opening it anew: 133 ms (file of 43 MB)

Most of a keep is the disk's: one flush. Of a get, most is SQLAlchemy's.
"""

import gc
import hashlib
import json
import sqlite3
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import numpy as np

from webapp.store import drafts, open_store

AT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
ROUNDS = 1000
FIELDS = 90
LISTED = 10_000
READ = "SELECT * FROM drafts WHERE id = ?"
FORGET_TWIN = "DELETE FROM draft_history WHERE draft_id = ? AND overtaken = 0 AND digest = ?"
REMEMBER = "INSERT INTO draft_history VALUES (?, ?, ?, ?, ?, ?, 0, ?)"
FORGET_OLD = """DELETE FROM draft_history WHERE draft_id = ?1 AND overtaken = 0 AND revision NOT IN
    (SELECT revision FROM draft_history WHERE draft_id = ?1 AND overtaken = 0 ORDER BY revision DESC LIMIT 50)"""
KEEP = "UPDATE drafts SET title = ?, entries = ?, revision = ?, writer = ?, changed_at = ? WHERE id = ?"
OVERTAKEN = """SELECT revision, title, kept_at, overtaken FROM draft_history
    WHERE draft_id = ? AND overtaken AND revision > ? AND writer != ? ORDER BY revision DESC LIMIT 1"""


def form(number: int) -> list[tuple[str, str]]:
    """A form of about 3 kB that differs from the one before in one field, as when typing goes on."""
    return [(f"section.field_{i}", f"typed text {i}") for i in range(FIELDS)] + [("note", str(number))]


def plain_keep(connection: sqlite3.Connection, name: str, entries: list[tuple[str, str]], seen: int, tab: str) -> int:
    """What `drafts.keep` does, in plain sqlite3."""
    text = json.dumps(entries, ensure_ascii=False, separators=(",", ":"))
    connection.execute("BEGIN IMMEDIATE")
    _, _, title, revision, writer, _, changed_at, _, last = connection.execute(READ, (name,)).fetchone()
    digest = hashlib.sha256(last.encode()).hexdigest()
    connection.execute(FORGET_TWIN, (name, digest))
    connection.execute(REMEMBER, (name, revision, title, digest, writer, changed_at, last))
    connection.execute(FORGET_OLD, (name,))
    connection.execute(KEEP, ("Pebble", text, revision + 1, tab, AT.isoformat(), name))
    connection.execute(OVERTAKEN, (name, seen, tab)).fetchone()
    connection.execute("COMMIT")
    return int(revision) + 1


def _ms(call: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> float:
    start = clock()
    call()
    return (clock() - start) * 1000


def _told(name: str, ours: list[float], plain: list[float]) -> None:
    cells = [f"{name:24}"]
    for quantile in (0.5, 0.99):
        mine, theirs = np.quantile(ours, quantile), np.quantile(plain, quantile)
        cells.append(f"{mine:7.2f} ms {theirs:7.2f} ms {mine / theirs:5.1f}")
    print(" | ".join(cells))


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        store, other = open_store(top / "ours"), open_store(top / "plain")
        other.close()
        plain = sqlite3.connect(other.file, isolation_level=None, timeout=5)
        for pragma in ("synchronous = FULL", "foreign_keys = ON"):
            plain.execute(f"PRAGMA {pragma}")
        tab, draft = drafts.fresh_id(), drafts.fresh_id()
        drafts.keep(store, draft, form(0), "Pebble", AT, writer=tab, kind="quote")
        moment = AT.isoformat()
        plain.execute(
            "INSERT INTO drafts VALUES (?, 'quote', 'Pebble', 1, ?, ?, ?, NULL, '[]')", (draft, tab, moment, moment)
        )
        print(f"{'':24} | median: ours, plain, ratio    | 99 %: ours, plain, ratio")
        gc.collect()
        revision = 1
        for clock, told_as in ((time.perf_counter, "keep"), (time.process_time, "keep, processor alone")):
            ours_ms, plain_ms = [], []
            for _ in range(ROUNDS):
                entries, seen = form(revision), revision
                ours = partial(drafts.keep, store, draft, entries, "Pebble", AT, seen_revision=seen, writer=tab)
                ours_ms.append(_ms(ours, clock))
                plain_ms.append(_ms(partial(plain_keep, plain, draft, entries, seen, tab), clock))
                revision += 1
            _told(told_as, ours_ms[100:], plain_ms[100:])
        ours_ms = [_ms(lambda: drafts.get(store, draft)) for _ in range(ROUNDS)]
        plain_ms = [_ms(lambda: json.loads(plain.execute(READ, (draft,)).fetchone()[8])) for _ in range(ROUNDS)]
        _told("get", ours_ms, plain_ms)
        with store.writing():
            for i in range(LISTED):
                drafts.new(store, "quote", form(i), f"Pebble {i}", AT + timedelta(seconds=i // 3))
        pages = [_ms(lambda: drafts.open_drafts(store, page)) for page in range(1, 201)]  # noqa: B023
        print(f"a page of {LISTED:,} open quotes: median {np.median(pages):.1f} ms, most {max(pages):.1f} ms")
        drafts_mb = store.file.stat().st_size / 1e6
        plain.close()
        store.close()
        print(f"opening it anew: {_ms(lambda: open_store(top / 'ours')):.0f} ms (file of {drafts_mb:.0f} MB)")


if __name__ == "__main__":
    main()
