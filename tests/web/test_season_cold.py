"""The pages of the cold ledger."""

from __future__ import annotations

from datetime import timedelta

import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.service import spot_hours as hours_in
from tests.service.past import LATER, house_with_past
from tests.web.markup import read_page

PAGE = "/season/cold"


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path)


@pytest.fixture
def client(client_of, house):
    return client_of(house=house)


def test_every_tree_stands_in_the_table_and_leads_to_its_page(client):
    page = read_page(client.get(PAGE).text)
    rows = list(page.one("tbody").all("tr"))
    assert [row.one("a").text for row in rows] == ["Mango", "Second mango", "Lime"]
    assert all(len(list(row.all("svg"))) == 1 for row in rows)
    own = read_page(client.get(rows[0].one("a").attributes["href"]).text)
    assert "Its leaves got to" in own.one("main").text
    assert "harm begins" in own.one("figure").text
    assert "Winter beside winter" in own.one("main").text


def test_the_night_that_goes_on_is_not_in_the_picture(client, house):
    table = read_page(client.get(f"{PAGE}/mango").text).one("table", cls="chart-table")
    days = [row.one("th").text for row in table.one("tbody").all("tr")]
    last = LATER.date() - timedelta(days=0)  # its minimum stands on the morning after
    assert days[-1].startswith(f"{last:%a} {last.day} {last:%b}")


def test_without_weather_no_tree_is_dropped(client, monkeypatch):
    monkeypatch.setattr(hours_in, "season_hours", lambda *_: {})
    page = read_page(client.get(PAGE).text)
    assert "No weather of this winter is known" in page.one("main").text
    assert len(list(page.one("tbody").all("tr"))) == 3
    assert "Nothing is known of this tree" in client.get(f"{PAGE}/lime").text


def test_a_tree_that_is_not_there_is_no_page(client):
    assert client.get(f"{PAGE}/palm").status_code == 404


def test_the_pages_speak_spanish(client):
    text = client.get(PAGE, headers={"accept-language": "es"}).text
    assert "Árbol por árbol" in text
    assert "Tree by tree" not in text
