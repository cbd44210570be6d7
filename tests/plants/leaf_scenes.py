"""Photos of ivy leaves on made-up ground, with or without a card, under lights of any colour."""

from __future__ import annotations

from functools import cache
from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage

from fruitwall.plants.colour import encoded, lab, linear

LEAVES = Path(__file__).parents[1] / "data" / "leaves"
HEIGHT, WIDTH = 250, 340
LEAF_AT = (45, 25)
CARD = (268, 125, 84, 64)
"""Centre, width and height of the card. [pixels]"""

CLUTTER = [(160, 60, 50), (60, 80, 150), (120, 85, 55), (200, 195, 190), (60, 55, 50), (150, 120, 90), (180, 90, 60)]


@cache
def ivy(number: int, side: int) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Give a leaf and where it is: by its difference from white alone, not by what is tested."""
    with Image.open(LEAVES / f"leaf_{number:02d}.jpg") as image:
        image.thumbnail((side, side))
        rgb = np.asarray(image.convert("RGB"))
    colours = lab(linear(rgb))
    dark = (np.hypot(colours[..., 1], colours[..., 2]) > 10) | (colours[..., 0] < 65)
    fields, _ = ndimage.label(ndimage.binary_opening(dark, iterations=2))
    sizes = np.bincount(fields.ravel())
    sizes[0] = 0
    leaf = ndimage.binary_fill_holes(fields == sizes.argmax())
    return rgb, ndimage.binary_erosion(leaf)


def ground(kind: str, rng: np.random.Generator) -> NDArray[np.float64]:
    """Draw what a leaf lies on, as sRGB of 0 to 255."""

    def rough(scale: float | tuple[float, float], size: float) -> NDArray[np.float64]:
        noise = ndimage.gaussian_filter(rng.standard_normal((HEIGHT, WIDTH)), scale)
        return np.asarray(np.exp(size * noise / noise.std())[..., None])

    drawn = {
        "paper": lambda: np.array([235, 234, 232.0]) * rough(30, 0.02),
        "soil": lambda: np.array([88, 66, 48.0]) * rough(2, 0.3) * rough(0.7, 0.15),
        "wood": lambda: np.array([168, 125, 82.0]) * rough((1, 20), 0.12),
        "stone": lambda: np.array([140, 136, 130.0]) * rough(1, 0.12) * rough(15, 0.15),
        "busy": lambda: np.array([120, 110, 100.0]) * rough(8, 0.3),
    }[kind]()
    for _ in range(40 if kind == "busy" else 0):
        top, left = rng.integers(0, HEIGHT), rng.integers(0, WIDTH)
        tall, wide = rng.integers(15, 90, 2)
        shade = rng.uniform(0.7, 1.2) * np.exp(0.06 * rng.standard_normal((tall, wide, 1)))
        part = drawn[top : top + tall, left : left + wide]
        part[:] = np.array(CLUTTER[rng.integers(len(CLUTTER))]) * shade[: part.shape[0], : part.shape[1]]
    return np.clip(drawn, 0, 255)


def photo(
    number: int,
    kind: str,
    *,
    seed: int = 1,
    side: int = 170,
    card: float | tuple[float, float, float] | None = None,
    card_shape: str = "card",
    light: tuple[float, float, float] = (1.0, 1.0, 1.0),
    stops: float = -0.3,
    dim: float = 1.0,
    blur: float = 0.0,
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Take a photo of a leaf; give it with where the leaf is.

    Parameters
    ----------
    number : int
        Of the leaf.
    kind : str
        Of the ground.
    seed : int
    side : int
        Longer side of the leaf's scan. [pixels]
    card : float or three floats, optional
        What a card beside it reflects in linear light.
    card_shape : str
        ``card`` (a rectangle, turned by 8 degrees), ``disc``, or ``cut`` (by the edge of the photo).
    light : three floats
        What red, green and blue are multiplied by.
    stops : float
        Exposure; 0 leaves white at the very top.
    dim : float
        What the ground is multiplied by, as behind a flash.
    blur : float
        Of the whole. [pixels]
    """
    rng = np.random.default_rng(seed)
    seen = linear(ground(kind, rng).astype(np.uint8)) * dim
    rgb, leaf = ivy(number, side)
    where = np.zeros((HEIGHT, WIDTH), dtype=bool)
    top, left = LEAF_AT
    part = np.s_[top : top + leaf.shape[0], left : left + leaf.shape[1]]
    where[part] = leaf
    shadow = ndimage.gaussian_filter(np.roll(where, (6, 6), (0, 1)).astype(float), 3)
    seen = seen * (1 - 0.55 * shadow)[..., None]
    put = np.zeros_like(seen)
    put[part] = linear(rgb)
    seen = _over(seen, put, ndimage.gaussian_filter(where.astype(float), 0.6))
    if card is not None:
        seen = _over(seen, np.broadcast_to(card, (3,)), _card(card_shape))
    seen = seen * np.array(light) * 2.0**stops
    if blur:
        seen = ndimage.gaussian_filter(seen, (blur, blur, 0))
    noisy = encoded(seen) * 255 + rng.normal(0, 1.2, seen.shape)
    out = BytesIO()
    Image.fromarray(np.clip(noisy + 0.5, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=82)
    with Image.open(out) as image:
        return np.asarray(image), where


def _over(below: NDArray[np.float64], above: NDArray[np.float64], share: NDArray[np.float64]) -> NDArray[np.float64]:
    return below * (1 - share[..., None]) + above * share[..., None]


def _card(shape: str) -> NDArray[np.float64]:
    x, y, wide, tall = CARD
    drawn = Image.new("L", (WIDTH, HEIGHT))
    pen = ImageDraw.Draw(drawn)
    if shape == "disc":
        pen.ellipse((x - 40, y - 40, x + 40, y + 40), fill=255)
    else:
        x += 60 if shape == "cut" else 0
        turn = np.array([[np.cos(0.14), -np.sin(0.14)], [np.sin(0.14), np.cos(0.14)]])
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (wide / 2, tall / 2) @ turn.T + (x, y)
        pen.polygon([tuple(corner) for corner in corners], fill=255)
    return np.asarray(ndimage.gaussian_filter(np.asarray(drawn) / 255.0, 0.6))
