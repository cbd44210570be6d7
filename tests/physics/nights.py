"""Builders for night tests: weather, spots and nights with defaults, so that a test shows only what matters."""

from datetime import UTC, date, datetime, timedelta

import numpy as np

from fruitwall.physics.cases import wind_profile
from fruitwall.physics.spot import Spot
from fruitwall.physics.treatment import Night
from fruitwall.weather.forcing import Forcing

FIRST = np.datetime64("2026-12-20T00:00:00")
"""Start of the made weather; local time is eight hours behind UTC."""


def open_spot(**changes):
    """A spot on level ground; whatever is not sky, roof or wall is canopy."""
    values = {"sky": 0.85, "roof": 0.0, "wall": 0.0, "wall_ids": (), "wall_shares": (), "wall_below": 0.0}
    values |= {"wall_below_shares": (), "ground": "bare", "paving_share": 0.0, "pond_share": 0.0, "height_m": 1.2}
    values |= {"wind_share": 0.6, "colder_k": 0.0, "stillness": 0.1, "id": "spot"} | changes
    values.setdefault("canopy", 1.0 - values["sky"] - values["roof"] - values["wall"])
    values.setdefault("diffuse_share", values["sky"])
    paving = "concrete" if values["paving_share"] else None
    return Spot(x_m=0.0, y_m=0.0, paving_material=paving, sun_share=np.ones((72, 18)), roof_transmits_sun=0.0, **values)


def frost_weather(*, days=3, members=1, low=-3.0, high=11.0, wind=0.5, dew=-6.0, cloud=0.0, before=6.0):
    """Fair days and frost nights with minimum at 06:30 local; `before` is how much warmer it was on the first day."""
    hours = np.arange(24 * days + 1)
    local = (hours - 8) % 24
    rising = (local >= 6.5) & (local < 14.5)
    fall = 1 - 2 * (1 - np.exp(-((local - 14.5) % 24) / 7)) / (1 - np.exp(-16 / 7))
    wave = np.where(rising, -np.cos(np.pi * (local - 6.5) / 8), fall)
    air = (low + high) / 2 + (high - low) / 2 * wave + before * np.clip(1 - hours / (24 * (days - 1)), 0, 1)
    air = air[None, :] + np.linspace(-1.0, 1.0, members)[:, None] * (members > 1)
    sun = np.where((local > 6.8) & (local < 16.8), 560 * np.sin((local - 6.8) / 10 * np.pi), 0.0) * (1 - 0.7 * cloud)

    def even(value):
        return np.full(air.shape, float(value))

    return Forcing(
        time_utc=FIRST + hours * np.timedelta64(3600, "s"),
        t_air_c=air,
        t_dew_c=np.minimum(air - 0.3, dew),
        wind_m_s=even(wind),
        cloud=even(cloud),
        shortwave_w_m2=np.broadcast_to(sun, air.shape),
        rain_mm=even(0.0),
        latitude_deg=34.0,
        longitude_deg=-117.0,
        elevation_m=300.0,
        source="made up for a test",
        issued_utc=datetime(2026, 12, 20, tzinfo=UTC),
    )


def night_of(day):
    """The night that begins on this day of December 2026: covered from 16:30 to 07:30 local."""
    noon = datetime(2026, 12, day, 20, tzinfo=UTC)
    return Night(
        name=date(2026, 12, day),
        start_utc=noon,
        end_utc=noon + timedelta(hours=24),
        cover_on_utc=noon + timedelta(hours=4.5),
        cover_off_utc=noon + timedelta(hours=19.5),
        dusk_utc=noon + timedelta(hours=5.2),
        dawn_utc=noon + timedelta(hours=18.4),
    )


FROST_WINDS_M_S = [wind / wind_profile(2.0) for wind in (0.0, 0.5, 1.0, 1.5, 2.0)]
"""Wind at 10 m of a radiation frost where a source names none: up to 2 m/s at the shelter, below which FAO's rule for
such nights holds (documentation of function predFAO of the R package frost, read)."""

LAST = night_of(21)
"""Second night of three days of `frost_weather`."""
