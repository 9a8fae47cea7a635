"""What must hold for every request, not only for the ones that somebody thought of."""

import json
import math

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from tests.valuation.strategies import STEADY, broken_requests, changed, good, junk, requests
from valuation import QuoteRequest, RequestRefused, ValuationError, quote, read_request

FEW_DRAWS = 10
SUMMARIES = (
    "specific_gravity",
    "mass_g",
    "volume_cm3",
    "native_gold_g",
    "fine_gold_g",
    "fine_silver_g",
    "melt_value",
    "silver_value",
)
CHARGES = {
    "minimum_deduction_ozt": st.floats(0.001, 1.5),
    "price_discount_frac": st.floats(0.001, 0.5),
    "refining_per_ozt": st.floats(0.1, 3000.0),
    "treatment_per_kg": st.floats(0.1, 10_000.0),
    "assay_fee": st.floats(0.1, 5000.0),
    "lot_fee": st.floats(0.1, 5000.0),
    "freight": st.floats(0.1, 5000.0),
    "insurance_frac": st.floats(0.001, 0.5),
}


def quoted(changes, **options):
    return quote(QuoteRequest.model_validate(changed(good(), changes)), **options)


def refused_or_quoted(request):
    """The quote with few draws; None for a clean refusal. Any other exception, or a warning, fails the test."""
    try:
        return quote(request, log2_draws=FEW_DRAWS, with_price_risk=True)
    except ValuationError as refused:
        problem = refused.problem
    assert problem.field and problem.message and problem.code
    return None


def numbers_in(value):
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        return [number for item in value for number in numbers_in(item)]
    return [value] if isinstance(value, float) else []


def exactly_scaled(factor):
    """The good readings, and all that the balance states in grams, times a factor; no line, whose size stays."""
    weighing = {"line_diameter_mm": 0.0}
    for name in ("dry_g", "submerged_g"):
        weighing[name] = [reading * factor for reading in good()["weighing"][name]]
    for name in ("readability_g", "repeatability_g", "linearity_g"):
        weighing[name] = good()["weighing"][name] * factor
    return {f"weighing.{name}": value for name, value in weighing.items()}


@settings(STEADY, max_examples=50)
@given(st.floats(0.001, 1000.0))
def test_scaling_all_masses_scales_the_gold(factor):
    one, many = quoted(exactly_scaled(1.0)), quoted(exactly_scaled(factor))
    for name in ("mass_g", "volume_cm3", "native_gold_g", "fine_gold_g", "fine_silver_g", "melt_value"):
        for part, figure in getattr(one, name).model_dump().items():
            assert getattr(getattr(many, name), part) == pytest.approx(factor * figure, rel=1e-8), (name, part)
    assert many.specific_gravity.median == pytest.approx(one.specific_gravity.median, rel=1e-12)
    assert many.detection.critical_g == pytest.approx(factor * one.detection.critical_g, rel=1e-8)


@settings(STEADY, max_examples=60)
@given(st.floats(262.0, 310.0), st.floats(0.2, 20.0))
def test_a_denser_piece_of_the_same_mass_holds_more_gold(submerged, more):
    lighter = quoted({"weighing.submerged_g": submerged})
    denser = quoted({"weighing.submerged_g": submerged + more})
    assert denser.specific_gravity.median > lighter.specific_gravity.median
    for name in ("native_gold_g", "fine_gold_g", "melt_value"):
        assert getattr(denser, name).median > getattr(lighter, name).median


# Middle, least and greatest half width, and the figure that must feel it.
WIDENED = {
    "rock.density_g_cm3": (2.61, 0.005, 0.04, "native_gold_g"),
    "rock.void_frac": (0.01, 0.001, 0.01, "native_gold_g"),
    "gold.fineness_frac": (0.85, 0.01, 0.14, "fine_gold_g"),
    "gold.copper_share_frac": (0.4, 0.02, 0.39, "fine_silver_g"),
    "weighing.water_temperature_degc": (20.0, 0.5, 18.0, "native_gold_g"),
}


@pytest.mark.parametrize("field", WIDENED)
@settings(STEADY, max_examples=20)
@given(data=st.data())
def test_a_wider_input_makes_a_wider_range(field, data):
    """Of a piece that is seen for certain: where impossible draws are dropped, a range may lose its lower part."""
    middle, narrow, wide, figure = WIDENED[field]
    halves = sorted(data.draw(st.tuples(st.floats(narrow, wide), st.floats(narrow, wide)), "half widths"))
    assume(halves[1] > 1.2 * halves[0])
    still = {"rock.density_g_cm3": 2.61, "gold.fineness_frac": 0.85, "weighing.span_tolerance_frac": 0.0}
    still |= {"weighing.readability_g": 1e-4, "weighing.repeatability_g": 0.0, "weighing.linearity_g": 0.0}
    still |= {"weighing.dry_g": 412.6, "weighing.submerged_g": 271.4, "rock.void_frac": 0.0}
    widths = []
    for half in halves:
        q = quoted({**still, field: {"low": middle - half, "high": middle + half}})
        assert q.kept_frac == 1.0
        widths.append(getattr(q, figure).width)
    assert widths[0] < widths[1]


@pytest.mark.parametrize("field", ["readability_g", "repeatability_g", "linearity_g", "span_tolerance_frac"])
@settings(STEADY, max_examples=20)
@given(low=st.floats(0.001, 1.0), factor=st.floats(1.5, 20.0))
def test_a_worse_balance_makes_a_wider_range(field, low, factor):
    still = {"rock.density_g_cm3": 2.61, "gold.fineness_frac": 0.85, "rock.void_frac": 0.0}
    low = low * 0.002 if field == "span_tolerance_frac" else low * 0.3
    better, worse = (quoted({**still, f"weighing.{field}": x}, log2_draws=13) for x in (low, low * factor))
    # The repeats' own scatter stands in for a repeatability that is better than they show.
    scatter = 0.0 if field != "repeatability_g" else 1e-9
    assert worse.mass_g.sd > better.mass_g.sd * (1.0 - scatter)
    assert worse.native_gold_g.sd > better.native_gold_g.sd * (1.0 - scatter)
    # Ends of a range are read off the draws: no finer than their spacing.
    assert worse.native_gold_g.width > 0.99 * better.native_gold_g.width


def assert_ordered(q, handling):
    for name in SUMMARIES:
        summary = getattr(q, name)
        if summary is not None:
            assert summary.low <= summary.median <= summary.high, name
            assert summary.sd >= 0.0
    assert 0.0 < q.kept_frac <= 1.0
    for row in q.routes:
        assert row.low <= row.median <= row.high
        assert row.ceiling == max(0.0, min(row.ceiling_by_margin, row.ceiling_by_risk))
        assert row.ceiling <= max(0.0, row.mean - handling) * (1 + 1e-12)
    if q.buyer_ceiling is not None:
        assert q.buyer_ceiling == max(row.ceiling for row in q.routes) >= 0.0
        assert q.cost_of_doubt >= 0.0
    if q.detection is not None and not q.detection.seen:
        assert q.gap is None and q.fair is None
    elif q.seller_floor is not None and q.buyer_ceiling is not None:
        assert q.gap == max(0.0, q.seller_floor - q.buyer_ceiling)
    if q.fair is None:
        assert q.plan is None
        return
    floor, ceiling, fair = q.seller_floor, q.buyer_ceiling, q.fair
    assert floor <= fair.low <= fair.middle <= fair.high <= ceiling
    buyer, seller = q.plan.buyer, q.plan.seller
    assert fair.low == buyer.open <= buyer.aim <= buyer.stop <= ceiling
    assert fair.high == seller.open >= seller.aim >= seller.stop >= floor
    assert buyer.aim == seller.aim == fair.middle


@settings(STEADY, max_examples=200)
@given(requests())
def test_any_request_within_the_bounds_is_quoted_in_order_or_cleanly_refused(entered):
    request = read_request(entered)
    q = refused_or_quoted(request)
    if q is None:
        return
    assert_ordered(q, request.buyer.handling_cost)
    told = json.loads(q.model_dump_json(), parse_constant=lambda name: pytest.fail(f"{name} in the JSON"))
    assert all(math.isfinite(number) for number in numbers_in(told))
    assert "nan" not in " ".join(c.message for c in q.cautions).lower().split()
    lines = {row.line: float(row.amount) for row in q.settlement}
    if lines:
        waiting, total = lines.pop("waiting"), lines.pop("total")
        assert math.fsum(lines.values()) == pytest.approx(total, rel=1e-12, abs=1e-6)
        assert waiting * total <= 0.0


@settings(STEADY, max_examples=200)
@given(broken_requests())
def test_a_file_of_junk_is_refused_and_nothing_else(entered):
    try:
        request = read_request(entered)
    except RequestRefused as refused:
        problems = refused.problems
    else:
        refused_or_quoted(request)
        return
    assert problems
    for problem in problems:
        assert problem.message and len(problem.value) <= 40
        assert "Input should" not in problem.message, problem


@settings(STEADY, max_examples=100)
@given(st.dictionaries(st.one_of(st.sampled_from(sorted(QuoteRequest.model_fields)), st.text(max_size=5)), junk()))
@example({})
def test_any_table_at_all_is_refused_and_nothing_else(entered):
    with pytest.raises(RequestRefused) as refused:
        read_request(entered)
    assert refused.value.problems


# ---- money


def with_charge(charge, amount):
    return {"collector": {"premium_frac": -0.2}, "buyer.routes": ["refine"], f"refiner.{charge}": amount}


@pytest.mark.parametrize("charge", CHARGES)
@settings(STEADY, max_examples=12)
@given(data=st.data())
def test_a_higher_charge_never_raises_the_ceiling_of_refining(charge, data):
    less, more = sorted(data.draw(st.tuples(CHARGES[charge], CHARGES[charge])))
    low, high = (quoted(with_charge(charge, x), log2_draws=12) for x in (less, more))
    assert high.buyer_ceiling <= low.buyer_ceiling
    assert high.routes[0].ceiling_by_margin <= low.routes[0].ceiling_by_margin or low.buyer_ceiling == 0.0


@pytest.mark.parametrize("charge", CHARGES)
@settings(STEADY, max_examples=12)
@given(data=st.data())
def test_a_higher_charge_never_raises_the_ceiling_of_both_ways(charge, data):
    """Where the fallback of an unsold piece stays worth sending.

    Not so where a charge tips it to "not worth sending": then it counts as nothing instead of as a loss in some
    draws, and the quantile of the intact route can rise by what the worst of those draws lost.
    """
    less, more = sorted(data.draw(st.tuples(CHARGES[charge], CHARGES[charge])))
    chance = data.draw(st.floats(0.3, 1.0), "sale chance")
    terms = {"collector.sale_chance_frac": chance}
    low, high = (quoted({**terms, f"refiner.{charge}": x}, log2_draws=12) for x in (less, more))
    tipped = {"unsold_brings_nothing"} & {c.code for c in high.cautions}
    assume(not tipped)
    assert high.buyer_ceiling <= low.buyer_ceiling


def test_a_fallback_tipped_into_nothing_can_raise_a_ceiling():
    """The one place where the contract itself is not monotone: a quantile of losses becomes a quantile of nothing."""
    terms = {"buyer.routes": ["intact"], "collector.sale_chance_frac": 0.5, "buyer.loss_chance_frac": 0.3}
    terms |= {"buyer.handling_cost": 0.0, "refiner.assay_fee": 0.0, "spot.gold_volatility_per_year": 0.9}

    def risk_ceiling(fee):
        q = quoted({**terms, "refiner.lot_fee": fee})
        return q.routes[0].ceiling_by_risk, "unsold_brings_nothing" in {c.code for c in q.cautions}

    low, high = 1000.0, 8000.0
    while high - low > 0.5:
        fee = (low + high) / 2
        low, high = (low, fee) if risk_ceiling(fee)[1] else (fee, high)
    worth, nothing = risk_ceiling(low)[0], risk_ceiling(high)[0]
    assert worth < 0.0 == nothing


@settings(STEADY, max_examples=40)
@given(st.floats(0.0, 0.99), st.floats(0.0, 0.99))
def test_a_higher_selling_cost_never_raises_a_ceiling(a, b):
    less, more = sorted((a, b))
    low, high = (quoted({"collector.selling_cost_frac": x}, log2_draws=12) for x in (less, more))
    assert high.buyer_ceiling <= low.buyer_ceiling


@settings(STEADY, max_examples=60)
@given(st.floats(0.001, 0.999), st.floats(0.001, 0.999), st.floats(0.0, 1.0))
def test_a_higher_accepted_chance_of_loss_never_lowers_a_ceiling(a, b, chance):
    terms = {"collector.sale_chance_frac": chance}
    low, high = (quoted({**terms, "buyer.loss_chance_frac": alpha}, log2_draws=12) for alpha in sorted((a, b)))
    assert high.buyer_ceiling >= low.buyer_ceiling
    assert high.cost_of_doubt <= low.cost_of_doubt


@pytest.mark.parametrize(
    ("field", "most"),
    [("margin_frac", 10.0), ("handling_cost", 20_000.0), ("capital_rate_per_year", 5.0)],
)
@settings(STEADY, max_examples=30)
@given(data=st.data())
def test_more_for_the_house_never_raises_a_ceiling(field, most, data):
    less, more = sorted(data.draw(st.tuples(st.floats(0.0, most), st.floats(0.0, most))))
    low, high = (quoted({f"buyer.{field}": x}, log2_draws=12) for x in (less, more))
    assert high.buyer_ceiling <= low.buyer_ceiling


@settings(STEADY, max_examples=40)
@given(st.floats(1.0, 10_000.0), st.floats(1.0, 10_000.0))
def test_a_higher_known_alternative_never_lowers_the_floor_or_the_fair_range(a, b):
    less, more = sorted((a, b))
    low, high = (quoted({"seller.minimum": x, "seller.other_bid": 900.0}, log2_draws=12) for x in (less, more))
    assert low.seller_floor <= high.seller_floor
    assert low.buyer_ceiling == high.buyer_ceiling
    if high.fair is not None:
        # Each is rounded by its own surplus: within the cash step.
        assert low.fair.middle <= high.fair.middle + 10.0


def test_the_same_request_gives_the_same_quote():
    assert quoted({}) == quoted({})
    other = quoted({}, seed=7)
    assert other.fine_gold_g.median == pytest.approx(quoted({}).fine_gold_g.median, rel=2e-3)
    assert other.fine_gold_g.median != quoted({}).fine_gold_g.median
