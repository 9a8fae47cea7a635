"""The books in words: what a list shows of an entry, and what is told of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from babel.dates import format_date

from valuation import Problem, Spread
from valuation.evidence_tests import GOLD_G_PER_HOUR, USUAL
from webapp.book_form import BookForm
from webapp.book_kinds import BOOKS, Book, section_of
from webapp.book_table import Imported
from webapp.evidence_words import TITLES
from webapp.fields import SPREAD_PARTS, without_positions
from webapp.store.books import Content
from webapp.wording import NBSP, Wording

HEADS: Mapping[str, tuple[str, ...]] = {
    "refiners": ("Refiner", "Pays", "Charges", "Settles in"),
    "sales": ("Day", "Price", "Fine gold", "Over melt", "Grade", "Note"),
    "rocks": ("Rock", "Density", "Source"),
    "tests": ("Test", "Cost", "Time", "How well"),
}
BESIDE: Mapping[str, str] = {
    "refiners": "chosen in a quote under Refiner",
    "sales": "chosen in a quote under Collector, as comparable sales",
    "rocks": "chosen in a quote under Weighing and rock",
    "tests": "used by “Would one more test pay?” of every quote",
}
TIPS: Mapping[str, str] = {
    "refiners": "Shares are fractions, 0.95 for 95 %. Several payable shares go into one cell: 0: 0.95 / 5: 0.97 says "
    "95 % from 0 ozt on and 97 % from 5 ozt on. A row whose name stands in the book becomes its new version.",
    "sales": "Days are written 2026-03-14. A row that stands in the book already is left out.",
    "rocks": "Densities are in g/cm³. A row whose name stands in the book becomes its new version.",
    "tests": "One row for each kind of test; it becomes the new version of what the book says of that kind.",
}
_UNITS = {"u_g_cm3": "g/cm³", "u_frac": "", "u_degc": "°C", "u_g": "g", "readings": "readings"}


def said(book: Book, content: Content, w: Wording) -> str:
    """What an entry is called."""
    if book.key == "sales":
        return f"The sale of {_day(content.terms, w)} at {w.price(content.terms['price'])}"
    return TITLES.get(content.name, content.name) if book.key == "tests" else content.name


def cells(book: Book, content: Content, w: Wording) -> tuple[str, ...]:
    """What the list shows of an entry, under its `HEADS`."""
    terms = content.terms
    if book.key == "refiners":
        return content.name, _payable(terms, w), _charges(terms, w), _days(terms, w)
    if book.key == "sales":
        return _sale(content, w)
    if book.key == "rocks":
        return content.name, density(terms["density_g_cm3"], w), content.source
    cost = "as usual" if "cost" not in terms else w.price(terms["cost"])
    minutes = "as usual" if "minutes" not in terms else f"{w.number(terms['minutes'], 1, 0)}{NBSP}min"
    return said(book, content, w), cost, minutes, _precision(terms, w) or "as usual"


def _payable(terms: Mapping[str, Any], w: Wording) -> str:
    tiers = terms.get("payable", [{"from_ozt": 0.0, "frac": 0.95}])
    words = [w.percent(tiers[0]["frac"], 2)]
    words += [f"{w.percent(one['frac'], 2)} from {w.number(one['from_ozt'], 3, 0)}{NBSP}ozt" for one in tiers[1:]]
    return ", ".join(words) + ("" if "payable" in terms else ", assumed")


def _charges(terms: Mapping[str, Any], w: Wording) -> str:
    names = (
        ("assay_fee", "assay {}"),
        ("lot_fee", "lot {}"),
        ("freight", "freight {}"),
        ("refining_per_ozt", "{} an ounce"),
        ("treatment_per_kg", "{} a kilogram"),
    )
    told = [words.format(w.price(terms[name])) for name, words in names if terms.get(name)]
    told += [f"insurance {w.percent(terms['insurance_frac'], 2)}"] if terms.get("insurance_frac") else []
    told += [f"{w.percent(terms['price_discount_frac'], 2)} under spot"] if terms.get("price_discount_frac") else []
    return ", ".join(told) or "none"


def _days(terms: Mapping[str, Any], w: Wording) -> str:
    days = f"{w.number(terms.get('settlement_days', 14.0), 1, 0)}{NBSP}days"
    return days if "settlement_days" in terms else f"{days}, assumed"


def _sale(content: Content, w: Wording) -> tuple[str, ...]:
    terms = content.terms
    sale: Any = section_of(BOOKS["sales"], terms)
    grade = "" if "grade" not in terms else w.number(terms["grade"], 1, 0)
    over = w.percent(sale.melt_ratio - 1.0)
    return _day(terms, w), w.price(terms["price"]), w.grams(terms["fine_g"]), over, grade, terms.get("note", "")


def _day(terms: Mapping[str, Any], w: Wording) -> str:
    return format_date(date.fromisoformat(terms["date"]), "medium", w.locale)


def density(terms: Any, w: Wording) -> str:
    """A density with its ends, as a list shows it."""
    spread = Spread.model_validate(terms)
    likely = f"{w.number(spread.centre, 4, 2)}{NBSP}g/cm³"
    if spread.sd is not None:
        return f"{likely} ± {w.number(spread.sd, 4, 2)}"
    if spread.low is None or spread.high is None:
        return likely
    sure = f", {w.percent(spread.coverage_frac)} sure" if spread.coverage_frac is not None else ""
    return f"{likely} ({w.number(spread.low, 4, 2)} to {w.number(spread.high, 4, 2)}{sure})"


def _precision(terms: Mapping[str, Any], w: Wording) -> str:
    for name, unit in _UNITS.items():
        if name in terms:
            value = terms[name]
            if name == "u_frac":
                return f"± {w.percent(value, 2)}"
            return f"{'' if name == 'readings' else '± '}{w.number(value, 6, 0)}{NBSP}{unit}"
    return ""


def usual_tests(w: Wording) -> Iterator[tuple[str, str, str, str]]:
    """What is assumed of each kind of test: kind, name, cost and time."""
    for kind, usual in USUAL.items():
        grams = GOLD_G_PER_HOUR * usual.minutes / 60.0 + usual.fee_g
        cost = f"worth {w.grams_rough(grams)} of fine gold"
        yield kind, TITLES[kind], cost, f"{w.number(usual.minutes, 0)}{NBSP}min"


def told(form: BookForm) -> list[tuple[str, str]]:
    """What an entry says, field by field, with the label of each."""
    lines: dict[str, str] = {}
    for name in form.texts:
        path, _, part = name.rpartition(".")
        if part in SPREAD_PARTS:
            spec = form.field(path)
            words = form.stated(path) if path else ""
        else:
            path, spec = name, form.field(name)
            words = form.text(name)
        if spec is None or not words or path in lines:
            continue
        unit = "" if spec.unit.startswith("money") or spec.unit in words else spec.unit
        lines[path] = f"{dict(spec.choices).get(words, words)} {unit}".strip()
    return [(_label(form, path), words) for path, words in lines.items()]


def _label(form: BookForm, path: str) -> str:
    tier = [f"tier {int(part) + 1}" for part in path.split(".") if part.isdigit()] if ".payable." in path else []
    return ", ".join([form.label(without_positions(path) if tier else path), *tier])


def with_problem(form: BookForm, field: str, message: str) -> BookForm:
    """The form with one more problem."""
    problem = Problem(code="name", field=field, value=form.text(field), message=message)
    return replace(form, problems=(*form.problems, problem))


def imported(told: Imported) -> str:
    """What came of a table."""
    counts = ((told.added, "added"), (told.changed, "changed"), (told.same, "as they stood already"))
    words = [f"{count} {what}" for count, what in counts if count]
    return f"Read: {', '.join(words)}."
