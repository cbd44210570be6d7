"""What trees went through in every winter under what was done for them: nights reduced to what judges a winter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.parts import Measure
from fruitwall.plans.rules.ground import SizeStep, WinterNights
from fruitwall.plans.rules.nightly import Chosen
from fruitwall.plants.effects import PALE_DOSE_K_H, PALE_MEMORY
from fruitwall.plants.injury import CHILL_MEMORY, DURATIONS_H
from fruitwall.plants.tolerance import TISSUES

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

HOURS = np.array(DURATIONS_H)

PALE_COLDEST_C, PALE_WARMEST_C, PALE_HALVINGS = -25.0, 40.0, 14
"""Between which levels the one that just pales a leaf is sought: halved so often, to 0.004 K. [°C]"""


@dataclass(frozen=True, eq=False)
class WentThrough:
    """All winters under one choice, at one size of the yard.

    Attributes
    ----------
    worst_c : ndarray, shape (winter, tree, tissue)
        The lowest that each tissue felt on any night; infinite where nothing froze. [°C]
    leaf_c : ndarray, shape (winter, place, tree, duration)
        Nights of each winter side by side, oldest first, filled up with infinite ones. [°C]
    nights_since : ndarray of int, shape (winter, place)
        Nights since the one before; what a leaf carries over fades by each.
    minutes, lifts, kwh, wear : ndarray, shape (winter, tree)
        Sums over the nights. What a night took is shared out to the trees by what was done for each: so much as its
        measure would take alone. [min], [-], [kWh], [currency]
    """

    worst_c: FloatArray
    leaf_c: FloatArray
    nights_since: IntArray
    minutes: FloatArray
    lifts: FloatArray
    kwh: FloatArray
    wear: FloatArray

    def chill_dose_k_h(self, winter: IntArray, tree: int, level_c: FloatArray) -> FloatArray:
        """Give the worst chilling of winters, each night carrying `CHILL_MEMORY` into the next.

        Parameters
        ----------
        winter : ndarray of int, shape (draw,)
        tree : int
        level_c : ndarray, shape (draw,)
            Leaf temperature below which this tree suffers. [°C]

        Returns
        -------
        ndarray, shape (draw,)
            [K h]
        """
        cold = self.leaf_c[winter, :, tree]  # [draw, place, duration]
        night = (np.maximum(level_c[:, None, None] - cold, 0.0) * HOURS).max(axis=-1)
        return _carried(night.T, self.nights_since[winter].T, CHILL_MEMORY)

    @cached_property
    def pale_level_c(self) -> FloatArray:
        """Give by winter and tree the level from which on cool nights pale the leaf, shape (winter, tree). [°C]

        The dose rises with the level, so the level that just suffices is found by halving.
        """
        shape = self.worst_c.shape[:2]
        low, high = np.full(shape, PALE_COLDEST_C), np.full(shape, PALE_WARMEST_C)
        since = self.nights_since.T[:, :, None]
        for _ in range(PALE_HALVINGS):
            middle = 0.5 * (low + high)
            night = (np.maximum(middle[:, None, :, None] - self.leaf_c, 0.0) * HOURS).max(axis=-1)
            pales = _carried(np.moveaxis(night, 1, 0), since, PALE_MEMORY) >= PALE_DOSE_K_H
            low, high = np.where(pales, low, middle), np.where(pales, middle, high)
        return np.where(high >= PALE_WARMEST_C, np.inf, 0.5 * (low + high))


def went_through(nights: WinterNights, step: SizeStep, chosen: Chosen) -> WentThrough:
    """Reduce the nights of all winters under what was chosen.

    Parameters
    ----------
    nights : WinterNights
    step : SizeStep
    chosen : Chosen
        For this step.

    Returns
    -------
    WentThrough
    """
    winters, trees = len(nights.winters), len(step.trees)
    every = np.arange(nights.count)
    place, places = _places(nights)
    worst = np.full((winters, trees, len(TISSUES)), np.inf)
    leaf = np.full((winters, places, trees, HOURS.size), np.inf)
    first = np.flatnonzero(np.diff(nights.winter, prepend=-1))
    for at, tree in enumerate(step.trees):
        rows = chosen.measure[at]
        if nights.count:
            felt = tree.felt_c[rows, every]
            worst[nights.winter[first], at] = np.fmin(np.fmin.reduceat(felt, first, axis=0), np.inf)
            leaf[nights.winter, place, at] = np.fmin(tree.leaf_c[rows, every], np.inf)
    since = np.zeros((winters, places), dtype=np.int64)
    since[nights.winter, place] = np.where(place > 0, np.diff(nights.day, prepend=0), 0)

    return WentThrough(
        worst,
        leaf,
        since,
        _shared_out(nights, step, chosen, chosen.minutes, lambda one: one.minutes + one.minutes_morning),
        _shared_out(nights, step, chosen, chosen.lifts, lambda one: float(one.lifts)),
        _shared_out(nights, step, chosen, chosen.kwh, lambda one: one.kwh),
        _shared_out(nights, step, chosen, chosen.wear, lambda one: one.wear),
    )


def _shared_out(
    nights: WinterNights, step: SizeStep, chosen: Chosen, values: FloatArray, alone: Callable[[Measure], float]
) -> FloatArray:
    """Share what nights took out to the trees, shape (winter, tree); the sum over trees is that of the nights.

    By what the measure of each would take alone; where that is nothing for all of them, evenly among those for which
    something was done, and if there is none among all.
    """
    each = np.array(
        [
            np.array([alone(one) for one in tree.measures])[rows]
            for tree, rows in zip(step.trees, chosen.measure, strict=True)
        ]
    )
    each = np.where(each.sum(axis=0) > 0.0, each, chosen.measure > 0)
    each = np.where(each.sum(axis=0) > 0.0, each, 1.0)
    share = each / each.sum(axis=0) * values
    return np.stack([np.bincount(nights.winter, weights=row, minlength=len(nights.winters)) for row in share], axis=1)


def _places(nights: WinterNights) -> tuple[IntArray, int]:
    """Give the place of each night among those of its winter, and the most that a winter has."""
    counts = np.bincount(nights.winter, minlength=len(nights.winters))
    begins = np.concatenate([[0], np.cumsum(counts)[:-1]])
    return np.arange(nights.count) - begins[nights.winter], int(counts.max(initial=0))


def _carried(dose: FloatArray, nights_since: IntArray, memory: float) -> FloatArray:
    """Give the worst of doses over nights in the first axis, each carrying a share into those after it."""
    carried = np.zeros(dose.shape[1:])
    worst = carried
    for night, since in zip(dose, nights_since, strict=True):
        carried = memory**since * carried + night
        worst = np.maximum(worst, carried)
    return worst
