"""What all makers of measures share: the yard with its times, refusals, lamps and heaters as parts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from fruitwall.plans.covers import HEATER_CLEARANCE_M
from fruitwall.plans.parts import Feed, Part
from fruitwall.plans.times import SetUpTimes
from fruitwall.plans.ways import NO_TIME, easy_ways, helpers
from fruitwall.speech import quantity, say
from fruitwall.yard.model import Heater, LampString, Tree, Yard

XY = tuple[float, float]

NIGHT_H = 14.0
"""Hours for which lamps and heaters are counted if the night is not given: dusk to after sunrise in midwinter.
common practice, no source."""

SHELTER = "shelter:"
"""What the group of a shelter's parts begins with."""

SHEET = "sheet:"
"""What the group of trees under one sheet begins with."""


RefusalKind = Literal[
    "nobody_has_time",
    "too_high",
    "needs_two",
    "no_sheet",
    "too_heavy",
    "door_too_low",
    "roof_too_low",
    "no_clearance",
    "no_power",
    "no_ground",
    "not_open_ground",
    "rain_expected",
    "sun_leaves",
]
"""Why a measure cannot be carried out, the most telling first: nobody has any time; the crown is too high for anybody
to cover; covering it takes two people or somebody on a ladder; no sheet is large enough; nobody may move the container;
it does not go through the door, or under the roof; a heater would stand too close; no power comes there; there is no
ground to stand on; it does not stand in open ground; rain will wet the ground; the sun leaves the ground before it
could be done."""


@dataclass(frozen=True)
class Refusal:
    """A measure that cannot be carried out for a tree.

    Attributes
    ----------
    key : str
        As the measure would be called.
    why : str
        In words, with metric units.
    kind : RefusalKind
        The same for a program.
    need, have : float or None
        What it would take and what there is, where that is a matter of size: side of a square sheet that reaches the
        ground all round, and the shorter side of the largest one there (`no_sheet`); height of the tree, and height
        that can be covered, of the door or of the roof (`too_high`, `needs_two`, `door_too_low`, `roof_too_low`);
        mass of the container, and what the lifting equation allows (`too_heavy`).
    unit : "m", "kg" or ""
        Of both.
    """

    key: str
    why: str
    kind: RefusalKind
    need: float | None = None
    have: float | None = None
    unit: Literal["m", "kg", ""] = ""


@dataclass(frozen=True)
class Making:
    """What all makers of measures need."""

    yard: Yard
    times: SetUpTimes
    rain_expected: bool
    night_h: float
    sun_minutes: float = math.inf
    dry_l: float = 0.0


def make_ready(
    yard: Yard,
    times: SetUpTimes | None,
    rain_expected: bool,
    night_hours: float,
    sun_minutes: float = math.inf,
    dry_l: float = 0.0,
) -> Making:
    """Check the settings of a maker and fill in what was left out.

    Parameters
    ----------
    yard, times, rain_expected, night_hours, sun_minutes, dry_l
        As in `plans.measures.possible_measures`.

    Returns
    -------
    Making
    """
    if not 0.0 < night_hours <= 24.0:
        raise ValueError(f"night_hours must be greater than 0 and at most 24, got {night_hours:g}")
    return Making(yard, times or SetUpTimes(), rain_expected, night_hours, sun_minutes, dry_l)


def lamps_part(
    making: Making, lamp: LampString, feeds: tuple[Feed, ...], at: XY, trees: tuple[str, ...], group: str, name: str
) -> Part:
    """Make the part of hanging a lamp string; `group` as of `plans.parts.Part`."""
    times = making.times
    return Part(
        key=f"lamps:{lamp.id}@{group.removeprefix(SHELTER).removeprefix(SHEET)}",
        kind="lamps",
        name=say("hang {lamp} in {name}", lamp=lamp.name, name=name),
        trees=trees,
        ways=easy_ways(making.yard, times.lamps, at),
        minutes_again=times.lamps_again,
        minutes_morning=times.lamps_morning,
        minutes_remove=times.lamps_remove,
        device=lamp.id,
        watts=lamp.watts,
        kwh=lamp.watts * making.night_h / 1000.0,
        wear=lamp.wear,
        feeds=feeds,
        position=at,
        steps=(
            say(
                "Hang the lamps low and spread through the crown before the cover goes on."
                if len(trees) == 1
                else "Hang the lamps low and spread through all the crowns before the cover goes on."
            ),
            say("No lamp may touch leaf, cloth or film, now or when the wind moves them."),
            say("Test the ground-fault device, then switch on at dusk."),
        ),
        group=group,
    )


def heater_part(
    making: Making, heater: Heater, feeds: tuple[Feed, ...], at: XY, trees: tuple[str, ...], group: str, name: str
) -> Part:
    """Make the part of placing a heater; `group` as of `plans.parts.Part`."""
    times = making.times
    share = 1.0 if heater.thermostat_c is None else times.thermostat_share
    return Part(
        key=f"heater:{heater.id}@{group.removeprefix(SHELTER).removeprefix(SHEET)}",
        kind="heater",
        name=say("place {heater} by {name}", heater=heater.name, name=name),
        trees=trees,
        ways=easy_ways(making.yard, times.heater, at),
        minutes_again=times.heater_again,
        minutes_morning=times.heater_morning,
        minutes_remove=times.heater_remove,
        device=heater.id,
        watts=heater.watts,
        kwh=heater.watts * making.night_h * share / 1000.0,
        wear=heater.wear,
        feeds=feeds,
        position=at,
        steps=(
            say(
                "Stand it level on bare ground or paving, {clearance} from cloth, film, wood and leaves, "
                "measured to where the cover can blow.",
                clearance=quantity(HEATER_CLEARANCE_M, "m", ".1f"),
            ),
            say("Test the ground-fault device, then switch on at dusk. Somebody stays at home and looks after it."),
        ),
        group=group,
    )


def not_reached(making: Making, tree: Tree, key: str, too_high: str) -> Refusal:
    """Say why nobody can put cloth over a tree.

    Parameters
    ----------
    making : Making
    tree : Tree
    key : str
        Of what is refused.
    too_high : str
        What is said of a crown above what anybody reaches, with ``{height}`` and ``{highest_m}``.

    Returns
    -------
    Refusal
    """
    height, times = tree.height_m, making.times
    if not helpers(making.yard):
        return Refusal(key, NO_TIME, "nobody_has_time")
    told = quantity(height, "m", ".1f")
    if height > times.highest_m:
        why = say(too_high, height=told, highest_m=quantity(times.highest_m, "m", "g"))
        return Refusal(key, why, "too_high", height, times.highest_m, "m")
    why = say("it is {height} high, which takes two people or somebody who uses a ladder", height=told)
    return Refusal(key, why, "needs_two", height, times.pole_reach_m, "m")
