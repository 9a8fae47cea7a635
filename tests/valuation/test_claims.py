"""A seller's claim: what would make it true, how likely it is, and what of it is silver."""

import itertools
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.valuation.strategies import STEADY, TAKEN_OUT, changed, good
from valuation import QuoteRequest, quote
from valuation.words import chance_words, grams_words

G_PER_OZT = 31.1034768


def claiming(grams, basis="unknown", **changes):
    return {"seller.claim": {"mass": grams, "unit": "g", "basis": basis}, **changes}


def reading(claim, basis):
    (found,) = [row for row in claim.readings if row.basis == basis]
    return found


class TestWhatWouldMakeItTrue:
    @pytest.mark.parametrize("grams", [38.0, 41.0, 44.0, 46.0])
    def test_requoted_with_the_fineness_it_is_true(self, quoted, grams):
        needed = reading(quoted(claiming(grams)).claim, "fine").fineness_needed_frac
        assert quoted({"gold.fineness_frac": needed}).fine_gold_g.median == pytest.approx(grams, rel=2e-3)

    def test_fineness_allows_for_finer_gold_being_denser(self, quoted):
        # G = (M - rho V) / (1 - rho / rho_n): the same readings hold less of finer gold, so the ratio falls short.
        q = quoted(claiming(46.0))
        assert reading(q.claim, "fine").fineness_needed_frac > 1.005 * 46.0 / q.native_gold_g.median

    @pytest.mark.parametrize(("grams", "basis"), [*itertools.product([20.0, 40.0, 55.0], ["native", "fine"])])
    def test_requoted_with_the_rock_it_is_true(self, quoted, grams, basis):
        needed = reading(quoted(claiming(grams, basis)).claim, basis).host_needed_g_cm3
        again = quoted({"rock.density_g_cm3": needed})
        median = (again.native_gold_g if basis == "native" else again.fine_gold_g).median
        assert median == pytest.approx(grams, rel=4e-3)

    def test_requoted_with_the_rock_of_a_chip_weighing(self, quoted):
        chip = {"rock": {"chip": {"dry_g": [38.42], "submerged_g": [23.85]}}}
        needed = reading(quoted(claiming(30.0, "native", **chip)).claim, "native").host_needed_g_cm3
        # A chip holds its pores, so the rock that replaces it has no others.
        again = quoted({"rock": {"density_g_cm3": needed, "void_frac": 0.0}})
        assert again.native_gold_g.median == pytest.approx(30.0, rel=4e-3)

    def test_whether_such_a_rock_is_in_the_range(self, quoted):
        assert reading(quoted(claiming(49.0, "native")).claim, "native").host_within
        assert not reading(quoted(claiming(59.0, "native")).claim, "native").host_within

    def test_no_fineness_makes_more_than_the_native_gold(self, quoted):
        assert reading(quoted(claiming(55.0)).claim, "fine").fineness_needed_frac is None

    def test_no_rock_makes_more_than_the_piece(self, quoted):
        assert reading(quoted(claiming(500.0, "native")).claim, "native").host_needed_g_cm3 is None

    @pytest.mark.parametrize("submerged", [375.0, 385.0])
    def test_no_rock_is_as_dense_as_metal(self, quoted, submerged):
        changes = {"weighing.submerged_g": [submerged], **claiming(1.0, "native")}
        assert reading(quoted(changes, log2_draws=10).claim, "native").host_needed_g_cm3 is None

    def test_fine_gold_measured_as_such_is_so_at_any_fineness(self, quoted):
        measured = {"weighing": TAKEN_OUT, "rock": TAKEN_OUT}
        measured["gold.measured"] = {"basis": "fine", "grams": {"low": 38.0, "high": 42.0}, "mass_g": 412.6}
        found = reading(quoted(claiming(42.0, "fine", **measured)).claim, "fine")
        assert (found.fineness_needed_frac, found.host_needed_g_cm3, found.host_within) == (None, None, None)

    def test_native_gold_measured_needs_the_plain_ratio(self, quoted):
        measured = {"weighing": TAKEN_OUT, "rock": TAKEN_OUT}
        measured["gold.measured"] = {"basis": "native", "grams": 48.0, "mass_g": 412.6}
        needed = reading(quoted(claiming(42.0, "fine", **measured)).claim, "fine").fineness_needed_frac
        assert needed == pytest.approx(42.0 / 48.0)
        again = quoted({**measured, "gold.fineness_frac": needed})
        assert again.fine_gold_g.median == pytest.approx(42.0)


class TestSilverCountedAsGold:
    def test_in_grams_and_in_money(self, quoted):
        q = quoted(claiming(55.0))
        native, fine = q.native_gold_g.median, q.fine_gold_g.median
        claim = q.claim
        assert claim.difference_g == pytest.approx(55.0 - fine)
        assert claim.silver_called_gold_g == pytest.approx(native - fine)
        assert claim.unexplained_g == pytest.approx(55.0 - native)
        per_g = 4100.0 / G_PER_OZT
        assert claim.silver_called_gold_money == pytest.approx((native - fine) * per_g)
        assert claim.unexplained_money == pytest.approx((55.0 - native) * per_g)

    def test_a_true_weight_of_native_gold_is_all_silver(self, quoted):
        q = quoted(claiming(46.0))
        assert q.fine_gold_g.median < 46.0 < q.native_gold_g.median
        assert q.claim.silver_called_gold_g == pytest.approx(46.0 - q.fine_gold_g.median)
        assert q.claim.unexplained_g == pytest.approx(0.0, abs=1e-12)

    def test_none_where_fine_gold_was_meant(self, quoted):
        claim = quoted(claiming(46.0, "fine")).claim
        assert claim.silver_called_gold_g == claim.silver_called_gold_money == 0.0
        assert claim.unexplained_g == claim.difference_g > 0.0

    def test_none_of_a_modest_claim(self, quoted):
        claim = quoted(claiming(30.0)).claim
        assert claim.silver_called_gold_g == 0.0
        assert claim.unexplained_g == claim.difference_g < 0.0

    @given(st.floats(0.1, 400.0), st.sampled_from(["native", "fine", "unknown"]))
    @settings(STEADY, max_examples=60)
    def test_the_parts_add_up(self, grams, basis):
        entered = changed(good(), claiming(grams, basis))
        q = quote(QuoteRequest.model_validate(entered), log2_draws=8)
        claim = q.claim
        assert claim.silver_called_gold_g + claim.unexplained_g == pytest.approx(claim.difference_g)
        assert 0.0 <= claim.silver_called_gold_g <= q.native_gold_g.median - q.fine_gold_g.median + 1e-9
        for row in claim.readings:
            assert 0.0 <= row.chance <= 1.0
        assert not re.search(r"\de[+-]?\d|nan|inf\b", claim.message)


class TestMessages:
    def test_likely_as_native_and_not_as_fine_gold(self, quoted):
        claim = quoted(claiming(46.0)).claim
        assert reading(claim, "native").chance > 0.9 > 0.05 > reading(claim, "fine").chance
        assert "if native gold was meant and" in claim.message
        for basis in ("native", "fine"):
            assert f"{chance_words(reading(claim, basis).chance)} if {basis} gold was meant" in claim.message
        assert "silver and copper of native gold counted as gold" in claim.message
        assert "is more than the median" not in claim.message

    def test_more_than_even_the_native_gold(self, quoted):
        q = quoted(claiming(59.0))
        assert "is more than the median of 48.56 g native gold" in q.claim.message

    def test_fine_gold_meant_blames_no_silver(self, quoted):
        message = quoted(claiming(45.0, "fine")).claim.message
        assert "silver" not in message
        assert "native" not in message
        assert "The chance that it is true is" in message

    def test_a_modest_claim(self, quoted):
        message = quoted(claiming(30.0)).claim.message
        assert "is not above the median of 40.84 g fine gold" in message
        assert "over 99% if fine gold was meant" in message

    def test_no_gold_seen_by_weight(self, quoted):
        q = quoted(claiming(60.0, **{"weighing.submerged_g": [255.7]}))
        assert not q.detection.seen
        assert q.claim.message.startswith("The weighing does not see gold, so nothing bears out the claim of 60.00 g.")
        assert "under 1%" in q.claim.message

    def test_kilograms_are_told_without_an_exponent(self, quoted):
        measured = {"weighing": TAKEN_OUT, "rock": TAKEN_OUT}
        measured["gold.measured"] = {"basis": "native", "grams": 40_000.0, "mass_g": 90_000.0}
        message = quoted(claiming(50_000.0, **measured), log2_draws=8).claim.message
        assert "50,000 g" in message
        assert "e+" not in message

    @pytest.mark.parametrize(
        ("grams", "digits", "words"),
        [
            (0.0, 3, "0 g"),
            (59.0966, 4, "59.10 g"),
            (7.7203, 3, "7.72 g"),
            (123.4, 2, "123 g"),
            (0.00123, 2, "0.0012 g"),
        ],
    )
    def test_grams_in_words(self, grams, digits, words):
        assert grams_words(grams, digits) == words

    @pytest.mark.parametrize(
        ("chance", "words"), [(0.0, "under 1%"), (0.004, "under 1%"), (0.01, "1%"), (0.5, "50%"), (0.999, "over 99%")]
    )
    def test_chances_in_words(self, chance, words):
        assert chance_words(chance) == words


class TestChance:
    def test_is_that_of_the_drawn_gold(self, quoted):
        q = quoted(claiming(40.0))
        at_median = quoted(claiming(q.native_gold_g.median, "native")).claim
        assert reading(at_median, "native").chance == pytest.approx(0.5, abs=1e-3)
        at_low = quoted(claiming(q.fine_gold_g.low, "fine")).claim
        assert reading(at_low, "fine").chance == pytest.approx(0.975, abs=1e-3)

    @given(st.floats(1.0, 100.0), st.floats(1.0, 100.0))
    @settings(STEADY, max_examples=25)
    def test_a_larger_claim_is_never_likelier(self, a, b):
        chances = []
        for grams in sorted((a, b)):
            q = quote(QuoteRequest.model_validate(changed(good(), claiming(grams))), log2_draws=9)
            chances.append([row.chance for row in q.claim.readings])
        assert all(later <= earlier for earlier, later in zip(*chances, strict=True))


ALONE = {"weighing": TAKEN_OUT, "rock": TAKEN_OUT}


class TestClaimAlone:
    """Nothing weighed: the claim itself, doubted by its basis."""

    def alone(self, quoted, basis, **more):
        claim = {"mass": 1.0, "basis": basis, **more}
        return quoted({**ALONE, "seller.claim": claim, "seller.other_bid": TAKEN_OUT})

    def test_medians_by_basis(self, quoted):
        # Triangular 0.5, 0.9, 1.05: median 0.5 + sqrt(0.5 x 0.55 x 0.4) = 0.8317 of the claim.
        share = 0.5 + (0.5 * 0.55 * 0.4) ** 0.5
        native, fine = self.alone(quoted, "native"), self.alone(quoted, "fine")
        assert native.native_gold_g.median == pytest.approx(share * G_PER_OZT, rel=1e-3)
        assert fine.fine_gold_g.median == pytest.approx(share * G_PER_OZT, rel=1e-3)
        assert native.fine_gold_g.median < fine.fine_gold_g.median

    def test_an_unknown_basis_lies_between_and_is_wider(self, quoted):
        native, unknown, fine = (self.alone(quoted, basis) for basis in ("native", "unknown", "fine"))
        assert native.fine_gold_g.mean < unknown.fine_gold_g.mean < fine.fine_gold_g.mean
        assert unknown.fine_gold_g.mean == pytest.approx(
            (native.fine_gold_g.mean + fine.fine_gold_g.mean) / 2, rel=2e-3
        )
        assert unknown.fine_gold_g.sd > max(native.fine_gold_g.sd, fine.fine_gold_g.sd)

    def test_says_what_to_weigh_and_what_is_assumed(self, quoted):
        q = self.alone(quoted, "unknown")
        assert "claim_only" in {caution.code for caution in q.cautions}
        assert "seller.claim.right_frac" in {row.field for row in q.assumptions}
        assert q.claim is None
        assert q.specific_gravity is None
        assert q.floor_basis == "assumed"

    def test_a_claim_above_the_mass_of_the_piece_is_refused(self, problems):
        claim = {"mass": 1.0, "piece_g": 12.0}
        assert (
            "more gold than the piece can weigh" in problems({**ALONE, "seller.claim": claim})["seller.claim"].message
        )

    def test_fine_gold_of_next_to_no_fineness_is_refused(self, problems):
        changes = {**ALONE, "seller.claim": {"mass": 1.0, "basis": "fine"}, "gold.fineness_frac": 1e-9}
        assert "seller.claim" in problems(changes)

    def test_a_charge_by_the_kilogram_without_the_mass_is_cautioned(self, quoted):
        codes = {caution.code for caution in self.alone(quoted, "native").cautions}
        assert "treatment_uncounted" in codes
        with_mass = self.alone(quoted, "native", piece_g=300.0)
        assert "treatment_uncounted" not in {caution.code for caution in with_mass.cautions}

    def test_a_rock_without_a_weighing_is_still_refused(self, problems):
        assert "weighing" in problems({"weighing": TAKEN_OUT, "seller.claim": {"mass": 1.0}})
