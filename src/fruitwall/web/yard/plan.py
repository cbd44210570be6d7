"""The yard from above as a drawing of which every part can be picked.

Geometry for the script stands in ``data-`` attributes, in metres of the yard; without the script each part is a link
to its form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

from markupsafe import Markup

from fruitwall.service.household import Household
from fruitwall.service.yard_edit import GEAR, OUTLINE
from fruitwall.service.yard_layers import Layer
from fruitwall.service.yard_underlay import Underlay
from fruitwall.service.yard_words import KIND_WORDS
from fruitwall.speech import say
from fruitwall.web.evening.spacing import roomiest, spread
from fruitwall.web.plan.shapes import (
    EDGE,
    FOOT,
    PAINT_ORDER,
    Frame,
    Spot,
    corner_places,
    fixture_shape,
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
from fruitwall.web.yard.values import cell_text, shade_of, value_text, verdict_of
from fruitwall.yard.model import Canopy, Structure, Tree, Yard

SIGN_RADIUS = 9.5
TOUCH_RADIUS = 22.0
"""A finger gets 44 units across; on a phone a unit is about a pixel."""


@dataclass(frozen=True)
class Listed:
    """One thing in the list beside the drawing."""

    thing: str
    mark: str
    """Its number or letter in the drawing."""
    name: str
    kind: str
    swatch: Markup | None = None


@dataclass(frozen=True)
class Plan:
    """The drawing and what is in it."""

    picture: Markup
    trees: list[Listed]
    others: list[Listed]
    summary: str


def plan_of(
    yard: Yard, household: Household, *, picked: str | None, layer: Layer | None, underlay: Underlay | None
) -> Plan:
    """Draw a yard.

    Parameters
    ----------
    yard : Yard
    household : Household
        For scale bar and numbers.
    picked : str or None
        Id of the thing that is picked.
    layer : Layer or None
        Values to show over it.
    underlay : Underlay or None
        Picture to lie under it.

    Returns
    -------
    Plan
    """
    width = 358.0 if len(yard.trees) <= 45 else 560.0 if len(yard.trees) <= 90 else 860.0
    frame = frame_of(yard, [tree.position for tree in yard.trees], width)
    others, shapes, labels = _others(yard, frame, picked)
    spots = [frame.at(tree.position) for tree in yard.trees]
    shown = spread(
        spots,
        apart=2 * SIGN_RADIUS + 4,
        fixed=[spot for _, spot in labels],
        low=(SIGN_RADIUS + 1, SIGN_RADIUS + 4),
        high=(frame.width - SIGN_RADIUS - 1, frame.height - FOOT - SIGN_RADIUS + 6),
    )
    trees = [
        _tree(tree, number, spot, sign, frame, household, layer=layer, picked=picked)
        for number, (tree, spot, sign) in enumerate(zip(yard.trees, spots, shown, strict=True), start=1)
    ]
    summary = _summary(yard, household)
    feet = household.display.length == "ft"
    picture = tag(
        "svg",
        patterns(),
        _boundary(yard, frame, picked),
        _underlay(underlay, frame) if underlay is not None and underlay.placed else Markup(""),
        _grid(frame, yard),
        *shapes,
        _raster(layer, frame, household, yard) if layer is not None else Markup(""),
        *(tag("text", letter, class_="letter", x=x, y=y, dy="0.36em") for letter, (x, y) in labels),
        *trees,
        north_arrow(frame),
        scale_bar(frame, household),
        class_="yard plan",
        viewBox=f"0 0 {frame.width:.0f} {frame.height:.0f}",
        role="group",
        aria_label=summary,
        data_left=f"{frame.left_m:.6f}",
        data_top=f"{frame.top_m:.6f}",
        data_scale=f"{frame.scale:.6f}",
        data_edge=f"{EDGE:g}",
        data_per_metre=f"{1 / 0.3048 if feet else 1:.9f}",
        data_corner_words=say("Corner {number}"),
    )
    listed = [
        Listed(tree.id, str(number), tree.name, say(KIND_WORDS["tree"])) for number, tree in enumerate(yard.trees, 1)
    ]
    return Plan(picture, listed, others, summary)


def _summary(yard: Yard, household: Household) -> str:
    xs, ys = [x for x, _ in yard.outline], [y for _, y in yard.outline]
    return say(
        "{yard} from above, {across} from west to east and {deep} from south to north, north at the top. "
        "The list below holds everything that is drawn.",
        yard=yard.name,
        across=household.length(max(xs) - min(xs)),
        deep=household.length(max(ys) - min(ys)),
    )


def _metres(corners: Sequence[tuple[float, float]]) -> str:
    """Write corners for the script."""
    return " ".join(f"{x:.3f},{y:.3f}" for x, y in corners)


def _thing(
    thing: str, name: str, shape: str, corners: Sequence[tuple[float, float]], picked: str | None, *parts: Markup
) -> Markup:
    """Make a link of the parts of a thing; `shape` says which of its fields holds its corners."""
    return tag(
        "a",
        *parts,
        class_="thing picked" if thing == picked else "thing",
        href=f"/yard?pick={thing.replace('@', '%40')}#thing",
        aria_label=name,
        aria_current="true" if thing == picked else None,
        data_thing=thing,
        data_shape=shape,
        data_corners=_metres(corners),
    )


def _boundary(yard: Yard, frame: Frame, picked: str | None) -> Markup:
    """Draw the ground; its edge alone can be picked."""
    where = points(frame.all(yard.outline))
    return tag(
        "g",
        tag("polygon", class_="ground", points=where),
        _thing(
            OUTLINE,
            say(KIND_WORDS[OUTLINE]),
            "outline",
            yard.outline,
            picked,
            tag("polygon", class_="reach", points=where),
            tag("polygon", class_="boundary", points=where),
        ),
    )


def _others(yard: Yard, frame: Frame, picked: str | None) -> tuple[list[Listed], list[Markup], list[tuple[str, Spot]]]:
    """Draw all that is no tree; give what was drawn, the shapes, and letters with their places."""
    listed: list[Listed] = []
    shapes: list[Markup] = []
    labels: list[tuple[str, Spot]] = []
    trees = [frame.at(tree.position) for tree in yard.trees]

    def name(thing: str, label: str, kind: str, sample: str, candidates: list[Spot]) -> None:
        letter = letter_of(len(listed))
        labels.append((letter, roomiest(candidates, [*trees, *(spot for _, spot in labels)])))
        words = say(KIND_WORDS[kind])
        listed.append(Listed(thing, letter, label, words if words != label else "", swatch(sample)))

    for one in sorted(yard.structures, key=lambda one: PAINT_ORDER[one.kind]):
        shape, corners = _corners_of(one)
        reach = _reach(shape, frame.all(corners)) if shape == "line" else Markup("")
        shapes.append(_thing(one.id, one.name, shape, corners, picked, reach, structure_shape(one, frame)))
        name(one.id, one.name, one.kind, one.kind, label_places(one, frame))
    for shelter in yard.shelters:
        shape = shelter_shape(shelter, frame)
        shapes.append(_thing(shelter.id, shelter.name, "outline", shelter.outline, picked, shape))
        name(shelter.id, shelter.name, "shelter", "shelter", corner_places(frame.all(shelter.outline)))
    fixtures = [(GEAR, say(KIND_WORDS[GEAR]), GEAR, "gear", yard.gear_store)]
    fixtures += [(one.id, one.name, "indoor_place", "indoors", one.position) for one in yard.indoor_places]
    fixtures += [(one.id, one.name, "circuit", "outlet", one.outlet) for one in yard.circuits]
    stands = spread(
        [frame.at(spot) for *_, spot in fixtures],
        apart=16,
        fixed=[],
        low=(8, 8),
        high=(frame.width, frame.height - FOOT),
    )
    for (thing, label, kind, sample, spot), (x, y) in zip(fixtures, stands, strict=True):
        reach = tag("circle", class_="reach", cx=x, cy=y, r=12)
        shapes.append(_thing(thing, label, "position", [spot], picked, reach, fixture_shape(sample, x, y)))
        name(thing, label, kind, sample, [(x + 11, y), (x - 11, y), (x, y - 11), (x, y + 11)])
    return listed, shapes, labels


def _corners_of(one: Structure) -> tuple[str, list[tuple[float, float]]]:
    """Give which field holds the shape of a structure, and its corners."""
    if isinstance(one, Canopy):
        return "position", [one.position]
    line = getattr(one, "line", None)
    return ("line", line) if line is not None else ("outline", one.outline)  # type: ignore[union-attr]


def _reach(shape: str, spots: list[Spot]) -> Markup:
    """Give an unseen broad line over a thin one, for a finger."""
    return tag("polyline" if shape == "line" else "polygon", class_="reach", points=points(spots))


def _tree(
    tree: Tree,
    number: int,
    spot: Spot,
    sign: Spot,
    frame: Frame,
    household: Household,
    *,
    layer: Layer | None,
    picked: str | None,
) -> Markup:
    """Draw a tree: crown, sign with its number or with its value in the layer, and a line between them."""
    x, y = sign
    text, words, verdict = str(number), f"{number} {tree.name}", ""
    if layer is not None and tree.id in layer.trees:
        value = layer.trees[tree.id]
        text = cell_text(layer.name, value, household)
        words = f"{words}: {value_text(layer.name, value, household)}"
        verdict = verdict_of(layer.name, value)
    far = hypot(spot[0] - x, spot[1] - y) > SIGN_RADIUS * 0.6
    long = " long" if len(text) > 2 else ""
    return _thing(
        tree.id,
        words,
        "position",
        [tree.position],
        picked,
        tag("circle", class_="touch", cx=x, cy=y, r=TOUCH_RADIUS, data_sign="yes"),
        tag("circle", class_="crown", cx=spot[0], cy=spot[1], r=max(tree.crown_diameter_m / 2 * frame.scale, 2.0)),
        tag("line", class_="leader", x1=spot[0], y1=spot[1], x2=x, y2=y) if far else Markup(""),
        tag("circle", class_=f"mark {verdict or 'safe'}", cx=x, cy=y, r=SIGN_RADIUS),
        tag("text", text, class_=f"mark-number {verdict}{long}".strip(), x=x, y=y, dy="0.36em"),
    )


def _grid(frame: Frame, yard: Yard) -> Markup:
    """Draw lines every five or more metres, numbers being those of the forms."""
    xs, ys = [x for x, _ in yard.outline], [y for _, y in yard.outline]
    step = next((one for one in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000) if one * frame.scale >= 40), 2000)
    low, high = (min(xs), min(ys)), (max(xs), max(ys))
    lines = []
    for axis in (0, 1):
        for at in range(int(low[axis] // step) * step, int(high[axis]) + step, step):
            if low[axis] < at < high[axis]:
                start = frame.at((at, low[1]) if axis == 0 else (low[0], at))
                end = frame.at((at, high[1]) if axis == 0 else (high[0], at))
                lines.append(f"M{start[0]:.1f} {start[1]:.1f}L{end[0]:.1f} {end[1]:.1f}")
    return tag("path", class_="grid", d="".join(lines), aria_hidden="true") if lines else Markup("")


def _raster(layer: Layer, frame: Frame, household: Household, yard: Yard) -> Markup:
    """Draw the cells of a layer: a shade and a number in each."""
    side = layer.step_m * frame.scale
    parts = []
    for x_m, y_m, value in layer.cells:
        x, y = frame.at((x_m, y_m))
        shade = f"cell {layer.name} shade-{shade_of(layer, value)}"
        parts.append(tag("rect", class_=shade, x=x - side / 2, y=y - side / 2, width=side, height=side))
        parts.append(tag("text", cell_text(layer.name, value, household), class_="cell-number", x=x, y=y, dy="0.36em"))
    inside = tag("clipPath", tag("polygon", points=points(frame.all(yard.outline))), id="yard-inside")
    return tag("g", inside, *parts, class_="raster", clip_path="url(#yard-inside)", aria_hidden="true")


def _underlay(underlay: Underlay, frame: Frame) -> Markup:
    """Lay the picture under the plan."""
    right, down, (x, y) = underlay.right_m, underlay.down_m, underlay.corner_m
    left, top = frame.at((x, y))
    k = frame.scale
    matrix = (right[0] * k, -right[1] * k, down[0] * k, -down[1] * k, left, top)
    return tag(
        "image",
        href=f"/yard/underlay/picture?{underlay.photo[:12]}",
        width=underlay.width,
        height=underlay.height,
        opacity=underlay.opacity,
        transform=f"matrix({' '.join(f'{one:.6f}' for one in matrix)})",
        preserveAspectRatio="none",
        class_="underlay",
        aria_hidden="true",
    )
