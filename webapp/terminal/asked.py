"""A checked asking price: the verdict, the most that is worth paying, the figures, and what to answer."""

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from valuation.result import Quote
from valuation.trade import AskResult
from webapp import sentences
from webapp.ask_figures import WORTH_PAYING, ask_figures
from webapp.bargaining import in_words
from webapp.terminal.bargain import PRIVATE
from webapp.terminal.page import Page

WORTH_IT = frozenset({"below_floor", "under", "inside", "above_fair", "below_known_alternative"})
TITLE = "Asking price"
TOLD = frozenset({"claim_only"})  # what is to be weighed first says the same


def verdict(page: Page, quote: Quote, ask: AskResult) -> Iterator[RenderableType]:
    w = page.w
    yield page.text(quote.title or TITLE, "bold")
    yield page.text(f"{w.moment(quote.quoted_at)}, amounts in {quote.currency}. For the house only.", "dim")
    yield Text("")
    most = ask.worth_paying
    good = ask.verdict in WORTH_IT or (ask.verdict == "floor_unknown" and most is not None and ask.all_in <= most)
    yield page.inset(page.text(sentences.asked(ask, w), "bold green" if good else "bold yellow"))
    told = "none can be named by weight" if most is None else w.price(most)
    yield page.inset(page.text(f"Highest price worth paying, all in: {told}.", "bold"))


def figures(page: Page, quote: Quote, ask: AskResult) -> Iterator[RenderableType]:
    w, fine, melt = page.w, quote.fine_gold_g, quote.melt_value
    rows = [(name, figure) for name, figure in ask_figures(ask, w) if name != WORTH_PAYING]
    if sentences.is_seen(quote):
        rows.append(("Fine gold, 95 %", w.mass_range(fine)))
        rows.append(("Melt value, 95 %", w.money_range(melt.low, melt.high, melt.sd)))
    if quote.fair is not None:
        rows.append(("Fair range", f"{w.price(quote.fair.low)} to {w.price(quote.fair.high)}"))
    yield page.heading("Figures")
    yield page.table(rows, "ll")


def answer(page: Page, quote: Quote, ask: AskResult) -> Iterator[RenderableType]:
    told = in_words(quote, page.w)[-1:]
    if ask.counter.figure is None:
        told += [sentences.deal(row, page.w) for row in quote.deals if row.offered]
    yield page.heading("What to answer", PRIVATE)
    yield page.bullets(told)
    if ask.first:
        yield page.heading("First")
        yield page.bullets([ask.first])
