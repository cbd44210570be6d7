"""Places at the foot of sunny or heated walls where containers could stand for cold nights.

A wall that the low sun reached all day, or with a heated room behind it, is warmer at night than the sky that it
hides. Only the yard's geometry is looked at here: which faces, and which stretch of their foot is free. What a place
is worth is for physics.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fruitwall.speech import marked, say
from fruitwall.yard.model import Building, Fence, Pond, Roof, Tree, Wall, Yard
from fruitwall.yard.plan import line_of, shape

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from fruitwall.physics.faces import Face

XY = tuple[float, float]

LOWEST_WALL_M = 0.8
"""Lower walls do not shield a crown. Our judgement. [m]"""

LEAST_SUN = 0.35
"""Cosine, in plan, between where a face looks and the noon sun, from which it counts as sunny: 70 degrees to either
side. Our judgement."""

HEATED_C = 10.0
"""Kept behind a face, makes it warm whichever way it looks. Our judgement. [°C]"""

STAND_M = 0.5
"""Distance from the face of the line along which free stretches are looked for. [m]"""

GAP_M = 0.05
"""Left free between wall and leaves: leaves pressed to stone scorch and freeze on it. Our judgement. [m]"""

ROOM_M = 0.3
"""Left free to what stands there already, and to the yard's edge. Our judgement. [m]"""

DOOR_M = 1.0
"""Left free before the door of an indoor place. Our judgement. [m]"""

SHORTEST_RUN_M = 0.6
"""Shorter free stretches hold no pot. Our judgement. [m]"""

POT_M = 0.6
"""Least width counted for one pot along a wall. Our judgement. [m]"""

THERE_ALREADY_M = 0.6
"""A crown whose edge is nearer to the face than this stands at it already. Our judgement. [m]"""

PLACES_PER_TREE = 2
"""How many wall places are thought of for one container: each is computed through every night."""

_LIGHT_MASONRY = frozenset({"timber", "metal", "glass"})
"""Stores little: counts half."""

WINDS = (
    marked("north"),
    marked("north-east"),
    marked("east"),
    marked("south-east"),
    marked("south"),
    marked("south-west"),
    marked("west"),
    marked("north-west"),
)


@dataclass(frozen=True)
class WallPlace:
    """A free stretch along the foot of a warm face.

    Attributes
    ----------
    key : str
        Key of the face, as of `physics.faces.Face.id`; the same for all stretches of a face.
    name : str
        In words: "the south side of House".
    foot : tuple of float
        Point of the face behind the middle of the stretch. [m, m]
    outward : tuple of float
        Unit vector from the face into the yard.
    length_m : float
        Of the free stretch. [m]
    warmth : float
        For ranking alone: how sunny or heated, times height up to 3 m. [m]
    roof : Roof or None
        What it lies under.
    """

    key: str
    name: str
    foot: XY
    outward: XY
    length_m: float
    warmth: float
    roof: Roof | None = None

    def stand(self, crown_diameter_m: float) -> XY:
        """Give where a trunk stands whose crown just clears the wall. [m, m]"""
        away = max(crown_diameter_m / 2.0, POT_M / 2.0) + GAP_M
        return (self.foot[0] + away * self.outward[0], self.foot[1] + away * self.outward[1])

    def spaces(self, pots: list[Tree]) -> int:
        """Give how many pots stand side by side along it, by the widest of those that it has room for."""
        widths = [width for tree in pots if (width := max(POT_M, tree.crown_diameter_m)) <= self.length_m]
        return max(1, int(self.length_m / max(widths, default=self.length_m)))


_kept: dict[str, tuple[Yard, list[WallPlace]]] = {}
"""Places of the yard asked for last: measures are made tree by tree, and its walls are the same for all of them."""


def wall_places(yard: Yard) -> list[WallPlace]:
    """Give the longest free stretch at the foot of every warm face: in the open, and under each roof.

    Parameters
    ----------
    yard : Yard

    Returns
    -------
    list of WallPlace
        In the order of the faces.

    Notes
    -----
    Trees, also those that could be moved, are taken to stand where they stand by day. Faces look at the ground before
    them, so their retained earth is never a place. Ponds, buildings, other walls, fences, standing shelters and the
    doors of indoor places are left free.
    """
    kept = _kept.get("last")
    if kept is None or kept[0] is not yard:
        kept = _kept["last"] = (yard, _find_places(yard))
    return kept[1]


def _find_places(yard: Yard) -> list[WallPlace]:
    """Find the places of a yard."""
    from fruitwall.physics.faces import wall_faces

    structures = {its.id: its for its in yard.structures}
    roofs = [its for its in yard.structures if isinstance(its, Roof)]
    taken = _taken(yard)
    inside = shape(yard.outline).buffer(-ROOM_M)
    found: list[WallPlace] = []
    for face in wall_faces(yard):
        structure = structures[face.structure]
        assert isinstance(structure, Wall | Building)
        warmth = _warmth(yard, face, structure)
        if warmth <= 0.0:
            continue
        outward = (math.sin(math.radians(face.azimuth_deg)), math.cos(math.radians(face.azimuth_deg)))
        front = structure.thickness_m / 2.0 if isinstance(structure, Wall) else 0.0
        free = _stand_line(face, outward, front).intersection(inside).difference(taken)
        name = say(
            "the {wind} side of {structure}",
            wind=WINDS[round(face.azimuth_deg / 45.0) % 8],
            structure=structure.name,
        )
        for roof in [None, *roofs]:
            part = free.intersection(shape(roof.outline)) if roof is not None else _open_sky(free, roofs)
            run = _longest(part)
            if run is None:
                continue
            middle, length = run
            foot = (middle[0] - STAND_M * outward[0], middle[1] - STAND_M * outward[1])
            found.append(WallPlace(face.id, name, foot, outward, length, warmth, roof))
    return found


def places_for(yard: Yard, tree: Tree, places: list[WallPlace]) -> list[WallPlace]:
    """Give the wall places worth thinking of for a container.

    Parameters
    ----------
    yard : Yard
    tree : Tree
        With its container.
    places : list of WallPlace
        Of the yard.

    Returns
    -------
    list of WallPlace
        The warmest first, nearer ones before farther ones of about the same; at most `PLACES_PER_TREE` in the open and
        one under each roof that it fits under. Where it stands at a wall already, that wall is left out.
    """
    roofed: dict[str, WallPlace] = {}
    open_: list[WallPlace] = []
    fitting = [place for place in places if _has_room(yard, tree, place)]
    for place in sorted(fitting, key=lambda place: -(place.warmth - 0.02 * math.dist(tree.position, place.foot))):
        if place.roof is None:
            open_.append(place)
        elif tree.height_m <= place.roof.height_m - 0.1:
            roofed.setdefault(place.roof.id, place)
    return [*open_[:PLACES_PER_TREE], *roofed.values()]


def _has_room(yard: Yard, tree: Tree, place: WallPlace) -> bool:
    """Tell whether a tree could stand at a place, and does not stand at that wall already."""
    from shapely import LineString, Point

    if max(POT_M, tree.crown_diameter_m) > place.length_m:
        return False
    at = place.stand(tree.crown_diameter_m)
    along = (-place.outward[1], place.outward[0])
    half = place.length_m / 2.0
    ends = [(place.foot[0] + side * half * along[0], place.foot[1] + side * half * along[1]) for side in (-1.0, 1.0)]
    if LineString(ends).distance(Point(tree.position)) - tree.crown_diameter_m / 2.0 < THERE_ALREADY_M:
        return False
    # A wide crown reaches out further than the line along which the stretch was found free.
    # By distances, not by the outline of all crowns together: this is asked for every container and place.
    if any(
        math.dist(at, other.position) <= other.crown_diameter_m / 2.0 for other in yard.trees if other.id != tree.id
    ):
        return False
    return bool(shape(yard.outline).contains(Point(at))) and not Point(at).intersects(built_over(yard))


def _warmth(yard: Yard, face: Face, structure: Wall | Building) -> float:
    """Rank a face by sun or heating and height; 0 if it is neither sunny nor heated, or too low. [m]"""
    noon_deg = 180.0 if yard.location.latitude_deg >= 0.0 else 0.0
    sun = math.cos(math.radians(face.azimuth_deg - noon_deg))
    heated = face.behind == "indoor" and face.indoor_c >= HEATED_C
    if face.height_m < LOWEST_WALL_M or (sun < LEAST_SUN and not heated):
        return 0.0
    stores = 0.5 if structure.material in _LIGHT_MASONRY else 1.0
    return (stores * max(0.0, sun) + (0.5 if heated else 0.0)) * min(face.height_m, 3.0)


def _taken(yard: Yard) -> BaseGeometry:
    """Give the ground on which no pot can be put."""
    from shapely import Point
    from shapely.ops import unary_union

    crowns = [Point(tree.position).buffer(tree.crown_diameter_m / 2.0) for tree in yard.trees]
    return unary_union([built_over(yard), *crowns])


_built_over: dict[str, tuple[Yard, BaseGeometry]] = {}
"""As `_kept`: what `built_over` gave for the yard asked for last."""


def built_over(yard: Yard) -> BaseGeometry:
    """Give the ground on which no pot can be put, crowns apart: structures, shelters, doors."""
    kept = _built_over.get("last")
    if kept is None or kept[0] is not yard:
        kept = _built_over["last"] = (yard, _find_built(yard))
    return kept[1]


def _find_built(yard: Yard) -> BaseGeometry:
    from shapely import Point
    from shapely.ops import unary_union

    shapes: list[BaseGeometry] = [shape(its.outline) for its in yard.shelters]
    for its in yard.structures:
        if isinstance(its, Building | Pond):
            shapes.append(shape(its.outline))
        elif isinstance(its, Wall):
            shapes.append(line_of(its).buffer(its.thickness_m / 2.0, cap_style="flat"))
        elif isinstance(its, Fence):
            shapes.append(line_of(its).buffer(ROOM_M / 2.0))
    shapes += [Point(place.position).buffer(DOOR_M) for place in yard.indoor_places]
    return unary_union(shapes)


def _stand_line(face: Face, outward: XY, front_m: float) -> BaseGeometry:
    """Give the line before a face along which free stretches are looked for."""
    from shapely import LineString

    away = front_m + STAND_M
    return LineString([(x + away * outward[0], y + away * outward[1]) for x, y in (face.start, face.end)])


def _open_sky(free: BaseGeometry, roofs: list[Roof]) -> BaseGeometry:
    """Give what of a line lies under no roof."""
    for roof in roofs:
        free = free.difference(shape(roof.outline))
    return free


def _longest(free: BaseGeometry) -> tuple[XY, float] | None:
    """Give middle and length of the longest straight stretch, None if none is long enough. [m, m], [m]"""
    pieces = [piece for piece in getattr(free, "geoms", [free]) if piece.length >= SHORTEST_RUN_M]
    if not pieces:
        return None
    best = max(pieces, key=lambda piece: float(piece.length))
    middle = best.interpolate(0.5, normalized=True)
    return (float(middle.x), float(middle.y)), float(best.length)
