"""Weather for tests: everything has a default, so that a test shows only what matters."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from fruitwall.weather.forcing import Forcing
from fruitwall.weather.place import Place

SAMPLES = Path(__file__).parents[1] / "data" / "weather"

YARD = Place(33.5, -117.0, 300.0)

START = np.datetime64("2026-12-22T20:00:00", "s")  # noon in California

JANUARY_NOW = datetime(2026, 1, 14, 22, 0, tzinfo=UTC)
"""The afternoon for which the hand-made samples were made, 14:00 in California."""


def hours(count: int, start: np.datetime64 = START) -> np.ndarray:
    return start + np.timedelta64(3600, "s") * np.arange(count)


def sample(name: str) -> str:
    return (SAMPLES / name).read_text(encoding="utf-8")


def some_forcing(count: int = 48, members: int = 1, **changes: Any) -> Forcing:
    """Two clear days with a frosty night, from noon on."""
    start = changes.pop("start", START)
    of_day = np.arange(count) % 24
    warm = 8.0 + 9.0 * np.cos(2 * np.pi * of_day / 24)
    fields: dict[str, Any] = {
        "time_utc": hours(count, start),
        "t_air_c": np.tile(warm, (members, 1)),
        "t_dew_c": np.full((members, count), -4.0),
        "wind_m_s": np.full((members, count), 2.0),
        "cloud": np.full((members, count), 0.3),
        "shortwave_w_m2": np.tile(np.clip(400 * np.cos(2 * np.pi * of_day / 24), 0, None), (members, 1)),
        "rain_mm": np.zeros((members, count)),
        "latitude_deg": YARD.latitude_deg,
        "longitude_deg": YARD.longitude_deg,
        "elevation_m": YARD.elevation_m,
        "source": "a test",
        "issued_utc": datetime(2026, 12, 22, 20, tzinfo=UTC),
    }
    return Forcing(**{**fields, **changes})
