"""Several weather stations blended to one place: weights and offsets learned where their hours overlap with its own.

The air of the place is taken as a weighted mean of the stations' (weights at least 0, their sum 1) and an offset with a
constant part, a part that follows the year as a wave (where most of a year was seen), and one that grows with how clear
and calm the night is (`physics.cooling.cooling_strength`). All are fitted together by least squares. What it is worth
is told by nights that were left out: blocks of days, in turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BLOCK_NIGHTS, FOLDS = 10, 5
"""Nights that are left out together, so that a cold spell is not on both sides; and how many times all are parted. Our
judgement."""

FEWEST_HOURS = 20 * 24
"""Hours of overlap below which nothing is learned. Our judgement. [h]"""

WAVE_MONTHS = 9
"""Months of the year that must be seen for the wave to be learned: else it runs away in the others. Our judgement."""

DRAW_K = 0.1
"""Each offset is drawn to 0, and stations' weights to each other, as by an hour that is so wrong: a short overlap does
not run away. Our judgement. [K]"""


@dataclass(frozen=True)
class Blend:
    """What was learned.

    Attributes
    ----------
    stations : tuple of int
        Which stations it takes, counted from 0.
    weights : tuple of float
        Of these, each above 0; they sum to one.
    constant_k, cosine_k, sine_k, clear_night_k : float
        Offset: always; as the year goes, with the phase; at full cooling strength. [K]
    lowest_rmse_k : float
        Error of the lowest temperature of nights that were left out. [K]
    nights : int
        How many of these.
    """

    stations: tuple[int, ...]
    weights: tuple[float, ...]
    constant_k: float
    cosine_k: float
    sine_k: float
    clear_night_k: float
    lowest_rmse_k: float
    nights: int

    def air(self, stations_c: FloatArray, strength: FloatArray, phase: FloatArray) -> FloatArray:
        """Give the air of the place; arrays as for `learn_blend`. [°C]"""
        offset = self.constant_k + self.cosine_k * np.cos(phase) + self.sine_k * np.sin(phase)
        mean = np.asarray(self.weights) @ stations_c[list(self.stations)]
        return np.asarray(mean + offset + self.clear_night_k * strength)


def learn_blends(
    place_c: FloatArray, stations_c: FloatArray, strength: FloatArray, phase: FloatArray, night: IntArray
) -> tuple[Blend, ...]:
    """Learn a blend of each set of stations that overlaps long enough with the place.

    Parameters
    ----------
    place_c : ndarray, shape (hour,)
        Air at the place, NaN where not known. [°C]
    stations_c : ndarray, shape (station, hour)
        Air at the stations, NaN where not known. [°C]
    strength : ndarray, shape (hour,)
        Cooling strength of the hour, 0 by day. [-]
    phase : ndarray, shape (hour,)
        Angle of the time of the year. [rad]
    night : ndarray of int, shape (hour,)
        Number of the night to which an hour belongs: from noon to noon.

    Returns
    -------
    tuple of Blend
        The best first: by the error of the minima of nights that were left out. A set that is worth no more than a
        part of it comes after that part; sets whose weights would fall to 0 are left out.
    """
    found: list[Blend] = []
    every = range(stations_c.shape[0])
    for stations in (one for size in range(1, len(every) + 1) for one in combinations(every, size)):
        used = np.isfinite(place_c) & np.isfinite(stations_c[list(stations)]).all(axis=0)
        if used.sum() < FEWEST_HOURS:
            continue
        parts = (place_c[used], stations_c[list(stations)][:, used], strength[used], phase[used])
        fitted = _fitted(*parts)
        if fitted is not None:
            error, nights = _left_out_error(*parts, night[used])
            found.append(_blend(stations, fitted, error, nights))
    return tuple(sorted(found, key=lambda one: (one.lowest_rmse_k, len(one.stations))))


def _blend(stations: tuple[int, ...], fitted: FloatArray, error_k: float, nights: int) -> Blend:
    """Lay out what `_fitted` gave."""
    *weights, constant, cosine, sine, clear = (float(one) for one in fitted)
    return Blend(stations, tuple(weights), constant, cosine, sine, clear, error_k, nights)


def _fitted(place_c: FloatArray, stations_c: FloatArray, strength: FloatArray, phase: FloatArray) -> FloatArray | None:
    """Fit weights and offsets; None where a weight is not above 0."""
    first, others = stations_c[0], stations_c[1:]
    months = np.unique(np.floor(phase % (2 * np.pi) / (2 * np.pi) * 12)).size
    wave = 1.0 if months >= WAVE_MONTHS else 0.0
    offsets = [np.ones_like(first), wave * np.cos(phase), wave * np.sin(phase), strength]
    columns = [*(other - first for other in others), *offsets]
    design = np.stack(columns, axis=1)
    count = stations_c.shape[0]
    toward = np.zeros(design.shape[1])
    toward[: count - 1] = 1.0 / count
    drawn = DRAW_K * np.eye(design.shape[1])
    solved, *_ = np.linalg.lstsq(
        np.concatenate([design, drawn]), np.concatenate([place_c - first, drawn @ toward]), rcond=None
    )
    weights = np.concatenate([[1.0 - solved[: count - 1].sum()], solved[: count - 1]])
    return np.concatenate([weights, solved[count - 1 :]]) if (weights > 0.0).all() else None


def _left_out_error(
    place_c: FloatArray, stations_c: FloatArray, strength: FloatArray, phase: FloatArray, night: IntArray
) -> tuple[float, int]:
    """Give the root mean square error of the minima of nights that were left out, and how many there were."""
    wrong: list[float] = []
    fold = (night // BLOCK_NIGHTS) % FOLDS
    for number in range(FOLDS):
        left_out = fold == number
        learned = ~left_out
        fitted = _fitted(place_c[learned], stations_c[:, learned], strength[learned], phase[learned])
        if fitted is None or not left_out.any():
            continue
        count = stations_c.shape[0]
        one = _blend(tuple(range(count)), fitted, 0.0, 0)
        made = one.air(stations_c[:, left_out], strength[left_out], phase[left_out])
        wrong += minima_off(place_c[left_out], made, night[left_out])
    return (float(np.sqrt(np.mean(np.square(wrong)))) if wrong else float("nan")), len(wrong)


def minima_off(real: FloatArray, made: FloatArray, night: IntArray) -> Sequence[float]:
    """Give by how much the lowest temperature of each night is off.

    Parameters
    ----------
    real, made : ndarray, shape (hour,)
        Air as it was and as it was made. [°C]
    night : ndarray of int, shape (hour,)
        Number of the night of each hour.

    Returns
    -------
    sequence of float
        Of each night, made minus real. [K]
    """
    order = np.argsort(night, kind="stable")
    _, start = np.unique(night[order], return_index=True)
    off = np.minimum.reduceat(made[order], start) - np.minimum.reduceat(real[order], start)
    return [float(one) for one in off]
