"""Offer sheets in the browser's terms, without scripts: from a quote by one button to papers that never change."""

from io import BytesIO
from typing import Any

from pypdf import PdfReader

from scenarios import FIRST
from tests.webapp.conftest import Page, Visitor


def sheet_of(visitor: Visitor, changes: dict[str, Any] | None = None, demo: str = FIRST) -> Page:
    """The page of a sheet being written, come to from a quote by its one button."""
    quote = visitor.open(f"/demos/{demo}")
    button = next(b for b in quote.all("button") if "Save as an offer sheet" in b.get_text())
    assert button["form"] == "quote-form"
    texts = quote.typed()
    for name, value in (changes or {}).items():
        texts[name] = value
    return Page(visitor.client.post(str(button["formaction"]), data=texts, follow_redirects=True))


def press(visitor: Visitor, page: Page, do: str, changes: dict[str, Any] | None = None) -> Page:
    return visitor.send(page, {"do": do, **(changes or {})}, "#sheet-form")


def hand_over(visitor: Visitor, page: Page, changes: dict[str, Any] | None = None) -> Page:
    seen = press(visitor, page, "preview", {"stale_price": "agreed with the seller", **(changes or {})})
    assert seen.status == 200, seen.words()
    return visitor.send(seen, {}, ".decide form")


def links(page: Page) -> dict[str, str]:
    return {a.get_text(" ", strip=True): str(a["href"]) for a in page.all("main a")}


def test_a_quote_becomes_papers(visitor: Visitor) -> None:
    page = sheet_of(visitor)
    assert page.status == 200 and page.field("offer")["value"]
    done = hand_over(visitor, page)
    assert "revision 1" in done.words("h1") and "open" in done.words("h1 .state")
    pdf = visitor.client.get(links(done)["The seller's paper (PDF)"])
    assert pdf.mimetype == "application/pdf"
    text = "".join(one.extract_text() for one in PdfReader(BytesIO(pdf.data)).pages)
    assert "-0001" in text
