"""After an injury: what looks show, how likely another freeze is, what is waited for."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from fruitwall.plants.recovery import Injury, Look, chance_after, injury_of, next_scratch, state_of, unlikely_from

HURT = date(2026, 12, 24)


def look(days: int, grade: int | None, *signs: str) -> Look:
    return Look(HURT + timedelta(days=days), grade, frozenset(signs))


def hurt(*more: Look, grade: int = 5) -> Injury:
    found = injury_of([look(0, grade), *more])
    assert found is not None
    return found


def test_slight_looks_are_no_injury() -> None:
    assert injury_of([]) is None
    assert injury_of([look(0, 1, "pale"), look(3, None, "brown")]) is None


def test_the_worst_and_the_newest_look_are_known_in_any_order() -> None:
    injury = injury_of([look(20, 4), look(3, 2), look(9, 5), look(40, None, "pale")])
    assert injury is not None
    assert (injury.since, injury.worst_grade, injury.worst_on) == (look(3, 0).on, 5, look(9, 0).on)
    assert (injury.last_on, injury.last_grade) == (look(40, 0).on, 4)


def test_a_tree_that_looks_well_again_has_recovered_until_it_is_hurt_again() -> None:
    assert injury_of([look(0, 3), look(60, 1)]) is None
    again = injury_of([look(0, 6), look(60, 1), look(70, 4)])
    assert again is not None
    assert (again.worst_grade, again.since) == (4, look(70, 0).on)


def test_pruning_ends_it() -> None:
    assert injury_of([look(0, 5), look(30, 5)], pruned_on=look(30, 0).on) is None
    assert injury_of([look(0, 5), look(31, 5)], pruned_on=look(30, 0).on) is not None


def test_new_growth_shows_live_wood_at_once_a_scratch_only_after_a_month() -> None:
    assert hurt(look(10, None, "new_growth")).live_on == look(10, 0).on
    assert hurt(look(27, None, "wood_green")).live_on is None
    late = hurt(look(27, None, "wood_green"), look(28, None, "wood_green"))
    assert (late.live_on, late.live_sign) == (look(28, 0).on, "wood_green")
    assert hurt(look(90, None, "wood_brown")).live_on is None


def test_growth_seen_before_a_second_injury_says_nothing_of_the_wood_after_it() -> None:
    assert hurt(look(20, None, "new_growth"), look(30, 6)).live_on is None


def test_bare_limbs_stand_in_the_sun_until_new_growth() -> None:
    assert hurt(grade=4).bare
    assert not hurt(grade=3).bare
    assert hurt(look(5, 3, "bare"), grade=3).bare
    assert not hurt(look(50, None, "new_growth")).bare


def test_the_next_scratch_is_a_month_after_the_injury_then_a_month_after_each() -> None:
    assert next_scratch(hurt()) == look(28, 0).on
    assert next_scratch(hurt(look(9, None, "wood_green"))) == look(28, 0).on
    assert next_scratch(hurt(look(30, None, "wood_brown"))) == look(58, 0).on
    assert hurt(look(30, None, "wood_brown")).brown


def test_the_chance_of_another_freeze_is_the_share_of_courses() -> None:
    courses = np.array([[-3.0, 2, 1, 5], [4, 4, -1, 5], [1, 1, 1, 1], [0.0, 3, 3, 3]])
    np.testing.assert_array_equal(chance_after(courses, 0.0), [0.75, 0.25, 0.25, 0.0])
    assert unlikely_from(chance_after(courses, 0.0)) == 3
    assert unlikely_from(chance_after(courses, 0.0), at_most=0.25) == 1
    assert unlikely_from(chance_after(courses[:1], 6.0)) is None


def test_courses_that_are_not_known_to_the_end_say_nothing() -> None:
    chance = chance_after(np.array([[1.0, 2.0, np.nan], [3.0, 4.0, 5.0]]), 0.0)
    assert np.isnan(chance).all()
    assert unlikely_from(chance) is None


@pytest.mark.parametrize(
    ("injury", "safe_days", "known", "expected"),
    [
        (hurt(grade=3), 100, True, "leaf_only"),
        (hurt(grade=7), -1, True, "watch_base"),
        (hurt(look(40, None, "new_growth"), grade=7), -1, True, "prune"),
        (hurt(), None, False, "cold_unknown"),
        (hurt(), None, True, "wait_cold"),
        (hurt(), 70, True, "wait_cold"),
        (hurt(look(40, None, "new_growth")), 70, True, "wait_cold"),
        (hurt(), 60, True, "wait_wood"),
        (hurt(look(40, None, "new_growth")), 60, True, "prune"),
    ],
)
def test_both_unlikely_cold_and_live_wood_are_needed_to_prune(
    injury: Injury, safe_days: int | None, known: bool, expected: str
) -> None:
    today = HURT + timedelta(days=60)
    safe = None if safe_days is None else HURT + timedelta(days=safe_days)
    assert state_of(injury, today, safe, cold_known=known) == expected
