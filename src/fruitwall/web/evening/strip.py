"""The night as a strip of hours: every tree's margin from dusk to after sunrise, as a picture and as a table.

A row is drawn like a course of masonry: where a tree is safe there is only a low course, where it comes near its
limit the blocks rise, beyond the limit they stand full, far beyond they stand full and are split by a joint. Blocks
that rise carry the margin as a number, so that the picture reads without colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup

from fruitwall.service.evening_document import EveningPlan, TreePlan
from fruitwall.service.household import Household
from fruitwall.speech import say, say_count
from fruitwall.web.evening.marks import does_something
from fruitwall.web.margins import BANDS, BEYOND, FAR, NEAR, SAFE, Band, band_of
from fruitwall.web.svg import number, tag

AFTER_SUNRISE = timedelta(hours=2)
"""The coldest tissue of a frost night often comes with the first light; two hours show the way out of it."""
ROW_HEIGHT = 24
GAP = 0.035
"""Half of the joint between two blocks, as a share of an hour."""


@dataclass(frozen=True)
class Cell:
    """One hour of one tree."""

    time: datetime
    margin_k: float
    """Margin; NaN where nothing is known."""


@dataclass(frozen=True)
class Course:
    """One tree through the night, under the plan or with nothing done."""

    label: str
    """Short name before the picture."""
    picture: Markup
    """SVG of the row."""
    summary: str
    """The same in words."""
    numbers: list[tuple[str, str]]
    """Per hour: key of the band and margin as a number, for the table."""


@dataclass(frozen=True)
class StripRow:
    """One tree in the strip."""

    number: int
    tree_id: str
    name: str
    measure: str | None
    """Chosen measure in words, if there is something to choose: not for trees that are safe by themselves."""
    verdict: str
    verdict_with_plan: str
    courses: list[Course]
    """With nothing done and, if something is to be done, with the plan."""


@dataclass(frozen=True)
class Strip:
    """The whole strip."""

    summary: str
    """What it shows, in words."""
    hours: list[str]
    """Local hour of each column, two digits."""
    axis: Markup
    """SVG of the column heads, with sunset and sunrise."""
    exposed: list[StripRow]
    """Trees for which something is to be done or that come near their limit, most endangered first."""
    sheltered: list[StripRow]
    """The others, most endangered first."""


def strip_of(plan: EveningPlan, household: Household, numbers: dict[str, int]) -> Strip:
    """Lay out the strip of a plan.

    Parameters
    ----------
    plan : EveningPlan
    household : Household
        Units and zone.
    numbers : dict
        Number of each tree by its id, the same as on the drawing.

    Returns
    -------
    Strip
    """
    times = _columns(plan)
    by_danger = sorted(plan.trees, key=_danger)
    exposed = [tree for tree in by_danger if _is_exposed(tree, times)]
    sheltered = [tree for tree in by_danger if not _is_exposed(tree, times)]
    return Strip(
        summary=_summary(plan, times, household),
        hours=[household.hour(time) for time in times],
        axis=_axis(plan, times, household),
        exposed=[_row(tree, times, household, numbers[tree.id], measure=tree.measure_name) for tree in exposed],
        sheltered=[_row(tree, times, household, numbers[tree.id], measure=None) for tree in sheltered],
    )


def course_picture(margins_k: Sequence[float], household: Household, *, label: str, width: str = "100%") -> Markup:
    """Draw one row of blocks.

    Parameters
    ----------
    margins_k : sequence of float
        Margin of each hour, NaN where unknown. [K]
    household : Household
        Unit of the numbers in the blocks.
    label : str
        Text that stands for the picture where it cannot be seen.
    width : str
        Width of the picture in its place.

    Returns
    -------
    Markup
        An SVG as wide as its place; blocks stretch, numbers do not.
    """
    columns = len(margins_k)
    blocks = []
    for band in BANDS:
        outline = "".join(
            _block(column, band.height, split=band is FAR)
            for column, margin in enumerate(margins_k)
            if band_of(margin) is band
        )
        if outline:
            blocks.append(tag("path", class_=f"block {band.key}", d=outline))
    # The inner picture is stretched to the width of its place; text must not be, so it stands outside, in percent.
    inner = tag(
        "svg", *blocks, viewBox=f"0 0 {max(columns, 1)} 1", preserveAspectRatio="none", width="100%", height="100%"
    )
    figures = [
        _figure(household.margin_number(margin), band_of(margin), 100 * (column + 0.5) / columns)
        for column, margin in enumerate(margins_k)
        if band_of(margin) is not SAFE
    ]
    return tag("svg", inner, *figures, class_="course", width=width, height=ROW_HEIGHT, role="img", aria_label=label)


def _figure(text: str, band: Band | None, across: float) -> Markup:
    """Write a number in the middle of its block; `across` in percent of the row."""
    key, height = (band.key, band.height) if band is not None else ("unknown", 1.0)
    middle = ROW_HEIGHT * (1 - height / 2)
    narrow = " long" if len(text) > 2 else ""
    return tag("text", text, class_=f"figure on-{key}{narrow}", x=f"{number(across)}%", y=middle, dy="0.36em")


def _block(column: int, height: float, *, split: bool) -> str:
    """Give the outline of one block, standing on the ground; a split one is two stones with a joint between."""
    left, width = column + GAP, 1 - 2 * GAP
    if not split:
        return _stone(left, 1 - height, width, height)
    return _stone(left, 0, width, 0.12) + _stone(left, 0.2, width, 0.8)


def _stone(x: float, y: float, width: float, height: float) -> str:
    return f"M{number(x)} {number(y)}h{number(width)}v{number(height)}h{number(-width)}z"


def _columns(plan: EveningPlan) -> list[datetime]:
    """Give the hours from the one in which the sun sets to two hours after it has risen."""
    first = plan.sunset - timedelta(hours=1)
    last = plan.sunrise + AFTER_SUNRISE
    return sorted({hour.time for tree in plan.trees for hour in tree.hours if first < hour.time <= last})


def _danger(tree: TreePlan) -> tuple[bool, float, float, float]:
    """Order: what gets a measure first; then by chance of harm, worth at stake and margin if nothing is done."""
    return (
        not does_something(tree.measure),
        -tree.chance_of_harm["nothing"],
        -tree.expected_loss["nothing"],
        tree.margin_k["nothing"],
    )


def _is_exposed(tree: TreePlan, times: list[datetime]) -> bool:
    """Tell whether a tree belongs to the open part of the strip."""
    shown = set(times)
    lowest = min((hour.margin_if_nothing_k for hour in tree.hours if hour.time in shown), default=float("inf"))
    return does_something(tree.measure) or tree.verdict != "safe" or lowest < NEAR.from_k


def _row(
    tree: TreePlan, times: list[datetime], household: Household, tree_number: int, *, measure: str | None
) -> StripRow:
    """Lay out one tree."""
    by_time = {hour.time: hour for hour in tree.hours}
    unknown = float("nan")
    nothing = [Cell(time, by_time[time].margin_if_nothing_k if time in by_time else unknown) for time in times]
    chosen = [Cell(time, by_time[time].margin_k if time in by_time else unknown) for time in times]
    courses = [_course(say("alone"), say("If nothing is done"), nothing, household)]
    if does_something(tree.measure):
        courses.append(_course(say("plan"), say("With the plan"), chosen, household))
    return StripRow(
        number=tree_number,
        tree_id=tree.id,
        name=full_name(tree),
        measure=measure,
        verdict=tree.verdict,
        verdict_with_plan=tree.verdict_with_plan,
        courses=courses,
    )


def full_name(tree: TreePlan) -> str:
    """Give a tree's name with its cultivar, unless the name already says it."""
    if tree.cultivar and tree.cultivar.lower() not in tree.name.lower():
        return f"{tree.name} \N{LEFT SINGLE QUOTATION MARK}{tree.cultivar}\N{RIGHT SINGLE QUOTATION MARK}"
    return tree.name


def _course(label: str, lead: str, cells: list[Cell], household: Household) -> Course:
    """Draw one course and say it in words."""
    summary = say("{lead}: {story}.", lead=lead, story=_story(cells, household))
    margins = [cell.margin_k for cell in cells]
    bands = [band_of(margin) for margin in margins]
    numbers = [
        (band.key if band is not None else "unknown", household.margin_number(margin))
        for band, margin in zip(bands, margins, strict=True)
    ]
    return Course(label, course_picture(margins, household, label=summary), summary, numbers)


def _story(cells: list[Cell], household: Household) -> str:
    """Tell a course in words: when it goes beyond, until when, and its lowest margin."""
    known = [cell for cell in cells if band_of(cell.margin_k) is not None]
    if not known:
        return say("nothing is known")
    lowest = min(known, key=lambda cell: cell.margin_k)
    margin, clock = household.margin(lowest.margin_k), household.clock(lowest.time)
    end = say("lowest margin {margin} at {clock}", margin=margin, clock=clock)
    beyond = [cell for cell in known if band_of(cell.margin_k) in (BEYOND, FAR)]
    if beyond:
        return say(
            "beyond what it stands from {first} to {last}, {end}",
            first=household.clock(beyond[0].time),
            last=household.clock(beyond[-1].time),
            end=end,
        )
    if band_of(lowest.margin_k) is NEAR:
        return say("near what it stands, {end}", end=end)
    return say("safe all night, {end}", end=end)


def _summary(plan: EveningPlan, times: list[datetime], household: Household) -> str:
    """Tell the whole strip in two sentences."""
    shown = set(times)
    first: datetime | None = None
    alone = planned = 0
    for tree in plan.trees:
        hours = [hour for hour in tree.hours if hour.time in shown]
        beyond = [hour.time for hour in hours if hour.margin_if_nothing_k < 0]
        alone += bool(beyond)
        planned += any(hour.margin_k < 0 for hour in hours)
        if beyond:
            first = min(beyond) if first is None else min(first, min(beyond))
    total = len(plan.trees)
    if first is None:
        return say_count(
            "With nothing done, the only tree is not likely to go beyond what it stands.",
            "With nothing done, none of the {count} trees is likely to go beyond what it stands.",
            total,
        )
    return say_count(
        "With nothing done, {count} of {total} trees would more likely than not go beyond what it stands, "
        "at {clock}; with the plan, {planned}.",
        "With nothing done, {count} of {total} trees would more likely than not go beyond what they stand, "
        "the first at {clock}; with the plan, {planned}.",
        alone,
        total=total,
        clock=household.clock(first),
        planned=planned or say("none"),
    )


def _axis(plan: EveningPlan, times: list[datetime], household: Household) -> Markup:
    """Draw the column heads: each hour, every third one larger in the middle of its column, sunset and sunrise."""
    columns = max(len(times), 1)
    parts: list[Markup] = []
    for column, time in enumerate(times):
        hour = household.hour(time)
        parts.append(
            tag(
                "text",
                hour,
                class_="hour" if int(hour) % 3 == 0 else "hour minor",
                x=f"{number(100 * (column + 0.5) / columns)}%",
                y=30,
            )
        )
    for moment, word in ((plan.sunset, say("sunset")), (plan.sunrise, say("sunrise"))):
        share = _share(moment, times)
        if share is None:
            continue
        x = f"{number(100 * share)}%"
        late = share > 0.5
        parts.append(tag("text", f"{word} {household.clock(moment)}", class_="sun end" if late else "sun", x=x, y=11))
        parts.append(tag("line", class_="sun", x1=x, x2=x, y1=15, y2=36))
    label = (
        say("Hours from {first} to {last}", first=household.clock(times[0]), last=household.clock(times[-1]))
        if times
        else say("No hours")
    )
    return tag("svg", *parts, class_="axis", width="100%", height=36, role="img", aria_label=label)


def _share(moment: datetime, times: list[datetime]) -> float | None:
    """Give where a moment lies across the strip, 0-1, or None if it lies outside; a column is centred on its hour."""
    if len(times) < 2:
        return None
    step = times[1] - times[0]
    share = float((moment - times[0]) / step + 0.5) / len(times)
    return share if 0 <= share <= 1 else None
