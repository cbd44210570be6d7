"""What whole winters do to very many plants of a few kinds: `plants.injury` over nights, without its large arrays.

The chances are those of `injury.grade_chances` with the nights of a winter joined, for plants whose hardening goes with
the weather of the weeks before each night. Leaf that pales in weeks of cool nights (grade 1) is left out.

Notes
-----
Whatever a tissue went through counts by the felt temperature (`injury.felt_c`). It rises with the exposure, so the
lowest over a winter is all that freezing injury needs. Hardening moves all limits of a tissue alike, so it is added to
what was felt on the night instead: ``limit - shift > felt`` is ``limit > felt + shift``. Chilling is added up night by
night at the same nodes of the unknown level as there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.plants.effects import HARDENING_PUBLISHED, hardened_share
from fruitwall.plants.injury import (
    _NODES,
    CHILL_MEMORY,
    DURATIONS_H,
    FREEZING_GATE_C,
    _crop_lost,
    _durations,
    _falling,
    _from_at_least,
    _frozen_at_least,
    _reached,
    loss_share,
)
from fruitwall.plants.tolerance import FRUIT, GRADES, LEAF, TISSUES, TWIG, WOOD, Tolerance

FloatArray = NDArray[np.float64]
SmallArray = NDArray[np.float32]
BoolArray = NDArray[np.bool_]

USUAL_WEEKS_C = 13.0
"""Mean of the weeks before a night after which a plant is as hard as published limits mean (`hardened_share` of it is
`HARDENING_PUBLISHED`). [°C]"""

HARD_WEEKS_C = 10.0
"""After weeks of this mean it is as hard as it gets. [°C]"""

BARE = 4
"""Grade from which most of the leaf is lost."""

DEAD = 7


@dataclass(frozen=True, eq=False)
class KindInWinter:
    """A kind as whole winters meet it.

    Attributes
    ----------
    tolerance : Tolerance
        After weeks of `USUAL_WEEKS_C`.
    hardens_k : ndarray, shape (tissue,)
        What full hardening over none adds to each tissue's limits. [K]
    chill_hardens_k : float
        The same of the chill level. [K]
    at, share : ndarray, shape (tissue,)
        Lower one of the two sizes between which its leaf and fruit lie, and how far between. [-]
    """

    tolerance: Tolerance
    hardens_k: FloatArray
    chill_hardens_k: float
    at: NDArray[np.int64]
    share: FloatArray


@dataclass(frozen=True, eq=False)
class WinterHurt:
    """What winters do to plants of some kinds, shape (kind, plant, winter). [-]

    Attributes
    ----------
    death, bare : ndarray
        Chance of grade 7, and of grade 4 or worse.
    loss : ndarray
        Expected share of a plant's worth.
    fruit : ndarray
        Expected share of fruit that hangs all winter; NaN for a kind without.
    """

    death: SmallArray
    bare: SmallArray
    loss: SmallArray
    fruit: SmallArray


def kind_in_winter(usual: Tolerance, hard: Tolerance, at: Sequence[int], share: Sequence[float]) -> KindInWinter:
    """Put together what winters need of a kind.

    Parameters
    ----------
    usual, hard : Tolerance
        After weeks of `USUAL_WEEKS_C` and of `HARD_WEEKS_C`, all else the same.
    at, share : sequence, one per tissue
        As `KindInWinter`.

    Returns
    -------
    KindInWinter
    """
    part = hardened_share(HARD_WEEKS_C) - hardened_share(USUAL_WEEKS_C)
    moved = np.fmax.reduce(np.nan_to_num(usual.threshold_c - hard.threshold_c), axis=1) / part
    chill = 0.0 if np.isnan(usual.chill_level_c) else (usual.chill_level_c - hard.chill_level_c) / part
    moved[FRUIT] = 0.0
    # Grade 7 of wood moves as its other grades do; the leaf of a resting tree has no limits at all.
    moved[LEAF] = moved[LEAF] if np.isfinite(usual.threshold_c[LEAF]).any() else moved[WOOD]
    return KindInWinter(usual, moved, float(chill), np.asarray(at, dtype=np.int64), np.asarray(share, dtype=np.float64))


def harder_share(weeks_c: FloatArray) -> FloatArray:
    """Give how much further plants are hardened than in a usual winter, by the mean of the weeks before. [-]"""
    return np.asarray(np.vectorize(hardened_share, otypes=[float])(weeks_c) - HARDENING_PUBLISHED)


def winter_hurt(kinds: Sequence[KindInWinter], cold: SmallArray, known: BoolArray, weeks_c: FloatArray) -> WinterHurt:
    """Judge whole winters.

    Parameters
    ----------
    kinds : sequence of KindInWinter
    cold : ndarray, shape (size, plant, winter, night, tissue, duration)
        Lowest running means of each tissue over `injury.DURATIONS_H`, for a few sizes of leaf and fruit. NaN where a
        tissue is absent, and on nights that cannot hurt. [°C]
    known : ndarray of bool, shape (winter, night)
        Nights that count.
    weeks_c : ndarray, shape (winter, night)
        Mean air of the weeks before each night. [°C]

    Returns
    -------
    WinterHurt

    Raises
    ------
    ValueError
        If the last two axes are not tissues and durations.
    """
    from fruitwall.plants.winter_kernel import felt  # numba takes a fifth of a second to load

    if cold.ndim != 6 or cold.shape[-2:] != (len(TISSUES), len(DURATIONS_H)):
        raise ValueError(
            f"cold must have the axes size, plant, winter, night, tissue ({len(TISSUES)}) and duration "
            f"({len(DURATIONS_H)}), got shape {cold.shape}"
        )
    harder, hours = harder_share(weeks_c), np.array(DURATIONS_H)
    shape = (len(kinds), *cold.shape[1:3])
    ways = [_durations(one.tolerance) for one in kinds]
    out = {name: np.zeros(shape, dtype=np.float32) for name in ("death", "bare", "loss", "fruit")}
    for like in _alike(ways):
        some, way = [kinds[at] for at in like], ways[like[0]]
        lowest = np.full((len(some), len(way), *cold.shape[1:3], len(TISSUES)), np.inf)
        felt(
            cold, np.array([one.at for one in some]), np.array([one.share for one in some]), known,
            np.array([per_log2h * np.log2(hours) for _, per_log2h in way]), FREEZING_GATE_C, harder,
            np.array([one.hardens_k for one in some]), lowest,
        )  # fmt: skip
        for row, at in enumerate(like):
            chances, fruit = _judged(some[row], way, lowest[row], cold, known, hours, harder)
            out["death"][at], out["bare"][at] = chances[..., DEAD], chances[..., BARE:].sum(axis=-1)
            out["loss"][at], out["fruit"][at] = loss_share(chances), fruit
    return WinterHurt(**out)


def _alike(ways: Sequence[list[tuple[float, float]]]) -> list[list[int]]:
    """Numbers of the kinds that take the effect of hours alike."""
    groups: dict[tuple[tuple[float, float], ...], list[int]] = {}
    for number, way in enumerate(ways):
        groups.setdefault(tuple(way), []).append(number)
    return list(groups.values())


def _judged(
    kind: KindInWinter,
    way: list[tuple[float, float]],
    lowest: FloatArray,
    cold: SmallArray,
    known: BoolArray,
    hours: FloatArray,
    harder: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Chances of each grade [plant, winter, 8] and share of fruit lost [plant, winter] of one kind."""
    tolerance = kind.tolerance
    at_least = np.zeros((*lowest.shape[1:3], len(GRADES)))
    fruit = np.zeros(lowest.shape[1:3])
    for (weight, _), felt_c in zip(way, lowest, strict=True):
        at_least += weight * _frozen_at_least(tolerance, felt_c)
        fruit += weight * _crop_lost(tolerance, felt_c)
    if not np.isnan(tolerance.chill_level_c):
        at_least = 1.0 - (1.0 - at_least) * (1.0 - _chilled(kind, cold, known, hours, harder))
    at_least[..., 0] = 1.0
    chances = _from_at_least(_falling(at_least), unknown=np.zeros(at_least.shape[:-1], dtype=bool))
    if np.isnan(tolerance.fruit_c) and np.isnan(tolerance.flower_c):
        fruit[:] = np.nan
    return chances, fruit


def _chilled(
    kind: KindInWinter, cold: SmallArray, known: BoolArray, hours: FloatArray, harder: FloatArray
) -> FloatArray:
    """Chance of chilling injury of at least each grade, as `injury._chilled_at_least`. [plant, winter, 8]"""
    from fruitwall.plants.winter_kernel import chilled

    tolerance = kind.tolerance
    nodes, weights = _NODES
    levels = tolerance.chill_level_c + nodes * tolerance.chill_sd_k
    doses = np.zeros((nodes.size, *cold.shape[1:3]))
    chilled(
        cold, int(kind.at[LEAF]), float(kind.share[LEAF]), LEAF, known, hours, levels,
        -kind.chill_hardens_k * harder, CHILL_MEMORY, doses,
    )  # fmt: skip
    at_least = np.zeros((*cold.shape[1:3], len(GRADES)))
    for grade in range(1, len(GRADES)):
        needed = tolerance.chill_dose_k_h[grade]
        if not np.isnan(needed):
            for weight, dose in zip(weights, doses, strict=True):
                at_least[..., grade] += weight * _reached(dose, needed, tolerance)
    return at_least


def coldest_hour(cold: SmallArray, known: BoolArray) -> SmallArray:
    """Give the coldest hour of the leaf, of the twig where it has none, of every winter.

    Parameters
    ----------
    cold : ndarray, shape (size, plant, winter, night, tissue, duration)
        Of the first size it is told. [°C]
    known : ndarray of bool, shape (winter, night)

    Returns
    -------
    ndarray, shape (plant, winter)
        Infinite where no night is known. [°C]
    """
    from fruitwall.plants.winter_kernel import lowest_hour

    hour = DURATIONS_H.index(1.0)
    out = np.full(cold.shape[1:3], np.inf, dtype=np.float32)
    lowest_hour(cold, known, LEAF, hour, out)
    if np.isinf(out).all():
        lowest_hour(cold, known, TWIG, hour, out)
    return out
