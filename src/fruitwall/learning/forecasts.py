"""How wrong are forecasts here? Learned from pairs of forecast and reading.

Two tools. `fit_emos` is the classical calibration by least score, for long records. `learn_errors` is what a household
uses from its first readings on: a Bayesian regression whose prior is the error model fitted on open data, so that three
nights change little and two winters change what they should.

The model of an error (observed minus forecast minimum) of night n, for each lead time by itself, with s its spread by
the prior::

    error = bias + slope (clear - 1/2) + s f e,    corr(e, e') = NEXT_NIGHT^|n-n'|

f² is scaled inverse chi-squared, bias and slope are normal given f (in units of f), so that everything has a closed
form and the predictive distribution is Student's t. Equations and measured figures: docs/learning-weather.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.learning.scores import brier, crps_ensemble, crps_normal

__all__ = [
    "Emos",
    "ForecastErrors",
    "Foretold",
    "brier",
    "crps_ensemble",
    "crps_normal",
    "fit_emos",
    "foretold",
    "learn_errors",
]

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
    from scipy.optimize import minimize

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


BIAS_SD_K = 0.8
"""How far the mean error of forecasts at one place lies from that at others. [K]

The spread of the mean error between the 24 cities of ``bench/data/nws_city_lows`` is 0.4 K, at official stations for
which the forecast was meant. A yard differs more from its grid cell: twice that, our judgement.
"""

CLEAR_SD_K = 1.0
"""How much colder or warmer clear and calm nights are against their forecast than overcast ones. [K]

In the same data nights forecast sunny are 0.8 K colder against their forecast than cloudy ones, with a spread between
cities of 0.6 K; the prior takes no side, so its spread is the root of both squared.
"""

LEADS = 5
"""Lead times told apart, in nights: tonight, and the four that are planned with it; later ones count as the last."""

SCALE_NIGHTS = 12.0
"""For how many nights the prior's spread counts. Our judgement: about two weeks of readings weigh as much."""

NEXT_NIGHT = 0.25
"""Correlation of the errors of successive nights at one lead time; 0.17 to 0.25 in the same data. [-]"""

USUAL_SD_K = 1.6
"""Spread by the prior of the first nights (``weather/data/dressing_prior.json``): there, without a pair, what is given
here is what the prior gives. [K]"""

TENTH = 0.1
"""The tail that is matched between Student's t and the normal distribution of the members."""

_MEANS_SD_K = np.array([BIAS_SD_K, CLEAR_SD_K])

WIDER = 1.0582620087135357
"""Tenth of Student's t with `SCALE_NIGHTS` degrees of freedom over that of the normal distribution; written down, so
that what only imports this need not load SciPy (a test holds it). [-]"""

PRIOR_FACTOR2 = WIDER**-2.0 - BIAS_SD_K**2 / USUAL_SD_K**2
"""Squared factor on the prior's spread that is left for the night itself. [-]

The prior's spread was fitted over all cities at once, so it holds what differs between places too; what is said of a
new place before the first reading must not be wider than it.
"""


@dataclass(frozen=True, eq=False)
class ForecastErrors:
    """What is known of the error (observed minus forecast) of night minima, by lead time in nights."""

    mean: Array
    """Bias and slope by clearness, shape (lead, 2). [K]"""
    covariance: Array
    """Of the two, over the squared factor, shape (lead, 2, 2). [K²]"""
    nights: Array
    """Degrees of freedom of the factor, shape (lead,)."""
    factor2: Array
    """Squared factor on the prior's spread, shape (lead,)."""
    pairs: int
    """How many pairs it was learned from; 0 for the prior itself."""

    def at(self, clear: ArrayLike, prior_sd_k: ArrayLike, lead: ArrayLike = 0) -> tuple[Array, Array]:
        """Give mean and scale of the next error, a Student t distribution with `nights` of the lead time.

        Parameters
        ----------
        clear : array_like
            How clear and calm the night is forecast, 0 to 1.
        prior_sd_k : array_like
            Spread of the error by the prior at its lead time. [K]
        lead : array_like of int
            Nights ahead; 0 is the night to come.

        Returns
        -------
        mean, scale : ndarray
            [K]
        """
        at = _told_apart(lead)
        x = _design(clear)
        sd = np.asarray(prior_sd_k, dtype=np.float64)
        variance = sd**2 + np.einsum("...i,...ij,...j->...", x, self.covariance[at], x)
        return np.einsum("...i,...i->...", x, self.mean[at]), np.sqrt(self.factor2[at] * variance)

    def quantile(self, probability: ArrayLike, clear: ArrayLike, prior_sd_k: ArrayLike, lead: ArrayLike = 0) -> Array:
        """Give a quantile of the next error.

        Parameters
        ----------
        probability : array_like
        clear, prior_sd_k, lead : array_like
            As for `at`.

        Returns
        -------
        ndarray
            [K]
        """
        from scipy.special import stdtrit

        mean, scale = self.at(clear, prior_sd_k, lead)
        return np.asarray(
            mean + scale * stdtrit(self.nights[_told_apart(lead)], np.asarray(probability, dtype=np.float64))
        )

    def shift_and_factor(self, clear: ArrayLike, prior_sd_k: ArrayLike, lead: ArrayLike = 0) -> tuple[Array, Array]:
        """Give what makes members of the prior members of what was learned: they move, and their spread changes.

        Parameters
        ----------
        clear, prior_sd_k, lead : array_like
            As for `at`.

        Returns
        -------
        shift_k, factor : ndarray
            [K], and by what the distance of members from their middle is multiplied, so that a tenth of them lies below
            the tenth percentile of what was learned. Without pairs exactly 0 and 1.
        """
        from scipy.special import ndtri, stdtrit

        mean, scale = self.at(clear, prior_sd_k, lead)
        if self.pairs == 0:
            return np.zeros_like(mean), np.ones_like(scale)
        wider = stdtrit(self.nights[_told_apart(lead)], 1.0 - TENTH) / ndtri(1.0 - TENTH)
        return mean, scale * wider / np.asarray(prior_sd_k, dtype=np.float64)

    def on_nights(self, clear: float, lead: int = 0) -> tuple[float, float]:
        """Give mean and standard deviation of the mean error of nights so clear and calm (0 to 1).

        Returns
        -------
        mean_k, sd_k : float
            [K]
        """
        at = int(_told_apart(lead))
        x = _design(clear)
        spread = self.factor2[at] * self.nights[at] / (self.nights[at] - 2.0)
        return float(x @ self.mean[at]), float(np.sqrt(spread * (x @ self.covariance[at] @ x)))


@dataclass(frozen=True, eq=False)
class Foretold:
    """What would have been said of each error from the nights before it, [pair] in the order given."""

    mean: Array
    """[K]"""
    scale: Array
    """Of Student's t. [K]"""
    nights: Array
    """Its degrees of freedom."""

    def quantile(self, probability: float) -> Array:
        """Give a quantile of each error. [K]"""
        from scipy.special import stdtrit

        return np.asarray(self.mean + self.scale * stdtrit(self.nights, probability))

    def chance_below(self, error_k: ArrayLike) -> Array:
        """Give the chance of a lower error than each. [-]"""
        from scipy.special import stdtr

        return np.asarray(stdtr(self.nights, (np.asarray(error_k) - self.mean) / self.scale))


def learn_errors(
    forecast_c: ArrayLike,
    observed_c: ArrayLike,
    prior_sd_k: ArrayLike,
    clear: ArrayLike,
    night: ArrayLike,
    lead: ArrayLike | None = None,
) -> ForecastErrors:
    """Learn from pairs of forecast and observed night minima.

    Parameters
    ----------
    forecast_c, observed_c : array_like [pair]
        [°C]
    prior_sd_k : array_like [pair]
        Spread of the error by the prior at the pair's lead time; greater than zero. [K]
    clear : array_like [pair]
        How clear and calm the night was forecast, 0 to 1; 0.5 where it is not known.
    night : array_like of int [pair]
        Number of the night.
    lead : array_like of int [pair], optional
        Nights ahead, 0 for the night to come; all 0 if left out. No night may have two pairs of one lead time.

    Returns
    -------
    ForecastErrors
        The prior itself without pairs. Whatever order the pairs come in, the result is the same to the last bit.

    Raises
    ------
    ValueError
        For missing values, shapes that do not fit, or two pairs of one night and lead time.

    Notes
    -----
    Each lead time has one pair of every night: its own, or where there is none that of the nearest lead time, whose
    error is nearly the same (correlation 0.87 a day apart in ``bench/data/nws_city_lows``). Work grows with the cube of
    the number of nights, which are whitened by their Cholesky factor.
    """
    pairs = _Pairs.of(forecast_c, observed_c, prior_sd_k, clear, night, lead)
    found = []
    known: dict[bytes, tuple[Array, Array, float, float]] = {}
    for ahead in range(LEADS):
        its = pairs.nearest(ahead)
        same = its.order.tobytes()
        if same not in known:
            x, z = its.whitened()
            known[same] = _posterior(x.T @ x, x.T @ z, float(z @ z), z.size)
        found.append(known[same])
    mean, covariance, nights, factor2 = (np.stack(one) for one in zip(*found, strict=True))
    return ForecastErrors(mean, covariance, nights, factor2, int(pairs.error.size))


def foretold(
    forecast_c: ArrayLike,
    observed_c: ArrayLike,
    prior_sd_k: ArrayLike,
    clear: ArrayLike,
    night: ArrayLike,
    lead: ArrayLike | None = None,
) -> Foretold:
    """Say of each error what would have been said of it when it was forecast: learned from the nights over by then.

    Parameters
    ----------
    forecast_c, observed_c, prior_sd_k, clear, night, lead : array_like [pair]
        As for `learn_errors`.

    Returns
    -------
    Foretold
        For every pair; the first ones are the prior's.

    Raises
    ------
    ValueError
        As `learn_errors`.
    """
    pairs = _Pairs.of(forecast_c, observed_c, prior_sd_k, clear, night, lead)
    told = np.empty((3, pairs.error.size))
    for ahead in range(LEADS):
        its = pairs.nearest(ahead)
        x, z = its.whitened()
        # In the order of nights the Cholesky factor of the first k is the corner of that of all.
        both = np.column_stack([x, z])
        sums = np.concatenate([np.zeros((1, 3, 3)), np.cumsum(both[:, :, None] * both[:, None, :], axis=0)])
        for at in np.flatnonzero(_told_apart(pairs.lead) == ahead):
            k = int(np.searchsorted(its.night, pairs.night[at] - pairs.lead[at], side="left"))
            mean, covariance, nights, factor2 = _posterior(sums[k, :2, :2], sums[k, :2, 2], float(sums[k, 2, 2]), k)
            c = _design(pairs.clear[at])
            scale = np.sqrt(factor2 * (pairs.sd[at] ** 2 + c @ covariance @ c))
            told[:, pairs.order[at]] = c @ mean, scale, nights
    return Foretold(told[0], told[1], told[2])


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Checked pairs in the order of their nights; `order` leads from there to the order given."""

    error: Array
    sd: Array
    clear: Array
    night: Array
    lead: Array
    order: NDArray[np.intp]

    @classmethod
    def of(
        cls,
        forecast_c: ArrayLike,
        observed_c: ArrayLike,
        prior_sd_k: ArrayLike,
        clear: ArrayLike,
        night: ArrayLike,
        lead: ArrayLike | None,
    ) -> _Pairs:
        f, y, sd, c, n = (
            np.atleast_1d(np.asarray(one, dtype=np.float64))
            for one in (forecast_c, observed_c, prior_sd_k, clear, night)
        )
        ahead = np.zeros_like(n) if lead is None else np.atleast_1d(np.asarray(lead, dtype=np.float64))
        if not f.shape == y.shape == sd.shape == c.shape == n.shape == ahead.shape or f.ndim != 1:
            raise ValueError("forecast, observed, prior_sd_k, clear, night and lead must be of one length")
        if not np.isfinite([f, y, sd, c, n, ahead]).all() or (sd <= 0).any() or (ahead < 0).any():
            raise ValueError("there must be no missing values, prior_sd_k greater than 0 K, and lead at least 0")
        order = np.lexsort((ahead, n))
        n, ahead = n[order], ahead[order]
        if ((np.diff(n) == 0) & (np.diff(ahead) == 0)).any():
            raise ValueError("night and lead must be given once each: two pairs are of the same")
        return cls((y - f)[order], sd[order], c[order], n, ahead, order)

    def nearest(self, lead: int) -> _Pairs:
        """Give one pair of each night: of this lead time, else of the nearest one, the shorter of two as near."""
        if self.error.size == 0:
            return self
        away = np.abs(self.lead - lead) + 0.1 * (self.lead > lead)
        by_night = np.lexsort((away, self.night))
        first = np.concatenate([[True], np.diff(self.night[by_night]) > 0])
        at = by_night[first]
        return _Pairs(self.error[at], self.sd[at], self.clear[at], self.night[at], self.lead[at], self.order[at])

    def whitened(self) -> tuple[Array, Array]:
        """Give design [pair, coefficient] and errors [pair] in units of the prior's spread, made independent."""
        from scipy.linalg import solve_triangular

        if self.error.size == 0:
            return np.zeros((0, 2)), np.zeros(0)
        apart = np.abs(self.night[:, None] - self.night)
        both = np.column_stack([_design(self.clear) / self.sd[:, None], self.error / self.sd])
        white = solve_triangular(np.linalg.cholesky(NEXT_NIGHT**apart), both, lower=True)
        return white[:, :-1], white[:, -1]


def _posterior(squares: Array, products: Array, length: float, pairs: int) -> tuple[Array, Array, float, float]:
    """Give what is known after whitened pairs, from sums over them: conjugate normal and inverse chi-squared."""
    precision = np.diag(PRIOR_FACTOR2 / _MEANS_SD_K**2) + squares
    mean = np.asarray(np.linalg.solve(precision, products), dtype=np.float64)
    nights = SCALE_NIGHTS + pairs
    left = SCALE_NIGHTS * PRIOR_FACTOR2 + length - float(mean @ products)
    return mean, np.asarray(np.linalg.inv(precision), dtype=np.float64), nights, left / nights


def _design(clear: ArrayLike) -> Array:
    c = np.asarray(clear, dtype=np.float64)
    return np.stack([np.ones_like(c), c - 0.5], axis=-1)


def _told_apart(lead: ArrayLike) -> NDArray[np.intp]:
    return np.minimum(np.asarray(lead, dtype=np.intp), LEADS - 1)
