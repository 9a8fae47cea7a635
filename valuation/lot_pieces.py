"""One piece of a lot: which draws count for it, what it holds, what it brings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from valuation.cautions import gold_cautions
from valuation.detection import detection
from valuation.errors import Caution, Problem, RequestRefused, ValuationError
from valuation.gold import GoldContent
from valuation.lot_draws import LotDraws, PieceDraws
from valuation.lot_request import LotRequest
from valuation.lot_result import PieceQuote
from valuation.mass import G_PER_OZT
from valuation.negotiation import route_result
from valuation.premium import premium_model
from valuation.refining import Lot
from valuation.request import QuoteRequest
from valuation.result import Detection
from valuation.routes import Routes, open_routes
from valuation.spot import gold_per_ozt
from valuation.spread import Floats
from valuation.stages import contained, observed, of_kept
from valuation.summary import summarised
from valuation.weighing import weighing_cautions

LEAST_JOINT_FRAC = 0.05


@dataclass(frozen=True)
class Joint:
    """Which draws count for a lot.

    Parameters
    ----------
    mask : ndarray of bool or None
        Draws in which every piece is possible, shape (n_all,); None if pieces are conditioned one by one.
    kept_frac : float
        Share of the draws in which every piece is possible.
    """

    mask: NDArray[np.bool_] | None
    kept_frac: float


@dataclass(frozen=True)
class ValuedPiece:
    """A piece's figures, and its draws for the sums over the lot; arrays of shape (n,), `lot.mass_g` also ()."""

    quote: PieceQuote
    lot: Lot
    native_g: Floats
    routes: Routes


def jointly_possible(lot: LotRequest, draws: LotDraws, step: Callable[[], None]) -> Joint:
    """The draws in which every piece leaves a possible amount of gold.

    Raises
    ------
    RequestRefused
        With the problems of every piece that is impossible under any draw, or nearly any.
    """
    joint = np.ones(1 << draws.log2_draws, dtype=bool)
    problems: list[Problem] = []
    for i, request in enumerate(lot.requests):
        try:
            joint &= observed(request, draws.piece(i))[1].possible
        except (ValuationError, RequestRefused) as refused:
            problems += of_piece(i, refused.problems)
        step()
    if problems:
        raise RequestRefused(problems)
    kept = float(np.mean(joint))
    one_by_one = kept < LEAST_JOINT_FRAC and len(lot.requests) > 1
    return Joint(None if one_by_one else joint, kept)


def of_piece(i: int, problems: tuple[Problem, ...]) -> list[Problem]:
    """Problems of piece i, from 0 on, under the lot's paths."""
    return [p.model_copy(update={"field": f"pieces.{i}.{p.field}"}) for p in problems]


@dataclass(frozen=True)
class _Counting:
    """The draws of a piece that count, and how an array of all its draws becomes one of these."""

    draws: PieceDraws
    place: NDArray[np.intp] | None = None

    def of(self, values: Floats) -> Floats:
        if self.place is None:
            return of_kept(values, self.draws)
        return values if values.ndim == 0 else values[self.place]


def _counting(content: GoldContent, draws: PieceDraws, joint: Joint) -> _Counting:
    """The draws of a piece that count.

    Jointly, those in which every piece is possible. One by one, every draw, filled by rank from the piece's own
    possible ones, so that a draw with much gold in one piece still is one with much gold in the others.
    """
    if joint.mask is not None:
        return _Counting(draws.only(joint.mask))
    native = np.where(np.isfinite(content.native_g), content.native_g, -np.inf)
    order = np.argsort(native, kind="stable")
    possible = order[content.possible[order]]
    place = np.empty(draws.n_all, dtype=np.intp)
    place[order] = possible[np.arange(draws.n_all) * len(possible) // draws.n_all]
    return _Counting(draws, place)


def valued_piece(lot: LotRequest, i: int, draws: LotDraws, joint: Joint) -> ValuedPiece:
    """Piece i, from 0 on, on the draws that count.

    Raises
    ------
    RequestRefused
        Too few comparable sales for it.
    """
    request, own = lot.requests[i], draws.piece(i)
    weighed, content = observed(request, own)
    seen_by = detection(content, weighed.mass_g) if weighed is not None else None
    seen = seen_by is None or seen_by.seen
    counting = _counting(content, own, joint)
    held = _held(contained(request, weighed, content, own), counting)
    native = counting.of(content.native_g)
    fine = summarised(held.fine_g)
    try:
        premium = None
        if request.collector is not None and "intact" in request.routes and seen:
            premium = premium_model(request.collector, fine.median, request.quoted_at.date())
    except ValuationError as refused:
        shared = lot.pieces[i].collector is None
        raise RequestRefused(refused.problems if shared else of_piece(i, refused.problems)) from None
    routes = open_routes(request, held, counting.draws, seen=seen, premium=premium)
    results = tuple(route_result(name, present, request.buyer) for name, present in routes.present.items())
    return ValuedPiece(
        PieceQuote(
            number=i + 1,
            title=lot.named(i),
            source=lot.pieces[i].source,
            seen=seen,
            specific_gravity=None if weighed is None else summarised(counting.of(np.asarray(weighed.specific_gravity))),
            mass_g=None if weighed is None and held.mass_g == 0 else summarised(held.mass_g),
            native_gold_g=summarised(native),
            fine_gold_g=fine,
            fine_silver_g=summarised(held.silver_g),
            melt_value=fine.scaled(gold_per_ozt(request.spot) / G_PER_OZT),
            melt_share_frac=None,
            kept_frac=content.kept_frac,
            detection=seen_by,
            routes=results,
            cautions=tuple(_cautions(request, content, seen_by)),
        ),
        held,
        native,
        routes,
    )


def _held(lot: Lot, counting: _Counting) -> Lot:
    return Lot(counting.of(lot.fine_g), counting.of(lot.silver_g), counting.of(lot.mass_g))


def _cautions(request: QuoteRequest, content: GoldContent, seen_by: Detection | None) -> list[Caution]:
    found: list[Caution] = []
    if request.weighing is not None:
        found += weighing_cautions(request.weighing, request.rock.chip if request.rock else None)
    # A lot has no budget of doubt, so nothing precedes the dropping of draws.
    return found + [c for c in gold_cautions(content, seen_by) if c.code != "budget_before_conditioning"]
