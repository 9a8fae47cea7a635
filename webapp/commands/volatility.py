"""`lodeworth volatility`: how much a metal price moves."""

from __future__ import annotations

import argparse

from webapp.commands.output import REFUSED, Commands, complain, console, print_json, wording


def add(commands: Commands) -> None:
    """Say how it is called."""
    prices = commands.add_parser(
        "volatility",
        help="how much a metal price moves, from its history",
        description="Volatility of a price history, for price risk: a date (year-month-day) and a price on each line, "
        "parted by comma, semicolon or tab; a header may name them.",
    )
    prices.add_argument("file", metavar="FILE", help="CSV file, or - for standard input")
    prices.add_argument("--json", action="store_true", help="print it as JSON")
    prices.set_defaults(run=_volatility)


def _volatility(options: argparse.Namespace) -> int:
    from webapp.price_file import HistoryRefused, history_of
    from webapp.text_file import FileRefused

    try:
        rows = history_of(options.file)
    except FileRefused as refused:
        complain(str(refused))
        return REFUSED
    except HistoryRefused as refused:
        for problem in refused.problems:
            complain(problem)
        return REFUSED

    from valuation import ValuationError
    from valuation.history import volatility

    try:
        found = volatility([row.day for row in rows], [row.price for row in rows])
    except ValuationError as refused:
        complain(f"{'standard input' if options.file == '-' else options.file}: {refused.problem.message}")
        return REFUSED
    from webapp.terminal import history, print_history

    if options.json:
        print_json(history.as_json(found, rows))
    else:
        print_history(found, rows, console(), wording())
    return 0
