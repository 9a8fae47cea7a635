"""What to answer to a figure, and the figures named so far."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Literal

from valuation.extras import Extras
from valuation.money import exact, minor_unit
from valuation.negotiation import Split
from valuation.stages import Valuation
from valuation.terms import Said
from valuation.trade import Counter, CounterResult, SaidRow
from valuation.words import money_words

Party = Literal["buyer", "seller"]


def answer(by: Party, spoken: float, all_in: float, own_last: float | None, v: Valuation, extras: Extras) -> Counter:
    """Answer of one side to a figure that the other has said; no figure where no cash price is fair.

    Parameters
    ----------
    spoken, all_in : float
        The figure as it was said, and with its extras.
    own_last : float or None
        The last figure of the side that answers, all-in. See `next_counter`.
    """
    if v.split is None:
        return Counter(by=by, action="none", figure=None, reason=v.no_price_reason)
    found = next_counter(by, all_in, own_last, v.split, v.request.spot.currency)
    named = spoken if found.action == "accept" or found.figure is None else extras.before(found.figure)
    return found.model_copy(update={"named": named})


def next_counter(by: Party, figure: float, own_last: float | None, split: Split, currency: str) -> Counter:
    """Answer of one side to the other's figure.

    Parameters
    ----------
    by : str
        Who answers.
    figure : float
        The other's figure, all-in [money].
    own_last : float or None
        The last figure of the side that answers.
    split : Split
        Fair range and plans.
    currency : str
        ISO 4217 code, for the smallest coin.

    Notes
    -----
    The buyer accepts a figure up to the middle, or up to its own last figure; else it names
    ``max(own last, low end, min(2 middle - figure, middle))`` in whole coins. If that is no move, it goes half the way
    from its own last figure to the middle, at least one step: else two sides that mirror each other would repeat
    themselves for ever. The seller's answer is the mirror image. So an answer never passes the other's figure, is never
    worse than one's own last, and the gap never grows.
    """
    # The seller's side is the buyer's with every figure negated.
    sign = 1 if by == "buyer" else -1
    fair, unit = split.fair, minor_unit(currency)
    x, middle = sign * exact(figure), sign * exact(fair.middle)
    near_end = sign * exact(fair.low if by == "buyer" else fair.high)
    last = None if own_last is None else sign * exact(own_last)
    if x <= middle or (last is not None and x <= last):
        beyond = x < near_end
        return Counter(
            by=by,
            action="accept",
            figure=figure,
            reason=_accept_words(by, split, currency, beyond=beyond, by_middle=x <= middle),
            caution=("low_ask" if by == "buyer" else "high_bid") if beyond else None,
        )
    mirrored = _on_grid(2 * middle - x, unit, ROUND_FLOOR)
    named, why = max((near_end, "end"), (mirrored, "mirror"))
    if last is not None and named <= last:
        named, why = (last, "stands") if last >= middle else (_halfway(last, middle, split.step), "half")
    if named == middle:
        why = "middle"
    return Counter(
        by=by,
        action="counter",
        figure=float(sign * named),
        reason=_counter_words(by, why, money_words(fair.middle, currency)),
    )


def _on_grid(amount: Decimal, step: Decimal, rounding: str) -> Decimal:
    return (amount / step).to_integral_value(rounding) * step


def _halfway(last: Decimal, middle: Decimal, step: Decimal) -> Decimal:
    """Half the way to the middle on the grid of steps, at least one step, never past the middle."""
    return min(middle, _on_grid(max(last + (middle - last) / 2, last + step), step, ROUND_CEILING))


def _accept_words(by: Party, split: Split, currency: str, *, beyond: bool, by_middle: bool) -> str:
    if by == "buyer":
        if beyond:
            low = money_words(split.fair.low, currency)
            return f"Less than the fair range: you may accept, but {low} is the least that is fair to the seller."
        return "At or under the middle: accept." if by_middle else "Not above your own last figure: accept."
    if beyond:
        high = money_words(split.fair.high, currency)
        return f"More than the fair range: you may accept; {high} is the most that is fair to the buyer."
    return "At or over the middle: accept." if by_middle else "Not under your own last figure: accept."


def _counter_words(by: Party, why: str, middle: str) -> str:
    end, under, over = ("low", "under", "over") if by == "buyer" else ("high", "over", "under")
    return {
        "end": f"The {end} end of the fair range: their figure is too far {over} the middle of {middle} to meet there.",
        "mirror": f"As far {under} the middle of {middle} as their figure is {over} it, so that the two meet there.",
        "half": f"Half the way from your own last figure to the middle of {middle}.",
        "middle": "The middle, where both gain alike.",
        "stands": f"Your own last figure stands: it is not {under} the middle of {middle}.",
    }[why]


def counter_result(said: Sequence[Said], v: Valuation) -> CounterResult | None:
    """The figures named so far, tabled, and the answer that follows; None if nothing was said.

    Figures are said before extras, and held against the fair range with them.
    """
    if not said:
        return None
    extras = Extras.of(v.request.seller.asks, v.request.spot.currency)
    own: dict[str, list[float]] = {"buyer": [], "seller": []}
    rows = []
    for entry in said:
        past = own[entry.by]
        past.append(entry.figure)
        step = past[-1] - past[-2] if len(past) > 1 else None
        before = past[-2] - past[-3] if len(past) > 2 else None
        ratio = step / before if step is not None and before else None
        total = extras.all_in(entry.figure)
        rows.append(SaidRow(by=entry.by, figure=entry.figure, all_in=total, step=step, step_ratio=ratio))
    last = said[-1]
    turn: Party = "buyer" if last.by == "seller" else "seller"
    own_last = extras.all_in(own[turn][-1]) if own[turn] else None
    gap = own["seller"][-1] - own["buyer"][-1] if own["buyer"] and own["seller"] else None
    return CounterResult(
        said=tuple(rows), gap=gap, next=answer(turn, last.figure, rows[-1].all_in, own_last, v, extras)
    )
