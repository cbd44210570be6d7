"""Forecasts of Open-Meteo, deterministic and ensemble, and its archive of past weather.

Documentation: https://open-meteo.com/en/docs , https://open-meteo.com/en/docs/ensemble-api and
https://open-meteo.com/en/docs/historical-weather-api . Data: CC BY 4.0; the free service is for non-commercial use.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import marked, say, told
from fruitwall.weather.assemble import ALL_BUT_AIR, NAMES, assemble
from fruitwall.weather.forcing import HOUR, Forcing, as_datetime, as_datetime64
from fruitwall.weather.place import Place
from fruitwall.weather.sources.reading import LONGEST_FORECAST_H, describe, dig, read_numbers

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

CREDIT = "Open-Meteo (CC BY 4.0)"

VARIABLES: Mapping[str, tuple[str, str]] = {
    "temperature_2m": ("t_air_c", "temperature"),
    "dew_point_2m": ("t_dew_c", "temperature"),
    "relative_humidity_2m": ("humidity_pct", "humidity"),
    "wind_speed_10m": ("wind_m_s", "wind"),
    "cloud_cover": ("cloud", "cloud"),
    "shortwave_radiation": ("shortwave_w_m2", "sun"),
    "precipitation": ("rain_mm", "rain"),
}
"""Sun is the mean and rain the sum of the hour before the stamp: our own convention."""

PAST_DAYS = 7
FORECAST_DAYS = 7

ARCHIVE_SOURCE = marked("Open-Meteo (CC BY 4.0), historical weather (reanalysis)")

LONGEST_ARCHIVE_H = 24 * 366 * 3
"""More hours than are asked for at once; bounds what an answer may make us allocate. [h]"""

LONGEST_UNDATED_H = 48
"""An answer without a time of issue that begins longer ago may be an old one or hold past days; refused. [h]"""


def forecast_url(latitude_deg: float, longitude_deg: float, elevation_m: float) -> str:
    """Give the address of the deterministic forecast with a week of past days."""
    return _url("https://api.open-meteo.com/v1/forecast", latitude_deg, longitude_deg, elevation_m, "")


def ensemble_url(latitude_deg: float, longitude_deg: float, elevation_m: float) -> str:
    """Give the address of the ensemble forecast (31 members of the US global ensemble) with a week of past days."""
    models = "&models=gfs_seamless"
    return _url("https://ensemble-api.open-meteo.com/v1/ensemble", latitude_deg, longitude_deg, elevation_m, models)


def archive_url(latitude_deg: float, longitude_deg: float, elevation_m: float, first: date, last: date) -> str:
    """Give the address of past weather.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Place. [degrees]
    elevation_m : float
        [m]
    first, last : date
        Days in UTC, both included.

    Returns
    -------
    str
    """
    return (
        f"https://archive-api.open-meteo.com/v1/archive?latitude={latitude_deg:.4f}&longitude={longitude_deg:.4f}"
        f"&elevation={elevation_m:.0f}&start_date={first}&end_date={last}"
        f"&hourly={','.join(VARIABLES)}&wind_speed_unit=ms&timezone=UTC"
    )


def _url(base: str, latitude_deg: float, longitude_deg: float, elevation_m: float, more: str) -> str:
    """Give an address that asks for all our variables in UTC and m/s."""
    return (
        f"{base}?latitude={latitude_deg:.4f}&longitude={longitude_deg:.4f}&elevation={elevation_m:.0f}"
        f"&hourly={','.join(VARIABLES)}&wind_speed_unit=ms&timezone=UTC"
        f"&past_days={PAST_DAYS}&forecast_days={FORECAST_DAYS}{more}"
    )


def parse(document: Any, *, where: str, place: Place, now: datetime, fetched_utc: datetime | None = None) -> Forcing:
    """Read a forecast or ensemble answer.

    Parameters
    ----------
    document : parsed JSON
        Answer of ``/v1/forecast`` or ``/v1/ensemble``.
    where : str
        Address or file for messages.
    place : Place
        The yard, for what the answer leaves out.
    now : datetime, aware
        The present.
    fetched_utc : datetime, aware, optional
        When it was asked for. The answer itself does not say when it was made: without this it counts as made at
        its first hour, and is refused if that is more than `LONGEST_UNDATED_H` ago.

    Raises
    ------
    WeatherError
        If times, temperatures or units are missing.

    Notes
    -----
    Hours before the time of issue are past analyses and count as history. Hours at the end that fewer than half the
    members have are cut off; members that then still lack hours are left out.
    """
    hourly = dig(document, "hourly", where, kind=dict)
    units = dig(document, "hourly_units", where, kind=dict)
    times = _times(document, dig(hourly, "time", where, kind=list), str(units.get("time", "")), where)
    columns, notes = _columns(hourly, units, times.size, where)
    times, columns = _common_hours(times, columns, notes, where)
    issued = _issued(times, now, fetched_utc, where, notes)
    members = max(values.shape[0] for values in columns.values())
    return assemble(
        times,
        columns,
        place=_place(document, place, where),
        source=told(
            "{credit}, ensemble of {members}" if members > 1 else "{credit}, forecast", credit=CREDIT, members=members
        ),
        issued_utc=issued,
        where=where,
        bridge=ALL_BUT_AIR,
        n_history=int(np.searchsorted(times, as_datetime64(issued), side="right")),
        warnings=notes,
    )


def parse_archive(document: Any, *, where: str, place: Place) -> Forcing:
    """Read an answer of the archive, at most some years long.

    Parameters
    ----------
    document : parsed JSON
        Answer of ``/v1/archive``.
    where : str
        Address or file for messages.
    place : Place
        The yard, for what the answer leaves out.

    Returns
    -------
    Forcing
        One member, all of it history. The archive lags some days behind: hours at the end that it does not have yet
        are cut off.

    Raises
    ------
    WeatherError
        If times, temperatures or units are missing, or hours within.
    """
    hourly = dig(document, "hourly", where, kind=dict)
    units = dig(document, "hourly_units", where, kind=dict)
    stamps = dig(hourly, "time", where, kind=list)
    times = _times(document, stamps, str(units.get("time", "")), where, most=LONGEST_ARCHIVE_H)
    columns, notes = _columns(hourly, units, times.size, where)
    times, columns = _common_hours(times, columns, notes, where)
    return assemble(
        times,
        columns,
        place=_place(document, place, where),
        source=ARCHIVE_SOURCE,
        issued_utc=as_datetime(times[-1]),
        where=where,
        bridge=ALL_BUT_AIR,
        n_history=None,
    )


def _times(document: Any, stamps: list[Any], unit: str, where: str, *, most: int = LONGEST_FORECAST_H) -> TimeArray:
    """Turn local stamps into UTC by the answer's one offset; unix times are UTC already."""
    if len(stamps) > most:
        raise WeatherError(
            say("{where}: {stamps} hours are more than any forecast has", where=where, stamps=len(stamps))
        )
    if unit == "unixtime":
        seconds = read_numbers(stamps, "m", "height", "hourly.time", where)
        return seconds.astype(np.int64).astype("datetime64[s]")
    offset = timedelta(seconds=float(dig(document, "utc_offset_seconds", where, kind=(int, float))))
    try:
        local = np.array([datetime.fromisoformat(stamp) for stamp in stamps], dtype="datetime64[s]")
    except (TypeError, ValueError) as error:
        raise WeatherError(
            say("{where}: hourly.time should hold times such as 2026-12-22T18:00 ({error})", where=where, error=error)
        ) from error
    return np.asarray(local - np.timedelta64(int(offset.total_seconds()), "s"))


def _columns(
    hourly: dict[str, Any], units: dict[str, Any], hours: int, where: str
) -> tuple[dict[str, FloatArray], list[str]]:
    """Gather each variable's members, the control first."""
    columns: dict[str, FloatArray] = {}
    for name, (ours, kind) in VARIABLES.items():
        keys = sorted(key for key in hourly if re.fullmatch(rf"{name}(_member\d+)?", key))
        rows = [_row(hourly[key], str(units.get(key, "")), kind, f"hourly.{key}", hours, where) for key in keys]
        rows = [row for row in rows if row is not None]
        if rows:
            columns[ours] = np.stack([row for row in rows if row is not None])
    if "t_air_c" not in columns:
        several = [key for key in hourly if key.startswith("temperature_2m_") and "member" not in key]
        hint = say("; it holds several models, ask for one") if several else ""
        raise WeatherError(say("{where}: no hourly temperature_2m in the answer{hint}", where=where, hint=hint))
    members = columns["t_air_c"].shape[0]
    for ours, values in columns.items():
        if values.shape[0] not in (1, members):
            raise WeatherError(
                say(
                    "{where}: {what} has {count} members but air temperature has {members}",
                    where=where,
                    what=say(NAMES[ours]),
                    count=values.shape[0],
                    members=members,
                )
            )
    if "t_dew_c" in columns:
        columns.pop("humidity_pct", None)
    return columns, []


def _row(values: Any, unit: str, kind: str, path: str, hours: int, where: str) -> FloatArray | None:
    """Give one member of one variable, short ones filled up as missing; nothing if it is all null."""
    if not isinstance(values, list):
        raise WeatherError(
            say("{where}: {path} should be a list, got {given}", where=where, path=path, given=describe(values))
        )
    if all(value is None for value in values):
        return None  # the unit of a variable that the model lacks is "undefined"
    if len(values) > hours:
        raise WeatherError(
            say(
                "{where}: {path} has {values} values for {hours} times",
                where=where,
                path=path,
                values=len(values),
                hours=hours,
            )
        )
    return read_numbers([*values, *[None] * (hours - len(values))], unit, kind, path, where)


def _common_hours(
    times: TimeArray, columns: dict[str, FloatArray], notes: list[str], where: str
) -> tuple[TimeArray, dict[str, FloatArray]]:
    """Cut the ends that fewer than half the members have, then leave out members that still lack hours there."""
    members = columns["t_air_c"].shape[0]
    starts, ends = np.zeros(members, dtype=int), np.full(members, times.size)
    for name, values in columns.items():
        if name in ("shortwave_w_m2", "rain_mm"):
            continue  # these two have a stand-in
        known = np.isfinite(values)
        starts = np.maximum(starts, known.argmax(axis=1))
        ends = np.minimum(ends, times.size - known[:, ::-1].argmax(axis=1))
    half = (members - 1) // 2
    start, end = int(np.sort(starts)[half]), int(np.sort(ends)[::-1][half])
    kept = (starts <= start) & (ends >= end)
    if end - start < 2 or not kept.any():
        raise WeatherError(say("{where}: no hours that half the members have in common", where=where))
    if end - start < times.size:
        lost = int(times.size - (end - start))
        notes.append(told("{count} hours at the ends are missing in the answer and were cut off", count=lost))
    if not kept.all():
        left = int((~kept).sum())
        notes.append(told("{count} of {members} members lack hours and were left out", count=left, members=members))
    cut = {}
    for name, values in columns.items():
        cut[name] = values[kept, start:end] if values.shape[0] == members else values[:, start:end]
    return times[start:end], cut


def _issued(times: TimeArray, now: datetime, fetched_utc: datetime | None, where: str, notes: list[str]) -> datetime:
    """Give the time of issue: when it was asked for, else its first hour."""
    if fetched_utc is not None:
        return fetched_utc
    first = as_datetime(times[0])
    age_h = (as_datetime64(now, "now") - times[0]) / HOUR
    if age_h > LONGEST_UNDATED_H:
        raise WeatherError(
            say(
                "{where}: does not say when it was made and begins {age_h:.0f} h ago, so it may be old; "
                "fetch a new one, or give the address instead of a file",
                where=where,
                age_h=age_h,
            )
        )
    notes.append(
        told(
            "{where} does not say when it was made; taken as its first hour, {first} UTC",
            where=where,
            first=f"{first:%Y-%m-%d %H:%M}",
        )
    )
    return min(first, now)


def _place(document: Any, yard: Place, where: str) -> Place:
    """Give the grid cell's place."""
    numbers = [document.get(name) for name in ("latitude", "longitude", "elevation")]
    latitude, longitude, elevation = read_numbers(numbers, "m", "height", "latitude, longitude, elevation", where)
    if not (np.isfinite(latitude) and np.isfinite(longitude)):
        return yard
    return Place(float(latitude), float(longitude), float(elevation) if np.isfinite(elevation) else yard.elevation_m)
