"""Standing shelters: one decision for all their trees."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from fruitwall.plans.covers import HEATER_CLEARANCE_M, HEATER_SIZE_M
from fruitwall.plans.feeds import Load, feeds_for, why_no_power
from fruitwall.plans.making import SHELTER, XY, Making, Refusal, heater_part, lamps_part
from fruitwall.plans.moving import middle_of
from fruitwall.plans.parts import Measure, Part, Setting
from fruitwall.plans.ways import easy_ways, helpers
from fruitwall.speech import marked, quantity, say
from fruitwall.yard.model import Shelter, Tree, Yard
from fruitwall.yard.plan import shape

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


KEEP_BARRELS = marked(
    "Leave the barrels of water inside, full and with their lids on: they give back the day's warmth."
)
"""Said of shelters with barrels, which the night is computed with."""


def closes(shelter: Shelter) -> bool:
    """Tell whether there is anything to close."""
    return shelter.top != "open" or shelter.sides != "open"


def states_of(making: Making, shelter: Shelter) -> list[Setting]:
    """Give the states of a shelter, open first."""
    yard, times = making.yard, making.times
    group = f"{SHELTER}{shelter.id}"
    states = [Setting(group, "open", say("{shelter} left open", shelter=shelter.name))]
    at = middle_of(shelter.outline)
    if not closes(shelter) or not helpers(yard):
        return states
    trees = tuple(shelter.trees)
    close = Part(
        key=f"close:{shelter.id}",
        kind="close",
        name=say("close {shelter}", shelter=shelter.name),
        trees=trees,
        ways=easy_ways(yard, shelter.minutes_to_close, at),
        minutes_morning=shelter.minutes_to_open,
        stays=False,
        position=at,
        steps=(
            say("Close all sides down to the ground while it is still warm inside."),
            *((KEEP_BARRELS,) if shelter.water_l > 0.0 else ()),
        ),
        group=group,
    )
    states.append(Setting(group, "closed", say("close {shelter}", shelter=shelter.name), (close,)))
    for lamp in yard.gear.lamps:
        if feeds := feeds_for(yard, Load(lamp.watts, False, at), times):
            part = lamps_part(making, lamp, feeds, at, trees, group, shelter.name)
            name = say("close {shelter}, with {lamp} inside", shelter=shelter.name, lamp=lamp.name)
            states.append(Setting(group, f"closed+lamps:{lamp.id}", name, (part, close)))
    for heater in yard.gear.heaters:
        spot = _heater_spot(yard, shelter)
        if spot is not None and (feeds := feeds_for(yard, Load(heater.watts, True, spot), times)):
            part = heater_part(making, heater, feeds, spot, trees, group, shelter.name)
            name = say("close {shelter}, with {heater} inside", shelter=shelter.name, heater=heater.name)
            states.append(Setting(group, f"closed+heater:{heater.id}", name, (part, close)))
    return states


def sheltered(tree: Tree, shelter: Shelter, setting: Setting) -> Measure:
    """Give the measure of a tree whose shelter is in a closed state."""
    heat = setting.state.partition("+")[2]
    return Measure(
        key=f"shelter:{shelter.id}" + (f"+{heat}" if heat else ""),
        name=setting.name,
        tree=tree.id,
        requires=(setting,),
        shelter=shelter.id,
        lamp=setting.lamp,
        heater=setting.heater,
    )


def heater_refusals(making: Making, shelter: Shelter) -> Iterator[Refusal]:
    """Say why a heater cannot stand in a shelter."""
    spot = _heater_spot(making.yard, shelter)
    for heater in making.yard.gear.heaters:
        key = f"shelter:{shelter.id}+heater:{heater.id}"
        if spot is None:
            why = say(
                "no place in {shelter} is {clearance} from its sides and all leaves",
                shelter=shelter.name,
                clearance=quantity(HEATER_CLEARANCE_M, "m", ".2f"),
            )
            yield Refusal(key, why, "no_clearance")
        elif not feeds_for(making.yard, Load(heater.watts, True, spot), making.times):
            yield Refusal(key, why_no_power(making.yard, Load(heater.watts, True, spot), making.times), "no_power")


def _heater_spot(yard: Yard, shelter: Shelter) -> XY | None:
    """Give the place in a shelter with most room round a heater, None if none has the clearance."""
    from shapely import Point
    from shapely.ops import polylabel

    clearance = HEATER_CLEARANCE_M + HEATER_SIZE_M / 2.0
    free: BaseGeometry = shape(shelter.outline).buffer(-clearance)
    for tree in yard.trees:
        if tree.id in shelter.trees:
            free = free.difference(Point(tree.position).buffer(tree.crown_diameter_m / 2.0 + clearance))
    parts = sorted(getattr(free, "geoms", [free]), key=lambda polygon: -float(polygon.area))
    if not parts or parts[0].area <= 1e-6:
        return None
    spot = polylabel(parts[0], tolerance=0.05)
    return (float(spot.x), float(spot.y))
