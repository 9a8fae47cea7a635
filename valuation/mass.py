"""Mass units of the trade."""

from __future__ import annotations

from typing import Literal

MassUnit = Literal["ozt", "g", "kg", "tola"]
G_PER_OZT = 31.1034768
G_PER_TOLA = 11.6638038
_GRAMS: dict[str, float] = {"ozt": G_PER_OZT, "g": 1.0, "kg": 1000.0, "tola": G_PER_TOLA}


def grams_per(unit: MassUnit) -> float:
    """Grams in one mass unit of a price or a claim.

    References
    ----------
    Troy ounce: 12/175 of the pound of 453.59237 g, UK Weights and Measures Act 1985, Schedule 1 Part V.
    Tola: 180 troy grains since the Bengal Regulation VII of 1833 (from memory); a grain is 0.06479891 g, the
    7000th part of the same pound (NIST SP 811, Appendix B.8).
    """
    return _GRAMS[unit]
