"""How good was a forecast? Proper scores, small and closed.

Gneiting & Raftery (2007), Strictly proper scoring rules, prediction, and estimation, J. Am. Stat. Assoc. 102.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def crps_normal(mu: ArrayLike, sigma: ArrayLike, y: ArrayLike) -> Array:
    """Give the continuous ranked probability score of normal forecasts.

    Parameters
    ----------
    mu, sigma : array_like
        Mean and standard deviation, the latter greater than zero. [°C]
    y : array_like
        What was observed. [°C]

    Returns
    -------
    ndarray
        Smaller is better; the absolute error where sigma goes to zero. NaN in, NaN out. [°C]

    Raises
    ------
    ValueError
        If a standard deviation is not positive.

    Notes
    -----
    Gneiting et al. (2005), Mon. Weather Rev. 133, 1098: the closed form for the normal distribution.
    """
    from scipy.special import ndtr

    mean, sd, seen = np.broadcast_arrays(*(np.asarray(one, dtype=np.float64) for one in (mu, sigma, y)))
    if (sd <= 0).any():
        raise ValueError("sigma must be greater than 0 °C")
    z = (seen - mean) / sd
    density = np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi)
    return np.asarray(sd * (z * (2.0 * ndtr(z) - 1.0) + 2.0 * density - 1.0 / np.sqrt(np.pi)))


def crps_student(mu: ArrayLike, scale: ArrayLike, nights: ArrayLike, y: ArrayLike) -> Array:
    """Give the continuous ranked probability score of forecasts that are Student's t.

    Parameters
    ----------
    mu, scale : array_like
        Middle and scale, the latter greater than zero. [°C]
    nights : array_like
        Degrees of freedom, greater than one.
    y : array_like
        What was observed. [°C]

    Returns
    -------
    ndarray
        [°C]

    Raises
    ------
    ValueError
        If a scale is not positive or the degrees of freedom are one or fewer.

    Notes
    -----
    Jordan, Krüger & Lerch (2019), J. Stat. Softw. 90(12), appendix A: the closed form for the t distribution.
    """
    from scipy.special import betaln, stdtr

    middle, wide, free, seen = np.broadcast_arrays(
        *(np.asarray(one, dtype=np.float64) for one in (mu, scale, nights, y))
    )
    if (wide <= 0).any() or (free <= 1).any():
        raise ValueError("scale must be greater than 0 °C and nights greater than 1")
    z = (seen - middle) / wide
    density = np.exp(-0.5 * (free + 1.0) * np.log1p(z**2 / free) - betaln(0.5, free / 2.0)) / np.sqrt(free)
    apart = 2.0 * np.sqrt(free) / (free - 1.0) * np.exp(betaln(0.5, free - 0.5) - 2.0 * betaln(0.5, free / 2.0))
    return np.asarray(wide * (z * (2.0 * stdtr(free, z) - 1.0) + 2.0 * density * (free + z**2) / (free - 1.0) - apart))


def crps_ensemble(members: ArrayLike, y: ArrayLike, *, fair: bool = False) -> Array:
    """Give the score of an ensemble.

    Parameters
    ----------
    members : array_like [..., member]
        At least one, at least two if `fair`. [°C]
    y : array_like [...]
        What was observed. [°C]
    fair : bool
        Score the distribution that the members are a sample of, not the members as they are (Ferro 2014,
        Q. J. R. Meteorol. Soc. 140).

    Returns
    -------
    ndarray [...]
        [°C]

    Raises
    ------
    ValueError
        If there are too few members.
    """
    x = np.sort(np.asarray(members, dtype=np.float64), axis=-1)
    count = x.shape[-1]
    if count < (2 if fair else 1):
        raise ValueError(f"members must hold at least {2 if fair else 1}, got {count}")
    error = np.abs(x - np.asarray(y, dtype=np.float64)[..., None]).mean(axis=-1)
    # Mean absolute difference of all pairs, from the sorted members.
    rank = 2.0 * np.arange(1, count + 1) - count - 1.0
    pairs = count * (count - 1) if fair else count**2
    return np.asarray(error - (x * rank).sum(axis=-1) / pairs)


@dataclass(frozen=True)
class Brier:
    """Score of yes-or-no forecasts with its parts: score = reliability - resolution + uncertainty.

    Murphy (1973), J. Appl. Meteorol. 12, 595: over groups of equal issued probability. `skill` is the gain over
    always saying how often it happens.
    """

    score: float
    reliability: float
    resolution: float
    uncertainty: float

    @property
    def skill(self) -> float:
        """Gain over always saying how often it happens; 1 is perfect. [-]"""
        return 1.0 - self.score / self.uncertainty if self.uncertainty > 0 else float("nan")


def brier(probability: ArrayLike, occurred: ArrayLike, issued: ArrayLike | None = None) -> Brier:
    """Give the Brier score.

    Parameters
    ----------
    probability : array_like
        What was said, 0 to 1.
    occurred : array_like
        How often it came true: 0 or 1 for single forecasts, counts with `issued`.
    issued : array_like, optional
        How often each probability was said; once if left out.

    Returns
    -------
    Brier

    Raises
    ------
    ValueError
        For probabilities outside 0 to 1, or more that came true than were issued.
    """
    p = np.asarray(probability, dtype=np.float64)
    o = np.asarray(occurred, dtype=np.float64)
    n = np.ones_like(p) if issued is None else np.asarray(issued, dtype=np.float64)
    if ((p < 0) | (p > 1)).any():
        raise ValueError("probability must be from 0 to 1")
    if ((o < 0) | (o > n)).any() or n.sum() <= 0:
        raise ValueError("occurred must be from 0 to issued, and something must have been issued")
    said, group = np.unique(p, return_inverse=True)
    n_k, o_k = (np.bincount(group, weights=one, minlength=said.size) for one in (n, o))
    total, rate = n.sum(), o.sum() / n.sum()
    seen = o_k / n_k
    reliability = float((n_k * (said - seen) ** 2).sum() / total)
    resolution = float((n_k * (seen - rate) ** 2).sum() / total)
    uncertainty = float(rate * (1.0 - rate))
    return Brier(reliability - resolution + uncertainty, reliability, resolution, uncertainty)
