"""What is stated of a quantity, in the words of a scenario file, and a true value drawn from it."""

import math
from collections.abc import Mapping

import numpy as np

Stated = float | Mapping[str, float]


def true_value(rng: np.random.Generator, stated: Stated) -> float:
    """A truth that the statement describes: exact, normal, rectangular or triangular."""
    if isinstance(stated, float | int):
        return float(stated)
    if "sd" in stated:
        return float(rng.normal(stated["value"], stated["sd"]))
    if "likely" in stated:
        return float(rng.triangular(stated["low"], stated["likely"], stated["high"]))
    return float(rng.uniform(stated["low"], stated["high"]))


def exact_value(stated: Stated) -> float:
    """The one figure that somebody would give who took the statement for certain."""
    if isinstance(stated, float | int):
        return float(stated)
    if "value" in stated:
        return stated["value"]
    if "likely" in stated:
        return stated["likely"]
    return 0.5 * (stated["low"] + stated["high"])


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """A truth of unknown size: every doubling between the ends is as likely as any other."""
    return math.exp(rng.uniform(math.log(low), math.log(high)))
