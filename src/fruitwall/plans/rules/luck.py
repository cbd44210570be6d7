"""The luck of drawn futures: which winters come, and what is unknown of each tree. The same for every rule set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

FREEZE, CHILL, PALE = range(3)
"""Ways of being hurt, each with its own unknown of the tree."""


@dataclass(frozen=True, eq=False)
class Luck:
    """What chance decides, drawn once.

    Attributes
    ----------
    winter : ndarray of int, shape (draw, year)
        Which winter comes.
    life : ndarray, shape (way, draw, year, tree)
        Standard normal: what is unknown of the tree that is planted in that year (of today's in year 0), for freezing,
        chilling and paling. It keeps it for life. Below 0 for a hardy one.
    crown : ndarray, shape (2, draw, year, tree)
        Standard normal: which part of the crown's spread decides in that winter, for freezing and chilling.
    """

    winter: IntArray
    life: FloatArray
    crown: FloatArray


def drawn_luck(weights: FloatArray, trees: Sequence[str], years: int, draws: int, seed: int) -> Luck:
    """Draw futures.

    Parameters
    ----------
    weights : ndarray, shape (winter,)
        How likely a coming winter is like each. [-]
    trees : sequence of str
        Identifiers. A tree has the same luck whatever other trees stand beside it.
    years, draws : int
        At least 1.
    seed : int

    Returns
    -------
    Luck

    Raises
    ------
    ValueError
        If there is no winter, or years or draws are below 1.
    """
    if years < 1 or draws < 1:
        raise ValueError(f"years and draws must be at least 1, got {years} and {draws}")
    if weights.size == 0:
        raise ValueError("at least one winter is needed")
    life = np.empty((3, draws, years, len(trees)))
    crown = np.empty((2, draws, years, len(trees)))
    for at, tree in enumerate(trees):
        own = np.random.default_rng([seed, crc32(tree.encode())])  # noqa: TID251 - a stream for each tree, by seed
        life[..., at] = own.standard_normal((3, draws, years))
        crown[..., at] = own.standard_normal((2, draws, years))
        life[:, :, 0, at] = _spread_out(own, 3, draws)
    years_rng = np.random.default_rng([seed, 1])  # noqa: TID251 - the stream of the winters, by seed
    return Luck(_winters(years_rng, weights, years, draws), life, crown)


def _winters(rng: np.random.Generator, weights: FloatArray, years: int, draws: int) -> IntArray:
    """Draw which winters come, shape (draw, year).

    Equal weights: all winters in random order, then all again, so that in as many years as there are winters each
    comes exactly once in every future. Unequal ones: each year on its own, by weight.
    """
    count = weights.size
    if np.allclose(weights, 1.0 / count, rtol=1e-9, atol=0.0):
        rounds = -(-years // count)
        order = [np.concatenate([rng.permutation(count) for _ in range(rounds)])[:years] for _ in range(draws)]
        return np.array(order, dtype=np.int64)
    return np.asarray(rng.choice(count, size=(draws, years), p=weights / weights.sum()), dtype=np.int64)


def _spread_out(rng: np.random.Generator, rows: int, draws: int) -> FloatArray:
    """Draw standard normal values of which each equally likely band holds one, in random order, shape (row, draw).

    Means over the draws come out far less by chance than with values drawn one by one (Latin hypercube sampling,
    McKay, Beckman and Conover 1979, Technometrics 21:239-245).
    """
    normal = NormalDist()
    found = np.empty((rows, draws))
    for row in found:
        share = (rng.permutation(draws) + rng.uniform(size=draws)) / draws
        row[:] = [normal.inv_cdf(min(max(one, 1e-12), 1.0 - 1e-12)) for one in share]
    return found
