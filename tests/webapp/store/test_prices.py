"""Prices in the store: once per change, the newest of each, and never changed."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy import exc

from tests.webapp.store.test_opening import folder_of
from webapp.store import TextRefused, open_store, prices
from webapp.store.database import Store
from webapp.store.layout import known_layouts
from webapp.store.prices import Price

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def price(amount: float = 3900.0, minutes: float = 0, **changes: object) -> Price:
    at = NOON + timedelta(minutes=minutes)
    usual = {"metal": "gold", "currency": "USD", "unit": "ozt", "is_fed": True, "source": "Desk", "kept_at": at}
    return Price(price=amount, seen_at=at, **{**usual, **changes})  # type: ignore[arg-type]


def test_a_price_comes_back_as_it_was_kept(store: Store) -> None:
    told = price(address="https://prices.example/p", source="Desk «1» 金", amount=3912.4000000000001)
    assert prices.keep(store, told)
    assert prices.newest(store, "gold", "USD") == told
    assert prices.newest(store, "gold", "EUR") is None and prices.newest(store, "silver", "USD") is None


def test_it_is_kept_once_per_change(store: Store) -> None:
    kept = [
        prices.keep(store, price(amount, minutes)) for amount, minutes in [(1, 0), (1, 5), (2, 10), (2, 11), (1, 12)]
    ]
    assert kept == [True, False, True, False, True]
    assert [one.price for one in prices.listed(store, "gold", "USD").prices] == [1, 2, 1]


def test_the_same_price_is_kept_again_after_an_hour(store: Store) -> None:
    assert [prices.keep(store, price(1, minutes)) for minutes in (0, 59, 60, 61)] == [True, False, True, False]


def test_the_same_price_of_another_source_unit_or_kind_is_another(store: Store) -> None:
    for changes in (
        {},
        {"source": "Table"},
        {"unit": "g"},
        {"is_fed": False},
        {"currency": "EUR"},
        {"metal": "silver"},
    ):
        assert prices.keep(store, price(1, **changes))
        assert not prices.keep(store, price(1, **changes))


def test_a_price_of_an_earlier_moment_does_not_become_the_newest(store: Store) -> None:
    prices.keep(store, price(2, 10))
    assert prices.keep(store, price(1, 0))
    newest = prices.newest(store, "gold", "USD")
    assert newest is not None and newest.price == 2


def test_entered_and_fed_prices_are_one_history_and_told_apart(store: Store) -> None:
    prices.keep(store, price(1, 0))
    prices.keep(store, price(2, 1, is_fed=False, source=""))
    newest, fed = prices.newest(store, "gold", "USD"), prices.newest_fed(store, "gold", "USD")
    assert newest is not None and fed is not None and (newest.price, fed.price) == (2, 1)


def test_a_page_of_them_at_a_time(store: Store) -> None:
    for i in range(prices.PER_PAGE + 1):
        prices.keep(store, price(i + 1, i))
    first, second = prices.listed(store, "gold", "USD"), prices.listed(store, "gold", "USD", 2)
    assert (len(first.prices), first.last, first.prices[0].price, len(second.prices)) == (25, 2, 26, 1)
    assert prices.listed(store, "gold", "USD", 3).prices == () == prices.listed(store, "gold", "USD", 10**30).prices


def test_the_last_price_of_each_day_of_the_wall(store: Store) -> None:
    west = timezone(timedelta(hours=-7))
    for hours, amount in ((0, 1), (18, 2), (19, 3), (20, 4)):  # 05:00 and 23:00, then 00:00 and 01:00 of the next day
        prices.keep(store, price(amount, 60 * hours))
    assert {str(day): one.price for day, one in prices.daily(store, "gold", "USD", west, NOON).items()} == {
        "2026-11-25": 2,
        "2026-11-26": 4,
    }
    assert [one.price for one in prices.daily(store, "gold", "USD", west, NOON + timedelta(hours=19)).values()] == [4]


def test_the_newest_rate_of_each_currency(store: Store) -> None:
    for unit, amount, minutes in (("USD", 0.92, 0), ("USD", 0.93, 5), ("CHF", 1.05, 1)):
        prices.keep(store, price(amount, minutes, metal=prices.RATE, currency="EUR", unit=unit))
    assert [(rate.unit, rate.price) for rate in prices.rates(store, "EUR")] == [("CHF", 1.05), ("USD", 0.93)]
    assert prices.pairs(store) == [("exchange_rate", "EUR")]


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE prices SET price = 1",
        "DELETE FROM prices",
        "INSERT OR REPLACE INTO prices "
        "SELECT key, metal, currency, unit, 1, seen_at, kept_at, is_fed, source, address FROM prices",
    ],
)
def test_what_was_kept_never_changes_whatever_is_tried(store: Store, change: str) -> None:
    prices.keep(store, price())
    with pytest.raises(exc.IntegrityError), store.writing() as connection:
        connection.exec_driver_sql(change)
    assert prices.newest(store, "gold", "USD") == price()


def test_a_text_that_cannot_be_kept_keeps_nothing(store: Store) -> None:
    with pytest.raises(TextRefused):
        prices.keep(store, price(source="a\0b"))
    assert prices.listed(store, "gold", "USD").count == 0


@pytest.mark.parametrize("layout", [layout for layout in known_layouts() if layout >= "0003"])
def test_prices_of_an_earlier_layout_are_brought_up(tmp_path_factory: pytest.TempPathFactory, layout: str) -> None:
    store = open_store(folder_of(layout, tmp_path_factory.mktemp("folder")))
    at = datetime(2026, 1, 6, 9, 30, 0, 123456, tzinfo=UTC)
    assert prices.newest(store, "gold", "USD") == Price(
        "gold", "USD", "ozt", 3912.4, at, at, True, "Desk «1»", "https://prices.example/p"
    )
    silver = prices.newest(store, "silver", "EUR")
    assert silver == Price("silver", "EUR", "tola", 17.25, at, at, False, "entered by hand – 金")
    assert [rate.price for rate in prices.rates(store, "EUR")] == [0.92]
