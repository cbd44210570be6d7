"""Two stations, one offset: how cold the colder place gets on a night, known from the other one's weather.

The product's rule is T(yard) = T(station) + offset x strength of radiative cooling, the offset being one number that is
learned. Here it is learned in one winter by least squares on the night hours and tried on the nights of all other
winters, each winter taking its turn; the rival has one learned number too, the mean difference. For the model the
difference in elevation is taken off before, by the standard lapse of 6.5 K/km. The *shape* of the strength was read off
these very pairs (all winters), so only the size of the offset is out of sample.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bench.validation.driving import DATA, TimeArray, cloud_from_range, is_dark, read
from bench.validation.scores import Row, night_numbers, rows
from fruitwall.physics.air import dew_point, vapour_pressure
from fruitwall.physics.cooling import cooling_strength

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LAPSE_K_M = 0.0065
"""Standard atmosphere. [K/m]"""

NAIVE, RIVAL = "station's air", "station's air and mean difference, learned too"
"""The naive answer, and the fair one with one learned number as well."""

WHOLE_NIGHT_H = 8
"""Least hours that a night must have for its minimum to count."""

CALM_M_S = 2.0
"""A night is called calm if the mean wind at the colder place lies below this; its cloud is not known. [m/s]"""


@dataclass(frozen=True)
class Pair:
    """Two stations.

    Attributes
    ----------
    name, folder : str
    station, yard : str
        Files of the place that is known and of the colder one that is asked for.
    place : tuple of float
        Latitude and longitude of the colder one. [degrees]
    higher_m : float
        Elevation of the yard over that of the station. [m]
    """

    name: str
    folder: str
    station: str
    yard: str
    place: tuple[float, float]
    higher_m: float


PAIRS = (
    Pair("hill pair, San Diego county, 7 winters", "socal_pair", "luckyfive", "viejas", (32.846, -116.704), -730.0),
    # Elevations from memory, both near 50 m; the difference is left at nothing.
    Pair("city and foothills, Beijing, 4 winters", "beijing_2_sites", "dongsi", "huairou", (40.37, 116.63), 0.0),
)


@dataclass(frozen=True, eq=False)
class _Common:
    """Hours that both stations have."""

    times: TimeArray
    station_c: FloatArray
    yard_c: FloatArray
    dew_c: FloatArray
    station_wind: FloatArray
    yard_wind: FloatArray
    cloud: FloatArray
    night: IntArray
    winter: IntArray


def pair_rows() -> list[Row]:
    """Give the rows of both pairs."""
    return [row for pair in PAIRS for row in _pair(pair)]


def _pair(pair: Pair) -> list[Row]:
    """Rows of one pair: night minima."""
    common = _read(pair)
    made: list[Row] = []
    for wind_is, wind in (("station's wind", common.station_wind), ("yard's own wind", common.yard_wind)):
        strength = cooling_strength(
            common.station_c, common.dew_c, wind, common.cloud, common.times, pair.place[0], pair.place[1]
        )
        tried = _tried(pair, common, strength, f"night minimum, {wind_is}")
        # The rivals do not depend on the wind: once is enough.
        made += tried if wind_is == "station's wind" else [row for row in tried if row.naive_is != NAIVE]
    return made


def _read(pair: Pair) -> _Common:
    """Bring the two files to their common night hours."""
    files = [read(DATA / pair.folder / f"{name}.csv.gz") for name in (pair.station, pair.yard)]
    times, first, second = np.intersect1d(files[0][0], files[1][0], return_indices=True)
    station, yard = ({k: v[which] for k, v in f[1].items()} for f, which in zip(files, (first, second), strict=True))
    air = station["temp_c"] - LAPSE_K_M * pair.higher_m
    if "rh_pct" in station:
        moisture = vapour_pressure(station["temp_c"], np.clip(station["rh_pct"], 1.0, 100.0))
        dew = np.where(np.isfinite(moisture), dew_point(np.where(np.isfinite(moisture), moisture, 0.5)), np.nan)
    else:
        dew = station["dewpoint_c"]
    whole = np.isfinite(air + dew + yard["temp_c"] + station["wind_speed_ms"] + yard["wind_speed_ms"])
    cloud = np.full(times.size, np.nan)
    cloud[whole] = cloud_from_range(times[whole], station["temp_c"][whole], pair.place[1])
    use = whole & is_dark(times, *pair.place)
    local = times[use] + np.timedelta64(round(pair.place[1] * 240), "s")
    # The winter of 2013 to 2014 is 2013: seven months back from March is August.
    winter = (local.astype("datetime64[M]") - np.timedelta64(7, "M")).astype("datetime64[Y]").astype(np.int64)
    return _Common(
        times[use],
        air[use],
        yard["temp_c"][use],
        np.minimum(dew[use], air[use]),
        station["wind_speed_ms"][use],
        yard["wind_speed_ms"][use],
        cloud[use],
        night_numbers(times[use], pair.place[1]),
        winter,
    )


def _tried(pair: Pair, common: _Common, strength: FloatArray, what: str) -> list[Row]:
    """Learn in each winter, try on the others, and pool all trials."""
    difference = common.yard_c - common.station_c
    nights, where = np.unique(common.night, return_inverse=True)
    count = np.bincount(where)
    enough = count >= WHOLE_NIGHT_H
    lowest = _by_night(where, nights.size, np.minimum)
    measured, naive = lowest(common.yard_c), lowest(common.station_c + LAPSE_K_M * pair.higher_m)
    of_winter = np.zeros(nights.size, dtype=np.int64)
    of_winter[where] = common.winter
    calm = np.bincount(where, common.yard_wind) / count < CALM_M_S
    trials: list[tuple[FloatArray, FloatArray, NDArray[np.bool_]]] = []
    for winter in np.unique(common.winter):
        learn = common.winter == winter
        if np.unique(common.night[learn]).size < 60:
            continue
        offset = float((strength * difference)[learn].sum() / (strength[learn] ** 2).sum())
        constant = float(difference[learn].mean())
        trials.append(
            (
                lowest(common.station_c + offset * strength),
                lowest(common.station_c + constant),
                (of_winter != winter) & enough,
            )
        )
    made: list[Row] = []
    for naive_is, second in ((NAIVE, False), (RIVAL, True)):
        rival = [trial[1] if second else naive for trial in trials]
        use = np.concatenate([trial[2] for trial in trials])
        made += rows(
            pair.name,
            what,
            model=np.concatenate([trial[0] for trial in trials]),
            naive=np.concatenate(rival),
            measured=np.tile(measured, len(trials)),
            night=np.tile(nights, len(trials)),
            conditions={"all": use, "calm nights": use & np.tile(calm, len(trials))},
            naive_is=naive_is,
            sample="shape in, one number out",
        )
    return made


def _by_night(where: IntArray, count: int, take: np.ufunc) -> Callable[[FloatArray], FloatArray]:
    """Make a reduction over the hours of each night."""

    def reduced(values: FloatArray) -> FloatArray:
        out = np.full(count, np.inf)
        take.at(out, where, values)
        return out

    return reduced
