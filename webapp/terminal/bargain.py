"""The bargain: offer and plans, asking price, claim, figures said, deals that share the doubt."""

from collections.abc import Iterator

from rich.console import RenderableType

from valuation.result import Quote
from valuation.trade import DealRow
from webapp import sentences
from webapp.ask_figures import ask_figures
from webapp.bargaining import in_words
from webapp.naming import Naming
from webapp.terminal.page import Page
from webapp.wording import Wording

PRIVATE = "private: not for the seller's eyes"
SIDES = {"buyer": "House", "seller": "Seller"}


def offer(page: Page, quote: Quote) -> Iterator[RenderableType]:
    w = page.w
    told = [*sentences.ceiling(quote, w), *sentences.gap_causes(quote, w)]
    if quote.plan is None and not told:
        return
    yield page.heading("Offer", PRIVATE)
    naming = Naming(quote, w)
    plan = naming.plan
    if plan is not None:
        sides = (("House", plan.buyer), ("Seller", plan.seller))
        rows = [(name, w.price(side.open), w.price(side.aim), w.price(side.stop)) for name, side in sides]
        yield page.table(rows, "lrrr", ("", "opens", "aims for", "stops"))
        told = [sentences.rounding(quote, w), *sentences.plan_named(naming, plan), *told]
    yield page.bullets(told)


def asking_price(page: Page, quote: Quote) -> Iterator[RenderableType]:
    ask, w = quote.ask, page.w
    if ask is None:
        return
    yield page.heading("Asking price", PRIVATE)
    yield page.table(ask_figures(ask, w), "ll")
    told = [] if quote.counters is not None else in_words(quote, w)[1:]
    yield page.bullets(filter(None, [sentences.asked(ask, w), *told, ask.first or ""]))


def claim(page: Page, quote: Quote) -> Iterator[RenderableType]:
    if quote.claim is not None:
        yield page.heading("The seller's claim")
        yield page.bullets(sentences.claim(quote.claim, page.w))


def figures_said(page: Page, quote: Quote, *, answered: bool = True) -> Iterator[RenderableType]:
    """The figures said so far; `answered` tells what to do as well."""
    counters, w = quote.counters, page.w
    if counters is None:
        return
    own = w if quote.ask is None else Wording(w.locale, quote.ask.extras.currency)
    rows = [
        (
            SIDES[row.by],
            own.price(row.figure),
            "" if row.step is None else own.price(row.step),
            "" if row.step_ratio is None else w.number(row.step_ratio, 2, least=0),
        )
        for row in counters.said
    ]
    yield page.heading("Figures said so far", PRIVATE)
    yield page.table(rows, "lrrr", ("", "said", "step", "of the step before"))
    if answered:
        yield page.bullets(in_words(quote, w))


def deals(page: Page, quote: Quote) -> Iterator[RenderableType]:
    w = page.w
    offered = [deal for deal in quote.deals if deal.offered and deal.buyer and deal.seller]
    if not offered:
        return
    yield page.heading("Ways to deal", "what the house gains and the seller receives, as worth today")
    head = ("", "mean", "8 times in 10", "1 in 100 below", "loses", "days")
    yield page.table((row for deal in offered for row in _both(page, deal)), "lrrrrr", head)
    yield page.inset(
        page.text("Loses: how often the house makes a loss, or the seller gets less than the floor.", "dim")
    )
    yield page.bullets(sentences.deal(deal, w) for deal in quote.deals)


def _both(page: Page, deal: DealRow) -> Iterator[tuple[str, ...]]:
    w = page.w
    yield sentences.DEALS[deal.deal], "", "", "", "", ""
    for name, party in (("  House", deal.buyer), ("  Seller", deal.seller)):
        if party is not None:
            worst = "" if party.first_percentile is None else w.money_rough(party.first_percentile)
            likely = w.money_rough(party.low)
            if round(party.low, 2) != round(party.high, 2):
                likely = f"{likely} to {w.money_rough(party.high)}"
            days = w.number(party.paid_after_days, 0)
            yield name, w.money_rough(party.mean), likely, worst, w.chance(party.loss_chance), days
