"""Whether a fitted distribution of winters can be believed: the winters themselves against it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plans.years import Minima, weighted_positions

FloatArray = NDArray[np.float64]

FEW_WINTERS = 20
"""With fewer winters the shape of the tail is hardly known: a level of 50 winters is a guess then. Our judgement."""

BAND = 0.9
"""Share of cases in which a single winter of its rank lies within its band. [-]"""


@dataclass(frozen=True, eq=False)
class FitCheck:
    """The winters beside what was fitted to them, the coldest first.

    Attributes
    ----------
    period : ndarray, shape (winter,)
        Return period by the plotting position of each. [winters]
    seen_c, fitted_c : ndarray, shape (winter,)
        What was, and what the fit has for that period. [°C]
    cold_c, mild_c : ndarray, shape (winter,)
        Between what limits the winter of that rank lies in `BAND` of the cases, if the fit is true. [°C]
    correlation : float
        Of what was with what was fitted: the probability plot correlation coefficient (Filliben 1975). [-]
    outside : int
        Winters outside their limits.
    few : bool
        Fewer than `FEW_WINTERS`.
    """

    period: FloatArray
    seen_c: FloatArray
    fitted_c: FloatArray
    cold_c: FloatArray
    mild_c: FloatArray
    correlation: float
    outside: int
    few: bool

    @property
    def doubtful(self) -> bool:
        """Whether more than one winter in five lies outside. Our judgement: fitted to them, fewer than 1 in 10 do."""
        return 5 * self.outside > self.period.size


def check_fit(annual_minima_c: ArrayLike, fitted: Minima, *, weights: ArrayLike | None = None) -> FitCheck:
    """Hold the winters against their fit.

    Parameters
    ----------
    annual_minima_c : array_like, shape (winter,)
        As for `years.fit_minima`. [°C]
    fitted : Minima
        What it gave.
    weights : array_like, shape (winter,), optional
        As for `years.fit_minima`. [-]

    Returns
    -------
    FitCheck

    Notes
    -----
    The k-th coldest of n winters has a chance to be undercut that follows the beta distribution with k and n + 1 - k
    (order statistics; David and Nagaraja 2003, from memory); its quantiles through the fit give the limits. Fitted
    from the same winters, these hold more than `BAND` of them.
    """
    from scipy.special import betaincinv

    minima = np.asarray(annual_minima_c, dtype=np.float64)
    order = np.argsort(minima, kind="stable")
    seen = minima[order]
    positions = weighted_positions(np.ones(seen.size) if weights is None else np.asarray(weights)[order])
    level = fitted.level(1.0 / positions)
    rank = positions * (seen.size + 1)
    low = betaincinv(rank, seen.size + 1 - rank, 0.5 - BAND / 2)
    high = betaincinv(rank, seen.size + 1 - rank, 0.5 + BAND / 2)
    cold, mild = fitted.level(1.0 / low), fitted.level(1.0 / high)
    return FitCheck(
        period=1.0 / positions,
        seen_c=seen,
        fitted_c=level,
        cold_c=cold,
        mild_c=mild,
        correlation=float(np.corrcoef(seen, level)[0, 1]),
        outside=int(((seen < cold) | (seen > mild)).sum()),
        few=seen.size < FEW_WINTERS,
    )
