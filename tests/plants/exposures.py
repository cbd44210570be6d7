"""Nights to put plants through."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fruitwall.plants.effects import AIR_TO_TISSUE_K
from fruitwall.plants.injury import DURATIONS_H
from fruitwall.plants.tolerance import TISSUES


def steady(tissue_c: float) -> NDArray[np.float64]:
    """All tissues at one temperature for every duration. [tissue, duration]"""
    return np.full((len(TISSUES), len(DURATIONS_H)), float(tissue_c))


def one_hour(tissue_c: float) -> NDArray[np.float64]:
    """All tissues at one temperature for an hour, warm otherwise. [tissue, duration]"""
    cold = np.full((len(TISSUES), len(DURATIONS_H)), 20.0)
    cold[:, :2] = tissue_c
    return cold


def clear_night(air_minimum_c: float) -> NDArray[np.float64]:
    """A clear still night by its shelter minimum: a dip of some hours, tissue colder than air. [tissue, duration]"""
    above_minimum = np.array([0.0, 0.1, 0.3, 0.8, 1.5])
    return np.tile(air_minimum_c - AIR_TO_TISSUE_K + above_minimum, (len(TISSUES), 1))
