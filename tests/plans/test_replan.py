"""Planning again: what is done stays and costs nothing, what is too late is not offered."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fruitwall.plans import evening
from fruitwall.plans.evening import EveningProblem, check_feasible, solve
from fruitwall.plans.optimiser import Optimum, OutOfTime, Relaxed, optimise
from fruitwall.plans.parts import Feed, Part, Setting, Way
from fruitwall.plans.replan import Stands, carried_out, settings_still_possible, still_possible
from tests.plans.test_evening import CENT, EXACT, keys, problem_of
from tests.plans.yards import cover, lamps, leave, measure, option, small_problems, ways

WET = Part("wet@mango", "wet", "wet", ("mango",), ways(("ana",), 5.0), stays=False, deadline="before_sun_leaves")
HIGH = Part("cover:cloth@mango", "cover", "cover", ("mango",), (Way(("ana",), 12.0, ladder=True),), sheets=("large",))


def names(measures) -> list[str]:
    return [its.key for its in measures]


def test_after_the_sun_has_left_no_ground_is_wetted_unless_it_is_done():
    its = [leave("mango"), measure("wet", "mango", WET)]

    assert names(still_possible(its, sun_gone=False, dark=False)) == ["leave", "wet"]
    assert names(still_possible(its, sun_gone=True, dark=False)) == ["leave"]
    assert names(still_possible(its, sun_gone=True, dark=True, done={"wet@mango": Stands()})) == ["leave", "wet"]


def test_nobody_goes_up_a_ladder_in_the_dark():
    either = replace(HIGH, key="cover:film@mango", ways=(*HIGH.ways, Way(("ana", "ben"), 8.0)))
    its = [leave("mango"), measure("cover", "mango", HIGH), measure("film", "mango", either)]
    left = still_possible(its, sun_gone=True, dark=True)

    assert names(left) == ["leave", "film"]
    assert left[1].parts[0].ways == (Way(("ana", "ben"), 8.0),)
    assert names(still_possible(its, sun_gone=True, dark=True, done={HIGH.key: Stands()})) == ["leave", "cover", "film"]


def test_a_shelter_that_takes_a_ladder_stays_as_it_is_in_the_dark():
    opened = Setting("shelter:hoops", "open", "open")
    closed = Setting("shelter:hoops", "closed", "closed", (replace(HIGH, key="close:hoops", sheets=()),))
    its = [leave("mango", opened), measure("shelter:hoops", "mango", requires=(closed,))]

    assert settings_still_possible((opened, closed), sun_gone=True, dark=True) == (opened,)
    assert names(still_possible(its, sun_gone=True, dark=True)) == ["leave"]


def test_what_is_done_keeps_the_sheet_circuit_and_lead_that_it_has():
    sheet = cover("mango", ("ana",))
    warm = replace(lamps("mango", ("ana",)), feeds=(Feed("house", ("short", "long")), Feed("shed")))
    its = [leave("mango"), measure("both", "mango", sheet, warm)]
    done = {sheet.key: Stands(sheet="large"), warm.key: Stands(circuit="house", lead="long")}
    left = still_possible(its, sun_gone=False, dark=False, done=done)[1]

    assert left.parts[0].sheets == ("large",)
    assert left.parts[1].feeds == (Feed("house", ("long",)),)
    unknown = still_possible(its, sun_gone=False, dark=False, done={sheet.key: Stands(), warm.key: Stands()})[1]
    assert unknown.parts == (sheet, warm)


def test_only_a_measure_that_is_wholly_done_is_carried_out():
    sheet, warm = cover("mango", ("ana",)), lamps("mango", ("ana",))
    its = [leave("mango"), measure("cover", "mango", sheet), measure("cover+lamps", "mango", warm, sheet)]

    assert carried_out(its, {warm.key}) == frozenset()
    assert carried_out(its, {sheet.key}) == {sheet.key}
    assert carried_out(its, {sheet.key, warm.key}) == {sheet.key, warm.key}


def test_the_sheet_that_hangs_is_not_taken_off_for_a_tree_that_would_gain_a_little_more():
    one, other = cover("one", ("ana",), sheets=("large",)), cover("other", ("ana",), sheets=("large",))
    rows = [
        (option(leave("one"), 20), option(measure("cover", "one", one), 5)),
        (option(leave("other"), 22), option(measure("cover", "other", other), 5)),
    ]
    fresh = problem_of(*rows)
    assert keys(fresh, solve(fresh)) == ["leave", "cover"]

    again = replace(fresh, done=frozenset({one.key}), hanging={one.key: "large"})
    solution = solve(again)
    assert keys(again, solution) == ["cover", "leave"]
    assert [task.idle for task in solution.tonight()] == [True]
    assert solution.costs.minutes == 0.0
    assert check_feasible(again, solution) == []


def test_the_checker_finds_a_plan_that_takes_away_what_was_done():
    sheet = cover("mango", ("ana",))
    problem = problem_of((option(leave("mango"), 1), option(measure("cover", "mango", sheet), 0.9)))
    undone = solve(problem)
    assert keys(problem, undone) == ["leave"]

    assert any("takes away" in wrong for wrong in check_feasible(replace(problem, done={sheet.key}), undone))


@given(small_problems(nights=2), st.data())
@settings(max_examples=40)
def test_half_way_through_the_plan_what_is_left_is_no_worse_than_the_plan_was(
    problem: EveningProblem, data: st.DataObject
):
    """Planned again with some of the work done: feasible, and the rest of the first plan is still open."""
    first = solve(problem, gap=EXACT)
    tasks = [task for task in first.tonight() if not task.idle]
    ticked = data.draw(st.sets(st.sampled_from(tasks), max_size=len(tasks)) if tasks else st.just(set()))
    done = frozenset(task.part.key for task in ticked)
    hanging = {task.part.key: task.sheet for task in ticked if task.sheet}
    again = replace(problem, done=done, hanging=hanging)
    second = solve(again, gap=EXACT)

    assert check_feasible(again, second) == []
    assert second.costs.total <= first.costs.total + CENT
    assert all(task.idle for task in second.tonight() if task.part.key in done)


def test_done_parts_that_no_tree_has_are_ignored():
    problem = problem_of((option(leave("mango"), 5),))

    assert solve(replace(problem, done=frozenset({"cover@elsewhere"}))).costs.total == pytest.approx(5.0)


@given(small_problems(nights=2))
@settings(max_examples=25)
def test_where_time_runs_out_the_earlier_plan_is_kept_if_nothing_better_is_found(problem: EveningProblem):
    best = solve(problem, gap=EXACT)
    chosen = [
        [options[rank].measure.key for rank in ranks]
        for options, ranks in zip(problem.options, best.choices, strict=True)
    ]
    earlier = dict(zip(problem.trees, chosen, strict=True))

    def hurried(relaxed: Relaxed, **allowed: Any) -> Optimum:
        if len(relaxed.programme.window.nights) > 1:
            raise OutOfTime("as if the time were over")
        return optimise(relaxed, **allowed)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(evening, "optimise", hurried)
        alone = solve(problem, gap=EXACT)
        again = solve(problem, gap=EXACT, earlier=earlier)
        changed = solve(problem, gap=EXACT, earlier={"gone": ["x"]} | {t: ["no longer open"] for t in problem.trees})

    assert check_feasible(problem, again) == []
    assert again.total <= best.total + CENT
    assert best.total - CENT <= alone.total
    assert changed.total == pytest.approx(alone.total)


@given(small_problems(nights=2))
@settings(max_examples=15)
def test_a_coarse_plan_is_never_made_dearer_by_crossing_it_with_others(problem: EveningProblem):
    best = solve(problem, gap=EXACT)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(evening, "_COARSE_GAP", -1.0)
        crossed = solve(problem, gap=0.0, earlier={tree: ["leave", "leave"] for tree in problem.trees})

    assert check_feasible(problem, crossed) == []
    assert crossed.total <= best.total + CENT
    assert crossed.bound <= best.total + CENT
