"""Ceiling, floor and fair range by themselves, down to the last coin."""

from decimal import Decimal

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from tests.valuation.strategies import STEADY
from valuation.money import currency_digits, exact, minor_unit
from valuation.negotiation import Floor, buyer_ceiling, fair_split, price_step, seller_floor
from valuation.result import RouteResult
from valuation.terms import Buyer, Seller

# Minor units of ISO 4217, list one; codes of two, none and three digits.
DIGITS = {"USD": 2, "EUR": 2, "CHF": 2, "XAU": 2, "JPY": 0, "KRW": 0, "ISK": 0, "KWD": 3, "TND": 3, "BHD": 3}


def split(ceiling, floor, increment=10.0, currency="USD"):
    return fair_split(ceiling, floor, Buyer(cash_increment=increment), currency)


def fair(ceiling, floor, increment=10.0, currency="USD"):
    found = split(ceiling, floor, increment, currency)
    return None if found is None else (found.fair.low, found.fair.middle, found.fair.high)


@pytest.mark.parametrize(("currency", "digits"), DIGITS.items())
def test_the_smallest_coin_of_a_currency(currency, digits):
    assert currency_digits(currency) == digits
    assert minor_unit(currency) == Decimal(10) ** -digits


# The step by hand: the increment if four fit the surplus, else the largest of 5, 1, 0.10, 0.01 of which four fit.
@pytest.mark.parametrize(
    ("surplus", "increment", "unit", "step"),
    [
        ("40", "10", "0.01", "10"),
        ("39.99", "10", "0.01", "5"),
        ("20", "10", "0.01", "5"),
        ("19.99", "10", "0.01", "1"),
        ("3.99", "10", "0.01", "0.1"),
        ("0.39", "10", "0.01", "0.01"),
        ("0.04", "10", "0.01", "0.01"),
        ("0.03", "10", "0.01", None),
        ("0", "10", "0.01", None),
        ("1000", "0.25", "0.01", "0.25"),
        ("0.99", "0.25", "0.01", "0.1"),
        ("100", "100", "0.01", "5"),
        # no digits, three digits
        ("19", "10", "1", "1"),
        ("3", "10", "1", None),
        ("0.03", "10", "0.001", "0.001"),
        ("0.003", "10", "0.001", None),
        # an increment under the smallest coin counts as the coin
        ("1000", "0.001", "0.01", "0.01"),
        ("1000", "0.5", "1", "1"),
        ("1000", "0.125", "0.01", "0.13"),
    ],
)
def test_the_step_leaves_four_of_it_in_the_surplus(surplus, increment, unit, step):
    found = price_step(Decimal(surplus), Decimal(increment), Decimal(unit))
    assert found == (None if step is None else Decimal(step))


# Worked by hand: L + 0.25 surplus up, (L + C)/2 to the nearest, C - 0.25 surplus down.
@pytest.mark.parametrize(
    ("ceiling", "floor", "increment", "currency", "expected"),
    [
        (5000.0, 4000.0, 10.0, "USD", (4250.0, 4500.0, 4750.0)),
        (5290.49, 3800.0, 10.0, "USD", (4180.0, 4550.0, 4910.0)),
        (1000.0, 970.0, 10.0, "USD", (980.0, 985.0, 990.0)),
        (104.0, 100.0, 10.0, "USD", (101.0, 102.0, 103.0)),
        (102.0, 100.0, 10.0, "USD", (100.5, 101.0, 101.5)),
        (100.2, 100.0, 10.0, "USD", (100.05, 100.1, 100.15)),
        (100.04, 100.0, 10.0, "USD", (100.01, 100.02, 100.03)),
        # under four cents of surplus: the floor, rounded up to the cent, for all three
        (100.03, 100.0, 10.0, "USD", (100.0, 100.0, 100.0)),
        (100.014, 100.006, 10.0, "USD", (100.01, 100.01, 100.01)),
        (100.0, 100.0, 10.0, "USD", (100.0, 100.0, 100.0)),
        (0.0, 0.0, 10.0, "USD", (0.0, 0.0, 0.0)),
        # no whole cent between them
        (100.009, 100.001, 10.0, "USD", None),
        # unrounded figures decide
        (99.999, 100.0, 10.0, "USD", None),
        (100.004, 100.0041, 10.0, "USD", None),
        # yen have no hundredths, dinars have thousandths
        (103.0, 100.0, 10.0, "JPY", (100.0, 100.0, 100.0)),
        (104.0, 100.0, 10.0, "JPY", (101.0, 102.0, 103.0)),
        (104.9, 100.2, 10.0, "JPY", (102.0, 103.0, 103.0)),
        (100.9, 100.1, 10.0, "JPY", None),
        (101.0, 100.1, 10.0, "JPY", (101.0, 101.0, 101.0)),
        (100.008, 100.0, 10.0, "KWD", (100.002, 100.004, 100.006)),
        (100.003, 100.0, 10.0, "KWD", (100.0, 100.0, 100.0)),
        # a coin of a quarter
        (101.0, 100.0, 0.25, "USD", (100.25, 100.5, 100.75)),
    ],
)
def test_the_fair_range_by_hand(ceiling, floor, increment, currency, expected):
    assert fair(ceiling, floor, increment, currency) == expected


def test_both_plans_by_hand():
    """C 5,290.49 and L 3,804.20 in steps of 10: stops rounded to the safe side."""
    plan = split(5290.49, 3804.20).plan
    assert plan.buyer.model_dump() == {"open": 4180.0, "aim": 4550.0, "stop": 5290.0}
    assert plan.seller.model_dump() == {"open": 4910.0, "aim": 4550.0, "stop": 3810.0}
    assert plan.step == 10.0


AMOUNTS = st.one_of(
    st.floats(0.0, 1e7),
    st.integers(0, 10**9).map(lambda cents: cents / 100),
    st.sampled_from([0.0, 0.01, 100.0, 99.995, 1e-9, 1e10]),
)
SURPLUSES = st.one_of(
    st.floats(0.0, 1e6),
    st.floats(0.0, 0.05),
    st.integers(0, 10**6).map(lambda thousandths: thousandths / 1000),
    st.sampled_from([0.0, 0.001, 0.01, 0.03, 0.04, 0.0399999999, 0.4, 4.0, 20.0, 39.999999, 40.0]),
)
INCREMENTS = st.one_of(st.sampled_from([0.001, 0.01, 0.05, 0.25, 1.0, 5.0, 10.0, 100.0, 1e6]), st.floats(0.001, 1e4))


@settings(STEADY, max_examples=400)
@given(AMOUNTS, SURPLUSES, INCREMENTS, st.sampled_from(sorted(DIGITS)))
@example(1e10, 1e-6, 10.0, "USD")
@example(4.1, 0.3, 0.1, "USD")
def test_the_fair_range_lies_between_floor_and_ceiling_on_its_grid(floor, surplus, increment, currency):
    ceiling = floor + surplus
    found = split(ceiling, floor, increment, currency)
    unit = minor_unit(currency)
    if found is None:
        # Only where no whole coin lies between the two.
        assert (exact(floor) / unit).to_integral_value("ROUND_CEILING") * unit > exact(ceiling)
        return
    low, middle, high = found.fair.low, found.fair.middle, found.fair.high
    assert floor <= low <= middle <= high <= ceiling
    buyer, seller = found.plan.buyer, found.plan.seller
    assert (buyer.open, buyer.aim, seller.open, seller.aim) == (low, middle, high, middle)
    assert high <= buyer.stop <= ceiling and floor <= seller.stop <= low
    assert found.step >= unit
    for figure in (low, middle, high, buyer.stop, seller.stop):
        assert exact(figure) % found.step == exact(figure) % unit == 0
    wide = exact(ceiling) - exact(floor)
    if wide >= 4 * unit:
        # No end is further from where it belongs than one step, the middle no further than half of one.
        share = wide / 4
        assert 0 <= exact(low) - exact(floor) - share < found.step
        assert 0 <= exact(ceiling) - exact(high) - share < found.step
        assert abs(exact(middle) - (exact(floor) + exact(ceiling)) / 2) <= found.step / 2
        assert wide >= 4 * found.step
    else:
        assert low == middle == high


@settings(STEADY, max_examples=100)
@given(AMOUNTS, st.floats(1e-9, 1e6), INCREMENTS, st.sampled_from(sorted(DIGITS)))
def test_there_is_no_fair_range_where_the_floor_is_above_the_ceiling(ceiling, gap, increment, currency):
    floor = ceiling + gap
    assume(floor > ceiling)
    assert split(ceiling, floor, increment, currency) is None


# ---- ceiling and floor


def route(name, by_margin, by_risk):
    return RouteResult(
        route=name,
        mean=0.0,
        sd=0.0,
        low=0.0,
        median=0.0,
        high=0.0,
        ceiling_by_margin=by_margin,
        ceiling_by_risk=by_risk,
        ceiling=max(0.0, min(by_margin, by_risk)),
        binds="margin" if by_margin <= by_risk else "risk",
    )


def test_the_buyers_ceiling_is_the_best_route_and_doubt_costs_the_best_margin_term_less_it():
    ceiling = buyer_ceiling([route("refine", 4000.0, 4200.0), route("intact", 6600.0, 3500.0)])
    assert (ceiling.amount, ceiling.route) == (4000.0, "refine")
    assert (ceiling.cost_of_doubt, ceiling.doubt_free_route) == (2600.0, "intact")


def test_a_house_that_can_pay_nothing_has_a_ceiling_of_zero_and_no_negative_cost_of_doubt():
    ceiling = buyer_ceiling([route("refine", -500.0, -900.0)])
    assert (ceiling.amount, ceiling.cost_of_doubt) == (0.0, 0.0)
    ceiling = buyer_ceiling([route("refine", 700.0, -900.0)])
    assert (ceiling.amount, ceiling.cost_of_doubt) == (0.0, 700.0)


@pytest.mark.parametrize(
    ("known", "own", "seen", "expected"),
    [
        ({"minimum": 900.0, "other_bid": 800.0, "keep_value": 100.0}, 700.0, True, Floor(900.0, "minimum")),
        ({"minimum": 700.0, "other_bid": 800.0}, None, True, Floor(800.0, "other_bid")),
        ({"other_bid": 800.0, "keep_value": 850.0}, 700.0, True, Floor(850.0, "keep_value")),
        ({"other_bid": 800.0}, 801.0, True, Floor(801.0, "own_refining")),
        ({}, 801.0, True, Floor(801.0, "own_refining")),
        ({"other_bid": 0.0}, None, True, Floor(0.0, "other_bid")),
        ({}, None, True, Floor(700.0, "assumed")),
        # refining that costs the seller more than it brings is no alternative
        ({}, -50.0, True, Floor(700.0, "assumed")),
        ({}, None, False, Floor(None, "assumed")),
        ({"minimum": 10.0}, None, False, Floor(10.0, "minimum")),
    ],
)
def test_the_sellers_floor_is_the_best_known_alternative(known, own, seen, expected):
    assert seller_floor(Seller(**known), own, 1000.0, seen) == expected
