"""Evaporation from the wet surface of bare soil: the dual crop coefficient of FAO-56, chapter 7.

The balance of a tree uses single coefficients, in which the soil's part is contained on average. This tells how long
the ground between goes on drying after it was wetted.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from fruitwall.plants.water.ranges import FloatArray, numbers


class SurfaceDays(NamedTuple):
    """By the day: Kr, Ke, Kc = Kcb + Ke [-], evaporation, depletion of the top layer at the end, drainage [mm]."""

    kr: FloatArray
    ke: FloatArray
    kc: FloatArray
    evaporation_mm: FloatArray
    depletion_mm: FloatArray
    drainage_mm: FloatArray


def highest_kc(kcb: ArrayLike, rh_min_pct: ArrayLike, wind_2m_m_s: ArrayLike, height_m: ArrayLike) -> FloatArray:
    """Give the upper limit of evaporation and transpiration after wetting, FAO-56 eq. 72.

    Parameters
    ----------
    kcb : array_like
        Basal crop coefficient. [-]
    rh_min_pct : array_like
        The day's lowest humidity. [%]
    wind_2m_m_s : array_like
        [m/s]
    height_m : array_like
        Of the plants. [m]

    Returns
    -------
    ndarray
        [-]
    """
    wind, humidity = numbers("wind_2m_m_s", wind_2m_m_s), numbers("rh_min_pct", rh_min_pct)
    added = (0.04 * (wind - 2.0) - 0.004 * (humidity - 45.0)) * (numbers("height_m", height_m) / 3.0) ** 0.3
    return np.asarray(np.maximum(1.2 + added, np.asarray(kcb, dtype=float) + 0.05))


def surface_days(
    et0_mm_d: ArrayLike,
    rain_mm: ArrayLike,
    irrigation_mm: ArrayLike,
    *,
    kcb: ArrayLike,
    kc_max: ArrayLike,
    wetted: ArrayLike,
    exposed_wetted: ArrayLike,
    total_mm: float,
    ready_mm: float,
    depletion_start_mm: float = 0.0,
) -> SurfaceDays:
    """March the top layer of bare soil through days, FAO-56 eq. 71, 74, 77.

    Parameters
    ----------
    et0_mm_d, rain_mm, irrigation_mm : array_like [day]
        Given early in the day, over the whole ground. [mm]
    kcb, kc_max : array_like [day]
        Basal coefficient, and its upper limit after wetting. [-]
    wetted, exposed_wetted : array_like [day]
        Share of the ground that irrigation or rain wetted; share that is wetted and not shaded. [0-1]
    total_mm, ready_mm : float
        Water that the layer can lose, and what it loses at full speed: TEW, REW. [mm]
    depletion_start_mm : float
        Missing at the start. [mm]

    Returns
    -------
    SurfaceDays
    """
    rows = np.broadcast_arrays(
        numbers("et0_mm_d", et0_mm_d, "amount"), numbers("rain_mm", rain_mm, "amount"),
        numbers("irrigation_mm", irrigation_mm, "amount"), np.asarray(kcb, dtype=float),
        np.asarray(kc_max, dtype=float), numbers("wetted", wetted, "share"),
        numbers("exposed_wetted", exposed_wetted, "share"),
    )  # fmt: skip
    missing, results = float(depletion_start_mm), []
    for et0, rain, given, basal, most, fw, few in zip(*(row.tolist() for row in rows), strict=True):
        wet = rain + given / fw
        drainage, missing = max(wet - missing, 0.0), max(missing - wet, 0.0)
        kr = 1.0 if missing <= ready_mm else max((total_mm - missing) / (total_mm - ready_mm), 0.0)
        ke = min(kr * (most - basal), few * most)
        lost = min(ke * et0 / few, total_mm - missing) * few
        missing += lost / few
        results.append((kr, ke, basal + ke, lost, missing, drainage))
    return SurfaceDays(*np.array(results).reshape(-1, 6).T)
