"""What the cold of a winter adds up to at every tree: as it was, and had the tree been left alone.

Levels are those of the tree itself, each at the tissue that it hurts, and round numbers that are the same for all. A
winter is compared with earlier ones up to the same day, and with the climate of the place where that is known.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, cast, get_args
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.cold_sums import ColdSums, march_cold, no_cold
from fruitwall.plants.tolerance import LEAF, ROOT, TISSUES, TWIG, WOOD
from fruitwall.service.cold_climate import climate_cold
from fruitwall.service.cold_document import (
    ColdCount,
    Coldest,
    ColdLedger,
    ColdLevel,
    ColdLine,
    ColdNight,
    Tissue,
    TreeCold,
    WinterCold,
)
from fruitwall.service.kept import Kept
from fruitwall.weather.forcing import as_datetime64

if TYPE_CHECKING:
    from fruitwall.plants.tolerance import Tolerance
    from fruitwall.service.house import House
    from fruitwall.service.spot_hours import SpotHours
    from fruitwall.yard.model import Yard

Array = NDArray[np.float64]

FIRST_MONTH = {True: 10, False: 4}
"""Month in which a winter begins, by whether the yard lies north of the equator."""

MONTHS = 8
"""A winter is told to the end of May, in the south of November: a late freeze on new growth belongs to it. Our
judgement."""

FIXED_C = (0.0, -2.0, -4.0)
FIXED_F = (32.0, 28.0, 24.0)
"""Round numbers, for whoever reads °C and for whoever reads °F. Growers' reports are written in them; our choice."""

EARLIEST_YEARS = 40
"""How many winters back is looked for weather that the journal knows. Our judgement."""

GRADES_OF = {LEAF: (1, 2, 3, 4), TWIG: (5,), WOOD: (6, 7), ROOT: (2, 5, 7)}
"""Grades told, by tissue; of roots the first harm, half and the end, since they go through all seven."""

TOLD_FIRST: tuple[Tissue, ...] = ("leaf", "twig", "wood")
"""The first of these that a tree has is told: its leaf, its twigs where it stands bare."""


@dataclass(frozen=True)
class Winter:
    """A span of time.

    Attributes
    ----------
    name : str
        Such as ``2026/27``; in the south ``2026``.
    since, until : datetime, aware
    """

    name: str
    since: datetime
    until: datetime


def winter_on(day: date, latitude_deg: float, zone: ZoneInfo) -> Winter:
    """Give the winter of a day; the last one if the day lies between two.

    Parameters
    ----------
    day : date
    latitude_deg : float
    zone : ZoneInfo

    Returns
    -------
    Winter
        From midnight to midnight of the yard's clock.
    """
    north = latitude_deg >= 0
    begins = FIRST_MONTH[north]
    year = day.year if day.month >= begins else day.year - 1
    end_year, end_month = (year + 1, begins + MONTHS - 12) if begins + MONTHS > 12 else (year, begins + MONTHS)
    name = f"{year}/{(year + 1) % 100:02d}" if north else str(year)
    since, until = (
        datetime.combine(one, time(), zone).astimezone(UTC)
        for one in (date(year, begins, 1), date(end_year, end_month, 1))
    )
    return Winter(name, since, until)


def night_numbers(time_utc: NDArray[np.datetime64], zone: ZoneInfo) -> NDArray[np.int64]:
    """Give the night of each hour, as the days from 1970 to the date of its evening.

    Parameters
    ----------
    time_utc : ndarray of datetime64[s] [hour]
        Ends of the hours.
    zone : ZoneInfo

    Returns
    -------
    ndarray of int [hour]
        A night goes from noon to noon of the yard's clock.
    """
    ends = time_utc.astype("datetime64[s]").astype(np.int64)
    found = np.empty(ends.size, dtype=np.int64)
    for at, seconds in enumerate(ends.tolist()):
        middle = datetime.fromtimestamp(seconds - 1800, zone)
        evening = middle.date() if middle.hour >= 12 else middle.date() - timedelta(days=1)
        found[at] = evening.toordinal() - _EPOCH
    return found


_EPOCH = date(1970, 1, 1).toordinal()


def night_date(number: int) -> date:
    """Give the date of the evening of a night of `night_numbers`."""
    return date.fromordinal(int(number) + _EPOCH)


# ---------------------------------------------------------------- levels


def levels_of(tolerance: Tolerance) -> list[ColdLevel]:
    """Give the levels at which is counted: the tree's own ones, warmest first by tissue, then the round numbers.

    Parameters
    ----------
    tolerance : Tolerance
        What the tree stands.

    Returns
    -------
    list of ColdLevel
        Levels of tissues that it has; the round ones are of the tissue that is told first.
    """
    from fruitwall.plants.injury import first_injury_c

    first = told_tissue(tolerance)
    begins = first_injury_c(tolerance, first)[1]
    found = [_level("begins", "begins", first, begins)] if np.isfinite(begins) else []
    if np.isfinite(tolerance.chill_level_c):
        found.append(_level("chill", "chill", "leaf", tolerance.chill_level_c))
    if np.isfinite(tolerance.flower_c):
        tissue: Tissue = "leaf" if np.isfinite(tolerance.threshold_c[LEAF]).any() else "twig"
        found.append(_level("flower", "flower", tissue, tolerance.flower_c))
    if np.isfinite(tolerance.fruit_c):
        found.append(_level("fruit", "fruit", "fruit", tolerance.fruit_c))
    for tissue_at, grades in GRADES_OF.items():
        for grade in grades:
            level = float(tolerance.threshold_c[tissue_at, grade])
            if np.isfinite(level):
                name = _tissue(tissue_at)
                found.append(ColdLevel(key=f"{name}-{grade}", kind="grade", grade=grade, tissue=name, level_c=level))
    found += [_level(f"fixed-{level:g}C", "fixed", first, level) for level in FIXED_C]
    found += [_level(f"fixed-{level:g}F", "fixed", first, (level - 32.0) / 1.8) for level in FIXED_F]
    return found


def _level(key: str, kind: str, tissue: Tissue, level_c: float) -> ColdLevel:
    return ColdLevel.model_validate({"key": key, "kind": kind, "tissue": tissue, "level_c": float(level_c)})


def _tissue(at: int) -> Tissue:
    return cast("Tissue", TISSUES[at])


def told_tissue(tolerance: Tolerance) -> Tissue:
    """Give the tissue that is told first: the leaf, or what a bare tree has."""
    rows = {name: tolerance.threshold_c[TISSUES.index(name)] for name in TOLD_FIRST}
    return next((name for name in TOLD_FIRST if np.isfinite(rows[name]).any()), "wood")


# ---------------------------------------------------------------- counting


@dataclass(frozen=True, eq=False)
class _Counted:
    """Sums of one tree by tissue, with what was done and without."""

    done: Mapping[Tissue, ColdSums]
    alone: Mapping[Tissue, ColdSums]


def count(
    hours: SpotHours, nights: NDArray[np.int64], levels: Sequence[ColdLevel], part: slice, before: _Counted | None
) -> _Counted:
    """Count the cold of some hours on top of what was counted before.

    Parameters
    ----------
    hours : SpotHours
    nights : ndarray of int [hour]
        As `night_numbers` gives them.
    levels : sequence of ColdLevel
    part : slice
        Of the hours.
    before : _Counted or None
        None to begin.

    Returns
    -------
    _Counted
    """
    tissues = [one for one in get_args(Tissue) if any(level.tissue == one for level in levels)]

    def march(felt: object, known: Mapping[Tissue, ColdSums] | None) -> dict[Tissue, ColdSums]:
        found: dict[Tissue, ColdSums] = {}
        for tissue in tissues:
            begun = no_cold([one.level_c for one in levels if one.tissue == tissue]) if known is None else known[tissue]
            found[tissue] = march_cold(begun, getattr(felt, f"{tissue}_c")[0, part], nights[part])
        return found

    return _Counted(
        march(hours.done, None if before is None else before.done),
        march(hours.alone, None if before is None else before.alone),
    )


def winter_cold(
    winter: Winter, hours: SpotHours, nights: NDArray[np.int64], levels: Sequence[ColdLevel], counted: _Counted, n: int
) -> WinterCold:
    """Write down what was counted.

    Parameters
    ----------
    winter : Winter
        To the hour that was counted last.
    hours : SpotHours
    nights : ndarray of int [hour]
    levels : sequence of ColdLevel
    counted : _Counted
    n : int
        How many hours were counted, from the first on.

    Returns
    -------
    WinterCold
    """
    lines = []
    place: dict[Tissue, int] = {}
    for level in levels:
        at = place.get(level.tissue, 0)
        place[level.tissue] = at + 1
        done, alone = (_count(sums[level.tissue], at) for sums in (counted.done, counted.alone))
        lines.append(ColdLine(level=level, done=done, alone=alone))
    coldest = []
    for tissue in place:
        done_sums, alone_sums = counted.done[tissue], counted.alone[tissue]
        if done_sums.known_h and alone_sums.known_h:
            coldest.append(
                Coldest(
                    tissue=tissue,
                    done_c=done_sums.minimum_c,
                    done_night=night_date(nights[done_sums.minimum_at]),
                    alone_c=alone_sums.minimum_c,
                    alone_night=night_date(nights[alone_sums.minimum_at]),
                )
            )
    return WinterCold(
        name=winter.name,
        since=winter.since,
        until=winter.until,
        hours=n,
        known_hours=int(hours.known[:n].sum()),
        coldest=coldest,
        lines=[one for one in lines if any(each.tissue == one.level.tissue for each in coldest)],
    )


def _count(sums: ColdSums, at: int) -> ColdCount:
    return ColdCount(
        nights=int(sums.nights_below[at]),
        hours=int(sums.below_h[at]),
        degree_hours=float(sums.degree_h[at]),
        longest_h=int(sums.longest_h[at]),
    )


# ---------------------------------------------------------------- the ledger of a yard


def cold_ledger(house: House) -> ColdLedger:
    """Give the cold ledger of a yard as it stands.

    Parameters
    ----------
    house : House
        With a yard.

    Returns
    -------
    ColdLedger
        All trees of the yard, also those of which nothing is known.
    """
    _, version = house.yard()
    now = house.clock()
    key = (
        version.yard,
        version.number,
        house.journal.state(),
        house.journal.weather_state(),
        now.replace(minute=0, second=0, microsecond=0),
    )
    return _LEDGERS.of(house.journal, key=key, make=lambda: _ledger(house))


_LEDGERS: Kept[ColdLedger] = Kept(4)


def _ledger(house: House) -> ColdLedger:
    yard, _ = house.yard()
    now = house.clock()
    zone = ZoneInfo(yard.location.time_zone)
    today = now.astimezone(zone).date()
    winter = winter_on(today, yard.location.latitude_deg, zone)
    until = min(now, winter.until)
    stands = stands_of(house, yard, today)
    levels = {tree: levels_of(one) for tree, one in stands.items()}
    this = _winter_of(house, Winter(winter.name, winter.since, until), levels, zone)
    earlier = [
        (_winter_of(house, one, levels, zone, cut=until - winter.since))
        for one in _earlier(house, winter, yard.location.latitude_deg, zone)
    ]
    source, climate = climate_cold(house, yard, winter, levels, zone)
    trees = []
    for tree in yard.trees:
        own = this.get(tree.id)
        trees.append(
            TreeCold(
                tree=tree.id,
                name=tree.name,
                tissue=told_tissue(stands[tree.id]) if own is not None and own.whole is not None else None,
                begins_c=next((one.level_c for one in levels[tree.id] if one.kind == "begins"), None),
                by_chill=_by_chill(stands[tree.id]),
                winter=own.whole if own is not None else None,
                to_day=[its.to_day for one in earlier if (its := one.get(tree.id)) is not None and its.to_day],
                whole=[its.whole for one in earlier if (its := one.get(tree.id)) is not None and its.whole],
                nights=[one for one in own.nights if _over(one.night, until, zone)] if own is not None else [],
                climate=climate.get(tree.id),
            )
        )
    return ColdLedger(yard=yard.name, winter=winter.name, since=winter.since, until=until, climate=source, trees=trees)


def _over(night: date, until: datetime, zone: ZoneInfo) -> bool:
    """Tell whether a night is over: its lowest hour may be still to come."""
    return datetime.combine(night + timedelta(days=1), time(12), zone) <= until


def _by_chill(tolerance: Tolerance) -> bool:
    """Tell whether harm begins above freezing, by nights that are long rather than cold."""
    chilled = tolerance.chill_level_c - tolerance.chill_dose_k_h[2] / 8.0
    return bool(told_tissue(tolerance) == "leaf" and chilled > tolerance.threshold_c[LEAF, 2])


def stands_of(house: House, yard: Yard, today: date) -> dict[str, Tolerance]:
    """Give what every tree stands in a usual winter, with what was learned: the same for all winters compared."""
    from fruitwall.service.beliefs import beliefs_of
    from fruitwall.service.taught import usual_tolerance

    beliefs = beliefs_of(house)
    return {tree.id: beliefs.stands(tree.id, usual_tolerance(yard, tree.id, today)) for tree in yard.trees}


def _earlier(house: House, winter: Winter, latitude_deg: float, zone: ZoneInfo) -> list[Winter]:
    """Give the earlier winters of which the journal knows some weather, the newest first."""
    from fruitwall.service.past_weather import past_stretches

    known = [(one.forcing.start_utc, one.forcing.end_utc) for one in past_stretches(house)]
    found = []
    day = winter.since.astimezone(zone).date() - timedelta(days=1)
    for _ in range(EARLIEST_YEARS):
        one = winter_on(day, latitude_deg, zone)
        if any(begin < one.until and end > one.since for begin, end in known):
            found.append(one)
        day = one.since.astimezone(zone).date() - timedelta(days=1)
    return found


@dataclass(frozen=True)
class _Told:
    """One tree in one winter."""

    whole: WinterCold | None
    to_day: WinterCold | None
    nights: list[ColdNight]


def _winter_of(
    house: House,
    winter: Winter,
    levels: Mapping[str, Sequence[ColdLevel]],
    zone: ZoneInfo,
    cut: timedelta | None = None,
) -> dict[str, _Told]:
    """Count one winter at every tree; with `cut` also up to that time after its beginning."""
    from fruitwall.service.spot_hours import season_hours

    all_hours = season_hours(house, winter.since, winter.until)
    nights: dict[bytes, NDArray[np.int64]] = {}
    found = {}
    for tree, hours in all_hours.items():
        if tree not in levels:
            continue
        stamp = hours.time_utc.tobytes()
        if stamp not in nights:  # all trees have the same hours
            nights[stamp] = night_numbers(hours.time_utc, zone)
        found[tree] = told(winter, hours, nights[stamp], levels[tree], cut)
    return found


def told(
    winter: Winter,
    hours: SpotHours,
    nights: NDArray[np.int64],
    levels: Sequence[ColdLevel],
    cut: timedelta | None = None,
) -> _Told:
    """Count one winter at one tree.

    Parameters
    ----------
    winter : Winter
    hours : SpotHours
    nights : ndarray of int [hour]
    levels : sequence of ColdLevel
    cut : timedelta, optional
        How long after its beginning the other count stops.

    Returns
    -------
    _Told
        Without what is not known at all.
    """
    size = hours.time_utc.size
    counted, to_day = None, None
    if cut is not None:
        n = int(np.searchsorted(hours.time_utc, as_datetime64(winter.since + cut), "right"))
        if n:
            counted = count(hours, nights, levels, slice(0, n), None)
            so_far = Winter(winter.name, winter.since, winter.since + cut)
            to_day = winter_cold(so_far, hours, nights, levels, counted, n)
            counted = count(hours, nights, levels, slice(n, size), counted)
    if counted is None:
        counted = count(hours, nights, levels, slice(0, size), None)
    whole = winter_cold(winter, hours, nights, levels, counted, size)
    first = levels[-1].tissue  # the round levels are of the tissue that is told
    return _Told(
        whole if whole.coldest else None,
        to_day if to_day is not None and to_day.coldest else None,
        list(_nights(counted.done[first], counted.alone[first])) if whole.coldest else [],
    )


def _nights(done: ColdSums, alone: ColdSums) -> Iterable[ColdNight]:
    left = dict(zip(alone.night.tolist(), alone.night_minimum_c.tolist(), strict=True))
    for number, minimum in zip(done.night.tolist(), done.night_minimum_c.tolist(), strict=True):
        if number in left:
            yield ColdNight(night=night_date(number), done_c=minimum, alone_c=left[number])
