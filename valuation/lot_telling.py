"""A lot's outcome -> the quote that is shown: summaries, terms, cautions, assumptions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from valuation.assumptions import NOTICES, assumed_inputs, constants, named_materials, truncation_cautions
from valuation.cautions import offer_cautions, price_cautions
from valuation.draws import LOG2_DRAWS, Draws
from valuation.errors import Caution
from valuation.lot_draws import LotDraws
from valuation.lot_pieces import LEAST_JOINT_FRAC, Joint
from valuation.lot_request import LotRequest
from valuation.lot_result import AllShared, Doubt, LotQuote, LotTerm, PieceQuote, SharedStatement, Unshared
from valuation.lot_sums import Content, Spreading
from valuation.mass import G_PER_OZT
from valuation.negotiation import Ceiling, Floor, Split, verdict_of
from valuation.refiners import RankedRefiner, refiner_rows
from valuation.refining import statement
from valuation.request import QuoteRequest
from valuation.result import Assumption, RouteResult, SettlementLine, Verdict
from valuation.spot import gold_per_ozt, silver_per_ozt
from valuation.spread import Floats
from valuation.summary import Summary, summarised
from valuation.telling import method_version
from valuation.words import money_words


@dataclass(frozen=True)
class LotOutcome:
    """Every stage's outcome for one lot; arrays hold the draws that count.

    Parameters
    ----------
    request, terms : LotRequest, QuoteRequest
        What was asked, and its terms in the shape of a quote's.
    draws, joint, kept : LotDraws, Joint, Draws
        The draws, which of them count, and the lot's own that count.
    pieces : list of PieceQuote
        Every piece.
    content, spreading : Content, Spreading
        Of the pieces that count.
    whole_mass_g : ndarray
        Mass of every piece together [g].
    seen : bool
        Whether gold is seen in any piece.
    fine : Summary
        Fine gold of the pieces that count [g].
    refiners, results, ceiling, floor, split
        As in `Valuation`, for the lot as a whole.
    alone_refined : float
        Mean net of refining if every piece was sent by itself, summed [money].
    for_sale : int
        Pieces that are for sale as they are.
    """

    request: LotRequest
    terms: QuoteRequest
    draws: LotDraws
    joint: Joint
    kept: Draws
    pieces: list[PieceQuote]
    content: Content
    spreading: Spreading
    whole_mass_g: Floats
    seen: bool
    fine: Summary
    refiners: list[RankedRefiner]
    alone_refined: float
    for_sale: int
    results: list[RouteResult]
    ceiling: Ceiling | None
    floor: Floor
    split: Split | None = None

    @staticmethod
    def money_per_g_of(terms: QuoteRequest) -> float:
        """Spot price of fine gold [money/g]."""
        return gold_per_ozt(terms.spot) / G_PER_OZT

    def with_split(self, split: Split | None) -> LotOutcome:
        """The same with a fair range."""
        return replace(self, split=split)

    @property
    def chosen(self) -> RankedRefiner | None:
        """The refiner that is chosen, if that way is open and one takes the lot."""
        open_way = any(result.route == "refine" for result in self.results)
        return self.refiners[0] if open_way and self.refiners and self.refiners[0].takes_it else None

    @property
    def verdict(self) -> Verdict:
        """What the lot comes to."""
        return verdict_of(self.ceiling, self.floor, self.split, seen=self.seen)


def told_lot(o: LotOutcome) -> LotQuote:
    """The quote that a lot comes to; see `valuation.lot_quote`."""
    per_g = o.money_per_g_of(o.terms)
    silver = summarised(o.content.silver_g)
    unshared = o.spreading.unshared()
    gap = None
    if o.seen and o.ceiling is not None and o.floor.amount is not None:
        gap = max(0.0, o.floor.amount - o.ceiling.amount)
    refine = next((result.mean for result in o.results if result.route == "refine"), None)
    return LotQuote(
        method_version=method_version(),
        draws=1 << o.draws.log2_draws,
        seed=o.draws.seed,
        quoted_at=o.request.quoted_at,
        currency=o.terms.spot.currency,
        title=o.request.title,
        verdict=o.verdict,
        pieces_counted=o.content.pieces,
        pieces_not_seen=sum(not piece.seen for piece in o.pieces),
        conditioning="by_piece" if o.joint.mask is None else "joint",
        kept_frac=o.joint.kept_frac,
        mass_g=None if not np.any(o.whole_mass_g) else summarised(o.whole_mass_g),
        native_gold_g=summarised(o.content.native_g),
        fine_gold_g=o.fine,
        fine_silver_g=silver,
        melt_value=o.fine.scaled(per_g),
        silver_value=silver.scaled(silver_per_ozt(o.terms.spot) / G_PER_OZT) if o.terms.spot.silver else None,
        doubt=Doubt(
            nothing_shared=Unshared(fine_gold_g=unshared, melt_value=unshared.scaled(per_g)),
            all_shared_sd=AllShared(fine_gold_g=o.spreading.sd_sum, melt_value=o.spreading.sd_sum * per_g),
        ),
        sharing=_sharing(o.draws),
        routes=tuple(o.results),
        settlement=_settlement(o, silver.median),
        refiners=refiner_rows(o.refiners),
        together_gains=None if refine is None else refine - o.alone_refined,
        buyer_ceiling=None if o.ceiling is None else o.ceiling.amount,
        seller_floor=o.floor.amount,
        floor_basis=o.floor.basis,
        cost_of_doubt=None if o.ceiling is None else o.ceiling.cost_of_doubt,
        doubt_free_route=None if o.ceiling is None else o.ceiling.doubt_free_route,
        fair=None if o.split is None else o.split.fair,
        gap=gap,
        plan=None if o.split is None else o.split.plan,
        pieces=tuple(_with_share(piece, o) for piece in o.pieces),
        terms=tuple(_terms(o)),
        cautions=tuple(_cautions(o)),
        assumptions=tuple(_assumptions(o)),
        notices=NOTICES,
    )


def _with_share(piece: PieceQuote, o: LotOutcome) -> PieceQuote:
    if (o.seen and not piece.seen) or o.fine.mean <= 0.0:
        return piece
    return piece.model_copy(update={"melt_share_frac": piece.fine_gold_g.mean / o.fine.mean})


def _sharing(draws: LotDraws) -> tuple[SharedStatement, ...]:
    return tuple(
        SharedStatement.model_validate({"what": kind, "statements": len(counts), "most_pieces": counts[0]})
        for kind, counts in draws.sharing().items()
    )


def _settlement(o: LotOutcome, silver_g: float) -> tuple[SettlementLine, ...]:
    if o.chosen is None:
        return ()
    mass = float(np.median(o.content.mass_g))
    rate = o.terms.buyer.capital_rate_per_year
    lines = statement(o.fine.median, silver_g, mass, o.chosen.refiner, o.terms.spot, rate)
    return tuple(SettlementLine(line=row.line, amount=f"{row.amount:f}", detail=row.detail) for row in lines)


def _terms(o: LotOutcome) -> list[LotTerm]:
    """How terms that are stated for one piece hold for the lot."""
    n, found = len(o.pieces), []
    if o.refiners:
        words = (
            "The pieces go to the refiner as one lot: assay fee, lot fee and freight are charged once, payable share, "
            "minimum and deduction go by the ounces of all together, treatment by their whole mass."
        )
        found.append(LotTerm(code="refined_together", message=words))
    if o.for_sale:
        words = (
            f"{o.for_sale} of {n} pieces are for sale as they are, each by itself and in its own time. What has not "
            "sold by the end of the longest wait is refined together then, if that pays; pieces that are not for sale "
            "are refined at once."
        )
        found.append(LotTerm(code="sold_singly", message=words))
    handling = o.request.buyer.handling_cost
    if handling > 0:
        each, whole = (money_words(amount, o.terms.spot.currency) for amount in (handling, handling * n))
        found.append(LotTerm(code="handling_each", message=f"Handling of {each} counts for each piece: {whole}."))
    words = "The seller's minimum, other bid and worth of keeping are taken to be for the whole lot."
    return [*found, LotTerm(code="seller_whole", message=words)]


def _cautions(o: LotOutcome) -> list[Caution]:
    found: list[Caution] = []
    n, unseen = len(o.pieces), sum(not piece.seen for piece in o.pieces)
    if unseen and o.seen:
        message = (
            f"In {unseen} of {n} pieces gold is not seen by weight: they count in no total, and are priced only where "
            "a collector's price in money is known."
        )
        found.append(Caution(code="pieces_not_seen", field="pieces", message=message))
    if o.joint.mask is None:
        message = (
            f"Only {o.joint.kept_frac:.1%} of the draws (under {LEAST_JOINT_FRAC:.0%}) leave a possible amount of gold "
            "in every piece, so each piece was judged by itself. Either the pieces are not of one rock, or the rock is "
            "not what was entered: part them by source, or weigh a bare chip."
        )
        found.append(Caution(code="conditioned_by_piece", field="pieces", message=message))
    if o.draws.log2_draws < LOG2_DRAWS:
        message = (
            f"For so many pieces {1 << o.draws.log2_draws} draws are taken instead of {1 << LOG2_DRAWS}: the ends of a "
            "range are known a little less closely."
        )
        found.append(Caution(code="fewer_draws", field="draws", message=message))
    found += _unique(caution for request in o.request.requests for caution in truncation_cautions(request))
    found += price_cautions(o.terms) + _refiner_cautions(o)
    return found + offer_cautions(o.terms, o.ceiling, o.floor, o.split, seen=o.seen)


def _unique(cautions: Iterable[Caution]) -> list[Caution]:
    return list({(c.code, c.field, c.message): c for c in cautions}.values())


def _refiner_cautions(o: LotOutcome) -> list[Caution]:
    if not any(result.route == "refine" for result in o.results):
        return []
    if o.chosen is None:
        message = "No refiner takes so small a lot, even together: this way out counts as nothing."
        return [Caution(code="lot_too_small", field="refiner.minimum_lot_ozt", message=message)]
    if not o.chosen.settlement.worth_sending:
        message = "Not worth sending, even together: the refiner's charges take as much as the gold brings."
        return [Caution(code="not_worth_sending", field="refiner", message=message)]
    return []


def _assumptions(o: LotOutcome) -> Sequence[Assumption]:
    rows: dict[tuple[str, str, str], Assumption] = {}
    for request in o.request.requests:
        for row in (*assumed_inputs(request), *named_materials(request)):
            rows.setdefault((row.name, row.value, row.field), row)
    for row in constants(o.terms, o.floor):
        rows.setdefault((row.name, row.value, row.field), row)
    # Pieces may differ in their ways out: those of the lot are the most that any has.
    ways = max((row.value for row in rows.values() if row.field == "buyer.routes"), key=len, default="")
    return [row for row in rows.values() if row.field != "buyer.routes" or row.value == ways]
