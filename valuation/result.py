"""A quote: what the engine answers, under the names of the JSON keys."""

from __future__ import annotations

from typing import Literal

from pydantic import AwareDatetime, FiniteFloat

from valuation.errors import Caution
from valuation.summary import Summary
from valuation.trade import AskResult, ClaimResult, CounterResult, DealRow, PremiumResult, PriceRisk, RefinerRow
from valuation.trade import Row as _Row


class BudgetRow(_Row):
    """One input's part in the doubt about fine gold.

    Parameters
    ----------
    input : str
        Plain name of the input, or ``interactions``.
    share_frac : float
        First-order share of the variance of fine gold, before impossible draws are dropped.
    money : float or None
        By how much the 95 % range of melt value would narrow if this input were exact [money].
    """

    input: str
    share_frac: FiniteFloat
    money: FiniteFloat | None


class Detection(_Row):
    """Whether this weighing can see gold; grams of native gold.

    Parameters
    ----------
    estimate_g, critical_g : float
        Median before conditioning, and the value above which gold counts as seen.
    limit_g : float or None
        Smallest amount that is reliably seen; None where no amount is.
    seen : bool
        Whether the estimate is above the critical value.
    """

    estimate_g: FiniteFloat
    critical_g: FiniteFloat
    limit_g: FiniteFloat | None
    seen: bool


class HandRule(_Row):
    """A rule of thumb for the same readings and what it silently assumes.

    Parameters
    ----------
    rule : str
        ``quick`` or ``long``.
    native_g : float
        Native gold by the rule [g].
    assumed_host_g_cm3, assumed_native_g_cm3 : float
        Densities that the rule takes for granted.
    assumed_fineness_frac : float or None
        Fineness that goes with the assumed density of native gold.
    money_difference : float
        Melt value if the rule's grams were counted as fine gold, less this quote's median [money].
    """

    rule: Literal["quick", "long"]
    native_g: FiniteFloat
    assumed_host_g_cm3: FiniteFloat
    assumed_native_g_cm3: FiniteFloat
    assumed_fineness_frac: FiniteFloat | None
    money_difference: FiniteFloat


class RouteResult(_Row):
    """Net proceeds of one way out, discounted to the day of the quote, and what they allow [money].

    Parameters
    ----------
    route : str
        ``refine`` or ``intact``.
    mean, sd, low, median, high : float
        Of the net proceeds; 95 % interval.
    ceiling_by_margin, ceiling_by_risk : float
        ``(E[V] - H) / (1 + m)`` and ``Q_alpha(V) - H``.
    ceiling : float
        The smaller of the two, not below 0.
    binds : str
        Which of the two it is: ``margin`` or ``risk``.
    """

    route: str
    mean: FiniteFloat
    sd: FiniteFloat
    low: FiniteFloat
    median: FiniteFloat
    high: FiniteFloat
    ceiling_by_margin: FiniteFloat
    ceiling_by_risk: FiniteFloat
    ceiling: FiniteFloat
    binds: Literal["margin", "risk"]


class SettlementLine(_Row):
    """One line of the settlement at likely values; money as text with the currency's digits."""

    line: str
    amount: str
    detail: str


class FairRange(_Row):
    """Figures at which both sides are better off than without a deal [money]."""

    low: FiniteFloat
    middle: FiniteFloat
    high: FiniteFloat


class Side(_Row):
    """One side's plan: where to open, what to aim for, where to stop [money]."""

    open: FiniteFloat
    aim: FiniteFloat
    stop: FiniteFloat


class Plan(_Row):
    """Plans of both sides, and the step that their figures are whole multiples of [money]."""

    buyer: Side
    seller: Side
    step: FiniteFloat


class GapCause(_Row):
    """What the buyer's ceiling would be without one of its causes [money].

    Parameters
    ----------
    cause : str
        ``doubt``, ``charges``, ``margin`` or ``premium``.
    ceiling_without : float
        The ceiling if that cause were absent.
    closes : bool
        Whether that alone would reach the floor.
    """

    cause: Literal["doubt", "charges", "margin", "premium"]
    ceiling_without: FiniteFloat
    closes: bool


class Assumption(_Row):
    """A value that nobody entered.

    Parameters
    ----------
    name : str
        Plain label.
    value : str
        With its unit.
    source : str
        Where it comes from.
    field : str
        Dotted path of the field that would replace it; empty for a constant.
    """

    name: str
    value: str
    source: str
    field: str


class Notice(_Row):
    """What is always printed."""

    code: str
    message: str


Verdict = Literal["fair_range", "no_fair_price", "floor_unknown", "not_by_weight"]
FloorBasis = Literal["minimum", "other_bid", "own_refining", "keep_value", "assumed"]


class Quote(_Row):
    """The answer to a request; estimates are numbers, 95 % intervals are symmetric.

    Notes
    -----
    `buyer_ceiling` and `cost_of_doubt` are None where nothing can be priced (gold not seen by weight);
    `specific_gravity` and `volume_cm3` are None for gold measured elsewhere.
    """

    method_version: str
    draws: int
    seed: int
    quoted_at: AwareDatetime
    currency: str
    title: str
    verdict: Verdict
    specific_gravity: Summary | None
    mass_g: Summary | None
    volume_cm3: Summary | None
    native_gold_g: Summary
    fine_gold_g: Summary
    fine_silver_g: Summary
    melt_value: Summary
    silver_value: Summary | None
    kept_frac: FiniteFloat
    budget: tuple[BudgetRow, ...]
    detection: Detection | None
    false_gold: dict[str, FiniteFloat] | None
    hand_rules: tuple[HandRule, ...]
    routes: tuple[RouteResult, ...]
    settlement: tuple[SettlementLine, ...]
    buyer_ceiling: FiniteFloat | None
    seller_floor: FiniteFloat | None
    floor_basis: FloorBasis
    cost_of_doubt: FiniteFloat | None
    doubt_free_route: str | None
    fair: FairRange | None
    gap: FiniteFloat | None
    gap_causes: tuple[GapCause, ...]
    plan: Plan | None
    ask: AskResult | None
    claim: ClaimResult | None
    refiners: tuple[RefinerRow, ...]
    premium: PremiumResult | None
    deals: tuple[DealRow, ...]
    counters: CounterResult | None
    price_risk: PriceRisk | None
    cautions: tuple[Caution, ...]
    assumptions: tuple[Assumption, ...]
    notices: tuple[Notice, ...]
