"""What a first start asks, and what is likely answered on this machine."""

from __future__ import annotations

from collections.abc import Mapping

from babel import Locale
from babel.core import get_global
from babel.numbers import get_currency_name, get_territory_currencies

from webapp.fields import field_in
from webapp.house import House

ASK_DEMO = "claim-only-ask"
NAMES = ("currency", "spot_unit", "mostly")
# Where gold is quoted by the tola in the street: common practice, no source.
_BY_THE_TOLA = frozenset({"IN", "PK", "NP", "BD"})


def territory_of(locale: Locale) -> str:
    """The country of a locale, the likeliest one where it names none; empty if none is known."""
    if locale.territory:
        return str(locale.territory)
    likely = get_global("likely_subtags").get(str(locale), "")
    return likely.rpartition("_")[2] if likely.count("_") else ""


def likely_answers(locale: Locale, currency: str, *, is_given: bool) -> dict[str, str]:
    """What the answers probably are: by the country of the locale, unless a currency was given at the start."""
    country = territory_of(locale)
    own = get_territory_currencies(country) if country else []
    return {
        "currency": currency if is_given or not own else own[-1],
        "spot_unit": "tola" if country in _BY_THE_TOLA else "ozt",
        "mostly": "quotes",
    }


def currencies(locale: Locale) -> list[tuple[str, str]]:
    """Every currency that is legal tender somewhere today, with its name."""
    countries = get_global("territory_currencies")
    codes = {code for country in countries for code in get_territory_currencies(country)}
    return [(code, f"{code}, {get_currency_name(code, locale=locale)}") for code in sorted(codes)]


def choices(name: str) -> tuple[tuple[str, str], ...]:
    """Value and words of each answer to a question."""
    spec = field_in(House, name)
    assert spec is not None
    return spec.choices


def answered(texts: Mapping[str, str], house: House) -> House:
    """The settings with these answers, those that are none left out.

    Raises
    ------
    ValidationError
        An answer that no such page offers.
    """
    told = {name: texts[name] for name in NAMES if texts.get(name, "").strip()}
    return House.model_validate({**house.entries(), **told})
