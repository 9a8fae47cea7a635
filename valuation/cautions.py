"""What is doubtful about gold, price, routes and offer, in the words of the counter."""

from __future__ import annotations

from datetime import timedelta
from decimal import ROUND_FLOOR

import numpy as np

from valuation.asks import all_in, newest_ask, offer_all_in
from valuation.errors import Caution
from valuation.extras import Extras
from valuation.gold import GoldContent
from valuation.mass import G_PER_OZT
from valuation.money import to_coins
from valuation.negotiation import Ceiling, Floor, Split, unbinding_loss_chance
from valuation.observations import Weighing
from valuation.premium import PremiumModel
from valuation.request import QuoteRequest
from valuation.result import Detection, RouteResult
from valuation.routes import Routes
from valuation.spot import gold_per_ozt
from valuation.words import grams_words, money_words

OLD_PRICE = timedelta(hours=24)
LEAST_GOLD_PER_G = 5.0
FAR_FROM_ASK = 4.0
BUDGET_CONDITIONING_FRAC = 0.95


def reading_cautions(weighing: Weighing) -> list[Caution]:
    """A piece that was weighed only once: a slip would not show."""
    single = [len(readings) == 1 for readings in (weighing.dry_g, weighing.wet_g)]
    if not any(single):
        return []
    which = "dry and one reading under water" if all(single) else "dry" if single[0] else "under water"
    message = (
        f"There is only one reading {which}: weigh it again, as a slip of the balance or of the pen would not show."
    )
    wet = "submerged_g" if weighing.method == "suspended" else "displaced_g"
    return [Caution(code="one_reading", field=f"weighing.{'dry_g' if single[0] else wet}", message=message)]


def gold_cautions(content: GoldContent, seen_by: Detection | None) -> list[Caution]:
    """Doubt about whether there is gold at all."""
    kept, found = content.kept_frac, []
    if kept < 0.05:
        found.append(
            Caution(
                code="rock_doubtful",
                field="rock",
                message=f"Only {kept:.1%} of the draws leave a possible amount of gold: the rock is probably not what "
                "was entered. Weigh a bare chip of it.",
            )
        )
    elif kept < 0.5:
        found.append(
            Caution(
                code="likely_no_gold",
                field="fine_gold_g",
                message=f"The likeliest reading is no gold: only {kept:.0%} of the draws leave any. The range shown "
                "holds only if there is gold.",
            )
        )
    if kept < BUDGET_CONDITIONING_FRAC:
        found.append(
            Caution(
                code="budget_before_conditioning",
                field="budget",
                message=f"The shares of doubt are taken before the {1 - kept:.0%} of impossible draws were dropped.",
            )
        )
    if seen_by is not None and not seen_by.seen:
        found.append(
            Caution(
                code="not_by_weight",
                field="detection",
                message=f"Not by weight: the estimate of {grams_words(max(0.0, seen_by.estimate_g), 2)} of native gold "
                f"is not above {grams_words(seen_by.critical_g, 2)}, which rock without gold could show. Melt value "
                "and premium on gold are not priced.",
            )
        )
    return found


def price_cautions(request: QuoteRequest) -> list[Caution]:
    """Doubt about the price: its size and its age."""
    return _size_cautions(request) + _age_cautions(request)


def _size_cautions(request: QuoteRequest) -> list[Caution]:
    """A gold price that no currency has seen of late: a slip of the decimal mark or of the unit."""
    per_g = gold_per_ozt(request.spot) / G_PER_OZT
    if per_g >= LEAST_GOLD_PER_G:
        return []
    price = money_words(request.spot.gold, request.spot.currency)
    message = (
        f"Gold at {price} per {request.spot.unit} is far too little: check the decimal mark, and whether the price is "
        "per troy ounce, gram or kilogram."
    )
    return [Caution(code="price_doubtful", field="spot.gold", message=message)]


def _age_cautions(request: QuoteRequest) -> list[Caution]:
    seen_at = request.spot.seen_at
    if seen_at is None:
        message = "It is not stated when the spot price was seen: look it up again before you pay."
        return [Caution(code="price_undated", field="spot.seen_at", message=message)]
    age = request.quoted_at - seen_at
    if age < timedelta(0):
        message = "The spot price is dated after the quote: check both times."
        return [Caution(code="price_from_the_future", field="spot.seen_at", message=message)]
    if age > OLD_PRICE:
        hours = age.total_seconds() / 3600
        message = f"The spot price was seen {hours:.0f} hours before the quote: look it up again before you pay."
        return [Caution(code="price_old", field="spot.seen_at", message=message)]
    return []


def route_cautions(request: QuoteRequest, routes: Routes, results: list[RouteResult]) -> list[Caution]:
    """Doubt about the ways out."""
    found = []
    if routes.refiners and routes.refine is None:
        found.append(
            Caution(
                code="lot_too_small",
                field="refiner.minimum_lot_ozt",
                message="No refiner takes so small a lot: the likely gold is under the minimum, so this way out counts "
                "as nothing.",
            )
        )
    if routes.refine is not None and not routes.refine.settlement.worth_sending:
        found.append(
            Caution(
                code="not_worth_sending",
                field="refiner",
                message="Not worth sending: the refiner's charges take as much as the gold brings, so this way out "
                "counts as nothing.",
            )
        )
    intact = routes.intact
    if intact is not None and not intact.fallback_worth and not bool(intact.sold.all()):
        found.append(
            Caution(
                code="unsold_brings_nothing",
                field="collector",
                message="A piece that does not sell is taken to bring nothing: no refiner is known for it, or sending "
                "it in would not pay.",
            )
        )
    if intact is None or request.collector is None:
        return found
    unsold = 1.0 - float(np.mean(intact.sold))
    stated = 1.0 - request.collector.sale_chance_frac.centre
    if max(unsold, stated) >= request.buyer.loss_chance_frac - 1e-9:
        result = next(r for r in results if r.route == "intact")
        alpha = unbinding_loss_chance(routes.present["intact"], result, request.buyer)
        found.append(
            Caution(
                code="sale_chance_binds",
                field="collector.sale_chance_frac",
                message=f"The chance of {stated:.0%} that it does not sell is not below the accepted chance of loss of "
                f"{request.buyer.loss_chance_frac:.0%}: what this way out allows rests on the unsold pieces, and a "
                "higher premium would not raise it. Consign the piece, or sell it more surely; with an accepted chance "
                f"of loss of {alpha:.0%} the margin would set the price.",
            )
        )
    return found


def offer_cautions(
    request: QuoteRequest, ceiling: Ceiling | None, floor: Floor, split: Split | None, *, seen: bool
) -> list[Caution]:
    """Doubt about the offer."""
    found = []
    if ceiling is not None and ceiling.amount <= 0:
        found.append(
            Caution(
                code="ceiling_zero",
                field="buyer_ceiling",
                message="Under these terms the house cannot pay anything: see what each way out allows.",
            )
        )
    if floor.basis == "assumed" and ceiling is not None and seen:
        if split is not None:
            message = (
                "No alternative of the seller is known, so the floor is assumed at 70 % of the melt value: ask for "
                "another bid, a minimum, or the seller's own refining terms."
            )
        elif floor.amount is not None and floor.amount <= ceiling.amount:
            message = (
                "The assumed floor (70 % of the melt value) and the ceiling meet between two coins: no price lies "
                "there."
            )
        else:
            currency = request.spot.currency
            most = money_words(to_coins(ceiling.amount, currency, ROUND_FLOOR), currency)
            message = (
                f"The buyer can pay up to {most}; no seller alternative is "
                "known, and the assumed floor of 70 % of the melt value lies above that. Ask what the seller could get."
            )
        found.append(Caution(code="floor_assumed", field="seller_floor", message=message))
    if seen and split is None and ceiling is not None and floor.amount is not None and floor.basis != "assumed":
        gap = floor.amount - ceiling.amount
        message = (
            f"No fair cash price: the seller's floor is {money_words(gap, request.spot.currency)} above the house's "
            "ceiling."
            if gap > 0
            else "Floor and ceiling meet between two of the smallest coins: no whole price lies between them."
        )
        found.append(Caution(code="no_fair_price", field="fair", message=message))
    return found


def bargain_cautions(request: QuoteRequest, floor: Floor) -> list[Caution]:
    """Doubt about what was said on both sides."""
    found = []
    if floor.basis == "other_bid":
        message = "Have you seen the other bid in writing? The seller's floor rests on it alone."
        found.append(Caution(code="bid_unseen", field="seller.other_bid", message=message))
    asked, offer, currency = newest_ask(request), offer_all_in(request), request.spot.currency
    if asked is not None and offer is not None and request.buyer.offer is not None:
        total = all_in(asked, currency)
        if offer > total * (1.0 + 1e-9):
            paid = Extras.of(asked, currency).exchange_rate * asked.price
            message = (
                f"Our offer of {money_words(request.buyer.offer, currency)} is more than the "
                f"{money_words(paid, currency)} that they ask: offer no more than is asked."
            )
            found.append(Caution(code="offer_above_ask", field="buyer.offer", message=message))
    return found


def _unit_cautions(request: QuoteRequest) -> list[Caution]:
    """A claim that is worth many times the ask, or a small part of it: ounces and grams mixed up."""
    claim, asks = request.seller.claim, request.seller.asks
    if claim is None or asks is None:
        return []
    melt, asked = claim.grams / G_PER_OZT * gold_per_ozt(request.spot), all_in(asks, request.spot.currency)
    if 1.0 / FAR_FROM_ASK <= asked / melt <= FAR_FROM_ASK:
        return []
    meant = "grams" if claim.unit != "g" else "troy ounces"
    worth, price = (money_words(amount, request.spot.currency) for amount in (melt, asked))
    message = (
        f"The claim of {grams_words(claim.grams, 4)} of gold would be worth about {worth}, and "
        f"{price} is asked. Are {meant} meant? Check the unit."
    )
    return [Caution(code="claim_far_from_ask", field="seller.claim.unit", message=message)]


def claim_cautions(request: QuoteRequest) -> list[Caution]:
    """Doubt about a claim: its unit, and that nothing was weighed for it."""
    found = _unit_cautions(request)
    if not request.by_claim:
        return found
    found += [
        Caution(
            code="claim_only",
            field="seller.claim",
            message="Nothing was weighed: every figure rests on the claim and on how far it is believed. Weigh the "
            "piece dry and hanging under water, and name its rock.",
        )
    ]
    terms = (request.refiner, *request.other_refiners, request.seller.refiner)
    charged = any(refiner is not None and refiner.treatment_per_kg > 0 for refiner in terms)
    if charged and request.seller.claim is not None and request.seller.claim.piece_g is None:
        found.append(
            Caution(
                code="treatment_uncounted",
                field="seller.claim.piece_g",
                message="The refiner charges by the kilogram, but the mass of the piece is not known: that charge is "
                "not counted.",
            )
        )
    return found


def premium_cautions(premium: PremiumModel | None) -> list[Caution]:
    """Doubt about where the premium comes from."""
    if premium is None:
        return []
    if premium.basis == "rubric":
        message = "The premium comes from graded qualities: the bands are house assumptions, not sales."
        return [Caution(code="premium_by_rubric", field="collector.rubric", message=message)]
    sales, found = premium.foretold, []
    if sales is not None and sales.few:
        message = (
            f"The premium rests on only {sales.n_effective:.1f} effective sales, so its range was widened: "
            "more sales like this piece would narrow it."
        )
        found.append(Caution(code="few_sales", field="collector.comparables", message=message))
    if sales is not None and sales.ignored:
        message = f"{len(sales.ignored)} of the comparable sales are dated after the quote and were left out."
        found.append(Caution(code="later_sales", field="collector.comparables", message=message))
    return found
