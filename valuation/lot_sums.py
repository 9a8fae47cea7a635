"""Sums over the pieces of a lot, draw by draw."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from valuation.collector import IntactSale
from valuation.draws import Draws
from valuation.refiners import takes
from valuation.refining import Lot, settled
from valuation.spot import MONTHS_PER_YEAR
from valuation.spread import Floats
from valuation.summary import Summary, summarised
from valuation.terms import Refiner, Spot


def _nothing() -> Floats:
    return np.asarray(0.0)


@dataclass
class Content:
    """Metal and mass of several pieces, summed; each of shape (n,) or () while nothing was added [g]."""

    pieces: int = 0
    native_g: Floats = field(default_factory=_nothing)
    fine_g: Floats = field(default_factory=_nothing)
    silver_g: Floats = field(default_factory=_nothing)
    mass_g: Floats = field(default_factory=_nothing)

    def add(self, lot: Lot, native_g: Floats | float = 0.0) -> None:
        """Count one piece more."""
        self.pieces += 1
        self.native_g = self.native_g + native_g
        self.fine_g = self.fine_g + lot.fine_g
        self.silver_g = self.silver_g + lot.silver_g
        self.mass_g = self.mass_g + lot.mass_g

    @property
    def lot(self) -> Lot:
        """As one consignment to a refiner."""
        return Lot(self.fine_g, self.silver_g, self.mass_g)


@dataclass
class Spreading:
    """How wide the total fine gold would be if pieces shared nothing, and if they shared everything [g].

    Notes
    -----
    Nothing shared: variances add. Everything shared: standard deviations add. The ends of the unshared total come from
    every piece's own draws in an order of its own.
    """

    variance: float = 0.0
    sd_sum: float = 0.0
    mean: float = 0.0
    shuffled_g: Floats = field(default_factory=_nothing)

    def add(self, fine: Summary, shuffled_g: Floats) -> None:
        """Count one piece more: its summary, and its draws in random order."""
        self.mean += fine.mean
        self.variance += fine.sd**2
        self.sd_sum += fine.sd
        self.shuffled_g = self.shuffled_g + shuffled_g

    def unshared(self) -> Summary:
        """The total if nothing was shared."""
        drawn = summarised(self.shuffled_g)
        sd = math.sqrt(self.variance)
        return Summary(mean=self.mean, sd=sd, median=drawn.median, low=drawn.low, high=drawn.high)


@dataclass
class IntactSales:
    """Pieces that are sold one by one, what is left unsold, and what is refined at once.

    Notes
    -----
    What did not sell is sent in together at the end of the longest wait, if that pays on average where something is
    left. With one piece for sale every draw tells what sending it would bring, sold or not, as its gold does not
    depend on its sale.
    """

    for_sale: int = 0
    sold_present: Floats = field(default_factory=_nothing)
    unsold: Content = field(default_factory=Content)
    single: Lot | None = None
    any_unsold: np.typing.NDArray[np.bool_] | None = None
    longest_months: float = 0.0
    refined_now: Content = field(default_factory=Content)

    def add(self, sale: IntactSale, lot: Lot | None, longest_months: float) -> None:
        """Count a piece that is for sale; `lot` is None if its gold is not seen, so that nobody would refine it."""
        self.for_sale += 1
        self.sold_present = self.sold_present + np.where(sale.sold, sale.present, 0.0)
        if lot is None:
            return
        left = ~sale.sold
        self.unsold.add(Lot(lot.fine_g * left, lot.silver_g * left, lot.mass_g * left))
        self.single = lot if self.unsold.pieces == 1 else None
        self.any_unsold = left if self.any_unsold is None else self.any_unsold | left
        self.longest_months = max(self.longest_months, longest_months)

    def present(self, refiner: Refiner | None, spot: Spot, rate_per_year: float, draws: Draws) -> Floats:
        """Discounted net proceeds of the whole lot this way, shape (n,) [money].

        Parameters
        ----------
        refiner : Refiner or None
            Who takes what is not sold; None if nobody does.
        spot : Spot
            Price now.
        rate_per_year : float
            Discount rate, continuously compounded.
        draws : Draws
            The lot's draws that count.
        """
        total = np.broadcast_to(self.sold_present, (draws.n,))
        if refiner is None:
            return total
        if self.refined_now.pieces and takes(refiner, self.refined_now.lot):
            total = total + settled(self.refined_now.lot, refiner, spot, rate_per_year, draws).present_or_nothing()
        left = self.any_unsold
        if left is None or not bool(left.any()):
            return total
        lot = self.single or self.unsold.lot
        years = self.longest_months / MONTHS_PER_YEAR
        later = settled(lot, refiner, spot, rate_per_year, draws, after_years=years)
        telling = np.full_like(left, True) if self.single else left
        worth = float(np.mean(later.net[telling])) > 0.0
        if not (worth and takes(refiner, Lot(lot.fine_g[telling], lot.silver_g, lot.mass_g))):
            return total
        return total + np.where(left, later.present, 0.0)
