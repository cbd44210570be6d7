"""Who does what when it makes no difference to the plan: the work is shared so that all are done early.

The programme counts minutes wherever they fall; with equal people it would give everything to the first. Here tasks
are handed round among ways that take the same minutes, lifts and trolley, longest task first, to whoever then has
used the smallest share of the time they have.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fruitwall.plans.parts import Way
from fruitwall.plans.problem import EveningProblem, PlannedTask
from fruitwall.plans.programme import again_people, trolley_windows

_EPS = 1e-9


def share_out(problem: EveningProblem, tasks: Sequence[PlannedTask], night: int = 0) -> tuple[PlannedTask, ...]:
    """Hand the tasks of one night round among people who can do them equally well.

    Parameters
    ----------
    problem : EveningProblem
        With the minutes of everybody.
    tasks : sequence of PlannedTask
        Of all nights.
    night : int
        Whose tasks are handed round.

    Returns
    -------
    tuple of PlannedTask
        In the same order; unchanged if handing round would break a limit.
    """
    available = {person: supply.available for person, supply in problem.supplies.of("person").items()}
    used = dict.fromkeys(available, 0.0)
    found: dict[int, PlannedTask] = {}
    mine = [at for at, task in enumerate(tasks) if task.night == night and not task.idle]
    for at in sorted(mine, key=lambda at: (-tasks[at].minutes, tasks[at].part.key)):
        task = tasks[at]
        best: tuple[float, int, Way] | None = None
        for rank, way in enumerate(_alike(task)):
            if any(used[person] + way.minutes > available[person] + _EPS for person in way.people):
                continue
            share = max((used[person] + way.minutes) / max(available[person], _EPS) for person in way.people)
            if best is None or share < best[0] - _EPS:
                best = (share, rank, way)
        if best is None:
            return tuple(tasks)  # whole tasks did not go in this order; the programme's own sharing stands
        for person in best[2].people:
            used[person] += best[2].minutes
        found[at] = replace(task, way=best[2])
    shared = tuple(found.get(at, task) for at, task in enumerate(tasks))
    fits = _trolleys_suffice(problem, shared, night, available) and _sun_suffices(problem, shared, night)
    return shared if fits else tuple(tasks)


def _alike(task: PlannedTask) -> list[Way]:
    """Give the ways that take the same as the one chosen."""
    way = task.way
    if task.again:
        return [Way((person,), way.minutes, note=way.note) for person in again_people(task.part)]
    return [
        other
        for other in task.part.ways
        if (other.minutes, other.trolley, other.ladder, other.lifts, other.lifts_back, len(other.people))
        == (way.minutes, way.trolley, way.ladder, way.lifts, way.lifts_back, len(way.people))
    ]


def _sun_suffices(problem: EveningProblem, tasks: Sequence[PlannedTask], night: int) -> bool:
    """Tell whether everybody is through before the sun leaves with what must be over by then."""
    due = [task for task in tasks if task.night == night == 0 and task.part.deadline == "before_sun_leaves"]
    people = {person for task in due for person in task.way.people}
    return all(
        sum(task.way.minutes for task in due if person in task.way.people) <= problem.sun_minutes + _EPS
        for person in people
    )


def _trolleys_suffice(
    problem: EveningProblem, tasks: Sequence[PlannedTask], night: int, available: dict[str, float]
) -> bool:
    """Tell whether every trolley can serve those who use it, the busiest first."""
    for trolley, supply in problem.supplies.of("trolley").items():
        rolled = [task.way for task in tasks if task.night == night and task.way.trolley == trolley]
        for window in trolley_windows(available.values()):
            taken = sum(way.minutes for way in rolled if min(available[person] for person in way.people) <= window)
            if taken > supply.available * window + _EPS:
                return False
    return True
