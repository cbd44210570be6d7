"""Can the page be read: contrast of every pair that is used, and the margin scale for colour-blind eyes."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import fruitwall.web

WEB = Path(fruitwall.web.__file__).parent
THEMES = ("day", "night")

# Least contrast by WCAG 2.2: 4.5 for text (1.4.3, AA), 3 for what has to be seen to understand a picture (1.4.11, AA).
TEXT, SIGN = 4.5, 3.0
PAIRS = {
    ("ink", "paper"): TEXT,
    ("quiet", "paper"): TEXT,
    ("ember", "paper"): TEXT,
    ("ink", "bed"): TEXT,
    ("quiet", "bed"): TEXT,
    ("on-near", "near"): TEXT,
    ("on-beyond", "beyond"): TEXT,
    ("on-far", "far"): TEXT,
    ("safe", "paper"): SIGN,
    ("near", "paper"): SIGN,
    ("beyond", "paper"): SIGN,
    ("far", "paper"): SIGN,
    ("edge", "paper"): SIGN,
    ("edge", "wash"): SIGN,
    ("ember", "wash"): SIGN,
    ("beyond", "wash"): SIGN,
    ("edge", "bed"): SIGN,
    ("near", "bed"): SIGN,
    ("beyond", "bed"): SIGN,
    ("stone", "bed"): SIGN,
    ("stone", "rule"): SIGN,
    ("leaf", "bed"): SIGN,
    ("water", "bed"): SIGN,
}

# Machado, G. M., Oliveira, M. M. and Fernandes, L. A. F. (2009), A physiologically-based model for simulation of
# color vision deficiency, IEEE TVCG 15(6):1291-1298, severity 1.0, for linear RGB. Coefficients from memory; that
# white stays white (rows sum to one) is checked below.
EYES = {
    "all colours": np.eye(3),
    "no red": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no blue": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
# Linear sRGB to CIE XYZ (IEC 61966-2-1) and its white.
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
WHITE = TO_XYZ.sum(axis=1)


def colours(theme: str) -> dict[str, np.ndarray]:
    """Read the colours of a theme from the style sheet, as linear RGB."""
    text = (WEB / "base.css").read_text("utf-8")
    part = text.split(f"/* by {theme}")[1].split("}")[0]
    found = {name: _linear(value) for name, value in re.findall(r"--([\w-]+): #([0-9a-f]{6});", part)}
    assert found
    return found


def _linear(value: str) -> np.ndarray:
    """Turn a hex colour into linear RGB (IEC 61966-2-1)."""
    encoded = np.array([int(value[at : at + 2], 16) for at in (0, 2, 4)]) / 255
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def luminance(colour: np.ndarray) -> float:
    """Give the relative luminance of WCAG 2.2."""
    return float(TO_XYZ[1] @ colour)


def contrast(one: np.ndarray, other: np.ndarray) -> float:
    """Give the contrast ratio of WCAG 2.2."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def lab(colour: np.ndarray) -> np.ndarray:
    """Give CIE L*a*b*."""
    share = TO_XYZ @ np.clip(colour, 0, 1) / WHITE
    root = np.where(share > 0.008856, np.cbrt(share), 7.787 * share + 16 / 116)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


def test_contrast_is_that_of_the_guideline():
    # WCAG 2.2, definition of contrast ratio: 21:1 for black on white; #767676 on white is known as the greyest AA text.
    black, white, grey = _linear("000000"), _linear("ffffff"), _linear("767676")

    assert contrast(black, white) == pytest.approx(21.0)
    assert contrast(grey, white) == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("front", "back"), PAIRS)
def test_every_pair_of_colours_has_the_contrast_it_needs(theme, front, back):
    found = colours(theme)

    assert contrast(found[front], found[back]) >= PAIRS[front, back]


def test_both_themes_name_the_same_colours():
    assert colours("day").keys() == colours("night").keys()


def test_every_colour_of_the_style_sheets_is_a_named_one():
    for sheet in WEB.rglob("*.css"):
        rules = sheet.read_text("utf-8").split("* {\n", 1)[-1]
        assert not re.findall(r"#[0-9a-fA-F]{3,8}\b(?!-)|rgba?\(|hsla?\(", rules), sheet


@pytest.mark.parametrize("theme", THEMES)
def test_danger_goes_one_way_in_lightness(theme):
    found = colours(theme)
    light = [luminance(found[band]) for band in ("safe", "near", "beyond", "far")]

    assert light == sorted(light, reverse=theme == "day")
    for mild, worse in pairwise(light):
        assert abs(mild - worse) > 0.05


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("eyes", EYES)
def test_the_bands_stay_apart_for_colour_blind_eyes(theme, eyes):
    assert EYES[eyes].sum(axis=1) == pytest.approx(1.0, abs=1e-5)
    found = colours(theme)
    seen = [lab(EYES[eyes] @ found[band]) for band in ("safe", "near", "beyond", "far")]

    for index, one in enumerate(seen):
        for other in seen[index + 1 :]:
            assert np.linalg.norm(one - other) > 20  # a difference of 2 to 3 is just seen (CIE 1976)


@pytest.mark.parametrize("theme", THEMES)
def test_the_design_sheet_tells_the_colours_and_contrasts_as_they_are(project, theme):
    sheet = (project / "docs" / "design.md").read_text("utf-8")
    column = THEMES.index(theme)
    found = colours(theme)

    hexes = {
        name: values[column]
        for name, *values in re.findall(r"^\| `([\w-]+)` \|[^`]*`(#\w{6})` \| `(#\w{6})` \|", sheet, re.M)
    }
    for name, value in hexes.items():
        assert np.allclose(_linear(value[1:]), found[name]), name
    assert hexes.keys() == found.keys()
    ratios = re.findall(r"^\| `([\w-]+)` on `([\w-]+)` \| ([\d.]+) \| ([\d.]+) \|", sheet, re.M)
    assert {(front, back) for front, back, *_ in ratios} == set(PAIRS)
    for front, back, *values in ratios:
        assert float(values[column]) == pytest.approx(contrast(found[front], found[back]), abs=0.05), (front, back)
