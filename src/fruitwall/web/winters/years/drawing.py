"""Pictures of many winters, drawn on the server: coldest night by winter, return levels, first and last freeze."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor, log, log1p
from typing import TYPE_CHECKING

from markupsafe import Markup

from fruitwall.service.household import decimal, signed
from fruitwall.speech import say
from fruitwall.web.svg import points, tag

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.winters_years_document import YearsFreeze, YearsRecord, YearsWinter

WIDTH, PLOT = 360.0, 170.0
"""Of a picture, and height of its plot. A phone shows them about one to one. [px]"""

LEFT, RIGHT, TOP, FOOT = 36.0, 10.0, 20.0, 34.0
"""Margins: figures of the axis, air, its unit, names below. [px]"""

STEPS = (1.0, 2.0, 5.0, 10.0, 20.0)
"""Distances between lines of the axis of temperatures. [degrees]"""

MOST_LINES, MOST_NAMES = 7, 8
"""Lines of the axis, and names of winters, that find room."""

LONGEST = 60.0
"""Right end of the axis of return periods. [winters]"""

SHORTEST = 1.05
"""Its left end: what nearly every winter reaches. [winters]"""

LOWEST_ROW, HIGHEST_ROW, ROWS = 6.0, 14.0, 160.0
"""Height of a winter in the strip of freezes, and of all of them where they have room. [px]"""


class Scale:
    """The upright axis in the household's degrees.

    Parameters
    ----------
    values_c : sequence of float
        All that must lie within. [°C]
    household : Household
    """

    def __init__(self, values_c: Sequence[float], household: Household) -> None:
        self._household = household
        degrees = [household.degrees(value) for value in (*values_c, 0.0)]
        span = max(degrees) - min(degrees)
        self.step = next((step for step in STEPS if span / step <= MOST_LINES - 1), STEPS[-1])
        self.low = self.step * floor(min(degrees) / self.step)
        self.high = self.step * ceil(max(degrees) / self.step)
        if self.high == self.low:
            self.high += self.step

    def y(self, celsius: float) -> float:
        """Give where a temperature lies. [px]"""
        return self._at(self._household.degrees(celsius))

    def _at(self, degrees: float) -> float:
        return TOP + PLOT * (self.high - degrees) / (self.high - self.low)

    def lines(self) -> list[str]:
        """Draw lines and figures; that of freezing is stronger."""
        marks: list[str] = [tag("text", self._household.degree, class_="years-figure", x=2, y=TOP - 8)]
        value = self.low
        while value <= self.high + 1e-9:
            y = self._at(value)
            marks.append(tag("line", class_="years-rule", x1=LEFT, x2=WIDTH - RIGHT, y1=y, y2=y))
            figure = decimal(signed(f"{value:.0f}"))
            marks.append(tag("text", figure, class_="years-figure", x=LEFT - 5, y=y + 4, text_anchor="end"))
            value += self.step
        zero = self.y(0.0)
        marks.append(tag("line", class_="years-zero", x1=LEFT, x2=WIDTH - RIGHT, y1=zero, y2=zero))
        return marks


def by_winter(
    record: YearsRecord, winters: Sequence[YearsWinter], level_c: float | None, household: Household
) -> Markup:
    """Draw the coldest night of every winter as a line from freezing to a dot.

    Parameters
    ----------
    record : YearsRecord
    winters : sequence of YearsWinter
        In the same order; typical years get a hollow dot.
    level_c : float or None
        A level that is dashed across, such as that of ten winters. [°C]
    household : Household
    """
    known = [value for value in record.coldest_c if value is not None]
    scale = Scale([*known, *([] if level_c is None else [level_c])], household)
    room = (WIDTH - LEFT - RIGHT) / len(winters)
    marks = scale.lines()
    if level_c is not None:
        y = scale.y(level_c)
        marks.append(tag("line", class_="years-level", x1=LEFT, x2=WIDTH - RIGHT, y1=y, y2=y))
    every = ceil(len(winters) / MOST_NAMES)
    foot = TOP + PLOT
    for at, (winter, value) in enumerate(zip(winters, record.coldest_c, strict=True)):
        x = LEFT + room * (at + 0.5)
        if value is not None:
            marks.append(tag("line", class_="years-stem", x1=x, x2=x, y1=scale.y(0.0), y2=scale.y(value)))
            look = "years-dot" if winter.real else "years-dot typical"
            marks.append(tag("circle", class_=look, cx=x, cy=scale.y(value), r=min(3.5, max(2.0, room / 3))))
        if at % every == 0:
            marks.append(tag("line", class_="years-tick", x1=x, x2=x, y1=foot, y2=foot + 4))
            name = winter.name if len(winters) <= MOST_NAMES else _year(winter.name)
            marks.append(tag("text", name, class_="years-figure", x=x, y=foot + 16, text_anchor="middle"))
    return _picture(marks, foot + 22)


def return_levels(record: YearsRecord, household: Household) -> Markup:
    """Draw how cold once in so many winters: the winters as dots, the fit as a line, its limits as a field.

    Parameters
    ----------
    record : YearsRecord
    household : Household

    Notes
    -----
    Across lies -log(-log(1 - 1/T)) of the return period T, on which a Gumbel distribution is a straight line.
    """
    told = [level for level in record.levels if level.level_c is not None]
    limits = [value for level in told for value in (level.cold_c, level.mild_c) if value is not None]
    scale = Scale(
        [point.seen_c for point in record.points] + [level.level_c or 0.0 for level in told] + limits, household
    )
    marks = scale.lines()
    bounded = [level for level in told if level.cold_c is not None and level.mild_c is not None]
    if len(bounded) > 1:
        colder = [(_across(level.years), scale.y(level.cold_c or 0.0)) for level in bounded]
        milder = [(_across(level.years), scale.y(level.mild_c or 0.0)) for level in reversed(bounded)]
        marks.append(tag("polygon", class_="years-field", points=points([*colder, *milder])))
    line = {point.years: point.fitted_c for point in record.points if point.fitted_c is not None}
    line |= {level.years: level.level_c for level in told if level.level_c is not None}
    if line:
        course = [(_across(years), scale.y(line[years])) for years in sorted(line) if SHORTEST <= years <= LONGEST]
        marks.append(tag("polyline", class_="years-fit", points=points(course)))
    for point in record.points:
        if SHORTEST <= point.years <= LONGEST:
            marks.append(tag("circle", class_="years-dot", cx=_across(point.years), cy=scale.y(point.seen_c), r=3))
    foot = TOP + PLOT
    for level in record.levels:
        x = _across(level.years)
        marks.append(tag("line", class_="years-tick", x1=x, x2=x, y1=foot, y2=foot + 4))
        marks.append(tag("text", f"{level.years:.0f}", class_="years-figure", x=x, y=foot + 16, text_anchor="middle"))
    words = say("once in so many winters")
    marks.append(tag("text", words, class_="years-figure", x=WIDTH - RIGHT, y=foot + 30, text_anchor="end"))
    return _picture(marks, foot + FOOT)


def _across(years: float) -> float:
    """Give where a return period lies. [px]"""
    low, high = (_reduced(end) for end in (SHORTEST, LONGEST))
    return LEFT + (WIDTH - LEFT - RIGHT) * (_reduced(years) - low) / (high - low)


def _reduced(years: float) -> float:
    return -log(-log1p(-1.0 / years))


def season_strip(
    freeze: YearsFreeze,
    winters: Sequence[YearsWinter],
    season: Sequence[tuple[str, str]],
    length: int,
    at: dict[str, int],
) -> Markup:
    """Draw a line for every winter from its first night at or below a level to the last, the oldest on top.

    Parameters
    ----------
    freeze : YearsFreeze
    winters : sequence of YearsWinter
    season : sequence of (str, str)
        Days on which a month begins, and its short name.
    length : int
        Nights of the season.
    at : dict of str to int
        Place of every day of the season.
    """

    def x(day: str) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (at[day] + 0.5) / length

    tall = min(HIGHEST_ROW, max(LOWEST_ROW, ROWS / len(winters)))
    foot = 4.0 + tall * len(winters)
    marks: list[str] = []
    for day, name in season:
        marks.append(tag("line", class_="years-rule", x1=x(day), x2=x(day), y1=2, y2=foot))
        marks.append(tag("text", name, class_="years-figure", x=x(day) + 2, y=foot + 14))
    every = ceil(len(winters) / MOST_NAMES)
    for row, (winter, first, last) in enumerate(zip(winters, freeze.first.day, freeze.last.day, strict=True)):
        y = 4.0 + tall * (row + 0.5)
        if row % every == 0:
            marks.append(tag("text", _year(winter.name), class_="years-figure", x=LEFT - 5, y=y + 4, text_anchor="end"))
        if first is not None and last is not None and first in at and last in at:
            if first != last:
                marks.append(tag("line", class_="years-span", x1=x(first), x2=x(last), y1=y, y2=y))
            ends = dict.fromkeys((first, last))
            marks += [tag("circle", class_="years-end", cx=x(end), cy=y, r=2.2) for end in ends]
    half = [one for one in (freeze.first.by[1], freeze.last.by[1]) if one is not None and one in at]
    marks += [tag("line", class_="years-half", x1=x(one), x2=x(one), y1=2, y2=foot) for one in half]
    return _picture(marks, foot + 20)


def _year(winter: str) -> str:
    """Give the year in which a winter begins, with the letter that tells typical ones of one year apart."""
    return winter[:4] + (winter[-1] if winter[-1].isalpha() else "")


def _picture(marks: Sequence[str], height: float) -> Markup:
    """Put a picture together, hidden from screen readers: sentence and table beside it tell the same."""
    return tag(
        "svg",
        *marks,
        class_="years-picture",
        viewBox=f"0 0 {WIDTH:.0f} {height:.0f}",
        aria_hidden="true",
        focusable="false",
    )
