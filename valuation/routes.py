"""The ways out of the piece as one table of net proceeds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from valuation.collector import IntactSale, sold_intact
from valuation.draws import Draws
from valuation.premium import PremiumModel
from valuation.refiners import RankedRefiner, ranked_refiners
from valuation.refining import Lot
from valuation.request import QuoteRequest
from valuation.spread import Floats


@dataclass(frozen=True)
class Routes:
    """Every way out that is open, drawn.

    Parameters
    ----------
    present : dict of str to ndarray
        Discounted net proceeds by route, each of shape (n,) [money].
    refiners : list of RankedRefiner
        The refiners behind ``refine``, the chosen one first; empty if that way is closed.
    intact : IntactSale or None
        The sale behind ``intact``.
    """

    present: dict[str, Floats]
    refiners: list[RankedRefiner]
    intact: IntactSale | None

    @property
    def refine(self) -> RankedRefiner | None:
        """The refiner that is chosen; None if the way is closed or no refiner takes the lot."""
        return self.refiners[0] if self.refiners and self.refiners[0].takes_it else None


def open_routes(request: QuoteRequest, lot: Lot, draws: Draws, *, seen: bool, premium: PremiumModel | None) -> Routes:
    """Net proceeds of every route that is open.

    Parameters
    ----------
    request : QuoteRequest
        The terms.
    lot : Lot
        What the piece holds.
    draws : Draws
        The draws that count.
    seen : bool
        Whether gold was seen by weight. If not, only a collector's price in money is priced, and an unsold piece
        is taken to bring nothing.
    premium : PremiumModel or None
        The collector's premium, if one is known.
    """
    rate = request.buyer.capital_rate_per_year
    present: dict[str, Floats] = {}
    refiners: list[RankedRefiner] = []
    if request.refiner is not None and seen:
        refiners = ranked_refiners([request.refiner, *request.other_refiners], lot, request.spot, rate, draws)
    best = refiners[0] if refiners and refiners[0].takes_it else None
    if "refine" in request.routes and refiners:
        present["refine"] = best.settlement.present_or_nothing() if best else np.zeros(draws.n)
    collector, intact = request.collector, None
    if "intact" in request.routes and collector is not None and (seen or collector.price is not None):
        fallback = best.refiner if best else None
        intact = sold_intact(lot, collector, premium, fallback, request.spot, rate, draws)
        present["intact"] = intact.present
    return Routes(present, refiners if "refine" in request.routes else [], intact)
