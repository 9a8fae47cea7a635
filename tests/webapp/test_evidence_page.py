"""Whether one more test would pay: on the page and at the command line."""

import json
import re
import tomllib
from pathlib import Path

import pytest
from werkzeug.datastructures import MultiDict

from scenarios import scenario
from tests.webapp.conftest import Visitor
from valuation import Evidence, evidence
from valuation.evidence_tests import USUAL
from webapp import evidence_words as words
from webapp.cli import main
from webapp.wording import Wording


@pytest.fixture(autouse=True)
def plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "FORCE_COLOR", "LC_MONETARY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LC_ALL", "en_US.UTF-8")
    monkeypatch.setenv("COLUMNS", "100")


def said(capsys: pytest.CaptureFixture[str], *args: str) -> str:
    assert main(["evidence", *args]) == 0
    return " ".join(capsys.readouterr().out.replace("\u00a0", " ").split())


# ---- the command line


def test_the_best_test_stands_first_with_cost_consent_and_caution(capsys: pytest.CaptureFixture[str]) -> None:
    told = said(capsys, "chip-pays")
    assert "One more test pays. The best is: weigh a bare chip of the rock." in told
    chip, rest = told.split("Weigh a bare chip of the rock pays ", 1)[1].split("Measure the water's temperature", 1)
    assert re.match(r"Takes about 15 min and costs \$25; narrows the gold from 20.8 to 42.7 g to about 30", chip)
    assert re.search(r"makes a deal possible in \d\d of 100; it is worth about \$\d+ to the two of you together", chip)
    for caution in ("consent", "silica dust", "eye protection"):
        assert caution in chip
    assert "only under licence" in rest
    assert "Taken as usual" in rest and "[[tests]]" in rest


def test_none_pays_is_said_where_none_does(capsys: pytest.CaptureFixture[str]) -> None:
    told = said(capsys, "no-test-pays")
    assert "None pays" in told
    assert "One more test pays" not in told
    assert "Weigh the piece first" in said(capsys, "claim-only-ask")
    assert "in grams" in said(capsys, "below-detection")


def test_the_damage_is_told_in_money(capsys: pytest.CaptureFixture[str]) -> None:
    told = said(capsys, "leaf-gold-walk-in")
    assert re.search(r"the damage costs \$\d+", told)
    assert "It damages the piece: counted as 5 % of what a collector would pay over the melt value." in told


def test_sources_are_told_on_request(capsys: pytest.CaptureFixture[str]) -> None:
    assert "against fire assay" not in said(capsys, "no-test-pays")
    assert "against fire assay" in said(capsys, "no-test-pays", "--sources")


def test_json_is_the_engines_answer(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["evidence", "chip-pays", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found == evidence(scenario("chip-pays").request()).model_dump(mode="json")


def test_a_refusal_names_the_field_and_ends_with_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "piece.toml"
    path.write_text(scenario("chip-pays").text.replace("u_g_cm3 = 0.01", "u_g_cm3 = -1"), "utf-8")
    assert main(["evidence", str(path)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "tests.0.u_g_cm3 (-1): must be above 0" in told.err
    assert main(["evidence", "nowhere.toml"]) == 2


# ---- the page


def test_a_quote_leads_to_its_tests_by_one_link(visitor: Visitor) -> None:
    page = visitor.open("/demos/chip-pays")
    (link,) = [a for a in page.all("a") if a.get_text() == "Would one more test pay?"]
    at_once = visitor.open(str(link["href"]))
    assert at_once.status == 200
    assert "Working" in at_once.words("#told")
    whole = str(at_once.one("#told")["hx-get"])
    assert at_once.one("noscript meta")["content"] == f"0; url={whole}"
    told = visitor.open(whole)
    assert "One more test pays" in told.words("#verdict")
    rows = told.all(".evidence-table tbody tr")
    assert "chip" in rows[0].get_text() and "pays" in rows[0].get_text()
    assert len(rows) == 4
    assert not told.all("script:not([src]), [style], form")
    for caution in ("silica", "eye protection", "licence", "consent"):
        assert caution in told.words()
    (back,) = [a for a in told.all("a") if a.get_text() == "Back to the quote"]
    assert back["href"] == "/demos/chip-pays"


def test_the_page_says_when_none_pays(visitor: Visitor) -> None:
    told = visitor.open("/demos/no-test-pays/evidence?whole=1")
    assert "None pays" in told.words("#verdict")
    assert not told.all(".pays")


def test_unknown_and_unready_quotes_are_told(visitor: Visitor) -> None:
    assert visitor.open("/demos/nothing/evidence").status == 404
    assert visitor.open("/quotes/AAAAAAAAAAAAAAAAAAAAAA/evidence").status == 404


def test_tests_of_a_file_are_kept_by_the_form_and_in_the_saved_file(visitor: Visitor) -> None:
    page = visitor.open("/demos/chip-pays")
    typed = page.typed()
    assert typed["tests.0.kind"] == "chip" and typed["tests.0.cost"] == "25"
    answer = visitor.client.post(page.one("#quote-form")["action"], data=typed)
    assert answer.status_code == 303
    saved = visitor.client.get(f"{answer.headers['Location']}/file")
    tests = tomllib.loads(saved.text)["tests"] if saved.status_code == 200 else None
    told = visitor.open(f"{answer.headers['Location']}/evidence?whole=1")
    assert "One more test pays" in told.words("#verdict")
    if tests is not None:
        assert [test["kind"] for test in tests] == ["chip", "fineness", "repeats", "water_temperature"]
        assert tests[1]["u_frac"] == pytest.approx(0.012)


def test_nothing_of_it_reaches_the_seller(visitor: Visitor) -> None:
    page = visitor.open("/demos/chip-pays")
    typed = page.typed()
    shown = []
    for taken_out in ("none", "tests."):
        kept = [(name, text) for name, text in typed.items(multi=True) if not name.startswith(taken_out)]
        new = visitor.open("/quotes/new").one("#quote-form")["action"]
        answer = visitor.client.post(str(new), data=MultiDict(kept))
        shown.append(visitor.client.get(f"{answer.headers['Location']}/counter").data)
    assert shown[0] == shown[1]
    assert len(kept) < len(list(typed.items(multi=True)))


# ---- words


def test_every_kind_has_a_title() -> None:
    assert set(words.TITLES) == set(USUAL)


def test_chances_are_never_rounded_to_never() -> None:
    w = Wording.of("USD", "en_US")
    assert words.often(0.002, w) == "in under 1 of 100"
    assert words.often(0.0, w) == "never"
    assert words.often(0.69, w) == "in 69 of 100"


def told_of(found: Evidence, w: Wording, **figures: float) -> str:
    row = found.tests[0].model_copy(update=figures)
    return words.in_words(row, found, w).replace("\u00a0", " ")


def test_a_moved_price_and_a_deal_undone_are_kept_apart() -> None:
    found, w = evidence(scenario("no-test-pays").request(), log2_draws=11), Wording.of("EUR", "en_US")
    moved = told_of(found, w, change_chance=0.45, turn_chance=0.0, gain_both=0.0)
    assert "It moves the price out of today's fair range in 45 of 100, and never undoes the deal" in moved
    assert "what one of you gains by that the other loses" in moved
    assert "worth nothing" not in moved
    both = told_of(found, w, change_chance=0.45, turn_chance=0.1, gain_both=-30.0)
    assert "fair range in 35 of 100, and undoes the deal in 10 of 100; it costs the two of you about €30" in both
    assert "changes neither the price by much nor" in told_of(found, w, change_chance=0.0, turn_chance=0.0)
    assert words.HEAD.index("Deal or none") < words.HEAD.index("Price moves")


def test_a_range_is_said_to_narrow_only_where_its_figures_do() -> None:
    found, w = evidence(scenario("no-test-pays").request(), log2_draws=11), Wording.of("EUR", "en_US")
    fine = found.today.fine_gold_g
    same = {"fine_low_g": fine.low, "fine_high_g": fine.high, "width_g": 0.9 * fine.width}
    assert "does not narrow the range of the gold" in told_of(found, w, **same)
    assert words.range_left(found.tests[0].model_copy(update=same), found, w) == words.NO_NARROWER
    narrow = {"fine_low_g": fine.low + 0.2, "fine_high_g": fine.high - 0.2, "width_g": fine.width - 0.4}
    assert "narrows the gold from" in told_of(found, w, **narrow)


def test_costs_that_nobody_entered_are_told_in_money(visitor: Visitor) -> None:
    told = visitor.open("/demos/leaf-gold-walk-in/evidence?whole=1")
    usual = told.words(".evidence-usual")
    # 0.5 g at 4,100 a troy ounce of 31.1035 g is 65.9.
    assert "$66 for an hour's work" in usual
    assert "g of fine gold an hour" not in usual
    assert "[[tests]]" not in told.words()


def test_a_coarse_balance_is_told_to_spoil_the_chip(visitor: Visitor) -> None:
    told = visitor.open("/demos/leaf-gold-walk-in/evidence?whole=1").words()
    assert "with steps of 0.05 g, a chip of 32 g tells the rock's density to ± 0.013 g/cm³" in told
    assert "What is taken for the rock now is narrower already" in told
