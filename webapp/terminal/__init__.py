"""A quote as a page in the terminal."""

import re
from collections.abc import Iterable, Sequence

from rich.console import Console, Group, RenderableType

from valuation import Evidence, HeadlineWorking
from valuation.history import Volatility
from valuation.result import Quote
from valuation.trade import AskResult
from webapp.plain import GLUE
from webapp.price_file import PriceRow
from webapp.terminal import arithmetic, asked, bargain, evidence, history, piece, price, small_print
from webapp.terminal.page import Page
from webapp.wording import Wording

__all__ = ["print_ask", "print_evidence", "print_history", "print_parts", "print_quote"]

WIDEST = 110  # longer lines tire the eye
_TRAILING = re.compile(r"[ ]+((?:\x1b\[[0-9;]*m)*)$")


def print_quote(
    quote: Quote,
    console: Console,
    w: Wording,
    *,
    sources: bool = False,
    error: dict[str, float] | None = None,
    working: Sequence[HeadlineWorking] = (),
) -> None:
    """Print the page of a quote.

    `sources` tells where each assumption comes from; `error` holds the numerical error of the headline figures;
    `working` is their arithmetic.
    """
    page = Page(w, console.encoding, min(console.width, WIDEST))
    parts = (
        *small_print.head(page, quote),
        *price.axis(page, quote),
        *piece.gold(page, quote),
        *price.routes(page, quote),
        *bargain.offer(page, quote),
        *bargain.asking_price(page, quote),
        *bargain.claim(page, quote),
        *bargain.figures_said(page, quote),
        *bargain.deals(page, quote),
        *piece.doubt(page, quote, error),
        *piece.hand_rules(page, quote),
        *piece.false_gold(page, quote),
        *price.settlement(page, quote),
        *price.price_risk(page, quote),
        *arithmetic.working(page, working),
        *small_print.cautions(page, quote),
        *small_print.assumptions(page, quote, sources=sources),
        *small_print.notices(page, quote),
    )
    print_parts(parts, page, console)


def print_ask(quote: Quote, ask: AskResult, console: Console, w: Wording, *, sources: bool = False) -> None:
    """Print the page of a checked asking price."""
    page = Page(w, console.encoding, min(console.width, WIDEST))
    parts = (
        *asked.verdict(page, quote, ask),
        *asked.figures(page, quote, ask),
        *asked.answer(page, quote, ask),
        *bargain.claim(page, quote),
        *bargain.figures_said(page, quote, answered=False),
        *small_print.cautions(page, quote, asked.TOLD if ask.first else ()),
        *small_print.assumptions(page, quote, sources=sources),
        *small_print.notices(page, quote),
    )
    print_parts(parts, page, console)


def print_evidence(found: Evidence, console: Console, w: Wording, *, sources: bool = False) -> None:
    """Print what one more test is worth."""
    page = Page(w, console.encoding, min(console.width, WIDEST))
    print_parts(evidence.told(page, found, sources=sources), page, console)


def print_history(found: Volatility, rows: Sequence[PriceRow], console: Console, w: Wording) -> None:
    """Print what a price history comes to."""
    page = Page(w, console.encoding, min(console.width, WIDEST))
    print_parts(history.told(page, found, rows), page, console)


def print_parts(parts: Iterable[RenderableType], page: Page, console: Console) -> None:
    """Print the parts of a page, without trailing spaces."""
    with console.capture() as captured:
        console.print(Group(*parts), width=page.width)
    lines = captured.get().replace(GLUE, " ").splitlines()
    console.file.write("".join(_TRAILING.sub(r"\1", line) + "\n" for line in lines))
