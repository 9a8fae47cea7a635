"""A lot read from a table or from TOML, its mistakes told beside row and column, and the command that values it."""

import csv
import io
import json
import tomllib

import numpy as np
import pytest

from scenarios import demo_lot
from valuation import LotQuote, lot_quote, read_lot
from webapp import lot_told
from webapp.cli import main
from webapp.lot_columns import COLUMNS, template
from webapp.lot_file import LotRefused, kind_of, lot_text
from webapp.sheet_table import csv_of

SHARED = {
    "quoted_at": "2026-03-14T10:24:00-07:00",
    "weighing": {"readability_g": 0.05},
    "rock": {"kind": "vein-quartz"},
    "spot": {"gold": 4100},
}
HEAD = "title,dry_g,submerged_g\n"


def read(text, shared=SHARED, name=""):
    return lot_text(text, name, shared).request()


def refused(text, shared=SHARED):
    with pytest.raises(LotRefused) as told:
        read(text, shared)
    return told.value.problems


def test_the_template_is_a_lot_as_it_is():
    assert [piece.title for piece in read(template()).pieces] == ["Wedge with leaf", "Rusty lump"]
    assert read(template()).requests[0].weighing.dry_g == (412.75, 412.80)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_every_usual_way_to_write_a_table_reads_the_same(delimiter, mark, ending):
    text = 'title,dry_g,submerged_g\n"A, B",412.75,271.20\n\nC,294.9,186.35\n'
    if delimiter != ",":
        text = text.replace(",", delimiter).replace(f"A{delimiter} B", "A, B").replace(".", ",")
    lot = read(mark + text.replace("\n", ending))
    assert [piece.title for piece in lot.pieces] == ["A, B", "C"]
    assert [r.weighing.dry_g for r in lot.requests] == [(412.75,), (294.9,)]
    assert [r.weighing.submerged_g for r in lot.requests] == [(271.2,), (186.35,)]


def test_a_quoted_decimal_comma_in_a_table_parted_by_commas():
    assert read(HEAD + 'A,"412,75","271,2"\n').requests[0].weighing.dry_g == (412.75,)


def test_every_column_fills_its_entry():
    head = "Title;SOURCE;dry_g;displaced_g;rock_low_g_cm3;rock_high_g_cm3;fineness_likely_frac;premium_low_frac;"
    text = f"{head}premium_high_frac\nA;north;100;35,2;2,6;2,7;0,85;0,1;0,4\n"
    shared = {**SHARED, "weighing": {"readability_g": 0.05, "method": "displaced", "line_extra_depth_mm": 10}}
    shared["collector"] = {"price": 100.0, "sale_chance_frac": 0.7}
    (request,) = read(text, shared).requests
    assert request.weighing.displaced_g == (35.2,)
    assert request.rock.density_g_cm3.model_dump() == {"low": 2.6, "high": 2.7}
    assert request.gold.fineness_frac.model_dump() == 0.85
    assert request.collector.premium_frac.model_dump() == {"low": 0.1, "high": 0.4}
    assert request.collector.price is None
    assert request.collector.sale_chance_frac.value == 0.7
    assert read(text, shared).pieces[0].source == "north"
    gold = read("fine_gold_low_g,fine_gold_high_g,rock,collector_price\n3,4,,250\n", {**SHARED, "rock": None})
    assert gold.requests[0].gold.measured.basis == "fine"
    assert gold.requests[0].collector.price.value == 250
    named = read("dry_g,submerged_g,rock\n100,60,granite\n")
    assert named.requests[0].rock.kind == "granite"
    assert len({column.name for column in COLUMNS}) == len(COLUMNS)


def test_each_mistake_is_told_beside_its_line_and_column_with_what_stands_there():
    text = "title;dry_g;submerged_g;rock;rock_low_g_cm3\nA;41x;200;;\n\nB;100;200;;\nC;1,234;60;nonesuch;\nD;;60;;2,5\n"
    found = {(p.line, p.column): p for p in refused(text)}
    assert found[2, "dry_g"].value == "41x"
    assert "swapped" in found[4, "submerged_g"].message
    assert found[5, "dry_g"].message == "thousands or decimals? Write 1234 or 1.234"
    assert found[5, "rock"].value == "nonesuch"
    assert found[6, "dry_g"].message == "needed here"
    assert "high is not" in found[6, "rock_low_g_cm3"].message
    assert [p.row for p in refused(text)] == sorted(p.row for p in refused(text))
    assert "line 2, dry_g (41x): that is not a number" in refused(text)[0].words


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "a header and at least one piece"),
        (" \n\n", "a header and at least one piece"),
        (HEAD, "only a header"),
        ("412.6,271.4\n413,270\n", "no such column"),
        ("title,dry,submerged_g\nA,1,2\n", "did you mean dry_g"),
        ("title,source\nA,north\n", "a header is needed, with dry_g"),
        ("dry_g,dry_g\n1,2\n", "twice"),
        (HEAD + "A,412,75,271,2\n", "part the columns by semicolons"),
        ("dry_g,,submerged_g\n100,7,60\n", "stand under a name"),
        (HEAD + '"A,1,2\n', "quotation mark"),
    ],
)
def test_a_text_that_is_no_table_is_refused_with_what_to_do(text, words):
    assert any(words in problem.message for problem in refused(text))


def test_impossible_pieces_keep_their_line():
    read_text = lot_text(HEAD + "A,412.75,271.2\nB,100,55\n", "", SHARED)
    from valuation import RequestRefused

    with pytest.raises(RequestRefused) as impossible:
        lot_quote(read_text.request(), log2_draws=8)
    (problem,) = read_text.refusal(impossible.value.problems).problems
    assert (problem.row, problem.line, problem.column) == (2, 3, "rock")


@pytest.mark.parametrize(
    ("text", "name", "kind"),
    [
        ("[[pieces]]\n", "", "toml"),
        ("# a note\ntitle = 'x'\n", "", "toml"),
        ("title,dry_g\n", "", "csv"),
        ('{"pieces": []}', "", "json"),
        ("title = 3", "x.csv", "csv"),
        ("a,b", "X.TOML", "toml"),
    ],
)
def test_what_a_text_is(text, name, kind):
    assert kind_of(text, name) == kind


def test_own_words_of_the_file_count_before_what_all_share():
    text = "[spot]\ngold = 3900\n[rock]\ndensity_g_cm3 = 2.65\n" + demo_pieces()
    lot = read(text, {**SHARED, "spot": {"gold": 4100, "silver": 50}})
    assert (lot.spot.gold, lot.spot.silver) == (3900, 50)
    assert lot.rock.kind is None


def demo_pieces():
    return "[[pieces]]\nweighing = { dry_g = 412.6, submerged_g = 271.4 }\n"


def test_problems_of_toml_name_the_piece():
    (problem,) = refused(demo_pieces() + demo_pieces().replace("412.6", '"x"'))
    assert (problem.row, problem.line, problem.column) == (2, 0, "weighing.dry_g.0")
    assert problem.words.startswith("piece 2, weighing.dry_g.0 (x): ")


def test_the_demo_lot_comes_out_where_plain_random_draws_put_it():
    """An independent calculation: 400,000 plain random draws of the density equation, written apart from the engine.

    Buoyancy after OIML R 111-1 with air of 0.0012 g/cm³, water of 20 °C at 0.99820 g/cm³ (Tanaka et al. 2001). Every
    other doubt is small beside rock, fineness and pores.
    """
    request = read_lot(tomllib.loads(demo_lot()))
    quote = lot_quote(request)
    rng = np.random.default_rng(7)
    n = 400_000
    host = rng.triangular(2.60, 2.63, 2.65, n)
    fineness = rng.triangular(0.78, 0.85, 0.89, n)
    native = 1 / (fineness / 19.30 + (1 - fineness) * (0.97 / 10.49 + 0.03 / 8.96)) * (1 + rng.normal(0, 0.004, n))
    total, possible = np.zeros(n), np.ones(n, bool)
    for piece, told in zip(request.requests, quote.pieces, strict=True):
        dry, wet = np.mean(piece.weighing.dry_g), np.mean(piece.weighing.submerged_g)
        noise = rng.normal(0, 0.05 / np.sqrt(2), (2, n)) + rng.uniform(-0.05, 0.05, (2, n))
        noise += rng.triangular(-0.05, 0, 0.05, (2, n))
        buoyed = 1 - 0.0012 / 8
        volume = (dry + noise[0] - wet - noise[1]) * buoyed / (0.9982 - 0.0012) * (1 - rng.uniform(0, 0.0003, n))
        mass = (dry + noise[0]) * buoyed + 0.0012 * volume
        gold = (mass - host * volume * (1 - rng.uniform(0, 0.002, n))) / (1 - host / native)
        possible &= gold >= 0
        total += gold * fineness if told.seen else 0
    total = total[possible]
    assert quote.kept_frac == pytest.approx(possible.mean(), abs=0.01)
    assert quote.fine_gold_g.mean == pytest.approx(total.mean(), rel=0.003)
    assert quote.fine_gold_g.sd == pytest.approx(total.std(), rel=0.02)
    assert quote.fine_gold_g.low == pytest.approx(np.quantile(total, 0.025), rel=0.004)
    assert quote.fine_gold_g.high == pytest.approx(np.quantile(total, 0.975), rel=0.004)
    assert quote.verdict == "fair_range"
    assert quote.pieces_not_seen == 1
    assert {caution.code for caution in quote.cautions} == {"pieces_not_seen"}


@pytest.fixture
def files(tmp_path):
    (tmp_path / "lot.toml").write_text(demo_lot(), "utf-8")
    (tmp_path / "pieces.csv").write_text(template(), "utf-8")
    (tmp_path / "terms.toml").write_text("[spot]\ngold = 4100\n[rock]\nkind = 'vein-quartz'\n", "utf-8")
    return tmp_path


def test_the_command_prints_the_lot_its_json_and_its_table(files, capsys):
    assert main(["lot", str(files / "lot.toml")]) == 0
    page = capsys.readouterr().out
    assert "A fair price for the 12 pieces together is" in page
    assert "Two-faced" in page
    assert "not seen" in page
    assert main(["lot", str(files / "lot.toml"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert list(told) == list(LotQuote.model_fields)
    assert main(["lot", str(files / "lot.toml"), "--csv", "-"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert len(rows) == 13
    assert float(rows[-1]["fine_gold_g_median"]) == pytest.approx(told["fine_gold_g"]["median"], abs=0.001)
    assert main(["lot", str(files / "lot.toml"), "--csv", str(files / "out.csv")]) == 0
    assert (files / "out.csv").read_bytes().startswith(b"\xef\xbb\xbfnumber,title")


def test_a_table_takes_its_terms_from_a_file_and_from_options(files, capsys):
    csv_file, terms = str(files / "pieces.csv"), str(files / "terms.toml")
    assert main(["lot", csv_file, "--terms", terms, "--readability", "0.05", "--json"]) == 0
    by_file = json.loads(capsys.readouterr().out)
    assert main(["lot", csv_file, "--gold", "4100", "--rock", "vein-quartz", "--readability", "0.05", "--json"]) == 0
    by_options = json.loads(capsys.readouterr().out)
    assert by_file["fine_gold_g"] == by_options["fine_gold_g"]


def test_a_refused_lot_prints_every_reason_on_standard_error_and_nothing_else(files, capsys):
    (files / "bad.csv").write_text(HEAD + "A,41x,3\nB,5,6\n", "utf-8")
    assert main(["lot", str(files / "bad.csv"), "--gold", "4100", "--rock", "vein-quartz", "--readability", "0.1"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "line 2, dry_g (41x)" in told.err
    assert "line 3, submerged_g" in told.err
    assert main(["lot"]) == 2
    assert "--template" in capsys.readouterr().err
    assert main(["lot", str(files / "none.csv")]) == 2
    assert main(["lot", str(files / "lot.toml"), "--csv", str(files)]) == 2


def test_template_and_demo_are_printed(capsys):
    assert main(["lot", "--template"]) == 0
    assert capsys.readouterr().out == template()
    assert main(["lot", "--demo"]) == 0
    assert capsys.readouterr().out == demo_lot()
    assert demo_lot().startswith("# Invented:")


def test_no_cell_of_the_table_runs_as_a_formula():
    """OWASP, CSV Injection: a cell that begins with =, +, - or @ is taken for a formula."""
    text = HEAD + '"=1+1",412.75,271.2\n+A,294.9,186.35\n'
    table = csv_of(lot_told.HEAD, lot_told.table(lot_quote(read(text), log2_draws=8)))
    rows = list(csv.reader(io.StringIO(table.removeprefix("\ufeff"))))
    assert [row[1][:1] for row in rows[1:3]] == ["'", "'"]
