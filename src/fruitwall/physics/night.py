"""Simulate the nights of a yard: every tree under every measure in every ensemble member.

Air, leaf, cover and ground balance at every step; ground, walls, wood, fruit and root ball keep heat. The model is set
out in ``docs/model-night.md``, the arrays in `physics.kernel_rows`.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.air import pressure_at
from fruitwall.physics.body import TISSUES, Body
from fruitwall.physics.cases import Cases, Clock, Setting, build, clock_of
from fruitwall.physics.checked import Range, check_range
from fruitwall.physics.constants import STANDARD_PRESSURE_KPA, STEFAN_BOLTZMANN, ZERO_C_K
from fruitwall.physics.exposure import DURATIONS_H, SERIES, NightResult
from fruitwall.physics.faces import Face
from fruitwall.physics.rooms import Room, room_temperature
from fruitwall.physics.soil import season_of
from fruitwall.physics.spot import Spot, sun_visibility
from fruitwall.physics.spread import NO_SPREAD, Spread, spread_steps
from fruitwall.physics.steps import Blocks, Steps, blocks_of, forcing_blocks, steps_of
from fruitwall.physics.treatment import LEAVE, Night, Treatment
from fruitwall.weather.forcing import Forcing

__all__ = ["DURATIONS_H", "LEAVE", "SERIES", "TISSUES", "Body", "Night", "NightResult", "Treatment", "simulate"]

FloatArray = NDArray[np.float64]

START_DAYS = 5
"""Ground and walls start at the mean air temperature of this many first days, the depths warmer by what the year's
wave has left there (`soil.lag_k`). [d]"""

OFFSET = Range(-10.0, 10.0, "K")


def simulate(
    forcing: Forcing,
    spots: Sequence[Spot],
    bodies: Sequence[Body],
    treatments: Sequence[Sequence[Treatment]],
    nights: Sequence[Night],
    *,
    faces: Sequence[Face] = (),
    soil: str = "loam",
    moisture: str = "moist",
    step_minutes: int = 15,
    keep_series: bool = False,
    threads: int = 2,
    clear_night_offset_k: float = 0.0,
    single_precision: bool = False,
    spread: Spread = NO_SPREAD,
    rng: np.random.Generator | None = None,
) -> NightResult:
    """March all trees and treatments through the weather and give what their tissues go through.

    Parameters
    ----------
    forcing : Forcing, [member, time]
        Hourly weather; five to ten past days before the first night let soil and walls find their temperature (after
        one day night minima are 0.2 K off in the root mean square, after five 0.06 K).
    spots, bodies : sequence, one per tree
        Home spot and body of each tree.
    treatments : sequence of sequence of Treatment, one list per tree
        What could be done for each.
    nights : sequence of Night
        In order, not overlapping, each within the forcing; its last hour may be the last full one before the night's
        end, where noon is no full hour of UTC.
    faces : sequence of Face
        Walls that the spots refer to; a wall not among them is taken to be at air temperature.
    soil : {"sand", "loam", "clay"}
    moisture : {"dry", "moist", "wet"}
        Ordinary ground of the yard.
    step_minutes : int
        Time step, a divisor of 30, or 60; with 60 the coldest half hour is the coldest hour. [min]
    keep_series : bool
        Also give the temperatures of all steps.
    threads : int
        Threads to use, at least 1; the result does not depend on it.
    clear_night_offset_k : float
        How much warmer the yard is than the forecast's place on a clear still night, -10 to 10. [K]
    single_precision : bool
        March in single precision: nearly twice as fast, within a few thousandths of a kelvin.
    spread : Spread
        How far the model's own uncertain parameters scatter from member to member; none of them does by default.
    rng : numpy.random.Generator or None
        Draws them.

    Returns
    -------
    NightResult

    Raises
    ------
    ValueError
        If lists differ in length, a night lies outside the forcing or overlaps the one before, or a value is outside
        its range.
    """
    _check(forcing, spots, bodies, treatments, nights, step_minutes, threads)
    check_range("clear_night_offset_k", clear_night_offset_k, OFFSET)
    march = _March(
        forcing,
        spots,
        bodies,
        treatments,
        nights,
        faces,
        soil,
        moisture,
        step_minutes,
        clear_night_offset_k,
        spread,
        rng,
    )
    results = march.run(keep_series=keep_series, threads=threads, single=single_precision)
    return _collect(march, results, bodies, treatments, nights)


def _check(
    forcing: Forcing,
    spots: Sequence[Spot],
    bodies: Sequence[Body],
    treatments: Sequence[Sequence[Treatment]],
    nights: Sequence[Night],
    step_minutes: int,
    threads: int,
) -> None:
    """Refuse what does not fit together."""
    if not len(spots) == len(bodies) == len(treatments):
        raise ValueError(
            f"spots, bodies and treatments must have one entry for each tree, got {len(spots)}, {len(bodies)} and "
            f"{len(treatments)}"
        )
    if not spots or not all(treatments):
        raise ValueError("there must be at least one tree, and at least one treatment for each")
    if not nights:
        raise ValueError("nights must hold at least one night, got none")
    if step_minutes != 60 and (step_minutes < 1 or 30 % step_minutes):
        raise ValueError(f"step_minutes must be a divisor of 30, or 60, got {step_minutes!r}")
    if threads < 1:
        raise ValueError(f"threads must be at least 1, got {threads!r}")
    for number, night in enumerate(nights):
        # Where clocks are half an hour off, noon lies between two hours: the last full hour before it is enough.
        if night.start_utc < forcing.start_utc or night.end_utc - forcing.end_utc >= timedelta(hours=1):
            raise ValueError(
                f"night {night.name} runs from {night.start_utc} to {night.end_utc}, outside the weather's "
                f"{forcing.start_utc} to {forcing.end_utc}"
            )
        if number and night.start_utc < nights[number - 1].end_utc:
            raise ValueError(f"night {night.name} begins before night {nights[number - 1].name} ends")


@dataclass(frozen=True, eq=False)
class _Raw:
    """What the kernel wrote: [block, case, night, ...] and lanes last."""

    low: FloatArray
    lowest: FloatArray
    air: FloatArray
    series: FloatArray


class _March:
    """All arrays of one simulation."""

    def __init__(
        self,
        forcing: Forcing,
        spots: Sequence[Spot],
        bodies: Sequence[Body],
        treatments: Sequence[Sequence[Treatment]],
        nights: Sequence[Night],
        faces: Sequence[Face],
        soil: str,
        moisture: str,
        step_minutes: int,
        offset_k: float,
        spread: Spread = NO_SPREAD,
        rng: np.random.Generator | None = None,
    ) -> None:
        from fruitwall.physics.wall_march import march_walls

        steps, leak = spread_steps(steps_of(forcing, step_minutes), spread, rng)
        self.steps: Steps = steps
        self.blocks: Blocks = blocks_of(self.steps.n_members)
        self.clock: Clock = clock_of(self.steps.time_utc, nights)
        self.forcing = forcing_blocks(self.steps, self.blocks)
        first_days = round(START_DAYS * 86_400 / self.steps.step_s)
        first_mean = self.steps.t_air_c[:, :first_days].mean(axis=1)
        self.setting = Setting(
            soil,
            moisture,
            offset_k,
            self.steps.step_s,
            float(pressure_at(forcing.elevation_m)) / STANDARD_PRESSURE_KPA,
            season_of(forcing.time_utc[0], forcing.latitude_deg),
        )
        self.start = self.blocks.lay(first_mean)
        self.leak = self.blocks.lay(leak)
        needed = {wall for spot in spots for wall in spot.wall_ids}
        needed |= {wall for each in treatments for t in each if t.spot is not None for wall in t.spot.wall_ids}
        seen = [face for face in faces if face.id in needed]
        faced = march_walls(seen, self.steps, self.blocks, self.forcing, self.start, soil, moisture, among=faces)
        self.walls, self.thrown = faced.temperature_c, faced.reflected_w_m2
        in_rooms = _cases_in_rooms(treatments)
        rooms = list(dict.fromkeys(in_rooms.values()))
        self.rooms = self._lay_rooms(rooms, len(nights))
        self.cases: Cases = build(
            spots,
            bodies,
            treatments,
            self.clock,
            self.setting,
            {face.id: number for number, face in enumerate(seen)},
            {case: rooms.index(room) for case, room in in_rooms.items()},
        )
        _check_finite(self.cases, self.forcing)

    def _lay_rooms(self, rooms: Sequence[Room], n_nights: int) -> FloatArray:
        """Temperatures of the indoor places, shape (room, block, step, LANES)."""
        on = ~np.isnan(self.clock.on)
        during = [np.flatnonzero(on & (self.clock.night == night)) for night in range(n_nights)]
        nights = [(int(steps[0]), int(steps[-1])) for steps in during if steps.size]
        yard_air = self.steps.t_air_c + self.setting.offset_k * self.steps.cooling
        laid = [self.blocks.lay(room_temperature(room, yard_air, self.steps.step_s, nights)) for room in rooms]
        return np.array(laid) if laid else np.zeros((1, self.blocks.count, 1, k.LANES))

    def run(self, *, keep_series: bool, threads: int, single: bool = False) -> _Raw:
        """March everything, in single precision if asked for."""
        from fruitwall.physics import kernel, kernel_single
        from fruitwall.physics.kernel import FAR_ABOVE

        march = (kernel_single if single else kernel).marcher()
        real = np.float32 if single else np.float64
        # In single precision twice as many lanes make a vector; spare lanes repeat the last member.
        width = -(-self.blocks.width // 8) * 8 if single else self.blocks.width
        cases, blocks, clock = self.cases, self.blocks, self.clock
        n, n_nights = cases.phase.shape[0], int(clock.night.max()) + 1
        visible = self._visible()
        per_half_hour = round(1800 / self.steps.step_s)  # 0 where a step is a whole hour: then the levels begin there
        levels = len(DURATIONS_H) - (per_half_hour == 0)
        shape = (blocks.count, n, n_nights)
        raw = _Raw(
            low=np.full((*shape, len(TISSUES), levels, k.LANES), FAR_ABOVE, dtype=real),
            lowest=np.full((*shape, len(TISSUES), k.LANES), FAR_ABOVE, dtype=real),
            air=np.full((*shape, k.LANES), FAR_ABOVE, dtype=real),
            series=np.zeros((blocks.count, n if keep_series else 0, self.steps.n_steps, k.HISTORY_SIZE), dtype=real),
        )
        inside = [np.flatnonzero(clock.night == night) for night in range(n_nights)]
        first = np.array([steps[0] for steps in inside])
        last = np.array([steps[-1] for steps in inside])

        weather = [self.forcing, self.walls, self.thrown, self.rooms, self.start, self.leak, visible]
        weather = [each.astype(real, copy=False) for each in weather]
        params, change, shares, low_shares, bodies = (
            each.astype(real, copy=False)
            for each in (cases.params, cases.change, cases.face_shares, cases.face_low, cases.bodies)
        )

        def part(job: tuple[int, NDArray[np.int64]]) -> None:
            """March some cases of one block."""
            block, some = job
            march(
                some, block, width, *weather, cases.phase, params, cases.ground, change,
                cases.face_ids, shares, low_shares, cases.room_of, bodies,
                clock.night, first, last, real(self.steps.step_s), max(per_half_hour, 1), levels,
                raw.low[block], raw.lowest[block], raw.air[block], raw.series[block],
            )  # fmt: skip

        chunks = np.array_split(np.arange(n), min(n, 8 * threads if threads > 1 else 1))
        jobs = [(block, chunk) for block in range(blocks.count) for chunk in chunks]
        if threads == 1 or len(jobs) == 1:
            for job in jobs:
                part(job)
        else:
            with ThreadPoolExecutor(threads) as pool:
                list(pool.map(part, jobs))
        if per_half_hour == 0:
            return replace(raw, low=np.concatenate([raw.low[..., :1, :], raw.low], axis=-2))
        return raw

    def _visible(self) -> FloatArray:
        """Share of beam sun that reaches every case's spot at every step, shape (case, step)."""
        sun = self.steps.sun
        by_spot: dict[int, FloatArray] = {}
        for spot in self.cases.spots:
            if id(spot) not in by_spot:
                by_spot[id(spot)] = sun_visibility(spot, sun.azimuth_deg, sun.elevation_deg)
        return np.array([by_spot[id(spot)] for spot in self.cases.spots])


def _cases_in_rooms(treatments: Sequence[Sequence[Treatment]]) -> dict[int, Room]:
    """Numbers of the cases that are carried in, and where."""
    flat = [treatment for each in treatments for treatment in each]
    return {number: treatment.room for number, treatment in enumerate(flat) if treatment.room is not None}


def _check_finite(cases: Cases, forcing: FloatArray) -> None:
    """Refuse NaN before the kernel: comparisons there would let it pass for a number."""
    if not np.isfinite(forcing).all():
        raise ValueError("the weather must be known at every step, got NaN after interpolation")
    bad = np.flatnonzero(~np.isfinite(cases.params).all(axis=(1, 2)))
    if bad.size:
        raise ValueError(f'spot "{cases.spots[int(bad[0])].id}" has a property that is not a number')


def _collect(
    march: _March,
    raw: _Raw,
    bodies: Sequence[Body],
    treatments: Sequence[Sequence[Treatment]],
    nights: Sequence[Night],
) -> NightResult:
    """Lay the kernel's results out by tree and treatment."""
    blocks = march.blocks
    counts = [len(each) for each in treatments]
    most, n = max(counts), len(counts)
    tree = np.repeat(np.arange(n), counts)
    place = np.concatenate([np.arange(count) for count in counts])

    def spread(values: FloatArray) -> FloatArray:
        """From [block, case, ..., LANES] to [tree, treatment, member, ...]."""
        by_member = blocks.take(values)
        out = np.full((n, most, *by_member.shape[:1], *by_member.shape[2:]), np.nan)
        out[tree, place] = np.moveaxis(by_member, 1, 0)
        return out

    low, lowest = spread(raw.low), spread(raw.lowest)
    air = spread(raw.air)
    absent = {
        "leaf": [not body.leafy for body in bodies],
        "fruit": [bool(np.isnan(body.fruit_diameter_m)) for body in bodies],
    }
    for name, missing in absent.items():
        low[np.array(missing), :, :, :, TISSUES.index(name)] = np.nan
        lowest[np.array(missing), :, :, :, TISSUES.index(name)] = np.nan
    series = None
    if raw.series.shape[1]:
        rows = raw.series.reshape(*raw.series.shape[:3], k.HISTORY_ROWS, k.LANES)
        laid = spread(rows)
        series = dict(zip(SERIES, np.moveaxis(laid, -1, 0), strict=True))
        series["sky"] = (series["sky"] / STEFAN_BOLTZMANN) ** 0.25 - ZERO_C_K
        for name, missing in absent.items():
            series[name][np.array(missing)] = np.nan
        for i, each in enumerate(treatments):
            for j, treatment in enumerate(each):
                if not treatment.covered:
                    series["cover"][i, j] = np.nan
    return NightResult(
        coldest_c=low,
        minimum_c=lowest,
        air_minimum_c=air,
        nights=tuple(nights),
        treatment_keys=tuple(tuple(treatment.key for treatment in each) for each in treatments),
        series=series,
        time_utc=march.steps.time_utc if series is not None else None,
    )
