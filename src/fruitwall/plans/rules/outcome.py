"""What becomes of the trees over the years under what was done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules.ground import Ground
from fruitwall.plans.rules.nightly import Chosen

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Ahead:
    """How the future is drawn.

    Attributes
    ----------
    years : int
        How far it is looked ahead. [years]
    draws : int
        How many futures.
    seed : int
    replant : bool
        Whether a lost tree is replaced, at its worth.
    """

    years: int = 30
    draws: int = 64
    seed: int = 1
    replant: bool = True


@dataclass(frozen=True, eq=False)
class Outcome:
    """What became of the trees in every drawn future; the same draws for every rule set, so that they compare.

    Attributes
    ----------
    winter : ndarray of int, shape (draw, year)
        Which winter was drawn.
    grade : ndarray of int8, shape (draw, year, tree)
        Worst grade of the winter; 0 too where there was no tree.
    died : ndarray of bool, shape (draw, year, tree)
    fruit_lost : ndarray, shape (draw, year, tree)
        Share of what it would have carried. [-]
    minutes, lifts, kwh, wear : ndarray, shape (draw, year)
    loss : ndarray, shape (draw, year)
        Trees by grade and fruit, at their worth; a death counts the tree's whole worth, which pays for replanting.
        [currency]
    effort : ndarray, shape (draw, year)
        Minutes, lifts, energy at the household's prices, and wear. [currency]
    """

    winter: NDArray[np.int64]
    grade: NDArray[np.int8]
    died: NDArray[np.bool_]
    fruit_lost: FloatArray
    minutes: FloatArray
    lifts: FloatArray
    kwh: FloatArray
    wear: FloatArray
    loss: FloatArray
    effort: FloatArray


def play(ground: Ground, chosen: Sequence[Chosen], ahead: Ahead) -> Outcome:
    """Play drawn futures; `chosen` has one for each of the ground's steps."""
    raise NotImplementedError
