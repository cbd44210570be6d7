"""How much wind reaches a spot, and how still its air stands.

A simple rule, averaged over the compass because nobody knows from where the last breath of a frost night comes: in
every direction the nearest barriers shelter by the curve of the Wind Erosion Prediction System (WEPS), a fit to wind
measured behind and in front of windbreaks of every porosity. It is good to a fifth or so, not better.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.checked import SHARE, Range, checked
from fruitwall.physics.rays import MEAN_CHORD, Scene

FloatArray = NDArray[np.float64]

DIRECTIONS = 72
"""How many directions of the wind are averaged."""

LEAST_WIND = 0.29
"""Least share of the open wind that is left anywhere.

The calmest place behind nine windbreaks of 0-31 % porosity had 0.29 to 0.71 of it (Loeffler, Gordon & Gillespie 1992,
Agroforestry Systems, abstract read): eddies, slanting wind and gaps keep the air moving where the curve goes to zero.
"""

NEAR_HEIGHTS = 3.0
"""Within about this many of its heights a barrier holds the air beside it still. Our assumption."""

ROOF_STILLNESS = 0.5
"""How much of the remaining exchange a closed roof overhead takes away. Our assumption."""


@checked(distance_heights=Range(-1000.0, 1000.0, "barrier heights"), porosity=SHARE)
def wind_behind(distance_heights: ArrayLike, porosity: ArrayLike) -> FloatArray:
    """Give the wind near the ground behind (or before) a long barrier over the wind in the open.

    Parameters
    ----------
    distance_heights : array_like, broadcast
        Distance over the height of the barrier; positive in its lee, negative on the windward side. [-]
    porosity : array_like, broadcast
        Open share of the barrier, 0 to 1. [-]

    Returns
    -------
    ndarray, broadcast shape
        Share of the open wind, 0 to 1. [-]

    Raises
    ------
    ValueError
        If a value is outside its range. NaN gives NaN.

    Notes
    -----
    f = 1 - exp(-a x²) + b exp(-0.003 (x + c)^d), at most 1, with a = 0.008 - 0.17 p + 0.17 p^1.05,
    b = 1.35 exp(-0.5 p^0.2), c = 10 (1 - 0.5 p), d = 3 - p [1]_ [2]_. It is friction velocity, taken here as wind.
    More than 5 heights before the barrier there is no shelter. A porosity of 1 is no barrier (the fit would leave
    0.87 at 10 heights).

    References
    ----------
    .. [1] Hagen, L. J. (1996) and USDA-ARS, WEPS erosion submodel, function for barriers (read in its source).
    .. [2] Vigiak, O., Sterk, G., Warren, A. and Hagen, L. J. (2003). Spatial modeling of wind speed around windbreaks.
       Catena 52, 273-288 (abstract read).

    Examples
    --------
    >>> [round(float(wind_behind(x, 0.4)), 2) for x in (-2, 2, 5, 10, 20)]
    [0.67, 0.29, 0.2, 0.39, 0.86]
    """
    x, p = np.asarray(distance_heights, dtype=np.float64), np.asarray(porosity, dtype=np.float64)
    a = 0.008 - 0.17 * p + 0.17 * p**1.05
    b = 1.35 * np.exp(-0.5 * p**0.2)
    c = 10.0 * (1.0 - 0.5 * p)
    share = 1.0 - np.exp(-a * x**2) + b * np.exp(-0.003 * np.maximum(x + c, 0.0) ** (3.0 - p))
    share = np.where((x < -5.0) | (p >= 1.0), 1.0, np.minimum(share, 1.0))
    return np.asarray(share + 0.0 * (x + p))


def shelter(scene: Scene, origin: FloatArray, roof: float, *, leave_out: str | None = None) -> tuple[float, float]:
    """Give wind share and stillness of a place.

    Parameters
    ----------
    scene : Scene
    origin : ndarray, shape (3,)
        East, north, up. [m]
    roof : float
        Share of roofs overhead. [0-1]
    leave_out : str, optional
        Whose crown is not there.

    Returns
    -------
    wind_share, stillness : float
        Wind over wind in the open at the same height, mean over the compass [0-1]; how weak the exchange with the
        air above is [0-1].

    Notes
    -----
    A barrier reaches as high as it is, but no farther than it is wide: a lone trunk has a short lee. Below 0.7 of its
    height a place has its full shelter, above 1.3 none, linear between (our assumption). Of several barriers in one
    direction the strongest counts. Under a crown that begins above the place the wind blows through, fully if the gap
    is 0.3 of the tree's height. Stillness is one minus the mean of what the sides leave open, each by its
    tightness and its distance (exp(-x/3), x in heights), times half of what a roof overhead leaves.
    """
    bearing = np.arange(DIRECTIONS) * (2.0 * np.pi / DIRECTIONS)
    toward = np.stack([np.sin(bearing), np.cos(bearing)], axis=1)
    distance, height, width, porosity = _barriers(scene, origin, toward, leave_out)
    if distance.shape[1] == 0:
        return 1.0, ROOF_STILLNESS * roof
    reach = np.minimum(height, width)
    below = np.clip((1.3 * height - origin[2]) / (0.6 * height), 0.0, 1.0)
    heights = np.minimum(distance / reach, 1000.0)
    seen = np.isfinite(distance)
    lee, windward = (np.maximum(wind_behind(side * heights, porosity), LEAST_WIND) for side in (1.0, -1.0))
    lee, windward = (np.where(seen, 1.0 - below * (1.0 - share), 1.0) for share in (lee, windward))
    # A barrier in one direction stands downwind when the wind comes from the other.
    opposite = np.roll(windward, DIRECTIONS // 2, axis=0)
    wind = np.minimum(lee.min(axis=1), opposite.min(axis=1)).mean()
    closed = np.where(seen, below * (1.0 - porosity) * np.exp(-heights / NEAR_HEIGHTS), 0.0).max(axis=1).mean()
    return float(wind), float(1.0 - (1.0 - closed) * (1.0 - ROOF_STILLNESS * roof))


def _barriers(
    scene: Scene, origin: FloatArray, toward: FloatArray, leave_out: str | None
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Distance (infinite if not met), height, width and porosity of barriers; shape (direction, barrier)."""
    outer = _pieces(scene.face_start, scene.face_way, origin, toward, one_sided=True)
    fence = _pieces(scene.fence_start, scene.fence_way, origin, toward, one_sided=False)
    crown, depth = _discs(scene, origin, toward, leave_out)
    shape = (len(toward), 1)
    porosity = np.concatenate(
        [np.zeros(outer.shape), np.tile(scene.fence_gap, shape), np.exp(-depth)],
        axis=1,
    )
    height = np.concatenate([scene.face_height, scene.fence_height, scene.crown_centre[:, 2] + scene.crown_axes[:, 2]])
    width = np.concatenate(
        [
            np.hypot(scene.face_way[:, 0], scene.face_way[:, 1]),
            np.hypot(scene.fence_way[:, 0], scene.fence_way[:, 1]),
            2.0 * scene.crown_axes[:, 0],
        ]
    )
    return np.concatenate([outer, fence, crown], axis=1), height, width, porosity


def _pieces(
    start: FloatArray, way: FloatArray, origin: FloatArray, toward: FloatArray, *, one_sided: bool
) -> FloatArray:
    """Distance in the plan to upright pieces. [m]"""
    offset = start - origin[:2]
    x, y = toward[:, 0, None], toward[:, 1, None]
    across = x * way[:, 1] - y * way[:, 0]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        distance = (offset[:, 0] * way[:, 1] - offset[:, 1] * way[:, 0]) / across
        along = (offset[:, 0] * y - offset[:, 1] * x) / across
        hit = (distance > 1e-9) & (along >= 0.0) & (along <= 1.0)
    if one_sided:
        hit &= across < 0.0
    return np.where(hit, distance, np.inf)


def _discs(
    scene: Scene, origin: FloatArray, toward: FloatArray, leave_out: str | None
) -> tuple[FloatArray, FloatArray]:
    """Distance to crowns in the plan [m] and optical depth of the way through them."""
    there = np.array([name != leave_out for name in scene.crown_ids], dtype=bool)
    radius = scene.crown_axes[:, 0]
    offset = (scene.crown_centre[:, :2] - origin[:2]) / radius[:, None]
    along = toward @ offset.T
    root = along**2 - (offset**2).sum(axis=1) + 1.0
    width = np.sqrt(np.maximum(root, 0.0))
    chord = np.where((root > 0.0) & (along + width > 0.0) & there, along + width - np.maximum(along - width, 0.0), 0.0)
    distance = np.where(chord > 0.0, np.maximum(along - width, 0.0) * radius, np.inf)
    base, top = (scene.crown_centre[:, 2] + side * scene.crown_axes[:, 2] for side in (-1.0, 1.0))
    low = np.clip(1.0 - (base - origin[2]) / (0.3 * top), 0.0, 1.0)
    return distance, -np.log(np.maximum(scene.crown_gap, 1e-3)) * low * chord / MEAN_CHORD
