"""The record: how good the house's estimates were, and what it suggests; nothing changes without the user's word."""

from __future__ import annotations

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from valuation.record_result import Correction
from webapp import own_sales, record_words
from webapp.book_kinds import BOOKS, EntryRefused, content_of
from webapp.noted_prices import newest_gold
from webapp.outcome import NoComparable
from webapp.own_sales import NotSold
from webapp.record_picture import MOST, picture_of
from webapp.record_sheets import HouseRecord, house_record
from webapp.rendering import page, settings, store
from webapp.store import StoreError, UnknownSheet, books
from webapp.store.books import Content, Version
from webapp.wording import Wording

views = Blueprint("record", __name__, url_prefix="/record")
MOST_ROWS = 200


@views.get("")
def shown() -> Response:
    """The record of everything that was settled."""
    return _shown()


@views.post("/rocks")
def rock_kept() -> AnyResponse:
    """Save the density that the record suggests as a rock of the house's."""
    found = _record()
    wanted, told = request.form.get("rock", ""), request.form.get("density", "")
    one = next((one for one in found.record.corrections if one.rock == wanted), None)
    if one is None or one.verdict != "suggested" or _key(one) != told:
        return _shown(409, refused="The record has changed meanwhile. Look at what it suggests now, then save that.")
    try:
        kept = _keep_rock(one, len(found.record.refined))
    except (StoreError, EntryRefused) as trouble:
        return _shown(503, refused=str(trouble))
    flash(f"“{kept.content.name}” is in the book of rocks, version {kept.version}. It counts where a quote takes it.")
    return redirect(url_for("record.shown"), 303)


@views.post("/sales/<sheet>")
def sale_kept(sheet: str) -> AnyResponse:
    """Put a sheet's own sale into the book of comparable sales."""
    try:
        own_sales.kept(store(), sheet, settings().now(), settings().zone)
    except UnknownSheet:
        abort(404, "There is no such sheet. Choose one from the list.")
    except (NotSold, NoComparable, EntryRefused) as refused:
        abort(422, str(refused))
    except StoreError as trouble:
        abort(503, str(trouble))
    flash("Noted: the sale is in the book of comparable sales.")
    return redirect(url_for("sheets.shown", sheet=sheet), 303)


def _record() -> HouseRecord:
    return house_record(store(), settings().now(), newest_gold(store()))


def _shown(status: int = 200, *, refused: str = "") -> Response:
    found = _record()
    told = found.record
    w = Wording(settings().written_in, settings().currency)
    return page(
        "record/record.html",
        status,
        found=found,
        told=told,
        picture=picture_of(told.refined),
        most=MOST,
        rows=list(reversed(told.refined))[:MOST_ROWS],
        sold=list(reversed(told.sold))[:MOST_ROWS],
        key=_key,
        stands={one.rock: _stands(one) for one in told.corrections if one.verdict == "suggested"},
        say=record_words,
        money=lambda currency: Wording(settings().written_in, currency),
        refused=refused,
        w=w,
    )


def _key(one: Correction) -> str:
    """What tells one suggestion from another."""
    return one.corrected.model_dump_json()


def _name(one: Correction) -> str:
    """What the suggested rock is called: a rock of the house's keeps its name."""
    known = {entry.content.name for entry in books.offered(store(), "rocks")}
    return one.rock if one.rock in known else f"{one.rock}, by our record"[:120]


def _entry(name: str) -> Version | None:
    its = [entry for entry in books.offered(store(), "rocks") if entry.content.name == name]
    return its[-1] if its else None


def _stands(one: Correction) -> bool:
    """Whether the book of rocks says already what the record suggests."""
    entry = _entry(_name(one))
    return entry is not None and entry.content.terms == _terms(one, 0).terms


def _terms(one: Correction, settled: int) -> Content:
    density = one.corrected.model_dump(mode="json", exclude_none=True)
    source = f"our record on {settings().now():%Y-%m-%d}: {one.n} of {settled} settled pieces"
    return content_of(BOOKS["rocks"], {"name": _name(one), "source": source}, {"density_g_cm3": density})


def _keep_rock(one: Correction, settled: int) -> Version:
    content, now = _terms(one, settled), settings().now()
    entry = _entry(content.name)
    if entry is None:
        return books.add(store(), "rocks", content, now)
    return books.change(store(), "rocks", entry.entry, content, now, entry.version)
