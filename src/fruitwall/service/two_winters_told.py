"""What the two invented winters taught: before and after, what changes tonight, and how near the truth that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fruitwall.service.beliefs import Beliefs, beliefs_of
from fruitwall.service.desk import EveningsDesk
from fruitwall.service.evening import Report, plan_evening
from fruitwall.service.looks_taken import LEAF_REACHES_BACK_DAYS
from fruitwall.service.taught import Evidence, Taught, TaughtTree, taught
from fruitwall.service.two_winters import live_two_winters
from fruitwall.service.two_winters_invented import COLD_TREE, Truth, truth
from fruitwall.speech import marked

if TYPE_CHECKING:
    from pathlib import Path

    from fruitwall.service.evening_document import EveningPlan
    from fruitwall.service.house import House

NINE_OF_TEN = 1.6449
"""Standard deviations to either side within which a normal value lies in nine cases of ten."""

MUCH_LEARNED = 2.0 / 3.0
"""Share of a shift's first doubt that is left at most where much was learned."""

LIVING = marked("living through two winters: half a minute, once")
LEARNING = marked("learning from them")
AS_PUBLISHED = marked("planning the evening by what is published")
AS_LEARNED = marked("planning it by what was learned")


@dataclass(frozen=True)
class Change:
    """A tree that gets something else tonight.

    Attributes
    ----------
    tree, name : str
    published, learned : str
        What it gets by what is published, and by what was learned, in words.
    harm_published, harm_learned : tuple of float
        Chance of harm left alone and with that, believed in each case.
    """

    tree: str
    name: str
    published: str
    learned: str
    harm_published: tuple[float, float]
    harm_learned: tuple[float, float]


@dataclass(frozen=True)
class Recovery:
    """How near what was learned comes to the truth.

    Attributes
    ----------
    trees : int
        Trees that were looked at.
    within : int
        Of them those whose true shift lies in the range that is given nine chances in ten.
    much : int
        Of them those of which much was learned: their doubt fell by a third or more.
    nearer : int
        Of the `much` those that are nearer the truth by what was learned than by what is published.
    published_off_k, learned_off_k : float
        Root mean square of what both are off for the `much`. [K]
    worst : TaughtTree
        The one that is furthest off, in its own doubt.
    """

    trees: int
    within: int
    much: int
    nearer: int
    published_off_k: float
    learned_off_k: float
    worst: TaughtTree


@dataclass(frozen=True, eq=False)
class Told:
    """The whole story.

    Attributes
    ----------
    taught : Taught
    truth : Truth
    beliefs : Beliefs
    published, learned : EveningPlan
        Tonight by what is published, and by what was learned.
    """

    taught: Taught
    truth: Truth
    beliefs: Beliefs
    published: EveningPlan
    learned: EveningPlan


def two_winters_database() -> Path:
    """Give the file of the story's journal, apart from the user's own and from the demo's."""
    from platformdirs import user_data_path

    return user_data_path("fruitwall", appauthor=False) / "demo-winters.db"


def two_winters_desk(house: House) -> EveningsDesk:
    """Give a desk that plans the demo evening by what the two winters taught.

    Parameters
    ----------
    house : House
        Of the story's journal.
    """
    from fruitwall.weather.demo import demo_forcing

    forcing = demo_forcing()
    return EveningsDesk(
        house.journal,
        house.yard_name,
        lambda _yard, _now: (forcing, None),
        house.clock,
        beliefs=lambda: beliefs_of(house),
    )


def tell(house: House, desk: EveningsDesk, report: Report = lambda _: None) -> Told:
    """Live the two winters unless the journal holds them, learn, and plan the evening twice.

    Parameters
    ----------
    house : House
        Of the story's journal.
    desk : EveningsDesk
        Of `two_winters_desk`.
    report : callable
        Told in a few words what is being done.

    Returns
    -------
    Told
    """
    from fruitwall.weather.demo import demo_forcing

    report(LIVING)
    live_two_winters(house)
    report(LEARNING)
    known, beliefs = taught(house), beliefs_of(house)
    report(AS_PUBLISHED)
    published = plan_evening(house.yard()[0], demo_forcing(), now=house.clock())
    report(AS_LEARNED)
    return Told(known, truth(), beliefs, published, desk.plan_for(None))


def most_telling(known: Taught, count: int) -> list[TaughtTree]:
    """Give the trees of which most was learned from looks at themselves.

    Parameters
    ----------
    known : Taught
    count : int
        How many at most.

    Returns
    -------
    list of TaughtTree
        By information gained, the most first: what the shift moved in its prior's doubt, and how far the doubt fell.
    """

    def gained(one: TaughtTree) -> float:
        ratio = one.shift.sd_k / one.prior_sd_k
        return 0.5 * (ratio**2 + (one.shift.mean_k / one.prior_sd_k) ** 2 - 1.0) - float(np.log(ratio))

    seen = [one for one in known.trees.values() if one.evidence]
    return sorted(seen, key=gained, reverse=True)[:count]


def tails(look: Evidence) -> tuple[float, float]:
    """Give the chances with which so little or less, and so much or more, was expected before anything was learned."""
    return sum(look.expected[: look.grade + 1]), sum(look.expected[look.grade :])


def unexpected(one: TaughtTree, count: int) -> list[Evidence]:
    """Give the looks at a tree that were expected least, oldest first; not those that only saw old damage again.

    Parameters
    ----------
    one : TaughtTree
    count : int
        How many at most.

    Returns
    -------
    list of Evidence
    """
    new = []
    for at, look in enumerate(one.evidence):
        before = one.evidence[at - 1] if at else None
        again = before is not None and 0 < look.grade <= before.grade
        if not again or (before is not None and (look.at - before.at).days > LEAF_REACHES_BACK_DAYS):
            new.append(look)
    found = sorted(new, key=lambda look: (min(tails(look)), look.at))[:count]
    return sorted(found, key=lambda look: look.at)


def true_limit_c(one: TaughtTree, true: Truth) -> float:
    """Give where a tree's harm really begins: as published, moved. [°C]

    For kinds that suffer above freezing the story's truth is what is published: only limits of frost are moved.
    """
    if one.before.p50 > 0.0:
        return one.before.p50
    return min(one.before.p50 + true.shifts_k[one.tree], 0.0)


def recovery(known: Taught, true: Truth) -> Recovery:
    """Hold what was learned of the trees against the truth.

    Parameters
    ----------
    known : Taught
    true : Truth

    Returns
    -------
    Recovery
    """
    trees = [one for one in known.trees.values() if one.evidence]
    shifts = np.array([true.shifts_k[one.tree] for one in trees])
    off = np.array([one.shift.mean_k for one in trees]) - shifts
    doubt = np.array([one.shift.sd_k for one in trees])
    much = doubt <= MUCH_LEARNED * np.array([one.prior_sd_k for one in trees])
    return Recovery(
        trees=len(trees),
        within=int((np.abs(off) <= NINE_OF_TEN * doubt).sum()),
        much=int(much.sum()),
        nearer=int((np.abs(off) < np.abs(shifts))[much].sum()),
        published_off_k=float(np.sqrt((shifts[much] ** 2).mean())),
        learned_off_k=float(np.sqrt((off[much] ** 2).mean())),
        worst=trees[int(np.argmax(np.abs(off) / doubt))],
    )


def changes(published: EveningPlan, learned: EveningPlan) -> list[Change]:
    """Give the trees that get something else, in the order of the plan that was learned.

    Parameters
    ----------
    published, learned : EveningPlan
        Of the same night.
    """
    before = {one.id: one for one in published.trees}

    def harm(plan: EveningPlan, tree: str) -> tuple[float, float]:
        chance = next(one.chance_of_harm for one in plan.trees if one.id == tree)
        return chance["nothing"], chance["chosen"]

    return [
        Change(
            one.id,
            one.name,
            before[one.id].measure_name,
            one.measure_name,
            harm(published, one.id),
            harm(learned, one.id),
        )
        for one in learned.trees
        if one.measure != before[one.id].measure
    ]


def cold_spot_k(beliefs: Beliefs) -> tuple[float, float] | None:
    """Give what was learned of the cold spot on a clear calm night, and its doubt; None for nothing. [K]"""
    offset = beliefs.offsets.get(COLD_TREE)
    return offset.at(1.0) if offset is not None and offset.nights else None


def forecasts_off_k(beliefs: Beliefs) -> float | None:
    """Give what was learned of forecasts of clear calm nights: observed less forecast; None for nothing. [K]"""
    if beliefs.errors is None or not beliefs.errors.pairs:
        return None
    mean, _ = beliefs.errors.at(1.0, 1.0)
    return float(mean)
