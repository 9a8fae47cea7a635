"""The equations on the method page are those of the program: each is worked out and held against it."""

import ast
import math
import re
from functools import reduce
from typing import Any

import numpy as np
import pytest
from bs4 import BeautifulSoup

from scenarios import scenario
from valuation import evidence, quote, read_request
from valuation.asks import all_in
from valuation.collector import sold_intact
from valuation.comparables import foretold, nearness
from valuation.counters import next_counter
from valuation.deals import advance_terms
from valuation.decision import nothing_learnt, simulated_outcomes
from valuation.detection import false_gold_g, hand_rules, threshold
from valuation.draws import Draws
from valuation.evidence_tests import settled_terms
from valuation.fluids import air_density_g_cm3, pressure_at_altitude_hpa, water_density_g_cm3
from valuation.gold import U_ALLOY_REL, U_CHIP_LIKENESS_G_CM3, gold_by_density, native_density_g_cm3
from valuation.mass import G_PER_OZT
from valuation.materials import alloy_model, lookalikes, metals
from valuation.measurements import measurement, untold
from valuation.negotiation import fair_split, route_result
from valuation.observations import Gold, Rock, Weighing
from valuation.premium import PremiumModel
from valuation.refining import Lot, settled
from valuation.rubric import log_premium, qualities
from valuation.spread import PREMIUM, Spread
from valuation.stages import valued
from valuation.stakes import bargains, stakes_of
from valuation.summary import quantiles
from valuation.terms import Ask, Buyer, Collector, Refiner, Spot
from valuation.weighing import (
    ADJUSTMENT_WEIGHT_G_CM3,
    STANDARD_GRAVITY_M_S2,
    SURFACE_TENSION_N_M,
    air_g_cm3,
    water_g_cm3,
    weighed_chip,
    weighed_specimen,
)
from webapp.equations import stages
from webapp.mathml import equation, plain

FUNCTIONS = {
    "exp": np.exp,
    "sqrt": np.sqrt,
    "pi": math.pi,
    "total": np.sum,
    "product": np.prod,
    "min": lambda *values: reduce(np.minimum, values),
    "max": lambda *values: reduce(np.maximum, values),
}
ALL = [(key, row.text) for key, stage in stages().items() for row in stage.equations]
WORKED: set[tuple[str, str]] = set()


class Mean:
    """E[X] of an equation: the mean of all draws."""

    def __getitem__(self, values: Any) -> float:
        return float(np.mean(values))


def worked(stage: str, left: str, place: int = 0, /, **symbols: Any) -> Any:
    """What the page's equation with that left side gives; `place` tells apart those that have the same."""
    texts = [row.text for row in stages()[stage].equations if row.text.startswith(f"{left} = ")]
    WORKED.add((stage, texts[place]))
    return eval(texts[place].partition(" = ")[2], {"__builtins__": {}, **FUNCTIONS, **symbols})


def exact(**changes: Any) -> Weighing:
    """Readings of a balance without any doubt to speak of."""
    entries = {
        "dry_g": 412.9,
        "submerged_g": 271.5,
        "readability_g": 1e-6,
        "span_tolerance_frac": 0.0,
        "water_kind": "distilled",
        "water_temperature_degc": 21.0,
        "line_diameter_mm": 0.0,
        "trapped_air_frac": 0.0,
    }
    return Weighing.model_validate({**entries, **changes})


EXACT = {"rel": 1e-12}
NEARLY = {"rel": 1e-6}


class TestWeighing:
    def test_mass_volume_and_specific_gravity(self):
        draws = Draws()
        for place, changes in enumerate(({}, {"method": "displaced", "displaced_g": 141.4, "submerged_g": None})):
            weighing = exact(**changes)
            air, water = air_g_cm3(weighing, draws), water_g_cm3("distilled", weighing.water_temperature_degc, draws)
            weighed = weighed_specimen(weighing, draws)
            b = worked("weighing", "b", rho_a=air, rho_r=ADJUSTMENT_WEIGHT_G_CM3)
            volume = worked("weighing", "V", place, W_a=412.9, W_w=271.5, R=141.4, b=b, rho_w=water, rho_a=air)
            mass = worked("weighing", "M", W_a=412.9, b=b, rho_a=air, V=volume)
            assert np.median(weighed.volume_cm3) == pytest.approx(volume, **NEARLY)
            assert np.median(weighed.mass_g) == pytest.approx(mass, **NEARLY)
            gravity = worked("weighing", "SG", M=mass, V=volume)
            assert np.median(weighed.specific_gravity) == pytest.approx(gravity, **NEARLY)

    def test_the_line(self):
        draws = Draws()
        bare, hung = (
            weighed_specimen(exact(line_diameter_mm=0.5, line_extra_depth_mm=depth), draws).volume_cm3
            for depth in (0, 80)
        )
        assert bare - hung == pytest.approx(worked("weighing", "V_line", D=0.05, h=8.0), rel=1e-6)
        pull_g = 1000 * worked("weighing", "w", gamma=SURFACE_TENSION_N_M, D=5e-4, g_0=STANDARD_GRAVITY_M_S2)
        dry = weighed_specimen(exact(), draws).volume_cm3
        water = water_g_cm3("distilled", exact().water_temperature_degc, draws)
        assert (bare - dry).max() * water == pytest.approx(pull_g, rel=2e-3)

    def test_water_air_and_pressure(self):
        a = dict(zip(("a_1", "a_2", "a_3", "a_4", "a_5"), printed_coefficients(), strict=True))
        for t in (4.0, 20.0, 33.0):
            assert worked("fluids", "rho_w", t=t, **a) == pytest.approx(water_density_g_cm3(t), **EXACT)
            y = worked("fluids", "y", t=t)
            air = worked("fluids", "rho_a", p=1005.0, H=40.0, t=t, y=y)
            assert air == pytest.approx(air_density_g_cm3(t, 1005.0, 0.4), **EXACT)
        k = worked("fluids", "k", z=1609.0)
        assert worked("fluids", "p", k=k) == pytest.approx(pressure_at_altitude_hpa(1609.0), rel=1e-9)


def printed_coefficients() -> list[float]:
    symbols = stages()["fluids"].symbols
    return [float(symbols[f"a_{i}"].split()[0].replace("−", "-")) for i in range(1, 6)]


class TestRockAndGold:
    def test_the_rock(self):
        rho, draws, weighing = np.array([2.65, 5.0]), Draws(), exact()
        mixed = {"minerals": [{"name": "quartz", "density_g_cm3": 2.65}, {"name": "pyrite", "volume_frac": 0.02}]}
        mixed["minerals"][1]["density_g_cm3"] = 5.0
        content = gold_by_density(
            weighed_specimen(weighing, draws), Rock.model_validate(mixed), Gold(), weighing, draws
        )
        assert content.host_g_cm3 == pytest.approx(worked("rock", "rho_h", x_i=np.array([0.98, 0.02]), rho_i=rho))
        chip = Rock.model_validate({"chip": {"dry_g": 38.4, "submerged_g": 23.9}})
        of_chip = weighed_chip(chip.chip, weighing, draws)
        content = gold_by_density(weighed_specimen(weighing, draws), chip, Gold(), weighing, draws)
        u_c = U_CHIP_LIKENESS_G_CM3 * draws.z("chip_likeness")
        host = worked("rock", "rho_h", 1, M_c=of_chip.mass_g, V_c=of_chip.volume_cm3, u_c=u_c)
        assert content.host_g_cm3 == pytest.approx(host, **EXACT)

    def test_native_and_fine_gold(self):
        draws, weighing = Draws(), exact()
        weighed = weighed_specimen(weighing, draws)
        rock = Rock.model_validate({"kind": "vein-quartz", "void_frac": 0.001})
        content = gold_by_density(weighed, rock, Gold(), weighing, draws)
        solid = worked("rock", "V_s", V=weighed.volume_cm3, phi=0.001)
        assert content.solid_cm3 == pytest.approx(solid, **EXACT)
        alloy = content.alloy
        native = worked("gold", "G", M=weighed.mass_g, rho_h=content.host_g_cm3, V_s=solid, rho_n=alloy.density_g_cm3)
        assert content.native_g == pytest.approx(native, **EXACT)
        assert content.fine_g == pytest.approx(worked("gold", "F", f=alloy.fineness_frac, G=native), **EXACT)
        assert content.silver_g == pytest.approx(worked("gold", "S", s=alloy.silver_frac, G=native), **EXACT)
        rule = next(row.text for row in stages()["gold"].equations if " = " not in row.text)
        WORKED.add(("gold", rule))
        left = [eval(rule, {"__builtins__": {}, "G": g, "M": m}) for g, m in zip(native, weighed.mass_g, strict=True)]
        assert content.possible.tolist() == left

    def test_the_alloy(self):
        assert alloy_model().u_relative_density == U_ALLOY_REL
        rho = {f"rho_{m.symbol}": m.density_g_cm3 for m in metals().values()}
        density = worked("gold", "rho_n", e=0.003, f=0.85, s=0.13, c=0.02, **rho)
        assert density == pytest.approx(native_density_g_cm3(0.85, 0.02 / 0.15, 0.003), **EXACT)

    def test_what_is_seen(self):
        found = threshold(5.0, 1.2, 0.05)
        y_c = worked("seen", "y_c", u_0=1.2)
        assert (found.critical_g, found.limit_g) == pytest.approx((y_c, worked("seen", "y_d", y_c=y_c, u_K=0.05)))


class TestWaysOut:
    SPOT = Spot(gold=4100.0, silver=48.0)
    LOT = Lot(np.array([40.0] * 16384), np.array([6.0] * 16384), np.asarray(413.0))
    REFINER = Refiner.model_validate(
        {
            "payable": 0.95,
            "minimum_deduction_ozt": 0.1,
            "silver_payable_frac": 0.5,
            "price_discount_frac": 0.01,
            "refining_per_ozt": 8.0,
            "treatment_per_kg": 15.0,
            "assay_fee": 120.0,
            "lot_fee": 10.0,
            "freight": 45.0,
            "insurance_frac": 0.002,
        }
    )

    def later(self, years: Any, draws: Draws) -> Any:
        return worked(
            "price", "P_t", P_0=4100.0, v=self.SPOT.gold_volatility_per_year, t=years, Z=draws.z("gold_price")
        )

    def test_melt_value(self):
        demo = quote(scenario("leaf-gold-walk-in").request())
        melt = worked("price", "melt", F=demo.fine_gold_g.median, P_0=4100.0)
        assert demo.melt_value.median == pytest.approx(melt, **EXACT)

    def test_refining(self):
        draws, terms = Draws(), self.REFINER
        found = settled(self.LOT, terms, self.SPOT, 0.1, draws)
        q, years = draws.of("recovery", terms.recovery_frac), 14 / 365
        assayed = worked("refine", "A", F=40.0, q=q)
        payable = worked("refine", "B", A=assayed, p=0.95, d=0.1)
        assert found.payable_ozt == pytest.approx(payable, **EXACT)
        price = self.later(years, draws)
        charges = worked("refine", "T", B=payable, c_r=8.0, M=413.0, c_t=15.0, K=175.0)
        silver_price = 48.0 * np.exp(0.3 * math.sqrt(years) * draws.z("silver_price") - 0.3**2 * years / 2)
        silver = 6.0 * q * 0.5 / G_PER_OZT * silver_price
        net = worked("refine", "N", B=payable, P_t=price, k=0.01, i=0.002, T=charges, Y=silver)
        assert found.net == pytest.approx(net, rel=1e-9)
        assert found.present == pytest.approx(worked("refine", "X", N=net, r=0.1, t=years), rel=1e-9)

    def test_sold_intact(self):
        draws = Draws()
        terms = Collector.model_validate({"premium_frac": 0.6, "sale_chance_frac": 1.0})
        premium = PremiumModel("entered", Spread(value=0.6).within(PREMIUM))
        found = sold_intact(self.LOT, terms, premium, None, self.SPOT, 0.1, draws)
        melt = worked("price", "melt", F=40.0, P_0=self.later(found.years, draws))
        price = worked("intact", "U", melt_t=melt, g=0.6)
        assert found.price == pytest.approx(price, rel=1e-9)
        assert found.present == pytest.approx(worked("intact", "X", U=price, j=0.12, r=0.1, t=found.years), rel=1e-9)

    def test_premium_by_grades_and_by_sales(self):
        graded = {"visible_gold": "bold", "condition": "worn", "size": "small"}
        factors = np.array([qualities()[quality].grades[grade].likely for quality, grade in graded.items()])
        likely = log_premium(graded).likely
        assert likely is not None
        assert math.exp(likely) == pytest.approx(worked("intact", "1 + g", k_i=factors), **EXACT)
        request = scenario("comparable-sales").request()
        assert request.collector is not None and request.collector.comparables is not None
        sales, on, grade = request.collector.comparables, request.quoted_at.date(), request.collector.grade
        near = np.array([nearness(sale, 40.0, grade, on) if sale.date <= on else 0.0 for sale in sales])
        assert foretold(sales, 40.0, grade, on).n_effective == pytest.approx(worked("intact", "n_eff", w_j=near))


class TestBargain:
    def test_ceiling_and_fair_range(self):
        buyer = Buyer.model_validate({"handling_cost": 60.0, "cash_increment": 0.01})
        proceeds = np.random.default_rng(7).normal(5000.0, 900.0, 4096)
        found = route_result("refine", proceeds, buyer)
        by_margin = worked("offer", "C_m", E=Mean(), X=proceeds, H=60.0, m=0.15)
        by_risk = worked("offer", "C_q", Q_alpha=lambda x: quantiles(x, 0.1)[0], X=proceeds, H=60.0)
        assert (found.ceiling_by_margin, found.ceiling_by_risk) == pytest.approx((by_margin, by_risk), **EXACT)
        assert found.ceiling == pytest.approx(worked("offer", "C", C_m=by_margin, C_q=by_risk), **EXACT)
        split = fair_split(5260.0, 3800.0, buyer, "USD")
        assert split is not None
        ends = [worked("offer", end, L=3800.0, C=5260.0) for end in ("low", "middle", "high")]
        assert [split.fair.low, split.fair.middle, split.fair.high] == pytest.approx(ends, abs=0.005)

    @pytest.mark.parametrize("said", [4400.0, 4600.0, 4800.0, 9000.0])
    def test_asking_price_and_the_next_figure(self, said: float):
        ask = Ask.model_validate(
            {"price": 5200, "fee_frac": 0.05, "shipping": 20, "tax_frac": 0.08, "currency": "EUR", "exchange_rate": 1.1}
        )
        assert all_in(ask, "USD") == pytest.approx(worked("ask", "A", a=5200.0, f=0.05, y=20.0, x=0.08, e=1.1), **EXACT)
        split = fair_split(5260.0, 3800.0, Buyer(), "USD")
        assert split is not None
        mirrored = worked("ask", "b", middle=split.fair.middle, s=said)
        next_one = worked("ask", "n", o=0.0, low=split.fair.low, b=mirrored)
        answer = next_counter("buyer", said, None, split, "USD")
        # A figure under the middle is taken as it is.
        assert answer.figure == (pytest.approx(next_one) if said > split.fair.middle else said)

    def test_advance(self):
        v = valued(scenario("no-fair-cash-price").request(), Draws())
        net, discount, buyer = np.random.default_rng(8).normal(4000.0, 700.0, v.draws.n), 0.99, v.request.buyer
        terms = advance_terms(net, discount, v)
        assert terms is not None
        positive = np.maximum(0.0, net)
        q = quantiles(positive, buyer.loss_chance_frac)[0]
        outlay = worked("deals", "B", q=q, D=discount, E=Mean(), N=positive)
        k = worked("deals", "k", D=discount, E=Mean(), N=positive, H=buyer.handling_cost, m=buyer.margin_frac, B=outlay)
        assert terms.share_frac == pytest.approx(k, **EXACT)
        assert terms.today == pytest.approx(worked("deals", "now", k=k, q=q), **EXACT)
        assert terms.later(net) == pytest.approx(worked("deals", "later", k=k, N=positive, q=q), **EXACT)


class TestChecks:
    def test_rules_of_thumb(self):
        quick, long = hand_rules(exact(), Gold(), 40.0, 4100.0)
        assert quick.native_g == pytest.approx(worked("checks", "quick", W_a=412.9, W_w=271.5), **EXACT)
        # The rule's own ounce is 31.103 g.
        assert long.native_g == pytest.approx(31.103 * worked("checks", "long", W_a=412.9, W_w=271.5), **EXACT)

    def test_look_alikes(self):
        draws, weighing = Draws(), exact()
        weighed = weighed_specimen(weighing, draws)
        content = gold_by_density(weighed, Rock.model_validate({"density_g_cm3": 2.63}), Gold(), weighing, draws)
        native = float(np.mean(content.alloy.density_g_cm3))
        for key, sign in (("brass", 1), ("resin", -1)):
            density = lookalikes()[key].density_g_cm3.likely
            grams = worked("checks", "G_x", V_x=1.0, rho_x=density, rho_h=2.63, rho_n=native)
            assert false_gold_g(content, weighed.volume_cm3)[f"{key}_g"] == pytest.approx(sign * grams, rel=1e-9)


class TestEvidence:
    def test_the_weight_of_a_draw(self):
        q, u = np.array([2.60, 2.63, 2.70]), 0.05
        weights = simulated_outcomes(q[None], np.array([u]), 8).weights
        # What was shown follows from two draws; the third is weighted by the equation then.
        shown = (q[0] + q[1]) / 2 - u**2 * np.log(weights[0] / weights[1]) / (q[1] - q[0])
        w = worked("evidence", "w", y=shown, q=q[:, None], u=u)
        assert weights == pytest.approx(w / w.sum(axis=0), rel=1e-9)

    def test_gain_what_is_left_and_worth_to_the_house_alone(self):
        request = read_request(scenario("chip-pays").entries)
        chip, v = evidence(request).tests[0], valued(request, Draws())
        assert chip.kind == "chip" and v.request.weighing is not None
        terms = settled_terms(request.tests[0], v.request.weighing, v.money_per_g, 2.7, "USD")
        measured, stakes = measurement(terms, v), stakes_of(v)
        assert measured is not None
        outcomes = simulated_outcomes(measured.values, measured.u).calibrated(untold(v))
        after, today = bargains(stakes, outcomes), bargains(stakes, nothing_learnt(outcomes.prior))
        sides = {"B_1": after.house.mean(), "S_1": after.seller.mean(), "B_0": today.house[0], "S_0": today.seller[0]}
        gain = worked("evidence", "D", **sides)
        assert gain == pytest.approx(chip.gain_both, abs=1e-5)
        assert worked("evidence", "R", D=gain, c=chip.cost, d=chip.damage) == pytest.approx(chip.net, abs=1e-5)
        m = after.means[0] - request.buyer.handling_cost
        asked = {"E": Mean(), "m": m, "A": request.seller.other_bid}
        value = worked("evidence", "v", v_1=worked("evidence", "v_1", **asked), v_0=worked("evidence", "v_0", **asked))
        assert value == pytest.approx(chip.decision_value, abs=1e-5)


@pytest.fixture(scope="module", autouse=True)
def _every_equation_is_worked_out(request: pytest.FixtureRequest):
    yield
    mine = [item for item in request.session.items if item.path == request.path]
    if {type(item.parent).__name__ for item in mine} == {"Class", "Module"} and len(mine) > len(ALL) + 10:
        assert set(ALL) - WORKED == set(), "equations that no test works out"


@pytest.mark.parametrize(("stage", "text"), ALL)
def test_every_symbol_is_explained_and_set_whole(stage: str, text: str) -> None:
    names = {
        node.id
        for side in text.split(" = ")
        for node in ast.walk(ast.parse(side, mode="eval"))
        if isinstance(node, ast.Name)
    }
    known = {name for row in stages().values() for name in row.symbols} | {*FUNCTIONS}
    assert names - known == set()
    soup = BeautifulSoup(equation(text), "html.parser")
    assert soup.math is not None and soup.math["alttext"] == plain(text)
    # Every number and letter of the text stands in what is set, in the same order but for what fractions turn round.
    spelt = re.sub(r"[^0-9A-Za-zα-ωΑ-Ω.]", "", plain(text).replace("sqrt", "").replace("²", "2"))
    shown = re.sub(r"[^0-9A-Za-zα-ωΑ-Ω.]", "", soup.get_text())
    greek = {"φ": "phi", "α": "alpha"}
    assert sorted(_spelt_out(shown, greek)) == sorted(_spelt_out(spelt, greek))


def _spelt_out(text: str, greek: dict[str, str]) -> str:
    for letter, name in greek.items():
        text = text.replace(letter, name)
    return text


def test_an_expression_that_cannot_be_set_is_refused() -> None:
    with pytest.raises(ValueError, match="no way to set"):
        equation("a = [b]")


def test_brackets_follow_the_arithmetic() -> None:
    words = BeautifulSoup(equation("a = (b - (c - d))*(e + f)**2/(g*h) + (i - j)"), "html.parser").get_text()
    assert words.replace("\u2062", "") == "a=(b−(c−d))(e+f)2gh+i−j"


def test_a_request_can_be_read_from_the_page_example() -> None:
    entries = {
        "quoted_at": "2026-03-14T10:24:00-07:00",
        "weighing": {"dry_g": 412.9, "submerged_g": 271.5, "readability_g": 0.05},
        "rock": {"density_g_cm3": 2.63},
        "gold": {"fineness_frac": 0.85},
        "spot": {"gold": 4100.0},
    }
    found = quote(read_request(entries))
    assert found.volume_cm3 is not None
    assert round(found.volume_cm3.median) == 142 and round(142 * 2.63) == 373
    assert found.native_gold_g.median == pytest.approx(48, abs=0.8)
    assert found.fine_gold_g.median == pytest.approx(41, abs=0.6)
    assert found.fine_gold_g.median / G_PER_OZT == pytest.approx(1.3, abs=0.05)
