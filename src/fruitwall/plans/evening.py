"""The best evening: which measure each tree gets, tonight and in the nights after, within all limits.

A mixed-integer programme minimises the expected loss of all trees and the household's own price of minutes, lifts
and energy; `docs/planner.md` writes it out. All nights are planned in one programme, in which a sheet that stays on
or a pot that stays in costs nothing new; only tonight is meant to be carried out, tomorrow it is planned again.
If no good plan is found so in time, the nights are planned one after the other.
"""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Mapping, Sequence
from time import perf_counter

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.feasible import check_feasible
from fruitwall.plans.optimiser import NoPlan, Optimum, OutOfTime, Relaxed, among, optimise, relax
from fruitwall.plans.problem import (
    Costs,
    EveningProblem,
    EveningSolution,
    LimitUse,
    OneMore,
    Option,
    PlannedTask,
    RunnerUp,
    Supplies,
    Supply,
)
from fruitwall.plans.programme import Programme, Window, build
from fruitwall.plans.readout import Plan, changes, costs_by_night, limits_tonight, read_plan, used_parts
from fruitwall.plans.sharing import share_out
from fruitwall.plans.worst import losses_by_member, worst_mean
from fruitwall.speech import say, say_count

__all__ = [
    "Costs",
    "EveningProblem",
    "EveningSolution",
    "LimitUse",
    "OneMore",
    "Option",
    "PlannedTask",
    "RunnerUp",
    "Supplies",
    "Supply",
    "check_feasible",
    "one_more",
    "runner_up",
    "runners_up",
    "solve",
]

PROVEN_WITHIN = 1e-3
"""Difference that counts as none: a tenth of a cent, above what breaks ties. [currency]"""

# Re-solves of tonight: proof and time that are enough to compare two plans.
_RESOLVE_GAP = 1e-4
_RESOLVE_TIME_S = 2.0

# A plan that may be this share dearer than the best is crossed with others, for no longer than this.
_COARSE_GAP = 0.01
_CROSSING_TIME_S = 0.5


def solve(
    problem: EveningProblem,
    *,
    time_limit_s: float = 2.0,
    gap: float = 1e-4,
    earlier: Mapping[str, Sequence[str]] | None = None,
) -> EveningSolution:
    """Find the best plan.

    Parameters
    ----------
    problem : EveningProblem
        Trees, options, supplies, prices.
    time_limit_s : float
        Time after which the best plan found so far is taken, 0 or more. Plans are the same from run to run unless
        this limit is hit. [s]
    gap : float
        Share of the total within which the proof of optimality may stop, 0 to 1.
    earlier : mapping of tree to sequence (night) of measure keys, optional
        A plan made before, when the evening is planned again. It counts where time runs out (see Notes). Measures that
        are not open any more, and trees that are not there any more, are passed over.

    Returns
    -------
    EveningSolution
        Its status is "optimal" if proven within `gap`.

    Raises
    ------
    ValueError
        If `time_limit_s` or `gap` is outside its range.

    Notes
    -----
    If there is no plan when the time is over, or one with a gap above 1 %, the nights are planned one after the other
    as well, and the best mixture of that, of what was found and of the earlier plan is looked for in half a second
    more. The cheapest of all is given.
    """
    if not time_limit_s >= 0.0:
        raise ValueError(f"time_limit_s must be 0 or more, got {time_limit_s}")
    if not 0.0 <= gap <= 1.0:
        raise ValueError(f"gap must be from 0 to 1, got {gap}")
    began = perf_counter()
    relaxed = relax(build(problem))
    bound = relaxed.value + relaxed.programme.constant - relaxed.programme.largest_tie()
    found: Optimum | None = None
    with contextlib.suppress(OutOfTime):
        found = optimise(relaxed, time_limit_s=time_limit_s, gap=gap, since=began)
    solutions = []
    best = found
    if found is None or found.gap > max(gap, _COARSE_GAP):
        single = _night_by_night(problem)
        solutions.append(_solution(problem, single, bound, gap, began, linked=False))
        if time_limit_s > 0.0:
            columns = _crossed(relaxed.programme, found, single, earlier or {})
            best = among(relaxed, columns, found=found, time_limit_s=_CROSSING_TIME_S, gap=gap)
    if best is not None:
        plan = read_plan(relaxed.programme, best.x, had=problem.hanging)
        solutions.append(_solution(problem, plan, max(bound, best.bound), gap, began, linked=True))
    return min(solutions, key=lambda solution: solution.total)


def _crossed(
    programme: Programme, found: Optimum | None, single: Plan, earlier: Mapping[str, Sequence[str]]
) -> NDArray[np.bool_]:
    """Tell the columns of plans whose every choice is leaving or that of one of these plans."""
    problem = programme.problem
    columns = np.ones(len(programme.cost), dtype=bool)
    for (tree, rank, night), column in programme.x.items():
        before = earlier.get(problem.trees[tree], ())
        columns[column] = (
            rank in (0, single.choices[tree][night])
            or (found is not None and found.x[column] > 0.5)
            or (night < len(before) and problem.options[tree][rank].measure.key == before[night])
        )
    return columns


def one_more(
    problem: EveningProblem, solution: EveningSolution, *, keys: Collection[str] | None = None
) -> list[OneMore]:
    """Tell what one more of each scarce supply would buy tonight, by solving tonight again.

    The following nights are held as planned; what they already use counts for tonight's choice (a sheet put on
    tonight need not be put on tomorrow).

    Parameters
    ----------
    problem, solution
        As given to and by `solve`.
    keys : collection of str, optional
        Supplies to try instead of those that are scarce (`LimitUse.binding`) and of people who have something to do
        and less than one step, half an hour, left.

    Returns
    -------
    list of OneMore
        The most useful first by `OneMore.saves`, which is 0 where one more would change nothing.
    """
    window = _tonight(problem, solution)
    wanted = [use.key for use in solution.limits if _nearly_out(problem, use)] if keys is None else list(keys)
    if not wanted:
        return []
    base = _resolve(relax(build(problem, window)))
    found = []
    for key in wanted:
        supply = problem.supplies.find(key)
        richer = problem.with_supplies(problem.supplies.more(key))
        more = _resolve(relax(build(richer, window)))
        saves = base[1].value - more[1].value
        better = saves > _RESOLVE_GAP * abs(base[1].value) + 1e-6
        found.append(
            OneMore(
                key=key,
                name=supply.name,
                step=supply.step,
                unit=supply.unit,
                saves=saves if better else 0.0,
                saves_loss=_loss(problem, base[0]) - _loss(problem, more[0]) if better else 0.0,
                changes=changes(problem, _firsts(base[0]), _firsts(more[0])) if better else (),
            )
        )
    return sorted(found, key=lambda one: -one.saves)


def _nearly_out(problem: EveningProblem, use: LimitUse) -> bool:
    """Tell whether a supply is scarce, or a person so near the end of their time that half an hour might count."""
    supply = problem.supplies.find(use.key)
    return use.binding or (supply.kind == "person" and use.used > 0 and use.available - use.used < supply.step)


def runner_up(problem: EveningProblem, solution: EveningSolution, tree: str) -> RunnerUp | None:
    """Give the best plan of tonight in which a tree does not get its chosen measure.

    Tonight is solved again with that measure forbidden to that tree, the following nights held as planned.

    Parameters
    ----------
    problem : EveningProblem
        The evening.
    solution : EveningSolution
        Its plan.
    tree : str
        Which tree.

    Returns
    -------
    RunnerUp or None
        None if the tree has no other measure that can be carried out.
    """
    return runners_up(problem, solution, [tree])[tree]


def runners_up(
    problem: EveningProblem, solution: EveningSolution, trees: Sequence[str] | None = None
) -> Mapping[str, RunnerUp | None]:
    """Give the runner-up of several trees from one programme of tonight.

    Parameters
    ----------
    problem, solution
        As for `runner_up`.
    trees : sequence of str, optional
        Which trees; all by default.

    Returns
    -------
    mapping of str to RunnerUp or None
        By tree; None for one that has no other measure that can be carried out.
    """
    programme = build(problem, _tonight(problem, solution))
    base = _resolve(relax(programme))[1].value
    found: dict[str, RunnerUp | None] = {}
    for tree in problem.trees if trees is None else trees:
        at = problem.trees.index(tree)
        chosen = solution.choices[at][0]
        try:
            plan, optimum = _resolve(relax(programme, forbidden=[programme.x[(at, chosen, 0)]]))
        except NoPlan:
            found[tree] = None
            continue
        options = problem.options[at]
        instead = plan.choices[at][0]
        found[tree] = RunnerUp(
            tree=tree,
            measure=options[instead].measure,
            costs_more=max(0.0, optimum.value - base),
            loss_more=float(options[instead].loss[0] - options[chosen].loss[0]),
            others=changes(problem, [row[0] for row in solution.choices], _firsts(plan), without=[tree]),
        )
    return found


def _tonight(problem: EveningProblem, solution: EveningSolution) -> Window:
    """Tonight alone, before what is planned for tomorrow."""
    after = used_parts(solution.tasks, 1) if problem.n_nights > 1 else frozenset[str]()
    later = range(1, problem.n_nights)
    carried = losses_by_member(problem, solution.choices, later) if problem.aversion > 0.0 else None
    return Window((0,), problem.in_place, after, carried)


def _resolve(relaxed: Relaxed) -> tuple[Plan, Optimum]:
    """Solve one night and read it."""
    optimum = optimise(relaxed, time_limit_s=_RESOLVE_TIME_S, gap=_RESOLVE_GAP)
    return read_plan(relaxed.programme, optimum.x, had=relaxed.programme.problem.hanging), optimum


def _firsts(plan: Plan) -> list[int]:
    return [row[0] for row in plan.choices]


def _loss(problem: EveningProblem, plan: Plan) -> float:
    """Expected loss of tonight."""
    return sum(
        float(options[row[0]].loss[0]) for options, row in zip(problem.options, plan.choices, strict=True)
    ) * float(problem.weights[0])


def _night_by_night(problem: EveningProblem) -> Plan:
    """Plan the nights one after the other, each from where the one before leaves off."""
    plans: list[Plan] = []
    before = problem.in_place
    hanging = dict(problem.hanging)
    for night in range(problem.n_nights):
        relaxed = relax(build(problem, Window((night,), before)))
        optimum = optimise(relaxed, time_limit_s=_RESOLVE_TIME_S, gap=_RESOLVE_GAP)
        plan = read_plan(relaxed.programme, optimum.x, had=hanging)
        plans.append(plan)
        before = used_parts(plan.tasks, night)
        hanging = {task.part.key: task.sheet for task in plan.tasks if task.sheet is not None}
    return Plan(
        choices=tuple(tuple(plan.choices[tree][0] for plan in plans) for tree in range(len(problem.trees))),
        states={group: tuple(plan.states[group][0] for plan in plans) for group in plans[0].states},
        tasks=tuple(task for plan in plans for task in plan.tasks),
        swaps=sum(plan.swaps for plan in plans),
    )


def _solution(
    problem: EveningProblem, plan: Plan, bound: float, gap: float, began: float, *, linked: bool
) -> EveningSolution:
    """Put a plan, its costs and its proof together."""
    nights = problem.n_nights
    tasks = share_out(problem, plan.tasks)
    nightly = costs_by_night(problem, plan.choices, tasks)
    nothing = costs_by_night(problem, [[0] * nights for _ in problem.trees], ())
    worst = worst_mean(losses_by_member(problem, plan.choices)) if problem.aversion > 0.0 else None
    total = sum(nightly, Costs(0.0)).total + problem.aversion * (worst or 0.0)
    bound = float(min(bound, total))
    left = (total - bound) / total if total > 0 else 0.0
    notes = []
    if not linked:
        notes.append(say("the nights were planned one after the other, because no better joint plan was found in time"))
    if plan.swaps:
        notes.append(
            say_count(
                "{count} sheet changes trees on a later night",
                "{count} sheets change trees on a later night",
                plan.swaps,
            )
        )
    return EveningSolution(
        choices=plan.choices,
        states=plan.states,
        tasks=tasks,
        nightly=nightly,
        nightly_nothing=nothing,
        limits=limits_tonight(problem, plan.choices, tasks),
        status="optimal" if total - bound <= gap * total + PROVEN_WITHIN else "gap",
        gap=left,
        bound=bound,
        seconds=perf_counter() - began,
        method="linked" if linked else "night by night",
        notes=tuple(notes),
        worst_case=worst,
        aversion=problem.aversion,
    )
