"""The prior of a kind as tracks over one temperature axis; every track stands beside its words and figures.

Places are shares of the width, so that a track is as wide as its column and its text keeps its size.
"""

from __future__ import annotations

from markupsafe import Markup

from fruitwall.service.household import Household
from fruitwall.service.kind_document import GradeLimit, Mark
from fruitwall.service.kind_words import Axis
from fruitwall.web.svg import tag

HEIGHT = 18
AXIS_HEIGHT = 20
LEAST_SHARE = 0.006
"""Least width of a bar as a share of the axis, so that a single figure stays visible."""


def axis_picture(axis: Axis) -> Markup:
    """Draw the numbers of an axis.

    Parameters
    ----------
    axis : Axis

    Returns
    -------
    Markup
        Hidden from screen readers, which get every value in words.
    """
    parts = []
    for at, tick in enumerate(axis.ticks):
        anchor = "start" if at == 0 else "end" if at == len(axis.ticks) - 1 else "middle"
        parts.append(tag("text", str(tick).replace("-", "−"), x=_percent(axis.share(tick)), y=14, text_anchor=anchor))
    return _track(parts, "kind-axis", AXIS_HEIGHT)


def level_picture(limit: GradeLimit, axis: Axis, household: Household) -> Markup:
    """Draw one grade: a bar as wide as its spread with a stroke at its middle.

    Parameters
    ----------
    limit : GradeLimit
    axis : Axis
    household : Household
        In whose degrees the axis is.
    """
    low, middle, high = (
        axis.share(household.degrees(limit.middle_c + step)) for step in (-limit.sd_k, 0.0, limit.sd_k)
    )
    return _track(
        [
            *_ticks(axis),
            tag("rect", class_="spread", x=_percent(low), y=5, width=_percent(high - low), height=HEIGHT - 10),
            tag("line", class_="middle", x1=_percent(middle), x2=_percent(middle), y1=1, y2=HEIGHT - 1),
        ],
        "kind-track",
        HEIGHT,
    )


def mark_picture(mark: Mark, axis: Axis, household: Household) -> Markup:
    """Draw one figure: a bar where it puts the limit, or an arrow towards the cold for what was stood.

    Parameters
    ----------
    mark : Mark
    axis : Axis
    household : Household
        In whose degrees the axis is.
    """
    low, high = axis.share(household.degrees(mark.low_c)), axis.share(household.degrees(mark.high_c))
    middle = HEIGHT / 2
    if mark.colder:
        start = max(0.0, high - 0.08)
        head = tag("path", d=f"M0 {middle}l6 -5v10z", class_="stood")
        drawn = [
            tag("line", class_="stood", x1=_percent(start), x2=_percent(high), y1=middle, y2=middle),
            tag("line", class_="stood", x1=_percent(high), x2=_percent(high), y1=4, y2=HEIGHT - 4),
            tag("svg", head, x=_percent(start), width=8, height=HEIGHT),
        ]
    else:
        width = max(high - low, LEAST_SHARE)
        drawn = [tag("rect", class_="said-at", x=_percent(low), y=6, width=_percent(width), height=HEIGHT - 12)]
    return _track([*_ticks(axis), *drawn], "kind-track", HEIGHT)


def _ticks(axis: Axis) -> list[Markup]:
    """Draw a hairline at each number of the axis."""
    places = [_percent(axis.share(tick)) for tick in axis.ticks]
    return [tag("line", class_="tick", x1=place, x2=place, y1=0, y2=HEIGHT) for place in places]


def _track(parts: list[Markup], kind: str, height: int) -> Markup:
    """Put the parts of one track together."""
    return tag("svg", *parts, class_=kind, width="100%", height=height, aria_hidden="true")


def _percent(share: float) -> str:
    """Write a share of the width."""
    return f"{100 * share:.2f}%"
