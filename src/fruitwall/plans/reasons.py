"""Why a tree is left although it is in danger: because nothing can be done, would help, would pay, or is left over.

The answer is found by solving the evening again for that tree alone, as if no other tree wanted anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

from fruitwall.plans.evening import solve
from fruitwall.plans.making import Refusal, RefusalKind
from fruitwall.plans.parts import Measure, Part
from fruitwall.plans.problem import PAINT, EveningProblem, EveningSolution, Option
from fruitwall.plans.programme import setting_up_cost, use_cost

ReasonKind = Literal["impossible", "no_help", "not_worth_it", "too_little", "others_first"]
"""`impossible`: nothing can be done for it here; see the refusals. `no_help`: what can be done would not lessen its
loss. `not_worth_it`: what helps costs more than it saves, even if this were the only tree. `too_little`: it would pay,
but the minutes or things there are do not suffice even for this tree alone. `others_first`: it would pay, but what it
takes does more good elsewhere."""

_TELLING: tuple[RefusalKind, ...] = get_args(RefusalKind)


@dataclass(frozen=True)
class Reason:
    """Why a tree is left tonight.

    Attributes
    ----------
    tree : str
        The tree.
    kind : ReasonKind
        Which reason it is.
    refusals : tuple of Refusal
        What cannot be done, one of each kind, the most telling first. Empty if the yard has no gear or place that
        could be thought of for this tree.
    measure : Measure or None
        The best that could be done if this were the only tree, standing alone; None for `impossible` and `no_help`.
    saves : float
        What that measure would save of this tree's loss tonight. [currency]
    costs : float
        What it would cost tonight: effort by the quickest way, energy and trouble, shared work in full. [currency]
    scarce : tuple of str
        Keys of the supplies that it would use and of which too little is left (`others_first`), or there at all
        (`too_little`). May be empty, where what stands in its way is a shelter that is better in another state, or
        where things suffice one by one and only together do not.
    """

    tree: str
    kind: ReasonKind
    refusals: tuple[Refusal, ...] = ()
    measure: Measure | None = None
    saves: float = 0.0
    costs: float = 0.0
    scarce: tuple[str, ...] = ()


def why_left(problem: EveningProblem, solution: EveningSolution, tree: str, refusals: Sequence[Refusal] = ()) -> Reason:
    """Tell why nothing is done for a tree tonight.

    Parameters
    ----------
    problem, solution
        As given to and by `plans.evening.solve`.
    tree : str
        A tree whose choice of tonight is its first option.
    refusals : sequence of Refusal
        Of that tree, as `plans.measures.refused_measures` gives them.

    Returns
    -------
    Reason

    Raises
    ------
    ValueError
        If the tree is not of the problem, or something is done for it.
    """
    if tree not in problem.trees:
        raise ValueError(f"no tree {tree!r}; there are: {', '.join(problem.trees)}")
    at = problem.trees.index(tree)
    if solution.choices[at][0] != 0:
        raise ValueError(f"tree {tree} is not left tonight, it gets {solution.measure(problem, tree).key}")
    told = _telling(refusals)
    options = problem.options[at]
    if len(options) == 1:
        return Reason(tree, "impossible", told)
    helping = [option for option in options[1:] if option.loss[0] < options[0].loss[0]]
    if not helping:
        return Reason(tree, "no_help", told)

    alone = replace(problem, trees=(tree,), options=(options,))
    chosen = solve(alone).choices[0][0]
    best = (
        options[chosen]
        if chosen
        else max(helping, key=lambda its: _saves(problem, options, its) - _costs(problem, its))
    )
    saves, costs = _saves(problem, options, best), _costs(problem, best)
    if chosen:
        binding = {use.key for use in solution.limits if use.binding}
        scarce = tuple(key for key in _used_by(best.measure) if key in binding)
        return Reason(tree, "others_first", told, best.measure, saves, costs, scarce)
    if saves <= costs:
        return Reason(tree, "not_worth_it", told, best.measure, saves, costs)
    # Nothing but a lack keeps a measure from being chosen that saves more tonight than it costs.
    return Reason(tree, "too_little", told, best.measure, saves, costs, tuple(_lacking(problem, best.measure)))


def _telling(refusals: Sequence[Refusal]) -> tuple[Refusal, ...]:
    """Keep one refusal of each kind, that which lacks least, the most telling kind first."""
    kept: dict[RefusalKind, Refusal] = {}
    for refusal in refusals:
        other = kept.setdefault(refusal.kind, refusal)
        if (_lack(refusal), refusal.key) < (_lack(other), other.key):
            kept[refusal.kind] = refusal
    return tuple(sorted(kept.values(), key=lambda refusal: _TELLING.index(refusal.kind)))


def _lack(refusal: Refusal) -> float:
    return refusal.need - refusal.have if refusal.need is not None and refusal.have is not None else 0.0


def _saves(problem: EveningProblem, options: Sequence[Option], option: Option) -> float:
    """Give what an option saves of a tree's loss tonight. [currency]"""
    return float(problem.weights[0]) * float(options[0].loss[0] - option.loss[0])


def _costs(problem: EveningProblem, option: Option) -> float:
    """Give what an option costs tonight if nothing else is done, by its cheapest ways. [currency]"""
    return float(problem.weights[0]) * sum(
        use_cost(problem, part) + _effort(problem, part) for part in option.measure.all_parts
    )


def _effort(problem: EveningProblem, part: Part) -> float:
    if part.key in problem.done:
        return 0.0
    if part.stays and part.key in problem.in_place:
        return problem.prices.per_hour / 60.0 * part.minutes_again
    return min(setting_up_cost(problem, part, way) for way in part.ways)


def _used_by(measure: Measure) -> tuple[str, ...]:
    """Give the keys of all supplies that a measure may use."""
    keys: list[str] = []
    for part in measure.all_parts:
        keys += [f"sheet/{sheet}" for sheet in part.sheets]
        keys += [f"{part.kind}/{part.device}"] if part.device is not None else []
        keys += [f"room/{part.room}"] if part.room is not None else []
        keys += [f"paint/{PAINT}"] if part.paint_l > 0.0 else []
        keys += [f"circuit/{feed.circuit}" for feed in part.feeds]
        keys += [f"lead/{lead}" for feed in part.feeds for lead in feed.leads]
        keys += [f"person/{person}" for way in part.ways for person in way.people]
        keys += [f"trolley/{way.trolley}" for way in part.ways if way.trolley is not None]
    return tuple(dict.fromkeys(keys))


def _lacking(problem: EveningProblem, measure: Measure) -> list[str]:
    """Give the keys of the supplies that are too little for a measure even if nothing else used them.

    Where one of several would do, such as sheets of two sizes or two people, they are told only if none of them does.
    """
    have = {item.key: item.available for item in problem.supplies.items}
    there = problem.done | problem.in_place
    parts = [
        part for part in measure.all_parts if part.key not in there or not (part.stays or part.key in problem.done)
    ]
    found: list[str] = []
    for part in parts:
        pieces = [[f"sheet/{sheet}" for sheet in part.sheets]]
        pieces += [[f"{part.kind}/{part.device}"]] if part.device is not None else []
        pieces += [[f"room/{part.room}"]] if part.room is not None else []
        pieces += [[f"lead/{lead}" for lead in feed.leads] for feed in part.feeds] if len(part.feeds) == 1 else []
        found += [key for keys in pieces if all(have[key] < 1.0 for key in keys) for key in keys]
        circuits = [f"circuit/{feed.circuit}" for feed in part.feeds]
        found += circuits if all(have[key] < part.watts for key in circuits) else []
        found += [f"paint/{PAINT}"] if part.paint_l > have.get(f"paint/{PAINT}", 0.0) else []
        tired = [
            [f"person/{person}" for person in way.people if have[f"person/{person}"] < way.minutes] for way in part.ways
        ]
        found += [key for keys in tired for key in keys] if all(tired) else []
    people = list(dict.fromkeys(f"person/{person}" for part in parts for way in part.ways for person in way.people))
    if sum(have[key] for key in people) < sum(part.quickest.minutes * len(part.quickest.people) for part in parts):
        found += people
    return list(dict.fromkeys(found))
