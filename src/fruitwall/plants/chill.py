"""How much winter rest has a tree had, and how much warmth since?

Sums over hourly temperatures of the air, as the requirements of cultivars were worked out with. Every function gives
the sum up to and with each hour. An hour that is not known (NaN) makes the sum unknown from there on; what is to be
said of a winter with holes is `plants.chill_sums`' task. Equations: docs/season-chill.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.day_curve import LONGEST_DAY_H, SHORTEST_DAY_H, linvill
from fruitwall.plants.chill_tables import DYNAMIC, HIGH_C, LOW_C, LOW_CHILL, NORTH_CAROLINA, UTAH, Classes

Array = NDArray[np.float64]

COLDEST_C, HOTTEST_C = -90.0, 65.0
"""Air on earth: the coldest and hottest that were ever measured (World Meteorological Organization, archive of weather
and climate extremes: -89.2 and 56.7 °C), with room for thermometers in the sun. [°C]"""

BASE_C, BEST_C, MOST_C = 4.0, 25.0, 36.0
"""No growth at and below the first, fastest at the second, none at and above the third. Anderson, Richardson & Kesner
(1986), Acta Hortic. 184, 71-78. [°C]"""

LINEAR_BASE_C, LINEAR_MOST_C = 4.5, 25.0
"""Growth rises in proportion between these and stays as it is above. Richardson et al. (1975). [°C]"""

SUNRISE_DEG = -0.833
"""Height of the sun's centre at rise and set: refraction and half the disc. [degree]"""


@dataclass(frozen=True, eq=False)
class DynamicState:
    """Where the Dynamic Model stands after some hours: all that the hours to come need to know of them.

    Attributes
    ----------
    intermediate : ndarray (...)
        Of the product that warmth breaks down again; 0 is none, from 1 on it is fixed for good as a portion.
    portions : ndarray (...)
        Fixed so far.
    """

    intermediate: Array
    portions: Array


def chilling_hours(t_c: ArrayLike, low_c: float = LOW_C, high_c: float = HIGH_C) -> Array:
    """Count hours within a range of temperature.

    Parameters
    ----------
    t_c : array_like (..., hour)
        Air temperature, mean of the hour. [°C]
    low_c, high_c : float
        Bounds; both belong to the range. `low_c` of minus infinity counts all hours at or below `high_c`, which is what
        the University of Florida and the University of California count. 7.2 is 45 °F rounded: temperatures that
        were read in whole °F and turned into °C need 7.23. [°C]

    Returns
    -------
    ndarray (..., hour)
        Hours so far. [h]

    Raises
    ------
    ValueError
        If a temperature lies outside of -90 to 65 °C, or `low_c` above `high_c`.
    """
    t = _checked(t_c)
    if not low_c <= high_c:
        raise ValueError(f"low_c must not exceed high_c, got {low_c:g} and {high_c:g}")
    return _summed(np.where(np.isnan(t), np.nan, (t >= low_c) & (t <= high_c)))


def utah_units(t_c: ArrayLike, positive: bool = False) -> Array:
    """Sum Utah chill units; warm hours take away.

    Parameters
    ----------
    t_c : array_like (..., hour)
        Air temperature, mean of the hour. [°C]
    positive : bool
        Warm hours count nothing instead of less than nothing: positive units by the hour, after Linsley-Noakes & Allan
        (1994), Sci. Hortic. 59, 107-113. (Another form sets whole days to zero; it gives less.)

    Returns
    -------
    ndarray (..., hour)
        Units so far.

    Raises
    ------
    ValueError
        If a temperature lies outside of -90 to 65 °C.
    """
    return _by_classes(t_c, UTAH, positive)


def low_chill_units(t_c: ArrayLike) -> Array:
    """Sum units of the low-chill model, made for a nectarine of warm winters; see `chill_tables.LOW_CHILL`."""
    return _by_classes(t_c, LOW_CHILL)


def north_carolina_units(t_c: ArrayLike) -> Array:
    """Sum North Carolina units, made for an apple. WEAK: implementations differ; see `chill_tables.NORTH_CAROLINA`."""
    return _by_classes(t_c, NORTH_CAROLINA)


def chill_portions(
    t_c: ArrayLike, state: DynamicState | None = None, *, missing: Literal["nan", "empty"] = "nan"
) -> Array:
    """Sum chill portions by the Dynamic Model.

    Parameters
    ----------
    t_c : array_like (..., hour)
        Air temperature, mean of the hour. [°C]
    state : DynamicState, optional
        Where the hours before left off (`carry_portions`); else none and nothing fixed yet.
    missing : str
        What an hour that is not known does: ``nan`` makes the sum unknown from there on; ``empty`` adds nothing and
        loses the intermediate.

    Returns
    -------
    ndarray (..., hour)
        Portions so far. Hours marched in pieces give the same as in one, bit for bit.

    Raises
    ------
    ValueError
        If a temperature lies outside of -90 to 65 °C, or the state has another shape than the series.
    """
    return carry_portions(t_c, state, missing=missing)[0]


def carry_portions(
    t_c: ArrayLike, state: DynamicState | None = None, *, missing: Literal["nan", "empty"] = "nan"
) -> tuple[Array, DynamicState]:
    """Sum chill portions, and give where that left off.

    Parameters
    ----------
    t_c, state, missing
        As for `chill_portions`.

    Returns
    -------
    portions : ndarray (..., hour)
    state : DynamicState
        After the last hour, for the next piece.

    Raises
    ------
    ValueError
        As for `chill_portions`.

    Notes
    -----
    In each hour at the temperature T [K] the intermediate x nears its equilibrium, and once it is full a share of it is
    fixed [1]_ [2]_::

        xs = A0/A1 exp((E1 - E0)/T),   k1 = A1 exp(-E1/T)
        x  = xs - (xs - x) exp(-k1)
        if x >= 1: portions += xi x,  x = (1 - xi) x,   xi = 1 / (1 + exp(-slope Tf (T - Tf)/T))

    References
    ----------
    .. [1] Fishman, S., Erez, A. & Couvillon, G. A. (1987). J. Theor. Biol. 124, 473-483 and 126, 309-321.
    .. [2] Luedeling, E. et al. (2009). Agric. Ecosyst. Environ. 133, 23-31.
    """
    from fruitwall.plants.chill_kernel import march_portions  # numba takes a fifth of a second to load

    if missing not in ("nan", "empty"):
        raise ValueError(f'missing must be "nan" or "empty", got {missing!r}')
    t = _checked(t_c)
    series = t.reshape(int(np.prod(t.shape[:-1])), t.shape[-1])  # also of no hours
    intermediate, portions = np.zeros(len(series)), np.zeros(len(series))
    if state is not None:
        for name, held, into in (
            ("intermediate", state.intermediate, intermediate),
            ("portions", state.portions, portions),
        ):
            if np.shape(held) != t.shape[:-1]:
                raise ValueError(f"state.{name} must have the shape {t.shape[:-1]} of the series, got {np.shape(held)}")
            into[:] = np.ravel(held)
    out = np.empty(series.shape)
    march_portions(np.ascontiguousarray(series), np.array(DYNAMIC), intermediate, portions, missing == "empty", out)
    left = DynamicState(intermediate.reshape(t.shape[:-1]), portions.reshape(t.shape[:-1]))
    return out.reshape(t.shape), left


def growing_degree_hours(t_c: ArrayLike, form: Literal["anderson", "linear"] = "anderson") -> Array:
    """Sum the warmth that brings on bud break and bloom once a tree has rested.

    Parameters
    ----------
    t_c : array_like (..., hour)
        Air temperature, mean of the hour. [°C]
    form : str
        ``anderson``: two pieces of a cosine with base 4, best 25 and critical temperature 36 °C [1]_. At 25 °C both
        give 21, but the upper one falls at once. ``linear``: T - 4.5 from 4.5 to 25 °C, 20.5 above, after Richardson
        et al. (1975).

    Returns
    -------
    ndarray (..., hour)
        Growing degree hours so far. [K h]

    Raises
    ------
    ValueError
        If a temperature lies outside of -90 to 65 °C, or the form is another.

    References
    ----------
    .. [1] Anderson, J. L., Richardson, E. A. & Kesner, C. D. (1986). Acta Hortic. 184, 71-78.
    """
    t = _checked(t_c)
    if form == "linear":
        return _summed(np.clip(t, LINEAR_BASE_C, LINEAR_MOST_C) - LINEAR_BASE_C)
    if form != "anderson":
        raise ValueError(f'form must be "anderson" or "linear", got {form!r}')
    height = BEST_C - BASE_C
    rising = 0.5 * height * (1.0 - np.cos(np.pi * (np.clip(t, BASE_C, BEST_C) - BASE_C) / height))
    falling = height * (1.0 - np.sin(0.5 * np.pi * (np.clip(t, BEST_C, MOST_C) - BEST_C) / (MOST_C - BEST_C)))
    return _summed(np.where(t <= BEST_C, rising, falling))


def day_length(latitude_deg: ArrayLike, day_of_year: ArrayLike) -> Array:
    """Give the hours from sunrise to sunset.

    Parameters
    ----------
    latitude_deg : array_like
        North positive. [degree]
    day_of_year : array_like
        1 to 366.

    Returns
    -------
    ndarray
        From 0 in the polar night to 24, by broadcasting. [h] Sunrise is half of it before solar noon.

    Raises
    ------
    ValueError
        If a latitude lies outside of -90 to 90, or a day outside of 1 to 366.

    Notes
    -----
    Declination by Spencer's series [1]_, the sun's centre at -0.833° at rise and set.

    References
    ----------
    .. [1] Spencer, J. W. (1971). Fourier series representation of the position of the sun. Search 2(5), 172.
    """
    latitude = np.radians(_within("latitude_deg", latitude_deg, -90.0, 90.0))
    turn = 2.0 * np.pi * (_within("day_of_year", day_of_year, 1.0, 366.0) - 1.0) / 365.0
    declination = (
        0.006918 - 0.399912 * np.cos(turn) + 0.070257 * np.sin(turn) - 0.006758 * np.cos(2 * turn)
        + 0.000907 * np.sin(2 * turn) - 0.002697 * np.cos(3 * turn) + 0.00148 * np.sin(3 * turn)
    )  # fmt: skip
    above = np.sin(np.radians(SUNRISE_DEG)) - np.sin(latitude) * np.sin(declination)
    across = np.maximum(np.cos(latitude) * np.cos(declination), 1e-9)
    return np.asarray(np.degrees(np.arccos(np.clip(above / across, -1.0, 1.0))) / 7.5)


def hourly_from_daily(t_min_c: ArrayLike, t_max_c: ArrayLike, latitude_deg: float, day_of_year: ArrayLike) -> Array:
    """Turn days of lowest and highest temperature into hours, by Linvill's curve.

    Parameters
    ----------
    t_min_c, t_max_c : array_like (day,)
        Lowest temperature of each day, reached at sunrise, and highest, two hours after solar noon. [°C]
    latitude_deg : float
        North positive. [degree]
    day_of_year : array_like (day,)
        1 to 366; consecutive days.

    Returns
    -------
    ndarray (day * 24,)
        Temperature at 0, 1 … 23 o'clock of each day by the sun (noon when it stands highest). [°C] Before the first
        sunrise the curve of the evening before is taken as that of the first day; after the last sunset the last
        lowest temperature comes again. A day of which either is NaN is unknown, with the night after the day before.

    Raises
    ------
    ValueError
        If lengths differ, a lowest temperature exceeds its highest, days are not consecutive, or a value lies outside
        of its range.

    References
    ----------
    .. [1] Linvill, D. E. (1990). Calculating chilling hours and chill units from daily maximum and minimum temperature
       observations. HortScience 25, 14-16.
    """
    low, high = (np.atleast_1d(_checked(given, name)) for given, name in ((t_min_c, "t_min_c"), (t_max_c, "t_max_c")))
    days = np.atleast_1d(_within("day_of_year", day_of_year, 1.0, 366.0))
    if low.ndim != 1 or not low.shape == high.shape == days.shape:
        raise ValueError(
            "t_min_c, t_max_c and day_of_year must be as long as each other, "
            f"got {low.shape}, {high.shape}, {days.shape}"
        )
    if (low > high).any():
        wrong = int((low > high).argmax())
        raise ValueError(f"t_min_c must not exceed t_max_c, got {low[wrong]:g} and {high[wrong]:g} for day {wrong}")
    onward = np.diff(days)
    if not np.all((onward == 1) | ((days[1:] == 1) & (days[:-1] >= 365))):
        raise ValueError("day_of_year must be consecutive days, 1 after 365 or 366")
    # A day before the first and one after the last, as the first and the last.
    low, high = (np.concatenate([one[:1], one, one[-1:]]) for one in (low, high))
    lengths = np.clip(day_length(latitude_deg, days), SHORTEST_DAY_H, LONGEST_DAY_H)
    lengths = np.concatenate([lengths[:1], lengths, lengths[-1:]])
    rises = 12.0 - lengths / 2.0 + 24.0 * (np.arange(lengths.size) - 1)
    hours = np.arange(24.0 * days.size)
    day = np.searchsorted(rises, hours, side="right") - 1
    night_h = rises[day + 1] - rises[day] - lengths[day]
    return linvill(hours - rises[day], lengths[day], night_h, low[day], high[day], low[day + 1])


def _by_classes(t_c: ArrayLike, classes: Classes, positive: bool = False) -> Array:
    t = _checked(t_c)
    units = classes.units[np.searchsorted(classes.bounds_c, t, side="left")]
    return _summed(np.where(np.isnan(t), np.nan, np.maximum(units, 0.0) if positive else units))


def _summed(each: Array) -> Array:
    return np.asarray(np.cumsum(each, axis=-1), dtype=np.float64)


def _checked(t_c: ArrayLike, name: str = "t_c") -> Array:
    """Give temperatures as a series, or refuse them."""
    return np.atleast_1d(_within(name, t_c, COLDEST_C, HOTTEST_C))


def _within(name: str, value: ArrayLike, low: float, high: float) -> Array:
    given = np.asarray(value, dtype=np.float64)
    if (outside := (given < low) | (given > high)).any():
        wrong = float(given[outside].flat[0])
        raise ValueError(f"{name} must lie within {low:g} to {high:g}, got {wrong:g}")
    return given
