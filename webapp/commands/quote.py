"""`lodeworth quote`: quote one specimen."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from webapp.commands.house_terms import add_option, house_wording, with_house
from webapp.commands.output import REFUSED, Commands, complain, console, now, print_json, tell_problems

if TYPE_CHECKING:
    from valuation import HeadlineWorking, Quote
    from webapp.wording import Wording


def add(commands: Commands) -> None:
    """Say how it is called."""
    quote = commands.add_parser("quote", help="quote one specimen", description="Quote one specimen.")
    quote.add_argument("file", metavar="FILE", help="TOML or JSON file, - for standard input, or a scenario's name")
    quote.add_argument("--json", action="store_true", help="print the quote as JSON")
    quote.add_argument(
        "--seed", type=_seed, metavar="N", help="seed of the draws; the same seed gives the same figures"
    )
    quote.add_argument("--error", action="store_true", help="also the numerical error of the figures (some seconds)")
    quote.add_argument("--price-risk", action="store_true", help="also what the metal price can do until settlement")
    quote.add_argument("--sources", action="store_true", help="also where each assumption comes from")
    quote.add_argument("--working", action="store_true", help="also the arithmetic of every headline figure")
    add_option(quote)
    quote.set_defaults(run=_quote)


def _seed(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) < 2**63):
        raise argparse.ArgumentTypeError(f"“{text}” is not a seed: give a whole number from 0 up")
    return int(text)


def _quote(options: argparse.Namespace) -> int:
    from webapp.request_file import FileRefused, entries_of

    try:
        entries = entries_of(options.file)
    except FileRefused as refused:
        complain(str(refused))
        return REFUSED
    settings = None
    if options.house:
        entries, settings = with_house(entries)

    import valuation

    try:
        request = valuation.read_request({"quoted_at": now(), **entries})
        seed = {} if options.seed is None else {"seed": options.seed}
        quote = valuation.quote(request, with_price_risk=options.price_risk, **seed)
        error = valuation.numerical_error(request) if options.error else None
        working = valuation.working(request, **seed) if options.working else ()
    except (valuation.RequestRefused, valuation.ValuationError) as refused:
        tell_problems(refused.problems)
        return REFUSED
    if options.json:
        told = quote.model_dump(mode="json")
        if error is not None:
            told["numerical_error"] = error
        if working:
            told["working"] = [one.model_dump(mode="json") for one in working]
        print_json(told)
    else:
        _print_page(quote, error, house_wording(settings, quote), sources=options.sources, working=working)
    return 0


def _print_page(
    quote: Quote, error: dict[str, float] | None, w: Wording, *, sources: bool, working: Sequence[HeadlineWorking]
) -> None:
    from webapp.terminal import print_quote

    print_quote(quote, console(), w, sources=sources, error=error, working=working)
