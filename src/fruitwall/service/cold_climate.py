"""What the climate of the place would have brought to every tree left alone, winter by winter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from hashlib import sha256
from typing import TYPE_CHECKING, Any, get_args

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.cold_sums import march_cold, no_cold
from fruitwall.service.cold_document import ClimateCold, ClimateLine, ColdLevel, ColdRange, Tissue
from fruitwall.service.kept import Kept
from fruitwall.weather.forcing import HOUR, VARIABLES, Forcing, as_datetime64
from fruitwall.weather.wind import wind_at_height

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from fruitwall.learning.spots import Offset
    from fruitwall.service.cold_ledger import Winter
    from fruitwall.service.house import House
    from fruitwall.yard.model import Yard

Array = NDArray[np.float64]

MOST_YEARS = 30
"""The newest so many winters are marched: a normal of the World Meteorological Organization is over thirty years."""

KNOWN_SHARE = 0.6
"""Share of a winter that must be known for it to count: November to March, the cold months. Our judgement."""

FEWEST = 3
"""Fewer winters have no tenth and ninetieth percentile that mean anything. Our judgement."""

PIECE_DAYS, SPIN_UP_DAYS = 31, 7
"""Marched at once, and hours before in which ground and walls find their heat."""

STEP_MINUTES = 60
"""Coarser than the past: what is told is a middle over winters. [min]"""


@dataclass(frozen=True, eq=False)
class _Winters:
    """Winters side by side on the calendar of one of them.

    Attributes
    ----------
    forcing : Forcing, [winter, hour]
        Hours that are not known hold the value of the nearest known one.
    known : ndarray of bool [winter, hour]
    source : str
    """

    forcing: Forcing
    known: NDArray[np.bool_]
    source: str


def climate_cold(
    house: House, yard: Yard, winter: Winter, levels: Mapping[str, Sequence[ColdLevel]], zone: ZoneInfo
) -> tuple[str, Mapping[str, ClimateCold]]:
    """Count the cold of the winters of the climate at every tree left alone.

    Parameters
    ----------
    house : House
    yard : Yard
        As it stands.
    winter : Winter
        On whose calendar the others are laid; it is none of them.
    levels : Mapping of tree to sequence of ColdLevel
    zone : ZoneInfo
        Of the yard.

    Returns
    -------
    str
        Where the winters come from, in English; empty without a climate, or with too few winters.
    Mapping of tree to ClimateCold
    """
    from fruitwall.service.climate import climate_of

    climate = climate_of(house)
    if climate is None:
        return "", {}
    side_by_side = winters_of(climate.years, climate.source, winter, zone)
    if side_by_side is None:
        return "", {}
    from fruitwall.service.spot_offsets import learned_offsets

    _, version = house.yard()
    offsets = learned_offsets(house)
    forcing = side_by_side.forcing
    # By content: an entry of the ledger makes another climate object of the same years.
    key = (
        version.sha256,
        winter.name,
        repr(sorted(levels.items())),
        sha256(forcing.t_air_c.tobytes() + forcing.t_dew_c.tobytes() + forcing.wind_m_s.tobytes()).hexdigest(),
        tuple((name, *(round(each, 2) for each in one.mean)) for name, one in sorted(offsets.items())),
    )
    counted = _COUNTED.of(key=key, make=lambda: _count(yard, side_by_side, levels, zone, offsets))
    return str(side_by_side.source), counted


_COUNTED: Kept[Mapping[str, ClimateCold]] = Kept(4)


def winters_of(years: Sequence[Forcing], source: str, winter: Winter, zone: ZoneInfo) -> _Winters | None:
    """Lay the winters of the climate side by side.

    Parameters
    ----------
    years : sequence of Forcing
    source : str
    winter : Winter
        On whose calendar they are laid.
    zone : ZoneInfo

    Returns
    -------
    _Winters or None
        None if fewer than `FEWEST` are known well enough.
    """
    from fruitwall.service.cold_ledger import winter_on

    first = as_datetime64(winter.since)
    size = int((as_datetime64(winter.until) - first) // HOUR)
    time_utc = first + HOUR * np.arange(size)
    rows: list[dict[str, Array]] = []
    known: list[NDArray[np.bool_]] = []
    seen = {winter.name}
    for year in reversed(years):
        middle = (year.start_utc + (year.end_utc - year.start_utc) / 2).astimezone(zone).date()
        its = winter_on(middle, year.latitude_deg, zone)
        # Hours count from the winter's first one on, so after a leap day the date is off by one.
        at = np.arange(size) + int((as_datetime64(its.since) - year.time_utc[0]) // HOUR)
        there = (at >= 0) & (at < year.n_times)
        if there.mean() < KNOWN_SHARE or its.name in seen or len(rows) == MOST_YEARS:
            continue
        seen.add(its.name)
        at = np.clip(at, 0, year.n_times - 1)
        row = {name: getattr(year, name)[0, at] for name in VARIABLES}
        row["wind_m_s"] = row["wind_m_s"] * wind_at_height(1.0, year.wind_height_m, 10.0)
        rows.append(row)
        known.append(there)
    if len(rows) < FEWEST:
        return None
    newest = years[-1]
    arrays: dict[str, Any] = {name: np.stack([row[name] for row in rows]) for name in VARIABLES}
    forcing = Forcing(
        time_utc=time_utc,
        **arrays,
        latitude_deg=newest.latitude_deg,
        longitude_deg=newest.longitude_deg,
        elevation_m=newest.elevation_m,
        source=source,
        issued_utc=winter.until,
        wind_height_m=10.0,
        n_history=size,
    )
    return _Winters(forcing, np.stack(known), source)


def _count(
    yard: Yard,
    winters: _Winters,
    levels: Mapping[str, Sequence[ColdLevel]],
    zone: ZoneInfo,
    offsets: Mapping[str, Offset],
) -> Mapping[str, ClimateCold]:
    from fruitwall.service.cold_ledger import night_numbers

    felt = _felt(yard, winters, offsets)
    nights = night_numbers(winters.forcing.time_utc, zone)
    return {tree: of_winters(its, winters.known, nights, levels[tree]) for tree, its in felt.items() if tree in levels}


def _felt(yard: Yard, winters: _Winters, offsets: Mapping[str, Offset]) -> dict[str, dict[str, Array]]:
    """March the winters side by side; gives [winter, hour] by tree and tissue."""
    from fruitwall.service.spot_march import march_trees
    from fruitwall.weather.forcing import as_datetime

    forcing = winters.forcing
    tissues = get_args(Tissue)
    shape = forcing.n_members, forcing.n_times
    found = {tree.id: {name: np.full(shape, np.nan) for name in tissues} for tree in yard.trees}
    for begin in range(0, forcing.n_times, PIECE_DAYS * 24):
        end = min(begin + PIECE_DAYS * 24, forcing.n_times)
        start = forcing.time_utc[begin]
        spin_up = max(forcing.start_utc, as_datetime(start) - timedelta(days=SPIN_UP_DAYS))
        part = forcing.select(spin_up, as_datetime(forcing.time_utc[end - 1]))
        marched = march_trees(yard, part, start, {}, offsets, step_minutes=STEP_MINUTES)
        if marched is None:
            return {}
        for tree, its in marched.trees.items():
            for name in tissues:
                found[tree][name][:, begin:end] = its[f"alone_{name}"]
    return found


def of_winters(
    felt: Mapping[str, Array], known: NDArray[np.bool_], nights: NDArray[np.int64], levels: Sequence[ColdLevel]
) -> ClimateCold:
    """Count winters at one tree and give what lies in the middle of them.

    Parameters
    ----------
    felt : Mapping of tissue to ndarray [winter, hour]
    known : ndarray of bool [winter, hour]
        Hours that count.
    nights : ndarray of int [hour]
    levels : sequence of ColdLevel
        The last one is at the tissue that is told.

    Returns
    -------
    ClimateCold
    """
    told = levels[-1].tissue
    counts: dict[str, list[tuple[int, int, float]]] = {level.key: [] for level in levels}
    coldest: list[float] = []
    tissues = [one for one in get_args(Tissue) if any(level.tissue == one for level in levels)]
    for row in range(known.shape[0]):
        for tissue in tissues:
            own = [level for level in levels if level.tissue == tissue]
            hours = np.where(known[row], felt[tissue][row], np.nan)
            sums = march_cold(no_cold([level.level_c for level in own]), hours, nights)
            below = sums.nights_below
            for at, level in enumerate(own):
                counts[level.key].append((int(below[at]), int(sums.below_h[at]), float(sums.degree_h[at])))
            if tissue == told:
                coldest.append(sums.minimum_c)
    lines = []
    for level in levels:
        nights_of, hours_of, degree_hours_of = zip(*counts[level.key], strict=True)
        lines.append(
            ClimateLine(
                level=level, nights=_range(nights_of), hours=_range(hours_of), degree_hours=_range(degree_hours_of)
            )
        )
    return ClimateCold(years=known.shape[0], coldest_c=_range(coldest), lines=lines)


def _range(values: Sequence[float]) -> ColdRange:
    low, middle, high = np.quantile(np.asarray(values, dtype=np.float64), [0.1, 0.5, 0.9])
    return ColdRange(p10=float(low), p50=float(middle), p90=float(high))
