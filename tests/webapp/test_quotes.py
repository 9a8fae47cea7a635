"""The quote page as a person without JavaScript meets it."""

import re

import pytest
from flask.testing import FlaskClient

from scenarios import FIRST, names, scenario
from tests.webapp.conftest import Page, Visitor
from valuation import quote
from webapp.retold import retold
from webapp.wording import Wording, locale_named

ENOUGH: dict[str, str | list[str]] = {
    "weighing.dry_g": ["412.60", "412.55", ""],
    "weighing.submerged_g": "271.35",
    "weighing.readability_g": "0.05",
    "spot.gold": "4100",
}


def test_a_first_start_opens_on_a_worked_demo(visitor: Visitor) -> None:
    page = visitor.start()
    assert page.status == 200
    assert scenario(FIRST).shows in page.words("#demo")
    assert page.field("weighing.readability_g")["value"] == "0.05"
    assert "Fair price" in page.words("#answer")


@pytest.mark.parametrize("name", names())
def test_every_demo_shows_the_figures_of_its_quote(visitor: Visitor, name: str) -> None:
    page = visitor.open(f"/demos/{name}")
    assert page.status == 200
    answer = quote(scenario(name).request())
    w = Wording(locale_named("en_US"), answer.currency)
    told = page.words("#answer")
    if answer.fair is not None:
        assert f"{answer.fair.middle:,.0f}" in told
    for caution in answer.cautions:
        if caution.code == "no_fair_price":
            assert "There is no fair cash price" in told or "There is no whole price" in told
            continue
        if caution.code == "claim_only" and answer.ask is not None and answer.ask.first is not None:
            assert " ".join(answer.ask.first.split()) in told
            continue
        assert " ".join(retold(caution.message, w).split()) in told
    for notice in answer.notices:
        assert " ".join(notice.message.split()) in page.words("#notices")
    assert len(page.all("#assumptions tbody tr")) == len(answer.assumptions)


def test_the_gallery_lists_every_demo(visitor: Visitor) -> None:
    page = visitor.open("/demos")
    links = [str(link["href"]) for link in page.all(".gallery a")]
    assert links == [f"/demos/{name}" for name in names()]
    assert all(visitor.open(link).status == 200 for link in links)


def test_an_empty_form_says_what_is_needed(visitor: Visitor) -> None:
    page = visitor.open("/quotes/new")
    assert page.status == 200
    assert [a.get_text() for a in page.all(".todo a")] == [
        "Dry",
        "Under water",
        "Smallest step (readability)",
        "Gold spot",
    ]
    assert not page.all("[aria-invalid]") and not page.all("#reasons")
    for link in page.all(".todo a"):
        page.one(f'[id="{str(link["href"])[1:]}"]')


def test_a_form_typed_from_nothing_comes_to_a_price(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/quotes/new"), ENOUGH)
    assert page.status == 200
    assert "Fair price" in page.words("#answer")
    assert "Clean vein quartz" in page.words("#assumptions")


def test_what_is_wrong_is_told_beside_its_field_and_kept_as_typed(visitor: Visitor) -> None:
    changes = {**ENOUGH, "spot.gold": "4.1.0", "weighing.dry_g": ["412.60", "four", "1,234"], "title": "<b>Lump</b>"}
    page = visitor.send(visitor.open("/quotes/new"), changes)
    assert page.status == 422
    gold = page.field("spot.gold")
    assert gold["value"] == "4.1.0" and gold["aria-invalid"] == "true"
    described = str(gold["aria-describedby"]).split()
    assert "not a number" in page.words(f'[id="{described[0]}"]')
    assert [tag["value"] for tag in page.all('[name="weighing.dry_g"]')][:3] == ["412.60", "four", "1,234"]
    assert "1234 or 1.234" in page.words(".todo-wrong")
    assert "“four”" in page.words(".todo-wrong")
    assert page.field("title")["value"] == "<b>Lump</b>" and "Lump" not in {tag.text for tag in page.all("#work b")}


def test_a_price_typed_as_the_screen_prints_it_is_told_back(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {**ENOUGH, "spot.gold": "4,120", "seller.minimum": "3800"})
    assert page.status == 200 and page.field("spot.gold")["value"] == "4,120"
    (told,) = page.all(".read-as")
    assert told.get_text() == "Read as 4,120." and told["id"] in str(page.field("spot.gold")["aria-describedby"])
    assert page.all("#answer .figure")


def test_impossible_readings_are_told_beside_the_reading(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {**ENOUGH, "weighing.submerged_g": "500"})
    assert page.status == 422
    assert "is not below the dry reading" in page.words('[id="p-weighing.submerged_g"]')


def test_what_a_folded_group_holds_wrong_is_opened(visitor: Visitor) -> None:
    page = visitor.open("/quotes/new")
    assert not page.one("#g-buyer").has_attr("open")
    page = visitor.send(page, {"buyer.margin_frac": "-1"})
    assert page.one("#g-buyer").has_attr("open")


def test_folded_groups_state_their_defaults_in_one_line(visitor: Visitor) -> None:
    page = visitor.open("/quotes/new")
    assert page.words("#g-balance .group-line") == "tap water, assumed · 15 to 25 °C, assumed"
    assert "margin 15 %, assumed" in page.words("#g-buyer .group-line")
    assert "70 %" in page.words("#g-seller .group-line")
    assert page.words("#g-refiner .group-line").startswith("pays 95 %, assumed")


def test_folds_within_groups_state_what_they_hold(visitor: Visitor) -> None:
    page = visitor.open("/quotes/new")
    lines = {str(fold["id"]): fold.select_one(".fold-line").get_text() for fold in page.all(".fold")}  # type: ignore[union-attr]
    assert all(lines.values())
    assert lines["m-voids"] == "0 to 0.2 %, assumed"
    assert lines["m-refiner.payable"] == "one share for any weight"
    assert lines["m-refiner.charges"] == "no other charge, assumed"
    changes = {"refiner.lot_fee": "45", "refiner.payable.1.from_ozt": "5", "refiner.payable.1.frac": "97"}
    page = visitor.send(page, {**ENOUGH, **changes, "refiner.payable.0.frac": "95"})
    assert page.words('[id="m-refiner.charges"] .fold-line') == "lot fee 45"
    assert page.words('[id="m-refiner.payable"] .fold-line') == "2 tiers"
    assert not page.all(".fold[open]")
    page = visitor.send(page, {"refiner.lot_fee": "dear"})
    assert [fold["id"] for fold in page.all(".fold[open]")] == ["m-refiner.charges"]


def test_what_the_common_case_needs_is_in_view(visitor: Visitor) -> None:
    """What the first look at each group shows: neither in a fold nor of a branch that was not chosen."""
    page = visitor.open("/quotes/new")

    def in_view(group: str) -> list[str]:
        fields = page.all(f"#g-{group} :is(input, select):not([type=hidden], [type=radio])")
        return [str(f["name"]) for f in fields if f.find_parent(class_="fold") is None]

    assert in_view("refiner") == [
        "refiner.payable.0.frac",
        "refiner.assay_fee",
        "refiner.freight",
        "refiner.settlement_days",
        "other_refiners.0.name",
    ]
    assert in_view("spot") == ["spot.gold", "spot.unit", "spot.seen_at"]
    assert in_view("buyer") == ["buyer.margin_frac", "buyer.loss_chance_frac"]
    assert "weighing.readability_g" in in_view("gold") and "rock.void_frac.low" not in in_view("gold")
    assert in_view("ask") == ["seller.asks.price", "seller.claim.mass", "seller.claim.unit"]


def test_rarer_ways_to_state_a_doubt_are_offered_once_a_figure_is_typed(visitor: Visitor) -> None:
    page = visitor.open("/quotes/new")
    assert not page.all('[name="gold.fineness_frac.sd"]')
    page = visitor.send(page, {**ENOUGH, "gold.fineness_frac.likely": "85"})
    page = visitor.send(page, {"gold.fineness_frac.sd": "2"})
    assert page.one('[id="m-gold.fineness_frac"]').has_attr("open") and "Fair price" in page.words("#answer")
    page = visitor.send(page, {"gold.fineness_frac.likely": ""})
    assert page.field("gold.fineness_frac.sd")["value"] == "2"


def test_a_choice_that_is_assumed_anyway_is_not_listed_twice(visitor: Visitor) -> None:
    def listed(page: Page, name: str) -> list[str]:
        return [option.get_text() for option in page.field(name).select("option")]

    page = visitor.open("/asks/new")
    units = listed(page, "seller.claim.unit")
    assert units[:2] == ["troy ounce", "gram"] and units.count("troy ounce") == 1
    assert listed(page, "seller.claim.basis") == ["not said", "native gold", "fine gold"]
    page = visitor.send(page, {"seller.claim.unit": "ozt", "seller.claim.basis": "fine"})
    assert listed(page, "seller.claim.unit") == units
    assert page.one('[name="seller.claim.unit"] option[selected]')["value"] == "ozt"
    assert page.one('[name="seller.claim.basis"] option[selected]')["value"] == "fine"


def test_mistakes_are_told_in_sentences(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {**ENOUGH, "spot.gold": "4,100", "buyer.margin_frac": "-1"})
    for problem in page.all(".problem"):
        words = problem.get_text()
        assert words[0].isupper() and words.endswith("."), words


def test_a_figure_said_by_nobody_is_of_the_side_whose_turn_it_is(visitor: Visitor) -> None:
    page = visitor.open("/quotes/new")
    chosen = page.one('[name="said.0.by"] option[selected]')
    assert chosen.get_text() == "Seller"
    page = visitor.send(page, ENOUGH)  # whoever would speak next is sent along, and wipes nothing
    assert "Fair price" in page.words("#answer") and not page.all('[name="said.1.by"]')
    page = visitor.send(page, {"said.0.figure": "5000"})
    assert "Now asked" in page.words("#answer")
    assert page.one('[name="said.1.by"] option[selected]').get_text() == "House"
    page = visitor.send(page, {"said.0.by": "", "said.1.figure": "3900"})
    assert "Now asked" in page.words("#answer") and not page.all(".problem")


def test_what_was_typed_in_a_branch_is_there_on_coming_back(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {**ENOUGH, "choose.rock": "chip"})
    page = visitor.send(page, {"rock.chip.dry_g": ["38.42", "38.43"], "rock.chip.submerged_g": "23.85"})
    assert page.status == 200 and "Fair price" in page.words("#answer")
    page = visitor.send(page, {"choose.rock": "kind"})
    assert not [tag for tag in page.all('[name="rock.chip.dry_g"]') if tag["type"] != "hidden"]
    page = visitor.send(page, {"choose.rock": "chip"})
    assert [tag["value"] for tag in page.all('[name="rock.chip.dry_g"]')] == ["38.42", "38.43", ""]


def test_a_piece_not_seen_by_weight_is_not_priced(visitor: Visitor) -> None:
    page = visitor.open("/demos/below-detection")
    assert "not seen" in page.words("#answer")
    assert not page.all("#steps") and not page.all(".plan")


def test_no_fair_price_says_why(visitor: Visitor) -> None:
    words = visitor.open("/demos/no-fair-cash-price").words("#answer")
    assert "no fair cash price" in words and "the house could pay" in words


def test_the_picture_and_its_table_say_the_same(visitor: Visitor) -> None:
    page = visitor.start()
    rows = [row.get_text(" ", strip=True) for row in page.all("#m-axis tbody th")]
    assert rows == [text.get_text() for text in page.all(".axis-label")]
    picture = page.one(".axis-picture")
    assert picture["role"] == "img"
    assert "Seller's floor: $3,800" in str(picture["aria-label"]).replace("\u00a0", " ")


def test_ids_are_unique_and_every_input_is_named(visitor: Visitor) -> None:
    for address in ("/", f"/demos/{FIRST}", "/quotes/new", "/demos"):
        page = visitor.open(address)
        ids = [str(tag["id"]) for tag in page.all("[id]")]
        assert len(ids) == len(set(ids))
        for tag in page.all("input:not([type=hidden]), select"):
            label = (
                page.soup.select(f'label[for="{tag.get("id")}"]') or tag.find_parent("label") or tag.get("aria-label")
            )
            assert label, tag
        for tag in page.all("[aria-describedby]"):
            for name in str(tag["aria-describedby"]).split():
                page.one(f'[id="{name}"]')
        names_of_one = [str(t["name"]) for t in page.all("input, select") if t.get("type") != "radio"]
        twice = {name for name in names_of_one if names_of_one.count(name) > 1}
        assert all(name.endswith("_g") for name in twice), twice


def test_no_figure_is_ever_nan_or_infinite(visitor: Visitor) -> None:
    page = visitor.open("/quotes/new")
    extremes = (
        {"spot.gold": "10000000000"},
        {"spot.gold": "0.01", "spot.currency": "JPY"},
        {"refiner.assay_fee": "100000000"},
        {"seller.minimum": "9000000000"},
        {"weighing.dry_g": ["0.011"], "weighing.submerged_g": "0.0055", "weighing.readability_g": "0.0001"},
        {"buyer.loss_chance_frac": "0.01", "refiner.treatment_per_kg": "99999999"},
    )
    for extreme in extremes:
        answer = visitor.send(page, {**ENOUGH, **extreme})
        assert answer.status in (200, 422)
        assert not re.search(r"\b(nan|inf|infinity|None)\b", answer.answer.text.lower().replace("nondefault", ""))


def test_the_first_page_is_light(visitor: Visitor) -> None:
    """All that a first start loads, as it goes over the wire; `tests/benchmarks/keystroke_speed.py` records it."""
    page = visitor.start()
    parts = [str(tag.get("src") or tag["href"]) for tag in page.all("link, script, img")]
    assert len(parts) == 4
    sizes = []
    for address in parts:
        with visitor.client.get(address) as answer:
            sizes.append(len(answer.data))
    assert all(sizes)
    assert len(page.answer.data) + sum(sizes) < 150_000


def test_the_set_up_chosen_is_drawn_from_shapes_that_are_there(visitor: Visitor) -> None:
    hung = visitor.open("/quotes/new")
    stood = visitor.send(hung, {"weighing.method": "displaced"})
    for page, title in ((hung, "Suspended"), (stood, "Displaced")):
        assert [words.get_text().partition(":")[0] for words in page.all("#m-setup title")] == [title]
    for page in (hung, stood, visitor.open("/method")):
        used = {str(tag["href"]) for tag in page.all("use")}
        assert used
        for shape in used:
            assert page.one(shape).find_parent("defs")


def test_a_demo_that_is_not_there(client: FlaskClient) -> None:
    page = Page(client.get("/demos/leaf-gold"))
    assert page.status == 404 and "leaf-gold-walk-in" in page.words()
