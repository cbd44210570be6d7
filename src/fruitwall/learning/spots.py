"""How much colder or warmer is each spot than physics says? Learned from readings there.

What a thermometer read at a spot, less what physics gave for it that night with the true weather, is a sum::

    difference = yard + spot + clear · (yard + spot) + spell of the spot + night + noise

A spot's part is constant and grows with how clear and calm the night is (`physics.cooling.cooling_strength`: cold air
pools on such nights, walls and roofs matter more). Spots share what the yard has in common; all spots share a night's
error, which is the weather's and not theirs. Nights that follow each other are alike at a spot (leaves fall, ground
dries, the sun sinks): each spell of ten days has an error of its own, so that ten nights in a row tell less than ten
nights of a winter. Everything is normal, so the posterior is exact given the six scales; these are integrated over.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.gaussian import Design, Gaussian, integrate

Array = NDArray[np.float64]

YARD_SD_K = 0.7
"""How far physics and forecast cell are off for a whole yard, always and on clear nights. Our judgement. [K]"""

SPOT_SD_K, SPOT_CLEAR_SD_K = 0.4, 0.8
"""How far single spots are off, on every night and by how much more on a clear calm one.

Our judgement; loggers a few metres apart in hilly ground differ by one or two kelvin on clear nights and by tenths on
cloudy ones. [K]
"""

NIGHT_SD_K, NOISE_SD_K = 0.6, 0.4
"""A night's error common to all spots, and what is left of a single reading (sensor, placing). Our judgement. [K]"""

SPELL_SD_K, SPELL_NIGHTS = 0.4, 10
"""What a spot's nights of one spell have in common and no other spell has, and how long a spell is. Our judgement; the
loggers of bench/data change by as much from one part of a winter to the next. [K], [d]"""

HYPER_SD = np.array([0.7, 0.5, 0.5, 0.5, 0.4, 0.5])
"""Doubt of the scales of the yard, of spots, their clear parts, nights, noise and spells, as sd of their logarithms.
Our judgement: that of the yard is widest, since one yard says little of it (a weather cell may lie on a mountain)."""


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
    scatter_k : float
        How far a single night of another spell lies about it. [K]
    """

    mean: tuple[float, float]
    covariance: tuple[tuple[float, float], tuple[float, float]]
    nights: int
    scatter_k: float = float(np.sqrt(NIGHT_SD_K**2 + NOISE_SD_K**2 + SPELL_SD_K**2))

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
    table = _Table(_read_ones(names, readings), readings)
    design = _design(table)
    return {name: _offset(table, name, design) for name in names}


def next_logger(
    spots: Sequence[str], readings: SpotReadings, *, weight: Mapping[str, float], nights: int = 10, clear: float = 0.7
) -> list[tuple[str, float]]:
    """Tell where the next logger would teach most.

    Parameters
    ----------
    spots : sequence of str
    readings : SpotReadings
        What is known so far.
    weight : mapping
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
    For a normal model the gain does not depend on what will be read: it is exact for given scales, and averaged over
    what is believed of these.
    """
    if nights < 1:
        raise ValueError(f"nights must be at least 1, got {nights}")
    names = sorted(set(spots))
    design = _design(_Table(_read_ones(names, readings), readings))
    points, weights = (np.zeros((1, HYPER_SD.size)), np.ones(1)) if design is None else (design.points, design.weights)
    table = _Table(names, readings)
    target = np.array([table.row(at, 1.0) for at in range(len(names))])
    there = np.array([table.row(at, clear) for at in range(len(names))])
    worth = np.array([weight.get(name, 0.0) for name in names])
    gains = np.zeros(len(names))
    for point, share in zip(points, weights, strict=True):
        now, sd = table.fit(point).covariance, table.scales_k(point)
        # Each night brings a reading with its own night's error, which nothing else measures, and each spell its own.
        variance = (sd[3] ** 2 + sd[4] ** 2) / nights + sd[5] ** 2 / -(-nights // SPELL_NIGHTS)
        seen = there @ now
        gains += share * (worth @ (target @ seen.T) ** 2) / ((seen * there).sum(axis=1) + variance)
    ranked = sorted(zip(names, gains.tolist(), strict=True), key=lambda one: (-round(one[1], 9), one[0]))
    return [(name, float(gain)) for name, gain in ranked]


def _design(table: _Table) -> Design[Gaussian] | None:
    """Integrate over the scales, if anything was read."""
    return integrate(lambda scales, _: table.fit(scales), HYPER_SD) if table.count else None


def _read_ones(names: list[str], readings: SpotReadings) -> list[str]:
    """Give the spots that were read: the others follow from these without being carried through every fit."""
    if unknown := sorted(set(readings.spot) - set(names)):
        raise ValueError(f"readings name spots that are not given: {', '.join(unknown)}")
    return sorted(set(readings.spot))


class _Kind:
    """Sums over readings of one certainty: their own, and by night."""

    def __init__(self, x: Array, y: Array, which: NDArray[np.bool_], first: NDArray[np.intp]) -> None:
        its, own = x * which[:, None], y * which
        self.count = int(which.sum())
        self.xx, self.xy, self.yy = its.T @ its, its.T @ own, float(own @ own)
        self.n_night = np.add.reduceat(which.astype(np.float64), first)
        self.x_night, self.y_night = np.add.reduceat(its, first, axis=0), np.add.reduceat(own, first)


class _Table:
    """Readings as arrays. Parameters: two of the yard, two of each spot, one of each spell; nights are marginalised."""

    def __init__(self, names: list[str], readings: SpotReadings) -> None:
        columns = [readings.spot, readings.night, readings.clear, readings.difference_k, readings.extra_sd_k]
        if len({len(one) for one in columns}) != 1:
            raise ValueError("the columns of the readings must be of one length")
        values = np.array([readings.clear, readings.difference_k, readings.extra_sd_k], dtype=np.float64)
        if not np.isfinite(values).all():
            raise ValueError("readings must not miss values")
        self.names = names
        place = {name: at for at, name in enumerate(names)}
        together: dict[tuple[int, int], list[Array]] = {}
        for at, name in enumerate(readings.spot):
            together.setdefault((int(readings.night[at]), place[name]), []).append(values[:, at])
        keys = sorted(together)
        # Sorted before the mean, so that the order of entry does not even change the last digit.
        means = np.array([np.mean(sorted(map(tuple, together[key])), axis=0) for key in keys]).reshape(-1, 3)
        self.count = len(keys)
        self.spot = np.array([key[1] for key in keys], dtype=np.intp)
        spells = {
            key: at for at, key in enumerate(dict.fromkeys((spot, night // SPELL_NIGHTS) for night, spot in keys))
        }
        self.size, self.spells = 2 + 2 * len(names), len(spells)
        rows, clear = np.arange(self.count), means[:, 0]
        x = np.zeros((self.count, self.size + self.spells))
        x[:, 0], x[:, 1] = 1.0, clear
        x[rows, 2 + 2 * self.spot], x[rows, 3 + 2 * self.spot] = 1.0, clear
        x[rows, self.size + np.array([spells[spot, night // SPELL_NIGHTS] for night, spot in keys], dtype=np.intp)] = (
            1.0
        )
        first = np.flatnonzero(np.diff([key[0] for key in keys], prepend=keys[0][0] - 1)) if keys else rows
        # A fit weighs a reading by what it is less certain by; there are few kinds, and sums over each serve all fits.
        self.extra, kind = np.unique(means[:, 2].round(6), return_inverse=True)
        self.kinds = [_Kind(x, means[:, 1], kind == each, first) for each in range(self.extra.size)]

    def row(self, spot: int, clear: float) -> Array:
        """Coefficients of a spot's offset, in a spell that is none of those read."""
        row = np.zeros(self.size)
        row[:2] = row[2 + 2 * spot : 4 + 2 * spot] = 1.0, clear
        return row

    def scales_k(self, scales: Array) -> Array:
        """Spread of the yard, of spots, of their clear parts, of nights, of noise, of spells. [K]"""
        usual = np.array([YARD_SD_K, SPOT_SD_K, SPOT_CLEAR_SD_K, NIGHT_SD_K, NOISE_SD_K, SPELL_SD_K])
        return np.asarray(usual * np.exp(scales))

    def fit(self, scales: Array) -> Gaussian:
        """Give the exact posterior under scales.

        Readings of one night share its error: their precision is diagonal less one outer product for each night
        (Sherman & Morrison 1950), so that a winter of ten loggers costs no matrix of all readings.
        """
        from scipy.linalg import cho_factor, cho_solve

        sd = self.scales_k(scales)
        of_spots = np.tile(sd[1:3], len(self.names))
        prior = np.concatenate([[sd[0], sd[0]], of_spots, np.full(self.spells, sd[5])]) ** -2.0
        if not self.count:
            return Gaussian(np.zeros(self.size), np.diag(1.0 / prior), 0.0)
        weights = 1.0 / (sd[4] ** 2 + self.extra**2)
        weighed = list(zip(weights.tolist(), self.kinds, strict=True))

        def summed(of: Callable[[_Kind], Array]) -> Array:
            return np.asarray(sum(weight * of(kind) for weight, kind in weighed))

        of_night, x_night, y_night = (
            summed(of) for of in (lambda k: k.n_night, lambda k: k.x_night, lambda k: k.y_night)
        )
        shared = sd[3] ** 2 / (1.0 + sd[3] ** 2 * of_night)
        precision = summed(lambda kind: kind.xx) - (x_night * shared[:, None]).T @ x_night
        precision[np.diag_indices_from(precision)] += prior
        pull = summed(lambda kind: kind.xy) - x_night.T @ (shared * y_night)
        whole = cho_factor(precision, lower=True, check_finite=False)
        mean = cho_solve(whole, pull, check_finite=False)
        square = sum(weight * kind.yy - kind.count * np.log(weight) for weight, kind in weighed)
        rest = float(square - shared @ y_night**2 - mean @ pull)
        log_det = 0.5 * float(np.log1p(sd[3] ** 2 * of_night).sum())
        log_det += float(np.log(np.diag(whole[0])).sum() - 0.5 * np.log(prior).sum())
        evidence = -0.5 * rest - log_det - 0.5 * self.count * np.log(2.0 * np.pi)
        # Spells are no one's business outside: yard and spots alone are given.
        covariance = cho_solve(whole, np.eye(prior.size, self.size), check_finite=False)[: self.size]
        return Gaussian(mean[: self.size], covariance, float(evidence))


def _offset(table: _Table, name: str, design: Design[Gaussian] | None) -> Offset:
    """Read a spot's offset from the design, or from the prior; a spot that was not read has the yard's."""
    points, fits, weights = (
        (np.zeros((1, HYPER_SD.size)), (table.fit(np.zeros(HYPER_SD.size)),), np.ones(1))
        if design is None
        else (design.points, design.fits, design.weights)
    )
    sds = np.array([table.scales_k(point) for point in points])
    if name in table.names:
        spot = table.names.index(name)
        rows = np.array([table.row(spot, 0.0), table.row(spot, 1.0) - table.row(spot, 0.0)])
        own, nights = np.zeros((len(fits), 2, 2)), int((table.spot == spot).sum())
    else:
        rows = np.eye(2, table.size)
        own, nights = sds[:, 1:3, None] ** 2 * np.eye(2), 0
    means = np.array([rows @ one.mean for one in fits])
    mean = weights @ means
    apart = means - mean
    covariance = np.einsum("f,fij->ij", weights, own + [rows @ one.covariance @ rows.T for one in fits])
    covariance = covariance + np.einsum("f,fi,fj->ij", weights, apart, apart)
    (a, b), (c, d) = covariance.tolist()
    scatter = float(np.sqrt(weights @ (sds[:, 3:] ** 2).sum(axis=1)))
    return Offset((float(mean[0]), float(mean[1])), ((a, b), (c, d)), nights, scatter)
