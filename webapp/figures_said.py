"""The newest figure that each side has said."""

from __future__ import annotations

from typing import Literal

from valuation import Quote
from valuation.trade import SaidRow


def newest(quote: Quote, by: Literal["buyer", "seller"]) -> SaidRow | None:
    """The last figure that a side has said; None if it has said none."""
    said = () if quote.counters is None else quote.counters.said
    return next((row for row in reversed(said) if row.by == by), None)


def typed(figure: float) -> str:
    """A figure as one types it: digits alone, without zeros that say nothing."""
    return f"{figure:.4f}".rstrip("0").rstrip(".")
