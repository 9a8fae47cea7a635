"""A lot's quote: what the engine answers, under the names of the JSON keys."""

from __future__ import annotations

from typing import Literal

from pydantic import AwareDatetime, FiniteFloat

from valuation.errors import Caution
from valuation.result import (
    Assumption,
    Detection,
    FairRange,
    FloorBasis,
    Notice,
    Plan,
    RouteResult,
    SettlementLine,
    Verdict,
)
from valuation.summary import Summary
from valuation.trade import RefinerRow, Row


class PieceQuote(Row):
    """One piece of a lot.

    Parameters
    ----------
    number : int
        Its place in the lot, from 1 on.
    title, source : str
        As entered.
    seen : bool
        Whether its gold is seen by weight, or was measured elsewhere; if not, it counts in no total.
    kept_frac : float
        Share of the draws that leave a possible amount of gold in this piece.
    melt_share_frac : float or None
        Its part of the lot's mean melt value; None for a piece that does not count.
    routes : tuple of RouteResult
        Ways out of this piece if it were alone, with all charges to itself.
    """

    number: int
    title: str
    source: str
    seen: bool
    specific_gravity: Summary | None
    mass_g: Summary | None
    native_gold_g: Summary
    fine_gold_g: Summary
    fine_silver_g: Summary
    melt_value: Summary
    melt_share_frac: FiniteFloat | None
    kept_frac: FiniteFloat
    detection: Detection | None
    routes: tuple[RouteResult, ...]
    cautions: tuple[Caution, ...]


class Unshared(Row):
    """The lot's total as it would be if its pieces shared nothing: what adding their ranges by hand would say."""

    fine_gold_g: Summary
    melt_value: Summary


class AllShared(Row):
    """Standard deviation of the lot's total if its pieces shared every doubt: the sum of theirs."""

    fine_gold_g: FiniteFloat
    melt_value: FiniteFloat


class Doubt(Row):
    """How much the doubt about the total depends on what the pieces share."""

    nothing_shared: Unshared
    all_shared_sd: AllShared


class SharedStatement(Row):
    """What pieces share, drawn once for all of them.

    Parameters
    ----------
    what : str
        ``rock``, ``metal``, ``water``, ``balance``, ``room`` or ``premium``.
    statements : int
        How many different statements there are.
    most_pieces : int
        Pieces that share the commonest of them.
    """

    what: Literal["rock", "metal", "water", "balance", "room", "premium"]
    statements: int
    most_pieces: int


class LotTerm(Row):
    """How a term that is stated for one piece holds for the lot."""

    code: str
    message: str


class LotQuote(Row):
    """The answer to a request for a lot.

    Notes
    -----
    Totals of gold and money count the pieces whose gold is seen, or all if none is; `mass_g` counts every piece.
    `conditioning` is ``joint`` where a draw counts if every piece is possible in it, ``by_piece`` where too few are.
    """

    method_version: str
    draws: int
    seed: int
    quoted_at: AwareDatetime
    currency: str
    title: str
    verdict: Verdict
    pieces_counted: int
    pieces_not_seen: int
    conditioning: Literal["joint", "by_piece"]
    kept_frac: FiniteFloat
    mass_g: Summary | None
    native_gold_g: Summary
    fine_gold_g: Summary
    fine_silver_g: Summary
    melt_value: Summary
    silver_value: Summary | None
    doubt: Doubt
    sharing: tuple[SharedStatement, ...]
    routes: tuple[RouteResult, ...]
    settlement: tuple[SettlementLine, ...]
    refiners: tuple[RefinerRow, ...]
    together_gains: FiniteFloat | None
    buyer_ceiling: FiniteFloat | None
    seller_floor: FiniteFloat | None
    floor_basis: FloorBasis
    cost_of_doubt: FiniteFloat | None
    doubt_free_route: str | None
    fair: FairRange | None
    gap: FiniteFloat | None
    plan: Plan | None
    pieces: tuple[PieceQuote, ...]
    terms: tuple[LotTerm, ...]
    cautions: tuple[Caution, ...]
    assumptions: tuple[Assumption, ...]
    notices: tuple[Notice, ...]
