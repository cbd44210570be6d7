"""How much of its surroundings a small surface sees: view factors in closed form.

The shares of a yard's spots are found by casting rays (`physics.spot`); the formulas here serve simple cases and
judge the rays. All are for diffuse surfaces. A *level* surface weighs a direction with the cosine of its angle from
the zenith; a small sphere (a fruit) weighs all directions alike. Both are offered where they differ: mixing them is
an error of 0.75 against 0.50 under a horizon of 30°.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.checked import Range, checked

FloatArray = NDArray[np.float64]

LENGTH = Range(0.0, float("inf"), "m", low_open=True)
"""A length that may be endless."""

SIZE = Range(0.0, 1e6, "m", low_open=True)
"""A length that ends."""

FROM_ZERO = Range(0.0, 1e6, "m")
"""A length that may be nothing."""


@checked(azimuths_deg=Range(-360.0, 720.0, "degrees"), horizon_deg=Range(0.0, 90.0, "degrees"))
def sky_view(
    azimuths_deg: ArrayLike, horizon_deg: ArrayLike, *, receiver: Literal["level", "sphere"] = "level"
) -> FloatArray:
    """Give the share of sky above a horizon line.

    Parameters
    ----------
    azimuths_deg : array_like, shape (direction,)
        Directions in which the horizon was taken, in any order, clockwise from north; one given twice is a step.
        [degrees]
    horizon_deg : array_like, shape (..., direction)
        Height of the horizon in these directions, 0 to 90; straight lines between neighbours, closing the circle.
        [degrees]
    receiver : {"level", "sphere"}
        A level surface (cosine-weighted) or a small sphere (plain share of the upper half).

    Returns
    -------
    ndarray, shape (...)
        Share of sky, 0 to 1; for the sphere the share of its upper half, so that open ground gives 1. [-]

    Raises
    ------
    ValueError
        If a value is outside its range, no direction is given, or the shapes do not fit.
        NaN in a horizon gives NaN.

    Notes
    -----
    Level: (1/2π) ∫ cos² h dφ; sphere: (1/2π) ∫ (1 - sin h) dφ. Both are exact for the straight pieces.

    Examples
    --------
    >>> [round(float(sky_view([0.0, 90.0, 180.0, 270.0], [30.0] * 4, receiver=who)), 3) for who in ("level", "sphere")]
    [0.75, 0.5]
    """
    if receiver not in ("level", "sphere"):
        raise ValueError(f"receiver must be level or sphere, got {receiver!r}")
    directions = np.atleast_1d(np.asarray(azimuths_deg, dtype=np.float64)) % 360.0
    horizon = np.radians(np.asarray(horizon_deg, dtype=np.float64))
    if horizon.ndim == 0:
        horizon = np.broadcast_to(horizon, directions.shape)
    if directions.ndim != 1 or directions.size == 0 or horizon.shape[-1] != directions.size:
        raise ValueError(
            f"horizon_deg must have one height per direction along its last axis, "
            f"got shape {horizon.shape} for {directions.size} azimuths_deg"
        )
    order = np.argsort(directions, kind="stable")
    directions, start = directions[order], horizon[..., order]
    width = np.diff(directions, append=directions[0] + 360.0) / 360.0
    end = np.roll(start, -1, axis=-1)
    middle, half = 0.5 * (start + end), 0.5 * (end - start)
    # Mean over a straight piece: of cos(2h) is cos(2m) sin(2d)/(2d), of sin h is sin(m) sin(d)/d.
    if receiver == "level":
        mean = 0.5 * (1.0 + np.cos(2.0 * middle) * np.sinc(2.0 * half / np.pi))
    else:
        mean = 1.0 - np.sin(middle) * np.sinc(half / np.pi)
    return np.asarray((mean * width).sum(axis=-1))


@checked(distance_m=SIZE, height_m=SIZE, length_m=LENGTH)
def wall_view(
    distance_m: ArrayLike,
    height_m: ArrayLike,
    length_m: ArrayLike = np.inf,
    *,
    receiver: Literal["level", "facing"] = "level",
) -> FloatArray:
    """Give the share of a wall in what a small surface at the level of its foot sees.

    Parameters
    ----------
    distance_m : array_like, broadcast
        Distance from the wall, greater than 0, in front of its middle. [m]
    height_m : array_like, broadcast
        Height of the wall above the surface, greater than 0. [m]
    length_m : array_like, broadcast
        Length of the wall, greater than 0; endless by default. [m]
    receiver : {"level", "facing"}
        A horizontal surface looking up (share of its upper half), or a vertical one parallel to the wall that faces
        it (share of the half space before it, of which the wall is the upper part).

    Returns
    -------
    ndarray, broadcast shape
        View factor, 0 to 0.5. [-]

    Raises
    ------
    ValueError
        If a length is outside its range. NaN gives NaN.

    Notes
    -----
    Two quarter walls side by side; configurations B-4 (level) and B-3 (facing) of [1]_ (labels from memory).
    Endless: (1 - cos h)/2 level and sin(h)/2 facing, h the elevation of the top.

    References
    ----------
    .. [1] Howell, J. R. A Catalog of Radiation Heat Transfer Configuration Factors. University of Texas, Austin.

    Examples
    --------
    >>> round(float(wall_view(1.0, 3.0)), 4), round(float(wall_view(1.5, 3.0, 8.0)), 5)
    (0.3419, 0.26153)
    """
    if receiver not in ("level", "facing"):
        raise ValueError(f"receiver must be level or facing, got {receiver!r}")
    distance, height, length = (np.asarray(value, dtype=np.float64) for value in (distance_m, height_m, length_m))
    half = 0.5 * length
    if receiver == "facing":
        return np.asarray(2.0 * _corner_overhead(height, half, distance))
    slant = np.hypot(height, distance)
    quarter = np.arctan(half / distance) - distance / slant * np.arctan(half / slant)
    return np.asarray(2.0 * quarter / (2.0 * np.pi))


def _corner_overhead(a: FloatArray, b: FloatArray, distance: FloatArray) -> FloatArray:
    """View of a parallel rectangle a x b by an element opposite one of its corners (B-3)."""

    def half(x: FloatArray, y: FloatArray) -> FloatArray:
        slant = np.hypot(x, distance)
        share = np.where(np.isinf(x), 1.0, x / np.where(np.isinf(slant), 1.0, slant))
        return np.asarray(share * np.where(np.isinf(x), 0.0, np.arctan(y / slant)))

    return np.asarray((half(a, b) + half(b, a)) / (2.0 * np.pi))


@checked(width_m=SIZE, length_m=SIZE, height_m=SIZE)
def roof_view(width_m: ArrayLike, length_m: ArrayLike, height_m: ArrayLike) -> FloatArray:
    """Give the share of a level rectangular roof seen by a level surface under its middle.

    Parameters
    ----------
    width_m, length_m : array_like, broadcast
        Sides of the roof, greater than 0. [m]
    height_m : array_like, broadcast
        Height of the roof above the surface, greater than 0. [m]

    Returns
    -------
    ndarray, broadcast shape
        View factor. [-]

    Examples
    --------
    >>> round(float(roof_view(4.0, 3.0, 2.5)), 5)
    0.37119
    """
    a, b, h = (np.asarray(value, dtype=np.float64) for value in (width_m, length_m, height_m))
    return np.asarray(4.0 * _corner_overhead(0.5 * a, 0.5 * b, h))


@checked(radius_m=SIZE, height_m=SIZE)
def disc_view(radius_m: ArrayLike, height_m: ArrayLike) -> FloatArray:
    """Give the share of a level round canopy seen by a level surface under its centre: r²/(r² + h²).

    Parameters
    ----------
    radius_m, height_m : array_like, broadcast
        Radius of the disc and its height above the surface, greater than 0. [m]

    Returns
    -------
    ndarray, broadcast shape
        View factor. [-]
    """
    r, h = np.asarray(radius_m, dtype=np.float64), np.asarray(height_m, dtype=np.float64)
    return np.asarray(r**2 / (r**2 + h**2))


@checked(from_zenith_deg=Range(-90.0, 90.0, "degrees"), to_zenith_deg=Range(-90.0, 90.0, "degrees"))
def strip_view(from_zenith_deg: ArrayLike, to_zenith_deg: ArrayLike) -> FloatArray:
    """Give the share of an endless strip between two planes through a level surface.

    Parameters
    ----------
    from_zenith_deg, to_zenith_deg : array_like, broadcast
        Angles of its edges from the zenith, negative on the other side, -90 to 90. [degrees]

    Returns
    -------
    ndarray, broadcast shape
        (sin b2 - sin b1)/2: an eave, a gap between walls, or (to 90°) a wall. [-]
    """
    edges = [np.sin(np.radians(np.asarray(value, dtype=np.float64))) for value in (from_zenith_deg, to_zenith_deg)]
    return np.asarray(0.5 * (edges[1] - edges[0]))


@checked()
def tilted_sky_view(tilt_deg: ArrayLike) -> FloatArray:
    """Give the share of sky seen by a tilted surface on open flat ground: (1 + cos tilt)/2.

    Parameters
    ----------
    tilt_deg : array_like, any shape
        0 looks up, 90 is a wall, 180 looks down. [degrees]

    Returns
    -------
    ndarray, shape of `tilt_deg`
        Share of sky; the rest is ground. [-]
    """
    return np.asarray(0.5 * (1.0 + np.cos(np.radians(np.asarray(tilt_deg, dtype=np.float64)))))


@checked(a_m=SIZE, b_m=SIZE, spacing_m=SIZE)
def parallel_rectangles(a_m: ArrayLike, b_m: ArrayLike, spacing_m: ArrayLike) -> FloatArray:
    """Give the view factor between two equal rectangles opposite each other.

    Parameters
    ----------
    a_m, b_m : array_like, broadcast
        Sides, greater than 0. [m]
    spacing_m : array_like, broadcast
        Distance between the planes, greater than 0. [m]

    Returns
    -------
    ndarray, broadcast shape
        View factor (C-11 of Howell's catalogue, label from memory). [-]

    Examples
    --------
    >>> round(float(parallel_rectangles(1.0, 1.5, 0.5)), 4)
    0.4756
    """
    a, b, c = (np.asarray(value, dtype=np.float64) for value in (a_m, b_m, spacing_m))
    x, y = a / c, b / c
    x1, y1 = np.sqrt(1.0 + x**2), np.sqrt(1.0 + y**2)
    total = (
        0.5 * np.log(x1**2 * y1**2 / (1.0 + x**2 + y**2))
        + x * y1 * np.arctan(x / y1)
        + y * x1 * np.arctan(y / x1)
        - x * np.arctan(x)
        - y * np.arctan(y)
    )
    return np.asarray(2.0 / (np.pi * x * y) * total)


@checked(depth_m=SIZE, height_m=SIZE, length_m=SIZE, gap_m=FROM_ZERO)
def perpendicular_rectangles(
    depth_m: ArrayLike, height_m: ArrayLike, length_m: ArrayLike, gap_m: ArrayLike = 0.0
) -> FloatArray:
    """Give the view factor from a level rectangle to a wall standing along one of its edges.

    Parameters
    ----------
    depth_m : array_like, broadcast
        Extent of the level rectangle away from the wall, greater than 0. [m]
    height_m : array_like, broadcast
        Height of the wall itself, greater than 0. [m]
    length_m : array_like, broadcast
        Common length along the edge, greater than 0. [m]
    gap_m : array_like, broadcast
        Height at which the wall begins above the edge, at least 0. [m]

    Returns
    -------
    ndarray, broadcast shape
        Share of the wall in what the level rectangle sees (C-14 of Howell's catalogue, label from memory). [-]

    Examples
    --------
    >>> round(float(perpendicular_rectangles(1.0, 1.0, 1.0)), 5)
    0.20004
    """
    depth, height, length, gap = (np.asarray(value, dtype=np.float64) for value in (depth_m, height_m, length_m, gap_m))
    whole = _common_edge(depth, gap + height, length)
    below = np.where(gap > 0.0, _common_edge(depth, np.where(gap > 0.0, gap, 1.0), length), 0.0)
    return np.asarray(whole - below)


def _common_edge(depth: FloatArray, height: FloatArray, length: FloatArray) -> FloatArray:
    """View factor from a rectangle to another at a right angle along a common edge."""
    w, h = depth / length, height / length
    w2, h2 = w**2, h**2
    both = h2 + w2
    logarithm = (
        np.log((1.0 + w2) * (1.0 + h2) / (1.0 + both))
        + w2 * np.log(w2 * (1.0 + both) / ((1.0 + w2) * both))
        + h2 * np.log(h2 * (1.0 + both) / ((1.0 + h2) * both))
    )
    root = np.sqrt(both)
    angles = w * np.arctan(1.0 / w) + h * np.arctan(1.0 / h) - root * np.arctan(1.0 / root)
    return np.asarray((angles + 0.25 * logarithm) / (np.pi * w))


@checked(first_m=SIZE, second_m=SIZE)
def corner_view(first_m: ArrayLike, second_m: ArrayLike) -> FloatArray:
    """Give the view factor from an endless surface to another that meets it at a right angle.

    Parameters
    ----------
    first_m, second_m : array_like, broadcast
        Widths of the looking and of the seen surface, greater than 0. [m]

    Returns
    -------
    ndarray, broadcast shape
        (a + b - √(a² + b²))/(2a): Hottel's crossed strings. [-]
    """
    a, b = np.asarray(first_m, dtype=np.float64), np.asarray(second_m, dtype=np.float64)
    return np.asarray((a + b - np.hypot(a, b)) / (2.0 * a))
