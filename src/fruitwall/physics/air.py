"""How much water the air holds and what that means in degrees: the psychrometrics of a frost night.

Vapour pressures are in kPa, as in FAO-56. Below 0 °C water and ice have different curves and therefore two
temperatures for one moisture: the *dew point* (over supercooled water, as stations and forecasts report it) and the
*frost point* (over ice, up to 1 K higher at -10 °C). Frost forms below the frost point. Many printed tables call the
frost point a dew point.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.checked import TEMPERATURE, Range, checked
from fruitwall.physics.constants import (
    GAS_CONSTANT_AIR,
    HEAT_CAPACITY_AIR,
    STANDARD_PRESSURE_KPA,
    WATER_TO_AIR,
    ZERO_C_K,
)

FloatArray = NDArray[np.float64]

# e = E_ZERO * exp(A * t / (t + B)), t in °C, e in kPa.
E_ZERO = 0.6108
"""Saturation vapour pressure at 0 °C, FAO-56 eq. 11; used for ice too, so that both curves meet there. [kPa]"""

WATER = (17.27, 237.3)
"""A [-] and B [°C] over water: FAO-56 eq. 11, after Tetens 1930."""

ICE = (22.46, 272.62)
"""A [-] and B [°C] over ice: Magnus form of WMO-No. 8, annex 4.B (from memory), after Sonntag 1990.

Within 0.1 % of the handbook table from -20 to 0 °C (tests/checks/air.yaml). Murray's 21.875 and 265.5, which are
often printed, are 0.4 % low at -20 °C.
"""

PSYCHROMETER_WATER = 0.000662
"""Coefficient of a ventilated wet bulb, FAO-56 eq. 16. [1/K]"""

PSYCHROMETER_ICE = 0.000583
"""The same over an iced bulb: smaller by the ratio of the heats of evaporation and sublimation. [1/K]"""

WET_BULB_TOLERANCE_K = 1e-9


@checked(t_c=TEMPERATURE)
def saturation_vapour_pressure(t_c: ArrayLike, *, over_ice: bool = False) -> FloatArray:
    """Give the vapour pressure of saturated air.

    Parameters
    ----------
    t_c : array_like, any shape
        Temperature, -90 to 90. [°C]
    over_ice : bool
        Over ice where `t_c` is below 0 °C; above there is no ice and the value is that over water.

    Returns
    -------
    ndarray, shape of `t_c`
        Saturation vapour pressure. [kPa]

    Raises
    ------
    ValueError
        If a temperature is outside its range. NaN gives NaN.

    Notes
    -----
    Over water 0.6108 exp(17.27 t / (t + 237.3)), eq. 11 of [1]_; within 0.1 % of the handbook table from 0 to 40 °C.
    Over ice 0.6108 exp(22.46 t / (t + 272.62)), see `ICE`. The mean of a day is the mean of the vapour pressures of
    maximum and minimum, not the vapour pressure of the mean (example 3 of [1]_).

    References
    ----------
    .. [1] Allen, R. G., Pereira, L. S., Raes, D. and Smith, M. (1998). Crop evapotranspiration. FAO Irrigation and
       Drainage Paper 56, Rome.

    Examples
    --------
    >>> round(float(saturation_vapour_pressure(24.5)), 3)  # example 3 of [1]_
    3.075
    >>> round(float(saturation_vapour_pressure(-10.0, over_ice=True)), 4)
    0.2597
    """
    return _saturation(np.asarray(t_c, dtype=np.float64), over_ice=over_ice)


def _saturation(t: FloatArray, *, over_ice: bool) -> FloatArray:
    """Saturation vapour pressure of an array in its range. [kPa]"""
    pressure = E_ZERO * np.exp(WATER[0] * t / (t + WATER[1]))
    if over_ice:
        frozen = np.minimum(t, 0.0)
        pressure = np.where(t < 0.0, E_ZERO * np.exp(ICE[0] * frozen / (frozen + ICE[1])), pressure)
    return np.asarray(pressure)


@checked(t_c=TEMPERATURE)
def slope_of_saturation(t_c: ArrayLike) -> FloatArray:
    """Give how steeply the saturation vapour pressure over water rises with temperature.

    Parameters
    ----------
    t_c : array_like, any shape
        Temperature, -90 to 90. [°C]

    Returns
    -------
    ndarray, shape of `t_c`
        Slope, eq. 13 of FAO-56 (derivative of its eq. 11). [kPa/K]
    """
    t = np.asarray(t_c, dtype=np.float64)
    return np.asarray(WATER[0] * WATER[1] * _saturation(t, over_ice=False) / (t + WATER[1]) ** 2)


@checked(ea_kpa=Range(0.0, 75.0, "kPa", low_open=True))
def dew_point(ea_kpa: ArrayLike) -> FloatArray:
    """Give the temperature at which air of this moisture is saturated over water.

    Parameters
    ----------
    ea_kpa : array_like, any shape
        Vapour pressure, greater than 0 and at most 75. [kPa]

    Returns
    -------
    ndarray, shape of `ea_kpa`
        Dew point; below 0 °C over supercooled water, as forecasts give it. [°C]

    Raises
    ------
    ValueError
        If a pressure is outside its range. NaN gives NaN.

    Notes
    -----
    Inverse of FAO-56 eq. 11.

    Examples
    --------
    >>> round(float(dew_point(0.2865)), 2)
    -9.97
    """
    return _inverse(np.asarray(ea_kpa, dtype=np.float64), WATER)


@checked(ea_kpa=Range(0.0, 75.0, "kPa", low_open=True))
def frost_point(ea_kpa: ArrayLike) -> FloatArray:
    """Give the temperature below which frost (above 0 °C: dew) forms in air of this moisture.

    Parameters
    ----------
    ea_kpa : array_like, any shape
        Vapour pressure, greater than 0 and at most 75. [kPa]

    Returns
    -------
    ndarray, shape of `ea_kpa`
        Frost point: saturation over ice, or the dew point where that is 0 °C or above. [°C]

    Raises
    ------
    ValueError
        If a pressure is outside its range. NaN gives NaN.

    Notes
    -----
    Near 0 °C it lies a tenth of its depth closer to 0 °C than the dew point. What the old psychrometric tables print
    as dew point below freezing is this frost point.

    Examples
    --------
    >>> round(float(frost_point(0.2865)), 2)
    -8.89
    """
    pressure = np.asarray(ea_kpa, dtype=np.float64)
    return np.where(pressure < E_ZERO, _inverse(pressure, ICE), _inverse(pressure, WATER))


def _inverse(pressure: FloatArray, curve: tuple[float, float]) -> FloatArray:
    """Temperature at which a curve has this pressure. [°C]"""
    logarithm = np.log(pressure / E_ZERO)
    return np.asarray(curve[1] * logarithm / (curve[0] - logarithm))


@checked()
def wet_bulb(
    t_c: ArrayLike,
    t_dew_c: ArrayLike,
    p_kpa: ArrayLike = STANDARD_PRESSURE_KPA,
    *,
    over_ice: bool = False,
) -> FloatArray:
    """Give the temperature of a ventilated wet bulb.

    Parameters
    ----------
    t_c, t_dew_c : array_like, broadcast together
        Air temperature and dew point (over water), -90 to 90; the dew point is at most the air temperature. [°C]
    p_kpa : array_like, broadcast with them
        Air pressure, 30 to 120. [kPa]
    over_ice : bool
        Whether a bulb below 0 °C is iced. A wet leaf freezes some degrees below 0 °C only, so water is the default.

    Returns
    -------
    ndarray, broadcast shape
        Wet-bulb temperature, between dew point and air temperature (iced: between frost point and air
        temperature, of which in moist air either may be the higher). [°C]

    Raises
    ------
    ValueError
        If a value is outside its range, or a dew point is above its air temperature. NaN gives NaN.

    Notes
    -----
    Solves e(tw) - A p (t - tw) = e(td) by Newton's method from the air temperature; eq. 15 of [1]_ with A of its
    eq. 16 (0.000662 1/K), over ice 0.000583. The thermodynamic wet bulb of handbooks differs by a few hundredths.

    References
    ----------
    .. [1] Allen, R. G., Pereira, L. S., Raes, D. and Smith, M. (1998). Crop evapotranspiration. FAO Irrigation and
       Drainage Paper 56, Rome.

    Examples
    --------
    >>> round(float(wet_bulb(2.0, -4.0)), 1)
    -0.2
    """
    t, td, p = np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in (t_c, t_dew_c, p_kpa)))
    if (above := td > t).any():
        dew, air = float(td[above].flat[0]), float(t[above].flat[0])
        raise ValueError(f"t_dew_c must be at most t_c, got t_dew_c {dew!r} with t_c {air!r}")
    moisture = _saturation(td, over_ice=False)
    bulb = _solve_bulb(t, moisture, PSYCHROMETER_WATER * p, WATER)
    if over_ice:
        # The iced bulb is the colder one above saturation over ice, so a wet bulb below 0 °C has an iced one below
        # 0 °C; in air between the two saturations ice gathers vapour and the iced bulb is the warmer.
        bulb = np.where(bulb < 0.0, _solve_bulb(np.minimum(t, 0.0), moisture, PSYCHROMETER_ICE * p, ICE, air=t), bulb)
    return bulb


def _solve_bulb(
    start: FloatArray,
    moisture: FloatArray,
    coefficient: FloatArray,
    curve: tuple[float, float],
    air: FloatArray | None = None,
) -> FloatArray:
    """Newton's method for e(x) + c x = e_a + c t; the left side is convex and rising, so it cannot run away."""
    t = start if air is None else air
    right = moisture + coefficient * t
    x = np.array(start, dtype=np.float64)
    for _ in range(30):
        pressure = E_ZERO * np.exp(curve[0] * x / (x + curve[1]))
        slope = curve[0] * curve[1] * pressure / (x + curve[1]) ** 2 + coefficient
        step = (pressure + coefficient * x - right) / slope
        x -= step
        if not np.any(np.abs(step) > WET_BULB_TOLERANCE_K):
            break
    return x


@checked()
def pressure_at(elevation_m: ArrayLike) -> FloatArray:
    """Give the mean air pressure at an elevation.

    Parameters
    ----------
    elevation_m : array_like, any shape
        Height above sea level, -500 to 9000. [m]

    Returns
    -------
    ndarray, shape of `elevation_m`
        Air pressure. [kPa]

    Raises
    ------
    ValueError
        If a height is outside its range. NaN gives NaN.

    Notes
    -----
    Simplified gas law for 20 °C, eq. 7 of [1]_. A mean value, not today's weather.

    References
    ----------
    .. [1] Allen, R. G., Pereira, L. S., Raes, D. and Smith, M. (1998). Crop evapotranspiration. FAO Irrigation and
       Drainage Paper 56, Rome.

    Examples
    --------
    >>> round(float(pressure_at(1800.0)), 1)  # example 2 of [1]_
    81.8
    """
    z = np.asarray(elevation_m, dtype=np.float64)
    return np.asarray(101.3 * ((293.0 - 0.0065 * z) / 293.0) ** 5.26)


@checked()
def psychrometric_constant(p_kpa: ArrayLike) -> FloatArray:
    """Give the psychrometric constant of FAO-56, 0.000665 p (its eq. 8).

    Parameters
    ----------
    p_kpa : array_like, any shape
        Air pressure, 30 to 120. [kPa]

    Returns
    -------
    ndarray, shape of `p_kpa`
        Psychrometric constant. [kPa/K]
    """
    return np.asarray(0.000665 * np.asarray(p_kpa, dtype=np.float64))


@checked()
def vapour_pressure(t_c: ArrayLike, rh_pct: ArrayLike) -> FloatArray:
    """Give the vapour pressure of air from its relative humidity.

    Parameters
    ----------
    t_c : array_like, broadcast
        Air temperature, -90 to 90. [°C]
    rh_pct : array_like, broadcast
        Relative humidity over water (the convention of stations, below 0 °C too), 0 to 100. [%]

    Returns
    -------
    ndarray, broadcast shape
        Vapour pressure. [kPa]
    """
    t = np.asarray(t_c, dtype=np.float64)
    return np.asarray(np.asarray(rh_pct, dtype=np.float64) / 100.0 * _saturation(t, over_ice=False))


@checked()
def humidity_ratio(ea_kpa: ArrayLike, p_kpa: ArrayLike = STANDARD_PRESSURE_KPA) -> FloatArray:
    """Give the mass of vapour per mass of dry air.

    Parameters
    ----------
    ea_kpa : array_like, broadcast
        Vapour pressure, 0 to 75 and below `p_kpa`. [kPa]
    p_kpa : array_like, broadcast
        Air pressure, 30 to 120. [kPa]

    Returns
    -------
    ndarray, broadcast shape
        Humidity ratio. [kg/kg]

    Raises
    ------
    ValueError
        If a value is outside its range or the vapour pressure reaches the air pressure.
    """
    ea, p = np.asarray(ea_kpa, dtype=np.float64), np.asarray(p_kpa, dtype=np.float64)
    if (ea >= p).any():
        raise ValueError(f"ea_kpa must be less than p_kpa, got {float(np.nanmax(ea))!r} with {float(np.nanmin(p))!r}")
    return np.asarray(WATER_TO_AIR * ea / (p - ea))


@checked()
def air_density(t_c: ArrayLike, ea_kpa: ArrayLike = 0.0, p_kpa: ArrayLike = STANDARD_PRESSURE_KPA) -> FloatArray:
    """Give the density of moist air.

    Parameters
    ----------
    t_c : array_like, broadcast
        Air temperature, -90 to 90. [°C]
    ea_kpa : array_like, broadcast
        Vapour pressure, 0 to 75. [kPa]
    p_kpa : array_like, broadcast
        Air pressure, 30 to 120. [kPa]

    Returns
    -------
    ndarray, broadcast shape
        Density by the gas law; vapour is lighter than the air it displaces. [kg/m³]
    """
    t, ea, p = (np.asarray(value, dtype=np.float64) for value in (t_c, ea_kpa, p_kpa))
    return np.asarray(1000.0 * (p - (1.0 - WATER_TO_AIR) * ea) / (GAS_CONSTANT_AIR * (t + ZERO_C_K)))


@checked()
def volumetric_heat_capacity(t_c: ArrayLike, p_kpa: ArrayLike = STANDARD_PRESSURE_KPA) -> FloatArray:
    """Give the heat that one cubic metre of dry air takes up per kelvin.

    Parameters
    ----------
    t_c : array_like, broadcast
        Air temperature, -90 to 90. [°C]
    p_kpa : array_like, broadcast
        Air pressure, 30 to 120. [kPa]

    Returns
    -------
    ndarray, broadcast shape
        Density times specific heat; 1300 J/(m³ K), or 0.36 Wh/(m³ K), at 0 °C and sea level. [J/(m³ K)]
    """
    return np.asarray(HEAT_CAPACITY_AIR * air_density(t_c, 0.0, p_kpa))
