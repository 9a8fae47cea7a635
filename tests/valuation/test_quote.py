"""What a quote holds: the contract's keys, gold from elsewhere, gold not seen, floors, gap and causes, settlement."""

import json
import math
import re
from decimal import Decimal

import pytest

from tests.valuation.strategies import TAKEN_OUT, changed
from valuation import Quote, read_request
from valuation import quote as quote_of

MEASURED = {"weighing": TAKEN_OUT, "rock": TAKEN_OUT}
GRAMS = {"basis": "fine", "grams": {"low": 38.0, "likely": 41.0, "high": 44.0, "coverage_frac": 0.95}, "mass_g": 412.6}
UNSEEN = {"weighing.submerged_g": [256.40, 256.40]}
COLLECTOR_PRICE = {"collector.premium_frac": TAKEN_OUT, "collector.price": {"low": 3000.0, "high": 5000.0}}
NO_FLOOR = {"seller.other_bid": TAKEN_OUT}
REFINE_ONLY = {"collector": TAKEN_OUT}
OZT_G = 31.1034768

SUMMARY = {"mean", "sd", "median", "low", "high"}
# The keys of the contract (interface.md), level by level.
KEYS = {
    "": "method_version draws seed quoted_at specific_gravity mass_g volume_cm3 native_gold_g fine_gold_g "
    "fine_silver_g melt_value kept_frac budget detection false_gold hand_rules routes settlement buyer_ceiling "
    "seller_floor floor_basis cost_of_doubt fair gap plan ask cautions assumptions",
    "budget": "input share_frac money",
    "detection": "estimate_g critical_g limit_g seen",
    "hand_rules": "rule native_g assumed_host_g_cm3 assumed_native_g_cm3 assumed_fineness_frac money_difference",
    "routes": "route mean sd low median high ceiling_by_margin ceiling_by_risk ceiling binds",
    "settlement": "line amount",
    "fair": "low middle high",
    "plan": "buyer seller",
    "plan.buyer": "open aim stop",
    "plan.seller": "open aim stop",
    "cautions": "code field message",
    "assumptions": "name value source",
    "ask": "all_in verdict reason worth_paying expected_profit margin_frac chance_of_loss of_median_melt_frac "
    "per_gram_fine per_gram_native break_even_fine_g chance_of_break_even break_even_premium_frac counter",
}
SUMMARIES = (
    "specific_gravity",
    "mass_g",
    "volume_cm3",
    "native_gold_g",
    "fine_gold_g",
    "fine_silver_g",
    "melt_value",
)


def told(q):
    """The quote as the JSON interface gives it; NaN and infinity are no JSON."""
    return json.loads(q.model_dump_json(), parse_constant=lambda name: pytest.fail(name))


def route(q, name):
    return next(row for row in q.routes if row.route == name)


def sides(q):
    return q.fair.low, q.fair.middle, q.fair.high


@pytest.mark.parametrize("path", KEYS)
def test_the_json_has_every_key_of_the_contract(path, quoted):
    asked = {"seller.asks": {"price": 5200.0}, "spot.seen_at": TAKEN_OUT}
    level = told(quoted(asked))
    for part in path.split(".") if path else ():
        level = level[part]
    for row in level if isinstance(level, list) else [level]:
        assert set(KEYS[path].split()) <= set(row)
    assert level


@pytest.mark.parametrize("name", SUMMARIES)
def test_each_figure_is_a_mean_a_spread_a_median_and_a_95_per_cent_range(name, quoted):
    figure = told(quoted())[name]
    assert set(figure) == SUMMARY
    assert figure["low"] < figure["median"] < figure["high"]
    assert figure["high"] - figure["low"] == pytest.approx(3.92 * figure["sd"], rel=0.15)


@pytest.mark.parametrize(
    "changes", [{}, {**MEASURED, "gold.measured": GRAMS}, UNSEEN, {"seller.other_bid": 9000.0}, {**UNSEEN, **NO_FLOOR}]
)
def test_a_quote_survives_a_round_trip_through_json(changes, quoted):
    q = quoted(changes)
    assert Quote.model_validate_json(q.model_dump_json()) == q


def test_melt_value_is_fine_gold_at_spot_and_silver_stands_apart(quoted):
    q = quoted()
    assert q.melt_value.median == pytest.approx(q.fine_gold_g.median * 4100.0 / OZT_G, rel=1e-12)
    assert q.silver_value.median == pytest.approx(q.fine_silver_g.median * 48.0 / OZT_G, rel=1e-12)
    assert quoted({"spot.silver": TAKEN_OUT}).silver_value is None
    per_g = quoted({"spot.unit": "g", "spot.gold": 4100.0 / OZT_G})
    assert per_g.melt_value.median == pytest.approx(q.melt_value.median, rel=1e-12)
    per_kg = quoted({"spot.unit": "kg", "spot.gold": 4100.0 / OZT_G * 1000})
    assert per_kg.melt_value.median == pytest.approx(q.melt_value.median, rel=1e-12)


def test_the_budget_is_sorted_and_adds_up_to_the_whole(quoted):
    rows = quoted().budget
    *inputs, rest = rows
    assert rest.input == "Interactions" and rest.money is None
    shares = [row.share_frac for row in inputs]
    assert shares == sorted(shares, reverse=True)
    assert math.fsum(row.share_frac for row in rows) == pytest.approx(1.0, abs=1e-9)
    assert all(row.money >= 0.0 for row in inputs)


def test_an_input_without_doubt_has_no_part_in_the_budget(quoted):
    named = {row.input for row in quoted({"rock.density_g_cm3": 2.63, "rock.void_frac": 0}).budget}
    assert {"Density of the rock", "Closed pores"} & named == set()
    assert {"Density of the rock", "Closed pores"} < {row.input for row in quoted().budget}


# ---- gold measured elsewhere


def test_gold_measured_elsewhere_replaces_weighing_and_rock(quoted):
    q = quoted({**MEASURED, "gold.measured": GRAMS})
    assert q.fine_gold_g.median == pytest.approx(41.0, rel=1e-3)
    assert q.fine_gold_g.low == pytest.approx(38.0, rel=1e-3)
    assert q.fine_gold_g.high == pytest.approx(44.0, rel=1e-3)
    assert q.native_gold_g.median > q.fine_gold_g.median
    assert (q.specific_gravity, q.volume_cm3, q.detection, q.false_gold, q.hand_rules) == (None, None, None, None, ())
    assert q.mass_g.median == 412.6
    assert q.verdict == "fair_range"
    assert "Gold measured elsewhere" in {row.input for row in q.budget}


def test_grams_of_native_gold_are_assayed_by_the_fineness(quoted):
    native = {**GRAMS, "basis": "native", "grams": 48.0}
    q = quoted({**MEASURED, "gold.measured": native, "gold.fineness_frac": 0.85})
    assert q.native_gold_g.median == 48.0
    assert q.fine_gold_g.median == pytest.approx(0.85 * 48.0)
    assert q.fine_silver_g.median == pytest.approx(0.15 * 0.97 * 48.0)


def test_gold_that_was_measured_exactly_has_no_doubt_to_share_out(quoted):
    q = quoted({**MEASURED, "gold.measured": {**GRAMS, "grams": 41.0}})
    assert q.fine_gold_g.sd == 0.0
    assert all(row.share_frac == 0.0 for row in q.budget[:-1])


def test_no_mass_is_needed_where_nothing_is_charged_by_it(quoted):
    grams = {"basis": "fine", "grams": 41.0}
    q = quoted({**MEASURED, "gold.measured": grams, "refiner.treatment_per_kg": 0.0})
    assert q.mass_g is None
    assert q.verdict == "fair_range"


def test_no_draw_holds_more_gold_than_the_piece_weighs_or_less_than_none(quoted):
    nugget = quoted({"weighing.dry_g": 100.0, "weighing.submerged_g": 93.95})
    assert 0.05 < nugget.kept_frac < 0.95
    assert nugget.native_gold_g.high <= nugget.mass_g.high
    assert quoted(UNSEEN).native_gold_g.low > 0.0


# ---- gold that is not seen


def test_gold_that_is_not_seen_is_not_priced(quoted):
    q = quoted(UNSEEN)
    assert q.detection.seen is False
    assert q.detection.estimate_g <= q.detection.critical_g
    assert (q.verdict, q.fair, q.plan) == ("not_by_weight", None, None)
    assert (q.buyer_ceiling, q.cost_of_doubt, q.gap, q.routes, q.settlement) == (None, None, None, (), ())


def test_gold_that_is_seen_is_above_what_bare_rock_could_show(quoted):
    q = quoted({"weighing.submerged_g": [259.50, 259.50]})
    assert q.detection.seen is True
    assert q.detection.critical_g < q.detection.estimate_g
    assert q.detection.limit_g >= 2 * q.detection.critical_g
    assert q.verdict != "not_by_weight"


def test_without_seen_gold_only_a_collectors_price_in_money_is_priced(quoted):
    q = quoted({**UNSEEN, **COLLECTOR_PRICE})
    assert [row.route for row in q.routes] == ["intact"]
    # Sold with a chance of 0.92 at 4,000 less 12 %, after some months; refining an unsold piece is not counted on.
    assert route(q, "intact").mean == pytest.approx(0.92 * 4000 * 0.88, rel=0.06)
    assert route(q, "intact").low == 0.0
    assert "unsold_brings_nothing" in {caution.code for caution in q.cautions}
    # A ceiling, but no range that is called fair: the model's word on gold that is not seen.
    assert q.buyer_ceiling == route(q, "intact").ceiling
    assert (q.verdict, q.fair, q.plan, q.gap, q.gap_causes) == ("not_by_weight", None, None, None, ())
    cash = next(deal for deal in q.deals if deal.deal == "cash")
    assert not cash.offered
    assert "not seen by weight" in cash.reason


def test_without_seen_gold_no_floor_is_assumed_from_it(quoted):
    q = quoted({**UNSEEN, **COLLECTOR_PRICE, **NO_FLOOR})
    assert (q.seller_floor, q.floor_basis, q.fair) == (None, "assumed", None)
    assert q.verdict == "not_by_weight"
    assert "Seller's floor" not in {row.name for row in q.assumptions}
    q = quoted({**UNSEEN, "seller.refiner": {}, **NO_FLOOR})
    assert q.seller_floor is None


def test_a_collectors_price_in_money_does_not_follow_the_gold(quoted):
    less, more = (
        quoted({**COLLECTOR_PRICE, "collector.sale_chance_frac": 1.0, "spot.gold": spot}) for spot in (2000.0, 6000.0)
    )
    assert route(less, "intact").mean == route(more, "intact").mean
    assert route(less, "refine").mean < route(more, "refine").mean


# ---- the ways out


def test_only_the_named_ways_out_count(quoted):
    assert [row.route for row in quoted({"buyer.routes": ["refine"]}).routes] == ["refine"]
    assert [row.route for row in quoted({"buyer.routes": ["intact"]}).routes] == ["intact"]
    assert {row.route for row in quoted().routes} == {"refine", "intact"}
    assert [row.route for row in quoted(REFINE_ONLY).routes] == ["refine"]


def test_an_unsold_piece_is_refined_after_the_longest_wait(quoted):
    """With no chance of a sale, intact is refining a year later: discounted by exp(-0.10), the same in the mean."""
    q = quoted({"collector.sale_chance_frac": 0.0, "spot.gold_volatility_per_year": 0.0})
    assert route(q, "intact").mean == pytest.approx(route(q, "refine").mean * math.exp(-0.10), rel=1e-9)
    normal = {"value": 6.0, "sd": 1.0}
    q = quoted(
        {"collector.sale_chance_frac": 0.0, "collector.months_to_sale": normal, "spot.gold_volatility_per_year": 0}
    )
    wait = (6.0 + 1.959964) / 12
    assert route(q, "intact").mean == pytest.approx(route(q, "refine").mean * math.exp(-0.10 * wait), rel=1e-6)


def test_a_piece_not_worth_sending_is_worth_nothing_by_refining(quoted):
    q = quoted({**REFINE_ONLY, "refiner.assay_fee": 6000.0})
    assert (route(q, "refine").mean, q.buyer_ceiling) == (0.0, 0.0)
    assert q.gap == q.seller_floor


def test_a_lot_that_no_refiner_takes_is_worth_nothing_to_a_house_that_only_refines(quoted):
    q = quoted({**REFINE_ONLY, "refiner.minimum_lot_ozt": 5.0, "seller": {"minimum": 0.0}})
    assert (q.buyer_ceiling, q.settlement) == (0.0, ())
    assert sides(q) == (0.0, 0.0, 0.0)


def test_the_ceiling_by_hand(quoted):
    """(E[V] - 60) / 1.15 and the 10 % quantile less 60, the smaller, the better of both ways."""
    q = quoted()
    for row in q.routes:
        assert row.ceiling_by_margin == pytest.approx((row.mean - 60) / 1.15, rel=1e-12)
        assert row.ceiling == max(0.0, min(row.ceiling_by_margin, row.ceiling_by_risk))
        assert row.binds == ("margin" if row.ceiling_by_margin <= row.ceiling_by_risk else "risk")
    assert q.buyer_ceiling == max(row.ceiling for row in q.routes)
    assert q.cost_of_doubt == pytest.approx(max(row.ceiling_by_margin for row in q.routes) - q.buyer_ceiling)
    assert q.doubt_free_route == "intact"


def test_a_price_fixed_at_receipt_has_no_price_risk(quoted):
    still = {**REFINE_ONLY, "rock.density_g_cm3": 2.63, "gold.fineness_frac": 0.85, "refiner.recovery_frac": 0.96}
    fixed, open_ = (route(quoted({**still, "refiner.price_fixed": at}), "refine") for at in ("receipt", "settlement"))
    assert fixed.sd < 0.6 * open_.sd
    assert fixed.mean == pytest.approx(open_.mean, rel=1e-3)


# ---- the floor


@pytest.mark.parametrize(
    ("known", "basis", "amount"),
    [
        ({"minimum": 2600.0}, "minimum", 2600.0),
        ({"other_bid": 2700.0, "minimum": 2600.0}, "other_bid", 2700.0),
        ({"keep_value": 2800.0, "other_bid": 2700.0}, "keep_value", 2800.0),
    ],
)
def test_the_floor_is_the_best_known_alternative(known, basis, amount, quoted):
    q = quoted({"seller": known})
    assert (q.floor_basis, q.seller_floor) == (basis, amount)


def test_the_sellers_own_refining_is_valued_under_the_sellers_terms_less_effort(base, quoted):
    own = {**base["refiner"], "assay_fee": 0.0}
    q = quoted({"seller": {"refiner": own, "effort_cost": 100.0}})
    assert q.floor_basis == "own_refining"
    # The house's own mean net, plus the assay fee that the seller does not pay, less the effort.
    discount = math.exp(-0.10 * 14 / 365)
    assert q.seller_floor == pytest.approx(route(q, "refine").mean + 120.0 * discount - 100.0, rel=2e-3)


def test_with_no_alternative_known_the_floor_is_assumed_and_printed(quoted):
    q = quoted(NO_FLOOR)
    assert q.floor_basis == "assumed"
    assert q.seller_floor == pytest.approx(0.70 * q.melt_value.median, rel=1e-12)
    (row,) = (row for row in q.assumptions if row.name == "Seller's floor")
    assert "70%" in row.value and "assumption, no source" in row.source
    assert q.verdict == "fair_range"


def test_the_verdict_where_an_assumed_floor_lies_above_the_ceiling(quoted):
    q = quoted({**NO_FLOOR, **REFINE_ONLY, "buyer.margin_frac": 0.6})
    assert (q.verdict, q.fair, q.plan) == ("floor_unknown", None, None)
    assert q.buyer_ceiling > 0.0


# ---- no fair price


def test_the_gap_and_what_makes_it(quoted):
    q = quoted({"seller.other_bid": 6000.0})
    assert (q.verdict, q.fair, q.plan) == ("no_fair_price", None, None)
    assert q.gap == pytest.approx(6000.0 - q.buyer_ceiling)
    causes = {cause.cause: cause for cause in q.gap_causes}
    assert set(causes) == {"doubt", "charges", "margin", "premium"}
    assert causes["doubt"].ceiling_without == pytest.approx(q.buyer_ceiling + q.cost_of_doubt)
    for cause in causes.values():
        assert cause.ceiling_without >= q.buyer_ceiling
        assert cause.closes == (cause.ceiling_without >= q.seller_floor)
    # Here it is the doubt about the premium: without it the piece would sell for more than the floor.
    assert causes["doubt"].closes
    assert not causes["margin"].closes


def test_the_gap_of_a_refine_piece_without_its_causes(quoted):
    """Each cause is undone by entering the terms without it."""
    terms = {**REFINE_ONLY, "seller.other_bid": 4900.0}
    q = quoted(terms)
    causes = {cause.cause: cause.ceiling_without for cause in q.gap_causes}
    assert set(causes) == {"doubt", "charges", "margin"}
    free = ("minimum_deduction_ozt", "refining_per_ozt", "treatment_per_kg", "assay_fee", "freight", "insurance_frac")
    without = quoted({**terms, **{f"refiner.{name}": 0.0 for name in free}})
    assert causes["charges"] == pytest.approx(without.buyer_ceiling)
    without = quoted({**terms, "buyer.margin_frac": 0.0, "buyer.handling_cost": 0.0})
    assert causes["margin"] == pytest.approx(without.buyer_ceiling)


def test_there_is_no_cause_where_there_is_no_gap(quoted):
    q = quoted()
    assert (q.gap, q.gap_causes) == (0.0, ())


def test_the_fair_range_does_not_move_with_the_ask(quoted):
    low, high = (quoted({"seller.asks": {"price": price}}) for price in (10.0, 1e6))
    assert sides(low) == sides(high) == sides(quoted())


# ---- the settlement statement


@pytest.mark.parametrize(("currency", "digits"), [("USD", 2), ("JPY", 0), ("KWD", 3)])
def test_the_statement_is_in_whole_coins_and_its_lines_add_up(currency, digits, quoted):
    rows = {row.line: Decimal(row.amount) for row in quoted({"spot.currency": currency, **SILVER}).settlement}
    assert all(-amount.as_tuple().exponent == digits for amount in rows.values())
    waiting, total = rows.pop("waiting"), rows.pop("total")
    assert sum(rows.values()) == total
    assert waiting < 0
    assert {name for name, amount in rows.items() if amount > 0} == {"gold", "silver"}


SILVER = {"refiner.silver_payable_frac": 0.5}


def test_the_statement_by_hand(quoted):
    """At likely values: 41 g fine x 0.96, 95 %, rounded down to 0.001 ozt; each line half up to the cent."""
    exactly = {"basis": "fine", "grams": 41.0, "mass_g": 412.6}
    q = quoted({**MEASURED, "gold.measured": exactly, "spot.gold_volatility_per_year": 0.0})
    rows = {row.line: row.amount for row in q.settlement}
    # 41 / 31.1034768 x 0.96 = 1.265453 ozt assayed; x 0.95 = 1.202181, less than assayed - 0.01; paid for 1.202.
    assert rows == {
        "gold": "4928.20",  # 1.202 x 4,100
        "refining": "-9.62",  # 1.202 x 8 = 9.616
        "treatment": "-6.19",  # 0.4126 kg x 15 = 6.189
        "assay": "-120.00",
        "freight": "-45.00",
        "insurance": "-9.86",  # 0.002 x 4,928.20 = 9.8564
        "total": "4737.53",
        "waiting": "-18.14",  # 4,737.53 x (exp(-0.10 x 14 / 365) - 1)
    }


def test_the_minimum_deduction_counts_where_it_is_more_than_the_share(quoted):
    """1.265453 ozt assayed less 0.2 is under 95 % of it: 1.065 ozt paid, in the statement and in the draws."""
    exactly = {"basis": "fine", "grams": 41.0, "mass_g": 412.6}
    still = {"spot.gold_volatility_per_year": 0.0, "refiner.recovery_frac": 0.96, "refiner.settlement_days": 0}
    q = quoted({**MEASURED, "gold.measured": exactly, **still, "refiner.minimum_deduction_ozt": 0.2})
    rows = {row.line: float(row.amount) for row in q.settlement}
    assert rows["gold"] == 1.065 * 4100
    assert route(q, "refine").median == pytest.approx(rows["total"], abs=0.08 + 4.1)
    nothing = quoted({**MEASURED, "gold.measured": exactly, **still, "refiner.minimum_deduction_ozt": 50.0})
    assert nothing.settlement[0].amount == "0.00"
    assert route(nothing, "refine").mean == 0.0


def test_the_statement_agrees_with_the_drawn_route_at_those_values(quoted):
    """Within a cent a line plus one weight step of gold."""
    exactly = {"basis": "fine", "grams": 41.0, "mass_g": 412.6}
    still = {"spot.gold_volatility_per_year": 0.0, "refiner.recovery_frac": 0.96, **REFINE_ONLY}
    q = quoted({**MEASURED, "gold.measured": exactly, **still})
    rows = {row.line: float(row.amount) for row in q.settlement}
    assert route(q, "refine").sd == 0.0
    assert rows["total"] + rows["waiting"] == pytest.approx(route(q, "refine").median, abs=0.01 * len(rows) + 4.1)


def test_there_is_no_statement_without_a_refiner(quoted):
    assert quoted({"refiner": TAKEN_OUT}).settlement == ()


# ---- assumptions


def test_every_default_that_is_used_is_printed_and_nothing_that_was_entered(base):
    least = {
        "quoted_at": base["quoted_at"],
        "weighing": {"dry_g": 412.6, "submerged_g": 271.4, "readability_g": 0.05},
        "rock": {"kind": "vein-quartz"},
        "spot": {"gold": 4100.0},
        "collector": {"premium_frac": 0.6},
        "refiner": {"payable": 0.95},
    }
    q = quote_of(read_request(least))
    printed = {row.field: row for row in q.assumptions}
    assumed = """
        weighing.method weighing.repeatability_g weighing.linearity_g weighing.span_tolerance_frac weighing.water_kind
        weighing.water_temperature_degc weighing.air_temperature_degc weighing.air_humidity_frac
        weighing.air_pressure_hpa weighing.line_diameter_mm weighing.line_extra_depth_mm weighing.zeroed_with_line
        weighing.trapped_air_frac rock.void_frac rock.kind gold.fineness_frac gold.copper_share_frac spot.currency
        spot.unit spot.gold_volatility_per_year refiner.recovery_frac refiner.minimum_deduction_ozt
        refiner.settlement_days refiner.price_fixed collector.selling_cost_frac collector.sale_chance_frac
        collector.months_to_sale buyer.margin_frac buyer.loss_chance_frac buyer.capital_rate_per_year
        buyer.handling_cost buyer.cash_increment seller.other_bid
    """
    assert set(assumed.split()) <= set(printed)
    assert not {
        "weighing.dry_g",
        "weighing.readability_g",
        "spot.gold",
        "collector.premium_frac",
        "refiner.payable",
    } & set(printed)
    assert all(row.name and row.value and row.source for row in q.assumptions)
    assert printed["gold.fineness_frac"].value.startswith("75 to 92 %")
    assert printed["weighing.water_kind"].value == "tap"
    assert "0.0005" in printed["weighing.water_kind"].source


@pytest.mark.parametrize("blank", [None, "", " "])
def test_a_field_left_blank_is_an_assumption_as_one_left_out(blank, quoted):
    left_out = quoted({"weighing.repeatability_g": TAKEN_OUT})
    assert quoted({"weighing.repeatability_g": blank}) == left_out
    assert "weighing.repeatability_g" in {row.field for row in left_out.assumptions}


def test_constants_of_the_method_are_printed_with_their_sources(quoted):
    rows = {row.name: row for row in quoted().assumptions if row.field == ""}
    assert re.search(r"gold 19\.3\b.*silver 10\.49.*copper 8\.96", rows["Densities of the metals"].value)
    assert "0.4%" in rows["Native gold against ideal mixing"].value
    assert "25%" in rows["Fair range"].value


def test_the_hand_rules_by_hand(quoted):
    """3.1 x 271.4 - 1.9 x 412.6 = 57.4 g; (412.6 - 2.63 x 141.2) / 25.97 = 1.588325 ozt of 31.103 g = 49.4 g."""
    quick, long = quoted({"weighing.dry_g": 412.6, "weighing.submerged_g": 271.4}).hand_rules
    assert quick.native_g == pytest.approx(57.40, abs=1e-9)
    assert long.native_g == pytest.approx((412.6 - 2.63 * 141.2) / 25.97 * 31.103, rel=1e-12)
    assert quick.assumed_host_g_cm3 == pytest.approx(2.583, abs=5e-4)
    assert quick.assumed_native_g_cm3 == pytest.approx(15.5, abs=1e-6)
    assert long.assumed_host_g_cm3 == 2.63
    assert long.assumed_native_g_cm3 == pytest.approx(15.94, abs=5e-3)
    assert long.assumed_fineness_frac == pytest.approx(0.75, abs=5e-3)


def test_false_and_hidden_gold_by_hand(base, quoted):
    """Extra density x volume / (1 - host / native), at the piece's own densities; 1 % of the volume or 1 cm³."""
    exact_rock = {"rock.density_g_cm3": 2.65, "rock.void_frac": 0.0, "gold.fineness_frac": 0.85}
    q = quoted({**exact_rock, "gold.copper_share_frac": 0.0})
    native = 1 / (0.85 / 19.30 + 0.15 / 10.49)
    slope = 1 - 2.65 / native
    # Tungsten 19.25 (NIST Standard Reference Material tables and handbooks; from memory).
    assert q.false_gold["tungsten_g"] == pytest.approx((19.25 - 2.65) / slope, rel=3e-3)
    assert q.false_gold["void_g"] == pytest.approx(0.01 * q.volume_cm3.median * 2.65 / slope, rel=2e-3)
    assert {"pyrite_g", "galena_g", "lead_g", "brass_g", "tungsten_g", "void_g", "resin_g", "glue_g"} <= set(
        q.false_gold
    )
    assert all(grams > 0 for grams in q.false_gold.values())


def test_the_quote_does_not_depend_on_the_order_of_keys_or_on_spare_defaults(base, quoted):
    backwards = {key: base[key] for key in reversed(base)}
    assert quote_of(read_request(backwards)) == quoted()
    assert quote_of(read_request(changed(base, {"specimen": {}}))) == quoted()
