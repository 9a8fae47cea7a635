"""Working of volume, mass, specific gravity and the rock's density."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

from valuation import materials
from valuation.fluids import REFERENCE_WATER_G_CM3, STANDARD_PRESSURE_HPA, TAP_SALTS_HIGH_G_CM3
from valuation.money import exact
from valuation.observations import Chip, Rock, Weighing
from valuation.spread import DENSITY_G_CM3, Spread
from valuation.weighing import ADJUSTMENT_WEIGHT_G_CM3, STANDARD_GRAVITY_M_S2, SURFACE_TENSION_N_M
from valuation.working_sheet import Draft, Sheet, carried, origin
from valuation.working_term import Term, exp

TANAKA = "Tanaka et al., Metrologia 38 (2001) 301: density of water"
OIML_AIR = "OIML R 111-1:2004, (E.3-1): density of moist air (coefficients from memory; checked against CIPM-2007)"
OIML_WEIGHTS = "OIML R 111-1:2004: conventional density of adjustment weights"
ISA = "ISO 2533:1975, standard atmosphere (from memory)"
CGPM = "standard acceleration of free fall, 3rd CGPM 1901 (from memory)"
GEOMETRY = "mathematics"


@dataclass(frozen=True)
class Bench:
    """What all readings of one weighing share, as worked out.

    Parameters
    ----------
    air, buoyancy, water : Term
        Density of air [g/cm³], ``1 - rho_a / rho_r``, density of the water in the vessel [g/cm³].
    """

    air: Term
    buoyancy: Term
    water: Term


@dataclass(frozen=True)
class Body:
    """Readings of the specimen or of the chip."""

    noun: str
    method: str
    dry_g: tuple[float, ...]
    wet_g: tuple[float, ...]
    depth_mm: Spread | None
    depth_source: str


def weighing_drafts(s: Sheet, weighing: Weighing, rock: Rock) -> tuple[list[Draft], dict[str, Term]]:
    """Drafts of volume, mass, specific gravity and rock density, and the results that later headlines use."""
    bench = _bench(s, weighing)
    depth_source = origin(weighing, "line_extra_depth_mm")
    depth = weighing.line_extra_depth_mm
    body = Body("piece", weighing.method, weighing.dry_g, weighing.wet_g, depth, depth_source)
    volume = _volume(s, body, weighing, bench, _dry(s, body) if body.method == "suspended" else None)
    drafts = [Draft("volume_cm3", "Volume", "cm³", s.taken(), volume)]
    volume = carried(volume, "volume, cm³", "Volume")
    bench_again = Bench(
        carried(bench.air, "density of the air, g/cm³", "Volume"),
        carried(bench.buoyancy, "buoyancy of air on weights", "Volume"),
        carried(bench.water, "density of the water, g/cm³", "Volume"),
    )
    mass = _mass(s, _dry(s, body), bench_again, volume)
    drafts.append(Draft("mass_g", "Mass", "g", s.taken(), mass))
    mass = carried(mass, "mass, g", "Mass")
    reference = s.given(REFERENCE_WATER_G_CM3, "densest water, g/cm³", TANAKA)
    gravity = s.step("Mass over the mass of as much water", mass / volume / reference)
    drafts.append(Draft("specific_gravity", "Specific gravity", "", s.taken(), gravity))
    host = _host(s, rock, weighing, bench_again)
    drafts.append(Draft("rock_density_g_cm3", "Density of the rock", "g/cm³", s.taken(), host))
    return drafts, {
        "mass": mass,
        "volume": volume,
        "host": carried(host, "density of the rock, g/cm³", drafts[-1].title),
    }


def _bench(s: Sheet, weighing: Weighing) -> Bench:
    air = _air(s, weighing)
    weights = s.given(ADJUSTMENT_WEIGHT_G_CM3, "density of the balance's weights, g/cm³", OIML_WEIGHTS)
    buoyancy = s.step("Buoyancy of air on the weights", 1 - air / weights)
    source = origin(weighing, "water_temperature_degc")
    water = _water(s, weighing.water_kind, weighing.water_temperature_degc, source, "")
    return Bench(air, buoyancy, water)


def _pressure(s: Sheet, weighing: Weighing) -> Term:
    if weighing.air_pressure_hpa is not None:
        return s.likely(weighing.air_pressure_hpa, "air pressure, hPa", origin(weighing, "air_pressure_hpa"), "hPa")
    standard = s.given(STANDARD_PRESSURE_HPA, "standard air pressure, hPa", ISA)
    if weighing.altitude_m is None:
        return standard
    lapse = s.given(0.0065, "fall of temperature, K per m", ISA)
    sea, power = s.given(288.15, "temperature at sea level, K", ISA), s.given(5.255880, "exponent", ISA)
    altitude = s.given(weighing.altitude_m, "altitude, m")
    return s.step("Air pressure at that altitude", standard * (1 - lapse * altitude / sea) ** power, "hPa")


def _air(s: Sheet, weighing: Weighing) -> Term:
    pressure = _pressure(s, weighing)
    temperature = weighing.air_temperature_degc
    t = s.likely(temperature, "air temperature, °C", origin(weighing, "air_temperature_degc"), "°C")
    source = origin(weighing, "air_humidity_frac")
    humidity = s.likely(weighing.air_humidity_frac, "relative humidity", source, "frac") * 100
    p0, h0, rise = (s.given(x, "coefficient", OIML_AIR) for x in (0.34848, 0.009, 0.061))
    kelvin = s.given(273.15, "0 °C in K", "definition of the degree Celsius")
    formula = (p0 * pressure - h0 * humidity * exp(rise * t)) / (kelvin + t) / 1000
    return s.step("Density of the air", formula, "g/cm³")


def _water(s: Sheet, kind: str, temperature: Spread, source: str, whose: str) -> Term:
    t = s.likely(temperature, f"{whose}water temperature, °C", source, "°C")
    a1, a2, a3, a4, a5 = (
        s.given(x, "coefficient", TANAKA) for x in (3.983035, 301.797, 522528.9, 69.34881, 0.99997495)
    )
    pure = s.step(
        "Density of pure water at that temperature",
        a5 * (1 - (t - a1) * (t - a1) * (t + a2) / (a3 * (t + a4))),
        "g/cm³",
    )
    if kind != "tap":
        return pure
    most = exact(TAP_SALTS_HIGH_G_CM3)
    salts = s.given(most / 2, "salts of tap water, g/cm³", f"assumption: middle of 0 to {most} g/cm³")
    return s.step("Density of the tap water", pure + salts, "g/cm³")


def _mean(s: Sheet, readings: tuple[float, ...], label: str) -> Term:
    terms = [s.given(reading, f"reading of the {label}, g") for reading in readings]
    if len(terms) == 1:
        return terms[0]
    total = terms[0]
    for term in terms[1:]:
        total = total + term
    count = s.given(Decimal(len(terms)), "number of readings", "counted")
    return s.step(f"Mean of the readings of the {label}", total / count, "g")


def _dry(s: Sheet, body: Body) -> Term:
    return _mean(s, body.dry_g, f"dry {body.noun}")


def _wet(s: Sheet, body: Body, weighing: Weighing) -> Term:
    """The mean wet reading, freed from the likely pull of the surface on the line."""
    label = f"{body.noun} under water" if body.method == "suspended" else f"vessel with the {body.noun}"
    wet = _mean(s, body.wet_g, label)
    if weighing.line_diameter_mm == 0 or weighing.zeroed_with_line:
        return wet
    tension = s.given(SURFACE_TENSION_N_M, "surface tension of water, N/m", "IAPWS R1-76, near 20 °C (from memory)")
    pi = s.given(math.pi, "π", GEOMETRY)
    gravity = s.given(STANDARD_GRAVITY_M_S2, "free fall, m/s²", CGPM)
    diameter = s.given(weighing.line_diameter_mm, "line diameter, mm", origin(weighing, "line_diameter_mm"))
    pull = s.step("Half the pull of a full meniscus on the line", tension * pi * diameter / gravity / 2, "g")
    if body.method == "suspended":
        return s.step("Wet reading without that pull", wet - pull, "g")
    return s.step("Wet reading with that pull made good", wet + pull, "g")


def _volume(s: Sheet, body: Body, weighing: Weighing, bench: Bench, dry: Term | None) -> Term:
    """Volume from the wet reading, and from the dry one where the method needs it."""
    wet = _wet(s, body, weighing)
    lifted = wet if dry is None else dry - wet
    volume = s.step("Volume of water pushed aside", lifted * bench.buoyancy / (bench.water - bench.air), "cm³")
    if body.depth_mm is not None and body.depth_mm.longest > 0 and weighing.line_diameter_mm > 0:
        pi = s.given(math.pi, "π", GEOMETRY)
        across = s.given(weighing.line_diameter_mm, "line diameter, mm", origin(weighing, "line_diameter_mm"))
        depth = s.likely(body.depth_mm, "wetted line, mm", body.depth_source, "mm")
        line = s.step("Volume of the wetted line", pi / 4 * across * across * depth / 1000, "cm³")
        volume = s.step("Volume without the line", volume - line, "cm³")
    if weighing.trapped_air_frac == 0:
        return volume
    half = exact(weighing.trapped_air_frac) / 2
    source = f"{origin(weighing, 'trapped_air_frac')}; middle of 0 to {weighing.trapped_air_frac:g}"
    return s.step("Volume without trapped air", volume * (1 - s.given(half, "share of trapped air", source)), "cm³")


def _mass(s: Sheet, dry: Term, bench: Bench, volume: Term) -> Term:
    return s.step(
        "Mass: the reading, less the air's lift on the weights, plus its lift on the piece",
        dry * bench.buoyancy + bench.air * volume,
        "g",
    )


def _host(s: Sheet, rock: Rock, weighing: Weighing, bench: Bench) -> Term:
    if rock.density_g_cm3 is not None:
        density = s.likely(rock.density_g_cm3, "density of the rock, g/cm³", "entered", "g/cm³")
        return s.step("As entered", density, "g/cm³")
    if rock.kind is not None:
        named = materials.rock(rock.kind)
        spread = named.density_g_cm3.spread.within(DENSITY_G_CM3)
        label = named.label.lower()
        density = s.likely(spread, f"density of {label}, g/cm³", f"table of rocks: {named.source}", "g/cm³")
        return s.step(f"From the table of rocks: {label}", density, "g/cm³")
    if rock.chip is not None:
        return _chip(s, rock.chip, weighing, bench)
    return _mixed(s, rock)


def _chip(s: Sheet, chip: Chip, weighing: Weighing, bench: Bench) -> Term:
    method = chip.method or weighing.method
    wet = chip.submerged_g if method == "suspended" else chip.displaced_g
    depth, source = chip.line_extra_depth_mm, "entered"
    if depth is None and method == weighing.method:
        depth, source = weighing.line_extra_depth_mm, origin(weighing, "line_extra_depth_mm")
    if not chip.same_water:
        kind = chip.water_kind or weighing.water_kind
        temperature = chip.water_temperature_degc or weighing.water_temperature_degc
        told = "entered" if chip.water_temperature_degc else origin(weighing, "water_temperature_degc")
        bench = Bench(bench.air, bench.buoyancy, _water(s, kind, temperature, told, "chip's "))
    body = Body("chip", method, chip.dry_g, wet or (), depth, source)
    dry = _dry(s, body)
    volume = _volume(s, body, weighing, bench, dry if method == "suspended" else None)
    mass = _mass(s, dry, bench, volume)
    return s.step("Mass of the chip over its volume", mass / volume, "g/cm³")


def _mixed(s: Sheet, rock: Rock) -> Term:
    first, *others = rock.minerals or ()
    shares = []
    remainder = Term.number(Decimal(1))
    for mineral in others:
        assert mineral.volume_frac is not None
        shares.append(s.likely(mineral.volume_frac, f"share of {mineral.name}", "entered", "frac"))
        remainder = remainder - shares[-1]
    if others:
        remainder = s.step(f"What is left for {first.name}", remainder)
    total = remainder * _mineral_density(s, rock, 0)
    for i, share in enumerate(shares, start=1):
        total = total + share * _mineral_density(s, rock, i)
    return s.step("Density of the mixture", total, "g/cm³")


def _mineral_density(s: Sheet, rock: Rock, i: int) -> Term:
    assert rock.minerals is not None
    mineral = rock.minerals[i]
    name = f"density of {mineral.name}, g/cm³"
    if mineral.density_g_cm3 is not None:
        return s.likely(mineral.density_g_cm3, name, "entered", "g/cm³")
    row = materials.mineral(mineral.name)
    spread = row.density_g_cm3.spread.within(DENSITY_G_CM3)
    return s.likely(spread, name, f"table of minerals: {row.source}", "g/cm³")
