"""What is at stake in a deal, and how it comes out after each outcome of a test."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from valuation.decision import Outcomes
from valuation.negotiation import FAIR_SHARE, Floor
from valuation.spread import Floats
from valuation.stages import Valuation, sellers_own_refining
from valuation.terms import Buyer, Seller


@dataclass(frozen=True)
class Stakes:
    """Everything that the deal rests on, drawn.

    Parameters
    ----------
    routes : tuple of str
        Names of the ways out.
    proceeds : ndarray, shape (r, n)
        Discounted net proceeds of each [money].
    fine_g : ndarray, shape (n,)
        Fine gold [g].
    own : ndarray, shape (n,), or None
        What the seller's own refining brings, before effort [money].
    buyer, seller, floor : Buyer, Seller, Floor
        Terms of the house, what is known of the seller, and the floor of today.
    """

    routes: tuple[str, ...]
    proceeds: Floats
    fine_g: Floats
    own: Floats | None
    buyer: Buyer
    seller: Seller
    floor: Floor


def stakes_of(v: Valuation, premium_lost_frac: float = 0.0) -> Stakes:
    """What is at stake in a quote, after a test that costs some of the collector's premium.

    Parameters
    ----------
    v : Valuation
        The quote's stages; some way out must be priced.
    premium_lost_frac : float
        Share of the premium that is lost.

    Notes
    -----
    Only what a collector pays over melt value is lost: ``price' = price - loss max(0, price - melt)``.
    """
    routes = tuple(v.routes.present)
    rows = [v.routes.present[route] for route in routes]
    sale, collector = v.routes.intact, v.request.collector
    if premium_lost_frac > 0 and sale is not None and collector is not None:
        discount = np.exp(-v.request.buyer.capital_rate_per_year * sale.years)
        over_melt = np.maximum(0.0, sale.price - sale.melt) * sale.sold
        lost = premium_lost_frac * over_melt * (1.0 - collector.selling_cost_frac) * discount
        rows = [row - lost if route == "intact" else row for route, row in zip(routes, rows, strict=True)]
    proceeds = np.stack([np.broadcast_to(row, (v.draws.n,)) for row in rows])
    own = sellers_own_refining(v.request, v.lot, v.draws, v.seen)
    fine = np.broadcast_to(v.lot.fine_g, (v.draws.n,))
    return Stakes(routes, proceeds, fine, own, v.request.buyer, v.request.seller, v.floor)


@dataclass(frozen=True)
class Bargains:
    """The deal after each outcome; every array of shape (k,).

    Parameters
    ----------
    means : ndarray, shape (r, k)
        Mean proceeds of each way out [money].
    route : ndarray of int
        The way out that sets the ceiling.
    ceiling, floor : ndarray
        Of house and seller [money].
    house, seller : ndarray
        What the house gains and the seller gets: at the middle price, or 0 and the floor without a deal [money].
    """

    means: Floats
    route: NDArray[np.intp]
    ceiling: Floats
    floor: Floats
    house: Floats
    seller: Floats

    @property
    def deal(self) -> NDArray[np.bool_]:
        """Whether there is a deal: the ceiling is not below the floor."""
        return self.ceiling >= self.floor

    @property
    def middle(self) -> Floats:
        """The price at which both gain alike [money]."""
        return (self.ceiling + self.floor) / 2.0

    def turns_from(self, today: Bargains) -> NDArray[np.bool_]:
        """Where there is a deal and none today, or none and one today."""
        return np.asarray(self.deal != today.deal[0])

    def differs_from(self, today: Bargains) -> NDArray[np.bool_]:
        """Where the deal is another than today's: struck or not, by another way out, or out of today's fair range."""
        if not today.deal[0]:
            return self.deal
        share = FAIR_SHARE * (today.ceiling[0] - today.floor[0])
        outside = (self.middle < today.floor[0] + share) | (self.middle > today.ceiling[0] - share)
        return np.asarray(~self.deal | outside | (self.route != today.route[0]))


def bargains(stakes: Stakes, outcomes: Outcomes) -> Bargains:
    """The deal that the house's and the seller's rules lead to after each outcome.

    Parameters
    ----------
    stakes : Stakes
        What the deal rests on.
    outcomes : Outcomes
        Of the test; of `nothing_learnt` for today's deal.

    Notes
    -----
    Ceiling ``max(0, min((E[V] - H) / (1 + m), Q_alpha(V) - H))`` over the ways out, all after the outcome.
    """
    buyer, each = stakes.buyer, np.arange(outcomes.chance.size)
    means = outcomes.means(stakes.proceeds)
    at_risk = np.concatenate([outcomes.quantiles(row, buyer.loss_chance_frac) for row in stakes.proceeds])
    by_margin = (means - buyer.handling_cost) / (1.0 + buyer.margin_frac)
    ceilings = np.maximum(0.0, np.minimum(by_margin, at_risk - buyer.handling_cost))
    route = np.argmax(ceilings, axis=0)
    ceiling, floor = ceilings[route, each], _floors(stakes, outcomes)
    deal, middle = ceiling >= floor, (ceiling + floor) / 2.0
    house = np.where(deal, means[route, each] - buyer.handling_cost - middle, 0.0)
    return Bargains(means, route, ceiling, floor, house, np.where(deal, middle, floor))


def _floors(stakes: Stakes, outcomes: Outcomes) -> Floats:
    """The seller's floor after each outcome: bids stay as they are, own refining and an assumed share move."""
    k, seller = outcomes.chance.size, stakes.seller
    if stakes.floor.basis == "assumed":
        assert stakes.floor.amount is not None
        gold = outcomes.means(stakes.fine_g[None])[0]
        return np.asarray(stakes.floor.amount * gold / float(stakes.fine_g @ outcomes.prior))
    known = [np.full(k, bid) for bid in (seller.minimum, seller.other_bid, seller.keep_value) if bid is not None]
    if stakes.own is not None:
        known.append(outcomes.means(stakes.own[None])[0] - seller.effort_cost)
    return np.asarray(np.maximum.reduce(known))
