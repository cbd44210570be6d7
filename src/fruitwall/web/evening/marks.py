"""Signs for measures and verdicts: a shape for what is done, a fill for what remains.

The same few signs stand in the drawing of the yard, in the list of trees and in the legend.
"""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from fruitwall.speech import marked
from fruitwall.web.svg import points, tag


@dataclass(frozen=True)
class Family:
    """A kind of measure that has one shape."""

    key: str
    name: str
    """What the shape says, in words."""


LEAVE = Family("leave", marked("left as it is"))
GROUND = Family("ground", marked("ground watered"))
COVER = Family("cover", marked("covered"))
WARM = Family("warm", marked("covered and warmed"))
SHELTER = Family("shelter", marked("standing shelter closed"))
MOVE = Family("move", marked("moved to a warmer place or indoors"))
OTHER = Family("other", marked("something else, such as fruit picked"))

FAMILIES = (LEAVE, GROUND, COVER, WARM, SHELTER, MOVE, OTHER)

PARTS: tuple[tuple[str, Family], ...] = (
    ("carry", MOVE),
    ("roof", MOVE),
    ("wall", MOVE),
    ("lamps", WARM),
    ("heater", WARM),
    ("shelter", SHELTER),
    ("cover", COVER),
    ("together", COVER),
    ("wet", GROUND),
    ("leave", LEAVE),
)
"""Parts of a measure's key by which its family is known; the first that occurs wins."""

VERDICTS = {
    "safe": marked("safe: chance of burnt leaf under 5 %, of fruit lost under 10 %"),
    "watch": marked("watch: chance of burnt leaf 5 to 30 %, or 10 to 30 % of the fruit lost"),
    "danger": marked("danger: burnt leaf likelier than 30 %, or over 30 % of the fruit lost"),
    "deadly": marked("deadly: chance of losing the tree over 10 %"),
}


def family_of(measure: str) -> Family:
    """Give the family of a measure by its key, such as leave, carry:shed or cover:fleece_medium+lamps:red."""
    parts = {part.partition(":")[0] for part in measure.split("+")}
    return next((family for part, family in PARTS if part in parts), OTHER)


def does_something(measure: str) -> bool:
    """Tell whether a measure asks for any work."""
    return family_of(measure) is not LEAVE


def outline(family: Family, x: float, y: float, radius: float, *, class_: str) -> Markup:
    """Draw the shape of a family around a point.

    Parameters
    ----------
    family : Family
    x, y : float
        Middle of the shape, in the units of the picture.
    radius : float
        Half of its size.
    class_ : str
        Classes that give fill and edge.

    Returns
    -------
    Markup
    """
    r = radius
    if family in (COVER, WARM):
        side = r * 0.92
        shape = tag("rect", class_=class_, x=x - side, y=y - side, width=2 * side, height=2 * side, rx=r * 0.12)
        if family is COVER:
            return shape
        flame = [(x - r * 0.42, y - side), (x, y - side - r * 0.62), (x + r * 0.42, y - side)]
        return tag("g", tag("polygon", class_=class_, points=points(flame)), shape)
    if family is MOVE:
        roof = [
            (x - r, y - r * 0.35),
            (x, y - r * 1.25),
            (x + r, y - r * 0.35),
            (x + r, y + r * 0.9),
            (x - r, y + r * 0.9),
        ]
        return tag("polygon", class_=class_, points=points(roof))
    if family is SHELTER:
        hoop = f"M{x - r:.2f} {y + r * 0.9:.2f}V{y:.2f}a{r:.2f} {r * 1.1:.2f} 0 0 1 {2 * r:.2f} 0v{r * 0.9:.2f}z"
        return tag("path", class_=class_, d=hoop)
    if family is OTHER:
        lozenge = [(x, y - r * 1.3), (x + r * 1.3, y), (x, y + r * 1.3), (x - r * 1.3, y)]
        return tag("polygon", class_=class_, points=points(lozenge))
    circle = tag("circle", class_=class_, cx=x, cy=y, r=r)
    if family is GROUND:
        wave = f"M{x - r:.2f} {y + r * 1.45:.2f}q{r * 0.5:.2f} {-r * 0.5:.2f} {r:.2f} 0t{r:.2f} 0"
        return tag("g", circle, tag("path", class_="wave", d=wave))
    return circle


def badge(number: int, measure: str, verdict: str) -> Markup:
    """Draw a tree's sign with its number, as it stands beside its name; its meaning stands beside it in words."""
    return tag(
        "svg",
        outline(family_of(measure), 16, 16.5, 10.5, class_=f"mark {verdict}"),
        tag(
            "text",
            str(number),
            class_=f"mark-number {verdict}{' long' if number > 99 else ''}",
            x=16,
            y=16.5,
            dy="0.36em",
        ),
        class_="badge",
        viewBox="0 0 32 32",
        width=32,
        height=32,
        aria_hidden="true",
    )
