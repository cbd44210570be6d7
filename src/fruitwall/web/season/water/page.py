"""What the pages of the season's water show, worked out before their templates."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from math import nan
from typing import TYPE_CHECKING
from urllib.parse import quote

from markupsafe import Markup

from fruitwall.service.water_entry import amount_words
from fruitwall.service.water_words import (
    due_words,
    figures,
    give_words,
    notices,
    skipped_words,
    state_words,
    tasks,
    verdict,
    yard_table,
)
from fruitwall.speech import marked, say
from fruitwall.web.charts.chart import Chart, DrawnChart, Event, Point, Series, draw
from fruitwall.web.svg import points, tag
from fruitwall.yard.display import in_household_unit

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.water_document import WaterDocument, WaterTree

WIDTH, HEIGHT = 100.0, 26.0
"""Of the drawing beside a tree's name, in pixels."""

BACK_DAYS, AHEAD_DAYS = 45, 15
"""Days that the drawing beside a name shows."""

PICTURE_BACK = 90
"""Days that are over in a tree's own picture."""

EVENING = time(20)
"""When the state at the end of a day stands in the picture."""

DONE = {
    "stored": marked("Stored. The table counts with it."),
    "known": marked("This was stored before; nothing was changed."),
}
"""What was done, by the word of the address."""


@dataclass(frozen=True)
class Typed:
    """What stands in the form."""

    tree: str = ""
    amount: str = ""
    at: str = ""


@dataclass(frozen=True)
class WateringForm:
    """The form to enter a watering.

    Attributes
    ----------
    trees : tuple of (str, str, bool)
        Id, name, and which is chosen; one alone on the page of a tree.
    typed : Typed
    number : str
        Id for the entry that it makes.
    error : str
    back : str
        ``tree`` where it stands on the page of a tree.
    unit : str
        Of an amount without one.
    """

    trees: tuple[tuple[str, str, bool], ...]
    typed: Typed
    number: str
    error: str
    back: str
    unit: str


@dataclass(frozen=True)
class TreeRow:
    """One tree in the table: its cells, and a drawing of how full its root zone was and will be."""

    name: str
    url: str
    drawn: Markup
    cells: tuple[str, ...]
    urgent: bool


@dataclass(frozen=True)
class TaskLine:
    """Something to do."""

    what: str
    why: str
    otherwise: str
    steps: tuple[str, ...]


@dataclass(frozen=True)
class WaterPage:
    """The page of the yard."""

    verdict: str
    notices: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[TreeRow, ...]
    tasks: tuple[TaskLine, ...]
    cautions: tuple[str, ...]
    form: WateringForm
    done: str


@dataclass(frozen=True)
class TreeWaterPage:
    """The page of one tree."""

    name: str
    tree_url: str
    lines: tuple[str, ...]
    pictures: tuple[DrawnChart, ...]
    figures: tuple[tuple[str, str], ...]
    waterings: tuple[tuple[str, str, str], ...]
    """When, how much, and the page of the entry."""
    readings: tuple[str, ...]
    form: WateringForm
    done: str


def tree_url(tree: str) -> str:
    """Give the address of a tree's page of water."""
    return f"/season/water/{quote(tree, safe='')}"


def _form(water: WaterDocument, household: Household, typed: Typed, error: str, *, only: str = "") -> WateringForm:
    chosen = only or typed.tree
    trees = tuple((one.tree, one.name, one.tree == chosen) for one in water.trees if only in ("", one.tree))
    return WateringForm(trees, typed, str(uuid.uuid4()), error, "tree" if only else "", household.display.volume)


def water_page(
    water: WaterDocument, household: Household, *, typed: Typed | None = None, error: str = "", done: str = ""
) -> WaterPage:
    """Work out the page of the yard.

    Parameters
    ----------
    water : WaterDocument
    household : Household
        Of who reads.
    typed : Typed, optional
        What was entered, where the form is shown again.
    error : str
        What was wrong with it.
    done : str
        A word of `DONE`.

    Returns
    -------
    WaterPage
    """
    today = water.made.astimezone(household.zone).date()
    asked = tasks(water, household, today)
    urgent = {tree for task in asked if task.urgent for tree in task.trees}
    table = yard_table(water, household, today)
    return WaterPage(
        verdict=verdict(water, household, today),
        notices=tuple(notices(water, household)),
        columns=_shown(table.columns) if table is not None else (),
        rows=tuple(
            TreeRow(row[0], tree_url(its.tree), drawing(its, today), _shown(row)[1:], its.tree in urgent)
            for row, its in zip(table.rows if table is not None else (), water.trees, strict=True)
        ),
        tasks=tuple(
            TaskLine(one.what, one.why, one.otherwise, one.steps)
            for one in asked
            if one.due <= today + timedelta(days=1)
        ),
        cautions=tuple(dict.fromkeys(text for one in asked for text in one.cautions)),
        form=_form(water, household, typed or Typed(), error),
        done=say(DONE[done]) if done in DONE else "",
    )


def _shown(cells: tuple[str, ...]) -> tuple[str, ...]:
    """Leave out what is missing: the drawing shows it, and the tree's own page tells it."""
    return (*cells[:2], *cells[3:])


def drawing(tree: WaterTree, today: date) -> Markup:
    """Draw how full a root zone was, is, and will be if nobody waters; full is at the top, a line where it lacks."""
    first, last = today - timedelta(days=BACK_DAYS), today + timedelta(days=AHEAD_DAYS)

    def x(day: date) -> float:
        return WIDTH * (day - first).days / (last - first).days

    def y(depletion_mm: float) -> float:
        return 1.0 + (HEIGHT - 2.0) * min(max(depletion_mm / tree.capacity_mm, 0.0), 1.0)

    over = [(x(one.day), y(one.depletion_mm)) for one in tree.days if one.day >= first and one.depletion_mm is not None]
    ahead = [(x(one.day), y(one.p50_mm)) for one in tree.ahead if one.day <= last]
    given = {one.at.date() for one in tree.waterings}
    marks = [
        tag("line", class_="water-lacks", x1=0, x2=WIDTH, y1=y(tree.ready_mm), y2=y(tree.ready_mm)),
        tag("line", class_="water-now", x1=x(today), x2=x(today), y1=0, y2=HEIGHT),
        *(
            tag("line", class_="water-given", x1=x(day), x2=x(day), y1=0, y2=6)
            for day in sorted(given)
            if first <= day <= today
        ),
    ]
    if len(over) > 1:
        marks.append(tag("polyline", class_="water-over", points=points(over)))
    if len(ahead) > 1:
        marks.append(tag("polyline", class_="water-ahead", points=points([*over[-1:], *ahead])))
    return tag(
        "svg", *marks, class_="water", viewBox=f"0 0 {WIDTH:.0f} {HEIGHT:.0f}", width=WIDTH, height=HEIGHT,
        aria_hidden="true", focusable="false",
    )  # fmt: skip


def tree_water_page(
    water: WaterDocument,
    tree: WaterTree,
    household: Household,
    *,
    typed: Typed | None = None,
    error: str = "",
    done: str = "",
) -> TreeWaterPage:
    """Work out the page of one tree.

    Parameters
    ----------
    water : WaterDocument
    tree : WaterTree
    household : Household
    typed, error, done
        As in `water_page`.

    Returns
    -------
    TreeWaterPage
    """
    today = water.made.astimezone(household.zone).date()
    lines = [say("Now: {state}.", state=state_words(tree)), say("Next watering: {day}.", day=due_words(tree, today))]
    if tree.due is not None:
        lines.append(say("Give then: {amount}.", amount=give_words(tree, household)))
        if skipped := skipped_words(tree):
            lines.append(say("If skipped: {what}", what=skipped))
    if tree.frost_litres > 0.0:
        lines.append(say("Before the freeze: {amount}.", amount=give_words(tree, household, tree.frost_litres)))
    if tree.believed_from is None:
        lines.append(say("No watering was entered: it is taken to have got water whenever it began to lack it."))
    return TreeWaterPage(
        name=tree.name,
        tree_url=f"/trees/{quote(tree.tree, safe='')}",
        lines=tuple(lines),
        pictures=tuple(
            one for one in (_filled(tree, household, today), _came(tree, household, today)) if one is not None
        ),
        figures=tuple(figures(tree, household)),
        waterings=tuple(
            (
                household.moment(one.at, water.made),
                amount_words(one.litres, household.display)
                if one.written
                else say("{amount}, taken to have filled it", amount=amount_words(one.litres, household.display)),
                f"/trees/{quote(tree.tree, safe='')}/{one.entry}",
            )
            for one in reversed(tree.waterings)
        ),
        readings=tuple(
            say(
                "{moment}: read {read} missing, reckoned {before}; taken as {after}.",
                moment=household.moment(one.at, water.made),
                read=amount_words(one.read_mm * tree.area_m2, household.display),
                before=amount_words(one.before_mm * tree.area_m2, household.display),
                after=amount_words(one.after_mm * tree.area_m2, household.display),
            )
            for one in reversed(tree.readings[-10:])
        ),
        form=_form(water, household, typed or Typed(), error, only=tree.tree),
        done=say(DONE[done]) if done in DONE else "",
    )


def _at(day: date, household: Household) -> datetime:
    return datetime.combine(day, EVENING, household.zone)


def _filled(tree: WaterTree, household: Household, today: date) -> DrawnChart | None:
    """Draw the water in the root zone, over and to come."""
    unit = household.display.volume

    def amount(depletion_mm: float | None) -> float:
        if depletion_mm is None:
            return nan
        return in_household_unit((tree.capacity_mm - depletion_mm) * tree.area_m2, "volume", household.display)

    over = [one for one in tree.days if one.day >= today - timedelta(days=PICTURE_BACK)]
    if not over:
        return None
    ends = (over[0].day, tree.ahead[-1].day if tree.ahead else over[-1].day)
    series = [
        Series(
            say("Water in the root zone"), [Point(_at(one.day, household), amount(one.depletion_mm)) for one in over]
        ),
        Series(
            say("To come, if nobody waters"),
            [
                Point(_at(one.day, household), amount(one.p50_mm), amount(one.p90_mm), amount(one.p10_mm))
                for one in tree.ahead
                if one.day > today
            ],
            look="two",
        ),
        Series(
            say("Below this it begins to lack water"),
            [Point(_at(day, household), amount(tree.ready_mm)) for day in ends],
            look="three",
        ),
    ]
    first = _at(over[0].day, household)
    events = [
        Event(one.at, say("Watered: {amount}", amount=amount_words(one.litres, household.display)), "deed")
        for one in tree.waterings
        if one.at >= first
    ]
    title = say("Water in the root zone of {tree}, {unit}", tree=tree.name, unit=unit)
    return draw(Chart(title, unit, household.zone, [one for one in series if one.points], events, zero=True))


def _came(tree: WaterTree, household: Household, today: date) -> DrawnChart | None:
    """Draw what came: rain on its ground, and water that was given."""
    over = [one for one in tree.days if one.day >= today - timedelta(days=PICTURE_BACK)]

    def amount(litres: float) -> float:
        return in_household_unit(litres, "volume", household.display)

    begun = tree.believed_from.astimezone(household.zone).date() if tree.believed_from is not None else None
    rain = [(one.day, one.rain_mm * (1.0 - tree.roof_share) * tree.area_m2) for one in over if one.rain_mm > 0.0]
    given = [(one.day, one.given_l) for one in over if one.given_l > 0.0]
    entered = [one for one in given if begun is not None and one[0] >= begun]
    assumed = [one for one in given if begun is None or one[0] < begun]
    if not rain and not given:
        return None
    series = [
        Series(say("Rain over its crown"), [Point(_at(day, household), amount(each)) for day, each in rain], "bars"),
        Series(say("Watered"), [Point(_at(day, household), amount(each)) for day, each in entered], "bars", "two"),
        Series(
            say("Water that it is taken to have got"),
            [Point(_at(day, household), amount(each)) for day, each in assumed],
            "bars",
            "three",
        ),
    ]
    unit = household.display.volume
    title = say("What came, by the day, {unit}", unit=unit)
    return draw(Chart(title, unit, household.zone, [one for one in series if one.points], zero=True))
