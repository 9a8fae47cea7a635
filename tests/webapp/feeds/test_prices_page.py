"""The page of the prices, that of the feeds, and what a quote is offered, against real servers."""

import re
import socket
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from flask import Flask
from freezegun import freeze_time

from tests.webapp.conftest import Page, Visitor
from tests.webapp.feeds.conftest import CERTIFICATE, SHORT, Source, feed_at
from valuation.history import volatility
from valuation.terms import Spot
from webapp.feed_settings import Feed
from webapp.house import House
from webapp.house_file import FILE, HouseFile, house_in
from webapp.noted_prices import keep_entered, source_words_of
from webapp.price_now import newest_price, price_age_words, source_of
from webapp.price_round import Rounds
from webapp.store import drafts, prices
from webapp.store.prices import Price

NOON = datetime(2026, 11, 25, 19, 0, tzinfo=UTC)  # noon in Denver


@pytest.fixture(autouse=True)
def quick(app: Flask, tmp_path: Path) -> None:
    app.extensions["rounds"] = Rounds(tmp_path, SHORT)


def set_up(folder: Path, *feeds: Feed, **settings: object) -> None:
    file = HouseFile(folder)
    file.save(
        House.model_validate({**settings, "feeds": [one.model_dump(exclude_unset=True) for one in feeds]}),
        file.read().seen,
    )


def kept(app: Flask, amount: float, at: datetime, **changes: object) -> Price:
    usual = {"metal": "gold", "currency": "USD", "unit": "ozt", "is_fed": True, "source": "Desk", "kept_at": at}
    price = Price(price=amount, seen_at=at, **{**usual, **changes})  # type: ignore[arg-type]
    assert prices.keep(app.extensions["store"], price)
    return price


def look_up(visitor: Visitor) -> Page:
    page = visitor.open("/prices")
    form = next(form for form in page.all("form") if form["action"] == "/prices/refresh")
    form["id"] = "look"
    return visitor.send(page, {}, "#look")


# ---- nothing leaves without a feed


@pytest.fixture
def guarded(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Every attempt to look up a name or to connect to anything, which fails."""
    tried: list[object] = []

    def refuse(*args: object, **_: object) -> None:
        tried.append(args)
        raise OSError("nothing may leave this machine")

    for name in ("connect", "connect_ex", "sendto"):
        monkeypatch.setattr(socket.socket, name, refuse)
    for name in ("getaddrinfo", "gethostbyname", "create_connection"):
        monkeypatch.setattr(socket, name, refuse)
    return tried


def test_nothing_leaves_this_machine_without_a_feed(visitor: Visitor, guarded: list[object]) -> None:
    for address in ("/", "/quotes/new", "/asks/new", "/prices", "/house", "/house/feeds", "/demos/leaf-gold-walk-in"):
        assert visitor.open(address).status == 200
    page = visitor.open("/quotes/new")
    page = visitor.send(page, {"spot.gold": "4100", "title": "Pebble"})
    assert page.status == 200
    with visitor.client.session_transaction() as session:
        token = session["token"]
    assert visitor.client.post("/prices/refresh", data={"token": token}).status_code == 303
    assert (
        visitor.client.post(
            f"{page.one('#quote-form')['action']}/price", data={"token": token, "take": "gold now"}
        ).status_code
        == 303
    )
    assert guarded == []


def test_the_guard_would_see_it(visitor: Visitor, tmp_path: Path, guarded: list[object]) -> None:
    set_up(tmp_path, feed_at("https://prices.example/p"))
    page = look_up(visitor)
    assert guarded and "the name prices.example was not found" in page.words(".price-feeds")


# ---- looking up


def test_a_price_is_looked_up_told_and_kept(visitor: Visitor, app: Flask, tmp_path: Path, source: Source) -> None:
    source.says('{"price": 3912.4, "silver": 48.1}')
    set_up(
        tmp_path,
        feed_at(source.address("/p?key=secret")),
        feed_at(source.address(), name="Metals", metal="silver", price="/silver"),
    )
    with freeze_time(NOON) as clock:
        assert "Not asked since" in visitor.open("/prices").words(".price-feeds")
        page = look_up(visitor)
        assert "Looked up: 2 of 2 gave a price" in page.words(".banner")
        assert "Gold, per troy ounce $3,912.40 seen just now · Desk" in page.words()
        assert source.address() in page.words(".price-feeds") and "secret" not in page.answer.text
        assert "Silver, per troy ounce $48.10" in page.words()
        assert "Gold $3,912.40 per troy ounce, fresh." in page.words(".price-feeds")
        clock.tick(timedelta(minutes=4))
        assert "seen 4 minutes ago" in visitor.open("/prices").words()
        assert "from the cache: answered 4 minutes ago" in look_up(visitor).words(".price-feeds")
        assert prices.listed(app.extensions["store"], "gold", "USD").count == 1
        source.says("<html>maintenance</html>", kind="text/html")
        clock.tick(timedelta(hours=1))
        page = look_up(visitor)
        assert "an old answer (64 minutes ago), as there is no new one: it answered with text/html" in page.words()
        clock.tick(timedelta(hours=24))
        words = visitor.open("/prices").words()
        assert "seen 25 hours ago, too long ago: look it up again" in words and "$3,912.40" in words


def test_the_foot_of_every_page_says_whether_feeds_are_asked(visitor: Visitor, tmp_path: Path, source: Source) -> None:
    assert "Everything stays on this machine." in visitor.open("/demos").words("footer")
    set_up(tmp_path, feed_at(source.address()))
    assert "only the feeds that the house set up are asked" in visitor.open("/demos").words("footer")


def test_nonsense_leaves_the_last_good_price(visitor: Visitor, app: Flask, tmp_path: Path, source: Source) -> None:
    set_up(tmp_path, feed_at(source.address()))
    kept(app, 4000.0, datetime.now(UTC) - timedelta(hours=3))
    source.says('{"price": 400}')
    page = look_up(visitor)
    assert "No price taken, 400 is 90 % below the last good price, 4000 (Desk, 3 hours ago)" in page.words()
    assert "$4,000.00 seen 3 hours ago · Desk" in page.words()
    assert prices.listed(app.extensions["store"], "gold", "USD").count == 1


def test_what_is_entered_by_hand_heals_a_jump(visitor: Visitor, app: Flask, tmp_path: Path, source: Source) -> None:
    set_up(tmp_path, feed_at(source.address()))
    kept(app, 4000.0, datetime.now(UTC) - timedelta(days=60))
    source.says('{"price": 5000}')
    assert "25 % above" in look_up(visitor).words()
    page = visitor.send(visitor.open("/prices"), {"price": "5.010,50", "source": "newspaper"}, "#by-hand form")
    assert "$5,010.50 seen just now · entered by hand: newspaper" in page.words()
    assert "Gold $5,000.00 per troy ounce, fresh." in look_up(visitor).words()


def test_a_jump_is_measured_across_units(visitor: Visitor, app: Flask, tmp_path: Path, source: Source) -> None:
    set_up(tmp_path, feed_at(source.address(), unit="g"), spot_unit="g")
    kept(app, 4000.0, datetime.now(UTC) - timedelta(hours=3))
    source.says('{"price": 130.1}')
    page = look_up(visitor)
    assert "Gold $130.10 per gram, fresh." in page.words() and "Gold, per gram $130.10" in page.words()
    source.says('{"price": 4000}')
    assert "from the cache" in look_up(visitor).words()


def test_another_currency_comes_over_by_a_fed_rate(visitor: Visitor, tmp_path: Path, source: Source) -> None:
    source.says('{"price": 4000, "eur": 0.9}')
    rate = feed_at(
        source.address(), name="Rates", metal="exchange_rate", one_of="USD", currency="EUR", price="/eur", unit=None
    )
    set_up(tmp_path, feed_at(source.address()), rate, currency="EUR")
    page = look_up(visitor)
    assert "Gold, per troy ounce €3,600.00 seen just now · Desk, in USD, at 0.9 EUR (Rates)" in page.words()
    assert "1 USD = 0.90 EUR" in page.words()
    assert "gold in USD" in page.words()


def test_currencies_without_cents_and_with_three_decimals(app: Flask, tmp_path: Path) -> None:
    for code, amount, shown in (("JPY", 612345.0, "¥612,345"), ("KWD", 1203.4567, "KWD 1,203.457")):
        set_up(tmp_path, currency=code)
        kept(app, amount, datetime.now(UTC), currency=code)
        assert shown in Visitor(app.test_client()).open("/prices").words()


# ---- entering


@pytest.mark.parametrize(
    ("changes", "field", "reason"),
    [
        ({"price": ""}, "price", "A number is needed here."),
        ({"price": "3,91,2"}, "price", "That is not a number"),
        ({"price": "1,234", "metal": "exchange_rate", "one_of": "EUR"}, "price", "Thousands or decimals?"),
        ({"price": "-1"}, "price", "Must be above 0"),
        ({"price": "1", "currency": "ABC"}, "currency", "Not a currency"),
        ({"price": "1", "metal": "exchange_rate", "one_of": "USD"}, "one_of", "nothing to exchange"),
        ({"price": "1", "metal": "exchange_rate", "one_of": ""}, "one_of", "Not a currency"),
        ({"price": "1", "metal": "lead"}, "metal", "Choose"),
        ({"price": "1", "seen_at": "yesterday"}, "seen_at", "A time of today"),
        ({"price": "1", "seen_at": "2999-01-01 10:00"}, "seen_at", "not one after now"),
        ({"price": "1", "seen_at": "0001-01-01 00:00"}, "seen_at", "A moment since 1970"),
        ({"price": "1", "source": "x" * 61}, "source", "at most 60"),
        ({"price": "1", "source": "a\u202eb"}, "source", "One line"),
    ],
)
def test_a_mistake_stands_beside_its_field(
    visitor: Visitor, app: Flask, changes: dict[str, str | list[str]], field: str, reason: str
) -> None:
    page = visitor.send(visitor.open("/prices"), changes, "#by-hand form")
    assert page.status == 422 and reason in page.words(f"#p-{field}")
    assert page.one("#by-hand").has_attr("open")
    for name, typed in changes.items():
        if name != "metal":
            assert page.field(name)["value"] == typed
    assert prices.pairs(app.extensions["store"]) == []


def test_a_price_may_be_typed_with_the_comma_of_thousands(visitor: Visitor, app: Flask) -> None:
    assert visitor.send(visitor.open("/prices"), {"price": "3,912"}, "#by-hand form").status == 200
    kept_price = prices.newest(app.extensions["store"], "gold", "USD")
    assert kept_price is not None and kept_price.price == 3912.0


@freeze_time(NOON)
def test_a_price_with_its_moment_and_a_rate(visitor: Visitor, app: Flask) -> None:
    page = visitor.open("/prices")
    page = visitor.send(page, {"price": "3 912,4", "seen_at": "9:30", "unit": "tola"}, "#by-hand form")
    assert "seen 2 hours ago" in page.words() and "$10,433.07" in page.words()  # 8/3 of it per troy ounce
    assert "$3,912.40 tola entered by hand" in page.words(".price-history")
    page = visitor.send(page, {"price": "3912.4", "seen_at": "9:30", "unit": "tola"}, "#by-hand form")
    assert "kept already" in page.words(".banner")
    visitor.send(page, {"metal": "exchange_rate", "price": "1.25", "one_of": "eur"}, "#by-hand form")
    assert "1 EUR = 1.25 USD" in visitor.open("/prices").words()


# ---- history


def test_history_picture_and_volatility(visitor: Visitor, app: Flask, tmp_path: Path) -> None:
    page = visitor.open("/prices")
    assert "Nothing is kept yet" in page.words() and not page.all(".price-picture")
    days, amounts = [], []
    with freeze_time(NOON):
        for day in range(40, 0, -1):
            at, amount = NOON - timedelta(days=day), 4000.0 + 37 * ((day * 7) % 5) - 3 * day
            kept(app, amount, at, is_fed=bool(day % 2))
            days.append((at - timedelta(hours=7)).date())
            amounts.append(amount)
            if day == 20:
                assert "not enough yet: 21 of 30 days" in visitor.open("/prices").words(".price-moves")
        page = visitor.open("/prices")
    expected = volatility(days, amounts).per_year
    assert f"{100 * expected:.1f} % a year, from 40 days, {days[0]} to {days[-1]}" in page.words(".price-moves")
    points = str(page.one(".price-line")["points"]).split()
    assert len(points) == 40
    heights = [float(point.partition(",")[2]) for point in points]
    assert amounts[heights.index(min(heights))] == max(amounts) and amounts[heights.index(max(heights))] == min(amounts)
    labels = [float(tick.get_text().replace(",", "")) for tick in page.all(".price-amount")]
    assert labels[0] <= min(amounts) and labels[-1] >= max(amounts)
    assert len(page.all(".price-history tbody tr")) == 25
    assert "40 days" in page.words("#pp-d") and "$" in page.words("#pp-d")
    form = page.one(".price-moves form")
    form["id"] = "use"
    told = visitor.send(page, {}, "#use")
    assert "New quotes start from a gold volatility" in told.words(".banner")
    assert house_in(tmp_path).house.gold_volatility_per_year == round(expected, 4)
    typed = visitor.open("/quotes/new").field("spot.gold_volatility_per_year")["value"]
    assert float(str(typed)) == pytest.approx(100 * round(expected, 4))
    page = visitor.send(visitor.open("/house"), {"gold_volatility_per_year": "20,5"}, "#house-form")
    assert house_in(tmp_path).house.gold_volatility_per_year == 0.205
    page = visitor.send(visitor.open("/house"), {"gold_volatility_per_year": "400"}, "#house-form")
    assert page.status == 422 and "at most 300 %" in page.words("#problems")


def test_pages_of_the_history(visitor: Visitor, app: Flask) -> None:
    for i in range(35):
        kept(app, 4000.0 + i, datetime.now(UTC) - timedelta(minutes=70 - i))
    assert len(visitor.open("/prices").all(".price-history tbody tr")) == 25
    assert len(visitor.open("/prices?page=2").all(".price-history tbody tr")) == 10
    for odd in ("0", "3", "x", "9" * 30, "²"):
        assert visitor.open(f"/prices?page={odd}&metal=lead").status == 200


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        (-5, "just now"),
        (0, "just now"),
        (1, "1 minute ago"),
        (119, "119 minutes ago"),
        (120, "2 hours ago"),
        (47 * 60, "47 hours ago"),
        (48 * 60, "2 days ago"),
        (400 * 24 * 60, "400 days ago"),
    ],
)
def test_age_in_words(minutes: int, words: str) -> None:
    assert price_age_words(NOON - timedelta(minutes=minutes), NOON) == words


# ---- in a quote


def test_a_quote_is_offered_the_price_and_entered_by_hand_wins(visitor: Visitor, app: Flask, tmp_path: Path) -> None:
    page = visitor.open("/quotes/new")
    assert not page.all("#offered")
    set_up(tmp_path, feed_at("https://prices.example/p"))
    at = datetime.now(UTC) - timedelta(minutes=4)
    kept(app, 3912.4, at)
    kept(app, 9.0, datetime.now(UTC), is_fed=False, source="")
    page = visitor.send(
        visitor.open("/quotes/new"), {"title": "Pebble", "spot.gold": "4000", "weighing.dry_g": ["412,9"]}
    )
    assert "Use 3,912.40 from Desk, 4 minutes ago" in page.words("#offered")
    assert page.field("spot.gold")["value"] == "4000"
    page = pressed(visitor, page, "gold kept", {"title": "Pebble, typed meanwhile"})
    assert page.field("spot.gold")["value"] == "3912.4" and page.field("title")["value"] == "Pebble, typed meanwhile"
    assert page.field("weighing.dry_g")["value"] == "412,9"
    assert "Use" not in page.words("#offered")
    seen = datetime.fromisoformat(str(page.field("spot.seen_at")["value"]))
    assert seen == at.replace(second=0, microsecond=0) and seen.utcoffset() == timedelta(hours=-7)
    page = visitor.send(page, {"spot.gold": "4001"})
    assert page.field("spot.gold")["value"] == "4001"
    page = visitor.send(page, {"spot.unit": "g"})
    assert "Use 125.787 from Desk" in page.words("#offered")
    page = visitor.send(page, {"spot.currency": "EUR"})
    assert "Use" not in page.words("#offered")
    assert "No feed told a price of gold in EUR" in pressed(visitor, page, "gold kept", {}).words("#g-spot")


def pressed(visitor: Visitor, page: Page, take: str, changes: dict[str, str]) -> Page:
    """Press a button of the offer, as a browser without scripts does."""
    form = page.one("#quote-form")
    texts = page.typed()
    for name, value in changes.items():
        texts.setlist(name, [value])
    texts["take"] = take
    return Page(visitor.client.post(f"{form['action']}/price", data=texts, follow_redirects=True))


def test_a_price_looked_up_from_the_quote(visitor: Visitor, tmp_path: Path, source: Source) -> None:
    set_up(tmp_path, feed_at(source.address()))
    source.says('{"price": 3912.4}')
    page = visitor.send(visitor.open("/quotes/new"), {"title": "Pebble"})
    assert page.words("#offered") == "Look it up now"
    page = pressed(visitor, page, "gold now", {"title": "Pebble, typed meanwhile"})
    assert (page.field("spot.gold")["value"], page.field("title")["value"]) == ("3912.4", "Pebble, typed meanwhile")


def test_a_look_up_that_fails_keeps_what_was_typed_and_says_why(
    visitor: Visitor, tmp_path: Path, source: Source
) -> None:
    set_up(tmp_path, feed_at(source.address()))
    source.says("", status=500)
    page = visitor.send(visitor.open("/quotes/new"), {"title": "Pebble", "spot.gold": "4000"})
    page = pressed(visitor, page, "gold now", {"title": "More"})
    assert "Desk: no price taken, it answered 500" in page.words("#g-spot")
    assert (page.field("spot.gold")["value"], page.field("title")["value"]) == ("4000", "More")


def test_a_noted_price_is_offered_where_there_is_no_feed(visitor: Visitor, app: Flask) -> None:
    assert not visitor.open("/quotes/new").all("#offered")
    kept(app, 4120.0, datetime.now(UTC) - timedelta(minutes=20), is_fed=False, source="")
    page = visitor.open("/quotes/new")
    assert page.words("#offered") == "Use 4,120.00, noted 20 minutes ago"
    assert not visitor.open("/demos/leaf-gold-walk-in").all("#offered")
    page = pressed(visitor, page, "gold kept", {"title": "Pebble"})
    assert (page.field("spot.gold")["value"], page.field("title")["value"]) == ("4120", "Pebble")
    assert not page.all("#offered")
    assert not visitor.send(page, {"spot.currency": "EUR", "spot.gold": "3500"}).all("#offered")


def test_a_lot_is_offered_the_noted_price_with_its_age(visitor: Visitor, app: Flask) -> None:
    seen = datetime.now(UTC).replace(microsecond=0) - timedelta(minutes=20)
    kept(app, 4120.0, seen, is_fed=False, source="")
    page = visitor.open("/lots")
    (button,) = [one for one in page.all("#lot-form button") if "noted 20 minutes ago" in one.get_text()]
    assert page.all("#lot-form button")[0].has_attr("hidden")  # what Enter presses
    visitor.client.post(str(button["formaction"]), data={**page.typed("#lot-form"), "title": "Half typed"})
    page = visitor.open(str(page.one("#lot-form")["action"]))
    assert (page.field("gold")["value"], page.field("title")["value"]) == ("4120", "Half typed")
    assert "noted" not in page.words("#lot-form")
    kept_lot = drafts.get(app.extensions["store"], str(page.one("#lot-form")["action"]).rpartition("/")[2])
    assert datetime.fromisoformat(dict(kept_lot.entries)["gold_seen_at"]) == seen
    assert "noted" not in visitor.open("/lots?demo=1").words("#lot-form")


def test_a_demo_is_offered_nothing_and_enter_recalculates(visitor: Visitor, app: Flask, tmp_path: Path) -> None:
    set_up(tmp_path, feed_at("https://prices.example/p"))
    kept(app, 3912.4, datetime.now(UTC))
    assert not visitor.open("/demos/leaf-gold-walk-in").all("#offered")
    first = visitor.open("/quotes/new").all("#quote-form button")[0]
    assert first.get("name") is None and first.get("formaction") is None and first.has_attr("hidden")


def test_the_price_of_a_quote_is_traced_to_its_feed(app: Flask) -> None:
    store = app.extensions["store"]
    for minutes, amount in ((30, 3900.0), (4, 3912.4)):
        kept(app, amount, NOON - timedelta(minutes=minutes), address="https://prices.example/p")
    typed = Spot(gold=3900.0, seen_at=NOON - timedelta(minutes=30, seconds=20))
    traced = source_of(store, "gold", typed)
    assert traced is not None and (traced.of.source, traced.of.address) == ("Desk", "https://prices.example/p")
    assert source_of(store, "gold", Spot(gold=125.388, unit="g", seen_at=typed.seen_at)) is not None
    assert source_of(store, "gold", Spot(gold=3901.0, seen_at=typed.seen_at)) is None
    assert source_of(store, "gold", Spot(gold=3900.0)) is None
    assert source_of(store, "gold", Spot(gold=3900.0, seen_at=NOON)) is None
    assert source_of(store, "silver", typed) is None


def test_prices_that_quotes_use_are_kept_once_and_not_those_of_feeds(app: Flask) -> None:
    store = app.extensions["store"]
    kept(app, 3912.4, NOON)
    keep_entered(store, Spot(gold=3912.4, seen_at=NOON), NOON)
    assert prices.listed(store, "gold", "USD").count == 1
    for _ in range(2):
        keep_entered(store, Spot(gold=4000.0, silver=48.0, seen_at=NOON), NOON)
    assert prices.listed(store, "gold", "USD").count == 2 and prices.listed(store, "silver", "USD").count == 1
    keep_entered(store, Spot(gold=1.0, seen_at=NOON + timedelta(days=365)), NOON)
    newest = newest_price(store, "gold", "USD")
    assert newest is not None and (newest.price, newest.is_fed, newest.source) == (4000.0, False, "entered by hand")


def test_a_sheet_names_the_feed_and_its_address(app: Flask) -> None:
    store = app.extensions["store"]
    kept(app, 3912.4, NOON, address="https://prices.example/p")
    assert source_words_of(store, Spot(gold=3912.4, seen_at=NOON)) == "Desk (https://prices.example/p)"
    assert source_words_of(store, Spot(gold=3912.5, seen_at=NOON)) == "entered by hand"


def test_a_price_is_noted_once_it_is_shown_to_the_seller_and_a_demos_never(visitor: Visitor, app: Flask) -> None:
    store = app.extensions["store"]
    typed: dict[str, str | list[str]] = {
        "weighing.dry_g": ["412.9"],
        "weighing.submerged_g": ["271.5"],
        "weighing.readability_g": "0.05",
        "choose.rock": "kind",
        "rock.kind": "vein-quartz",
        "spot.gold": "4100",
        "spot.silver": "48",
        "spot.seen_at": "now",
    }
    with freeze_time(NOON) as clock:
        page = visitor.send(visitor.open("/quotes/new"), typed)
        address = str(page.one("#quote-form")["action"])
        assert prices.pairs(store) == []
        clock.tick(timedelta(hours=20))
        for _ in range(2):
            assert visitor.open(f"{address}/counter").status == 200
        newest = newest_price(store, "gold", "USD")
        assert newest is not None and (newest.price, newest.seen_at, newest.is_fed) == (4100.0, NOON, False)
        assert prices.listed(store, "gold", "USD").count == prices.listed(store, "silver", "USD").count == 1
        demo = visitor.send(visitor.open("/demos/leaf-gold-walk-in"), {"title": "Mine"})
        assert visitor.open(f"{demo.one('#quote-form')['action']}/counter").status == 200
        assert prices.listed(store, "gold", "USD").count == 1


# ---- setting feeds up


def test_a_feed_is_tried_saved_changed_and_taken_off(visitor: Visitor, tmp_path: Path, source: Source) -> None:
    source.says('{"price": 3912.4}')
    typed: dict[str, str | list[str]] = {
        "name": "Desk",
        "metal": "gold",
        "address": source.address("/p?key=secret"),
        "price": "/price",
        "currency": "usd",
        "unit": "ozt",
        "local_hosts": "localhost",
        "ca_file": str(CERTIFICATE),
        "largest_jump_frac": "12,5",
        "header": "X-Key",
        "header_value": "very secret",
    }
    page = visitor.send(visitor.open("/house/feeds/new"), {**typed, "do": "try"}, ".feed-form")
    assert page.status == 422 or "It works" in page.words("#tried")
    tried = Page(visitor.client.post("/house/feeds/new", data={**page.typed(".feed-form"), **typed, "do": "try"}))
    assert "It works. Gold $3,912.40 per troy ounce, fresh. The price was seen just now." in tried.words("#tried")
    assert house_in(tmp_path).house.feeds == () and "very secret" not in tried.answer.text
    saved = Page(
        visitor.client.post(
            "/house/feeds/new", data={**tried.typed(".feed-form"), **typed, "do": "save"}, follow_redirects=True
        )
    )
    assert "Desk is saved." in saved.words(".banner") and "secret" not in saved.words()
    (feed,) = house_in(tmp_path).house.feeds
    assert (feed.currency, feed.largest_jump_frac, feed.header_value) == ("USD", 0.125, "very secret")
    page = visitor.open("/house/feeds/0")
    assert "very secret" not in page.answer.text and "One is kept" in page.words()
    assert page.field("largest_jump_frac")["value"] == "12.5"
    visitor.send(page, {"name": "Desk 2"}, ".feed-form")
    (feed,) = house_in(tmp_path).house.feeds
    assert (feed.name, feed.header_value) == ("Desk 2", "very secret")
    page = visitor.send(visitor.open("/house/feeds/0"), {"address": "https://elsewhere.example/p"}, ".feed-form")
    assert page.status == 422 and "header and key go together" in page.words("#problems").lower()
    page = visitor.send(visitor.open("/house/feeds"), {"do": "off"}, ".feed-deeds")
    assert house_in(tmp_path).house.feeds == () and "Desk 2 was taken off" in page.words(".banner")


def test_feeds_are_moved_and_the_other_settings_stay(visitor: Visitor, tmp_path: Path) -> None:
    set_up(tmp_path, *(feed_at(f"https://{name}.example/p", name=name) for name in "abc"), paper="Letter")
    page = visitor.open("/house/feeds")
    page.all(".feed-deeds")[2]["id"] = "third"
    visitor.send(page, {"do": "up"}, "#third")
    assert [feed.name for feed in house_in(tmp_path).house.feeds] == ["a", "c", "b"]
    assert visitor.send(visitor.open("/house"), {"name": "Demo house"}, "#house-form").status == 200
    house = house_in(tmp_path).house
    assert (house.name, house.paper, len(house.feeds)) == ("Demo house", "Letter", 3)
    assert visitor.open("/house/feeds/7").status == 404


def test_a_feed_changed_elsewhere_is_told_and_what_was_typed_stays(visitor: Visitor, tmp_path: Path) -> None:
    set_up(tmp_path, feed_at("https://a.example/p"))
    page = visitor.open("/house/feeds/0")
    set_up(tmp_path, feed_at("https://b.example/p"), paper="Letter")
    page = visitor.send(page, {"name": "Mine"}, ".feed-form")
    assert page.status == 409 and "changed elsewhere" in page.words(".banner") and page.field("name")["value"] == "Mine"
    assert visitor.send(page, {}, ".feed-form").status == 200
    assert house_in(tmp_path).house.feeds[0].name == "Mine"


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", '"><img src=x>', "{{ 7*7 }}"])
def test_hostile_texts_are_only_texts(visitor: Visitor, app: Flask, tmp_path: Path, text: str) -> None:
    set_up(tmp_path, feed_at("https://a.example/p", name=text))
    kept(app, 3912.4, datetime.now(UTC), source=text)
    for address in ("/prices", "/house/feeds", "/house/feeds/0", "/quotes/new"):
        page = visitor.open(address)
        assert not page.all("main script, main img") and (
            text in page.soup.get_text() or text in str(page.field("name")["value"])
        )
    (tmp_path / FILE).unlink()


def test_two_look_ups_at_once_ask_one_after_the_other(app: Flask, tmp_path: Path, source: Source) -> None:
    source.says('{"price": 3912.4}')
    made, told = Rounds(tmp_path, SHORT), []
    store = app.extensions["store"]
    asking = [
        threading.Thread(target=lambda: told.append(made.go(store, [feed_at(source.address())]))) for _ in range(4)
    ]
    for one in asking:
        one.start()
    for one in asking:
        one.join(20)
    assert len(told) == 4 and all(len(one) == 1 and one[0].found is not None for one in told)
    assert len(source.asked) == 1 and re.fullmatch("/p", source.asked[0][0])


def test_a_price_far_from_the_newest_is_kept_only_once_it_is_confirmed(app: Flask, visitor: Visitor) -> None:
    store = app.extensions["store"]
    typed = {"metal": "gold", "price": "4100", "currency": "USD", "unit": "ozt", "seen_at": "", "source": ""}
    visitor.send(visitor.open("/prices"), typed, "form[action='/prices']")
    asked = visitor.send(visitor.open("/prices"), {**typed, "price": "410"}, "form[action='/prices']")
    assert asked.status == 422 and "More than 10% from the newest, 4100 per ozt" in asked.words("#p-price")
    newest = prices.newest(store, "gold", "USD")
    assert newest is not None and newest.price == 4100
    other = visitor.send(asked, {"price": "450", "sure": "410"}, "form[action='/prices']")
    assert other.status == 422  # what was confirmed is another price
    assert visitor.send(other, {"sure": "450"}, "form[action='/prices']").status == 200
    newest = prices.newest(store, "gold", "USD")
    assert newest is not None and newest.price == 450
