"""What the page of recovery shows, worked out before its template."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING
from urllib.parse import quote

from fruitwall.service.household import minutes, percent, short_day
from fruitwall.service.ledger import GRADES
from fruitwall.service.recovery_season import (
    SOURCES,
    STATES,
    Advice,
    advice,
    live_words,
    notices,
    prune_steps,
    tasks,
    verdict,
)
from fruitwall.service.season_words import when_words
from fruitwall.service.stages import CARRIED_NAMES
from fruitwall.service.words import TISSUE_WORDS
from fruitwall.speech import capital, say
from fruitwall.web.charts.chart import Chart, DrawnChart, Point, Series, draw

if TYPE_CHECKING:
    from fruitwall.service.household import Household
    from fruitwall.service.recovery_document import RecoverySeason, TreeRecovery
    from fruitwall.service.season_part import SeasonTask


@dataclass(frozen=True)
class Step:
    """One thing that a tree asks for."""

    what: str
    when: str
    why: str
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    urgent: bool


@dataclass(frozen=True)
class HurtTree:
    """One hurt tree as shown.

    Attributes
    ----------
    name, url : str
    state : str
    facts : tuple of (str, str)
        What is known, each with its name.
    told : tuple of str
        What it means, in sentences.
    steps : tuple of Step
    how : tuple of str
        How to cut, once it may be cut.
    picture : DrawnChart or None
        Chance that another harmful night comes, by the day.
    """

    name: str
    url: str
    state: str
    facts: tuple[tuple[str, str], ...]
    told: tuple[str, ...]
    steps: tuple[Step, ...]
    how: tuple[str, ...]
    picture: DrawnChart | None


@dataclass(frozen=True)
class RecoveryPage:
    """The page."""

    verdict: str
    notices: tuple[str, ...]
    trees: tuple[HurtTree, ...]
    dos: tuple[str, ...]
    donts: tuple[str, ...]
    sources: tuple[str, ...]
    pruned: tuple[str, ...]


def recovery_page(season: RecoverySeason, household: Household, today: date) -> RecoveryPage:
    """Work out the page.

    Parameters
    ----------
    season : RecoverySeason
    household : Household
        Of who reads.
    today : date
        By the yard's calendar.

    Returns
    -------
    RecoveryPage
    """
    asked = tasks(season, today)
    said: list[Advice] = list(advice(season)) if season.trees else []
    return RecoveryPage(
        verdict=verdict(season),
        notices=tuple(notices(season)),
        trees=tuple(
            _tree(one, [task for task in asked if one.tree in task.trees], household, today) for one in season.trees
        ),
        dos=tuple(one.text for one in said if one.do),
        donts=tuple(one.text for one in said if not one.do),
        sources=tuple(say(one) for one in SOURCES) if said else (),
        pruned=tuple(season.pruned),
    )


def _tree(tree: TreeRecovery, asked: list[SeasonTask], household: Household, today: date) -> HurtTree:
    facts = [
        (say("Worst seen"), say("{grade}, {day}", grade=say(GRADES[tree.worst_grade][1]), day=short_day(tree.hurt_on))),
        (say("Newest look"), say("{grade}, {day}", grade=say(GRADES[tree.last_grade][1]), day=short_day(tree.last_on))),
        (say("Live wood seen"), live_words(tree)),
    ]
    if tree.level_c is not None and tree.tissue is not None:
        level = say(
            "{tissue} from {temperature} down",
            tissue=say(CARRIED_NAMES["flush"] if tree.by_new_growth else TISSUE_WORDS[tree.tissue]),
            temperature=household.temperature(tree.level_c),
        )
        facts.append((say("Freezing harms it"), level))
    if tree.chance_now is not None:
        facts.append((say("Another harmful night"), percent(tree.chance_now)))
    if tree.safe_from is not None:
        facts.append((say("Unlikely from"), short_day(tree.safe_from)))
    return HurtTree(
        name=tree.name,
        url=f"/trees/{quote(tree.tree, safe='')}",
        state=capital(say(STATES[tree.state])),
        facts=tuple(facts),
        told=tuple(_told(tree)),
        steps=tuple(
            Step(
                one.what,
                f"{when_words(one, today)} · {minutes(one.minutes)}",
                one.why,
                one.steps if one.deed != "pruned" else (),
                one.cautions,
                one.urgent,
            )
            for one in asked
        ),
        how=prune_steps(tree) if tree.prune_from is not None else (),
        picture=_picture(tree, household),
    )


def _told(tree: TreeRecovery) -> list[str]:
    """Say what the state of a tree means for it."""
    if tree.stale:
        return [say("It was last looked at on {day}; nobody knows how it stands now.", day=short_day(tree.last_on))]
    day = short_day(tree.safe_from) if tree.safe_from is not None else ""
    if tree.state == "leaf_only":
        return [say("Nothing to cut: it sheds burnt leaves by itself and puts out new ones.")]
    if tree.state == "watch_base":
        return [say("Leave it standing for now. Some trees sprout from the base months later.")]
    if tree.state == "cold_unknown":
        return [say("Until the weather of other years is known, wait for new growth and for the usual last frost.")]
    if tree.state == "wait_cold":
        told = (
            [say("Wait until {day}: a cut now would bring tender shoots before the next freeze.", day=day)]
            if day
            else [say("Wait: a harmful night stays likely for as long as is looked ahead.")]
        )
        if tree.live_on is None:
            told.append(say("Then it must still show where its live wood ends, by new growth or green bark."))
        return told
    if tree.state == "wait_wood":
        return [say("The cold is over, as far as can be told. Cut only when new growth or green bark shows live wood.")]
    return [say("Both hold: the cold is over, as far as can be told, and the tree shows live wood.")]


def _picture(tree: TreeRecovery, household: Household) -> DrawnChart | None:
    """Draw the chance that a harmful night still comes, where it changes and at both ends."""
    chances = tree.chances
    if len(chances) < 2 or tree.state == "leaf_only":
        return None
    kept = [
        one for at, one in enumerate(chances) if at in (0, len(chances) - 1) or one.chance != chances[at - 1].chance
    ]
    points = [Point(datetime.combine(one.night, time(12), household.zone), 100.0 * one.chance) for one in kept]
    if points[-1].at - points[0].at < timedelta(days=2):
        return None
    return draw(
        Chart(
            title=say("Chance that a harmful night still comes: {tree}", tree=tree.name),
            unit="%",
            zone=household.zone,
            series=[Series(say("from this evening on"), points, style="steps", told="none")],
            zero=True,
            told=[
                say("Unlikely (at most {share}) from {day} on.", share=percent(0.1), day=short_day(tree.safe_from))
                if tree.safe_from is not None
                else say("It stays likely to the end of the picture.")
            ],
        )
    )
