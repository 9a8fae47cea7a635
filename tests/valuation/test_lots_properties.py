"""What must hold for any lot whatever."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.valuation.strategies import STEADY, good
from tests.valuation.test_lots import as_lot
from valuation import LotRequest, lot_quote, read_lot

factors = st.floats(0.05, 20.0)
densities = st.floats(2.75, 6.0)
sources = st.sampled_from(["", "north", "south"])


@st.composite
def pieces(draw):
    dry = 100.0 * draw(factors)
    return {
        "source": draw(sources),
        "weighing": {"dry_g": [round(dry, 2)], "submerged_g": [round(dry * (1 - 1 / draw(densities)), 2)]},
    }


@st.composite
def lots(draw):
    return read_lot(as_lot(good(), draw(st.lists(pieces(), min_size=1, max_size=5))))


@STEADY
@given(lots())
def test_totals_fit_their_pieces(request):
    lot = lot_quote(request, log2_draws=10)
    counted = [piece for piece in lot.pieces if piece.melt_share_frac is not None]
    sds = [piece.fine_gold_g.sd for piece in counted]
    assert lot.pieces_counted == len(counted)
    assert lot.fine_gold_g.mean == pytest.approx(sum(piece.fine_gold_g.mean for piece in counted), rel=1e-9)
    assert sum(piece.melt_share_frac for piece in counted) == pytest.approx(1.0)
    # The triangle inequality of standard deviations: no sharing can be worse than sharing everything.
    assert lot.fine_gold_g.sd <= lot.doubt.all_shared_sd.fine_gold_g * (1 + 1e-9)
    assert lot.doubt.nothing_shared.fine_gold_g.sd == pytest.approx(math.hypot(*sds), rel=1e-9)
    assert lot.fine_gold_g.low <= lot.fine_gold_g.median <= lot.fine_gold_g.high
    assert lot.kept_frac <= min(piece.kept_frac for piece in lot.pieces)
    for route in lot.routes:
        assert 0.0 <= route.ceiling <= max(0.0, route.ceiling_by_margin)
    if lot.fair is not None:
        assert lot.seller_floor <= lot.fair.low <= lot.fair.middle <= lot.fair.high <= lot.buyer_ceiling


@STEADY
@given(lots())
def test_a_lot_that_was_written_down_and_read_again_gives_the_same(request):
    again = LotRequest.model_validate_json(request.model_dump_json(exclude_unset=True))
    assert again == request
    assert lot_quote(again, log2_draws=8) == lot_quote(request, log2_draws=8)


@STEADY
@given(lots(), st.integers(0, 2**32))
def test_sending_together_never_costs_more_than_sending_singly(request, seed):
    lot = lot_quote(request, seed=seed, log2_draws=8)
    if lot.together_gains is not None and lot.pieces_counted == len(lot.pieces):
        alone = sum(route.mean for piece in lot.pieces for route in piece.routes if route.route == "refine")
        together = next(route.mean for route in lot.routes if route.route == "refine")
        assert lot.together_gains == pytest.approx(together - alone, abs=1e-6 * max(1.0, together))
        assert lot.together_gains >= -1e-6 * max(1.0, together)
