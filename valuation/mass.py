"""Mass units of the trade."""

from __future__ import annotations

from typing import Literal

MassUnit = Literal["ozt", "g", "kg"]
G_PER_OZT = 31.1034768
_GRAMS: dict[str, float] = {"ozt": G_PER_OZT, "g": 1.0, "kg": 1000.0}


def grams_per(unit: MassUnit) -> float:
    """Grams in one mass unit of a price or a claim.

    References
    ----------
    Troy ounce: 12/175 of the pound of 453.59237 g, UK Weights and Measures Act 1985, Schedule 1 Part V.
    """
    return _GRAMS[unit]
