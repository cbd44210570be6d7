"""What a forecast says for its own station, night by night."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from fruitwall.service.evening_document import Spread
from fruitwall.service.nights import Evening, full_hour
from fruitwall.weather.forcing import Forcing, as_datetime, as_datetime64
from fruitwall.weather.wind import wind_at_height

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class StationNight:
    """One night at the station.

    Attributes
    ----------
    evening : date
        Date of its evening.
    minimum_c : Spread
        Lowest air temperature over the members. [°C]
    coldest_at : datetime
        Hour of the median member's minimum. UTC
    dew_point_c, wind_m_s, cloud : Spread
        Dew point at each member's minimum [°C]; mean wind [m/s] and cloud [0-1] of the dark hours.
    """

    evening: date
    minimum_c: Spread
    coldest_at: datetime
    dew_point_c: Spread
    wind_m_s: Spread
    cloud: Spread


def spread(values: FloatArray) -> Spread:
    """Give the tenth, fiftieth and ninetieth percentile over all values."""
    low, middle, high = np.percentile(values, (10, 50, 90))
    return Spread(p10=float(low), p50=float(middle), p90=float(high))


@dataclass(frozen=True)
class WetLeaf:
    """What a wet leaf would come to in the moving air of a night, at the hour of the lowest wet bulb; medians.

    Attributes
    ----------
    t_air_c, drop_k, wind_m_s : float
        Air of the station [°C], how far the leaf would stand below it [K], wind at 10 m [m/s].
    """

    t_air_c: float
    drop_k: float
    wind_m_s: float


def wet_leaf(forcing: Forcing, evening: Evening) -> WetLeaf:
    """Give what a wet leaf would come to from sunset (or now) until covers come off."""
    from fruitwall.physics.air import pressure_at
    from fruitwall.physics.icing import wet_foliage_drop_k

    night = forcing.select(full_hour(max(evening.sunset, evening.begins)), evening.end_hour)
    dark = night.time_utc <= as_datetime64(max(evening.uncover, night.start_utc))
    air, dew, wind = (values[:, dark] for values in (night.t_air_c, night.t_dew_c, night.wind_m_s))
    wind = wind * wind_at_height(1.0, forcing.wind_height_m, 10.0)
    drop = wet_foliage_drop_k(air, np.minimum(air, dew), pressure_at(forcing.elevation_m))
    at = np.argmin(air - drop, axis=1)[:, None]
    return WetLeaf(*(float(np.median(np.take_along_axis(values, at, axis=1))) for values in (air, drop, wind)))


def station_nights(forcing: Forcing, evenings: Sequence[Evening]) -> list[StationNight]:
    """Sum up a forecast's nights, each from sunset (or now) until covers come off."""
    return [
        _summary(forcing.select(full_hour(max(evening.sunset, evening.begins)), evening.end_hour), evening)
        for evening in evenings
    ]


def _summary(forcing: Forcing, evening: Evening) -> StationNight:
    """Sum up one night; hours after covers come off count only where nothing else is left of it."""
    cold = forcing.time_utc <= as_datetime64(max(evening.uncover, full_hour(evening.begins) + timedelta(hours=1)))
    forcing = forcing.select(forcing.start_utc, as_datetime(forcing.time_utc[cold][-1])) if cold.sum() >= 2 else forcing
    at = np.argmin(forcing.t_air_c, axis=1)
    dark = (forcing.shortwave_w_m2 <= 0).all(axis=0)
    used = dark if dark.any() else np.ones_like(dark)
    return StationNight(
        evening=evening.night.name,
        minimum_c=spread(forcing.t_air_c.min(axis=1)),
        coldest_at=as_datetime(forcing.time_utc[int(np.median(at))]),
        dew_point_c=spread(np.take_along_axis(forcing.t_dew_c, at[:, None], axis=1)),
        wind_m_s=spread(forcing.wind_m_s[:, used].mean(axis=1)),
        cloud=spread(forcing.cloud[:, used].mean(axis=1)),
    )
