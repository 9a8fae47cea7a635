"""record(pieces): how the house's quotes compared with what came of the pieces."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from valuation.counts import Mean, mean, share
from valuation.record_density import corrected, offset_told
from valuation.record_piece import Settled, side_of
from valuation.record_result import (
    Correction,
    LeftOut,
    MoneyPiece,
    PremiumRecord,
    ProfitRecord,
    Record,
    RefinedPiece,
    RockBias,
    SoldPiece,
)


def record(pieces: Iterable[Settled]) -> Record:
    """The record of settled pieces, in the order of their settling.

    Parameters
    ----------
    pieces : iterable of Settled
        As `settled_piece` gives them, oldest first.

    Notes
    -----
    Only deals that were agreed settle, so the record is of those. Sellers who know their piece agree more readily to
    an offer that is too high: a bias that no interval here holds.
    """
    told = tuple(pieces)
    refined = tuple(one.refined for one in told if one.refined is not None)
    sold = tuple(one.sold for one in told if one.sold is not None)
    money = tuple(one.money for one in told if one.money is not None)
    sides = [one.side for one in refined]
    return Record(
        refined=refined,
        sold=sold,
        money=money,
        held=share(sides.count("inside"), len(sides)),
        below=sides.count("below"),
        above=sides.count("above"),
        bias=_bias(refined),
        premium=_premium(sold),
        profit=_profit(money),
        corrections=_corrections(told),
        left_out=(*(left for one in told for left in one.left_out), *_without_ratio(refined)),
    )


def _has_ratio(one: RefinedPiece) -> bool:
    return one.recovered_g > 0.0 and one.median_g > 0.0


def _without_ratio(refined: Sequence[RefinedPiece]) -> list[LeftOut]:
    why = "no gold was recovered, so it has no ratio to the foretold"
    return [LeftOut(label=one.label, why=why) for one in refined if not _has_ratio(one)]


def _bias(refined: Sequence[RefinedPiece]) -> tuple[RockBias, ...]:
    """Recovered against foretold gold by kind of rock, of the pieces that have a ratio."""
    by_rock: dict[str, list[RefinedPiece]] = {}
    for one in refined:
        if _has_ratio(one):
            by_rock.setdefault(one.rock, []).append(one)
    found = []
    for rock, its in sorted(by_rock.items()):
        logs = mean([math.log(one.recovered_g / one.median_g) for one in its])
        difference = mean([one.recovered_g - one.median_g for one in its])
        assert difference is not None
        found.append(RockBias(rock=rock, n=len(its), difference_g=difference, **_as_ratio(logs)))
    return tuple(found)


def _as_ratio(logs: Mean | None) -> dict[str, float | None]:
    assert logs is not None
    ends = (None if end is None else _exp(end) for end in (logs.low, logs.high))
    return {"ratio": _exp(logs.mean), **dict(zip(("low", "high"), ends, strict=True))}


def _exp(x: float) -> float:
    """Of two wild figures the interval may reach beyond all numbers."""
    return math.exp(max(-600.0, min(x, 600.0)))


def _premium(sold: Sequence[SoldPiece]) -> PremiumRecord | None:
    logs, inside = [], 0
    for one in sold:
        if one.low_frac is None or one.likely_frac is None or one.high_frac is None:
            continue
        logs.append(math.log((1.0 + one.got_frac) / (1.0 + one.likely_frac)))
        inside += side_of(one.got_frac, one.low_frac, one.high_frac) == "inside"
    held = share(inside, len(logs))
    return None if held is None else PremiumRecord(held=held, **_as_ratio(mean(logs)))


def _profit(money: Sequence[MoneyPiece]) -> tuple[ProfitRecord, ...]:
    found = []
    for currency in sorted({one.currency for one in money}):
        its = [one for one in money if one.currency == currency]
        losses = share(sum(one.made < 0.0 for one in its), len(its))
        difference = mean([one.made - one.planned for one in its])
        assert losses is not None and difference is not None
        found.append(
            ProfitRecord(
                currency=currency,
                planned=sum(one.planned for one in its),
                made=sum(one.made for one in its),
                losses=losses,
                difference=difference,
            )
        )
    return tuple(found)


def _corrections(told: Sequence[Settled]) -> tuple[Correction, ...]:
    groups: dict[str, list[Settled]] = {}
    for one in told:
        if one.rock_key and one.implied is not None and one.stated is not None:
            groups.setdefault(one.rock_key, []).append(one)
    return tuple(_correction(group) for _, group in sorted(groups.items()))


def _correction(group: Sequence[Settled]) -> Correction:
    newest = group[-1]  # the density of a rock of the house's may have changed since the first
    assert newest.stated is not None and newest.refined is not None
    found = offset_told([one.implied for one in group if one.implied is not None], newest.stated)
    return Correction(
        rock=newest.refined.rock,
        n=found.n,
        verdict="few" if found.is_few else "suggested" if found.speaks_against_table else "none",
        table=found.table,
        u_table=found.u_table,
        u_prior=found.u_prior,
        pieces=found.pieces,
        u_pieces=found.u_pieces,
        offset=found.offset,
        u_offset=found.u_offset,
        low=found.low,
        high=found.high,
        scatter=found.scatter,
        stated=newest.stated,
        corrected=corrected(newest.stated, found),
    )
