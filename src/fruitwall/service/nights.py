"""Which hours make a night: windows and deadlines by the yard's own sun and clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fruitwall.errors import PlanError
from fruitwall.physics.treatment import Night
from fruitwall.yard.model import Location

NOON = time(12)
BEDTIME = time(22)
"""Deadline of what can still be done before bed. An assumption, until people have hours of their own."""

UNCOVER_AFTER_SUNRISE = timedelta(hours=1.5)
"""When covers come off, after sunrise: the leaf has thawed and the air is above the night's. Common practice, no
source."""

SUN_LEAVES_BEFORE_SUNSET = timedelta(hours=1)
"""When the low sun stops warming the ground; covers put on now keep that day's heat. Common practice, no source."""


@dataclass(frozen=True)
class Evening:
    """Sun and deadlines of one night. All times are aware and in UTC."""

    night: Night
    sunset: datetime
    sunrise: datetime
    sun_leaves: datetime
    bedtime: datetime
    uncover: datetime


def evening_of(location: Location, day: date) -> Evening:
    """Give the night that begins on the evening of a day.

    Parameters
    ----------
    location : Location
        Of the yard; its time zone decides when noon and bedtime are.
    day : date
        Date of the evening.

    Returns
    -------
    Evening

    Raises
    ------
    PlanError
        If the sun does not set or rise there at that time of year.
    """
    from fruitwall.physics.sun import sun_times

    zone = ZoneInfo(location.time_zone)
    today = sun_times(day, location.latitude_deg, location.longitude_deg, location.time_zone)
    tomorrow = sun_times(day + timedelta(days=1), location.latitude_deg, location.longitude_deg, location.time_zone)
    moments = (today.sunset, today.civil_dusk, tomorrow.civil_dawn, tomorrow.sunrise)
    if any(moment is None for moment in moments):
        raise PlanError(
            f"on {day} the sun does not set and rise at latitude {location.latitude_deg:g}: no night to plan"
        )
    sunset, dusk, dawn, sunrise = (moment.astimezone(UTC) for moment in moments if moment is not None)
    uncover = sunrise + UNCOVER_AFTER_SUNRISE
    night = Night(
        name=day,
        start_utc=_local(day, NOON, zone),
        end_utc=_local(day + timedelta(days=1), NOON, zone),
        cover_on_utc=sunset,
        cover_off_utc=uncover,
        dusk_utc=dusk,
        dawn_utc=dawn,
    )
    return Evening(
        night=night,
        sunset=sunset,
        sunrise=sunrise,
        sun_leaves=sunset - SUN_LEAVES_BEFORE_SUNSET,
        bedtime=_local(day, BEDTIME, zone),
        uncover=uncover,
    )


def tonight(location: Location, now: datetime) -> date:
    """Give the date of the evening that is meant by "tonight".

    Until noon that is the evening before: who looks at three in the morning wants the night that is running.
    """
    local = now.astimezone(ZoneInfo(location.time_zone))
    return local.date() - timedelta(days=1) if local.time() < NOON else local.date()


def _local(day: date, at: time, zone: ZoneInfo) -> datetime:
    """Give a local time of day as a moment in UTC."""
    return datetime.combine(day, at, tzinfo=zone).astimezone(UTC)
