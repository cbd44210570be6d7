"""Nights of many winters at the places of a yard: how many are cold enough to matter, and when the last one has come.

A raster knows the coldest hour of each winter at each place; this adds the other nights: each place is taken to differ
from the station by as much on every cold night as it does, on average, in the coldest hours of the winters.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.placing.raster import Raster

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STILL_HARMFUL = 0.10
"""A tree is planted out once no more than this share of the winters had another harmful night later on. Our judgement:
one spring in ten it has to be covered once more. [-]"""

LONGEST_WAIT_D = 60
"""The window for planting closes so long after it opens: the sooner it is planted after the cold, the more roots it has
before the heat. Our judgement. [days]"""

SHORTEST_WINDOW_D = 21
"""It is kept open at least so long, however late it opens. Our judgement. [days]"""

EARLIEST = {True: (3, 1), False: (9, 1)}
"""A tree that waits for spring is not planted earlier, north and south of the equator: in cold soil it makes no roots.
common practice, no source. (month, day)"""

HEAT_FROM = {True: (6, 1), False: (12, 1)}
"""Month and day from which heat is the greater danger to a freshly planted tree, north and south of the equator. Our
judgement for warm temperate places."""

AUTUMN = {True: ((9, 15), (11, 1)), False: ((3, 15), (5, 1))}
"""When it is planted in autumn, where winters are mild enough: heat is over and the soil still warm. common practice,
no source. (month, day)"""

Season = Literal["autumn", "spring", "never"]


@dataclass(frozen=True, eq=False)
class NightMinima:
    """Lowest air of every night of the winters at the station.

    Attributes
    ----------
    evening : ndarray of datetime64[D], shape (night,)
        Evenings on the calendar of one season.
    minima_c : ndarray, shape (winter, night)
        NaN where it is not known; the winters and weights are those of the raster. [°C]
    north : bool
        Whether the yard lies north of the equator.
    """

    evening: NDArray[np.datetime64]
    minima_c: FloatArray
    north: bool = True


@dataclass(frozen=True)
class Window:
    """When in the year a tree is planted out.

    Attributes
    ----------
    season : str
        ``autumn``, ``spring``; ``never`` where every time of the season has had too many harmful nights later on.
    opens, closes : (month, day) or None
    still_harmful : float
        Share of winters with another harmful night after `opens`; in autumn, of any in the first winter. [-]
    """

    season: Season
    opens: tuple[int, int] | None
    closes: tuple[int, int] | None
    still_harmful: float


def offset_k(raster: Raster, nights: NightMinima) -> FloatArray:
    """Give how much warmer each place is than the station in the coldest hours of the winters, shape (cell,). [K]"""
    lowest = np.nanmin(nights.minima_c, axis=1)
    return np.asarray((raster.coldest_c.astype(np.float64) - lowest) @ raster.weights)


def nights_below(raster: Raster, nights: NightMinima, threshold_c: float) -> FloatArray:
    """Give how many nights of a winter go below a temperature at each place, on average, shape (cell,).

    Parameters
    ----------
    raster : Raster
    nights : NightMinima
        Of the same winters.
    threshold_c : float
        [°C]

    Returns
    -------
    ndarray, shape (cell,)
        [nights]
    """
    reach_c = threshold_c - offset_k(raster, nights)
    counts = np.zeros(raster.count)
    for weight, winter in zip(raster.weights, nights.minima_c, strict=True):
        known = np.sort(winter[np.isfinite(winter)])
        counts += weight * np.searchsorted(known, np.nan_to_num(reach_c, nan=-273.0), side="left")
    return np.where(np.isfinite(reach_c), counts, np.nan)


def window(
    raster: Raster, nights: NightMinima, cell: int, threshold_c: float, *, most: float = STILL_HARMFUL
) -> Window:
    """Tell when a tree is best planted out at a place.

    Parameters
    ----------
    raster : Raster
    nights : NightMinima
        Of the same winters.
    cell : int
    threshold_c : float
        Air that harms it as it is planted. [°C]
    most : float
        Share of winters with another harmful night that is put up with. [-]

    Returns
    -------
    Window
    """
    at = nights.minima_c + float(offset_k(raster, nights)[cell])
    harmful = at < threshold_c  # unknown nights harm nobody: NaN compares false
    later = np.flip(np.logical_or.accumulate(np.flip(harmful, axis=1), axis=1), axis=1)
    share = raster.weights @ later.astype(np.float64)
    if share[0] <= most:
        opens, closes = AUTUMN[nights.north]
        return Window("autumn", opens, closes, float(share[0]))
    good = np.flatnonzero(share <= most)
    if good.size:
        first = nights.evening[int(good[0])]
    elif _reaches_heat(nights):
        return Window("never", None, None, float(share[-1]))
    else:
        first = nights.evening[-1] + np.timedelta64(1, "D")
    first = max(first, _day(nights.evening[-1], EARLIEST[nights.north]))
    at_first = int(np.searchsorted(nights.evening, first))
    still = float(share[at_first]) if at_first < share.size else 0.0
    heat = _day(first, HEAT_FROM[nights.north])
    last = min(first + np.timedelta64(LONGEST_WAIT_D, "D"), heat)
    last = max(last, first + np.timedelta64(SHORTEST_WINDOW_D, "D"))
    return Window("spring", _month_day(first), _month_day(last), still)


def _reaches_heat(nights: NightMinima) -> bool:
    """Tell whether the nights that are known go on into the heat of summer."""
    return bool(nights.evening[-1] >= _day(nights.evening[-1], HEAT_FROM[nights.north]))


def _day(near: np.datetime64, when: tuple[int, int]) -> np.datetime64:
    """Give a day of the calendar in the year of another one. [datetime64]"""
    year = int(near.astype("datetime64[Y]").astype(int)) + 1970
    return np.datetime64(f"{year:04d}-{when[0]:02d}-{when[1]:02d}")


def _month_day(day: np.datetime64) -> tuple[int, int]:
    text = str(day.astype("datetime64[D]"))
    return int(text[5:7]), int(text[8:10])
