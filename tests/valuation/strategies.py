"""Whole requests: a good one, ways to change it, and hypothesis strategies for any the schema allows."""

import copy
from datetime import date, datetime

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st

from valuation import materials
from valuation.rubric import qualities

# Derandomised: a run of the suite says the same as the one before it.
STEADY = settings(
    derandomize=True,
    database=None,
    deadline=None,
    phases=(Phase.explicit, Phase.generate, Phase.shrink),
    suppress_health_check=[HealthCheck.too_slow],
)
TAKEN_OUT = object()

_GOOD = {
    "title": "Invented: quartz with leaf gold",
    "quoted_at": "2026-03-14T10:24:00-07:00",
    "weighing": {
        "method": "suspended",
        "dry_g": [412.60, 412.60, 412.55],
        "submerged_g": [271.35, 271.40],
        "readability_g": 0.05,
        "repeatability_g": 0.05,
        "linearity_g": 0.05,
        "span_tolerance_frac": 0.0003,
        "water_kind": "distilled",
        "water_temperature_degc": {"low": 19.0, "high": 21.0},
    },
    "rock": {"density_g_cm3": {"low": 2.60, "likely": 2.63, "high": 2.65}, "void_frac": {"low": 0.0, "high": 0.002}},
    "gold": {"fineness_frac": {"low": 0.75, "likely": 0.85, "high": 0.92}, "copper_share_frac": 0.03},
    "spot": {
        "currency": "USD",
        "gold": 4100.0,
        "silver": 48.0,
        "unit": "ozt",
        "seen_at": "2026-03-14T10:20:00-07:00",
    },
    "refiner": {
        "name": "Demo refiner",
        "recovery_frac": {"low": 0.92, "likely": 0.96, "high": 0.98},
        "payable": [{"from_ozt": 0.0, "frac": 0.95}, {"from_ozt": 5.0, "frac": 0.97}],
        "minimum_deduction_ozt": 0.01,
        "refining_per_ozt": 8.0,
        "treatment_per_kg": 15.0,
        "assay_fee": 120.0,
        "freight": 45.0,
        "insurance_frac": 0.002,
        "settlement_days": 14,
    },
    "collector": {
        "premium_frac": {"low": 0.2, "likely": 0.6, "high": 1.5},
        "selling_cost_frac": 0.12,
        "sale_chance_frac": 0.92,
        "months_to_sale": {"low": 1, "likely": 4, "high": 12},
    },
    "buyer": {"margin_frac": 0.15, "loss_chance_frac": 0.10, "handling_cost": 60.0, "cash_increment": 10.0},
    "seller": {"other_bid": 2500.0},
}


def good():
    """A fresh copy of a request without a fault or a caution, every figure of it invented."""
    return copy.deepcopy(_GOOD)


def changed(entered, changes):
    """A copy of raw entries with values put at dotted paths; `TAKEN_OUT` removes one."""
    made = copy.deepcopy(entered)
    for path, value in changes.items():
        *way, last = path.split(".")
        place = made
        for part in way:
            place = place[int(part)] if isinstance(place, list) else place.setdefault(part, {})
        if value is TAKEN_OUT:
            place.pop(last, None)
        elif isinstance(place, list):
            place[int(last)] = value
        else:
            place[last] = value
    return made


def numbers(low, high):
    """Numbers of [low, high], with the ends and small round ones more often than chance has them."""
    inner = st.floats(low, high).map(lambda x: x if abs(x) >= 1e-12 else 0.0)  # as they are read
    return st.one_of(inner, st.sampled_from([low, high, min(max(1.0, low), high)]))


@st.composite
def spreads(draw, low, high):
    """A quantity within [low, high] in any of the five shapes; all of it lies inside."""
    shape = draw(st.sampled_from(("exact", "normal", "rectangular", "triangular", "two_piece")))
    a, b, c = sorted(draw(st.lists(numbers(low, high), min_size=3, max_size=3)))
    if shape == "exact":
        return b
    if shape == "rectangular":
        return {"low": a, "high": c}
    if shape == "normal":
        room = min(b - low, high - b) / 2
        return {"value": b, "sd": room * draw(st.floats(0.01, 1.0))} if room > 1e-6 else b
    if shape == "two_piece" and a < b < c:
        return {"low": a, "likely": b, "high": c, "coverage_frac": draw(st.sampled_from((0.95, 0.99)))}
    return {"low": a, "likely": b, "high": c}


def money(most, usual):
    """An amount: most often up to what is usual, sometimes anything."""
    return st.one_of(st.floats(0.0, usual), st.floats(0.0, usual), numbers(0.0, most))


def sections(required, optional):
    """A table with all of `required` and any of `optional`."""
    return st.fixed_dictionaries(required, optional=optional)


def refiners():
    """Any refiner's terms."""
    charge = money(1e9, 200.0)
    starts = st.lists(st.floats(0.001, 1000.0), max_size=3, unique=True).map(sorted)
    tiers = starts.flatmap(
        lambda rising: st.tuples(
            *(st.fixed_dictionaries({"from_ozt": st.just(s), "frac": numbers(0.01, 1.0)}) for s in (0.0, *rising))
        ).map(list)
    )
    return sections(
        {"payable": tiers},
        {
            "recovery_frac": spreads(0.0, 1.0),
            "minimum_deduction_ozt": numbers(0.0, 100.0),
            "silver_payable_frac": numbers(0.0, 1.0),
            "silver_recovery_frac": spreads(0.0, 1.0),
            "price_discount_frac": numbers(0.0, 0.999),
            "refining_per_ozt": charge,
            "treatment_per_kg": charge,
            "assay_fee": charge,
            "lot_fee": charge,
            "freight": charge,
            "insurance_frac": numbers(0.0, 1.0),
            "settlement_days": numbers(0.0, 730.0),
            "price_fixed": st.sampled_from(("settlement", "receipt")),
            "minimum_lot_ozt": st.one_of(st.just(0.0), numbers(0.0, 1e6)),
            "weight_step_ozt": st.sampled_from((1e-9, 0.001, 0.01, 1.0)),
        },
    )


def collectors():
    """Any collector's terms, by premium or by a price in money."""
    terms = {
        "selling_cost_frac": numbers(0.0, 0.999),
        "sale_chance_frac": spreads(0.0, 1.0),
        "months_to_sale": spreads(0.0, 120.0),
    }
    graded = st.fixed_dictionaries(
        {}, optional={key: st.sampled_from(sorted(q.grades)) for key, q in qualities().items()}
    )
    return st.one_of(
        sections({"premium_frac": spreads(-1.0, 50.0)}, terms),
        sections({"price": spreads(0.0, 1e10)}, terms),
        sections({"rubric": graded.filter(bool)}, terms),
        sections({"comparables": comparables()}, {**terms, "grade": numbers(1.0, 5.0)}),
    )


def comparables():
    """Sales of like and unlike pieces, before and after the quote."""
    near = {"fine_g": numbers(1.0, 100.0), "spot": numbers(1000.0, 5000.0)}
    far = {"fine_g": numbers(1e-3, 1e6), "spot": numbers(1e-3, 1e3)}
    days = st.one_of(st.dates(), st.dates(date(2020, 1, 1), date(2027, 1, 1))).map(date.isoformat)
    more = {"grade": numbers(1.0, 5.0)}
    sale = st.one_of(
        *(sections({"date": days, "price": numbers(0.02, 50.9), **figures}, more) for figures in (near, far))
    )
    return st.lists(sale.map(_priced_by_melt), min_size=1, max_size=9)


def _priced_by_melt(sale):
    melt = sale["fine_g"] * sale["spot"]
    return {**sale, "spot_unit": "g", "price": min(max(sale["price"], 1.0 / 50.9) * melt, 1e10, 50.9 * melt)}


def buyers():
    """Any terms of the house."""
    return sections(
        {},
        {
            "margin_frac": numbers(0.0, 10.0),
            "loss_chance_frac": numbers(1e-6, 0.999999),
            "handling_cost": money(1e9, 200.0),
            "offer": numbers(1e-6, 1e10),
            "capital_rate_per_year": numbers(0.0, 5.0),
            "cash_increment": st.one_of(st.sampled_from((0.001, 0.05, 10.0, 1e6)), numbers(1e-3, 1e6)),
        },
    )


def sellers():
    """Anything that may be known of the seller's side."""
    worth = money(1e10, 3000.0)
    known = {"minimum": worth, "other_bid": worth, "keep_value": worth, "effort_cost": money(1e9, 200.0)}
    return sections({}, {**known, "refiner": refiners(), "asks": asks(), "claim": claims()})


def asks():
    """Any asking price."""
    extras = {
        "shipping": numbers(0.0, 1e9),
        "fee_frac": numbers(0.0, 5.0),
        "tax_frac": numbers(0.0, 5.0),
    }
    foreign = {"currency": st.just("EUR"), "exchange_rate": numbers(1e-6, 1e9)}
    price = {"price": st.one_of(numbers(1e-6, 1e10), st.floats(100.0, 10_000.0))}
    return st.one_of(sections(price, extras), sections({**price, **foreign}, extras))


def claims():
    """Any claim of so much gold."""
    doubt = {"right_frac": spreads(0.0, 2.0), "piece_g": numbers(1e-6, 1e6)}
    words = {
        "unit": st.sampled_from(("ozt", "g", "kg", "tola")),
        "basis": st.sampled_from(("native", "fine", "unknown")),
    }
    return sections({"mass": numbers(1e-6, 1e6)}, {**words, **doubt})


def figures_said():
    """Figures that both sides have named."""
    by = st.sampled_from(("buyer", "seller"))
    return st.lists(st.fixed_dictionaries({"by": by, "figure": numbers(1e-6, 1e10)}), max_size=6)


def prices():
    """Any price of the metals; silver is always there, so that any refiner may pay for it."""
    return sections(
        {"gold": st.one_of(st.floats(1000.0, 5000.0), numbers(1e-6, 1e10)), "silver": numbers(1e-6, 1e10)},
        {
            "currency": st.sampled_from(("USD", "JPY", "KWD", "XXX")),
            "unit": st.sampled_from(("ozt", "g", "kg", "tola")),
            "gold_volatility_per_year": numbers(0.0, 3.0),
            "silver_volatility_per_year": numbers(0.0, 3.0),
            "seen_at": st.datetimes(datetime(1, 1, 3), datetime(9999, 12, 28)).map(lambda t: f"{t.isoformat()}+00:00"),
        },
    )


def balances(*, wild):
    """Any balance and surroundings; a shop's own unless `wild`."""
    return sections(
        {"readability_g": numbers(1e-7, 100.0) if wild else st.sampled_from((0.01, 0.05))},
        {
            "repeatability_g": numbers(0.0, 1000.0 if wild else 0.2),
            "linearity_g": numbers(0.0, 1000.0 if wild else 0.2),
            "span_tolerance_frac": numbers(0.0, 0.05 if wild else 0.001),
            "water_kind": st.sampled_from(("distilled", "deionised", "tap")),
            "water_temperature_degc": spreads(0.0, 40.0),
            "air_temperature_degc": spreads(-10.0, 50.0),
            "air_humidity_frac": spreads(0.0, 1.0),
            "zeroed_with_line": st.booleans(),
            "trapped_air_frac": numbers(0.0, 0.05 if wild else 0.001),
        },
    )


@st.composite
def weighings(draw):
    """Any readings of which the wet ones lie under the dry ones: most such as a shop takes, one in four wild."""
    wild = draw(st.sampled_from((False, False, False, True)))
    dry = draw(numbers(0.01, 1e6) if wild else st.floats(20.0, 5000.0))
    density = draw(numbers(1.001, 19.0) if wild else st.floats(2.7, 6.0))
    method = draw(st.sampled_from(("suspended", "displaced")))
    wet = dry * (1.0 - 1.0 / density) if method == "suspended" else dry / density
    name = "submerged_g" if method == "suspended" else "displaced_g"
    repeats = draw(st.lists(st.floats(0.9999, 1.0), max_size=4))
    made = draw(balances(wild=wild))
    if draw(st.booleans()):
        made["altitude_m"] = draw(numbers(-430.0, 6000.0))
    elif draw(st.booleans()):
        made["air_pressure_hpa"] = draw(spreads(500.0, 1100.0))
    if method == "displaced" or draw(st.booleans()):
        made["line_extra_depth_mm"] = draw(spreads(0.0, 1000.0 if wild else 50.0))
        made["line_diameter_mm"] = draw(numbers(0.0, 5.0 if wild else 0.5))
    return {**made, "method": method, "dry_g": [dry, *(dry * r for r in repeats)], name: [wet]}


@st.composite
def rocks(draw):
    """Any host: named, by density, by minerals, by a chip."""
    way = draw(st.sampled_from(("kind", "density", "minerals", "chip")))
    if way == "chip":
        dry, density = draw(numbers(0.1, 1e5)), draw(st.one_of(numbers(1.5, 7.5), st.floats(2.5, 2.8)))
        return {"chip": {"dry_g": [dry], "submerged_g": [dry * (1 - 1 / density)], "method": "suspended"}}
    voids = draw(
        st.sampled_from(({}, {"void_frac": 0.0}, {"void_frac": 0.01}, {"void_frac": {"low": 0, "high": 0.49}}))
    )
    if way == "kind":
        return {"kind": draw(st.sampled_from(sorted(materials.rocks()))), **voids}
    if way == "density":
        return {"density_g_cm3": draw(st.one_of(spreads(0.6, 8.0), *[spreads(2.5, 2.8)] * 3)), **voids}
    names = draw(st.lists(st.sampled_from(sorted(materials.minerals())), min_size=1, max_size=6))
    minerals = [{"name": names[0]}] + [{"name": n, "volume_frac": draw(spreads(0.0, 0.19))} for n in names[1:]]
    return {"minerals": minerals, **voids}


@st.composite
def requests(draw):
    """Any request within the schema's bounds."""
    made = {
        "quoted_at": "2026-03-14T10:24:00-07:00",
        "spot": draw(prices()),
        "buyer": draw(buyers()),
        "seller": draw(sellers()),
        "gold": draw(sections({}, {"fineness_frac": spreads(1e-3, 1.0), "copper_share_frac": spreads(0.0, 1.0)})),
    }
    ways = draw(st.sampled_from((("refiner",), ("collector",), ("refiner", "collector"))))
    if "refiner" in ways:
        made["refiner"] = draw(refiners())
        made["other_refiners"] = draw(st.lists(refiners(), max_size=2))
    if "collector" in ways:
        made["collector"] = draw(collectors())
    known = draw(st.sampled_from(("weighed", "weighed", "weighed", "measured", "claimed")))
    made["said"] = draw(figures_said())
    if known == "claimed":
        made["seller"]["claim"] = draw(claims())
    elif known == "measured":
        basis = draw(st.sampled_from(("native", "fine")))
        made["gold"]["measured"] = {
            "basis": basis,
            "grams": draw(spreads(1e-6, 1e6)),
            "mass_g": draw(numbers(1.0, 1e6)),
        }
    else:
        made |= {"weighing": draw(weighings()), "rock": draw(rocks())}
    return made


def _scalars():
    odd = ["", " ", "abc", "1,234", "12.5", "nan", "-inf", "1e999", "\u0665", "\ud800", "2026-03-14T10:24:00-07:00"]
    return st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.floats(),
        st.text(max_size=8),
        st.sampled_from(odd),
        st.sampled_from([10**400, -(10**400), 5e-324, 1e308]),
    )


def _keys():
    known = ("low", "high", "likely", "value", "sd", "coverage_frac", "dry_g", "name", "frac", "from_ozt", "kind")
    return st.one_of(st.sampled_from(known), st.text(max_size=6))


def junk():
    """Anything that a file or a form may hold at one place."""
    return st.recursive(
        _scalars(),
        lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_keys(), inner, max_size=3)),
        max_leaves=6,
    )


def _paths(entered, way=()):
    yield way
    if isinstance(entered, dict):
        for key, value in entered.items():
            yield from _paths(value, (*way, key))
    elif isinstance(entered, list):
        for i, value in enumerate(entered):
            yield from _paths(value, (*way, str(i)))


@st.composite
def broken_requests(draw):
    """The good request with junk put at some of its places or beside them."""
    made = good()
    for path in draw(
        st.lists(st.sampled_from([".".join(way) for way in _paths(_GOOD) if way]), min_size=1, max_size=4)
    ):
        beside = draw(st.booleans()) and "." in path
        where = f"{path.rpartition('.')[0]}.{draw(st.sampled_from(_BESIDE))}" if beside else path
        try:
            made = changed(made, {where: draw(st.one_of(junk(), st.just(TAKEN_OUT)))})
        except (AttributeError, TypeError, ValueError, IndexError, KeyError):
            continue  # a place that earlier junk has taken away
    return made


_BESIDE = (
    "price",
    "displaced_g",
    "kind",
    "minerals",
    "chip",
    "measured",
    "unknown",
    "minimum",
    "refiner",
    "altitude_m",
)
