"""The life of an offer sheet: what may happen to it, and when its offer lapses. No clock, no store.

Written, handed over, agreed, settled; or turned down; or lapsed. A newer revision replaces the one before it, until
the deal is agreed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from decimal import Decimal
from typing import Literal, get_args

from valuation.mass import MassUnit, grams_per

State = Literal["written", "handed_over", "agreed", "turned_down", "lapsed", "settled"]
Kind = Literal[
    "written", "handed_over", "replaced", "agreed", "turned_down", "lapsed", "settled", "by_mistake", "reference_erased"
]
Lapse = Literal["time", "price"]
STATES: tuple[State, ...] = get_args(State)
LONGEST_VALIDITY = timedelta(days=3660)

# What may be told of a sheet, by its state at that moment; the other deeds follow from what the program itself does.
MAY_FOLLOW: Mapping[State, frozenset[Kind]] = {
    "written": frozenset(),
    "handed_over": frozenset({"agreed", "turned_down"}),
    "agreed": frozenset({"settled", "by_mistake"}),
    "turned_down": frozenset({"by_mistake"}),
    "lapsed": frozenset({"lapsed", "turned_down"}),
    "settled": frozenset({"settled"}),  # a correction of what was noted
}
MAY_BE_HANDED_OVER: frozenset[State] = frozenset({"written", "handed_over", "turned_down", "lapsed"})

_SAID: Mapping[State, str] = {
    "written": "is written but not handed over",
    "handed_over": "is handed over and open",
    "agreed": "is agreed",
    "turned_down": "was turned down",
    "lapsed": "has lapsed",
    "settled": "is settled",
}
_WANTED: Mapping[str, str] = {
    "agreed": "be agreed",
    "turned_down": "be turned down",
    "lapsed": "be noted as lapsed",
    "settled": "be settled",
    "by_mistake": "be noted as a mistake",
    "handed_over": "be handed over",
}
_DO: Mapping[State, str] = {
    "written": "Hand it over first.",
    "handed_over": "Only what is agreed can be settled, and only an offer that is over can be noted as lapsed.",
    "agreed": "What is agreed stays as it is; write a new sheet for a new deal.",
    "turned_down": "Hand over a new revision first.",
    "lapsed": "Hand over a new revision, at today's price, first.",
    "settled": "It is finished; write a new sheet for a new deal.",
}


@dataclass(frozen=True)
class Validity:
    """What ends an offer by itself.

    Parameters
    ----------
    until : datetime
        The last moment at which it holds, with its time zone.
    currency : str
        Of the gold price that it is judged by.
    gold_low_per_g, gold_high_per_g : float or None
        Gold prices [money/g] beyond which it no longer holds; None: only time ends it.
    """

    until: datetime
    currency: str
    gold_low_per_g: float | None = None
    gold_high_per_g: float | None = None


def price_per_g(price: str | Decimal, unit: MassUnit) -> float:
    """A price per mass unit as money per gram, the form in which prices are compared."""
    return float(Decimal(price) / Decimal(str(grams_per(unit))))


def validity(
    until: datetime, currency: str, gold_price: str | Decimal, unit: MassUnit, spot_move_frac: str | Decimal | None
) -> Validity:
    """What ends an offer that was made at this gold price; `spot_move_frac` None: only time does.

    Raises
    ------
    ValueError
        The moment has no time zone, or the move is not above 0.
    """
    if until.tzinfo is None:
        raise ValueError("a moment needs its time zone")
    if spot_move_frac is None:
        return Validity(until, currency)
    price, move = Decimal(gold_price), Decimal(spot_move_frac)
    if not move > 0:
        raise ValueError("a move of the gold price is above 0")
    # Both computed as a newest price is, so that exactly the set per cent has not moved past it.
    low, high = (price_per_g(price * (1 + sign * move), unit) for sign in (-1, 1))
    return Validity(until, currency, max(low, 0.0), high)


def lapses(offer: Validity, now: datetime, gold_per_g: Mapping[str, float]) -> Lapse | None:
    """What has ended an offer: its time, a move of the gold price, or nothing yet.

    Parameters
    ----------
    offer : Validity
    now : datetime
        With its time zone. The offer still holds at its last moment itself.
    gold_per_g : mapping of str to float
        The newest gold price, entered or fed [money/g], by currency. With none in the offer's, only time ends it.
    """
    if offer.until.astimezone(UTC) < now.astimezone(UTC):  # two of one zone would be compared by their clocks alone
        return "time"
    newest = gold_per_g.get(offer.currency)
    if newest is None or offer.gold_low_per_g is None or offer.gold_high_per_g is None:
        return None
    return None if offer.gold_low_per_g <= newest <= offer.gold_high_per_g else "price"


def state_of(kept: State, offer: Validity | None, now: datetime, gold_per_g: Mapping[str, float]) -> State:
    """The state of a sheet now: what is kept of it, unless its offer has lapsed meanwhile."""
    if kept == "handed_over" and offer is not None and lapses(offer, now, gold_per_g):
        return "lapsed"
    return kept


def kept_after(kinds: Sequence[Kind]) -> State:
    """The state that deeds leave, without those that were noted by mistake; of one revision, in order."""
    stood: list[State] = []
    for kind in kinds:
        if kind == "by_mistake" and len(stood) > 1:
            stood.pop()
        elif kind in ("handed_over", "agreed", "turned_down", "lapsed", "settled"):
            stood.append(kind)
    return stood[-1] if stood else "written"


def why_not(kind: Kind, state: State) -> str | None:
    """Why a deed is not allowed in a state, as a sentence that says what to do; None where it is."""
    allowed = state in MAY_BE_HANDED_OVER if kind == "handed_over" else kind in MAY_FOLLOW[state]
    return None if allowed else f"This sheet {_SAID[state]}, so it cannot {_WANTED[kind]}. {_DO[state]}"


# ---- until when


_SPAN = re.compile(r"(\d{1,6})\s*(minute|min|hour|h|day|d|week|w)s?", re.IGNORECASE)
_MOMENT = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[T\s]+(\d{1,2}:\d{2}(?::\d{2})?)\s*(Z|[+-]\d{2}:?\d{2})?)?", re.IGNORECASE)
_ASK = "Type a date (2026-11-27), a date and a time (2026-11-27 18:00) or how long (3 days, 48 hours)."


class ValidityRefused(ValueError):  # noqa: N818
    """A text that is no moment until which an offer can hold; says what to type instead."""


def valid_until_from(text: str, now: datetime, zone: tzinfo) -> datetime:
    """The last moment of an offer, from what was typed.

    Parameters
    ----------
    text : str
        A date, to its end in the shop's zone; a date and a time there, or with an offset; or a number of minutes,
        hours, days or weeks from now. Days and weeks keep the time of the day. Where that time is left out by the
        clocks, the offer holds as much longer; where it comes twice, until the second.
    now : datetime
        With its time zone.
    zone : tzinfo
        Of the shop.

    Raises
    ------
    ValidityRefused
        Not such a text; a time that the clocks leave out or that comes twice; not after now; beyond ten years.
    """
    typed = text.strip()
    if span := _SPAN.fullmatch(typed):
        until = _after(int(span[1]), span[2][0].lower(), now, zone)
    elif moment := _MOMENT.fullmatch(typed):
        until = _at(typed, moment, zone)
    else:
        raise ValidityRefused(f"{_quoted(typed)} is not understood. {_ASK}")
    ahead = until.astimezone(UTC) - now.astimezone(UTC)
    if ahead <= timedelta(0):
        raise ValidityRefused(f"{_quoted(typed)} is over already. Type a later moment.")
    if ahead > LONGEST_VALIDITY:
        raise ValidityRefused(f"{_quoted(typed)} is more than ten years away. Type an earlier moment.")
    return until


def _quoted(typed: str) -> str:
    return f"“{typed[:40]}”" if typed else "Nothing"


def _after(count: int, unit: str, now: datetime, zone: tzinfo) -> datetime:
    if unit in "mh":
        minutes = min(count * (60 if unit == "h" else 1), 10_000_000)
        return (now.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(zone)
    days = min(count * (7 if unit == "w" else 1), LONGEST_VALIDITY.days + 2)
    wall = now.astimezone(zone).replace(tzinfo=None) + timedelta(days=days)
    # The second of two; and in a gap, the offset before it, which is as much later as the clocks jump.
    return _instant(wall, zone, fold=0 if _skipped(wall, zone) else 1)


def _at(typed: str, moment: re.Match[str], zone: tzinfo) -> datetime:
    try:
        day = date.fromisoformat(moment[1])
        if moment[2] is None:
            return _end(day, zone)
        clock = time.fromisoformat(moment[2].zfill(5 if moment[2].count(":") == 1 else 8))
        if moment[3]:
            return datetime.fromisoformat(f"{day}T{clock}{moment[3].upper()}").astimezone(zone)
    except (ValueError, OverflowError):
        raise ValidityRefused(f"{_quoted(typed)} is no date or time that there is. {_ASK}") from None
    wall = datetime.combine(day, clock)
    if _skipped(wall, zone):
        jump = _offset(wall, zone, 0), _offset(wall, zone, 1)
        later = wall + (jump[1] - jump[0])
        raise ValidityRefused(
            f"{_quoted(typed)} does not exist: the clocks go forward then. Type {later:%Y-%m-%d %H:%M} or another time."
        )
    first, second = (_instant(wall, zone, fold) for fold in (0, 1))
    if first.utcoffset() != second.utcoffset():
        raise ValidityRefused(
            f"{_quoted(typed)} comes twice, as the clocks go back then. Type {first:%Y-%m-%d %H:%M}{_said(first)} for "
            f"the first or {second:%Y-%m-%d %H:%M}{_said(second)} for the second."
        )
    return first


def _end(day: date, zone: tzinfo) -> datetime:
    """The last second of a day; its end is where the next begins, which may be later than midnight."""
    midnight = datetime.combine(day + timedelta(days=1), time())
    begins = _instant(midnight, zone, fold=0)
    if _skipped(midnight, zone):
        begins = begins.astimezone(UTC).astimezone(zone)
        back = begins.replace(tzinfo=None) - midnight
        begins -= back  # to the moment of the jump itself, counted on the clock after it
    return (begins.astimezone(UTC) - timedelta(seconds=1)).astimezone(zone)


def _offset(wall: datetime, zone: tzinfo, fold: int) -> timedelta:
    offset = wall.replace(tzinfo=zone, fold=fold).utcoffset()
    assert offset is not None
    return offset


def _skipped(wall: datetime, zone: tzinfo) -> bool:
    """Whether the clocks never show this. PEP 495: in a gap the offset of fold 0 is the lesser."""
    return _offset(wall, zone, 0) < _offset(wall, zone, 1)


def _instant(wall: datetime, zone: tzinfo, fold: int) -> datetime:
    return wall.replace(tzinfo=zone, fold=fold).astimezone(UTC).astimezone(zone)


def _said(moment: datetime) -> str:
    return moment.isoformat()[-6:]
