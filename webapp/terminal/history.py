"""The volatility of a price history, and how to put it into a request."""

import math
from collections.abc import Iterator, Sequence
from typing import Any

from rich.console import RenderableType

from valuation.history import Volatility
from webapp.price_file import PriceRow
from webapp.terminal.page import Page

KEY = "volatility_per_year"


def told(page: Page, found: Volatility, rows: Sequence[PriceRow]) -> Iterator[RenderableType]:
    w = page.w
    yield page.text(f"Volatility: {w.percent(found.per_year, 1)} a year", "bold")
    figures = [
        ("Days in the file", w.number(len(rows), 0)),
        ("Without a price", w.number(sum(math.isnan(row.price) for row in rows), 0)),
        ("Changes that it rests on", w.number(found.n_returns, 0)),
        ("From", found.first.isoformat()),
        ("To", found.last.isoformat()),
    ]
    yield page.table(figures, "lr")
    again = len(rows) - len({row.day for row in rows})
    if again:
        yield page.inset(page.text(f"Days given twice: {again}; the later line counts."))
    yield page.heading("Left out as wild", "unlike the days before and after, which agree with each other")
    dropped = [
        f"line {row.line}: {row.day.isoformat()}, {w.number(row.price, 6, least=0)}" for row in _wild(found, rows)
    ]
    yield page.bullets(dropped or ["none"])
    yield page.heading("In a request")
    lines = ("[spot]", f"gold_{KEY} = {per_year(found)}")
    yield page.inset(*map(page.text, lines))
    yield page.inset(page.text(f"For a history of silver: silver_{KEY}.", "dim"))


def per_year(found: Volatility) -> float:
    """The volatility as a request would state it: four decimals."""
    return round(found.per_year, 4)


def as_json(found: Volatility, rows: Sequence[PriceRow]) -> dict[str, Any]:
    """The same for a program."""
    return {
        KEY: found.per_year,
        "changes": found.n_returns,
        "first": found.first.isoformat(),
        "last": found.last.isoformat(),
        "without_price": sum(math.isnan(row.price) for row in rows),
        "dropped": [{"line": row.line, "date": row.day.isoformat(), "price": row.price} for row in _wild(found, rows)],
    }


def _wild(found: Volatility, rows: Sequence[PriceRow]) -> list[PriceRow]:
    by_day = {row.day: row for row in rows if not math.isnan(row.price)}
    return [by_day[day] for day in found.dropped]
