"""Where a container finds shade in the hot hours: free ground that walls, roofs and crowns keep the sun from.

Places are looked for on a grid over the yard. From each, rays are cast to where the sun stands in the hot hours
(`physics.rays`), as for the sun of a tree's own spot. What such a place is worth is for `plants.heat`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.wall_places import GAP_M, POT_M, ROOM_M, WINDS, built_over
from fruitwall.speech import quantity, say
from fruitwall.yard.model import Building, Canopy, Fence, Roof, Tree, Wall, Yard
from fruitwall.yard.plan import shape, under_roof

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from fruitwall.physics.rays import Scene

XY = tuple[float, float]
Floats = NDArray[np.float64]

SHADY = 0.25
"""Share of the hot hours' beam sun up to which a place counts as shady. Our judgement. [0-1]"""

CROWN_AT_M = 1.0
"""Height over the ground at which the sun is looked for: the middle of a potted crown. Our judgement. [m]"""

GRID_M = 1.0
GRID_POINTS = 600
"""Spacing of the grid, and about how many of its points are looked at: a large yard gets a coarser one. [m]"""

MOST_PLACES = 8
"""Places kept for a yard."""

LOWEST_SUN_DEG = 10.0
"""Lower sun heats little. Our judgement. [degrees]"""


@dataclass(frozen=True)
class ShadePlace:
    """A free place in the shade for one container.

    Attributes
    ----------
    key : str
        Number, from 1.
    position : tuple of float
        [m, m]
    radius_m : float
        How wide a crown finds room round that point, from trunk to edge. [m]
    sun : float
        Share of the hot hours' beam sun that arrives. [0-1]
    giver : str
        Name of what gives most of the shade.
    roof : Roof or None
        The lowest that it lies under.
    """

    key: str
    position: XY
    radius_m: float
    sun: float
    giver: str
    roof: Roof | None = None

    @property
    def name(self) -> str:
        """In words."""
        if self.roof is not None and self.roof.name == self.giver:
            return say("the shade under {thing}", thing=self.giver)
        return say("the shade of {thing}", thing=self.giver)

    def way_from(self, start: XY) -> str:
        """Say where it lies from a point: "4 m to the north-east"."""
        east, north = self.position[0] - start[0], self.position[1] - start[1]
        wind = WINDS[round(math.degrees(math.atan2(east, north)) / 45.0) % 8]
        return say("{metres} to the {wind}", metres=quantity(math.hypot(east, north), "m", ".0f"), wind=say(wind))


def shade_places(yard: Yard, sun: Sequence[tuple[float, float]]) -> list[ShadePlace]:
    """Give the best shady places for containers.

    Parameters
    ----------
    yard : Yard
    sun : sequence of (azimuth, elevation)
        Where the sun stands in the hot hours. [degrees]

    Returns
    -------
    list of ShadePlace
        The most shady first, so far apart that a pot fits on each; none in a yard without pots. Ground that is built
        over, ponds, standing shelters, doors, crowns as they stand, and a margin at the boundary are left free.
    """
    from fruitwall.physics.rays import scene_of

    rays, weights = _rays(sun)
    if not len(rays) or all(tree.container is None for tree in yard.trees):
        return []
    scene = scene_of(yard, winter=False)
    found = []
    for at, room in _free_points(yard):
        share = _sun_at(scene, at, rays, weights)
        if share <= SHADY:
            found.append((round(share, 2), -round(room, 1), at, room, share))
    kept: list[ShadePlace] = []
    for _, _, at, room, share in sorted(found):
        room = min([room, *(math.dist(at, other.position) - other.radius_m for other in kept)])
        if room < POT_M / 2.0 + GAP_M or len(kept) == MOST_PLACES:
            continue
        # A place takes no more room than a wide pot needs, so that several find room under one roof.
        room = min(room, _widest(yard) / 2.0 + GAP_M)
        above = under_roof(yard, at)
        lowest = min(above, key=lambda its: its.height_m) if above else None
        kept.append(ShadePlace(str(len(kept) + 1), at, room, share, "", lowest))
    givers = _givers(yard)
    return [replace(place, giver=_giver(givers, place.position, rays, weights)) for place in kept]


def places_in_shade(yard: Yard, tree: Tree, places: Sequence[ShadePlace], own_sun: float) -> list[ShadePlace]:
    """Give the shady places worth thinking of for a container.

    Parameters
    ----------
    yard : Yard
    tree : Tree
        With its container.
    places : sequence of ShadePlace
        Of the yard.
    own_sun : float
        Share of the hot hours' beam sun where it stands (`sun_share`). [0-1]

    Returns
    -------
    list of ShadePlace
        Those with room for its crown and under no roof that is too low, the nearest first; none where it stands in the
        shade already.
    """
    if own_sun <= SHADY:
        return []
    fitting = [
        place
        for place in places
        if place.radius_m >= max(POT_M, tree.crown_diameter_m) / 2.0
        and (place.roof is None or tree.height_m <= place.roof.height_m - 0.1)
    ]
    return sorted(fitting, key=lambda place: (math.dist(place.position, tree.position), place.key))


def sun_share(yard: Yard, tree: Tree, sun: Sequence[tuple[float, float]]) -> float:
    """Give the share of the hot hours' beam sun that reaches a tree where it stands.

    Parameters
    ----------
    yard : Yard
    tree : Tree
    sun : sequence of (float, float)
        Where the sun stands in the hot hours: azimuth and elevation. [degrees]

    Returns
    -------
    float
        0 (all shade) to 1. [-]
    """
    from fruitwall.physics.rays import scene_of

    rays, weights = _rays(sun)
    return _sun_at(scene_of(yard, winter=False), tree.position, rays, weights, own=tree.id) if len(rays) else 0.0


def _rays(sun: Sequence[tuple[float, float]]) -> tuple[Floats, Floats]:
    """Give unit vectors to the sun and how much each heats level ground, those of low sun left out."""
    high = np.radians(np.array([one for one in sun if one[1] >= LOWEST_SUN_DEG], dtype=np.float64).reshape(-1, 2))
    flat = np.cos(high[:, 1])
    rays = np.stack([flat * np.sin(high[:, 0]), flat * np.cos(high[:, 0]), np.sin(high[:, 1])], axis=1)
    weights = np.sin(high[:, 1])
    return rays, weights / max(weights.sum(), 1e-9)


def _sun_at(scene: Scene, at: XY, rays: Floats, weights: Floats, *, own: str | None = None) -> float:
    from fruitwall.physics.rays import cast

    return float(cast(scene, np.array([*at, CROWN_AT_M]), rays, leave_out=own).sun @ weights)


def _free_points(yard: Yard) -> list[tuple[XY, float]]:
    """Give the points of the grid on which a pot could stand, each with the room round it. [m, m], [m]"""
    from shapely import Point
    from shapely.ops import unary_union

    inside = shape(yard.outline).buffer(-ROOM_M)
    taken: BaseGeometry = unary_union(
        [built_over(yard), *(Point(tree.position).buffer(tree.crown_diameter_m / 2.0) for tree in yard.trees)]
    )
    free = inside.difference(taken)
    if free.is_empty:
        return []
    west, south, east, north = free.bounds
    step = max(GRID_M, math.sqrt((east - west) * (north - south) / GRID_POINTS))
    edge = free.boundary
    points = []
    for column in range(int((east - west) / step) + 1):
        for row in range(int((north - south) / step) + 1):
            point = Point(west + (column + 0.5) * step, south + (row + 0.5) * step)
            if free.contains(point) and (room := float(edge.distance(point))) >= POT_M / 2.0 + GAP_M:
                points.append(((float(point.x), float(point.y)), room))
    return points


def _widest(yard: Yard) -> float:
    return max(max(POT_M, tree.crown_diameter_m) for tree in yard.trees if tree.container is not None)


def _givers(yard: Yard) -> list[tuple[str, Scene]]:
    """Give everything that casts shade, each alone in an empty yard."""
    from fruitwall.physics.rays import scene_of

    bare = yard.model_copy(update={"structures": [], "trees": [], "horizon": []})
    things = [its for its in yard.structures if isinstance(its, Wall | Building | Roof | Canopy | Fence)]
    return [
        *((one.name, scene_of(bare.model_copy(update={"structures": [one]}), winter=False)) for one in things),
        *((one.name, scene_of(bare.model_copy(update={"trees": [one]}), winter=False)) for one in yard.trees),
    ]


def _giver(givers: Sequence[tuple[str, Scene]], at: XY, rays: Floats, weights: Floats) -> str:
    """Give the name of what alone would keep off most of the sun; of the skyline where nothing does."""
    shares = [_sun_at(scene, at, rays, weights) for _, scene in givers]
    if not shares or min(shares) > 0.95:
        return say("the skyline")
    return givers[int(np.argmin(shares))][0]


__all__ = ["SHADY", "ShadePlace", "places_in_shade", "shade_places", "sun_share"]
