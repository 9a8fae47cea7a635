"""Mass and volume -> native gold, fine gold and fine silver."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from valuation import materials
from valuation.draws import Draws
from valuation.errors import ValuationError
from valuation.observations import Gold, Rock, Weighing
from valuation.spread import DENSITY_G_CM3, POSITIVE_G, VOIDS, Floats, Spread
from valuation.weighing import Weighed, weighed_chip

GOLD_G_CM3 = materials.metals()["gold"].density_g_cm3
SILVER_G_CM3 = materials.metals()["silver"].density_g_cm3
COPPER_G_CM3 = materials.metals()["copper"].density_g_cm3
U_ALLOY_REL = materials.alloy_model().u_relative_density
U_CHIP_LIKENESS_G_CM3 = 0.005
DEFAULT_VOIDS = Spread(low=0.0, high=0.002).within(VOIDS)
NO_VOIDS = Spread(value=0.0).within(VOIDS)
LEAST_KEPT_FRAC = 0.01


@dataclass(frozen=True)
class Alloy:
    """Native gold as drawn: shapes (n,) or ().

    Parameters
    ----------
    fineness_frac, silver_frac : ndarray
        Shares of the native metal by mass.
    density_g_cm3 : ndarray
        Density of the native metal.
    """

    fineness_frac: Floats
    silver_frac: Floats
    density_g_cm3: Floats


@dataclass(frozen=True)
class GoldContent:
    """Gold in the piece before impossible draws are dropped; every array of shape (n_all,).

    Parameters
    ----------
    native_g, fine_g, silver_g : ndarray
        Native gold, fine gold and fine silver [g].
    possible : ndarray of bool
        Draws in which 0 <= native gold <= mass.
    host_g_cm3, solid_cm3 : ndarray or None
        Host density and volume without voids; None for gold measured elsewhere.
    alloy : Alloy
        The native metal.
    """

    native_g: Floats
    fine_g: Floats
    silver_g: Floats
    possible: NDArray[np.bool_]
    host_g_cm3: Floats | None
    solid_cm3: Floats | None
    alloy: Alloy

    @property
    def kept_frac(self) -> float:
        """Share of draws that are possible."""
        return float(np.mean(self.possible))


def native_density_g_cm3(
    fineness_frac: Floats | float, copper_share_frac: Floats | float, relative_error: Floats | float = 0.0
) -> Floats:
    """Density of native gold as an alloy of gold, silver and copper that mixes ideally.

    Parameters
    ----------
    fineness_frac : float or ndarray
        Gold share by mass [0 to 1].
    copper_share_frac : float or ndarray
        Copper share of what is not gold [0 to 1]; the rest is silver.
    relative_error : float or ndarray
        Departure from ideal mixing.

    Returns
    -------
    ndarray
        Density [g/cm³].

    Notes
    -----
    ``rho_n = (1 + e) / (f / 19.30 + ag / 10.49 + cu / 8.96)``; e has standard deviation 0.004.

    References
    ----------
    E. R. Caley, Ohio J. Sci. 49 (1949) 73-81; J. C. Kraut and W. B. Stern, Gold Bulletin 33 (2000) 52-55; measured
    table of T. K. Rose, The Metallurgy of Gold, from which the 0.004 comes.
    """
    rest = 1.0 - np.asarray(fineness_frac)
    copper = rest * copper_share_frac
    specific_cm3_g = fineness_frac / GOLD_G_CM3 + (rest - copper) / SILVER_G_CM3 + copper / COPPER_G_CM3
    return np.asarray((1.0 + np.asarray(relative_error)) / specific_cm3_g)


def drawn_alloy(gold: Gold, draws: Draws) -> Alloy:
    """The native metal, drawn."""
    fineness = draws.of("fineness", gold.fineness_frac)
    copper_share = draws.of("copper_share", gold.copper_share_frac)
    density = native_density_g_cm3(fineness, copper_share, U_ALLOY_REL * draws.z("alloy_density"))
    return Alloy(fineness, (1.0 - fineness) * (1.0 - copper_share), density)


def host_density_g_cm3(rock: Rock, weighing: Weighing, draws: Draws) -> Floats:
    """Density of the bare rock [g/cm³], shape (n,) or (); NaN in draws whose shares exceed the whole.

    Raises
    ------
    ValuationError
        A chip whose readings give no density that a rock can have.
    """
    if rock.density_g_cm3 is not None:
        return draws.of("host_density", rock.density_g_cm3)
    if rock.kind is not None:
        named = materials.rock(rock.kind).density_g_cm3.spread
        return draws.of("host_density", named.within(DENSITY_G_CM3))
    if rock.chip is not None:
        chip = weighed_chip(rock.chip, weighing, draws)
        with np.errstate(divide="ignore", invalid="ignore"):
            bulk = chip.mass_g / chip.volume_cm3
        if not DENSITY_G_CM3.admits(float(np.median(bulk))):
            raise ValuationError(
                "chip_density",
                "rock.chip.dry_g",
                rock.chip.dry_g[0],
                f"the chip comes out at {float(np.median(bulk)):.3g} g/cm³, which no rock has: check its readings",
            )
        return bulk + U_CHIP_LIKENESS_G_CM3 * draws.z("chip_likeness")
    return _mixed_density_g_cm3(rock, draws)


def _mixed_density_g_cm3(rock: Rock, draws: Draws) -> Floats:
    assert rock.minerals is not None
    remainder: Floats = np.asarray(1.0)
    density: Floats = np.asarray(0.0)
    for i, mineral in reversed(list(enumerate(rock.minerals, start=1))):
        if mineral.density_g_cm3 is not None:
            spread = mineral.density_g_cm3
        else:
            spread = materials.mineral(mineral.name).density_g_cm3.spread.within(DENSITY_G_CM3)
        own = draws.of(f"mineral_density_{i}", spread)
        if mineral.volume_frac is None:
            return np.where(remainder < 0.0, np.nan, density + remainder * own)
        share = draws.of(f"mineral_share_{i}", mineral.volume_frac)
        remainder, density = remainder - share, density + share * own
    raise AssertionError("the first mineral has no share")


def gold_by_density(weighed: Weighed, rock: Rock, gold: Gold, weighing: Weighing, draws: Draws) -> GoldContent:
    """Gold from mass and volume by the densities of rock and native gold.

    Notes
    -----
    ``G = (M - rho_h V_s) / (1 - rho_h / rho_n)``, ``V_s = V (1 - phi)``, ``F = f G``.
    """
    host = host_density_g_cm3(rock, weighing, draws)
    alloy = drawn_alloy(gold, draws)
    voids = NO_VOIDS if rock.chip is not None else rock.void_frac or DEFAULT_VOIDS
    solid = weighed.volume_cm3 * (1.0 - draws.of("void", voids))
    with np.errstate(divide="ignore", invalid="ignore"):
        native = (weighed.mass_g - host * solid) / (1.0 - host / alloy.density_g_cm3)
        possible = (
            (native >= 0.0)
            & (native <= weighed.mass_g)
            & (solid > 0.0)
            & (host > DENSITY_G_CM3.low)
            & (host <= DENSITY_G_CM3.high)
        )
    return content_of(native, alloy, possible, host, solid, draws)


def gold_measured(gold: Gold, draws: Draws) -> GoldContent:
    """Gold from a range that was measured elsewhere.

    Raises
    ------
    ValuationError
        More gold than the piece weighs.
    """
    assert gold.measured is not None
    alloy = drawn_alloy(gold, draws)
    grams = draws.of("measured_gold", gold.measured.grams)
    most = POSITIVE_G.high if gold.measured.mass_g is None else gold.measured.mass_g
    with np.errstate(over="ignore"):
        native = grams if gold.measured.basis == "native" else grams / alloy.fineness_frac
    content = content_of(native, alloy, native <= most, None, None, draws)
    if gold.measured.basis == "fine":
        # What was measured, free of the rounding of a division and a product.
        return replace(content, fine_g=np.broadcast_to(grams, (draws.n_all,)))
    return content


def content_of(
    native: Floats,
    alloy: Alloy,
    possible: NDArray[np.bool_],
    host: Floats | None,
    solid: Floats | None,
    draws: Draws,
) -> GoldContent:
    """Gold, fine gold and silver of every draw, from native gold of shape (n_all,) or () and what is possible."""
    full = (draws.n_all,)
    native = np.broadcast_to(native, full)
    return GoldContent(
        native_g=native,
        fine_g=native * alloy.fineness_frac,
        silver_g=native * alloy.silver_frac,
        possible=np.broadcast_to(possible, full),
        host_g_cm3=host,
        solid_cm3=solid,
        alloy=alloy,
    )


def check_possible(content: GoldContent, field: str) -> None:
    """Refuse a request in which hardly any draw is possible.

    Raises
    ------
    ValuationError
        Under 1 in 100 draws leaves a possible amount of gold.
    """
    kept = content.kept_frac
    if kept >= LEAST_KEPT_FRAC:
        return
    if content.host_g_cm3 is None:
        words = "this is more gold than the piece can weigh: check the grams, the fineness and the mass of the piece"
    elif float(np.mean(content.native_g > 0)) > 0.5:
        words = (
            "these weighings are denser than the native gold that was entered: a reading is wrong, or the metal is "
            "finer or not gold; weigh it again"
        )
    else:
        words = (
            "no amount of gold fits these weighings and this rock: the rock is lighter than entered (or holds more "
            "voids), or a reading is wrong; weigh a bare chip of the rock"
        )
    raise ValuationError("no_possible_gold", field, f"{kept:.2%} of draws", words)
