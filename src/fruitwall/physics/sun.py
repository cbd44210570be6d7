"""Where the sun stands, when it sets, and how its light falls on level ground and on walls.

Positions by the SPA algorithm as pvlib has it. Where a page only asks for the hour of sunset, the short series of
`weather.sun.orbit` is enough (0.015°, some seconds), which saves the second that loading pvlib takes.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from importlib.util import find_spec, module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.checked import Range, checked
from fruitwall.weather.sun import orbit

FloatArray = NDArray[np.float64]

Times = ArrayLike | NDArray[np.datetime64] | np.datetime64
"""Times in UTC that numpy takes for datetime64."""

SOLAR_CONSTANT = 1361.1
"""Total solar irradiance at mean distance, Gueymard 2018. [W/m²]"""

SUNSET_DEG = -0.833
"""Elevation of the sun's centre at sunset: 34' of refraction and 16' of radius. [degrees]"""

CIVIL_DUSK_DEG = -6.0
"""Elevation of the sun's centre when it gets too dark to work outside. [degrees]"""

LOWEST_SUN_DEG = 1.0
"""Below this the split of global light into beam and diffuse means nothing: all is diffuse. [degrees]"""


EARTH_LATENESS_S = 67.0
"""Clock of the planets ahead of the clock of the turning Earth: pvlib's default, true about 2015. A minute more or
less moves the sun by 0.0007°. [s]"""

DAY_S = 86_400


class SunPosition(NamedTuple):
    """Where the sun's centre stands, without refraction; two arrays of the shape of the times.

    elevation_deg: above the horizon, -90 to 90; azimuth_deg: clockwise from north, 0 to 360.
    """

    elevation_deg: FloatArray
    azimuth_deg: FloatArray


class Irradiance(NamedTuple):
    """Global light in its two parts, both on level ground. [W/m²]"""

    beam: FloatArray
    diffuse: FloatArray


@dataclass(frozen=True)
class SunTimes:
    """Sunrise, sunset and civil twilight of one civil day, aware; None if the sun does not cross that height.

    `day_length_h` is from sunrise to sunset: 24 under the midnight sun, 0 in polar night. [h]
    """

    civil_dawn: datetime | None
    sunrise: datetime | None
    noon: datetime
    sunset: datetime | None
    civil_dusk: datetime | None
    day_length_h: float


def _stamps(time_utc: Times) -> NDArray[np.datetime64]:
    """Take times as numpy stamps in UTC or refuse them."""
    times = np.asarray(time_utc)
    if not np.issubdtype(times.dtype, np.datetime64):
        raise ValueError(f"time_utc must be numpy datetime64 in UTC, got {times.dtype} ({time_utc!r:.60})")
    return times


@cache
def _spa() -> ModuleType:
    """Give pvlib's module of the algorithm by itself: the whole package brings pandas and takes a second to import."""
    package = find_spec("pvlib")
    if package is None or not package.submodule_search_locations:
        raise ModuleNotFoundError("pvlib is not installed; install fruitwall with its requirements")
    found = spec_from_file_location("fruitwall_pvlib_spa", Path(package.submodule_search_locations[0]) / "spa.py")
    if found is None or found.loader is None:
        raise ModuleNotFoundError("pvlib holds no module spa; fruitwall needs pvlib 0.15 or later")
    module = module_from_spec(found)
    sys.modules[found.name] = module
    found.loader.exec_module(module)
    return module


def _declination_and_hour_angle(times: NDArray[np.datetime64]) -> tuple[FloatArray, FloatArray]:
    """Give declination and hour angle at Greenwich by SPA; NaT gives NaN. [degrees], [degrees]"""
    spa = _spa()
    unknown = np.isnat(times)
    seconds = np.where(unknown, np.datetime64(0, "s"), times.astype("datetime64[s]")).astype(np.int64)
    day, second = np.divmod(seconds, DAY_S)
    days = np.unique(np.concatenate([day.ravel(), day.ravel() + 1]))
    sidereal, ascension, declination = spa.solar_position_numpy(
        days * float(DAY_S), 0.0, 0.0, 0.0, 0.0, 0.0, EARTH_LATENESS_S, 0.0, 1, sst=True
    )
    here, part = np.searchsorted(days, day), second / DAY_S
    at_midnight = sidereal - ascension
    # From midnight to midnight once round, and a little more or less as the equation of time changes.
    more = (at_midnight[here + 1] - at_midnight[here] + 180.0) % 360.0 - 180.0
    turned = at_midnight[here] + (360.0 + more) * part
    height = declination[here] + (declination[here + 1] - declination[here]) * part
    return np.where(unknown, np.nan, height), np.where(unknown, np.nan, turned)


@checked()
def sun_position(time_utc: Times, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> SunPosition:
    """Give where the sun stands.

    Parameters
    ----------
    time_utc : array_like of datetime64, broadcast
        Times in UTC.
    latitude_deg, longitude_deg : array_like, broadcast
        North and east positive, -90 to 90 and -180 to 180. [degrees]

    Returns
    -------
    SunPosition
        Elevation and azimuth of the sun's centre, without refraction. [degrees]

    Raises
    ------
    ValueError
        If a place is outside its range or the times are no datetime64. NaT and NaN give NaN.

    Notes
    -----
    SPA [1]_ by pvlib [2]_ for the sun's place among the stars at every midnight, straight lines between midnights (at
    most 0.001° off), the turning of the Earth in closed form: within 0.004° of SPA at every stamp, of which 0.0024°
    are the parallax of the Earth's radius. Ten times as fast, so that thirty winters of quarter hours take 0.3 s.
    Refraction lifts the sun by 0.1° at 10° and 0.5° at the horizon; it is left out, a plan of a yard is not that good.

    References
    ----------
    .. [1] Reda, I. and Andreas, A. (2004). Solar position algorithm for solar radiation applications. Solar Energy
       76, 577-589.
    .. [2] Anderson, K. S. et al. (2023). pvlib python: 2023 project update. J. Open Source Software 8(92), 5994.

    Examples
    --------
    >>> place = sun_position(np.datetime64("2003-10-17T19:30:30"), 39.742476, -105.1786)  # the example of SPA
    >>> round(float(place.elevation_deg), 1), round(float(place.azimuth_deg), 1)
    (39.9, 194.3)
    """
    declination_deg, at_greenwich_deg = _declination_and_hour_angle(_stamps(time_utc))
    latitude = np.radians(np.asarray(latitude_deg, dtype=np.float64))
    hour_angle = np.radians((at_greenwich_deg + np.asarray(longitude_deg, dtype=np.float64)) % 360.0)
    declination = np.radians(declination_deg)
    up = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    east = -np.cos(declination) * np.sin(hour_angle)
    north = np.sin(declination) * np.cos(latitude) - np.cos(declination) * np.sin(latitude) * np.cos(hour_angle)
    return SunPosition(
        np.degrees(np.arcsin(np.clip(up, -1.0, 1.0))), np.asarray(np.degrees(np.arctan2(east, north)) % 360.0)
    )


@checked(horizon_deg=Range(-90.0, 90.0, "degrees"))
def day_and_hour(
    time_utc: Times, latitude_deg: ArrayLike, longitude_deg: ArrayLike, horizon_deg: float = SUNSET_DEG
) -> tuple[FloatArray, FloatArray]:
    """Give the half length of the day and the hour from noon.

    Parameters
    ----------
    time_utc : array_like of datetime64, broadcast
        Times in UTC.
    latitude_deg, longitude_deg : array_like, broadcast
        The place, -90 to 90 and -180 to 180. [degrees]
    horizon_deg : float
        Elevation of the sun's centre at which the day begins and ends. [degrees]

    Returns
    -------
    half_day_h, hour_h : ndarray, broadcast shape
        From noon to sunset, 0 in polar night and 12 under the midnight sun [h]; solar time from noon, -12 to 12 [h].
    """
    sun = orbit(_stamps(time_utc))
    latitude, declination = np.radians(np.asarray(latitude_deg, dtype=np.float64)), np.radians(sun.declination_deg)
    turned = sun.sidereal_deg + np.asarray(longitude_deg, dtype=np.float64) - sun.right_ascension_deg
    hour = ((turned + 180.0) % 360.0 - 180.0) / 15.0
    divisor = np.maximum(np.cos(latitude) * np.cos(declination), 1e-12)
    cosine = (np.sin(np.radians(horizon_deg)) - np.sin(latitude) * np.sin(declination)) / divisor
    half_day = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))) / 15.0
    return np.asarray(half_day + 0.0 * hour), np.asarray(hour + 0.0 * half_day)


def extraterrestrial(time_utc: Times) -> FloatArray:
    """Give the sun's irradiance outside the atmosphere, facing the sun.

    Parameters
    ----------
    time_utc : array_like of datetime64, any shape
        Times in UTC.

    Returns
    -------
    ndarray, shape of `time_utc`
        1316 in July to 1408 in January. [W/m²]
    """
    return np.asarray(SOLAR_CONSTANT / orbit(_stamps(time_utc)).distance_au ** 2)


@checked(extraterrestrial_w_m2=Range(0.0, 1500.0, "W/m²"))
def split_global(
    shortwave_w_m2: ArrayLike, elevation_deg: ArrayLike, extraterrestrial_w_m2: ArrayLike = SOLAR_CONSTANT
) -> Irradiance:
    """Split global light on level ground into beam and diffuse.

    Parameters
    ----------
    shortwave_w_m2 : array_like, broadcast
        Global horizontal irradiance, 0 to 1500. [W/m²]
    elevation_deg : array_like, broadcast
        Elevation of the sun that belongs to it, -90 to 90. [degrees]
    extraterrestrial_w_m2 : array_like, broadcast
        Irradiance outside the atmosphere facing the sun, 0 to 1500. [W/m²]

    Returns
    -------
    Irradiance
        Beam and diffuse on level ground; they sum to the global light. [W/m²]

    Raises
    ------
    ValueError
        If a value is outside its range. NaN gives NaN.

    Notes
    -----
    Diffuse share from the clearness index by [1]_, fitted to hours. Below 1° of sun all light is diffuse.

    References
    ----------
    .. [1] Erbs, D. G., Klein, S. A. and Duffie, J. A. (1982). Estimation of the diffuse radiation fraction for hourly,
       daily and monthly-average global radiation. Solar Energy 28, 293-302.
    """
    light, elevation, outside = (
        np.asarray(value, dtype=np.float64) for value in (shortwave_w_m2, elevation_deg, extraterrestrial_w_m2)
    )
    height = np.sin(np.radians(elevation))
    high = elevation >= LOWEST_SUN_DEG
    ceiling = np.where(high, outside * height, np.inf)
    clearness = np.clip(light / np.where(ceiling > 0.0, ceiling, np.inf), 0.0, 1.0)
    share = np.where(
        clearness <= 0.22,
        1.0 - 0.09 * clearness,
        0.9511 - 0.1604 * clearness + 4.388 * clearness**2 - 16.638 * clearness**3 + 12.336 * clearness**4,
    )
    share = np.where(clearness > 0.80, 0.165, share)
    diffuse = light * np.where(high | np.isnan(elevation), share, 1.0) + 0.0 * elevation
    return Irradiance(np.asarray(light - diffuse), np.asarray(diffuse))


@checked(sun_elevation_deg=Range(-90.0, 90.0, "degrees"), sun_azimuth_deg=Range(0.0, 360.0, "degrees"))
def beam_ratio(
    sun_elevation_deg: ArrayLike, sun_azimuth_deg: ArrayLike, azimuth_deg: ArrayLike, tilt_deg: ArrayLike = 90.0
) -> FloatArray:
    """Give the beam on a surface over the beam on level ground.

    Parameters
    ----------
    sun_elevation_deg, sun_azimuth_deg : array_like, broadcast
        Where the sun stands. [degrees]
    azimuth_deg : array_like, broadcast
        Direction in which the surface looks, clockwise from north. [degrees]
    tilt_deg : array_like, broadcast
        0 is level, 90 a wall (default). [degrees]

    Returns
    -------
    ndarray, broadcast shape
        cos(angle of incidence)/sin(elevation); 0 where the sun is behind the surface or below 1°. [-]
    """
    height, bearing, azimuth, tilt = (
        np.radians(np.asarray(value, dtype=np.float64))
        for value in (sun_elevation_deg, sun_azimuth_deg, azimuth_deg, tilt_deg)
    )
    incidence = np.sin(height) * np.cos(tilt) + np.cos(height) * np.sin(tilt) * np.cos(bearing - azimuth)
    lowest = np.radians(LOWEST_SUN_DEG)
    ratio = np.maximum(incidence, 0.0) / np.sin(np.maximum(height, lowest))
    return np.asarray(np.where(height < lowest, 0.0 * ratio, ratio))


@checked(sun_elevation_deg=Range(-90.0, 90.0, "degrees"), sun_azimuth_deg=Range(0.0, 360.0, "degrees"))
def light_on(
    light: Irradiance,
    sun_elevation_deg: ArrayLike,
    sun_azimuth_deg: ArrayLike,
    azimuth_deg: ArrayLike,
    tilt_deg: ArrayLike = 90.0,
    *,
    albedo: ArrayLike = 0.2,
) -> FloatArray:
    """Give the sunlight on a surface of any tilt on open flat ground.

    Parameters
    ----------
    light : Irradiance
        Beam and diffuse on level ground. [W/m²]
    sun_elevation_deg, sun_azimuth_deg, azimuth_deg, tilt_deg : array_like, broadcast
        As for `beam_ratio`. [degrees]
    albedo : array_like, broadcast
        Of the ground, 0 to 1. [-]

    Returns
    -------
    ndarray, broadcast shape
        Beam, diffuse of an evenly bright sky, and light from the ground. [W/m²]
    """
    upward = 0.5 * (1.0 + np.cos(np.radians(np.asarray(tilt_deg, dtype=np.float64))))
    beam = light.beam * beam_ratio(sun_elevation_deg, sun_azimuth_deg, azimuth_deg, tilt_deg)
    ground = np.asarray(albedo, dtype=np.float64) * (light.beam + light.diffuse)
    return np.asarray(beam + light.diffuse * upward + ground * (1.0 - upward))


@checked()
def spread_hours(
    time_utc: Times, shortwave_w_m2: ArrayLike, latitude_deg: float, longitude_deg: float, step_minutes: int = 15
) -> FloatArray:
    """Spread hourly means of sunlight over the steps of the hour as the sun moves.

    Parameters
    ----------
    time_utc : array_like of datetime64, shape (time,)
        Ends of the hours, UTC.
    shortwave_w_m2 : array_like, shape (..., time)
        Means of the hours that end at the stamps, 0 to 1500. [W/m²]
    latitude_deg, longitude_deg : float
        The place. [degrees]
    step_minutes : int
        Length of a step, a divisor of 60.

    Returns
    -------
    ndarray, shape (..., time, 60/step_minutes)
        Mean of every step; the mean over an hour is the value given. Follows the sine of the sun's elevation (raised by
        0.833°, so that it begins at sunrise); light of an hour without sun is spread evenly. [W/m²]

    Raises
    ------
    ValueError
        If a value is outside its range or the step does not divide the hour. NaN gives NaN.
    """
    if step_minutes < 1 or 60 % step_minutes:
        raise ValueError(f"step_minutes must be a divisor of 60, got {step_minutes!r}")
    steps = 60 // step_minutes
    ends = _stamps(time_utc)
    middles = (np.arange(steps) + 0.5) * step_minutes * 60.0 - 3600.0
    times = ends.astype("datetime64[s]")[..., None] + middles.astype("timedelta64[s]")
    above = sun_position(times, latitude_deg, longitude_deg).elevation_deg - SUNSET_DEG
    height = np.sin(np.radians(np.clip(above, 0.0, 90.0)))
    mean = height.mean(axis=-1, keepdims=True)
    shape = np.where(mean > 0.0, height / np.where(mean > 0.0, mean, 1.0), 1.0)
    return np.asarray(np.asarray(shortwave_w_m2, dtype=np.float64)[..., None] * shape)


@checked()
def sun_times(day: date, latitude_deg: float, longitude_deg: float, time_zone: str) -> SunTimes:
    """Give sunrise, sunset and civil twilight of a civil day.

    Parameters
    ----------
    day : date
        Day in the yard's zone.
    latitude_deg, longitude_deg : float
        The place, -90 to 90 and -180 to 180. [degrees]
    time_zone : str
        IANA name, such as America/Los_Angeles.

    Returns
    -------
    SunTimes
        Aware times in that zone, to the second (the air's refraction makes them uncertain by a minute or so).

    Raises
    ------
    ValueError
        If the place is outside its range.
    zoneinfo.ZoneInfoNotFoundError
        If the zone is unknown.

    Notes
    -----
    Level horizon; hills of the yard make sunset earlier. The sun's noon nearest to the civil noon is taken.

    Examples
    --------
    >>> times = sun_times(date(2026, 12, 22), 33.9, -117.25, "America/Los_Angeles")
    >>> f"{times.sunrise:%H:%M}", f"{times.sunset:%H:%M}", f"{times.civil_dusk:%H:%M}"
    ('06:50', '16:44', '17:12')
    """
    zone = ZoneInfo(time_zone)
    midday = datetime.combine(day, time(12), tzinfo=zone).astimezone(UTC)
    noon = midday
    for _ in range(3):
        noon += timedelta(hours=_hours_to_noon(noon, longitude_deg))

    def crossing(elevation_deg: float, side: int) -> datetime | None:
        moment = noon
        for _ in range(5):
            hours = _half_day_h(moment, latitude_deg, elevation_deg)
            if np.isnan(hours):
                return None
            # The noon nearest to the last estimate, so that the equation of time is that of the moment.
            near_noon = moment + timedelta(hours=_hours_to_noon(moment, longitude_deg))
            moment = near_noon + timedelta(hours=side * hours)
        return moment.astimezone(zone).replace(microsecond=0)

    sunrise, sunset = crossing(SUNSET_DEG, -1), crossing(SUNSET_DEG, 1)
    if sunrise and sunset:
        length = (sunset - sunrise).total_seconds() / 3600.0
    else:
        length = 24.0 if _elevation(noon, latitude_deg, longitude_deg) > SUNSET_DEG else 0.0
    return SunTimes(
        crossing(CIVIL_DUSK_DEG, -1),
        sunrise,
        noon.astimezone(zone).replace(microsecond=0),
        sunset,
        crossing(CIVIL_DUSK_DEG, 1),
        length,
    )


def _stamp(moment: datetime) -> np.datetime64:
    """Turn an aware time into datetime64 in UTC."""
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "s")


def _elevation(moment: datetime, latitude_deg: float, longitude_deg: float) -> float:
    """Elevation of the sun. [degrees]"""
    return float(sun_position(_stamp(moment), latitude_deg, longitude_deg).elevation_deg)


def _hours_to_noon(moment: datetime, longitude_deg: float) -> float:
    """Hours from a moment to the nearest solar noon, positive if it comes. [h]"""
    return -float(day_and_hour(_stamp(moment), 0.0, longitude_deg)[1])


def _half_day_h(moment: datetime, latitude_deg: float, elevation_deg: float) -> float:
    """Hours from noon until the sun is at this elevation; NaN if it never is. [h]"""
    half = float(day_and_hour(_stamp(moment), latitude_deg, 0.0, elevation_deg)[0])
    return half if 0.0 < half < 12.0 else float("nan")
