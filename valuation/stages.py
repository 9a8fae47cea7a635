"""The stages of the model in order: observed -> gold -> routes -> offer."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_FLOOR

import numpy as np

from valuation.claims import gold_claimed
from valuation.detection import detection
from valuation.draws import Draws
from valuation.errors import RequestRefused, ValuationError
from valuation.gold import GoldContent, check_possible, gold_by_density, gold_measured, host_density_g_cm3
from valuation.mass import G_PER_OZT
from valuation.money import to_coins
from valuation.negotiation import (
    Ceiling,
    Floor,
    Split,
    buyer_ceiling,
    fair_split,
    route_result,
    seller_floor,
    verdict_of,
)
from valuation.observations import Rock, Weighing
from valuation.premium import PremiumModel, premium_model
from valuation.refiners import takes
from valuation.refining import Lot, settled
from valuation.request import QuoteRequest
from valuation.result import Detection, RouteResult, Verdict
from valuation.routes import Routes, open_routes
from valuation.spot import gold_per_ozt
from valuation.spread import Floats
from valuation.summary import Summary, summarised
from valuation.weighing import Weighed, weighed_specimen
from valuation.words import money_words


@dataclass(frozen=True)
class Valuation:
    """Every stage's outcome for one request; arrays hold the draws that count.

    Parameters
    ----------
    request : QuoteRequest
        What was asked.
    all_draws, draws : Draws
        Before and after impossible draws were dropped.
    weighed : Weighed or None
        Mass and volume before dropping; None for gold measured elsewhere.
    content : GoldContent
        Gold before dropping.
    detection : Detection or None
        Whether the weighing sees gold; None for gold measured elsewhere.
    lot : Lot
        Gold, silver and mass of the draws that count.
    native_g : ndarray
        Native gold of the draws that count [g].
    fine : Summary
        Fine gold of the draws that count [g].
    premium : PremiumModel or None
        The collector's premium.
    routes : Routes
        Ways out.
    results : list of RouteResult
        Their summaries and ceilings.
    ceiling : Ceiling or None
        The buyer's; None where nothing is priced.
    floor : Floor
        The seller's.
    split : Split or None
        Fair range and plans.
    """

    request: QuoteRequest
    all_draws: Draws
    draws: Draws
    weighed: Weighed | None
    content: GoldContent
    detection: Detection | None
    lot: Lot
    native_g: Floats
    fine: Summary
    premium: PremiumModel | None
    routes: Routes
    results: list[RouteResult]
    ceiling: Ceiling | None
    floor: Floor
    split: Split | None

    @property
    def seen(self) -> bool:
        """Whether there is gold to value: seen by weight, or measured elsewhere."""
        return self.detection is None or self.detection.seen

    @property
    def money_per_g(self) -> float:
        """Spot price of fine gold [money/g]."""
        return gold_per_ozt(self.request.spot) / G_PER_OZT

    @property
    def median_melt(self) -> float:
        """Median melt value [money]."""
        return self.fine.median * self.money_per_g

    @property
    def verdict(self) -> Verdict:
        """What the quote comes to."""
        return verdict_of(self.ceiling, self.floor, self.split, seen=self.seen)

    @property
    def no_price_reason(self) -> str:
        """Why there is no fair cash price, in one sentence; only where there is none."""
        if self.ceiling is None:
            return "Nothing can be priced: gold was not seen by weight, and no collector's price is known."
        currency = self.request.spot.currency
        most = money_words(to_coins(self.ceiling.amount, currency, ROUND_FLOOR), currency)
        if not self.seen:
            return (
                f"Gold was not seen by weight, so no cash price is called fair; the collector's price alone allows the "
                f"house up to {most}."
            )
        if self.floor.amount is None or self.floor.basis == "assumed":
            return (
                f"The house can pay up to {most}, but what the seller could get elsewhere is not known, so there is no "
                "middle to aim for."
            )
        if self.ceiling.amount < self.floor.amount:
            return "No cash price is fair to both: the house's ceiling does not reach the seller's floor."
        return "No cash price is fair to both: no whole coin lies between the seller's floor and the house's ceiling."


def valued(request: QuoteRequest, draws: Draws) -> Valuation:
    """Run the stages of the model; see `quote`."""
    weighed, content = observed(request, draws)
    kept = draws.only(content.possible)
    seen_by = detection(content, weighed.mass_g) if weighed is not None else None
    seen = seen_by is None or seen_by.seen
    lot = contained(request, weighed, content, kept)
    fine = summarised(lot.fine_g)
    premium = None
    if request.collector is not None and "intact" in request.routes and seen:
        premium = premium_model(request.collector, fine.median, request.quoted_at.date())
    routes = open_routes(request, lot, kept, seen=seen, premium=premium)
    results = [route_result(name, present, request.buyer) for name, present in routes.present.items()]
    ceiling = buyer_ceiling(results) if results else None
    melt = fine.median / G_PER_OZT * gold_per_ozt(request.spot)
    floor = seller_floor(request.seller, own_refining(request, lot, kept, seen), melt, seen)
    split = None
    if ceiling is not None and floor.amount is not None and seen:
        split = fair_split(ceiling.amount, floor.amount, request.buyer, request.spot.currency)
    native = of_kept(content.native_g, kept)
    return Valuation(
        request,
        draws,
        kept,
        weighed,
        content,
        seen_by,
        lot,
        native,
        fine,
        premium,
        routes,
        results,
        ceiling,
        floor,
        split,
    )


def observed(request: QuoteRequest, draws: Draws) -> tuple[Weighed | None, GoldContent]:
    """Mass and volume (None if not weighed) and gold, before impossible draws are dropped.

    Raises
    ------
    ValuationError
        The readings, the chip or the rock are impossible together.
    RequestRefused
        The readings of the specimen and those of its chip are each impossible.
    """
    if request.gold.measured is not None:
        content = gold_measured(request.gold, draws)
        check_possible(content, "gold.measured.grams")
        return None, content
    if request.by_claim:
        assert request.seller.claim is not None
        content = gold_claimed(request.seller.claim, request.gold, draws)
        check_possible(content, "seller.claim")
        return None, content
    assert request.weighing is not None and request.rock is not None
    try:
        weighed = weighed_specimen(request.weighing, draws)
    except ValuationError as refused:
        raise _with_rock_faults(refused, request.rock, request.weighing, draws) from None
    content = gold_by_density(weighed, request.rock, request.gold, request.weighing, draws)
    check_possible(content, "rock")
    return weighed, content


def _with_rock_faults(refused: ValuationError, rock: Rock, weighing: Weighing, draws: Draws) -> Exception:
    """The refusal of a specimen's readings, together with that of its chip's if they are at fault too."""
    try:
        host_density_g_cm3(rock, weighing, draws)
    except ValuationError as also:
        return RequestRefused([*refused.problems, *also.problems])
    return refused


def of_kept(values: Floats, kept: Draws) -> Floats:
    """Those of `values`, shape (n_all,) or (), that belong to the draws that count."""
    return values if kept.kept is None or values.ndim == 0 else values[kept.kept]


def contained(request: QuoteRequest, weighed: Weighed | None, content: GoldContent, kept: Draws) -> Lot:
    """Gold, silver and mass of the draws that count."""
    if weighed is not None:
        mass = of_kept(np.asarray(weighed.mass_g), kept)
    elif request.gold.measured is not None:
        mass = np.asarray(request.gold.measured.mass_g or 0.0)
    else:
        assert request.seller.claim is not None
        mass = np.asarray(request.seller.claim.piece_g or 0.0)
    return Lot(of_kept(content.fine_g, kept), of_kept(content.silver_g, kept), mass)


def own_refining(request: QuoteRequest, lot: Lot, kept: Draws, seen: bool) -> float | None:
    """Mean worth of refining under the seller's own terms, less the effort [money]; None where there is no such way."""
    own = sellers_own_refining(request, lot, kept, seen)
    return None if own is None else float(np.mean(own)) - request.seller.effort_cost


def sellers_own_refining(request: QuoteRequest, lot: Lot, kept: Draws, seen: bool) -> Floats | None:
    """Discounted net of refining under the seller's own terms, shape (n,) [money]; None where there is no such way."""
    terms = request.seller.refiner
    if terms is None or not seen or not takes(terms, lot):
        return None
    rate = request.buyer.capital_rate_per_year
    return settled(lot, terms, request.spot, rate, kept, recovery_column="seller_recovery").present_or_nothing()
