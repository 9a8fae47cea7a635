"""The house's books: which there are, what an entry of each says, and what of it is refused."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any

from pydantic import Field, TypeAdapter, ValidationError

from valuation import Problem, problems_of
from valuation.errors import shown
from valuation.evidence_tests import EvidenceTest
from valuation.field import Section, said
from valuation.spread import Density
from valuation.terms import Comparable, Refiner
from webapp.fields import field_in
from webapp.house_kinds import OneLine, OwnCurrency
from webapp.store.books import Content

MOST_ENTRIES = 2000
LONGEST = 200


class HouseRock(Section):
    """A rock of the house's own."""

    density_g_cm3: Density = said("Density", "Of the bare rock: from, likely, to.", unit="g/cm³")


class Own(Section):
    """What an entry says beside its terms."""

    name: OneLine = said("Name", "As you call it, once in this book.", default="", max_length=120)
    currency: OwnCurrency = said("Currency", "ISO 4217 code of the amounts here.", default=None)
    source: OneLine = said("Source", "Where this comes from, for your own use.", default="", max_length=LONGEST)


@dataclass(frozen=True)
class Book:
    """One book.

    Parameters
    ----------
    key : str
        In addresses and in the store.
    one : str
        What an entry is called.
    section : type
        Its terms.
    at : str
        Where a request holds such terms, and so the beginning of the names of their fields on a form.
    own : tuple of str
        Fields of `Own` that an entry bears beside them.
    named_by : str
        The field whose text tells entries apart; empty if nothing does.
    branches : dict
        The choices of the quote's form under which these fields count.
    """

    key: str
    title: str
    one: str
    about: str
    section: type[Section]
    at: str
    own: tuple[str, ...]
    named_by: str
    branches: Mapping[str, str]

    def name_field(self) -> str:
        """The field of a form that holds the name."""
        return self.named_by if self.named_by in self.own or not self.named_by else f"{self.at}.{self.named_by}"

    def nested(self, terms: Mapping[str, Any]) -> dict[str, Any]:
        """Entries of a request that hold these terms."""
        found: Any = dict(terms)
        for part in reversed(self.at.split(".")):
            found = [found] if part.isdigit() else {part: found}
        assert isinstance(found, dict)
        return found

    def terms_in(self, entries: Mapping[str, Any]) -> dict[str, Any]:
        """Their terms among the entries of a request."""
        found: Any = entries
        for part in self.at.split("."):
            if part.isdigit():
                found = found[0] if isinstance(found, list) and found else {}
            else:
                found = found.get(part, {}) if isinstance(found, Mapping) else {}
        return dict(found) if isinstance(found, Mapping) else {}

    def has_money(self, terms: Mapping[str, Any]) -> bool:
        """Whether any of these terms is an amount of money."""
        return any(_is_money(self.section, name) for name in terms)


BOOKS: dict[str, Book] = {
    book.key: book
    for book in (
        Book(
            "refiners",
            "Refiners",
            "refiner",
            "Complete terms. A change makes a new version with its date; a sheet keeps the terms that it used.",
            Refiner,
            "refiner",
            ("currency", "source"),
            "name",
            {"choose.refiner": "yes"},
        ),
        Book(
            "sales",
            "Comparable sales",
            "sale",
            "Sales of like pieces with the price of gold of their day, from which a collector's premium is told.",
            Comparable,
            "collector.comparables.0",
            ("currency",),
            "",
            {"choose.collector": "comparables"},
        ),
        Book(
            "rocks",
            "Rocks",
            "rock",
            "The house's own densities, beside the table that the program brings.",
            HouseRock,
            "rock",
            ("name", "source"),
            "name",
            {"choose.gold": "weighed", "choose.rock": "density_g_cm3"},
        ),
        Book(
            "tests",
            "Tests and their costs",
            "test",
            "What one more test of a piece costs you and how well it measures, for “Would one more test pay?”.",
            EvidenceTest,
            "tests.0",
            ("currency",),
            "kind",
            {},
        ),
    )
}


class EntryRefused(Exception):  # noqa: N818 - told as an event
    """What was entered is no entry; carries every problem, each at its field of a form."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("; ".join(problem.message for problem in problems))
        self.problems = problems


_LINE: TypeAdapter[str] = TypeAdapter(Annotated[OneLine, Field(max_length=2000)])


def content_of(book: Book, own: Mapping[str, str], terms: Mapping[str, Any]) -> Content:
    """An entry as the store keeps it, from the texts or numbers that were entered.

    Raises
    ------
    EntryRefused
        With every problem at once.
    """
    problems: list[Problem] = []
    beside, section = Own(), None
    try:
        beside = Own.model_validate({name: own.get(name, "") for name in book.own})
    except ValidationError as refused:
        problems += problems_of(refused, Own)
    try:
        section = book.section.model_validate(_stripped(terms))
    except ValidationError as refused:
        problems += [_at(book, problem) for problem in problems_of(refused, book.section)]
    problems += _missing(book, own, terms, problems)
    problems += [_at(book, problem) for problem in _lines(terms)]
    if problems or section is None:
        raise EntryRefused(tuple({(one.field, one.message): one for one in problems}.values()))
    kept = _pruned(section.model_dump(mode="json", exclude_unset=True))
    name = beside.name if "name" in book.own else str(kept.get(book.named_by, "")) if book.named_by else ""
    return Content(name, beside.currency or "", beside.source, kept)


def section_of(book: Book, terms: Mapping[str, Any]) -> Section:
    """Terms that were kept, as the engine takes them."""
    return book.section.model_validate(dict(terms))


def _stripped(terms: Mapping[str, Any]) -> dict[str, Any]:
    stripped = {name: value.strip() if isinstance(value, str) else value for name, value in terms.items()}
    return {name: value for name, value in stripped.items() if value not in ("", None, {}, [])}


def _pruned(terms: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in terms.items() if value is not None and value != ""}


def _missing(book: Book, own: Mapping[str, str], terms: Mapping[str, Any], told: list[Problem]) -> Iterator[Problem]:
    """What an entry of the book needs though its model does not."""
    known = {problem.field for problem in told}
    name = book.name_field()
    entered = own.get(name, "") if name in book.own else str(terms.get(book.named_by, ""))
    if name and not entered.strip() and name not in known:
        yield Problem(code="missing", field=name, value="", message="needed here, to tell it from the others")
    if "currency" in book.own and not own.get("currency", "").strip() and book.key != "tests":
        yield Problem(code="missing", field="currency", value="", message="needed here, such as USD")
    if book.key == "tests" and terms.get("cost") not in (None, "") and not own.get("currency", "").strip():
        yield Problem(code="missing", field="currency", value="", message="needed beside a cost, such as USD")


def _lines(terms: Mapping[str, Any]) -> Iterator[Problem]:
    for name, value in terms.items():
        if isinstance(value, str):
            try:
                _LINE.validate_python(value)
            except ValidationError:
                words = "one line of plain text is needed, without control characters"
                yield Problem(code="one_line", field=name, value=shown(value), message=words)


def _at(book: Book, problem: Problem) -> Problem:
    message = problem.message
    if problem.code.startswith("date_"):
        message = f"must be a day such as {date(2026, 3, 14).isoformat()}"
    return problem.model_copy(update={"field": f"{book.at}.{problem.field}".rstrip("."), "message": message})


def _is_money(section: type[Section], name: str) -> bool:
    spec = field_in(section, name)
    return spec is not None and spec.unit.startswith("money")


__all__ = ["BOOKS", "MOST_ENTRIES", "Book", "EntryRefused", "HouseRock", "Own", "content_of", "section_of"]
