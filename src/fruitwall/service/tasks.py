"""The checklist: what somebody does this evening, in the morning and after it, in walking order."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from fruitwall.plans.parts import DEADLINES, ORDER_OF_WORK, Deadline
from fruitwall.service.carrying_back import carrying_back
from fruitwall.service.evening_document import Task
from fruitwall.service.household import Household
from fruitwall.service.nights import SETTING_UP, Evening
from fruitwall.service.venting import HOT_UNDER_COVER_C, Venting
from fruitwall.service.words import sentence, start_words, vent_by
from fruitwall.speech import marked, say, say_list

if TYPE_CHECKING:
    from fruitwall.plans.problem import PlannedTask
    from fruitwall.service.compose import Decision
    from fruitwall.service.outlook import Outlook
    from fruitwall.yard.model import Yard


MORNING_VERBS = {
    "cover": marked("Open"),
    "close": marked("Open"),
    "lamps": marked("Switch off"),
    "heater": marked("Switch off"),
}
"""What undoes a part in the morning, by its kind; for containers see `carrying_back`."""

AGAIN_VERBS = {"cover": marked("Close again"), "lamps": marked("Switch on"), "heater": marked("Switch on")}
"""What is done in the evening for a part that stands since an earlier night, by its kind."""


def evening_tasks(outlook: Outlook, decision: Decision, household: Household) -> list[Task]:
    """Give tonight's tasks by deadline, those of one deadline on a short walk from where the last ones ended.

    What is done at one place with one deadline is done in one visit, and in the order in which it can be done: what
    goes under a cover before the cover.
    """
    from fruitwall.plans.walking import route_in_turns

    yard = outlook.situation.yard
    evening = outlook.situation.evenings[0]
    visits: dict[tuple[int, str], list[PlannedTask]] = {}
    for task in decision.solution.tonight():
        if not task.idle:
            visits.setdefault((DEADLINES.index(task.part.deadline), task.part.group or task.part.key), []).append(task)
    stops = list(visits)
    places = [visits[stop][0].part.position for stop in stops]
    walk = route_in_turns(yard.gear_store, places, [turn for turn, _ in stops])
    ordered = [
        task
        for at in walk.order
        for task in sorted(visits[stops[at]], key=lambda task: (ORDER_OF_WORK.index(task.part.kind), task.part.key))
    ]
    starts = latest_starts(ordered, evening)
    return [
        _task(task, order, task.part.deadline, evening, yard, household, starts.get(task.part.key))
        for order, task in enumerate(ordered, start=1)
    ]


def latest_starts(ordered: Sequence[PlannedTask], evening: Evening) -> dict[str, datetime]:
    """Give the latest start of what must be over before the sun leaves, by key: each person does one after the other.

    Parameters
    ----------
    ordered : sequence of PlannedTask
        Tonight's tasks in the order of the checklist.
    evening : Evening

    Returns
    -------
    dict of str to datetime
        Now at the earliest.
    """
    free: dict[str, datetime] = {}
    found = {}
    for task in reversed([task for task in ordered if task.part.deadline == "before_sun_leaves"]):
        end = min((free.get(person, evening.sun_leaves) for person in task.way.people), default=evening.sun_leaves)
        start = end - timedelta(minutes=task.minutes)
        free.update(dict.fromkeys(task.way.people, start))
        found[task.part.key] = max(start, evening.begins)
    return found


def _task(
    planned: PlannedTask,
    order: int,
    deadline: Deadline,
    evening: Evening,
    yard: Yard,
    household: Household,
    start_by: datetime | None,
) -> Task:
    """Write one planned part as a task."""
    from fruitwall.plans.cautions import cautions_for

    people = {person.id: person.name for person in yard.people}
    lift = planned.way.lift
    return Task(
        order=order,
        what=_again_words(planned, yard) if planned.again else sentence(planned.part.name),
        trees=list(planned.part.trees),
        position=planned.part.position,
        deadline=evening.deadline(deadline),
        start_by=start_by,
        when=deadline if evening.deadline(deadline) > evening.begins + SETTING_UP else "now",
        person=_both([people.get(p, p) for p in planned.way.people]) or None,
        minutes=planned.minutes,
        steps=[
            *([start_words(start_by, evening.sun_leaves, household)] if start_by else []),
            *_steps(planned, yard, household),
        ],
        gear=[
            thing
            for thing in (planned.sheet, planned.part.device, planned.lead, planned.way.trolley)
            if thing and not planned.again
        ],
        lifting_index=lift.index if lift and planned.way.lifts else None,
        cautions=[c.text for c in cautions_for(yard, [planned]) if c.per_task],
        key=planned.part.key,
        people=list(planned.way.people),
        sheet=planned.sheet,
        circuit=planned.circuit,
        lead=planned.lead,
    )


def _steps(planned: PlannedTask, yard: Yard, household: Household) -> list[str]:
    """Say what to take, what to do, and how."""
    steps = []
    if planned.again:
        kept = [say("Draw it down to the ground all round and weigh the edge down.")] if planned.sheet else []
        return [*kept, *plug_in_steps(planned, yard)]
    if planned.sheet:
        sheet = next(c for c in yard.gear.covers if c.id == planned.sheet)
        steps.append(
            say(
                "Take {sheet}, {width} by {length}.",
                sheet=sheet.name,
                width=household.length(sheet.width_m),
                length=household.length(sheet.length_m),
            )
        )
    steps += planned.part.steps
    steps += plug_in_steps(planned, yard)
    if planned.way.note:
        steps.append(
            planned.way.note[0].upper() + planned.way.note[1:] + ("" if planned.way.note.endswith(".") else ".")
        )
    return steps


def _both(names: Sequence[str]) -> str:
    """Name who does it together."""
    return say("{first} and {second}", first=names[0], second=names[1]) if len(names) == 2 else say_list(names)


def plug_in_steps(planned: PlannedTask, yard: Yard) -> list[str]:
    """Say where a lamp string or heater is plugged in, if it is one."""
    if not planned.circuit:
        return []
    circuit = next(c for c in yard.circuits if c.id == planned.circuit)
    lead = next((lead.name for lead in yard.gear.leads if lead.id == planned.lead), None)
    return [
        say(
            "Plug in at {circuit}, by {lead}, fully unrolled."
            if lead
            else "Plug in at {circuit}, without an extension lead.",
            circuit=circuit.name,
            lead=lead,
        )
    ]


def morning_tasks(
    outlook: Outlook, decision: Decision, venting: Sequence[Venting | None], household: Household
) -> list[Task]:
    """Give what has to be opened, taken off or switched off, soonest too hot first; then what is carried back."""
    yard = outlook.situation.yard
    evening = outlook.situation.evenings[0]
    index = {tree.id: at for at, tree in enumerate(yard.trees)}
    rows = [
        (_hottest([venting[index[tree]] for tree in task.part.trees]), task)
        for task in decision.solution.tonight()
        if task.part.kind in MORNING_VERBS and task.part.minutes_morning > 0
    ]
    # What is hot goes off before what covers it is opened; then the cover under which it is hot first.
    rows.sort(
        key=lambda row: (row[1].part.device is None, _open_by(row[0], evening), -_warmest_c(row[0]), row[1].part.key)
    )
    undone = [
        Task(
            order=order,
            what=_morning_words(task, yard),
            trees=list(task.part.trees),
            position=task.part.position,
            deadline=max(evening.begins, min(evening.uncover, _open_by(hottest, evening))),
            when="morning",
            person=None,
            minutes=task.part.minutes_morning,
            steps=[vent_by(hottest.open_by, hottest.warmest_c, HOT_UNDER_COVER_C, household)]
            if hottest is not None and hottest.open_by is not None and task.part.kind in ("cover", "close")
            else [],
        )
        for order, (hottest, task) in enumerate(rows, start=1)
    ]
    return undone + carrying_back(outlook, decision, household, first=len(undone) + 1)


def _hottest(trees: Sequence[Venting | None]) -> Venting | None:
    """Join what becomes of the trees under one cover: the earliest hour and the highest temperature."""
    covered = [tree for tree in trees if tree is not None]
    if not covered:
        return None
    hours = [tree.open_by for tree in covered if tree.open_by is not None]
    return Venting(min(hours, default=None), max(tree.warmest_c for tree in covered))


def _open_by(hottest: Venting | None, evening: Evening) -> datetime:
    """Give when a cover must be open; the end of the night if it may stay."""
    return evening.night.end_utc if hottest is None or hottest.open_by is None else hottest.open_by


def _warmest_c(hottest: Venting | None) -> float:
    """Give how warm it would get; without a cover no matter. [°C]"""
    return hottest.warmest_c if hottest is not None else float("-inf")


def _again_words(task: PlannedTask, yard: Yard) -> str:
    """Say what is done anew in the evening for what stands: verb, thing, and at which tree."""
    return _verb_and_thing(AGAIN_VERBS.get(task.part.kind, say("See to")), task, yard)


def _morning_words(task: PlannedTask, yard: Yard) -> str:
    """Say what undoes a part in the morning: verb, thing, and at which tree."""
    part = task.part
    if part.kind == "close":
        shelter = next((s.name for s in yard.shelters if set(part.trees) <= set(s.trees)), part.name)
        return say("{verb} {shelter}", verb=MORNING_VERBS[part.kind], shelter=shelter)
    return _verb_and_thing(MORNING_VERBS[part.kind], task, yard)


def _verb_and_thing(verb: str, task: PlannedTask, yard: Yard) -> str:
    """Name a sheet, string or heater, and the trees that have it."""
    names = {tree.id: tree.name for tree in yard.trees}
    things = {cover.id: cover.name for cover in yard.gear.covers}
    things |= {lamps.id: lamps.name for lamps in yard.gear.lamps}
    things |= {heater.id: heater.name for heater in yard.gear.heaters}
    part = task.part
    thing = things.get(task.sheet or part.device or "", part.name)
    where = ", ".join(names[tree] for tree in part.trees)
    return say("{verb}: {thing}, at {where}", verb=verb, thing=thing, where=where)
