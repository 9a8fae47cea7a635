"""A quote and an offer -> all that handing them over freezes, with both papers."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from decimal import Decimal
from functools import cached_property
from typing import Any

from babel import Locale

from valuation import Caution, HeadlineWorking, Quote, QuoteRequest, quote, read_request, working
from valuation.money import exact
from webapp import house_limits
from webapp.canonical_json import canonical, digest
from webapp.counter_sheet import CounterSheet, counter_sheet
from webapp.house import House
from webapp.paper import house_pdf, seller_pdf
from webapp.paper_content import PaperFacts, PaperSize, SellerPaper
from webapp.paper_house import house_paper
from webapp.paper_seller import seller_paper
from webapp.sheet_copy import HouseFacts, SheetFacts, as_exact, house_json, seller_json
from webapp.sheet_form import OfferTerms, age_words
from webapp.store.frozen import Frozen
from webapp.store.revisions import Numbered
from webapp.wording import Wording

PAPER_SIZES: dict[str, PaperSize] = {"A4": "a4", "Letter": "us-letter"}


@dataclass(frozen=True)
class Photographed:
    """A photograph of the piece and its digest."""

    digest: str
    jpeg: bytes


@dataclass(frozen=True)
class Prepared:
    """An offer, to be worked out anew, but for its number.

    Parameters
    ----------
    request : QuoteRequest
        With the offer, without the seller's reference.
    title : str
        What lists call the sheet.
    age : timedelta or None
        Of a price that is older than the house has it.
    price_source : str
        Where the price of gold comes from.
    """

    request: QuoteRequest
    title: str
    terms: OfferTerms
    house: House
    locale: Locale
    zone: tzinfo
    age: timedelta | None
    price_source: str
    photographs: tuple[Photographed, ...]
    is_demo: bool = False

    @cached_property
    def quote(self) -> Quote:
        """What it comes to."""
        return quote(self.request, with_price_risk=True)

    @cached_property
    def workings(self) -> tuple[HeadlineWorking, ...]:
        """The arithmetic of every headline figure."""
        return tuple(working(self.request))

    @cached_property
    def counter(self) -> CounterSheet:
        """What the seller may see."""
        return counter_sheet(self.request, self.w)

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """As the house sees them, its own limits among them."""
        return house_limits.cautions_of(self.quote, self.request, self.house, self.w)

    @property
    def w(self) -> Wording:
        """How its figures are written."""
        return Wording(self.locale, self.request.spot.currency)

    @property
    def validity(self) -> str:
        """What ends the offer, as both papers say it."""
        until = self.w.moment(self.terms.valid_until.astimezone(self.zone))
        move, spot = self.terms.spot_move_frac, self.request.spot
        if move is None:
            return f"This offer holds until {until}. Only time ends it."
        return (
            f"This offer holds until {until}. It ends before that if the price of gold moves by more than "
            f"{self.w.percent(float(move), 2)} from {self.w.price(spot.gold)} per {spot.unit}, judged by the newest "
            "price that the house has noted; with none newer, only time ends it."
        )

    @property
    def stale_price(self) -> str:
        """What the papers say of an old price; empty if it is not old."""
        is_undated = self.request.spot.seen_at is None
        if self.age is None and not is_undated:
            return ""
        words = self.terms.stale_price
        ended = words if words.endswith((".", "!", "?")) else f"{words}."
        if self.age is None:
            return f"When the price of gold used here was seen is not noted. The house confirms it: {ended}"
        return f"The price of gold used here was {age_words(self.age, self.w)} old. The house confirms it: {ended}"


def request_of(entries: Mapping[str, Any], offer: Decimal | None) -> QuoteRequest:
    """The request as it is frozen: with the offer, without the seller's reference.

    Raises
    ------
    RequestRefused
        With every problem at once.
    """
    told = deepcopy(dict(entries))
    if isinstance(told.get("specimen"), dict):
        told["specimen"].pop("seller_reference", None)
    if offer is not None:
        told["buyer"] = {**told.get("buyer", {}), "offer": offer}
    return read_request(told)


def preview(made: Prepared, revision: int, at: datetime) -> SellerPaper:
    """The seller's paper as it would be handed over now, without number and digest."""
    replaces = revision - 1 or None
    return seller_paper(made.counter, _paper_facts(made, Numbered("", revision, replaces, at), ""))


def frozen(made: Prepared, numbered: Numbered) -> Frozen:
    """All that handing over freezes, under its number.

    Raises
    ------
    PaperError
        A paper could not be made.
    """
    facts = _sheet_facts(made, numbered)
    sellers = seller_json(made.counter, facts)
    printed = _paper_facts(made, numbered, digest(sellers))
    for_seller = seller_pdf(seller_paper(made.counter, printed))
    for_house = house_pdf(
        house_paper(
            made.request,
            made.quote,
            made.workings,
            printed,
            cautions=made.cautions,
            reason=made.terms.reason,
            confirmation=made.stale_price,
        )
    )
    notes = tuple(dict.fromkeys((*for_seller.notes, *for_house.notes)))
    request = made.request.model_dump(mode="json", exclude_unset=True)
    spot, specimen = made.request.spot, made.request.specimen
    return Frozen(
        title=made.title,
        description=specimen.description,
        request_json=canonical(as_exact(request)).decode(),
        result_json=canonical(as_exact(made.quote.model_dump(mode="json"))).decode(),
        seller_json=sellers.decode(),
        house_json=house_json(
            made.counter, request, made.quote, facts, HouseFacts(made.terms.reason, notes), sellers
        ).decode(),
        seller_digest=digest(sellers),
        seller_pdf=for_seller.pdf,
        house_pdf=for_house.pdf,
        method_version=made.quote.method_version,
        seed=made.quote.seed,
        currency=spot.currency,
        offer=facts.offer,
        reason=made.terms.reason,
        gold_price=f"{exact(spot.gold):f}",
        silver_price=None if spot.silver is None else f"{exact(spot.silver):f}",
        spot_unit=spot.unit,
        price_seen_at=spot.seen_at,
        price_source=made.price_source,
        valid_until=made.terms.valid_until,
        time_zone=facts.time_zone,
        spot_move_frac=None if made.terms.spot_move_frac is None else f"{made.terms.spot_move_frac:f}",
        photographs=facts.photographs,
        notes=notes,
        stale_price_confirmation=made.terms.stale_price,
    )


def zone_name(zone: tzinfo, at: datetime) -> str:
    """Name of a time zone, or its offset from UTC where it has none."""
    return str(getattr(zone, "key", "") or zone.tzname(at) or "UTC")


def _sheet_facts(made: Prepared, numbered: Numbered) -> SheetFacts:
    move = made.terms.spot_move_frac
    return SheetFacts(
        number=numbered.number,
        revision=numbered.revision,
        replaces=numbered.replaces,
        handed_over_at=numbered.handed_over_at.astimezone(made.zone),
        valid_until=made.terms.valid_until.astimezone(made.zone),
        spot_move_frac=None if move is None else float(move),
        validity=made.validity,
        time_zone=zone_name(made.zone, numbered.handed_over_at),
        house=made.house.name,
        offer=f"{made.terms.offer:f}",
        stale_price=made.stale_price,
        photographs=tuple(one.digest for one in made.photographs),
    )


def _paper_facts(made: Prepared, numbered: Numbered, sellers_digest: str) -> PaperFacts:
    return PaperFacts(
        number=numbered.number,
        revision=numbered.revision,
        replaces=numbered.replaces,
        handed_over_at=numbered.handed_over_at.astimezone(made.zone),
        validity=made.validity,
        house=made.house.name,
        size=PAPER_SIZES[made.house.paper],
        digest=sellers_digest,
        photographs=[one.jpeg for one in made.photographs],
        cautions=[made.stale_price] if made.stale_price else [],
        w=made.w,
        is_demo=made.is_demo,
    )
