"""What a winter takes from a tree under one row of measures: its nights joined, not added up.

A tree that stood the coldest night of a winter stood the others too: whatever is unknown of it is the same unknown on
all nights. So a winter is judged by the worst that each tissue felt in it (as `plants.injury.grade_chances` does along
its `nights_axis`), by the chilling that builds up over its nights, and by the worst night of its fruit.

Notes
-----
Left out, and said so to the user: the paling of leaves in weeks of cool nights (grade 1, which costs a hundredth of a
tree and comes back by itself), the growth of trees from winter to winter, and what a winter before has left behind. The
replay of drawn futures (`plans.rules.outcome`) has the last two.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules.ground import Ground, SizeStep, TreeWinters, WinterNights
from fruitwall.plants.injury import DURATIONS_H, chances_of_felt, grade_chances, loss_share
from fruitwall.plants.tolerance import LEAF, TISSUES

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

DEAD = 7


@dataclass(frozen=True, eq=False)
class WinterFate:
    """What every winter takes from one tree.

    Attributes
    ----------
    loss : ndarray, shape (winter,)
        Expected. [currency]
    death : ndarray, shape (winter,)
        Chance. [-]
    """

    loss: FloatArray
    death: FloatArray


def winter_fate(nights: WinterNights, tree: TreeWinters, rows: NDArray[np.integer]) -> WinterFate:
    """Judge every winter of a tree under a measure for each night.

    Parameters
    ----------
    nights : WinterNights
    tree : TreeWinters
    rows : ndarray of int, shape (night,)
        Row among the tree's measures; 0 is leaving it.

    Returns
    -------
    WinterFate
        A winter without any night that matters takes nothing.
    """
    count = len(nights.winters)
    every = np.arange(nights.count)
    felt = np.asarray(tree.felt_c[rows, every], dtype=np.float64)
    worst = np.full((count, felt.shape[1]), np.inf)
    np.fmin.at(worst, nights.winter, felt)
    tolerance = tree.stands(tree.age_years, 0)
    chances = chances_of_felt(tolerance, worst)
    if not np.isnan(tolerance.chill_level_c):
        chances = _either(chances, _chilled(nights, tree, rows))
    fruit = np.zeros(count)
    np.fmax.at(fruit, nights.winter, np.asarray(tree.fruit_lost[rows, every], dtype=np.float64))
    loss = tree.worth * loss_share(chances) + tree.crop_worth * fruit
    return WinterFate(np.asarray(loss), np.asarray(chances[:, DEAD]))


def yearly_loss(ground: Ground, step: SizeStep, measure: NDArray[np.integer]) -> float:
    """Give the expected loss of a yard per winter under a measure for each tree and night.

    Parameters
    ----------
    ground : Ground
    step : SizeStep
        Of the ground.
    measure : ndarray of int, shape (tree, night)
        Rows among the measures of each tree.

    Returns
    -------
    float
        [currency]
    """
    weights = ground.nights.weights
    return float(
        sum(
            weights @ winter_fate(ground.nights, tree, rows).loss
            for tree, rows in zip(step.trees, measure, strict=True)
        )
    )


def _either(frozen: FloatArray, chilled: FloatArray) -> FloatArray:
    """Chances of the worse of two ways of being hurt that know nothing of each other. [winter, 8]"""
    below = np.cumsum(frozen, axis=-1) * np.cumsum(chilled, axis=-1)
    return np.diff(below, axis=-1, prepend=0.0)


def _chilled(nights: WinterNights, tree: TreeWinters, rows: NDArray[np.integer]) -> FloatArray:
    """Chances of each grade by chilling alone. [winter, 8]"""
    tolerance = tree.stands(tree.age_years, 0)
    only = replace(tolerance, threshold_c=np.full_like(tolerance.threshold_c, np.nan), pale_level_c=float("nan"))
    first, last = (int(nights.day.min()), int(nights.day.max())) if nights.count else (0, 0)
    cold = np.full((len(nights.winters), last - first + 1, len(TISSUES), len(DURATIONS_H)), np.nan)
    leaf = tree.leaf_c[rows, np.arange(nights.count)]
    cold[nights.winter, nights.day - first, LEAF] = leaf
    chances = grade_chances(only, cold, nights_axis=1)
    nothing = np.eye(chances.shape[-1])[0]
    return np.asarray(np.where(np.isnan(chances), nothing, chances))
