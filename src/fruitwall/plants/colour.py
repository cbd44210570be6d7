"""Colours as numbers: sRGB, linear light, CIELAB, and hue, saturation and brightness.

Pillow and NumPy do the rest of what is needed of pictures; a library of image analysis for these thirty lines would
weigh 231 MB (OpenCV) or 291 MB (scikit-image).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
"""Linear sRGB to CIE XYZ of D65: IEC 61966-2-1:1999, with more digits."""

LUMINANCE = TO_XYZ[1]
"""What red, green and blue give to luminance."""

WHITE = TO_XYZ.sum(axis=1)
"""XYZ of D65, Y = 1."""

KNEE, SLOPE = 216 / 24389, 24389 / 27
"""Where the cube root of CIELAB becomes a straight line, and how steep that is: CIE 15:2004."""


def linear(rgb: NDArray[np.generic]) -> Floats:
    """Turn sRGB bytes, or floats of 0 to 1, into linear light of 0 to 1 (IEC 61966-2-1:1999)."""
    if rgb.dtype == np.uint8:
        return np.asarray(_LINEAR_OF_BYTE[rgb])
    return _linear(rgb.astype(np.float64))


def encoded(light: Floats) -> Floats:
    """Turn linear light into sRGB of 0 to 1; what is brighter than white is white."""
    inside = np.clip(light, 0.0, 1.0)
    return np.where(inside <= 0.0031308, 12.92 * inside, 1.055 * inside ** (1 / 2.4) - 0.055)


def lab(light: Floats) -> Floats:
    """Turn linear sRGB into CIELAB of D65 [..., (L*, a*, b*)]."""
    ratio = light @ TO_XYZ.T / WHITE
    root = np.where(ratio > KNEE, np.cbrt(ratio), (SLOPE * ratio + 16) / 116)
    x, y, z = root[..., 0], root[..., 1], root[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def hsb(rgb: Floats) -> Floats:
    """Give hue [degrees], saturation and brightness [0 to 1] of sRGB of 0 to 1; the hue of a grey is 0."""
    highest, lowest = rgb.max(axis=-1), rgb.min(axis=-1)
    span = highest - lowest
    safe = np.where(span > 0, span, 1.0)
    red, green, blue = rgb[..., 0], rgb[..., 1], rgb[..., 2]
    sixth = np.where(
        highest == red,
        (green - blue) / safe % 6,
        np.where(highest == green, (blue - red) / safe + 2, (red - green) / safe + 4),
    )
    hue = np.where(span > 0, 60.0 * sixth, 0.0)
    return np.stack([hue, span / np.where(highest > 0, highest, 1.0), highest], axis=-1)


def dark_green_index(rgb: Floats) -> Floats:
    """Give the dark green colour index of colours.

    Parameters
    ----------
    rgb : array [..., 3]
        sRGB of 0 to 1.

    Returns
    -------
    array [...]
        About 0 for bright yellow to 1 for the darkest green; below 0 for orange and red.

    Notes
    -----
    Mean of three parts, each 0 to 1 for colours from yellow to green: hue from 60° to 120°, lack of saturation, lack of
    brightness. Karcher and Richardson (2003), Quantifying turfgrass color using digital image analysis, Crop Science
    43, 943-951. It takes sRGB as the camera writes it, not linear light: so it was defined, and so its published values
    are. It is linear in hue, saturation and brightness: the mean of the index is the index of the means.
    """
    hue, saturation, brightness = np.moveaxis(hsb(rgb), -1, 0)
    return np.asarray(((hue - 60.0) / 60.0 + (1.0 - saturation) + (1.0 - brightness)) / 3.0)


def _linear(share: Floats) -> Floats:
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


_LINEAR_OF_BYTE = _linear(np.arange(256) / 255.0)
