"""What a quote says in words, for every way that it can come out."""

from collections.abc import Iterable
from typing import Any, get_args

import pytest

from scenarios import FIRST, scenario
from valuation import Quote, materials, quote, read_request
from valuation.result import FloorBasis, GapCause, RouteResult
from valuation.trade import AskVerdict, DealRow
from webapp import checks_told, sentences
from webapp.bargaining import bargaining, choices
from webapp.faces import short_verdict
from webapp.naming import Naming
from webapp.wording import NBSP, Wording

W = Wording.of("USD", "en_US")


def told(name: str = FIRST, without: Iterable[str] = (), **changed: Any) -> Quote:
    """The quote of a scenario with tables left out or merged."""
    entries = {key: value for key, value in scenario(name).entries.items() if key not in set(without)}
    for section, values in changed.items():
        old = entries.get(section)
        entries[section] = {**old, **values} if isinstance(old, dict) else values
    return quote(read_request(entries))


def words(lines: list[str]) -> str:
    return " ".join(lines).replace(NBSP, " ")


def test_every_outcome_has_its_words() -> None:
    assert set(sentences.ASKED) >= set(get_args(AskVerdict))
    assert set(sentences.FLOORS) == set(get_args(FloorBasis))
    assert set(sentences.CAUSES) == set(get_args(GapCause.model_fields["cause"].annotation))
    assert set(sentences.DEALS) == set(get_args(DealRow.model_fields["deal"].annotation))
    binds = set(get_args(RouteResult.model_fields["binds"].annotation))
    assert set(sentences.LIMITS) == set(sentences.SET_BY) == binds


def test_look_alikes_are_named_with_their_amount() -> None:
    keys = set(told().false_gold or {})
    assert keys == {f"{name}_g" for name in materials.lookalikes()} | {"void_g"}
    assert {key for key in keys if checks_told.hides(key)} == {"void_g", "resin_g", "glue_g"}
    assert checks_told.lookalike("pyrite_g") == "1 % of the volume as pyrite"
    assert checks_told.lookalike("tungsten_g") == "1 cm³ of tungsten"


# ---- the answer, by verdict


def test_fair_range_names_range_middle_ceiling_and_floor() -> None:
    q = told()
    assert q.fair is not None and q.plan is not None
    answer = words(sentences.answer(q, W))
    assert answer.startswith(f"A fair price is {W.price(q.fair.low)} to {W.price(q.fair.high)}; the middle is ")
    assert q.buyer_ceiling is not None
    assert (
        f"The house's ceiling is {W.at_most(q.buyer_ceiling)}, the seller's floor $3,800 (another cash bid)" in answer
    )


def test_the_plan_tells_its_step_and_why_it_is_not_the_house_s_own() -> None:
    q = told(buyer={"cash_increment": 10.0})
    assert sentences.rounding(q, W, 10.0) == "Each side stops at its limit, rounded to a whole $10 on the safe side."
    narrow = told(buyer={"cash_increment": 1000.0})
    assert narrow.plan is not None and narrow.plan.step == 5
    line = sentences.rounding(narrow, W, 1000.0)
    assert "a whole $5 on the safe side" in line
    assert "the house's own step of $1,000 does not go four times between floor and ceiling" in line


def test_a_range_of_one_price_is_told_as_one() -> None:
    ceiling = told().buyer_ceiling
    assert ceiling is not None
    q = told(seller={"other_bid": round(ceiling - 0.02, 2), "asks": None, "claim": None})
    assert q.fair is not None and q.fair.low == q.fair.high
    assert words(sentences.answer(q, W)).startswith(f"A fair price is {W.price(q.fair.middle)}. ")


def test_gap_is_named() -> None:
    q = told("no-fair-cash-price")
    assert q.gap is not None and q.seller_floor == 4400
    answer = words(sentences.answer(q, W))
    assert f"the seller's floor is {W.at_least(q.gap)} above the house's ceiling" in answer
    assert "the seller's floor $4,400 (another cash bid)" in answer


def test_causes_of_the_gap_are_held_against_what_the_seller_wants() -> None:
    q = told("no-fair-cash-price")
    causes = sentences.gap_causes(q, W)
    assert sum("enough for the seller's floor of $4,400" in line for line in causes) == sum(
        cause.closes for cause in q.gap_causes
    )
    assert any("$1,265 short of the seller's floor of $4,400" in line for line in causes)
    asks = told("no-fair-cash-price", seller={"asks": {"price": 4900.0}})
    held = sentences.gap_causes(asks, W)
    assert any("enough for the $4,900 asked" in line for line in held)
    assert any("short of the $4,900 asked" in line for line in held)
    assert not any("floor" in line for line in held)
    # What was said last counts, not what was asked first.
    said = told("no-fair-cash-price", seller={"asks": {"price": 4900.0}}, said=[{"by": "seller", "figure": 4500.0}])
    assert any("enough for the $4,500 asked" in line for line in sentences.gap_causes(said, W))


def test_a_cause_that_changes_nothing_is_left_out() -> None:
    free = {"margin_frac": 0.0, "handling_cost": 0.0}
    q = told("no-fair-cash-price", buyer=free)
    assert {cause.cause for cause in q.gap_causes} >= {"margin", "charges"}
    lines = sentences.gap_causes(q, W)
    assert lines and not any("Without margin" in line for line in lines)


def test_no_cause_is_told_where_the_ask_lies_under_the_ceiling() -> None:
    q = told("no-fair-cash-price", seller={"asks": {"price": 2000.0}})
    assert q.gap_causes and sentences.gap_causes(q, W) == []


def test_an_assumed_floor_is_called_so() -> None:
    q = told("no-fair-cash-price", without=["seller", "collector"], buyer={"margin_frac": 0.6})
    assert q.verdict == "floor_unknown" and q.gap_causes
    assert all("the assumed floor of" in line for line in sentences.gap_causes(q, W))


def test_unknown_floor_gives_no_middle() -> None:
    q = told(without=["seller", "collector"], buyer={"margin_frac": 0.6, "routes": ["refine"]})
    assert (q.verdict, q.fair) == ("floor_unknown", None)
    answer = words(sentences.answer(q, W))
    assert q.buyer_ceiling is not None
    assert answer.startswith(f"The house can pay up to {W.at_most(q.buyer_ceiling)}; what the seller could get")
    assert "No middle is named" in answer


def test_unseen_gold_has_no_price_but_a_collectors_own() -> None:
    bare = told("below-detection")
    assert "Nothing that rests on the weight" in words(sentences.answer(bare, W))
    price = {"price": 900.0, "sale_chance_frac": 0.95}
    entries = dict(scenario("below-detection").entries) | {"collector": price}
    alone = quote(read_request(entries))
    assert alone.verdict == "not_by_weight"
    assert "The collector's price alone allows the house up to" in words(sentences.answer(alone, W))
    with_bid = quote(read_request({**entries, "seller": {"other_bid": 300.0}}))
    assert (with_bid.verdict, with_bid.fair) == ("not_by_weight", None)
    assert "is not above the" in words(sentences.answer(with_bid, W))


def test_rules_of_thumb_are_held_against_what_is_seen() -> None:
    seen, unseen = told(), told("below-detection")
    quick, long = (checks_told.hand_rule(rule, seen, W).replace(NBSP, " ") for rule in seen.hand_rules)
    assert "It assumes rock of 2.583 and native gold of 15.5 g/cm³" in quick
    assert "It assumes rock of 2.63 and native gold of 15.94 g/cm³ (about 0.75 fine)" in long
    # By hand: 3.1 x 271.50 - 1.9 x 412.90 = 57.14 g; (412.90 - 2.63 x 141.40) / 25.97 x 31.103 = 49.13 g.
    assert "57.1 g of native gold" in quick
    assert "49.1 g of native gold" in long
    assert "where this weighing sees none" in checks_told.hand_rule(unseen.hand_rules[0], unseen, W)


@pytest.mark.parametrize(
    ("price", "said"),
    [
        (3000.0, "is below what the seller could get elsewhere"),
        (3900.0, "is under the fair range"),
        (4500.0, "lies inside the fair range"),
        (5100.0, "is above the fair range, but within what the house can pay"),
        (9000.0, "is more than the house can pay"),
    ],
)
def test_asking_price_is_placed(price: float, said: str) -> None:
    q = told(seller={"asks": {"price": price}})
    assert sentences.answer(q, W)[-1].startswith(f"The asking price of {W.price(price)} {said}")


def test_answer_to_an_ask_is_told_as_it_has_to_be_named() -> None:
    plain = told(seller={"asks": {"price": 5200.0}})
    assert all(part.cost == "" for part in bargaining(plain, W))
    extra = told(seller={"asks": {"price": 5200.0, "fee_frac": 0.05, "shipping": 40.0}})
    assert extra.ask is not None and extra.ask.counter.figure is not None
    asked, answer = bargaining(extra, W)
    assert (asked.figure, asked.cost) == ("$5,200", "all in $5,500")
    # By hand: all-in is 1.05 x the price named, plus 40.
    named = (extra.ask.counter.figure - 40.0) / 1.05
    assert answer.offer == pytest.approx(named, abs=0.011) and answer.figure == W.price(answer.offer)
    assert answer.cost.startswith("costs us $") and answer.say == f"“We can pay you {answer.figure}.”"


def test_a_counter_keeps_the_verdict_and_says_where_to_walk_away() -> None:
    terms = {"asks": {"price": 6500.0, "shipping": 40.0}}
    q = told(seller=terms, said=[{"by": "buyer", "figure": 4000.0}, {"by": "seller", "figure": 6000.0}])
    asked, answer = bargaining(q, W)
    assert asked.note == (
        "The $6,000 ($6,040 all in) now asked is more than the house can pay. First asked: $6,500. We last said $4,000."
    )
    assert q.buyer_ceiling is not None
    most = W.at_most(q.buyer_ceiling - 40.0)
    assert answer.note.endswith(f"Hold at {answer.figure}; walk away above {most}, our ceiling before extras.")
    assert most not in answer.say


def test_no_figure_of_ours_goes_above_what_they_ask() -> None:
    q = told(seller={"asks": {"price": 4300.0, "shipping": 40.0}})
    naming = Naming(q, W)
    assert q.plan is not None and naming.plan is not None
    ours, theirs = naming.plan.buyer, naming.plan.seller
    assert (ours.open, ours.aim, ours.stop) == (q.plan.buyer.open - 40, 4300.0, 4300.0)
    assert (theirs.open, theirs.aim) == (4300.0, 4300.0)
    assert sentences.plan_named(naming, naming.plan) == [
        "These are prices to name; our stop of $4,300 costs us $4,340 all in.",
        "They ask $4,300: no figure of ours goes above that; by itself the plan would stop at $5,260 all in.",
    ]
    answer = bargaining(q, W)[-1]
    assert (answer.heading, answer.figure, answer.say) == ("We may accept", "$4,300", "“$4,300: agreed.”")
    free = Naming(told(without=["seller"]), W).plan
    assert free is not None and not free.capped


def test_a_figure_of_ours_that_reaches_theirs_is_a_deal() -> None:
    q = told(said=[{"by": "seller", "figure": 5000.0}, {"by": "buyer", "figure": 5000.0}])
    assert bargaining(q, W)[-1].heading == "We may accept"


def test_an_ask_in_another_currency_is_named_in_it_and_offered_in_ours() -> None:
    ask = {"price": 6500.0, "shipping": 40.0, "currency": "EUR", "exchange_rate": 1.1}
    q = told(seller={"asks": ask}, said=[{"by": "seller", "figure": 6000.0}])
    asked, answer = bargaining(q, W)
    assert (asked.figure, asked.cost) == ("€6,000", "all in $6,644")
    assert q.ask is not None and q.ask.counter.named is not None and answer.offer is not None
    assert answer.figure == Wording.of("EUR", "en_US").price(q.ask.counter.named)
    assert answer.offer == pytest.approx(1.1 * q.ask.counter.named, abs=0.011)


def test_something_is_said_aloud_for_every_answer_and_never_a_limit() -> None:
    entries = dict(scenario("claim-only-ask").entries)
    said = {}
    for name, q in {
        "accept": told(seller={"asks": {"price": 4000.0}}),
        "counter": told(seller={"asks": {"price": 6000.0}}),
        "claim": quote(read_request(entries)),
        "unseen": told("below-detection", seller={"asks": {"price": 900.0}}),
        "no price": told("no-fair-cash-price", seller={"asks": {"price": 4900.0}}),
        "unknown": told(
            without=["seller", "collector"], buyer={"margin_frac": 0.6, "routes": ["refine"]}, said=SAID_FIRST
        ),
        "wait": told(said=[{"by": "buyer", "figure": 4000.0}]),
    }.items():
        said[name] = bargaining(q, W)[-1].say
        assert said[name].startswith("“") and said[name].endswith("”")
        for limit in (q.buyer_ceiling, q.seller_floor):
            assert limit is None or (W.price(limit) not in said[name] and W.at_most(limit) not in said[name])
    assert len(set(said.values())) == len(said)
    assert "weigh" in said["claim"] and said["wait"] == "“We have said $4,000. What do you say?”"


SAID_FIRST = [{"by": "seller", "figure": 9000.0}]


def test_what_is_only_assumed_of_the_seller_is_told_so() -> None:
    q = told(without=["seller", "collector"], buyer={"routes": ["refine"]}, said=[{"by": "seller", "figure": 500.0}])
    assert q.ask is not None and (q.ask.verdict, q.floor_basis) == ("below_floor", "assumed")
    assert "below what we assume they could get elsewhere (70 % of the melt value)" in words(sentences.answer(q, W))
    assert short_verdict(q) == "Worth paying, and low"


@pytest.mark.parametrize(
    ("chance", "told"),
    [
        (0.0, "under 1 %"),
        (0.0099, "under 1 %"),
        (0.01, "1 %"),
        (0.5, "50 %"),
        (0.99, "99 %"),
        (0.995, "over 99 %"),
        (1.0, "over 99 %"),
    ],
)
def test_no_chance_is_told_as_certain(chance: float, told: str) -> None:
    assert W.chance(chance).replace(NBSP, " ") == told


def test_a_claim_that_is_likely_true_needs_nothing() -> None:
    q = told("claim-against-weighing")
    assert q.claim is not None
    said = words(sentences.claim(q.claim, W))
    assert "Meant as native gold" not in said
    assert "Meant as fine gold it needs gold 0.94 fine or rock of 2.563 g/cm³ (outside the range of the rock)." in said


def test_what_is_assumed_is_told_in_the_currency_of_the_quote() -> None:
    q = told("claim-only-ask")
    said = {row.field: sentences.assumed(row, Wording.of("USD", "de_DE")).replace(NBSP, " ") for row in q.assumptions}
    assert said["refiner.treatment_per_kg"] == "Treatment charge: 0 $/kg"
    assert said["buyer.routes"] == "Ways out: refining"
    plain = told("claim-only-ask", without=["refiner"])
    assert {row.field: row.value for row in plain.assumptions}["refiner.payable"] == "95 %"


def test_deals_are_told_or_why_they_are_not_offered() -> None:
    q = told()
    cash, advance, consign = (sentences.deal(row, W).replace(NBSP, " ") for row in q.deals)
    assert q.fair is not None
    assert cash.startswith(f"Cash: {W.price(q.fair.middle)} today")
    assert "at settlement" in advance
    assert "25 % of the price" in consign
    refused = [sentences.deal(row, W) for row in told("no-fair-cash-price").deals]
    assert refused[0].startswith("Cash: No cash price is fair to both")


def test_price_that_refining_cannot_pay_is_told() -> None:
    q = quote(scenario(FIRST).request(), with_price_risk=True)
    assert q.price_risk is not None
    assert "may fall" in sentences.price_fall(q.price_risk, W)
    days = scenario(FIRST).request().refiner.settlement_days  # type: ignore[union-attr]
    assert f"within the {days:.0f} days to settlement is " in sentences.price_fall(q.price_risk, W)
    hardly = q.price_risk.model_copy(update={"chance_of_fall": 0.0002})
    assert "settlement is under 1 %." in sentences.price_fall(hardly, W).replace(NBSP, " ")
    fixed = q.price_risk.model_copy(update={"chance_of_fall": 0.0, "open_days": 0.0})
    assert "fixed on receipt" in sentences.price_fall(fixed, W) and "chance" not in sentences.price_fall(fixed, W)
    dear = q.price_risk.model_copy(update={"break_even_fall_frac": -0.1})
    assert "does not pay" in sentences.price_fall(dear, W)
    assert sentences.price_fall(q.price_risk.model_copy(update={"break_even_fall_frac": None}), W) == ""


TOO_MUCH = "The asking price of $9,000 is more than the house can pay."


def test_after_our_figure_we_wait_for_theirs() -> None:
    entries = dict(scenario("figures-said").entries)
    said = [{"by": "seller", "figure": 9000.0}]
    asked = quote(read_request({**entries, "said": said}))
    now, answer = bargaining(asked, W)
    assert (now.heading, now.figure) == ("Now asked", "$9,000")
    assert now.note == TOO_MUCH
    assert answer.heading == "Answer" and answer.offer is not None and W.price(answer.offer) == answer.figure
    answered = quote(read_request({**entries, "said": [*said, {"by": "buyer", "figure": 100.0}]}))
    now, answer = bargaining(answered, W)
    assert (now.heading, now.figure, now.note) == (
        "We said",
        "$100",
        "Asked before that: $9,000. The asking price of $9,000 is more than the house can pay.",
    )
    assert answer.figure == "wait" and answer.offer is None
    assert answer.note.startswith("Do not move before the seller does.")


def test_the_newest_figure_stands_in_place_of_the_ask() -> None:
    q = told(said=[{"by": "buyer", "figure": 4000.0}, {"by": "seller", "figure": 5000.0}])
    assert bargaining(q, W)[0].figure == "$5,000"
    assert bargaining(told(), W)[0].figure == "$5,200"
    assert bargaining(told("plain-refine"), W) == ()


def test_what_may_be_offered_is_the_plan_and_the_answer() -> None:
    q = told("figures-said")
    assert q.plan is not None and q.counters is not None
    plan = q.plan.buyer
    assert [(c.why, c.figure) for c in choices(q, W)] == [
        ("open at", plan.open),
        ("aim for", plan.aim),
        ("stop at", 3000.0),  # they ask no more, though our plan stops later
        ("answer", q.counters.next.figure),
    ]
    assert choices(told("sold-for-the-seller"), W) == ()


def test_a_claim_stands_in_one_line_beside_what_was_found() -> None:
    line = sentences.claim_in_brief(told("claim-against-weighing"), W).replace(NBSP, " ")
    assert line.startswith("Claimed ")
    assert "of fine gold" in line
    assert "is true is over 99 %." in line and "pyrite, lead or tungsten" in line
