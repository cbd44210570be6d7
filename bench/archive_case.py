"""How well nights made from daily extremes resemble the real ones: hours thrown away and made anew.

Run ``python -m bench archive``. Each series is cut down to the lowest and highest temperature of its days; hours are
made of these (`weather.archive.whole`), with cloud, wind and dew point drawn from the packaged days, of which those of
the same station are left out. Compared are the nights from November to March, real and made; "cold" are the tenth of
them with the lowest minimum. Series: Mount Shasta, Viejas and Lucky Five Ranch, three sites of Beijing, and the seven
typical years from which the packaged days come. Where a series has no cloud, that of it is not compared.
"""

from __future__ import annotations

import csv
import gzip
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.station_blend import Blend, learn_blends, minima_off
from fruitwall.physics.cooling import cooling_strength
from fruitwall.weather.archive.likeness import Likeness, joined, likeness_of, packaged
from fruitwall.weather.archive.reading import read_record
from fruitwall.weather.archive.record import DailyRecord, HourlyRecord
from fruitwall.weather.archive.whole import forcings_of
from fruitwall.weather.forcing import Forcing
from fruitwall.weather.humidity import dew_point_from_humidity
from fruitwall.weather.place import Place
from fruitwall.weather.stamps import solar_offset

FloatArray = NDArray[np.float64]

DATA = Path(__file__).parent / "data"

PLACES = {
    "shasta": Place(41.33, -122.33, 1080.0),
    "viejas": Place(32.846, -116.704, 715.0),
    "luckyfive": Place(32.933, -116.528, 1445.0),
    "dongsi": Place(39.93, 116.42, 45.0),
    "huairou": Place(40.33, 116.63, 75.0),
    "changping": Place(40.20, 116.23, 80.0),
    "riverside_ca": Place(33.95, -117.45, 256.0),
    "march_afb_ca": Place(33.90, -117.25, 462.0),
    "thermal_ca": Place(33.63, -116.17, -34.0),
    "lakeland_fl": Place(27.98, -82.02, 43.0),
    "gainesville_fl": Place(29.70, -82.28, 41.0),
    "mcallen_tx": Place(26.31, -98.17, 30.0),
    "new_orleans_la": Place(30.0, -90.25, 1.0),
}
"""Of Beijing's sites roughly, from memory."""

FOLDERS = {"viejas": "socal_pair", "luckyfive": "socal_pair", "changping": "beijing_changping"}

TYPICAL = (
    "riverside_ca",
    "march_afb_ca",
    "thermal_ca",
    "lakeland_fl",
    "gainesville_fl",
    "mcallen_tx",
    "new_orleans_la",
)
"""In the order of the packaged days' stations."""

COLD_SHARE = 0.1


@dataclass(frozen=True)
class Nights:
    """Means over nights of one series, real or made."""

    frost_h: float
    near_h: float
    cloud: float
    wind: float
    dew_k: float
    strength: float


@dataclass(frozen=True)
class Compared:
    """What came out for one series: all nights and the coldest tenth, and the error of the hours of the night."""

    name: str
    nights: int
    real: Nights
    made: Nights
    real_cold: Nights
    made_cold: Nights
    bias_k: float
    rmse_k: float
    lowest_rmse_k: float


def hours_of(name: str) -> HourlyRecord:
    """Read one series, holes and all."""
    if name == "shasta":
        return read_record(DATA / "mount_shasta_isd_lite" / "725957.gz", place=PLACES[name])  # type: ignore[return-value]
    if name in TYPICAL:
        folder, file, time = "tmy3_winter_nights", "hours.csv.gz", "time_local_standard"
    else:
        folder = FOLDERS.get(name, "beijing_2_sites")
        file, time = f"{name}.csv.gz", "time_utc"
    with gzip.open(DATA / folder / file, "rt", encoding="utf-8") as lines:
        rows = [row for row in csv.DictReader(lines) if row.get("station", name) == name]
    stamps = np.array([row[time].rstrip("Z") for row in rows], dtype="datetime64[s]")
    if name in TYPICAL:  # November and December come before January: one winter
        stamps -= np.where(stamps >= np.datetime64("2001-10-01"), np.timedelta64(365, "D"), np.timedelta64(0, "D"))
        stamps -= np.timedelta64(round(PLACES[name].longitude_deg / 15.0), "h")

    def column(key: str) -> FloatArray:
        return np.array([float(row[key]) if row.get(key) else np.nan for row in rows])

    air = column("temp_c")
    dew = dew_point_from_humidity(air, column("rh_pct")) if "rh_pct" in rows[0] else column("dewpoint_c")
    values = {"t_air_c": air, "t_dew_c": np.minimum(dew, air), "wind_m_s": column("wind_speed_ms")}
    if "sky_cover_tenths" in rows[0]:
        values["cloud"] = column("sky_cover_tenths") / 10.0
    times, at = np.unique(stamps, return_index=True)
    return HourlyRecord(times, {key: one[at] for key, one in values.items()}, PLACES[name], name)


def daily_of(hours: HourlyRecord) -> DailyRecord:
    """Throw everything away but the extremes of whole days of local mean solar time."""
    solar = hours.time_utc + np.timedelta64(int(solar_offset(hours.place.longitude_deg).total_seconds()), "s")
    day = solar.astype("datetime64[D]")
    air = hours.values["t_air_c"]
    known = np.isfinite(air)
    dates, start, count = np.unique(day[known], return_index=True, return_counts=True)
    low = np.minimum.reduceat(air[known], start)
    high = np.maximum.reduceat(air[known], start)
    whole = count >= 20
    return DailyRecord(dates[whole], {"t_min_c": low[whole], "t_max_c": high[whole]}, hours.place, hours.source)


def likeness_for(name: str) -> Likeness:
    """Give the packaged days without those of the same station."""
    days = packaged()
    return days.take(days.station != TYPICAL.index(name)) if name in TYPICAL else days


def halves(name: str) -> tuple[HourlyRecord, HourlyRecord]:
    """Part a series in the middle of the summer nearest to its middle."""
    whole = hours_of(name)
    middle = whole.time_utc[whole.time_utc.size // 2].astype("datetime64[Y]") + np.timedelta64(6, "M")
    first = whole.time_utc < middle.astype("datetime64[s]")
    return tuple(  # type: ignore[return-value]
        replace(whole, time_utc=whole.time_utc[side], values={key: one[side] for key, one in whole.values.items()})
        for side in (first, ~first)
    )


def compare_learned(name: str) -> Compared:
    """Make the second half of a series anew, drawing from the hours of the first."""
    before, after = halves(name)
    return compare(name, after, joined([likeness_of(one, at) for at, one in enumerate(forcings_of(before, name))]))


def compare(name: str, real: HourlyRecord | None = None, likeness: Likeness | None = None) -> Compared:
    """Throw the hours of one series away and make them anew."""
    real = hours_of(name) if real is None else real
    made = forcings_of(daily_of(real), name, likeness=likeness or likeness_for(name))
    nights = list(_nights(real, made))
    lowest = np.array([night[0]["t_air_c"].min() for night in nights])
    cold = lowest <= np.quantile(lowest, COLD_SHARE)
    off = np.concatenate([made_one["t_air_c"] - real_one["t_air_c"] for real_one, made_one in nights])
    lows = np.array([made_one["t_air_c"].min() for _, made_one in nights]) - lowest
    some = [night for night, one in zip(nights, cold, strict=True) if one]
    real_all, made_all = (_mean([night[side] for night in nights]) for side in (0, 1))
    real_cold, made_cold = (_mean([night[side] for night in some]) for side in (0, 1))
    return Compared(
        name,
        len(nights),
        real_all,
        made_all,
        real_cold,
        made_cold,
        float(off.mean()),
        float(np.sqrt((off**2).mean())),
        float(np.sqrt((lows**2).mean())),
    )


def _nights(
    real: HourlyRecord, made: tuple[Forcing, ...]
) -> Iterator[tuple[dict[str, FloatArray], dict[str, FloatArray]]]:
    """Give the hours from 17:00 to 08:00 of each night whose temperatures are all known, real and made."""
    offset = np.timedelta64(int(solar_offset(real.place.longitude_deg).total_seconds()), "s")
    for forcing in made:
        both, at, made_at = np.intersect1d(real.time_utc, forcing.time_utc, return_indices=True)
        solar = both + offset
        hour = solar.astype("datetime64[h]").astype(np.int64) % 24
        evening = (solar - np.timedelta64(12, "h")).astype("datetime64[D]")
        months = evening.astype("datetime64[M]").astype(int) % 12 + 1
        inside = ((hour >= 17) | (hour < 8)) & ((months >= 11) | (months <= 3))
        for night in np.unique(evening[inside]):
            chosen = inside & (evening == night)
            one = {key: values[at[chosen]] for key, values in real.values.items()}
            if chosen.sum() == 15 and np.isfinite(one["t_air_c"]).all():
                yield (
                    one,
                    {
                        key: getattr(forcing, key)[0, made_at[chosen]]
                        for key in ("t_air_c", "t_dew_c", "wind_m_s", "cloud")
                    },
                )


def _mean(nights: list[dict[str, FloatArray]]) -> Nights:
    """Give the means over nights; cloud, wind, dew point and strength of the hours from 20:00 on."""
    air = np.stack([night["t_air_c"] for night in nights])

    def stacked(key: str) -> FloatArray:
        return np.stack([night.get(key, np.full(15, np.nan)) for night in nights])[:, 3:]

    dew, wind, cloud = stacked("t_dew_c"), stacked("wind_m_s"), stacked("cloud")
    strength = cooling_strength(air[:, 3:], np.minimum(dew, air[:, 3:]), wind, cloud)

    def mean(values: FloatArray) -> float:
        return float(np.nanmean(values)) if np.isfinite(values).any() else float("nan")

    return Nights(
        float((air <= 0.0).sum(axis=1).mean()),
        float((air <= air.min(axis=1, keepdims=True) + 1.0).sum(axis=1).mean()),
        mean(cloud),
        mean(wind),
        mean(air[:, 3:] - dew),
        mean(strength),
    )


def told(one: Compared) -> None:
    """Print one series: cold nights above, all below."""
    keys = tuple(Nights.__dataclass_fields__)
    cold = "  ".join(f"{getattr(one.real_cold, key):.2f}/{getattr(one.made_cold, key):.2f}" for key in keys)
    every = "  ".join(f"{getattr(one.real, key):.2f}/{getattr(one.made, key):.2f}" for key in keys)
    print(f"{one.name:15}{one.nights:7}{one.bias_k:6.2f}{one.rmse_k:6.2f}{one.lowest_rmse_k:6.2f}   {cold}")
    print(f"{'':29}    all nights   {every}")


SITES = ("dongsi", "changping", "huairou")


def blended(target: str) -> tuple[list[str], tuple[Blend, ...], list[float]]:
    """Learn one site of Beijing from the two others; give their names, the blends, and their errors as they are."""
    others = [name for name in SITES if name != target]
    records = {name: hours_of(name) for name in SITES}
    times = records[target].time_utc
    for name in others:
        times = np.intersect1d(times, records[name].time_utc)
    given = {
        name: {key: one[np.searchsorted(records[name].time_utc, times)] for key, one in records[name].values.items()}
        for name in SITES
    }
    near = given[others[0]]
    strength = np.nan_to_num(
        cooling_strength(near["t_air_c"], near["t_dew_c"], near["wind_m_s"], 0.0, times, 40.0, 116.3)
    )
    days = (times - times.astype("datetime64[Y]").astype("datetime64[s]")) / np.timedelta64(1, "D")
    night = (times - np.timedelta64(4, "h")).astype("datetime64[D]").astype(np.int64)  # noon is 04 UTC
    air = np.stack([given[name]["t_air_c"] for name in others])
    here = given[target]["t_air_c"]
    found = learn_blends(here, air, strength, 2 * np.pi * days / 365.25, night - night.min())
    plain = []
    for station in air:
        both = np.isfinite(here) & np.isfinite(station)
        plain.append(float(np.sqrt(np.mean(np.square(minima_off(here[both], station[both], night[both]))))))
    return others, found, plain


def blends() -> None:
    """Print what blending stations is worth."""
    print("stations of Beijing blended to the third: error of the minima of nights left out, K")
    for target in SITES:
        others, found, plain = blended(target)
        for blend in found:
            names = " + ".join(f"{w:.2f} {others[n]}" for n, w in zip(blend.stations, blend.weights, strict=True))
            print(f"  {target:10} {blend.lowest_rmse_k:.2f}  {names}, clear night {blend.clear_night_k:+.1f}")
        print(f"  {'':10} as they are: " + ", ".join(f"{n} {p:.2f}" for n, p in zip(others, plain, strict=True)))


def main() -> None:
    begun = perf_counter()
    print("real / made: hours at or below 0 °C, within 1 K of the lowest, cloud, wind m/s, dew below air K, strength")
    print(f"{'':15}{'nights':>7}{'bias':>6}{'rmse':>6}{'low':>6}   the coldest tenth of the nights")
    for name in PLACES:
        told(compare(name))
    print("drawn from the hours of the first half, second half made:")
    for name in ("shasta", "viejas", "luckyfive", "dongsi", "huairou", "changping"):
        told(compare_learned(name))
    blends()
    print(f"{perf_counter() - begun:.1f} s")


if __name__ == "__main__":
    main()
