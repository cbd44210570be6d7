"""Sheets that reach the ground."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fruitwall.plans.covers import (
    G_PER_M2_PER_OZ_PER_YD2,
    enclosure,
    fits,
    sheet_for,
    sheet_mass_kg,
    sheet_with_heater_for,
)
from tests.published import find_check


def tree(crown_diameter_m: float, height_m: float) -> SimpleNamespace:
    return SimpleNamespace(crown_diameter_m=crown_diameter_m, height_m=height_m)


@pytest.mark.parametrize("name", ["pg_cover_sheet_2_0x2_5", "pg_cover_sheet_1_2x1_8"])
def test_sheets_have_the_length_of_the_path_over_the_top(name: str):
    check = find_check("covers_geometry.yaml", name)
    d, h = check.inputs["crown_diameter_m"], check.inputs["height_m"]
    assert sheet_for(d, h)[0] == check.approx("cylinder_or_box_m")
    assert sheet_for(d, h, shape="dome")[0] == check.approx("dome_m")
    assert sheet_for(d, h, shape="cone")[0] == check.approx("cone_m")


def test_covers_have_the_area_and_volume_of_their_bodies():
    check = find_check("covers_geometry.yaml", "pg_cover_areas_volumes")
    d, h = check.inputs["crown_diameter_m"], check.inputs["height_m"]
    found = [enclosure(d, h, shape=shape) for shape in check.expected["shapes"]]
    assert [area for area, _ in found] == check.approx("area_m2")
    assert [volume for _, volume in found] == check.approx("volume_m3")


def test_cloth_weights_turn_from_ounces_into_grams():
    check = find_check("covers_geometry.yaml", "pg_cover_weight_units")
    assert check.given("oz_per_yd2") * G_PER_M2_PER_OZ_PER_YD2 == check.approx("g_per_m2")


def test_sheets_weigh_their_area():
    check = find_check("covers_geometry.yaml", "pg_cover_sheet_mass")
    side = check.inputs["side_m"]
    assert [sheet_mass_kg(side, side, g) for g in check.inputs["g_per_m2"]] == check.approx("kg")


def test_a_cover_counts_only_if_it_reaches_the_ground():
    assert find_check("covers_geometry.yaml", "pg_cover_to_the_ground").expected["recommended"] == [False, True]
    assert fits((7.0, 7.0), tree(2.0, 2.5))
    assert not fits((6.9, 8.0), tree(2.0, 2.5))


def test_a_sheet_may_lie_either_way():
    rng = np.random.default_rng(1)
    for width, length, d, h in rng.uniform((1, 1, 0.3, 0.5), (9, 9, 3, 3), (200, 4)):
        for heater in (False, True):
            assert fits((width, length), tree(d, h), heater=heater) == fits((length, width), tree(d, h), heater=heater)


def test_a_larger_sheet_fits_wherever_a_smaller_one_does():
    rng = np.random.default_rng(2)
    for width, length, d, h in rng.uniform((1, 1, 0.3, 0.5), (9, 9, 3, 3), (200, 4)):
        if fits((width, length), tree(d, h)):
            assert fits((width + 0.5, length + 0.5), tree(d, h))
            assert fits((width, length), tree(d * 0.9, h * 0.9))


def test_a_sheet_that_is_large_enough_for_the_rule_is_large_enough_for_every_body():
    for d, h in ((0.8, 1.2), (2.0, 2.5), (3.0, 1.6)):
        side = sheet_for(d, h)[0]
        assert sheet_for(d, h, shape="dome")[0] <= side
        assert sheet_for(d, h, shape="cone")[0] <= side
        assert sheet_for(d, h, overlap_m=0.3)[0] == pytest.approx(side + 0.6)


def test_a_heater_needs_its_clearance_on_all_sides_below_the_sheet():
    d, h = 0.6, 1.0
    width, length = sheet_with_heater_for(d, h)
    assert width - 2 * h == pytest.approx(0.3 + 2 * 0.91)  # heater and clearance to both sides
    assert length - 2 * h == pytest.approx(d + 0.3 + 2 * 0.91)  # crown, clearance, heater, clearance
    assert not fits((width, length - 0.1), tree(d, h), heater=True)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: sheet_for(0, 1), "crown_diameter_m must be greater than 0"),
        (lambda: sheet_for(1, 41), "height_m must be greater than 0 and at most 40 m, got 41"),
        (lambda: sheet_for(4, 1, shape="dome"), "at least half the crown diameter"),
        (lambda: sheet_for(1, 1, shape="bell"), "shape must be"),
        (lambda: sheet_for(1, 1, overlap_m=-1), "overlap_m must be 0 or more"),
        (lambda: sheet_mass_kg(1, 0, 30), "length_m must be greater than 0"),
    ],
)
def test_impossible_arguments_are_named_with_their_range(call, words: str):
    with pytest.raises(ValueError, match=words):
        call()
