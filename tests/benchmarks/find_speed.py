"""Time to find sheets among 100,000, and to hand one over: `python -m tests.benchmarks.find_speed`.

Prints medians and 95th percentiles of one run; for one word also the median of the same asked by `LIKE` over number,
title, description and reference in plain sqlite3 without an index of words, and the ratio of the two. Machines differ
and are noisy, so no test asserts a time. The sheets are invented: titles and descriptions of common words and of 8,000
made-up ones, references on six in ten, all states, 16 years.

Last run, on 2 cores shared with other work (load 6), Python 3.11, SQLite 3.40:

100,000 sheets, 153 MB without their papers, in 48 s
                             |     median |       95 % |   no index | ratio
no question                  |     2.5 ms |     4.1 ms
a number                     |     0.5 ms |     1.3 ms |   144.4 ms |  301.1
a rare word                  |     3.7 ms |    27.2 ms |    54.8 ms |   14.8
a part of a word             |     4.7 ms |    23.6 ms |     1.1 ms |    0.2
a common word                |     8.4 ms |    12.8 ms |     0.4 ms |    0.0
one letter                   |     5.1 ms |     9.6 ms |     0.2 ms |    0.0
two words                    |    16.3 ms |    22.1 ms
words, state, date           |    22.3 ms |    42.6 ms
a state                      |    14.4 ms |    25.0 ms
a state and a date           |     9.6 ms |    17.9 ms
the last page                |     2.2 ms |     3.0 ms
the last page of a state     |    12.8 ms |    17.4 ms
the last page of words       |     8.4 ms |    12.1 ms
a sheet written              |     4.0 ms |    10.5 ms
handed over, 60 kB papers    |     7.7 ms |    19.6 ms

Without an index, a word that most sheets hold is met at once: nothing is counted, and the order is that of the dates.
"""

import argparse
import random
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import numpy as np

from tests.webapp.store.sample_sheet import AT, making
from webapp.sheet_life import State
from webapp.store import finding, open_store, revisions, sheets
from webapp.store.database import Store
from webapp.store.finding import LAST, Wanted
from webapp.store.sheets import title_order
from webapp.store.words import folded, indexed

SEED = 20260504
SHEETS = 100_000
ROUNDS = 200
BEGINNING = datetime(2010, 1, 1, tzinfo=UTC)
NOW = datetime(2025, 3, 1, tzinfo=UTC)
PRICES = {"USD": 120.0, "EUR": 110.0}
ENDINGS = ["handed_over", "agreed", "turned_down", "settled", "lapsed"]
WORDS = """vein quartz leaf gold white fist sized specimen wire crystal nugget host rock milky rusty seam small large
    ka lo mi ren tor vel qua shi dro pen bar ul ist ger nam fol wex jor zin tha"""
COMMON, SYLLABLES = (line.split() for line in WORDS.splitlines())
WRITTEN = """INSERT INTO sheets (id, draft_id, number_order, revision, state, title, title_order, written_at,
    changed_at, dated_at, offer_order) VALUES (?1, ?2, 1000000000000000, 0, 'written', ?4, ?5, ?3, ?3, ?3, -1)"""
HANDED_OVER = """UPDATE sheets SET year = ?, running = ?, number = ?, number_order = ?, revision = 1, state = ?,
    handed_over_at = dated_at, offer = ?, offer_order = ?, currency = 'USD', valid_until = ?,
    time_zone = 'America/Denver', gold_low_per_g = 100, gold_high_per_g = 140 WHERE key = ?"""
PLAIN = """SELECT s.key, s.number, s.title, s.state, s.offer FROM sheets s JOIN sheet_texts t ON t.sheet = s.key
    LEFT JOIN seller_references r ON r.sheet = s.key
    WHERE coalesce(s.number, '') || ' ' || s.title || ' ' || t.description || ' ' || coalesce(r.reference, '')
    LIKE ? ORDER BY s.dated_at DESC LIMIT 50"""


def made_up(chance: random.Random) -> list[str]:
    """Words that few sheets hold."""
    return ["".join(chance.choices(SYLLABLES, k=chance.randint(2, 4))) for _ in range(8000)]


def fill(store: Store, count: int, rare: list[str]) -> None:
    """Write the sheets past the program, as handing each over would take hours."""
    chance = random.Random(SEED)
    running: dict[int, int] = {}
    with closing(sqlite3.connect(store.file, isolation_level=None)) as direct:
        direct.execute("BEGIN")
        for key in range(1, count + 1):
            at = BEGINNING + timedelta(minutes=80 * key * SHEETS // count)
            title = " ".join(chance.choices(COMMON, k=3) + chance.choices(rare, k=2))
            described = " ".join(chance.choices(COMMON, k=chance.randint(3, 9)) + chance.choices(rare, k=4))
            reference = f"book {chance.randint(1, 400)} page {chance.randint(1, 300)}" if chance.random() < 0.6 else ""
            moment = f"{at:%Y-%m-%d %H:%M:%S}.000000"
            named = (f"sheet-{key:016}", f"draft-{key:016}", moment, title, title_order(title))
            direct.execute(WRITTEN, named)
            number = ""
            if key % 50:
                running[at.year] = running.get(at.year, 0) + 1
                number = f"{at.year}-{running[at.year]:04}"
                offer, order = round(chance.lognormvariate(7, 1), 2), at.year * 10**10 + running[at.year]
                state = chance.choices(ENDINGS, [20, 3, 20, 50, 7])[0]
                ends = f"{at + timedelta(days=3):%Y-%m-%d %H:%M:%S}.000000"
                values = (at.year, running[at.year], number, order, state, str(offer), offer, ends, key)
                direct.execute(HANDED_OVER, values)
            words = folded("\n".join(part for part in (number, title, reference, described) if part))
            direct.execute("INSERT INTO sheet_texts VALUES (?, ?, ?)", (key, words, described))
            if reference:
                direct.execute("INSERT INTO seller_references VALUES (?, ?)", (key, reference))
            direct.execute("INSERT INTO sheet_words (rowid, words) VALUES (?, ?)", (key, indexed(words)))
        direct.execute("COMMIT")


def _ms(call: Callable[[], object]) -> float:
    start = time.perf_counter()
    call()
    return (time.perf_counter() - start) * 1000


def questions(chance: random.Random, rare: list[str]) -> dict[str, Callable[[], tuple[Wanted, str]]]:
    """Kinds of questions, each of which asks something else every time."""

    def states() -> tuple[State, ...]:
        return chance.choice([("handed_over",), ("lapsed",), ("agreed",), ("turned_down", "settled"), ("written",)])

    def order() -> finding.Order:
        return chance.choice(["date", "number", "title", "offer"])

    def since() -> datetime:
        return BEGINNING + timedelta(days=chance.randint(0, 5000))

    def part_of(word: str) -> str:
        start = chance.randint(0, len(word) - 2)
        return word[start : start + chance.randint(2, 6)]

    return {
        "no question": lambda: (Wanted(order=order(), descending=chance.random() < 0.5), ""),
        "a number": lambda: (Wanted(f"{chance.randint(2010, 2024)}-{chance.randint(1, 6000):04}"), ""),
        "a rare word": lambda: (Wanted(chance.choice(rare), order=order()), ""),
        "a part of a word": lambda: (Wanted(part_of(chance.choice(rare)), order=order()), ""),
        "a common word": lambda: (Wanted(chance.choice(COMMON), order=order()), ""),
        "one letter": lambda: (Wanted(chance.choice("aeiklmnoqrstu"), order=order()), ""),
        "two words": lambda: (Wanted(f"{chance.choice(COMMON)} {chance.choice(rare)[:4]}", order=order()), ""),
        "words, state, date": lambda: (Wanted(chance.choice(COMMON), states(), since(), None, order()), ""),
        "a state": lambda: (Wanted("", states(), None, None, order()), ""),
        "a state and a date": lambda: (Wanted("", states(), since(), since() + timedelta(days=90), order()), ""),
        "the last page": lambda: (Wanted(order=order()), LAST),
        "the last page of a state": lambda: (Wanted("", states(), None, None, order()), LAST),
        "the last page of words": lambda: (Wanted(chance.choice(COMMON), order=order()), LAST),
    }


def _row(name: str, ours: list[float], plain: list[float] | None = None) -> None:
    cells = [f"{name:28}", f"{np.median(ours):7.1f} ms", f"{np.quantile(ours, 0.95):7.1f} ms"]
    if plain:
        cells += [f"{np.median(plain):7.1f} ms", f"{np.median(plain) / np.median(ours):6.1f}"]
    print(" | ".join(cells))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sheets", type=int, default=SHEETS)
    count = parser.parse_args().sheets
    chance = random.Random(SEED)
    rare = made_up(chance)
    with tempfile.TemporaryDirectory() as name:
        store = open_store(Path(name))
        filled_s = _ms(partial(fill, store, count, rare)) / 1000
        store.empty_log()
        print(f"{count:,} sheets, {store.file.stat().st_size / 1e6:.0f} MB without their papers, in {filled_s:.0f} s")
        print(f"{'':28} | {'median':>10} | {'95 %':>10} | {'no index':>10} | ratio")
        with closing(sqlite3.connect(store.file)) as direct:
            for told, ask in questions(chance, rare).items():
                ours, plain = [], []
                for i in range(ROUNDS):
                    wanted, place = ask()
                    ours.append(_ms(partial(finding.found, store, wanted, NOW, PRICES, place)))
                    if i % 10 == 0 and wanted.text and " " not in wanted.text and not (wanted.states or place):
                        asked = partial(direct.execute, PLAIN, (f"%{wanted.text}%",))
                        plain.append(_ms(lambda: asked().fetchall()))  # noqa: B023
                _row(told, ours, plain)
        times: dict[str, list[float]] = {"a sheet written": [], "handed over, 60 kB papers": []}
        make = making(seller_pdf=b"x" * 60_000, house_pdf=b"y" * 60_000)
        for i in range(ROUNDS):
            new = partial(
                sheets.new, store, draft_id=f"d{i}", title="Walk-in", description="", reference="book 1", at=AT
            )
            times["a sheet written"].append(_ms(new))
            sheet = sheets.of_draft(store, f"d{i}")[0].id
            over = partial(revisions.hand_over, store, sheet, make, at=AT, zone=UTC, expected_revision=0)
            times["handed over, 60 kB papers"].append(_ms(over))
        for told, taken in times.items():
            _row(told, taken)
        store.close()


if __name__ == "__main__":
    main()
