"""The list of what the season asks for, its ticks, and the calendar that a phone subscribes to."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar

from fruitwall.errors import JournalError
from fruitwall.journal.opening import open_journal
from fruitwall.service.household import Household
from fruitwall.service.ledger import Signed, take_back
from fruitwall.service.season import Part, season_tasks
from fruitwall.service.season_calendar import as_setting, season_calendar, told_before, told_now
from fruitwall.service.season_part import SeasonPart, SeasonTask
from fruitwall.service.season_tasks import done_lately, tick_season, todo
from fruitwall.weather.demo import demo_now
from fruitwall.web.season.page import season_page
from tests.service.past import house_with_past
from tests.web.sample import sample_plan

TODAY = date(2026, 12, 23)
NOW = datetime(2026, 12, 23, 22, 30, tzinfo=UTC)
ZONE = ZoneInfo("America/Los_Angeles")


def task(key: str, due: date = TODAY, **given) -> SeasonTask:
    given = {"part": "water", "trees": ("mango",), "what": f"Water {key}", "why": "It is dry."} | given
    return SeasonTask(key=key, due=due, **given)


@pytest.fixture
def house(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        yield house_with_past(journal, tmp_path, clock=demo_now)


@pytest.fixture
def yard(house):
    return house.yard()[0]


@pytest.fixture
def household(yard):
    return Household(yard.display, ZONE)


def events(written: bytes) -> dict[str, dict]:
    calendar = Calendar.from_ical(written)
    return {str(one["SUMMARY"]): one for one in calendar.walk("VEVENT")}


def test_tasks_are_parted_by_when_they_are_due_and_what_cannot_wait_is_for_today():
    day = timedelta(days=1)
    tasks = [
        task("late", TODAY - day),
        task("now"),
        task("soon", TODAY + 3 * day),
        task("rush", TODAY + 3 * day, urgent=True),
        task("rush-later", TODAY + 3 * day, urgent=True, not_before=TODAY + day),
        task("far", TODAY + 8 * day),
    ]
    found = todo(tasks, [], TODAY)
    assert [one.key for one in found.today] == ["late", "now", "rush"]
    assert [one.key for one in found.week] == ["soon", "rush-later"]
    assert [one.key for one in found.later] == ["far"]


def test_on_one_day_what_cannot_wait_is_first_and_then_the_order_is_that_of_the_parts(yard, household):
    several = {"group": "Water the trees", "deed": "watered"}
    tasks = (
        task("growth:harvest:lime", part="growth", what="Taste"),
        task("water:lime", why="It lacks 3 L.", **several),
        task("water:mango", why="It lacks 5 L.", **several),
        task("recovery:look:lime", part="recovery", urgent=True, what="Look"),
    )
    part = SeasonPart("water", "Water", "", tasks=tasks)
    assert [one.key for one in season_tasks([part])] == [
        "recovery:look:lime", "water:lime", "water:mango", "growth:harvest:lime"
    ]  # fmt: skip
    page = season_page([Part("water", "Water", part)], household, NOW, yard)
    assert [one.what for one in page.tasks] == ["Look", "Water the trees", "Taste"]
    assert [one.why for one in page.tasks] == ["It is dry.", "", "It is dry."]  # what one tree lacks is not said of two


def test_a_tick_is_a_deed_once_and_can_be_taken_back(house):
    signed = Signed("Ana", "phone", house.clock())
    number = str(uuid4())
    for _ in range(2):
        tick_season(house, "watered", ["mango", "lime"], minutes=9.0, signed=signed, number=number)
    done = done_lately(house)
    assert [(one.deed.what, one.trees, one.deed.minutes, one.undo) for one in done] == [
        ("watered", ("mango", "lime"), 9.0, True)
    ]
    asked = [task("a", deed="watered"), task("b", trees=("twin",), deed="watered"), task("c", deed="pruned"), task("d")]
    assert [one.key for one in todo(asked, done, TODAY).today] == ["b", "c", "d"]
    take_back(house.ledger, number, signed=signed)
    assert done_lately(house) == []


def test_what_cannot_be_ticked_is_refused_and_nothing_stored(house):
    signed = Signed("Ana", "phone", house.clock())
    with pytest.raises(JournalError, match="nothing that can be ticked"):
        tick_season(house, "dance", ["mango"], minutes=None, signed=signed, number=str(uuid4()))
    with pytest.raises(JournalError, match="no tree “palm”"):
        tick_season(house, "watered", ["palm"], minutes=None, signed=signed, number=str(uuid4()))
    assert done_lately(house) == []


def test_an_event_is_of_whole_days_keeps_its_name_and_rings_only_where_it_cannot_wait(yard, household):
    soon = TODAY + timedelta(days=2)
    asked = [
        task("water:mango", soon, not_before=TODAY, otherwise="Dry.", steps=("Open the tap.",), cautions=("Heed.",)),
        task("feed", urgent=True),
    ]
    told = told_now({}, asked, NOW, TODAY)
    found = events(season_calendar(asked, told, yard, household))
    event = found["Water water:mango"]
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (TODAY, soon + timedelta(days=1))
    assert type(event["DTSTART"].dt) is date
    assert str(event["DESCRIPTION"]).splitlines() == ["It is dry.", "If not: Dry.", "1. Open the tap.", "Heed."]
    assert (len(event.walk("VALARM")), len(found["Water feed"].walk("VALARM"))) == (0, 1)
    assert found["Water feed"].walk("VALARM")[0]["TRIGGER"].dt == timedelta(hours=8)


def test_the_feed_is_the_same_to_the_byte_while_nothing_changes(yard, household):
    asked = [task("a"), task("b")]
    told = told_now({}, asked, NOW, TODAY)
    again = told_now(told_before(as_setting(told)), asked[::-1], NOW + timedelta(hours=5), TODAY)
    assert again == told
    assert season_calendar(asked, told, yard, household) == season_calendar(asked[::-1], again, yard, household)


def test_a_task_that_moves_keeps_its_name_with_a_higher_number_and_one_that_is_gone_is_cancelled_for_a_month(
    yard, household
):
    asked = [task("a"), task("b")]
    first = told_now({}, asked, NOW, TODAY)
    before = events(season_calendar(asked, first, yard, household))
    moved = [replace(asked[0], due=TODAY + timedelta(days=1))]
    second = told_now(first, moved, NOW + timedelta(hours=1), TODAY)
    after = events(season_calendar(moved, second, yard, household))
    assert after["Water a"]["UID"] == before["Water a"]["UID"]
    assert (before["Water a"]["SEQUENCE"], after["Water a"]["SEQUENCE"]) == (0, 1)
    cancelled = after["No longer to do: Water b"]
    assert (cancelled["STATUS"], cancelled["UID"], cancelled["SEQUENCE"]) == ("CANCELLED", before["Water b"]["UID"], 1)
    assert not cancelled.walk("VALARM")
    assert set(told_now(second, moved, NOW + timedelta(days=30), TODAY)) == {"a", "b"}
    assert set(told_now(second, moved, NOW + timedelta(days=40), TODAY)) == {"a"}
    back = told_now(second, asked, NOW + timedelta(hours=2), TODAY)
    assert (back["b"].gone, back["b"].sequence) == (False, 2)


def test_a_part_that_cannot_be_worked_out_neither_takes_its_tasks_back_nor_keeps_the_others_from_being_told(
    yard, household
):
    before = told_now({}, [task("water:mango"), task("heat:mango", part="heat")], NOW, TODAY)
    later = [task("growth:mango", part="growth")]
    told = told_now(before, later, NOW + timedelta(hours=1), TODAY, silent={"water"})
    assert told["water:mango"] == before["water:mango"]
    assert [key for key, one in told.items() if one.gone] == ["heat:mango"]
    shown = events(season_calendar(later, told_before(as_setting(told)), yard, household))
    assert {name: str(one["STATUS"]) for name, one in shown.items()} == {
        "Water water:mango": "CONFIRMED",
        "Water growth:mango": "CONFIRMED",
        "No longer to do: Water heat:mango": "CANCELLED",
    }


def test_tonights_tasks_stand_in_the_same_calendar(yard, household):
    plan = sample_plan()
    whole = Calendar.from_ical(
        season_calendar([task("a")], told_now({}, [task("a")], NOW, TODAY), yard, household, plan)
    )
    assert len(list(whole.walk("VEVENT"))) > 1
    assert len({str(one["UID"]) for one in whole.walk("VEVENT")}) == len(list(whole.walk("VEVENT")))


@pytest.mark.parametrize("setting", [None, [], {"a": 1}, {"a": {"first": "x"}}])
def test_what_was_told_and_cannot_be_read_counts_as_never_told(setting):
    assert told_before(setting) == {}


def test_a_long_span_is_one_day_first_when_it_may_be_begun_and_later_when_it_is_due(yard, household):
    day = timedelta(days=1)
    asked = [task("pick", TODAY + 60 * day, not_before=TODAY - 20 * day), task("bloom", TODAY + 40 * day,
                                                                             not_before=TODAY + 9 * day)]  # fmt: skip
    first = told_now({}, asked, NOW, TODAY)
    assert [(first[key].first, first[key].last) for key in ("pick", "bloom")] == [
        (TODAY, TODAY),
        (TODAY + 9 * day, TODAY + 9 * day),
    ]
    later = told_now(first, asked, NOW + 6 * day, TODAY + 6 * day)
    assert later == first  # it does not move from day to day
    due = told_now(later, asked, NOW + 7 * day, TODAY + 7 * day)
    assert (due["pick"].first, due["pick"].sequence, due["bloom"]) == (TODAY + 60 * day, 1, first["bloom"])
    assert told_now(due, asked, NOW + 9 * day, TODAY + 9 * day) == due
    words = str(events(season_calendar(asked, first, yard, household))["Water pick"]["DESCRIPTION"])
    assert "From Thu 3 Dec to Sun 21 Feb." in words
