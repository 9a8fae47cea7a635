"""A valuation -> the quote that is shown: summaries, cautions, assumptions."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import scipy

from valuation.asks import checked_ask
from valuation.assumptions import NOTICES, assumed_inputs, constants, named_materials, truncation_cautions
from valuation.budget import budget
from valuation.cautions import (
    bargain_cautions,
    claim_cautions,
    gold_cautions,
    offer_cautions,
    premium_cautions,
    price_cautions,
    reading_cautions,
    route_cautions,
)
from valuation.claims import checked_claim
from valuation.comparables import leave_one_out
from valuation.counters import counter_result
from valuation.deals import deals
from valuation.detection import false_gold_g, hand_rules
from valuation.draws import N_COLUMNS
from valuation.errors import Caution
from valuation.gap import gap_causes
from valuation.mass import G_PER_OZT
from valuation.premium import PremiumModel
from valuation.price_risk import price_risk
from valuation.refiners import refiner_rows
from valuation.refining import statement
from valuation.request import QuoteRequest
from valuation.result import Quote, SettlementLine
from valuation.spot import gold_per_ozt, silver_per_ozt
from valuation.stages import Valuation, of_kept
from valuation.summary import summarised
from valuation.trade import ClaimResult, ComparableRow, LeaveOneOutRow, PremiumResult
from valuation.weighing import weighing_cautions

METHOD = "lodeworth-1"


def method_version() -> str:
    """What a figure depends on besides the request and the seed."""
    return f"{METHOD} sobol{N_COLUMNS} numpy-{np.__version__} scipy-{scipy.__version__}"


def told(v: Valuation, *, with_price_risk: bool = False) -> Quote:
    """The quote that a valuation comes to; see `valuation.quote`."""
    request, weighing = v.request, v.request.weighing
    fine = v.fine
    melt = fine.scaled(v.money_per_g)
    silver = summarised(v.lot.silver_g)
    weighed = v.weighed
    mass = None if weighed is None and v.lot.mass_g == 0 else summarised(v.lot.mass_g)
    shown_volume = None if weighed is None else of_kept(np.asarray(weighed.volume_cm3), v.draws)
    gravity = None if weighed is None else of_kept(np.asarray(weighed.specific_gravity), v.draws)
    gap = None
    if v.seen and v.ceiling is not None and v.floor.amount is not None:
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
        gap_causes=tuple(gap_causes(request, v.lot, v.draws, v.ceiling, v.floor, seen=v.seen, premium=v.premium)),
        plan=None if v.split is None else v.split.plan,
        ask=checked_ask(v),
        claim=_claim(v),
        refiners=refiner_rows(v.routes.refiners),
        premium=None if v.premium is None else _premium(v.premium, request),
        deals=deals(v),
        counters=counter_result(request.said, v),
        price_risk=price_risk(v) if with_price_risk else None,
        cautions=tuple(_cautions(v)),
        assumptions=(*assumed_inputs(request), *named_materials(request), *constants(request, v.floor)),
        notices=NOTICES,
    )


def _settlement(v: Valuation, fine_g: float, silver_g: float) -> tuple[SettlementLine, ...]:
    if v.routes.refine is None:
        return ()
    refiner = v.routes.refine.refiner
    mass = float(np.median(v.lot.mass_g))
    lines = statement(fine_g, silver_g, mass, refiner, v.request.spot, v.request.buyer.capital_rate_per_year)
    return tuple(SettlementLine(line=row.line, amount=f"{row.amount:f}", detail=row.detail) for row in lines)


def _cautions(v: Valuation) -> list[Caution]:
    request = v.request
    found: list[Caution] = []
    if request.weighing is not None:
        found += weighing_cautions(request.weighing, request.rock.chip if request.rock else None)
        found += reading_cautions(request.weighing)
    found += claim_cautions(request)
    found += truncation_cautions(request)
    found += gold_cautions(v.content, v.detection)
    found += price_cautions(request)
    found += route_cautions(request, v.routes, v.results)
    found += premium_cautions(v.premium)
    found += offer_cautions(request, v.ceiling, v.floor, v.split, seen=v.seen)
    found += bargain_cautions(request, v.floor)
    return found


def _claim(v: Valuation) -> ClaimResult | None:
    claim = v.request.seller.claim
    if claim is None or v.request.by_claim:
        return None
    price = gold_per_ozt(v.request.spot)
    return checked_claim(claim, v.request.gold, v.lot, v.native_g, v.weighed, v.content, price, seen=v.seen)


def _premium(premium: PremiumModel, request: QuoteRequest) -> PremiumResult:
    low, likely, high = premium.ends_frac()
    sales, check = premium.foretold, None
    rows: list[ComparableRow] = []
    comparables = request.collector.comparables if request.collector else None
    if sales is not None and comparables is not None:
        check = leave_one_out(comparables, request.quoted_at.date())
        total = float(sales.weights.sum())
        for i, (sale, ratio, weight) in enumerate(zip(comparables, sales.ratios, sales.weights, strict=True)):
            share = float(weight) / total
            day = sale.date.isoformat()
            rows.append(ComparableRow(date=day, ratio=float(ratio), weight_frac=share, ignored=i in sales.ignored))
    return PremiumResult(
        basis=premium.basis,
        low_frac=low,
        likely_frac=likely,
        high_frac=high,
        n_effective=None if sales is None else sales.n_effective,
        sales=tuple(rows),
        leave_one_out=None if check is None else LeaveOneOutRow(**asdict(check)),
    )
