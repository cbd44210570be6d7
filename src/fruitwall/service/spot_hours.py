"""The hours of a season at each tree's own spot: what its tissues felt, with what was done and without.

Every part of the season reads the same hours: cold ledger, chill, water, heat, growth.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from fruitwall.service.house import House

Array = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]


@dataclass(frozen=True, eq=False)
class Felt:
    """Temperatures at one tree by the hour, means over the hour that ends at the stamp. [°C]

    Attributes
    ----------
    air_c : ndarray [member, hour]
        Of the air amid its crown.
    leaf_c, twig_c, wood_c, fruit_c, root_c : ndarray [member, hour]
        NaN where the tree has no such part now. The root is that of a pot; in the ground the soil below the surface.
    """

    air_c: Array
    leaf_c: Array
    twig_c: Array
    wood_c: Array
    fruit_c: Array
    root_c: Array


@dataclass(frozen=True, eq=False)
class SpotHours:
    """Hours of one tree.

    Attributes
    ----------
    tree : str
    time_utc : ndarray of datetime64[s], shape (hour,)
        Full hours, evenly spaced, without gaps.
    done : Felt
        With what was done for it in the nights that are over (coming nights: nothing done).
    alone : Felt
        Had nothing been done.
    t_air_c, t_dew_c, wind_m_s, cloud, rain_mm, open_sun_w_m2 : ndarray [member, hour]
        The yard's weather: air and dew point [°C], wind at 2 m above open ground [m/s], cloud [0-1], rain of the hour
        [mm], global sun on level open ground, mean of the hour [W/m²].
    sun_w_m2 : ndarray [member, hour]
        Global sun on a level surface at its crown, in the shade of walls, roofs, canopies.
    wind_here_m_s : ndarray [member, hour]
        Wind at its crown. [m/s]
    known : ndarray of bool [hour]
        Whether the hour's weather is known; all other arrays are NaN where not.
    n_past, n_forecast : int
        The first `n_past` hours are over, the next `n_forecast` from a forecast, the rest from other years' weather.
    """

    tree: str
    time_utc: TimeArray
    done: Felt
    alone: Felt
    t_air_c: Array
    t_dew_c: Array
    wind_m_s: Array
    cloud: Array
    rain_mm: Array
    open_sun_w_m2: Array
    sun_w_m2: Array
    wind_here_m_s: Array
    known: NDArray[np.bool_]
    n_past: int
    n_forecast: int


def season_hours(house: House, since: datetime, until: datetime | None = None) -> Mapping[str, SpotHours]:
    """Give the hours that are over at every tree of the yard as it stands.

    Parameters
    ----------
    house : House
    since : datetime, aware
    until : datetime, aware, optional
        Now if left out, and at most now.

    Returns
    -------
    Mapping of tree to SpotHours
        One member; hours whose weather is not known have ``known`` false and NaN. Empty without any weather.
    """
    raise NotImplementedError


def coming_hours(house: House, until: datetime) -> Mapping[str, SpotHours]:
    """Give the hours to come at every tree: the forecast, then the same days of other years.

    Parameters
    ----------
    house : House
    until : datetime, aware
        At most a year ahead.

    Returns
    -------
    Mapping of tree to SpotHours
        Members are possible courses; the first hour is the one after now. It ends where the forecast ends if the
        climate of the place is not known (`service.climate`). Empty without a forecast and without a climate.
    """
    raise NotImplementedError
