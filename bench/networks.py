"""Thermometers that hang in real places, each beside what is known without it: for spots and for faults of sensors.

Four sets of bench/data. The course that a yard would be given by weather and physics is here a neighbour's reading,
moved by the standard lapse and by the height above the ground: for pairs of stations the other one, in the forest the
logger at 2 m, in the tunnel the first sensor. Two of the pairs are 22 and some 50 km apart, which is much more than a
yard and its weather cell; they show what the learning does when its prior is far too narrow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.validation.driving import DATA, TimeArray, cloud_from_range, is_dark, on_hours, read
from bench.validation.pairs import LAPSE_K_M, PAIRS, Pair
from bench.validation.scores import night_numbers
from fruitwall.physics.air import dew_point, vapour_pressure
from fruitwall.physics.cooling import cooling_strength, inversion_k
from fruitwall.weather.sun import clear_sun, cloud_transmission

FloatArray = NDArray[np.float64]

FOREST = (50.951, 14.092)
TUNNEL = (45.5, 11.8)
"""Middle of Veneto; the site is not published."""

RH_PCT = 90.0
"""Where no humidity is known: the mean of winter nights in the forest, in round numbers. [%]"""


@dataclass(frozen=True, eq=False)
class Network:
    """Thermometers of one place at common hours.

    Attributes
    ----------
    name : str
    time_utc : ndarray [hour]
        Whole hours without gaps.
    course_c : ndarray [hour]
        What is known without the thermometers; NaN where it is not. [°C]
    clear : ndarray [hour]
        Strength of radiative cooling. [0-1]
    sun_w_m2 : ndarray [hour]
        Made from cloud. [W/m²]
    dark : ndarray of bool [hour]
    night : ndarray [hour]
        Number of the night, noon to noon by the sun.
    read_c : dict of str to ndarray [hour]
        By thermometer; NaN where it was not read. [°C]
    """

    name: str
    time_utc: TimeArray
    course_c: FloatArray
    clear: FloatArray
    sun_w_m2: FloatArray
    dark: NDArray[np.bool_]
    night: NDArray[np.int64]
    read_c: dict[str, FloatArray]


def networks() -> list[Network]:
    """Give all networks."""
    return [*(_pair(pair) for pair in PAIRS), _forest(), _tunnel()]


def _laid(name: str, place: tuple[float, float], columns: dict[str, FloatArray], times: TimeArray,
          read_c: dict[str, FloatArray]) -> Network:  # fmt: skip
    """Work out what follows from the course: cloud, sun, strength, nights."""
    air, dew, wind = columns["air"], columns["dew"], columns["wind"]
    known = np.isfinite(air + dew + wind)
    cloud, strength = np.full(air.shape, np.nan), np.full(air.shape, np.nan)
    cloud[known] = cloud_from_range(times[known], air[known], place[1])
    strength[known] = cooling_strength(
        air[known], np.minimum(dew, air)[known], wind[known], cloud[known], times[known], *place
    )
    sun = clear_sun(times, *place) * cloud_transmission(np.where(known, cloud, 0.5))
    return Network(
        name,
        times,
        air,
        np.where(known, strength, 0.0),
        sun,
        is_dark(times, *place),
        night_numbers(times, place[1]),
        read_c,
    )


def _hours(first: np.datetime64, last: np.datetime64) -> TimeArray:
    return np.arange(first.astype("datetime64[h]").astype("datetime64[s]"), last, np.timedelta64(3600, "s"))


def _pair(pair: Pair) -> Network:
    """The warmer station knows, the colder one is asked for."""
    files = [read(DATA / pair.folder / f"{name}.csv.gz") for name in (pair.station, pair.yard)]
    hours = _hours(files[0][0][0], files[0][0][-1])
    station, yard = ({key: on_hours(t, v, hours, 5) for key, v in data.items()} for t, data, _ in files)
    air = station["temp_c"] - LAPSE_K_M * pair.higher_m
    if "rh_pct" in station:
        moisture = vapour_pressure(station["temp_c"], np.clip(station["rh_pct"], 1.0, 100.0))
        dew = np.where(np.isfinite(moisture), dew_point(np.where(np.isfinite(moisture), moisture, 0.5)), np.nan)
    else:
        dew = station["dewpoint_c"]
    columns = {"air": air, "dew": dew, "wind": station["wind_speed_ms"]}
    return _laid(pair.name, pair.place, columns, hours, {pair.yard: yard["temp_c"]})


def _forest() -> Network:
    """The logger at 2 m knows; those at 0.15, 1.3 and 1.5 m are asked for, two of them 11 km away."""
    files = {name: read(DATA / "saxony_heights" / f"{name}.csv.gz") for name in ("a1e05", "a2e32")}
    hours = _hours(files["a1e05"][0][0] + np.timedelta64(1, "h"), files["a1e05"][0][-1])
    columns = {name: {key: on_hours(t, v, hours, 1) for key, v in data.items()} for name, (t, data, _) in files.items()}
    air = columns["a1e05"]["temp_c_2m"]
    wet = vapour_pressure(np.where(np.isfinite(air), air, 0.0), RH_PCT)
    course = {"air": air, "dew": np.where(np.isfinite(air), dew_point(wet), np.nan), "wind": np.full(air.shape, 0.5)}
    far = columns["a2e32"]
    laid = _laid("forest, Saxony, one winter", FOREST, course, hours, {})
    # What physics says of heights is taken off, so that all are asked for at 2 m.
    laid.read_c.update(
        {
            "1.3 m": columns["a1e05"]["temp_c_1.3m_dendrometer"] - inversion_k(1.3, laid.clear),
            "1.5 m, 11 km away": far["temp_c_1.5m"] - inversion_k(1.5, laid.clear),
            "0.15 m, 11 km away": far["temp_c_0.15m"] - inversion_k(0.15, laid.clear),
        }
    )
    return laid


def _tunnel() -> Network:
    """The first sensor knows, the six others are asked for."""
    times, data, _ = read(DATA / "veneto_tunnel" / "tunnel.csv.gz")
    hours = _hours(times[0] + np.timedelta64(1, "h"), times[-1])
    air = {key: on_hours(times, v, hours, 1) for key, v in data.items() if key.startswith("air")}
    known = air.pop("air1_c")
    wet = vapour_pressure(np.where(np.isfinite(known), known, 0.0), RH_PCT)
    course = {
        "air": known,
        "dew": np.where(np.isfinite(known), dew_point(wet), np.nan),
        "wind": np.full(known.shape, 1.0),
    }
    return _laid("plastic tunnel, Veneto, one winter", TUNNEL, course, hours, air)
