"""Forecasts of the US National Weather Service (api.weather.gov).

Two answers are read: the raw grid layers (``forecastGridData``: everything we need, preferred) and the hourly
forecast (``forecastHourly``: wind and sky as words, no rain amounts). The look-up ``/points`` leads to the first.
Documentation: https://www.weather.gov/documentation/services-web-api
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.assemble import ALL_BUT_AIR, assemble, dew_below_lowered_air
from fruitwall.weather.forcing import HOUR, Forcing, as_datetime64
from fruitwall.weather.place import Place
from fruitwall.weather.sources.reading import LONGEST_FORECAST_H, describe, dig, read_instant, read_numbers

FloatArray = NDArray[np.float64]

CREDIT = "US National Weather Service"

# Our column, kind of unit, whether the value is a sum over its period.
LAYERS: Mapping[str, tuple[str, str]] = {
    "temperature": ("t_air_c", "temperature"),
    "dewpoint": ("t_dew_c", "temperature"),
    "relativeHumidity": ("humidity_pct", "humidity"),
    "windSpeed": ("wind_m_s", "wind"),
    "skyCover": ("cloud", "cloud"),
}

# Middle of the service's own classes of sky cover (from memory of its sky-condition table: clear 0-1/8, mostly clear
# to 2/8, partly cloudy to 4/8, mostly cloudy to 7/8, cloudy 8/8).
SKY_ICONS: Mapping[str, float] = {"skc": 0.05, "few": 0.2, "sct": 0.4, "bkn": 0.7, "ovc": 1.0}
SKY_WORDS: tuple[tuple[str, float], ...] = (
    ("mostly clear", 0.2),
    ("mostly sunny", 0.2),
    ("partly", 0.4),
    ("mostly cloudy", 0.7),
    ("cloudy", 1.0),
    ("clear", 0.05),
    ("sunny", 0.05),
)
CLOUDY_WHEN_WET = 0.95
"""Cover taken for rain, snow, fog, haze and what else has an icon of its own. [0-1]"""


@dataclass(frozen=True)
class Hours:
    """A layer expanded to hours: stamps and values."""

    times: NDArray[np.datetime64]
    values: FloatArray


def points_url(latitude_deg: float, longitude_deg: float) -> str:
    """Give the look-up address of a place; the service answers for four decimals."""
    return f"https://api.weather.gov/points/{latitude_deg:.4f},{longitude_deg:.4f}"


def grid_url(points: Any, where: str) -> str:
    """Give the address of the raw grid layers from a look-up answer."""
    return str(dig(points, "properties.forecastGridData", where, kind=str))


def parse_grid(document: Any, *, where: str, place: Place) -> Forcing:
    """Read raw grid layers.

    Parameters
    ----------
    document : parsed JSON
        Answer of ``/gridpoints/{office}/{x},{y}``.
    where : str
        Address or file for messages.
    place : Place
        The yard, for what the answer leaves out.

    Raises
    ------
    WeatherError
        If layers, hours or units are missing.

    Notes
    -----
    A layer's value holds from the start of its period; it is taken as the value at every full hour inside. Rain is
    spread evenly over its period. Nights are drawn down to the service's own `minTemperature` where the hourly values
    miss it, by a share that is 1 at the coldest hour and 0 at the warmest of the window.
    """
    issued = read_instant(dig(document, "properties.updateTime", where), "properties.updateTime", where)
    layers = {ours: _layer(document, name, kind, where) for name, (ours, kind) in LAYERS.items()}
    present = {name: hours for name, hours in layers.items() if hours is not None}
    if "t_air_c" not in present:
        raise WeatherError(say("{where}: the layer properties.temperature is missing or empty", where=where))
    if "t_dew_c" in present:
        present.pop("humidity_pct", None)
    start = max(hours.times[0] for hours in present.values())
    end = min(hours.times[-1] for hours in present.values())
    if end - start < HOUR:
        raise WeatherError(say("{where}: the layers have no two hours in common", where=where))
    times = np.arange(start, end + HOUR, HOUR)
    columns = {name: _on_hours(hours, times)[None, :] for name, hours in present.items()}
    before = columns["t_air_c"].copy()
    _reach_minimum(columns["t_air_c"][0], times, document, where)
    dew_below_lowered_air(columns, before)
    rain = _rain(document, times, where)
    if rain is not None:
        columns["rain_mm"] = rain[None, :]
    return assemble(
        times,
        columns,
        place=_place(document, place, where),
        source=f"{CREDIT}, grid {_grid_name(document)}",
        issued_utc=issued,
        where=where,
        bridge=ALL_BUT_AIR,
    )


def parse_hourly(document: Any, *, where: str, place: Place) -> Forcing:
    """Read an hourly forecast (``/forecast/hourly``) in US or SI units.

    Sky cover comes from the icon's name, else from the words; wind ranges such as "5 to 10 mph" count with their
    middle. There are no rain amounts.

    Raises
    ------
    WeatherError
        If hours, temperatures or units are missing.
    """
    periods = dig(document, "properties.periods", where, kind=list)
    if len(periods) > LONGEST_FORECAST_H:
        raise WeatherError(
            say("{where}: {periods} hours are more than any forecast has", where=where, periods=len(periods))
        )
    starts, rows = [], []
    for number, period in enumerate(periods):
        at = f"properties.periods[{number}]"
        start = read_instant(dig(period, "startTime", where), f"{at}.startTime", where)
        end = read_instant(dig(period, "endTime", where), f"{at}.endTime", where)
        if (end - start).total_seconds() != 3600:
            raise WeatherError(
                say(
                    "{where}: this is the forecast by half days; fruitwall needs hours: ask for "
                    "forecastGridData or forecastHourly of the same grid cell",
                    where=where,
                )
            )
        starts.append(as_datetime64(start))
        rows.append([read(period, at, where) for read in _PERIOD_COLUMNS.values()])
    if not rows:
        raise WeatherError(say("{where}: properties.periods is empty", where=where))
    table = np.array(rows, dtype=np.float64).T
    issued = dig(document, "properties.updateTime", where, default=None)
    if issued is None:
        issued = dig(document, "properties.generatedAt", where)
    return assemble(
        np.array(starts, dtype="datetime64[s]"),
        {name: table[index][None, :] for index, name in enumerate(_PERIOD_COLUMNS)},
        place=_place(document, place, where),
        source=f"{CREDIT}, hourly forecast",
        issued_utc=read_instant(issued, "properties.updateTime", where),
        where=where,
        bridge=ALL_BUT_AIR,
        warnings=[told("sky cover was read from the forecast's words; the service's raw grid data are better")],
    )


def _layer(document: Any, name: str, kind: str, where: str) -> Hours | None:
    """Expand a layer to hours; nothing if it is absent or empty."""
    path = f"properties.{name}"
    layer = dig(document, path, where, default=None)
    if not isinstance(layer, dict) or not layer.get("values"):
        return None
    unit = dig(layer, "uom", f"{where}: {path}", kind=str)
    entries = dig(layer, "values", f"{where}: {path}", kind=list)
    values = read_numbers([dig(entry, "value", where) for entry in entries], unit, kind, path, where)
    times, spread = [], []
    for entry, value in zip(entries, values, strict=True):
        start, hours = _period(dig(entry, "validTime", where), path, where)
        times.append(as_datetime64(start) + HOUR * np.arange(hours))
        spread.append(np.full(hours, value))
        if sum(len(part) for part in times) > LONGEST_FORECAST_H:
            raise WeatherError(say("{where}: {path} has more hours than any forecast", where=where, path=path))
    stamps, order = np.unique(np.concatenate(times), return_index=True)
    return Hours(stamps, np.concatenate(spread)[order])


def _period(text: Any, path: str, where: str) -> tuple[datetime, int]:
    """Read ``2024-02-20T17:00:00+00:00/P1DT3H``: its start and its length in hours, at least one."""
    match = re.fullmatch(r"([^/]+)/P(?:(\d{1,3})D)?(?:T(?:(\d{1,4})H)?(?:\d{1,2}M)?)?", str(text))
    if match is None:
        raise WeatherError(
            say(
                "{where}: {path}: expected a time and duration, got {given}",
                where=where,
                path=path,
                given=describe(text),
            )
        )
    start = read_instant(match[1], path, where)
    if start.minute or start.second:
        raise WeatherError(
            say(
                "{where}: {path}: periods should begin at full hours, got {given}",
                where=where,
                path=path,
                given=describe(text),
            )
        )
    return start, max(int(match[2] or 0) * 24 + int(match[3] or 0), 1)


def _on_hours(hours: Hours, times: NDArray[np.datetime64]) -> FloatArray:
    """Give a layer at the given hours, NaN where it has none."""
    spot = np.minimum(np.searchsorted(hours.times, times), hours.times.size - 1)
    return np.where(hours.times[spot] == times, hours.values[spot], np.nan)


def _rain(document: Any, times: NDArray[np.datetime64], where: str) -> FloatArray | None:
    """Give the rain of the hour that ends at each time; none beyond the layer's end."""
    path = "properties.quantitativePrecipitation"
    layer = dig(document, path, where, default=None)
    if not isinstance(layer, dict) or not layer.get("values"):
        return None
    entries = dig(layer, "values", f"{where}: {path}", kind=list)
    unit = dig(layer, "uom", f"{where}: {path}", kind=str)
    amounts = read_numbers([dig(entry, "value", where) for entry in entries], unit, "rain", path, where)
    rain = np.zeros(times.size)
    for entry, amount in zip(entries, np.nan_to_num(amounts), strict=True):
        start, hours = _period(dig(entry, "validTime", where), path, where)
        first = as_datetime64(start)
        inside = (times > first) & (times <= first + HOUR * hours)
        rain[inside] += amount / hours
    return rain


def _reach_minimum(t_air: FloatArray, times: NDArray[np.datetime64], document: Any, where: str) -> None:
    """Draw the hours of each night down to the service's own minimum, in place."""
    path = "properties.minTemperature"
    layer = dig(document, path, where, default=None)
    if not isinstance(layer, dict) or not layer.get("values"):
        return
    entries = dig(layer, "values", f"{where}: {path}", kind=list)
    unit = dig(layer, "uom", f"{where}: {path}", kind=str)
    minima = read_numbers([dig(entry, "value", where) for entry in entries], unit, "temperature", path, where)
    for entry, minimum in zip(entries, minima, strict=True):
        start, hours = _period(dig(entry, "validTime", where), path, where)
        first = as_datetime64(start)
        inside = np.flatnonzero((times >= first) & (times < first + HOUR * hours))
        if inside.size < hours or inside.size < 6 or not np.isfinite(minimum):
            continue  # a window that is cut off may have its coldest hour outside
        window = t_air[inside]
        lowest, highest = window.min(), window.max()
        if minimum < lowest < highest:
            t_air[inside] = window - (lowest - minimum) * (highest - window) / (highest - lowest)


def _place(document: Any, yard: Place, where: str) -> Place:
    """Give the middle of the grid cell, with the yard's coordinates for what is not told."""
    elevation = yard.elevation_m
    height = dig(document, "properties.elevation", where, default=None)
    if isinstance(height, dict) and height.get("value") is not None:
        unit = str(height.get("unitCode", "m"))
        elevation = float(read_numbers([height["value"]], unit, "height", "properties.elevation", where)[0])
    corners = _corners(document.get("geometry"))
    if not corners:
        return Place(yard.latitude_deg, yard.longitude_deg, elevation)
    longitudes, latitudes = zip(*corners, strict=True)
    return Place(
        (min(latitudes) + max(latitudes)) / 2,
        (min(longitudes) + max(longitudes)) / 2,
        elevation,
    )


def _corners(geometry: Any) -> list[tuple[float, float]]:
    """Give all (longitude, latitude) pairs of a GeoJSON geometry; none if it is not one."""
    if not isinstance(geometry, dict):
        return []
    if isinstance(geometry.get("geometries"), list):
        return [pair for part in geometry["geometries"] for pair in _corners(part)]
    return _pairs(geometry.get("coordinates"))


def _pairs(coordinates: Any) -> list[tuple[float, float]]:
    """Flatten nested GeoJSON coordinates."""
    if not isinstance(coordinates, list):
        return []
    if len(coordinates) >= 2 and all(isinstance(number, (int, float)) for number in coordinates[:2]):
        return [(float(coordinates[0]), float(coordinates[1]))]
    return [pair for part in coordinates for pair in _pairs(part)]


def _grid_name(document: Any) -> str:
    """Name the grid cell: office and numbers."""
    properties = document["properties"]
    return f"{properties.get('gridId', '?')} {properties.get('gridX', '?')},{properties.get('gridY', '?')}"


def _quantity(period: Any, name: str, kind: str, at: str, where: str) -> float:
    """Read a value that is an object with unitCode, or nothing."""
    found = period.get(name)
    if not isinstance(found, dict):
        return float("nan")
    unit = str(found.get("unitCode", ""))
    return float(read_numbers([found.get("value")], unit, kind, f"{at}.{name}", where)[0])


def _temperature(period: Any, at: str, where: str) -> float:
    """Read the temperature: a plain number with temperatureUnit, or an object."""
    if isinstance(period.get("temperature"), dict):
        return _quantity(period, "temperature", "temperature", at, where)
    unit = str(dig(period, "temperatureUnit", f"{where}: {at}"))
    return float(read_numbers([period.get("temperature")], unit, "temperature", f"{at}.temperature", where)[0])


def _wind(period: Any, at: str, where: str) -> float:
    """Read the wind: text such as "15 mph" or "5 to 10 mph" (its middle), or an object."""
    found = period.get("windSpeed")
    if isinstance(found, dict):
        return _quantity(period, "windSpeed", "wind", at, where)
    if found is None or str(found).strip() == "":
        return float("nan")
    match = re.fullmatch(r"(\d+(?:\.\d+)?)(?:\s*(?:to|-)\s*(\d+(?:\.\d+)?))?\s*([a-z/]+)", str(found).strip().lower())
    if match is None:
        raise WeatherError(
            say(
                '{where}: {at}.windSpeed should be like "5 to 10 mph", got {given}',
                where=where,
                at=at,
                given=describe(found),
            )
        )
    middle = (float(match[1]) + float(match[2] or match[1])) / 2
    return float(read_numbers([middle], match[3], "wind", f"{at}.windSpeed", where)[0])


def _sky(period: Any, _at: str, _where: str) -> float:
    """Read the sky cover from the icon's name, else from the words."""
    icon = re.search(r"/(?:day|night)/([a-z_]+)", str(period.get("icon") or ""))
    if icon is not None:
        name = icon[1].removeprefix("wind_")
        return SKY_ICONS.get(name, CLOUDY_WHEN_WET)
    words = str(period.get("shortForecast") or "").lower()
    found = next((share for word, share in SKY_WORDS if word in words), None)
    return CLOUDY_WHEN_WET if found is None and words else float("nan") if found is None else found


_PERIOD_COLUMNS: Mapping[str, Callable[[Any, str, str], float]] = {
    "t_air_c": _temperature,
    "t_dew_c": lambda period, at, where: _quantity(period, "dewpoint", "temperature", at, where),
    "humidity_pct": lambda period, at, where: _quantity(period, "relativeHumidity", "humidity", at, where),
    "wind_m_s": _wind,
    "cloud": _sky,
}
