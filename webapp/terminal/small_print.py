"""Above and below the figures: the answer, cautions, assumptions, and what always holds."""

from collections.abc import Container, Iterator

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from valuation.result import Assumption, Quote
from webapp import sentences
from webapp.retold import retold
from webapp.terminal.page import INDENT, Page

SECTIONS = {
    "specimen": "Specimen",
    "weighing": "Weighing",
    "rock": "Rock",
    "gold": "Gold",
    "spot": "Price",
    "refiner": "Refiner",
    "other_refiners": "Other refiners",
    "collector": "Collector",
    "buyer": "Our terms",
    "seller": "Seller",
    "": "Method",
}


def head(page: Page, quote: Quote) -> Iterator[RenderableType]:
    yield page.text(quote.title or "Quote", "bold")
    yield page.text(f"{page.w.moment(quote.quoted_at)}, amounts in {quote.currency}. For the house only.", "dim")
    first, *rest = sentences.answer(quote, page.w)
    yield Text("")
    yield page.inset(page.text(first, "bold green" if quote.fair else "bold yellow"), *map(page.text, rest))
    if quote.cautions:
        noun = "caution" if len(quote.cautions) == 1 else "cautions"
        yield page.inset(page.text(f"{len(quote.cautions)} {noun} below.", "yellow"))


def cautions(page: Page, quote: Quote, told_above: Container[str] = ()) -> Iterator[RenderableType]:
    """The cautions but those whose code is told above."""
    shown = [retold(caution.message, page.w) for caution in quote.cautions if caution.code not in told_above]
    if shown:
        yield page.heading("Cautions")
        yield page.bullets(shown, "!", "bold yellow")


def assumptions(page: Page, quote: Quote, *, sources: bool) -> Iterator[RenderableType]:
    groups = _grouped(quote)
    if sources:
        yield page.heading("Assumed", "nobody entered these")
        for section, rows in groups.items():
            yield page.inset(page.text(SECTIONS.get(section, section), "bold"))
            for row in rows:
                line = page.text(f"{sentences.assumed(row, page.w)}. ").append_text(page.text(row.source, "dim"))
                yield Padding(line, (0, 0, 0, 2 * INDENT))
        return
    table = Table.grid(padding=(0, 3, 0, 0))
    for section, rows in groups.items():
        words = "; ".join(sentences.assumed(row, page.w) for row in rows)
        table.add_row(page.text(SECTIONS.get(section, section)), page.text(words))
    yield page.heading("Assumed", "nobody entered these; --sources tells where each comes from")
    yield page.inset(table)


def _grouped(quote: Quote) -> dict[str, list[Assumption]]:
    groups: dict[str, list[Assumption]] = {name: [] for name in SECTIONS}
    for row in quote.assumptions:
        groups.setdefault(row.field.partition(".")[0], []).append(row)
    return {name: rows for name, rows in groups.items() if rows}


def notices(page: Page, quote: Quote) -> Iterator[RenderableType]:
    yield page.heading("Always")
    yield page.bullets(notice.message for notice in quote.notices)
    yield Text("")
    yield page.text(f"{quote.method_version}, {quote.draws} draws, seed {quote.seed}", "dim")
