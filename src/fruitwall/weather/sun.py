"""Where the sun stands and how much of it reaches flat ground, for sources that give no radiation.

Sun position after Meeus' short series, clear sky after Haurwitz, cloud after Kasten and Czeplak. A stand-in only:
where a service gives irradiance it is used. Sun on walls and crowns is left to `physics`, which takes `orbit` from
here where a small answer (the hour of sunset) is not worth loading pvlib, and pvlib's positions elsewhere.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

J2000 = np.datetime64("2000-01-01T12:00:00", "s")

# Kasten and Czeplak (1980): G = G0 (1 - 0.75 N^3.4) with N the share of sky covered.
CLOUD_LOSS, CLOUD_POWER = 0.75, 3.4

SUBSTEPS = 6
"""Instants per hour over which the mean of the hour is taken."""

LEAST_CLEAR_SUN_W_M2 = 80.0
"""Weakest clear-sky sun from which cloud is inferred; nearer the horizon the ratio is noise. [W/m²]"""


class Orbit(NamedTuple):
    """The sun as seen from the centre of the Earth, and how far the Earth has turned; arrays of the shape of the days.

    declination_deg, right_ascension_deg : place among the stars [degrees]; distance_au : of the sun; sidereal_deg :
    mean sidereal time of Greenwich, 0 to 360 [degrees].
    """

    declination_deg: FloatArray
    right_ascension_deg: FloatArray
    distance_au: FloatArray
    sidereal_deg: FloatArray


def days_since_2000(time_utc: NDArray[np.datetime64]) -> FloatArray:
    """Give the days from noon of 1 January 2000, UTC; NaT gives NaN. [d]"""
    seconds = (time_utc.astype("datetime64[s]") - J2000).astype(np.float64)
    return np.where(np.isnat(time_utc), np.nan, seconds / 86_400.0)


def orbit(time_utc: NDArray[np.datetime64]) -> Orbit:
    """Give the sun's place among the stars.

    Parameters
    ----------
    time_utc : ndarray of datetime64, any shape
        Instants, years 1950 to 2100; NaT gives NaN.

    Returns
    -------
    Orbit
        Good to 0.015 degrees.

    Notes
    -----
    Low-accuracy series of Meeus (1998), *Astronomical Algorithms*, 2nd ed., ch. 12 and 25, in the form used by NOAA's
    solar calculator.
    """
    days = days_since_2000(time_utc)
    century = days / 36_525.0
    mean_longitude = 280.46646 + century * (36_000.76983 + 0.0003032 * century)
    anomaly = np.radians(357.52911 + century * (35_999.05029 - 0.0001537 * century))
    eccentricity = 0.016708634 - century * (0.000042037 + 0.0000001267 * century)
    centre = (
        np.sin(anomaly) * (1.914602 - century * (0.004817 + 0.000014 * century))
        + np.sin(2.0 * anomaly) * (0.019993 - 0.000101 * century)
        + np.sin(3.0 * anomaly) * 0.000289
    )
    node = np.radians(125.04 - 1934.136 * century)
    longitude = np.radians(mean_longitude + centre - 0.00569 - 0.00478 * np.sin(node))
    tilt = np.radians(23.439291 - 0.0130042 * century + 0.00256 * np.cos(node))
    distance = 1.000001018 * (1.0 - eccentricity**2) / (1.0 + eccentricity * np.cos(anomaly + np.radians(centre)))
    return Orbit(
        np.degrees(np.arcsin(np.sin(tilt) * np.sin(longitude))),
        np.degrees(np.arctan2(np.cos(tilt) * np.sin(longitude), np.cos(longitude))),
        np.asarray(distance),
        np.asarray((280.46061837 + 360.98564736629 * days) % 360.0),
    )


def sun_elevation(time_utc: NDArray[np.datetime64], latitude_deg: float, longitude_deg: float) -> FloatArray:
    """Give the height of the sun's centre above the horizon, without refraction.

    Parameters
    ----------
    time_utc : ndarray of datetime64, any shape
        Instants, years 1950 to 2100.
    latitude_deg, longitude_deg : float
        Place, north and east positive.

    Returns
    -------
    ndarray, shape of `time_utc`
        Elevation, within 0.02 degrees of a full ephemeris. [degree]
    """
    sun = orbit(time_utc)
    hour_angle = np.radians(sun.sidereal_deg + longitude_deg - sun.right_ascension_deg)
    latitude, declination = np.radians(latitude_deg), np.radians(sun.declination_deg)
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))))


def haurwitz(elevation_deg: ArrayLike) -> FloatArray:
    """Give the global horizontal irradiance under a clear sky. [W/m²]

    Parameters
    ----------
    elevation_deg : array_like
        Height of the sun; 0 and below gives 0. [degree]

    Notes
    -----
    ``1098 cos(z) exp(-0.059 / cos(z))``: Haurwitz, B. (1945), J. Meteorol. 2, 154-166, with the coefficients as used
    by Reno, Hansen and Stein (2012), SAND2012-2389.
    """
    cosine = np.sin(np.radians(np.asarray(elevation_deg, dtype=np.float64)))
    up = np.maximum(cosine, 1e-6)
    return np.asarray(np.where(cosine > 0, 1098.0 * up * np.exp(-0.059 / up), 0.0))


def clear_sun(time_utc: NDArray[np.datetime64], latitude_deg: float, longitude_deg: float) -> FloatArray:
    """Give the clear-sky irradiance of flat ground, mean of the hour that ends at each stamp.

    Parameters
    ----------
    time_utc : ndarray of datetime64, shape (time,)
        Ends of the hours.
    latitude_deg, longitude_deg : float
        Place.

    Returns
    -------
    ndarray, shape (time,)
        Global horizontal irradiance. [W/m²]
    """
    middles = (np.arange(SUBSTEPS) + 0.5) / SUBSTEPS * 3600.0 - 3600.0
    instants = time_utc.astype("datetime64[s]")[..., None] + middles.astype("timedelta64[s]")
    return np.asarray(haurwitz(sun_elevation(instants, latitude_deg, longitude_deg)).mean(axis=-1))


def cloud_transmission(cloud: ArrayLike) -> FloatArray:
    """Give the share of clear-sky sun that passes a cloud cover.

    Parameters
    ----------
    cloud : array_like
        Share of sky covered, 0 to 1; clipped to that.

    Returns
    -------
    ndarray
        1 under a clear sky, 0.25 under an overcast one.

    References
    ----------
    Kasten, F. and Czeplak, G. (1980). Solar and terrestrial radiation dependent on the amount and type of cloud.
    Solar Energy 24, 177-189.
    """
    return np.asarray(1.0 - CLOUD_LOSS * np.clip(np.asarray(cloud, dtype=np.float64), 0.0, 1.0) ** CLOUD_POWER)


def cloud_from_transmission(share: ArrayLike) -> FloatArray:
    """Turn `cloud_transmission` round: cloud from the share of clear-sky sun that arrives."""
    loss = np.clip((1.0 - np.asarray(share, dtype=np.float64)) / CLOUD_LOSS, 0.0, 1.0)
    return np.asarray(loss ** (1.0 / CLOUD_POWER))


def cloud_from_sun(
    shortwave_w_m2: FloatArray, time_utc: NDArray[np.datetime64], latitude_deg: float, longitude_deg: float
) -> FloatArray:
    """Infer cloud cover from measured or forecast sun; nights lie on a line between evening and morning.

    Parameters
    ----------
    shortwave_w_m2 : ndarray, shape (member, time)
        Global horizontal irradiance, mean of the hour that ends at the stamp. [W/m²]
    time_utc : ndarray of datetime64, shape (time,)
        Ends of the hours.
    latitude_deg, longitude_deg : float
        Place.

    Returns
    -------
    ndarray, shape (member, time)
        Share of sky covered. All zero if the sun is nowhere high enough to tell.
    """
    clear = clear_sun(time_utc, latitude_deg, longitude_deg)
    known = clear > LEAST_CLEAR_SUN_W_M2
    if not known.any():
        return np.zeros_like(shortwave_w_m2)
    by_day = cloud_from_transmission(shortwave_w_m2[:, known] / clear[known])
    steps = np.arange(time_utc.size, dtype=np.float64)
    return np.stack([np.interp(steps, steps[known], row) for row in by_day])
