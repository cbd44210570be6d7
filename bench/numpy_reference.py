"""The kernel's march once more in plain NumPy: the baseline of its speed, and a check of its lanes.

The same equations, the same scheme and the same number of Newton passes as `physics.kernel`, with the lane functions of
`bench.numpy_lanes`; all cases and members at once, time is the only loop. `march` takes a prepared `_March` of
`physics.night` and gives what its `run` gives.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.numpy_lanes import (
    Z_ROWS,
    FloatArray,
    IntArray,
    State,
    barrel_step,
    body_step,
    freeze,
    front,
    fruit_step,
    ground_answer,
    ground_march,
    ground_now,
    guess,
    indoors,
    newton_covered,
    newton_open,
    root_ball,
    root_depth,
    settled,
    surround,
    walls,
    wood_radiation,
)
from fruitwall.physics import kernel_rows as k
from fruitwall.physics.body import TISSUES
from fruitwall.physics.exposure import DURATIONS_H
from fruitwall.physics.kernel import FAR_ABOVE, PASSES, PASSES_AFTER_JUMP, PASSES_AT_JUMP
from fruitwall.physics.night import _March

F_ROWS = range(0, k.FORCING_SIZE, k.LANES)
X_ROWS = range(0, k.STATE_SIZE, k.LANES)
H_STATE = (k.X_AIR, k.X_COVER, k.X_SOIL, k.X_DOWN)
"""What a series keeps beside the tissues."""

NEWTON_READS = (
    k.X_LEAF, k.X_AIR, k.X_COVER, k.X_SOIL, k.X_TA, k.X_EA, k.X_ROOT_U, k.X_LENV, k.X_TWALL, k.X_EWALL_LOW, k.X_SUN,
    k.X_RETURN, k.X_COLD, k.X_THAW, k.X_LEAK, k.X_BARREL,
)  # fmt: skip
NEWTON_WRITES = (k.X_LEAF, k.X_AIR, k.X_COVER, k.X_SOIL, k.X_DOWN)
POT_ROWS = (k.X_AIR, k.X_SOIL, k.X_RIM, k.X_CORE, k.X_RIM_H, k.X_CORE_H, k.X_SHADE)
"""What a root ball is marched with."""

FRUIT_ROWS = (k.X_FRUIT, k.X_FRUIT_ICE, k.X_HALF0, k.X_HALF, k.X_AIR0, k.X_AIR)
BARREL_ROWS = (k.X_BARREL, k.X_BARREL_H, k.X_AIR0, k.X_AIR, k.X_SUN)
BODIES = (
    (k.X_TWIG, k.X_OPEN0, k.X_OPEN, k.B_TWIG_C, k.B_TWIG_A, k.B_TWIG_B),
    (k.X_WOOD, k.X_SHADE0, k.X_SHADE, k.B_WOOD_C, k.B_WOOD_A, k.B_WOOD_B),
    (k.X_FRUIT, k.X_HALF0, k.X_HALF, k.B_FRUIT_C, k.B_FRUIT_A, k.B_FRUIT_B),
)
"""Temperature, radiation of the step before and of this one, heat capacity, forced and free exchange."""


def solve(x: State, parts: list[Part]) -> None:
    """Newton passes with or without cover, part of the cases by part."""
    for part in parts:
        some = {row: x[row][part.cases] for row in NEWTON_READS}
        for _ in range(part.passes):
            if part.covered:
                newton_covered(some, part.p, part.own, part.stiff)
            else:
                newton_open(some, part.p, part.own, part.stiff)
        for row in NEWTON_WRITES:
            if isinstance(part.cases, slice):
                x[row] = some[row]
            else:
                x[row] = x[row].copy()
                x[row][part.cases] = some[row]


def change_ground(x: State, matrix: FloatArray, water: FloatArray) -> None:
    """Turn the ground's terms into those of its wetted state; `matrix` is [case, TERMS, TERMS + 2]."""
    soil = x[k.X_SOIL]
    known = np.stack([*(x[row] for row in Z_ROWS), soil, np.broadcast_to(water, soil.shape)], axis=1)
    for term, row in enumerate(Z_ROWS):
        x[row] = (matrix @ known)[:, term]


def march_bodies(x: State, b: FloatArray, dt: float, wind: FloatArray, freezing: IntArray) -> None:
    """Bring twig, limb and fruit to the end of the step; `wind` is the root of it at them."""
    frozen = {row: x[row][freezing] for row in FRUIT_ROWS}
    for row, rad0, rad1, c, forced, free in BODIES:
        body_step(x, row, rad0, rad1, dt / b[c], b[forced], b[free], wind)
    if freezing.size:
        fruit_step(frozen, b[:, freezing], dt, wind[freezing])
        for row in (k.X_FRUIT, k.X_FRUIT_ICE):
            x[row][freezing] = frozen[row]


def begin(p: FloatArray, b: FloatArray, start: FloatArray, leak: FloatArray) -> State:
    """Everything at one temperature; a root ball that starts below zero starts frozen."""
    t = np.broadcast_to(start, (p.shape[1], start.shape[-1]))
    x: State = {row: np.zeros(t.shape) for row in X_ROWS}
    for row in (
        k.X_LEAF, k.X_AIR, k.X_COVER, k.X_SOIL, k.X_TWIG, k.X_WOOD, k.X_FRUIT, k.X_RIM, k.X_CORE, k.X_BARREL,
    ):  # fmt: skip
        x[row] = t.copy()
    x[k.X_FRUIT_ICE] = np.where(t < b[k.B_FRUIT_FREEZES], b[k.B_FRUIT_L], 0.0)
    for row, c, ice in (
        (k.X_RIM_H, k.B_RIM_C, k.B_RIM_L),
        (k.X_CORE_H, k.B_CORE_C, k.B_CORE_L),
        (k.X_BARREL_H, k.B_BARREL_C, k.B_BARREL_L),
    ):
        x[row] = b[c] * t - np.where(t < 0.0, b[ice], 0.0)
    x[k.X_LEAK] = np.broadcast_to(leak, t.shape)
    x[k.X_HARD] = np.where(t < 0.0, 1.0, 0.0)
    x[k.X_FRONT] = t.copy()
    for term, row in enumerate(Z_ROWS):
        x[row] = p[k.P_REST + term] * x[k.X_FRONT] + p[k.P_LAG + term]
    return x


def gather(history: FloatArray, per_half_hour: int) -> Iterator[FloatArray]:
    """Lowest running means of one night, duration by duration; `history` is [step, tissue, case, member].

    Where a step is a whole hour (`per_half_hour` is 0) the half hour is that hour.
    """
    sums, length, joins = history, 1, max(per_half_hour, 1)
    for level in range(len(DURATIONS_H)):
        count = max(history.shape[0] - joins * length + 1, 0)
        total = sums[:count]
        for i in range(1, joins):
            total = total + sums[i * length : i * length + count]
        sums, length = total, joins * length
        joins = 1 if level == 0 and per_half_hour == 0 else 2
        yield sums.min(axis=0) / length if count else np.full(history.shape[1:], FAR_ABOVE)


# ---------------------------------------------------------------- through time


@dataclass(frozen=True, eq=False)
class Part:
    """Cases that are solved together."""

    cases: IntArray | slice
    covered: bool
    passes: int
    p: FloatArray
    own: FloatArray
    stiff: FloatArray


@dataclass(frozen=True, eq=False)
class Moment:
    """What holds while no case changes its phase: parameters, and who is solved with whom.

    Attributes
    ----------
    p : ndarray, shape (PARAMETERS, case, 1)
        Of the phase, or of the home where a case is indoors.
    parts : list of Part
        Outdoors.
    inside, covered : ndarray of int
        Cases indoors, and those under a cover.
    wind_mul, wind_add, mix_leaf, mix_cover, mix_air : ndarray, shape (case, 1)
    low : ndarray, shape (case, face)
        Shares of walls in the lower hemisphere.
    """

    p: FloatArray
    parts: list[Part]
    inside: IntArray
    covered: IntArray
    wind_mul: FloatArray
    wind_add: FloatArray
    mix_leaf: FloatArray
    mix_cover: FloatArray
    mix_air: FloatArray
    low: FloatArray


@dataclass(frozen=True, eq=False)
class Result:
    """What a march gives, shapes (case, member, night, ...) and (case, step, row, member).

    Attributes
    ----------
    low, lowest, air : ndarray, shapes (case, member, night, tissue, duration), (case, member, night, tissue) and (case,
        member, night)
    series : ndarray, shape (case, member, step, HISTORY_ROWS), or None
    """

    low: FloatArray
    lowest: FloatArray
    air: FloatArray
    series: FloatArray | None


def march(
    prepared: _March, *, keep_series: bool = False, cases: slice = slice(None), steps: int | None = None
) -> Result:
    """March a prepared simulation with NumPy.

    Parameters
    ----------
    prepared : _March
    keep_series : bool
    cases : slice
        Which.
    steps : int or None
        How many steps, all by default; nights that end later are left out of the results.

    Returns
    -------
    Result
    """
    return Marcher(prepared, cases).run(keep_series, prepared.steps.n_steps if steps is None else steps)


class Marcher:
    """Arrays of a prepared simulation, laid out by [case, member]."""

    def __init__(self, prepared: _March, cases: slice) -> None:
        made, take = prepared.cases, prepared.blocks.take
        self.dt = prepared.steps.step_s
        self.night = prepared.clock.night
        self.params = np.ascontiguousarray(made.params[cases].transpose(2, 1, 0))  # [parameter, phase, case]
        self.b = np.ascontiguousarray(made.bodies[cases].T)[:, :, None]
        self.phase = made.phase[cases]
        self.home = np.maximum(self.phase[:, 0], 0)
        self.ground, self.change, self.room_of = made.ground[cases], made.change[cases], made.room_of[cases]
        self.n = self.phase.shape[0]
        self.every = np.arange(self.n)
        self.potted = np.flatnonzero(self.b[k.B_POTTED, :, 0] > 0.5)
        self.freezing = np.flatnonzero(self.b[k.B_FRUIT_L, :, 0] > 0.0)
        self.barrels = np.flatnonzero(self.b[k.B_BARREL_C, :, 0] > 0.0)
        self.planted = np.flatnonzero(self.b[k.B_POTTED, :, 0] <= 0.5)
        laid = prepared.forcing.reshape(*prepared.forcing.shape[:2], len(F_ROWS), k.LANES)
        self.forcing = np.ascontiguousarray(np.moveaxis(take(laid), 0, -1))[:, :, None]  # [step, row, 1, member]
        self.start, self.leak = take(prepared.start), take(prepared.leak)
        self.rooms = np.array([take(room) for room in prepared.rooms])  # [room, member, step]
        self.walls, self.thrown = (
            np.ascontiguousarray(np.array([take(wall) for wall in faces]).transpose(2, 0, 1))  # [step, face, member]
            for faces in (prepared.walls, prepared.thrown)
        )
        self.visible = prepared._visible()[cases].T[:, :, None]
        faces = len(prepared.walls)
        self.shares = np.zeros((self.n, faces))
        self.low = np.zeros((self.n, made.face_low.shape[1], faces))
        for column in range(made.face_ids.shape[1]):
            ids = made.face_ids[cases, column]
            some = np.flatnonzero(ids >= 0)
            np.add.at(self.shares, (some, ids[some]), made.face_shares[cases, column][some])
            for phase in range(self.low.shape[1]):
                np.add.at(self.low[:, phase], (some, ids[some]), made.face_low[cases, phase, column][some])
        self._moments: dict[bytes, Moment] = {}

    def moment(self, now: IntArray, passes: IntArray) -> Moment:
        """Give what holds with these phases; it is kept, as phases come back night by night."""
        key = now.tobytes() + passes.tobytes()
        if key not in self._moments:
            self._moments[key] = self._moment(now, passes)
        return self._moments[key]

    def _moment(self, now: IntArray, passes: IntArray) -> Moment:
        out = now >= 0
        phase = np.where(out, now, self.home)
        p = np.ascontiguousarray(self.params[:, phase, self.every])[:, :, None]
        under = (p[k.P_COVERED, :, 0] > 0.5) & out
        used = np.where(out[:, None], p, 0.0)
        return Moment(
            p=p,
            parts=self.parts(p, out, passes, p[k.P_OWN], p[k.P_STIFF]),
            inside=np.flatnonzero(~out),
            covered=np.flatnonzero(p[k.P_COVERED, :, 0] > 0.5),
            wind_mul=np.where(under[:, None], p[k.P_IN_WIND_MUL], 1.0),
            wind_add=np.where(under[:, None], p[k.P_IN_WIND_ADD], 0.0),
            mix_leaf=np.where(out[:, None], p[k.P_CONTACT_LEAF], 1.0),
            mix_cover=used[k.P_CONTACT_COVER],
            mix_air=used[k.P_CONTACT_AIR],
            low=self.low[self.every, phase],
        )

    @staticmethod
    def parts(
        p: FloatArray, out: NDArray[np.bool_], passes: IntArray, own: FloatArray, stiff: FloatArray
    ) -> list[Part]:
        """Put cases together that have a cover or not, and need the same number of passes."""
        covered = p[k.P_COVERED, :, 0] > 0.5
        made = []
        for kind in (False, True):
            for count in np.unique(passes[out & (covered == kind)]):
                cases = np.flatnonzero(out & (covered == kind) & (passes == count))
                where: IntArray | slice = slice(None) if cases.size == out.size else cases
                made.append(Part(where, kind, int(count), p[:, cases], own[cases], stiff[cases]))
        return made

    def passes(self, now: IntArray, jump: NDArray[np.bool_]) -> IntArray:
        """Newton passes of this step."""
        heater, thermostat = (self.params[row, np.maximum(now, 0), self.every] for row in (k.P_HEATER, k.P_THERMOSTAT))
        regulated = (heater > 0.0) & (thermostat < FAR_ABOVE)  # its kink needs more passes
        return np.where(jump | regulated, PASSES_AFTER_JUMP, PASSES)

    def weather(self, t: int) -> State:
        """Weather of a step by row."""
        return dict(zip(F_ROWS, self.forcing[t], strict=True))

    def jump(self, x: State, t: int, now: IntArray, which: NDArray[np.bool_], wetted: IntArray) -> None:
        """Let the surfaces of some cases answer a change at once; the stored heat does not."""
        some = np.flatnonzero(which)
        part = {row: value[some] for row, value in x.items()}
        p = self.params[:, now[some], some][:, :, None]
        kind = self.ground[some, now[some]]
        watered = np.flatnonzero(kind != wetted[some])
        if watered.size:
            ground = {row: part[row][watered] for row in (*Z_ROWS, k.X_SOIL)}
            change_ground(ground, self.change[some[watered]], self.start)
            for row in Z_ROWS:
                part[row][watered] = ground[row]
        wetted[some] = kind
        before = max(t - 1, 0)
        walls(part, self.walls[before], self.thrown[before], self.shares[some], self.low[some, now[some]])
        surround(part, self.weather(before), p, self.visible[before, some])
        ground_now(part, p)
        many = np.full(some.size, PASSES_AT_JUMP)
        stiff = np.where(p[k.P_FROZEN_K] > 0.0, p[k.P_STIFF], p[k.P_DIRECT])
        solve(part, self.parts(p, np.ones(some.size, dtype=bool), many, p[k.P_DIRECT], stiff))
        wood_radiation(part, p, self.b[k.B_SHADE, some])
        front(part, p)
        settled(part)
        for row, value in part.items():
            x[row] = x[row].copy()
            x[row][some] = value

    def barrel(self, x: State, m: Moment, now: IntArray) -> None:
        """March the water that some cases have in barrels."""
        some = self.barrels
        part = {row: x[row][some] for row in BARREL_ROWS}
        barrel_step(part, self.b[:, some], self.dt, np.where(now[some, None] >= 0, m.p[k.P_COVERED, some], 0.0))
        for row in (k.X_BARREL, k.X_BARREL_H):
            x[row][some] = part[row]

    def run(self, keep_series: bool, steps: int) -> Result:
        """March all cases through so many steps."""
        nights, members = int(self.night.max()) + 1, self.start.shape[-1]
        shape = (nights, self.n, members)
        low = np.full((nights, len(TISSUES), len(DURATIONS_H), self.n, members), FAR_ABOVE)
        lowest = np.full((nights, len(TISSUES), self.n, members), FAR_ABOVE)
        air = np.full(shape, FAR_ABOVE)
        series = np.zeros((steps, k.HISTORY_ROWS, self.n, members)) if keep_series else None
        longest = max(int(np.sum(self.night == night)) for night in range(nights))
        history = np.zeros((longest, len(TISSUES), self.n, members))
        at = 0  # of the night
        b, potted, planted = self.b, self.potted, self.planted
        x = begin(self.params[:, self.home, self.every][:, :, None], b, self.start, self.leak)
        wetted = self.ground[self.every, self.home]
        before = self.phase[:, 0]
        fresh = np.ones(self.n, dtype=bool)
        for t in range(steps):
            now = self.phase[:, t]
            jump = now != before if t else np.ones(self.n, dtype=bool)
            if (jump & (now >= 0)).any():
                self.jump(x, t, now, jump & (now >= 0), wetted)
            m, f = self.moment(now, self.passes(now, jump)), self.weather(t)
            outdoors = (now >= 0)[:, None]
            slope = np.where((jump | fresh)[:, None] | ~outdoors, 0.0, 1.0)
            guess(x, slope, (m.p[k.P_FROZEN_K] > 0.0) & outdoors)
            walls(x, self.walls[t], self.thrown[t], self.shares, m.low)
            surround(x, f, m.p, self.visible[t])
            ground_answer(x, m.p, self.dt)
            solve(x, m.parts)
            wood_radiation(x, m.p, b[k.B_SHADE])
            if m.inside.size:
                indoors(x, m.inside, self.rooms[self.room_of[m.inside], :, t], f)
            fresh = jump
            inside = x[k.X_FRONT][m.inside]
            front(x, m.p)
            x[k.X_FRONT][m.inside] = inside
            if t > 0:
                ice = x[k.X_ICE]
                freeze(x, m.p, self.dt)
                x[k.X_ICE][m.inside] = ice[m.inside]
                wind = m.wind_mul * x[k.X_ROOT_U] + m.wind_add
                ground_march(x, m.p)
                march_bodies(x, b, self.dt, wind, self.freezing)
                if self.barrels.size:
                    self.barrel(x, m, now)
                part = {row: x[row][potted] for row in POT_ROWS}
                root_ball(part, b[:, potted], self.dt, wind[potted])
                for row in (k.X_RIM, k.X_CORE, k.X_RIM_H, k.X_CORE_H):
                    x[row][potted] = part[row]
            part = {row: x[row][planted] for row in (*Z_ROWS, k.X_FRONT)}
            root_depth(part, b[:, planted])
            x[k.X_RIM][planted] = part[k.X_RIM]
            leaf = m.mix_leaf * x[k.X_LEAF] + m.mix_cover * x[k.X_COVER] + m.mix_air * x[k.X_AIR]
            tissues = (leaf, x[k.X_TWIG], x[k.X_WOOD], x[k.X_FRUIT], x[k.X_RIM])
            if series is not None:
                series[t] = (*tissues, *(x[row] for row in H_STATE))
            night = self.night[t]
            if night >= 0:
                for tissue, value in enumerate(tissues):
                    history[at, tissue] = value
                np.minimum(air[night], x[k.X_AIR], out=air[night])
                at += 1
                if t + 1 == self.night.size or self.night[t + 1] != night:
                    lowest[night] = history[:at].min(axis=0)
                    for level, means in enumerate(gather(history[:at], round(1800 / self.dt))):
                        low[night, :, level] = means
                    at = 0
            before = now
        return Result(
            low=low.transpose(3, 4, 0, 1, 2),
            lowest=lowest.transpose(2, 3, 0, 1),
            air=air.transpose(1, 2, 0),
            series=None if series is None else series.transpose(2, 3, 0, 1),
        )
