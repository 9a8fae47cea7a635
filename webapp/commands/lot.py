"""`lodeworth lot`: many pieces valued together."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from webapp.commands.house_terms import add_option, with_house
from webapp.commands.output import REFUSED, Commands, complain, console, now, print_json

if TYPE_CHECKING:
    from valuation import LotQuote, LotRequest
    from webapp.lot_file import LotText
    from webapp.wording import Wording


def add(commands: Commands) -> None:
    """Say how it is called."""
    lot = commands.add_parser(
        "lot",
        help="value many pieces together",
        description="Value many pieces that are bought together: TOML or JSON with [[pieces]], or a table of pieces "
        "(CSV) under the terms of --terms and the options.",
        epilog="For example: lodeworth lot pieces.csv --terms terms.toml --gold 4100",
    )
    lot.add_argument("file", nargs="?", metavar="FILE", help="TOML, JSON or CSV file, or - for standard input")
    lot.add_argument("--terms", metavar="FILE", help="TOML with what all pieces share: weighing, rock, spot, refiner …")
    lot.add_argument("--gold", metavar="PRICE", help="price of fine gold per troy ounce, in place of the file's")
    lot.add_argument("--rock", metavar="KIND", help="rock that the pieces share, such as vein-quartz")
    lot.add_argument("--readability", metavar="G", help="smallest step of the balance, in grams")
    lot.add_argument("--json", action="store_true", help="print the lot's quote as JSON")
    lot.add_argument("--csv", metavar="OUT", help="write a table of all pieces to this file, or - to print it")
    lot.add_argument("--template", action="store_true", help="print an empty table of pieces to fill in (CSV)")
    lot.add_argument("--demo", action="store_true", help="print a demo lot's TOML, to start a file of your own")
    add_option(lot)
    lot.set_defaults(run=_lot)


def _lot(options: argparse.Namespace) -> int:
    if options.template or options.demo:
        from scenarios import demo_lot
        from webapp.lot_columns import template

        print(template() if options.template else demo_lot(), end="")
        return 0
    if options.file is None:
        complain("FILE: needed: a table of pieces or a TOML file; --template prints a table to fill in")
        return REFUSED
    from webapp.lot_file import FileRefused, LotRefused

    try:
        read = _read(options)
        quote = _quoted(read, read.request(), quiet=not sys.stderr.isatty())
    except FileRefused as refused:
        complain(str(refused))
        return REFUSED
    except LotRefused as refused:
        for problem in refused.problems:
            complain(problem.words)
        return REFUSED
    return _told(quote, options)


def _read(options: argparse.Namespace) -> LotText:
    from webapp.lot_file import LARGEST_BYTES, lot_text
    from webapp.request_file import entries_of
    from webapp.text_file import text_of

    shared: dict[str, Any] = {"quoted_at": now(), **(entries_of(options.terms) if options.terms else {})}
    if options.house:
        shared, _ = with_house(shared)
    name = "standard input" if options.file == "-" else options.file
    read = lot_text(text_of(options.file, LARGEST_BYTES, "a lot"), name, shared)
    return replace(read, entries=_with_options(read.entries, options))


def _with_options(entries: Mapping[str, Any], options: argparse.Namespace) -> dict[str, Any]:
    """The entries, with what the options say in place of the file."""
    found = dict(entries)
    if options.gold is not None:
        found["spot"] = {**_table(found, "spot"), "gold": options.gold, "unit": "ozt", "seen_at": now()}
    if options.rock is not None:
        found["rock"] = {"kind": options.rock}
    if options.readability is not None:
        found["weighing"] = {**_table(found, "weighing"), "readability_g": options.readability}
    return found


def _table(entries: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    table = entries.get(name)
    return table if isinstance(table, Mapping) else {}


def _quoted(read: LotText, request: LotRequest, *, quiet: bool) -> LotQuote:
    """The lot's quote, with a bar of progress on standard error where somebody looks at it."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from valuation import RequestRefused, lot_quote

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    try:
        with Progress(*columns, console=Console(stderr=True), transient=True, disable=quiet) as bar:
            task = bar.add_task("Pieces weighed and valued", total=None)

            def progress(done: int, total: int) -> None:
                bar.update(task, completed=done, total=total)

            return lot_quote(request, progress)
    except RequestRefused as refused:
        raise read.refusal(refused.problems) from None


def _told(quote: LotQuote, options: argparse.Namespace) -> int:
    if options.csv:
        from webapp import lot_told
        from webapp.sheet_table import csv_of

        text = csv_of(lot_told.HEAD, lot_told.table(quote))
        if options.csv == "-":
            sys.stdout.write(text.removeprefix("\ufeff").replace("\r\n", "\n"))
            return 0
        try:
            Path(options.csv).write_bytes(text.encode("utf-8"))
        except OSError as trouble:
            complain(f"--csv ({options.csv}): cannot be written ({trouble.strerror or trouble}).")
            return REFUSED
    if options.json:
        print_json(quote.model_dump(mode="json"))
        return 0
    from webapp.terminal.lot import print_lot

    print_lot(quote, console(), _wording(quote, house=options.house))
    return 0


def _wording(quote: LotQuote, *, house: bool) -> Wording:
    from webapp.wording import Wording, locale_of_environment

    locale = with_house({})[1].written_in if house else locale_of_environment()
    return Wording(locale, quote.currency)
