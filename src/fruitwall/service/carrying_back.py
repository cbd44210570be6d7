"""When containers that were moved tonight go back to their places, and how mild it must be for that."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from fruitwall.plants.injury import first_injury_c
from fruitwall.service.evening_document import Task
from fruitwall.service.household import Household, short_day
from fruitwall.speech import say
from fruitwall.weather.forcing import as_datetime, as_datetime64

if TYPE_CHECKING:
    from fruitwall.plans.problem import PlannedTask
    from fruitwall.service.compose import Decision
    from fruitwall.service.nights import Evening
    from fruitwall.service.outlook import Outlook
    from fruitwall.yard.model import Yard

MILD_MARGIN_K = 2.0
"""Air above what the most endangered tissue stands (ninth of ten chances) from which a container may go out. The air
at the station is compared; this leaves room for a colder spot. Our judgement. [K]"""

MILD_AT_LEAST_C = 5.0
"""No container is sent out below this, whatever its kind stands: it comes from a warmer place, and wind on the way
chills it. Our judgement. [°C]"""

COLD_PERCENTILE = 10.0
"""Of the members at each hour: in nine of ten it is warmer. Our judgement."""

MOVES = ("carry", "roof", "wall")
"""Kinds of parts that bring a container elsewhere."""


def carrying_back(outlook: Outlook, decision: Decision, household: Household, *, first: int) -> list[Task]:
    """Give a task for each container that is moved tonight: when it can go back, and on which condition.

    Parameters
    ----------
    outlook : Outlook
    decision : Decision
    household : Household
        For temperatures and days in words.
    first : int
        Order of the first of these tasks.

    Returns
    -------
    list of Task
        By the moment from which they are possible.
    """
    moved = [task for task in decision.solution.tonight() if task.part.kind in MOVES]
    tasks = [_task(outlook, decision, task, household) for task in moved]
    tasks.sort(key=lambda task: (task.not_before, task.what))
    return [task.model_copy(update={"order": first + at}) for at, task in enumerate(tasks)]


def mild_from(outlook: Outlook, evening: Evening, mild_c: float) -> datetime | None:
    """Give the first hour after a night's sunrise at which the station's air is mild in nine of ten members.

    Parameters
    ----------
    outlook : Outlook
    evening : Evening
        The night; the forecast is read until its noon.
    mild_c : float
        What is called mild. [°C]

    Returns
    -------
    datetime or None
        None if it is not sure by noon.
    """
    forcing = outlook.situation.forcing
    morning = (forcing.time_utc >= as_datetime64(evening.sunrise)) & (
        forcing.time_utc <= as_datetime64(evening.night.end_utc)
    )
    cold = np.percentile(forcing.t_air_c[:, morning], COLD_PERCENTILE, axis=0)
    # It must stay so: a mild hour between cold ones is none.
    too_cold = np.flatnonzero(cold < mild_c)
    at = int(too_cold[-1]) + 1 if too_cold.size else 0
    times = forcing.time_utc[morning]
    return as_datetime(times[at]) if at < times.size else None


def _task(outlook: Outlook, decision: Decision, moved: PlannedTask, household: Household) -> Task:
    """Say when one container goes back."""
    situation = outlook.situation
    (tree,) = moved.part.trees
    at = next(index for index, one in enumerate(situation.yard.trees) if one.id == tree)
    nights = _nights_away(decision, tree)
    evening = situation.evenings[nights - 1]
    stands_c = first_injury_c(situation.tolerances[at], outlook.endangered_tissue(at))[2]
    mild_c = max(stands_c + MILD_MARGIN_K, MILD_AT_LEAST_C)
    hour = mild_from(outlook, evening, mild_c)
    steps = []
    if nights == len(situation.evenings) > 1:
        steps.append(
            say("The plan leaves it there for all nights it looks at: see the newest plan before it goes back.")
        )
    elif nights > 1:
        steps.append(
            say("The plan leaves it there until the night of {day} is over.", day=short_day(evening.night.name))
        )
    warm = household.temperature(mild_c)
    if hour is None:
        steps.append(
            say("By noon it is not sure to be above {warm}: wait until a thermometer at its place shows it.", warm=warm)
        )
    else:
        steps.append(say("From then on it is above {warm}, in nine of ten courses of the forecast.", warm=warm))
    return Task(
        order=1,
        what=say(
            "Bring {tree} back from {place}", tree=situation.yard.trees[at].name, place=_place(moved, situation.yard)
        ),
        trees=[tree],
        position=moved.part.position,
        deadline=evening.sunset + timedelta(days=1),
        not_before=hour or evening.night.end_utc,
        when="when_mild",
        person=None,
        minutes=moved.part.minutes_remove,
        steps=steps,
    )


def _nights_away(decision: Decision, tree: str) -> int:
    """Count the nights from tonight on for which a tree gets the same measure without a break."""
    tonight = decision.solution.measure(decision.problem, tree, 0).key
    nights = 1
    while nights < decision.problem.n_nights:
        if decision.solution.measure(decision.problem, tree, nights).key != tonight:
            break
        nights += 1
    return nights


def _place(moved: PlannedTask, yard: Yard) -> str:
    """Name the place where the container stands tonight."""
    kind, _, name = (moved.part.room or "").partition("/")[0].partition(":")
    things = yard.indoor_places if kind == "place" else yard.structures
    return next((thing.name for thing in things if thing.id == name), say("its warmer place"))
