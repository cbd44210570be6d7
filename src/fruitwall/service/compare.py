"""Four ways through the night side by side: nothing, the same as last time, the plan, everything possible."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from fruitwall.service.evening_document import WayOut
from fruitwall.service.household import short_day
from fruitwall.speech import say

if TYPE_CHECKING:
    from fruitwall.plans.problem import EveningProblem, EveningSolution, PlannedTask, Supplies
    from fruitwall.service.earlier import LastTime
    from fruitwall.service.outlook import Outlook

MUST = 1e5
"""Loss put on leaving a tree that is to get what it got last time: far above any effort. [currency]"""

HARDLY = 1e-3
"""Share of the household's prices where limits and effort are lifted: effort only decides between equals."""


def ways_out(
    outlook: Outlook,
    problem: EveningProblem,
    solution: EveningSolution,
    rows: Sequence[Sequence[int]],
    last: LastTime | None,
) -> list[WayOut]:
    """Compare the plan with what else could be done tonight.

    Parameters
    ----------
    outlook : Outlook
        What every measure would come to.
    problem : EveningProblem
        The evening that was solved; the options of a tree are its treatments `rows`.
    solution : EveningSolution
        Its plan.
    rows : sequence (tree) of sequence of int
        Which treatment of the outlook each option of the problem is.
    last : LastTime or None
        What was chosen last time.

    Returns
    -------
    list of WayOut
        Nothing, last (if there is one), plan, everything. All of tonight alone.
    """
    from fruitwall.plans.evening import solve

    def way(
        key: Literal["nothing", "last", "plan", "everything"],
        name: str,
        choices: Sequence[int],
        tasks: Sequence[PlannedTask],
        note: str = "",
    ) -> WayOut:
        chosen = [its[option] for its, option in zip(rows, choices, strict=True)]
        measures = {
            tree: options[option].measure.key
            for tree, options, option in zip(problem.trees, problem.options, choices, strict=True)
            if options[option].measure.key != "leave"
        }
        return WayOut(
            key=key,
            name=name,
            expected_loss=float(sum(outlook.losses[at][row, 0] for at, row in enumerate(chosen))),
            chance_of_losing_a_tree=chance_of_losing_one(
                [outlook.member_deaths[at][row] for at, row in enumerate(chosen)]
            ),
            minutes=float(sum(task.minutes * len(task.way.people) for task in tasks)),
            lifts=sum(task.way.lifts for task in tasks if not task.again),
            kwh=float(sum(task.part.kwh for task in tasks)),
            wear=float(sum(task.part.wear for task in tasks)),
            measures=measures,
            note=note,
        )

    nothing = way("nothing", say("do nothing"), [0] * len(rows), ())
    found = [nothing]
    if last is not None:
        again = solve(_as_last_time(problem, outlook, rows, last.measures))
        same = way("last", say("the same as on {day}", day=short_day(last.night)), _tonight(again), again.tonight())
        missing = sorted(set(last.measures) & set(problem.trees) - set(same.measures))
        if missing:
            names = {tree.id: tree.name for tree in outlook.situation.yard.trees}
            same = same.model_copy(
                update={
                    "note": say(
                        "not possible tonight as it was then: {trees}", trees=", ".join(names[tree] for tree in missing)
                    )
                }
            )
        found.append(same)
    note = say("counts only what is still to do") if problem.done else ""
    found.append(way("plan", say("the plan"), _tonight(solution), solution.tonight(), note))
    best = solve(_without_limits(problem, outlook, rows))
    found.append(
        way(
            "everything",
            say("everything possible"),
            _tonight(best),
            best.tonight(),
            say("as if there were gear, room, power and time for every tree"),
        )
    )
    return found


def chance_of_losing_one(deaths: Sequence[np.ndarray]) -> float:
    """Give the chance that at least one tree dies.

    Parameters
    ----------
    deaths : sequence (tree) of ndarray, shape (member,)
        Chance of death of each tree in each member of the forecast.

    Returns
    -------
    float
        0-1. The weather of a member is the same for all trees; given it, trees are taken to die independently.
    """
    if not deaths:
        return 0.0
    spared = np.prod(1.0 - np.clip(np.asarray(deaths), 0.0, 1.0), axis=0)
    return float(np.clip(1.0 - spared.mean(), 0.0, 1.0))


def _tonight(solution: EveningSolution) -> list[int]:
    return [row[0] for row in solution.choices]


def _as_last_time(
    problem: EveningProblem, outlook: Outlook, rows: Sequence[Sequence[int]], measures: Mapping[str, str]
) -> EveningProblem:
    """Give the evening on which every tree gets what it got then, as far as tonight's limits allow."""
    options = []
    for at, (tree, its) in enumerate(zip(problem.trees, problem.options, strict=True)):
        wanted = measures.get(tree, "leave")
        if not any(option.measure.key == wanted for option in its):
            wanted = "leave"
        # Leaving it comes before anything else where there is not enough of what it is to get.
        others = {key: MUST * (1 if key == "leave" else 2) for key in (option.measure.key for option in its)}
        others[wanted] = 0.0
        options.append(
            tuple(
                replace(option, by_member=None, loss=outlook.losses[at][[row], 0] + others[option.measure.key])
                for row, option in zip(rows[at], its, strict=True)
            )
        )
    return replace(
        problem,
        options=tuple(options),
        done=frozenset(),
        sun_minutes=np.inf,  # what is watered already would else be asked for once more
        night_weights=None,
        trouble=0.0,
        aversion=0.0,
    )


def _without_limits(problem: EveningProblem, outlook: Outlook, rows: Sequence[Sequence[int]]) -> EveningProblem:
    """Give tonight with as much of everything as all trees together could use, and effort that hardly counts."""
    options = tuple(
        tuple(
            replace(option, by_member=None, loss=outlook.losses[at][[row], 0])
            for row, option in zip(rows[at], its, strict=True)
        )
        for at, its in enumerate(problem.options)
    )
    prices = problem.prices.model_copy(
        update={name: HARDLY * getattr(problem.prices, name) for name in ("per_hour", "per_lift", "per_kwh")}
    )
    return replace(
        problem,
        options=options,
        supplies=_plenty(problem.supplies, len(problem.trees)),
        prices=prices,
        wear_weight=HARDLY,
        sun_minutes=np.inf,
        done=frozenset(),
        night_weights=None,
        trouble=0.0,
        aversion=0.0,
    )


def _plenty(supplies: Supplies, trees: int) -> Supplies:
    """Give so much of everything that nothing runs out."""
    enough = {"person": 1e5, "circuit": 1e6}
    return replace(
        supplies,
        items=tuple(
            replace(item, available=max(item.available, enough.get(item.kind, float(trees)))) for item in supplies.items
        ),
    )
