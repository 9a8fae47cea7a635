"""Can this weighing see gold at all; what would fake or hide it; what the hand rules say."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from valuation import materials
from valuation.gold import COPPER_G_CM3, GOLD_G_CM3, SILVER_G_CM3, GoldContent
from valuation.mass import G_PER_OZT
from valuation.observations import Gold, Weighing
from valuation.result import Detection, HandRule
from valuation.spread import Floats
from valuation.summary import quantiles

K_95 = 1.645
QUICK_SUBMERGED, QUICK_DRY = 3.1, 1.9
LONG_HOST_G_CM3, LONG_CONSTANT, LONG_G_PER_OZT = 2.63, 25.97, 31.103
VOLUME_PER_CENT = 0.01


def detection(content: GoldContent, mass_g: Floats) -> Detection:
    """Decision threshold and detection limit of native gold for this weighing, before conditioning.

    Notes
    -----
    ``u0`` is the standard deviation of ``(M - rho_h V_s - its median) / (1 - rho_h / rho_n)``: the scatter of the
    estimate if there were no gold. ``y* = 1.645 u0``; with ``u_K`` the relative standard deviation of
    ``1 / (1 - rho_h / rho_n)`` the limit is ``2 y* / (1 - 1.645² u_K²)``.

    References
    ----------
    L. A. Currie, Anal. Chem. 40 (1968) 586; ISO 11929:2010 (decision threshold and detection limit).
    """
    assert content.host_g_cm3 is not None and content.solid_cm3 is not None
    valid = np.isfinite(content.native_g)
    excess = np.broadcast_to(mass_g - content.host_g_cm3 * content.solid_cm3, valid.shape)[valid]
    slope = np.broadcast_to(1.0 / (1.0 - content.host_g_cm3 / content.alloy.density_g_cm3), valid.shape)[valid]
    native = content.native_g[valid]
    u0 = float(np.std((excess - quantiles(excess, 0.5)[0]) * slope))
    u_slope = float(np.std(slope) / np.mean(slope))
    estimate = quantiles(native, 0.5)[0]
    return threshold(estimate, u0, u_slope)


def threshold(estimate_g: float, u0_g: float, u_slope_rel: float) -> Detection:
    """Critical value, detection limit and verdict from an estimate and its uncertainties.

    Parameters
    ----------
    estimate_g : float
        Estimate y.
    u0_g : float
        Standard uncertainty of the estimate if the true value were zero.
    u_slope_rel : float
        Relative standard uncertainty of the factor between indication and estimate.

    Returns
    -------
    Detection
        `limit_g` is None where none exists.
    """
    critical = K_95 * u0_g
    room = 1.0 - (K_95 * u_slope_rel) ** 2
    return Detection(
        estimate_g=estimate_g,
        critical_g=critical,
        limit_g=2.0 * critical / room if room > 0.0 else None,
        seen=estimate_g > critical,
    )


@dataclass(frozen=True)
class _Typical:
    """Likely densities and volume of this piece, for the look-alikes."""

    host_g_cm3: float
    native_g_cm3: float
    volume_cm3: float

    def faked_g(self, extra_g_cm3: float, volume_cm3: float) -> float:
        """Grams of native gold that this much denser matter would feign."""
        return extra_g_cm3 * volume_cm3 / (1.0 - self.host_g_cm3 / self.native_g_cm3)


def false_gold_g(content: GoldContent, volume_cm3: Floats) -> dict[str, float]:
    """Grams of native gold that look-alikes in this piece would feign, or hide.

    Returns
    -------
    dict
        Of 1 % by volume of pyrite (``pyrite_g``); of 1 cm³ each of galena, lead, brass, tungsten; hidden by 1 % of
        voids (``void_g``); hidden by 1 cm³ of resin or glue.
    """
    assert content.host_g_cm3 is not None
    host = float(np.nanmean(content.host_g_cm3))
    typical = _Typical(host, float(np.mean(content.alloy.density_g_cm3)), float(np.mean(volume_cm3)))
    share = VOLUME_PER_CENT * typical.volume_cm3
    grams = {"void_g": typical.faked_g(host, share)}
    for key, row in materials.lookalikes().items():
        heavier = row.density_g_cm3.likely - host
        volume = share if key == "pyrite" else 1.0
        grams[f"{key}_g"] = typical.faked_g(heavier if row.effect == "fakes" else -heavier, volume)
    return grams


def hand_rules(weighing: Weighing, gold: Gold, median_fine_g: float, gold_per_ozt: float) -> list[HandRule]:
    """Two rules of thumb for the same readings, and what each silently assumes.

    Parameters
    ----------
    weighing : Weighing
        Readings.
    gold : Gold
        Copper share that turns an assumed density into an assumed fineness.
    median_fine_g : float
        This quote's median fine gold [g].
    gold_per_ozt : float
        Spot [money/ozt].

    Returns
    -------
    list of HandRule
        `money_difference` is what counting the rule's native gold as fine gold would add to the melt value.

    Notes
    -----
    Quick rule, grams: ``3.1 W_w - 1.9 W_a``. Long rule, troy ounces: ``(W_a - 2.63 (W_a - W_w)) / 25.97``.
    Common practice, no source.
    """
    dry = float(np.mean(weighing.dry_g))
    wet = float(np.mean(weighing.wet_g))
    submerged = wet if weighing.method == "suspended" else dry - wet
    k = QUICK_SUBMERGED - QUICK_DRY
    quick_host = QUICK_SUBMERGED / k
    found = [
        ("quick", QUICK_SUBMERGED * submerged - QUICK_DRY * dry, quick_host, quick_host / (1.0 - 1.0 / k)),
        (
            "long",
            (dry - LONG_HOST_G_CM3 * (dry - submerged)) / LONG_CONSTANT * LONG_G_PER_OZT,
            LONG_HOST_G_CM3,
            LONG_HOST_G_CM3 / (1.0 - LONG_CONSTANT / LONG_G_PER_OZT),
        ),
    ]
    copper = gold.copper_share_frac.centre
    return [
        HandRule(
            rule=rule,
            native_g=native,
            assumed_host_g_cm3=host,
            assumed_native_g_cm3=density,
            assumed_fineness_frac=fineness_of_density(density, copper),
            money_difference=(native - median_fine_g) / G_PER_OZT * gold_per_ozt,
        )
        for rule, native, host, density in found
    ]


def fineness_of_density(native_g_cm3: float, copper_share_frac: float) -> float | None:
    """Fineness of the ideal alloy of that density; None if no alloy of these metals has it."""
    rest = (1.0 - copper_share_frac) / SILVER_G_CM3 + copper_share_frac / COPPER_G_CM3
    fineness = (1.0 / native_g_cm3 - rest) / (1.0 / GOLD_G_CM3 - rest)
    return fineness if 0.0 < fineness <= 1.0 and math.isfinite(fineness) else None
