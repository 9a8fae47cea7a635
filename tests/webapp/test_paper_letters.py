"""Which characters the paper can print, and what becomes of the others."""

import hashlib
import re
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont

from webapp.paper_letters import FONTS, Letters, code_points, covered, is_visible

FILES = sorted(FONTS.glob("*.ttf"))


@pytest.mark.parametrize("font", FILES, ids=lambda path: path.name)
def test_character_maps_are_read_as_fonttools_reads_them(font: Path) -> None:
    assert set(code_points(font.read_bytes())) == set(TTFont(font).getBestCmap())


def test_fonts_are_what_their_list_says() -> None:
    listed = dict(
        re.findall(r"^\| `(\S+\.ttf)` .*`([0-9a-f]{64})` \|$", (FONTS / "README.md").read_text("utf-8"), re.M)
    )
    assert listed == {font.name: hashlib.sha256(font.read_bytes()).hexdigest() for font in FILES}
    assert {file.name for file in FONTS.iterdir() if file.suffix == ".txt"} == {
        "Noto-LICENSE.txt",
        "DejaVu-LICENSE.txt",
    }
    assert sum(font.stat().st_size for font in FILES) < 3e6


def test_letters_of_many_scripts_can_be_printed() -> None:
    texts = "Gold Größe złoto χρυσός золото ذهب זהב सोना ทองคำ 0123 € £ ¥ ₹ − × ÷ ± ≈ ² ³ ° µ → ✓ “ ” …"
    assert {letter for letter in texts if ord(letter) not in covered()} == set()


@pytest.mark.parametrize(
    ("typed", "printed"),
    [
        ("plain text", "plain text"),
        ("two\r\nlines\rof it\n", "two\nlines\nof it\n"),
        ("tab\tstop", "tab stop"),
        ("e\u0301", "é"),
        ("金", "\ufffd"),
        ("bell\x07", "bell\ufffd"),
        ("\ud800", "\ufffd"),
        ("\u202e00001$", "\ufffd00001$"),  # it would turn a figure round
        ("\U0001f469\u200d\U0001f52c", "\ufffd\ufffd"),
        ("\U0001f48e\ufe0f", "\ufffd"),
        ("می\u200cخواهم", "می\u200cخواهم"),
        ("10\u202f000\u00a0g", "10\u202f000\u00a0g"),
    ],
)
def test_texts_are_made_printable(typed: str, printed: str) -> None:
    letters = Letters()
    assert letters.printable(typed) == printed
    assert bool(letters.notes) == ("\ufffd" in printed)


def test_what_was_replaced_is_told() -> None:
    letters = Letters()
    letters.of({"title": "金", "lines": [("塊 金", "\x00")], "count": 3})
    (note,) = letters.notes
    assert note.startswith("3 different characters") and "金 (U+91D1), 塊 (U+584A), U+0000" in note
    letters = Letters()
    letters.of("".join(chr(0x4E00 + i) for i in range(20)))
    assert "and 8 more" in letters.notes[0]


def test_plain_letters_are_those_that_stand_alone() -> None:
    letters = Letters(plain=True)
    assert letters.printable("Größe Ж \u05d0 e\u0323\u0331") == "Größe Ж \ufffd ẹ\ufffd"


@pytest.mark.parametrize(("text", "seen"), [("x", True), ("", False), (" \n", False), ("\u200b\u0301", False)])
def test_what_shows(text: str, seen: bool) -> None:
    assert is_visible(text) == seen
