"""The bargain: offer and plans, asking price, claim, figures said, deals that share the doubt."""

from collections.abc import Iterator

from rich.console import RenderableType

from valuation.result import Quote
from webapp import sentences
from webapp.ask_figures import ask_figures
from webapp.terminal.page import Page

PRIVATE = "private: not for the seller's eyes"
SIDES = {"buyer": "House", "seller": "Seller"}


def offer(page: Page, quote: Quote) -> Iterator[RenderableType]:
    w = page.w
    told = [*sentences.ceiling(quote, w), *(sentences.gap_cause(cause, w) for cause in quote.gap_causes)]
    if quote.plan is None and not told:
        return
    yield page.heading("Offer", PRIVATE)
    if quote.plan is not None:
        sides = (("House", quote.plan.buyer), ("Seller", quote.plan.seller))
        rows = [(name, w.price(side.open), w.price(side.aim), w.price(side.stop)) for name, side in sides]
        yield page.table(rows, "lrrr", ("", "opens", "aims for", "stops"))
    yield page.bullets(told)


def asking_price(page: Page, quote: Quote) -> Iterator[RenderableType]:
    ask, w = quote.ask, page.w
    if ask is None:
        return
    yield page.heading("Asking price", PRIVATE)
    yield page.table(ask_figures(ask, w), "ll")
    told = [sentences.counter(ask.counter, w), sentences.before_extras(ask, w), ask.first or ""]
    yield page.bullets(filter(None, told))


def claim(page: Page, quote: Quote) -> Iterator[RenderableType]:
    if quote.claim is not None:
        yield page.heading("The seller's claim")
        yield page.bullets(sentences.claim(quote.claim, page.w))


def figures_said(page: Page, quote: Quote) -> Iterator[RenderableType]:
    counters, w = quote.counters, page.w
    if counters is None:
        return
    rows = [
        (SIDES[row.by], w.price(row.figure), "" if row.step is None else f"moved {w.price(row.step)}")
        for row in counters.said
    ]
    yield page.heading("Figures said so far", PRIVATE)
    yield page.table(rows, "lrr")
    yield page.bullets([sentences.counter(counters.next, w)])


def deals(page: Page, quote: Quote) -> Iterator[RenderableType]:
    w = page.w
    offered = [deal for deal in quote.deals if deal.offered and deal.buyer and deal.seller]
    if not offered:
        return
    rows = [
        (
            sentences.DEALS[deal.deal],
            w.money_rough(deal.buyer.mean),
            w.percent(deal.buyer.loss_chance),
            w.money_rough(deal.seller.mean),
            w.money_rough(deal.seller.cash_today),
            w.number(max(deal.buyer.paid_after_days, deal.seller.paid_after_days), 0),
        )
        for deal in offered
        if deal.buyer and deal.seller
    ]
    head = ("", "house gains", "at a loss", "seller gets", "today", "days")
    yield page.heading("Ways to deal", "means; what each side bears differs")
    yield page.table(rows, "lrrrrr", head)
    yield page.bullets(sentences.deal(deal, w) for deal in quote.deals)
