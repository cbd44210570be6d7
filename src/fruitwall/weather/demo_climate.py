"""Other years of the demo's place: few, and of typical months.

Two typical years of stations near by and the two winters of the demo's story. Provenance: ``data/README.md``.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from gzip import decompress
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.speech import marked
from fruitwall.weather.climate import season_years
from fruitwall.weather.demo import demo_winters
from fruitwall.weather.history import parse_history

if TYPE_CHECKING:
    from fruitwall.weather.forcing import Forcing

FloatArray = NDArray[np.float64]

TYPICAL = marked("Southern California, typical years of real months (TMY3, NREL)")
"""Source of years whose stamps are nominal: months of many real years."""

NOTE = marked(
    "these are not real years in a row: months of real years of two or three stations near by, put together; their "
    "makers chose ordinary months, so record frosts are missing, and some months stand in two of the years; "
    "their rain is made up"
)

RAIN_MONTHS = (11, 12, 1, 2, 3)
RAIN_CLOUD, RAIN_DEPRESSION_K, RAIN_MM_H = 1.0, 1.0, 1.5
"""Typical years carry no rain. It is made up by the rule of the demo's own year (`bench.cut_two_winters`): in the
winter half year, an hour under a whole sky of cloud with air near saturation brings this much. [0-1, K, mm/h]"""

LOCAL = np.timedelta64(8, "h")
"""By which local standard time is behind UTC."""


@cache
def demo_years() -> tuple[Forcing, ...]:
    """Give two whole years, July to June under the stamps of 2001 and 2002, and two winters, November to March.

    Returns
    -------
    tuple of Forcing
        One member each.
    """
    typical = []
    for station in ("march_afb_ca", "riverside_ca"):
        packed = files("fruitwall.weather").joinpath(f"data/year_{station}.csv.gz").read_bytes()
        read = parse_history(decompress(packed).decode("utf-8"), where=station, place=None)
        typical.append(replace(read, source=TYPICAL))
    years = [piece for one in [*typical, *demo_winters()] for piece in season_years(one)]
    return tuple(replace(one, rain_mm=_rain(one), warnings=(NOTE,)) for one in years)


def _rain(year: Forcing) -> FloatArray:
    """Make up the rain of a year."""
    months = (year.time_utc - LOCAL).astype("datetime64[M]").astype(np.int64) % 12 + 1
    moist = year.t_air_c - year.t_dew_c <= RAIN_DEPRESSION_K
    return np.where(np.isin(months, RAIN_MONTHS) & (year.cloud >= RAIN_CLOUD) & moist, RAIN_MM_H, 0.0)
