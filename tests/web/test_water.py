"""The pages of the season's water: trees in walking order, waterings entered, all in Spanish and gallons."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable

import pytest
from starlette.testclient import TestClient

from fruitwall.service.house import House
from fruitwall.service.walk import walking_order
from fruitwall.web.patience import Patience
from fruitwall.web.who import Who
from tests.service.past import keep, past_forcing
from tests.web.markup import read_page
from tests.web.test_spanish_pages import AS_READ, left_in

PAGE = "/season/water"


@pytest.fixture
def client(client_of: Callable[..., TestClient], house: House) -> TestClient:
    keep(house.journal, past_forcing())
    return client_of(house=house)


def give(client: TestClient, **fields: str):
    return client.post(PAGE, data={"entry": str(uuid.uuid4())} | fields, follow_redirects=False)


def test_every_tree_stands_in_walking_order_with_its_drawing(client, house):
    table = read_page(client.get(PAGE).text).one("table", cls="water-table")
    names = [row.text for row in table.one("tbody").all("th")]
    assert names == [tree.name for tree in walking_order(house.yard()[0])]
    assert len(list(table.all("svg", cls="water"))) == len(names)
    lines = [line for row in table.all("svg") for line in row.all("polyline", cls="water-over")]
    assert len(lines) == len(names)


def test_a_watering_is_entered_once_and_told_on_the_page_of_its_tree(client, house):
    number = str(uuid.uuid4())
    answers = [give(client, entry=number, tree="papaya", amount="3 gal", back="tree") for _ in range(2)]
    assert [one.headers["location"] for one in answers] == [f"{PAGE}/papaya?done=stored", f"{PAGE}/papaya?done=known"]
    (entry,) = house.ledger.current(kind="deed")
    assert json.loads(entry.body) == {"what": "watered", "words": "Watered", "litres": pytest.approx(11.356, abs=1e-3)}
    page = client.get(answers[0].headers["location"]).text
    assert "Stored." in page
    assert f"/trees/papaya/{number}" in page
    assert client.get(f"/trees/papaya/{number}").status_code == 200


def test_what_is_wrong_is_told_and_what_was_typed_stays(client, house):
    wrong = [
        {"tree": "papaya", "amount": "a lot"},
        {"tree": "moon", "amount": "3"},
        {"tree": "papaya", "amount": "3", "at": "yesterday"},
        {"tree": "papaya", "amount": "3", "at": "2031-01-01T10:00", "back": "tree"},
    ]
    for fields in wrong:  # one household: the water is worked out once
        answer = give(client, **fields)
        assert answer.status_code == 422
        assert read_page(answer.text).one("p", id="water-error").text
        assert f'value="{fields["amount"]}"' in answer.text
    assert house.ledger.current() == []


def test_who_only_looks_has_nothing_to_enter(client, monkeypatch):
    monkeypatch.setattr("fruitwall.web.season.water.routes.who", lambda _: Who(role="viewer"))
    for path in (PAGE, f"{PAGE}/papaya"):
        assert "<form" not in client.get(path).text
    assert client.get(f"{PAGE}/moon").status_code == 404


def test_the_pages_are_wholly_spanish_and_in_gallons(client, house, monkeypatch):
    give(client, tree="papaya", amount="12")
    kinds = ("Citrus spp.", "Persea americana", "Musa spp.", "Prunus spp.", "Arecaceae")
    for path in (PAGE, f"{PAGE}/papaya"):
        assert left_in(client, path, monkeypatch, 200, *kinds) == ""
    gallons = AS_READ | {"cookie": "fruitwall_reads=es.F.ft.lb.gal"}
    page = read_page(client.get(f"{PAGE}/papaya", headers=gallons).text)
    figures = page.one("dl", cls="believed").text
    assert figures.count(" gal") >= 3
    assert " L " not in figures
    assert "3,2 gal" in page.one("ul", cls="water-list").text  # 12 L


def test_what_is_wrong_is_told_also_while_the_water_is_worked_out(client, house, monkeypatch):
    monkeypatch.setattr(Patience, "plan", lambda *_: None)
    for back in ("", "tree"):
        answer = give(client, tree="papaya", amount="a lot", back=back)
        assert answer.status_code == 422
        assert "refresh" not in answer.headers
        assert "Give an amount such as 18 L" in answer.text
    monkeypatch.undo()
    assert client.get(PAGE).status_code == 200
    monkeypatch.setattr(Patience, "plan", lambda *_: None)
    # What was shown before is good enough for a form with a mistake, which keeps what was typed.
    for back in ("", "tree"):
        page = read_page(give(client, tree="papaya", amount="a lot", back=back).text)
        assert [one.attributes["value"] for one in page.all("input") if one.attributes.get("name") == "amount"] == [
            "a lot"
        ]
    assert client.get(PAGE).status_code == 202
    assert house.ledger.current(kind="deed") == []
