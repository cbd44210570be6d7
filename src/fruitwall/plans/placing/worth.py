"""What a place is worth to a tree: what of it lives and bears over some years, less what covering it takes.

A raster says what befalls a tree for which nothing is done. What a cover would change is read off the same raster: how
chances fall with the coldest hour over all places and winters, taken some kelvins up that curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.placing.raster import Raster, lives_through

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

COVER_GAIN_K = 2.0
"""What a cloth to the ground keeps on a cold night: 1.1 to 2.2 K (csu_722), 2.2 K (udel_rowcover), 1 to 5 K
(fao_2005); `plans/data/covers.csv`. The lower middle, as nobody closes every gap: our judgement. [K]"""

YEARS = 10
"""So far is looked ahead. Our judgement: a fruit tree pays within ten years or not at all. [years]"""

ENOUGH_SUN_H = 6.0
"""Hours of summer sun from which more is no gain for fruit. common practice, no source. [h]"""

SHADE_LEAST = 0.4
"""What a fruit tree without any direct sun is worth beside one in full sun. Our judgement. [-]"""

ROOTS_SHARE = 0.5
"""What a crown that took all of the sky would take of a tree's worth, by its roots and by the light of dull days. Our
judgement. [-]"""

SCORCH_SHARE = 0.3
"""What a year with hurt leaves or bark takes of a tree's worth to its owner. Our judgement. [-]"""

LEAF_SHARE = 0.5
"""What a year in which it loses most of its leaf takes. Our judgement. [-]"""

BIN_K = 0.5
"""Width of the steps in which chances are read against the coldest hour. [K]"""


@dataclass(frozen=True)
class Stake:
    """What hangs on a tree, and what its care takes.

    Attributes
    ----------
    worth : float
        Of the tree. [currency]
    crop_worth : float
        Of a year's fruit. [currency/year]
    cover_minutes : float
        For one night, evening and morning, without the walk. [min]
    per_hour : float
        Worth of an hour. [currency/h]
    """

    worth: float = 100.0
    crop_worth: float = 20.0
    cover_minutes: float = 12.0
    per_hour: float = 12.0


@dataclass(frozen=True, eq=False)
class PlaceValues:
    """What every place is worth to a tree.

    Attributes
    ----------
    value : ndarray, shape (cell,)
        Over `YEARS`, the better of leaving and covering; NaN where nothing can stand. [currency]
    bare : ndarray, shape (cell,)
        The same if nothing is ever done. [currency]
    lives : ndarray, shape (cell,)
        Chance to live so many winters, cared for as `covered` says. [-]
    covered : ndarray of bool, shape (cell,)
        Whether covering it on cold nights pays.
    minutes : ndarray, shape (cell,)
        A winter, where it is covered; else 0. [min]
    """

    value: FloatArray
    bare: FloatArray
    lives: FloatArray
    covered: BoolArray
    minutes: FloatArray


def held_warmer(raster: Raster, chances: FloatArray, gain_k: float) -> FloatArray:
    """Give chances as they would be if every coldest hour were milder.

    Parameters
    ----------
    raster : Raster
    chances : ndarray, shape (cell, winter)
        Such as ``raster.death[kind]``; NaN where nothing stands. [-]
    gain_k : float
        0 or more. [K]

    Returns
    -------
    ndarray, shape (cell, winter)
        Never above `chances`. [-]

    Notes
    -----
    ``p - (f(c) - f(c + gain))`` with f the mean chance at a coldest hour, over all places and winters, made to fall as
    it gets milder; beyond the mildest that is known f stays as it is there.
    """
    c = raster.coldest_c.astype(np.float64)
    p = np.asarray(chances, dtype=np.float64)
    known = np.isfinite(c) & np.isfinite(p)
    if not known.any():
        return p
    step = np.floor(c[known] / BIN_K).astype(np.int64)
    first = int(step.min())
    count = np.bincount(step - first)
    there = np.flatnonzero(count)
    middle_c = (first + there + 0.5) * BIN_K
    mean = np.minimum.accumulate((np.bincount(step - first, weights=p[known]))[there] / count[there])
    gained = np.interp(c, middle_c, mean) - np.interp(c + gain_k, middle_c, mean)
    return np.where(known, np.clip(p - gained, 0.0, p), p)


def light_share(raster: Raster) -> FloatArray:
    """Give what summer sun and the crowns above leave of a fruit tree's worth at a place, shape (cell,). [-]"""
    sun = np.clip(raster.summer_sun_h / ENOUGH_SUN_H, 0.0, 1.0)
    return np.asarray((SHADE_LEAST + (1.0 - SHADE_LEAST) * sun) * (1.0 - ROOTS_SHARE * raster.canopy))


def scorch_share(raster: Raster, kind: int) -> FloatArray:
    """Give what is left of it after the summers' scorch, shape (cell,); 1 where no summer is known. [-]"""
    return np.asarray(1.0 - SCORCH_SHARE * np.nan_to_num(raster.scorch[kind], nan=0.0))


def goodness(raster: Raster, kind: int, *, years: int = YEARS) -> FloatArray:
    """Give how good each place is for a kind if nothing is done for it, 0 to 1, shape (cell,).

    The chance to live so many winters, by what leaf and fruit and light and summer leave of it. NaN where nothing can
    stand. Where a kind lives nowhere the milder place is still the better one, by a thousandth.
    """
    lives = lives_through(raster.death[kind], raster.weights, years)
    leaf = 1.0 - LEAF_SHARE * raster.leaf_loss[kind]
    fruit = 1.0 - 0.5 * np.nan_to_num(raster.fruit_loss[kind], nan=0.0)
    milder = raster.ten_years_c
    known = np.isfinite(milder)
    span = float(np.ptp(milder[known])) if known.any() else 0.0
    tie = (milder - float(milder[known].min())) / span if span > 0.0 else np.zeros(raster.count)
    good = lives * leaf * fruit * light_share(raster) * scorch_share(raster, kind)
    return np.where(raster.standable, 0.999 * good + 0.001 * tie, np.nan)


def place_values(
    raster: Raster, kind: int, stake: Stake, nights: FloatArray, walk_minutes: FloatArray, *, years: int = YEARS
) -> PlaceValues:
    """Give what every place is worth to a tree, covered on cold nights where that pays.

    Parameters
    ----------
    raster : Raster
    kind : int
        Row of the raster.
    stake : Stake
    nights : ndarray, shape (cell,)
        Nights of a winter on which it would be covered. [1/year]
    walk_minutes : ndarray, shape (cell,)
        There and back, evening and morning together. [min]
    years : int

    Returns
    -------
    PlaceValues

    Notes
    -----
    ``(worth · L(n) + crop · n · L(n/2) · (1 - fruit lost)) · light · scorch · leaf``, less the minutes at their price.
    """
    aside = light_share(raster) * scorch_share(raster, kind)

    def worth(gain_k: float) -> tuple[FloatArray, FloatArray]:
        def mean(chances: FloatArray) -> FloatArray:
            held = held_warmer(raster, chances, gain_k) if gain_k else np.asarray(chances, dtype=np.float64)
            return np.asarray(held @ raster.weights)

        death = held_warmer(raster, raster.death[kind], gain_k) if gain_k else raster.death[kind]
        lives, half = (lives_through(death, raster.weights, n) for n in (years, years // 2))
        fruit = np.nan_to_num(mean(raster.fruit[kind]), nan=0.0)
        leaf = 1.0 - LEAF_SHARE * mean(raster.bare[kind])
        return (stake.worth * lives + stake.crop_worth * years * half * (1.0 - fruit)) * aside * leaf, lives

    bare, lives_bare = worth(0.0)
    held, lives_held = worth(COVER_GAIN_K)
    minutes = np.nan_to_num(nights) * (stake.cover_minutes + walk_minutes)
    kept = held - years * minutes * stake.per_hour / 60.0
    covered = np.asarray(kept > bare)
    return PlaceValues(
        value=np.where(raster.standable, np.where(covered, kept, bare), np.nan),
        bare=np.where(raster.standable, bare, np.nan),
        lives=np.where(covered, lives_held, lives_bare),
        covered=covered & raster.standable,
        minutes=np.where(covered, minutes, 0.0),
    )
