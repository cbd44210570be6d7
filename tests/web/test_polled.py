"""What telephones ask again and again: "not changed" while nothing has, and anew as soon as something has."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from fruitwall.service.house import House
from fruitwall.service.kept import Kept
from fruitwall.service.ticks import ticks_of
from fruitwall.web.app import create_app
from fruitwall.web.evening import page as evening
from fruitwall.web.patience import Patience
from fruitwall.web.settings import WebSettings
from tests.web.markup import read_page
from tests.web.sample import FAHRENHEIT, NIGHT, NOW, sample_plan, sample_yard
from tests.web.test_ticks import form_of, keyed_plan

PLAN = keyed_plan()


@pytest.fixture
def client(client_of: Callable[..., TestClient], house: House) -> TestClient:
    return client_of(PLAN, house.yard()[0], house=house)


def again(client: TestClient, mark: str, **headers: str) -> int:
    return client.get("/", headers={"if-none-match": mark, **headers}).status_code


def test_a_page_that_did_not_change_is_not_sent_again(client):
    first = client.get("/")
    mark = first.headers["etag"]

    second = client.get("/", headers={"if-none-match": f'"other", {mark}'})
    assert (second.status_code, second.content, second.headers["etag"]) == (304, b"", mark)
    assert second.headers["cache-control"] == first.headers["cache-control"] == "no-cache"
    assert "content-security-policy" in second.headers


def test_a_tick_and_its_undo_change_the_page(client, house):
    form = form_of(client, 3)
    before = client.get("/").headers["etag"]
    client.post("/evening/tick", data=form)
    assert again(client, before) == 200
    ticked = client.get("/").headers["etag"]
    client.post("/evening/untick", data=form)

    assert again(client, ticked) == 200
    assert ticks_of(house.ledger, NIGHT).done == {}


def test_each_page_that_is_sent_has_ids_of_its_own_for_what_its_buttons_make(client):
    assert form_of(client, 3)["entry"] != form_of(client, 3)["entry"]
    assert form_of(client, 3)["key"] == form_of(client, 3)["key"]


def test_another_reader_night_or_address_gets_a_page_of_its_own(client):
    mark = client.get("/").headers["etag"]

    assert again(client, mark, **{"accept-language": "es"}) == 200
    assert again(client, mark, cookie="fruitwall_reads=en.F.ft.lb") == 200
    assert client.get(f"/night/{NIGHT}", headers={"if-none-match": mark}).status_code == 200
    assert again(client, mark) == 304


@pytest.mark.parametrize("change", ["plan", "yard", "clock"])
def test_what_the_page_is_made_of_changes_it(house, change):
    plans, yards, clock = [PLAN], [house.yard()[0]], [NOW]
    settings = WebSettings(
        plan_for=lambda _: plans[-1], yard=lambda: yards[-1], now=lambda: clock[-1], patience_s=120.0, house=house
    )
    client = TestClient(create_app(settings), base_url="http://localhost")
    before = client.get("/")
    assert again(client, before.headers["etag"]) == 304

    if change == "plan":
        plans.append(PLAN.model_copy(update={"verdict": "Everything is different now."}))
    elif change == "yard":
        yards.append(sample_yard(display=FAHRENHEIT))
    else:
        clock.append(NOW + timedelta(minutes=47))
    after = client.get("/", headers={"if-none-match": before.headers["etag"]})

    assert after.status_code == 200
    told = {"plan": "Everything is different now.", "yard": "°F", "clock": "(51\N{NO-BREAK SPACE}min"}[change]
    assert told in after.text
    assert told not in before.text


def test_what_only_the_plan_changes_is_worked_out_once(client, monkeypatch):
    drawn = []
    strip_of = evening.strip_of
    monkeypatch.setattr(evening, "strip_of", lambda *given: drawn.append(1) or strip_of(*given))
    monkeypatch.setattr(evening, "_STEADY", Kept(16))
    first = client.get("/").text
    client.post("/evening/tick", data=form_of(client, 3))
    second = client.get("/").text

    assert drawn == [1]
    assert read_page(first).one(id="night").text == read_page(second).one(id="night").text
    assert "Done 14:00, owner." not in first
    assert "Done 14:00, owner." in second


def test_many_who_come_late_to_a_long_plan_do_not_wait_for_it():
    go, begun = threading.Event(), threading.Event()

    def plan_for(_: object) -> object:
        begun.set()
        assert go.wait(60)
        return sample_plan()

    patience = Patience(plan_for, 0.0)  # type: ignore[arg-type]
    assert patience.plan(None) is None
    assert begun.wait(60)
    patience._seconds = 3600.0  # whoever waited now would wait for an hour
    with ThreadPoolExecutor(8) as many:
        assert list(many.map(patience.plan, [None] * 8, timeout=60)) == [None] * 8
    go.set()
