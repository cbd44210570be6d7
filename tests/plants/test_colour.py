"""Colours as numbers, against the standard library and published colours."""

from __future__ import annotations

import colorsys

import numpy as np
import pytest

from fruitwall.plants.colour import TO_XYZ, WHITE, dark_green_index, encoded, hsb, lab, linear

# Rorie, Purcell, Mozaffari, Karcher et al. (2011), Agronomy Journal 103, 529-535, and the patent US 8391565 B2: discs
# that are photographed beside leaves. Hue, saturation, brightness and index are from memory; that they agree with each
# other to the last of four figures speaks for them.
DISCS = [
    ((91.0, 0.38, 0.42), 0.5722),  # green, Munsell 6.7GY 4.2/4.1
    ((66.0, 0.88, 1.00), 0.0733),  # yellow as a camera saw it
    ((50.0, 0.87, 0.91), 0.0178),  # yellow, Munsell 5Y 8/11.1
]

# Both discs are colours of the ColorChecker of McCamy, Marcus and Davidson (1976): foliage 6.7GY 4.2/4.1 and yellow 5Y
# 8/11.1. Its sRGB bytes as X-Rite published them, and x, y, Y under illuminant C of the paper.
FOLIAGE, FOLIAGE_XYY = (87, 108, 67), (0.3372, 0.4220, 0.1329)
YELLOW, YELLOW_XYY = (231, 199, 31), (0.4480, 0.4703, 0.5910)
WHITE_C = np.array([0.3101 / 0.3163, 1.0, (1 - 0.3101 - 0.3163) / 0.3163])

BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def of_byte(rgb: tuple[int, int, int]) -> np.ndarray:
    return np.array(rgb) / 255.0


@pytest.mark.parametrize(("seen", "index"), DISCS)
def test_the_index_of_published_discs(seen, index):
    rgb = np.array(colorsys.hsv_to_rgb(seen[0] / 360, seen[1], seen[2]))
    assert dark_green_index(rgb) == pytest.approx(index, abs=5e-5)


@pytest.mark.parametrize(("rgb", "index"), [(FOLIAGE, 0.5722), (YELLOW, 0.0178)])
def test_the_same_discs_by_the_published_bytes_of_their_colours(rgb, index):
    assert dark_green_index(of_byte(rgb)) == pytest.approx(index, abs=0.006)


@pytest.mark.parametrize(("xyy", "rgb"), [(FOLIAGE_XYY, FOLIAGE), (YELLOW_XYY, YELLOW)])
def test_the_same_discs_from_what_a_colorimeter_measured(xyy, rgb):
    # The bytes were measured some thirty years after the paper, on other charts: 0.570 and 0.557 for the green disc.
    x, y, luminance = xyy
    xyz = np.array([x / y, 1.0, (1 - x - y) / y]) * luminance
    gains = (BRADFORD @ WHITE) / (BRADFORD @ WHITE_C)
    light = np.linalg.inv(TO_XYZ) @ np.linalg.inv(BRADFORD) @ (gains * (BRADFORD @ xyz))
    assert dark_green_index(encoded(light)) == pytest.approx(float(dark_green_index(of_byte(rgb))), abs=0.02)


def test_hue_saturation_and_brightness_are_those_of_the_standard_library():
    rgb = np.random.default_rng(3).random((500, 3)).round(2)
    ours = hsb(rgb) / (360, 1, 1)
    theirs = np.array([colorsys.rgb_to_hsv(*one) for one in rgb])
    np.testing.assert_allclose(ours, theirs, atol=1e-12)


@pytest.mark.parametrize(
    ("rgb", "expected"),
    # CIELAB of the primaries of sRGB under D65, after the tables of B. Lindbloom; from memory.
    [
        ((255, 0, 0), (53.24, 80.09, 67.20)),
        ((0, 255, 0), (87.73, -86.18, 83.18)),
        ((0, 0, 255), (32.30, 79.19, -107.86)),
        ((255, 255, 255), (100.0, 0.0, 0.0)),
        ((0, 0, 0), (0.0, 0.0, 0.0)),
    ],
)
def test_cielab_of_the_primaries(rgb, expected):
    np.testing.assert_allclose(lab(linear(np.array(rgb, dtype=np.uint8))), expected, atol=0.01)


def test_bytes_come_back_from_linear_light():
    every = np.arange(256, dtype=np.uint8)
    np.testing.assert_array_equal(np.rint(encoded(linear(every)) * 255), every)
    np.testing.assert_allclose(linear(every), linear(every / 255.0))
    assert linear(np.array(188, dtype=np.uint8)) == pytest.approx(0.5, abs=0.003)


def test_the_index_of_a_mean_is_the_mean_of_the_indices():
    greens = np.random.default_rng(4).uniform((90, 0.2, 0.2), (150, 0.8, 0.8), (200, 3))
    rgb = np.array([colorsys.hsv_to_rgb(hue / 360, *rest) for hue, *rest in greens])
    hue, saturation, brightness = greens.mean(axis=0)
    mean = np.array(colorsys.hsv_to_rgb(hue / 360, saturation, brightness))
    assert dark_green_index(rgb).mean() == pytest.approx(float(dark_green_index(mean)), abs=1e-12)
