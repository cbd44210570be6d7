"""Fruit picked before a night that would spoil it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fruitwall.physics.exposure import DURATIONS_H
from fruitwall.plans.evening import EveningProblem, Option, check_feasible, solve
from fruitwall.plans.measures import possible_measures, settings_of, supplies_of
from fruitwall.plans.picking import picking_minutes, share_within_reach
from fruitwall.plants.tolerance import TISSUES, Tolerance
from fruitwall.service.outlook import crop_lost, still_hanging
from fruitwall.yard.checks import check_yard
from fruitwall.yard.model import Yard
from tests.plans.test_measures import ANA, BEN, FLEECE, YOUNG, keys, named, yard

RIPE = YOUNG | {"stages": ["leafy", "fruit"], "fruit_worth": 30, "pickable": True}


def problem_of(its: Yard, losses: dict[str, tuple[float, ...]]) -> EveningProblem:
    row = tuple(Option(m, np.array(losses[m.key])) for m in possible_measures(its, its.trees[0]) if m.key in losses)
    return EveningProblem((its.trees[0].id,), (row,), supplies_of(its), its.prices, settings_of(its))


@pytest.mark.parametrize(
    "change", [{"pickable": False}, {"fruit_worth": 0}, {"stages": ["leafy"]}, {"stages": ["flower"]}]
)
def test_only_fruit_that_is_worth_something_and_may_be_picked_is_picked(change: dict[str, Any]):
    assert keys(yard([RIPE])) == ["leave", "wet", "pick", "wet+pick"]
    assert keys(yard([RIPE | change])) == ["leave", "wet"]


def test_the_yard_file_is_told_where_nothing_comes_of_picking():
    for change in ({"fruit_worth": 0}, {"stages": ["leafy"]}):
        (problem,) = check_yard(yard([RIPE | change]))
        assert (problem.severity, problem.loc) == ("warning", ("trees", 0, "pickable"))
    both = {"stages": ["flower", "fruit"]}
    (problem,) = check_yard(yard([RIPE | both]))
    assert (problem.severity, problem.loc) == ("warning", ("trees", 0, "stages"))
    assert check_yard(yard([RIPE | both | {"bloom_worth": 0}])) == []
    (problem,) = check_yard(yard([RIPE | {"bloom_worth": 5}]))
    assert (problem.severity, problem.loc) == ("warning", ("trees", 0, "bloom_worth"))
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
    (part,) = named(its, "pick-half").parts
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


# ---------------------------------------------------------------- half of it

HEAVY = RIPE | {"fruit_mass": 60}  # mangoes of 9 cm: a quarter of an hour


def test_half_of_the_fruit_is_offered_where_all_of_it_takes_long():
    its = yard([HEAVY])
    assert keys(its) == ["leave", "wet", "pick-half", "wet+pick-half", "pick", "wet+pick"]
    half, whole = named(its, "pick-half"), named(its, "pick")
    assert still_hanging([half, whole]) == pytest.approx([0.5, 0.0])
    assert whole.parts[0] == half.parts[0]  # done tonight it need not be done tomorrow
    picking = picking_minutes(60.0, 0.09)
    assert whole.minutes - half.minutes == pytest.approx(picking / 2, rel=0.3)
    assert half.minutes > 5.0 + picking / 2 * 0.7  # crates are fetched for the half as well


def test_what_the_minutes_give_is_picked_and_the_rest_on_the_next_evening():
    minutes = [m.minutes for m in possible_measures(yard([HEAVY]), yard([HEAVY]).trees[0]) if m.key.startswith("pick")]
    its = yard([HEAVY], people=(ANA | {"minutes_before_dusk": (minutes[0] + minutes[1]) / 2},))
    losses = {"leave": (30.0, 30.0), "pick-half": (15.0, 15.0), "pick": (0.0, 0.0)}
    problem = problem_of(its, losses)
    solution = solve(problem, gap=1e-9)
    assert check_feasible(problem, solution) == []
    assert [solution.measure(problem, "young", night).key for night in (0, 1)] == ["pick-half", "pick"]
    assert [task.part.key for task in solution.tasks if not task.again] == ["pick@young", "pick@young/rest"]


def test_two_people_pick_a_half_each_at_the_same_time():
    its = yard([HEAVY])
    half, rest = named(its, "pick").parts
    time = max(half.ways[0].minutes, rest.ways[0].minutes) + 0.1
    its = yard([HEAVY], people=(ANA | {"minutes_before_dusk": time}, BEN | {"minutes_before_dusk": time}))
    problem = problem_of(its, {"leave": (30.0,), "pick-half": (15.0,), "pick": (0.0,)})
    solution = solve(problem, gap=1e-9)
    assert check_feasible(problem, solution) == []
    assert solution.measure(problem, "young").key == "pick"


# ---------------------------------------------------------------- bloom


def night(*, fruit_c: float, leaf_c: float) -> np.ndarray:
    """Exposures [treatment, member, night, tissue, duration] of one night for two treatments."""
    cold = np.full((2, 1, 1, len(TISSUES), len(DURATIONS_H)), leaf_c)
    cold[..., TISSUES.index("fruit"), :] = fruit_c
    return cold


def lost(change: dict[str, Any]) -> list[float]:
    """Share of the crop lost, unpicked and picked."""
    tree = yard([RIPE | change]).trees[0]
    stands = Tolerance(
        "mango",
        np.full((len(TISSUES), 8), np.nan),
        np.zeros(len(TISSUES)),
        slope_k=0.4,
        duration_k_per_log2h=0.0,
        fruit_c=-2.0,
        fruit_sd_k=0.3,
        flower_c=-1.0 if "flower" in tree.stages else np.nan,
        flower_sd_k=0.3,
    )
    return [float(x) for x in crop_lost(tree, stands, night(fruit_c=-8.0, leaf_c=-8.0), np.array([1.0, 0.0])).ravel()]


def test_picking_saves_the_fruit_and_not_the_bloom():
    assert lost({}) == pytest.approx([1.0, 0.0], abs=1e-3)
    both = {"stages": ["fruit", "flower"], "fruit_worth": 30, "bloom_worth": 10}
    assert lost(both) == pytest.approx([1.0, 0.25], abs=1e-3)
    assert lost(both | {"bloom_worth": 0}) == pytest.approx([1.0, 0.0], abs=1e-3)


def test_bloom_that_stands_alone_is_worth_what_the_fruit_was_said_to_be():
    alone = yard([RIPE | {"stages": ["flower"], "pickable": False}]).trees[0]
    assert (alone.promised_worth, alone.crop_worth) == (30.0, 30.0)
    told = yard([RIPE | {"stages": ["flower"], "pickable": False, "bloom_worth": 12}]).trees[0]
    assert (told.promised_worth, told.crop_worth) == (12.0, 12.0)
    both = yard([RIPE | {"stages": ["fruit", "flower"]}]).trees[0]
    assert (both.promised_worth, both.crop_worth) == (0.0, 30.0)
