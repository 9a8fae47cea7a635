"""A sheet as JSON: the two forms told apart, nothing private in the seller's, and every change found."""

import json
import re
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios import FIRST, names, scenario
from valuation import quote, read_request
from webapp import sheet_copy
from webapp.counter_sheet import counter_sheet
from webapp.sheet_copy import HouseFacts, SheetFacts, as_file, checked, house_json, seller_json
from webapp.wording import Wording

AT = datetime(2026, 3, 14, 17, 30, tzinfo=UTC)
FACTS = SheetFacts(
    number="2026-0007",
    revision=2,
    replaces=1,
    handed_over_at=AT,
    valid_until=AT + timedelta(hours=24),
    spot_move_frac=0.02,
    validity="This offer ends on Mar 15, 2026.",
    time_zone="America/Denver",
    house="Demo house",
    offer="4300.00",
    photographs=("ab" * 32,),
)


def copies(name: str = FIRST, private: dict[str, Any] | None = None) -> tuple[bytes, bytes]:
    entries = {**scenario(name).entries, **(private or {})}
    request = read_request({**entries, "buyer": {**entries.get("buyer", {}), "offer": 4300}})
    sheet = counter_sheet(request, Wording.of(request.spot.currency, "en-US"))
    sellers = seller_json(sheet, FACTS)
    told = request.model_dump(mode="json", exclude_unset=True)
    return sellers, house_json(sheet, told, quote(request), FACTS, HouseFacts("they were firm"), sellers)


@pytest.mark.parametrize("name", names())
def test_both_copies_of_every_demo_are_unchanged_as_they_go_out(name: str) -> None:
    for kept, form in zip(copies(name), ("seller", "house"), strict=True):
        found = checked(as_file(kept).encode())
        assert (found.verdict, found.form, found.number, found.revision) == ("unchanged", form, "2026-0007", 2)


def test_the_sellers_copy_says_what_was_offered_and_on_what_it_rests() -> None:
    told = json.loads(copies()[0])
    assert told["offer"] == "4300.00" and told["currency"] == "USD" and told["validity"] == FACTS.validity
    assert told["weighing"]["dry_g"] and told["spot"]["gold"] == 4100
    assert {"name", "value", "source"} == set(told["assumptions"][0])
    assert told["notices"] and told["photographs"] == ["ab" * 32]


def test_nothing_private_changes_a_byte_of_the_sellers_copy() -> None:
    private: dict[str, Any] = {
        "buyer": {"margin_frac": 0.41, "handling_cost": 777.0, "loss_chance_frac": 0.03},
        "seller": {"minimum": 1111.0, "other_bid": 2222.0},
        "collector": {"premium_frac": 0.55},
        "said": [{"by": "seller", "figure": 6543.0}],
        "specimen": {"description": scenario(FIRST).entries["specimen"]["description"], "seller_reference": "book 114"},
    }
    plain, other = copies(), copies(private=private)
    assert plain[0] == other[0] and plain[1] != other[1]
    assert not re.search(rb"777|1111|2222|6543|book 114|margin|they were firm", other[0])
    assert b"they were firm" in other[1]


def test_no_assumption_of_the_bargain_stands_in_the_sellers_copy() -> None:
    bargain = "fair|surplus|nash|negotiat|floor|ceiling|margin|buyer|seller|collector|handling|capital|interest|premium"
    for name in names():
        told = json.loads(copies(name)[0])
        for one in told["assumptions"]:
            assert not re.search(bargain, json.dumps(one), re.IGNORECASE), one
        del told["form"], told["notices"]
        assert not re.search("surplus|nash|ceiling|floor|fair range", json.dumps(told), re.IGNORECASE)


def test_every_constant_of_the_method_is_known_to_be_for_the_seller_or_not() -> None:
    """A constant that is new in the engine, or renamed there, must be put on one side or the other."""
    nameless = {a.name for name in names() for a in quote(scenario(name).request()).assumptions if not a.field}
    assert nameless == {*sheet_copy._METHOD, "Fair range"}


def test_figures_of_the_sellers_copy_are_written_one_way() -> None:
    entries = scenario(FIRST).entries
    request = read_request({**entries, "refiner": {"name": "Demo refiner"}, "buyer": {"offer": 4300}})
    told = json.loads(seller_json(counter_sheet(request, Wording.of("USD", "en-US")), FACTS))
    values = [one["value"] for one in told["assumptions"]] + [line["detail"] for line in told["settlement"]]
    assert "$0/ozt" in values  # not "0 money/ozt"
    assert not [text for text in values if re.search(r"money|\d%", text)]


def test_the_house_copy_holds_the_sellers_and_its_digest() -> None:
    sellers, houses = copies()
    told = json.loads(houses)
    assert told["seller"] == json.loads(sellers)
    assert told["seller_digest"] == checked(as_file(sellers).encode()).digest
    assert told["reason"] == "they were firm"
    assert read_request(told["request"]).buyer.offer == 4300  # it can be read again


def test_a_seed_that_readers_would_round_is_kept_as_text() -> None:
    assert sheet_copy.as_exact({"seed": 2**60, "draws": [2**53, 7, True]}) == {
        "seed": str(2**60),
        "draws": [str(2**53), 7, True],
    }


def test_layout_order_and_spaces_do_not_count() -> None:
    sellers = copies()[0]
    file = json.loads(as_file(sellers))
    shuffled = dict(reversed(file.items()))
    for text in (json.dumps(file), json.dumps(shuffled, indent=7), "\ufeff" + as_file(sellers).replace("\n", "\r\n")):
        assert checked(text.encode()).verdict == "unchanged"


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path] * (not isinstance(value, dict | list)) + [
        p for key, item in inner for p in places(item, (*path, key))
    ]


SELLERS = json.loads(as_file(copies()[0]))


@given(
    st.sampled_from([place for place in places(SELLERS) if place != ("form",)]),
    st.text() | st.integers(0, 9) | st.none(),
)
def test_any_figure_or_word_that_is_changed_is_found(place: tuple[Any, ...], put: Any) -> None:
    file = json.loads(json.dumps(SELLERS))
    inner = file
    for key in place[:-1]:
        inner = inner[key]
    same = inner[place[-1]] == put and type(inner[place[-1]]) is type(put)
    inner[place[-1]] = put
    verdict = checked(json.dumps(file).encode()).verdict
    assert verdict == ("unchanged" if same else "changed") or (verdict == "unchanged" and inner[place[-1]] == put == 0)


def test_what_is_left_out_or_added_is_found() -> None:
    less = {key: value for key, value in SELLERS.items() if key != "cautions"}
    for file in (less, {**SELLERS, "more": 1}, {**SELLERS, "digest": None}, {**SELLERS, "offer": "4300.0"}):
        assert checked(json.dumps(file).encode()).verdict == "changed"


@pytest.mark.parametrize(
    ("sent", "why"),
    [
        (b"", "neither the PDF nor the JSON copy"),
        (b"%PDF-1.7", "neither the PDF nor the JSON copy"),
        (b"\xff\xfe", "no UTF-8"),
        (b"[1]", "does not say"),
        (b'"x"', "does not say"),
        (b'{"form": 7}', "does not say"),
        (b'{"form": "something else"}', "does not say"),
        (b'{"form": "lodeworth/offer-sheet/seller/1", "a": 1, "a": 2}', "given twice"),
        (b'{"form": "lodeworth/offer-sheet/seller/1", "a": NaN}', "NaN"),
        (b'{"form": "lodeworth/offer-sheet/seller/1", "a": 1e999}', "inf"),
        (b'{"form": "lodeworth/offer-sheet/seller/1", "a": "\\ud800"}', "can be checked"),
        (b"[" * 100_000, "too deeply"),
        (b" " * (sheet_copy.LARGEST + 1), "more than 8 MB"),
    ],
)
def test_what_is_no_copy_is_said(sent: bytes, why: str) -> None:
    found = checked(sent)
    assert found.verdict == "not_a_copy" and why in found.why
