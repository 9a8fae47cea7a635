"""Two requests from weighings to net proceeds, worked out again in a general uncertainty library.

metrolopy draws and combines the quantities here by its own means. The equations and constants are typed from the model,
with their published sources; nothing is called from `valuation` but `quote`.
"""

import math
import tomllib
from functools import cache
from pathlib import Path

import metrolopy
import numpy as np
import pytest
from metrolopy import Distribution, NormalDist, TriangularDist, UniformDist, gummy
from scipy import stats

from valuation import quote, read_request

CASES = Path(__file__).parents[1] / "cases"
N = 250_000
N_BATCHES = 20
SCRAMBLES = 8
DEFAULT_FINENESS = {"low": 0.75, "likely": 0.85, "high": 0.92}
DEFAULT_RECOVERY = {"low": 0.92, "likely": 0.96, "high": 0.98}
VEIN_QUARTZ_G_CM3 = {"low": 2.60, "likely": 2.63, "high": 2.65}  # common practice, no source
TROY_OUNCE_G = 31.1034768


class TruncatedNormal(Distribution):
    """A normal quantity within physical limits."""

    def __init__(self, value, sd, low, high):
        self.reference = stats.truncnorm((low - value) / sd, (high - value) / sd, loc=value, scale=sd)

    def random(self, n=None):
        return self.reference.rvs(size=n, random_state=Distribution.random_state())

    def x(self):
        return self.reference.mean()

    def u(self):
        return self.reference.std()


def quantity(entered, low=-math.inf, high=math.inf):
    """A quantity as entered in a request."""
    if not isinstance(entered, dict):
        return entered
    if "sd" in entered:
        return gummy(TruncatedNormal(entered["value"], entered["sd"], low, high))
    if "likely" in entered:
        return gummy(TriangularDist(entered["likely"], lower_limit=entered["low"], upper_limit=entered["high"]))
    return gummy(UniformDist(lower_limit=entered["low"], upper_limit=entered["high"]))


def between(low, high):
    return gummy(UniformDist(lower_limit=low, upper_limit=high))


def normal(sd):
    return gummy(NormalDist(0.0, sd))


def pure_water_g_cm3(t):
    """Tanaka et al., Metrologia 38 (2001) 301."""
    return 0.99997495 * (1.0 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def moist_air_g_cm3(t, p, h):
    """OIML R 111-1 (E.3-1); h as a fraction."""
    return (0.34848 * p - 0.9 * h * metrolopy.exp(0.061 * t)) / (t + 273.15) / 1000.0


class Bench:
    """The balance, the water and the air, shared by the piece and the chip."""

    def __init__(self, entered):
        self.d = entered["readability_g"]
        self.repeatability_g = entered.get("repeatability_g", self.d)
        self.linearity_g = entered.get("linearity_g", self.d)
        tolerance = entered.get("span_tolerance_frac", 0.0005)
        self.span = between(-tolerance, tolerance)
        self.water = pure_water_g_cm3(quantity(entered.get("water_temperature_degc", {"low": 15.0, "high": 25.0})))
        if entered.get("water_kind", "tap") == "tap":
            self.water = self.water + between(0.0, 0.0005)
        pressure = 1013.25 * (1.0 - 0.0065 * entered.get("altitude_m", 0.0) / 288.15) ** 5.25588
        if "air_pressure_hpa" in entered:
            pressure = quantity(entered["air_pressure_hpa"])
        temperature = quantity(entered.get("air_temperature_degc", 20.0))
        self.air = moist_air_g_cm3(temperature, pressure, quantity(entered.get("air_humidity_frac", 0.5)))
        self.line_mm = entered.get("line_diameter_mm", 0.3)
        self.line_depth_mm = entered.get("line_extra_depth_mm", 0.0)
        self.zeroed_with_line = entered.get("zeroed_with_line", False)
        self.trapped = entered.get("trapped_air_frac", 0.0003)
        self.suspended = entered.get("method", "suspended") == "suspended"

    def reading_g(self, readings):
        s = max(self.repeatability_g, np.std(readings, ddof=1))
        rounding = between(-self.d / 2, self.d / 2) - between(-self.d / 2, self.d / 2)
        linearity = between(-self.linearity_g, self.linearity_g)
        return np.mean(readings) + rounding + normal(s / math.sqrt(len(readings))) + linearity

    def mass_and_volume(self, entered):
        dry = self.reading_g(entered["dry_g"])
        wet = self.reading_g(entered["submerged_g"] if self.suspended else entered["displaced_g"])
        pull_g = 1000.0 * 0.0728 * math.pi * self.line_mm * 1e-3 / 9.80665
        if self.zeroed_with_line:
            wet = wet + between(-pull_g / 2, pull_g / 2)
        else:
            wet = wet - between(0.0, pull_g) if self.suspended else wet + between(0.0, pull_g)
        dry, wet = dry * (1.0 + self.span), wet * (1.0 + self.span)
        buoyancy = 1.0 - self.air / 8.0
        volume = ((dry - wet) if self.suspended else wet) * buoyancy / (self.water - self.air)
        volume = volume - math.pi / 4.0 * (self.line_mm / 10.0) ** 2 * quantity(self.line_depth_mm) / 10.0
        volume = volume * (1.0 - between(0.0, self.trapped))
        return dry * buoyancy + self.air * volume, volume


def payable_ozt(assayed, terms):
    tiers = terms["payable"] if isinstance(terms["payable"], list) else [{"from_ozt": 0.0, "frac": terms["payable"]}]
    least = terms.get("minimum_deduction_ozt", 0.0)

    def paid(ounces):
        share = [tier["frac"] for tier in tiers if ounces >= tier["from_ozt"]]
        return max(0.0, min(ounces * share[-1], ounces - least)) if share else 0.0

    return gummy.napply(paid, assayed)


def net_proceeds(entered, mass, fine, silver):
    """Refining, discounted to the day of the quote."""
    terms, spot = entered["refiner"], entered["spot"]
    unit = {"ozt": 1.0, "g": TROY_OUNCE_G}[spot.get("unit", "ozt")]
    years = terms["settlement_days"] / 365.0

    def later(price, volatility):
        scale = volatility * math.sqrt(years)
        return price * unit * metrolopy.exp(normal(scale) - scale**2 / 2.0)

    recovery = quantity(terms.get("recovery_frac", DEFAULT_RECOVERY), 0.0, 1.0)
    payable = payable_ozt(fine * recovery / TROY_OUNCE_G, terms)
    value = payable * later(spot["gold"], spot.get("gold_volatility_per_year", 0.18))
    net = value - value * terms.get("price_discount_frac", 0.0) - value * terms.get("insurance_frac", 0.0)
    net = net - payable * terms.get("refining_per_ozt", 0.0) - mass / 1000.0 * terms.get("treatment_per_kg", 0.0)
    net = net - terms.get("assay_fee", 0.0) - terms.get("lot_fee", 0.0) - terms.get("freight", 0.0)
    if "silver_payable_frac" in terms:
        paid = silver * recovery * terms["silver_payable_frac"] / TROY_OUNCE_G
        net = net + paid * later(spot["silver"], spot.get("silver_volatility_per_year", 0.30))
    return net * math.exp(-entered.get("buyer", {}).get("capital_rate_per_year", 0.10) * years)


def chain(entered):
    """Every figure of the chain as a metrolopy quantity, before impossible draws are dropped."""
    bench = Bench(entered["weighing"])
    mass, volume = bench.mass_and_volume(entered["weighing"])
    if "chip" in entered["rock"]:
        chip_mass, chip_volume = bench.mass_and_volume(entered["rock"]["chip"])
        host, solid = chip_mass / chip_volume + normal(0.005), volume
    else:
        host, solid = quantity(VEIN_QUARTZ_G_CM3), volume * (1.0 - between(0.0, 0.002))
    gold = entered.get("gold", {})
    f = quantity(gold.get("fineness_frac", DEFAULT_FINENESS), 0.0, 1.0)
    copper = (1.0 - f) * quantity(gold.get("copper_share_frac", 0.03))
    ag = 1.0 - f - copper
    alloy = (1.0 + normal(0.004)) / (f / 19.30 + ag / 10.49 + copper / 8.96)
    native = (mass - host * solid) / (1.0 - host / alloy)
    fine, silver = f * native, ag * native
    return {
        "mass_g": mass,
        "volume_cm3": volume,
        "native_gold_g": native,
        "fine_gold_g": fine,
        "fine_silver_g": silver,
        "refine": net_proceeds(entered, mass, fine, silver),
    }


def entered_in(name):
    return tomllib.loads((CASES / f"{name}.toml").read_text(encoding="utf-8"))


def figures_of(values):
    low, median, high = np.quantile(values, [0.025, 0.5, 0.975])
    return np.array([np.mean(values), np.std(values), median, low, high])


@cache
def simulated(name):
    """Draws of every figure by metrolopy, impossible ones dropped, and the share that was kept."""
    quantities = chain(entered_in(name))
    Distribution.set_seed(20260314)
    gummy.simulate(list(quantities.values()), n=N)
    drawn = {key: np.asarray(q.simdata, dtype=float) for key, q in quantities.items()}
    possible = (drawn["native_gold_g"] >= 0.0) & (drawn["native_gold_g"] <= drawn["mass_g"])
    return {key: values[possible] for key, values in drawn.items()}, float(possible.mean())


def by_metrolopy(name, key):
    """Mean, sd, median, ends, and the standard error of each from batches."""
    values = simulated(name)[0][key]
    batches = np.array([figures_of(batch) for batch in np.array_split(values, N_BATCHES)])
    return figures_of(values), batches.std(axis=0, ddof=1) / math.sqrt(N_BATCHES)


@cache
def quoted(name):
    """The quote, and the same by other scrambles, from whose scatter its own error is known."""
    request = read_request(entered_in(name))
    return quote(request), [quote(request, seed=seed) for seed in range(1, SCRAMBLES + 1)]


def by_the_engine(name, key):
    def figures(q):
        found = q.routes[0] if key == "refine" else getattr(q, key)
        return np.array([found.mean, found.sd, found.median, found.low, found.high])

    here, others = quoted(name)
    return figures(here), np.std([figures(q) for q in others], axis=0, ddof=1)


REQUESTS = ["suspended_named_rock", "displaced_chip"]


@pytest.mark.parametrize("name", REQUESTS)
class TestAgainstMetrolopy:
    @pytest.mark.parametrize("key", ["mass_g", "volume_cm3", "native_gold_g", "fine_gold_g", "fine_silver_g", "refine"])
    def test_mean_sd_median_and_interval(self, name, key):
        reference, reference_error = by_metrolopy(name, key)
        ours, our_error = by_the_engine(name, key)
        allowed = 4.0 * np.hypot(reference_error, our_error)
        assert (np.abs(ours - reference) <= allowed).all(), (ours - reference, allowed)
        # The errors that were allowed are small beside the doubt itself, or the test would say nothing.
        assert (allowed < 0.1 * reference[1]).all()

    def test_share_of_possible_draws(self, name):
        kept = simulated(name)[1]
        ours, others = quoted(name)
        error = math.hypot(np.std([q.kept_frac for q in others]), math.sqrt(kept * (1.0 - kept) / N))
        assert abs(ours.kept_frac - kept) <= 4.0 * error + 1e-5

    def test_first_order_propagation_gives_the_scatter_of_volume_and_mass(self, name):
        # Nearly linear, so metrolopy's law of propagation (JCGM 100) must agree too.
        quantities = chain(entered_in(name))
        for key in ("mass_g", "volume_cm3"):
            assert float(quantities[key].u) == pytest.approx(by_the_engine(name, key)[0][1], rel=0.01)


def test_the_two_requests_cover_the_chain_s_branches():
    one, other = (quoted(name)[0] for name in REQUESTS)
    assert one.kept_frac == 1.0
    assert 0.9 < other.kept_frac < 0.99
    # Assayed ounces lie on both sides of the minimum deduction's reach in one, of the tier in the other.
    fine_ozt = simulated(REQUESTS[0])[0]["fine_gold_g"] / TROY_OUNCE_G
    reach = 0.038 / (1.0 - 0.97)
    assert 0.05 < np.mean(0.953 * fine_ozt > reach) < 0.95
    fine_ozt = simulated(REQUESTS[1])[0]["fine_gold_g"] / TROY_OUNCE_G
    assert 0.05 < np.mean(0.96 * fine_ozt > 0.03) < 0.95
