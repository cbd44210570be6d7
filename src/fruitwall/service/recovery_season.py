"""The recovery of hurt trees in words: verdict, what to wait for, what to do and what not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from fruitwall.plants.recovery import PAINT_WITHIN_DAYS, WOOD_GRADE
from fruitwall.service.household import percent, short_day
from fruitwall.service.ledger import GRADES, SIGNS
from fruitwall.service.recovery_document import RecoverySeason, State, TreeRecovery
from fruitwall.service.recovery_ledger import recovery_season
from fruitwall.service.season_part import PartTable, SeasonPart, SeasonTask
from fruitwall.speech import marked, say, say_count, say_list

if TYPE_CHECKING:
    from fruitwall.service.house import House
    from fruitwall.service.household import Household

PRUNE_WITHIN = timedelta(days=30)
"""From when a tree may be pruned to when it should be. Our judgement: the cut is not urgent."""

FEW_COURSES = 10
"""With fewer other years a chance of one in ten cannot be told. Our judgement."""

PAINT_MIN, SCRATCH_MIN, PRUNE_MIN = 30.0, 4.0, 30.0
"""Of work, for one tree. Our judgement. [min]"""

STATES: dict[State, str] = {
    "leaf_only": marked("only leaves are hurt"),
    "watch_base": marked("looks dead; watch for shoots"),
    "cold_unknown": marked("nobody can say yet whether another freeze comes"),
    "wait_cold": marked("wait: another freeze is still likely"),
    "wait_wood": marked("wait for new growth"),
    "prune": marked("may be pruned"),
}
"""What each state is called."""

LADDER = marked(
    "Work from the ground with a pole where you can. A ladder stands on firm level ground, tied or held, three points "
    "of contact; not in wind, not near wires, and not alone."
)
"""The rule of the ladder as in `plans.cautions` (OSHA guidance as reproduced by trade sites); the pole is common
practice, no source."""

SAW = marked("Wear goggles and gloves, and know where a limb will fall. Large limbs are for somebody trained.")
"""Common practice, no source."""

WAITING = ("wait_cold", "wait_wood", "cold_unknown")

SOURCES = (
    marked("Faber, B., University of California Cooperative Extension Ventura: citrus after a freeze."),
    marked(
        "Perry, E., University of California Cooperative Extension (2007): frost-damaged plants may need pruning, but "
        "wait until spring."
    ),
    marked(
        "O’Connell, N., University of California Cooperative Extension Tulare, in Western Farm Press (2014): wait to "
        "prune freeze-damaged citrus."
    ),
    marked("California Avocado Commission (2013): post-freeze avocado grove management."),
    marked("UF/IFAS Extension, HS1275: freeze damage symptoms and recovery of citrus."),
    marked("McConnell, J., UF/IFAS Extension (2023): landscape freeze damage."),
    marked("MacCubbin, T. (2008): before pruning, watch plants for more signs of cold damage."),
    marked("Albanese, B. (2010), Pinellas County: assessing freeze damage."),
    marked("Burtt, C., Clemson Cooperative Extension (2021): cold tolerance in citrus."),
)


@dataclass(frozen=True)
class Advice:
    """One thing to do or to leave, with its reason."""

    do: bool
    text: str


def recovery_part(house: House, household: Household) -> SeasonPart:
    """Tell how hurt trees recover.

    Parameters
    ----------
    house : House
    household : Household
        Of who reads.

    Returns
    -------
    SeasonPart
    """
    season = recovery_season(house)
    today = house.clock().astimezone(household.zone).date()
    return SeasonPart(
        key="recovery",
        title=say("Recovery"),
        verdict=verdict(season),
        notices=tuple(notices(season)),
        table=table(season) if season.trees else None,
        tasks=tuple(sorted(tasks(season, today), key=lambda one: (one.due, one.key))),
        document=season,
        sources=tuple(say(one) for one in SOURCES) if season.trees else (),
    )


def verdict(season: RecoverySeason) -> str:
    """Say in a sentence or two how it stands."""
    if not season.trees:
        return say("No tree shows an injury from the cold of this winter or the last.")
    parts = [
        say_count(
            "{count} tree was hurt by cold and has not recovered yet.",
            "{count} trees were hurt by cold and have not recovered yet.",
            len(season.trees),
        )
    ]
    ready = [one.name for one in season.trees if one.state == "prune" and not one.stale]
    waiting = [one.name for one in season.trees if one.state in WAITING and not one.stale]
    old = [one.name for one in season.trees if one.stale]
    bare = [one.name for one in season.trees if one.bare and not one.painted and not one.stale]
    if bare:
        parts.append(say("Paint now the bare limbs of {trees}.", trees=say_list(bare)))
    if ready:
        parts.append(say("Prune now: {trees}.", trees=say_list(ready)))
    if waiting:
        parts.append(say("Do not prune yet: {trees}.", trees=say_list(waiting)))
    if old:
        parts.append(say("Look first how it stands with {trees}: the newest look is old.", trees=say_list(old)))
    return " ".join(parts)


def notices(season: RecoverySeason) -> list[str]:
    """Say what is assumed or missing."""
    found = []
    if season.trees:
        found.append(
            say(
                "Another harmful night counts as unlikely when at most {share} of the courses that the weather may "
                "take have one; this limit is our judgement.",
                share=percent(season.unlikely),
            )
        )
        if not season.climate:
            found.append(
                say(
                    "The weather of other years is not known here, so nobody can say when the last freeze is over. "
                    "`fruitwall climate fetch` asks for it."
                )
            )
        elif (few := min(season.years, season.courses)) < FEW_COURSES and few:
            found.append(
                say_count(
                    "Only {count} other year is known that far: the day from which another freeze is unlikely is "
                    "rough, and waiting longer is safer.",
                    "Only {count} other years are known that far: the day from which another freeze is unlikely is "
                    "rough, and waiting longer is safer.",
                    few,
                )
            )
        found.append(
            say(
                "The chance is for the tree left alone at its own spot, up to {day}.",
                day=short_day(season.until.date()),
            )
        )
    if season.other_causes:
        found.append(
            say(
                "What was seen at {trees} is put down to something other than cold, so it is not followed here.",
                trees=say_list(season.other_causes),
            )
        )
    return found


def table(season: RecoverySeason) -> PartTable:
    """Give one line a tree."""
    return PartTable(
        caption=say("Hurt trees: what was seen, and what is waited for"),
        columns=(
            say("Tree"),
            say("Worst seen"),
            say("On"),
            say("Now"),
            say("Chance of another harmful night"),
            say("Unlikely from"),
            say("Live wood seen"),
        ),
        rows=tuple(
            (
                one.name,
                say(GRADES[one.worst_grade][1]),
                short_day(one.hurt_on),
                say(STATES[one.state]),
                percent(one.chance_now) if one.chance_now is not None else say("unknown"),
                short_day(one.safe_from) if one.safe_from is not None else say("unknown"),
                live_words(one),
            )
            for one in season.trees
        ),
        trees=tuple(one.tree for one in season.trees),
    )


def live_words(tree: TreeRecovery) -> str:
    """Say what shows that wood lives."""
    if tree.live_on is None:
        return say("bark was brown") if tree.brown else say("not yet")
    return say("{sign}, {day}", sign=say(dict(SIGNS)[tree.live_sign]), day=short_day(tree.live_on))


# ---------------------------------------------------------------- what to do


def tasks(season: RecoverySeason, today: date) -> list[SeasonTask]:
    """Give what hurt trees ask for."""
    found: list[SeasonTask] = []
    for one in season.trees:
        if one.bare and not one.painted and not one.stale:
            found.append(_paint(one))
        if one.prune_from is not None:
            found.append(_prune(one, today))
        elif one.look_due is not None:
            found.append(_look(one))
    return found


def _paint(tree: TreeRecovery) -> SeasonTask:
    from fruitwall.plans.cautions import caution_texts

    return SeasonTask(
        key=f"recovery:paint:{tree.tree}",
        part="recovery",
        trees=(tree.tree,),
        what=say("Paint the bare limbs of {tree} white", tree=tree.name),
        why=say("Limbs that lost their leaves burn in the sun, and that is often the worst damage after a freeze."),
        due=tree.hurt_on + timedelta(days=PAINT_WITHIN_DAYS),
        minutes=PAINT_MIN,
        otherwise=say("Bark may burn on the sunny side, even without great heat, and the limb dies."),
        steps=(
            say("Thin white water-based paint until it can be brushed or sprayed; it must still be white when dry."),
            say("Paint trunk and limbs that the sun reaches. Leave cracked bark alone: no wound paint."),
        ),
        cautions=(*caution_texts("whitewash"), say(LADDER)),
        deed="whitewashed",
        urgent=True,
    )


def _look(tree: TreeRecovery) -> SeasonTask:
    due = tree.look_due
    assert due is not None
    if tree.worst_grade < WOOD_GRADE or tree.stale:
        return SeasonTask(
            key=f"recovery:look:{tree.tree}",
            part="recovery",
            trees=(tree.tree,),
            what=say("Look at {tree} again", tree=tree.name),
            why=say("It was last looked at on {day}; nobody knows how it stands now.", day=short_day(tree.last_on))
            if tree.stale
            else say("What cold has done shows over weeks; about a month tells most of it."),
            due=due,
            minutes=SCRATCH_MIN,
            steps=(say("Enter the look on the walk or on the tree's page."),),
        )
    return SeasonTask(
        key=f"recovery:scratch:{tree.tree}",
        part="recovery",
        trees=(tree.tree,),
        what=say("Look whether {tree} sprouts, and scratch its bark", tree=tree.name),
        why=say("Only new growth and green bark show how far the wood is alive; a test too early misleads."),
        due=due,
        minutes=SCRATCH_MIN,
        steps=(
            say("Scratch a spot as big as a fingernail at a twig, lightly. Green is alive, brown is dead."),
            say("Work downwards until it is green: twig, limb, trunk."),
            say(
                "Enter what you see: “Green under the scratched bark”, “Brown under the scratched bark”, “New growth”."
            ),
        ),
    )


def _prune(tree: TreeRecovery, today: date) -> SeasonTask:
    begin = tree.prune_from
    assert begin is not None
    return SeasonTask(
        key=f"recovery:prune:{tree.tree}",
        part="recovery",
        trees=(tree.tree,),
        what=say("Cut the dead wood out of {tree}", tree=tree.name),
        why=say("Live wood was seen, and another harmful night is unlikely from {day} on.", day=short_day(begin)),
        due=max(begin, today) + PRUNE_WITHIN,
        not_before=begin,
        minutes=PRUNE_MIN,
        otherwise=say("Nothing is lost by waiting; dead wood slows the new growth and lets rot in."),
        steps=prune_steps(tree),
        cautions=(say(SAW), say(LADDER)),
        deed="pruned",
    )


def prune_steps(tree: TreeRecovery) -> tuple[str, ...]:
    """Say how far and how to cut."""
    steps = [
        say("Cut into live wood, a little above strong new growth, at a fork where you can; leave no stubs."),
        say("Leave what is not clear yet: dieback can go on for months, and a second cut does no harm."),
        say("Clean the tools before the next tree."),
    ]
    if tree.grafted is not False:
        steps.append(
            say("Break off shoots from below the graft: they are of the rootstock and do not bear your fruit.")
            if tree.grafted
            else say("If it is grafted, break off shoots from below the graft: they do not bear your fruit.")
        )
    return tuple(steps)


def advice(season: RecoverySeason) -> Sequence[Advice]:
    """Say what holds for all hurt trees: what to do and what to leave."""
    found = [
        Advice(
            False,
            say(
                "Do not prune early. Live and dead wood look alike for weeks, and a cut in a warm spell brings tender "
                "shoots before the next freeze. Dead leaves shelter what is below. Only what is broken comes off at "
                "once."
            ),
        ),
        Advice(
            False,
            say(
                "Do not feed. No fertiliser revives a frozen tree, and nitrogen drives shoots that wood and roots "
                "cannot carry. Wait until it grows by itself; after heavy injury give much less than usual."
            ),
        ),
        Advice(
            False,
            say(
                "Do not overwater. A tree without leaves drinks little, and wet roots rot. Feel the soil first: water "
                "less and less often until the leaves are back, but do not let it dry out."
            ),
        ),
        Advice(False, say("Do not paint over cracked bark: under a wound dressing rot thrives.")),
        Advice(
            True,
            say(
                "Paint bare limbs white soon. Sunburn of limbs without leaves is often the worst damage after a freeze."
            ),
        ),
        Advice(
            True,
            say(
                "Some gardeners cut dead leaves earlier. Where they are few they shelter little; then it does no harm, "
                "but expect to cut again."
            ),
        ),
    ]
    if any(one.state == "watch_base" for one in season.trees):
        found.append(
            Advice(
                True,
                say(
                    "A tree that looks dead may sprout from its base. Above the graft the shoots are your variety; "
                    "from below it they are rootstock, and the tree is best replaced."
                ),
            )
        )
    return found
