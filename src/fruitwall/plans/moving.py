"""Measures that bring a container elsewhere: indoors, under a roof of the yard, or to the foot of a warm wall."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fruitwall.plans.making import XY, Making, Refusal
from fruitwall.plans.parts import Measure, Part, PartKind
from fruitwall.plans.times import SetUpTimes
from fruitwall.plans.wall_places import GAP_M, WallPlace, places_for, wall_places
from fruitwall.plans.ways import carrying_ways, container_lift, helpers, why_not_carried
from fruitwall.speech import marked, quantity, say
from fruitwall.yard.model import Building, Pond, Roof, Tree, Yard
from fruitwall.yard.plan import shape, under_roof

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


STAYS_OUT = marked("It may stay there through the cold spell, and is brought back when the nights are mild again.")
"""Said of pots that are moved within the yard: they lack no light there."""

STAYS_IN = marked(
    "Put it by a window if there is one. Without light bring it out again after about a week, on a mild day or in the "
    "milder of the coming nights."
)
"""Said of pots that are carried in. common practice, no source."""

KEPT_DRY = marked("No rain falls there: water it when the mix is dry.")


def carried(making: Making, tree: Tree) -> Iterator[Measure | Refusal]:
    """Bring a container indoors."""
    for place in making.yard.indoor_places:
        key = f"carry:{place.id}"
        if tree.height_m > place.max_height_m:
            why = say(
                "it is {height_m} high, {place} takes {max_height_m}",
                height_m=quantity(tree.height_m, "m", ".1f"),
                place=place.name,
                max_height_m=quantity(place.max_height_m, "m", ".1f"),
            )
            yield Refusal(key, why, "door_too_low", tree.height_m, place.max_height_m, "m")
            continue
        to = Goal("carry", key, f"place:{place.id}", say("into {place}", place=place.name), place.position, (STAYS_IN,))
        part = moving_part(making, tree, to)
        if not part.ways:
            yield not_moved(making, tree, key)
            continue
        yield Measure(
            key, say("bring {where}", where=to.where), tree.id, parts=(part,), place=place.id, moved_to=place.position
        )


def under_roofs(making: Making, tree: Tree) -> Iterator[Measure | Refusal]:
    """Bring a container under a roof of the yard: to the middle of it, or below it against a warm wall."""
    yard = making.yard
    if under_roof(yard, tree.position):
        return  # it is where it would be brought
    for roof in roofs_of(yard):
        key = f"roof:{roof.id}"
        if tree.height_m > roof.height_m - 0.1:
            why = say(
                "it is {height_m} high, {roof} {height_m2}",
                height_m=quantity(tree.height_m, "m", ".1f"),
                roof=roof.name,
                height_m2=quantity(roof.height_m, "m", ".1f"),
            )
            yield Refusal(key, why, "roof_too_low", tree.height_m, roof.height_m, "m")
            continue
        ground = ground_under(yard, roof)
        if ground is None:
            yield Refusal(key, say("there is no ground to stand on under {roof}", roof=roof.name), "no_ground")
            continue
        to = Goal(
            "roof", key, f"roof:{roof.id}", say("under {roof}", roof=roof.name), _middle(ground), (STAYS_OUT, KEPT_DRY)
        )
        yield _moved(making, tree, to, roof=roof.id)


def to_walls(making: Making, tree: Tree) -> Iterator[Measure | Refusal]:
    """Bring a container to the foot of a warm wall, in the open or, where it fits, under a roof there."""
    yard = making.yard
    roofed = bool(under_roof(yard, tree.position))
    for place in places_for(yard, tree, wall_places(yard)):
        at = place.stand(tree.crown_diameter_m)
        close = say(
            "Stand it close to the wall, {gap} cm between wall and leaves, beside what is there.",
            gap=quantity(100 * GAP_M, "", ".0f"),
        )
        if place.roof is None:
            key = f"wall:{place.key}"
            to = Goal("wall", key, key, say("to {place}", place=place.name), at, (close, STAYS_OUT))
            yield _moved(making, tree, to, wall=place.key)
        elif not roofed:
            key = f"roof:{place.roof.id}/{place.key}"
            where = say("under {roof}, to {place}", roof=place.roof.name, place=place.name)
            to = Goal("roof", key, f"roof:{place.roof.id}", where, at, (close, STAYS_OUT, KEPT_DRY))
            yield _moved(making, tree, to, roof=place.roof.id, wall=place.key)


@dataclass(frozen=True)
class Goal:
    """Where a container is brought: what it is called, where it stands then, what to heed there."""

    kind: PartKind
    key: str
    room: str
    where: str
    at: XY
    steps: tuple[str, ...]


def _moved(
    making: Making, tree: Tree, to: Goal, *, roof: str | None = None, wall: str | None = None
) -> Measure | Refusal:
    """Make the measure of a container that is moved within the yard, or say why nobody can move it."""
    part = moving_part(making, tree, to)
    if not part.ways:
        return not_moved(making, tree, to.key)
    return Measure(
        to.key, say("bring {where}", where=to.where), tree.id, parts=(part,), roof=roof, wall=wall, moved_to=to.at
    )


def not_moved(making: Making, tree: Tree, key: str) -> Refusal:
    """Say why nobody can move a container."""
    why = why_not_carried(making.yard, tree, making.times)
    if not helpers(making.yard):
        return Refusal(key, why, "nobody_has_time")
    lift = container_lift(tree)
    return Refusal(key, why, "too_heavy", lift.mass_kg, lift.limit_kg, "kg")


def moving_part(making: Making, tree: Tree, to: Goal) -> Part:
    """Make the part of bringing a container somewhere; it is brought back the same way some day.

    Without ways if nobody may move it.
    """
    ways = carrying_ways(making.yard, tree, to.at, making.times)
    return Part(
        key=f"{to.key}@{tree.id}",
        kind=to.kind,
        name=say("bring {tree} {where}", tree=tree.name, where=to.where),
        trees=(tree.id,),
        ways=ways,
        minutes_remove=min((way.minutes for way in ways), default=0.0),
        room=to.room,
        position=tree.position,
        steps=(
            say("Bring it first, water it afterwards: a freshly watered pot is much heavier."),
            say("Clear and light the path."),
            *to.steps,
        ),
        group=tree.id,
    )


def wall_rooms(yard: Yard) -> list[tuple[WallPlace, int]]:
    """Give the open places at warm walls, each with how many containers find room there."""
    pots = [tree for tree in yard.trees if tree.container is not None]
    if not pots:
        return []
    return [(place, place.spaces(pots)) for place in wall_places(yard) if place.roof is None]


def roofs_of(yard: Yard) -> list[Roof]:
    """Give the roofs of a yard, in file order."""
    return [structure for structure in yard.structures if isinstance(structure, Roof)]


def ground_under(yard: Yard, roof: Roof) -> BaseGeometry | None:
    """Give the ground under a roof on which a pot can stand: no building (an eave covers one in part), no pond."""
    ground: BaseGeometry = shape(roof.outline)
    for its in yard.structures:
        if isinstance(its, Building | Pond):
            ground = ground.difference(shape(its.outline))
    return ground if ground.area > 1e-3 else None


def spaces_under(yard: Yard, roof: Roof, times: SetUpTimes) -> int:
    """Give how many more containers find room under a roof, those that stand there already left out."""
    ground = ground_under(yard, roof)
    if ground is None or times.roof_m2_per_pot <= 0:
        return 0
    there = sum(1 for tree in yard.trees if roof in under_roof(yard, tree.position))
    return max(0, int(ground.area * times.roof_share / times.roof_m2_per_pot) - there)


def middle_of(outline: Sequence[XY]) -> XY:
    """Give the point inside an outline that is furthest from its edge."""
    return _middle(shape(outline))


def _middle(ground: BaseGeometry) -> XY:
    """Give the point of the largest piece of a ground that is furthest from its edge."""
    from shapely.ops import polylabel

    piece = max(getattr(ground, "geoms", [ground]), key=lambda its: float(its.area))
    spot = polylabel(piece, tolerance=0.05)
    return (float(spot.x), float(spot.y))
