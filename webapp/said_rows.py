"""Figures said that are put into a draft from beside its form: the seller's newest, and our offer once it is shown."""

from __future__ import annotations

from typing import Literal

from werkzeug.datastructures import MultiDict

from webapp.typed import Typed


def added(texts: MultiDict[str, str], by: Literal["buyer", "seller"], figure: str) -> MultiDict[str, str]:
    """The texts with a figure said, in a row of its own behind all others; unchanged if it is the newest already."""
    typed = Typed(texts)
    rows = [row for row in typed.rows("said", most=200) if typed.text(f"said.{row}.figure").strip()]
    last = rows[-1] if rows else -1
    newest = typed.text(f"said.{last}.by"), typed.text(f"said.{last}.figure").strip()
    if newest == (by, figure.strip()):
        return texts
    more = MultiDict(texts)
    more[f"said.{last + 1}.by"], more[f"said.{last + 1}.figure"] = by, figure.strip()
    return more
