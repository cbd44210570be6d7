"""How wrong are forecasts here? Learned from pairs of forecast and reading.

Two tools. `fit_emos` is the classical calibration by least score, for long records. `learn_errors` is what a household
uses from its first readings on: a Bayesian regression whose prior is the error model fitted on open data, so that three
nights change little and two winters change what they should.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize
from scipy.stats import t as student

from fruitwall.learning.scores import brier, crps_ensemble, crps_normal

__all__ = ["Emos", "ForecastErrors", "brier", "crps_ensemble", "crps_normal", "fit_emos", "learn_errors"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Emos:
    """Ensemble model output statistics: mean ``a + b m``, variance ``c + d s²``, with c, d ≥ 0.

    Gneiting et al. (2005), Mon. Weather Rev. 133, 1098.
    """

    a: float
    b: float
    c: float
    d: float
    crps: float
    """Mean score over what it was fitted on. [°C]"""

    def mean(self, ensemble_mean_c: ArrayLike) -> Array:
        """Give the calibrated mean. [°C]"""
        return np.asarray(self.a + self.b * np.asarray(ensemble_mean_c, dtype=np.float64))

    def sd(self, ensemble_variance: ArrayLike) -> Array:
        """Give the calibrated standard deviation. [°C]"""
        return np.asarray(np.sqrt(self.c + self.d * np.asarray(ensemble_variance, dtype=np.float64)))


def fit_emos(ensemble_mean_c: ArrayLike, ensemble_variance: ArrayLike, observed_c: ArrayLike) -> Emos:
    """Fit by least mean score.

    Parameters
    ----------
    ensemble_mean_c : array_like [case]
        [°C]
    ensemble_variance : array_like [case]
        Variance of the members, with ddof 1; zeros for a deterministic forecast. [K²]
    observed_c : array_like [case]
        [°C]

    Returns
    -------
    Emos

    Raises
    ------
    ValueError
        With fewer than ten cases, missing values, or negative variances.

    Notes
    -----
    From three starts, since the variance's slope may lie on its bound; the best counts.
    """
    m, s2, y = (np.asarray(one, dtype=np.float64) for one in (ensemble_mean_c, ensemble_variance, observed_c))
    if not m.shape == s2.shape == y.shape or m.ndim != 1 or m.size < 10:
        raise ValueError("fit_emos needs at least ten cases, as many means as variances and observations")
    if not np.isfinite([m, s2, y]).all() or (s2 < 0).any():
        raise ValueError("fit_emos takes no missing values and no negative variances")
    centre = m.mean()
    slope, level = np.polyfit(m - centre, y, 1) if np.ptp(m) > 0 else (1.0, y.mean())
    rest = float(np.var(y - level - slope * (m - centre))) + 1e-6
    spread = float(s2.mean()) + 1e-12

    def score(x: Array) -> float:
        sd = np.sqrt(x[2] ** 2 + x[3] ** 2 * s2 + 1e-12)
        return float(crps_normal(x[0] + x[1] * (m - centre), sd, y).mean())

    best = None
    for share in (0.05, 0.5, 0.95):
        start = np.array([level, slope, np.sqrt(rest * (1 - share)), np.sqrt(rest * share / spread)])
        rough = minimize(score, start, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 4000})
        got = minimize(score, rough.x, method="BFGS", options={"gtol": 1e-8})
        got = got if got.fun <= rough.fun else rough
        best = got if best is None or got.fun < best.fun else best
    assert best is not None
    x = best.x
    return Emos(float(x[0] - x[1] * centre), float(x[1]), float(x[2] ** 2), float(x[3] ** 2), float(best.fun))


BIAS_SD_K = 0.7
"""How far the mean error of forecasts at one place lies from that at others. [K]

The spread of the bias between 24 cities in ``bench/data/nws_city_lows`` is 0.4 K, at official stations; a yard differs
more from the forecast's grid cell. Our judgement.
"""

CLEAR_SD_K = 0.8
"""How much warmer (or colder) than forecast clear calm nights are than others. Our judgement. [K]"""

SCALE_NIGHTS = 12.0
"""For how many nights the prior's spread counts. Our judgement: about two weeks of readings weigh as much."""

NEXT_NIGHT = 0.35
"""Correlation of errors of successive nights, by which neighbouring nights count for less than two."""


@dataclass(frozen=True, eq=False)
class ForecastErrors:
    """What is known of the error (observed minus forecast) of night minima.

    A normal regression on a constant and on how clear and calm the night is, with the prior's spread times one factor.
    """

    mean: Array
    """Constant, and by clearness. [K]"""
    covariance: Array
    """Of the two, over the squared factor. [K²]"""
    nights: float
    """Degrees of freedom of the factor."""
    factor2: float
    """Squared factor on the prior's spread."""
    pairs: int

    def at(self, clear: ArrayLike, prior_sd_k: ArrayLike) -> tuple[Array, Array]:
        """Give mean and scale of the next error, a Student t distribution with `nights` degrees of freedom.

        Parameters
        ----------
        clear : array_like
            How clear and calm the night is forecast, 0 to 1.
        prior_sd_k : array_like
            Spread of the error by the prior at its lead time. [K]

        Returns
        -------
        mean, scale : ndarray
            [K]
        """
        x = _design(clear)
        sd = np.asarray(prior_sd_k, dtype=np.float64)
        variance = self.factor2 * (sd**2 + np.einsum("...i,ij,...j->...", x, self.covariance, x))
        return x @ self.mean, np.sqrt(variance)

    def quantile(self, probability: ArrayLike, clear: ArrayLike, prior_sd_k: ArrayLike) -> Array:
        """Give a quantile of the next error. [K]"""
        mean, scale = self.at(clear, prior_sd_k)
        return np.asarray(mean + scale * student.ppf(np.asarray(probability, dtype=np.float64), self.nights))


def learn_errors(
    forecast_c: ArrayLike,
    observed_c: ArrayLike,
    prior_sd_k: ArrayLike,
    clear: ArrayLike,
    night: ArrayLike,
) -> ForecastErrors:
    """Learn from pairs of forecast and observed night minima.

    Parameters
    ----------
    forecast_c, observed_c : array_like [pair]
        [°C]
    prior_sd_k : array_like [pair]
        Spread of the error by the prior at the pair's lead time; greater than zero. [K]
    clear : array_like [pair]
        How clear and calm the night was forecast, 0 to 1.
    night : array_like of int [pair]
        Number of the night. Pairs of one night (several lead times) count together as one.

    Returns
    -------
    ForecastErrors
        The prior itself without pairs.

    Raises
    ------
    ValueError
        For missing values or shapes that do not fit.

    Notes
    -----
    Conjugate: coefficients normal given the factor, the squared factor inverse gamma. Neighbouring nights are
    correlated (`NEXT_NIGHT`), so that a run of nights counts for (1 - r)/(1 + r) of itself when its neighbours are there
    too; a first-order approximation to whitening, which needs no gaps filled.
    """
    f, y, sd, c, n = (
        np.atleast_1d(np.asarray(one, dtype=np.float64)) for one in (forecast_c, observed_c, prior_sd_k, clear, night)
    )
    if not f.shape == y.shape == sd.shape == c.shape == n.shape or f.ndim != 1:
        raise ValueError("forecast, observed, prior_sd_k, clear and night must be of one length")
    if not np.isfinite([f, y, sd, c, n]).all() or (sd <= 0).any():
        raise ValueError("learn_errors takes no missing values, and prior_sd_k must be greater than 0 K")
    mean = np.zeros(2)
    precision = np.diag([BIAS_SD_K**-2.0, CLEAR_SD_K**-2.0])
    if f.size == 0:
        return ForecastErrors(mean, np.linalg.inv(precision), SCALE_NIGHTS, 1.0, 0)
    order = np.lexsort((y, f, sd, n))
    f, y, sd, c, n = f[order], y[order], sd[order], c[order], n[order]
    weight = _weights(n)
    x = _design(c) / sd[:, None]
    z = (y - f) / sd
    new = precision + (x * weight[:, None]).T @ x
    mean = np.linalg.solve(new, (x * weight[:, None]).T @ z)
    nights = SCALE_NIGHTS + float(weight.sum())
    squares = SCALE_NIGHTS + float(weight @ z**2) - float(mean @ new @ mean)
    return ForecastErrors(mean, np.linalg.inv(new), nights, squares / nights, int(f.size))


def _design(clear: ArrayLike) -> Array:
    c = np.asarray(clear, dtype=np.float64)
    return np.stack([np.ones_like(c), c], axis=-1)


def _weights(night: Array) -> Array:
    """For how many independent nights each pair counts."""
    numbers, group, count = np.unique(night, return_inverse=True, return_counts=True)
    neighbours = np.isin(numbers - 1, numbers).astype(float) + np.isin(numbers + 1, numbers).astype(float)
    independent = (1.0 - NEXT_NIGHT) / (1.0 + NEXT_NIGHT)
    per_night = 1.0 - (1.0 - independent) * neighbours / 2.0
    return np.asarray((per_night / count)[group])
