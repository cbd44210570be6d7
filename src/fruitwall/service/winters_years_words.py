"""Sentences about many winters that page and terminal share."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from fruitwall.service.household import percent, short_day
from fruitwall.speech import capital, marked, say, say_again, say_count, say_list

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.winters_years_document import (
        YearsDanger,
        YearsDocument,
        YearsFreeze,
        YearsLevel,
        YearsRecord,
        YearsTree,
    )

TOLD_PERIOD = 10.0
"""The return period that stands first. [winters]"""

NO_YEAR = 2001
"""Days of the calendar are written by a year without a leap day."""


def verdict(document: YearsDocument, household: Household) -> str:
    """Say in one sentence how cold it gets, and which tree is in most danger."""
    from fruitwall.service.winters_verdicts import years_verdict

    return household.in_own_units(capital(say_again(years_verdict(document))))


def noted(notes: Sequence[str], household: Household) -> list[str]:
    """Say the limits or the notices of the document."""
    return [household.in_own_units(capital(say_again(note)).rstrip(".") + ".") for note in notes]


def level_of(record: YearsRecord, years: float) -> YearsLevel | None:
    """Give the level of a return period."""
    return next((level for level in record.levels if level.years == years), None)


def zone_lines(document: YearsDocument, household: Household) -> list[str]:
    """Say in which hardiness zone the yard lies, how sure that is, and what it does not promise."""
    zone = document.zone
    lines = [
        say_count(
            "The mean of the coldest night of {count} winter is {mean}: hardiness zone {zone} by the bounds of the "
            "United States’ map.",
            "The mean of the coldest nights of {count} winters is {mean}: hardiness zone {zone} by the bounds of the "
            "United States’ map.",
            zone.winters,
            mean=household.temperature(zone.mean_c),
            zone=zone.zone,
        )
    ]
    if zone.standard_error_k is not None:
        error = household.difference(zone.standard_error_k)
        if zone.colder == zone.warmer:
            lines.append(
                say("Its standard error is {error}; within what that leaves open the zone stays.", error=error)
            )
        else:
            lines.append(
                say(
                    "Its standard error is {error}: the zone may be anything from {colder} to {warmer}.",
                    error=error,
                    colder=zone.colder,
                    warmer=zone.warmer,
                )
            )
    lines.append(
        say(
            "A zone is a mean and no promise: {colder} of these winters were colder than the mean, and {below} colder "
            "than the zone’s own lower bound.",
            colder=percent(zone.colder_share),
            below=percent(zone.below_zone_share),
        )
    )
    if not zone.enough:
        lines.append(say("The map takes the mean of 30 winters; fewer are known here."))
    return lines


def level_rows(record: YearsRecord, household: Household) -> list[tuple[str, str, str, str]]:
    """Give return period, level, limits and what the winters themselves say, without units."""
    rows = []
    for level in record.levels:
        bare = household.bare_temperature
        limits = "–"
        if level.level_c is not None:
            cold = say("no limit") if level.cold_c is None else bare(level.cold_c)
            mild = say("no limit") if level.mild_c is None else bare(level.mild_c)
            limits = say("{low} to {high}", low=cold, high=mild)
        rows.append(
            (
                say("{years:.0f} winters", years=level.years),
                "–" if level.level_c is None else bare(level.level_c),
                limits,
                "–" if level.seen_c is None else bare(level.seen_c),
            )
        )
    return rows


def day_of(month_day: str | None) -> str:
    """Write a day of the calendar that belongs to no year: "25 Feb"."""
    if month_day is None:
        return "–"
    month, day = (int(part) for part in month_day.split("-"))
    if (month, day) == (2, 29):  # quantiles fall on it in calendars of leap years
        month, day = 3, 1
    return short_day(date(NO_YEAR, month, day)).split(" ", 1)[1]


def month_short(day: date) -> str:
    """Write the name of a day's month briefly: "Feb"."""
    return short_day(day).split()[-1]


def freeze_lines(freeze: YearsFreeze, household: Household) -> list[str]:
    """Say how often nights at or below a level come, when the first and the last come, and how long none comes."""
    count = len(freeze.first.day)
    came = sum(day is not None for day in freeze.first.day)
    level = household.temperature(freeze.level_c)
    if came == 0:
        return [say("{level} or below: in none of {count} winters.", level=level, count=count)]
    lines = [
        say("{level} or below: in {came} of {count} winters.", level=level, came=came, count=count)
        if came < count
        else say("{level} or below: in every winter.", level=level)
    ]
    early, half, _ = freeze.first.by
    if half is not None:
        lines.append(
            say(
                "The first comes by {half} in half of the winters, by {early} in one of ten.",
                half=day_of(half),
                early=day_of(early),
            )
            if early is not None
            else say("The first comes by {half} in half of the winters.", half=day_of(half))
        )
    elif early is not None:
        lines.append(say("The first comes by {early} in one winter of ten.", early=day_of(early)))
    after, half, _ = freeze.last.by
    if half is not None and after is not None:
        lines.append(
            say(
                "The last comes after {half} in half of the winters, after {after} in one of ten.",
                half=day_of(half),
                after=day_of(after),
            )
        )
    elif after is not None:
        lines.append(say("The last comes after {after} in one winter of ten.", after=day_of(after)))
    short, middle, _ = freeze.free_days
    if middle is not None and short is not None:
        lines.append(
            say(
                "Between the last and the next first lie {middle:.0f} days in the middle; in one year of ten fewer "
                "than {short:.0f}.",
                middle=middle,
                short=short,
            )
        )
    return lines


HARM_LINE = marked("Leaves burn, or worse, from about {level} on (give or take {sd}): {yearly} in a winter, {over}.")
DEATH_LINE = marked("It dies from about {level} on (give or take {sd}): {yearly} in a winter, {over}.")


def danger_lines(tree: YearsTree, household: Household) -> list[str]:
    """Say how often a tree that is left alone is hurt and killed, and by which reckoning."""
    lines = []
    for danger, begins in (
        (tree.harm, HARM_LINE),
        (tree.death, DEATH_LINE),
    ):
        if danger.level_c is None or danger.sd_k is None:
            continue
        lines.append(
            say(
                begins,
                level=household.temperature(danger.level_c),
                sd=household.difference(danger.sd_k),
                yearly=percent(danger.yearly),
                over=over_words(danger),
            )
        )
    return lines


def over_words(danger: YearsDanger) -> str:
    """Say the chance of at least once over longer times."""
    parts = [
        say("{chance} at least once in {years:.0f} winters", chance=percent(one.chance), years=one.years)
        for one in danger.over
    ]
    return say_list(parts)


def how_reckoned() -> list[str]:
    """Say how the chances of trees come about."""
    return [
        say(
            "All of this with nothing done for any tree, and each as large as it is now. Of two reckonings the larger "
            "is told: the fitted distribution of the coldest hour against what the tree stands, and the worst night of "
            "every winter that was, with its length, the roots, chilling and hardening."
        ),
        say(
            "What is not known of a tree stays the same from winter to winter: one that stood a hard winter stands the "
            "next as well. So ten winters bring less danger than ten times one."
        ),
    ]


def takes_words(trees: int) -> str:
    """Say what is worked out, and that it takes a while."""
    return say_count(
        "{count} tree is taken through every winter that is known, with everything that can be done for it. That takes "
        "from half a minute to some minutes, the first time; all other pages of winters build on it.",
        "{count} trees are taken through every winter that is known, with everything that can be done for them. That "
        "takes from half a minute to some minutes, the first time; all other pages of winters build on it.",
        trees,
    )
