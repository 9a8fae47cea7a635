"""An asking price held against what the house can do with the piece."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR

import numpy as np
from numpy.typing import NDArray

from valuation.counters import answer
from valuation.draws import Draws
from valuation.errors import ValuationError
from valuation.extras import Extras
from valuation.money import to_coins
from valuation.refining import Lot, settled
from valuation.request import QuoteRequest
from valuation.result import FloorBasis
from valuation.spread import Floats
from valuation.stages import Valuation
from valuation.summary import quantiles
from valuation.terms import Ask, Refiner
from valuation.trade import AskResult, AskVerdict
from valuation.words import money_words

MOST_BREAK_EVEN_G = 1e7
GRIDS, GRID_POINTS = 4, 513


def all_in(ask: Ask, currency: str) -> float:
    """Price that an ask comes to with fee, shipping, tax and exchange, in the quote's currency; see `Extras`."""
    return Extras.of(ask, currency).all_in(ask.price)


def newest_ask(request: QuoteRequest) -> Ask | None:
    """What the seller wants now: the newest figure said, with the extras of the ask; else the asking price."""
    asks = request.seller.asks
    said = next((one.figure for one in reversed(request.said) if one.by == "seller"), None)
    if said is None:
        return asks
    return Ask(price=said) if asks is None else asks.model_copy(update={"price": said})


def offer_all_in(request: QuoteRequest) -> float | None:
    """What the house's offer costs it with the extras of the ask [money]; None without an offer."""
    offer = request.buyer.offer
    return None if offer is None else Extras.of(request.seller.asks, request.spot.currency).paid_all_in(offer)


def checked_ask(v: Valuation) -> AskResult | None:
    """The verdict on what the seller asks now, its reason, and the figures behind it; None if nothing was asked.

    Parameters
    ----------
    v : Valuation
        The outcome of the stages before.
    """
    ask, currency = newest_ask(v.request), v.request.spot.currency
    if ask is None:
        return None
    extras = Extras.of(ask, currency)
    price = float(to_coins(extras.all_in(ask.price), currency))
    if price <= 0.0:
        words = f"comes to less than the smallest coin of {currency}: check the price and the exchange rate"
        raise ValuationError("tiny_ask", "seller.asks.price", ask.price, words)
    handling = v.request.buyer.handling_cost
    verdict = _verdict(price, v)
    proceeds = None if v.ceiling is None else v.routes.present[v.ceiling.route]
    profit = None if proceeds is None else float(np.mean(proceeds)) - handling - price
    fine_g, native_g = quantiles(v.lot.fine_g, 0.5)[0], quantiles(v.native_g, 0.5)[0]
    break_even_g, chance = _break_even(price + handling, v)
    own_last = next((extras.all_in(said.figure) for said in reversed(v.request.said) if said.by == "buyer"), None)
    counter = answer("buyer", ask.price, price, own_last, v, extras)
    worth_paying = None if v.ceiling is None else float(to_coins(v.ceiling.amount, currency, ROUND_FLOOR))
    asked = (one.figure for one in v.request.said if one.by == "seller")
    return AskResult(
        price=ask.price,
        first_asked=next(asked, ask.price) if v.request.seller.asks is None else v.request.seller.asks.price,
        extras=extras,
        all_in=price,
        verdict=verdict,
        floor_assumed=v.floor.basis == "assumed",
        reason=_reason(verdict, price, _asked_words(ask.price, price, extras, currency), v),
        worth_paying=worth_paying,
        worth_paying_before_extras=None if worth_paying is None else extras.before(worth_paying),
        expected_profit=profit,
        margin_frac=None if profit is None else profit / price,
        chance_of_loss=None if proceeds is None else float(np.mean(proceeds < price + handling)),
        of_median_melt_frac=price / v.median_melt if v.seen and v.median_melt > 0 else None,
        per_gram_fine=price / fine_g if v.seen and fine_g > 0 else None,
        per_gram_native=price / native_g if v.seen and native_g > 0 else None,
        break_even_fine_g=break_even_g,
        chance_of_break_even=chance,
        break_even_premium_frac=_break_even_premium(price + handling, v),
        counter=counter,
        counter_before_extras=counter.named if counter.action == "counter" else None,
        first=_first_fact(v),
    )


def _verdict(price: float, v: Valuation) -> AskVerdict:
    if v.ceiling is None or not v.seen:
        return "not_by_weight"
    c, low = v.ceiling.amount, v.floor.amount
    if v.split is None:
        if low is None or v.floor.basis == "assumed":
            return "floor_unknown"
        if price <= c:
            return "below_known_alternative"
        return "no_deal_low" if price < low else "no_deal"
    assert low is not None
    if price < low:
        return "below_floor"
    if price < v.split.fair.low:
        return "under"
    if price <= v.split.fair.high:
        return "inside"
    return "above_fair" if price <= c else "above_ceiling"


def _asked_words(price: float, all_in: float, extras: Extras, currency: str) -> str:
    """The ask as the seller said it, and with all that is paid on top of it."""
    total = money_words(all_in, currency)
    if extras.is_nothing and extras.currency == currency:
        return total
    return f"{money_words(price, extras.currency)} ({total} all in)"


def _reason(verdict: AskVerdict, price: float, asked: str, v: Valuation) -> str:
    """The verdict as one plain sentence."""
    currency = v.request.spot.currency
    if v.ceiling is None:
        return f"{asked} cannot be judged by weight: no gold is seen, and no collector's price is known."
    most = money_words(to_coins(v.ceiling.amount, currency, ROUND_FLOOR), currency)
    floor = "" if v.floor.amount is None else money_words(to_coins(v.floor.amount, currency, ROUND_CEILING), currency)
    fair = (
        ""
        if v.split is None
        else f"{money_words(v.split.fair.low, currency)} to {money_words(v.split.fair.high, currency)}"
    )
    within = "within" if price <= v.ceiling.amount else "above"
    whose = f"{_FLOOR_WORDS[v.floor.basis]}, {floor}"
    words: dict[AskVerdict, str] = {
        "below_floor": f"{asked} is less than {whose}: ask why before you rejoice.",
        "under": f"{asked} is under the fair range of {fair}: a good price for the buyer.",
        "inside": f"{asked} lies inside the fair range of {fair}.",
        "above_fair": f"{asked} is above the fair range of {fair}, but still within what the house can pay, {most}.",
        "above_ceiling": f"{asked} is more than the house can pay, {most}.",
        "below_known_alternative": f"{asked} is within what the house can pay, {most}, though it is less than {whose}: "
        "ask why.",
        "no_deal_low": f"{asked} is more than the house can pay, {most}, yet less than {whose}: no cash price suits "
        "both.",
        "no_deal": f"{asked} is not less than {whose}, and the house can pay only {most}.",
        "floor_unknown": f"The house can pay up to {most}; {asked} is {within} that. What the seller could "
        "get elsewhere is not known.",
        "not_by_weight": f"Gold was not seen by weight; the collector's price alone allows the house up to {most}, and "
        f"{asked} is {within} that.",
    }
    return words[verdict]


_FLOOR_WORDS: dict[FloorBasis, str] = {
    "minimum": "the least that the seller says to accept",
    "other_bid": "another bid that the seller has",
    "own_refining": "what the seller's own refining would bring",
    "keep_value": "what keeping it is worth to the seller",
    "assumed": "the assumed floor",
}


def _break_even(outlay: float, v: Valuation) -> tuple[float | None, float | None]:
    """Fine gold at which refining pays the outlay at likely values, and the chance that refining pays it."""
    chosen = v.routes.refine
    if chosen is None or not v.seen:
        return None, None
    chance = float(np.mean(chosen.settlement.present_or_nothing() >= outlay))
    fine = quantiles(v.lot.fine_g, 0.5)[0]
    silver = quantiles(v.lot.silver_g, 0.5)[0] / fine if fine > 0 else 0.0
    mass = float(np.median(v.lot.mass_g))

    def pays(fine_g: Floats) -> NDArray[np.bool_]:
        return likely_nets(fine_g, fine_g * silver, mass, chosen.refiner, v.request) >= outlay

    low, high = 0.0, max(1.0, fine)
    while not pays(np.array([high]))[0]:
        low, high = high, high * 2.0
        if high > MOST_BREAK_EVEN_G:
            return None, chance
    # A tier can make the net jump, so the first gold that pays is looked for on finer and finer grids.
    for _ in range(GRIDS):
        grid = np.linspace(low, high, GRID_POINTS)
        first = int(np.argmax(pays(grid)))
        low, high = float(grid[max(0, first - 1)]), float(grid[first])
    return high, chance


def likely_net(fine_g: float, silver_g: float, mass_g: float, refiner: Refiner, request: QuoteRequest) -> float:
    """Discounted net of refining at likely terms and today's price [money]."""
    return float(likely_nets(np.array([fine_g]), np.array([silver_g]), mass_g, refiner, request)[0])


def likely_nets(fine_g: Floats, silver_g: Floats, mass_g: float, refiner: Refiner, request: QuoteRequest) -> Floats:
    """The same for several lots that differ in gold and silver, shape (n,) [money]."""
    lot = Lot(fine_g, silver_g, np.asarray(mass_g))
    still = request.spot.model_copy(update={"gold_volatility_per_year": 0.0, "silver_volatility_per_year": 0.0})
    fixed = refiner.model_copy(
        update={
            "recovery_frac": refiner.recovery_frac.fixed(),
            "silver_recovery_frac": refiner.silver_recovery_frac and refiner.silver_recovery_frac.fixed(),
        }
    )
    return settled(lot, fixed, still, request.buyer.capital_rate_per_year, _ONE_DRAW).present


_ONE_DRAW = Draws(log2_draws=0)


def _break_even_premium(outlay: float, v: Valuation) -> float | None:
    """Premium at which the intact route pays the outlay on average; the proceeds are linear in it."""
    intact, collector = v.routes.intact, v.request.collector
    if intact is None or collector is None or not v.seen:
        return None
    rate = v.request.buyer.capital_rate_per_year
    kept = (1.0 - collector.selling_cost_frac) * np.exp(-rate * intact.years)
    at_melt = float(np.mean(np.where(intact.sold, intact.melt * kept, 0.0)))
    unsold = float(np.mean(np.where(intact.sold, 0.0, intact.present)))
    return (outlay - unsold) / at_melt - 1.0 if at_melt > 0 else None


def _first_fact(v: Valuation) -> str | None:
    """What to weigh or learn first, where little is known."""
    if v.request.by_claim:
        return (
            "Nothing was weighed: first weigh the piece dry and hanging under water, and name its rock. Until then the "
            "answer rests on the claim alone."
        )
    if v.request.weighing is not None and not v.seen:
        return "The weighing does not see gold: weigh a bare chip of the same rock, and use a finer balance."
    if v.floor.basis == "assumed":
        return "Ask what the seller could get elsewhere: another bid, or the terms of a refiner."
    return None
