"""The two faces of one form: quoting a piece, and checking an asking price."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from valuation import Quote


@dataclass(frozen=True)
class Face:
    """How a draft is looked at: which groups of the form stand open, and in what order.

    Parameters
    ----------
    kind : str
        What the store calls it.
    address : str
        First part of its address.
    name, title, other : str
        Words for this face while it is blank and later, and for the way to the other one.
    wants : tuple of str
        Fields that it needs besides those of any figure.
    """

    kind: Literal["quote", "ask"]
    address: str
    name: str
    title: str
    other: str
    order: tuple[str, ...]
    opened: frozenset[str]
    wants: tuple[str, ...] = ()


QUOTE = Face(
    "quote",
    "quotes",
    "New quote",
    "Quote",
    "See it as a check of the asking price",
    ("specimen", "gold", "spot", "refiner", "balance", "metal", "collector", "buyer", "seller", "ask", "said"),
    frozenset({"gold", "spot"}),
)
ASK = Face(
    "ask",
    "asks",
    "Check an asking price",
    "Check of an asking price",
    "Make it a full quote",
    ("ask", "spot", "gold", "refiner", "balance", "metal", "collector", "buyer", "seller", "said", "specimen"),
    frozenset({"ask", "spot", "gold"}),
    ("seller.asks.price",),
)
FACES = {face.address: face for face in (QUOTE, ASK)}

SHORT_VERDICTS = {
    "below_floor": "Good for us, and oddly low",
    "under": "Worth paying, and low",
    "inside": "A fair price",
    "above_fair": "Worth paying, but high",
    "above_ceiling": "Too much",
    "below_known_alternative": "Worth paying, and oddly low",
    "no_deal_low": "Too much for us",
    "no_deal": "Too much",
    "not_by_weight": "Cannot be judged by weight",
}


def short_verdict(quote: Quote) -> str:
    """The verdict on what is asked now in a few words."""
    ask = quote.ask
    if ask is None:
        return ""
    if ask.verdict == "floor_unknown":
        within = ask.worth_paying is not None and ask.all_in <= ask.worth_paying
        return "Worth paying" if within else "Too much"
    if ask.verdict == "below_floor" and ask.floor_assumed:
        return SHORT_VERDICTS["under"]
    return SHORT_VERDICTS[ask.verdict]
