"""From the numbers of a solved programme back to a plan in words of the yard."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.matching import assign
from fruitwall.plans.parts import ORDER_OF_WORK, Part, Way
from fruitwall.plans.problem import Costs, EveningProblem, LimitUse, PlannedTask, SupplyKind
from fruitwall.plans.programme import Programme, again_people

NOBODY = Way((), 0.0)


@dataclass(frozen=True)
class Plan:
    """What a window of nights comes to; fields as in `EveningSolution`, for the nights of the window."""

    choices: tuple[tuple[int, ...], ...]
    states: Mapping[str, tuple[str, ...]]
    tasks: tuple[PlannedTask, ...]
    swaps: int = 0


def read_plan(programme: Programme, x: NDArray[np.float64], *, had: Mapping[str, str] | None = None) -> Plan:
    """Read choices, states and tasks from a solution.

    Parameters
    ----------
    programme : Programme
        As it was solved.
    x : ndarray, shape (column,)
        The solution.
    had : mapping of part key to sheet, optional
        Sheets that hang already.

    Returns
    -------
    Plan
        `swaps` counts sheets that would have to be exchanged between trees that stay covered.
    """
    problem, nights = programme.problem, programme.window.nights
    choices = tuple(
        tuple(
            next(rank for rank in range(len(options)) if x[programme.x[(tree, rank, night)]] > 0.5) for night in nights
        )
        for tree, options in enumerate(problem.options)
    )
    groups = tuple(dict.fromkeys(setting.group for setting in problem.settings))
    states = {
        group: tuple(
            next(
                s.state for s in problem.settings if s.group == group and x[programme.z[(group, s.state, night)]] > 0.5
            )
            for night in nights
        )
        for group in groups
    }
    tasks: list[PlannedTask] = []
    swaps = 0
    hanging = dict(had or {})
    for night in nights:
        used = [part for part in programme.parts.values() if _in_use(programme, x, part, night)]
        used.sort(key=lambda part: ORDER_OF_WORK.index(part.kind))
        sheets = _handed_out(problem, "sheet", [(p.key, p.sheets) for p in used if p.sheets], hanging)
        swaps += sum(1 for key, sheet in sheets.items() if hanging.get(key, sheet) != sheet)
        hanging = sheets
        circuits = {part.key: _circuit(programme, x, part, night) for part in used if part.feeds}
        leads = _handed_out(problem, "lead", _lead_demands(used, circuits), {})
        for part in used:
            way, again = _way(programme, x, part, night)
            tasks.append(
                PlannedTask(
                    night,
                    part,
                    way,
                    again,
                    sheet=sheets.get(part.key),
                    circuit=circuits.get(part.key),
                    lead=leads.get(part.key),
                )
            )
    return Plan(choices, states, tuple(tasks), swaps)


def costs_by_night(
    problem: EveningProblem, choices: Sequence[Sequence[int]], tasks: Sequence[PlannedTask]
) -> tuple[Costs, ...]:
    """Add up what a plan costs, night by night, weighted."""
    prices, nightly = problem.prices, []
    for night, weight in enumerate(float(its) for its in problem.weights):
        loss = sum(
            float(options[chosen[night]].loss[night]) for options, chosen in zip(problem.options, choices, strict=True)
        )
        minutes = lifts = kwh = wear = 0.0
        anew = 0
        for task in (task for task in tasks if task.night == night):
            part, way = task.part, task.way
            paid = 1.0 if task.again else part.price_share
            minutes += paid * way.minutes * len(way.people) + part.minutes_morning
            minutes += 0.0 if task.again else paid * part.minutes_remove
            lifts += paid * (way.lifts + way.lifts_back)
            kwh += part.kwh
            wear += part.wear
            anew += not task.again
        nightly.append(
            Costs(
                weight * loss,
                weight * prices.per_hour / 60.0 * minutes,
                weight * prices.per_lift * lifts,
                weight * prices.per_kwh * kwh,
                weight * problem.trouble * anew,
                weight * problem.wear_weight * wear,
            )
        )
    return tuple(nightly)


def limits_tonight(
    problem: EveningProblem, choices: Sequence[Sequence[int]], tasks: Sequence[PlannedTask]
) -> tuple[LimitUse, ...]:
    """Tell how much of every supply is used tonight and whether it is scarce.

    A supply is scarce when less of it is left than the median need of the parts that are not done tonight, would use
    it, and belong to a measure under which their tree would lose less than under the one chosen. The median, because
    the smallest need says little: 2.5 minutes with the hose for one tree do not make an hour's work possible.
    """
    tonight = [task for task in tasks if task.night == 0]
    in_use = {task.part.key for task in tonight}
    undone = [part for part in _wanted(problem, choices) if part.key not in in_use and part.key not in problem.done]
    windows = max((supply.available for supply in problem.supplies.of("person").values()), default=0.0)
    limits = []
    for supply in problem.supplies.items:
        available, unit = supply.available, supply.unit
        if supply.kind == "person":
            used = sum((task.way.minutes for task in tonight if supply.id in task.way.people), 0.0)
            want = [way.minutes for part in undone for way in part.ways if supply.id in way.people]
        elif supply.kind == "trolley":
            used = sum((task.way.minutes for task in tonight if task.way.trolley == supply.id), 0.0)
            want = [way.minutes for part in undone for way in part.ways if way.trolley == supply.id]
            available, unit = available * windows, "min"
        elif supply.kind == "circuit":
            used = sum((task.part.watts for task in tonight if task.circuit == supply.id), 0.0)
            want = [part.watts for part in undone if any(feed.circuit == supply.id for feed in part.feeds)]
        elif supply.kind == "paint":
            used = sum((task.part.paint_l for task in tonight), 0.0)
            want = [part.paint_l for part in undone if part.paint_l > 0.0]
        else:
            used = float(sum(1 for task in tonight if _uses(task, supply.kind, supply.id)))
            want = [1.0 for part in undone if _could_use(part, supply.kind, supply.id)]
        binding = available > 0 and bool(want) and available - used < median(want) - 1e-9
        limits.append(LimitUse(supply.key, supply.name, unit, used, available, binding))
    return tuple(limits)


def _wanted(problem: EveningProblem, choices: Sequence[Sequence[int]]) -> list[Part]:
    """Give the parts of all measures under which their tree would lose less tonight than under its chosen one."""
    found = {
        part.key: part
        for options, chosen in zip(problem.options, choices, strict=True)
        for option in options
        if option.loss[0] < options[chosen[0]].loss[0]
        for part in option.measure.all_parts
    }
    return list(found.values())


def _could_use(part: Part, kind: SupplyKind, name: str) -> bool:
    """Tell whether a part might take a piece or a space of a supply."""
    if kind == "sheet":
        return name in part.sheets
    if kind == "lead":
        return any(name in feed.leads for feed in part.feeds)
    if kind == "room":
        return part.room == name
    return part.kind == kind and part.device == name


def used_parts(tasks: Sequence[PlannedTask], night: int) -> frozenset[str]:
    """Give the keys of the parts in use on a night."""
    return frozenset(task.part.key for task in tasks if task.night == night)


def _uses(task: PlannedTask, kind: SupplyKind, name: str) -> bool:
    """Tell whether a task takes a piece or a space of a supply."""
    part = task.part
    if kind == "sheet":
        return task.sheet == name
    if kind == "lead":
        return task.lead == name
    if kind == "room":
        return part.room == name
    return part.kind == kind and part.device == name


def _in_use(programme: Programme, x: NDArray[np.float64], part: Part, night: int) -> bool:
    """Tell whether a part is in use on a night."""
    return any(x[column] > 0.5 for column, _ in programme.use(part.key, night))


def _way(programme: Programme, x: NDArray[np.float64], part: Part, night: int) -> tuple[Way, bool]:
    """Give how a part is done that night and whether it stands already."""
    stood = part.stays and night > programme.window.nights[0] and _in_use(programme, x, part, night - 1)
    if stood and part.minutes_again == 0.0:
        return NOBODY, True  # a plan within its gap may set up for nothing what stands; nobody is asked to
    for rank, way in enumerate(part.ways):
        column = programme.w.get((part.key, rank, night))
        if column is not None and x[column] > 0.5:
            return way, False
    for person in again_people(part):
        column = programme.a.get((part.key, person, night))
        if column is not None and x[column] > 0.5:
            return Way((person,), part.minutes_again), True
    return NOBODY, True


def _circuit(programme: Programme, x: NDArray[np.float64], part: Part, night: int) -> str:
    """Give the circuit from which a part is fed."""
    if len(part.feeds) == 1:
        return part.feeds[0].circuit
    return next(feed.circuit for feed in part.feeds if x[programme.f[(part.key, feed.circuit, night)]] > 0.5)


def _lead_demands(used: Sequence[Part], circuits: Mapping[str, str]) -> list[tuple[str, tuple[str, ...]]]:
    """Give the leads that would do for every part that needs one."""
    return [
        (part.key, feed.leads)
        for part in used
        for feed in part.feeds
        if feed.leads and feed.circuit == circuits[part.key]
    ]


def _handed_out(
    problem: EveningProblem, kind: SupplyKind, demands: Sequence[tuple[str, tuple[str, ...]]], had: Mapping[str, str]
) -> dict[str, str]:
    """Hand out sheets or leads; the rows of the programme promise that they suffice."""
    pieces = {name: int(supply.available) for name, supply in problem.supplies.of(kind).items()}
    handed = assign(demands, pieces, prefer=had)
    if handed is None:
        raise AssertionError(f"the programme let more {kind}s be used than there are")
    return handed


def changes(
    problem: EveningProblem, before: Sequence[int], after: Sequence[int], *, without: Collection[str] = ()
) -> tuple[tuple[str, str, str], ...]:
    """Give (tree, measure before, measure after) for the trees whose choice differs."""
    return tuple(
        (tree, options[old].measure.key, options[new].measure.key)
        for tree, options, old, new in zip(problem.trees, problem.options, before, after, strict=True)
        if old != new and tree not in without
    )
