"""The water of the season in words: verdict, what is in doubt, one line a tree, and what is to be done."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from fruitwall.plans.cautions import caution_texts
from fruitwall.service.household import NO_BREAK, decimal, minutes, number, percent, short_day
from fruitwall.service.season_part import PartTable, SeasonPart, SeasonTask
from fruitwall.service.water_entry import amount_words
from fruitwall.speech import say, say_count, say_list

if TYPE_CHECKING:
    from fruitwall.plants.water.filled import NoticeCode
    from fruitwall.service.household import Household
    from fruitwall.service.water_document import WaterDocument, WaterTree

TASK_AHEAD = timedelta(days=14)
"""Waterings that fall due later are told, and not asked for. Our judgement."""

URGENT_DAYS = 3.0
"""A tree that suffers plainly so soon after its day cannot wait. Our judgement. [d]"""

SUFFERS = 0.8
"""Share of its use below which growth stops and fruit stays small. Our judgement. [-]"""

KNOWN_ENOUGH = 0.95
"""Share of hours whose weather must be known to be told without a word. Our judgement. [-]"""

MM_PER_INCH = 25.4

SOURCES = (
    "Allen, R.G., Pereira, L.S., Raes, D., Smith, M. (1998): Crop evapotranspiration. FAO Irrigation and Drainage "
    "Paper 56, Rome.",
    "Ayers, R.S., Westcot, D.W. (1985): Water quality for agriculture. FAO Irrigation and Drainage Paper 29, Rome.",
    "Snyder, R.L., de Melo-Abreu, J.P. (2005): Frost protection: fundamentals, practice and economics. FAO, Rome.",
)


def depth_words(mm: float, household: Household) -> str:
    """Write a depth of water: "12 mm", "0.5 in"."""
    if household.display.length == "ft":
        return decimal(
            f"{mm / MM_PER_INCH:.2f}{NO_BREAK}in" if mm < MM_PER_INCH else f"{mm / MM_PER_INCH:.1f}{NO_BREAK}in"
        )
    return decimal(f"{mm:.1f}{NO_BREAK}mm" if 0.0 < mm < 1.0 else f"{mm:.0f}{NO_BREAK}mm")


def give_words(tree: WaterTree, household: Household, litres: float | None = None) -> str:
    """Say how much to give: "18 L, 9 min of its emitter"."""
    given = tree.litres if litres is None else litres
    amount = amount_words(given, household.display)
    if tree.emitter_minutes is None or tree.litres <= 0.0:
        return amount
    time = minutes(max(tree.emitter_minutes * given / tree.litres, 1.0))
    return say("{amount}, {time} of its emitter", amount=amount, time=time)


def part_of(water: WaterDocument, household: Household, now: datetime) -> SeasonPart:
    """Put the part together.

    Parameters
    ----------
    water : WaterDocument
    household : Household
        Of who reads.
    now : datetime, aware

    Returns
    -------
    SeasonPart
    """
    today = now.astimezone(household.zone).date()
    return SeasonPart(
        key="water",
        title=say("Water"),
        verdict=verdict(water, household, today),
        notices=tuple(notices(water, household)),
        table=yard_table(water, household, today),
        tasks=tuple(tasks(water, household, today)),
        document=water,
        sources=SOURCES,
    )


def verdict(water: WaterDocument, household: Household, today: date) -> str:
    """Say in one or two sentences what the yard needs."""
    if not water.trees:
        return say("No weather is known yet, so nothing can be told of water.")
    lack = [tree.name for tree in water.trees if tree.lacks]
    coming = sorted(
        (tree for tree in water.trees if tree.due is not None and not tree.lacks), key=lambda one: one.due or today
    )
    found = []
    if lack:
        found.append(say("Short of water now: {trees}.", trees=say_list(lack)))
    if coming:
        first = coming[0]
        found.append(
            say(
                "Next: {tree}, {day}, {amount}.",
                tree=first.name,
                day=_day(first.due, today),
                amount=give_words(first, household),
            )
        )
    if not found:
        until = max((tree.looked_until for tree in water.trees if tree.looked_until is not None), default=None)
        found.append(
            say("No tree is short of water.")
            if until is None
            else say("No tree needs water until {day}.", day=short_day(until))
        )
    thirsty = [tree for tree in water.trees if tree.frost_litres > 0.0]
    if thirsty and water.frost_night is not None:
        count = say_count("{count} tree", "{count} trees", len(thirsty))
        found.append(
            say(
                "It freezes in the night of {day}: water the dry ground of {trees} before.",
                day=short_day(water.frost_night),
                trees=count,
            )
        )
    return " ".join(found)


def _day(day: date | None, today: date) -> str:
    if day is None:
        return say("unknown")
    return say("today") if day <= today else short_day(day)


def notices(water: WaterDocument, household: Household) -> list[str]:
    """Say what is assumed or missing, each with its mend."""
    from fruitwall.plants.water.filled import said_notice

    found: list[str] = []
    if not water.trees:
        return [say("Past weather can be fetched or read in on the page of the weather.")]
    silent = [tree.name for tree in water.trees if tree.believed_from is None]
    if silent and len(silent) == len(water.trees):
        found.append(
            say(
                "No watering was entered so far. Each tree is taken to have got water whenever it began to lack it; "
                "enter waterings, and this becomes a real account."
            )
        )
    elif silent:
        found.append(
            say(
                "No watering was entered for {trees}; each is taken to have got water whenever it began to lack it.",
                trees=say_list(silent),
            )
        )
    if any(not one.written for tree in water.trees for one in tree.waterings):
        found.append(say("A watering without an amount counts as filling the root zone."))
    days = (water.until - water.since).days
    if days < 60:
        found.append(
            say_count(
                "The weather of only {count} day is known; what lies before is taken as half used up.",
                "The weather of only {count} days is known; what lies before is taken as half used up.",
                days,
            )
        )
    known = min(tree.known_share for tree in water.trees)
    if known < KNOWN_ENOUGH:
        found.append(
            say(
                "The weather is not known for {share} of the time; the balance stands still there.",
                share=percent(1.0 - known),
            )
        )
    codes: tuple[NoticeCode, ...] = (
        "only_temperatures", "humidity_from_minimum", "wind_assumed", "sun_from_cloud", "sun_from_temperatures",
    )  # fmt: skip
    found += [said_notice(code) for code in codes if code in water.notices]
    if all(tree.looked_until is None for tree in water.trees):
        found.append(say("No weather to come is known, so the next watering cannot be foreseen."))
    if not water.salt_followed:
        found.append(
            say("How salty the water is was not entered, so salt is not followed. The page Gear and people takes it.")
        )
    if salty := [tree.name for tree in water.trees if tree.too_salty]:
        found.append(say("The water is too salty for {trees}: no washing keeps the soil right.", trees=say_list(salty)))
    borrowed = [tree.name for tree in water.trees if tree.coefficients_doubt in ("group", "family")]
    if borrowed:
        found.append(
            say_count(
                "Nobody published the use of water of {count} kind of tree here; another that lives alike stands in.",
                "Nobody published the use of water of {count} trees' kinds; others that live alike stand in.",
                len(borrowed),
            )
        )
    if water.unknown_kinds:
        found.append(say("The kind of {trees} is not known: nothing is reckoned.", trees=say_list(water.unknown_kinds)))
    return found


def state_words(tree: WaterTree) -> str:
    """Say how its roots stand now."""
    if tree.uses_share < SUFFERS:
        return say("dry: uses {share} of what it wants", share=percent(tree.uses_share))
    if tree.lacks:
        return say("begins to lack water")
    left = 1.0 - max(tree.depletion_mm, 0.0) / tree.capacity_mm
    return say("{share} % full", share=number(100.0 * min(max(left, 0.0), 1.0)))


def due_words(tree: WaterTree, today: date) -> str:
    """Say when it is due, with the range of the courses."""
    if tree.lacks:
        return say("now")
    if tree.due is None:
        if tree.looked_until is None:
            return say("unknown")
        return say("not before {day}", day=short_day(tree.looked_until))
    text = _day(tree.due, today)
    first = tree.earliest or tree.due
    if tree.latest is None:
        return say("{day} or later", day=text if first == tree.due else short_day(first))
    if (tree.latest - first).days < 1:
        return text
    return say("{day} ({first} to {last})", day=text, first=short_day(first), last=short_day(tree.latest))


def skipped_words(tree: WaterTree) -> str:
    """Say what happens if it is not watered on its day; empty where nothing is known."""
    found = []
    if tree.half_days is not None and tree.half_days >= 1.0:
        days = say_count("{count} day", "{count} days", round(tree.half_days))
        found.append(say("After {days} more it gets less than half: leaves hang, fruit drops.", days=days))
    elif tree.half_days is not None and not (tree.lacks and tree.half_days == 0.0):
        found.append(say("Within a day more it gets less than half: leaves hang, fruit drops."))
    elif tree.half_days is not None:
        found.append(say("It gets less than half already: leaves hang, fruit drops."))
    elif tree.later_share is not None:
        share = percent(tree.later_share)
        if tree.later_share < SUFFERS:
            found.append(say("A week later it gets {share}: growth stops, fruit stays small.", share=share))
        else:
            found.append(say("A week later it still gets {share}; little is lost.", share=share))
    return " ".join(found)


def yard_table(water: WaterDocument, household: Household, today: date) -> PartTable | None:
    """Give one line a tree, in walking order."""
    if not water.trees:
        return None
    return PartTable(
        caption=say("Root zones now, and the next watering"),
        columns=(say("Tree"), say("Roots"), say("Missing"), say("Next"), say("Give then"), say("If skipped")),
        rows=tuple(
            (
                tree.name,
                state_words(tree),
                amount_words(max(tree.depletion_mm, 0.0) * tree.area_m2, household.display),
                due_words(tree, today),
                give_words(tree, household) if tree.due is not None else say("nothing yet"),
                skipped_words(tree),
            )
            for tree in water.trees
        ),
        trees=tuple(tree.tree for tree in water.trees),
    )


def tasks(water: WaterDocument, household: Household, today: date) -> list[SeasonTask]:
    """Give the waterings to do: those that fall due, and dry ground before a freezing night; soonest first."""
    found = []
    thirsty = [tree for tree in water.trees if tree.frost_litres > 0.0 and not _due_before_frost(tree, water)]
    if thirsty and water.frost_night is not None:
        found.append(_frost_task(thirsty, water.frost_night, household, today))
    found += [
        _task(tree, tree.due, household, today, before_frost=_due_before_frost(tree, water))
        for tree in water.trees
        if tree.due is not None and tree.due - today <= TASK_AHEAD
    ]
    return sorted(found, key=lambda one: (one.due, not one.urgent))


def _due_before_frost(tree: WaterTree, water: WaterDocument) -> bool:
    """Tell whether its own watering falls before a freezing night and does for that too: never two for one thirst."""
    night = water.frost_night
    return night is not None and tree.frost_litres > 0.0 and tree.due is not None and tree.due <= night


def _by_noon() -> str:
    return say("By noon, so that the sun still warms the wet ground; keep leaves and trunk dry.")


def _task(tree: WaterTree, due: date, household: Household, today: date, *, before_frost: bool) -> SeasonTask:
    why = say("Its root zone has {amount} less than full.", amount=_missing(tree, household))
    if tree.lacks:
        why = say("It uses only {share} of what it wants.", share=percent(tree.uses_share))
    if tree.leaching_share > 0.0:
        share = percent(tree.leaching_share)
        why = say("{why} {share} of the water is to wash salt down.", why=why, share=share)
    return SeasonTask(
        key=f"water:{tree.tree}",
        part="water",
        trees=(tree.tree,),
        what=say("Water {tree}: {amount}", tree=tree.name, amount=give_words(tree, household)),
        group=say("Water the trees"),
        line=f"{tree.name}: {give_words(tree, household)}",
        why=why,
        due=due,
        not_before=None if tree.earliest is None or tree.earliest >= due else max(tree.earliest, today),
        minutes=tree.work_minutes,
        otherwise=skipped_words(tree),
        steps=(*_steps(tree), *([_by_noon()] if before_frost else [])),
        cautions=tuple(caution_texts("water_rules", *(["water_and_power"] if before_frost else []))),
        deed="watered",
        urgent=tree.uses_share < SUFFERS or (tree.half_days is not None and tree.half_days <= URGENT_DAYS),
    )


def _steps(tree: WaterTree) -> tuple[str, ...]:
    found = [
        say("Give it slowly, so that it goes down and not away; in the morning, if you can.")
        if not tree.potted
        else say("Give it in two goes, until some runs out below; then empty the saucer.")
    ]
    if tree.roof_share > 0.5:
        found.append(say("It stands under a roof: no rain reaches it."))
    return tuple(found)


def _frost_task(trees: list[WaterTree], night: date, household: Household, today: date) -> SeasonTask:
    """Give one task for all trees whose ground is on the dry side: it is one round with the hose."""
    liquid = amount_words(sum(tree.frost_litres for tree in trees), household.display)
    count = say_count("{count} tree", "{count} trees", len(trees))
    return SeasonTask(
        key=f"water-frost:{night.isoformat()}",
        part="water",
        trees=tuple(tree.tree for tree in trees),
        what=say("Before the freeze: wet the dry ground of {trees}, {amount} in all", trees=count, amount=liquid),
        why=say(
            "Moist ground takes in more of the day's sun and gives it back at night; a dry pot freezes through sooner; "
            "and dry roots make a tree less hardy."
        ),
        due=max(night, today),
        not_before=max(night - timedelta(days=1), today),
        minutes=sum(tree.frost_minutes for tree in trees),
        otherwise=say("The trees meet the cold drier and a little less hardy."),
        steps=(
            *(
                say("{tree}: {amount}", tree=tree.name, amount=give_words(tree, household, tree.frost_litres))
                for tree in trees
            ),
            _by_noon(),
            say("Not where water can stand and freeze on a path."),
        ),
        cautions=tuple(caution_texts("water_and_power")),
        deed="wetted",
    )


def _missing(tree: WaterTree, household: Household) -> str:
    return amount_words(max(tree.depletion_mm, 0.0) * tree.area_m2, household.display)


def figures(tree: WaterTree, household: Household) -> list[tuple[str, str]]:
    """Give what a tree's own page tells in figures: label and value."""
    doubt = amount_words(tree.depletion_sd_mm * tree.area_m2, household.display)
    found = [
        (
            say("Missing from full"),
            say("{amount}, give or take {doubt}", amount=_missing(tree, household), doubt=doubt),
        ),
        (say("Root zone holds"), amount_words(tree.capacity_mm * tree.area_m2, household.display)),
        (say("Easily taken"), amount_words(tree.ready_mm * tree.area_m2, household.display)),
        (say("Roots drink down to"), household.length(tree.root_depth_m)),
        (say("Rain kept off by roofs"), percent(tree.roof_share)),
        (say("Use of water as of"), tree.coefficients_of),
    ]
    if tree.extract_ds_m is not None:
        salt, stands = number(tree.extract_ds_m, 1), number(tree.stands_ds_m, 1)
        found.append((say("Salt in the soil"), say("{salt} dS/m; it stands {stands}", salt=salt, stands=stands)))
    return found
