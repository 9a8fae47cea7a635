"""`lodeworth evidence`: whether one more test would pay."""

from __future__ import annotations

import argparse

from webapp.commands.house_terms import add_option, with_house
from webapp.commands.output import REFUSED, Commands, complain, console, now, print_json, tell_problems


def add(commands: Commands) -> None:
    """Say how it is called."""
    tests = commands.add_parser(
        "evidence",
        help="whether one more test would pay",
        description="What one more test of a specimen would tell, and whether it is worth its cost: a bare chip of the "
        "rock, the gold's fineness, weighing again, the water's temperature, a finer balance. A table [[tests]] in the "
        "file says what each costs you.",
    )
    tests.add_argument("file", metavar="FILE", help="as for quote")
    tests.add_argument("--json", action="store_true", help="print it as JSON")
    tests.add_argument("--sources", action="store_true", help="also where each assumption comes from")
    add_option(tests)
    tests.set_defaults(run=_evidence)


def _evidence(options: argparse.Namespace) -> int:
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
        found = valuation.evidence(valuation.read_request({"quoted_at": now(), **entries}))
    except (valuation.RequestRefused, valuation.ValuationError) as refused:
        tell_problems(refused.problems)
        return REFUSED
    if options.json:
        print_json(found.model_dump(mode="json"))
        return 0
    from webapp.terminal import print_evidence
    from webapp.wording import Wording, locale_of_environment

    locale = locale_of_environment() if settings is None else settings.written_in
    print_evidence(found, console(), Wording(locale, found.currency), sources=options.sources)
    return 0
