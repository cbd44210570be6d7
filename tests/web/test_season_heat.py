"""The pages of heat."""

from __future__ import annotations

import threading

import pytest

from fruitwall.journal.opening import open_journal
from tests.service.test_heat_season import house_in
from tests.web.markup import read_page

PAGE = "/season/heat"


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hot")
    with open_journal(folder / "a.db") as journal:
        yield house_in(journal, folder)


@pytest.fixture
def client(client_of, house):
    return client_of(house=house)


def test_every_tree_stands_in_the_table_and_leads_to_its_page(client):
    page = read_page(client.get(PAGE).text)
    rows = list(page.one("table", cls="heat-table").one("tbody").all("tr"))
    assert [row.one("a").text for row in rows] == ["Walled lime", "Free lime", "Lime in a pot"]
    assert all(len(list(row.all("svg"))) == 1 for row in rows)
    own = read_page(client.get(rows[2].one("a").attributes["href"]).text)
    assert "Hottest since" in own.one("main").text
    assert "harm begins" in own.one("figure").text
    assert "Pot roots" in own.one("main").text


def test_who_works_in_heat_is_told_to_take_care(client):
    assert "drink before you are thirsty" in read_page(client.get(PAGE).text).one("main").text


def test_without_weather_no_tree_is_dropped(client_of, tmp_path):
    with open_journal(tmp_path / "b.db") as journal:
        client = client_of(house=house_in(journal, tmp_path, weather=False))
        page = read_page(client.get(PAGE).text)
        assert "No weather since" in page.one("main").text
        assert len(list(page.one("table", cls="heat-table").one("tbody").all("tr"))) == 3
        assert "Nothing is known of this tree" in client.get(f"{PAGE}/free").text


def test_the_heat_is_told_while_the_plan_is_still_made(client_of, house, monkeypatch):
    from fruitwall.service import heat_season, summer_decide

    heat_season.heat_season(house)
    begun = threading.Event()
    monkeypatch.setattr(summer_decide, "decide", lambda _: begun.wait(20.0))
    answer = client_of(house=house, patience_s=0.05).get(PAGE)
    begun.set()
    assert answer.headers["refresh"] == "3"
    page = read_page(answer.text)
    assert "What is worth doing is being worked out" in page.one("main").text
    assert len(list(page.one("table", cls="heat-table").one("tbody").all("tr"))) == 3


def test_a_tree_that_is_not_there_is_no_page(client):
    assert client.get(f"{PAGE}/palm").status_code == 404


def test_the_pages_speak_spanish(client):
    text = client.get(PAGE, headers={"accept-language": "es"}).text
    assert "Árbol por árbol" in text
    assert "Para quien trabaja con calor" in text
