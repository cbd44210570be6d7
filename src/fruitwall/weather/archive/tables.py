"""Reanalyses as public services export them as tables, and the documented CSV with holes.

Open-Meteo's CSV has two lines about the place, an empty one, then the table with the unit in each head (as the
service's own tests have it). NASA POWER's has a block between ``-BEGIN HEADER-`` and ``-END HEADER-`` and a table whose
first columns are the parts of the time (stored samples read).
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.archive.record import DailyRecord, HourlyRecord, Record, in_order
from fruitwall.weather.history import DAILY_COLUMNS
from fruitwall.weather.history import KEYS as DAILY_KEYS
from fruitwall.weather.place import Place
from fruitwall.weather.sources.csv_file import DEFAULT_HEIGHT_M, HOURLY_COLUMNS, file_place
from fruitwall.weather.sources.csv_file import KEYS as HOURLY_KEYS
from fruitwall.weather.stamps import read_stamps, read_zone
from fruitwall.weather.table import Column, parse_table
from fruitwall.weather.units import convert

FloatArray = NDArray[np.float64]

OPEN_METEO_START = "latitude,longitude,elevation"
POWER_START = "-BEGIN HEADER-"

OPEN_METEO_HOURLY = {
    "temperature_2m": ("t_air_c", "temperature"),
    "dew_point_2m": ("t_dew_c", "temperature"),
    "dewpoint_2m": ("t_dew_c", "temperature"),
    "relative_humidity_2m": ("humidity_pct", "humidity"),
    "relativehumidity_2m": ("humidity_pct", "humidity"),
    "wind_speed_10m": ("wind_m_s", "wind"),
    "windspeed_10m": ("wind_m_s", "wind"),
    "cloud_cover": ("cloud", "cloud"),
    "cloudcover": ("cloud", "cloud"),
    "shortwave_radiation": ("shortwave_w_m2", "sun"),
    "precipitation": ("rain_mm", "rain"),
}
"""Names of the service, the older ones without a dash too."""

OPEN_METEO_DAILY = {
    "temperature_2m_min": ("t_min_c", "temperature"),
    "temperature_2m_max": ("t_max_c", "temperature"),
    "dew_point_2m_mean": ("t_dew_c", "temperature"),
    "wind_speed_10m_mean": ("wind_m_s", "wind"),
    "cloud_cover_mean": ("cloud", "cloud"),
    "precipitation_sum": ("rain_mm", "rain"),
}

POWER_HOURLY = {
    "T2M": ("t_air_c", 1.0),
    "T2MDEW": ("t_dew_c", 1.0),
    "RH2M": ("humidity_pct", 1.0),
    "WS10M": ("wind_m_s", 1.0),
    "WS2M": ("wind_m_s", 1.0),
    "CLOUD_AMT": ("cloud", 0.01),
    "ALLSKY_SFC_SW_DWN": ("shortwave_w_m2", 1.0),
    "PRECTOTCORR": ("rain_mm", 1.0),
}
"""Hourly: °C, %, m/s, Wh/m² (community RE) or MJ/h (AG), mm/h."""

POWER_DAILY = {
    "T2M_MIN": ("t_min_c", 1.0),
    "T2M_MAX": ("t_max_c", 1.0),
    "T2MDEW": ("t_dew_c", 1.0),
    "WS10M": ("wind_m_s", 1.0),
    "WS2M": ("wind_m_s", 1.0),
    "CLOUD_AMT": ("cloud", 0.01),
    "PRECTOTCORR": ("rain_mm", 1.0),
}

POWER_MISSING = -999.0
MJ_AS_W = 1.0e6 / 3600.0


def read_open_meteo(text: str, *, where: str) -> Record:
    """Read Open-Meteo's CSV of past weather; hourly values are taken where it holds both.

    Raises
    ------
    WeatherError
        With file, line and mend.
    """
    lines = text.splitlines()
    about = dict(zip(lines[0].split(","), (lines[1] if len(lines) > 1 else "").split(","), strict=False))
    place = _place(about.get("latitude"), about.get("longitude"), about.get("elevation"), where, 2)
    blocks = [number for number, line in enumerate(lines) if line.startswith("time,")]
    for known, is_hourly in ((OPEN_METEO_HOURLY, True), (OPEN_METEO_DAILY, False)):
        for start in blocks:
            head = [_head(cell) for cell in lines[start].split(",")]
            wanted = {at: (*known[name], unit) for at, (name, unit) in enumerate(head) if name in known}
            if ("t_air_c" if is_hourly else "t_min_c") not in {name for name, _, _ in wanted.values()}:
                continue
            stop = next((n for n in range(start + 1, len(lines)) if not lines[n].strip()), len(lines))
            return _open_meteo_block(lines, range(start + 1, stop), wanted, about, place, where, is_hourly=is_hourly)
    raise WeatherError(
        say(
            "{where}: no column of air temperature; export temperature_2m by the hour, or temperature_2m_min and "
            "temperature_2m_max by the day",
            where=where,
        )
    )


def _open_meteo_block(
    lines: Sequence[str],
    numbers: range,
    wanted: Mapping[int, tuple[str, str, str]],
    about: Mapping[str, str],
    place: Place,
    where: str,
    *,
    is_hourly: bool,
) -> Record:
    """Read one table of the file."""
    texts: list[str] = []
    cells: dict[str, list[float]] = {name: [] for name, _, _ in wanted.values()}
    for number in numbers:
        row = lines[number].split(",")
        if len(row) <= max(wanted):
            raise WeatherError(
                say("{where} line {line}: too few fields; download the file again", where=where, line=number + 1)
            )
        texts.append(row[0])
        for at, (name, _, _) in wanted.items():
            cells[name].append(_number(row[at], where, number + 1))
    values: dict[str, FloatArray] = {}
    for name, kind, unit in wanted.values():
        try:
            values[name] = np.asarray(convert(cells[name], unit, kind), dtype=float)
        except ValueError as error:
            raise WeatherError(say("{where}: {error}", where=where, error=error)) from error
    if not texts:
        raise WeatherError(say("{where}: no rows below the header", where=where))
    source = told("Open-Meteo (CC BY 4.0), file {name}", name=where)
    try:
        if not is_hourly:
            dates, first = in_order([np.datetime64(text, "D") for text in texts], "D")
            return DailyRecord(dates, {name: one[first] for name, one in values.items()}, place, source)
        offset = np.timedelta64(int(float(about.get("utc_offset_seconds") or 0)), "s")
        local = [datetime.fromisoformat(text) for text in texts]
        if any(one.tzinfo for one in local):
            raise ValueError(say("a time with an offset of its own"))
        stamps = [np.datetime64(one, "s") - offset for one in local]
    except ValueError as error:
        raise WeatherError(say("{where}: {error}; export the times as ISO 8601", where=where, error=error)) from error
    times, first = in_order(stamps, "s")
    return HourlyRecord(times, {name: one[first] for name, one in values.items()}, place, source)


def read_power(text: str, *, where: str) -> Record:
    """Read a table of NASA POWER, hourly or daily.

    Raises
    ------
    WeatherError
        With file, line and mend.

    Notes
    -----
    Hours are means from the hour named to the next one and stand here under the hour at which they end, so that air and
    dew point are half an hour late (beginning or end is from memory). "LST" is the clock of the time zone by longitude,
    whole hours.
    """
    lines = text.splitlines()
    end = next((n for n, line in enumerate(lines) if line.strip() == "-END HEADER-"), None)
    if end is None or end + 2 > len(lines):
        raise WeatherError(say("{where}: the header block has no end; download the file again", where=where))
    block = "\n".join(lines[:end])
    found = re.search(r"atitude\s+(-?[\d.]+)\s+\w*ongitude\s+(-?[\d.]+)", block)
    height = re.search(r"=\s*(-?[\d.]+)\s*meters", block)
    place = _place(found and found[1], found and found[2], height[1] if height else None, where, 1)
    head = [cell.strip() for cell in lines[end + 1].split(",")]
    rows = list(csv.reader(io.StringIO("\n".join(lines[end + 2 :]))))
    is_hourly = "HR" in head
    known = POWER_HOURLY if is_hourly else POWER_DAILY
    need = "T2M" if is_hourly else "T2M_MIN"
    if need not in head or (not is_hourly and "T2M_MAX" not in head):
        raise WeatherError(
            say("{where}: no air temperature in it; ask for {names}", where=where, names="T2M, T2M_MIN, T2M_MAX")
        )
    table = np.full((len(rows), len(head)), np.nan)
    for number, row in enumerate(rows):
        if len(row) != len(head):
            raise WeatherError(
                say("{where} line {line}: too few fields; download the file again", where=where, line=end + 3 + number)
            )
        table[number] = [_number(cell, where, end + 3 + number) for cell in row]
    table[table == POWER_MISSING] = np.nan
    values: dict[str, FloatArray] = {}
    height_m = 10.0
    for name, (ours, scale) in known.items():
        if name in head and ours not in values:
            values[ours] = table[:, head.index(name)] * scale
            height_m = 2.0 if name == "WS2M" else height_m
    if "shortwave_w_m2" in values and re.search(r"ALLSKY_SFC_SW_DWN[^\n]*MJ", block):
        values["shortwave_w_m2"] *= MJ_AS_W
    dates = _power_dates(table, head, where)
    source = told("NASA POWER (MERRA-2), file {name}", name=where)
    if not is_hourly:
        times, at = in_order(dates, "D")
        return DailyRecord(times, {name: one[at] for name, one in values.items()}, place, source, height_m)
    local = not re.search(r"\bUTC\b|\bGMT\b", block)
    offset = round(place.longitude_deg / 15.0) if local else 0
    hours = ((table[:, head.index("HR")] + 1 - offset) * 3600).astype("timedelta64[s]")
    times, at = in_order(dates.astype("datetime64[s]") + hours, "s")
    return HourlyRecord(times, {name: one[at] for name, one in values.items()}, place, source, height_m)


def _power_dates(table: FloatArray, head: Sequence[str], where: str) -> NDArray[np.datetime64]:
    """Give the dates of the rows, by month and day or by day of the year."""
    if "YEAR" not in head or not ({"MO", "DY"} <= set(head) or "DOY" in head):
        raise WeatherError(say("{where}: no columns YEAR, MO, DY in it; download the file again", where=where))
    limits = {"YEAR": (1, 9999), "MO": (1, 12), "DY": (1, 31), "DOY": (1, 366), "HR": (0, 23)}
    for name in limits.keys() & set(head):
        low, high = limits[name]
        column = table[:, head.index(name)]
        if not ((column >= low) & (column <= high)).all():
            raise WeatherError(
                say("{where}: {name} holds an impossible number; download the file again", where=where, name=name)
            )
    years = (table[:, head.index("YEAR")].astype(np.int64) - 1970).astype("datetime64[Y]")
    if "DOY" in head:
        days = table[:, head.index("DOY")].astype(np.int64) - 1
        return np.asarray(years.astype("datetime64[D]") + days.astype("timedelta64[D]"))
    months = years.astype("datetime64[M]") + (table[:, head.index("MO")].astype(np.int64) - 1).astype("timedelta64[M]")
    days = table[:, head.index("DY")].astype(np.int64) - 1
    return np.asarray(months.astype("datetime64[D]") + days.astype("timedelta64[D]"))


def read_documented(text: str, *, where: str, place: Place | None) -> Record:
    """Read the CSV of docs/weather-files.md, hourly or daily; hours and days may be missing.

    Parameters
    ----------
    text : str
        Whole file.
    where : str
        Its name for messages.
    place : Place or None
        Where the file does not name one.

    Returns
    -------
    DailyRecord or HourlyRecord

    Raises
    ------
    WeatherError
        With file, line, column and mend.
    """
    header = next((line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")), "")
    words = [cell.strip().lower() for cell in re.split(r"[;,\t]", header)]
    daily = any(word in DAILY_KEYS["date"] for word in words) and not any(word in HOURLY_KEYS["time"] for word in words)
    columns: Sequence[Column] = DAILY_COLUMNS if daily else HOURLY_COLUMNS
    keys = DAILY_KEYS if daily else {"time": HOURLY_KEYS["time"]}
    table = parse_table(text, where=where, keys=keys, columns=columns)
    need = ("t_min_c", "t_max_c") if daily else ("t_air_c",)
    for name in need:
        if name not in table.values:
            example = next(column.example for column in columns if column.name == name)
            raise WeatherError(say('{where}: no column such as "{example}"', where=where, example=example))
    source = table.settings.get("source") or told("file {name}", name=where)
    at = file_place(table, place)
    height = table.setting("wind height", "height") or DEFAULT_HEIGHT_M
    if daily:
        days: list[np.datetime64] = []
        for text_of, line in zip(table.texts["date"], table.lines, strict=True):
            try:
                days.append(np.datetime64(datetime.strptime(text_of, "%Y-%m-%d").date(), "D"))  # noqa: DTZ007 - a date
            except ValueError as error:
                raise WeatherError(
                    say(
                        '{where} line {line}: "{text}" is no date; expected one such as 2026-12-22',
                        where=where,
                        line=line,
                        text=text_of,
                    )
                ) from error
        dates, order = in_order(days, "D")
        values = {name: one[order] for name, one in table.values.items()}
        return DailyRecord(dates, values, at, told("{source}, daily", source=source), height)
    zone = read_zone(table.settings["time zone"], where) if "time zone" in table.settings else None
    times, order = in_order(read_stamps(table.texts["time"], zone, where), "s")
    return HourlyRecord(times, {name: one[order] for name, one in table.values.items()}, at, source, height)


def _head(cell: str) -> tuple[str, str]:
    """Part a head such as ``temperature_2m (°C)`` into name and unit."""
    match = re.fullmatch(r"\s*(\S+?)\s*(?:\((.*)\))?\s*", cell)
    return (match[1], match[2] or "") if match else (cell, "")


def _number(cell: str, where: str, line: int) -> float:
    text = cell.strip()
    if text.lower() in ("", "nan", "null", "none"):
        return float("nan")
    try:
        return float(text)
    except ValueError as error:
        raise WeatherError(
            say('{where} line {line}: expected a number, got "{cell}"', where=where, line=line, cell=text)
        ) from error


def _place(latitude: str | None, longitude: str | None, elevation: str | None, where: str, line: int) -> Place:
    try:
        height = float(elevation or 0.0)
        return Place(float(latitude or ""), float(longitude or ""), height if np.isfinite(height) else 0.0)
    except ValueError as error:
        raise WeatherError(
            say("{where} line {line}: the place cannot be read; download the file again", where=where, line=line)
        ) from error
