"""What did it bring, in nights that are over, to do something for a tree, and what would leaving it alone have cost?

Two stories of the same nights are set beside each other: what the tree went through with what was done, and what it
would have gone through left alone. Both are judged by what is believed of the tree now, with the evidence of these very
nights in it. Whatever is unknown of the tree is one shift of all its limits, the same in every night and in both
stories, so that a tree that would have stood the coldest of these nights would have stood all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.applied import taught_tolerance
from fruitwall.learning.looks import scale_of
from fruitwall.plants.injury import DURATIONS_H, FREEZING_GATE_C, LOSS_SHARES, fruit_loss_chance, grade_chances
from fruitwall.plants.normal import ndtr
from fruitwall.plants.tolerance import GRADES, LEAF, TWIG

if TYPE_CHECKING:
    from fruitwall.learning.tolerances import Shift
    from fruitwall.service.lived import Lived

Array = NDArray[np.float64]

EXPOSURE_SD_K = 0.5
"""How far the tissue of a night that is over may have been, at least, from what physics made of the weather. Our
judgement: the larger part of what a thermometer at a tree shows is the same on all nights and within the shift. [K]"""

NODES = np.linspace(-3.6, 3.6, 37)
WEIGHTS = np.exp(-0.5 * NODES**2) / np.exp(-0.5 * NODES**2).sum()
"""Shifts in standard deviations, equally spaced, with the weights of a standard normal."""

HARM, MOST_LOST, DEAD = 2, 4, 7
"""Grades: burnt leaf, most of the leaf lost, dead."""


@dataclass(frozen=True, eq=False)
class Fate:
    """What some nights do to a tree.

    Attributes
    ----------
    at_least : ndarray [shift, grade]
        Chance of at least each grade over all nights, for every shift at `NODES`.
    crop : float
        Share of fruit and bloom lost.
    """

    at_least: Array
    crop: float

    def chance(self, grade: int) -> float:
        """Give the chance of at least a grade, over what is unknown of the tree."""
        return float(WEIGHTS @ self.at_least[:, grade])

    def loss(self, worth: float, crop_worth: float) -> Array:
        """Give the expected loss for every shift. [shift], in the currency of the worths"""
        grades = self.at_least.copy()
        grades[:, :-1] -= self.at_least[:, 1:]
        return np.asarray(worth * (grades @ LOSS_SHARES) + crop_worth * self.crop)


@dataclass(frozen=True)
class Belief:
    """What is believed of one tree's shifts, above zero more tender.

    Attributes
    ----------
    before, now : Shift
        Of its limits: before anything was learned, as it stands within the tolerances of nights, and now.
    chill : tuple of Shift or None
        Of its chill level, before and now; None for kinds that do not suffer above freezing.
    """

    before: Shift
    now: Shift
    chill: tuple[Shift, Shift] | None = None

    def unlearned(self) -> Belief:
        """Give what was believed before anything was learned."""
        return Belief(self.before, self.before, (self.chill[0], self.chill[0]) if self.chill else None)


def left_alone(night: Lived) -> Lived:
    """Give a night as if nothing had been done."""
    return replace(night, coldest_c=night.alone_c)


def fate(nights: Sequence[Lived], belief: Belief) -> Fate:
    """Judge what nights do to a tree, with what was done.

    Parameters
    ----------
    nights : sequence of Lived
        Of one tree; oldest first. Without any nothing is lost.
    belief : Belief

    Returns
    -------
    Fate

    Notes
    -----
    As `plants.injury.grade_chances` with `learning.applied.taught_tolerance`, for each shift of the tree by itself.
    Paling, grade 1 alone, is left out: it costs nearly nothing and comes back by itself.
    """
    exposures = [one.coldest_c for one in nights]
    at_least = _frozen(nights, exposures, belief)
    crop = 0.0
    for one, cold in zip(nights, exposures, strict=True):
        if np.isfinite([one.tolerance.fruit_c, one.tolerance.flower_c]).any():
            crop = max(crop, float(np.nan_to_num(fruit_loss_chance(one.tolerance, cold))))
    if nights:
        at_least = 1.0 - (1.0 - at_least) * (1.0 - _chilled(nights, exposures, belief))
    at_least[:, 0] = 1.0
    return Fate(np.maximum.accumulate(at_least[:, ::-1], axis=1)[:, ::-1], crop)


def _frozen(nights: Sequence[Lived], exposures: Sequence[Array], belief: Belief) -> Array:
    """Chance of at least each grade by freezing, over all nights, for every shift. [shift, grade]"""
    # Without ice nothing freezes: most nights of a winter fall out here.
    cold_ones = [at for at, cold in enumerate(exposures) if np.nanmin(cold, initial=np.inf) < 0.0]
    at_least = np.zeros((NODES.size, len(GRADES)))
    if not cold_ones:
        return at_least
    tolerances = [nights[at].tolerance for at in cold_ones]
    cold = np.stack([exposures[at] for at in cold_ones])
    hours = np.log2(np.asarray(DURATIONS_H))
    with np.errstate(divide="ignore", over="ignore"):
        supercooled = np.maximum(FREEZING_GATE_C / np.maximum(-cold, 0.0) - 1.0, 0.0)
    per_log2h, per_log2h_sd = (
        np.array([[getattr(one, name)] for one in tolerances])
        for name in ("duration_k_per_log2h", "duration_sd_k_per_log2h")
    )
    felt = cold - per_log2h[:, :, None] * hours + supercooled
    felt = np.where(np.isnan(felt), np.inf, felt)
    scale = np.array([scale_of(one) for one in tolerances])
    # What stays unknown once the shift is known: the rest of the tolerance, the spread within the tree, the exposure.
    air_sd_k = np.array([max(nights[at].air_sd_k, EXPOSURE_SD_K) for at in cold_ones])
    rest = np.sqrt(
        np.maximum(np.nan_to_num([one.sd_k for one in tolerances]) ** 2 - (scale * belief.before.sd_k) ** 2, 0.0)
        + (np.array([one.slope_k for one in tolerances]) ** 2 + air_sd_k**2)[:, None]
        + (per_log2h_sd * hours[felt.argmin(axis=2)]) ** 2
    )
    short = np.array([one.threshold_c for one in tolerances]) - felt.min(axis=2)[:, :, None]
    short = np.where(np.isnan(short), -np.inf, short)
    for at, value in enumerate(belief.now.mean_k + belief.now.sd_k * NODES):
        at_least[at] = ndtr(((short + value * scale[:, :, None]) / rest[:, :, None]).max(axis=(0, 1)))
    return at_least


def _chilled(nights: Sequence[Lived], exposures: Sequence[Array], belief: Belief) -> Array:
    """Chance of at least each grade by chilling over the nights; none for kinds that do not suffer so. [grade]"""
    last = nights[-1].tolerance
    if not all(np.isfinite(one.tolerance.chill_level_c) for one in nights):
        return np.zeros(len(GRADES))
    # The level of each night differs, as the tree hardens: only how far below it the leaf was matters.
    cold = np.stack(exposures)
    level = np.array([one.tolerance.chill_level_c for one in nights])
    cold[:, LEAF] += (last.chill_level_c - level)[:, None]
    known = taught_tolerance(last, belief.before, belief.now, belief.chill)
    only = replace(known, threshold_c=np.full_like(last.threshold_c, np.nan), pale_level_c=float("nan"))
    chances = np.nan_to_num(grade_chances(only, cold, nights_axis=0))
    return np.asarray(chances[::-1].cumsum()[::-1])


def coldest_hour_c(cold: Array) -> float:
    """Give the coldest hour of the leaf, of the twigs where there is none; not a number where neither is known. [°C]"""
    at = DURATIONS_H.index(1.0)
    return float(cold[LEAF, at] if np.isfinite(cold[LEAF, at]) else cold[TWIG, at])


def verb_of(measures: Sequence[str]) -> str:
    """Give what all of some measures do, by the first word of their keys."""
    words = {one.split(":")[0].split("+")[0].split("@")[0] for one in measures}
    return words.pop() if len(words) == 1 and words <= {"carry", "cover", "wet", "shelter"} else "other"


def winter_of(night: Lived) -> int:
    """Give the year in which the winter of a night begins."""
    return night.night.year if night.night.month >= 7 else night.night.year - 1
