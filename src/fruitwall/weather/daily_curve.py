"""From a day's lowest and highest temperature to its hours.

Linvill's curve: half a sine by day, a logarithm by night. Used to spin up soil and walls from daily records; where
hours exist they are used.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fruitwall.weather.stamps import solar_offset
from fruitwall.weather.sun import sun_elevation

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

SUNSET_ELEVATION_DEG = -0.833
"""Of the sun's centre at rise and set: refraction and half the disc."""

LAG_H = 4.0
"""Linvill's lag: the highest temperature comes two hours after solar noon, so the half sine is four hours longer than
the day. [h]"""

SHORTEST_DAY_H, LONGEST_DAY_H = 2.0, 22.0
"""Day length is kept within these, so that the curve exists beyond the polar circles. [h]"""

HOUR_S = 3600.0


def day_length(date: np.datetime64, latitude_deg: float, longitude_deg: float) -> float:
    """Give the hours from sunrise to sunset.

    Parameters
    ----------
    date : datetime64
        Local solar date.
    latitude_deg, longitude_deg : float
        Place.

    Returns
    -------
    float
        Day length, 0 to 24. [h]
    """
    noon = _solar_noon(date, longitude_deg)
    declination = np.radians(_declination(noon))
    latitude = np.radians(latitude_deg)
    horizon = np.sin(np.radians(SUNSET_ELEVATION_DEG)) - np.sin(latitude) * np.sin(declination)
    cosine = horizon / max(np.cos(latitude) * np.cos(declination), 1e-9)
    return float(2.0 * np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))) / 15.0)


def hourly_from_daily(
    dates: TimeArray, t_min_c: FloatArray, t_max_c: FloatArray, latitude_deg: float, longitude_deg: float
) -> tuple[TimeArray, FloatArray]:
    """Turn consecutive days of lowest and highest temperature into hours.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (day,)
        Consecutive local dates, at least two.
    t_min_c, t_max_c : ndarray, shape (day,)
        Lowest temperature, reached at sunrise, and highest, two hours after solar noon. [°C]
    latitude_deg, longitude_deg : float
        Place.

    Returns
    -------
    time_utc : ndarray of datetime64[s], shape (time,)
        Full UTC hours from the first sunrise to the last day's local mean solar midnight.
    t_air_c : ndarray, shape (time,)
        Air temperature. [°C]

    Raises
    ------
    ValueError
        If dates are not consecutive, lengths differ, or a minimum exceeds its maximum.

    Notes
    -----
    By day ``Tmin + (Tmax - Tmin) sin(pi t / (D + 4))`` with t hours after sunrise and D the day length; by night
    ``Ts - (Ts - Tmin') ln(t + 1) / ln(N + 1)`` with Ts the sunset temperature, N the night length and Tmin' the next
    morning's minimum [1]_. The added 1 starts the logarithm at the sunset temperature and ends it exactly at the next
    minimum. After the last day the last minimum is repeated.

    References
    ----------
    .. [1] Linvill, D. E. (1990). Calculating chilling hours and chill units from daily maximum and minimum temperature
       observations. HortScience 25, 14-16.
    """
    if dates.size < 2 or (np.diff(dates.astype("datetime64[D]")).astype(int) != 1).any():
        raise ValueError(f"dates must be at least two consecutive days, got {dates.size} with first {dates[0]}")
    if t_min_c.shape != dates.shape or t_max_c.shape != dates.shape:
        raise ValueError(f"t_min_c and t_max_c must have the shape {dates.shape}, got {t_min_c.shape}, {t_max_c.shape}")
    if (t_min_c > t_max_c).any():
        wrong = int((t_min_c > t_max_c).argmax())
        raise ValueError(
            f"t_min_c must not exceed t_max_c, got {t_min_c[wrong]:g} and {t_max_c[wrong]:g} on {dates[wrong]}"
        )
    lengths = np.array([day_length(date, latitude_deg, longitude_deg) for date in dates])
    lengths = np.clip(lengths, SHORTEST_DAY_H, LONGEST_DAY_H)
    noons = np.array([_solar_noon(date, longitude_deg) for date in dates], dtype="datetime64[s]").astype(np.int64)
    rises, sets = noons - lengths / 2 * HOUR_S, noons + lengths / 2 * HOUR_S
    next_rises = np.append(rises[1:], rises[-1] + 24 * HOUR_S)
    next_minima = np.append(t_min_c[1:], t_min_c[-1])
    first = np.ceil(rises[0] / HOUR_S) * HOUR_S
    midnight = noons[-1] + 12 * HOUR_S
    seconds = np.arange(first, midnight + 1, HOUR_S)
    day = np.clip(np.searchsorted(rises, seconds, side="right") - 1, 0, dates.size - 1)
    after_rise_h = (seconds - rises[day]) / HOUR_S
    after_set_h = np.maximum((seconds - sets[day]) / HOUR_S, 0.0)
    night_h = (next_rises[day] - sets[day]) / HOUR_S
    height = (t_max_c - t_min_c)[day]
    by_day = t_min_c[day] + height * np.sin(np.pi * after_rise_h / (lengths[day] + LAG_H))
    at_set = t_min_c[day] + height * np.sin(np.pi * lengths[day] / (lengths[day] + LAG_H))
    by_night = at_set - (at_set - next_minima[day]) * np.log(after_set_h + 1.0) / np.log(night_h + 1.0)
    return seconds.astype(np.int64).astype("datetime64[s]"), np.where(seconds <= sets[day], by_day, by_night)


def _solar_noon(date: np.datetime64, longitude_deg: float) -> np.datetime64:
    """Give local mean solar noon of a date in UTC."""
    offset_s = int(solar_offset(longitude_deg).total_seconds())
    midnight: np.datetime64 = date.astype("datetime64[D]").astype("datetime64[s]")
    return midnight + np.timedelta64(12 * 3600 - offset_s, "s")


def _declination(noon: np.datetime64) -> float:
    """Give the sun's declination: from the pole it stands as high as that. [degree]"""
    return float(sun_elevation(np.array([noon]), 90.0, 0.0)[0])
