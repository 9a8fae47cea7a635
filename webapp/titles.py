"""What a quote is called in lists while nobody has given it a title."""

from __future__ import annotations

from valuation import QuoteRequest, materials
from webapp.branches import chosen_branches
from webapp.entered import readings
from webapp.typed import Typed
from webapp.wording import Wording

LONGEST_WORDS = 60


def title_of(typed: Typed) -> str:
    """The title; else the description; else rock and mass; else what is claimed or asked; else nothing."""
    named = typed.text("title").strip() or typed.text("specimen.description").strip()
    return named or _piece(typed) or _claim(typed)


def _piece(typed: Typed) -> str:
    branches = chosen_branches(typed.texts)
    if branches["choose.gold"] == "claimed":
        return ""
    if branches["choose.gold"] == "measured":
        mass, what = typed.text("gold.measured.mass_g").strip(), "Measured elsewhere"
    else:
        dry = [text.strip() for text in typed.all_of("weighing.dry_g") if text.strip()]
        mass, what = dry[0] if dry else "", _rock(typed, branches["choose.rock"])
    return f"{what}, {mass} g"[:LONGEST_WORDS] if mass else ""


def _rock(typed: Typed, known_by: str) -> str:
    rock = materials.rocks().get(typed.text("rock.kind")) if known_by == "kind" else None
    return rock.label if rock else "Rock"


def piece_words(request: QuoteRequest, w: Wording) -> str:
    """Rock and mass of a piece that has no title, for a paper; empty where nothing was weighed or measured."""
    weighing = request.weighing
    if weighing is None:
        mass = None if request.gold.measured is None else request.gold.measured.mass_g
        return "" if mass is None else f"Measured elsewhere, {readings((mass,), 0.1, w)}"
    rock = request.rock.kind if request.rock is not None else None
    dry = sorted(weighing.dry_g)[len(weighing.dry_g) // 2]
    return f"{materials.rock(rock).label if rock else 'Rock with gold'}, {readings((dry,), weighing.readability_g, w)}"


def _claim(typed: Typed) -> str:
    asked, claimed = typed.text("seller.asks.price").strip(), typed.text("seller.claim.mass").strip()
    unit = typed.text("seller.claim.unit").strip() or "ozt"
    told = [f"asked {asked}" if asked else "", f"claimed {claimed} {unit}" if claimed else ""]
    words = ", ".join(filter(None, told))
    return (words[:1].upper() + words[1:])[:LONGEST_WORDS]
