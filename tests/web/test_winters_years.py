"""The page and the terminal of what many winters say."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from io import StringIO
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from rich.console import Console
from starlette.testclient import TestClient

from fruitwall.cli.winters_years import show_years
from fruitwall.journal.opening import open_journal
from fruitwall.plans.years import return_level
from fruitwall.service import winters as asked
from fruitwall.service import winters_years as worked
from fruitwall.service.house import House
from fruitwall.service.household import Household
from fruitwall.service.winters_weather import WeatherChoice
from fruitwall.service.winters_years import document_of
from fruitwall.service.winters_years_document import YearsDocument
from fruitwall.service.winters_years_words import day_of
from fruitwall.speech import speaking
from fruitwall.web.winters.years.drawing import Scale
from fruitwall.web.winters.years.page import years_page
from fruitwall.yard.model import Display
from tests.plans.rules_made import made_ground
from tests.service.past import house_with_past
from tests.service.test_winters_years import made_weather
from tests.web.markup import Element, read_page

PAGE = "/winters/years"
CELSIUS = Household(Display(), ZoneInfo("America/Los_Angeles"))
FAHRENHEIT = Household(Display(temperature="F", length="ft"), ZoneInfo("America/Los_Angeles"))


@pytest.fixture(scope="module")
def document() -> YearsDocument:
    ground = made_ground(3, winters=24, seed=3, days=8)
    return document_of("Yard", made_weather(ground), ground)


@pytest.fixture(scope="module")
def few() -> YearsDocument:
    ground = made_ground(2, winters=4, seed=1, days=8)
    return document_of("Yard", made_weather(ground, typical=2), ground)


@pytest.fixture
def house(filled_file: Path, tmp_path: Path) -> Iterator[House]:
    shutil.copy(filled_file, tmp_path / "a.db")
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path / "photos")


@pytest.fixture
def client(
    client_of: Callable[..., TestClient], house: House, document: YearsDocument, monkeypatch: pytest.MonkeyPatch
) -> TestClient:
    def part(_house: House, _key: str, choice: WeatherChoice, **_how: Any) -> YearsDocument | None:
        return document if choice.warmer_k < 5.0 else None

    monkeypatch.setattr(asked, "part_document", part)
    monkeypatch.setattr(worked, "years_key", lambda _house, choice: repr(choice))
    return client_of(house=house)


def begun(client: TestClient, address: str, **how: Any) -> Element:
    """Have it worked out as a reader does, and give the page."""
    answer = client.get(address)
    assert answer.status_code == 202, "a page that is only looked at begins nothing"
    form = read_page(answer.text).one("form")
    sent = {one.attributes["name"]: one.attributes["value"] for one in form.all("input")}
    assert client.post(form.attributes["action"], data=sent, follow_redirects=False).status_code == 303
    answer = client.get(address, **how)
    assert answer.status_code == 200
    return read_page(answer.text)


def test_the_page_tells_trees_pictures_freezes_and_zone(client: TestClient, document: YearsDocument) -> None:
    page = begun(client, PAGE)
    main = page.one("main")
    table = next(iter(main.all("table", cls="names")))
    assert [row.one("th").text for row in list(table.all("tr"))[1:]] == [
        tree.name for tree in document.trees if max(tree.harm.yearly, tree.death.yearly) >= 0.005
    ]
    pictures = list(main.all("svg", cls="years-picture"))
    assert len(pictures) == 2 + len(document.freezes)
    assert len(list(pictures[0].all("circle"))) == 24, "a dot for each winter"
    assert len(list(pictures[1].all("polygon", cls="years-field"))) == 1
    assert "hardiness zone" in main.text
    assert all(picture.attributes["aria-hidden"] == "true" for picture in pictures)


def test_a_tree_has_a_view_of_its_own_that_keeps_the_choice(client: TestClient, document: YearsDocument) -> None:
    tree = document.trees[0]
    page = begun(client, f"{PAGE}?warmer=2&place={tree.id}")
    main = page.one("main")
    chosen = [one for one in main.one("select", id="years-where").all("option") if "selected" in one.attributes]
    assert [one.attributes["value"] for one in chosen] == [tree.id]
    form = main.one("form", cls="years-choice")
    assert [(one.attributes["name"], one.attributes["value"]) for one in form.all("input")] == [("warmer", "2")]
    assert f"The coldest hour of every winter: {tree.name}" in main.text
    assert "It dies from about" in main.text
    assert "2.0 K warmer than they were" in main.text
    links = {link.attributes["href"] for link in main.one("table", cls="names").all("a")}
    assert all("warmer=2" in link for link in links)
    assert "Air of the yard" in client.get(f"{PAGE}?warmer=2&place=nobody").text


def test_without_a_whole_winter_it_says_so(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "No whole winter is known" in begun(client, f"{PAGE}?warmer=6").one("main").text
    monkeypatch.setattr(worked, "years_key", lambda _house, _choice: None)
    answer = client.get(PAGE)
    assert answer.status_code == 200
    assert "No whole winter is known" in answer.text


def test_few_winters_have_no_line_but_their_dots(few: YearsDocument) -> None:
    page = years_page(few, CELSIUS)
    assert page.levels_picture is None
    assert any("only 4 winters" in line.lower() for line in page.limits)
    assert page.winters_picture is not None
    assert str(page.winters_picture).count("years-dot typical") == 2
    assert page.winters_rows[0][0] == "1990/91, typical"


def test_every_number_is_in_the_units_of_who_reads(document: YearsDocument) -> None:
    page = years_page(document, FAHRENHEIT)
    coldest = [value for value in document.air.coldest_c if value is not None]
    ten_f = float(return_level(coldest, 10.0)) * 1.8 + 32
    assert page.levels_rows[2][1] == f"{ten_f:.0f}".replace("-", "−")
    assert f"{ten_f:.0f}\N{NO-BREAK SPACE}°F" in page.levels_told[0]
    assert "°C" not in " ".join([page.verdict, *page.limits, *page.zone, *page.levels_told])


def test_pictures_hold_all_they_show(document: YearsDocument) -> None:
    for household in (CELSIUS, FAHRENHEIT):
        for place in ("", *(tree.id for tree in document.trees)):
            page = years_page(document, household, place)
            for picture in (page.winters_picture, page.levels_picture, *(one.picture for one in page.freezes)):
                drawn = read_page(f"<main>{picture}</main>").one("svg")
                wide, tall = (float(part) for part in drawn.attributes["viewbox"].split()[2:])
                for dot in drawn.all("circle"):
                    assert 0 <= float(dot.attributes["cx"]) <= wide
                    assert 0 <= float(dot.attributes["cy"]) <= tall


def test_the_axis_holds_freezing_and_whole_steps() -> None:
    scale = Scale([-7.3, -1.0], CELSIUS)
    assert (scale.low, scale.high, scale.step) == (-8.0, 0.0, 2.0)
    assert scale.y(0.0) < scale.y(-8.0)
    mild = Scale([3.0, 4.0], CELSIUS)
    assert mild.low == 0.0


def test_days_belong_to_no_year() -> None:
    assert day_of("02-29") == "1 Mar"
    assert day_of("12-24") == "24 Dec"
    assert day_of(None) == "–"
    with speaking("es"):
        assert day_of("12-24") == "24 dic"


def test_the_terminal_tells_the_same(document: YearsDocument, few: YearsDocument) -> None:
    out = Console(file=StringIO(), width=110)
    out.print(show_years(document, CELSIUS))
    out.print(show_years(few, CELSIUS))
    text = out.file.getvalue()  # type: ignore[attr-defined]
    assert document.trees[0].name in text
    assert "Hardiness zone" in text or "hardiness zone" in text
    assert "once in ten winters °C" in text
    assert "Note: Only 4 winters are known" in text


def test_the_page_is_whole_in_spanish(client: TestClient) -> None:
    text = begun(client, PAGE, headers={"accept-language": "es"}).one("main").text
    assert "Cuánto frío y cada cuánto" in text
    for english in ("winter", "freez", "coldest", "tree"):
        assert english not in text.lower(), english
