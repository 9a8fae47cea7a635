"""The settled sheets of the store, each beside what came of it -> the record."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from valuation import RequestRefused, read_request
from valuation.record import record
from valuation.record_piece import Foretold, Settled, settled_piece
from valuation.record_result import LeftOut, Record
from webapp import outcome
from webapp.sheet_life import State
from webapp.store import books, deeds, finding, revisions
from webapp.store.database import Store
from webapp.store.finding import Wanted
from webapp.store.sheets import Listed

BOUGHT: tuple[State, ...] = ("agreed", "settled")
HANDED_OVER: tuple[State, ...] = ("handed_over", "lapsed", "turned_down", *BOUGHT)


@dataclass(frozen=True)
class HouseRecord:
    """The record and what it was chosen from.

    Parameters
    ----------
    handed_over, agreed, settled : int
        Sheets that were ever handed over, that were agreed, and whose outcome is known.
    sheet_ids : dict
        Of each number in the record, for links.
    """

    record: Record
    handed_over: int
    agreed: int
    settled: int
    sheet_ids: Mapping[str, str]


def house_record(store: Store, now: datetime, gold_per_g: Mapping[str, float]) -> HouseRecord:
    """The record of everything that was settled so far, oldest number first. Writes nothing."""
    pieces, ids = [], {}
    for sheet in _settled(store, now, gold_per_g):
        number = sheet.number or ""
        ids[number] = sheet.id
        pieces.append(_piece(store, sheet.id, number))

    def counted(states: tuple[State, ...]) -> int:
        return finding.found(store, Wanted(states=states), now, gold_per_g).count

    return HouseRecord(record(pieces), counted(HANDED_OVER), counted(BOUGHT), len(pieces), ids)


def _settled(store: Store, now: datetime, gold_per_g: Mapping[str, float]) -> Iterator[Listed]:
    wanted, place = Wanted(states=("settled",), order="number", descending=False), ""
    while True:
        found = finding.found(store, wanted, now, gold_per_g, place)
        yield from found.sheets
        if found.next is None:
            return
        place = found.next


def _piece(store: Store, sheet_id: str, number: str) -> Settled:
    noted = outcome.noted(deeds.history(store, sheet_id))
    if noted is None:
        return Settled(left_out=(LeftOut(label=number, why="what was noted of its settlement cannot be read"),))
    return _compared(store, sheet_id, number, noted)


def _compared(store: Store, sheet_id: str, number: str, noted: outcome.Noted) -> Settled:
    kept = revisions.revision(store, sheet_id, noted.deed.revision)
    told = json.loads(revisions.content(store, sheet_id, kept.revision, "request"))
    quoted = json.loads(revisions.content(store, sheet_id, kept.revision, "result"))
    try:
        request = read_request(told)
    except RequestRefused:
        return Settled(left_out=(LeftOut(label=number, why="its request was written by another version"),))
    premium = quoted.get("premium")
    rocks = [version for place, version in books.used_by(store, sheet_id, kept.revision) if place == "rock"]
    foretold = Foretold(
        request=request,
        seed=kept.seed,
        fine_median_g=quoted["fine_gold_g"]["median"],
        route_means={route["route"]: route["mean"] for route in quoted["routes"]},
        premium=None if not premium else (premium["low_frac"], premium["likely_frac"], premium["high_frac"]),
        offer=float(kept.offer),
        rock_name=rocks[0].content.name if rocks else "",
    )
    return settled_piece(number, foretold, noted.outcome)
