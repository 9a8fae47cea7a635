"""Figures in words: money, masses and moments by locale, rounded by their uncertainty."""

from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from valuation import Summary
from webapp.plain import GLUE, fitted
from webapp.wording import FALLBACK, NBSP, Wording, locale_named, locale_of_environment, rounded

US = Wording.of("USD", "en_US")
AMOUNTS = st.floats(-1e9, 1e9)
DOUBTS = st.floats(1e-4, 1e8)


def spaced(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u202f", " ")


# ---- rounding by uncertainty


@pytest.mark.parametrize(
    ("estimate", "sd", "printed"),
    [
        # JCGM 100:2008, 7.2.6: 10.057 62 ohm with a standard uncertainty of 27 milliohm is reported as 10.058 ohm.
        (10.05762, 0.027, "10.058"),
        # JCGM 100:2008, 7.2.2: 100.021 47 g with a standard uncertainty of 0.35 mg.
        (100.02147, 0.00035, "100.02147"),
        (40.9208, 2.096, "40.9"),
        (40.9208, 21.0, "41"),
        (5394.07, 276.0, "5,390"),
    ],
)
def test_figure_is_printed_to_two_digits_of_its_uncertainty(estimate: float, sd: float, printed: str) -> None:
    assert US.measure(estimate, sd) == printed


@given(AMOUNTS, DOUBTS)
def test_rounding_moves_no_figure_by_more_than_a_twentieth_of_its_uncertainty(x: float, sd: float) -> None:
    printed = float(US.measure(x, sd).replace(",", ""))
    assert abs(printed - x) <= 0.05 * sd * 1.0001 + 1e-6 + 1e-12 * abs(x)


@given(AMOUNTS, AMOUNTS, DOUBTS)
def test_ends_of_a_range_stay_in_order(a: float, b: float, sd: float) -> None:
    low, high = US.measure_range(min(a, b), max(a, b), sd).replace(",", "").split(" to ")
    assert float(low) <= float(high)


def test_exact_figure_keeps_its_own_digits() -> None:
    assert spaced(US.grams(412.6)) == "412.6 g"
    assert spaced(US.grams(0.123456789)) == "0.123457 g"


def test_nothing_is_minus_zero() -> None:
    assert US.money(-0.001) == "$0.00"
    assert US.number(-0.04, 1) == "0.0"
    assert rounded(-1.0, -2) == Decimal(0)
    assert not rounded(-1.0, -2).is_signed()


# ---- money


@pytest.mark.parametrize(
    ("locale", "currency", "amount", "printed"),
    [
        ("en_US.UTF-8", "USD", 1234567.891, "$1,234,567.89"),
        ("en-US", "AUD", 4180, "A$4,180.00"),
        ("de_DE", "EUR", 1234.5, "1.234,50 €"),
        ("fr_FR", "EUR", 1234.5, "1 234,50 €"),
        ("de_CH", "CHF", 1234.5, "CHF 1’234.50"),
        ("en_IN", "INR", 12345678, "₹1,23,45,678.00"),
        ("ja_JP", "JPY", 1234.5, "￥1,234"),
        ("en_US", "KWD", 1.2345, "KWD 1.234"),
        ("en_US", "USD", -6.194, "-$6.19"),
    ],
)
def test_money_follows_locale_and_currency(locale: str, currency: str, amount: float, printed: str) -> None:
    assert spaced(Wording.of(currency, locale).money(amount)) == printed


def test_estimated_money_is_rounded_to_whole_units_or_more() -> None:
    assert US.money(5394.07, 276.0) == "$5,390"
    assert US.money(11.36, 2.6) == "$11.36"
    assert US.money_range(4871.8, 5946.0, 276.0) == "$4,870 to $5,950"


def test_price_is_whole_where_it_is_whole() -> None:
    assert US.price(4180.0) == "$4,180"
    assert US.price(4180.5) == "$4,180.50"


@given(st.floats(0.01, 1e8))
def test_limits_are_rounded_to_the_safe_side(amount: float) -> None:
    def read(text: str) -> Decimal:
        return Decimal(text.replace("$", "").replace(",", ""))

    exact = Decimal(repr(amount))
    assert read(US.at_most(amount)) <= exact <= read(US.at_least(amount))
    assert read(US.at_least(amount)) - read(US.at_most(amount)) <= (1 if amount >= 99 else Decimal("0.01"))


# ---- masses


def test_grams_come_first_and_troy_ounces_beside() -> None:
    # One troy ounce is 31.1034768 g: UK Weights and Measures Act 1985, Schedule 1 Part V.
    assert spaced(US.mass(31.1034768)) == "31.103477 g (1 ozt)"
    summary = Summary(mean=40.9, sd=2.096, median=40.9, low=37.02, high=45.13)
    assert spaced(US.mass_range(summary)) == "37.0 to 45.1 g (1.190 to 1.451 ozt)"
    assert spaced(Wording.of("EUR", "de").mass_range(summary)) == "37,0 to 45,1 g (1,190 to 1,451 ozt)"


def test_a_figure_and_its_unit_stay_on_one_line() -> None:
    for text in (
        US.grams(1),
        US.ounces(1),
        US.percent(0.5),
        US.measure(1, 0.1, "cm³"),
        Wording.of("EUR", "de").price(5),
    ):
        assert " " not in text
        assert NBSP in text


@pytest.mark.parametrize(
    ("x", "digits", "printed"), [(0.01234, 2, "0.012"), (12345, 2, "12,000"), (0, 2, "0"), (57.354, 3, "57.4")]
)
def test_rough_figure_has_so_many_digits(x: float, digits: int, printed: str) -> None:
    assert US.rough(x, digits) == printed


# ---- moments and locales


def test_moment_is_told_as_on_the_wall_with_its_offset() -> None:
    at = datetime(2026, 3, 14, 10, 24, 59, 999999, tzinfo=timezone(timedelta(hours=-7)))
    assert spaced(US.moment(at)) == "Mar 14, 2026, 10:24 AM (UTC-07:00)"
    assert Wording.of("EUR", "de").moment(at) == "14.03.2026, 10:24 (UTC-07:00)"
    assert "(UTC+00:00)" in US.moment(at.astimezone(UTC))


@pytest.mark.parametrize("name", [None, "", "C", "POSIX", "C.UTF-8", "nonsense!!", "xx_YY", "../../etc", "e" * 5000])
def test_a_name_that_is_no_locale_gives_the_usual_one(name: str | None) -> None:
    assert locale_named(name) == FALLBACK


def test_environment_is_read_by_the_precedence_of_posix() -> None:
    # IEEE Std 1003.1, Base Definitions 8.2: LC_ALL, then the category, then LANG; an empty value counts as unset.
    assert str(locale_of_environment({"LANG": "de_DE.UTF-8", "LC_MONETARY": "fr_FR", "LC_ALL": "sv_SE"})) == "sv_SE"
    assert str(locale_of_environment({"LANG": "de_DE.UTF-8", "LC_MONETARY": "fr_FR", "LC_ALL": ""})) == "fr_FR"
    assert str(locale_of_environment({"LANG": "de_DE.UTF-8@euro"})) == "de_DE"
    assert locale_of_environment({}) == FALLBACK


# ---- text for any terminal


@given(st.text(), st.sampled_from(["utf-8", "ascii", "latin-1", "cp1252", "cp437", "koi8-r"]))
def test_fitted_text_can_be_shown(text: str, encoding: str) -> None:
    shown = fitted(text, encoding).replace(GLUE, " ")
    shown.encode(encoding)
    assert all(letter.isprintable() or letter == "\n" for letter in shown)


def test_fitted_text_stays_readable() -> None:
    assert (
        fitted("1 cm³ of “gold” – 5 €, 20 °C, 3 × 2 −1…", "ascii") == '1 cm^3 of "gold" - 5 EUR, 20 deg C, 3 x 2 -1...'
    )
    assert fitted("é\x1b[31mred\u202e", "latin-1") == "é?[31mred?"
    assert fitted("é", "ascii") == "e"
    assert fitted("金", "ascii") == "?"
