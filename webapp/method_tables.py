"""What the method takes for granted, gathered from `valuation` itself: constants, and defaults with their sources."""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import BaseModel

from valuation import materials
from valuation.assumptions import MEANT, value_words
from valuation.comparables import AGE_HALF_LIFE_DAYS, FEW_EFFECTIVE, LEAST_EFFECTIVE
from valuation.detection import K_95, LONG_CONSTANT, LONG_HOST_G_CM3, QUICK_DRY, QUICK_SUBMERGED
from valuation.draws import LOG2_DRAWS, N_COLUMNS
from valuation.fluids import REFERENCE_WATER_G_CM3, STANDARD_PRESSURE_HPA, TAP_SALTS_HIGH_G_CM3
from valuation.gold import U_CHIP_LIKENESS_G_CM3
from valuation.mass import G_PER_OZT
from valuation.negotiation import ASSUMED_FLOOR_FRAC, FAIR_SHARE
from valuation.observations import Chip, Gold, Rock, Weighing
from valuation.terms import Buyer, Claim, Collector, Refiner, Seller, Spot
from valuation.weighing import ADJUSTMENT_WEIGHT_G_CM3, STANDARD_GRAVITY_M_S2, SURFACE_TENSION_N_M

KNOWN = {
    "exact": "exact by definition",
    "read": "read in a published work or page that was opened",
    "quoted": "printed in a published work that was not opened, but quoted by one that was",
    "computed": "computed from a unit cell, or by a general-purpose library",
    "derived": "derived from other rows of these tables",
    "memory": "from memory, not seen when the table was made",
    "practice": "common practice of the trade, no source",
    "assumed": "a choice of this project, with its reason",
    "house": "house assumption, no source: replace it by your own",
}


@dataclass(frozen=True)
class Constant:
    """A number of the method that no field changes.

    Parameters
    ----------
    what, value, source : str
        Name, figure with unit, and where it comes from.
    known : tuple of str
        How it is known; keys of `KNOWN`.
    """

    what: str
    value: str
    source: str
    known: tuple[str, ...]


def constants() -> tuple[Constant, ...]:
    """Every constant, in the order of the stages."""
    return (*_of_weighing(), *_of_metals(), *_of_judgement())


def _of_weighing() -> tuple[Constant, ...]:
    tanaka = "Tanaka et al., Metrologia 38 (2001) 301"
    return (
        Constant(
            "Density of pure water",
            "by formula, 0 to 40 °C",
            f"{tanaka}; the coefficients stand in two programs that cite it. Tests hold it against IAPWS-95.",
            ("quoted",),
        ),
        Constant("Densest water", f"{REFERENCE_WATER_G_CM3:.6f} g/cm³", tanaka, ("quoted",)),
        Constant(
            "Salts of tap water",
            f"0 to {TAP_SALTS_HIGH_G_CM3:g} g/cm³",
            "0 to about 0.65 g/L; 0.00076 g/cm³ for each g/kg by the equation of sea water, TEOS-10 (library gsw).",
            ("assumed", "computed"),
        ),
        Constant(
            "Density of moist air",
            "by formula",
            "OIML R 111-1:2004, (E.3-1). Tests hold it against CIPM-2007 (Picard et al., Metrologia 45 (2008) 149).",
            ("memory",),
        ),
        Constant("Standard air pressure", f"{STANDARD_PRESSURE_HPA:g} hPa", "ISO 2533:1975", ("memory",)),
        Constant(
            "Weights that balances are adjusted with",
            f"{ADJUSTMENT_WEIGHT_G_CM3:.3f} g/cm³",
            "OIML D 28:2004, conventional value of a weighing in air",
            ("quoted",),
        ),
        Constant(
            "Surface tension of water", f"{SURFACE_TENSION_N_M:g} N/m", "IAPWS R1-76: 0.0727 N/m at 20 °C", ("memory",)
        ),
        Constant("Free fall", f"{STANDARD_GRAVITY_M_S2:g} m/s²", "3rd CGPM (1901)", ("exact", "memory")),
        Constant(
            "Troy ounce",
            f"{G_PER_OZT:.7f} g",
            "12/175 of the pound of 453.59237 g: UK Weights and Measures Act 1985, Schedule 1",
            ("exact", "read"),
        ),
        Constant("Chip and rock", f"alike within an sd of {U_CHIP_LIKENESS_G_CM3:g} g/cm³", "no source", ("assumed",)),
    )


def _of_metals() -> tuple[Constant, ...]:
    alloy = materials.alloy_model()
    metals = materials.metals().values()
    return (
        *(
            Constant(f"Density of {m.label.lower()}", f"{m.density_g_cm3:.2f} g/cm³", m.source, m.status)
            for m in metals
        ),
        Constant(alloy.label, f"within an sd of {100 * alloy.u_relative_density:g} %", alloy.source, alloy.status),
    )


def _of_judgement() -> tuple[Constant, ...]:
    nash = "So much is left to each side at its end; the middle is Nash's equal split (Econometrica 18 (1950) 155)."
    return (
        Constant(
            "Seen, 19 times in 20",
            f"{K_95:g} sd",
            "Quantile of the normal distribution; L. A. Currie, Anal. Chem. 40 (1968) 586, and ISO 11929:2010",
            ("computed", "quoted"),
        ),
        Constant(
            "Draws",
            f"{1 << LOG2_DRAWS:,} in {N_COLUMNS} columns",
            "Scrambled Sobol' sequence (scipy.stats.qmc); propagation of distributions as in JCGM 101:2008",
            ("assumed",),
        ),
        Constant("Fair range", f"{100 * FAIR_SHARE:g} % of the surplus", nash, ("house",)),
        Constant(
            "Floor where nothing of the seller is known",
            f"{100 * ASSUMED_FLOOR_FRAC:g} % of melt value",
            "Said beside the quote wherever it is used.",
            ("house",),
        ),
        Constant(
            "Nearness of a sale",
            f"61 % at twice the gold or one grade apart; half after {AGE_HALF_LIFE_DAYS / 365:g} years",
            f"Under {LEAST_EFFECTIVE:g} effective sales are refused, under {FEW_EFFECTIVE:g} cautioned.",
            ("house",),
        ),
        Constant(
            "Quick rule",
            f"{QUICK_SUBMERGED:g} and {QUICK_DRY:g}",
            "A rule of thumb, shown only for comparison.",
            ("practice",),
        ),
        Constant(
            "Long rule",
            f"{LONG_HOST_G_CM3:g} and {LONG_CONSTANT:g}",
            "A rule of thumb, shown only for comparison.",
            ("practice",),
        ),
    )


@dataclass(frozen=True)
class Default:
    """What a field is taken as when nobody enters it."""

    what: str
    value: str
    source: str


def defaults() -> tuple[tuple[str, tuple[Default, ...]], ...]:
    """Every default that a quote prints as an assumption, by part of the request."""
    parts: dict[str, tuple[str, BaseModel]] = {
        # Any readings do: only the fields beside them are told.
        "Weighing": ("weighing", Weighing(dry_g=(2.0,), submerged_g=(1.0,), readability_g=0.1)),
        "Rock": ("rock", Rock(kind=next(iter(materials.rocks())))),
        "Chip": ("rock.chip", Chip(dry_g=(2.0,), submerged_g=(1.0,))),
        "Gold": ("gold", Gold()),
        "Price": ("spot", Spot(gold=1.0)),
        "Refiner": ("refiner", Refiner()),
        "Collector": ("collector", Collector.model_validate({"premium_frac": 0.0})),
        "House": ("buyer", Buyer()),
        "Seller": ("seller", Seller()),
        "Claim": ("seller.claim", Claim(mass=1.0)),
    }
    told = ((title, tuple(_defaults_of(section, path))) for title, (path, section) in parts.items())
    return tuple((title, rows) for title, rows in told if rows)


def _defaults_of(section: BaseModel, path: str) -> list[Default]:
    rows = []
    for name, field in type(section).model_fields.items():
        extra = field.json_schema_extra
        if not isinstance(extra, dict) or not extra["assumed"]:
            continue
        value = getattr(section, name)
        source, unit = str(extra["assumed"]), str(extra["unit"])
        words = MEANT.get(f"{path}.{name}", source) if value is None else value_words(value, unit)
        if unit.startswith("money"):
            words = words.replace("money", "of the currency") if value else "none"
        rows.append(Default(str(field.title), words, source))
    return rows


@dataclass(frozen=True)
class Held:
    """How often the 95 % range of fine gold held the truth, on simulated specimens.

    Parameters
    ----------
    case : str
        What was weighed, and how.
    every, seen, unseen : float
        Shares held: of all specimens, of those whose gold was seen by weight, of the others.
    count : int
        Specimens.
    """

    case: str
    every: float
    seen: float
    unseen: float
    count: int


# As recorded in tests/proofs/coverage.md; a test holds the two together.
COVERAGE = (
    Held("fist, suspended", 0.950, 0.951, 0.947, 2999),
    Held("fist, displaced", 0.947, 0.945, 0.976, 3000),
    Held("clear quartz, tap water of unknown temperature", 0.949, 0.950, 0.940, 2998),
    Held("well-known quartz and gold, tap water", 0.956, 0.956, 0.948, 3000),
    Held("vuggy, voids 0 to 4 %", 0.955, 0.956, 0.948, 3000),
    Held("host weighed by a chip", 0.945, 0.946, 0.942, 3000),
    Held("small piece, milligram balance, suspended", 0.947, 0.947, 0.945, 3000),
)
