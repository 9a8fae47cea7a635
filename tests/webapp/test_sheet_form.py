"""The form of an offer: what it starts from, what it refuses, what needs a reason or a confirmation."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import cache
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios import FIRST, scenario
from valuation import Quote, quote
from webapp.house import House, Limits
from webapp.naming import named_plan
from webapp.sheet_form import (
    Judge,
    OfferForm,
    OfferTerms,
    age_words,
    first_entries,
    price_age,
    usual_validity,
    within_plan,
)
from webapp.wording import Wording

NOW = datetime(2026, 3, 14, 17, 30, tzinfo=UTC)
DENVER = ZoneInfo("America/Denver")
W = Wording.of("USD", "en-US")


@cache
def quoted(name: str = FIRST) -> Quote:
    return quote(scenario(name).request())


def read(
    typed: dict[str, str], *, name: str = FIRST, age: timedelta | None = None, w: Wording = W
) -> tuple[OfferTerms | None, dict[str, str]]:
    judge = Judge(quoted(name), House(), NOW, DENVER, w, age)
    terms, form = judge.read(OfferForm({"offer": "4300", **typed}))
    return terms, dict(form.problems)


def test_a_sheet_starts_from_the_plan_or_from_what_was_typed_as_our_offer() -> None:
    plan = quoted().plan
    assert plan is not None
    assert Decimal(dict(first_entries(quoted(), "", House()))["offer"]) == Decimal(repr(plan.buyer.open))
    assert dict(first_entries(quoted(), " 4321 ", House()))["offer"] == "4321"
    assert dict(first_entries(quoted("no-fair-cash-price"), "", House()))["offer"] == ""


@pytest.mark.parametrize(
    ("hours", "words"), [(24, "24 hours"), (1, "1 hour"), (0.5, "30 minutes"), (72, "72 hours"), (1 / 60, "1 minute")]
)
def test_what_the_house_set_is_what_an_offer_usually_holds(hours: float, words: str) -> None:
    assert usual_validity(House(offer_valid_hours=hours)) == words
    terms, _ = read({"valid": words})
    assert terms is not None and terms.valid_until - NOW == pytest.approx(
        timedelta(hours=hours), abs=timedelta(minutes=1)
    )


def test_left_empty_it_holds_as_long_as_is_usual() -> None:
    terms, problems = read({"valid": "  "})
    assert problems == {} and terms is not None
    assert terms.valid_until == NOW + timedelta(hours=24)
    assert (terms.spot_move_frac, terms.reason, terms.stale_price) == (None, "", "")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "Say what you offer"),
        ("much", "not a number"),
        ("-5", "above 0"),
        ("0", "above 0"),
        ("4300.005", "at most 2 decimals"),
        ("1e11", "1e11"),
        ("20000000000", "at most 10 000 000 000"),
    ],
)
def test_an_offer_that_is_none_is_refused(typed: str, words: str) -> None:
    terms, problems = read({"offer": typed})
    assert terms is None and words in problems["offer"]


def test_an_offer_may_be_typed_as_the_page_prints_it() -> None:
    terms, _ = read({"offer": "4,300"})
    assert terms is not None and terms.offer == 4300


def test_coins_are_those_of_the_currency() -> None:
    # ISO 4217: the yen has no minor unit, the Kuwaiti dinar thousandths.
    assert "no decimals" in read({"offer": "4300.5", "reason": "why not"}, w=Wording.of("JPY", "ja-JP"))[1]["offer"]
    terms, _ = read({"offer": "4300.125", "reason": "why not"}, w=Wording.of("KWD", "en-US"))
    assert terms is not None and str(terms.offer) == "4300.125"
    terms, _ = read({})
    assert terms is not None and str(terms.offer) == "4300.00"


def test_outside_the_plan_a_reason_is_needed_and_inside_none_is_kept() -> None:
    plan = named_plan(quoted())
    assert plan is not None
    for offer in (plan.buyer.open - 1, plan.buyer.stop + 1):
        typed = {"offer": f"{offer:g}"}
        terms, problems = read(typed)
        assert terms is None and "outside our plan" in problems["reason"] and "Only the house" in problems["reason"]
        assert read({**typed, "reason": " . "})[0] is None
        terms, _ = read({**typed, "reason": " they were firm "})
        assert terms is not None and terms.reason == "they were firm"
    for offer in (plan.buyer.open, plan.buyer.aim, plan.buyer.stop):
        terms, _ = read({"offer": f"{offer:g}", "reason": "typed before"})
        assert terms is not None and terms.reason == ""


def test_without_a_plan_every_offer_needs_a_reason() -> None:
    assert quoted("no-fair-cash-price").plan is None
    assert not within_plan(Decimal(4300), quoted("no-fair-cash-price"))
    assert "no plan" in read({}, name="no-fair-cash-price")[1]["reason"]


@pytest.mark.parametrize("typed", ["0", "-2", "51", "two", "0.001"])
def test_a_move_of_the_price_that_is_none_is_refused(typed: str) -> None:
    terms, problems = read({"spot_move": typed})
    assert terms is None and typed in problems["spot_move"]


@pytest.mark.parametrize(("typed", "frac"), [("2", "0.02"), ("2 %", "0.02"), ("1.5%", "0.015"), ("0,5", "0.005")])
def test_a_move_of_the_price_is_per_cent_on_the_form(typed: str, frac: str) -> None:
    terms, _ = read({"spot_move": typed})
    assert terms is not None and terms.spot_move_frac == Decimal(frac)


def test_an_old_price_is_confirmed_in_words_and_a_fresh_one_is_not() -> None:
    assert "say in a few words" in read({"stale_price": "  -"}, age=timedelta(hours=30))[1]["stale_price"]
    terms, _ = read({"stale_price": "fixed by telephone"}, age=timedelta(hours=30))
    assert terms is not None and terms.stale_price == "fixed by telephone"
    terms, _ = read({"stale_price": "typed before"})
    assert terms is not None and terms.stale_price == ""


def test_when_a_price_is_old() -> None:
    four = House(limits=Limits(spot_age_hours=4))
    for hours, house, is_old in ((24, House(), False), (24.1, House(), True), (4.1, four, True), (3.9, four, False)):
        age = price_age(NOW - timedelta(hours=hours), NOW, house)
        assert (age is not None) == is_old
    assert price_age(None, NOW, House()) is None
    assert age_words(timedelta(minutes=90, seconds=59), W) == "90 minutes"
    assert age_words(timedelta(hours=30), W) == "30 hours" and age_words(timedelta(days=3, hours=5), W) == "3 days"


def test_everything_wrong_is_told_at_once() -> None:
    typed = {"offer": "x", "valid": "never", "spot_move": "x"}
    assert set(read(typed, age=timedelta(days=2))[1]) == {"offer", "valid", "spot_move", "stale_price"}


@given(st.dictionaries(st.sampled_from(["offer", "reason", "valid", "spot_move", "stale_price"]), st.text()))
def test_no_text_is_a_fault(typed: dict[str, str]) -> None:
    terms, problems = read(typed, age=timedelta(days=2))
    assert (terms is None) == bool(problems)
