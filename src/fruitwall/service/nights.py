"""Which hours make a night: windows and deadlines by the yard's own sun and clock, and by what time it is now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fruitwall.errors import PlanError
from fruitwall.physics.treatment import Night
from fruitwall.speech import say
from fruitwall.yard.model import Location

if TYPE_CHECKING:
    from fruitwall.physics.sun import SunTimes
    from fruitwall.plans.parts import Deadline

NOON = time(12)
BEDTIME = time(22)
"""Deadline of what can still be done before bed. An assumption, until people have hours of their own."""

UNCOVER_AFTER_SUNRISE = timedelta(hours=1.5)
"""When covers come off, after sunrise: the leaf has thawed and the air is above the night's. Common practice, no
source."""

SUN_LEAVES_BEFORE_SUNSET = timedelta(hours=1)
"""When the low sun stops warming the ground: until then watering it pays. Common practice, no source."""

SETTING_UP = timedelta(minutes=30)
"""How long after now covers are on, where it is already dark. Assumption."""

POLAR_NIGHT_MARGIN = timedelta(hours=3)
"""In polar night, time after noon and before noon that is taken as twilight."""


@dataclass(frozen=True)
class Evening:
    """Sun and deadlines of one night. All times are aware and in UTC.

    Attributes
    ----------
    night : Night
        Its window, with the hours between which covers and heat are on: from sunset (or from half an hour after now,
        if that is later) to an hour and a half after sunrise.
    sunset, sunrise : datetime
    sun_leaves : datetime
        When the sun has left the ground.
    bedtime : datetime
    uncover : datetime
        When covers come off.
    begins : datetime
        Now, if the night or its afternoon is already running: nothing can be done before.
    """

    night: Night
    sunset: datetime
    sunrise: datetime
    sun_leaves: datetime
    bedtime: datetime
    uncover: datetime
    begins: datetime

    @property
    def dark(self) -> bool:
        """Whether the sun has set by now."""
        return self.begins >= self.sunset

    @property
    def end_hour(self) -> datetime:
        """First full hour (UTC) at or after the end of the night; forecasts come in full hours."""
        end = self.night.end_utc
        return end if end == full_hour(end) else full_hour(end) + timedelta(hours=1)

    def deadline(self, kind: Deadline) -> datetime:
        """Give the moment by which a kind of task must be done; half an hour from now if that is past."""
        planned = {
            "before_sun_leaves": self.sun_leaves,
            "before_dusk": self.sunset,
            "before_bed": self.bedtime,
            "morning": self.uncover,
        }[kind]
        return max(planned, min(self.begins + SETTING_UP, self.uncover))

    def minutes_left(self) -> float:
        """Give the minutes that people have: until sunset; once it is dark, until bedtime or, later, an hour."""
        if not self.dark:
            return (self.sunset - self.begins) / timedelta(minutes=1)
        if self.begins >= self.sunrise:
            return 0.0
        return max((self.bedtime - self.begins) / timedelta(minutes=1), 60.0)


def evening_of(location: Location, day: date, now: datetime | None = None) -> Evening:
    """Give the night that begins on the evening of a day.

    Parameters
    ----------
    location : Location
        Of the yard; its time zone decides when noon and bedtime are.
    day : date
        Date of the evening.
    now : datetime, aware, optional
        The present; what could have been done before is past. Left out, the whole afternoon is open.

    Returns
    -------
    Evening

    Raises
    ------
    PlanError
        If the sun does not set, or longitude and time zone contradict each other.
    """
    zone = ZoneInfo(location.time_zone)
    start, end = _local(day, NOON, zone), _local(day + timedelta(days=1), NOON, zone)
    sunset, dusk, dawn, sunrise = _sun(location, day, start, end)
    if not start < sunset < sunrise < end:
        by_clock = ", ".join(f"{moment.astimezone(zone):%a %H:%M}" for moment in (sunset, sunrise))
        raise PlanError(
            say(
                "at longitude {longitude:g} the sun sets and rises at {by_clock} by the clock of "
                "{time_zone}: check location.longitude (west is negative) and location.time_zone",
                longitude=location.longitude_deg,
                by_clock=by_clock,
                time_zone=location.time_zone,
            )
        )
    uncover = min(sunrise + UNCOVER_AFTER_SUNRISE, end)
    begins = start if now is None else min(max(now.astimezone(UTC), start), end)
    cover_on = sunset if begins < sunset else min(begins + SETTING_UP, uncover)
    return Evening(
        night=Night(
            name=day,
            start_utc=start,
            end_utc=end,
            cover_on_utc=cover_on,
            cover_off_utc=uncover,
            dusk_utc=dusk,
            dawn_utc=dawn,
        ),
        sunset=sunset,
        sunrise=sunrise,
        sun_leaves=sunset - SUN_LEAVES_BEFORE_SUNSET,
        bedtime=_local(day, BEDTIME, zone),
        uncover=uncover,
        begins=begins,
    )


def tonight(location: Location, now: datetime) -> date:
    """Give the date of the evening that is meant by "tonight".

    Until covers come off in the morning that is the evening before: who looks at three in the morning wants the night
    that is running.
    """
    today = now.astimezone(ZoneInfo(location.time_zone)).date()
    running = evening_of(location, today - timedelta(days=1))
    return running.night.name if now < running.uncover else today


@lru_cache(maxsize=1024)  # every page asks which night it is, and what was learned asks for all nights of some winters
def _sun(
    location: Location, day: date, start: datetime, end: datetime
) -> tuple[datetime, datetime, datetime, datetime]:
    """Give sunset, civil dusk, civil dawn and sunrise, with stand-ins where twilight or daylight never ends."""
    today, tomorrow = _sun_of_day(location, day), _sun_of_day(location, day + timedelta(days=1))
    if today.sunset is None or tomorrow.sunrise is None:
        if today.day_length_h >= 24 or tomorrow.day_length_h >= 24:
            raise PlanError(
                say(
                    "on {day} the sun does not set at latitude {latitude:g}: no night to plan",
                    day=day,
                    latitude=location.latitude_deg,
                )
            )
        evening, morning = start + POLAR_NIGHT_MARGIN, end - POLAR_NIGHT_MARGIN
        return evening, evening, morning, morning
    dusk = today.civil_dusk or today.sunset
    dawn = tomorrow.civil_dawn or tomorrow.sunrise
    return (
        today.sunset.astimezone(UTC),
        dusk.astimezone(UTC),
        dawn.astimezone(UTC),
        tomorrow.sunrise.astimezone(UTC),
    )


@lru_cache(maxsize=1024)  # a day's sun ends one night and begins the next
def _sun_of_day(location: Location, day: date) -> SunTimes:
    from fruitwall.physics.sun import sun_times

    return sun_times(day, location.latitude_deg, location.longitude_deg, location.time_zone)


def full_hour(moment: datetime) -> datetime:
    """Give the full hour before a moment, or the moment itself."""
    return moment.replace(minute=0, second=0, microsecond=0)


def _local(day: date, at: time, zone: ZoneInfo) -> datetime:
    """Give a local time of day as a moment in UTC."""
    return datetime.combine(day, at, tzinfo=zone).astimezone(UTC)
