"""A normal posterior for given scales, and the integral over the scales: the nested approximation.

Rue, Martino & Chopin (2009), Approximate Bayesian inference for latent Gaussian models by using integrated nested
Laplace approximations, J. R. Stat. Soc. B 71: the few scales (hyperparameters) are integrated by a design of points
around their own mode, the many parameters at each point are normal.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import product
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEPS = 8
"""Most steps to the mode of the scales. Not to reach it costs accuracy only: the design's weights are of the true
density."""

NEAR, FAR = 0.1, 0.7
"""A step so small, in standard deviations, counts as none; after a larger one than `FAR` the curvature is another."""

SPHERE = 1.1
"""Radius of the design over the root of the number of scales; Rue et al. take it a little above one."""


@dataclass(frozen=True, eq=False)
class Gaussian:
    """The posterior of the parameters for given scales, as a normal.

    Attributes
    ----------
    mean : ndarray [parameter]
    covariance : ndarray [parameter, parameter]
    log_evidence : float
        Logarithm of the data's probability.
    slope : ndarray [scale] or None
        Its derivative by the scales, where it is known.
    """

    mean: Array
    covariance: Array
    log_evidence: float
    slope: Array | None = None


Fit = TypeVar("Fit", bound=Gaussian)


@dataclass(frozen=True, eq=False)
class Design(Generic[Fit]):
    """Points of the scales with their weights, which sum to one, and the posterior at each; the mode first."""

    points: Array
    weights: Array
    fits: tuple[Fit, ...]


def integrate(fit: Callable[[Array, Fit | None], Fit], prior_sd: Array, *, threads: int = 1) -> Design[Fit]:
    """Integrate over scales with normal priors of mean zero.

    Parameters
    ----------
    fit : callable
        From scales, and a result for other scales to begin with, to the posterior of the parameters.
    prior_sd : ndarray [scale]
        Standard deviations of their priors.
    threads : int
        How many points of the design may be worked on at once; of use where the fit lets go of the interpreter. The
        result does not depend on it.

    Returns
    -------
    Design

    Notes
    -----
    The mode by Newton steps, on the fit's own slopes or on differences; then the centre, the corners and the axes of a
    sphere of radius `SPHERE` sqrt(d) in standardised directions, with weights that give the right mass and variance to
    a Gaussian (Rue et al. 2009, section 6.5), times the ratio of the true density to the Gaussian's.
    """
    d = prior_sd.size
    ascent = _Ascent(fit, prior_sd)
    centre, bend = ascent.mode()
    values, vectors = np.linalg.eigh(bend)
    axes = vectors / np.sqrt(values)
    unit = [np.zeros(d)]
    unit += [sign * np.sqrt(d) * SPHERE * np.eye(d)[i] for i in range(d) for sign in (-1.0, 1.0)]
    if d > 1:  # in one dimension the corners are the axes
        unit += [SPHERE * np.array(corner, dtype=np.float64) for corner in product((-1.0, 1.0), repeat=d)]
    points = np.array([centre + axes @ one for one in unit])
    middle = fit(centre, ascent.last)
    if threads > 1:
        with ThreadPoolExecutor(threads) as pool:
            fits = (middle, *pool.map(lambda point: fit(point, middle), points[1:]))
    else:
        fits = (middle, *(fit(point, middle) for point in points[1:]))
    log_density = np.array([one.log_evidence for one in fits]) - 0.5 * ((points / prior_sd) ** 2).sum(axis=1)
    on_sphere = len(unit) - 1
    # A Gaussian's mass 1 and variance d along the radius: sphere weight w with on_sphere * w * d * SPHERE² = d.
    weight = 1.0 / (on_sphere * SPHERE**2)
    base = np.array([1.0 - on_sphere * weight] + [weight] * on_sphere)
    gaussian = np.array([-0.5 * float(one @ one) for one in unit])
    tilt = np.exp(np.clip(log_density - log_density[0] - gaussian, -5.0, 2.0))
    weights = base * tilt
    return Design(points, weights / weights.sum(), fits)


class _Ascent(Generic[Fit]):
    """The way to the mode of the scales; each fit begins at the last one."""

    def __init__(self, fit: Callable[[Array, Fit | None], Fit], prior_sd: Array) -> None:
        self.fit, self.prior_sd = fit, prior_sd
        self.last: Fit | None = None

    def mode(self) -> tuple[Array, Array]:
        """Give the mode and the negative Hessian near it, nowhere flatter than three tenths of the prior's."""
        at = np.zeros(self.prior_sd.size)
        here, slope = self._density(at)
        bend = None
        for _ in range(STEPS):
            if bend is None or slope is None:
                slope, bend = self._bent(at, here, slope)
            move = np.clip(np.linalg.solve(bend, slope), -1.5 * self.prior_sd, 1.5 * self.prior_sd)
            size = float(np.sqrt(move @ bend @ move))
            if size < NEAR:
                return at, bend
            there, its_slope = self._density(at + move)
            while there < here and size > NEAR:  # past the top
                move, size = 0.5 * move, 0.5 * size
                there, its_slope = self._density(at + move)
            at, here, slope = at + move, there, its_slope
            if size > FAR:
                bend = None
        return at, self._bent(at, here, slope)[1] if bend is None else bend

    def _density(self, at: Array) -> tuple[float, Array | None]:
        """Log density of the scales, and its slope where the fit knows it."""
        got = self.last = self.fit(at, self.last)
        slope = None if got.slope is None else got.slope - at / self.prior_sd**2
        return got.log_evidence - 0.5 * float(((at / self.prior_sd) ** 2).sum()), slope

    def _bent(self, at: Array, here: float, slope: Array | None) -> tuple[Array, Array]:
        """Slope and negative Hessian of the log density, where it and perhaps its slope are known."""
        sizes = 0.3 * self.prior_sd
        ahead = [self._density(at + step) for step in np.diag(sizes)]
        if slope is None:
            behind = [self._density(at - step)[0] for step in np.diag(sizes)]
            before, after = np.array(behind), np.array([value for value, _ in ahead])
            slope = (after - before) / (2.0 * sizes)
            curve = np.diag((2.0 * here - after - before) / sizes**2)
        else:
            curve = (slope - np.array([one for _, one in ahead])) / sizes[:, None]
            curve = 0.5 * (curve + curve.T)
        values, vectors = np.linalg.eigh(curve * np.outer(self.prior_sd, self.prior_sd))
        unit = vectors @ np.diag(np.maximum(values, 0.3)) @ vectors.T
        return slope, unit / np.outer(self.prior_sd, self.prior_sd)
