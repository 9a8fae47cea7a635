"""Several refiners, ranked on the same draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from valuation.draws import Draws
from valuation.mass import G_PER_OZT
from valuation.refining import Lot, Settlement, settled
from valuation.summary import quantiles, summarised
from valuation.terms import Refiner, Spot
from valuation.trade import RefinerRow


@dataclass(frozen=True)
class RankedRefiner:
    """A refiner and what it would pay.

    Parameters
    ----------
    refiner : Refiner
        Its terms.
    settlement : Settlement
        Drawn.
    takes_it : bool
        Whether the likely lot reaches its minimum.
    """

    refiner: Refiner
    settlement: Settlement
    takes_it: bool

    @property
    def mean(self) -> float:
        """Mean discounted net, before the choice not to send it."""
        return float(np.mean(self.settlement.present))


def takes(refiner: Refiner, lot: Lot) -> bool:
    """Whether the likely lot reaches the refiner's minimum, in assayed fine gold."""
    assayed_ozt = quantiles(lot.fine_g, 0.5)[0] * refiner.recovery_frac.centre / G_PER_OZT
    return assayed_ozt >= refiner.minimum_lot_ozt


def ranked_refiners(
    refiners: Sequence[Refiner], lot: Lot, spot: Spot, rate_per_year: float, draws: Draws
) -> list[RankedRefiner]:
    """Every refiner's settlement on the same draws, best mean first, those that refuse the lot last."""
    ranked = [
        RankedRefiner(refiner, settled(lot, refiner, spot, rate_per_year, draws), takes(refiner, lot))
        for refiner in refiners
    ]
    return sorted(ranked, key=lambda r: (not r.takes_it, -r.mean if len(ranked) > 1 else 0.0))


def refiner_rows(ranked: Sequence[RankedRefiner]) -> tuple[RefinerRow, ...]:
    """The ranking as rows, with the chance that each pays most."""
    taking = [r for r in ranked if r.takes_it]
    chances: dict[int, float] = {}
    if taking:
        best = np.argmax(np.stack([r.settlement.present for r in taking]), axis=0)
        chances = {id(r): float(np.mean(best == i)) for i, r in enumerate(taking)}
    rows = []
    for i, r in enumerate(ranked):
        s = summarised(r.settlement.present)
        rows.append(
            RefinerRow(
                name=r.refiner.name,
                mean=s.mean,
                sd=s.sd,
                low=s.low,
                median=s.median,
                high=s.high,
                chance_best=chances.get(id(r), 0.0),
                takes_it=r.takes_it,
                chosen=i == 0 and r.takes_it,
            )
        )
    return tuple(rows)
