"""What the coming nights would do to every tree under every measure: from weather to chances and losses.

This is the middle of the evening's work. It joins physics (what each tissue goes through) with tolerance (what the
tree stands); nothing is chosen here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.physics.exposure import DURATIONS_H, NightResult
from fruitwall.plants.injury import first_injury_c, fruit_loss_chance, grade_chances, loss_share
from fruitwall.plants.tolerance import FRUIT, TISSUES, Tolerance
from fruitwall.service.nights import Evening
from fruitwall.service.treatments import body_of, kinds_of, spots_of, tolerance_of, treatment_of
from fruitwall.weather.forcing import as_datetime64

if TYPE_CHECKING:
    from fruitwall.physics.body import Body
    from fruitwall.physics.faces import Face
    from fruitwall.physics.spot import Spot
    from fruitwall.physics.treatment import Treatment
    from fruitwall.plans.parts import Measure
    from fruitwall.plants.catalogue import Taxon
    from fruitwall.weather.forcing import Forcing
    from fruitwall.yard.model import Yard

FloatArray = NDArray[np.float64]

HOUR = DURATIONS_H.index(1.0)
"""Tolerances are stated for one hour, so margins are read at the coldest hour."""

HARM = 2
"""Grade from which injury counts as harm: burnt leaf."""

DEATH = 7

WET_AT_HOUR = 12
"""When the ground is taken to be watered: about noon, so that the sun still warms it."""

ACCLIMATION_DAYS = 21
"""Days before tonight whose mean temperature says how far a tree has hardened. Assumption: the preceding weeks."""


@dataclass(frozen=True, eq=False)
class Situation:
    """A yard made ready for physics: everything that does not depend on what is chosen.

    Attributes
    ----------
    yard, forcing : Yard, Forcing
    evenings : tuple of Evening
        Tonight first.
    kinds : tuple of Taxon
    tolerances : tuple of Tolerance
    measures : tuple of tuple of Measure
        Per tree; the first is leaving it.
    spots : tuple of Spot
        Home spots.
    bodies : tuple of Body
    treatments : tuple of tuple of Treatment
        Parallel to `measures`.
    faces : tuple of Face
    """

    yard: Yard
    forcing: Forcing
    evenings: tuple[Evening, ...]
    kinds: tuple[Taxon, ...]
    tolerances: tuple[Tolerance, ...]
    measures: tuple[tuple[Measure, ...], ...]
    spots: tuple[Spot, ...]
    bodies: tuple[Body, ...]
    treatments: tuple[tuple[Treatment, ...], ...]
    faces: tuple[Face, ...]


@dataclass(frozen=True, eq=False)
class Outlook:
    """What every measure would come to.

    Attributes
    ----------
    situation : Situation
    result : NightResult
        Exposures [tree, treatment, member, night, tissue, duration].
    chances : list of ndarray, shape (treatment, night, 8)
        Per tree: chance of each grade over forecast and tolerance.
    losses : list of ndarray, shape (treatment, night)
        Per tree: expected loss of each night on its own. [currency]
    fruit_lost : list of ndarray, shape (treatment, night)
        Per tree: expected share of its fruit or bloom lost. [0-1]
    shares : ndarray, shape (tree,)
        By how much losses of single nights are scaled down in the plan, because a tree cannot lose the same leaf
        or life in two nights.
    """

    situation: Situation
    result: NightResult
    chances: list[FloatArray]
    losses: list[FloatArray]
    fruit_lost: list[FloatArray]
    shares: FloatArray

    @cached_property
    def usual_night(self) -> Forcing:
        """Weather of the member whose station minimum tonight is the median, from the spin-up to tonight's end."""
        night = self.situation.evenings[0].night
        forcing = self.situation.forcing
        minima = forcing.select(night.start_utc, night.end_utc).t_air_c.min(axis=1)
        member = int(np.argsort(minima, kind="stable")[(minima.size - 1) // 2])
        return forcing.member(member).select(forcing.start_utc, night.end_utc)

    def coldest_hour_c(self, tree: int, treatment: int, night: int = 0) -> FloatArray:
        """Give each tissue's coldest hour, shape (member, tissue). [°C]"""
        return self.result.coldest_c[tree, treatment, :, night, :, HOUR]

    def endangered_tissue(self, tree: int, treatment: int = 0, night: int = 0) -> str:
        """Give the tissue of the tree itself with the smallest margin in the median member; fruit is told apart."""
        tolerance = self.situation.tolerances[tree]
        cold = np.median(self.coldest_hour_c(tree, treatment, night), axis=0)
        limits = np.array([first_injury_c(tolerance, tissue)[1] for tissue in TISSUES])
        margins = cold - limits
        margins[FRUIT] = np.nan
        return TISSUES[int(np.nanargmin(margins))] if not np.isnan(margins).all() else "leaf"


def prepare_situation(yard: Yard, forcing: Forcing, evenings: Sequence[Evening], now: datetime) -> Situation:
    """Survey the yard and list what could be done for each tree.

    Raises
    ------
    YardFileError
        If trees name unknown kinds.
    """
    from fruitwall.physics.spot import survey_faces
    from fruitwall.plans.measures import possible_measures

    kinds = kinds_of(yard)
    measures = [tuple(possible_measures(yard, tree)) for tree in yard.trees]
    home, moved = spots_of(yard, measures)
    tonight = evenings[0]
    wet_from = max(now, tonight.night.start_utc)
    acclimation = _acclimation_c(forcing, now)
    return Situation(
        yard=yard,
        forcing=forcing,
        evenings=tuple(evenings),
        kinds=tuple(kinds[tree.id] for tree in yard.trees),
        tolerances=tuple(tolerance_of(t, kinds[t.id], tonight.night.name, acclimation) for t in yard.trees),
        measures=tuple(measures),
        spots=tuple(home),
        bodies=tuple(body_of(tree, kinds[tree.id]) for tree in yard.trees),
        treatments=tuple(tuple(treatment_of(yard, m, moved, wet_from) for m in options) for options in measures),
        faces=tuple(survey_faces(yard)),
    )


def look_out(situation: Situation, *, threads: int = 2) -> Outlook:
    """Compute exposures, chances and losses of every tree under every measure."""
    from fruitwall.physics.night import simulate

    ground = situation.yard.ground
    result = simulate(
        situation.forcing,
        situation.spots,
        situation.bodies,
        situation.treatments,
        [evening.night for evening in situation.evenings],
        faces=situation.faces,
        soil=ground.soil,
        moisture=ground.moisture,
        threads=threads,
        clear_night_offset_k=situation.yard.location.clear_night_offset_k,
    )
    return judge(situation, result)


def judge(situation: Situation, result: NightResult) -> Outlook:
    """Turn exposures into chances of injury and expected losses."""
    chances, losses, fruit_lost, shares = [], [], [], []
    for at, (tree, tolerance) in enumerate(zip(situation.yard.trees, situation.tolerances, strict=True)):
        cold = result.coldest_c[at, : len(situation.treatments[at])]
        by_member = grade_chances(tolerance, cold, DURATIONS_H)
        of_tree = by_member.mean(axis=1)
        chances.append(of_tree)
        fruit_lost.append(fruit_loss_chance(tolerance, cold, DURATIONS_H).mean(axis=1))
        losses.append(tree.worth * loss_share(of_tree) + tree.fruit_worth * np.nan_to_num(fruit_lost[-1]))
        shares.append(_share_of_joined(tree.worth, tolerance, cold[0], losses[-1][0]))
    return Outlook(situation, result, chances, losses, fruit_lost, np.array(shares))


def _share_of_joined(worth: float, tolerance: Tolerance, cold_if_left: FloatArray, loss_if_left: FloatArray) -> float:
    """Give the loss of all nights together over the sum of the nights' own losses, 0-1.

    What is unknown of a tree is the same on every night, so a second night as cold as the first adds next to nothing.
    The programme adds up nights; scaled by this share, the sum for a tree that is left alone is right, and a tree
    that is protected on all nights saves what it really saves.
    """
    total = float(loss_if_left.sum())
    if total <= 0 or worth <= 0:
        return 1.0
    joined = grade_chances(tolerance, cold_if_left, DURATIONS_H, nights_axis=1).mean(axis=0)
    return float(min(1.0, max(worth * float(loss_share(joined)), float(loss_if_left.max())) / total))


def _acclimation_c(forcing: Forcing, now: datetime) -> float | None:
    """Give the mean temperature of the weeks before tonight; None if the past is not known for a week at least."""
    end = as_datetime64(now)
    past = forcing.time_utc < end
    start = end - np.timedelta64(ACCLIMATION_DAYS * 86400, "s")
    used = past & (forcing.time_utc >= start) & (np.arange(forcing.n_times) < forcing.n_history)
    return float(forcing.t_air_c[:, used].mean()) if used.sum() >= 7 * 24 else None
