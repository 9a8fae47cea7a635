"""The demo specimens: each is invented, shows one thing, and comes out where an independent estimate puts it."""

import json
import tomllib
from typing import Any

import pytest

import scenarios
from scenarios import FIRST, Scenario, UnknownScenario, all_scenarios, names, scenario, without_scenario
from valuation import Quote, quote

SHOWN_AT_LEAST = {
    "a good collector piece": "collector-piece",
    "a plain refine piece": "plain-refine",
    "a piece below detection": "below-detection",
    "rock that fakes gold": "sulphide-false-gold",
    "drifting readings": "porous-drift",
    "the displaced-water method": "displaced-water",
    "a chip-weighed host": "chip-weighed-host",
    "no fair cash price": "no-fair-cash-price",
    "gold measured elsewhere": "measured-elsewhere",
    "an asking price before anything is weighed": "claim-only-ask",
    "a premium that was entered": "collector-piece",
    "a premium by graded qualities": "graded-qualities",
    "comparable sales": "comparable-sales",
    "a claim against a weighing": "claim-against-weighing",
    "several refiners": "refiners-compared",
    "the seller's own refining": "plain-refine",
    "an advance with settlement": "advance-and-settle",
    "a piece on consignment": "sold-for-the-seller",
    "a negotiation under way": "figures-said",
    "a price that stays open": "price-open-long",
    "the demo of a first start": FIRST,
}
ROW_NAMES = ("route", "rule", "basis", "name", "deal", "term", "days")
MAY_BE_NOTHING = ("chance", "chance_of_loss", "chance_of_fall", "loss_chance", "takes_it", "offered")
WIDEST_BAND_FRAC = 0.04  # of its middle: wider, and a wrong engine might pass


@pytest.fixture(scope="module")
def quotes() -> dict[str, Quote]:
    return {
        one.name: quote(one.request(), with_price_risk=any("price_risk" in path for path in one.bands))
        for one in all_scenarios()
    }


def row_name(row: Any) -> str:
    name = next(getattr(row, key) for key in ROW_NAMES if hasattr(row, key))
    return name if isinstance(name, str) else f"{name:g}"


def figure(told: Quote, path: str) -> float:
    """The figure of a quote at a path; rows of a table are named by what tells them apart."""
    place: Any = told
    for part in path.split("."):
        if isinstance(place, tuple):
            place = next(row for row in place if part == row_name(row))
        elif isinstance(place, dict):
            place = place[part]
        else:
            place = getattr(place, part)
    return float(place)


def test_every_situation_has_its_scenario() -> None:
    assert set(SHOWN_AT_LEAST.values()) <= set(names())
    assert names()[0] == FIRST


@pytest.mark.parametrize("one", all_scenarios(), ids=names())
def test_scenario_says_that_it_is_invented_and_what_it_shows(one: Scenario) -> None:
    about = tomllib.loads(one.text)["scenario"]
    assert about["invented"] is True
    assert one.text.startswith("# Invented:")
    assert one.title
    assert one.shows.endswith(".")
    assert len(one.shows) < 130
    assert set(about) == {"shows", "invented", "verdict", "cautions", "bands"}
    assert "By hand" in one.text


def test_each_shows_something_else() -> None:
    shown = [one.shows for one in all_scenarios()]
    assert len(set(shown)) == len(shown)


@pytest.mark.parametrize("name", names())
def test_quote_falls_in_every_band(name: str, quotes: dict[str, Quote]) -> None:
    one, told = scenario(name), quotes[name]
    figures = {path: figure(told, path) for path in one.bands}
    outside = {path: (figures[path], band) for path, band in one.bands.items() if not band.holds(figures[path])}
    assert outside == {}
    assert told.verdict == one.verdict
    assert {caution.code for caution in told.cautions} == one.cautions


@pytest.mark.parametrize("one", all_scenarios(), ids=names())
def test_bands_are_tight_and_cover_gold_and_money(one: Scenario) -> None:
    assert len(one.bands) >= 6
    for path, band in one.bands.items():
        assert band.high - band.low > 0
        if path not in ("gap", "kept_frac", "detection.estimate_g") and path.rpartition(".")[2] not in MAY_BE_NOTHING:
            assert band.high - band.low <= WIDEST_BAND_FRAC * abs(band.high + band.low) / 2, path
    if one.verdict != "not_by_weight":
        assert {"fine_gold_g.median", "fine_gold_g.low", "routes.refine.mean", "buyer_ceiling"} <= set(one.bands)


@pytest.mark.parametrize(
    "change", ["rock a little lighter", "half the charges", "water two degrees warmer than entered"]
)
def test_bands_would_catch_an_engine_that_is_slightly_wrong(change: str) -> None:
    entries = json.loads(json.dumps(dict(scenario(FIRST).entries), default=str))
    if change == "rock a little lighter":
        entries["rock"]["density_g_cm3"] = {"low": 2.59, "likely": 2.62, "high": 2.64}
    elif change == "half the charges":
        entries["refiner"] |= {"assay_fee": 60.0, "freight": 22.5}
    else:
        entries["weighing"]["water_temperature_degc"] = {"low": 24.0, "high": 26.0}
    from valuation import read_request

    told = quote(read_request(entries))
    assert not all(band.holds(figure(told, path)) for path, band in scenario(FIRST).bands.items())


def test_what_makes_it_a_scenario_is_not_part_of_the_request() -> None:
    entries = tomllib.loads(scenario(FIRST).text)
    assert scenarios.TABLE in entries
    assert without_scenario(entries) == scenario(FIRST).entries
    assert scenario(FIRST).request().title == scenario(FIRST).title


def test_unknown_name_is_told_with_those_near_it() -> None:
    with pytest.raises(UnknownScenario, match=r"colector-peace.*Did you mean collector-piece"):
        scenario("colector-peace")
    with pytest.raises(UnknownScenario, match=FIRST):
        scenario("../pyproject")
