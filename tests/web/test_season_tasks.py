"""The page of all tasks, its ticks, and the calendar with its secret address."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from uuid import uuid4

import pytest
from icalendar import Calendar
from starlette.testclient import TestClient

from fruitwall.service import season as season_in
from fruitwall.service.house import House
from fruitwall.service.season_part import SeasonPart, SeasonTask
from tests.web.markup import read_page
from tests.web.sample import NOW, sample_yard

PAGE, FEED, OWN = "/season/tasks", "/season.ics", "/settings/own/calendar"
TREE = sample_yard().trees[0]
TODAY = NOW.date()


@pytest.fixture(autouse=True)
def parts(monkeypatch: pytest.MonkeyPatch) -> list[SeasonTask]:
    """One part that asks for these tasks."""
    tasks = [
        SeasonTask(
            f"water:{TREE.id}", "water", (TREE.id,), "Water it: 18 L", "It is dry.", TODAY, minutes=9.0,
            otherwise="It wilts.", steps=("Open the tap.",), cautions=("Heed this.",), deed="watered", urgent=True,
        ),
        SeasonTask("growth:look", "growth", (), "Look for buds", "They open soon.", TODAY + timedelta(days=20)),
    ]  # fmt: skip
    monkeypatch.setattr(season_in, "MAKERS", {"water": ""})
    told = lambda *_: SeasonPart("water", "Water", "Dry.", tasks=tuple(tasks))  # noqa: E731
    monkeypatch.setattr(season_in, "season_part", told)
    return tasks


@pytest.fixture
def client(client_of: Callable[..., TestClient], house: House) -> TestClient:
    return client_of(house=house)


def ticked(client: TestClient, number: str = "", **changes: object):
    form = {"entry": number, "deed": "watered", "tree": TREE.id, "minutes": "9"} | changes
    return client.post(f"{PAGE}/tick", data=form, follow_redirects=False)


def test_tasks_stand_under_when_they_are_due_with_what_why_and_what_if_not(client):
    page = read_page(client.get(PAGE).text)
    assert [one.text for one in page.all("h2")] == ["Today", "Later", "In your calendar"]
    first = next(page.one("main").all("li"))
    for words in ("Water it: 18 L", "Cannot wait", "It is dry.", "If not: It wilts.", "Open the tap.", "Heed this."):
        assert words in first.text
    assert len(list(page.all("form"))) == 1  # what is no deed cannot be ticked


def test_a_tick_is_entered_once_is_off_the_list_and_can_be_taken_back(client, house):
    number = str(uuid4())
    for _ in range(2):
        assert ticked(client, number).status_code == 303
    deeds = house.ledger.current(kind="deed")
    assert [(one.id, one.tree) for one in deeds] == [(number, TREE.id)]
    page = read_page(client.get(PAGE).text)
    assert "Water it" not in page.one("main").text
    assert f"Watered: {TREE.name}" in page.one("main").text
    assert client.post(f"{PAGE}/untick", data={"entry": number}, follow_redirects=False).status_code == 303
    assert house.ledger.current(kind="deed") == []
    assert "Water it" in client.get(PAGE).text
    assert client.post(f"{PAGE}/untick", data={"entry": number}, follow_redirects=False).status_code == 303


def test_what_cannot_be_ticked_is_told_and_stores_nothing(client, house):
    for changes in ({"deed": "dance"}, {"tree": "palm"}, {"minutes": "-1"}, {"entry": "x"}):
        answer = ticked(client, **{"number": str(uuid4())} | changes)
        assert answer.status_code == 422
    assert house.ledger.current(kind="deed") == []


def test_the_list_of_before_is_shown_while_a_new_one_is_made(client_of, house, monkeypatch):
    from threading import Event

    done = Event()
    client = client_of(house=house, patience_s=0.3)
    assert client.get(PAGE).status_code == 200
    monkeypatch.setattr(season_in, "season_part", lambda *_: done.wait(20) and None)
    page = client.get(PAGE)
    done.set()
    assert page.status_code == 200
    assert "worked out anew" in page.text
    assert page.headers["refresh"]
    assert "Look for buds" in page.text


def test_the_feed_tells_all_tasks_and_is_not_sent_again_while_nothing_changes(client, parts, house):
    before = house.journal.state()
    answer = client.get(FEED)
    assert house.journal.state() == before  # a calendar that reads makes nothing anew
    assert answer.headers["content-type"].startswith("text/calendar")
    assert {str(one["SUMMARY"]) for one in Calendar.from_ical(answer.content).walk("VEVENT")} == {
        "Water it: 18 L",
        "Look for buds",
    }
    assert client.get(FEED, headers={"if-none-match": answer.headers["etag"]}).status_code == 304
    del parts[0]
    gone = [one for one in Calendar.from_ical(client.get(FEED).content).walk("VEVENT") if one["STATUS"] == "CANCELLED"]
    assert [str(one["SUMMARY"]) for one in gone] == ["No longer to do: Water it: 18 L"]


def test_without_accounts_the_page_of_calendars_says_what_is_needed(client):
    page = client.get(OWN).text
    assert "/season.ics" in page
    assert "make an owner’s account first" in page
    assert client.post(OWN, data={"label": "x"}).status_code == 403


def test_the_pages_speak_spanish(client):
    text = client.get(PAGE, headers={"accept-language": "es"}).text
    assert "Tasks of the season" not in text
    assert "Cannot wait" not in text
