"""The pages of heat."""

from __future__ import annotations

import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.service import spot_hours as hours_in
from tests.service.test_heat_season import house_in
from tests.web.markup import read_page

PAGE = "/season/heat"


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_in(journal, tmp_path)


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


def test_without_weather_no_tree_is_dropped(client, monkeypatch):
    monkeypatch.setattr(hours_in, "season_hours", lambda *_: {})
    monkeypatch.setattr(hours_in, "coming_hours", lambda *_: {})
    page = read_page(client.get(PAGE).text)
    assert "No weather since" in page.one("main").text
    assert len(list(page.one("table", cls="heat-table").one("tbody").all("tr"))) == 3
    assert "Nothing is known of this tree" in client.get(f"{PAGE}/free").text


def test_a_tree_that_is_not_there_is_no_page(client):
    assert client.get(f"{PAGE}/palm").status_code == 404


def test_the_pages_speak_spanish(client):
    text = client.get(PAGE, headers={"accept-language": "es"}).text
    assert "Árbol por árbol" in text
    assert "Para quien trabaja con calor" in text
