"""Forces on the pan of the balance, in grams of weight: force over local gravity.

Written as forces, not as a formula for a volume. `outer_cm3` is all that the water cannot enter: rock, gold
and closed voids. A bubble is air that clings to the specimen under water.
"""

from tests.simulator.surroundings import Line, Surroundings


def hanging_in_air(mass_g: float, outer_cm3: float, around: Surroundings) -> float:
    """Pull of a specimen that hangs from the balance, or lies on it, in air."""
    return mass_g - around.air_g_cm3 * outer_cm3


def hanging_in_water(mass_g: float, outer_cm3: float, bubble_cm3: float, line: Line, around: Surroundings) -> float:
    """Pull of a specimen that hangs from the balance into water, beyond the pull at the zero.

    The same line hangs there at the zero. What more of it is under water has changed air for water around it.
    """
    weight = mass_g + around.air_g_cm3 * bubble_cm3
    lift = around.water_g_cm3 * (outer_cm3 + bubble_cm3 + line.extra_volume_cm3)
    air_lift_at_zero = around.air_g_cm3 * line.extra_volume_cm3
    return weight - lift + air_lift_at_zero + line.pull_change_g(around)


def vessel_with_hanging(mass_g: float, outer_cm3: float, bubble_cm3: float, line: Line, around: Surroundings) -> float:
    """Push of a vessel of water in which a specimen hangs from a stand, beyond the push at the zero.

    Vessel, water and what is in the water are one body in air: its weight, less what the line carries, less
    the lift of the air on a body that has grown by all that went under water.
    """
    gone_under_cm3 = outer_cm3 + bubble_cm3 + line.extra_volume_cm3
    weight_gone_under = mass_g + around.air_g_cm3 * bubble_cm3
    carried_by_line = weight_gone_under - around.water_g_cm3 * gone_under_cm3 + line.pull_change_g(around)
    air_lift = around.air_g_cm3 * gone_under_cm3
    return weight_gone_under - carried_by_line - air_lift
