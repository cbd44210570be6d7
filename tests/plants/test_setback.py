"""What injuries take in years, height and crops."""

from __future__ import annotations

import numpy as np
import pytest

from fruitwall.plants.effects import youth
from fruitwall.plants.injury import LOSS_SHARES
from fruitwall.plants.setback import (
    CROWN_YEARS,
    LEAST_AGE_YEARS,
    NURSERY_AGE_YEARS,
    age_next_winter,
    left_standing,
    no_crop_years,
    replanting,
    weak_as,
)
from fruitwall.plants.stature import Stature

GRADES = np.arange(8)


def test_worse_injuries_never_leave_an_older_or_taller_tree() -> None:
    for age in (2.0, 4.0, 8.0, 30.0):
        assert (np.diff(age_next_winter(age, GRADES[:7])) <= 0).all()
    heights = [left_standing(Stature(3.0, 2.5), grade).height_m for grade in range(7)]
    assert heights == sorted(heights, reverse=True)


def test_a_tree_unhurt_is_a_year_older_and_dead_twigs_are_the_last_year() -> None:
    assert age_next_winter(6.0, 0) == 7.0
    assert age_next_winter(6.0, 5) == 6.0


def test_a_crown_cut_to_the_trunk_is_back_when_the_scale_of_worth_says_so() -> None:
    after = float(age_next_winter(20.0, 6))
    assert after + LOSS_SHARES[6] * CROWN_YEARS == pytest.approx(CROWN_YEARS + 1.0)
    assert float(age_next_winter(2.0, 6)) == LEAST_AGE_YEARS
    assert youth(after, None) > 2 * youth(CROWN_YEARS, None)


def test_a_grown_tree_of_unknown_age_stays_so_until_it_is_cut_to_the_trunk() -> None:
    after = age_next_winter(np.nan, GRADES)
    assert np.isnan(after[:6]).all()
    assert after[6] == age_next_winter(20.0, 6)
    assert after[7] == NURSERY_AGE_YEARS


def test_a_lost_tree_is_planted_anew_at_its_worth() -> None:
    young = replanting(85.0)
    assert (young.price, young.age_years) == (85.0, NURSERY_AGE_YEARS)
    assert left_standing(Stature(6.0, 5.0), 7).height_m == young.height_m
    assert no_crop_years(7) > 0
    assert weak_as(7) == 0


@pytest.mark.parametrize("grade", [-1, 8])
def test_other_grades_are_refused(grade: int) -> None:
    with pytest.raises(ValueError, match="grade must be"):
        age_next_winter(3.0, grade)
