"""The checklist: what to do this evening and in the morning, in walking order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from fruitwall.service.evening_document import EveningPlan, Task
from fruitwall.service.household import Household, minutes, number
from fruitwall.service.ticks import AFTER, tick_key
from fruitwall.service.words import OCCASIONS
from fruitwall.speech import say


@dataclass(frozen=True)
class TaskLine:
    """One task as shown."""

    key: str
    """Name of its tick on this device; the same task of the same night keeps it when the plan is made anew."""
    tick: str
    """Name of its tick in the ledger."""
    order: int
    what: str
    trees: list[tuple[str, int, str]]
    """Identifier, number and name of each tree it is for."""
    deadline: str
    """Time of day by which it must be done."""
    start_by: str | None
    """Time of day by which it must be begun, where only what is over by the deadline counts."""
    not_before: str | None
    """Day and time before which it is too early."""
    late: bool
    """Whether that time has passed."""
    person: str | None
    minutes: str
    steps: list[str]
    """Those that no task before it carries."""
    as_at: str
    """At which tasks the others stand in full; empty if there are none."""
    lifting: str | None
    """What the lifting index means, in words."""
    cautions: list[str]
    """Those that no task before it carries."""
    cautions_above: bool
    """Whether it carries some that stand in full at a task before it."""


@dataclass(frozen=True)
class TaskGroup:
    """Tasks with one occasion."""

    heading: str
    tasks: list[TaskLine]
    evening: bool = True
    """Whether they come before the night."""


def groups_of(
    plan: EveningPlan, tasks: list[Task], household: Household, numbers: dict[str, int], now: datetime
) -> list[TaskGroup]:
    """Group tasks by occasion, in walking order within each.

    Parameters
    ----------
    plan : EveningPlan
        For the names of trees and the night.
    tasks : list of Task
    household : Household
    numbers : dict
        Number of each tree by its id.
    now : datetime, aware
        To tell which deadlines have passed.

    Returns
    -------
    list of TaskGroup
        Only occasions with tasks.
    """
    names = {tree.id: tree.name for tree in plan.trees}
    told: set[str] = set()
    steps: dict[str, int] = {}
    groups = []
    for when, heading in OCCASIONS.items():
        lines = [
            _line(task, plan, names, household, numbers, now, told, steps)
            for task in sorted(tasks, key=lambda task: task.order)
            if task.when == when
        ]
        if lines:
            groups.append(TaskGroup(say(heading), lines, when not in AFTER))
    return groups


def _line(
    task: Task,
    plan: EveningPlan,
    names: dict[str, str],
    household: Household,
    numbers: dict[str, int],
    now: datetime,
    told: set[str],
    steps: dict[str, int],
) -> TaskLine:
    """Turn one task into what is shown; `told` are the cautions, `steps` the steps shown so far, and both grow."""
    new = [caution for caution in task.cautions if caution not in told]
    told.update(new)
    new_steps = [step for step in task.steps if step not in steps]
    as_at = sorted({steps[step] for step in task.steps if step in steps})
    steps.update(dict.fromkeys(new_steps, task.order))
    tick = tick_key(plan, task)
    mark = sha256("\n".join((plan.yard, str(plan.night), task.when, tick)).encode())
    return TaskLine(
        key=mark.hexdigest()[:12],
        tick=tick,
        order=task.order,
        what=sentence(task.what),
        trees=[(tree, numbers[tree], names[tree]) for tree in task.trees if tree in names],
        deadline=household.clock(task.deadline),
        start_by=household.clock(task.start_by) if task.start_by is not None else None,
        not_before=household.moment(task.not_before) if task.not_before else None,
        late=(task.start_by or task.deadline) < now,
        person=task.person,
        minutes=minutes(max(task.minutes, 1.0)),
        steps=new_steps,
        as_at=_as_at(as_at),
        lifting=lifting_words(task.lifting_index),
        cautions=new,
        cautions_above=len(new) < len(task.cautions),
    )


def _as_at(orders: list[int]) -> str:
    """Point to the tasks at which steps stand in full."""
    if not orders:
        return ""
    if len(orders) == 1:
        return say("as at {order}", order=orders[0])
    return say("as at {orders} and {last}", orders=", ".join(map(str, orders[:-1])), last=orders[-1])


def sentence(text: str) -> str:
    """Begin with a capital letter."""
    return text[:1].upper() + text[1:]


def lifting_words(index: float | None) -> str | None:
    """Say what a lifting index means.

    Notes
    -----
    Above 1 some workers are at raised risk, above 3 nearly all: Waters, T. R., Putz-Anderson, V. and Garg, A.
    (1994), Applications Manual for the Revised NIOSH Lifting Equation, DHHS (NIOSH) 94-110, section 1.
    """
    if index is None:
        return None
    if index <= 1:
        return say("Lifting index {index}: within the lifting limit", index=number(index, 1))
    if index <= 3:
        return say(
            "Lifting index {index}: above the lifting limit, raised risk for some backs; take a second person",
            index=number(index, 1),
        )
    return say("Lifting index {index}: far above the lifting limit; do not lift this", index=number(index, 1))
