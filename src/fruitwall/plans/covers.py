"""How large a sheet must be to reach the ground all round a tree, and which sheets do.

A cover works by the heat of the soil below it: one that does not come down to the ground is not counted here.
"""

from __future__ import annotations

import math
from typing import Literal, Protocol

Shape = Literal["box", "cylinder", "dome", "cone"]

G_PER_M2_PER_OZ_PER_YD2 = 28.349523125 / 0.9144**2
"""1 oz/yd² in g/m²: 33.906."""

HEATER_CLEARANCE_M = 0.91
"""Free distance on all sides between a portable heater and anything that burns (3 ft, fire departments' advice)."""

HEATER_SIZE_M = 0.3
"""Footprint allowed for a heater. common practice, no source."""

HEATER_ROOM_M = HEATER_SIZE_M + 2.0 * HEATER_CLEARANCE_M
"""Square that a heater takes with its clearance. [m]"""


class HasSize(Protocol):
    """A sheet: anything with a width and a length, such as `yard.model.Cover`."""

    @property
    def width_m(self) -> float:
        """Width. [m]"""

    @property
    def length_m(self) -> float:
        """Length. [m]"""


class HasCrown(Protocol):
    """A tree: anything with a crown diameter and a height, such as `yard.model.Tree`."""

    @property
    def crown_diameter_m(self) -> float:
        """Diameter of the crown. [m]"""

    @property
    def height_m(self) -> float:
        """Height of its top above the ground. [m]"""


def sheet_for(
    crown_diameter_m: float, height_m: float, *, shape: Shape = "box", overlap_m: float = 0.0
) -> tuple[float, float]:
    """Give the smallest square sheet that reaches the ground all round a crown.

    Parameters
    ----------
    crown_diameter_m, height_m : float
        Of the tree, above 0 to 30 and above 0 to 40. [m]
    shape : "box", "cylinder", "dome" or "cone"
        How the sheet falls: straight down from a flat top (box, cylinder: the safe rule), over a half-sphere
        standing on a cylinder (a dome as high as half its width at least), or in a straight line from the tip.
    overlap_m : float
        Cloth to spare on the ground on each side, for weights, 0 to 5. [m]

    Returns
    -------
    tuple of float
        Width and length. [m, m]

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Paths over the top: D + 2 H; π D / 2 + 2 (H - D / 2); 2 √(H² + D² / 4).

    Examples
    --------
    >>> sheet_for(2.0, 2.5)
    (7.0, 7.0)
    """
    d, h = _size(crown_diameter_m, height_m)
    if not 0.0 <= overlap_m <= 5.0:
        raise ValueError(f"overlap_m must be 0 or more and at most 5 m, got {overlap_m:g}")
    side = _over_the_top(d, h, shape) + 2.0 * overlap_m
    return (side, side)


def sheet_with_heater_for(crown_diameter_m: float, height_m: float) -> tuple[float, float]:
    """Give the sheet, on a frame, that takes in a tree and a heater beside it with clearance on all sides.

    Parameters
    ----------
    crown_diameter_m, height_m : float
        As in `sheet_for`. [m]

    Returns
    -------
    tuple of float
        Width and length, the shorter first. [m, m]
    """
    d, h = _size(crown_diameter_m, height_m)
    return (max(d, HEATER_ROOM_M) + 2.0 * h, d + HEATER_ROOM_M + 2.0 * h)


def fits(sheet: HasSize | tuple[float, float], tree: HasCrown, *, heater: bool = False) -> bool:
    """Tell whether a sheet reaches the ground all round a tree, laid either way.

    Parameters
    ----------
    sheet : anything with width and length, or a pair of them
        The sheet. [m]
    tree : anything with a crown diameter and a height
        The tree. [m]
    heater : bool
        With room for a heater and its clearance under it.

    Returns
    -------
    bool
    """
    width, length = sheet if isinstance(sheet, tuple) else (sheet.width_m, sheet.length_m)
    want = (sheet_with_heater_for if heater else sheet_for)(tree.crown_diameter_m, tree.height_m)
    # A millimetre: sizes given in feet must not fail by rounding.
    return min(width, length) >= min(want) - 1e-3 and max(width, length) >= max(want) - 1e-3


def enclosure(crown_diameter_m: float, height_m: float, *, shape: Shape = "box") -> tuple[float, float]:
    """Give the area of a cover without the ground and the volume that it encloses.

    Parameters
    ----------
    crown_diameter_m, height_m : float
        As in `sheet_for`. [m]
    shape : "box", "cylinder", "dome" or "cone"
        How it stands; a box is square.

    Returns
    -------
    tuple of float
        Area [m²] and volume [m³].
    """
    d, h = _size(crown_diameter_m, height_m)
    r = d / 2.0
    if shape == "box":
        return (d**2 + 4.0 * d * h, d**2 * h)
    if shape == "cylinder":
        return (math.pi * r**2 + math.pi * d * h, math.pi * r**2 * h)
    if shape == "cone":
        return (math.pi * r * math.hypot(r, h), math.pi * r**2 * h / 3.0)
    _check_dome(d, h)
    return (2.0 * math.pi * r**2 + math.pi * d * (h - r), 2.0 / 3.0 * math.pi * r**3 + math.pi * r**2 * (h - r))


def sheet_mass_kg(width_m: float, length_m: float, g_per_m2: float) -> float:
    """Give the mass of a dry sheet; wet cloth can weigh several times more. [kg]"""
    for name, value in (("width_m", width_m), ("length_m", length_m), ("g_per_m2", g_per_m2)):
        if not value > 0.0:
            raise ValueError(f"{name} must be greater than 0, got {value:g}")
    return width_m * length_m * g_per_m2 / 1000.0


def _over_the_top(d: float, h: float, shape: Shape) -> float:
    """Length of the path over the top from ground to ground."""
    if shape in ("box", "cylinder"):
        return d + 2.0 * h
    if shape == "cone":
        return 2.0 * math.hypot(h, d / 2.0)
    if shape == "dome":
        _check_dome(d, h)
        return math.pi * d / 2.0 + 2.0 * (h - d / 2.0)
    raise ValueError(f'shape must be "box", "cylinder", "dome" or "cone", got {shape!r}')


def _check_dome(d: float, h: float) -> None:
    if h < d / 2.0:
        raise ValueError(f"height_m must be at least half the crown diameter for a dome ({d / 2.0:g} m), got {h:g}")


def _size(crown_diameter_m: float, height_m: float) -> tuple[float, float]:
    if not 0.0 < crown_diameter_m <= 30.0:
        raise ValueError(f"crown_diameter_m must be greater than 0 and at most 30 m, got {crown_diameter_m:g}")
    if not 0.0 < height_m <= 40.0:
        raise ValueError(f"height_m must be greater than 0 and at most 40 m, got {height_m:g}")
    return (crown_diameter_m, height_m)
