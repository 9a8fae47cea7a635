"""The books in a quote: chosen from them, and saved to them."""

from __future__ import annotations

from dataclasses import dataclass

from babel.dates import format_date
from flask import Blueprint, abort, flash, get_flashed_messages, redirect, url_for
from werkzeug.wrappers import Response as AnyResponse

from webapp import book_words
from webapp.book_kinds import BOOKS
from webapp.book_use import PLACES, BookOffer, NotForTheBook, book_offer, chosen, keep_chip, keep_refiner, take
from webapp.faces import FACES
from webapp.forms import Reading
from webapp.rendering import settings, store
from webapp.store import StoreError
from webapp.store.books import Version
from webapp.typed import Typed
from webapp.views.drafts import answered, as_sent, kept_as_sent, seen_revision
from webapp.wording import Wording

views = Blueprint("book_use", __name__)
KEEPS = {"keep refiner": "refiner", "keep rock": "rock"}
BESIDE_THE_QUOTE = ("book.refiner", "book.rock", "book.sales", "book.name")


@dataclass(frozen=True)
class AtHand:
    """A book beside its fields of a quote: what it offers, and what came of the last press."""

    offer: BookOffer
    told: tuple[str, ...]


@views.app_template_global()
def book_at_hand(form: Typed, place: str) -> AtHand | None:
    """The book for a place of a quote; None in a demo, whose terms are invented."""
    if form.text("demo"):
        return None
    told = tuple(str(words) for words in get_flashed_messages(category_filter=[f"book-{place}"]))
    currency = _currency(form)
    return AtHand(book_offer(store(), place, currency, Wording(settings().written_in, currency)), told)


def _currency(typed: Typed) -> str:
    return typed.text("spot.currency").strip().upper() or settings().currency


@views.post('/<any("quotes", "asks"):address>/<name>/book')
def used(address: str, name: str) -> AnyResponse:
    """Keep what was typed, with entries of a book taken over, or something of it saved to a book."""
    face, typed = FACES[address], as_sent()
    wanted = "".join(typed.texts.poplist("take")[:1])
    place = KEEPS.get(wanted, wanted)
    if place not in PLACES:
        abort(400, "That asks for a book that there is not.")
    try:
        words = _kept(typed, place) if wanted in KEEPS else _taken(typed, place)
        kept_as_sent(face, name, typed)
    except NotForTheBook as refused:
        words = f"Not saved. {refused}"
        kept_as_sent(face, name, typed)
    except StoreError as trouble:
        return answered(face, name, typed, revision=seen_revision() or 0, posted=True, unkept=str(trouble))
    at = "refiner" if place == "other_refiners" else place
    flash(words, f"book-{at}")
    return redirect(url_for("drafts.draft", address=address, name=name, _anchor=f"book-{at}"), 303)


def _taken(typed: Typed, place: str) -> str:
    choice = typed.text("book.refiner" if place == "other_refiners" else f"book.{place}")
    if not choice:
        return "Choose one of the book first."
    entries = chosen(store(), place, choice, _currency(typed))
    count = take(typed, place, entries)
    for name in BESIDE_THE_QUOTE:
        typed.texts.poplist(name)
    if not entries:
        return "That one is not offered any more: choose another."
    if place == "sales":
        return (
            f"{count} of {len(entries)} filled in; the others stood there already."
            if count < len(entries)
            else ("Filled in." if count == 1 else f"{count} sales filled in.")
        )
    doing = "to compare with" if place == "other_refiners" else "filled in"
    return f"{_said(entries[0])}, version {entries[0].version}, {doing}. What stands here counts."


def _kept(typed: Typed, place: str) -> str:
    now = settings().now()
    if place == "refiner":
        made, is_new = keep_refiner(store(), typed, _currency(typed), settings().written_in, now)
    else:
        day = format_date(now.date(), "medium", settings().written_in)
        reading = Reading(typed, now, settings().zone, settings().written_in)
        made, is_new = keep_chip(store(), typed, typed.text("book.name"), f"weighed here, {day}", now, reading)
    for name in BESIDE_THE_QUOTE:
        typed.texts.poplist(name)
    if not is_new:
        return f"{_said(made)} says that in the book already."
    return f"{_said(made)} is in the book, as version {made.version}."


def _said(version: Version) -> str:
    return book_words.said(BOOKS[version.book], version.content, Wording(settings().written_in, settings().currency))
