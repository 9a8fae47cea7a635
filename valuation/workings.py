"""working(request): the arithmetic of every headline figure, as with a pocket calculator."""

from __future__ import annotations

from valuation.draws import LOG2_DRAWS, SEED, Draws
from valuation.request import QuoteRequest
from valuation.stages import Valuation, valued
from valuation.working_gold import gold_workings, melt_working
from valuation.working_intact import intact_working
from valuation.working_offer import offer_workings
from valuation.working_refining import chosen_refiner, refine_working, settlement_working
from valuation.working_sheet import HeadlineWorking


def working(request: QuoteRequest, *, seed: int = SEED, log2_draws: int = LOG2_DRAWS) -> tuple[HeadlineWorking, ...]:
    """The working of every headline figure of the quote for the same request and seed.

    Parameters
    ----------
    request : QuoteRequest
        What is known.
    seed, log2_draws : int
        As for `quote`.

    Returns
    -------
    tuple of HeadlineWorking
        From the readings to the offer, in the order of the arithmetic.

    Raises
    ------
    ValuationError
        The readings, the chip or the rock are impossible together.
    """
    return worked(valued(request, Draws(seed, log2_draws)))


def worked(v: Valuation) -> tuple[HeadlineWorking, ...]:
    """The working of every headline figure of a valuation; see `working`."""
    found = gold_workings(v)
    settlement = None
    if v.seen:
        found.append(melt_working(v))
        refiner = chosen_refiner(v)
        if refiner is not None:
            settlement = settlement_working(v, refiner)
            found.append(settlement)
    for result in v.results:
        write = refine_working if result.route == "refine" else intact_working
        found.append(write(v, result, settlement))
    return (*found, *offer_workings(v))
