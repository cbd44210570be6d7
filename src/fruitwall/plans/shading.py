"""What can be done for each tree against heat with this yard's gear, shady places and people.

The same words as in winter (`plans.parts`): a tree gets one measure for the hot days ahead; a measure is made of parts
that somebody does. Cloth stays up for all these days, a pot stays where it was brought, paint serves all summer, water
is given before every hot day. Which of it is worth doing is for `plans.summer`.

Keys of measures: ``leave``; ``shade:<percent>[/frame]``, ``into_shade:<place>``; to any of them ``+whitewash`` and
``+water`` may be added, or they stand alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from fruitwall.plans.covers import fits, sheet_for
from fruitwall.plans.making import XY, Making, Refusal, make_ready, not_reached
from fruitwall.plans.moving import Goal, moving_part, not_moved
from fruitwall.plans.parts import Measure, Part
from fruitwall.plans.problem import PAINT, Supplies, Supply
from fruitwall.plans.shade_places import ShadePlace
from fruitwall.plans.times import SetUpTimes
from fruitwall.plans.ways import NO_TIME, covering_ways, easy_ways, helpers
from fruitwall.speech import marked, quantity, say
from fruitwall.yard.model import Tree, Yard
from fruitwall.yard.shading import ShadeCloth

MAKING_H = 1.0
"""Hours of lamps and heaters, of which there are none here. [h]"""

SPELLS_A_SUMMER = 4.0
"""Hot spells among which the work of whitewashing is shared: the paint stays on all summer. Our judgement."""

TRUNK_PER_CROWN = 0.04
"""Diameter of a trunk over that of its crown; common practice, no source. [-]"""

PAINT_L_PER_M2 = 0.25
"""Paint before thinning for two thin coats; common practice, no source. [L/m²]"""

HIGHEST_LIMB_M = 2.0
"""Bark is painted from the ground up to this height. Our judgement. [m]"""

SHORTEST_TRUNK_M = 0.4
"""Least length that is painted, also where leaves come down to the ground. Our judgement. [m]"""

WAYS_OF_WATER = marked("Give it slowly, early in the morning, so that all of the roots are wet before it is hot.")

TOO_HIGH_FOR_CLOTH = marked("it is {height} high; above {highest_m} no cloth is hung over a crown")


@dataclass(frozen=True)
class SummerTree:
    """What the makers must know of a tree besides the yard.

    Attributes
    ----------
    places : tuple of ShadePlace
        Where its pot could stand in the shade (`plans.shade_places.places_in_shade`).
    thirsty : bool
        It goes into the hot days without water enough unless somebody waters it.
    bark_matters : bool
        Its bark may be hurt, so that painting it is thought of.
    painted : bool
        It is painted already, which takes no more paint.
    """

    places: tuple[ShadePlace, ...] = ()
    thirsty: bool = False
    bark_matters: bool = False
    painted: bool = False


def shade_sheet_for(tree: Tree) -> tuple[float, float]:
    """Give the smallest square cloth that hangs over a crown down to its lowest leaves.

    By the geometry of covers (`plans.covers.sheet_for`), with the depth of the crown in place of the tree's height: a
    cloth that lies on the top alone lets the afternoon's sun in below it. [m, m]
    """
    return sheet_for(tree.crown_diameter_m, crown_depth_m(tree))


def crown_depth_m(tree: Tree) -> float:
    """Give the height from the lowest leaves to the top. [m]"""
    return max(0.1, tree.height_m - tree.crown_base_m)


@dataclass(frozen=True)
class _Depth:
    """A crown as `plans.covers.fits` asks for it, lifted off the ground."""

    crown_diameter_m: float
    height_m: float


def shade_fits(cloth: ShadeCloth, tree: Tree) -> bool:
    """Tell whether a cloth hangs over a crown down to its lowest leaves."""
    return fits(cloth, _Depth(tree.crown_diameter_m, crown_depth_m(tree)))


def summer_measures(
    yard: Yard, tree: Tree, about: SummerTree, *, days: int, times: SetUpTimes | None = None
) -> list[Measure]:
    """Give what can be done for a tree against heat.

    Parameters
    ----------
    yard : Yard
        With shade cloth, paint, trolleys and people.
    tree : Tree
    about : SummerTree
    days : int
        Hot days ahead for which it is done, 1 or more.
    times : SetUpTimes, optional

    Returns
    -------
    list of Measure
        The first is ``leave``. Keys are unique.
    """
    return [found for found in _considered(yard, tree, about, days, times) if isinstance(found, Measure)]


def summer_refusals(
    yard: Yard, tree: Tree, about: SummerTree, *, days: int, times: SetUpTimes | None = None
) -> list[Refusal]:
    """Give what this yard has gear or places for but cannot be done for a tree, and why.

    Parameters
    ----------
    yard, tree, about, days, times
        As `summer_measures`.

    Returns
    -------
    list of Refusal
    """
    return [found for found in _considered(yard, tree, about, days, times) if isinstance(found, Refusal)]


def summer_supplies(yard: Yard, places: Sequence[ShadePlace], minutes: Mapping[str, float]) -> Supplies:
    """Give all that can be used up.

    Parameters
    ----------
    yard : Yard
    places : sequence of ShadePlace
        Each has room for one pot.
    minutes : mapping of person to float
        Time that everybody has until the first hot day. [min]

    Returns
    -------
    Supplies
    """
    items = [Supply("sheet", cloth.id, cloth.name, cloth.count) for cloth in yard.gear.shades]
    if yard.gear.paints:
        names = " / ".join(dict.fromkeys(paint.name for paint in yard.gear.paints))
        items.append(Supply("paint", PAINT, names, sum(paint.volume_l for paint in yard.gear.paints), "L"))
    items += [Supply("room", f"shade:{place.key}", place.name, 1, marked("spaces")) for place in places]
    items += [
        Supply("person", person.id, person.name, minutes.get(person.id, 0.0), "min", 30.0) for person in yard.people
    ]
    items += [Supply("trolley", trolley.id, trolley.name, trolley.count) for trolley in yard.gear.trolleys]
    return Supplies(tuple(items))


def _considered(
    yard: Yard, tree: Tree, about: SummerTree, days: int, times: SetUpTimes | None
) -> Iterator[Measure | Refusal]:
    """Go through everything that could be done for a tree, alone and joined."""
    if days < 1:
        raise ValueError(f"days must be 1 or more, got {days}")
    making = make_ready(yard, times, False, MAKING_H)
    alone: list[Measure] = [Measure("leave", say("leave as it is"), tree.id)]
    for found in (*_clothed(making, tree, days), *_moved(making, tree, about.places)):
        if isinstance(found, Refusal):
            yield found
        else:
            alone.append(found)
    joined = list(alone)
    if about.bark_matters and (yard.gear.paints or about.painted) and helpers(yard):
        # Bark of a pot in the shade needs no paint.
        joined += [_with_paint(making, tree, one, about) for one in alone if not one.in_shade]
    elif about.bark_matters and yard.gear.paints:
        yield Refusal("whitewash", NO_TIME, "nobody_has_time")
    if about.thirsty and helpers(yard):
        joined += [_with_water(making, tree, one, days) for one in joined]
    elif about.thirsty:
        yield Refusal("water", NO_TIME, "nobody_has_time")
    yield from joined


def _clothed(making: Making, tree: Tree, days: int) -> Iterator[Measure | Refusal]:
    """Hang shade cloth over a tree: of each density the smallest piece that hangs low enough."""
    cloths = making.yard.gear.shades
    for shade, on_frame in dict.fromkeys((cloth.shade, cloth.on_frame) for cloth in cloths):
        same = [cloth for cloth in cloths if (cloth.shade, cloth.on_frame) == (shade, on_frame)]
        fitting = sorted((c for c in same if shade_fits(c, tree)), key=lambda c: (c.width_m * c.length_m, c.id))
        key = f"shade:{100 * shade:.0f}" + ("/frame" if on_frame else "")
        if not fitting:
            yield _too_small(tree, key, same)
            continue
        part = shade_part(making, tree, tuple(fitting), key, days)
        if not part.ways:
            yield not_reached(making, tree, key, TOO_HIGH_FOR_CLOTH)
            continue
        name = say(
            "shade it with cloth of {percent} % on its frame" if on_frame else "shade it with cloth of {percent} %",
            percent=quantity(100 * shade, "", ".0f"),
        )
        yield Measure(key, name, tree.id, parts=(part,), shade=shade, on_frame=on_frame)


def shade_part(making: Making, tree: Tree, cloths: tuple[ShadeCloth, ...], key: str, days: int) -> Part:
    """Make the part of hanging shade cloth over a tree.

    Parameters
    ----------
    making : Making
    tree : Tree
    cloths : tuple of ShadeCloth
        Those that are large enough, the smallest first.
    key : str
        Of the measure that it makes.
    days : int
        Days for which it hangs, each of which wears it.

    Returns
    -------
    Part
        Without ways if nobody can do it.
    """
    times, on_frame = making.times, cloths[0].on_frame
    minutes = times.cover + times.cover_per_m * (tree.height_m + tree.crown_diameter_m)
    minutes += times.frame if on_frame else 0.0
    side = shade_sheet_for(tree)[0]
    return Part(
        key=f"{key}@{tree.id}",
        kind="shade",
        name=say("hang shade cloth over {tree}", tree=tree.name),
        trees=(tree.id,),
        ways=covering_ways(making.yard, tree.height_m, tree.position, minutes, times),
        minutes_remove=times.cover_remove,
        sheets=tuple(cloth.id for cloth in cloths),
        wear=cloths[0].wear * days,
        position=tree.position,
        steps=(
            say("Set stakes or the frame first, a hand's breadth off the leaves.")
            if on_frame
            else say("Lay it over the crown and hold it off the leaves with stakes where you can."),
            say(
                "It must hang down to the lowest leaves on the sides of the midday and the afternoon sun: {side} both "
                "ways for this crown.",
                side=quantity(side, "m", ".1f"),
            ),
            say("Leave it open below, so that air moves; tie every corner against wind."),
            say("It may stay up while the hot spell lasts. Take it down afterwards: shade costs growth and fruit."),
        ),
        group=tree.id,
    )


def _too_small(tree: Tree, key: str, same: Sequence[ShadeCloth]) -> Refusal:
    """Say that no piece hangs low enough."""
    need = shade_sheet_for(tree)[0]
    largest = max(min(cloth.width_m, cloth.length_m) for cloth in same)
    why = say(
        "no shade cloth is large enough: to hang down to the lowest leaves takes {need} both ways",
        need=quantity(need, "m", ".1f"),
    )
    return Refusal(key, why, "no_sheet", need, largest, "m")


def _moved(making: Making, tree: Tree, places: Sequence[ShadePlace]) -> Iterator[Measure | Refusal]:
    """Bring a container into the shade."""
    for place in places:
        key = f"into_shade:{place.key}"
        steps = (
            say("The place lies {where} from where it stands now.", where=place.way_from(tree.position)),
            say("It may stay there while the hot spell lasts, and is brought back little by little afterwards."),
        )
        where = say("into {place}", place=place.name)
        part = moving_part(making, tree, Goal("into_shade", key, f"shade:{place.key}", where, place.position, steps))
        if not part.ways:
            yield not_moved(making, tree, key)
            return  # whoever cannot move it here cannot move it there
        name = say("bring it {where}", where=where)
        yield Measure(key, name, tree.id, parts=(part,), in_shade=True, moved_to=place.position)


def _joined(first: Measure, key: str, name: str, part: Part) -> Measure:
    """Add a part to a measure; to leaving, it is the whole measure."""
    if not first.parts:
        return replace(first, key=key, name=name, parts=(part,))
    return replace(
        first,
        key=f"{first.key}+{key}",
        name=say("{first}, and {second}", first=first.name, second=name),
        parts=(*first.parts, part),
    )


def bark_m2(tree: Tree) -> float:
    """Give the bark of trunk and lower limbs that is painted. [m²]"""
    return math.pi * TRUNK_PER_CROWN * tree.crown_diameter_m * painted_m(tree)


def painted_m(tree: Tree) -> float:
    """Give the length of trunk and limbs that is painted. [m]"""
    return min(HIGHEST_LIMB_M, max(SHORTEST_TRUNK_M, tree.crown_base_m, tree.height_m / 3.0))


def _with_paint(making: Making, tree: Tree, first: Measure, about: SummerTree) -> Measure:
    """Whitewash the bark, besides what else is done."""
    times = making.times
    minutes = times.whitewash + times.whitewash_per_m * painted_m(tree)
    part = Part(
        key=f"whitewash@{tree.id}",
        kind="whitewash",
        name=say("whitewash the bark of {tree}", tree=tree.name),
        trees=(tree.id,),
        ways=easy_ways(making.yard, minutes, tree.position),
        position=tree.position,
        steps=(
            say("Thin white water-based paint, but only so far that it is still white when dry."),
            say(
                "Paint the trunk and the bare limbs up to {height}, above all on the sides of the midday and the "
                "afternoon sun.",
                height=quantity(HIGHEST_LIMB_M, "m", ".0f"),
            ),
            say("Not on leaves, buds or wet bark. It serves all summer."),
        ),
        group=tree.id,
        price_share=1.0 / SPELLS_A_SUMMER,
        paint_l=0.0 if about.painted else PAINT_L_PER_M2 * bark_m2(tree),
    )
    return replace(_joined(first, "whitewash", say("whitewash its bark"), part), whitewashed=True)


def _with_water(making: Making, tree: Tree, first: Measure, days: int) -> Measure:
    """Water before every hot day, besides what else is done."""
    times = making.times
    if tree.container is not None:
        minutes = times.pot_water
        how = say("Water the pot until some runs out below.")
    else:
        minutes = times.wet + times.wet_per_m2 * math.pi / 4.0 * (tree.crown_diameter_m + 1.0) ** 2
        how = say("Water the ground under the crown thoroughly.")
    at: XY = first.moved_to or tree.position
    ways = easy_ways(making.yard, minutes, at)
    part = Part(
        # The walk there belongs to the place: one part for each.
        key=f"water@{tree.id}" + (f"/{first.key}" if first.moved_to else ""),
        kind="water",
        name=say("water {tree} before every hot day", tree=tree.name),
        trees=(tree.id,),
        ways=ways,
        minutes_morning=(days - 1) * min(way.minutes for way in ways),
        stays=False,
        deadline="morning",
        position=at,
        steps=(how, say(WAYS_OF_WATER)),
        group=tree.id,
    )
    return replace(_joined(first, "water", say("water it before every hot day"), part), watered=True)
