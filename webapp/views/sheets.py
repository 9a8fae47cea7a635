"""Offer sheets: the list, one sheet, and what becomes of it."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any, get_args

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from webapp import lapsing, outcome, own_sales
from webapp.canonical_json import short
from webapp.noted_prices import newest_gold
from webapp.rendering import page, settings, store
from webapp.retold import retold
from webapp.security import TOKEN
from webapp.sheet_life import STATES, State, lapses, why_not
from webapp.sheet_listing import HEAD, cells, how_many
from webapp.sheet_listing import shown as row_of
from webapp.sheet_table import csv_of
from webapp.sheet_words import DEED_WORDS, ENDED, STATE_WORDS, day_and_time
from webapp.store import StoreError, UnknownSheet, books, deeds, erasing, finding, revisions, sheets
from webapp.store.finding import Order, Wanted
from webapp.store.sheets import Sheet
from webapp.wording import Wording

views = Blueprint("sheets", __name__, url_prefix="/sheets")
ORDERS: tuple[Order, ...] = get_args(Order)


# ---- the list


@views.get("")
def listed() -> Response:
    """The sheets that are wanted, a page of them."""
    wanted, problems = _wanted()
    now, gold = settings().now(), _gold()
    found = finding.found(store(), wanted, now, gold, request.args.get("place", ""))
    asked = {name: texts for name, texts in request.args.lists() if name != "place"}
    return page(
        "sheets/list.html",
        found=found,
        how_many=how_many,
        rows=[row_of(store(), one, now, gold, settings()) for one in found.sheets],
        wanted=wanted,
        asked=asked,
        since=request.args.get("since", ""),
        until=request.args.get("until", ""),
        problems=problems,
        states=STATE_WORDS,
        is_narrowed=bool(wanted.text.strip() or wanted.states or wanted.since or wanted.until),
    )


@views.get("/list.csv")
def as_table() -> Response:
    """All the sheets that are wanted, for a spreadsheet."""
    wanted, _ = _wanted()
    rows = cells(store(), wanted, settings().now(), _gold(), settings().zone)
    answer = Response(csv_of(HEAD, rows), mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="offer-sheets-{settings().now():%Y-%m-%d}.csv"'
    return answer


def _wanted() -> tuple[Wanted, dict[str, str]]:
    """What the address asks for, and what in it is no date."""
    texts, problems = request.args, {}
    states = tuple(state for state in STATES if state in texts.getlist("state"))
    order: Order = next((order for order in ORDERS if order == texts.get("order")), "date")
    moments: dict[str, datetime | None] = {}
    for name, days in (("since", 0), ("until", 1)):
        try:
            moments[name] = _midnight(texts.get(name, ""), days)
        except (ValueError, OverflowError):
            moments[name] = None
            problems[name] = f"“{texts[name][:20]}” is no date. Write it like 2026-03-14."
    wanted = Wanted(
        text=texts.get("text", "")[:200],
        states=states,
        since=moments["since"],
        until=moments["until"],
        order=order,
        descending=texts.get("direction", "down") != "up",
    )
    return wanted, problems


def _midnight(typed: str, days: int) -> datetime | None:
    """Where a day begins in the shop, or the one so many days later."""
    if not typed.strip():
        return None
    day = date.fromisoformat(typed.strip()) + timedelta(days=days)
    return datetime.combine(day, time(), settings().zone)


# ---- one sheet


@views.get("/<sheet>")
def shown(sheet: str) -> AnyResponse:
    """The newest revision of a sheet and its history; one never handed over is still being written."""
    kept = _there(sheet)
    if not kept.revision:
        return redirect(url_for("sheet_writing.written", sheet=sheet))
    return _shown(kept)


@views.post("/<sheet>/<int:revision>/<any(agreed, turned_down, lapsed, by_mistake):kind>")
def told(sheet: str, revision: int, kind: Any) -> AnyResponse:
    """Note what became of it."""
    kept = _there(sheet)
    may_agree = kept.revision == revision and kept.state(settings().now(), _gold()) == "handed_over"
    if kind == "agreed" and may_agree and request.form.get("sure") != "yes":
        return _shown(kept, 422, asks=True, entries={"note": _note()})
    try:
        deeds.record(store(), sheet, revision, kind, settings().now(), _note(), gold_per_g=_gold())
    except StoreError as refused:
        return _shown(kept, 409, refused=str(refused), entries={"note": _note()})
    flash(f"Noted: {DEED_WORDS[kind].lower()}.")
    return redirect(url_for("sheets.shown", sheet=sheet), 303)


@views.post("/<sheet>/<int:revision>/settled")
def settled_with(sheet: str, revision: int) -> AnyResponse:
    """Note what came of an agreed sheet, or correct it by a further deed."""
    kept = _there(sheet)
    entries = {name: text for name, text in request.form.items() if name not in (TOKEN, "following")}
    told, problems = outcome.read(entries, kept.currency or settings().currency, settings().written_in)
    if told is None:
        return _shown(kept, 422, entries=entries, problems=problems)
    following, now = request.form.get("following", ""), settings().now()
    note = outcome.as_note(told)
    try:
        deeds.record(store(), sheet, revision, "settled", now, note, gold_per_g=_gold(), following=following)
    except StoreError as refused:
        return _shown(kept, 409, refused=str(refused), entries=entries)
    flash("Noted: corrected. What was noted before stays in the history." if following else "Noted: settled.")
    return redirect(url_for("sheets.shown", sheet=sheet), 303)


@views.get("/<sheet>/<int:revision>/<any(agreed, turned_down, lapsed, by_mistake, settled):kind>")
def reloaded(sheet: str, revision: int, kind: str) -> AnyResponse:
    """The answer to a refused form, loaded again."""
    return redirect(url_for("sheets.shown", sheet=sheet))


@views.get("/<sheet>/reference")
def reference(sheet: str) -> Response:
    """What erasing the seller's reference means, before it is done."""
    return page("sheets/reference.html", sheet=_there(sheet), erased=None, refused="")


@views.post("/<sheet>/reference")
def reference_erased(sheet: str) -> Response:
    """Erase a seller's reference wherever it is kept; the sheets and their papers stay."""
    kept = _there(sheet)
    try:
        erased = erasing.erase_reference(store(), request.form.get("reference", ""), settings().now())
    except StoreError as refused:
        return page("sheets/reference.html", 422, sheet=kept, erased=None, refused=str(refused))
    return page("sheets/reference.html", sheet=_there(sheet), erased=erased, refused="")


def _ended(noted: str, ended: str | None, w: Wording) -> str:
    """What ended an offer: the price that was noted with it, else what ends it now."""
    return f"Ended by {retold(noted, w)}." if noted.startswith("gold at ") else ENDED.get(ended or "", "")


def _note() -> str:
    return request.form.get("note", "").strip()


def _gold() -> dict[str, float]:
    with suppress(StoreError):  # looked at all the same
        lapsing.note(store(), settings().now())
    return newest_gold(store())


def _there(sheet: str) -> Sheet:
    try:
        return sheets.get(store(), sheet)
    except UnknownSheet:
        abort(404, "There is no such sheet. Choose one from the list.")


def _shown(
    kept: Sheet,
    status: int = 200,
    *,
    refused: str = "",
    asks: bool = False,
    entries: Mapping[str, str] | None = None,
    problems: Mapping[str, str] | None = None,
) -> Response:
    if not kept.revision:
        abort(404, "This sheet was not handed over yet.")
    now, gold = settings().now(), _gold()
    all_of_it = revisions.of_sheet(store(), kept.id)
    newest = all_of_it[0]
    kept = replace(kept, revision=newest.revision)
    state: State = sheets.get(store(), kept.id).state(now, gold)
    history = deeds.history(store(), kept.id)
    noted = outcome.noted(history)
    w = Wording(settings().written_in, newest.currency)
    ended = lapses(newest.validity, now, gold) if state == "lapsed" else None
    return page(
        "sheets/sheet.html",
        status,
        sheet=kept,
        newest=newest,
        earlier=all_of_it[1:],
        state=state,
        words=STATE_WORDS[state],
        ended=_ended(lapsing.noted_end(history, newest.revision), ended, w),
        why_not_agreed=why_not("agreed", state),
        may_revise=why_not("handed_over", state) is None,
        may_undo=why_not("by_mistake", state) is None,
        history=history,
        used=books.used_by(store(), kept.id, newest.revision),
        deed_words=DEED_WORDS,
        noted=noted,
        outcomes={kind: outcome.fields(kind, newest.currency) for kind in outcome.KINDS},
        following=outcome.newest(history),
        outcome_words=lambda deed: outcome.words(deed.note, w),
        book_sale=own_sales.told(store(), kept.id, kept.number or "", noted, settings().zone),
        digest=short(newest.seller_digest),
        price=lambda one: w.price(float(one.offer)),
        when=lambda at: day_and_time(at, settings()),
        w=w,
        refused=refused,
        asks=asks,
        entries=entries or (outcome.typed_from(noted.outcome) if noted is not None else {}),
        problems=problems or {},
    )
