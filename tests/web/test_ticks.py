"""The checklist ticked off: by plain forms, by a viewer who may not, and what the page shows of it."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from starlette.testclient import TestClient

from fruitwall.service.house import House
from fruitwall.service.ticks import ticks_of
from fruitwall.web.evening import routes as evening
from fruitwall.web.who import Who
from tests.web.markup import read_page
from tests.web.sample import NIGHT, sample_plan

KEYS = {1: "wet@sapodilla", 3: "carry:hallway@pot-cacao"}


def keyed_plan():
    plan = sample_plan()
    tasks = [task.model_copy(update={"key": KEYS.get(task.order, f"part@{task.order}")}) for task in plan.tasks]
    return plan.model_copy(update={"tasks": tasks})


@pytest.fixture
def client(client_of: Callable[..., TestClient], house: House) -> TestClient:
    return client_of(keyed_plan(), house=house)


def form_of(client: TestClient, number: int) -> dict[str, str]:
    row = read_page(client.get("/").text).one(id=f"task-evening-{number}")
    form = row.one("form", cls="tick-form")
    return {field.attributes["name"]: field.attributes["value"] for field in form.all("input")}


def test_a_tick_by_a_plain_form_is_a_deed_and_is_shown_with_who_and_when(client, house):
    form = form_of(client, 3)
    answers = [client.post("/evening/tick", data=form, follow_redirects=False) for _ in range(2)]

    assert [answer.status_code for answer in answers] == [303, 303]
    assert answers[0].headers["location"].endswith("#task-evening-3")
    assert [entry.tree for entry in house.ledger.current(kind="deed")] == ["pot-cacao"]
    page = read_page(client.get("/").text)
    row = page.one(id="task-evening-3")
    assert row.one("span", cls="tick-words").text == "Done 14:00, owner."
    assert row.one("button", cls="tick").attributes["aria-pressed"] == "true"
    assert page.one("p", cls="changed-words").text == "1 tick changed since this plan."


def test_a_tick_is_taken_back_by_a_plain_form(client, house):
    form = form_of(client, 3)
    client.post("/evening/tick", data=form)
    client.post("/evening/untick", data=form)

    assert ticks_of(house.ledger, NIGHT).done == {}
    assert read_page(client.get("/").text).one("p", cls="changed-words").text == ""


def test_the_morning_has_its_own_ticks(client, house):
    row = read_page(client.get("/").text).one(id="task-morning-1")
    form = {
        field.attributes["name"]: field.attributes["value"] for field in row.one("form", cls="tick-form").all("input")
    }
    answer = client.post("/evening/tick", data=form, follow_redirects=False)

    assert answer.headers["location"].endswith("#task-morning-1")
    assert [key.split(":")[0] for key in ticks_of(house.ledger, NIGHT).done] == ["morning"]


def test_a_viewer_sees_what_is_done_and_no_button(client, house, monkeypatch):
    client.post("/evening/tick", data=form_of(client, 3))
    monkeypatch.setattr(evening, "who", lambda _: Who(role="viewer"))

    page = client.get("/").text
    assert "Done 14:00, owner." in page
    assert "<button" not in page
    assert "/evening/tick" not in page


@pytest.mark.parametrize("change", [{"key": "nothing@here"}, {"entry": "no uuid"}, {"night": "soon"}, {"key": "a\0b"}])
def test_what_cannot_be_ticked_is_refused_and_stores_nothing(client, house, change):
    answer = client.post("/evening/tick", data=form_of(client, 3) | change)

    assert answer.status_code in (409, 422)
    assert house.ledger.current(kind="deed") == []


def test_other_telephones_ask_for_the_ticks_alone(client):
    client.post("/evening/tick", data=form_of(client, 3))

    answer = client.get(f"/evening/ticks.json?night={NIGHT}")
    assert answer.json()["done"] == {KEYS[3]: {"words": "Done 14:00, owner.", "undo": True}}
    assert len(answer.content) < 300


def test_a_step_stands_in_full_once_and_is_pointed_to_after_that(client_of):
    plan = sample_plan()
    same = ["Take the fleece.", "Down to the ground all round."]
    tasks = [task.model_copy(update={"steps": same}) for task in plan.tasks[1:3]]
    more = plan.tasks[3].model_copy(update={"steps": [*same, "Weigh it down."]})

    page = read_page(client_of(sample_plan(tasks=[*tasks, more])).get("/").text)
    told = [
        [step.text for step in task.one("ul", cls="steps").all("li")]
        for task in page.one(id="before-dark").all("li", cls="task")
    ]
    assert told == [same, ["as at 2"], ["Weigh it down.", "the rest as at 2"]]


def test_the_heading_of_a_task_says_by_when_to_start(client_of):
    task = keyed_plan().tasks[0]
    task = task.model_copy(update={"start_by": task.deadline.replace(minute=12)})

    page = read_page(client_of(sample_plan(tasks=[task])).get("/").text)
    terms = next(page.all("p", cls="terms")).text
    assert "start by" in terms
    assert ":12" in terms
