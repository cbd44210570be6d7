"""The sun and the net radiation of a short green surface, FAO-56 chapter 3, by the day and by the hour."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plants.water.ranges import FloatArray, numbers

SOLAR_MJ_M2_MIN = 0.0820
"""Solar constant of FAO-56. [MJ/(m² min)]"""

SIGMA_DAY = 4.903e-9
"""Stefan-Boltzmann constant by the day, FAO-56. [MJ/(m² d K⁴)]"""

ALBEDO = 0.23
"""Of the reference grass, FAO-56. [-]"""

ANGSTROM_A, ANGSTROM_B = 0.25, 0.50
"""Shares of the extraterrestrial sun under an overcast sky and in addition under a clear one, FAO-56 eq. 35. [-]"""

K_INLAND, K_COAST = 0.16, 0.19
"""Factor of the sun from the day's range of temperature, FAO-56 eq. 50. [1/K^0.5]"""

LOW_SUN_SIN = 0.3
"""Sine of the sun's height above which measured over clear sun tells the cloud (ASCE 2005 has an angle of 0.3). [-]"""

RATIO_LOWEST = 0.3
"""Lowest share of the clear sun in the term for cloud, ASCE 2005. [-]"""

RATIO_UNKNOWN = 0.7
"""The same by night before any sun was seen: between 0.4-0.6 of humid and 0.7-0.8 of dry places (FAO-56, ch. 4). [-]"""

CLOUD_LOSS, CLOUD_POWER = 0.75, 3.4
"""Sun that cloud takes away: 1 - 0.75 N^3.4, Kasten and Czeplak 1980. [-]"""


class DaySun(NamedTuple):
    """Of a day: inverse relative distance [-], declination [rad], sunset hour angle [rad]; FAO-56 eq. 23-25."""

    distance: FloatArray
    declination: FloatArray
    sunset: FloatArray


def day_sun(latitude_deg: ArrayLike, day_of_year: ArrayLike) -> DaySun:
    """Give the sun's course on a day.

    Parameters
    ----------
    latitude_deg : array_like
        South is negative. [degrees]
    day_of_year : array_like
        1 to 366.

    Returns
    -------
    DaySun
        The sunset angle is 0 in polar night and pi under the midnight sun.
    """
    year = 2.0 * np.pi * numbers("day_of_year", day_of_year) / 365.0
    declination = 0.409 * np.sin(year - 1.39)
    latitude = np.radians(numbers("latitude_deg", latitude_deg))
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0))
    return DaySun(1.0 + 0.033 * np.cos(year), declination, sunset)


def extraterrestrial(latitude_deg: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """Give the sun above the atmosphere on level ground, FAO-56 eq. 21. [MJ/(m² d)]"""
    sun = day_sun(latitude_deg, day_of_year)
    latitude = np.radians(numbers("latitude_deg", latitude_deg))
    height = sun.sunset * np.sin(latitude) * np.sin(sun.declination)
    height = height + np.cos(latitude) * np.cos(sun.declination) * np.sin(sun.sunset)
    return np.asarray(24.0 * 60.0 / np.pi * SOLAR_MJ_M2_MIN * sun.distance * height)


def daylight_hours(latitude_deg: ArrayLike, day_of_year: ArrayLike) -> FloatArray:
    """Give the hours between sunrise and sunset, FAO-56 eq. 34. [h]"""
    return np.asarray(24.0 / np.pi * day_sun(latitude_deg, day_of_year).sunset)


class HourSun(NamedTuple):
    """Of an hour: sun above the atmosphere [MJ/(m² h)], sine of its height at mid-hour [-], day of the year."""

    ra_mj_m2: FloatArray
    height_sin: FloatArray
    day_of_year: FloatArray


def hour_sun(latitude_deg: float, longitude_deg: float, time_utc: NDArray[np.datetime64]) -> HourSun:
    """Give the sun above the atmosphere in each hour, FAO-56 eq. 28-33.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        South and west are negative. [degrees]
    time_utc : ndarray of datetime64
        Ends of the hours.

    Returns
    -------
    HourSun
    """
    middle = time_utc.astype("datetime64[s]") - np.timedelta64(1800, "s")
    # The day and the hour angle are those of the place's own sun, so that evening and morning fall on one date.
    local = middle + np.timedelta64(round(float(numbers("longitude_deg", longitude_deg)) * 240.0), "s")
    midnight = local.astype("datetime64[D]")
    day = (midnight - midnight.astype("datetime64[Y]")).astype(np.float64) + 1.0
    clock = (local - midnight).astype("timedelta64[s]").astype(np.float64) / 3600.0
    b = 2.0 * np.pi * (day - 81.0) / 364.0
    equation = 0.1645 * np.sin(2.0 * b) - 0.1255 * np.cos(b) - 0.025 * np.sin(b)
    angle = np.pi / 12.0 * (clock + equation - 12.0)
    sun = day_sun(latitude_deg, day)
    first = np.clip(angle - np.pi / 24.0, -sun.sunset, sun.sunset)
    last = np.clip(angle + np.pi / 24.0, -sun.sunset, sun.sunset)
    latitude = np.radians(float(latitude_deg))
    up, along = np.sin(latitude) * np.sin(sun.declination), np.cos(latitude) * np.cos(sun.declination)
    ra = 12.0 * 60.0 / np.pi * SOLAR_MJ_M2_MIN * sun.distance
    ra = ra * ((last - first) * up + along * (np.sin(last) - np.sin(first)))
    return HourSun(np.maximum(ra, 0.0), up + along * np.cos(angle), day)


def clear_sky(ra_mj_m2: ArrayLike, elevation_m: ArrayLike) -> FloatArray:
    """Give the sun under a clear sky, FAO-56 eq. 37. [MJ/m²]"""
    return np.asarray((0.75 + 2e-5 * numbers("elevation_m", elevation_m)) * numbers("ra_mj_m2", ra_mj_m2))


def from_sunshine(ra_mj_m2: ArrayLike, sunshine_h: ArrayLike, daylight_h: ArrayLike) -> FloatArray:
    """Give the sun of a day from the hours of sunshine, FAO-56 eq. 35. [MJ/m²]"""
    share = numbers("sunshine_h", sunshine_h) / numbers("daylight_h", daylight_h, "sunshine_h")
    return np.asarray((ANGSTROM_A + ANGSTROM_B * share) * numbers("ra_mj_m2", ra_mj_m2))


def from_range(ra_mj_m2: ArrayLike, t_min_c: ArrayLike, t_max_c: ArrayLike, factor: float = K_INLAND) -> FloatArray:
    """Give the sun of a day from its range of temperature, FAO-56 eq. 50.

    Parameters
    ----------
    ra_mj_m2 : array_like
        Above the atmosphere. [MJ/(m² d)]
    t_min_c, t_max_c : array_like
        The day's extremes. [°C]
    factor : float
        `K_INLAND` or `K_COAST`.

    Returns
    -------
    ndarray
        [MJ/(m² d)]
    """
    spread = np.maximum(numbers("t_max_c", t_max_c) - numbers("t_min_c", t_min_c), 0.0)
    return np.asarray(factor * np.sqrt(spread) * numbers("ra_mj_m2", ra_mj_m2))


def through_cloud(clear: ArrayLike, cloud: ArrayLike) -> FloatArray:
    """Give the sun under a sky of which a share is covered, Kasten and Czeplak 1980; in the unit of `clear`."""
    return np.asarray(np.asarray(clear) * (1.0 - CLOUD_LOSS * numbers("cloud", cloud) ** CLOUD_POWER))


def longwave_loss_day(t_min_c: ArrayLike, t_max_c: ArrayLike, ea_kpa: ArrayLike, clear_share: ArrayLike) -> FloatArray:
    """Give the net longwave radiation of a day, FAO-56 eq. 39.

    Parameters
    ----------
    t_min_c, t_max_c : array_like
        The day's extremes. [°C]
    ea_kpa : array_like
        Actual vapour pressure. [kPa]
    clear_share : array_like
        Sun over clear-sky sun, in the open; at most 1 is used. [-]

    Returns
    -------
    ndarray
        Positive: lost. [MJ/(m² d)]
    """
    fourth = ((numbers("t_min_c", t_min_c) + 273.16) ** 4 + (numbers("t_max_c", t_max_c) + 273.16) ** 4) / 2.0
    return np.asarray(SIGMA_DAY * fourth * _moist(ea_kpa) * _cloudy(clear_share))


def longwave_loss_hour(t_c: ArrayLike, ea_kpa: ArrayLike, clear_share: ArrayLike) -> FloatArray:
    """Give the net longwave radiation of an hour, FAO-56 eq. 39 with the hourly constant. [MJ/(m² h)]"""
    fourth = (numbers("t_c", t_c) + 273.16) ** 4
    return np.asarray(SIGMA_DAY / 24.0 * fourth * _moist(ea_kpa) * _cloudy(clear_share))


def _moist(ea_kpa: ArrayLike) -> FloatArray:
    return np.asarray(0.34 - 0.14 * np.sqrt(numbers("ea_kpa", ea_kpa)))


def _cloudy(clear_share: ArrayLike) -> FloatArray:
    return np.asarray(1.35 * np.clip(np.asarray(clear_share, dtype=float), RATIO_LOWEST, 1.0) - 0.35)


def clear_share_of_hours(
    sun_mj_m2: FloatArray, clear_mj_m2: FloatArray, height_sin: FloatArray, cloud: FloatArray | None
) -> FloatArray:
    """Give the share of the clear sun in each hour, by night and low sun too.

    Parameters
    ----------
    sun_mj_m2, clear_mj_m2 : ndarray [..., hour]
        Sun in the open as it is and as it would be without cloud. [MJ/(m² h)]
    height_sin : ndarray [hour]
        Sine of the sun's height.
    cloud : ndarray [..., hour], optional
        Share of the sky that is covered; NaN where not known. [0-1]

    Returns
    -------
    ndarray
        Measured over clear sun while the sun is high; else by the cloud; else as it last was by day (FAO-56, ch. 4).
    """
    shape = np.broadcast_shapes(sun_mj_m2.shape, clear_mj_m2.shape)
    high = np.broadcast_to(height_sin > LOW_SUN_SIN, shape)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(high & (clear_mj_m2 > 0.0), sun_mj_m2 / clear_mj_m2, np.nan)
    if cloud is not None:
        share = np.where(np.isnan(share), through_cloud(1.0, cloud), share)
    share = np.clip(share, RATIO_LOWEST, 1.0)
    # Carry the last known share on, and the first one back.
    known = ~np.isnan(share)
    last = np.maximum.accumulate(np.where(known, np.arange(shape[-1]), -1), axis=-1)
    first = np.where(known.any(axis=-1), known.argmax(axis=-1), 0)[..., None]
    carried = np.take_along_axis(share, np.where(last < 0, first, last), axis=-1)
    return np.where(np.isnan(carried), RATIO_UNKNOWN, carried)
