"""What the pages of heat show, worked out before their templates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from math import ceil, floor
from typing import TYPE_CHECKING
from urllib.parse import quote

from markupsafe import Markup

from fruitwall.service.heat_document import LEVELS_C, HeatDay, HeatSeason, HotTissue, TreeHeat
from fruitwall.service.heat_season import WORTH_TELLING
from fruitwall.service.heat_words import FOR_PEOPLE, NAMES, SOURCES, TISSUES, day_words, notices, verdict, why
from fruitwall.service.household import bare_percent, number, percent, short_day
from fruitwall.speech import say, say_count
from fruitwall.web.charts.chart import Chart, DrawnChart, Point, Series, draw
from fruitwall.web.svg import tag

if TYPE_CHECKING:
    from fruitwall.service.household import Household

HEIGHT = 14
"""Height of the drawing beside a tree's name, in pixels."""

AHEAD_SHOWN = 5
"""Trees told one by one of the coming days; the table has all. Our judgement."""

AFTERNOON = time(15)
"""When a day's hottest hour stands in the picture: about when it mostly is."""

DAYS_SHOWN = 10
"""Hottest past days listed of a tree. Our judgement."""


@dataclass(frozen=True)
class TreeRow:
    """One tree in the table of the yard."""

    name: str
    url: str
    drawn: Markup | None
    cells: tuple[str, ...]


@dataclass(frozen=True)
class HeatPage:
    """The page of the yard.

    Attributes
    ----------
    verdict : str
    ahead : tuple of str
        Which trees may be hurt in the coming days, and why, most endangered first.
    notices : tuple of str
    people : str
        What heat does to who works in it.
    since : str
    rows : tuple of TreeRow
    degree : str
    sources : tuple of str
    """

    verdict: str
    ahead: tuple[str, ...]
    notices: tuple[str, ...]
    people: str
    since: str
    rows: tuple[TreeRow, ...]
    degree: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class TreeHeatPage:
    """The page of one tree.

    Attributes
    ----------
    name, tree_url : str
    told : tuple of str
    picture : DrawnChart or None
    levels : tuple of str
        Round levels at which hours are counted.
    tissues : tuple of tuple of str
        Tissue, hottest hour, when, where harm begins, hours at or above each level and where harm begins, chance of
        harm.
    coming, hottest : tuple of tuple of str
        Days of the forecast, and the hottest ones that were: as `heat_words.day_words`.
    degree : str
    """

    name: str
    tree_url: str
    told: tuple[str, ...]
    picture: DrawnChart | None
    levels: tuple[str, ...]
    tissues: tuple[tuple[str, ...], ...]
    coming: tuple[tuple[str, ...], ...]
    hottest: tuple[tuple[str, ...], ...]
    degree: str


def heat_page(season: HeatSeason, household: Household) -> HeatPage:
    """Work out the page of the yard.

    Parameters
    ----------
    season : HeatSeason
    household : Household
        Of who reads.

    Returns
    -------
    HeatPage
    """
    scale = _scale(season.trees)
    people = say(FOR_PEOPLE)
    return HeatPage(
        verdict=verdict(season, household),
        ahead=tuple(_ahead(season, household)),
        notices=tuple(line for line in notices(season, household) if line != people),
        people=people,
        since=short_day(season.since.astimezone(household.zone).date()),
        rows=tuple(_row(tree, scale, household) for tree in season.trees),
        degree=household.degree,
        sources=tuple(say(one) for one in SOURCES),
    )


def heat_url(tree: str) -> str:
    """Give the address of a tree's page."""
    return f"/season/heat/{quote(tree, safe='')}"


def _ahead(season: HeatSeason, household: Household) -> list[str]:
    """Say which trees may be hurt in the coming days and why."""
    found = []
    for tree in season.trees:
        worst, day = tree.worst(coming=True), max(tree.days, key=lambda one: one.harm, default=None)
        if worst is not None and day is not None and day.harm >= WORTH_TELLING:
            found.append((day.harm, tree, day, worst))
    found.sort(key=lambda one: -one[0])
    more = len(found) - AHEAD_SHOWN
    rest = []
    if more > 0:
        rest = [say_count("{count} more tree: see the table.", "{count} more trees: see the table.", more)]
    return [
        say(
            "{tree}, {day}: {chance} chance of harm. {why}",
            tree=tree.name,
            day=short_day(day.day),
            chance=percent(harm),
            why=why(worst, household),
        )
        for harm, tree, day, worst in found[:AHEAD_SHOWN]
    ] + rest


def _scale(trees: Sequence[TreeHeat]) -> tuple[float, float]:
    """Give the ends of the axis that all trees share. [°C]"""
    hot = [one for tree in trees if (one := tree.worst(coming=False)) is not None]
    ends = [one.hottest_c for one in hot] + [one.begins.mean_c + one.begins.sd_k for one in hot]
    return floor(min(ends, default=30.0)) - 3.0, ceil(max(ends, default=50.0)) + 0.5


def _row(tree: TreeHeat, scale: tuple[float, float], household: Household) -> TreeRow:
    worst = tree.worst(coming=False)
    ahead = max((day.harm for day in tree.days), default=None)
    to_come = "" if ahead is None else bare_percent(ahead)
    if worst is None:
        what = say("unknown") if not tree.known else say("never hot")
        return TreeRow(tree.name, heat_url(tree.tree), None, (what, *[""] * 6, to_come))
    leaf, bark = tree.of("leaf"), tree.of("bark")
    root = tree.of("root")
    return TreeRow(
        name=tree.name,
        url=heat_url(tree.tree),
        drawn=_drawn(worst, scale),
        cells=(
            say(NAMES[worst.tissue]),
            _bare(leaf, household),
            household.bare_temperature(tree.leaf_dry_c) if tree.leaf_dry_c is not None else "",
            _bare(bark, household),
            _bare(root, household),
            number(worst.hours_above),
            bare_percent(worst.harm),
            to_come,
        ),
    )


def _bare(one: HotTissue | None, household: Household) -> str:
    return "" if one is None else household.bare_temperature(one.hottest_c)


def _drawn(one: HotTissue, scale: tuple[float, float]) -> Markup:
    """Draw the hottest hour (dot) against where harm begins (bar) with its doubt (block)."""
    low, high = scale

    def at(value: float) -> float:
        return min(max(100.0 * (value - low) / (high - low), 0.0), 100.0)

    middle, begins = HEIGHT / 2, one.begins
    left, right = at(begins.mean_c - begins.sd_k), at(begins.mean_c + begins.sd_k)
    marks = [
        tag("line", class_="heat-bed", x1="0%", x2="100%", y1=middle, y2=middle),
        tag("rect", class_="heat-doubt", x=f"{left:.1f}%", width=f"{right - left:.1f}%", y=2, height=HEIGHT - 4),
        tag(
            "line",
            class_="heat-begins",
            x1=f"{at(begins.mean_c):.1f}%",
            x2=f"{at(begins.mean_c):.1f}%",
            y1=0,
            y2=HEIGHT,
        ),
        tag("circle", class_="heat-hottest", cx=f"{at(one.hottest_c):.1f}%", cy=middle, r=3.5),
    ]
    return tag("svg", *marks, class_="heat", width="100%", height=HEIGHT, aria_hidden="true", focusable="false")


# ---------------------------------------------------------------- one tree


def tree_heat_page(season: HeatSeason, tree: TreeHeat, household: Household) -> TreeHeatPage:
    """Work out the page of one tree.

    Parameters
    ----------
    season : HeatSeason
    tree : TreeHeat
        Of this season.
    household : Household
        Of who reads.

    Returns
    -------
    TreeHeatPage
    """
    hottest = sorted(tree.past_days, key=lambda one: (-one.harm, -one.leaf_c))[:DAYS_SHOWN]
    return TreeHeatPage(
        name=tree.name,
        tree_url=f"/trees/{quote(tree.tree, safe='')}",
        told=tuple(_told(season, tree, household)),
        picture=picture_of(tree, household),
        levels=tuple(say("From {level} on (h)", level=household.temperature(level)) for level in LEVELS_C),
        tissues=tuple(_tissue(one, household) for one in tree.past),
        coming=tuple(day_words(one, household) for one in tree.days),
        hottest=tuple(day_words(one, household) for one in hottest),
        degree=household.degree,
    )


def _told(season: HeatSeason, tree: TreeHeat, household: Household) -> list[str]:
    """Tell a tree's heat in a few sentences."""
    found = []
    ahead = max(tree.days, key=lambda one: one.harm, default=None)
    if ahead is not None and ahead.harm >= WORTH_TELLING:
        found.append(
            say("To come: {chance} chance of harm on {day}.", chance=percent(ahead.harm), day=short_day(ahead.day))
        )
    elif ahead is not None:
        found.append(say("No heat that scorches it is in the forecast."))
    since = short_day(season.since.astimezone(household.zone).date())
    worst = tree.worst(coming=False)
    if worst is None:
        found.append(
            say("It was never hot since {since}.", since=since)
            if tree.known
            else say("Nothing is known of this tree since {since}.", since=since)
        )
        return found
    found.append(say("Hottest since {since}: {why}", since=since, why=why(worst, household)))
    found.append(
        say(
            "That is a {chance} chance of harm. Harm to its {tissue} begins near {begins}, give or take {doubt}.",
            chance=percent(worst.harm),
            tissue=say(TISSUES[worst.tissue]),
            begins=household.temperature(worst.begins.mean_c),
            doubt=household.difference(worst.begins.sd_k),
        )
    )
    return found


def picture_of(tree: TreeHeat, household: Household) -> DrawnChart | None:
    """Draw the warm days of a tree and those of the forecast.

    Parameters
    ----------
    tree : TreeHeat
    household : Household
        Of who reads: in whose degrees it is drawn.

    Returns
    -------
    DrawnChart or None
        None if no warm day is known.
    """
    worst = tree.worst(coming=False) or tree.worst(coming=True)
    roots = worst is not None and worst.tissue == "root"
    limit = worst if roots else tree.of("leaf") or tree.of("leaf", coming=True)
    days = [*tree.past_days, *(one for one in tree.days if all(one.day != past.day for past in tree.past_days))]
    if not days or limit is None:
        return None

    def at(one: HeatDay) -> datetime:
        return datetime.combine(one.day, AFTERNOON, household.zone)

    degrees, begins = household.degrees, limit.begins
    ends = [at(days[0]), at(days[-1])] if len(days) > 1 else [at(days[0]), at(days[0]) + timedelta(hours=1)]
    low, middle, high = (degrees(begins.mean_c + off * begins.sd_k) for off in (-1.0, 0.0, 1.0))
    series = [Series(say("harm begins"), [Point(one, middle, low, high) for one in ends], look="three", told="none")]
    if roots:
        found = [(one, one.root_c) for one in days if one.root_c is not None]
        above = sum(value >= begins.mean_c for _, value in found)
        hot = [Point(at(one), degrees(value)) for one, value in found]
        series.append(Series(say("pot roots"), hot, look="one", told="highest"))
    else:
        above = sum(one.leaf_c >= begins.mean_c for one in days)
        dry = [Point(at(one), degrees(one.leaf_dry_c)) for one in days]
        series.append(Series(say("if dry"), dry, look="two", told="highest"))
        wet = [Point(at(one), degrees(one.leaf_c)) for one in days]
        series.append(Series(say("watered"), wet, look="one", told="highest"))
    title = (
        say("Hottest hour of its roots at the sunny wall of the pot, on each warm day")
        if roots
        else say("Hottest hour of a leaf in the sun, on each warm day")
    )
    reached = say("{above} of {all} warm days reached where harm begins.", above=number(above), all=number(len(days)))
    return draw(Chart(title=title, unit=household.degree, zone=household.zone, series=series, told=[reached]))


def _tissue(one: HotTissue, household: Household) -> tuple[str, ...]:
    return (
        say(NAMES[one.tissue]),
        household.bare_temperature(one.hottest_c),
        household.moment(one.at - timedelta(minutes=30)),
        household.temperatures(one.begins.mean_c - one.begins.sd_k, one.begins.mean_c + one.begins.sd_k),
        *(number(hours) for hours in one.hours_at_levels),
        number(one.hours_above),
        bare_percent(one.harm),
    )
