"""The house's settings: a file that may be edited by hand, a page, and what new quotes start from."""

import multiprocessing
import os
import re
import stat
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from babel.numbers import format_currency
from flask import Flask
from hypothesis import given
from hypothesis import strategies as st

from scenarios import FIRST, scenario
from tests.webapp.conftest import Page, Visitor
from valuation import QuoteRequest, quote
from webapp import create_app
from webapp.house import House, settings_paths
from webapp.house_file import FILE, ChangedMeanwhile, HouseFile, NotSaved, house_in
from webapp.house_limits import cautions_of
from webapp.house_text import house_toml
from webapp.settings import Settings
from webapp.wording import Wording

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="rights of POSIX")
FULL: dict[str, object] = {
    "name": "Demo “Counter” \\ 金 (invented)",
    "paper": "Letter",
    "currency": "EUR",
    "spot_unit": "g",
    "locale": "de-DE",
    "time_zone": "Europe/Berlin",
    "gold_volatility_per_year": 0.21,
    "silver_volatility_per_year": 0.35,
    "offer_valid_hours": 12.0,
    "limits": {"cash_offer": 4000.0, "spot_age_hours": 2.0},
    "buyer": {"margin_frac": 0.2, "handling_cost": 55.5, "cash_increment": 5.0},
    "refiner": {
        "name": "Demo refiner",
        "recovery_frac": {"low": 0.9, "likely": 0.95, "high": 0.97, "coverage_frac": 0.95},
        "payable": [{"from_ozt": 0.0, "frac": 0.94}, {"from_ozt": 5.0, "frac": 0.965}],
        "assay_fee": 120.0,
    },
    "collector": {"selling_cost_frac": 0.1, "sale_chance_frac": 0.9, "months_to_sale": {"low": 2.0, "high": 6.0}},
    "feeds": [
        {
            "name": "Desk",
            "metal": "gold",
            "address": "https://a.example/p",
            "price": "/p",
            "currency": "USD",
            "unit": "g",
        },
        {
            "name": 'Table «2» "x"',
            "metal": "exchange_rate",
            "address": "https://b.example/p?q=1&r=a%20b",
            "format": "csv",
            "price": "2",
            "row": "first",
            "currency": "EUR",
            "one_of": "USD",
            "time_at": "date",
            "header": "X-Key",
            "header_value": "secret \\ word",
            "largest_jump_frac": 0.05,
            "kept_minutes": 60.0,
            "local_hosts": ["b.example"],
            "ca_file": "certificates.pem",
        },
    ],
}


def save(folder: Path, house: House) -> None:
    file = HouseFile(folder)
    file.save(house, file.read().seen)


def plain(value: object) -> object:
    """The value with its tuples as lists, as TOML reads them."""
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    return [plain(item) for item in value] if isinstance(value, list | tuple) else value


# ---- the file


def test_every_setting_survives_the_file(tmp_path: Path) -> None:
    save(tmp_path, House.model_validate(FULL))
    found = house_in(tmp_path)
    assert found.trouble == () and plain(found.house.entries()) == FULL
    assert plain(tomllib.loads((tmp_path / FILE).read_text("utf-8"))) == FULL


TURNING = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters=TURNING), max_size=60))
def test_any_name_survives_the_file(name: str) -> None:
    house = House(name=name)
    assert tomllib.loads(house_toml(house)).get("name", "") == name.strip() == house.name


def test_every_line_behind_a_hash_may_be_uncommented(tmp_path: Path) -> None:
    text = house_toml(House())
    assert house_in(tmp_path).house.entries() == {} == _entries(tmp_path, text)
    set_all = re.sub(r"^# (?=[a-z_]+ = )", "", text, flags=re.MULTILINE)
    entries = _entries(tmp_path, set_all)
    told = {key: value if isinstance(value, dict) else {"": value} for key, value in entries.items()}
    named = {f"{key}.{inner}".rstrip(".") for key, value in told.items() for inner in value}
    assert named | {"name"} == set(settings_paths())


def _entries(folder: Path, text: str) -> dict[str, object]:
    (folder / FILE).write_text(text, "utf-8")
    found = house_in(folder)
    assert found.trouble == ()
    return found.house.entries()


def test_what_it_says_of_a_default_is_the_default() -> None:
    """Setting what stands behind a # changes no setting, but for the examples where there is no default."""
    told = tomllib.loads(re.sub(r"^# (?=[a-z_]+ = )", "", house_toml(House()), flags=re.MULTILINE))
    example = {"currency", "spot_unit", "locale", "time_zone", "cash_offer", "spot_age_hours", "silver_recovery_frac"}
    for section in ("buyer", "refiner", "collector"):
        kept = {key: value for key, value in told[section].items() if key not in example}
        assert House.model_validate({section: kept}).model_dump()[section] == House().model_dump()[section]


@pytest.mark.parametrize(
    ("text", "told", "left"),
    [
        ("currency = EUR\n", ["house.toml, line 1, column 12", "None of it is used"], {}),
        (
            'currency = "EUR"\n[buyer]\n\nmargin_frac = "much"\nhandling_cost = 5\n',
            ["line 4, buyer.margin_frac (much)"],
            {"currency": "EUR", "buyer": {"handling_cost": 5.0}},
        ),
        ('currncy = "EUR"\n', ["line 1, currncy (EUR): unknown; did you mean currency?"], {}),
        (
            "[buyer]\nmargin_frac = nan\n[limits]\ncash_offer = inf\nspot_age_hours = -1\n",
            ["line 2", "line 4", "line 5"],
            {},
        ),
        ("[refiner]\nassay_fee = 40\nfreight = -1\n", ["line 3", "All of [refiner] is left out"], {}),
        ('buyer = 3\npaper = "A5"\nname = 7\n', ["line 1", "line 2", "line 3"], {}),
        (
            "[buyer]\noffer = 5000\n[collector]\npremium_frac = 1\n",
            ["line 2, buyer.offer", "line 4, collector.premium_frac"],
            {},
        ),
        ("buyer.margin_frac = 20\n", ["line 1, buyer.margin_frac (20): must be at most 10"], {}),
        ('time_zone = "../../etc/passwd"\nlocale = "../x"\ncurrency = "XYZ"\n', ["line 1", "line 2", "line 3"], {}),
        ('name = "a\\nb\\u202e"\n', ["without control characters"], {}),
        ("a." * 5000 + "b = 1\n", [], {}),
        ("x = " + "[" * 3000 + "]" * 3000, [], {}),
    ],
)
def test_a_mistake_is_named_and_the_rest_counts(tmp_path: Path, text: str, told: list[str], left: object) -> None:
    (tmp_path / FILE).write_text(text)
    found = house_in(tmp_path)
    assert found.trouble and found.house.entries() == left
    for words in told:
        assert any(words in sentence for sentence in found.trouble), (words, found.trouble)


@pytest.mark.parametrize("data", [b"\xff\xfe\x00", b"\0", b"#" * 70_000, b"name = 'x"])
def test_what_is_no_text_stops_nothing_and_stays(tmp_path: Path, data: bytes) -> None:
    (tmp_path / FILE).write_bytes(data)
    made = create_app(tmp_path, Settings(data=tmp_path))
    page = Visitor(made.test_client()).open("/house")
    assert page.status == 200 and "None of it is used" in page.words("#trouble")
    assert (tmp_path / FILE).read_bytes() == data
    made.extensions["store"].close()


def test_a_folder_in_its_place(tmp_path: Path) -> None:
    (tmp_path / FILE).mkdir()
    file = HouseFile(tmp_path)
    assert "folder" in file.read().trouble[0]
    with pytest.raises(NotSaved):
        file.save(House(), file.read().seen)
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


def test_a_byte_order_mark_and_foreign_line_ends(tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(b'\xef\xbb\xbfcurrency = "EUR"\r\n[buyer]\r\nmargin_frac = 0.2\r\n')
    assert house_in(tmp_path).house.entries() == {"currency": "EUR", "buyer": {"margin_frac": 0.2}}


def test_an_edit_by_hand_counts_at_once_and_is_set_aside_at_the_next_save(tmp_path: Path) -> None:
    file = HouseFile(tmp_path)
    assert file.save(House(currency="EUR"), "") == ""
    text = "# mine\n" + (tmp_path / FILE).read_text().replace('"EUR"', '"CHF"')
    (tmp_path / FILE).write_text(text)
    assert file.read().house.currency == "CHF"
    assert file.save(House(currency="NOK"), file.read().seen) == "house-before-1.toml"
    assert (tmp_path / "house-before-1.toml").read_text() == text
    assert file.save(House(currency="SEK"), file.read().seen) == ""
    (tmp_path / FILE).write_text("currency = ")
    assert file.save(House(), file.read().seen) == "house-before-2.toml"
    assert (tmp_path / "house-before-2.toml").read_text() == "currency = "
    assert sorted(path.name for path in tmp_path.iterdir()) == ["house-before-1.toml", "house-before-2.toml", FILE]


@POSIX
def test_the_file_is_for_this_user_alone_and_a_link_stays_one(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / FILE).symlink_to(tmp_path / "elsewhere" / "mine.toml")
    save(tmp_path, House(currency="EUR"))
    assert (tmp_path / FILE).is_symlink() and house_in(tmp_path).house.currency == "EUR"
    assert stat.S_IMODE((tmp_path / "elsewhere" / "mine.toml").stat().st_mode) == 0o600


def test_what_was_seen_must_still_stand(tmp_path: Path) -> None:
    file = HouseFile(tmp_path)
    seen = file.read().seen
    file.save(House(currency="EUR"), seen)
    with pytest.raises(ChangedMeanwhile) as meanwhile:
        file.save(House(currency="CHF"), seen)
    assert meanwhile.value.now.house.currency == "EUR" and meanwhile.value.before == House()
    assert house_in(tmp_path).house.currency == "EUR"


def _not_saved_as_a_guest(folder: Path) -> None:
    """In a process of its own, as a user without rights: the refusal is plain, and nothing is lost."""
    if os.getuid() == 0:
        os.setgroups([])
        os.setgid(65534)
        os.setuid(65534)
    file = HouseFile(folder)
    assert file.read().house.currency == "EUR"
    with pytest.raises(NotSaved, match=r"cannot be written .*rights of the folder"):
        file.save(House(currency="CHF"), file.read().seen)
    assert file.read().house.currency == "EUR"


@POSIX
def test_a_folder_without_the_right_to_write() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / FILE).write_text('currency = "EUR"\n')
        folder.chmod(0o555)
        guest = multiprocessing.get_context("fork").Process(target=_not_saved_as_a_guest, args=(folder,))
        guest.start()
        guest.join(60)
        folder.chmod(0o700)
        assert guest.exitcode == 0
        assert [path.name for path in folder.iterdir()] == [FILE]


# ---- the page


@pytest.fixture
def ours(tmp_path: Path) -> Iterator[Flask]:
    """An app that nothing was set for at its start."""
    made = create_app(tmp_path, Settings(data=tmp_path))
    yield made
    made.extensions["store"].close()


@pytest.fixture
def visitor(ours: Flask) -> Visitor:
    return Visitor(ours.test_client())


def sent(visitor: Visitor, changes: dict[str, str | list[str]], page: Page | None = None) -> Page:
    return visitor.send(page or visitor.open("/house"), changes, "#house-form")


def in_file(tmp_path: Path) -> dict[str, object]:
    return house_in(tmp_path).house.entries()


def test_nothing_set_is_nothing_written(visitor: Visitor, tmp_path: Path) -> None:
    assert visitor.open("/house").status == 200 and not (tmp_path / FILE).exists()
    assert sent(visitor, {}).status == 200 and in_file(tmp_path) == {}


def test_what_is_typed_is_kept_and_shown_again(visitor: Visitor, tmp_path: Path) -> None:
    typed: dict[str, str | list[str]] = {
        "name": "Demo (invented)",
        "paper": "Letter",
        "currency": " eur ",
        "spot_unit": "kg",
        "locale": "de_DE",
        "time_zone": "Europe/Berlin",
        "offer_valid_hours": "12,5",
        "limits.cash_offer": "4 000",
        "buyer.margin_frac": "12.5",
        "refiner.payable.0.frac": "94",
        "refiner.payable.1.from_ozt": "5",
        "refiner.payable.1.frac": "96.5",
        "refiner.recovery_frac.likely": "95",
        "refiner.recovery_frac.sd": "1",
        "refiner.price_fixed": "receipt",
        "collector.sale_chance_frac.low": "80",
        "collector.sale_chance_frac.high": "90",
    }
    page = sent(visitor, {**typed, "refiner.payable.1.from_ozt": ""})
    assert page.status == 422 and page.field("refiner.payable.1.frac")["value"] == "96.5"
    # The second tier is drawn once the first is typed in.
    page = sent(visitor, typed, page)
    assert page.status == 200 and "Saved" in page.words()
    assert plain(in_file(tmp_path)) == {
        "name": "Demo (invented)",
        "paper": "Letter",
        "currency": "EUR",
        "spot_unit": "kg",
        "locale": "de_DE",
        "time_zone": "Europe/Berlin",
        "offer_valid_hours": 12.5,
        "limits": {"cash_offer": 4000.0},
        "buyer": {"margin_frac": 0.125},
        "refiner": {
            "recovery_frac": {"value": 0.95, "sd": 0.01},
            "payable": [{"from_ozt": 0.0, "frac": 0.94}, {"from_ozt": 5.0, "frac": 0.965}],
            "price_fixed": "receipt",
        },
        "collector": {"sale_chance_frac": {"low": 0.8, "high": 0.9}},
    }
    assert page.field("buyer.margin_frac")["value"] == "12.5" and page.field("limits.cash_offer")["value"] == "4000"
    before = (tmp_path / FILE).read_text()
    assert sent(visitor, {}, page).status == 200 and (tmp_path / FILE).read_text() == before


def test_mistakes_stand_beside_their_fields_and_all_that_was_typed_stays(visitor: Visitor, tmp_path: Path) -> None:
    wrong: dict[str, str | list[str]] = {
        "currency": "EURO",
        "locale": "klingon!",
        "time_zone": "Europe/Zurch",
        "offer_valid_hours": "0",
        "limits.cash_offer": "much",
        "buyer.loss_chance_frac": "250",
        "refiner.recovery_frac.low": "90",
        "collector.months_to_sale.low": "5",
        "collector.months_to_sale.high": "2",
        "name": "x" * 500,
    }
    page = sent(visitor, {**wrong, "buyer.margin_frac": "22"})
    assert page.status == 422 and not (tmp_path / FILE).exists()
    for name, text in {**wrong, "buyer.margin_frac": "22"}.items():
        assert page.field(name)["value"] == text
    for path in {re.sub(r"\.(low|high)$", "", name) for name in wrong}:
        spoken = page.one(f'[id="p-{path}"]')
        assert spoken.get_text().strip().endswith((".", "?")) or spoken.get_text(), path
        assert page.all(f'[href="#f-{path}"]')
    assert "Must be below 100 %" in page.words("#problems") and "did you mean Europe/Zurich?" in page.words("#problems")
    assert page.field("buyer.margin_frac").get("aria-invalid") is None


@pytest.mark.parametrize(
    "text", ["<script>alert(1)</script>", "'\"><img src=x>", "{{ 7*7 }}", "金 é ’", "\u0000", "a\u202eb"]
)
def test_hostile_texts(visitor: Visitor, tmp_path: Path, text: str) -> None:
    texts = dict.fromkeys(("name", "currency", "locale", "time_zone", "buyer.margin_frac", "refiner.name"), text)
    page = sent(visitor, {**texts, "unknown.field": text, "paper": text, "refiner.payable.999999.frac": text})
    assert page.status == 422 and not page.all("main script, main img")
    assert not (tmp_path / FILE).exists() and "49" not in page.words()
    (tmp_path / FILE).write_text(
        house_toml(House()).replace("# name = ", "name = ").replace('name = ""', 'currency = "<img src=x>"', 1)
    )
    assert not visitor.open("/house").all("main img")


def test_a_stranger_changes_nothing(ours: Flask, tmp_path: Path) -> None:
    answer = ours.test_client().post("/house", data={"currency": "EUR", "seen": ""})
    assert answer.status_code == 403 and not (tmp_path / FILE).exists()


def test_the_second_tab_is_told_what_the_first_one_changed(visitor: Visitor, tmp_path: Path) -> None:
    sent(visitor, {"buyer.margin_frac": "15", "buyer.handling_cost": "50", "currency": "EUR"})
    first, second = visitor.open("/house"), visitor.open("/house")
    sent(visitor, {"buyer.margin_frac": "20", "buyer.handling_cost": "60"}, first)
    told = sent(visitor, {"buyer.margin_frac": "25", "currency": "CHF"}, second)
    assert told.status == 409
    assert [item.get_text(" ", strip=True) for item in told.all("#changes li")] == [
        "Margin: 15 became 20. Here stands 25 , which will count.",
        "Handling: 50 became 60. Taken over here.",
    ]
    assert in_file(tmp_path) == {"currency": "EUR", "buyer": {"margin_frac": 0.2, "handling_cost": 60.0}}
    assert sent(visitor, {}, told).status == 200
    assert in_file(tmp_path) == {"currency": "CHF", "buyer": {"margin_frac": 0.25, "handling_cost": 60.0}}


def test_a_tab_older_than_the_server_loses_nothing(visitor: Visitor, tmp_path: Path) -> None:
    page = visitor.open("/house")
    page.field("seen")["value"] = "0" * 64
    save(tmp_path, House.model_validate({"buyer": {"margin_frac": 0.2}}))
    told = sent(visitor, {"currency": "CHF"}, page)
    assert told.status == 409 and "Margin: now 20 in the file. Here stands empty" in told.words("#changes")
    assert told.field("currency")["value"] == "CHF" and told.field("buyer.margin_frac").get("value", "") == ""


def test_a_save_that_fails_says_so_and_keeps_what_was_typed(visitor: Visitor, tmp_path: Path) -> None:
    (tmp_path / FILE).mkdir()
    page = sent(visitor, {"currency": "EUR"})
    assert page.status == 503 and "Not saved" in page.words() and page.field("currency")["value"] == "EUR"


def test_saving_over_a_broken_file_keeps_it(visitor: Visitor, tmp_path: Path) -> None:
    (tmp_path / FILE).write_text("[buyer]\nmargin_frac = \n")
    page = visitor.open("/house")
    assert "line 2" in page.words("#trouble")
    assert "line 2" in visitor.open("/quotes/new").words("#house-trouble")
    page = sent(visitor, {"buyer.margin_frac": "20"}, page)
    assert "house-before-1.toml" in page.words() and not page.all("#trouble")
    assert (tmp_path / "house-before-1.toml").read_text() == "[buyer]\nmargin_frac = \n"


def test_a_broken_file_is_told_at_the_start(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    (tmp_path / FILE).write_text('paper = "A5"\n')
    create_app(tmp_path, Settings(data=tmp_path)).extensions["store"].close()
    assert "house.toml, line 1, paper (A5)" in caplog.text


# ---- what it is for


def test_a_new_quote_starts_from_the_house_and_states_it(visitor: Visitor, tmp_path: Path) -> None:
    save(tmp_path, House.model_validate(FULL))
    page = visitor.open("/quotes/new")
    for name, text in {
        "spot.currency": "EUR",
        "spot.unit": "g",
        "buyer.margin_frac": "20",
        "buyer.handling_cost": "55.5",
        "refiner.name": "Demo refiner",
        "refiner.payable.1.frac": "96.5",
        "refiner.recovery_frac.coverage_frac": "95",
        "collector.sale_chance_frac.likely": "90",
    }.items():
        field = page.field(name)
        shown = field.select_one("option[selected]") if field.name == "select" else field
        assert shown is not None and shown["value"] == text, name
    reading: dict[str, str | list[str]] = {"weighing.dry_g": ["412.6"], "weighing.submerged_g": ["271.4"]}
    page = visitor.send(page, {**reading, "weighing.readability_g": "0.05", "spot.gold": "120"})
    assert page.status == 200
    nobody = page.words("#assumptions")
    assert "Handling" not in nobody and "Recovery" not in nobody and "Settlement" in nobody
    assert "5.000\u00a0€" not in nobody and "€" in page.words("#answer")
    (intact,) = [tag for tag in page.all('[name="choose.collector"]') if tag.has_attr("checked")]
    assert intact["value"] == "no"


def test_an_ask_starts_from_it_too(visitor: Visitor, tmp_path: Path) -> None:
    save(tmp_path, House.model_validate({"buyer": {"margin_frac": 0.3}}))
    assert visitor.open("/asks/new").field("buyer.margin_frac")["value"] == "30"


def test_an_open_draft_never_changes(visitor: Visitor, tmp_path: Path) -> None:
    save(tmp_path, House.model_validate({"currency": "USD", "buyer": {"margin_frac": 0.3}}))
    page = visitor.send(visitor.open("/quotes/new"), {"spot.gold": "4100"})
    address = str(page.one("#quote-form")["action"])
    sent(visitor, {"buyer.margin_frac": "10", "currency": "EUR"})
    again = visitor.open(address)
    assert again.field("buyer.margin_frac")["value"] == "30" and again.field("spot.currency")["value"] == "USD"
    assert visitor.open("/quotes/new").field("buyer.margin_frac")["value"] == "10"


def test_a_demo_is_not_touched(visitor: Visitor, tmp_path: Path) -> None:
    plain_demo = visitor.open(f"/demos/{FIRST}").typed()
    save(tmp_path, House.model_validate({"buyer": {"margin_frac": 0.3}, "refiner": {"assay_fee": 1.0}}))
    for name, text in visitor.open(f"/demos/{FIRST}").typed().items():
        assert name in ("seen", "writer", "token") or plain_demo[name] == text


def test_the_locale_takes_effect_everywhere(visitor: Visitor, tmp_path: Path) -> None:
    save(tmp_path, House.model_validate({"locale": "de-DE", "currency": "EUR", "time_zone": "Asia/Tokyo"}))
    page = visitor.open("/house")
    assert format_currency(1234.5, "EUR", locale="de_DE").replace("\u00a0", " ") in page.words("#sample")  # Babel
    assert "UTC+09:00" in page.words("#sample")
    assert "%" in visitor.open(f"/demos/{FIRST}").words("#answer")
    assert re.search(r"\d\.\d{3}(,\d\d)? \$", visitor.open(f"/demos/{FIRST}").words("#answer"))


def test_what_was_set_at_the_start_counts_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LODEWORTH_CURRENCY", "CHF")
    monkeypatch.setenv("LODEWORTH_LOCALE", "")
    save(tmp_path, House.model_validate({**FULL, "locale": "en-GB"}))
    made = create_app(tmp_path, Settings(data=tmp_path))
    visitor = Visitor(made.test_client())
    page = visitor.open("/house")
    assert "Set to CHF when this copy was started (LODEWORTH_CURRENCY)" in page.words()
    assert "(LODEWORTH_LOCALE)" not in page.words() and "1,234.50" in page.words("#sample")
    new = visitor.open("/quotes/new")
    assert new.field("spot.currency")["value"] == "CHF" and new.field("buyer.margin_frac")["value"] == "20"
    # 55.50 euros are not 55.50 francs.
    assert (
        new.field("buyer.handling_cost").get("value", "") == ""
        and new.field("refiner.assay_fee").get("value", "") == ""
    )
    assert "in EUR, this copy was started in CHF" in new.words("#house-trouble")
    made.extensions["store"].close()


# ---- limits


def request(**changes: object) -> QuoteRequest:
    entries = dict(scenario(FIRST).entries)
    for path, value in changes.items():
        section, _, name = path.partition("__")
        entries[section] = {**entries.get(section, {}), name: value}
    return QuoteRequest.model_validate(entries)


def told(house: dict[str, object], asked: QuoteRequest) -> list[str]:
    w = Wording.of("USD", "en_US")
    codes = [caution.code for caution in quote(asked).cautions]
    found = cautions_of(quote(asked), asked, House.model_validate(house), w)
    assert {c.code for c in found} >= set(codes) - {"price_old"}
    return [c.message for c in found if c.code.startswith("house_")]


def test_amounts_may_be_grouped_as_the_reader_s_country_does(visitor: Visitor, tmp_path: Path) -> None:
    page = sent(visitor, {"limits.cash_offer": "4,500", "refiner.assay_fee": "1,200", "limits.spot_age_hours": "6"})
    assert page.status == 200, page.words()
    assert plain(in_file(tmp_path))["limits"]["cash_offer"] == 4500.0
    assert plain(in_file(tmp_path))["refiner"]["assay_fee"] == 1200.0
    page = sent(visitor, {"limits.spot_age_hours": "1,200"})
    assert page.status == 422  # hours are no money


def test_no_limit_says_nothing() -> None:
    assert told({}, request(buyer__offer=4000.0)) == []


def test_an_offer_above_the_limit_needs_a_second_person() -> None:
    (words,) = told({"limits": {"cash_offer": 3999.0}}, request(buyer__offer=4000.0))
    assert words.startswith("Our offer of $4,000 is above the house's limit of $3,999")
    assert told({"limits": {"cash_offer": 4000.0}}, request(buyer__offer=4000.0)) == []


def test_a_figure_said_by_us_is_an_offer_too() -> None:
    entries = {
        **scenario(FIRST).entries,
        "said": [{"by": "seller", "figure": 9000.0}, {"by": "buyer", "figure": 4200.0}],
    }
    asked = QuoteRequest.model_validate(entries)
    assert "$4,200" in told({"limits": {"cash_offer": 4100.0}}, asked)[0]
    assert told({"limits": {"cash_offer": 4300.0}}, asked) == []


def test_before_any_offer_the_ceiling_is_held_against_it() -> None:
    asked = request()
    ceiling = quote(asked).buyer_ceiling
    assert ceiling is not None
    assert "This may go up to" in told({"limits": {"cash_offer": ceiling - 1}}, asked)[0]
    assert told({"limits": {"cash_offer": ceiling + 1}}, asked) == []


def test_a_limit_in_another_currency_is_not_compared() -> None:
    (words,) = told({"currency": "EUR", "limits": {"cash_offer": 1.0}}, request())
    assert "limit for an offer is in EUR, this quote in USD" in words


def test_an_old_price_by_the_house() -> None:
    at = datetime(2026, 3, 14, 10, 24, tzinfo=UTC)
    entries = {**scenario(FIRST).entries, "quoted_at": at}
    for hours, limit, expected in ((3, 2.5, 1), (2, 2.5, 0), (30, 2.5, 1), (30, 48.0, 0)):
        spot = {**scenario(FIRST).entries["spot"], "seen_at": at - timedelta(hours=hours)}
        asked = QuoteRequest.model_validate({**entries, "spot": spot})
        words = told({"limits": {"spot_age_hours": limit}}, asked)
        assert len(words) == expected
        assert not expected or f"seen {hours}" in words[0]


def test_limits_are_told_on_our_side_only(visitor: Visitor, tmp_path: Path) -> None:
    page = visitor.send(visitor.open(f"/demos/{FIRST}"), {"buyer.offer": "4300"})
    address = str(page.one("#quote-form")["action"])
    before = {view: visitor.client.get(f"{address}/{view}").data for view in ("counter", "counter.json", "counter.svg")}
    private = {
        "name": "Demo",
        "limits": {"cash_offer": 777.0, "spot_age_hours": 0.01},
        "buyer": {"margin_frac": 0.41, "handling_cost": 888.0},
        "refiner": {"assay_fee": 1.0},
        "collector": {"selling_cost_frac": 0.3},
    }
    save(tmp_path, House.model_validate(private))
    assert "limit of $777" in visitor.open(address).words("#answer")
    assert before == {view: visitor.client.get(f"{address}/{view}").data for view in before}
    (tmp_path / FILE).write_text("broken")
    assert before == {view: visitor.client.get(f"{address}/{view}").data for view in before}
