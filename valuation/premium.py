"""The collector's premium over melt, whichever way it is known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from valuation.comparables import Foretold, foretold
from valuation.draws import Draws
from valuation.rubric import log_premium
from valuation.spread import Floats, Spread
from valuation.terms import Collector

Basis = Literal["entered", "rubric", "comparables"]


@dataclass(frozen=True)
class PremiumModel:
    """How the premium is drawn.

    Parameters
    ----------
    basis : str
        ``entered``, ``rubric`` or ``comparables``.
    spread : Spread
        Of the premium itself if entered, else of ``log(1 + premium)``.
    foretold : Foretold or None
        Behind ``comparables``.
    """

    basis: Basis
    spread: Spread
    foretold: Foretold | None = None

    @property
    def likely_frac(self) -> float:
        """The likely premium."""
        return self._frac(self.spread.centre)

    def ends_frac(self) -> tuple[float, float, float]:
        """10, 50 and 90 % quantiles of the premium."""
        low, middle, high = self.spread.drawn(np.array([0.1, 0.5, 0.9])) * np.ones(3)
        return self._frac(low), self._frac(middle), self._frac(high)

    def drawn_frac(self, draws: Draws) -> Floats:
        """The premium, drawn; shape (n,) or ()."""
        values = draws.of("premium", self.spread)
        return values if self.basis == "entered" else np.expm1(values)

    def _frac(self, x: float) -> float:
        return float(x) if self.basis == "entered" else math.expm1(x)


def premium_model(collector: Collector, median_fine_g: float, on: date) -> PremiumModel | None:
    """The premium of a collector's terms; None where a price in money was entered.

    Raises
    ------
    ValuationError
        Too few comparable sales.
    """
    if collector.premium_frac is not None:
        return PremiumModel("entered", collector.premium_frac)
    if collector.rubric is not None:
        return PremiumModel("rubric", log_premium(collector.rubric))
    if collector.comparables is not None:
        sales = foretold(collector.comparables, median_fine_g, collector.grade, on)
        return PremiumModel("comparables", sales.log_premium, sales)
    return None
