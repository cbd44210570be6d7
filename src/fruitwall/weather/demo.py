"""Real weather to show the product on: a cold spell, and two winters before it.

The hours of March air base, California, December 1998 are played back on the same days of December 2026, as if
everything after the afternoon of the 23rd were a forecast issued then. Nothing is made up but the year. The winters are
months of three stations near by, put together. Provenance: ``data/README.md``.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from zoneinfo import ZoneInfo

import numpy as np

from fruitwall.speech import marked
from fruitwall.weather.forcing import Forcing, as_datetime64
from fruitwall.weather.history import parse_history

DEMO_ZONE = "America/Los_Angeles"

DATA_FILE = "march_afb_1998_12.csv"

# Same day and hour of the calendar, 28 years on; neither year has a leap day in December.
YEARS_ON = datetime(2026, 12, 1, tzinfo=UTC) - datetime(1998, 12, 1, tzinfo=UTC)

ISSUED = datetime(2026, 12, 23, 14, 0, tzinfo=ZoneInfo(DEMO_ZONE))

HISTORY = timedelta(days=10)
FORECAST = timedelta(days=5)

SOURCE = marked("March AFB, California, December 1998 (TMY3, NREL), played back as if it were a forecast")

WINTERS_SOURCE = marked("Southern California, real months of several years (TMY3, NREL), played back as one winter")


def demo_now() -> datetime:
    """Give the moment of the demo: 23 December 2026, 14:30 in California, aware."""
    return datetime(2026, 12, 23, 14, 30, tzinfo=ZoneInfo(DEMO_ZONE))


def demo_forcing(now: datetime | None = None) -> Forcing:
    """Give the demo's weather: ten days of past, then five nights of forecast.

    Parameters
    ----------
    now : datetime, aware, optional
        Another moment within the spell, from which ten days back and five nights on are given as far as the data
        reach (10 to 31 December); by default the demo evening. The forecast is then taken to be issued at that
        moment's last full hour.

    Returns
    -------
    Forcing
        One member; `n_history` counts the hours up to the time of issue. It ends five days after issue, when the
        fifth night is over.

    Raises
    ------
    ValueError
        If `now` has no zone or lies outside 11 to 30 December 2026.
    """
    text = files("fruitwall.weather").joinpath(f"data/{DATA_FILE}").read_text(encoding="utf-8")
    month = parse_history(text, where=DATA_FILE, place=None)
    issued = ISSUED.astimezone(UTC) if now is None else _full_hour(now)
    played = replace(month, time_utc=month.time_utc + np.timedelta64(YEARS_ON), issued_utc=issued, source=SOURCE)
    if not played.start_utc + timedelta(days=1) <= issued <= played.end_utc - timedelta(days=1):
        raise ValueError(f"now must lie within 11 and 30 December 2026, got {issued:%Y-%m-%d %H:%M} UTC")
    spell = played.select(issued - HISTORY, issued + FORECAST)
    n_history = int((spell.time_utc <= as_datetime64(issued)).sum())
    return replace(spell, n_history=n_history)


def _full_hour(now: datetime) -> datetime:
    """Give the last full hour in UTC."""
    if now.tzinfo is None:
        raise ValueError(f"now needs a time zone, got {now.isoformat()} without one")
    return now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)


def demo_winters() -> tuple[Forcing, Forcing]:
    """Give the two winters before the demo evening, November to March of 2024/25 and of 2025/26.

    Returns
    -------
    tuple of Forcing
        One member each, all of it history. Their months are real months of stations near by, put together and moved
        to these years; provenance in ``data/README.md``.
    """
    return _winter("winter_2024_2025.csv.gz"), _winter("winter_2025_2026.csv.gz")


YEAR_FILE = "year_2025_2026.csv.gz"
YEAR_SOURCE = marked("Southern California, real months of several years (TMY3, NREL), played back as one; rain made up")


def demo_year() -> Forcing:
    """Give the weather from October 2025 to the middle of December 2026, before the demo evening.

    Returns
    -------
    Forcing
        One member, all of it history. Real months of stations near by, moved to these years; the rain is made up by a
        rule, since typical years carry none. Provenance in ``data/README.md``.
    """
    return replace(_winter(YEAR_FILE), source=YEAR_SOURCE)


def demo_summer_now() -> datetime:
    """Give the moment of the demo's hot spell: the early afternoon of 22 August 2026, aware."""
    return datetime(2026, 8, 22, 14, 30, tzinfo=ZoneInfo(DEMO_ZONE))


def demo_summer_forcing() -> Forcing:
    """Give the hot spell: ten days of past, then five days of forecast with 41 °C in the shade.

    Returns
    -------
    Forcing
        One member; cut out of `demo_year`.
    """
    issued = demo_summer_now().astimezone(UTC).replace(minute=0)
    spell = demo_year().select(issued - HISTORY, issued + FORECAST)
    n_history = int((spell.time_utc <= as_datetime64(issued)).sum())
    return replace(spell, issued_utc=issued, n_history=n_history)


def _winter(name: str) -> Forcing:
    from gzip import decompress

    packed = files("fruitwall.weather").joinpath(f"data/{name}").read_bytes()
    winter = parse_history(decompress(packed).decode("utf-8"), where=name, place=None)
    return replace(winter, source=WINTERS_SOURCE, n_history=winter.n_times)
