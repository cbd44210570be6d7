"""Daily station files of NOAA's Global Historical Climatology Network (GHCN-Daily).

Three forms of the same record: ``.dly`` (a line for a month and element, fixed columns), the table "by station" (a line
for a day and element) and the table of the daily summaries (a line for a day). Format: section III of NOAA's
``readme.txt`` for GHCN-Daily and ``readme-by_station.txt`` (stored copies read). Data: US public domain; stations of
other countries may have terms of their own.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.archive.record import DailyRecord, need_place
from fruitwall.weather.place import Place

FloatArray = NDArray[np.float64]

ELEMENTS = {"TMIN": "t_min_c", "TMAX": "t_max_c", "PRCP": "rain_mm", "AWND": "wind_m_s"}
"""What is read, each in tenths: °C, °C, mm, m/s."""

SOURCE_FIELD = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9}")
DLY_LINE = re.compile(rf"{SOURCE_FIELD.pattern}\d{{6}}[A-Z0-9]{{4}}[ -]*\d+")
LONG_LINE = re.compile(rf"{SOURCE_FIELD.pattern},\d{{8}},[A-Z0-9]{{4}},")

MISSING = -9999
DLY_LENGTH = 21 + 31 * 8
STATIONS_FILE = "ghcnd-stations.txt"

MORNING = (100, 1200)
"""Times of observation from and to which the highest temperature of the 24 hours before is that of the date before: US
observers who read in the morning book it on the day they read. [hhmm]"""

HOTTEST_F, HOTTEST_TENTHS = 130, 130
"""Whole numbers of a table without decimals: nowhere is 130 °F, and a year with a day above 13.0 °C exceeds 130."""


class _Cell(NamedTuple):
    """One value: element, date, number in our units (NaN where it failed a check), whether it failed."""

    element: str
    day: np.datetime64
    value: float
    failed: bool


def is_ghcn(first_line: str) -> bool:
    """Tell whether a text begins as one of the three forms."""
    words = _words(first_line)
    wide = "STATION" in words and "DATE" in words and ("TMIN" in words or "TMAX" in words)
    return bool(DLY_LINE.match(first_line) or LONG_LINE.match(first_line)) or _is_long_header(words) or wide


def read_ghcn(text: str, *, where: str, place: Place | None, beside: Path | None = None) -> DailyRecord:
    """Read one station.

    Parameters
    ----------
    text : str
        Whole file.
    where : str
        Its name for messages.
    place : Place or None
        For the forms that do not name the place.
    beside : Path, optional
        Folder in which NOAA's list of stations may lie (``ghcnd-stations.txt``): then the place is found there.

    Returns
    -------
    DailyRecord
        Values that failed one of NOAA's quality checks are left out.

    Raises
    ------
    WeatherError
        With file, line and mend.
    """
    first = text.split("\n", 1)[0]
    notes: list[str] = []
    name = ""
    if DLY_LINE.match(first):
        station, cells = first[:11], list(_dly(text, where))
    elif LONG_LINE.match(first) or _is_long_header(_words(first)):
        station, cells = _long(text, where, notes)
    else:
        station, name, named, cells = _wide(text, where)
        place = named or place
    if not any(cell.element in ("TMIN", "TMAX") for cell in cells):
        raise WeatherError(
            say("{where}: no lowest and highest temperature (TMIN, TMAX) in it; take another station", where=where)
        )
    if not name:
        listed = _listed(beside, station)
        if listed is not None:
            name, place = listed
    record = _record(cells, notes)
    return DailyRecord(
        *record,
        place=need_place(place, where),
        source=told("GHCN-Daily (NOAA), station {station}, daily", station=f"{station} {name}".strip()),
        notes=tuple(notes),
    )


def _words(line: str) -> list[str]:
    return [word.strip().strip('"').upper() for word in line.split(",")]


def _is_long_header(words: list[str]) -> bool:
    return words[:3] == ["ID", "DATE", "ELEMENT"]


def _dly(text: str, where: str) -> Iterator[_Cell]:
    """Read fixed columns: 31 values of 5 characters, each with three flags; the second is of quality."""
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        element = line[17:21]
        if not DLY_LINE.match(line) or len(line.rstrip()) < 21 + 5:
            raise _bad_line(where, number, say("no line of a .dly file"))
        if element not in ELEMENTS:
            continue
        line = line.ljust(DLY_LENGTH)
        try:
            month = np.datetime64(f"{line[11:15]}-{line[15:17]}", "M")
            for day in range(31):
                at = 21 + 8 * day
                value = int(line[at : at + 5].strip() or MISSING)
                when = month.astype("datetime64[D]") + day
                if value != MISSING and when.astype("datetime64[M]") == month:
                    yield _cell(element, when, value / 10.0, line[at + 6])
        except ValueError as error:
            raise _bad_line(where, number, str(error)) from error


def _long(text: str, where: str, notes: list[str]) -> tuple[str, list[_Cell]]:
    """Read a line for each day and element."""
    cells: list[_Cell] = []
    station, moved = "", 0
    for number, row in enumerate(csv.reader(io.StringIO(text)), start=1):
        if not row or row[0].strip().upper() == "ID":
            continue
        if len(row) < 6:
            raise _bad_line(where, number, say("fewer than six fields"))
        if station and row[0] != station:
            raise _bad_line(where, number, say("a second station, {name}; give each in a file of its own", name=row[0]))
        station = row[0]
        if row[2] not in ELEMENTS:
            continue
        try:
            when, value = _date(row[1]), int(row[3])
        except ValueError as error:
            raise _bad_line(where, number, str(error)) from error
        observed = row[7].strip() if len(row) > 7 else ""
        if row[2] == "TMAX" and observed.isdigit() and MORNING[0] <= int(observed) <= MORNING[1]:
            when, moved = when - 1, moved + 1
        if value != MISSING:
            cells.append(_cell(row[2], when, value / 10.0, row[5]))
    if moved:
        notes.append(
            told("{count} highest temperatures were read in the morning; they count for the day before", count=moved)
        )
    return station, cells


def _wide(text: str, where: str) -> tuple[str, str, Place | None, list[_Cell]]:
    """Read a line for each day, with the place in it."""
    reader = csv.DictReader(io.StringIO(text))
    reader.fieldnames = [name.strip().upper() for name in reader.fieldnames or ()]
    rows = list(reader)
    if not rows:
        raise WeatherError(say("{where}: no rows below the header", where=where))
    known = [name for name in ELEMENTS if name in reader.fieldnames]
    scale, offset = _scale(rows, where)
    station = (rows[0].get("STATION") or "").strip()
    cells: list[_Cell] = []
    for number, row in enumerate(rows, start=2):
        if (row.get("STATION") or "").strip() != station:
            other = row.get("STATION")
            raise _bad_line(where, number, say("a second station, {name}; give each in a file of its own", name=other))
        try:
            when = _date(row.get("DATE") or "")
            for name in known:
                text_of = (row.get(name) or "").strip()
                if text_of:
                    number_of = float(text_of) * scale[name] + (offset if name.startswith("T") else 0.0)
                    flags = (row.get(f"{name}_ATTRIBUTES") or "").split(",")
                    cells.append(_cell(name, when, number_of, flags[1] if len(flags) > 1 else ""))
        except ValueError as error:
            raise _bad_line(where, number, str(error)) from error
    return station, (rows[0].get("NAME") or "").strip(), _named_place(rows[0]), cells


def _scale(rows: list[dict[str, str]], where: str) -> tuple[dict[str, float], float]:
    """Tell the units of a table, which it does not name: tenths, or °C with decimals, or whole °F."""
    texts = [(row.get(name) or "").strip() for row in rows for name in ("TMIN", "TMAX")]
    texts = [text for text in texts if text]
    try:
        highest = max((abs(float(text)) for text in texts), default=0.0)
    except ValueError as error:
        raise WeatherError(say("{where}: {error}", where=where, error=error)) from error
    if any("." in text for text in texts):
        if highest > 60.0:
            raise WeatherError(
                say("{where}: temperatures look like °F with decimals; order the table in metric units", where=where)
            )
        return {"TMIN": 1.0, "TMAX": 1.0, "PRCP": 1.0, "AWND": 1.0}, 0.0
    if highest > HOTTEST_TENTHS:
        return {"TMIN": 0.1, "TMAX": 0.1, "PRCP": 0.1, "AWND": 0.1}, 0.0
    if len(rows) >= 365 and highest > 60:  # whole °F, inches, miles an hour: the form for US readers
        return {"TMIN": 5 / 9, "TMAX": 5 / 9, "PRCP": 25.4, "AWND": 1609.344 / 3600}, -160 / 9
    raise WeatherError(
        say(
            "{where}: it cannot be told whether temperatures are tenths of °C or °F; order the table in metric units",
            where=where,
        )
    )


def _named_place(row: dict[str, str]) -> Place | None:
    try:
        return Place(float(row["LATITUDE"]), float(row["LONGITUDE"]), float(row.get("ELEVATION") or 0.0))
    except (KeyError, TypeError, ValueError):
        return None


def _listed(beside: Path | None, station: str) -> tuple[str, Place] | None:
    """Find a station in NOAA's list, where that lies beside the file."""
    path = beside / STATIONS_FILE if beside else None
    if path is None or not path.is_file():
        return None
    with path.open(encoding="utf-8", errors="replace") as lines:
        for line in lines:
            if line.startswith(station):
                try:
                    return line[41:71].strip(), Place(float(line[12:20]), float(line[21:30]), float(line[31:37]))
                except ValueError:
                    return None
    return None


def _cell(element: str, when: np.datetime64, value: float, flag: str) -> _Cell:
    failed = bool(flag.strip())
    return _Cell(element, when, float("nan") if failed else value, failed)


def _date(text: str) -> np.datetime64:
    """Read a date of eight digits or with dashes."""
    text = text.strip()
    if re.fullmatch(r"\d{8}", text):
        text = f"{text[:4]}-{text[4:6]}-{text[6:]}"
    return np.datetime64(date.fromisoformat(text), "D")


def _record(cells: Iterable[_Cell], notes: list[str]) -> tuple[NDArray[np.datetime64], dict[str, FloatArray]]:
    """Lay values out by date; those that failed a check stay missing."""
    cells = list(cells)
    dates = np.unique(np.array([cell.day for cell in cells], dtype="datetime64[D]"))
    values = {name: np.full(dates.size, np.nan) for element, name in ELEMENTS.items()}
    at = np.searchsorted(dates, np.array([cell.day for cell in cells], dtype="datetime64[D]"))
    for place, cell in zip(at, cells, strict=True):
        values[ELEMENTS[cell.element]][place] = cell.value
    failed = sum(cell.failed for cell in cells)
    if failed:
        notes.append(told("values that failed NOAA's quality checks are left out: {count}", count=failed))
    kept = {name: one for name, one in values.items() if name in ("t_min_c", "t_max_c") or np.isfinite(one).any()}
    return dates, kept


def _bad_line(where: str, number: int, reason: str) -> WeatherError:
    return WeatherError(
        say("{where} line {line}: {reason}; download the file again", where=where, line=number, reason=reason)
    )
