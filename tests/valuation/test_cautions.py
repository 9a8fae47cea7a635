"""Each caution of the model: what raises it, what it says, and what just does not raise it."""

import pytest

from tests.valuation.strategies import TAKEN_OUT

EXACT = {"rock.density_g_cm3": 2.61, "rock.void_frac": 0.0}
DISPLACED = {
    "weighing.method": "displaced",
    "weighing.submerged_g": TAKEN_OUT,
    "weighing.displaced_g": [141.30, 141.25],
    "weighing.line_extra_depth_mm": 40,
}
WITH_CHIP = {"rock.density_g_cm3": TAKEN_OUT, "rock.void_frac": TAKEN_OUT}
MEASURED = {"weighing": TAKEN_OUT, "rock": TAKEN_OUT}
UNSEEN = {"weighing.submerged_g": [256.40, 256.40]}
POOR_LOT = {"refiner.assay_fee": 6000.0}
NO_FLOOR = {"seller.other_bid": TAKEN_OUT}

# What is changed, the code, the field, words of the message, and other codes that the same change must bring.
RAISED = [
    # a slip of the decimal mark, of the unit
    (
        {"spot.gold": 4.1, "seller.other_bid": 3.0},
        "price_doubtful",
        "spot.gold",
        "Gold at 4.10 USD per ozt is far too little: check the decimal",
        None,
    ),
    (
        {"seller.asks": {"price": 2450.0}, "seller.claim": {"mass": 14, "unit": "ozt"}},
        "claim_far_from_ask",
        "seller.claim.unit",
        "Are grams meant?",
        None,
    ),
    (
        {"seller.asks": {"price": 5000.0}, "seller.claim": {"mass": 1.9, "unit": "g"}},
        "claim_far_from_ask",
        "seller.claim.unit",
        "Are troy ounces meant?",
        None,
    ),
    # readings
    (
        {"weighing.dry_g": [412.60, 412.85]},
        "repeats_spread",
        "weighing.dry_g",
        "differ by 0.25 g, more than 4 times",
        (),
    ),
    ({"weighing.submerged_g": [271.60, 271.35]}, "repeats_spread", "weighing.submerged_g", "weigh again", ()),
    (
        {"weighing.submerged_g": [271.35, 271.40, 271.45]},
        "pores_filling",
        "weighing.submerged_g",
        "let the piece soak until the reading stands still",
        (),
    ),
    (
        {**DISPLACED, "weighing.displaced_g": [141.35, 141.30, 141.25]},
        "pores_filling",
        "weighing.displaced_g",
        "drift steadily",
        (),
    ),
    (
        {"weighing.dry_g": 1.25, "weighing.submerged_g": 0.80},
        "small_displacement",
        "weighing.submerged_g",
        "lifts only 0.45 g, under 20 steps of the balance (0.05 g)",
        None,
    ),
    (
        {**DISPLACED, "weighing.dry_g": 2.80, "weighing.displaced_g": 0.95},
        "small_displacement",
        "weighing.displaced_g",
        "0.95 g, under 20 steps",
        None,
    ),
    (
        {"weighing.dry_g": [412.5, 413.0], "weighing.submerged_g": [271.5, 271.5], "weighing.repeatability_g": 0.5},
        "coarse_steps",
        "weighing.readability_g",
        "in steps of 0.5 g, coarser than the stated readability 0.05 g",
        (),
    ),
    (
        {"weighing.dry_g": [412.61]},
        "fine_steps",
        "weighing.readability_g",
        "not a multiple of the stated readability 0.05 g: check which balance",
        (),
    ),
    # the chip's readings
    (
        {**WITH_CHIP, "rock.chip": {"dry_g": [38.40, 38.70], "submerged_g": [23.80]}},
        "repeats_spread",
        "rock.chip.dry_g",
        "differ by 0.3 g",
        (),
    ),
    (
        {**WITH_CHIP, "rock.chip": {"dry_g": [38.40], "submerged_g": [23.75, 23.80, 23.85]}},
        "pores_filling",
        "rock.chip.submerged_g",
        "soak",
        (),
    ),
    (
        {**WITH_CHIP, "rock.chip": {"dry_g": [2.40], "submerged_g": [1.50]}},
        "small_displacement",
        "rock.chip.submerged_g",
        "0.9 g, under 20 steps",
        None,
    ),
    # ranges
    (
        {"gold.fineness_frac": {"value": 0.93, "sd": 0.03}},
        "truncated",
        "gold.fineness_frac",
        "1.0% of this range lies beyond what is possible (above 0 up to 1)",
        (),
    ),
    (
        {"collector.sale_chance_frac": {"value": 0.95, "sd": 0.02}},
        "truncated",
        "collector.sale_chance_frac",
        "0.6% of this range",
        (),
    ),
    # gold
    (
        {"rock.density_g_cm3": {"low": 2.87, "likely": 2.93, "high": 2.96}},
        "likely_no_gold",
        "fine_gold_g",
        "The likeliest reading is no gold",
        None,
    ),
    (
        {"rock.density_g_cm3": {"low": 2.91, "likely": 2.95, "high": 3.00}},
        "rock_doubtful",
        "rock",
        "the rock is probably not what was entered",
        None,
    ),
    (UNSEEN, "not_by_weight", "detection", "Not by weight: the estimate of", None),
    (UNSEEN, "budget_before_conditioning", "budget", "impossible draws were dropped", None),
    # price
    ({"spot.seen_at": TAKEN_OUT}, "price_undated", "spot.seen_at", "look it up again before you pay", ()),
    ({"spot.seen_at": "2026-03-13T10:23:00-07:00"}, "price_old", "spot.seen_at", "24 hours before the quote", ()),
    ({"spot.seen_at": "2026-03-14T19:24:00+01:00"}, "price_from_the_future", "spot.seen_at", "check both times", ()),
    # ways out
    (POOR_LOT, "not_worth_sending", "refiner", "this way out counts as nothing", ("unsold_brings_nothing",)),
    ({"refiner": TAKEN_OUT}, "unsold_brings_nothing", "collector", "no refiner is known", ()),
    (POOR_LOT, "unsold_brings_nothing", "collector", "sending it in would not pay", ("not_worth_sending",)),
    (
        {"refiner.minimum_lot_ozt": 2.0},
        "lot_too_small",
        "refiner.minimum_lot_ozt",
        "No refiner takes so small a lot",
        None,
    ),
    (
        {"collector.sale_chance_frac": 0.90},
        "sale_chance_binds",
        "collector.sale_chance_frac",
        "The chance of 10% that it does not sell is not below the accepted chance of loss of 10%",
        (),
    ),
    # offer
    ({"buyer.handling_cost": 9000.0}, "ceiling_zero", "buyer_ceiling", "cannot pay anything", ("no_fair_price",)),
    (NO_FLOOR, "floor_assumed", "seller_floor", "assumed at 70 % of the melt value: ask for another bid", ()),
    (
        {**NO_FLOOR, "collector": TAKEN_OUT, "buyer.margin_frac": 0.6},
        "floor_assumed",
        "seller_floor",
        "no seller alternative is known",
        (),
    ),
    (
        {"seller.other_bid": 6000.0},
        "no_fair_price",
        "fair",
        "the seller's floor is 709.51 USD above the house's ceiling",
        (),
    ),
]


def codes(q):
    return {caution.code for caution in q.cautions}


@pytest.mark.parametrize(("changes", "code", "field", "words", "beside"), RAISED)
def test_each_caution_is_told_beside_its_figure(changes, code, field, words, beside, quoted):
    q = quoted(changes)
    (told,) = (caution for caution in q.cautions if caution.code == code)
    assert told.field == field
    assert words in told.message
    if beside is not None:
        bid = {"bid_unseen"} if q.floor_basis == "other_bid" else set()  # the good request has another bid
        once = {"one_reading"} if q.cautions and _read_once(changes) else set()
        assert codes(q) == {code, *beside, *bid, *once}


def _read_once(changes):
    """Whether a change leaves a single reading of the piece, dry or wet."""
    names = ("weighing.dry_g", "weighing.submerged_g", "weighing.displaced_g")
    found = [changes[name] for name in names if name in changes and changes[name] is not TAKEN_OUT]
    return any(not isinstance(readings, list) or len(readings) == 1 for readings in found)


# What comes close to raising a caution, and does not.
NEAR = [
    ({"weighing.dry_g": [412.60, 412.80]}, "repeats_spread"),
    ({"weighing.submerged_g": [271.35, 271.45, 271.40]}, "pores_filling"),
    ({"weighing.submerged_g": [271.45, 271.40, 271.35]}, "pores_filling"),
    ({"weighing.submerged_g": [271.35, 271.40]}, "pores_filling"),
    ({**DISPLACED, "weighing.displaced_g": [141.25, 141.30, 141.35]}, "pores_filling"),
    ({"weighing.dry_g": 2.60, "weighing.submerged_g": 1.60}, "small_displacement"),
    ({"weighing.dry_g": 412.5, "weighing.submerged_g": 271.5}, "coarse_steps"),
    ({"weighing.dry_g": [412.5, 413.05], "weighing.repeatability_g": 0.5}, "coarse_steps"),
    ({"gold.fineness_frac": {"value": 0.90, "sd": 0.03}}, "truncated"),
    ({"rock.density_g_cm3": 2.80}, "rock_doubtful"),
    ({"spot.seen_at": "2026-03-13T10:25:00-07:00"}, "price_old"),
    ({"spot.seen_at": "2026-03-14T10:24:00-07:00"}, "price_from_the_future"),
    ({"refiner.assay_fee": 4000.0}, "not_worth_sending"),
    ({"refiner": TAKEN_OUT, "collector.sale_chance_frac": 1.0}, "unsold_brings_nothing"),
    ({"refiner.minimum_lot_ozt": 1.2}, "lot_too_small"),
    ({"collector.sale_chance_frac": 0.91}, "sale_chance_binds"),
    ({"collector.sale_chance_frac": 0.5, "buyer.loss_chance_frac": 0.51}, "sale_chance_binds"),
    ({"seller.other_bid": 5290.0}, "no_fair_price"),
    ({**NO_FLOOR, "seller.keep_value": 10.0}, "floor_assumed"),
    ({**MEASURED, "gold.measured": {"basis": "fine", "grams": 40, "mass_g": 412.6}}, "not_by_weight"),
]


@pytest.mark.parametrize(("changes", "code"), NEAR)
def test_no_caution_where_there_is_no_doubt(changes, code, quoted):
    assert code not in codes(quoted(changes))


def test_a_good_request_has_no_caution(quoted):
    assert quoted({"seller.other_bid": TAKEN_OUT, "seller.minimum": 3800.0}).cautions == ()


SAID_LOW = {"seller.asks": {"price": 4000.0, "shipping": 40.0}, "said": [{"by": "seller", "figure": 3600.0}]}


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({}, False),
        ({"buyer.offer": 3600.0}, False),
        ({"buyer.offer": 3600.5}, True),
        ({"said": [], "buyer.offer": 3900.0}, False),
        ({"said": [], "buyer.offer": 4000.5}, True),
        ({"seller.asks": TAKEN_OUT, "buyer.offer": 3700.0}, True),
    ],
)
def test_an_offer_above_the_newest_figure_asked_is_told(changes, told, quoted):
    q = quoted({**SAID_LOW, **changes})
    assert ("offer_above_ask" in codes(q)) == told


def test_another_bid_is_doubted_only_where_it_sets_the_floor(quoted):
    assert "bid_unseen" in codes(quoted())
    assert "bid_unseen" not in codes(quoted({"seller.minimum": 3900.0}))


BOTH_ONCE = {"weighing.dry_g": 412.6, "weighing.submerged_g": 271.35}


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"weighing.dry_g": 412.6}, "only one reading dry:"),
        ({"weighing.submerged_g": 271.35}, "only one reading under water:"),
        (BOTH_ONCE, "only one reading dry and one reading under water:"),
    ],
)
def test_a_single_reading_is_to_be_weighed_again(changes, words, quoted):
    (told,) = (c.message for c in quoted(changes).cautions if c.code == "one_reading")
    assert words in told and "weigh it again" in told


def test_the_two_cautions_on_impossible_draws_exclude_each_other(quoted):
    for density in (2.85, 2.93, 2.95):
        q = quoted({"rock.density_g_cm3": {"low": density - 0.05, "likely": density, "high": density + 0.05}})
        found = codes(q) & {"likely_no_gold", "rock_doubtful"}
        assert found == (
            {"rock_doubtful"} if q.kept_frac < 0.05 else {"likely_no_gold"} if q.kept_frac < 0.5 else set()
        )


def test_from_the_printed_chance_on_the_sale_chance_no_longer_binds(quoted):
    changes = {"collector.sale_chance_frac": 0.80}
    (told,) = (c for c in quoted(changes).cautions if c.code == "sale_chance_binds")
    printed = float(told.message.partition("with an accepted chance of loss of ")[2].partition("%")[0]) / 100
    bound, free = (
        next(row for row in quoted({**changes, "buyer.loss_chance_frac": alpha}).routes if row.route == "intact")
        for alpha in (printed - 0.02, printed + 0.02)
    )
    assert (bound.binds, free.binds) == ("risk", "margin")


def test_where_the_sale_chance_binds_the_premium_cannot_raise_the_ceiling(quoted):
    bound = {"collector.sale_chance_frac": 0.80}
    low, high = (quoted({**bound, "collector.premium_frac": premium}).buyer_ceiling for premium in (0.6, 3.0))
    assert high == pytest.approx(low, rel=1e-3)


def test_every_caution_is_a_sentence_that_says_what_to_do_without_jargon(quoted):
    for changes, *_ in RAISED:
        for caution in quoted(changes).cautions:
            assert caution.message[0].isupper() and caution.message.endswith(".")
            assert 30 < len(caution.message) < 400
            assert not {"nan", "inf", "None"} & set(caution.message.replace(",", " ").split())


ALWAYS = {
    "estimate": ("not an assay", "not an appraisal"),
    "not_tested": ("natural, unfilled and unglued", "Tungsten is as dense as gold: density cannot expose it"),
    "irreversible": ("Refining cannot be undone",),
    "law": (
        "second-hand goods",
        "identification",
        "holding periods",
        "tax",
        "cash limits",
        "trade scales",
        "local law",
    ),
    "safety": ("acid", "mercury", "heating", "crushing", "silica dust", "fumes", "X-ray", "licence"),
}


@pytest.mark.parametrize(
    "changes",
    [
        {},
        UNSEEN,
        {**MEASURED, "gold.measured": {"basis": "fine", "grams": 40, "mass_g": 400}},
        {"seller.other_bid": 9e6},
    ],
)
def test_what_is_always_printed_is_in_every_quote(changes, quoted):
    told = {notice.code: notice.message for notice in quoted(changes).notices}
    assert set(told) == set(ALWAYS)
    for code, words in ALWAYS.items():
        assert all(word in told[code] for word in words), code
