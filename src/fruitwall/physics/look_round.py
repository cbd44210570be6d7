"""Look round from very many places of a yard: what `physics.spot.survey` gives, a hundred times as fast.

The same rays, formulas and order as there, compiled (`physics.look_kernel`); the figures differ by rounding only, which
a test holds to 1e-9. For a few places `survey` is quicker, because nothing must be loaded or compiled for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics import lee
from fruitwall.physics.checked import Range, check_range
from fruitwall.physics.rays import DARKEST, MEAN_CHORD, Scene, _skyline, scene_of
from fruitwall.physics.spot import (
    HOLLOW_EDGE_M,
    LOWEST_M,
    RAYS,
    RAYS_DOWN,
    RAYS_SIDE,
    SUN_BINS,
    Spot,
    _sun_rays,
    side_rays,
    upper_rays,
)
from fruitwall.yard.model import Hollow, Yard

if TYPE_CHECKING:
    from shapely import Polygon

FloatArray = NDArray[np.float64]

PLACES = 64
"""Places that a thread looks round from at a time."""


def survey_many(
    yard: Yard, places: Sequence[tuple[str, float, float, float]], *, winter: bool = True, threads: int = 2
) -> list[Spot]:
    """Look round from many places of the yard.

    Parameters
    ----------
    yard : Yard
    places : sequence of (id, x, y, height)
        East, north and height above ground, greater than 0. An id that is a tree's does *not* take that tree's crown
        away, as it does in `spot.survey`: give a yard without it. [m]
    winter : bool
        Whether what sheds its leaves is bare.
    threads : int
        Threads to use, at least 1; the result does not depend on it.

    Returns
    -------
    list of Spot
        In the order of the places.

    Raises
    ------
    ValueError
        If a place or `threads` is outside its range.
    """
    if threads < 1:
        raise ValueError(f"threads must be at least 1, got {threads!r}")
    for _, x, y, height in places:
        check_range("height_m", height, Range(0.0, 100.0, "m", low_open=True))
        check_range("x_m", x, Range(-1e5, 1e5, "m"))
        check_range("y_m", y, Range(-1e5, 1e5, "m"))
    if not places:
        return []
    origins = np.array([(x, y, max(height, LOWEST_M)) for _, x, y, height in places])
    look = _Look(scene_of(yard, winter=winter))
    parts = [slice(first, first + PLACES) for first in range(0, len(places), PLACES)]
    if threads == 1 or len(parts) == 1:
        seen = [look.round_from(origins[part]) for part in parts]
    else:
        look.round_from(origins[:1])  # compiles, before threads would do so side by side
        with ThreadPoolExecutor(threads) as pool:
            seen = list(pool.map(lambda part: look.round_from(origins[part]), parts))
    colder = _colder(yard, origins[:, :2])
    spots: list[Spot] = []
    for of_part in seen:
        for row in range(len(of_part["sky"])):
            number = len(spots)
            spots.append(look.spot(yard, places[number][0], origins[number], of_part, row, float(colder[number])))
    return spots


class _Look:
    """A scene laid out for the kernel, and its rays."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        depth = -np.log(np.maximum(scene.crown_gap, DARKEST))
        roofs = [area for area, _, _ in scene.roofs]
        skins = [skin for _, _, skin in scene.roofs]
        grounds = [area for area, _ in [*scene.ponds, *scene.paving]]
        corners, first = _corners(roofs)
        area_corners, area_first = _corners(grounds)
        self.arrays: tuple[Any, ...] = (
            scene.face_start, scene.face_way, scene.face_height, scene.fence_start, scene.fence_way, scene.fence_height,
            -np.log(np.maximum(scene.fence_gap, DARKEST)), corners, first,
            np.array([height for _, height, _ in scene.roofs], dtype=np.float64),
            np.array([skin.sun for skin in skins], dtype=np.float64),
            np.array([-np.log(s.longwave) if s.longwave > 0.0 else -1.0 for s in skins], dtype=np.float64),
            scene.crown_centre, 1.0 / scene.crown_axes,
            np.where(scene.crown_gap <= DARKEST, -1.0, depth / MEAN_CHORD), area_corners, area_first, len(scene.ponds),
        )  # fmt: skip
        down = upper_rays(RAYS_DOWN) * np.array([1.0, 1.0, -1.0])
        self.sets = [np.ascontiguousarray(each) for each in (upper_rays(RAYS), down, side_rays(RAYS_SIDE), _sun_rays())]
        self.hills = [np.degrees(np.arcsin(np.clip(d[:, 2], -1.0, 1.0))) < _skyline(scene, d) for d in self.sets]
        self.keys = [face.id for face in scene.faces] + [f"fence/{name}" for name in scene.fence_ids]
        self.barriers = self._barriers()

    def _barriers(self) -> tuple[Any, ...]:
        """What stands in the way of the wind, as `lee._barriers` has it."""
        scene = self.scene
        way = np.concatenate([scene.face_way, scene.fence_way])
        height = np.concatenate([scene.face_height, scene.fence_height])
        p = np.concatenate([np.zeros(len(scene.face_height)), scene.fence_gap])
        curve = np.stack(
            [0.008 - 0.17 * p + 0.17 * p**1.05, 1.35 * np.exp(-0.5 * p**0.2), 10.0 * (1.0 - 0.5 * p), 3.0 - p, p],
            axis=1,
        )
        centre, axes = scene.crown_centre, scene.crown_axes
        bearing = np.arange(lee.DIRECTIONS) * (2.0 * np.pi / lee.DIRECTIONS)
        return (
            np.stack([np.sin(bearing), np.cos(bearing)], axis=1),
            np.concatenate([scene.face_start, scene.fence_start]), way, height,
            np.minimum(height, np.hypot(way[:, 0], way[:, 1])),
            np.arange(len(height)) < len(scene.face_height), curve, np.ascontiguousarray(centre[:, :2]),
            np.ascontiguousarray(axes[:, 0]), -np.log(np.maximum(scene.crown_gap, 1e-3)) / MEAN_CHORD,
            centre[:, 2] - axes[:, 2], centre[:, 2] + axes[:, 2], lee.LEAST_WIND, lee.NEAR_HEIGHTS,
        )  # fmt: skip

    def round_from(self, origins: FloatArray) -> dict[str, FloatArray]:
        """Look round from some places."""
        from fruitwall.physics import look_kernel as kernel

        count, n_faces, n_fences = len(origins), len(self.scene.faces), len(self.scene.fence_ids)
        out = np.zeros((count, kernel.OUT_SIZE))
        walls, fences = np.zeros((2, count, n_faces)), np.zeros((2, count, n_fences))
        areas = np.zeros((count, len(self.scene.paving)))
        table = np.zeros((count, len(self.sets[kernel.SUN])))
        for use, (rays, hill) in enumerate(zip(self.sets, self.hills, strict=True)):
            side = min(use, 1)
            kernel.look(
                origins, rays, hill, use, -np.log(DARKEST) * 0.999, *self.arrays, out, walls[side], fences[side], areas,
                table,
            )  # fmt: skip
        wind, closed = np.ones(count), np.zeros(count)
        kernel.shelters(origins, *self.barriers, wind, closed)
        ground = np.maximum(out[:, kernel.O_GROUND], 1e-300)
        roof = out[:, kernel.O_ROOF] / RAYS
        return {
            "sky": out[:, kernel.O_SKY] / RAYS,
            "roof": roof,
            "canopy": out[:, kernel.O_CANOPY] / RAYS,
            "up": np.concatenate([walls[0], fences[0]], axis=1) / RAYS,
            "down": np.concatenate([walls[1], fences[1]], axis=1) / RAYS_DOWN,
            "pond": out[:, kernel.O_POND] / ground,
            "areas": areas / ground[:, None],
            "table": table,
            "light": out[:, kernel.O_LIGHT] / RAYS,
            "roof_sun": out[:, kernel.O_ROOF_SUN] / np.maximum(out[:, kernel.O_ROOFED], 1.0),
            "wind": wind,
            "still": 1.0 - (1.0 - closed) * (1.0 - lee.ROOF_STILLNESS * roof),
            "side": 0.5 * out[:, kernel.O_SIDE] / RAYS_SIDE,
        }

    def spot(
        self, yard: Yard, name: str, origin: FloatArray, seen: dict[str, FloatArray], row: int, colder: float
    ) -> Spot:
        """Put what one place sees together as `spot._spot` does."""
        totals: dict[str, list[float]] = {}
        for side, shares in enumerate((seen["up"][row], seen["down"][row])):
            for at in np.flatnonzero(shares > 0.0):
                totals.setdefault(self.keys[at], [0.0, 0.0])[side] += float(shares[at])
        keys = tuple(key for key in dict.fromkeys(self.keys) if key in totals)
        up, down = (tuple(totals[key][side] for key in keys) for side in (0, 1))
        materials: dict[str, float] = {}
        for (_, material), share in zip(self.scene.paving, seen["areas"][row], strict=True):
            materials[material] = materials.get(material, 0.0) + float(share)
        paving = float(sum(materials.values()))
        return Spot(
            id=name,
            x_m=float(origin[0]),
            y_m=float(origin[1]),
            height_m=float(origin[2]),
            sky=float(seen["sky"][row]),
            roof=float(seen["roof"][row]),
            wall=float(sum(up)),
            canopy=float(seen["canopy"][row]),
            wall_ids=keys,
            wall_shares=up,
            wall_below=float(sum(down)),
            wall_below_shares=down,
            ground=yard.ground.surface,
            paving_share=paving,
            pond_share=float(seen["pond"][row]),
            paving_material=max(materials, key=lambda key: materials[key]) if paving > 0.0 else None,
            sun_share=seen["table"][row].reshape(SUN_BINS),
            diffuse_share=float(seen["light"][row]),
            roof_transmits_sun=float(seen["roof_sun"][row]),
            wind_share=float(seen["wind"][row]),
            colder_k=colder,
            stillness=float(seen["still"][row]),
            side_sky=float(seen["side"][row]),
        )


def _corners(areas: Sequence[Polygon]) -> tuple[FloatArray, NDArray[np.int64]]:
    """Corners of all outlines in one row, and where each begins."""
    rings = [np.array(area.exterior.coords)[:-1] for area in areas]
    first = np.concatenate([[0], np.cumsum([len(ring) for ring in rings])]).astype(np.int64)
    return np.concatenate([np.zeros((0, 2)), *rings]), first


def _colder(yard: Yard, places: FloatArray) -> FloatArray:
    """Coldness of hollows at many places, as `spot._colder` has it for one. [K]"""
    from shapely import Polygon, contains, distance, points

    depth, at = np.zeros(len(places)), points(places)
    for hollow in yard.structures:
        if isinstance(hollow, Hollow):
            area = Polygon(hollow.outline)
            from_edge = distance(area.exterior, at) * np.where(contains(area, at), 1.0, -1.0)
            share = np.clip(0.5 * (from_edge / HOLLOW_EDGE_M + 1.0), 0.0, 1.0)
            depth = np.maximum(depth, hollow.colder_k * share * share * (3.0 - 2.0 * share))
    return depth
