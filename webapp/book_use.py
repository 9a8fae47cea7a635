"""The books in use: what a quote is offered of them and takes over, what of a quote goes into them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from babel import Locale
from pydantic import ValidationError
from werkzeug.datastructures import MultiDict

from valuation import QuoteRequest, ValuationError
from valuation.draws import LOG2_DRAWS, SEED, Draws
from valuation.evidence_tests import USUAL, EvidenceTest
from valuation.gold import host_density_g_cm3
from valuation.observations import Rock, Weighing
from valuation.summary import decimals_for, summarised
from valuation.terms import Comparable, Refiner
from webapp import book_words
from webapp.book_form import BookForm, form_of, read
from webapp.book_kinds import BOOKS, section_of
from webapp.forms import Reading
from webapp.store import books
from webapp.store.books import Content, Version
from webapp.store.database import Store
from webapp.typed import Typed
from webapp.wording import Wording

PLACES = {"refiner": "refiners", "other_refiners": "refiners", "rock": "rocks", "sales": "sales"}
EVERY, NEWEST = "every", "newest"
FEW_SALES = 12
MOST_SALES = 500
SALES = "collector.comparables"


@dataclass(frozen=True)
class BookOffer:
    """What a quote is offered of a book: value and words of each choice, and how many are in another currency."""

    choices: tuple[tuple[str, str], ...]
    left_out: int


class NotForTheBook(Exception):  # noqa: N818 - told as an event
    """What stands in the quote cannot go into the book; the text says what to do."""


# ---- out of the book


def usable(store: Store, key: str, currency: str) -> list[Version]:
    """The entries that a quote in this currency can take: in it, or without any amount of money."""
    book = BOOKS[key]
    offered = books.offered(store, key)
    return [one for one in offered if one.content.currency == currency or not book.has_money(one.content.terms)]


def book_offer(store: Store, place: str, currency: str, w: Wording) -> BookOffer:
    """What a place of a quote is offered of its book."""
    book = BOOKS[PLACES[place]]
    there = usable(store, book.key, currency)
    choices = [(one.entry, _choice_words(one, w)) for one in there]
    if place == "sales" and there:
        there.sort(key=_day, reverse=True)
        all_of_them = [(EVERY, f"all {len(there)} of them")] if len(there) > 1 else []
        newest = [(NEWEST, f"the newest {FEW_SALES}")] if len(there) > FEW_SALES else []
        choices = [*all_of_them, *newest, *((one.entry, _choice_words(one, w)) for one in there)]
    return BookOffer(tuple(choices), len(books.offered(store, book.key)) - len(there))


def _choice_words(one: Version, w: Wording) -> str:
    told = book_words.cells(BOOKS[one.book], one.content, w)
    if one.book == "sales":
        return ", ".join(filter(None, (told[0], told[1], f"{told[2]} fine", told[5])))
    return f"{told[0]}: {'pays ' if one.book == 'refiners' else ''}{told[1]}"


def _day(one: Version) -> str:
    return str(one.content.terms["date"])


def chosen(store: Store, place: str, choice: str, currency: str) -> list[Version]:
    """The entries that a choice names; none if they are not offered any more."""
    there = usable(store, PLACES[place], currency)
    if place == "sales" and choice in (EVERY, NEWEST):
        there.sort(key=_day, reverse=True)
        return there[: FEW_SALES if choice == NEWEST else MOST_SALES]
    return [one for one in there if one.entry == choice]


def take(typed: Typed, place: str, entries: Iterable[Version]) -> int:
    """Fill a form with entries of a book; what it held in their place goes. Returns how many were taken."""
    taken = 0
    for one in entries:
        book = BOOKS[one.book]
        texts = MultiDict((name, text) for name, text in form_of(book, one.content).texts.items() if "." in name)
        if place == "sales":
            taken += _add_sale(typed, texts)
        elif place == "other_refiners":
            row = max(typed.rows(place, 11))
            _put(typed, {f"{place}.{row}.{name.partition('.')[2]}": text for name, text in texts.items()})
            taken += 1
        else:
            for name in [name for name in typed.texts if name.startswith(f"{book.at}.") and _replaced(place, name)]:
                typed.texts.poplist(name)
            _put(typed, texts)
            taken += 1
        _put(typed, book.branches)
    return taken


def _replaced(place: str, name: str) -> bool:
    return place == "refiner" or name.startswith("rock.density_g_cm3.")


def _add_sale(typed: Typed, texts: MultiDict[str, str]) -> int:
    """A sale in the first free row, unless it stands there already."""
    its = {name.removeprefix(f"{SALES}.0."): text for name, text in texts.items()}
    for row in range(MOST_SALES):
        typed_in = {name: typed.text(f"{SALES}.{row}.{name}").strip() for name in Comparable.model_fields}
        there = {name: text for name, text in typed_in.items() if text}
        if there == its:
            return 0
        if not there.keys() - {"spot_unit"}:
            _put(typed, {f"{SALES}.{row}.{name}": text for name, text in its.items()})
            return 1
    return 0


def _put(typed: Typed, texts: Mapping[str, str]) -> None:
    for name, text in texts.items():
        typed.texts[name] = text


# ---- into the book


def keep_refiner(store: Store, typed: Typed, currency: str, locale: Locale, at: datetime) -> tuple[Version, bool]:
    """Save the refiner of a quote: a new entry, or a new version of the one of that name; and whether it was new.

    Raises
    ------
    NotForTheBook
        Something in it is missing or wrong.
    StoreError
        It could not be written.
    """
    texts = [(name, text) for name, text in typed.texts.items(multi=True) if name.startswith("refiner.")]
    content = read(BookForm(MultiDict([*texts, ("currency", currency)]), book=BOOKS["refiners"], locale=locale))
    if isinstance(content, BookForm):
        if not typed.text("refiner.name").strip():
            raise NotForTheBook("Give the refiner a name first, under “Other charges and rules”.")
        problem = content.problems[0]
        raise NotForTheBook(f"{content.label(problem.field)}: {problem.message}")
    return _kept(store, "refiners", content, at)


def keep_chip(
    store: Store, typed: Typed, name: str, source: str, at: datetime, reading: Reading
) -> tuple[Version, bool]:
    """Save the weighed chip of a quote as a rock; and whether it was new. Raises as `keep_refiner` does."""
    if not name.strip():
        raise NotForTheBook("Name the rock first, beside the button.")
    entries = reading.entries
    try:
        weighing, rock = Weighing.model_validate(entries["weighing"]), Rock.model_validate(entries["rock"])
        density = summarised(host_density_g_cm3(rock, weighing, Draws(SEED, LOG2_DRAWS)))
    except (KeyError, ValidationError):
        raise NotForTheBook("The readings of the chip, or of the piece, are not complete yet.") from None
    except ValuationError as refused:
        raise NotForTheBook(str(refused)) from None
    places = decimals_for(density.sd) + 1
    ends = {"low": density.low, "likely": density.median, "high": density.high}
    terms = {"density_g_cm3": {part: round(x, places) for part, x in ends.items()} | {"coverage_frac": 0.95}}
    form = form_of(BOOKS["rocks"], Content(name.strip(), "", source, terms))
    content = read(form)
    if isinstance(content, BookForm):
        raise NotForTheBook(content.problems[0].message)
    return _kept(store, "rocks", content, at)


def _kept(store: Store, key: str, content: Content, at: datetime) -> tuple[Version, bool]:
    """The entry of that name, brought up to this content."""
    with store.writing():
        for one in books.offered(store, key):
            if one.content.name.casefold() == content.name.casefold():
                source = content.source or one.content.source
                content = Content(one.content.name, content.currency, source, content.terms)
                after = books.change(store, key, one.entry, content, at, one.version)
                return after, after != one
        return books.add(store, key, content, at), True


# ---- what a quote rests on


def versions_used(store: Store, request: QuoteRequest) -> list[tuple[str, Version]]:
    """The versions whose terms a request has to the letter, the newest of each, with their places in the request."""
    found = []
    refiners = books.every_version(store, "refiners")
    places = [("refiner", request.refiner)] if request.refiner is not None else []
    places += [(f"other_refiners.{i}", terms) for i, terms in enumerate(request.other_refiners)]
    for place, terms in places:
        one = next((one for one in refiners if _is_same(one, terms, request.spot.currency)), None)
        if one is not None:
            found.append((place, one))
    if request.rock is not None and request.rock.density_g_cm3 is not None:
        density = {"density_g_cm3": request.rock.density_g_cm3.model_dump()}
        for one in books.every_version(store, "rocks"):
            if section_of(BOOKS["rocks"], one.content.terms).model_dump() == density:
                return [*found, ("rock", one)]
    return found


def _is_same(one: Version, terms: Refiner, currency: str) -> bool:
    book = BOOKS["refiners"]
    if one.content.currency != currency and book.has_money(one.content.terms):
        return False
    return section_of(book, one.content.terms).model_dump() == terms.model_dump()


def with_house_tests(request: QuoteRequest, store: Store) -> QuoteRequest:
    """The request with the house's own tests, where it names none: a kind that the book lacks at its usual figures.

    A kind of which the book holds only a retired test is not offered.
    """
    if request.tests:
        return request
    there = books.entries(store, "tests")
    tests = []
    for kind in USUAL:
        of_kind = [one for one in there if one.content.name == kind]
        own = [one for one in of_kind if not one.is_retired]
        if not of_kind:
            tests.append(EvidenceTest(kind=kind))
        for one in own[:1]:
            is_in = one.content.currency == request.spot.currency or "cost" not in one.content.terms
            terms = {name: value for name, value in one.content.terms.items() if is_in or name != "cost"}
            tests.append(EvidenceTest.model_validate(terms))
    return request.model_copy(update={"tests": tuple(tests)})
