"""What the page of many winters shows, worked out before the template."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, urlencode

from markupsafe import Markup

from fruitwall.service.household import bare_percent, percent
from fruitwall.service.winters_document import WintersChoice
from fruitwall.service.winters_weather import AS_THEY_WERE, WeatherChoice
from fruitwall.service.winters_words import choice_lines
from fruitwall.service.winters_years_words import (
    TOLD_PERIOD,
    danger_lines,
    day_of,
    freeze_lines,
    how_reckoned,
    level_of,
    level_rows,
    month_short,
    noted,
    verdict,
    zone_lines,
)
from fruitwall.speech import say, say_count
from fruitwall.web.winters.choice import choice_query
from fruitwall.web.winters.years.drawing import by_winter, return_levels, season_strip

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.winters_years_document import YearsDocument, YearsFreeze, YearsRecord, YearsTree

LEAP = 2000
"""A year with every day, for the places of days in the season."""

LIVING = 0.005
"""Trees whose chances stay below this are folded away. Our judgement. [-]"""


@dataclass(frozen=True)
class PlaceChoice:
    """One place that can be looked at."""

    key: str
    name: str
    chosen: bool


@dataclass(frozen=True)
class TreeLine:
    """One tree in the table: name, address, harm and death a winter and over ten, where harm begins, level of ten."""

    name: str
    url: str
    harm: str
    death: str
    death_over: str
    begins: str
    level: str


@dataclass(frozen=True)
class FreezeStrip:
    """First and last night at or below one level."""

    heading: str
    lines: tuple[str, ...]
    picture: Markup | None
    rows: tuple[tuple[str, str, str], ...]
    rough: str


@dataclass(frozen=True)
class YearsPage:
    """All that the page shows.

    Attributes
    ----------
    known : bool
        Whether any winter is known.
    verdict : str
    taken : tuple of str
        How the winters are taken, where not as they were.
    asked : tuple of (str, str)
        What asks for that, as fields of a form.
    limits, notices : tuple of str
        Those that stand on top, and the others.
    fitted : bool
        Whether there are enough winters to say how cold once in so many.
    place : str
        Name of what is looked at: the air, or a tree.
    places : tuple of PlaceChoice
    place_lines : tuple of str
        Of the tree that is looked at.
    winters_told : str
    winters_picture : Markup or None
    winters_rows : tuple of (str, str)
        Winter, coldest hour.
    levels_told : tuple of str
    levels_picture : Markup or None
    levels_rows : tuple of tuple of str
    trees, safe : tuple of TreeLine
        Those in some danger, and the others.
    how : tuple of str
    freezes : tuple of FreezeStrip
    zone : tuple of str
    degree : str
    """

    known: bool
    verdict: str
    taken: tuple[str, ...] = ()
    asked: tuple[tuple[str, str], ...] = ()
    limits: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
    fitted: bool = False
    place: str = ""
    places: tuple[PlaceChoice, ...] = ()
    place_lines: tuple[str, ...] = ()
    winters_told: str = ""
    winters_picture: Markup | None = None
    winters_rows: tuple[tuple[str, str], ...] = ()
    levels_told: tuple[str, ...] = ()
    levels_picture: Markup | None = None
    levels_rows: tuple[tuple[str, str, str, str], ...] = ()
    trees: tuple[TreeLine, ...] = ()
    safe: tuple[TreeLine, ...] = ()
    how: tuple[str, ...] = ()
    freezes: tuple[FreezeStrip, ...] = ()
    zone: tuple[str, ...] = ()
    degree: str = ""


def unknown_page() -> YearsPage:
    """Give the page of a yard of which no whole winter is known."""
    return YearsPage(known=False, verdict=say("No whole winter is known here yet."))


def years_page(
    document: YearsDocument, household: Household, place: str = "", choice: WeatherChoice = AS_THEY_WERE
) -> YearsPage:
    """Work out the page.

    Parameters
    ----------
    document : YearsDocument
    household : Household
        Of who reads.
    place : str
        Identifier of the tree that is looked at; the air of the yard for one that there is not.
    choice : WeatherChoice
        How the winters are taken.

    Returns
    -------
    YearsPage
    """
    tree = next((one for one in document.trees if one.id == place), None)
    record = document.air if tree is None else tree.spot
    name = say("Air of the yard") if tree is None else tree.name
    ten = level_of(record, TOLD_PERIOD)
    season = _Season(document)
    freezes = [*document.freezes] if tree is None else [] if tree.freeze is None else [tree.freeze]
    lines = [(_in_danger(one), _tree_line(one, household, choice)) for one in document.trees]
    air = PlaceChoice("", say("Air of the yard"), tree is None)
    return YearsPage(
        known=True,
        verdict=verdict(document, household),
        taken=tuple(choice_lines(_told_choice(choice), household)),
        asked=tuple(choice_fields(choice)),
        limits=tuple(noted(document.limits, household)),
        notices=tuple(noted(document.notices, household)),
        fitted=document.air.fitted,
        place=name,
        places=(air, *(PlaceChoice(one.id, one.name, one is tree) for one in document.trees)),
        place_lines=() if tree is None else tuple(danger_lines(tree, household)),
        winters_told=_winters_told(document, record, household),
        winters_picture=by_winter(record, document.winters, None if ten is None else ten.level_c, household),
        winters_rows=tuple(
            (
                winter.name if winter.real else say("{winter}, typical", winter=winter.name),
                "–" if value is None else household.bare_temperature(value),
            )
            for winter, value in zip(document.winters, record.coldest_c, strict=True)
        ),
        levels_told=tuple(_levels_told(document, record, household)),
        levels_picture=return_levels(record, household) if record.fitted else None,
        levels_rows=tuple(level_rows(record, household)),
        trees=tuple(line for danger, line in lines if danger),
        safe=tuple(line for danger, line in lines if not danger),
        how=tuple(how_reckoned()),
        freezes=tuple(_strip(freeze, document, season, household, own=tree is not None) for freeze in freezes),
        zone=tuple(zone_lines(document, household)),
        degree=household.degree,
    )


def _told_choice(choice: WeatherChoice) -> WintersChoice:
    return WintersChoice(
        warmer_k=choice.warmer_k,
        weighting=choice.weighting,
        trend_taken_out=choice.trend_taken_out,
        most=choice.most,
    )


def choice_fields(choice: WeatherChoice) -> list[tuple[str, str]]:
    """Give what asks for a choice, as fields of a form; none for winters as they were."""
    return parse_qsl(choice_query(choice).removeprefix("?"))


def _in_danger(tree: YearsTree) -> bool:
    return max(tree.harm.yearly, tree.death.yearly) >= LIVING


def _tree_line(tree: YearsTree, household: Household, choice: WeatherChoice) -> TreeLine:
    ten = level_of(tree.spot, TOLD_PERIOD)
    level = None if ten is None else ten.level_c if ten.level_c is not None else ten.seen_c
    return TreeLine(
        name=tree.name,
        url=f"/winters/years?{urlencode([('place', tree.id), *choice_fields(choice)])}#years-place",
        harm=bare_percent(tree.harm.yearly),
        death=bare_percent(tree.death.yearly),
        death_over=bare_percent(tree.death.over[0].chance),
        begins="–" if tree.harm.level_c is None else household.bare_temperature(tree.harm.level_c),
        level="–" if level is None else household.bare_temperature(level),
    )


def _winters_told(document: YearsDocument, record: YearsRecord, household: Household) -> str:
    """Say which winter was the coldest and which the mildest."""
    known = [
        (value, winter.name)
        for value, winter in zip(record.coldest_c, document.winters, strict=True)
        if value is not None
    ]
    coldest, mildest = min(known), max(known)
    return say_count(
        "{count} winter: its coldest hour had {cold}.",
        "{count} winters: the coldest hour of all had {cold} ({when}), that of the mildest winter {mild} ({then}).",
        len(known),
        cold=household.temperature(coldest[0]),
        when=coldest[1],
        mild=household.temperature(mildest[0]),
        then=mildest[1],
    )


def _levels_told(document: YearsDocument, record: YearsRecord, household: Household) -> list[str]:
    """Say how cold once in ten winters, and how sure that is."""
    ten = level_of(record, TOLD_PERIOD)
    if ten is None or ten.level_c is None:
        return [
            say("Too few winters are known to say how cold once in so many. What they themselves say stands below.")
        ]
    lines = [
        say(
            "In one winter of ten it gets as cold as {level} or colder; over ten winters that comes with {chance}.",
            level=household.temperature(ten.level_c),
            chance=percent(1.0 - 0.9**10),
        )
    ]
    if ten.cold_c is not None and ten.mild_c is not None:
        lines.append(
            say(
                "Sure within {range} ({confidence}); less sure on the cold side, of which few winters speak.",
                range=household.temperatures(ten.cold_c, ten.mild_c),
                confidence=percent(document.confidence),
            )
        )
    return lines


class _Season:
    """The calendar of the season: places of its days, and where months begin."""

    def __init__(self, document: YearsDocument) -> None:
        first = _in_leap_year(document.first_evening)
        days: list[date] = []
        day = first
        while not days or (f"{days[-1]:%m-%d}" != document.last_evening and len(days) < 366):
            days.append(day)
            day += timedelta(days=1)
        self.at = {f"{day:%m-%d}": place for place, day in enumerate(days)}
        self.length = len(days)
        self.months = [(f"{day:%m-%d}", month_short(day)) for day in days if day.day == 1]


def _in_leap_year(month_day: str) -> date:
    month, day = (int(part) for part in month_day.split("-"))
    # The next February has its 29th.
    return date(LEAP - (month > 2), month, day)


def _strip(
    freeze: YearsFreeze, document: YearsDocument, season: _Season, household: Household, *, own: bool
) -> FreezeStrip:
    """Show when nights at or below a level come."""
    level = household.temperature(freeze.level_c)
    came = any(day is not None for day in freeze.first.day)
    return FreezeStrip(
        heading=say("{level}, where its leaves begin to burn" if own else "{level} in the air", level=level),
        lines=tuple(freeze_lines(freeze, household)),
        picture=season_strip(freeze, document.winters, season.months, season.length, season.at) if came else None,
        rows=tuple(
            (winter.name, day_of(first), day_of(last))
            for winter, first, last in zip(document.winters, freeze.first.day, freeze.last.day, strict=True)
        )
        if came
        else (),
        rough=say("Few such nights are known: these dates are rough.") if came and freeze.rough else "",
    )
