"""Proof that nothing typed and acknowledged is lost when the program is killed.

Run from the checkout: ``python -m tests.proofs.kept_as_typed [--kills N] [--record]``. Prints its figures, writes them
into kept_as_typed.md with ``--record``, and exits with 1 if anything does not hold.
"""

import argparse
import hashlib
import itertools
import json
import os
import random
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from webapp.store import StoreError, drafts, open_store, states
from webapp.store.database import Store
from webapp.store.opening import FILE

ROOT = Path(__file__).parents[2]
PAGE = Path(__file__).with_suffix(".md")
MARK = "<!-- written by kept_as_typed.py --record -->\n"
SEED = 20260502
AT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
TABS = 3
SHARED = "typed-into-by-every-tab"
LETTERS = "0123456789.,abc \n\t'\"\\éß金مرحبا👩🏽‍🔬\u202e"
LOADED, READY = b"loaded\n", b"ready\n"


def typed(word: str) -> list[tuple[str, str]]:
    """What a tab types, all of it following from `word`, which it holds: a form of 10 B to 60 kB."""
    source = random.Random(word)
    length = int(10 ** source.uniform(0, 4.3))
    return [("word", word), *(("reading", source.choice("123")) for _ in range(3)), ("note", LETTERS[:3] * length)]


def digest(entries: drafts.Entries | list[tuple[str, str]]) -> str:
    """Short name of a form."""
    return hashlib.sha256(json.dumps([list(pair) for pair in entries]).encode()).hexdigest()[:16]


# ---- the process that is killed


def write(folder: Path, run: str, early: bool) -> None:
    """Type for ever, and tell on standard output of each `keep` that has returned; a wrong program tells early."""
    os.write(1, LOADED)
    store = open_store(folder)
    os.write(1, READY)
    tabs = [threading.Thread(target=_tab, args=(store, f"{run}-{tab}", early)) for tab in range(TABS)]
    for tab in tabs:
        tab.start()


def _tab(store: Store, tab: str, early: bool) -> None:
    own = f"typed-into-by-tab-{tab}"
    seen = {own: 0, SHARED: 0}
    for i in itertools.count():
        name = (own, SHARED, f"new-{tab}-{i:06}".ljust(22, "-"))[i % 3]
        word = f"{tab}-{i}"
        entries = typed(word)
        if early:
            _tell(name, 0, word)
        kept = drafts.keep(
            store, name, entries, word, AT, seen_revision=seen.get(name, 0), writer=f"tab-{tab:->20}", kind="quote"
        )
        if name in seen:
            seen[name] = kept.revision
        if not early:
            _tell(name, kept.revision, word)


def _tell(name: str, revision: int, word: str) -> None:
    os.write(1, f"{json.dumps([name, revision, word])}\n".encode())  # one write: lines of threads do not mix


# ---- the one that kills and looks


@dataclass
class Ledger:
    """What was acknowledged in one folder, over all kills, and what was found."""

    folder: Path
    acknowledged: dict[str, dict[str, int]] = field(default_factory=dict)  # draft -> word -> revision
    counts: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    looked_for: set[str] = field(default_factory=set)
    lost: set[str] = field(default_factory=set)

    def kill_a_writer(self, run: str, wait_s: float, *, while_opening: bool = False, early: bool = False) -> None:
        """Start a writer and kill it a while after it is ready, or after it began to open the folder."""
        module = [sys.executable, "-m", "tests.proofs.kept_as_typed", "--write", str(self.folder), "--run", run]
        with subprocess.Popen([*module, *(["--early"] if early else [])], stdout=subprocess.PIPE, cwd=ROOT) as writer:
            assert writer.stdout is not None
            lines: list[bytes] = []
            told = threading.Event()
            mark = LOADED if while_opening else READY
            # Read as it comes: a full pipe would hold the writer up.
            reader = threading.Thread(target=_read, args=(writer.stdout, lines, mark, told))
            reader.start()
            if not told.wait(60):
                self.faults.append(f"{run}: the writer did not start")
            time.sleep(wait_s)
            writer.kill()
            reader.join()
        self.counts["kills"] += 1
        self.counts["killed before it was ready"] += READY not in lines
        for line in lines:
            if line not in (LOADED, READY) and line.endswith(b"\n"):
                name, revision, word = json.loads(line)
                self.acknowledged.setdefault(name, {})[word] = revision
                self.counts["acknowledged"] += 1

    def look(self, run: str) -> None:
        """Open what is left as the program does, and compare it with what was acknowledged."""
        try:
            store = open_store(self.folder)
        except StoreError as refused:
            self.faults.append(f"{run}: what was left does not open: {refused}")
            return
        try:
            for name, words in self.acknowledged.items():
                self._look_at(store, run, name, words)
            self.counts["drafts"] = drafts.open_drafts(store).count
            self.counts["looked for"], self.counts["lost"] = len(self.looked_for), len(self.lost)
        finally:
            store.close()
        with closing(sqlite3.connect(self.folder / FILE)) as direct:
            found = (
                direct.execute("PRAGMA integrity_check").fetchall()
                + direct.execute("PRAGMA foreign_key_check").fetchall()
            )
        if found != [("ok",)]:
            self.faults.append(f"{run}: the database is not sound: {found}")

    def _look_at(self, store: Store, run: str, name: str, words: dict[str, int]) -> None:
        try:
            now = drafts.get(store, name)
        except drafts.UnknownDraft:
            if words.keys() - self.lost:
                self.faults.append(f"{run}: {name} is gone with {len(words)} acknowledged states")
                self.lost.update(words)
            return
        held = {now.revision: now.entries}
        for listed in drafts.earlier(store, name):
            held[listed.revision] = drafts.state(store, name, listed.revision).entries
        for revision, entries in held.items():
            if list(entries) != typed(entries[0][1]):
                self.faults.append(f"{run}: {name} revision {revision} is not what was typed")
        newest = range(max(1, now.revision - states.MOST), now.revision + 1)
        if not held.keys() >= set(newest):
            self.faults.append(f"{run}: {name} has gaps among its newest revisions")
        found = {entries[0][1]: revision for revision, entries in held.items()}
        for word, revision in words.items():
            due = revision >= newest.start or name.startswith("new-")  # older ones have made room
            if due and (word not in found or revision not in (0, found[word])) and word not in self.lost:
                self.lost.add(word)
                self.faults.append(f"{run}: {name} revision {revision} ({word}) was acknowledged and is lost")
        self.looked_for.update(word for word, revision in words.items() if revision >= newest.start)
        self.counts["kept though not acknowledged"] += sum(
            1 for word in found if word.startswith(f"{run}-") and word not in words
        )


def _read(out: Iterable[bytes], lines: list[bytes], mark: bytes, told: threading.Event) -> None:
    for line in out:
        lines.append(line)
        if line == mark:
            told.set()


def killed_often(folder: Path, kills: int, seed: int, *, early: bool = False) -> Ledger:
    """Ledger of one folder after so many kills at random moments, each looked at."""
    chance = random.Random(seed)
    ledger = Ledger(folder)
    for i in range(kills):
        ledger.kill_a_writer(f"run{i:04}", chance.uniform(0, 0.5), early=early)
        ledger.look(f"run{i:04}")
    return ledger


def killed_while_opening(top: Path, kills: int, seed: int) -> Ledger:
    """Counts of kills of writers that had just begun to make a new folder, each tried again in the same folder."""
    chance = random.Random(seed)
    total = Ledger(top)
    for i in range(kills):
        one = Ledger(top / f"new{i:04}")
        one.kill_a_writer(f"open{i:04}", chance.uniform(0, 0.4), while_opening=True)
        unready = one.counts["killed before it was ready"] == 1
        total.counts["files half made"] += unready and (one.folder / FILE).exists()
        one.look(f"open{i:04}")
        total.faults += one.faults
        total.counts += one.counts
    return total


def main() -> int:
    """Run the proof; 0 if all holds."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--kills", type=int, default=200, help="kills of writers at work")
    parser.add_argument("--opening", type=int, default=40, help="kills while a new folder is made")
    parser.add_argument("--record", action="store_true", help="write the figures into kept_as_typed.md")
    parser.add_argument("--write", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--run", help=argparse.SUPPRESS)
    parser.add_argument("--early", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.write:
        write(chosen.write, chosen.run, chosen.early)
        return 0
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        at_work = killed_often(top / "at-work", chosen.kills, SEED)
        size_mb = (top / "at-work" / FILE).stat().st_size / 1e6
        opening = killed_while_opening(top, chosen.opening, SEED)
        wrong = killed_often(top / "wrong", 10, SEED, early=True)
    lines = _report(at_work, opening, wrong, size_mb)
    faults = at_work.faults + opening.faults + ([] if wrong.faults else ["a program that tells early passed"])
    lines += ["", "All held." if not faults else "DID NOT HOLD:", *(f"- {fault}" for fault in faults[:50])]
    print(*lines, sep="\n")
    if chosen.record:
        head = PAGE.read_text(encoding="utf-8").partition(MARK)[0]
        PAGE.write_text(head + MARK + "\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return 1 if faults else 0


def _report(at_work: Ledger, opening: Ledger, wrong: Ledger, size_mb: float) -> list[str]:
    rows = (
        "kills",
        "killed before it was ready",
        "acknowledged",
        "looked for",
        "lost",
        "kept though not acknowledged",
        "drafts",
    )
    return [
        "| | at work | while opening | tells early (must lose) |",
        "|---|---|---|---|",
        *(f"| {row} | {at_work.counts[row]:,} | {opening.counts[row]:,} | {wrong.counts[row]:,} |" for row in rows),
        f"| faults | {len(at_work.faults)} | {len(opening.faults)} | {len(wrong.faults)} |",
        "",
        f"Of the kills while opening, {opening.counts['files half made']} came after the file was made and before the "
        f"writer was ready. The database of the first column came to {size_mb:.0f} MB.",
    ]


if __name__ == "__main__":
    sys.exit(main())
