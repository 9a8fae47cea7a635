"""The record: what was foretold of pieces beside what came of them."""

import math
from typing import Any

import pytest
from pydantic import ValidationError
from scipy.stats import binomtest

from tests.simulator.shop import Shop, pieces
from tests.valuation.test_record_density import exact_piece
from valuation import QuoteRequest, quote
from valuation.outcome import Outcome, Refined, Sold, read_outcome
from valuation.record import record
from valuation.record_piece import Foretold, Settled, settled_piece


def refined(grams: float, **told: Any) -> Refined:
    return Refined.model_validate({"fine_gold_g": grams, "paid": "4000", "currency": "USD", "days": 16, **told})


def sold(price: str, **told: Any) -> Sold:
    figures = {"price": price, "gold_price": 4000, "currency": "USD", "days": 90, **told}
    return Sold.model_validate(figures)


def foretold(typed: dict[str, Any], offer: float = 3000.0, **more: Any) -> Foretold:
    request = QuoteRequest.model_validate(typed)
    quoted = quote(request)
    premium = quoted.premium
    ends = None if premium is None else (premium.low_frac, premium.likely_frac, premium.high_frac)
    means = {route.route: route.mean for route in quoted.routes}
    return Foretold(request, quoted.seed, quoted.fine_gold_g.median, means, ends, offer, **more)


def piece(outcome: Outcome, **more: Any) -> Settled:
    typed = exact_piece(2.6, 40.0, 0.85) | more
    typed["refiner"] = {"recovery_frac": {"low": 0.92, "likely": 0.96, "high": 0.98}, "settlement_days": 14}
    return settled_piece("2026-0001", foretold(typed), outcome, log2_draws=12)


# ---- what may be noted


def test_a_note_without_a_kind_is_a_refiners() -> None:
    told = read_outcome({"fine_gold_g": "39,2", "paid": "4 688.10", "days": 16, "currency": "USD"})
    assert isinstance(told, Refined)
    assert (told.fine_gold_g, str(told.paid), told.u_fine_gold_g) == (39.2, "4688.1", None)
    assert read_outcome(told.model_dump(mode="json")) == told


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"fine_gold_g": -1}, "fine_gold_g"),
        ({"paid": "1,234"}, "paid"),
        ({"days": "inf"}, "days"),
        ({"currency": "$"}, "currency"),
        ({"kind": "lost"}, ""),
        ({"fineness": 0.9}, "fineness"),
    ],
)
def test_what_is_no_outcome_is_refused_at_its_field(wrong: dict[str, Any], field: str) -> None:
    good = {"fine_gold_g": 39.2, "paid": "4688.10", "days": 16, "currency": "USD"}
    with pytest.raises(ValidationError) as refused:
        read_outcome(good | wrong)
    (problem,) = refused.value.errors()
    assert not field or problem["loc"][-1] == field


# ---- one piece


def test_the_range_that_is_checked_is_that_of_recovered_gold() -> None:
    """All exact but recovery: the range of what comes out is that of the triangular recovery, times the fine gold."""
    found = piece(refined(32.5)).refined
    assert found is not None
    low, mode, high = 0.92, 0.96, 0.98

    def quantile(p: float) -> float:
        # Closed form of the triangular distribution.
        if p < (mode - low) / (high - low):
            return low + math.sqrt(p * (high - low) * (mode - low))
        return high - math.sqrt((1 - p) * (high - low) * (high - mode))

    fine = 40.0 * 0.85
    for end, p in ((found.low_g, 0.025), (found.median_g, 0.5), (found.high_g, 0.975)):
        assert end == pytest.approx(fine * quantile(p), rel=4e-3)
    assert found.side == "inside" and -1 < found.place < 1


def test_gold_as_contained_would_not_be_taken_for_recovered() -> None:
    """34 g went in; that 34 g came out is beyond any recovery that was foretold."""
    found = piece(refined(34.0)).refined
    assert found is not None and found.side == "above" and found.place > 1


def test_doubt_of_the_settled_figure_widens_the_range() -> None:
    sharp, doubted = piece(refined(32.5)).refined, piece(refined(32.5, u_fine_gold_g=0.5)).refined
    assert sharp is not None and doubted is not None
    half = [(one.high_g - one.low_g) / 3.92 for one in (sharp, doubted)]
    assert half[1] == pytest.approx(math.hypot(half[0], 0.5), rel=0.05)


def test_profit_against_plan_is_that_of_the_way_that_was_taken() -> None:
    told = piece(refined(32.5, paid="4000", days=365), buyer={"handling_cost": 50, "capital_rate_per_year": 0.1})
    assert told.money is not None
    # By hand: 4000 exp(-0.1) - 50 - 3000.
    assert told.money.made == pytest.approx(4000 * math.exp(-0.1) - 3050)
    typed = exact_piece(2.6, 40.0, 0.85)
    typed["refiner"] = {"recovery_frac": {"low": 0.92, "likely": 0.96, "high": 0.98}, "settlement_days": 14}
    typed["buyer"] = {"handling_cost": 50, "capital_rate_per_year": 0.1}
    plan = next(route.mean for route in quote(QuoteRequest.model_validate(typed)).routes if route.route == "refine")
    assert told.money.planned == pytest.approx(plan - 3050)


COLLECTOR = {"premium_frac": {"low": 0.2, "likely": 0.5, "high": 0.9}, "months_to_sale": 3, "sale_chance_frac": 0.9}


def test_premium_got_is_over_the_gold_of_the_day() -> None:
    told = piece(sold("6000", gold_price=4200), collector=COLLECTOR)
    assert told.sold is not None and told.sold.likely_frac is not None
    melt = 40.0 * 0.85 * 4200 / 31.1034768
    assert told.sold.got_frac == pytest.approx(6000 / melt - 1.0, rel=2e-3)
    assert told.refined is None


def test_what_cannot_be_compared_is_said() -> None:
    told = piece(sold("6000"))  # no collector was quoted
    assert told.money is None and told.sold is not None and told.sold.likely_frac is None
    assert [left.why for left in told.left_out] == ["it was not priced for a sale, so there is no plan to compare"]
    other = piece(sold("6000", currency="EUR"), collector=COLLECTOR)
    assert other.sold is None and other.money is None and "another currency" in other.left_out[0].why
    nothing = record([piece(refined(0.0))])
    assert "no ratio" in nothing.left_out[0].why and not nothing.bias


# ---- many pieces


def test_nothing_settled_says_nothing() -> None:
    empty = record([])
    assert empty.held is None and empty.premium is None
    assert not (empty.refined or empty.bias or empty.profit or empty.corrections or empty.left_out)


def test_the_record_of_a_simulated_shop() -> None:
    """Thirty pieces through the whole: counts, bias, correction; the shop's rock is denser than its table."""
    bought = list(pieces(Shop(0.02), 11, 30))
    told = record(
        settled_piece(f"{n}", foretold(one.typed), refined(one.recovered_g), log2_draws=11)
        for n, one in enumerate(bought)
    )
    assert told.held is not None
    inside = sum(one.low_g <= one.recovered_g <= one.high_g for one in told.refined)
    assert (told.held.held, told.held.of) == (inside, 30) and inside + told.below + told.above == 30
    exact = binomtest(inside, 30).proportion_ci(0.95, method="exact")
    assert (told.held.low_frac, told.held.high_frac) == pytest.approx((exact.low, exact.high))
    assert told.below > 5 and told.above == 0  # denser rock passes for gold: less comes out than was foretold
    (bias,) = told.bias
    assert bias.n == 30 and bias.ratio < 1.0
    logs = [math.log(one.recovered_g / one.median_g) for one in told.refined]
    assert bias.ratio == pytest.approx(math.exp(sum(logs) / 30))
    (correction,) = told.corrections
    assert correction.verdict == "suggested" and correction.low <= 0.02 <= correction.high
    assert correction.corrected.likely == pytest.approx(2.65, abs=0.01)
    assert told.profit[0].difference.n + sum("not priced" in left.why for left in told.left_out) == 30


def test_what_was_quoted_with_the_corrected_density_is_told_from_the_newest() -> None:
    """Settled pieces tell of the rock itself, so those from before a correction still count after it."""
    bought = list(pieces(Shop(0.02), 12, 12))
    settled = []
    for n, one in enumerate(bought):
        if n >= 6:
            one.typed["rock"]["density_g_cm3"] = {"low": 2.62, "likely": 2.65, "high": 2.67}
        quoted = foretold(one.typed, rock_name="our vein")
        settled.append(settled_piece(f"{n}", quoted, refined(one.recovered_g), log2_draws=11))
    (correction,) = record(settled).corrections
    assert (correction.rock, correction.n) == ("our vein", 12)
    assert correction.low <= 0.0 <= correction.high and correction.verdict == "none"
