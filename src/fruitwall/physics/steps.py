"""Hourly weather as the kernel's steps: interpolated, split into sky, sun and cooling, laid out in lanes of members."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics import kernel_rows as k
from fruitwall.physics.air import saturation_vapour_pressure
from fruitwall.physics.constants import STEFAN_BOLTZMANN, ZERO_C_K
from fruitwall.physics.convection import forced, free
from fruitwall.physics.cooling import cooling_strength
from fruitwall.physics.sky import BEST_BY_EVIDENCE, longwave_down
from fruitwall.physics.sun import Irradiance, SunPosition, extraterrestrial, split_global, spread_hours, sun_position
from fruitwall.weather.forcing import Forcing
from fruitwall.weather.wind import wind_at_height

FloatArray = NDArray[np.float64]

ROOF_SIZE_M = 1.5
"""Size of the panes over which wind passes a roof. [m]"""


@dataclass(frozen=True, eq=False)
class Steps:
    """Weather at every step.

    Attributes
    ----------
    time_utc : ndarray of datetime64[s], shape (step,)
    t_air_c, vapour_kpa, wind_m_s, sky_w_m2, cooling, roof_w_m2 : ndarray, shape (member, step)
        Air of the yard, vapour pressure, wind at 10 m, longwave from the sky, strength of radiative cooling, longwave
        of roofs overhead.
    light : Irradiance of ndarray, shape (member, step)
        Beam and diffuse sun on level ground, mean of the step that ends there.
    sun : SunPosition of ndarray, shape (step,)
        In the middle of that step.
    step_s : float
    """

    time_utc: NDArray[np.datetime64]
    t_air_c: FloatArray
    vapour_kpa: FloatArray
    wind_m_s: FloatArray
    sky_w_m2: FloatArray
    cooling: FloatArray
    roof_w_m2: FloatArray
    light: Irradiance
    sun: SunPosition
    step_s: float

    @property
    def n_members(self) -> int:
        """Number of members."""
        return int(self.t_air_c.shape[0])

    @property
    def n_steps(self) -> int:
        """Number of steps, the start included."""
        return int(self.time_utc.size)


def steps_of(forcing: Forcing, step_minutes: int) -> Steps:
    """Give the weather at every step.

    Parameters
    ----------
    forcing : Forcing
        Hourly.
    step_minutes : int
        A divisor of 30.

    Returns
    -------
    Steps

    Notes
    -----
    Air temperature, dew point, wind and cloud run straight from hour to hour; sun follows its height within the hour.
    """
    per_hour = 60 // step_minutes
    count = (forcing.n_times - 1) * per_hour + 1
    time = forcing.time_utc[0] + np.arange(count) * np.timedelta64(60 * step_minutes, "s")
    air, dew, wind, cloud = (
        _between(values, per_hour) for values in (forcing.t_air_c, forcing.t_dew_c, forcing.wind_m_s, forcing.cloud)
    )
    wind = wind * wind_at_height(1.0, forcing.wind_height_m, 10.0)
    vapour = saturation_vapour_pressure(dew)
    middle = time - np.timedelta64(30 * step_minutes, "s")
    sun = sun_position(middle, forcing.latitude_deg, forcing.longitude_deg)
    spread = spread_hours(
        forcing.time_utc, forcing.shortwave_w_m2, forcing.latitude_deg, forcing.longitude_deg, step_minutes
    )
    # Steps of the hour before the first stamp are left out, except the last.
    light = spread.reshape(forcing.n_members, -1)[:, per_hour - 1 :]
    outside = extraterrestrial(middle)
    # No more light than reaches the top of the air: the mean of an hour that a source has a little late would come
    # down, in the few minutes of that hour when the sun is up, as a blaze at sunrise.
    light = np.minimum(light, outside * np.maximum(np.sin(np.radians(sun.elevation_deg)), 0.0))
    sky = longwave_down(air, vapour, cloud, BEST_BY_EVIDENCE)
    strength = cooling_strength(
        air, np.minimum(dew, air), wind, cloud, time, forcing.latitude_deg, forcing.longitude_deg
    )
    return Steps(
        time_utc=time,
        t_air_c=air,
        vapour_kpa=vapour,
        wind_m_s=wind,
        sky_w_m2=sky,
        cooling=strength,
        roof_w_m2=roof_w_m2(air, wind, sky),
        light=split_global(light, sun.elevation_deg, outside),
        sun=sun,
        step_s=60.0 * step_minutes,
    )


def _between(hourly: FloatArray, per_hour: int) -> FloatArray:
    """Straight lines between hourly values, last axis time."""
    share = np.arange(per_hour) / per_hour
    inner = hourly[:, :-1, None] * (1.0 - share) + hourly[:, 1:, None] * share
    return np.concatenate([inner.reshape(hourly.shape[0], -1), hourly[:, -1:]], axis=1)


def roof_w_m2(air: FloatArray, wind: FloatArray, sky: FloatArray) -> FloatArray:
    """Give the longwave from the underside of a thin roof: sky and wind above, yard air and what it shelters below.

    Parameters
    ----------
    air, wind, sky : ndarray, one shape
        Air temperature, wind at 10 m and longwave from the sky. [°C], [m/s], [W/m²]

    Returns
    -------
    ndarray, that shape
        [W/m²]
    """
    h_out = forced(ROOF_SIZE_M) * np.sqrt(np.maximum(0.75 * wind, 0.1))
    h_in = free(ROOF_SIZE_M) * 1.2
    below = STEFAN_BOLTZMANN * (air + ZERO_C_K) ** 4
    roof = air.copy()
    for _ in range(3):
        kelvin = roof + ZERO_C_K
        lack = 0.9 * (sky + below - 2.0 * STEFAN_BOLTZMANN * kelvin**4) + (h_out + h_in) * (air - roof)
        roof += lack / (8.0 * 0.9 * STEFAN_BOLTZMANN * kelvin**3 + h_out + h_in)
    return np.asarray(STEFAN_BOLTZMANN * (roof + ZERO_C_K) ** 4)


@dataclass(frozen=True)
class Blocks:
    """How members are laid into blocks of lanes.

    Attributes
    ----------
    members, count, width : int
        Number of members, of blocks, and lanes in use of each block.
    """

    members: int
    count: int
    width: int

    def lay(self, values: FloatArray) -> FloatArray:
        """Lay an array [member, ...] out as [block, ..., LANES]; spare lanes repeat the last member."""
        index = np.minimum(np.arange(self.count * self.width), self.members - 1)
        laid = np.moveaxis(values[index].reshape(self.count, self.width, *values.shape[1:]), 1, -1)
        out = np.zeros((*laid.shape[:-1], k.LANES))
        out[..., : self.width] = laid
        out[..., self.width :] = laid[..., -1:]
        return out

    def take(self, values: FloatArray) -> FloatArray:
        """Bring an array [block, ..., LANES] back to [member, ...]."""
        used = np.moveaxis(values[..., : self.width], -1, 1)
        return used.reshape(self.count * self.width, *used.shape[2:])[: self.members]


def blocks_of(members: int) -> Blocks:
    """Choose the fewest blocks, of even width in fours (at least 16 lanes, so that the loops run in vectors)."""
    count = -(-members // k.LANES)
    width = max(16, -(-members // count // 4) * 4)
    while width * count < members:
        width += 4
    return Blocks(members, count, width)


def forcing_blocks(steps: Steps, blocks: Blocks) -> FloatArray:
    """Lay the weather out for the kernel, shape (block, step, FORCING_SIZE)."""
    rows = [
        steps.t_air_c,
        steps.vapour_kpa,
        steps.wind_m_s,
        steps.sky_w_m2,
        steps.light.beam,
        steps.light.diffuse,
        steps.cooling,
        steps.roof_w_m2,
    ]
    laid = np.empty((blocks.count, steps.n_steps, len(rows), k.LANES))  # filled in place: seasons are large
    for number, row in enumerate(rows):
        laid[:, :, number] = blocks.lay(row)
    return laid.reshape(blocks.count, steps.n_steps, k.FORCING_SIZE)
