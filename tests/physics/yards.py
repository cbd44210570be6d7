"""Small yards for the tests of geometry: only what a test names is there."""

from fruitwall.yard.model import Yard

PLACE = {"latitude": 34.0, "longitude": -117.0, "elevation": 300.0, "time_zone": "America/Los_Angeles"}

# Far outside the yard and lower than any place looked from: a yard must have a tree.
FAR_TREE = {"id": "far", "name": "Far tree", "taxon": "lemon", "position": [900.0, 900.0], "height": 0.3}


def yard(*structures, trees=(), **more):
    """A flat yard of 200 m with these structures and trees (dictionaries as in a yard file)."""
    return Yard.model_validate(
        {
            "name": "Test yard",
            "location": PLACE,
            "outline": [[-100, -100], [100, -100], [100, 100], [-100, 100]],
            "gear_store": [0, 0],
            "structures": [{"name": part["id"], **part} for part in structures],
            "trees": [FAR_TREE | {"crown_diameter": 0.5}, *trees],
            **more,
        }
    )


def wall(line, height, **more):
    """A wall of this height along a line."""
    return {"kind": "wall", "id": "wall", "line": line, "height": height, **more}


def roof(outline, height, **more):
    """A roof of this height over an outline."""
    return {"kind": "roof", "id": "roof", "outline": outline, "height": height, **more}


def canopy(**more):
    """A canopy over the origin."""
    return {"kind": "canopy", "id": "canopy", "position": [0.0, 0.0], **more}


def square(half, middle=(0.0, 0.0)):
    """Outline of a square round a point."""
    x, y = middle
    return [[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]]
