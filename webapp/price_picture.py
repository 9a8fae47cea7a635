"""A price history -> the geometry of its picture: across in thousandths of the width, heights in pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from babel.dates import format_date

from webapp.wording import Wording

WIDTH, TOP, BOTTOM, HEIGHT = 1000, 22, 172, 200
MOST_DAYS = 90
LEAST_DAYS = 2
MOST_DOTS = 12
STEPS = 3


@dataclass(frozen=True)
class Level:
    """A line across at a price."""

    y: float
    label: str


@dataclass(frozen=True)
class Picture:
    """The last price of each day, as a line.

    Parameters
    ----------
    points : str
        Of the line, as SVG has them.
    dots : tuple of (float, float)
        Per cent across and height of each day while there are few, else of the newest.
    words : str
        What it shows, for those who do not see it.
    """

    points: str
    dots: tuple[tuple[float, float], ...]
    levels: tuple[Level, ...]
    first_day: str
    last_day: str
    words: str
    width: int = WIDTH
    height: int = HEIGHT
    bottom: int = BOTTOM


def picture_of(days: Sequence[date], amounts: Sequence[float], w: Wording, unit_words: str) -> Picture | None:
    """The newest days of a history; None while there are under two."""
    days, amounts = days[-MOST_DAYS:], amounts[-MOST_DAYS:]
    if len(days) < LEAST_DAYS:
        return None
    levels = _levels(min(amounts), max(amounts))
    low, high = levels[0], levels[-1]
    span = (days[-1] - days[0]).days

    def place(day: date, amount: float) -> tuple[float, float]:
        return round(WIDTH * (day - days[0]).days / span, 1), round(_height(amount, low, high), 1)

    spots = tuple(place(day, amount) for day, amount in zip(days, amounts, strict=True))
    decimals = max(0, -math.floor(math.log10(levels[1] - levels[0]) + 1e-9))
    first, last = (format_date(day, "medium", w.locale) for day in (days[0], days[-1]))
    words = (
        f"{len(days)} days, {first} to {last}: between {w.money(min(amounts))} and {w.money(max(amounts))} "
        f"{unit_words}, at the end {w.money(amounts[-1])}."
    )
    return Picture(
        points=" ".join(f"{x:g},{y:g}" for x, y in spots),
        dots=tuple((round(x / 10, 2), y) for x, y in (spots if len(spots) <= MOST_DOTS else spots[-1:])),
        levels=tuple(Level(round(_height(one, low, high), 1), w.number(one, decimals)) for one in levels),
        first_day=first,
        last_day=last,
        words=words,
    )


def _height(amount: float, low: float, high: float) -> float:
    return BOTTOM - (BOTTOM - TOP) * (amount - low) / (high - low)


def _levels(low: float, high: float) -> list[float]:
    """Round prices, evenly apart, the first not above the lowest and the last not below the highest."""
    spread = max(high - low, 0.002 * high)
    rough = spread / STEPS
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * factor for factor in (1, 2, 2.5, 5, 10) if size * factor >= rough * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(step * i, 12) for i in range(first, max(last, first + 1) + 1)]
