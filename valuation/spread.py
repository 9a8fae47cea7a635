"""An input quantity that is not known exactly, and how it is drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    PrivateAttr,
    SerializerFunctionWrapHandler,
    model_serializer,
    model_validator,
)
from pydantic_core import PydanticCustomError
from scipy.special import ndtr, ndtri

from valuation.number import Number

Floats = NDArray[np.float64]
SMALLEST_U = 2.0**-32
LEAST_INSIDE = 0.9
MOST_CUT_UNSAID = 0.001

Kind = Literal["exact", "normal", "rectangular", "triangular", "two_piece"]


@dataclass(frozen=True)
class Bound:
    """Physical limits of a quantity; an open end excludes the limit itself.

    Parameters
    ----------
    low, high : float
        Limits, in the quantity's unit.
    open_low, open_high : bool
        Whether the limit itself is impossible.
    """

    low: float
    high: float
    open_low: bool = False
    open_high: bool = False

    def admits(self, x: float) -> bool:
        """Whether `x` is possible."""
        above = x > self.low if self.open_low else x >= self.low
        return above and (x < self.high if self.open_high else x <= self.high)

    def __str__(self) -> str:
        low = "above" if self.open_low else "from"
        high = "and below" if self.open_high else "up to"
        return f"{low} {_plain(self.low)} {high} {_plain(self.high)}"


def _plain(limit: float) -> str:
    """A limit without an exponent, its thousands set apart."""
    return f"{limit:,.0f}".replace(",", " ") if abs(limit) >= 1e4 else f"{limit:g}"


ANY = Bound(-math.inf, math.inf)


@cache
def _coverage_factor(coverage_frac: float) -> float:
    return float(ndtri((1.0 + coverage_frac) / 2.0))


class Spread(BaseModel):
    """A quantity as a value or a range of values, with the shape of its doubt.

    One of: ``x`` or ``{value}`` exact; ``{value, sd}`` normal; ``{low, high}`` rectangular; ``{low, likely, high}``
    triangular; ``{low, likely, high, coverage_frac}`` two-piece normal with median `likely`, each half's standard
    deviation putting its end at that symmetric coverage.

    Notes
    -----
    A distribution is truncated to its bound, never clipped: ``x = Finv(F(lo) + u (F(hi) - F(lo)))``.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    value: Number | None = None
    sd: Number | None = None
    low: Number | None = None
    likely: Number | None = None
    high: Number | None = None
    coverage_frac: Number | None = None
    _bound: Bound = PrivateAttr(default=ANY)

    @model_validator(mode="before")
    @classmethod
    def _from_scalar(cls, entered: Any) -> Any:
        if isinstance(entered, dict):
            return {k: v for k, v in entered.items() if v is not None and not (isinstance(v, str) and not v.strip())}
        if isinstance(entered, Spread):
            return entered
        return {"value": entered}

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        given = {n for n in ("value", "sd", "low", "likely", "high", "coverage_frac") if getattr(self, n) is not None}
        if given not in _KINDS:
            raise PydanticCustomError("spread", _missing_words(given), {"given": ", ".join(sorted(given)) or "nothing"})
        if self.sd is not None and self.sd <= 0:
            raise PydanticCustomError(
                "spread", "the standard deviation must be above 0; leave it out for an exact value"
            )
        # Closer to 1 than a float tells apart, its halves would have no width.
        if self.coverage_frac is not None and not 0.5 < (1.0 + self.coverage_frac) / 2.0 < 1.0:
            raise PydanticCustomError("spread", "coverage is a fraction above 0 and below 1, such as 0.95")
        self._check_order()
        return self

    def _check_order(self) -> None:
        if self.low is None or self.high is None:
            return
        likely = self.low if self.likely is None else self.likely
        if not self.low <= likely <= self.high:
            raise PydanticCustomError("spread", "write the ends in rising order: low, likely, high")
        if self.coverage_frac is not None and not self.low < likely < self.high:
            raise PydanticCustomError("spread", "with a coverage, likely must lie between low and high, not on an end")

    @model_serializer(mode="wrap")
    def _short(self, handler: SerializerFunctionWrapHandler) -> Any:
        full = {k: v for k, v in handler(self).items() if v is not None}
        return full["value"] if set(full) == {"value"} else full

    @property
    def kind(self) -> Kind:
        """Shape of the distribution; equal ends count as exact."""
        if self.value is not None:
            return "exact" if self.sd is None else "normal"
        if self.low == self.high:
            return "exact"
        if self.likely is None:
            return "rectangular"
        return "triangular" if self.coverage_frac is None else "two_piece"

    @property
    def bound(self) -> Bound:
        """Physical limits that the draws keep to."""
        return self._bound

    @property
    def centre(self) -> float:
        """The likely value: `likely`, `value`, or the middle of a rectangle."""
        if self.value is not None:
            return self.value
        if self.likely is not None:
            return self.likely
        assert self.low is not None and self.high is not None
        return (self.low + self.high) / 2.0

    def fixed(self) -> Self:
        """An exact quantity at the likely value, in the same bound."""
        return type(self)(value=self.centre).within(self._bound)

    @property
    def longest(self) -> float:
        """Upper end: `high` of a rectangular or triangular spread, else the 97.5 % quantile."""
        if self.kind in ("rectangular", "triangular", "exact"):
            return self.centre if self.high is None else min(self.high, self._bound.high)
        return float(self.drawn(np.array([0.975]))[0])

    def within(self, bound: Bound) -> Self:
        """Copy of this spread that is truncated to `bound`.

        Raises
        ------
        PydanticCustomError
            Under 0.9 of the probability lies inside, or the likely value does not.
        """
        centre = f"{self.centre:.10g}"
        if not bound.admits(self.centre):
            words = "{centre} is out of range: must lie {bound}"
            raise PydanticCustomError("bound", words, {"centre": centre, "bound": str(bound)})
        inside = 1.0 if self.kind == "exact" else self._inside(bound)
        if inside < LEAST_INSIDE:
            context = {"centre": centre, "outside": f"{1.0 - inside:.0%}", "bound": str(bound)}
            words = "{outside} of the range around {centre} is out of what is possible: must lie {bound}"
            raise PydanticCustomError("bound", words, context)
        bounded = self.model_copy()
        bounded._bound = bound
        return bounded

    @property
    def cut_frac(self) -> float:
        """Share of the probability that the bound cut off."""
        return 0.0 if self.kind == "exact" else max(0.0, 1.0 - self._inside(self._bound))

    def _inside(self, bound: Bound) -> float:
        return self.below(bound.high) - self.below(bound.low)

    def below(self, x: float) -> float:
        """Probability under `x`, before truncation."""
        if math.isinf(x):
            return 0.0 if x < 0 else 1.0
        if self.kind == "exact":
            return float(x >= self.centre)
        if self.kind == "normal":
            assert self.value is not None and self.sd is not None
            return float(ndtr((x - self.value) / self.sd))
        assert self.low is not None and self.high is not None
        if self.kind == "two_piece":
            return float(ndtr((x - self.centre) / (self._lower_sd if x < self.centre else self._upper_sd)))
        x = min(max(x, self.low), self.high)
        if self.kind == "rectangular":
            return (x - self.low) / (self.high - self.low)
        return self._triangular_below(x)

    def _triangular_below(self, x: float) -> float:
        assert self.low is not None and self.high is not None
        low, mode, high = self.low, self.centre, self.high
        if x <= mode:
            return 0.0 if mode == low else (x - low) ** 2 / ((high - low) * (mode - low))
        return 1.0 - (high - x) ** 2 / ((high - low) * (high - mode))

    @property
    def _lower_sd(self) -> float:
        assert self.low is not None and self.coverage_frac is not None
        return (self.centre - self.low) / _coverage_factor(self.coverage_frac)

    @property
    def _upper_sd(self) -> float:
        assert self.high is not None and self.coverage_frac is not None
        return (self.high - self.centre) / _coverage_factor(self.coverage_frac)

    def drawn(self, u: Floats, z: Floats | None = None) -> Floats:
        """Values of the quantity at the probabilities `u`.

        Parameters
        ----------
        u : ndarray, shape (n,)
            Probabilities in (0, 1).
        z : ndarray, shape (n,), optional
            Standard normal quantiles of `u`, if already known; used where nothing is cut off.

        Returns
        -------
        ndarray
            Shape (n,), or () for an exact quantity.
        """
        if self.kind == "exact":
            return np.float64(self.centre)  # type: ignore[return-value]
        under, upto = self.below(self._bound.low), self.below(self._bound.high)
        whole = under <= 0.0 and upto >= 1.0
        p = u if whole else np.clip(under + u * (upto - under), SMALLEST_U, 1.0 - SMALLEST_U)
        if self.kind in ("normal", "two_piece"):
            quantile = z if whole and z is not None else ndtri(p)
            if self.value is not None and self.sd is not None:
                return np.asarray(self.value + self.sd * quantile)
            return np.asarray(self.centre + quantile * np.where(quantile < 0.0, self._lower_sd, self._upper_sd))
        assert self.low is not None and self.high is not None
        if self.kind == "rectangular":
            return self.low + p * (self.high - self.low)
        return _triangular_quantile(p, self.low, self.centre, self.high)


_KINDS = (
    {"value"},
    {"value", "sd"},
    {"low", "high"},
    {"low", "likely", "high"},
    {"low", "likely", "high", "coverage_frac"},
)


def _missing_words(given: set[str]) -> str:
    if not given:
        return "give a value, or low and high"
    if "value" in given:
        return "give a value (with sd if it is doubtful) or low and high, not both; got {given}"
    if "low" in given and "high" not in given:
        return "low is given but high is not; give both ends"
    if "high" in given and "low" not in given:
        return "high is given but low is not; give both ends"
    return "give a value; value and sd; low and high; or low, likely and high (coverage_frac with these); got {given}"


def _triangular_quantile(p: Floats, low: float, mode: float, high: float) -> Floats:
    width = high - low
    rising = p * width < mode - low
    root = np.sqrt(np.where(rising, p * (width * (mode - low)), (1.0 - p) * (width * (high - mode))))
    return np.where(rising, low + root, high - root)


FRACTION = Bound(0.0, 1.0)
FINENESS = Bound(0.0, 1.0, open_low=True)
VOIDS = Bound(0.0, 0.5, open_high=True)
DENSITY_G_CM3 = Bound(0.5, 8.0, open_low=True)
MONTHS = Bound(0.0, 120.0)
PREMIUM = Bound(-1.0, 50.0)
CLAIM_SHARE = Bound(0.0, 2.0)
WATER_DEGC = Bound(0.0, 40.0)
AIR_DEGC = Bound(-10.0, 50.0)
PRESSURE_HPA = Bound(500.0, 1100.0)
POSITIVE_G = Bound(0.0, 1e6, open_low=True)
MONEY = Bound(0.0, 1e10)
LENGTH_MM = Bound(0.0, 1000.0)


def _kept_to(bound: Bound) -> AfterValidator:
    return AfterValidator(lambda spread: spread.within(bound))


Fraction = Annotated[Spread, _kept_to(FRACTION)]
Fineness = Annotated[Spread, _kept_to(FINENESS)]
Voids = Annotated[Spread, _kept_to(VOIDS)]
Density = Annotated[Spread, _kept_to(DENSITY_G_CM3)]
Months = Annotated[Spread, _kept_to(MONTHS)]
Premium = Annotated[Spread, _kept_to(PREMIUM)]
ClaimShare = Annotated[Spread, _kept_to(CLAIM_SHARE)]
WaterTemperature = Annotated[Spread, _kept_to(WATER_DEGC)]
AirTemperature = Annotated[Spread, _kept_to(AIR_DEGC)]
Pressure = Annotated[Spread, _kept_to(PRESSURE_HPA)]
Grams = Annotated[Spread, _kept_to(POSITIVE_G)]
Money = Annotated[Spread, _kept_to(MONEY)]
Length = Annotated[Spread, _kept_to(LENGTH_MM)]
