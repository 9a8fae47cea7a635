"""`lodeworth sheet`, `lodeworth backup`, `lodeworth restore`: what they print, refuse and end with."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from scenarios import FIRST
from tests.webapp.conftest import Visitor
from tests.webapp.test_sheet_pages import begin, hand_over
from webapp import create_app
from webapp.cli import main
from webapp.settings import Settings

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("LC_ALL", "en_US.UTF-8")
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.delenv("LODEWORTH_TRACE", raising=False)

    def call(*args: object) -> tuple[int, str, str]:
        capsys.readouterr()
        code = main([str(arg) for arg in args])
        told = capsys.readouterr()
        return code, told.out, told.err

    return call


@dataclass
class Shop:
    """A data folder with one sheet, 0001 of this year, revisions 1 and 2."""

    data: Path
    number: str


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    data = tmp_path / "data"
    app = create_app(data, Settings(locale="en_US", time_zone="America/Denver", data=data))
    visitor = Visitor(app.test_client())
    page = begin(visitor, {"title": "Blue Tin", "specimen.seller_reference": "Zebedee Quill 114"}, FIRST)
    done = hand_over(visitor, page, {"stale_price": "a demo"})
    again = visitor.open(next(str(a["href"]) for a in done.all("a") if "New revision" in a.get_text()))
    hand_over(visitor, again, {"offer": "4400", "stale_price": "a demo"})
    app.extensions["store"].close()
    return Shop(data, f"{datetime.now(UTC).astimezone().year}-0001")


def test_list_and_show(run: Run, shop: Shop) -> None:
    code, out, _ = run("sheet", "list", "--data", shop.data)
    assert code == 0 and shop.number in out and "revision 2" in out and "$4,400" in out and "Blue Tin" in out
    assert run("sheet", "list", "nowhere", "--data", shop.data)[1] == "No offer sheet is like that.\n"
    csv = run("sheet", "list", "--csv", "--data", shop.data)[1]
    assert csv.splitlines()[0].startswith("Number,Revision,State") and "4400.00" in csv.splitlines()[1]
    code, out, _ = run("sheet", "show", shop.number, "--data", shop.data)
    assert code == 0 and "revision 2: open" in out and "Revision 1" not in out and "revision 1: handed over" in out
    assert "revision 1: replaced\n" in run("sheet", "show", shop.number, "--revision", 1, "--data", shop.data)[1]
    told = json.loads(run("sheet", "show", shop.number, "--json", "seller", "--data", shop.data)[1])
    assert told["offer"] == "4400.00" and told["replaces"] == 1


def test_save_then_verify(run: Run, shop: Shop, tmp_path: Path) -> None:
    for what, name in (("seller-pdf", "a.pdf"), ("seller-json", "a.json"), ("house-json", "h.json")):
        file = tmp_path / name
        assert run("sheet", "save", shop.number, what, file, "--data", shop.data)[0] == 0
        code, out, _ = run("sheet", "verify", file, "--data", shop.data)
        assert code == 0 and "unchanged" in out and "holds until" in out
    assert PdfReader(BytesIO((tmp_path / "a.pdf").read_bytes())).pages
    code, _, err = run("sheet", "save", shop.number, "seller-pdf", tmp_path / "a.pdf", "--data", shop.data)
    assert code == 2 and "is there already" in err
    old = tmp_path / "old.json"
    run("sheet", "save", shop.number, "seller-json", old, "--revision", 1, "--data", shop.data)
    code, out, _ = run("sheet", "verify", old, "--data", shop.data)
    assert code == 0 and "revision 2 replaces it" in out


def test_verify_ends_with_1_for_a_changed_copy_and_2_for_none(run: Run, shop: Shop, tmp_path: Path) -> None:
    copy = tmp_path / "a.json"
    run("sheet", "save", shop.number, "seller-json", copy, "--data", shop.data)
    changed = tmp_path / "changed.json"
    changed.write_text(copy.read_text("utf-8").replace("4400.00", "9400.00"), "utf-8")
    code, out, _ = run("sheet", "verify", changed, "--data", shop.data)
    assert code == 1 and "was changed" in out
    other = tmp_path / "elsewhere"
    code, out, _ = run("sheet", "verify", copy, "--data", other)
    assert code == 1 and "cannot be confirmed" in out and not other.exists()
    nothing = tmp_path / "nothing.txt"
    nothing.write_text("hello", "utf-8")
    assert run("sheet", "verify", nothing, "--data", shop.data)[0] == 2
    code, out, err = run("sheet", "verify", tmp_path / "not there", "--data", shop.data)
    assert code == 2 and out == "" and "cannot be read" in err
    assert run("sheet", "verify", tmp_path, "--data", shop.data)[0] == 2


def test_erase_keeps_the_sheet(run: Run, shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("builtins.input", lambda words: "n" if "Zebedee" in words else "y")
    code, _, err = run("sheet", "erase", shop.number, "--data", shop.data)
    assert code == 2 and "Nothing was erased" in err
    code, out, _ = run("sheet", "erase", shop.number, "--yes", "--data", shop.data)
    assert code == 0 and "Erased from 1 sheet and 1 quote;" in out and "Backups made before" in out
    assert "Zebedee" not in "".join(
        file.read_bytes().decode("latin-1") for file in shop.data.iterdir() if file.is_file()
    )
    assert run("sheet", "show", shop.number, "--data", shop.data)[0] == 0
    assert "No reference stands" in run("sheet", "erase", shop.number, "--data", shop.data)[1]


def test_backup_then_restore(run: Run, shop: Shop, tmp_path: Path) -> None:
    kept = tmp_path / "kept.zip"
    code, out, _ = run("backup", kept, "--data", shop.data)
    assert code == 0 and "Keep it on another disk" in out
    code, _, err = run("backup", kept, "--data", shop.data)
    assert code == 2 and "is there already" in err
    fresh = tmp_path / "fresh"
    code, out, _ = run("restore", kept, "--data", fresh)
    assert code == 0 and "Put back" in out
    assert shop.number in run("sheet", "list", "--data", fresh)[1]
    damaged = tmp_path / "damaged.zip"
    damaged.write_bytes(kept.read_bytes()[:-100])
    code, out, err = run("restore", damaged, "--data", fresh)
    assert code == 2 and out == "" and "Nothing was changed" in err
    assert run("restore", tmp_path / "not there", "--data", fresh)[0] == 2
    assert shop.number in run("sheet", "list", "--data", fresh)[1]


@pytest.mark.parametrize(
    "command",
    [("sheet", "list"), ("sheet", "show", "2026-0001"), ("sheet", "erase", "2026-0001"), ("backup", "kept.zip")],
)
def test_a_folder_that_keeps_nothing_is_told_and_not_made(run: Run, tmp_path: Path, command: tuple[str, ...]) -> None:
    code, out, err = run(*command, "--data", tmp_path / "nowhere")
    assert code == 2 and out == "" and "Nothing is kept in" in err
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("number", ["2020-0001", "x", "2026-1", "'; --", "２０２６-0001"])
def test_a_number_that_is_none_is_told(run: Run, shop: Shop, number: str) -> None:
    code, out, err = run("sheet", "show", number, "--data", shop.data)
    assert code == 2 and out == "" and "There is no offer sheet named" in err
