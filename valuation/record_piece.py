"""One piece that was bought: what was foretold of it beside what came of it."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass

import numpy as np

from valuation.assumptions import value_words
from valuation.draws import LOG2_DRAWS, Draws
from valuation.errors import ValuationError
from valuation.mass import grams_per
from valuation.materials import rock as named_rock
from valuation.outcome import Outcome, Refined, Sold
from valuation.record_density import Implied, implied_density
from valuation.record_result import LeftOut, MoneyPiece, RefinedPiece, Side, SoldPiece
from valuation.request import QuoteRequest
from valuation.spot import DAYS_PER_YEAR
from valuation.spread import Spread
from valuation.stages import observed, of_kept, valued
from valuation.summary import summarised
from valuation.terms import Refiner
from valuation.weighing import Weighed


@dataclass(frozen=True)
class Foretold:
    """What the quote said when the piece was bought.

    Parameters
    ----------
    request : QuoteRequest
        What was known.
    seed : int
        Of its draws.
    fine_median_g : float
        As quoted.
    route_means : mapping of str to float
        Mean net proceeds of each way out, as worth on the day of the quote.
    premium : (float, float, float) or None
        10, 50 and 90 % points.
    offer : float
        What was paid for the piece.
    rock_name : str
        The house's own name of the rock; empty for a rock of the table.
    """

    request: QuoteRequest
    seed: int
    fine_median_g: float
    route_means: dict[str, float]
    premium: tuple[float, float, float] | None
    offer: float
    rock_name: str = ""


@dataclass(frozen=True)
class Settled:
    """A piece and what came of it; parts that cannot be compared are None, and `left_out` says why.

    Parameters
    ----------
    rock_key : str
        The same for pieces whose rock is one statement; empty where a correction of its density means nothing.
    stated : Spread or None
        Density of the rock that was quoted with.
    implied : Implied or None
        Density of the rock by the settlement.
    """

    refined: RefinedPiece | None = None
    sold: SoldPiece | None = None
    money: MoneyPiece | None = None
    rock_key: str = ""
    stated: Spread | None = None
    implied: Implied | None = None
    left_out: tuple[LeftOut, ...] = ()


def settled_piece(label: str, foretold: Foretold, outcome: Outcome, *, log2_draws: int = LOG2_DRAWS) -> Settled:
    """A piece beside what was foretold of it.

    Parameters
    ----------
    label : str
        What the house calls it.
    foretold : Foretold
        What the quote said.
    outcome : Outcome
        What came of it.
    log2_draws : int
        As for `quote`.

    Notes
    -----
    A refiner weighs what came out, not what was in the piece. So the range that is checked is that of recovered gold,
    ``R = F x recovery + e``: fine gold and recovery drawn together as the quote draws them, e by the doubt of the
    settled figure itself. Profit is ``net exp(-r t) - handling - offer``, t the days that it took.
    """
    money = _money(label, foretold, outcome)
    left = [] if isinstance(money, MoneyPiece) else [money]
    gained = money if isinstance(money, MoneyPiece) else None
    if isinstance(outcome, Sold):
        sold = _sold(label, foretold, outcome)
        if isinstance(sold, SoldPiece):
            return Settled(sold=sold, money=gained, left_out=tuple(left))
        return Settled(money=gained, left_out=(*left, sold))
    try:
        found = _refined(label, foretold, outcome, Draws(foretold.seed, log2_draws))
    except ValuationError as refused:
        return Settled(money=gained, left_out=(*left, LeftOut(label=label, why=str(refused))))
    refined, implied = found
    key, stated = rock_statement(foretold)
    return Settled(refined, None, gained, key, stated, implied, tuple(left))


def rock_words(foretold: Foretold) -> str:
    """What a piece's rock is called."""
    rock = foretold.request.rock
    if foretold.request.weighing is None or rock is None:
        return "gold not weighed here"
    if foretold.rock_name:
        return foretold.rock_name
    if rock.kind is not None:
        return named_rock(rock.kind).label
    if rock.chip is not None:
        return "rock weighed by a chip"
    if rock.minerals is not None:
        return "rock by its minerals"
    return f"rock of {value_words(rock.density_g_cm3, 'g/cm³')}"


def rock_statement(foretold: Foretold) -> tuple[str, Spread | None]:
    """Key and density of a rock that many pieces can share; neither for a chip or minerals, which are a piece's own."""
    rock = foretold.request.rock
    if foretold.request.weighing is None or rock is None:
        return "", None
    if rock.kind is not None:
        return f"kind {rock.kind}", named_rock(rock.kind).density_g_cm3.spread
    if rock.density_g_cm3 is None:
        return "", None
    if foretold.rock_name:
        return f"house {foretold.rock_name}", rock.density_g_cm3
    return f"stated {json.dumps(rock.density_g_cm3.model_dump(mode='json'), sort_keys=True)}", rock.density_g_cm3


def _refiner(foretold: Foretold, draws: Draws) -> Refiner:
    """Whose terms the quote counted with: of several, the one that it ranked first."""
    request = foretold.request
    if request.other_refiners:
        best = valued(request, draws).routes.refine
        if best is not None:
            return best.refiner
    return request.refiner or Refiner()


def _refined(label: str, foretold: Foretold, outcome: Refined, draws: Draws) -> tuple[RefinedPiece, Implied | None]:
    request = foretold.request
    weighed, content = observed(request, draws)
    kept = draws.only(content.possible)
    recovery = _refiner(foretold, draws).recovery_frac
    u = outcome.u_fine_gold_g or 0.0
    recovered = of_kept(content.fine_g, kept) * kept.of("recovery", recovery)
    if u > 0:
        recovered = recovered + u * kept.z("void" if weighed is None else "measured_gold")  # drawn for nothing else
    foreseen = summarised(np.asarray(recovered))
    implied = None if weighed is None else _implied(foretold, weighed, recovery, outcome, draws)
    got = outcome.fine_gold_g
    row = RefinedPiece(
        label=label,
        rock=rock_words(foretold),
        recovered_g=got,
        low_g=foreseen.low,
        median_g=foreseen.median,
        high_g=foreseen.high,
        side=side_of(got, foreseen.low, foreseen.high),
        place=_place(got, foreseen.low, foreseen.median, foreseen.high),
        host_g_cm3=None if implied is None else implied.g_cm3,
        u_host_g_cm3=None if implied is None else implied.u,
    )
    return row, implied


def side_of(got: float, low: float, high: float) -> Side:
    """On which side of a range a figure lies; its ends belong to it."""
    return "below" if got < low else "above" if got > high else "inside"


def _place(got: float, low: float, median: float, high: float) -> float:
    half = high - median if got > median else median - low
    if half <= 0.0:
        return 0.0 if got == median else math.copysign(99.0, got - median)
    return max(-99.0, min((got - median) / half, 99.0))


def _implied(foretold: Foretold, weighed: Weighed, recovery: Spread, outcome: Refined, draws: Draws) -> Implied | None:
    request = foretold.request
    assert request.weighing is not None and request.rock is not None
    refiner = (request.refiner or Refiner()).name
    gold = request.gold.model_dump_json(include={"fineness_frac", "copper_share_frac"})
    statements = {
        "recovery": f"recovery {refiner} {recovery.model_dump_json()}",
        "fineness": f"fineness {gold}",
        "copper_share": f"copper {gold}",
        "alloy_density": f"alloy {gold}",
        "span": f"span {request.weighing.span_tolerance_frac}",
    }
    u = outcome.u_fine_gold_g or 0.0
    return implied_density(weighed, request.rock, request.gold, recovery, outcome.fine_gold_g, u, draws, statements)


def _sold(label: str, foretold: Foretold, outcome: Sold) -> SoldPiece | LeftOut:
    melt = foretold.fine_median_g * outcome.gold_price / grams_per(outcome.unit)
    if foretold.request.spot.currency != outcome.currency:
        return LeftOut(label=label, why="it was sold in another currency than it was quoted in")
    if not melt > 0.0:
        return LeftOut(label=label, why="no gold was foretold, so its price is no premium on gold")
    low, likely, high = foretold.premium or (None, None, None)
    got = float(outcome.price) / melt - 1.0
    return SoldPiece(label=label, got_frac=got, low_frac=low, likely_frac=likely, high_frac=high)


def _money(label: str, foretold: Foretold, outcome: Outcome) -> MoneyPiece | LeftOut:
    route = "refine" if isinstance(outcome, Refined) else "intact"
    planned = foretold.route_means.get(route)
    request = foretold.request
    if planned is None:
        way = "refining" if route == "refine" else "a sale"
        return LeftOut(label=label, why=f"it was not priced for {way}, so there is no plan to compare")
    if request.spot.currency != outcome.currency:
        return LeftOut(label=label, why="it was paid for in another currency than it was quoted in")
    net = outcome.paid if isinstance(outcome, Refined) else outcome.price - outcome.costs
    outlay = request.buyer.handling_cost + foretold.offer
    present = float(net) * math.exp(-request.buyer.capital_rate_per_year * outcome.days / DAYS_PER_YEAR)
    return MoneyPiece(label=label, currency=outcome.currency, planned=planned - outlay, made=present - outlay)
