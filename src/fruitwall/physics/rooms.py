"""How cold it gets in a shed, garage or room into which containers are carried.

Indoors there is no sky: air, walls and plant are taken to be at one temperature.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, isnan, nan

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LAG_H = {True: 12.0, False: 4.0}
"""Time in which a heated and an unheated place follow the air outside: house wall and garden shed. Our judgement."""


@dataclass(frozen=True)
class Room:
    """Climate of an indoor place.

    Attributes
    ----------
    key : str
        Identifier of the place.
    kept_at_c : float
        Lowest temperature that its heating keeps; NaN if it is not heated. [°C]
    warmer_k : float
        How much warmer than outside it is at the end of the night if not heated, 0 to 25. [K]
    """

    key: str
    kept_at_c: float = nan
    warmer_k: float = 3.0

    def __post_init__(self) -> None:
        if not (isnan(self.kept_at_c) or -10 <= self.kept_at_c <= 35):
            raise ValueError(f"kept_at_c must be at least -10 and at most 35 °C, got {self.kept_at_c!r}")
        if not 0 <= self.warmer_k <= 25:
            raise ValueError(f"warmer_k must be at least 0 and at most 25 K, got {self.warmer_k!r}")

    @property
    def heated(self) -> bool:
        """Whether a heating keeps it at a temperature."""
        return not isnan(self.kept_at_c)


def room_temperature(room: Room, t_air_c: FloatArray, step_s: float, nights: Sequence[tuple[int, int]]) -> FloatArray:
    """Give the temperature of an indoor place.

    Parameters
    ----------
    room : Room
    t_air_c : ndarray, shape (member, step)
        Air of the yard. [°C]
    step_s : float
        Time step. [s]
    nights : sequence of (int, int)
        First and last step of each night in the room.

    Returns
    -------
    ndarray, shape (member, step)
        Heated: the outside air, lagged by 12 h, but at least what is kept. Unheated: the outside air, lagged by 4 h,
        shifted so that when it is coldest outside it is `warmer_k` above that; the shift grows from nothing at the
        beginning of the night. [°C]

    Notes
    -----
    The lag is a first-order filter that starts at the first day's mean.
    """
    keep = exp(-step_s / (3600.0 * LAG_H[room.heated]))
    day = max(1, round(86_400.0 / step_s))
    lagged = np.empty_like(t_air_c)
    lagged[:, 0] = t_air_c[:, :day].mean(axis=1)
    for step in range(1, t_air_c.shape[1]):
        lagged[:, step] = keep * lagged[:, step - 1] + (1.0 - keep) * t_air_c[:, step]
    if room.heated:
        return np.maximum(lagged, room.kept_at_c)
    shifted = lagged.copy()
    members = np.arange(t_air_c.shape[0])
    for first, last in nights:
        coldest = first + t_air_c[:, first : last + 1].argmin(axis=1)
        shift = t_air_c[members, coldest] + room.warmer_k - lagged[members, coldest]
        grown = np.clip((np.arange(first, last + 1) - first) / np.maximum(coldest - first, 1)[:, None], 0.0, 1.0)
        shifted[:, first : last + 1] += shift[:, None] * grown
    return shifted
