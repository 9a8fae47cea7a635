"""What to answer to a figure, and the figures named so far."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_CEILING, Decimal
from typing import Literal

from valuation.money import exact
from valuation.negotiation import Split
from valuation.terms import Said
from valuation.trade import Counter, CounterResult, SaidRow

Party = Literal["buyer", "seller"]


def next_counter(by: Party, figure: float, own_last: float | None, split: Split | None) -> Counter:
    """Answer of one side to the other's figure.

    Parameters
    ----------
    by : str
        Who answers.
    figure : float
        The other's figure, all-in [money].
    own_last : float or None
        The last figure of the side that answers.
    split : Split or None
        Fair range and plans; None where no cash price is fair.

    Notes
    -----
    The buyer accepts a figure up to the middle, or up to its own last figure; else it names
    ``max(own last, low end, min(2 middle - figure, middle))``. If that is no move, it goes half the way from its own
    last figure to the middle, at least one step: else two sides that mirror each other would repeat themselves for
    ever. The seller's answer is the mirror image. So an answer never passes the other's figure, is never worse than
    one's own last, and the gap never grows.
    """
    if split is None:
        reason = "No cash price is fair to both: look at the deals that share the doubt."
        return Counter(by=by, action="none", figure=None, reason=reason)
    # The seller's side is the buyer's with every figure negated.
    sign = 1 if by == "buyer" else -1
    fair, step = split.fair, split.step
    x, middle = sign * exact(figure), sign * exact(fair.middle)
    near_end = sign * exact(fair.low if by == "buyer" else fair.high)
    last = None if own_last is None else sign * exact(own_last)
    if x <= middle or (last is not None and x <= last):
        beyond = x < near_end
        return Counter(
            by=by,
            action="accept",
            figure=figure,
            reason=_accept_words(by, beyond, float(sign * near_end)),
            caution=("low_ask" if by == "buyer" else "high_bid") if beyond else None,
        )
    answer = max(near_end, min(2 * middle - x, middle))
    if last is not None and answer <= last:
        answer = last if last >= middle else _halfway(last, middle, step)
    return Counter(
        by=by,
        action="counter",
        figure=float(sign * answer),
        reason=_counter_words(by, sign * answer, fair.middle),
    )


def _halfway(last: Decimal, middle: Decimal, step: Decimal) -> Decimal:
    """Half the way to the middle on the grid of steps, at least one step, never past the middle."""
    half = (last + (middle - last) / 2) / step
    return min(middle, max(half.to_integral_value(ROUND_CEILING) * step, last + min(step, middle - last)))


def _accept_words(by: Party, beyond: bool, end: float) -> str:
    if by == "buyer":
        if beyond:
            return f"Less than the fair range: you may accept, but {end:,.2f} is the least that is fair to the seller."
        return "At or under the middle: accept."
    if beyond:
        return f"More than the fair range: you may accept; {end:,.2f} is the most that is fair to the buyer."
    return "At or over the middle: accept."


def _counter_words(by: Party, answer: Decimal, middle: float) -> str:
    if float(answer) == middle:
        return "The middle, where both gain alike."
    side = "under" if by == "buyer" else "over"
    return f"As far {side} the middle of {middle:,.2f} as the range allows, so that the two figures meet there."


def counter_result(said: Sequence[Said], split: Split | None) -> CounterResult | None:
    """The figures named so far, tabled, and the answer that follows; None if nothing was said."""
    if not said:
        return None
    own: dict[str, list[float]] = {"buyer": [], "seller": []}
    rows = []
    for entry in said:
        past = own[entry.by]
        past.append(entry.figure)
        step = past[-1] - past[-2] if len(past) > 1 else None
        before = past[-2] - past[-3] if len(past) > 2 else None
        ratio = step / before if step is not None and before else None
        rows.append(SaidRow(by=entry.by, figure=entry.figure, step=step, step_ratio=ratio))
    last = said[-1]
    turn: Party = "buyer" if last.by == "seller" else "seller"
    own_last = own[turn][-1] if own[turn] else None
    gap = own["seller"][-1] - own["buyer"][-1] if own["buyer"] and own["seller"] else None
    return CounterResult(said=tuple(rows), gap=gap, next=next_counter(turn, last.figure, own_last, split))
