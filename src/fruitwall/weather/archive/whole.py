"""From a record with holes to forcings: short holes are bridged, long ones part it, what is missing is drawn.

=========================  ==========================================================================================
hole                       what is done, told in a note
=========================  ==========================================================================================
up to 3 days of extremes   a straight line through lowest and highest temperatures
up to 3 h of air           a straight line
up to 24 h of air          the mean of the same hours of the day before and the day after, led to meet both ends
longer                     the record is cut there; pieces of less than 60 days are left out
dew point, wind, cloud     up to 6 h a straight line; longer, or all of it: drawn (`archive.drawing`)
=========================  ==========================================================================================
"""

from __future__ import annotations

from collections.abc import Mapping
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.archive.drawing import Drawn, draw
from fruitwall.weather.archive.likeness import Likeness, packaged
from fruitwall.weather.archive.record import DailyRecord, HourlyRecord, Record
from fruitwall.weather.assemble import ALL_BUT_AIR, assemble
from fruitwall.weather.climate import SHORTEST_WINTER_H
from fruitwall.weather.daily_curve import day_lengths, hourly_from_daily, solar_noons
from fruitwall.weather.forcing import LONGEST_BRIDGE_H, Forcing, as_datetime
from fruitwall.weather.humidity import dew_point_from_humidity
from fruitwall.weather.place import Place
from fruitwall.weather.stamps import solar_offset
from fruitwall.weather.wind import wind_at_height

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]
BoolArray = NDArray[np.bool_]

EARLIEST, LATEST = np.datetime64("1750-01-01"), np.datetime64("2150-01-01")
"""No thermometer was read daily long before, no record lies long ahead: beyond, a year is mistyped. Our judgement."""

LONGEST_DAYS = 3
"""Missing days in a row that are bridged. Our judgement. [d]"""

LONGEST_FILL_H, LONGEST_OTHER_H = 24, 6
"""Missing hours in a row of air that are taken from the days around, and of dew point, wind and cloud that are bridged.
Our judgement. [h]"""

AFTERNOON_H = 14.0
"""When the dew point of the afternoon holds, local mean solar time. [h]"""

DAY_NODES_H, NIGHT_NODES_H = (10.0, 17.0), (20.0, 29.0)
"""Between these hours cloud and wind of the day and of the night hold; between them straight lines. [h]"""

STRAIGHT_SHARE = 0.2
"""Of a night's course that is a straight line rather than Linvill's logarithm, which cools too soon: 0 errs by -0.85 K
in the mean of the night's hours at seven stations, 0.2 by -0.5 K, 0.5 by none; but with more than 0.2 the coldest
nights keep too few hours of frost (`bench/archive_case.py`). Our judgement between the two. [-]"""

HOUR_S = 3600.0


def forcings_of(record: Record, where: str, *, likeness: Likeness | None = None) -> tuple[Forcing, ...]:
    """Make a record whole.

    Parameters
    ----------
    record : DailyRecord or HourlyRecord
    where : str
        Its name for messages.
    likeness : Likeness, optional
        Days to draw from; by default the packaged ones.

    Returns
    -------
    tuple of Forcing
        One member each, oldest first: the pieces between long holes.

    Raises
    ------
    WeatherError
        If no piece is long enough, or a value is impossible.

    Notes
    -----
    What is drawn depends on the record's first stamp and source only: the same file gives the same hours.
    """
    stamps = record.dates if isinstance(record, DailyRecord) else record.time_utc
    first, last = stamps[0].astype("datetime64[D]"), stamps[-1].astype("datetime64[D]")
    if first < EARLIEST or last > LATEST:
        raise WeatherError(
            say("{where}: holds days from {first} to {last}; mend the wrong year", where=where, first=first, last=last)
        )
    likeness = packaged() if likeness is None else likeness
    if isinstance(record, DailyRecord):
        pieces = _from_days(record, where, likeness)
    else:
        pieces = _from_hours(record, where, likeness)
    if not pieces:
        raise WeatherError(
            say(
                "{where}: no {days} days on end without a long hole; a fuller record is needed",
                where=where,
                days=SHORTEST_WINTER_H // 24,
            )
        )
    return tuple(pieces)


def _generator(record: Record) -> np.random.Generator:
    """Give the generator of a record: seeded by what it is."""
    first = record.dates[0] if isinstance(record, DailyRecord) else record.time_utc[0]
    return np.random.Generator(np.random.PCG64(crc32(f"{record.source} {first}".encode())))


# ---------------------------------------------------------------- days


def _from_days(record: DailyRecord, where: str, likeness: Likeness) -> list[Forcing]:
    """Give the pieces of a daily record."""
    dates = np.arange(record.dates[0], record.dates[-1] + 1)
    at = (record.dates - dates[0]).astype(int)
    days = {name: _on_grid(values, at, dates.size) for name, values in record.values.items()}
    notes = [*record.notes, told("daily extremes were turned into hours by a curve (Linvill 1990)")]
    crossed = days["t_min_c"] > days["t_max_c"]
    for name in ("t_min_c", "t_max_c"):
        days[name] = np.where(crossed, np.nan, days[name])
    holes = ~(np.isfinite(days["t_min_c"]) & np.isfinite(days["t_max_c"]))
    short = holes & (_length_of_runs(holes) <= LONGEST_DAYS)
    for name in ("t_min_c", "t_max_c"):
        days[name] = np.where(short, _straight(np.where(holes, np.nan, days[name])), days[name])
    if short.any():
        notes.append(told("missing days that were bridged by straight lines: {count}", count=int(short.sum())))
    known = ~holes | short
    runs = [(a, b) for a, b in _runs(known) if (b - a) * 24 >= SHORTEST_WINTER_H]
    if sum(b - a for a, b in runs) < int(known.sum()):
        notes.append(told("pieces of the record shorter than {days} days are left out", days=SHORTEST_WINTER_H // 24))
    used = np.zeros(dates.size, dtype=bool)
    for a, b in runs:
        used[a:b] = True
    if not runs:
        return []
    drawn = _drawn(record, dates[used], {name: one[used] for name, one in days.items()}, likeness)
    notes += _told_drawn({name: days[name][used] for name in days}, likeness)
    place = np.cumsum(used) - 1
    return [
        _piece_of_days(
            record,
            dates[a:b],
            {name: one[a:b] for name, one in days.items()},
            {name: one[place[a] : place[b - 1] + 1] for name, one in drawn.items()},
            where,
            notes,
        )
        for a, b in runs
    ]


def _drawn(
    record: Record, dates: TimeArray, days: Mapping[str, FloatArray], likeness: Likeness
) -> dict[str, FloatArray]:
    """Draw for all days; wind comes at the record's own height."""
    drawn = draw(
        dates,
        days["t_min_c"],
        days["t_max_c"],
        likeness,
        _generator(record),
        south=record.place.latitude_deg < 0 and likeness is packaged(),  # days of near by share the seasons
        rain_mm=days.get("rain_mm"),
    )
    up = wind_at_height(1.0, 10.0, record.wind_height_m)
    return {
        name: getattr(drawn, name) * (up if name.startswith("wind") else 1.0) for name in Drawn.__dataclass_fields__
    }


def _told_drawn(days: Mapping[str, FloatArray], likeness: Likeness) -> list[str]:
    """Say what was drawn, and from what."""
    missing = [name for name in ("t_dew_c", "wind_m_s", "cloud") if not np.isfinite(days.get(name, np.array([]))).any()]
    if not missing:
        return []
    if likeness is packaged():
        return [
            told(
                "dew point, wind and cloud that are not in the record are drawn from measured days like these, of "
                "seven stations in the southern United States"
            )
        ]
    return [
        told("dew point, wind and cloud that are not in the record are drawn from measured days like these near by")
    ]


def _piece_of_days(
    record: DailyRecord,
    dates: TimeArray,
    days: Mapping[str, FloatArray],
    drawn: Mapping[str, FloatArray],
    where: str,
    notes: list[str],
) -> Forcing:
    """Make hours of days without holes."""
    at = record.place
    times, t_air = hourly_from_daily(
        dates, days["t_min_c"], days["t_max_c"], at.latitude_deg, at.longitude_deg, STRAIGHT_SHARE
    )
    columns = drawn_hours(times, t_air, dates, days["t_min_c"], drawn, at)
    noons = solar_noons(dates, at.longitude_deg).astype(float)
    seconds = times.astype(np.int64).astype(float)
    which = np.clip(np.searchsorted(noons + 12 * HOUR_S, seconds, side="left"), 0, dates.size - 1)
    for name in ("t_dew_c", "cloud"):
        if name in days and np.isfinite(days[name]).any():
            given = np.interp(seconds, noons, _straight(days[name]))
            columns[name] = np.where(np.isfinite(days[name])[which], given, columns[name])
    if "wind_m_s" in days:
        # The mean of the day is kept, its course between day and night is the drawn one.
        mean = np.bincount(which, columns["wind_m_s"], dates.size) / np.maximum(
            np.bincount(which, minlength=dates.size), 1
        )
        factor = np.where(np.isfinite(days["wind_m_s"]), days["wind_m_s"] / np.maximum(mean, 0.1), 1.0)
        columns["wind_m_s"] = columns["wind_m_s"] * factor[which]
    columns["t_dew_c"] = np.minimum(columns["t_dew_c"], t_air)
    columns["rain_mm"] = np.nan_to_num(days.get("rain_mm", np.zeros(dates.size)))[which] / 24.0
    return _forcing(record, times, {"t_air_c": t_air, **columns}, where, notes)


def drawn_hours(
    times: TimeArray,
    t_air: FloatArray,
    dates: TimeArray,
    t_min_c: FloatArray,
    drawn: Mapping[str, FloatArray],
    at: Place,
) -> dict[str, FloatArray]:
    """Lay what was drawn for days over their hours.

    Parameters
    ----------
    times : ndarray of datetime64, shape (hour,)
        UTC.
    t_air : ndarray, shape (hour,)
        Above which the dew point does not rise. [°C]
    dates : ndarray of datetime64[D], shape (day,)
        Consecutive.
    t_min_c : ndarray, shape (day,)
        [°C]
    drawn : mapping of str to ndarray, shape (day,)
        As `Drawn`.
    at : Place

    Returns
    -------
    dict of str to ndarray, shape (hour,)
        Dew point, wind, cloud. The dew point lies below the minimum as far as drawn in the coldest hour, at sunrise;
        in the afternoon before as drawn; between on lines.
    """
    seconds = times.astype(np.int64).astype(float)
    noons = solar_noons(dates, at.longitude_deg).astype(float)
    midnights = noons - 12 * HOUR_S

    def held(day: FloatArray, night: FloatArray) -> FloatArray:
        hours = [*DAY_NODES_H, *NIGHT_NODES_H]
        nodes = np.stack([midnights + hour * HOUR_S for hour in hours], axis=1).ravel()
        return np.asarray(np.interp(seconds, nodes, np.stack([day, day, night, night], axis=1).ravel()))

    rises = noons - day_lengths(dates, at.latitude_deg, at.longitude_deg) / 2 * HOUR_S
    next_rise = np.append(rises[1:], rises[-1] + 24 * HOUR_S)
    morning = np.append(t_min_c[1:], t_min_c[-1]) - drawn["dew_below_k"]
    nodes = np.stack([midnights + AFTERNOON_H * HOUR_S, next_rise], axis=1).ravel()
    dew = np.interp(seconds, nodes, np.stack([morning + drawn["dew_later_k"], morning], axis=1).ravel())
    return {
        "t_dew_c": np.minimum(dew, t_air),
        "wind_m_s": held(drawn["wind_day"], drawn["wind_night"]),
        "cloud": held(drawn["cloud_day"], drawn["cloud_night"]),
    }


# ---------------------------------------------------------------- hours


def _from_hours(record: HourlyRecord, where: str, likeness: Likeness) -> list[Forcing]:
    """Give the pieces of an hourly record."""
    times = np.arange(record.time_utc[0], record.time_utc[-1] + np.timedelta64(1, "h"), np.timedelta64(1, "h"))
    at = ((record.time_utc - times[0]) // np.timedelta64(1, "h")).astype(int)
    if (times[at] != record.time_utc).any():
        odd = record.time_utc[int((times[at] != record.time_utc).argmax())]
        raise WeatherError(
            say("{where}: the hour {hour} is not a whole hour after the one before it", where=where, hour=odd)
        )
    hours = {name: _on_grid(values, at, times.size) for name, values in record.values.items()}
    notes = list(record.notes)
    air = hours["t_air_c"]
    holes = ~np.isfinite(air)
    length = _length_of_runs(holes)
    air = np.where(length <= LONGEST_BRIDGE_H, _straight(air), air)
    long = holes & (length > LONGEST_BRIDGE_H) & (length <= LONGEST_FILL_H)
    air = _like_the_days_around(air, long)
    filled = holes & np.isfinite(air)
    if filled.any():
        notes.append(told("missing hours of air temperature that were filled in: {count}", count=int(filled.sum())))
    hours["t_air_c"] = air
    if "humidity_pct" in hours:
        humidity = np.clip(hours["humidity_pct"], 0.0, 100.0)
        try:
            from_humidity = dew_point_from_humidity(np.where(np.isfinite(air), air, np.nan), humidity)
        except ValueError as error:
            raise WeatherError(say("{where}: {error}", where=where, error=error)) from error
        given = hours.get("t_dew_c", np.full(air.size, np.nan))
        hours["t_dew_c"] = np.where(np.isfinite(given), given, from_humidity)
        del hours["humidity_pct"]
    runs = [(a, b) for a, b in _runs(np.isfinite(air)) if b - a >= SHORTEST_WINTER_H]
    if sum(b - a for a, b in runs) < int(np.isfinite(air).sum()):
        notes.append(told("pieces of the record shorter than {days} days are left out", days=SHORTEST_WINTER_H // 24))
    return [
        _piece_of_hours(record, times[a:b], {name: one[a:b] for name, one in hours.items()}, where, notes, likeness)
        for a, b in runs
    ]


def _piece_of_hours(
    record: HourlyRecord,
    times: TimeArray,
    hours: dict[str, FloatArray],
    where: str,
    notes: list[str],
    likeness: Likeness,
) -> Forcing:
    """Fill what a piece without holes in its temperature lacks."""
    columns = dict(hours)
    sunny = np.isfinite(hours.get("shortwave_w_m2", np.full(1, np.nan))).all()
    wanted = ["t_dew_c", "wind_m_s", *([] if sunny and "cloud" not in hours else ["cloud"])]
    missing: dict[str, BoolArray] = {}
    for name in wanted:
        values = columns.get(name, np.full(times.size, np.nan))
        values = np.where(_length_of_runs(~np.isfinite(values)) <= LONGEST_OTHER_H, _straight(values), values)
        columns[name] = values
        if not np.isfinite(values).all():
            missing[name] = ~np.isfinite(values)
    more = list(notes)
    if missing:
        dates, low, high, rain = _extremes(times, hours, record.place)
        drawn = _drawn(record, dates, {"t_min_c": low, "t_max_c": high, "rain_mm": rain}, likeness)
        made = drawn_hours(times, hours["t_air_c"], dates, low, drawn, record.place)
        for name, gone in missing.items():
            columns[name] = np.where(gone, made[name], columns[name])
        share = max(float(gone.mean()) for gone in missing.values())
        more += _told_drawn(
            {name: np.array([1.0]) for name in ("t_dew_c", "wind_m_s", "cloud") if name not in missing}, likeness
        )
        more.append(told("of single variables at most {share} % of the hours were drawn", share=round(100 * share)))
    columns["t_dew_c"] = np.minimum(columns["t_dew_c"], columns["t_air_c"])
    return _forcing(record, times, columns, where, more)


def _extremes(
    times: TimeArray, hours: Mapping[str, FloatArray], at: Place
) -> tuple[TimeArray, FloatArray, FloatArray, FloatArray]:
    """Give dates of local mean solar time with lowest and highest temperature and rain."""
    solar = times + np.timedelta64(int(solar_offset(at.longitude_deg).total_seconds()), "s")
    day = solar.astype("datetime64[D]")
    dates = np.arange(day[0], day[-1] + 1)
    starts = np.searchsorted(day, dates)
    air = hours["t_air_c"]
    rain = np.nan_to_num(hours.get("rain_mm", np.zeros(times.size)))
    return dates, np.minimum.reduceat(air, starts), np.maximum.reduceat(air, starts), np.add.reduceat(rain, starts)


def _like_the_days_around(air: FloatArray, holes: BoolArray) -> FloatArray:
    """Fill holes of hours by the same hours of the days around, led over so that both ends meet."""
    filled = air.copy()
    for a, b in _runs(holes):
        inside = np.arange(a - 1, b + 1)
        if inside[0] < 24 or inside[-1] + 24 >= air.size:
            continue
        shape = (air[inside - 24] + air[inside + 24]) / 2
        if not np.isfinite(shape).all():
            continue
        ends = np.linspace(air[a - 1] - shape[0], air[b] - shape[-1], inside.size)
        filled[a:b] = (shape + ends)[1:-1]
    return filled


# ---------------------------------------------------------------- both


def _forcing(
    record: Record, times: TimeArray, columns: Mapping[str, FloatArray], where: str, notes: list[str]
) -> Forcing:
    return assemble(
        times,
        {name: np.round(values, 3)[None, :] for name, values in columns.items()},
        place=record.place,
        source=record.source,
        issued_utc=as_datetime(times[-1]),
        where=where,
        bridge=ALL_BUT_AIR,
        wind_height_m=record.wind_height_m,
        n_history=None,
        warnings=notes,
    )


def _on_grid(values: FloatArray, at: NDArray[np.int64], size: int) -> FloatArray:
    grid = np.full(size, np.nan)
    grid[at] = values
    return grid


def _straight(values: FloatArray) -> FloatArray:
    """Fill all holes by straight lines, ends by the nearest value."""
    known = np.isfinite(values)
    if known.all() or not known.any():
        return values
    steps = np.arange(values.size)
    return np.asarray(np.interp(steps, steps[known], values[known]))


def _runs(chosen: BoolArray) -> list[tuple[int, int]]:
    """Give first and stop of each run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], chosen.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _length_of_runs(chosen: BoolArray) -> NDArray[np.int64]:
    """Give for each true how long its run is; runs that touch an end are never short; 0 elsewhere."""
    lengths = np.zeros(chosen.size, dtype=np.int64)
    for a, b in _runs(chosen):
        lengths[a:b] = b - a if a > 0 and b < chosen.size else chosen.size + 1
    return lengths
