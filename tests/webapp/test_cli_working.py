"""The working on the command line: readable, the same figures as the page above it, and all of it in JSON."""

import json
import re
from collections.abc import Callable

import pytest

from scenarios import FIRST, names, scenario
from valuation import HeadlineWorking, working
from webapp.cli import main
from webapp.terminal.arithmetic import headline, printed
from webapp.wording import Wording

Run = Callable[..., tuple[int, str, str]]
ON_THE_PAGE = {
    "mass_g": "Mass",
    "volume_cm3": "Volume",
    "specific_gravity": "Specific gravity",
    "native_gold_g": "Native gold",
    "fine_gold_g": "Fine gold",
    "melt_value": "Melt value",
    "settlement_total": "Total",
    "refine_net": "Refined",
    "intact_net": "Sold intact",
}


@pytest.fixture(autouse=True)
def plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "FORCE_COLOR", "LC_MONETARY", "LODEWORTH_TRACE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LC_ALL", "en_US.UTF-8")
    monkeypatch.setenv("COLUMNS", "110")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*args: object) -> tuple[int, str, str]:
        capsys.readouterr()
        code = main([str(arg) for arg in args])
        told = capsys.readouterr()
        return code, told.out, told.err

    return call


@pytest.fixture(scope="module")
def first() -> tuple[HeadlineWorking, ...]:
    return working(scenario(FIRST).request())


def flat(text: str) -> str:
    return " ".join(text.split())


def test_page_without_working_is_left_as_it_was(run: Run) -> None:
    _, plain, _ = run("quote", FIRST)
    code, told, err = run("quote", FIRST, "--working")
    assert (code, err) == (0, "")
    assert "pocket calculator" not in plain
    start, end = told.index("\nWorking"), told.index("\nCautions" if "\nCautions" in told else "\nAssumed")
    assert told[:start] + told[end:] == plain


def test_every_line_of_the_arithmetic_is_on_the_page(run: Run, first: tuple[HeadlineWorking, ...]) -> None:
    _, told, _ = run("quote", FIRST, "--working")
    w = Wording.of("USD", "en_US")
    page = told[told.index("\nWorking") :].replace("\N{NO-BREAK SPACE}", " ")
    for one in first:
        assert one.title in page
        for step in one.steps:
            assert flat(printed(step.result, w)) in page
            # An expression may be broken over lines, with its label beside it.
            for number in re.findall(r"[\d,.]*\d", printed(step.expression, w)):
                assert number in page
    assert "Tanaka" in page
    assert "Weights and Measures Act 1985" in page


@pytest.mark.parametrize("name", [FIRST, "collector-piece", "plain-refine", "displaced-water"])
def test_working_ends_on_the_figure_that_the_page_shows(run: Run, name: str) -> None:
    request = scenario(name).request()
    _, told, _ = run("quote", name)
    w = Wording.of(request.spot.currency, "en_US")
    labels = ON_THE_PAGE.values()
    rows = {label: line for line in told.splitlines() for label in labels if line.strip().startswith(label)}
    found = {one.key: headline(one, w).replace("\N{NO-BREAK SPACE}", " ") for one in working(request)}
    for key, label in ON_THE_PAGE.items():
        if key in found:
            assert found[key].split()[0] in rows[label], (key, rows[label])
    for key in ("buyer_ceiling", "fair_low", "fair_middle", "fair_high", "plan_buyer", "plan_seller"):
        assert found[key] in told, key


@pytest.mark.parametrize("name", names())
@pytest.mark.parametrize("columns", ["40", "80", "110"])
def test_working_fits_the_terminal(run: Run, name: str, columns: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    code, told, err = run("quote", name, "--working")
    assert (code, err) == (0, "")
    assert max(map(len, told.splitlines())) <= int(columns)
    assert not re.search(r"\bnan\b|\binf\b|Decimal", told)


def test_numbers_are_in_the_reader_s_form_and_keep_their_digits() -> None:
    assert printed("min(1234.50; 0.8) × 2", Wording.of("EUR", "de_DE")) == "min(1.234,50; 0,8) × 2"
    assert printed("(−20 + 3.983035)", Wording.of("USD", "en_US")) == "(−20 + 3.983035)"
    assert printed("0.12345678901234567890", Wording.of("USD", "en_US")) == "0.12345678901234567890"


def test_json_holds_the_working_where_it_was_asked_for(run: Run, first: tuple[HeadlineWorking, ...]) -> None:
    _, plain, _ = run("quote", FIRST, "--json")
    _, told, _ = run("quote", FIRST, "--json", "--working")
    quoted, both = json.loads(plain), json.loads(told)
    shown = both.pop("working")
    assert both == quoted
    assert shown == [one.model_dump(mode="json") for one in first]
    assert shown[0]["steps"][0].keys() == {"label", "expression", "result", "unit", "sources"}
    assert {one["key"]: one["figure"] for one in shown}["buyer_ceiling"] == quoted["buyer_ceiling"]


def test_working_follows_the_seed(run: Run) -> None:
    _, told, _ = run("quote", FIRST, "--json", "--working", "--seed", "7")
    both = json.loads(told)
    figures = {one["key"]: one["figure"] for one in both["working"]}
    assert figures["buyer_ceiling"] == both["buyer_ceiling"]
    assert figures["fine_gold_g"] == both["fine_gold_g"]["median"]
