"""What can be done for each tree with this yard's gear, places and people.

Only what is physically possible and allowed is listed: sheets that reach the ground, lamps under a cover and within
reach of a protected circuit, heaters with clearance, containers that somebody may lift or roll. What is left out is
told with its reason by `refused_measures`. Which of it is worth doing is for `plans.evening`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from fruitwall.plans.covering import covered
from fruitwall.plans.feeds import circuit_watts
from fruitwall.plans.making import NIGHT_H, Making, Refusal, make_ready
from fruitwall.plans.moving import carried, roofs_of, spaces_under, to_walls, under_roofs, wall_rooms
from fruitwall.plans.parts import Lift, Measure, Part, Setting, Way
from fruitwall.plans.picking import picked
from fruitwall.plans.problem import Supplies, Supply
from fruitwall.plans.sheltering import closes, heater_refusals, sheltered, states_of
from fruitwall.plans.times import SetUpTimes
from fruitwall.plans.together import covered_together, groups_of, sheets_of
from fruitwall.plans.ways import NO_TIME, easy_ways, helpers
from fruitwall.speech import marked, quantity, say
from fruitwall.yard.model import Tree, Yard
from fruitwall.yard.plan import ground_at

__all__ = [
    "Lift",
    "Measure",
    "Part",
    "Refusal",
    "SetUpTimes",
    "Setting",
    "Way",
    "possible_measures",
    "refused_measures",
    "settings_of",
    "supplies_of",
]

MINUTES_STEP = 30.0
"""What "one more" of a person's minutes means. [min]"""


def possible_measures(
    yard: Yard,
    tree: Tree,
    *,
    times: SetUpTimes | None = None,
    rain_expected: bool = False,
    night_hours: float = NIGHT_H,
    sun_minutes: float = math.inf,
    dry_l: float = 0.0,
) -> list[Measure]:
    """Give what can be done for a tree.

    Parameters
    ----------
    yard : Yard
        With its gear, circuits, places and people.
    tree : Tree
        One of the yard's trees.
    times : SetUpTimes, optional
        How long things take.
    rain_expected : bool
        Rain is forecast before the night: the ground needs no wetting.
    night_hours : float
        Hours for which lamps and heaters are on this night, above 0 to 24. [h]
    sun_minutes : float
        Time until the sun leaves the ground: wetting must be over by then. [min]
    dry_l : float
        Water that is missing from the upper soil under the tree, where that is known; 0 where not. [L]

    Returns
    -------
    list of Measure
        The first is ``leave``. Keys are unique.
    """
    making = make_ready(yard, times, rain_expected, night_hours, sun_minutes, dry_l)
    return [found for found in _considered(making, tree) if isinstance(found, Measure)]


def refused_measures(
    yard: Yard,
    tree: Tree,
    *,
    times: SetUpTimes | None = None,
    rain_expected: bool = False,
    night_hours: float = NIGHT_H,
    sun_minutes: float = math.inf,
) -> list[Refusal]:
    """Give what this yard has gear or places for but cannot be done for a tree, and why.

    Parameters
    ----------
    yard, tree, times, rain_expected, night_hours, sun_minutes
        As in `possible_measures`.

    Returns
    -------
    list of Refusal
    """
    making = make_ready(yard, times, rain_expected, night_hours, sun_minutes)
    return [found for found in _considered(making, tree) if isinstance(found, Refusal)]


def settings_of(yard: Yard, *, times: SetUpTimes | None = None, night_hours: float = NIGHT_H) -> tuple[Setting, ...]:
    """Give every state of what trees share: standing shelters, open first, and single sheets over several, apart first.

    Parameters
    ----------
    yard, times, night_hours
        As in `possible_measures`.

    Returns
    -------
    tuple of Setting
    """
    making = make_ready(yard, times, False, night_hours)
    shelters = [setting for shelter in yard.shelters for setting in states_of(making, shelter)]
    return (*shelters, *(setting for group in groups_of(making) for setting in sheets_of(making, group)))


def supplies_of(yard: Yard, *, times: SetUpTimes | None = None) -> Supplies:
    """Give all that can be used up on an evening.

    Parameters
    ----------
    yard, times
        As in `possible_measures`.

    Returns
    -------
    Supplies
    """
    space = times or SetUpTimes()
    items = [Supply("sheet", cover.id, cover.name, cover.count) for cover in yard.gear.covers]
    items += [Supply("lamps", lamp.id, lamp.name, lamp.count) for lamp in yard.gear.lamps]
    items += [Supply("heater", heater.id, heater.name, heater.count) for heater in yard.gear.heaters]
    items += [Supply("lead", lead.id, lead.name, lead.count) for lead in yard.gear.leads]
    items += [
        Supply("circuit", circuit.id, circuit.name, circuit_watts(circuit), "W", circuit_watts(circuit))
        for circuit in yard.circuits
    ]
    spaces = marked("spaces")
    items += [Supply("room", f"place:{place.id}", place.name, place.spaces, spaces) for place in yard.indoor_places]
    items += [
        Supply("room", f"roof:{roof.id}", roof.name, spaces_under(yard, roof, space), spaces) for roof in roofs_of(yard)
    ]
    items += [Supply("room", f"wall:{place.key}", place.name, n, spaces) for place, n in wall_rooms(yard)]
    items += [
        Supply("person", person.id, person.name, person.minutes_before_dusk, "min", MINUTES_STEP)
        for person in yard.people
    ]
    items += [Supply("trolley", trolley.id, trolley.name, trolley.count) for trolley in yard.gear.trolleys]
    return Supplies(tuple(items))


def _considered(making: Making, tree: Tree) -> Iterator[Measure | Refusal]:
    """Go through everything that could be done for a tree, with its fruit left on and, where it may be, picked."""
    found = list(_unpicked(making, tree))
    yield from found
    yield from picked(making, tree, [its for its in found if isinstance(its, Measure)])


def _unpicked(making: Making, tree: Tree) -> Iterator[Measure | Refusal]:
    """Go through everything that the yard could do for a tree while its fruit hangs."""
    shelter = next((its for its in making.yard.shelters if tree.id in its.trees and closes(its)), None)
    states = states_of(making, shelter) if shelter is not None else []
    # A tree of a shelter that is treated on its own stands in the open shelter meanwhile.
    sheets = {group.key: sheets_of(making, group) for group in groups_of(making) if tree in group.trees}
    apart = tuple(settings[0] for settings in sheets.values())
    open_ = (*states[:1], *apart)
    yield Measure("leave", say("leave as it is"), tree.id, requires=open_)
    if shelter is not None:
        for setting in states[1:]:
            yield sheltered(tree, shelter, setting)
        yield from heater_refusals(making, shelter)
    yield from wetted(making, tree, open_)
    yield from covered(making, tree, open_)
    yield from covered_together(making, tree, sheets)
    if tree.container is not None:
        for found in (*carried(making, tree), *under_roofs(making, tree), *to_walls(making, tree)):
            # Whoever is carried away is not under a sheet with others.
            yield replace(found, requires=apart) if isinstance(found, Measure) else found


def wetted(making: Making, tree: Tree, open_: tuple[Setting, ...]) -> Iterator[Measure | Refusal]:
    """Wet the ground of a planted tree, so that it stores the day's sun."""
    yard, times = making.yard, making.times
    if tree.container is not None:
        return
    lies = ground_at(yard, tree.position)
    if lies is not None:
        yield Refusal("wet", say("it stands in {place}, not in open ground", place=lies.name), "not_open_ground")
        return
    if making.rain_expected:
        yield Refusal("wet", say("rain is expected, which wets the ground by itself"), "rain_expected")
        return
    if not helpers(yard):
        yield Refusal("wet", NO_TIME, "nobody_has_time")
        return
    area = math.pi / 4.0 * (tree.crown_diameter_m + 1.0) ** 2
    all_ways = easy_ways(yard, times.wet + times.wet_per_m2 * area, tree.position)
    ways = tuple(way for way in all_ways if way.minutes <= making.sun_minutes)
    if not ways:
        need = min(way.minutes for way in all_ways)
        why = say(
            "to wet its ground takes {need} min, and the sun leaves the ground in {sun_minutes} min",
            need=quantity(need, "", ".0f"),
            sun_minutes=quantity(making.sun_minutes, "", ".0f"),
        )
        yield Refusal("wet", why, "sun_leaves")
        return
    part = Part(
        key=f"wet@{tree.id}",
        kind="wet",
        name=say("wet the ground under {tree}", tree=tree.name),
        trees=(tree.id,),
        ways=ways,
        stays=False,  # it stores the sun of its own day; a night later it is dry on top again
        deadline="before_sun_leaves",
        position=tree.position,
        steps=(
            *((say("Its upper soil lacks {water}.", water=quantity(making.dry_l, "L")),) if making.dry_l > 0.0 else ()),
            say(
                "Water the bare soil under and around the crown thoroughly while the sun is still on it; "
                "keep leaves dry."
            ),
            say(
                "Do it first: only the sun that is still to come warms the wet ground, and the plan counts "
                "it from now on."
            ),
            say("Not where lamps or leads are plugged in."),
        ),
        group=tree.id,
    )
    yield Measure(
        "wet", say("wet the ground while the sun is on it"), tree.id, parts=(part,), requires=open_, wet_ground=True
    )
