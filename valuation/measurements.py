"""What each test would measure, in every draw of a quote."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from valuation.evidence_tests import TestKind, TestTerms
from valuation.gold import DEFAULT_VOIDS, NO_VOIDS
from valuation.observations import Weighing
from valuation.spread import Floats
from valuation.stages import Valuation, of_kept
from valuation.weighing import air_g_cm3, repeatability_sd_g, specimen_loads_g, water_g_cm3

NOMINAL_WATER_G_CM3 = 0.9982


# Nothing that is measured on a piece tells of these.
_OF_THE_MARKET = (
    "gold_price",
    "silver_price",
    "recovery",
    "silver_recovery",
    "seller_recovery",
    "premium",
    "collector_price",
    "months_to_sale",
)


def untold(v: Valuation) -> Floats:
    """What no test tells of: prices, recovery, premium, and whether the piece sells; shape (m, n)."""
    rows = [v.draws.u(column) for column in _OF_THE_MARKET if column in v.draws.used]
    sale = v.routes.intact
    if sale is not None and 0 < int(sale.sold.sum()) < sale.sold.size:
        rows.append(sale.sold.astype(float))
    return np.stack(rows) if rows else np.empty((0, v.draws.n))


@dataclass(frozen=True)
class Measurement:
    """Quantities that a test measures, and how well.

    Parameters
    ----------
    values : ndarray, shape (d, n)
        Each quantity in every draw that counts.
    u : ndarray, shape (d,)
        Standard uncertainty of each; their errors are independent.
    """

    values: Floats
    u: Floats

    @property
    def is_known(self) -> bool:
        """Whether there is nothing to learn: no quantity is in doubt."""
        return bool(np.all(np.ptp(self.values, axis=1) == 0.0))


def measurement(test: TestTerms, v: Valuation) -> Measurement | None:
    """What a test measures in each draw; None where it cannot be made of what is known.

    Parameters
    ----------
    test : TestTerms
        The test.
    v : Valuation
        The present draws.
    """
    if test.kind == "fineness":
        assert test.u is not None
        return _of(v, test.u, of_kept(v.content.alloy.fineness_frac, v.draws))
    weighing = v.request.weighing
    return None if weighing is None else _WEIGHED[test.kind](test, v, weighing)


def _of(v: Valuation, u: float, *values: Floats) -> Measurement:
    rows = [np.broadcast_to(row, (v.draws.n,)) for row in values]
    return Measurement(np.stack(rows), np.full(len(rows), u))


def _chip(test: TestTerms, v: Valuation, weighing: Weighing) -> Measurement:
    """Density of the rock with its pores, as it comes out in the specimen's own water.

    Notes
    -----
    ``(rho_h (1 - phi) - rho_a) / (rho_w - rho_a)`` times water of 20 °C: dry reading over what the water lifts. What
    is not known of the water is so measured with the rock, as it is where a chip is weighed already.
    """
    assert test.u is not None
    return _of(v, test.u, NOMINAL_WATER_G_CM3 * _rock_per_water(v, weighing))


def _rock_per_water(v: Valuation, weighing: Weighing) -> Floats:
    """Dry reading of bare rock over what the water lifts of it."""
    rock, draws = v.request.rock, v.draws
    assert rock is not None and v.content.host_g_cm3 is not None
    voids = NO_VOIDS if rock.chip is not None else rock.void_frac or DEFAULT_VOIDS
    bulk = of_kept(v.content.host_g_cm3, draws) * (1.0 - draws.of("void", voids))
    air = air_g_cm3(weighing, draws)
    water = water_g_cm3(weighing.water_kind, weighing.water_temperature_degc, draws)
    return np.asarray((bulk - air) / (water - air))


def _repeats(test: TestTerms, v: Valuation, weighing: Weighing) -> Measurement:
    """How far chance has put the mean of the readings so far, dry and under water."""
    assert test.readings is not None
    rows, u = [], []
    for which, readings in (("dry", weighing.dry_g), ("wet", weighing.wet_g)):
        s = repeatability_sd_g(readings, weighing)
        if s > 0:
            rows.append(s / math.sqrt(len(readings)) * v.draws.z(f"{which}_repeatability"))
            u.append(s / math.sqrt(test.readings))
    if not rows:
        return _of(v, 1.0, np.zeros(v.draws.n))
    return Measurement(np.stack(rows), np.array(u))


def _water_temperature(test: TestTerms, v: Valuation, weighing: Weighing) -> Measurement:
    assert test.u is not None
    return _of(v, test.u, v.draws.of("water_temperature", weighing.water_temperature_degc))


def _finer_balance(test: TestTerms, v: Valuation, weighing: Weighing) -> Measurement:
    """What the piece weighs more than bare rock of its size: the part of both readings that tells its gold.

    Notes
    -----
    ``x = W_a - r (W_a - W_w)`` or ``W_a - r R``, r the likely weight of bare rock for each gram that water lifts.
    """
    assert test.u is not None
    dry, wet = specimen_loads_g(weighing, v.draws)
    r = float(np.median(_rock_per_water(v, weighing)))
    by_dry, by_wet = (1.0 - r, r) if weighing.method == "suspended" else (1.0, -r)
    return _of(v, test.u * math.hypot(by_dry, by_wet), by_dry * dry + by_wet * wet)


_WEIGHED: dict[TestKind, Callable[[TestTerms, Valuation, Weighing], Measurement]] = {
    "chip": _chip,
    "repeats": _repeats,
    "water_temperature": _water_temperature,
    "finer_balance": _finer_balance,
}
