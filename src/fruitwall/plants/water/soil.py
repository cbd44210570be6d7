"""How much water the roots can reach: total and readily available water, and what happens when it runs low.

FAO-56, chapter 8. Depths are millimetres over the area of the zone: one millimetre on one square metre is one litre.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from fruitwall.plants.water.containers import fill_of
from fruitwall.plants.water.ranges import FloatArray, number, numbers

TEXTURES: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "sand": ((0.07, 0.17), (0.02, 0.07)),
    "loamy_sand": ((0.11, 0.19), (0.03, 0.10)),
    "sandy_loam": ((0.18, 0.28), (0.06, 0.16)),
    "loam": ((0.20, 0.30), (0.07, 0.17)),
    "silt_loam": ((0.22, 0.36), (0.09, 0.21)),
    "silt": ((0.28, 0.36), (0.12, 0.22)),
    "clay_loam": ((0.30, 0.37), (0.17, 0.24)),
    "silty_clay": ((0.30, 0.42), (0.17, 0.29)),
    "clay": ((0.32, 0.40), (0.20, 0.24)),
}
"""Water at field capacity and at the wilting point, lowest and highest: FAO-56 table 19 (sand read in a
transcription, the other rows from memory); clay loam has no row there and takes that of silt clay loam. The middle is
used. [m³/m³]"""

INFILTRATION_MM_H: dict[str, tuple[float, float]] = {
    "sand": (30.0, inf),
    "loamy_sand": (30.0, inf),
    "sandy_loam": (20.0, 30.0),
    "loam": (10.0, 20.0),
    "silt_loam": (10.0, 20.0),
    "silt": (10.0, 20.0),
    "clay_loam": (5.0, 10.0),
    "silty_clay": (1.0, 5.0),
    "clay": (1.0, 5.0),
}
"""Basic infiltration rate, lowest and highest: FAO training manual (Brouwer et al. 1985), as quoted. It has sand, sandy
loam, loam, clay loam and clay; the rest take their neighbour's (Our judgement). [mm/h]"""

P_SLOPE_D_MM = 0.04
"""Rise of the depletion fraction for each millimetre a day less than `P_REFERENCE_MM_D`: FAO-56, note to table 22.
[d/mm]"""

P_REFERENCE_MM_D = 5.0
"""Use of water at which the tabled depletion fractions hold: FAO-56, table 22. [mm/d]"""

P_LOWEST, P_HIGHEST = 0.1, 0.8
"""Limits of the adjusted depletion fraction: FAO-56, chapter 8. [-]"""


@dataclass(frozen=True)
class RootZone:
    """The water within reach of the roots of one tree, in millimetres over an area.

    Attributes
    ----------
    kind : {"ground", "pot"}
    capacity_mm : float
        Between full (what stays after draining) and the wilting point: TAW. [mm]
    ready_mm : float
        What the tree takes without effort: RAW. [mm]
    area_m2 : float
        Turns millimetres into litres. The same area that the tree's use of water is for. [m²]
    drains : bool
        Whether a surplus leaves below. Otherwise it stands in the pores and then runs over.
    held_mm : float
        All water of the full zone, with what the roots cannot take; salt is dissolved in it. 0: twice the capacity.
        [mm]
    air_mm : float
        Pores that are empty when full; used where it does not drain. [mm]
    infiltration_mm_h : float
        Most that the surface takes in. [mm/h]
    rain_catch : float
        Share of the rain under the crown that falls on the zone: of a pot that of its mouth. [0-1]
    """

    kind: Literal["ground", "pot"]
    capacity_mm: float
    ready_mm: float
    area_m2: float
    drains: bool
    held_mm: float = 0.0
    air_mm: float = 0.0
    infiltration_mm_h: float = inf
    rain_catch: float = 1.0

    @property
    def depletion_p(self) -> float:
        """Share of the capacity that is taken without effort. [0-1]"""
        return self.ready_mm / self.capacity_mm

    @property
    def capacity_l(self) -> float:
        """The same as `capacity_mm`. [L]"""
        return self.capacity_mm * self.area_m2

    @property
    def full_mm(self) -> float:
        """All water of the full zone. [mm]"""
        return self.held_mm if self.held_mm > 0.0 else 2.0 * self.capacity_mm


def root_zone_ground(texture: str, root_depth_m: float, depletion_p: float, area_m2: float) -> RootZone:
    """Give the root zone of a tree in the ground.

    Parameters
    ----------
    texture : str
        A row of `TEXTURES`.
    root_depth_m : float
        Depth from which most of the water is drawn. [m]
    depletion_p : float
        Share of the capacity taken without effort: FAO-56 table 22. [0-1]
    area_m2 : float
        Of ground that the roots draw from, by which use, rain and irrigation are counted. [m²]

    Returns
    -------
    RootZone
        With the middle of the ranges of the texture (FAO-56 eq. 82 and 83).

    Raises
    ------
    ValueError
        If the texture is unknown or a number outside its range.
    """
    full, wilting = soil_water(texture)
    depth_mm = 1000.0 * number("root_depth_m", root_depth_m)
    capacity_mm = float(total_available(full, wilting, root_depth_m))
    return RootZone(
        kind="ground",
        capacity_mm=capacity_mm,
        ready_mm=number("depletion_p", depletion_p) * capacity_mm,
        area_m2=number("area_m2", area_m2),
        drains=True,
        held_mm=full * depth_mm,
        infiltration_mm_h=infiltration(texture),
    )


def root_zone_pot(
    volume_l: float, mix: str, area_m2: float, *, depth_m: float | None = None, drains: bool = True
) -> RootZone:
    """Give the root zone of a tree in a pot.

    Parameters
    ----------
    volume_l : float
        Of the pot. [L]
    mix : str
        What it is filled with: a row of `containers.MIXES`.
    area_m2 : float
        Area that the tree's use of water is counted by; rain counts by the mouth of the pot. [m²]
    depth_m : float, optional
        Of the filling; from the volume if left out. [m]
    drains : bool
        Whether it has open holes.

    Returns
    -------
    RootZone

    Raises
    ------
    ValueError
        If the mix is unknown or a number outside its range.
    """
    fill = fill_of(number("volume_l", volume_l), mix, depth_m=depth_m)
    area = number("area_m2", area_m2)
    capacity_mm = fill.available_l / area
    return RootZone(
        kind="pot",
        capacity_mm=capacity_mm,
        ready_mm=fill.easy_l / area,
        area_m2=area,
        drains=drains,
        held_mm=fill.held_l / area,
        air_mm=fill.air_l / area,
        rain_catch=min(fill.mouth_m2 / area, 1.0),
    )


def soil_water(texture: str) -> tuple[float, float]:
    """Give the water at field capacity and at the wilting point: the middle of table 19. [m³/m³]"""
    _known(texture)
    full, wilting = TEXTURES[texture]
    return sum(full) / 2.0, sum(wilting) / 2.0


def infiltration(texture: str) -> float:
    """Give the basic infiltration rate: the middle of the range, its low end where it has no other. [mm/h]"""
    _known(texture)
    low, high = INFILTRATION_MM_H[texture]
    return low if np.isinf(high) else (low + high) / 2.0


def _known(texture: str) -> None:
    if texture not in TEXTURES:
        raise ValueError(f"texture must be one of {', '.join(TEXTURES)}, got {texture!r}")


def total_available(theta_full: ArrayLike, theta_wilting: ArrayLike, root_depth_m: ArrayLike) -> FloatArray:
    """Give the total available water, FAO-56 eq. 82.

    Parameters
    ----------
    theta_full, theta_wilting : array_like
        Water at field capacity and at the wilting point. [m³/m³]
    root_depth_m : array_like
        [m]

    Returns
    -------
    ndarray
        TAW. [mm]
    """
    full, wilting = numbers("theta_full", theta_full, "share"), numbers("theta_wilting", theta_wilting, "share")
    if (full < wilting).any():
        raise ValueError("theta_full must be at least theta_wilting")
    return np.asarray(1000.0 * (full - wilting) * numbers("root_depth_m", root_depth_m))


def adjusted_p(depletion_p: ArrayLike, use_mm_d: ArrayLike) -> FloatArray:
    """Give the depletion fraction on a day of some demand: FAO-56, note to table 22.

    Parameters
    ----------
    depletion_p : array_like
        As tabled, for 5 mm a day. [0-1]
    use_mm_d : array_like
        Use of water of the unstressed tree, ETc. [mm/d]

    Returns
    -------
    ndarray
        Within 0.1 and 0.8. [-]
    """
    p = numbers("depletion_p", depletion_p) + P_SLOPE_D_MM * (P_REFERENCE_MM_D - np.asarray(use_mm_d, dtype=float))
    return np.asarray(np.clip(p, P_LOWEST, P_HIGHEST))


def stress(depletion_mm: ArrayLike, capacity_mm: ArrayLike, depletion_p: ArrayLike) -> FloatArray:
    """Give the share of its use that a tree keeps up as the soil dries: Ks, FAO-56 eq. 84.

    Parameters
    ----------
    depletion_mm : array_like
        Water missing from the full root zone, Dr. [mm]
    capacity_mm : array_like
        TAW. [mm]
    depletion_p : array_like
        Share taken without effort. [0-1]

    Returns
    -------
    ndarray
        1 until RAW is gone, then falling to 0 at TAW. [0-1]
    """
    d, capacity = np.asarray(depletion_mm, dtype=float), np.asarray(capacity_mm, dtype=float)
    rest = (capacity - d) / ((1.0 - numbers("depletion_p", depletion_p)) * capacity)
    return np.asarray(np.clip(rest, 0.0, 1.0))
