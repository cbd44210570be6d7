"""What surrounds one place of the yard: the spot of a tree.

Rays are cast from the crown into both hemispheres (`physics.rays`); what they meet gives the shares of sky, roofs,
walls and canopies, the sun that gets through, and the ground seen below. Shelter from wind is judged by `physics.lee`,
cold-air hollows by a smooth edge around their outline. Closed forms of `physics.shape` are the judges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.checked import Range, check_range, checked
from fruitwall.physics.faces import Face
from fruitwall.physics.lee import shelter
from fruitwall.physics.rays import Hits, Scene, cast, scene_of
from fruitwall.yard.model import Hollow, Yard

if TYPE_CHECKING:
    from shapely import Polygon

FloatArray = NDArray[np.float64]

RAYS = 1024
"""Rays into the upper hemisphere; the shares are then good to about 0.003 (see the tests)."""

RAYS_DOWN = 512
"""Rays into the lower hemisphere."""

RAYS_SIDE = 512
"""Rays round about for the share of sky that an upright surface sees."""

LEAST_FACING = 0.005
"""A face that fills less of another's view than this counts as being at air temperature and dark. [0-1]"""

GROUND_POINTS = 4
"""Places of the ground before a face from which the sun is looked for."""

BIN_DEG = 5.0
"""Width of the bins of the sun table. [degrees]"""

SUN_BINS = (72, 18)
"""Bins of the sun table: azimuth from north, elevation from the horizon."""

HOLLOW_EDGE_M = 3.0
"""Half width of the edge over which the cold of a hollow fades. Our assumption. [m]"""

LOWEST_M = 0.1
"""Lowest height of a place; lower ones are lifted to it. [m]"""

GOLDEN_ANGLE = np.pi * (3.0 - np.sqrt(5.0))


@dataclass(frozen=True, eq=False)
class Spot:
    """Surroundings of one place at one height.

    Attributes
    ----------
    id : str
        Whose spot: a tree, or any name the caller gave.
    x_m, y_m, height_m : float
        Place in the yard's frame and representative height of the crown. [m]
    sky, roof, wall, canopy : float
        Shares of the upper hemisphere as a level leaf sees it (cosine-weighted); they sum to one. `roof` is what
        hangs overhead, `wall` walls, buildings and fences, `canopy` crowns and the hills of the horizon.
    wall_ids : tuple of str
        Keys of what makes up `wall` and `wall_below`: ids of `physics.faces.Face`, or ``fence/<id>`` for a fence,
        which stores no heat and is at air temperature.
    wall_shares, wall_below_shares : tuple of float
        Parallel to `wall_ids`; sum to `wall` and `wall_below`.
    wall_below : float
        Share of the lower hemisphere that is wall rather than ground. [0-1]
    ground : str
        Surface of the ordinary ground: "bare", "turf" or "mulch".
    paving_share, pond_share : float
        Shares of the ground seen below that are paving and open water, view-weighted; their sum is at most 1. [0-1]
    paving_material : str or None
        Of the paving seen most.
    sun_share : ndarray, shape (72, 18)
        Beam sun that gets through, 0-1, by azimuth (5° bins from north) and elevation (5° bins from the horizon);
        read it with `sun_visibility`.
    diffuse_share : float
        Share of the sky's diffuse sunlight that arrives on a level surface: open sky, gaps of crowns, glazed roofs.
    roof_transmits_sun : float
        Share of sun let through by the roofs seen (mean over them); 0 where no roof is seen.
    wind_share : float
        Wind at the spot over wind at the same height in the open. [0-1]
    colder_k : float
        How much colder the air is than the yard's on a night of full radiative cooling (hollows). [K]
    stillness : float
        0 open, 1 enclosed on all sides and above: how weak the exchange with the air above is. [0-1]
    side_sky : float
        Share of sky that an upright surface sees, mean over all directions in which it could look; 0.5 on open flat
        ground. [0-1]
    learned_k, learned_clear_k : float
        How much warmer the air is than all the rest says, as thermometers here taught: at all hours, and on top of it
        on a night of full radiative cooling. A survey leaves them at 0. [K]
    """

    id: str
    x_m: float
    y_m: float
    height_m: float
    sky: float
    roof: float
    wall: float
    canopy: float
    wall_ids: tuple[str, ...]
    wall_shares: tuple[float, ...]
    wall_below: float
    wall_below_shares: tuple[float, ...]
    ground: str
    paving_share: float
    pond_share: float
    paving_material: str | None
    sun_share: FloatArray = field(repr=False)
    diffuse_share: float
    roof_transmits_sun: float
    wind_share: float
    colder_k: float
    stillness: float
    side_sky: float = 0.5
    learned_k: float = 0.0
    learned_clear_k: float = 0.0


def sun_visibility(spot: Spot | Face, azimuth_deg: ArrayLike, elevation_deg: ArrayLike) -> FloatArray:
    """Give the share of beam sun that gets through to a spot or face from where the sun stands.

    Parameters
    ----------
    spot : Spot or Face
        A face without a table has nothing before it.
    azimuth_deg, elevation_deg : array_like, broadcast
        Of the sun, 0 to 360 and -90 to 90. [degrees]

    Returns
    -------
    ndarray, broadcast shape
        0 (shade, or the sun below the horizon) to 1, between the bins of the table by straight lines. [-]

    Raises
    ------
    ValueError
        If a direction is outside its range. NaN gives NaN.
    """
    return _look_up(spot.sun_share, azimuth_deg, elevation_deg)


def ground_sun_visibility(face: Face, azimuth_deg: ArrayLike, elevation_deg: ArrayLike) -> FloatArray:
    """Give the share of beam sun that reaches the ground before a face.

    Parameters
    ----------
    face : Face
        Without a table its ground lies in the sun whenever there is any.
    azimuth_deg, elevation_deg : array_like, broadcast
        Of the sun, 0 to 360 and -90 to 90. [degrees]

    Returns
    -------
    ndarray, broadcast shape
        0 to 1, weighed as the middle of the face sees the ground. [-]
    """
    return _look_up(face.ground_sun_share, azimuth_deg, elevation_deg)


@checked()
def _look_up(table: NDArray[np.float64] | None, azimuth_deg: ArrayLike, elevation_deg: ArrayLike) -> FloatArray:
    """Interpolate in a sun table."""
    azimuth, elevation = np.broadcast_arrays(
        np.asarray(azimuth_deg, dtype=np.float64), np.asarray(elevation_deg, dtype=np.float64)
    )
    unknown = np.isnan(azimuth) | np.isnan(elevation)
    up = elevation > 0.0
    if table is None:
        return np.where(unknown, np.nan, np.where(up, 1.0, 0.0))
    column = np.where(unknown, 0.0, azimuth) / BIN_DEG - 0.5
    row = np.clip(np.where(unknown, 0.0, elevation) / BIN_DEG - 0.5, 0.0, SUN_BINS[1] - 1.0)
    left, below = np.floor(column).astype(int), np.minimum(np.floor(row).astype(int), SUN_BINS[1] - 2)
    right_share, upper_share = column - left, row - below
    left, right = left % SUN_BINS[0], (left + 1) % SUN_BINS[0]
    low = table[left, below] * (1.0 - right_share) + table[right, below] * right_share
    high = table[left, below + 1] * (1.0 - right_share) + table[right, below + 1] * right_share
    share = np.where(up, low * (1.0 - upper_share) + high * upper_share, 0.0)
    return np.where(unknown, np.nan, share)


def tree_places(yard: Yard) -> list[tuple[str, float, float, float]]:
    """Give identifier, east, north and height of the middle of the crown of every tree of a yard. [m]"""
    return [
        (tree.id, *tree.position, max(0.5 * (tree.height_m + min(tree.crown_base_m, tree.height_m)), LOWEST_M))
        for tree in yard.trees
    ]


def survey(
    yard: Yard,
    places: Sequence[tuple[str, float, float, float]],
    *,
    winter: bool = True,
    rays: int = RAYS,
) -> list[Spot]:
    """Look round from places of the yard.

    Parameters
    ----------
    yard : Yard
    places : sequence of (id, x, y, height)
        Where to look from: east, north and height above ground, greater than 0. If the id is that of a tree, its own
        crown is not in its way. [m]
    winter : bool
        Whether what sheds its leaves is bare.
    rays : int
        Into the upper hemisphere, 16 to 1,000,000. The same rays for every place: the result is repeatable, and one
        more structure can only take sky away.

    Returns
    -------
    list of Spot
        In the order of the places.

    Raises
    ------
    ValueError
        If a place or `rays` is outside its range.

    Notes
    -----
    The ground is taken as level; of a retaining wall only the open face is there, and only for those who stand before
    it. Surfaces behind crowns and fences count by what gets through. Hills above the skyline are part of `canopy`:
    like leaves, they are at about air temperature.
    """
    check_range("rays", rays, Range(16, 1_000_000))
    scene = scene_of(yard, winter=winter)
    return [_spot(yard, scene, *place, rays=rays) for place in places]


def survey_faces(yard: Yard, *, winter: bool = True) -> list[Face]:
    """Give the wall faces of a yard with the sky and the sun that what stands before them leaves.

    Parameters
    ----------
    yard : Yard
    winter : bool
        Whether what sheds its leaves is bare.

    Returns
    -------
    list of Face
        Those of `physics.faces.wall_faces`, with sky, sun and the light on the ground as seen from the middle of each.

    Notes
    -----
    A tilted face looks out from the middle of its slope, but stands upright over its foot in the way of others.
    """
    scene = scene_of(yard, winter=winter)
    seen = {face.id: _seen_from(scene, face) for face in scene.faces}
    return [
        face if face.back is None else replace(face, back=replace(seen[face.back.id], back=None))
        for face in seen.values()
    ]


def _seen_from(scene: Scene, face: Face) -> Face:
    """Look out from the middle of a face."""
    bearing, tilt = np.radians(face.azimuth_deg), np.radians(face.tilt_deg)
    ahead, up = np.array([np.sin(bearing), np.cos(bearing), 0.0]), np.array([0.0, 0.0, 1.0])
    outward = np.sin(tilt) * ahead + np.cos(tilt) * up
    half = 0.5 * face.height_m
    foot = np.array([0.5 * (face.start[0] + face.end[0]), 0.5 * (face.start[1] + face.end[1]), 0.0])
    # A centimetre off, so that the face itself is not in the way.
    origin = foot + half * up - half / np.tan(tilt) * ahead + 0.01 * outward
    sideways = np.array([-ahead[1], ahead[0], 0.0])
    directions = upper_rays(RAYS) @ np.stack([sideways, np.cross(outward, sideways), outward])
    hits = cast(scene, origin, directions, leave_out=face.piece)
    rising = directions[:, 2] > 0.0
    open_sky = (hits.face < 0) & ~hits.roof & ~hits.hill & rising
    ground_sun, ground_diffuse = _light_on_ground(scene, origin, directions[~rising & (hits.face < 0)])
    met = hits.face >= 0
    others = np.bincount(hits.face[met], weights=hits.rest[met], minlength=len(scene.faces)) / len(directions)
    facing = [(other.id, float(share)) for other, share in zip(scene.faces, others, strict=True)]
    return replace(
        face,
        sky=float((hits.rest * open_sky).mean()),
        sun_share=_sun_table(scene, origin, face.piece),
        diffuse=float(hits.sun.mean()),
        ground=float(1.0 - rising.mean() - (hits.rest * (met & ~rising)).mean()),
        ground_sun_share=ground_sun,
        ground_diffuse=ground_diffuse,
        facing=tuple((key, share) for key, share in facing if share > LEAST_FACING),
    )


def _light_on_ground(scene: Scene, origin: FloatArray, down: FloatArray) -> tuple[FloatArray | None, float]:
    """Sun table and share of diffuse sun of the ground that rays meet, from a few of them and in bins twice as wide."""
    if len(down) == 0:
        return None, 1.0
    chosen = down[((np.arange(GROUND_POINTS) + 0.5) / GROUND_POINTS * len(down)).astype(int)]
    points = origin + chosen * (origin[2] / -chosen[:, 2:])
    coarse = _sun_rays(2)
    cells, lifted = (SUN_BINS[0] // 2, SUN_BINS[1] // 2), np.array([0.0, 0.0, 0.01])
    lit = np.mean([cast(scene, point + lifted, coarse).sun for point in points], axis=0)
    # A bin holds as much sky as a level surface sees of it: cos(elevation) of solid angle, sin(elevation) of slant.
    weight = coarse[:, 2] * np.hypot(coarse[:, 0], coarse[:, 1])
    table = lit.reshape(cells).repeat(2, axis=0).repeat(2, axis=1)
    return table, float(lit @ weight / weight.sum())


def upper_rays(count: int) -> FloatArray:
    """Give directions into the upper hemisphere, as many per solid angle as the cosine from the zenith says.

    Parameters
    ----------
    count : int

    Returns
    -------
    ndarray, shape (count, 3)
        Unit vectors on a spiral of equal steps (east, north, up); the mean over them is a level surface's view.
    """
    step = np.arange(count)
    radius = np.sqrt((step + 0.5) / count)
    angle = GOLDEN_ANGLE * step
    return np.stack([radius * np.sin(angle), radius * np.cos(angle), np.sqrt(1.0 - radius**2)], axis=1)


def side_rays(count: int) -> FloatArray:
    """Give directions into the upper hemisphere as upright surfaces that look all ways see it.

    Parameters
    ----------
    count : int

    Returns
    -------
    ndarray, shape (count, 3)
        Unit vectors on a spiral; per solid angle as many as cos(elevation), which is the mean of the cosine over all
        directions of looking, says. Half of what such a surface sees is below the horizon.
    """
    step = np.arange(count)
    # Solid angle cos(e) de times cos(e): between the horizon and e lies the share (2e + sin 2e)/π.
    fine = np.linspace(0.0, 0.5 * np.pi, 2001)
    elevation = np.interp((step + 0.5) / count, (2.0 * fine + np.sin(2.0 * fine)) / np.pi, fine)
    angle = GOLDEN_ANGLE * step
    level = np.cos(elevation)
    return np.stack([level * np.sin(angle), level * np.cos(angle), np.sin(elevation)], axis=1)


def _sun_rays(coarser: int = 1) -> FloatArray:
    """Directions of the middles of the sun table's bins, azimuth outermost; of bins so many times as wide."""
    columns, rows, width = SUN_BINS[0] // coarser, SUN_BINS[1] // coarser, np.radians(BIN_DEG * coarser)
    azimuth = ((np.arange(columns) + 0.5) * width)[:, None]
    elevation = ((np.arange(rows) + 0.5) * width)[None, :]
    east, north = np.sin(azimuth) * np.cos(elevation), np.cos(azimuth) * np.cos(elevation)
    return np.stack([east, north, np.broadcast_to(np.sin(elevation), (columns, rows))], axis=-1).reshape(-1, 3)


def _sun_table(scene: Scene, origin: FloatArray, leave_out: str | None) -> FloatArray:
    """Beam sun let through from every bin."""
    return cast(scene, origin, _sun_rays(), leave_out=leave_out).sun.reshape(SUN_BINS)


def _spot(yard: Yard, scene: Scene, name: str, x: float, y: float, height: float, *, rays: int) -> Spot:
    """Look round from one place."""
    check_range("height_m", height, Range(0.0, 100.0, "m", low_open=True))
    check_range("x_m", x, Range(-1e5, 1e5, "m"))
    check_range("y_m", y, Range(-1e5, 1e5, "m"))
    origin = np.array([x, y, max(height, LOWEST_M)])
    above = cast(scene, origin, upper_rays(rays), leave_out=name)
    down = upper_rays(RAYS_DOWN) * np.array([1.0, 1.0, -1.0])
    below = cast(scene, origin, down, leave_out=name)

    aside = cast(scene, origin, side_rays(RAYS_SIDE), leave_out=name)

    blocked = (above.face >= 0) | above.roof | above.hill
    roof = float((above.rest * above.roof + above.film).mean())
    canopy = float((above.rest * above.hill + above.crown).mean())
    sky = float((above.rest * ~blocked).mean())
    side_sky = 0.5 * float((aside.rest * ~((aside.face >= 0) | aside.roof | aside.hill)).mean())
    keys, up_shares, down_shares = _structures(scene, above, below)
    seen_roof = ~np.isnan(above.roof_sun)
    wind, stillness = shelter(scene, origin, roof, leave_out=name)
    ground = _ground(scene, origin, down, below)
    return Spot(
        name,
        x,
        y,
        float(origin[2]),
        sky,
        roof,
        float(sum(up_shares)),
        canopy,
        keys,
        up_shares,
        float(sum(down_shares)),
        down_shares,
        yard.ground.surface,
        ground.paving,
        ground.pond,
        ground.material,
        _sun_table(scene, origin, name),
        float(above.sun.mean()),
        float(above.roof_sun[seen_roof].mean()) if seen_roof.any() else 0.0,
        wind,
        _colder(yard, x, y),
        stillness,
        side_sky,
    )


def _structures(scene: Scene, above: Hits, below: Hits) -> tuple[tuple[str, ...], tuple[float, ...], tuple[float, ...]]:
    """Keys of the faces and fences seen, with their shares of the upper and of the lower hemisphere."""
    keys = [face.id for face in scene.faces] + [f"fence/{name}" for name in scene.fence_ids]
    totals: dict[str, list[float]] = {}
    for side, hits in enumerate((above, below)):
        met = hits.face >= 0
        walls = np.bincount(hits.face[met], weights=hits.rest[met], minlength=len(scene.faces)) / len(hits.face)
        for key, share in zip(keys, [*walls, *hits.fence.mean(axis=0)], strict=True):
            if share > 0.0:
                totals.setdefault(key, [0.0, 0.0])[side] += float(share)
    seen = tuple(key for key in dict.fromkeys(keys) if key in totals)
    return seen, tuple(totals[key][0] for key in seen), tuple(totals[key][1] for key in seen)


class _Ground(NamedTuple):
    """Shares of the ground seen below."""

    paving: float
    pond: float
    material: str | None


def _ground(scene: Scene, origin: FloatArray, down: FloatArray, hits: Hits) -> _Ground:
    """Say what lies where the rays that go down meet the ground; water over paving, earlier paving over later."""
    from shapely import contains_xy

    weight = np.where(hits.face < 0, hits.rest, 0.0)
    total = float(weight.sum())
    if total <= 0.0:
        return _Ground(0.0, 0.0, None)
    place = origin[:2] + down[:, :2] * (origin[2] / -down[:, 2])[:, None]
    free = np.ones(len(down), dtype=bool)

    def take(area: Polygon) -> float:
        nonlocal free
        inside = free & contains_xy(area, place[:, 0], place[:, 1])
        free = free & ~inside
        return float(weight[inside].sum()) / total

    pond = sum(take(area) for area, _ in scene.ponds)
    materials: dict[str, float] = {}
    for area, material in scene.paving:
        materials[material] = materials.get(material, 0.0) + take(area)
    paving = float(sum(materials.values()))
    return _Ground(paving, float(pond), max(materials, key=lambda key: materials[key]) if paving > 0.0 else None)


def _colder(yard: Yard, x: float, y: float) -> float:
    """Coldness of hollows at a place: full inside, fading over their edge; of several the deepest. [K]"""
    from shapely import Point, Polygon

    depths = [0.0]
    for hollow in yard.structures:
        if isinstance(hollow, Hollow):
            area, place = Polygon(hollow.outline), Point(x, y)
            from_edge = area.exterior.distance(place) * (1.0 if area.contains(place) else -1.0)
            share = np.clip(0.5 * (from_edge / HOLLOW_EDGE_M + 1.0), 0.0, 1.0)
            depths.append(hollow.colder_k * float(share * share * (3.0 - 2.0 * share)))
    return max(depths)
