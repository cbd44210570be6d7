"""The interface for scripts and sensors."""

from __future__ import annotations

from datetime import timedelta

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from fruitwall.service.ledger import Sighting, Signed, entry_of
from tests.databases import database  # noqa: F401 - on either kind of database
from tests.web.sample import NOW


@pytest.fixture
def app(make_app, house) -> FastAPI:
    return make_app(house=house)


@pytest.fixture
def api(app) -> TestClient:
    return TestClient(app, base_url="http://localhost")


def reading(value: float, **changes) -> dict[str, object]:
    return {"sensor": "mango", "quantity": "air_temperature_c", "at": NOW.isoformat(), "value": value} | changes


def test_the_description_names_every_address_but_no_page(api):
    document = api.get("/api/openapi.json").json()

    assert document["openapi"].startswith("3.1")
    assert {"/api/trees", "/api/readings", "/api/entries"} <= set(document["paths"])
    assert all(path.startswith("/api/") for path in document["paths"])


def test_the_page_for_people_who_write_scripts_lists_them(api):
    page = api.get("/api").text

    assert "/api/readings" in page
    assert "OpenAPI" in page


def test_trees_come_with_how_they_looked_last(api, house):
    tree = house.yard()[0].trees[0]
    said = Sighting(grade=2)
    house.ledger.add([entry_of("sighting", said, tree=tree.id, at=NOW, signed=Signed("Ana", "phone", NOW))])

    (found,) = [one for one in api.get("/api/trees").json() if one["id"] == tree.id]

    assert (found["name"], found["last_grade"]) == (tree.name, 2)
    (entry,) = api.get("/api/entries", params={"tree": tree.id}).json()
    assert entry["body"] == {"grade": 2}
    assert [one["id"] for one in api.get(f"/api/entries/{entry['id']}/history").json()] == [entry["id"]]


def test_readings_are_taken_once_and_a_wrong_one_keeps_no_other_out(api):
    sent = [
        reading(-1.5),
        reading(280.0, sensor="b"),
        reading(30.2, sensor="c", unit="F"),
        reading(1.0, sensor="d", at=(NOW + timedelta(hours=2)).isoformat()),
        reading(1.0, quantity="mood"),
        reading(50.0, quantity="relative_humidity_pct", unit="F"),
    ]

    first, again = api.post("/api/readings", json=sent).json(), api.post("/api/readings", json=sent).json()

    assert (first["new"], first["known"]) == (2, 0)
    assert (again["new"], again["known"]) == (0, 2)
    assert {one["index"]: one["why"].split()[0] for one in first["refused"]} == {
        1: "280",
        3: "it",
        4: "there",
        5: "only",
    }
    window = {"since": NOW.isoformat(), "until": (NOW + timedelta(seconds=1)).isoformat()}
    found = sorted(one["value"] for one in api.get("/api/readings", params=window).json())
    assert found == [-1.5, pytest.approx(-1.0)]


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/api/entries?since=2026-12-22T06:00:00", 422),
        ("/api/entries?kind=gossip", 422),
        ("/api/entries/no-such/history", 404),
        ("/api/readings", 422),
        ("/api/nothing", 404),
    ],
)
def test_what_is_asked_wrongly_is_answered_by_a_problem(api, address, status):
    answer = api.get(address)

    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert set(answer.json()) == {"type", "title", "status", "detail", "problems"}


def test_nobody_sends_more_at_once_than_a_loggers_memory(api):
    answer = api.post("/api/readings", json=[reading(1.0)] * 5001)

    assert answer.status_code == 422


def test_without_a_household_there_is_no_interface(client):
    assert client.get("/api/trees").status_code == 404
