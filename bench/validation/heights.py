"""Air at several heights and soil under a winter forest in Saxony: the height profile and the ground's memory.

The series have neither wind nor cloud. As for a user's file of past days, cloud comes from the day's range of
temperature; wind is given twice, as the product takes it where a file has none (2 m/s at 2 m) and as a calm forest
floor.

The logger at 1.5 m is not in the air of the one at 0.15 m: they differ by 1.6 K (standard deviation), while loggers at
0.15 and 2 m of different localities, 11 to 20 km apart, differ by 0.7 K (`strangers_k`).
"""

from __future__ import annotations

import numpy as np

from bench.validation.driving import (
    DATA,
    SPIN_UP,
    FloatArray,
    TimeArray,
    cloud_from_range,
    filled,
    forcing,
    is_dark,
    mean_of_last,
    nights_between,
    on_hours,
    open_spot,
    read,
)
from bench.validation.scores import Row, night_numbers, rows
from fruitwall.physics.air import dew_point, vapour_pressure
from fruitwall.physics.body import Body
from fruitwall.physics.cooling import cooling_strength, inversion_k
from fruitwall.physics.night import LEAVE, simulate
from fruitwall.weather.forcing import Forcing, as_datetime
from fruitwall.weather.history import DAILY_WIND_M_S
from fruitwall.weather.sun import clear_sun, cloud_transmission
from fruitwall.weather.wind import wind_at_height

PLACE = (50.951, 14.092, 180.0)
"""Locality A2E32; the other lies 11 km away, which the sun does not notice. [degrees, degrees, m]"""

WINDS_M_S = {"wind 2 m/s assumed": wind_at_height(DAILY_WIND_M_S, 2.0, 10.0), "calm assumed": 0.5}
"""Wind at 10 m. [m/s]"""

FOREST_SKY = 0.3
"""Sky seen from the floor of a mixed forest in winter. Our assumption. [0-1]"""

FOREST_WIND = 0.3
"""Wind left there. Our assumption. [0-1]"""

RH_WITHOUT = 90.0
"""Humidity where a place has no sensor: the mean of the other place's nights, in round numbers. [%]"""

PAST_DAYS, EVERY_DAYS = 8, 3
"""Days of past weather of a march begun anew, and how often one is begun. [d]"""


def _hourly(name: str) -> tuple[TimeArray, dict[str, FloatArray]]:
    """Series at full hours, gaps as NaN."""
    times, data, _ = read(DATA / "saxony_heights" / name)
    hours = np.arange(
        times[0].astype("datetime64[h]").astype("datetime64[s]") + np.timedelta64(3600, "s"),
        times[-1],
        np.timedelta64(3600, "s"),
    )
    # Loggers store instants: the nearest quarter of an hour.
    return hours, {key: on_hours(times, column, hours, 1) for key, column in data.items()}


def profile_rows() -> list[Row]:
    """Give the rows of one height predicted from another."""
    made: list[Row] = []
    for name, from_m, source, to_m, target, sample in (
        ("a2e32.csv.gz", 1.5, "temp_c_1.5m", 0.15, "temp_c_0.15m", "constant partly in"),
        ("a1e05.csv.gz", 2.0, "temp_c_2m", 1.3, "temp_c_1.3m_dendrometer", "out"),
    ):
        hours, data = _hourly(name)
        measured, air = data[target], data[source]
        known = filled(air)
        humidity = filled(data["rh_pct_1.5m"]) if "rh_pct_1.5m" in data else np.full(air.size, RH_WITHOUT)
        dew = dew_point(vapour_pressure(known, np.clip(humidity, 1.0, 100.0)))
        cloud = cloud_from_range(hours, known, PLACE[1])
        dark = is_dark(hours, PLACE[0], PLACE[1])
        night = night_numbers(hours, PLACE[1])
        fair = cloud <= np.quantile(cloud[dark], 0.25)
        for wind_is, wind in WINDS_M_S.items():
            if target == "temp_c_1.3m_dendrometer" and wind_is != "calm assumed":
                continue  # the two are alike there: one is enough
            strength = cooling_strength(known, np.minimum(dew, known), wind, cloud, hours, PLACE[0], PLACE[1])
            model = air + inversion_k(to_m, strength) - inversion_k(from_m, strength)
            made += rows(
                "forest, Saxony, October to January",
                f"air at {to_m:g} m from that at {from_m:g} m, {wind_is}",
                model=model,
                naive=air,
                measured=measured,
                night=night,
                conditions={"all night hours": dark, "fairest quarter": dark & fair},
                naive_is="the same at both heights",
                sample=sample,
            )
    return made


def strangers_k() -> dict[str, float]:
    """Standard deviations of differences between loggers that show which of them share the air. [K]"""
    first, here = _hourly("a2e32.csv.gz")
    second, there = _hourly("a1e05.csv.gz")
    _, one, other = np.intersect1d(first, second, return_indices=True)
    low, high = here["temp_c_0.15m"][one], here["temp_c_1.5m"][one]
    far = there["temp_c_2m"][other]
    return {"same place": float(np.nanstd(low - high)), "11 km apart": float(np.nanstd(low - far))}


def soil_rows() -> list[Row]:
    """Give the rows of the soil at 8 cm under the air right above it: of all the winter in one march, and begun anew.

    The air is that at 15 cm, from the same logger as the soil: the one at 1.5 m is not of this place (see docs). Begun
    anew means as in the product: `PAST_DAYS` before the day that is looked at.
    """
    hours, data = _hourly("a2e32.csv.gz")
    air = filled(data["temp_c_0.15m"])
    dew = dew_point(vapour_pressure(air, np.clip(filled(data["rh_pct_1.5m"]), 1.0, 100.0)))
    cloud = cloud_from_range(hours, air, PLACE[1])
    weather = forcing(
        hours,
        t_air_c=air,
        t_dew_c=dew,
        wind_m_s=np.full(air.size, DAILY_WIND_M_S),
        cloud=cloud,
        shortwave_w_m2=clear_sun(hours, PLACE[0], PLACE[1]) * cloud_transmission(cloud),
        place=PLACE,
        wind_height_m=2.0,
        source="Saxony",
    )
    anew = np.full(air.size, np.nan)
    for first in range(0, air.size - 24 * (PAST_DAYS + 1), 24 * EVERY_DAYS):
        stop = first + 24 * (PAST_DAYS + 1)
        part = weather.select(as_datetime(hours[first]), as_datetime(hours[stop]))
        anew[stop - 24 : stop] = _soil(part)[-25:-1]
    settled = hours >= hours[0] + SPIN_UP
    made: list[Row] = []
    for march_is, model in (("one march", _soil(weather)), (f"begun {PAST_DAYS} days before", anew)):
        made += rows(
            "forest, Saxony, October to January",
            f"soil at 8 cm, {march_is}",
            model=model,
            naive=mean_of_last(air, 24),
            measured=data["temp_c_soil_-0.08m"],
            night=night_numbers(hours, PLACE[1]),
            conditions={"all hours": settled, "air in frost": settled & (air < 0.0)},
            naive_is="mean of the air of a day",
        )
    return made


def _soil(weather: Forcing) -> FloatArray:
    """Model's soil at 8 cm at the full hours: bare stems over a floor of litter. [°C]"""
    night = nights_between(weather.start_utc, weather.end_utc, PLACE[1], on_h=6.0, off_h=18.0)[-1:]
    # At the height of the thermometer for the model's profile: the air is taken as it is.
    spot = open_spot(2.0, ground="mulch", sky=FOREST_SKY, wind_share=FOREST_WIND)
    body = Body(leaf_area_index=0.0, root_depth_m=0.08)
    result = simulate(weather, [spot], [body], [[LEAVE]], night, keep_series=True, threads=1)
    assert result.series is not None
    return np.asarray(result.series["root"][0, 0, 0, ::4])
