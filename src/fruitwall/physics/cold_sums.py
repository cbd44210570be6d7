"""What a course of hourly temperatures adds up to: nights, minima, hours and degree-hours below levels.

Counting has a state: `march_cold` takes it up where it stopped. Sums run from the oldest hour to the newest whatever
the portions are, so that a winter counted in one batch and one counted hour by hour agree to the last bit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

NO_HOUR = -1
"""Where no hour is known."""


@dataclass(frozen=True, eq=False)
class ColdSums:
    """What was counted so far, and all that is needed to go on.

    Attributes
    ----------
    levels_c : ndarray [level]
        Temperatures below which is counted; at a level is not below it. [°C]
    hours : int
        Hours counted, known or not.
    known_h : int
        Hours whose temperature is known.
    below_h : ndarray of int [level]
        Hours whose mean lies below each level. [h]
    degree_h : ndarray [level]
        Sum over these hours of how far below it lies. [K h]
    longest_h, run_h : ndarray of int [level]
        Most hours in a row below each level, and how many the last ones are; an unknown hour ends a run. [h]
    minimum_c : float
        Lowest hour; NaN where none is known. [°C]
    minimum_at : int
        Its place among the hours counted, the first such one; `NO_HOUR` where none is known.
    night : ndarray of int [night]
        Numbers of the nights with a known hour, rising; the last one may go on.
    night_minimum_c : ndarray [night]
        Lowest hour of each. [°C]
    """

    levels_c: FloatArray
    hours: int
    known_h: int
    below_h: IntArray
    degree_h: FloatArray
    longest_h: IntArray
    run_h: IntArray
    minimum_c: float
    minimum_at: int
    night: IntArray
    night_minimum_c: FloatArray

    @property
    def nights_below(self) -> IntArray:
        """Nights of which at least one hour lies below each level."""
        below: IntArray = (self.night_minimum_c[None, :] < self.levels_c[:, None]).sum(axis=1, dtype=np.int64)
        return below


def no_cold(levels_c: Sequence[float] | FloatArray) -> ColdSums:
    """Begin to count.

    Parameters
    ----------
    levels_c : sequence of float
        Levels, finite. [°C]

    Raises
    ------
    ValueError
        If a level is no number.
    """
    levels = np.asarray(levels_c, dtype=np.float64)
    if levels.ndim != 1 or not np.isfinite(levels).all():
        raise ValueError("levels_c must be a row of finite temperatures")
    none = np.zeros(levels.size, dtype=np.int64)
    return ColdSums(
        levels_c=levels,
        hours=0,
        known_h=0,
        below_h=none,
        degree_h=np.zeros(levels.size),
        longest_h=none,
        run_h=none,
        minimum_c=float("nan"),
        minimum_at=NO_HOUR,
        night=np.zeros(0, dtype=np.int64),
        night_minimum_c=np.zeros(0),
    )


def march_cold(sums: ColdSums, temperature_c: ArrayLike, night: ArrayLike) -> ColdSums:
    """Count further hours.

    Parameters
    ----------
    sums : ColdSums
        What was counted before.
    temperature_c : array_like [hour]
        Means over the hours that follow; NaN where unknown. [°C]
    night : array_like of int [hour]
        Number of the night to which each hour belongs; never falling, not below the last one counted.

    Returns
    -------
    ColdSums
        The same whatever the portions in which hours are counted.

    Raises
    ------
    ValueError
        If the arrays do not fit each other or the nights run backwards.
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    nights = np.asarray(night, dtype=np.int64)
    if t.ndim != 1 or t.shape != nights.shape:
        raise ValueError(f"temperature_c and night must be rows of the same length, got {t.shape} and {nights.shape}")
    if t.size == 0:
        return sums
    if (np.diff(nights) < 0).any() or (sums.night.size and nights[0] < sums.night[-1]):
        raise ValueError("night must not fall from one hour to the next")
    deficit = sums.levels_c[:, None] - t[None, :]
    below = deficit > 0.0  # an unknown hour is not below
    added = np.where(below, deficit, 0.0)
    # A running sum adds one after the other; `sum` would add in pairs, other ones for each way of cutting.
    degree_h = np.cumsum(np.concatenate([sums.degree_h[:, None], added], axis=1), axis=1)[:, -1]
    runs = _runs(sums.run_h, below)
    known = np.isfinite(t)
    minimum_c, minimum_at = sums.minimum_c, sums.minimum_at
    if known.any():
        at = int(np.nanargmin(t))
        if not t[at] >= minimum_c:
            minimum_c, minimum_at = float(t[at]), sums.hours + at
    names, minima = _nights(sums, t[known], nights[known])
    return ColdSums(
        levels_c=sums.levels_c,
        hours=sums.hours + t.size,
        known_h=sums.known_h + int(known.sum()),
        below_h=sums.below_h + below.sum(axis=1),
        degree_h=degree_h,
        longest_h=np.maximum(sums.longest_h, runs.max(axis=1)),
        run_h=runs[:, -1],
        minimum_c=minimum_c,
        minimum_at=minimum_at,
        night=names,
        night_minimum_c=minima,
    )


def _runs(begun: IntArray, below: NDArray[np.bool_]) -> IntArray:
    """Give how many hours in a row are below, up to and with each hour. [h]"""
    count = np.arange(1, below.shape[1] + 1)
    last_not = np.maximum.accumulate(np.where(below, 0, count), axis=1)
    run = count - last_not
    return (run + np.where(last_not == 0, begun[:, None], 0)) * below


def _nights(sums: ColdSums, t: FloatArray, nights: IntArray) -> tuple[IntArray, FloatArray]:
    """Give the nights and their minima with some more known hours."""
    if t.size == 0:
        return sums.night, sums.night_minimum_c
    first = np.flatnonzero(np.concatenate([[True], np.diff(nights) > 0]))
    names, minima = nights[first], np.minimum.reduceat(t, first)
    if sums.night.size and names[0] == sums.night[-1]:
        minima[0] = min(minima[0], sums.night_minimum_c[-1])
        return (
            np.concatenate([sums.night[:-1], names]),
            np.concatenate([sums.night_minimum_c[:-1], minima]),
        )
    return np.concatenate([sums.night, names]), np.concatenate([sums.night_minimum_c, minima])
