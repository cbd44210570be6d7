"""Tests of the checklist: by when things must be begun."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from fruitwall.plans.parts import Part, Way
from fruitwall.plans.problem import PlannedTask
from fruitwall.service.household import Household
from fruitwall.service.nights import Evening, evening_of
from fruitwall.service.tasks import latest_starts
from fruitwall.service.words import start_words
from fruitwall.yard.model import Display, Location

VALENCIA = Location(latitude_deg=39.5, longitude_deg=-0.4, elevation_m=20.0, time_zone="Europe/Madrid")
NOON = datetime(2026, 1, 10, 12, tzinfo=UTC)


def evening(now: datetime = NOON) -> Evening:
    """Give a January evening in Valencia: the sun sets at 17:56 by the clock and leaves the ground an hour earlier."""
    return evening_of(VALENCIA, date(2026, 1, 10), now)


def watering(tree: str, minutes: float, person: str = "ana") -> PlannedTask:
    """Give the task of wetting the ground under a tree."""
    way = Way((person,), minutes)
    part = Part(f"wet@{tree}", "wet", "wet", (tree,), (way,), stays=False, deadline="before_sun_leaves")
    return PlannedTask(0, part, way, again=False)


def test_watering_must_begin_its_own_minutes_before_the_sun_leaves_the_ground():
    its = evening()
    assert latest_starts([watering("lime", 20.0)], its) == {"wet@lime": its.sun_leaves - timedelta(minutes=20)}


def test_who_waters_two_trees_begins_the_first_before_the_minutes_of_both():
    its = evening()
    found = latest_starts([watering("lime", 20.0), watering("fig", 15.0), watering("guava", 30.0, "luis")], its)
    assert found["wet@fig"] == its.sun_leaves - timedelta(minutes=15)
    assert found["wet@lime"] == found["wet@fig"] - timedelta(minutes=20)
    assert found["wet@guava"] == its.sun_leaves - timedelta(minutes=30)


def test_no_start_lies_in_the_past_and_other_tasks_have_none():
    its = evening(evening().sun_leaves - timedelta(minutes=10))
    cover = PlannedTask(
        0, Part("cover@fig", "cover", "cover", ("fig",), (Way(("ana",), 9.0),)), Way(("ana",), 9.0), False
    )
    assert latest_starts([watering("lime", 20.0), cover], its) == {"wet@lime": its.begins}


def test_the_step_tells_both_hours_by_the_clock():
    its = evening()
    household = Household(Display(), ZoneInfo("Europe/Madrid"))
    text = start_words(its.sun_leaves - timedelta(minutes=20), its.sun_leaves, household)
    leaves = its.sun_leaves.astimezone(ZoneInfo("Europe/Madrid"))
    assert f"Start by {leaves - timedelta(minutes=20):%H:%M}" in text
    assert f"at {leaves:%H:%M}" in text
