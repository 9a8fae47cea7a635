"""Graded qualities of a specimen -> a premium; the bands are data, and house assumptions."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from types import MappingProxyType

from valuation.spread import Bound, Spread

COVERAGE_FRAC = 0.80
LOG_PREMIUM = Bound(-20.0, math.log(51.0))


@dataclass(frozen=True)
class Grade:
    """What one grade of a quality does to ``1 + premium``: three factors that hold 8 times in 10."""

    label: str
    low: float
    likely: float
    high: float


@dataclass(frozen=True)
class Quality:
    """One quality that is graded by eye."""

    label: str
    grades: Mapping[str, Grade]


@dataclass(frozen=True)
class RubricProblem:
    """A quality or grade that the rubric does not have."""

    quality: str
    words: str


@cache
def qualities() -> Mapping[str, Quality]:
    """The graded qualities, by key, in the order of the table."""
    table = tomllib.loads(files("valuation").joinpath("premium_rubric.toml").read_text(encoding="utf-8"))
    return MappingProxyType(
        {
            key: Quality(row["label"], MappingProxyType({g: Grade(**band) for g, band in row["grades"].items()}))
            for key, row in table.items()
        }
    )


def problem_in(graded: Mapping[str, str]) -> RubricProblem | None:
    """The first thing wrong with a set of grades, or None."""
    if not graded:
        return RubricProblem(next(iter(qualities())), f"grade at least one of {', '.join(qualities())}")
    for quality, grade in graded.items():
        if quality not in qualities():
            return RubricProblem(quality, f"there is no quality “{quality[:40]}”; {_near(quality, qualities())}")
        grades = qualities()[quality].grades
        if grade not in grades:
            return RubricProblem(quality, f"“{grade[:40]}” is no grade of {quality}; {_near(grade, grades)}")
    return None


def _near(word: str, known: Mapping[str, object]) -> str:
    near = get_close_matches(word, list(known), 2, 0.5)
    return f"did you mean {' or '.join(near)}?" if near else f"known: {', '.join(known)}"


def log_premium(graded: Mapping[str, str]) -> Spread:
    """Spread of ``log(1 + premium)`` that a set of grades stands for.

    Parameters
    ----------
    graded : mapping of str to str
        Grade key by quality key; qualities left out change nothing.

    Returns
    -------
    Spread
        Two-piece normal with coverage 0.80.

    Notes
    -----
    Factors multiply, so likely logs add; half-widths are independent and add in squares.
    """
    bands = [qualities()[quality].grades[grade] for quality, grade in graded.items()]
    likely = sum(math.log(band.likely) for band in bands)
    down = math.sqrt(sum(math.log(band.likely / band.low) ** 2 for band in bands))
    up = math.sqrt(sum(math.log(band.high / band.likely) ** 2 for band in bands))
    return Spread(low=likely - down, likely=likely, high=likely + up, coverage_frac=COVERAGE_FRAC).within(LOG_PREMIUM)
