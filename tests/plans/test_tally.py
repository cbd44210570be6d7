"""What is counted of drawn futures."""

from __future__ import annotations

import numpy as np
import pytest

from fruitwall.plans.rules.outcome import Ahead, Outcome, play
from fruitwall.plans.rules.tally import spread_of, tally
from tests.plans.outcomes_made import every_night, ground_of, night, one_tree
from tests.plans.rules_made import made_ground
from tests.plans.test_outcome import its


def by_hand() -> Outcome:
    """Two futures of two years, two trees: the first is lost at once in one future and stays away."""
    grade = np.array([[[7, 0], [0, 2]], [[1, 0], [3, 5]]], dtype=np.int8)
    fruit = np.array([[[0.5, 0.0], [0.0, 0.25]], [[0.0, 0.0], [1.0, 0.0]]])
    minutes = np.array([[60.0, 0.0], [30.0, 30.0]])
    none = np.zeros((2, 2))
    return Outcome(
        winter=np.zeros((2, 2), dtype=np.int64),
        grade=grade,
        died=grade == 7,
        fruit_lost=fruit,
        stood=np.array([[[True, True], [False, True]], [[True, True], [True, True]]]),
        minutes=minutes,
        lifts=none,
        kwh=none,
        wear=none,
        loss=np.array([[110.0, 9.0], [1.0, 77.0]]),
        effort=minutes / 60.0 * 12.0,
    )


def test_it_counts_as_one_counts_by_hand() -> None:
    trees = [
        one_tree(its("mango"), night(5.0)[None], name="a", worth=100.0, crop_worth=20.0),
        one_tree(its("mango"), night(5.0)[None], name="b", worth=100.0, crop_worth=20.0),
    ]
    done = tally(ground_of(trees, [1]), by_hand())
    assert (done.years, done.draws) == (2, 2)
    assert [one.mean for one in done.by_grade] == pytest.approx([0.5, 0.25, 0.25, 0.25, 0.0, 0.25, 0.0, 0.25])
    assert sum(one.mean for one in done.by_grade) == pytest.approx(7 / 4)  # seven trees stood in four winters
    assert done.hurt.mean == pytest.approx(1.0)
    assert done.trees_lost.mean == pytest.approx(0.25)
    assert done.fruit_lost.mean == pytest.approx(20.0 * (0.5 + 0.25 + 1.0) / 4)
    assert done.minutes.mean == pytest.approx(30.0)
    assert done.money.mean == pytest.approx(6.0)
    assert done.total.mean == pytest.approx(done.loss.mean + done.effort.mean)
    assert done.loss_of_year == pytest.approx((55.5, 43.0))
    first, second = done.trees
    assert (first.standing, second.standing) == ((0.5, 0.5), (1.0, 1.0))
    assert (first.loss_chance, first.losses) == (0.5, 0.5)
    assert first.grade_shares == pytest.approx((0, 1 / 3, 0, 1 / 3, 0, 0, 0, 1 / 3))
    assert first.hurt_share == pytest.approx(2 / 3)
    assert second.grade_shares == pytest.approx((0.5, 0, 0.25, 0, 0, 0.25, 0, 0))
    assert second.loss_chance == 0.0
    assert second.fruit_lost == pytest.approx(0.0625)
    assert second.loss == pytest.approx((4.0 + 5.0 + 45.0) / 4)


def test_the_spread_is_that_of_the_means_of_the_futures() -> None:
    years = np.array([[0.0, 10.0], [20.0, 20.0], [40.0, 0.0]])
    spread = spread_of(years)
    assert (spread.mean, spread.p50) == (15.0, 20.0)
    assert spread.p10 == pytest.approx(np.quantile([5.0, 20.0, 20.0], 0.1))
    assert spread.p90 == 20.0
    assert spread.error == pytest.approx(np.std([5.0, 20.0, 20.0], ddof=1) / np.sqrt(3))
    assert spread_of(years[:1]).error == 0.0


def test_losses_of_the_trees_add_up_to_that_of_the_yard() -> None:
    ground = made_ground(5, 3, days=6, mean_c=-2.5, years=(0.0, 4.0))
    outcome = play(ground, every_night(ground, minutes=3.0), Ahead(years=7, draws=20))
    done = tally(ground, outcome)
    assert done.loss.mean > 0.0
    assert sum(tree.loss for tree in done.trees) == pytest.approx(done.loss.mean)
    assert sum(tree.losses for tree in done.trees) == pytest.approx(7 * done.trees_lost.mean)
    assert all(sum(tree.grade_shares) == pytest.approx(1.0) for tree in done.trees)
    assert done.worst_winter_loss >= done.loss.p50
    assert np.mean(done.loss_of_year) == pytest.approx(done.loss.mean)
    for tree in done.trees:
        assert tree.standing[-1] == pytest.approx(1.0 - tree.loss_chance)
        assert list(tree.standing) == sorted(tree.standing, reverse=True)
