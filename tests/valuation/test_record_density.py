"""The density that settled gold implies, and what many pieces say of a table's: against other ways to the same."""

import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from tests.simulator.shop import Shop, pieces
from valuation import QuoteRequest, Spread
from valuation.draws import SEED, Draws
from valuation.record_density import (
    LEAST_PIECES,
    SHARED_COLUMNS,
    U_OFFSET_G_CM3,
    Implied,
    Told,
    corrected,
    implied_density,
    offset_told,
)
from valuation.weighing import weighed_specimen

TABLE = Spread(low=2.60, likely=2.63, high=2.65)
STATEMENTS = {column: column for column in SHARED_COLUMNS}


def implied(typed: dict[str, object], recovered_g: float, u_g: float = 0.0, log2_draws: int = 11) -> Implied:
    request = QuoteRequest.model_validate(typed)
    assert request.weighing is not None and request.rock is not None and request.refiner is not None
    draws = Draws(SEED, log2_draws)
    weighed = weighed_specimen(request.weighing, draws)
    recovery = request.refiner.recovery_frac
    found = implied_density(weighed, request.rock, request.gold, recovery, recovered_g, u_g, draws, STATEMENTS)
    assert found is not None
    return found


def shop(offset: float, seed: int, count: int = 30, alike: str = "") -> Told:
    bought = [implied(one.typed, one.recovered_g) for one in pieces(Shop(offset, alike), seed, count)]
    return offset_told(bought, TABLE)


def exact_piece(host: float, native_g: float, fineness: float) -> dict[str, object]:
    """400 g of rock with gold, in water of 20 °C on a perfect balance; metals as dense as the handbooks say."""
    native_density = 1.0 / (fineness / 19.30 + (1 - fineness) / 10.49)
    mass, volume = 400.0 + native_g, 400.0 / host + native_g / native_density
    water, air = 0.998207, 0.001199  # Tanaka et al. 2001 at 20 °C; CIPM-2007 at 1013.25 hPa, 20 °C, 50 %
    conventional = 1.0 - air / 8.0
    dry, wet = (mass - air * volume) / conventional, (mass - water * volume) / conventional
    return {
        "quoted_at": "2026-03-14T10:24:00-07:00",
        "weighing": {
            "method": "suspended",
            "dry_g": [dry],
            "submerged_g": [wet],
            "readability_g": 1e-5,
            "repeatability_g": 1e-5,
            "linearity_g": 0.0,
            "span_tolerance_frac": 0.0,
            "water_kind": "distilled",
            "water_temperature_degc": 20.0,
            "line_diameter_mm": 0.0,
            "trapped_air_frac": 0.0,
        },
        "rock": {"density_g_cm3": 2.6, "void_frac": 0.0},
        "gold": {"fineness_frac": fineness, "copper_share_frac": 0.0},
        "spot": {"gold": 4000.0},
        "refiner": {"recovery_frac": 0.96},
    }


@pytest.mark.parametrize(("host", "native_g"), [(2.62, 5.0), (2.65, 60.0), (2.95, 200.0)])
def test_settled_gold_gives_back_the_rock_it_came_from(host: float, native_g: float) -> None:
    found = implied(exact_piece(host, native_g, 0.85), native_g * 0.85 * 0.96)
    assert found.g_cm3 == pytest.approx(host, abs=3e-4)


def test_doubt_of_the_settled_figure_widens_the_density_as_its_derivative_says() -> None:
    typed, recovered, step = exact_piece(2.65, 60.0, 0.85), 60.0 * 0.85 * 0.96, 0.05
    slope = (implied(typed, recovered + step).g_cm3 - implied(typed, recovered - step).g_cm3) / (2 * step)
    plain, doubted = implied(typed, recovered), implied(typed, recovered, 0.5)
    assert doubted.u == pytest.approx(math.hypot(plain.u, 0.5 * slope), rel=0.01)


def test_doubt_of_recovery_is_a_pieces_own_and_may_be_shared_too() -> None:
    typed = exact_piece(2.65, 60.0, 0.85)
    without = implied(typed, 49.0, log2_draws=14)
    typed["refiner"] = {"recovery_frac": {"value": 0.96, "sd": 0.01}}
    found = implied(typed, 49.0, log2_draws=14)
    assert set(found.shared) - set(without.shared) == {"recovery"}
    assert found.shared["recovery"] ** 2 == pytest.approx(found.u**2 - without.u**2, rel=0.02)


def test_more_gold_than_the_piece_can_hold_implies_no_rock() -> None:
    request = QuoteRequest.model_validate(exact_piece(2.65, 5.0, 0.85))
    assert request.weighing is not None and request.rock is not None
    draws = Draws(SEED, 8)
    weighed = weighed_specimen(request.weighing, draws)
    recovery = Spread(value=0.96)
    assert implied_density(weighed, request.rock, request.gold, recovery, 390.0, 0.0, draws, STATEMENTS) is None


# ---- many pieces


def test_one_mean_of_known_doubt_is_the_textbook_update() -> None:
    # A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, eqs. 2.11 and 2.12: normal mean, known variance.
    found = offset_told([Implied(2.65, 0.01, {})] * 8, Spread(value=2.63))
    precision = U_OFFSET_G_CM3**-2 + 8 * 0.01**-2
    assert found.u_offset == pytest.approx(precision**-0.5)
    assert found.offset == pytest.approx(0.02 * 8 * 0.01**-2 / precision)
    assert (found.pieces, found.u_pieces) == pytest.approx((0.02, 0.01 / 8**0.5))
    assert found.scatter == 1.0


def test_closed_form_is_the_grid() -> None:
    """The same posterior by brute force: joint normal density of all pieces, on a grid of offsets."""
    rng = np.random.default_rng(3)
    loads = rng.normal(0.0, 0.004, (12, 2))
    u = rng.uniform(0.004, 0.02, 12)
    told = [
        Implied(2.64 + 0.3 * y, float(own), {"recovery": float(a), "metal": float(b)})
        for y, own, (a, b) in zip(rng.normal(0, 0.01, 12), u, loads, strict=True)
    ]
    found = offset_told(told, TABLE)
    assert found.scatter == 1.0
    s = math.sqrt((2.60**2 + 2.63**2 + 2.65**2 - 2.60 * 2.63 - 2.60 * 2.65 - 2.63 * 2.65) / 18.0)
    middle = (2.60 + 2.63 + 2.65) / 3.0
    covariance = np.diag(u**2 + s**2) + loads @ loads.T
    grid = np.linspace(-0.1, 0.1, 4001)
    away = np.array([one.g_cm3 - middle for one in told])
    logs = [multivariate_normal.logpdf(away - at, cov=covariance) for at in grid]
    weight = np.exp(logs - np.max(logs)) * norm.pdf(grid, 0.0, U_OFFSET_G_CM3)
    mean = float(np.sum(grid * weight) / np.sum(weight))
    sd = math.sqrt(float(np.sum((grid - mean) ** 2 * weight) / np.sum(weight)))
    assert (found.offset, found.u_offset) == pytest.approx((mean, sd), abs=2e-6)


def test_pieces_and_prior_put_together_by_hand_are_the_posterior() -> None:
    found = shop(0.02, 5, 12)
    prior, pieces_ = found.u_prior**-2, found.u_pieces**-2
    assert found.offset == pytest.approx(found.pieces * pieces_ / (prior + pieces_))
    assert found.u_offset == pytest.approx((prior + pieces_) ** -0.5)


def test_pieces_that_scatter_more_than_their_doubt_widen_the_interval() -> None:
    ends = [Implied(2.63 + 0.05 * (-1) ** i, 0.005, {}) for i in range(10)]
    found = offset_told(ends, Spread(value=2.63))
    # Birge: chi squared over n - 1, by hand.
    assert found.scatter == pytest.approx(math.sqrt(10 * (0.05 / 0.005) ** 2 / 9), rel=1e-6)
    assert found.u_pieces == pytest.approx(found.scatter * 0.005 / 10**0.5)


def test_few_pieces_suggest_nothing_however_far_off_they_are() -> None:
    far = Implied(2.75, 0.002, {})
    assert not offset_told([far] * (LEAST_PIECES - 1), TABLE).speaks_against_table
    assert offset_told([far] * LEAST_PIECES, TABLE).speaks_against_table


def test_corrected_density_is_moved_and_widened_by_its_doubt() -> None:
    found = shop(0.02, 5)
    told = corrected(TABLE, found)
    assert told.low is not None and told.high is not None
    assert told.likely == pytest.approx(2.63 + found.offset, abs=6e-4)
    wider = math.hypot(1.0, found.u_offset / found.u_table)
    assert told.high - told.low == pytest.approx(wider * 0.05, abs=1.1e-3)
    exact = corrected(Spread(value=2.63), found)
    assert exact.sd == pytest.approx(math.hypot(found.u_table, found.u_offset), abs=6e-5)


# ---- simulated shops; the whole is `tests.proofs.record`


@pytest.mark.parametrize("alike", ["", "recovery, metal"])
def test_a_shop_with_denser_rock_gets_that_correction(alike: str) -> None:
    told = [shop(0.02, seed, alike=alike) for seed in range(8)]
    assert all(one.speaks_against_table for one in told)
    # Of 8 intervals at 95 %, 3 or more miss 6 times in 1,000.
    assert sum(one.low <= 0.02 <= one.high for one in told) >= 6


@pytest.mark.parametrize("alike", ["", "recovery, metal"])
def test_a_shop_with_a_right_table_gets_none(alike: str) -> None:
    assert sum(shop(0.0, seed, alike=alike).speaks_against_table for seed in range(100, 108)) <= 2
