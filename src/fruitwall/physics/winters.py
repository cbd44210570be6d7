"""What the trees of a yard would have gone through in many past winters: fast replay, exposures on every night.

All winters are laid on the calendar of one season and are marched side by side, as the members of a simulation. On
every night every treatment acts; which of them a household would have chosen is for others to pick from the result.

Notes
-----
**Calendar.** Hours are counted from the season's first hour on, so a winter with a leap day keeps it: its nights after
28 February bear the true date and lie a day earlier in the calendar than their names say. The sun is that of the
calendar's year. Counted so, the sun of any other year of the same decades is at most a day away (the start of a year
against the sun shifts by six hours a year, and is put back every fourth), which is 0.4° of elevation at noon in March.

**Nights that cannot matter.** `night_bound` says how cold an uncovered plant can get at most. Where that is not below
the level of a tree in any of its tissues, the night is left out: no exposures are gathered. Winters without any other
night are not marched for that tree, and a season ends with its last one. All before it is marched hour by hour,
because a ground that wore a cover the night before is another ground: what is kept is the same to the last bit as in
a replay of everything. A tree whose every treatment has a cover is never left out: the bound says nothing of covers.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.body import TISSUES, Body
from fruitwall.physics.checked import Range, check_range
from fruitwall.physics.exposure import DURATIONS_H
from fruitwall.physics.faces import Face
from fruitwall.physics.night import OFFSET, _check, _March
from fruitwall.physics.spot import Spot
from fruitwall.physics.steps import Blocks, blocks_of
from fruitwall.physics.treatment import Night, Treatment
from fruitwall.weather.forcing import HOUR, VARIABLES, Forcing, as_datetime64, say_hour
from fruitwall.weather.wind import wind_at_height

FloatArray = NDArray[np.float64]
SmallArray = NDArray[np.float32]
BoolArray = NDArray[np.bool_]

BEFORE_DAYS = 10
"""Days of past weather before the first night, in which ground and walls find their temperature: after ten, night
minima are 0.03 K off in the root mean square (study of the method). [d]"""

LEVEL = Range(-90.0, 10.0, "°C")
"""Levels for which the bound holds: a leaf in the sun warms only as long as it is below some 11 °C. [°C]"""

PART_BYTES = 4_000_000
"""Room for what the kernel writes at a time; trees are marched in parts that fit."""

LANES_AXIS = {"forcing": 0, "start": 0, "leak": 0, "walls": 1, "thrown": 1, "rooms": 1}
"""Arrays of a march that hold winters in their last axis, and the axis of their blocks."""


@dataclass(frozen=True, eq=False)
class Replay:
    """What every tree went through in every winter under every treatment.

    Exposures are NaN where a night was left out, where a tissue is absent and where a tree has fewer treatments than
    the longest list. They are kept in single precision (a millionth of a kelvin).

    Attributes
    ----------
    coldest_c : ndarray, shape (tree, treatment, winter, night, tissue, duration)
        Lowest running mean over each of `DURATIONS_H`, tissues as in `TISSUES`. [°C]
    minimum_c : ndarray, shape (tree, treatment, winter, night, tissue)
        Lowest value. [°C]
    air_minimum_c : ndarray, shape (tree, treatment, winter, night)
        Lowest temperature of the air at the leaves. [°C]
    yard_minimum_c : ndarray, shape (winter, night)
        Lowest temperature that the weather itself has, as a forecast would have told it; never left out. [°C]
    kept : ndarray of bool, shape (tree, winter, night)
        Nights that may matter to the tree; the others are left out.
    bound_c : ndarray, shape (tree, winter, night, tissue), or None
        No uncovered treatment of the tree got colder than this; -999 where nothing can be said. None if no levels were
        given. [°C]
    evenings : ndarray of datetime64[D], shape (winter, night)
        Dates of the evenings in each winter.
    nights : tuple of Night
        Of the calendar.
    treatment_keys : tuple of tuple of str
        Keys by tree.
    marched_share : float
        Tree-winter-hours marched over all.
    """

    coldest_c: SmallArray
    minimum_c: SmallArray
    air_minimum_c: SmallArray
    yard_minimum_c: SmallArray
    kept: BoolArray
    bound_c: SmallArray | None
    evenings: NDArray[np.datetime64]
    nights: tuple[Night, ...]
    treatment_keys: tuple[tuple[str, ...], ...]
    marched_share: float = field(default=1.0)

    @property
    def left_out_share(self) -> float:
        """Share of tree-nights left out. [0-1]"""
        return 1.0 - float(self.kept.mean())


def replay(
    winters: Sequence[Forcing],
    spots: Sequence[Spot],
    bodies: Sequence[Body],
    treatments: Sequence[Sequence[Treatment]],
    nights: Sequence[Night],
    *,
    level_c: ArrayLike | None = None,
    faces: Sequence[Face] = (),
    soil: str = "loam",
    moisture: str = "moist",
    step_minutes: int = 60,
    before_days: int = BEFORE_DAYS,
    threads: int = 2,
    clear_night_offset_k: float = 0.0,
    single_precision: bool = False,
    part_bytes: int = PART_BYTES,
) -> Replay:
    """March a yard through many winters.

    Parameters
    ----------
    winters : sequence of Forcing, one member each
        Hourly weather of one place, each with all hours of one season: from `before_days` before the first night to the
        end of the last, of any year.
    spots, bodies : sequence, one per tree
        Home spot and body of each tree.
    treatments : sequence of sequence of Treatment, one list per tree
        What could be done for each; all of it is done on every night.
    nights : sequence of Night
        Of one season, in order; their year is the calendar's, and its sun that of all winters. In the middle of the
        years replayed is best.
    level_c : array_like, broadcast to (tree, tissue), optional
        Temperatures of the tissues below which a night may matter (such as the temperature of half injury plus four
        scales), at most 10; NaN: that tissue does not count. Left out, every night is kept. [°C]
    faces : sequence of Face
        Walls that the spots refer to.
    soil, moisture : str
        Ordinary ground of the yard, as for `simulate`.
    step_minutes : int
        Time step: 60, or a divisor of 30. [min]
    before_days : int
        Days of weather before the first night, 1 to 60. [d]
    threads : int
        Threads to use, at least 1; the result does not depend on it.
    clear_night_offset_k : float
        How much warmer the yard is than the weather's place on a clear still night, -10 to 10. [K]
    single_precision : bool
        March in single precision, as for `simulate`.
    part_bytes : int
        Room for what the kernel writes at a time; more of it saves some time for very many trees with the same needs.
        The result does not depend on it.

    Returns
    -------
    Replay

    Raises
    ------
    ValueError
        If a winter lacks an hour, has several members or is of another place, lists differ in length, or a value is
        outside its range.
    """
    check_range("clear_night_offset_k", clear_night_offset_k, OFFSET)
    check_range("before_days", before_days, Range(1, 60, "d"))
    forcing, evenings = lay_out(winters, nights, before_days=before_days)
    _check(forcing, spots, bodies, treatments, nights, step_minutes, threads)
    levels = _levels(level_c, len(bodies))
    march = _March(
        forcing, spots, bodies, treatments, nights, faces, soil, moisture, step_minutes, clear_night_offset_k
    )
    kept, bound = _screen(march, treatments, levels, len(nights), threads)
    if single_precision:
        for name in LANES_AXIS:  # once, not for every part
            setattr(march, name, getattr(march, name).astype(np.float32))
    return _march_parts(march, bodies, treatments, nights, kept, bound, evenings, threads, part_bytes)


def lay_out(
    winters: Sequence[Forcing], nights: Sequence[Night], *, before_days: int = BEFORE_DAYS
) -> tuple[Forcing, NDArray[np.datetime64]]:
    """Lay winters side by side on the calendar of one season.

    Parameters
    ----------
    winters : sequence of Forcing, one member each
        Of one place.
    nights : sequence of Night
        Of the calendar.
    before_days : int
        Days before the first night that are needed too. [d]

    Returns
    -------
    Forcing
        With a winter for each member, at the calendar's hours, wind at the height of the first winter's.
    ndarray of datetime64[D], shape (winter, night)
        Dates of the evenings in each winter.

    Raises
    ------
    ValueError
        If a winter lacks an hour, holds several seasons or members, or is of another place.
    """
    if not winters:
        raise ValueError("winters must hold at least one winter, got none")
    if not nights:
        raise ValueError("nights must hold at least one night, got none")
    first = winters[0]
    begin = as_datetime64(_full_hour(nights[0].start_utc)) - 24 * before_days * HOUR
    # A night may end between two hours, where clocks are half an hour off: the last full hour before it is enough.
    hours = int((as_datetime64(nights[-1].end_utc) - begin) // HOUR) + 1
    parts, evenings = [], []
    for number, winter in enumerate(winters):
        _check_winter(number, winter, first)
        shift = _days_to(number, winter, begin, hours, nights[0].name)
        at = int((begin + shift - winter.time_utc[0]) // HOUR)
        part = {name: getattr(winter, name)[0, at : at + hours] for name in VARIABLES}
        part["wind_m_s"] = part["wind_m_s"] * wind_at_height(1.0, winter.wind_height_m, first.wind_height_m)
        parts.append(part)
        evenings.append([np.datetime64(night.name, "D") + shift.astype("timedelta64[D]") for night in nights])
    arrays: dict[str, Any] = {name: np.stack([part[name] for part in parts]) for name in VARIABLES}
    forcing = replace(
        first,
        time_utc=begin + HOUR * np.arange(hours),
        **arrays,
        source="; ".join(dict.fromkeys(winter.source for winter in winters)),
        n_history=0,
        warnings=tuple(dict.fromkeys(each for winter in winters for each in winter.warnings)),
    )
    return forcing, np.array(evenings)


def _full_hour(moment: datetime) -> datetime:
    """Last full hour (UTC) at or before a moment."""
    return moment.astimezone(UTC).replace(minute=0, second=0, microsecond=0)


def _check_winter(number: int, winter: Forcing, first: Forcing) -> None:
    """Refuse ensembles, and weather of another place than the first winter's."""
    if winter.n_members != 1:
        raise ValueError(f"winters[{number}] must have 1 member, got {winter.n_members}")
    for name in ("latitude_deg", "longitude_deg", "elevation_m"):
        if getattr(winter, name) != getattr(first, name):
            raise ValueError(
                f"all winters must be of one place, got {name} {getattr(winter, name):g} in winters[{number}] and "
                f"{getattr(first, name):g} in winters[0]"
            )
    if (winter.time_utc[0] - first.time_utc[0].astype("datetime64[h]")) % HOUR != np.timedelta64(0, "s"):
        raise ValueError(f"winters[{number}] must have its stamps at full hours, got {winter.time_utc[0]}")


def _days_to(number: int, winter: Forcing, begin: np.datetime64, hours: int, first_evening: date) -> np.timedelta64:
    """Whole days from the calendar to a winter's own dates."""
    years = range(winter.start_utc.year - 1, winter.end_utc.year + 2)
    shifts = [np.datetime64(_in_year(first_evening, year), "D") - np.datetime64(first_evening, "D") for year in years]
    there = [int(_overlap(winter, begin + shift, hours)) for shift in shifts]
    whole = [shift for shift, count in zip(shifts, there, strict=True) if count == hours]
    if len(whole) > 1:
        raise ValueError(
            f"winters[{number}] must hold one season, got {len(whole)} ({say_hour(winter.time_utc[0])} to "
            f"{say_hour(winter.time_utc[-1])}); cut it into one forcing for each"
        )
    if whole:
        return np.timedelta64(whole[0])
    shift = shifts[int(np.argmax(there))]
    start, end = begin + shift, begin + shift + (hours - 1) * HOUR
    missing = start if start < winter.time_utc[0] or start > winter.time_utc[-1] else winter.time_utc[-1] + HOUR
    raise ValueError(
        f"winters[{number}] ({winter.source}) lacks the hour {say_hour(missing)}: its weather runs from "
        f"{say_hour(winter.time_utc[0])} to {say_hour(winter.time_utc[-1])}, its season from {say_hour(start)} to "
        f"{say_hour(end)}"
    )


def _in_year(day: date, year: int) -> date:
    """Give the same day of another year; 1 March for 29 February where there is none."""
    try:
        return day.replace(year=year)
    except ValueError:
        return date(year, 3, 1)


def _overlap(winter: Forcing, start: np.datetime64, hours: int) -> int:
    """Give how many hours of a season a winter has."""
    low, high = max(start, winter.time_utc[0]), min(start + (hours - 1) * HOUR, winter.time_utc[-1])
    return max(int((high - low) // HOUR) + 1, 0)


def _levels(level_c: ArrayLike | None, trees: int) -> FloatArray | None:
    """Levels by tree and tissue; those that do not count are far below everything."""
    if level_c is None:
        return None
    check_range("level_c", level_c, LEVEL)
    given = np.asarray(level_c, dtype=np.float64)
    try:
        levels = np.broadcast_to(given, (trees, len(TISSUES)))
    except ValueError:
        raise ValueError(
            f"level_c must broadcast to ({trees}, {len(TISSUES)}), tree by tissue, got shape {given.shape}"
        ) from None
    return np.where(np.isnan(levels), -np.inf, levels)


def _screen(
    march: _March,
    treatments: Sequence[Sequence[Treatment]],
    levels: FloatArray | None,
    n_nights: int,
    threads: int,
) -> tuple[BoolArray, SmallArray | None]:
    """Nights that may matter, shape (tree, winter, night), and the bounds, shape (tree, winter, night, tissue)."""
    shape = (len(treatments), march.blocks.members, n_nights)
    if levels is None:
        return np.ones(shape, dtype=bool), None
    from fruitwall.physics.night_bound import NO_PROMISE, night_bounds

    open_to_sky = np.array([not each.covered for of_tree in treatments for each in of_tree])
    bounds = night_bounds(march, open_to_sky, threads=threads)
    out = np.full((*shape, len(TISSUES)), NO_PROMISE, dtype=np.float32)
    kept = np.ones(shape, dtype=bool)
    for tree, cases in enumerate(_cases_of(treatments)):
        uncovered = cases[open_to_sky[cases]]
        if uncovered.size:
            classes = dict.fromkeys(bounds.class_of[uncovered].tolist())
            lowest = np.min([bounds.of_class(number) for number in classes], axis=0)
            kept[tree] = (lowest < levels[tree]).any(axis=-1)
            out[tree] = lowest
    return kept, out


def _cases_of(treatments: Sequence[Sequence[Treatment]]) -> list[NDArray[np.int64]]:
    """Numbers of the cases of every tree."""
    ends = np.cumsum([len(each) for each in treatments])
    return [np.arange(end - len(each), end) for end, each in zip(ends, treatments, strict=True)]


@dataclass(frozen=True, eq=False)
class _Part:
    """Trees that are marched together: which winters, and how many steps."""

    trees: NDArray[np.int64]
    winters: NDArray[np.int64]
    nights: NDArray[np.int64]


def _parts(
    kept: BoolArray, cases_of: Sequence[NDArray[np.int64]], bytes_a_night: int, part_bytes: int
) -> Iterator[_Part]:
    """Put trees with about the same needs together, as many as there is room for."""
    needs: BoolArray = np.asarray(kept.any(axis=2))  # [tree, winter]
    counts = needs.sum(axis=1)
    in_any: BoolArray = np.asarray(kept.any(axis=1))  # [tree, night]
    order = [tree for tree in np.lexsort((-kept.sum(axis=(1, 2)), -counts)) if counts[tree]]
    group: list[int] = []

    def made() -> _Part:
        """Part of the trees so far."""
        some = np.array(group)
        return _Part(some, np.flatnonzero(needs[some].any(axis=0)), np.flatnonzero(in_any[some].any(axis=0)))

    for tree in order:
        if group:
            more = np.array([*group, tree])
            nights, winters = in_any[more].any(axis=0).sum(), needs[more].any(axis=0).sum()
            size = sum(cases_of[each].size for each in more) * nights * blocks_of(int(winters)).count * bytes_a_night
            width = blocks_of(int(counts[group[0]])).width
            if size > part_bytes or blocks_of(int(counts[tree])).width < width:
                yield made()
                group = []
        group.append(int(tree))
    if group:
        yield made()


def _march_parts(
    march: _March,
    bodies: Sequence[Body],
    treatments: Sequence[Sequence[Treatment]],
    nights: Sequence[Night],
    kept: BoolArray,
    bound: SmallArray | None,
    evenings: NDArray[np.datetime64],
    threads: int,
    part_bytes: int,
) -> Replay:
    """March what may matter, part by part, and lay out what comes of it."""
    cases_of = _cases_of(treatments)
    n, winters, n_nights = kept.shape
    shape = (n, max(len(each) for each in treatments), winters, n_nights)
    coldest = np.full((*shape, len(TISSUES), len(DURATIONS_H)), np.nan, dtype=np.float32)
    minimum = np.full((*shape, len(TISSUES)), np.nan, dtype=np.float32)
    air = np.full(shape, np.nan, dtype=np.float32)
    values = len(TISSUES) * (len(DURATIONS_H) + 1) + 2
    marched = 0
    for part in _parts(kept, cases_of, values * k.LANES * 8, part_bytes):
        cases = np.concatenate([cases_of[tree] for tree in part.trees])
        some = _cut(march, cases, part)
        raw = some.run(keep_series=False, threads=threads, single=march.forcing.dtype == np.float32)
        low, lowest, lowest_air = (some.blocks.take(each) for each in (raw.low, raw.lowest, raw.air))
        row = 0
        for tree in part.trees:
            where = np.ix_(part.winters, part.nights)
            only = kept[tree][where]
            for place in range(cases_of[tree].size):
                for to, found in ((coldest, low), (minimum, lowest), (air, lowest_air)):
                    taken = found[:, row]
                    taken[~only] = np.nan
                    to[tree, place][where] = taken
                row += 1
        marched += cases.size * part.winters.size * some.forcing.shape[1]
        del some, raw, low, lowest, lowest_air, found, taken  # before the next part takes as much again
    absent = np.array([[_is_absent(name, body) for name in TISSUES] for body in bodies])
    tree, tissue = np.nonzero(absent)
    coldest[tree, :, :, :, tissue] = np.nan
    minimum[tree, :, :, :, tissue] = np.nan
    return Replay(
        coldest_c=coldest,
        minimum_c=minimum,
        air_minimum_c=air,
        yard_minimum_c=_yard_minimum(march, n_nights),
        kept=kept,
        bound_c=bound,
        evenings=evenings,
        nights=tuple(nights),
        treatment_keys=tuple(tuple(treatment.key for treatment in each) for each in treatments),
        marched_share=marched / (sum(each.size for each in cases_of) * winters * march.steps.n_steps),
    )


def _yard_minimum(march: _March, n_nights: int) -> SmallArray:
    """Lowest air of the weather on every night, shape (winter, night). [°C]"""
    night, air = march.clock.night, march.steps.t_air_c
    lowest = [air[:, night == number].min(axis=1, initial=np.inf) for number in range(n_nights)]
    return np.stack(lowest, axis=1).astype(np.float32)


def _is_absent(tissue: str, body: Body) -> bool:
    """Whether a plant lacks a tissue."""
    return (tissue == "leaf" and not body.leafy) or (tissue == "fruit" and bool(np.isnan(body.fruit_diameter_m)))


def _cut(march: _March, cases: NDArray[np.int64], part: _Part) -> _March:
    """Give a march of some cases through some winters, up to the last night that is asked for.

    Made from arrays of the whole season: rooms, walls and phases are what they are in a march of everything.
    """
    some = copy.copy(march)
    clock = march.clock
    number = np.full(int(clock.night.max()) + 2, -1)  # the last is for steps outside all nights
    number[part.nights] = np.arange(part.nights.size)
    night = number[clock.night]
    end = int(np.flatnonzero(night >= 0)[-1]) + 1
    some.clock = replace(clock, night=night)
    some.cases = replace(
        march.cases, **{each.name: _rows(getattr(march.cases, each.name), cases) for each in fields(march.cases)}
    )
    if part.winters.size < march.blocks.members:
        some.blocks = blocks_of(int(part.winters.size))
        for name, axis in LANES_AXIS.items():
            values = getattr(march, name)[:, :end] if name == "forcing" else getattr(march, name)
            setattr(some, name, _winters_of(values, axis, march.blocks, some.blocks, part.winters))
    some.forcing = np.ascontiguousarray(some.forcing[:, :end])
    return some


def _rows(values: Any, cases: NDArray[np.int64]) -> Any:
    """Take some cases from an array or list with the case first."""
    return values[cases] if isinstance(values, np.ndarray) else [values[case] for case in cases]


def _winters_of(values: FloatArray, axis: int, before: Blocks, after: Blocks, winters: NDArray[np.int64]) -> FloatArray:
    """Lay some winters of an array [..., block, ..., LANES] out anew, spare lanes as `Blocks.lay` fills them."""
    of_blocks = np.moveaxis(values, axis, 0)
    of_blocks = of_blocks.reshape(*of_blocks.shape[:-1], -1, k.LANES)
    out = np.empty((after.count, *of_blocks.shape[1:]), dtype=values.dtype)
    for block in range(after.count):
        lane = np.minimum(np.arange(k.LANES), after.width - 1) + block * after.width
        member = winters[np.minimum(lane, after.members - 1)]
        for source in np.unique(member // before.width):
            here = np.flatnonzero(member // before.width == source)
            for lane_to, lane_from in zip(here, member[here] % before.width, strict=True):
                out[block, ..., lane_to] = of_blocks[source, ..., lane_from]
    return np.ascontiguousarray(np.moveaxis(out.reshape(*out.shape[:-2], -1), 0, axis))
