"""The page of winter chill."""

from __future__ import annotations

import pytest

from fruitwall.journal.opening import open_journal
from fruitwall.service import chill_ledger
from fruitwall.service.chill_document import ChillSeason
from tests.service.past import house_with_past
from tests.service.test_chill_season import REAL, UNTIL, one, season
from tests.web.markup import read_page

PAGE = "/season/chill"


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path)


@pytest.fixture
def client(client_of, house):
    return client_of(house=house)


@pytest.fixture
def shown(monkeypatch):
    def show(told: ChillSeason) -> None:
        monkeypatch.setattr(chill_ledger, "chill_season", lambda _: told)

    return show


def test_each_tree_has_a_line_that_leads_to_its_picture_and_numbers(client, shown):
    met, waits = one(REAL[:1500], REAL[1500:]), one(REAL[:500], REAL[500:])
    shown(season(met, waits.model_copy(update={"tree": "second", "name": "Second peach"})))
    page = read_page(client.get(PAGE).text)
    rows = list(page.one("table", cls="chill-table").one("tbody").all("tr"))
    assert [row.one("a").attributes["href"] for row in rows] == ["#chill-peach", "#chill-second"]
    assert [row.one("a").text for row in rows] == ["Peach", "Second peach"]
    for mark in ("chill-peach", "chill-second"):
        section = next(each for each in page.all("section") if each.attributes.get("id") == mark)
        assert "Flordaprince needs 8 chill portions." in section.text
        assert len(list(section.all("figure"))) == 1
        assert len(list(section.one("table", cls="chill-sums").all("tr"))) == 7
        assert section.one("h2").one("a").attributes["href"].startswith("/trees/")
    table = next(page.all("table", cls="chart-table"))
    heads = [head.text for head in table.all("th") if head.attributes.get("scope") == "col"]
    assert heads == ["When", "So far (portions)", "To come (portions)", "Needed (portions)"]
    # The picture is told in sentences: how far it is, not where a sum was lowest.
    summary = next(page.all("p", cls="summary")).text
    assert "So far: " in summary
    assert "lowest" not in summary
    assert "Lemon" in page.one("main").text


def test_a_winter_that_is_over_has_no_band(client, shown):
    shown(season(one(REAL), now=UNTIL, coming_until=None, courses=0))
    text = read_page(client.get(PAGE).text).one("main").text
    assert "to come" not in text
    assert "courses" not in text


def test_a_yard_without_such_trees_says_so(client):
    page = read_page(client.get(PAGE).text).one("main")
    assert "No tree of this yard needs winter chill." in page.text
    assert not list(page.all("table"))


def test_without_weather_there_is_no_picture(client, shown):
    shown(season(one(None)))
    page = read_page(client.get(PAGE).text).one("main")
    assert "No weather of this winter is known yet" in page.text
    assert not list(page.all("figure"))


def test_the_page_speaks_spanish(client, shown):
    shown(season(one(REAL[:500], REAL[500:])))
    text = client.get(PAGE, headers={"accept-language": "es"}).text
    assert "Frío invernal" in text
    assert "porciones de frío" in text
    assert "Según las demás cuentas" in text


def test_it_is_a_part_of_the_season(client):
    assert '"/season/chill"' in client.get("/season").text
