"""A simulated shop: pieces of one kind of rock are bought, refined, and settled by the refiner."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tests.simulator.case import FINENESS, FIST, VEIN_QUARTZ, Case
from tests.simulator.counter import Typed, visit
from tests.simulator.stated import Stated, true_value

RECOVERY: Stated = {"low": 0.92, "likely": 0.96, "high": 0.98}
TITLES = {"": "every piece by itself", "recovery": "one recovery", "recovery, metal": "one recovery, one metal"}


@dataclass(frozen=True)
class Shop:
    """What is stated of a shop's rock, and what is true of it.

    Parameters
    ----------
    denser_g_cm3 : float
        How far the truth of every piece lies above what is stated [g/cm³].
    alike : str
        What is the same for all pieces of the shop, a key of `TITLES`: whether errors average out.
    u_assay_frac : float
        Standard deviation of the refiner's own weighing and assay.
    """

    denser_g_cm3: float = 0.0
    alike: str = ""
    u_assay_frac: float = 0.001
    case: Case = FIST


@dataclass(frozen=True)
class Bought:
    """A piece as it was typed at the counter, and the fine gold that the refiner settled [g]."""

    typed: Typed
    recovered_g: float


def pieces(shop: Shop, seed: int, count: int) -> Iterator[Bought]:
    """The shop's pieces in the order of their settling: the same seed gives the same."""
    rng = np.random.default_rng([seed, 7])
    stated = shop.case.host_g_cm3 or VEIN_QUARTZ
    true = {name: value + shop.denser_g_cm3 for name, value in stated.items()}
    case = replace(shop.case, host_g_cm3=true)
    common = true_value(rng, RECOVERY)
    if "metal" in shop.alike:
        case = replace(case, fineness_frac=true_value(rng, FINENESS))
    for number in range(count):
        seen = visit(case, seed, number)
        seen.typed["rock"]["density_g_cm3"] = stated
        seen.typed["gold"]["fineness_frac"] = shop.case.fineness_frac
        seen.typed["refiner"]["recovery_frac"] = RECOVERY
        recovery = common if "recovery" in shop.alike else true_value(rng, RECOVERY)
        assay = 1.0 + shop.u_assay_frac * rng.normal()
        yield Bought(seen.typed, seen.specimen.fine_gold_g * recovery * assay)
