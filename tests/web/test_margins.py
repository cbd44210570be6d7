"""The margin scale and its words."""

from __future__ import annotations

import pytest

from fruitwall.web.margins import BANDS, BEYOND, FAR, NEAR, SAFE, band_of


@pytest.mark.parametrize(
    ("margin_k", "band"),
    [(9, SAFE), (2, SAFE), (1.999, NEAR), (0, NEAR), (-0.001, BEYOND), (-2, BEYOND), (-2.001, FAR), (-40, FAR)],
)
def test_a_margin_lies_in_the_band_that_begins_at_or_below_it(margin_k, band):
    assert band_of(margin_k) is band


def test_an_unknown_margin_lies_in_no_band():
    assert band_of(float("nan")) is None


def test_blocks_grow_with_danger():
    heights = [band.height for band in BANDS]

    assert heights == sorted(heights)
    assert [band.from_k for band in BANDS] == sorted((band.from_k for band in BANDS), reverse=True)
