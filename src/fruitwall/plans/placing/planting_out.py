"""A tree in a container: plant it out or not, where, when, and with how many winters of protection at first.

All ways are looked at over the same years and winters. A tree's own luck, what is unknown of it, is the same in all
years and for all ways: what stood one winter stands its like again, and more as it grows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.placing.raster import Raster
from fruitwall.plans.placing.worth import COVER_GAIN_K, LEAF_SHARE, held_warmer, light_share, scorch_share

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

PROTECTED_WINTERS = (0, 1, 2, 3, 4, 6, 8)
"""Numbers of first winters in which it is covered that are looked at. Our judgement. [years]"""

CARRIED_GAIN_K = 6.0
"""What a container gains on a night on which it is carried in: an unheated shed or garage holds some kelvins, a heated
room more. Our judgement; the evening's plan knows each place. [K]"""

LEAST_LIVES = 0.5
"""Planting out is not advised where, cared for as told, it lives ten winters with less than this chance. Our judgement:
nobody plants a tree that is more likely to die than not. [-]"""

CLEARLY = 0.05
"""Ways whose worth differs by less than this share of the tree's worth are called equal. Our judgement. [-]"""

LUCKS = 64
"""Steps over what is unknown of the tree. Our judgement: good to about 0.01."""

Answer = Literal["plant", "stay", "equal", "nowhere"]


@dataclass(frozen=True, eq=False)
class PotCase:
    """A container tree and what may be done with it.

    Attributes
    ----------
    ground : tuple of (years from now, row of the raster)
        The tree as it would stand in the ground at some ages; the first is now.
    pot : int
        Row of the tree as it stands on in its container.
    pot_cell : int
        Where that is.
    worth : float
        [currency]
    crop_ground, crop_pot : ndarray, shape (year,)
        Worth of the fruit of each year ahead, if it lives and loses none. [currency]
    cover_nights, carry_nights : ndarray, shape (cell,), and float
        Nights of a winter cold enough to cover it in the ground, to carry it in. [1/year]
    cover_minutes : ndarray, shape (cell,)
        Of one such night, with the way. [min]
    carry_minutes : float
        In and out again. [min]
    carry_lifts : float
        In and out again; 0 on a trolley. [-]
    carried : bool
        Whether anybody can carry it, and does.
    per_hour, per_lift : float
        [currency]
    """

    ground: tuple[tuple[float, int], ...]
    pot: int
    pot_cell: int
    worth: float
    crop_ground: FloatArray
    crop_pot: FloatArray
    cover_nights: FloatArray
    carry_nights: float
    cover_minutes: FloatArray
    carry_minutes: float
    carry_lifts: float
    carried: bool
    per_hour: float
    per_lift: float


@dataclass(frozen=True)
class Way:
    """One way of going on with it.

    Attributes
    ----------
    winters : int
        In which it is covered, from the first on; for the container 0.
    lives : float
        Chance to live through all the years. [-]
    first_winter : float
        Chance to live through the first. [-]
    kept : float
        Worth of tree and fruit that is kept over the years. [currency]
    minutes, lifts : float
        A winter, while it is protected. [min], [-]
    effort : float
        Price of all that over the years. [currency]
    """

    winters: int
    lives: float
    first_winter: float
    kept: float
    minutes: float
    lifts: float
    effort: float

    @property
    def value(self) -> float:
        """What is kept, less the effort. [currency]"""
        return self.kept - self.effort


@dataclass(frozen=True)
class PlantingOut:
    """Whether a container tree is planted out.

    Attributes
    ----------
    answer : str
        ``plant``; ``stay``; ``equal`` where it hardly matters; ``nowhere`` where no ground is free.
    years : int
        Looked ahead.
    cell : int or None
        The best place in the ground.
    best : Way or None
        There.
    ways : tuple of Way
        There, by number of covered winters.
    pot : Way
        In the container, where it stands, carried in on cold nights if somebody can.
    too_risky : bool
        Whether it would die more likely than not even as best cared for.
    big_enough : int or None
        Winters of protection after which covering no longer pays; None where it pays for good.
    """

    answer: Answer
    years: int
    cell: int | None
    best: Way | None
    ways: tuple[Way, ...]
    pot: Way
    too_risky: bool
    big_enough: int | None


def plant_out(raster: Raster, case: PotCase, *, where: BoolArray | None = None) -> PlantingOut:
    """Weigh planting a container tree out against leaving it in its container.

    Parameters
    ----------
    raster : Raster
        With the tree at several ages in the ground and once in its container.
    case : PotCase
    where : ndarray of bool, shape (cell,), optional
        Cells it may go to; by default those that are free.

    Returns
    -------
    PlantingOut
    """
    years = int(case.crop_ground.size)
    pot = _pot_way(raster, case, years)
    cells = np.flatnonzero(raster.free if where is None else where)
    if not cells.size:
        return PlantingOut("nowhere", years, None, None, (), pot, too_risky=False, big_enough=None)
    bare = [_at(raster, kind, cells, 0.0) for _, kind in case.ground]
    held = [_at(raster, kind, cells, COVER_GAIN_K) for _, kind in case.ground]
    step = [int(np.argmin([abs(age - year) for age, _ in case.ground])) for year in range(years)]
    first = case.ground[0][1]
    aside = (light_share(raster) * scorch_share(raster, first))[cells]
    nights = np.nan_to_num(case.cover_nights[cells])
    minutes = nights * case.cover_minutes[cells]
    options = []
    for winters in (n for n in PROTECTED_WINTERS if n <= years):
        chances = [(held if year < winters else bare)[step[year]] for year in range(years)]
        alive = lives_along([one[0] for one in chances], raster.weights)
        options.append((winters, alive, _kept(case.worth, case.crop_ground, alive, chances, raster.weights) * aside))
    price = minutes * case.per_hour / 60.0
    values = np.stack([kept - price * _years_worked(alive, winters) for winters, alive, kept in options])
    at = int(np.argmax(values.max(axis=0)))
    ways = tuple(
        Way(
            winters=winters,
            lives=float(alive[-1, at]),
            first_winter=float(alive[0, at]),
            kept=float(kept[at]),
            minutes=float(minutes[at]) if winters else 0.0,
            lifts=0.0,
            effort=float(price[at] * _years_worked(alive, winters)[at]),
        )
        for winters, alive, kept in options
    )
    best = max(ways, key=lambda way: way.value)
    risky = best.lives < LEAST_LIVES
    answer: Answer = "plant"
    if risky or best.value < pot.value - CLEARLY * case.worth:
        answer = "stay"
    elif best.value < pot.value + CLEARLY * case.worth:
        answer = "equal"
    return PlantingOut(
        answer,
        years,
        int(cells[at]),
        best,
        ways,
        pot,
        too_risky=risky,
        big_enough=best.winters if best.winters < ways[-1].winters else None,
    )


def lives_along(death: list[FloatArray], weights: FloatArray) -> FloatArray:
    """Give the chance to be alive after each of some years with different dangers.

    Parameters
    ----------
    death : list of ndarray, shape (cell, winter)
        Chance of death of each year ahead, in each winter that it may be like. [-]
    weights : ndarray, shape (winter,)
        Sum to one. [-]

    Returns
    -------
    ndarray, shape (year, cell)
        [-]

    Notes
    -----
    As `raster.lives_through`, whose result it has where all years are alike, but with steps of the tree's luck u: it
    dies in a winter if u is below the winter's chance of death, with the same u in all years.
    """
    u = (np.arange(LUCKS) + 0.5) / LUCKS
    cells = death[0].shape[0]
    alive = np.ones((cells, LUCKS))
    out = np.empty((len(death), cells))
    seen: dict[int, FloatArray] = {}
    for year, chances in enumerate(death):
        if id(chances) not in seen:
            kills = np.zeros((cells, LUCKS))
            for weight, p in zip(weights, chances.T, strict=True):
                kills += weight * (p[:, None] > u)
            seen[id(chances)] = 1.0 - kills
        alive = alive * seen[id(chances)]
        out[year] = alive.mean(axis=1)
    return out


def _at(
    raster: Raster, kind: int, cells: NDArray[np.int64], gain_k: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give chances of death, bare crown and lost fruit of a row at some cells, held milder. [cell, winter]"""
    return tuple(  # type: ignore[return-value]
        (held_warmer(raster, each[kind], gain_k) if gain_k else each[kind].astype(np.float64))[cells]
        for each in (raster.death, raster.bare, raster.fruit)
    )


def _kept(
    worth: float,
    crops: FloatArray,
    alive: FloatArray,
    chances: list[tuple[FloatArray, FloatArray, FloatArray]],
    weights: FloatArray,
) -> FloatArray:
    """Give the worth of tree and fruit that is kept, shape (cell,). [currency]"""
    kept = worth * alive[-1]
    for crop, living, (_, bare, fruit) in zip(crops, alive, chances, strict=True):
        whole = (1.0 - LEAF_SHARE * (bare @ weights)) * (1.0 - np.nan_to_num(fruit @ weights, nan=0.0))
        kept = kept + crop * living * whole
    return np.asarray(kept)


def _years_worked(alive: FloatArray, winters: int) -> FloatArray:
    """Give in how many winters it is covered, on average: a dead tree is not. [years]"""
    before = np.concatenate([np.ones((1, alive.shape[1])), alive[:-1]])
    return np.asarray(before[:winters].sum(axis=0))


def _pot_way(raster: Raster, case: PotCase, years: int) -> Way:
    """Tell how it goes on in its container."""
    cell = np.array([case.pot_cell])
    chances = _at(raster, case.pot, cell, CARRIED_GAIN_K if case.carried else 0.0)
    every = [chances] * years
    alive = lives_along([one[0] for one in every], raster.weights)
    nights = case.carry_nights if case.carried else 0.0
    minutes, lifts = nights * case.carry_minutes, nights * case.carry_lifts
    a_year = minutes * case.per_hour / 60.0 + lifts * case.per_lift
    aside = float(light_share(raster)[cell[0]])
    return Way(
        winters=0,
        lives=float(alive[-1, 0]),
        first_winter=float(alive[0, 0]),
        kept=float(_kept(case.worth, case.crop_pot, alive, every, raster.weights)[0]) * aside,
        minutes=minutes,
        lifts=lifts,
        effort=float(a_year * _years_worked(alive, years)[0]),
    )
