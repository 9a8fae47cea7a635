"""A seller's claim of so much gold: what would make it true, how likely, and how much of it is silver."""

from __future__ import annotations

import numpy as np

from valuation.draws import Draws
from valuation.gold import COPPER_G_CM3, GOLD_G_CM3, SILVER_G_CM3, Alloy, GoldContent, content_of, drawn_alloy
from valuation.mass import G_PER_OZT
from valuation.observations import Gold
from valuation.refining import Lot
from valuation.spread import DENSITY_G_CM3, FINENESS, POSITIVE_G, Floats
from valuation.summary import quantiles
from valuation.terms import Claim
from valuation.trade import ClaimReading, ClaimResult
from valuation.weighing import Weighed
from valuation.words import chance_words, grams_words


def gold_claimed(claim: Claim, gold: Gold, draws: Draws) -> GoldContent:
    """Gold as claimed, doubted by how much of a claim is usually there and by what was meant.

    Notes
    -----
    Of a claim whose basis is unknown, half the draws take it for native gold and half for fine gold.
    """
    alloy = drawn_alloy(gold, draws)
    there = claim.grams * draws.of("claim_right", claim.right_frac)
    native = _native_of(claim, there, alloy, draws)
    most = POSITIVE_G.high if claim.piece_g is None else claim.piece_g
    return content_of(native, alloy, native <= most, None, None, draws)


def _native_of(claim: Claim, there: Floats, alloy: Alloy, draws: Draws) -> Floats:
    if claim.basis == "native":
        return there
    with np.errstate(over="ignore"):
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
    *,
    seen: bool,
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
    seen : bool
        Whether gold was seen by weight, or measured elsewhere.

    Returns
    -------
    ClaimResult
    """
    claimed = claim.grams
    median_native, median_fine = quantiles(native_g, 0.5)[0], quantiles(lot.fine_g, 0.5)[0]
    bases = ("native", "fine") if claim.basis == "unknown" else (claim.basis,)
    readings = []
    for basis in bases:
        host = _host_needed(claimed, basis, weighed, content)
        readings.append(
            ClaimReading(
                basis=basis,
                chance=float(np.mean((native_g if basis == "native" else lot.fine_g) >= claimed)),
                fineness_needed_frac=_fineness_needed(claimed, median_native, gold, weighed, content)
                if basis == "fine"
                else None,
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
        message=_message(claimed, median_fine, median_native, as_gold, readings, seen=seen),
    )


def _fineness_needed(
    claimed_g: float, median_native_g: float, gold: Gold, weighed: Weighed | None, content: GoldContent
) -> float | None:
    """Fineness at which the likely readings and rock hold the claimed fine gold.

    Notes
    -----
    Finer gold is denser, so the same readings hold less of it: ``f D = C (1 - rho_h / rho_n(f))`` with
    ``D = M - rho_h V_s``, C the claim and ``1 / rho_n(f) = k + f (1 / rho_gold - k)``, k the specific volume of what is
    not gold.
    """
    if weighed is None or content.solid_cm3 is None or content.host_g_cm3 is None:
        # Fine gold that was measured as such is the same at every fineness.
        by_fine = gold.measured is not None and gold.measured.basis == "fine"
        fineness = np.inf if by_fine or median_native_g <= 0 else claimed_g / median_native_g
        return float(fineness) if FINENESS.admits(fineness) else None
    host = float(np.nanmedian(content.host_g_cm3))
    heavier_g = float(np.median(weighed.mass_g)) - host * float(np.median(content.solid_cm3))
    copper = gold.copper_share_frac.centre
    rest_cm3_g = (1.0 - copper) / SILVER_G_CM3 + copper / COPPER_G_CM3
    whole = heavier_g - claimed_g * host * (rest_cm3_g - 1.0 / GOLD_G_CM3)
    if heavier_g <= 0 or whole <= 0:
        return None
    fineness = claimed_g * (1.0 - host * rest_cm3_g) / whole
    return fineness if FINENESS.admits(fineness) else None


def _host_needed(claimed_g: float, basis: str, weighed: Weighed | None, content: GoldContent) -> float | None:
    """Rock density at which the likely weighing and fineness give the claimed gold.

    Notes
    -----
    From ``G (1 - rho_h / rho_n) = M - rho_h V_s``: ``rho_h = (M - G) / (V_s - G / rho_n)``.
    """
    if weighed is None or content.solid_cm3 is None:
        return None
    native = claimed_g if basis == "native" else claimed_g / float(np.median(content.alloy.fineness_frac))
    rock_g = float(np.median(weighed.mass_g)) - native
    rock_cm3 = float(np.median(content.solid_cm3)) - native / float(np.median(content.alloy.density_g_cm3))
    density = rock_g / rock_cm3 if rock_g > 0 and rock_cm3 > 0 else np.inf
    return density if DENSITY_G_CM3.admits(density) else None


def _within(host: float, drawn: Floats | None) -> bool:
    assert drawn is not None
    return bool(np.nanmin(drawn) <= host <= np.nanmax(drawn))


def _message(
    claimed: float,
    median_fine: float,
    median_native: float,
    as_gold: float,
    readings: list[ClaimReading],
    *,
    seen: bool,
) -> str:
    what = f"The claim of {grams_words(claimed, 4)}"
    chances = _chances(readings)
    if not seen:
        return f"The weighing does not see gold, so nothing bears out the claim of {grams_words(claimed, 4)}. {chances}"
    fine = f"the median of {grams_words(median_fine, 4)} fine gold"
    if claimed <= median_fine:
        return f"{what} is not above {fine}. {chances}"
    above = f"{what} is {grams_words(claimed - median_fine)} above {fine}"
    if all(reading.basis == "fine" for reading in readings):
        return f"{above}. {chances}"
    parts = [f"{grams_words(as_gold)} of that is silver and copper of native gold counted as gold"] if as_gold else []
    if claimed > median_native:
        parts.append(
            f"{grams_words(claimed - median_native)} is more than the median of {grams_words(median_native, 4)} native "
            "gold"
        )
    return f"{above}: {', and '.join(parts)}. {chances}"


def _chances(readings: list[ClaimReading]) -> str:
    if len(readings) == 1:
        return f"The chance that it is true is {chance_words(readings[0].chance)}."
    told = " and ".join(f"{chance_words(reading.chance)} if {reading.basis} gold was meant" for reading in readings)
    return f"The chance that it is true is {told}."
