"""Whether the coldest nights of winters have changed over a record."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

FEWEST_YEARS = 10
"""A record that spans fewer years says nothing of a trend. Our judgement."""

SURE = 0.05
"""A trend is told as one where chance alone would give it in fewer cases than this. [-]"""


@dataclass(frozen=True)
class Trend:
    """How the coldest nights have changed.

    Attributes
    ----------
    per_decade_k : float
        Median of the slopes of all pairs of winters (Sen 1968). [K per 10 years]
    chance : float
        That winters without a trend look as one-sided as these or more, on both sides (Mann 1945, Kendall 1975). [-]
    """

    per_decade_k: float
    chance: float

    @property
    def sure(self) -> bool:
        """Whether it is told as a trend."""
        return self.chance < SURE


def trend_of(year: ArrayLike, annual_minima_c: ArrayLike) -> Trend | None:
    """Look for a trend.

    Parameters
    ----------
    year : array_like, shape (winter,)
        In which each winter began. [year]
    annual_minima_c : array_like, shape (winter,)
        Its coldest night. [°C]

    Returns
    -------
    Trend or None
        None where the record spans fewer than `FEWEST_YEARS` years or has fewer than `FEWEST_YEARS` winters.

    Notes
    -----
    The test is the normal one with the correction for ties and for continuity. It takes winters as independent of
    each other.
    """
    years, minima = np.asarray(year, dtype=np.float64), np.asarray(annual_minima_c, dtype=np.float64)
    if years.shape != minima.shape or years.ndim != 1:
        raise ValueError(f"year and annual_minima_c must be lists of the same winters, got {years.size}, {minima.size}")
    if years.size < FEWEST_YEARS or np.ptp(years) < FEWEST_YEARS - 1:
        return None
    from scipy.special import ndtr

    first, second = np.triu_indices(years.size, 1)
    apart, rise = years[second] - years[first], minima[second] - minima[first]
    told = apart != 0.0
    slope = float(np.median(rise[told] / apart[told]))
    score = float((np.sign(rise) * np.sign(apart)).sum())
    n = years.size
    ties = [_tied(values) for values in (years, minima)]
    variance = n * (n - 1) * (2 * n + 5) / 18.0 - sum(t * (t - 1) * (2 * t + 5) / 18.0 for tie in ties for t in tie)
    if variance <= 0.0:
        return Trend(10.0 * slope, 1.0)
    z = (abs(score) - 1.0) / math.sqrt(variance) if score else 0.0
    return Trend(10.0 * slope, min(float(2.0 * (1.0 - ndtr(max(z, 0.0)))), 1.0))


def slope_limits(year: ArrayLike, values: ArrayLike, confidence: float = 0.9) -> tuple[float, float]:
    """Give limits of the median slope of `trend_of`.

    Parameters
    ----------
    year : array_like, shape (winter,)
        In which each winter began. [year]
    values : array_like, shape (winter,)
        Of each winter. [°C]
    confidence : float
        Between 0 and 1. [-]

    Returns
    -------
    tuple of float
        Lower and upper limit; NaN where there are no two different years. [K per 10 years]

    Notes
    -----
    The slopes of all pairs, ordered, at the ranks that the variance of Kendall's sum gives (Sen 1968), the variance
    lessened for ties. Winters count as independent of each other.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence must lie between 0 and 1, got {confidence}")
    years, of_winter = np.asarray(year, dtype=np.float64), np.asarray(values, dtype=np.float64)
    first, second = np.triu_indices(years.size, 1)
    apart = years[second] - years[first]
    told = apart != 0.0
    slopes = np.sort((of_winter[second] - of_winter[first])[told] / apart[told])
    if not slopes.size:
        return math.nan, math.nan
    n = years.size
    ties = [_tied(one) for one in (years, of_winter)]
    variance = n * (n - 1) * (2 * n + 5) / 18.0 - sum(t * (t - 1) * (2 * t + 5) / 18.0 for tie in ties for t in tie)
    wide = NormalDist().inv_cdf(0.5 + confidence / 2.0) * math.sqrt(max(variance, 0.0))
    low = max(round((slopes.size - wide) / 2.0) - 1, 0)
    high = min(round((slopes.size + wide) / 2.0), slopes.size - 1)
    return 10.0 * float(slopes[low]), 10.0 * float(slopes[high])


def _tied(values: ArrayLike) -> list[int]:
    """Give the sizes of groups of equal values."""
    return [int(count) for count in np.unique(np.asarray(values), return_counts=True)[1] if count > 1]
