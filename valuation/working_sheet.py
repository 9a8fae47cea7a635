"""The sheet that a headline's arithmetic is written on, and how it ends on the headline."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
from pydantic import BaseModel, FiniteFloat

from valuation.assumptions import value_words
from valuation.money import exact
from valuation.spread import Spread
from valuation.summary import decimals_for
from valuation.trade import Row
from valuation.working_term import Constant, Term, plain, stepped, to_decimals, to_digits

DIGITS = (8, 10, 12, 15, 20, 40)
PRINTED_WHOLE = 10  # a number of so few digits is never cut
MOST_DECIMALS = 6
SAME_REL = 1e-9
ENTERED = "entered"
FROM_DRAWS = "the draws of this quote"
BEYOND_PRINT = "digits beyond those printed"
Pick = Callable[[Spread], float]


class Step(Row):
    """One line of arithmetic.

    Parameters
    ----------
    label : str
        What is worked out, in plain words.
    expression : str
        The arithmetic with printed numbers; see `Term`.
    result, unit : str
        What the printed expression gives, rounded at its last digit; the unit may be empty.
    sources : tuple of Constant
        Where each number comes from that is not the result of a line above.
    """

    label: str
    expression: str
    result: str
    unit: str
    sources: tuple[Constant, ...]


class HeadlineWorking(Row):
    """How one headline figure comes about at the likely values; the last line is the headline itself.

    Parameters
    ----------
    key : str
        Which figure of the quote it is.
    title : str
        In plain words.
    private : bool
        Whether it is for the house only; what is not private may stand on the seller's paper.
    steps : tuple of Step
        In order.
    closing : str
        From the likely values to the headline, in one sentence.
    figure : float
        The headline with all its digits.
    unit : str
        Its unit; a currency code for money.
    """

    key: str
    title: str
    private: bool
    steps: tuple[Step, ...]
    closing: str
    figure: FiniteFloat
    unit: str


def at_likely(spread: Spread) -> float:
    """The likely value of an input."""
    return spread.centre


def at_median(spread: Spread) -> float:
    """The value of an input that half of its range lies under."""
    return float(np.ravel(spread.drawn(np.array([0.5])))[0])


def origin(section: BaseModel, name: str) -> str:
    """Whether a field of the request was entered, or what it was assumed from."""
    extra = type(section).model_fields[name].json_schema_extra
    assumed = str(extra.get("assumed", "")) if isinstance(extra, dict) else ""
    stated = name in section.model_fields_set and getattr(section, name) is not None
    return ENTERED if stated or not assumed else assumed


@dataclass
class Sheet:
    """Lines of arithmetic as they are written.

    Parameters
    ----------
    digits : int
        Significant digits that are printed.
    pick : callable
        The value that stands for an input in doubt.
    """

    digits: int
    pick: Pick = at_likely
    steps: list[Step] = field(default_factory=list)

    def given(self, number: float | Decimal, name: str, source: str = ENTERED) -> Term:
        """A number from elsewhere."""
        value = number if isinstance(number, Decimal) else exact(number)
        own = len(value.normalize().as_tuple().digits)
        value = to_digits(value, own if own <= PRINTED_WHOLE else self.digits)
        return Term.number(value, (Constant(value=plain(abs(value)), name=name, source=source),))

    def likely(self, spread: Spread, name: str, source: str, unit: str = "") -> Term:
        """An input in doubt at the value that stands for it."""
        if spread.kind != "exact":
            source = f"{source}; likely value of {value_words(spread, unit)}"
        term = self.given(self.pick(spread), name, source)
        middle = at_median(spread)
        if abs(middle - spread.centre) <= SAME_REL * abs(middle):
            return term
        return Term.number(term.value, term.constants, (name.partition(",")[0],))

    def step(
        self,
        label: str,
        term: Term,
        unit: str = "",
        decimals: int | None = None,
        least_decimals: int = 0,
        rounding: str = ROUND_HALF_UP,
    ) -> Term:
        """Write a line; its printed result is what later lines go on with.

        Parameters
        ----------
        label, term, unit : str, Term, str
            What, how and in what unit.
        decimals : int, optional
            Decimals of the result; by default as many as make up the sheet's digits.
        least_decimals : int
            Decimals that are never cut off.
        rounding : str
            Of the last decimal, if `decimals` are given.
        """
        if decimals is None:
            value = to_digits(term.value, self.digits, least_decimals)
        else:
            value = to_decimals(term.value, decimals, rounding)
        line = Step(label=label, expression=term.text, result=plain(value), unit=unit, sources=term.constants)
        self.steps.append(line)
        return Term.number(value, (), term.skewed)

    def taken(self) -> tuple[Step, ...]:
        """The lines so far; the sheet starts afresh."""
        taken, self.steps = tuple(self.steps), []
        return taken


def carried(term: Term, name: str, from_: str) -> Term:
    """A result of one headline as it enters another."""
    constant = Constant(value=plain(abs(term.value)), name=name, source=f"worked out under “{from_}”")
    return Term.number(term.value, (constant,), term.skewed)


@dataclass(frozen=True)
class Draft:
    """A headline's lines before it is ended."""

    key: str
    title: str
    unit: str
    steps: tuple[Step, ...]
    reached: Term


@dataclass(frozen=True)
class Ending:
    """The headline that a draft must end on.

    Parameters
    ----------
    figure : float
        The headline.
    decimals : int
        At which it is shown.
    what : str
        What the figure is: ``the median of all draws``; empty if the lines lead straight to it.
    parts : tuple of (str, float)
        Reasons why the figure is not what the likely values give, with their amounts.
    rest : str
        Reason for what is left of the difference.
    closing : str
        Sentence that goes with a figure which the lines lead straight to, or follows the usual one.
    """

    figure: float
    decimals: int
    what: str = ""
    parts: tuple[tuple[str, float], ...] = ()
    rest: str = BEYOND_PRINT
    closing: str = ""

    @property
    def shown(self) -> Decimal:
        """The figure as it is printed."""
        return to_decimals(exact(self.figure), self.decimals)


def measured_decimals(sd: float) -> int:
    """Decimals of a measured quantity with this standard deviation."""
    return min(decimals_for(sd), MOST_DECIMALS)


def money_decimals(sd: float, digits: int) -> int:
    """Decimals of an estimate in money, in a currency with so many digits."""
    return digits if sd <= 0 else min(decimals_for(sd), digits)


def ended(draft: Draft, ending: Ending, *, private: bool = False) -> HeadlineWorking:
    """The headline's working: the draft's lines, and those that lead on to the headline."""
    sheet = Sheet(DIGITS[-1], steps=list(draft.steps))
    reached, closing = draft.reached.value, ending.closing
    if to_decimals(reached, ending.decimals) == ending.shown:
        likely = _rounded(sheet, Term.number(reached), draft.unit, ending.decimals)
        if ending.what:
            told = _told(likely, draft.unit)
            closing = f"At the likely values {told}; {ending.what} is the same to the digits shown. {closing}".rstrip()
    else:
        closing = f"{_led_on(sheet, reached, draft.unit, ending)} {closing}".strip()
    return HeadlineWorking(
        key=draft.key,
        title=draft.title,
        private=private,
        steps=sheet.taken(),
        closing=closing,
        figure=ending.figure,
        unit=draft.unit,
    )


def _told(number: Decimal, unit: str) -> str:
    return f"{plain(number)} {unit}".rstrip()


def _rounded(sheet: Sheet, term: Term, unit: str, decimals: int) -> Decimal:
    """The term as shown, with a line for its rounding if it has more digits."""
    shown = to_decimals(term.value, decimals)
    if shown != term.value:
        sheet.step("Rounded as shown", stepped("round", term, _place(decimals)), unit, decimals)
    return shown


def _place(decimals: int) -> Term:
    return Term.number(to_decimals(Decimal(1).scaleb(-decimals), decimals))


def _led_on(sheet: Sheet, reached: Decimal, unit: str, ending: Ending) -> str:
    """Lines from the likely values to the headline, and the sentence that tells of the difference."""
    fine = next(
        decimals
        for decimals in range(ending.decimals + 1, ending.decimals + 40)
        if to_decimals(to_decimals(exact(ending.figure), decimals), ending.decimals) == ending.shown
    )
    figure, likely = to_decimals(exact(ending.figure), fine), to_decimals(reached, fine)
    start = Term.number(reached)
    total = start if likely == reached else stepped("round", start, _place(fine))
    reasons = _reasons(figure - likely, ending, fine)
    for reason, amount in reasons:
        total = total + sheet.given(amount, reason, FROM_DRAWS if ending.what else BEYOND_PRINT)
    label = f"To {ending.what}" if ending.what else "To the figure itself"
    result = sheet.step(label, total, unit, ending.decimals if figure == ending.shown else fine)
    _rounded(sheet, result, unit, ending.decimals)
    if not ending.what:
        return ""
    if len(reasons) == 1:
        why = reasons[0][0]
    else:
        why = "; ".join(f"{reason} ({_told(amount, unit)})" for reason, amount in reasons)
    shown = "" if figure == ending.shown else f", shown as {_told(ending.shown, unit)}"
    return (
        f"At the likely values {_told(likely, unit)}; {ending.what} {_told(figure, unit)}{shown}; the difference of "
        f"{_told(figure - likely, unit)} comes from {why}."
    )


def _reasons(difference: Decimal, ending: Ending, decimals: int) -> list[tuple[str, Decimal]]:
    """Every reason with its amount at so many decimals; the amounts add up to the difference."""
    named = [(reason, to_decimals(exact(amount), decimals)) for reason, amount in ending.parts]
    left = difference - sum((amount for _, amount in named), Decimal(0))
    return [(reason, amount) for reason, amount in [*named, (ending.rest, left)] if amount]


def enough_digits(build: Callable[[Sheet], list[Draft]], endings: Sequence[Ending]) -> list[Draft]:
    """Drafts with as few printed digits as give the same rounded results as many digits do.

    Parameters
    ----------
    build : callable
        Writes the drafts on a sheet.
    endings : sequence of Ending
        One for each draft.
    """

    def rounded(drafts: list[Draft]) -> list[Decimal]:
        return [to_decimals(d.reached.value, e.decimals) for d, e in zip(drafts, endings, strict=True)]

    wanted = rounded(build(Sheet(DIGITS[-1])))
    for digits in DIGITS:
        drafts = build(Sheet(digits))
        if rounded(drafts) == wanted:
            break
    return drafts
