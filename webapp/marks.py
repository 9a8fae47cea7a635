"""What stands on the money axis: ranges of value, limits of both sides, and the figures that were named."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from valuation import Quote
from valuation.result import RouteResult
from valuation.summary import Summary
from webapp import figures_said
from webapp.naming import Naming
from webapp.wording import Wording


@dataclass(frozen=True)
class Mark:
    """One row of the money axis, before it has a place: a range with its median, a span without, or a figure.

    Parameters
    ----------
    ends : (str, str)
        Both ends of a range, told as `figure` is.
    """

    key: str
    label: str
    figure: str
    low: float
    high: float
    median: float | None = None
    ends: tuple[str, str] = ("", "")

    @property
    def is_point(self) -> bool:
        """Whether it is a single figure."""
        return self.low == self.high and self.median is None


def house_marks(quote: Quote, w: Wording, offer: float | None = None) -> list[Mark]:
    """What the house sees: values, ways out, floor, fair range, ceiling, and the newest figure of each side."""
    marks = []
    melt = quote.melt_value
    if quote.detection is None or quote.detection.seen:
        marks.append(_estimate("melt", "Melt value", melt, w))
    labels = {"refine": "Refined, net", "intact": "Sold intact, net"}
    marks += [_estimate(route.route, labels.get(route.route, route.route), route, w) for route in quote.routes]
    if quote.seller_floor is not None:
        floor = quote.seller_floor
        label = "Seller's floor, assumed" if quote.floor_basis == "assumed" else "Seller's floor"
        marks.append(Mark("floor", label, w.at_least(floor), floor, floor))
    if quote.fair is not None:
        fair = quote.fair
        ends = w.price(fair.low), w.price(fair.high)
        figure = ends[0] if fair.low == fair.high else " to ".join(ends)
        marks.append(Mark("fair", "Fair range", figure, fair.low, fair.high, fair.middle, ends))
    if quote.buyer_ceiling is not None:
        ceiling = quote.buyer_ceiling
        marks.append(Mark("ceiling", "House's ceiling", w.at_most(ceiling), ceiling, ceiling))
    return [*marks, *_named(quote, offer, w)]


def _estimate(key: str, label: str, found: Summary | RouteResult, w: Wording) -> Mark:
    ends = w.money(found.low, found.sd), w.money(found.high, found.sd)
    return Mark(key, label, w.money(found.median, found.sd), found.low, found.high, found.median, ends)


def _named(quote: Quote, offer: float | None, w: Wording) -> Iterator[Mark]:
    """What each side has named, where it stands all in: a figure said takes the place of the asking price."""
    naming, ask, said = Naming(quote, w), quote.ask, figures_said.newest(quote, "buyer")
    if ask is not None:
        label = "Asking price" if figures_said.newest(quote, "seller") is None else "Now asked"
        yield _point("ask", label, naming.with_all_in(naming.spoken(ask.price), ask.all_in), ask.all_in)
    if said is not None and (offer is None or said.figure != naming.as_said(offer)):
        yield _point("said", "We said", naming.with_all_in(naming.spoken(said.figure), said.all_in), said.all_in)
    if offer is not None:
        total = naming.all_in(offer)
        told = w.price(offer) if naming.is_plain else f"{w.price(offer)}, all in {w.price(total)}"
        yield _point("offer", "Our offer", told, total)


def _point(key: str, label: str, figure: str, place: float) -> Mark:
    return Mark(key, label, figure, place, place)


def refining_total(public: Quote) -> float | None:
    """What the refiner pays in all at the likely values; None where nothing is refined."""
    return next((float(row.amount) for row in public.settlement if row.line == "total"), None)


def counter_marks(public: Quote, offer: float | None, w: Wording) -> list[Mark]:
    """What the seller may see: melt value, what refining pays at likely values, the one offer."""
    marks = []
    melt = public.melt_value
    if public.detection is None or public.detection.seen:
        marks.append(_estimate("melt", "Melt value", melt, w))
    paid, refined = refining_total(public), next((row for row in public.routes if row.route == "refine"), None)
    if paid is not None and refined is not None:
        ends = w.money(refined.low, refined.sd), w.money(refined.high, refined.sd)
        told = w.money(paid, refined.sd)
        marks.append(Mark("refine", "Refining pays", told, refined.low, refined.high, paid, ends))
    if offer is not None:
        marks.append(Mark("offer", "Our offer", w.price(offer), offer, offer))
    return marks
