"""`lodeworth sheet`: list, show, save, verify offer sheets; erase a seller's reference."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from webapp.commands.output import REFUSED, Commands, complain, console

if TYPE_CHECKING:
    from webapp.settings import Settings
    from webapp.store.database import Store
    from webapp.store.sheets import Sheet

CHANGED = 1
LARGEST_BYTES = 64 * 1024 * 1024
FILES = {
    "seller-pdf": ("seller_pdf", "offer-sheet.pdf"),
    "house-pdf": ("house_pdf", "working-papers.pdf"),
    "seller-json": ("seller", "offer-sheet.json"),
    "house-json": ("house", "house-copy.json"),
}


def add(commands: Commands) -> None:
    """Say how it is called."""
    sheet = commands.add_parser("sheet", help="offer sheets that were handed over", description="Offer sheets.")
    jobs = sheet.add_subparsers(title="what to do", required=True, metavar="JOB")
    listing = _job(jobs, "list", "list the offer sheets, newest first", _list)
    listing.add_argument("text", nargs="*", metavar="WORD", help="words in number, title, description or reference")
    listing.add_argument("--csv", action="store_true", help="print all of them as CSV")
    show = _job(jobs, "show", "show one sheet and its history", _show)
    show.add_argument("number", metavar="NUMBER", help="such as 2026-0007")
    show.add_argument("--json", choices=("seller", "house"), help="print the seller's or the house's copy instead")
    show.add_argument("--revision", type=int, metavar="N", help="of this revision; the newest if left out")
    save = _job(jobs, "save", "save a paper or a copy to a file", _save)
    save.add_argument("number", metavar="NUMBER", help="such as 2026-0007")
    save.add_argument("what", choices=tuple(FILES), help="which")
    save.add_argument("file", nargs="?", metavar="FILE", help="a file that is not there yet; may be left out")
    save.add_argument("--revision", type=int, metavar="N", help="of this revision; the newest if left out")
    verify = _job(jobs, "verify", "whether a copy is as it was handed over", _verify)
    verify.epilog = "Exit codes: 0 unchanged, as handed over here; 1 changed, or not to be confirmed; 2 no copy."
    verify.add_argument("file", metavar="FILE", help="a PDF or a JSON file")
    erase = _job(jobs, "erase", "erase a seller's reference everywhere, and keep the sheet", _erase)
    erase.add_argument("number", metavar="NUMBER", help="of a sheet that bears the reference")
    erase.add_argument("--yes", action="store_true", help="do it without being asked")


def _job(jobs: Commands, name: str, words: str, run: Callable[[argparse.Namespace], int]) -> argparse.ArgumentParser:
    job = jobs.add_parser(name, help=words, description=f"{words[:1].upper()}{words[1:]}.")
    job.add_argument("--data", type=Path, metavar="DIR", help="folder that keeps quotes and sheets")
    job.set_defaults(run=_told(run))
    return job


def _told(run: Callable[[argparse.Namespace], int]) -> Callable[[argparse.Namespace], int]:
    """A job whose expected troubles are sentences."""

    def guarded(options: argparse.Namespace) -> int:
        from webapp.store import StoreError

        try:
            return run(options)
        except StoreError as trouble:
            complain(str(trouble))
            return REFUSED

    return guarded


@contextmanager
def opened(options: argparse.Namespace) -> Iterator[tuple[Store, Settings]]:
    """The store and the settings of the data folder; no folder is made for looking."""
    from webapp.house_file import HouseFile
    from webapp.settings import Settings as Given
    from webapp.store import StoreError, open_store
    from webapp.store.opening import FILE

    settings = Given()
    folder = options.data or settings.data
    if not (folder / FILE).is_file():
        raise StoreError(f"Nothing is kept in {folder}. Name the folder with --data.")
    store = open_store(folder)
    try:
        yield store, settings.under(HouseFile(folder).read().house)
    finally:
        store.close()


def _list(options: argparse.Namespace) -> int:
    from webapp.noted_prices import newest_gold
    from webapp.sheet_listing import HEAD, cells, shown
    from webapp.sheet_table import csv_of
    from webapp.store import finding
    from webapp.store.finding import Wanted

    with opened(options) as (store, settings):
        wanted, now, gold = Wanted(text=" ".join(options.text)), settings.now(), newest_gold(store)
        if options.csv:
            sys.stdout.write(csv_of(HEAD, cells(store, wanted, now, gold, settings.zone)).removeprefix("\ufeff"))
            return 0
        found = finding.found(store, wanted, now, gold)
        if not found.sheets:
            print("No offer sheet." if not options.text else "No offer sheet is like that.")
        for one in found.sheets:
            row = shown(store, one, now, gold, settings)
            name = f"{one.number} revision {one.revision}" if one.number else "no number yet"
            console().print(f"{name:24} {row.words:19} {row.offer:>14}  {row.at:26} {one.title}", markup=False)
        if found.next:
            print(f"{found.count} in all, these are the newest {len(found.sheets)}; narrow it by words, or use --csv.")
    return 0


def _revision_of(sheet: Sheet, options: argparse.Namespace) -> int:
    return options.revision if options.revision is not None else sheet.revision


def _show(options: argparse.Namespace) -> int:
    from webapp.noted_prices import newest_gold
    from webapp.sheet_copy import as_file
    from webapp.sheet_listing import told
    from webapp.store import deeds, revisions, sheets

    with opened(options) as (store, settings):
        sheet = sheets.by_number(store, options.number)
        revision = _revision_of(sheet, options)
        if options.json:
            sys.stdout.write(as_file(revisions.content(store, sheet.id, revision, options.json)))
            return 0
        one = revisions.revision(store, sheet.id, revision)
        history = deeds.history(store, sheet.id)
        for line in told(sheet, one, history, settings.now(), newest_gold(store), settings):
            console().print(line, markup=False)
    return 0


def _save(options: argparse.Namespace) -> int:
    from webapp.sheet_copy import as_file
    from webapp.store import StoreError, revisions, sheets
    from webapp.store.frozen import Content

    kind, name = FILES[options.what]
    with opened(options) as (store, _):
        sheet = sheets.by_number(store, options.number)
        revision = _revision_of(sheet, options)
        kept: Content = kind  # type: ignore[assignment]
        content = revisions.content(store, sheet.id, revision, kept)
    if name.endswith(".json"):
        content = as_file(content).encode()
    file = Path(options.file or f"{sheet.number}-revision-{revision}-{name}")
    try:
        with file.open("xb") as out:
            out.write(content)
    except FileExistsError:
        raise StoreError(f"{file} is there already and was left as it is. Name another file.") from None
    except OSError as error:
        raise StoreError(f"{file} cannot be written ({error.strerror or error}).") from error
    print(f"Saved {file}.")
    return 0


def _verify(options: argparse.Namespace) -> int:
    from webapp.noted_prices import newest_gold
    from webapp.settings import Settings
    from webapp.sheet_found import looked_up
    from webapp.store import StoreError
    from webapp.store.opening import FILE

    try:
        with Path(options.file).open("rb") as file:
            sent = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise StoreError(f"{options.file} cannot be read ({getattr(error, 'strerror', None) or error}).") from error
    settings = Settings()
    if ((options.data or settings.data) / FILE).is_file():
        with opened(options) as (store, settings):
            answer = looked_up(store, sent, settings.now(), newest_gold(store), settings)
    else:
        answer = looked_up(None, sent, settings.now(), {}, settings)
    for sentence in answer.sentences:
        print(sentence)
    return {"unchanged": 0, "changed": CHANGED, "unknown": CHANGED, "not_a_copy": REFUSED}[answer.verdict]


def _erase(options: argparse.Namespace) -> int:
    from webapp.store import erasing, sheets

    with opened(options) as (store, settings):
        sheet = sheets.by_number(store, options.number)
        if not sheet.reference:
            print(f"No reference stands on sheet {sheet.number}.")
            return 0
        words = f"Erase {json.dumps(sheet.reference, ensure_ascii=False)} from every sheet and quote for good? [y/N] "
        if not options.yes and not _is_sure(words):
            complain("Nothing was erased.")
            return REFUSED
        erased = erasing.erase_reference(store, sheet.reference, settings.now())
    told = f"{_count(len(erased.sheets), 'sheet')} and {_count(erased.drafts, 'quote')}"
    print(f"Erased from {told}; the papers are as they were.")
    if erased.left_in:
        print(f"The same words still stand elsewhere in: {', '.join(erased.left_in)}. See to these yourself.")
    if not erased.is_wiped:
        print("Another program was reading, so traces may be left in the database's log: close it and erase again.")
    print("Backups made before still hold it.")
    return 0


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def _is_sure(words: str) -> bool:
    try:
        return input(words).strip().lower() in ("y", "yes")
    except EOFError:
        return False
