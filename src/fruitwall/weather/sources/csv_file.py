"""Hourly weather from a CSV file: a forecast, or past weather.

Columns, units and comment lines are documented in docs/weather-files.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.assemble import EVERYTHING, NOTHING, assemble
from fruitwall.weather.forcing import Forcing, as_datetime
from fruitwall.weather.place import Place
from fruitwall.weather.stamps import read_stamps, read_zone
from fruitwall.weather.table import Column, Table, parse_table

HOURLY_COLUMNS = (
    Column("t_air_c", "temperature", ("t_air", "temperature", "air_temperature", "temp"), "t_air [C]"),
    Column("t_dew_c", "temperature", ("dew_point", "dewpoint", "t_dew", "dew_point_temperature"), "dew_point [C]"),
    Column("humidity_pct", "humidity", ("rh", "relative_humidity", "humidity"), "rh [%]"),
    Column("wind_m_s", "wind", ("wind", "wind_speed"), "wind [mph]"),
    Column("cloud", "cloud", ("cloud", "cloud_cover", "sky_cover", "clouds"), "cloud [%]"),
    Column("shortwave_w_m2", "sun", ("ghi", "sun", "shortwave", "solar_radiation", "global_radiation"), "ghi [W/m2]"),
    Column("rain_mm", "rain", ("rain", "precipitation", "precip"), "rain [mm]"),
)
"""What an hourly file may hold; only air temperature is compulsory."""

KEYS = {"time": ("time", "date_time", "datetime", "timestamp", "time_utc"), "member": ("member", "ensemble_member")}

DEFAULT_HEIGHT_M = 10.0


def parse_hourly(
    text: str,
    *,
    where: str,
    place: Place | None,
    now: datetime | None,
    is_history: bool = False,
) -> Forcing:
    """Read hourly weather from the text of a CSV file.

    Parameters
    ----------
    text : str
        Whole file.
    where : str
        Its name for messages.
    place : Place or None
        For which the values are taken to hold where the file does not say; needed if it does not.
    now : datetime or None
        For a forecast without an ``# issued:`` line: it is taken to be issued at its first hour, or now if that is
        earlier.
    is_history : bool
        Past weather: single missing hours are bridged, the issue time is the last hour.

    Raises
    ------
    WeatherError
        One clear message with file, line, column and an example.
    """
    table = parse_table(text, where=where, keys=KEYS, columns=HOURLY_COLUMNS)
    if "t_air_c" not in table.values:
        raise WeatherError(
            say('{where}: no column of air temperature; expected one such as "t_air [C]" or "t_air [F]"', where=where)
        )
    zone = read_zone(table.settings["time zone"], where) if "time zone" in table.settings else None
    times, columns = _by_member(table, zone)
    ignored = ", ".join(table.ignored)
    notes: list[str] = [told("columns not used: {columns}", columns=ignored)] if ignored else []
    height = table.setting("wind height", "height")
    return assemble(
        times,
        columns,
        place=file_place(table, place),
        source=table.settings.get("source") or told("file {name}", name=where),
        issued_utc=as_datetime(times[-1]) if is_history else _issued(table, zone, as_datetime(times[0]), now, notes),
        where=where,
        bridge=EVERYTHING if is_history else NOTHING,
        wind_height_m=DEFAULT_HEIGHT_M if height is None else height,
        n_history=None if is_history else 0,
        warnings=notes,
    )


def file_place(table: Table, place: Place | None) -> Place:
    """Give the place named in the comment lines, or the given one.

    Raises
    ------
    WeatherError
        If the file names it only in part, or neither names one.
    """
    latitude, longitude = table.setting("latitude", "angle"), table.setting("longitude", "angle")
    elevation = table.setting("elevation", "height")
    if (latitude is None) != (longitude is None):
        raise WeatherError(
            say('{where}: "# latitude:" and "# longitude:" belong together, only one is given', where=table.where)
        )
    if latitude is None or longitude is None:
        if place is None:
            raise WeatherError(
                say(
                    '{where}: where was this measured? Add the lines "# latitude: 33.9", "# longitude: '
                    '-117.25" and "# elevation: 462 m" at the top',
                    where=table.where,
                )
            )
        return place if elevation is None else Place(place.latitude_deg, place.longitude_deg, elevation)
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise WeatherError(
            say(
                "{where}: latitude must be within -90 and 90 and longitude within -180 and 180 degrees, "
                "got {latitude:g} and {longitude:g}",
                where=table.where,
                latitude=latitude,
                longitude=longitude,
            )
        )
    if elevation is None:
        elevation = 0.0 if place is None else place.elevation_m
    return Place(latitude, longitude, elevation)


def _issued(table: Table, zone: ZoneInfo | None, first: datetime, now: datetime | None, notes: list[str]) -> datetime:
    """Give the issue time of a forecast; without one the earliest that it can be."""
    text = table.settings.get("issued")
    if text is not None:
        return as_datetime(read_stamps([text], zone, table.where)[0])
    notes.append(
        told(
            "{where} does not say when it was made; taken as its first hour, {first} UTC "
            '(a line "# issued: 2026-12-22T14:00-08:00" tells)',
            where=table.where,
            first=f"{first:%Y-%m-%d %H:%M}",
        )
    )
    return first if now is None else min(first, now.astimezone(UTC))


def _by_member(table: Table, zone: ZoneInfo | None) -> tuple[NDArray[np.datetime64], dict[str, NDArray[np.float64]]]:
    """Turn rows into times and arrays [member, time]; every member must have the same hours."""
    names = table.texts.get("member", ["0"] * len(table.lines))
    rows: dict[str, list[int]] = {}
    for row, name in enumerate(names):
        rows.setdefault(name, []).append(row)
    stamps = table.texts["time"]
    times = {name: read_stamps([stamps[row] for row in of], zone, table.where) for name, of in rows.items()}
    first = next(iter(times))
    for name, others in times.items():
        if not np.array_equal(others, times[first]):
            raise WeatherError(
                say(
                    "{where}: member {name} has {count} hours that are not those of member {first} ({others}); "
                    "every member needs the same hours",
                    where=table.where,
                    name=name,
                    count=others.size,
                    first=first,
                    others=times[first].size,
                )
            )
    order = _member_order(list(rows))
    columns = {column: np.stack([values[rows[name]] for name in order]) for column, values in table.values.items()}
    return times[first], columns


def _member_order(names: Sequence[str]) -> list[str]:
    """Sort members by number where they are numbers."""
    if all(name.isdigit() for name in names):
        return sorted(names, key=int)
    return list(names)
