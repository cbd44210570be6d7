"""The list of trees, and a tree's own page: what is entered there, corrected, and shown."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from fruitwall.service.house import House
from fruitwall.service.ledger import Signed
from fruitwall.service.ticks import tick, tick_key
from fruitwall.service.tree_story import stories_of
from fruitwall.web.trees import routes
from fruitwall.web.who import Who
from tests.databases import database  # noqa: F401 - on either kind of database
from tests.web.markup import read_page
from tests.web.sample import NIGHT, NOW, SUNRISE, sample_plan

PAPAYA = "/trees/papaya"


@pytest.fixture
def client(client_of: Callable[..., TestClient], house: House) -> TestClient:
    return client_of(house=house)


def add(client: TestClient, **fields: str):
    return client.post(PAPAYA, data={"entry": str(uuid.uuid4())} | fields, follow_redirects=False)


def entries(client: TestClient) -> list[str]:
    return [one.text for one in read_page(client.get(PAPAYA).text).one("ol", cls="entries").all("b")]


def test_the_list_tells_each_tree_how_it_looked_and_tonights_margin(client, house):
    plan = sample_plan()
    house.journal.store_plan(NIGHT, plan.model_dump_json(), version=house.yard()[1], made=NOW)
    page = read_page(client.get("/trees").text).one("ul", cls="tree-list")

    assert len(list(page.all("li"))) == len(house.yard()[0].trees)
    papaya = next(one for one in page.all("li") if one.text.startswith("Papaya"))
    assert "Never looked at so far." in papaya.text
    assert "tonight 1.3 K to spare" in papaya.text


def test_a_stage_a_deed_and_a_note_are_one_touch_each_and_stored_once(client, house):
    number = str(uuid.uuid4())
    for _ in range(2):
        assert add(client, entry=number, stage="bloom").status_code == 303
    add(client, deed="watered", note="20 L")
    add(client, note="A bird's nest in it")

    assert sorted(entries(client)) == ["In bloom", "Note", "Watered"]
    assert {entry.kind for entry in house.ledger.current(tree="papaya")} == {"stage", "deed", "note"}
    assert "In bloom begins" in client.get(PAPAYA).text


def test_a_correction_stands_in_place_of_what_it_corrects_and_two_stand_side_by_side(client, house):
    add(client, note="Wrong")
    first = house.ledger.current(tree="papaya")[0].id
    for words in ("Right", "Other"):
        client.post(f"{PAPAYA}/{first}", data={"entry": str(uuid.uuid4()), "note": words})

    notes = [json.loads(entry.body)["note"] for entry in house.ledger.current(tree="papaya")]
    assert sorted(notes) == ["Other", "Right"]
    page = client.get(PAPAYA).text
    assert page.count("Somebody else corrected the same entry") == 2
    assert "Corrected; earlier:" in page


@pytest.mark.parametrize("fields", [{}, {"note": "  "}, {"stage": "asleep"}, {"entry": "x", "note": "a"}])
def test_nothing_empty_or_unknown_is_entered(client, house, fields):
    assert add(client, **fields).status_code == 422
    assert house.ledger.current() == []


def test_a_viewer_reads_and_has_nothing_to_press(client, monkeypatch):
    monkeypatch.setattr(routes, "who", lambda _: Who(role="viewer"))
    assert "<button" not in client.get(PAPAYA).text


def test_a_tree_that_is_not_there_is_not_found(client):
    assert client.get("/trees/moon").status_code == 404
    assert client.post("/trees/moon", data={"entry": str(uuid.uuid4()), "note": "a"}).status_code == 404


def test_minutes_of_shared_work_are_shared_and_nights_that_are_over_are_told(house):
    plan = sample_plan()
    house.journal.store_plan(NIGHT, plan.model_dump_json(), version=house.yard()[1], made=NOW)
    cover = next(task for task in plan.tasks if "papaya" in task.trees)
    tick(house.ledger, plan, tick_key(plan, cover), signed=Signed("Anna", "phone", NOW))

    story = stories_of(house, "papaya")[0]
    assert story.winters == [("2026/27", pytest.approx(13 / 3))]
    assert story.nights == []  # the night is not over
    assert story.tonight is not None

    object.__setattr__(house, "clock", lambda: SUNRISE + timedelta(hours=1))
    ((sunrise, felt),) = stories_of(house, "papaya")[0].nights
    assert sunrise == SUNRISE
    assert felt.margin_planned_k == pytest.approx(1.3)
