"""The command line: pages, JSON, refusals, exit codes, odd terminals."""

import io
import json
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import rich.console
from hypothesis import given
from hypothesis import strategies as st

from scenarios import FIRST, names, scenario
from valuation import Quote, quote
from webapp.cli import main
from webapp.request_file import LARGEST_BYTES, FileRefused, parsed
from webapp.wording import Wording

ROOT = Path(__file__).parent.parent.parent
COLOUR = re.compile(r"\x1b\[[0-9;]*(3[0-7]|9[0-7])m")

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(autouse=True)
def plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "LC_MONETARY", "LODEWORTH_TRACE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LC_ALL", "en_US.UTF-8")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command in this process: exit code, standard output, standard error."""

    def call(*args: object) -> tuple[int, str, str]:
        capsys.readouterr()
        code = main([str(arg) for arg in args])
        told = capsys.readouterr()
        return code, told.out, told.err

    return call


def started(*args: object, **env: str) -> subprocess.CompletedProcess[bytes]:
    """The command in a process of its own."""
    command = [sys.executable, "-m", "webapp", *map(str, args)]
    return subprocess.run(command, cwd=ROOT, env={**os.environ, **env}, capture_output=True, check=False)


@pytest.fixture(scope="module")
def first() -> Quote:
    return quote(scenario(FIRST).request())


@pytest.fixture
def file(tmp_path: Path) -> Callable[..., Path]:
    """Write a request file: the demo's TOML with lines added or replaced."""

    def write(replaced: dict[str, str] | None = None, text: str | None = None, name: str = "piece.toml") -> Path:
        content = scenario(FIRST).text if text is None else text
        for old, new in (replaced or {}).items():
            assert old in content
            content = content.replace(old, new)
        path = tmp_path / name
        path.write_text(content, "utf-8")
        return path

    return write


# ---- the page


def test_page_begins_with_the_answer_in_one_sentence(run: Run, first: Quote) -> None:
    code, out, err = run("quote", FIRST)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == first.title
    assert first.fair is not None
    w = Wording.of("USD", "en_US")
    low, middle, high = (w.price(x) for x in (first.fair.low, first.fair.middle, first.fair.high))
    assert lines[3].strip() == f"A fair price is {low} to {high}; the middle is {middle}."


def test_page_holds_every_part_of_the_quote(run: Run, first: Quote) -> None:
    _, out, _ = run("quote", FIRST)
    words = " ".join(out.split())
    w = Wording.of("USD", "en_US")
    fine, melt = first.fine_gold_g, first.melt_value
    expected = [
        w.grams(fine.median, fine.sd),
        w.ounces_range(fine.low, fine.high, fine.sd),
        w.money_range(melt.low, melt.high, melt.sd),
        *(w.money(route.mean, route.sd) for route in first.routes),
        *(w.money(float(row.amount)) for row in first.settlement),
        *(row.input for row in first.budget if row.share_frac >= 0.01),
        "rock of 2.583 and native gold of 15.5 g/cm³",
        "rock of 2.63 and native gold of 15.94 g/cm³ (about 0.75 fine)",
        "1 cm³ of tungsten",
        "1 % of the volume as voids",
        *(f"{row.name}: " for row in first.assumptions),
        *(notice.message for notice in first.notices),
        first.method_version,
    ]
    squeezed = re.sub(r"\s+", "", words)
    missing = [text for text in expected if re.sub(r"\s+", "", text) not in squeezed]
    assert missing == []


@pytest.mark.parametrize("name", names())
@pytest.mark.parametrize("width", [24, 40, 80, 120])
def test_no_line_is_wider_than_the_terminal(run: Run, monkeypatch: pytest.MonkeyPatch, name: str, width: int) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    code, out, err = run("quote", name)
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= width
    assert not any(line != line.rstrip() for line in out.splitlines())
    assert ("\nCautions\n" in out) is bool(scenario(name).cautions)
    assert "nan" not in out.lower().split() and "inf" not in out.lower().split()


def test_every_caution_stands_on_the_page(run: Run) -> None:
    told = quote(scenario("porous-drift").request())
    _, out, _ = run("quote", "porous-drift")
    assert len(told.cautions) >= 2
    assert f"{len(told.cautions)} cautions below." in out
    for caution in told.cautions:
        assert re.sub(r"\s+", "", caution.message) in re.sub(r"\s+", "", out)


def test_a_piece_that_is_not_seen_has_no_price(run: Run) -> None:
    _, out, _ = run("quote", "below-detection")
    assert "cannot be told from bare rock" in out
    assert "\nOffer" not in out
    assert "\nWays out" not in out
    assert "not seen by weight; if there is any" in out


def test_a_gap_is_told_with_what_would_close_it(run: Run) -> None:
    _, out, _ = run("quote", "no-fair-cash-price")
    assert "There is no fair cash price" in out
    assert "enough\n    for the seller" in out or "enough for the seller" in out


def test_ways_to_deal_are_told_for_both_with_the_worst_where_it_is_a_loss(run: Run, first: Quote) -> None:
    _, out, _ = run("quote", FIRST)
    w = Wording.of("USD", "en_US")
    lines = [line.split() for line in out[out.index("\nWays to deal") :].splitlines()]
    sides = [line for line in lines if line[:1] in (["House"], ["Seller"])]
    parties = [side for deal in first.deals for side in (deal.buyer, deal.seller) if side is not None]
    assert len(sides) == len(parties) == 6
    assert any(party.first_percentile is not None for party in parties)
    for line, party in zip(sides, parties, strict=True):
        assert line[1] == w.money_rough(party.mean)
        assert line[-1] == w.number(party.paid_after_days, 0)
        worst = party.first_percentile
        assert [word for word in line[1:] if word.startswith("-")] == ([] if worst is None else [w.money_rough(worst)])


def test_figures_said_are_tabled_with_step_and_ratio(run: Run) -> None:
    _, out, _ = run("quote", "figures-said")
    table = out[out.index("\nFigures said so far") : out.index("Now asked: $3,000.")]
    assert [line.split() for line in table.splitlines()[3:8]] == [
        ["Seller", "$3,600"],
        ["House", "$2,500"],
        ["Seller", "$3,200", "-$400"],
        ["House", "$2,700", "$200"],
        ["Seller", "$3,000", "-$200", "0.5"],
    ]


def test_more_is_told_where_it_is_asked_for(run: Run) -> None:
    _, without, _ = run("quote", FIRST)
    _, out, _ = run("quote", FIRST, "--sources", "--price-risk", "--error")
    for heading in ("Price risk", "Numerical error"):
        assert heading in out
        assert heading not in without
    assert "USGS" not in without
    assert "Nash" in out
    assert "chance of loss" in out


def test_amounts_follow_the_locale(run: Run, monkeypatch: pytest.MonkeyPatch, first: Quote) -> None:
    monkeypatch.setenv("LC_ALL", "de_DE.UTF-8")
    assert first.fair is not None
    _, out, _ = run("quote", FIRST)
    assert f"{first.fair.low:,.0f}".replace(",", ".") + " $" in out


# ---- JSON


def test_json_is_the_quote(run: Run, first: Quote) -> None:
    code, out, err = run("quote", FIRST, "--json")
    assert (code, err) == (0, "")
    told = json.loads(out)
    assert set(told) == set(Quote.model_fields)
    assert Quote.model_validate(told) == first


def test_seed_is_kept(run: Run) -> None:
    told = [json.loads(run("quote", FIRST, "--json", "--seed", seed)[1]) for seed in (7, 7, 8)]
    assert told[0] == told[1]
    assert told[0]["seed"] == 7
    assert told[0]["fine_gold_g"] != told[2]["fine_gold_g"]


@pytest.mark.parametrize("seed", ["-1", "1.5", "x", "", "٣", str(2**63)])
def test_a_seed_that_is_none_is_refused(seed: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(["quote", FIRST, f"--seed={seed}"])
    assert stopped.value.code == 2
    assert "not a seed" in capsys.readouterr().err


def test_numerical_error_joins_the_json(run: Run) -> None:
    told = json.loads(run("quote", FIRST, "--json", "--error")[1])
    assert set(told) == {*Quote.model_fields, "numerical_error"}
    assert 0 < told["numerical_error"]["fine_gold_g.median"] < 0.02 * told["fine_gold_g"]["sd"]


# ---- where a request comes from


def test_a_scenario_may_be_named_or_its_file(run: Run) -> None:
    by_name = run("quote", FIRST, "--json")
    assert run("quote", ROOT / "scenarios" / f"{FIRST}.toml", "--json") == by_name


def test_json_file_says_the_same(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "piece.JSON"
    path.write_text(scenario(FIRST).request().model_dump_json(exclude_unset=True))
    assert run("quote", path, "--json") == run("quote", FIRST, "--json")


@pytest.mark.parametrize("kind", ["toml", "json"])
def test_standard_input_is_read(run: Run, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    one = scenario(FIRST)
    text = one.text if kind == "toml" else one.request().model_dump_json(exclude_unset=True)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
    assert run("quote", "-", "--json") == run("quote", FIRST, "--json")


def test_a_byte_order_mark_is_no_fault(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "piece.toml"
    path.write_text(scenario(FIRST).text, "utf-8-sig")
    assert run("quote", path)[0] == 0


# ---- refusals: exit 2, every problem on standard error, nothing on standard output


def refused(run: Run, *args: object) -> str:
    code, out, err = run(*args)
    assert (code, out) == (2, "")
    assert "Traceback" not in err
    return err


def test_every_problem_is_told_with_its_field_and_value(run: Run, file: Callable[..., Path]) -> None:
    path = file(
        {
            "submerged_g = [271.50, 271.50]": "submerged_g = [471.50]",
            "gold = 4100.0": "gold = -4100.0",
            "sale_chance_frac = 0.92": "sale_chance_frac = 1.7",
            "handling_cost = 60.0": "handlng_cost = 60.0",
        }
    )
    err = refused(run, "quote", path)
    assert "weighing.submerged_g" in err
    assert "471.5 g is not below the dry reading 412.9 g" in err
    assert "spot.gold (-4100): must be above 0" in err
    assert "collector.sale_chance_frac" in err
    assert "buyer.handlng_cost (60): unknown; did you mean handling_cost" in err


def test_what_only_the_engine_can_see_is_told_alike(run: Run, file: Callable[..., Path]) -> None:
    err = refused(run, "quote", file({"submerged_g = [271.50, 271.50]": "submerged_g = [408.00]"}))
    assert err.startswith("weighing.submerged_g (408): ")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("title = 'a'\nspot == 4", "line 2, column"),
        ("title = 'a'\n[spot]\ngold = [1,", "line 3: not TOML"),
        ("title = 'a'\ntitle = 'b'", "line 2"),
        ("a = " + "[" * 5000 + "]" * 5000, "nested too deeply"),
        ("a = 1" + "0" * 5000, "cannot be read as TOML"),
    ],
)
def test_unreadable_toml_is_told_with_its_line(run: Run, file: Callable[..., Path], text: str, told: str) -> None:
    assert told in refused(run, "quote", file(text=text))


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('{"title": "a",\n "spot" 4}', "line 2, column"),
        ('{"title": "a", "title": "b"}', "“title” is given twice"),
        ("[1, 2]", "is an object"),
        ("[" * 100_000, "nested too deeply"),
        ('{"quoted_at": "2026-01-01T00:00:00Z", "spot": {"gold": NaN}}', "spot.gold"),
        ('{"quoted_at": "2026-01-01T00:00:00Z", "spot": {"gold": 1e999}}', "spot.gold"),
    ],
)
def test_unreadable_json_is_told(run: Run, file: Callable[..., Path], text: str, told: str) -> None:
    assert told in refused(run, "quote", file(text=text, name="piece.json"))


def test_files_that_are_none_are_told_in_a_sentence(run: Run, tmp_path: Path) -> None:
    binary, latin, huge = tmp_path / "a.toml", tmp_path / "b.toml", tmp_path / "c.toml"
    binary.write_bytes(b"title = 'a'\n\x00\x01")
    latin.write_bytes("title = 'a'\nnote = 'é'".encode("latin-1"))
    huge.write_bytes(b"#" * (LARGEST_BYTES + 1))
    assert "not a text file" in refused(run, "quote", binary)
    assert "line 2: not UTF-8" in refused(run, "quote", latin)
    assert "larger than 256 kB" in refused(run, "quote", huge)
    assert "is a folder" in refused(run, "quote", tmp_path)
    assert "There is no file" in refused(run, "quote", tmp_path / "none.toml")
    assert "Did you mean collector-piece" in refused(run, "quote", "collector-pece")
    assert "cannot be read" in refused(run, "quote", tmp_path / ("x" * 5000))
    assert refused(run, "quote", "a\0b.toml")


def test_an_empty_file_is_asked_for_what_is_needed(run: Run, file: Callable[..., Path]) -> None:
    err = refused(run, "quote", file(text=""))
    assert {line.partition(":")[0] for line in err.splitlines()} == {"spot", "weighing", "rock"}


def test_a_file_without_a_time_is_quoted_now(run: Run, file: Callable[..., Path]) -> None:
    path = file({"quoted_at = 2026-03-14T10:24:00-07:00": ""})
    before = datetime.now(UTC).replace(microsecond=0)
    told = json.loads(run("quote", path, "--json")[1])
    assert before <= datetime.fromisoformat(told["quoted_at"]) <= datetime.now(UTC)
    blank = file({"quoted_at = 2026-03-14T10:24:00-07:00": "quoted_at = ''"})
    assert "quoted_at" in refused(run, "quote", blank)


def test_no_control_character_reaches_the_terminal(run: Run, file: Callable[..., Path]) -> None:
    nasty = r'title = "a\u001b]0;owned\u0007b\u202ec"'
    title = next(line for line in scenario(FIRST).text.splitlines() if line.startswith("title"))
    code, out, _ = run("quote", file({title: nasty}))
    assert code == 0
    assert out.startswith("a?]0;owned?b?c\n")
    err = refused(run, "quote", file({title: r'"x\u001b[2J" = 1'}))
    assert "\x1b" not in err


@given(st.text(), st.booleans())
def test_any_text_is_read_or_refused(text: str, is_json: bool) -> None:
    entries: dict[str, Any] = {}
    refusal = ""
    try:
        entries = parsed(text, "file", is_json=is_json)
    except FileRefused as told:
        refusal = str(told)
    assert refusal == "" or refusal.startswith("file")
    assert all(isinstance(key, str) for key in entries)


def test_a_fault_of_the_program_is_told_without_a_traceback(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*args: Any, **kwargs: Any) -> None:
        raise RuntimeError("no console")

    monkeypatch.setattr(rich.console, "Console", broken)
    code, out, err = run("quote", FIRST)
    assert (code, out) == (70, "")
    assert err.startswith("A fault in Lodeworth, not in what you entered: RuntimeError: no console")
    monkeypatch.setenv("LODEWORTH_TRACE", "1")
    with pytest.raises(RuntimeError):
        main(["quote", FIRST])


# ---- scenarios and serve


def test_scenarios_are_listed_and_printed(run: Run) -> None:
    code, out, _ = run("scenarios")
    assert code == 0
    for name in names():
        assert f"  {name}\n" in out
        assert scenario(name).shows in " ".join(out.split())
    code, out, _ = run("scenarios", "plain-refine")
    assert (code, out) == (0, scenario("plain-refine").text)
    assert tomllib.loads(out)["title"] == scenario("plain-refine").title
    assert "Did you mean plain-refine" in refused(run, "scenarios", "plan-refine")


def test_a_port_that_cannot_be_used_is_refused(run: Run) -> None:
    assert "Port 80 is one" in refused(run, "serve", "--port", "80", "--no-browser")


# ---- in a process of its own


def test_list_and_quote_load_no_more_than_they_need() -> None:
    check = "import sys; from webapp.cli import main; main({}); print(*sorted(sys.modules), file=sys.stderr)"

    def loaded(args: list[str]) -> set[str]:
        command = [sys.executable, "-c", check.format(args)]
        return set(subprocess.run(command, cwd=ROOT, capture_output=True, check=True, text=True).stderr.split())

    assert not loaded(["scenarios"]) & {"numpy", "pydantic", "flask", "rich", "babel"}
    assert not loaded(["quote", FIRST]) & {"flask", "sqlalchemy", "requests", "werkzeug", "waitress", "PIL"}


def test_nothing_is_coloured_where_it_is_not_a_terminal() -> None:
    told = started("quote", FIRST)
    assert told.returncode == 0
    assert b"\x1b" not in told.stdout
    assert b"\xe2\x97\x8f" in told.stdout  # the median's dot, in UTF-8


@pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")
@pytest.mark.parametrize("no_color", ["", "1"])
def test_terminal_is_coloured_unless_asked_not_to(no_color: str) -> None:
    import pty

    ours, theirs = pty.openpty()
    env = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "90", "NO_COLOR": no_color}
    command = [sys.executable, "-m", "webapp", "quote", FIRST]
    with subprocess.Popen(command, cwd=ROOT, env=env, stdout=theirs, stderr=theirs) as process:
        os.close(theirs)
        told = b""
        try:
            while piece := os.read(ours, 65536):
                told += piece
        except OSError:  # Linux says so where the other end has closed
            pass
        assert process.wait() == 0
    os.close(ours)
    assert bool(COLOUR.search(told.decode())) is not bool(no_color)


@pytest.mark.parametrize(
    "args", [("quote", FIRST), ("quote", FIRST, "--sources"), ("quote", "comparable-sales", "--json")]
)
def test_a_plain_encoding_gets_plain_letters(args: tuple[str, ...]) -> None:
    told = started(*args, PYTHONIOENCODING="ascii", PYTHONUTF8="0", LC_ALL="C")
    assert (told.returncode, told.stderr) == (0, b"")
    text = told.stdout.decode("ascii")
    if "--json" in args:
        assert json.loads(text)["currency"] == "EUR"
    else:
        assert "cm^3" in text
        assert "[--" in text
        assert "?" not in text.replace("in writing?", "")


@pytest.mark.skipif(os.name == "nt", reason="needs a pipe that closes")
@pytest.mark.parametrize("args", [("quote", FIRST), ("quote", FIRST, "--json"), ("scenarios", FIRST)])
def test_a_closed_pipe_is_no_matter(args: tuple[str, ...]) -> None:
    command = [sys.executable, "-m", "webapp", *args]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait() in (0, 141)


def test_help_and_usage_are_in_plain_words() -> None:
    told = started("--help")
    assert told.returncode == 0
    assert all(word in told.stdout for word in (b"quote", b"serve", b"scenarios"))
    assert started().returncode == 2
    assert b"invalid choice" in started("quot").stderr


def test_serve_says_what_is_wrong_with_a_data_folder(run, tmp_path):
    file = tmp_path / "a-file"
    file.write_text("in the way")
    told = refused(run, "serve", "--data", str(file), "--no-browser")
    assert "choose another folder with --data" in told
    assert "fault in Lodeworth" not in told
