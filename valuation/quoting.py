"""quote(request): from a request to a quote."""

from __future__ import annotations

import numpy as np

from valuation.draws import LOG2_DRAWS, SEED, Draws
from valuation.request import QuoteRequest
from valuation.result import Quote
from valuation.stages import valued
from valuation.telling import told


def quote(
    request: QuoteRequest, *, seed: int = SEED, log2_draws: int = LOG2_DRAWS, with_price_risk: bool = False
) -> Quote:
    """Gold range, routes and fair offer range for one specimen.

    Parameters
    ----------
    request : QuoteRequest
        What is known.
    seed : int
        Seed of the scramble; the same request and seed give the same figures.
    log2_draws : int
        Base-2 logarithm of the number of draws.
    with_price_risk : bool
        Whether to table the chance of loss against settlement days, which takes about as long as all the rest.

    Returns
    -------
    Quote

    Raises
    ------
    ValuationError
        The readings, the chip or the rock are impossible together.
    RequestRefused
        The readings of the specimen and those of its chip are each impossible.
    """
    return told(valued(request, Draws(seed, log2_draws)), with_price_risk=with_price_risk)


def numerical_error(request: QuoteRequest, scrambles: int = 20, log2_draws: int = LOG2_DRAWS) -> dict[str, float]:
    """Standard deviation of each headline figure over independent scrambles, in the figure's own unit.

    Parameters
    ----------
    request : QuoteRequest
        What is known.
    scrambles : int
        Number of independent scrambles, at least 2.
    log2_draws : int
        Draws of each.

    Returns
    -------
    dict
        ``fine_gold_g.mean`` and so on, and ``buyer_ceiling`` where there is one.
    """
    runs = [_headline(quote(request, seed=SEED + 1 + i, log2_draws=log2_draws)) for i in range(scrambles)]
    return {name: float(np.std([run[name] for run in runs], ddof=1)) for name in runs[0]}


def _headline(q: Quote) -> dict[str, float]:
    figures = {}
    for name, summary in (
        ("native_gold_g", q.native_gold_g),
        ("fine_gold_g", q.fine_gold_g),
        ("melt_value", q.melt_value),
    ):
        for part in ("mean", "median", "low", "high"):
            figures[f"{name}.{part}"] = getattr(summary, part)
    for route in q.routes:
        for part in ("mean", "ceiling_by_margin", "ceiling_by_risk"):
            figures[f"{route.route}.{part}"] = getattr(route, part)
    if q.buyer_ceiling is not None:
        figures["buyer_ceiling"] = q.buyer_ceiling
    return figures
