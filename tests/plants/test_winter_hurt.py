"""Whole winters of many plants are judged as `plants.injury` judges one plant."""

from __future__ import annotations

from dataclasses import replace
from math import nan

import numpy as np
import pytest

from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.injury import fruit_loss_chance, grade_chances, loss_share
from fruitwall.plants.tolerance import FRUIT, LEAF, Tolerance, prior
from fruitwall.plants.winter_hurt import (
    HARD_WEEKS_C,
    USUAL_WEEKS_C,
    KindInWinter,
    coldest_hour,
    kind_in_winter,
    winter_hurt,
)

WINTERS, NIGHTS = 3, 12


def _stands(kind: str, weeks_c: float, *, potted: bool = False) -> Tolerance:
    taxon = catalogue().find(kind)
    stages = ("dormant",) if taxon.needs_winter_chill else ("leafy", "fruit")
    made = prior(taxon, age_years=3.0, height_m=None, stages=stages, potted=potted, acclimation_c=weeks_c)
    return replace(made, pale_level_c=nan)


def _kind(kind: str, *, potted: bool = False) -> KindInWinter:
    usual, hard = _stands(kind, USUAL_WEEKS_C, potted=potted), _stands(kind, HARD_WEEKS_C, potted=potted)
    return kind_in_winter(usual, hard, [0] * 5, [0.0] * 5)


def _cold(seed: int, plants: int = 4) -> np.ndarray:
    """Exposures of one size whose longer means are warmer, with nights left out and a plant without leaf."""
    rng = np.random.default_rng(seed)
    lowest = rng.normal(0.0, 4.0, (1, plants, WINTERS, NIGHTS, 5, 1))
    cold = (lowest + np.cumsum(rng.uniform(0.0, 0.6, (1, plants, WINTERS, NIGHTS, 5, 5)), axis=-1)).astype(np.float32)
    cold[:, :, 1, 3] = np.nan
    cold[:, 0, ..., LEAF, :] = np.nan
    return cold


KNOWN = np.ones((WINTERS, NIGHTS), dtype=bool)
USUAL = np.full((WINTERS, NIGHTS), USUAL_WEEKS_C)


@pytest.mark.parametrize("kind", ["avocado", "lemon", "soursop", "banana", "persimmon"])
def test_winters_are_judged_as_one_plant_is(kind: str) -> None:
    cold = _cold(3)
    one = _kind(kind)
    hurt = winter_hurt([one], cold, KNOWN, USUAL)
    chances = grade_chances(one.tolerance, cold[0], nights_axis=2)
    known = ~np.isnan(chances[..., 0])
    assert known.any()
    assert np.nanmax(chances[..., 4:].sum(axis=-1)) > 0.01
    np.testing.assert_allclose(hurt.death[0][known], chances[..., 7][known], atol=1e-6)
    np.testing.assert_allclose(hurt.bare[0][known], chances[..., 4:].sum(axis=-1)[known], atol=1e-6)
    np.testing.assert_allclose(hurt.loss[0][known], loss_share(chances)[known], atol=1e-6)
    if kind == "persimmon":
        assert np.isnan(hurt.fruit).all()
    else:
        # What is not known of how hours count is the same on all nights: the mean of the worst, not the worst mean.
        sure = replace(one, tolerance=replace(one.tolerance, duration_sd_k_per_log2h=0.0))
        lost = np.fmax.reduce(fruit_loss_chance(sure.tolerance, cold[0]), axis=-1)
        np.testing.assert_allclose(winter_hurt([sure], cold, KNOWN, USUAL).fruit[0], lost, atol=1e-6)
        assert (hurt.fruit[0] >= np.fmax.reduce(fruit_loss_chance(one.tolerance, cold[0]), axis=-1) - 1e-6).all()


@pytest.mark.parametrize("kind", ["avocado", "feijoa", "soursop"])
@pytest.mark.parametrize("weeks_c", [8.0, 16.0, 22.0])
def test_hardening_of_a_night_is_that_of_its_weeks(kind: str, weeks_c: float) -> None:
    cold = _cold(5)[:, :, :, :1]
    hurt = winter_hurt([_kind(kind)], cold, KNOWN[:, :1], np.full((WINTERS, 1), weeks_c))
    chances = grade_chances(_stands(kind, weeks_c), cold[0, :, :, 0])
    np.testing.assert_allclose(hurt.bare[0], chances[..., 4:].sum(axis=-1), atol=1e-6)
    np.testing.assert_allclose(hurt.death[0], chances[..., 7], atol=1e-6)


def test_roots_of_a_pot_harden_less_than_its_top() -> None:
    one = _kind("feijoa", potted=True)
    assert one.hardens_k[4] == pytest.approx(0.35 * one.hardens_k[0], rel=1e-6)
    assert one.hardens_k[FRUIT] == 0.0


def test_a_size_between_two_is_read_between_them() -> None:
    both = np.concatenate([_cold(7), _cold(8)])
    one = _kind("lemon")
    between = replace(one, share=np.array([0.25, 0.25, 0.25, 0.75, 0.25]))
    part = np.array([0.25, 0.25, 0.25, 0.75, 0.25])[:, None]
    mixed = (both[:1] + part * (both[1:] - both[:1])).astype(np.float32)
    np.testing.assert_allclose(
        winter_hurt([between], both, KNOWN, USUAL).loss, winter_hurt([one], mixed, KNOWN, USUAL).loss, atol=1e-5
    )


def test_nights_that_are_not_known_count_for_nothing() -> None:
    cold, known = _cold(9), KNOWN.copy()
    known[2, 4:] = False
    cut = cold.copy()
    cut[:, :, 2, 4:] = np.nan
    np.testing.assert_array_equal(
        winter_hurt([_kind("lemon")], cold, known, USUAL).loss, winter_hurt([_kind("lemon")], cut, KNOWN, USUAL).loss
    )
    assert (coldest_hour(cold, known)[1:, 2] == np.nanmin(cut[0, 1:, 2, :, LEAF, 1], axis=-1)).all()


def test_coldest_hour_of_a_bare_tree_is_that_of_its_twig() -> None:
    cold = _cold(11)
    cold[..., LEAF, :] = np.nan
    np.testing.assert_array_equal(coldest_hour(cold, KNOWN), np.nanmin(cold[0, ..., 1, 1], axis=-1))


def test_wrong_axes_are_refused() -> None:
    with pytest.raises(ValueError, match="cold must have the axes"):
        winter_hurt([_kind("lemon")], _cold(1)[0], KNOWN, USUAL)
