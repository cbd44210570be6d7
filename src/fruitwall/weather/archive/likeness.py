"""Days that were measured hour by hour, boiled down to what a daily record lacks: cloud, wind, dew point.

`archive.drawing` picks from them for days of which only the extremes are known. The packaged ones are seven typical
years of the southern United States; where hours of the yard's own neighbourhood are known, those take their place.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from fruitwall.weather.forcing import Forcing
from fruitwall.weather.stamps import solar_offset
from fruitwall.weather.wind import wind_at_height

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

PACKAGED = "nights_tmy3.csv.gz"
"""Seven typical years (NREL TMY3, public domain), by `bench/cut_night_likeness.py`."""

WINDOW_DAYS = 30
"""Days to both sides whose drops tell what a clear night of the season does. Our judgement. [d]"""

CLEAR_SHARE = 0.9
"""Quantile of the drops that stands for a clear, calm night. Our judgement. [-]"""

DAY_H, NIGHT_H = (10, 17), (20, 30)
"""Hours over which cloud and wind of the day and of the night after it are taken, local mean solar time; hours above 24
are of the next morning. [h]"""

FEWEST_DAYS = 90
"""With fewer days of its own a place is drawn from the packaged ones. Our judgement. [d]"""

REFERENCE_M = 10.0
"""Height to which wind is turned. [m]"""


@dataclass(frozen=True, eq=False)
class Likeness:
    """Days that follow each other within each station, each with the night after it; arrays of shape (day,).

    Attributes
    ----------
    station : ndarray of int
        Days whose number differs do not follow each other.
    day_of_year : ndarray
        1 to 366.
    drop_k : ndarray
        Highest temperature of the day minus the lowest of the next date. [K]
    clear_k : ndarray
        What a clear, calm night of the season drops at that place: `clear_drop`. [K]
    warming_k : ndarray
        How much warmer the next day is, middle of its extremes. [K]
    milder_k : ndarray
        Lowest temperature of the next date minus the mean of the lowest of the season: cold air is dry and clear. [K]
    cloud_day, cloud_night : ndarray
        Mean share of the sky covered. [-]
    wind_day, wind_night : ndarray
        Mean wind at 10 m. [m/s]
    dew_below_k : ndarray
        Lowest temperature of the next date minus the dew point in its coldest hour. [K]
    dew_later_k : ndarray
        Dew point of the afternoon minus that in the coldest hour after it. [K]
    """

    station: NDArray[np.int64]
    day_of_year: FloatArray
    drop_k: FloatArray
    clear_k: FloatArray
    warming_k: FloatArray
    milder_k: FloatArray
    cloud_day: FloatArray
    cloud_night: FloatArray
    wind_day: FloatArray
    wind_night: FloatArray
    dew_below_k: FloatArray
    dew_later_k: FloatArray

    @property
    def count(self) -> int:
        """Number of days."""
        return int(self.drop_k.size)

    def take(self, chosen: NDArray[np.bool_]) -> Likeness:
        """Give some of the days."""
        return Likeness(**{one.name: getattr(self, one.name)[chosen] for one in fields(self)})


def features(dates: TimeArray, t_min_c: FloatArray, t_max_c: FloatArray) -> dict[str, FloatArray]:
    """Give what is known of days of which the extremes are known.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (day,)
        In order; where the next date is missing the last minimum is repeated.
    t_min_c, t_max_c : ndarray, shape (day,)
        Extremes. [°C]

    Returns
    -------
    dict of str to ndarray, shape (day,)
        `day_of_year`, `drop_k`, `clear_k`, `warming_k`, `milder_k` as in `Likeness`.
    """
    of_year = (dates - dates.astype("datetime64[Y]")).astype(int) + 1.0
    follows = np.append(np.diff(dates.astype("datetime64[D]").astype(np.int64)) == 1, False)
    next_low = np.where(follows, np.roll(t_min_c, -1), t_min_c)
    middle = (t_min_c + t_max_c) / 2
    drop = t_max_c - next_low
    return {
        "day_of_year": of_year,
        "drop_k": drop,
        "clear_k": clear_drop(of_year, drop),
        "warming_k": np.where(follows, np.roll(middle, -1) - middle, 0.0),
        "milder_k": next_low - seasonal_mean(of_year, next_low),
    }


def seasonal_mean(day_of_year: FloatArray, values: FloatArray) -> FloatArray:
    """Give the mean of the values within `WINDOW_DAYS` of each day of the year, shape (day,)."""
    return _seasonal(day_of_year, values, lambda near: float(near.mean()))


def _seasonal(day_of_year: FloatArray, values: FloatArray, of: Callable[[FloatArray], float]) -> FloatArray:
    by_day = np.full(367, np.nan)
    for day in np.unique(day_of_year.astype(int)):
        apart = np.abs(day_of_year - day)
        near = values[np.minimum(apart, 365.25 - apart) <= WINDOW_DAYS]
        by_day[day] = of(near[np.isfinite(near)])
    return np.asarray(by_day[day_of_year.astype(int)])


def clear_drop(day_of_year: FloatArray, drop_k: FloatArray) -> FloatArray:
    """Give what a clear, calm night of the season drops: a high quantile of the drops of the same time of the year.

    Parameters
    ----------
    day_of_year : ndarray, shape (day,)
        1 to 366.
    drop_k : ndarray, shape (day,)
        Highest temperature minus the next lowest; NaN where not known. [K]

    Returns
    -------
    ndarray, shape (day,)
        At least 1 K. [K]
    """
    clear = _seasonal(day_of_year, drop_k, lambda near: float(np.quantile(near, CLEAR_SHARE)) if near.size else 1.0)
    return np.asarray(np.maximum(clear, 1.0))


def likeness_of(forcing: Forcing, station: int = 0) -> Likeness:
    """Boil the hours of one place down.

    Parameters
    ----------
    forcing : Forcing
        One member, with measured cloud, wind and dew point.
    station : int
        Number of the place.

    Returns
    -------
    Likeness
        Whole days of local mean solar time only; the last has no next day and is left out.
    """
    solar = forcing.time_utc + np.timedelta64(int(solar_offset(forcing.longitude_deg).total_seconds()), "s")
    solar = (solar + np.timedelta64(1800, "s")).astype("datetime64[h]")
    first = int(np.argmax(solar.astype(np.int64) % 24 == 0))
    days = (solar.size - first) // 24
    hours = slice(first, first + days * 24)

    def by_day(values: FloatArray) -> FloatArray:
        return np.asarray(values[0, hours].reshape(days, 24))

    air, dew, cloud = by_day(forcing.t_air_c), by_day(forcing.t_dew_c), by_day(forcing.cloud)
    wind = by_day(forcing.wind_m_s) * wind_at_height(1.0, forcing.wind_height_m, REFERENCE_M)
    dates = solar[hours].reshape(days, 24)[:, 0].astype("datetime64[D]")
    return boiled_down(dates, air, dew, wind, cloud, station)


def boiled_down(
    dates: NDArray[np.datetime64], air: FloatArray, dew: FloatArray, wind: FloatArray, cloud: FloatArray, station: int
) -> Likeness:
    """Boil days of 24 hours down.

    Parameters
    ----------
    dates : ndarray of datetime64[D], shape (day,)
        Of local mean solar time.
    air, dew, wind, cloud : ndarray, shape (day, hour)
        From midnight on: air and dew point [°C], wind at 10 m [m/s], share of the sky covered.
    station : int
        Number of the place.

    Returns
    -------
    Likeness
        Days whose next date is there.
    """
    low, high = air.min(axis=1), air.max(axis=1)
    known = features(dates, low, high)
    whole = np.diff(dates.astype(np.int64)) == 1
    coldest = air[1:].argmin(axis=1)
    rows = np.arange(coldest.size)
    dew_then = dew[1:][rows, coldest]

    def night(values: FloatArray) -> FloatArray:
        two = np.concatenate([values[:-1], values[1:]], axis=1)
        return np.asarray(two[:, NIGHT_H[0] : NIGHT_H[1]].mean(axis=1))

    def day(values: FloatArray) -> FloatArray:
        return np.asarray(values[:-1, DAY_H[0] : DAY_H[1]].mean(axis=1))

    return Likeness(
        station=np.full(rows.size, station),
        **{name: values[:-1] for name, values in known.items()},
        cloud_day=day(cloud),
        cloud_night=night(cloud),
        wind_day=day(wind),
        wind_night=night(wind),
        dew_below_k=low[1:] - dew_then,
        dew_later_k=day(dew) - dew_then,
    ).take(whole)


def joined(parts: list[Likeness]) -> Likeness:
    """Put days of several places together; each keeps its own number."""
    return Likeness(
        **{one.name: np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(Likeness)}
    )


@cache
def packaged() -> Likeness:
    """Give the packaged days."""
    packed = (files("fruitwall.weather") / "data" / PACKAGED).read_bytes()
    lines = [line for line in gzip.decompress(packed).decode("utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    columns = {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}
    return Likeness(**{**columns, "station": columns["station"].astype(np.int64)})
