"""The compiled march of walls that see each other, all members of a block side by side.

A *side* is a face. A *piece* is what lies behind it: masonry with a face on either side, or with a room, earth or free
air behind. In a step every piece answers its two ends like a plane slab (`physics.slab`); the surfaces are then solved
together by Newton steps, each with what the other faces give off at that moment.
"""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from math import sqrt
from pathlib import Path
from typing import Any

import numba
import numpy as np

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.constants import STEFAN_BOLTZMANN, ZERO_C_K
from fruitwall.physics.convection import ROUNDING_K

PASSES = 3
"""Newton steps from the temperatures of the step before; what they leave is below 0.002 W/m² (see the tests)."""

ROUNDING_K2 = ROUNDING_K**2

# Numbers of a side: share of sky, emissivity, forced and free exchange with the air, absorptance for sun.
(S_SKY, S_EMISSIVITY, S_FORCED, S_FREE, S_ABSORPTANCE) = range(5)
SIDE_SIZE = 5
# Columns of the terms: decay; old and new of the surface and of the back; weight in the flux of either; start.
(C_DECAY, C_OLD, C_NEW, C_OLD_BACK, C_NEW_BACK, C_WEIGHT, C_WEIGHT_BACK, C_REST, C_REST_BACK) = range(9)

FAST = {"contract", "arcp", "reassoc", "nsz"}
# Only `march` is called from Python and kept on disk. These two stand outside of it: a function that holds others in
# its closure is compiled anew in every process.
apart: Any = numba.njit(nogil=True, fastmath=FAST, error_model="numpy")


@apart
def newton(
    width: int, now: Any, here: int, there: int, number: Any, gain: Any, around: Any, air: Any, root: Any,
    own: float, cross: float, lack: Any, slope: Any,
) -> None:  # fmt: skip
    """What a side lacks for balance, and by how much more it loses for each kelvin."""
    emissivity, forced, free = number[S_EMISSIVITY], number[S_FORCED], number[S_FREE]
    for j in range(width):
        s = now[here, j]
        d = air[j] - s
        h = free * sqrt(sqrt(sqrt(d * d + ROUNDING_K2)))
        kelvin = s + ZERO_C_K
        cube = emissivity * STEFAN_BOLTZMANN * kelvin * kelvin * kelvin
        a = forced * root[j]
        received = gain[here, j] + emissivity * around[j]
        lack[j] = received - cube * kelvin + (a + h) * d - own * s - cross * now[there, j]
        slope[j] = 4.0 * cube + a + 1.25 * h + own


@apart
def look_around(
    width: int, now: Any, here: int, black: Any, link_at: Any, link_to: Any, link_share: Any, around: Any
) -> None:
    """How much more the faces seen give off than air would."""
    for j in range(width):
        around[j] = 0.0
    for link in range(link_at[here], link_at[here + 1]):
        other, share = link_to[link], link_share[link]
        for j in range(width):
            kelvin = now[other, j] + ZERO_C_K
            square = kelvin * kelvin
            around[j] += share * (STEFAN_BOLTZMANN * square * square - black[j])


def _digest() -> int:
    """Number that changes with the sources: Numba's cache looks at one file only."""
    text = Path(__file__).read_bytes() + Path(k.__file__ or "").read_bytes()
    return int.from_bytes(sha256(text).digest()[:4], "big")


@cache
def wall_marcher() -> Any:
    """Give the compiled march of some pieces through one block of members.

    Returns
    -------
    callable
        ``march(width, forcing, start, beam, diffuse, sides, ends, conduction, terms, room, link_at, link_to,
        link_share, rows, out)`` with lanes in use; weather of the block (step, FORCING_SIZE); start (LANES,) [°C];
        share of beam sun (side, step) and of diffuse sun (side,) that falls on a side; numbers of the sides (side,
        SIDE_SIZE); front and back of every piece as rows of temperatures, a back that is no side beyond the sides
        (piece, 2); heat into either end per kelvin within a step (piece, 2, 2); terms (piece, term, column); room
        behind or NaN (piece,) [°C]; which sides a side sees, from ``link_at[side]`` on, and their shares; row of
        ``out`` (face, step, LANES) of every side, or -1.
    """
    sources = _digest()

    @numba.njit(nogil=True, cache=True, fastmath=FAST, error_model="numpy")
    def march(
        width: int, forcing: Any, start: Any, beam: Any, diffuse: Any, sides: Any, ends: Any, conduction: Any,
        terms: Any, room: Any, link_at: Any, link_to: Any, link_share: Any, rows: Any, out: Any,
    ) -> int:  # fmt: skip
        """March all lanes through all steps."""
        n_sides, n_pieces, count = sides.shape[0], ends.shape[0], terms.shape[1]
        now = np.zeros((n_sides + n_pieces, k.LANES))
        gain = np.zeros((n_sides + n_pieces, k.LANES))
        z = np.zeros((n_pieces, count, k.LANES))
        air, root, black = np.zeros(k.LANES), np.zeros(k.LANES), np.zeros(k.LANES)
        around, lack, slope, lack2, slope2 = (
            np.zeros(k.LANES), np.zeros(k.LANES), np.zeros(k.LANES), np.zeros(k.LANES), np.zeros(k.LANES)
        )  # fmt: skip
        for p in range(n_pieces):
            front, back = ends[p, 0], ends[p, 1]
            for j in range(width):
                now[front, j] = start[j]
                now[back, j] = room[p] if room[p] == room[p] else start[j]
            for i in range(count):
                for j in range(width):
                    z[p, i, j] = terms[p, i, C_REST] * now[front, j] + terms[p, i, C_REST_BACK] * now[back, j]
        for t in range(forcing.shape[0]):
            if t > 0:
                for j in range(width):
                    air[j] = forcing[t, k.F_AIR + j]
                    root[j] = sqrt(forcing[t, k.F_WIND + j])
                    kelvin = air[j] + ZERO_C_K
                    black[j] = STEFAN_BOLTZMANN * kelvin * kelvin * kelvin * kelvin
                for s in range(n_sides):
                    sky, emissivity, absorptance = sides[s, S_SKY], sides[s, S_EMISSIVITY], sides[s, S_ABSORPTANCE]
                    beam_in, diffuse_in = absorptance * beam[s, t], absorptance * diffuse[s]
                    for j in range(width):
                        light = beam_in * forcing[t, k.F_BEAM + j] + diffuse_in * forcing[t, k.F_DIFFUSE + j]
                        far = sky * forcing[t, k.F_SKY + j] + (1.0 - sky) * black[j]
                        gain[s, j] = light + emissivity * far
                for p in range(n_pieces):
                    front, back = ends[p, 0], ends[p, 1]
                    for i in range(count):
                        decay, old, old_back = terms[p, i, C_DECAY], terms[p, i, C_OLD], terms[p, i, C_OLD_BACK]
                        weight, weight_back = terms[p, i, C_WEIGHT], terms[p, i, C_WEIGHT_BACK]
                        for j in range(width):
                            known = decay * z[p, i, j] + old * now[front, j] + old_back * now[back, j]
                            z[p, i, j] = known
                            gain[front, j] += weight * known
                            gain[back, j] += weight_back * known
                    if back >= n_sides:
                        for j in range(width):
                            now[back, j] = room[p] if room[p] == room[p] else air[j]
                for _ in range(PASSES):
                    for p in range(n_pieces):
                        front, back = ends[p, 0], ends[p, 1]
                        own, cross, cross2, own2 = (
                            conduction[p, 0, 0], conduction[p, 0, 1], conduction[p, 1, 0], conduction[p, 1, 1]
                        )  # fmt: skip
                        look_around(width, now, front, black, link_at, link_to, link_share, around)
                        newton(
                            width,
                            now,
                            front,
                            back,
                            sides[front],
                            gain,
                            around,
                            air,
                            root,
                            own,
                            cross,
                            lack,
                            slope,
                        )
                        if back >= n_sides:
                            for j in range(width):
                                now[front, j] += lack[j] / slope[j]
                            continue
                        look_around(width, now, back, black, link_at, link_to, link_share, around)
                        newton(
                            width, now, back, front, sides[back], gain, around, air, root, own2, cross2, lack2,
                            slope2,
                        )  # fmt: skip
                        for j in range(width):
                            divisor = slope[j] * slope2[j] - cross * cross2
                            now[front, j] += (slope2[j] * lack[j] - cross * lack2[j]) / divisor
                            now[back, j] += (slope[j] * lack2[j] - cross2 * lack[j]) / divisor
                for p in range(n_pieces):
                    front, back = ends[p, 0], ends[p, 1]
                    for i in range(count):
                        new, new_back = terms[p, i, C_NEW], terms[p, i, C_NEW_BACK]
                        for j in range(width):
                            z[p, i, j] += new * now[front, j] + new_back * now[back, j]
            for s in range(n_sides):
                if rows[s] >= 0:
                    for j in range(width):
                        out[rows[s], t, j] = now[s, j]
                    for j in range(width, k.LANES):
                        out[rows[s], t, j] = now[s, width - 1]
        return sources

    return march
