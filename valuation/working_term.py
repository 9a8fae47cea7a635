"""Printed numbers and the arithmetic between them, as one would key it into a pocket calculator."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Context, Decimal
from typing import Self

from valuation.trade import Row

ROUNDINGS = {"round": ROUND_HALF_EVEN, "roundup": ROUND_CEILING, "rounddown": ROUND_FLOOR}
_SUM, _PRODUCT, _POWER, _ATOM = range(4)
_CALCULATOR = Context(prec=120)


class Constant(Row):
    """A number that a step takes from elsewhere.

    Parameters
    ----------
    value : str
        As printed in the expression, without a sign.
    name : str
        What it is, in plain words with its unit.
    source : str
        Where it comes from: ``entered``, an assumption, a published work, an earlier headline, the draws.
    """

    value: str
    name: str
    source: str


def plain(number: Decimal) -> str:
    """Digits of a number without an exponent, with a true minus sign."""
    return f"{abs(number) if number == 0 else number:f}".replace("-", "−")


def to_unit(number: Decimal, unit: Decimal, rounding: str = ROUND_HALF_EVEN) -> Decimal:
    """The number rounded to a whole multiple of `unit`."""
    places = _CALCULATOR.divide(number, unit).to_integral_value(rounding, _CALCULATOR)
    return _CALCULATOR.multiply(places, unit)


def to_decimals(number: Decimal, decimals: int, rounding: str = ROUND_HALF_EVEN) -> Decimal:
    """The number at so many decimals; -1 is whole tens."""
    rounded = number.quantize(Decimal(1).scaleb(-decimals), rounding, _CALCULATOR)
    return rounded if decimals >= 0 else rounded.quantize(Decimal(1), context=_CALCULATOR)


def to_digits(number: Decimal, digits: int, least_decimals: int = 0) -> Decimal:
    """The number at so many significant digits, but never short of `least_decimals`, without idle zeros."""
    if number == 0:
        return Decimal(0)
    short = to_decimals(number, max(least_decimals, digits - 1 - number.adjusted())).normalize(_CALCULATOR)
    return Decimal(f"{short:f}")


@dataclass(frozen=True)
class Term:
    """A printed number, or printed numbers joined by operations, with the value that these digits give.

    Parameters
    ----------
    text : str
        As printed: ``+ − × ÷ ^``, parentheses, ``min``, ``max``, ``exp``, ``ln`` and the roundings, whose arguments are
        parted by semicolons.
    value : Decimal
        Value of the text.
    rank : int
        How tightly the outermost operation binds.
    constants : tuple of Constant
        Where its numbers come from, unless they are results of earlier steps.
    skewed : tuple of str
        Inputs behind it whose likely value is not the middle of their range.
    """

    text: str
    value: Decimal
    rank: int = _ATOM
    constants: tuple[Constant, ...] = ()
    skewed: tuple[str, ...] = ()

    @classmethod
    def number(cls, value: Decimal, constants: tuple[Constant, ...] = (), skewed: tuple[str, ...] = ()) -> Self:
        """A number as it stands."""
        return cls(plain(value), value, _ATOM if value >= 0 else _SUM, constants, skewed)

    def _joined(self, text: str, value: Decimal, rank: int, *others: Term) -> Term:
        constants = dict.fromkeys([*self.constants, *(c for other in others for c in other.constants)])
        skewed = dict.fromkeys([*self.skewed, *(name for other in others for name in other.skewed)])
        return Term(text, value, rank, tuple(constants), tuple(skewed))

    def _at_least(self, rank: int) -> str:
        return self.text if self.rank >= rank else f"({self.text})"

    @property
    def _lone_minus(self) -> bool:
        """Whether this is a single negative number, whose sign can turn the operation before it."""
        return self.text == plain(self.value) and self.value < 0

    def __add__(self, other: Term | int) -> Term:
        b = _term(other)
        text = f"{self.text} − {b.text[1:]}" if b._lone_minus else f"{self.text} + {b.text}"
        return self._joined(text, _CALCULATOR.add(self.value, b.value), _SUM, b)

    def __sub__(self, other: Term | int) -> Term:
        b = _term(other)
        text = f"{self.text} + {b.text[1:]}" if b._lone_minus else f"{self.text} − {b._at_least(_PRODUCT)}"
        return self._joined(text, _CALCULATOR.subtract(self.value, b.value), _SUM, b)

    def __rsub__(self, other: int) -> Term:
        return _term(other) - self

    def __radd__(self, other: int) -> Term:
        return _term(other) + self

    def __mul__(self, other: Term | int) -> Term:
        b = _term(other)
        text = f"{self._at_least(_PRODUCT)} × {b._at_least(_PRODUCT)}"
        return self._joined(text, _CALCULATOR.multiply(self.value, b.value), _PRODUCT, b)

    def __truediv__(self, other: Term | int) -> Term:
        b = _term(other)
        text = f"{self._at_least(_PRODUCT)} ÷ {b._at_least(_POWER)}"
        return self._joined(text, _CALCULATOR.divide(self.value, b.value), _PRODUCT, b)

    def __rtruediv__(self, other: int) -> Term:
        return _term(other) / self

    def __neg__(self) -> Term:
        text = self.text[1:] if self._lone_minus else f"−{self._at_least(_PRODUCT)}"
        return self._joined(text, -self.value, _ATOM if self._lone_minus else _SUM)

    def __pow__(self, other: Term) -> Term:
        text = f"{self._at_least(_ATOM)} ^ {other._at_least(_ATOM)}"
        return self._joined(text, _CALCULATOR.power(self.value, other.value), _POWER, other)


def _term(number: Term | int) -> Term:
    return number if isinstance(number, Term) else Term.number(Decimal(number))


def _called(name: str, value: Decimal, first: Term, *others: Term) -> Term:
    return first._joined(f"{name}({'; '.join(t.text for t in (first, *others))})", value, _ATOM, *others)


def exp(power: Term) -> Term:
    """Base of natural logarithms to the power of the term."""
    return _called("exp", _CALCULATOR.exp(power.value), power)


def ln(number: Term) -> Term:
    """Natural logarithm of the term."""
    return _called("ln", _CALCULATOR.ln(number.value), number)


def least(first: Term, *others: Term) -> Term:
    """Smallest of the terms."""
    return _called("min", min(t.value for t in (first, *others)), first, *others)


def most(first: Term | int, *others: Term) -> Term:
    """Largest of the terms."""
    return _called("max", max(_term(t).value for t in (first, *others)), _term(first), *others)


def stepped(how: str, number: Term, unit: Term) -> Term:
    """The term rounded to whole multiples of `unit`.

    Parameters
    ----------
    how : str
        ``round`` (halves to the even multiple), ``roundup`` or ``rounddown``.
    number, unit : Term
        What is rounded, and to what.
    """
    return _called(how, to_unit(number.value, unit.value, ROUNDINGS[how]), number, unit)
