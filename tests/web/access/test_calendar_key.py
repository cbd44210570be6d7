"""The secret address of a calendar: it opens the feed of tasks and nothing else, and can be ended."""

from __future__ import annotations

import pytest
from icalendar import Calendar

from fruitwall.errors import JournalError
from fruitwall.service import season as season_in
from fruitwall.service.accounts import Preferences
from fruitwall.web.access.pace import AT_ONCE
from tests.web.access.parts import GOOD, logged_in
from tests.web.markup import read_page

OWN, FEED = "/settings/own/calendar", "/season.ics"


@pytest.fixture(autouse=True)
def nothing_to_do(monkeypatch):
    monkeypatch.setattr(season_in, "MAKERS", {})


@pytest.fixture
def secret(people, ana):
    return people.make_calendar(ana, "Ana's phone").secret


def test_the_address_is_shown_once_and_reads_the_feed_without_a_log_in(browser_at, ana, people, house):
    browser = logged_in(browser_at())
    page = read_page(browser.post(OWN, data={"label": "Ana's phone"}).text)
    address = page.one("p", cls="secret").text
    assert address.startswith(f"http://localhost{FEED}?key=fwc_")
    calendar = browser_at(agent="dataaccessd/1.0")
    answer = calendar.get(address.removeprefix("http://localhost"))
    assert answer.status_code == 200
    assert str(Calendar.from_ical(answer.content)["X-WR-CALNAME"])
    again = browser.get(OWN).text
    assert "Ana&#39;s phone" in again
    assert "fwc_" not in again  # neither the secret nor its beginning
    stored = people.calendars(ana.id)[0]
    assert stored.used is not None


def test_it_opens_nothing_else(browser_at, secret):
    calendar = browser_at()
    for path in ("/", "/trees", "/plan.json", "/api/trees", OWN, "/evening/calendar.ics"):
        answer = calendar.get(path, params={"key": secret})
        assert answer.status_code in (303, 401), path
        assert calendar.get(path, headers={"authorization": f"Bearer {secret}"}).status_code == 401
    assert calendar.post(FEED, params={"key": secret}).status_code in (401, 403, 404, 405)


def test_a_wrong_one_gets_no_feed_and_no_log_in_page_also_where_the_browser_is_logged_in(browser_at, ana):
    for browser in (browser_at(), logged_in(browser_at())):
        for key in ("", "fwc_", "fwc_wrong", "fw_" + "x" * 43, "\0"):
            answer = browser.get(FEED, params={"key": key})
            assert answer.status_code == 404
            assert "text/calendar" not in answer.headers["content-type"]


def test_an_ended_one_is_not_good_any_more_and_nobody_ends_that_of_another(browser_at, people, ana, secret):
    people.add("Ben", "viewer", GOOD)
    number = people.calendars(ana.id)[0].id
    logged_in(browser_at(), "Ben").post(f"{OWN}/{number}/end")
    assert browser_at().get(FEED, params={"key": secret}).status_code == 200
    assert logged_in(browser_at()).post(f"{OWN}/{number}/end").status_code == 303
    assert browser_at().get(FEED, params={"key": secret}).status_code == 404


def test_the_address_of_a_closed_account_is_not_good(browser_at, people, ana):
    ben = people.add("Ben", "viewer", GOOD)
    made = people.make_calendar(ben, "phone").secret
    people.close(ben.id)
    assert browser_at().get(FEED, params={"key": made}).status_code == 404


def test_the_feed_is_told_in_the_language_of_the_account(browser_at, people, ana, secret):
    people.set_preferences(ana.id, Preferences(language="es"))
    assert b"//season//ES" in browser_at().get(FEED, params={"key": secret}).content


def test_an_empty_label_is_refused_and_stays_typed(browser_at, people, ana):
    with pytest.raises(JournalError):
        people.make_calendar(ana, " ")
    answer = logged_in(browser_at()).post(OWN, data={"label": "x" * 201})
    assert answer.status_code == 422
    assert "x" * 201 in answer.text


def test_a_label_is_one_line_that_every_database_can_store(people, ana):
    people.make_calendar(ana, " Ana's\0 \n phone\0")
    people.make_token(ana, "viewer", "a\0script")
    assert [one.label for one in people.calendars(ana.id)] == ["Ana's phone"]
    assert [one.label for one in people.tokens(ana.id)] == ["a script"]


def test_it_may_not_ask_without_end(browser_at, secret):
    calendar = browser_at()
    answers = [calendar.get(FEED, params={"key": secret}).status_code for _ in range(AT_ONCE + 1)]
    assert (answers[0], answers[-1]) == (200, 429)
