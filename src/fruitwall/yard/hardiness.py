"""Hardiness zones: how cold the coldest night of a year is on average."""

from __future__ import annotations

import math

LOWEST_F, HALF_ZONE_F = -60.0, 5.0
"""Lower bound of zone 1a, and width of half a zone (USDA Plant Hardiness Zone Map 2023). [°F]"""

HALF_ZONES = 26
"""1a to 13b."""

HALVES = "ab"


def hardiness_zone(mean_minimum_c: float) -> str:
    """Give the zone of a place.

    Parameters
    ----------
    mean_minimum_c : float
        Mean of the coldest temperatures of many years; the map takes 30. Half of the winters are colder. [°C]

    Returns
    -------
    str
        Such as ``9b``; a lower bound belongs to the warmer zone. Beyond 1a and 13b those two.

    Examples
    --------
    >>> hardiness_zone(-2.0)
    '9b'
    """
    if not math.isfinite(mean_minimum_c):
        raise ValueError(f"mean_minimum_c must be a temperature, got {mean_minimum_c!r}")
    above = round(mean_minimum_c * 1.8 + 32.0 - LOWEST_F, 9)  # so that 30 °F through °C is 30 °F still
    number = min(max(int(above // HALF_ZONE_F), 0), HALF_ZONES - 1)
    return f"{number // 2 + 1}{HALVES[number % 2]}"


def zone_bounds_c(zone: str) -> tuple[float, float]:
    """Give the lower and upper bound of half a zone. [°C]

    Raises
    ------
    ValueError
        If there is no such zone.
    """
    number, half = zone[:-1], zone[-1:]
    if not (number.isdecimal() and 1 <= int(number) <= HALF_ZONES // 2 and half in HALVES and half):
        raise ValueError(f'zone must be one of "1a" to "13b", got "{zone}"')
    low_f = LOWEST_F + HALF_ZONE_F * (2 * (int(number) - 1) + HALVES.index(half))
    return (low_f - 32.0) / 1.8, (low_f + HALF_ZONE_F - 32.0) / 1.8
