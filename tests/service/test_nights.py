"""Which hours make a night."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from fruitwall.errors import PlanError
from fruitwall.service.nights import evening_of, tonight
from fruitwall.yard.model import Location

RIVERSIDE = Location(latitude_deg=33.95, longitude_deg=-117.4, elevation_m=260, time_zone="America/Los_Angeles")


def test_a_night_runs_from_local_noon_to_local_noon() -> None:
    night = evening_of(RIVERSIDE, date(2026, 12, 22)).night

    assert night.start_utc == datetime(2026, 12, 22, 20, tzinfo=UTC)
    assert night.end_utc == datetime(2026, 12, 23, 20, tzinfo=UTC)


def test_the_night_in_which_clocks_go_forward_is_an_hour_shorter() -> None:
    # Daylight-saving time began on 8 March 2026 in the United States (second Sunday of March; Energy Policy Act 2005).
    night = evening_of(RIVERSIDE, date(2026, 3, 7)).night

    assert night.end_utc - night.start_utc == timedelta(hours=23)


def test_sunset_and_sunrise_are_those_of_the_almanac() -> None:
    # US Naval Observatory convention (centre of the sun 50' below the horizon). For Riverside, California, tables give
    # sunset 16:43-16:44 on 22 December and sunrise 06:51-06:52 on the 23rd, Pacific time (from memory).
    evening = evening_of(RIVERSIDE, date(2026, 12, 22))
    zone = ZoneInfo("America/Los_Angeles")

    assert abs(evening.sunset.astimezone(zone) - datetime(2026, 12, 22, 16, 44, tzinfo=zone)) < timedelta(minutes=2)
    assert abs(evening.sunrise.astimezone(zone) - datetime(2026, 12, 23, 6, 52, tzinfo=zone)) < timedelta(minutes=2)


def test_deadlines_come_in_their_order() -> None:
    evening = evening_of(RIVERSIDE, date(2026, 12, 22))

    moments = [
        evening.sun_leaves,
        evening.sunset,
        evening.night.dusk_utc,
        evening.bedtime,
        evening.night.dawn_utc,
        evening.sunrise,
        evening.uncover,
    ]
    assert moments == sorted(moments)
    assert len(set(moments)) == len(moments)


@pytest.mark.parametrize(
    ("hour", "day"),
    [(3, date(2026, 12, 22)), (11, date(2026, 12, 22)), (12, date(2026, 12, 23)), (23, date(2026, 12, 23))],
)
def test_tonight_is_the_running_night_until_noon(hour: int, day: date) -> None:
    now = datetime(2026, 12, 23, hour, 30, tzinfo=ZoneInfo("America/Los_Angeles"))

    assert tonight(RIVERSIDE, now) == day


def test_where_the_sun_does_not_set_there_is_no_night_to_plan() -> None:
    north = Location(latitude_deg=78.2, longitude_deg=15.6, elevation_m=10, time_zone="Europe/Oslo")

    with pytest.raises(PlanError, match=r"78\.2"):
        evening_of(north, date(2026, 6, 21))
