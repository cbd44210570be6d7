"""The yard from above: outline, structures, trees with what is done for them, north arrow and scale.

Trees carry their number, structures a letter; both are told in words beside the drawing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from math import hypot
from string import ascii_uppercase
from typing import assert_never

from markupsafe import Markup

from fruitwall.service.evening_document import EveningPlan, TreePlan
from fruitwall.service.household import FEET_PER_METRE, NO_BREAK, Household
from fruitwall.web.evening.marks import family_of, outline
from fruitwall.web.evening.spacing import Spot, roomiest, spread
from fruitwall.web.evening.strip import full_name
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

EDGE = 14.0
"""Empty border of the drawing, in its own units; on a phone one unit is about one CSS pixel."""
FOOT = 34.0
"""Height of the strip below the yard that holds scale and north arrow."""
MARK_RADIUS = 9.5

STRUCTURE_WORDS = {
    "wall": "wall",
    "building": "building",
    "roof": "roof",
    "paving": "paving",
    "canopy": "crown of a large tree",
    "fence": "fence or hedge",
    "pond": "pond",
    "hollow": "cold-air hollow",
    "shelter": "standing shelter",
    "gear": "where the gear is kept",
    "indoors": "indoor place",
    "outlet": "outdoor outlet",
}


@dataclass(frozen=True)
class KeyEntry:
    """What one letter of the drawing means."""

    letter: str
    name: str
    kind: str
    """What sort of thing it is, in words."""
    swatch: Markup
    """A small picture of how such things are drawn."""


@dataclass(frozen=True)
class Drawing:
    """The yard from above."""

    picture: Markup
    summary: str
    """The drawing in words."""
    size: str
    """"small", "medium" or "large": how wide it must be for its signs to stay apart."""
    key: list[KeyEntry]


@dataclass(frozen=True)
class Sign:
    """Something numbered in the drawing, which may make room for others."""

    position: tuple[float, float]
    """Where it belongs in the yard. [m, m]"""
    draw: Callable[[Spot], Markup]
    """Draws it around a point of the drawing."""


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


def drawing_of(plan: EveningPlan, yard: Yard, household: Household, numbers: dict[str, int]) -> Drawing:
    """Draw a yard with its plan.

    Parameters
    ----------
    plan : EveningPlan
    yard : Yard
        Only what stands; trees are taken from the plan.
    household : Household
        For the scale bar.
    numbers : dict
        Number of each tree by its id.

    Returns
    -------
    Drawing
    """
    signs = [Sign(tree.position, partial(_mark, tree, tree_number=numbers[tree.id])) for tree in plan.trees]
    return draw_yard(plan, yard, household, signs, _summary(plan, yard, household), role="group")


def draw_yard(
    plan: EveningPlan, yard: Yard, household: Household, signs: Sequence[Sign], summary: str, *, role: str
) -> Drawing:
    """Draw a yard, the crowns of its trees, and signs over them.

    Parameters
    ----------
    plan : EveningPlan
        For its trees.
    yard : Yard
    household : Household
    signs : sequence of Sign
    summary : str
        The drawing in words.
    role : str
        "group" if its signs can be followed, else "img".

    Returns
    -------
    Drawing
    """
    size, width = _size(len(signs))
    frame = _frame(plan, yard, width)
    places = [frame.at(sign.position) for sign in signs]

    labels: list[tuple[str, Spot]] = []
    key: list[KeyEntry] = []

    def name(kind: str, label: str, candidates: list[Spot]) -> None:
        letter = _letter(len(key))
        labels.append((letter, roomiest(candidates, [*places, *(spot for _, spot in labels)])))
        # "Pond: pond" would say nothing.
        words = STRUCTURE_WORDS[kind] if STRUCTURE_WORDS[kind].lower() != label.lower() else ""
        key.append(KeyEntry(letter, label, words, swatch(kind)))

    shapes = [tag("polygon", class_="ground", points=points(frame.all(yard.outline)))]
    order = {"hollow": 0, "paving": 1, "pond": 2, "building": 3, "roof": 4, "fence": 5, "wall": 6, "canopy": 7}
    for structure in sorted(yard.structures, key=lambda one: order[one.kind]):
        shapes.append(_structure(structure, frame))
        name(structure.kind, structure.name, _label_places(structure, frame))
    for shelter in yard.shelters:
        shapes.append(_shelter(shelter, frame))
        name("shelter", shelter.name, _corners(frame.all(shelter.outline)))
    fixtures = _fixtures(yard)
    corner = (frame.width, frame.height - FOOT)
    stands = spread([frame.at(spot) for _, _, spot in fixtures], apart=16, fixed=[], low=(8, 8), high=corner)
    for (kind, label, _), (x, y) in zip(fixtures, stands, strict=True):
        shapes.append(_fixture(kind, x, y))
        name(kind, label, [(x + 11, y), (x - 11, y), (x, y - 11), (x, y + 11)])

    crowns = [
        tag("circle", class_="crown", cx=x, cy=y, r=max(tree.crown_diameter_m / 2 * frame.scale, 2.0))
        for tree in plan.trees
        for x, y in [frame.at(tree.position)]
    ]
    shown = spread(
        places,
        apart=2 * MARK_RADIUS + 4,
        fixed=[spot for _, spot in labels],
        low=(MARK_RADIUS + 1, MARK_RADIUS + 4),
        high=(frame.width - MARK_RADIUS - 1, frame.height - FOOT - MARK_RADIUS + 6),
    )
    leaders = [
        tag("line", class_="leader", x1=x, y1=y, x2=to_x, y2=to_y)
        for (x, y), (to_x, to_y) in zip(places, shown, strict=True)
        if hypot(to_x - x, to_y - y) > MARK_RADIUS * 0.6
    ]
    letters = [tag("text", letter, class_="letter", x=x, y=y, dy="0.36em") for letter, (x, y) in labels]
    marks = [sign.draw(spot) for sign, spot in zip(signs, shown, strict=True)]
    picture = tag(
        "svg",
        _patterns(),
        *shapes,
        *crowns,
        *leaders,
        *letters,
        *marks,
        _north(frame),
        _scale_bar(frame, household),
        class_="yard",
        viewBox=f"0 0 {frame.width:.0f} {frame.height:.0f}",
        role=role,
        aria_label=summary,
    )
    return Drawing(picture, summary, size, key)


def _size(trees: int) -> tuple[str, float]:
    """Choose how wide to draw: many signs need room, and a phone then scrolls the drawing in its own box."""
    if trees <= 45:
        return "small", 358.0
    return ("medium", 560.0) if trees <= 90 else ("large", 860.0)


def _frame(plan: EveningPlan, yard: Yard, width: float) -> Frame:
    """Fit everything that is drawn into the width."""
    spots = [*yard.outline, yard.gear_store, *(tree.position for tree in plan.trees)]
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


def _letter(index: int) -> str:
    """Give the letters A to Z, then AA, AB ..."""
    if index < 26:
        return ascii_uppercase[index]
    return ascii_uppercase[index // 26 - 1] + ascii_uppercase[index % 26]


def _structure(structure: Structure, frame: Frame) -> Markup:
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


def _shelter(shelter: Shelter, frame: Frame) -> Markup:
    """Draw a standing shelter: a double edge, as of a frame and its cover."""
    where = points(frame.all(shelter.outline))
    return tag(
        "g", tag("polygon", class_="shelter", points=where), tag("polygon", class_="shelter-inner", points=where)
    )


def _fixtures(yard: Yard) -> list[tuple[str, str, tuple[float, float]]]:
    """List small fixed things: gear store, indoor places, outlets."""
    fixtures = [("gear", "Covers and gear", yard.gear_store)]
    fixtures += [("indoors", place.name, place.position) for place in yard.indoor_places]
    fixtures += [("outlet", circuit.name, circuit.outlet) for circuit in yard.circuits]
    return fixtures


def _fixture(kind: str, x: float, y: float) -> Markup:
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


def _label_places(structure: Structure, frame: Frame) -> list[Spot]:
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
    return _corners(frame.all(structure.outline))


def _beside(start: Spot, end: Spot) -> list[Spot]:
    """Give places on both sides of a line."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    aside = 9 / max(hypot(dx, dy), 1.0)
    return [
        (start[0] + dx * share - side * dy * aside, start[1] + dy * share + side * dx * aside)
        for share in (0.06, 0.25, 0.5, 0.75, 0.94)
        for side in (1, -1)
    ]


def _corners(spots: list[Spot]) -> list[Spot]:
    """Give the middle of an area and places towards its corners."""
    x = sum(spot[0] for spot in spots) / len(spots)
    y = sum(spot[1] for spot in spots) / len(spots)
    return [(x, y), *((x + (at_x - x) * 0.6, y + (at_y - y) * 0.6) for at_x, at_y in spots)]


def _mark(tree: TreePlan, spot: Spot, *, tree_number: int) -> Markup:
    """Draw a tree's sign, a link to its entry, with more room around it for a finger."""
    x, y = spot
    words = f"{tree_number} {full_name(tree)}: {tree.measure_name}; {tree.verdict_with_plan} with the plan"
    verdict = tree.verdict_with_plan
    return tag(
        "a",
        tag("circle", class_="touch", cx=x, cy=y, r=15),
        outline(family_of(tree.measure), x, y, MARK_RADIUS, class_=f"mark {verdict}"),
        tag(
            "text",
            str(tree_number),
            class_=f"mark-number {verdict}{' long' if tree_number > 99 else ''}",
            x=x,
            y=y,
            dy="0.36em",
        ),
        class_="tree",
        href=f"#tree-{tree.id}",
        aria_label=words,
    )


def _north(frame: Frame) -> Markup:
    """Draw the north arrow at the lower right."""
    x, y = frame.width - EDGE - 6, frame.height - 14
    return tag(
        "g",
        tag("path", class_="north", d=f"M{x:.2f} {y - 11:.2f}l5 15l-5 -3.5l-5 3.5z"),
        tag("text", "N", class_="scale", x=x - 14, y=y, text_anchor="middle"),
        aria_hidden="true",
    )


def _scale_bar(frame: Frame, household: Household) -> Markup:
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


def _patterns() -> Markup:
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
            part = _fixture(kind, 16, 12)
        case _:
            part = _area(kind, box)
    return tag("svg", part, class_="swatch", viewBox="0 0 32 24", width=32, height=24, aria_hidden="true")


def _summary(plan: EveningPlan, yard: Yard, household: Household) -> str:
    """Tell the drawing in words."""
    xs, ys = [x for x, _ in yard.outline], [y for _, y in yard.outline]
    across, deep = household.length(max(xs) - min(xs)), household.length(max(ys) - min(ys))
    return (
        f"{yard.name} from above, {across} from west to east and {deep} from south to north, north at the top, "
        f"with {len(plan.trees)} numbered trees. The list of trees tells the same in words."
    )
