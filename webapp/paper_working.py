"""The working of headline figures for the house's papers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from valuation import HeadlineWorking
from valuation.working_sheet import ENTERED, Step
from webapp.paper_content import Block, Part, Sentences, Sum, Sums, Table
from webapp.retold import retold
from webapp.wording import NBSP, Wording


def working(workings: Sequence[HeadlineWorking], w: Wording) -> Part:
    """Every headline's lines, each ending on the headline, then where the constants come from."""
    from webapp.terminal.arithmetic import headline

    lead = Sentences(
        ("Each figure as with a pocket calculator, at the likely values; the last line says how the draws differ.",)
    )
    told = [
        Sums(
            one.title + (" (for the house only)" if one.private else ""),
            headline(one, w),
            tuple(_sum(step, w) for step in one.steps),
            retold(one.closing, w),
        )
        for one in workings
    ]
    return Part("Working", (lead, *told, *_constants(workings, w)))


def _sum(step: Step, w: Wording) -> Sum:
    from webapp.terminal.arithmetic import printed

    result = printed(step.result, w) + (f"{NBSP}{step.unit}" if step.unit else "")
    is_bare = step.expression.lstrip("−").replace(".", "", 1).isdigit()
    return Sum(step.label, "" if is_bare else printed(step.expression, w), result)


def _constants(workings: Sequence[HeadlineWorking], w: Wording) -> Iterator[Block]:
    from webapp.terminal.arithmetic import SURE, printed

    found: dict[str, dict[str, None]] = {}
    for constant in (constant for one in workings for step in one.steps for constant in step.sources):
        if not constant.source.startswith((ENTERED, *SURE)):
            value = printed(constant.value, w)
            name, _, unit = constant.name.rpartition(", ") if ", " in constant.name else (constant.name, "", "")
            told = value if name == "coefficient" else f"{name} {value}{NBSP if unit else ''}{unit}"
            found.setdefault(constant.source, {})[told] = None
    if found:
        rows = tuple(("; ".join(values), source) for source, values in found.items())
        yield Table(("Constants and assumptions of the working", "source"), rows, words=(1,))
