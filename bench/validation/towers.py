"""Surfaces seen from above by pyrgeometers: a meadow, two forests, and open ground on a cold day.

The upward longwave of an eddy-covariance tower is that of the canopy's top: leaves, and ground through their gaps.
The model's leaf and ground, weighed by the share that leaves hide, are turned into the same flux; both fluxes are then
read as temperatures with the model's own emissivity. Downward longwave is measured (at night: net radiation plus
upward longwave) and given to the model as the cloud that makes its sky send as much; where even the model's clear sky
sends more than was measured it gets that.

Under an overcast sky that takes nothing a canopy is as warm as the air, but the meadow's reads 1.8 K colder: the
instruments do not agree. Besides the values as measured there are therefore rows with the instruments' own zero taken
off: the mean difference between surface and air in night hours of a net loss under `ZERO_LOSS_W_M2`. The model has no
part in it.

From memory, not in the data: place, elevation, height and leaf area of the canopy, width of its leaves, height of the
instruments.
"""

from __future__ import annotations

from dataclasses import dataclass
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from bench.validation.driving import (
    DATA,
    SPIN_UP,
    TESTS_DATA,
    FloatArray,
    TimeArray,
    cloud_from_longwave,
    filled,
    forcing,
    is_dark,
    nights_between,
    on_hours,
    open_spot,
    read,
)
from bench.validation.scores import Row, night_numbers, rows
from fruitwall.physics.air import dew_point, saturation_vapour_pressure, vapour_pressure
from fruitwall.physics.body import Body
from fruitwall.physics.cases import EMISSIVITY, wind_profile
from fruitwall.physics.cooling import inversion_k
from fruitwall.physics.night import LEAVE, simulate
from fruitwall.physics.sky import emitted, sky_temperature
from fruitwall.weather.forcing import Forcing
from fruitwall.weather.wind import wind_at_height

CLEAR_LOSS_W_M2 = 60.0
"""Net loss, at air temperature, from which a value counts as clear: two thirds of that of a full clear night. [W/m²]"""

ZERO_LOSS_W_M2 = 15.0
"""Net loss, at air temperature, below which surface and air should agree. [W/m²]"""

CALM_M_S = 2.0
"""Wind at the instrument below which a value counts as calm. [m/s]"""

PPFD_PER_W = 2.06
"""Photosynthetic light over global sun: 4.57 µmol/J times a share of 0.45 (from memory). [µmol/J]"""

LOW_VAPOUR_KPA = 0.02

EXCHANGES = np.geomspace(1 / 208, 1.0, 33)
"""Where the exchange of low canopies is looked for: from FAO-56's grass to all the wind. [-]"""

KEPT = "in (exchange kept by it)"
"""Of the meadow and the oaks: of two constants with a reason, 1/208 and 0.11, that nearer to both was kept."""


@dataclass(frozen=True)
class Tower:
    """What is not in the data of a tower; all from memory.

    Attributes
    ----------
    site, name : str
    place : tuple of float
        Latitude, longitude [degrees], elevation [m].
    instruments_m : float
        Height of thermometer and anemometer. [m]
    body : Body
        The canopy as one plant.
    ground : str
    over_canopy : bool
        Instruments well above a tall canopy: wind comes down by the logarithmic law over rough ground (displacement
        0.67, roughness 0.1 of the height), air as measured. Otherwise by the model's own law over grass.
    sample : str
        Whether the model was made with it, see `scores.Row`.
    """

    site: str
    name: str
    place: tuple[float, float, float]
    instruments_m: float
    body: Body
    ground: str
    over_canopy: bool
    sample: str

    @property
    def wind_share(self) -> float:
        """Wind share that brings the model's wind at the crown's height to that at the canopy's top."""
        if not self.over_canopy:
            return 1.0
        high, top = self.instruments_m, self.body.height_m
        rough = np.log((top - 0.67 * top) / (0.1 * top)) / np.log((high - 0.67 * top) / (0.1 * top))
        grass = wind_at_height(1.0, high, 10.0) * wind_profile(top)
        return float(rough / grass)


TOWERS = (
    Tower(
        "at_neu",
        "meadow, Neustift (Tyrol), July",
        (47.117, 11.318, 970.0),
        3.0,
        Body(leaf_width_m=0.01, leaf_area_index=4.0, height_m=0.4, crown_diameter_m=30.0),
        "turf",
        False,
        KEPT,
    ),
    Tower(
        "fr_pue",
        "holm oak forest, Puéchabon (Languedoc), May",
        (43.741, 3.596, 270.0),
        12.0,
        Body(leaf_width_m=0.025, leaf_area_index=2.9, height_m=5.5, crown_diameter_m=30.0),
        "mulch",
        True,
        KEPT,
    ),
    Tower(
        "de_tha",
        "spruce forest, Tharandt (Saxony), June",
        (50.963, 13.567, 380.0),
        42.0,
        Body(leaf_width_m=0.0015, leaf_area_index=7.6, height_m=26.5, crown_diameter_m=30.0),
        "mulch",
        True,
        "out",
    ),
)


@dataclass(frozen=True, eq=False)
class Series:
    """What a tower measured, at full hours.

    Attributes
    ----------
    weather : Forcing
        As the model gets it.
    air_c, measured_c, down_w_m2 : ndarray, shape (hour,)
        Air, canopy as read, and longwave from the sky.
    zero_k : float
        By how much the instruments disagree: see the head of this module.
    conditions : dict of str to ndarray, shape (hour,)
        Which hours count as what; the first are all night hours.
    night : ndarray, shape (hour,)
    """

    weather: Forcing
    air_c: FloatArray
    measured_c: FloatArray
    down_w_m2: FloatArray
    zero_k: float
    conditions: dict[str, NDArray[np.bool_]]
    night: NDArray[np.int64]


def tower_rows() -> list[Row]:
    """Give the rows of all three towers."""
    return [row for tower in TOWERS for row in _tower(tower, _series(tower))]


def exchange_rows() -> list[Row]:
    """Give the rows of meadow and oaks with the exchange of low canopies fitted on the other one.

    The exchange of `EXCHANGES` is taken that has the least root mean square error over all night hours of the one, zero
    taken off, and tried on the other.
    """
    pair = [(tower, _series(tower)) for tower in TOWERS if tower.sample == KEPT]
    best = []
    for tower, series in pair:
        dark = series.conditions["all night hours"]
        error = [
            np.sqrt(np.mean((_with_exchange(tower, series, each) - series.measured_c + series.zero_k)[dark] ** 2))
            for each in EXCHANGES
        ]
        best.append(float(EXCHANGES[int(np.argmin(error))]))
    made: list[Row] = []
    for (tower, series), (other, _), exchange in zip(pair, reversed(pair), reversed(best), strict=True):
        made += rows(
            tower.name,
            f"canopy, exchange {exchange:.2g}, zero {series.zero_k:+.1f} K taken off",
            model=_with_exchange(tower, series, exchange),
            naive=series.air_c,
            measured=series.measured_c - series.zero_k,
            night=series.night,
            conditions=series.conditions,
            naive_is="as warm as the air",
            sample=f"out (exchange fitted on the {other.name.split(',')[0]})",
        )
    return made


def _with_exchange(tower: Tower, series: Series, exchange: float) -> FloatArray:
    """Model's canopy, height profile in where it applies, with another exchange of low canopies. [°C]"""
    with patch("fruitwall.physics.cases.LOW_EXCHANGE", exchange):
        return _radiometric(tower, series.weather, series.down_w_m2, with_profile=not tower.over_canopy)


def _series(tower: Tower) -> Series:
    """Read a tower's series."""
    times, data, words = read(DATA / "flux_tower_longwave" / "towers.csv.gz")
    here = np.array(words["site"]) == tower.site
    times, data = times[here], {name: column[here] for name, column in data.items()}
    hours = np.arange(times[0] + np.timedelta64(3600, "s"), times[-1], np.timedelta64(3600, "s"))
    hours = hours[hours.astype(np.int64) % 3600 == 0]
    # Half-hour means carry the stamp of their start: the mean of the one before and the one after holds at the hour.
    middle = times + np.timedelta64(900, "s")
    at = {name: on_hours(middle, column, hours, 16) for name, column in data.items()}
    known = np.isfinite(at["temp_c"] + at["wind_speed_ms"] + at["net_radiation_wm2"] + at["longwave_up_wm2"])
    air, wind = filled(at["temp_c"]), filled(at["wind_speed_ms"])
    vapour = np.maximum(saturation_vapour_pressure(air) - np.maximum(filled(at["vpd_kpa"]), 0.0), LOW_VAPOUR_KPA)
    sun = np.maximum(filled(at["ppfd_umol_m2_s"]), 0.0) / PPFD_PER_W
    # By day the net radiation holds the sun too; a rough albedo is enough for what the ground remembers.
    down = filled(at["net_radiation_wm2"] + at["longwave_up_wm2"]) - 0.85 * sun
    weather = forcing(
        hours,
        t_air_c=air,
        t_dew_c=dew_point(vapour),
        wind_m_s=wind,
        cloud=cloud_from_longwave(air, vapour, down),
        # Of the hour before the stamp.
        shortwave_w_m2=np.maximum(filled(_hour_before(middle, data["ppfd_umol_m2_s"], hours)), 0.0) / PPFD_PER_W,
        place=tower.place,
        wind_height_m=tower.instruments_m,
        source=tower.name,
    )
    latitude, longitude, _ = tower.place
    dark = is_dark(hours, latitude, longitude) & known & (hours >= hours[0] + SPIN_UP)
    loss = emitted(air) - down
    clear, calm = loss >= CLEAR_LOSS_W_M2, wind < CALM_M_S
    measured = _surface(at["longwave_up_wm2"], down)
    return Series(
        weather,
        air,
        measured,
        down,
        float((measured - air)[dark & (loss < ZERO_LOSS_W_M2)].mean()),
        {
            "all night hours": dark,
            "clear and calm": dark & clear & calm,
            "clear, some wind": dark & clear & ~calm,
            "cloudy": dark & ~clear,
        },
        night_numbers(hours, longitude),
    )


def _tower(tower: Tower, series: Series) -> list[Row]:
    """Rows of one tower."""
    zero, conditions = series.zero_k, series.conditions
    made: list[Row] = []
    for with_profile in (False, True):
        if with_profile and tower.over_canopy:
            continue
        model = _radiometric(tower, series.weather, series.down_w_m2, with_profile=with_profile)
        what = "canopy with the height profile" if with_profile else "canopy"
        # The raw reading once, then with the instruments' zero.
        for reading, taken_off, when in (
            ("as read", 0.0, {"all night hours": conditions["all night hours"]}),
            (f"zero {zero:+.1f} K taken off", zero, conditions),
        ):
            made += rows(
                tower.name,
                f"{what}, {reading}",
                model=model,
                naive=series.air_c,
                measured=series.measured_c - taken_off,
                night=series.night,
                conditions=when,
                naive_is="as warm as the air",
                sample=tower.sample,
            )
    return made


def _hour_before(times: TimeArray, values: FloatArray, hours: TimeArray) -> FloatArray:
    """Mean of the values of the hour that ends at each stamp."""
    return on_hours(times + np.timedelta64(1800, "s"), values, hours, 29)


def _surface(up_w_m2: FloatArray, down_w_m2: FloatArray) -> FloatArray:
    """Temperature of a surface of the model's emissivity that sends this, what it reflects taken off. [°C]"""
    own = (up_w_m2 - (1.0 - EMISSIVITY) * down_w_m2) / EMISSIVITY
    return sky_temperature(np.where(np.isfinite(own), own, 0.0)) + np.where(np.isfinite(own), 0.0, np.nan)


def _radiometric(tower: Tower, weather: Forcing, down: FloatArray, *, with_profile: bool) -> FloatArray:
    """Model's canopy at the full hours, as its upward longwave would be read. [°C]"""
    height = tower.body.height_m
    spot = open_spot(height, ground=tower.ground, wind_share=min(tower.wind_share, 1.0))
    night = nights_between(weather.start_utc, weather.end_utc, tower.place[1], on_h=6.0, off_h=18.0)[-1:]
    # The yard's clear-night offset cancels the height profile where the thermometer hangs at the leaves' height.
    offset = 0.0 if with_profile else -float(inversion_k(height, 1.0))
    result = simulate(
        weather,
        [spot],
        [tower.body],
        [[LEAVE]],
        night,
        moisture="moist",
        keep_series=True,
        threads=1,
        clear_night_offset_k=offset,
    )
    assert result.series is not None
    leaf, soil = (result.series[name][0, 0, 0, ::4] for name in ("leaf", "soil"))
    hidden = tower.body.foliage_share
    sent = EMISSIVITY * (hidden * emitted(leaf) + (1.0 - hidden) * emitted(soil)) + (1.0 - EMISSIVITY) * down
    return _surface(sent, down)


def alamosa_rows() -> list[Row]:
    """Give the rows of the ground at Alamosa: the day is repeated until the ground is in its swing."""
    times, data, _ = read(TESTS_DATA / "surfrad" / "alamosa_2016-01-01.csv")
    day = np.arange(24)
    hours = times[0] + day * np.timedelta64(3600, "s")
    at = {name: filled(on_hours(times, column, hours, 30)) for name, column in data.items()}
    air, wind, down = at["temp_c"], at["wind_speed_ms"], at["longwave_down_wm2"]
    vapour = vapour_pressure(air, np.clip(at["rh_pct"], 0.0, 100.0))
    sun = np.maximum(filled(on_hours(times + np.timedelta64(1800, "s"), data["ghi_wm2"], hours, 30)), 0.0)
    place, days = (37.70, -105.92, 2317.0), 12
    ground = open_spot(2.0, ground="bare")
    bare = Body(leaf_area_index=0.0, height_m=0.3, crown_diameter_m=1.0)
    many = hours[0] + np.arange(24 * days) * np.timedelta64(3600, "s")
    measured = _surface(at["longwave_up_wm2"], down)
    # From memory: SURFRAD masts carry the anemometer at 10 m.
    dark = is_dark(hours, place[0], place[1])
    made: list[Row] = []
    for sky_is, cloud in (
        ("sky as measured", cloud_from_longwave(air, vapour, down)),
        ("sky by formula, clear", np.zeros(24)),
    ):
        weather = forcing(
            many,
            t_air_c=np.tile(air, days),
            t_dew_c=np.tile(dew_point(vapour), days),
            wind_m_s=np.tile(wind, days),
            cloud=np.tile(cloud, days),
            shortwave_w_m2=np.tile(sun, days),
            place=place,
            wind_height_m=10.0,
            source="Alamosa",
        )
        night = nights_between(weather.start_utc, weather.end_utc, place[1], on_h=6.0, off_h=18.0)[-1:]
        result = simulate(weather, [ground], [bare], [[LEAVE]], night, moisture="moist", keep_series=True, threads=1)
        assert result.series is not None
        soil = result.series["soil"][0, 0, 0, ::4][-24:]
        made += rows(
            "open ground, Alamosa (Colorado), January",
            f"ground surface, {sky_is}",
            model=soil,
            naive=air,
            measured=measured,
            night=np.ones(24, dtype=np.int64),
            conditions={"night": dark, "day": ~dark},
            naive_is="as warm as the air",
        )
    return made
