"""What is known of the climate of a yard, as it is told: years, winters, how cold once in so many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fruitwall.service.climate import climate_of, given_years
from fruitwall.service.climate_trend import trend_lines
from fruitwall.service.household import percent, short_day
from fruitwall.service.season_part import PartTable
from fruitwall.speech import capital, say, say_again, say_count

if TYPE_CHECKING:
    from fruitwall.service.house import House
    from fruitwall.service.household import Household
    from fruitwall.weather.climate_winters import Winter

PERIODS = (5, 10, 20)
"""Return periods that are told. [winters]"""

CONFIDENCE = 0.9
"""Of the limits that are told beside a return level. [-]"""

ZONE_WINTERS = 30
"""Winters of which the zone of the map is the mean."""


@dataclass(frozen=True)
class ClimateReport:
    """What is told.

    Attributes
    ----------
    verdict : str
        One sentence.
    table : PartTable or None
        A row for each winter; `trees` is empty.
    levels : tuple of str
        How cold once in so many winters; empty where too few are known.
    trend : tuple of str
        Whether winters have become milder or colder; empty where too few are known.
    given : tuple of str
        What was given, each with the number by which it can be left out.
    notes : tuple of str
    """

    verdict: str
    table: PartTable | None
    levels: tuple[str, ...]
    trend: tuple[str, ...]
    given: tuple[str, ...]
    notes: tuple[str, ...]


def climate_report(house: House, household: Household) -> ClimateReport:
    """Tell what is known of other years.

    Parameters
    ----------
    house : House
    household : Household
        Of who reads.

    Returns
    -------
    ClimateReport
    """
    given = tuple(
        say(
            "number {number}: {source}, {begin} to {end}",
            number=one.number,
            source=say_again(one.forcing.source),
            begin=f"{one.forcing.start_utc:%Y-%m-%d}",
            end=f"{one.forcing.end_utc:%Y-%m-%d}",
        )
        for one in given_years(house)
    )
    climate = climate_of(house)
    if climate is None:
        verdict = say(
            "Nothing is known of other years here. `fruitwall climate fetch` asks a public archive, "
            "`fruitwall climate add FILE` takes a file of your own."
        )
        return ClimateReport(verdict, None, (), (), given, ())
    from fruitwall.weather.climate_winters import winters_of

    winters = winters_of(climate.years)
    whole = [one for one in winters if one.whole]
    notes = [capital(say_again(note)) + "." for note in climate.notes]
    if len(whole) < len(winters):
        notes.append(say("A winter marked “in part” is not known whole: its coldest night may be missing."))
    return ClimateReport(
        verdict=_verdict(whole, household, say_again(climate.source)),
        table=_table(winters, household),
        levels=_levels(whole, household),
        trend=trend_lines(winters, household),
        given=given,
        notes=tuple(dict.fromkeys(notes)),
    )


def _verdict(whole: Sequence[Winter], household: Household, source: str) -> str:
    """Say how many winters are known and how cold the coldest was."""
    if not whole:
        return say("No whole winter is known ({source}).", source=source)
    coldest = min(whole, key=lambda one: one.coldest_c)
    return say_count(
        "{count} whole winter is known; its coldest night had {coldest} ({source}).",
        "{count} whole winters are known; the coldest night of all had {coldest} ({source}).",
        len(whole),
        coldest=household.temperature(coldest.coldest_c),
        source=source,
    )


def _table(winters: Sequence[Winter], household: Household) -> PartTable:
    """Give a row for each winter."""
    from fruitwall.weather.demo_climate import TYPICAL

    rows = []
    for one in winters:
        nominal = one.source == TYPICAL  # of no one year
        name = say("typical year") if nominal else one.name
        rows.append(
            (
                name if one.whole else say("{winter} (in part)", winter=name),
                household.bare_temperature(one.coldest_c),
                short_day(one.coldest_night),
                f"{one.freezing_nights}",
                short_day(one.first_freeze) if one.first_freeze else "–",
                short_day(one.last_freeze) if one.last_freeze else "–",
            )
        )
    return PartTable(
        caption=say("Winters of other years; nights are named by their evening"),
        columns=(
            say("winter"),
            say("coldest {unit}", unit=household.degree),
            say("in the night of"),
            say("nights of frost"),
            say("first frost"),
            say("last frost"),
        ),
        rows=tuple(rows),
        trees=(),
    )


def _levels(whole: Sequence[Winter], household: Household) -> tuple[str, ...]:
    """Say how cold once in so many winters, where there are enough of them."""
    from fruitwall.plans.years import FEWEST_WINTERS, certainty, return_interval, return_level
    from fruitwall.yard.hardiness import hardiness_zone

    minima = [one.coldest_c for one in whole]
    if len(minima) < FEWEST_WINTERS or len(set(minima)) == 1:
        return (
            (
                say(
                    "How cold once in so many winters can be told from {count} whole winters on.",
                    count=FEWEST_WINTERS,
                ),
            )
            if minima
            else ()
        )
    low, high = return_interval(minima, PERIODS, confidence=CONFIDENCE)
    found = []
    for years, level, cold, mild in zip(PERIODS, return_level(minima, PERIODS), low, high, strict=True):
        line = say(
            "Once in {years} winters: {level} or colder.", years=years, level=household.temperature(float(level))
        )
        if cold == cold and mild == mild:  # a record without spread gives no limits
            line += " " + say(
                "Sure within {range} ({confidence}).",
                range=household.temperatures(float(cold), float(mild)),
                confidence=percent(CONFIDENCE),
            )
        found.append(line)
    found.append(
        say(
            "What comes in one winter of ten comes at least once in ten winters with {chance}.",
            chance=percent(float(certainty(0.1, 10))),
        )
    )
    mean = sum(minima[-ZONE_WINTERS:]) / len(minima[-ZONE_WINTERS:])
    if len(minima) >= ZONE_WINTERS:
        found.append(
            say(
                "The mean of the coldest nights of the last {all} winters is {mean}: hardiness zone {zone}.",
                mean=household.temperature(mean),
                zone=hardiness_zone(mean),
                all=ZONE_WINTERS,
            )
        )
        return tuple(found)
    found.append(
        say(
            "The mean of the coldest nights is {mean}: hardiness zone {zone}, if {count} winters may stand for {all}.",
            mean=household.temperature(mean),
            zone=hardiness_zone(mean),
            count=len(minima),
            all=ZONE_WINTERS,
        )
    )
    return tuple(found)
