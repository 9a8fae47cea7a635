"""Everything that a quote takes for granted, found by walking the request."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from valuation import materials
from valuation.comparables import AGE_HALF_LIFE_DAYS, GOLD_LOG_SCALE
from valuation.errors import Caution
from valuation.negotiation import ASSUMED_FLOOR_FRAC, FAIR_SHARE, Floor
from valuation.request import QuoteRequest
from valuation.result import Assumption, Notice
from valuation.spread import MOST_CUT_UNSAID, Spread
from valuation.terms import PayableTier

MEANT = {
    "weighing.repeatability_g": "one readability",
    "weighing.linearity_g": "one readability",
    "weighing.air_pressure_hpa": "1013.25 hPa",
    "weighing.line_extra_depth_mm": "0 mm",
    "rock.void_frac": "0 to 0.002",
    "refiner.silver_recovery_frac": "as the gold's",
    "seller.refiner.silver_recovery_frac": "as the gold's",
}
_WAYS = {"refine": "refining", "intact": "sale as it is"}


def value_words(value: Any, unit: str = "") -> str:
    """Text of an input value with its unit; fractions as per cent.

    Parameters
    ----------
    value : object
        A number, a `Spread`, a text or a list of these.
    unit : str
        Unit of the field; ``frac`` is told in per cent.
    """
    if isinstance(value, Spread):
        return _spread_words(value, unit)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, PayableTier):
        start = f" from {value.from_ozt:.8g} ozt" if value.from_ozt else ""
        return value_words(value.frac, "frac") + start
    if isinstance(value, tuple):
        return ", ".join(value_words(item, unit) for item in value)
    if isinstance(value, int | float):
        return f"{100 * value:.6g} %" if unit == "frac" else f"{value:.8g} {unit}".rstrip()
    return str(value)


def _spread_words(spread: Spread, unit: str) -> str:
    scale, name = (100.0, "%") if unit == "frac" else (1.0, unit)

    def told(x: float | None) -> str:
        return "" if x is None else f"{scale * x:.6g}"

    if spread.value is not None:
        doubt = f" (sd {told(spread.sd)})" if spread.sd is not None else ""
        return f"{told(spread.value)}{doubt} {name}".rstrip()
    likely = f", likely {told(spread.likely)}" if spread.likely is not None else ""
    cover = f", {spread.coverage_frac:.0%} range" if spread.coverage_frac is not None else ""
    return f"{told(spread.low)} to {told(spread.high)} {name}".rstrip() + likely + cover


def _sections(model: BaseModel, path: str = "") -> Iterator[tuple[str, BaseModel]]:
    yield path, model
    for name in type(model).model_fields:
        value = getattr(model, name)
        here = f"{path}.{name}" if path else name
        if isinstance(value, BaseModel) and not isinstance(value, Spread):
            yield from _sections(value, here)
        elif isinstance(value, tuple):
            for i, item in enumerate(value):
                if isinstance(item, BaseModel):
                    yield from _sections(item, f"{here}.{i}")


def assumed_inputs(request: QuoteRequest) -> list[Assumption]:
    """One row for every default that nobody entered."""
    rows = []
    for path, section in _sections(request):
        if path == "collector" and request.collector is None:
            continue
        for name, field in type(section).model_fields.items():
            extra = field.json_schema_extra
            source = extra.get("assumed") if isinstance(extra, dict) else None
            value = getattr(section, name)
            stated = name in section.model_fields_set and value is not None
            if not source or stated or _beside_the_point(request, path, name):
                continue
            where = f"{path}.{name}" if path else name
            words = _meant(where, request) if value is None else None
            unit = str(extra.get("unit", "")) if isinstance(extra, dict) else ""
            if value is None and words is None:
                continue
            rows.append(
                Assumption(
                    name=str(field.title),
                    value=words or value_words(value, unit),
                    source=str(source),
                    field=where,
                )
            )
    return rows


def _meant(where: str, request: QuoteRequest) -> str | None:
    """What a field that is left out stands for, where that is not its default."""
    if where == "buyer.routes":
        return " and ".join(_WAYS[route] for route in request.routes)
    return MEANT.get(where)


def _beside_the_point(request: QuoteRequest, path: str, name: str) -> bool:
    """Defaults that this request never uses."""
    weighing, rock = request.weighing, request.rock
    if path == "weighing" and weighing is not None:
        if name == "air_pressure_hpa":
            return weighing.altitude_m is not None
        return name == "line_extra_depth_mm" and weighing.line_diameter_mm == 0
    if path == "rock" and rock is not None:
        return name == "void_frac" and rock.chip is not None
    if path == "spot" and name == "silver_volatility_per_year":
        return request.spot.silver is None
    if path.endswith("refiner") and name == "silver_recovery_frac":
        refiner = request.refiner if path == "refiner" else request.seller.refiner
        return refiner is None or refiner.silver_payable_frac == 0
    if path == "seller.claim":
        return name in ("basis", "right_frac") and not request.by_claim
    if path == "gold" and request.gold.measured is not None and name == "copper_share_frac":
        return request.gold.measured.basis == "fine"
    return False


def named_materials(request: QuoteRequest) -> list[Assumption]:
    """The rows of the table of rocks and minerals that this request draws on, with their sources."""
    rock = request.rock
    if rock is None:
        return []
    rows = []
    if rock.kind is not None:
        named = materials.rock(rock.kind)
        rows.append((named.label, named.density_g_cm3.spread, named.source, "rock.kind"))
    for i, share in enumerate(rock.minerals or ()):
        if share.density_g_cm3 is None:
            mineral = materials.mineral(share.name)
            rows.append((mineral.label, mineral.density_g_cm3.spread, mineral.source, f"rock.minerals.{i}.name"))
    return [
        Assumption(name=f"Density of {label}", value=value_words(spread, "g/cm³"), source=source, field=field)
        for label, spread, source, field in rows
    ]


def constants(request: QuoteRequest, floor: Floor) -> list[Assumption]:
    """Constants of the method that no field changes."""
    metals = ", ".join(f"{m.label.lower()} {m.density_g_cm3:g}" for m in materials.metals().values())
    rows = [
        Assumption(
            name="Densities of the metals",
            value=f"{metals} g/cm³",
            field="",
            source="; ".join(m.source.rstrip(".") for m in materials.metals().values()),
        ),
        Assumption(
            name="Native gold against ideal mixing",
            value=f"sd {materials.alloy_model().u_relative_density:.1%}",
            source=materials.alloy_model().source,
            field="",
        ),
        Assumption(
            name="Fair range",
            value=f"leaves {FAIR_SHARE:.0%} of the surplus to each side at its ends",
            source="house assumption, no source; the middle is Nash's equal split (Econometrica 18 (1950) 155)",
            field="",
        ),
    ]
    if request.rock is not None and request.rock.chip is not None:
        rows.append(
            Assumption(
                name="Likeness of the chip to the rock",
                value="sd 0.005 g/cm³",
                source="assumption, no source",
                field="",
            )
        )
    if request.collector is not None and request.collector.comparables is not None:
        rows.append(
            Assumption(
                name="Likeness of a sale",
                value=f"weight {math.exp(-0.5):.0%} at {math.exp(GOLD_LOG_SCALE):g} times the gold or one grade apart, "
                f"50% at {AGE_HALF_LIFE_DAYS / 365:g} years of age",
                source="house assumption, no source",
                field="collector.comparables",
            )
        )
    if floor.basis == "assumed" and floor.amount is not None:
        rows.append(
            Assumption(
                name="Seller's floor",
                value=f"{ASSUMED_FLOOR_FRAC:.0%} of the median melt value",
                source="assumption, no source: no alternative of the seller is known",
                field="seller.other_bid",
            )
        )
    return rows


def truncation_cautions(request: QuoteRequest) -> list[Caution]:
    """A caution for every range of which more than 1 in 1,000 was cut off at a physical limit."""
    found = []
    for path, section in _sections(request):
        for name in type(section).model_fields:
            value = getattr(section, name)
            if isinstance(value, Spread) and value.cut_frac > MOST_CUT_UNSAID:
                found.append(
                    Caution(
                        code="truncated",
                        field=f"{path}.{name}",
                        message=f"Truncated: {value.cut_frac:.1%} of this range lies beyond what is possible "
                        f"({value.bound}) and was left out.",
                    )
                )
    return found


NOTICES = (
    Notice(
        code="estimate",
        message="This is an estimate by density and stated assumptions: not an assay, not an appraisal.",
    ),
    Notice(
        code="not_tested",
        message="That the metal is native gold, and the piece natural, unfilled and unglued, was not tested unless a "
        "record says how and when. Tungsten is as dense as gold: density cannot expose it.",
    ),
    Notice(
        code="irreversible",
        message="Refining cannot be undone: a piece that is melted is no longer a specimen.",
    ),
    Notice(
        code="law",
        message="Dealing in second-hand goods and precious metals, identification, holding periods, tax, cash limits "
        "and trade scales are under local law and licensed practice: ask before you buy.",
    ),
    Notice(
        code="safety",
        message="No acid, mercury, heating or crushing without training and protection (silica dust, fumes); X-ray "
        "tools only under licence.",
    ),
)
