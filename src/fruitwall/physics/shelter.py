"""How much heat a frame, tunnel or small greenhouse loses, and what a lamp or heater under it gives.

The steady balance that engineers size heaters with: skin area times U-value times difference, plus the air that
leaks. It judges the night model's covers and answers "how many watts for this frame" at once; the night model itself
follows cloth, leaf and soil through the hours.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.air import volumetric_heat_capacity
from fruitwall.physics.checked import Range, checked

FloatArray = NDArray[np.float64]

BTU = 5.678263
"""One Btu/(h ft² °F). [W/(m² K)]"""

U_VALUES: dict[str, float] = {
    "glass_single": 1.13 * BTU,
    "polyethylene_single": 1.15 * BTU,
    "polyethylene_double": 0.70 * BTU,
    "polycarbonate_twin_8mm": 0.58 * BTU,
    "polycarbonate_triple": 0.38 * BTU,
}
"""Conventional design U-values of greenhouse covers. [W/(m² K)]

ANSI/ASAE EP406 and NGMA heat-loss factors, as quoted by extension pages (the standard itself not read); one measured
double-film house gave 3.85 against 3.97 here (Kim et al. 2018, Energies 11:578).
"""

AREA = Range(0.0, 1e6, "m²")
U_VALUE = Range(0.0, 100.0, "W/(m² K)")
VOLUME = Range(0.0, 1e7, "m³")
AIR_CHANGES = Range(0.0, 1000.0, "1/h")
FLUX = Range(0.0, 2000.0, "W/m²")
POWER = Range(0.0, 1e6, "W")


@checked(
    areas_m2=AREA,
    u_w_m2k=U_VALUE,
    t_in_c=Range(-90.0, 90.0, "°C"),
    t_out_c=Range(-90.0, 90.0, "°C"),
    volume_m3=VOLUME,
    air_changes_per_h=AIR_CHANGES,
)
def heat_loss_w(
    areas_m2: ArrayLike,
    u_w_m2k: ArrayLike,
    t_in_c: ArrayLike,
    t_out_c: ArrayLike,
    volume_m3: ArrayLike = 0.0,
    air_changes_per_h: ArrayLike = 0.0,
) -> FloatArray:
    """Give the heat that a shelter loses through its skin and with its air.

    Parameters
    ----------
    areas_m2 : float, or array_like of shape (..., face)
        Area of the skin, or of its faces, 0 to 1,000,000. The last axis is summed. [m²]
    u_w_m2k : array_like, broadcast with `areas_m2`
        U-value of every face, 0 to 100 (`U_VALUES`). [W/(m² K)]
    t_in_c, t_out_c : array_like, broadcast
        Temperature inside and outside, -90 to 90. [°C]
    volume_m3 : array_like, broadcast
        Volume of the air inside. [m³]
    air_changes_per_h : array_like, broadcast
        How often it is exchanged. [1/h]

    Returns
    -------
    ndarray, shape of the areas without their last axis, broadcast with the rest
        Heat to be supplied; negative if it is colder inside. [W]

    Raises
    ------
    ValueError
        If a value is outside its range. NaN gives NaN.

    Notes
    -----
    Σ A U (ti - to) + ρ c V n (ti - to)/3600 with the outside air's ρ c at sea level, 0.36 Wh/(m³ K) at 0 °C: the form
    of ANSI/ASAE EP406. The floor is left out; it usually helps.

    Examples
    --------
    >>> round(float(heat_loss_w([15.0, 10.0, 6.0], 6.5, 4.0, -4.0, 15.0, 2.0)))
    1700
    """
    skin = np.atleast_1d(np.asarray(areas_m2, dtype=np.float64) * np.asarray(u_w_m2k, dtype=np.float64)).sum(axis=-1)
    inside, outside = np.asarray(t_in_c, dtype=np.float64), np.asarray(t_out_c, dtype=np.float64)
    flow = np.asarray(volume_m3, dtype=np.float64) * np.asarray(air_changes_per_h, dtype=np.float64) / 3600.0
    return np.asarray((skin + volumetric_heat_capacity(outside) * flow) * (inside - outside))


@checked(
    cover_m2=AREA,
    floor_m2=AREA,
    u_w_m2k=U_VALUE,
    t_out_c=Range(-90.0, 90.0, "°C"),
    soil_flux_w_m2=FLUX,
    power_w=POWER,
    volume_m3=VOLUME,
    air_changes_per_h=AIR_CHANGES,
)
def steady_lift_k(
    cover_m2: ArrayLike,
    floor_m2: ArrayLike,
    u_w_m2k: ArrayLike,
    *,
    t_out_c: ArrayLike = 0.0,
    soil_flux_w_m2: ArrayLike = 0.0,
    power_w: ArrayLike = 0.0,
    volume_m3: ArrayLike = 0.0,
    air_changes_per_h: ArrayLike = 0.0,
) -> FloatArray:
    """Give how much warmer than outside the air under a cover becomes from soil and lamps alone.

    Parameters
    ----------
    cover_m2, floor_m2 : array_like, broadcast
        Area of the cover and of the ground it encloses, 0 to 1,000,000. [m²]
    u_w_m2k : array_like, broadcast
        U-value of the cover, 0 to 100. [W/(m² K)]
    t_out_c : array_like, broadcast
        Temperature outside, for the density of its air. [°C]
    soil_flux_w_m2 : array_like, broadcast
        Heat that the ground gives, 0 to 2000; usually 20-50 late at night. [W/m²]
    power_w : array_like, broadcast
        Lamps and heaters, 0 to 1,000,000. [W]
    volume_m3, air_changes_per_h : array_like, broadcast
        Air inside and how often it is exchanged. [m³], [1/h]

    Returns
    -------
    ndarray, broadcast shape
        (G Af + P)/(U Ac + ρ c V n/3600); NaN where nothing is lost. [K]

    Notes
    -----
    A cover tied round the trunk encloses no floor: without lamps its lift is zero.

    Examples
    --------
    >>> round(float(steady_lift_k(9.05, 4.52, 6.0, soil_flux_w_m2=30.0, volume_m3=3.62, air_changes_per_h=1.0)), 2)
    2.44
    """
    cover, floor, u = (np.asarray(value, dtype=np.float64) for value in (cover_m2, floor_m2, u_w_m2k))
    flow = np.asarray(volume_m3, dtype=np.float64) * np.asarray(air_changes_per_h, dtype=np.float64) / 3600.0
    lost = u * cover + volumetric_heat_capacity(t_out_c) * flow
    given = np.asarray(soil_flux_w_m2, dtype=np.float64) * floor + np.asarray(power_w, dtype=np.float64)
    return np.asarray(given / np.where(lost > 0.0, lost, np.nan))
