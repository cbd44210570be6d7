"""From a day's lowest and highest temperature to its hours.

Linvill's curve (`fruitwall.day_curve`), used to spin up soil and walls from daily records; where hours exist they are
used.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fruitwall.day_curve import LONGEST_DAY_H, SHORTEST_DAY_H, linvill
from fruitwall.weather.stamps import solar_offset
from fruitwall.weather.sun import sun_elevation

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

SUNSET_ELEVATION_DEG = -0.833
"""Of the sun's centre at rise and set: refraction and half the disc."""

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
    return float(day_lengths(np.array([date]), latitude_deg, longitude_deg)[0])


def day_lengths(dates: TimeArray, latitude_deg: float, longitude_deg: float) -> FloatArray:
    """Give the hours from sunrise to sunset of many dates.

    Parameters
    ----------
    dates : ndarray of datetime64, shape (day,)
        Local solar dates.
    latitude_deg, longitude_deg : float
        Place.

    Returns
    -------
    ndarray, shape (day,)
        Day lengths, 0 to 24. [h]
    """
    declination = np.radians(sun_elevation(solar_noons(dates, longitude_deg), 90.0, 0.0))  # so high above the pole
    latitude = np.radians(latitude_deg)
    horizon = np.sin(np.radians(SUNSET_ELEVATION_DEG)) - np.sin(latitude) * np.sin(declination)
    cosine = horizon / np.maximum(np.cos(latitude) * np.cos(declination), 1e-9)
    return np.asarray(2.0 * np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))) / 15.0)


def hourly_from_daily(
    dates: TimeArray,
    t_min_c: FloatArray,
    t_max_c: FloatArray,
    latitude_deg: float,
    longitude_deg: float,
    straight_share: float = 0.0,
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
    straight_share : float
        As in `fruitwall.day_curve.linvill`. [-]

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
    The curve is `fruitwall.day_curve.linvill` [1]_. After the last day the last minimum is repeated.

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
    lengths = np.clip(day_lengths(dates, latitude_deg, longitude_deg), SHORTEST_DAY_H, LONGEST_DAY_H)
    noons = solar_noons(dates, longitude_deg).astype(np.int64)
    rises, sets = noons - lengths / 2 * HOUR_S, noons + lengths / 2 * HOUR_S
    next_rises = np.append(rises[1:], rises[-1] + 24 * HOUR_S)
    next_minima = np.append(t_min_c[1:], t_min_c[-1])
    first = np.ceil(rises[0] / HOUR_S) * HOUR_S
    midnight = noons[-1] + 12 * HOUR_S
    seconds = np.arange(first, midnight + 1, HOUR_S)
    day = np.clip(np.searchsorted(rises, seconds, side="right") - 1, 0, dates.size - 1)
    after_rise_h = (seconds - rises[day]) / HOUR_S
    night_h = (next_rises[day] - sets[day]) / HOUR_S
    t_air_c = linvill(after_rise_h, lengths[day], night_h, t_min_c[day], t_max_c[day], next_minima[day], straight_share)
    return seconds.astype(np.int64).astype("datetime64[s]"), t_air_c


def solar_noons(dates: TimeArray, longitude_deg: float) -> TimeArray:
    """Give local mean solar noon of dates in UTC, datetime64[s] of shape (day,)."""
    offset_s = int(solar_offset(longitude_deg).total_seconds())
    midnights = dates.astype("datetime64[D]").astype("datetime64[s]")
    return np.asarray(midnights + np.timedelta64(12 * 3600 - offset_s, "s"))
