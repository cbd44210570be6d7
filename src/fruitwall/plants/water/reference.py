"""Reference evapotranspiration: what a short, well-watered grass would use in this weather.

FAO-56 Penman-Monteith by the day (eq. 6) and by the hour (eq. 53), the latter also with the constants of ASCE 2005, and
Hargreaves (eq. 52) for places of which only temperatures are known. Sun and wind are those of the spot: a tree in the
shade of a wall is reckoned by the sun that reaches it.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plants.water import radiation, vapour
from fruitwall.plants.water.ranges import FloatArray, numbers

Form = Literal["fao56", "asce"]
"""Which constants by the hour."""

MM_PER_MJ = 0.408
"""Water that a megajoule evaporates, FAO-56. [mm m²/MJ]"""

SHADE = {"fao56": (0.34, 0.34), "asce": (0.24, 0.96)}
"""Wind factor of the surface by day and by night, for each form: FAO-56 eq. 53; ASCE 2005, short reference. [s/m]"""

GROUND_SHARE_DAY, GROUND_SHARE_NIGHT = 0.1, 0.5
"""Share of the net radiation that goes into the ground in an hour, FAO-56 eq. 45 and 46. [-]"""

SECONDS_TO_MJ = 0.0036
"""Megajoules of a mean watt through an hour. [MJ/(W h)]"""


def penman_monteith_day(
    t_mean_c: ArrayLike,
    vpd_kpa: ArrayLike,
    wind_2m_m_s: ArrayLike,
    available_mj_m2: ArrayLike,
    elevation_m: ArrayLike,
) -> FloatArray:
    """Give the evapotranspiration of a day from what drives it, FAO-56 eq. 6.

    Parameters
    ----------
    t_mean_c : array_like
        Mean of the day's extremes. [°C]
    vpd_kpa : array_like
        Saturation less actual vapour pressure. [kPa]
    wind_2m_m_s : array_like
        Wind at 2 m. [m/s]
    available_mj_m2 : array_like
        Net radiation less what goes into the ground. [MJ/(m² d)]
    elevation_m : array_like
        Above the sea. [m]

    Returns
    -------
    ndarray
        Not below zero. [mm/d]
    """
    slope, gamma = vapour.slope_kpa_per_k(t_mean_c), vapour.psychrometric_kpa_per_k(elevation_m)
    t, wind = np.asarray(t_mean_c, dtype=float), numbers("wind_2m_m_s", wind_2m_m_s)
    dry = gamma * 900.0 / (t + 273.0) * wind * np.asarray(vpd_kpa)
    et = (MM_PER_MJ * slope * np.asarray(available_mj_m2) + dry) / (slope + gamma * (1.0 + 0.34 * wind))
    return np.asarray(np.maximum(et, 0.0))


def reference_et(
    t_min_c: ArrayLike,
    t_max_c: ArrayLike,
    *,
    wind_2m_m_s: ArrayLike,
    shortwave_mj_m2: ArrayLike,
    latitude_deg: ArrayLike,
    day_of_year: ArrayLike,
    elevation_m: ArrayLike,
    ea_kpa: ArrayLike | None = None,
    t_dew_c: ArrayLike | None = None,
    rh_min_pct: ArrayLike | None = None,
    rh_max_pct: ArrayLike | None = None,
    rh_mean_pct: ArrayLike | None = None,
    open_shortwave_mj_m2: ArrayLike | None = None,
    soil_heat_mj_m2: ArrayLike = 0.0,
    albedo: float = radiation.ALBEDO,
) -> FloatArray:
    """Give the reference evapotranspiration of a day, FAO-56 eq. 6.

    Parameters
    ----------
    t_min_c, t_max_c : array_like
        The day's extremes. [°C]
    wind_2m_m_s : array_like
        Mean wind at 2 m. [m/s]
    shortwave_mj_m2 : array_like
        Sun that the spot gets. [MJ/(m² d)]
    latitude_deg : array_like
        South is negative. [degrees]
    day_of_year : array_like
        1 to 366.
    elevation_m : array_like
        Above the sea. [m]
    ea_kpa : array_like, optional
        Actual vapour pressure [kPa]; else from what follows, in the order of `vapour.actual_kpa`.
    t_dew_c : array_like, optional
        Dew point. [°C]
    rh_min_pct, rh_max_pct, rh_mean_pct : array_like, optional
        Humidity. [%]
    open_shortwave_mj_m2 : array_like, optional
        Sun in the open, for the cloud; that of the spot if left out. [MJ/(m² d)]
    soil_heat_mj_m2 : array_like
        Into the ground: about 0 over a day, `monthly_soil_heat` over a month. [MJ/(m² d)]
    albedo : float
        Of the surface. [0-1]

    Returns
    -------
    ndarray
        [mm/d]

    Raises
    ------
    ValueError
        If an argument is outside its range or the minimum above the maximum.
    """
    low, high = numbers("t_min_c", t_min_c), numbers("t_max_c", t_max_c)
    if (low > high).any():
        raise ValueError("t_min_c must be at most t_max_c")
    if ea_kpa is None:
        ea = vapour.actual_kpa(
            low, high, t_dew_c=t_dew_c, rh_min_pct=rh_min_pct, rh_max_pct=rh_max_pct, rh_mean_pct=rh_mean_pct
        )
    else:
        ea = numbers("ea_kpa", ea_kpa)
    net = net_radiation_day(
        low,
        high,
        ea,
        shortwave_mj_m2,
        clear_mj_m2=radiation.clear_sky(radiation.extraterrestrial(latitude_deg, day_of_year), elevation_m),
        open_shortwave_mj_m2=open_shortwave_mj_m2,
        albedo=albedo,
    )
    vpd = vapour.mean_saturation_kpa(low, high) - ea
    return penman_monteith_day((low + high) / 2.0, vpd, wind_2m_m_s, net - np.asarray(soil_heat_mj_m2), elevation_m)


def net_radiation_day(
    t_min_c: ArrayLike,
    t_max_c: ArrayLike,
    ea_kpa: ArrayLike,
    shortwave_mj_m2: ArrayLike,
    *,
    clear_mj_m2: ArrayLike,
    open_shortwave_mj_m2: ArrayLike | None = None,
    albedo: float = radiation.ALBEDO,
) -> FloatArray:
    """Give the net radiation of a day, FAO-56 eq. 38-40.

    Parameters
    ----------
    t_min_c, t_max_c : array_like
        The day's extremes. [°C]
    ea_kpa : array_like
        Actual vapour pressure. [kPa]
    shortwave_mj_m2 : array_like
        Sun that the spot gets. [MJ/(m² d)]
    clear_mj_m2 : array_like
        Sun under a clear sky. [MJ/(m² d)]
    open_shortwave_mj_m2 : array_like, optional
        Sun in the open; that of the spot if left out. [MJ/(m² d)]
    albedo : float
        [0-1]

    Returns
    -------
    ndarray
        [MJ/(m² d)]
    """
    sun = numbers("shortwave_mj_m2", shortwave_mj_m2)
    seen = sun if open_shortwave_mj_m2 is None else numbers("open_shortwave_mj_m2", open_shortwave_mj_m2)
    clear = np.asarray(clear_mj_m2, dtype=float)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(clear > 0.0, seen / clear, radiation.RATIO_UNKNOWN)  # polar night has no sun to tell by
    lost = radiation.longwave_loss_day(t_min_c, t_max_c, ea_kpa, share)
    return np.asarray((1.0 - albedo) * sun - lost)


def monthly_soil_heat(t_before_c: ArrayLike, t_after_c: ArrayLike, *, months_between: int = 2) -> FloatArray:
    """Give the heat that goes into the ground in a month, FAO-56 eq. 43 and 44.

    Parameters
    ----------
    t_before_c, t_after_c : array_like
        Mean temperatures of the month before and the month after (of this month if `months_between` is 1). [°C]
    months_between : {1, 2}

    Returns
    -------
    ndarray
        [MJ/(m² d)]
    """
    factor = {1: 0.14, 2: 0.07}[months_between]
    return np.asarray(factor * (numbers("t_after_c", t_after_c, "t_c") - numbers("t_before_c", t_before_c, "t_c")))


def hargreaves_et(t_min_c: ArrayLike, t_max_c: ArrayLike, ra_mj_m2: ArrayLike) -> FloatArray:
    """Give the reference evapotranspiration from temperatures alone, FAO-56 eq. 52.

    Parameters
    ----------
    t_min_c, t_max_c : array_like
        The day's extremes. [°C]
    ra_mj_m2 : array_like
        Sun above the atmosphere, `radiation.extraterrestrial`. [MJ/(m² d)]

    Returns
    -------
    ndarray
        Not below zero. [mm/d]
    """
    low, high = numbers("t_min_c", t_min_c), numbers("t_max_c", t_max_c)
    if (low > high).any():
        raise ValueError("t_min_c must be at most t_max_c")
    mean = (low + high) / 2.0
    et = 0.0023 * (mean + 17.8) * np.sqrt(high - low) * MM_PER_MJ * numbers("ra_mj_m2", ra_mj_m2)
    return np.asarray(np.maximum(et, 0.0))


def penman_monteith_hour(
    t_c: ArrayLike,
    ea_kpa: ArrayLike,
    wind_2m_m_s: ArrayLike,
    net_mj_m2: ArrayLike,
    ground_mj_m2: ArrayLike,
    elevation_m: ArrayLike,
    form: Form = "fao56",
) -> FloatArray:
    """Give the evapotranspiration of an hour from what drives it, FAO-56 eq. 53.

    Parameters
    ----------
    t_c : array_like
        Mean temperature of the hour. [°C]
    ea_kpa : array_like
        Actual vapour pressure. [kPa]
    wind_2m_m_s : array_like
        [m/s]
    net_mj_m2, ground_mj_m2 : array_like
        Net radiation, and what of it goes into the ground. [MJ/(m² h)]
    elevation_m : array_like
        [m]
    form : {"fao56", "asce"}
        Constants of FAO-56 (the same day and night) or of ASCE 2005.

    Returns
    -------
    ndarray
        Not below zero: dew is not counted. [mm/h]
    """
    if form not in SHADE:
        raise ValueError(f"form must be one of {', '.join(SHADE)}, got {form!r}")
    by_day, by_night = SHADE[form]
    t, net = numbers("t_c", t_c), np.asarray(net_mj_m2, dtype=float)
    wind = numbers("wind_2m_m_s", wind_2m_m_s)
    slope, gamma = vapour.slope_kpa_per_k(t), vapour.psychrometric_kpa_per_k(elevation_m)
    dry = gamma * 37.0 / (t + 273.0) * wind * (vapour.saturation_kpa(t) - numbers("ea_kpa", ea_kpa))
    surface = np.where(net > 0.0, by_day, by_night)
    et = (MM_PER_MJ * slope * (net - np.asarray(ground_mj_m2)) + dry) / (slope + gamma * (1.0 + surface * wind))
    return np.asarray(np.maximum(et, 0.0))


def reference_et_hourly(
    t_c: ArrayLike,
    ea_kpa: ArrayLike,
    wind_2m_m_s: ArrayLike,
    shortwave_w_m2: ArrayLike,
    latitude_deg: float,
    longitude_deg: float,
    time_utc: NDArray[np.datetime64],
    elevation_m: float,
    *,
    form: Form = "fao56",
    open_shortwave_w_m2: ArrayLike | None = None,
    cloud: ArrayLike | None = None,
    albedo: float = radiation.ALBEDO,
) -> FloatArray:
    """Give the reference evapotranspiration of hours, FAO-56 eq. 53.

    Parameters
    ----------
    t_c : array_like [..., hour]
        Mean temperature. [°C]
    ea_kpa : array_like [..., hour]
        Actual vapour pressure. [kPa]
    wind_2m_m_s : array_like [..., hour]
        Wind at the spot. [m/s]
    shortwave_w_m2 : array_like [..., hour]
        Mean sun that the spot gets. [W/m²]
    latitude_deg, longitude_deg : float
        South and west are negative. [degrees]
    time_utc : ndarray of datetime64 [hour]
        Ends of the hours.
    elevation_m : float
        [m]
    form : {"fao56", "asce"}
        Constants of FAO-56 or of ASCE 2005; the latter give some hundredths of a millimetre more by day.
    open_shortwave_w_m2 : array_like [..., hour], optional
        Sun in the open, for the cloud; that of the spot if left out. [W/m²]
    cloud : array_like [..., hour], optional
        Share of the sky that is covered, for the hours of low sun and night. [0-1]
    albedo : float
        [0-1]

    Returns
    -------
    ndarray [..., hour]
        Not below zero. [mm/h]

    Notes
    -----
    The cloud of the longwave term is that of the sun while it is high, of `cloud` otherwise, and without it that of the
    last hour of high sun (FAO-56, ch. 4).
    """
    times = np.atleast_1d(np.asarray(time_utc))
    sun = radiation.hour_sun(latitude_deg, longitude_deg, times)
    clear = radiation.clear_sky(sun.ra_mj_m2, elevation_m)
    here = numbers("shortwave_w_m2", shortwave_w_m2) * SECONDS_TO_MJ
    seen = here if open_shortwave_w_m2 is None else numbers("open_shortwave_w_m2", open_shortwave_w_m2) * SECONDS_TO_MJ
    covered = None if cloud is None else numbers("cloud", cloud)
    share = radiation.clear_share_of_hours(np.atleast_1d(seen), clear, sun.height_sin, covered)
    net = (1.0 - albedo) * here - radiation.longwave_loss_hour(t_c, ea_kpa, share)
    ground = np.where(net > 0.0, GROUND_SHARE_DAY, GROUND_SHARE_NIGHT) * net
    return penman_monteith_hour(t_c, ea_kpa, wind_2m_m_s, net, ground, elevation_m, form)
