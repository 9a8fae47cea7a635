"""`lodeworth record`: how good the estimates were, by what came of the pieces."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from webapp.commands.output import REFUSED, Commands, complain, console, print_json
from webapp.commands.sheet import opened

if TYPE_CHECKING:
    from webapp.record_sheets import HouseRecord
    from webapp.settings import Settings


def add(commands: Commands) -> None:
    """Say how it is called."""
    command = commands.add_parser(
        "record",
        help="how good the estimates were",
        description="How often the ranges held, which way they were off, premium and profit against what was foretold, "
        "and what settled gold says of the density of the house's rock. Nothing is changed.",
    )
    command.add_argument("--json", action="store_true", help="print it as JSON, piece by piece")
    command.add_argument("--data", type=Path, metavar="DIR", help="folder that keeps quotes and sheets")
    command.set_defaults(run=_record)


def _record(options: argparse.Namespace) -> int:
    from webapp.noted_prices import newest_gold
    from webapp.record_sheets import house_record
    from webapp.store import StoreError

    try:
        with opened(options) as (store, settings):
            found = house_record(store, settings.now(), newest_gold(store))
    except StoreError as trouble:
        complain(str(trouble))
        return REFUSED
    if options.json:
        counts = {"handed_over": found.handed_over, "agreed": found.agreed, "settled": found.settled}
        print_json({**counts, **found.record.model_dump(mode="json")})
        return 0
    for line in _lines(found, settings):
        console().print(line, markup=False, highlight=False, soft_wrap=True)
    return 0


def _lines(found: HouseRecord, settings: Settings) -> Iterator[str]:
    from webapp import record_words as say
    from webapp.wording import Wording

    told, w = found.record, Wording(settings.written_in, settings.currency)
    if not found.settled:
        yield "No sheet has been settled yet."
        yield say.chosen_from(found)
        return
    yield say.chosen_from(found)
    if told.held is not None:
        yield ""
        yield f"95 % range of gold held {say.share(told.held, w)}. {say.judged(told.held)} {say.missed(told)}".rstrip()
    for row in told.bias:
        ends = say.ratio_range(row.low, row.high, w)
        middle = f"{say.ratio(row.ratio, w)}{f' ({ends})' if ends else ''}"
        yield f"  {row.rock}, {row.n} settled: recovered over foretold {middle}, {say.bias(row)}"
    for one in told.corrections:
        yield ""
        yield f"Density of {one.rock}: {say.verdict(one, w)}"
        for name, words in say.arithmetic(one, w) if one.verdict == "suggested" else ():
            yield f"  {name}: {words}"
    if told.premium is not None:
        yield ""
        premium = told.premium
        yield (
            f"Premium inside 10 to 90 % {say.share(premium.held, w)}. {say.judged(premium.held, say.PREMIUM_FRAC)} "
            f"Paid over foretold: {say.ratio(premium.ratio, w)}."
        )
    for profit in told.profit:
        its = Wording(settings.written_in, profit.currency)
        yield ""
        yield f"Profit: {say.profit(profit, its)} A loss: {say.share(profit.losses, its)}."
    yield ""
    yield say.SELECTION
    if told.left_out:
        yield ""
        yield "Left out of a part of it:"
    for left in told.left_out:
        yield f"  {left.label}: {left.why}"
