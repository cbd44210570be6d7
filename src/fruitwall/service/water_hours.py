"""The hours that the water of a root zone needs: weather that is over, with the sun and wind at each crown.

The same figures as `service.spot_hours` has them, without the march of temperatures through the yard, which takes most
of its time: the evening plan asks how dry the roots are and must not wait for a year of nights.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from fruitwall.service.kept import Kept
from fruitwall.weather.forcing import HOUR, as_datetime, as_datetime64

if TYPE_CHECKING:
    from fruitwall.service.house import House
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Yard

Array = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]


class Hours(Protocol):
    """What is asked of hours: `WaterHours` and `spot_hours.SpotHours` have it. Arrays are [member, hour]."""

    @property
    def time_utc(self) -> TimeArray:
        """Ends of the hours [hour]."""

    @property
    def t_air_c(self) -> Array:
        """Of the yard. [°C]"""

    @property
    def t_dew_c(self) -> Array:
        """Of the yard. [°C]"""

    @property
    def cloud(self) -> Array:
        """Cover of cloud. [0-1]"""

    @property
    def rain_mm(self) -> Array:
        """In the open. [mm]"""

    @property
    def open_sun_w_m2(self) -> Array:
        """Of level open ground. [W/m²]"""

    @property
    def sun_w_m2(self) -> Array:
        """At the crown. [W/m²]"""

    @property
    def wind_here_m_s(self) -> Array:
        """At the crown. [m/s]"""


@dataclass(frozen=True, eq=False)
class WaterHours:
    """Hours that are over at one tree; arrays [1, hour], NaN where the weather is not known.

    Attributes
    ----------
    time_utc : ndarray of datetime64[s], shape (hour,)
        Full hours, evenly spaced, without gaps.
    t_air_c, t_dew_c, cloud, rain_mm, open_sun_w_m2 : ndarray
        The yard's weather, as in `spot_hours.SpotHours`.
    sun_w_m2, wind_here_m_s : ndarray
        At its crown.
    """

    time_utc: TimeArray
    t_air_c: Array
    t_dew_c: Array
    cloud: Array
    rain_mm: Array
    open_sun_w_m2: Array
    sun_w_m2: Array
    wind_here_m_s: Array


WEATHER = ("t_air_c", "t_dew_c", "cloud", "rain_mm", "open_sun_w_m2")


def past_water_hours(house: House, since: datetime) -> Mapping[str, WaterHours]:
    """Give the hours that are over at every tree of the yard as it stands.

    Parameters
    ----------
    house : House
    since : datetime, aware

    Returns
    -------
    Mapping of tree to WaterHours
        Empty without any weather.
    """
    from fruitwall.service.past_weather import past_stretches

    yard, version = house.yard()
    first = as_datetime64(since).astype("datetime64[h]").astype("datetime64[s]")
    last = as_datetime64(house.clock()).astype("datetime64[h]").astype("datetime64[s]")
    stretches = past_stretches(house)
    forcings = [one.forcing for one in stretches if one.forcing.time_utc[-1] >= first]
    if last <= first or not forcings:
        return {}
    # The first known hour begins it: what lies before would only be told as not known.
    first = max(first, forcings[0].time_utc[0])
    return _HOURS.of(
        *(one.forcing for one in stretches),
        key=(version.sha256, str(first), str(last)),
        make=lambda: _past(yard, forcings, first, last),
    )


_HOURS: Kept[Mapping[str, WaterHours]] = Kept(3)


def _past(yard: Yard, forcings: list[Forcing], first: np.datetime64, last: np.datetime64) -> Mapping[str, WaterHours]:
    time_utc = np.arange(first, last + HOUR, HOUR)
    weather = {name: np.full((1, time_utc.size), np.nan) for name in WEATHER}
    here = {
        tree.id: {name: np.full((1, time_utc.size), np.nan) for name in ("sun_w_m2", "wind_here_m_s")}
        for tree in yard.trees
    }
    for forcing in forcings:
        begin, end = max(first, forcing.time_utc[0]), min(last, forcing.time_utc[-1])
        if end - begin < HOUR:
            continue
        for start, stop in _half_years(yard.location.latitude_deg, begin, end):
            part = forcing.select(as_datetime(start), as_datetime(stop))
            hours = part.time_utc
            at = slice(int((hours[0] - first) // HOUR), int((hours[0] - first) // HOUR) + hours.size)
            fields = (part.t_air_c, part.t_dew_c, part.cloud, part.rain_mm, part.shortwave_w_m2)
            for name, values in zip(WEATHER, fields, strict=True):
                weather[name][:, at] = values[:1]
            for tree, its in sun_and_wind(yard, part).items():
                for name, values in its.items():
                    here[tree][name][:, at] = values[:1]
    return {tree: WaterHours(time_utc=time_utc, **weather, **its) for tree, its in here.items()}


def _half_years(
    latitude_deg: float, first: np.datetime64, last: np.datetime64
) -> list[tuple[np.datetime64, np.datetime64]]:
    """Cut a time where crowns that are leafless in winter gain or lose their leaves."""
    from fruitwall.service.outlook import in_winter

    months = np.arange(first.astype("datetime64[M]") - 1, last.astype("datetime64[M]") + 2)
    bare = [in_winter(latitude_deg, month.astype("datetime64[D]").astype(date)) for month in months]
    turns = [month.astype("datetime64[s]") for at, month in enumerate(months) if at and bare[at] != bare[at - 1]]
    cuts = [first, *(one for one in turns if first < one < last), last + HOUR]
    return [(start, stop - HOUR) for start, stop in pairwise(cuts) if stop - start > HOUR]


def sun_and_wind(yard: Yard, forcing: Forcing) -> dict[str, dict[str, Array]]:
    """Give the sun on a level surface at each crown [W/m²], and the wind there [m/s].

    Parameters
    ----------
    yard : Yard
    forcing : Forcing, [member, time]
        All within a half-year of leaf or of bare wood.
    """
    from fruitwall.service.outlook import in_winter
    from fruitwall.service.spot_march import add_sun_and_wind
    from fruitwall.service.treatments import spots_of

    middle = as_datetime(forcing.time_utc[forcing.time_utc.size // 2]).date()
    winter = in_winter(yard.location.latitude_deg, middle)
    home, _ = _SPOTS.of(yard, key=winter, make=lambda: spots_of(yard, [[] for _ in yard.trees], winter=winter))
    found: dict[str, dict[str, Array]] = {tree.id: {} for tree in yard.trees}
    add_sun_and_wind(found, yard, home, forcing, forcing.time_utc)  # type: ignore[arg-type]  # wider floats are fine
    return found


_SPOTS: Kept = Kept(4)  # type: ignore[type-arg]
