"""A Gaussian around the mode: the inner step of the nested approximation.

Parameters have independent normal priors; the data reach them only through a few scalars per look, linear in the
parameters. Rue, Martino & Chopin (2009), Approximate Bayesian inference for latent Gaussian models by using integrated
nested Laplace approximations, J. R. Stat. Soc. B 71: the hyperparameters are integrated outside by a design of
points around their own mode.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cho_factor, cho_solve

Array = NDArray[np.float64]

Terms = Callable[[Array], tuple[float, Array, Array, Array]]
"""From the parameters to the log likelihood, its gradient, the negative of its Hessian, and a matrix near that which is
positive everywhere. The matrices may be written over."""

STEPS = 60
TOLERANCE = 1e-8


@dataclass(frozen=True, eq=False)
class Gaussian:
    """The posterior of the parameters for given hyperparameters, as a normal.

    Attributes
    ----------
    mean : ndarray [parameter]
        The mode too, where it comes from `around_mode`.
    covariance : ndarray [parameter, parameter]
    log_evidence : float
        Logarithm of the data's probability.
    """

    mean: Array
    covariance: Array
    log_evidence: float


def around_mode(terms: Terms, sd: Array, start: Array | None = None) -> Gaussian:
    """Find the mode of the posterior and the Gaussian around it.

    Parameters
    ----------
    terms : callable
        The data, see `Terms`.
    sd : ndarray [parameter]
        Standard deviations of the priors, all with mean zero; each greater than zero.
    start : ndarray [parameter], optional
        Where to begin; zero if left out. The result does not depend on it beyond `TOLERANCE`.

    Returns
    -------
    Gaussian

    Raises
    ------
    ValueError
        If a standard deviation is not positive.
    ArithmeticError
        If the mode is not found.
    """
    if not (sd > 0).all():
        raise ValueError("sd must be greater than zero for every parameter")
    precision = sd**-2.0

    def look(there: Array) -> tuple[float, Array, Array, Array]:
        value, slope, bend, safe = terms(there)
        return value - 0.5 * float(precision @ there**2), slope - precision * there, bend, safe

    at = np.zeros(sd.size) if start is None else start.copy()
    value, slope, bend, safe = look(at)
    for _ in range(STEPS):
        factor = _factor(bend, safe, precision)
        step = cho_solve(factor, slope, check_finite=False)
        gain = float(slope @ step)
        if gain < TOLERANCE:
            break
        share = 1.0
        while True:
            there = at + share * step
            new = look(there)
            if new[0] >= value + 1e-4 * share * gain:
                break
            share *= 0.5
            if share < 1e-9:
                raise ArithmeticError("no mode found: no step goes upwards")
        at, (value, slope, bend, safe) = there, new
    else:
        raise ArithmeticError("no mode found: the steps do not settle")
    covariance = cho_solve(factor, np.eye(sd.size), check_finite=False)
    log_det = 2.0 * float(np.log(np.diag(factor[0])).sum())
    evidence = value + 0.5 * float(np.log(precision).sum()) - 0.5 * log_det
    return Gaussian(at, covariance, evidence)


def _factor(bend: Array, safe: Array, precision: Array) -> tuple[Array, bool]:
    """Cholesky factor of the posterior's precision, by the second Hessian where the first has none."""
    for hessian in (bend, safe):
        hessian[np.diag_indices_from(hessian)] += precision
        try:
            return cho_factor(hessian, lower=True, check_finite=False)
        except LinAlgError:
            continue
    raise ArithmeticError("no mode found: the curvature is not positive")


@dataclass(frozen=True, eq=False)
class Design:
    """Points of the hyperparameters with their weights, which sum to one, and the posterior at each."""

    points: Array
    weights: Array
    fits: tuple[Gaussian, ...]


def integrate(
    fit: Callable[[Array, Array | None], Gaussian],
    prior_sd: Array,
    refined: Callable[[Array, Gaussian], Gaussian] = lambda _, near: near,
) -> Design:
    """Integrate over hyperparameters with normal priors of mean zero.

    Parameters
    ----------
    fit : callable
        From hyperparameters and a start to the Gaussian of the parameters.
    prior_sd : ndarray [hyperparameter]
        Standard deviations of their priors.
    refined : callable
        From hyperparameters and the Gaussian there to a better one, for the points of the design.

    Returns
    -------
    Design

    Notes
    -----
    The mode by Newton steps on differences; then the centre, the corners and the axes of a sphere of radius
    1.1 sqrt(d) in standardised directions, with weights that give the right mass and variance to a Gaussian
    (Rue et al. 2009, section 6.5), times the ratio of the true density to the Gaussian's.
    """
    d = prior_sd.size
    starts: list[Array | None] = [None]

    def density(at: Array) -> float:
        got = fit(at, starts[0])
        starts[0] = got.mean
        return got.log_evidence - 0.5 * float(((at / prior_sd) ** 2).sum())

    centre, bend = _mode(density, prior_sd)
    values, vectors = np.linalg.eigh(bend)
    axes = vectors / np.sqrt(values)
    f0 = 1.1
    unit = [np.zeros(d)]
    unit += [sign * np.sqrt(d) * f0 * np.eye(d)[i] for i in range(d) for sign in (-1.0, 1.0)]
    if d > 1:  # in one dimension the corners are the axes
        unit += [f0 * np.array(corner, dtype=np.float64) for corner in product((-1.0, 1.0), repeat=d)]
    points = np.array([centre + axes @ one for one in unit])
    fits = [refined(point, fit(point, starts[0])) for point in points]
    log_density = np.array([one.log_evidence for one in fits]) - 0.5 * ((points / prior_sd) ** 2).sum(axis=1)
    on_sphere = len(unit) - 1
    # A Gaussian's mass 1 and variance d along the radius: sphere weight w with on_sphere * w * d * f0² = d.
    weight = 1.0 / (on_sphere * f0**2)
    base = np.array([1.0 - on_sphere * weight] + [weight] * on_sphere)
    gaussian = np.array([-0.5 * float(one @ one) for one in unit])
    tilt = np.exp(np.clip(log_density - log_density[0] - gaussian, -5.0, 2.0))
    weights = base * tilt
    return Design(points, weights / weights.sum(), tuple(fits))


def _mode(density: Callable[[Array], float], prior_sd: Array) -> tuple[Array, Array]:
    """Mode of the hyperparameters and the negative Hessian there, made no flatter than the prior's tenth."""
    d = prior_sd.size
    step = 0.3 * prior_sd
    at = np.zeros(d)
    bend = np.diag(prior_sd**-2.0)
    for _ in range(4):
        here = density(at)
        slope, curve = np.zeros(d), np.zeros(d)
        for i in range(d):
            ahead, behind = (density(at + sign * step[i] * np.eye(d)[i]) for sign in (1.0, -1.0))
            slope[i] = (ahead - behind) / (2.0 * step[i])
            curve[i] = -(ahead - 2.0 * here + behind) / step[i] ** 2
        bend = np.diag(np.maximum(curve, 0.3 * prior_sd**-2.0))
        move = np.clip(slope / np.diag(bend), -1.5 * prior_sd, 1.5 * prior_sd)
        if (np.abs(move) < 0.1 / np.sqrt(np.diag(bend))).all():
            break
        at = at + move
    return at, bend
