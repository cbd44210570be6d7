"""How strongly the ground cools the air tonight, from 0 (wind, cloud, day) to 1 (calm, clear, dry, late).

What makes one place of a yard colder than another on a frost night (hollow, inversion, distance from the weather
station) is made by radiative cooling and is torn down by wind. Such offsets are given for a full night of it and
scaled by the strength of the hour: what the sky takes, times what the wind leaves, times how far the night has come.

The shapes were read off two pairs of stations with years of hourly data (figures in docs/model-air-and-spot.md).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.air import saturation_vapour_pressure
from fruitwall.physics.checked import SHARE, Range, checked
from fruitwall.physics.sky import BEST_BY_EVIDENCE, emitted, longwave_down
from fruitwall.physics.sun import SUNSET_DEG, Times, day_and_hour

FloatArray = NDArray[np.float64]

FULL_LOSS_W_M2 = 90.0
"""Net longwave loss, at air temperature, that counts as full cooling; clear frost nights have 70-100. [W/m²]"""

HALF_WIND_M_S = 2.6
"""Wind at 10 m that halves what makes places differ. [m/s]"""

WIND_POWER = 3.0
"""How steeply it goes from calm to mixed. [-]"""

EVENING_H = 2.5
"""Time in which the differences grow to about two thirds after sunset; they begin half an hour before it. [h]"""

MORNING_H = 2.0
"""Time after sunrise in which they fall to a third. [h]"""

INVERSION_K = 1.2
"""Warming of the air per e-fold of height at full strength. [K]

The inversions of Californian orchards (2.8-7.2 K from the ground to 12-15 m, Goodall et al. 1957) would be 1.4-3.5 K.
Taken below them, because trees stir the air around them; over a meadow it takes off half of the error
(docs/validation.md).
"""

INVERSION_HEIGHTS_M = (0.3, 10.0)
"""Heights between which the profile is used; beyond them it is held. [m]"""


@checked()
def wind_factor(wind_m_s: ArrayLike) -> FloatArray:
    """Give the share of the differences between places that the wind leaves.

    Parameters
    ----------
    wind_m_s : array_like, any shape
        Wind at 10 m, 0 to 120. [m/s]

    Returns
    -------
    ndarray, shape of `wind_m_s`
        1/(1 + (u/2.6)³): 0.95 at 1, 0.4 at 3, 0.12 at 5 m/s. [0-1]
    """
    wind = np.asarray(wind_m_s, dtype=np.float64)
    return np.asarray(1.0 / (1.0 + (wind / HALF_WIND_M_S) ** WIND_POWER))


@checked()
def sky_factor(t_air_c: ArrayLike, t_dew_c: ArrayLike, cloud: ArrayLike) -> FloatArray:
    """Give the net longwave loss of a surface at air temperature, as a share of that of a clear dry night.

    Parameters
    ----------
    t_air_c, t_dew_c, cloud : array_like, broadcast
        Air temperature and dew point, -90 to 90, share of sky covered, 0 to 1. [°C], [°C], [-]

    Returns
    -------
    ndarray, broadcast shape
        At most 1; about 0.2 under full cloud. [0-1]
    """
    moisture = saturation_vapour_pressure(t_dew_c)
    loss = emitted(t_air_c) - longwave_down(t_air_c, moisture, cloud, BEST_BY_EVIDENCE)
    return np.clip(loss / FULL_LOSS_W_M2, 0.0, 1.0)


@checked()
def night_share(time_utc: Times, latitude_deg: ArrayLike, longitude_deg: ArrayLike) -> FloatArray:
    """Give how far the differences between places have grown by this time of the night.

    Parameters
    ----------
    time_utc : array_like of datetime64, broadcast
        Times in UTC.
    latitude_deg, longitude_deg : array_like, broadcast
        The place, -90 to 90 and -180 to 180. [degrees]

    Returns
    -------
    ndarray, broadcast shape
        0 by day, growing from half an hour before sunset as 1 - exp(-(h + 0.5)/2.5 h), fading after sunrise as
        exp(-(h/2 h)²). All through a polar night 1, under the midnight sun 0. [0-1]
    """
    half_day, hour = day_and_hour(time_utc, latitude_deg, longitude_deg, SUNSET_DEG)
    since_sunset = (hour - half_day + 0.5) % 24.0 - 0.5
    since_sunrise = (hour + half_day) % 24.0
    night = 24.0 - 2.0 * half_day
    grown = 1.0 - np.exp(-(np.minimum(since_sunset, night) + 0.5) / EVENING_H)
    faded = np.exp(-((since_sunrise / MORNING_H) ** 2)) * (1.0 - np.exp(-(night + 0.5) / EVENING_H))
    # On a short winter day the morning's share may not be gone when the evening's begins.
    share = np.maximum(np.where(since_sunset <= night, grown, 0.0), faded)
    polar = np.where(half_day <= 0.0, 1.0, 0.0)
    return np.where((half_day <= 0.0) | (half_day >= 12.0), polar, share)


@checked()
def cooling_strength(
    t_air_c: ArrayLike,
    t_dew_c: ArrayLike,
    wind_m_s: ArrayLike,
    cloud: ArrayLike,
    time_utc: Times | None = None,
    latitude_deg: ArrayLike = 0.0,
    longitude_deg: ArrayLike = 0.0,
) -> FloatArray:
    """Give the strength of radiative cooling, by which clear-night offsets are scaled.

    Parameters
    ----------
    t_air_c, t_dew_c, wind_m_s, cloud : array_like, broadcast
        Air temperature and dew point, wind at 10 m, share of sky covered. [°C], [°C], [m/s], [-]
    time_utc : array_like of datetime64, broadcast, optional
        Times in UTC; without it the late night.
    latitude_deg, longitude_deg : array_like, broadcast
        The place, used with `time_utc`. [degrees]

    Returns
    -------
    ndarray, broadcast shape
        `sky_factor` times `wind_factor` times `night_share`. [0-1]

    Raises
    ------
    ValueError
        If a value is outside its range. NaN gives NaN.

    Examples
    --------
    >>> [round(float(cooling_strength(0.0, -5.0, wind, cloud)), 2) for wind, cloud in ((0.5, 0), (0.5, 1), (5, 0))]
    [0.96, 0.15, 0.12]
    """
    strength = sky_factor(t_air_c, t_dew_c, cloud) * wind_factor(wind_m_s)
    if time_utc is None:
        return np.asarray(strength)
    return np.asarray(strength * night_share(time_utc, latitude_deg, longitude_deg))


@checked(height_m=Range(0.0, 1000.0, "m", low_open=True), strength=SHARE, reference_m=Range(0.1, 100.0, "m"))
def inversion_k(height_m: ArrayLike, strength: ArrayLike, reference_m: float = 2.0) -> FloatArray:
    """Give how much warmer the air is at a height than in the thermometer shelter.

    Parameters
    ----------
    height_m : array_like, broadcast
        Height above the ground, greater than 0. [m]
    strength : array_like, broadcast
        Cooling strength, 0 to 1.
    reference_m : float
        Height of the shelter. [m]

    Returns
    -------
    ndarray, broadcast shape
        1.2 K times ln(z/reference) times strength, z held between 0.3 and 10 m; negative below the shelter. [K]

    Examples
    --------
    >>> [round(float(inversion_k(z, 1.0)), 1) for z in (0.5, 2.0, 5.0)]
    [-1.7, 0.0, 1.1]
    """
    height = np.clip(np.asarray(height_m, dtype=np.float64), *INVERSION_HEIGHTS_M)
    return np.asarray(INVERSION_K * np.log(height / reference_m) * np.asarray(strength, dtype=np.float64))
