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
        How much higher its lowest temperature of a night is than that outside, if not heated, 0 to 25. [K]
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
        Heated: the outside air, lagged by 12 h, but at least what is kept. Unheated: the outside air, lagged by 4 h and
        shifted so that the lowest temperature of every night is `warmer_k` above the lowest outside. [°C]

    Notes
    -----
    The lag is a first-order filter that starts at the first day's mean. The shift grows from nothing at the beginning
    of the first night, runs in a straight line from night to night and stays after the last. It makes the place neither
    warmer than the warmest air of the last 24 hours (or than what is said of the night) nor colder than the air outside
    or that air lagged, whichever is the colder.
    """
    keep = exp(-step_s / (3600.0 * LAG_H[room.heated]))
    day = max(1, round(86_400.0 / step_s))
    lagged = np.empty_like(t_air_c)
    lagged[:, 0] = t_air_c[:, :day].mean(axis=1)
    for step in range(1, t_air_c.shape[1]):
        lagged[:, step] = keep * lagged[:, step - 1] + (1.0 - keep) * t_air_c[:, step]
    if room.heated:
        return np.maximum(lagged, room.kept_at_c)
    return _shifted(lagged, t_air_c, room.warmer_k, nights, day, round(3600.0 * LAG_H[False] / step_s))


def _shifted(
    lagged: FloatArray, t_air_c: FloatArray, warmer_k: float, nights: Sequence[tuple[int, int]], day: int, lag: int
) -> FloatArray:
    """Bring the lagged air to what is said of each night's minimum; `day` and `lag` in steps."""
    if not nights:
        return lagged
    steps = np.arange(lagged.shape[1])
    ends = [
        min(last + lag, after) for (_, last), (after, _) in zip(nights, [*nights[1:], (steps.size, 0)], strict=True)
    ]
    shift, least = np.empty_like(lagged), np.empty_like(lagged)
    for member in range(lagged.shape[0]):
        at, by, said = [nights[0][0]], [0.0], []
        for (first, last), end in zip(nights, ends, strict=True):
            # Indoors it is coldest some hours after it was outside, perhaps after the covers are off.
            trough = first + int(lagged[member, first : max(end, first + 1)].argmin())
            said.append(float(t_air_c[member, first : last + 1].min()) + warmer_k)
            at.append(trough)
            by.append(said[-1] - float(lagged[member, trough]))
        shift[member] = np.interp(steps, at, by, left=0.0)
        least[member] = np.interp(steps, at[1:], said)
    before = np.concatenate([np.repeat(t_air_c[:, :1], day - 1, axis=1), t_air_c], axis=1)
    warmest = np.lib.stride_tricks.sliding_window_view(before, day, axis=1).max(axis=2)
    ceiling = np.maximum(np.maximum(lagged, warmest), least)
    return np.clip(lagged + shift, np.minimum(lagged, t_air_c), ceiling)
