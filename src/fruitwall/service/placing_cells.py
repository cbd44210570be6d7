"""A yard cut into square cells: where a tree may be planted, how far it is to power and water, hours of sun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.placing.raster import STANDABLE, TAKEN, Taken
from fruitwall.yard.model import Building, Canopy, Fence, Paving, Pond, Roof, Wall, Yard

if TYPE_CHECKING:
    from shapely import Geometry

    from fruitwall.physics.spot import Spot

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

CELLS_MOST = 2500
"""Most cells that a yard is cut into unless the caller says otherwise."""

CELL_SIZES_M = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 30.0, 50.0)
"""Sides that a cell may have. [m]"""

EDGE_M = 0.5
"""No trunk is set nearer than this to the edge of the yard. Our judgement; local rules may ask for more. [m]"""

WALL_M = 0.4
"""No trunk is set nearer than this to the middle line of a wall or fence, or to a building: room for the root ball.
Our judgement. [m]"""

TRUNK_M = 1.0
"""No trunk is set nearer than this to that of a big tree (a canopy of the yard). Our judgement. [m]"""

SPACING_M = 0.5
"""Room between the edge of a crown that stands and the trunk of a new tree. Our judgement; crowns of grown trees want
more, which is for the assignment of places. [m]"""


@dataclass(frozen=True, eq=False)
class Cells:
    """Cells of a yard, as `plans.placing.raster.Raster` has them.

    Attributes
    ----------
    columns, rows, cell_m, x_m, y_m, taken, taken_by, gap_m, power_m, power_by, tap_m
        As there.
    """

    columns: int
    rows: int
    cell_m: float
    x_m: FloatArray
    y_m: FloatArray
    taken: NDArray[np.int8]
    taken_by: tuple[str, ...]
    gap_m: FloatArray
    power_m: FloatArray
    power_by: tuple[str, ...]
    tap_m: FloatArray

    @property
    def stand(self) -> NDArray[np.int64]:
        """Numbers of the cells in which a plant can stand."""
        return np.flatnonzero(np.isin(self.taken, [TAKEN.index(each) for each in STANDABLE]))


def cell_side_m(yard: Yard, most: int = CELLS_MOST) -> float:
    """Give the smallest side of a cell with which a yard is cut into no more than so many. [m]"""
    low, high = np.min(yard.outline, axis=0), np.max(yard.outline, axis=0)
    for side in CELL_SIZES_M:
        if ceil((high[0] - low[0]) / side - 1e-9) * ceil((high[1] - low[1]) / side - 1e-9) <= most:
            return side
    return float(np.sqrt((high[0] - low[0]) * (high[1] - low[1]) / most)) * 1.1


FEW_KINDS, FEWEST_CELLS = 10, 40
"""With more kinds parts have fewer cells, so that progress is told and a wish to stop is heard as soon; fewer than
these would be dear. Our judgement: a part takes seconds, not minutes, also for the whole catalogue."""


def cells_a_part(kinds: int, most: int) -> int:
    """Give how many cells are worked out together for so many kinds: at most so many, fewer for many kinds."""
    return most if kinds <= FEW_KINDS else min(most, max(FEWEST_CELLS, most * FEW_KINDS // kinds))


def cells_of(yard: Yard, cell_m: float | None = None) -> Cells:
    """Cut a yard into cells.

    Parameters
    ----------
    yard : Yard
        Without the trees that are to go.
    cell_m : float, optional
        Side of a cell, 0.1 to 100; by the size of the yard if left out. [m]

    Returns
    -------
    Cells

    Raises
    ------
    ValueError
        If `cell_m` is outside its range.
    """
    from shapely import Polygon, contains_xy, distance, points

    side = cell_side_m(yard) if cell_m is None else cell_m
    if not 0.1 <= side <= 100.0:
        raise ValueError(f"cell_m must be from 0.1 to 100 m, got {cell_m}")
    low, high = np.min(yard.outline, axis=0), np.max(yard.outline, axis=0)
    columns, rows = (max(1, ceil((high[axis] - low[axis]) / side - 1e-9)) for axis in (0, 1))
    x = np.tile(low[0] + (np.arange(columns) + 0.5) * side, rows)
    y = np.repeat(low[1] + (np.arange(rows) + 0.5) * side, columns)
    at = points(np.stack([x, y], axis=1))

    code = np.zeros(x.size, dtype=np.int8)
    by = np.full(x.size, "", dtype=object)

    def take(where: BoolArray, reason: Taken, name: str = "") -> None:
        """Note a reason, unless an earlier one holds."""
        new = where & ((code == 0) | (code > TAKEN.index(reason)))
        code[new], by[new] = TAKEN.index(reason), name

    outline = Polygon(yard.outline)
    inside = contains_xy(outline, x, y) & (distance(outline.exterior, at) >= min(EDGE_M, 0.5 * side) - 1e-9)
    take(~inside, "outside")
    for reason, thing, within_m in _things(yard):
        take(np.asarray(distance(thing[1], at) <= within_m), reason, thing[0])
    gap = np.full(x.size, np.inf)
    for tree in yard.trees:
        away = np.hypot(x - tree.position[0], y - tree.position[1]) - 0.5 * tree.crown_diameter_m
        gap = np.minimum(gap, away)
        take(away < SPACING_M, "tree", tree.id)
    power, power_by = _nearest(x, y, [(circuit.id, circuit.outlet) for circuit in yard.circuits])
    tap, _ = _nearest(x, y, [("", yard.water.tap)] if yard.water.tap is not None else [])
    return Cells(columns, rows, side, x, y, code, tuple(map(str, by)), gap, power, power_by, tap)


def _things(yard: Yard) -> list[tuple[Taken, tuple[str, Geometry], float]]:
    """Give what stands in the way: the reason, what it is, and within which distance of it nothing is planted. [m]"""
    from shapely import LineString, Point, Polygon

    found: list[tuple[Taken, tuple[str, Geometry], float]] = []
    for thing in yard.structures:
        if isinstance(thing, Building):
            found.append(("building", (thing.id, Polygon(thing.outline)), 0.0))
            found.append(("wall", (thing.id, Polygon(thing.outline)), WALL_M))
        elif isinstance(thing, Wall | Fence):
            found.append(("wall", (thing.id, LineString(thing.line)), WALL_M))
        elif isinstance(thing, Pond):
            found.append(("pond", (thing.id, Polygon(thing.outline)), 0.0))
        elif isinstance(thing, Roof):
            found.append(("roof", (thing.id, Polygon(thing.outline)), 0.0))
        elif isinstance(thing, Paving):
            found.append(("paving", (thing.id, Polygon(thing.outline)), 0.0))
        elif isinstance(thing, Canopy):
            found.append(("trunk", (thing.id, Point(thing.position)), TRUNK_M))
    found += [("shelter", (one.id, Polygon(one.outline)), 0.0) for one in yard.shelters]
    return found


def _nearest(
    x: FloatArray, y: FloatArray, there: Sequence[tuple[str, tuple[float, float]]]
) -> tuple[FloatArray, tuple[str, ...]]:
    """Distance to the nearest of some points, and which; NaN and empty without any. [m]"""
    if not there:
        return np.full(x.size, np.nan), ("",) * x.size
    away = np.array([np.hypot(x - point[0], y - point[1]) for _, point in there])
    nearest = np.argmin(away, axis=0)
    return away.min(axis=0), tuple(there[at][0] for at in nearest)


def seasons(on: date, latitude_deg: float) -> tuple[tuple[date, date], tuple[date, date]]:
    """Give first and last day of the three darkest and of the three brightest months about a day's year.

    Parameters
    ----------
    on : date
    latitude_deg : float
        Negative in the south. [degrees]

    Returns
    -------
    darkest, brightest : (date, date)
        45 days to either side of the solstices of that year, 21 December and 21 June in the north.
    """
    december, june = date(on.year, 12, 21), date(on.year, 6, 21)
    dark, bright = (december, june) if latitude_deg >= 0.0 else (june, december)
    half = timedelta(days=45)
    return (dark - half, dark + half), (bright - half, bright + half)


def hours_of_sun(yard: Yard, bare: Sequence[Spot], leafy: Sequence[Spot], on: date) -> tuple[FloatArray, FloatArray]:
    """Give the hours of sun a day in the three darkest and the three brightest months. [h]

    Parameters
    ----------
    yard : Yard
    bare, leafy : sequence of Spot
        The same places in winter and in summer.
    on : date
        In which year.

    Returns
    -------
    winter, summer : ndarray, shape (spot,)
    """
    from fruitwall.physics.sun_hours import sun_hours

    place = yard.location.latitude_deg, yard.location.longitude_deg
    dark, bright = seasons(on, yard.location.latitude_deg)
    return sun_hours(bare, *place, *dark), sun_hours(leafy, *place, *bright)
