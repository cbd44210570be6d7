"""How warm a leaf or a dry body is when what it absorbs, emits and exchanges with the air balances.

The night kernel solves the same balance together with air, cover and soil (`physics.kernel_lanes`); these functions
answer for one leaf whose surroundings are known.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics import convection
from fruitwall.physics.air import saturation_vapour_pressure
from fruitwall.physics.checked import Range, checked
from fruitwall.physics.constants import STANDARD_PRESSURE_KPA, STEFAN_BOLTZMANN, ZERO_C_K

FloatArray = NDArray[np.float64]

LATENT_WATER = 44_100.0
"""Molar heat of evaporation near 20 °C; 45 000 at 0 °C. The middle serves (Campbell & Norman 1998). [J/mol]"""

LATENT_ICE = 51_000.0
"""Molar heat of sublimation at 0 °C: 2.834 MJ/kg. [J/mol]"""

LONGWAVE = Range(0.0, 1500.0, "W/m²")
COEFFICIENT = Range(0.0, 1000.0, "W/(m² K)")


@checked(
    longwave_in_w_m2=LONGWAVE,
    leaf_width_m=Range(0.0, 2.0, "m", low_open=True),
    absorptance=Range(0.0, 1.0),
    stomatal_mol_m2_s=Range(0.0, 5.0, "mol/(m² s)"),
    h_w_m2k=COEFFICIENT,
)
def leaf_temperature(
    t_air_c: ArrayLike,
    t_dew_c: ArrayLike,
    wind_m_s: ArrayLike,
    longwave_in_w_m2: ArrayLike,
    shortwave_w_m2: ArrayLike = 0.0,
    leaf_width_m: ArrayLike = 0.05,
    *,
    emissivity: ArrayLike = 0.96,
    absorptance: ArrayLike = 0.5,
    stomatal_mol_m2_s: ArrayLike = 0.0,
    p_kpa: ArrayLike = STANDARD_PRESSURE_KPA,
    deposition: bool = True,
    h_w_m2k: ArrayLike | None = None,
) -> FloatArray:
    """Give the temperature of a leaf in balance.

    Parameters
    ----------
    t_air_c, t_dew_c : array_like, broadcast
        Air temperature and dew point (over water, also below 0 °C) at the leaf, -90 to 90. [°C]
    wind_m_s : array_like, broadcast
        Wind at the leaf, 0 to 120; with 0 only free convection is left. [m/s]
    longwave_in_w_m2 : array_like, broadcast
        Longwave irradiance, mean of the leaf's two sides, 0 to 1500: half of sky plus ground for a level leaf, σT⁴ in
        surroundings of one temperature T. [W/m²]
    shortwave_w_m2 : array_like, broadcast
        Sunlight that falls on one square metre of leaf, both sides together, 0 to 1500. [W/m²]
    leaf_width_m : array_like, broadcast
        Across the wind, greater than 0 and at most 2. [m]
    emissivity, absorptance : array_like, broadcast
        For longwave and for sun. [0-1]
    stomatal_mol_m2_s : array_like, broadcast
        Conductance of the leaf's pores for water vapour, both sides together; 0 by night. [mol/(m² s)]
    p_kpa : array_like, broadcast
        Air pressure, 30 to 120. [kPa]
    deposition : bool
        Whether dew and frost may form.
    h_w_m2k : array_like, broadcast, or None
        Convective coefficient per side; None computes it from wind and width. [W/(m² K)]

    Returns
    -------
    ndarray, broadcast shape
        Leaf temperature. NaN in any input gives NaN. [°C]

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    ``absorptance S + 2 ε (L - σT⁴) + 2 h (Ta - T) - λ/p g (e_s(T) - e_a) = 0``, solved by bracketing. Below 0 °C vapour
    deposits as frost: saturation over ice, so that it begins at the frost point and not at the lower dew point, and
    heat of sublimation (between 0 and -1 °C the heat grows from that of dew to that of frost). Convection as in
    `physics.convection`. Frost that lies does not evaporate again: no store of ice is kept.

    Examples
    --------
    >>> clear, ground = 214.1, 311.1
    >>> round(float(leaf_temperature(0.0, -8.0, 0.5, (clear + ground) / 2)), 1)
    -1.7
    """
    given = (t_air_c, t_dew_c, wind_m_s, longwave_in_w_m2, shortwave_w_m2, leaf_width_m)
    more = (emissivity, absorptance, stomatal_mol_m2_s, p_kpa, np.nan if h_w_m2k is None else h_w_m2k)
    arrays = np.broadcast_arrays(*(np.asarray(a, dtype=np.float64) for a in (*given, *more)))
    air, dew, wind, longwave, sun, width, eps, alpha, pores, pressure, fixed = arrays
    vapour = np.asarray(saturation_vapour_pressure(dew))
    size = convection.LEAF_SHAPE * width
    forced = convection.FORCED * np.sqrt(wind / size)
    free = convection.FREE / size**0.25

    def lacks(t: FloatArray) -> FloatArray:
        """What the balance lacks at a leaf temperature: falls as it rises."""
        difference = np.sqrt((air - t) ** 2 + convection.ROUNDING_K**2)
        h = forced + free * difference**0.25 if h_w_m2k is None else fixed
        frozen = np.clip(-t, 0.0, 1.0)
        latent = LATENT_WATER + (LATENT_ICE - LATENT_WATER) * frozen
        excess = _saturation(t) - vapour
        boundary = 2.0 * convection.VAPOUR_OVER_HEAT * h / convection.MOLAR_HEAT
        with np.errstate(invalid="ignore", divide="ignore"):
            leaf = np.where(pores > 0.0, pores * boundary / (pores + boundary), 0.0)
        conductance = np.where(excess < 0.0, boundary if deposition else 0.0, leaf)
        emitted = STEFAN_BOLTZMANN * (t + ZERO_C_K) ** 4
        wet = latent / pressure * conductance * excess
        return np.asarray(alpha * sun + 2.0 * eps * (longwave - emitted) + 2.0 * h * (air - t) - wet)

    return _root(lacks, air)


@checked(longwave_in_w_m2=LONGWAVE, h_w_m2k=COEFFICIENT)
def body_temperature(
    t_air_c: ArrayLike, longwave_in_w_m2: ArrayLike, h_w_m2k: ArrayLike, *, emissivity: ArrayLike = 0.96
) -> FloatArray:
    """Give the steady temperature of a dry fruit, twig or limb.

    Parameters
    ----------
    t_air_c : array_like, broadcast
        Air temperature, -90 to 90. [°C]
    longwave_in_w_m2 : array_like, broadcast
        Mean longwave irradiance over its surface. [W/m²]
    h_w_m2k : array_like, broadcast
        Convective coefficient. [W/(m² K)]
    emissivity : array_like, broadcast

    Returns
    -------
    ndarray, broadcast shape
        Temperature that it would settle at; a fruit of 6 cm follows in about an hour. [°C]
    """
    air, longwave, h, eps = np.broadcast_arrays(
        *(np.asarray(a, dtype=np.float64) for a in (t_air_c, longwave_in_w_m2, h_w_m2k, emissivity))
    )
    return _root(lambda t: eps * (longwave - STEFAN_BOLTZMANN * (t + ZERO_C_K) ** 4) + h * (air - t), air)


def _saturation(t: FloatArray) -> FloatArray:
    """Vapour pressure over water above 0 °C and over ice below. [kPa]"""
    held = np.clip(t, -89.0, 89.0)
    return np.where(t < 0.0, saturation_vapour_pressure(held, over_ice=True), saturation_vapour_pressure(held))


def _root(lacks: Callable[[FloatArray], FloatArray], near: FloatArray) -> FloatArray:
    """Where a falling function of temperature crosses zero, by bisection from 100 K below to 100 K above."""
    low, high = near - 100.0, near + 100.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        warmer = lacks(middle) > 0.0
        low, high = np.where(warmer, middle, low), np.where(warmer, high, middle)
    unknown = np.isnan(lacks(near))
    return np.where(unknown, np.nan, 0.5 * (low + high))
