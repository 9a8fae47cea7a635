"""The printed arithmetic: every step recomputed from its printed numbers, every headline held against the quote."""

import json
import math
import re
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal, localcontext

import pytest
from hypothesis import example, given, settings

import scenarios
from tests.valuation.strategies import STEADY, changed, good, requests
from valuation import QuoteRequest, ValuationError, quote, working
from valuation.draws import LOG2_DRAWS, SEED, Draws
from valuation.money import currency_digits
from valuation.stages import valued
from valuation.summary import decimals_for, summarised
from valuation.working_term import Term, exp, least, most, stepped

FEW_DRAWS = 10
WHOLLY = None  # shown with every digit
# Changes of unit and geometry that every schoolbook has.
SCHOOLBOOK = {"0", "1", "2", "4", "12", "100", "365", "1000"}
NUMBER = re.compile(r"\d+(?:\.\d+)?")
PUBLIC = {
    "volume_cm3",
    "mass_g",
    "specific_gravity",
    "rock_density_g_cm3",
    "native_gold_g",
    "fine_gold_g",
    "critical_g",
    "melt_value",
    "settlement_total",
}
BOUGHT_FOR = {
    "buyer.margin_frac": 0.31,
    "buyer.loss_chance_frac": 0.02,
    "buyer.handling_cost": 111.0,
    "buyer.capital_rate_per_year": 0.23,
    "buyer.cash_increment": 7.0,
    "collector.premium_frac": 2.0,
    "collector.sale_chance_frac": 0.5,
    "seller.other_bid": 2900.0,
    "seller.asks": {"price": 5000.0},
}
BY_MINERALS = {
    "rock": {
        "minerals": [
            {"name": "quartz"},
            {"name": "pyrite", "volume_frac": {"low": 0.0, "likely": 0.002, "high": 0.01}},
            {"name": "calcite", "volume_frac": 0.05, "density_g_cm3": 2.71},
        ]
    }
}
BY_CHIP = {
    "rock": {
        "chip": {
            "dry_g": [64.1, 64.2],
            "displaced_g": 24.35,
            "method": "displaced",
            "line_extra_depth_mm": 30.0,
            "same_water": False,
            "water_kind": "tap",
            "water_temperature_degc": 17.5,
        }
    }
}
SALES = [
    {"date": f"2025-0{i}-11", "price": 2000.0 + 150 * i, "fine_g": 30.0 + i, "spot": 3300.0 + 10 * i}
    for i in range(1, 7)
]
OTHER_REQUESTS = {
    "as it is": {},
    "minerals": BY_MINERALS,
    "chip in other water": BY_CHIP,
    "altitude": {"weighing.altitude_m": 2100.0},
    "pressure": {"weighing.air_pressure_hpa": {"low": 980.0, "high": 1010.0}},
    "line wetted": {"weighing.line_extra_depth_mm": {"low": 0.0, "likely": 2.0, "high": 10.0}},
    "rubric": {"collector": {"rubric": {"visible_gold": "bold", "condition": "worn"}}},
    "comparables": {"collector": {"comparables": SALES}},
    "collector's price": {"collector": {"price": {"low": 4000.0, "high": 9000.0}}},
    "only an intact sale": {"buyer.routes": ["intact"]},
    "certain sale": {"collector.sale_chance_frac": 1.0},
    "own refining of the seller": {"seller": {"refiner": {"payable": 0.9}, "effort_cost": 50.0, "minimum": 100.0}},
    "floor assumed": {"seller": {}},
    "no deal": {"seller.other_bid": 9000.0},
    "almost no surplus": {"seller.other_bid": 5266.99, "buyer.cash_increment": 0.01},
    "ask with extras": {
        "seller.asks": {
            "price": 3999.99,
            "shipping": 35.5,
            "fee_frac": 0.2,
            "tax_frac": 0.07,
            "currency": "EUR",
            "exchange_rate": 1.0837,
        }
    },
    "several refiners": {"other_refiners": [{"name": "Another", "payable": 0.97, "price_fixed": "receipt"}]},
    "lot too small": {"refiner.minimum_lot_ozt": 50.0},
    "not worth sending": {"refiner.assay_fee": 90_000.0},
    "silver, discount, receipt": {
        "refiner.silver_payable_frac": 0.8,
        "refiner.silver_recovery_frac": {"low": 0.5, "likely": 0.8, "high": 0.9},
        "refiner.price_discount_frac": 0.0125,
        "refiner.price_fixed": "receipt",
    },
    "per gram in yen": {"spot.unit": "g", "spot.gold": 21_000.0, "spot.silver": 250.0, "spot.currency": "JPY"},
    "per kilogram in dinars": {"spot.unit": "kg", "spot.gold": 41_000.0, "spot.silver": 480.0, "spot.currency": "KWD"},
}


# ---- a calculator of its own


class Calculator:
    """Value of a printed expression, by the rules that a school teaches: ^ before × ÷ before + −, from the left."""

    def __init__(self, text):
        self.tokens = re.findall(r"\d+(?:\.\d+)?|[a-z]+|[−+×÷^();]", text)
        assert "".join(self.tokens) == text.replace(" ", ""), text
        self.at = 0

    def next(self):
        self.at += 1
        return self.tokens[self.at - 1]

    def sees(self, *signs):
        return self.at < len(self.tokens) and self.tokens[self.at] in signs

    def value(self):
        found = self.sum()
        assert self.at == len(self.tokens)
        return found

    def sum(self):
        found = self.product()
        while self.sees("+", "−"):
            found = found + self.product() if self.next() == "+" else found - self.product()
        return found

    def product(self):
        sign = -1 if self.sees("−") and self.next() else 1
        found = sign * self.power()
        while self.sees("×", "÷"):
            found = found * self.power() if self.next() == "×" else found / self.power()
        return found

    def power(self):
        base = self.atom()
        while self.sees("^"):
            self.next()
            base = (self.atom() * base.ln()).exp()
        return base

    def atom(self):
        token = self.next()
        if token == "(":
            found = self.sum()
            assert self.next() == ")"
            return found
        if token[0].isdigit():
            return Decimal(token)
        assert self.next() == "("
        arguments = [self.sum()]
        while self.sees(";"):
            self.next()
            arguments.append(self.sum())
        assert self.next() == ")"
        return FUNCTIONS[token](*arguments)


FUNCTIONS = {
    "min": min,
    "max": max,
    "exp": Decimal.exp,
    "ln": Decimal.ln,
    "round": lambda x, step: (x / step).to_integral_value(ROUND_HALF_EVEN) * step,
    "roundup": lambda x, step: (x / step).to_integral_value(ROUND_CEILING) * step,
    "rounddown": lambda x, step: (x / step).to_integral_value(ROUND_FLOOR) * step,
}


def calculated(expression):
    with localcontext() as context:
        context.prec = 100
        return Calculator(expression).value()


def number(text):
    return Decimal(text.replace("−", "-"))


def last_place(text):
    """One in the last printed digit; of a whole number, that may be one of its idle zeros."""
    return Decimal(1).scaleb(number(text).as_tuple().exponent)


@pytest.mark.parametrize(
    ("expression", "value"),
    [
        ("1 + 2 × 3", 7),
        ("(1 + 2) × 3", 9),
        ("12 ÷ 3 ÷ 2", 2),
        ("2 − 3 − 4", -5),
        ("−2 × 3 + 1", -5),
        ("2 ^ 3 × 2", 16),
        ("max(0; min(2 × 3; 5))", 5),
        ("roundup(41; 10) + rounddown(−41; 10) + round(45; 10) + round(55; 10)", 50 - 50 + 40 + 60),
        ("exp(−0.5 × 2) × exp(1)", 1),
    ],
)
def test_the_calculator_of_these_tests_calculates(expression, value):
    assert calculated(expression) == pytest.approx(Decimal(value), abs=Decimal("1e-90"))


def test_calculator_gives_a_worked_example():
    """Water at 20 °C is 998.2067 kg/m³: M. Tanaka et al., Metrologia 38 (2001) 301 (from memory)."""
    steps = steps_of(working(QuoteRequest.model_validate(good())))
    pure = next(step for step in steps if step.label.startswith("Density of pure water"))
    assert calculated(pure.expression) == pytest.approx(Decimal("0.9982067"), abs=Decimal("1e-7"))


# ---- what holds for every working


def steps_of(workings):
    return [step for one in workings for step in one.steps]


def check(request, log2_draws=LOG2_DRAWS):
    """Everything that must hold for the working of a request."""
    told = quote(request, log2_draws=log2_draws)
    workings = working(request, log2_draws=log2_draws)
    for one in workings:
        assert one.steps
        assert one.closing
        assert one.title
        for step in one.steps:
            off = abs(calculated(step.expression) - number(step.result))
            assert off <= last_place(step.result) / 2 * (1 + Decimal("1e-9")), (one.key, step)
    check_sources(workings)
    check_headlines(workings, told, request, log2_draws)
    json.dumps([one.model_dump(mode="json") for one in workings], allow_nan=False)
    public = PUBLIC if told.settlement else PUBLIC - {"settlement_total"}
    assert {one.key for one in workings if not one.private} == public & {one.key for one in workings}


def check_sources(workings):
    """Every printed number is a result from above, a sourced constant or schoolbook knowledge."""
    results = set()
    for one in workings:
        own = {step.result.lstrip("−") for step in one.steps}
        for step in one.steps:
            sourced = {constant.value for constant in step.sources}
            for constant in step.sources:
                assert constant.name
                assert constant.source
            places = set(re.findall(r"round\([^;]*; (\d+(?:\.\d+)?)\)", step.expression))
            unknown = set(NUMBER.findall(step.expression)) - sourced - results - own - SCHOOLBOOK - places
            assert unknown <= {str(abs(number(r)).normalize()) for r in results | own}, (one.key, step, unknown)
        results |= own


def check_headlines(workings, told, request, log2_draws):
    keys = [one.key for one in workings]
    assert len(set(keys)) == len(keys)
    expected = headlines_of(told, request, log2_draws)
    if not told.settlement:  # worked for an unsold piece only, which the quote has no statement of
        keys = [one.key for one in workings if one.key != "settlement_total" or not one.private]
    assert set(expected) == set(keys)
    for one in workings:
        if one.key not in expected:
            continue
        figure, decimals = expected[one.key]
        assert one.figure == pytest.approx(figure, rel=1e-12), one.key
        shown = Decimal(repr(figure))
        if decimals != WHOLLY:
            shown = shown.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_EVEN)
            assert -number(one.steps[-1].result).as_tuple().exponent <= max(0, decimals), one.key
        assert number(one.steps[-1].result) == shown, (one.key, one.steps[-1], figure)


def headlines_of(told, request, log2_draws):
    """The quote's headline figures that must be worked, with the decimals that they are shown at."""
    digits = currency_digits(told.currency)

    def money(sd):
        return digits if sd <= 0 else min(decimals_for(sd), digits)

    found = {}
    for key in ("volume_cm3", "mass_g", "specific_gravity", "native_gold_g", "fine_gold_g"):
        summary = getattr(told, key)
        if summary is not None:
            found[key] = summary.median, min(decimals_for(summary.sd), 6)
    seen = told.detection is None or told.detection.seen
    if told.volume_cm3 is not None:
        v = valued(request, Draws(SEED, log2_draws))
        host = v.content.host_g_cm3
        host = summarised(host if v.draws.kept is None or host.ndim == 0 else host[v.draws.kept])
        found["rock_density_g_cm3"] = host.median, min(decimals_for(host.sd), 6)
    if seen:
        found["melt_value"] = told.melt_value.median, money(told.melt_value.sd)
    else:
        found["critical_g"] = told.detection.critical_g, min(decimals_for(told.detection.critical_g), 6)
    if told.settlement:
        found["settlement_total"] = float(told.settlement[-2].amount), digits
    for route in told.routes:
        key = "refine_net" if route.route == "refine" else "intact_net"
        found[key] = route.mean, money(route.sd)
        found[f"{route.route}_ceiling_by_margin"] = route.ceiling_by_margin, digits
        found[f"{route.route}_ceiling_by_risk"] = route.ceiling_by_risk, digits
    if told.buyer_ceiling is not None:
        found["buyer_ceiling"] = told.buyer_ceiling, digits
    if told.seller_floor is not None:
        found["seller_floor"] = told.seller_floor, digits
    if told.fair is not None:
        found |= {f"fair_{end}": (getattr(told.fair, end), WHOLLY) for end in ("low", "middle", "high")}
        found |= {f"plan_{side}": (getattr(told.plan, side).stop, WHOLLY) for side in ("buyer", "seller")}
    elif told.gap:
        found["gap"] = told.gap, digits
    if told.ask is not None:
        found["ask_all_in"] = told.ask.all_in, digits
    return found


@pytest.mark.parametrize("name", scenarios.names())
def test_working_of_a_scenario_recomputes_to_its_headlines(name):
    check(scenarios.scenario(name).request())


@pytest.mark.parametrize("changes", OTHER_REQUESTS.values(), ids=OTHER_REQUESTS)
def test_working_of_any_way_of_asking_recomputes_to_its_headlines(changes):
    check(QuoteRequest.model_validate(changed(good(), changes)))


@settings(STEADY, max_examples=60)
@given(requests())
@example(good())
def test_working_of_any_request_recomputes_to_its_headlines(entered):
    request = QuoteRequest.model_validate(entered)
    try:
        quote(request, log2_draws=FEW_DRAWS)
    except ValuationError:
        return
    check(request, FEW_DRAWS)


def test_a_wrong_digit_anywhere_would_be_found():
    """The check itself: raise the last digit of each result in turn, and it must object."""
    for step in steps_of(working(QuoteRequest.model_validate(good()))):
        wrong = number(step.result) + last_place(step.result)
        off = abs(calculated(step.expression) - wrong)
        assert off > last_place(step.result) / 2 * (1 - Decimal("1e-9")), step


# ---- what it says


@pytest.fixture
def base_workings():
    return {one.key: one for one in working(QuoteRequest.model_validate(good()))}


def test_whatever_only_the_house_knows_leaves_the_public_working_alone(base_workings):
    other = working(QuoteRequest.model_validate(changed(good(), BOUGHT_FOR)))
    public = [one for one in base_workings.values() if not one.private]
    assert [one.model_dump_json() for one in other if not one.private] == [one.model_dump_json() for one in public]
    assert {one.key for one in public} == PUBLIC - {"critical_g"}
    mine, theirs = ({one.key: one.figure for one in every if one.private} for every in (base_workings.values(), other))
    assert all(theirs[key] != figure for key, figure in mine.items() if not key.startswith("fair_middle"))


def test_ceilings_start_from_the_printed_mean_and_quantile(base_workings):
    told = quote(QuoteRequest.model_validate(good()))
    for route in told.routes:
        first = base_workings[f"{route.route}_ceiling_by_margin"].steps[0]
        mean = next(constant for constant in first.sources if constant.name.startswith("E[V]"))
        assert float(mean.value) == pytest.approx(route.mean, rel=1e-7)
        first = base_workings[f"{route.route}_ceiling_by_risk"].steps[0]
        lowest = next(constant for constant in first.sources if constant.name.startswith("Q,"))
        assert float(lowest.value) == pytest.approx(route.ceiling_by_risk + 60.0, rel=1e-7)


def test_difference_from_the_likely_values_is_told_with_its_true_reasons():
    """Where every range has its likely value in its middle, skew is not blamed; where one has not, it is, by name."""
    even = {
        "rock.density_g_cm3": {"low": 2.60, "likely": 2.63, "high": 2.66},
        "gold.fineness_frac": {"low": 0.80, "likely": 0.85, "high": 0.90},
    }
    native = by_key(even)["native_gold_g"]
    assert "not their middle" not in native.closing
    skewed = by_key(even | {"rock.density_g_cm3": {"low": 2.60, "likely": 2.66, "high": 2.66}})["native_gold_g"]
    assert "not their middle: density of the rock" in skewed.closing
    assert "fineness" not in skewed.closing


def test_dropped_draws_are_told_where_draws_were_dropped():
    workings = {one.key: one for one in working(scenarios.scenario("below-detection").request())}
    assert "22 % of draws that leave none" in workings["native_gold_g"].closing
    assert "gold is not seen by weight" in workings["critical_g"].closing
    assert not {"melt_value", "settlement_total", "refine_net", "buyer_ceiling"} & set(workings)


def test_parts_of_the_difference_add_up(base_workings):
    """The amounts named as reasons are those of the last line but one, and they sum to the difference told."""
    closing = base_workings["refine_net"].closing
    difference = number(re.search(r"difference of (−?[\d.]+) USD", closing)[1])
    amounts = [number(amount) for amount in re.findall(r"\((−?[\d.]+) USD\)", closing)]
    assert len(amounts) >= 2
    assert sum(amounts) == difference


def test_recovery_is_named_where_its_mean_is_not_its_likely_value():
    """Mean of a triangle is the third of the sum of its corners (NIST/SEMATECH e-Handbook, from memory)."""
    assert "recovery 0.9533 for 0.96" in by_key({})["refine_net"].closing
    even = by_key({"refiner.recovery_frac": {"low": 0.92, "likely": 0.95, "high": 0.98}})
    assert "recovery" not in even["refine_net"].closing


def test_constants_bear_their_published_source(base_workings):
    sources = " ".join(constant.source for step in steps_of(base_workings.values()) for constant in step.sources)
    for published in ("Tanaka", "OIML R 111", "ISO 2533", "Weights and Measures Act 1985", "assumption", "entered"):
        assert published in sources


def test_statement_and_working_have_the_same_lines(base_workings):
    told = quote(QuoteRequest.model_validate(good()))
    amounts = {abs(Decimal(row.amount)) for row in told.settlement[:-1]}
    printed = {number(s.result) for s in base_workings["settlement_total"].steps if s.unit == told.currency}
    assert printed == amounts


def by_key(changes):
    return {one.key: one for one in working(QuoteRequest.model_validate(changed(good(), changes)))}


# ---- terms


def term(text):
    return Term.number(Decimal(text))


@pytest.mark.parametrize(
    ("made", "text", "value"),
    [
        (term("2") - (term("3") - term("4")), "2 − (3 − 4)", 3),
        (term("2") * (term("3") + term("4")), "2 × (3 + 4)", 14),
        (term("12") / (term("2") * term("3")), "12 ÷ (2 × 3)", 2),
        (term("12") / term("2") * term("3"), "12 ÷ 2 × 3", 18),
        (term("5") + term("-3"), "5 − 3", 2),
        (term("5") - term("-3"), "5 + 3", 8),
        (term("5") * term("-3"), "5 × (−3)", -15),
        (term("-5") * term("3"), "(−5) × 3", -15),
        (term("5") - (term("-3") + term("1")), "5 − (−3 + 1)", 7),
        (-(term("2") * term("3")), "−2 × 3", -6),
        (-term("-3"), "3", 3),
        (exp(-term("0")), "exp(−0)", 1),
        ((1 - term("0.5")) ** term("2"), "(1 − 0.5) ^ 2", Decimal("0.25")),
        (most(0, least(term("-2"), term("4"))), "max(0; min(−2; 4))", 0),
        (stepped("roundup", term("-41"), term("10")), "roundup(−41; 10)", -40),
    ],
)
def test_text_of_a_term_says_what_it_is_worth(made, text, value):
    assert made.text == text
    assert made.value == value
    assert calculated(text) == pytest.approx(Decimal(value), abs=Decimal("1e-90"))
    assert not math.isnan(made.value)
