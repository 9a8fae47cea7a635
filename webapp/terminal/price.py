"""What the piece brings: the money axis, the ways out, refiners, premium, settlement, price risk."""

from collections.abc import Iterator

from rich.console import RenderableType

from valuation.result import Quote
from webapp import figures_said, sentences
from webapp.retold import retold
from webapp.terminal.axis import PLAIN, Mark, Strokes, drawn
from webapp.terminal.page import INDENT, Page

LABEL_WIDTH = 18
ROUTES = {"refine": "Refined", "intact": "Sold intact"}


def axis(page: Page, quote: Quote) -> Iterator[RenderableType]:
    marks = _marks(quote)
    strokes = Strokes() if page.is_utf else PLAIN
    rows = drawn(marks, page.w, page.width - INDENT - LABEL_WIDTH, strokes) if marks else []
    if rows:
        labels = ("", *(mark.label for mark in marks))
        scale, *tracks = (f"{label:<{LABEL_WIDTH}}{row}" for label, row in zip(labels, rows, strict=True))
        yield page.heading("On one scale", "95 % ranges, median marked")
        yield page.inset(page.text(scale, "dim"), *map(page.text, tracks))


def _marks(quote: Quote) -> list[Mark]:
    melt = quote.melt_value
    marks = [Mark("Melt value", melt.low, melt.high, melt.median)] if sentences.is_seen(quote) else []
    marks += [Mark(ROUTES[r.route], r.low, r.high, r.median) for r in quote.routes]
    if quote.seller_floor is not None:
        marks.append(Mark("Seller's floor", quote.seller_floor, quote.seller_floor))
    if quote.fair is not None:
        marks.append(Mark("Fair range", quote.fair.low, quote.fair.high))
    if quote.buyer_ceiling is not None:
        marks.append(Mark("House's ceiling", quote.buyer_ceiling, quote.buyer_ceiling))
    said = figures_said.newest(quote, "buyer")
    if quote.ask is not None:
        label = "Asking price" if figures_said.newest(quote, "seller") is None else "Now asked"
        marks.append(Mark(label, quote.ask.all_in, quote.ask.all_in))
    if said is not None:
        marks.append(Mark("We said", said.all_in, said.all_in))
    return marks


def routes(page: Page, quote: Quote) -> Iterator[RenderableType]:
    w = page.w
    if quote.routes:
        rows = [
            (
                ROUTES[r.route],
                w.money(r.median, r.sd),
                w.money(r.mean, r.sd),
                w.money_range(r.low, r.high, r.sd),
                w.at_most(r.ceiling),
                sentences.LIMITS[r.binds],
            )
            for r in quote.routes
        ]
        yield page.heading("What we can do with it", "net, as worth today")
        yield page.table(rows, "lrrrrl", ("", "median", "mean", "95 % range", "ceiling", "set by"))
    if quote.premium is not None and quote.premium.basis != "entered":
        yield page.inset(page.text(sentences.premium(quote.premium, w)))
    if len(quote.refiners) > 1:
        ranked = [
            (
                r.name,
                w.money(r.mean, r.sd),
                w.money_range(r.low, r.high, r.sd),
                w.chance(r.chance_best) if r.takes_it else "",
                "chosen" if r.chosen else "" if r.takes_it else "lot too small",
            )
            for r in quote.refiners
        ]
        yield page.heading("Refiners", "ranked on the same draws")
        yield page.table(ranked, "lrrrl", ("", "mean", "95 % range", "pays most", ""), long_names=True)


def settlement(page: Page, quote: Quote) -> Iterator[RenderableType]:
    if quote.settlement:
        rows = [
            (row.line.capitalize(), page.w.money(float(row.amount)), retold(row.detail, page.w))
            for row in quote.settlement
        ]
        yield page.heading("Refiner's settlement", "at the likely values")
        yield page.table(rows, "lrl", bold=("Total",))


def price_risk(page: Page, quote: Quote) -> Iterator[RenderableType]:
    risk, w = quote.price_risk, page.w
    if risk is None:
        return
    rows = [(w.number(row.days, 0), w.chance(row.chance_of_loss), w.at_most(row.ceiling)) for row in risk.rows]
    yield page.heading("Price risk", f"refining, bought at {w.price(risk.price)}, the {risk.price_basis}")
    yield page.table(rows, "rrr", ("days open", "chance of loss", "ceiling"))
    told = sentences.price_fall(risk, w)
    if told:
        yield page.inset(page.text(told))
