"""The answer in a real browser: workings in place, the offer, what the seller holds in hand, a phone, and paper."""

import io
import re
import unicodedata

import pypdf
import pytest
from playwright.sync_api import Page, expect

from scenarios import FIRST, scenario
from tests.browser.conftest import PHONE, Watched
from valuation import working

GOLD = '[name="spot.gold"]'
PAPER = ("A4", "Letter")


def on_paper(read: pypdf.PdfReader) -> str:
    """The words of all pages; ligatures and no-break spaces as plain letters and spaces."""
    return " ".join(unicodedata.normalize("NFKC", " ".join(page.extract_text() for page in read.pages)).split())


def last_result(page: Page, key: str) -> str:
    return page.locator(f"#w-{key} .sum-result").last.inner_text().replace("\u00a0", " ").removeprefix("= ")


def test_a_working_opens_beside_its_figure_and_follows_it(watched: Watched) -> None:
    page = watched.page()
    page.goto(f"/demos/{FIRST}")
    assert not page.locator(".in-place .sum").all()  # nothing is loaded before it is asked for
    page.locator("#d-native_gold_g > summary").click()
    expect(page.locator("#w-fine_gold_g .sum").first).to_be_visible()
    told = {one.key: one for one in working(scenario(FIRST).request())}
    assert last_result(page, "fine_gold_g") == f"{told['fine_gold_g'].steps[-1].result} g"
    page.locator("#d-fair_low > summary").click()
    expect(page.locator("#w-fair_high .sum").first).to_be_visible()
    assert last_result(page, "fair_low").removesuffix(" USD") == told["fair_low"].steps[-1].result
    page.locator(GOLD).fill("6000")
    expect(page.locator("#w-fair_low .sum-result").last).not_to_contain_text(told["fair_low"].steps[-1].result)
    figure = page.locator(".headline .figure").first.inner_text()
    low = last_result(page, "fair_low").removesuffix(" USD")
    assert figure.startswith(f"${int(low):,}")


def test_a_working_is_a_link_without_scripts(watched: Watched) -> None:
    page = watched.page(scripts=False)
    page.goto(f"/demos/{FIRST}")
    page.locator("#d-native_gold_g > summary").click()
    page.get_by_role("link", name="The working of the fine gold").click()
    expect(page).to_have_url(re.compile("/working#w-native_gold_g$"))
    expect(page.locator("#w-native_gold_g")).to_be_in_viewport()


@pytest.mark.parametrize("scripts", [True, False])
def test_an_offer_takes_one_click_and_the_house_s_side_two(watched: Watched, scripts: bool) -> None:
    page = watched.page(scripts=scripts)
    page.goto("/demos/figures-said")
    plan = page.locator(".plan tbody tr").first
    opening = plan.locator("td").first.inner_text().split()[0]
    plan.get_by_role("button").first.click()
    expect(page.locator(".turn")).to_contain_text(f"Our offer: {opening}")
    page.get_by_role("link", name="Turn to the seller", exact=True).click()
    expect(page.locator(".counter-offer .figure")).to_have_text(opening)
    back = page.get_by_role("link", name="Show the house")
    expect(back).to_be_hidden()
    page.get_by_text("For the house", exact=True).click()
    back.click()
    expect(page.locator("#answer")).to_contain_text("House's ceiling")


def test_the_answer_of_the_demo_has_no_scroll_bar_of_its_own(watched: Watched) -> None:
    page = watched.page()
    for name in (FIRST, "figures-said"):
        page.goto(f"/demos/{name}")
        tall, seen = page.locator(".side").evaluate("side => [side.scrollHeight, side.clientHeight]")
        assert tall <= seen


def test_figures_and_lines_of_the_axis_do_not_meet(watched: Watched) -> None:
    """No upright line crosses a word, and no two ticks touch, on a phone as on a desk."""
    page = watched.page()
    for name in (FIRST, "figures-said", "no-fair-cash-price", "collector-piece"):
        page.goto(f"/demos/{name}")
        for width in (1280, 768, 360):
            page.set_viewport_size({"width": width, "height": 900})
            crossed = page.evaluate("""() => {
                const all = kind => [...document.querySelectorAll(`.axis-picture ${kind}`)];
                const boxes = kind => all(kind).map(word => word.getBoundingClientRect());
                const ticks = boxes(".axis-tick").sort((a, b) => a.left - b.left);
                const labels = boxes(".axis-label"), figures = boxes(".axis-figure");
                return [ticks.some((tick, i) => i && tick.left < ticks[i - 1].right + 4),
                        labels.some((label, i) => label.right > figures[i].left)];
            }""")
            assert (name, width, crossed) == (name, width, [False, False])


def test_a_phone_shows_tables_as_cards_without_scrolling_sideways(watched: Watched) -> None:
    page = watched.page(PHONE)
    page.goto(f"/demos/{FIRST}")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    for place in ("#ways-out", "#deals"):
        cells = page.locator(f"{place} td:visible")
        assert cells.count() > 10
        for box in (cell.bounding_box() for cell in cells.all()):
            assert box is not None and box["x"] >= 0 and box["x"] + box["width"] <= PHONE[0]
    name = page.locator("#ways-out td").nth(1).evaluate("cell => getComputedStyle(cell, '::before').content")
    assert name in ('"median"', '"95 % range"')


@pytest.mark.parametrize("size", PAPER)
def test_the_seller_s_paper_is_one_page(watched: Watched, size: str) -> None:
    page = watched.page(scheme="dark")
    page.goto(f"/demos/{FIRST}")
    page.locator(".plan .use").first.click()
    page.get_by_role("link", name="Turn to the seller", exact=True).click()
    page.get_by_role("button", name="to the seller").click()
    read = pypdf.PdfReader(io.BytesIO(page.pdf(format=size)))
    words = on_paper(read)
    assert len(read.pages) == 1
    assert "Our offer" in words and "412.85" in words and "not an appraisal" in words
    assert "For the house" not in words


@pytest.mark.parametrize("size", PAPER)
def test_the_house_s_paper_holds_what_was_entered(watched: Watched, size: str) -> None:
    page = watched.page(scheme="dark")
    page.goto(f"/demos/{FIRST}")
    expect(page.locator("#entered")).to_be_hidden()
    read = pypdf.PdfReader(io.BytesIO(page.pdf(format=size)))
    words = on_paper(read)
    for part in (
        "412.85",
        "271.50",
        "2.6 to 2.65",
        "Assay fee: $120",
        "Premium over melt: 20 to 150",
        "Another cash bid: $3,800",
    ):
        assert part in words, part
    for part in ("$4,170 to $4,900", "Assumptions", "Densities of the metals", "not an appraisal"):
        assert part in words, part
    assert 2 <= len(read.pages) <= 5 and "Recalculate" not in words
