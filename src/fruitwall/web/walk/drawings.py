"""A small drawing for each grade of injury: one crown, told apart by shapes alone.

A sound leaf is filled, a pale one is an outline, a burnt one is torn and dark at its tip, a lost one is not there.
Dead wood is broken into dashes. So the drawings also tell themselves without colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import cos, radians, sin

from markupsafe import Markup

from fruitwall.web.svg import number, tag

SIZE = 64

TRUNK = "M32 61V38"
LIMBS = ("M32 46L17 30", "M32 38V22", "M32 46L47 30")
TWIGS = ("M17 30L8 27", "M17 30L16 18", "M32 22L24 11", "M32 22L40 11", "M47 30L48 18", "M47 30L56 27")

LEAVES = (
    (7, 26, 200), (11, 33, 150), (14, 15, 250), (21, 20, 310), (23, 9, 240), (32, 7, 270),
    (41, 9, 300), (43, 20, 230), (50, 15, 290), (53, 33, 30), (57, 26, 340), (32, 19, 270),
)  # fmt: skip
"""Foot and direction of each leaf: x, y, degrees clockwise from the right."""


@dataclass(frozen=True)
class State:
    """How many leaves are in which state, and how far the wood is dead."""

    sound: int = 0
    pale: int = 0
    burnt: int = 0
    dead: int = 0
    """0 none, 1 twigs, 2 limbs too, 3 all."""


STATES = (
    State(sound=12),
    State(pale=12),
    State(sound=11, burnt=1),
    State(sound=7, burnt=5),
    State(sound=1, burnt=3),
    State(dead=1),
    State(dead=2),
    State(dead=3),
)
"""For grades 0 to 7."""

# Leaves in the order in which they are hurt: the outer and upper ones, open to the sky, first.
_ORDER = (5, 2, 8, 4, 6, 0, 10, 11, 3, 7, 1, 9)


@cache
def grade_picture(grade: int) -> Markup:
    """Draw a grade; the words beside it tell the same, so it is hidden from readers of the screen.

    Parameters
    ----------
    grade : int
        0 to 7.

    Returns
    -------
    Markup
        An SVG of 64 by 64.
    """
    state = STATES[grade]
    wood = [tag("path", d=TRUNK, class_=_wood("trunk", state.dead > 2))]
    wood += [tag("path", d=limb, class_=_wood("limb", state.dead > 1)) for limb in LIMBS]
    wood += [tag("path", d=twig, class_=_wood("twig", state.dead > 0)) for twig in TWIGS]
    kinds = ["burnt"] * state.burnt + ["pale"] * state.pale
    kept = state.burnt + state.pale + state.sound
    # What is lost goes first, then what is burnt; sound leaves are those that are hurt last.
    hurt = dict(zip(_ORDER[len(LEAVES) - kept :], kinds + ["sound"] * state.sound, strict=True))
    leaves = [_leaf(*LEAVES[at], kind) for at, kind in sorted(hurt.items())]
    ground = tag("path", d="M20 61.5H44", class_="ground")
    box = f"0 0 {SIZE} {SIZE}"
    return tag("svg", ground, *wood, *leaves, class_="crown", viewBox=box, width=56, height=56, aria_hidden="true")


def _wood(name: str, dead: bool) -> str:
    return f"{name} gone" if dead else name


def _leaf(x: float, y: float, degrees: float, kind: str) -> Markup:
    """Draw one leaf from its foot outwards."""
    along, across = (cos(radians(degrees)), sin(radians(degrees))), (-sin(radians(degrees)), cos(radians(degrees)))

    def at(forward: float, aside: float) -> str:
        return (
            f"{number(x + forward * along[0] + aside * across[0])} {number(y + forward * along[1] + aside * across[1])}"
        )

    whole = f"M{at(-4, 0)}Q{at(1, 5)} {at(6, 0)}Q{at(1, -5)} {at(-4, 0)}Z"
    if kind != "burnt":
        return tag("path", d=whole, class_=f"leaf {kind}")
    foot = f"M{at(-4, 0)}Q{at(-2, 3)} {at(0, 2.5)}L{at(0, -2.5)}Q{at(-2, -3)} {at(-4, 0)}Z"
    torn = f"M{at(0, 2.5)}L{at(2, 1)}L{at(3.5, 3)}L{at(6, 0)}L{at(3.5, -3)}L{at(2, -1)}L{at(0, -2.5)}Z"
    return tag("g", tag("path", d=foot, class_="leaf sound"), tag("path", d=torn, class_="leaf burnt"))
