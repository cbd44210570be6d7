"""Expectation propagation over looks: means and spreads where a mode says too little.

A look that only says "it stood this night" cuts a belief on one side; the mode of what is left is not its mean, and
the curvature there not its spread. Here each look is replaced by the normal factor that gives the right mean and
variance in the company of all others, found by going round until nothing changes. Minka (2001), Expectation propagation
for approximate Bayesian inference; Rasmussen & Williams (2006), Gaussian processes for machine learning, section 3.6.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from fruitwall.learning.gaussian import Gaussian

if TYPE_CHECKING:
    from fruitwall.learning.tolerances import Data

Array = NDArray[np.float64]

ROUNDS = 60
DAMPING = 0.8
SETTLED = 1e-4
"""Largest change of any parameter's mean, over its spread, that counts as none."""


def match(data: Data, sd: Array, spread: float, start: Array) -> Gaussian:
    """Match the moments of all looks.

    Parameters
    ----------
    data : Data
        The looks.
    sd : ndarray [parameter]
        Prior standard deviations, means zero.
    spread : float
        Factor on the spread within a tree.
    start : ndarray [parameter]
        The mode: it decides which exposure counts for each look.

    Returns
    -------
    Gaussian

    Notes
    -----
    A look meets the parameters through two scalars, the shift of its tree (with duration and observer) and the shift
    of its chill level; its factor is a product over the two.
    """
    from fruitwall.learning.matching_kernel import joined, match_looks

    weights, offset, rate = data.shift_rows(start)
    precision, tilt = np.zeros((len(offset), 2)), np.zeros((len(offset), 2))
    prior = sd**-2.0
    mean, covariance = np.zeros(sd.size), np.diag(sd**2)
    for _ in range(ROUNDS):
        new_precision, new_tilt, log_z = match_looks(
            mean, covariance, precision, tilt, weights, offset, rate, spread, *data.rest
        )
        precision += DAMPING * (new_precision - precision)
        tilt += DAMPING * (new_tilt - tilt)
        whole, pull = joined(sd.size, precision, tilt, weights, data.index)
        factor = cho_factor(whole + np.diag(prior), lower=True, check_finite=False)
        before, mean = mean, cho_solve(factor, pull, check_finite=False)
        covariance = cho_solve(factor, np.eye(sd.size), check_finite=False)
        if (np.abs(mean - before) < SETTLED * np.sqrt(np.diag(covariance))).all():
            break
    log_det = 2.0 * float(np.log(np.diag(factor[0])).sum())
    evidence = float(log_z.sum()) + 0.5 * float(mean @ pull) + 0.5 * (float(np.log(prior).sum()) - log_det)
    return Gaussian(mean, covariance, evidence)
