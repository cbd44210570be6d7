"""Many winters for programs."""

from __future__ import annotations

from collections.abc import Callable
from threading import Event

import pytest
from starlette.testclient import TestClient

from fruitwall.errors import JournalError
from fruitwall.service import winters as service
from fruitwall.service.house import House
from fruitwall.service.winters import PARTS
from fruitwall.service.winters_document import WintersDocument
from fruitwall.service.work import Progress, Stopped
from fruitwall.web.winters.runner import Runner
from tests.service.many_winters import winters_file, winters_house

__all__ = ["winters_file", "winters_house"]

LONG = 20.0


@pytest.fixture
def runner(monkeypatch) -> Runner:
    """The one of the next application."""
    made = Runner()
    monkeypatch.setattr("fruitwall.web.app.Runner", lambda: made)
    monkeypatch.setattr("fruitwall.web.api.working.PATIENCE_S", 0.0)
    return made


@pytest.fixture
def client(client_of: Callable[..., TestClient], winters_house: House, runner: Runner, monkeypatch) -> TestClient:
    monkeypatch.setattr(service, "part_mark", lambda _house, part, choice: f"{part} {choice}")
    return client_of(house=winters_house)


def test_which_winters_there_are(client):
    document = WintersDocument.model_validate(client.get("/api/winters?winters=5").json())

    assert [one.name for one in document.winters] == ["2017/18", "2018/19", "2019/20", "2020/21", "2021/22"]
    assert [one.key for one in document.parts] == [one.key for one in PARTS]


def test_a_part_is_begun_told_of_and_given(client, runner, monkeypatch, winters_house):
    from fruitwall.service.winters_weather import winter_weather
    from fruitwall.service.winters_years import document_of

    begun, go = Event(), Event()
    weather = winter_weather(winters_house)
    document = document_of("Small yard", weather, None)

    def part_document(_house, _part, _choice, *, heard, stop):
        heard(Progress(0.25, 90.0, "Years"))
        begun.set()
        assert go.wait(LONG)
        return document

    monkeypatch.setattr(service, "part_document", part_document)
    client.get("/api/winters/years")
    assert begun.wait(LONG)
    waiting = client.get("/api/winters/years")
    page = client.get("/winters").text
    go.set()
    runner.wait(service.part_mark(None, "years", service.AS_THEY_WERE), LONG)
    done = client.get("/api/winters/years")

    assert (waiting.status_code, waiting.headers["retry-after"]) == (202, "5")
    left_s = waiting.json()["left_s"]
    assert waiting.json() == {"state": "running", "share": 0.25, "left_s": left_s}
    assert 60.0 < left_s <= 90.0  # it runs down
    assert "Years: 25 % done." in page
    assert done.status_code == 200
    assert done.json()["winters"][0]["name"] == "2010/11"
    assert done.json()["air"]["coldest_c"] == document.air.coldest_c


@pytest.mark.parametrize("unmeant", [{"sec-fetch-site": "cross-site"}, {"sec-purpose": "prefetch;prerender"}])
def test_pages_of_other_sites_and_precaution_begin_nothing(client, monkeypatch, unmeant):
    begun, go = Event(), Event()

    def part_document(*_asked, **_told):
        begun.set()
        assert go.wait(LONG)  # one that were done at once would be answered with what it gave

    monkeypatch.setattr(service, "part_document", part_document)

    answer = client.get("/api/winters/gear", headers=unmeant)

    assert (answer.status_code, answer.json()["state"]) == (202, "unknown")
    assert not begun.is_set()
    assert client.get("/api/winters/gear", headers={"sec-fetch-site": "same-origin"}).json()["state"] != "unknown"
    go.set()


def test_an_error_is_told_once_and_tried_again(client, runner, monkeypatch):
    made, go = [], Event()

    def part_document(*_asked, **_told):
        made.append(1)
        assert go.wait(LONG)
        raise JournalError("the disk is full")

    monkeypatch.setattr(service, "part_document", part_document)
    key = service.part_mark(None, "gear", service.AS_THEY_WERE)
    assert client.get("/api/winters/gear").status_code == 202
    go.set()
    runner.wait(key, LONG)
    told = client.get("/api/winters/gear")
    assert told.status_code == 422
    assert told.json()["problems"] == ["the disk is full"]
    client.get("/api/winters/gear")
    runner.wait(key, LONG)

    assert made == [1, 1]


def test_what_somebody_stopped_is_not_begun_by_whoever_asks_again(client, runner, monkeypatch):
    begun, go = Event(), Event()

    def part_document(_house, _part, _choice, *, heard, stop):
        begun.set()
        assert go.wait(LONG)
        if stop():
            raise Stopped

    monkeypatch.setattr(service, "part_document", part_document)
    key = service.part_mark(None, "search", service.AS_THEY_WERE)
    client.get("/api/winters/search")
    assert begun.wait(LONG)
    runner.stop(key)
    go.set()
    runner.wait(key, LONG)

    assert client.get("/api/winters/search").json()["state"] == "stopped"
    assert client.get("/api/winters/search").json()["state"] == "stopped"


def test_without_winters_and_with_an_impossible_choice_it_is_refused(client_of, house):
    client = client_of(house=house)

    assert client.get("/api/winters/years").status_code == 404
    assert "No whole winter" in client.get("/api/winters/years").json()["detail"]
    assert client.get("/api/winters/nothing").status_code == 422
    assert client.get("/api/winters?warmer=1e9").status_code == 422
    assert client.get("/api/winters").json()["source"] is None
