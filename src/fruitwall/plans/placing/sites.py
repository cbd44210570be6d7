"""The best places for one kind, each with what speaks for it and against it.

Places are distinct: after the best one its surroundings, half a grown crown and more, are passed over, so that the
second is another place and not the cell beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.placing.raster import Raster, lives_through
from fruitwall.plans.placing.worth import ENOUGH_SUN_H, YEARS, goodness

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

ReasonKey = Literal[
    "warm_wall",
    "under_crown",
    "milder",
    "sun",
    "power_near",
    "tap_near",
    "sheltered",
    "hollow",
    "open_sky",
    "colder",
    "little_sun",
    "winter_shade",
    "power_far",
    "tap_far",
    "scorch",
    "windy",
    "roots",
    "crown_near",
    "not_here",
]
"""What is said of a place."""

NOTED_K = 0.4
"""A place is called milder or colder than the yard's middle from here on. Our judgement: a thermometer at home tells it
apart. [K]"""

WALL_SHARE, CROWN_SHARE, OPEN_SHARE = 0.12, 0.12, 0.05
"""Share of the upper hemisphere from which a wall or crown is named as the reason, and below which, both together, the
place lies open to the sky. Our judgement. [-]"""

LARGE_CROWN = 0.25
"""Share of the upper hemisphere taken by crowns from which a place counts as under a large tree. Our judgement. [-]"""

NEAR_M, FAR_M = 10.0, 25.0
"""A socket or tap is near, or far, at this distance. Our judgement: leads of 10 and 25 m are common. [m]"""

WINTER_SUN_H = 3.0
"""Fewer hours of winter sun are named. Our judgement. [h]"""

SCORCHED = 0.15
"""Chance of a hurt in summer from which it is named. Our judgement. [-]"""

WINDY, SHELTERED = 0.85, 0.5
"""Shares of the open wind that are named. Our judgement. [-]"""

HOPELESS = 0.5
"""Below this chance to live ten winters the place is no place for the kind unless it is covered. Our judgement. [-]"""


@dataclass(frozen=True)
class Reason:
    """One thing that speaks for a place, or against it.

    Attributes
    ----------
    key : str
    value : float
        The figure behind it: kelvins, hours, metres or a share, by the key.
    by : str
        Identifier of what causes it, or empty.
    """

    key: ReasonKey
    value: float
    by: str = ""


@dataclass(frozen=True)
class Site:
    """One place.

    Attributes
    ----------
    cell : int
    x_m, y_m : float
        [m]
    good : float
        0 to 1, `worth.goodness`.
    survive, lives : float
        Chance to live one winter and ten in a row, nothing done. [-]
    leaf_loss, fruit_loss, scorch : float
        Chances a year; NaN where there is nothing to lose or nothing known. [-]
    ten_years_c : float
        Coldest hour of nine winters in ten. [°C]
    winter_sun_h, summer_sun_h : float
        [h]
    power_m, tap_m : float
        NaN where there is none. [m]
    reasons, against : tuple of Reason
    """

    cell: int
    x_m: float
    y_m: float
    good: float
    survive: float
    lives: float
    leaf_loss: float
    fruit_loss: float
    scorch: float
    ten_years_c: float
    winter_sun_h: float
    summer_sun_h: float
    power_m: float
    tap_m: float
    reasons: tuple[Reason, ...]
    against: tuple[Reason, ...]


def best_sites(
    raster: Raster, kind: int, *, crown_m: float, most: int = 5, where: BoolArray | None = None, years: int = YEARS
) -> tuple[Site, ...]:
    """Give the best places for a kind, best first.

    Parameters
    ----------
    raster : Raster
    kind : int
        Row of the raster.
    crown_m : float
        Of the grown tree: no two places lie nearer. [m]
    most : int
    where : ndarray of bool, shape (cell,), optional
        Cells that are asked about; by default those that are free.
    years : int
        For the chance to live.

    Returns
    -------
    tuple of Site
    """
    if crown_m <= 0.0:
        raise ValueError(f"crown_m must be greater than 0 m, got {crown_m}")
    good = np.where(raster.free if where is None else where, goodness(raster, kind, years=years), np.nan)
    lives = lives_through(raster.death[kind], raster.weights, years)
    return tuple(site_at(raster, kind, cell, good=good, lives=lives) for cell in distinct(raster, good, crown_m, most))


def distinct(raster: Raster, good: FloatArray, apart_m: float, most: int) -> list[int]:
    """Give the cells of the highest figures that lie so far apart, best first; of equals the first of the raster."""
    left = np.array(good, dtype=np.float64)
    found: list[int] = []
    while len(found) < most and np.isfinite(left).any():
        cell = int(np.nanargmax(left))
        found.append(cell)
        left[np.hypot(raster.x_m - raster.x_m[cell], raster.y_m - raster.y_m[cell]) < apart_m] = np.nan
    return found


def ordinary_cell(raster: Raster) -> int | None:
    """Give the free cell in the middle of all by its coldest hours; None where nothing is free."""
    free = np.flatnonzero(raster.free & np.isfinite(raster.ten_years_c))
    if not free.size:
        return None
    return int(free[np.argsort(raster.ten_years_c[free], kind="stable")[free.size // 2]])


def site_at(
    raster: Raster, kind: int, cell: int, *, good: FloatArray | None = None, lives: FloatArray | None = None
) -> Site:
    """Tell of one place.

    Parameters
    ----------
    raster : Raster
    kind, cell : int
    good, lives : ndarray, shape (cell,), optional
        If they are worked out already.

    Returns
    -------
    Site
    """
    goods = goodness(raster, kind) if good is None else good
    living = lives_through(raster.death[kind], raster.weights, YEARS) if lives is None else lives
    for_, against = _reasons(raster, kind, cell, float(living[cell]))
    return Site(
        cell=cell,
        x_m=float(raster.x_m[cell]),
        y_m=float(raster.y_m[cell]),
        good=float(goods[cell]),
        survive=float(raster.survive[kind, cell]),
        lives=float(living[cell]),
        leaf_loss=float(raster.leaf_loss[kind, cell]),
        fruit_loss=float(raster.fruit_loss[kind, cell]),
        scorch=float(raster.scorch[kind, cell]),
        ten_years_c=float(raster.ten_years_c[cell]),
        winter_sun_h=float(raster.winter_sun_h[cell]),
        summer_sun_h=float(raster.summer_sun_h[cell]),
        power_m=float(raster.power_m[cell]),
        tap_m=float(raster.tap_m[cell]),
        reasons=for_,
        against=against,
    )


def _reasons(raster: Raster, kind: int, cell: int, lives: float) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """Give what speaks for a place and against it, the weightiest first."""
    asked = raster.free if raster.free.any() else raster.standable
    milder = float(raster.ten_years_c[cell] - np.nanmedian(raster.ten_years_c[asked]))
    wall, crown = float(raster.wall[cell]), float(raster.canopy[cell])
    sun, winter_sun = float(raster.summer_sun_h[cell]), float(raster.winter_sun_h[cell])
    scorch, wind = float(raster.scorch[kind, cell]), float(raster.wind[cell])
    power, tap = float(raster.power_m[cell]), float(raster.tap_m[cell])
    hollow, gap = float(raster.colder_k[cell]), float(raster.gap_m[cell])
    warm = milder >= NOTED_K
    named = warm and (wall >= WALL_SHARE or crown >= CROWN_SHARE)
    good = (
        (warm and wall >= WALL_SHARE and wall >= crown, Reason("warm_wall", milder)),
        (warm and crown >= CROWN_SHARE and crown > wall, Reason("under_crown", milder)),
        (warm and not named, Reason("milder", milder)),
        (sun >= ENOUGH_SUN_H, Reason("sun", sun)),
        (wind <= SHELTERED, Reason("sheltered", wind)),
        (power <= NEAR_M, Reason("power_near", power, raster.power_by[cell])),
        (tap <= NEAR_M, Reason("tap_near", tap)),
    )
    cold = milder <= -NOTED_K
    bad = (
        (lives < HOPELESS, Reason("not_here", lives)),
        (hollow > 0.0, Reason("hollow", hollow)),
        (cold and hollow <= 0.0 and wall + crown < OPEN_SHARE, Reason("open_sky", -milder)),
        (cold and hollow <= 0.0 and wall + crown >= OPEN_SHARE, Reason("colder", -milder)),
        (scorch >= SCORCHED, Reason("scorch", scorch)),
        (sun < ENOUGH_SUN_H, Reason("little_sun", sun)),
        (sun >= ENOUGH_SUN_H and winter_sun < WINTER_SUN_H, Reason("winter_shade", winter_sun)),
        (crown >= LARGE_CROWN, Reason("roots", crown)),
        (gap < 0.5, Reason("crown_near", gap)),
        (wind >= WINDY, Reason("windy", wind)),
        (power > FAR_M, Reason("power_far", power, raster.power_by[cell])),
        (tap > FAR_M, Reason("tap_far", tap)),
    )
    return tuple(one for holds, one in good if holds), tuple(one for holds, one in bad if holds)
