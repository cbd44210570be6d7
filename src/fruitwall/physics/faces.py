"""Which surfaces of walls and buildings store the sun's heat, and what they are made of.

One `Face` per straight piece of a wall or building and per side that looks into the yard. The night model marches
each face once per ensemble member; trees see it by the share that `physics.spot` gives.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.shape import tilted_sky_view
from fruitwall.yard.model import Building, Wall, Yard

FloatArray = NDArray[np.float64]

Behind = Literal["earth", "indoor", "outdoor"]
"""What is on the other side: the soil of a terrace, a heated room, or free air (also an unheated building)."""

XY = tuple[float, float]


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
        for walls; pieces are counted from 1 along the line or outline as it is written.
    structure : str
        Identifier of the wall or building.
    azimuth_deg : float
        Direction in which the face looks, clockwise from north. [degrees]
    start, end : tuple of float
        Ends of its foot, seen from outside from left to right. [m, m]
    height_m : float
        Height of its top above the ground in front of it. [m]
    layers : tuple of Layer
        From the outside inwards; the masonry only, not what lies behind it.
    behind : {"earth", "indoor", "outdoor"}
        What lies behind the layers, unless `back` says more.
    indoor_c : float
        Temperature kept behind it if `behind` is "indoor", else NaN. [°C]
    absorptance, emissivity : float
        For sun and for longwave. [0-1]
    sky : float
        Share of sky in what the middle of the face sees; 0.5 for an upright face on open flat ground. [0-1]
    sun_share : ndarray, shape (72, 18), or None
        Beam sun let through by roofs, canopies and buildings, on the grid of `physics.spot.sun_visibility`;
        None means nothing stands in the way.
    tilt_deg : float
        90 is upright; less leans back and looks up to the sky, more hangs over. [degrees]
    diffuse : float or None
        Share of the sky's diffuse sunlight in what its middle sees; None: as `sky`. [0-1]
    ground : float or None
        Share of ground in what its middle sees, and of all that stands there and is no face; None: all that is below
        the horizon. [0-1]
    ground_sun_share, ground_diffuse : ndarray, shape (72, 18), or None; float
        The same of the ground before it: beam sun that reaches it, None where nothing shades it, and diffuse. [0-1]
    back : Face or None
        The other face of the same masonry, so that the sun on one reaches the other; itself without `back`.
    facing : tuple of (str, float)
        Ids of other faces that its middle sees, and their shares. [0-1]
    """

    id: str
    structure: str
    azimuth_deg: float
    start: XY
    end: XY
    height_m: float
    layers: tuple[Layer, ...]
    behind: Behind
    indoor_c: float = float("nan")
    absorptance: float = 0.6
    emissivity: float = 0.92
    sky: float = 0.5
    sun_share: FloatArray | None = field(default=None, repr=False)
    tilt_deg: float = 90.0
    diffuse: float | None = None
    ground: float | None = None
    ground_sun_share: FloatArray | None = field(default=None, repr=False)
    ground_diffuse: float = 1.0
    back: Face | None = field(default=None, repr=False)
    facing: tuple[tuple[str, float], ...] = field(default=(), repr=False)

    @property
    def piece(self) -> str:
        """Key of the straight piece of masonry to which it belongs: ``<structure>/<piece>``."""
        return "/".join(self.id.split("/")[:2])

    @property
    def length_m(self) -> float:
        """Length of its foot. [m]"""
        return float(np.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1]))


class Masonry(NamedTuple):
    """What a wall is made of: conductivity [W/(m K)], density [kg/m³], specific heat [J/(kg K)], sun and longwave."""

    conductivity_w_mk: float
    density_kg_m3: float
    heat_capacity_j_kgk: float
    absorptance: float
    emissivity: float
    thickest_m: float = 3.0


MASONRY: dict[str, Masonry] = {
    "dry_stone": Masonry(1.5, 2100.0, 1000.0, 0.65, 0.93),
    "stone": Masonry(2.3, 2400.0, 1000.0, 0.65, 0.93),
    "brick": Masonry(0.895, 1920.0, 800.0, 0.65, 0.93),
    "concrete": Masonry(2.0, 2400.0, 1000.0, 0.60, 0.92),
    "rendered_block": Masonry(0.9, 1400.0, 1000.0, 0.45, 0.92),
    "adobe": Masonry(0.6, 1600.0, 900.0, 0.65, 0.92),
    "timber": Masonry(0.13, 500.0, 1600.0, 0.60, 0.90),
    "metal": Masonry(50.0, 7800.0, 450.0, 0.60, 0.85, thickest_m=0.003),
    "glass": Masonry(1.0, 2500.0, 750.0, 0.12, 0.88, thickest_m=0.012),
}
"""Wall materials.

Concrete, timber and glass: EN ISO 10456 design values; fired brick of 1920 kg/m³: ASHRAE Fundamentals 2013 ch. 26
(both in tests/checks/shape.yaml). Stone is hard sandstone or granite (2.3 and 2.8 W/(m K)) laid in mortar, dry stone
the same with a sixth of air gaps, rendered block hollow blocks, adobe sun-dried clay; these and all absorptances and
emissivities (weathered, unpainted; light render; painted sheet) are from memory of ASHRAE and EN tables, absorptance
±0.1.
"""


def wall_faces(yard: Yard) -> list[Face]:
    """Give all faces of the yard's walls and buildings that look outside.

    Parameters
    ----------
    yard : Yard

    Returns
    -------
    list of Face
        A free-standing wall gives two faces per straight piece, a retaining wall one (to the right of its line), a
        building one per side. As on open ground: `physics.spot.survey_faces` adds what stands in front of them.

    Notes
    -----
    Each face of a free-standing wall holds the other as its `back`. The tilt of a wall is that of the face to the
    right of its line; the other, parallel to it, looks down as much as this one looks up. Metal is at most 3 mm, glass
    at most 12 mm thick, whatever thickness is given.
    """
    faces: list[Face] = []
    for structure in yard.structures:
        if isinstance(structure, Wall):
            faces.extend(_of_wall(structure))
        elif isinstance(structure, Building):
            faces.extend(_of_building(structure))
    return faces


def _of_wall(wall: Wall) -> Iterator[Face]:
    """Faces of a wall: right side of its line, and left side unless there is earth."""
    for number, (a, b) in enumerate(pairwise(wall.line), start=1):
        if a == b:
            continue
        if wall.retains_earth:
            yield _face(wall, f"{wall.id}/{number}/right", a, b, "earth", wall.tilt_deg)
            continue
        right = _face(wall, f"{wall.id}/{number}/right", a, b, "outdoor", wall.tilt_deg)
        left = _face(wall, f"{wall.id}/{number}/left", b, a, "outdoor", 180.0 - wall.tilt_deg)
        yield replace(right, back=left)
        yield replace(left, back=right)


def _of_building(building: Building) -> Iterator[Face]:
    """Faces of a building, looking away from its inside whichever way the outline runs."""
    corners = building.outline
    ring = [*corners, corners[0]]
    twice_area = sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise(ring))
    behind: Behind = "outdoor" if building.indoor_c is None else "indoor"
    for number, (a, b) in enumerate(pairwise(ring), start=1):
        if a == b:
            continue
        start, end = (a, b) if twice_area > 0.0 else (b, a)
        yield _face(building, f"{building.id}/{number}", start, end, behind)


def _face(structure: Wall | Building, key: str, start: XY, end: XY, behind: Behind, tilt_deg: float = 90.0) -> Face:
    """Make a face that looks to the right of the way from start to end."""
    made_of = MASONRY[structure.material]
    layer = Layer(
        min(structure.thickness_m, made_of.thickest_m),
        made_of.conductivity_w_mk,
        made_of.density_kg_m3,
        made_of.heat_capacity_j_kgk,
    )
    indoor = structure.indoor_c if isinstance(structure, Building) and structure.indoor_c is not None else float("nan")
    # Right of (dx, dy) is (dy, -dx); its bearing from north is atan2(east, north).
    bearing = np.degrees(np.arctan2(end[1] - start[1], -(end[0] - start[0]))) % 360.0
    return Face(
        key,
        structure.id,
        float(bearing),
        start,
        end,
        structure.height_m,
        (layer,),
        behind,
        indoor,
        made_of.absorptance,
        made_of.emissivity,
        sky=float(tilted_sky_view(tilt_deg)),
        tilt_deg=tilt_deg,
    )
