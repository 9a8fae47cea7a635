"""Figures of the engine's sentences in the reader's form."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenarios import names, scenario
from valuation import Quote, quote
from valuation.words import grams_words, money_words
from webapp import sentences
from webapp.bargaining import in_words
from webapp.retold import retold
from webapp.wording import Wording

US, DE = Wording.of("USD", "en_US"), Wording.of("USD", "de_DE")
ENGLISH = re.compile(r"\d,\d{3}[.,]|\d\.\d{1,2}\b(?!\.)|\d%|\bUSD\b|\bEUR\b|\d money|money/")


@pytest.mark.parametrize(
    ("sentence", "american", "german"),
    [
        (
            "4,530.00 USD is more than 1,468.41 USD.",
            "$4,530 is more than $1,468.41.",
            "4.530 $ is more than 1.468,41 $.",
        ),
        ("a loss of -12.50 USD", "a loss of -$12.50", "a loss of -12,50 $"),
        ("3,900.00 EUR", "3,900.00 EUR", "3.900,00 EUR"),
        ("under 1% and 25% and 99.5%", "under 1 % and 25 % and 99.5 %", "under 1 % and 25 % and 99,5 %"),
        ("75 to 92 %, likely 85", "75 to 92 %, likely 85", "75 to 92 %, likely 85"),
        ("59.10 g, 2.6 to 2.65 g/cm³", "59.10 g, 2.6 to 2.65 g/cm³", "59,10 g, 2,6 to 2,65 g/cm³"),
        ("0 money/kg and 10 money", "$0/kg and $10", "0 $/kg and 10 $"),
        ("at 4100.00 per ozt", "at 4,100.00 per ozt", "at 4.100,00 per ozt"),
        # Neither figures nor amounts: left alone.
        ("numpy-2.4.6, 2026-03-14, 10:24, 18 (1950) 155-162", "", ""),
        ("16384 draws, JCGM 101:2008, XAU2.5a", "", ""),
    ],
)
def test_every_figure_is_retold(sentence: str, american: str, german: str) -> None:
    assert retold(sentence, US).replace("\u00a0", " ") == (american or sentence)
    assert retold(sentence, DE).replace("\u00a0", " ") == (german or sentence)


@given(st.floats(-1e9, 1e9), st.sampled_from(["USD", "JPY", "KWD"]), st.sampled_from(["en_US", "de_DE", "fr_FR"]))
def test_an_amount_is_told_as_elsewhere_on_the_page(amount: float, currency: str, locale: str) -> None:
    w = Wording.of(currency, locale)
    written = money_words(amount, currency)
    assert retold(f"({written})", w) == f"({w.price(float(written.split()[0].replace(',', '')))})"


@given(st.floats(1e-6, 1e9))
def test_grams_keep_their_digits(grams: float) -> None:
    told = retold(grams_words(grams), US).replace("\u00a0", " ")
    assert told == grams_words(grams) or "," in told


@pytest.fixture(scope="module")
def quotes() -> list[Quote]:
    return [quote(scenario(name).request(), with_price_risk=True) for name in names()]


def test_no_sentence_of_any_demo_clashes_with_the_figures_beside_it(quotes: list[Quote]) -> None:
    for told in quotes:
        w = Wording.of(told.currency, "sv_SE")  # neither point nor comma groups, and no letters in place of $ and €
        lines = [*sentences.answer(told, w), *(retold(caution.message, w) for caution in told.cautions)]
        lines += [sentences.deal(row, w) for row in told.deals]
        lines += [sentences.assumed(row, w) for row in told.assumptions]
        lines += [retold(row.detail, w) for row in told.settlement]
        if told.ask is not None:
            lines.append(sentences.asked(told.ask, w))
        if told.claim is not None:
            lines += sentences.claim(told.claim, w)
        lines += in_words(told, w)
        assert [line for line in lines if ENGLISH.search(line)] == []
