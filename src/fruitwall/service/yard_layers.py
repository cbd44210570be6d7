"""What lies over the plan of a yard: hours of sun, view of the sky, the margin of the last plan.

Sun and sky come from the same rays as the spots of the trees (`physics.rays`), at the trees and on a coarse grid.
Worked out once for each state of the yard and day.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from math import ceil
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from fruitwall.service.house import House
from fruitwall.service.treatments import crown_level_m

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from fruitwall.physics.rays import Scene
    from fruitwall.yard.model import Yard

    Value = Callable[[Scene, NDArray[np.float64], str | None], float]

LAYERS = ("sun", "winter", "sky", "margin")
"""Sun today, sun on the shortest day, view of the sky, margin of the last plan."""

GRID_M = 1.0
"""Height above the ground for which the grid holds. [m]"""
MOST_ACROSS = 13
"""Cells of the grid from west to east, so that a number can be read in each on a phone."""
STEPS_M = (0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0)
SUN_STEP = timedelta(minutes=20)
SKY_RAYS = 256
"""Rays into the sky from a cell; the share is then good to about 0.01."""
KEPT = 12


@dataclass(frozen=True)
class Layer:
    """Values over the plan.

    Attributes
    ----------
    name : str
        One of `LAYERS`.
    trees : dict
        By id: hours of sun [h], share of sky [0-1] or margin [K].
    cells : tuple of (x, y, value)
        Middles of the cells of a grid [m, m] and values; none for the margin.
    step_m : float
        Width of a cell. [m]
    day : date or None
        For which day, or night named by its evening, it holds.
    longest_h : float
        For sun: from sunrise to sunset over a level horizon. [h]
    """

    name: str
    trees: dict[str, float]
    cells: tuple[tuple[float, float, float], ...] = ()
    step_m: float = 1.0
    day: date | None = None
    longest_h: float = 0.0


_kept: OrderedDict[tuple[str, str, date | None], Layer] = OrderedDict()
_lock = threading.Lock()


def layer_of(house: House, name: str, *, now: datetime) -> Layer | None:
    """Give a layer over the yard as it stands.

    Parameters
    ----------
    house : House
    name : str
        One of `LAYERS`.
    now : datetime, aware

    Returns
    -------
    Layer or None
        None for a name that is none of them, and for the margin if no plan was made yet.
    """
    if name not in LAYERS:
        return None
    yard, version = house.yard()
    today = now.astimezone(ZoneInfo(yard.location.time_zone)).date()
    if name == "margin":
        return _margins(house, today)
    day = None if name == "sky" else today if name == "sun" else shortest_day(today, yard.location.latitude_deg)
    key = (version.sha256, name, day)
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    made = sky_layer(yard) if day is None else sun_layer(yard, day, name)
    with _lock:
        _kept[key] = made
        while len(_kept) > KEPT:
            _kept.popitem(last=False)
    return made


def shortest_day(today: date, latitude_deg: float) -> date:
    """Give the next shortest day: 21 December, south of the equator 21 June."""
    month = 12 if latitude_deg >= 0 else 6
    day = date(today.year, month, 21)
    return day if day >= today else date(today.year + 1, month, 21)


def sun_layer(yard: Yard, day: date, name: str = "sun") -> Layer:
    """Give the hours of direct sun on a cloudless day.

    Parameters
    ----------
    yard : Yard
    day : date
        In the yard's zone.
    name : str
        Of the layer.

    Returns
    -------
    Layer
        Hours, weighed by the share of the beam that comes through crowns, fences and glass. [h]
    """
    import numpy as np

    from fruitwall.physics.rays import cast
    from fruitwall.physics.sun import sun_position, sun_times

    place = yard.location
    start = datetime.combine(day, time(0), tzinfo=ZoneInfo(place.time_zone)).astimezone(ZoneInfo("UTC"))
    moments = [start + SUN_STEP * (number + 0.5) for number in range(round(timedelta(days=1) / SUN_STEP))]
    stamps = np.array([moment.replace(tzinfo=None) for moment in moments], dtype="datetime64[s]")
    sun = sun_position(stamps, place.latitude_deg, place.longitude_deg)
    up = np.asarray(sun.elevation_deg) > 0.0
    azimuth, elevation = np.radians(np.asarray(sun.azimuth_deg)[up]), np.radians(np.asarray(sun.elevation_deg)[up])
    level = np.cos(elevation)
    rays = np.stack([np.sin(azimuth) * level, np.cos(azimuth) * level, np.sin(elevation)], axis=1)
    hours = SUN_STEP / timedelta(hours=1)

    def value(scene: Scene, origin: NDArray[np.float64], leave_out: str | None) -> float:
        return float(cast(scene, origin, rays, leave_out=leave_out).sun.sum() * hours) if len(rays) else 0.0

    longest = sun_times(day, place.latitude_deg, place.longitude_deg, place.time_zone).day_length_h
    trees, cells, step = _over(yard, value, winter=_leafless(day, place.latitude_deg))
    return Layer(name, trees, cells, step, day, longest)


def sky_layer(yard: Yard) -> Layer:
    """Give the share of the sky that a level leaf sees, with leafless canopies bare. [0-1]"""
    from fruitwall.physics.rays import cast
    from fruitwall.physics.spot import upper_rays

    rays = upper_rays(SKY_RAYS)

    def value(scene: Scene, origin: NDArray[np.float64], leave_out: str | None) -> float:
        hits = cast(scene, origin, rays, leave_out=leave_out)
        return float((hits.rest * ~((hits.face >= 0) | hits.roof | hits.hill)).mean())

    trees, cells, step = _over(yard, value, winter=True)
    return Layer("sky", trees, cells, step)


def _leafless(day: date, latitude_deg: float) -> bool:
    """Tell whether canopies that lose their leaves are bare: November to March; in the south May to September."""
    return day.month in ((11, 12, 1, 2, 3) if latitude_deg >= 0 else (5, 6, 7, 8, 9))


def _over(
    yard: Yard, value: Value, *, winter: bool
) -> tuple[dict[str, float], tuple[tuple[float, float, float], ...], float]:
    """Work out a value at every tree and in every cell of the grid that lies in the yard and in no building."""
    import numpy as np
    from shapely import Point, Polygon, prepare

    from fruitwall.physics.rays import scene_of
    from fruitwall.yard.model import Building

    scene = scene_of(yard, winter=winter)
    trees = {
        tree.id: value(scene, np.array([*tree.position, max(crown_level_m(tree), 0.1)]), tree.id) for tree in yard.trees
    }
    xs, ys = [x for x, _ in yard.outline], [y for _, y in yard.outline]
    across = max(max(xs) - min(xs), (max(ys) - min(ys)) / 2)
    step = next((one for one in STEPS_M if across / one <= MOST_ACROSS), STEPS_M[-1])
    ground = Polygon(yard.outline)
    prepare(ground)
    houses = [Polygon(one.outline) for one in yard.structures if isinstance(one, Building)]
    cells = []
    for row in range(ceil((max(ys) - min(ys)) / step)):
        for column in range(ceil((max(xs) - min(xs)) / step)):
            x, y = min(xs) + (column + 0.5) * step, min(ys) + (row + 0.5) * step
            spot = Point(x, y)
            if ground.contains(spot) and not any(house.contains(spot) for house in houses):
                cells.append((x, y, value(scene, np.array([x, y, GRID_M]), None)))
    return trees, tuple(cells), step


def _margins(house: House, today: date) -> Layer | None:
    """Give the margin of every tree in the last plan, as planned."""
    from fruitwall.service.evening_document import EveningPlan

    stored = house.journal.plan_before(today + timedelta(days=2), yard=house.yard_name)
    if stored is None:
        return None
    plan = EveningPlan.model_validate_json(stored.document)
    return Layer("margin", {tree.id: tree.margin_k["chosen"] for tree in plan.trees}, day=stored.night)
