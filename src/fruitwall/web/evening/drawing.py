"""The yard from above: outline, structures, trees with what is done for them, north arrow and scale.

Trees carry their number, structures a letter; both are told in words beside the drawing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from math import hypot

from markupsafe import Markup

from fruitwall.service.evening_document import EveningPlan, TreePlan
from fruitwall.service.household import Household
from fruitwall.service.words import VERDICT_NAMES
from fruitwall.speech import say, say_count
from fruitwall.web.evening.marks import family_of, outline
from fruitwall.web.evening.spacing import Spot, roomiest, spread
from fruitwall.web.evening.strip import full_name
from fruitwall.web.plan.shapes import (
    FOOT,
    PAINT_ORDER,
    STRUCTURE_WORDS,
    corner_places,
    fixture_shape,
    fixtures_of,
    frame_of,
    label_places,
    letter_of,
    north_arrow,
    patterns,
    scale_bar,
    shelter_shape,
    structure_shape,
    swatch,
)
from fruitwall.web.svg import points, tag
from fruitwall.yard.model import Yard

MARK_RADIUS = 9.5


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
    frame = frame_of(yard, [tree.position for tree in plan.trees], width)
    places = [frame.at(sign.position) for sign in signs]

    labels: list[tuple[str, Spot]] = []
    key: list[KeyEntry] = []

    def name(kind: str, label: str, candidates: list[Spot]) -> None:
        letter = letter_of(len(key))
        labels.append((letter, roomiest(candidates, [*places, *(spot for _, spot in labels)])))
        # "Pond: pond" would say nothing.
        words = say(STRUCTURE_WORDS[kind])
        words = words if words.lower() != label.lower() else ""
        key.append(KeyEntry(letter, label, words, swatch(kind)))

    shapes = [tag("polygon", class_="ground", points=points(frame.all(yard.outline)))]
    for structure in sorted(yard.structures, key=lambda one: PAINT_ORDER[one.kind]):
        shapes.append(structure_shape(structure, frame))
        name(structure.kind, structure.name, label_places(structure, frame))
    for shelter in yard.shelters:
        shapes.append(shelter_shape(shelter, frame))
        name("shelter", shelter.name, corner_places(frame.all(shelter.outline)))
    fixtures = fixtures_of(yard)
    corner = (frame.width, frame.height - FOOT)
    stands = spread([frame.at(spot) for _, _, spot in fixtures], apart=16, fixed=[], low=(8, 8), high=corner)
    for (kind, label, _), (x, y) in zip(fixtures, stands, strict=True):
        shapes.append(fixture_shape(kind, x, y))
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
        patterns(),
        *shapes,
        *crowns,
        *leaders,
        *letters,
        *marks,
        north_arrow(frame),
        scale_bar(frame, household),
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


def _mark(tree: TreePlan, spot: Spot, *, tree_number: int) -> Markup:
    """Draw a tree's sign, a link to its entry, with more room around it for a finger."""
    x, y = spot
    verdict = tree.verdict_with_plan
    words = say(
        "{number} {name}: {measure}; {verdict} with the plan",
        number=tree_number,
        name=full_name(tree),
        measure=tree.measure_name,
        verdict=say(VERDICT_NAMES[verdict]),
    )
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


def _summary(plan: EveningPlan, yard: Yard, household: Household) -> str:
    """Tell the drawing in words."""
    xs, ys = [x for x, _ in yard.outline], [y for _, y in yard.outline]
    across, deep = household.length(max(xs) - min(xs)), household.length(max(ys) - min(ys))
    return say_count(
        "{yard} from above, {across} from west to east and {deep} from south to north, north at the top, "
        "with {count} numbered tree. The list of trees tells the same in words.",
        "{yard} from above, {across} from west to east and {deep} from south to north, north at the top, "
        "with {count} numbered trees. The list of trees tells the same in words.",
        len(plan.trees),
        yard=yard.name,
        across=across,
        deep=deep,
    )
