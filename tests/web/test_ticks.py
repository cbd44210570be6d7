"""The checklist ticked off: by plain forms, by a viewer who may not, and what the page shows of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from starlette.testclient import TestClient

from fruitwall.service import desk
from fruitwall.service.desk import EveningsDesk
from fruitwall.service.house import House
from fruitwall.service.ledger import Signed
from fruitwall.service.ticks import tick, ticks_of
from fruitwall.weather.demo import demo_forcing
from fruitwall.web.evening import routes as evening
from fruitwall.web.who import Who
from tests.web.markup import read_page
from tests.web.sample import NIGHT, NOW, sample_plan

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
    assert f"done by {task.deadline.astimezone(ZoneInfo('America/Los_Angeles')):%H:%M}" in terms


@pytest.mark.parametrize("night", ["9999-12-31", "0001-01-01", "2026-12-01"])
def test_a_night_that_nobody_ticked_has_no_ticks(client, night):
    answer = client.get(f"/evening/ticks.json?night={night}")

    assert answer.status_code == 200
    assert answer.json()["done"] == {}
    assert client.post("/evening/untick", data={"night": night, "key": KEYS[3]}).status_code < 500


def test_what_was_ticked_more_than_an_hour_ago_offers_no_way_back_and_stays(client_of, house):
    plan = keyed_plan()
    early = Signed("Odalis", "phone", NOW - timedelta(minutes=70))
    tick(house.ledger, plan, KEYS[3], signed=early)
    client = client_of(plan, house=house)

    row = read_page(client.get("/").text).one(id="task-evening-3")
    assert row.one("span", cls="tick-words").text == "Done 12:50, Odalis."
    assert "hidden" in row.one("form", cls="undo-form").attributes
    answer = client.post("/evening/untick", data={"night": str(NIGHT), "key": KEYS[3]})
    assert answer.status_code == 409
    assert set(ticks_of(house.ledger, NIGHT).done) == {KEYS[3]}


def test_planning_again_leads_to_the_plan_that_knows_what_is_done(client_of, house, monkeypatch):
    made = []

    def plan_evening(*_, **given):
        made.append([task.key for task in given["done"]])
        plan = keyed_plan()
        left = [task for task in plan.tasks if task.key not in made[-1]]
        return plan.model_copy(update={"done": list(given["done"]), "tasks": left})

    monkeypatch.setattr(desk, "plan_evening", plan_evening)
    its = EveningsDesk(house.journal, None, lambda *_: (demo_forcing(), None), house.clock)
    client = client_of(lambda night: its.plan_for(night or NIGHT), house=house)
    client.post("/evening/tick", data=form_of(client, 3))
    assert made == [[]]

    answer = client.post("/evening/replan", data={"night": str(NIGHT)})
    page = read_page(answer.text)
    assert made == [[], [KEYS[3]]]
    assert page.one("ul", cls="done-before").one("span", cls="tick-words").text == "Done 14:00, owner."
    assert not list(page.all(id="task-evening-3"))
    assert page.one("p", cls="changed-words").text == ""
    assert [task["key"] for task in client.get("/plan.json").json()["done"]] == [KEYS[3]]


@pytest.fixture
def overtaken(client_of, house):
    """A tick of a checklist that a newer plan no longer holds."""
    tick(house.ledger, keyed_plan(), KEYS[3], signed=Signed("Odalis", "phone", NOW - timedelta(hours=2)))
    plan = keyed_plan()
    plan = plan.model_copy(update={"tasks": [task for task in plan.tasks if task.key != KEYS[3]]})
    house.journal.store_plan(plan.night, plan.model_dump_json(), version=house.yard()[1], made=plan.made)
    return client_of(plan, house=house)


def test_what_a_newer_plan_no_longer_asks_for_is_told_and_a_person_decides(overtaken, house):
    line = read_page(overtaken.get("/").text).one("ul", cls="done-before")
    assert line.one("span", cls="what").text == keyed_plan().tasks[2].what
    assert line.one("span", cls="tick-words").text == (
        "Done at 12:00, Odalis; the newer plan no longer asks for it. Leave it, or take it off?"
    )
    forms = {form.attributes["action"]: form for form in line.all("form")}
    assert set(forms) == {"/evening/leave", "/evening/take-off"}
    fields = {one.attributes["name"]: one.attributes["value"] for one in forms["/evening/leave"].all("input")}

    assert overtaken.post("/evening/leave", data=fields, follow_redirects=False).status_code == 303
    page = read_page(overtaken.get("/").text)
    assert "It stays, and the next plan counts with it." in page.one("ul", cls="done-before").text
    assert not list(page.one("ul", cls="done-before").all("button"))  # two hours old: no slip of the finger
    assert page.one("p", cls="changed-words").text == "1 tick changed since this plan."


def test_what_a_later_plan_could_not_count_with_is_told_and_changes_nothing_more(overtaken, client_of, house):
    overtaken.post("/evening/leave", data={"night": str(NIGHT), "key": KEYS[3]})
    plan = keyed_plan()
    left = [task for task in plan.tasks if task.key != KEYS[3]]
    client = client_of(plan.model_copy(update={"tasks": left, "made": NOW + timedelta(minutes=2)}), house=house)
    page = read_page(client.get("/").text)
    assert "It stays, but tonight’s plan has no use for it." in page.one("ul", cls="done-before").text
    assert page.one("p", cls="changed-words").text == ""


def test_what_is_taken_off_is_done_no_more_however_long_ago_it_was(overtaken, house):
    fields = {"night": str(NIGHT), "key": KEYS[3]}
    assert overtaken.post("/evening/take-off", data=fields, follow_redirects=False).status_code == 303
    assert ticks_of(house.ledger, NIGHT).done == {}
    assert not list(read_page(overtaken.get("/").text).all("ul", cls="done-before"))

    overtaken.post("/evening/leave", data=fields)
    assert ticks_of(house.ledger, NIGHT).left == {}


def test_a_viewer_is_told_and_not_asked(overtaken, monkeypatch):
    monkeypatch.setattr(evening, "who", lambda _: Who(role="viewer"))
    line = read_page(overtaken.get("/").text).one("ul", cls="done-before")
    assert line.one("span", cls="tick-words").text == "Done at 12:00, Odalis; the newer plan no longer asks for it."
    assert not list(line.all("form"))


def test_pressed_on_a_page_that_a_newer_plan_overtook_it_is_done_all_the_same_and_told(client_of, house):
    form = form_of(client_of(keyed_plan(), house=house), 3)
    newer = keyed_plan()
    newer = newer.model_copy(update={"tasks": [task for task in newer.tasks if task.key != KEYS[3]]})
    house.journal.store_plan(newer.night, newer.model_dump_json(), version=house.yard()[1], made=newer.made)
    client = client_of(newer, house=house)

    assert client.post("/evening/tick", data=form | {"deed": "{"}).status_code == 409
    assert client.post("/evening/tick", data=form | {"key": "wet@papaya"}).status_code == 409  # says another one
    assert house.ledger.current(kind="deed") == []
    for _ in range(2):
        assert client.post("/evening/tick", data=form, follow_redirects=False).status_code == 303
    assert [entry.tree for entry in house.ledger.current(kind="deed")] == ["pot-cacao"]
    words = read_page(client.get("/").text).one("ul", cls="done-before").one("span", cls="tick-words").text
    assert words == "Done at 14:00, owner; the newer plan no longer asks for it. Leave it, or take it off?"
