"""Harvest by the warmth that a tree needed in its own logged years, at its own spot."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import FruitwallError
from fruitwall.plants.degree_days import degree_days
from fruitwall.plants.growth import Window, bloom_hours, reached_on
from fruitwall.service.growth_document import HeatWindow
from fruitwall.weather.forcing import as_datetime

if TYPE_CHECKING:
    from fruitwall.plants.catalogue import Taxon
    from fruitwall.service.house import House
    from fruitwall.service.spot_hours import SpotHours

Array = NDArray[np.float64]

BASES_C = {"Rutaceae": 12.8}
"""Temperature from which warmth counts for fruit, by family. Citrus: 12.8 °C (55 °F), as commonly used; from memory."""

BASE_C = 10.0
"""The same for all others. Common practice, no source. [°C]"""

LEAST_YEARS = 2
"""So many logged crops before warmth is reckoned with: one alone cannot tell a warm year from a slow one."""

KNOWN_SHARE = 0.95
"""Share of the days between bloom and harvest whose weather must be known. Our judgement."""

LEAST_HOURS = 22
"""Hours of a day that must be known for its extremes. Our judgement."""

AHEAD_DAYS = 300
"""So far ahead warmth is followed at most. [days]"""


def heat_window(
    house: House, tree: str, crops: Sequence[tuple[date, date]], bloom: date, *, known_taxon: Taxon | None
) -> HeatWindow | None:
    """Give when a tree will have had the warmth that its crops needed so far.

    Parameters
    ----------
    house : House
    tree : str
    crops : sequence of (date, date)
        First days of bloom and harvest of its logged crops.
    bloom : date
        First day of the bloom of the crop that is meant, as entered.
    known_taxon : Taxon or None
        Its kind, which gives the base.

    Returns
    -------
    HeatWindow or None
        None with fewer than `LEAST_YEARS` crops whose weather is known, or where the weather since the bloom or the
        climate of the place is not.
    """
    if len(crops) < LEAST_YEARS:
        return None
    from fruitwall.service.spot_hours import coming_hours, season_hours

    zone = ZoneInfo(house.yard()[0].location.time_zone)
    base = BASES_C.get(known_taxon.family, BASE_C) if known_taxon is not None else BASE_C
    since = min(bloom, *(begin for begin, _ in crops))
    now = house.clock()
    try:
        past = season_hours(house, datetime(since.year, since.month, since.day, tzinfo=zone)).get(tree)
        coming = coming_hours(house, now + timedelta(days=AHEAD_DAYS)).get(tree)
    except FruitwallError:
        return None
    if past is None or coming is None:
        return None
    return window_of(daily(past, base, zone), daily(coming, base, zone), crops, bloom, base)


SINCE_MONTH = {True: 10, False: 4}
"""Month from whose first day chill is counted, north and south of the equator; as in all parts of the season."""


def bloom_window(house: House, tree: str, rest_need: float, warmth_need: float) -> Window | None:
    """Give when a tree that rests comes into full bloom, by chill and warmth at its own spot.

    Parameters
    ----------
    house : House
    tree : str
    rest_need : float
        Utah units that end its rest.
    warmth_need : float
        Growing degree hours from there to full bloom.

    Returns
    -------
    Window or None
        8 of 10 courses of the coming weather bloom within it; None without weather of this winter or of other years,
        and where fewer than half of the courses bring it to bloom.
    """
    from fruitwall.service.spot_hours import coming_hours, season_hours

    yard, _ = house.yard()
    zone = ZoneInfo(yard.location.time_zone)
    now = house.clock()
    today = now.astimezone(zone).date()
    month = SINCE_MONTH[yard.location.latitude_deg >= 0]
    year = today.year if today.month >= month else today.year - 1
    try:
        past = season_hours(house, datetime(year, month, 1, tzinfo=zone)).get(tree)
        coming = coming_hours(house, now + timedelta(days=AHEAD_DAYS)).get(tree)
    except FruitwallError:
        return None
    if past is None or coming is None or not past.known.any():
        return None
    return bloom_of_hours(past, coming, rest_need, warmth_need, zone)


def bloom_of_hours(
    past: SpotHours, coming: SpotHours, rest_need: float, warmth_need: float, zone: ZoneInfo
) -> Window | None:
    """Give the same from a tree's hours; hours that are not known add nothing.

    Parameters
    ----------
    past, coming : SpotHours
    rest_need, warmth_need : float
    zone : ZoneInfo

    Returns
    -------
    Window or None
    """
    from fruitwall.plants.chill import growing_degree_hours, utah_units

    # An unknown hour stands as one of hard frost, which gives nothing of either.
    nothing_c = -5.0
    days: list[date] = []
    missed = 0
    for member in coming.done.air_c:
        air = np.concatenate([past.done.air_c[0], member])
        air = np.where(np.isfinite(air), air, nothing_c)
        at = bloom_hours(utah_units(air), growing_degree_hours(air), rest_need, warmth_need)
        if at is None:
            missed += 1
            continue
        stamp = past.time_utc[at] if at < past.time_utc.size else coming.time_utc[at - past.time_utc.size]
        days.append(as_datetime(stamp).astimezone(zone).date())
    if missed > len(days) or not days:
        return None
    days.sort()
    return Window(*(days[round(share * (len(days) - 1))] for share in (0.1, 0.5, 0.9)))


def daily(hours: SpotHours, base_c: float, zone: ZoneInfo) -> tuple[list[date], Array]:
    """Give the degree-days of each day of a tree's hours.

    Parameters
    ----------
    hours : SpotHours
    base_c : float
        From which warmth counts. [°C]
    zone : ZoneInfo
        Of the yard: whose days are meant.

    Returns
    -------
    days : list of date
    heat : ndarray [member, day]
        NaN on days of which less than `LEAST_HOURS` are known. [K day]
    """
    by_day: dict[date, list[int]] = {}
    for at, stamp in enumerate(hours.time_utc):
        by_day.setdefault((as_datetime(stamp) - timedelta(minutes=30)).astimezone(zone).date(), []).append(at)
    air = hours.done.air_c
    days, columns = [], []
    for day, rows in by_day.items():
        its = air[:, rows]
        known = np.isfinite(its).sum(axis=1) >= LEAST_HOURS
        low = np.where(known, np.where(np.isfinite(its), its, np.inf).min(axis=1), np.nan)
        high = np.where(known, np.where(np.isfinite(its), its, -np.inf).max(axis=1), np.nan)
        days.append(day)
        columns.append(degree_days(low, high, base_c))
    return days, np.stack(columns, axis=1) if columns else np.zeros((air.shape[0], 0))


def window_of(
    past: tuple[list[date], Array],
    coming: tuple[list[date], Array],
    crops: Sequence[tuple[date, date]],
    bloom: date,
    base_c: float,
) -> HeatWindow | None:
    """Give when the warmth is reached, over the members of the coming weather and the spread between own years.

    Parameters
    ----------
    past, coming : (days, heat)
        As `daily` gives them; of the past the first member.
    crops : sequence of (date, date)
    bloom : date
    base_c : float

    Returns
    -------
    HeatWindow or None
    """
    days, heat = past[0], past[1][0]
    place = {day: at for at, day in enumerate(days)}

    def between(first: date, last: date) -> float | None:
        wanted = [first + timedelta(days=step) for step in range((last - first).days)]
        its = np.array([heat[place[day]] if day in place else np.nan for day in wanted])
        known = np.isfinite(its)
        return float(its[known].mean() * its.size) if its.size and known.mean() >= KNOWN_SHARE else None

    needs = [found for begin, end in crops if (found := between(begin, end)) is not None and found > 0.0]
    ahead = [day for day in coming[0] if not days or day > days[-1]]
    if len(needs) < LEAST_YEARS or not days or not ahead:
        return None
    so_far = between(bloom, days[-1] + timedelta(days=1))
    if so_far is None:
        return None
    members = coming[1][:, [at for at, day in enumerate(coming[0]) if day > days[-1]]]
    reached: list[date] = []
    for need in needs:
        for member in members:
            at = 0 if so_far >= need else reached_on(member, need - so_far)
            reached.append(ahead[at] if at is not None else ahead[-1] + timedelta(days=1))
    reached.sort()
    first, middle, last = (reached[round(share * (len(reached) - 1))] for share in (0.1, 0.5, 0.9))
    if middle > ahead[-1]:
        return None
    return HeatWindow(
        first=first,
        middle=middle,
        last=last,
        need_k_d=float(np.mean(needs)),
        so_far_k_d=so_far,
        base_c=base_c,
        own_years=len(needs),
    )
