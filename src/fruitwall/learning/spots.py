"""How much colder or warmer is each spot than physics says? Learned from readings there.

What a thermometer read at a spot, less what physics gave for it that night with the true weather, is a sum::

    difference = yard + spot + clear · (yard + spot) + night + noise

A spot's part is constant and grows with how clear and calm the night is (cold air pools on such nights, walls and
roofs matter more). Spots share what the yard has in common; all spots share a night's error, which is the weather's and
not theirs. Everything is normal, so the posterior is exact given the four scales; these are integrated over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cho_factor, cho_solve

from fruitwall.learning.gaussian import Design, Gaussian, integrate

Array = NDArray[np.float64]

YARD_SD_K = 0.7
"""How far physics and forecast cell are off for a whole yard. Our judgement. [K]"""

SPOT_SD_K, SPOT_CLEAR_SD_K = 0.4, 0.8
"""How far single spots are off, on every night and by how much more on a clear calm one.

Our judgement; loggers a few metres apart in hilly ground differ by one or two kelvin on clear nights and by tenths on
cloudy ones. [K]
"""

NIGHT_SD_K, NOISE_SD_K = 0.6, 0.4
"""A night's error common to all spots, and what is left of a single reading (sensor, placing). Our judgement. [K]"""

HYPER_SD = np.array([0.5, 0.5, 0.5, 0.4])
"""Doubt of the scales of spots, their clear parts, nights and noise, as sd of their logarithms. Our judgement."""


@dataclass(frozen=True)
class Offset:
    """What was learned of one spot. [K], [K²]

    Attributes
    ----------
    mean : tuple of float
        Constant, and on top of it on a perfectly clear calm night.
    covariance : tuple of tuple of float
        Of the two.
    nights : int
        On how many nights it was read.
    """

    mean: tuple[float, float]
    covariance: tuple[tuple[float, float], tuple[float, float]]
    nights: int

    def at(self, clear: float) -> tuple[float, float]:
        """Give mean and standard deviation on a night so clear and calm, 0 to 1. [K]"""
        x = np.array([1.0, clear])
        return float(x @ np.array(self.mean)), float(np.sqrt(x @ np.array(self.covariance) @ x))


@dataclass(frozen=True, eq=False)
class SpotReadings:
    """Readings less physics, one per spot and night.

    Attributes
    ----------
    spot : sequence of str
    night : sequence of int
    clear : sequence of float
        How clear and calm the night was, 0 to 1.
    difference_k : sequence of float
        Reading less physics. [K]
    extra_sd_k : sequence of float
        What this kind of reading is less certain than a logger's: a hand reading, a whole-degree scale. [K]
    """

    spot: Sequence[str]
    night: Sequence[int]
    clear: Sequence[float]
    difference_k: Sequence[float]
    extra_sd_k: Sequence[float]


def learn_spots(spots: Sequence[str], readings: SpotReadings) -> dict[str, Offset]:
    """Learn the offsets of all spots.

    Parameters
    ----------
    spots : sequence of str
        All spots of interest; those without readings learn from the others.
    readings : SpotReadings
        In any order. Several readings of a spot in one night are averaged.

    Returns
    -------
    dict
        By spot.

    Raises
    ------
    ValueError
        If columns differ in length, values are missing, or a spot is not in `spots`.
    """
    names = sorted(set(spots))
    table = _Table(names, readings)
    design = integrate(lambda scales, _: table.fit(scales), HYPER_SD) if table.count else None
    return {name: _offset(table, at, design) for at, name in enumerate(names)}


def next_logger(
    spots: Sequence[str], readings: SpotReadings, *, weight: dict[str, float], nights: int = 10, clear: float = 0.7
) -> list[tuple[str, float]]:
    """Tell where the next logger would teach most.

    Parameters
    ----------
    spots : sequence of str
    readings : SpotReadings
        What is known so far.
    weight : dict
        What a spot's uncertainty matters, by spot: the worth at risk there. Missing ones count 0.
    nights : int
        How long it would hang, at least one.
    clear : float
        How clear and calm these nights are expected to be, 0 to 1.

    Returns
    -------
    list of (str, float)
        Best first: the spot, and the weighted variance at a clear night that would be taken away. [K²]

    Raises
    ------
    ValueError
        As `learn_spots`, and for fewer than one night.

    Notes
    -----
    For a normal model the gain does not depend on what will be read, so it is exact; at the likeliest scales.
    """
    if nights < 1:
        raise ValueError(f"nights must be at least 1, got {nights}")
    names = sorted(set(spots))
    table = _Table(names, readings)
    scales = integrate(lambda at, _: table.fit(at), HYPER_SD).points[0] if table.count else np.zeros(HYPER_SD.size)
    now = table.fit(scales).covariance
    sd = table.scales_k(scales)
    # Each night brings a reading with its own night's error, which nothing else measures.
    variance = (sd[2] ** 2 + sd[3] ** 2) / nights
    target = np.array([table.row(at, 1.0) for at in range(len(names))])
    worth = np.array([weight.get(name, 0.0) for name in names])
    gains = []
    for at, name in enumerate(names):
        row = table.row(at, clear)
        seen = now @ row
        taken = (target @ seen) ** 2 / (float(row @ seen) + variance)
        gains.append((name, float(worth @ taken)))
    return sorted(gains, key=lambda one: (-one[1], one[0]))


class _Table:
    """Readings as arrays. Parameters: two of the yard, two of each spot; nights are marginalised."""

    def __init__(self, names: list[str], readings: SpotReadings) -> None:
        columns = [readings.spot, readings.night, readings.clear, readings.difference_k, readings.extra_sd_k]
        if len({len(one) for one in columns}) != 1:
            raise ValueError("the columns of the readings must be of one length")
        if unknown := sorted(set(readings.spot) - set(names)):
            raise ValueError(f"readings name spots that are not given: {', '.join(unknown)}")
        values = np.array([readings.clear, readings.difference_k, readings.extra_sd_k], dtype=np.float64)
        if not np.isfinite(values).all():
            raise ValueError("readings must not miss values")
        self.names = names
        self.size = 2 + 2 * len(names)
        together: dict[tuple[int, int], list[Array]] = {}
        for at in range(len(readings.spot)):
            key = (int(readings.night[at]), names.index(readings.spot[at]))
            together.setdefault(key, []).append(values[:, at])
        keys = sorted(together)
        means = np.array([np.mean(sorted(map(tuple, together[key])), axis=0) for key in keys]).reshape(-1, 3)
        self.count = len(keys)
        self.night = np.array([key[0] for key in keys])
        self.spot = np.array([key[1] for key in keys], dtype=np.intp)
        self.y, self.extra = means[:, 1], means[:, 2]
        self.x = np.array([self.row(at, clear) for at, clear in zip(self.spot, means[:, 0], strict=True)])
        self.x = self.x.reshape(-1, self.size)

    def row(self, spot: int, clear: float) -> Array:
        """Coefficients of a spot's offset."""
        row = np.zeros(self.size)
        row[:2] = row[2 + 2 * spot : 4 + 2 * spot] = 1.0, clear
        return row

    def scales_k(self, scales: Array) -> Array:
        """Spread of spots, of their clear parts, of nights, of noise. [K]"""
        return np.array([SPOT_SD_K, SPOT_CLEAR_SD_K, NIGHT_SD_K, NOISE_SD_K]) * np.exp(scales)

    def fit(self, scales: Array) -> Gaussian:
        """Give the exact posterior under scales."""
        sd = self.scales_k(scales)
        prior = np.concatenate([[YARD_SD_K, YARD_SD_K], np.tile(sd[:2], len(self.names))]) ** -2.0
        noise = np.diag(sd[3] ** 2 + self.extra**2) + sd[2] ** 2 * (self.night[:, None] == self.night)
        factor = cho_factor(noise, lower=True)
        weighed = cho_solve(factor, self.x)
        precision = self.x.T @ weighed + np.diag(prior)
        whole = cho_factor(precision, lower=True)
        mean = cho_solve(whole, weighed.T @ self.y)
        rest = float(self.y @ cho_solve(factor, self.y) - mean @ precision @ mean)
        log_det = np.log(np.diag(factor[0])).sum() + np.log(np.diag(whole[0])).sum() - 0.5 * np.log(prior).sum()
        evidence = -0.5 * rest - float(log_det) - 0.5 * self.count * np.log(2.0 * np.pi)
        return Gaussian(mean, cho_solve(whole, np.eye(self.size)), float(evidence))


def _offset(table: _Table, spot: int, design: Design | None) -> Offset:
    """Read a spot's offset from the design, or from the prior."""
    rows = np.array([table.row(spot, 0.0), table.row(spot, 1.0) - table.row(spot, 0.0)])
    fits, weights = (
        ((table.fit(np.zeros(HYPER_SD.size)),), np.ones(1)) if design is None else (design.fits, design.weights)
    )
    means = np.array([rows @ one.mean for one in fits])
    mean = weights @ means
    apart = means - mean
    covariance = np.einsum("f,fij->ij", weights, [rows @ one.covariance @ rows.T for one in fits])
    covariance = covariance + np.einsum("f,fi,fj->ij", weights, apart, apart)
    (a, b), (c, d) = covariance.tolist()
    nights = len(set(table.night[table.spot == spot].tolist()))
    return Offset((float(mean[0]), float(mean[1])), ((a, b), (c, d)), nights)


def clear_and_calm(cloud: ArrayLike, wind_m_s: ArrayLike) -> Array:
    """Give how clear and calm a night is, 0 to 1: the strength of radiative cooling.

    Parameters
    ----------
    cloud : array_like
        Cover, 0 to 1.
    wind_m_s : array_like
        At 10 m, mean of the night. [m/s]

    Returns
    -------
    ndarray

    Notes
    -----
    Longwave loss falls with cloud about as 1 - 0.76 c² (a usual form for low and middle cloud; from memory), and mixing
    by wind halves an inversion near 2 m/s (our judgement).
    """
    c, u = np.asarray(cloud, dtype=np.float64), np.asarray(wind_m_s, dtype=np.float64)
    return np.asarray((1.0 - 0.76 * c**2) / (1.0 + (u / 2.0) ** 2))
