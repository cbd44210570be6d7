"""What the yard has taught of what its trees stand: before and after, with the looks that did it.

A look that is corrected or taken back is gone from here with all its influence: everything is worked out anew from what
stands in the ledger.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from functools import partial
from hashlib import sha256
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from fruitwall.errors import LearningError
from fruitwall.learning.applied import taught_tolerance
from fruitwall.learning.looks import Look
from fruitwall.learning.tolerances import Learned, Shift, TreePrior, learn
from fruitwall.plants.injury import first_injury_c
from fruitwall.service.evening_document import Spread
from fruitwall.service.kept import Kept
from fruitwall.service.ledger import Sighting, says
from fruitwall.service.lived import Lived, lived_nights
from fruitwall.service.looks_taken import LookTaken, looks_taken, tree_priors
from fruitwall.speech import quantity, say, say_count

if TYPE_CHECKING:
    from fruitwall.plants.tolerance import Tolerance
    from fruitwall.service.house import House
    from fruitwall.yard.model import Yard

TRIFLE_K = 0.05
"""A shift of less is told as none. [K]"""


@dataclass(frozen=True)
class Evidence:
    """One graded look.

    Attributes
    ----------
    entry : str
        Its number in the ledger.
    at : datetime, aware
    observer : str
    grade : int
    nights : int
        Nights of which it may tell.
    coldest_night : date or None
    coldest_c : float
        Coldest hour of its leaf (else twig) in these nights, with what was done. [°C]
    measure : str
        What was done that night, key; ``leave`` for nothing.
    measure_name : str
        The same in English words.
    expected : tuple of float
        Chance of each grade 0 to 7 by what was believed without learning.
    cold : float
        Chance that what is seen is of cold.
    pull_k : float
        The tree's shift with this look less that without it; above zero: more tender. [K]
    """

    entry: str
    at: datetime
    observer: str
    grade: int
    nights: int
    coldest_night: date | None
    coldest_c: float
    measure: str
    measure_name: str
    expected: tuple[float, ...]
    cold: float
    pull_k: float


@dataclass(frozen=True)
class TaughtTree:
    """What is believed of one tree.

    Attributes
    ----------
    tree, name, kind : str
        Its id and name, and the scientific name of its kind.
    before, after : Spread
        Temperature of an hour (of a night, for kinds that suffer above freezing) at which its harm begins, in a usual
        winter: without and with learning. [°C]
    tissue : str
        Which tissue that is: its leaf, or its twig where it stands bare.
    shift : Shift
        What was learned: above zero more tender than published. [K]
    prior_sd_k : float
        What was not known of the shift before. [K]
    evidence : tuple of Evidence
        Oldest first; empty where only other trees taught it.
    """

    tree: str
    name: str
    kind: str
    before: Spread
    after: Spread
    tissue: str
    shift: Shift
    prior_sd_k: float
    evidence: tuple[Evidence, ...]


@dataclass(frozen=True)
class Taught:
    """What the yard has taught.

    Attributes
    ----------
    trees : Mapping of tree to TaughtTree
        All trees, in the yard's order.
    learned : Learned
    before : Learned
        The same without any look.
    nights : int
        Nights whose weather is known.
    """

    trees: Mapping[str, TaughtTree]
    learned: Learned
    before: Learned
    nights: int


def taught(house: House) -> Taught:
    """Give what the yard has taught by now.

    Parameters
    ----------
    house : House
        With a yard.

    Returns
    -------
    Taught

    Raises
    ------
    YardFileError
        If trees name unknown kinds.
    """
    _, version = house.yard()
    now = house.clock()
    key = (
        version.yard,
        house.journal.state(),
        house.journal.weather_state(),
        now.replace(minute=0, second=0, microsecond=0),
    )
    return _TAUGHT.of(house.journal, key=key, make=partial(_taught, house))


_TAUGHT: Kept[Taught] = Kept(4)


def sampled_shifts(house: House, *, seed: int = 1) -> dict[str, Shift]:
    """Learn by sampling, the slow full fit that the fast one is checked against.

    Parameters
    ----------
    house : House
    seed : int

    Returns
    -------
    dict of tree to Shift

    Raises
    ------
    LearningError
        Without the extra ``bayes``, without a graded look, and where the chains have not met.
    """
    from fruitwall.learning.sampled import sample

    _, looks, priors = _gathered(house)
    if not looks:
        raise LearningError(say("there is no graded look yet after a night whose weather is known"))
    try:
        drawn = sample(priors, [one.look for one in looks], seed=seed)
    except ModuleNotFoundError as error:
        raise LearningError(
            say(
                "sampling needs {missing}, which is not installed: pip install 'fruitwall[bayes]'",
                missing=str(error.name),
            )
        ) from error
    if drawn.worst_rhat > MET:
        rhat = quantity(drawn.worst_rhat, "", ".2f")
        raise LearningError(say("the chains have not met (R-hat {rhat}); nothing is told of them", rhat=rhat))
    return {name: Shift(float(its.mean()), float(its.std())) for name, its in drawn.trees.items()}


MET = 1.05
"""Largest R-hat at which chains count as one. Vehtari and others (2021), Bayesian Analysis 16:667, ask for 1.01 where
tails matter; means and spreads of half a tenth of a kelvin do not need that. From memory."""


def _gathered(house: House) -> tuple[Mapping[str, Sequence[Lived]], list[LookTaken], list[TreePrior]]:
    """Give the nights lived, the looks that teach, and what was believed before."""
    from fruitwall.service.causes import cold_share

    yard, _ = house.yard()
    sightings = house.ledger.current(kind="sighting")
    today = house.clock().astimezone(ZoneInfo(yard.location.time_zone)).date()
    # Without a look there is nothing to learn, and no need to march the past.
    seen = any(isinstance(body := says(one), Sighting) and body.grade is not None for one in sightings)
    lived = lived_nights(house) if seen else {}
    looks = looks_taken(house, lived, lambda entry, body, nights: cold_share(entry, body, nights, house))
    return lived, looks, tree_priors(yard, today)


def _taught(house: House) -> Taught:
    yard, _ = house.yard()
    today = house.clock().astimezone(ZoneInfo(yard.location.time_zone)).date()
    lived, looks, priors = _gathered(house)
    before = learn(priors, ())
    learned = _learned(priors, [one.look for one in looks]) if looks else before
    by_tree: dict[str, list[LookTaken]] = {}
    for one in looks:
        by_tree.setdefault(one.look.tree, []).append(one)
    trees = {}
    for tree, prior in zip(yard.trees, priors, strict=True):
        stands = usual_tolerance(yard, tree.id, today)
        moved = apply_shift(stands, tree.id, before, learned)
        tissue = "leaf" if np.isfinite(first_injury_c(stands, "leaf")[1]) else "twig"
        trees[tree.id] = TaughtTree(
            tree=tree.id,
            name=tree.name,
            kind=prior.kind,
            before=_spread(stands, tissue),
            after=_spread(moved, tissue),
            tissue=tissue,
            shift=learned.trees[tree.id],
            prior_sd_k=before.trees[tree.id].sd_k,
            evidence=tuple(_evidence(one, learned) for one in by_tree.get(tree.id, ())),
        )
    nights = {one.night for its in lived.values() for one in its}
    return Taught(trees, learned, before, len(nights))


def _learned(priors: Sequence[TreePrior], looks: Sequence[Look]) -> Learned:
    """Learn, once from the same looks: most entries of a day are no graded looks and change nothing."""
    digest = sha256(repr(tuple(priors)).encode())
    for look in looks:
        for part in fields(look):
            value = getattr(look, part.name)
            digest.update(value.tobytes() if isinstance(value, np.ndarray) else repr(value).encode())
    return _LEARNED.of(key=digest.hexdigest(), make=lambda: learn(priors, looks))


_LEARNED: Kept[Learned] = Kept(4)


def usual_tolerance(yard: Yard, tree: str, on: date) -> Tolerance:
    """Give what a tree stands in a usual winter, nothing learned."""

    def make() -> dict[str, Tolerance]:
        from fruitwall.service.own_kinds import catalogue_of
        from fruitwall.service.treatments import kinds_of, tolerance_of

        kinds, known = kinds_of(yard), catalogue_of(yard)
        return {one.id: tolerance_of(one, kinds[one.id], on, None, known) for one in yard.trees}

    return _USUAL.of(yard, key=on, make=make)[tree]


_USUAL: Kept[dict[str, Tolerance]] = Kept(4)


def apply_shift(tolerance: Tolerance, tree: str, before: Learned, learned: Learned) -> Tolerance:
    """Move what a tree stands by what was learned, and say so among its reasons.

    Parameters
    ----------
    tolerance : Tolerance
    tree : str
        A tree that is not among the learned ones is left as it is.
    before, learned : Learned
        Without and with looks.

    Returns
    -------
    Tolerance
    """
    if tree not in learned.trees or tree not in before.trees or learned is before:
        return tolerance
    chill = (before.chill[tree], learned.chill[tree]) if tree in learned.chill and tree in before.chill else None
    moved = taught_tolerance(tolerance, before.trees[tree], learned.trees[tree], chill)
    note = shift_words(learned.trees[tree], learned.looks.get(tree, 0))
    return replace(moved, provenance=(*moved.provenance, note))


def shift_words(shift: Shift, looks: int) -> str:
    """Say what was learned of a tree.

    Parameters
    ----------
    shift : Shift
    looks : int
        Graded looks at this tree.

    Returns
    -------
    str
    """
    far = quantity(abs(shift.mean_k), "K", ".1f")
    doubt = quantity(shift.sd_k, "K", ".1f")
    if looks:
        by = say_count("{count} look at it and the other trees", "{count} looks at it and the other trees", looks)
    else:
        by = say("the looks at other trees")
    if abs(shift.mean_k) < TRIFLE_K:
        return say("learned here from {by}: as published (± {doubt})", by=by, doubt=doubt)
    return say(
        "learned here from {by}: {far} more tender than published (± {doubt})"
        if shift.mean_k > 0
        else "learned here from {by}: {far} hardier than published (± {doubt})",
        by=by,
        far=far,
        doubt=doubt,
    )


def _spread(tolerance: Tolerance, tissue: str) -> Spread:
    low, middle, high = first_injury_c(tolerance, tissue)
    return Spread(p10=low, p50=middle, p90=high)


def _evidence(taken: LookTaken, learned: Learned) -> Evidence:
    night, coldest = taken.coldest
    there = next(one for one in taken.lived if one.night == night)
    of_limits, of_chill = learned.pulls.get(taken.entry.id, (0.0, 0.0))
    return Evidence(
        entry=taken.entry.id,
        at=taken.entry.at,
        observer=taken.entry.author,
        grade=taken.grade,
        nights=len(taken.lived),
        coldest_night=night,
        coldest_c=coldest,
        measure=there.measure,
        measure_name=there.measure_name,
        expected=taken.expected,
        cold=taken.cold,
        pull_k=of_limits if abs(of_limits) >= abs(of_chill) else of_chill,
    )
