"""The bargain: offer and plans, asking price, claim, figures said, deals that share the doubt."""

from collections.abc import Iterator

from rich.console import RenderableType

from valuation.result import Quote
from webapp import sentences
from webapp.terminal.page import Page

PRIVATE = "private: not for the seller's eyes"
SIDES = {"buyer": "House", "seller": "Seller"}
DEALS = {"cash": "Cash", "advance_and_settle": "Advance, then settle", "consign": "Consign"}


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
    figures = (
        ("Asked, all in", w.price(ask.all_in)),
        ("Highest worth paying", None if ask.worth_paying is None else w.price(ask.worth_paying)),
        ("Expected profit", None if ask.expected_profit is None else w.money_rough(ask.expected_profit)),
        ("Margin", None if ask.margin_frac is None else w.percent(ask.margin_frac)),
        ("Chance of loss", None if ask.chance_of_loss is None else w.percent(ask.chance_of_loss)),
        ("Of median melt value", None if ask.of_median_melt_frac is None else w.percent(ask.of_median_melt_frac)),
        ("Per gram of fine gold", None if ask.per_gram_fine is None else w.price(ask.per_gram_fine)),
        ("Per gram of native gold", None if ask.per_gram_native is None else w.price(ask.per_gram_native)),
        ("Pays if refined, from", None if ask.break_even_fine_g is None else w.mass_rough(ask.break_even_fine_g)),
        ("Chance of that", None if ask.chance_of_break_even is None else w.percent(ask.chance_of_break_even)),
        (
            "Pays if sold, from a premium of",
            None if ask.break_even_premium_frac is None else w.percent(ask.break_even_premium_frac),
        ),
    )
    yield page.heading("Asking price", PRIVATE)
    yield page.table(((name, value) for name, value in figures if value is not None), "ll")
    yield page.bullets([sentences.counter(ask.counter, w), *([ask.first] if ask.first else [])])


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
            DEALS[deal.deal],
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
    yield page.bullets(f"{DEALS[deal.deal]}: {deal.reason}" for deal in quote.deals)
