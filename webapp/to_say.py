"""One sentence to say aloud to the seller: only prices that may be named, never a limit of the house."""

from __future__ import annotations

from valuation.trade import AskResult, SaidRow
from webapp.naming import Naming

WEIGH_FIRST = "“We can only name a price once it is weighed.”"
NOT_SEEN = "“The balance does not tell this piece from bare rock, so we cannot name a price by weight.”"
WHAT_ELSE = "“Before we name a price: what could you get for it elsewhere?”"
NO_CASH = "“We cannot name a cash price that suits us both. May we show you other ways to deal?”"
NOTHING = "“We cannot name a price for this piece today.”"


def answer(ask: AskResult, naming: Naming) -> str:
    """What to say to the figure that the seller asks now."""
    quote, named = naming.quote, ask.counter.named
    by_claim = any(caution.code == "claim_only" for caution in quote.cautions)
    if named is None:
        return _without_figure(naming, by_claim=by_claim)
    figure = naming.spoken(named)
    if by_claim:
        return f"“If the balance bears out what you say, we can pay {figure}. May we weigh it?”"
    if ask.counter.action == "accept":
        return f"“{figure}: agreed.”"
    said = () if quote.counters is None else quote.counters.said
    ours = next((row.figure for row in reversed(said) if row.by == "buyer"), None)
    return f"“We stay at {figure}.”" if ours == named else f"“We can pay you {figure}.”"


def waiting(ours: SaidRow, naming: Naming) -> str:
    """What to say while the seller has not answered the house's figure."""
    return f"“We have said {naming.spoken(ours.figure)}. What do you say?”"


def _without_figure(naming: Naming, *, by_claim: bool) -> str:
    quote = naming.quote
    if by_claim:
        return WEIGH_FIRST
    if quote.verdict == "not_by_weight":
        return NOT_SEEN
    if quote.verdict == "floor_unknown":
        return WHAT_ELSE
    return NO_CASH if any(deal.offered for deal in quote.deals) else NOTHING
