"""How much heat did days bring, from their extremes: degree-days by the methods in use.

A degree-day is one day at one kelvin above the lower threshold. Above the upper threshold more heat counts no more
(horizontal cutoff): what lies above it is taken off again. Pure: arrays in, arrays out.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

Method = Literal[
    "single_sine", "double_sine", "single_triangle", "double_triangle", "average", "average_floored", "four_cases"
]
METHODS: tuple[Method, ...] = (
    "single_sine",
    "double_sine",
    "single_triangle",
    "double_triangle",
    "average",
    "average_floored",
    "four_cases",
)
"""Sine and triangle: Zalom et al. 1983, Degree-days (University of California, leaflet 21373). Averages: the two of
McMaster and Wilhelm 1997 (doi:10.1016/S0168-1923(97)00027-0). Four cases: the rule of thumb of weather services, as Met
Éireann prints it."""


def degree_days(
    t_min_c: ArrayLike,
    t_max_c: ArrayLike,
    low_c: float,
    high_c: float | None = None,
    method: Method = "single_sine",
    *,
    next_t_min_c: ArrayLike | None = None,
    side: Literal["above", "below"] = "above",
) -> Array:
    """Give the degree-days of days.

    Parameters
    ----------
    t_min_c, t_max_c : array_like
        Coldest and hottest of each day; arrays broadcast. [°C]
    low_c : float
        Threshold from which heat counts. [°C]
    high_c : float, optional
        Threshold above which more heat counts no more; warmer than `low_c`. [°C]
    method : str
        One of `METHODS`. ``average`` is zero where the mean lies below `low_c`; ``average_floored`` sets extremes to
        the threshold first; ``double_...`` takes the afternoon's fall down to `next_t_min_c`.
    next_t_min_c : array_like, optional
        Coldest of the following day, for ``double_...``. [°C]
    side : str
        ``below`` gives what lacks below `low_c` instead, which only ``four_cases`` and ``average`` know.

    Returns
    -------
    ndarray
        NaN where an extreme is NaN. [K day]

    Raises
    ------
    ValueError
        For an unknown method, thresholds in the wrong order, a day hotter at its coldest than at its hottest, or a
        ``double_...`` method without `next_t_min_c`.
    """
    if method not in METHODS:
        raise ValueError(f"method must be one of {', '.join(METHODS)}, got {method!r}")
    if not np.isfinite(low_c):
        raise ValueError(f"low_c must be a number, got {low_c}")
    if high_c is not None and not high_c > low_c:
        raise ValueError(f"high_c must be greater than low_c ({low_c} °C), got {high_c}")
    coldest, hottest = np.broadcast_arrays(np.asarray(t_min_c, float), np.asarray(t_max_c, float))
    _check_day("t_max_c", coldest, hottest)
    if side == "below":
        if method not in ("four_cases", "average") or high_c is not None:
            raise ValueError("side below goes with the methods four_cases and average, without high_c")
        return _heat(method, -hottest, -coldest, -low_c, None)
    if side != "above":
        raise ValueError(f"side must be above or below, got {side!r}")
    if not method.startswith("double_"):
        return _heat(method, coldest, hottest, low_c, high_c)
    if next_t_min_c is None:
        raise ValueError(f"method {method} needs next_t_min_c")
    following = np.broadcast_to(np.asarray(next_t_min_c, float), coldest.shape)
    single: Method = "single_sine" if method == "double_sine" else "single_triangle"
    # The night after a day may be warmer than that day's hottest: then the afternoon rises, which is the same half.
    evening = np.minimum(following, hottest), np.maximum(following, hottest)
    halves = (_heat(single, coldest, hottest, low_c, high_c), _heat(single, *evening, low_c, high_c))
    return np.asarray(0.5 * (halves[0] + halves[1]))


def _check_day(name: str, coldest: Array, hottest: Array) -> None:
    wrong = coldest > hottest
    if wrong.any():
        at = tuple(int(one[0]) for one in np.nonzero(wrong)) if wrong.ndim else ()
        raise ValueError(f"{name} must not be below t_min_c, got {hottest[at]} below {coldest[at]} °C")


def _heat(method: Method, coldest: Array, hottest: Array, low_c: float, high_c: float | None) -> Array:
    """Give what lies above the lower threshold, less what lies above the upper one."""
    above = _ABOVE[method]
    heat = above(coldest, hottest, low_c)
    return heat if high_c is None else np.asarray(heat - above(coldest, hottest, high_c))


def _sine(coldest: Array, hottest: Array, base_c: float) -> Array:
    """Give the mean of a sine between the extremes above a base. [K day]"""
    mean, half = 0.5 * (coldest + hottest), 0.5 * (hottest - coldest)
    with np.errstate(invalid="ignore", divide="ignore"):
        begins = np.arcsin(np.clip((base_c - mean) / half, -1.0, 1.0))
    part = ((mean - base_c) * (0.5 * np.pi - begins) + half * np.cos(begins)) / np.pi
    return _by_case(coldest, hottest, base_c, part)


def _triangle(coldest: Array, hottest: Array, base_c: float) -> Array:
    """Give the mean of a straight rise and fall between the extremes above a base. [K day]"""
    with np.errstate(invalid="ignore", divide="ignore"):
        part = 0.5 * (hottest - base_c) ** 2 / (hottest - coldest)
    return _by_case(coldest, hottest, base_c, part)


def _by_case(coldest: Array, hottest: Array, base_c: float, part: Array) -> Array:
    """Take the mean where a day is warm throughout, nothing where it is cold throughout, else what lies above."""
    whole = 0.5 * (coldest + hottest) - base_c
    found = np.where(coldest >= base_c, whole, np.where(hottest <= base_c, 0.0, part))
    return np.asarray(np.where(np.isnan(whole), np.nan, found))


def _average(coldest: Array, hottest: Array, base_c: float) -> Array:
    return np.asarray(np.maximum(0.5 * (coldest + hottest) - base_c, 0.0))


def _average_floored(coldest: Array, hottest: Array, base_c: float) -> Array:
    return np.asarray(0.5 * (np.maximum(coldest, base_c) + np.maximum(hottest, base_c)) - base_c)


def _four_cases(coldest: Array, hottest: Array, base_c: float) -> Array:
    mean = 0.5 * (coldest + hottest)
    mostly = 0.5 * (hottest - base_c) - 0.25 * (base_c - coldest)
    return _by_case(coldest, hottest, base_c, np.where(mean >= base_c, mostly, 0.25 * (hottest - base_c)))


_ABOVE: dict[str, Callable[[Array, Array, float], Array]] = {
    "single_sine": _sine,
    "single_triangle": _triangle,
    "average": _average,
    "average_floored": _average_floored,
    "four_cases": _four_cases,
}
