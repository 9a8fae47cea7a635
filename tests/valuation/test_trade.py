"""What must hold for every request with an ask, a claim, figures said, refiners and any way to a premium."""

import json
import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.valuation.strategies import (
    STEADY,
    buyers,
    changed,
    good,
    numbers,
    prices,
    refiners,
    sections,
    sellers,
    spreads,
)
from valuation import ValuationError, quote, read_request
from valuation.errors import RequestRefused
from valuation.rubric import qualities

FEW_DRAWS = 8
NO_EXPONENT = re.compile(r"\d[eE][+-]\d|\bnan\b|\binf\b", re.IGNORECASE)


def asks():
    """Any asking price in the quote's currency or in another."""
    money = numbers(100.0, 1e10)
    terms = {"shipping": numbers(0.0, 1e9), "fee_frac": numbers(0.0, 5.0), "tax_frac": numbers(0.0, 5.0)}
    foreign = {"price": money, "currency": st.just("CHF"), "exchange_rate": numbers(1e-2, 1e9)}
    return st.one_of(sections({"price": money}, terms), sections(foreign, terms))


def claims():
    """Any claim."""
    return sections(
        {"mass": st.one_of(numbers(1e-9, 1e3), st.floats(0.1, 10.0))},
        {
            "unit": st.sampled_from(("ozt", "g", "kg", "tola")),
            "basis": st.sampled_from(("native", "fine", "unknown")),
            "right_frac": spreads(0.0, 2.0),
            "piece_g": numbers(1e3, 1e6),
        },
    )


def figures_said():
    """Any figures of both sides, in any order."""
    one = st.fixed_dictionaries({"by": st.sampled_from(("buyer", "seller")), "figure": numbers(1e-3, 1e10)})
    return st.lists(one, max_size=8)


@st.composite
def comparables(draw):
    """Any sales, most of them of pieces that are somewhat like the good request's."""
    made = []
    for _ in range(draw(st.integers(4, 12))):
        fine_g, spot = (
            draw(st.one_of(st.floats(30.0, 50.0), st.floats(20.0, 80.0), numbers(1e-3, 1e6))),
            draw(numbers(1e-2, 1e4)),
        )
        price = draw(st.one_of(st.floats(0.5, 5.0), st.floats(0.02, 50.9))) * fine_g * spot / 31.1034768
        day = draw(st.sampled_from(("2026-01-02", "2025-06-30", "2024-05-05", "1999-12-31", "2026-03-15")))
        sale = {"date": day, "price": max(price, 1e-9), "fine_g": fine_g, "spot": spot}
        if draw(st.booleans()):
            sale["grade"] = draw(numbers(1.0, 5.0))
        made.append(sale)
    return made


def rubrics():
    """Any grades of any qualities, the size among them."""
    grades = {quality: st.sampled_from(list(row.grades)) for quality, row in qualities().items()}
    return st.fixed_dictionaries({"size": grades.pop("size")}, optional=grades)


@st.composite
def bargains(draw):
    """The good piece, one without gold, or a bare claim, with any terms and all that a negotiation may hold."""
    made = good() | {"spot": draw(prices()), "buyer": draw(buyers())}
    seller = draw(sellers()) | {"asks": draw(asks())}
    known = draw(st.sampled_from(("weighed", "weighed", "not seen", "claim alone", "claim beside")))
    if known == "not seen":
        made["weighing"]["submerged_g"] = [255.7]
    if known == "claim alone":
        del made["weighing"], made["rock"]
    if known.startswith("claim"):
        seller["claim"] = draw(claims())
    made |= {"seller": seller, "said": draw(figures_said()), "other_refiners": draw(st.lists(refiners(), max_size=2))}
    if draw(st.booleans()):
        made["buyer"]["offer"] = draw(numbers(1e-3, 1e10))
    way = draw(st.sampled_from(("premium_frac", "price", "rubric", "comparables")))
    ways = {"premium_frac": spreads(-1.0, 50.0), "price": spreads(0.0, 1e10)}
    ways |= {"rubric": rubrics(), "comparables": comparables()}
    made["collector"] = {"sale_chance_frac": draw(spreads(0.0, 1.0)), way: draw(ways[way])}
    return made


def numbers_in(value):
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        return [number for item in value for number in numbers_in(item)]
    return [value] if isinstance(value, float) else []


def sentences(q):
    parts = [q.ask.reason, q.ask.counter.reason, *(deal.reason for deal in q.deals)]
    parts += [caution.message for caution in q.cautions if not caution.field.startswith(("weighing", "rock"))]
    parts += [q.claim.message] if q.claim else []
    return parts + ([q.counters.next.reason] if q.counters else [])


@settings(STEADY, max_examples=80)
@given(bargains())
def test_any_bargain_is_quoted_in_finite_numbers_or_cleanly_refused(entered):
    q = quoted_or_refused(entered)
    if q is None:
        return
    told = json.loads(q.model_dump_json(), parse_constant=lambda name: pytest.fail(f"{name} in the JSON"))
    assert all(math.isfinite(number) for number in numbers_in(told))
    for sentence in sentences(q):
        assert not NO_EXPONENT.search(sentence), sentence
    assert_in_order(q, entered)


def quoted_or_refused(entered):
    """The quote with few draws; None for a clean refusal. Any other exception, or a warning, fails the test."""
    try:
        return quote(read_request(entered), log2_draws=FEW_DRAWS, with_price_risk=True)
    except (RequestRefused, ValuationError) as refused:
        problems = refused.problems
    assert all(problem.field and problem.message for problem in problems)
    return None


def assert_in_order(q, entered):
    taking = [row.chance_best for row in q.refiners if row.takes_it]
    assert not taking or math.fsum(taking) == pytest.approx(1.0)
    for deal in q.deals:
        assert deal.offered == (deal.buyer is not None) == (deal.seller is not None)
        for party in (deal.buyer, deal.seller):
            if party is not None:
                assert party.low <= party.high
                assert 0.0 <= party.loss_chance <= 1.0
                assert party.first_percentile is None or party.first_percentile < 0.0
    if q.premium is not None:
        assert -1.0 <= q.premium.low_frac <= q.premium.likely_frac <= q.premium.high_frac
    if q.price_risk is not None:
        assert all(0.0 <= row.chance_of_loss <= 1.0 and row.ceiling >= 0.0 for row in q.price_risk.rows)
    if q.ask.worth_paying is not None:
        assert 0.0 <= q.ask.worth_paying <= q.buyer_ceiling
        within = q.ask.verdict in ("under", "inside", "above_fair", "below_known_alternative")
        assert not within or q.ask.all_in <= q.buyer_ceiling
    assert (q.counters is None) == (not entered["said"])
    if q.counters is not None and q.counters.next.action == "accept":
        assert q.counters.next.named == entered["said"][-1]["figure"]
        assert q.counters.next.figure == q.counters.said[-1].all_in


@settings(STEADY, max_examples=60)
@given(comparables(), st.none() | numbers(1.0, 5.0))
def test_any_sales_foretell_a_finite_premium_or_are_cleanly_refused(sales, grade):
    entered = changed(good(), {"collector": {"comparables": sales}, "seller.asks": {"price": 4000.0}})
    if grade is not None:
        entered["collector"]["grade"] = grade
    q = quoted_or_refused(entered)
    if q is not None:
        assert q.premium.basis == "comparables"
        assert q.premium.n_effective >= 3.0 - 1e-9
        assert_in_order(q, {**entered, "said": []})
