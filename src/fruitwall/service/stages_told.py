"""What a tree carries, in words: as somebody entered it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.service.evening_document import ReasonPart
from fruitwall.service.household import short_day
from fruitwall.service.stages import CARRIED_NAMES
from fruitwall.speech import marked, say, say_chain, say_list

if TYPE_CHECKING:
    from fruitwall.service.stages import Carried


STAGE_NAMES = {
    "dormant": marked("Dormant"),
    "bud": marked("In bud"),
    "bloom": marked("In bloom"),
    "fruit_set": marked("Fruit set"),
    "fruit": marked("In fruit"),
    "harvest": marked("Being harvested"),
    "flush": marked("New flush"),
    "shedding": marked("Shedding leaves"),
}
"""Growth stages in words, in the order of a year."""


def stage_words(key: str) -> str:
    """Name a growth stage."""
    return say(STAGE_NAMES[key])


def what_it_carries(carried: Carried | None) -> list[ReasonPart]:
    """Say what a tree carries and since when, where somebody entered it; nothing where the yard file alone says so."""
    if carried is None:
        return []
    told = [
        say("carries {what} since {day} (entered)", what=say(CARRIED_NAMES[stage]), day=short_day(day))
        for stage, day in carried.since
        if stage != "dormant"
    ]
    told += [
        say("at rest since {day} (entered)", day=short_day(day)) for stage, day in carried.since if stage == "dormant"
    ]
    told += [
        say("no {what} any more since {day} (entered)", what=say(CARRIED_NAMES[stage]), day=short_day(day))
        for stage, day in carried.gone
        if stage != "dormant"
    ]
    return [
        ReasonPart(
            label=say("It carries now"),
            value=say_list([say(CARRIED_NAMES[stage]) for stage in carried.stages]),
            note=say_chain(told),
        )
    ]
