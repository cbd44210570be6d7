"""Measures that bring a container elsewhere: indoors, or under a roof of the yard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fruitwall.plans.making import XY, Making, Refusal
from fruitwall.plans.parts import Measure, Part
from fruitwall.plans.times import SetUpTimes
from fruitwall.plans.ways import carrying_ways, container_lift, helpers, why_not_carried
from fruitwall.yard.model import Building, IndoorPlace, Pond, Roof, Tree, Yard
from fruitwall.yard.plan import area_m2, ground_at, shape, under_roof


def carried(making: Making, tree: Tree) -> Iterator[Measure | Refusal]:
    """Bring a container indoors."""
    for place in making.yard.indoor_places:
        key = f"carry:{place.id}"
        if tree.height_m > place.max_height_m:
            why = f"it is {tree.height_m:.1f} m high, {place.name} takes {place.max_height_m:.1f} m"
            yield Refusal(key, why, "door_too_low", tree.height_m, place.max_height_m, "m")
            continue
        part = _moving_part(making, tree, "carry", place, place.position)
        if not part.ways:
            yield _not_moved(making, tree, key)
            continue
        yield Measure(key, f"bring into {place.name}", tree.id, parts=(part,), place=place.id, moved_to=place.position)


def under_roofs(making: Making, tree: Tree) -> Iterator[Measure | Refusal]:
    """Bring a container under a roof of the yard."""
    yard = making.yard
    if under_roof(yard, tree.position):
        return  # it is where it would be brought
    for roof in roofs_of(yard):
        key = f"roof:{roof.id}"
        at = middle_of(roof.outline)
        if tree.height_m > roof.height_m - 0.1:
            why = f"it is {tree.height_m:.1f} m high, {roof.name} {roof.height_m:.1f} m"
            yield Refusal(key, why, "roof_too_low", tree.height_m, roof.height_m, "m")
            continue
        if isinstance(ground_at(yard, at), Building | Pond):
            yield Refusal(key, f"there is no ground to stand on under {roof.name}", "no_ground")
            continue
        part = _moving_part(making, tree, "roof", roof, at)
        if not part.ways:
            yield _not_moved(making, tree, key)
            continue
        yield Measure(key, f"bring under {roof.name}", tree.id, parts=(part,), roof=roof.id, moved_to=at)


def _not_moved(making: Making, tree: Tree, key: str) -> Refusal:
    """Say why nobody can move a container."""
    why = why_not_carried(making.yard, tree, making.times)
    if not helpers(making.yard):
        return Refusal(key, why, "nobody_has_time")
    lift = container_lift(tree)
    return Refusal(key, why, "too_heavy", lift.mass_kg, lift.limit_kg, "kg")


def _moving_part(making: Making, tree: Tree, kind: str, to: IndoorPlace | Roof, at: XY) -> Part:
    """Make the part of bringing a container somewhere; it is brought back the same way some day."""
    ways = carrying_ways(making.yard, tree, at, making.times)
    back = min((way.minutes for way in ways), default=0.0)
    indoors = kind == "carry"
    return Part(
        key=f"{kind}:{to.id}@{tree.id}",
        kind="carry" if indoors else "roof",
        name=f"bring {tree.name} {'into' if indoors else 'under'} {to.name}",
        trees=(tree.id,),
        ways=ways,
        minutes_remove=back,
        room=f"{'place' if indoors else 'roof'}:{to.id}",
        position=tree.position,
        steps=(
            "Bring it first, water it afterwards: a freshly watered pot is much heavier.",
            f"Clear and light the path to {to.name}.",
        ),
        group=tree.id,
    )


def roofs_of(yard: Yard) -> list[Roof]:
    """Give the roofs of a yard, in file order."""
    return [structure for structure in yard.structures if isinstance(structure, Roof)]


def spaces_under(yard: Yard, roof: Roof, times: SetUpTimes) -> int:
    """Give how many more containers find room under a roof, those that stand there already left out."""
    room = int(area_m2(roof.outline) * times.roof_share / times.roof_m2_per_pot) if times.roof_m2_per_pot > 0 else 0
    there = sum(1 for tree in yard.trees if roof in under_roof(yard, tree.position))
    return max(0, room - there)


def middle_of(outline: Sequence[XY]) -> XY:
    """Give the point inside an outline that is furthest from its edge."""
    from shapely.ops import polylabel

    spot = polylabel(shape(outline), tolerance=0.05)
    return (float(spot.x), float(spot.y))
