"""The heat of a yard's season in words: verdict, reasons, what is in doubt, one line a tree."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from fruitwall.service.heat_season import WORTH_TELLING, heat_season
from fruitwall.service.household import bare_percent, number, percent, short_day
from fruitwall.service.season_part import PartTable, SeasonPart
from fruitwall.speech import marked, say, say_count, say_list

if TYPE_CHECKING:
    from datetime import datetime

    from fruitwall.service.heat_document import HeatDay, HeatSeason, HotTissue
    from fruitwall.service.house import House
    from fruitwall.service.household import Household

KNOWN_ENOUGH = 0.98
"""Share of the hours whose weather must be known for them to be told without a word on holes. Our judgement."""

TISSUES = {"leaf": marked("leaf"), "fruit": marked("fruit"), "bark": marked("bark"), "root": marked("roots in the pot")}
"""What may be hurt, in words."""

SOURCES = (
    marked("Schrader, Zhang and Duplaga (2001), Plant Health Progress: two types of sunburn in apple."),
    marked("Sastry and Barua (2017), Scientific Reports: heat that leaves of 41 tropical trees stand."),
    marked("Sheppard, Morhart and Spiecker (2016), Silva Fennica 50(3) 1313: bark of sunny trunks, and white paint."),
    marked("Fischer, Orduz-Rodríguez and do Amarante (2022): sunburn of tropical and subtropical fruits, a review."),
)
"""For the reader to look up."""

FOR_PEOPLE = marked(
    "In heat work in the early morning or the evening, in the shade, with a hat, and drink before you are thirsty. "
    "Dizzy, sick or a headache: stop, shade, water. Confused or fainting: call the emergency number, cool the person."
)
"""Common practice, no source; the same as the caution `heat_on_people` of the plan."""


def heat_part(house: House, household: Household) -> SeasonPart:
    """Tell the heat of this season.

    Parameters
    ----------
    house : House
    household : Household
        Of who reads.

    Returns
    -------
    SeasonPart
    """
    from fruitwall.service.summer_document import HeatWithPlan
    from fruitwall.service.summer_plan import summer_plan

    season, plan = heat_season(house), summer_plan(house, household)
    return SeasonPart(
        key="heat",
        title=say("Heat"),
        verdict=verdict(season, household),
        notices=(
            *(say("Stays at risk: {line}", line=line) for line in plan.at_risk),
            *plan.more,
            *notices(season, household),
        ),
        table=yard_table(season, household),
        tasks=plan.tasks,
        document=HeatWithPlan.of(season, plan.document),
        sources=tuple(say(one) for one in SOURCES),
    )


def verdict(season: HeatSeason, household: Household) -> str:
    """Say in a sentence or two what comes and what was."""
    parts = []
    found = [(tree, day) for tree in season.trees for day in tree.days]
    if season.forecast_until is None:
        parts.append(say("There is no forecast, so nothing can be said of the coming days."))
    elif not found or max(day.harm for _, day in found) < WORTH_TELLING:
        parts.append(say("No heat that is likely to hurt a tree is in the forecast."))
    else:
        tree, day = max(found, key=lambda one: one[1].harm)
        others = len({one.tree for one, its in found if its.harm >= WORTH_TELLING}) - 1
        parts.append(
            say(
                "{tree} may be hurt by heat on {day}: {chance} for its {tissue}.",
                tree=tree.name,
                day=short_day(day.day),
                chance=percent(day.harm),
                tissue=say(TISSUES[day.worst]),
            )
        )
        if others:
            parts.append(say_count("So may {count} more tree.", "So may {count} more trees.", others))
    if season.hottest_air_c is None or season.hottest_air_at is None:
        parts.append(say("No weather since {day} is known.", day=_day(season.since, household)))
        return " ".join(parts)
    hurt = [tree for tree in season.trees if (worst := tree.worst(coming=False)) and worst.harm >= WORTH_TELLING]
    parts.append(
        say(
            "Hottest air known since {since}: {air} on {day}.",
            since=_day(season.since, household),
            air=household.temperature(season.hottest_air_c),
            day=_day(season.hottest_air_at, household),
        )
    )
    if hurt:
        parts.append(
            say_count(
                "{count} tree had a chance of harm of one in twenty or more then.",
                "{count} trees had a chance of harm of one in twenty or more then.",
                len(hurt),
            )
        )
    return " ".join(parts)


def notices(season: HeatSeason, household: Household) -> list[str]:
    """Say what is assumed or missing."""
    found = []
    if season.hottest_air_c is not None and season.known_hours < KNOWN_ENOUGH * season.hours:
        found.append(
            say(
                "The weather of {known} of {all} hours since {day} is known; heat in the others is not counted. Past "
                "weather can be fetched or read in on the page of the weather.",
                known=number(season.known_hours),
                all=number(season.hours),
                day=_day(season.since, household),
            )
        )
    unknown = [tree.name for tree in season.trees if not tree.known]
    if unknown and len(unknown) < len(season.trees):
        found.append(say("Nothing is known of {trees}.", trees=say_list(unknown)))
    found.append(
        say(
            "Each figure is that of the worst part of a tree: the leaf that faces the sun, the sunny side of fruit and "
            "trunk, the sunny quarter of the pot. A watered tree is meant; where its roots are dry a leaf gets as hot "
            "as the second figure says."
        )
    )
    found.append(
        say(
            "Where harm begins is known roughly only, to about {doubt} either way: for no garden tree was a measured "
            "limit of leaf scorch found. The limits are those of apples, of leaves in the laboratory and of nursery "
            "pots.",
            doubt=household.difference(3.0),
        )
    )
    if any(tree.potted for tree in season.trees):
        found.append(
            say(
                "Pots of plastic and felt are taken as black, those of clay, timber and metal as they weather: a white "
                "pot stays cooler than is said here."
            )
        )
    found.append(say(FOR_PEOPLE))
    return found


def yard_table(season: HeatSeason, household: Household) -> PartTable:
    """Give one line a tree: the hottest hours that were, and the chance of harm then and in the coming days."""
    rows = []
    for tree in season.trees:
        worst = tree.worst(coming=False)
        hottest = [
            household.bare_temperature(one.hottest_c) if (one := tree.of(tissue)) is not None else ""
            for tissue in ("leaf", "bark", "root", "fruit")
        ]
        dry = "" if tree.leaf_dry_c is None else household.bare_temperature(tree.leaf_dry_c)
        then = say("unknown") if not tree.known else "" if worst is None else bare_percent(worst.harm)
        ahead = max((day.harm for day in tree.days), default=None)
        rows.append(
            (
                tree.name,
                hottest[0],
                dry,
                *hottest[1:],
                then,
                "" if ahead is None else bare_percent(ahead),
            )
        )
    return PartTable(
        caption=say(
            "Hottest hour since {day} in {degree}, and chance of harm to leaf, bark or pot roots in %",
            day=_day(season.since, household),
            degree=household.degree,
        ),
        columns=(
            say("Tree"),
            say("Leaf"),
            say("Leaf if dry"),
            say("Bark"),
            say("Pot roots"),
            say("Fruit"),
            say("Harm then"),
            say("Harm to come"),
        ),
        rows=tuple(rows),
        trees=tuple(tree.tree for tree in season.trees),
    )


def why(one: HotTissue, household: Household) -> str:
    """Say in a sentence what made a tissue so hot."""
    where = []
    for reason in one.reasons:
        if reason == "sun":
            where.append(say("the sun on it"))
        elif reason == "pot":
            where.append(say("the sun on the wall of its pot"))
        elif reason == "wall":
            name = one.wall
            where.append(say("warmth and light of {wall}", wall=name) if name else say("warmth and light of a wall"))
        elif reason == "still":
            where.append(say("hardly any wind at its crown"))
        elif reason == "dry_air":
            where.append(say("air so dry that leaves shut their pores"))
    if not where:
        where.append(say("the air itself"))
    return say(
        "{tissue} {hottest} on {when}, air {air}: {reasons}.",
        tissue=say(NAMES[one.tissue]),
        hottest=household.temperature(one.hottest_c),
        when=household.moment(one.at - timedelta(minutes=30)),
        air=household.temperature(one.air_c),
        reasons=say_list(where),
    )


NAMES = {"leaf": marked("Leaf"), "fruit": marked("Fruit"), "bark": marked("Bark"), "root": marked("Pot roots")}
"""As the beginning of a sentence or the head of a row."""


def day_words(day: HeatDay, household: Household) -> tuple[str, ...]:
    """Give the cells of one day: day, leaf, leaf if dry, chance of harm, what is most endangered."""
    return (
        short_day(day.day),
        household.bare_temperature(day.leaf_c),
        household.bare_temperature(day.leaf_dry_c),
        bare_percent(day.harm),
        say(TISSUES[day.worst]) if day.harm >= WORTH_TELLING else "",
    )


def _day(moment: datetime, household: Household) -> str:
    """Day of a moment by the reader's clock."""
    return short_day(moment.astimezone(household.zone).date())
