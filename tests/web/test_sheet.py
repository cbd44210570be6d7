"""The sheet for a helper: as a page, on paper, and as a file that needs nothing else."""

from __future__ import annotations

import re
import zlib

import pytest
from axe_playwright_python.sync_playwright import Axe
from icalendar import Calendar

from fruitwall.web.assets import Assets
from fruitwall.web.pages import HERE, Pages
from fruitwall.web.sheet.page import sheet_file
from tests.web.markup import read_page
from tests.web.sample import FAHRENHEIT, calm_plan, large_evening, sample_plan, sample_yard

EVENINGS = {
    "cold": lambda: (sample_plan(), sample_yard()),
    "fahrenheit": lambda: (sample_plan(yard=sample_yard(display=FAHRENHEIT)), sample_yard(display=FAHRENHEIT)),
    "calm": lambda: (calm_plan(), sample_yard()),
    "150 trees": lambda: large_evening(150)[::-1],
}


def as_file(plan=None, yard=None) -> str:
    """Give the sheet as a file."""
    templates = Pages(Assets([HERE, HERE / "evening", HERE / "sheet"])).templates
    return sheet_file(plan or sample_plan(), yard or sample_yard(), templates, HERE)


def test_the_drawing_numbers_places_as_they_are_walked(client):
    page = read_page(client.get("/evening/sheet").text)

    drawn = sorted(int(text.text) for text in page.one("svg", cls="yard").all("text", cls="place"))
    listed = [int(number.text) for number in page.all("span", cls="place-number")]

    # As many signs as trees; the last place is one that only the morning brings together.
    assert drawn == [1, 2, 2, 3, 4, 5, 5, 6, 7, 7, 7, 8, 8, 8, 9, 9, 9, 10, 10]
    assert set(drawn) == set(listed)


def test_the_drawing_of_a_sheet_has_no_links(client):
    page = read_page(client.get("/evening/sheet").text)

    assert page.one("svg", cls="yard").attributes["role"] == "img"
    assert list(page.one("svg", cls="yard").all("a")) == []


def test_the_evening_page_leads_to_sheet_and_calendar(client):
    page = read_page(client.get("/").text)
    links = [link.attributes["href"] for link in page.one("footer").all("a")]

    for link in ("/evening/sheet?night=2026-12-22", "/evening/calendar.ics?night=2026-12-22"):
        assert link in links
        assert client.get(link).status_code == 200


def test_the_calendar_is_served_as_one_and_is_not_kept(client):
    answer = client.get("/evening/calendar.ics")

    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    assert answer.headers["cache-control"] == "no-cache"
    assert 'filename="trees-2026-12-22.ics"' in answer.headers["content-disposition"]
    assert len(Calendar.from_ical(answer.content).walk("VEVENT")) == 4


def test_a_wrong_night_is_refused(client):
    assert client.get("/evening/sheet?night=soon").status_code == 422
    assert client.get("/evening/calendar.ics?night=soon").status_code == 422


def test_names_are_escaped_in_page_and_file(client_of):
    plan = sample_plan().model_copy(update={"yard": "<script>alert(1)</script>"})

    for text in (client_of(plan).get("/evening/sheet").text, as_file(plan)):
        assert "<script>alert" not in text
        assert "&lt;script&gt;alert" in text


def test_the_file_asks_for_nothing_from_elsewhere():
    text = as_file()

    assert "<link" not in text
    assert "<script" not in text
    assert not re.search(r"""(src|href)=|url\((?!#)|@import""", text)
    assert "Bring" in text or "Cover" in text


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("evening", ["cold", "fahrenheit", "calm"])
def test_it_fits_on_two_sheets_of_paper(browser, paper, evening):
    page = browser.new_page()
    page.set_content(as_file(*EVENINGS[evening]()))

    printed = page.pdf(format=paper)

    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", printed)) <= 2
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "Letter", "Legal"])
def test_it_is_printed_as_large_as_it_is_laid_out(browser, serve, paper):
    # A browser shrinks all of a print when one thing is wider than the paper: Letter once came out at two thirds.
    page = browser.new_page()
    page.goto(serve() + "/evening/sheet")

    streams = re.findall(rb"stream\r?\n(.*?)endstream", page.pdf(format=paper), flags=re.DOTALL)
    scales = re.findall(rb"\bcm\nq\n[^\n]* re\nW\* n\nq\n([\d.]+) 0 0 ", b"".join(unpacked(s) for s in streams))

    assert len(scales) >= 1
    # 300 dots an inch of the print over 96 pixels an inch of the page
    assert {float(scale) for scale in scales} == {300 / 96}
    page.close()


def unpacked(stream: bytes) -> bytes:
    """Give what a stream of a PDF holds, nothing for one that is packed otherwise."""
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return b""


@pytest.mark.browser
def test_on_paper_only_the_sheet_is_left(browser, serve):
    page = browser.new_page(color_scheme="dark")
    page.goto(serve() + "/evening/sheet")
    page.emulate_media(media="print")

    assert page.locator(".sheet").is_visible()
    assert page.locator("svg.yard").is_visible()
    assert not page.locator(".off-paper").is_visible()
    assert not page.locator(".top").is_visible()
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 390, 1280])
@pytest.mark.parametrize("evening", EVENINGS)
def test_the_sheet_never_scrolls_sideways(browser, serve, width, evening):
    page = browser.new_page(viewport={"width": width, "height": 800})
    page.goto(serve(*EVENINGS[evening]()) + "/evening/sheet")

    assert page.locator("article.sheet").count() == 1
    assert page.evaluate("document.documentElement.scrollWidth") == width
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_axe_finds_no_serious_fault(browser, serve, width, scheme):
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
    page.goto(serve() + "/evening/sheet")
    assert page.locator("article.sheet").count() == 1

    found = Axe().run(page).response["violations"]

    assert [(one["id"], one["help"]) for one in found if one["impact"] in ("serious", "critical")] == []
    page.close()


@pytest.mark.browser
def test_the_browser_refuses_nothing_of_the_sheet(browser, serve):
    page = browser.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("response", lambda answer: said.append(answer.url) if answer.status >= 400 else None)
    page.goto(serve() + "/evening/sheet")
    page.wait_for_load_state("networkidle")

    assert said == []
    page.close()
