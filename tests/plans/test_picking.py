"""Fruit picked before a night that would spoil it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fruitwall.plans.evening import EveningProblem, Option, check_feasible, solve
from fruitwall.plans.measures import possible_measures, settings_of, supplies_of
from fruitwall.plans.picking import picking_minutes, share_within_reach
from fruitwall.service.outlook import still_hanging
from fruitwall.yard.checks import check_yard
from fruitwall.yard.model import Yard
from tests.plans.test_measures import ANA, BEN, FLEECE, YOUNG, keys, named, yard

RIPE = YOUNG | {"stages": ["leafy", "fruit"], "fruit_worth": 30, "pickable": True}


def problem_of(its: Yard, losses: dict[str, tuple[float, ...]]) -> EveningProblem:
    row = tuple(Option(m, np.array(losses[m.key])) for m in possible_measures(its, its.trees[0]) if m.key in losses)
    return EveningProblem((its.trees[0].id,), (row,), supplies_of(its), its.prices, settings_of(its))


@pytest.mark.parametrize(
    "change", [{"pickable": False}, {"fruit_worth": 0}, {"stages": ["leafy"]}, {"stages": ["flower", "fruit"]}]
)
def test_only_fruit_that_is_worth_something_and_may_be_picked_is_picked(change: dict[str, Any]):
    assert keys(yard([RIPE])) == ["leave", "wet", "pick", "wet+pick"]
    assert keys(yard([RIPE | change])) == ["leave", "wet"]


def test_the_yard_file_is_told_where_nothing_comes_of_picking():
    for change in ({"fruit_worth": 0}, {"stages": ["leafy"]}, {"stages": ["flower", "fruit"]}):
        (problem,) = check_yard(yard([RIPE | change]))
        assert (problem.severity, problem.loc) == ("warning", ("trees", 0, "pickable"))
    assert check_yard(yard([RIPE])) == []


def test_whatever_is_done_can_be_done_with_the_fruit_picked():
    found = keys(yard([RIPE], gear={"covers": [FLEECE]}))
    half = len(found) // 2
    assert [f"{key}+pick".removeprefix("leave+") for key in found[:half]] == found[half:]


def test_picking_takes_longer_for_more_and_for_smaller_fruit():
    # A 10 cm fruit holds 0.524 L: 6 s for 0.524 kg.
    assert picking_minutes(0.5236, 0.10) == pytest.approx(0.1, rel=1e-3)
    assert picking_minutes(2.0, 0.05) == pytest.approx(2 * picking_minutes(1.0, 0.05))
    assert picking_minutes(1.0, 0.05) == pytest.approx(8 * picking_minutes(1.0, 0.10))
    assert picking_minutes(1.0, 0.005) == 8.0  # berries by the handful
    whole = named(yard([RIPE | {"fruit_mass": 20}]), "pick").minutes
    guessed = named(yard([RIPE]), "pick").minutes  # 30 in money: 10 kg
    assert whole - guessed == pytest.approx(picking_minutes(10.0, 0.09), rel=0.3)  # mangoes of about 9 cm


def test_only_what_is_within_reach_is_picked():
    assert share_within_reach(yard([RIPE]).trees[0], 3.0) == 1.0
    tall = RIPE | {"height": 5, "crown_base": 1}
    measure = named(yard([tall]), "pick")
    assert measure.fruit_picked == pytest.approx(0.5)  # 2 of 4 m of crown below 3 m
    assert any("cannot be reached" in step for step in measure.parts[0].steps)
    assert keys(yard([RIPE | {"height": 9, "crown_base": 2.9}])) == ["leave", "wet"]


def test_two_may_pick_together_in_half_the_time_and_nobody_climbs():
    its = yard([RIPE | {"fruit_mass": 60}], people=(ANA, BEN))
    (part,) = named(its, "pick").parts
    alone, together = part.ways[0], part.ways[-1]
    assert together.people == ("ana", "ben")
    walk = alone.minutes - 5.0
    assert alone.minutes - together.minutes == pytest.approx((walk - 0.118) / 2, abs=0.05)  # 7.07 m at 1 m/s, detour 1
    assert not any(way.ladder or way.lifts for way in part.ways)


def test_the_night_takes_only_what_still_hangs():
    measures = possible_measures(yard([RIPE]), yard([RIPE]).trees[0])
    assert still_hanging(measures) == pytest.approx([1.0, 1.0, 0.0, 0.0])


def test_fruit_is_picked_where_the_night_takes_it_and_stays_picked():
    its = yard([RIPE], gear={"covers": [FLEECE]})
    problem = problem_of(
        its,
        {
            "leave": (29.0, 60.0),
            "cover:fleece_medium": (25.0, 50.0),
            "pick": (0.0, 30.0),
            "cover:fleece_medium+pick": (0.0, 20.0),
        },
    )
    solution = solve(problem, gap=1e-9)
    assert check_feasible(problem, solution) == []
    chosen = [solution.measure(problem, "young", night).key for night in (0, 1)]
    assert chosen == ["pick", "cover:fleece_medium+pick"]
    later = next(task for task in solution.tasks if task.night == 1 and task.part.kind == "pick")
    assert later.again
    assert later.idle


def test_a_mild_night_leaves_the_fruit_hanging():
    problem = problem_of(yard([RIPE]), {"leave": (0.4,), "pick": (0.0,)})
    assert solve(problem).choices == ((0,),)
