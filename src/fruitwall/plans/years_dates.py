"""When the first and the last freeze come, at places where some years have none.

A mixed distribution (Thom 1959): a year has a freeze with the chance q, and among the years with one its date
is normal. So by day d the first freeze has come with the chance ``q Phi((d - m) / s)``, and after day d the last is
still to come with ``q (1 - Phi((d - m) / s))``. Published tables of the weather service are made in this way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plans.years import effective_winters

FloatArray = NDArray[np.float64]

FEWEST_DATES = 2
"""Dates from which a spread can be worked out at all."""

FEW_DATES = 10
"""With fewer dates their mean and spread are rough. Our judgement."""

YEAR_DAYS = 365.2425
"""Mean length of a year. [d]"""


@dataclass(frozen=True)
class FreezeDates:
    """When a freeze comes.

    Attributes
    ----------
    winters : int
        Looked at.
    with_freeze : int
        Of these.
    chance : float
        That a winter has one at all: q. [-]
    mean_day, sd_day : float
        Among winters with one; NaN where too few have one. [day]
    """

    winters: int
    with_freeze: int
    chance: float
    mean_day: float
    sd_day: float

    @property
    def rough(self) -> bool:
        """Whether few dates stand behind it."""
        return self.with_freeze < FEW_DATES

    def come_by(self, day: ArrayLike) -> FloatArray:
        """Give the chance that it has come on a day or before. [-]"""
        return np.asarray(self.chance * self._below(day))

    def comes_after(self, day: ArrayLike) -> FloatArray:
        """Give the chance that it comes after a day. [-]"""
        return np.asarray(self.chance * (1.0 - self._below(day)))

    def first_day(self, chance: ArrayLike) -> FloatArray:
        """Give the day by which it has come with a chance; NaN where it comes more seldom than that. [day]"""
        return self.mean_day + self._reduced(chance)

    def last_day(self, chance: ArrayLike) -> FloatArray:
        """Give the day after which it comes with a chance; NaN where it comes more seldom than that. [day]"""
        return self.mean_day - self._reduced(chance)

    def _below(self, day: ArrayLike) -> FloatArray:
        from scipy.special import ndtr

        days = np.asarray(day, dtype=np.float64)
        if self.chance == 0.0:
            return np.zeros(days.shape)
        if self.sd_day == 0.0:
            return (days >= self.mean_day).astype(np.float64)
        return np.asarray(ndtr((days - self.mean_day) / self.sd_day))

    def _reduced(self, chance: ArrayLike) -> FloatArray:
        from scipy.special import ndtri

        share = np.asarray(chance, dtype=np.float64)
        wrong = (share <= 0) | (share >= 1)
        if wrong.any():
            raise ValueError(f"chance must be greater than 0 and less than 1, got {share[wrong].flat[0]:g}")
        if self.chance == 0.0:
            return np.full(share.shape, np.nan)
        within = np.where(share < self.chance, share / self.chance, np.nan)
        return np.asarray(self.sd_day * ndtri(within))


def freeze_dates(day: ArrayLike, *, weights: ArrayLike | None = None) -> FreezeDates:
    """Fit the dates of a first or last freeze.

    Parameters
    ----------
    day : array_like, shape (winter,)
        Day of it in each winter, counted from any day that is the same in all; NaN for a winter without. [day]
    weights : array_like, shape (winter,), optional
        How likely a coming winter is like each. [-]

    Returns
    -------
    FreezeDates

    Raises
    ------
    ValueError
        If there is no winter, or weights cannot be.

    Notes
    -----
    Mean and sample deviation of the winters with a freeze; with weights the deviation is that of as many winters of
    equal weight as say as much (`years.effective_winters`).

    References
    ----------
    .. [1] Thom, H. C. S., Shaw, R. H. (1958). Climatological analysis of freeze data for Iowa. Monthly Weather Review
       86, 251-257 (from memory; that published tables follow it is checked in ``tests/plans/test_years_dates.py``).
    """
    days = np.asarray(day, dtype=np.float64)
    if days.ndim != 1 or days.size < 1:
        raise ValueError(f"day must be a list of winters, got shape {days.shape}")
    w = np.ones(days.size) if weights is None else np.asarray(weights, dtype=np.float64)
    if w.shape != days.shape:
        raise ValueError(f"weights must be one for each of {days.size} winters, got {w.size}")
    effective_winters(w)  # whether they can be
    came = np.isfinite(days) & (w > 0.0)
    count = int(np.isfinite(days).sum())
    chance = float(w[came].sum() / w.sum())
    if not came.any():
        return FreezeDates(days.size, count, 0.0, math.nan, math.nan)
    mean = float((w[came] * days[came]).sum() / w[came].sum())
    if int(came.sum()) < FEWEST_DATES:
        return FreezeDates(days.size, count, chance, mean, math.nan)
    among = effective_winters(w[came])
    variance = float((w[came] * (days[came] - mean) ** 2).sum() / w[came].sum()) * among / (among - 1.0)
    return FreezeDates(days.size, count, chance, mean, math.sqrt(variance))


def free_days(last: FreezeDates, first: FreezeDates, chance: ArrayLike) -> FloatArray:
    """Give how long the time without a freeze is.

    Parameters
    ----------
    last : FreezeDates
        Of the last freeze of a winter, days counted as for `first`.
    first : FreezeDates
        Of the first freeze of a winter; the next one is meant.
    chance : array_like
        That it is shorter than the answer, greater than 0 and less than 1. [-]

    Returns
    -------
    ndarray
        NaN where so many years have no freeze that the time has no end. [d]

    Notes
    -----
    Last and first freeze are taken as independent (Thom and Shaw 1958, from memory: their correlation was not
    significant), so that the length is normal among years with both, with the sum of both variances.
    """
    both = FreezeDates(
        min(last.winters, first.winters),
        min(last.with_freeze, first.with_freeze),
        last.chance * first.chance,
        YEAR_DAYS + first.mean_day - last.mean_day,
        math.hypot(first.sd_day, last.sd_day),
    )
    return both.first_day(chance)
