"""From what a source gave to a `Forcing`: hours in order, holes refused or bridged, missing variables stood in for.

Every source ends here, so that each rule about incomplete weather stands in one place:

=================  =====================================================================================
missing            taken instead, always with a warning
=================  =====================================================================================
dew point          from relative humidity (no warning); without it 2 K below the lowest temperature of the
                   day around the hour (FAO-56 eq. 48: the dew point lies near the minimum, 2 to 3 K below
                   it where the air is dry)
wind               1 m/s: nearly calm, the safe side
cloud              from the sun by day, nights on a line between; without sun a clear sky, the safe side
sun                clear sky (Haurwitz) times cloud (Kasten and Czeplak)
rain               none
air temperature    nothing: refused
=================  =====================================================================================
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.speech import marked, say, say_count, told
from fruitwall.weather.forcing import HOUR, LONGEST_BRIDGE_H, Forcing, say_hour
from fruitwall.weather.humidity import dew_point_from_humidity
from fruitwall.weather.place import Place
from fruitwall.weather.sun import clear_sun, cloud_from_sun, cloud_transmission

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

NAMES: Mapping[str, str] = {
    "t_air_c": marked("air temperature"),
    "t_dew_c": marked("dew point"),
    "humidity_pct": marked("relative humidity"),
    "wind_m_s": marked("wind"),
    "cloud": marked("cloud"),
    "shortwave_w_m2": marked("sun"),
    "rain_mm": marked("rain"),
}
"""Columns that a source may give, with their names in words."""

DRY_AIR_K = 2.0
"""Dew point below the day's lowest temperature where no humidity is known. [K]"""

CALM_M_S = 1.0
"""Wind where none is known. [m/s]"""

NOTHING: frozenset[str] = frozenset()
ALL_BUT_AIR = frozenset(NAMES) - {"t_air_c"}
EVERYTHING = frozenset(NAMES)


def assemble(
    time_utc: TimeArray,
    columns: Mapping[str, FloatArray],
    *,
    place: Place,
    source: str,
    issued_utc: datetime,
    where: str,
    bridge: frozenset[str] = NOTHING,
    wind_height_m: float = 10.0,
    n_history: int | None = 0,
    warnings: Sequence[str] = (),
) -> Forcing:
    """Make a forcing of whatever columns a source has.

    Parameters
    ----------
    time_utc : ndarray of datetime64, shape (time,)
        Stamps as given.
    columns : mapping of str to ndarray, shape (member, time) or (1, time)
        Some of `NAMES`, in our units, NaN where missing.
    place, source, issued_utc, wind_height_m, n_history, warnings
        As in `Forcing`; `n_history` None means all hours.
    where : str
        File or service for messages.
    bridge : frozenset of str
        Columns in which up to `LONGEST_BRIDGE_H` missing hours in a row may be bridged by a straight line; with
        "t_air_c" among them, whole missing hours too.

    Raises
    ------
    WeatherError
        If hours are missing, doubled or out of order, or a value is missing or impossible.
    """
    notes = list(warnings)
    given = {name: values for name, values in columns.items() if np.isfinite(values).any()}
    if "t_air_c" not in given:
        raise WeatherError(say("{where}: no air temperature in it", where=where))
    time_utc, given = _every_hour(time_utc, given, where=where, may_bridge="t_air_c" in bridge, notes=notes)
    members = max(values.shape[0] for values in given.values())
    given = {name: np.array(np.broadcast_to(values, (members, time_utc.size))) for name, values in given.items()}
    for name, values in given.items():
        given[name] = _filled(name, values, time_utc, where=where, may_bridge=name in bridge, notes=notes)
    try:
        complete = _stood_in(given, time_utc, place, notes)
        return Forcing(
            time_utc=time_utc,
            **complete,
            latitude_deg=place.latitude_deg,
            longitude_deg=place.longitude_deg,
            elevation_m=place.elevation_m,
            source=source,
            issued_utc=issued_utc,
            wind_height_m=wind_height_m,
            n_history=time_utc.size if n_history is None else n_history,
            warnings=tuple(dict.fromkeys(notes)),
        )
    except ValueError as error:
        raise WeatherError(say("{where}: {error}", where=where, error=error)) from error


def dew_below_lowered_air(columns: dict[str, FloatArray], before_c: FloatArray) -> None:
    """Lower the dew point with an air temperature that a source's own minimum has lowered, in place.

    Parameters
    ----------
    columns : dict of str to ndarray
        As for `assemble`; the dew point is bounded by the air where the latter is below `before_c`.
    before_c : ndarray, shape of the air temperature
        Air temperature before. [°C]
    """
    if "t_dew_c" in columns:
        air, dew = columns["t_air_c"], columns["t_dew_c"]
        columns["t_dew_c"] = np.where(air < before_c, np.minimum(dew, air), dew)


def _every_hour(
    times: TimeArray, columns: dict[str, FloatArray], *, where: str, may_bridge: bool, notes: list[str]
) -> tuple[TimeArray, dict[str, FloatArray]]:
    """Give stamps one hour apart; short holes are opened as NaN if they may be bridged, others refused."""
    if times.size < 2:
        raise WeatherError(say("{where}: at least two hours are needed, got {count}", where=where, count=times.size))
    steps = np.diff(times.astype("datetime64[s]"))
    for wrong, problem in (
        (steps == np.timedelta64(0, "s"), say("stands twice")),
        (steps < np.timedelta64(0, "s"), say("goes back in time")),
        (steps % HOUR != np.timedelta64(0, "s"), say("is not a whole hour after the one before it")),
    ):
        if wrong.any():
            raise WeatherError(
                say(
                    "{where}: the hour {hour} {problem}",
                    where=where,
                    hour=say_hour(times[int(wrong.argmax()) + 1]),
                    problem=problem,
                )
            )
    holes = (steps // HOUR).astype(int) - 1
    longest = int(holes.argmax())
    if holes[longest] > (LONGEST_BRIDGE_H if may_bridge else 0):
        first = int((holes > (LONGEST_BRIDGE_H if may_bridge else 0)).argmax())
        count = int(holes[first])
        raise WeatherError(
            say_count(
                "{where}: {count} hour is missing between {hour} and {until}; a line is needed for every hour",
                "{where}: {count} hours are missing between {hour} and {until}; a line is needed for every hour",
                count,
                where=where,
                hour=say_hour(times[first]),
                until=say_hour(times[first + 1]),
            )
        )
    if not holes.any():
        return times, columns
    notes.append(told("{number} missing hours were bridged by straight lines", number=int(holes.sum())))
    full = np.arange(times[0], times[-1] + HOUR, HOUR)
    at = ((times - times[0]) // HOUR).astype(int)
    opened = {}
    for name, values in columns.items():
        opened[name] = np.full((values.shape[0], full.size), np.nan)
        opened[name][:, at] = values
    return full, opened


def _filled(
    name: str, values: FloatArray, times: TimeArray, *, where: str, may_bridge: bool, notes: list[str]
) -> FloatArray:
    """Bridge short holes in one variable, refuse long ones; sun is left open for its stand-in, rain becomes none."""
    missing = ~np.isfinite(values)
    if not missing.any() or name == "shortwave_w_m2":
        return values
    words = NAMES[name]
    if name == "rain_mm":
        notes.append(told("rain is not given for every hour; none is assumed where it is missing"))
        return np.where(missing, 0.0, values)
    if not may_bridge or _longest_run(missing) > LONGEST_BRIDGE_H:
        member, step = np.unravel_index(int(missing.argmax()), missing.shape)
        inside = say(" of member {member}", member=int(member)) if values.shape[0] > 1 else ""
        more = say(" (and {count} more)", count=int(missing.sum()) - 1) if missing.sum() > 1 else ""
        raise WeatherError(
            say(
                "{where}: the {words}{inside} is missing at {hour}{more}",
                where=where,
                words=say(words),
                inside=inside,
                hour=say_hour(times[step]),
                more=more,
            )
        )
    notes.append(told("{words} was missing for single hours and bridged by straight lines", words=told(words)))
    steps = np.arange(times.size, dtype=np.float64)
    return np.stack([np.interp(steps, steps[~gaps], row[~gaps]) for row, gaps in zip(values, missing, strict=True)])


def _longest_run(missing: NDArray[np.bool_]) -> int:
    """Give the longest run of missing hours in any member."""
    longest = 0
    for row in missing:
        edges = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(np.int8), [0]))))
        longest = max(longest, int((edges[1::2] - edges[::2]).max(initial=0)))
    return longest


def _stood_in(given: dict[str, FloatArray], times: TimeArray, place: Place, notes: list[str]) -> dict[str, FloatArray]:
    """Complete the six variables by the table in the module docstring."""
    t_air = given["t_air_c"]
    at = (place.latitude_deg, place.longitude_deg)
    humidity = given.get("humidity_pct")
    dew, wind, cloud = given.get("t_dew_c"), given.get("wind_m_s"), given.get("cloud")
    sun, rain = given.get("shortwave_w_m2"), given.get("rain_mm")
    if dew is None and humidity is not None:
        dew = dew_point_from_humidity(t_air, humidity)
    if dew is None:
        dew = _lowest_around(t_air) - DRY_AIR_K
        notes.append(
            told(
                "no humidity given; dew point taken {below:g} K below the lowest temperature of the day",
                below=DRY_AIR_K,
            )
        )
    if wind is None:
        wind = np.full_like(t_air, CALM_M_S)
        notes.append(told("no wind given; nearly calm air ({wind:g} m/s) assumed, the safe side", wind=CALM_M_S))
    if cloud is None and sun is not None and np.isfinite(sun).all():
        cloud = cloud_from_sun(sun, times, *at)
        notes.append(told("no cloud given; inferred from the sun by day, nights on a line between evening and morning"))
    if cloud is None:
        cloud = np.zeros_like(t_air)
        notes.append(told("no cloud given; clear sky assumed, the safe side"))
    by_cloud = clear_sun(times, *at) * cloud_transmission(cloud)
    if sun is None:
        sun = by_cloud
        notes.append(told("no sun given; computed from clear sky and cloud"))
    elif not np.isfinite(sun).all():
        sun = np.where(np.isfinite(sun), sun, by_cloud)
        notes.append(told("sun is not given for every hour; computed from clear sky and cloud where it is missing"))
    if rain is None:
        rain = np.zeros_like(t_air)
        notes.append(told("no rain given; none assumed"))
    # Pyranometers cool to the night sky and read a few W/m² below zero.
    sun = np.where((sun < 0) & (sun > -10), 0.0, sun)
    return {
        "t_air_c": t_air,
        "t_dew_c": dew,
        "wind_m_s": wind,
        "cloud": cloud,
        "shortwave_w_m2": sun,
        "rain_mm": rain,
    }


def _lowest_around(t_air: FloatArray) -> FloatArray:
    """Give the lowest temperature of the 25 hours around each hour."""
    padded = np.pad(t_air, ((0, 0), (12, 12)), mode="edge")
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, 25, axis=1).min(axis=-1))
