"""The method page holds all that the program takes for granted, and no link of the app leads nowhere."""

import re
from collections import Counter
from pathlib import Path

import pytest

from tests.webapp.conftest import Page, Visitor
from valuation import materials, method_version
from valuation.assumptions import NOTICES
from valuation.rubric import qualities
from webapp.caution_list import CAUTIONS
from webapp.equations import stages
from webapp.glossary import GLOSSARY
from webapp.method_tables import COVERAGE, KNOWN, constants, defaults
from webapp.views.method import CONTENTS

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def method(visitor: Visitor) -> Page:
    page = visitor.open("/method")
    assert page.status == 200
    return page


def table_of(page: str, heading: str) -> list[tuple[str, str]]:
    """Rows of the first two-column table under a heading of a Markdown page."""
    part = (ROOT / page).read_text("utf-8").partition(f"\n{heading}\n")[2]
    return re.findall(r"^\| (?!Word|Code)([^|-][^|]*?) \| ([^|]*?) \|$", part.partition("\n#")[0], re.MULTILINE)


def test_every_rock_mineral_look_alike_and_source_is_there(method: Page) -> None:
    for table, rows in (
        ("rocks", materials.rocks()),
        ("minerals", materials.minerals()),
        ("lookalikes", materials.lookalikes()),
    ):
        for key, row in rows.items():
            words = method.words(f'[id="{table}-{key}"]')
            density = row.density_g_cm3
            assert f"{density.likely:.2f} ({density.low:.2f} to {density.high:.2f})" in words
            assert row.label in words and row.source in words
            assert [tag.get_text() for tag in method.all(f'[id="{table}-{key}"] .known')] == [*row.status]
            for reference in row.references:
                assert method.all(f'[id="{table}-{key}"] a[href="#ref-{reference}"]')
    for key, reference in materials.references().items():
        words = method.words(f'[id="ref-{key}"]')
        assert reference.citation in words and reference.seen in words


def test_constants_grades_and_assumptions_are_there_with_how_sure_they_are(method: Page) -> None:
    assert {key for key in KNOWN if method.all(f"#known-{key}")} == {*KNOWN}
    for row in constants():
        assert row.value and row.source and {*row.known} <= {*KNOWN}
        assert f"{row.what} {row.value}" in method.words("#constants")
    for metal in materials.metals().values():
        assert f"{metal.density_g_cm3:.2f} g/cm³" in method.words("#constants")
    rows = [row for _, part in defaults() for row in part]
    assert len(rows) > 40 and all(row.value and row.source for row in rows)
    assert [[cell.get_text() for cell in row.select("th, td")] for row in method.all("#defaults tbody tr")] == [
        [row.what, row.value, row.source] for row in rows
    ]
    for quality in qualities().values():
        for grade in quality.grades.values():
            row = f"{grade.label} {grade.low:.2f} {grade.likely:.2f} {grade.high:.2f}"
            assert row in method.words("#grades")
    assert "no source" in method.words("#grades")


def test_every_stage_and_equation_is_set(method: Page) -> None:
    anchors = {key for _, parts in CONTENTS for key, _ in parts}
    assert {*stages()} - {"fluids"} <= anchors
    assert len(method.all("figure.equation > math[alttext] + figcaption")) == sum(
        len(stage.equations) for stage in stages().values()
    )
    assert [str(section["id"]) for section in method.all(".method-text > section")] == [
        key for _, parts in CONTENTS for key, _ in parts
    ]


def test_every_caution_is_explained_at_its_stage_and_in_the_guide(method: Page) -> None:
    sources = "".join(path.read_text("utf-8") for path in sorted((ROOT / "valuation").glob("*.py")))
    assert {*CAUTIONS} == set(re.findall(r'\bCaution\(\s*code="([a-z_]+)"', sources))
    for code, said in CAUTIONS.items():
        assert method.words(f'#{said.stage} [id="caution-{code}"]') == said.when
    assert table_of("DEVELOPERS.md", "### Cautions") == [(f"`{code}`", said.when) for code, said in CAUTIONS.items()]


def test_coverage_is_told_as_it_was_recorded(method: Page) -> None:
    recorded = (ROOT / "tests/proofs/coverage.md").read_text("utf-8")
    rows = re.findall(r"^\| (.*), any mass \| 0 to \S+ \| (.*?) \| (.*?) \| (.*?) \|", recorded, re.MULTILINE)
    shares = [(case, *(float(cell[:5]) for cell in cells), int(cells[0].split()[-1])) for case, *cells in rows]
    assert shares == [(row.case, row.every, row.seen, row.unseen, row.count) for row in COVERAGE]
    assert f"{COVERAGE[0].case} 95.0 95.1 94.7 2,999" in method.words("#trust")
    law = dict(
        zip(
            *(
                [cell.strip() for cell in line.strip("|").split("|")]
                for line in re.findall(r"^\| (?:gold in detection limits|coverage) (.*) \|$", recorded, re.MULTILINE)
            ),
            strict=True,
        )
    )
    assert (law["0.3"], law["0.05"], law["0.02"], law["0"]) == ("0.973", "0.91", "0.77", "0")
    assert "97 in 100 at a third of the limit, 91 at a twentieth, 77 at a fiftieth" in method.words("#trust")


def test_the_usual_cautions_are_told(method: Page) -> None:
    words = method.words("#cautions")
    for notice in NOTICES:
        assert notice.message in words
    for hazard in ("Acids and mercury", "silicosis", "ionising", "licensed", "local", "tax", "not an appraisal"):
        assert hazard in words
    assert "Tungsten is as dense as gold" in method.words("#trust")


def test_the_glossary_is_one_with_the_readme(method: Page) -> None:
    assert [dt.get_text() for dt in method.all("#glossary dt")] == [entry.word for entry in GLOSSARY]
    assert table_of("README.md", "## Glossary") == [(entry.word, entry.meaning) for entry in GLOSSARY]


def test_the_glossary_is_in_order_and_explains_each_word_once() -> None:
    words = [re.sub(r"[^a-z ]", "", entry.word.partition(",")[0]) for entry in GLOSSARY]
    assert words == sorted(words) and len(words) == len(set(words))
    assert len({entry.anchor for entry in GLOSSARY}) == len(GLOSSARY)
    assert not [entry.word for entry in GLOSSARY if entry.meaning.endswith(".") or len(entry.meaning) > 130]


def test_versions_are_told(method: Page) -> None:
    words = method.words("#versions")
    assert method_version() in words and "numpy" in words and "Python" in words


def test_links_within_the_page_lead_somewhere_and_no_place_is_named_twice(method: Page) -> None:
    places = Counter(str(tag["id"]) for tag in method.all("[id]"))
    assert [place for place, times in places.items() if times > 1] == []
    goals = {str(link["href"])[1:] for link in method.all('a[href^="#"]')}
    assert goals - {*places} == set() and len(goals) > 40
    labels = {word for tag in method.all("[aria-labelledby]") for word in str(tag["aria-labelledby"]).split()}
    assert labels - {*places} == set()


def test_nothing_is_inline_and_every_drawing_says_what_it_shows(method: Page) -> None:
    assert method.all("[style], style, script:not([src])") == []
    drawings = method.all("svg.drawing")
    assert len(drawings) == 10
    told = [svg for svg in drawings if svg.get("role") == "img"]
    assert len(told) == 2 and all(svg.find("title") and svg.find("desc") for svg in told)
    # The small ones stand beside words that say the same.
    for item in method.all(".spoils > li"):
        assert item.select_one("svg[aria-hidden]") and item.select_one("strong") and item.select_one(".remedy")


def test_the_quote_form_shows_the_set_up_chosen_with_what_spoils_it(visitor: Visitor) -> None:
    page = visitor.open("/quotes/new")
    other = visitor.send(page, {"weighing.method": "displaced"})
    for shown, key in ((page, "setup-s-t"), (other, "setup-d-t")):
        assert [title["id"] for title in shown.all(".setup svg[role=img] title")] == [key]
        assert len(shown.all(".setup .spoils > li")) == 4
        assert shown.all("details.setup[open]") == []


def test_no_link_leads_nowhere(visitor: Visitor) -> None:
    seen: set[str] = set()
    places: dict[str, set[str]] = {}
    wanted: set[tuple[str, str]] = set()
    sent = visitor.send(visitor.open("/demos/leaf-gold-walk-in"), {"buyer.offer": "4300"})
    to_see = ["/", "/quotes", "/asks/new", "/method", "/open", str(sent.one("#quote-form")["action"])]
    while to_see:
        address = to_see.pop()
        page = visitor.open(address)
        assert page.status == 200, address
        places[address] = {str(tag["id"]) for tag in page.all("[id]")}
        for link in page.all("a[href]"):
            goal, _, place = str(link["href"]).partition("#")
            if place and (not goal or goal.startswith("/method")):
                wanted.add((goal or address, place))
            if goal.startswith("/") and goal.partition("?")[0] not in seen and not goal.endswith("/file"):
                seen.add(goal.partition("?")[0])
                if len(seen) < 60:
                    to_see.append(goal)
    assert {(goal, place) for goal, place in wanted if place not in places[goal]} == set()
    assert len({place for goal, place in wanted if goal == "/method"}) > 40
