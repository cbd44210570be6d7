"""Shunning the worst cases: the mean of the worst tenth, and what it changes."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from bench.evening_case import evening_case, with_members
from fruitwall.plans.evening import EveningProblem, Option, check_feasible, one_more, runners_up, solve
from fruitwall.plans.worst import losses_by_member, worst_mean
from tests.plans.test_evening import EXACT, keys, problem_of
from tests.plans.yards import brute_force, cover, leave, measure, small_problems

LOSSES = hnp.arrays(np.float64, st.integers(1, 40), elements=st.floats(0, 1000, width=32))


def spread(its, members) -> Option:
    losses = np.atleast_2d(np.asarray(members, dtype=float))
    return Option(its, losses.mean(axis=1), losses)


def test_the_worst_tenth_of_twenty_is_the_mean_of_two():
    assert worst_mean([*range(18), 50.0, 100.0]) == pytest.approx(75.0)


def test_a_member_that_partly_belongs_counts_in_part():
    # a tenth of 15 members is one and a half
    assert worst_mean([0.0] * 13 + [30.0, 60.0]) == pytest.approx((60.0 + 0.5 * 30.0) / 1.5)


@given(LOSSES, st.floats(0.01, 1.0))
def test_it_is_the_least_of_rockafellar_and_uryasev(losses: np.ndarray, share: float):
    # The function of t is convex and bends only at losses: the least is found at one of them.
    least = min(t + np.maximum(losses - t, 0.0).sum() / (share * losses.size) for t in losses)

    assert worst_mean(losses, share) == pytest.approx(least, rel=1e-9, abs=1e-6)
    assert losses.mean() - 1e-6 <= worst_mean(losses, share) <= losses.max() + 1e-6


def test_of_two_equal_means_the_surer_one_is_taken_once_the_worst_counts():
    gamble = [0.0] * 9 + [100.0]
    row = (
        spread(leave("mango"), gamble),
        spread(measure("cover", "mango", cover("mango", ("ana",))), [12.0] * 10),
    )
    problem = problem_of(row)

    assert keys(problem, solve(problem)) == ["leave"]
    shy = replace(problem, aversion=0.5)
    solution = solve(shy)
    assert keys(shy, solution) == ["cover"]
    assert solution.worst_case == pytest.approx(12.0)
    assert check_feasible(shy, solution) == []


def test_two_trees_hurt_in_the_same_weather_are_worse_than_two_hurt_in_different_weather():
    early, late = [100.0, *[0.0] * 9], [*[0.0] * 9, 100.0]
    apart = problem_of((spread(leave("a"), early),), (spread(leave("b"), late),), aversion=1.0)
    together = problem_of((spread(leave("a"), early),), (spread(leave("b"), early),), aversion=1.0)

    assert solve(together).worst_case == pytest.approx(200.0)
    assert solve(apart).worst_case == pytest.approx(100.0)


@st.composite
def shy_problems(draw: st.DrawFn) -> EveningProblem:
    """Small yards with losses in ten members."""
    problem = draw(small_problems(nights=1, shelter=False))
    options = []
    for its in problem.options:
        row = []
        for one in its:
            members = np.array(draw(st.lists(st.integers(0, 40), min_size=10, max_size=10)), dtype=float)
            row.append(Option(one.measure, np.array([members.mean()]), members[None, :]))
        options.append(tuple(row))
    return replace(problem, options=tuple(options), aversion=draw(st.sampled_from([0.1, 0.5, 1.0])))


@given(shy_problems())
@settings(max_examples=50)
def test_the_plan_is_as_good_as_trying_every_choice(problem: EveningProblem):
    solution = solve(problem, gap=EXACT)

    assert check_feasible(problem, solution) == []
    best = np.inf
    for choice in product(*(range(len(its)) for its in problem.options)):
        only = _only(problem, choice)
        worst = worst_mean(losses_by_member(problem, [(rank,) for rank in choice]))
        best = min(best, brute_force(only) + problem.aversion * worst)
    assert solution.total == pytest.approx(best, abs=1e-4)


def _only(problem: EveningProblem, choice: tuple[int, ...]) -> EveningProblem:
    """The problem in which no tree has a choice; impossible ones keep leaving as a ruin."""
    options = []
    for its, rank in zip(problem.options, choice, strict=True):
        chosen = its[rank]
        if rank == 0:
            options.append((Option(chosen.measure, chosen.loss),))
        else:
            options.append((Option(its[0].measure, its[0].loss + 1e6), Option(chosen.measure, chosen.loss)))
    return replace(problem, options=tuple(options), aversion=0.0)


def test_one_more_and_runners_up_weigh_the_worst_cases_too():
    problem = with_members(evening_case(3, trees=12, nights=2), seed=3, aversion=0.5)
    solution = solve(problem, time_limit_s=10)

    assert all(more.saves >= 0.0 for more in one_more(problem, solution))
    assert all(found is None or found.costs_more >= 0.0 for found in runners_up(problem, solution).values())


def test_members_are_asked_for_and_must_agree_with_the_expected_loss():
    bare = problem_of((Option(leave("mango"), np.array([5.0])),))
    with pytest.raises(ValueError, match="by_member of mango, leave is needed"):
        replace(bare, aversion=0.5)
    with pytest.raises(ValueError, match="aversion must be from 0 to 1"):
        replace(bare, aversion=1.5)
    with pytest.raises(ValueError, match="as its mean"):
        problem_of((Option(leave("mango"), np.array([5.0]), np.array([[1.0, 2.0]])),), aversion=0.5)


def test_the_worst_mean_refuses_what_is_no_list_of_losses():
    with pytest.raises(ValueError, match="one number per member"):
        worst_mean([])
    with pytest.raises(ValueError, match="share must be"):
        worst_mean([1.0], 0.0)
