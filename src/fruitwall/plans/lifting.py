"""Who may lift what: the revised NIOSH lifting equation.

The equation gives a *recommended weight limit* for a posture and a pace; mass over limit is the *lifting index*.
It was made for a warm, dry, level place, both hands and a steady load. A frosty evening, wet grass and a freshly
watered pot break several of these conditions, so that here the limit is the most that could be right.

Sources: Waters, Putz-Anderson and Garg, *Applications manual for the revised NIOSH lifting equation*, US DHHS
(NIOSH) Publication 94-110 (1994, revised 2021); Waters et al. (1993), Ergonomics 36(7):749-776.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plans.loads import container_height_m, container_width_m

Coupling = Literal["good", "fair", "poor"]
Constants = Literal["metric", "us"]

LOAD_CONSTANT_KG = 23.0
LOAD_CONSTANT_LB = 51.0
KG_PER_LB = 0.45359237
CM_PER_IN = 2.54

# Table 5, p. 15: lifts a minute, then the multiplier for hands below and from 75 cm (30 in) upwards, for work of
# up to 1 h, 2 h and 8 h.
_FREQUENCY_ROWS = np.array(
    [
        [0.2, 1.00, 1.00, 0.95, 0.95, 0.85, 0.85],
        [0.5, 0.97, 0.97, 0.92, 0.92, 0.81, 0.81],
        [1, 0.94, 0.94, 0.88, 0.88, 0.75, 0.75],
        [2, 0.91, 0.91, 0.84, 0.84, 0.65, 0.65],
        [3, 0.88, 0.88, 0.79, 0.79, 0.55, 0.55],
        [4, 0.84, 0.84, 0.72, 0.72, 0.45, 0.45],
        [5, 0.80, 0.80, 0.60, 0.60, 0.35, 0.35],
        [6, 0.75, 0.75, 0.50, 0.50, 0.27, 0.27],
        [7, 0.70, 0.70, 0.42, 0.42, 0.22, 0.22],
        [8, 0.60, 0.60, 0.35, 0.35, 0.18, 0.18],
        [9, 0.52, 0.52, 0.30, 0.30, 0.00, 0.15],
        [10, 0.45, 0.45, 0.26, 0.26, 0.00, 0.13],
        [11, 0.41, 0.41, 0.00, 0.23, 0.00, 0.00],
        [12, 0.37, 0.37, 0.00, 0.21, 0.00, 0.00],
        [13, 0.00, 0.34, 0.00, 0.00, 0.00, 0.00],
        [14, 0.00, 0.31, 0.00, 0.00, 0.00, 0.00],
        [15, 0.00, 0.28, 0.00, 0.00, 0.00, 0.00],
    ]
)

# Table 7, p. 18: hands below, and from 75 cm (30 in) upwards.
_COUPLING: dict[str, tuple[float, float]] = {"good": (1.0, 1.0), "fair": (0.95, 1.0), "poor": (0.90, 0.90)}

EXCLUSIONS: dict[str, str] = {
    "one_handed": "lifting with one hand",
    "over_8_hours": "lifting for more than 8 hours",
    "seated_or_kneeling": "lifting while seated or kneeling",
    "restricted_space": "lifting in a space that restricts the posture",
    "unstable_load": "an unstable load, such as a part-filled or sloshing container",
    "carrying_or_pushing": "lifting while carrying, pushing or pulling",
    "wheelbarrow_or_shovel": "work with a wheelbarrow or shovel",
    "fast_motion": "lifting faster than about 76 cm/s",
    "slippery_floor": "a floor with a friction of less than 0.4",
    "unfavourable_air": "air outside 19-26 °C or 35-50 % humidity",
}
"""Situations for which the equation was not made (section 1.2, pp. 5-6)."""


@dataclass(frozen=True)
class Posture:
    """How a load is lifted: what the equation asks.

    Attributes
    ----------
    h_cm, v_cm, d_cm : float
        Hands in front of the ankles, above the floor, and their vertical travel. [cm]
    a_deg : float
        Twist. [°]
    f_per_min, duration_h : float
        Lifts a minute and for how long. [1/min, h]
    coupling : "good", "fair" or "poor"
        How well the hands hold it.
    """

    h_cm: float
    v_cm: float
    d_cm: float
    a_deg: float
    f_per_min: float
    duration_h: float
    coupling: Coupling


@dataclass(frozen=True)
class Multipliers:
    """The factors of the equation, each 0-1; arrays of the broadcast shape of the arguments."""

    horizontal: NDArray[np.float64]
    vertical: NDArray[np.float64]
    distance: NDArray[np.float64]
    asymmetry: NDArray[np.float64]
    frequency: NDArray[np.float64]
    coupling: NDArray[np.float64]

    @property
    def product(self) -> NDArray[np.float64]:
        """All of them multiplied."""
        return self.horizontal * self.vertical * self.distance * self.asymmetry * self.frequency * self.coupling


def multipliers(
    h_cm: ArrayLike,
    v_cm: ArrayLike,
    d_cm: ArrayLike,
    a_deg: ArrayLike,
    f_per_min: ArrayLike,
    duration_h: ArrayLike,
    coupling: Coupling,
    *,
    v_origin_cm: ArrayLike | None = None,
    constants: Constants = "metric",
) -> Multipliers:
    """Give the six multipliers of the lifting equation.

    Parameters and errors are those of `recommended_weight_limit`. A posture beyond the reach of the equation gives
    a multiplier of 0.
    """
    if constants not in ("metric", "us"):
        raise ValueError(f'constants must be "metric" or "us", got {constants!r}')
    if coupling not in _COUPLING:
        raise ValueError(f'coupling must be "good", "fair" or "poor", got {coupling!r}')
    h = ranged("h_cm", h_cm, 0.0, 300.0)
    v = ranged("v_cm", v_cm, 0.0, 300.0)
    d = ranged("d_cm", d_cm, 0.0, 300.0)
    a = ranged("a_deg", a_deg, 0.0, 180.0)
    v_origin = v if v_origin_cm is None else ranged("v_origin_cm", v_origin_cm, 0.0, 300.0)
    # The two sets of constants are not exact conversions of each other (manual p. 7-11).
    unit = 1.0 if constants == "metric" else CM_PER_IN
    reach_min, reach_max, v_mid, v_max, d_max, v_slope, d_const = (
        (25.0, 63.0, 75.0, 175.0, 175.0, 0.003, 4.5) if unit == 1.0 else (10.0, 25.0, 30.0, 70.0, 70.0, 0.0075, 1.8)
    )
    h, v, d, v_origin = h / unit, v / unit, d / unit, v_origin / unit
    # Conversions such as 25 in = 63.5 cm must not fall off the edge by a rounding error.
    edge = 1e-9
    with np.errstate(invalid="ignore"):
        horizontal = np.where(h > reach_max + edge, 0.0, reach_min / np.maximum(h, reach_min))
        vertical = np.where(v > v_max + edge, 0.0, 1.0 - v_slope * np.abs(v - v_mid))
        distance = np.where(d > d_max + edge, 0.0, 0.82 + d_const / np.maximum(d, reach_min))
        asymmetry = np.where(a > 135.0 + edge, 0.0, 1.0 - 0.0032 * a)
        below, above = _COUPLING[coupling]
        grip = np.where(np.isnan(v), np.nan, np.where(v < v_mid - edge, below, above))
    frequency = frequency_multiplier(f_per_min, duration_h, v_origin * unit, constants=constants)
    shape = np.broadcast_shapes(*(x.shape for x in (horizontal, vertical, distance, asymmetry, frequency, grip)))
    return Multipliers(
        *(np.broadcast_to(x, shape) for x in (horizontal, vertical, distance, asymmetry, frequency, grip))
    )


def frequency_multiplier(
    f_per_min: ArrayLike, duration_h: ArrayLike, v_cm: ArrayLike, *, constants: Constants = "metric"
) -> NDArray[np.float64]:
    """Give the frequency multiplier (Table 5 of the manual).

    Parameters
    ----------
    f_per_min : array_like
        Lifts a minute, 0 or more; fewer than 0.2 count as 0.2, more than 15 give 0.
    duration_h : array_like
        Hours of lifting, above 0 to 8; up to 1, up to 2, up to 8 are the classes. [h]
    v_cm : array_like
        Height of the hands at the origin, 0 to 300. [cm]
    constants : "metric" or "us"
        Whether the columns part at 75 cm or at 30 in.

    Returns
    -------
    ndarray, broadcast shape
        0-1. Between rows linear; above the last row that is not zero it is zero, the safe reading of a step which
        the manual leaves open. NaN gives NaN.

    Raises
    ------
    ValueError
        If an argument is outside its range.
    """
    f = ranged("f_per_min", f_per_min, 0.0, 1000.0)
    hours = ranged("duration_h", duration_h, 0.0, 8.0, open_low=True)
    v = ranged("v_cm", v_cm, 0.0, 300.0)
    high = v >= (75.0 if constants == "metric" else 30.0 * CM_PER_IN) - 1e-9
    klass = np.where(hours <= 1.0, 0, np.where(hours <= 2.0, 1, 2))
    f, klass, high, hours = np.broadcast_arrays(f, klass, high, hours)
    result = np.full(f.shape, np.nan)
    for column in range(6):
        values = _FREQUENCY_ROWS[:, 1 + column]
        last = _FREQUENCY_ROWS[np.flatnonzero(values)[-1], 0]
        here = (klass * 2 + high) == column
        fm = np.where(f > last, 0.0, np.interp(f, _FREQUENCY_ROWS[:, 0], values))
        result = np.where(here, fm, result)
    return np.where(np.isnan(f) | np.isnan(hours) | np.isnan(v), np.nan, result)


def recommended_weight_limit(
    h_cm: ArrayLike,
    v_cm: ArrayLike,
    d_cm: ArrayLike,
    a_deg: ArrayLike,
    f_per_min: ArrayLike,
    duration_h: ArrayLike,
    coupling: Coupling,
    *,
    v_origin_cm: ArrayLike | None = None,
    constants: Constants = "metric",
    situation: Collection[str] = (),
) -> NDArray[np.float64]:
    """Give the mass that nearly all healthy workers may lift in that posture.

    Parameters
    ----------
    h_cm, v_cm, d_cm : array_like
        Hands in front of the ankles, above the floor, and their vertical travel, 0 to 300. Below 25 cm the reach
        and the travel count as 25 cm. [cm]
    a_deg : array_like
        Twist, 0 to 180. [°]
    f_per_min : array_like
        Lifts a minute; below 0.2 counts as 0.2.
    duration_h : array_like
        Hours of such work, above 0 to 8. [h]
    coupling : "good", "fair" or "poor"
        How well the hands hold the load.
    v_origin_cm : array_like, optional
        Height of the hands where the lift starts, if the limit is asked for its end; it chooses the column of the
        frequency table. [cm]
    constants : "metric" or "us"
        The manual prints two sets that are not exact conversions; "us" gives limits about 2 to 3.5 % higher.
    situation : collection of str
        Keys of `EXCLUSIONS` that hold; any of them is refused.

    Returns
    -------
    ndarray, broadcast shape
        Recommended weight limit; 0 where the posture is beyond the equation (hands further than 63 cm, higher than
        175 cm, travel above 175 cm, twist beyond 135°, pace beyond the table). NaN gives NaN. [kg]

    Raises
    ------
    ValueError
        If an argument is outside its range or the situation is one for which the equation was not made.

    References
    ----------
    .. [1] Waters, T. R., Putz-Anderson, V. and Garg, A. (1994, revised 2021). Applications manual for the revised
       NIOSH lifting equation. US DHHS (NIOSH) Publication 94-110.

    Examples
    --------
    >>> round(float(recommended_weight_limit(25, 55, 95, 0, 3, 0.75, "fair")), 1)
    15.7
    """
    for key in situation:
        if key not in EXCLUSIONS:
            raise ValueError(f"situation must be among {', '.join(EXCLUSIONS)}, got {key!r}")
        raise ValueError(f"situation must be within the scope of the lifting equation, got {EXCLUSIONS[key]}")
    factors = multipliers(
        h_cm, v_cm, d_cm, a_deg, f_per_min, duration_h, coupling, v_origin_cm=v_origin_cm, constants=constants
    )
    load = LOAD_CONSTANT_KG if constants == "metric" else LOAD_CONSTANT_LB * KG_PER_LB
    return load * factors.product


def lifting_index(
    mass_kg: ArrayLike,
    h_cm: ArrayLike,
    v_cm: ArrayLike,
    d_cm: ArrayLike,
    a_deg: ArrayLike,
    f_per_min: ArrayLike,
    duration_h: ArrayLike,
    coupling: Coupling,
    *,
    v_origin_cm: ArrayLike | None = None,
    constants: Constants = "metric",
) -> NDArray[np.float64]:
    """Give the mass over the recommended weight limit.

    Parameters
    ----------
    mass_kg : array_like
        Load, 0 or more. [kg]
    h_cm, v_cm, d_cm, a_deg, f_per_min, duration_h, coupling, v_origin_cm, constants
        As in `recommended_weight_limit`.

    Returns
    -------
    ndarray, broadcast shape
        Above 1: raised risk of back trouble for some; above 3: for nearly all, some experts expect.

    Raises
    ------
    ValueError
        If an argument is outside its range, or the limit is 0, for which the index is undefined.
    """
    mass = ranged("mass_kg", mass_kg, 0.0, 5000.0)
    limit = recommended_weight_limit(
        h_cm, v_cm, d_cm, a_deg, f_per_min, duration_h, coupling, v_origin_cm=v_origin_cm, constants=constants
    )
    if np.any(limit == 0.0):
        raise ValueError(
            "the lifting index is undefined: the recommended weight limit is 0, "
            "because the posture or pace is beyond the equation"
        )
    return mass / limit


def horizontal_distance_cm(width_cm: float, v_cm: float) -> float:
    """Estimate how far in front of the ankles a container is held, from its width (section 1.3.1.1 of the manual).

    Parameters
    ----------
    width_cm : float
        Width of the container, above 0 to 200. [cm]
    v_cm : float
        Height of the hands, 0 to 300. [cm]

    Returns
    -------
    float
        Half the width and 20 cm, or 25 cm if the hands are below 25 cm. [cm]

    Raises
    ------
    ValueError
        If an argument is outside its range.
    """
    width = float(ranged("width_cm", width_cm, 0.0, 200.0, open_low=True))
    v = float(ranged("v_cm", v_cm, 0.0, 300.0))
    return (20.0 if v >= 25.0 else 25.0) + width / 2.0


def container_posture(volume_l: float, *, handles: bool = False) -> Posture:
    """Give the posture assumed for lifting a container by its rim onto a trolley deck or bench.

    Grip at the height of the rim, travel 60 cm, no twist, rarely, within an hour. With handles the coupling is
    good; without, fair for pots up to 40 cm wide and poor for wider ones, whose front is too bulky (notes to Table 6
    of the manual). The travel and the grip at the rim are `common practice, no source`.

    Parameters
    ----------
    volume_l : float
        Volume of the container, above 0 to 2000. [L]
    handles : bool
        It has handles.

    Returns
    -------
    Posture
    """
    width = container_width_m(volume_l) * 100.0
    rim = container_height_m(volume_l) * 100.0
    coupling: Coupling = "good" if handles else "fair" if width <= 40.0 else "poor"
    return Posture(
        h_cm=horizontal_distance_cm(width, rim),
        v_cm=rim,
        d_cm=60.0,
        a_deg=0.0,
        f_per_min=0.2,
        duration_h=1.0,
        coupling=coupling,
    )


def posture_limit_kg(posture: Posture) -> float:
    """Give the recommended weight limit of a posture, 0 if it is beyond the equation. [kg]"""
    return float(
        recommended_weight_limit(
            posture.h_cm,
            posture.v_cm,
            posture.d_cm,
            posture.a_deg,
            posture.f_per_min,
            posture.duration_h,
            posture.coupling,
        )
    )


def ranged(name: str, value: ArrayLike, low: float, high: float, *, open_low: bool = False) -> NDArray[np.float64]:
    """Give the value as an array, refusing what is outside its range; NaN passes."""
    array = np.asarray(value, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        bad = (array <= low if open_low else array < low) | (array > high)
    if np.any(bad):
        words = f"greater than {low:g}" if open_low else f"{low:g} or more"
        raise ValueError(f"{name} must be {words} and at most {high:g}, got {array[bad].ravel()[0]:g}")
    return array
