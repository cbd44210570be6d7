"""Cloud, wind and dew point for days of which only the extremes are known, drawn so that they fit together.

Each day is given what one measured day had (`archive.likeness`), all variables from the same one: a day that dropped as
far against a clear night of its season, at a place as dry, before as much warming or cooling, and that followed a day
like the one drawn before. So clear, calm, dry nights go with large drops, and spells last.

The scheme is the nearest-neighbour bootstrap of Lall and Sharma (1996), as Rajagopalan and Lall (1999) used it for
daily weather: among the k nearest days one is drawn, the j-th with a chance in proportion to 1/j.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.weather.archive.likeness import Likeness, features

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

NEAREST = 16
"""Days among which one is drawn. [-]"""

SCALES = {
    "share": 0.12,
    "clear_k": 3.0,
    "warming_k": 2.5,
    "milder_k": 2.0,
    "season": 45.0,
    "cloud": 0.35,
    "wind": 0.5,
    "dew": 4.0,
}
"""Differences that count as much as each other: drop against a clear night's, what a clear night drops [K], warming to
the next day [K], next minimum against its season [K], time of the year [d]; and of the day before: cloud of its night,
root of its wind [(m/s)^0.5], how far its dew point lay below the minimum [K]. Chosen on the seven packaged stations,
each drawn from the other six (`bench/archive_case.py`)."""

WET_MM, WET_CLOUD = 1.0, 0.5
"""Where rain is known: a day with at least so much has, over day and night, at least such a mean cloud. Our
judgement. [mm], [-]"""

NO_NIGHT = -1


@dataclass(frozen=True, eq=False)
class Drawn:
    """What was drawn for each day and the night after it; arrays of shape (day,), as in `Likeness`."""

    cloud_day: FloatArray
    cloud_night: FloatArray
    wind_day: FloatArray
    wind_night: FloatArray
    dew_below_k: FloatArray
    dew_later_k: FloatArray


def draw(
    dates: TimeArray,
    t_min_c: FloatArray,
    t_max_c: FloatArray,
    likeness: Likeness,
    rng: np.random.Generator,
    *,
    south: bool = False,
    rain_mm: FloatArray | None = None,
) -> Drawn:
    """Draw what a daily record lacks.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (day,)
        Consecutive.
    t_min_c, t_max_c : ndarray, shape (day,)
        Extremes. [°C]
    likeness : Likeness
        Days to draw from.
    rng : numpy.random.Generator
        The same state gives the same.
    south : bool
        Whether the place lies in the other hemisphere than the days drawn from: seasons are turned by half a year.
    rain_mm : ndarray, shape (day,), optional
        NaN where not known. [mm]

    Returns
    -------
    Drawn

    References
    ----------
    .. [1] Lall, U. and Sharma, A. (1996). A nearest neighbor bootstrap for resampling hydrologic time series. Water
       Resources Research 32, 679-693 (from memory).
    .. [2] Rajagopalan, B. and Lall, U. (1999). A k-nearest-neighbor simulator for daily precipitation and other weather
       variables. Water Resources Research 35, 3089-3101 (abstract read).
    """
    known = features(dates, t_min_c, t_max_c)
    season = (known["day_of_year"] + 182.6) % 365.25 if south else known["day_of_year"]
    own = _scaled(known["drop_k"], known["clear_k"], known["warming_k"], known["milder_k"])
    theirs = _scaled(likeness.drop_k, likeness.clear_k, likeness.warming_k, likeness.milder_k)
    state = np.stack(
        [
            likeness.cloud_night / SCALES["cloud"],
            np.sqrt(likeness.wind_night) / SCALES["wind"],
            likeness.dew_below_k / SCALES["dew"],
        ]
    )
    before = np.concatenate([np.full((3, 1), np.nan), state[:, :-1]], axis=1)
    before[:, np.append(True, np.diff(likeness.station) != 0)] = np.nan
    before = np.where(np.isnan(before), np.nanmean(state, axis=1, keepdims=True), before)
    cloudy = (likeness.cloud_day + likeness.cloud_night) / 2 >= WET_CLOUD
    nearest = min(NEAREST, likeness.count)
    chances = 1.0 / np.arange(1, nearest + 1)
    steps = np.cumsum(chances / chances.sum())
    places = np.searchsorted(steps, rng.random(dates.size), side="right").clip(0, nearest - 1)
    wet = np.zeros(dates.size, bool) if rain_mm is None else np.nan_to_num(rain_mm) >= WET_MM
    chosen = np.empty(dates.size, dtype=np.int64)
    last = NO_NIGHT
    for day in range(dates.size):
        apart = np.abs(likeness.day_of_year - season[day])
        far = (np.minimum(apart, 365.25 - apart) / SCALES["season"]) ** 2
        for theirs_one, own_one in zip(theirs, own[:, day], strict=True):
            far += (theirs_one - own_one) ** 2
        if last != NO_NIGHT:
            for before_one, own_one in zip(before, state[:, last], strict=True):
                far += (before_one - own_one) ** 2
        if wet[day] and cloudy.sum() >= nearest:
            far = np.where(cloudy, far, np.inf)
        near = np.argpartition(far, nearest - 1)[:nearest]
        last = int(near[np.argsort(far[near], kind="stable")[places[day]]])
        chosen[day] = last
    return Drawn(
        likeness.cloud_day[chosen],
        likeness.cloud_night[chosen],
        likeness.wind_day[chosen],
        likeness.wind_night[chosen],
        likeness.dew_below_k[chosen],
        likeness.dew_later_k[chosen],
    )


def _scaled(drop_k: FloatArray, clear_k: FloatArray, warming_k: FloatArray, milder_k: FloatArray) -> FloatArray:
    """Give what is known of days in units of `SCALES`, [feature, day]."""
    return np.stack(
        [
            (drop_k / clear_k) / SCALES["share"],
            clear_k / SCALES["clear_k"],
            warming_k / SCALES["warming_k"],
            milder_k / SCALES["milder_k"],
        ]
    )
