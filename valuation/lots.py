"""lot_quote(request): many pieces that are bought together -> one range, one offer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from valuation.draws import LOG2_DRAWS, SEED, Draws
from valuation.lot_draws import LotDraws
from valuation.lot_pieces import Joint, ValuedPiece, jointly_possible, valued_piece
from valuation.lot_request import LotRequest, Piece, read_lot
from valuation.lot_result import LotQuote, PieceQuote
from valuation.lot_sums import Content, IntactSales, Spreading
from valuation.lot_telling import LotOutcome, told_lot
from valuation.negotiation import buyer_ceiling, fair_split, route_result, seller_floor
from valuation.refiners import RankedRefiner, ranked_refiners
from valuation.request import QuoteRequest
from valuation.spread import Floats
from valuation.stages import own_refining
from valuation.summary import summarised

__all__ = ["LotQuote", "LotRequest", "LotStopped", "Piece", "PieceQuote", "lot_quote", "read_lot"]

MANY_PIECES = 200
LOG2_DRAWS_MANY = 12
STEPS_PER_PIECE = 2

Progress = Callable[[int, int], bool | None]


class LotStopped(Exception):  # noqa: N818 - told as an event
    """Whoever watched the progress asked to stop."""


@dataclass
class _Steps:
    """Tells the progress, and stops where that is asked for."""

    total: int
    progress: Progress | None
    done: int = 0

    def one(self) -> None:
        self.done += 1
        if self.progress is not None and self.progress(self.done, self.total) is False:
            raise LotStopped


@dataclass
class _Gathered:
    """What the pieces come to together."""

    pieces: list[PieceQuote] = field(default_factory=list)
    seen: Content = field(default_factory=Content)
    all: Content = field(default_factory=Content)
    seen_spread: Spreading = field(default_factory=Spreading)
    all_spread: Spreading = field(default_factory=Spreading)
    sales: IntactSales = field(default_factory=IntactSales)
    alone_refined: float = 0.0

    def add(self, piece: ValuedPiece, request: QuoteRequest, shuffled_g: Floats) -> None:
        told = piece.quote
        self.pieces.append(told)
        self.all.add(piece.lot, piece.native_g)
        self.all_spread.add(told.fine_gold_g, shuffled_g)
        if told.seen:
            self.seen.add(piece.lot, piece.native_g)
            self.seen_spread.add(told.fine_gold_g, shuffled_g)
            self.alone_refined += sum(route.mean for route in told.routes if route.route == "refine")
        sale = piece.routes.intact
        if sale is not None and request.collector is not None:
            self.sales.add(sale, piece.lot if told.seen else None, request.collector.months_to_sale.longest)
        elif told.seen:
            self.sales.refined_now.add(piece.lot)


def lot_quote(
    request: LotRequest, progress: Progress | None = None, *, seed: int = SEED, log2_draws: int | None = None
) -> LotQuote:
    """Gold range, routes and fair offer range for many pieces that are bought together.

    Parameters
    ----------
    request : LotRequest
        What is known.
    progress : callable, optional
        Called with the steps done and all steps, two for each piece; if it returns False, or raises, that is the end.
    seed : int
        Seed of the scrambles; the same request and seed give the same figures.
    log2_draws : int, optional
        Base-2 logarithm of the number of draws; left out, 14, and 12 above 200 pieces.

    Returns
    -------
    LotQuote

    Raises
    ------
    RequestRefused
        Pieces that are impossible, each problem under ``pieces`` and the number from 0.
    LotStopped
        `progress` returned False.

    Notes
    -----
    Rock and metal of one source, water, balance, room and a premium that is stated once are drawn once for all pieces
    that share the statement; readings, pores, bubbles, chance and time of a sale by each piece. A draw counts if every
    piece is possible in it. A lot of one piece equals the quote of that piece. The order of the pieces decides which
    scramble each gets, so another order gives the same figures within their numerical error, not to the last digit.
    """
    n = len(request.pieces)
    if log2_draws is None:
        log2_draws = LOG2_DRAWS if n <= MANY_PIECES else LOG2_DRAWS_MANY
    draws = LotDraws.of(request, seed, log2_draws)
    steps = _Steps(STEPS_PER_PIECE * n, progress)
    joint = jointly_possible(request, draws, steps.one)
    gathered = _Gathered()
    for i in range(n):
        piece = valued_piece(request, i, draws, joint)
        gathered.add(piece, request.requests[i], draws.shuffled(i, piece.lot.fine_g))
        steps.one()
    return told_lot(_outcome(request, draws, joint, gathered))


def _outcome(request: LotRequest, draws: LotDraws, joint: Joint, gathered: _Gathered) -> LotOutcome:
    seen = gathered.seen.pieces > 0
    content = gathered.seen if seen else gathered.all
    kept = draws.common if joint.mask is None else draws.common.only(joint.mask)
    terms = lot_terms(request)
    refiners = _refiners(terms, request, content, kept, seen)
    present = _present(terms, gathered, refiners, kept)
    results = [route_result(name, proceeds, terms.buyer) for name, proceeds in present.items()]
    ceiling = buyer_ceiling(results) if results else None
    fine = summarised(content.fine_g)
    outcome = LotOutcome(
        request=request,
        terms=terms,
        draws=draws,
        joint=joint,
        kept=kept,
        pieces=gathered.pieces,
        content=content,
        spreading=gathered.seen_spread if seen else gathered.all_spread,
        whole_mass_g=gathered.all.mass_g,
        seen=seen,
        fine=fine,
        refiners=refiners,
        alone_refined=gathered.alone_refined,
        for_sale=gathered.sales.for_sale,
        results=results,
        ceiling=ceiling,
        floor=seller_floor(
            request.seller,
            own_refining(terms, content.lot, kept, seen),
            fine.median * LotOutcome.money_per_g_of(terms),
            seen,
        ),
    )
    if ceiling is None or outcome.floor.amount is None or not seen:
        return outcome
    split = fair_split(ceiling.amount, outcome.floor.amount, terms.buyer, terms.spot.currency)
    return outcome.with_split(split)


def lot_terms(request: LotRequest) -> QuoteRequest:
    """The terms of the lot in the shape of a quote's, with the handling of every piece."""
    buyer = request.buyer.model_copy(
        update={"handling_cost": request.buyer.handling_cost * len(request.pieces), "routes": request.buyer.routes}
    )
    return request.requests[0].model_copy(update={"title": request.title, "buyer": buyer})


def _refiners(
    terms: QuoteRequest, request: LotRequest, content: Content, kept: Draws, seen: bool
) -> list[RankedRefiner]:
    if request.refiner is None or not seen:
        return []
    every = [request.refiner, *request.other_refiners]
    return ranked_refiners(every, content.lot, terms.spot, terms.buyer.capital_rate_per_year, kept)


def _present(terms: QuoteRequest, gathered: _Gathered, refiners: list[RankedRefiner], kept: Draws) -> dict[str, Floats]:
    """Discounted net proceeds of the whole lot by way out, each of shape (n,) [money]."""
    best = refiners[0] if refiners and refiners[0].takes_it else None
    open_ways = terms.buyer.routes or ("refine", "intact")
    present: dict[str, Floats] = {}
    if "refine" in open_ways and refiners:
        present["refine"] = best.settlement.present_or_nothing() if best else np.zeros(kept.n)
    if gathered.sales.for_sale:
        rate = terms.buyer.capital_rate_per_year
        present["intact"] = gathered.sales.present(best.refiner if best else None, terms.spot, rate, kept)
    return present
