"""Reading a request: numbers as typed, every refusal beside its field, all of them at once."""

import json
import tomllib
from decimal import Decimal

import pytest
from pydantic import ValidationError

from tests.valuation.strategies import TAKEN_OUT, changed, good
from valuation import QuoteRequest, RequestRefused, Spread, ValuationError, problems_of, quote, read_request
from valuation.number import read_number

WITH_CHIP = {"rock.density_g_cm3": TAKEN_OUT, "rock.void_frac": TAKEN_OUT}
CHIP = {"dry_g": [38.40], "submerged_g": [23.80]}
DISPLACED = {"weighing.method": "displaced", "weighing.submerged_g": TAKEN_OUT, "weighing.displaced_g": 141.25}
MEASURED = {"weighing": TAKEN_OUT, "rock": TAKEN_OUT}
GRAMS = {"basis": "fine", "grams": {"low": 38.0, "high": 44.0}, "mass_g": 412.6}


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("412.60", 412.6),
        ("412,60", 412.6),
        (" 5 ", 5.0),
        ("4 100", 4100.0),
        ("4\u00a0100,5", 4100.5),
        ("4\u202f100.5", 4100.5),
        ("1'234'567.8", 1234567.8),
        ("1’234", 1234.0),
        ("0,123", 0.123),
        ("12,345678", 12.345678),
        ("3,100.50", 3100.5),
        ("3.100,50", 3100.5),
        ("-1,234,567", -1234567.0),
        ("1.234.567", 1234567.0),
        ("12,345.", 12345.0),
        ("1.234", 1.234),
        (".5", 0.5),
        ("5.", 5.0),
        ("+3", 3.0),
        ("-3", -3.0),
        ("\u22123", -3.0),
        (7, 7.0),
        (Decimal("0.1"), 0.1),
        # What is left over of sums in another program is nothing.
        (0.1 + 0.2 - 0.3, 0.0),
        (5e-324, 0.0),
    ],
)
def test_numbers_are_read_as_people_type_them(typed, number):
    assert read_number(typed) == number


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("1,234", "thousands or decimals? Write 1234 or 1.234"),
        ("-1,234", "Write -1234 or -1.234"),
        ("41 2", "not a number"),
        ("12 34,5", "not a number"),
        ("1'234 567", "not a number"),
        ("1.23.567", "not a number"),
        ("1,23,567", "not a number"),
        ("1.234,567.8", "not a number"),
        ("412.60 g", "write it like 412.60"),
        ("1e5", "not a number"),
        ("\u0664\u0661\u0662", "not a number"),
        ("", "a number is needed"),
        ("   ", "a number is needed"),
        ("9" * 41, "too long"),
        ("nan", "not a number"),
        (float("nan"), "no larger than"),
        (float("inf"), "no larger than"),
        (-1e13, "no larger than"),
        (10**400, "no larger than"),
        (True, "not yes or no"),
    ],
)
def test_what_is_no_number_is_refused_with_a_reason(typed, words):
    with pytest.raises(ValueError, match=r"number|thousands") as refused:
        read_number(typed)
    assert words in str(refused.value)


def test_a_form_may_send_every_number_as_text(quoted):
    as_text = {
        "weighing.dry_g": ["412,60", "412.60", " 412.55 ", ""],
        "weighing.readability_g": "0,05",
        "spot.gold": "4\u00a0100",
        "rock.density_g_cm3": {"low": "2.60", "likely": "2,63", "high": "2.65", "sd": ""},
        "seller.minimum": "",
    }
    as_text["weighing.dry_g"] = as_text["weighing.dry_g"][:3]
    assert quoted(as_text) == quoted()


@pytest.mark.parametrize("blank", ["", "  ", None, []])
def test_a_blank_optional_reading_is_not_stated(blank, quoted):
    assert quoted({"weighing.displaced_g": blank}) == quoted()


def test_a_single_reading_or_payable_share_needs_no_list(quoted):
    one = quoted({"weighing.dry_g": 412.6, "refiner.payable": 0.95})
    assert one == quoted({"weighing.dry_g": [412.6], "refiner.payable": [{"from_ozt": 0, "frac": 0.95}]})


# ---- each refusal: what is changed, the field that is named, words of the message

SPREADS = [
    ({"low": 2.6}, "high is not; give both ends"),
    ({"high": 2.6}, "low is not; give both ends"),
    ({}, "give a value, or low and high"),
    ({"value": 2.6, "high": 2.7}, "not both"),
    ({"likely": 2.6, "sd": 0.01}, "give a value"),
    ({"value": 2.6, "sd": 0.0}, "standard deviation must be above 0"),
    ({"value": 2.6, "sd": -0.1}, "standard deviation must be above 0"),
    ({"low": 2.7, "high": 2.6}, "rising order"),
    ({"low": 2.6, "likely": 2.7, "high": 2.65}, "rising order"),
    ({"low": 2.6, "likely": 2.63, "high": 2.65, "coverage_frac": 95}, "such as 0.95"),
    ({"low": 2.6, "likely": 2.63, "high": 2.65, "coverage_frac": 0}, "such as 0.95"),
    ({"low": 2.6, "likely": 2.6, "high": 2.65, "coverage_frac": 0.95}, "not on an end"),
]

BOUNDS = [
    ("gold.fineness_frac", 0, "0 is out of range: must lie above 0 up to 1"),
    ("gold.fineness_frac", 1.2, "must lie above 0 up to 1"),
    ("gold.fineness_frac", 850, "must lie above 0 up to 1"),
    ("gold.fineness_frac", {"value": 0.99, "sd": 0.1}, "46% of the range around 0.99"),
    ("gold.fineness_frac", {"low": 0.5, "likely": 1.01, "high": 1.02}, "1.01 is out of range"),
    ("gold.copper_share_frac", 1.1, "must lie from 0 up to 1"),
    ("rock.density_g_cm3", 0.5, "must lie above 0.5 up to 8"),
    ("rock.density_g_cm3", {"low": 2.6, "high": 12}, "out of what is possible"),
    ("rock.void_frac", 0.5, "must lie from 0 and below 0.5"),
    ("weighing.water_temperature_degc", 41, "must lie from 0 up to 40"),
    ("weighing.water_temperature_degc", {"low": -5, "high": 5}, "50% of the range around 0"),
    ("weighing.air_temperature_degc", 70, "must lie from -10 up to 50"),
    ("weighing.air_pressure_hpa", 29.9, "must lie from 500 up to 1100"),
    ("weighing.air_humidity_frac", 50, "must lie from 0 up to 1"),
    ("weighing.line_extra_depth_mm", -1, "must lie from 0 up to 1000"),
    ("refiner.recovery_frac", 96, "must lie from 0 up to 1"),
    ("collector.premium_frac", -1.5, "must lie from -1 up to 50"),
    ("collector.premium_frac", 60, "must lie from -1 up to 50"),
    ("collector.sale_chance_frac", 92, "must lie from 0 up to 1"),
    ("collector.months_to_sale", 240, "must lie from 0 up to 120"),
    ("weighing.readability_g", 0, "must be at least 0.0000001"),
    ("weighing.readability_g", 500, "must be at most 100"),
    ("weighing.repeatability_g", -0.1, "must be at least 0"),
    ("weighing.linearity_g", -0.1, "must be at least 0"),
    ("weighing.span_tolerance_frac", 0.5, "must be at most 0.05"),
    ("weighing.trapped_air_frac", 0.3, "must be at most 0.05"),
    ("weighing.line_diameter_mm", 30, "must be at most 5"),
    ("weighing.altitude_m", 9000, "must be at most 6000"),
    ("spot.gold", 0, "must be above 0"),
    ("spot.gold", -4100, "must be above 0"),
    ("spot.silver", 0, "must be above 0"),
    ("spot.gold_volatility_per_year", 18, "must be at most 3"),
    ("refiner.payable.0.frac", 95, "must be at most 1"),
    ("refiner.payable.0.frac", 0, "must be above 0"),
    ("refiner.insurance_frac", 2, "must be at most 1"),
    ("refiner.price_discount_frac", 1, "must be below 1"),
    ("refiner.settlement_days", -1, "must be at least 0"),
    ("refiner.weight_step_ozt", 0, "must be above 0"),
    ("refiner.assay_fee", -5, "must be at least 0"),
    ("collector.selling_cost_frac", 12, "must be below 1"),
    ("buyer.margin_frac", 15, "must be at most 10"),
    ("buyer.loss_chance_frac", 0, "must be above 0"),
    ("buyer.loss_chance_frac", 1, "must be below 1"),
    ("buyer.handling_cost", -1, "must be at least 0"),
    ("buyer.cash_increment", 0, "must be above 0"),
    ("seller.other_bid", -1, "must be at least 0"),
]

REFUSED = [
    # readings
    ({"weighing.dry_g": [412.6, 0]}, "weighing.dry_g.1", "0 g is not above zero: check the tare and the sign"),
    ({"weighing.submerged_g": [-271.4]}, "weighing.submerged_g.0", "-271.4 g is not above zero"),
    ({"weighing.dry_g": 4.126e6}, "weighing.dry_g.0", "check the unit"),
    ({"weighing.dry_g": [412.6, "heavy"]}, "weighing.dry_g.1", "not a number; write it like 412.60"),
    ({"weighing.dry_g": []}, "weighing.dry_g", "at least 1 needed"),
    ({"weighing.dry_g": [412.6] * 21}, "weighing.dry_g", "at most 20"),
    ({"weighing.dry_g": TAKEN_OUT}, "weighing.dry_g", "needed"),
    ({"weighing.submerged_g": 412.6}, "weighing.submerged_g", "check that the two were not swapped"),
    (
        {"weighing.dry_g": 271.4, "weighing.submerged_g": 412.6},
        "weighing.submerged_g",
        "412.6 g is not below the dry reading 271.4 g",
    ),
    ({"weighing.submerged_g": TAKEN_OUT}, "weighing.submerged_g", "the suspended method needs submerged_g"),
    ({"weighing.displaced_g": 141.2}, "weighing.displaced_g", "displaced_g does not belong to the suspended method"),
    (
        {**DISPLACED, "weighing.displaced_g": TAKEN_OUT, "weighing.line_diameter_mm": 0},
        "weighing.displaced_g",
        "the displaced method needs displaced_g",
    ),
    (DISPLACED, "weighing.line_extra_depth_mm", "the displaced method needs the wetted length of the line in mm"),
    (
        {**DISPLACED, "weighing.line_extra_depth_mm": 40, "weighing.displaced_g": 500},
        "weighing.displaced_g",
        "the displaced reading 500 g is not below the dry reading",
    ),
    ({"weighing.method": "floating"}, "weighing.method", "must be one of 'suspended' or 'displaced'"),
    ({"weighing.water_kind": "sea"}, "weighing.water_kind", "must be one of 'distilled', 'deionised' or 'tap'"),
    ({"weighing.zeroed_with_line": "maybe"}, "weighing.zeroed_with_line", "must be yes or no"),
    (
        {"weighing.altitude_m": 500, "weighing.air_pressure_hpa": 950},
        "weighing.altitude_m",
        "the air pressure or the altitude, not both",
    ),
    # impossible densities
    ({"weighing.submerged_g": 0.05}, "weighing.submerged_g", "lighter than water: check"),
    ({"weighing.submerged_g": 395.0}, "weighing.submerged_g", "denser than gold: check"),
    (
        {**DISPLACED, "weighing.displaced_g": 3.0, "weighing.line_diameter_mm": 5, "weighing.line_extra_depth_mm": 900},
        "weighing.displaced_g",
        "no volume: check the reading and the wetted line",
    ),
    ({"rock.density_g_cm3": 3.4}, "rock", "no amount of gold fits these weighings and this rock"),
    ({"weighing.submerged_g": [390.0]}, "rock", "denser than the native gold that was entered"),
    # rock
    ({"rock.density_g_cm3": TAKEN_OUT}, "rock.kind", "exactly one of kind, density_g_cm3, minerals or chip; got none"),
    ({"rock.chip": CHIP, "rock.void_frac": TAKEN_OUT}, "rock.chip", "got density_g_cm3 and chip"),
    ({"rock": {"kind": "vein-quarz"}}, "rock.kind", "no rock is called “vein-quarz”; did you mean vein-quartz"),
    (
        {"rock": {"minerals": [{"name": "quartz"}, {"name": "pyrit", "volume_frac": 0.1}]}},
        "rock.minerals.1.name",
        "no mineral is called “pyrit”; did you mean pyrite",
    ),
    (
        {"rock": {"minerals": [{"name": "quartz", "volume_frac": 0.9}, {"name": "pyrite", "volume_frac": 0.1}]}},
        "rock.minerals.0.volume_frac",
        "takes the remainder: leave its volume_frac out",
    ),
    (
        {"rock": {"minerals": [{"name": "quartz"}, {"name": "pyrite"}]}},
        "rock.minerals.1.volume_frac",
        "give the volume_frac of pyrite",
    ),
    (
        {
            "rock": {
                "minerals": [
                    {"name": "quartz"},
                    {"name": "pyrite", "volume_frac": 0.6},
                    {"name": "galena", "volume_frac": 0.6},
                ]
            }
        },
        "rock.minerals",
        "add up to 1.2, more than 1",
    ),
    ({"rock": {"minerals": []}}, "rock.minerals", "at least 1 needed"),
    ({"rock": {"minerals": [{"name": "quartz"}] * 7}}, "rock.minerals", "at most 6"),
    # chip
    ({**WITH_CHIP, "rock.chip": CHIP, "rock.void_frac": 0.0}, "rock.void_frac", "already includes its pores"),
    ({**WITH_CHIP, "rock.chip": {"dry_g": 38.4}}, "rock.chip.submerged_g", "needs submerged_g"),
    ({**WITH_CHIP, "rock.chip": {"dry_g": 38.4, "submerged_g": 40}}, "rock.chip.submerged_g", "40 g is not below"),
    ({**WITH_CHIP, "rock.chip": {"dry_g": -1, "submerged_g": 0.5}}, "rock.chip.dry_g.0", "not above zero"),
    (
        {**WITH_CHIP, "rock.chip": {"dry_g": 38.4, "displaced_g": 14.6}},
        "rock.chip.displaced_g",
        "the specimen's method is suspended, which needs submerged_g: enter that, or state the chip's own method",
    ),
    (
        {**WITH_CHIP, "rock.chip": {**CHIP, "displaced_g": 14.6, "method": "suspended"}},
        "rock.chip.displaced_g",
        "does not belong to the suspended method",
    ),
    (
        {**WITH_CHIP, "rock.chip": {"dry_g": 38.4, "displaced_g": 14.6, "method": "displaced"}},
        "rock.chip.line_extra_depth_mm",
        "the wetted length of the line in mm for the chip",
    ),
    ({**WITH_CHIP, "rock.chip": {**CHIP, "water_kind": "tap"}}, "rock.chip.same_water", "same_water must be false"),
    (
        {**WITH_CHIP, "rock.chip": {"dry_g": 38.4, "submerged_g": 34.5}},
        "rock.chip.dry_g",
        "which no rock has: check its readings",
    ),
    ({**WITH_CHIP, "rock.chip": {"dry_g": 38.4, "submerged_g": 0.01}}, "rock.chip.submerged_g", "lighter than water"),
    # gold measured elsewhere
    ({"gold.measured": GRAMS}, "gold.measured", "replaces the weighing and the rock: leave out one or the other"),
    ({"weighing": TAKEN_OUT}, "weighing", "needed: dry and submerged readings"),
    ({"rock": TAKEN_OUT}, "rock", "needed: the rock's kind or density"),
    ({**MEASURED, "gold.measured": {**GRAMS, "basis": "pure"}}, "gold.measured.basis", "must be one of"),
    ({**MEASURED, "gold.measured": {**GRAMS, "grams": 0}}, "gold.measured.grams", "must lie above 0 up to 1 000 000"),
    ({**MEASURED, "gold.measured": {**GRAMS, "mass_g": 0}}, "gold.measured.mass_g", "must be above 0"),
    (
        {**MEASURED, "gold.measured": {**GRAMS, "mass_g": 10}},
        "gold.measured.grams",
        "more gold than the piece can weigh: check the grams, the fineness and the mass",
    ),
    (
        {**MEASURED, "gold.measured": {**GRAMS, "mass_g": None}},
        "gold.measured.mass_g",
        "charges by the kilogram: enter the mass of the piece",
    ),
    (
        {**MEASURED, "gold.measured": {**GRAMS, "mass_g": " "}, "refiner.treatment_per_kg": "1 500"},
        "gold.measured.mass_g",
        "enter the mass of the piece",
    ),
    # price
    ({"spot": TAKEN_OUT}, "spot", "needed"),
    ({"spot.gold": TAKEN_OUT}, "spot.gold", "needed"),
    ({"spot.gold": "4,100"}, "spot.gold", "thousands or decimals? Write 4100 or 4.100"),
    ({"spot.currency": "dollars"}, "spot.currency", "three-letter currency code in capitals, such as USD"),
    ({"spot.unit": "lb"}, "spot.unit", "must be one of 'ozt', 'g', 'kg' or 'tola'"),
    ({"spot.seen_at": "yesterday"}, "spot.seen_at", "such as 2026-03-14T10:24:00-07:00"),
    ({"spot.seen_at": "2026-03-14T10:20:00"}, "spot.seen_at", "needs its offset from UTC"),
    ({"quoted_at": "2026-03-14T10:20:00"}, "quoted_at", "needs its offset from UTC"),
    ({"quoted_at": TAKEN_OUT}, "quoted_at", "needed"),
    ({"spot.silver": TAKEN_OUT, "refiner.silver_payable_frac": 0.5}, "spot.silver", "enter the silver price"),
    ({"spot.silver": " ", "refiner.silver_payable_frac": "0,5"}, "spot.silver", "enter the silver price"),
    # ways out
    (
        {"refiner.payable": [{"from_ozt": 1.0, "frac": 0.95}]},
        "refiner.payable.0.from_ozt",
        "the first tier must start at 0 ozt, not 1",
    ),
    (
        {"refiner.payable": [{"from_ozt": 0, "frac": 0.9}, {"from_ozt": 5, "frac": 0.95}, {"from_ozt": 5, "frac": 1}]},
        "refiner.payable.2.from_ozt",
        "5 ozt does not follow 5 ozt",
    ),
    ({"refiner.payable": []}, "refiner.payable", "at least 1 needed"),
    ({"refiner.price_fixed": "monday"}, "refiner.price_fixed", "must be one of 'settlement' or 'receipt'"),
    ({"collector.premium_frac": TAKEN_OUT}, "collector.premium_frac", "exactly one of premium_frac, price"),
    ({"collector.price": 5000}, "collector.price", "got premium_frac and price"),
    ({"buyer.routes": ["melt"]}, "buyer.routes.0", "must be one of 'refine' or 'intact'"),
    ({"buyer.routes": "refine"}, "buyer.routes", "a list is needed here"),
    ({"buyer.routes": ["refine"], "refiner": TAKEN_OUT}, "refiner", "“refine” needs the terms of a refiner"),
    ({"buyer.routes": ["intact"], "collector": TAKEN_OUT}, "collector", "“intact” needs the terms of a collector"),
    (
        {"seller.asks": {"price": 5000, "currency": "EUR"}},
        "seller.asks.exchange_rate",
        "another currency than the quote's USD: enter how many USD one unit of it costs",
    ),
    # shapes
    ({"weighing": "heavy"}, "weighing", "a table of fields is needed"),
    ({"spot": [4100]}, "spot", "a table of fields is needed"),
    ({"title": 7}, "title", "text is needed"),
    ({"title": "x" * 201}, "title", "at most 200 characters"),
    ({"title": "\ud800"}, "title", "text"),
]


@pytest.mark.parametrize(("changes", "field", "words"), REFUSED)
def test_each_refusal_names_its_field_and_what_to_do(changes, field, words, problems):
    found = problems(changes)
    assert field in found
    assert words in found[field].message
    # One cause, one problem: nothing that the person did right is refused along with it.
    assert set(found) == {field}


@pytest.mark.parametrize(("entered", "words"), SPREADS)
def test_each_wrong_range_is_refused(entered, words, problems):
    found = problems({"rock.density_g_cm3": entered})
    assert list(found) == ["rock.density_g_cm3"]
    assert words in found["rock.density_g_cm3"].message


@pytest.mark.parametrize("part", ["low", "likely", "high", "coverage_frac"])
@pytest.mark.parametrize("junk", [float("nan"), float("inf"), "abc", True, [1.0]])
def test_each_end_of_a_range_must_be_a_finite_number(part, junk, problems):
    entered = {"low": 2.6, "likely": 2.63, "high": 2.65, "coverage_frac": 0.95, part: junk}
    found = problems({"rock.density_g_cm3": entered})
    assert list(found) == [f"rock.density_g_cm3.{part}"]
    assert "number" in found[f"rock.density_g_cm3.{part}"].message


@pytest.mark.parametrize(("field", "value", "words"), BOUNDS)
def test_each_value_out_of_bounds_is_refused(field, value, words, problems):
    found = problems({field: value})
    assert list(found) == [field]
    assert words in found[field].message
    assert found[field].value == ("" if isinstance(value, dict) else str(value))


def test_the_ends_of_a_closed_bound_are_possible(base):
    ends = {
        "gold.fineness_frac": 1.0,
        "gold.copper_share_frac": 0.0,
        "rock.density_g_cm3": 8.0,
        "weighing.water_temperature_degc": {"low": 0.0, "high": 40.0},
        "collector.premium_frac": {"low": -1.0, "high": 50.0},
        "collector.months_to_sale": {"low": 0.0, "high": 120.0},
        "refiner.recovery_frac": 1.0,
        "collector.sale_chance_frac": 0.0,
    }
    for field, value in ends.items():
        read_request(changed(base, {field: value}))


def test_a_value_in_a_message_is_cut_short(problems):
    long = "x" * 500
    found = problems({"weighing.readability_g": long, "title": long})
    assert all(len(problem.value) <= 40 and problem.value.endswith("…") for problem in found.values())
    assert all(len(problem.message) < 200 for problem in found.values())


def test_every_field_at_fault_is_named_at_once(problems):
    found = problems(
        {
            "quoted_at": "noon",
            "weighing.dry_g": [412.6, -3],
            "weighing.submerged_g": ["x"],
            "weighing.readability_g": 0,
            "weighing.water_temperature_degc": 80,
            "rock.density_g_cm3": {"low": 3},
            "rock.void_frac": 0.7,
            "gold.fineness_frac": 85,
            "gold.measured": GRAMS,
            "spot.gold": "4,100",
            "spot.silver": TAKEN_OUT,
            "refiner.silver_payable_frac": 0.5,
            "refiner.assay_fee": "free",
            "refiner.payable.0.frac": 95,
            "collector.sale_chance_frac": 92,
            "buyer.margin_frac": 15,
            "seller.other_bid": -1,
            "seller.asks": {"price": 5000, "currency": "EUR"},
            "typo": 1,
        }
    )
    assert set(found) == {
        "quoted_at",
        "weighing.dry_g.1",
        "weighing.submerged_g.0",
        "weighing.readability_g",
        "weighing.water_temperature_degc",
        "rock.density_g_cm3",
        "rock.void_frac",
        "gold.fineness_frac",
        "gold.measured",
        "spot.gold",
        "spot.silver",
        "refiner.assay_fee",
        "refiner.payable.0.frac",
        "collector.sale_chance_frac",
        "buyer.margin_frac",
        "seller.other_bid",
        "seller.asks.exchange_rate",
        "typo",
    }


def test_contradictions_within_a_section_are_told_together(problems):
    found = problems(
        {
            "weighing.method": "displaced",
            "weighing.displaced_g": 500,
            "weighing.altitude_m": 10,
            "weighing.air_pressure_hpa": 1000,
            "rock.chip": {"dry_g": 30, "submerged_g": 40, "water_kind": "tap"},
        }
    )
    assert set(found) == {
        "weighing.submerged_g",
        "weighing.displaced_g",
        "weighing.altitude_m",
        "weighing.line_extra_depth_mm",
        "rock.chip.submerged_g",
        "rock.chip.same_water",
    }
    found = problems({"rock": {"kind": "quarz", "void_frac": 0.1, "density_g_cm3": 2.6, "chip": CHIP}})
    assert set(found) == {"rock.density_g_cm3", "rock.void_frac", "rock.kind"}


@pytest.mark.parametrize(
    ("path", "near"),
    [
        ("weighing.dry_gram", "dry_g"),
        ("weighing.readibility_g", "readability_g"),
        ("rock.voids_frac", "void_frac"),
        ("gold.finness_frac", "fineness_frac"),
        ("refiner.assay_fees", "assay_fee"),
        ("refiner.payable.0.from_oz", "from_ozt"),
        ("collector.premium", "premium_frac"),
        ("buyer.margin", "margin_frac"),
        ("seller.other_bids", "other_bid"),
        ("spot.silvr", "silver"),
        ("wieghing", "weighing"),
        ("rock.density_g_cm3.hihg", "high"),
    ],
)
def test_an_unknown_key_is_refused_with_a_suggestion(path, near, problems):
    found = problems({path: 1})
    assert f"did you mean {near}" in found[path].message
    assert found[path].code == "extra_forbidden"


def test_an_unknown_key_unlike_any_lists_the_known_ones(problems):
    assert "known here: from_ozt, frac" in problems({"refiner.payable.0.zzzzzz": 1})["refiner.payable.0.zzzzzz"].message


def test_problems_of_reads_what_pydantic_raised():
    with pytest.raises(ValidationError) as refused:
        QuoteRequest.model_validate({})
    assert {p.field for p in problems_of(refused.value)} == {"quoted_at", "spot", "weighing", "rock"}


@pytest.mark.parametrize("entered", [{}, {"weighing": None}, {"seller": {"claim": {"mass": -1}}}])
def test_a_table_with_next_to_nothing_names_what_is_needed(entered):
    with pytest.raises(RequestRefused) as refused:
        read_request(entered)
    assert {"quoted_at", "spot"} <= {problem.field for problem in refused.value.problems}
    assert "quoted_at: needed here" in str(refused.value)


def test_a_refusal_by_physics_has_the_shape_of_any_other(base):
    with pytest.raises(ValuationError) as refused:
        quote(read_request(changed(base, {"weighing.submerged_g": 395.0})))
    (problem,) = refused.value.problems
    assert problem == refused.value.problem
    assert (problem.code, problem.value) == ("too_dense", "395")
    assert str(refused.value) == f"{problem.field}: {problem.message}"


# ---- the same request, however it is written

SHAPES = [
    {},
    {**MEASURED, "gold.measured": GRAMS},
    {**WITH_CHIP, "rock.chip": {**CHIP, "same_water": False, "water_temperature_degc": {"value": 20, "sd": 0.5}}},
    {"rock": {"minerals": [{"name": "quartz"}, {"name": "pyrite", "volume_frac": {"low": 0, "high": 0.03}}]}},
    {**DISPLACED, "weighing.line_extra_depth_mm": {"low": 30, "high": 50}, "seller.minimum": 100},
    {"collector.premium_frac": TAKEN_OUT, "collector.price": {"value": 9000, "sd": 500}, "seller.refiner": {}},
]


@pytest.mark.parametrize("changes", SHAPES)
def test_a_request_survives_a_round_trip_through_json(changes, base):
    request = read_request(changed(base, changes))
    stored = request.model_dump_json(exclude_unset=True)
    again = QuoteRequest.model_validate_json(stored)
    assert again == request == read_request(json.loads(stored))
    # What nobody entered is still assumed, and printed as such.
    assert quote(again).model_dump_json() == quote(request).model_dump_json()


def test_a_whole_dump_reads_back_to_the_same_figures(base):
    request = read_request(base)
    again = QuoteRequest.model_validate_json(request.model_dump_json())
    assert quote(again).model_dump(exclude={"assumptions"}) == quote(request).model_dump(exclude={"assumptions"})


def test_a_toml_file_and_a_dict_say_the_same(base):
    text = """
    title = "Invented: quartz with leaf gold"
    quoted_at = 2026-03-14T10:24:00-07:00
    [weighing]
    dry_g = 412.60
    submerged_g = [271.40]
    readability_g = 0.05
    [rock]
    kind = "vein-quartz"
    [spot]
    gold = 4100
    [refiner]
    """
    read = read_request(tomllib.loads(text))
    assert read.quoted_at == read_request(base).quoted_at
    assert read.weighing.dry_g == (412.6,)
    assert quote(read).fine_gold_g.median > 0


def test_a_request_in_python_objects_is_judged_like_raw_entries(base):
    request = read_request(base)
    assert QuoteRequest(**{name: getattr(request, name) for name in request.model_fields_set}) == request
    with pytest.raises(ValidationError, match="silver price"):
        QuoteRequest(
            quoted_at=request.quoted_at,
            weighing=request.weighing,
            rock=request.rock,
            spot=request.spot.model_copy(update={"silver": None}),
            refiner=request.refiner.model_copy(update={"silver_payable_frac": 0.5}),
        )


@pytest.mark.parametrize(
    ("entered", "written"),
    [
        (2.63, 2.63),
        ({"value": "2,63"}, 2.63),
        ({"value": 2.63, "sd": 0.01}, {"value": 2.63, "sd": 0.01}),
        ({"low": 2.6, "high": 2.6}, {"low": 2.6, "high": 2.6}),
        ({"low": 2.6, "likely": None, "high": 2.65}, {"low": 2.6, "high": 2.65}),
    ],
)
def test_a_range_is_written_as_briefly_as_it_was_entered(entered, written):
    spread = Spread.model_validate(entered)
    assert json.loads(spread.model_dump_json()) == written
    assert Spread.model_validate(written) == spread


def test_the_good_request_is_good():
    # Its floor rests on another bid, which is asked about whatever else is right.
    assert [caution.code for caution in quote(read_request(good())).cautions] == ["bid_unseen"]


def test_impossible_readings_of_piece_and_chip_are_told_at_once(base):
    weighing = {**base["weighing"], "dry_g": [412.6], "submerged_g": [395.0]}
    rock = {"chip": {"dry_g": [38.42], "submerged_g": [36.9]}}
    with pytest.raises(RequestRefused) as refused:
        quote(read_request({**base, "weighing": weighing, "rock": rock}))
    assert {problem.field for problem in refused.value.problems} == {"weighing.submerged_g", "rock.chip.submerged_g"}
    assert all("denser than gold" in problem.message for problem in refused.value.problems)
