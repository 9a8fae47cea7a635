"""A quote as a page in the terminal."""

import re

from rich.console import Console, Group

from valuation.result import Quote
from webapp.plain import GLUE
from webapp.terminal import bargain, piece, price, small_print
from webapp.terminal.page import Page
from webapp.wording import Wording

__all__ = ["print_quote"]

WIDEST = 110  # longer lines tire the eye
_TRAILING = re.compile(r"[ ]+((?:\x1b\[[0-9;]*m)*)$")


def print_quote(
    quote: Quote,
    console: Console,
    w: Wording,
    *,
    sources: bool = False,
    error: dict[str, float] | None = None,
) -> None:
    """Print the page of a quote.

    `sources` tells where each assumption comes from; `error` holds the numerical error of the headline figures.
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
        *small_print.cautions(page, quote),
        *small_print.assumptions(page, quote, sources=sources),
        *small_print.notices(page, quote),
    )
    with console.capture() as captured:
        console.print(Group(*parts), width=page.width)
    lines = captured.get().replace(GLUE, " ").splitlines()
    console.file.write("".join(_TRAILING.sub(r"\1", line) + "\n" for line in lines))
