"""The growth of a yard's trees in words: what they carry, what comes next, when to pick, and what to enter."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING

from fruitwall.plants.growth import NEVER_TASTED
from fruitwall.service.growth_document import Growth, HarvestExpected, StageExpected, TreeGrowth
from fruitwall.service.growth_ledger import growth_of, stage_now
from fruitwall.service.household import month_name, short_day
from fruitwall.service.season_part import PartTable, SeasonPart, SeasonTask
from fruitwall.service.stages import CARRIED_NAMES
from fruitwall.speech import marked, say, say_count, say_list

if TYPE_CHECKING:
    from fruitwall.service.house import House
    from fruitwall.service.household import Household

__all__ = ["growth_part", "harvest_words", "stage_now"]

AHEAD_DAYS = 60
"""A harvest is a task from so long before it may begin. Our judgement. [days]"""

EXPECTED_NAMES = {
    "dormant": marked("Rest without leaf"),
    "bloom": marked("Bloom"),
    "flush": marked("New growth"),
    "shedding": marked("Shedding of old leaves"),
    "harvest": marked("Harvest"),
    "fruit": marked("Fruit"),
}
"""Stages that are foreseen, in words."""

STATUS_WORDS = {
    "read": marked("published"),
    "from_memory": marked("from memory"),
    "common_practice": marked("common practice"),
}
"""How well something is known."""


def growth_part(house: House, household: Household) -> SeasonPart:
    """Tell the growth of the trees.

    Parameters
    ----------
    house : House
    household : Household
        Of who reads.

    Returns
    -------
    SeasonPart
    """
    growth = growth_of(house)
    return SeasonPart(
        key="growth",
        title=say("Growth"),
        verdict=verdict(growth),
        notices=tuple(notices(growth)),
        table=table_of(growth),
        tasks=tuple(tasks_of(growth)),
        document=growth,
        sources=tuple(sorted({one for tree in growth.trees if tree.harvest for one in tree.harvest.sources})),
    )


def verdict(growth: Growth) -> str:
    """Say in a sentence or two who carries what, and whose harvest is next."""
    fruit = [one.name for one in growth.trees if "fruit" in one.carries]
    bloom = [one.name for one in growth.trees if "flower" in one.carries]
    told = [
        say_count("{count} tree carries fruit", "{count} trees carry fruit", len(fruit)),
        say_count("{count} is in bloom", "{count} are in bloom", len(bloom)),
    ]
    text = say("{fruit}, {bloom}.", fruit=told[0], bloom=told[1])
    coming = sorted(
        ((one.harvest.first, one.name) for one in growth.trees if one.harvest is not None and "fruit" in one.carries),
    )
    later = next((one for one in coming if one[0] > growth.today), None)
    now = [name for first, name in coming if first <= growth.today]
    if now:
        text += " " + say("Ripe by now, or soon: {trees}.", trees=say_list(now))
    if later is not None:
        text += " " + say("Next harvest: {tree}, from {day}.", tree=later[1], day=day_words(later[0], growth.today))
    return text


def notices(growth: Growth) -> list[str]:
    """Say what is assumed, and what is not known."""
    found = [
        say(
            "Months are of the kinds, published for other places, some written down from memory; each says so. Enter "
            "the bloom and the harvest of your trees: they count more from year to year."
        )
    ]
    if growth.southern:
        found.append(say("The yard lies south of the equator: all months were moved by half a year."))
    unknown = [one.name for one in growth.trees if one.harvest is None]
    if unknown:
        found.append(
            say(
                "No harvest can be foreseen for {trees}: nothing published says when they bloom or how long they take. "
                "Once their bloom is entered it can be, or after a first year.",
                trees=say_list(unknown),
            )
        )
    worthless = [one.name for one in growth.trees if one.worth_missing]
    if worthless:
        found.append(
            say(
                "{trees}: the evening plan gives their fruit or flowers no worth, since the yard has no figure for it. "
                "Give one on the page of the yard, under the tree.",
                trees=say_list(worthless),
            )
        )
    return found


def day_words(day: date, today: date) -> str:
    """Write a day: briefly within the coming weeks, as part of a month beyond, with the year if it is another one."""
    return short_day(day) if abs((day - today).days) <= 45 else _part_words(day, today.year)


def _part_words(day: date, year: int) -> str:
    """Write a day as part of a month, which is as well as it is known; with its year unless that is the one given."""
    part = (
        marked("early {month}") if day.day <= 10 else marked("mid {month}") if day.day <= 20 else marked("late {month}")
    )
    month = month_name(day)
    return say(part, month=month if day.year == year else say("{month} {year}", month=month, year=f"{day.year}"))


def range_words(first: date, last: date, today: date) -> str:
    """Write from when to when, as parts of months."""
    year = last.year if first.year == last.year else today.year
    return say("{first} – {last}", first=_part_words(first, year), last=_part_words(last, today.year))


def carries_words(tree: TreeGrowth) -> str:
    """Say what a tree carries."""
    return say_list([say(CARRIED_NAMES[one]) for one in tree.carries])


def since_words(tree: TreeGrowth) -> list[str]:
    """Say since when, for what somebody entered; and that the rest stands in the yard file."""
    told = [
        say("{what} since {day}, entered", what=say(CARRIED_NAMES[stage]), day=short_day(day))
        for stage, day in tree.since.items()
    ]
    told += [
        say("no {what} any more since {day} (entered)", what=say(CARRIED_NAMES[stage]), day=short_day(day))
        for stage, day in tree.gone.items()
        if stage != "dormant"
    ]
    return told or [say("as the yard file says")]


def harvest_words(harvest: HarvestExpected | None, today: date) -> str:
    """Say when harvest may be expected."""
    if harvest is None:
        return say("not known")
    return range_words(harvest.first, harvest.last, today)


def harvest_told(harvest: HarvestExpected, today: date) -> list[str]:
    """Say what the harvest window rests on."""
    bloom = day_words(harvest.bloom, today)
    weeks = round(harvest.mean_days / 7.0)
    told = [
        say("Begins most likely about {day}; 8 of 10 times in these days.", day=day_words(harvest.middle, today)),
        say("Reckoned from the bloom of {day}, as entered.", day=bloom)
        if harvest.bloom_entered
        else say(
            "Reckoned from a bloom about {day}, by the months of its kind: enter the bloom, and it gets narrower.",
            day=bloom,
        ),
        say(
            "From bloom to harvest {weeks}, give or take {spread}.",
            weeks=_weeks(weeks),
            spread=_weeks(round(harvest.sd_days / 7.0)),
        ),
    ]
    if harvest.own_years and harvest.kind_mean_days is not None:
        told.append(
            say(
                "Learned from {years} of this tree; its kind takes {kind}.",
                years=say_count("{count} crop", "{count} crops", harvest.own_years),
                kind=_weeks(round(harvest.kind_mean_days / 7.0)),
            )
        )
    if harvest.by_heat is not None:
        told.append(
            say(
                "By warmth, as {years} of this tree needed it: {range}.",
                years=say_count("{count} crop", "{count} crops", harvest.by_heat.own_years),
                range=range_words(harvest.by_heat.first, harvest.by_heat.last, today),
            )
        )
    return told


def told_of(tree: TreeGrowth, today: date) -> list[str]:
    """Say what a tree's harvest rests on, or what is missing to foresee it."""
    if tree.harvest is not None:
        return harvest_told(tree.harvest, today)
    if tree.kind_mean_days is None:
        return []
    return [
        say(
            "Its kind takes {weeks} from bloom to harvest: enter a bloom, and the harvest is foreseen.",
            weeks=_weeks(round(tree.kind_mean_days / 7.0)),
        )
    ]


def later_words(harvest: HarvestExpected | None, today: date) -> str:
    """Say when the crop after the one that hangs may be expected; empty for none."""
    if harvest is None:
        return ""
    return say(
        "The crop of the bloom of {day}, as entered: {range}.",
        day=day_words(harvest.bloom, today),
        range=range_words(harvest.first, harvest.last, today),
    )


def _weeks(count: int) -> str:
    return say_count("{count} week", "{count} weeks", count)


def expected_words(one: StageExpected, today: date) -> str:
    """Say when a stage may be expected; that it runs now where it does."""
    if one.first <= today <= one.last:
        return say("now, until {day}", day=_part_words(one.last, today.year))
    return range_words(one.first, one.last, today)


def next_words(tree: TreeGrowth, today: date) -> str:
    """Say the next stage that begins."""
    coming = next((one for one in tree.expected if one.first > today and one.stage != "harvest"), None)
    if coming is None:
        return say("not known")
    return say("{stage}: {range}", stage=say(EXPECTED_NAMES[coming.stage]), range=expected_words(coming, today))


def table_of(growth: Growth) -> PartTable:
    """Give a line a tree."""
    return PartTable(
        caption=say("What each tree carries, and what comes next"),
        columns=(say("Tree"), say("Carries"), say("Next"), say("Harvest")),
        rows=tuple(
            (
                one.name,
                carries_words(one),
                next_words(one, growth.today),
                harvest_words(one.harvest, growth.today),
            )
            for one in growth.trees
        ),
        trees=tuple(one.tree for one in growth.trees),
    )


# ---------------------------------------------------------------- what is to be done


def tasks_of(growth: Growth) -> list[SeasonTask]:
    """Give what growth asks for: a harvest that begins, and blooms that should be entered."""
    today = growth.today
    found = [task for tree in growth.trees if (task := _harvest_task(tree, today)) is not None]
    looked = _bloom_task(growth.trees, today)
    return sorted([*found, *([looked] if looked is not None else [])], key=lambda one: (one.due, one.key))


def _harvest_task(tree: TreeGrowth, today: date) -> SeasonTask | None:
    window = tree.harvest
    if window is None or "fruit" not in tree.carries or window.first > today + timedelta(days=AHEAD_DAYS):
        return None
    why = (
        say("Its first fruit is reckoned to ripen within {range}.", range=range_words(window.first, window.last, today))
        if window.bloom_entered
        else say(
            "Its first fruit is reckoned to ripen within {range}; the bloom was not entered, so this is rough.",
            range=range_words(window.first, window.last, today),
        )
    )
    kind = _key_of(tree.taxon)
    steps = [say("Taste one or two; pick when they are ripe, and enter the harvest.")]
    if kind in NEVER_TASTED:
        steps = [say(_INSTEAD_OF_TASTING[kind])]
    if not tree.pickable:
        steps.append(
            say(
                "Once they are ripe, tick in the yard that the fruit may be picked: then a cold night's plan may say "
                "to pick it."
            )
        )
    return SeasonTask(
        key=f"growth:harvest:{tree.tree}",
        part="growth",
        trees=(tree.tree,),
        what=say("Look at the fruit of {tree}: it may be ripe. Do not taste it", tree=tree.name)
        if kind in NEVER_TASTED
        else say("Taste the fruit of {tree}: it may be ripe", tree=tree.name),
        why=why,
        due=max(today, window.middle),
        not_before=window.first,
        minutes=5.0,
        otherwise=say("Ripe fruit that hangs on is at risk with every cold night, and draws birds and rot."),
        steps=tuple(steps),
        deed="harvested",
    )


_INSTEAD_OF_TASTING = {
    "blighia-sapida": marked(
        "Unripe akee is a deadly poison. Wait until the fruit has opened wide by itself on the tree; only then is the "
        "pale flesh food, without seeds and without the pink skin. Never eat fruit that fell or was picked closed."
    ),
    "anacardium-occidentale": marked(
        "Ripe apples are coloured and come off easily. Do not bite or crack the nut: its shell holds an oil that burns "
        "skin and mouth."
    ),
}
"""What to do with fruit that is never to be tasted; common knowledge of its growers, no source read."""


def _key_of(kind: str) -> str:
    """Give the catalogue's key of a kind; empty for one that only this yard knows."""
    from fruitwall.errors import FruitwallError
    from fruitwall.plants.catalogue import catalogue

    try:
        return catalogue().find(kind).key
    except (FruitwallError, KeyError, ValueError):
        return ""


def _bloom_task(trees: Sequence[TreeGrowth], today: date) -> SeasonTask | None:
    """Ask once a month for the blooms that are due and not entered."""
    due = [
        tree
        for tree in trees
        if "flower" not in tree.carries
        and any(one.stage == "bloom" and one.first <= today <= one.last for one in tree.expected)
        and not any(one.stage == "bloom" and (today - one.day).days < 150 for one in tree.entered)
    ]
    if not due:
        return None
    month_ends = (today.replace(day=1) + timedelta(days=32)).replace(day=1) - timedelta(days=1)
    return SeasonTask(
        key=f"growth:bloom:{today:%Y-%m}",
        part="growth",
        trees=tuple(one.tree for one in due),
        what=say("Look for bloom, and enter it with one touch: {trees}", trees=say_list([one.name for one in due])),
        why=say("Their kinds bloom in these months. An entered bloom counts on cold nights and foretells the harvest."),
        due=month_ends,
        not_before=today.replace(day=1),
        minutes=5.0,
    )
