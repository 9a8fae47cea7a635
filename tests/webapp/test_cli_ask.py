"""Checking an asking price from the command line."""

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import get_args

import pytest

from scenarios import FIRST, scenario
from valuation import QuoteRequest
from valuation.mass import MassUnit
from valuation.terms import Claim
from webapp.ask_options import OPTIONS, UNITS, option_of
from webapp.cli import main

Run = Callable[..., tuple[int, str, str]]
BARE = ("--price", "3900", "--claim", "1.2", "--gold", "4100")


@pytest.fixture(autouse=True)
def plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "FORCE_COLOR", "LC_MONETARY", "LODEWORTH_TRACE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("LC_ALL", "en_US.UTF-8")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*args: object) -> tuple[int, str, str]:
        capsys.readouterr()
        code = main(["ask", *map(str, args)])
        told = capsys.readouterr()
        return code, told.out, told.err

    return call


def refused(run: Run, *args: object) -> list[str]:
    code, out, err = run(*args)
    assert (code, out) == (2, "")
    return err.splitlines()


# ---- the page


def test_page_tells_verdict_price_figures_answer_and_what_to_weigh_in_that_order(run: Run) -> None:
    code, out, err = run(*BARE, "--minimum", "1800")
    assert (code, err) == (0, "")
    told = json.loads(run(*BARE, "--minimum", "1800", "--json")[1])
    words = " ".join(out.split())
    assert told["ask"]["verdict"] == "above_ceiling"
    parts = (
        "$3,900 is more than the house can pay, $",
        f"Highest price worth paying, all in: ${told['ask']['worth_paying']:,.2f}.",
        "Asked $3,900",
        "Chance of loss",
        "What to answer",
        "first weigh the piece dry and hanging under water, and name its rock",
        "Assumed nobody entered these",
        "not an assay, not an appraisal",
    )
    places = [words.find(part) for part in parts]
    assert places == sorted(places)
    assert min(places) >= 0
    assert words.count("Nothing was weighed") == 1


def test_it_starts_from_a_claim_and_an_ask_alone_and_from_now(run: Run) -> None:
    before = datetime.now(UTC).replace(microsecond=0)
    told = json.loads(run(*BARE, "--json")[1])
    assert before <= datetime.fromisoformat(told["quoted_at"]) <= datetime.now(UTC)
    assert told["ask"]["all_in"] == 3900
    assert {caution["code"] for caution in told["cautions"]} == {"claim_only", "floor_assumed"}
    # The price is that of the moment, so that nothing is said about its age.
    assert told["detection"] is None and told["mass_g"] is None


def test_every_cost_on_top_counts(run: Run) -> None:
    extras = ("--shipping", "40", "--fee", "3%", "--tax", "8 %", "--price-currency", "EUR", "--rate", "1.1")
    told = json.loads(run(*BARE, *extras, "--minimum", "1000", "--json")[1])
    # By hand: ((3,900 x 1.03 + 40) x 1.08) x 1.1 = 4,819.716.
    assert told["ask"]["all_in"] == 4819.72
    named = told["ask"]["counter_before_extras"]
    assert (named * 1.03 + 40) * 1.08 * 1.1 == pytest.approx(told["ask"]["counter"]["figure"], abs=0.02)
    out = " ".join(run(*BARE, *extras, "--minimum", "1000")[1].split())
    assert f"Answer: €{named:,.2f} (costs us $" in out and "€3,900, all in" not in out
    assert f"walk away above €{told['ask']['worth_paying_before_extras'] // 1:,.0f}, our ceiling before extras" in out


def test_a_unit_and_a_basis_are_heeded(run: Run) -> None:
    in_ounces = json.loads(run(*BARE, "--json", "--basis", "fine")[1])
    in_grams = ("--price", "3900", "--claim", "37.32417216", "--unit", "g", "--basis", "fine")
    told = json.loads(run(*in_grams, "--gold", "131.8180628", "--per", "g", "--json")[1])
    # 1.2 ozt = 37.32417216 g; 4,100 a troy ounce = 131.8180628 a gram.
    assert told["ask"]["worth_paying"] == pytest.approx(in_ounces["ask"]["worth_paying"], rel=1e-8)
    native = json.loads(run(*BARE, "--json", "--basis", "native")[1])
    assert native["ask"]["worth_paying"] < in_ounces["ask"]["worth_paying"]


def test_each_further_fact_narrows_the_answer(run: Run) -> None:
    def width(told: dict[str, dict[str, float]]) -> float:
        return told["fine_gold_g"]["high"] - told["fine_gold_g"]["low"]

    claimed = json.loads(run(*BARE, "--json")[1])
    meant = json.loads(run(*BARE, "--basis", "native", "--json")[1])
    weighed = json.loads(run(FIRST, "--json")[1])
    assert width(claimed) > width(meant) > width(weighed)


def test_without_a_fair_price_ways_to_share_the_doubt_are_told(run: Run) -> None:
    _, out, _ = run("no-fair-cash-price", "--price", "4500")
    assert "Advance, then settle: $" in out
    assert "Consign: the seller keeps title" in " ".join(out.split())


@pytest.mark.parametrize("width", [24, 40, 80, 120])
@pytest.mark.parametrize("args", [BARE, (FIRST,), ("below-detection", "--price", "800")])
def test_no_line_is_wider_than_the_terminal(
    run: Run, monkeypatch: pytest.MonkeyPatch, args: tuple[str, ...], width: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    code, out, _ = run(*args)
    assert code == 0
    assert max(map(len, out.splitlines())) <= width


def test_gold_that_is_not_seen_gives_no_price(run: Run) -> None:
    _, out, _ = run("below-detection", "--price", "800")
    assert "cannot be judged by weight" in out
    assert "Highest price worth paying, all in: none can be named by weight." in out
    assert "weigh a bare chip of the same rock" in " ".join(out.split())


# ---- a file and options


def test_an_option_counts_before_the_file(run: Run) -> None:
    plain = json.loads(run(FIRST, "--json")[1])
    told = json.loads(run(FIRST, "--price", "4000", "--json")[1])
    assert (plain["ask"]["all_in"], told["ask"]["all_in"]) == (5200, 4000)
    assert told["fair"] == plain["fair"]
    other = json.loads(run(FIRST, "--other-bid", "4400", "--margin", "40%", "--json")[1])
    assert other["seller_floor"] == 4400
    assert other["buyer_ceiling"] <= plain["buyer_ceiling"]


def test_a_new_claim_or_price_is_in_ounces_again(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "piece.toml"
    path.write_text(
        scenario(FIRST).text.replace('claim = { mass = 1.9, unit = "ozt"', 'claim = { mass = 60.0, unit = "g"')
    )
    assert 'unit = "g"' in path.read_text()
    told = json.loads(run(path, "--claim", "1.5", "--gold", "4200", "--json")[1])
    assert told["claim"]["claimed_g"] == pytest.approx(1.5 * 31.1034768)
    assert not {caution["code"] for caution in told["cautions"]} & {"price_old", "price_from_the_future"}


# ---- refusals


def test_what_is_needed_is_told_by_its_option(run: Run) -> None:
    assert [line.partition(":")[0] for line in refused(run)] == ["--price", "--claim", "--gold"]
    assert [line.partition(":")[0] for line in refused(run, "plain-refine")] == ["--price"]
    lines = refused(run, "--claim", "1.2", "--shipping", "4x")
    assert [line.partition(":")[0] for line in lines] == ["--price", "--gold", "--shipping (4x)"]


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("--price", "5,200"), "--price (5,200): thousands or decimals? Write 5200 or 5.200"),
        (("--price", "-5"), "--price (-5): must be above 0"),
        (("--claim", "0"), "--claim (0): must be above 0"),
        (("--fee", "5"), "--fee 5: per cent or a fraction? Write 5% or 0.05"),
        (("--tax", "x%"), "--tax x%: that is not a number; write it like 412.60"),
        (("--price-currency", "EUR"), "seller.asks.exchange_rate: the ask is in another currency"),
        (("--currency", "usd"), "--currency (usd): must be a three-letter currency code in capitals"),
        (("--rate", "1.2"), "--rate (1.2): the ask is in USD, as the quote is"),
    ],
)
def test_a_wrong_option_is_named(run: Run, args: tuple[str, ...], told: str) -> None:
    (line,) = refused(run, *BARE, *args)
    assert line.startswith(told)


def test_a_file_that_is_no_request_is_refused(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "piece.toml"
    path.write_text("seller = 5")
    assert "a table of fields is needed" in refused(run, path, *BARE)[0]
    assert "There is no file" in refused(run, tmp_path / "none.toml", *BARE)[0]


def test_options_are_fields_of_a_request_and_units_those_of_the_engine() -> None:
    assert get_args(MassUnit) == UNITS
    bases = next(option.choices for option in OPTIONS if option.field == "seller.claim.basis")
    assert get_args(Claim.model_fields["basis"].annotation) == bases
    for option in OPTIONS:
        assert option_of(option.field) == option.name
        model = QuoteRequest
        *sections, name = option.field.split(".")
        for section in sections:
            annotation = model.model_fields[section].annotation
            model = next(kind for kind in (get_args(annotation) or (annotation,)) if hasattr(kind, "model_fields"))
        assert name in model.model_fields
        assert option.is_share == name.endswith("_frac")


def test_help_names_every_option(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["ask", "--help"])
    words = capsys.readouterr().out
    assert set(re.findall(r"^  (--[a-z-]+)", words, re.MULTILINE)) >= {option.name for option in OPTIONS}


# ---- the house's own terms


def test_the_house_is_asked_only_when_told_to_and_the_file_counts_before_it(
    run: Run, monkeypatch, tmp_path: Path
) -> None:
    (tmp_path / "house.toml").write_text(
        'locale = "de-CH"\nspot_unit = "g"\n[buyer]\nmargin_frac = 0.60\nhandling_cost = 500\n', "utf-8"
    )
    monkeypatch.setenv("LODEWORTH_DATA", str(tmp_path))
    alone = json.loads(run(*BARE, "--json")[1])
    own = json.loads(run(*BARE, "--house", "--json")[1])
    assert own["melt_value"] == alone["melt_value"]  # 4100 is per troy ounce still
    assert own["ask"]["expected_profit"] == pytest.approx(alone["ask"]["expected_profit"] - 500.0)
    assert own["ask"]["worth_paying"] < alone["ask"]["worth_paying"]
    assert json.loads(run(*BARE, "--house", "--margin", "15%", "--json")[1])["buyer_ceiling"] > own["buyer_ceiling"]
    assert "3’900" in run(*BARE, "--house")[1]
    assert "3,900" in run(*BARE)[1]


def test_what_of_the_house_cannot_be_used_is_told_and_left_out(run: Run, monkeypatch, tmp_path: Path) -> None:
    (tmp_path / "house.toml").write_text("[buyer]\nmargin_frac = -1\n", "utf-8")
    monkeypatch.setenv("LODEWORTH_DATA", str(tmp_path))
    code, out, err = run(*BARE, "--house", "--json")
    assert code == 0
    assert "house.toml, line 2, buyer.margin_frac (-1" in err
    assert json.loads(out)["ask"]["worth_paying"] == json.loads(run(*BARE, "--json")[1])["ask"]["worth_paying"]
