"""The form and the request say the same thing."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from werkzeug.datastructures import MultiDict

from scenarios import all_scenarios, names, scenario
from valuation import QuoteRequest, RequestRefused, Spread
from webapp.fields import _model_in, field_at
from webapp.forms import Reading
from webapp.per_cent import in_per_cent
from webapp.retyped import blank_form, typed_from
from webapp.typed import Typed

NOW = datetime(2026, 5, 4, 15, 30, tzinfo=timezone(timedelta(hours=-6)))


def reading(texts: dict[str, str | list[str]]) -> Reading:
    typed: MultiDict[str, str] = MultiDict(blank_form({"spot": {"currency": "USD", "unit": "ozt"}}).texts)
    for name, value in texts.items():
        typed.setlist(name, value if isinstance(value, list) else [value])
    return Reading(Typed(typed), NOW, NOW.tzinfo or UTC)


def judged(texts: dict[str, str | list[str]]) -> Typed:
    form = reading(texts)
    try:
        form.request()
    except RequestRefused as refused:
        return form.judged(refused.problems)
    return form.judged(())


ENOUGH: dict[str, str | list[str]] = {
    "weighing.dry_g": ["412.60"],
    "weighing.submerged_g": ["271.35"],
    "weighing.readability_g": "0.05",
    "spot.gold": "4100",
}


@pytest.mark.parametrize("name", names())
def test_a_scenario_typed_into_the_form_is_the_same_request(name: str) -> None:
    entries = scenario(name).entries
    request = Reading(typed_from(entries), NOW, UTC).request()
    assert request == scenario(name).request()
    assert _stated(request) == _stated(scenario(name).request())


def _stated(request: QuoteRequest) -> object:
    """Also what was left to its default must be the same, or other assumptions would be printed."""
    return request.model_dump(exclude_unset=True)


def test_every_text_of_every_scenario_survives_the_form() -> None:
    for demo in all_scenarios():
        typed = typed_from(demo.entries)
        again = typed_from(Reading(typed, NOW, UTC).entries)
        assert sorted(again.texts.items(multi=True)) == sorted(typed.texts.items(multi=True))


def test_an_empty_form_is_no_error_and_says_what_is_needed() -> None:
    typed = judged({})
    assert typed.problems == ()
    assert typed.needed == ("weighing.dry_g", "weighing.submerged_g", "weighing.readability_g", "spot.gold")


def test_enough_is_enough() -> None:
    typed = judged(ENOUGH)
    assert (typed.problems, typed.needed) == ((), ())


def test_per_cent_on_the_screen_are_fractions_in_the_request() -> None:
    request = reading({**ENOUGH, "buyer.margin_frac": "17,5", "gold.fineness_frac.likely": "88 %"}).request()
    assert request.buyer.margin_frac == 0.175
    assert request.gold.fineness_frac == Spread(value=0.88).within(request.gold.fineness_frac.bound)


def test_a_bound_is_told_in_the_units_of_the_screen() -> None:
    typed = judged({**ENOUGH, "gold.fineness_frac.likely": "850", "refiner.insurance_frac": "150"})
    assert [p.field for p in typed.problems] == ["gold.fineness_frac", "refiner.insurance_frac"]
    assert "100 %" in typed.problems[0].message
    assert typed.problems[1].message == "must be at most 100 %"


def test_sentences_in_per_cent() -> None:
    assert in_per_cent("must lie from 0 to 0.5") == "must lie from 0 % to 50 %"
    assert in_per_cent("coverage is a fraction above 0 and below 1, such as 0.95") == (
        "coverage is a share above 0 % and below 100 %, such as 95 %"
    )


def test_a_number_that_cannot_be_read_is_told_as_it_would_be_typed() -> None:
    typed = judged({**ENOUGH, "buyer.margin_frac": "1,234"})
    assert "1234 or 1.234" in typed.problems[0].message


def test_a_reading_left_empty_between_others_does_not_shift_the_problem() -> None:
    typed = judged({**ENOUGH, "weighing.dry_g": ["412.60", "", "abc", ""]})
    assert [p.field for p in typed.problems] == ["weighing.dry_g.2"]
    assert typed.slots("weighing.dry_g") == ["412.60", "", "abc", ""]


def test_there_is_always_room_for_one_more_reading_up_to_twenty() -> None:
    assert judged({**ENOUGH, "weighing.dry_g": ["1", "2", "3"]}).slots("weighing.dry_g") == ["1", "2", "3", ""]
    many = [str(i) for i in range(30)]
    assert judged({**ENOUGH, "weighing.dry_g": many}).slots("weighing.dry_g") == many[:20]


def test_half_a_range_is_not_yet_an_error() -> None:
    typed = judged({**ENOUGH, "choose.rock": "density_g_cm3", "rock.density_g_cm3.low": "2.6"})
    assert typed.problems == ()
    assert typed.needed == ("rock.density_g_cm3",)


def test_only_the_branch_that_was_chosen_counts() -> None:
    request = reading({**ENOUGH, "weighing.displaced_g": ["141"], "rock.density_g_cm3.likely": "9999"}).request()
    assert request.weighing is not None and request.weighing.displaced_g is None
    assert request.rock is not None and request.rock.kind == "vein-quartz"


def test_tiers_and_their_problems_keep_their_rows() -> None:
    tiers: dict[str, str | list[str]] = {"refiner.payable.0.frac": "95", "refiner.payable.3.from_ozt": "5"}
    request = reading({**ENOUGH, **tiers, "refiner.payable.3.frac": "97"}).request()
    assert request.refiner is not None
    assert [(t.from_ozt, t.frac) for t in request.refiner.payable] == [(0.0, 0.95), (5.0, 0.97)]
    typed = judged({**ENOUGH, **tiers, "refiner.payable.3.frac": "x"})
    assert [p.field for p in typed.problems] == ["refiner.payable.3.frac"]


def test_a_time_of_day_is_of_the_day_of_the_quote_and_of_the_house() -> None:
    request = reading({**ENOUGH, "spot.seen_at": "10:20"}).request()
    assert request.spot.seen_at == datetime(2026, 5, 4, 10, 20, tzinfo=NOW.tzinfo)
    request = reading({**ENOUGH, "spot.seen_at": "2026-05-03 09:00", "quoted_at": "2026-05-04T10:00+02:00"}).request()
    assert request.spot.seen_at == datetime(2026, 5, 3, 9, 0, tzinfo=NOW.tzinfo)
    assert request.quoted_at.utcoffset() == timedelta(hours=2)
    assert [p.field for p in judged({**ENOUGH, "spot.seen_at": "yesterday"}).problems] == ["spot.seen_at"]


@pytest.mark.parametrize(
    "name", ["rock.minerals.99999999.name", "x" * 500, "weighing", "rock.minerals", "weighing.dry_g.low", "..", "²"]
)
def test_names_that_no_field_bears_are_left_aside(name: str) -> None:
    assert judged({**ENOUGH, name: "1"}).problems == ()


def test_every_default_has_words() -> None:
    for path, optional in _leaves(QuoteRequest):
        spec = field_at(path)
        if spec is not None and optional and spec.kind in ("number", "spread", "choice", "flag"):
            assert "{" not in spec.default_words and "None" not in spec.default_words, path


def _leaves(model: type, path: str = "") -> list[tuple[str, bool]]:
    found: list[tuple[str, bool]] = []
    for name, info in model.model_fields.items():  # type: ignore[attr-defined]
        here = f"{path}.{name}" if path else name
        inner = _model_in(info.annotation)
        if inner is None or inner is Spread:
            found.append((here, not info.is_required()))
        else:
            found += _leaves(inner, here)
    return found


def test_a_figure_said_needs_no_speaker_and_a_speaker_without_a_figure_says_nothing() -> None:
    said: dict[str, str | list[str]] = {
        "said.0.by": "seller",
        "said.1.by": "buyer",
        "said.1.figure": "3900",
        "said.2.figure": "4800",
        "said.3.figure": "x",
        "said.4.by": "seller",
    }
    form = judged({**ENOUGH, **said})
    assert [p.field for p in form.problems] == ["said.3.figure"] and form.needed == ()
    entries = reading({**ENOUGH, **said}).entries["said"]
    assert [(one["by"], one["figure"]) for one in entries] == [("buyer", "3900"), ("seller", "4800"), ("buyer", "x")]
    assert form.rows("said", 200) == [0, 1, 2, 3, 4]


def test_now_is_the_moment_of_the_quote() -> None:
    assert reading({**ENOUGH, "spot.seen_at": "now"}).entries["spot"]["seen_at"] == NOW


def test_a_claim_is_all_that_is_still_needed_where_it_is_chosen() -> None:
    form = judged({"choose.gold": "claimed", "spot.gold": "4100"})
    assert form.needed == ("seller.claim.mass",)
    assert form.problems == ()


@pytest.mark.parametrize(
    "name",
    [
        "weighing.dry_g.7",
        "weighing.air_temperature_degc.sd.0",
        "refiner.payable.frac",
        "refiner.0.assay_fee",
        "refiner.payable.0.0.frac",
        "refiner.payable.².frac",
        "refiner.weight_step_ozt.٣",
        "spot.gold.",
    ],
)
def test_a_name_that_no_page_writes_counts_for_nothing(name: str) -> None:
    assert reading({**ENOUGH, name: "5"}).entries == reading(ENOUGH).entries


@pytest.mark.parametrize("odd", [{"low": [1], "likely": {}}, [], [None], {"low": None, "high": True}, {"x": 1}])
def test_a_share_that_is_a_table_or_a_list_is_typed_again_for_the_engine_to_refuse(odd: object) -> None:
    texts = typed_from({"spot": {"gold": 4100}, "gold": {"fineness_frac": odd}, "refiner": {"payable": [odd]}}).texts
    with pytest.raises(RequestRefused):
        Reading(Typed(MultiDict({**texts, **ENOUGH, "rock.kind": "x"})), NOW, UTC).request()
