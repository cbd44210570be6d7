"""What a ray meets on its way from a place in the yard: the geometry under `physics.spot`.

The yard is turned once into arrays (`scene_of`); a fan of rays is then cast from a place (`cast`). Walls, buildings
and tight roofs stop a ray. Crowns, fences and thin films take a share of it, whatever order they stand in.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.faces import Face, wall_faces
from fruitwall.yard.model import Canopy, Fence, Paving, Pond, Roof, Tree, Yard

if TYPE_CHECKING:
    from shapely import Polygon

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

LEAFLESS_GAP = 0.50
"""Share of sky seen through a leafless crown: mean of ten broad-leaved kinds, 0.44-0.54.

Wilkinson 1992 (thesis, Manchester Metropolitan University), as tabulated by Tregenza & Sharples, Daylight Algorithms,
algorithm 1.44. Open-branched kinds are higher: at the drip line of five street trees 0.57-0.85 (Gardner & Sydnor, J.
Amer. Soc. Hort. Sci., abstract read).
"""

LEAFY_GAP = 0.20
"""The same in leaf: 0.11-0.24 in that table, 0.27 for Scots pine."""

MEAN_CHORD = 4.0 / 3.0
"""Mean way through a sphere of radius one over all parallel rays that meet it; a gap fraction belongs to it."""

DARKEST = 1e-12
"""A share this small counts as nothing when the parts of a total are told apart by logarithms."""


class RoofSkin(NamedTuple):
    """Shares let through by a roof: of sun and of longwave."""

    sun: float
    longwave: float


ROOF_SKINS: dict[str, RoofSkin] = {
    "glass": RoofSkin(0.85, 0.0),
    "polycarbonate": RoofSkin(0.75, 0.0),
    "polyethylene": RoofSkin(0.85, 0.6),
    "tile": RoofSkin(0.0, 0.0),
    "metal": RoofSkin(0.0, 0.0),
    "timber": RoofSkin(0.0, 0.0),
    "shade_cloth": RoofSkin(0.5, 0.5),
}
"""Roof materials: horticultural glazing, slightly dirty; dry polyethylene passes most longwave (0.7-0.8 new and dry,
less when wet or dusty); half-open shade cloth. From memory of greenhouse handbooks, ±0.1."""


@dataclass(frozen=True, eq=False)
class Scene:
    """A yard as arrays for casting rays.

    Attributes
    ----------
    faces : list of Face
        Walls and buildings, seen from the side on which they look out.
    face_start, face_way, face_height : ndarray, shapes (face, 2), (face, 2), (face,)
        Foot from left to right as seen from outside, and top. [m]
    fence_ids : list of str
        Fence of every fence piece.
    fence_start, fence_way, fence_height, fence_gap : ndarray, shapes (piece, 2), (piece, 2), (piece,), (piece,)
        Pieces of fences [m] and their porosity [0-1].
    roofs : list of (Polygon, height, RoofSkin)
        Underside above the ground. [m]
    crown_ids : list of str
        Tree or canopy of every crown.
    crown_centre, crown_axes, crown_gap : ndarray, shapes (crown, 3), (crown, 3), (crown,)
        Ellipsoids [m] and their gap fraction [0-1].
    horizon_azimuth, horizon_height : ndarray, shape (direction,)
        Skyline in ascending order; empty if flat. [degrees]
    paving, ponds : list of (Polygon, material)
    """

    faces: list[Face]
    face_start: FloatArray
    face_way: FloatArray
    face_height: FloatArray
    fence_ids: list[str]
    fence_start: FloatArray
    fence_way: FloatArray
    fence_height: FloatArray
    fence_gap: FloatArray
    roofs: list[tuple[Polygon, float, RoofSkin]]
    crown_ids: list[str]
    crown_centre: FloatArray
    crown_axes: FloatArray
    crown_gap: FloatArray
    horizon_azimuth: FloatArray
    horizon_height: FloatArray
    paving: list[tuple[Polygon, str]]
    ponds: list[tuple[Polygon, str]]


def scene_of(yard: Yard, *, winter: bool = True) -> Scene:
    """Turn a yard into arrays.

    Parameters
    ----------
    yard : Yard
    winter : bool
        Whether canopies that are leafless in winter, and trees whose only stage is "dormant", are bare.

    Returns
    -------
    Scene
    """
    from shapely import Polygon, prepare

    def polygon(outline: list[tuple[float, float]]) -> Polygon:
        area = Polygon(outline)
        prepare(area)
        return area

    faces = wall_faces(yard)
    start = _points([face.start for face in faces])
    fences = [
        (fence, a, b)
        for fence in yard.structures
        if isinstance(fence, Fence)
        for a, b in pairwise(fence.line)
        if a != b
    ]
    fence_start = _points([a for _, a, _ in fences])
    crowns = [
        _crown(thing, winter=winter) for thing in [*yard.structures, *yard.trees] if isinstance(thing, Canopy | Tree)
    ]
    crowns = [crown for crown in crowns if crown[2][2] > 0.0]
    skyline = sorted((point.azimuth_deg, point.height_deg) for point in yard.horizon)
    return Scene(
        faces,
        start,
        _points([face.end for face in faces]) - start,
        np.array([face.height_m for face in faces]),
        [fence.id for fence, _, _ in fences],
        fence_start,
        _points([b for _, _, b in fences]) - fence_start,
        np.array([fence.height_m for fence, _, _ in fences]),
        np.array([fence.porosity for fence, _, _ in fences]),
        [(polygon(s.outline), s.height_m, ROOF_SKINS[s.material]) for s in yard.structures if isinstance(s, Roof)],
        [name for name, _, _, _ in crowns],
        np.array([centre for _, centre, _, _ in crowns]).reshape(-1, 3),
        np.array([axes for _, _, axes, _ in crowns]).reshape(-1, 3),
        np.array([gap for _, _, _, gap in crowns]),
        np.array([azimuth for azimuth, _ in skyline]),
        np.array([height for _, height in skyline]),
        [(polygon(s.outline), s.material) for s in yard.structures if isinstance(s, Paving)],
        [(polygon(s.outline), "water") for s in yard.structures if isinstance(s, Pond)],
    )


def _points(points: list[tuple[float, float]]) -> FloatArray:
    """Array of points, also of none."""
    return np.array(points, dtype=np.float64).reshape(-1, 2)


Crown = tuple[str, tuple[float, float, float], tuple[float, float, float], float]


def _crown(thing: Canopy | Tree, *, winter: bool) -> Crown:
    """Name, centre, half axes and gap fraction of a crown; half axes of a crown without depth are zero."""
    if isinstance(thing, Canopy):
        base, gap = thing.base_m, thing.gap_fraction
        bare = winter and thing.habit == "leafless_in_winter"
    else:
        base, gap = thing.crown_base_m, LEAFY_GAP
        bare = winter and set(thing.stages) == {"dormant"}
    if bare:
        gap = max(gap, LEAFLESS_GAP)
    half = max(0.5 * (thing.height_m - base), 0.0)
    radius = 0.5 * thing.crown_diameter_m
    return thing.id, (*thing.position, base + half), (radius, radius, half), gap


class Hits(NamedTuple):
    """What a fan of rays met.

    face : index of the face that stops the ray, -1 if none; roof : whether a tight roof stops it; hill : whether it
    ends in a hill of the horizon; crown, film, fence : shares taken by crowns, thin roofs and every fence piece
    before that [0-1], fence of shape (ray, piece); rest : share that reaches what stops the ray, or the sky [0-1];
    sun : share of sunlight that comes in along the ray [0-1]; roof_sun : share let through by the roofs met, NaN if
    none.
    """

    face: IntArray
    roof: BoolArray
    hill: BoolArray
    crown: FloatArray
    film: FloatArray
    fence: FloatArray
    rest: FloatArray
    sun: FloatArray
    roof_sun: FloatArray


def cast(scene: Scene, origin: FloatArray, directions: FloatArray, *, leave_out: str | None = None) -> Hits:
    """Cast rays from a place.

    Parameters
    ----------
    scene : Scene
    origin : ndarray, shape (3,)
        East, north, up. [m]
    directions : ndarray, shape (ray, 3)
        Unit vectors.
    leave_out : str, optional
        Who looks and is not in its own way: a tree, or the piece of a wall (`Face.piece`).

    Returns
    -------
    Hits
        One entry per ray. Rays that go down end at the ground, height 0.
    """
    count = len(directions)
    up = directions[:, 2]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        ground = np.where(up < 0.0, origin[2] / -up, np.inf)
    to_face = _to_pieces(scene.face_start, scene.face_way, scene.face_height, origin, directions, one_sided=True)
    to_face[to_face > ground[:, None]] = np.inf
    to_face[:, [face.piece == leave_out for face in scene.faces]] = np.inf
    nearest = np.min(to_face, axis=1, initial=np.inf)
    face = np.where(np.isinf(nearest), -1, np.argmin(to_face, axis=1) if to_face.size else -1)

    to_roof, film_depth, roof_sun = _roofs(scene, origin, directions)
    under_roof = to_roof < nearest
    face = np.where(under_roof, -1, face)
    end = np.minimum(np.minimum(nearest, to_roof), ground)
    open_sky = np.isinf(end)
    hill = open_sky & (np.degrees(np.arcsin(np.clip(up, -1.0, 1.0))) < _skyline(scene, directions))

    near_crown, crown_depth = _crowns(scene, origin, directions, leave_out)
    crown = np.where(near_crown < end[:, None], crown_depth, 0.0).sum(axis=1)
    to_fence = _to_pieces(scene.fence_start, scene.fence_way, scene.fence_height, origin, directions, one_sided=False)
    fence_depth = -np.log(np.maximum(scene.fence_gap, DARKEST))
    fence = np.where(to_fence < end[:, None], fence_depth, 0.0)
    film = np.where(film_depth[:, :, 0] < end[:, None], film_depth[:, :, 1], 0.0).sum(axis=1)

    depth = crown + film + fence.sum(axis=1)
    rest = np.where(depth > -np.log(DARKEST) * 0.999, 0.0, np.exp(-depth))
    taken = np.divide(1.0 - rest, depth, out=np.zeros(count), where=depth > 0.0)
    roof_through = np.where(np.isnan(roof_sun), 1.0, roof_sun)
    blocked = np.isfinite(nearest) | hill | (up <= 0.0)
    sun = np.where(blocked, 0.0, np.exp(-(crown_depth.sum(axis=1) + _all_fences(to_fence, fence_depth))) * roof_through)
    return Hits(face, under_roof, hill, crown * taken, film * taken, fence * taken[:, None], rest, sun, roof_sun)


def _all_fences(to_fence: FloatArray, depth: FloatArray) -> FloatArray:
    """Optical depth of every fence in the way of the sun, whatever else stands there."""
    return np.asarray(np.where(np.isfinite(to_fence), depth, 0.0).sum(axis=1))


def _to_pieces(
    start: FloatArray,
    way: FloatArray,
    height: FloatArray,
    origin: FloatArray,
    directions: FloatArray,
    *,
    one_sided: bool,
) -> FloatArray:
    """Distance to upright pieces, infinite where a ray misses; shape (ray, piece). [m]"""
    offset = start - origin[:2]
    x, y, up = (directions[:, axis, None] for axis in range(3))
    # Plane cross products: distance = (offset x way)/(ray x way), place along it = (offset x ray)/(ray x way).
    across = x * way[:, 1] - y * way[:, 0]
    fixed = offset[:, 0] * way[:, 1] - offset[:, 1] * way[:, 0]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        distance = fixed / across
        along = (offset[:, 0] * y - offset[:, 1] * x) / across
        level = origin[2] + distance * up
        # A face looks to the right of its way: a ray from outside comes against that, which makes `across` negative.
        hit = (distance > 1e-9) & (along >= 0.0) & (along <= 1.0) & (level <= height) & (level >= 0.0)
    if one_sided:
        hit &= across < 0.0
    return np.where(hit, distance, np.inf)


def _roofs(scene: Scene, origin: FloatArray, directions: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Distance to the nearest tight roof; (ray, film roof, distance and depth); share of sun through all roofs."""
    from shapely import contains_xy

    tight = np.full(len(directions), np.inf)
    films: list[FloatArray] = []
    sun = np.full(len(directions), np.nan)
    for area, height, skin in scene.roofs:
        distance = np.full(len(directions), np.inf)
        if height > origin[2]:
            rising = np.flatnonzero(directions[:, 2] > 1e-9)
            reach = (height - origin[2]) / directions[rising, 2]
            place = origin[:2] + reach[:, None] * directions[rising, :2]
            inside = contains_xy(area, place[:, 0], place[:, 1])
            distance[rising[inside]] = reach[inside]
        met = np.isfinite(distance)
        sun = np.where(met, np.where(np.isnan(sun), 1.0, sun) * skin.sun, sun)
        if skin.longwave > 0.0:
            films.append(np.stack([distance, np.where(met, -np.log(skin.longwave), 0.0)], axis=1))
        else:
            tight = np.minimum(tight, distance)
    film = np.stack(films, axis=1) if films else np.zeros((len(directions), 0, 2))
    return tight, film, sun


def _crowns(
    scene: Scene, origin: FloatArray, directions: FloatArray, leave_out: str | None
) -> tuple[FloatArray, FloatArray]:
    """Distance to the near side of every crown [m] and optical depth through it; shape (ray, crown)."""
    there = np.array([name != leave_out for name in scene.crown_ids], dtype=bool)
    offset = (origin - scene.crown_centre) / scene.crown_axes
    scaled = directions[:, None, :] / scene.crown_axes
    a = np.einsum("rck,rck->rc", scaled, scaled)
    b = np.einsum("rck,ck->rc", scaled, offset)
    c = np.einsum("ck,ck->c", offset, offset) - 1.0
    root = b * b - a * c
    width = np.sqrt(np.maximum(root, 0.0))
    near, far = np.maximum((-b - width) / a, 0.0), (-b + width) / a
    chord = np.where((root > 0.0) & (far > 0.0) & there, (far - near) * np.sqrt(a), 0.0)
    depth = -np.log(np.maximum(scene.crown_gap, DARKEST)) * chord / MEAN_CHORD
    depth = np.where((chord > 0.0) & (scene.crown_gap <= DARKEST), -np.log(DARKEST), depth)
    return np.where(chord > 0.0, near, np.inf), depth


def _skyline(scene: Scene, directions: FloatArray) -> FloatArray:
    """Height of the horizon in the direction of every ray. [degrees]"""
    if scene.horizon_azimuth.size == 0:
        return np.full(len(directions), -90.0)
    azimuth = np.degrees(np.arctan2(directions[:, 0], directions[:, 1])) % 360.0
    return np.interp(azimuth, scene.horizon_azimuth, scene.horizon_height, period=360.0)
