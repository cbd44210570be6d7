"""Each tree: what is done for it and why, in a line of the evening page; chances and cold in full on a page of its own.

The whole of one tree is two hundred elements; sixty such trees made the evening page too slow for a telephone.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from markupsafe import Markup

from fruitwall.plants.catalogue import said_taxon
from fruitwall.service.evening_document import EveningPlan, ReasonPart, TreePlan
from fruitwall.service.explained import ColdRow, cold_rows, cold_title
from fruitwall.service.household import Household, percent, short_day
from fruitwall.service.words import TISSUE_WORDS, VERDICT_NAMES
from fruitwall.speech import marked, say
from fruitwall.web.evening.bars import bar
from fruitwall.web.evening.marks import badge, does_something
from fruitwall.web.evening.strip import full_name

OUTCOMES: tuple[tuple[str, str, tuple[int, ...]], ...] = (
    ("unhurt", marked("unhurt"), (0,)),
    ("paler", marked("paler leaves"), (1,)),
    ("burnt", marked("leaves burnt"), (2, 3, 4)),
    ("dieback", marked("twigs or limbs dead"), (5, 6)),
    ("dead", marked("tree dead"), (7,)),
)
"""Key, words and injury grades of each line of the chances."""


@dataclass(frozen=True)
class Outcome:
    """Chance of one kind of outcome, with nothing done and with the plan."""

    words: str
    nothing: str
    chosen: str
    nothing_bar: Markup
    chosen_bar: Markup


@dataclass(frozen=True)
class TreeEntry:
    """One tree as shown."""

    id: str
    number: int
    badge: Markup
    name: str
    taxon: str
    taxon_words: str
    """The same for eyes."""
    potted: bool
    measure: str
    does_something: bool
    verdict_with_plan: str
    """Key."""
    verdict_name: str
    """With the plan, in one word."""
    verdicts: str
    """With nothing done and with the plan."""
    reason: str
    runner_up: str | None
    facts: list[tuple[str, str]]
    """What is measured and its value: tissue, what it stands, coldest temperatures, margins."""
    following: list[tuple[str, str]]
    """Evening and measure of each following night."""
    url: str
    """Of the page that tells the whole."""


@dataclass(frozen=True)
class TreeInFull:
    """One tree with all that is known of its night."""

    entry: TreeEntry
    outcomes: list[Outcome]
    chain: list[ReasonPart]
    cold_title: str
    cold: list[ColdRow]
    """How its cold comes about, from the station's air; empty if it is not known."""


def entries_of(plan: EveningPlan, household: Household, numbers: dict[str, int]) -> list[TreeEntry]:
    """Lay out all trees by their numbers.

    Parameters
    ----------
    plan : EveningPlan
    household : Household
    numbers : dict
        Number of each tree by its id.

    Returns
    -------
    list of TreeEntry
    """
    entries = [_entry(tree, plan.night, household, numbers[tree.id]) for tree in plan.trees]
    return sorted(entries, key=lambda entry: entry.number)


def tree_in_full(tree: TreePlan, night: date, household: Household, number: int) -> TreeInFull:
    """Lay out all of one tree.

    Parameters
    ----------
    tree : TreePlan
    night : date
        The evening that it is of.
    household : Household
        Units and clock of the reader.
    number : int
        The tree's number in the yard.

    Returns
    -------
    TreeInFull
    """
    return TreeInFull(
        entry=_entry(tree, night, household, number),
        outcomes=[_outcome(tree, words, grades) for _, words, grades in OUTCOMES],
        chain=tree.chain,
        cold_title=cold_title(tree.cold, household) if tree.cold else "",
        cold=cold_rows(tree.cold, household) if tree.cold else [],
    )


def _entry(tree: TreePlan, night: date, household: Household, number: int) -> TreeEntry:
    """Lay out one tree."""
    acts = does_something(tree.measure)
    return TreeEntry(
        id=tree.id,
        number=number,
        badge=badge(number, tree.measure, tree.verdict_with_plan),
        name=full_name(tree),
        taxon=tree.taxon,
        taxon_words=said_taxon(tree.taxon),
        potted=tree.potted,
        measure=tree.measure_name,
        does_something=acts,
        verdict_with_plan=tree.verdict_with_plan,
        verdict_name=say(VERDICT_NAMES[tree.verdict_with_plan]),
        verdicts=_verdicts(tree, acts=acts),
        reason=tree.reason,
        runner_up=tree.runner_up,
        facts=_facts(tree, household, acts=acts),
        url=f"/night/{night}/trees/{tree.id}",
        following=[
            (day, measure.removeprefix(f"{day}: "))
            for later, measure in enumerate(tree.following_nights)
            for day in (short_day(night + timedelta(days=1 + later)),)
        ],
    )


def _verdicts(tree: TreePlan, *, acts: bool) -> str:
    """Say what nothing and the plan would lead to."""
    if not acts:
        return say("{verdict} if nothing is done", verdict=say(VERDICT_NAMES[tree.verdict]))
    if tree.verdict == tree.verdict_with_plan:
        return say("{verdict}, with or without the plan", verdict=say(VERDICT_NAMES[tree.verdict]))
    return say(
        "{verdict} if nothing is done, {planned} with the plan",
        verdict=say(VERDICT_NAMES[tree.verdict]),
        planned=say(VERDICT_NAMES[tree.verdict_with_plan]),
    )


def _facts(tree: TreePlan, household: Household, *, acts: bool) -> list[tuple[str, str]]:
    """List what is known of the most endangered tissue, in the household's units."""
    stands = tree.tolerance_c
    facts = [
        (say("Most endangered"), say(TISSUE_WORDS[tree.tissue])),
        (
            say("First hurt at"),
            f"{household.temperature(stands.p50)} ({household.temperatures(stands.p10, stands.p90)})",
        ),
    ]
    for key, words in (("nothing", say("Coldest if nothing is done")), ("chosen", say("Coldest with the plan"))):
        if key == "chosen" and not acts:
            continue
        coldest = tree.tissue_min_c[key]  # type: ignore[index]  # the loop's keys are the literals
        margin = tree.margin_k[key]  # type: ignore[index]
        facts.append(
            (
                words,
                f"{household.temperature(coldest.p50)} ({household.temperatures(coldest.p10, coldest.p90)}), "
                f"{household.margin(margin)}",
            )
        )
    return facts


def _outcome(tree: TreePlan, words: str, grades: tuple[int, ...]) -> Outcome:
    """Add up the chances of some grades, for both courses."""
    nothing = min(sum(tree.injury.nothing[grade] for grade in grades), 1.0)
    chosen = min(sum(tree.injury.chosen[grade] for grade in grades), 1.0)
    return Outcome(say(words), percent(nothing), percent(chosen), bar(nothing, "alone"), bar(chosen, "planned"))
