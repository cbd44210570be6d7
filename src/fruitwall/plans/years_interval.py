"""Between what limits a return level lies, skew as the data have it: by the profile of the likelihood.

The delta method (`years.return_interval`) is even on both sides. The winters that were say less of deeper cold than of
milder nights, so the truth is skew to the cold side; the profile likelihood follows that.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plans.years import GUMBEL, Minima, counting, fit_minima

FloatArray = NDArray[np.float64]

WIDEST = 60.0
"""Limits farther from the level than so many times the spread of the minima are taken as not to be found. [-]"""

SMALL_STEP = 1e-3
"""Step of the numerical derivatives, of log scale and shape. [-]"""

NEAR = 1e-4
"""How nearly a limit is found, in units of the spread of the minima. [-]"""

STIFFEST = 0.02
"""The cost of each winter counts as bent at least so much where a step is chosen. [-]"""

NEARLY = 1e-5
"""The least cost is found where a further step would gain less than about half of this. [-]"""

SHARES = tuple(0.5**halved for halved in range(8))
"""Of a step that are tried until the cost falls. [-]"""

MOST_TURNS = 40
"""Newton steps before the slower search takes over."""


def profile_interval(
    annual_minima_c: ArrayLike,
    years: ArrayLike,
    *,
    confidence: float = 0.9,
    weights: ArrayLike | None = None,
    fitted: Minima | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Give between what limits return levels lie, by the profile likelihood.

    Parameters
    ----------
    annual_minima_c : array_like, shape (winter,)
        As for `years.fit_minima`. [°C]
    years : array_like
        Return periods, greater than 1. [winters]
    confidence : float
        Share of cases in which such limits hold the truth, 0 to 1. [-]
    weights : array_like, shape (winter,), optional
        As for `years.fit_minima`. [-]
    fitted : Minima, optional
        What `fit_minima` gave for the same minima and weights, so that it is not done again.

    Returns
    -------
    cold_c, mild_c : ndarray
        NaN where the likelihood never falls far enough: the data set no limit on that side. [°C]

    Raises
    ------
    ValueError
        As `years.fit_minima`, or if `confidence` is outside its range.

    Notes
    -----
    For a level z the likelihood is made as high as it can be over scale and shape; the limits are where twice what it
    falls by is the quantile of chi-squared with one degree of freedom [1]_.

    References
    ----------
    .. [1] Coles, S. (2001). An introduction to statistical modeling of extreme values, sections 2.6.6 and 3.3.4.
       Springer.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence must be greater than 0 and less than 1, got {confidence:g}")
    from scipy.special import chdtri

    minima = np.asarray(annual_minima_c, dtype=np.float64)
    fit = fitted or fit_minima(minima, weights=weights)
    counts = np.ones(minima.size) if weights is None else counting(weights, minima.size)
    middle, spread = -float(np.median(minima)), float(minima.std())
    z = (-minima - middle) / spread
    fall = 0.5 * float(chdtri(1.0, 1.0 - confidence))
    periods = np.asarray(years, dtype=np.float64)
    cold, mild = np.full(periods.shape, np.nan), np.full(periods.shape, np.nan)
    levels = -fit.level(periods)
    for place in np.ndindex(periods.shape):
        profile = _Profile(z, counts, math.log(-math.log1p(-1.0 / float(periods[place]))))
        best = (float(levels[place]) - middle) / spread
        others = (math.log(fit.scale / spread), fit.shape)
        lowest = profile.cost(best, *others)
        far, near = (
            profile.crossing(best, others, lowest + fall, float(sign)) for sign in (1, -1)
        )  # of the negated minima
        cold[place], mild[place] = -(middle + spread * far), -(middle + spread * near)
    return cold, mild


class _Profile:
    """Negative log likelihood of standardised maxima with a return level in place of the location.

    Parameters
    ----------
    z : ndarray, shape (winter,)
    counts : ndarray, shape (winter,)
        How much each counts.
    log_y : float
        Logarithm of Coles' y of the return period.
    """

    def __init__(self, z: FloatArray, counts: FloatArray, log_y: float) -> None:
        self._z, self._counts, self._log_y = z, counts, log_y

    def costs(self, level: float, log_scale: FloatArray, shape: FloatArray) -> FloatArray:
        """Give the cost at several scales and shapes, [point]."""
        gumbel = np.abs(shape) < GUMBEL
        xi = np.where(gumbel, 1.0, shape)
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            scale = np.exp(log_scale)
            beyond = np.where(gumbel, -self._log_y, np.expm1(-xi * self._log_y) / xi)
            reduced = (self._z - (level - scale * beyond)[:, None]) / scale[:, None]
            inside = 1.0 + np.where(gumbel, 0.0, shape)[:, None] * reduced
            logs = np.where(gumbel[:, None], reduced, np.log(inside) / xi[:, None])
            each = log_scale[:, None] + (1.0 + np.where(gumbel, 0.0, shape)[:, None]) * logs + np.exp(-logs)
        out = each @ self._counts
        return np.where((inside <= 0.0).any(axis=1) | (shape <= -1.0) | ~np.isfinite(out), np.inf, out)

    def cost(self, level: float, log_scale: float, shape: float) -> float:
        """Give the cost at one point."""
        return float(self.costs(level, np.array([log_scale]), np.array([shape]))[0])

    def best(self, level: float, start: tuple[float, float]) -> tuple[float, tuple[float, float]]:
        """Give the least cost for a level, and the log scale and shape that have it."""
        at = np.array(start)
        now = self.cost(level, *at)
        if not math.isfinite(now):  # a winter lies beyond the end of this distribution; Gumbel's has none
            at = np.array([math.log(float(np.abs(self._z - level).max())), 0.0])
            now = self.cost(level, *at)
        for _ in range(MOST_TURNS):
            around = self.costs(level, at[0] + SMALL_STEP * _AROUND[:, 0], at[1] + SMALL_STEP * _AROUND[:, 1])
            if not np.isfinite(around).all():
                break
            slope = np.array([around[0] - around[1], around[2] - around[3]]) / (2.0 * SMALL_STEP)
            cross = (around[4] - around[5] - around[6] + around[7]) / 4.0
            bend = np.array([[around[0] + around[1] - 2 * now, cross], [cross, around[2] + around[3] - 2 * now]])
            bend = bend / SMALL_STEP**2
            least = float(np.linalg.eigvalsh(bend)[0])
            if least < STIFFEST * self._counts.sum():  # bent the wrong way or hardly: a shorter step downhill
                bend += (STIFFEST * self._counts.sum() - least) * np.eye(2)
            step = -np.linalg.solve(bend, slope)
            if abs(float(slope @ step)) < NEARLY:
                return now, (float(at[0]), float(at[1]))
            for share in SHARES:
                then = self.cost(level, *(at + share * step))
                if then <= now:
                    break
            else:
                break
            at, now = at + share * step, then
        return self._searched(level, at)

    def _searched(self, level: float, at: FloatArray) -> tuple[float, tuple[float, float]]:
        """Search without derivatives, where the likelihood is bent the wrong way or ends."""
        from scipy.optimize import minimize

        found = minimize(
            lambda point: self.cost(level, *point),
            at,
            method="Nelder-Mead",
            options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 2000, "maxfev": 2000},
        )
        return float(found.fun), (float(found.x[0]), float(found.x[1]))

    def crossing(self, best: float, others: tuple[float, float], limit: float, sign: float) -> float:
        """Walk from the best level until the cost reaches a limit; NaN if it never does."""
        step, inner, along = 0.1, best, others
        while True:
            outer = inner + sign * step
            if abs(outer - best) > WIDEST:
                return math.nan
            cost, near = self.best(outer, along)
            if cost >= limit:
                break
            inner, along, step = outer, near, 1.6 * step
        return self._between(inner, outer, along, limit)

    def _between(self, inner: float, outer: float, along: tuple[float, float], limit: float) -> float:
        """Find where between two levels the cost reaches the limit."""
        from scipy.optimize import brentq

        near = [along]

        def over(level: float) -> float:
            cost, near[0] = self.best(level, near[0])
            return min(cost - limit, 1e6)

        return float(brentq(over, inner, outer, xtol=NEAR, rtol=NEAR))


_AROUND = np.array([[1, 0], [-1, 0], [0, 1], [0, -1], [1, 1], [1, -1], [-1, 1], [-1, -1]], dtype=np.float64)
