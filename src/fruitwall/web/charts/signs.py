"""Signs at the head of a chart: what happened, told by shape first and colour second."""

from __future__ import annotations

from typing import Literal

from markupsafe import Markup

from fruitwall.speech import marked
from fruitwall.web.svg import points, tag

SIGN = 13.0
"""Height and width of a sign, in units of the picture."""

EventSign = Literal["deed", "whole", "leaf", "wood", "look", "note"]

SIGN_WORDS: dict[EventSign, str] = {
    "whole": marked("looked at, grade 0 or 1: leaf whole"),
    "leaf": marked("looked at, grade 2 to 4: leaf burnt or lost"),
    "wood": marked("looked at, grade 5 to 7: wood dead"),
    "look": marked("looked at, not graded"),
    "deed": marked("something done"),
    "note": marked("a note"),
}
"""What each sign means, in English."""


def sign_of_grade(grade: int | None) -> EventSign:
    """Give the sign of a look by its grade."""
    if grade is None:
        return "look"
    return "whole" if grade < 2 else "leaf" if grade < 5 else "wood"


def draw_sign(sign: EventSign, x: float, y: float, mark: str) -> Markup:
    """Draw a sign.

    Parameters
    ----------
    sign : str
        A circle for a whole crown, a triangle for hurt leaf, a lozenge for dead wood, a ring for a look without a
        grade, a square for a deed, a bar for words.
    x, y : float
        Its middle.
    mark : str
        A figure in it; empty for none.

    Returns
    -------
    Markup
    """
    half = SIGN / 2
    look = f"chart-event {sign}"
    if sign == "whole":
        shape = tag("circle", class_=look, cx=x, cy=y, r=half - 0.5)
    elif sign == "look":
        shape = tag("circle", class_=look, cx=x, cy=y, r=half - 2)
    elif sign == "leaf":
        shape = tag("polygon", class_=look, points=points([(x - half, y + half), (x, y - half), (x + half, y + half)]))
    elif sign == "wood":
        corners = [(x - half, y), (x, y - half), (x + half, y), (x, y + half)]
        shape = tag("polygon", class_=look, points=points(corners))
    elif sign == "deed":
        shape = tag("rect", class_=look, x=x - 4, y=y - 4, width=8, height=8)
    else:
        shape = tag("rect", class_=look, x=x - 1.5, y=y - 4, width=3, height=8)
    if not mark:
        return shape
    down = 4.5 if sign == "leaf" else 3.2
    return tag("g", shape, tag("text", mark, class_=f"chart-mark {sign}", x=x, y=y + down))
