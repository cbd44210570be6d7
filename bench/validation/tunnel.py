"""Plants and soil in an unheated plastic tunnel in Veneto, winter 2021 to 2022.

The weather outside is not published with the data, and neither are the site, the tunnel's size or the crop. What the
tunnel gains over the outside air can therefore *not* be tested. What can: how the plants stand to the air around them
by night under film, and the soil. The measured inside air stands in for the outside air by night, and by day the
plants stand in it uncovered, in the sun that the sensors among them measured.

All assumed, none fitted: place (middle of Veneto), tunnel 8 x 40 x 3.5 m of polyethylene, crop half a metre high with
leaves of 5 cm and a leaf area index of 2, wind outside 1 m/s, cloud from the day's light.
"""

from __future__ import annotations

import numpy as np

from bench.validation.driving import (
    DATA,
    SPIN_UP,
    FloatArray,
    TimeArray,
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
from bench.validation.towers import PPFD_PER_W
from fruitwall.physics.air import dew_point, vapour_pressure
from fruitwall.physics.body import Body
from fruitwall.physics.covers import MATERIALS
from fruitwall.physics.night import simulate
from fruitwall.physics.sky import CLOUD_WEIGHT
from fruitwall.physics.treatment import Treatment
from fruitwall.weather.sun import clear_sun, cloud_from_transmission, sun_elevation

PLACE = (45.5, 11.8, 20.0)
CROP = Body(leaf_width_m=0.05, leaf_area_index=2.0, height_m=0.5, crown_diameter_m=8.0, root_depth_m=0.10)
TUNNEL = Treatment(
    "tunnel", cover="film_polyethylene", on_frame=True, frame_width_m=8.0, frame_length_m=40.0, frame_height_m=3.5
)
WIND_M_S = 1.0
FILM_LETS_THROUGH = 0.7
"""Of the sun, film and frame of a used tunnel: for guessing cloud only. [0-1]"""

STRETCHES = (("2021-10-31T12:00:00", "2021-12-01T12:00:00"), ("2021-12-16T00:00:00", "2022-02-02T12:00:00"))
"""Before and after a hole of two weeks."""

SENSORS = ("air1_c", "air2_c", "air3_c", "air4_c", "air6_c", "air7_c", "air8_c")
SOIL_DEPTH = "soil at 10 cm (depth assumed)"


def tunnel_rows() -> list[Row]:
    """Give the rows of plants and soil."""
    times, data, _ = read(DATA / "veneto_tunnel" / "tunnel.csv.gz")
    parts = [_stretch(times, data, np.datetime64(first), np.datetime64(last)) for first, last in STRETCHES]
    hours, air, relative, soil, plants, soils = (np.concatenate(each, axis=-1) for each in zip(*parts, strict=True))
    dark = is_dark(hours, PLACE[0], PLACE[1])
    starts = np.array([np.datetime64(first) for first, _ in STRETCHES])
    dark &= (hours >= starts[0] + SPIN_UP) & ~((hours >= starts[1]) & (hours < starts[1] + SPIN_UP))
    night = night_numbers(hours, PLACE[1])
    made: list[Row] = []
    for number, name in enumerate(("a", "b")):
        made += rows(
            "plastic tunnel, Veneto, winter",
            f"plant {name} in the night's inside air",
            model=air + relative,
            naive=air,
            measured=plants[number],
            night=night,
            conditions={"all nights": dark, "air below 2 °C": dark & (air < 2.0)},
            naive_is="as warm as the inside air",
        )
        made += rows(
            "plastic tunnel, Veneto, winter",
            f"{SOIL_DEPTH} {name}",
            model=soil,
            naive=mean_of_last(air, 24),
            measured=soils[number],
            night=night,
            conditions={"all nights": dark},
            naive_is="mean of the inside air of a day",
        )
    return made


def _stretch(
    times: TimeArray, data: dict[str, FloatArray], first: np.datetime64, last: np.datetime64
) -> tuple[TimeArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Hours, inside air, model's leaf minus its inside air, model's soil, measured plants and soils."""
    hours = np.arange(first, last, np.timedelta64(3600, "s")).astype("datetime64[s]")
    at = {name: on_hours(times, column, hours, 15) for name, column in data.items()}
    air = filled(np.median(np.stack([filled(at[name]) for name in SENSORS]), axis=0))
    humidity = np.clip(filled(at["rh9_pct"]), 1.0, 100.0)
    par = np.maximum(np.nanmean(np.stack([filled(data[f"par_{name}_umol_m2_s"]) for name in "ab"]), axis=0), 0.0)
    sun = np.maximum(filled(on_hours(times + np.timedelta64(1800, "s"), par, hours, 30)), 0.0) / PPFD_PER_W
    cloud = _cloud_of_days(hours, sun)
    # By day the film overhead takes its part of the sky's cold: what is left is as from more cloud.
    loss_left = MATERIALS["film_polyethylene"].wet_longwave_through
    hidden = (1.0 - loss_left * (1.0 - CLOUD_WEIGHT * cloud)) / CLOUD_WEIGHT
    by_day = sun_elevation(hours, PLACE[0], PLACE[1]) > 0.0
    weather = forcing(
        hours,
        t_air_c=air,
        t_dew_c=dew_point(vapour_pressure(air, humidity)),
        wind_m_s=np.full(hours.size, WIND_M_S),
        cloud=np.where(by_day, np.minimum(hidden, 1.0), cloud),
        shortwave_w_m2=sun,
        place=PLACE,
        wind_height_m=10.0,
        source="inside a tunnel in Veneto",
    )
    nights = nights_between(weather.start_utc, weather.end_utc, PLACE[1], on_h=4.5, off_h=19.5)
    spot = open_spot(2.0, ground="bare")
    result = simulate(weather, [spot], [CROP], [[TUNNEL]], nights, keep_series=True, threads=1)
    assert result.series is not None
    leaf, inside, root = (result.series[name][0, 0, 0, ::4] for name in ("leaf", "air", "root"))
    plants = np.stack([at["plant_a_c"], at["plant_b_c"]])
    return hours, air, leaf - inside, root, plants, np.stack([at["soil_a_c"], at["soil_b_c"]])


def _cloud_of_days(hours: TimeArray, sun: FloatArray) -> FloatArray:
    """Cloud from each day's light over that of a clear day, straight lines from noon to noon."""
    clear = clear_sun(hours, PLACE[0], PLACE[1]) * FILM_LETS_THROUGH
    days, which = np.unique(hours.astype("datetime64[D]"), return_inverse=True)
    share = np.bincount(which, sun) / np.maximum(np.bincount(which, clear), 1.0)
    cloud = cloud_from_transmission(share)
    noon = days.astype("datetime64[s]").astype(np.int64) + 11 * 3600
    return np.asarray(np.interp(hours.astype(np.int64), noon, cloud))
