"""Which hours make a night."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from fruitwall.errors import PlanError
from fruitwall.service.nights import SETTING_UP, evening_of, tonight
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
    [(3, date(2026, 12, 22)), (7, date(2026, 12, 22)), (9, date(2026, 12, 23)), (23, date(2026, 12, 23))],
)
def test_tonight_is_the_running_night_until_covers_come_off(hour: int, day: date) -> None:
    now = datetime(2026, 12, 23, hour, 30, tzinfo=ZoneInfo("America/Los_Angeles"))

    assert tonight(RIVERSIDE, now) == day


def test_before_sunset_covers_go_on_at_sunset_and_people_have_until_then() -> None:
    now = datetime(2026, 12, 22, 15, 45, tzinfo=ZoneInfo("America/Los_Angeles"))
    evening = evening_of(RIVERSIDE, date(2026, 12, 22), now)

    assert evening.night.cover_on_utc == evening.sunset
    assert 55 < evening.minutes_left() < 62
    assert evening.deadline("before_dusk") == evening.sunset


@pytest.mark.parametrize("hour", [17, 23, 3])
def test_once_it_is_dark_nothing_can_have_been_done_before_now(hour: int) -> None:
    day = 23 if hour < 12 else 22
    now = datetime(2026, 12, day, hour, 30, tzinfo=ZoneInfo("America/Los_Angeles"))
    evening = evening_of(RIVERSIDE, date(2026, 12, 22), now)

    assert evening.dark
    assert evening.night.cover_on_utc == now + SETTING_UP
    assert evening.deadline("before_sun_leaves") >= now + SETTING_UP
    assert evening.minutes_left() >= 60


def test_after_sunrise_nobody_has_time_left_for_the_night_that_is_over() -> None:
    now = datetime(2026, 12, 23, 7, 30, tzinfo=ZoneInfo("America/Los_Angeles"))

    assert evening_of(RIVERSIDE, date(2026, 12, 22), now).minutes_left() == 0


@pytest.mark.parametrize(
    ("zone", "latitude", "longitude"),
    [("Asia/Kolkata", 28.6, 77.2), ("Asia/Kathmandu", 27.7, 85.3), ("Australia/Adelaide", -34.9, 138.6)],
)
def test_in_zones_off_the_full_hour_forecasts_are_asked_to_the_next_full_hour(
    zone: str, latitude: float, longitude: float
) -> None:
    place = Location(latitude_deg=latitude, longitude_deg=longitude, elevation_m=100, time_zone=zone)
    evening = evening_of(place, date(2026, 7, 10))

    assert evening.end_hour.minute == 0
    assert timedelta(0) < evening.end_hour - evening.night.end_utc < timedelta(hours=1)


@pytest.mark.parametrize(
    ("name", "zone", "latitude", "longitude", "day"),
    [
        ("late sunrise", "Atlantic/Reykjavik", 64.1, -21.9, date(2026, 12, 20)),
        ("polar night", "Europe/Oslo", 69.6, 18.9, date(2026, 12, 20)),
        ("no civil night", "Europe/Oslo", 63.4, 10.4, date(2026, 6, 15)),
    ],
)
def test_far_from_the_equator_there_is_still_a_night_to_plan(
    name: str, zone: str, latitude: float, longitude: float, day: date
) -> None:
    place = Location(latitude_deg=latitude, longitude_deg=longitude, elevation_m=10, time_zone=zone)
    evening = evening_of(place, day)

    assert evening.night.start_utc < evening.sunset < evening.sunrise < evening.night.end_utc, name
    assert evening.night.cover_off_utc <= evening.night.end_utc


def test_a_longitude_of_the_wrong_sign_is_told_as_such() -> None:
    wrong = Location(latitude_deg=33.95, longitude_deg=117.4, elevation_m=260, time_zone="America/Los_Angeles")

    with pytest.raises(PlanError, match="west is negative"):
        evening_of(wrong, date(2026, 12, 22))


def test_where_the_sun_does_not_set_there_is_no_night_to_plan() -> None:
    north = Location(latitude_deg=78.2, longitude_deg=15.6, elevation_m=10, time_zone="Europe/Oslo")

    with pytest.raises(PlanError, match=r"78\.2"):
        evening_of(north, date(2026, 6, 21))
