"""Whether a forecast suits this yard and this evening: place, age, first and last hour, possible warmth."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.forcing import Forcing
from fruitwall.weather.place import Place
from fruitwall.weather.stamps import solar_offset
from fruitwall.weather.sun import sun_elevation

FARTHEST_KM, FAR_KM = 60.0, 20.0
"""Beyond the first a forecast is refused, beyond the second it is doubted. [km]"""

HEIGHT_DOUBT_M = 300.0
"""Difference of elevation that is worth a warning: about 2 K by the standard lapse rate. [m]"""

OLDEST, OLD = timedelta(hours=48), timedelta(hours=18)
"""Beyond the first a forecast is refused, beyond the second it is doubted."""

LATEST_START = timedelta(hours=6)
"""How long after now a forecast may begin; the hours until then are filled by `weather.prepare`."""

LOW_SUN_DEG, HOT_C = 45.0, 40.0
"""Where the sun stands at most so high, air is nowhere so warm: then the numbers are °F under a °C header."""

MORNING_H = 8
"""Local mean solar hour by which the night is over."""


def morning_after(now: datetime, longitude_deg: float) -> datetime:
    """Give the end of the night that is meant at a time: 08:00 local mean solar time.

    Before 04:00 that is this morning, later the next one.

    Examples
    --------
    >>> morning_after(datetime(2026, 12, 22, 22, 30, tzinfo=UTC), -120.0).isoformat()
    '2026-12-23T16:00:00+00:00'
    """
    solar = now.astimezone(UTC) + solar_offset(longitude_deg)
    days = 0 if solar.hour < 4 else 1
    morning = solar.replace(hour=MORNING_H, minute=0, second=0, microsecond=0) + timedelta(days=days)
    return morning - solar_offset(longitude_deg)


def check_usable(forcing: Forcing, *, yard: Place, now: datetime, until_utc: datetime | None = None) -> Forcing:
    """Refuse a forecast that cannot serve this yard tonight; add warnings where it may serve badly.

    Parameters
    ----------
    forcing : Forcing
        A forecast.
    yard : Place
        Where the trees stand.
    now : datetime, aware
        The present (or the moment for which an evening is planned).
    until_utc : datetime, aware, optional
        Hour that it must reach; by default the end of the coming night, `morning_after`.

    Returns
    -------
    Forcing
        The same with its warnings.

    Raises
    ------
    WeatherError
        If it is for another place, too old, begins too late or ends too early, or is warmer than its season can be.
    """
    _refuse_summer_in_winter(forcing)
    notes = [*_place_doubts(forcing, yard), *_age_doubts(forcing, now)]
    until = morning_after(now, yard.longitude_deg) if until_utc is None else until_utc
    if forcing.start_utc > now + LATEST_START:
        raise WeatherError(
            say(
                "{source}: begins at {start}, more than {hours} h from now ({now}); a forecast from now on is needed",
                source=forcing.source,
                start=_say(forcing.start_utc),
                hours=LATEST_START.seconds // 3600,
                now=_say(now),
            )
        )
    if forcing.end_utc < until:
        raise WeatherError(
            say(
                "{source}: ends at {hour}, before the night is over ({until}); a forecast until then at least is "
                "needed",
                source=forcing.source,
                hour=_say(forcing.end_utc),
                until=_say(until),
            )
        )
    return forcing.with_warnings(*notes)


def _refuse_summer_in_winter(forcing: Forcing) -> None:
    """Refuse a warmth that no low sun makes."""
    highest = float(sun_elevation(forcing.time_utc, forcing.latitude_deg, forcing.longitude_deg).max())
    warmest = float(forcing.t_air_c.max())
    if warmest > HOT_C and highest < LOW_SUN_DEG and forcing.n_times >= 24:
        raise WeatherError(
            say(
                "{source}: {warmest:.0f} °C with the sun at most {highest:.0f}° high is not possible; "
                "are the temperatures in °F?",
                source=forcing.source,
                warmest=warmest,
                highest=highest,
            )
        )


def _place_doubts(forcing: Forcing, yard: Place) -> list[str]:
    """Refuse another place, doubt a distant one."""
    there = Place(forcing.latitude_deg, forcing.longitude_deg, forcing.elevation_m)
    distance_km = yard.distance_km(there)
    if distance_km > FARTHEST_KM:
        raise WeatherError(
            say(
                "{source}: is for another place, {words}, {distance_km:.0f} km from the yard at "
                "{here}; at most {most_km:.0f} km are accepted",
                source=forcing.source,
                words=there.words(),
                distance_km=distance_km,
                here=yard.words(),
                most_km=FARTHEST_KM,
            )
        )
    notes: list[str] = []
    if distance_km > FAR_KM:
        notes.append(
            told(
                "the forecast is for {place}, {distance:.0f} km from the yard",
                place=there.words(),
                distance=distance_km,
            )
        )
    height_m = there.elevation_m - yard.elevation_m
    if abs(height_m) > HEIGHT_DOUBT_M:
        notes.append(
            told(
                "the forecast is for a place {height:.0f} m higher than the yard; temperatures may be off by "
                "several degrees"
                if height_m > 0
                else "the forecast is for a place {height:.0f} m lower than the yard; temperatures may be off by "
                "several degrees",
                height=abs(height_m),
            )
        )
    return notes


def _age_doubts(forcing: Forcing, now: datetime) -> list[str]:
    """Refuse an old forecast, doubt an ageing one and one from the future."""
    age = now - forcing.issued_utc
    if age > OLDEST:
        raise WeatherError(
            say(
                "{source}: was issued {start}, {age:.0f} h before {then}; at most {oldest} h are accepted. "
                "Fetch a new one, or plan an evening near that date",
                source=forcing.source,
                start=_say(forcing.issued_utc),
                age=age / timedelta(hours=1),
                then=_say(now),
                oldest=OLDEST // timedelta(hours=1),
            )
        )
    if age > OLD:
        return [told("the forecast is {hours:.0f} h old", hours=age / timedelta(hours=1))]
    if age < -timedelta(hours=1):
        return [told("the forecast was issued after the moment planned for ({time})", time=_say(forcing.issued_utc))]
    return []


def _say(moment: datetime) -> str:
    """Say a time as messages do."""
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
