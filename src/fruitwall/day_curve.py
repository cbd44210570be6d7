"""The course of a day between its lowest and highest temperature: half a sine by day, a logarithm by night.

Pure arithmetic that the weather (to spin up soil and walls) and the plants (chill from daily records) share.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LAG_H = 4.0
"""Linvill's lag: the highest temperature comes two hours after solar noon, so the half sine is four hours longer than
the day. [h]"""

SHORTEST_DAY_H, LONGEST_DAY_H = 2.0, 22.0
"""Day length is kept within these, so that the curve exists beyond the polar circles. Our judgement. [h]"""


def linvill(
    after_rise_h: FloatArray,
    day_h: FloatArray,
    night_h: FloatArray,
    t_min_c: FloatArray,
    t_max_c: FloatArray,
    next_min_c: FloatArray,
    straight_share: float = 0.0,
) -> FloatArray:
    """Give the temperature at a time after sunrise, by Linvill's curve.

    Parameters
    ----------
    after_rise_h : ndarray
        Time since the last sunrise, from 0 to the next one. [h]
    day_h, night_h : ndarray
        Length of that day and of the night after it. [h]
    t_min_c, t_max_c : ndarray
        Lowest temperature, reached at that sunrise, and highest, two hours after solar noon. [°C]
    next_min_c : ndarray
        Lowest temperature at the sunrise to come. [°C]
    straight_share : float
        How much of the night's course is a straight line instead of the logarithm; 0 is Linvill's. [-]

    Returns
    -------
    ndarray
        Temperature, by broadcasting. [°C]

    Notes
    -----
    By day ``Tmin + (Tmax - Tmin) sin(pi t / (D + 4))`` with t hours after sunrise and D the day length; by night
    ``Ts - (Ts - Tmin') ln(t + 1) / ln(N + 1)`` with Ts the sunset temperature, t hours after sunset, N the night length
    and Tmin' the next morning's minimum [1]_. The added 1 starts the logarithm at the sunset temperature and ends it
    exactly at the next minimum.

    References
    ----------
    .. [1] Linvill, D. E. (1990). Calculating chilling hours and chill units from daily maximum and minimum temperature
       observations. HortScience 25, 14-16.
    """
    height = t_max_c - t_min_c
    by_day = t_min_c + height * np.sin(np.pi * after_rise_h / (day_h + LAG_H))
    at_set = t_min_c + height * np.sin(np.pi * day_h / (day_h + LAG_H))
    after_set_h = np.maximum(after_rise_h - day_h, 0.0)
    fallen = np.log(after_set_h + 1.0) / np.log(night_h + 1.0)
    if straight_share:
        fallen = (1.0 - straight_share) * fallen + straight_share * after_set_h / night_h
    by_night = at_set - (at_set - next_min_c) * fallen
    return np.where(after_rise_h <= day_h, by_day, by_night)
