"""A simulated electronic balance: what it shows for a load."""

import math
from dataclasses import dataclass

import numpy as np

CONVENTIONAL_AIR_G_CM3 = 0.0012
CONVENTIONAL_WEIGHT_G_CM3 = 8.0


@dataclass(frozen=True)
class Balance:
    """One balance on one day, with the errors that all its readings share."""

    readability_g: float
    repeatability_g: float
    linearity_g: float
    span_error_frac: float
    adjusted_in_air_g_cm3: float
    weight_g_cm3: float

    @property
    def shown_per_gram_of_force(self) -> float:
        """Scale left by the last adjustment: conventional mass of the weight over its force on the pan.

        References
        ----------
        OIML D 28 (2004): conventional mass, air 1.2 kg/m³, weights 8000 kg/m³.
        """
        conventional_per_true = (1.0 - CONVENTIONAL_AIR_G_CM3 / self.weight_g_cm3) / (
            1.0 - CONVENTIONAL_AIR_G_CM3 / CONVENTIONAL_WEIGHT_G_CM3
        )
        force_per_true = 1.0 - self.adjusted_in_air_g_cm3 / self.weight_g_cm3
        return conventional_per_true / force_per_true * (1.0 + self.span_error_frac)

    def readings(self, rng: np.random.Generator, force_g: float, repeats: int) -> list[float]:
        """What the balance shows for the same load put on again and again, zeroed before each time.

        The curve of the balance errs alike each time; noise, the place within a step at which the zero
        fell, and the rounding of what is shown are new each time.
        """
        curve_g = rng.uniform(-self.linearity_g, self.linearity_g)
        shown = self.shown_per_gram_of_force * force_g + curve_g
        decimals = max(0, math.ceil(-math.log10(self.readability_g) - 1e-9))
        readings = []
        for _ in range(repeats):
            zero_g = rng.uniform(-0.5, 0.5) * self.readability_g
            with_noise = shown + rng.normal(0.0, self.repeatability_g) + zero_g
            steps = round(with_noise / self.readability_g)
            readings.append(round(steps * self.readability_g, decimals))
        return readings
