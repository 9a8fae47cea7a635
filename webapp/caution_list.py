"""Every caution that a quote may bear: when it is said, and which part of the method page explains it."""

from __future__ import annotations

from typing import NamedTuple


class Said(NamedTuple):
    """When a caution is said."""

    stage: str
    when: str


CAUTIONS = {
    "repeats_spread": Said("weighing", "repeated readings differ by more than 4 times the repeatability"),
    "pores_filling": Said("weighing", "readings under water drift one way"),
    "small_displacement": Said("weighing", "the water lifts under 20 steps of the balance"),
    "fine_steps": Said("weighing", "a reading is finer than the stated readability"),
    "coarse_steps": Said("weighing", "readings go in coarser steps than the stated readability"),
    "one_reading": Said("weighing", "the piece was weighed only once, dry or under water"),
    "truncated": Said("draws", "more than 1 in 1,000 of a range lies beyond what is possible"),
    "rock_doubtful": Said("gold", "under 5 % of the draws leave a possible amount of gold"),
    "likely_no_gold": Said("gold", "under half of them do"),
    "budget_before_conditioning": Said("gold", "under 95 % of them do: the shares of doubt precede the dropping"),
    "not_by_weight": Said("seen", "the gold is not seen by weight"),
    "claim_only": Said("ask", "nothing was weighed"),
    "claim_far_from_ask": Said(
        "ask", "the claimed gold is worth over 4 times the ask, or under a quarter of it: ounces or grams?"
    ),
    "price_doubtful": Said("price", "gold under 5 a gram in any currency: a slip of the decimal mark or the unit"),
    "treatment_uncounted": Said("refine", "a charge by the kilogram, and no mass"),
    "price_undated": Said("price", "it is not stated when the price was seen"),
    "price_old": Said("price", "it was seen more than a day before the quote"),
    "price_from_the_future": Said("price", "it is dated after the quote"),
    "lot_too_small": Said("refine", "no refiner takes so small a lot"),
    "not_worth_sending": Said("refine", "charges take as much as the gold brings"),
    "unsold_brings_nothing": Said("intact", "a piece that does not sell has no fallback"),
    "sale_chance_binds": Said("intact", "the chance of no sale is not below the accepted chance of loss"),
    "premium_by_rubric": Said("intact", "the premium rests on graded qualities"),
    "few_sales": Said("intact", "under 8 effective comparable sales"),
    "later_sales": Said("intact", "comparable sales dated after the quote were left out"),
    "ceiling_zero": Said("offer", "the house cannot pay anything"),
    "floor_assumed": Said("offer", "no alternative of the seller is known"),
    "bid_unseen": Said("offer", "the seller's floor rests on another bid: has it been seen in writing?"),
    "offer_above_ask": Said("offer", "our offer is above what the seller asks now"),
    "no_fair_price": Said("offer", "floor above ceiling"),
    "pieces_not_seen": Said("seen", "in some pieces of a lot gold is not seen by weight: they count in no total"),
    "conditioned_by_piece": Said(
        "gold", "under 5 % of the draws leave a possible amount of gold in every piece of a lot"
    ),
    "fewer_draws": Said("draws", "a lot has over 200 pieces, so 4096 draws are taken"),
}
