"""What a negotiation over one piece turns on, under the names of the JSON keys."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, FiniteFloat

from valuation.extras import Extras


class Row(BaseModel):
    """A frozen part of a quote."""

    model_config = ConfigDict(frozen=True, extra="forbid")


AskVerdict = Literal[
    "below_floor",
    "under",
    "inside",
    "above_fair",
    "above_ceiling",
    "below_known_alternative",
    "no_deal_low",
    "no_deal",
    "floor_unknown",
    "not_by_weight",
]


class Counter(Row):
    """What one side should answer to the other's figure.

    Parameters
    ----------
    by : str
        Whose answer it is.
    action : str
        ``accept``, ``counter``, or ``none`` where no cash price is fair.
    figure : float or None
        What the price to name, or to accept, costs all-in [money].
    named : float or None
        That price as it is said: before extras, in the ask's own currency.
    reason : str
        One sentence.
    caution : str or None
        ``low_ask`` or ``high_bid`` where the other's figure lies beyond the fair range in one's own favour.
    """

    by: Literal["buyer", "seller"]
    action: Literal["accept", "counter", "none"]
    figure: FiniteFloat | None
    named: FiniteFloat | None = None
    reason: str
    caution: str | None = None


class AskResult(Row):
    """What the seller asks now, checked; money in the quote's currency.

    Parameters
    ----------
    price : float
        The newest figure that the seller said, else the asking price: before extras, in the ask's own currency.
    first_asked : float
        What was asked first, in the same way.
    extras : Extras
        What is paid on top of a price that is named.
    all_in : float
        `price` with shipping, fee, tax and exchange, in whole coins.
    verdict : str
        Where it lies; see model, stage 6.
    floor_assumed : bool
        Whether the floor that the verdict rests on is only assumed.
    reason : str
        The verdict in one plain sentence.
    worth_paying : float or None
        Highest all-in price worth paying: the buyer's ceiling, rounded down to the smallest coin.
    worth_paying_before_extras : float or None
        The highest price to name that comes to no more; None where the extras alone do.
    expected_profit, margin_frac, chance_of_loss : float or None
        At the ask, on the way out that sets the ceiling; the margin is a share of the outlay.
    of_median_melt_frac, per_gram_fine, per_gram_native : float or None
        The ask over the median melt value, and per gram of median gold.
    break_even_fine_g, chance_of_break_even : float or None
        Fine gold at which refining, at likely values, just pays the ask, and the chance that refining pays it.
    break_even_premium_frac : float or None
        Premium at which the intact route pays the ask on average.
    counter : Counter
        The buyer's answer.
    counter_before_extras : float or None
        What to name to the seller so that it comes to the counter all-in, in the ask's own currency.
    first : str or None
        What to weigh or learn first, where too little is known.
    """

    price: FiniteFloat
    first_asked: FiniteFloat
    extras: Extras
    all_in: FiniteFloat
    verdict: AskVerdict
    floor_assumed: bool
    reason: str
    worth_paying: FiniteFloat | None
    worth_paying_before_extras: FiniteFloat | None
    expected_profit: FiniteFloat | None
    margin_frac: FiniteFloat | None
    chance_of_loss: FiniteFloat | None
    of_median_melt_frac: FiniteFloat | None
    per_gram_fine: FiniteFloat | None
    per_gram_native: FiniteFloat | None
    break_even_fine_g: FiniteFloat | None
    chance_of_break_even: FiniteFloat | None
    break_even_premium_frac: FiniteFloat | None
    counter: Counter
    counter_before_extras: FiniteFloat | None
    first: str | None


class ClaimReading(Row):
    """A claim under one reading of what was meant.

    Parameters
    ----------
    basis : str
        ``native`` or ``fine``.
    chance : float
        Chance that at least so much is there, by the weighing.
    fineness_needed_frac : float or None
        Fineness that would make it true with the likely readings and rock; None if none would, or if native was meant.
    host_needed_g_cm3 : float or None
        Rock density that would make it true at the likely fineness; None for gold that was not weighed, and where no
        rock would.
    host_within : bool or None
        Whether that density lies in the range drawn for the rock.
    """

    basis: Literal["native", "fine"]
    chance: FiniteFloat
    fineness_needed_frac: FiniteFloat | None
    host_needed_g_cm3: FiniteFloat | None
    host_within: bool | None


class ClaimResult(Row):
    """A claim of so much gold, held against the weighing.

    Parameters
    ----------
    claimed_g : float
        The claim [g].
    readings : tuple of ClaimReading
        One per basis that may have been meant.
    difference_g : float
        Claim less median fine gold [g].
    silver_called_gold_g : float
        Part of a positive difference that is silver and copper of the native metal counted as gold [g].
    silver_called_gold_money : float
        What that part would be worth if it were gold [money].
    unexplained_g, unexplained_money : float
        What is left of the difference, in fine gold and in money.
    message : str
        One plain sentence.
    """

    claimed_g: FiniteFloat
    readings: tuple[ClaimReading, ...]
    difference_g: FiniteFloat
    silver_called_gold_g: FiniteFloat
    silver_called_gold_money: FiniteFloat
    unexplained_g: FiniteFloat
    unexplained_money: FiniteFloat
    message: str


class RefinerRow(Row):
    """One refiner's discounted net on the same draws as the others [money].

    Parameters
    ----------
    name : str
        As entered.
    mean, sd, low, median, high : float
        Of the discounted net; 95 % interval.
    chance_best : float
        Share of draws in which it pays most of those that take the lot.
    takes_it : bool
        Whether the likely lot reaches its minimum.
    chosen : bool
        Whether the quote refines there.
    """

    name: str
    mean: FiniteFloat
    sd: FiniteFloat
    low: FiniteFloat
    median: FiniteFloat
    high: FiniteFloat
    chance_best: FiniteFloat
    takes_it: bool
    chosen: bool


class ComparableRow(Row):
    """One comparable sale as it was weighed."""

    date: str
    ratio: FiniteFloat
    weight_frac: FiniteFloat
    ignored: bool


class LeaveOneOutRow(Row):
    """How often the 10 to 90 % band held on the sales themselves; exact 95 % interval."""

    held: int
    of: int
    low_frac: FiniteFloat
    high_frac: FiniteFloat


class PremiumResult(Row):
    """Where the collector's premium comes from; 10, 50 and 90 % quantiles.

    Parameters
    ----------
    basis : str
        ``entered``, ``rubric`` or ``comparables``.
    low_frac, likely_frac, high_frac : float
        Quantiles of the premium.
    n_effective : float or None
        Effective sample size of comparable sales.
    sales : tuple of ComparableRow
        The sales, weighed.
    leave_one_out : LeaveOneOutRow or None
        Check of the band.
    """

    basis: Literal["entered", "rubric", "comparables"]
    low_frac: FiniteFloat
    likely_frac: FiniteFloat
    high_frac: FiniteFloat
    n_effective: FiniteFloat | None
    sales: tuple[ComparableRow, ...]
    leave_one_out: LeaveOneOutRow | None


class PartyOutcome(Row):
    """One party's side of a deal, discounted to the day of the quote [money].

    Parameters
    ----------
    mean, low, high : float
        Mean and 10 to 90 % range: the buyer's profit after handling; what the seller receives.
    first_percentile : float or None
        Shown if negative.
    loss_chance : float
        The buyer: chance of a negative profit. The seller: chance of ending below the floor.
    cash_today : float
        Money that changes hands today: negative for the buyer, positive for the seller.
    paid_after_days : float
        Likely day of the last payment, from today.
    """

    mean: FiniteFloat
    low: FiniteFloat
    high: FiniteFloat
    first_percentile: FiniteFloat | None
    loss_chance: FiniteFloat
    cash_today: FiniteFloat
    paid_after_days: FiniteFloat


class DealTerm(Row):
    """A figure that a deal fixes: ``advance``, ``share_frac``, ``threshold``, ``most_paid`` or ``commission_frac``."""

    term: str
    amount: FiniteFloat


class DealRow(Row):
    """A way to deal, for both parties; `buyer` and `seller` are None where it is not offered.

    Parameters
    ----------
    deal : str
        ``cash``, ``advance_and_settle`` or ``consign``.
    offered : bool
        Whether its conditions hold.
    reason : str
        Why not, or what it means, in one or two sentences.
    terms : tuple of DealTerm
        What it fixes.
    """

    deal: Literal["cash", "advance_and_settle", "consign"]
    offered: bool
    reason: str
    terms: tuple[DealTerm, ...]
    buyer: PartyOutcome | None
    seller: PartyOutcome | None


class SaidRow(Row):
    """One figure named, with its step from that side's figure before and the ratio to the step before that.

    Parameters
    ----------
    figure, step : float
        Before extras, in the ask's own currency.
    all_in : float
        What the figure costs with the extras of the ask [money].
    """

    by: Literal["buyer", "seller"]
    figure: FiniteFloat
    all_in: FiniteFloat
    step: FiniteFloat | None
    step_ratio: FiniteFloat | None


class CounterResult(Row):
    """The figures named so far and the answers that follow.

    Parameters
    ----------
    said : tuple of SaidRow
        In order.
    gap : float or None
        Seller's last figure less buyer's last, before extras.
    next : Counter
        The answer of the side whose turn it is: the other one than who spoke last.
    """

    said: tuple[SaidRow, ...]
    gap: FiniteFloat | None
    next: Counter


class RiskRow(Row):
    """Refining with the price left open for so many days.

    Parameters
    ----------
    days : float
        Settlement days.
    chance_of_loss : float
        At `price`, after handling.
    ceiling : float
        What the house's terms allow on this way out [money].
    """

    days: FiniteFloat
    chance_of_loss: FiniteFloat
    ceiling: FiniteFloat


class PriceRisk(Row):
    """What the metal price can do until settlement.

    Parameters
    ----------
    price : float
        The price paid that the chances refer to: the house's offer, else the middle, else the ceiling [money].
    price_basis : str
        ``offer``, ``middle`` or ``ceiling``.
    rows : tuple of RiskRow
        By settlement days.
    break_even_fall_frac : float or None
        Fall of the gold price at which refining only pays `price` and handling on average; negative if it does not
        even at today's price; None if no price would.
    chance_of_fall : float or None
        Chance that the price falls at least so far by settlement; 0 if it is fixed at receipt.
    open_days : float or None
        Days for which the price stays open: those to settlement, 0 if it is fixed at receipt; None in old sheets.
    """

    price: FiniteFloat
    price_basis: Literal["offer", "middle", "ceiling"]
    rows: tuple[RiskRow, ...]
    break_even_fall_frac: FiniteFloat | None
    chance_of_fall: FiniteFloat | None
    open_days: FiniteFloat | None = None
