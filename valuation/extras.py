"""What the buyer pays on top of a price that is named to the seller."""

from __future__ import annotations

from decimal import ROUND_FLOOR

from pydantic import BaseModel, ConfigDict, FiniteFloat

from valuation.errors import ValuationError
from valuation.money import to_coins
from valuation.terms import Ask


class Extras(BaseModel):
    """Fee, shipping, tax and exchange that turn a price as it is named into what it costs all in.

    Parameters
    ----------
    fee_frac, tax_frac : float
        Buyer's fee on the price; tax on price, fee and shipping.
    shipping : float
        In the ask's own currency [money].
    currency : str
        Of the ask, and of every price that is named with it.
    exchange_rate : float
        Units of the quote's currency for one of the ask's.

    Notes
    -----
    ``((price (1 + fee) + shipping) (1 + tax)) x exchange rate``.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    fee_frac: FiniteFloat
    shipping: FiniteFloat
    tax_frac: FiniteFloat
    currency: str
    exchange_rate: FiniteFloat

    @classmethod
    def of(cls, ask: Ask | None, currency: str) -> Extras:
        """The extras of an ask in a quote in `currency`; none without an ask.

        Raises
        ------
        ValuationError
            An exchange rate other than 1 for an ask in the quote's own currency.
        """
        if ask is None:
            return cls(fee_frac=0.0, shipping=0.0, tax_frac=0.0, currency=currency, exchange_rate=1.0)
        rate = 1.0 if ask.exchange_rate is None else ask.exchange_rate
        if rate != 1.0 and ask.currency in (None, currency):
            words = f"the ask is in {currency}, as the quote is: leave the rate out, or say the currency of the ask"
            raise ValuationError("own_currency", "seller.asks.exchange_rate", rate, words)
        return cls(
            fee_frac=ask.fee_frac,
            shipping=ask.shipping,
            tax_frac=ask.tax_frac,
            currency=ask.currency or currency,
            exchange_rate=rate,
        )

    @property
    def is_nothing(self) -> bool:
        """Whether a price costs no more than what is named."""
        return not (self.fee_frac or self.shipping or self.tax_frac)

    def all_in(self, price: float) -> float:
        """What a price that is named costs the house, in the quote's currency [money]."""
        return (price * (1.0 + self.fee_frac) + self.shipping) * (1.0 + self.tax_frac) * self.exchange_rate

    def before(self, figure: float) -> float | None:
        """The price to name so that it comes to `figure` all-in, in whole coins of the ask's currency.

        Returns
        -------
        float or None
            Rounded down; None where the extras alone come to more.
        """
        named = (figure / self.exchange_rate / (1.0 + self.tax_frac) - self.shipping) / (1.0 + self.fee_frac)
        # A billionth, so that a whole price is not a coin less by the rounding of a division.
        coins = float(to_coins(named * (1.0 + 1e-12), self.currency, ROUND_FLOOR))
        return coins if coins > 0.0 else None

    def paid_all_in(self, paid: float) -> float:
        """What it costs to pay the seller `paid`, both in the quote's currency [money]."""
        return self.all_in(paid / self.exchange_rate)

    def paid_before(self, figure: float) -> float:
        """What may be paid to the seller so that it comes to `figure` all-in, both in the quote's currency [money].

        Not rounded; under 0 where the extras alone come to more.
        """
        own = figure / self.exchange_rate / (1.0 + self.tax_frac) - self.shipping
        return own / (1.0 + self.fee_frac) * self.exchange_rate
