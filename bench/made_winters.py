"""Made-up winters by seed: as much work as real ones, with cold spells, cloud, wind and frost on clear still nights.

Nothing in them is measured. Their nights at the default settings are about those of an inland valley of southern
California: lowest air of a mean winter near -2 °C.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.treatment import Night
from fruitwall.weather.forcing import HOUR, Forcing

FloatArray = NDArray[np.float64]


def wander(rng: np.random.Generator, hours: int, memory_h: float, spread: float) -> FloatArray:
    """Give a first-order random course of zero mean."""
    keep = float(np.exp(-1 / memory_h))
    pushes = rng.normal(scale=spread * np.sqrt(1 - keep**2), size=hours)
    pushes[0] /= np.sqrt(1 - keep**2)
    for hour in range(1, hours):
        pushes[hour] += keep * pushes[hour - 1]
    return pushes


def made_winter(
    seed: int,
    *,
    start: str = "1999-10-20T00",
    days: int = 165,
    mean: float = 12.5,
    swing: float = 6.5,
    spread: float = 3.2,
    windy: float = 1.5,
    local_h: int = -8,
    latitude: float = 33.9,
) -> Forcing:
    """Give one winter of hourly weather.

    Parameters
    ----------
    seed : int
    start : str
        First hour, UTC.
    days : int
    mean, swing, spread : float
        Mean of the air, half of its daily range under a clear sky, and spread of its spells of days. [°C], [K], [K]
    windy : float
        Mean and spread of the wind. [m/s]
    local_h : int
        Local time less UTC. [h]
    latitude : float
        [degrees]

    Returns
    -------
    Forcing
    """
    rng = np.random.default_rng(seed)
    hours = 24 * days + 1
    time = np.datetime64(start, "s") + np.arange(hours) * HOUR
    clock = (np.arange(hours) + local_h + int(start[11:13])) % 24
    cloud = np.clip(0.3 + wander(rng, hours, 30, 0.45), 0, 1)
    light = np.clip(np.sin((clock - 6.8) / 10 * np.pi), 0, None) * ((clock > 6.8) & (clock < 16.8))
    air = mean + wander(rng, hours, 60, spread) + swing * (1 - 0.6 * cloud) * np.cos(2 * np.pi * (clock - 14.5) / 24)
    dew = np.minimum(air - 0.2, mean - 9 + wander(rng, hours, 60, 4.0))
    wind = np.abs(windy + wander(rng, hours, 12, windy))
    sun = 560 * light * (1 - 0.7 * cloud)
    air, dew, wind, cloud, sun = (row[None] for row in (air, dew, wind, cloud, sun))
    return Forcing(
        time, air, dew, wind, cloud, sun, np.zeros_like(air), latitude, 15.0 * local_h, 400.0,
        f"made-up winter {seed}", datetime(2020, 1, 1, tzinfo=UTC),
    )  # fmt: skip


def season(first: date, count: int, *, local_h: int = -8) -> list[Night]:
    """Give so many nights from the evening of a date on, covered from 16:30 to 07:30 local."""
    noon = datetime(first.year, first.month, first.day, 12, tzinfo=UTC) - timedelta(hours=local_h)
    made = []
    for number in range(count):
        start = noon + timedelta(days=number)
        on, off = start + timedelta(hours=4.5), start + timedelta(hours=19.5)
        made.append(Night(first + timedelta(days=number), start, start + timedelta(hours=24), on, off, on, off))
    return made
