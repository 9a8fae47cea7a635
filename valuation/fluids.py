"""Density of water and of moist air."""

from __future__ import annotations

import numpy as np

from valuation.spread import Floats

REFERENCE_WATER_G_CM3 = 0.999975
TAP_SALTS_HIGH_G_CM3 = 0.0005
STANDARD_PRESSURE_HPA = 1013.25


def water_density_g_cm3(temperature_degc: Floats | float) -> Floats:
    """Density of pure, air-free water (VSMOW) at one atmosphere.

    Parameters
    ----------
    temperature_degc : float or ndarray
        Temperature [°C], 0 to 40.

    Returns
    -------
    ndarray
        Density [g/cm³].

    Raises
    ------
    ValueError
        A temperature outside 0 to 40 °C.

    Notes
    -----
    ``rho = a5 (1 - (t + a1)² (t + a2) / (a3 (t + a4)))``.

    References
    ----------
    M. Tanaka, G. Girard, R. Davis, A. Peuto, N. Bignell, Metrologia 38 (2001) 301-309, doi 10.1088/0026-1394/38/4/3.
    """
    t = np.asarray(temperature_degc, dtype=np.float64)
    if not bool(np.all((t >= 0.0) & (t <= 40.0))):
        raise ValueError("water density is known here from 0 to 40 °C")
    a1, a2, a3, a4, a5 = -3.983035, 301.797, 522528.9, 69.34881, 0.999974950
    return np.asarray(a5 * (1.0 - (t + a1) ** 2 * (t + a2) / (a3 * (t + a4))))


def air_density_g_cm3(
    temperature_degc: Floats | float, pressure_hpa: Floats | float, humidity_frac: Floats | float
) -> Floats:
    """Density of moist air.

    Parameters
    ----------
    temperature_degc : float or ndarray
        Temperature [°C]; the formula is stated for 10 to 30 °C.
    pressure_hpa : float or ndarray
        Pressure [hPa]; stated for 900 to 1100 hPa.
    humidity_frac : float or ndarray
        Relative humidity [0 to 1]; stated for under 0.8.

    Returns
    -------
    ndarray
        Density [g/cm³]; relative uncertainty 2e-4 within the stated range, up to 3.2e-4 in damp air below 15 °C.

    Notes
    -----
    ``rho = (0.34848 p - 0.009 h exp(0.061 t)) / (273.15 + t)`` kg/m³ with h in per cent.

    References
    ----------
    OIML R 111-1:2004, equation (E.3-1) (coefficients from memory; checked against CIPM-2007 in the tests).
    """
    vapour = 0.009 * (100.0 * np.asarray(humidity_frac)) * np.exp(0.061 * np.asarray(temperature_degc))
    kelvin = 273.15 + np.asarray(temperature_degc)
    return np.asarray((0.34848 * np.asarray(pressure_hpa) - vapour) / kelvin / 1000.0)


def pressure_at_altitude_hpa(altitude_m: float) -> float:
    """Mean pressure at a height above sea level in the standard atmosphere.

    Parameters
    ----------
    altitude_m : float
        Height [m], up to 11,000.

    Returns
    -------
    float
        Pressure [hPa].

    References
    ----------
    ISO 2533:1975, Standard Atmosphere (exponent and gradient from memory).
    """
    return STANDARD_PRESSURE_HPA * float((1.0 - 0.0065 * altitude_m / 288.15) ** 5.255880)
