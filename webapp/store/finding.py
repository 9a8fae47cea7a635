"""Finding sheets: by words in number, title, description and seller's reference, by state and date; in order, by page.

A page goes on from the last sheet of the one before it, not from a count of sheets, so that one that is added or
changed meanwhile makes none come twice or be left out.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from sqlalchemy import Connection, TextClause, bindparam, select, text

from webapp.sheet_life import STATES, State
from webapp.store.database import Store
from webapp.store.sheets import LISTED, Listed, listed
from webapp.store.tables import Moment
from webapp.store.tables import sheets as table
from webapp.store.words import LONGEST_PART, asked, query

Order = Literal["date", "number", "title", "offer"]

PER_PAGE = 50
LAST = "last"  # the place of the last page
FEW = 4000  # sheets that hold the words, or are in the states: up to so many are all put in order
COUNTED = 1000  # where more hold the words and there are other conditions, so many are counted
_ORDERS: Mapping[Order, str] = {
    "date": "dated_at",
    "number": "number_order",
    "title": "title_order",
    "offer": "offer_order",
}


_HOLDING = text(f"SELECT rowid FROM sheet_words WHERE sheet_words MATCH :words LIMIT {FEW + 1}")
_HELD = text("SELECT count(*) FROM sheet_words WHERE sheet_words MATCH :words")
_BY_KEYS = select(*LISTED).where(table.c.key.in_(bindparam("keys", expanding=True)))


@dataclass(frozen=True)
class Wanted:
    """Which sheets, in which order.

    Parameters
    ----------
    text : str
        Words, all of which a sheet has to hold, each perhaps as a part of a longer one.
    states : tuple of State
        As they are now; empty for all.
    since, until : datetime or None
        First moment, and the first one after the last, of the newest handing over, of the writing where there is none.
    order : Order
        Sheets without a number come after all numbers, those without an offer before all offers.
    descending : bool
    """

    text: str = ""
    states: tuple[State, ...] = ()
    since: datetime | None = None
    until: datetime | None = None
    order: Order = "date"
    descending: bool = True


@dataclass(frozen=True)
class Found:
    """One page of what was found.

    Parameters
    ----------
    sheets : tuple of Listed
    count : int
        Of all that was found; at least so many where `is_counted` is False.
    is_counted : bool
        Whether all were counted; not so where very many sheets hold the words.
    first : int or None
        Place of the page's first sheet among them, from 1; None where it is not known, or the page is empty.
    previous, next : str or None
        The `place` of the pages beside it.
    """

    sheets: tuple[Listed, ...]
    count: int
    is_counted: bool
    first: int | None
    previous: str | None
    next: str | None


_Key = tuple[Any, int]  # what a sheet is put in order by, and its key


@dataclass(frozen=True)
class _Place:
    """A page before or after a sheet, or, with none, at an end; `first` and `count` as in `Found`, from there on."""

    backwards: bool = False
    beside: _Key | None = None
    first: int | None = None
    count: int = 0

    def __str__(self) -> str:
        told = json.dumps([self.backwards, self.beside, self.first, self.count], separators=(",", ":"))
        return base64.urlsafe_b64encode(told.encode()).decode().rstrip("=")


@dataclass(frozen=True)
class _Slice:
    """The keys of a page among all; whether there are more before and after it."""

    keys: list[_Key]
    first: int | None
    before: bool
    after: bool
    count: int
    is_counted: bool = True


def found(store: Store, wanted: Wanted, now: datetime, gold_per_g: Mapping[str, float], place: str = "") -> Found:
    """A page of the sheets that are wanted. Writes nothing.

    Parameters
    ----------
    now, gold_per_g
        By which offers have lapsed, as in `webapp.sheet_life.lapses`.
    place : str
        `Found.previous` or `Found.next` of a page of the same order, or `LAST`; anything else is the first page.
    """
    words, where = asked(wanted.text), _place(place, wanted.order)
    if wanted.text.strip() and not words:
        return Found((), 0, True, None, None, None)
    asks = _Asks(wanted, now, gold_per_g)
    with store.reading() as connection:
        few, held = asks.few(connection, words)
        if few is not None:
            asks.only(few, words)
            part = _sliced(asks.keys(connection), where, wanted.descending)
        else:
            asks.only_with(words)
            part = asks.page(connection, where, held)
        sheets = _listed(connection, part.keys)
    if not part.keys:
        return Found((), part.count, part.is_counted, None, None, None)
    previous = next_ = None
    if part.before:
        previous = str(_Place(True, part.keys[0], part.first and max(1, part.first - PER_PAGE), part.count))
    if part.after:
        next_ = str(_Place(False, part.keys[-1], part.first and part.first + len(part.keys), part.count))
    return Found(sheets, part.count, part.is_counted, part.first, previous, next_)


def _place(told: str, order: Order) -> _Place:
    if told == LAST:
        return _Place(backwards=True)
    try:
        backwards, (value, key), first, count = json.loads(base64.urlsafe_b64decode(told.encode() + b"=="))
        fits = isinstance(value, str) and value.encode() if order in ("date", "title") else _is_number(value)
    except (ValueError, TypeError, RecursionError):
        return _Place()
    whole = (key, count) if first is None else (key, count, first)
    if not isinstance(backwards, bool) or fits is False or not all(_is_number(x) and isinstance(x, int) for x in whole):
        return _Place()
    return _Place(backwards, (value, key), first, count)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and abs(value) < 2**63  # more than the database can ask for


def _sliced(keys: list[_Key], place: _Place, descending: bool) -> _Slice:
    """The page of a place among all keys, which are in order."""
    beside = place.beside
    if place.backwards:
        end = len(keys) if beside is None else sum((key > beside) if descending else (key < beside) for key in keys)
        start = max(0, end - PER_PAGE)
    else:
        start = 0 if beside is None else sum((key >= beside) if descending else (key <= beside) for key in keys)
        end = min(len(keys), start + PER_PAGE)
    return _Slice(keys[start:end], start + 1, start > 0, end < len(keys), len(keys))


def _listed(connection: Connection, keys: list[_Key]) -> tuple[Listed, ...]:
    wanted = [key for _, key in keys]
    rows = {row.key: row for row in connection.execute(_BY_KEYS, {"keys": wanted})}
    return tuple(listed(rows[key]) for key in wanted)


class _Asks:
    """The statements for what is wanted.

    What is rare is found by its own index and put in order; what is not is met soon on a walk along the index of the
    order, which holds all that is filtered by (INDEXED BY, as the planner does not know which it is).
    """

    def __init__(self, wanted: Wanted, now: datetime, gold_per_g: Mapping[str, float]) -> None:
        self.column, self.descending = _ORDERS[wanted.order], wanted.descending
        self.in_order = f"sheets INDEXED BY sheets_in_order_of_{wanted.order}"
        self.values: dict[str, Any] = {}
        self.conditions: list[str] = []
        self.is_by_words = False
        self._filter_by_state(wanted.states, now, gold_per_g)
        for name, sign, moment in (("since", ">=", wanted.since), ("until", "<", wanted.until)):
            if moment is not None:
                self.conditions.append(f"dated_at {sign} :{name}")
                self.values[name] = moment
        # Between two dates lie fewer, as a rule, than are in a state; the planner does not know.
        between = wanted.since is not None and wanted.until is not None
        self.source = "sheets INDEXED BY sheets_in_order_of_date" if between else "sheets"

    def _filter_by_state(self, states: tuple[State, ...], now: datetime, gold_per_g: Mapping[str, float]) -> None:
        if not states or set(states) >= set(STATES):
            return
        named = {state: f"state = '{state}'" for state in STATES}
        kept = {"handed_over", *states} if "lapsed" in states else set(states)
        self.conditions.append(f"state IN ({', '.join(repr(state) for state in STATES if state in kept)})")
        if {"handed_over", "lapsed"} & set(states):
            over = self._over(now, gold_per_g)
            named["handed_over"] = f"(state = 'handed_over' AND NOT {over})"
            named["lapsed"] = f"(state = 'lapsed' OR (state = 'handed_over' AND {over}))"
        self.conditions.append(f"({' OR '.join(named[state] for state in STATES if state in states)})")

    def _over(self, now: datetime, gold_per_g: Mapping[str, float]) -> str:
        ends = ["valid_until < :now"]
        self.values["now"] = now
        for i, (currency, price) in enumerate(gold_per_g.items()):
            ends.append(f"(currency = :currency{i} AND (:price{i} < gold_low_per_g OR :price{i} > gold_high_per_g))")
            self.values |= {f"currency{i}": currency, f"price{i}": price}
        return f"coalesce({' OR '.join(ends)}, 0)"

    def few(self, connection: Connection, words: tuple[str, ...]) -> tuple[list[int] | None, int | None]:
        """Keys of the sheets that hold the words, else of those in the states and dates, if either are few.

        And, if neither are, how many hold the words, where nothing else is asked for.
        """
        held, asked_for = None, {"words": query(words)}
        if len(words) == 1:  # counted faster than read
            held = connection.execute(_HELD, asked_for).scalar_one()
        if words and (held is None or held <= FEW):
            keys = list(connection.execute(_HOLDING, asked_for).scalars())
            if len(keys) <= FEW:
                return keys, None
        if self.conditions:
            statement = f"SELECT key FROM {self.source}{_where(self.conditions)} LIMIT {FEW + 1}"
            keys = list(connection.execute(_typed(statement, self.values), self.values).scalars())
            return (keys if len(keys) <= FEW else None), None
        if words and held is None:
            held = connection.execute(_HELD, asked_for).scalar_one()
        return None, None if any(len(word) > LONGEST_PART for word in words) else held

    def only(self, keys: list[int], words: tuple[str, ...]) -> None:
        """Ask only for those of these sheets that hold the words."""
        self.conditions.append("key IN (SELECT value FROM json_each(:few))")
        self.values["few"] = json.dumps(keys)
        self.only_with(words)

    def only_with(self, words: tuple[str, ...]) -> None:
        """Ask only for sheets that hold these words, seen by looking."""
        self.is_by_words = bool(words)
        for i, word in enumerate(words):
            self.conditions.append(f"instr((SELECT words FROM sheet_texts WHERE sheet = key), :word{i})")
            self.values[f"word{i}"] = word

    def keys(self, connection: Connection) -> list[_Key]:
        """Those of all that is asked for, in order."""
        return self._keys(connection, "sheets", self.descending, self.conditions, self.values, None)

    def page(self, connection: Connection, place: _Place, held: int | None) -> _Slice:
        """The page of a place; `held` is how many there are, where that is known already."""
        down = self.descending != place.backwards
        conditions, values = list(self.conditions), dict(self.values)
        if place.beside is not None:
            conditions.append(f"({self.column}, key) {'<' if down else '>'} (:beside, :beside_key)")
            values["beside"], values["beside_key"] = place.beside
        # Words are looked up sheet by sheet: at an end, one walk gives the page and the count, as far as it goes.
        # The other pages are told the count.
        is_walking = self.is_by_words and held is None
        most = COUNTED if is_walking and place.beside is None else PER_PAGE + 1
        keys = self._keys(connection, self.in_order, down, conditions, values, most)
        if place.beside is not None:
            count = place.count
        elif is_walking:
            count = len(keys)
        else:
            count = self._count(connection) if held is None else held
        more, keys = len(keys) > PER_PAGE, keys[:PER_PAGE]
        is_counted = not is_walking or count < COUNTED
        if not place.backwards:
            return _Slice(keys, place.first if place.beside else 1, place.beside is not None, more, count, is_counted)
        keys.reverse()
        first = place.first if place.beside else count - len(keys) + 1 if is_counted else None
        return _Slice(keys, first if more else 1, more, place.beside is not None, count, is_counted)

    def _keys(
        self,
        connection: Connection,
        source: str,
        down: bool,
        conditions: list[str],
        values: dict[str, Any],
        most: int | None,
    ) -> list[_Key]:
        direction = "DESC" if down else "ASC"
        limit = f" LIMIT {most}" if most else ""
        statement = (
            f"SELECT {self.column}, key FROM {source}{_where(conditions)}"
            f" ORDER BY {self.column} {direction}, key {direction}{limit}"
        )
        return [(place, key) for place, key in connection.execute(_typed(statement, values), values)]

    def _count(self, connection: Connection) -> int:
        statement = f"SELECT count(*) FROM {self.source}{_where(self.conditions)}"
        return int(connection.execute(_typed(statement, self.values), self.values).scalar_one())


def _where(conditions: list[str]) -> str:
    return f" WHERE {' AND '.join(conditions)}" if conditions else ""


def _typed(statement: str, values: Mapping[str, Any]) -> TextClause:
    moments = [name for name in ("now", "since", "until") if name in values]
    return text(statement).bindparams(*(bindparam(name, type_=Moment()) for name in moments))
