"""Fifty real winters of one place for the demo: Gainesville in Florida, lowest and highest temperature of every day.

Hours are made of them as of any record of days (`weather.archive`). Provenance: ``data/README.md``.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from importlib.resources import as_file, files
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from fruitwall.speech import marked
from fruitwall.weather.archive.reading import read_archive
from fruitwall.weather.climate import season_years
from fruitwall.weather.forcing import as_datetime64

if TYPE_CHECKING:
    from fruitwall.weather.forcing import Forcing

DATA_FILE = "gainesville_1960_2026.csv.gz"

ZONE = "America/New_York"

YEARS_ON = datetime(2026, 12, 1, tzinfo=UTC) - datetime(2022, 12, 1, tzinfo=UTC)
"""The freeze of Christmas 2022 is played back in 2026."""

SOURCE = marked("Gainesville, Florida, December 2022 (GHCN-Daily, NOAA), hours made of days, played back as a forecast")

HISTORY, FORECAST = timedelta(days=21), timedelta(days=5)


def decades_now() -> datetime:
    """Give the moment of this demo: 23 December 2026, 14:30 in Florida, aware."""
    return datetime(2026, 12, 23, 14, 30, tzinfo=ZoneInfo(ZONE))


@cache
def _pieces() -> tuple[Forcing, ...]:
    with as_file(files("fruitwall.weather") / "data" / DATA_FILE) as path:
        return read_archive([path], place=None)


@cache
def decades_years() -> tuple[Forcing, ...]:
    """Give the years 1960 to 1969 and 1984 to 2026, cut at midsummer, one member each."""
    return tuple(year for piece in _pieces() for year in season_years(piece))


def decades_forcing() -> Forcing:
    """Give the weather of the demo's evening: three weeks of past, then five nights of forecast.

    Returns
    -------
    Forcing
        One member; `n_history` counts the hours up to the time of issue.
    """
    issued = decades_now().astimezone(UTC).replace(minute=0)
    last = _pieces()[-1]
    spell = last.select(issued - YEARS_ON - HISTORY, issued - YEARS_ON + FORECAST)
    played = replace(spell, time_utc=spell.time_utc + np.timedelta64(YEARS_ON), issued_utc=issued, source=SOURCE)
    return replace(played, n_history=int((played.time_utc <= as_datetime64(issued)).sum()))
