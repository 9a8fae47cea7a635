"""Where a bargain stands, for the head of the answer, and the figures that the house may offer."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from valuation import Quote
from valuation.trade import AskResult, Counter, SaidRow
from webapp import sentences, to_say
from webapp.naming import Naming
from webapp.retold import retold
from webapp.wording import Wording


class Named(NamedTuple):
    """A figure of the bargain for the head of the answer.

    Parameters
    ----------
    offer : float or None
        Where the house may offer it: the price in the quote's currency.
    cost : str
        What the figure costs all in, where that is more.
    say : str
        What to say aloud to the seller, for the answer.
    asks : bool
        Whether it is the seller's figure.
    """

    heading: str
    figure: str
    note: str = ""
    offer: float | None = None
    cost: str = ""
    say: str = ""
    asks: bool = False


def bargaining(quote: Quote, w: Wording) -> tuple[Named, ...]:
    """The newest figure of the bargain, and what to do: answer theirs, or wait for the answer to ours."""
    naming, ask = Naming(quote, w), quote.ask
    said = () if quote.counters is None else quote.counters.said
    ours = next((row for row in reversed(said) if row.by == "buyer"), None)
    crossed = ask is not None and ours is not None and ours.all_in >= ask.all_in
    if said and said[-1].by == "buyer" and not crossed:
        assert quote.counters is not None
        before = (
            "" if ask is None else f"Asked before that: {naming.spoken(ask.price)}. {sentences.asking_price(ask, w)}"
        )
        now = Named("We said", naming.spoken(said[-1].figure), before, cost=_cost(naming, said[-1].all_in))
        return now, Named(
            "Now", "wait", _waiting(quote.counters.next, said[-1], naming), say=to_say.waiting(said[-1], naming)
        )
    if ask is None:
        return ()
    we_said = "" if ours is None else f"We last said {naming.spoken(ours.figure)}."
    heading = "Now asked" if any(row.by == "seller" for row in said) else "Asked"
    first = "" if ask.price == ask.first_asked else f"First asked: {naming.spoken(ask.first_asked)}."
    note = " ".join(filter(None, (sentences.asking_price(ask, w), first, we_said)))
    asked = Named(heading, naming.spoken(ask.price), note, cost=_cost(naming, ask.all_in), asks=True)
    return asked, _answer(ask, naming)


def _cost(naming: Naming, all_in: float) -> str:
    return "" if naming.is_plain else f"all in {naming.w.price(all_in)}"


def in_words(quote: Quote, w: Wording) -> list[str]:
    """The same as sentences."""
    return [_in_words(part) for part in bargaining(quote, w)]


def _in_words(part: Named) -> str:
    cost = f" ({part.cost})" if part.cost else ""
    note = part.note.rstrip(".")
    told = f"{part.heading}: {part.figure}{cost}." + (f" {note[:1].upper()}{note[1:]}." if note else "")
    return f"{told} Say: {part.say}" if part.say else told


def _answer(ask: AskResult, naming: Naming) -> Named:
    answer, say = ask.counter, to_say.answer(ask, naming)
    if answer.named is None:
        return Named("Answer", "no figure", f"Walk away above {naming.most}." if naming.most else "", say=say)
    reason = retold(answer.reason, naming.w)
    offer = naming.in_quotes_currency(answer.named)
    named = naming.spoken(answer.named)
    if answer.action == "accept":
        return Named("We may accept", named, reason, offer, naming.costs(offer), say)
    return Named("Answer", named, f"{reason} {_hold(named, naming)}", offer, naming.costs(offer), say)


def _hold(named: str, naming: Naming) -> str:
    return f"Hold at {named}; walk away above {naming.most}." if naming.most else f"Hold at {named}."


def _waiting(theirs: Counter, ours: SaidRow, naming: Naming) -> str:
    told = f"Do not move before the seller does. {_hold(naming.spoken(ours.figure), naming)}"
    if theirs.named is None:
        return told
    would = "accept" if theirs.action == "accept" else f"answer {naming.spoken(theirs.named)}"
    return f"{told} By the same rule as ours they would {would}."


class Choice(NamedTuple):
    """A price that the house may offer, why, and what it costs all in where that is more."""

    why: str
    figure: float
    cost: str


def choices(quote: Quote, w: Wording) -> tuple[Choice, ...]:
    """What the house may offer by its plan, and what it answers next; each figure once."""
    naming = Naming(quote, w)
    found: dict[float, Choice] = {}
    for why, figure in _choices(quote, naming):
        found.setdefault(figure, Choice(why, figure, naming.costs(figure)))
    return tuple(found.values())


def _choices(quote: Quote, naming: Naming) -> Iterator[tuple[str, float]]:
    plan = naming.plan
    if plan is not None:
        yield from (("open at", plan.buyer.open), ("aim for", plan.buyer.aim), ("stop at", plan.buyer.stop))
    for part in bargaining(quote, naming.w):
        if part.offer is not None:
            yield ("accept" if part.heading == "We may accept" else "answer"), part.offer
