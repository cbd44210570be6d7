"""One picture of something over time: drawn on the server, told in sentences, and given as a table.

A page or report describes what is to be seen; here it becomes marks. Every value of the description stands in the
table too, and every mark lies within the picture. How the description is read is told in docs/design.md.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from math import ceil, floor, isfinite, nan
from typing import Literal
from zoneinfo import ZoneInfo

from markupsafe import Markup

from fruitwall.service.household import decimal, short_day, signed
from fruitwall.service.words import sentence
from fruitwall.speech import say
from fruitwall.web.charts.signs import SIGN, SIGN_WORDS, EventSign, draw_sign
from fruitwall.web.margins import Band
from fruitwall.web.svg import points, tag

WIDTH = 360.0
PLOT = 150.0
"""Height of the plot itself; where nothing has a value there is none."""

LEFT, RIGHT = 34.0, 8.0
AXIS = 20.0

SHORT = 5
"""Letters of a unit that have room over the figures of the axis."""

STRIP = 14.0
"""Height of a strip with the gap above it."""

LANES = 3
"""Rows of events at most: more would take the picture's place."""

THUMB = 46.0
"""Side of a thumbnail; 44 px on a telephone of 360 px. All in units of the picture, about a CSS pixel there."""

STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
"""Distances between lines of the axis."""

Look = Literal["one", "two", "three"]


@dataclass(frozen=True)
class Point:
    """One value.

    Attributes
    ----------
    at : datetime, aware
    value : float
        In the unit of the chart; what is not finite is told in the table and not drawn.
    low, high : float
        Ends of what is uncertain about it; not drawn where they are not finite.
    """

    at: datetime
    value: float
    low: float = nan
    high: float = nan


@dataclass(frozen=True)
class Series:
    """Values that belong together.

    Attributes
    ----------
    name : str
    points : sequence of Point
        Oldest first.
    style : str
        ``line`` joins them, ``steps`` holds each until the next, ``dots`` leaves them alone, ``bars`` stand on zero.
    look : str
        Class of the marks: ``one``, ``two`` or ``three``, told apart by colour and by dashes.
    told : str
        Which value the sentences tell: ``extreme``, the lowest or of bars the highest; ``highest``, as of heat;
        ``last``, as of sums; ``none``.
    """

    name: str
    points: Sequence[Point]
    style: Literal["line", "steps", "dots", "bars"] = "line"
    look: Look = "one"
    told: Literal["extreme", "highest", "last", "none"] = "extreme"


@dataclass(frozen=True)
class Event:
    """Something that happened: a sign at the head of the picture.

    Attributes
    ----------
    at : datetime, aware
    words : str
    sign : str
        Of `signs.SIGN_WORDS`.
    mark : str
        A figure within the sign, such as a grade.
    """

    at: datetime
    words: str
    sign: EventSign = "note"
    mark: str = ""


@dataclass(frozen=True)
class Cell:
    """A span of time within a strip.

    Attributes
    ----------
    since, until : datetime, aware
    words : str
    band : Band or None
        Of the margin scale: a block of its height and colour. None: a field that holds its words.
    """

    since: datetime
    until: datetime
    words: str
    band: Band | None = None


@dataclass(frozen=True)
class Strip:
    """Spans of time in one row under the plot; `name` is said before the words of each."""

    name: str
    cells: Sequence[Cell]


@dataclass(frozen=True)
class Thumb:
    """A small picture under the axis of time, which leads to a large one."""

    at: datetime
    small: str
    large: str
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
    series, events, strips, thumbs : sequences
    zero : bool
        Whether the line of zero means something and is always in view; it is under bars.
    told : sequence of str
        Sentences of the page itself, said after what the picture spans.
    """

    title: str
    unit: str
    zone: ZoneInfo
    series: Sequence[Series] = ()
    events: Sequence[Event] = ()
    strips: Sequence[Strip] = ()
    thumbs: Sequence[Thumb] = ()
    zero: bool = False
    told: Sequence[str] = ()


@dataclass(frozen=True)
class DrawnChart:
    """A chart as a template shows it.

    Attributes
    ----------
    title, summary : str
    picture : Markup
    thumbs : Markup or None
        A second picture below the first, on the same axis, whose pictures are links.
    unseen : int
        How many thumbnails found no room.
    places : str
        JSON of what finger and keys stop at: [x, y, words], from left to right.
    heads : list of str
    rows : list of list of str
        One for each moment at which something is known.
    legend : list of (Markup, str)
        Sign and words.
    """

    title: str
    summary: str
    picture: Markup
    thumbs: Markup | None
    unseen: int
    places: str
    heads: list[str]
    rows: list[list[str]]
    legend: list[tuple[Markup, str]]


@dataclass(frozen=True)
class _Frame:
    """Where things lie: time across, values upwards."""

    first: datetime
    last: datetime
    low: float
    high: float
    step: float
    top: float
    tall: float

    @property
    def foot(self) -> float:
        return self.top + self.tall

    def x(self, at: datetime) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * ((at - self.first) / (self.last - self.first))

    def y(self, value: float) -> float:
        return self.foot - self.tall * (value - self.low) / (self.high - self.low)


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
    moments = _moments(chart)
    if not moments:
        return None
    lanes, frame = _laid_out(chart, moments)
    marks = _axis(chart, frame)
    for place, strip in enumerate(chart.strips):
        marks += _strip(strip, frame, frame.foot + 3 + place * STRIP)
    bars = [one for one in chart.series if one.style == "bars"]
    for at, one in enumerate(bars):
        marks += _bars(one, frame, at, len(bars))
    for one in chart.series:
        if one.style != "bars":
            marks += _values(one, frame)
    marks += [
        draw_sign(event.sign, frame.x(event.at), _lane_y(lane), event.mark)
        for event, lane in zip(chart.events, lanes, strict=True)
    ]
    height = frame.foot + len(chart.strips) * STRIP + AXIS
    picture = tag(
        "svg", *marks, class_="chart-picture", viewBox=f"0 0 {WIDTH:.0f} {height:.0f}", aria_hidden="true",
        focusable="false",
    )  # fmt: skip
    heads, rows = _table(chart, moments)
    thumbs, unseen = _thumbs(chart, frame)
    return DrawnChart(
        title=chart.title,
        summary=_summary(chart, moments[0], moments[-1]),
        picture=picture,
        thumbs=thumbs,
        unseen=unseen,
        places=json.dumps(_places(chart, frame, lanes)),
        heads=heads,
        rows=rows,
        legend=_legend(chart),
    )


def _moments(chart: Chart) -> list[datetime]:
    """Give every moment at which something is known, in order."""
    return sorted(
        {point.at for one in chart.series for point in one.points}
        | {event.at for event in chart.events}
        | {thumb.at for thumb in chart.thumbs}
        | {edge for strip in chart.strips for cell in strip.cells for edge in (cell.since, cell.until)}
    )


def _laid_out(chart: Chart, moments: Sequence[datetime]) -> tuple[list[int], _Frame]:
    """Give the lane of each event and the frame."""
    first, last = moments[0], moments[-1]
    bars = sorted({point.at for one in chart.series if one.style == "bars" for point in one.points})
    if bars:  # a bar has a width, also the first and the last
        half = _narrowest(bars) / 2
        first, last = min(first, bars[0] - half), max(last, bars[-1] + half)
    if last - first < timedelta(hours=2):  # one moment alone stands in the middle of its day
        first, last = first - timedelta(hours=12), last + timedelta(hours=12)
    values = [value for one in chart.series for point in one.points for value in (point.value, point.low, point.high)]
    values = [value for value in values if isfinite(value)] + ([0.0] if chart.zero or bars else [])
    bare = _Frame(first, last, *_range(values), top=0.0, tall=PLOT if chart.series else 0.0)
    ends = [-100.0] * LANES
    lanes = []
    for event in chart.events:
        x = bare.x(event.at)
        lane = next((one for one in range(LANES) if x - ends[one] >= SIGN + 1), LANES - 1)
        ends[lane] = x
        lanes.append(lane)
    used = max(lanes, default=-1) + 1
    return lanes, replace(bare, top=20.0 + used * (SIGN + 2))


def _narrowest(moments: Sequence[datetime]) -> timedelta:
    return min((after - before for before, after in pairwise(moments)), default=timedelta(days=1))


def _lane_y(lane: int) -> float:
    return SIGN / 2 + 1 + lane * (SIGN + 2)


def _range(values: Sequence[float]) -> tuple[float, float, float]:
    """Give lower and upper end of the axis and the distance of its lines, whole lines at both ends."""
    low, high = (min(values), max(values)) if values else (0.0, 1.0)
    step = next((one for one in STEPS if (high - low) / one <= 5), 1000.0)
    low, high = floor(low / step) * step, ceil(high / step) * step
    return low, high if high > low else low + step, step


def _axis(chart: Chart, frame: _Frame) -> list[Markup]:
    """Draw lines and figures of both axes."""
    marks = []
    for count in range(round((frame.high - frame.low) / frame.step) + 1) if chart.series else ():
        value = frame.low + count * frame.step
        look = "chart-zero" if chart.zero and abs(value) < frame.step / 1000 else "chart-rule"
        y = frame.y(value)
        marks.append(tag("line", class_=look, x1=LEFT, x2=WIDTH - RIGHT, y1=y, y2=y))
        marks.append(tag("text", number_words(value), class_="chart-figure end", x=LEFT - 4, y=y + 4))
    if chart.series:
        # A short unit stands over its figures, a word begins at the edge.
        look, x = ("chart-figure end", LEFT - 4) if len(chart.unit) <= SHORT else ("chart-figure", 0.0)
        marks.append(tag("text", chart.unit, class_=look, x=x, y=frame.top - 9))
    foot = frame.foot + len(chart.strips) * STRIP + AXIS - 5
    for share, place in ((0.0, "start"), (0.5, "middle"), (1.0, "end")):
        at = frame.first + (frame.last - frame.first) * share
        words = _time_words(at, frame, chart.zone)
        marks.append(tag("text", words, class_=f"chart-figure {place}", x=frame.x(at), y=foot))
    return marks


def _time_words(at: datetime, frame: _Frame, zone: ZoneInfo) -> str:
    """Write a moment as finely as the span of the picture asks for."""
    local, span = at.astimezone(zone), frame.last - frame.first
    if span > timedelta(days=1000):
        return f"{local:%Y}"
    return _moment(at, zone) if span <= timedelta(days=3) else short_day(local.date())


def _values(one: Series, frame: _Frame) -> list[Markup]:
    """Draw the values of a series, and what is uncertain about them."""
    marks = []
    spread = [point for point in one.points if isfinite(point.low) and isfinite(point.high)]
    if len(spread) > 1:
        upper = [(frame.x(point.at), frame.y(point.high)) for point in spread]
        lower = [(frame.x(point.at), frame.y(point.low)) for point in spread]
        edges = [_stairs(edge) if one.style == "steps" else edge for edge in (upper, lower)]
        marks.append(tag("polygon", class_=f"chart-spread {one.look}", points=points(edges[0] + edges[1][::-1])))
    for point in spread if one.style == "dots" or len(spread) == 1 else ():
        x = frame.x(point.at)
        marks.append(
            tag("line", class_=f"chart-line {one.look}", x1=x, x2=x, y1=frame.y(point.low), y2=frame.y(point.high))
        )
    known = [(frame.x(point.at), frame.y(point.value)) for point in one.points if isfinite(point.value)]
    if one.style != "dots" and len(known) > 1:
        path = _stairs(known) if one.style == "steps" else known
        marks.append(tag("polyline", class_=f"chart-line {one.look}", points=points(path)))
    if one.style == "dots" or len(known) == 1 or not spread:  # a limit with its doubt is no row of findings
        marks += [tag("circle", class_=f"chart-dot {one.look}", cx=cx, cy=cy, r=2.5) for cx, cy in known]
    return marks


def _bars(one: Series, frame: _Frame, at: int, count: int) -> list[Markup]:
    """Draw bars from zero, those of several series side by side."""
    gap = _narrowest(sorted({point.at for point in one.points}))
    width = max(0.8 * (WIDTH - LEFT - RIGHT) * (gap / (frame.last - frame.first)) / count, 0.5)
    marks = []
    for point in one.points:
        if isfinite(point.value):
            ends = sorted((frame.y(0.0), frame.y(point.value)))
            x = frame.x(point.at) + (at - count / 2) * width
            shape = {"x": x, "y": ends[0], "width": width, "height": ends[1] - ends[0]}
            marks.append(tag("rect", class_=f"chart-bar {one.look}", **shape))
    return marks


def _strip(strip: Strip, frame: _Frame, top: float) -> list[Markup]:
    """Draw one row of cells."""
    marks = []
    for cell in strip.cells:
        x, width = frame.x(cell.since), max(frame.x(cell.until) - frame.x(cell.since), 1.5)
        x = min(x, WIDTH - width)
        height = STRIP - 3
        if cell.band is not None:
            share = cell.band.height * height
            shape = {"x": x, "y": top + height - share, "width": width, "height": share}
            marks.append(tag("rect", class_=f"chart-cell {cell.band.key}", **shape))
            continue
        marks.append(tag("rect", class_="chart-band", x=x, y=top, width=width, height=height))
        if width > 6 * len(cell.words):
            marks.append(tag("text", cell.words, class_="chart-band-name", x=x + 2, y=top + 9))
    return marks


def _thumbs(chart: Chart, frame: _Frame) -> tuple[Markup | None, int]:
    """Draw small pictures under their time, in rows where they would lie on each other; links, so with words."""
    ends = [-100.0] * LANES
    placed: list[tuple[Thumb, float, int]] = []
    for thumb in sorted(chart.thumbs, key=lambda one: one.at, reverse=True):  # the newest find room first
        x = min(max(frame.x(thumb.at) - THUMB / 2, 0.0), WIDTH - THUMB)
        lane = next((one for one in range(LANES) if ends[one] < 0 or ends[one] - x >= THUMB + 2), None)
        if lane is not None:
            ends[lane] = x
            placed.append((thumb, x, lane))
    if not placed:
        return None, len(chart.thumbs)
    marks = []
    for thumb, x, lane in placed[::-1]:
        y = 8.0 + lane * (THUMB + 4)
        at = frame.x(thumb.at)
        words = f"{_moment(thumb.at, chart.zone)}: {thumb.words}"
        image = tag(
            "image", href=thumb.small, x=x, y=y, width=THUMB, height=THUMB, preserveAspectRatio="xMidYMid slice"
        )
        edge = tag("rect", class_="chart-thumb", x=x, y=y, width=THUMB, height=THUMB)
        marks.append(tag("line", class_="chart-rule", x1=at, x2=at, y1=0, y2=y))
        marks.append(tag("a", image, edge, href=thumb.large, aria_label=words))
    height = 8 + (max(lane for _, _, lane in placed) + 1) * (THUMB + 4)
    drawn = tag("svg", *marks, class_="chart-thumbs", viewBox=f"0 0 {WIDTH:.0f} {height:.0f}")
    return drawn, len(chart.thumbs) - len(placed)


def _stairs(known: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Hold each value until the next."""
    path = [known[0]]
    for before, after in pairwise(known):
        path += [(after[0], before[1]), after]
    return path


def _legend(chart: Chart) -> list[tuple[Markup, str]]:
    """Tell what each line, bar and sign means that occurs."""

    def boxed(mark: Markup) -> Markup:
        return tag("svg", mark, viewBox="0 0 24 16", width=24, height=16, aria_hidden="true", focusable="false")

    found = []
    for one in chart.series:
        if one.style == "bars":
            mark = tag("rect", class_=f"chart-bar {one.look}", x=7, y=2, width=10, height=12)
        elif one.style == "dots":
            mark = tag("circle", class_=f"chart-dot {one.look}", cx=12, cy=8, r=2.5)
        else:
            mark = tag("line", class_=f"chart-line {one.look}", x1=0, y1=8, x2=24, y2=8)
        if one.points:
            found.append((boxed(mark), one.name))
    signs = {event.sign for event in chart.events}
    found += [(boxed(draw_sign(sign, 12, 8, "")), say(words)) for sign, words in SIGN_WORDS.items() if sign in signs]
    return found


def number_words(value: float) -> str:
    """Write a value as axis and table show it: to a tenth, whole ones without."""
    return "?" if not isfinite(value) else decimal(signed(f"{value:.1f}".removesuffix(".0")))


def _moment(at: datetime, zone: ZoneInfo) -> str:
    local = at.astimezone(zone)
    return f"{short_day(local.date())}, {local:%H:%M}"


def _spread_words(point: Point) -> str:
    """Write a value with what is uncertain about it."""
    words = number_words(point.value)
    if isfinite(point.low) and isfinite(point.high):
        words = say(
            "{value} ({low} to {high})", value=words, low=number_words(point.low), high=number_words(point.high)
        )
    return words


def _cell_words(strip: Strip, cell: Cell) -> str:
    return f"{strip.name}: {cell.words}" if strip.name else cell.words


def _places(chart: Chart, frame: _Frame, lanes: Sequence[int]) -> list[tuple[float, float, str]]:
    """Give where finger and keys stop, and what is said there."""
    zone = chart.zone
    found = [
        (round(frame.x(point.at), 1), round(frame.y(point.value), 1),
         f"{_moment(point.at, zone)}: {sentence(one.name)} {_spread_words(point)} {chart.unit}")
        for one in chart.series for point in one.points if isfinite(point.value)
    ]  # fmt: skip
    found += [
        (round(frame.x(one.at), 1), _lane_y(lane), f"{_moment(one.at, zone)}: {one.words}")
        for one, lane in zip(chart.events, lanes, strict=True)
    ]
    found += [
        (round(frame.x(cell.since), 1), frame.foot + 8 + place * STRIP,
         say("From {moment}: {what}", moment=_moment(cell.since, zone), what=_cell_words(strip, cell)))
        for place, strip in enumerate(chart.strips) for cell in strip.cells
    ]  # fmt: skip
    return sorted(found)


def _table(chart: Chart, moments: Sequence[datetime]) -> tuple[list[str], list[list[str]]]:
    """Write down everything that the picture shows."""
    happened = bool(chart.events or chart.strips or chart.thumbs)
    heads = [say("When"), *(f"{sentence(one.name)} ({chart.unit})" for one in chart.series)]
    heads += [say("What happened")] if happened else []
    by_moment = [{point.at: point for point in one.points} for one in chart.series]
    rows = []
    for at in moments:
        cells = [_spread_words(one[at]) if at in one else "" for one in by_moment]
        told = [event.words for event in chart.events if event.at == at]
        told += [
            say("{stage} begins", stage=_cell_words(strip, cell))
            for strip in chart.strips
            for cell in strip.cells
            if cell.since == at
        ]
        told += [say("Photo: {words}", words=thumb.words) for thumb in chart.thumbs if thumb.at == at]
        row = [_moment(at, chart.zone), *cells, *(["; ".join(told)] if happened else [])]
        if any(row[1:]):
            rows.append(row)
    return heads, rows


def _summary(chart: Chart, first: datetime, last: datetime) -> str:
    """Tell the picture in a few sentences: what it spans, what the page says of it, and the ends of each series."""
    days = [short_day(at.astimezone(chart.zone).date()) for at in (first, last)]
    span = say("From {first} to {last}.", first=days[0], last=days[1])
    parts = [say("On {day}.", day=days[0]) if days[0] == days[1] else span, *chart.told]
    for one in chart.series:
        known = [point for point in one.points if isfinite(point.value)]
        if known and one.told != "none":
            bars = one.style == "bars" or one.told == "highest"
            point = known[-1] if one.told == "last" else (max if bars else min)(known, key=lambda point: point.value)
            told = {
                "name": sentence(one.name),
                "value": number_words(point.value),
                "unit": chart.unit,
                "day": short_day(point.at.astimezone(chart.zone).date()),
            }
            if one.told == "last":
                parts.append(say("{name}: {value} {unit} on {day}.", **told))
            elif bars:
                parts.append(say("{name}: highest {value} {unit} on {day}.", **told))
            else:
                parts.append(say("{name}: lowest {value} {unit} on {day}.", **told))
    return " ".join(parts)
