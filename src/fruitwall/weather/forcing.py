"""What the weather gives to physics: hourly arrays of shape [member, time].

A `Forcing` is made by a source or read from a file, checked once on construction, and from then on trusted.
Values are instantaneous at the stamp, except the ones over the hour that ends at the stamp (sun, rain).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Forcing:
    """Hourly weather of one station or grid cell.

    Attributes
    ----------
    time_utc : ndarray of datetime64[s], shape (time,)
        Evenly spaced by one hour, increasing.
    t_air_c, t_dew_c, wind_m_s, cloud, shortwave_w_m2, rain_mm : ndarray, shape (member, time)
        Air temperature and dew point (over water) in a thermometer shelter [°C], wind at `wind_height_m` [m/s],
        share of sky covered [0-1], global horizontal irradiance, mean of the hour that ends at the stamp [W/m²],
        rain of that hour [mm].
    latitude_deg, longitude_deg, elevation_m : float
        The place for which the values hold.
    wind_height_m : float
        Height of the wind above open ground. [m]
    source : str
        Who made it, in words for the user.
    issued_utc : datetime, aware
        When the forecast was issued (for history: the last stamp).
    n_history : int
        How many of the first steps are past weather rather than forecast.
    """

    time_utc: NDArray[np.datetime64]
    t_air_c: FloatArray
    t_dew_c: FloatArray
    wind_m_s: FloatArray
    cloud: FloatArray
    shortwave_w_m2: FloatArray
    rain_mm: FloatArray
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    source: str
    issued_utc: datetime
    wind_height_m: float = 10.0
    n_history: int = 0

    @property
    def n_members(self) -> int:
        """Number of ensemble members."""
        return int(self.t_air_c.shape[0])

    @property
    def n_times(self) -> int:
        """Number of hourly steps."""
        return int(self.time_utc.shape[0])
