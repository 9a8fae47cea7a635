"""Lots: many pieces valued together, against single quotes, laws of variances and a published example."""

import math

import numpy as np
import pytest

from scenarios import all_scenarios
from tests.valuation.strategies import TAKEN_OUT, changed, good
from valuation import RequestRefused, lot_quote, numerical_error, quote, read_lot, read_request
from valuation.draws import COLUMNS
from valuation.lot_draws import COMMON_COLUMNS, N_OWN_COLUMNS, OWN_COLUMNS, SHARED_COLUMNS, LotDraws
from valuation.lot_result import LotQuote, PieceQuote
from valuation.lots import LotStopped
from valuation.result import Quote

READINGS = ("dry_g", "submerged_g", "displaced_g")
OF_A_PIECE = ("title", "specimen")


def as_lot(entries, pieces=None):
    """Entries of one piece's request as a lot's: of that piece alone, or of `pieces` under its terms."""
    own = {name: value for name, value in entries.items() if name not in (*OF_A_PIECE, "said", "tests")}
    seller = {name: value for name, value in own.pop("seller", {}).items() if name not in ("asks", "claim")}
    weighing = dict(own.pop("weighing", None) or {})
    readings = {name: weighing.pop(name) for name in READINGS if name in weighing}
    gold = dict(own.pop("gold", {}))
    alone = {"title": entries.get("title", "")}
    if readings:
        alone["weighing"] = readings
    if "measured" in gold:
        alone["gold"] = {"measured": gold.pop("measured")}
    lot = {**own, "title": entries.get("title", ""), "gold": gold, "seller": seller, "pieces": pieces or [alone]}
    return {**lot, "weighing": weighing} if weighing else lot


def scaled(factor):
    """A piece of the same stuff as the good one, so many times as large."""
    return {"weighing": {"dry_g": [412.6 * factor], "submerged_g": [271.4 * factor]}}


def exact_weighing(entries):
    """The entries with a balance, water and piece that leave no doubt of their own."""
    return changed(
        entries,
        {
            "weighing.readability_g": 1e-7,
            "weighing.repeatability_g": 0.0,
            "weighing.linearity_g": 0.0,
            "weighing.span_tolerance_frac": 0.0,
            "weighing.water_temperature_degc": 20.0,
            "weighing.line_diameter_mm": 0.0,
            "weighing.trapped_air_frac": 0.0,
            "rock.void_frac": 0.0,
        },
    )


WHOLE = [s for s in all_scenarios() if s.request().weighing is not None or s.request().gold.measured is not None]


@pytest.mark.parametrize("scenario", WHOLE, ids=lambda s: s.name)
def test_a_lot_of_one_equals_the_piece_to_the_last_digit(scenario):
    entries = dict(scenario.entries)
    entries["seller"] = {k: v for k, v in entries.get("seller", {}).items() if k not in ("asks", "claim")}
    alone = quote(read_request({k: v for k, v in entries.items() if k != "said"}))
    lot = lot_quote(read_lot(as_lot(entries)))
    same = set(Quote.model_fields) & set(LotQuote.model_fields) - {"cautions", "assumptions"}
    assert {name: getattr(lot, name) for name in same} == {name: getattr(alone, name) for name in same}
    (piece,) = lot.pieces
    same = set(Quote.model_fields) & set(PieceQuote.model_fields) - {"title", "cautions"}
    assert {name: getattr(piece, name) for name in same} == {name: getattr(alone, name) for name in same}
    assert {row.field for row in lot.assumptions} == {row.field for row in alone.assumptions}


def test_every_column_is_either_own_or_shared_or_common():
    named = [*OWN_COLUMNS, *COMMON_COLUMNS, *(c for columns in SHARED_COLUMNS.values() for c in columns)]
    assert sorted(named) == sorted(COLUMNS)
    assert len(OWN_COLUMNS) <= N_OWN_COLUMNS


def test_if_nothing_is_shared_variances_add():
    entries = changed(exact_weighing(good()), {"weighing.readability_g": 0.05, "weighing.repeatability_g": 0.5})
    pieces = [{**scaled(f), "source": f"place {f}"} for f in (1.0, 0.8, 1.3, 0.6, 1.1)]
    lot = lot_quote(read_lot(as_lot(entries, pieces)))
    sds = [piece.fine_gold_g.sd for piece in lot.pieces]
    assert lot.kept_frac > 0.999
    assert lot.fine_gold_g.sd == pytest.approx(math.hypot(*sds), rel=0.02)
    assert lot.fine_gold_g.sd < 0.6 * sum(sds)


def test_if_everything_is_shared_standard_deviations_add():
    pieces = [scaled(factor) for factor in (1.0, 0.8, 1.3, 0.6, 1.1)]
    lot = lot_quote(read_lot(as_lot(exact_weighing(good()), pieces)))
    sds = [piece.fine_gold_g.sd for piece in lot.pieces]
    assert lot.fine_gold_g.sd == pytest.approx(sum(sds), rel=1e-5)
    assert lot.doubt.all_shared_sd.fine_gold_g == pytest.approx(sum(sds), rel=1e-12)
    assert lot.doubt.nothing_shared.fine_gold_g.sd == pytest.approx(math.hypot(*sds), rel=1e-12)


def test_the_same_source_and_another_rock_share_nothing_of_the_rock():
    pieces = [scaled(1.0), {**scaled(1.0), "rock": {"density_g_cm3": {"low": 2.60, "high": 2.66}}}]
    sharing = {row.what: row for row in lot_quote(read_lot(as_lot(good(), pieces))).sharing}
    assert (sharing["rock"].statements, sharing["rock"].most_pieces) == (2, 1)
    assert (sharing["metal"].statements, sharing["metal"].most_pieces) == (1, 2)


def ten_equal(sources):
    """Ten measured pieces of exactly 10 g native gold, whose one doubt is their fineness."""
    entries = {
        "quoted_at": "2026-03-14T10:24:00-07:00",
        "gold": {"fineness_frac": {"value": 0.85, "sd": 0.001}},
        "spot": {"gold": 4100.0},
        "pieces": [{"source": source, "gold": {"measured": {"basis": "native", "grams": 10.0}}} for source in sources],
    }
    return lot_quote(read_lot(entries))


def test_ten_that_were_compared_with_one_standard_and_ten_with_ten():
    """JCGM 100:2008, 5.2.2, example: ten resistors of 1000 ohm, each known to 100 mohm from one and the same standard,
    make 10 kohm known to 1 ohm; 0.32 ohm would be wrong, as they are not independent. Here ohms are hundredths of
    grams: ten pieces of 10 g whose fineness is known to 0.001 from one source, and from ten."""
    one = ten_equal(["one vein"] * 10)
    assert one.fine_gold_g.sd == pytest.approx(10 * 0.01, rel=1e-3)
    assert one.doubt.nothing_shared.fine_gold_g.sd == pytest.approx(0.0316, rel=2e-3)
    ten = ten_equal([f"vein {i}" for i in range(10)])
    assert ten.fine_gold_g.sd == pytest.approx(0.0316, rel=0.02)


def test_the_unshared_total_of_many_is_nearly_normal():
    """Central limit theorem: the 95 % range of a sum of ten independent doubts spans 2 x 1.96 standard deviations."""
    unshared = ten_equal(["one vein"] * 10).doubt.nothing_shared.fine_gold_g
    assert unshared.high - unshared.low == pytest.approx(2 * 1.96 * unshared.sd, rel=0.03)


def test_the_own_draws_of_two_pieces_are_independent():
    """Of n independent pairs the correlation has standard deviation 1/sqrt(n) (Fisher 1915; from memory). Two scrambles
    of one Sobol' sequence in its own order fail this by far: their first digits both follow the number of the draw."""
    draws = LotDraws.of(read_lot(as_lot(good(), [scaled(1.0)] * 4)), 20260314, 14)
    rows = np.array([draws.piece(i).u(column) for i in range(4) for column in OWN_COLUMNS])
    halves = (rows > 0.5).astype(float)
    for table in (rows, halves):
        off = np.corrcoef(table)[~np.eye(len(rows), dtype=bool)]
        assert np.abs(off).max() < 5.5 / math.sqrt(1 << 14)


def test_further_statements_are_drawn_evenly_and_by_themselves():
    pieces = [{**scaled(1.0), "source": f"place {i}"} for i in range(3)]
    draws = LotDraws.of(read_lot(as_lot(good(), pieces)), 20260314, 12)
    rows = [draws.piece(i).u("host_density") for i in range(3)]
    for row in rows:
        assert np.allclose(np.sort(row), (np.arange(4096) + 0.5) / 4096, atol=1 / 4096)
    off = np.corrcoef(rows)[~np.eye(3, dtype=bool)]
    assert np.abs(off).max() < 4.5 / 64
    assert np.array_equal(rows[1], draws.piece(1).u("host_density"))


def test_another_order_gives_the_same_within_the_numerical_error():
    entries = good()
    factors = (1.0, 0.7, 1.4, 0.9)
    pieces = [scaled(factor) for factor in factors]
    forth, back = (lot_quote(read_lot(as_lot(entries, some))) for some in (pieces, pieces[::-1]))
    assert forth != back
    error = numerical_error(read_request(entries), scrambles=8)
    for part in ("mean", "median", "low", "high"):
        reach = 6 * error[f"fine_gold_g.{part}"] * sum(factors)
        assert getattr(forth.fine_gold_g, part) == pytest.approx(getattr(back.fine_gold_g, part), abs=reach)


def test_charges_by_the_lot_count_once_and_the_tier_is_that_of_the_whole():
    """By hand: two pieces of 93.3104304 g (3 ozt) fine, all recovered, 5 ozt reach 97 %, of 4000 an ounce:
    6 x 0.97 x 4000 = 23280, less 100 assay, 30 lot, 45 freight; each alone 3 x 0.95 x 4000 = 11400 less the same."""
    entries = {
        "quoted_at": "2026-03-14T10:24:00-07:00",
        "spot": {"gold": 4000.0, "gold_volatility_per_year": 0.0},
        "refiner": {
            "recovery_frac": 1.0,
            "payable": [{"from_ozt": 0.0, "frac": 0.95}, {"from_ozt": 5.0, "frac": 0.97}],
            "assay_fee": 100.0,
            "lot_fee": 30.0,
            "freight": 45.0,
            "settlement_days": 0,
        },
        "buyer": {"handling_cost": 20.0, "margin_frac": 0.0},
        "pieces": [{"gold": {"measured": {"basis": "fine", "grams": 93.3104304}}}] * 2,
    }
    lot = lot_quote(read_lot(entries))
    (refine,) = lot.routes
    assert refine.mean == pytest.approx(23280 - 175, abs=1e-6)
    assert [piece.routes[0].mean for piece in lot.pieces] == pytest.approx([11400 - 175] * 2, abs=1e-6)
    assert lot.together_gains == pytest.approx(23105 - 2 * 11225, abs=1e-6)
    assert lot.buyer_ceiling == pytest.approx(23105 - 2 * 20, abs=1e-6)
    assert {row.line: row.amount for row in lot.settlement}["total"] == "23105.00"
    codes = {term.code for term in lot.terms}
    assert codes == {"refined_together", "handling_each", "seller_whole"}


def certain(**collector):
    """Two pieces of exactly 1 ozt each, under terms without any doubt, one for sale and one not."""
    piece = {"gold": {"measured": {"basis": "fine", "grams": 31.1034768}}}
    return {
        "quoted_at": "2026-03-14T10:24:00-07:00",
        "spot": {"gold": 4000.0, "gold_volatility_per_year": 0.0},
        "refiner": {"recovery_frac": 1.0, "payable": 0.95, "assay_fee": 100.0, "settlement_days": 0},
        "buyer": {"capital_rate_per_year": 0.0},
        "pieces": [{**piece, "collector": {"months_to_sale": 1.0, "selling_cost_frac": 0.1, **collector}}, piece],
    }


def test_what_is_for_sale_is_sold_and_the_rest_refined_at_once():
    """By hand: 4000 x 1.5 less a tenth, and 0.95 x 4000 less the assay."""
    lot = lot_quote(read_lot(certain(premium_frac=0.5, sale_chance_frac=1.0)))
    routes = {route.route: route for route in lot.routes}
    assert routes["intact"].mean == pytest.approx(6000 * 0.9 + 3800 - 100, abs=1e-6)
    assert routes["refine"].mean == pytest.approx(2 * 3800 - 100, abs=1e-6)


def test_what_does_not_sell_is_refined_with_the_others_that_do_not_sell():
    """By hand: nothing sells, so both are sent in together: one assay for the two."""
    entries = certain(premium_frac=0.5, sale_chance_frac=0.0)
    entries["pieces"] = [entries["pieces"][0]] * 2
    lot = lot_quote(read_lot(entries))
    routes = {route.route: route for route in lot.routes}
    assert routes["intact"].mean == pytest.approx(2 * 3800 - 100, abs=1e-6)


def test_sales_of_pieces_are_independent_of_each_other():
    """Two pieces that sell or bring nothing: both fail with the square of the chance that one does."""
    entries = certain(price=1000.0, sale_chance_frac=0.6, selling_cost_frac=0.0)
    del entries["refiner"]
    entries["pieces"] = [entries["pieces"][0]] * 2
    (intact,) = lot_quote(read_lot(entries)).routes
    assert intact.mean == pytest.approx(2 * 600, abs=5)
    assert intact.sd == pytest.approx(1000 * math.sqrt(2 * 0.6 * 0.4), rel=0.02)


def test_a_premium_that_is_stated_once_is_drawn_once():
    collector = {"premium_frac": {"low": 0.0, "high": 1.0}, "sale_chance_frac": 1.0, "months_to_sale": 1.0}
    entries = certain(**collector)
    entries["pieces"] = [entries["pieces"][0]] * 2
    lot = lot_quote(read_lot(entries))
    intact = {route.route: route for route in lot.routes}["intact"]
    alone = [{route.route: route for route in piece.routes}["intact"].sd for piece in lot.pieces]
    assert intact.sd == pytest.approx(sum(alone), rel=1e-9)


def test_a_piece_without_seen_gold_counts_in_no_total():
    barren = {"weighing": {"dry_g": [412.6], "submerged_g": [256.0]}}
    lot = lot_quote(read_lot(as_lot(good(), [scaled(1.0), barren])))
    assert [piece.seen for piece in lot.pieces] == [True, False]
    assert (lot.pieces_counted, lot.pieces_not_seen) == (1, 1)
    assert lot.fine_gold_g == lot.pieces[0].fine_gold_g
    assert [piece.melt_share_frac for piece in lot.pieces] == [1.0, None]
    assert lot.mass_g.mean == pytest.approx(sum(piece.mass_g.mean for piece in lot.pieces))
    assert "pieces_not_seen" in {caution.code for caution in lot.cautions}
    unseen = lot_quote(read_lot(as_lot(good(), [barren, barren])))
    assert unseen.verdict == "not_by_weight"
    assert unseen.fair is None


def test_pieces_that_contradict_each_other_are_judged_one_by_one():
    """Three pieces of three places, each possible in a tenth of the draws: in hardly any draw all of them are."""
    entries = changed(exact_weighing(good()), {"rock.density_g_cm3": {"low": 2.5, "high": 2.8}, "collector": TAKEN_OUT})
    light = {"weighing": {"dry_g": [253.0], "submerged_g": [153.0]}}
    lot = lot_quote(read_lot(as_lot(entries, [light, {**light, "source": "b"}, {**light, "source": "c"}])))
    assert lot.conditioning == "by_piece"
    assert lot.kept_frac < 0.05
    assert "conditioned_by_piece" in {caution.code for caution in lot.cautions}
    alone = quote(read_request(changed(entries, {f"weighing.{k}": v for k, v in light["weighing"].items()})))
    for piece in lot.pieces:
        for part in ("mean", "sd", "median", "low", "high"):
            expected = pytest.approx(getattr(alone.fine_gold_g, part), rel=0.02, abs=0.02)
            assert getattr(piece.fine_gold_g, part) == expected


def test_progress_is_told_step_by_step_and_can_stop_the_lot():
    told = []
    request = read_lot(as_lot(good(), [scaled(1.0), scaled(0.9)]))
    lot_quote(request, lambda done, total: told.append((done, total)), log2_draws=8)
    assert told == [(1, 4), (2, 4), (3, 4), (4, 4)]
    told.clear()
    with pytest.raises(LotStopped):
        lot_quote(request, lambda done, total: told.append(done) or done < 3, log2_draws=8)
    assert told == [1, 2, 3]

    def raising(done, total):
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        lot_quote(request, raising, log2_draws=8)


def test_above_two_hundred_pieces_fewer_draws_are_taken_and_it_is_said():
    piece = {"gold": {"measured": {"basis": "fine", "grams": 1.0}}}
    entries = {**certain(premium_frac=0.1), "pieces": [piece] * 201}
    lot = lot_quote(read_lot(entries))
    assert lot.draws == 4096
    assert "fewer_draws" in {caution.code for caution in lot.cautions}
    assert lot_quote(read_lot({**entries, "pieces": [piece] * 200})).draws == 16384


def refused(entries):
    """Problems by field that refuse a lot."""
    try:
        lot_quote(read_lot(entries))
    except RequestRefused as refusal:
        return {problem.field: problem for problem in refusal.problems}
    return pytest.fail("not refused")


def test_every_problem_of_every_piece_is_told_at_once_beside_its_field():
    pieces = [scaled(1.0), {"weighing": {"dry_g": ["41x"], "submerged_g": [2.0]}}, {"weigh": 1}]
    pieces += [{"weighing": {"dry_g": [10.0], "submerged_g": [20.0]}}]
    found = refused(changed(as_lot(good(), pieces), {"spot": {"gold": -3}, "rock.kind": "nonesuch"}))
    assert found["pieces.1.weighing.dry_g.0"].value == "41x"
    assert "swapped" in found["pieces.3.weighing.submerged_g"].message
    assert "weighing" in found["pieces.2.weigh"].message
    assert "spot.gold" in found


def test_impossible_pieces_are_all_told_at_once():
    light = {"weighing": {"dry_g": [100.0], "submerged_g": [55.0]}}
    dense = {"weighing": {"dry_g": [100.0], "submerged_g": [95.5]}}
    assert set(refused(as_lot(good(), [scaled(1.0), light, dense]))) == {
        "pieces.1.rock",
        "pieces.2.weighing.submerged_g",
    }


def test_what_all_share_is_refused_once():
    entries = changed(as_lot(good(), [scaled(1.0)] * 3), {"weighing.readability_g": -1.0})
    assert list(refused(entries)) == ["weighing.readability_g"]
    entries = changed(as_lot(good(), [scaled(1.0)] * 3), {"refiner.silver_payable_frac": 0.5, "spot.silver": None})
    assert list(refused(entries)) == ["spot.silver"]
    entries = as_lot(good(), [scaled(1.0)] * 3)
    del entries["rock"]
    assert list(refused(entries)) == ["rock"]


def test_what_none_of_the_weighings_states_is_asked_for_once():
    entries = changed(as_lot(good(), [scaled(1.0)] * 3), {"weighing.readability_g": TAKEN_OUT})
    assert list(refused(entries)) == ["weighing.readability_g"]


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("weighing.dry_g", 3.0),
        ("gold.measured", {"basis": "fine", "grams": 3.0}),
        ("seller.asks", {"price": 3.0}),
        ("seller.claim", {"mass": 3.0}),
    ],
)
def test_what_belongs_to_one_piece_is_refused_for_all(path, value):
    entries = changed(as_lot(good(), [scaled(1.0)]), {path: value})
    assert path in refused(entries)


def test_no_pieces_is_refused():
    assert "pieces" in refused({**as_lot(good()), "pieces": []})
    assert "pieces" in refused({**as_lot(good()), "pieces": "none"})
    assert "pieces.0" in refused({**as_lot(good()), "pieces": [3]})
