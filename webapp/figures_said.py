"""The newest figure that each side has said."""

from __future__ import annotations

from typing import Literal

from valuation import Quote


def newest(quote: Quote, by: Literal["buyer", "seller"]) -> float | None:
    """The last figure that a side has said; None if it has said none."""
    said = () if quote.counters is None else quote.counters.said
    return next((row.figure for row in reversed(said) if row.by == by), None)


def asked(quote: Quote) -> float | None:
    """What the seller wants now: the last figure said, else the asking price with all that is paid on top."""
    said = newest(quote, "seller")
    return said if said is not None or quote.ask is None else quote.ask.all_in


def typed(figure: float) -> str:
    """A figure as one types it: digits alone, without zeros that say nothing."""
    return f"{figure:.4f}".rstrip("0").rstrip(".")
