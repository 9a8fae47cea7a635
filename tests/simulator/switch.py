"""Error terms taken out of what is typed, as by somebody who takes them for nothing."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from tests.simulator.case import (
    CHIP,
    CLEAR,
    FIST,
    FIST_DISPLACED,
    SHARP,
    SMALL,
    SMALL_DISPLACED,
    SMALL_DRY_ZERO,
    VUGGY,
    Case,
    GoldMass,
)
from tests.simulator.counter import Typed
from tests.simulator.nature import water_density_g_cm3
from tests.simulator.stated import exact_value


@dataclass(frozen=True)
class Switch:
    """One term switched off in the request; the specimen and its readings stay as they are."""

    name: str
    off: Callable[[Typed], Typed]


@dataclass(frozen=True)
class Trial:
    """Terms switched off one at a time on the same specimens, those known to be large apart."""

    case: Case
    large: tuple[Switch, ...]
    others: tuple[Switch, ...]


@dataclass(frozen=True)
class Enter:
    """Other figures in some fields of a section."""

    section: str
    fields: Mapping[str, float | bool | str]

    def __call__(self, typed: Typed) -> Typed:
        """Return the request with those fields changed."""
        return {**typed, self.section: {**typed[self.section], **self.fields}}


@dataclass(frozen=True)
class TakeForCertain:
    """The likely value of a field in place of its spread."""

    section: str
    field: str

    def __call__(self, typed: Typed) -> Typed:
        """Return the request with the field exact."""
        return Enter(self.section, {self.field: exact_value(typed[self.section][self.field])})(typed)


def _chip_taken_for_rock(typed: Typed) -> Typed:
    """The chip's readings worked out without any doubt, and the rock taken for the same."""
    chip = typed["rock"]["chip"]
    dry_g, wet_g = chip["dry_g"][0], chip["submerged_g"][0]
    water = water_density_g_cm3(exact_value(typed["weighing"]["water_temperature_degc"]))
    air = 0.0012
    density = dry_g / (dry_g - wet_g) * (water - air) + air
    return {**typed, "rock": {"density_g_cm3": density, "void_frac": 0.0}}


ROCK = Switch("rock density taken for certain", TakeForCertain("rock", "density_g_cm3"))
CHIP_LIKENESS = Switch("chip's density taken for certain", _chip_taken_for_rock)
VOIDS = Switch("voids taken for none", Enter("rock", {"void_frac": 0.0}))
FINENESS = Switch("fineness taken for certain", TakeForCertain("gold", "fineness_frac"))
COPPER = Switch("copper share taken for certain", TakeForCertain("gold", "copper_share_frac"))
TEMPERATURE = Switch("water temperature taken for certain", TakeForCertain("weighing", "water_temperature_degc"))
TEMPERATURE_20 = Switch("water taken for 20 °C", Enter("weighing", {"water_temperature_degc": 20.0}))
SALTS = Switch("tap water taken for distilled", Enter("weighing", {"water_kind": "distilled"}))
BUBBLES = Switch("no trapped air", Enter("weighing", {"trapped_air_frac": 0.0}))
SPAN = Switch("no span error", Enter("weighing", {"span_tolerance_frac": 0.0}))
ROUNDING = Switch("no rounding", Enter("weighing", {"readability_g": 1e-6}))
REPEATABILITY = Switch("no noise", Enter("weighing", {"repeatability_g": 0.0}))
LINEARITY = Switch("no linearity error", Enter("weighing", {"linearity_g": 0.0}))
BALANCE = Switch(
    "a perfect balance",
    Enter(
        "weighing",
        {
            "readability_g": 1e-6,
            "repeatability_g": 0.0,
            "linearity_g": 0.0,
            "span_tolerance_frac": 0.0,
        },
    ),
)
MENISCUS = Switch("pull of the surface taken for none on average", Enter("weighing", {"zeroed_with_line": True}))
LINE_VOLUME = Switch("volume of the line forgotten", Enter("weighing", {"line_extra_depth_mm": 0.0}))


def _trial(case: Case, low_g: float, high_g: float, large: tuple[Switch, ...], *others: Switch) -> Trial:
    """A trial on pieces of two to eight detection limits, where weighing and fineness both count."""
    return Trial(replace(case, gold=GoldMass("uniform", low_g, high_g)), large, others)


# Large by the pocket calculator, before any quote: the estimates stand in tests/proofs/coverage.md.
TRIALS = (
    _trial(FIST, 12.0, 48.0, (ROCK, FINENESS), VOIDS, TEMPERATURE, BUBBLES, SPAN, BALANCE, COPPER),
    _trial(FIST_DISPLACED, 12.0, 48.0, (ROCK, FINENESS), VOIDS, MENISCUS, LINE_VOLUME),
    _trial(CLEAR, 3.0, 12.0, (ROCK, VOIDS, TEMPERATURE_20, FINENESS), SALTS, BUBBLES, SPAN, BALANCE),
    _trial(SHARP, 0.9, 3.6, (ROCK, BALANCE, SALTS, BUBBLES), TEMPERATURE, SPAN, FINENESS),
    _trial(VUGGY, 35.0, 140.0, (VOIDS, FINENESS), ROCK),
    _trial(CHIP, 6.0, 24.0, (CHIP_LIKENESS, FINENESS), TEMPERATURE, SPAN, BALANCE),
    _trial(SMALL, 0.05, 0.2, (BALANCE, REPEATABILITY, LINEARITY, FINENESS), ROUNDING, ROCK, VOIDS, SPAN),
    _trial(SMALL_DISPLACED, 0.06, 0.24, (BALANCE, MENISCUS, LINE_VOLUME), TEMPERATURE),
    _trial(SMALL_DRY_ZERO, 0.06, 0.24, (BALANCE, MENISCUS), LINE_VOLUME),
)
