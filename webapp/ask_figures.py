"""The figures of what is asked, named."""

from __future__ import annotations

from collections.abc import Iterator

from valuation.trade import AskResult
from webapp.wording import Wording

WORTH_PAYING = "Highest worth paying, all in"


def ask_figures(ask: AskResult, w: Wording) -> Iterator[tuple[str, str]]:
    """Name and figure of all that is known about what the seller asks now."""
    own, plain = Wording(w.locale, ask.extras.currency), ask.extras.is_nothing
    foreign = ask.extras.currency != w.currency
    most = None if plain and not foreign else ask.worth_paying_before_extras
    figures = (
        ("First asked", None if ask.price == ask.first_asked else ask.first_asked, own.price),
        ("Asked" if ask.price == ask.first_asked else "Now asked", ask.price, own.price),
        ("All in", None if plain and not foreign else ask.all_in, w.price),
        (WORTH_PAYING, ask.worth_paying, w.at_most),
        ("The same before extras", most, own.at_most),
        ("Expected profit", ask.expected_profit, w.money_rough),
        ("Margin", ask.margin_frac, w.percent),
        ("Chance of loss", ask.chance_of_loss, w.chance),
        ("Of median melt value", ask.of_median_melt_frac, w.percent),
        ("Per gram of fine gold", ask.per_gram_fine, w.price),
        ("Per gram of native gold", ask.per_gram_native, w.price),
        ("Pays if refined, from fine gold of", ask.break_even_fine_g, w.mass_rough),
        ("Chance that refining pays it", ask.chance_of_break_even, w.chance),
        ("Pays if sold, from a premium of", ask.break_even_premium_frac, w.percent),
    )
    for name, figure, told in figures:
        if figure is not None:
            yield name, told(figure)
