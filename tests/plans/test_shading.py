"""What can be done against heat, where pots find shade, and the plan against trying everything."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fruitwall.plans.evening import one_more, runner_up, solve
from fruitwall.plans.reasons import why_left
from fruitwall.plans.shade_places import SHADY, places_in_shade, shade_places, sun_share
from fruitwall.plans.shading import (
    PAINT_L_PER_M2,
    SPELLS_A_SUMMER,
    SummerTree,
    bark_m2,
    shade_fits,
    shade_sheet_for,
    summer_measures,
    summer_refusals,
    summer_supplies,
)
from fruitwall.plans.summer import FRUIT_SHARES, Risk, SummerCase, check_summer, risk_of, summer_problem
from fruitwall.plants.injury import LOSS_SHARES
from fruitwall.yard.file import parse_yard
from fruitwall.yard.model import Yard
from tests.plans.yards import brute_force

TEXT = """
fruitwall: 1
name: Hot yard
location: {latitude: 33.9, longitude: -117.2, elevation: 300, time_zone: America/Los_Angeles}
outline: [[0, 0], [20, 0], [20, 20], [0, 20]]
gear_store: [10, 2]
structures:
  - {kind: wall, id: wall, name: Long wall, line: [[2, 10], [18, 10]], height: 3, thickness: 0.3, material: brick}
trees:
  - {id: mango, name: Mango, taxon: mango, position: [5, 4], height: 2.2, crown_diameter: 2, crown_base: 0.6,
     worth: 200}
  - {id: lemon, name: Lemon, taxon: lemon, position: [10, 4], height: 2, crown_diameter: 1.6, crown_base: 0.5,
     worth: 120, root_zone: dry}
  - {id: pot, name: Pot, taxon: lime, position: [14, 4], height: 1.4, crown_diameter: 0.8, crown_base: 0.5, worth: 90,
     container: {volume: 25, mass: 8, handles: yes}}
gear:
  shades:
    - {id: small, name: Small net, shade: 50 %, width: 4.6, length: 4.6}
    - {id: large, name: Large net, shade: 50 %, width: 6, length: 6}
    - {id: frame, name: Net on a frame, shade: 30 %, width: 6, length: 6, on_frame: yes}
  paints:
    - {id: paint, name: Paint, volume: 0.06}
people:
  - {id: ana, name: Ana, minutes_before_dusk: 25}
  - {id: ben, name: Ben, minutes_before_dusk: 20, lifts: no}
"""
YARD = parse_yard(TEXT)
MANGO, LEMON, POT = YARD.trees
NOON_SUN = [(180.0, 45.0)]
"""Due south, half way up."""

PLACES = shade_places(YARD, NOON_SUN)
ABOUT = {
    "mango": SummerTree(bark_matters=True),
    "lemon": SummerTree(thirsty=True, bark_matters=True),
    "pot": SummerTree(places=tuple(PLACES[:2]), thirsty=True),
}


def with_people(**minutes: float) -> Yard:
    people = [one.model_copy(update={"minutes_before_dusk": minutes.get(one.id, 0.0)}) for one in YARD.people]
    return YARD.model_copy(update={"people": people})


def made_risk(loss: float) -> Risk:
    grades = np.array([1.0, *np.zeros(7)])
    return Risk(grades, 0.0, np.zeros(1), np.array([loss]), "leaf", {"leaf": np.array([45.0])})


def cases_of(yard: Yard, losses: dict[str, dict[str, float]]) -> list[SummerCase]:
    """Each tree with those of its measures for which a loss is given, leaving first."""
    found = []
    for tree in yard.trees:
        its = losses[tree.id]
        measures = [one for one in summer_measures(yard, tree, ABOUT[tree.id], days=3) if one.key in its]
        found.append(SummerCase(tree, tuple(measures), tuple(made_risk(its[one.key]) for one in measures)))
    return found


def problem_of(yard: Yard, losses: dict[str, dict[str, float]]):
    minutes = {one.id: one.minutes_before_dusk for one in yard.people}
    return summer_problem(cases_of(yard, losses), summer_supplies(yard, PLACES, minutes), yard.prices)


def keys(problem, solution) -> list[str]:
    return [solution.measure(problem, tree).key for tree in problem.trees]


# ---------------------------------------------------------------- what is possible


def test_the_cloth_hangs_over_the_crown_down_to_its_lowest_leaves():
    # Over the crown and down its depth on both sides: 2 + 2 * (2.2 - 0.6).
    assert shade_sheet_for(MANGO) == pytest.approx((5.2, 5.2))
    small, large, _ = YARD.gear.shades
    assert not shade_fits(small, MANGO)
    assert shade_fits(large, MANGO)
    assert shade_fits(small, LEMON)


def test_each_tree_gets_what_fits_it():
    found = {tree.id: [one.key for one in summer_measures(YARD, tree, ABOUT[tree.id], days=3)] for tree in YARD.trees}
    assert found["mango"] == [
        "leave",
        "shade:50",
        "shade:30/frame",
        "whitewash",
        "shade:50+whitewash",
        "shade:30/frame+whitewash",
    ]
    assert "shade:50+whitewash+water" in found["lemon"]
    assert "water" in found["lemon"]
    # A pot in the shade is not painted, but watered.
    assert [one for one in found["pot"] if one.startswith("into_shade:1")] == ["into_shade:1", "into_shade:1+water"]


def test_cloth_wears_by_the_day_and_the_smallest_that_fits_is_handed_out_first():
    for days in (1, 4):
        part = next(
            one.parts[0] for one in summer_measures(YARD, LEMON, SummerTree(), days=days) if one.key == "shade:50"
        )
        assert part.sheets == ("small", "large")
        assert part.wear == pytest.approx(0.10 * days)


def test_paint_takes_litres_by_bark_and_is_paid_for_by_a_quarter_alone():
    part = next(one.parts[0] for one in summer_measures(YARD, MANGO, ABOUT["mango"], days=3) if one.key == "whitewash")
    # Trunk of 0.04 crowns, painted to a third of the height: pi * 0.08 * 0.7333 m.
    assert bark_m2(MANGO) == pytest.approx(math.pi * 0.08 * 2.2 / 3.0)
    assert part.paint_l == pytest.approx(PAINT_L_PER_M2 * math.pi * 0.08 * 2.2 / 3.0)
    assert part.price_share == 1.0 / SPELLS_A_SUMMER
    again = summer_measures(YARD, MANGO, replace(ABOUT["mango"], painted=True), days=3)
    assert next(one.parts[0] for one in again if one.key == "whitewash").paint_l == 0.0


def test_who_may_not_lift_moves_no_pot_and_the_reason_is_told():
    weak = with_people(ben=30.0)
    assert all(not one.in_shade for one in summer_measures(weak, POT, ABOUT["pot"], days=3))
    refused = summer_refusals(weak, POT, ABOUT["pot"], days=3)
    assert [one.kind for one in refused] == ["too_heavy"]
    nobody = with_people()
    assert [one.key for one in summer_measures(nobody, MANGO, ABOUT["mango"], days=3)] == ["leave"]
    assert {one.kind for one in summer_refusals(nobody, MANGO, ABOUT["mango"], days=3)} == {"nobody_has_time"}


def test_days_must_be_one_or_more():
    with pytest.raises(ValueError, match="days must be 1 or more"):
        summer_measures(YARD, MANGO, SummerTree(), days=0)


# ---------------------------------------------------------------- shady places


def test_shade_lies_behind_the_wall_as_far_as_the_sun_tells():
    # Sun in the south at 45 degrees: at 1 m above ground a wall of 3 m shades what is less than 2 m behind its face.
    assert PLACES
    for place in PLACES:
        x, y = place.position
        assert 2.0 < x < 18.0
        assert 10.15 < y < 12.0 + 1e-6
        assert place.sun == pytest.approx(0.0, abs=1e-9)
        assert place.giver == "Long wall"
    for one in PLACES:
        for other in PLACES:
            if one is not other:
                assert math.dist(one.position, other.position) >= max(one.radius_m, other.radius_m)


def test_a_sun_along_the_wall_leaves_no_shade():
    assert shade_places(YARD, [(90.0, 45.0), (270.0, 45.0)]) == []
    assert shade_places(YARD, [(180.0, 5.0)]) == []  # low sun does not count
    planted = YARD.model_copy(update={"trees": [MANGO, LEMON]})
    assert shade_places(planted, NOON_SUN) == []


def test_a_pot_goes_where_it_fits_the_nearest_first_and_not_if_it_stands_in_shade():
    own = sun_share(YARD, POT, NOON_SUN)
    assert own > SHADY
    found = places_in_shade(YARD, POT, PLACES, own)
    away = [math.dist(place.position, POT.position) for place in found]
    assert away == sorted(away)
    wide = POT.model_copy(update={"crown_diameter_m": 5.0})
    assert places_in_shade(YARD, wide, PLACES, own) == []
    assert places_in_shade(YARD, POT, PLACES, SHADY) == []
    assert PLACES[0].way_from((PLACES[0].position[0], 4.0)).endswith("to the north")


# ---------------------------------------------------------------- risk


def steps(limits: dict[str, float]):
    """Harm of grade 4 for certain from a temperature on, none below it."""

    def harm(tissue, hottest_c):
        return np.where((hottest_c >= limits[tissue])[..., None], np.eye(8)[4], np.eye(8)[0])

    return harm


def test_a_spell_is_as_bad_as_its_hottest_hour_and_its_worst_tissue():
    hottest = {
        "leaf": np.array([[44.0, 47.0, 45.0], [44.0, 45.0, 45.0]]),
        "bark": np.array([[40.0, 40.0, 40.0], [40.0, 40.0, 51.0]]),
        "fruit": np.full((2, 3), np.nan),
    }
    risk = risk_of(MANGO, hottest, steps({"leaf": 46.0, "bark": 50.0, "fruit": 0.0}))
    # One member burns its leaves on the second day, the other its bark on the third: both lose grade 4 once.
    assert risk.loss_by_member == pytest.approx([200.0 * LOSS_SHARES[4]] * 2)
    assert risk.harm == pytest.approx(1.0)
    assert risk.harm_by_day == pytest.approx([0.0, 0.5, 0.5])
    assert risk.fruit_lost == 0.0


def test_fruit_is_lost_beside_the_tree_and_only_where_it_is_worth_something():
    hottest = {"leaf": np.array([[40.0]]), "fruit": np.array([[50.0]])}
    bearing = MANGO.model_copy(update={"stages": ["leafy", "fruit"], "fruit_worth": 60.0})
    limits = steps({"leaf": 46.0, "fruit": 48.0})
    risk = risk_of(bearing, hottest, limits)
    assert (risk.tissue, risk.harm) == ("fruit", 0.0)
    assert risk.loss == pytest.approx(60.0 * FRUIT_SHARES[4])
    assert risk_of(MANGO, hottest, limits).loss == 0.0
    with pytest.raises(ValueError, match="no temperature of leaf, bark or root of mango"):
        risk_of(MANGO, {"leaf": np.array([[np.nan]])}, limits)


# ---------------------------------------------------------------- the plan


@st.composite
def spells(draw: st.DrawFn):
    """Three trees, a few measures of each with any loss, and little of everything."""
    yard = with_people(ana=float(draw(st.integers(0, 30))), ben=float(draw(st.sampled_from([0, 12]))))
    cloths = [one.model_copy(update={"count": draw(st.integers(1, 2))}) for one in YARD.gear.shades]
    yard = yard.model_copy(update={"gear": yard.gear.model_copy(update={"shades": cloths})})
    losses = {}
    for tree in yard.trees:
        possible = [one.key for one in summer_measures(yard, tree, ABOUT[tree.id], days=3)]
        chosen = draw(st.lists(st.sampled_from(possible), unique=True, max_size=4))
        losses[tree.id] = {key: float(draw(st.integers(0, 30))) for key in ["leave", *chosen]}
    return yard, losses


@given(spells())
@settings(max_examples=120, deadline=None)
def test_the_plan_is_as_good_as_trying_everything(spell):
    yard, losses = spell
    problem = problem_of(yard, losses)
    solution = solve(problem, gap=1e-9)
    assert check_summer(yard, problem, solution) == []
    assert solution.costs.total == pytest.approx(brute_force(problem), abs=1e-4)


def test_one_cloth_goes_where_it_saves_most_and_one_more_is_told():
    one = YARD.model_copy(update={"gear": YARD.gear.model_copy(update={"shades": [YARD.gear.shades[1]], "paints": []})})
    losses = {
        "mango": {"leave": 30.0, "shade:50": 5.0},
        "lemon": {"leave": 22.0, "shade:50": 2.0},
        "pot": {"leave": 0.0},
    }
    problem = problem_of(one, losses)
    solution = solve(problem)
    assert keys(problem, solution) == ["shade:50", "leave", "leave"]
    assert check_summer(one, problem, solution) == []
    more = one_more(problem, solution, keys=["sheet/large"])[0]
    assert more.changes == (("lemon", "leave", "shade:50"),)
    assert more.saves_loss == pytest.approx(20.0)
    assert why_left(problem, solution, "lemon").kind == "others_first"
    other = runner_up(problem, solution, "mango")
    assert other is not None
    assert other.measure.key == "leave"
    assert ("lemon", "leave", "shade:50") in other.others


def test_paint_suffices_for_one_trunk():
    have = {"leave": 20.0, "whitewash": 2.0}
    problem = problem_of(YARD, {"mango": have, "lemon": have, "pot": {"leave": 0.0}})
    # The trunks take 0.046 and 0.034 L of the 0.06 L there are.
    solution = solve(problem)
    assert sorted(keys(problem, solution)) == ["leave", "leave", "whitewash"]
    assert check_summer(YARD, problem, solution) == []


def test_two_pots_do_not_share_a_place():
    twin = POT.model_copy(update={"id": "twin", "name": "Twin", "position": (15.5, 4.0)})
    yard = YARD.model_copy(update={"trees": [POT, twin]})
    key = f"into_shade:{PLACES[0].key}"
    cases = []
    for tree in yard.trees:
        measures = [one for one in summer_measures(yard, tree, ABOUT["pot"], days=3) if one.key in ("leave", key)]
        cases.append(
            SummerCase(tree, tuple(measures), tuple(made_risk(0.0 if one.in_shade else 40.0) for one in measures))
        )
    problem = summer_problem(cases, summer_supplies(yard, PLACES, {"ana": 60.0}), yard.prices)
    solution = solve(problem)
    assert sorted(keys(problem, solution)) == [key, "leave"]
    assert check_summer(yard, problem, solution) == []


def test_the_checker_sees_what_the_yard_does_not_allow():
    losses = {
        "mango": {"leave": 30.0, "shade:50": 5.0},
        "lemon": {"leave": 0.0},
        "pot": {"leave": 40.0, "into_shade:1": 0.0},
    }
    problem = problem_of(YARD, losses)
    solution = solve(problem)
    assert check_summer(YARD, problem, solution) == []
    short = replace(
        solution,
        tasks=tuple(replace(task, sheet="small") if task.part.kind == "shade" else task for task in solution.tasks),
    )
    assert any("does not hang down" in one for one in check_summer(YARD, problem, short))
    mover = next(task for task in solution.tasks if task.part.kind == "into_shade")
    weak = replace(mover, way=replace(mover.way, people=("ben",)))
    handed = replace(solution, tasks=tuple(weak if task is mover else task for task in solution.tasks))
    assert "into_shade:1@pot: ben does not lift" in check_summer(YARD, problem, handed)
    fewer = YARD.model_copy(update={"gear": YARD.gear.model_copy(update={"shades": []})})
    assert any("has no cloth" in one for one in check_summer(fewer, problem, solution))
