"""What more evidence is worth, under the names of the JSON keys."""

from __future__ import annotations

from typing import Literal

from pydantic import AwareDatetime, FiniteFloat

from valuation.evidence_tests import TestKind
from valuation.result import Assumption
from valuation.summary import Summary
from valuation.trade import Row as _Row

Status = Literal["ranked", "not_priced", "too_fine", "nothing_to_learn", "nothing_weighed"]
PriceBasis = Literal["middle", "ask", "floor"]
EvidenceVerdict = Literal["pays", "none_pays", "weigh_first", "not_priced"]


class EvidenceRow(_Row):
    """One test, what it would tell and what that is worth.

    Parameters
    ----------
    kind : str
        As in the request.
    status : str
        ``ranked``; ``not_priced`` where no deal can be valued; ``too_fine`` where too few draws stand behind an
        outcome; ``nothing_to_learn`` where what it measures is not in doubt; ``nothing_weighed``.
    reason : str
        Why it is not ranked, in a sentence; else empty.
    u, unit : float or None, str
        Standard uncertainty of what it measures.
    readings : int or None
        Further readings, for repeats.
    precision : str
        What that uncertainty comes from and what would lessen it, in a sentence; empty where it was entered.
    minutes, cost : float
        Time [min] and money.
    premium_lost_frac, needs_consent, safety : float, bool, tuple of str
        Damage to the collector's premium, whether the owner must agree, and how to be careful.
    fine_low_g, fine_high_g, width_g : float or None
        Ends and width of the 95 % range of fine gold to expect after it, mean over its outcomes [g].
    width_money : float or None
        The same width as melt value [money].
    change_chance, deal_chance : float or None
        How often the deal becomes another one, and how often there is a deal.
    turn_chance : float or None
        How often there is a deal where there is none today, or none where there is one; part of `change_chance`, the
        rest of which is another price or way out.
    gain_house, gain_seller, gain_both, u_gain : float or None
        What each gains on average, the sum, and the standard error of the sum [money].
    damage : float or None
        What the piece or the deal loses by the test [money].
    net : float or None
        ``gain_both - cost - damage`` [money].
    pays : bool
        Whether `net` is above 0 by two standard errors.
    decision_value : float or None
        What it is worth to the house alone, which may buy at today's price or not, before cost and damage [money].
    effective_draws : float or None
        Draws behind an outcome: nine outcomes in ten have more.
    """

    kind: TestKind
    status: Status
    reason: str
    u: FiniteFloat | None
    unit: str
    readings: int | None
    minutes: FiniteFloat
    cost: FiniteFloat
    premium_lost_frac: FiniteFloat
    needs_consent: bool
    safety: tuple[str, ...]
    fine_low_g: FiniteFloat | None = None
    fine_high_g: FiniteFloat | None = None
    width_g: FiniteFloat | None = None
    width_money: FiniteFloat | None = None
    change_chance: FiniteFloat | None = None
    deal_chance: FiniteFloat | None = None
    turn_chance: FiniteFloat | None = None
    gain_house: FiniteFloat | None = None
    gain_seller: FiniteFloat | None = None
    gain_both: FiniteFloat | None = None
    u_gain: FiniteFloat | None = None
    damage: FiniteFloat | None = None
    net: FiniteFloat | None = None
    pays: bool = False
    decision_value: FiniteFloat | None = None
    effective_draws: FiniteFloat | None = None
    precision: str = ""


class EvidenceToday(_Row):
    """How things stand before any test.

    Parameters
    ----------
    fine_gold_g : Summary
        As in the quote [g].
    width_money : float
        Width of the 95 % range of melt value [money].
    deal : bool or None
        Whether ceiling and floor leave room for a deal; None where nothing can be priced.
    ceiling, floor : float or None
        Of the house and of the seller [money].
    price, price_basis : float or None, str or None
        The price at which `decision_value` is reckoned, and what it is: the middle, the ask, or the floor.
    certainty_value : float or None
        What it would be worth to the house to know everything, at that price [money].
    """

    fine_gold_g: Summary
    width_money: FiniteFloat
    deal: bool | None
    ceiling: FiniteFloat | None
    floor: FiniteFloat | None
    price: FiniteFloat | None
    price_basis: PriceBasis | None
    certainty_value: FiniteFloat | None


class Evidence(_Row):
    """Which test to make before the deal, if any; `tests` stand best first."""

    method_version: str
    draws: int
    seed: int
    outcomes: int
    quoted_at: AwareDatetime
    currency: str
    title: str
    verdict: EvidenceVerdict
    today: EvidenceToday
    tests: tuple[EvidenceRow, ...]
    assumptions: tuple[Assumption, ...]
