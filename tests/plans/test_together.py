"""Several trees under one sheet: which, what sheet it takes, and one decision for all of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fruitwall.physics.body import Body
from fruitwall.physics.enclosure import enclose
from fruitwall.plans.evening import EveningProblem, Option, check_feasible, solve
from fruitwall.plans.making import make_ready
from fruitwall.plans.measures import possible_measures, settings_of, supplies_of
from fruitwall.plans.together import groups_of
from fruitwall.service.treatments import treatment_of
from fruitwall.yard.model import Yard
from tests.plans.test_measures import CIRCUIT, FLEECE, HEATER, HOOPS, LAMPS, LEAD, YOUNG, yard
from tests.plans.yards import small_problems

# Crowns of 1 m, 1.5 m high, edges 0.4 m apart: a rectangle of 2.4 by 1 m takes 5.4 by 4 m of sheet.
NEXT = YOUNG | {"id": "next", "name": "Next mango", "position": [6.4, 5]}
THIRD = YOUNG | {"id": "third", "name": "Third mango", "position": [7.8, 5]}
WIDE = FLEECE | {"width": 4, "length": 5.4}
FRAMED = FLEECE | {"id": "framed", "name": "Framed", "width": 9, "length": 9, "on_frame": True}


def groups(trees: list[dict[str, Any]], *covers: dict[str, Any], **more: Any) -> list[str]:
    return [
        group.key
        for group in groups_of(make_ready(yard(trees, gear={"covers": list(covers)}, **more), None, False, 14))
    ]


def problem_of(its: Yard, loss: dict[str, float], *, together: bool = True) -> EveningProblem:
    """An evening of one night in which every tree loses 100 if left, and `loss` by the first word of other keys."""

    def taken(key: str) -> bool:
        return together or not key.startswith("together:")

    return EveningProblem(
        trees=tuple(tree.id for tree in its.trees),
        options=tuple(
            tuple(
                Option(m, np.array([loss.get(m.key.partition(":")[0], 100.0)]))
                for m in possible_measures(its, tree)
                if taken(m.key)
            )
            for tree in its.trees
        ),
        supplies=supplies_of(its),
        prices=its.prices,
        settings=settings_of(its),
    )


def test_a_sheet_over_two_must_reach_the_ground_round_both():
    assert groups([YOUNG, NEXT], WIDE) == ["young+next"]
    assert groups([YOUNG, NEXT], WIDE | {"length": 5.39}) == []
    assert groups([YOUNG, NEXT], WIDE | {"width": 3.99}) == []
    assert groups([YOUNG, NEXT], WIDE | {"width": 5.4, "length": 4}) == ["young+next"]  # laid the other way


def test_three_in_a_row_and_their_pairs_are_groups():
    assert sorted(groups([YOUNG, NEXT, THIRD], WIDE | {"length": 6.8})) == [
        "next+third",
        "young+next",
        "young+next+third",
    ]
    assert sorted(groups([YOUNG, NEXT, THIRD], WIDE)) == ["next+third", "young+next"]


def test_crowns_far_apart_or_of_unlike_height_are_not_covered_as_one():
    assert groups([YOUNG, NEXT | {"position": [6.61, 5]}], FRAMED) == []
    assert groups([YOUNG, NEXT | {"height": 2.3}], FRAMED) == []
    assert groups([YOUNG, NEXT | {"height": 2.2}], FRAMED) == ["young+next"]


def test_nothing_may_stand_where_the_sheet_would_hang():
    fence = {"kind": "fence", "id": "f", "name": "Fence", "line": [[5.7, 0], [5.7, 9]], "height": 1}
    assert groups([YOUNG, NEXT], FRAMED, structures=[fence]) == []
    between = YOUNG | {"id": "thin", "name": "Thin", "position": [5.7, 5], "crown_diameter": 0.1, "height": 4.6}
    assert groups([YOUNG, NEXT, between], FRAMED) == []
    assert groups([YOUNG, NEXT], FRAMED, shelters=[HOOPS | {"trees": ["young"]}]) == []


def test_every_other_measure_of_a_tree_is_for_when_it_stands_apart():
    its = yard([YOUNG, NEXT, THIRD], gear={"covers": [WIDE]})
    states = [(s.group, s.state) for s in settings_of(its)]
    assert states == [
        ("sheet:next+third", "apart"),
        ("sheet:next+third", "cover:fleece_medium"),
        ("sheet:young+next", "apart"),
        ("sheet:young+next", "cover:fleece_medium"),
    ]
    middle = {m.key: [s.key for s in m.requires] for m in possible_measures(its, its.trees[1])}
    assert middle["leave"] == middle["wet"] == [("sheet:next+third", "apart"), ("sheet:young+next", "apart")]
    assert middle["together:young+next:fleece_medium"] == [
        ("sheet:young+next", "cover:fleece_medium"),
        ("sheet:next+third", "apart"),
    ]


def test_one_sheet_covers_two_where_there_is_but_one():
    its = yard([YOUNG, NEXT], gear={"covers": [WIDE]})
    problem = problem_of(its, {"cover": 10.0, "together": 12.0})
    solution = solve(problem)
    assert check_feasible(problem, solution) == []
    assert [solution.measure(problem, tree).key for tree in problem.trees] == ["together:young+next:fleece_medium"] * 2
    (task,) = solution.tasks
    assert (task.part.trees, task.sheet, task.part.group) == (("young", "next"), "fleece", "sheet:young+next")
    # 3 min, 1.5 m of height and 2.4 m of row, and the walk.
    assert task.minutes == pytest.approx(3 + 1.5 + 2.4, abs=0.3)
    alone = solve(problem_of(its, {"cover": 10.0}, together=False))
    assert alone.costs.loss == pytest.approx(110.0)
    assert solution.costs.loss == pytest.approx(24.0)


def test_both_or_neither_are_under_the_sheet():
    its = yard([YOUNG, NEXT], gear={"covers": [WIDE]})
    whole = problem_of(its, {"together": 12.0})
    one = replace(
        whole, options=(whole.options[0], tuple(o for o in whole.options[1] if "together" not in o.measure.key))
    )
    solution = solve(one)
    assert check_feasible(one, solution) == []
    assert solution.states["sheet:young+next"] == ("apart",)


def test_a_frame_over_several_has_the_size_of_them_all_and_cloth_touches_as_before():
    its = yard([YOUNG, NEXT], gear={"covers": [WIDE, FRAMED]})
    body = Body(0.04, 2.5, 0.03, height_m=1.5, crown_diameter_m=1.0)
    noon = datetime(2026, 1, 1, 20, tzinfo=UTC)
    made = {m.key: treatment_of(its, m, {}, noon) for m in possible_measures(its, its.trees[0])}
    both, single = made["together:young+next:fleece_medium/frame"], made["cover:fleece_medium/frame"]
    assert (both.frame_width_m, both.frame_length_m, both.frame_height_m) == pytest.approx((1.4, 2.8, 1.7), abs=0.01)
    assert both.stays_by_day  # fleece
    # Less skin for its ground: what keeps a larger enclosure warmer.
    assert enclose(both, body).side_ratio < 0.8 * enclose(single, body).side_ratio
    draped = made["together:young+next:fleece_medium"]
    assert enclose(draped, body) == enclose(made["cover:fleece_medium"], body)
    assert enclose(draped, body).touching > 0


losses = st.floats(0.0, 60.0)


@given(st.tuples(losses, losses, losses, losses), st.integers(0, 2), st.booleans())
@settings(max_examples=40)
def test_a_sheet_over_several_never_raises_the_least_total(loss, count: int, framed: bool):
    covers = [WIDE | {"count": max(1, count)}, *([FRAMED] if framed else [])]
    its = yard([YOUNG, NEXT, THIRD], gear={"covers": covers})
    by_key = dict(zip(("cover", "together", "wet", "leave"), loss, strict=True))
    with_it, without = problem_of(its, by_key), problem_of(its, by_key, together=False)
    more, less = solve(with_it, gap=1e-9), solve(without, gap=1e-9)
    assert check_feasible(with_it, more) == []
    assert more.costs.total <= less.costs.total + 1e-3


@given(small_problems(nights=2), st.data())
@settings(max_examples=60)
def test_one_more_candidate_never_raises_the_least_total(problem: EveningProblem, data: st.DataObject):
    tree = data.draw(st.integers(0, len(problem.trees) - 1))
    row = problem.options[tree]
    if len(row) == 1:
        return
    gone = data.draw(st.integers(1, len(row) - 1))
    options = list(problem.options)
    options[tree] = tuple(o for at, o in enumerate(row) if at != gone)
    fewer = replace(problem, options=tuple(options))
    assert solve(problem, gap=1e-9).costs.total <= solve(fewer, gap=1e-9).costs.total + 1e-3


def test_lamps_under_one_sheet_warm_all_under_it_and_are_plugged_in_once():
    gear = {"covers": [FRAMED, WIDE], "lamps": [LAMPS], "leads": [LEAD]}
    its = yard([YOUNG, NEXT | {"crown_diameter": 1.5}], gear=gear, circuits=[CIRCUIT])
    states = {s.state: s for s in settings_of(its)}
    assert "cover:fleece_medium/frame+lamps:warm" in states
    lamps, sheet = states["cover:fleece_medium/frame+lamps:warm"].parts
    assert (lamps.kind, lamps.watts, lamps.trees, lamps.group) == ("lamps", 175, ("young", "next"), sheet.group)
    problem = problem_of(its, {"cover": 60.0, "together": 50.0})
    warm = {o.measure.key for o in problem.options[0] if o.measure.lamp and o.measure.key.startswith("together:")}
    options = tuple(
        tuple(replace(o, loss=np.array([1.0])) if o.measure.key in warm else o for o in its) for its in problem.options
    )
    problem = replace(problem, options=options)
    solution = solve(problem)
    assert check_feasible(problem, solution) == []
    assert all(solution.measure(problem, tree).lamp == "warm" for tree in problem.trees)
    assert [task.part.key for task in solution.tasks].count("lamps:warm@young+next") == 1


def test_lamps_share_their_power_over_what_they_warm():
    gear = {"covers": [FRAMED, WIDE | {"width": 8, "length": 8}], "lamps": [LAMPS], "leads": [LEAD]}
    its = yard([YOUNG, NEXT | {"crown_diameter": 1.5, "position": [6.7, 5]}], gear=gear, circuits=[CIRCUIT])

    def warmed(at: int, key: str) -> tuple[float, float]:
        """Power, and power over the ground that is covered. [W], [W/m²]"""
        tree = its.trees[at]
        (measure,) = [m for m in possible_measures(its, tree) if m.key == key]
        treatment = treatment_of(its, measure, {}, datetime(2026, 1, 1, tzinfo=UTC))
        ground = enclose(treatment, Body(crown_diameter_m=tree.crown_diameter_m, height_m=tree.height_m)).ground_m2
        return treatment.lamp_w, treatment.lamp_w / ground

    draped, framed = (
        "together:young+next:fleece_medium+lamps:warm",
        "together:young+next:fleece_medium/frame+lamps:warm",
    )
    assert warmed(0, draped)[0] + warmed(1, draped)[0] == pytest.approx(175.0)
    assert warmed(0, draped)[1] == pytest.approx(warmed(1, draped)[1], rel=1e-6)
    assert warmed(0, framed) == warmed(1, framed)
    assert warmed(0, framed)[0] == 175.0
    alone = warmed(0, "cover:fleece_medium/frame+lamps:warm")
    assert warmed(0, framed)[1] < 0.6 * alone[1]  # the same lamps under a larger sheet


def test_a_heater_stands_under_one_sheet_only_with_its_clearance_on_a_frame():
    gear = {"heaters": [HEATER], "leads": [LEAD]}

    def heated(cover: dict[str, Any]) -> list[str]:
        its = yard([YOUNG, NEXT], gear=gear | {"covers": [cover]}, circuits=[CIRCUIT])
        return [s.state for s in settings_of(its) if s.heater]

    # Rows of 2.4 m, 0.3 m of heater and 0.91 m on either side of it, 1.5 m high: 7.52 by 5.12 m.
    assert heated(FRAMED | {"width": 5.2, "length": 7.6}) == ["cover:fleece_medium/frame+heater:fan"]
    assert heated(FRAMED | {"width": 5.2, "length": 7.5}) == []
    assert heated(FRAMED | {"on_frame": False}) == []


def test_only_one_group_of_a_tree_is_thought_of_with_lamps():
    gear = {"covers": [FRAMED], "lamps": [LAMPS], "leads": [LEAD]}
    its = yard([YOUNG, NEXT, THIRD], gear=gear, circuits=[CIRCUIT])
    warm = [s.group for s in settings_of(its) if s.lamp]
    assert len(warm) == len(set(warm)) == 1


def test_a_key_of_several_trees_holds_no_comma_at_which_a_list_would_be_cut():
    its = yard([YOUNG, NEXT], gear={"covers": [WIDE]})
    assert [p.key for s in settings_of(its) for p in s.parts] == ["cover:fleece_medium@young+next"]
