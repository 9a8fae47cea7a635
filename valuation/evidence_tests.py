"""Tests that might be made before the deal: what each would measure, how well, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, model_validator
from pydantic_core import PydanticCustomError

from valuation.chip_precision import CHIP_CM3, FINER_BY, chip_u_g_cm3, chip_words, reading_u_g
from valuation.field import Section, refuse_all, said
from valuation.number import blank_is_none
from valuation.observations import MAX_READINGS, OptionalNumber, Weighing

TestKind = Literal["chip", "fineness", "repeats", "water_temperature", "finer_balance"]
MAX_TESTS = 20

DEFAULT_READINGS = 5
# 0.0065 is the root mean square of 15 melted lots, hand-held X-ray fluorescence against fire assay, tabled at
# agmetals.com/handheld-xrf-vs-fire-assay; the rest, for grains that differ and rims unlike the core, an assumption.
U_FINENESS_FRAC = 0.015
U_TEMPERATURE_DEGC = 0.3
GOLD_G_PER_HOUR = 0.5
_ASSUMPTION = "assumption, no source"
_IN_GOLD = f"{_ASSUMPTION}: {GOLD_G_PER_HOUR:g} g of fine gold an hour, so that it holds in any currency"
_OF_FINENESS = (
    "0.0065 in 15 melted lots against fire assay (agmetals.com, Handheld XRF vs. fire assay); the rest, for grains "
    "that differ and rims unlike the core, is an assumption"
)

OptionalFlag = Annotated[bool | None, BeforeValidator(blank_is_none)]


@dataclass(frozen=True)
class Usual:
    """What is usual of one kind of test; every figure of it an assumption unless a source is named.

    Parameters
    ----------
    minutes : float
        Time that it takes.
    fee_g : float
        What it costs besides time, in grams of fine gold at spot, so that it holds in any currency.
    premium_lost_frac : float
        Share of the collector's premium that it costs.
    needs_consent : bool
        Whether the owner must agree first.
    precision : str
        Name of the field that holds how well it measures.
    """

    minutes: float
    fee_g: float
    premium_lost_frac: float
    needs_consent: bool
    precision: str


USUAL: dict[TestKind, Usual] = {
    "chip": Usual(15.0, 0.0, 0.05, True, "u_g_cm3"),
    "fineness": Usual(20.0, 0.25, 0.0, True, "u_frac"),
    "repeats": Usual(10.0, 0.0, 0.0, False, "readings"),
    "water_temperature": Usual(3.0, 0.0, 0.0, False, "u_degc"),
    "finer_balance": Usual(15.0, 0.0, 0.0, False, "u_g"),
}
LABELS: dict[TestKind, str] = {
    "chip": "Bare chip",
    "fineness": "X-ray of the gold",
    "repeats": "Weighing again",
    "water_temperature": "Water temperature",
    "finer_balance": "Finer balance",
}
SAFETY: dict[TestKind, tuple[str, ...]] = {
    "chip": (
        "Take a chip that has come off by itself if you can. Breaking quartz throws splinters and fine silica dust, "
        "which scars the lungs: eye protection, a mask rated for silica, wet work, and somebody trained for it.",
        "A broken piece stays broken: agree with its owner, in writing, on where it is taken from.",
    ),
    "fineness": (
        "X-rays harm whoever is in the beam: only under licence, by trained staff, never on a piece held in the hand.",
        "It reads the skin of the grain under the window; agree with the owner before the piece leaves the counter.",
    ),
    "repeats": ("Dry the piece and brush off bubbles between the readings.",),
    "water_temperature": ("Leave no mercury thermometer near an open vessel: a spirit or electronic one will do.",),
    "finer_balance": ("Keep within the balance's capacity, and hang a heavy piece so that it cannot fall.",),
}
_PRECISIONS = tuple(usual.precision for usual in USUAL.values())


class EvidenceTest(Section):
    """One more test of the piece that could be made before the deal."""

    kind: TestKind = said(
        "Test",
        "chip: weigh a bare chip of the rock. fineness: X-ray fluorescence on the gold. repeats: weigh again. "
        "water_temperature: measure it. finer_balance: weigh on a finer balance.",
    )
    u_g_cm3: OptionalNumber = said(
        "How well the chip tells the rock's density",
        "Standard uncertainty, for a chip; left out: worked out from the balance and a chip of 12 cm³.",
        unit="g/cm³",
        default=None,
        gt=0,
        le=1,
    )
    u_frac: OptionalNumber = said(
        "How well fineness is measured", "Standard uncertainty.", unit="frac", default=None, gt=0, le=0.5
    )
    readings: OptionalNumber = said(
        "Further readings",
        "How often it is weighed again, dry and under water.",
        default=None,
        ge=1,
        le=MAX_READINGS,
    )
    u_degc: OptionalNumber = said(
        "How well the water's temperature is measured", "Standard uncertainty.", unit="°C", default=None, gt=0, le=20
    )
    u_g: OptionalNumber = said(
        "How well the finer balance reads", "Standard uncertainty of one reading.", unit="g", default=None, gt=0, le=100
    )
    minutes: OptionalNumber = said("Time", "That the test takes.", unit="minutes", default=None, ge=0, le=1e6)
    cost: OptionalNumber = said(
        "Cost", "Of the test to the house, time and fees together.", unit="money", default=None, ge=0, le=1e9
    )
    premium_lost_frac: OptionalNumber = said(
        "Damage", "Share of the collector's premium that it costs.", unit="frac", default=None, ge=0, le=1
    )
    needs_consent: OptionalFlag = said("Needs the owner's consent", "Before it is made.", default=None)
    safety: str = said("Safety", "A caution of your own, beside the usual ones.", default="", max_length=300)

    @model_validator(mode="after")
    def _own_precision(self) -> Self:
        own = USUAL[self.kind].precision
        found = []
        for name in _PRECISIONS:
            if name != own and getattr(self, name) is not None:
                words = "{name} does not belong to the test “{kind}”, which takes {own}"
                context = {"name": name, "kind": self.kind, "own": own, "field": name}
                found.append(PydanticCustomError("precision", words, context))
        if self.readings is not None and self.readings != int(self.readings):
            found.append(PydanticCustomError("count", "a whole number of readings is needed", {"field": "readings"}))
        refuse_all(self, found)
        return self


@dataclass(frozen=True)
class TestTerms:
    """A test with every figure settled.

    Parameters
    ----------
    kind : str
        As in `EvidenceTest`.
    u : float or None
        Standard uncertainty of what it measures, in `unit`; None where there is nothing weighed to take it from.
    unit : str
        Unit of `u`.
    readings : int or None
        Further readings, for repeats.
    minutes, cost, premium_lost_frac : float
        Time [min], money, share of the premium.
    needs_consent : bool
        Whether the owner must agree.
    safety : str
        The caution that was entered.
    precision : str
        What `u` comes from, of a chip whose own was left out.
    assumed : tuple of (str, str, str)
        Name, value and source of every figure that nobody entered.
    """

    __test__ = False

    kind: TestKind
    u: float | None
    unit: str
    readings: int | None
    minutes: float
    cost: float
    premium_lost_frac: float
    needs_consent: bool
    safety: str
    precision: str
    assumed: tuple[tuple[str, str, str], ...]


def default_tests() -> tuple[EvidenceTest, ...]:
    """One of every kind, all at their usual figures."""
    return tuple(EvidenceTest(kind=kind) for kind in USUAL)


def settled_terms(
    test: EvidenceTest, weighing: Weighing | None, money_per_g: float, host_g_cm3: float, currency: str
) -> TestTerms:
    """The test with what is usual in place of what was left out.

    Parameters
    ----------
    test : EvidenceTest
        As entered.
    weighing : Weighing or None
        How the piece was weighed; None if it was not.
    money_per_g : float
        Spot price of fine gold [money/g].
    host_g_cm3 : float
        Likely density of the rock [g/cm³].
    currency : str
        Of the money.
    """
    usual = USUAL[test.kind]
    assumed: list[tuple[str, str, str]] = []

    def of(entered: float | None, default: float, name: str, words: str) -> float:
        if entered is not None:
            return entered
        if default > 0:
            assumed.append((name, words, _IN_GOLD if name == "cost" else _ASSUMPTION))
        return default

    u, unit, told = _precision(test, weighing, host_g_cm3)
    if told:
        assumed.append(told)
    minutes = of(test.minutes, usual.minutes, "time", f"{usual.minutes:g} min")
    fee = f" and {usual.fee_g * money_per_g:,.0f} {currency} for the instrument" if usual.fee_g else ""
    each = f"{GOLD_G_PER_HOUR * money_per_g:,.0f} {currency} for an hour's work"
    grams = GOLD_G_PER_HOUR * minutes / 60.0 + usual.fee_g
    cost = of(test.cost, grams * money_per_g, "cost", f"{grams * money_per_g:,.0f} {currency}, at {each}{fee}")
    share = usual.premium_lost_frac
    lost = of(test.premium_lost_frac, share, "damage", f"{share:.0%} of the collector's premium")
    consent = usual.needs_consent if test.needs_consent is None else test.needs_consent
    return TestTerms(
        kind=test.kind,
        u=u,
        unit=unit,
        readings=int(test.readings or DEFAULT_READINGS) if test.kind == "repeats" else None,
        minutes=minutes,
        cost=cost,
        premium_lost_frac=lost,
        needs_consent=consent,
        safety=test.safety,
        precision=chip_words(weighing, host_g_cm3) if told and test.kind == "chip" and weighing else "",
        assumed=tuple(assumed),
    )


def _precision(
    test: EvidenceTest, weighing: Weighing | None, host_g_cm3: float
) -> tuple[float | None, str, tuple[str, str, str] | None]:
    """Standard uncertainty, unit, and the assumption that it rests on if it was left out."""
    name = "standard uncertainty"
    if test.kind == "fineness":
        told = (name, f"{U_FINENESS_FRAC:.1%}", _OF_FINENESS)
        return test.u_frac or U_FINENESS_FRAC, "frac", None if test.u_frac else told
    if test.kind == "water_temperature":
        told = (name, f"{U_TEMPERATURE_DEGC:g} °C", f"{_ASSUMPTION}: a household thermometer")
        return test.u_degc or U_TEMPERATURE_DEGC, "°C", None if test.u_degc else told
    if weighing is None:
        return None, "", None
    if test.kind == "chip":
        u = chip_u_g_cm3(weighing, host_g_cm3)
        told = (name, f"{u:.2g} g/cm³", f"{_ASSUMPTION}: a chip of {CHIP_CM3:g} cm³ on this balance, read three times")
        return test.u_g_cm3 or u, "g/cm³", None if test.u_g_cm3 else told
    if test.kind == "finer_balance":
        u = reading_u_g(weighing.readability_g / FINER_BY)
        told = (name, f"{u:.2g} g", f"{_ASSUMPTION}: a tenth of this balance's step")
        return test.u_g or u, "g", None if test.u_g else told
    told = ("further readings", f"{DEFAULT_READINGS}", _ASSUMPTION)
    return None, "g", None if test.readings else told
