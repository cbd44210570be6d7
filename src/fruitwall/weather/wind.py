"""Wind at another height above open ground.

One formula, needed where past weather was measured at 2 m and the forecast holds for 10 m. What a yard's walls and
trees do to the wind is left to `physics`.
"""

from __future__ import annotations

import math


def wind_at_height(wind_m_s: float, from_m: float, to_m: float) -> float:
    """Give the wind at one height from that at another, over open short grass.

    Parameters
    ----------
    wind_m_s : float
        Wind at `from_m`, at least 0. [m/s]
    from_m, to_m : float
        Heights above ground, 0.5 to 200. [m]

    Returns
    -------
    float
        Wind at `to_m`. [m/s]

    Raises
    ------
    ValueError
        If a height or the wind is outside its range.

    Notes
    -----
    Logarithmic profile in the form of eq. 47 of [1]_, ``u2 = uz 4.87 / ln(67.8 z - 5.42)``, used between any two
    heights. It holds for neutral air: on calm clear nights the wind near the ground is weaker than this.

    References
    ----------
    .. [1] Allen, R. G., Pereira, L. S., Raes, D. and Smith, M. (1998). Crop evapotranspiration. FAO Irrigation and
       Drainage Paper 56.

    Examples
    --------
    >>> round(wind_at_height(3.2, 10.0, 2.0), 1)  # example 14 of [1]_
    2.4
    """
    if wind_m_s < 0:
        raise ValueError(f"wind_m_s must be at least 0, got {wind_m_s:g}")
    for name, height in (("from_m", from_m), ("to_m", to_m)):
        if not 0.5 <= height <= 200:
            raise ValueError(f"{name} must be at least 0.5 and at most 200 m, got {height:g}")
    if from_m == to_m:
        return wind_m_s
    return wind_m_s * math.log(67.8 * to_m - 5.42) / math.log(67.8 * from_m - 5.42)
