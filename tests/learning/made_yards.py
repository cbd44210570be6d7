"""Yards whose trees' true tolerance is known, because it was drawn here, as the model says that such things come about.

Grades are drawn from trees, nights and chance one by one (`grade_of`), by `plants.injury.felt_c` and not by what the
learner reduces looks to; so an error in the reduction shows as well. What the kinds are believed to stand is written
down here, near the catalogue's of 2026, so that a new source in the catalogue changes no test.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.looks import MISTAKEN, LivedNight, Look, reduce_look, reference_sd_k, scale_of
from fruitwall.learning.tolerances import HYPER_SD, OBSERVER_SD_K, TreePrior
from fruitwall.plants.effects import AIR_TO_TISSUE_SD_K, CHILL_DOSE_K_H, TREE_SD_K, YOUNG_GAP_SD_K
from fruitwall.plants.injury import CHILL_MEMORY, DURATIONS_H, felt_c
from fruitwall.plants.tolerance import LEAF, ROOT, TISSUES, TWIG, WOOD, Tolerance

Array = NDArray[np.float64]

HOURS = np.array(DURATIONS_H)

LIMITS_C = {
    "mango": (-3.3, -4.1, -4.4, -4.7, -5.0, -5.3, -8.5),
    "lemon": (-4.1, -4.9, -5.3, -5.8, -6.2, -6.7, -10.1),
    "guava": (-4.0, -4.8, -5.3, -5.9, -6.4, -6.9, -10.4),
    "lychee": (-4.0, -4.8, -5.3, -5.9, -6.4, -7.0, -10.5),
    "satsuma": (-7.2, -8.0, -8.5, -9.0, -9.5, -10.0, -13.5),
    "banana": (-1.7, -2.5, -2.8, -3.1, -3.4, -3.8, -7.1),
}
"""Limits of grown trees by grade 1 to 7; the banana suffers above freezing as well."""

SD_K = {"mango": 1.6, "lemon": 1.7, "guava": 1.9, "lychee": 1.9, "satsuma": 1.9, "banana": 1.9}
CHILL_C = {"banana": (8.0, 2.6)}
YOUTH = 0.7
PALED = 0.1


def believed(kind: str, *, small: bool = False) -> Tolerance:
    """What a tree is believed to stand: grown and in the ground, or young and in a pot."""
    limits = np.array(LIMITS_C[kind]) + (1.7 if small else 0.0)
    threshold, sd = np.full((len(TISSUES), 8), np.nan), np.full(len(TISSUES), np.nan)
    threshold[LEAF, 1:5], threshold[TWIG, 5], threshold[WOOD, 6:] = limits[:4], limits[4], limits[5:]
    sd[LEAF] = sd[TWIG] = SD_K[kind] + (0.1 if small else 0.0)
    sd[WOOD] = 1.05 * sd[LEAF]
    if small:
        threshold[ROOT, 1:], sd[ROOT] = 0.25 * limits[0] - 0.4 * np.arange(1, 8), 1.8
    level, level_sd = CHILL_C.get(kind, (np.nan, np.nan))
    return Tolerance(
        taxon=kind,
        threshold_c=threshold,
        sd_k=sd,
        slope_k=0.6,
        duration_k_per_log2h=0.5,
        duration_sd_k_per_log2h=0.25,
        chill_level_c=level,
        chill_sd_k=level_sd,
        chill_dose_k_h=np.array(CHILL_DOSE_K_H),
    )


def prior_of(name: str, kind: str, *, small: bool = False) -> TreePrior:
    """The prior of a tree, its parts adding up to what is believed of a grown tree of its kind."""
    tolerance = believed(kind)
    chill = tolerance.chill_sd_k
    return TreePrior(
        id=name,
        kind=kind,
        kind_sd_k=float(np.sqrt(reference_sd_k(tolerance) ** 2 - TREE_SD_K**2 - AIR_TO_TISSUE_SD_K**2)),
        young=YOUTH if small else 0.0,
        chill_kind_sd_k=0.0 if np.isnan(chill) else float(np.sqrt(chill**2 - TREE_SD_K**2)),
    )


@dataclass
class Truth:
    """What was drawn."""

    scales: Array
    yard: float
    young: float
    kinds: dict[str, float]
    observers: dict[str, float]
    trees: dict[str, float] = field(default_factory=dict)
    chill: dict[str, float] = field(default_factory=dict)


def grade_of(
    tolerance: Tolerance,
    nights: Sequence[Array],
    rng: np.random.Generator,
    *,
    shift: float = 0.0,
    chill: float = 0.0,
    duration: float = 0.0,
    spread: float = 1.0,
    paled: float = 0.0,
) -> int:
    """Draw the grade in which nights leave a tree."""
    z, z_chill = rng.normal(size=2) * tolerance.slope_k * spread
    grade = 1 if rng.random() < paled else 0
    limits = tolerance.threshold_c + scale_of(tolerance)[:, None] * shift + z
    carried = worst = 0.0
    for cold in nights:
        felt = felt_c(cold, HOURS, tolerance.duration_k_per_log2h + duration)
        grade = max(grade, int(np.flatnonzero((limits > felt[:, None]).any(axis=0)).max(initial=0)))
        if not np.isnan(tolerance.chill_level_c):
            dose = np.maximum(tolerance.chill_level_c + chill - cold[LEAF], 0.0) * HOURS
            carried = CHILL_MEMORY * carried + float(dose.max())
            worst = max(worst, carried)
    if worst > 0:
        reached = worst + 8.0 * z_chill > tolerance.chill_dose_k_h  # not where no dose causes the grade
        grade = max(grade, int(np.flatnonzero(reached).max(initial=0)))
    return grade


def night(coldest_hour_c: float) -> Array:
    """A night like others, by the coldest hour of all tissues. [tissue, duration]"""
    return np.asarray(np.tile(coldest_hour_c + np.array([-0.3, 0.0, 0.4, 0.9, 1.8]), (len(TISSUES), 1)))


def night_near(tolerance: Tolerance, rng: np.random.Generator) -> Array:
    """A night whose coldest hour lies near the tree's limits, mostly milder. [tissue, duration]"""
    middle = float(np.nanmean(tolerance.threshold_c[:, 1:7]))
    return night(middle + rng.normal(2.0, 2.5)) + rng.normal(0, 0.1, (len(TISSUES), 1))


def made_yard(
    rng: np.random.Generator,
    *,
    kinds: Sequence[str] = tuple(LIMITS_C),
    per_kind: int = 2,
    looks: int = 5,
    nights: int = 2,
    observers: Sequence[str] = ("ana", "ben"),
) -> tuple[list[TreePrior], list[Look], Truth]:
    """Draw a yard from the prior, and looks at its trees.

    Parameters
    ----------
    rng : Generator
    kinds : sequence of str
        Of `LIMITS_C`.
    per_kind : int
        Trees of each: grown ones in the ground and young ones in pots, in turn.
    looks, nights : int
        Looks at each tree, none after it was found dead; and the most nights before each.
    observers : sequence of str
    """
    scales = rng.normal(0, HYPER_SD)
    of_kinds, of_trees, spread = np.exp(scales[:3])
    small = [at % 2 == 1 for _ in kinds for at in range(per_kind)]
    names = [kind for kind in kinds for _ in range(per_kind)]
    priors = [prior_of(f"t{at:02d}", kind, small=small[at]) for at, kind in enumerate(names)]
    about = {one.kind: one for one in priors}
    truth = Truth(
        scales=scales,
        yard=rng.normal(0, AIR_TO_TISSUE_SD_K),
        young=rng.normal(0, YOUNG_GAP_SD_K),
        kinds={name: rng.normal(0, one.kind_sd_k * of_kinds) for name, one in about.items()},
        observers={name: rng.normal(0, OBSERVER_SD_K) for name in observers},
    )
    chill_kinds = {name: rng.normal(0, one.chill_kind_sd_k) for name, one in about.items()}
    seen: list[Look] = []
    for at, one in enumerate(priors):
        tolerance = believed(one.kind, small=small[at])
        own, own_chill = rng.normal(0, [TREE_SD_K * of_trees, TREE_SD_K])
        truth.trees[one.id] = truth.yard + one.young * truth.young + truth.kinds[one.kind] + own
        truth.chill[one.id] = chill_kinds[one.kind] + own_chill
        for _ in range(looks):
            who = observers[int(rng.integers(len(observers)))]
            colds = [night_near(tolerance, rng) for _ in range(int(rng.integers(1, nights + 1)))]
            grade = grade_of(
                tolerance,
                colds,
                rng,
                shift=truth.trees[one.id] + truth.observers[who],
                chill=truth.chill[one.id],
                duration=scales[3],
                spread=spread,
                paled=PALED,
            )
            if rng.random() < MISTAKEN:
                grade = int(rng.integers(8))
            lived = [LivedNight(cold, tolerance) for cold in colds]
            name = f"l{len(seen):05d}"
            seen.append(
                reduce_look(lived, id=name, tree=one.id, observer=who, grade=grade, young=one.young, paled=PALED)
            )
            if grade == 7:
                break
    return priors, seen, truth
