"""Which surfaces of walls and buildings store the sun's heat, and what they are made of.

One `Face` per straight piece of a wall or building and per side that looks into the yard. The night model marches
each face once per ensemble member; trees see it by the share that `physics.spot` gives.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

Behind = Literal["earth", "indoor", "outdoor"]
"""What is on the other side: the soil of a terrace, a heated room, or free air (also an unheated building)."""


@dataclass(frozen=True)
class Layer:
    """One layer of a wall, paving or soil.

    Attributes
    ----------
    thickness_m, conductivity_w_mk, density_kg_m3, heat_capacity_j_kgk : float
        Thickness [m], thermal conductivity [W/(m K)], density [kg/m³], specific heat [J/(kg K)].
    """

    thickness_m: float
    conductivity_w_mk: float
    density_kg_m3: float
    heat_capacity_j_kgk: float


@dataclass(frozen=True, eq=False)
class Face:
    """One outer surface of a wall or building.

    Attributes
    ----------
    id : str
        Key by which spots refer to it: ``<structure>/<piece>`` for buildings, ``<structure>/<piece>/<left|right>``
        for walls; pieces are counted from 1 along the line or outline.
    structure : str
        Identifier of the wall or building.
    azimuth_deg : float
        Direction in which the face looks, clockwise from north. [degrees]
    start, end : tuple of float
        Ends of its foot, seen from outside from left to right. [m, m]
    height_m : float
        Height of its top above the ground in front of it. [m]
    layers : tuple of Layer
        From the outside inwards.
    behind : {"earth", "indoor", "outdoor"}
        What lies behind the layers.
    indoor_c : float
        Temperature kept behind it if `behind` is "indoor", else NaN. [°C]
    absorptance, emissivity : float
        For sun and for longwave. [0-1]
    sky : float
        Share of sky in what the middle of the face sees; 0.5 on open flat ground. [0-1]
    sun_share : ndarray, shape (72, 18), or None
        Beam sun let through by roofs, canopies and buildings, on the grid of `physics.spot.sun_visibility`;
        None means nothing stands in the way.
    """

    id: str
    structure: str
    azimuth_deg: float
    start: tuple[float, float]
    end: tuple[float, float]
    height_m: float
    layers: tuple[Layer, ...]
    behind: Behind
    indoor_c: float = float("nan")
    absorptance: float = 0.6
    emissivity: float = 0.92
    sky: float = 0.5
    sun_share: FloatArray | None = field(default=None, repr=False)

    @property
    def length_m(self) -> float:
        """Length of its foot. [m]"""
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))
