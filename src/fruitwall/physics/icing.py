"""Wet plants and sheathing ice: how cold water makes a leaf, and what sprinkling gives and takes.

Only what a caution needs. A wet leaf in dry moving air is colder than the air, down to its wet bulb. Water that freezes
on it gives heat, but one part that evaporates takes what seven and a half parts give by freezing: sprinkling helps
only while enough water freezes without pause, from before the wet bulb falls to 0 °C until it is back above. No model
of the ice on a crown is made here.

References
----------
.. [1] Snyder, R. L. and de Melo-Abreu, J. P. (2005). Frost Protection: Fundamentals, Practice and Economics, vol. 1.
   FAO Environment and Natural Resources Series 10, pp. 65 and 168.
.. [2] Parsons, L. R. (1995). Cold protection by irrigation: dew point and humidity terminology. UF/IFAS HS-76.
.. [3] Harrison, D. S., Gerber, J. F. and Choate, R. E., UF/IFAS Circular 348, as quoted by Jackson, Parsons and
   Martsolf.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.air import PSYCHROMETER_WATER, saturation_vapour_pressure, wet_bulb
from fruitwall.physics.checked import RANGES, TEMPERATURE, Range, checked
from fruitwall.physics.constants import STANDARD_PRESSURE_KPA

FloatArray = NDArray[np.float64]

FUSION_J_KG = 334e3
"""Heat that water gives off by freezing: 80 cal/g [2]_. [J/kg]"""

EVAPORATION_J_KG = 2.501e6
"""Heat that it takes to evaporate at 0 °C, p. 65 of [1]_. [J/kg]"""

WATER_J_KGK = 4186.0
"""Specific heat of water near room temperature; 4186 to 4190 in the tables used here. [J/(kg K)]"""

EVAPORATION_OVER_FREEZING = EVAPORATION_J_KG / FUSION_J_KG
"""So many parts must freeze to make up for one that evaporates: 7.5. [-]"""

LEAST_RATE_MM_H = 6.35
"""Water that sprinkling takes at least, without pause: 0.25 inch an hour [2]_. [mm/h]"""

NURSERY_RATE_MM_H = 8.89
"""What nurseries take: 0.35 inch an hour [2]_. [mm/h]"""

SAFE_WET_BULB_C = 0.0
"""Sprinkling may begin and end where the wet bulb is at or above this: 32 °F [3]_. [°C]"""

PRESSURE = RANGES["p_kpa"]


@checked(pressure_kpa=PRESSURE)
def wet_foliage_drop_k(
    t_air_c: ArrayLike, t_dew_c: ArrayLike, pressure_kpa: ArrayLike = STANDARD_PRESSURE_KPA
) -> FloatArray:
    """Give how far below the air a wet leaf falls in moving air, by evaporation alone.

    Parameters
    ----------
    t_air_c, t_dew_c : array_like, broadcast
        Air temperature and dew point (over water), -90 to 90; the dew point is at most the air temperature. [°C]
    pressure_kpa : array_like, broadcast
        Air pressure, 30 to 120. [kPa]

    Returns
    -------
    ndarray, broadcast shape
        Air temperature minus wet bulb, at least 0. [K]

    Raises
    ------
    ValueError
        If a value is outside its range or a dew point above its air temperature. NaN gives NaN.

    Notes
    -----
    Below 0 °C the water may still be liquid or already ice, and the two bulbs differ by a tenth or two: the colder of
    them counts, because this is for a caution. What the sky takes from a leaf in calm air comes on top.

    Examples
    --------
    >>> round(float(wet_foliage_drop_k(1.0, -8.0)), 1)
    3.1
    """
    air = np.asarray(t_air_c, dtype=np.float64)
    water = wet_bulb(air, t_dew_c, pressure_kpa)
    colder = np.minimum(water, wet_bulb(air, t_dew_c, pressure_kpa, over_ice=True))
    return np.asarray(np.maximum(air - colder, 0.0))


@checked(t_wet_c=TEMPERATURE, pressure_kpa=PRESSURE)
def sprinkling_start_c(
    t_dew_c: ArrayLike, t_wet_c: ArrayLike = SAFE_WET_BULB_C, pressure_kpa: ArrayLike = STANDARD_PRESSURE_KPA
) -> FloatArray:
    """Give the air temperature at which the wet bulb is at a critical value: when to start and may stop sprinkling.

    Parameters
    ----------
    t_dew_c : array_like, broadcast
        Dew point (over water), at most `t_wet_c`, -90 to 90. [°C]
    t_wet_c : array_like, broadcast
        Wet bulb that must not be passed: 0 unless the plant stands less or more. [°C]
    pressure_kpa : array_like, broadcast
        Air pressure, 30 to 120. [kPa]

    Returns
    -------
    ndarray, broadcast shape
        Air temperature. [°C]

    Raises
    ------
    ValueError
        If a value is outside its range or a dew point above its wet bulb. NaN gives NaN.

    Notes
    -----
    ``T = Tw + (e(Tw) - e(Td)) / (A p)``, the psychrometer equation of `physics.air.wet_bulb` solved for the air; the
    structure of table 7.5 of [1]_.

    Examples
    --------
    >>> round(float(sprinkling_start_c(-4.0)), 1)
    2.3
    """
    dew, wet, pressure = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in (t_dew_c, t_wet_c, pressure_kpa))
    )
    if (above := dew > wet).any():
        raise ValueError(
            f"t_dew_c must be at most t_wet_c, got t_dew_c {float(dew[above].flat[0])!r} with t_wet_c "
            f"{float(wet[above].flat[0])!r}"
        )
    lacking = saturation_vapour_pressure(wet) - saturation_vapour_pressure(dew)
    return np.asarray(wet + lacking / (PSYCHROMETER_WATER * pressure))


@checked(pressure_kpa=PRESSURE)
def sprinkling_must_run(
    t_air_c: ArrayLike, t_dew_c: ArrayLike, pressure_kpa: ArrayLike = STANDARD_PRESSURE_KPA
) -> NDArray[np.bool_]:
    """Tell when water that has been turned on must not be turned off.

    Parameters
    ----------
    t_air_c, t_dew_c : array_like, broadcast
        Air temperature and dew point (over water), -90 to 90; the dew point is at most the air temperature. [°C]
    pressure_kpa : array_like, broadcast
        Air pressure, 30 to 120. [kPa]

    Returns
    -------
    ndarray of bool, broadcast shape
        Whether the wet bulb lies below 0 °C. Where a value is NaN it is not known to be safe: True.

    Raises
    ------
    ValueError
        If a value is outside its range or a dew point above its air temperature.

    Notes
    -----
    Wet plants are chilled to the wet bulb as soon as water no longer freezes on them [3]_. The other sign growers go
    by is that the ice melts by itself.

    Examples
    --------
    >>> sprinkling_must_run([-1.0, 1.0, 3.0], -4.0).tolist()
    [True, True, False]
    """
    return np.asarray(~(wet_bulb(t_air_c, t_dew_c, pressure_kpa) >= SAFE_WET_BULB_C))


@checked(rate_mm_h=Range(0.0, 1000.0, "mm/h"), t_water_c=Range(0.0, 90.0, "°C"))
def freezing_heat_w_m2(rate_mm_h: ArrayLike, t_water_c: ArrayLike = 0.0) -> FloatArray:
    """Give the heat that water gives off when all of it freezes.

    Parameters
    ----------
    rate_mm_h : array_like, broadcast
        Water that freezes, 0 to 1000: 1 mm/h is 1 L on a square metre in an hour. [mm/h]
    t_water_c : array_like, broadcast
        Its temperature as it arrives, 0 to 90; small drops are at the wet bulb after a few metres. [°C]

    Returns
    -------
    ndarray, broadcast shape
        Heat of cooling to 0 °C and of freezing. [W/m²]

    Examples
    --------
    >>> round(float(freezing_heat_w_m2(1.0)))
    93
    """
    rate, t = np.asarray(rate_mm_h, dtype=np.float64), np.asarray(t_water_c, dtype=np.float64)
    return np.asarray(rate / 3600.0 * (WATER_J_KGK * t + FUSION_J_KG))


@checked(rate_mm_h=Range(0.0, 1000.0, "mm/h"))
def evaporating_heat_w_m2(rate_mm_h: ArrayLike) -> FloatArray:
    """Give the heat that water takes when it evaporates.

    Parameters
    ----------
    rate_mm_h : array_like, any shape
        Water that evaporates, 0 to 1000. [mm/h]

    Returns
    -------
    ndarray, shape of `rate_mm_h`
        Heat taken from plant and air. [W/m²]

    Examples
    --------
    >>> round(float(evaporating_heat_w_m2(1.0)))
    695
    """
    return np.asarray(np.asarray(rate_mm_h, dtype=np.float64) / 3600.0 * EVAPORATION_J_KG)
