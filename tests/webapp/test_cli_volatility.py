"""Volatility of a price history from the command line."""

import io
import json
import math
import random
import sys
import tomllib
from collections.abc import Callable
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from valuation.terms import Spot
from webapp.cli import main
from webapp.price_file import LARGEST_BYTES, MOST_TOLD, HistoryRefused, PriceRow, rows_of


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., object]:
    """Run the command on a text: exit code, standard output, standard error."""
    monkeypatch.setenv("LC_ALL", "en_US.UTF-8")
    monkeypatch.setenv("COLUMNS", "80")
    path = tmp_path / "prices.csv"

    def call(text: str, *args: str) -> tuple[int, str, str]:
        path.write_text(text, "utf-8")
        capsys.readouterr()
        code = main(["volatility", str(path), *args])
        told = capsys.readouterr()
        return code, told.out, told.err.replace(str(path), "FILE")

    return call


def lines(n: int = 60, delimiter: str = ",", point: str = ".", replaced: dict[int, str] | None = None) -> list[str]:
    """Invented prices of so many days that follow each other."""
    chance = random.Random(7)
    price, told = 4000.0, []
    for i in range(n):
        price *= math.exp(chance.gauss(0, 0.01))
        text = (replaced or {}).get(i, f"{price:.2f}".replace(".", point))
        told.append(f"{date(2026, 1, 1) + timedelta(i)}{delimiter}{text}")
    return told


def by_hand(rows: list[str]) -> float:
    """sqrt(sum r² / T) of plain rows without gaps."""
    logs = [math.log(float(row.split(",")[1])) for row in rows]
    years = (len(logs) - 1) / 365.25
    return math.sqrt(sum((b - a) ** 2 for a, b in pairwise(logs)) / years)


def test_volatility_is_that_of_the_file_and_goes_into_a_request(run: Callable[..., tuple[int, str, str]]) -> None:
    code, out, err = run("\n".join(lines()))
    assert (code, err) == (0, "")
    expected = by_hand(lines())
    assert f"Volatility: {100 * expected:.1f} % a year" in out
    block = out[out.index("[spot]") : out.index("For a history of silver")].replace("  ", "")
    assert tomllib.loads(block)["spot"] == {"gold_volatility_per_year": round(expected, 4)}
    assert "gold_volatility_per_year" in Spot.model_fields and "silver_volatility_per_year" in Spot.model_fields
    told = json.loads(run("\n".join(lines()), "--json")[1])
    assert told["volatility_per_year"] == pytest.approx(expected, rel=1e-12)
    assert (told["changes"], told["first"], told["last"]) == (59, "2026-01-01", "2026-03-01")


@pytest.mark.parametrize(("delimiter", "point"), [(",", "."), (";", "."), (";", ","), ("\t", ","), (", ", ".")])
@pytest.mark.parametrize("header", ["", "date{0}price", "Day{0}Close"])
def test_every_way_to_write_it_is_read(
    run: Callable[..., tuple[int, str, str]], delimiter: str, point: str, header: str
) -> None:
    told = [*([header.format(delimiter)] if header else []), *lines(40, delimiter, point)]
    code, out, _ = run("\r\n".join(told), "--json")
    assert code == 0
    assert json.loads(out)["volatility_per_year"] == pytest.approx(by_hand(lines(40)), rel=1e-12)


def test_columns_are_found_by_their_names(run: Callable[..., tuple[int, str, str]]) -> None:
    rows = ["price,note,date", *(f"{price},seen,{day}" for day, price in (row.split(",") for row in lines(40)))]
    assert json.loads(run("\n".join(rows), "--json")[1])["volatility_per_year"] == pytest.approx(by_hand(lines(40)))


def test_wild_rows_are_named_and_days_without_a_price_passed_over(run: Callable[..., tuple[int, str, str]]) -> None:
    rows = "\n".join(lines(60, replaced={20: "40000", 30: "", 31: "n/a"}))
    _, out, _ = run("date,price\n" + rows)
    assert "line 22: 2026-01-21, 40,000" in out
    assert "Without a price" in out
    told = json.loads(run("date,price\n" + rows, "--json")[1])
    assert told["dropped"] == [{"line": 22, "date": "2026-01-21", "price": 40000.0}]
    assert (told["without_price"], told["changes"]) == (2, 56)


def test_of_a_day_given_twice_the_later_line_counts(run: Callable[..., tuple[int, str, str]]) -> None:
    rows = lines(40)
    code, out, _ = run("\n".join([rows[5].split(",")[0] + ",9000", *rows]))
    assert code == 0
    assert "Days given twice: 1; the later line counts." in out
    assert f"{100 * by_hand(rows):.1f} % a year" in out


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("03/14/2026,4100", "FILE, line 1: “03/14/2026” is not a date such as 2026-03-14"),
        ("2026-01-01,4100\n\n2026-13-01,4100", "FILE, line 3: “2026-13-01” is not a date"),
        ("2026-01-01,abc", "FILE, line 1: price “abc”: that is not a number"),
        ("2026-01-01,-5", "FILE, line 1: price “-5”: must be above 0"),
        ("2026-01-01,0", "must be above 0; leave it empty for a day without a price"),
        ("2026-01-01,1e400", "FILE, line 1: price “1e400”"),
        ('2026-01-01;"1,234"', "thousands or decimals? Write 1234 or 1.234"),
        ("2026-01-01,4100,50", "FILE, line 1: 3 columns: a date and a price are needed. With decimal commas"),
        ("date,price\n2026-01-01,4100,50", "FILE, line 2: 3 columns"),
        ("2026-01-01", "FILE, line 1: one column only"),
        ("day,open,high\n2026-01-01,1,2", "FILE, line 1: the header must name the two columns"),
        ('2026-01-01,"4100', "not CSV"),
        ("2026-01-01,4100", "FILE: 1 usable rows are too few"),
        ("", "FILE: 0 usable rows are too few"),
    ],
)
def test_what_cannot_be_read_is_told_with_its_line(
    run: Callable[..., tuple[int, str, str]], text: str, told: str
) -> None:
    code, out, err = run(text)
    assert (code, out) == (2, "")
    assert told in err
    assert "Traceback" not in err


def test_only_the_first_lines_that_are_wrong_are_told(run: Callable[..., tuple[int, str, str]]) -> None:
    _, _, err = run("\n".join(f"2026-01-01,x{i}" for i in range(500)))
    assert len(err.splitlines()) == MOST_TOLD + 1
    assert "and 490 more lines like these" in err


def test_a_file_of_no_use_is_refused(
    run: Callable[..., tuple[int, str, str]], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "larger than 8192 kB, the most for a price history" in run("x" * (LARGEST_BYTES + 1))[2]
    assert main(["volatility", "none.csv"]) == 2
    assert "There is no file none.csv" in capsys.readouterr().err
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"2026-01-01,x")))
    assert main(["volatility", "-"]) == 2
    assert capsys.readouterr().err.startswith("standard input, line 1: price “x”")


@given(st.text())
def test_any_text_is_read_or_refused(text: str) -> None:
    rows: list[PriceRow] = []
    problems: tuple[str, ...] = ()
    try:
        rows = rows_of(text, "file")
    except HistoryRefused as refused:
        problems = refused.problems
    assert all(row.price > 0 or math.isnan(row.price) for row in rows)
    assert all(problem.startswith("file") for problem in problems)
