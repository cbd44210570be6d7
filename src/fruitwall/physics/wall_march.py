"""How warm the walls of a yard are: each piece once per ensemble member, before the trees are asked.

A face takes in sun and longwave from sky and neighbours, exchanges with the yard's air and conducts into what is behind
it: a room, the soil of a terrace, free air, or its other face, which then is solved together with it. The sun that it
does not take in, it throws back. Faces that see each other warm and light each other. The ground and everything else
that a face sees is taken to be at air temperature, so that a wall depends on no tree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from math import sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.convection import forced, free
from fruitwall.physics.faces import Face, Layer
from fruitwall.physics.shape import tilted_sky_view
from fruitwall.physics.slab import Slab, Terms
from fruitwall.physics.soil import ALBEDO, SATURATION, soil_layer
from fruitwall.physics.spot import ground_sun_visibility, sun_visibility
from fruitwall.physics.steps import Blocks, Steps
from fruitwall.physics.sun import beam_ratio
from fruitwall.physics.wall_kernel import (
    S_ABSORPTANCE,
    S_EMISSIVITY,
    S_FORCED,
    S_FREE,
    S_SKY,
    SIDE_SIZE,
    wall_marcher,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

BACK_RESISTANCE = {"indoor": 0.13, "outdoor": 0.08}
"""Between wall and room air (EN ISO 6946, from memory), and between wall and free air behind it. [m² K/W]"""

GROUND_ALBEDO = ALBEDO["bare"]
"""Share of sun that the ground before a wall throws back; paving and turf throw back a little more. [0-1]"""

WALL_WIND = 0.4
"""Wind along a wall over that at 10 m: log profile to 2 m, halved by the wall itself. Our judgement."""

WALL_TERMS = 16
"""Relaxing terms of a piece: within 0.001 K of the whole grid up to 1 m of masonry, 0.01 K at 3 m, at no cost that
shows (six terms: 1 K, as two surfaces far apart share them)."""

BEAM, DIFFUSE = (int(row) // k.LANES for row in (k.F_BEAM, k.F_DIFFUSE))


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
    return _slab(face.layers, face.behind, face.back is not None, soil, moisture)


def _slab(layers: Sequence[Layer], behind: str, two_sided: bool, soil: str, moisture: str) -> Slab:
    if two_sided:
        return Slab([Layer(*_values(x)) for x in layers], behind="surface")
    if behind == "earth":
        return Slab([*layers, soil_layer(soil, SATURATION[moisture])])
    return Slab([Layer(*_values(x)) for x in layers], behind="held", back_resistance_m2kw=BACK_RESISTANCE[behind])


@lru_cache(maxsize=64)  # most pieces of a yard are of a few kinds, and a season asks for them month by month
def _body_of(
    layers: tuple[Layer, ...], behind: str, two_sided: bool, soil: str, moisture: str, step_s: float, count: int
) -> tuple[FloatArray, FloatArray]:
    return _body(_slab(layers, behind, two_sided, soil, moisture).terms(step_s, count))


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
    *,
    among: Sequence[Face] = (),
) -> WallMarch:
    """Give temperature and reflected sun of every face.

    Parameters
    ----------
    faces : sequence of Face
        What is asked for.
    steps : Steps
    blocks : Blocks
    forcing : ndarray, shape (block, step, FORCING_SIZE)
        As laid out by `steps.forcing_blocks`.
    start : ndarray, shape (block, LANES)
        Uniform temperature at the start. [°C]
    soil, moisture : str
        Earth behind retaining walls.
    among : sequence of Face
        All faces of the yard: what a face sees that is not among them is taken to be dark and at air temperature. The
        answer does not depend on which of them are asked for.

    Returns
    -------
    WallMarch
        Surface temperatures [°C] and reflected sun [W/m²]; of no face one row of zeros.
    """
    shape = (max(len(faces), 1), blocks.count, steps.n_steps, k.LANES)
    march = WallMarch(np.zeros(shape), np.zeros(shape))
    if not faces:
        return march
    sides = _reached(faces, among)
    place = {side.id: number for number, side in enumerate(sides)}
    rows = np.full(len(sides), -1)
    for row, face in enumerate(faces):
        rows[place[face.id]] = row
    ends, conduction, terms, room = _pieces(sides, place, steps.step_s, soil, moisture)
    link_at, link_to, link_share = _links(sides, place)
    beam, diffuse = _sun(sides, link_at, link_to, link_share, steps)
    numbers = np.array([_numbers(side) for side in sides])
    for block in range(blocks.count):
        wall_marcher()(
            blocks.width, forcing[block], start[block], beam, diffuse, numbers, ends, conduction, terms, room,
            link_at, link_to, link_share, rows, march.temperature_c[:, block],
        )  # fmt: skip
        weather = forcing[block].reshape(steps.n_steps, -1, k.LANES)
        for row, face in enumerate(faces):
            side, reflectance = place[face.id], 1.0 - face.absorptance
            sun = beam[side, :, None] * weather[:, BEAM] + diffuse[side] * weather[:, DIFFUSE]
            march.reflected_w_m2[row, block] = reflectance * sun
    return march


def _reached(faces: Sequence[Face], among: Sequence[Face]) -> list[Face]:
    """Give the faces asked for and all that act on them, through the masonry or by sight, in the order of their ids."""
    known = {face.id: face for face in [*among, *faces]}
    for face in list(known.values()):
        if face.back is not None:
            known.setdefault(face.back.id, replace(face.back, back=face))
    found: dict[str, Face] = {}
    todo = [face.id for face in faces]
    while todo:
        key = todo.pop()
        if key in known and key not in found:
            face = found[key] = known[key]
            todo.extend(other for other, _ in face.facing)
            todo.extend([face.back.id] if face.back is not None else [])
    return [found[key] for key in sorted(found)]


def _pieces(
    sides: Sequence[Face], place: dict[str, int], step_s: float, soil: str, moisture: str
) -> tuple[IntArray, FloatArray, FloatArray, FloatArray]:
    """Give ends, conduction, terms and room of every piece, as `physics.wall_kernel` wants them."""
    firsts = [side for side in sides if side.back is None or side.id < side.back.id]
    bodies = [
        _body_of(side.layers, side.behind, side.back is not None, soil, moisture, step_s, WALL_TERMS) for side in firsts
    ]
    backs = [len(sides) + number if side.back is None else place[side.back.id] for number, side in enumerate(firsts)]
    return (
        np.column_stack([[place[side.id] for side in firsts], backs]),
        np.array([conduction for conduction, _ in bodies]),
        np.array([terms for _, terms in bodies]),
        np.array([side.indoor_c if side.behind == "indoor" else np.nan for side in firsts]),
    )


def _links(sides: Sequence[Face], place: dict[str, int]) -> tuple[IntArray, IntArray, FloatArray]:
    """Give who sees whom: where a side's list begins, whom it sees, and by what share."""
    seen = [[(place[other], share) for other, share in side.facing if other in place] for side in sides]
    flat = [link for links in seen for link in links]
    return (
        np.concatenate(([0], np.cumsum([len(links) for links in seen]))).astype(np.intp),
        np.array([other for other, _ in flat], dtype=np.intp),
        np.array([share for _, share in flat], dtype=np.float64),
    )


def _sun(
    sides: Sequence[Face], link_at: IntArray, link_to: IntArray, link_share: FloatArray, steps: Steps
) -> tuple[FloatArray, FloatArray]:
    """Give the shares of beam, shape (side, step), and diffuse light on level ground that fall on each side.

    What faces throw to each other, however often, is the solution of one linear system.
    """
    direct = [_sun_shares(side, steps) for side in sides]
    thrown = np.eye(len(sides))
    for side in range(len(sides)):
        for link in range(link_at[side], link_at[side + 1]):
            thrown[side, link_to[link]] -= link_share[link] * (1.0 - sides[link_to[link]].absorptance)
    both = np.column_stack([np.array([beam for beam, _ in direct]), [diffuse for _, diffuse in direct]])
    both = np.linalg.solve(thrown, both)
    return np.ascontiguousarray(both[:, :-1]), np.ascontiguousarray(both[:, -1])


def _sun_shares(face: Face, steps: Steps) -> tuple[FloatArray, float]:
    """Give the shares of beam at every step and of diffuse light that come from sun, sky and ground to a face."""
    bearing, height = steps.sun.azimuth_deg, steps.sun.elevation_deg
    beam = beam_ratio(height, bearing, face.azimuth_deg, face.tilt_deg) * sun_visibility(face, bearing, height)
    ground = GROUND_ALBEDO * (1.0 - float(tilted_sky_view(face.tilt_deg)) if face.ground is None else face.ground)
    return (
        beam + ground * ground_sun_visibility(face, bearing, height),
        (face.sky if face.diffuse is None else face.diffuse) + ground * face.ground_diffuse,
    )


def _numbers(face: Face) -> FloatArray:
    """Give the numbers by which a face deals with sun, sky and air, shape (SIDE_SIZE,)."""
    size = float(np.clip(face.height_m, 0.3, 3.0))
    numbers = np.zeros(SIDE_SIZE)
    numbers[S_SKY], numbers[S_EMISSIVITY], numbers[S_ABSORPTANCE] = face.sky, face.emissivity, face.absorptance
    numbers[S_FORCED], numbers[S_FREE] = forced(size) * sqrt(WALL_WIND), free(size)
    return numbers


def _body(terms: Terms) -> tuple[FloatArray, FloatArray]:
    """Heat into surface and back per kelvin of either within a step, shape (2, 2), and the table of the terms."""
    weights = np.stack([terms.weight, terms.weight_back])
    within = np.stack([terms.direct, terms.direct_back]) - weights @ terms.new
    columns = [terms.decay, terms.old[:, 0], terms.new[:, 0], terms.old[:, 1], terms.new[:, 1], *weights, *terms.rest.T]
    return within, np.column_stack(columns)
