"""A noon in full sun, for tests of what the sun heats."""

from __future__ import annotations

import numpy as np

from fruitwall.physics.air import dew_point, saturation_vapour_pressure
from fruitwall.physics.daylight import Daylight, black_body_w_m2, ground_c, sunlit_leaf_c, under_cloth
from fruitwall.physics.sky import BEST_BY_EVIDENCE, longwave_down

CROWN = 0.71
"""Share of what a leaf sees below that is foliage: a leaf area index of 2.5."""


def daylight(
    air_c: float = 40.0,
    humidity: float = 15.0,
    *,
    wind_m_s: float = 1.0,
    beam_w_m2: float = 850.0,
    diffuse_w_m2: float = 100.0,
    elevation_deg: float = 60.0,
    azimuth_deg: float = 200.0,
    surface: str = "bare",
    thrown_w_m2: float = 0.0,
    hours: int = 1,
) -> Daylight:
    """Give the same moment for so many hours, of one member, on open ground under a clear sky."""

    def all_day(value: float) -> np.ndarray:
        return np.full((1, hours), value)

    vapour = saturation_vapour_pressure(air_c) * humidity / 100.0
    level = beam_w_m2 * np.sin(np.radians(elevation_deg)) + diffuse_w_m2
    ground = float(ground_c(level, air_c, wind_m_s, surface))
    sky = float(longwave_down(air_c, vapour, 0.0, BEST_BY_EVIDENCE))
    below = (1.0 - CROWN) * black_body_w_m2(ground) + CROWN * black_body_w_m2(air_c)
    return Daylight(
        t_air_c=all_day(air_c),
        t_dew_c=all_day(float(dew_point(vapour))),
        wind_m_s=all_day(wind_m_s),
        beam_w_m2=all_day(beam_w_m2),
        diffuse_w_m2=all_day(diffuse_w_m2),
        thrown_w_m2=all_day(thrown_w_m2),
        ground_sun_w_m2=all_day(level),
        above_w_m2=all_day(sky),
        below_w_m2=all_day(float(below)),
        elevation_deg=np.full(hours, elevation_deg),
        azimuth_deg=np.full(hours, azimuth_deg),
    )


def noon(
    air_c: float, humidity: float, *, stops: float = 0.0, leaf_width_m: float = 0.04, **more
) -> tuple[float, float]:
    """Give temperature of a watered leaf in the sun and the sun on it, under cloth that stops so much."""
    light = under_cloth(daylight(air_c, humidity, **more), stops)
    leaf = sunlit_leaf_c(light, leaf_width_m)[0, 0]
    return float(leaf), float((light.beam_w_m2 + light.diffuse_w_m2)[0, 0])
