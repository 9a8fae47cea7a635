"""A sheet's papers as PDF: tagged, archival (PDF/A-2a), with their own fonts, and byte for byte the same each time."""

from __future__ import annotations

import base64
import io
import json
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Literal

from webapp.paper_content import HousePaper, SellerPaper
from webapp.paper_letters import FONTS, Letters, is_visible

if TYPE_CHECKING:
    from typst import Compiler

TEMPLATES = FONTS.parent
STANDARDS: list[Literal["a-2a", "ua-1"]] = ["a-2a", "ua-1"]
SCREEN_PPI = 110.0
MOST_ATTEMPTS = 8
UNTITLED = "This piece"
# One thread for all typesetting: each thread that did some would hold a heap of its own (tests/proofs/load.md).
_TYPESETTING = ThreadPoolExecutor(1, "typesetting")


class PaperError(RuntimeError):
    """The paper could not be made; the message says why."""


class _TypesettingError(RuntimeError):
    """The typesetting came to grief over a rare sequence of letters and marks."""


@dataclass(frozen=True)
class Printed:
    """A paper as PDF, and what had to be changed to print it."""

    pdf: bytes
    notes: tuple[str, ...]


def seller_pdf(paper: SellerPaper) -> Printed:
    """The seller's copy."""
    return _pdf("seller", paper)


def house_pdf(paper: HousePaper) -> Printed:
    """The working papers of the house."""
    return _pdf("house", paper)


def pictures(paper: SellerPaper | HousePaper) -> list[bytes]:
    """Each page as a PNG, for a look at it."""
    name = "seller" if isinstance(paper, SellerPaper) else "house"
    made, _ = _printed(name, paper, format="png", ppi=SCREEN_PPI)
    return [made] if isinstance(made, bytes) else list(made)


def _pdf(name: str, paper: SellerPaper | HousePaper) -> Printed:
    made, notes = _printed(name, paper, format="pdf", pdf_standards=STANDARDS)
    return Printed(bytes(made), notes)


def _printed(name: str, paper: SellerPaper | HousePaper, **how: Any) -> tuple[Any, tuple[str, ...]]:
    """The paper and what was replaced in it, at the first attempt as a rule.

    Letters and marks that are typed together may have no glyph together, though a font has each; those are replaced,
    as often as it takes, and at last all that is not a plain letter.
    """
    from typst import TypstError

    refused, plain = "", False
    for attempt in range(MOST_ATTEMPTS):
        letters = Letters(refused, plain=plain or attempt == MOST_ATTEMPTS - 1)
        try:
            return _made(name, paper, letters, **how), letters.notes
        except TypstError as fault:
            found = _refused(fault.diagnostic)
            if not found or letters.is_plain:
                raise PaperError(f"The paper could not be made: {fault.diagnostic}") from fault
            refused += found
        except _TypesettingError as fault:
            if letters.is_plain:
                raise PaperError(f"The paper could not be made: {fault}") from fault
            plain = True
    raise AssertionError("the last attempt returns or raises")


def _refused(diagnostic: str) -> str:
    """The characters that have no glyph where they stand."""
    texts = re.findall(r'the text `?"(.*?)"`? could not be displayed', diagnostic)
    coded = re.compile(r"\\u\{([0-9a-f]+)\}|\\(.)")
    return "".join(coded.sub(lambda one: chr(int(one[1], 16)) if one[1] else one[2], text) for text in texts)


def _made(name: str, paper: SellerPaper | HousePaper, letters: Letters, **how: Any) -> Any:
    content = letters.of(_content(paper))
    if not is_visible(content["title"]):
        content["title"] = UNTITLED
    content["is_whole"] = not letters.replaced
    shots = zip(content["photographs"], paper.photographs, strict=True)
    inputs = {"data": json.dumps(content), **{shot["name"]: _framed(jpeg, shot["words"]) for shot, jpeg in shots}}
    return _TYPESETTING.submit(_typeset, name, inputs, timestamp=int(paper.at.timestamp()), **how).result()


def _typeset(name: str, inputs: dict[str, str], **how: Any) -> Any:
    try:
        return _compiler(name).compile(sys_inputs=inputs, **how)
    except BaseException as fault:
        if type(fault).__name__ != "PanicException":  # of pyo3; it cannot be imported and is no Exception
            raise
        _compiler.cache_clear()
        raise _TypesettingError(str(fault)) from fault


@cache
def _compiler(name: str) -> Compiler:
    from typst import Compiler

    return Compiler(
        str(TEMPLATES / f"{name}.typ"), root=str(TEMPLATES), font_paths=[str(FONTS)], ignore_system_fonts=True
    )


def _content(paper: SellerPaper | HousePaper) -> dict[str, Any]:
    """The paper as plain JSON values, without the photographs' bytes."""
    content = asdict(paper, dict_factory=_plain)
    del content["at"]
    count = len(paper.photographs)
    content["photographs"] = [
        {"name": f"photograph-{i}", "words": f"Photograph {i} of {count} of the piece"} for i in range(1, count + 1)
    ]
    content["about"] = ": ".join(filter(None, (paper.head.name, paper.title)))
    return content


def _plain(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    return {key: value for key, value in pairs if key != "photographs"}


def _framed(jpeg: bytes, words: str) -> str:
    """A photograph as SVG, which alone can be handed over in memory; its bytes go into the PDF as they are."""
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(io.BytesIO(jpeg), formats=["JPEG"]) as picture:
            width, height = picture.size
    except UnidentifiedImageError:
        raise PaperError(f"{words} cannot be printed: it is not a JPEG picture.") from None
    coded = base64.b64encode(jpeg).decode("ascii")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}">'
        f'<image width="{width}" height="{height}" href="data:image/jpeg;base64,{coded}"/></svg>'
    )
