"""Expectation propagation over looks: means and spreads where a mode says too little.

A look that only says "it stood this night" cuts a belief on one side; the mode of what is left is not its mean, and
the curvature there not its spread. Here each look is replaced by the normal factor that gives the right mean and
variance in the company of all others, found by going round until nothing changes. Minka (2001), Expectation propagation
for approximate Bayesian inference; Rasmussen & Williams (2006), Gaussian processes for machine learning, section 3.6.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.gaussian import Gaussian

if TYPE_CHECKING:
    from fruitwall.learning.tolerances import Data

Array = NDArray[np.float64]

ROUNDS = 80
SHARES = (0.85, 0.5)
CALMER_FROM = 15
"""Share of what is due that a round changes, at first and from that round on: looks that contradict each other would
answer each other for ever if all of it were."""

SETTLED = 2e-3
"""Largest change of any parameter's mean, over its spread, that counts as none."""


@dataclass(frozen=True, eq=False)
class Rows:
    """How far the exposures of each look passed the limit of its grade, and of the grade above, over its tree's shift.

    Attributes
    ----------
    offset, rate : ndarray [look, 2, line]
        By the largest of ``offset + rate · shift``. [K], [-]
    log2h : ndarray [look, 2, line]
        Logarithm of the hours of each line.
    lines : ndarray of int [look, 2]
        How many of the lines there are; -1 where the limit was passed for certain.
    """

    offset: Array
    rate: Array
    log2h: Array
    lines: NDArray[np.int64]


@dataclass(frozen=True, eq=False, kw_only=True)
class Matched(Gaussian):
    """A normal posterior with the factors it was made of.

    Attributes
    ----------
    precision, tilt : ndarray [look, 2]
        Each look's factor over the shift of its tree (as its observer sees it) and over that of its chill level.
    """

    precision: Array
    tilt: Array

    def pulls(self, data: Data, shift: Array, chill: Array) -> Array:
        """Give how far each look moves what is believed of its tree.

        Parameters
        ----------
        data : Data
            The looks.
        shift, chill : ndarray [look, parameter]
            Coefficients of the shift of its tree's limits, and of that of its chill level (zeros where there is none).

        Returns
        -------
        ndarray [look, 2]
            For shift and chill: mean less what it would be if the look's factor over that scalar were taken away. [K]
        """
        index = data.index
        looks = np.arange(len(index))[:, None]
        through = np.zeros((2, *shift.shape))
        np.add.at(through[0], (looks, index[:, :5]), data.weights)
        np.add.at(through[1], (looks, np.maximum(index[:, 5:], 0)), 1.0 * (index[:, 5:] >= 0))
        pulls = np.zeros((len(index), 2))
        for at, wanted in enumerate((shift, chill)):
            spread = through[at] @ self.covariance
            left = 1.0 - self.precision[:, at] * (spread * through[at]).sum(axis=1)
            told = self.tilt[:, at] - self.precision[:, at] * (through[at] @ self.mean)
            pulls[:, at] = (spread * wanted).sum(axis=1) * told / left
        return pulls


def match(
    data: Data, sd: Array, groups: Array, spread: float, duration_k_per_log2h: float, near: Matched | None = None
) -> Matched:
    """Match the moments of all looks.

    Parameters
    ----------
    data : Data
        The looks.
    sd : ndarray [parameter]
        Prior standard deviations, means zero.
    groups : ndarray of bool [scale, parameter]
        Which parameters' standard deviations each of the first scales multiplies.
    spread : float
        Factor on the spread within a tree, the next scale.
    duration_k_per_log2h : float
        How much more a doubling of the hours counts than was believed, the last. [K per doubling]
    near : Matched, optional
        A result for other scales, to begin with.

    Returns
    -------
    Matched

    Notes
    -----
    A look meets the parameters through two scalars, the shift of its tree (with the observer's habit) and the shift of
    its chill level; its factor is a product over the two.
    """
    from fruitwall.learning.matching_kernel import settle

    rows, weights, prior = data.rows(duration_k_per_log2h), data.weights, sd**-2.0
    none = np.zeros((len(weights), 2))
    precision, tilt = (none, none.copy()) if near is None else (near.precision.copy(), near.tilt.copy())
    mean, covariance, evidence, by_scale = settle(
        prior, precision, tilt, ROUNDS, SHARES, CALMER_FROM, SETTLED,
        weights, rows.offset, rows.rate, rows.log2h, rows.lines, spread, *data.rest,
    )  # fmt: skip
    moved = prior * (mean**2 + covariance.diagonal()) - 1.0
    slope = np.array([*(float(moved[group].sum()) for group in groups), *by_scale])
    return Matched(
        mean=mean, covariance=covariance, log_evidence=float(evidence), slope=slope, precision=precision, tilt=tilt
    )
