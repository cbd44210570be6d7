"""What many winters say: how cold once in so many years, how sure over several, when the last frost comes.

Coldest nights of winters are fitted by the generalised extreme value distribution (GEV). It is one of maxima, so minima
are turned round: x = -t. Location, scale and shape are those of x; the shape xi is Coles' (``scipy.stats.genextreme``
has c = -xi). A stationary fit knows no warming: of a long record that warms it overstates the cold to come.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

FEWEST_WINTERS = 10
"""Fewer winters give no distribution worth the name: three numbers are fitted. Our judgement."""

GUMBEL = 1e-6
"""Shapes nearer to zero are taken as zero, where the formulas have their limit. [-]"""

STEPS = np.array([1e-4, 1e-4, 1e-4])
"""Steps of the numerical derivatives, of location, log scale and shape, in units of the data's spread. [-]"""


@dataclass(frozen=True)
class Minima:
    """Distribution of the coldest night of a winter.

    Attributes
    ----------
    location, scale, shape : float
        Of the negated minima. [K, K, -]
    covariance : ndarray, shape (3, 3)
        Of location, scale and shape; NaN where the method or the data give none.
    """

    location: float
    scale: float
    shape: float
    covariance: FloatArray

    def level(self, years: ArrayLike) -> FloatArray:
        """Give the level that the coldest night goes below in one winter of so many, on average. [°C]"""
        return -self._turned(_reduced(years))

    def standard_error(self, years: ArrayLike) -> FloatArray:
        """Give the standard error of `level` by the delta method. [K]"""
        y = _reduced(years)
        if abs(self.shape) < GUMBEL:
            slope = np.stack([np.ones_like(y), -np.log(y), 0.5 * self.scale * np.log(y) ** 2])
        else:
            power = y**-self.shape
            by_shape = -self.scale / self.shape**2 * (power - 1.0) - self.scale / self.shape * power * np.log(y)
            slope = np.stack([np.ones_like(y), (power - 1.0) / self.shape, by_shape])
        return np.asarray(np.sqrt(np.einsum("i...,ij,j...->...", slope, self.covariance, slope)))

    def chance_below(self, t_c: ArrayLike) -> FloatArray:
        """Give the chance that the coldest night of a winter is below a temperature. [-]"""
        z = (-np.asarray(t_c, dtype=np.float64) - self.location) / self.scale
        if abs(self.shape) < GUMBEL:
            return np.asarray(-np.expm1(-np.exp(-z)))
        inside = np.maximum(1.0 + self.shape * z, 0.0)
        with np.errstate(divide="ignore"):
            return np.asarray(-np.expm1(-(inside ** (-1.0 / self.shape))))

    def _turned(self, y: FloatArray) -> FloatArray:
        if abs(self.shape) < GUMBEL:
            return np.asarray(self.location - self.scale * np.log(y))
        return np.asarray(self.location + self.scale / self.shape * (y**-self.shape - 1.0))


def fit_minima(
    annual_minima_c: ArrayLike,
    *,
    method: Literal["likelihood", "l-moments"] = "likelihood",
    weights: ArrayLike | None = None,
) -> Minima:
    """Fit the coldest nights of winters.

    Parameters
    ----------
    annual_minima_c : array_like, shape (winter,)
        At least ten. [°C]
    method : str
        By maximum likelihood, with a covariance from the observed information; or by L-moments, steadier for few
        winters, without one.
    weights : array_like, shape (winter,), optional
        How likely a coming winter is like each; only their ratios count. Only for the likelihood: each winter's term is
        weighted so that all together count as `effective_winters` of them. [-]

    Returns
    -------
    Minima

    Raises
    ------
    ValueError
        If there are too few, one is not known, all are equal, or weights cannot be.

    References
    ----------
    .. [1] Coles, S. (2001). An introduction to statistical modeling of extreme values, chapter 3. Springer.
    .. [2] Hosking, J. R. M. (1990). L-moments. Journal of the Royal Statistical Society B 52, 105-124.
    """
    x = -_minima(annual_minima_c)
    if x.size < FEWEST_WINTERS:
        raise ValueError(f"annual_minima_c must hold at least {FEWEST_WINTERS} winters, got {x.size}")
    if np.ptp(x) == 0.0:
        raise ValueError(f"annual_minima_c must differ from each other, got {x.size} times {-x[0]:g}")
    counts = None if weights is None else counting(weights, x.size)
    start = _by_l_moments(x)
    if method == "l-moments":
        if counts is not None:
            raise ValueError('weights go only with method "likelihood"')
        return Minima(*start, covariance=np.full((3, 3), np.nan))
    if method != "likelihood":
        raise ValueError(f'method must be "likelihood" or "l-moments", got "{method}"')
    return _by_likelihood(x, start, counts)


def effective_winters(weights: ArrayLike) -> float:
    """Give how many winters of equal weight say as much as these: ``(sum w)^2 / sum w^2`` (Kish 1965, from memory)."""
    w = np.asarray(weights, dtype=np.float64)
    if w.ndim != 1 or w.size < 1 or not np.isfinite(w).all() or (w < 0.0).any() or not w.sum() > 0.0:
        raise ValueError("weights must be at least 0, one for each winter, and not all 0")
    return float(w.sum() ** 2 / (w**2).sum())


def counting(weights: ArrayLike, count: int) -> FloatArray:
    """Scale weights so that they sum to `effective_winters`: how much each of `count` winters counts."""
    w = np.asarray(weights, dtype=np.float64)
    effective = effective_winters(w)
    if w.size != count:
        raise ValueError(f"weights must be one for each of {count} winters, got {w.size}")
    return np.asarray(w * (effective / w.sum()))


def return_level(
    annual_minima_c: ArrayLike, years: ArrayLike, *, method: Literal["likelihood", "l-moments"] = "likelihood"
) -> FloatArray:
    """Give how cold the coldest night of one winter in so many is.

    Parameters
    ----------
    annual_minima_c : array_like, shape (winter,)
        Coldest night of each winter, at least ten. Any unit of temperature serves; the answer is in it. [°C]
    years : array_like
        Return period, greater than 1. [winters]
    method : str
        As for `fit_minima`.

    Returns
    -------
    ndarray, shape of `years`
        Level that a winter's coldest night goes below with the chance 1 / years. NaN where `years` or any minimum is
        not known. [°C]

    Raises
    ------
    ValueError
        If there are fewer than ten winters, all are equal, or `years` is not greater than 1.

    Notes
    -----
    The GEV is fitted to the negated minima; see the module. For ``years`` far beyond the number of winters the answer
    is the tail of the distribution rather than something seen: look at `return_interval` beside it.

    Examples
    --------
    >>> minima = [-2, -4, -1, -3, -6, -2, -3, -5, -2, -1, -3, -4]
    >>> round(float(return_level(minima, 10)), 1)
    -5.1
    """
    _reduced(years)
    if np.isnan(np.asarray(annual_minima_c, dtype=np.float64)).any():
        return np.full(np.shape(years), np.nan)
    return fit_minima(annual_minima_c, method=method).level(years)


def return_interval(
    annual_minima_c: ArrayLike, years: ArrayLike, *, confidence: float = 0.9
) -> tuple[FloatArray, FloatArray]:
    """Give between what limits a return level lies.

    Parameters
    ----------
    annual_minima_c : array_like, shape (winter,)
        As for `return_level`. [°C]
    years : array_like
        As for `return_level`. [winters]
    confidence : float
        Share of cases in which such limits hold the truth, 0 to 1. [-]

    Returns
    -------
    low_c, high_c : ndarray
        By the delta method from the observed information [1]_: even on both sides, while the truth is skew to the cold
        side for long return periods. [°C]

    Raises
    ------
    ValueError
        As `return_level`, or if `confidence` is outside its range.

    References
    ----------
    .. [1] Coles, S. (2001). An introduction to statistical modeling of extreme values, section 3.3.3. Springer.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence must be greater than 0 and less than 1, got {confidence:g}")
    from scipy.special import ndtri

    fitted = fit_minima(annual_minima_c)
    half = float(ndtri(0.5 + confidence / 2.0)) * fitted.standard_error(years)
    return fitted.level(years) - half, fitted.level(years) + half


def empirical_level(annual_minima_c: ArrayLike, years: ArrayLike, *, weights: ArrayLike | None = None) -> FloatArray:
    """Give the return level of the winters that were, without any distribution.

    Parameters
    ----------
    annual_minima_c : array_like, shape (winter,)
        At least one. [°C]
    years : array_like
        Return period, greater than 1. [winters]
    weights : array_like, shape (winter,), optional
        How likely a coming winter is like each. [-]

    Returns
    -------
    ndarray
        Minima at the plotting positions rank / (n + 1) (Weibull), lines between; NaN for periods longer than n + 1 or
        shorter than (n + 1) / n: no winter speaks of them. Weighted winters stand at `weighted_positions`. [°C]
    """
    chance = 1.0 / _periods(years)
    minima = _minima(annual_minima_c)
    order = np.argsort(minima, kind="stable")
    ordered = minima[order]
    positions = weighted_positions(np.ones(ordered.size) if weights is None else np.asarray(weights)[order])
    return np.interp(chance, positions, ordered, left=np.nan, right=np.nan)


def weighted_positions(weights: ArrayLike) -> FloatArray:
    """Give the plotting positions of winters in order, the coldest first.

    Parameters
    ----------
    weights : array_like, shape (winter,)
        Of the winters in that order; only their ratios count. [-]

    Returns
    -------
    ndarray, shape (winter,)
        Chance that a winter is colder: with all weights equal rank / (n + 1) (Weibull), else the weight up to the
        middle of the winter, drawn in towards the middle as if there were `effective_winters` of them (ours). [-]
    """
    w = np.asarray(weights, dtype=np.float64)
    count = effective_winters(w)
    middle = (np.cumsum(w) - 0.5 * w) / w.sum()
    return np.asarray((middle * count + 0.5) / (count + 1.0))


def certainty(probability: ArrayLike, years: ArrayLike) -> FloatArray:
    """Give the chance that what happens with a yearly probability happens at least once in so many years.

    Parameters
    ----------
    probability : array_like
        In one year, 0 to 1. [-]
    years : array_like
        At least 0. [years]

    Returns
    -------
    ndarray
        ``1 - (1 - p)^n`` for years that do not depend on each other. [-]

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Examples
    --------
    >>> round(float(certainty(0.1, 10)), 2)
    0.65
    """
    p, n = np.asarray(probability, dtype=np.float64), np.asarray(years, dtype=np.float64)
    if ((p < 0) | (p > 1)).any():
        raise ValueError(f"probability must be at least 0 and at most 1, got {p[(p < 0) | (p > 1)].flat[0]:g}")
    if (n < 0).any():
        raise ValueError(f"years must be at least 0, got {n[n < 0].flat[0]:g}")
    with np.errstate(divide="ignore", invalid="ignore"):
        exact = -np.expm1(n * np.log1p(-p))
    return np.asarray(np.where((p == 1.0) & (n == 0.0), 0.0, exact))


def frost_date(
    day_of_year: ArrayLike, probability: ArrayLike, *, method: Literal["normal", "empirical"] = "normal"
) -> FloatArray:
    """Give the day by which a share of years had their first or last frost.

    Parameters
    ----------
    day_of_year : array_like, shape (year,)
        Day of that frost in each year; count on beyond 365 where a winter goes over New Year. At least two. [day]
    probability : array_like
        Share of years in which it came on this day or before, greater than 0 and less than 1. The last frost comes
        later than the day of 0.9 in one year of ten. [-]
    method : str
        Normal distribution by mean and sample deviation, or quantiles of the sample (type 7 of Hyndman and Fan 1996).

    Returns
    -------
    ndarray, shape of `probability`
        NaN where an argument is not known. [day]

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Days of all years must be of frosts: for a place where some years have none the share is among years with one.
    """
    days, share = np.asarray(day_of_year, dtype=np.float64), np.asarray(probability, dtype=np.float64)
    if days.ndim != 1 or days.size < 2:
        raise ValueError(f"day_of_year must hold at least two years, got shape {days.shape}")
    wrong = (share <= 0) | (share >= 1)
    if wrong.any():
        raise ValueError(f"probability must be greater than 0 and less than 1, got {share[wrong].flat[0]:g}")
    if method == "empirical":
        known = np.where(np.isnan(share), 0.5, share)
        return np.where(np.isnan(share), np.nan, np.quantile(days, known))
    if method != "normal":
        raise ValueError(f'method must be "normal" or "empirical", got "{method}"')
    from scipy.special import ndtri

    return np.asarray(days.mean() + days.std(ddof=1) * ndtri(share))


def _minima(annual_minima_c: ArrayLike) -> FloatArray:
    """Give the minima as an array, all of them known."""
    values = np.asarray(annual_minima_c, dtype=np.float64)
    if values.ndim != 1 or values.size < 1:
        raise ValueError(f"annual_minima_c must be a list of winters, got shape {values.shape}")
    if not np.isfinite(values).all():
        raise ValueError("annual_minima_c must be known in every winter, got one that is not")
    return values


def _periods(years: ArrayLike) -> FloatArray:
    """Give return periods as an array, each longer than a year."""
    periods = np.asarray(years, dtype=np.float64)
    if (periods <= 1.0).any():
        raise ValueError(f"years must be greater than 1, got {periods[periods <= 1.0].flat[0]:g}")
    return periods


def _reduced(years: ArrayLike) -> FloatArray:
    """Give Coles' y = -log(1 - 1/years)."""
    return np.asarray(-np.log1p(-1.0 / _periods(years)))


def _by_l_moments(x: FloatArray) -> tuple[float, float, float]:
    """Give location, scale and shape from the first three L-moments (Hosking 1990, table 1)."""
    from scipy.optimize import brentq
    from scipy.special import gamma

    ordered, n = np.sort(x), x.size
    rank = np.arange(n)
    b0 = ordered.mean()
    b1 = float((rank / (n - 1) * ordered).mean())
    b2 = float((rank * (rank - 1) / ((n - 1) * (n - 2)) * ordered).mean())
    l2, l3 = 2.0 * b1 - b0, 6.0 * b2 - 6.0 * b1 + b0
    skew = float(np.clip(l3 / l2, -0.95, 0.95))

    def apart(k: float) -> float:  # k = -xi
        ratio = math.log(3.0) / math.log(2.0) if abs(k) < GUMBEL else (1.0 - 3.0**-k) / (1.0 - 2.0**-k)
        return float(2.0 * ratio - 3.0 - skew)

    k = float(brentq(apart, -0.98, 40.0, xtol=1e-12))
    if abs(k) < GUMBEL:
        scale = l2 / math.log(2.0)
        return float(b0 - np.euler_gamma * scale), float(scale), 0.0
    rise = float(gamma(1.0 + k))
    scale = l2 * k / (rise * (1.0 - 2.0**-k))
    return float(b0 - scale * (1.0 - rise) / k), float(scale), -k


def _by_likelihood(x: FloatArray, start: tuple[float, float, float], counts: FloatArray | None = None) -> Minima:
    """Climb from the L-moments to the highest likelihood."""
    from scipy.optimize import minimize

    middle, spread = float(np.median(x)), float(x.std())
    z = (x - middle) / spread  # the same problem in any unit

    def cost(values: FloatArray) -> float:
        location, log_scale, shape = values
        return _minus_log_likelihood(z, location, log_scale, shape, counts)

    begin = np.array([(start[0] - middle) / spread, math.log(start[1] / spread), start[2]])
    if not math.isfinite(cost(begin)):
        begin = np.array([-0.45, math.log(0.78), 0.0])  # Gumbel's by moments
    options = {"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000, "maxfev": 4000}
    best = minimize(cost, begin, method="Nelder-Mead", options=options).x
    best = minimize(cost, best, method="Nelder-Mead", options=options).x  # once more from there, out of any fold
    information = np.empty((3, 3))
    for i in range(3):
        for j in range(3):
            along = [best + a * STEPS * (np.arange(3) == i) + b * STEPS * (np.arange(3) == j) for a, b in _CORNERS]
            values = [cost(point) for point in along]
            information[i, j] = (values[0] - values[1] - values[2] + values[3]) / (4.0 * STEPS[i] * STEPS[j])
    scale = math.exp(best[1])
    covariance = np.full((3, 3), np.nan)
    if np.isfinite(information).all() and (np.linalg.eigvalsh(information) > 0.0).all():
        turned = np.diag([spread, scale * spread, 1.0])  # from log scale and units of the spread to our own
        covariance = turned @ np.linalg.inv(information) @ turned
    return Minima(middle + spread * float(best[0]), spread * scale, float(best[2]), covariance)


_CORNERS = ((1, 1), (1, -1), (-1, 1), (-1, -1))


def _minus_log_likelihood(
    z: FloatArray, location: float, log_scale: float, shape: float, counts: FloatArray | None = None
) -> float:
    """Give the negative log likelihood of the GEV (Coles 2001, eq. 3.7 and 3.9); infinite outside its support."""
    reduced = (z - location) * math.exp(-log_scale)
    if abs(shape) < GUMBEL:
        each = log_scale + reduced + np.exp(-reduced)
        return float(each.sum() if counts is None else counts @ each)
    inside = 1.0 + shape * reduced
    if (inside <= 0.0).any() or shape <= -1.0:
        return math.inf
    logs = np.log(inside)
    each = log_scale + (1.0 + 1.0 / shape) * logs + np.exp(-logs / shape)
    return float(each.sum() if counts is None else counts @ each)
