"""Reference evapotranspiration where part of the weather is not known: what stands in for it, and that it does.

The rules are those of FAO-56, chapter 3: dew point from the minimum, sun from cloud or from the range of temperature, a
wind of 2 m/s; and Hargreaves where nothing but temperatures is known. Each is noted with the share of the time it was
used for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plants.water import radiation, vapour
from fruitwall.plants.water.ranges import FloatArray, numbers
from fruitwall.plants.water.reference import (
    SECONDS_TO_MJ,
    Form,
    hargreaves_et,
    reference_et,
    reference_et_hourly,
)
from fruitwall.speech import say

NoticeCode = Literal[
    "humidity_from_minimum", "wind_assumed", "sun_from_cloud", "sun_from_temperatures", "only_temperatures", "unknown"
]

WIND_ASSUMED_M_S = 2.0
"""Mean over more than 2000 stations, FAO-56 ch. 3. [m/s]"""


@dataclass(frozen=True)
class Notice:
    """Something that stood in for a measurement, and the share of the steps in which it did. [0-1]"""

    code: NoticeCode
    share: float


@dataclass(frozen=True, eq=False)
class Reference:
    """Reference evapotranspiration of each step [mm], NaN where not even temperature is known, and what was assumed."""

    et_mm: FloatArray
    notices: tuple[Notice, ...]


def said_notice(code: NoticeCode) -> str:
    """Say what stood in for what, in one sentence."""
    sentences = {
        "humidity_from_minimum": say("How moist the air is was not known: it is taken from the night's minimum."),
        "wind_assumed": say("The wind was not known: the light wind of an average place is taken."),
        "sun_from_cloud": say("The sun was not measured: it is reckoned from the cloud."),
        "sun_from_temperatures": say("The sun was not known: it is reckoned from how far day and night differ."),
        "only_temperatures": say("Only temperatures were known: the use of water is a rough figure from them alone."),
        "unknown": say("For some of the time not even the temperature was known: nothing is reckoned there."),
    }
    return sentences[code]


def daily_reference(
    t_min_c: ArrayLike,
    t_max_c: ArrayLike,
    *,
    latitude_deg: float,
    elevation_m: float,
    day_of_year: ArrayLike,
    t_dew_c: ArrayLike = np.nan,
    wind_2m_m_s: ArrayLike = np.nan,
    shortwave_mj_m2: ArrayLike = np.nan,
    sunshine_h: ArrayLike = np.nan,
    coast: bool = False,
) -> Reference:
    """Give the reference evapotranspiration of days of which some things may not be known (NaN).

    Parameters
    ----------
    t_min_c, t_max_c : array_like [..., day]
        The days' extremes. [°C]
    latitude_deg : float
        South is negative. [degrees]
    elevation_m : float
        [m]
    day_of_year : array_like [..., day]
        1 to 366.
    t_dew_c, wind_2m_m_s, shortwave_mj_m2, sunshine_h : array_like [..., day]
        Dew point [°C], wind at 2 m [m/s], sun [MJ/(m² d)], hours of sunshine [h]; NaN where not known.
    coast : bool
        Whether large water is near: the range of temperature then stands for more sun.

    Returns
    -------
    Reference
    """
    low, high, day, dew, wind, sun, shine = (
        np.array(x, dtype=np.float64)
        for x in np.broadcast_arrays(t_min_c, t_max_c, day_of_year, t_dew_c, wind_2m_m_s, shortwave_mj_m2, sunshine_h)
    )
    known = ~(np.isnan(low) | np.isnan(high))
    rough = known & np.isnan(dew) & np.isnan(wind) & np.isnan(sun) & np.isnan(shine)
    ra = radiation.extraterrestrial(latitude_deg, day)
    clear = radiation.clear_sky(ra, elevation_m)

    dry, calm = known & np.isnan(dew) & ~rough, known & np.isnan(wind) & ~rough
    with np.errstate(invalid="ignore"):
        shone = np.isnan(sun) & ~np.isnan(shine)
        length = np.maximum(radiation.daylight_hours(latitude_deg, day), 1e-9)
        sun[shone] = radiation.from_sunshine(ra, np.minimum(shine, length), length)[shone]
    guessed = known & np.isnan(sun)
    factor = radiation.K_COAST if coast else radiation.K_INLAND
    spread = np.minimum(radiation.from_range(ra, low, high, factor), clear)
    sun = np.where(guessed, spread, sun)
    full = reference_et(
        low,
        high,
        ea_kpa=vapour.saturation_kpa(np.where(np.isnan(dew), low, dew)),
        wind_2m_m_s=np.where(np.isnan(wind), WIND_ASSUMED_M_S, wind),
        shortwave_mj_m2=sun,
        latitude_deg=latitude_deg,
        day_of_year=day,
        elevation_m=elevation_m,
    )
    et = np.where(rough, hargreaves_et(low, high, ra), np.where(known, full, np.nan))
    return Reference(
        et,
        _notices(
            [
                ("humidity_from_minimum", dry),
                ("wind_assumed", calm),
                ("sun_from_temperatures", guessed & ~rough),
                ("only_temperatures", rough),
                ("unknown", ~known),
            ]
        ),
    )


def hourly_reference(
    t_c: ArrayLike,
    *,
    time_utc: NDArray[np.datetime64],
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    t_dew_c: ArrayLike = np.nan,
    wind_2m_m_s: ArrayLike = np.nan,
    shortwave_w_m2: ArrayLike = np.nan,
    open_shortwave_w_m2: ArrayLike = np.nan,
    cloud: ArrayLike = np.nan,
    sun_share: ArrayLike = 1.0,
    form: Form = "fao56",
    coast: bool = False,
) -> Reference:
    """Give the reference evapotranspiration of hours of which some things may not be known (NaN).

    Parameters
    ----------
    t_c : array_like [..., hour]
        Mean temperature. [°C]
    time_utc : ndarray of datetime64 [hour]
        Ends of the hours.
    latitude_deg, longitude_deg, elevation_m : float
        South and west are negative. [degrees], [m]
    t_dew_c, wind_2m_m_s, shortwave_w_m2, open_shortwave_w_m2, cloud : array_like [..., hour]
        Dew point [°C], wind at the spot [m/s], sun that the spot gets and sun in the open [W/m²], cover of cloud [0-1];
        NaN where not known.
    sun_share : array_like [..., hour]
        Share of the open sun that the spot gets, for hours whose sun has to be reckoned. [0-1]
    form : {"fao56", "asce"}
        As in `reference_et_hourly`.
    coast : bool
        As in `daily_reference`.

    Returns
    -------
    Reference
        Minima and ranges are those of the days of the place's own sun.
    """
    times = np.asarray(time_utc)
    t, dew, wind, sun, seen, cover, reach = (
        np.array(x, dtype=np.float64)
        for x in np.broadcast_arrays(t_c, t_dew_c, wind_2m_m_s, shortwave_w_m2, open_shortwave_w_m2, cloud, sun_share)
    )
    if t.shape[-1:] != times.shape:
        raise ValueError(f"t_c must have the {times.size} hours of time_utc as its last axis, got shape {t.shape}")
    known = ~np.isnan(t)
    open_known, here_known = ~np.isnan(seen), ~np.isnan(sun)
    rough = known & np.isnan(dew) & np.isnan(wind) & ~here_known & ~open_known & np.isnan(cover)
    course = radiation.hour_sun(latitude_deg, longitude_deg, times)
    clear = radiation.clear_sky(course.ra_mj_m2, elevation_m)
    low, high = _day_extremes(t, times, longitude_deg)

    factor = radiation.K_COAST if coast else radiation.K_INLAND
    with np.errstate(invalid="ignore"):
        by_range = np.minimum(factor * np.sqrt(high - low) * course.ra_mj_m2, clear) / SECONDS_TO_MJ
        by_cloud = radiation.through_cloud(clear, cover) / SECONDS_TO_MJ
        stand_in = np.where(np.isnan(by_cloud), by_range, by_cloud)
        opened = np.where(open_known, seen, np.where(here_known & (reach >= 1.0), sun, stand_in))
        here = np.where(here_known, sun, opened * reach)
    missing = known & ~here_known & ~open_known & (course.ra_mj_m2 > 0.0)
    ea = vapour.saturation_kpa(np.where(np.isnan(dew), low, dew))
    full = reference_et_hourly(
        t,
        ea,
        np.where(np.isnan(wind), WIND_ASSUMED_M_S, wind),
        here,
        latitude_deg,
        longitude_deg,
        times,
        elevation_m,
        form=form,
        open_shortwave_w_m2=opened,
        cloud=cover,
    )
    with np.errstate(invalid="ignore"):
        share = course.ra_mj_m2 / np.maximum(radiation.extraterrestrial(latitude_deg, course.day_of_year), 1e-9)
        ra_day = radiation.extraterrestrial(latitude_deg, course.day_of_year)
        by_temperature = hargreaves_et(low, high, ra_day) * share * reach
    et = np.where(rough, by_temperature, np.where(known, full, np.nan))
    return Reference(
        et,
        _notices(
            [
                ("humidity_from_minimum", known & np.isnan(dew) & ~rough),
                ("wind_assumed", known & np.isnan(wind) & ~rough),
                ("sun_from_cloud", missing & ~np.isnan(cover)),
                ("sun_from_temperatures", missing & np.isnan(cover) & ~rough),
                ("only_temperatures", rough),
                ("unknown", ~known),
            ]
        ),
    )


def _day_extremes(t: FloatArray, times: NDArray[np.datetime64], longitude_deg: float) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest temperature of the day of each hour, by the place's own sun. [..., hour]"""
    if not times.size:
        return t, t
    shift = np.timedelta64(round(float(numbers("longitude_deg", longitude_deg)) * 240.0) - 1800, "s")
    days = (times.astype("datetime64[s]") + shift).astype("datetime64[D]")
    _, start, which = np.unique(days, return_index=True, return_inverse=True)
    low = np.fmin.reduceat(t, start, axis=-1)
    high = np.fmax.reduceat(t, start, axis=-1)
    return low[..., which], high[..., which]


def _notices(used: Iterable[tuple[NoticeCode, NDArray[np.bool_]]]) -> tuple[Notice, ...]:
    """What was used at all, with its share."""
    return tuple(Notice(code, float(where.mean())) for code, where in used if where.any())
