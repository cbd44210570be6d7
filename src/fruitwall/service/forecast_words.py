"""What is told of forecasts here, in sentences: for the pages and for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fruitwall.learning.forecasts import USUAL_SD_K
from fruitwall.service.forecast_report import CLEAR, OVERCAST, ForecastReport, Sky, for_night
from fruitwall.service.household import NO_BREAK, number, short_day
from fruitwall.speech import marked, say, say_count

if TYPE_CHECKING:
    from fruitwall.service.forecast_errors import Evidence
    from fruitwall.service.forecast_report import Finding
    from fruitwall.service.household import Household

TOO_WARM: dict[Sky, str] = {
    "clear": marked("On clear calm nights forecasts here run {size} too warm"),
    "overcast": marked("On overcast or windy nights forecasts here run {size} too warm"),
    "any": marked("Forecasts here run {size} too warm"),
}
TOO_COLD: dict[Sky, str] = {
    "clear": marked("On clear calm nights forecasts here run {size} too cold"),
    "overcast": marked("On overcast or windy nights forecasts here run {size} too cold"),
    "any": marked("Forecasts here run {size} too cold"),
}
PLAN: dict[Sky, str] = {
    "clear": marked(
        "For a clear calm night the plan takes the forecast of its minimum {shift}, and eight nights in ten within "
        "{after} of that; before anything was learned: as issued, and within {before}."
    ),
    "overcast": marked(
        "For an overcast or windy night the plan takes the forecast of its minimum {shift}, and eight nights in ten "
        "within {after} of that; before anything was learned: as issued, and within {before}."
    ),
}
LEFT_OUT_TOLD = 5
"""Readings left out that are told one by one, the newest ones."""


def station_words(evidence: Evidence) -> str:
    """Say which thermometer stands for the yard, and why."""
    if not evidence.sensor:
        if evidence.stations:
            return say(
                "No thermometer stands for the yard: those that were read hang in trees, and what they read teaches "
                "the plan of these spots. Choose one all the same, or hang one up in the open."
            )
        return say(
            "No reading can be held against a forecast yet. Once a thermometer is read to the end of a night, the plan "
            "learns how far forecasts miss here; until then it goes by how far they missed elsewhere."
        )
    if evidence.chosen:
        return say("This thermometer stands for the yard: {sensor}. It was chosen.", sensor=evidence.sensor)
    return say(
        "This thermometer stands for the yard: {sensor}. Of those that hang in no tree it was read in the most nights.",
        sensor=evidence.sensor,
    )


def finding_words(one: Finding, household: Household) -> str:
    """Say a mean error, and how sure it is."""
    what = say((TOO_WARM if one.mean_k < 0 else TOO_COLD)[one.sky], size=household.difference(one.mean_k))
    nights = say_count("{count} night", "{count} nights", one.nights)
    if one.sure:
        return say("{what}: beyond doubt, from {nights} of this kind.", what=what, nights=nights)
    return say("{what}: likely, from {nights} of this kind.", what=what, nights=nights)


def findings_words(report: ForecastReport, household: Household) -> list[str]:
    """Say all that the evidence supports; that it supports nothing yet, where it does not."""
    if not report.nights:
        return []
    if report.findings:
        return [finding_words(one, household) for one in report.findings]
    nights = say_count("{count} night", "{count} nights", len(report.nights))
    return [say("Nothing sure can be said yet of how forecasts miss here, after {nights}.", nights=nights)]


def gain_words(report: ForecastReport, household: Household) -> list[str]:
    """Say whether learning helped on nights that were not learned from."""
    if not report.leads:
        return []
    one = report.leads[0]
    scale = 1.8 if household.fahrenheit else 1.0
    before, after = (number(value * scale, 2) for value in (one.score_before_k, one.score_after_k))
    values = {
        "nights": say_count("{count} night", "{count} nights", one.nights),
        "before": before,
        "after": f"{after}{NO_BREAK}{household.step}",
    }
    if after == before:
        text = say(
            "Over {nights}, each foretold from the nights before it, the whole range scores {after} with what "
            "was learned, as without (CRPS, smaller is better).",
            **values,
        )
    elif one.score_after_k < one.score_before_k:
        text = say(
            "Over {nights}, each foretold from the nights before it, the whole range scores {after} with what "
            "was learned, {before} without (CRPS, smaller is better).",
            **values,
        )
    else:
        text = say(
            "Over {nights}, each foretold from the nights before it, learning has not helped so far: the whole range "
            "scores {after} with what was learned, {before} without (CRPS, smaller is better).",
            **values,
        )
    within = say(
        "In the range that holds eight nights of ten lay {after} of them, without learning {before}.",
        after=one.within_after,
        before=one.within_before,
    )
    return [text, within]


def plan_words(report: ForecastReport, household: Household) -> list[str]:
    """Say how what was learned enters the plan, on both kinds of nights."""
    if report.errors.pairs == 0:
        return []
    skies: tuple[tuple[Sky, float], ...] = (("clear", (1.0 + CLEAR) / 2.0), ("overcast", OVERCAST / 2.0))
    found = []
    for sky, clear in skies:
        one = for_night(report.errors, clear, USUAL_SD_K)
        middle = one.after_k.p50
        size = household.difference(middle)
        if household.bare_difference(middle).strip("0.,") == "":
            shift = say("as issued")
        elif middle < 0:
            shift = say("{size} lower", size=size)
        else:
            shift = say("{size} higher", size=size)
        after, before = (household.difference((its.p90 - its.p10) / 2.0) for its in (one.after_k, one.before_k))
        found.append(say(PLAN[sky], shift=shift, after=after, before=before))
    return found


def left_out_words(evidence: Evidence, household: Household) -> list[str]:
    """Say which readings were left out, newest first, and that they can be mended."""
    found = [
        say(
            "{day}: {read} read, {said} forecast. So far off is no weather: left out.",
            day=short_day(one.said.night),
            read=household.temperature(one.read_c),
            said=household.temperature(one.said.minimum_c),
        )
        for one in evidence.left_out[: -LEFT_OUT_TOLD - 1 : -1]
    ]
    more = len(evidence.left_out) - len(found)
    if more > 0:
        found.append(say_count("And {count} earlier one.", "And {count} earlier ones.", more))
    return found
