"""The pages of recovery and of the climate of the place."""

from __future__ import annotations

import shutil
from datetime import date, timedelta

import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.service import recovery_ledger
from fruitwall.service.climate import keep_years
from fruitwall.service.ledger import Sighting
from fruitwall.weather.demo import demo_now
from tests.service.past import enter, house_with_past
from tests.service.test_climate import other_year
from tests.service.test_recovery_season import made_hours
from tests.web.markup import read_page


@pytest.fixture
def house(filled_file, tmp_path, monkeypatch):
    shutil.copy(filled_file, tmp_path / "a.db")
    courses = [date(2027, 1, 10), date(2027, 2, 1), date(2027, 2, 1), *[None] * 7]

    def coming(house, until):
        return {
            tree.id: made_hours(tree.id, courses, until=until, since=house.clock()) for tree in house.yard()[0].trees
        }

    monkeypatch.setattr("fruitwall.service.spot_hours.coming_hours", coming)
    monkeypatch.setattr(recovery_ledger, "_cold_share", lambda *_: 0.9)
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path, clock=demo_now)


@pytest.fixture
def client(client_of, house):
    return client_of(house=house)


def test_without_a_hurt_tree_the_page_says_so(client):
    page = read_page(client.get("/season/recovery").text)
    assert "No tree shows an injury" in page.one("main").text
    assert not list(page.all("figure"))


def test_a_hurt_tree_shows_when_it_may_be_cut_and_how(client, house):
    enter(house, Sighting(grade=5, signs=["bare"]), "lime", demo_now() - timedelta(days=40))
    enter(house, Sighting(signs=["new_growth"]), "lime", demo_now() - timedelta(days=1))
    main = read_page(client.get("/season/recovery").text).one("main").text
    assert "Wait until Tue 2 Feb" in main
    assert "How far to cut" in main
    assert "New growth starting, Tue 22 Dec" in main
    assert "Do not feed." in main
    assert "University of California" in main


def test_the_picture_falls_with_each_course_that_is_over(client, house):
    enter(house, Sighting(grade=5), "lime", demo_now() - timedelta(days=3))
    table = read_page(client.get("/season/recovery").text).one("table", cls="chart-table")
    rows = [[cell.text for cell in row.all("td")] for row in table.one("tbody").all("tr")]
    assert [row[-1] for row in rows] == ["30", "20", "0", "0"]


def test_names_of_trees_are_no_markup(client, house):
    text = house.journal.current_yard().text.replace("name: Lime", 'name: "<b>Lime</b>"')
    house.journal.store_yard(text, name="Small yard", now=demo_now(), author="test")
    enter(house, Sighting(grade=5, signs=["bare"]), "lime", demo_now() - timedelta(days=3))
    assert "<b>Lime</b>" not in client.get("/season/recovery").text


def test_the_climate_shows_its_winters_and_how_to_get_more(client, house):
    empty = read_page(client.get("/season/climate").text).one("main").text
    assert "Nothing is known of other years here" in empty
    assert "fruitwall climate fetch --years 10" in empty
    keep_years(house, other_year(2020))
    page = read_page(client.get("/season/climate").text)
    assert [row.one("th").text for row in page.one("tbody").all("tr")] == ["2020/21"]
    assert "a station near by" in page.one("main").text


def test_the_weather_leads_to_the_climate(client):
    page = read_page(client.get("/weather").text)
    assert any(link.attributes.get("href") == "/season/climate" for link in page.all("a"))


@pytest.mark.parametrize(
    ("path", "word"), [("/season/recovery", "Recuperación después del frío"), ("/season/climate", "Clima del lugar")]
)
def test_the_pages_speak_spanish(client, path, word):
    assert word in client.get(path, headers={"accept-language": "es"}).text
