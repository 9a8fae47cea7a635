"""A sheet that is being written: its quote, its form, its photographs, and what they come to."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo

from babel import Locale
from werkzeug.datastructures import MultiDict

from valuation import Quote, RequestRefused, ValuationError, quote
from valuation.mass import grams_per
from valuation.money import exact
from valuation.terms import Spot
from webapp import lapsing
from webapp.canonical_json import canonical, digest
from webapp.handing_over import Photographed, Prepared, request_of
from webapp.house_file import HouseRead
from webapp.noted_prices import entries_of, is_demo, newest_gold, source_words_of
from webapp.retold import retold
from webapp.settings import Settings
from webapp.sheet_form import Judge, OfferForm, OfferTerms, price_age
from webapp.sheet_life import lapses, validity
from webapp.store import drafts, photographs, sheets
from webapp.store.database import Store
from webapp.store.photographs import Photograph
from webapp.store.sheets import Sheet
from webapp.titles import title_of
from webapp.typed import Typed
from webapp.wording import Wording


@dataclass(frozen=True)
class Writing:
    """A sheet on its way to the next handing over.

    Parameters
    ----------
    quote : Quote or None
        None where something in the quote is missing or wrong.
    terms : OfferTerms or None
        None where something in the form is.
    age : timedelta or None
        Of a price that is older than the house has it.
    seen : str
        Stands for all that the papers depend on but the time.
    is_undated : bool
        Whether it is not noted when the price was seen.
    ends : tuple of str
        Numbers of the other open offers that noting the price would end.
    far : str
        That the price is far from the newest noted, in a sentence.
    """

    sheet: Sheet
    title: str
    is_demo: bool
    quote: Quote | None
    prepared: Prepared | None
    terms: OfferTerms | None
    form: OfferForm
    photographs: tuple[Photograph, ...]
    age: timedelta | None
    seen: str
    w: Wording
    is_undated: bool = False
    ends: tuple[str, ...] = ()
    far: str = ""

    @property
    def revision(self) -> int:
        """The one that the next handing over makes."""
        return self.sheet.revision + 1


@dataclass(frozen=True)
class Desk:
    """Where sheets are written: the store, the house, the clock."""

    store: Store
    house: HouseRead
    settings: Settings
    now: datetime

    @property
    def zone(self) -> tzinfo:
        """Of the shop."""
        return self.settings.zone

    @property
    def locale(self) -> Locale:
        """Of every figure."""
        return self.settings.written_in


def writing(desk: Desk, sheet_id: str) -> Writing:
    """The sheet as it stands, worked out.

    Raises
    ------
    UnknownSheet, UnknownDraft
        There is none of this id, or its quote is gone.
    """
    sheet = sheets.get(desk.store, sheet_id)
    draft = drafts.get(desk.store, sheet.draft_id)
    entries = entries_of(desk.store, draft, desk.now, desk.zone, desk.locale)
    shots = photographs.of_sheet(desk.store, sheet_id)
    form = OfferForm(dict(sheet.entries))
    told: dict[str, object] = {
        "draft": draft.entries,
        "form": sheet.entries,
        "photographs": [shot.digest for shot in shots],
        "revision": sheet.revision,
        "house": desk.house.seen,
        "figures": [str(desk.locale), str(desk.zone), desk.settings.currency],
    }
    made = Writing(
        sheet=sheet,
        title=title_of(Typed(MultiDict(draft.entries))),
        is_demo=is_demo(draft),
        quote=None,
        prepared=None,
        terms=None,
        form=form,
        photographs=shots,
        age=None,
        seen=digest(canonical(told)),
        w=Wording(desk.locale, str(entries.get("spot", {}).get("currency", "")).upper() or desk.settings.currency),
    )
    try:
        request = request_of(entries, None)
        found = quote(request)
    except (RequestRefused, ValuationError):
        return made
    w = Wording(desk.locale, request.spot.currency)
    age = price_age(request.spot.seen_at, desk.now, desk.house.house)
    is_undated = request.spot.seen_at is None
    terms, judged = Judge(found, desk.house.house, desk.now, desk.zone, w, age, is_undated).read(form)
    if terms is not None and (why := _over_at_once(desk, request.spot, terms, w)):
        terms, judged = None, OfferForm(form.texts, {"spot_move": why})
    ready = None
    if terms is not None:
        shown = tuple(Photographed(shot.digest, photographs.jpeg(desk.store, shot.digest)) for shot in shots)
        offered = request_of(entries, terms.offer)
        ready = Prepared(
            request=offered,
            title=made.title,
            terms=terms,
            house=desk.house.house,
            locale=desk.locale,
            zone=desk.zone,
            age=age,
            price_source=source_words_of(desk.store, request.spot),
            photographs=shown,
            is_demo=made.is_demo,
        )
    ends: tuple[str, ...] = ()
    far = ""
    if not made.is_demo:
        ends = lapsing.would_end(desk.store, request.spot, desk.now, but=sheet.id)
        far = retold(lapsing.far_words(desk.store, request.spot), w)
    told.update(ends=list(ends), far=far)
    made = replace(made, seen=digest(canonical(told)), is_undated=is_undated, ends=ends, far=far)
    return replace(made, quote=found, prepared=ready, terms=terms, form=judged, age=age, w=w)


def _over_at_once(desk: Desk, spot: Spot, terms: OfferTerms, w: Wording) -> str:
    """Why the offer would have lapsed when it is handed over: a newer price that is too far from the quote's."""
    gold = newest_gold(desk.store)
    offer = validity(terms.valid_until, spot.currency, exact(spot.gold), spot.unit, terms.spot_move_frac)
    if lapses(offer, desk.now, gold) is None:
        return ""
    newest = w.price(round(gold[spot.currency] * grams_per(spot.unit), 2))
    return (
        f"The newest price that the house has noted is {newest} per {spot.unit}, further from the quote's "
        f"{w.price(spot.gold)} than this allows: the offer would be over at once. Enter the newest price in the quote."
    )
