"""Prices as they are named to the seller: before extras, never above what is asked; beside them what they cost."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from valuation import Quote
from valuation.extras import Extras
from valuation.money import exact, minor_unit
from valuation.result import Side
from webapp.wording import Wording


@dataclass(frozen=True)
class NamedPlan:
    """The plan in prices to be named, in the quote's currency; `capped` where the ask is under a figure of ours."""

    buyer: Side
    seller: Side
    capped: bool


@dataclass(frozen=True)
class Naming:
    """How the figures of a quote are named to the seller, and what a named price costs the house all in."""

    quote: Quote
    w: Wording

    @property
    def _extras(self) -> Extras | None:
        return None if self.quote.ask is None else self.quote.ask.extras

    @property
    def is_plain(self) -> bool:
        """Whether a price costs what is named."""
        return self._extras is None or self._extras.is_nothing

    @property
    def asked(self) -> float | None:
        """What the seller asks now, before extras, in the quote's currency."""
        return None if self.quote.ask is None else self.in_quotes_currency(self.quote.ask.price)

    def in_quotes_currency(self, price: float) -> float:
        """A price as it was said, in whole coins of the quote's currency."""
        if self._extras is None or self._extras.exchange_rate == 1.0:
            return price
        unit = minor_unit(self.quote.currency)
        return float(_on_grid(exact(price * self._extras.exchange_rate), unit, ROUND_FLOOR))

    def as_said(self, paid: float) -> float:
        """A price in the quote's currency as it would be said, in whole coins of the ask's own."""
        if self._extras is None or self._extras.exchange_rate == 1.0:
            return paid
        unit = minor_unit(self._extras.currency)
        return float(_on_grid(exact(paid / self._extras.exchange_rate), unit, ROUND_FLOOR))

    def spoken(self, price: float) -> str:
        """A price as it was said, in the ask's own currency."""
        own = self.quote.currency if self._extras is None else self._extras.currency
        return Wording(self.w.locale, own).price(price)

    def all_in(self, paid: float) -> float:
        """What paying the seller so much costs the house; both in the quote's currency."""
        return paid if self._extras is None else self._extras.paid_all_in(paid)

    def costs(self, paid: float) -> str:
        """The same for small type beside the price; empty where it is the price."""
        return "" if self.is_plain else f"costs us {self.w.price(self.all_in(paid))} all in"

    def with_all_in(self, said: str, all_in: float) -> str:
        """A price as it was said, and what it costs where that is more."""
        own = self._extras is None or self._extras.currency == self.quote.currency
        return said if self.is_plain and own else f"{said}, all in {self.w.price(all_in)}"

    @property
    def most(self) -> str:
        """The most that may be named, in words; empty where nothing may."""
        ask, ceiling = self.quote.ask, self.quote.buyer_ceiling
        figure = ceiling if ask is None else ask.worth_paying_before_extras
        if not figure or figure <= 0:
            return ""
        own = Wording(self.w.locale, self.quote.currency if ask is None else ask.extras.currency)
        return f"{own.at_most(figure)}, our ceiling" + ("" if self.is_plain else " before extras")

    @property
    def plan(self) -> NamedPlan | None:
        """The plan of both sides to name; None where there is none, or where the extras leave nothing to name."""
        plan = self.quote.plan
        if plan is None:
            return None
        ours = [self._before(x, ROUND_FLOOR) for x in (plan.buyer.open, plan.buyer.aim, plan.buyer.stop)]
        theirs = [self._before(x, ROUND_CEILING) for x in (plan.seller.open, plan.seller.aim, plan.seller.stop)]
        if min(ours) <= 0:
            return None
        asked = self.asked
        capped = asked is not None and asked < ours[2]
        if asked is not None:
            ours = [min(x, asked) for x in ours]
            theirs = [asked, *(min(x, asked) for x in theirs[1:])]
        return NamedPlan(_side(ours), _side(theirs), capped)

    def _before(self, figure: float, rounding: str) -> float:
        """An all-in figure of the plan before extras, on the plan's own step towards the safe side."""
        if self._extras is None or (self.is_plain and self._extras.exchange_rate == 1.0):
            return figure
        assert self.quote.plan is not None
        nudge = 1e-12 if rounding == ROUND_FLOOR else -1e-12
        before = exact(self._extras.paid_before(figure) * (1.0 + nudge))
        return float(_on_grid(before, exact(self.quote.plan.step), rounding))


def named_plan(quote: Quote) -> NamedPlan | None:
    """The plan of both sides to name; see `Naming.plan`."""
    return Naming(quote, Wording.of(quote.currency, None)).plan


def _on_grid(amount: Decimal, step: Decimal, rounding: str) -> Decimal:
    return (amount / step).to_integral_value(rounding) * step


def _side(figures: list[float]) -> Side:
    return Side(open=figures[0], aim=figures[1], stop=figures[2])
