"""A refiner's terms -> what the piece brings: draws, and a line-by-line settlement."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal

import numpy as np

from valuation.draws import Draws
from valuation.mass import G_PER_OZT
from valuation.money import exact, minor_unit
from valuation.spot import DAYS_PER_YEAR, gold_later_per_ozt, gold_per_ozt, silver_later_per_ozt, silver_per_ozt
from valuation.spread import Floats
from valuation.terms import Refiner, Spot


@dataclass(frozen=True)
class Lot:
    """What is sent to a refiner.

    Parameters
    ----------
    fine_g, silver_g : ndarray, shape (n,)
        Fine gold and fine silver contained [g].
    mass_g : ndarray, shape (n,) or ()
        Mass of the piece [g].
    """

    fine_g: Floats
    silver_g: Floats
    mass_g: Floats


@dataclass(frozen=True)
class Settlement:
    """A refiner's settlement, drawn.

    Parameters
    ----------
    net : ndarray, shape (n,)
        Paid to the sender on the day of settlement, undiscounted [money].
    present : ndarray, shape (n,)
        The same, discounted to the day of the quote [money].
    payable_ozt : ndarray, shape (n,)
        Payable fine gold [ozt].
    """

    net: Floats
    present: Floats
    payable_ozt: Floats

    @property
    def worth_sending(self) -> bool:
        """Whether sending it in pays on average."""
        return float(np.mean(self.net)) > 0.0

    def present_or_nothing(self) -> Floats:
        """Discounted net, or zeros if it is not worth sending."""
        return self.present if self.worth_sending else np.zeros_like(self.present)


def payable_gold_ozt(assayed_ozt: Floats, refiner: Refiner) -> Floats:
    """Gold that is paid [ozt], by the tier that the assayed gold reaches, never below zero.

    Notes
    -----
    ``payable = max(0, min(assayed p, assayed - minimum deduction))``, p of the highest tier with
    ``assayed >= from_ozt``, for all ounces.
    """
    assayed = np.asarray(assayed_ozt)
    if len(refiner.payable) == 1:
        share: Floats = np.asarray(refiner.payable[0].frac)
    else:
        starts = np.array([tier.from_ozt for tier in refiner.payable])
        shares = np.array([tier.frac for tier in refiner.payable])
        share = shares[np.searchsorted(starts, assayed, side="right") - 1]
    return np.maximum(0.0, np.minimum(assayed * share, assayed - refiner.minimum_deduction_ozt))


def settled(
    lot: Lot,
    refiner: Refiner,
    spot: Spot,
    rate_per_year: float,
    draws: Draws,
    *,
    recovery_column: str = "recovery",
    after_years: Floats | float = 0.0,
) -> Settlement:
    """Net proceeds of refining, drawn.

    Parameters
    ----------
    lot : Lot
        What is sent.
    refiner : Refiner
        Its terms.
    spot : Spot
        Price now.
    rate_per_year : float
        Discount rate, continuously compounded.
    draws : Draws
        The draws.
    recovery_column : str
        Column that draws the recovery.
    after_years : float or ndarray
        When it is sent, from now [years].

    Returns
    -------
    Settlement
    """
    paid_years = after_years + refiner.settlement_days / DAYS_PER_YEAR
    priced_years = after_years if refiner.price_fixed == "receipt" else paid_years
    recovery = draws.of(recovery_column, refiner.recovery_frac)
    payable = payable_gold_ozt(lot.fine_g * (recovery / G_PER_OZT), refiner)
    value = payable * gold_later_per_ozt(spot, priced_years, draws)
    net = value * (1.0 - refiner.price_discount_frac - refiner.insurance_frac)
    net = net - payable * refiner.refining_per_ozt - lot.mass_g * (refiner.treatment_per_kg / 1000.0)
    net = net - (refiner.assay_fee + refiner.lot_fee + refiner.freight)
    if refiner.silver_payable_frac > 0:
        if refiner.silver_recovery_frac is not None:
            recovery = draws.of("silver_recovery", refiner.silver_recovery_frac)
        paid_ozt = lot.silver_g * (recovery * refiner.silver_payable_frac / G_PER_OZT)
        net = net + paid_ozt * silver_later_per_ozt(spot, priced_years, draws)
    return Settlement(net, net * np.exp(-rate_per_year * paid_years), payable)


@dataclass(frozen=True)
class StatementLine:
    """One line of a settlement statement.

    Parameters
    ----------
    line : str
        What it is.
    amount : Decimal
        Money, rounded half up to the currency's smallest unit; charges are negative.
    detail : str
        How it comes about.
    """

    line: str
    amount: Decimal
    detail: str


def statement(
    fine_g: float, silver_g: float, mass_g: float, refiner: Refiner, spot: Spot, rate_per_year: float
) -> list[StatementLine]:
    """Settlement at the likely values, line by line; the total stands before the discount for waiting.

    Parameters
    ----------
    fine_g, silver_g, mass_g : float
        Median fine gold, median fine silver, mass [g].
    refiner, spot : Refiner, Spot
        Terms and price now.
    rate_per_year : float
        Discount rate.

    Returns
    -------
    list of StatementLine
        The last two are ``total`` and ``waiting``.
    """
    unit = minor_unit(spot.currency)
    recovery = refiner.recovery_frac.centre
    assayed = fine_g * recovery / G_PER_OZT
    step = exact(refiner.weight_step_ozt)
    paid_ozt = float(payable_gold_ozt(np.asarray(assayed), refiner))
    payable = (exact(paid_ozt) / step).to_integral_value(ROUND_FLOOR) * step
    price = exact(gold_per_ozt(spot))
    value = payable * price
    rows: list[tuple[str, Decimal, str]] = [
        ("gold", value, f"{payable:f} ozt payable of {assayed:.3f} ozt assayed, at {price:.2f} per ozt")
    ]
    rows += _deductions(refiner, value, payable, mass_g)
    if refiner.silver_payable_frac > 0:
        silver_recovery = refiner.silver_recovery_frac or refiner.recovery_frac
        ozt = silver_g * silver_recovery.centre * refiner.silver_payable_frac / G_PER_OZT
        paid = (exact(ozt) / step).to_integral_value(ROUND_FLOOR) * step
        rows.append(("silver", paid * exact(silver_per_ozt(spot)), f"{paid:f} ozt payable"))
    lines = [StatementLine(name, amount.quantize(unit, ROUND_HALF_UP), detail) for name, amount, detail in rows]
    total = sum((line.amount for line in lines), Decimal(0)).quantize(unit)
    years = refiner.settlement_days / DAYS_PER_YEAR
    waiting = total * (exact(float(np.exp(-rate_per_year * years))) - 1)
    detail = f"{refiner.settlement_days:g} days at {rate_per_year:.1%} a year"
    return [
        *lines,
        StatementLine("total", total, "sum of the lines above"),
        StatementLine("waiting", waiting.quantize(unit, ROUND_HALF_UP), detail),
    ]


def _deductions(refiner: Refiner, value: Decimal, payable: Decimal, mass_g: float) -> list[tuple[str, Decimal, str]]:
    charges = [
        (
            "price discount",
            value * exact(refiner.price_discount_frac),
            f"{refiner.price_discount_frac:.2%} of the gold",
        ),
        (
            "refining",
            payable * exact(refiner.refining_per_ozt),
            f"{refiner.refining_per_ozt:g} per payable ozt",
        ),
        (
            "treatment",
            exact(mass_g) / 1000 * exact(refiner.treatment_per_kg),
            f"{refiner.treatment_per_kg:g} per kg of {mass_g:.1f} g",
        ),
        ("assay", exact(refiner.assay_fee), "per lot"),
        ("lot fee", exact(refiner.lot_fee), "per lot"),
        ("freight", exact(refiner.freight), ""),
        ("insurance", value * exact(refiner.insurance_frac), f"{refiner.insurance_frac:.2%} of the gold"),
    ]
    return [(name, -amount, detail) for name, amount, detail in charges if amount]
