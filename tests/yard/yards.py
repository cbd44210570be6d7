"""Builders with defaults: a test shows only what matters."""

from __future__ import annotations

from typing import Any

from fruitwall.yard.model import Tree, Yard

SMALL_YARD = """\
fruitwall: 1
name: Small yard
location:
  latitude: 33.92
  longitude: -117.22
  elevation: 500
  time_zone: America/Los_Angeles
outline: [[0, 0], [20, 0], [20, 20], [0, 20]]
gear_store: [1, 1]
trees:
  - id: mango-1
    name: Mango
    taxon: mango
    position: [5, 5]
    height: 2 m
    crown_diameter: 1.5 m
  - id: lime-1
    name: Lime
    taxon: lime
    position: [9, 5]
    height: 1.5 m
    crown_diameter: 1 m
"""


def edited(old: str, new: str) -> str:
    """Give the small yard with one place changed; the place must exist once."""
    assert SMALL_YARD.count(old) == 1, old
    return SMALL_YARD.replace(old, new)


def a_tree(**changes: Any) -> Tree:
    fields = {
        "id": "mango-1",
        "name": "Mango",
        "taxon": "mango",
        "position": (5, 5),
        "height_m": 2,
        "crown_diameter_m": 1.5,
    }
    return Tree.model_validate(fields | changes)


def a_yard(**changes: Any) -> Yard:
    fields = {
        "name": "Small yard",
        "location": {
            "latitude_deg": 33.92,
            "longitude_deg": -117.22,
            "elevation_m": 500,
            "time_zone": "America/Los_Angeles",
        },
        "outline": [(0, 0), (20, 0), (20, 20), (0, 20)],
        "gear_store": (1, 1),
        "trees": [a_tree()],
    }
    return Yard.model_validate(fields | changes)
