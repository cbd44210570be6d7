"""What the pages of the cold ledger show, worked out before their templates."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from math import ceil, floor
from typing import TYPE_CHECKING
from urllib.parse import quote

from markupsafe import Markup

from fruitwall.service.cold_document import ColdLedger, ColdLine, TreeCold, WinterCold
from fruitwall.service.cold_season import (
    begins_line,
    coldest_of,
    degree_hours,
    level_words,
    notices,
    pair,
    shown,
    verdict,
)
from fruitwall.service.household import number, short_day
from fruitwall.service.words import TISSUE_WORDS
from fruitwall.speech import say
from fruitwall.web.charts.chart import Chart, DrawnChart, Point, Series, draw
from fruitwall.web.svg import tag

if TYPE_CHECKING:
    from fruitwall.service.cold_document import ColdRange
    from fruitwall.service.household import Household

HEIGHT = 14
"""Height of the drawing beside a tree's name, in pixels."""

MORNING = time(6)
"""When a night's minimum stands in the picture: towards its end, when it mostly is. Our judgement."""


@dataclass(frozen=True)
class TreeRow:
    """One tree in the table of the yard."""

    name: str
    url: str
    drawn: Markup | None
    cells: tuple[str, ...]


@dataclass(frozen=True)
class ColdPage:
    """The page of the yard."""

    verdict: str
    notices: tuple[str, ...]
    winter: str
    rows: tuple[TreeRow, ...]
    degree: str
    hours_unit: str


@dataclass(frozen=True)
class WinterRow:
    """One winter beside the others."""

    name: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class TreeColdPage:
    """The page of one tree."""

    name: str
    tree_url: str
    told: tuple[str, ...]
    picture: DrawnChart | None
    levels: tuple[tuple[str, ...], ...]
    """Level, temperature, and nights, hours, degree-hours and longest run: as kept / left alone."""
    winters: tuple[WinterRow, ...]
    climate: str
    degree: str
    hours_unit: str


def cold_page(ledger: ColdLedger, household: Household) -> ColdPage:
    """Work out the page of the yard.

    Parameters
    ----------
    ledger : ColdLedger
    household : Household
        Of who reads.

    Returns
    -------
    ColdPage
    """
    scale = _scale(ledger.trees)
    return ColdPage(
        verdict=verdict(ledger, household),
        notices=tuple(notices(ledger, household)),
        winter=ledger.winter,
        rows=tuple(_row(tree, scale, household) for tree in ledger.trees),
        degree=household.degree,
        hours_unit=f"{household.step} h",
    )


def cold_url(tree: str) -> str:
    """Give the address of a tree's page."""
    return f"/season/cold/{quote(tree, safe='')}"


def _scale(trees: Sequence[TreeCold]) -> tuple[float, float]:
    """Give the ends of the axis that all trees share; freezing always belongs to it. [°C]"""
    coldest = [one for tree in trees if (one := coldest_of(tree)) is not None]
    ends = [0.0, *(one.done_c for one in coldest), *(one.alone_c for one in coldest)]
    ends += [tree.begins_c for tree in trees if tree.begins_c is not None]
    return floor(min(ends)) - 0.5, ceil(max(ends)) + 0.5


def _row(tree: TreeCold, scale: tuple[float, float], household: Household) -> TreeRow:
    coldest, line = coldest_of(tree), begins_line(tree.winter)
    if coldest is None:
        return TreeRow(tree.name, cold_url(tree.tree), None, (say("unknown"), *[""] * 6))
    return TreeRow(
        name=tree.name,
        url=cold_url(tree.tree),
        drawn=_drawn(coldest.done_c, coldest.alone_c, tree.begins_c, scale),
        cells=(
            household.bare_temperature(coldest.done_c),
            household.bare_temperature(coldest.alone_c),
            short_day(coldest.done_night),
            household.bare_temperature(tree.begins_c) if tree.begins_c is not None else "",
            *(pair(line, what, household) for what in ("nights", "hours", "degree_hours")),
        ),
    )


def _drawn(done_c: float, alone_c: float, begins_c: float | None, scale: tuple[float, float]) -> Markup:
    """Draw the coldest hour as kept (filled) and left alone (ring) on one axis, and where harm begins (bar)."""
    low, high = scale

    def at(value: float) -> str:
        return f"{100.0 * (value - low) / (high - low):.1f}%"

    middle = HEIGHT / 2
    marks = [
        tag("line", class_="cold-bed", x1="0%", x2="100%", y1=middle, y2=middle),
        tag("line", class_="cold-zero", x1=at(0.0), x2=at(0.0), y1=2, y2=HEIGHT - 2),
    ]
    if begins_c is not None:
        marks.append(tag("line", class_="cold-begins", x1=at(begins_c), x2=at(begins_c), y1=0, y2=HEIGHT))
    marks.append(tag("line", class_="cold-kept", x1=at(alone_c), x2=at(done_c), y1=middle, y2=middle))
    marks.append(tag("circle", class_="cold-alone", cx=at(alone_c), cy=middle, r=4.5))
    marks.append(tag("circle", class_="cold-done", cx=at(done_c), cy=middle, r=3))
    return tag("svg", *marks, class_="cold", width="100%", height=HEIGHT, aria_hidden="true", focusable="false")


# ---------------------------------------------------------------- one tree


def tree_cold_page(ledger: ColdLedger, tree: TreeCold, household: Household) -> TreeColdPage:
    """Work out the page of one tree.

    Parameters
    ----------
    ledger : ColdLedger
    tree : TreeCold
        Of this ledger.
    household : Household
        Of who reads.

    Returns
    -------
    TreeColdPage
    """
    lines = shown(tree.winter.lines, household) if tree.winter is not None else []
    return TreeColdPage(
        name=tree.name,
        tree_url=f"/trees/{quote(tree.tree, safe='')}",
        told=tuple(told(ledger, tree, household)),
        picture=picture_of(tree, household),
        levels=tuple(_level(line, household) for line in lines),
        winters=tuple(_winters(tree, household)),
        climate=climate_words(tree),
        degree=household.degree,
        hours_unit=f"{household.step} h",
    )


def told(ledger: ColdLedger, tree: TreeCold, household: Household) -> list[str]:
    """Tell a tree's winter in a few sentences."""
    coldest, line = coldest_of(tree), begins_line(tree.winter)
    if coldest is None or tree.tissue is None:
        return [say("Nothing is known of this tree in winter {winter} yet.", winter=ledger.winter)]
    found = [
        say(
            "Its {tissue} got to {done} at the coldest, in the night of {day}; left alone it would have been {alone}.",
            tissue=say(TISSUE_WORDS[tree.tissue]),
            done=household.temperature(coldest.done_c),
            day=short_day(coldest.done_night),
            alone=household.temperature(coldest.alone_c),
        )
    ]
    if tree.begins_c is not None and line is not None:
        found.append(
            say(
                "Harm begins near {begins} in a usual winter, with what was learned here. It was below that for {done} "
                "hours; left alone it would have been {alone}.",
                begins=household.temperature(tree.begins_c),
                done=number(line.done.hours),
                alone=number(line.alone.hours),
            )
        )
    return found


def picture_of(tree: TreeCold, household: Household) -> DrawnChart | None:
    """Draw the nights of a tree's winter.

    Parameters
    ----------
    tree : TreeCold
    household : Household
        Of who reads: in whose degrees it is drawn.

    Returns
    -------
    DrawnChart or None
        None if no night is known.
    """
    if not tree.nights or tree.tissue is None:
        return None

    def at(place: int) -> datetime:
        return datetime.combine(tree.nights[place].night + timedelta(days=1), MORNING, household.zone)

    degrees = household.degrees
    done = [Point(at(place), degrees(one.done_c)) for place, one in enumerate(tree.nights)]
    alone = [Point(at(place), degrees(one.alone_c)) for place, one in enumerate(tree.nights)]
    kept = any(one.done_c != one.alone_c for one in tree.nights)
    series = [Series(say("as kept") if kept else say("left alone"), done, look="one")]
    if kept:
        series.insert(0, Series(say("left alone"), alone, look="two"))
    if tree.begins_c is not None:
        ends = [Point(at(place), degrees(tree.begins_c)) for place in sorted({0, len(tree.nights) - 1})]
        series.insert(0, Series(say("harm begins"), ends, look="three"))
    below = sum(one.done_c < tree.begins_c for one in tree.nights) if tree.begins_c is not None else 0
    return draw(
        Chart(
            title=say("Lowest hour of its {tissue} in each night", tissue=say(TISSUE_WORDS[tree.tissue])),
            unit=household.degree,
            zone=household.zone,
            series=series,
            told=[
                say(
                    "{below} of {all} nights got below where harm begins.",
                    below=number(below),
                    all=number(len(tree.nights)),
                )
            ],
        )
    )


def _level(line: ColdLine, household: Household) -> tuple[str, ...]:
    return (
        level_words(line.level),
        household.tenths(line.level.level_c),
        *(pair(line, what, household) for what in ("nights", "hours", "degree_hours", "longest_h")),
    )


def _winters(tree: TreeCold, household: Household) -> list[WinterRow]:
    """Give this winter, the earlier ones to the same day and whole, and the climate."""
    found = []
    if tree.winter is not None:
        found.append(_winter(say("{winter}, until now", winter=tree.winter.name), tree, tree.winter, household))
    found += [_winter(say("{winter}, to the same day", winter=one.name), tree, one, household) for one in tree.to_day]
    found += [_winter(say("{winter}, all of it", winter=one.name), tree, one, household) for one in tree.whole]
    if tree.climate is not None:
        line = next((one for one in tree.climate.lines if one.level.kind == "begins"), None)
        if line is not None:
            found.append(
                WinterRow(
                    say("usual winters, left alone"),
                    (
                        "",
                        _range(tree.climate.coldest_c, household.bare_temperature),
                        _range(line.nights, number),
                        _range(line.hours, number),
                        _range(line.degree_hours, lambda value: degree_hours(value, household)),
                        "",
                    ),
                )
            )
    return found


def _winter(name: str, tree: TreeCold, winter: WinterCold, household: Household) -> WinterRow:
    coldest, line = coldest_of(tree, winter), begins_line(winter)
    return WinterRow(
        name,
        (
            household.bare_temperature(coldest.done_c) if coldest is not None else say("unknown"),
            household.bare_temperature(coldest.alone_c) if coldest is not None else say("unknown"),
            *(pair(line, what, household) for what in ("nights", "hours", "degree_hours")),
            f"{number(winter.known_hours)} / {number(winter.hours)}",
        ),
    )


def _range(of: ColdRange, write: Callable[[float], str]) -> str:
    """Write the middle of the years with what eight of ten lie between."""
    return say("{value} ({low} to {high})", value=write(of.p50), low=write(of.p10), high=write(of.p90))


def climate_words(tree: TreeCold) -> str:
    """Say what the usual winters are made of; empty without a climate."""
    if tree.climate is None:
        return ""
    return say(
        "Usual winters: {years} winters of the climate of the place, worked out for this spot with the tree left "
        "alone; the middle one, and between what 8 of 10 lie.",
        years=number(tree.climate.years),
    )
