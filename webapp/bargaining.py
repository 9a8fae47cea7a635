"""Where a bargain stands, for the head of the answer, and the figures that the house may offer."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from valuation import Quote
from valuation.trade import Counter
from webapp import figures_said, sentences
from webapp.retold import retold
from webapp.wording import Wording


class Named(NamedTuple):
    """A figure of the bargain for the head of the answer; `offer` where the house may offer it."""

    heading: str
    figure: str
    note: str
    offer: float | None = None


def bargaining(quote: Quote, w: Wording) -> tuple[Named, ...]:
    """The newest figure of the bargain, and what to do: answer theirs, or wait for the answer to ours."""
    if quote.counters is None:
        if quote.ask is None:
            return ()
        asked = Named("Asked, all in", w.price(quote.ask.all_in), sentences.asking_price(quote.ask, w))
        return asked, _answer(quote.ask.counter, w, sentences.before_extras(quote.ask, w))
    last, theirs, ours = quote.counters.said[-1], *(figures_said.newest(quote, by) for by in ("seller", "buyer"))
    if last.by == "seller":
        said = "" if ours is None else f"we last said {w.price(ours)}"
        return Named("Now asked", w.price(last.figure), said), _answer(quote.counters.next, w)
    said = "" if theirs is None else f"asked before that: {w.price(theirs)}"
    return Named("We said", w.price(last.figure), said), Named("Now", "wait", _waiting(quote.counters.next, w))


def in_words(quote: Quote, w: Wording) -> list[str]:
    """The same as sentences."""
    return [_in_words(part) for part in bargaining(quote, w)]


def _in_words(part: Named) -> str:
    note = part.note.rstrip(".")
    return f"{part.heading}: {part.figure}." + (f" {note[:1].upper()}{note[1:]}." if note else "")


def _answer(answer: Counter, w: Wording, more: str = "") -> Named:
    reason = " ".join(filter(None, (retold(answer.reason, w), more)))
    if answer.figure is None:
        return Named("Answer", "no figure", reason)
    verb = "We may accept" if answer.action == "accept" else "Answer"
    return Named(verb, w.price(answer.figure), reason, answer.figure)


def _waiting(theirs: Counter, w: Wording) -> str:
    told = "Do not move before the seller does."
    if theirs.figure is None:
        return told
    would = "accept" if theirs.action == "accept" else f"answer {w.price(theirs.figure)}"
    return f"{told} By the same rule as ours they would {would}."


class Choice(NamedTuple):
    """A figure that the house may offer, and why."""

    why: str
    figure: float


def choices(quote: Quote) -> tuple[Choice, ...]:
    """What the house may offer by its plan, and what it answers next; each figure once."""
    found: dict[float, Choice] = {}
    for choice in _choices(quote):
        found.setdefault(choice.figure, choice)
    return tuple(found.values())


def _choices(quote: Quote) -> Iterator[Choice]:
    if quote.plan is not None:
        plan = quote.plan.buyer
        yield from (Choice("open at", plan.open), Choice("aim for", plan.aim), Choice("stop at", plan.stop))
    answer = None if quote.ask is None else quote.ask.counter
    if quote.counters is not None:
        answer = quote.counters.next if quote.counters.said[-1].by == "seller" else None
    if answer is not None and answer.by == "buyer" and answer.figure is not None:
        yield Choice("answer", answer.figure)
