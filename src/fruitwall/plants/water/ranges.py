"""Which values the arguments of this package may take."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

LIMITS: dict[str, tuple[float, float, str]] = {
    "t_c": (-90.0, 90.0, "°C"),
    "t_min_c": (-90.0, 90.0, "°C"),
    "t_max_c": (-90.0, 90.0, "°C"),
    "t_dew_c": (-90.0, 90.0, "°C"),
    "ea_kpa": (0.0, 75.0, "kPa"),
    "p_kpa": (30.0, 120.0, "kPa"),
    "rh_pct": (0.0, 100.0, "%"),
    "rh_min_pct": (0.0, 100.0, "%"),
    "rh_max_pct": (0.0, 100.0, "%"),
    "rh_mean_pct": (0.0, 100.0, "%"),
    "wind_m_s": (0.0, 120.0, "m/s"),
    "wind_2m_m_s": (0.0, 120.0, "m/s"),
    "shortwave_w_m2": (0.0, 1500.0, "W/m²"),
    "open_shortwave_w_m2": (0.0, 1500.0, "W/m²"),
    "shortwave_mj_m2": (0.0, 60.0, "MJ/m²"),
    "open_shortwave_mj_m2": (0.0, 60.0, "MJ/m²"),
    "ra_mj_m2": (0.0, 60.0, "MJ/m²"),
    "sunshine_h": (0.0, 24.0, "h"),
    "latitude_deg": (-90.0, 90.0, "degrees"),
    "longitude_deg": (-180.0, 180.0, "degrees"),
    "elevation_m": (-500.0, 9000.0, "m"),
    "day_of_year": (1.0, 366.0, ""),
    "cloud": (0.0, 1.0, ""),
    "depletion_p": (0.01, 0.99, ""),
    "root_depth_m": (0.01, 10.0, "m"),
    "volume_l": (0.01, 10_000.0, "L"),
    "area_m2": (1e-4, 10_000.0, "m²"),
    "height_m": (0.0, 60.0, "m"),
    "step_h": (1e-3, 744.0, "h"),
    "ec_water_ds_m": (0.0, 60.0, "dS/m"),
    "ec_soil_ds_m": (0.0, 100.0, "dS/m"),
    "ec_threshold_ds_m": (0.01, 60.0, "dS/m"),
    "leaf_area_index": (0.0, 20.0, ""),
    "leaf_area_m2": (0.0, 5000.0, "m²"),
    "crown_diameter_m": (0.0, 60.0, "m"),
    "share": (0.0, 1.0, ""),
    "amount": (0.0, 1e7, ""),
    "albedo": (0.0, 1.0, ""),
}
"""Lowest and highest value and the unit, by the name of the argument."""


def numbers(name: str, value: ArrayLike, kind: str | None = None) -> FloatArray:
    """Give numbers as an array after a look at their range; NaN passes.

    Parameters
    ----------
    name : str
        Argument as the caller knows it.
    value : array_like
    kind : str, optional
        Row of `LIMITS`; the name itself if left out.

    Returns
    -------
    ndarray of float

    Raises
    ------
    ValueError
        Naming the argument, its range and the first value outside.
    """
    low, high, unit = LIMITS[kind or name]
    tail = f" {unit}" if unit else ""
    try:
        values = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise ValueError(f"{name} must be numbers from {low:g} to {high:g}{tail}, got {value!r}") from None
    refused = (values < low) | (values > high)
    if refused.any():
        first = float(values[refused].flat[0]) if values.ndim else float(values)
        raise ValueError(f"{name} must be at least {low:g} and at most {high:g}{tail}, got {first!r}")
    return values


def number(name: str, value: float, kind: str | None = None) -> float:
    """Give one number after the same look; NaN is refused."""
    one = float(numbers(name, value, kind))
    if np.isnan(one):
        raise ValueError(f"{name} must be a number, got nan")
    return one
