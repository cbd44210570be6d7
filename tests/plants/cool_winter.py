"""A winter of given night minima, and a yard without any protection: the whole way from weather to injury.

The minima are the trade's (common practice, no source); all else is what such nights of an inland valley at 34° north
have: clear, a light wind that falls at night, a dew point below the minimum, sun by the height of the sun. Nothing of
it was chosen by what trees make of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bench.made_winters import season
from fruitwall.physics.spot import Spot, survey, survey_faces
from fruitwall.physics.sun import sun_position
from fruitwall.physics.treatment import Treatment
from fruitwall.physics.winters import BEFORE_DAYS, replay
from fruitwall.plants.injury import grade_chances
from fruitwall.plants.tolerance import LEAF
from fruitwall.service.outlook import acclimation
from fruitwall.service.treatments import body_of, kinds_of, spots_of, tolerance_of
from fruitwall.weather.forcing import HOUR, Forcing
from fruitwall.yard.model import Tree, Yard

FIRST = date(2024, 12, 5)
"""Evening of the first night; day of the year matters for the sun alone."""

MINIMA_C = [1.8, 1.6, 2.0, 1.5, 1.7] * 3 + [-0.9] + [1.6, 1.9, 1.5, 2.0, 1.8] * 3 + [-1.0, -0.8] + [1.7, 2.0, 1.5] * 5
"""Air of the shelter, night by night: mostly 1.5 to 2 °C, a few near -1 °C. [°C]"""

COLDER_C = [*MINIMA_C[:30], -3.0, -4.0, -3.0, 1.7, 2.0]
"""With a colder spell. How cold growers mean is not said: -4 °C, where guava is said to be in danger (25-26 °F)."""

WARMER_BY_DAY_K = 15.0
"""From the night's minimum to the next afternoon, a clear winter day of an inland valley. [K]"""

DEW_BELOW_K = 3.0
"""Dew point below the night's minimum: dry enough that the minimum is not held up by fog. [K]"""

WIND_NIGHT_M_S, WIND_DAY_M_S = 1.0, 2.5
"""At 10 m, clear winter weather. [m/s]"""

CLOUD = 0.1
LIGHT_W_M2 = 850.0
"""Sun on level ground per sine of the sun's height, clear sky. [W/m²]"""

LATITUDE, LONGITUDE, LOCAL_H = 33.9, -117.0, -8


def winter_of(minima_c: list[float]) -> Forcing:
    """Give hourly weather whose nights have these minima, in the hour before sunrise, after `BEFORE_DAYS` like days."""
    known_weeks = 3
    nights = [1.8] * (7 * known_weeks + BEFORE_DAYS) + minima_c + [minima_c[-1]] * 2
    start = datetime(FIRST.year, FIRST.month, FIRST.day, 15 - LOCAL_H, tzinfo=UTC) - timedelta(
        days=7 * known_weeks + BEFORE_DAYS
    )
    # Warmest at 15:00, coldest at 6:00: half a cosine down in the afternoon and night, half a cosine up in the morning.
    at_h, air = [0.0], [minima_c[0] + WARMER_BY_DAY_K]
    for number, low in enumerate(nights):
        at_h += [24.0 * number + 15.0, 24.0 * number + 24.0]
        air += [low, low + WARMER_BY_DAY_K]
    hours = np.arange(24 * len(nights) + 1, dtype=np.float64)
    part = np.interp(hours, at_h, np.arange(len(at_h)))
    before = np.minimum(part.astype(int), len(at_h) - 2)
    share = part - before
    levels = np.array(air)
    # Nights fall with the root of time, as clear nights do (FAO): quick at first, slow before dawn.
    falling = np.sqrt(share)
    rising = 0.5 - 0.5 * np.cos(np.pi * share)
    weight = np.where(before % 2 == 0, falling, rising)
    t_air = levels[before] + weight * (levels[before + 1] - levels[before])
    lows = np.array(nights)[np.minimum((hours // 24).astype(int), len(nights) - 1)]
    dew = np.minimum(lows - DEW_BELOW_K, t_air)
    stamps = np.datetime64(start.replace(tzinfo=None), "s") + np.arange(hours.size) * HOUR
    sun = np.maximum(np.sin(np.radians(sun_position(stamps - HOUR / 2, LATITUDE, LONGITUDE).elevation_deg)), 0.0)
    wind = WIND_NIGHT_M_S + (WIND_DAY_M_S - WIND_NIGHT_M_S) * np.sqrt(sun)
    rows = [row[None] for row in (t_air, dew, wind, np.full(hours.size, CLOUD), LIGHT_W_M2 * sun, np.zeros(hours.size))]
    return Forcing(stamps, *rows, LATITUDE, LONGITUDE, 400.0, "a winter of given minima", start)


def _tree(key: str, kind: str, x: float, *, young: bool = False, y: float = 0.0) -> dict[str, object]:
    size = (
        {"height": 1.2, "crown_diameter": 0.8, "age": 2} if young else {"height": 5.0, "crown_diameter": 4.0, "age": 30}
    )
    return {"id": key, "name": key, "taxon": kind, "position": [x, y], **size}


KINDS = (
    "soursop",
    "jaboticaba",
    "white sapote",
    "canistel",
    "sapodilla",
    "guava",
    "atemoya",
    "acerola",
    "Jamaican cherry",
    "wax jambu",
)


def yard() -> Yard:
    """Every kind old and young in the open, 12 m apart, and a wax jambu under the porch roof of a house."""
    trees = [_tree(f"old {kind}".replace(" ", "-").lower(), kind, 12.0 * i) for i, kind in enumerate(KINDS)]
    trees += [
        _tree(f"young {kind}".replace(" ", "-").lower(), kind, 12.0 * i, young=True, y=14.0)
        for i, kind in enumerate(KINDS)
    ]
    trees.append(
        _tree("roofed-wax-jambu", "wax jambu", 0.0, y=-21.5) | {"height": 2.2, "crown_diameter": 1.5, "age": 5}
    )
    return Yard.model_validate(
        {
            "name": "Yard of the trade's facts",
            "location": {
                "latitude": LATITUDE,
                "longitude": LONGITUDE,
                "elevation": 400.0,
                "time_zone": "America/Los_Angeles",
            },
            "outline": [[-40, -60], [160, -60], [160, 60], [-40, 60]],
            "gear_store": [0, 0],
            "structures": [
                {
                    "kind": "building",
                    "id": "house",
                    "name": "House",
                    "outline": [[-6, -30], [6, -30], [6, -23], [-6, -23]],
                    "height": 3.0,
                    "material": "rendered_block",
                    "thickness": 0.2,
                    "indoor": 19.0,
                },
                {
                    "kind": "roof",
                    "id": "porch",
                    "name": "Porch",
                    "outline": [[-4, -23], [4, -23], [4, -19.5], [-4, -19.5]],
                    "height": 2.6,
                },
            ],
            "trees": trees,
        }
    )


@lru_cache(maxsize=4)
def fared(colder: bool = False) -> dict[str, NDArray[np.float64]]:
    """Give the chances of each grade over the whole winter, by tree: survey, replay, tolerance, injury."""
    there = yard()
    home, _ = spots_of(there, [[] for _ in there.trees])
    return {
        tree.id: chances
        for tree, chances in zip(there.trees, _injury(there, there.trees, home, colder)[1], strict=True)
    }


def within_soursop(heights_m: tuple[float, ...]) -> tuple[NDArray[np.float64], list[NDArray[np.float64]]]:
    """Give leaf temperature of the coldest half hours by height and night, and grades, in the old soursop's crown.

    Places in the line of its trunk; its own crown shades them.
    """
    there = yard()
    soursop = there.trees[0]
    places = survey(there, [(f"at {height:g} m", *soursop.position, height) for height in heights_m])
    return _injury(there, [soursop] * len(heights_m), places, colder=False)


def _injury(
    there: Yard, trees: Sequence[Tree], spots: Sequence[Spot], colder: bool
) -> tuple[NDArray[np.float64], list[NDArray[np.float64]]]:
    """Leaf temperature of the coldest half hour [tree, night] and chances of each grade over the winter."""
    minima = COLDER_C if colder else MINIMA_C
    forcing, kinds, nights = winter_of(minima), kinds_of(there), season(FIRST, len(minima), local_h=LOCAL_H)
    went_through = replay(
        [forcing],
        spots,
        [body_of(tree, kinds[tree.id]) for tree in trees],
        [[Treatment("leave")] for _ in trees],
        nights,
        faces=survey_faces(there),
    ).coldest_c[:, 0, 0]
    weeks_c = acclimation(forcing, forcing, nights[0].start_utc)
    chances = [
        grade_chances(tolerance_of(tree, kinds[tree.id], FIRST, weeks_c), cold, nights_axis=0)
        for tree, cold in zip(trees, went_through, strict=True)
    ]
    return went_through[:, :, LEAF, 0].astype(np.float64), chances
