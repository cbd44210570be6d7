"""How the things of a yard are drawn from above: shapes, textures, north arrow and scale bar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot
from string import ascii_uppercase
from typing import assert_never

from markupsafe import Markup

from fruitwall.service.household import FEET_PER_METRE, NO_BREAK, Household
from fruitwall.speech import marked, say
from fruitwall.web.svg import points, tag
from fruitwall.yard.model import (
    Building,
    Canopy,
    Fence,
    Hollow,
    Paving,
    Pond,
    Roof,
    Shelter,
    Structure,
    Wall,
    Yard,
)

Spot = tuple[float, float]
"""A place of the drawing, in its own units."""

EDGE = 14.0
"""Empty border of the drawing, in its own units; on a phone one unit is about one CSS pixel."""
FOOT = 34.0
"""Height of the strip below the yard that holds scale and north arrow."""
STRUCTURE_WORDS = {
    "wall": marked("wall"),
    "building": marked("building"),
    "roof": marked("roof"),
    "paving": marked("paving"),
    "canopy": marked("crown of a large tree"),
    "fence": marked("fence or hedge"),
    "pond": marked("pond"),
    "hollow": marked("cold-air hollow"),
    "shelter": marked("standing shelter"),
    "gear": marked("where the gear is kept"),
    "indoors": marked("indoor place"),
    "outlet": marked("outdoor outlet"),
}


PAINT_ORDER = {"hollow": 0, "paving": 1, "pond": 2, "building": 3, "roof": 4, "fence": 5, "wall": 6, "canopy": 7}
"""What is painted first lies below."""


@dataclass(frozen=True)
class Frame:
    """Turns the yard's metres into the units of the drawing (y downwards)."""

    left_m: float
    top_m: float
    scale: float
    width: float
    height: float

    def at(self, point: tuple[float, float]) -> Spot:
        """Give where a point of the yard lies in the drawing."""
        return EDGE + (point[0] - self.left_m) * self.scale, EDGE + (self.top_m - point[1]) * self.scale

    def all(self, line: list[tuple[float, float]]) -> list[Spot]:
        """Give where the points of a line lie."""
        return [self.at(point) for point in line]

    def back(self, spot: Spot) -> tuple[float, float]:
        """Give which point of the yard lies at a place of the drawing. [m, m]"""
        return self.left_m + (spot[0] - EDGE) / self.scale, self.top_m - (spot[1] - EDGE) / self.scale


def frame_of(yard: Yard, trees: Sequence[tuple[float, float]], width: float) -> Frame:
    """Fit everything that is drawn into the width.

    Parameters
    ----------
    yard : Yard
    trees : sequence of (x, y)
        Where its trees stand. [m]
    width : float
        Of the drawing, in its own units.

    Returns
    -------
    Frame
    """
    spots = [*yard.outline, yard.gear_store, *trees]
    for structure in yard.structures:
        if isinstance(structure, Wall | Fence):
            spots += structure.line
        elif not isinstance(structure, Canopy):
            spots += structure.outline
    left, right = min(x for x, _ in spots), max(x for x, _ in spots)
    bottom, top = min(y for _, y in spots), max(y for _, y in spots)
    scale = (width - 2 * EDGE) / max(right - left, (top - bottom) / 2.2, 1.0)
    across = (right - left) * scale
    return Frame(
        left_m=left - (width - 2 * EDGE - across) / 2 / scale,
        top_m=top,
        scale=scale,
        width=width,
        height=(top - bottom) * scale + 2 * EDGE + FOOT,
    )


def structure_shape(structure: Structure, frame: Frame) -> Markup:
    """Draw one structure."""
    match structure:
        case Wall():
            thick = max(structure.thickness_m * frame.scale, 4.0)
            return tag("polyline", class_="wall", points=points(frame.all(structure.line)), stroke_width=thick)
        case Fence():
            return tag("polyline", class_="fence", points=points(frame.all(structure.line)))
        case Canopy():
            x, y = frame.at(structure.position)
            return tag("circle", class_="canopy", cx=x, cy=y, r=structure.crown_diameter_m / 2 * frame.scale)
        case Building() | Roof() | Paving() | Pond() | Hollow():
            return _area(structure.kind, frame.all(structure.outline))
        case _:
            assert_never(structure)


def _area(kind: str, spots: list[Spot]) -> Markup:
    """Draw an area; those with a pattern get a plain bed under it."""
    where = points(spots)
    bed = tag("polygon", class_=kind, points=where)
    if kind in ("roof", "hollow", "paving", "pond"):
        return tag("g", bed, tag("polygon", points=where, fill=f"url(#{kind}-pattern)"))
    return bed


def shelter_shape(shelter: Shelter, frame: Frame) -> Markup:
    """Draw a standing shelter: a double edge, as of a frame and its cover."""
    where = points(frame.all(shelter.outline))
    return tag(
        "g", tag("polygon", class_="shelter", points=where), tag("polygon", class_="shelter-inner", points=where)
    )


def fixture_shape(kind: str, x: float, y: float) -> Markup:
    """Draw a small fixed thing."""
    if kind == "gear":
        return tag("path", class_="fixture", d=f"M{x - 4:.2f} {y - 4:.2f}l8 8m0 -8l-8 8")
    if kind == "indoors":
        return tag("path", class_="fixture", d=f"M{x - 4:.2f} {y + 4:.2f}v-8h8v8")
    return tag(
        "g",
        tag("circle", class_="fixture", cx=x, cy=y, r=4),
        tag("path", class_="fixture", d=f"M{x - 1.5:.2f} {y - 1.5:.2f}v3m3 -3v3"),
    )


def north_arrow(frame: Frame) -> Markup:
    """Draw the north arrow at the lower right."""
    x, y = frame.width - EDGE - 6, frame.height - 14
    return tag(
        "g",
        tag("path", class_="north", d=f"M{x:.2f} {y - 11:.2f}l5 15l-5 -3.5l-5 3.5z"),
        tag("text", "N", class_="scale", x=x - 14, y=y, text_anchor="middle"),
        aria_hidden="true",
    )


def scale_bar(frame: Frame, household: Household) -> Markup:
    """Draw a scale bar of a round length at the lower left."""
    feet = household.display.length == "ft"
    per_unit = frame.scale / FEET_PER_METRE if feet else frame.scale
    longest = frame.width * 0.3 / per_unit
    length = max((step for step in (1, 2, 5, 10, 20, 50, 100, 200, 500) if step <= longest), default=1)
    x, y, width = EDGE, frame.height - 12, length * per_unit
    unit = "ft" if feet else "m"
    return tag(
        "g",
        tag("path", class_="scale-bar", d=f"M{x:.2f} {y - 5:.2f}v5h{width:.2f}v-5"),
        tag("text", f"{length}{NO_BREAK}{unit}", class_="scale", x=x + width + 7, y=y),
        aria_hidden="true",
    )


def patterns() -> Markup:
    """Define the textures of areas."""

    def pattern(kind: str, size: float, *parts: Markup, turn: str | None = None) -> Markup:
        return tag(
            "pattern",
            *parts,
            id=f"{kind}-pattern",
            width=size,
            height=size,
            patternUnits="userSpaceOnUse",
            patternTransform=turn,
        )

    return tag(
        "defs",
        pattern("roof", 6, tag("path", class_="texture", d="M0 0v6"), turn="rotate(45)"),
        pattern("hollow", 7, tag("path", class_="texture cold", d="M0 2h4")),
        pattern("paving", 7, tag("path", class_="texture", d="M0 3.5h7M3.5 0v3.5M0 3.5v3.5")),
        pattern("pond", 10, tag("path", class_="texture water", d="M0 5q2.5 -2.5 5 0t5 0")),
    )


def swatch(kind: str) -> Markup:
    """Draw a small sample of how a kind of thing is drawn."""
    box: list[Spot] = [(3, 5), (29, 5), (29, 19), (3, 19)]
    match kind:
        case "wall":
            part = tag("polyline", class_="wall", points="3,12 29,12", stroke_width=5)
        case "fence":
            part = tag("polyline", class_="fence", points="3,12 29,12")
        case "canopy":
            part = tag("circle", class_="canopy", cx=16, cy=12, r=9)
        case "shelter":
            where = points(box)
            part = tag(
                "g",
                tag("polygon", class_="shelter", points=where),
                tag("polygon", class_="shelter-inner", points=where),
            )
        case "gear" | "indoors" | "outlet":
            part = fixture_shape(kind, 16, 12)
        case _:
            part = _area(kind, box)
    return tag("svg", part, class_="swatch", viewBox="0 0 32 24", width=32, height=24, aria_hidden="true")


def letter_of(index: int) -> str:
    """Give the letters A to Z, then AA, AB ..."""
    if index < 26:
        return ascii_uppercase[index]
    return ascii_uppercase[index // 26 - 1] + ascii_uppercase[index % 26]


def fixtures_of(yard: Yard) -> list[tuple[str, str, tuple[float, float]]]:
    """List small fixed things: gear store, indoor places, outlets."""
    fixtures = [("gear", say("Covers and gear"), yard.gear_store)]
    fixtures += [("indoors", place.name, place.position) for place in yard.indoor_places]
    fixtures += [("outlet", circuit.name, circuit.outlet) for circuit in yard.circuits]
    return fixtures


def label_places(structure: Structure, frame: Frame) -> list[Spot]:
    """Give places where the letter of a structure may stand."""
    if isinstance(structure, Wall | Fence):
        spots = frame.all(structure.line)
        places = [place for start, end in pairwise(spots) for place in _beside(start, end)]
        inside = [(x, y) for x, y in places if 6 < x < frame.width - 6 and 6 < y < frame.height - FOOT]
        return inside or places
    if isinstance(structure, Canopy):
        x, y = frame.at(structure.position)
        r = structure.crown_diameter_m / 2 * frame.scale * 0.72
        ring = [(x, y), (x - r, y), (x + r, y), (x, y - r), (x, y + r)]
        return [(x, y) for x, y in ring if 6 < x < frame.width - 6 and 6 < y < frame.height - FOOT] or [(x, y)]
    return corner_places(frame.all(structure.outline))


def _beside(start: Spot, end: Spot) -> list[Spot]:
    """Give places on both sides of a line."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    aside = 9 / max(hypot(dx, dy), 1.0)
    return [
        (start[0] + dx * share - side * dy * aside, start[1] + dy * share + side * dx * aside)
        for share in (0.06, 0.25, 0.5, 0.75, 0.94)
        for side in (1, -1)
    ]


def corner_places(spots: list[Spot]) -> list[Spot]:
    """Give the middle of an area and places towards its corners."""
    x = sum(spot[0] for spot in spots) / len(spots)
    y = sum(spot[1] for spot in spots) / len(spots)
    return [(x, y), *((x + (at_x - x) * 0.6, y + (at_y - y) * 0.6) for at_x, at_y in spots)]
