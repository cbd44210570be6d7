"""What the page of the weather says of how forecasts fare here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING

from fruitwall.service.forecast_words import (
    findings_words,
    gain_words,
    left_out_words,
    plan_words,
    station_words,
)
from fruitwall.service.household import bare_percent, number
from fruitwall.speech import say, say_count
from fruitwall.web.charts.chart import Chart, DrawnChart, Point, Series, draw

if TYPE_CHECKING:
    from fruitwall.service.forecast_report import ForecastReport, LeadFared
    from fruitwall.service.household import Household

NIGHTS_SHOWN = 60
"""Newest nights in the picture: more would be dots upon dots on a telephone."""


@dataclass(frozen=True)
class StationChoice:
    """One thermometer that may stand for the yard; an empty word leaves the choice to the program."""

    word: str
    told: str
    chosen: bool


@dataclass(frozen=True)
class FaredPart:
    """How forecasts fare here.

    Attributes
    ----------
    station : str
        Which thermometer stands for the yard.
    said : tuple of str
        What the evidence supports, and the gain.
    plan : tuple of str
        How it enters the plan, before and after.
    left_out : tuple of str
        Readings that were not learned from.
    choices : tuple of StationChoice
        None where there is nothing to choose.
    picture : DrawnChart or None
    leads : tuple of tuple of str
        Per lead time: when forecast, nights, mean error, usual miss, score without and with learning, share in range
        without and with.
    tenths : tuple of tuple of str
        Tenth, share of nights without and with learning.
    step : str
        Unit of differences.
    """

    station: str
    said: tuple[str, ...] = ()
    plan: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    choices: tuple[StationChoice, ...] = ()
    picture: DrawnChart | None = None
    leads: tuple[tuple[str, ...], ...] = ()
    tenths: tuple[tuple[str, ...], ...] = ()
    step: str = "K"


def fared_part(report: ForecastReport, household: Household, *, may_choose: bool) -> FaredPart:
    """Work the part out.

    Parameters
    ----------
    report : ForecastReport
    household : Household
        Units and clock of the reader.
    may_choose : bool
        Whether the reader may choose which thermometer stands for the yard.

    Returns
    -------
    FaredPart
    """
    evidence = report.evidence
    return FaredPart(
        station_words(evidence),
        (*findings_words(report, household), *gain_words(report, household)),
        tuple(plan_words(report, household)),
        tuple(left_out_words(evidence, household)),
        tuple(_choices(report)) if may_choose and evidence.stations else (),
        _picture(report, household),
        tuple(_lead(one, household) for one in report.leads),
        tuple(_tenths(report)),
        household.step,
    )


def _choices(report: ForecastReport) -> Sequence[StationChoice]:
    evidence = report.evidence
    found = [
        StationChoice(
            "", say("As the program finds: the one of most nights that hangs in no tree"), not evidence.chosen
        )
    ]
    for one in evidence.stations:
        nights = say_count("{count} night", "{count} nights", one.nights)
        told = say("{sensor}, {nights}", sensor=one.sensor, nights=nights)
        if one.at_tree:
            told = say("{sensor}, {nights}; in a tree", sensor=one.sensor, nights=nights)
        found.append(StationChoice(one.sensor, told, evidence.chosen and one.sensor == evidence.sensor))
    if evidence.chosen and all(one.sensor != evidence.sensor for one in evidence.stations):
        found.append(StationChoice(evidence.sensor, say("{sensor}, not read yet", sensor=evidence.sensor), True))
    return found


def _picture(report: ForecastReport, household: Household) -> DrawnChart | None:
    scale = 1.8 if household.fahrenheit else 1.0
    read, told = [], []
    for one in report.nights[-NIGHTS_SHOWN:]:
        morning = datetime.combine(one.night + timedelta(days=1), time(6), tzinfo=household.zone)
        read.append(Point(morning, (one.read_c - one.issued_c) * scale))
        told.append(Point(morning, *(value * scale for value in (one.error_k.p50, one.error_k.p10, one.error_k.p90))))
    return draw(
        Chart(
            title=say("Lowest reading less forecast, night by night"),
            unit=household.step,
            zone=household.zone,
            series=[
                Series(say("expected, from the nights before"), told, look="one"),
                Series(say("read"), read, style="dots", look="two"),
            ]
            if read
            else [],
            zero=True,
            told=[say("Below zero it was colder than forecast. Eight nights in ten should lie in the shaded range.")],
        )
    )


def _lead(one: LeadFared, household: Household) -> tuple[str, ...]:
    scale = 1.8 if household.fahrenheit else 1.0
    if one.lead == 0:
        when = say("the same evening")
    else:
        when = say_count("{count} evening before", "{count} evenings before", one.lead)
    return (
        when,
        str(one.nights),
        household.bare_difference(one.mean_k),
        number(one.miss_k * scale, 1),
        number(one.score_before_k * scale, 2),
        number(one.score_after_k * scale, 2),
        bare_percent(one.within_before / one.nights),
        bare_percent(one.within_after / one.nights),
    )


def _tenths(report: ForecastReport) -> Sequence[tuple[str, ...]]:
    nights = len(report.nights)
    return [
        (str(at + 1), bare_percent(before / nights), bare_percent(after / nights))
        for at, (before, after) in enumerate(zip(report.tenths_before, report.tenths_after, strict=True))
    ]
