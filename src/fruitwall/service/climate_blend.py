"""Several stations near a yard blended into one series for the yard itself.

What is learned stands in `learning.station_blend`. The yard's own thermometer tells how its air goes with the
stations'; where it has not been read long enough, the nearest station stands for the yard, and the others lengthen its
record.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.errors import WeatherError
from fruitwall.service.climate import BLENDED, GivenYears, given_years, is_near, keep_years
from fruitwall.speech import say, told

if TYPE_CHECKING:
    from fruitwall.learning.station_blend import Blend
    from fruitwall.service.house import House
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Location

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]
BoolArray = NDArray[np.bool_]

MOST_STATIONS = 4
"""Stations that are taken at most, the nearest ones: every set of them is tried."""

YEAR_D = 365.25


@dataclass(frozen=True)
class BlendLine:
    """What one set of stations is worth.

    Attributes
    ----------
    stations : tuple of str
        Sources, as they are kept.
    weights : tuple of float
        Of each; they sum to one.
    lowest_rmse_k : float
        Error of the minima of nights that were left out when weights and offsets were learned. [K]
    plain_rmse_k : float or None
        The same of the station as it is; None for several. [K]
    """

    stations: tuple[str, ...]
    weights: tuple[float, ...]
    lowest_rmse_k: float
    plain_rmse_k: float | None


@dataclass(frozen=True)
class Blended:
    """What blending gave.

    Attributes
    ----------
    place : str or None
        Source of the station that stands for the yard; None where the yard's own thermometer told.
    lines : tuple of BlendLine
        Best first.
    nights : int
        Nights from which the errors come.
    kept : tuple of GivenYears
        The blended series.
    """

    place: str | None
    lines: tuple[BlendLine, ...]
    nights: int
    kept: tuple[GivenYears, ...]


@dataclass(frozen=True, eq=False)
class _Station:
    """One station on the common hours, NaN where it is not known; wind at 10 m."""

    source: str
    distance_km: float
    values: dict[str, FloatArray]


def blend_years(house: House, *, author: str) -> Blended:
    """Learn how the yard's air goes with that of the stations near by, and keep the blended series as other years.

    Parameters
    ----------
    house : House
    author : str
        Who asked for it.

    Returns
    -------
    Blended
        Its series go before those they are made of; `climate.leave_out` undoes it.

    Raises
    ------
    WeatherError
        If there are no two series whose hours overlap long enough.
    """
    from fruitwall.learning.station_blend import FEWEST_HOURS, learn_blends
    from fruitwall.weather.stamps import solar_offset

    yard, _ = house.yard()
    at = yard.location
    already = blended_numbers(house)
    near = [one.forcing for one in given_years(house) if is_near(one.forcing, at) and one.number not in already]
    if not near:
        raise _too_little(FEWEST_HOURS)
    times = _hours(near)
    stations = _stations(near, times, at)
    read = _read_in_the_yard(house, times)
    stands: _Station | None = None
    overlap = max(int((np.isfinite(read) & np.isfinite(one.values["t_air_c"])).sum()) for one in stations)
    if overlap < FEWEST_HOURS:
        stands, stations = stations[0], stations[1:]
        read = stands.values["t_air_c"]
    if not stations:
        raise _too_little(FEWEST_HOURS)
    air = np.stack([one.values["t_air_c"] for one in stations])
    strength = _strength([*([stands] if stands else []), *stations], times, at)
    days = (times - times.astype("datetime64[Y]").astype("datetime64[s]")) / np.timedelta64(1, "D")
    phase = 2.0 * np.pi * days / YEAR_D
    solar = times + np.timedelta64(int(solar_offset(at.longitude_deg).total_seconds()), "s")
    night = (solar - np.timedelta64(12, "h")).astype("datetime64[D]").astype(np.int64)
    blends = learn_blends(read, air, strength, phase, night - night.min())
    if not blends:
        raise _too_little(FEWEST_HOURS)
    pieces = _pieces(blends, stations, stands, times, strength, phase, at)
    kept = tuple(keep_years(house, piece) for piece in pieces)
    numbers = sorted({*already, *(one.number for one in kept)})
    house.ledger.set(BLENDED, numbers, author=author, now=house.clock())
    lines = tuple(
        BlendLine(
            tuple(stations[one].source for one in blend.stations),
            blend.weights,
            blend.lowest_rmse_k,
            _plain(read, air[blend.stations[0]], night) if len(blend.stations) == 1 else None,
        )
        for blend in blends
    )
    return Blended(stands.source if stands else None, lines, blends[0].nights, kept)


def blended_numbers(house: House) -> set[int]:
    """Give the numbers of series that were blended."""
    numbers = house.ledger.setting(BLENDED)
    return {one for one in numbers if isinstance(one, int)} if isinstance(numbers, list) else set()


def _too_little(hours: int) -> WeatherError:
    return WeatherError(
        say(
            "Blending needs two series of other years near the yard whose hours overlap by {days} days or more, or one "
            "and the yard's own thermometer. `fruitwall climate add FILE` adds one.",
            days=hours // 24,
        )
    )


def _hours(near: Sequence[Forcing]) -> TimeArray:
    """Give all hours from the first to the last of any series."""
    first = min(one.time_utc[0] for one in near).astype("datetime64[h]")
    last = max(one.time_utc[-1] for one in near).astype("datetime64[h]")
    return np.arange(first, last + 1).astype("datetime64[s]")


def _stations(near: Sequence[Forcing], times: TimeArray, at: Location) -> list[_Station]:
    """Put the pieces of each station on the common hours, the nearest station first."""
    from fruitwall.weather.forcing import VARIABLES
    from fruitwall.weather.place import Place
    from fruitwall.weather.wind import wind_at_height

    here = Place(at.latitude_deg, at.longitude_deg, at.elevation_m)
    by_station: dict[tuple[str, float, float], _Station] = {}
    for one in near:
        there = Place(one.latitude_deg, one.longitude_deg, one.elevation_m)
        key = (str(one.source), one.latitude_deg, one.longitude_deg)
        station = by_station.setdefault(
            key,
            _Station(one.source, here.distance_km(there), {name: np.full(times.size, np.nan) for name in VARIABLES}),
        )
        rows = ((one.time_utc.astype("datetime64[h]") - times[0].astype("datetime64[h]")).astype(np.int64)).clip(0)
        for name in VARIABLES:
            up = wind_at_height(1.0, one.wind_height_m, 10.0) if name == "wind_m_s" else 1.0
            station.values[name][rows] = getattr(one, name)[0] * up
    return sorted(by_station.values(), key=lambda one: (one.distance_km, str(one.source)))[:MOST_STATIONS]


def _read_in_the_yard(house: House, times: TimeArray) -> FloatArray:
    """Give the hours in which the yard's own thermometer was read, NaN elsewhere."""
    from fruitwall.service.past_weather import READ_SD_K, past_stretches

    read = np.full(times.size, np.nan)
    for stretch in past_stretches(house):
        its = stretch.sd_k <= READ_SD_K
        rows = (stretch.forcing.time_utc.astype("datetime64[h]") - times[0].astype("datetime64[h]")).astype(np.int64)
        its &= (rows >= 0) & (rows < times.size)
        read[rows[its]] = stretch.forcing.t_air_c[0, its]
    return read


def _first_known(stations: Sequence[_Station], name: str) -> FloatArray:
    found = stations[0].values[name]
    for one in stations[1:]:
        found = np.where(np.isfinite(found), found, one.values[name])
    return found


def _strength(stations: Sequence[_Station], times: TimeArray, at: Location) -> FloatArray:
    """Give how strongly each hour cools, by the nearest station that is known; 0 where none is."""
    from fruitwall.physics.cooling import cooling_strength

    air, dew, wind, cloud = (_first_known(stations, name) for name in ("t_air_c", "t_dew_c", "wind_m_s", "cloud"))
    known = np.isfinite(air)
    strength = np.zeros(times.size)
    strength[known] = cooling_strength(
        air[known],
        np.minimum(dew, air)[known],
        wind[known],
        cloud[known],
        times[known],
        at.latitude_deg,
        at.longitude_deg,
    )
    return strength


def _plain(read: FloatArray, station_c: FloatArray, night: NDArray[np.int64]) -> float:
    """Give the error of a station as it is, for the minima of nights. [K]"""
    from fruitwall.learning.station_blend import minima_off

    both = np.isfinite(read) & np.isfinite(station_c)
    return float(np.sqrt(np.mean(np.square(minima_off(read[both], station_c[both], night[both])))))


def _pieces(
    blends: Sequence[Blend],
    stations: Sequence[_Station],
    stands: _Station | None,
    times: TimeArray,
    strength: FloatArray,
    phase: FloatArray,
    at: Location,
) -> list[Forcing]:
    """Make the series: each hour by the best blend whose stations are all known then."""
    from fruitwall.weather.climate import SHORTEST_WINTER_H
    from fruitwall.weather.forcing import VARIABLES, Forcing, as_datetime

    air = np.stack([one.values["t_air_c"] for one in stations])
    values = {name: np.full(times.size, np.nan) for name in VARIABLES}
    if stands is not None:
        values = {name: stands.values[name].copy() for name in VARIABLES}
    for blend in blends:
        known = np.isfinite(air[list(blend.stations)]).all(axis=0) & ~np.isfinite(values["t_air_c"])
        main = stations[blend.stations[int(np.argmax(blend.weights))]].values
        values["t_air_c"][known] = blend.air(air[:, known], strength[known], phase[known])
        # As near to dew as at the station that counts most; its wind, cloud, sun and rain.
        values["t_dew_c"][known] = (values["t_air_c"] - (main["t_air_c"] - main["t_dew_c"]))[known]
        for name in ("wind_m_s", "cloud", "shortwave_w_m2", "rain_mm"):
            values[name][known] = main[name][known]
    there = np.isfinite(values["t_air_c"])
    edges = np.flatnonzero(np.diff(np.concatenate([[0], there.astype(np.int8), [0]])))
    best = blends[0]
    source = told("{count} stations blended to the yard", count=len(stations) + (stands is not None))
    note = told(
        "air blended of stations by what the hours they share with the yard taught: the lowest temperature of a night "
        "that was left out errs by {error:.1f} K",
        error=best.lowest_rmse_k,
    )
    return [
        Forcing(
            times[a:b],
            **_cut(values, slice(a, b)),
            latitude_deg=at.latitude_deg,
            longitude_deg=at.longitude_deg,
            elevation_m=at.elevation_m,
            source=source,
            issued_utc=as_datetime(times[b - 1]),
            n_history=int(b - a),
            warnings=(note,),
        )
        for a, b in zip(edges[::2], edges[1::2], strict=True)
        if b - a >= SHORTEST_WINTER_H
    ]


def _cut(values: dict[str, FloatArray], hours: slice) -> dict[str, Any]:
    return {name: np.round(one[hours], 3)[None, :] for name, one in values.items()}
