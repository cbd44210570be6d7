"""The best evening: against trying everything, and within every limit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings

from bench.evening_case import evening_case, greedy_total, small_case
from fruitwall.plans.evening import EveningProblem, check_feasible, one_more, runner_up, runners_up, solve
from fruitwall.plans.parts import Part, Setting, Way
from tests.plans.yards import (
    ALL,
    PRICES,
    brute_force,
    carry,
    cover,
    lamps,
    leave,
    measure,
    option,
    small_problems,
    supplies,
    ways,
)

EXACT = 1e-9
CENT = 0.01


def problem_of(*rows, have=None, **more) -> EveningProblem:
    return EveningProblem(
        trees=tuple(row[0].measure.tree for row in rows),
        options=tuple(tuple(row) for row in rows),
        supplies=supplies(**(ALL if have is None else have)),
        prices=PRICES,
        **{"trouble": 0.0} | more,
    )


def keys(problem: EveningProblem, solution, night: int = 0) -> list[str]:
    return [solution.measure(problem, tree, night).key for tree in problem.trees]


# ---------------------------------------------------------------- properties


@given(small_problems(nights=1))
@settings(max_examples=120)
def test_one_night_is_as_good_as_trying_everything(problem: EveningProblem):
    solution = solve(problem, gap=EXACT)

    assert check_feasible(problem, solution) == []
    assert solution.costs.total == pytest.approx(brute_force(problem), abs=1e-4)
    assert solution.status == "optimal"


@given(small_problems(nights=2, trees=3))
@settings(max_examples=50)
def test_two_linked_nights_are_as_good_as_trying_everything(problem: EveningProblem):
    solution = solve(problem, gap=EXACT, time_limit_s=20)

    assert check_feasible(problem, solution) == []
    assert solution.costs.total == pytest.approx(brute_force(problem), abs=1e-4)


@given(small_problems(nights=3, trees=4))
@settings(max_examples=60)
def test_a_plan_keeps_every_limit_and_is_never_worse_than_doing_nothing(problem: EveningProblem):
    solution = solve(problem)

    assert check_feasible(problem, solution) == []
    assert solution.costs.total <= solution.costs_nothing.total + CENT
    assert solution.bound <= solution.costs.total + 1e-9


@given(small_problems(nights=1))
@settings(max_examples=40)
def test_more_of_anything_never_raises_the_total(problem: EveningProblem):
    total = solve(problem, gap=EXACT).costs.total
    for item in problem.supplies.items:
        richer = problem.with_supplies(problem.supplies.more(item.key))
        assert solve(richer, gap=EXACT).costs.total <= total + 1e-4, item.key


@given(small_problems(nights=2))
@settings(max_examples=40)
def test_the_fallback_keeps_every_limit_and_says_that_it_is_one(problem: EveningProblem):
    fallback = solve(problem, time_limit_s=0.0)

    assert check_feasible(problem, fallback) == []
    assert fallback.method == "night by night"
    assert "one after the other" in fallback.notes[0]
    best = solve(problem, gap=EXACT, time_limit_s=20)
    assert best.method == "linked"
    assert fallback.costs.total >= best.costs.total - 1e-4
    assert fallback.bound <= best.costs.total + 1e-4


@given(small_problems(nights=2))
@settings(max_examples=30)
def test_the_same_evening_gives_the_same_plan(problem: EveningProblem):
    first, second = solve(problem), solve(problem)
    assert first.choices == second.choices
    assert first.tasks == second.tasks


@given(small_problems(nights=1, trees=2, shelter=False))
@settings(max_examples=40)
def test_equal_trees_get_equal_treatment_up_to_ties(problem: EveningProblem):
    """A twin of the first tree is treated as it is, or doing so would be impossible or no better."""
    twin = tuple(replace(o, measure=_renamed(o.measure, "twin")) for o in problem.options[0])
    pair = replace(problem, trees=(*problem.trees, "twin"), options=(*problem.options, twin), in_place=frozenset[str]())
    solution = solve(pair, gap=EXACT)
    mine, its = solution.choices[0][0], solution.choices[-1][0]
    if mine == its:
        return
    assert mine != 0 or its != 0
    for same in (mine, its):
        forced = _only(_only(pair, 0, same), len(pair.trees) - 1, same)
        if _possible(forced):
            assert solve(forced, gap=EXACT).costs.total >= solution.costs.total - 1e-4
    # Which of the two gets it makes no difference to anybody.
    swapped = _only(_only(pair, 0, its), len(pair.trees) - 1, mine)
    assert solve(swapped, gap=EXACT).costs.total == pytest.approx(solution.costs.total, abs=1e-4)


def _renamed(its, name: str):
    parts = tuple(replace(part, key=f"{part.key}'", trees=(name,)) for part in its.parts)
    return replace(its, tree=name, parts=parts)


def _only(problem: EveningProblem, tree: int, rank: int) -> EveningProblem:
    """The problem in which every other measure of a tree is ruinous."""
    ruin = [o if at == rank else replace(o, loss=o.loss + 1e5) for at, o in enumerate(problem.options[tree])]
    options = list(problem.options)
    options[tree] = tuple(ruin)
    return replace(problem, options=tuple(options))


def _possible(forced: EveningProblem) -> bool:
    return solve(forced, gap=EXACT).costs.total < 5e4


# ---------------------------------------------------------------- whole yards


@pytest.mark.parametrize("seed", range(3))
def test_a_yard_of_sixty_trees_is_proven_and_feasible(seed: int):
    problem = evening_case(seed, nights=1)
    solution = solve(problem, time_limit_s=30)

    assert solution.status == "optimal"
    assert check_feasible(problem, solution) == []
    assert solution.costs.total < solution.costs_nothing.total


@pytest.mark.parametrize("seed", range(4))
def test_the_plan_of_a_small_yard_is_the_best_of_everything_tried_and_greed_is_no_better(seed: int):
    problem = small_case(seed)
    best = brute_force(problem)

    # The greedy plan is one that can be carried out: it can never be below the best.
    assert solve(problem, gap=EXACT).total == pytest.approx(best, abs=1e-4)
    assert greedy_total(problem)[0] >= best - 1e-4


def test_leaving_out_what_cannot_pay_finds_what_the_solver_finds_with_everything():
    from scipy.optimize import Bounds, LinearConstraint, milp

    from fruitwall.plans.programme import build

    for seed in range(3):
        problem = evening_case(seed, trees=20, nights=2)
        programme = build(problem)
        whole = milp(
            programme.objective,
            integrality=np.array(programme.integral),
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(programme.matrix(), programme.low, programme.high),
            options={"mip_rel_gap": 1e-9},
        )
        assert solve(problem, gap=1e-8, time_limit_s=60).costs.total == pytest.approx(whole.fun, abs=CENT)


def test_five_linked_nights_of_sixty_trees_keep_every_limit():
    problem = evening_case(1, nights=5)
    solution = solve(problem, time_limit_s=10, gap=1e-2)

    assert check_feasible(problem, solution) == []
    assert solution.gap <= 1e-2
    assert solution.method == "linked"


# ---------------------------------------------------------------- what links the nights


def test_a_cloth_that_stays_on_costs_nothing_new_the_next_night():
    sheet = cover("a", ["ana"], minutes=5.0)
    problem = problem_of([option(leave("a"), 20, 20), option(measure("cover", "a", sheet), 0, 0)])
    solution = solve(problem)

    assert keys(problem, solution, 0) == keys(problem, solution, 1) == ["cover"]
    assert solution.nightly[0].minutes == pytest.approx((5 + 3) * 0.2)  # putting on, and taking off one day
    assert solution.nightly[1].minutes == 0.0
    tonight, tomorrow = solution.tasks
    assert not tonight.again
    assert tomorrow.again
    assert tomorrow.idle


def test_effort_that_pays_only_over_several_nights_is_made_tonight():
    sheet = cover("a", ["ana"], minutes=5.0)  # costs 1.6
    one = problem_of([option(leave("a"), 1), option(measure("cover", "a", sheet), 0)])
    two = problem_of([option(leave("a"), 1, 1), option(measure("cover", "a", sheet), 0, 0)])

    assert keys(one, solve(one)) == ["leave"]
    assert keys(two, solve(two)) == ["cover"]


def test_film_is_opened_and_closed_again_every_day():
    film = cover("a", ["ana"], film=True)
    problem = problem_of([option(leave("a"), 20, 20), option(measure("cover", "a", film), 0, 0)])
    solution = solve(problem)

    again = solution.tasks[1]
    assert again.again
    assert again.way == Way(("ana",), 2.0)
    assert solution.nightly[1].minutes == pytest.approx((2 + 1) * 0.2)  # closing, and opening in the morning


def test_closing_again_takes_somebody_who_has_the_minutes():
    film = cover("a", ["ana"], film=True, minutes=1.0)
    rows = [option(leave("a"), 20, 20), option(measure("cover", "a", film), 0, 0)]
    solution = solve(problem_of(rows, have=ALL | {"person_ana": 1.5}))
    assert solution.choices[0].count(1) == 1  # put up once; not enough time to close it on the other evening


def test_what_stands_already_needs_no_setting_up_and_what_is_done_needs_nothing():
    film = cover("a", ["ana"], film=True)
    rows = [option(leave("a"), 20), option(measure("cover", "a", film), 0)]

    standing = solve(problem_of(rows, in_place=frozenset({film.key})))
    done = solve(problem_of(rows, done=frozenset({film.key})))

    assert standing.costs.minutes == pytest.approx((2 + 1) * 0.2)
    assert done.costs.minutes == pytest.approx(1 * 0.2)  # only the morning is left
    assert standing.tasks[0].again
    assert done.tasks[0].idle


def test_a_pot_that_stays_in_is_carried_once():
    pot = carry("a", by_hand=["ana"])
    problem = problem_of([option(leave("a"), 20, 20, 20), option(measure("carry:shed", "a", pot), 0, 0, 0)])
    solution = solve(problem)

    assert solution.costs.lifts == 2.0  # in, and out one day
    assert [task.idle for task in solution.tasks] == [False, True, True]


# ---------------------------------------------------------------- limits


def test_a_larger_sheet_serves_a_smaller_tree_when_that_is_best():
    def tree(name: str, sheets, loss: float):
        return [option(leave(name), loss), option(measure("cover", name, cover(name, ["ana"], sheets=sheets)), 0)]

    have = ALL | {"sheet_small": 0, "sheet_large": 1}
    problem = problem_of(tree("big", ("large",), 10), tree("little", ("small", "large"), 30), have=have)
    solution = solve(problem)

    assert keys(problem, solution) == ["leave", "cover"]
    assert solution.tasks[0].sheet == "large"


def test_circuits_carry_no_more_than_they_may():
    rows = [
        [option(leave(n), 30), option(measure("warm", n, lamps(n, ["ana"], circuits=circuits), cover(n, ["ana"])), 0)]
        for n, circuits in (("a", ("house", "shed")), ("b", ("house",)), ("c", ("house",)))
    ]
    have = ALL | {"sheet_small": 9, "lamps_warm": 9, "person_ana": 99, "circuit_house": 300, "circuit_shed": 150}
    problem = problem_of(*rows, have=have)
    assert keys(problem, solve(problem)) == ["warm"] * 3
    assert next(t.circuit for t in solve(problem).tasks if t.part.key == "lamps:warm@a") == "shed"

    poorer = problem_of(*rows, have=have | {"circuit_shed": 0})
    assert sorted(keys(poorer, solve(poorer))) == ["leave", "warm", "warm"]


def test_a_lamp_gets_the_lead_that_reaches_it():
    def tree(name: str, leads):
        warm = measure("warm", name, lamps(name, ["ana"], leads=leads), cover(name, ["ana"]))
        return [option(leave(name), 30), option(warm, 0)]

    problem = problem_of(
        tree("near", ("short", "long")),
        tree("far", ("long",)),
        have=ALL | {"sheet_small": 2, "lamps_warm": 2, "person_ana": 60},
    )
    solution = solve(problem)
    found = {task.part.trees[0]: task.lead for task in solution.tasks if task.part.kind == "lamps"}
    assert found == {"near": "short", "far": "long"}


def test_a_pot_nobody_may_lift_goes_on_the_trolley_and_the_trolley_is_shared():
    rows = [
        [option(leave(n), 30), option(measure("carry:shed", n, carry(n, rolled=["ana", "ben"])), 0)]
        for n in ("a", "b", "c")
    ]
    have = ALL | {"room_place__shed": 9, "person_ana": 14.0, "person_ben": 7.0}
    problem = problem_of(*rows, have=have)
    solution = solve(problem)

    # Three rides of 7 minutes would fit the people (14 + 7) but not the one trolley within 14 minutes.
    assert sorted(keys(problem, solution)) == ["carry:shed", "carry:shed", "leave"]
    assert all(task.way.trolley == "truck" for task in solution.tasks)
    two = problem.with_supplies(problem.supplies.more("trolley/truck"))
    assert keys(two, solve(two)) == ["carry:shed"] * 3


def test_a_job_for_two_takes_the_minutes_of_both():
    tall = replace(cover("a", ["ana"]), ways=(Way(("ana", "ben"), 6.0, note="two people"),))
    rows = [option(leave("a"), 30), option(measure("cover", "a", tall), 0)]
    have = ALL | {"person_ana": 6.0, "person_ben": 6.0}
    solution = solve(problem_of(rows, have=have))

    assert {use.key: use.used for use in solution.limits}["person/ben"] == 6.0
    assert solution.costs.minutes == pytest.approx((2 * 6 + 3) * 0.2)
    too_little = problem_of(rows, have=have | {"person_ben": 5.0})
    assert keys(too_little, solve(too_little)) == ["leave"]


def shelter_of(*names: str, lamps_inside: bool = False) -> tuple[Setting, ...]:
    close = Part("close:hoops", "close", "close", names, ways(["ana"], 3.0), stays=False, minutes_morning=2.0)
    states = [Setting("shelter:hoops", "open", "open"), Setting("shelter:hoops", "closed", "closed", (close,))]
    if lamps_inside:
        warm = replace(lamps("hoops", ["ana"]), trees=names)
        states.append(Setting("shelter:hoops", "closed+lamps:warm", "closed, lamps", (warm, close)))
    return tuple(states)


def test_the_trees_of_a_shelter_share_one_decision_and_its_effort():
    states = shelter_of("a", "b")
    rows = [
        [
            option(leave(n, states[0]), loss),
            option(measure("shelter:hoops", n, requires=(states[1],)), 0),
        ]
        for n, loss in (("a", 30), ("b", 0.1))
    ]
    problem = problem_of(*rows, settings=states)
    solution = solve(problem)

    assert keys(problem, solution) == ["shelter:hoops"] * 2
    assert solution.states == {"shelter:hoops": ("closed",)}
    assert len(solution.tasks) == 1
    assert solution.costs.minutes == pytest.approx((3 + 2) * 0.2)


def test_a_shelter_is_closed_anew_every_evening():
    states = shelter_of("a")
    rows = [
        option(leave("a", states[0]), 30, 30),
        option(measure("shelter:hoops", "a", requires=(states[1],)), 0, 0),
    ]
    solution = solve(problem_of(rows, settings=states))
    assert [task.again for task in solution.tasks] == [False, False]


def test_a_pot_may_be_carried_out_of_a_closed_shelter():
    states = shelter_of("a", "b", lamps_inside=True)
    rows = [
        [
            option(leave(n, states[0]), 30),
            option(measure("shelter:hoops", n, requires=(states[1],)), 10),
            option(measure("shelter:hoops+lamps:warm", n, requires=(states[2],)), 2),
        ]
        for n in ("a", "b")
    ]
    rows[0].append(option(measure("carry:shed", "a", carry("a", by_hand=["ana"])), 0))
    rows[0][2] = option(rows[0][2].measure, 29)  # lamps scorch this one
    problem = problem_of(*rows, settings=states)
    solution = solve(problem)

    assert keys(problem, solution) == ["carry:shed", "shelter:hoops+lamps:warm"]
    assert check_feasible(problem, solution) == []


# ---------------------------------------------------------------- what else


def two_trees_one_sheet(nights: int = 1):
    rows = [
        [option(leave(n), *[loss] * nights), option(measure("cover", n, cover(n, ["ana"])), *[1.0] * nights)]
        for n, loss in (("a", 30.0), ("b", 20.0))
    ]
    return problem_of(*rows, have=ALL | {"sheet_small": 1, "sheet_large": 0, "person_ana": 60})


def test_one_more_sheet_buys_what_solving_again_says():
    problem = two_trees_one_sheet()
    solution = solve(problem)
    found = one_more(problem, solution)

    sheet = next(one for one in found if one.key == "sheet/small")
    richer = problem.with_supplies(problem.supplies.more("sheet/small"))
    assert sheet.saves == pytest.approx(solution.costs.total - solve(richer).costs.total)
    assert sheet.saves_loss == pytest.approx(19.0)
    assert sheet.changes == (("b", "leave", "cover"),)
    assert found[0] is sheet  # the most useful first


def test_what_does_not_bind_is_not_asked_for_and_can_be_asked_for_by_name():
    problem = two_trees_one_sheet()
    solution = solve(problem)
    assert "person/ana" not in {one.key for one in one_more(problem, solution)}
    (minutes,) = one_more(problem, solution, keys=["person/ana"])
    assert minutes.saves == 0.0
    assert minutes.changes == ()
    with pytest.raises(ValueError, match="no supply 'sheet/huge'; there are: sheet/small"):
        one_more(problem, solution, keys=["sheet/huge"])


def test_limits_say_what_is_used_and_what_binds():
    problem = two_trees_one_sheet()
    use = {limit.key: limit for limit in solve(problem).limits}
    assert (use["sheet/small"].used, use["sheet/small"].binding) == (1.0, True)
    assert (use["person/ana"].used, use["person/ana"].binding) == (5.0, False)
    assert not use["sheet/large"].binding  # there is none: nothing of it can be used up


def test_the_runner_up_is_the_best_plan_without_the_chosen_measure():
    problem = two_trees_one_sheet()
    solution = solve(problem)
    found = runner_up(problem, solution, "a")

    assert found is not None
    assert found.measure.key == "leave"
    assert found.costs_more == pytest.approx(10.0)  # the sheet goes to the other tree instead
    assert found.loss_more == pytest.approx(29.0)
    assert found.others == (("b", "leave", "cover"),)


def test_a_tree_with_nothing_else_has_no_runner_up():
    problem = problem_of([option(leave("a"), 5.0)])
    assert runner_up(problem, solve(problem), "a") is None


def test_runners_up_of_all_trees_are_those_of_each():
    problem = evening_case(2, trees=12, nights=2)
    solution = solve(problem)
    together = runners_up(problem, solution)
    for tree in problem.trees[:4]:
        assert together[tree] == runner_up(problem, solution, tree)


def test_a_sheet_needed_tomorrow_anyway_counts_for_tonight():
    """What one more night of cover saves tonight includes not having to put it on tomorrow."""
    sheet = cover("a", ["ana"], minutes=5.0)
    problem = problem_of([option(leave("a"), 1.0, 30.0), option(measure("cover", "a", sheet), 0.0, 0.0)])
    solution = solve(problem)
    assert keys(problem, solution) == ["cover"]
    found = runner_up(problem, solution, "a")
    assert found is not None
    assert found.costs_more == pytest.approx(1.0)  # the effort is only put off


def test_later_nights_may_weigh_less():
    sheet = cover("a", ["ana"], minutes=5.0)
    rows = [option(leave("a"), 1.0, 1.0), option(measure("cover", "a", sheet), 0.0, 0.0)]
    assert keys(problem_of(rows), solve(problem_of(rows))) == ["cover"]
    unsure = problem_of(rows, night_weights=np.array([1.0, 0.2]))
    assert keys(unsure, solve(unsure)) == ["leave"]


def test_a_night_without_danger_asks_for_nothing():
    problem = problem_of([option(leave("a"), 0.0), option(measure("cover", "a", cover("a", ["ana"])), 0.0)])
    solution = solve(problem)
    assert solution.tasks == ()
    assert solution.costs.total == 0.0
    assert (solution.status, solution.gap) == ("optimal", 0.0)


# ---------------------------------------------------------------- refusals


def test_impossible_problems_are_refused_in_words():
    sheet = cover("a", ["ana"])
    with pytest.raises(ValueError, match=r"loss of a, cover must be finite and 0 or more"):
        problem_of([option(leave("a"), 1.0), option(measure("cover", "a", sheet), -1.0)])
    with pytest.raises(ValueError, match=r"loss of a, cover must have shape \(1,\), got \(2,\)"):
        problem_of([option(leave("a"), 1.0), option(measure("cover", "a", sheet), 1.0, 2.0)])
    with pytest.raises(ValueError, match="must be doing nothing, got cover"):
        problem_of([option(measure("cover", "a", sheet), 1.0)])
    with pytest.raises(ValueError, match="needs sheet 'small', which the supplies do not have"):
        problem_of([option(leave("a"), 1.0), option(measure("cover", "a", sheet), 0.0)], have={"person_ana": 5})
    with pytest.raises(ValueError, match="has no way of being done"):
        problem_of([option(leave("a"), 1.0), option(measure("cover", "a", replace(sheet, ways=())), 0.0)])
    with pytest.raises(ValueError, match=r"night_weights must be 1 numbers greater than 0"):
        problem_of([option(leave("a"), 1.0)], night_weights=np.array([1.0, 1.0]))
    with pytest.raises(ValueError, match="every supply must stand once"):
        supplies(sheet_small=1).__class__((*supplies(sheet_small=1).items, *supplies(sheet_small=2).items))
    with pytest.raises(ValueError, match="available of sheet/small must be 0 or more, got -1"):
        supplies(sheet_small=-1)


@pytest.mark.parametrize(("name", "value"), [("gap", -0.1), ("gap", 1.1), ("time_limit_s", -1.0), ("gap", np.nan)])
def test_settings_of_the_solver_outside_their_range_are_refused(name: str, value: float):
    problem = problem_of([option(leave("a"), 1.0)])
    with pytest.raises(ValueError, match=f"{name} must be"):
        solve(problem, **{name: value})


def test_equal_people_share_the_work():
    people = ["ana", "ben"]
    rows = [[option(leave(n), 30), option(measure("cover", n, cover(n, people)), 0)] for n in ("a", "b", "c", "d")]
    have = ALL | {"sheet_small": 4, "person_ana": 20.0, "person_ben": 20.0}
    solution = solve(problem_of(*rows, have=have))
    use = {limit.key: limit.used for limit in solution.limits}
    assert (use["person/ana"], use["person/ben"]) == (10.0, 10.0)


def test_the_work_is_shared_by_the_time_that_each_has():
    people = ["ana", "ben"]
    rows = [[option(leave(n), 30), option(measure("cover", n, cover(n, people)), 0)] for n in ("a", "b", "c")]
    have = ALL | {"sheet_small": 4, "person_ana": 30.0, "person_ben": 6.0}
    problem = problem_of(*rows, have=have)
    solution = solve(problem)
    use = {limit.key: limit.used for limit in solution.limits}
    assert (use["person/ana"], use["person/ben"]) == (15.0, 0.0)
    assert check_feasible(problem, solution) == []


# ---------------------------------------------------------------- trifles, and what is scarce


def test_trifles_are_not_asked_of_people():
    sheet = cover("a", ["ana"], minutes=2.0)  # with taking it away, 5 minutes: 1.0
    rows = [option(leave("a"), 1.3), option(measure("cover", "a", sheet), 0.0)]
    assert keys(problem_of(rows), solve(problem_of(rows))) == ["cover"]
    asked = problem_of(rows, trouble=0.5)
    assert keys(asked, solve(asked)) == ["leave"]
    standing = problem_of(rows, trouble=0.5, in_place=frozenset({sheet.key}))
    assert keys(standing, solve(standing)) == ["cover"]  # what stands already is no trouble
    assert solve(standing).costs.trouble == 0.0


def test_the_trouble_is_counted_for_each_part_and_apart_from_the_effort():
    warm = measure("warm", "a", lamps("a", ["ana"]), cover("a", ["ana"]))
    solution = solve(problem_of([option(leave("a"), 30.0, 30.0), option(warm, 0.0, 0.0)], trouble=0.5))
    assert [night.trouble for night in solution.nightly] == [1.0, 0.0]
    costs = solution.costs
    assert costs.total == pytest.approx(costs.loss + costs.effort + 1.0)
    with pytest.raises(ValueError, match="trouble must be 0 or more, got -1"):
        problem_of([option(leave("a"), 1.0)], trouble=-1.0)


def test_people_near_the_end_of_their_time_are_scarce_although_some_trifle_would_still_fit():
    """Three trees wait for 8 minutes of work and one for 2.5; 3.5 minutes are left."""
    minutes = {"a": 8.0, "b": 8.0, "c": 8.0, "d": 2.5}
    rows = [
        [option(leave(n), loss), option(measure("cover", n, cover(n, ["ana"], minutes=m)), loss - 5.0)]
        for (n, m), loss in zip(minutes.items(), (40.0, 20.0, 20.0, 5.1), strict=True)
    ]
    rows[3][1] = option(rows[3][1].measure, 5.0)  # hardly helped: its 2.5 minutes are not worth it
    problem = problem_of(*rows, have=ALL | {"sheet_small": 9, "person_ana": 11.5})
    solution = solve(problem)
    use = {limit.key: limit for limit in solution.limits}

    assert keys(problem, solution).count("cover") == 1
    assert (use["person/ana"].used, use["person/ana"].binding) == (8.0, True)
    assert not use["sheet/small"].binding
    more = next(one for one in one_more(problem, solution) if one.key == "person/ana")
    assert more.saves_loss == pytest.approx(10.0)  # both other trees
    assert more.saves == pytest.approx(10.0 - 2 * (8 + 3) * 0.2)  # less the work of it


def test_a_supply_that_helps_nobody_more_is_not_scarce_though_all_of_it_is_used():
    rows = [
        [option(leave(n), 30.0), option(measure("cover", n, cover(n, ["ana"], sheets=("small",))), loss)]
        for n, loss in (("a", 0.0), ("b", 30.0))
    ]
    problem = problem_of(*rows, have=ALL | {"sheet_small": 1})
    assert not next(limit for limit in solve(problem).limits if limit.key == "sheet/small").binding
