"""Tables of the books: what comes out goes in again the same; what is wrong is told; nothing breaks."""

import csv
import io
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from webapp.book_form import form_of, read
from webapp.book_kinds import BOOKS, EntryRefused, content_of
from webapp.book_table import Imported, TableRefused, columns, exported, imported, rows_of, template
from webapp.csv_table import csv_table
from webapp.sheet_table import guarded, unguarded
from webapp.store import books, open_store
from webapp.store.books import Content, Version

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
TEXTS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=40).map(str.strip)
RISKY = st.sampled_from(
    ["=1+1", "'=1+1", "''+x", " -3", "@a", "'", "=", "a,b;c", 'q"q', "＝x", "0001", "1,234", "ünïcode 金"]
)
WORDS = (TEXTS | RISKY.map(str.strip)).filter(
    lambda text: not set(text) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
)
SHARES = st.floats(0.001, 1.0)


def maybe(name: str, values: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.just({}) | values.map(lambda value: {name: value})


def merged(*parts: st.SearchStrategy[dict[str, Any]]) -> st.SearchStrategy[dict[str, Any]]:
    return st.tuples(*parts).map(lambda found: {key: value for part in found for key, value in part.items()})


@st.composite
def spreads(draw: st.DrawFn, low: float, high: float) -> Any:
    a, b, c = sorted(draw(st.lists(st.floats(low, high), min_size=3, max_size=3)))
    kinds: list[Any] = [b, {"low": a, "high": c}, {"low": a, "likely": b, "high": c}]
    if a + 1e-6 < b < c - 1e-6:
        kinds.append({"low": a, "likely": b, "high": c, "coverage_frac": 0.95})
    kinds.append({"value": (low + high) / 2, "sd": (high - low) / 40})
    return draw(st.sampled_from(kinds))


@st.composite
def tiers(draw: st.DrawFn) -> list[dict[str, float]]:
    starts = [0.0, *sorted(draw(st.sets(st.integers(1, 10**6).map(lambda n: n / 1000), max_size=4)))]
    return [{"from_ozt": start, "frac": draw(SHARES)} for start in starts]


NAMED = WORDS.filter(bool)
ENTRIES: dict[str, st.SearchStrategy[tuple[dict[str, str], dict[str, Any]]]] = {
    "refiners": st.tuples(
        st.fixed_dictionaries({"currency": st.sampled_from(["USD", "CHF", "JPY"]), "source": WORDS}),
        merged(
            NAMED.map(lambda name: {"name": name}),
            maybe("recovery_frac", spreads(0.5, 1.0)),
            maybe("silver_recovery_frac", spreads(0.5, 1.0)),
            maybe("payable", tiers()),
            maybe("assay_fee", st.floats(0, 1e9)),
            maybe("insurance_frac", SHARES),
            maybe("price_fixed", st.sampled_from(["settlement", "receipt"])),
        ),
    ),
    "sales": st.tuples(
        st.fixed_dictionaries({"currency": st.sampled_from(["USD", "CHF", "JPY"])}),
        merged(
            st.dates(date(1990, 1, 1), date(2040, 1, 1)).map(lambda day: {"date": day.isoformat()}),
            st.tuples(st.floats(1.0, 900.0), st.floats(100.0, 9000.0), st.floats(0.5, 9.0)).map(
                lambda t: {"fine_g": t[0], "spot": t[1], "price": t[0] * t[1] / 31.1034768 * t[2]}
            ),
            maybe("grade", st.floats(1, 5)),
            maybe("note", NAMED),
        ),
    ),
    "rocks": st.tuples(
        st.fixed_dictionaries({"name": NAMED, "source": WORDS}), merged(maybe("density_g_cm3", spreads(2.0, 4.0)))
    ).filter(lambda entry: bool(entry[1])),
    "tests": st.tuples(
        st.fixed_dictionaries({"currency": st.just("USD")}),
        merged(
            st.just({"kind": "repeats"}),
            maybe("readings", st.integers(1, 9).map(float)),
            maybe("cost", st.floats(0, 1e6)),
            maybe("needs_consent", st.booleans()),
            maybe("safety", NAMED),
        ),
    ),
}


def versions(key: str, contents: list[Content]) -> list[Version]:
    return [Version(key, f"entry-{i}", 1, content, NOON, None) for i, content in enumerate(contents)]


@pytest.mark.parametrize("key", BOOKS)
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_what_comes_out_goes_in_again_the_same(key: str, data: st.DataObject) -> None:
    book = BOOKS[key]
    found = data.draw(st.lists(ENTRIES[key], min_size=1, max_size=4))
    contents = [content_of(book, own, terms) for own, terms in found]
    unique = {content.name.casefold() or str(i): content for i, content in enumerate(contents)}
    text = exported(book, versions(key, list(unique.values())))
    assert [content for _, content in rows_of(book, text, "EUR")] == list(unique.values())
    for own, terms in found:  # a form shows shares in per cent, which keeps fifteen digits
        content = content_of(book, own, rounded(terms))
        assert read(form_of(book, content)) == content


def rounded(terms: Any) -> Any:
    """Terms with nine decimals at most."""
    if isinstance(terms, dict):
        return {name: rounded(value) for name, value in terms.items()}
    if isinstance(terms, list):
        return [rounded(value) for value in terms]
    return round(terms, 9) if isinstance(terms, float) else terms


@pytest.mark.parametrize("key", BOOKS)
def test_a_book_that_was_emptied_into_a_table_is_filled_from_it(tmp_path: Path, key: str) -> None:
    book = BOOKS[key]
    first, second = (open_store(tmp_path / name) for name in ("first", "second"))
    imported(first, book, rows_of(book, template(book), "USD"), NOON)
    if key == "sales":  # two that are alike are two
        imported(first, book, rows_of(book, template(book) * 1, "USD") * 2, NOON)
        assert len(books.offered(first, key)) == 2
    rows = rows_of(book, exported(book, books.offered(first, key)), "EUR")
    told = imported(second, book, rows, NOON)
    assert told == Imported(len(rows), 0, 0)
    assert [one.content for one in books.offered(second, key)] == [one.content for one in books.offered(first, key)]
    assert imported(second, book, rows, NOON) == Imported(0, 0, len(rows))
    assert [one.version for one in books.entries(second, key)] == [1] * len(rows)
    first.close()
    second.close()


def test_a_row_of_a_name_that_is_there_is_its_new_version(tmp_path: Path) -> None:
    store, book = open_store(tmp_path), BOOKS["rocks"]
    for density in ("2.60", "2.62"):
        told = imported(store, book, rows_of(book, f"name,density_likely_g_cm3\nLedge,{density}\n", "USD"), NOON)
    assert told == Imported(0, 1, 0)
    (one,) = books.offered(store, "rocks")
    assert (one.version, one.content.terms) == (2, {"density_g_cm3": 2.62})
    store.close()


@settings(max_examples=300, deadline=None)
@given(
    text=st.text(max_size=300) | st.text(st.sampled_from('name,;\t"\n\r= 1.5é'), max_size=120),
    key=st.sampled_from(list(BOOKS)),
)
def test_no_text_breaks_the_reading(text: str, key: str) -> None:
    told: tuple[object, ...] = ()
    try:
        told = tuple(content for _, content in rows_of(BOOKS[key], text, "USD"))
    except TableRefused as refused:
        told = tuple(problem.message for problem in refused.problems)
    assert told and all(told)


@settings(max_examples=200, deadline=None)
@given(text=st.text(max_size=30) | RISKY)
def test_what_is_guarded_is_given_back_and_nothing_runs(text: str) -> None:
    cell = guarded(text)
    assert unguarded(cell) == text
    assert not cell.lstrip().startswith(("=", "+", "-", "@"))


@settings(max_examples=150, deadline=None)
@given(
    rows=st.lists(
        st.lists(
            st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\r\n\0"), max_size=9),
            min_size=2,
            max_size=4,
        ),
        min_size=1,
        max_size=5,
    ),
    mark=st.sampled_from([",", ";", "\t"]),
)
def test_the_reader_agrees_with_the_writer_of_the_standard_library(rows: list[list[str]], mark: str) -> None:
    head = ["plain", "header", "of four", "cells"]
    kept = [[cell.lstrip(" ") for cell in row] for row in rows]  # blanks after the mark do not count
    out = io.StringIO()
    csv.writer(out, delimiter=mark, quoting=csv.QUOTE_ALL).writerows([head, *kept])
    table = csv_table("\ufeff" + out.getvalue())
    assert (table.mark, table.broken) == (mark, "")
    assert [list(row.cells) for row in table.rows[1:]] == [row for row in kept if any(cell.strip() for cell in row)]


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_marks_and_decimals_as_people_write_them(mark: str) -> None:
    cells = [["name", "density_low_g_cm3", "density_high_g_cm3"], ["Ledge", "2,61", "2.66"]]
    out = io.StringIO()
    csv.writer(out, delimiter=mark).writerows(cells)
    ((line, content),) = rows_of(BOOKS["rocks"], "\ufeff" + out.getvalue(), "USD")
    assert (line, content.terms) == (2, {"density_g_cm3": {"low": 2.61, "high": 2.66}})


@pytest.mark.parametrize(
    ("table", "line", "column", "value", "words"),
    [
        ("", 0, "", "", "take the template"),
        ("name,densty_low_g_cm3\nA,2\n", 1, "header", "densty_low_g_cm3", "did you mean density_low_g_cm3"),
        ("name,name\nA,B\n", 1, "header", "name", "twice"),
        ("name,density_likely_g_cm3\nA,9\n", 2, "density_likely_g_cm3", "9", "up to 8"),
        ("name,density_likely_g_cm3\n,2.6\n", 2, "name", "", "needed here"),
        ("name,density_likely_g_cm3\nA,2.6\na,2.7\n", 3, "name", "a", "stands in line 2 already"),
        ("name,density_likely_g_cm3\nA,2,6\n", 2, "", "6", "decimal commas"),
        ('name,density_likely_g_cm3\n"A,2.6\n', 2, "", "", "quotation mark left open"),
        ("name,density_low_g_cm3,density_high_g_cm3\nA,2.7,2.6\n", 2, "density_low_g_cm3", "2.7", "rising order"),
    ],
)
def test_each_mistake_names_line_column_value_and_what_to_do(
    table: str, line: int, column: str, value: str, words: str
) -> None:
    with pytest.raises(TableRefused) as refused:
        rows_of(BOOKS["rocks"], table, "USD")
    (problem,) = refused.value.problems
    assert (problem.line, problem.column, problem.value) == (line, column, value) and words in problem.message


def test_a_wrong_row_keeps_all_others_out(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    with pytest.raises(TableRefused):
        imported(store, BOOKS["rocks"], rows_of(BOOKS["rocks"], "name,density_likely_g_cm3\nA,2.6\nB,x\n", "USD"), NOON)
    assert books.entries(store, "rocks") == ()
    store.close()


def test_every_field_of_a_model_has_its_column() -> None:
    for key, book in BOOKS.items():
        paths = {column.path.partition(".")[0] for column in columns(key) if not column.is_own}
        assert paths == set(book.section.model_fields)
        assert len({column.name for column in columns(key)}) == len(columns(key))


def test_control_characters_are_refused() -> None:
    with pytest.raises(EntryRefused):
        content_of(BOOKS["refiners"], {"currency": "USD", "source": "a\u202eb"}, {"name": "x\ny"})
