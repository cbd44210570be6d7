"""Who can do a part, how, and in how many minutes."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fruitwall.plans.lifting import container_posture, posture_limit_kg
from fruitwall.plans.loads import container_mass_kg
from fruitwall.plans.parts import Lift, Way
from fruitwall.plans.pushing import KEEP_MOVING_FORCE_N, push_force_n, tilted_alone_kg, within_guideline
from fruitwall.plans.times import SetUpTimes
from fruitwall.plans.walking import CARRYING_M_S, DETOUR, walking_minutes
from fruitwall.speech import marked, quantity, say
from fruitwall.yard.model import Person, Tree, Trolley, Yard

XY = tuple[float, float]

NO_TIME = marked("nobody has time this evening")


def helpers(yard: Yard) -> list[Person]:
    """Give the people who have any time this evening."""
    return [person for person in yard.people if person.minutes_before_dusk > 0]


def easy_ways(yard: Yard, minutes: float, at: XY) -> tuple[Way, ...]:
    """Give the ways of a job that anybody can do alone from the ground."""
    walk = walking_minutes(yard.gear_store, at)
    return tuple(Way((person.id,), minutes + walk) for person in helpers(yard))


def covering_ways(yard: Yard, height: float, at: XY, minutes: float, times: SetUpTimes) -> tuple[Way, ...]:
    """Give the ways of putting a cover over a tree: alone, with a pole, two with poles, from a ladder.

    Parameters
    ----------
    yard : Yard
    height : float
        Of the tree, or of the highest under one sheet. [m]
    at : tuple of float
        Where it stands. [m, m]
    minutes : float
        Of covering it from the ground, without the walk. [min]
    times : SetUpTimes

    Returns
    -------
    tuple of Way
        A tree within one person's reach needs no help. A higher one is first of all for a pole, or for two who throw
        the cover from the ground; a ladder in the dark is the last choice, and only of those who use ladders.
    """
    people = helpers(yard)
    walk = walking_minutes(yard.gear_store, at)
    if height > times.highest_m:
        return ()
    if height <= times.reach_m:
        return tuple(Way((person.id,), minutes + walk) for person in people)
    ways = []
    if height <= times.pole_reach_m:
        ways += [Way((person.id,), minutes + times.pole + walk, note=say("alone, with a pole")) for person in people]
    ways += [
        Way((first.id, second.id), minutes + walk, note=say("two people, from the ground with poles"))
        for rank, first in enumerate(people)
        for second in people[rank + 1 :]
    ]
    ways += [
        Way(
            (person.id,),
            minutes + times.ladder + walk,
            ladder=True,
            note=say("from a ladder, which stands firm and dry"),
        )
        for person in people
        if person.uses_ladder
    ]
    return tuple(ways)


def container_mass(tree: Tree) -> float:
    """Give the mass of a tree with its container: as weighed, or estimated wet. [kg]"""
    if tree.container is None:
        raise ValueError(f"tree {tree.id} has no container")
    if tree.container.mass_kg is not None:
        return tree.container.mass_kg
    return container_mass_kg(
        tree.container.volume_l,
        tree_height_m=tree.height_m,
        crown_diameter_m=tree.crown_diameter_m,
        material=tree.container.material,
    )


def container_lift(tree: Tree) -> Lift:
    """Give the lift of a tree's container in the posture assumed for it."""
    assert tree.container is not None
    posture = container_posture(tree.container.volume_l, handles=tree.container.handles)
    return Lift(container_mass(tree), posture_limit_kg(posture))


def may_lift(person: Person, lift: Lift) -> bool:
    """Tell whether a person may lift it: index at most 1 and within the own limit."""
    own = person.max_lift_kg if person.max_lift_kg is not None else math.inf
    return person.lifts and lift.index <= 1.0 and lift.mass_kg <= own


def crews_to_roll(people: Sequence[Person], mass_kg: float) -> list[tuple[Person, ...]]:
    """Give who may tilt a load onto a trolley and keep it in balance: each who may alone, else pairs.

    Two people may take what the two may tilt alone together. A pair with somebody in it who may do it alone would
    only take more time, and is left out.
    """
    able = {person.id: tilted_alone_kg(person.max_lift_kg) for person in people if person.pushes_trolley}
    rolling = [person for person in people if person.id in able]
    weaker = [person for person in rolling if able[person.id] < mass_kg]
    return [(person,) for person in rolling if able[person.id] >= mass_kg] + [
        (first, second)
        for rank, first in enumerate(weaker)
        for second in weaker[rank + 1 :]
        if able[first.id] + able[second.id] >= mass_kg
    ]


def may_be_rolled(trolley: Trolley, mass_kg: float, times: SetUpTimes) -> bool:
    """Tell whether a load may go on a trolley: it bears it, and one person's push on soft ground is within guidance.

    The push is that of one person even where two tilt it: one pushes, the other steadies.
    """
    return mass_kg <= trolley.max_mass_kg and within_guideline(push_force_n(mass_kg + times.trolley_mass_kg))


def carrying_ways(yard: Yard, tree: Tree, to: XY, times: SetUpTimes) -> tuple[Way, ...]:
    """Give the ways of bringing a container to another place: by hand where that is allowed, or on a trolley.

    Parameters
    ----------
    yard : Yard
        With its people and trolleys.
    tree : Tree
        In a container.
    to : tuple of float
        [m, m]
    times : SetUpTimes

    Returns
    -------
    tuple of Way
        Empty if nobody may.
    """
    lift = container_lift(tree)
    metres = DETOUR * math.dist(tree.position, to)
    there = walking_minutes(yard.gear_store, tree.position)
    loaded = metres / CARRYING_M_S / 60.0
    ways = []
    set_downs = math.ceil(max(0.0, metres / times.rest_every_m - 1.0))
    by_hand = times.carry + there + loaded + set_downs * times.rest
    for person in helpers(yard):
        if may_lift(person, lift):
            lifts = 1 + set_downs
            note = (
                say("by hand")
                if not set_downs
                else say("by hand, set down every {rest_every_m}", rest_every_m=quantity(times.rest_every_m, "m", "g"))
            )
            ways.append(Way((person.id,), by_hand, lifts=lifts, lifts_back=lifts, lift=lift, note=note))
    rests = math.ceil(max(0.0, metres / times.roll_rest_every_m - 1.0))
    rolled = times.carry + times.trolley + there + loaded + rests * times.rest
    for trolley in yard.gear.trolleys:
        if not may_be_rolled(trolley, lift.mass_kg, times):
            continue
        for crew in crews_to_roll(helpers(yard), lift.mass_kg):
            note = say(
                "on {trolley}, tilted on, not lifted, two people: one tilts and pushes, the other steadies it"
                if len(crew) > 1
                else "on {trolley}, tilted on, not lifted",
                trolley=trolley.name,
            )
            ways.append(Way(tuple(person.id for person in crew), rolled, trolley=trolley.id, note=note))
    return tuple(ways)


def why_not_carried(yard: Yard, tree: Tree, times: SetUpTimes) -> str:
    """Say why nobody can bring a container anywhere."""
    people: Sequence[Person] = helpers(yard)
    if not people:
        return NO_TIME
    lift = container_lift(tree)
    mass = quantity(lift.mass_kg, "kg", ".0f")
    words = []
    if lift.limit_kg <= 0.0:
        words.append(say("it is too wide to be held close enough to lift"))
    elif lift.index > 1.0:
        words.append(
            say(
                "with its width and grip {limit_kg} are the most to be lifted (lifting index {index})",
                limit_kg=quantity(lift.limit_kg, "kg", ".0f"),
                index=quantity(lift.index, "", ".1f"),
            )
        )
    elif not any(person.lifts for person in people):
        words.append(say("nobody lifts"))
    else:
        words.append(say("it is above everybody's own limit"))
    push = push_force_n(lift.mass_kg + times.trolley_mass_kg)
    if not yard.gear.trolleys:
        words.append(say("there is no trolley"))
    elif not within_guideline(push):
        most = say(
            "more than the {force} N advised",
            force=quantity(KEEP_MOVING_FORCE_N, "", ".0f"),
        )
        words.append(
            say(
                "on a trolley on soft ground it takes {push} N of push, {most}",
                push=quantity(push, "", ".0f"),
                most=most,
            )
        )
    elif not any(person.pushes_trolley for person in people):
        words.append(say("nobody pushes the trolley"))
    elif not any(lift.mass_kg <= trolley.max_mass_kg for trolley in yard.gear.trolleys):
        words.append(say("no trolley bears it"))
    else:
        words.append(say("tilting it onto the trolley takes somebody stronger, or two people"))
    return say("it weighs about {mass}: {first}, and {second}", mass=mass, first=words[0], second=words[1])
