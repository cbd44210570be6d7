"""One number for what a tissue went through in a night."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.injury import DURATIONS_H, chances_of_felt, expected_felt_c, felt_c, grade_chances
from fruitwall.plants.tolerance import TISSUES, prior

HOURS = np.array(DURATIONS_H)


def night(coldest_c: float, rise_k: float) -> np.ndarray:
    """All tissues at one temperature for half an hour, warmer by so much with every doubling. [tissue, duration]"""
    return np.tile(coldest_c + rise_k * np.log2(HOURS / 0.5), (len(TISSUES), 1))


@pytest.mark.parametrize("rise_k", [0.0, 0.1, 0.3, 0.5, 0.7, 1.0])
def test_chances_from_it_are_those_of_the_exposures(rise_k: float) -> None:
    off, off_by_middle = 0.0, 0.0
    for name in ("mango", "orange", "guava", "satsuma"):
        tolerance = replace(
            prior(catalogue().find(name), age_years=5, height_m=None, potted=False), pale_level_c=np.nan
        )
        for coldest_c in np.arange(-12.0, -1.0, 0.5):
            cold = night(coldest_c, rise_k)
            wanted = np.cumsum(grade_chances(tolerance, cold))
            found = np.cumsum(chances_of_felt(tolerance, expected_felt_c(tolerance, cold)))
            middle = np.cumsum(chances_of_felt(tolerance, felt_c(cold, HOURS, tolerance.duration_k_per_log2h)))
            off = max(off, float(np.abs(found - wanted).max()))
            off_by_middle = max(off_by_middle, float(np.abs(middle - wanted).max()))
    assert off < 0.025
    if rise_k == 0.5:  # where every duration hurts alike by the middle value
        assert off_by_middle > 0.05


def test_without_doubt_it_is_the_middle_and_without_ice_nothing() -> None:
    tolerance = prior(catalogue().find("mango"), age_years=5, height_m=None, potted=False)
    sure = replace(tolerance, duration_sd_k_per_log2h=0.0)
    cold = night(-3.0, 0.4)
    assert expected_felt_c(sure, cold) == pytest.approx(felt_c(cold, HOURS, sure.duration_k_per_log2h))
    assert (expected_felt_c(tolerance, cold) < felt_c(cold, HOURS, tolerance.duration_k_per_log2h)).all()
    assert np.isinf(expected_felt_c(tolerance, night(1.0, 0.4))).all()
