"""A lot as a page in the terminal."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console, RenderableType
from rich.text import Text

from valuation import LotQuote
from webapp import lot_told, sentences
from webapp.retold import retold
from webapp.terminal import WIDEST, print_parts
from webapp.terminal.axis import PLAIN, Strokes, drawn
from webapp.terminal.axis import Mark as AxisMark
from webapp.terminal.page import Page
from webapp.wording import Wording

MOST_ROWS = 60


def print_lot(quote: LotQuote, console: Console, w: Wording) -> None:
    """Print the page of a lot."""
    page = Page(w, console.encoding, min(console.width, WIDEST))
    parts = (
        *_head(page, quote),
        *_axis(page, quote),
        *_gold(page, quote),
        *_routes(page, quote),
        *_pieces(page, quote),
        *_small_print(page, quote),
    )
    print_parts(parts, page, console)


def _head(page: Page, quote: LotQuote) -> Iterator[RenderableType]:
    yield page.text(quote.title or "Lot", "bold")
    yield page.text(f"{page.w.moment(quote.quoted_at)}, amounts in {quote.currency}. For the house only.", "dim")
    first, *rest = lot_told.answer(quote, page.w)
    yield Text("")
    yield page.inset(page.text(first, "bold green" if quote.fair else "bold yellow"), *map(page.text, rest))


def _axis(page: Page, quote: LotQuote) -> Iterator[RenderableType]:
    marks = [AxisMark(m.label, m.low, m.high, m.median) for m in lot_told.marks(quote, page.w)]
    labels = max((len(mark.label) for mark in marks), default=0)
    tracks = drawn(marks, page.w, page.width - labels - 6, Strokes() if page.is_utf else PLAIN) if marks else []
    if tracks:
        yield page.heading("On one scale", "95 % ranges, median marked")
        rows = [("", tracks[0]), *((mark.label, track) for mark, track in zip(marks, tracks[1:], strict=True))]
        yield page.inset(*(page.text(f"{label:<{labels}}  {track}") for label, track in rows))


def _gold(page: Page, quote: LotQuote) -> Iterator[RenderableType]:
    yield page.heading("Gold", lot_told.counted(quote))
    rows = [(row.name, row.middle, row.range, row.aside) for row in lot_told.gold(quote, page.w)]
    yield page.table(rows, "lrrr", ("", "median", "95 % range", "in troy ounces"), bold=("Fine gold", "Melt value"))
    yield page.heading("Why ranges of pieces do not simply add")
    yield page.table(lot_told.doubt(quote, page.w), "lrr", ("if the pieces share", "fine gold", "melt value"))
    yield page.bullets(lot_told.sharing(quote))


def _routes(page: Page, quote: LotQuote) -> Iterator[RenderableType]:
    w = page.w
    if not quote.routes:
        return
    rows = [
        (
            lot_told.ROUTES[row.route],
            w.money(row.mean, row.sd),
            w.money_range(row.low, row.high, row.sd),
            w.at_most(row.ceiling),
            sentences.LIMITS[row.binds],
        )
        for row in quote.routes
    ]
    yield page.heading("Ways out of the whole lot", "worth today")
    yield page.table(rows, "lrrrl", ("", "mean", "95 % range", "allows", "set by"))
    yield page.bullets(retold(term.message, w) for term in quote.terms)
    if quote.together_gains is not None:
        yield page.inset(page.text(lot_told.together(quote, w)))


def _pieces(page: Page, quote: LotQuote) -> Iterator[RenderableType]:
    rows = [
        (f"{row.number}", row.title, row.mass, row.gold, row.melt, "; ".join(filter(None, (row.share, row.note))))
        for row in lot_told.piece_rows(quote, page.w)
    ]
    yield page.heading("Pieces", "fine gold and melt value with their 95 % ranges, and the share of the lot's")
    yield page.table(rows[:MOST_ROWS], "rlrrrl", ("", "", "mass", "fine gold", "melt value", "share"))
    if len(rows) > MOST_ROWS:
        words = f"{len(rows) - MOST_ROWS} more pieces: --csv FILE writes all of them, --json prints them."
        yield page.inset(page.text(words, "dim"))


def _small_print(page: Page, quote: LotQuote) -> Iterator[RenderableType]:
    cautions = [retold(caution.message, page.w) for caution in quote.cautions]
    cautions += lot_told.piece_cautions(quote, page.w)
    if cautions:
        yield page.heading("Cautions")
        yield page.bullets(cautions, "!", "bold yellow")
    yield page.heading("Assumed", "nobody entered these")
    yield page.bullets(f"{sentences.assumed(row, page.w)}." for row in quote.assumptions)
    yield page.heading("Always")
    yield page.bullets(notice.message for notice in quote.notices)
    yield Text("")
    yield page.text(f"{quote.method_version}, {quote.draws} draws, seed {quote.seed}", "dim")
