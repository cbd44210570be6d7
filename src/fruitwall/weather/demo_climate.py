"""Other years of the demo's place: few, and of typical months.

Two typical years of stations near by and the two winters of the demo's story. Provenance: ``data/README.md``.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from gzip import decompress
from importlib.resources import files
from typing import TYPE_CHECKING

from fruitwall.speech import marked
from fruitwall.weather.climate import season_years
from fruitwall.weather.demo import demo_winters
from fruitwall.weather.history import parse_history

if TYPE_CHECKING:
    from fruitwall.weather.forcing import Forcing

SOURCE = marked("Southern California, typical years and winters of real months (TMY3, NREL)")

NOTE = marked(
    "these are not real years in a row: months of real years of two or three stations near by, put together; their "
    "makers chose ordinary months, so record frosts are missing, and some months stand in two of the years"
)


@cache
def demo_years() -> tuple[Forcing, ...]:
    """Give two whole years, July to June under the stamps of 2001 and 2002, and two winters, November to March.

    Returns
    -------
    tuple of Forcing
        One member each.
    """
    read = []
    for station in ("march_afb_ca", "riverside_ca"):
        packed = files("fruitwall.weather").joinpath(f"data/year_{station}.csv.gz").read_bytes()
        read.append(parse_history(decompress(packed).decode("utf-8"), where=station, place=None))
    years = [piece for one in [*read, *demo_winters()] for piece in season_years(one)]
    return tuple(replace(one, source=SOURCE, warnings=(NOTE, *one.warnings)) for one in years)
