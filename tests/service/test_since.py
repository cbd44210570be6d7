"""From when each thing that is done counts, tree by tree, and what the morning makes of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from inspect import signature
from types import SimpleNamespace

import pytest

from fruitwall.physics.body import Body
from fruitwall.physics.night import simulate
from fruitwall.physics.treatment import LEAVE, Treatment
from fruitwall.service.evening import evenings_ahead
from fruitwall.service.evening_document import DoneTask, StandingPart
from fruitwall.service.outlook import STEP, Situation, finished_since
from fruitwall.service.since import nights_of_trees
from fruitwall.service.venting import venting_of
from tests.physics.nights import LAST, frost_weather, open_spot
from tests.yard.yards import a_yard

FILM = Treatment("film", cover="film_polyethylene", on_frame=True)
THREE = datetime(2026, 12, 21, 23, tzinfo=UTC)
TEN = THREE + timedelta(hours=7)
WEATHER = frost_weather(members=6, high=22.0)


def part(key: str, *, stays: bool = False) -> SimpleNamespace:
    return SimpleNamespace(key=key, stays=stays, minutes_again=0.0)


def measure(*parts: SimpleNamespace) -> SimpleNamespace:
    return SimpleNamespace(all_parts=parts)


def situation(now: datetime, *measures: SimpleNamespace, done=(), standing=()) -> Situation:
    """Build trees in the open, each left alone or under film by one measure."""
    yard = a_yard()
    evening = evenings_ahead(yard.location, WEATHER, LAST.name, 1, now)[0]
    count = len(measures)
    return Situation(
        yard=yard, forcing=WEATHER, evenings=(evening,), kinds=(), tolerances=(),
        measures=tuple((measure(), one) for one in measures),
        spots=(open_spot(sky=1.0),) * count, bodies=(Body(),) * count, treatments=((LEAVE, FILM),) * count, faces=(),
        done=tuple(DoneTask(key=key, what=key, at=at) for key, at in done), standing=standing,
    )  # fmt: skip


def test_each_tree_counts_from_its_own_tick_and_what_is_not_done_from_now() -> None:
    early, late = THREE + timedelta(hours=3), THREE + timedelta(hours=6, minutes=20)
    its = situation(
        TEN, *(measure(part(f"cover@{tree}")) for tree in "abc"), done=[("cover@a", early), ("cover@b", late)]
    )
    first, second, third = (night.cover_on_utc for night in nights_of_trees(its, [1, 1, 1]))

    assert first == early
    assert second == late + timedelta(minutes=10)  # the next step of the physics
    assert third == its.evenings[0].night.cover_on_utc > second
    assert nights_of_trees(its, [0, 0, 0]) == [its.evenings[0].night] * 3


def test_a_treatment_counts_from_its_last_part_and_before_sunset_from_sunset() -> None:
    lamps = measure(part("cover@a"), part("lamps@a"))
    both = [("cover@a", THREE + timedelta(minutes=5)), ("lamps@a", THREE + timedelta(hours=4))]
    assert set(finished_since(situation(TEN, lamps, done=both))) == {THREE + timedelta(hours=4)}
    assert finished_since(situation(TEN, lamps, done=both[:1])) == {}

    its = situation(TEN, measure(part("cover@a")), done=both[:1])
    assert set(finished_since(its)) == {its.evenings[0].sunset}


def test_the_step_is_that_of_the_physics() -> None:
    assert timedelta(minutes=signature(simulate).parameters["step_minutes"].default) == STEP


def test_what_stands_since_an_earlier_night_counts_from_sunset() -> None:
    stands = StandingPart(key="frame@a", what="frame", since=LAST.name - timedelta(days=1))
    its = situation(TEN, measure(part("frame@a", stays=True)), standing=(stands,))
    assert set(finished_since(its)) == {its.evenings[0].sunset}
    assert finished_since(replace(its, measures=((measure(), measure(part("frame@a"))),))) == {}


def test_the_morning_is_that_of_the_cover_as_it_went_on() -> None:
    closed = [("cover@a", THREE + timedelta(hours=1))]
    at_sunset, at_ten = (
        venting_of(situation(TEN, measure(part("cover@a")), done=done), [1])[0] for done in (closed, ())
    )
    planned = venting_of(situation(THREE, measure(part("cover@a"))), [1])[0]

    assert at_sunset is not None
    assert planned is not None
    assert at_ten is not None
    assert at_sunset.warmest_c == pytest.approx(planned.warmest_c, abs=1e-4)
    assert at_sunset.open_by == planned.open_by
    assert at_ten.warmest_c != pytest.approx(planned.warmest_c, abs=1e-3)
