"""The march of all chill sums through the hours, compiled.

`march_portions` and `march_all` are compiled on first use and kept on disk. They hold no global lock, so that threads
can each march their own series, and never use Numba's own threads. Rows of the sums are those of
`plants.chill_tables.MODELS`; all constants come as arguments.
"""

from __future__ import annotations

from math import exp, isnan
from typing import Any

import numba

HOURS, HOURS_BELOW, UTAH, POSITIVE, LOW_CHILL, CAROLINA, PORTIONS = range(7)
ROWS = 7


@numba.njit(nogil=True, error_model="numpy")
def _units(t: float, bounds: Any, units: Any) -> float:
    """Units of an hour; a bound belongs to the class below."""
    place = 0
    for j in range(bounds.shape[0]):
        place += t > bounds[j]
    return float(units[place])


@numba.njit(nogil=True, error_model="numpy")
def _dynamic(t: float, before: float, c: Any) -> Any:
    """What an hour fixes of the intermediate, and what is left of it; c as `DynamicConstants`."""
    kelvin = t + c[6]
    settles_at = c[2] / c[3] * exp((c[1] - c[0]) / kelvin)
    x = settles_at - (settles_at - before) * exp(-c[3] * exp(-c[1] / kelvin))
    if x < 1.0:
        return 0.0, x
    power = exp(c[4] * c[5] * (kelvin - c[5]) / kelvin)
    share = power / (1.0 + power)
    return x * share, x * (1.0 - share)


@numba.njit(nogil=True, cache=True, error_model="numpy")
def march_portions(t_c: Any, constants: Any, intermediate: Any, portions: Any, skip: bool, out: Any) -> None:
    """March the Dynamic Model alone through all series; intermediate and portions are carried on in place."""
    for i in range(t_c.shape[0]):
        x, total = intermediate[i], portions[i]
        for h in range(t_c.shape[1]):
            if skip and isnan(t_c[i, h]):
                x = 0.0
            else:
                fixed, x = _dynamic(t_c[i, h], x, constants)
                total += fixed
            out[i, h] = total
        intermediate[i], portions[i] = x, total


@numba.njit(nogil=True, cache=True, error_model="numpy")
def march_all(
    t_c: Any, first: int, last: int, low: float, high: float, utah: Any, low_chill: Any, carolina: Any, constants: Any,
    intermediate: Any, sums: Any, skip: bool, out: Any,
) -> None:  # fmt: skip
    """March all sums of the series from `first` to before `last`; intermediate and sums are carried on in place."""
    for i in range(first, last):
        x = intermediate[i]
        s0, s1, s2, s3 = sums[HOURS, i], sums[HOURS_BELOW, i], sums[UTAH, i], sums[POSITIVE, i]
        s4, s5, s6 = sums[LOW_CHILL, i], sums[CAROLINA, i], sums[PORTIONS, i]
        for h in range(t_c.shape[1]):
            t = t_c[i, h]
            if isnan(t):
                if skip:
                    x = 0.0
                else:
                    x = s0 = s1 = s2 = s3 = s4 = s5 = s6 = t
            else:
                if t <= high:
                    s1 += 1.0
                    if t >= low:
                        s0 += 1.0
                units = _units(t, utah[0], utah[1])
                s2 += units
                s3 += max(units, 0.0)
                s4 += _units(t, low_chill[0], low_chill[1])
                s5 += _units(t, carolina[0], carolina[1])
                fixed, x = _dynamic(t, x, constants)
                s6 += fixed
            out[HOURS, i, h], out[HOURS_BELOW, i, h], out[UTAH, i, h], out[POSITIVE, i, h] = s0, s1, s2, s3
            out[LOW_CHILL, i, h], out[CAROLINA, i, h], out[PORTIONS, i, h] = s4, s5, s6
        intermediate[i] = x
        sums[HOURS, i], sums[HOURS_BELOW, i], sums[UTAH, i], sums[POSITIVE, i] = s0, s1, s2, s3
        sums[LOW_CHILL, i], sums[CAROLINA, i], sums[PORTIONS, i] = s4, s5, s6
