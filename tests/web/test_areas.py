"""The way between the areas of the program."""

from __future__ import annotations

from fruitwall.web.areas import AREAS, places


def test_a_page_stands_in_one_area_at_most():
    everything = frozenset(area.url for area in AREAS)
    for path in ("/", "/night/2026-12-22", "/evening/sheet", "/kinds/mango", "/kindsfolk", "/yard", "/more"):
        assert sum(place.here for place in places(everything, path)) == (path not in ("/kindsfolk", "/more"))


def test_only_areas_that_are_there_are_linked(client):
    page = client.get("/more").text

    assert 'href="/kinds"' in page
    assert 'aria-current="page"' in page


def test_a_page_speaks_the_language_of_the_browser(client):
    page = client.get("/more", headers={"accept-language": "es-MX,en;q=0.5"}).text

    assert '<html lang="es">' in page
    assert "<h1>Más</h1>" in page


def test_a_household_has_its_yard_and_its_ledger(house):
    yard, version = house.yard()

    assert house.has_yard()
    assert yard.name == version.yard
    assert house.ledger.current() == []
    assert house.accounts.all() == []
