"""A grey card, a sheet of paper or a printed grey field in a photo: it tells the colour of the light.

What is grey by itself has the colour of the light that falls on it. So a field is looked for that is even, bright and
roughly rectangular, lies wholly within the photo, and whose colour daylight or a lamp could have given it; it need not
look grey. What is cream-coloured by itself cannot be told from white under a lamp: `MOST_WARM` bounds that error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from fruitwall.plants.colour import LUMINANCE, Floats, encoded, lab

EVEN = 0.022
"""Largest standard deviation within 5 x 5 pixels, of sRGB of 0 to 1: noise of a telephone and of JPEG is about a third
of it, print on paper is several times as much. Our judgement."""

DIM, FULL = 0.35, 0.985
"""sRGB of 0 to 1 of the brightest channel: what is darker than the one may be shade, from the other on it may be cut
off by the camera. A grey of 18 % is 0.46 at a right exposure. Our judgement."""

LOCUS = 0.55
"""How ln(red/green) falls with ln(blue/green) along the colours of daylight and of glowing things, in linear sRGB:
0.64 from D65 to illuminant A, 0.37 from D65 to 10,000 K (their chromaticities: CIE 15:2004)."""

OFF_LOCUS = (-0.28, 0.15)
"""How far from that line a light may lie, towards green (fluorescent lamps) and towards pink, where terracotta begins.
Leaves lie below -0.5. Our judgement."""

MOST_WARM, MOST_BLUE = -0.7, 0.5
"""Limits of ln(blue/green): about 3800 K and open shade, both as a telephone leaves them that does not balance at all.
Our judgement."""

LEAST_SHARE, MOST_SHARE, LEAST_PIXELS = 0.004, 0.45, 150
"""Of the photo. Smaller ones are chance, larger ones are walls. Our judgement."""

RECTANGLE = 0.83
"""Least share of its bounding rectangle, turned as fits best, that a field fills; a disc fills 0.785."""

LONGEST = 6.0
"""Of its longer to its shorter side. Our judgement."""


@dataclass(frozen=True)
class Patch:
    """A field taken for grey.

    Attributes
    ----------
    left, top, right, bottom : float
        Where it lies, as shares of width and height.
    share : float
        Of the photo.
    gains : tuple of float
        What red, green and blue are multiplied by in linear light, so that it becomes grey of the same luminance.
    cast : float
        How far from grey it looked: chroma of CIELAB at its own lightness.
    """

    left: float
    top: float
    right: float
    bottom: float
    share: float
    gains: tuple[float, float, float]
    cast: float


def find_patch(light: Floats, shown: Floats) -> Patch | None:
    """Find the field that tells the colour of the light.

    Parameters
    ----------
    light : array [row, column, 3]
        Linear sRGB, the longer side a few hundred pixels.
    shown : array [row, column, 3]
        The same as sRGB of 0 to 1.

    Returns
    -------
    Patch or None
        The one that looks most like a card; None where there is none.
    """
    mask = _even(shown) & could_be_grey(light, shown)
    fields, count = ndimage.label(mask)
    if count == 0:
        return None
    height, width = mask.shape
    sizes = np.bincount(fields.ravel())
    sizes[0] = 0
    best: tuple[float, Patch] | None = None
    for number in np.argsort(-sizes, kind="stable")[:12]:
        size = int(sizes[number])
        if size < max(LEAST_PIXELS, LEAST_SHARE * mask.size):
            break
        field = fields == number
        rows, columns = np.nonzero(field)
        if rows.min() < 3 or columns.min() < 3 or rows.max() > height - 4 or columns.max() > width - 4:
            continue
        if size > MOST_SHARE * mask.size:
            continue
        fill, ratio = _rectangle(field)
        if fill < RECTANGLE or ratio > LONGEST:
            continue
        colour = light[field].mean(axis=0)
        if _is_coloured(light, shown, colour):
            continue
        # The fuller, the larger and the brighter, the more it looks like a card.
        worth = fill * size**0.25 * float(encoded(colour).max())
        if best is None or worth > best[0]:
            best = worth, _patch(rows, columns, mask.shape, colour)
    return best[1] if best is not None else None


def could_be_grey(light: Floats, shown: Floats, *, off_locus: tuple[float, float] = OFF_LOCUS) -> NDArray[np.bool_]:
    """Tell which pixels may be grey under daylight or a lamp, bright enough and not cut off.

    Parameters
    ----------
    light : array [row, column, 3]
        Linear sRGB.
    shown : array [row, column, 3]
        The same as sRGB of 0 to 1.
    off_locus : two floats
        See `OFF_LOCUS`.

    Returns
    -------
    array [row, column] of bool
    """
    highest = shown.max(axis=-1)
    red, blue = chromaticity(light)
    off = red + LOCUS * blue
    inside = (off > off_locus[0]) & (off < off_locus[1]) & (blue > MOST_WARM) & (blue < MOST_BLUE)
    return np.asarray(inside & (highest > DIM) & (highest < FULL))


def chromaticity(light: Floats) -> tuple[Floats, Floats]:
    """Give ln(red/green) and ln(blue/green): the same in sun and shade of one light."""
    safe = np.maximum(light, 1e-4)
    return np.log(safe[..., 0] / safe[..., 1]), np.log(safe[..., 2] / safe[..., 1])


def cast_of(colour: Floats) -> float:
    """Give the chroma in CIELAB of a colour [linear red, green, blue] at the lightness of a light grey, L* 80."""
    grey = colour / float(colour @ LUMINANCE) * 0.567
    return float(np.hypot(*lab(grey)[1:]))


def _patch(rows: NDArray[np.intp], columns: NDArray[np.intp], shape: tuple[int, ...], colour: Floats) -> Patch:
    height, width = shape
    gains = float(colour @ LUMINANCE) / colour
    return Patch(
        left=float(columns.min()) / width,
        top=float(rows.min()) / height,
        right=float(columns.max() + 1) / width,
        bottom=float(rows.max() + 1) / height,
        share=len(rows) / (height * width),
        gains=(float(gains[0]), float(gains[1]), float(gains[2])),
        cast=cast_of(colour),
    )


def _even(shown: Floats) -> NDArray[np.bool_]:
    """Tell where no channel changes within 5 x 5 pixels."""
    mean = ndimage.uniform_filter(shown, size=(5, 5, 1))
    square = ndimage.uniform_filter(shown**2, size=(5, 5, 1))
    return np.asarray((square - mean**2 < EVEN**2).all(axis=-1))


def _rectangle(field: NDArray[np.bool_]) -> tuple[float, float]:
    """Give the share of its smallest bounding rectangle that a field fills, and how long that is to its width."""
    size = int(field.sum())
    rows, columns = np.nonzero(field & ~ndimage.binary_erosion(field))
    best, ratio = 0.0, 1.0
    for angle in np.radians(np.arange(0.0, 90.0, 3.0)):
        along = columns * np.cos(angle) + rows * np.sin(angle)
        across = rows * np.cos(angle) - columns * np.sin(angle)
        sides = float(np.ptp(along)) + 1, float(np.ptp(across)) + 1
        fill = size / (sides[0] * sides[1])
        if fill > best:
            best, ratio = fill, max(sides) / min(sides)
    return best, ratio


def _is_coloured(light: Floats, shown: Floats, colour: Floats) -> bool:
    """Tell whether a warm field is of a warm colour by itself: what is brighter than it looks greyer than it does."""
    _, own = chromaticity(colour)
    if float(own) > -0.25:
        return False
    red, blue = chromaticity(light)
    bright = (light @ LUMINANCE > 1.15 * float(colour @ LUMINANCE)) & (shown.max(axis=-1) < 0.999)
    greyer = bright & (np.abs(red + LOCUS * blue) < OFF_LOCUS[1]) & (blue > 0.5 * float(own)) & (blue < 0.25)
    return bool(greyer.mean() > 0.01)
