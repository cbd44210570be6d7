"""Weather of other years: what may come after the last hour of a forecast.

A forecast ends after a week or two. What comes then is not known, but what came at that time of the year in other years
is. Each member of a forecast goes on as one of those years went on, its temperature led over so that there is no jump.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.speech import told
from fruitwall.weather.forcing import HOUR, RANGES, VARIABLES, Forcing, as_datetime, as_datetime64
from fruitwall.weather.wind import wind_at_height

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

FADE_H = 54.0
"""Time in which what a day is too warm or too cold falls to 1/e. In winter the correlation of a day's mean temperature
with that of 1, 2 and 3 days later (course of the year taken out) is 0.72, 0.41 and 0.24 in the mean of Gainesville in
Florida 1960-2026 and of March, Riverside and Viejas in California; exp(-24 n / 54) is 0.64, 0.41 and 0.26. [h]"""

SWIFT_FADE_H = 6.0
"""The same for what the last hour differs beyond its day: the hour of a front, the course of one night. Our judgement.
[h]"""

CHANGE_H = 6.0
"""Time in which wind and cloud go over to the other year's in a straight line. Our judgement. [h]"""

DAY_H = 24
"""Hours before the join over which the anomaly of the day is taken. [h]"""

YEAR_H = 365 * 24

WHOLE_YEAR_H = YEAR_H - DAY_H
"""A run of at least so many hours is a whole year: a year made of daily values lacks the hours at its ends. [h]"""

SHORTEST_WINTER_H = 60 * 24
"""Shorter pieces of other years count as nothing. Our judgement. [h]"""


@dataclass(frozen=True, eq=False)
class Climate:
    """Weather of other years at or near one place.

    Attributes
    ----------
    years : tuple of Forcing
        At least one; each one member, hourly, at most a year, real years under their real stamps. Those of a longer
        series are cut at midsummer, so that no winter is cut, and follow each other without a gap.
    source : str
        Who measured or made it, in words for the user.
    notes : tuple of str
        What is assumed, left out or in doubt, each in one sentence for the user.

    Raises
    ------
    ValueError
        If there is no year, or one has several members.
    """

    years: tuple[Forcing, ...]
    source: str
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.years:
            raise ValueError("years must hold at least one year, got none")
        for year in self.years:
            if year.n_members != 1:
                raise ValueError(f"each of years must have one member, got {year.n_members} from {year.start_utc}")
        object.__setattr__(self, "years", tuple(sorted(self.years, key=lambda one: one.start_utc)))
        object.__setattr__(self, "notes", tuple(self.notes))


def season_years(forcing: Forcing, *, shortest_h: int = SHORTEST_WINTER_H) -> tuple[Forcing, ...]:
    """Cut a long series at midsummer: north of the equator on 1 July, south of it on 1 January, 00:00 UTC.

    Parameters
    ----------
    forcing : Forcing
        One member.
    shortest_h : int
        Shorter pieces are left out. [h]

    Returns
    -------
    tuple of Forcing
        Oldest first.
    """
    month = 7 if forcing.latitude_deg >= 0 else 1
    first, last = forcing.start_utc.year, forcing.end_utc.year
    cuts = [as_datetime64(datetime(year, month, 1, tzinfo=UTC)) for year in range(first, last + 2)]
    at = [0, *np.searchsorted(forcing.time_utc, np.array(cuts)).tolist(), forcing.n_times]
    pieces = [(begin, end) for begin, end in itertools.pairwise(at) if end - begin >= max(shortest_h, 2)]
    return tuple(
        forcing.select(as_datetime(forcing.time_utc[begin]), as_datetime(forcing.time_utc[end - 1]))
        for begin, end in pieces
    )


def continued(forecast: Forcing, climate: Climate, until: datetime, *, members: int | None = None) -> Forcing:
    """Let a forecast go on as other years went on.

    Parameters
    ----------
    forecast : Forcing
        Of any number of members.
    climate : Climate
    until : datetime, aware
        Last hour wanted, at most a year after the forecast's last.
    members : int, optional
        How many courses are wanted; by default as many as the forecast has members or the climate has years, whichever
        is more.

    Returns
    -------
    Forcing
        Course i has the i-th member of the forecast and the i-th usable year, both counted round. `n_history` and the
        time of issue stay those of the forecast. A forecast that reaches `until` comes back as it is; so it does with
        a warning where no year has the days that are wanted.

    Raises
    ------
    ValueError
        If `until` has no zone or is more than 366 days after the forecast's end, or `members` is less than 1.

    Notes
    -----
    A year goes on from the same day and hour (UTC) of the calendar as the forecast's last; 29 February from the 28th
    in years that have none. From there its hours follow each other as they did, so that after a leap day of only one
    of the two years the date is off by one. The very days that are asked for are never among the years: who plans in
    a past moment does not see what came. Years that end before `until` are left out; a single whole year is followed
    by itself.

    With F the forecast and S the other year, both at the last hour of the forecast, and D the mean of F - S over the
    24 hours up to it, the temperature goes on as ``S + D exp(-h / 54) + (F - S - D) exp(-h / 6)`` h hours later: for a
    series of first-order correlation that is its course given the last value. So after one day 64 % of the forecast's
    anomaly is left, after three days 26 %, after a week 4 %. The dew point follows in the same way and never exceeds
    the air. Wind and cloud go over in 6 h in a straight line; sun and rain are the other year's from the first hour
    on. Nothing is changed for a difference of place or height.
    """
    if members is not None and members < 1:
        raise ValueError(f"members must be at least 1, got {members}")
    end = as_datetime64(until, "until")
    last = forecast.time_utc[-1]
    ahead = int((end - last) // HOUR)
    if ahead > YEAR_H + DAY_H:
        raise ValueError(f"until must be at most 366 days after the forecast's last hour, got {ahead / 24:.0f} days")
    if ahead < 1:
        return forecast
    runs = _runs(climate.years)
    tails = [tail for run in runs for tail in _tails(run, forecast, ahead)]
    begun = sum(len(_begins(run, last)) for run in runs)
    if not tails:
        return forecast.with_warnings(
            told("no other year is known for the days after the forecast; nothing is said of them")
        )
    count = members or max(forecast.n_members, len(tails))
    arrays = _joined(forecast, tails, count)
    times = np.concatenate([forecast.time_utc, last + HOUR * np.arange(1, ahead + 1)])
    notes = [*forecast.warnings, *climate.notes]
    if begun > len(tails):
        notes.append(
            told(
                "{count} of {all} other years end too early and were left out of what comes after the forecast",
                count=begun - len(tails),
                all=begun,
            )
        )
    return replace(
        forecast,
        time_utc=times,
        **arrays,
        source=told("{source}; after it {climate}", source=forecast.source, climate=climate.source),
        warnings=tuple(dict.fromkeys(notes)),
    )


class _Run(NamedTuple):
    """Hours that follow each other without a gap, [variable, hour], wind at `wind_height_m`."""

    start: np.datetime64
    values: FloatArray
    wind_height_m: float


class _Tail(NamedTuple):
    """One way on: [variable, hour] of the day up to the join (NaN where not known) and of the hours after it."""

    before: FloatArray
    after: FloatArray


def _runs(years: Sequence[Forcing]) -> list[_Run]:
    """Put years together that follow each other without a gap."""
    parts: list[list[Forcing]] = []
    for year in years:
        if parts and year.time_utc[0] - parts[-1][-1].time_utc[-1] == HOUR and _alike(year, parts[-1][-1]):
            parts[-1].append(year)
        else:
            parts.append([year])
    return [
        _Run(
            part[0].time_utc[0],
            np.concatenate([np.stack([getattr(one, name)[0] for name in VARIABLES]) for one in part], axis=1),
            part[0].wind_height_m,
        )
        for part in parts
    ]


def _alike(one: Forcing, other: Forcing) -> bool:
    """Tell whether two years are of one series."""
    return all(
        getattr(one, name) == getattr(other, name)
        for name in ("source", "latitude_deg", "longitude_deg", "elevation_m", "wind_height_m")
    )


def _begins(run: _Run, last: np.datetime64) -> list[np.datetime64]:
    """Give the same moment of the calendar in every other year that a run has."""
    moment = as_datetime(last)
    end = run.start + HOUR * (run.values.shape[1] - 1)
    found = []
    for year in range(as_datetime(run.start).year, as_datetime(end).year + 1):
        if year != moment.year:
            try:
                same = moment.replace(year=year)
            except ValueError:  # 29 February
                same = moment.replace(year=year, day=28)
            at = as_datetime64(same)
            if run.start <= at <= end:
                found.append(at)
    return found


def _tails(run: _Run, forecast: Forcing, ahead: int) -> Iterable[_Tail]:
    """Give every way on that a run holds."""
    count = run.values.shape[1]
    values = _followed_by_itself(run.values, ahead) if WHOLE_YEAR_H <= count < 2 * YEAR_H else run.values
    wind = np.ones((len(VARIABLES), 1))
    wind[VARIABLES.index("wind_m_s")] = wind_at_height(1.0, run.wind_height_m, forecast.wind_height_m)
    for begin in _begins(run, forecast.time_utc[-1]):
        position = float((begin - run.start) / HOUR)  # a fraction where stamps of the two differ by minutes
        first = int(np.floor(position))
        share = position - first
        stop = first + ahead + (1 if share == 0.0 else 2)
        if stop > values.shape[1]:
            continue
        left_out = max(DAY_H - 1 - first, 0)
        cut = values[:, first - (DAY_H - 1) + left_out : stop]
        whole = cut if share == 0.0 else (1.0 - share) * cut[:, :-1] + share * cut[:, 1:]
        whole = np.concatenate([np.full((len(VARIABLES), left_out), np.nan), wind * whole], axis=1)
        yield _Tail(whole[:, :DAY_H], whole[:, DAY_H:])


def _followed_by_itself(values: FloatArray, ahead: int) -> FloatArray:
    """Let a year follow on itself, its temperatures led over the seam."""
    count = values.shape[1]
    period = max(-(-count // DAY_H) * DAY_H, YEAR_H)  # whole days, so that the hour of the day goes on
    at = np.arange(count, count + ahead + 2) % period
    at = np.where(at >= count, at - DAY_H, at)
    more = values[:, at]
    fading = np.exp(-np.arange(at.size) / SWIFT_FADE_H)
    for name in ("t_air_c", "t_dew_c"):
        row = VARIABLES.index(name)
        more[row] += (values[row, -1] - more[row, 0]) * fading
    return np.concatenate([values, more], axis=1)


def _joined(forecast: Forcing, tails: Sequence[_Tail], count: int) -> dict[str, Any]:
    """Put members and ways on together, both counted round, [member, hour] of each variable."""
    course = np.arange(count)
    member, way = course % forecast.n_members, course % len(tails)
    ahead = tails[0].after.shape[1]
    hours = np.arange(1, ahead + 1)
    slow, swift = np.exp(-hours / FADE_H), np.exp(-hours / SWIFT_FADE_H)
    other = np.minimum(hours / CHANGE_H, 1.0)
    known = min(DAY_H, forecast.n_times)
    joined: dict[str, Any] = {}
    for row, name in enumerate(VARIABLES):
        mine: FloatArray = getattr(forecast, name)[member]
        before = np.stack([tail.before[row] for tail in tails])[way]
        after = np.stack([tail.after[row] for tail in tails])[way]
        if name in ("t_air_c", "t_dew_c"):
            apart = mine[:, -known:] - before[:, -known:]
            of_day = np.nanmean(apart, axis=1, keepdims=True)  # the last hour is always known
            after = after + of_day * slow + (apart[:, -1:] - of_day) * swift
        elif name in ("wind_m_s", "cloud"):
            after = (1.0 - other) * mine[:, -1:] + other * after
        joined[name] = np.concatenate([mine, np.clip(after, *RANGES[name][:2])], axis=1)
    joined["t_dew_c"] = np.minimum(joined["t_dew_c"], joined["t_air_c"])
    return joined
