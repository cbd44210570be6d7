"""How often a tree's own level is passed: what the winters bring against what the tree stands, both uncertain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plans.years import Minima, certainty

FloatArray = NDArray[np.float64]

NODES = 41
"""Points of the Gauss-Hermite rule for what is not known of the tree."""


@dataclass(frozen=True)
class Danger:
    """How often a level is passed.

    Attributes
    ----------
    level_c, sd_k : float
        Where harm or death begins, and how uncertain that is. [°C], [K]
    yearly : float
        Chance in one winter, over what is not known. [-]
    over_years : float
        Chance of at least once in so many winters. [-]
    """

    level_c: float
    sd_k: float
    yearly: float
    over_years: float


def danger_of(
    level_c: float, sd_k: float, below: Minima | ArrayLike, years: float, *, weights: ArrayLike | None = None
) -> Danger:
    """Give how often the coldest hour of a winter goes below a level that is itself uncertain.

    Parameters
    ----------
    level_c, sd_k : float
        Of the tree. [°C], [K]
    below : Minima or array_like, shape (winter,)
        What was fitted to the coldest hours; or, where there are too few winters for that, these hours themselves.
        [°C]
    years : float
        At least 0. [winters]
    weights : array_like, shape (winter,), optional
        Of the winters themselves, how likely a coming winter is like each. [-]

    Returns
    -------
    Danger
        NaN throughout where the level is not known.

    Notes
    -----
    What is not known of a tree stays the same from winter to winter, so that it is averaged last: over T with the mean
    and deviation of the level, ``E[p(T)]`` in one winter and ``E[1 - (1 - p(T))^n]`` in n. The second is less than
    ``1 - (1 - E[p])^n``: a tree that stood one hard winter stands the next as well. Winters do not depend on each
    other.
    """
    if not np.isfinite(level_c):
        return Danger(float("nan"), float("nan"), float("nan"), float("nan"))
    if isinstance(below, Minima):
        points, share = np.polynomial.hermite_e.hermegauss(NODES)
        share = share / share.sum()
        chance = np.clip(below.chance_below(level_c + sd_k * points), 0.0, 1.0)
    else:
        chance, share = _of_winters(level_c, sd_k, below, weights)
    return Danger(level_c, sd_k, float(share @ chance), float(share @ certainty(chance, years)))


def _of_winters(
    level_c: float, sd_k: float, minima_c: ArrayLike, weights: ArrayLike | None
) -> tuple[FloatArray, FloatArray]:
    """Give the shares of winters that pass the level, and how likely each share is: the level lies between two winters.

    No winter passes a level colder than all of them, so of n winters there are n + 1 cases.
    """
    from scipy.special import ndtr

    minima = np.asarray(minima_c, dtype=np.float64)
    w = np.ones(minima.size) if weights is None else np.asarray(weights, dtype=np.float64)
    order = np.argsort(minima, kind="stable")
    chance = np.concatenate([[0.0], np.cumsum(w[order]) / w.sum()])
    below = ndtr((minima[order] - level_c) / sd_k) if sd_k > 0.0 else (minima[order] > level_c).astype(np.float64)
    return np.clip(chance, 0.0, 1.0), np.diff(np.concatenate([[0.0], below, [1.0]]))
