"""Which input makes how much of the doubt about fine gold."""

from __future__ import annotations

import math

import numpy as np

from valuation.draws import Draws
from valuation.gold import GoldContent
from valuation.result import BudgetRow

_LABELS = {
    "Density of the rock": ("host_density",),
    "Mix of minerals": tuple(
        [f"mineral_share_{i}" for i in range(2, 7)] + [f"mineral_density_{i}" for i in range(1, 7)]
    ),
    "Weighing of the chip": (
        "chip_dry_repeatability",
        "chip_wet_repeatability",
        "chip_dry_rounding",
        "chip_wet_rounding",
        "chip_dry_linearity",
        "chip_wet_linearity",
        "chip_trapped_air",
        "chip_meniscus",
        "chip_line_depth",
        "chip_water_temperature",
        "chip_water_salts",
    ),
    "Likeness of the chip": ("chip_likeness",),
    "Closed pores": ("void",),
    "Fineness of the gold": ("fineness", "copper_share"),
    "Density of the alloy": ("alloy_density",),
    "Dry reading": ("dry_repeatability", "dry_rounding", "dry_linearity"),
    "Reading under water": ("wet_repeatability", "wet_rounding", "wet_linearity"),
    "Span of the balance": ("span",),
    "Water": ("water_temperature", "water_salts"),
    "Trapped air": ("trapped_air",),
    "Line and meniscus": ("meniscus", "line_depth"),
    "Air": ("air_temperature", "air_pressure", "air_humidity"),
    "Gold measured elsewhere": ("measured_gold",),
    "The claim itself": ("claim_right", "claim_basis"),
}
GOLD_COLUMNS = frozenset(column for columns in _LABELS.values() for column in columns)


def budget(draws: Draws, content: GoldContent, melt_width: float) -> tuple[BudgetRow, ...]:
    """First-order shares of the variance of fine gold, before conditioning, largest first.

    Parameters
    ----------
    draws : Draws
        All draws, after the gold stage has used them.
    content : GoldContent
        Gold before impossible draws were dropped.
    melt_width : float
        Width of the 95 % range of melt value [money].

    Returns
    -------
    tuple of BudgetRow
        The last row is the remainder, ``interactions``. Money is ``width (1 - sqrt(1 - share))``: the variance
        that is left when the input is known is 1 - share of the whole on average.
    """
    fine = content.fine_g
    if not np.isfinite(fine).all():
        fine = np.where(np.isfinite(fine), fine, np.nanmedian(fine))
    used = draws.used & GOLD_COLUMNS
    rows = []
    for label, columns in _LABELS.items():
        share = sum(draws.first_order_frac(column, fine) for column in columns if column in used)
        if any(column in used for column in columns):
            share = min(1.0, share)
            rows.append(BudgetRow(input=label, share_frac=share, money=melt_width * (1.0 - math.sqrt(1.0 - share))))
    rows.sort(key=lambda row: -row.share_frac)
    rest = max(0.0, 1.0 - sum(row.share_frac for row in rows)) if rows else 0.0
    return (*rows, BudgetRow(input="Interactions", share_frac=rest, money=None))
