"""Forecasts of MET Norway (Locationforecast 2.0, compact and complete).

Hourly for two to three days, then six-hourly; the latter are filled to hours here.
Documentation: https://developer.yr.no/doc/ForecastJSON . Data: CC BY 4.0 / NLOD 2.0, credit "MET Norway".
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import say, told
from fruitwall.weather.assemble import ALL_BUT_AIR, assemble, dew_below_lowered_air
from fruitwall.weather.forcing import HOUR, Forcing, as_datetime64, say_hour
from fruitwall.weather.humidity import dew_point_from_humidity
from fruitwall.weather.place import Place
from fruitwall.weather.sources.reading import LONGEST_FORECAST_H, dig, read_instant, read_numbers

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

CREDIT = "MET Norway Locationforecast 2.0 (CC BY 4.0)"

INSTANT: Mapping[str, tuple[str, str]] = {
    "air_temperature": ("t_air_c", "temperature"),
    "dew_point_temperature": ("t_dew_c", "temperature"),
    "relative_humidity": ("humidity_pct", "humidity"),
    "wind_speed": ("wind_m_s", "wind"),
    "cloud_area_fraction": ("cloud", "cloud"),
}

LONGEST_STEP_H = 12
"""Steps of the forecast's tail are six hours; longer holes than this are refused. [h]"""


def forecast_url(latitude_deg: float, longitude_deg: float, elevation_m: float) -> str:
    """Give the address for a place: at most four decimals and whole metres, as the service's terms ask."""
    return (
        "https://api.met.no/weatherapi/locationforecast/2.0/complete"
        f"?lat={latitude_deg:.4f}&lon={longitude_deg:.4f}&altitude={elevation_m:.0f}"
    )


def parse(document: Any, *, where: str, place: Place) -> Forcing:
    """Read a Locationforecast answer.

    Parameters
    ----------
    document : parsed JSON
        Answer of ``/locationforecast/2.0/compact`` or ``complete``.
    where : str
        Address or file for messages.
    place : Place
        The yard, for what the answer leaves out.

    Raises
    ------
    WeatherError
        If times, temperatures or units are missing.

    Notes
    -----
    Between six-hourly values lines are drawn; where the complete answer gives the lowest temperature of such a period
    below both ends, a half sine is taken off the line so that an hour inside reaches it. Rain of a period is spread
    evenly over its hours; the shortest period that covers an hour is used.
    """
    steps = dig(document, "properties.timeseries", where, kind=list)
    units = dig(document, "properties.meta.units", where, kind=dict)
    issued = read_instant(dig(document, "properties.meta.updated_at", where), "properties.meta.updated_at", where)
    if len(steps) < 2:
        raise WeatherError(
            say(
                "{where}: properties.timeseries holds {steps} times; at least two are needed",
                where=where,
                steps=len(steps),
            )
        )
    stamps = np.array(
        [as_datetime64(read_instant(dig(step, "time", where), "time", where)) for step in steps],
        dtype="datetime64[s]",
    )
    times = _hours(stamps, where)
    columns: dict[str, FloatArray] = {}
    for name, (ours, kind) in INSTANT.items():
        given = [dig(step, f"data.instant.details.{name}", where, default=None) for step in steps]
        if any(value is not None for value in given):
            columns[ours] = read_numbers(given, str(units.get(name, "")), kind, name, where)
    if "t_air_c" not in columns:
        raise WeatherError(say("{where}: no air_temperature in data.instant.details", where=where))
    _dew_point(columns)
    hourly = {name: _to_hours(values, stamps, times)[None, :] for name, values in columns.items()}
    before = hourly["t_air_c"].copy()
    _reach_minima(hourly["t_air_c"][0], stamps, times, steps, str(units.get("air_temperature", "")), where)
    dew_below_lowered_air(hourly, before)
    hourly["rain_mm"] = _rain(steps, stamps, times, str(units.get("precipitation_amount", "mm")), where)[None, :]
    return assemble(
        times,
        hourly,
        place=_place(document, place, where),
        source=CREDIT,
        issued_utc=issued,
        where=where,
        bridge=ALL_BUT_AIR,
        warnings=_coarse_tail(stamps),
    )


def _hours(stamps: TimeArray, where: str) -> TimeArray:
    """Give every hour from the first to the last stamp; the stamps must be whole hours and not too far apart."""
    gaps = np.diff(stamps)
    for wrong, problem in (
        (gaps <= np.timedelta64(0, "s"), say("does not come after the one before it")),
        (gaps % HOUR != np.timedelta64(0, "s"), say("is not a whole hour after the one before it")),
        (gaps > HOUR * LONGEST_STEP_H, say("comes more than {hours} h after the one before it", hours=LONGEST_STEP_H)),
    ):
        if wrong.any():
            raise WeatherError(
                say(
                    "{where}: the time {hour} {problem}",
                    where=where,
                    hour=say_hour(stamps[int(wrong.argmax()) + 1]),
                    problem=problem,
                )
            )
    if (stamps[-1] - stamps[0]) // HOUR > LONGEST_FORECAST_H:
        raise WeatherError(say("{where}: more hours than any forecast has", where=where))
    # In the hourly part a hole is a missing hour, not a coarse step: coarse steps come last and stay coarse.
    coarse = gaps > HOUR
    if coarse.any() and not coarse[int(coarse.argmax()) :].all():
        first = int(coarse.argmax())
        raise WeatherError(
            say(
                "{where}: hours are missing between {hour} and {until}",
                where=where,
                hour=say_hour(stamps[first]),
                until=say_hour(stamps[first + 1]),
            )
        )
    return np.arange(stamps[0], stamps[-1] + HOUR, HOUR)


def _dew_point(columns: dict[str, FloatArray]) -> None:
    """Take the dew point from humidity where it is not given, at the service's own times."""
    humidity = columns.pop("humidity_pct", None)
    if humidity is None:
        return
    from_humidity = dew_point_from_humidity(columns["t_air_c"], np.clip(humidity, 0.0, 100.0))
    dew = columns.get("t_dew_c")
    columns["t_dew_c"] = from_humidity if dew is None else np.where(np.isfinite(dew), dew, from_humidity)


def _to_hours(values: FloatArray, stamps: TimeArray, times: TimeArray) -> FloatArray:
    """Draw lines between the stamps; a value missing in the answer stays missing."""
    at, given = times.astype(np.int64).astype(float), stamps.astype(np.int64).astype(float)
    return np.asarray(np.interp(at, given, values))


def _reach_minima(
    t_air: FloatArray, stamps: TimeArray, times: TimeArray, steps: list[Any], unit: str, where: str
) -> None:
    """Let an hour inside each coarse step reach the lowest temperature of its period, in place."""
    path = "data.next_6_hours.details.air_temperature_min"
    lowest = read_numbers([dig(step, path, where, default=None) for step in steps], unit, "temperature", path, where)
    for position in range(len(steps) - 1):
        inner = np.flatnonzero((times > stamps[position]) & (times < stamps[position + 1]))
        if inner.size != 5 or not np.isfinite(lowest[position]):
            continue
        bump = np.sin(np.pi * np.arange(1, 6) / 6)
        # The smallest bump with which the first hour touches the minimum; negative if the line is below it already.
        depth = float(((t_air[inner] - lowest[position]) / bump).min())
        if depth > 0 and lowest[position] < min(t_air[inner[0] - 1], t_air[inner[-1] + 1]):
            t_air[inner] -= depth * bump


def _rain(steps: list[Any], stamps: TimeArray, times: TimeArray, unit: str, where: str) -> FloatArray:
    """Give the rain of the hour that ends at each time, from the shortest period that covers it."""
    rain = np.full(times.size, np.nan)
    for length in (12, 6, 1):  # the shortest written last
        path = f"data.next_{length}_hours.details.precipitation_amount"
        amounts = read_numbers([dig(step, path, where, default=None) for step in steps], unit, "rain", path, where)
        covered = np.full(times.size, False)
        for stamp, amount in zip(stamps, amounts, strict=True):
            inside = (times > stamp) & (times <= stamp + HOUR * length) & ~covered
            if np.isfinite(amount):
                rain[inside] = amount / length
                covered |= inside
    return np.asarray(np.nan_to_num(rain))


def _place(document: Any, yard: Place, where: str) -> Place:
    """Give the place of the answer (longitude, latitude, altitude)."""
    coordinates = dig(document, "geometry.coordinates", where, default=None)
    if not isinstance(coordinates, list) or len(coordinates) < 2:
        return yard
    numbers = read_numbers(coordinates, "m", "height", "geometry.coordinates", where)
    return Place(float(numbers[1]), float(numbers[0]), float(numbers[2]) if len(numbers) > 2 else yard.elevation_m)


def _coarse_tail(stamps: TimeArray) -> list[str]:
    """Say from when on the forecast has six-hourly values only."""
    coarse = np.diff(stamps) > HOUR
    if not coarse.any():
        return []
    return [
        told(
            "from {hour} on the forecast has values every six hours only; the hours between are interpolated and may "
            "miss a night's lowest by 1 or 2 K",
            hour=say_hour(stamps[int(coarse.argmax())]),
        )
    ]
