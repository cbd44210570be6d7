"""What trees stand, as arrays: one row for every tree, age and earlier injury that the years have brought about."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules.ground import SizeStep, TreeWinters
from fruitwall.plants.tolerance import GRADES, TISSUES, WOOD, Tolerance

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

OLDEST_YEARS = 20
"""From this age on a tree is as grown as it gets: `plants.effects.youth` is below 0.0001 there. [years]"""

UNKNOWN = OLDEST_YEARS + 1
"""Stands for "age unknown" among whole ages."""

_KEPT: WeakKeyDictionary[TreeWinters, dict[tuple[int, int], Tolerance]] = WeakKeyDictionary()
"""Asking what a tree stands takes longer than playing its years; the answer is the same for every rule set."""


class Standing:
    """What the trees of one size step stand, row by row as it is asked for.

    Attributes
    ----------
    threshold_c : ndarray, shape (row, tissue, grade)
        NaN where a tissue cannot cause a grade, and for grade 0. [°C]
    spread_k : ndarray, shape (row, tissue)
        Of the tree and within its crown together. [K]
    kept : ndarray, shape (row,)
        Share of the standardised unknown that a tree keeps for life, as a correlation from winter to winter. [-]
    numbers : ndarray, shape (row, number)
        See `NUMBERS`.
    chill_dose_k_h : ndarray, shape (row, grade)
        [K h]
    """

    def __init__(self, step: SizeStep) -> None:
        self._trees = step.trees
        self._row = np.full((len(step.trees), (UNKNOWN + 1) * len(GRADES)), -1, dtype=np.int64)
        self.threshold_c = np.empty((0, len(TISSUES), len(GRADES)))
        self.spread_k = np.empty((0, len(TISSUES)))
        self.kept = np.empty(0)
        self.numbers = np.empty((0, len(NUMBERS)))
        self.chill_dose_k_h = np.empty((0, len(GRADES)))

    def rows(self, age_years: FloatArray, hurt: IntArray) -> IntArray:
        """Give the row of each draw and tree.

        Parameters
        ----------
        age_years : ndarray, shape (draw, tree)
            NaN where unknown; whole years are taken, half ones rounded to the even one. [years]
        hurt : ndarray of int, shape (draw, tree)
            Grade of earlier injury.

        Returns
        -------
        ndarray of int, shape (draw, tree)
        """
        whole = np.where(np.isnan(age_years), UNKNOWN, np.minimum(np.rint(np.nan_to_num(age_years)), OLDEST_YEARS))
        code = whole.astype(np.int64) * len(GRADES) + hurt
        trees = np.arange(len(self._trees))
        found = self._row[trees, code]
        if (found < 0).any():
            draw, tree = np.nonzero(found < 0)
            self._add(sorted(set(zip(tree.tolist(), code[draw, tree].tolist(), strict=True))))
            found = self._row[trees, code]
        return np.asarray(found)

    def _add(self, wanted: list[tuple[int, int]]) -> None:
        """Append the rows of trees and codes."""
        made = [self._tolerance(at, code) for at, code in wanted]
        at, code = np.array(wanted).T
        self._row[at, code] = self.kept.size + np.arange(len(wanted))
        sd = np.array([one.sd_k for one in made])
        slope = np.array([one.slope_k for one in made])
        spread = np.hypot(sd, slope[:, None])
        threshold = np.array([one.threshold_c for one in made])
        threshold[..., 0] = np.nan
        # Where a tree has no unknown at all nothing changes from winter to winter either.
        kept = np.divide(sd[:, WOOD], spread[:, WOOD], out=np.ones(len(made)), where=spread[:, WOOD] > 0.0)
        self.threshold_c = np.concatenate([self.threshold_c, threshold])
        self.spread_k = np.concatenate([self.spread_k, spread])
        self.kept = np.concatenate([self.kept, kept])
        self.numbers = np.concatenate([self.numbers, [[getattr(one, name) for name in NUMBERS] for one in made]])
        self.chill_dose_k_h = np.concatenate([self.chill_dose_k_h, [one.chill_dose_k_h for one in made]])

    def _tolerance(self, at: int, code: int) -> Tolerance:
        """Ask what a tree stands, once for all rule sets."""
        whole, hurt = divmod(code, len(GRADES))
        tree = self._trees[at]
        known = _KEPT.setdefault(tree, {})
        if (whole, hurt) not in known:
            known[whole, hurt] = tree.stands(None if whole == UNKNOWN else float(whole), hurt)
        return known[whole, hurt]

    def number(self, name: str, rows: IntArray) -> FloatArray:
        """Give one of `NUMBERS` for each row asked for."""
        return np.asarray(self.numbers[rows, NUMBERS.index(name)])


NUMBERS = (
    "slope_k",
    "fruit_c",
    "fruit_sd_k",
    "flower_c",
    "flower_sd_k",
    "chill_level_c",
    "chill_sd_k",
    "pale_level_c",
    "pale_sd_k",
)
"""Single numbers of a `Tolerance` that are kept by row."""
