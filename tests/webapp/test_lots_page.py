"""The page of a lot: pasted or uploaded, refused row by row, valued in the background, stopped, taken away as CSV."""

import csv
import io
import re
import threading
import time

import pytest

from scenarios import demo_lot
from webapp import lot_jobs
from webapp.lot_columns import COLUMNS, SHORT, template
from webapp.lot_jobs import LotJobs

TABLE = "title;dry_g;submerged_g\nWedge;412,75;271,2\nLump;294,9;186,35\n"
SHARED = {"gold": "4100", "rock": "vein-quartz", "readability": "0,05"}
WRONG = "title;dry_g;submerged_g\nWedge;41x;271,2\nKnob;100;200\n"
PATIENCE_S = 60


def sent(visitor, changes):
    """The page after a lot was sent from a blank one."""
    return visitor.send(visitor.open("/lots"), changes, "#lot-form")


def address(page):
    return str(page.one("#lot-form")["action"])


def waited(visitor, page):
    """The page once nothing runs any more."""
    end = time.monotonic() + PATIENCE_S
    while page.all("progress"):
        assert time.monotonic() < end
        time.sleep(0.05)
        page = visitor.open(address(page))
    return page


def test_a_pasted_table_is_valued(visitor):
    page = waited(visitor, sent(visitor, {**SHARED, "pieces": TABLE, "other_bid": "3000", "title": "Two of one vein"}))
    words = page.words()
    assert "A fair price for the 2 pieces together is" in words
    assert "another cash bid" in words
    assert page.one("h1").get_text() == "Two of one vein"
    assert [row.th.get_text(strip=True) for row in page.all(".lot-pieces tbody tr")] == ["Wedge", "Lump"]
    assert page.all(".axis-picture")
    assert "Added as if the pieces had nothing in common" in words


def test_the_demo_lot_is_valued_and_says_which_piece_is_not_seen(visitor):
    page = visitor.open("/lots?demo=1")
    assert page.field("pieces").get_text() == demo_lot()
    page = waited(visitor, visitor.send(page, {}, "#lot-form"))
    assert "In 1 of 12 pieces gold is not seen by weight" in page.words()
    assert len(page.all(".lot-unseen")) == 1


def test_wrong_rows_are_told_beside_what_stands_there_and_what_was_pasted_stays(visitor):
    page = sent(visitor, {**SHARED, "gold": "41oo", "pieces": WRONG})
    assert page.status == 422
    rows = [row.get_text(" ", strip=True) for row in page.all("#rows > ul > li")]
    assert rows[0].startswith("line 2 Wedge;41x;271,2 dry_g (41x): that is not a number")
    assert rows[1].startswith("line 3 Knob;100;200 submerged_g (200): the submerged reading")
    assert page.field("pieces").get_text() == WRONG
    assert page.field("gold")["value"] == "41oo"
    assert page.field("gold")["aria-invalid"] == "true"
    assert visitor.open(address(page)).field("pieces").get_text() == WRONG


def test_an_impossible_piece_is_told_after_the_valuing(visitor):
    page = waited(visitor, sent(visitor, {**SHARED, "pieces": TABLE + "Ghost;100;55\n"}))
    assert "no amount of gold fits" in page.words("#rows")
    assert "line 4" in page.words("#rows")
    assert not page.all(".lot-pieces")


def test_an_uploaded_file_takes_the_place_of_what_was_pasted(visitor, client):
    page = visitor.open("/lots")
    texts = {**page.typed("#lot-form"), **SHARED, "file": (io.BytesIO(b"\xef\xbb\xbf" + template().encode()), "my.csv")}
    client.post(address(page), data=texts, content_type="multipart/form-data")
    page = waited(visitor, visitor.open(address(page)))
    assert "2 pieces together" in page.words()
    assert page.field("pieces").get_text() == template()
    for data, words in ((b"\xff\xfe\x00", "not UTF-8"), (b"a\x00b", "no text file")):
        texts["file"] = (io.BytesIO(data), "my.xlsx")
        answer = client.post(address(page), data={**texts, "pieces": TABLE}, content_type="multipart/form-data")
        assert answer.status_code == 422
        assert words in answer.text
    assert visitor.open(address(page)).field("pieces").get_text() == TABLE


def test_what_is_typed_is_kept_before_it_is_sent_and_listed_among_the_open_quotes(visitor, client):
    page = visitor.open("/lots")
    texts = page.typed("#lot-form")
    assert (
        client.post(f"{address(page)}/kept", data={**texts, "pieces": WRONG, "title": "Half typed"}).status_code == 204
    )
    assert visitor.open(address(page)).field("pieces").get_text() == WRONG
    listed = visitor.open("/quotes")
    (link,) = [a for a in listed.all("a") if a.get_text() == "Half typed"]
    assert link["href"] == address(page)
    assert "lot of pieces" in listed.words()
    quotes = client.get(address(page).replace("/lots/", "/quotes/"))
    assert quotes.headers["Location"] == address(page)
    closing = listed.one('form[action$="/close"]')
    visitor.client.post(str(closing["action"]), data={"token": texts["token"]})
    assert "Half typed" not in visitor.open("/quotes").words()
    assert visitor.open(address(page)).field("pieces").get_text() == WRONG


def test_a_blank_lot_keeps_nothing(visitor, client):
    page = visitor.open("/lots")
    client.post(f"{address(page)}/kept", data=page.typed("#lot-form"))
    assert "A quote appears here" in visitor.open("/quotes").words()


def test_a_quote_is_not_opened_as_a_lot(visitor, client):
    page = visitor.open("/quotes/new")
    visitor.send(page, {"title": "A quote"})
    where = str(page.one("#quote-form")["action"])
    assert client.get(where.replace("/quotes/", "/lots/")).status_code == 404


def test_the_table_can_be_taken_away_once_it_is_there(visitor, client):
    page = sent(visitor, {**SHARED, "pieces": TABLE.replace("Wedge", "=Wedge")})
    page = waited(visitor, page)
    answer = client.get(f"{address(page)}/table.csv")
    rows = list(csv.DictReader(io.StringIO(answer.text.removeprefix("\ufeff"))))
    assert [row["title"] for row in rows] == ["'=Wedge", "Lump", ""]
    assert "attachment" in answer.headers["Content-Disposition"]
    client.post(f"{address(page)}/kept", data={**page.typed("#lot-form"), "gold": "5000"})
    assert client.get(f"{address(page)}/table.csv").status_code == 404
    assert not visitor.open(address(page)).all(".lot-pieces"), "an outcome is not shown for other figures"


@pytest.mark.parametrize(
    ("mark", "head"),
    [
        ("", "title,dry_g,submerged_g,displaced_g,source"),
        ("?mark=;", "title;dry_g;submerged_g;displaced_g"),
        ("?short=1", "title,dry_g,submerged_g\nWedge"),
        ("?short=1&mark=;", "title;dry_g;submerged_g\nWedge"),
    ],
)
def test_the_template_can_be_taken_away(client, mark, head):
    assert client.get(f"/lots/template.csv{mark}").text.startswith("\ufeff" + head)


@pytest.mark.parametrize("columns", [SHORT, COLUMNS])
def test_a_template_is_valued_as_it_is_and_its_rock_is_stated(visitor, columns):
    texts = {"gold": "4100", "readability": "0,05", "pieces": template(columns=columns)}
    page = waited(visitor, sent(visitor, texts))
    assert "for the 2 pieces" in page.words()
    rock = "The rock is taken to be clean vein quartz, as nobody named another."
    assert rock in page.words("section[aria-labelledby=of-gold]")
    assert rock not in waited(visitor, sent(visitor, {**texts, "rock": "granite"})).words()


def test_a_rock_of_the_table_or_of_the_terms_is_not_replaced(visitor):
    texts = {"gold": "4100", "readability": "0,05"}
    table = "title;dry_g;submerged_g;rock\nWedge;412,75;271,2;granite\nLump;294,9;186,35;granite\n"
    told = waited(visitor, sent(visitor, {**texts, "pieces": table}))
    assert "for the 2 pieces" in told.words() and "as nobody named another" not in told.words()
    terms = '[rock]\nkind = "granite"\n'
    told = waited(visitor, sent(visitor, {**texts, "pieces": TABLE, "terms": terms}))
    assert "for the 2 pieces" in told.words() and "as nobody named another" not in told.words()
    half = "title;dry_g;submerged_g;rock\nWedge;412,75;271,2;granite\nLump;294,9;186,35;\n"
    assert "as nobody named another" in waited(visitor, sent(visitor, {**texts, "pieces": half})).words()


def test_what_is_missing_leads_to_its_field(visitor):
    page = sent(visitor, {"gold": "4100", "pieces": TABLE, "rock": "vein-quartz", "readability": ""})
    if page.status == 422:
        assert page.all('#problems a[href="#f-readability"]')
    page = sent(visitor, {**SHARED, "gold": "", "pieces": TABLE})
    assert page.all('#problems a[href="#f-gold"]')
    assert page.field("gold")["aria-invalid"] == "true"


def test_house_terms_hold_where_the_lot_says_nothing(visitor, app):
    folder = app.config["SETTINGS"].data
    (folder / "house.toml").write_text("[buyer]\nmargin_frac = 0.5\n[collector]\nselling_cost_frac = 0.2\n", "utf-8")
    page = waited(visitor, sent(visitor, {**SHARED, "pieces": TABLE}))
    (refine,) = page.all("#outcome .scroll[aria-labelledby=of-routes] tbody tr")
    mean, allowed = (int(re.sub(r"\D", "", refine.select("td")[i].get_text())) for i in (0, 2))
    assert allowed == pytest.approx(mean / 1.5, rel=0.01)
    with_terms = {**SHARED, "pieces": TABLE, "terms": "[collector]\npremium_frac = 0.5\n[buyer]\nmargin_frac = 0.1\n"}
    assert "Sold one by one" in waited(visitor, sent(visitor, with_terms)).words()
    page = sent(visitor, {**SHARED, "pieces": TABLE, "terms": "[buyer\n"})
    assert page.status == 422
    assert "not TOML" in page.words("#p-terms")


@pytest.fixture
def held(monkeypatch):
    """Makes every lot wait after its first step until it is let go."""
    gate = threading.Event()
    monkeypatch.setattr(lot_jobs, "pause", lambda: gate.wait(PATIENCE_S))
    yield gate
    gate.set()


def test_progress_is_shown_and_can_be_stopped_while_other_pages_answer(visitor, client, held):
    page = sent(visitor, {**SHARED, "pieces": TABLE})
    assert page.one("#outcome")["hx-trigger"] == "every 1s"
    assert page.one('noscript meta[http-equiv="refresh"]')
    assert visitor.open("/demos").status == 200
    polled = client.get(address(page), headers={"HX-Request": "true"})
    assert polled.text.startswith('<div class="lot-outcome" id="outcome" hx-get=')
    assert "<html" not in polled.text
    stop = page.one('form[action$="/stop"]')
    client.post(str(stop["action"]), data={"token": page.typed("#lot-form")["token"]})
    held.set()
    page = waited(visitor, visitor.open(address(page)))
    assert "Stopped. What was entered is kept." in page.words("#outcome")
    assert page.field("pieces").get_text() == TABLE


def test_only_so_many_lots_wait(visitor, app, held):
    first = sent(visitor, {**SHARED, "pieces": TABLE})
    name = address(first).rpartition("/")[2]
    end = time.monotonic() + PATIENCE_S
    while app.extensions["lots"]._jobs[name].state == "waiting":
        assert time.monotonic() < end
        time.sleep(0.01)
    for _ in range(lot_jobs.MOST_WAITING):
        assert "Waiting for its turn." in sent(visitor, {**SHARED, "pieces": TABLE}).words()
    page = sent(visitor, {**SHARED, "pieces": TABLE})
    assert page.status == 503
    assert "What you typed is kept" in page.words()
    assert page.field("pieces").get_text() == TABLE
    for job in app.extensions["lots"]._jobs.values():
        job.stop.set()


def test_the_same_lot_sent_twice_runs_once_and_a_fault_is_told_by_its_reference(monkeypatch, caplog):
    gate, runs = threading.Event(), []

    def broken(request, progress):
        runs.append(request)
        gate.wait(PATIENCE_S)
        raise ZeroDivisionError("a fault")

    monkeypatch.setattr(lot_jobs, "lot_quote", broken)
    jobs = LotJobs()
    job = jobs.start("name", "digest", None, None)
    assert jobs.start("name", "digest", None, None) is job
    assert jobs.of("name", "other") is None
    gate.set()
    end = time.monotonic() + PATIENCE_S
    while job.is_open:
        assert time.monotonic() < end
        time.sleep(0.01)
    assert job.state == "failed"
    assert job.reference in caplog.text
    assert len(runs) == 1
