"""Moisture and pressure of the air as FAO-56 has them, chapter 3.

`physics.air` has the same curves with more of them; this layer stands beside it and imports nothing from it. A test
holds the two together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fruitwall.plants.water.ranges import FloatArray, numbers


def saturation_kpa(t_c: ArrayLike) -> FloatArray:
    """Give the vapour pressure of saturated air, FAO-56 eq. 11. [°C] to [kPa]"""
    t = numbers("t_c", t_c)
    return np.asarray(0.6108 * np.exp(17.27 * t / (t + 237.3)))


def slope_kpa_per_k(t_c: ArrayLike) -> FloatArray:
    """Give how fast it rises with temperature, FAO-56 eq. 13. [kPa/K]"""
    t = numbers("t_c", t_c)
    return np.asarray(4098.0 * saturation_kpa(t) / (t + 237.3) ** 2)


def pressure_kpa(elevation_m: ArrayLike) -> FloatArray:
    """Give the mean pressure at a height above the sea, FAO-56 eq. 7. [kPa]"""
    return np.asarray(101.3 * ((293.0 - 0.0065 * numbers("elevation_m", elevation_m)) / 293.0) ** 5.26)


def psychrometric_kpa_per_k(elevation_m: ArrayLike) -> FloatArray:
    """Give the psychrometric constant, FAO-56 eq. 8. [kPa/K]"""
    return np.asarray(0.665e-3 * pressure_kpa(elevation_m))


def mean_saturation_kpa(t_min_c: ArrayLike, t_max_c: ArrayLike) -> FloatArray:
    """Give a day's mean saturation vapour pressure, FAO-56 eq. 12. [kPa]"""
    return np.asarray((saturation_kpa(t_min_c) + saturation_kpa(t_max_c)) / 2.0)


def actual_kpa(
    t_min_c: ArrayLike,
    t_max_c: ArrayLike,
    *,
    t_dew_c: ArrayLike | None = None,
    rh_min_pct: ArrayLike | None = None,
    rh_max_pct: ArrayLike | None = None,
    rh_mean_pct: ArrayLike | None = None,
) -> FloatArray:
    """Give a day's actual vapour pressure from the best that is given.

    Parameters
    ----------
    t_min_c, t_max_c : array_like
        The day's extremes. [°C]
    t_dew_c : array_like, optional
        Dew point: FAO-56 eq. 14, best. [°C]
    rh_min_pct, rh_max_pct : array_like, optional
        Lowest and highest humidity: eq. 17; the highest alone: eq. 18. [%]
    rh_mean_pct : array_like, optional
        Mean humidity: eq. 19. [%]

    Returns
    -------
    ndarray
        Without any of them the dew point is taken to be the minimum, eq. 48. [kPa]
    """
    if t_dew_c is not None:
        return saturation_kpa(t_dew_c)
    if rh_max_pct is not None:
        at_dawn = saturation_kpa(t_min_c) * numbers("rh_max_pct", rh_max_pct) / 100.0
        if rh_min_pct is None:
            return np.asarray(at_dawn)
        return np.asarray((at_dawn + saturation_kpa(t_max_c) * numbers("rh_min_pct", rh_min_pct) / 100.0) / 2.0)
    if rh_mean_pct is not None:
        return np.asarray(numbers("rh_mean_pct", rh_mean_pct) / 100.0 * mean_saturation_kpa(t_min_c, t_max_c))
    return saturation_kpa(t_min_c)


def wind_at_2m(wind_m_s: ArrayLike, height_m: ArrayLike) -> FloatArray:
    """Bring wind over short grass from another height to 2 m, FAO-56 eq. 47.

    Parameters
    ----------
    wind_m_s : array_like
    height_m : array_like
        Where it was measured, above 0.1 m. [m]

    Returns
    -------
    ndarray
        [m/s]
    """
    return np.asarray(numbers("wind_m_s", wind_m_s) * 4.87 / np.log(67.8 * numbers("height_m", height_m) - 5.42))
