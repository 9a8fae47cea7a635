"""What was observed of a specimen: its weighings, its rock, its gold."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BeforeValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from valuation import materials
from valuation.field import Section, refuse_all, said
from valuation.number import Number, blank_is_none
from valuation.spread import (
    AirTemperature,
    Density,
    Fineness,
    Fraction,
    Grams,
    Length,
    Pressure,
    Voids,
    WaterTemperature,
)


def _as_list(entered: Any) -> Any:
    if entered is None or isinstance(entered, list | tuple):
        return entered
    return [entered]


def _without_blanks(entered: Any) -> Any:
    entered = _as_list(entered)
    if not isinstance(entered, list | tuple):
        return entered
    return [item for item in entered if blank_is_none(item) is not None] or None


def _possible_reading(reading: float) -> float:
    if reading <= 0:
        words = "the reading {reading} g is not above zero: check the tare and the sign"
        raise PydanticCustomError("reading", words, {"reading": f"{reading:.10g}"})
    if reading > MOST_G:
        words = "the reading {reading} g is over 1 000 000 g: check the unit and the decimal mark"
        raise PydanticCustomError("reading", words, {"reading": f"{reading:.10g}"})
    return reading


MOST_G = 1e6
FINEST_STEP_G = 1e-7
MAX_READINGS = 20
MAX_MINERALS = 6
Reading = Annotated[Number, AfterValidator(_possible_reading)]
Readings = Annotated[tuple[Reading, ...], Field(min_length=1, max_length=MAX_READINGS), BeforeValidator(_as_list)]
OptionalReadings = Annotated[Readings | None, BeforeValidator(_without_blanks)]
OptionalNumber = Annotated[Number | None, BeforeValidator(blank_is_none)]
Method = Literal["suspended", "displaced"]
WaterKind = Literal["distilled", "deionised", "tap"]

_PRACTICE = "common practice, no source"


def readings_problems(
    method: str,
    dry_g: tuple[float, ...],
    submerged_g: tuple[float, ...] | None,
    displaced_g: tuple[float, ...] | None,
) -> list[PydanticCustomError]:
    """What is wrong with readings that do not belong to the method or that no specimen can give."""
    wet, wet_name = (submerged_g, "submerged_g") if method == "suspended" else (displaced_g, "displaced_g")
    other, other_name = (displaced_g, "displaced_g") if method == "suspended" else (submerged_g, "submerged_g")
    found = []
    if other is not None:
        found.append(
            PydanticCustomError(
                "readings",
                "{other} does not belong to the {method} method: leave it out or change the method",
                {"other": other_name, "method": method, "field": other_name},
            )
        )
    if wet is None:
        context = {"method": method, "wet": wet_name, "field": wet_name}
        return [*found, PydanticCustomError("missing_reading", "the {method} method needs {wet}", context)]
    dry_mean, wet_mean = sum(dry_g) / len(dry_g), sum(wet) / len(wet)
    if wet_mean >= dry_mean:
        what = "the submerged reading" if method == "suspended" else "the displaced reading"
        found.append(
            PydanticCustomError(
                "no_loss",
                "{what} {wet} g is not below the dry reading {dry} g: check that the two were not swapped, and the "
                "tare",
                {"what": what, "wet": f"{wet_mean:.10g}", "dry": f"{dry_mean:.10g}", "field": wet_name},
            )
        )
    return found


class Specimen(Section):
    """The piece itself, in words."""

    description: str = said("Description", "What the piece looks like; the seller sees it too.", default="")
    seller_reference: str = said(
        "Seller's reference",
        "Your own reference to the seller, if you keep one; no name is needed.",
        default="",
        max_length=200,
    )


class Weighing(Section):
    """Readings of one balance in air and under water.

    Notes
    -----
    *Suspended*: the specimen hangs from the balance into water. *Displaced*: a tared vessel of water stands on the
    balance and the specimen hangs into it from a stand, touching nothing.
    """

    method: Method = said(
        "Method",
        "Suspended: the piece hangs from the balance into water. Displaced: a vessel of water stands on "
        "the balance and the piece hangs into it from a stand.",
        default="suspended",
        assumed=_PRACTICE,
    )
    dry_g: Readings = said("Dry", "Reading in air, once or several times.", unit="g")
    submerged_g: OptionalReadings = said(
        "Under water",
        "Reading while it hangs wholly under water, touching nothing, no bubbles.",
        unit="g",
        default=None,
    )
    displaced_g: OptionalReadings = said(
        "Rise of the vessel",
        "Reading of the tared vessel while the piece hangs in it, touching nothing.",
        unit="g",
        default=None,
    )
    readability_g: Number = said(
        "Smallest step (readability)",
        "Of the balance: the step in which its last digit counts, such as 0.01 or 0.05.",
        unit="g",
        ge=FINEST_STEP_G,
        le=100,
    )
    repeatability_g: OptionalNumber = said(
        "Repeatability",
        "Standard deviation of repeated readings.",
        unit="g",
        default=None,
        ge=0,
        le=1000,
        assumed="one readability: assumption, no source",
    )
    linearity_g: OptionalNumber = said(
        "Linearity",
        "Largest error of the scale between zero and full load.",
        unit="g",
        default=None,
        ge=0,
        le=1000,
        assumed="one readability: assumption, no source",
    )
    span_tolerance_frac: Number = said(
        "Span tolerance",
        "How far the whole scale may be stretched; checked with a known weight it is small.",
        unit="frac",
        default=0.0005,
        ge=0,
        le=0.05,
        assumed="assumption, no source: a scale not lately adjusted",
    )
    water_kind: WaterKind = said(
        "Water",
        "Tap water is denser than pure water by its salts.",
        default="tap",
        assumed="tap water unless stated: adds 0 to 0.0005 g/cm³, about 0 to 0.65 g/L of salts",
    )
    water_temperature_degc: WaterTemperature = said(
        "Water temperature",
        "Of the water in the vessel.",
        unit="°C",
        default={"low": 15.0, "high": 25.0},
        assumed="assumption: water at room temperature",
    )
    air_temperature_degc: AirTemperature = said(
        "Air temperature",
        "Beside the balance.",
        unit="°C",
        default=20.0,
        assumed="assumption: room temperature",
    )
    air_humidity_frac: Fraction = said(
        "Air humidity",
        "Relative humidity.",
        unit="frac",
        default=0.5,
        assumed="assumption: a dry room",
    )
    air_pressure_hpa: Pressure | None = said(
        "Air pressure",
        "Station pressure, not reduced to sea level.",
        unit="hPa",
        default=None,
        assumed="1013.25 hPa: ISO 2533 standard atmosphere at sea level",
    )
    altitude_m: OptionalNumber = said(
        "Altitude",
        "Height of the shop above sea level, instead of the air pressure.",
        unit="m",
        default=None,
        ge=-430,
        le=6000,
    )
    line_diameter_mm: Number = said(
        "Line diameter",
        "Of the wire or thread that the piece hangs from.",
        unit="mm",
        default=0.3,
        ge=0,
        le=5,
        assumed="assumption: thin thread or wire",
    )
    line_extra_depth_mm: Length | None = said(
        "Line wetted",
        "Length of line under water at the reading and not at the zero; displaced method: the whole wetted length.",
        unit="mm",
        default=None,
        assumed="0 mm for the suspended method: assumption",
    )
    zeroed_with_line: bool = said(
        "Zeroed with the line in the water",
        "Whether zero was set with the empty line already through the surface.",
        default=False,
        assumed="assumption: zero set in air",
    )
    trapped_air_frac: Number = said(
        "Trapped air, at most",
        "Largest share of the volume that may be bubbles and air in pores.",
        unit="frac",
        default=0.0003,
        ge=0,
        le=0.05,
        assumed="assumption, no source: wetted and brushed free of bubbles",
    )

    @model_validator(mode="after")
    def _possible(self) -> Self:
        found = readings_problems(self.method, self.dry_g, self.submerged_g, self.displaced_g)
        if self.air_pressure_hpa is not None and self.altitude_m is not None:
            words = "give the air pressure or the altitude, not both"
            found.append(PydanticCustomError("exclusive", words, {"field": "altitude_m"}))
        if self.method == "displaced" and self.line_diameter_mm > 0 and self.line_extra_depth_mm is None:
            words = "the displaced method needs the wetted length of the line in mm (or a line diameter of 0)"
            found.append(PydanticCustomError("missing_depth", words, {"field": "line_extra_depth_mm"}))
        refuse_all(self, found)
        return self

    @property
    def wet_g(self) -> tuple[float, ...]:
        """The readings under water: submerged or displaced, by the method."""
        wet = self.submerged_g if self.method == "suspended" else self.displaced_g
        assert wet is not None
        return wet


class Chip(Section):
    """A gold-free chip of the same rock, weighed to learn the host's density."""

    dry_g: Readings = said("Chip dry", "Reading of the chip in air.", unit="g")
    submerged_g: OptionalReadings = said("Chip under water", "Reading of the hanging chip.", unit="g", default=None)
    displaced_g: OptionalReadings = said("Chip: rise of the vessel", "Reading of the vessel.", unit="g", default=None)
    method: Method | None = said("Chip method", "If other than the specimen's.", default=None)
    same_water: bool = said(
        "Same water", "Whether the chip hung in the specimen's water.", default=True, assumed="assumption"
    )
    water_temperature_degc: WaterTemperature | None = said(
        "Chip water temperature", "If the chip hung in other water.", unit="°C", default=None
    )
    water_kind: WaterKind | None = said("Chip water", "If the chip hung in other water.", default=None)
    line_extra_depth_mm: Length | None = said("Chip line wetted", "As for the specimen.", unit="mm", default=None)

    @model_validator(mode="after")
    def _possible(self) -> Self:
        # The specimen's method, which holds unless the chip states its own, is not known here.
        method = self.method or ("suspended" if self.displaced_g is None else "displaced")
        found = readings_problems(method, self.dry_g, self.submerged_g, self.displaced_g)
        if self.same_water and (self.water_temperature_degc is not None or self.water_kind is not None):
            words = "the chip's own water is described, so same_water must be false"
            found.append(PydanticCustomError("exclusive", words, {"field": "same_water"}))
        refuse_all(self, found)
        return self


class MineralShare(Section):
    """One mineral of the rock and its share of the rock's volume."""

    name: str = said("Mineral", "A mineral of the table, such as quartz.", max_length=60)
    volume_frac: Fraction | None = said(
        "Share of volume",
        "Left out for the first mineral, which takes the remainder.",
        unit="frac",
        default=None,
    )
    density_g_cm3: Density | None = said(
        "Density", "If other than the table's.", unit="g/cm³", default=None, assumed="table of minerals"
    )

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self.density_g_cm3 is None:
            try:
                materials.mineral(self.name)
            except materials.UnknownMaterial as unknown:
                raise PydanticCustomError(
                    "unknown_mineral",
                    "{words}; or give its density_g_cm3",
                    {"words": unknown.message, "field": "name"},
                ) from None
        return self


class Rock(Section):
    """The rock that holds the gold: exactly one way of knowing its density."""

    kind: str | None = said("Kind of rock", "A named rock of the table.", default=None, max_length=60)
    density_g_cm3: Density | None = said("Density", "Known density of the bare rock.", unit="g/cm³", default=None)
    minerals: tuple[MineralShare, ...] | None = said(
        "Minerals",
        "What the rock is made of; the first takes the remainder of the volume.",
        default=None,
        min_length=1,
        max_length=MAX_MINERALS,
    )
    chip: Chip | None = said("Chip", "Weighings of a gold-free chip of the same rock.", default=None)
    void_frac: Voids | None = said(
        "Closed pores and vugs",
        "Share of the volume that is empty and that water does not reach.",
        unit="frac",
        default=None,
        assumed="0 to 0.002: assumption, no source",
    )

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        ways = [n for n in ("kind", "density_g_cm3", "minerals", "chip") if getattr(self, n) is not None]
        found = []
        if len(ways) != 1:
            context = {"got": " and ".join(ways) or "none", "field": ways[1] if len(ways) > 1 else "kind"}
            words = "say exactly one of kind, density_g_cm3, minerals or chip; got {got}"
            found.append(PydanticCustomError("rock", words, context))
        if self.chip is not None and self.void_frac is not None:
            words = "a weighed chip already includes its pores: leave void_frac out"
            found.append(PydanticCustomError("chip_voids", words, {"field": "void_frac"}))
        refuse_all(self, [*found, *self._kind_problems(), *self._share_problems()])
        return self

    def _kind_problems(self) -> list[PydanticCustomError]:
        if self.kind is None:
            return []
        try:
            materials.rock(self.kind)
        except materials.UnknownMaterial as unknown:
            return [PydanticCustomError("unknown_rock", "{words}", {"words": unknown.message, "field": "kind"})]
        return []

    def _share_problems(self) -> list[PydanticCustomError]:
        if self.minerals is None:
            return []
        found = []
        if self.minerals[0].volume_frac is not None:
            words = "the first mineral takes the remainder: leave its volume_frac out"
            found.append(PydanticCustomError("remainder", words, {"field": "minerals.0.volume_frac"}))
        for i, mineral in enumerate(self.minerals[1:], start=1):
            if mineral.volume_frac is None:
                context = {"name": mineral.name, "field": f"minerals.{i}.volume_frac"}
                found.append(PydanticCustomError("missing_share", "give the volume_frac of {name}", context))
        total = sum(m.volume_frac.centre for m in self.minerals[1:] if m.volume_frac is not None)
        if total > 1:
            words = "the shares after the first mineral add up to {total}, more than 1"
            found.append(PydanticCustomError("shares", words, {"total": f"{total:.6g}", "field": "minerals"}))
        return found


class Measured(Section):
    """A range of gold measured elsewhere; it replaces the weighing and the rock."""

    basis: Literal["native", "fine"] = said("Basis", "Whether the grams are native gold or fine gold.")
    grams: Grams = said("Gold", "Range of the gold content.", unit="g")
    mass_g: OptionalNumber = said(
        "Mass of the piece",
        "Needed if the refiner charges by the kilogram.",
        unit="g",
        default=None,
        gt=0,
        le=1e6,
    )


class Gold(Section):
    """What is known of the gold metal itself."""

    fineness_frac: Fineness = said(
        "Fineness",
        "Gold share of the native metal by mass; 0.85 is 850 parts per thousand.",
        unit="frac",
        default={"low": 0.75, "likely": 0.85, "high": 0.92},
        assumed="assumption; lode gold of 622 to 890, placer to 935 parts per thousand in Lindgren, USGS Prof. Paper "
        "73 (1911)",
    )
    copper_share_frac: Fraction = said(
        "Copper share",
        "Share of copper in what is not gold; the rest is silver.",
        unit="frac",
        default=0.03,
        assumed="assumption, from memory: native gold holds far more silver than copper",
    )
    measured: Measured | None = said("Measured elsewhere", "Instead of weighing and rock.", default=None)
