"""The newest figure that each side has said, and the figures that the house may offer."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

from valuation import Quote


def newest(quote: Quote, by: Literal["buyer", "seller"]) -> float | None:
    """The last figure that a side has said; None if it has said none."""
    said = () if quote.counters is None else quote.counters.said
    return next((row.figure for row in reversed(said) if row.by == by), None)


def asked(quote: Quote) -> float | None:
    """What the seller wants now: the last figure said, else the asking price with all that is paid on top."""
    said = newest(quote, "seller")
    return said if said is not None or quote.ask is None else quote.ask.all_in


class Choice(NamedTuple):
    """A figure that the house may offer: why, how much, and how it is typed into the form."""

    why: str
    figure: float

    @property
    def typed(self) -> str:
        """Digits alone, without zeros that say nothing."""
        return f"{self.figure:.4f}".rstrip("0").rstrip(".")


def choices(quote: Quote) -> tuple[Choice, ...]:
    """What the house may offer by its plan, and what it answers next; each figure once."""
    found: dict[float, Choice] = {}
    for choice in _choices(quote):
        found.setdefault(choice.figure, choice)
    return tuple(found.values())


def _choices(quote: Quote) -> Iterator[Choice]:
    if quote.counters is not None and quote.counters.said[-1].by == "seller":
        answer = quote.counters.next
    else:
        answer = None if quote.ask is None else quote.ask.counter
    if answer is not None and answer.by == "buyer" and answer.figure is not None:
        yield Choice("answer", answer.figure)
    if quote.plan is not None:
        plan = quote.plan.buyer
        yield from (Choice("open at", plan.open), Choice("aim for", plan.aim), Choice("stop at", plan.stop))
