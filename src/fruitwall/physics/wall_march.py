"""How warm the walls of a yard are: each face once per ensemble member, before the trees are asked.

A face takes in sun and longwave from sky and neighbours, exchanges with the yard's air and conducts into what is behind
it: a room, the soil of a terrace, or free air. The ground and everything else that it sees is taken to be at air
temperature, so that a wall depends on no tree.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.convection import forced, free
from fruitwall.physics.faces import Face, Layer
from fruitwall.physics.slab import Slab, Terms
from fruitwall.physics.soil import SATURATION, soil_layer
from fruitwall.physics.spot import sun_visibility
from fruitwall.physics.steps import Blocks, Steps
from fruitwall.physics.sun import beam_ratio

FloatArray = NDArray[np.float64]

BACK_RESISTANCE = {"indoor": 0.13, "outdoor": 0.08}
"""Between wall and room air (EN ISO 6946, from memory), and between wall and free air behind it. [m² K/W]"""

GROUND_ALBEDO = 0.2
WALL_WIND = 0.4
"""Wind along a wall over that at 10 m: log profile to 2 m, halved by the wall itself. Our judgement."""

SIGMA = 5.670374419e-8
ZERO = 273.15
PASSES = 3
(W_SKY, W_EMISSIVITY, W_FORCED, W_FREE, W_DIRECT, W_BACK, W_INDOOR, W_TERMS) = range(8)
COLUMNS = 6  # decay, old and new of the surface, old and new of the back, weight


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
) -> FloatArray:
    """Give the surface temperature of every face.

    Parameters
    ----------
    faces : sequence of Face
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
    ndarray, shape (face, block, step, LANES)
        Surface temperatures. [°C]
    """
    out = np.zeros((max(len(faces), 1), blocks.count, steps.n_steps, k.LANES))
    for number, face in enumerate(faces):
        sun = steps.sun
        beam = beam_ratio(sun.elevation_deg, sun.azimuth_deg, face.azimuth_deg)
        beam = beam * sun_visibility(face, sun.azimuth_deg, sun.elevation_deg)
        numbers, terms = _numbers(face, wall_slab(face, soil, moisture).terms(steps.step_s, k.TERMS))
        for block in range(blocks.count):
            _marcher()(
                blocks.width,
                forcing[block],
                start[block],
                face.absorptance * beam,
                face.absorptance,
                numbers,
                terms,
                out[number, block],
            )
    return out


def _numbers(face: Face, terms: Terms) -> tuple[FloatArray, FloatArray]:
    """Parameters of a face and the table of its terms, shape (TERMS, COLUMNS)."""
    size = float(np.clip(face.height_m, 0.3, 3.0))
    numbers = np.zeros(W_TERMS)
    numbers[W_SKY], numbers[W_EMISSIVITY] = face.sky, face.emissivity
    numbers[W_FORCED], numbers[W_FREE] = forced(size) * sqrt(WALL_WIND), free(size)
    numbers[W_DIRECT], numbers[W_BACK] = terms.direct
    numbers[W_INDOOR] = face.indoor_c if face.behind == "indoor" else np.nan
    table = np.column_stack(
        [terms.decay, terms.old[:, 0], terms.new[:, 0], terms.old[:, 1], terms.new[:, 1], terms.weight]
    )
    return numbers, np.ascontiguousarray(np.column_stack([table, terms.rest]))


@cache
def _marcher() -> Any:
    """Compiled march of one face and block."""
    import numba

    @numba.njit(nogil=True, cache=True, fastmath={"contract", "arcp", "reassoc", "nsz"}, error_model="numpy")
    def march(
        width: int, forcing: Any, start: Any, beam_share: Any, absorptance: float, numbers: Any, terms: Any, out: Any
    ) -> None:
        """March all lanes through all steps."""
        sky, emissivity = numbers[W_SKY], numbers[W_EMISSIVITY]
        forced_a, free_b, direct, back_direct = numbers[W_FORCED], numbers[W_FREE], numbers[W_DIRECT], numbers[W_BACK]
        room = numbers[W_INDOOR]
        heated = room == room
        count = terms.shape[0]
        own = direct
        for i in range(count):
            own -= terms[i, 5] * terms[i, 2]
        z = np.zeros((count, k.LANES))
        back_old = np.zeros(k.LANES)
        for j in range(width):
            back_old[j] = room if heated else start[j]
            out[0, j] = start[j]
            for i in range(count):
                z[i, j] = terms[i, 6] * start[j] + terms[i, 7] * back_old[j]
        for t in range(1, forcing.shape[0]):
            for j in range(width):
                ta = forcing[t, k.F_AIR + j]
                back = room if heated else ta
                old = out[t - 1, j]
                given = -back_direct * back
                for i in range(count):
                    z[i, j] = terms[i, 0] * z[i, j] + terms[i, 1] * old + terms[i, 3] * back_old[j] + terms[i, 4] * back
                    given += terms[i, 5] * z[i, j]
                back_old[j] = back
                kelvin = ta + ZERO
                around = sky * forcing[t, k.F_SKY + j] + (1.0 - sky) * SIGMA * kelvin * kelvin * kelvin * kelvin
                beam, diffuse = forcing[t, k.F_BEAM + j], forcing[t, k.F_DIFFUSE + j]
                sun = beam_share[t] * beam + absorptance * (sky * diffuse + 0.5 * GROUND_ALBEDO * (beam + diffuse))
                a = forced_a * sqrt(forcing[t, k.F_WIND + j])
                s = old
                for _ in range(PASSES):
                    d = ta - s
                    b = free_b * sqrt(sqrt(sqrt(d * d + 0.01)))
                    kelvin = s + ZERO
                    cube = emissivity * SIGMA * kelvin * kelvin * kelvin
                    lack = sun + emissivity * around - cube * kelvin + (a + b) * d - own * s + given
                    s += lack / (4.0 * cube + a + 1.25 * b + own)
                for i in range(count):
                    z[i, j] += terms[i, 2] * s
                out[t, j] = s
            for j in range(width, k.LANES):
                out[t, j] = out[t, width - 1]

    return march
