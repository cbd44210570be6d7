"""The colour of the leaves in a photo: how dark a green, and how much of them is pale, yellow, brown or grey.

A photo tells colours only as well as its light is known. So the light is judged first, from a grey field where there is
one (`plants.grey_patch`), and what cannot be compared with other photos is said to be so, with the reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from fruitwall.plants.colour import LUMINANCE, Floats, dark_green_index, encoded, lab, linear
from fruitwall.plants.grey_patch import Patch, cast_of, chromaticity, could_be_grey, find_patch

Mask = NDArray[np.bool_]

Light = Literal["patch", "seen", "unknown"]
"""How the colour of the light is known: by a grey field; by bright things that look grey; not at all."""

Problem = Literal["little_leaf", "dark", "blown", "cast", "flash", "blur"]
"""Why a photo cannot be compared."""

TONES = ("green", "pale", "yellow", "brown", "grey")
"""What a piece of leaf may be."""

# Hues are angles of CIELAB: 0 red, 90 yellow, 180 green; chroma is the distance from grey. Limits between tones are our
# judgement, held against the ivy leaves of tests/data/leaves: at 129° the leaf has 51 SPAD units, at 123° 35, at 113°
# 28, at 108° 22, at 90° 2.

BROWN_BELOW, YELLOW_BELOW, PALE_BELOW, LEAF_BELOW = 78.0, 100.0, 116.0, 170.0
"""Where brown, yellow, pale and green end. [degrees of hue]"""

BROWN_DARK = 45.0
"""A yellow that is darker than this L* is brown."""

PALE_LIGHT = 62.0
"""A green that is lighter than this L* is pale."""

GREY_CHROMA = 8.0
"""Below it nothing has a colour."""

LEAF_CHROMA, YELLOW_CHROMA = 11.0, 38.0
"""Least chroma by which green and yellow leaf is known before anything else is: soil, wood and stone of the hue of
yellow leaves have less than the second."""

MOST_BROWN = 1.5
"""Largest brown part that may hang on green and yellow leaf, to the area of that. Our judgement."""

LEAST_SHARED = 0.35
"""Of its outline that a brown part shares with green and yellow leaf: a thing behind the leaf sticks out further. Our
judgement."""

LEAST_GROUND = 0.01
"""Of the photo: with less ground in view nobody knows what is ground. Our judgement."""

LEAF_SATURATION = 0.4
"""Least saturation of green leaf in linear light; white paper under a greenish lamp stays below. Our judgement."""

GLARE_LIGHT, GLARE_CHROMA = 72.0, 14.0
"""L* above and chroma below which the light is mirrored by a leaf: no part of its colour."""

BLACK = 6.0
"""L* below which a camera tells no colours."""

LEAST_LEAF = 0.02
"""Of the photo; fewer leaves are chance. Our judgement."""

DARK_LEAF = 13.0
"""Median L* of leaves: the darkest ivy has 28, with three quarters of the light taken away 12."""

DARK_PHOTO = 0.35
"""If nothing but a hundredth is brighter (sRGB of 0 to 1), the photo is dark."""

MOST_BLOWN = 0.06
"""Share of the leaf cut off by the camera in red, green or blue, or mirroring the light. Our judgement."""

SEEN_LIGHT, SEEN_SHARE, SEEN_OFF_LOCUS = 0.6, 0.03, (-0.45, 0.45)
"""sRGB of 0 to 1 from which what seems grey tells of the light, least share of the photo that does, and how far off the
colours of daylight and lamps it may be (`grey_patch.OFF_LOCUS`): wider, since it must show a green or pink light too.
Our judgement."""

STRANGE_LIGHT, STRANGE_CAST = 0.82, 1.3
"""sRGB of 0 to 1 from which also what is of a strange colour tells of the light, and the largest size of ln(red/green)
and ln(blue/green) of it: a bare bulb gives 0.8 and -1.3. Our judgement."""

MOST_CAST = 8.0
"""Chroma of CIELAB that what seems grey may have where there is no card. Our judgement."""

FLASH_RATIO, FLASH_GLARE = 9.0, 0.004
"""How much brighter the leaf is than what is around it, and the share of it that mirrors the lamp. Our judgement."""

MOST_BLUR = 0.62
"""Of `_blur`, 0 to 1; see docs/leaf-colour.md."""

DOUBT_LIGHT: dict[Light, float] = {"patch": 0.01, "seen": 0.03, "unknown": 0.05}
"""Standard deviation of the index by what is not known of the colour of the light; see docs/leaf-colour.md."""

DOUBT_EXPOSURE = 0.02
"""The same by what a camera takes for the right brightness; see docs/leaf-colour.md."""


@dataclass(frozen=True)
class LeafColour:
    """What a photo tells of its leaves.

    Attributes
    ----------
    index : float
        Dark green colour index of the living leaf: all that is not brown or grey; NaN where there is none.
    doubt : float
        Standard deviation of it by light and exposure.
    green, pale, yellow, brown, grey : float
        Shares of the leaf area, together 1; NaN without leaf.
    leaf : float
        Share of the photo that is leaf.
    light : str
        How the colour of the light is known, see `Light`.
    cast : float
        How far from grey looks what should be grey, before it was put right [chroma of CIELAB]; NaN if not known.
    patch : Patch or None
        By which it was put right.
    problems : tuple of str
        Why it cannot be compared with other photos; empty where it can. See `Problem`.
    """

    index: float
    doubt: float
    green: float
    pale: float
    yellow: float
    brown: float
    grey: float
    leaf: float
    light: Light
    cast: float
    patch: Patch | None
    problems: tuple[Problem, ...]

    @property
    def comparable(self) -> bool:
        """Whether it may be held against other photos."""
        return not self.problems


def leaf_colour(rgb: NDArray[np.uint8]) -> LeafColour:
    """Measure the colour of the leaves of a photo.

    Parameters
    ----------
    rgb : array [row, column, 3] of uint8
        sRGB, the longer side best 500 to 800 pixels.

    Returns
    -------
    LeafColour

    Raises
    ------
    ValueError
        If it is not such an array, or has fewer than 16 pixels a side.
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8 or min(rgb.shape[:2]) < 16:
        raise ValueError(f"a photo is an array [row, column, 3] of bytes with 16 pixels a side, got {rgb.shape}")
    raw, shown = linear(rgb), rgb / 255.0
    patch = find_patch(raw, shown)
    light = raw * np.array(patch.gains) if patch is not None else raw
    cut_off: Mask = np.asarray((rgb >= 254).any(axis=-1))
    colours = lab(light)
    leaf = leaf_mask(light, colours)
    tones, glare = _tones(colours, leaf)
    counted = tones >= 0
    known, cast = _light(raw, shown, leaf, patch)
    problems = _problems(raw, shown, colours, leaf, cut_off, glare, known, cast)
    if not counted.any():
        return LeafColour(nan, nan, nan, nan, nan, nan, nan, 0.0, known, cast, patch, problems)
    shares = np.bincount(tones[counted], minlength=len(TONES)) / counted.sum()
    living = counted & (tones < TONES.index("brown"))
    return LeafColour(
        index=float(dark_green_index(encoded(light[living])).mean()) if living.any() else nan,
        doubt=sqrt(DOUBT_LIGHT[known] ** 2 + DOUBT_EXPOSURE**2),
        green=float(shares[0]),
        pale=float(shares[1]),
        yellow=float(shares[2]),
        brown=float(shares[3]),
        grey=float(shares[4]),
        leaf=float(leaf.mean()),
        light=known,
        cast=cast,
        patch=patch,
        problems=problems,
    )


def leaf_mask(light: Floats, colours: Floats) -> Mask:
    """Tell which pixels are leaf.

    Parameters
    ----------
    light : array [row, column, 3]
        Linear sRGB, the colour of the light put right.
    colours : array [row, column, 3]
        The same in CIELAB.

    Returns
    -------
    array [row, column] of bool

    Notes
    -----
    Green and bright yellow is leaf by itself. Brown is leaf where it hangs together with that and is of another colour
    than the ground, sun and shade left out of account; grey only where leaf is around it. So a brown leaf alone, or one
    on brown soil, is not found.
    """
    hue, chroma = _polar(colours)
    lightness = colours[..., 0]
    seen = (lightness > BLACK) & (lightness < 93.0)
    coloured = light.min(axis=-1) < (1 - LEAF_SATURATION) * light.max(axis=-1)
    green = seen & coloured & (chroma > LEAF_CHROMA) & (hue >= YELLOW_BELOW) & (hue < LEAF_BELOW)
    yellow = seen & (chroma > YELLOW_CHROMA) & (hue >= BROWN_BELOW) & (hue < YELLOW_BELOW) & (lightness > BROWN_DARK)
    core = _worth_keeping(ndimage.binary_opening(green | yellow, iterations=1))
    if not core.any():
        return core
    near = ndimage.binary_dilation(core, iterations=max(core.shape) // 16)
    brown = seen & ~core & (chroma > GREY_CHROMA) & (hue > 15.0) & (hue < YELLOW_BELOW) & (lightness < 82.0)
    brown = _hangs_on(ndimage.binary_opening(brown, iterations=1), core)
    leaf = core | (brown & _unlike(light, seen & ~near & ~brown))
    leaf = _worth_keeping(ndimage.binary_opening(leaf, iterations=1) | core)
    # Holes and narrow gaps: brown and grey spots, veins, and what mirrors the light.
    narrow = max(max(core.shape) // 100, 1)
    closed = (
        leaf
        | (
            ndimage.binary_closing(np.pad(leaf, 2 * narrow), iterations=narrow)[
                2 * narrow : -2 * narrow, 2 * narrow : -2 * narrow
            ]
        )
    )
    holes, count = ndimage.label(ndimage.binary_fill_holes(closed) & ~closed)
    if count:
        sizes = np.bincount(holes.ravel())
        small = (sizes < 0.12 * leaf.sum()) & (np.arange(len(sizes)) > 0)
        closed |= small[holes]
    return np.asarray(closed)


def _polar(colours: Floats) -> tuple[Floats, Floats]:
    """Give hue [degrees, 0 to 360] and chroma."""
    hue = np.degrees(np.arctan2(colours[..., 2], colours[..., 1])) % 360.0
    return hue, np.hypot(colours[..., 1], colours[..., 2])


def _worth_keeping(mask: Mask) -> Mask:
    """Drop specks: fields smaller than a thousandth of the photo and than a twentieth of the largest."""
    fields, count = ndimage.label(mask)
    if not count:
        return mask
    sizes = np.bincount(fields.ravel())
    sizes[0] = 0
    keep = sizes >= max(min(0.05 * sizes.max(), 0.01 * mask.size), 0.001 * mask.size)
    keep[0] = False
    return np.asarray(keep[fields])


def _hangs_on(fields_mask: Mask, core: Mask) -> Mask:
    """Keep the fields that touch the core and could be parts of its leaves: not larger, and not along the edge."""
    own, count = ndimage.label(fields_mask)
    if not count:
        return fields_mask
    sizes = np.bincount(own.ravel())
    rim = fields_mask & ~ndimage.binary_erosion(fields_mask)
    around = np.bincount(own[rim], minlength=len(sizes))
    shared = np.bincount(own[rim & ndimage.binary_dilation(core, iterations=3)], minlength=len(sizes))
    edge = np.zeros(core.shape, dtype=bool)
    edge[[0, -1]] = edge[:, [0, -1]] = True
    along = np.bincount(own[edge], minlength=len(sizes))
    keep = (shared > LEAST_SHARED * around) & (sizes < MOST_BROWN * core.sum()) & (along < 0.1 * around)
    keep[0] = False
    return np.asarray(keep[own])


def _unlike(light: Floats, ground: Mask) -> Mask:
    """Tell which pixels have a colour that is rare on the ground, whether in sun or in shade."""
    if ground.sum() < LEAST_GROUND * ground.size:
        return np.zeros(ground.shape, dtype=bool)
    width, count = 0.12, 40
    red, blue = chromaticity(light)
    places = [np.clip(((one + 2.4) / width).astype(int), 0, count - 1) for one in (red, blue)]
    heap = np.zeros((count, count))
    np.add.at(heap, (places[0][ground], places[1][ground]), 1.0)
    often = ndimage.uniform_filter(heap, 3, mode="constant") * 9 / ground.sum()
    return np.asarray(often[places[0], places[1]] < 0.02)


def _tones(colours: Floats, leaf: Mask) -> tuple[NDArray[np.int8], float]:
    """Give the tone of each pixel, -1 where none counts, and the share of the leaf that mirrors the light."""
    hue, chroma = _polar(colours)
    lightness = colours[..., 0]
    tones = np.full(leaf.shape, -1, dtype=np.int8)
    mirrors = leaf & (lightness > GLARE_LIGHT) & (chroma < GLARE_CHROMA)
    counted = leaf & ~mirrors & (lightness > BLACK)
    wrapped = np.where(hue > 300.0, hue - 360.0, hue)
    grey = counted & (chroma < GREY_CHROMA)
    brown = counted & ~grey & ((wrapped < BROWN_BELOW) | ((wrapped < YELLOW_BELOW) & (lightness < BROWN_DARK)))
    yellow = counted & ~grey & ~brown & (wrapped < YELLOW_BELOW)
    pale = counted & ~grey & ~brown & ~yellow & ((wrapped < PALE_BELOW) | (lightness > PALE_LIGHT))
    green = counted & ~grey & ~brown & ~yellow & ~pale
    for number, tone in enumerate((green, pale, yellow, brown, grey)):
        tones[tone] = number
    return tones, float(mirrors.sum() / max(int(leaf.sum()), 1))


def _light(raw: Floats, shown: Floats, leaf: Mask, patch: Patch | None) -> tuple[Light, float]:
    """Judge how well the colour of the light is known, and how far from grey it looks."""
    if patch is not None:
        return "patch", patch.cast
    # White that is cut off is white: of no colour by the camera's own account. What is very bright counts also where
    # it is of a colour that no usual light has: under a bare lamp or through a blue sheet paper is brighter than wood.
    highest = shown.max(axis=-1)
    white = shown.min(axis=-1) > 0.97
    usual = could_be_grey(raw, shown, off_locus=SEEN_OFF_LOCUS) & (highest > SEEN_LIGHT)
    red, blue = chromaticity(raw)
    strange = (highest > STRANGE_LIGHT) & (np.abs(red) < STRANGE_CAST) & (np.abs(blue) < STRANGE_CAST)
    grey = (usual | white | strange) & ~leaf
    if grey.mean() < SEEN_SHARE:
        return "unknown", nan
    bright = raw @ LUMINANCE
    brightest = grey & (bright >= np.quantile(bright[grey], 0.7))
    cast = cast_of(np.median(raw[brightest], axis=0))
    return "seen", cast


def _problems(
    raw: Floats, shown: Floats, colours: Floats, leaf: Mask, cut_off: Mask, glare: float, known: Light, cast: float
) -> tuple[Problem, ...]:
    """Tell why a photo cannot be compared."""
    found: list[Problem] = []
    bright = raw @ LUMINANCE
    size = int(leaf.sum())
    if size < LEAST_LEAF * leaf.size:
        found.append("little_leaf")
    enough = size >= 100
    dark = bool(np.quantile(shown.max(axis=-1), 0.99) < DARK_PHOTO)
    if dark or (enough and float(np.median(colours[..., 0][leaf])) < DARK_LEAF):
        found.append("dark")
    blown = float(cut_off[leaf].mean()) if enough else 0.0
    # So bright that the leaf itself is white: nothing of it is found.
    if blown + glare > MOST_BLOWN or ("little_leaf" in found and cut_off.mean() > 0.3):
        found.append("blown")
    if "little_leaf" in found and len(found) > 1:  # what is too dark or too bright to be seen is not little
        found.remove("little_leaf")
    if known == "seen" and cast > MOST_CAST:
        found.append("cast")
    if enough and size < 0.95 * leaf.size and glare + blown > FLASH_GLARE:
        around = float(np.median(bright[~leaf]))
        if float(np.median(bright[leaf])) > FLASH_RATIO * max(around, 1e-3):
            found.append("flash")
    if enough and _blur(shown.mean(axis=-1), leaf) > MOST_BLUR:
        found.append("blur")
    return tuple(found)


def _blur(shown: Floats, leaf: Mask) -> float:
    """Tell how blurred the leaves are: 0 sharp, 1 not a line to be seen.

    A blurred picture loses little by being blurred again: Crete, Dolmiere, Ladret and Nicolas (2007), The blur effect:
    perception and estimation with a new no-reference perceptual blur metric, Proc. SPIE 6492.
    """
    near = ndimage.binary_dilation(leaf, iterations=3)
    worst = 0.0
    for axis in (0, 1):
        before = np.abs(np.diff(shown, axis=axis))
        after = np.abs(np.diff(ndimage.uniform_filter1d(shown, 9, axis=axis), axis=axis))
        where = near[1:] if axis == 0 else near[:, 1:]
        total = float(before[where].sum())
        lost = float(np.maximum(before - after, 0.0)[where].sum())
        worst = max(worst, (total - lost) / total if total > 0 else 1.0)
    return worst
