"""After an injury by cold: whether wood is seen to live, whether another freeze is likely, when to prune.

Extension services agree: wait until the danger of frost is over and new growth shows where the live wood ends
(`faber_afterfreeze`, `cac_postfreeze`, `mcconnell2023`, `ifas_clce_cold` in ``data/sources.csv``). Here both become
numbers: the chance that a night below the tree's own level of harm still comes, and what looks have shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

HURT_GRADE = 2
"""From this grade on an injury is followed: some leaf burnt."""

WOOD_GRADE = 4
"""From this grade on wood may be hurt and limbs stand bare: most leaf lost."""

DEAD_GRADE = 7

WELL_GRADE = 1
"""A later look of at most this grade ends the story: the tree has recovered."""

UNLIKELY = 0.1
"""Chance of another harmful night at or below which pruning may start. Our judgement: a cut starts tender growth, which
costs more than some weeks of waiting."""

SCRATCH_AFTER_DAYS = 28
"""Green under the bark counts as live wood so long after the injury. Earlier tests mislead: tissue that is dark green
may still be dying, repeat after some weeks (`albanese2010`); about a month shows most of the extent
(`maccubbin2008`). [days]"""

LOOK_EVERY_DAYS = 28
"""Days from one look to the next while a tree is waited for. Our judgement. [days]"""

PAINT_WITHIN_DAYS = 7
"""Bare limbs should be painted within so many days: whitewash is the one treatment that is urgent
(`faber_afterfreeze`); the number is our judgement. [days]"""

STALE_DAYS = 60
"""After so many days without a look nobody knows how a tree stands: it is looked at before anything else. Our
judgement. [days]"""

LIVE = ("new_growth", "wood_green", "tips_green")
DEAD = ("wood_brown",)
BARE = "bare"


@dataclass(frozen=True)
class Look:
    """One look at a tree: when, which grade (None: not graded), which signs."""

    on: date
    grade: int | None
    signs: frozenset[str]


@dataclass(frozen=True)
class Injury:
    """What looks tell of one injury.

    Attributes
    ----------
    since : date
        First look that showed it.
    worst_grade : int
    worst_on : date
    last_on : date
        Newest look of any kind.
    last_grade : int
        Newest grade.
    bare : bool
        Whether limbs stand in the sun: most leaf lost, or seen bare, and no new growth seen since.
    live_on : date or None
        First look that showed live wood: new growth at any time, green under the bark or at the tips a month after.
    live_sign : str
        What it showed; empty for none.
    scratched_on : date or None
        Newest look that says something of the bark.
    brown : bool
        Whether that look found it brown.
    """

    since: date
    worst_grade: int
    worst_on: date
    last_on: date
    last_grade: int
    bare: bool
    live_on: date | None
    live_sign: str
    scratched_on: date | None
    brown: bool


def injury_of(looks: Sequence[Look], *, pruned_on: date | None = None) -> Injury | None:
    """Read an injury out of looks.

    Parameters
    ----------
    looks : sequence of Look
        In any order.
    pruned_on : date, optional
        Newest pruning; what was seen up to then is done with.

    Returns
    -------
    Injury or None
        None where nothing of grade 2 or more was seen since, or the tree has recovered.
    """
    ordered = sorted((one for one in looks if pruned_on is None or one.on > pruned_on), key=lambda one: one.on)
    well = [at for at, one in enumerate(ordered) if one.grade is not None and one.grade <= WELL_GRADE]
    since_well = ordered[well[-1] + 1 :] if well else ordered
    hurt = [at for at, one in enumerate(since_well) if one.grade is not None and one.grade >= HURT_GRADE]
    if not hurt:
        return None
    after = since_well[hurt[0] :]
    graded = [one for one in after if one.grade is not None]
    last_grade = graded[-1].grade or 0
    worst = max(graded, key=lambda one: one.grade or 0)
    hurt_on = max(one.on for one in graded if (one.grade or 0) >= (worst.grade or 0))
    live = next(((one.on, sign) for one in after if (sign := _live_sign(one, worst.on))), None)
    scratched = [one for one in after if one.signs & {"wood_green", *DEAD}]
    grown = [one.on for one in after if "new_growth" in one.signs]
    bared = [one.on for one in after if BARE in one.signs or (one.grade or 0) >= WOOD_GRADE]
    return Injury(
        since=after[0].on,
        worst_grade=worst.grade or 0,
        worst_on=hurt_on,
        last_on=after[-1].on,
        last_grade=last_grade,
        bare=bool(bared) and not any(on >= bared[-1] for on in grown),
        live_on=live[0] if live else None,
        live_sign=live[1] if live else "",
        scratched_on=scratched[-1].on if scratched else None,
        brown=bool(scratched) and "wood_green" not in scratched[-1].signs,
    )


def _live_sign(look: Look, hurt_on: date) -> str:
    """Give the sign by which a look shows live wood; empty for none."""
    if look.on < hurt_on:
        return ""
    if "new_growth" in look.signs:
        return "new_growth"
    late = look.on >= hurt_on + timedelta(days=SCRATCH_AFTER_DAYS)
    return next((sign for sign in LIVE if late and sign in look.signs), "")


def chance_after(coldest_c: NDArray[np.float64], level_c: float) -> NDArray[np.float64]:
    """Give the chance that a night at or below a level comes on a night or later.

    Parameters
    ----------
    coldest_c : ndarray [member, night]
        Lowest temperature of each night of each possible course. [°C]
    level_c : float
        At which harm begins. [°C]

    Returns
    -------
    ndarray [night]
        Share of the courses with such a night from that one on; it never rises. NaN where a course is not known. [-]
    """
    from_then_on = np.minimum.accumulate(coldest_c[:, ::-1], axis=1)[:, ::-1]
    unknown = np.isnan(from_then_on).any(axis=0)
    chance = np.asarray((from_then_on <= level_c).mean(axis=0))
    return np.where(unknown, np.nan, chance)


def unlikely_from(chance: NDArray[np.float64], *, at_most: float = UNLIKELY) -> int | None:
    """Give the first night from which another harmful one is unlikely; None if none is known to be.

    Parameters
    ----------
    chance : ndarray [night]
        From `chance_after`.
    at_most : float
        What is still unlikely. [-]
    """
    found = np.flatnonzero(chance <= at_most)
    return int(found[0]) if found.size else None


State = Literal["leaf_only", "watch_base", "cold_unknown", "wait_cold", "wait_wood", "prune"]


def state_of(injury: Injury, today: date, safe_from: date | None, *, cold_known: bool) -> State:
    """Tell what a hurt tree is waited for.

    Parameters
    ----------
    injury : Injury
    today : date
    safe_from : date or None
        From when another harmful night is unlikely; None if not in the time that is known.
    cold_known : bool
        Whether anything is known of the cold to come, beyond a forecast.

    Returns
    -------
    str
        ``leaf_only`` nothing to cut; ``watch_base`` looks dead, shoots from below are waited for; ``cold_unknown``
        nobody can say whether another freeze comes; ``wait_cold``; ``wait_wood`` new growth is waited for; ``prune``.
    """
    if injury.worst_grade < WOOD_GRADE:
        return "leaf_only"
    if injury.last_grade >= DEAD_GRADE and injury.live_on is None:
        return "watch_base"
    if not cold_known:
        return "cold_unknown"
    if safe_from is None or safe_from > today:
        return "wait_cold"
    return "prune" if injury.live_on is not None else "wait_wood"


def next_scratch(injury: Injury) -> date:
    """Give when to scratch the bark next: a month after the injury, then a month after each scratch."""
    first = injury.worst_on + timedelta(days=SCRATCH_AFTER_DAYS)
    if injury.scratched_on is None or injury.scratched_on < first:
        return first
    return injury.scratched_on + timedelta(days=LOOK_EVERY_DAYS)
