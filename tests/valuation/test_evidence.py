"""What one more test is worth: against the same quote after the test, brute force, and what must always hold."""

import json

import numpy as np
import pytest
from hypothesis import given, settings

from scenarios import scenario
from tests.proofs.evidence import MOST_OFF, SELLERS, TESTS, compared, nested, pool
from tests.proofs.evidence import told as by_program
from tests.valuation.strategies import STEADY, changed, requests
from valuation import RequestRefused, ValuationError, evidence, quote, read_request
from valuation.evidence_tests import USUAL


def found(base, changes=None, **options):
    """Rows of the base request by kind, with values put at dotted paths."""
    told = evidence(read_request(changed(base, changes or {})), **options)
    return {row.kind: row for row in told.tests}, told


def width_of(base, changes):
    return quote(read_request(changed(base, changes))).fine_gold_g.width


# ---- the expected range is that of the quote once the test is made, where doubt is normal or the test settles it


def test_a_chip_narrows_to_the_range_of_the_posterior_density(base):
    prior, u = 0.02, 0.01
    exact = {"weighing.water_temperature_degc": 20.0, "rock.void_frac": 0.0}
    rows, _ = found(
        base,
        exact
        | {
            "rock.density_g_cm3": {"value": 2.63, "sd": prior},
            "tests": [{"kind": "chip", "u_g_cm3": u}],
        },
    )
    after = prior * u / np.hypot(prior, u)
    assert rows["chip"].width_g == pytest.approx(
        width_of(base, exact | {"rock.density_g_cm3": {"value": 2.63, "sd": after}}), rel=0.01
    )


def test_fineness_narrows_to_the_range_of_the_posterior_fineness(base):
    prior, u = 0.03, 0.02
    rows, _ = found(
        base, {"gold.fineness_frac": {"value": 0.8, "sd": prior}, "tests": [{"kind": "fineness", "u_frac": u}]}
    )
    after = {"gold.fineness_frac": {"value": 0.8, "sd": prior * u / np.hypot(prior, u)}}
    assert rows["fineness"].width_g == pytest.approx(width_of(base, after), rel=0.01)


WATER_ONLY = {
    "rock.density_g_cm3": 2.63,
    "rock.void_frac": 0.0,
    "gold.fineness_frac": 0.85,
    "weighing.readability_g": 0.001,
    "weighing.repeatability_g": 0.001,
    "weighing.linearity_g": 0.001,
    "weighing.span_tolerance_frac": 0.0,
    "weighing.trapped_air_frac": 0.0,
}


def test_a_temperature_narrows_to_what_the_thermometer_leaves(base):
    wide = WATER_ONLY | {"weighing.water_temperature_degc": {"low": 10.0, "high": 30.0}}
    rows, _ = found(base, wide | {"tests": [{"kind": "water_temperature", "u_degc": 1.0}]})
    middle = WATER_ONLY | {"weighing.water_temperature_degc": {"value": 20.0, "sd": 1.0}}
    assert width_of(base, wide) > 3 * rows["water_temperature"].width_g
    # Water swells faster the warmer it is; the middle of the range stands for its mean only roughly.
    assert rows["water_temperature"].width_g == pytest.approx(width_of(base, middle), rel=0.06)


BALANCE_ONLY = WATER_ONLY | {
    "weighing.water_temperature_degc": 20.0,
    "weighing.line_diameter_mm": 0.0,
    "weighing.readability_g": 0.01,
    "weighing.linearity_g": 0.0,
    "weighing.repeatability_g": 0.4,
    "weighing.dry_g": [412.6, 412.6],
    "weighing.submerged_g": [271.35, 271.35],
}


def test_repeats_narrow_to_the_range_of_all_readings_together(base):
    rows, _ = found(base, BALANCE_ONLY | {"tests": [{"kind": "repeats", "readings": 6}]})
    together = BALANCE_ONLY | {"weighing.dry_g": [412.6] * 8, "weighing.submerged_g": [271.35] * 8}
    assert rows["repeats"].width_g == pytest.approx(width_of(base, together), rel=0.01)
    assert rows["repeats"].width_g < 0.6 * width_of(base, BALANCE_ONLY)


def test_a_finer_balance_narrows_to_the_range_of_its_own_readings(base):
    rows, _ = found(base, BALANCE_ONLY | {"tests": [{"kind": "finer_balance", "u_g": 0.1}]})
    finer = {"weighing.repeatability_g": 0.1, "weighing.dry_g": [412.6], "weighing.submerged_g": [271.35]}
    old, alone = width_of(base, BALANCE_ONLY), width_of(base, BALANCE_ONLY | finer)
    # Both balances together: what is known of the piece's weight adds up.
    both = 1.0 / np.sqrt(old**-2 + alone**-2)
    assert rows["finer_balance"].width_g == pytest.approx(both, rel=0.02)


def test_the_displaced_method_is_read_as_such(base):
    displaced = BALANCE_ONLY | {
        "weighing.method": "displaced",
        "weighing.submerged_g": None,
        "weighing.displaced_g": [141.2, 141.2],
        "weighing.line_extra_depth_mm": 0.0,
    }
    rows, _ = found(base, displaced | {"tests": [{"kind": "finer_balance", "u_g": 0.05}, {"kind": "repeats"}]})
    assert rows["finer_balance"].width_g < 0.3 * width_of(base, displaced)
    assert rows["repeats"].width_g < 0.7 * width_of(base, displaced)


# ---- against brute force


def test_a_tenth_of_the_proof_by_brute_force():
    """The rest of it is `tests.proofs.evidence`."""
    rows = list(compared(160, 20_000, TESTS[:2], n_seeds=4, n_blocks=8))
    assert len(rows) == 2 * 2 * 6
    assert {f"{row.where}: {row.figure}": round(row.off, 1) for row in rows if abs(row.off) > MOST_OFF} == {}


def test_brute_force_would_tell_a_test_that_is_taken_for_better_than_it_is():
    seller = SELLERS["a deal today"]
    _, rows = by_program(seller)
    blunter = {**TESTS[1], "u_frac": 2 * TESTS[1]["u_frac"]}
    width = nested(blunter, pool(7, 30_000), seller["other_bid"], 5200.0, 20, 8)[0]
    assert width > 1.1 * rows["fineness"][0]


# ---- what must always hold


@settings(STEADY, max_examples=15)
@given(requests())
def test_whatever_the_request_the_figures_hold_together(entries):
    try:
        told = evidence(read_request(entries), log2_draws=11)
    except (RequestRefused, ValuationError):
        return
    json.dumps(told.model_dump(mode="json"), allow_nan=False)
    nets = [row.net for row in told.tests if row.net is not None]
    assert nets == sorted(nets, reverse=True)
    assert all((row.reason == "") == (row.status == "ranked") for row in told.tests)
    for row in told.tests:
        if row.net is None:
            continue
        assert row.net == pytest.approx(row.gain_both - row.cost - row.damage, abs=1e-4)
        assert row.damage >= 0
        assert 0 <= row.turn_chance <= row.change_chance <= 1 and 0 <= row.deal_chance <= 1
        turned = 1 - row.deal_chance if told.today.deal else row.deal_chance
        assert row.premium_lost_frac > 0 or row.turn_chance == pytest.approx(turned, abs=1e-9)
        if row.decision_value is not None:
            scale = 1e-6 * abs(told.today.price) + 1e-4
            assert -scale <= row.decision_value
        assert not row.pays or row.net > 0


def test_the_house_gains_nothing_below_zero_and_no_more_than_by_certainty(base):
    for price in (4000.0, 7000.0, 7600.0, 9000.0):
        _, told = found(base, {"seller": {"other_bid": 6000.0, "asks": {"price": price}}}, log2_draws=12)
        assert told.today.price == pytest.approx(price)
        assert told.today.price_basis == "ask"
        for row in told.tests:
            assert 0.0 <= row.decision_value <= told.today.certainty_value


def test_a_better_measurement_narrows_more_and_is_worth_more_to_the_house(base):
    seller = {"seller": {"other_bid": 6000.0, "asks": {"price": 7600.0}}}
    widths, values = [], []
    for u in (0.1, 0.05, 0.02, 0.01, 0.005):
        rows, _ = found(base, seller | {"tests": [{"kind": "fineness", "u_frac": u}]})
        widths.append(rows["fineness"].width_g)
        values.append(rows["fineness"].decision_value)
    assert widths == sorted(widths, reverse=True)
    assert values == sorted(values)
    assert values[-1] > 3 * values[0] > 0


def test_a_test_so_blunt_that_it_tells_nothing_changes_nothing(base):
    rows, told = found(base, {"tests": [{"kind": "chip", "u_g_cm3": 1.0, "premium_lost_frac": 0.0}]})
    row = rows["chip"]
    assert row.width_g == pytest.approx(told.today.fine_gold_g.width, rel=1e-3)
    assert (row.change_chance, row.gain_both, row.decision_value) == (0.0, pytest.approx(0.0, abs=0.01), 0.0)
    assert row.net == pytest.approx(-row.cost, abs=0.01)


def test_a_test_too_fine_for_the_draws_is_not_ranked(base):
    rows, told = found(
        base, {"tests": [{"kind": "fineness", "u_frac": 1e-6, "cost": 0}, {"kind": "chip", "cost": 1e6}]}
    )
    assert rows["fineness"].status == "too_fine"
    assert rows["fineness"].effective_draws < 200
    assert (rows["fineness"].net, rows["fineness"].width_g, rows["fineness"].pays) == (None, None, False)
    assert [row.kind for row in told.tests] == ["chip", "fineness"]


def test_what_is_entered_as_known_cannot_be_learnt(base):
    rows, _ = found(
        base,
        {
            "weighing.water_temperature_degc": 20.0,
            "gold.fineness_frac": 0.85,
            "weighing.repeatability_g": 0.0,
            "weighing.dry_g": [412.6],
            "weighing.submerged_g": [271.35],
        },
    )
    for kind in ("water_temperature", "fineness", "repeats"):
        assert rows[kind].status == "nothing_to_learn"
        assert "known" in rows[kind].reason


def test_the_damage_is_what_the_sale_loses(base):
    """All of the premium lost leaves the melt value: the same as a quote with no premium."""
    rows, _ = found(base, {"tests": [{"kind": "chip", "premium_lost_frac": 1.0}]})
    whole, bare = (
        next(row.mean for row in quote(read_request(entries)).routes if row.route == "intact")
        for entries in (base, changed(base, {"collector.premium_frac": 0.0}))
    )
    assert whole - bare - 1e-6 <= rows["chip"].damage <= 1.3 * (whole - bare)
    light, _ = found(base, {"tests": [{"kind": "chip", "premium_lost_frac": 0.02}]})
    assert light["chip"].damage == pytest.approx(0.02 * (whole - bare), rel=1e-6)


def test_a_harmful_test_is_not_first_unless_it_pays_with_its_harm_counted(base):
    one = changed(base, {"seller.other_bid": 5400.0})
    tests = [
        {"kind": "fineness", "cost": 10.0, "premium_lost_frac": lost, "u_frac": 0.012, "needs_consent": True}
        for lost in (0.0, 0.5)
    ]
    told = evidence(read_request({**one, "tests": tests}))
    kind, harmful = told.tests
    assert (kind.premium_lost_frac, harmful.premium_lost_frac) == (0.0, 0.5)
    assert kind.pays and kind.net > 0 and kind.damage == 0
    assert harmful.damage > 500 and not harmful.pays


def test_a_premium_that_nobody_pays_cannot_be_lost(base):
    rows, _ = found(base, {"collector.premium_frac": -0.2, "tests": [{"kind": "chip", "premium_lost_frac": 1.0}]})
    assert rows["chip"].damage == 0.0


# ---- what it says


@pytest.mark.parametrize(
    ("name", "verdict"),
    [
        ("chip-pays", "pays"),
        ("no-test-pays", "none_pays"),
        ("below-detection", "not_priced"),
        ("claim-only-ask", "weigh_first"),
        ("measured-elsewhere", "none_pays"),
    ],
)
def test_scenarios(name, verdict):
    told = evidence(scenario(name).request())
    assert told.verdict == verdict
    assert [row.kind for row in told.tests if row.pays] == (["chip"] if verdict == "pays" else [])


def test_a_chip_of_the_doubtful_rock_comes_out_as_brute_force_has_it():
    """Figures by hand from the scenario's own numbers: doubt of the rock alone makes nearly all of the range."""
    told = evidence(scenario("chip-pays").request())
    chip = told.tests[0]
    assert chip.kind == "chip"
    # d(fine)/d(rock) is about 101.3 / (1 - 2.75 / 17.08) x 0.847 = 102 g per g/cm3; 0.01 g/cm3 and voids, alloy and
    # fineness of 0.5 g leave 2 x 1.96 x sqrt((102 x 0.01)^2 + 0.6^2) = 4.6 g.
    assert chip.width_g == pytest.approx(4.6, rel=0.06)
    assert 0.6 < chip.change_chance < 0.8
    assert chip.gain_house > 0 and chip.gain_seller > 0


def test_without_tests_one_of_every_kind_is_weighed_and_every_figure_is_an_assumption(base):
    _, told = found(base)
    assert {row.kind for row in told.tests} == set(USUAL)
    names = {row.name for row in told.assumptions}
    assert {"Bare chip: cost", "Bare chip: damage", "Finer balance: standard uncertainty"} <= names
    assert all("assumption" in row.source for row in told.assumptions)
    entered = [
        {"kind": "chip", "u_g_cm3": 0.01, "minutes": 1, "cost": 1, "premium_lost_frac": 0.1, "needs_consent": False}
    ]
    rows, told = found(base, {"tests": entered})
    assert told.assumptions == ()
    assert not rows["chip"].needs_consent


def test_a_chip_tells_the_rock_as_well_as_its_balance_and_its_mass_allow(base):
    """By hand: steps of 0.1 g, three readings: u² = d² / 6 + s² / 3 + l² / 3, all 0.1 g; rock 2.63, chip of 12 cm³."""
    coarse = {f"weighing.{name}_g": 0.1 for name in ("readability", "repeatability", "linearity")}
    rows, _ = found(base, coarse | {"tests": [{"kind": "chip"}]}, log2_draws=11)
    reading = 0.1 * np.sqrt(1 / 6 + 1 / 3 + 1 / 3)
    u = np.hypot(reading / 12 * np.hypot(2.63, 1.63), 0.005)
    assert rows["chip"].u == pytest.approx(u, rel=0.02)
    assert "steps of 0.1 g" in rows["chip"].precision and "0.01 g" in rows["chip"].precision
    assert "narrower already" in rows["chip"].precision
    entered, _ = found(base, coarse | {"tests": [{"kind": "chip", "u_g_cm3": 0.004}]}, log2_draws=11)
    assert entered["chip"].precision == ""


def test_usual_costs_are_alike_in_any_currency(base):
    chip = {"tests": [{"kind": "chip"}]}
    dollars, _ = found(base, chip)
    yen, _ = found(base, chip | {"spot.gold": 410000.0, "spot.silver": 4800.0, "spot.currency": "JPY", "seller": {}})
    assert yen["chip"].cost == pytest.approx(100 * dollars["chip"].cost)


def test_every_test_has_its_caution_and_a_chip_and_x_rays_theirs(base):
    rows, _ = found(base, {"tests": [{"kind": kind} for kind in USUAL]}, log2_draws=12)
    told = {kind: " ".join(row.safety) for kind, row in rows.items()}
    assert all(told.values())
    assert "silica" in told["chip"] and "eye protection" in told["chip"]
    assert "licence" in told["fineness"]
    chip = {"tests": [{"kind": "chip", "safety": "Our mason."}]}
    own = evidence(read_request(changed(base, chip)), log2_draws=12).tests[0]
    assert own.safety[-1] == "Our mason."
    assert own.needs_consent


def test_a_quote_does_not_depend_on_its_tests(base):
    plain = quote(read_request(base))
    assert quote(read_request({**base, "tests": [{"kind": "chip", "cost": 1e6}]})) == plain


def test_the_same_request_gives_the_same_figures(base):
    request = read_request(base)
    assert evidence(request, log2_draws=12) == evidence(request, log2_draws=12)


@pytest.mark.parametrize(
    ("test", "field", "words"),
    [
        ({"kind": "sniff"}, "tests.0.kind", "must be one of"),
        ({"kind": "chip", "u_frac": 0.1}, "tests.0.u_frac", "u_g_cm3"),
        ({"kind": "fineness", "u_frac": 0}, "tests.0.u_frac", "above 0"),
        ({"kind": "repeats", "readings": 2.5}, "tests.0.readings", "whole number"),
        ({"kind": "repeats", "readings": 99}, "tests.0.readings", "at most 20"),
        ({"kind": "chip", "cost": -1}, "tests.0.cost", "at least 0"),
        ({"kind": "chip", "premium_lost_frac": 1.5}, "tests.0.premium_lost_frac", "at most 1"),
        ({"kind": "chip", "cots": 1}, "tests.0.cots", "did you mean cost"),
    ],
)
def test_each_refusal_names_its_field(problems, test, field, words):
    assert words in problems({"tests": [test]})[field].message
