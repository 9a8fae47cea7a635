"""What is typed to hand a sheet over -> the terms of the offer; problems beside their fields."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from decimal import ROUND_HALF_EVEN, Decimal

from pydantic_core import PydanticCustomError

from valuation import Quote
from valuation.money import currency_digits, exact
from valuation.number import read_number
from webapp.amounts_typed import ungrouped
from webapp.house import House
from webapp.naming import named_plan
from webapp.sheet_life import ValidityRefused, valid_until_from
from webapp.store.entries import Entries
from webapp.wording import Wording

FIELDS = ("offer", "reason", "valid", "spot_move", "stale_price")
USUAL_AGE_HOURS = 24.0
LARGEST_OFFER = Decimal(10) ** 10
LONGEST_REASON = 2000
_LEAST_WORDS = 2  # letters: enough to mean something


@dataclass(frozen=True)
class OfferTerms:
    """What the house says with an offer.

    Parameters
    ----------
    offer : Decimal
        In coins of the quote's currency.
    reason : str
        Why it lies outside the plan; private, empty inside it.
    spot_move_frac : Decimal or None
        A move of the gold price that ends it.
    stale_price : str
        Why an old price still counts; empty if it is not old.
    """

    offer: Decimal
    reason: str
    valid_until: datetime
    spot_move_frac: Decimal | None
    stale_price: str


@dataclass(frozen=True)
class OfferForm:
    """The form as typed."""

    texts: Mapping[str, str]
    problems: Mapping[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """What was typed in a field."""
        return self.texts.get(name, "")

    def problem(self, name: str) -> str:
        """What is wrong with a field."""
        return self.problems.get(name, "")


def first_entries(quote: Quote | None, typed_offer: str, house: House) -> Entries:
    """What the form of a new sheet starts from: the offer typed in the quote, else the plan's opening."""
    offer = typed_offer.strip()
    plan = None if quote is None else named_plan(quote)
    if not offer and plan is not None:
        offer = f"{exact(plan.buyer.open).normalize():f}"
    return (("offer", offer), ("reason", ""), ("valid", usual_validity(house)), ("spot_move", ""), ("stale_price", ""))


def usual_validity(house: House) -> str:
    """How long an offer of the house holds, as one would type it."""
    minutes = max(1, round(house.offer_valid_hours * 60))
    count, unit = (minutes // 60, "hour") if minutes % 60 == 0 else (minutes, "minute")
    return f"{count} {unit}{'' if count == 1 else 's'}"


def price_age(seen_at: datetime | None, now: datetime, house: House) -> timedelta | None:
    """Age of a price that is older than the house has it; None if it is not, or not known to be."""
    limit = timedelta(hours=house.limits.spot_age_hours or USUAL_AGE_HOURS)
    age = timedelta(0) if seen_at is None else now - seen_at
    return age if age > limit else None


def age_words(age: timedelta, w: Wording) -> str:
    """How old a price is: in minutes up to two hours, in days from two days on, else in hours."""
    minutes = age // timedelta(minutes=1)
    if minutes < 120:
        return f"{w.number(minutes, 0)} minutes"
    return f"{w.number(minutes // 60, 0)} hours" if minutes < 48 * 60 else f"{w.number(minutes // 1440, 0)} days"


def within_plan(offer: Decimal, quote: Quote) -> bool:
    """Whether an offer lies between what the house opens with and where it stops."""
    plan = named_plan(quote)
    return plan is not None and exact(plan.buyer.open) <= offer <= exact(plan.buyer.stop)


@dataclass(frozen=True)
class Judge:
    """Reads a form against its quote, at a moment."""

    quote: Quote
    house: House
    now: datetime
    zone: tzinfo
    w: Wording
    age: timedelta | None
    is_undated: bool = False

    def read(self, form: OfferForm) -> tuple[OfferTerms | None, OfferForm]:
        """The terms, or the form with what is wrong beside its fields."""
        wrong: dict[str, str] = {}

        def kept(name: str, why: str | None) -> None:
            if why:
                wrong[name] = why

        offer, why = self._offer(form.text("offer"))
        kept("offer", why)
        reason = form.text("reason").strip()
        if offer is not None:
            kept("reason", self._reason(offer, reason))
        until, why = self._until(form.text("valid"))
        kept("valid", why)
        move, why = _move(form.text("spot_move"))
        kept("spot_move", why)
        stale = form.text("stale_price").strip()
        is_doubtful = self.age is not None or self.is_undated
        if is_doubtful and _is_empty(stale):
            what = "The price is old" if self.age is not None else "The quote does not say when the price was seen"
            kept("stale_price", f"{what}: say in a few words why it still counts, or look it up again.")
        if wrong or offer is None or until is None:
            return None, OfferForm(form.texts, wrong)
        outside = not within_plan(offer, self.quote)
        terms = OfferTerms(offer, reason if outside else "", until, move, stale if is_doubtful else "")
        return terms, OfferForm(form.texts)

    def _offer(self, text: str) -> tuple[Decimal | None, str | None]:
        if not text.strip():
            return None, "Say what you offer."
        try:
            number = read_number(ungrouped(text, self.w.locale))
        except PydanticCustomError as error:
            return None, _sentence(text, error.message())
        assert isinstance(number, float)
        offer, digits = exact(number), currency_digits(self.w.currency)
        if not 0 < offer <= LARGEST_OFFER:
            return None, _sentence(text, "an offer is above 0 and at most 10 000 000 000")
        coins = offer.quantize(Decimal(1).scaleb(-digits), ROUND_HALF_EVEN)
        if coins != offer:
            decimals = f"at most {digits} decimals" if digits else "no decimals"
            return None, _sentence(text, f"an amount in {self.w.currency} has {decimals}")
        return coins, None

    def _reason(self, offer: Decimal, reason: str) -> str | None:
        if len(reason) > LONGEST_REASON:
            return f"A reason has at most {LONGEST_REASON} characters; this one has {len(reason)}."
        if within_plan(offer, self.quote) or not _is_empty(reason):
            return None
        plan = named_plan(self.quote)
        if plan is None:
            return "There is no plan for this piece: say why you offer this. Only the house sees it."
        between = f"{self.w.price(plan.buyer.open)} to {self.w.price(plan.buyer.stop)}"
        return f"{self.w.price(float(offer))} is outside our plan ({between}): say why. Only the house sees it."

    def _until(self, text: str) -> tuple[datetime | None, str | None]:
        try:
            return valid_until_from(text.strip() or usual_validity(self.house), self.now, self.zone), None
        except ValidityRefused as refused:
            return None, str(refused)


def _move(text: str) -> tuple[Decimal | None, str | None]:
    bare = text.strip().removesuffix("%").strip()
    if not bare:
        return None, None
    try:
        number = read_number(bare)
    except PydanticCustomError as error:
        return None, _sentence(text, error.message())
    assert isinstance(number, float)
    if not 0.01 <= number <= 50:
        return None, _sentence(text, "a move of the price is from 0.01 to 50 per cent")
    return exact(number) / 100, None


def _is_empty(words: str) -> bool:
    return sum(c.isalnum() for c in words) < _LEAST_WORDS


def _sentence(typed: str, why: str) -> str:
    return f"“{typed.strip()[:40]}”: {why}."
