"""How much longwave radiation the sky sends down: the loss term of a frost night.

Clear sky by one of several published formulas from air temperature and vapour pressure at screen height, cloud by
Unsworth & Monteith. The formulas differ by 30 W/m² on a cold dry night, more than most other terms of the balance;
`BEST_BY_EVIDENCE` names the one that fits the measured nights of ``bench/longwave.py``.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.checked import SHARE, Range, checked
from fruitwall.physics.constants import STEFAN_BOLTZMANN, ZERO_C_K

FloatArray = NDArray[np.float64]

CLOUD_WEIGHT = 0.84
"""Share of the gap to a black sky that full cloud closes: Unsworth & Monteith 1975, Campbell & Norman 1998 ch. 10."""

BEST_BY_EVIDENCE = "prata"
"""Formula nearest to the measurements at hand.

Clear hours of three measured series, formula minus measured [W/m²] (``python -m bench longwave_case``):

============  ===========  ======  =====  =============
night         brutsaert    prata   idso   dilley_obrien
============  ===========  ======  =====  =============
Alamosa       -37          -9      0      -12
Santa Maria   -1           0       +24    -8
Tharandt      +2           +5      +20    -3
============  ===========  ======  =====  =============

Alamosa lay at -17 °C and 0.1 kPa under an inversion, as frost nights do; the other two were mild and moist.
"""


def _brutsaert(t_k: FloatArray, e_hpa: FloatArray) -> FloatArray:
    """Brutsaert 1975, Water Resour. Res. 11:742."""
    return np.asarray(1.24 * (e_hpa / t_k) ** (1.0 / 7.0))


def _brunt(t_k: FloatArray, e_hpa: FloatArray) -> FloatArray:
    """Brunt 1932, with the coefficients 0.52 and 0.065 (others print 0.51 and 0.066)."""
    return np.asarray(0.52 + 0.065 * np.sqrt(e_hpa) + 0.0 * t_k)


def _idso(t_k: FloatArray, e_hpa: FloatArray) -> FloatArray:
    """Idso 1981, Water Resour. Res. 17:295."""
    return np.asarray(0.70 + 5.95e-5 * e_hpa * np.exp(1500.0 / t_k))


def _prata(t_k: FloatArray, e_hpa: FloatArray) -> FloatArray:
    """Prata 1996, Q. J. R. Meteorol. Soc. 122:1127; does not fall to nothing in very dry air."""
    water_cm = 46.5 * e_hpa / t_k
    return np.asarray(1.0 - (1.0 + water_cm) * np.exp(-np.sqrt(1.2 + 3.0 * water_cm)))


def _dilley_obrien(t_k: FloatArray, e_hpa: FloatArray) -> FloatArray:
    """Dilley & O'Brien 1998, Q. J. R. Meteorol. Soc. 124:1391, their flux over that of a black body."""
    water_kg_m2 = 465.0 * e_hpa / t_k
    flux = 59.38 + 113.7 * (t_k / 273.16) ** 6 + 96.96 * np.sqrt(water_kg_m2 / 25.0)
    return np.asarray(flux / (STEFAN_BOLTZMANN * t_k**4))


def _campbell_norman(t_k: FloatArray, e_hpa: FloatArray) -> FloatArray:
    """Campbell & Norman 1998 eq. 10.11, from temperature alone."""
    return np.asarray(0.72 + 0.005 * (t_k - ZERO_C_K) + 0.0 * e_hpa)


def _idso_jackson(t_k: FloatArray, e_hpa: FloatArray) -> FloatArray:
    """Idso & Jackson 1969, J. Geophys. Res. 74:5397; the exponent is negative (a copied slip has it positive)."""
    return np.asarray(1.0 - 0.261 * np.exp(-7.77e-4 * (273.0 - t_k) ** 2) + 0.0 * e_hpa)


FORMULAS: dict[str, Callable[[FloatArray, FloatArray], FloatArray]] = {
    "brutsaert": _brutsaert,
    "brunt": _brunt,
    "idso": _idso,
    "prata": _prata,
    "dilley_obrien": _dilley_obrien,
    "campbell_norman": _campbell_norman,
    "idso_jackson": _idso_jackson,
}
"""Clear-sky formulas by name; temperature in K, vapour pressure in hPa."""


@checked()
def clear_sky_emissivity(t_c: ArrayLike, ea_kpa: ArrayLike, formula: str = "brutsaert") -> FloatArray:
    """Give the emissivity of a cloudless sky, relative to the air at screen height.

    Parameters
    ----------
    t_c : array_like, broadcast
        Air temperature, -90 to 90. [°C]
    ea_kpa : array_like, broadcast
        Vapour pressure, 0 to 75. [kPa]
    formula : str
        One of `FORMULAS`.

    Returns
    -------
    ndarray, broadcast shape
        Emissivity, at most 1. [-]

    Raises
    ------
    ValueError
        If a value is outside its range or the formula unknown. NaN gives NaN.

    Notes
    -----
    All were fitted to whole days or fair weather near sea level. Under a strong inversion the air overhead is warmer
    than the screen, and the measured sky is warmer than most of them say (see `BEST_BY_EVIDENCE`).

    Examples
    --------
    >>> [round(float(clear_sky_emissivity(0.0, 0.4, name)), 3) for name in ("brutsaert", "idso", "prata")]
    [0.678, 0.758, 0.722]
    """
    try:
        function = FORMULAS[formula]
    except KeyError:
        raise ValueError(f"formula must be one of {', '.join(FORMULAS)}, got {formula!r}") from None
    t_k = np.asarray(t_c, dtype=np.float64) + ZERO_C_K
    return np.minimum(function(t_k, 10.0 * np.asarray(ea_kpa, dtype=np.float64)), 1.0)


@checked()
def sky_emissivity(t_c: ArrayLike, ea_kpa: ArrayLike, cloud: ArrayLike = 0.0, formula: str = "brutsaert") -> FloatArray:
    """Give the emissivity of the sky with clouds.

    Parameters
    ----------
    t_c, ea_kpa : array_like, broadcast
        As for `clear_sky_emissivity`. [°C], [kPa]
    cloud : array_like, broadcast
        Share of the sky that is covered. [0-1]
    formula : str
        Clear-sky formula.

    Returns
    -------
    ndarray, broadcast shape
        (1 - 0.84 c) times the clear-sky value plus 0.84 c. [-]
    """
    cover = CLOUD_WEIGHT * np.asarray(cloud, dtype=np.float64)
    return np.asarray((1.0 - cover) * clear_sky_emissivity(t_c, ea_kpa, formula) + cover)


@checked()
def longwave_down(t_c: ArrayLike, ea_kpa: ArrayLike, cloud: ArrayLike = 0.0, formula: str = "brutsaert") -> FloatArray:
    """Give the longwave radiation that a level surface in the open receives from the sky.

    Parameters
    ----------
    t_c, ea_kpa, cloud : array_like, broadcast together
        Air temperature, -90 to 90, vapour pressure, 0 to 75, share of the sky covered, 0 to 1. [°C], [kPa], [-]
    formula : str
        Clear-sky formula; `BEST_BY_EVIDENCE` for frost nights.

    Returns
    -------
    ndarray, broadcast shape
        Radiation coming down, positive. What the surface loses is its own emission minus this. [W/m²]

    Raises
    ------
    ValueError
        If a value is outside its range or the formula unknown. NaN gives NaN.

    Notes
    -----
    Emissivity of [1]_ or another, cloud by [2]_: low cloud at nearly air temperature. High thin cloud does less.

    References
    ----------
    .. [1] Brutsaert, W. (1975). On a derivable formula for long-wave radiation from clear skies. Water Resources
       Research 11, 742-744.
    .. [2] Unsworth, M. H. and Monteith, J. L. (1975). Long-wave radiation at the ground. Q. J. R. Meteorol. Soc. 101,
       13-24.

    Examples
    --------
    >>> round(float(longwave_down(0.0, 0.4)), 1)
    214.1
    """
    t_k = np.asarray(t_c, dtype=np.float64) + ZERO_C_K
    return np.asarray(sky_emissivity(t_c, ea_kpa, cloud, formula) * STEFAN_BOLTZMANN * t_k**4)


@checked(t_c=Range(-273.15, 1500.0, "°C"), emissivity=SHARE)
def emitted(t_c: ArrayLike, emissivity: ArrayLike = 1.0) -> FloatArray:
    """Give what one side of a surface radiates.

    Parameters
    ----------
    t_c : array_like, broadcast
        Surface temperature, -273.15 to 1500. [°C]
    emissivity : array_like, broadcast
        [0-1]

    Returns
    -------
    ndarray, broadcast shape
        [W/m²]
    """
    t_k = np.asarray(t_c, dtype=np.float64) + ZERO_C_K
    return np.asarray(np.asarray(emissivity, dtype=np.float64) * STEFAN_BOLTZMANN * t_k**4)


@checked(longwave_w_m2=Range(0.0, 5000.0, "W/m²"))
def sky_temperature(longwave_w_m2: ArrayLike) -> FloatArray:
    """Give the temperature of the black body that would send this much longwave.

    Parameters
    ----------
    longwave_w_m2 : array_like, any shape
        Radiation coming down, 0 to 5000. [W/m²]

    Returns
    -------
    ndarray, shape of `longwave_w_m2`
        Radiation temperature. [°C]

    Examples
    --------
    >>> round(float(sky_temperature(longwave_down(0.0, 0.4))), 1)
    -25.3
    """
    return np.asarray((np.asarray(longwave_w_m2, dtype=np.float64) / STEFAN_BOLTZMANN) ** 0.25 - ZERO_C_K)
