"""By when a cover must be open in the morning."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from fruitwall.physics.body import Body
from fruitwall.physics.treatment import LEAVE, Treatment
from fruitwall.service.evening import evenings_ahead
from fruitwall.service.household import Household
from fruitwall.service.outlook import Situation
from fruitwall.service.tasks import _hottest, _open_by
from fruitwall.service.venting import HOT_UNDER_COVER_C, Venting, venting_of
from fruitwall.service.words import vent_by
from fruitwall.yard.model import Display
from tests.physics.nights import LAST, frost_weather, open_spot
from tests.yard.yards import a_yard

FILM = Treatment("film", cover="film_polyethylene", on_frame=True)
THREE = datetime(2026, 12, 21, 23, tzinfo=UTC)
"""Three in the afternoon of the evening that is planned."""

WEATHER = frost_weather(members=8, high=22.0)


def situation(*treatments: Treatment, weather=WEATHER, body: Body | None = None) -> Situation:
    """Build a situation of one tree per treatment, in the open."""
    yard = a_yard()
    evening = evenings_ahead(yard.location, weather, LAST.name, 1, THREE)[0]
    count = len(treatments)
    return Situation(
        yard=yard, forcing=weather, evenings=(evening,), kinds=(), tolerances=(), measures=(),
        spots=(open_spot(sky=1.0),) * count, bodies=(body or Body(),) * count,
        treatments=tuple((LEAVE, treatment) for treatment in treatments), faces=(),
    )  # fmt: skip


def test_a_film_in_the_sun_must_be_open_hours_before_noon() -> None:
    its = situation(FILM)
    (found,) = venting_of(its, [1])

    assert found is not None
    assert found.open_by is not None
    assert its.evenings[0].sunrise <= found.open_by < its.evenings[0].night.end_utc - timedelta(hours=1)
    assert found.warmest_c > HOT_UNDER_COVER_C + 3


def test_until_the_hour_told_the_leaves_stay_below_the_limit_and_soon_after_they_do_not() -> None:
    from fruitwall.physics.night import simulate

    its = situation(FILM)
    found = venting_of(its, [1])[0]
    assert found is not None
    assert found.open_by is not None
    night = replace(its.evenings[0].night, cover_off_utc=its.evenings[0].night.end_utc)
    result = simulate(
        its.forcing.select(its.forcing.start_utc, its.evenings[0].end_hour), its.spots, its.bodies, [[FILM]], [night],
        keep_series=True, clear_night_offset_k=its.yard.location.clear_night_offset_k,
        soil=its.yard.ground.soil, moisture=its.yard.ground.moisture,
    )  # fmt: skip
    assert result.series is not None
    assert result.time_utc is not None
    warm = np.percentile(result.series["leaf"][0, 0], 90, axis=0)
    at = int(np.flatnonzero(result.time_utc == np.datetime64(found.open_by.replace(tzinfo=None)))[0])
    assert warm[at] <= HOT_UNDER_COVER_C < warm[at + 1]


def test_more_members_in_the_sun_do_not_make_it_later() -> None:
    cloudy = frost_weather(members=8, high=22.0, cloud=1.0)
    sunny, dull = (venting_of(situation(FILM, weather=weather), [1])[0] for weather in (WEATHER, cloudy))
    assert sunny is not None
    assert dull is not None
    assert sunny.warmest_c > dull.warmest_c


def test_a_cool_grey_morning_gives_no_hour() -> None:
    found = venting_of(situation(FILM, weather=frost_weather(members=4, high=4.0, cloud=1.0)), [1])[0]
    assert found is not None
    assert found.open_by is None


def test_what_is_open_or_stays_on_by_day_is_not_asked() -> None:
    stays = Treatment("cloth", cover="fleece_medium", stays_by_day=True)
    assert venting_of(situation(FILM, stays), [0, 1]) == [None, None]


def test_of_a_leafless_tree_the_air_counts() -> None:
    found = venting_of(situation(FILM, body=Body(leaf_area_index=0.0)), [1])[0]
    assert found is not None
    assert np.isfinite(found.warmest_c)


def test_more_than_a_handful_of_trees_are_told_in_their_order() -> None:
    cloth = Treatment("cloth", cover="fleece_medium")
    mixed = [FILM, cloth, LEAVE] * 4
    found = venting_of(situation(*mixed), [1] * 12)
    assert [one is None for one in found] == [False, False, True] * 4
    assert found[0] == pytest.approx(found[3]) if found[0] is None else found[0] == found[3] == found[9]
    assert found[0] != found[1]


def test_under_one_cover_the_earliest_hour_and_the_warmest_tree_count() -> None:
    early, late = (datetime(2026, 12, 22, hour, tzinfo=UTC) for hour in (17, 18))
    its = situation(FILM).evenings[0]
    joined = _hottest([Venting(late, 41.0), None, Venting(early, 33.0), Venting(None, 29.0)])
    assert joined == Venting(early, 41.0)
    assert _open_by(joined, its) == early
    assert _hottest([None]) is None
    assert _open_by(None, its) == _open_by(Venting(None, 20.0), its) == its.night.end_utc


def test_the_step_names_hour_limit_and_height() -> None:
    household = Household(Display(temperature="C"), ZoneInfo("America/Los_Angeles"))
    said = vent_by(datetime(2026, 12, 22, 17, 45, tzinfo=UTC), 37.2, HOT_UNDER_COVER_C, household)
    assert said.replace("\N{NO-BREAK SPACE}", " ") == (
        "Open by 09:45 at the latest: in full sun its leaves could pass 30.0 °C from then on, "
        "and reach 37.2 °C by noon."
    )
