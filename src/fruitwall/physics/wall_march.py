"""How warm the walls of a yard are: each piece once per ensemble member, before the trees are asked.

A face takes in sun and longwave from sky and neighbours, exchanges with the yard's air and conducts into what is behind
it: a room, the soil of a terrace, free air, or its other face, which then is solved together with it. The ground and
everything else that it sees is taken to be at air temperature, so that a wall depends on no tree. The sun that it
does not take in, it throws back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from math import sqrt
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.constants import STEFAN_BOLTZMANN, ZERO_C_K
from fruitwall.physics.convection import forced, free
from fruitwall.physics.faces import Face, Layer
from fruitwall.physics.shape import tilted_sky_view
from fruitwall.physics.slab import Slab, Terms
from fruitwall.physics.soil import ALBEDO, SATURATION, soil_layer
from fruitwall.physics.spot import ground_sun_visibility, sun_visibility
from fruitwall.physics.steps import Blocks, Steps
from fruitwall.physics.sun import beam_ratio

FloatArray = NDArray[np.float64]

BACK_RESISTANCE = {"indoor": 0.13, "outdoor": 0.08}
"""Between wall and room air (EN ISO 6946, from memory), and between wall and free air behind it. [m² K/W]"""

GROUND_ALBEDO = ALBEDO["bare"]
"""Share of sun that the ground before a wall throws back; paving and turf throw back a little more. [0-1]"""

WALL_WIND = 0.4
"""Wind along a wall over that at 10 m: log profile to 2 m, halved by the wall itself. Our judgement."""

WALL_TERMS = 16
"""Relaxing terms of a piece: within 0.001 K of the whole grid up to 1 m of masonry, 0.01 K at 3 m, at no cost that
shows (six terms: 1 K, as two surfaces far apart share them)."""

PASSES = 3
"""Newton steps from the temperatures of the step before; what they leave is below 0.002 W/m² (see the tests)."""

(S_SKY, S_EMISSIVITY, S_FORCED, S_FREE) = range(4)
SIDE_SIZE = 4
# Columns of the terms: decay; old and new of the surface and of the back; weight in the flux of either; start.
(C_DECAY, C_OLD, C_NEW, C_OLD_BACK, C_NEW_BACK, C_WEIGHT, C_WEIGHT_BACK, C_REST, C_REST_BACK) = range(9)


class WallMarch(NamedTuple):
    """What every face does; arrays of shape (face, block, step, LANES).

    temperature_c : of its surface [°C]; reflected_w_m2 : sunlight that it throws back, per m² of the face, mean of the
    step that ends there [W/m²].
    """

    temperature_c: FloatArray
    reflected_w_m2: FloatArray


def wall_slab(face: Face, soil: str, moisture: str) -> Slab:
    """Give what a face conducts into.

    Parameters
    ----------
    face : Face
    soil, moisture : str
        Earth behind a retaining wall, as in `physics.soil`.

    Returns
    -------
    Slab
    """
    if face.back is not None:
        return Slab([Layer(*_values(x)) for x in face.layers], behind="surface")
    if face.behind == "earth":
        return Slab([*face.layers, soil_layer(soil, SATURATION[moisture])])
    return Slab(
        [Layer(*_values(x)) for x in face.layers], behind="held", back_resistance_m2kw=BACK_RESISTANCE[face.behind]
    )


def _values(layer: Layer) -> tuple[float, float, float, float]:
    """Numbers of a layer."""
    return layer.thickness_m, layer.conductivity_w_mk, layer.density_kg_m3, layer.heat_capacity_j_kgk


def march_walls(
    faces: Sequence[Face],
    steps: Steps,
    blocks: Blocks,
    forcing: FloatArray,
    start: FloatArray,
    soil: str,
    moisture: str,
) -> WallMarch:
    """Give temperature and reflected sun of every face.

    Parameters
    ----------
    faces : sequence of Face
        The other face of a piece need not be among them.
    steps : Steps
    blocks : Blocks
    forcing : ndarray, shape (block, step, FORCING_SIZE)
        As laid out by `steps.forcing_blocks`.
    start : ndarray, shape (block, LANES)
        Uniform temperature at the start. [°C]
    soil, moisture : str
        Earth behind retaining walls.

    Returns
    -------
    WallMarch
        Surface temperatures [°C] and reflected sun [W/m²]; of no face one row of zeros.
    """
    shape = (max(len(faces), 1), blocks.count, steps.n_steps, k.LANES)
    march = WallMarch(np.zeros(shape), np.zeros(shape))
    rows = {face.id: number for number, face in enumerate(faces)}
    done: set[str] = set()
    made: dict[tuple[tuple[Layer, ...], str, bool], tuple[FloatArray, FloatArray]] = {}
    for face in faces:
        if face.id in done:
            continue
        # In one order whichever of the two is asked for, so that the digits do not depend on it.
        sides = sorted([face] if face.back is None else [face, face.back], key=lambda side: side.id)
        done |= {side.id for side in sides}
        piece = face if len(sides) == 1 else replace(sides[0], back=sides[1])
        key = (piece.layers, piece.behind, piece.back is None)
        if key not in made:  # most pieces of a yard are of a few kinds
            made[key] = _terms(wall_slab(piece, soil, moisture).terms(steps.step_s, WALL_TERMS))
        conduction, terms = made[key]
        exchange = np.array([_exchange(side) for side in sides])
        shares = [_sun_shares(side, steps) for side in sides]
        for block in range(blocks.count):
            light = forcing[block].reshape(steps.n_steps, -1, k.LANES)
            sun = np.array([_sun(share, light) for share in shares])
            taken = sun * np.array([side.absorptance for side in sides])[:, None, None]
            out = np.empty_like(sun)
            room = face.indoor_c if face.behind == "indoor" else np.nan
            _marcher()(blocks.width, forcing[block], start[block], taken, exchange, conduction, terms, room, out)
            for side, temperature, thrown in zip(sides, out, sun - taken, strict=True):
                if side.id in rows:
                    march.temperature_c[rows[side.id], block] = temperature
                    march.reflected_w_m2[rows[side.id], block] = thrown
    return march


class _SunShares(NamedTuple):
    """Share of the beam and diffuse light on level ground that falls on a face: of beam at every step."""

    beam: FloatArray
    diffuse: float


def _sun_shares(face: Face, steps: Steps) -> _SunShares:
    """Give what falls on a face directly, from the sky and from the ground before it, which fills its lower half."""
    bearing, height = steps.sun.azimuth_deg, steps.sun.elevation_deg
    beam = beam_ratio(height, bearing, face.azimuth_deg, face.tilt_deg) * sun_visibility(face, bearing, height)
    ground = GROUND_ALBEDO * (1.0 - float(tilted_sky_view(face.tilt_deg)))
    return _SunShares(
        beam + ground * ground_sun_visibility(face, bearing, height),
        (face.sky if face.diffuse is None else face.diffuse) + ground * face.ground_diffuse,
    )


def _sun(share: _SunShares, light: FloatArray) -> FloatArray:
    """Sunlight on a face, shape (step, LANES). [W/m²]"""
    beam, diffuse = int(k.F_BEAM) // k.LANES, int(k.F_DIFFUSE) // k.LANES
    return np.asarray(share.beam[:, None] * light[:, beam] + share.diffuse * light[:, diffuse])


def _exchange(face: Face) -> FloatArray:
    """Numbers by which a face deals with sky and air, shape (SIDE_SIZE,)."""
    size = float(np.clip(face.height_m, 0.3, 3.0))
    numbers = np.zeros(SIDE_SIZE)
    numbers[S_SKY], numbers[S_EMISSIVITY] = face.sky, face.emissivity
    numbers[S_FORCED], numbers[S_FREE] = forced(size) * sqrt(WALL_WIND), free(size)
    return numbers


def _terms(terms: Terms) -> tuple[FloatArray, FloatArray]:
    """Heat into surface and back per kelvin of either within a step, shape (2, 2), and the table of the terms."""
    weights = np.stack([terms.weight, terms.weight_back])
    within = np.stack([terms.direct, terms.direct_back]) - weights @ terms.new
    columns = [terms.decay, terms.old[:, 0], terms.new[:, 0], terms.old[:, 1], terms.new[:, 1], *weights, *terms.rest.T]
    return within, np.ascontiguousarray(np.column_stack(columns))


@cache
def _marcher() -> Any:
    """Compiled march of one piece and block."""
    import numba

    @numba.njit(nogil=True, cache=True, fastmath={"contract", "arcp", "reassoc", "nsz"}, error_model="numpy")
    def march(
        width: int,
        forcing: Any,
        start: Any,
        sun: Any,
        exchange: Any,
        conduction: Any,
        terms: Any,
        room: float,
        out: Any,
    ) -> None:
        """March all lanes through all steps; one side or two, as `sun` has rows."""
        heated, both = room == room, sun.shape[0] == 2
        other = sun.shape[0] - 1
        sky, emissivity, forced_a, free_b = exchange[0]
        sky2, emissivity2, forced_a2, free_b2 = exchange[other]
        own, cross, cross2, own2 = conduction[0, 0], conduction[0, 1], conduction[1, 0], conduction[1, 1]
        count = terms.shape[0]
        z = np.zeros((count, k.LANES))
        back_old = np.zeros(k.LANES)
        for j in range(width):
            back_old[j] = room if heated else start[j]
            for side in range(sun.shape[0]):
                out[side, 0, j] = start[j]
            for i in range(count):
                z[i, j] = terms[i, C_REST] * start[j] + terms[i, C_REST_BACK] * back_old[j]
        for t in range(1, forcing.shape[0]):
            for j in range(width):
                ta = forcing[t, k.F_AIR + j]
                kelvin = ta + ZERO_C_K
                black = STEFAN_BOLTZMANN * kelvin * kelvin * kelvin * kelvin
                root = sqrt(forcing[t, k.F_WIND + j])
                old = out[0, t - 1, j]
                given, given2 = 0.0, 0.0
                for i in range(count):
                    known = terms[i, C_DECAY] * z[i, j] + terms[i, C_OLD] * old + terms[i, C_OLD_BACK] * back_old[j]
                    z[i, j] = known
                    given += terms[i, C_WEIGHT] * known
                    given2 += terms[i, C_WEIGHT_BACK] * known
                gain = sun[0, t, j] + emissivity * (sky * forcing[t, k.F_SKY + j] + (1.0 - sky) * black) + given
                gain2 = sun[other, t, j] + emissivity2 * (sky2 * forcing[t, k.F_SKY + j] + (1.0 - sky2) * black)
                gain2 += given2
                s = old
                b = back_old[j] if both else (room if heated else ta)
                for _ in range(PASSES):
                    d = ta - s
                    h = free_b * sqrt(sqrt(sqrt(d * d + 0.01)))
                    kelvin = s + ZERO_C_K
                    cube = emissivity * STEFAN_BOLTZMANN * kelvin * kelvin * kelvin
                    lack = gain - cube * kelvin + (forced_a * root + h) * d - own * s - cross * b
                    slope = 4.0 * cube + forced_a * root + 1.25 * h + own
                    if both:
                        d = ta - b
                        h = free_b2 * sqrt(sqrt(sqrt(d * d + 0.01)))
                        kelvin = b + ZERO_C_K
                        cube = emissivity2 * STEFAN_BOLTZMANN * kelvin * kelvin * kelvin
                        lack2 = gain2 - cube * kelvin + (forced_a2 * root + h) * d - cross2 * s - own2 * b
                        slope2 = 4.0 * cube + forced_a2 * root + 1.25 * h + own2
                        divisor = slope * slope2 - cross * cross2
                        s += (slope2 * lack - cross * lack2) / divisor
                        b += (slope * lack2 - cross2 * lack) / divisor
                    else:
                        s += lack / slope
                for i in range(count):
                    z[i, j] += terms[i, C_NEW] * s + terms[i, C_NEW_BACK] * b
                back_old[j] = b
                out[0, t, j] = s
                if both:
                    out[1, t, j] = b
        for side in range(sun.shape[0]):
            for t in range(forcing.shape[0]):
                for j in range(width, k.LANES):
                    out[side, t, j] = out[side, t, width - 1]

    return march
