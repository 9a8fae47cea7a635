"""A seller's claim of so much gold: what would make it true, how likely, and how much of it is silver."""

from __future__ import annotations

import numpy as np

from valuation.draws import Draws
from valuation.gold import Alloy, GoldContent, drawn_alloy, native_density_g_cm3
from valuation.mass import G_PER_OZT
from valuation.observations import Gold
from valuation.refining import Lot
from valuation.spread import FINENESS, Floats
from valuation.summary import quantiles
from valuation.terms import Claim
from valuation.trade import ClaimReading, ClaimResult
from valuation.weighing import Weighed


def gold_claimed(claim: Claim, gold: Gold, draws: Draws) -> GoldContent:
    """Gold as claimed, doubted by how much of a claim is usually there and by what was meant.

    Notes
    -----
    Of a claim whose basis is unknown, half the draws take it for native gold and half for fine gold.
    """
    alloy = drawn_alloy(gold, draws)
    there = claim.grams * draws.of("claim_right", claim.right_frac)
    native = _native_of(claim, there, alloy, draws)
    most = np.inf if claim.piece_g is None else claim.piece_g
    full = (draws.n_all,)
    native = np.broadcast_to(native, full)
    return GoldContent(
        native_g=native,
        fine_g=native * alloy.fineness_frac,
        silver_g=native * alloy.silver_frac,
        possible=native <= most,
        host_g_cm3=None,
        solid_cm3=None,
        alloy=alloy,
    )


def _native_of(claim: Claim, there: Floats, alloy: Alloy, draws: Draws) -> Floats:
    if claim.basis == "native":
        return there
    as_fine = there / alloy.fineness_frac
    if claim.basis == "fine":
        return as_fine
    return np.where(draws.u("claim_basis") < 0.5, there, as_fine)


def checked_claim(
    claim: Claim,
    gold: Gold,
    lot: Lot,
    native_g: Floats,
    weighed: Weighed | None,
    content: GoldContent,
    gold_per_ozt: float,
) -> ClaimResult:
    """The claim held against what was weighed or measured.

    Parameters
    ----------
    claim : Claim
        What is said to be there.
    gold : Gold
        Fineness and copper share.
    lot : Lot
        Gold and silver of the draws that count.
    native_g : ndarray
        Native gold of those draws [g].
    weighed : Weighed or None
        Mass and volume, before dropping; None if the gold was measured elsewhere.
    content : GoldContent
        Gold before dropping, for the host's range and the solid volume.
    gold_per_ozt : float
        Spot [money/ozt].

    Returns
    -------
    ClaimResult
    """
    claimed = claim.grams
    median_native, median_fine = quantiles(native_g, 0.5)[0], quantiles(lot.fine_g, 0.5)[0]
    bases = ("native", "fine") if claim.basis == "unknown" else (claim.basis,)
    readings = []
    for basis in bases:
        host = _host_needed(claimed, basis, gold, weighed, content)
        readings.append(
            ClaimReading(
                basis=basis,
                chance=float(np.mean((native_g if basis == "native" else lot.fine_g) >= claimed)),
                fineness_needed_frac=_fineness_needed(claimed, median_native) if basis == "fine" else None,
                host_needed_g_cm3=host,
                host_within=None if host is None else _within(host, content.host_g_cm3),
            )
        )
    difference = claimed - median_fine
    as_gold = 0.0 if claim.basis == "fine" else max(0.0, min(difference, median_native - median_fine))
    rest = difference - as_gold
    per_g = gold_per_ozt / G_PER_OZT
    return ClaimResult(
        claimed_g=claimed,
        readings=tuple(readings),
        difference_g=difference,
        silver_called_gold_g=as_gold,
        silver_called_gold_money=as_gold * per_g,
        unexplained_g=rest,
        unexplained_money=rest * per_g,
        message=_message(claimed, median_fine, as_gold, rest, readings),
    )


def _fineness_needed(claimed_g: float, median_native_g: float) -> float | None:
    fineness = claimed_g / median_native_g if median_native_g > 0 else np.inf
    return float(fineness) if FINENESS.admits(fineness) else None


def _host_needed(
    claimed_g: float, basis: str, gold: Gold, weighed: Weighed | None, content: GoldContent
) -> float | None:
    """Rock density at which the likely weighing and fineness give the claimed gold.

    Notes
    -----
    From ``G (1 - rho_h / rho_n) = M - rho_h V_s``: ``rho_h = (M - G) / (V_s - G / rho_n)``.
    """
    if weighed is None or content.solid_cm3 is None:
        return None
    fineness = gold.fineness_frac.centre
    native = claimed_g if basis == "native" else claimed_g / fineness
    density = float(native_density_g_cm3(fineness, gold.copper_share_frac.centre))
    rock_g = float(np.median(weighed.mass_g)) - native
    rock_cm3 = float(np.median(content.solid_cm3)) - native / density
    return rock_g / rock_cm3 if rock_g > 0 and rock_cm3 > 0 else None


def _within(host: float, drawn: Floats | None) -> bool:
    assert drawn is not None
    return bool(np.nanmin(drawn) <= host <= np.nanmax(drawn))


def _message(claimed: float, median_fine: float, as_gold: float, rest: float, readings: list[ClaimReading]) -> str:
    likeliest = max(reading.chance for reading in readings)
    if claimed <= median_fine:
        return (
            f"The claim of {claimed:.4g} g is not above the median of {median_fine:.4g} g fine gold: it is likely true."
        )
    parts = []
    if as_gold > 0:
        parts.append(f"{as_gold:.3g} g of the difference is silver and copper of native gold counted as gold")
    if rest > 0:
        parts.append(f"{rest:.3g} g is more than the native gold that the figures allow")
    told = " and ".join(parts)
    return (
        f"The claim of {claimed:.4g} g is {claimed - median_fine:.3g} g above the median of {median_fine:.4g} g fine "
        f"gold: {told}. The chance that it is true is {likeliest:.0%}."
    )
