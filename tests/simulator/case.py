"""A stated population of specimens and the way they are weighed."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from tests.simulator.stated import Stated

Method = Literal["suspended", "displaced"]


@dataclass(frozen=True)
class GoldMass:
    """Distribution of the true mass of native gold [g]."""

    law: Literal["log-uniform", "uniform"]
    low_g: float
    high_g: float


@dataclass(frozen=True)
class Chip:
    """A gold-free piece of the same rock, weighed in the same water on the same balance."""

    mass_g: tuple[float, float] = (30.0, 60.0)
    unlike_rock_sd_g_cm3: float = 0.005


@dataclass(frozen=True)
class Case:
    """Stated distributions: each truth is drawn from them, and they are reported to the quote as they stand.

    The mass of the rock is log-uniform between its ends. `thermometer_degc` is the half-width of the
    thermometer's error; without one nothing is reported of the water's temperature, which is then anywhere
    from 15 to 25 °C. Tap water holds 0 to 0.65 g/kg of salt, uniform.
    """

    name: str
    rock_g: tuple[float, float]
    gold: GoldMass
    method: Method = "suspended"
    host_g_cm3: Mapping[str, float] | None = None  # without it the host is known by the chip alone
    chip: Chip | None = None
    void_frac: Stated | None = None
    fineness_frac: Stated | None = None
    copper_share_frac: Stated = 0.03
    alloy_denser_sd: float = 0.004
    readability_g: float = 0.05
    repeatability_g: float = 0.05
    linearity_g: float = 0.05
    span_tolerance_frac: float = 0.0005
    dry_repeats: int = 1
    wet_repeats: int = 1
    thermometer_degc: float | None = 1.0
    tap_water: bool = False
    line_diameter_mm: float = 0.3
    line_extra_depth_mm: Stated = 0.0
    zeroed_with_line: bool = True
    trapped_air_frac: float = 0.0003


FINENESS = {"low": 0.75, "likely": 0.85, "high": 0.92}
CLOSED_VOIDS = {"low": 0.0, "high": 0.002}
RULER_30, RULER_60, RULER_80 = ({"low": mm - 1.0, "high": mm + 1.0} for mm in (30.0, 60.0, 80.0))
VEIN_QUARTZ = {"low": 2.60, "likely": 2.63, "high": 2.65}
CLEAR_QUARTZ = {"low": 2.645, "high": 2.651}

FIST = Case(
    name="fist, suspended",
    rock_g=(200.0, 600.0),
    gold=GoldMass("log-uniform", 0.5, 150.0),
    host_g_cm3=VEIN_QUARTZ,
    void_frac=CLOSED_VOIDS,
    fineness_frac=FINENESS,
    copper_share_frac={"low": 0.0, "high": 0.06},
)
FIST_DISPLACED = replace(
    FIST, name="fist, displaced", method="displaced", line_extra_depth_mm=RULER_60, zeroed_with_line=False
)
CLEAR = replace(
    FIST,
    name="clear quartz, tap water of unknown temperature",
    host_g_cm3=CLEAR_QUARTZ,
    gold=GoldMass("log-uniform", 0.1, 60.0),
    tap_water=True,
    thermometer_degc=None,
)
# All that is usually large is known well, so that air, salts and bubbles show.
SHARP = replace(
    FIST,
    name="well-known quartz and gold, tap water",
    host_g_cm3={"value": 2.648, "sd": 0.0005},
    void_frac=0.0,
    fineness_frac={"low": 0.84, "high": 0.86},
    gold=GoldMass("log-uniform", 0.04, 20.0),
    readability_g=0.01,
    repeatability_g=0.01,
    linearity_g=0.02,
    tap_water=True,
    thermometer_degc=0.3,
)
SHARP_DISPLACED = replace(
    SHARP,
    name="well-known quartz and gold, tap water, displaced",
    method="displaced",
    line_extra_depth_mm=RULER_60,
    zeroed_with_line=False,
)
VUGGY = replace(
    FIST,
    name="vuggy, voids 0 to 4 %",
    void_frac={"low": 0.0, "high": 0.04},
    gold=GoldMass("log-uniform", 1.0, 300.0),
)
CHIP = replace(
    FIST,
    name="host weighed by a chip",
    host_g_cm3=None,
    chip=Chip(),
    void_frac=None,
    gold=GoldMass("log-uniform", 0.3, 100.0),
    readability_g=0.01,
    repeatability_g=0.01,
    linearity_g=0.02,
)
CHIP_DISPLACED = replace(
    CHIP,
    name="host weighed by a chip, displaced, tap water",
    method="displaced",
    line_extra_depth_mm=RULER_60,
    zeroed_with_line=False,
    tap_water=True,
    thermometer_degc=None,
)
SMALL = replace(
    FIST,
    name="small piece, milligram balance, suspended",
    rock_g=(0.8, 4.0),
    gold=GoldMass("log-uniform", 0.002, 1.5),
    host_g_cm3=CLEAR_QUARTZ,
    readability_g=0.001,
    repeatability_g=0.0015,
    linearity_g=0.002,
    line_diameter_mm=0.1,
)
SMALL_DISPLACED = replace(
    SMALL,
    name="small piece, milligram balance, displaced",
    method="displaced",
    line_diameter_mm=0.3,
    line_extra_depth_mm=RULER_80,
    zeroed_with_line=False,
    gold=GoldMass("log-uniform", 0.003, 2.0),
)
SMALL_DRY_ZERO = replace(
    SMALL,
    name="small piece, milligram balance, zeroed before the line went in",
    line_diameter_mm=0.3,
    line_extra_depth_mm=RULER_30,
    zeroed_with_line=False,
    gold=GoldMass("log-uniform", 0.003, 2.0),
)
SMALL_REPEATS = replace(SMALL, name="small piece, milligram balance, three readings each", dry_repeats=3, wet_repeats=3)

WELL_SEEN_CASES = (
    FIST,
    FIST_DISPLACED,
    CLEAR,
    SHARP,
    SHARP_DISPLACED,
    VUGGY,
    CHIP,
    CHIP_DISPLACED,
    SMALL,
    SMALL_DISPLACED,
    SMALL_DRY_ZERO,
    SMALL_REPEATS,
)


def with_any_gold_mass(case: Case, high_g: float) -> Case:
    """The same case with its gold mass uniform from none: the law under which a prior-free range is exact."""
    return replace(case, name=f"{case.name}, any mass", gold=GoldMass("uniform", 0.0, high_g))


ANY_MASS_CASES = (
    with_any_gold_mass(FIST, 40.0),
    with_any_gold_mass(FIST_DISPLACED, 40.0),
    with_any_gold_mass(CLEAR, 12.0),
    with_any_gold_mass(SHARP, 2.5),
    with_any_gold_mass(VUGGY, 80.0),
    with_any_gold_mass(CHIP, 20.0),
    with_any_gold_mass(SMALL, 0.15),
)
