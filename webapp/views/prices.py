"""Prices of gold and silver: now, their history, how much they move; and taking them over into a quote."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from babel.dates import format_datetime
from flask import Blueprint, Response, abort, current_app, flash, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from valuation.errors import shown as plain
from valuation.mass import MassUnit, grams_per
from webapp import lapsing, price_entry, price_words
from webapp.faces import FACES
from webapp.house_file import ChangedMeanwhile, NotSaved
from webapp.price_entry import Entry
from webapp.price_now import PriceNow, days_of, moves, newest_price, price_age_words, source_words, taken_over
from webapp.price_picture import Picture, picture_of
from webapp.price_round import Rounds, Told
from webapp.rendering import house, house_file, page, settings, store
from webapp.store import StoreError, prices
from webapp.store.prices import GOLD, RATE, SILVER, Price
from webapp.typed import Typed
from webapp.views.drafts import answered, as_sent, kept_as_sent, seen_revision
from webapp.wording import Wording

views = Blueprint("prices", __name__)
USUAL_AGE = timedelta(hours=24)
NAMES = {GOLD: "Gold", SILVER: "Silver"}
CATEGORY = "price"
MOST_TOLD = 300  # a cookie carries it


def rounds() -> Rounds:
    """The rounds through the feeds of the running app."""
    kept: Rounds = current_app.extensions["rounds"]
    return kept


@dataclass(frozen=True)
class Card:
    """The newest price of a metal, as the page tells it."""

    metal: str
    price: PriceNow | None
    age: str = ""
    is_old: bool = False


# ---- the page


@views.get("/prices")
def shown() -> Response:
    """Prices now and their history."""
    return _shown(Entry({"currency": _currency(), "unit": _unit(), "metal": GOLD}))


@views.post("/prices")
def entered() -> AnyResponse:
    """Keep a price that was entered by hand."""
    read = price_entry.read(request.form, datetime.now(UTC), settings().zone, settings().written_in)
    if isinstance(read, Entry):
        return _shown(read, 422)
    last = lapsing.far_from(store(), read)
    if last is not None and request.form.get("sure", "") != plain(read.price):
        words = f"More than {lapsing.FAR_FRAC:.0%} from the newest, {plain(last.price)} per {last.unit}"
        return _shown(Entry(request.form, {"price": f"{words}. If it is right, tick it below."}), 422, sure=read.price)
    try:
        flash("Kept." if lapsing.keep(store(), read) else "That price is kept already.", CATEGORY)
    except StoreError as trouble:
        return _shown(Entry(request.form), 503, unkept=str(trouble))
    return redirect(url_for("prices.shown", metal=read.metal if read.metal in NAMES else None), 303)


@views.post("/prices/refresh")
def refreshed() -> AnyResponse:
    """Ask the feeds."""
    try:
        told = rounds().go(store(), house().feeds)
    except StoreError as trouble:
        abort(503, str(trouble))
    good = sum(one.found is not None and not one.reason for one in told)
    if told:
        flash(f"Looked up: {good} of {len(told)} gave a price. What each one said stands below.", CATEGORY)
    return redirect(url_for("prices.shown"), 303)


@views.post("/prices/volatility")
def volatility_used() -> AnyResponse:
    """Let new quotes start from the volatility of the history."""
    metal = request.form.get("metal", "")
    found = moves(_days(metal)).volatility if metal in NAMES else None
    if found is None:
        abort(422, "There are not enough days with a price yet.")
    frac = round(found.per_year, 4)
    now = house_file().read()
    try:
        house_file().save(now.house.model_copy(update={f"{metal}_volatility_per_year": frac}), now.seen)
    except ChangedMeanwhile:
        abort(409, "The house's settings were changed at this very moment. Go back and try again.")
    except NotSaved as trouble:
        abort(503, str(trouble))
    w = Wording(settings().written_in, settings().currency)
    flash(f"New quotes start from a {metal} volatility of {w.percent(frac, 2)} a year.", CATEGORY)
    return redirect(url_for("prices.shown", metal=metal), 303)


def _shown(entry: Entry, status: int = 200, *, unkept: str = "", sure: float | None = None) -> Response:
    told = settings()
    metal = request.args.get("metal", GOLD)
    if metal not in NAMES:
        metal = GOLD
    asked = request.args.get("page", "1")
    number = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 9 else 1
    unit, days = _unit(), _days(metal)
    w = Wording(told.written_in, told.currency)
    return page(
        "prices/prices.html",
        status,
        w=w,
        currency=told.currency,
        cards=[_card(one) for one in NAMES],
        names=NAMES,
        unit=unit,
        unit_names=dict(price_entry.units()),
        metal=metal,
        listing=prices.listed(store(), metal, told.currency, number),
        rates=prices.rates(store(), told.currency),
        others=[pair for pair in prices.pairs(store()) if pair[0] in NAMES and pair[1] != told.currency],
        moves=moves(days),
        used=getattr(house(), f"{metal}_volatility_per_year"),
        picture=_picture(days, unit, w),
        feeds=[(feed, rounds().last(feed)) for feed in house().feeds],
        told_words=told_words,
        age=lambda at: price_age_words(at, datetime.now(UTC)),
        source_words=source_words,
        short_moment=lambda at: format_datetime(at.astimezone(told.zone), "short", None, told.written_in),
        zone_words=f"UTC{datetime.now(told.zone).isoformat()[-6:]}" if not told.time_zone else told.time_zone,
        entry=entry,
        unkept=unkept,
        sure="" if sure is None else plain(sure),
        metals=price_entry.METALS,
        plain=plain,
        category=CATEGORY,
    )


def _currency() -> str:
    return settings().currency


def _unit() -> MassUnit:
    return house().spot_unit or "ozt"


def _card(metal: str) -> Card:
    price, now = newest_price(store(), metal, _currency()), datetime.now(UTC)
    if price is None:
        return Card(metal, None)
    hours = house().limits.spot_age_hours
    limit = USUAL_AGE if hours is None else timedelta(hours=hours)
    return Card(metal, price.per(_unit()), price_age_words(price.seen_at, now), now - price.seen_at > limit)


def _days(metal: str) -> dict[date, Price]:
    return days_of(store(), metal, _currency(), settings().zone, datetime.now(UTC))


def _picture(days: dict[date, Price], unit: MassUnit, w: Wording) -> Picture | None:
    amounts = [one.price * grams_per(unit) / grams_per(one.unit) for one in days.values()]  # type: ignore[arg-type]
    return picture_of(list(days), amounts, w, f"per {dict(price_entry.units())[unit]}")


def told_words(told: Told) -> str:
    """What came of a feed, in a sentence."""
    return price_words.told_words(told, settings().written_in)


# ---- in a quote


@views.app_template_global()
def offered_price(form: Typed) -> dict[str, str] | None:
    """What a quote is offered beside its prices, by metal: the newest kept price, in its currency and unit.

    Where there are feeds, only what they told counts. None where there is nothing to offer and no feed to ask, and in a
    demo, whose prices are invented.
    """
    if form.text("demo"):
        return None
    currency = form.text("spot.currency").strip().upper() or settings().currency
    offers = {}
    for metal in (GOLD, SILVER) if form.text("spot.silver").strip() else (GOLD,):
        now = _kept(form, metal, currency)
        if now is not None and form.text(f"spot.{metal}").strip() != plain(taken_over(now.price)):
            offers[metal] = offer_words(now)
    return offers if offers or house().feeds else None


def offer_words(now: PriceNow) -> str:
    """What the button says that takes a price over."""
    figure = Wording(settings().written_in, now.currency)
    words = figure.number(taken_over(now.price), 6, least=figure.money_digits)
    age = price_age_words(now.seen_at, datetime.now(UTC))
    told = f"Use {'silver ' if now.metal == SILVER else ''}{words}"
    return f"{told} from {now.source}, {age}" if now.is_fed else f"{told}, noted {age}"


@views.app_template_global()
def can_look_up() -> bool:
    """Whether there is a feed to ask."""
    return bool(house().feeds)


def newest_kept(metal: str, currency: str, unit: str) -> PriceNow | None:
    """The newest price of a metal that may be offered: by feeds where there are any, else as noted."""
    if unit not in dict(price_entry.units()):
        return None
    now = newest_price(store(), metal, currency, fed_only=bool(house().feeds))
    return None if now is None else now.per(unit)  # type: ignore[arg-type]


def _kept(form: Typed, metal: str, currency: str) -> PriceNow | None:
    return newest_kept(metal, currency, form.text("spot.unit").strip() or "ozt")


@views.post('/<any("quotes", "asks"):address>/<name>/price')
def taken(address: str, name: str) -> AnyResponse:
    """Keep what was typed, with a price taken over: the newest that is kept, or one looked up now."""
    face, typed = FACES[address], as_sent()
    wanted = "".join(typed.texts.poplist("take")[:1])
    metal, _, when = wanted.partition(" ")
    if metal not in NAMES:
        abort(400, "That asks for the price of something else than gold or silver.")
    currency = typed.text("spot.currency").strip().upper() or settings().currency
    try:
        if when == "now":
            told = rounds().go(store(), [feed for feed in house().feeds if feed.metal in (metal, RATE)])
            for one in told:
                if one.reason:
                    flash(f"{one.feed.name}: {told_words(one)}"[:MOST_TOLD], CATEGORY)
        fed = _kept(typed, metal, currency)
        if fed is None:
            who = "No feed told" if house().feeds else "Nobody noted"
            flash(f"{who} a price of {metal} in {currency}: enter it by hand.", CATEGORY)
        else:
            typed.texts[f"spot.{metal}"] = plain(taken_over(fed.price))
            if metal == GOLD or not typed.text("spot.seen_at").strip():
                typed.texts["spot.seen_at"] = fed.seen_at.astimezone(settings().zone).isoformat(" ", "minutes")
        kept_as_sent(face, name, typed)
    except StoreError as trouble:
        return answered(face, name, typed, revision=seen_revision() or 0, posted=True, unkept=str(trouble))
    return redirect(url_for("drafts.draft", address=address, name=name), 303)
