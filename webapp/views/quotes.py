"""Quoting a specimen."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, Response, abort, redirect, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from scenarios import FIRST, Scenario, UnknownScenario, scenario
from valuation import Quote, RequestRefused, ValuationError, materials, quote, rubric
from webapp import charts, sentences
from webapp.ask_figures import ask_figures
from webapp.branches import ROUTE_CHOICES
from webapp.forms import Reading, Typed, blank_form, typed_from
from webapp.rendering import page, settings
from webapp.wording import Wording

views = Blueprint("quotes", __name__)

QUOTE_ORDER = ("specimen", "gold", "balance", "metal", "spot", "refiner", "collector", "buyer", "seller", "ask", "said")
QUOTE_OPENED = frozenset({"gold", "spot"})
DEALS = {"cash": "Cash", "advance_and_settle": "Advance, then settle", "consign": "Consign"}


@views.get("/")
def start() -> AnyResponse:
    """A first start opens on a worked demo."""
    return redirect(url_for("quotes.new", demo=FIRST))


@views.get("/quotes/new")
def new() -> Response:
    """The form of a new quote, blank or with a demo."""
    name = request.args.get("demo")
    if name is None:
        return _answered(blank_form(settings().currency))
    try:
        demo = scenario(name)
    except UnknownScenario as unknown:
        abort(404, str(unknown))
    return _answered(typed_from(demo.entries), demo=demo)


@views.post("/quotes/new")
def recalculated() -> Response:
    """The same page for what was typed."""
    return _answered(Typed(MultiDict(request.form.items(multi=True))))


@dataclass(frozen=True)
class Worked:
    """A form and the quote that it comes to, if it comes to one."""

    typed: Typed
    quote: Quote | None

    @property
    def status(self) -> int:
        """422 if something typed is wrong; a half-filled form is no error."""
        return 422 if self.typed.problems else 200


def worked(typed: Typed) -> Worked:
    """The quote of a form, or what is wrong or still needed."""
    reading = Reading(typed, settings().now(), settings().zone)
    try:
        return Worked(reading.judged(()), quote(reading.request()))
    except (RequestRefused, ValuationError) as refused:
        return Worked(reading.judged(refused.problems), None)


def _answered(typed: Typed, demo: Scenario | None = None) -> Response:
    done = worked(typed)
    currency = typed.text("spot.currency").strip().upper() or settings().currency
    w = Wording(settings().written_in, done.quote.currency if done.quote else currency)
    pictures = {}
    if done.quote is not None:
        pictures = {
            "axis": charts.money_axis(charts.house_marks(done.quote, w), w),
            "shares": charts.doubt_shares(done.quote, w),
            "steps": charts.refining_steps(done.quote, w),
        }
    return page(
        "quotes/quote.html",
        done.status,
        form=done.typed,
        quote=done.quote,
        demo=demo,
        w=w,
        currency=currency,
        say=sentences,
        rocks=[(key, rock.label) for key, rock in materials.rocks().items()],
        minerals=[(key, mineral.label) for key, mineral in materials.minerals().items()],
        qualities=list(rubric.qualities()),
        route_choices=ROUTE_CHOICES,
        deal_names=DEALS,
        say_ask=ask_figures,
        order=QUOTE_ORDER,
        opened=QUOTE_OPENED,
        **pictures,
    )
