"""How cold an uncovered plant can get at most on a night, without marching it: a safe lower bound from weather alone.

Of use where many winters are replayed: nights on which nothing can come near harm need no closer look. It must never
be above what the kernel finds; how far below is a matter of time saved only.

Notes
-----
**Known without any march**, for every step: the spot's air `a` (forecast, hollow, inversion), the wind, the walls
(which depend on no tree), rooms, and the longwave L from above, a mix of sky and of what is at the temperature of air,
walls and roof (X, the coldest of them). Of trees that stand on the same ground the least favourable numbers are taken:
coldest air, least wind, most sky, least exchange. Sun, lamps, heaters and dew only warm (a leaf in the sun warms as
long as it is below some 11 °C: then transpiration takes less than half of what it absorbs); they are left out.

Each surface of the model is in balance with the others and takes up heat the faster the colder it is. So, if the others
are no colder than their bounds, it is no colder than the root of its own balance with the bounds put in for them.
E = σK⁴, ε emissivity, x exchange of the crown's air with that around, h exchange of leaf or ground with the crown's
air, f and g the shares of ground hidden and left free by leaves; (y)⁻ is y where negative, else 0.

1. *Ground*, s. What it takes up in a step is ``own (s - P)``, where P is a mean of its own past temperatures with
   positive weights that sum to one (every relaxing term enters with its square, and nothing flows out below). Put
   in the bounds of the past and P is a bound too:
   ``own (P - s) + ε (L - E_s)⁻ + h (t - s) = 0``, t the air over it (2.) with itself as ground.
   Soil that may be frozen takes up heat at 0 °C as it thaws, and below that it gives some of its own. Then s is no
   colder than the lesser of 0 °C and the root without any heat from below. Ground that is frozen hard at the start
   (below 0 °C) has no water left to freeze and cools as if it had none.
2. *Air*, t. Add the leaf's balance, times f, to the air's: what they exchange cancels. As long as the leaf is the
   colder one, it loses no more than it would at air temperature; if it is the warmer one, it only warms. So
   ``x (a - t) + h (s - t)⁻ + ε f [(L - E_t)⁻ + (B - E_t)⁻] + walls⁻ = 0``, B the lesser of E_s and X.
3. *Leaf*, y: ``ε [(L - E_y)⁻ + g (B - E_y)⁻] + 2 h (t - y) = 0``.
4. *Twig, wood, fruit*: the same with their own h and half the flux. Their temperature falls to that at once and
   rises from it no faster than the slowest of them does; frozen fruit stays at its freezing point until the heat that
   must come in has melted all of it.
5. *Roots in the ground*: the model's mean of the ground's past, with the bounds put in; if some of its weights are
   below zero (by the reduction to six terms) 60 K times their sum are taken off. *Root ball*: no colder than the
   coldest of ground and air with radiation has been since the start; that is weak, and keeps more nights than needed.

The kernel stops after two Newton passes and may be off the root by less than `SOLVER_K`, which is taken off too. A
pass moves at most 4 K, from where a straight line through the last two steps leads. If the air leaps up the kernel's
surfaces lag behind, but stay above where they were, and so above the bound of the step before, unless they had been
falling faster than two passes can make good. After such a fall nothing is promised: the night has the bound -999.

**Covers are not in it.** A dry film may be colder than the air outside, and what is under it colder than in the open.
The bound speaks of what happens to a tree that is left, watered, lit, heated, moved or carried in.

Importing this module loads Numba: do it where a replay begins.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from math import exp, sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics import bound_march as m
from fruitwall.physics import kernel_rows as k
from fruitwall.physics.body import TISSUES
from fruitwall.physics.soil import SOIL_DEPTH_M, lag_k

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fruitwall.physics.night import _March

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SOLVER_K = 0.3
"""How far the kernel may be from the balance after its passes. Our judgement; over ground that does not freeze, 170
random seasons of eight winters and ten trees, some with leaps of the air by 14 K, had nothing below the balance. [K]"""

STEEPEST_FALL_K = 6.0
"""Fall of the air within a step beyond which nothing is promised; two passes make good 8 K. [K]"""

NO_PROMISE = -999.0


@dataclass(frozen=True, eq=False)
class Bounds:
    """Lower bounds of trees that share ground and air.

    Attributes
    ----------
    by_class : ndarray, shape (class, winter, night, 3)
        Of leaf, of twig, wood and fruit, and of roots; -999 where nothing is promised. [°C]
    class_of : ndarray, shape (case,)
        -1 for a case under a cover.
    """

    by_class: FloatArray
    class_of: NDArray[np.int64]

    def of_class(self, number: int) -> FloatArray:
        """Give the bound of every tissue of a class, shape (winter, night, tissue). [°C]"""
        column = [{"leaf": m.OUT_LEAF, "root": m.OUT_ROOT}.get(name, m.OUT_BODY) for name in TISSUES]
        return np.asarray(self.by_class[number][..., column])


def night_bounds(march: _March, uncovered: BoolArray, *, threads: int = 2) -> Bounds:
    """Give how cold uncovered plants can get at most on every night.

    Parameters
    ----------
    march : _March
        Everything that a simulation needs, ready to run.
    uncovered : ndarray, shape (case,)
        Cases without any cover; for the others nothing is said.
    threads : int
        Threads to use.

    Returns
    -------
    Bounds
    """
    groups: dict[tuple[Any, ...], list[int]] = {}
    for case in np.flatnonzero(uncovered):
        groups.setdefault(_kind(march, int(case)), []).append(int(case))
    classes = list(groups.values())
    class_of = np.full(uncovered.size, -1, dtype=np.int64)
    for number, cases in enumerate(classes):
        class_of[cases] = number
    n_nights = int(march.clock.night.max()) + 1
    if not classes:
        return Bounds(np.zeros((0, march.blocks.members, n_nights, 3)), class_of)
    out = np.full((len(classes), march.blocks.count, n_nights, 3, k.LANES), m.FAR)
    jobs = [(number, block) for number in range(len(classes)) for block in range(march.blocks.count)]

    def part(job: tuple[int, int]) -> None:
        """March the bounds of one class and block."""
        number, block = job
        _march_class(march, classes[number], block, out[number, block])

    if threads == 1:
        for job in jobs:
            part(job)
    else:
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(part, jobs))
    by_class = np.array([march.blocks.take(each) for each in out]) - SOLVER_K
    by_class[:, _falls_fast(march, n_nights)] = NO_PROMISE
    return Bounds(by_class, class_of)


def _falls_fast(march: _March, n_nights: int) -> BoolArray:
    """Nights during which, or in the day before which, the air falls too fast for the kernel; (winter, night)."""
    air, night = march.steps.t_air_c, march.clock.night
    falls = np.zeros(air.shape, dtype=bool)
    falls[:, 1:] = np.diff(air, axis=1) < -STEEPEST_FALL_K
    fast = np.zeros((air.shape[0], n_nights), dtype=bool)
    day = round(86_400.0 / march.steps.step_s)
    for number in range(n_nights):
        steps = np.flatnonzero(night == number)
        if steps.size:
            fast[:, number] = falls[:, max(steps[0] - day, 0) : steps[-1] + 1].any(axis=1)
    return fast


def _open_phases(march: _March, case: int) -> NDArray[np.int64]:
    """Numbers of the phases that a case has out of doors."""
    used = np.unique(march.cases.phase[case])
    return np.asarray(used[used >= 0] if (used >= 0).any() else np.zeros(1, dtype=np.int64))


def _kind(march: _March, case: int) -> tuple[Any, ...]:
    """What cases must share to be bounded together: ground, root depth, and about the same air."""
    cases, phases = march.cases, _open_phases(march, case)
    ground = cases.params[case, phases][:, [k.P_FROZEN_K, *range(k.P_OWN, k.PARAMETERS)]]
    body = cases.bodies[case]
    reading = body[k.B_ROOT_SOIL : k.B_ROOT_Z + k.TERMS].tobytes()
    wetted = _wetted_from(march, case)
    air = tuple(round(float(cases.params[case, phases[0], row])) for row in (k.P_COOLING, k.P_WARMER))
    potted = bool(body[k.B_POTTED])
    return np.unique(ground, axis=0).tobytes(), wetted, potted, reading, air, cases.room_of[case] >= 0


def _wetted_from(march: _March, case: int) -> int:
    """First step on which the ground is wet."""
    phase = np.maximum(march.cases.phase[case], 0)
    wet = np.flatnonzero(march.cases.ground[case][phase] > 0)
    return int(wet[0]) if wet.size else march.steps.n_steps


def _march_class(march: _March, cases: Sequence[int], block: int, out: FloatArray) -> None:
    """March one class's bounds through one block of winters."""
    steps, blocks, clock = march.steps, march.blocks, march.clock
    wetted = _wetted_from(march, cases[0])
    numbers, grounds, own = _least(march, cases)
    numbers[m.N_WETTED] = wetted
    rows = march.forcing[block].reshape(steps.n_steps, -1, k.LANES)
    air, wind, sky, cooling, roof = (
        rows[:, int(row) // k.LANES] for row in (k.F_AIR, k.F_WIND, k.F_SKY, k.F_COOLING, k.F_ROOF)
    )
    nothing = np.full((1, k.LANES), m.FAR)
    seen = {int(face) for case in cases for face in march.cases.face_ids[case] if face >= 0}
    wall = np.min([march.walls[face, block] for face in seen], axis=0) if seen else nothing
    inside = {int(march.cases.room_of[case]) for case in cases} - {-1}
    room = np.min([march.rooms[row, block] for row in inside], axis=0) if inside else nothing
    m.march(
        blocks.width, air, wind, sky, cooling, roof, wall, room, march.start[block], numbers, grounds, own,
        clock.night, out,
    )  # fmt: skip


def _least(march: _March, cases: Sequence[int]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Least favourable numbers of some cases on one ground, and the terms of that ground before and after watering."""
    all_params = [march.cases.params[case, phase] for case in cases for phase in _open_phases(march, case)]
    p = np.array(all_params)
    b = march.cases.bodies[list(cases)]
    n = np.zeros(m.NUMBERS)
    n[m.N_COOL], n[m.N_SKY] = p[:, k.P_COOLING].min(), p[:, k.P_SKY].max()
    n[m.N_WARMER] = p[:, k.P_WARMER].min()
    n[m.N_WIND_LO], n[m.N_WIND_HI] = p[:, k.P_WIND].min(), p[:, k.P_WIND].max()
    n[m.N_CALM_LO], n[m.N_CALM_HI] = p[:, k.P_CALM2].min(), p[:, k.P_CALM2].max()
    n[m.N_ROOFED] = float(p[:, k.P_ROOF].max() > 0.0)
    n[m.N_FOLIAGE], n[m.N_GAP] = p[:, k.P_FOLIAGE].max(), 1.0 - p[:, k.P_FOLIAGE].min()
    n[m.N_LEAF_A], n[m.N_LEAF_B] = p[:, k.P_LEAF_A].min(), p[:, k.P_LEAF_B].min()
    n[m.N_SOIL_A], n[m.N_SOIL_B] = p[0, k.P_SOIL_A], p[0, k.P_SOIL_B]
    n[m.N_EXCHANGE0], n[m.N_EXCHANGE1] = p[:, k.P_EXCHANGE0].min(), p[:, k.P_EXCHANGE1].min()
    n[m.N_WALL] = (p[:, k.P_WALL_AIR] * p[:, k.P_WALL_SHARE]).max()
    kinds = (
        (k.B_TWIG_A, k.B_TWIG_B, k.B_TWIG_C),
        (k.B_WOOD_A, k.B_WOOD_B, k.B_WOOD_C),
        (k.B_FRUIT_A, k.B_FRUIT_B, k.B_FRUIT_C),
    )
    n[m.N_BODY_A] = min(b[:, each[0]].min() for each in kinds)
    n[m.N_BODY_B] = min(b[:, each[1]].min() for each in kinds)
    calmest = sqrt(sqrt(n[m.N_CALM_LO]))
    slowest = min(
        ((b[:, a] * calmest + b[:, free] * m.LEAST_ROOT + m.COLDEST_SLOPE) / b[:, heat]).min()
        for a, free, heat in kinds
    )
    n[m.N_RECOVER] = 1.0 - exp(-slowest * march.steps.step_s)
    freezes = b[:, k.B_FRUIT_L] > 0.0
    n[m.N_FREEZES] = b[freezes, k.B_FRUIT_FREEZES].min() if freezes.any() else -m.FAR
    if freezes.any():
        exchange = b[freezes][:, k.B_FRUIT_A] * calmest + b[freezes][:, k.B_FRUIT_B] * m.LEAST_ROOT
        n[m.N_MELT] = march.steps.step_s * (exchange / b[freezes][:, k.B_FRUIT_L]).min()
    n[m.N_POTTED], n[m.N_SKIN] = b[0, k.B_POTTED], b[:, k.B_SKIN_0].min()
    n[m.N_FREEZING] = float(p[:, k.P_FROZEN_K].max() > 0.0)
    n[m.N_DEPTHS] = min(float(lag_k(np.linspace(0.0, SOIL_DEPTH_M, 21), march.setting.season).min()), 0.0)
    dry, wet = p[0], p[0]
    for case in cases[:1]:
        for phase in _open_phases(march, case):
            if march.cases.ground[case, phase] > 0:
                wet = march.cases.params[case, phase]
            else:
                dry = march.cases.params[case, phase]
    grounds = np.zeros((2, 7, k.TERMS))
    for number, row in enumerate((dry, wet)):
        for column, first in zip(
            (m.G_DECAY, m.G_OLD, m.G_NEW, m.G_WEIGHT, m.G_REST, m.G_LAG),
            (k.P_DECAY, k.P_OLD, k.P_NEW, k.P_WEIGHT, k.P_REST, k.P_LAG),
            strict=True,
        ):
            grounds[number, column] = row[first : first + k.TERMS]
        grounds[number, m.G_READ] = b[0, k.B_ROOT_Z : k.B_ROOT_Z + k.TERMS]
    n[m.N_ROOT_SURFACE] = b[0, k.B_ROOT_SOIL]
    if not n[m.N_POTTED]:
        n[m.N_ROOT_LESS] = 60.0 * _below_zero(grounds[1], float(n[m.N_ROOT_SURFACE]))
    return n, grounds, np.array([dry[k.P_OWN], wet[k.P_OWN]])


def _below_zero(ground: FloatArray, surface: float) -> float:
    """Sum of the negative weights with which past surface temperatures make that of the roots."""
    lag = np.arange(2000)[:, None]
    decay = ground[m.G_DECAY] ** lag
    weights = (decay * ground[m.G_READ] * (ground[m.G_NEW] * ground[m.G_DECAY] + ground[m.G_OLD])).sum(axis=1)
    first = surface + float((ground[m.G_READ] * ground[m.G_NEW]).sum())
    return float(-np.minimum(weights, 0.0).sum() - min(first, 0.0))
