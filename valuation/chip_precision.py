"""How well a bare chip of the rock tells its density, on the balance that the piece was weighed on."""

from __future__ import annotations

import math

from valuation.gold import U_CHIP_LIKENESS_G_CM3
from valuation.observations import Weighing

CHIP_CM3 = 12.0
FINER_BY = 10.0


def reading_u_g(
    readability_g: float, repeatability_g: float | None = None, linearity_g: float | None = None, readings: int = 1
) -> float:
    """Standard uncertainty of a net reading [g].

    Parameters
    ----------
    readability_g : float
        Step of the balance [g].
    repeatability_g, linearity_g : float or None
        One step where not stated [g].
    readings : int
        Repeats.

    Notes
    -----
    ``u² = d² / 6 + s² / n + l² / 3``: a triangle for the rounding of two readings, repeatability, a rectangle.
    """
    s = readability_g if repeatability_g is None else repeatability_g
    bend = readability_g if linearity_g is None else linearity_g
    return math.sqrt(readability_g**2 / 6.0 + s**2 / readings + bend**2 / 3.0)


def chip_words(weighing: Weighing, host_g_cm3: float) -> str:
    """How well such a chip tells the rock on this balance, and what would tell it better."""
    finer = {
        name: step / FINER_BY
        for name in ("readability_g", "repeatability_g", "linearity_g")
        if (step := getattr(weighing, name)) is not None
    }
    u = chip_u_g_cm3(weighing, host_g_cm3)
    by_finer = chip_u_g_cm3(weighing.model_copy(update=finer), host_g_cm3)
    by_bigger = chip_u_g_cm3(weighing, host_g_cm3, 3.0 * CHIP_CM3)
    step, grams = weighing.readability_g, CHIP_CM3 * host_g_cm3
    told = f"On this balance, with steps of {step:g} g, a chip of {grams:.0f} g tells the rock's density to"
    told = f"{told} ± {u:.2g} g/cm³"
    if by_finer > 0.8 * u:
        return f"{told} (one standard deviation); how alike chip and rock are is most of that."
    return (
        f"{told} (one standard deviation). A chip three times as heavy would tell it to ± {by_bigger:.2g} g/cm³, a "
        f"balance with steps of {step / FINER_BY:g} g to ± {by_finer:.2g} g/cm³."
    )


def chip_u_g_cm3(weighing: Weighing, host_g_cm3: float, chip_cm3: float = CHIP_CM3) -> float:
    """Standard uncertainty of a density from a chip on this balance, three readings each [g/cm³].

    Parameters
    ----------
    weighing : Weighing
        Names the balance.
    host_g_cm3 : float
        Likely density of the rock [g/cm³].
    chip_cm3 : float
        Volume of the chip [cm³].

    Notes
    -----
    ``rho = W_a rho_w / (W_a - W_w)``, with water of 1 g/cm³: the wet reading counts by ``rho / V``, the dry one by
    ``(rho - 1) / V``; added to it how alike chip and rock are.
    """
    u = reading_u_g(weighing.readability_g, weighing.repeatability_g, weighing.linearity_g, readings=3)
    return math.hypot(u / chip_cm3 * math.hypot(host_g_cm3, host_g_cm3 - 1.0), U_CHIP_LIKENESS_G_CM3)
