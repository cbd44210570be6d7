"""What can be grown here without protection: every kind at its best place and at an ordinary one, in four groups."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.placing.raster import Raster, lives_through
from fruitwall.plans.placing.sites import ordinary_cell
from fruitwall.plans.placing.worth import COVER_GAIN_K, YEARS, goodness, held_warmer

FloatArray = NDArray[np.float64]

Group = Literal["safe", "burnt", "cover", "not_here"]
GROUPS: tuple[Group, ...] = ("safe", "burnt", "cover", "not_here")
"""Safe in most winters; lives, but is now and then burnt; lives, or keeps its leaf, only with a cover on cold nights;
not here."""

LIVES = 0.8
"""A kind lives here if it lives ten winters in a row with this chance. Our judgement. [-]"""

RARELY_BURNT, OFTEN_BURNT = 0.1, 0.5
"""It is safe if it loses most of its leaf in no more than one winter of ten; what loses it in more than every other one
is not called grown unprotected, even if it lives. Our judgement. [-]"""


@dataclass(frozen=True)
class Chances:
    """What becomes of a kind at one place.

    Attributes
    ----------
    cell : int
    survive, lives : float
        One winter, and ten in a row. [-]
    leaf_loss, fruit_loss, scorch : float
        A year; NaN where there is none or nothing is known. [-]
    ten_years_c : float
        [°C]
    """

    cell: int
    survive: float
    lives: float
    leaf_loss: float
    fruit_loss: float
    scorch: float
    ten_years_c: float


@dataclass(frozen=True)
class Ranked:
    """One kind.

    Attributes
    ----------
    kind : int
        Row of the raster.
    group : str
    best, ordinary : Chances
        At its best free place, and at the one in the middle of all by cold.
    covered_lives, covered_leaf_loss : float
        Chance to live ten winters at the best place with a cover on every cold night, and of losing most of its leaf in
        one. [-]
    """

    kind: int
    group: Group
    best: Chances
    ordinary: Chances
    covered_lives: float
    covered_leaf_loss: float


def rank(raster: Raster) -> tuple[Ranked, ...]:
    """Rank all kinds of a raster, the safest first.

    Parameters
    ----------
    raster : Raster

    Returns
    -------
    tuple of Ranked
        Group by group; within a group by the chance to live ten winters at the best place, then by leaf kept. Empty
        where no ground is free.
    """
    middle = ordinary_cell(raster)
    if middle is None:
        return ()
    ranked = []
    for kind in range(len(raster.wanted)):
        good = np.where(raster.free, goodness(raster, kind), -np.inf)
        cell = int(np.argmax(np.where(np.isfinite(good), good, -np.inf)))
        best, ordinary = chances_at(raster, kind, cell), chances_at(raster, kind, middle)
        held = held_warmer(raster, raster.death[kind], COVER_GAIN_K)[[cell]]
        covered = float(lives_through(held, raster.weights, YEARS)[0])
        leaf = float(held_warmer(raster, raster.bare[kind], COVER_GAIN_K)[cell] @ raster.weights)
        group = group_of(best.lives, best.leaf_loss, covered, leaf)
        ranked.append(Ranked(kind, group, best, ordinary, covered, leaf))
    return tuple(
        sorted(
            ranked,
            key=lambda one: (
                GROUPS.index(one.group),
                -round(one.best.lives, 3),
                -round(one.ordinary.lives, 3),
                one.best.leaf_loss,
                raster.names[one.kind],
            ),
        )
    )


def group_of(lives: float, leaf_loss: float, covered_lives: float, covered_leaf_loss: float) -> Group:
    """Put a kind into its group.

    Parameters
    ----------
    lives : float
        Chance to live ten winters at its best place, nothing done. [-]
    leaf_loss : float
        Share of winters in which it loses most of its leaf there. [-]
    covered_lives, covered_leaf_loss : float
        As `lives` and `leaf_loss`, with a cover. [-]
    """
    if lives >= LIVES and leaf_loss <= OFTEN_BURNT:
        return "safe" if leaf_loss <= RARELY_BURNT else "burnt"
    return "cover" if covered_lives >= LIVES and covered_leaf_loss <= OFTEN_BURNT else "not_here"


def chances_at(raster: Raster, kind: int, cell: int) -> Chances:
    """Tell what becomes of a kind at a place."""
    return Chances(
        cell=cell,
        survive=float(raster.survive[kind, cell]),
        lives=float(lives_through(raster.death[kind, cell], raster.weights, YEARS)),
        leaf_loss=float(raster.leaf_loss[kind, cell]),
        fruit_loss=float(raster.fruit_loss[kind, cell]),
        scorch=float(raster.scorch[kind, cell]),
        ten_years_c=float(raster.ten_years_c[cell]),
    )
