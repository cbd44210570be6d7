"""Winters as the user wants them: moved to the level of today, warmed, recent ones counting for more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.speech import told
from fruitwall.weather.forcing import RANGES

if TYPE_CHECKING:
    from fruitwall.service.winters_weather import WeatherChoice
    from fruitwall.weather.climate import Climate
    from fruitwall.weather.forcing import Forcing

FloatArray = NDArray[np.float64]


def weighted(autumns: Sequence[int], real: Sequence[bool], choice: WeatherChoice) -> FloatArray:
    """Give the weights of winters.

    Parameters
    ----------
    autumns : sequence of int
        Years in which they began.
    real : sequence of bool
        False for typical years, which are of no one year: they get the mean weight of the others.
    choice : WeatherChoice

    Returns
    -------
    ndarray, shape (winter,)
        Sum to one. [-]
    """
    weights = np.ones(len(autumns))
    if choice.weighting == "recent":
        years = np.asarray(autumns, dtype=np.float64)
        newest = max((year for year, one in zip(years, real, strict=True) if one), default=float(years.max()))
        weights = 0.5 ** (np.maximum(newest - years, 0.0) / choice.half_life_years)
        its = np.asarray(real, dtype=bool)
        if its.any():
            weights = np.where(its, weights, weights[its].mean())
    return np.asarray(weights / weights.sum())


def shifts(
    climate: Climate, autumns: Sequence[int], real: Sequence[bool], choice: WeatherChoice
) -> tuple[FloatArray, list[str]]:
    """Give by how much the temperatures of winters are moved, and what is to be told of it.

    Parameters
    ----------
    climate : Climate
        Whose whole record tells the trend.
    autumns : sequence of int
        Years in which the winters began.
    real : sequence of bool
        False for typical years: the trend does not move them.
    choice : WeatherChoice

    Returns
    -------
    moved_k : ndarray, shape (winter,)
        [K]
    notes : list of str

    Notes
    -----
    The trend is that of the mean of the five cold months (Theil and Sen): the coldest nights alone are too few to tell
    it. The level of today is that of the record's newest winter.
    """
    from fruitwall.service.climate_trend import mean_trend
    from fruitwall.weather.climate_winters import winters_of

    moved = np.full(len(autumns), choice.warmer_k)
    notes: list[str] = []
    if choice.trend_taken_out:
        trend = mean_trend(winters_of(climate.years))
        if trend is None:
            notes.append(told("too few real winters are known to tell a trend; none was taken out"))
        else:
            back = np.array([trend.last - autumn for autumn in autumns], dtype=np.float64)
            by_trend = np.where(real, trend.trend.per_decade_k / 10.0 * np.maximum(back, 0.0), 0.0)
            moved = moved + by_trend
            notes.append(
                told(
                    "each winter is moved to the level of {last} by the trend of the winter mean, {change:.2f} K in "
                    "ten years; the coldest nights may follow another one",
                    last=str(trend.last),
                    change=trend.trend.per_decade_k,
                )
            )
    if moved.any():
        notes.append(
            told(
                "where winters are moved, the dew point moves with the air; wind, cloud, sun and rain stay as they were"
            )
        )
    return moved, notes


def moved(winter: Forcing, by_k: float) -> Forcing:
    """Give a winter with all its temperatures moved.

    Parameters
    ----------
    winter : Forcing
    by_k : float
        Added to air and dew point alike, so that the air is as near to dew as it was: relative humidity stays within a
        percent for each kelvin. [K]

    Returns
    -------
    Forcing
    """
    if by_k == 0.0:
        return winter
    air = np.clip(winter.t_air_c + by_k, *RANGES["t_air_c"][:2])
    dew = np.minimum(np.clip(winter.t_dew_c + by_k, *RANGES["t_dew_c"][:2]), air)
    return replace(winter, t_air_c=air, t_dew_c=dew)
