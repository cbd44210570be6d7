"""The checker that stands apart from the optimiser finds what is wrong with a plan."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fruitwall.plans.evening import check_feasible, solve
from fruitwall.plans.parts import Lift, Way
from tests.plans.test_evening import problem_of, shelter_of
from tests.plans.yards import ALL, carry, cover, lamps, leave, measure, option


@pytest.fixture
def problem():
    warm = measure("warm", "a", lamps("a", ["ana"], leads=("short", "long")), cover("a", ["ana", "ben"], film=True))
    pot = measure("carry:shed", "b", carry("b", by_hand=["ana"], rolled=["ana", "ben"]))
    states = shelter_of("c")
    return problem_of(
        [option(leave("a"), 40, 40), option(warm, 0, 0)],
        [option(leave("b"), 40, 40), option(pot, 0, 0)],
        [option(leave("c", states[0]), 40, 40), option(measure("hoops", "c", requires=(states[1],)), 0, 0)],
        settings=states,
        have=ALL | {"person_ana": 30},
    )


@pytest.fixture
def solution(problem):
    found = solve(problem)
    assert check_feasible(problem, found) == []
    assert len(found.tasks) == 8
    return found


def changed(solution, key: str, night: int = 0, **to):
    tasks = tuple(
        replace(task, **to) if (task.part.key, task.night) == (key, night) else task for task in solution.tasks
    )
    return replace(solution, tasks=tasks)


def complaints(problem, solution) -> str:
    return "\n".join(check_feasible(problem, solution))


def test_a_part_that_nobody_does_is_found(problem, solution):
    broken = replace(solution, tasks=tuple(task for task in solution.tasks if task.part.kind != "cover"))
    assert "night 0: cover:film@a is needed but nobody sees to it" in complaints(problem, broken)


def test_a_part_done_twice_or_for_nothing_is_found(problem, solution):
    assert "is done twice" in complaints(problem, replace(solution, tasks=solution.tasks + solution.tasks[:1]))
    idle = replace(solution, choices=((0, 0), *solution.choices[1:]))
    assert "is done but nothing needs it" in complaints(problem, idle)


def test_a_wrong_sheet_circuit_or_lead_is_found(problem, solution):
    assert "has the sheet huge, which does not fit" in complaints(
        problem, changed(solution, "cover:film@a", sheet="huge")
    )
    assert "is fed from shed, which does not reach it" in complaints(
        problem, changed(solution, "lamps:warm@a", circuit="shed")
    )
    assert "has the lead thin, which does not reach or carry it" in complaints(
        problem, changed(solution, "lamps:warm@a", lead="thin")
    )


def test_a_way_that_is_not_open_is_found(problem, solution):
    assert "in a way that is not open to it" in complaints(
        problem, changed(solution, "carry:shed@b", way=Way(("ben",), 4.0))
    )
    assert "is done in a way that is not open" in complaints(problem, changed(solution, "close:hoops", way=Way((), 0)))


def test_a_lift_above_the_limit_is_found(problem, solution):
    heavy = Way(("ana",), 4.0, lifts=1, lift=Lift(20.0, 12.0))
    assert "asks for a lift with index 1.67" in complaints(problem, changed(solution, "carry:shed@b", way=heavy))


def test_what_is_taken_to_stand_but_does_not_is_found(problem, solution):
    assert "is taken to stand already, but does not" in complaints(
        problem, changed(solution, "cover:film@a", again=True)
    )
    assert "close:hoops is taken to stand already" in complaints(
        problem, changed(solution, "close:hoops", night=1, again=True)
    )


def test_film_that_nobody_closes_again_is_found(problem, solution):
    assert "has to be done again by one able person in 2 min" in complaints(
        problem, changed(solution, "cover:film@a", night=1, way=Way((), 0.0))
    )


def test_people_watts_pieces_and_trolleys_beyond_the_limit_are_found(problem, solution):
    def short_of(**less):
        poorer = problem_of(*problem.options, settings=problem.settings, have=ALL | {"person_ana": 30} | less)
        return complaints(poorer, solution)

    assert "person ana has 3, " in short_of(person_ana=3)
    assert "circuit house has 100, 150 are used" in short_of(circuit_house=100)
    assert "sheet/small: 0 there, 1 used" in short_of(sheet_small=0)
    assert "lamps/warm: 0 there, 1 used" in short_of(lamps_warm=0)
    assert "lead/short: 0 there, 1 used" in short_of(lead_short=0)
    assert "room/place:shed: 0 there, 1 used" in short_of(room_place__shed=0)
    rolled = changed(solution, "carry:shed@b", way=Way(("ben",), 7.0, trolley="truck"))
    slow = problem_of(*problem.options, settings=problem.settings, have=ALL | {"person_ben": 5})
    assert "trolley truck is needed 7 min within 5 min" in complaints(slow, rolled)


def test_a_tree_under_the_wrong_state_is_found(problem, solution):
    broken = replace(solution, states={"shelter:hoops": ("open", "closed")})
    assert "night 0: tree c is planned for ('shelter:hoops', 'closed'), which is otherwise" in complaints(
        problem, broken
    )
    assert "has no known state on every night" in complaints(problem, replace(solution, states={}))


def test_choices_out_of_range_are_found(problem, solution):
    broken = replace(solution, choices=((5, 0), *solution.choices[1:]))
    assert "tree a has no known measure on every night" in complaints(problem, broken)
    assert "2 trees are planned, the yard has 3" in complaints(problem, replace(solution, choices=solution.choices[1:]))


def test_costs_that_do_not_add_up_are_found(problem, solution):
    wrong = tuple(replace(costs, loss=costs.loss + 1.0) for costs in solution.nightly)
    assert "the loss adds up to" in complaints(problem, replace(solution, nightly=wrong))
    wrong = tuple(replace(costs, minutes=0.0) for costs in solution.nightly)
    assert "the effort adds up to" in complaints(problem, replace(solution, nightly=wrong))
