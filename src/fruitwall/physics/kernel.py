"""March cases (a tree under a treatment) through time, one block of ensemble members at a time.

`marcher()` compiles on first use and caches the result on disk. The compiled function holds no global lock, so that
threads can each march their own cases; it never uses Numba's own threads.
"""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

import numba
import numpy as np

from fruitwall.physics import kernel_bodies as body
from fruitwall.physics import kernel_lanes as lane
from fruitwall.physics import kernel_rows as k

FAR_BELOW = -999.0
FAR_ABOVE = 999.0
PASSES = 2
"""Newton passes of an ordinary step; with the straight-line start they leave less than 1e-3 K in night minima."""

PASSES_AFTER_JUMP = 4
PASSES_AT_JUMP = 8


@lane.apart
def walls(x: Any, w: int, faces: Any, thrown: Any, block: int, t: int, ids: Any, shares: Any, shares_low: Any) -> None:
    """Sum up the walls that a spot sees."""
    lane.clear_walls(x, w)
    for i in range(ids.shape[0]):
        if ids[i] >= 0:
            lane.add_wall(x, w, faces[ids[i], block, t], thrown[ids[i], block, t], shares[i], shares_low[i])


@lane.apart
def solve(x: Any, w: int, p: Any, own: float, stiff: float, passes: int) -> None:
    """Newton passes with or without cover."""
    if p[k.P_COVERED] > 0.5:
        for _ in range(passes):
            lane.newton_covered(x, w, p, own, stiff)
    else:
        for _ in range(passes):
            lane.newton_open(x, w, p, own, stiff)


@lane.apart
def march_bodies(x: Any, w: int, b: Any, dt: float, mul: float, add: float) -> None:
    """Bring twig, limb and fruit to the end of the step."""
    body.wood_step(x, w, b, dt, mul, add)
    if b[k.B_FRUIT_L] > 0.0:
        body.fruit_step(x, w, dt, dt / b[k.B_FRUIT_C], b[k.B_FRUIT_A], b, mul, add)
    else:
        body.crop_step(x, w, b, dt, mul, add)


@lane.apart
def change_ground(x: Any, w: int, matrix: Any, water: Any) -> None:
    """Turn the ground's terms into those of its wetted state; the last columns belong to the surface and the water."""
    wetted = np.empty(k.TERMS)
    for j in range(w):
        for a in range(k.TERMS):
            wetted[a] = matrix[a, k.TERMS] * x[k.X_SOIL + j] + matrix[a, k.TERMS + 1] * water[j]
            wetted[a] += matrix[a, 0] * x[k.X_Z0 + j] + matrix[a, 1] * x[k.X_Z1 + j] + matrix[a, 2] * x[k.X_Z2 + j]
            wetted[a] += matrix[a, 3] * x[k.X_Z3 + j] + matrix[a, 4] * x[k.X_Z4 + j] + matrix[a, 5] * x[k.X_Z5 + j]
        x[k.X_Z0 + j], x[k.X_Z1 + j], x[k.X_Z2 + j] = wetted[0], wetted[1], wetted[2]
        x[k.X_Z3 + j], x[k.X_Z4 + j], x[k.X_Z5 + j] = wetted[3], wetted[4], wetted[5]


@lane.apart
def begin(x: Any, w: int, p: Any, b: Any, start: Any, leak: Any) -> None:
    """Everything at one temperature; a root ball that starts below zero starts frozen."""
    for row in (k.X_LEAF, k.X_AIR, k.X_COVER, k.X_SOIL, k.X_TWIG, k.X_WOOD, k.X_FRUIT, k.X_RIM, k.X_CORE):
        for j in range(w):
            x[row + j] = start[j]
    rim_l, core_l, fruit_l, barrel_l = b[k.B_RIM_L], b[k.B_CORE_L], b[k.B_FRUIT_L], b[k.B_BARREL_L]
    for j in range(w):
        t = start[j]
        x[k.X_FRUIT_ICE + j] = fruit_l if t < b[k.B_FRUIT_FREEZES] else 0.0
        x[k.X_BARREL + j] = t
        x[k.X_BARREL_H + j] = b[k.B_BARREL_C] * t - (barrel_l if t < 0.0 else 0.0)
        x[k.X_LEAK + j] = leak[j]
        x[k.X_ICE + j] = 0.0
        x[k.X_RIM_H + j] = b[k.B_RIM_C] * t - (rim_l if t < 0.0 else 0.0)
        x[k.X_CORE_H + j] = b[k.B_CORE_C] * t - (core_l if t < 0.0 else 0.0)
        x[k.X_HARD + j] = 1.0 if t < 0.0 else 0.0  # days of frost: it has no water left to freeze
        x[k.X_FRONT + j] = t
    for i in range(k.TERMS):
        rest, lag = p[k.P_REST + i], p[k.P_LAG + i]
        for j in range(w):
            x[k.X_Z0 + np.uint64(i) * np.uint64(k.LANES) + j] = rest * x[k.X_FRONT + j] + lag


@lane.apart
def gather(history: Any, sums: Any, w: int, first: int, levels: int, low: Any, lowest: Any, air: Any) -> None:
    """Lowest values and lowest running means of one night; `sums` is room for one tissue."""
    steps = history.shape[0]
    for t in range(steps):
        body.note_lowest(history[t], w, k.H_AIR, air)
    for tissue in range(5):
        for t in range(steps):
            body.take_row(sums[t], history[t], w, k.H_TISSUES[tissue], lowest[tissue])
        length = 1
        for level in range(levels):
            # The first level joins `first` single steps, every further one two neighbours; last step first, so that
            # what is still to be added is not changed yet.
            joins = first - 1 if level == 0 else 1
            grown = (joins + 1) * length
            for back in range(steps - grown + 1):
                t = steps - 1 - back
                for i in range(1, joins):
                    body.add_row(sums[t], sums[t - i * length], w)
                if joins > 0:
                    body.add_last(sums[t], sums[t - joins * length], w, low[tissue, level], 1.0 / grown)
                else:
                    body.note_lowest(sums[t], w, k.H_LEAF, low[tissue, level])  # one step is the whole mean
            length = grown


MADE_BY: tuple[str, ...] = ()
"""Further files on which the compiled code hangs; `kernel_single` sets it."""


def _digest() -> int:
    """Number that changes with the sources of the kernel: Numba's cache looks at one file only."""
    files = (*(module.__file__ or "" for module in (lane, body, k)), *MADE_BY)
    text = b"".join(Path(file).read_bytes() for file in files)
    return int.from_bytes(sha256(text).digest()[:4], "big")


@cache
def marcher() -> Any:
    """Give the compiled march."""
    sources = _digest()

    @numba.njit(nogil=True, cache=True, fastmath=lane.FAST, error_model="numpy")
    def march(
        cases: Any, block: int, width: int, forcing: Any, faces: Any, thrown: Any, rooms: Any, start: Any, leak: Any,
        visible: Any, phase: Any, params: Any, ground: Any, change: Any,
        face_ids: Any, face_shares: Any, face_low: Any, room_of: Any, bodies: Any,
        night_of: Any, night_lo: Any, night_hi: Any, dt: float, first: int, levels: int,
        low: Any, lowest: Any, air: Any, series: Any,
    ) -> int:  # fmt: skip
        """March some cases of one block; results go into the last arrays, by case."""
        steps = forcing.shape[1]
        w = np.uint64(width)
        x = np.zeros(k.STATE_SIZE)
        history = np.empty((1 + (night_hi - night_lo).max(), k.HISTORY_SIZE))  # of one night: stays near the processor
        sums = np.empty((history.shape[0], k.LANES))
        inv_dt = 1.0 / dt
        many, some, few = int(PASSES_AT_JUMP), int(PASSES_AFTER_JUMP), int(PASSES)
        for case in cases:
            b = bodies[case]
            before = phase[case, 0]
            home = before if before >= 0 else 0
            begin(x, w, params[case, home], b, start[block], leak[block])
            soil_kind = ground[case, home]
            fresh = True
            for t in range(steps):
                now = phase[case, t]
                jump = t == 0 or now != before
                p = params[case, now if now >= 0 else home]
                if jump and now >= 0:
                    if ground[case, now] != soil_kind:
                        change_ground(x, w, change[case], start[block])
                        soil_kind = ground[case, now]
                    # The surfaces answer a change at once, the stored heat does not.
                    s = t - 1 if t > 0 else 0
                    walls(x, w, faces, thrown, block, s, face_ids[case], face_shares[case], face_low[case, now])
                    lane.surround(x, w, forcing[block, s], p, visible[case, s])
                    lane.ground_now(x, w, p)
                    solve(x, w, p, p[k.P_DIRECT], p[k.P_STIFF] if p[k.P_FROZEN_K] > 0.0 else p[k.P_DIRECT], many)
                    body.wood_radiation(x, w, p, b[k.B_SHADE])
                    lane.front(x, w, p)
                    lane.settled(x, w)
                wind_mul, wind_add = 1.0, 0.0
                if now >= 0:
                    lane.guess(x, w, 0.0 if jump or fresh else 1.0, p[k.P_FROZEN_K] > 0.0)
                    walls(x, w, faces, thrown, block, t, face_ids[case], face_shares[case], face_low[case, now])
                    lane.surround(x, w, forcing[block, t], p, visible[case, t])
                    lane.ground_answer(x, w, p, inv_dt)
                    regulated = p[k.P_HEATER] > 0.0 and p[k.P_THERMOSTAT] < FAR_ABOVE  # its kink needs more passes
                    solve(x, w, p, p[k.P_OWN], p[k.P_STIFF], some if jump or regulated else few)
                    body.wood_radiation(x, w, p, b[k.B_SHADE])
                    if p[k.P_COVERED] > 0.5:
                        wind_mul, wind_add = p[k.P_IN_WIND_MUL], p[k.P_IN_WIND_ADD]
                else:
                    lane.guess(x, w, 0.0, False)
                    lane.indoors(x, w, rooms[room_of[case], block, t], forcing[block, t])
                fresh = jump
                if now >= 0:
                    lane.front(x, w, p)
                if t > 0:
                    if now >= 0:
                        lane.freeze(x, w, p, dt)
                    lane.ground_march(x, w, p)
                    march_bodies(x, w, b, dt, wind_mul, wind_add)
                    if b[k.B_BARREL_C] > 0.0:
                        body.barrel_step(x, w, b, dt, p[k.P_COVERED] if now >= 0 else 0.0)
                    if b[k.B_POTTED] > 0.5:
                        body.root_ball(x, w, b, dt, wind_mul, wind_add)
                if b[k.B_POTTED] < 0.5:
                    body.root_depth(x, w, b)
                night = night_of[t]
                mix_leaf, mix_cover, mix_air = 1.0, 0.0, 0.0
                if now >= 0:
                    mix_leaf, mix_cover, mix_air = p[k.P_CONTACT_LEAF], p[k.P_CONTACT_COVER], p[k.P_CONTACT_AIR]
                if series.shape[0] > 0:
                    body.note_history(x, w, series[case, t], mix_leaf, mix_cover, mix_air)
                if night >= 0:
                    body.note_history(x, w, history[t - night_lo[night]], mix_leaf, mix_cover, mix_air)
                    if t == night_hi[night]:
                        lived = history[: t - night_lo[night] + 1]
                        gather(lived, sums, w, first, levels, low[case, night], lowest[case, night], air[case, night])
                before = now
        return sources

    return march
