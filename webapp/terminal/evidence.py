"""What one more test is worth, as a page in the terminal."""

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from valuation import Evidence
from valuation.evidence_tests import LABELS
from webapp import evidence_words as words
from webapp.terminal.page import Page


def told(page: Page, found: Evidence, *, sources: bool) -> Iterator[RenderableType]:
    w = page.w
    yield page.text(found.title or "Would one more test pay?", "bold")
    yield page.text(f"{w.moment(found.quoted_at)}, amounts in {found.currency}. For the house only.", "dim")
    yield Text("")
    yield page.inset(page.text(words.verdict(found, w), "bold green" if found.verdict == "pays" else "bold yellow"))
    yield page.bullets(words.today(found, w))
    yield page.heading("Tests", "best first")
    rows = [(LABELS[row.kind], *words.cells(row, found, w)) for row in found.tests]
    paying = [LABELS[row.kind] for row in found.tests if row.pays]
    yield page.table(rows, "lrrrrrr", ("", *words.HEAD), bold=paying)
    for row in found.tests:
        yield page.heading(words.title(row, w), "pays" if row.pays else "")
        yield page.inset(page.text(words.in_words(row, found, w)))
        if row.width_g is not None and row.precision:
            yield page.inset(page.text(words.precision(row, w)))
        if words.sides(row, w):
            yield page.inset(page.text(words.sides(row, w), "dim"))
        care = words.care(row, w)
        if care:
            yield page.bullets(care, "!", "bold yellow")
    yield page.heading("How to read it")
    yield page.bullets(words.reading_guide(found, w))
    if found.assumptions:
        yield page.heading("Taken as usual", "nobody entered these; a table [[tests]] in the file replaces them")
        yield page.table(words.usual(found, w), "ll")
        if sources:
            yield page.bullets(dict.fromkeys(f"{row.name}: {row.source}." for row in found.assumptions))
