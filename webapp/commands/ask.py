"""`lodeworth ask`: check an asking price."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from typing import Any

from webapp.ask_options import OptionRefused, add_options, with_options
from webapp.commands.house_terms import add_option, house_wording, with_house
from webapp.commands.output import REFUSED, Commands, complain, console, now, print_json, tell_problems


def add(commands: Commands) -> None:
    """Say how it is called."""
    ask = commands.add_parser(
        "ask",
        help="check an asking price",
        description="Check an asking price, from a claimed weight of gold or from a file; an option counts before what "
        "the file says.",
        epilog="For example: lodeworth ask --price 3900 --claim 1.2 --gold 4100",
    )
    ask.add_argument("file", nargs="?", metavar="FILE", help="as for quote; may be left out")
    add_options(ask)
    ask.add_argument("--json", action="store_true", help="print the whole quote as JSON")
    ask.add_argument("--sources", action="store_true", help="also where each assumption comes from")
    add_option(ask)
    ask.set_defaults(run=_ask)


_NEEDED = (
    (("seller.asks.price",), "--price: needed: what is asked, such as --price 3900"),
    (
        ("seller.claim.mass", "weighing", "rock", "gold.measured"),
        "--claim: needed: how much gold is said to be in it, such as --claim 1.2 (troy ounces; --unit g for grams), or "
        "a FILE with its weighings",
    ),
    (("spot.gold",), "--gold: needed: the price of fine gold now, such as --gold 4100 (per troy ounce; --per g)"),
)


def _ask(options: argparse.Namespace) -> int:
    from webapp.request_file import FileRefused, entries_of

    try:
        entries = entries_of(options.file) if options.file is not None else {}
        entries = {"quoted_at": now(), **with_options(entries, vars(options))}
    except (FileRefused, OptionRefused) as refused:
        complain(str(refused))
        return REFUSED
    settings = None
    if options.house:
        entries, settings = with_house(entries)
    if getattr(options, "spot.gold") is not None:
        entries["spot"]["seen_at"] = entries["quoted_at"]
    needed = [words for fields, words in _NEEDED if not any(_is_given(entries, field) for field in fields)]
    for words in needed:
        complain(words)

    import valuation

    try:
        request = valuation.read_request(entries)
        if needed:
            return REFUSED
        quote = valuation.quote(request)
    except (valuation.RequestRefused, valuation.ValuationError) as refused:
        tell_problems([problem for problem in refused.problems if not (needed and problem.code == "missing")], options)
        return REFUSED
    assert request.seller.asks is not None and quote.ask is not None
    if options.json:
        print_json(quote.model_dump(mode="json"))
    else:
        from webapp.terminal import print_ask

        print_ask(quote, quote.ask, console(), house_wording(settings, quote), sources=options.sources)
    return 0


def _is_given(entries: Mapping[str, Any], field: str) -> bool:
    place: Any = entries
    for name in field.split("."):
        place = place.get(name) if isinstance(place, dict) else None
    return place is not None
