"""Every number of a request at its ends, beyond them, and in bad company: finite, or refused with its field."""

import json
import math
import random
from types import UnionType
from typing import Annotated, Union, get_args, get_origin

import pytest
from annotated_types import Ge, Gt, Le, Lt
from pydantic import BaseModel

from tests.valuation.strategies import TAKEN_OUT, changed, good
from valuation import QuoteRequest, RequestRefused, Spread, ValuationError, evidence, materials, quote, read_request

TINY, HUGE, FEW_DRAWS = 5e-324, 1e308, 10
ALWAYS = ("0", "-0.0", TINY, 1e-300, 1e-12, HUGE, -HUGE, 10**400, "9" * 41, math.nan, math.inf, -math.inf)


def unwrapped(annotation):
    """The types that an annotation admits."""
    if get_origin(annotation) is Annotated:
        annotation = get_args(annotation)[0]
    if get_origin(annotation) in (Union, UnionType):
        for arm in get_args(annotation):
            yield from unwrapped(arm)
    else:
        yield annotation


def leaves(model, way=""):
    """Every field of the request that holds no table of its own, by its path; of lists the first place."""
    for name, info in model.model_fields.items():
        path = f"{way}.{name}".lstrip(".")
        for kind in unwrapped(info.annotation):
            in_list = get_origin(kind) is tuple and get_args(kind)
            inner = next((k for k in unwrapped(get_args(kind)[0])), None) if in_list else kind
            if isinstance(inner, type) and issubclass(inner, BaseModel) and inner is not Spread:
                yield from leaves(inner, f"{path}.0" if in_list else path)
            elif inner in (float, Spread):
                yield (f"{path}.0" if in_list else path), (inner, info)


LEAVES = dict(leaves(QuoteRequest))
# Which test a precision belongs to.
KIND_OF = {"u_frac": "fineness", "readings": "repeats", "u_degc": "water_temperature", "u_g": "finer_balance"}
# Any number at its end contradicts another one beside it.
TIED = ("weighing.dry_g", "weighing.submerged_g", "weighing.displaced_g", "rock.chip", "collector.comparables.0")
NUMBERS = sorted(path for path, (kind, _) in LEAVES.items() if kind is float)
SPREADS = sorted(path for path, (kind, _) in LEAVES.items() if kind is Spread)


def ends(path):
    """The limits of a field that the schema states, each with the numbers just inside and just outside."""
    found = []
    for limit in LEAVES[path][1].metadata:
        bound = next(
            (
                getattr(limit, name)
                for name in ("ge", "gt", "le", "lt")
                if isinstance(limit, Ge | Gt | Le | Lt) and hasattr(limit, name)
            ),
            None,
        )
        if bound is not None:
            found += [
                bound,
                math.nextafter(bound, -math.inf),
                math.nextafter(bound, math.inf),
                bound - 1e-9,
                bound + 1e-9,
            ]
    return found


def company(path):
    """The good request with whatever a field needs beside it."""
    made = good()
    if path.startswith("weighing.displaced_g"):
        made["weighing"] |= {"method": "displaced", "displaced_g": [141.35], "line_extra_depth_mm": 40.0}
        del made["weighing"]["submerged_g"]
    if path.startswith("weighing.air_pressure"):
        made["weighing"].pop("altitude_m", None)
    if path.startswith("rock.chip"):
        made["rock"] = {"chip": {"dry_g": [38.42], "submerged_g": [23.85], "same_water": False}}
    if path.startswith("rock.chip.displaced_g"):
        made["rock"]["chip"] = {"method": "displaced", "dry_g": [38.42], "line_extra_depth_mm": 40.0}
        made["rock"]["chip"] |= {"displaced_g": [14.55], "same_water": False}
    if path.startswith("rock.minerals"):
        made["rock"] = {"minerals": [{"name": "own", "density_g_cm3": 2.63}]}
    if path.startswith("rock.minerals.0.volume_frac"):
        made["rock"] = {"minerals": [{"name": "quartz", "volume_frac": 0.9}, {"name": "pyrite"}]}
    if path.startswith("gold.measured"):
        made["gold"]["measured"] = {"grams": 30.0, "basis": "fine", "mass_g": 412.0}
        del made["weighing"], made["rock"]
    if path.startswith(("collector.price", "collector.comparables", "collector.grade")):
        del made["collector"]["premium_frac"]
        sale = {"date": "2025-06-01", "fine_g": 30.0, "spot": 100.0, "spot_unit": "g", "price": 4000.0, "grade": 3.0}
        made["collector"]["comparables"] = [sale] * 3
    if path.startswith("collector.price"):
        del made["collector"]["comparables"]
        made["collector"]["price"] = 4000.0
    if path.startswith("other_refiners"):
        made["other_refiners"] = [{**made["refiner"], "payable": [{"from_ozt": 0.0, "frac": 0.9}], "name": "Other"}]
    if path.startswith("seller.refiner"):
        made["seller"]["refiner"] = {**made["refiner"], "payable": [{"from_ozt": 0.0, "frac": 0.9}], "name": "Theirs"}
    if path.startswith("seller.asks"):
        made["seller"]["asks"] = {"price": 4000.0, "currency": "EUR", "exchange_rate": 1.1}
    if path.startswith("seller.claim"):
        made["seller"]["claim"] = {"mass": 1.5, "unit": "ozt", "basis": "unknown", "piece_g": 412.0}
    if path.startswith("said"):
        made["said"] = [{"by": "seller", "figure": 5000.0}]
    if path.startswith("tests"):
        made["tests"] = [{"kind": KIND_OF.get(path.rpartition(".")[2], "chip")}]
    return made


def outcome(entered, work_out=quote):
    """The answer with few draws, or None where it was refused; anything else that is raised, or a warning, fails."""
    try:
        answer = work_out(read_request(entered), log2_draws=FEW_DRAWS)
    except (RequestRefused, ValuationError) as refused:
        problems = refused.problems
    else:
        told = answer.model_dump_json()
        json.loads(told, parse_constant=pytest.fail)
        assert '"nan"' not in told.lower() and '"inf"' not in told.lower()
        return answer
    assert problems and all(problem.field and problem.message and problem.code for problem in problems)
    json.dumps([problem.model_dump() for problem in problems], allow_nan=False)
    return None


def test_every_field_can_be_answered_in_the_company_that_it_is_given():
    """Else the tests below would see refusals of something else."""
    for path in (*NUMBERS, *SPREADS):
        # The first mineral takes what the others leave: a share of its own is always refused.
        assert outcome(company(path)) is not None or path.startswith("rock.minerals.0.volume_frac"), path
    assert len(NUMBERS) > 80 and len(SPREADS) > 20


@pytest.mark.parametrize("path", NUMBERS)
def test_a_number_at_its_ends_and_beyond(path):
    answered = 0
    for value in (*ends(path), *ALWAYS):
        answered += outcome(changed(company(path), {path: value})) is not None
    for value in (math.nan, math.inf, -HUGE, 10**400, "1e999"):
        assert outcome(changed(company(path), {path: value})) is None, value
    assert answered or path.startswith(TIED)


def bounds(path):
    """The limits of a spread, as its refusal of a far value tells them."""
    request = read_request(company(path))
    held = request
    for part in path.split("."):
        held = held[int(part)] if part.isdigit() else getattr(held, part)
    if held is None:
        probe = changed(company(path), {path: 0.7})
        held = read_request(probe)
        for part in path.split("."):
            held = held[int(part)] if part.isdigit() else getattr(held, part)
    return held._bound.low, held._bound.high


@pytest.mark.parametrize("path", [path for path in SPREADS if path != "gold.measured.grams"])
def test_a_spread_in_every_shape_at_its_ends(path):
    try:
        low, high = bounds(path)
    except RequestRefused:
        low, high = 1.0, 20.0  # of temperatures and pressures no 0.7 is possible
    middle = (low + high) / 2.0
    shapes = [
        *(low, high, math.nextafter(low, -math.inf), math.nextafter(high, math.inf), middle, 0, -0.0, TINY, HUGE),
        *({"low": end, "high": end} for end in (low, middle, high)),
        *({"low": end, "likely": end, "high": end} for end in (low, middle, high)),
        {"low": low, "high": high},
        {"low": high, "high": low},
        {"low": low, "likely": high, "high": high},
        {"low": low, "likely": low, "high": high},
        {"low": middle, "high": math.nextafter(middle, math.inf)},
        {"low": middle, "likely": middle, "high": math.nextafter(middle, math.inf)},
        *({"value": middle, "sd": sd} for sd in (0, TINY, 1e-300, 1e-12, high, 1e12, HUGE, math.nan, math.inf)),
        *({"value": end, "sd": (high - low) / 100.0} for end in (low, high)),
        *(
            {"low": low, "likely": middle, "high": high, "coverage_frac": share}
            for share in (0, TINY, 1e-12, 0.5, 0.95, 1 - 1e-12, 1 - 1e-16, 1, 2, math.nan)
        ),
    ]
    for shape in shapes:
        outcome(changed(company(path), {path: shape}))


WORST = {
    "rock as dense as the gold": {"rock": {"density_g_cm3": 8.0}, "gold.fineness_frac": 1e-9},
    "rock nearly as dense": {
        "rock": {"density_g_cm3": 7.999999999999},
        "gold.fineness_frac": {"low": 1e-9, "high": 1e-8},
    },
    "rock as light as may be": {"rock": {"density_g_cm3": 0.5000000001}},
    "half of it voids": {"rock.void_frac": {"low": 0.0, "high": 0.4999999999}},
    "no volume": {"weighing.dry_g": [412.6], "weighing.submerged_g": [math.nextafter(412.6, 0.0)]},
    "hardly any volume": {"weighing.dry_g": [412.6], "weighing.submerged_g": [412.5999]},
    "the volume of pure gold": {"weighing.dry_g": [19.3], "weighing.submerged_g": [18.3]},
    "denser than gold": {"weighing.dry_g": [30.0], "weighing.submerged_g": [29.0]},
    "lighter than water": {"weighing.dry_g": [1.0], "weighing.submerged_g": [1e-6]},
    "a grain": {"weighing.dry_g": [1e-6], "weighing.submerged_g": [6e-7], "weighing.readability_g": 1e-7},
    "lighter than a bubble": {
        "weighing.dry_g": [0.0002],
        "weighing.submerged_g": [0.0001],
        "weighing.readability_g": 1e-4,
        "weighing.trapped_air_frac": 0.05,
        "weighing.line_diameter_mm": 5.0,
        "weighing.line_extra_depth_mm": 1000.0,
    },
    "a tonne": {"weighing.dry_g": [1e6], "weighing.submerged_g": [6e5], "weighing.readability_g": 100.0},
    "water about to freeze or scald": {"weighing.water_temperature_degc": {"low": 0.0, "high": 40.0}},
    "air of a summit": {"weighing.altitude_m": 6000.0, "weighing.air_temperature_degc": -10.0},
    "worthless gold": {"spot.gold": 1e-12},
    "gold beyond price": {"spot.gold": 1e10, "spot.unit": "g", "spot.gold_volatility_per_year": 3.0},
    "nothing recovered": {"refiner.recovery_frac": 0.0, "refiner.silver_payable_frac": 1.0},
    "charges beyond everything": {"refiner.assay_fee": 1e9, "refiner.freight": 1e9, "refiner.refining_per_ozt": 1e9},
    "a refiner who takes all": {"refiner.price_discount_frac": 0.9999999999, "refiner.insurance_frac": 1.0},
    "never sold": {"collector.sale_chance_frac": 0.0},
    "given away": {"collector.premium_frac": -1.0},
    "sold for fifty times": {"collector.premium_frac": 50.0, "collector.months_to_sale": 120.0},
    "ruinous interest": {"buyer.capital_rate_per_year": 5.0, "collector.months_to_sale": 120.0},
    "no chance of loss": {"buyer.loss_chance_frac": 1e-12},
    "certain loss": {"buyer.loss_chance_frac": 1 - 1e-12},
    "coins of nothing": {"buyer.cash_increment": 1e-12},
    "notes of a million": {"buyer.cash_increment": 1e6},
    "margin of ten": {"buyer.margin_frac": 10.0},
    "pure silver": {"gold.fineness_frac": TINY},
    "no copper, no silver": {"gold.fineness_frac": 1.0, "gold.copper_share_frac": 1.0},
}


@pytest.mark.parametrize("changes", WORST.values(), ids=WORST)
def test_where_something_nearly_vanishes(changes):
    entered = changed(good(), changes)
    outcome(entered)
    outcome({**entered, "said": [{"by": "seller", "figure": 1e10}, {"by": "buyer", "figure": 1e-12}]})


@pytest.mark.parametrize("name", sorted(materials.rocks()))
def test_every_rock_with_every_end_of_fineness(name):
    for fineness in (1e-9, 0.001, 0.5, 1.0):
        outcome(changed(good(), {"rock": {"kind": name}, "gold.fineness_frac": fineness}))


def pairwise(levels, chance):
    """Rows in which any two levels of any two factors meet: greedy, from a seeded start."""
    names = list(levels)
    open_pairs = {
        (a, x, b, y)
        for i, a in enumerate(names)
        for b in names[i + 1 :]
        for x in range(len(levels[a]))
        for y in range(len(levels[b]))
    }
    while open_pairs:
        a, x, b, y = min(open_pairs)
        row = {a: x, b: y}
        for name in chance.sample(names, len(names)):
            if name not in row:
                gains = [
                    sum(((n, row[n], name, v) in open_pairs) + ((name, v, n, row[n]) in open_pairs) for n in row)
                    for v in range(len(levels[name]))
                ]
                row[name] = gains.index(max(gains))
        open_pairs -= {(m, row[m], n, row[n]) for i, m in enumerate(names) for n in names[i + 1 :]}
        yield {name: levels[name][level] for name, level in row.items()}


EXTREMES = {
    "weighing.dry_g": ([1e-6], [412.6], [1e6]),
    "weighing.submerged_g": ([1e-7], [271.35], [999999.0]),
    "weighing.readability_g": (1e-7, 0.05, 100.0),
    "weighing.trapped_air_frac": (0.0, 0.05),
    "weighing.span_tolerance_frac": (0.0, 0.05),
    "rock.density_g_cm3": (0.500001, 2.63, 8.0, {"low": 0.6, "high": 8.0}),
    "rock.void_frac": (0.0, 0.4999, {"low": 0.0, "high": 0.49}),
    "gold.fineness_frac": (1e-9, 0.85, 1.0, {"low": 1e-9, "likely": 1.0, "high": 1.0}),
    "spot.gold": (1e-12, 4100.0, 1e10),
    "spot.gold_volatility_per_year": (0.0, 3.0),
    "refiner.recovery_frac": (0.0, 1.0, {"low": 0.0, "high": 1.0}),
    "refiner.assay_fee": (0.0, 1e9),
    "refiner.settlement_days": (0.0, 730.0),
    "refiner.weight_step_ozt": (1e-12, 1.0),
    "collector.premium_frac": (-1.0, 50.0, {"low": -1.0, "likely": 0.0, "high": 50.0}),
    "collector.sale_chance_frac": (0.0, 1.0),
    "collector.months_to_sale": (0.0, 120.0),
    "buyer.margin_frac": (0.0, 10.0),
    "buyer.loss_chance_frac": (1e-9, 1 - 1e-9),
    "buyer.capital_rate_per_year": (0.0, 5.0),
    "buyer.cash_increment": (1e-12, 10.0, 1e6),
    "seller.other_bid": (0.0, 1e10, TAKEN_OUT),
}


def test_any_two_extremes_together():
    rows, answered = 0, 0
    for row in pairwise(EXTREMES, random.Random(20261125)):
        rows += 1
        answered += outcome(changed(good(), row)) is not None
    assert rows >= 16 and answered > 0


@pytest.mark.parametrize("seed", range(4))
def test_many_extremes_together(seed):
    """Some at an end, the others as they were: more of these are answered than of rows that are extreme throughout."""
    chance, answered = random.Random(seed), 0
    for _ in range(100):
        names = chance.sample(sorted(EXTREMES), chance.randint(1, 6))
        answered += outcome(changed(good(), {name: chance.choice(EXTREMES[name]) for name in names})) is not None
    assert answered > 20


@pytest.mark.parametrize("name", ["no volume", "a grain", "worthless gold", "gold beyond price", "never sold"])
def test_what_one_more_test_is_worth_is_finite_too(name):
    outcome(changed(good(), WORST[name]), evidence)
