"""From what people entered to what a fit can take: the graded looks at all trees, with the nights before each."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import hypot, nan
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from fruitwall.learning.looks import LivedNight, Look, reduce_look, share_seen
from fruitwall.learning.tolerances import TreePrior
from fruitwall.plants import effects
from fruitwall.plants.injury import grade_chances
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import Sighting, says
from fruitwall.service.lived import Lived, coldest_hour_c
from fruitwall.yard.plan import tree_age_years

if TYPE_CHECKING:
    from fruitwall.journal.entries import LedgerEntry
    from fruitwall.service.house import House
    from fruitwall.yard.model import Tree, Yard

COMES_OUT_DAYS = 28
"""So long after a night its damage may still come out (`learning.looks.SEEN_AFTER_DAYS`). [days]"""

WOOD_STAYS = 5
"""From this grade on (dead twigs) what is seen stays for a year; burnt leaf is gone with the next leaves."""

LEAF_REACHES_BACK_DAYS, WOOD_REACHES_BACK_DAYS = 182, 365
"""How long what was seen before still counts as the tree's state. Our judgement. [days]"""

FIRST_LOOK_REACHES_BACK_DAYS = 182
"""A first look says something of the nights of so long before: of one winter. Our judgement. [days]"""

ColdShare = Callable[["LedgerEntry", Sighting, Sequence[Lived]], float]
"""From a look and the nights before it to the chance that what is seen is of cold."""


@dataclass(frozen=True, eq=False)
class LookTaken:
    """One graded look with what led to it.

    Attributes
    ----------
    entry : LedgerEntry
    grade : int
    lived : tuple of Lived
        Nights of which it may tell.
    expected : tuple of float
        Chance of each grade by what was believed without learning.
    cold : float
        Chance that what is seen is of cold, 0 to 1.
    look : Look
        The same for the fit.
    """

    entry: LedgerEntry
    grade: int
    lived: tuple[Lived, ...]
    expected: tuple[float, ...]
    cold: float
    look: Look

    @property
    def coldest(self) -> tuple[date, float]:
        """The night whose coldest hour was the lowest, and that. [°C]"""
        worst = min(self.lived, key=lambda one: (coldest_hour_c(one), one.night))
        return worst.night, coldest_hour_c(worst)


def tree_priors(yard: Yard, on: date) -> list[TreePrior]:
    """Give what is believed of the trees' shifts before anything is learned.

    Parameters
    ----------
    yard : Yard
    on : date
        For their age.

    Returns
    -------
    list of TreePrior
        In the yard's order.
    """
    from fruitwall.plants.kinds import kind
    from fruitwall.service.own_kinds import catalogue_of
    from fruitwall.service.treatments import kinds_of

    known, kinds = catalogue_of(yard), kinds_of(yard)
    found = []
    for tree in yard.trees:
        about = kind(kinds[tree.id], known)
        own = about.grade_sd_k[3] if np.isfinite(about.grade_sd_k[3]) else about.grade_sd_k[5]
        seedling = effects.SEEDLING_SD_K if tree.origin == "seedling" else 0.0
        chill = about.chill_c[1] if np.isfinite(about.chill_c[0]) else 0.0
        found.append(
            TreePrior(
                id=tree.id,
                kind=kinds[tree.id].scientific,
                kind_sd_k=float(own),
                tree_sd_k=hypot(effects.TREE_SD_K, seedling),
                young=youth_of(tree, on),
                chill_kind_sd_k=float(chill),
            )
        )
    return found


def youth_of(tree: Tree, on: date) -> float:
    """Give how far a tree counts as young on a day, 0 to 1."""
    return effects.youth(tree_age_years(tree, on), tree.height_m)


def looks_taken(
    house: House, lived: Mapping[str, Sequence[Lived]], cold_share: ColdShare = lambda *_: 1.0
) -> list[LookTaken]:
    """Give all graded looks that can teach: those at trees of the yard with known nights before them.

    Parameters
    ----------
    house : House
    lived : Mapping of tree to sequence of Lived
    cold_share : callable
        See `ColdShare`; asked where something is seen.

    Returns
    -------
    list of LookTaken
        By tree in the yard's order, oldest first.
    """
    yard, _ = house.yard()
    zone = ZoneInfo(yard.location.time_zone)
    by_tree: dict[str, list[tuple[LedgerEntry, Sighting]]] = {}
    for entry in house.ledger.current(kind="sighting"):
        body = says(entry)
        if isinstance(body, Sighting) and body.grade is not None and entry.tree is not None:
            by_tree.setdefault(entry.tree, []).append((entry, body))
    found = []
    for tree in yard.trees:
        before: list[tuple[datetime, int]] = []
        for entry, body in by_tree.get(tree.id, ()):
            taken = _taken(tree, entry, body, lived.get(tree.id, ()), before, zone, cold_share)
            if taken is not None:
                found.append(taken)
            if body.grade is not None:
                before.append((entry.at, body.grade))
    return found


def _taken(
    tree: Tree,
    entry: LedgerEntry,
    body: Sighting,
    lived: Sequence[Lived],
    before: Sequence[tuple[datetime, int]],
    zone: ZoneInfo,
    cold_share: ColdShare,
) -> LookTaken | None:
    """Take one look; None where no night before it is known."""
    grade = body.grade
    if grade is None:
        return None
    was = _state_before(before, entry.at)
    as_before = was >= grade > 0
    since = before[-1][0] if before else entry.at - timedelta(days=FIRST_LOOK_REACHES_BACK_DAYS)
    since = max(since, entry.at - timedelta(days=FIRST_LOOK_REACHES_BACK_DAYS))
    if before and not as_before and grade > 0:
        since -= timedelta(days=COMES_OUT_DAYS)  # what the last look could not see yet
    first, last = since.astimezone(zone).date(), entry.at.astimezone(zone).date()
    nights = tuple(one for one in lived if first <= one.night < last and np.isfinite(coldest_hour_c(one)))
    if not nights:
        return None
    reduced = _REDUCED.of(
        nights[0],
        nights[-1],
        key=(entry.id, len(nights), as_before),
        make=lambda: _reduced(tree, entry, grade, nights, last, as_before),
    )
    cold = 1.0 if grade == 0 or as_before else float(np.clip(cold_share(entry, body, nights), 0.0, 1.0))
    return LookTaken(entry, grade, nights, reduced[0], cold, replace(reduced[1], cold=cold))


_REDUCED: Kept[tuple[tuple[float, ...], Look]] = Kept(4000)
"""Looks as they were reduced: the nights of most of them never change again. Five winters of sixty trees."""


def _reduced(
    tree: Tree, entry: LedgerEntry, grade: int, nights: Sequence[Lived], last: date, as_before: bool
) -> tuple[tuple[float, ...], Look]:
    """Give what was expected, and the look for the fit as if it were of cold for certain."""
    stack = np.stack([one.coldest_c for one in nights])
    stands = nights[-1].tolerance
    chances = grade_chances(stands, stack, nights_axis=0)
    only_cool = replace(stands, threshold_c=np.full_like(stands.threshold_c, np.nan), chill_level_c=nan)
    paled = float(grade_chances(only_cool, stack, nights_axis=0)[1]) if np.isfinite(stands.pale_level_c) else 0.0
    worst = min(nights, key=lambda one: (coldest_hour_c(one), one.night))
    look = reduce_look(
        [LivedNight(one.coldest_c, one.tolerance) for one in nights],
        id=entry.id,
        tree=tree.id,
        observer=entry.author,
        grade=grade,
        seen=share_seen(max((last - worst.night).days - 1, 0)),
        young=youth_of(tree, last),
        paled=float(np.clip(np.nan_to_num(paled), 0.0, 1.0)),
        exposure_sd_k=worst.air_sd_k,
        at_most=as_before,
    )
    return tuple(float(one) for one in chances), look


def _state_before(before: Sequence[tuple[datetime, int]], at: datetime) -> int:
    """Give the grade that the tree carried already: the last one, as long as such damage can be seen."""
    if not before:
        return 0
    when, grade = before[-1]
    reach = WOOD_REACHES_BACK_DAYS if grade >= WOOD_STAYS else LEAF_REACHES_BACK_DAYS
    return grade if at - when <= timedelta(days=reach) else 0
