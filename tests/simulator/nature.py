"""Constants and laws of nature, from other sources than those of `valuation`."""

import math

LATTICE_EDGE_ANGSTROM = {"gold": 4.0782, "silver": 4.0857, "copper": 3.6149}
MOLAR_MASS_G = {"gold": 196.96657, "silver": 107.8682, "copper": 63.546}
AVOGADRO_PER_MOL = 6.02214076e23
GAS_CONSTANT = 8.314462618
MOLAR_MASS_DRY_AIR_KG = 0.0289655
MOLAR_MASS_WATER_KG = 0.01801528
ZERO_CELSIUS_K = 273.15


def water_density_g_cm3(water_degc: float, salt_g_per_kg: float = 0.0) -> float:
    """Density of water at one atmosphere with a little dissolved salt [g/cm³].

    Notes
    -----
    The one-atmosphere equation of state of 1980 with its term linear in salt; the higher terms are under 1e-6
    below 1 g/kg. Its temperature scale is that of 1968 (t68 = 1.00024 t90).

    References
    ----------
    N. P. Fofonoff, R. C. Millard, Algorithms for computation of fundamental properties of seawater, UNESCO
    Technical Papers in Marine Science 44 (1983), eqs. 13 and 14.
    """
    t = 1.00024 * water_degc
    pure = 999.842594 + t * (
        6.793952e-2 + t * (-9.095290e-3 + t * (1.001685e-4 + t * (-1.120083e-6 + t * 6.536332e-9)))
    )
    per_salt = 8.24493e-1 + t * (-4.0899e-3 + t * (7.6438e-5 + t * (-8.2467e-7 + t * 5.3875e-9)))
    return (pure + per_salt * salt_g_per_kg) / 1000.0


def air_density_g_cm3(air_degc: float, pressure_hpa: float, humidity_frac: float) -> float:
    """Density of moist air [g/cm³], as a mixture of two gases with the second virial coefficient of air.

    References
    ----------
    Saturation vapour pressure: A. L. Buck, J. Appl. Meteorol. 20 (1981) 1527 (coefficients from memory).
    Second virial coefficient of air near room temperature, -8 cm³/mol: from memory.
    """
    kelvin = air_degc + ZERO_CELSIUS_K
    pressure_pa = 100.0 * pressure_hpa
    vapour_pa = humidity_frac * 611.21 * math.exp(17.502 * air_degc / (240.97 + air_degc))
    mean_molar_mass = (
        (pressure_pa - vapour_pa) * MOLAR_MASS_DRY_AIR_KG + vapour_pa * MOLAR_MASS_WATER_KG
    ) / pressure_pa
    compression = 1.0 - 8.0e-6 * pressure_pa / (GAS_CONSTANT * kelvin)
    return pressure_pa * mean_molar_mass / (GAS_CONSTANT * kelvin * compression) / 1000.0


def pressure_at_altitude_hpa(altitude_m: float) -> float:
    """Mean pressure of the air column at an altitude [hPa]: isothermal at 281 K in the lowest 2 km."""
    scale_height_m = GAS_CONSTANT * 281.0 / (MOLAR_MASS_DRY_AIR_KG * 9.80665)
    return 1013.25 * math.exp(-altitude_m / scale_height_m)


def surface_tension_n_m(water_degc: float) -> float:
    """Surface tension of water [N/m].

    References
    ----------
    IAPWS, Release on surface tension of ordinary water substance (1994).
    """
    tau = 1.0 - (water_degc + ZERO_CELSIUS_K) / 647.096
    return float(0.2358 * tau**1.256 * (1.0 - 0.625 * tau))


def metal_density_g_cm3(metal: str) -> float:
    """Density of a face-centred cubic metal [g/cm³]: four atoms in a cube of the lattice edge.

    Notes
    -----
    Lattice edges from memory; 19.288 (gold), 10.505 (silver), 8.935 (copper).
    """
    edge_cm = LATTICE_EDGE_ANGSTROM[metal] * 1e-8
    return 4.0 * MOLAR_MASS_G[metal] / (AVOGADRO_PER_MOL * edge_cm**3)


def alloy_volume_cm3(gold_g: float, silver_g: float, copper_g: float, denser_frac: float) -> float:
    """Volume of an alloy [cm³]: the volumes of its metals, drawn together by `denser_frac` in density."""
    separate = (
        gold_g / metal_density_g_cm3("gold")
        + silver_g / metal_density_g_cm3("silver")
        + copper_g / metal_density_g_cm3("copper")
    )
    return separate / (1.0 + denser_frac)
