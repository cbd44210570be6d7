"""Small pictures of a report: drawn once, shown on a page, in a file and in a PDF.

Looks come from classes; who prints them puts the style sheet beside them or into them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape
from itertools import pairwise
from math import ceil, floor
from typing import TYPE_CHECKING

from fruitwall.service.household import number, short_day

if TYPE_CHECKING:
    from fruitwall.service.cold_document import ColdNight
    from fruitwall.service.household import Household
    from fruitwall.service.season_report import YardNight

LEFT, RIGHT, TOP, FOOT = 30.0, 6.0, 6.0, 14.0
"""Room for the figures of the axes. All in units of the picture."""

ALONE, DONE, BEGINS, ZERO, AXIS, FIGURE, BAR, BAR_ALONE = (
    "rep-alone", "rep-done", "rep-begins", "rep-zero", "rep-axis", "rep-figure", "rep-bar", "rep-bar-alone"
)  # fmt: skip


@dataclass(frozen=True)
class _Frame:
    first: date
    last: date
    low: float
    high: float
    width: float
    height: float

    @property
    def day(self) -> float:
        """Room of one night; a night stands in the middle of it."""
        return (self.width - LEFT - RIGHT) / ((self.last - self.first).days + 1)

    def x(self, day: date) -> float:
        return LEFT + self.day * ((day - self.first).days + 0.5)

    def y(self, value: float) -> float:
        return TOP + (self.height - TOP - FOOT) * (self.high - value) / (self.high - self.low)


def cold_picture(
    nights: Sequence[ColdNight] | Sequence[YardNight],
    begins_c: float | None,
    household: Household,
    *,
    width: float = 360.0,
    height: float = 90.0,
) -> str:
    """Draw the lowest hour of each night: as kept, left alone, and where harm begins.

    Parameters
    ----------
    nights : sequence of ColdNight or of YardNight
        Oldest first, at least one.
    begins_c : float or None
        Where harm begins. [°C]
    household : Household
        In whose degrees it is drawn.
    width, height : float

    Returns
    -------
    str
        SVG; it says nothing by itself, words stand beside it.
    """
    degrees = household.degrees
    values = [degrees(value) for one in nights for value in (one.done_c, one.alone_c)] + [degrees(0.0)]
    if begins_c is not None:
        values.append(degrees(begins_c))
    step = 10.0 if max(values) - min(values) > 15.0 else 5.0
    low, high = floor(min(values) / step) * step, ceil(max(values) / step) * step
    frame = _Frame(nights[0].night, nights[-1].night, low, high if high > low else low + step, width, height)
    marks = _axes(frame, step)
    marks.append(_across(frame, degrees(0.0), ZERO))
    if begins_c is not None:
        marks.append(_across(frame, degrees(begins_c), BEGINS))
    marks += _line(frame, [(one.night, degrees(one.alone_c)) for one in nights], ALONE)
    marks += _line(frame, [(one.night, degrees(one.done_c)) for one in nights], DONE)
    return _svg(marks, width, height)


def count_picture(nights: Sequence[YardNight], *, width: float = 360.0, height: float = 80.0) -> str:
    """Draw how many trees were below where harm begins in each night: as kept before left alone.

    Parameters
    ----------
    nights : sequence of YardNight
        Oldest first, at least one.
    width, height : float

    Returns
    -------
    str
        SVG.
    """
    most = max(max(one.below_alone, one.below) for one in nights)
    step = next(one for one in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 1e9) if most / one <= 4)
    frame = _Frame(nights[0].night, nights[-1].night, 0.0, max(ceil(most / step) * step, step), width, height)
    wide = max(0.8 * frame.day, 0.6)
    marks = _axes(frame, step)
    for name, counts in (
        (BAR_ALONE, [one.below_alone for one in nights]),
        (BAR, [one.below for one in nights]),
    ):
        for one, count in zip(nights, counts, strict=True):
            if count:
                x, y = frame.x(one.night) - wide / 2, frame.y(count)
                box = f'x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{frame.y(0.0) - y:.1f}"'
                marks.append(f'<rect class="{name}" {box}/>')
    return _svg(marks, width, height)


def _axes(frame: _Frame, step: float) -> list[str]:
    marks = []
    value = frame.low
    while value <= frame.high + step / 100:
        y = frame.y(value)
        marks.append(_across(frame, value, AXIS))
        marks.append(_text(LEFT - 4, y + 3, number(value), "end"))
        value += step
    foot = frame.height - 3
    marks.append(_text(LEFT, foot, short_day(frame.first), "start"))
    if frame.last > frame.first:
        marks.append(_text(frame.width - RIGHT, foot, short_day(frame.last), "end"))
    return marks


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text class="{FIGURE}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def _across(frame: _Frame, value: float, look: str) -> str:
    y = frame.y(value)
    return f'<line class="{look}" x1="{LEFT:.1f}" x2="{frame.width - RIGHT:.1f}" y1="{y:.1f}" y2="{y:.1f}"/>'


def _line(frame: _Frame, values: Sequence[tuple[date, float]], look: str) -> list[str]:
    """Join nights that follow each other; a night that is not known parts the line."""
    pieces = [[values[0]]]
    for before, after in pairwise(values):
        if after[0] - before[0] > timedelta(days=1):
            pieces.append([])
        pieces[-1].append(after)
    marks = []
    for piece in pieces:
        places = [f"{frame.x(day):.1f},{frame.y(value):.1f}" for day, value in piece]
        if len(places) == 1:
            x, y = places[0].split(",")
            marks.append(f'<circle class="{look} rep-dot" cx="{x}" cy="{y}" r="1.6"/>')
        else:
            marks.append(f'<polyline class="{look}" points="{" ".join(places)}"/>')
    return marks


def _svg(marks: Sequence[str], width: float, height: float) -> str:
    box = f'viewBox="0 0 {width:.0f} {height:.0f}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="rep-picture" {box} aria-hidden="true" focusable="false">'
        f"{''.join(marks)}</svg>"
    )
