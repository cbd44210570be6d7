"""One picture of something over time: drawn on the server, told in a sentence, and given as a table.

A page or report describes what is to be seen; here it becomes marks. Every value of the description stands in the
table too, and every mark lies within the picture.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from math import ceil, floor, isfinite
from typing import Literal
from zoneinfo import ZoneInfo

from markupsafe import Markup

from fruitwall.service.household import short_day, signed
from fruitwall.speech import say
from fruitwall.web.svg import points, tag

WIDTH, HEIGHT = 360.0, 190.0
LEFT, RIGHT, TOP = 34.0, 8.0, 12.0
AXIS = 22.0
BAND = 13.0
"""Height of the row of bands. All in units of the picture, about a CSS pixel on a telephone."""

STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
"""Distances between lines of the axis."""


@dataclass(frozen=True)
class Point:
    """One value.

    Attributes
    ----------
    at : datetime, aware
    value : float
        In the unit of the chart; what is not finite is told in the table and not drawn.
    """

    at: datetime
    value: float


@dataclass(frozen=True)
class Series:
    """Values that belong together.

    Attributes
    ----------
    name : str
    points : sequence of Point
        Oldest first.
    style : str
        ``line`` joins them, ``steps`` holds each until the next, ``dots`` leaves them alone.
    look : str
        Class of the marks: ``one``, ``two`` or ``three``, told apart by colour and by dashes.
    """

    name: str
    points: Sequence[Point]
    style: Literal["line", "steps", "dots"] = "line"
    look: Literal["one", "two", "three"] = "one"


@dataclass(frozen=True)
class Event:
    """Something that happened: a mark at the head of the picture."""

    at: datetime
    words: str
    sign: Literal["deed", "sighting", "note"] = "note"


@dataclass(frozen=True)
class Band:
    """A span of time with a name, under the picture."""

    since: datetime
    until: datetime
    words: str


@dataclass(frozen=True)
class Chart:
    """What is to be seen.

    Attributes
    ----------
    title : str
    unit : str
        As the table's heads carry it.
    zone : ZoneInfo
        Of the axis.
    series, events, bands : sequences
    zero : bool
        Whether the line of zero means something and is always in view.
    """

    title: str
    unit: str
    zone: ZoneInfo
    series: Sequence[Series] = ()
    events: Sequence[Event] = ()
    bands: Sequence[Band] = ()
    zero: bool = False


@dataclass(frozen=True)
class DrawnChart:
    """A chart as a template shows it.

    Attributes
    ----------
    title, summary : str
    picture : Markup
    places : str
        JSON of what finger and keys stop at: [x, y, words], from left to right.
    heads : list of str
    rows : list of list of str
        One for each moment at which something is known.
    legend : list of (look, name)
    """

    title: str
    summary: str
    picture: Markup
    places: str
    heads: list[str]
    rows: list[list[str]]
    legend: list[tuple[str, str]]


def draw(chart: Chart) -> DrawnChart | None:
    """Draw a chart.

    Parameters
    ----------
    chart : Chart

    Returns
    -------
    DrawnChart or None
        None if there is nothing to be seen.
    """
    moments = sorted(
        {point.at for one in chart.series for point in one.points}
        | {event.at for event in chart.events}
        | {edge for band in chart.bands for edge in (band.since, band.until)}
    )
    if not moments:
        return None
    first, last = moments[0], moments[-1]
    if last - first < timedelta(days=1):  # one moment alone stands in the middle of its day
        first, last = first - timedelta(hours=12), last + timedelta(hours=12)
    values = [point.value for one in chart.series for point in one.points if isfinite(point.value)]
    values += [0.0] if chart.zero else []
    low, high, step = _range(values)
    foot = HEIGHT - AXIS - (BAND + 3 if chart.bands else 0)

    def x(at: datetime) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * ((at - first) / (last - first))

    def y(value: float) -> float:
        return foot - (foot - TOP - 10) * (value - low) / (high - low)

    marks = _axis(chart, (low, high, step), (first, last), x, y)
    for band in chart.bands:
        marks.append(
            tag("rect", class_="chart-band", x=x(band.since), y=foot + 2, width=max(x(band.until) - x(band.since), 1.5),
                height=BAND)
        )  # fmt: skip
        if x(band.until) - x(band.since) > 6 * len(band.words):
            marks.append(tag("text", band.words, class_="chart-band-name", x=x(band.since) + 2, y=foot + 12))
    for one in chart.series:
        known = [(x(point.at), y(point.value)) for point in one.points if isfinite(point.value)]
        if one.style != "dots" and len(known) > 1:
            path = _stairs(known) if one.style == "steps" else known
            marks.append(tag("polyline", class_=f"chart-line {one.look}", points=points(path)))
        marks += [tag("circle", class_=f"chart-dot {one.look}", cx=cx, cy=cy, r=2.5) for cx, cy in known]
    marks += [_sign(event, x(event.at)) for event in chart.events]
    picture = tag(
        "svg", *marks, class_="chart-picture", viewBox=f"0 0 {WIDTH:.0f} {HEIGHT:.0f}", aria_hidden="true",
        focusable="false",
    )  # fmt: skip
    heads, rows = _table(chart, moments)
    return DrawnChart(
        title=chart.title,
        summary=_summary(chart, moments[0], moments[-1]),
        picture=picture,
        places=json.dumps(_places(chart, x, y)),
        heads=heads,
        rows=rows,
        legend=[(one.look, one.name) for one in chart.series if one.points],
    )


def _range(values: Sequence[float]) -> tuple[float, float, float]:
    """Give lower and upper end of the axis and the distance of its lines, whole lines at both ends."""
    low, high = (min(values), max(values)) if values else (0.0, 1.0)
    step = next((one for one in STEPS if (high - low) / one <= 5), 100.0)
    low, high = floor(low / step) * step, ceil(high / step) * step
    return low, high if high > low else low + step, step


def _axis(
    chart: Chart,
    values: tuple[float, float, float],
    time: tuple[datetime, datetime],
    x: Callable[[datetime], float],
    y: Callable[[float], float],
) -> list[Markup]:
    """Draw lines and figures of both axes."""
    (low, high, step), (first, last) = values, time
    marks = []
    for count in range(round((high - low) / step) + 1):
        value = low + count * step
        zero = chart.zero and abs(value) < step / 1000
        marks.append(
            tag(
                "line",
                class_="chart-zero" if zero else "chart-rule",
                x1=LEFT,
                x2=WIDTH - RIGHT,
                y1=y(value),
                y2=y(value),
            )
        )
        marks.append(tag("text", number_words(value), class_="chart-figure end", x=LEFT - 4, y=y(value) + 4))
    for share, place in ((0.0, "start"), (0.5, "middle"), (1.0, "end")):
        at = first + (last - first) * share
        words = short_day(at.astimezone(chart.zone).date())
        marks.append(tag("text", words, class_=f"chart-figure {place}", x=x(at), y=HEIGHT - 6))
    return marks


def _stairs(known: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Hold each value until the next."""
    path = [known[0]]
    for before, after in pairwise(known):
        path += [(after[0], before[1]), after]
    return path


def _sign(event: Event, at: float) -> Markup:
    """Draw a mark at the head: a square for a deed, a circle for a look, a bar for words."""
    if event.sign == "deed":
        return tag("rect", class_="chart-event deed", x=at - 4, y=TOP - 8, width=8, height=8)
    if event.sign == "sighting":
        return tag("circle", class_="chart-event sighting", cx=at, cy=TOP - 4, r=4)
    return tag("rect", class_="chart-event note", x=at - 1.5, y=TOP - 8, width=3, height=8)


def number_words(value: float) -> str:
    """Write a value as axis and table show it: to a tenth, whole ones without."""
    return "?" if not isfinite(value) else signed(f"{value:.1f}".removesuffix(".0"))


def _moment(at: datetime, zone: ZoneInfo) -> str:
    local = at.astimezone(zone)
    return f"{short_day(local.date())}, {local:%H:%M}"


def _places(
    chart: Chart, x: Callable[[datetime], float], y: Callable[[float], float]
) -> list[tuple[float, float, str]]:
    """Give where finger and keys stop, and what is said there."""
    found = [
        (round(x(point.at), 1), round(y(point.value), 1),
         f"{_moment(point.at, chart.zone)}: {one.name} {number_words(point.value)} {chart.unit}")
        for one in chart.series for point in one.points if isfinite(point.value)
    ]  # fmt: skip
    found += [(round(x(one.at), 1), TOP - 4, f"{_moment(one.at, chart.zone)}: {one.words}") for one in chart.events]
    return sorted(found)


def _table(chart: Chart, moments: Sequence[datetime]) -> tuple[list[str], list[list[str]]]:
    """Write down everything that the picture shows."""
    happened = bool(chart.events or chart.bands)
    heads = [say("When"), *(f"{one.name} ({chart.unit})" for one in chart.series)]
    heads += [say("What happened")] if happened else []
    by_moment = [{point.at: point.value for point in one.points} for one in chart.series]
    rows = []
    for at in moments:
        cells = [number_words(one[at]) if at in one else "" for one in by_moment]
        told = [event.words for event in chart.events if event.at == at]
        told += [say("{stage} begins", stage=band.words) for band in chart.bands if band.since == at]
        if happened or any(cells):
            row = [_moment(at, chart.zone), *cells, *(["; ".join(told)] if happened else [])]
            if any(row[1:]):
                rows.append(row)
    return heads, rows


def _summary(chart: Chart, first: datetime, last: datetime) -> str:
    """Tell the picture in a few sentences: what it spans, and the least of each series."""
    days = [short_day(at.astimezone(chart.zone).date()) for at in (first, last)]
    parts = [say("From {first} to {last}.", first=days[0], last=days[1])]
    for one in chart.series:
        known = [point for point in one.points if isfinite(point.value)]
        if known:
            least = min(known, key=lambda point: point.value)
            parts.append(
                say(
                    "{name}: lowest {value} {unit} on {day}.",
                    name=one.name,
                    value=number_words(least.value),
                    unit=chart.unit,
                    day=short_day(least.at.astimezone(chart.zone).date()),
                )
            )
    return " ".join(parts)
