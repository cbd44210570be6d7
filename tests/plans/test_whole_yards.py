"""Plans made from all measures of small yards: sheets over several, wall places, pots moved, fruit picked.

The losses are drawn at random, one for each tree, measure and night: what is tried is whether a plan can be carried
out, not whether the measures help.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from zlib import crc32

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fruitwall.plans.evening import EveningProblem, EveningSolution, Option, check_feasible, solve
from fruitwall.plans.measures import possible_measures, settings_of, supplies_of
from fruitwall.yard.demo import demo_yard
from fruitwall.yard.model import Cover, Yard
from tests.plans.test_measures import ANA, BEN, CIRCUIT, FILM, FLEECE, HEATER, LAMPS, LEAD, POT, SHED, YOUNG, yard
from tests.plans.test_together import FRAMED, NEXT, THIRD, WIDE
from tests.plans.test_wall_places import HOUSE, SOUTH

EXACT = 1e-9
CENT = 0.01

RIPE = YOUNG | {"stages": ["leafy", "fruit"], "fruit_worth": 30, "pickable": True}
TREES = (YOUNG, NEXT, THIRD, POT | {"position": [12, 9]}, RIPE | {"id": "ripe", "name": "Ripe", "position": [16, 6]})
COVERS = (WIDE, FRAMED, FILM, FLEECE | {"id": "other", "name": "Other fleece"})


def losses(seed: int, tree: str, key: str, nights: int) -> np.ndarray:
    """The same for a tree and measure whatever else there is; whole numbers from 0 to 59."""
    return np.array([crc32(f"{seed}/{tree}/{key}/{night}".encode()) % 60 for night in range(nights)], dtype=float)


def problem_of(its: Yard, seed: int, *, nights: int = 1, alike: bool = False) -> EveningProblem:
    return EveningProblem(
        trees=tuple(tree.id for tree in its.trees),
        options=tuple(
            tuple(
                Option(m, losses(seed, "" if alike else tree.id, m.key, nights)) for m in possible_measures(its, tree)
            )
            for tree in its.trees
        ),
        supplies=supplies_of(its),
        prices=its.prices,
        settings=settings_of(its),
    )


@st.composite
def yards(draw: st.DrawFn) -> Yard:
    trees = draw(st.lists(st.sampled_from(TREES), min_size=1, unique_by=lambda tree: tree["id"]))
    gear: dict[str, Any] = {"covers": draw(st.lists(st.sampled_from(COVERS), unique_by=lambda its: its["id"]))}
    if draw(st.booleans()):
        gear |= {"lamps": [LAMPS], "heaters": [HEATER], "leads": [LEAD]}
    return yard(
        trees,
        gear=gear,
        people=draw(st.sampled_from([(ANA,), (ANA, BEN), (ANA | {"minutes_before_dusk": 15},)])),
        structures=draw(st.sampled_from([[], [HOUSE]])),
        circuits=[CIRCUIT],
        indoor_places=draw(st.sampled_from([[], [SHED | {"spaces": 1}]])),
    )


seeds = st.integers(0, 10_000)


@given(yards(), seeds, st.integers(1, 2))
@settings(max_examples=25)
def test_every_plan_of_a_yard_can_be_carried_out(its: Yard, seed: int, nights: int):
    problem = problem_of(its, seed, nights=nights)

    assert check_feasible(problem, solve(problem)) == []


@given(yards(), seeds, st.sampled_from(COVERS))
@settings(max_examples=25)
def test_one_more_sheet_never_raises_the_least_total(its: Yard, seed: int, sheet: dict[str, Any]):
    more = [*its.gear.covers, Cover.model_validate(sheet | {"id": "new", "name": "New"})]
    richer = its.model_copy(update={"gear": its.gear.model_copy(update={"covers": more})})
    before, after = problem_of(its, seed), problem_of(richer, seed)
    plan = solve(after, gap=EXACT)

    assert check_feasible(after, plan) == []
    assert plan.total <= solve(before, gap=EXACT).total + CENT


@given(yards(), seeds)
@settings(max_examples=15)
def test_a_house_with_a_warm_wall_never_raises_the_least_total(its: Yard, seed: int):
    open_ = its.model_copy(update={"structures": []})
    walled = its.model_copy(update={"structures": WALLED.structures})

    assert solve(problem_of(walled, seed), gap=EXACT).total <= solve(problem_of(open_, seed), gap=EXACT).total + CENT


@given(seeds, st.sampled_from([YOUNG, POT, RIPE]))
@settings(max_examples=20)
def test_equal_trees_are_treated_alike_where_there_is_enough_for_all(seed: int, tree: dict[str, Any]):
    places = ([7.0, 9.0], [13.0, 9.0])  # as far from the gear and from the middle of the wall
    its = yard(
        [tree | {"id": name, "name": name, "position": place} for name, place in zip("ab", places, strict=True)],
        gear={"covers": [FLEECE | {"count": 2}, FILM | {"count": 2}]},
        people=(ANA | {"minutes_before_dusk": 600},),
        structures=[SOUTH],
        gear_store=[10, 0],
    )
    problem = problem_of(its, seed, alike=True)
    plan = solve(problem, gap=EXACT)
    lost = [options[ranks[0]].loss[0] for options, ranks in zip(problem.options, plan.choices, strict=True)]

    assert check_feasible(problem, plan) == []
    assert lost[0] == lost[1]


@pytest.fixture(scope="module")
def demo() -> EveningProblem:
    return problem_of(demo_yard(), 3, nights=2)


def test_the_plan_of_the_demo_yard_can_be_carried_out(demo: EveningProblem):
    keys = {option.measure.key.partition(":")[0] for options in demo.options for option in options}
    assert {"cover", "carry", "wall", "roof"} <= keys

    assert check_feasible(demo, solve(demo)) == []


@pytest.fixture
def shared() -> tuple[EveningProblem, EveningSolution]:
    """Two trees under the one sheet."""
    problem = problem_of(yard([YOUNG, NEXT], gear={"covers": [WIDE]}), 0)
    cheap = tuple(
        tuple(replace(o, loss=o.loss * 0.0 + (1.0 if o.measure.key.startswith("together") else 90.0)) for o in options)
        for options in problem.options
    )
    problem = replace(problem, options=cheap)
    plan = solve(problem)
    assert check_feasible(problem, plan) == []
    assert [task.part.kind for task in plan.tasks] == ["cover"]
    return problem, plan


def test_a_tree_left_out_from_under_a_shared_sheet_is_found(shared: tuple[EveningProblem, EveningSolution]):
    problem, plan = shared
    free = tuple(
        tuple(replace(o, measure=replace(o.measure, requires=())) if not rank else o for rank, o in enumerate(options))
        for options in problem.options
    )  # as if leaving a tree did not ask for the sheet to be off
    problem = replace(problem, options=free)
    broken = replace(plan, choices=((0,), plan.choices[1]))

    assert any("tree young is under cover:" in wrong for wrong in check_feasible(problem, broken))


def test_a_tree_under_two_sheets_is_found(shared: tuple[EveningProblem, EveningSolution]):
    problem, plan = shared
    own = replace(plan.tasks[0].part, key="cover:own@next", trees=("next",))
    broken = replace(plan, tasks=(*plan.tasks, replace(plan.tasks[0], part=own)))

    assert "night 0: tree next is under 2 sheets" in check_feasible(problem, broken)


WALLED = yard(structures=[HOUSE])
