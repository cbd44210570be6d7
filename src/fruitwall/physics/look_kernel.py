"""The compiled look round from one place after the other: what `physics.rays` and `physics.lee` say, without arrays.

`look` and `shelters` are compiled on first use and kept on disk; they hold no global lock. All formulas are those of
`rays.cast`, `spot._spot` and `lee.shelter`; a test holds them to each other.
"""

from __future__ import annotations

from math import exp, inf, isfinite, isinf, isnan, nan, sqrt
from typing import Any

import numba
import numpy as np

# Sums over the rays of one place. Upper hemisphere: roof, canopy, sky, light, sum and number of what roofs let through.
(O_ROOF, O_CANOPY, O_SKY, O_SIDE, O_LIGHT, O_ROOF_SUN, O_ROOFED, O_GROUND, O_POND) = range(9)
OUT_SIZE = 9

ABOVE, BELOW, ASIDE, SUN = range(4)

inline: Any = numba.njit(nogil=True, error_model="numpy", inline="always")
kept: Any = numba.njit(nogil=True, cache=True, error_model="numpy")


@inline
def _inside(x: float, y: float, corners: Any, first: int, last: int) -> bool:
    """Whether a point lies in a polygon, by the number of edges that a ray to the east crosses."""
    odd = False
    before = last - 1
    for at in range(first, last):
        y1, y0 = corners[at, 1], corners[before, 1]
        if (y1 > y) != (y0 > y) and x < (corners[before, 0] - corners[at, 0]) * (y - y1) / (y0 - y1) + corners[at, 0]:
            odd = not odd
        before = at
    return odd


@inline
def _to_piece(ox: float, oy: float, oz: float, wx: float, wy: float, height: float, x: float, y: float, up: float,
              one_sided: bool) -> float:  # fmt: skip
    """Distance to an upright piece, infinite where the ray misses; `rays._to_pieces` for one."""
    across = x * wy - y * wx
    if one_sided and across >= 0.0:
        return inf
    distance = (ox * wy - oy * wx) / across
    if not distance > 1e-9:
        return inf
    along = (ox * y - oy * x) / across
    level = oz + distance * up
    if 0.0 <= along <= 1.0 and 0.0 <= level <= height:
        return distance
    return inf


@kept
def look(
    origins: Any, directions: Any, skyline: Any, use: int, opaque: float,
    face_start: Any, face_way: Any, face_height: Any, fence_start: Any, fence_way: Any, fence_height: Any,
    fence_depth: Any, roof_corners: Any, roof_first: Any, roof_height: Any, roof_sun: Any, roof_depth: Any,
    crown_centre: Any, crown_inverse: Any, crown_depth: Any, area_corners: Any, area_first: Any,
    ponds: int, out: Any, walls: Any, fences: Any, areas: Any, table: Any,
) -> None:  # fmt: skip
    """Cast the rays of one set from every place and sum up what they meet.

    `skyline` says which rays end in a hill of the horizon; `opaque` is the optical depth that counts as no way through;
    `crown_inverse` is one over the half axes, `crown_depth` the depth for a way through of one in units of them, below
    zero for a crown without gaps; `roof_depth` is below zero for a tight roof. `areas` are ponds, then pavings; `table`
    gets the sun of every ray.
    """
    n_faces, n_fences, n_roofs = face_height.shape[0], fence_height.shape[0], roof_height.shape[0]
    n_crowns, n_areas = crown_depth.shape[0], area_first.shape[0] - 1
    n_rays = directions.shape[0]
    from_crown = np.empty((n_crowns, 4))
    shut = opaque / 0.999
    for p in range(origins.shape[0]):
        px, py, pz = origins[p, 0], origins[p, 1], origins[p, 2]
        for c in range(n_crowns):
            square = 0.0
            for axis in range(3):
                off = (origins[p, axis] - crown_centre[c, axis]) * crown_inverse[c, axis]
                from_crown[c, axis] = off
                square += off * off
            from_crown[c, 3] = square - 1.0
        for r in range(n_rays):
            x, y, up = directions[r, 0], directions[r, 1], directions[r, 2]
            ground = pz / -up if up < 0.0 else inf
            nearest, face = inf, -1
            for f in range(n_faces):
                to = _to_piece(face_start[f, 0] - px, face_start[f, 1] - py, pz, face_way[f, 0], face_way[f, 1],
                               face_height[f], x, y, up, True)  # fmt: skip
                if to < nearest and to <= ground:
                    nearest, face = to, f
            tight, through = inf, nan
            if up > 1e-9:
                for f in range(n_roofs):
                    if roof_height[f] > pz:
                        reach = (roof_height[f] - pz) / up
                        if _inside(px + reach * x, py + reach * y, roof_corners, roof_first[f], roof_first[f + 1]):
                            through = roof_sun[f] if isnan(through) else through * roof_sun[f]
                            if roof_depth[f] < 0.0:
                                tight = min(tight, reach)
            roofed = tight < nearest
            if roofed:
                face = -1
            end = min(min(nearest, tight), ground)
            hill = isinf(end) and skyline[r]
            film = 0.0
            if up > 1e-9:
                for f in range(n_roofs):
                    if roof_depth[f] >= 0.0 and roof_height[f] > pz:
                        reach = (roof_height[f] - pz) / up
                        if reach < end and _inside(
                            px + reach * x, py + reach * y, roof_corners, roof_first[f], roof_first[f + 1]
                        ):
                            film += roof_depth[f]
            crown, crowns = 0.0, 0.0
            for c in range(n_crowns):
                ix, iy, iz = crown_inverse[c, 0], crown_inverse[c, 1], crown_inverse[c, 2]
                sx, sy, sz = x * ix, y * iy, up * iz
                b = sx * from_crown[c, 0] + sy * from_crown[c, 1] + sz * from_crown[c, 2]
                if b >= 0.0 and from_crown[c, 3] >= 0.0:
                    continue  # it lies behind
                a = sx * sx + sy * sy + sz * sz
                root = b * b - a * from_crown[c, 3]
                if root <= 0.0:
                    continue
                width = sqrt(root)
                far = (-b + width) / a
                near = max((-b - width) / a, 0.0)
                if far <= 0.0 or far <= near:
                    continue
                depth = crown_depth[c] * (far - near) * sqrt(a) if crown_depth[c] >= 0.0 else shut
                crowns += depth
                if near < end:
                    crown += depth
            fence, all_fences = 0.0, 0.0
            for f in range(n_fences):
                to = _to_piece(fence_start[f, 0] - px, fence_start[f, 1] - py, pz, fence_way[f, 0], fence_way[f, 1],
                               fence_height[f], x, y, up, False)  # fmt: skip
                if isfinite(to):
                    all_fences += fence_depth[f]
                    if to < end:
                        fence += fence_depth[f]
            depth = crown + film + fence
            rest = 0.0 if depth > opaque else exp(-depth)
            taken = (1.0 - rest) / depth if depth > 0.0 else 0.0
            if use in (ABOVE, BELOW) and fence > 0.0:
                for f in range(n_fences):
                    to = _to_piece(fence_start[f, 0] - px, fence_start[f, 1] - py, pz, fence_way[f, 0],
                                   fence_way[f, 1], fence_height[f], x, y, up, False)  # fmt: skip
                    if to < end:
                        fences[p, f] += fence_depth[f] * taken
            if use in (ABOVE, SUN):
                sun = 0.0
                if not (isfinite(nearest) or hill or up <= 0.0):
                    sun = exp(-(crowns + all_fences)) * (1.0 if isnan(through) else through)
                if use == SUN:
                    table[p, r] = sun
                else:
                    out[p, O_LIGHT] += sun
            if use == ABOVE:
                if not isnan(through):
                    out[p, O_ROOF_SUN] += through
                    out[p, O_ROOFED] += 1.0
                out[p, O_ROOF] += film * taken + (rest if roofed else 0.0)
                out[p, O_CANOPY] += crown * taken + (rest if hill else 0.0)
            if face >= 0:
                if use in (ABOVE, BELOW):
                    walls[p, face] += rest
            elif not (roofed or hill):
                if use == ABOVE:
                    out[p, O_SKY] += rest
                elif use == ASIDE:
                    out[p, O_SIDE] += rest
            if use == BELOW and face < 0:
                out[p, O_GROUND] += rest
                reach = pz / -up
                for f in range(n_areas):
                    if _inside(px + reach * x, py + reach * y, area_corners, area_first[f], area_first[f + 1]):
                        if f < ponds:
                            out[p, O_POND] += rest
                        else:
                            areas[p, f - ponds] += rest
                        break


@inline
def _behind(x: float, a: float, b: float, c: float, power: float, porosity: float) -> float:
    """Share of the open wind behind (or before) a barrier; `lee.wind_behind` for one."""
    if x < -5.0 or porosity >= 1.0:
        return 1.0
    share = 1.0 - exp(-a * x * x) + b * exp(-0.003 * max(x + c, 0.0) ** power)
    return min(share, 1.0)


@kept
def shelters(
    origins: Any, toward: Any, start: Any, way: Any, height: Any, reach: Any, one_sided: Any, curve: Any,
    disc_centre: Any, disc_radius: Any, disc_depth: Any, disc_base: Any, disc_top: Any, least_wind: float,
    near_heights: float, wind: Any, closed: Any,
) -> None:  # fmt: skip
    """Mean wind share and closedness of every place; columns of `curve`: a, b, c, power, porosity.

    Upright pieces first, then crowns, whose `curve` is made up here, because it hangs on the way through.
    """
    n_pieces, n_discs, n_ways = height.shape[0], disc_radius.shape[0], toward.shape[0]
    lee, opposite = np.empty(n_ways), np.empty(n_ways)
    for p in range(origins.shape[0]):
        px, py, pz = origins[p, 0], origins[p, 1], origins[p, 2]
        total = 0.0
        for r in range(n_ways):
            x, y = toward[r, 0], toward[r, 1]
            calm, against, shut = 1.0, 1.0, 0.0
            for f in range(n_pieces + n_discs):
                if f < n_pieces:
                    ox, oy = start[f, 0] - px, start[f, 1] - py
                    across = x * way[f, 1] - y * way[f, 0]
                    if one_sided[f] and across >= 0.0:
                        continue
                    distance = (ox * way[f, 1] - oy * way[f, 0]) / across
                    along = (ox * y - oy * x) / across
                    if not (distance > 1e-9 and isfinite(distance) and 0.0 <= along <= 1.0):
                        continue
                    tall, far = height[f], reach[f]
                    a, b, c, power, porosity = curve[f, 0], curve[f, 1], curve[f, 2], curve[f, 3], curve[f, 4]
                else:
                    d = f - n_pieces
                    radius = disc_radius[d]
                    ox, oy = (disc_centre[d, 0] - px) / radius, (disc_centre[d, 1] - py) / radius
                    along = x * ox + y * oy
                    root = along * along - (ox * ox + oy * oy) + 1.0
                    if root <= 0.0:
                        continue
                    width = sqrt(root)
                    near = max(along - width, 0.0)
                    chord = along + width - near
                    if along + width <= 0.0 or chord <= 0.0:
                        continue
                    distance = near * radius
                    tall, far = disc_top[d], min(disc_top[d], 2.0 * radius)
                    low = min(max(1.0 - (disc_base[d] - pz) / (0.3 * tall), 0.0), 1.0)
                    porosity = exp(-(disc_depth[d] * low * chord))
                    a = 0.008 - 0.17 * porosity + 0.17 * porosity**1.05
                    b = 1.35 * exp(-0.5 * porosity**0.2)
                    c, power = 10.0 * (1.0 - 0.5 * porosity), 3.0 - porosity
                below = min(max((1.3 * tall - pz) / (0.6 * tall), 0.0), 1.0)
                heights = min(distance / far, 1000.0)
                calm = min(calm, 1.0 - below * (1.0 - max(_behind(heights, a, b, c, power, porosity), least_wind)))
                before = max(_behind(-heights, a, b, c, power, porosity), least_wind)
                against = min(against, 1.0 - below * (1.0 - before))
                shut = max(shut, below * (1.0 - porosity) * exp(-heights / near_heights))
            lee[r], opposite[(r + n_ways // 2) % n_ways] = calm, against
            total += shut
        mean = 0.0
        for r in range(n_ways):
            mean += min(lee[r], opposite[r])
        wind[p], closed[p] = mean / n_ways, total / n_ways
