"""Proof that a kill in the middle of handing over loses no sheet, halves none, and uses no number twice or in vain.

Run from the checkout: ``python -m tests.proofs.handing_over [--kills N] [--record]``. Prints its figures, writes them
into handing_over.md with ``--record``, and exits with 1 if anything does not hold.
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
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from webapp.store import StoreError, deeds, faults, open_store, photographs, revisions, sheets
from webapp.store.database import Store
from webapp.store.opening import FILE
from webapp.store.revisions import Frozen, Numbered

ROOT = Path(__file__).parents[2]
PAGE = Path(__file__).with_suffix(".md")
MARK = "<!-- written by handing_over.py --record -->\n"
SEED = 20260503
AT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
UNTIL = datetime(2027, 1, 5, 9, 30, tzinfo=UTC)
ZONE = ZoneInfo("America/Denver")
SHOPS = 3
PAPER = 60_000
LOADED, READY = b"loaded\n", b"ready\n"


def paper(kind: str, word: str, number: str, revision: int) -> bytes:
    """60 kB that follow from what it is the paper of."""
    head = f"{kind} {word} {number} {revision}\n".encode()
    return head + random.Random(head).randbytes(PAPER - len(head))


def frozen(word: str, numbered: Numbered, photograph: str) -> Frozen:
    """What a handing over freezes, all of it following from `word`, number and revision."""
    number, revision = numbered.number, numbered.revision
    seller = json.dumps({"word": word, "number": number, "revision": revision})
    return Frozen(
        title=word,
        description=word * 20,
        request_json=json.dumps({"word": word}),
        result_json=json.dumps({"result": word * 500}),
        seller_json=seller,
        house_json=json.dumps({"house": word, "number": number}),
        seller_digest=hashlib.sha256(seller.encode()).hexdigest(),
        seller_pdf=paper("seller", word, number, revision),
        house_pdf=paper("house", word, number, revision),
        method_version="1",
        seed=1,
        currency="USD",
        offer=f"{100 + revision}.00",
        reason="",
        gold_price="4100.00",
        silver_price=None,
        spot_unit="ozt",
        price_seen_at=None,
        price_source="typed",
        valid_until=UNTIL,
        time_zone="America/Denver",
        photographs=(photograph,),
    )


# ---- the process that is killed


def write(folder: Path, run: str, wrong: bool) -> None:
    """Hand over for ever, and tell on standard output of each sheet that has been; a wrong program tells early."""
    os.write(1, LOADED)
    store = open_store(folder)
    os.write(1, READY)
    for shop in range(SHOPS):
        threading.Thread(target=_shop, args=(store, f"{run}-{shop}", wrong)).start()


def _shop(store: Store, shop: str, wrong: bool) -> None:
    for i in itertools.count():
        word = f"{shop}-{i}"
        name = sheets.new(store, draft_id=word, title=word, description="", reference=f"book {word}", at=AT)
        photograph = photographs.add(store, name, f"\xff\xd8 {word}".encode() * 500, 64, 48, AT).digest
        for revision in (1, 2) if i % 3 == 0 else (1,):

            def make(numbered: Numbered) -> Frozen:
                if wrong:
                    _tell(word, name, numbered.number, numbered.revision)  # noqa: B023
                return frozen(word, numbered, photograph)  # noqa: B023

            done = revisions.hand_over(store, name, make, at=AT, zone=ZONE, expected_revision=revision - 1)
            if not wrong:
                _tell(word, name, done.number, done.revision)
        if i % 4 == 0:
            deeds.record(store, name, done.revision, "agreed", AT, word, gold_per_g={})
            if not wrong:
                _tell(word, name, "agreed", done.revision)


def _tell(*what: object) -> None:
    os.write(1, f"{json.dumps(what)}\n".encode())  # one write: lines of threads do not mix


# ---- the one that kills and looks


@dataclass
class Ledger:
    """What was acknowledged in one folder, over all kills, and what was found."""

    folder: Path
    acknowledged: dict[tuple[str, int], tuple[str, str]] = field(default_factory=dict)
    agreed: set[str] = field(default_factory=set)
    counts: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    looked_for: set[tuple[str, int]] = field(default_factory=set)
    whole: set[tuple[str, int]] = field(default_factory=set)

    def kill_a_writer(self, run: str, wait_s: float, wrong: bool = False) -> None:
        """Start a writer and kill it a while after it is ready."""
        module = [sys.executable, "-m", "tests.proofs.handing_over", "--write", str(self.folder), "--run", run]
        with subprocess.Popen([*module, *(["--wrong"] if wrong else [])], stdout=subprocess.PIPE, cwd=ROOT) as writer:
            assert writer.stdout is not None
            lines: list[bytes] = []
            ready = threading.Event()
            # Read as it comes: a full pipe would hold the writer up.
            reader = threading.Thread(target=_read, args=(writer.stdout, lines, ready))
            reader.start()
            if not ready.wait(60):
                self.faults.append(f"{run}: the writer did not start")
            time.sleep(wait_s)
            writer.kill()
            reader.join()
        self.counts["kills"] += 1
        for line in lines:
            if line not in (LOADED, READY) and line.endswith(b"\n"):
                word, name, number, revision = json.loads(line)
                if number == "agreed":
                    self.agreed.add(name)
                else:
                    self.acknowledged[name, revision] = word, number
                self.counts["acknowledged"] += 1

    def look(self, run: str, wholly: bool = True) -> None:
        """Open what is left as the program does, and compare it with what was acknowledged."""
        try:
            store = open_store(self.folder)
        except StoreError as refused:
            self.faults.append(f"{run}: what was left does not open: {refused}")
            return
        try:
            for name, revision in self.acknowledged.keys() - self.looked_for:
                self._look_for(store, run, name, revision)
            self._look_at_all(store, run, wholly)
        finally:
            store.close()
        with closing(sqlite3.connect(self.folder / FILE)) as direct:
            found = (
                direct.execute("PRAGMA integrity_check").fetchall()
                + direct.execute("PRAGMA foreign_key_check").fetchall()
            )
        if found != [("ok",)]:
            self.faults.append(f"{run}: the database is not sound: {found}")

    def _look_for(self, store: Store, run: str, name: str, revision: int) -> None:
        word, number = self.acknowledged[name, revision]
        self.looked_for.add((name, revision))
        try:
            found = revisions.revision(store, name, revision)
        except StoreError:
            self.counts["lost"] += 1
            self.faults.append(f"{run}: {number}, revision {revision} ({word}), was acknowledged and is lost")
            return
        if (found.number, found.title) != (number, word):
            self.faults.append(f"{run}: {number}, revision {revision}, is another's")

    def _look_at_all(self, store: Store, run: str, wholly: bool) -> None:
        with store.reading() as connection:
            rows = connection.exec_driver_sql("SELECT id, number, revision, state FROM sheets ORDER BY running").all()
        numbered = [row for row in rows if row.number is not None]
        if [row.number for row in numbered] != [f"2026-{i:04}" for i in range(1, len(numbered) + 1)]:
            self.faults.append(f"{run}: a number is skipped or comes twice")
        for row in rows:
            if (row.number is None) != (row.revision == 0) or (row.number is None) != (row.state == "written"):
                self.faults.append(f"{run}: {row.id} is half-written")
            if row.id in self.agreed and row.state != "agreed":
                self.faults.append(f"{run}: {row.number} was agreed, and it is lost")
        for row in numbered:
            for revision in range(1, row.revision + 1):
                if wholly or (row.id, revision) not in self.whole:  # all of them once more at the end
                    self._look_whether_whole(store, run, row.id, revision)
        if wholly:
            self.faults += [f"{run}: {fault}" for fault in faults.chain_faults(store)]
        self.counts["sheets"] = len(numbered)
        self.counts["written, not handed over"] = len(rows) - len(numbered)

    def _look_whether_whole(self, store: Store, run: str, name: str, revision: int) -> None:
        found = revisions.revision(store, name, revision)
        numbered = Numbered(found.number, revision, revision - 1 or None, AT)
        due = frozen(found.title, numbered, found.photographs[0])
        kept = {
            kind: revisions.content(store, name, revision, kind) for kind in ("request", "result", "seller", "house")
        }
        papers = revisions.papers(store, name, revision)
        if papers != (due.seller_pdf, due.house_pdf) or any(
            copy != getattr(due, f"{kind}_json").encode() for kind, copy in kept.items()
        ):
            self.faults.append(f"{run}: {found.number}, revision {revision}, is not what was handed over")
        if photographs.jpeg(store, found.photographs[0]) != f"\xff\xd8 {found.title}".encode() * 500:
            self.faults.append(f"{run}: the photograph of {found.number} is not what was added")
        self.counts["comparisons of a revision"] += 1
        if (name, revision) not in self.acknowledged and (name, revision) not in self.whole:
            self.counts["kept though not acknowledged"] += 1
        self.whole.add((name, revision))


def _read(out: object, lines: list[bytes], ready: threading.Event) -> None:
    for line in out:  # type: ignore[attr-defined]
        lines.append(line)
        if line == READY:
            ready.set()


def killed_often(folder: Path, kills: int, seed: int, wrong: bool = False) -> Ledger:
    """Ledger of one folder after so many kills at random moments, each looked at."""
    chance = random.Random(seed)
    ledger = Ledger(folder)
    for i in range(kills):
        ledger.kill_a_writer(f"run{i:04}", chance.uniform(0, 0.5), wrong)
        ledger.look(f"run{i:04}", wholly=i == kills - 1)
    return ledger


def main() -> int:
    """Run the proof; 0 if all holds."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--record", action="store_true", help="write the figures into handing_over.md")
    parser.add_argument("--write", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--run", help=argparse.SUPPRESS)
    parser.add_argument("--wrong", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.write:
        write(chosen.write, chosen.run, chosen.wrong)
        return 0
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        right = killed_often(top / "right", chosen.kills, SEED)
        size_mb = (top / "right" / FILE).stat().st_size / 1e6
        wrong = killed_often(top / "wrong", 10, SEED, wrong=True)
    lines = _report(right, wrong, size_mb)
    found = right.faults + ([] if wrong.faults else ["a program that tells early passed"])
    lines += ["", "All held." if not found else "DID NOT HOLD:", *(f"- {fault}" for fault in found[:50])]
    print(*lines, sep="\n")
    if chosen.record:
        head = PAGE.read_text(encoding="utf-8").partition(MARK)[0]
        PAGE.write_text(head + MARK + "\n" + "\n".join(lines) + "\n", encoding="utf-8")
    return 1 if found else 0


def _report(right: Ledger, wrong: Ledger, size_mb: float) -> list[str]:
    rows = ("kills", "acknowledged", "lost", "sheets", "written, not handed over", "comparisons of a revision")
    return [
        "| | ours | tells early (must lose) |",
        "|---|---|---|",
        *(f"| {row} | {right.counts[row]:,} | {wrong.counts[row]:,} |" for row in rows),
        f"| kept though not acknowledged | {right.counts['kept though not acknowledged']:,} | |",
        f"| faults | {len(right.faults)} | {len(wrong.faults)} |",
        "",
        f"The database of the first column came to {size_mb:.0f} MB.",
    ]


if __name__ == "__main__":
    sys.exit(main())
