"""What does an injury take from a tree: years of growth, height, coming crops; and what is planted in its place?

In step with `plants.injury.LOSS_SHARES`, which says what an injury is worth: the same anchors, told in years. All of it
is our judgement but where a source stands; the model of years (docs/winters-model.md) needs nothing finer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plants.injury import LOSS_SHARES
from fruitwall.plants.stature import Stature
from fruitwall.plants.tolerance import GRADES

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

TWIGS, LIMBS, DEAD = 5, 6, 7
"""Grades from which on the last year's growth, all of the crown, and the tree are lost."""

YEARS_LOST = (0.0, 0.0, 0.0, 0.25, 0.5, 1.0)
"""Years of growth that an injury of grade 0 to 5 takes.

Dead twigs are the last year's growth; a tree that has lost its leaf spends half of a season on new leaf, one that has
lost half of it a quarter. Our judgement. [years]"""

CROWN_YEARS = 5.0
"""How long a crown takes to grow anew from the trunk, on roots that are there already. A tree cut back to the trunk has
lost `LOSS_SHARES` (0.75) of it: 3.75 years, the "three or four of perhaps five years" of that scale. Our judgement.
[years]"""

LEAST_AGE_YEARS = 1.0
"""No tree with old roots stands in the next winter as younger than this. Our judgement. [years]"""

UNKNOWN_AGE_YEARS = 15.0
"""A tree of unknown age counts as grown (`plants.tolerance.prior`); from so many years on it is. [years]"""

WEAK_AS = (0, 0, 0, 0, 0, 2, 3, 0)
"""What of an injury still weakens a tree in the next winter, as a grade of `plants.effects.earlier_injury_k`.

Leaf is made anew in one summer; dead twigs and limbs leave wounds and few stores: 0.3 and 0.6 K. That weak trees suffer
most and come back slowest is in UF/IFAS HS1275; that it lasts into the next winter, and the size, are our judgement."""

NO_CROP_YEARS = (0, 0, 0, 0, 0, 1, 3, 3)
"""How many of the next winters find no fruit to lose on the tree, by grade; a tree newly planted counts as 7.

Dead twigs cost the next crop, a crown cut to the trunk three (as above). Young grafted citrus and subtropicals bear in
the third or fourth year: common practice, no source."""

NURSERY_AGE_YEARS, NURSERY_HEIGHT_M, NURSERY_CROWN_M = 2.0, 1.2, 0.7
"""A grafted tree in a "#5" or "#7" container, as nurseries sell them. common practice, no source. [years], [m], [m]"""

TWIG_SHARE = 0.15
"""How much of its height a tree loses with its last year's twigs. Our judgement. [-]"""

TRUNK_SHARE, TRUNK_CROWN_SHARE = 0.35, 0.2
"""Height and width of what is left when dead limbs are cut to the trunk, over what the tree had. Our judgement. [-]"""


@dataclass(frozen=True)
class Replanting:
    """What stands where a tree was lost.

    Attributes
    ----------
    age_years, height_m, crown_diameter_m : float
        Of the nursery tree, in its first winter. [years], [m], [m]
    price : float
        The worth of the tree that was lost: the household's own word for what losing it costs. [currency]
    """

    age_years: float
    height_m: float
    crown_diameter_m: float
    price: float


def replanting(worth: float) -> Replanting:
    """Give what is planted in place of a tree of this worth."""
    return Replanting(NURSERY_AGE_YEARS, NURSERY_HEIGHT_M, NURSERY_CROWN_M, worth)


def age_next_winter(age_years: ArrayLike, grade: ArrayLike) -> FloatArray:
    """Give as how old a tree stands in the next winter.

    Parameters
    ----------
    age_years : array_like [...]
        Age in this winter; NaN for a grown tree of unknown age. [years]
    grade : array_like of int [...]
        Worst injury of this winter, 0 to 7; a dead tree counts as replanted.

    Returns
    -------
    ndarray [...]
        One year more, less `YEARS_LOST`. After grade 6 at most `CROWN_YEARS` less three quarters of them, and one year
        more; never below `LEAST_AGE_YEARS`. After grade 7 `NURSERY_AGE_YEARS`. NaN stays NaN up to grade 5. [years]

    Raises
    ------
    ValueError
        For a grade outside 0 to 7.
    """
    age = np.asarray(age_years, dtype=np.float64)
    hurt = _grades(grade)
    lost = np.append(YEARS_LOST, [0.0, 0.0])[hurt]
    # A tree that was tenderly young already loses no more than its last year.
    onward = age + 1.0 - lost
    grown = np.where(np.isnan(age), UNKNOWN_AGE_YEARS, age)
    from_trunk = np.minimum(grown, CROWN_YEARS) + 1.0 - LOSS_SHARES[LIMBS] * CROWN_YEARS
    then = np.where(hurt == LIMBS, np.maximum(from_trunk, LEAST_AGE_YEARS), onward)
    return np.asarray(np.where(hurt == DEAD, NURSERY_AGE_YEARS, then))


def weak_as(grade: ArrayLike) -> IntArray:
    """Give the grade of earlier injury that a tree carries into the next winter, for grades 0 to 7. [...]"""
    return np.asarray(np.array(WEAK_AS)[_grades(grade)])


def no_crop_years(grade: ArrayLike) -> IntArray:
    """Give for how many of the next winters a tree bears nothing, for grades 0 to 7. [...] in [years]"""
    return np.asarray(np.array(NO_CROP_YEARS)[_grades(grade)])


def left_standing(stature: Stature, grade: int) -> Stature:
    """Give what is left of a tree after pruning out what an injury has killed.

    Parameters
    ----------
    stature : Stature
        Before the winter. [m]
    grade : int
        Worst injury of the winter, 0 to 7.

    Returns
    -------
    Stature
        As it was up to grade 4 (leaf comes again); a nursery tree after grade 7.

    Raises
    ------
    ValueError
        For a grade outside 0 to 7.
    """
    hurt = int(_grades(grade))
    if hurt < TWIGS:
        return stature
    if hurt == TWIGS:
        left = 1.0 - TWIG_SHARE
        return Stature(left * stature.height_m, left * stature.crown_diameter_m)
    if hurt == LIMBS:
        return Stature(TRUNK_SHARE * stature.height_m, TRUNK_CROWN_SHARE * stature.crown_diameter_m)
    return Stature(NURSERY_HEIGHT_M, NURSERY_CROWN_M)


def _grades(grade: ArrayLike) -> IntArray:
    """Check and return grades as whole numbers."""
    hurt = np.asarray(grade, dtype=np.int64)
    if ((hurt < 0) | (hurt >= len(GRADES))).any():
        raise ValueError(f"grade must be from 0 to {len(GRADES) - 1}, got {hurt.min()} to {hurt.max()}")
    return hurt
