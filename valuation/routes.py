"""The ways out of the piece as one table of net proceeds."""

from __future__ import annotations

from dataclasses import dataclass

from valuation.collector import IntactSale, sold_intact
from valuation.draws import Draws
from valuation.refining import Lot, Settlement, settled
from valuation.request import QuoteRequest
from valuation.spread import Floats


@dataclass(frozen=True)
class Routes:
    """Every way out that is open, drawn.

    Parameters
    ----------
    present : dict of str to ndarray
        Discounted net proceeds by route, each of shape (n,) [money].
    refine : Settlement or None
        The refiner's settlement behind ``refine``.
    intact : IntactSale or None
        The sale behind ``intact``.
    """

    present: dict[str, Floats]
    refine: Settlement | None
    intact: IntactSale | None


def open_routes(request: QuoteRequest, lot: Lot, draws: Draws, *, seen: bool) -> Routes:
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
    """
    rate = request.buyer.capital_rate_per_year
    present: dict[str, Floats] = {}
    refine = intact = None
    if "refine" in request.routes and request.refiner is not None and seen:
        refine = settled(lot, request.refiner, request.spot, rate, draws)
        present["refine"] = refine.present_or_nothing()
    collector = request.collector
    if "intact" in request.routes and collector is not None and (seen or collector.price is not None):
        fallback = request.refiner if seen else None
        intact = sold_intact(lot, collector, fallback, request.spot, rate, draws)
        present["intact"] = intact.present
    return Routes(present, refine, intact)
