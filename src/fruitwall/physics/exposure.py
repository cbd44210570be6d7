"""What the tissues went through: the result of a simulation, and its axes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.treatment import Night

FloatArray = NDArray[np.float64]

DURATIONS_H = (0.5, 1.0, 2.0, 4.0, 8.0)
"""Order of the duration axis. [h]"""

SERIES = ("leaf", "twig", "wood", "fruit", "root", "air", "cover", "soil", "sky")
"""Names of the series that `simulate(..., keep_series=True)` keeps; "sky" is the effective temperature of what the
leaf's upper side sees."""


@dataclass(frozen=True, eq=False)
class NightResult:
    """Exposures of every tree under every treatment.

    NaN stands where a tissue is absent or a tree has fewer treatments than the longest list.

    Attributes
    ----------
    coldest_c : ndarray, shape (tree, treatment, member, night, tissue, duration)
        Lowest running mean over each of `DURATIONS_H`, tissues as in `TISSUES`. [°C]
    minimum_c : ndarray, shape (tree, treatment, member, night, tissue)
        Lowest value. [°C]
    air_minimum_c : ndarray, shape (tree, treatment, member, night)
        Lowest temperature of the air at the leaves. [°C]
    nights : tuple of Night
    treatment_keys : tuple of tuple of str
        Keys by tree.
    series : dict of ndarray, shape (tree, treatment, member, step), or None
        By the names in `SERIES`, if they were asked for. [°C]
    time_utc : ndarray of datetime64[s], shape (step,), or None
        Times of the series.
    """

    coldest_c: FloatArray
    minimum_c: FloatArray
    air_minimum_c: FloatArray
    nights: tuple[Night, ...]
    treatment_keys: tuple[tuple[str, ...], ...]
    series: dict[str, FloatArray] | None = field(default=None, repr=False)
    time_utc: NDArray[np.datetime64] | None = field(default=None, repr=False)
