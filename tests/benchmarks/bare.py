"""The same quote as plain numpy arithmetic: no names, no checks, no objects. The yardstick of the benchmark."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

PULL_G = 1000 * 0.0728 * math.pi * 0.3e-3 / 9.80665


def triangular(u: Any, low: float, mode: float, high: float) -> Any:
    width = high - low
    rising = low + np.sqrt(u * width * (mode - low))
    return np.where(u * width < mode - low, rising, high - np.sqrt((1 - u) * width * (high - mode)))


def rounding(u: Any, d: float) -> Any:
    small = np.sqrt(2 * np.minimum(u, 1 - u)) - 1
    return d * np.where(u < 0.5, small, -small)


def gold_stage(u: Any, z: Any) -> tuple[Any, ...]:
    """Mass, native and fine gold of the example request, from uniform and normal draws by column name."""
    d = 0.05
    dry = 412.5833333333333 + rounding(u("dry_rounding"), d) + d / math.sqrt(3) * z("dry_repeatability")
    dry = dry + d * (2 * u("dry_linearity") - 1)
    wet = 271.375 + rounding(u("wet_rounding"), d) + d / math.sqrt(2) * z("wet_repeatability")
    wet = wet + d * (2 * u("wet_linearity") - 1) + PULL_G * (u("meniscus") - 0.5)
    stretch = 1 + 0.0003 * (2 * u("span") - 1)
    t = 19 + 2 * u("water_temperature")
    water = 0.99997495 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))
    air = 0.0011992936
    buoyed = 1 - air / 8
    volume = (dry - wet) * stretch * buoyed / (water - air) * (1 - 0.0003 * u("trapped_air"))
    mass = dry * stretch * buoyed + air * volume
    host = triangular(u("host_density"), 2.60, 2.63, 2.65)
    f = triangular(u("fineness"), 0.75, 0.85, 0.92)
    native_density = (1 + 0.004 * z("alloy_density")) / (f / 19.3 + (1 - f) * (0.97 / 10.49 + 0.03 / 8.96))
    native = (mass - host * volume * (1 - 0.002 * u("void"))) / (1 - host / native_density)
    possible = (native >= 0) & (native <= mass)
    return mass, volume, native, native * f, native * (1 - f) * 0.97, possible


def routes(u: Any, z: Any, mass: Any, fine: Any) -> tuple[Any, Any]:
    """Discounted net of refining and of a sale as it is."""

    def refined(start: float) -> Any:
        assayed = fine * triangular(u("recovery"), 0.92, 0.96, 0.98) / 31.1034768
        payable = np.maximum(0, np.minimum(assayed * np.where(assayed >= 5, 0.97, 0.95), assayed - 0.01))
        years = start + 14 / 365
        price = 4100 * np.exp(0.18 * math.sqrt(years) * z("gold_price") - 0.0162 * years)
        net = payable * price * (1 - 0.002) - payable * 8 - mass * 0.015 - 165
        return net * math.exp(-0.1 * years)

    years = triangular(u("months_to_sale"), 1, 4, 12) / 12
    price = 4100 * np.exp(0.18 * np.sqrt(years) * z("gold_price") - 0.0162 * years)
    premium = triangular(u("premium"), 0.2, 0.6, 1.5)
    sale = fine / 31.1034768 * price * (1 + premium) * 0.88 * np.exp(-0.1 * years)
    return refined(0.0), np.where(u("sale_event") < 0.92, sale, refined(1.0))


def reported(draws: Any) -> list[float]:
    """Mean, standard deviation and the quantiles that a quote reports of one quantity."""
    return [draws.mean(), draws.std(), *np.quantile(draws, [0.025, 0.5, 0.975])]


def bare_quote(u: Any, z: Any, *, statistics: bool) -> list[Any]:
    """The arithmetic of the whole quote; with the statistics that it reports, or without."""
    mass, volume, native, fine, silver, possible = gold_stage(u, z)
    assert possible.all()
    refine, intact = routes(u, z, mass, fine)
    if not statistics:
        return [refine, intact]
    figures = [reported(x) for x in (mass, volume, mass / volume, native, fine, silver, refine, intact)]
    return [*figures, np.quantile(refine, 0.1), np.quantile(intact, 0.1)]
