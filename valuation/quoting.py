"""quote(request): runs the stages in order; the only module that knows them all."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import version

import numpy as np

from valuation.assumptions import NOTICES, assumed_inputs, constants, named_materials, truncation_cautions
from valuation.budget import budget
from valuation.cautions import gold_cautions, offer_cautions, price_cautions, route_cautions
from valuation.detection import detection, false_gold_g, hand_rules
from valuation.draws import LOG2_DRAWS, N_COLUMNS, SEED, Draws
from valuation.errors import Caution
from valuation.gap import gap_causes
from valuation.gold import GoldContent, check_possible, gold_by_density, gold_measured
from valuation.negotiation import (
    Ceiling,
    Floor,
    Split,
    buyer_ceiling,
    fair_split,
    route_result,
    seller_floor,
)
from valuation.refining import Lot, settled, statement
from valuation.request import QuoteRequest
from valuation.result import Detection, Quote, RouteResult, SettlementLine, Verdict
from valuation.routes import Routes, open_routes
from valuation.spot import G_PER_OZT, gold_per_ozt, silver_per_ozt
from valuation.spread import Floats
from valuation.summary import Summary, summarised
from valuation.weighing import Weighed, weighed_specimen, weighing_cautions

METHOD = "lodeworth-1"


def method_version() -> str:
    """What a figure depends on besides the request and the seed."""
    return f"{METHOD} sobol{N_COLUMNS} numpy-{version('numpy')} scipy-{version('scipy')}"


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
    def verdict(self) -> Verdict:
        """What the quote comes to."""
        if self.ceiling is None or (not self.seen and self.floor.amount is None):
            return "not_by_weight"
        if self.split is not None:
            return "fair_range"
        return "floor_unknown" if self.floor.basis == "assumed" else "no_fair_price"


def quote(request: QuoteRequest, *, seed: int = SEED, log2_draws: int = LOG2_DRAWS) -> Quote:
    """Gold range, routes and fair offer range for one specimen.

    Parameters
    ----------
    request : QuoteRequest
        What is known.
    seed : int
        Seed of the scramble; the same request and seed give the same figures.
    log2_draws : int
        Base-2 logarithm of the number of draws.

    Returns
    -------
    Quote

    Raises
    ------
    ValuationError
        The readings, the chip or the rock are impossible together.
    """
    return told(valued(request, Draws(seed, log2_draws)))


def valued(request: QuoteRequest, draws: Draws) -> Valuation:
    """Run the stages of the model; see `quote`."""
    weighed, content = _observed(request, draws)
    kept = draws.only(content.possible)
    seen_by = detection(content, weighed.mass_g) if weighed is not None else None
    seen = seen_by is None or seen_by.seen
    lot = _lot(request, weighed, content, kept)
    routes = open_routes(request, lot, kept, seen=seen)
    results = [route_result(name, present, request.buyer) for name, present in routes.present.items()]
    ceiling = buyer_ceiling(results) if results else None
    fine = summarised(lot.fine_g)
    melt = fine.median / G_PER_OZT * gold_per_ozt(request.spot)
    floor = seller_floor(request.seller, _own_refining(request, lot, kept, seen), melt, seen)
    split = None
    if ceiling is not None and floor.amount is not None:
        split = fair_split(ceiling.amount, floor.amount, request.buyer, request.spot.currency)
    native = _of_kept(content.native_g, kept)
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
        routes,
        results,
        ceiling,
        floor,
        split,
    )


def _observed(request: QuoteRequest, draws: Draws) -> tuple[Weighed | None, GoldContent]:
    if request.gold.measured is not None:
        content = gold_measured(request.gold, draws)
        check_possible(content, "gold.measured.grams")
        return None, content
    assert request.weighing is not None and request.rock is not None
    weighed = weighed_specimen(request.weighing, draws)
    content = gold_by_density(weighed, request.rock, request.gold, request.weighing, draws)
    check_possible(content, "rock")
    return weighed, content


def _of_kept(values: Floats, kept: Draws) -> Floats:
    return values if kept.kept is None or values.ndim == 0 else values[kept.kept]


def _lot(request: QuoteRequest, weighed: Weighed | None, content: GoldContent, kept: Draws) -> Lot:
    if weighed is not None:
        mass = _of_kept(np.asarray(weighed.mass_g), kept)
    else:
        assert request.gold.measured is not None
        mass = np.asarray(request.gold.measured.mass_g or 0.0)
    return Lot(_of_kept(content.fine_g, kept), _of_kept(content.silver_g, kept), mass)


def _own_refining(request: QuoteRequest, lot: Lot, kept: Draws, seen: bool) -> float | None:
    terms = request.seller.refiner
    if terms is None or not seen:
        return None
    rate = request.buyer.capital_rate_per_year
    own = settled(lot, terms, request.spot, rate, kept, recovery_column="seller_recovery")
    return float(np.mean(own.present_or_nothing())) - request.seller.effort_cost


def told(v: Valuation) -> Quote:
    """The quote that a valuation comes to."""
    request, weighing = v.request, v.request.weighing
    fine = v.fine
    melt = fine.scaled(v.money_per_g)
    silver = summarised(v.lot.silver_g)
    weighed = v.weighed
    mass = None if weighed is None and v.lot.mass_g == 0 else summarised(v.lot.mass_g)
    shown_volume = None if weighed is None else _of_kept(np.asarray(weighed.volume_cm3), v.draws)
    gravity = None if weighed is None else _of_kept(np.asarray(weighed.specific_gravity), v.draws)
    gap = None
    if v.ceiling is not None and v.floor.amount is not None:
        gap = max(0.0, v.floor.amount - v.ceiling.amount)
    return Quote(
        method_version=method_version(),
        draws=v.all_draws.n_all,
        seed=v.all_draws.seed,
        quoted_at=request.quoted_at,
        currency=request.spot.currency,
        title=request.title,
        verdict=v.verdict,
        specific_gravity=None if gravity is None else summarised(gravity),
        mass_g=mass,
        volume_cm3=None if shown_volume is None else summarised(shown_volume),
        native_gold_g=summarised(v.native_g),
        fine_gold_g=fine,
        fine_silver_g=silver,
        melt_value=melt,
        silver_value=silver.scaled(silver_per_ozt(request.spot) / G_PER_OZT) if request.spot.silver else None,
        kept_frac=v.content.kept_frac,
        budget=budget(v.all_draws, v.content, melt.width),
        detection=v.detection,
        false_gold=None if weighed is None else false_gold_g(v.content, np.asarray(weighed.volume_cm3)),
        hand_rules=()
        if weighing is None
        else tuple(hand_rules(weighing, request.gold, fine.median, gold_per_ozt(request.spot))),
        routes=tuple(v.results),
        settlement=_settlement(v, fine.median, silver.median),
        buyer_ceiling=None if v.ceiling is None else v.ceiling.amount,
        seller_floor=v.floor.amount,
        floor_basis=v.floor.basis,
        cost_of_doubt=None if v.ceiling is None else v.ceiling.cost_of_doubt,
        doubt_free_route=None if v.ceiling is None else v.ceiling.doubt_free_route,
        fair=None if v.split is None else v.split.fair,
        gap=gap,
        gap_causes=tuple(gap_causes(request, v.lot, v.draws, v.ceiling, v.floor, seen=v.seen)),
        plan=None if v.split is None else v.split.plan,
        cautions=tuple(_cautions(v)),
        assumptions=(*assumed_inputs(request), *named_materials(request), *constants(request, v.floor)),
        notices=NOTICES,
    )


def _settlement(v: Valuation, fine_g: float, silver_g: float) -> tuple[SettlementLine, ...]:
    refiner = v.request.refiner
    if refiner is None or not v.seen:
        return ()
    mass = float(np.median(v.lot.mass_g))
    lines = statement(fine_g, silver_g, mass, refiner, v.request.spot, v.request.buyer.capital_rate_per_year)
    return tuple(SettlementLine(line=row.line, amount=f"{row.amount:f}", detail=row.detail) for row in lines)


def _cautions(v: Valuation) -> list[Caution]:
    request = v.request
    found: list[Caution] = []
    if request.weighing is not None:
        found += weighing_cautions(request.weighing, request.rock.chip if request.rock else None)
    found += truncation_cautions(request)
    found += gold_cautions(v.content, v.detection)
    found += price_cautions(request)
    found += route_cautions(request, v.routes, v.results)
    found += offer_cautions(request, v.ceiling, v.floor, v.split, seen=v.seen)
    return found


def numerical_error(request: QuoteRequest, scrambles: int = 20, log2_draws: int = LOG2_DRAWS) -> dict[str, float]:
    """Standard deviation of each headline figure over independent scrambles, in the figure's own unit.

    Parameters
    ----------
    request : QuoteRequest
        What is known.
    scrambles : int
        Number of independent scrambles, at least 2.
    log2_draws : int
        Draws of each.

    Returns
    -------
    dict
        ``fine_gold_g.mean`` and so on, and ``buyer_ceiling`` where there is one.
    """
    runs = [_headline(quote(request, seed=SEED + 1 + i, log2_draws=log2_draws)) for i in range(scrambles)]
    return {name: float(np.std([run[name] for run in runs], ddof=1)) for name in runs[0]}


def _headline(q: Quote) -> dict[str, float]:
    figures = {}
    for name, summary in (
        ("native_gold_g", q.native_gold_g),
        ("fine_gold_g", q.fine_gold_g),
        ("melt_value", q.melt_value),
    ):
        for part in ("mean", "median", "low", "high"):
            figures[f"{name}.{part}"] = getattr(summary, part)
    for route in q.routes:
        for part in ("mean", "ceiling_by_margin", "ceiling_by_risk"):
            figures[f"{route.route}.{part}"] = getattr(route, part)
    if q.buyer_ceiling is not None:
        figures["buyer_ceiling"] = q.buyer_ceiling
    return figures
