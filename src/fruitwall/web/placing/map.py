"""The yard from above with the chance of every place, as patterns and colours, and numbered places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from fruitwall.speech import marked, say
from fruitwall.web.evening.spacing import spread
from fruitwall.web.plan.shapes import (
    FOOT,
    PAINT_ORDER,
    Frame,
    frame_of,
    north_arrow,
    patterns,
    scale_bar,
    shelter_shape,
    structure_shape,
)
from fruitwall.web.svg import number, points, tag

if TYPE_CHECKING:
    from fruitwall.plans.placing.raster import Raster
    from fruitwall.service.household import Household
    from fruitwall.yard.model import Yard

CLASSES = (0.2, 0.5, 0.8, 0.95)
"""Between what chances to live ten winters the map changes its pattern. [-]"""

CLASS_WORDS = (
    marked("under 20 %: cross-hatched"),
    marked("20 to 50 %: close stripes"),
    marked("50 to 80 %: wide stripes"),
    marked("80 to 95 %: dots"),
    marked("95 % and more: plain"),
)

WIDTH = 358.0
SIGN_RADIUS = 10.0


@dataclass(frozen=True)
class Sign:
    """A numbered place.

    Attributes
    ----------
    mark : str
        Its number or letter.
    x_m, y_m : float
    crown_m : float
        Crown to be drawn round it; 0 for none. [m]
    """

    mark: str
    x_m: float
    y_m: float
    crown_m: float = 0.0


@dataclass(frozen=True)
class LegendLine:
    """One pattern of the map."""

    swatch: Markup
    words: str
    share: str
    """How much of the free ground is so."""


@dataclass(frozen=True)
class Map:
    """The drawing and its legend."""

    picture: Markup
    legend: tuple[LegendLine, ...]


def map_of(
    yard: Yard,
    household: Household,
    raster: Raster,
    lives: NDArray[np.float64] | None,
    signs: Sequence[Sign],
    summary: str,
    *,
    name: str,
) -> Map:
    """Draw a yard with what its places do to a kind.

    Parameters
    ----------
    yard : Yard
    household : Household
        For the scale bar.
    raster : Raster
    lives : ndarray, shape (cell,), or None
        Chance to live ten winters; None draws no raster. [-]
    signs : sequence of Sign
    summary : str
        The drawing in a sentence.
    name : str
        Short and unique on the page, for the ids of its patterns.
    """
    planted = [tree for tree in yard.trees if tree.container is None]
    frame = frame_of(yard, [tree.position for tree in planted], WIDTH)
    spots = [frame.at((sign.x_m, sign.y_m)) for sign in signs]
    shown = spread(
        spots,
        apart=2 * SIGN_RADIUS + 3,
        fixed=[],
        low=(SIGN_RADIUS + 1, SIGN_RADIUS + 2),
        high=(frame.width - SIGN_RADIUS - 1, frame.height - FOOT),
    )
    classes = None if lives is None else classes_of(raster, lives)
    picture = tag(
        "svg",
        patterns(),
        hatches(name),
        tag("polygon", class_="ground", points=points(frame.all(yard.outline))),
        *([] if classes is None else _cells(raster, classes, frame, name)),
        *(structure_shape(one, frame) for one in sorted(yard.structures, key=lambda one: PAINT_ORDER[one.kind])),
        *(shelter_shape(shelter, frame) for shelter in yard.shelters),
        *(
            tag("circle", class_="crown", cx=x, cy=y, r=max(tree.crown_diameter_m / 2 * frame.scale, 2.0))
            for tree in planted
            for x, y in [frame.at(tree.position)]
        ),
        *(_sign(sign, spot, at, frame) for sign, spot, at in zip(signs, spots, shown, strict=True)),
        north_arrow(frame),
        scale_bar(frame, household),
        class_="yard placing-map",
        viewBox=f"0 0 {frame.width:.0f} {frame.height:.0f}",
        role="img",
        aria_label=summary,
    )
    return Map(picture, () if classes is None else _legend(raster, classes, name))


def classes_of(raster: Raster, lives: NDArray[np.float64]) -> NDArray[np.int64]:
    """Give the class of each free cell, 0 to 4; -1 for those where nothing is planted, shape (cell,)."""
    found = np.searchsorted(CLASSES, np.nan_to_num(lives, nan=0.0), side="right")
    return np.where(raster.free & np.isfinite(lives), found, -1).astype(np.int64)


def _cells(raster: Raster, classes: NDArray[np.int64], frame: Frame, name: str) -> list[Markup]:
    """Draw the cells of each class as one path: neighbours of a row joined, so that it stays small."""
    side = raster.cell_m * frame.scale
    parts: list[Markup] = []
    grid = classes.reshape(raster.rows, raster.columns)
    for one in range(len(CLASSES) + 1):
        runs = []
        for row in range(raster.rows):
            here = np.concatenate([[False], grid[row] == one, [False]])
            edges = np.flatnonzero(here[1:] != here[:-1])
            for first, last in zip(edges[::2], edges[1::2], strict=True):
                at = row * raster.columns + int(first)
                x, y = frame.at((float(raster.x_m[at]), float(raster.y_m[at])))
                width = number(side * (last - first))
                runs.append(f"M{number(x - side / 2)} {number(y - side / 2)}h{width}v{number(side)}h-{width}z")
        if runs:
            path = "".join(runs)
            parts.append(tag("path", class_=f"place-bed-{one}", d=path))
            if one < len(CLASSES):
                parts.append(tag("path", d=path, fill=f"url(#{name}-hatch-{one})"))
    return [tag("g", *parts, aria_hidden="true")]


def hatches(name: str) -> Markup:
    """Define the patterns of the classes."""
    drawn = (
        (5.0, "M0 0l5 5M5 0l-5 5"),
        (4.0, "M0 4l4 -4M-1 1l2 -2M3 5l2 -2"),
        (9.0, "M0 9l9 -9M-1 1l2 -2M8 10l2 -2"),
        (8.0, "M3.2 4h1.6"),
    )
    return tag(
        "defs",
        *(
            tag(
                "pattern",
                tag("path", class_=f"place-hatch-{one}", d=path),
                id=f"{name}-hatch-{one}",
                width=size,
                height=size,
                patternUnits="userSpaceOnUse",
            )
            for one, (size, path) in enumerate(drawn)
        ),
    )


def _legend(raster: Raster, classes: NDArray[np.int64], name: str) -> tuple[LegendLine, ...]:
    """Give every class with its share of the free ground, the best first."""
    free = max(int((classes >= 0).sum()), 1)
    return tuple(
        LegendLine(
            _swatch(one, name),
            say(CLASS_WORDS[one]),
            say("{share} % of the free ground", share=f"{100.0 * float((classes == one).sum()) / free:.0f}"),
        )
        for one in reversed(range(len(CLASS_WORDS)))
    )


def _swatch(one: int, name: str) -> Markup:
    box = {"x": 1, "y": 1, "width": 30, "height": 18}
    parts = [tag("rect", class_=f"place-bed-{one} place-edge", **box)]
    if one < len(CLASSES):
        parts.append(tag("rect", fill=f"url(#{name}-hatch-{one})", **box))
    return tag("svg", *parts, class_="swatch", viewBox="0 0 32 20", width=32, height=20, aria_hidden="true")


def _sign(sign: Sign, spot: tuple[float, float], at: tuple[float, float], frame: Frame) -> Markup:
    """Draw a numbered place, with its grown crown and a line where it had to move aside."""
    (x, y), (sx, sy) = spot, at
    parts = []
    if sign.crown_m > 0.0:
        parts.append(tag("circle", class_="place-crown", cx=x, cy=y, r=sign.crown_m / 2 * frame.scale))
    if abs(sx - x) + abs(sy - y) > 3.0:
        parts.append(tag("line", class_="leader", x1=x, y1=y, x2=sx, y2=sy))
        parts.append(tag("circle", class_="place-spot", cx=x, cy=y, r=2))
    parts.append(tag("circle", class_="place-sign", cx=sx, cy=sy, r=SIGN_RADIUS))
    parts.append(tag("text", sign.mark, class_="place-mark", x=sx, y=sy, dy="0.36em"))
    return tag("g", *parts)
