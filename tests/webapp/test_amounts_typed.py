"""Amounts of money with a comma or a point before three digits, as different readers mean them.

Which mark groups in which locale is the Unicode CLDR's (Babel's copy): a reference outside the project.
"""

from datetime import UTC, datetime

import pytest
from babel import Locale
from werkzeug.datastructures import MultiDict

from valuation import RequestRefused
from webapp.amounts_typed import told_back, ungrouped
from webapp.forms import Reading
from webapp.retyped import blank_form
from webapp.typed import Typed

NOW = datetime(2026, 5, 4, 15, 30, tzinfo=UTC)
ENOUGH = {
    "weighing.dry_g": "412.60",
    "weighing.submerged_g": "271.35",
    "weighing.readability_g": "0.05",
    "spot.gold": "4100",
}


def reading(locale: str | None, **texts: str) -> Reading:
    typed: MultiDict[str, str] = MultiDict(blank_form({"spot": {"currency": "USD", "unit": "ozt"}}).texts)
    for name, text in {**ENOUGH, **{name.replace("__", "."): text for name, text in texts.items()}}.items():
        typed[name] = text
    return Reading(Typed(typed), NOW, UTC, Locale.parse(locale) if locale else None)


@pytest.mark.parametrize("locale", ["en_US", "en_GB", "en_IN", "es_MX", "ja_JP"])
def test_where_commas_group_a_price_may_be_typed_as_the_screen_prints_it(locale: str) -> None:
    form = reading(locale, spot__gold="4,120", seller__asks__price=" 12,500 ", refiner__refining_per_ozt="1,250")
    request = form.request()
    assert request.spot.gold == 4120
    assert request.seller.asks is not None and request.seller.asks.price == 12_500
    assert request.refiner is not None and request.refiner.refining_per_ozt == 1250
    told = form.judged(()).read_as
    assert told["spot.gold"] == "4,120"
    assert told["seller.asks.price"] == "12,500"
    assert form.typed.text("seller.asks.price") == " 12,500 ", "what was typed is not touched"


@pytest.mark.parametrize("locale", ["de_DE", "fr_FR", "de_CH", "pt_BR", None])
def test_elsewhere_and_for_programs_it_stays_refused(locale: str | None) -> None:
    with pytest.raises(RequestRefused, match="thousands or decimals"):
        reading(locale, spot__gold="4,120").request()


@pytest.mark.parametrize("locale", ["en_US", "de_DE", None])
@pytest.mark.parametrize("name", ["weighing__dry_g", "weighing__submerged_g", "seller__claim__mass"])
def test_a_mass_is_refused_everywhere(locale: str | None, name: str) -> None:
    with pytest.raises(RequestRefused, match="thousands or decimals"):
        reading(locale, **{name: "1,234"}).request()


@pytest.mark.parametrize("locale", ["de_DE", "pt_BR", "it_IT"])
def test_where_points_group_a_decimal_point_is_told_back(locale: str) -> None:
    form = reading(locale, refiner__refining_per_ozt="4.120")
    refiner = form.request().refiner
    assert refiner is not None and refiner.refining_per_ozt == 4.12
    assert form.judged(()).read_as == {"refiner.refining_per_ozt": "4,12"}


def test_a_spread_of_money_is_read_part_by_part() -> None:
    texts = {"choose__collector": "price", "collector__price__low": "4,000", "collector__price__high": "6,500"}
    form = reading("en_US", **texts)
    collector = form.request().collector
    assert collector is not None and collector.price is not None
    assert form.judged(()).read_as == {"collector.price.low": "4,000", "collector.price.high": "6,500"}


@pytest.mark.parametrize(
    "text", ["4120", "4120.5", "4 120", "4,12", "4,1200", "0,120", "4,120.50", "1,234,567", "four"]
)
def test_what_leaves_no_doubt_is_left_to_the_engine(text: str) -> None:
    english = Locale.parse("en_US")
    assert ungrouped(text, english) == text
    assert told_back(text, english) == ""


def test_nothing_is_told_back_where_a_point_is_the_decimal_mark() -> None:
    assert told_back("4.120", Locale.parse("en_US")) == ""
