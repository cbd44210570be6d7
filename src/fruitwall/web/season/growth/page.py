"""What the page of growth shows, worked out before its template."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING
from urllib.parse import quote

from markupsafe import Markup

from fruitwall.service.growth_document import Growth, StageExpected, TreeGrowth
from fruitwall.service.growth_season import (
    EXPECTED_NAMES,
    STATUS_WORDS,
    carries_words,
    expected_words,
    harvest_words,
    later_words,
    next_words,
    notices,
    range_words,
    since_words,
    told_of,
    verdict,
)
from fruitwall.service.household import month_name, short_day
from fruitwall.service.ledger import STAGES
from fruitwall.service.stages_told import stage_words
from fruitwall.speech import say, say_chain, say_count
from fruitwall.web.svg import tag

if TYPE_CHECKING:
    from fruitwall.service.household import Household

MONTHS_BACK, MONTHS = 3, 15
"""The strip begins so many months before this one, and is so long."""

ROW_HEIGHT = 18
"""Height of a row of the strip, in pixels."""

ROWS = ("bloom", "harvest", "flush", "shedding", "dormant")
"""Rows of the strip, in the order of what matters to most."""

MARKS_OF = {
    "bloom": ("bud", "bloom"),
    "harvest": ("fruit_set", "fruit", "harvest", "harvested"),
    "flush": ("flush",),
    "shedding": ("shedding",),
    "dormant": ("dormant",),
}
"""Which entered stages stand in which row."""


@dataclass(frozen=True)
class StripRow:
    """One row of a tree's year: a name, the drawing, and the same in words."""

    name: str
    drawn: Markup
    told: str
    how: str


@dataclass(frozen=True)
class EnteredLine:
    """A stage that was entered."""

    words: str
    entry: str
    fresh: bool
    url: str


@dataclass(frozen=True)
class TreeCard:
    """One tree.

    Attributes
    ----------
    id, name, url : str
    carries, since, harvest, coming : str
    told : tuple of str
        What the harvest rests on.
    later : str
        When the crop after it may be expected; empty for none.
    rows : tuple of StripRow
    axis : Markup
        Months over the strip.
    entered : tuple of EnteredLine
    sources : tuple of str
    open : bool
        Whether something was just entered for it.
    """

    id: str
    name: str
    url: str
    carries: str
    since: str
    harvest: str
    coming: str
    told: tuple[str, ...]
    later: str
    rows: tuple[StripRow, ...]
    axis: Markup
    entered: tuple[EnteredLine, ...]
    sources: tuple[str, ...]
    open: bool


@dataclass(frozen=True)
class GrowthPage:
    """The whole page."""

    verdict: str
    notices: tuple[str, ...]
    trees: tuple[TreeCard, ...]
    stages: tuple[tuple[str, str], ...]
    today: str
    months: str
    error: str
    error_tree: str
    day: str


def growth_page(
    growth: Growth, household: Household, *, just: str = "", error: str = "", error_tree: str = "", day: str = ""
) -> GrowthPage:
    """Work out the page.

    Parameters
    ----------
    growth : Growth
    household : Household
        Of who reads.
    just : str
        Tree of which something was just entered.
    error, error_tree, day : str
        What is wrong with what was entered, of which tree, and the day that was typed.

    Returns
    -------
    GrowthPage
    """
    first, last = strip_ends(growth.today)
    return GrowthPage(
        verdict=verdict(growth),
        notices=tuple(notices(growth)),
        trees=tuple(_card(one, growth.today, (first, last), just or error_tree) for one in growth.trees),
        stages=tuple((key, stage_words(key)) for key in STAGES),
        today=growth.today.isoformat(),
        months=say(
            "{first} – {last}",
            first=say("{month} {year}", month=month_name(first), year=f"{first.year}"),
            last=say(
                "{month} {year}", month=month_name(last - timedelta(days=1)), year=f"{(last - timedelta(days=1)).year}"
            ),
        ),
        error=error,
        error_tree=error_tree,
        day=day,
    )


def strip_ends(today: date) -> tuple[date, date]:
    """Give the first day of the strip and the first one after it."""
    month = today.year * 12 + today.month - 1 - MONTHS_BACK
    return date(month // 12, month % 12 + 1, 1), date((month + MONTHS) // 12, (month + MONTHS) % 12 + 1, 1)


def growth_url(tree: str) -> str:
    """Give the address of a tree on the page."""
    return f"/season/growth#tree-{quote(tree, safe='')}"


def _card(tree: TreeGrowth, today: date, ends: tuple[date, date], just: str) -> TreeCard:
    fresh = any(one.fresh for one in tree.entered)
    return TreeCard(
        id=tree.tree,
        name=tree.name,
        url=f"/trees/{quote(tree.tree, safe='')}",
        carries=carries_words(tree),
        since=say_chain(since_words(tree), ","),
        harvest=harvest_words(tree.harvest, today),
        coming=next_words(tree, today),
        told=tuple(told_of(tree, today)),
        later=later_words(tree.later, today),
        rows=tuple(_rows(tree, today, ends)),
        axis=_axis(ends, today),
        entered=tuple(
            EnteredLine(
                words=f"{_stage_words(one.stage)}, {_day(one.day, today)}",
                entry=one.entry,
                fresh=one.fresh,
                url=f"/trees/{quote(tree.tree, safe='')}/{one.entry}",
            )
            for one in tree.entered
        ),
        sources=tuple(
            sorted(
                {source for one in tree.expected for source in one.sources}
                | set(tree.harvest.sources if tree.harvest is not None else ())
            )
        ),
        open=just == tree.tree or fresh,
    )


def _stage_words(stage: str) -> str:
    return say("Harvested") if stage == "harvested" else stage_words(stage)


def _day(day: date, today: date) -> str:
    return short_day(day) if (today - day).days < 183 else f"{short_day(day)} {day.year}"


# ---------------------------------------------------------------- the strip


def _rows(tree: TreeGrowth, today: date, ends: tuple[date, date]) -> Sequence[StripRow]:
    found = []
    for row in ROWS:
        spans = [one for one in tree.expected if one.stage == row]
        bars = [span for one in spans for span in _each_year(one, ends)]
        told = [expected_words(one, today) for one in spans]
        how = sorted({_how(one) for one in spans})
        if row == "harvest" and tree.harvest is not None:
            # What is reckoned for this tree stands for the months of its kind, which are told beside it.
            bars = [(one.first, one.last) for one in (tree.harvest, tree.later) if one is not None]
            how = [say("months of its kind: {range}", range=say_chain(told))] if told else []
            told = [range_words(tree.harvest.first, tree.harvest.last, today)]
        marks = [(one.day, one.stage) for one in tree.entered if one.stage in MARKS_OF[row]]
        if not bars and not marks:
            continue
        drawn = _drawn(row, bars, [day for day, _ in marks if ends[0] <= day < ends[1]], today, ends)
        entered = [say("entered {day}", day=_day(day, today)) for day, _ in marks[:2]]
        found.append(StripRow(say(EXPECTED_NAMES[row]), drawn, say_chain(told), say_chain([*how, *entered])))
    return found


def _how(one: StageExpected) -> str:
    if one.basis == "heat":
        return say("by chill and warmth at the tree, as published for its cultivar")
    if one.basis == "own":
        return say_count(
            "from {count} bloom of this tree and its kind",
            "from {count} blooms of this tree and its kind",
            one.own_years,
        )
    return say(STATUS_WORDS[one.status])


def _each_year(one: StageExpected, ends: tuple[date, date]) -> list[tuple[date, date]]:
    """Give a span in each year that the strip shows."""
    found = []
    for years in (-1, 0, 1):
        shift = timedelta(days=round(365.25 * years))
        if one.last + shift >= ends[0] and one.first + shift < ends[1]:
            found.append((one.first + shift, one.last + shift))
    return found


def _at(day: date, ends: tuple[date, date]) -> float:
    """Give the place of a day along the strip. [%]"""
    return min(max(100.0 * (day - ends[0]).days / (ends[1] - ends[0]).days, 0.0), 100.0)


def _drawn(
    row: str, bars: Sequence[tuple[date, date]], marks: Sequence[date], today: date, ends: tuple[date, date]
) -> Markup:
    middle = ROW_HEIGHT / 2
    parts = [tag("line", class_="growth-bed", x1="0%", x2="100%", y1=middle, y2=middle)]
    for first, last in bars:
        left, right = _at(first, ends), _at(last + timedelta(days=1), ends)
        if right > left:
            parts.append(
                tag(
                    "rect",
                    class_=f"growth-{row}",
                    x=f"{left:.1f}%",
                    width=f"{right - left:.1f}%",
                    y=3,
                    height=ROW_HEIGHT - 6,
                    rx=3,
                )
            )
    now = f"{_at(today, ends):.1f}%"
    parts.append(tag("line", class_="growth-today", x1=now, x2=now, y1=0, y2=ROW_HEIGHT))
    parts += [tag("circle", class_="growth-mark", cx=f"{_at(day, ends):.1f}%", cy=middle, r=5) for day in marks]
    return tag(
        "svg", *parts, class_="growth-strip", width="100%", height=ROW_HEIGHT, aria_hidden="true", focusable="false"
    )


def _axis(ends: tuple[date, date], today: date) -> Markup:
    """Draw the months' first letters over the strip, and a line where a year begins."""
    parts = []
    for step in range(MONTHS):
        month = ends[0].year * 12 + ends[0].month - 1 + step
        first = date(month // 12, month % 12 + 1, 1)
        parts.append(
            tag(
                "text",
                month_name(first)[:1].upper(),
                x=f"{_at(first + timedelta(days=15), ends):.1f}%",
                y=12,
                text_anchor="middle",
            )
        )
        if first.month == 1:
            parts.append(
                tag(
                    "line",
                    class_="growth-year",
                    x1=f"{_at(first, ends):.1f}%",
                    x2=f"{_at(first, ends):.1f}%",
                    y1=0,
                    y2=16,
                )
            )
    return tag("svg", *parts, class_="growth-axis", width="100%", height=16, aria_hidden="true", focusable="false")
