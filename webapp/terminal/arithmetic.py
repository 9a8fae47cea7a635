"""How each headline figure comes about, line by line, and where its constants come from."""

import re
from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from valuation import HeadlineWorking
from valuation.working_sheet import ENTERED, Step
from webapp.retold import retold
from webapp.rounded_words import rounded_words
from webapp.terminal.page import INDENT, Page
from webapp.wording import NBSP, Wording

LABELS_FRAC = 0.36
LEAST_FOR_COLUMNS = 90
FLOAT_DIGITS = 15
SURE = ("counted", "mathematics", "worked out under", "the draws")  # sources that need no telling
RAISED = frozenset({"seller_floor", "gap"})
_NUMBER = re.compile(r"\d+(?:\.(\d+))?")


def working(page: Page, workings: Sequence[HeadlineWorking]) -> Iterator[RenderableType]:
    """Every headline's lines, each ending on the headline, then the constants."""
    if not workings:
        return
    yield page.heading("Working", "at the likely values, as with a pocket calculator")
    for one in workings:
        title = page.text(f"{one.title}  {headline(one, page.w)}", "bold")
        if one.private:
            title.append_text(page.text("  private", "dim"))
        yield Text("")
        yield page.inset(title)
        yield Padding(_lines(page, one.steps), (0, 0, 0, 2 * INDENT))
        yield Padding(page.text(retold(one.closing, page.w)), (0, 0, 0, 2 * INDENT))
    yield from _constants(page, workings)


def headline(one: HeadlineWorking, w: Wording) -> str:
    """The figure that the lines end on, as the page above shows it."""
    result = one.steps[-1].result
    if one.unit != w.currency:
        return _with_unit(printed(result, w), one.unit)
    if "ceiling" in one.key:
        return w.at_most(one.figure)
    if one.key in RAISED:
        return w.at_least(one.figure)
    return w.price(float(result.replace("−", "-")))


def printed(text: str, w: Wording) -> str:
    """Printed arithmetic with its numbers in the reader's form, each digit kept."""
    return _NUMBER.sub(lambda found: _printed(found, w), rounded_words(text))


def _printed(found: re.Match[str], w: Wording) -> str:
    decimals = len(found[1] or "")
    if len(found[0]) > FLOAT_DIGITS:
        return found[0]
    return w.number(float(found[0]), decimals, least=decimals)


def _with_unit(figure: str, unit: str) -> str:
    return f"{figure}{NBSP}{unit}" if unit else figure


def _lines(page: Page, steps: Sequence[Step]) -> Table:
    """Two columns where there is room, else each label above its arithmetic."""
    wide = page.width >= LEAST_FOR_COLUMNS
    table = Table.grid(padding=(0, 2, 0, 0))
    if wide:
        table.add_column(width=round(page.width * LABELS_FRAC))
    for step in steps:
        result = _with_unit(printed(step.result, page.w), step.unit)
        told = printed(step.expression, page.w)
        label, sum_ = page.text(step.label), page.text(result if _is_bare(step) else f"{told} ={NBSP}{result}")
        if wide:
            table.add_row(label, sum_)
        else:
            table.add_row(page.text(step.label, "dim"))
            table.add_row(Padding(sum_, (0, 0, 0, INDENT)))
    return table


def _is_bare(step: Step) -> bool:
    """Whether there is nothing to work out."""
    return bool(_NUMBER.fullmatch(step.expression.lstrip("−")))


def _constants(page: Page, workings: Sequence[HeadlineWorking]) -> Iterator[RenderableType]:
    found: dict[str, dict[str, None]] = {}
    for constant in (constant for one in workings for step in one.steps for constant in step.sources):
        if not constant.source.startswith((ENTERED, *SURE)):
            value = printed(constant.value, page.w)
            name, unit = (*constant.name.rpartition(", ")[::2],) if ", " in constant.name else (constant.name, "")
            told = value if name == "coefficient" else f"{name} {_with_unit(value, unit)}"
            found.setdefault(constant.source, {})[told] = None
    yield page.heading("Constants and assumptions of the working")
    for source, values in found.items():
        line = page.text(f"{', '.join(values)}. ").append_text(page.text(source, "dim"))
        yield page.inset(line)
