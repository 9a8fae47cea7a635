"""The contract in DEVELOPERS.md: its examples are quoted, its tables hold just the keys that there are."""

import json
import re
import tomllib
import types
import typing
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from valuation import (
    HeadlineWorking,
    LotQuote,
    LotRequest,
    Quote,
    QuoteRequest,
    Spread,
    Summary,
    lot_quote,
    quote,
    read_lot,
    read_request,
)
from valuation.evidence_result import Evidence, EvidenceRow, EvidenceToday, EvidenceVerdict
from valuation.lot_request import Piece
from valuation.result import Assumption
from valuation.working_sheet import Step
from valuation.working_term import Constant
from webapp.cli import main

ROOT = Path(__file__).parent.parent
GUIDE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
EVERY = [tomllib.loads(block) for block in re.findall(r"^```toml\n(.*?)^```$", GUIDE, re.MULTILINE | re.DOTALL)]
BLOCKS = [block for block in EVERY if "pieces" not in block]
LOTS = [block for block in EVERY if "pieces" in block]
WHOLE = BLOCKS[0]
KEYS = re.compile(r"`([a-z0-9_]+)`")
PATHS = re.compile(r"`([a-z0-9_.]+)(?:\[\])?`")


def request_of(block: dict[str, Any]) -> dict[str, Any]:
    """A whole request as it is; a part in place of the tables of its names in the first one."""
    return block if "quoted_at" in block else {**WHOLE, **block}


def rows(heading: str) -> list[list[str]]:
    """Cells of the table under a heading."""
    section = GUIDE.partition(f"\n### {heading}\n")[2].partition("\n### ")[0]
    lines = [line for line in section.splitlines() if line.startswith("| `")]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines]


def model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
        return annotation if issubclass(annotation, BaseModel) else None
    return next((found for part in typing.get_args(annotation) if (found := model_in(part)) is not None), None)


def models(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    """A model and every one inside it; a quantity counts as a figure."""
    yield model
    for field in model.model_fields.values():
        inner = model_in(field.annotation)
        if inner is not None and inner is not Spread:
            yield from models(inner)


def named_by(model: type[BaseModel], entered: Any) -> Iterator[tuple[type[BaseModel], str]]:
    """Every field of every section that the entries name."""
    if isinstance(entered, list):
        for item in entered:
            yield from named_by(model, item)
    if not isinstance(entered, dict):
        return
    for key, value in entered.items():
        yield model, key
        inner = model_in(model.model_fields[key].annotation)
        if inner is not None and inner is not Spread:
            yield from named_by(inner, value)


def test_guide_has_a_whole_request_and_parts() -> None:
    assert "quoted_at" in WHOLE
    assert len(BLOCKS) >= 12


@pytest.mark.parametrize("block", BLOCKS, ids=[", ".join(block) for block in BLOCKS])
def test_every_example_can_be_quoted(block: dict[str, Any]) -> None:
    told = quote(read_request(request_of(block)))
    assert told.verdict in ("fair_range", "no_fair_price", "floor_unknown", "not_by_weight")


def test_examples_together_hold_every_key_of_a_request() -> None:
    shown = {found for block in BLOCKS for found in named_by(QuoteRequest, block)}
    existing = {(model, name) for model in models(QuoteRequest) for name in model.model_fields}
    assert {f"{model.__name__}.{name}" for model, name in existing - shown} == set()


def test_every_way_to_write_a_quantity_is_read() -> None:
    table = GUIDE.partition("\n### The request\n")[2].partition("A whole request")[0]
    written = [
        entry for row in re.findall(r"^\| (`.*`) \|", table, re.MULTILINE) for entry in re.findall(r"`(.+?)`", row)
    ]
    assert len(written) == 6
    kinds = [Spread.model_validate(tomllib.loads(f"x = {entry}")["x"]).kind for entry in written]
    assert kinds == ["exact", "exact", "normal", "rectangular", "triangular", "two_piece"]


def test_table_of_the_quote_holds_its_keys_in_order() -> None:
    top = [path.strip("`").removesuffix("[]") for path, *_ in rows("The quote as JSON") if "." not in path]
    assert top == list(Quote.model_fields)


def test_table_of_the_quote_holds_every_inner_key() -> None:
    told = {path.strip("`").replace("[]", ""): KEYS.findall(holds) for path, holds, _ in rows("The quote as JSON")}

    def check(model: type[BaseModel], path: str) -> None:
        if path:
            assert told[path] == list(model.model_fields), path
        for name, field in model.model_fields.items():
            inner = model_in(field.annotation)
            if inner is not None:
                check(inner, f"{path}.{name}".lstrip("."))

    check(Quote, "")
    assert told["fine_gold_g"] == list(Summary.model_fields)


@pytest.mark.parametrize("block", LOTS, ids=[block["title"] for block in LOTS])
def test_every_example_of_a_lot_can_be_quoted(block: dict[str, Any]) -> None:
    told = lot_quote(read_lot(block))
    assert told.verdict == "fair_range"
    assert {route.route for route in told.routes} == {"refine", "intact"}


def test_examples_of_lots_hold_every_key_of_a_lot_and_of_a_piece() -> None:
    assert {name for block in LOTS for name in block} == set(LotRequest.model_fields)
    assert {name for block in LOTS for piece in block["pieces"] for name in piece} == set(Piece.model_fields)


def test_table_of_the_lot_holds_its_keys_in_order() -> None:
    told = {path.strip("`").replace("[]", ""): KEYS.findall(holds) for path, holds, _ in rows("The lot as JSON")}
    assert [path for path in told if "." not in path] == list(LotQuote.model_fields)

    def check(model: type[BaseModel], path: str) -> None:
        if path:
            assert told[path] == list(model.model_fields), path
        for name, field in model.model_fields.items():
            inner = model_in(field.annotation)
            if inner is not None and path != "pieces":
                check(inner, f"{path}.{name}".lstrip("."))

    check(LotQuote, "")
    lists = {name for name, field in LotQuote.model_fields.items() if typing.get_origin(field.annotation) is tuple}
    assert {path.strip("`[]") for path, *_ in rows("The lot as JSON") if path.endswith("[]`")} == lists


def test_table_of_the_working_holds_its_keys() -> None:
    told = {path.strip("`").replace("[]", ""): KEYS.findall(holds) for path, holds, _ in rows("The working as JSON")}
    assert told == {
        "working": list(HeadlineWorking.model_fields),
        "working.steps": list(Step.model_fields),
        "working.steps.sources": list(Constant.model_fields),
    }


def test_table_of_the_evidence_holds_its_keys() -> None:
    told = {path.strip("`").replace("[]", ""): KEYS.findall(holds) for path, holds, _ in rows("The evidence as JSON")}
    assert [path for path in told if "." not in path] == list(Evidence.model_fields)
    assert told["today"] == list(EvidenceToday.model_fields)
    assert told["today.fine_gold_g"] == list(Summary.model_fields)
    assert told["tests"] == list(EvidenceRow.model_fields)
    assert told["assumptions"] == list(Assumption.model_fields)
    assert set(KEYS.findall(rows("The evidence as JSON")[7][2])) == set(typing.get_args(EvidenceVerdict))


def test_table_of_the_volatility_holds_its_keys(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "prices.csv"
    path.write_text("".join(f"{date(2026, 1, 1) + timedelta(i)},{4000 + i % 3}\n" for i in range(30)))
    assert main(["volatility", str(path), "--json"]) == 0
    assert [key.strip("`") for key, _ in rows("The volatility as JSON")] == list(json.loads(capsys.readouterr().out))


def test_every_part_of_a_bargain_is_told_by_keys_that_there_are() -> None:
    section = GUIDE.partition("\nWhere each part of a bargain")[2].partition("\n\n| Key |")[0]
    told = [line.strip("|").split(" | ") for line in section.splitlines() if line.startswith("| ")][1:]
    assert len(told) == 8
    for _, asked, answered in told:
        for path in PATHS.findall(asked):
            model: type[BaseModel] | None = QuoteRequest
            for name in path.split("."):
                assert model is not None and name in model.model_fields, path
                model = model_in(model.model_fields[name].annotation)
        assert {path.partition(".")[0] for path in PATHS.findall(answered)} <= {*Quote.model_fields, "working"}


def test_lists_are_marked() -> None:
    marked = {path.strip("`").removesuffix("[]") for path, *_ in rows("The quote as JSON") if path.endswith("[]`")}
    lists = {name for name, field in Quote.model_fields.items() if typing.get_origin(field.annotation) is tuple}
    assert {path for path in marked if "." not in path} == lists


def test_table_of_cautions_holds_every_code() -> None:
    sources = "".join(path.read_text("utf-8") for path in sorted((ROOT / "valuation").glob("*.py")))
    given = set(re.findall(r'\bCaution\(\s*code="([a-z_]+)"', sources))
    assert {code.strip("`") for code, _ in rows("Cautions")} == given


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md", "CHANGELOG.md"])
def test_pages_point_only_at_what_is_there(page: str) -> None:
    text = (ROOT / page).read_text("utf-8")
    links = re.findall(r"\[[^\]]*\]\(([^)\s]+)\)", text)
    targets = {link.partition("#")[0] for link in links if "://" not in link}
    assert {target for target in targets if target and not (ROOT / target).exists()} == set()
    paths = set(re.findall(r"`((?:valuation|webapp|scenarios|tests)/[\w./-]*)`", text))
    assert {path for path in paths if not (ROOT / path).exists()} == set()


def test_example_in_the_readme_is_what_the_command_prints(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    readme = (ROOT / "README.md").read_text("utf-8")
    (example,) = re.findall(r"^```text\n\$ lodeworth (.*?)\n(.*?)^```$", readme, re.MULTILINE | re.DOTALL)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("LC_ALL", "en_US.UTF-8")
    assert main(example[0].split()) == 0
    assert capsys.readouterr().out.startswith(example[1])


def test_readme_explains_every_word_of_a_verdict_and_a_way_out() -> None:
    glossary = (ROOT / "README.md").read_text("utf-8").partition("\n## Glossary\n")[2]
    for word in (
        "native gold",
        "fine gold",
        "fineness",
        "ceiling",
        "floor",
        "fair range",
        "seen",
        "premium",
        "caution",
    ):
        assert re.search(rf"^\| [^|]*\b{word}\b[^|]* \|", glossary, re.MULTILINE), word
