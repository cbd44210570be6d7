"""Past weather from a CSV file, hourly or daily: what soil and walls remember before the forecast begins.

Columns, units and comment lines are documented in docs/weather-files.md.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.assemble import DRY_AIR_K, NOTHING, assemble
from fruitwall.weather.daily_curve import hourly_from_daily
from fruitwall.weather.forcing import Forcing, as_datetime
from fruitwall.weather.place import Place
from fruitwall.weather.sources.csv_file import DEFAULT_HEIGHT_M, HOURLY_COLUMNS, file_place, parse_hourly
from fruitwall.weather.stamps import solar_offset
from fruitwall.weather.sun import clear_sun
from fruitwall.weather.table import Column, Table, parse_table, read_text
from fruitwall.weather.wind import wind_at_height

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

DAILY_COLUMNS = (
    Column("t_min_c", "temperature", ("t_min", "tmin", "minimum", "low", "t_min_air"), "t_min [C]"),
    Column("t_max_c", "temperature", ("t_max", "tmax", "maximum", "high", "t_max_air"), "t_max [C]"),
    *(column for column in HOURLY_COLUMNS if column.name in ("t_dew_c", "wind_m_s", "cloud", "rain_mm")),
)
"""What a daily file may hold; both extremes are compulsory, the others are means of the day, rain its sum."""

KEYS = {"date": ("date", "day")}

DAILY_WIND_M_S = 2.0
"""Wind at 2 m where a daily file has none: the mean of 2000 stations that FAO-56 (ch. 3) suggests. [m/s]"""

HARGREAVES_INLAND = 0.16
"""k of ``Rs = k sqrt(Tmax - Tmin) Ra`` (FAO-56 eq. 50) for places that the sea does not dominate. [K^-0.5]"""

CLEAR_SHARE = 0.75
"""Share of the sun above the air that arrives on clear days at sea level (FAO-56 eq. 37). [-]"""

CLOUD_WITHOUT_RANGE, CLOUD_PER_K = 0.987, -0.040
"""Line of the day's mean sky cover against its range of temperature: 1,050 winter days at seven stations of the
southern United States, correlation -0.63 (`cloud_by_range` of bench/fit_dressing_prior.py). [-, 1/K]"""


def read_history(
    path: Path | str,
    *,
    latitude_deg: float | None = None,
    longitude_deg: float | None = None,
    elevation_m: float | None = None,
) -> Forcing:
    """Read past weather from a CSV file.

    Parameters
    ----------
    path : Path or str
        Hourly (a column "time") or daily (a column "date").
    latitude_deg, longitude_deg, elevation_m : float, optional
        Place where the file does not name one.

    Returns
    -------
    Forcing
        One member; all of it counts as history.

    Raises
    ------
    WeatherError
        One clear message with file, line, column and an example.
    """
    place = None
    if latitude_deg is not None and longitude_deg is not None:
        place = Place(latitude_deg, longitude_deg, elevation_m or 0.0)
    return parse_history(read_text(Path(path)), where=Path(path).name, place=place)


def parse_history(text: str, *, where: str, place: Place | None) -> Forcing:
    """Read past weather from the text of a CSV file; see `read_history`."""
    header = next((line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")), "")
    first_words = [cell.strip().lower() for cell in header.replace(";", ",").replace("\t", ",").split(",")]
    if any(word in KEYS["date"] for word in first_words) and "time" not in first_words:
        return parse_daily(text, where=where, place=place)
    return parse_hourly(text, where=where, place=place, now=None, is_history=True)


def parse_daily(text: str, *, where: str, place: Place | None) -> Forcing:
    """Read daily extremes and make hours of them.

    Parameters
    ----------
    text : str
        Whole file: date, lowest and highest temperature, and optionally dew point, wind, cloud (means of the day)
        and rain (its sum).
    where : str
        Its name for messages.
    place : Place or None
        Where the file does not name one.

    Raises
    ------
    WeatherError
        If days are missing or doubled, a value is missing, or a minimum exceeds its maximum.

    Notes
    -----
    Temperature by `daily_curve`. Where cloud is missing, the sun's share of a clear day comes from the day's range of
    temperature by Hargreaves' formula (FAO-56 eq. 50), and cloud from a line through measured days; where the dew
    point is missing it lies 2 K below the minimum; where wind is missing it is FAO-56's 2 m/s at 2 m. Means are taken
    to hold at noon, lines between.
    """
    table = parse_table(text, where=where, keys=KEYS, columns=DAILY_COLUMNS)
    for name, example in (("t_min_c", "t_min [C]"), ("t_max_c", "t_max [C]")):
        if name not in table.values:
            raise WeatherError(
                say(
                    '{where}: a daily file needs both extremes; no column such as "{example}"',
                    where=where,
                    example=example,
                )
            )
    at = file_place(table, place)
    dates = _dates(table)
    _check_days(table, dates)
    height = table.setting("wind height", "height") or DEFAULT_HEIGHT_M
    try:
        times, t_air = hourly_from_daily(
            dates, table.values["t_min_c"], table.values["t_max_c"], at.latitude_deg, at.longitude_deg
        )
    except ValueError as error:
        raise WeatherError(say("{where}: {error}", where=where, error=error)) from error
    notes: list[str] = [told("daily extremes were turned into hours by a curve (Linvill 1990)")]
    columns = _other_columns(table, dates, times, t_air, at, height, notes)
    return assemble(
        times,
        {"t_air_c": t_air[None, :], **{name: values[None, :] for name, values in columns.items()}},
        place=at,
        source=told("{source}, daily", source=table.settings.get("source") or told("file {name}", name=where)),
        issued_utc=as_datetime(times[-1]),
        where=where,
        bridge=NOTHING,
        wind_height_m=height,
        n_history=None,
        warnings=notes,
    )


def _dates(table: Table) -> TimeArray:
    """Read the dates and check that each day follows the one before."""
    days: list[date] = []
    for text, line in zip(table.texts["date"], table.lines, strict=True):
        try:
            day = date.fromisoformat(text)
        except ValueError as error:
            raise WeatherError(
                say(
                    '{where} line {line}: "{text}" is no date; expected one such as 2026-12-22',
                    where=table.where,
                    line=line,
                    text=text,
                )
            ) from error
        if days and (day - days[-1]).days != 1:
            what = say("stands twice") if day == days[-1] else say("does not follow {day}", day=days[-1])
            raise WeatherError(
                say(
                    "{where} line {line}: the day {day} {what}; a line is needed for every day",
                    where=table.where,
                    line=line,
                    day=day,
                    what=what,
                )
            )
        days.append(day)
    if len(days) < 2:
        raise WeatherError(
            say("{where}: at least two days are needed, got {count}", where=table.where, count=len(days))
        )
    return np.array(days, dtype="datetime64[D]")


def _check_days(table: Table, dates: TimeArray) -> None:
    """Refuse missing values by name and day; rain may be missing."""
    for name, values in table.values.items():
        if name != "rain_mm" and not np.isfinite(values).all():
            wrong = int((~np.isfinite(values)).argmax())
            raise WeatherError(
                say(
                    "{where} line {line}: {name} of {day} is missing",
                    where=table.where,
                    line=table.lines[wrong],
                    name=name,
                    day=dates[wrong],
                )
            )


def _other_columns(
    table: Table,
    dates: TimeArray,
    times: TimeArray,
    t_air: FloatArray,
    at: Place,
    height_m: float,
    notes: list[str],
) -> dict[str, FloatArray]:
    """Give dew point, wind, cloud and rain by the hour."""
    values = table.values
    noons = _noons(dates, at.longitude_deg)
    columns: dict[str, FloatArray] = {}

    def hourly(daily: FloatArray) -> FloatArray:
        return np.asarray(np.interp(times.astype(np.int64).astype(float), noons, daily))

    if "t_dew_c" in values:
        columns["t_dew_c"] = np.minimum(hourly(values["t_dew_c"]), t_air)
    else:
        columns["t_dew_c"] = hourly(values["t_min_c"] - DRY_AIR_K)
        notes.append(told("no dew point given; taken {below:g} K below each day's minimum", below=DRY_AIR_K))
    if "wind_m_s" in values:
        columns["wind_m_s"] = hourly(values["wind_m_s"])
    else:
        columns["wind_m_s"] = np.full(times.size, wind_at_height(DAILY_WIND_M_S, 2.0, height_m))
        notes.append(told("no wind given; {wind:g} m/s at 2 m taken (FAO-56)", wind=DAILY_WIND_M_S))
    if "cloud" in values:
        columns["cloud"] = hourly(values["cloud"])
    else:
        range_k = values["t_max_c"] - values["t_min_c"]
        columns["cloud"] = hourly(np.clip(CLOUD_WITHOUT_RANGE + CLOUD_PER_K * range_k, 0.0, 1.0))
        clear = clear_sun(times, at.latitude_deg, at.longitude_deg)
        columns["shortwave_w_m2"] = clear * hourly(np.minimum(HARGREAVES_INLAND * np.sqrt(range_k) / CLEAR_SHARE, 1.0))
        notes.append(told("no cloud given; cloud and sun taken from each day's range of temperature"))
    columns["rain_mm"] = _rain_by_hour(values.get("rain_mm", np.zeros(dates.size)), noons, times)
    return columns


def _noons(dates: TimeArray, longitude_deg: float) -> FloatArray:
    """Give local mean solar noon of each date in seconds of UTC."""
    offset_s = solar_offset(longitude_deg).total_seconds()
    return np.asarray(dates.astype("datetime64[s]").astype(np.int64) + 12 * 3600.0 - offset_s)


def _rain_by_hour(rain_mm: FloatArray, noons: FloatArray, times: TimeArray) -> FloatArray:
    """Spread each day's rain evenly over its 24 hours."""
    day = np.searchsorted(noons + 12 * 3600.0, times.astype(np.int64).astype(float), side="left")
    return np.asarray(np.nan_to_num(rain_mm)[np.clip(day, 0, rain_mm.size - 1)] / 24.0)
