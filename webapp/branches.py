"""The choices of the quote form that decide which of its fields count."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from werkzeug.datastructures import MultiDict

from valuation import rubric

ROUTE_CHOICES = (
    ("every", "every one whose terms are entered"),
    ("refine", "refining only"),
    ("intact", "sale as it is only"),
    ("both", "refining and sale as it is"),
)
PREMIUMS = ("premium_frac", "rubric", "comparables", "price")
ROUTES = {"refine": ("refine",), "intact": ("intact",), "both": ("refine", "intact")}


@dataclass(frozen=True)
class Choice:
    """One choice: its name on the form, its branches in order, the usual one first, and how entries show it."""

    name: str
    branches: tuple[tuple[str, str], ...]
    of_entries: Callable[[Mapping[str, Any]], str]


def _inner(entries: Mapping[str, Any], section: str) -> Mapping[str, Any]:
    inner = entries.get(section)
    return inner if isinstance(inner, Mapping) else {}


def _first_given(entries: Mapping[str, Any], section: str, names: tuple[str, ...], usual: str) -> str:
    return next((name for name in names if _inner(entries, section).get(name) is not None), usual)


def _only_claimed(entries: Mapping[str, Any]) -> bool:
    known = entries.get("weighing") or entries.get("rock") or _inner(entries, "gold").get("measured")
    return not known and _inner(entries, "seller").get("claim") is not None


def _routes(entries: Mapping[str, Any]) -> str:
    named = _inner(entries, "buyer").get("routes")
    if not isinstance(named, list | tuple):
        return "every"
    return "both" if len(named) > 1 else str(named[0])


CHOICES = (
    Choice(
        "choose.gold",
        (("weighed", "weighed here"), ("measured", "measured elsewhere"), ("claimed", "only claimed")),
        lambda e: "claimed" if _only_claimed(e) else _first_given(e, "gold", ("measured",), "weighed"),
    ),
    Choice(
        "choose.rock",
        (("kind", "a named rock"), ("density_g_cm3", "its density"), ("minerals", "its minerals"), ("chip", "a chip")),
        lambda e: _first_given(e, "rock", ("density_g_cm3", "minerals", "chip"), "kind"),
    ),
    Choice(
        "choose.refiner",
        (("yes", "a refiner's terms"), ("no", "not refined")),
        lambda e: "yes" if e.get("refiner") is not None or e.get("collector") is None else "no",
    ),
    Choice(
        "choose.collector",
        (
            ("no", "no collector"),
            ("premium_frac", "premium over melt"),
            ("rubric", "graded qualities"),
            ("comparables", "comparable sales"),
            ("price", "a price in money"),
        ),
        lambda e: "no" if e.get("collector") is None else _first_given(e, "collector", PREMIUMS, "premium_frac"),
    ),
    Choice(
        "choose.routes",
        ROUTE_CHOICES,
        _routes,
    ),
    Choice(
        "choose.own_refining",
        (("no", "not known"), ("yes", "own terms")),
        lambda e: "yes" if _inner(e, "seller").get("refiner") is not None else "no",
    ),
)


def chosen_branches(texts: MultiDict[str, str]) -> dict[str, str]:
    """The branch of each choice: the one named, or the usual one where none or an unknown one is."""
    chosen = {}
    for choice in CHOICES:
        known = [branch for branch, _ in choice.branches]
        named = texts.get(choice.name, "")
        chosen[choice.name] = named if named in known else known[0]
    chosen["weighing.method"] = _method(texts.get("weighing.method", ""), "suspended")
    chosen["rock.chip.method"] = _method(texts.get("rock.chip.method", ""), chosen["weighing.method"])
    return chosen


# Large branches are drawn only where they are chosen: the beginning of their fields' names, the choice, the branch.
_DRAWN_IF = (
    ("rock.minerals.", "choose.rock", "minerals"),
    ("rock.chip.", "choose.rock", "chip"),
    ("collector.price.", "choose.collector", "price"),
    ("collector.rubric.", "choose.collector", "rubric"),
    ("collector.comparables.", "choose.collector", "comparables"),
    ("collector.grade", "choose.collector", "comparables"),
    ("seller.refiner.", "choose.own_refining", "yes"),
    ("seller.effort_cost", "choose.own_refining", "yes"),
)


def is_drawn(name: str, branches: Mapping[str, str]) -> bool:
    """Whether the form draws the field of this name; what was typed in the others is carried along unseen."""
    if name.startswith("tests."):
        return False  # told of on the page of the tests
    return all(branches[choice] == branch for start, choice, branch in _DRAWN_IF if name.startswith(start))


def _method(named: str, usual: str) -> str:
    return named if named in ("suspended", "displaced") else usual


def is_open(name: str, branches: Mapping[str, str]) -> bool:
    """Whether a field of this name counts under the branches chosen."""
    section, _, rest = name.partition(".")
    if section in ("weighing", "rock"):
        return branches["choose.gold"] == "weighed" and _observed(section, rest, branches)
    if name.startswith("gold.measured."):
        return branches["choose.gold"] == "measured"
    if section == "refiner":
        return branches["choose.refiner"] == "yes"
    if section == "collector":
        return _of_collector(rest.partition(".")[0], branches["choose.collector"])
    if name.startswith("seller.refiner."):
        return branches["choose.own_refining"] == "yes"
    return True


def _of_collector(part: str, chosen: str) -> bool:
    if part == "grade":
        return chosen == "comparables"
    return chosen != "no" and (part not in PREMIUMS or part == chosen)


def _observed(section: str, rest: str, branches: Mapping[str, str]) -> bool:
    if section == "weighing":
        return rest != _not_of(branches["weighing.method"])
    way = rest.partition(".")[0]
    if way == "void_frac":
        return branches["choose.rock"] != "chip"
    if rest == f"chip.{_not_of(branches['rock.chip.method'])}":
        return False
    return way == branches["choose.rock"]


def _not_of(method: str) -> str:
    return "displaced_g" if method == "suspended" else "submerged_g"


def _wet_of(method: str) -> str:
    return "submerged_g" if method == "suspended" else "displaced_g"


def wanted(branches: Mapping[str, str], texts: MultiDict[str, str]) -> Iterator[str]:
    """Fields without which there is no figure."""
    if branches["choose.gold"] == "claimed":
        yield "seller.claim.mass"
    elif branches["choose.gold"] == "measured":
        yield "gold.measured.grams"
    else:
        yield from ("weighing.dry_g", f"weighing.{_wet_of(branches['weighing.method'])}", "weighing.readability_g")
        yield from _wanted_of_rock(branches)
        thick = texts.get("weighing.line_diameter_mm", "").strip() not in ("0", "0.0")
        if branches["weighing.method"] == "displaced" and thick:
            yield "weighing.line_extra_depth_mm"
    yield "spot.gold"
    yield from _wanted_of_collector(branches["choose.collector"])


def _wanted_of_collector(chosen: str) -> Iterator[str]:
    if chosen == "rubric":
        yield f"collector.rubric.{next(iter(rubric.qualities()))}"
    elif chosen == "comparables":
        yield "collector.comparables.0.price"
    elif chosen != "no":
        yield f"collector.{chosen}"


def _wanted_of_rock(branches: Mapping[str, str]) -> Iterator[str]:
    way = branches["choose.rock"]
    if way == "minerals":
        yield "rock.minerals.0.name"
    elif way == "chip":
        yield from ("rock.chip.dry_g", f"rock.chip.{_wet_of(branches['rock.chip.method'])}")
    else:
        yield f"rock.{way}"
