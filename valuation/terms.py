"""The terms of trade: the spot price, the refiner, the collector, the buyer and the seller."""

from __future__ import annotations

import datetime
from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import AwareDatetime, BeforeValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from valuation import rubric as grading
from valuation.field import Section, said
from valuation.mass import MassUnit, grams_per
from valuation.number import Number, blank_is_none
from valuation.observations import OptionalNumber
from valuation.spread import PREMIUM, ClaimShare, Fraction, Money, Months, Premium

Currency = Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
OptionalTime = Annotated[AwareDatetime | None, BeforeValidator(blank_is_none)]
MAX_TIERS = 12
MAX_COMPARABLES = 500
_HOUSE = "house assumption, no source"


class Spot(Section):
    """The price of the metals now, and how much it moves."""

    currency: Currency = said("Currency", "ISO 4217 code of every amount in this quote.", default="USD", assumed=_HOUSE)
    gold: Number = said("Gold spot", "Price of fine gold now, per unit.", gt=0, le=1e10)
    silver: OptionalNumber = said("Silver spot", "Price of fine silver now.", default=None, gt=0, le=1e10)
    unit: MassUnit = said("Per", "Mass unit of the price.", default="ozt", assumed="trade custom: troy ounce")
    seen_at: OptionalTime = said("Seen at", "When this price was seen.", default=None)
    gold_volatility_per_year: Number = said(
        "Gold volatility",
        "Standard deviation of a year's log price change.",
        unit="frac",
        default=0.18,
        ge=0,
        le=3,
        assumed="assumption; 0.19 a year over 1977 to 2012 in the daily series of Franses et al. (2014)",
    )
    silver_volatility_per_year: Number = said(
        "Silver volatility",
        "As for gold.",
        unit="frac",
        default=0.30,
        ge=0,
        le=3,
        assumed="assumption; 0.30 a year over 1977 to 2012 in the same series",
    )


class PayableTier(Section):
    """From how many assayed ounces on a payable share holds (for all ounces)."""

    from_ozt: Number = said("From", "Assayed fine gold from which the tier holds.", unit="ozt", ge=0, le=1e6)
    frac: Number = said("Payable", "Share of the assayed gold that is paid.", unit="frac", gt=0, le=1)


class Refiner(Section):
    """A refiner's terms: what is paid of the assayed gold, and every charge."""

    name: str = said("Name", "Of the refiner, as you call it.", default="Refiner", max_length=120)
    recovery_frac: Fraction = said(
        "Recovery",
        "Share of the contained gold that comes out of the rock and is assayed.",
        unit="frac",
        default={"low": 0.92, "likely": 0.96, "high": 0.98},
        assumed=_HOUSE,
    )
    payable: tuple[PayableTier, ...] = said(
        "Payable",
        "Share of assayed gold that is paid, by tier; the tier reached holds for all ounces.",
        default=({"from_ozt": 0.0, "frac": 0.95},),
        assumed=_HOUSE,
        min_length=1,
        max_length=MAX_TIERS,
    )
    minimum_lot_ozt: Number = said(
        "Minimum lot",
        "Smallest lot that is taken, in assayed fine gold.",
        unit="ozt",
        default=0.0,
        ge=0,
        le=1e6,
        assumed=_HOUSE,
    )
    minimum_deduction_ozt: Number = said(
        "Minimum deduction",
        "At least this much is not paid.",
        unit="ozt",
        default=0.0,
        ge=0,
        le=100,
        assumed=_HOUSE,
    )
    silver_payable_frac: Number = said(
        "Silver payable",
        "Share of the recovered silver that is paid.",
        unit="frac",
        default=0.0,
        ge=0,
        le=1,
        assumed=_HOUSE,
    )
    silver_recovery_frac: Fraction | None = said(
        "Silver recovery",
        "If other than the gold's.",
        unit="frac",
        default=None,
        assumed="the gold's recovery",
    )
    price_discount_frac: Number = said(
        "Price discount",
        "How far under spot the price paid lies.",
        unit="frac",
        default=0.0,
        ge=0,
        lt=1,
        assumed=_HOUSE,
    )
    refining_per_ozt: Number = said(
        "Refining charge", "Per payable ounce.", unit="money/ozt", default=0.0, ge=0, le=1e9, assumed=_HOUSE
    )
    treatment_per_kg: Number = said(
        "Treatment charge",
        "Per kilogram of the piece.",
        unit="money/kg",
        default=0.0,
        ge=0,
        le=1e9,
        assumed=_HOUSE,
    )
    assay_fee: Number = said("Assay fee", "Per lot.", unit="money", default=0.0, ge=0, le=1e9, assumed=_HOUSE)
    lot_fee: Number = said("Lot fee", "Per lot.", unit="money", default=0.0, ge=0, le=1e9, assumed=_HOUSE)
    freight: Number = said("Freight", "To the refiner.", unit="money", default=0.0, ge=0, le=1e9, assumed=_HOUSE)
    insurance_frac: Number = said(
        "Insurance", "Of the payable value.", unit="frac", default=0.0, ge=0, le=1, assumed=_HOUSE
    )
    settlement_days: Number = said(
        "Settlement", "Days until the refiner pays.", unit="days", default=14.0, ge=0, le=730, assumed=_HOUSE
    )
    price_fixed: Literal["settlement", "receipt"] = said(
        "Price fixed at",
        "Settlement: the price may move while you wait. Receipt: it may not.",
        default="settlement",
        assumed="assumption: the price risk stays with the sender",
    )
    weight_step_ozt: Number = said(
        "Weight step",
        "Payable ounces are rounded down to this step on the statement.",
        unit="ozt",
        default=0.001,
        gt=0,
        le=1,
        assumed=_HOUSE,
    )

    @model_validator(mode="before")
    @classmethod
    def _single_tier(cls, entered: Any) -> Any:
        if (
            isinstance(entered, dict)
            and "payable" in entered
            and not isinstance(entered["payable"], list | tuple | dict)
        ):
            return {**entered, "payable": [{"from_ozt": 0.0, "frac": entered["payable"]}]}
        return entered

    @model_validator(mode="after")
    def _tiers(self) -> Self:
        starts = [tier.from_ozt for tier in self.payable]
        if starts[0] != 0:
            raise PydanticCustomError(
                "tiers",
                "the first tier must start at 0 ozt, not {start}",
                {"start": f"{starts[0]:g}", "field": "payable.0.from_ozt"},
            )
        for i, (earlier, later) in enumerate(pairwise(starts), start=1):
            if later <= earlier:
                raise PydanticCustomError(
                    "tiers",
                    "tiers must start at rising weights; {later} ozt does not follow {earlier} ozt",
                    {"earlier": f"{earlier:g}", "later": f"{later:g}", "field": f"payable.{i}.from_ozt"},
                )
        return self


class Comparable(Section):
    """A sale of a like piece, told well enough to compare."""

    date: datetime.date = said("Date", "Day of the sale.")
    price: Number = said("Price", "What was paid, in the quote's currency.", unit="money", gt=0, le=1e10)
    fine_g: Number = said("Fine gold", "That the piece held.", unit="g", gt=0, le=1e6)
    spot: Number = said("Spot of the day", "Gold price on that day, in the quote's currency.", gt=0, le=1e10)
    spot_unit: MassUnit = said("Per", "Mass unit of that price.", default="ozt", assumed="trade custom: troy ounce")
    grade: OptionalNumber = said("Grade", "Your own grade of that piece, 1 poor to 5 superb.", default=None, ge=1, le=5)
    note: str = said("Note", "Where it was sold, for your own use.", default="", max_length=200)

    @property
    def melt_ratio(self) -> float:
        """Price over the melt value on that day."""
        return self.price * grams_per(self.spot_unit) / (self.fine_g * self.spot)

    @model_validator(mode="after")
    def _possible(self) -> Self:
        most = 1.0 + PREMIUM.high
        if not 1.0 / most <= self.melt_ratio <= most:
            raise PydanticCustomError(
                "comparable",
                "comes to {ratio} times the melt value of that day: check price, grams and spot",
                {"ratio": f"{self.melt_ratio:.3g}", "field": "price"},
            )
        return self


class Collector(Section):
    """A sale of the piece as it is, some day, to somebody who wants it whole."""

    premium_frac: Premium | None = said(
        "Premium over melt",
        "0.6 means that a collector pays 1.6 times the melt value.",
        unit="frac",
        default=None,
    )
    price: Money | None = said(
        "Collector's price", "A price in money, instead of a premium on the gold.", unit="money", default=None
    )
    rubric: dict[str, str] | None = said(
        "Graded qualities", "A grade for each quality of the piece, instead of a premium.", default=None
    )
    comparables: tuple[Comparable, ...] | None = said(
        "Comparable sales",
        "Sales of like pieces, instead of a premium.",
        default=None,
        min_length=1,
        max_length=MAX_COMPARABLES,
    )
    grade: OptionalNumber = said(
        "Grade of this piece", "On the same scale as the comparable sales, 1 to 5.", default=None, ge=1, le=5
    )
    selling_cost_frac: Number = said(
        "Selling cost",
        "Share of the price that the sale costs.",
        unit="frac",
        default=0.12,
        ge=0,
        lt=1,
        assumed=_HOUSE,
    )
    sale_chance_frac: Fraction = said(
        "Chance of a sale",
        "That it sells at all in that time; otherwise it is refined.",
        unit="frac",
        default=0.85,
        assumed=_HOUSE,
    )
    months_to_sale: Months = said(
        "Months to the sale",
        "How long until it sells.",
        unit="months",
        default={"low": 1.0, "likely": 4.0, "high": 12.0},
        assumed=_HOUSE,
    )
    consignment_commission_frac: Number = said(
        "Commission on consignment",
        "The house's share if it sells for the seller.",
        unit="frac",
        default=0.25,
        ge=0,
        lt=1,
        assumed=_HOUSE,
    )

    @model_validator(mode="after")
    def _one_price(self) -> Self:
        ways = [n for n in ("premium_frac", "price", "rubric", "comparables") if getattr(self, n) is not None]
        if len(ways) != 1:
            raise PydanticCustomError(
                "collector",
                "say exactly one of premium_frac, price, rubric or comparables; got {got}",
                {"got": " and ".join(ways) or "none", "field": ways[1] if ways else "premium_frac"},
            )
        if self.rubric is not None:
            problem = grading.problem_in(self.rubric)
            if problem is not None:
                raise PydanticCustomError(
                    "rubric", "{words}", {"words": problem.words, "field": f"rubric.{problem.quality}"}
                )
        return self


class Buyer(Section):
    """The house's own terms."""

    routes: tuple[Literal["refine", "intact"], ...] | None = said(
        "Ways out",
        "What the house can do with the piece.",
        default=None,
        min_length=1,
        max_length=2,
        assumed="every way whose terms are entered",
    )
    margin_frac: Number = said(
        "Margin",
        "Profit that the house needs, as a share of what it pays out.",
        unit="frac",
        default=0.15,
        ge=0,
        le=10,
        assumed=_HOUSE,
    )
    loss_chance_frac: Number = said(
        "Accepted chance of loss",
        "How often a purchase may lose money.",
        unit="frac",
        default=0.10,
        gt=0,
        lt=1,
        assumed=_HOUSE,
    )
    handling_cost: Number = said(
        "Handling",
        "What handling this piece costs the house.",
        unit="money",
        default=0.0,
        ge=0,
        le=1e9,
        assumed=_HOUSE,
    )
    capital_rate_per_year: Number = said(
        "Cost of capital",
        "Interest on money tied up, a year.",
        unit="frac",
        default=0.10,
        ge=0,
        le=5,
        assumed=_HOUSE,
    )
    offer: OptionalNumber = said(
        "Offer",
        "What the house has decided to pay the seller, before shipping, fee and tax.",
        unit="money",
        default=None,
        gt=0,
        le=1e10,
    )
    cash_increment: Number = said(
        "Cash step", "Offers are rounded to this.", unit="money", default=10.0, gt=0, le=1e6, assumed=_HOUSE
    )


class Ask(Section):
    """A price that somebody asks for the piece."""

    price: Number = said("Asking price", "What the seller asks.", unit="money", gt=0, le=1e10)
    shipping: Number = said("Shipping", "Paid by the buyer.", unit="money", default=0.0, ge=0, le=1e9)
    fee_frac: Number = said("Buyer's fee", "Added to the price.", unit="frac", default=0.0, ge=0, le=5)
    tax_frac: Number = said("Tax", "Added to price, fee and shipping.", unit="frac", default=0.0, ge=0, le=5)
    currency: Currency | None = said("Currency of the ask", "If other than the quote's.", default=None)
    exchange_rate: OptionalNumber = said(
        "Exchange rate",
        "Units of the quote's currency for one unit of the ask's.",
        default=None,
        gt=0,
        le=1e9,
    )


class Claim(Section):
    """How much gold somebody says is in the piece."""

    mass: Number = said("Claimed gold", "What the seller says is in it.", gt=0, le=1e6)
    unit: MassUnit = said("Unit", "Of the claim.", default="ozt", assumed="trade custom: troy ounce")
    basis: Literal["native", "fine", "unknown"] = said(
        "Meant as",
        "Native gold as it lies in the rock, or the pure gold in it.",
        default="unknown",
        assumed="assumption: native and fine are equally likely to be meant",
    )
    right_frac: ClaimShare = said(
        "How much of the claim to count on",
        "Share of the claimed gold that you take to be there while nothing is weighed.",
        unit="frac",
        default={"low": 0.5, "likely": 0.9, "high": 1.05},
        assumed="house assumption, no source: a claim is seldom too small",
    )
    piece_g: OptionalNumber = said(
        "Mass of the piece", "Of rock and gold, if it is known.", unit="g", default=None, gt=0, le=1e6
    )

    @property
    def grams(self) -> float:
        """The claimed gold [g]."""
        return self.mass * grams_per(self.unit)


class Said(Section):
    """A figure that one side has named."""

    by: Literal["buyer", "seller"] = said("By", "Who said it.")
    figure: Number = said(
        "Figure",
        "The price as it was said: before shipping, fee and tax, in the currency of the ask.",
        unit="money",
        gt=0,
        le=1e10,
    )
    at: OptionalTime = said("At", "When it was said.", default=None)


class Seller(Section):
    """What is known of the seller's alternatives; the house keeps these to itself."""

    minimum: OptionalNumber = said(
        "Stated minimum", "The least the seller says to accept.", unit="money", default=None, ge=0, le=1e10
    )
    other_bid: OptionalNumber = said(
        "Another cash bid",
        "A firm bid that the seller already has.",
        unit="money",
        default=None,
        ge=0,
        le=1e10,
    )
    keep_value: OptionalNumber = said(
        "Worth of keeping it",
        "What keeping the piece is worth to the seller.",
        unit="money",
        default=None,
        ge=0,
        le=1e10,
    )
    refiner: Refiner | None = said("Seller's own refining", "The terms that the seller could get.", default=None)
    effort_cost: Number = said(
        "Seller's effort",
        "What sending it in costs the seller in time and trouble.",
        unit="money",
        default=0.0,
        ge=0,
        le=1e9,
    )
    asks: Ask | None = said("Asking price", "What the seller asks.", default=None)
    claim: Claim | None = said("Claim", "How much gold the seller says is in it.", default=None)
