"""Prices of gold and silver, and exchange rates, entered and fed: kept once per change, never edited."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from typing import Any

from sqlalchemy import Row, func, insert, select

from webapp.store.database import Store
from webapp.store.entries import sound
from webapp.store.tables import prices as table

GOLD, SILVER, RATE = "gold", "silver", "exchange_rate"
AGAIN = timedelta(hours=1)
PER_PAGE = 25
_NEWEST = (table.c.seen_at.desc(), table.c.key.desc())
_COLUMNS = [column for column in table.c if column.name != "key"]


@dataclass(frozen=True)
class Price:
    """A price and where it comes from.

    Parameters
    ----------
    metal : str
        ``gold``, ``silver`` or ``exchange_rate``.
    unit : str
        Mass unit that it is the price of; for an exchange rate, the currency of which one is priced.
    seen_at : datetime
        When it held.
    kept_at : datetime
        When it was kept.
    is_fed : bool
        By a feed; else entered by hand.
    source : str
        The feed's name, or what was said of an entered price.
    address : str
        The feed's, without its query.
    """

    metal: str
    currency: str
    unit: str
    price: float
    seen_at: datetime
    kept_at: datetime
    is_fed: bool
    source: str = ""
    address: str = ""


@dataclass(frozen=True)
class Page:
    """One page of the prices of something, the newest first; pages count from 1."""

    prices: tuple[Price, ...]
    number: int
    count: int

    @property
    def last(self) -> int:
        """Number of the last page."""
        return max(1, -(-self.count // PER_PAGE))


def keep(store: Store, price: Price) -> bool:
    """Keep a price unless it tells nothing new; committed when this returns.

    Returns whether it was kept. It tells nothing new if the newest price of the same thing, unit and source up to its
    moment is the same, and was seen less than an hour before it.

    Raises
    ------
    TextRefused
        A text holds the character NUL or half a character.
    StoreBusy, StoreFull, FolderRefused, DamagedStore
        It could not be written.
    """
    sound("source", price.source)
    sound("address", price.address)
    same = (
        table.c.metal == price.metal,
        table.c.currency == price.currency,
        table.c.unit == price.unit,
        table.c.is_fed == price.is_fed,
        table.c.source == price.source,
        table.c.seen_at <= price.seen_at,
    )
    with store.writing() as connection:
        last = connection.execute(select(*_COLUMNS).where(*same).order_by(*_NEWEST).limit(1)).one_or_none()
        if last is not None and last.price == price.price and price.seen_at - last.seen_at < AGAIN:
            return False
        connection.execute(insert(table), {name: getattr(price, name) for name in Price.__dataclass_fields__})
        return True


def newest(store: Store, metal: str, currency: str, unit: str | None = None) -> Price | None:
    """The newest price of something in a currency, fed or entered, of a unit if one is given. Writes nothing."""
    return next(iter(_newest(store, metal, currency, unit)), None)


def newest_fed(store: Store, metal: str, currency: str) -> Price | None:
    """The newest price that a feed told. Writes nothing."""
    return next(iter(_newest(store, metal, currency, None, table.c.is_fed)), None)


def _newest(store: Store, metal: str, currency: str, unit: str | None, *more: Any) -> Iterator[Price]:
    wanted = [table.c.metal == metal, table.c.currency == currency, *more]
    if unit is not None:
        wanted.append(table.c.unit == unit)
    with store.reading() as connection:
        rows = connection.execute(select(*_COLUMNS).where(*wanted).order_by(*_NEWEST).limit(1)).all()
    return (_price(row) for row in rows)


def fed_between(store: Store, metal: str, currency: str, first: datetime, last: datetime) -> tuple[Price, ...]:
    """The prices that feeds told of moments between two, both included, the newest first. Writes nothing."""
    wanted = (table.c.metal == metal, table.c.currency == currency, table.c.is_fed)
    chosen = select(*_COLUMNS).where(*wanted, table.c.seen_at.between(first, last)).order_by(*_NEWEST)
    with store.reading() as connection:
        return tuple(_price(row) for row in connection.execute(chosen))


def listed(store: Store, metal: str, currency: str, number: int = 1) -> Page:
    """The prices of something in a currency, the newest first, 25 a page. Writes nothing."""
    wanted = (table.c.metal == metal, table.c.currency == currency)
    with store.reading() as connection:
        count = connection.execute(select(func.count()).select_from(table).where(*wanted)).scalar_one()
        if not 1 <= number <= max(1, -(-count // PER_PAGE)):
            return Page((), number, count)
        chosen = select(*_COLUMNS).where(*wanted).order_by(*_NEWEST).limit(PER_PAGE).offset((number - 1) * PER_PAGE)
        rows = connection.execute(chosen).all()
    return Page(tuple(_price(row) for row in rows), number, count)


def daily(store: Store, metal: str, currency: str, zone: tzinfo, since: datetime) -> dict[date, Price]:
    """The last price of each day that has one, from a moment on, in the order of days. Writes nothing."""
    wanted = (table.c.metal == metal, table.c.currency == currency, table.c.seen_at >= since)
    with store.reading() as connection:
        rows = connection.execute(select(*_COLUMNS).where(*wanted).order_by(table.c.seen_at, table.c.key)).all()
    last = {row.seen_at.astimezone(zone).date(): row for row in rows}
    return {day: _price(row) for day, row in last.items()}


def rates(store: Store, currency: str) -> Sequence[Price]:
    """The newest exchange rate of each other currency into this one. Writes nothing."""
    with store.reading() as connection:
        wanted = select(table.c.unit).where(table.c.metal == RATE, table.c.currency == currency).distinct()
        units = connection.execute(wanted.order_by(table.c.unit)).scalars().all()
    found = (newest(store, RATE, currency, unit) for unit in units)
    return [rate for rate in found if rate is not None]


def pairs(store: Store) -> list[tuple[str, str]]:
    """What prices are kept of, and in which currencies. Writes nothing."""
    with store.reading() as connection:
        rows = connection.execute(
            select(table.c.metal, table.c.currency).distinct().order_by(table.c.metal, table.c.currency)
        ).all()
    return [(row.metal, row.currency) for row in rows]


def _price(row: Row[Any]) -> Price:
    return Price(**row._mapping)
