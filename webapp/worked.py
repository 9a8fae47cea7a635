"""A form and what it comes to."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from typing import Any

from babel import Locale

from valuation import Quote, QuoteRequest, RequestRefused, ValuationError, materials, quote, rubric
from webapp import charts, checks_told, figures_said, house_limits, sentences
from webapp.ask_figures import ask_figures
from webapp.bargaining import bargaining
from webapp.branches import ROUTE_CHOICES
from webapp.caution_list import CAUTIONS
from webapp.entered import entered
from webapp.faces import Face, short_verdict
from webapp.forms import Reading
from webapp.house import House
from webapp.marks import house_marks
from webapp.naming import Naming
from webapp.settings import Settings
from webapp.typed import Typed
from webapp.wording import Wording

DEALS = {"cash": "Cash", "advance_and_settle": "Advance, then settle", "consign": "Consign"}


@dataclass(frozen=True)
class Worked:
    """A form, judged, and the quote that it comes to, if it comes to one."""

    typed: Typed
    quote: Quote | None
    request: QuoteRequest | None = None

    @property
    def is_wrong(self) -> bool:
        """Whether something typed is wrong; a half-filled form is no error."""
        return bool(self.typed.problems)


def worked(typed: Typed, now: datetime, zone: tzinfo, locale: Locale | None = None) -> Worked:
    """The quote of a form, or what is wrong or still needed."""
    reading = Reading(typed, now, zone, locale)
    try:
        request = reading.request()
        return Worked(reading.judged(()), quote(request), request)
    except (RequestRefused, ValuationError) as refused:
        return Worked(reading.judged(refused.problems), None)


def shown(done: Worked, face: Face, settings: Settings, house: House) -> dict[str, Any]:
    """What the template of a quote needs."""
    currency = done.typed.text("spot.currency").strip().upper() or settings.currency
    w = Wording(settings.written_in, done.quote.currency if done.quote else currency)
    typed = done.typed
    if done.quote is None:
        blank = [path for path in face.wants if not typed.text(path).strip()]
        typed = replace(typed, needed=(*blank, *typed.needed))
    values: dict[str, Any] = {
        "form": typed,
        "quote": done.quote,
        "face": face,
        "order": face.order,
        "opened": face.opened,
        "w": w,
        "currency": currency,
        "say": sentences,
        "typed_figure": figures_said.typed,
        "caution_codes": CAUTIONS,
        "checks": checks_told,
        "say_ask": ask_figures,
        "deal_names": DEALS,
        "rocks": [(key, rock.label) for key, rock in materials.rocks().items()],
        "minerals": [(key, mineral.label) for key, mineral in materials.minerals().items()],
        "qualities": list(rubric.qualities()),
        "route_choices": ROUTE_CHOICES,
    }
    if done.quote is not None and done.request is not None:
        values["cautions"] = house_limits.cautions_of(done.quote, done.request, house, w)
        buyer = done.request.buyer
        values["offer"], values["increment"] = buyer.offer, buyer.cash_increment
        values["naming"] = Naming(done.quote, w)
        values["bargain"] = bargaining(done.quote, w)
        values["axis"] = charts.money_axis(house_marks(done.quote, w, buyer.offer), w)
        values["entered"] = list(entered(done.request, w))
        values["shares"] = charts.doubt_shares(done.quote, w)
        values["steps"] = charts.refining_steps(done.quote, w)
        values["verdict"] = short_verdict(done.quote)
    return values
