"""Dew point from relative humidity, for sources that give only the latter.

The same FAO-56 curve as `physics.air` (the layers below physics may not import it); a test there and here holds both
to the same published values.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Constants of eq. 11, FAO-56.
SLOPE, OFFSET_C = 17.27, 237.3

LOWEST_HUMIDITY_PCT = 1.0
"""Drier readings are taken as this, so that the logarithm stays finite. [%]"""

HIGHEST_HUMIDITY_PCT = 105.0
"""Sensors and models overshoot saturation a little; above this the column is something else. [%]"""


def dew_point_from_humidity(t_air_c: ArrayLike, humidity_pct: ArrayLike) -> NDArray[np.float64]:
    """Give the dew point over water from air temperature and relative humidity.

    Parameters
    ----------
    t_air_c : array_like
        Air temperature, -90 to 60. [°C]
    humidity_pct : array_like, broadcast against `t_air_c`
        Relative humidity over water, 0 to 105; below 1 taken as 1, above 100 as 100. [%]

    Returns
    -------
    ndarray
        Dew point, never above the air temperature. NaN gives NaN. [°C]

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    Vapour pressure by eq. 11 and 54 of [1]_, turned round for the dew point.

    References
    ----------
    .. [1] Allen, R. G., Pereira, L. S., Raes, D. and Smith, M. (1998). Crop evapotranspiration. FAO Irrigation and
       Drainage Paper 56.

    Examples
    --------
    >>> round(float(dew_point_from_humidity(20.0, 50.0)), 2)
    9.27
    """
    t_air = np.asarray(t_air_c, dtype=np.float64)
    humidity = np.asarray(humidity_pct, dtype=np.float64)
    for name, values, low, high in (
        ("t_air_c", t_air, -90.0, 60.0),
        ("humidity_pct", humidity, 0.0, HIGHEST_HUMIDITY_PCT),
    ):
        wrong = (values < low) | (values > high)
        if wrong.any():
            raise ValueError(f"{name} must be at least {low:g} and at most {high:g}, got {values[wrong].flat[0]:g}")
    share = np.clip(humidity, LOWEST_HUMIDITY_PCT, 100.0) / 100.0
    exponent = SLOPE * t_air / (t_air + OFFSET_C) + np.log(share)
    return np.asarray(np.minimum(OFFSET_C * exponent / (SLOPE - exponent), t_air))
