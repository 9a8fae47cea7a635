"""What was entered, told for paper."""

import pytest

from scenarios import FIRST, names, scenario
from valuation import quote, read_request
from webapp.entered import entered, readings
from webapp.wording import NBSP, Wording

W = Wording.of("USD", "en_US")
DE = Wording.of("EUR", "de_DE")


def test_readings_have_the_digits_of_the_balance_or_more_where_more_were_typed() -> None:
    assert readings((152.0, 152.1), 0.1, W) == f"152.0 \u00b7 152.1{NBSP}g"
    assert readings((152.0,), 0.05, W) == f"152.00{NBSP}g"
    assert readings((152.125, 152.0), 0.1, W) == f"152.125 \u00b7 152.000{NBSP}g"
    assert readings((1520.0,), 10.0, W) == f"1,520{NBSP}g"
    assert readings((0.5,), 0.1, DE) == f"0,5{NBSP}g"


def test_all_that_matters_of_the_first_demo() -> None:
    told = {title: dict(lines) for title, lines in entered(scenario(FIRST).request(), W)}
    assert told["Weighing"]["Dry"] == f"412.95 \u00b7 412.85 \u00b7 412.90{NBSP}g"
    assert told["Weighing"]["Under water"] == f"271.50 \u00b7 271.50{NBSP}g"
    assert told["Rock"]["Density"].replace(NBSP, " ") == "2.6 to 2.65 g/cm\u00b3, likely 2.63"
    assert told["Price"]["Gold spot"] == "$4,100 per ozt"
    assert told["Refiner"]["Payable"].replace(NBSP, " ") == "95 %, 97 % from 5 ozt"
    assert told["Refiner"]["Treatment charge"] == "$15 per kg"
    assert told["Collector"]["Premium over melt"].replace(NBSP, " ") == "20 to 150 %, likely 60"
    assert told["Seller"]["Another cash bid"] == "$3,800" and told["Seller"]["Asking price"] == "$5,200"


@pytest.mark.parametrize("name", names())
def test_nothing_assumed_is_among_it(name: str) -> None:
    request = scenario(name).request()
    told = {line.label for _, lines in entered(request, W) for line in lines}
    fields = {row.field for row in quote(request).assumptions}
    assert told and all(lines for _, lines in entered(request, W))
    if "refiner.recovery_frac" in fields:
        assert "Recovery" not in told
    if "weighing.repeatability_g" in fields:
        assert "Repeatability" not in told


def test_figures_said_stand_in_their_order() -> None:
    told = {title: dict(lines) for title, lines in entered(scenario("figures-said").request(), W)}
    assert told["Figures said"]["In order"] == (
        "the seller $3,600, the house $2,500, the seller $3,200, the house $2,700, the seller $3,000"
    )


def test_grades_choices_and_the_claim_are_told_in_words() -> None:
    graded = {
        line.label: line.figure for _, lines in entered(scenario("graded-qualities").request(), W) for line in lines
    }
    assert graded["Gold to be seen"] == "bold, across the piece" and not any(
        "{" in figure for figure in graded.values()
    )
    request = scenario("leaf-gold-walk-in").request()
    seller = dict(entered(request, W))["Seller"]
    assert ("Claim, claimed gold", "1.9\u00a0ozt") in seller and ("Claim, meant as", "not said") in seller


def test_the_offer_is_no_term() -> None:
    entries = dict(scenario("leaf-gold-walk-in").entries)
    entries["buyer"] = {**entries["buyer"], "offer": 4200}
    told = dict(entered(read_request(entries), W))
    assert told["Our offer"] == [("Offer", "$4,200")]
    assert "Offer" not in {line.label for line in told["Our terms"]}
