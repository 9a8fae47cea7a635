"""The room, the water and the line of one weighing, as they truly are."""

import math
from dataclasses import dataclass

from tests.simulator.nature import air_density_g_cm3, surface_tension_n_m, water_density_g_cm3


@dataclass(frozen=True)
class Surroundings:
    """Water, air and gravity on the day."""

    water_degc: float
    salt_g_per_kg: float
    dissolved_air_frac: float  # of saturation, which makes water lighter by some 3e-6
    air_degc: float
    air_pressure_hpa: float
    air_humidity_frac: float
    gravity_m_s2: float

    @property
    def water_g_cm3(self) -> float:
        """Density of the water in the vessel."""
        return water_density_g_cm3(self.water_degc, self.salt_g_per_kg) - 3e-6 * self.dissolved_air_frac

    @property
    def air_g_cm3(self) -> float:
        """Density of the air in the room."""
        return air_density_g_cm3(self.air_degc, self.air_pressure_hpa, self.air_humidity_frac)


@dataclass(frozen=True)
class Line:
    """The line that the specimen hangs from."""

    diameter_cm: float
    extra_depth_cm: float  # wetted at the reading, not at the zero
    pull_change_frac: float  # of the greatest pull of the surface: at the reading less at the zero

    @property
    def extra_volume_cm3(self) -> float:
        """Volume of line under water at the reading that was not under water at the zero."""
        return math.pi / 4.0 * self.diameter_cm**2 * self.extra_depth_cm

    def pull_change_g(self, surroundings: Surroundings) -> float:
        """Downward pull of the water's surface on the line, reading less zero, as grams of weight.

        A wetted line carries a collar of water above the surface; its weight hangs on the line, not on the
        vessel.
        """
        newton = surface_tension_n_m(surroundings.water_degc) * math.pi * self.diameter_cm / 100.0
        return self.pull_change_frac * 1000.0 * newton / surroundings.gravity_m_s2
