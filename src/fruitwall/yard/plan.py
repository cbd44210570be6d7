"""Where are things in the plane, and how old is a tree?

Thin words over shapely in the yard's frame (x to the east, y to the north, metres). View factors and shade are left to
`physics.spot`. shapely is imported when a shape is asked for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from fruitwall.speech import say
from fruitwall.yard.model import Building, Fence, Hollow, Paving, Pond, Roof, Tree, Wall, Yard

if TYPE_CHECKING:
    from shapely import LineString, Polygon

XY = tuple[float, float]

DAYS_PER_YEAR = 365.2425


def shape(outline: Sequence[XY]) -> Polygon:
    """Give the polygon of an outline of three or more corners; it need not be valid (see `crossing`)."""
    from shapely import Polygon

    return Polygon(outline)


def line_of(thing: Wall | Fence) -> LineString:
    """Give the foot of a wall or fence."""
    from shapely import LineString

    return LineString(thing.line)


def area_m2(outline: Sequence[XY]) -> float:
    """Give the area inside an outline. [m²]

    Examples
    --------
    >>> area_m2([(0, 0), (4, 0), (4, 3), (0, 3)])
    12.0
    """
    return float(shape(outline).area)


def contains(outline: Sequence[XY], point: XY, *, tolerance_m: float = 0.01) -> bool:
    """Say whether a point lies inside an outline or, within a tolerance, on it.

    Parameters
    ----------
    outline : sequence of (x, y)
        Three or more corners. [m]
    point : (x, y)
        [m]
    tolerance_m : float
        A centimetre by default: nobody measures a yard better. [m]

    Returns
    -------
    bool
    """
    from shapely import Point

    return bool(shape(outline).distance(Point(point)) <= tolerance_m)


def well_inside(outline: Sequence[XY], point: XY, *, margin_m: float = 0.01) -> bool:
    """Say whether a point lies inside an outline and away from its edge by more than a margin. [m]"""
    from shapely import Point

    polygon, place = shape(outline), Point(point)
    return bool(polygon.contains(place) and polygon.exterior.distance(place) > margin_m)


def distance_m(a: XY, b: XY) -> float:
    """Give the distance between two points. [m]"""
    return math.dist(a, b)


def distance_to_line_m(thing: Wall | Fence, point: XY) -> float:
    """Give the distance from a point to the middle line of a wall or fence. [m]"""
    from shapely import Point

    return float(line_of(thing).distance(Point(point)))


def crossing(outline: Sequence[XY]) -> str | None:
    """Say what is wrong with an outline: where it crosses itself, or that it encloses nothing; None if all is well."""
    from shapely import is_valid_reason

    polygon = shape(outline)
    if polygon.convex_hull.area < 1e-6:  # not the area itself: a symmetric figure of eight has none
        return say("the outline encloses no area")
    reason = str(is_valid_reason(polygon))
    if reason == "Valid Geometry":
        return None
    x, _, y = reason.partition("[")[2].rstrip("]").partition(" ")
    if not y:
        return say("the outline crosses itself")
    return say("the outline crosses itself near {place}", place=f"[{float(x):g}, {float(y):g}]")


def under_roof(yard: Yard, point: XY) -> list[Roof]:
    """Give the roofs over a point, in file order."""
    return [s for s in yard.structures if isinstance(s, Roof) and contains(s.outline, point)]


def ground_at(yard: Yard, point: XY) -> Building | Pond | Paving | None:
    """Give what lies at a point instead of ordinary ground: building before pond before paving; None for ground."""
    for kind in (Building, Pond, Paving):
        for thing in yard.structures:
            if isinstance(thing, kind) and contains(thing.outline, point, tolerance_m=0.0):
                return thing
    return None


def hollows_at(yard: Yard, point: XY) -> list[Hollow]:
    """Give the cold hollows in which a point lies, in file order."""
    return [s for s in yard.structures if isinstance(s, Hollow) and contains(s.outline, point)]


def tree_age_years(tree: Tree, on: date) -> float | None:
    """Give a tree's age on a day.

    Parameters
    ----------
    tree : Tree
        With the day it was planted, its age, both or neither.
    on : date
        The day.

    Returns
    -------
    float or None
        The time since it was planted (0 before that day) or the age written in the file, whichever is more; None if
        the file says neither. [years]

    Notes
    -----
    The written age is not made to grow: the file does not say on which day it was written. A tree bought as a
    two-year-old and planted four years ago counts as four: time in the ground is the surer of the two.

    Examples
    --------
    >>> tree = Tree(id="m", name="M", taxon="mango", position=(0, 0), height_m=2, crown_diameter_m=1, age_years=3)
    >>> tree_age_years(tree, date(2026, 12, 22))
    3.0
    """
    ages = [] if tree.age_years is None else [tree.age_years]
    if tree.planted is not None:
        ages.append(max(0.0, (on - tree.planted).days / DAYS_PER_YEAR))
    return max(ages, default=None)
