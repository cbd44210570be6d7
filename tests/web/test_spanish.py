"""In Spanish and °F nothing is left of English and °C: on the evening page, the helper's sheet and in the calendar.

The plan is made in °C and metres, and read by somebody who reads °F, feet and pounds: everything is said again. In a
language of brackets (`tests.web.bracketed`) whatever was written into the program shows, word by word.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable, Iterator
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar
from rich.console import Group
from rich.padding import Padding
from rich.table import Table
from rich.text import Text
from starlette.testclient import TestClient

from fruitwall import terminal
from fruitwall.journal.opening import open_journal
from fruitwall.journal.photos import PhotoFolder
from fruitwall.plants.catalogue import catalogue
from fruitwall.service.evening import plan_evening
from fruitwall.service.evening_document import DoneTask, EveningPlan
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.ledger import Signed
from fruitwall.service.reader import plan_for_reader
from fruitwall.service.ticks import tick
from fruitwall.speech import speaking
from fruitwall.weather.demo import demo_forcing, demo_now
from fruitwall.web.sheet.files import Papers
from fruitwall.yard.demo import demo_yard
from fruitwall.yard.file import write_yard
from fruitwall.yard.model import Display, Yard
from tests.service.test_evening import SOME, some_of_the_demo
from tests.web.bracketed import bracketing, typed_in, unbracketed, words_left
from tests.web.markup import read_page

TREES = tuple(f"/night/2026-12-23/trees/{tree}" for tree in (*SOME, "avocado-mexicola"))
PAGES = ("/", "/evening/sheet", *TREES)

AS_READ = {"accept-language": "es", "cookie": "fruitwall_reads=es.F.ft.lb"}
"""Spanish, °F, feet and pounds, as a browser without an account keeps it."""


@pytest.fixture(scope="module")
def yard() -> Yard:
    trees = [tree for tree in demo_yard().trees if tree.id in (*SOME, "avocado-mexicola")]
    return some_of_the_demo(trees=trees, display=Display(temperature="C", length="m", mass="kg", currency="USD"))


@pytest.fixture(scope="module")
def plan(yard: Yard) -> EveningPlan:
    return plan_evening(yard, demo_forcing(), now=demo_now(), members=16, nights=3)


def afresh(plan: EveningPlan) -> EveningPlan:
    """Give an equal plan: what was said of a plan is kept with that very one, and languages take turns here."""
    return plan.model_copy()


@pytest.fixture
def reader(client_of: Callable[..., TestClient], plan: EveningPlan, yard: Yard) -> TestClient:
    """Somebody who reads Spanish and °F, of a plan that was made in English and °C."""
    client = client_of(afresh(plan), yard, demo_now())
    client.headers.update(AS_READ)
    return client


@pytest.fixture
def in_brackets(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    with bracketing(monkeypatch):
        yield


def no_english(yard: Yard) -> set[str]:
    """Give what is no English: what the household typed, scientific names, and keys of sources."""
    known = catalogue().taxa
    scientific = {name for taxon in known for name in (taxon.scientific.partition(" (")[0], taxon.family)}
    sources = {(taxon.acclimation_source or "").partition(":")[0] for taxon in known}
    return typed_in(yard) | {"fruitwall", *scientific, *sources}


def occasion_of(calendar: bytes) -> list[str]:
    """Give all that a calendar shows of its events."""
    read = Calendar.from_ical(calendar)
    told = [str(read["x-wr-calname"])]
    for part in read.walk():
        told += [str(part[name]) for name in ("summary", "description", "location") if name in part]
    return told


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.usefixtures("in_brackets")
def test_no_word_of_a_page_is_written_into_the_program(path: str, reader: TestClient, yard: Yard):
    answer = reader.get(path)
    assert answer.status_code == 200
    assert unbracketed(answer.text, no_english(yard)) == []


@pytest.mark.usefixtures("in_brackets")
def test_no_word_of_the_calendar_is_written_into_the_program(reader: TestClient, yard: Yard):
    told = occasion_of(reader.get("/evening/calendar.ics").content)
    assert len(told) > 6
    assert [left for text in told if (left := words_left(text, no_english(yard)))] == []


@pytest.mark.usefixtures("in_brackets")
def test_no_word_of_the_files_is_written_into_the_program(plan, yard, tmp_path):
    papers = Papers(tmp_path / "sheet.html", tmp_path / "tasks.ics")
    with speaking("es"):
        told = papers.write(afresh(plan), yard)
    text = (tmp_path / "sheet.html").read_text("utf-8")
    assert '<html lang="es">' in text
    assert unbracketed(text, no_english(yard)) == []
    told += occasion_of((tmp_path / "tasks.ics").read_bytes())
    names = no_english(yard) | {str(papers.sheet), str(papers.ics)}
    assert [left for line in told if (left := words_left(line, names))] == []


@pytest.mark.usefixtures("in_brackets")
def test_no_word_of_the_page_that_waits_is_written_into_the_program(client_of, plan, yard):
    slow = client_of(lambda _: afresh(plan), yard, demo_now(), patience_s=0.0)
    answer = slow.get("/evening/sheet", headers=AS_READ)
    assert answer.status_code == 202
    assert unbracketed(answer.text, ["fruitwall"]) == []


@pytest.mark.usefixtures("in_brackets")
def test_an_old_forecast_a_passed_deadline_and_a_tick_are_told_as_well(client_of, plan, yard):
    late = client_of(afresh(plan), yard, demo_now() + timedelta(hours=12))
    answer = late.get("/", headers=AS_READ)
    assert unbracketed(answer.text, no_english(yard)) == []


@pytest.mark.usefixtures("in_brackets")
def test_ticks_and_what_is_done_already_are_told_as_well(client_of, plan, yard, tmp_path):
    first = plan.tasks[0]
    done = DoneTask(key="lamps@gone", what=plan.tasks[1].what, at=demo_now())
    shown = plan.model_copy(update={"done": [done]})
    with open_journal(tmp_path / "house.db") as journal:
        journal.store_yard(write_yard(yard), name=yard.name, now=demo_now(), author="test")
        house = House(journal, None, demo_now, PhotoFolder(tmp_path / "photos"))
        tick(house.ledger, plan, first.key, signed=Signed("owner", "page", demo_now()), number=str(uuid.uuid4()))
        answer = client_of(shown, yard, demo_now(), house=house).get("/", headers=AS_READ)
    page = read_page(answer.text)
    assert len(list(page.all(cls="is-done"))) >= 1
    assert unbracketed(answer.text, no_english(yard)) == []


@pytest.mark.usefixtures("in_brackets")
@pytest.mark.parametrize("width", [90, 140])
def test_no_word_of_the_terminal_is_written_into_the_program(width: int, plan: EveningPlan, yard: Yard):
    zone = ZoneInfo(plan.time_zone)
    reads = Household(Display(temperature="F", length="ft", mass="lb", currency="USD"), zone)
    with speaking("es"):
        said = plan_for_reader(afresh(plan), reads, Household(yard.display, zone))
        parts = [
            terminal.evening(said, reads, width=width),
            terminal.comparison(said),
            *(terminal.explanation(said, tree, reads) for tree in said.trees),
        ]
        told = [text for part in parts for text in texts_of(part)]
    assert len(told) > 200
    assert [left for text in told if (left := words_left(text, no_english(yard)))] == []


def texts_of(part: object) -> Iterator[str]:
    """Give the texts of what is shown in a terminal, before it is folded to its width."""
    if isinstance(part, Group):
        for inner in part.renderables:
            yield from texts_of(inner)
    elif isinstance(part, Padding):
        yield from texts_of(part.renderable)
    elif isinstance(part, Table):
        for column in part.columns:
            for cell in (column.header, *column.cells):
                yield from texts_of(cell)
    else:
        assert isinstance(part, Text | str), type(part)
        yield str(part)


SI = re.compile(r"\d[\s\xa0]*(?:°C|K|m|cm|kg|m/s)(?![\w²³/])")
"""An amount in other units than °F, feet and pounds."""


@pytest.mark.parametrize("path", [*PAGES, "/evening/calendar.ics"])
def test_no_other_unit_is_left(path: str, reader: TestClient, yard: Yard):
    text = reader.get(path).text
    shown = re.sub(r"\r?\n ", "", text) if path.endswith("ics") else read_page(text).text
    assert "°F" in shown
    for name in sorted(typed_in(yard), key=len, reverse=True):
        shown = shown.replace(name, "")
    assert [found[0] for found in SI.finditer(shown)] == []


@pytest.mark.parametrize("path", PAGES)
def test_numbers_of_spanish_pages_have_their_own_mark(path: str, reader: TestClient):
    shown = read_page(reader.get(path).text).text
    assert path != "/" or re.search(r"\d,\d", shown)
    assert re.findall(r"(?<![\d.])\d{1,2}\.\d(?!\d\d)", shown) == []


def test_a_night_after_is_named_once(reader: TestClient, plan: EveningPlan):
    following = [
        item.text for item in read_page(reader.get("/").text).one(id="trees").all("li") if "24 dic" in item.text
    ]
    assert len(following) == len(plan.trees)
    assert {text.count("jue 24 dic") for text in following} == {1}


def test_the_page_says_its_language_and_the_names_of_its_nights(reader: TestClient):
    page = read_page(reader.get("/").text)
    assert page.one("html").attributes["lang"] == "es"
    assert (
        page.one("p", cls="night").text
        == "Esta noche, miércoles 23 de diciembre de 2026, hasta la mañana del jue 24 dic"
    )


@pytest.mark.browser
@pytest.mark.parametrize("path", PAGES[:3])
@pytest.mark.parametrize("width", [320, 390])
def test_long_words_of_spanish_break_no_page_of_a_phone(path, width, serve, plan, yard, browser):
    base = serve(afresh(plan), yard, demo_now())
    context = browser.new_context(viewport={"width": width, "height": 844}, locale="es-MX")
    context.add_cookies([{"name": "fruitwall_reads", "value": "es.F.ft.lb", "url": base}])
    try:
        page = context.new_page()
        page.goto(base + path)
        page.evaluate("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(BEYOND_THE_EDGE, width) == []
        assert page.evaluate(TOUCHING) == []
    finally:
        context.close()


BEYOND_THE_EDGE = """(width) => [...document.querySelectorAll('main *')]
  .filter((one) => !one.closest('.scroll, svg') && one.getBoundingClientRect().right > width + 1)
  .map((one) => one.outerHTML.slice(0, 90))"""

TOUCHING = """() => {
  const words = [...document.querySelectorAll('nav.places a')].map((link) => {
    const range = document.createRange();
    range.selectNodeContents(link);
    return range.getBoundingClientRect();
  }).filter((box) => box.width > 0).sort((one, other) => one.left - other.left);
  return words.slice(1).filter((box, at) => box.top === words[at].top && box.left - words[at].right < 4)
    .map((box) => box.left);
}"""
"""Words of the bar at the foot that leave no gap between them."""
