"""Picking the fruit before a night that would spoil it: the tree itself gains and loses nothing."""

from __future__ import annotations

import math
from dataclasses import replace

from fruitwall.plans.making import Making
from fruitwall.plans.parts import Measure, Part, Way
from fruitwall.plans.walking import walking_minutes
from fruitwall.plans.ways import helpers
from fruitwall.speech import say
from fruitwall.yard.model import Tree

PER_KG = 3.0
"""Worth of a kilogram of fruit, by which its mass is guessed where the yard does not say it. common practice, no
source. [currency/kg]"""

MOST_KG = 100.0
"""The guess never goes beyond this. Our judgement. [kg]"""

SECONDS_PER_FRUIT = 6.0
"""To cut one fruit and lay it down. common practice, no source. [s]"""

SLOWEST_MIN_PER_KG = 8.0
"""Berries are stripped by the handful: no fruit takes longer. common practice, no source. [min/kg]"""

FRUIT_DENSITY_KG_M3 = 1000.0
"""About that of water: ripe fruit just floats or just sinks. [kg/m³]"""

USUAL_FRUIT_M = 0.06
"""Diameter of the fruit where the kind's is not known. Our judgement. [m]"""

HALVED_FROM_MIN = 10.0
"""Picking that takes longer may be done by halves. Our judgement. [min]"""

LEAST_SHARE = 0.1
"""If less of the crown is within reach, nobody is asked to pick. Our judgement."""


def picked(making: Making, tree: Tree, measures: list[Measure]) -> list[Measure]:
    """Give each of a tree's measures once more with its fruit picked, and with half of it picked.

    Parameters
    ----------
    making : Making
    tree : Tree
    measures : list of Measure
        What else could be done for it; the first is ``leave``.

    Returns
    -------
    list of Measure
        ``pick``, then ``<key>+pick``; where that takes long, before these ``pick-half`` and ``<key>+pick-half``. Empty
        unless the yard says that there is fruit, that it is worth something and that it may be picked.

    Notes
    -----
    Once picked, fruit stays picked: on the nights after, the part costs nothing. Each measure is needed in all ways,
    so that a tree picked tonight can be covered tomorrow. Picking is two parts, so that the rest can follow on another
    evening, or be done by somebody else at the same time.
    """
    parts = _pick_parts(making, tree)
    share = share_within_reach(tree, making.times.pole_reach_m)
    found = []
    for done in range(1, len(parts) + 1):
        word = "pick" if done == len(parts) else "pick-half"
        half = "half of " if word == "pick-half" else ""
        found += [
            replace(
                measure,
                key=word if measure.key == "leave" else f"{measure.key}+{word}",
                name=say("pick half of its fruit" if half else "pick its fruit")
                if measure.key == "leave"
                else say(
                    "{measure}, half of its fruit picked" if half else "{measure}, its fruit picked",
                    measure=measure.name,
                ),
                parts=(*parts[:done], *measure.parts),
                fruit_picked=share * done / len(parts),
            )
            for measure in measures
        ]
    return found


def share_within_reach(tree: Tree, reach_m: float) -> float:
    """Give the share of a crown's height that can be picked from the ground with a picking pole. [0-1]"""
    deep = tree.height_m - tree.crown_base_m
    if deep <= 0.0:
        return 1.0 if tree.height_m <= reach_m else 0.0
    return min(1.0, max(0.0, (reach_m - tree.crown_base_m) / deep))


def picking_minutes(mass_kg: float, fruit_diameter_m: float) -> float:
    """Give the time to pick so much fruit of a size. [min]

    Parameters
    ----------
    mass_kg : float
        Of the fruit. [kg]
    fruit_diameter_m : float
        Of one. [m]
    """
    one_kg = FRUIT_DENSITY_KG_M3 * math.pi / 6.0 * fruit_diameter_m**3
    return mass_kg * min(SLOWEST_MIN_PER_KG, SECONDS_PER_FRUIT / 60.0 / one_kg)


def _pick_parts(making: Making, tree: Tree) -> tuple[Part, ...]:
    """Make the parts of picking a tree's fruit, two if it takes long; none without fruit or anybody to pick it."""
    share = share_within_reach(tree, making.times.pole_reach_m)
    if not (tree.pickable and tree.fruit_worth > 0.0 and "fruit" in tree.stages) or share < LEAST_SHARE:
        return ()
    people = helpers(making.yard)
    if not people:
        return ()
    mass = tree.fruit_mass_kg if tree.fruit_mass_kg is not None else min(MOST_KG, tree.fruit_worth / PER_KG)
    minutes = picking_minutes(share * mass, _fruit_diameter_m(tree))
    walk = walking_minutes(making.yard.gear_store, tree.position)
    pairs = [(first, second) for at, first in enumerate(people) for second in people[at + 1 :]]
    steps = [say("Cut or twist off what is ripe or will ripen indoors, and bring it under cover before the frost.")]
    if share < 1.0:
        steps.append(say("Leave what cannot be reached from the ground with a picking pole; no ladder in the dark."))

    def part(key: str, name: str, before: float, picking: float, first: tuple[str, ...] = ()) -> Part:
        return Part(
            key=key,
            kind="pick",
            name=name,
            trees=(tree.id,),
            ways=(
                *(Way((person.id,), before + picking) for person in people),
                *(Way((a.id, b.id), before + picking / 2.0, note=say("two people")) for a, b in pairs),
            ),
            position=tree.position,
            steps=(*first, *steps),
            group=tree.id,
        )

    key, fetch = f"pick@{tree.id}", making.times.pick
    if minutes < HALVED_FROM_MIN:
        return (part(key, say("pick the fruit of {tree}", tree=tree.name), fetch + walk, minutes),)
    ripest = say("Take the ripest and best half, and what hangs outermost: the cold takes that first.")
    return (
        part(key, say("pick half of the fruit of {tree}", tree=tree.name), fetch + walk, minutes / 2.0, (ripest,)),
        part(f"{key}/rest", say("pick the rest of the fruit of {tree}", tree=tree.name), walk, minutes / 2.0),
    )


def _fruit_diameter_m(tree: Tree) -> float:
    """Give the diameter of a tree's ripe fruit by its kind. [m]"""
    from fruitwall.errors import UnknownTaxonError
    from fruitwall.plants.catalogue import catalogue

    try:
        known = catalogue().find(tree.taxon).fruit_diameter_m
    except UnknownTaxonError:
        return USUAL_FRUIT_M
    return known if math.isfinite(known) and known > 0.0 else USUAL_FRUIT_M
