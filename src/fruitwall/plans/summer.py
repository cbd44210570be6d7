"""The best way through a hot spell: which tree gets cloth, shade, paint or water, within all limits.

The same problem and the same optimiser as on a winter evening (`plans.problem`, `plans.evening`). The hot days ahead
are one span: cloth stays up, a pot stays where it was brought, paint stays on, water is given again every day. So a
tree has one measure for all of them, and its loss is that of the whole spell, taken at the hottest hour of each tissue.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.feasible import check_feasible
from fruitwall.plans.parts import Measure
from fruitwall.plans.problem import EveningProblem, EveningSolution, Option, PlannedTask, Supplies
from fruitwall.plans.shading import PAINT_L_PER_M2, bark_m2
from fruitwall.plants.heat import HeatTissue
from fruitwall.plants.injury import loss_share
from fruitwall.yard.model import Prices, Tree, Yard
from fruitwall.yard.plan import contains

Array = NDArray[np.float64]

Harm = Callable[[HeatTissue, Array], Array]
"""From temperatures of a tissue in its hottest hour to chances of grade 0 to 7 on a last axis (see `plants.heat`)."""

OF_TREE: tuple[HeatTissue, ...] = ("leaf", "bark", "root")
"""Tissues whose injury is that of the tree; that of fruit is of its crop."""

HARM = 2
"""Grade from which a tree counts as hurt."""

FRUIT_SHARES = np.array([0.0, 0.0, 0.1, 0.3, 0.75, 1.0, 1.0, 1.0])
"""Share of the crop's worth lost by grade 0 to 7: some, much, most of its skin burnt. Our judgement."""


@dataclass(frozen=True, eq=False)
class Risk:
    """What a tree risks in the spell under one measure.

    Attributes
    ----------
    grades : ndarray, shape (8,)
        Chances of grades 0 to 7 over all days and members.
    fruit_lost : float
        Expected share of its crop lost; 0 where it carries none. [0-1]
    harm_by_day : ndarray, shape (day,)
        Chance of harm to tree or crop had there been that day alone.
    loss_by_member : ndarray, shape (member,)
        Expected loss of the spell in each member. [currency]
    tissue : str
        What is most endangered.
    of_tissue_c : mapping of tissue to ndarray, shape (member,)
        Each known tissue's hottest hour of the spell. [°C]
    """

    grades: Array
    fruit_lost: float
    harm_by_day: Array
    loss_by_member: Array
    tissue: HeatTissue
    of_tissue_c: Mapping[HeatTissue, Array]

    @property
    def loss(self) -> float:
        """Expected loss. [currency]"""
        return float(self.loss_by_member.mean())

    @property
    def harm(self) -> float:
        """Chance that the tree is hurt. [0-1]"""
        return float(min(1.0, max(0.0, self.grades[HARM:].sum())))


def risk_of(tree: Tree, hottest_c: Mapping[HeatTissue, Array], harm: Harm) -> Risk:
    """Judge the hottest hours of a spell.

    Parameters
    ----------
    tree : Tree
        With its worth and that of its crop.
    hottest_c : mapping of tissue to ndarray, shape (member, day)
        Mean temperature of each tissue in its hottest hour of each day; NaN, or left out, where it has none. [°C]
    harm : callable
        What that does to it.

    Returns
    -------
    Risk

    Raises
    ------
    ValueError
        If no tissue of the tree itself is known.

    Notes
    -----
    What is not known of a tree is the same on every day, so the spell is as bad as its hottest hour; and it is the same
    in every tissue, so the tree is as bad as its worst one. The fruit is judged by itself.
    """
    known = {tissue: at for tissue, at in hottest_c.items() if not np.isnan(at).all()}
    if not any(tissue in known for tissue in OF_TREE):
        raise ValueError(f"no temperature of leaf, bark or root of {tree.id} is known")
    spell = {tissue: np.nanmax(at, axis=1) for tissue, at in known.items()}
    at_least = {tissue: _at_least(harm(tissue, at)) for tissue, at in spell.items()}
    worst = np.maximum.reduce([at_least[tissue] for tissue in OF_TREE if tissue in known])
    by_member = worst - np.concatenate([worst[:, 1:], np.zeros((len(worst), 1))], axis=1)
    fruit = np.zeros(len(worst))
    if "fruit" in known and tree.crop_worth > 0.0:
        fruit = np.nan_to_num(harm("fruit", spell["fruit"])) @ FRUIT_SHARES
    each_day = [
        _at_least(harm(tissue, at))[..., HARM]
        for tissue, at in known.items()
        if tissue != "fruit" or tree.crop_worth > 0
    ]
    most = max(
        (tissue for tissue in known if tissue != "fruit" or tree.crop_worth > 0.0),
        key=lambda tissue: float(at_least[tissue][:, HARM].mean()),
    )
    return Risk(
        grades=by_member.mean(axis=0),
        fruit_lost=float(fruit.mean()),
        harm_by_day=np.maximum.reduce(each_day).mean(axis=0),
        loss_by_member=tree.worth * loss_share(by_member) + tree.crop_worth * fruit,
        tissue=most,
        of_tissue_c=spell,
    )


def _at_least(chances: Array) -> Array:
    """Turn chances of grades into chances of at least each; what is not known is no harm."""
    return np.asarray(np.cumsum(np.nan_to_num(chances)[..., ::-1], axis=-1)[..., ::-1])


@dataclass(frozen=True, eq=False)
class SummerCase:
    """A tree, what could be done for it, and what it risks then.

    Attributes
    ----------
    tree : Tree
    measures : tuple of Measure
        The first is leaving it.
    risks : tuple of Risk
        One for each.
    """

    tree: Tree
    measures: tuple[Measure, ...]
    risks: tuple[Risk, ...]


def summer_problem(
    cases: Sequence[SummerCase],
    supplies: Supplies,
    prices: Prices,
    *,
    standing: frozenset[str] = frozenset(),
) -> EveningProblem:
    """Write a hot spell as the problem that the evening's optimiser solves: one span, one measure for each tree.

    Parameters
    ----------
    cases : sequence of SummerCase
        At least one.
    supplies : Supplies
        As `plans.shading.summer_supplies` gives them.
    prices : Prices
    standing : frozenset of str
        Keys of parts that are in place already.

    Returns
    -------
    EveningProblem
        Of one night, which is the spell.
    """
    return EveningProblem(
        trees=tuple(case.tree.id for case in cases),
        options=tuple(
            tuple(
                Option(measure, np.array([risk.loss]), risk.loss_by_member[None, :])
                for measure, risk in zip(case.measures, case.risks, strict=True)
            )
            for case in cases
        ),
        supplies=supplies,
        prices=prices,
        aversion=prices.worst_case_aversion,
        in_place=standing,
    )


def chosen_of(solution: EveningSolution) -> tuple[int, ...]:
    """Give which of its measures each tree gets."""
    return tuple(row[0] for row in solution.choices)


# ------------------------------------------------------------------------------------------------------ the checker


def check_summer(yard: Yard, problem: EveningProblem, solution: EveningSolution) -> list[str]:
    """Tell everything that is wrong with a summer plan, from the yard itself.

    Parameters
    ----------
    yard : Yard
    problem : EveningProblem
    solution : EveningSolution

    Returns
    -------
    list of str
        What `plans.feasible.check_feasible` finds, and what only the yard tells: cloth that hangs short, pots that
        are too heavy for who lifts them or stand on each other, paint and pieces that are not there.
    """
    wrong = check_feasible(problem, solution)
    trees = {tree.id: tree for tree in yard.trees}
    tasks = solution.tonight()
    for task in tasks:
        wrong += [f"{task.part.key}: {what}" for what in _wrong_with(yard, trees[task.part.trees[0]], task)]
    hung = Counter(task.sheet for task in tasks if task.sheet is not None)
    count = {cloth.id: cloth.count for cloth in yard.gear.shades}
    wrong += [
        f"{n} pieces of {cloth} hang, there are {count.get(cloth, 0)}"
        for cloth, n in hung.items()
        if n > count.get(cloth, 0)
    ]
    places: defaultdict[tuple[float, float], list[str]] = defaultdict(list)
    for tree, measure in _measures(problem, solution):
        if measure.moved_to is not None:
            places[measure.moved_to].append(tree)
            wrong += [] if contains(yard.outline, measure.moved_to) else [f"{tree} is brought out of the yard"]
    wrong += [f"{' and '.join(its)} are brought to one place" for its in places.values() if len(its) > 1]
    painted = [trees[task.part.trees[0]] for task in tasks if task.part.kind == "whitewash" and not task.again]
    used = sum(PAINT_L_PER_M2 * bark_m2(tree) for tree in painted)
    have = sum(paint.volume_l for paint in yard.gear.paints)
    wrong += [f"{used:.2f} L of paint are used, there are {have:.2f}"] if used > have + 1e-9 else []
    return wrong


def _measures(problem: EveningProblem, solution: EveningSolution) -> Iterator[tuple[str, Measure]]:
    for tree, options, row in zip(problem.trees, problem.options, solution.choices, strict=True):
        yield tree, options[row[0]].measure


def _wrong_with(yard: Yard, tree: Tree, task: PlannedTask) -> Iterator[str]:
    """Say what of a task the yard does not allow."""
    people = {person.id: person for person in yard.people}
    if task.part.kind == "shade":
        cloth = next((its for its in yard.gear.shades if its.id == task.sheet), None)
        if cloth is None:
            yield "has no cloth"
        elif min(cloth.width_m, cloth.length_m) < _over_and_down_m(tree) - 2e-3:
            yield f"{cloth.id} does not hang down to the lowest leaves"
    if task.part.kind == "into_shade":
        if tree.container is None:
            yield "is no pot"
        for name in task.way.people:
            limit = people[name].max_lift_kg
            if task.way.lifts and not people[name].lifts:
                yield f"{name} does not lift"
            if task.way.lift is not None and limit is not None and task.way.lift.mass_kg > limit + 1e-9:
                yield f"{name} lifts at most {limit:g} kg"
            if task.way.trolley is not None and not any(people[other].pushes_trolley for other in task.way.people):
                yield "nobody pushes the trolley"
    if task.way.ladder and not any(people[name].uses_ladder for name in task.way.people):
        yield "nobody goes up a ladder"


def _over_and_down_m(tree: Tree) -> float:
    """Path over a crown as wide as it is, down to its lowest leaves on both sides, reckoned anew. [m]"""
    return tree.crown_diameter_m + math.fsum([tree.height_m - tree.crown_base_m] * 2)
