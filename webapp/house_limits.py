"""The limits of the house, held against a quote: for the house's eyes only."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from valuation import Caution, Quote, QuoteRequest
from webapp.house import House
from webapp.naming import Naming
from webapp.wording import Wording

PRICE_OLD = "price_old"


def cautions_of(quote: Quote, request: QuoteRequest, house: House, w: Wording) -> tuple[Caution, ...]:
    """The cautions of a quote as the house sees them, its own limits among them."""
    stale = list(_old_price(request, house, w))
    kept = [caution for caution in quote.cautions if not (stale and caution.code == PRICE_OLD)]
    return (*_large_offer(quote, request, house, w), *stale, *kept)


def _large_offer(quote: Quote, request: QuoteRequest, house: House, w: Wording) -> Iterator[Caution]:
    limit = house.limits.cash_offer
    if limit is None:
        return
    if not house.is_in(request.spot.currency):
        words = f"The house's limit for an offer is in {house.currency}, this quote in {request.spot.currency}: "
        yield _caution(words + "it was not held against the offer.")
        return
    offer, said = request.buyer.offer, () if quote.counters is None else quote.counters.said
    costs = [row.all_in for row in said if row.by == "buyer"]
    named = max([*costs, *([] if offer is None else [Naming(quote, w).all_in(offer)])], default=None)
    if named is not None:
        if named > limit:
            all_in = "" if Naming(quote, w).is_plain else " all in"
            words = (
                f"Our offer of {w.price(named)}{all_in} is above the house's limit of {w.price(limit)} for one person"
            )
            yield _caution(f"{words}: have a second person look before it is paid.")
    elif quote.buyer_ceiling is not None and quote.buyer_ceiling > limit:
        words = f"This may go up to {w.at_most(quote.buyer_ceiling)}. Above {w.price(limit)}"
        yield _caution(f"{words} the house wants a second person to look before an offer is made.")


def _caution(words: str) -> Caution:
    return Caution(code="house_offer_limit", field="buyer.offer", message=words)


def _old_price(request: QuoteRequest, house: House, w: Wording) -> Iterator[Caution]:
    limit, seen_at = house.limits.spot_age_hours, request.spot.seen_at
    if limit is None or seen_at is None:
        return
    age = request.quoted_at - seen_at
    if age > timedelta(hours=limit):
        hours = age / timedelta(hours=1)
        yield Caution(
            code="house_spot_age",
            field="spot.seen_at",
            message=f"The price was seen {w.rough(hours)} hours before the quote, the house's limit is "
            f"{w.number(limit, 2, least=0)}: look it up again before you pay.",
        )
