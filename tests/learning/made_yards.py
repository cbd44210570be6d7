"""Yards whose trees' true tolerance is known, because it was drawn here, as the model says that such things come about.

Grades are drawn from trees, nights and chance one by one (`grade_of`), by `plants.injury.felt_c` and not by what the
learner reduces looks to; so an error in the reduction shows as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from fruitwall.learning.looks import MISTAKEN, LivedNight, Look, reduce_look, reference_sd_k, scale_of
from fruitwall.learning.tolerances import HYPER_SD, OBSERVER_SD_K, TreePrior
from fruitwall.plants.catalogue import catalogue
from fruitwall.plants.effects import AIR_TO_TISSUE_SD_K, DURATION_SD_K_PER_LOG2H, TREE_SD_K, YOUNG_GAP_SD_K, youth
from fruitwall.plants.injury import CHILL_MEMORY, DURATIONS_H, felt_c
from fruitwall.plants.tolerance import LEAF, TISSUES, Tolerance, prior

HOURS = np.array(DURATIONS_H)
KINDS = ("mango", "lemon", "guava", "lychee", "satsuma", "banana")
"""The banana suffers above freezing, the others do not."""

PALED = 0.1


@cache
def believed(kind: str, *, young: bool, potted: bool) -> Tolerance:
    """What such a tree is believed to stand."""
    age, height = (2.0, 1.2) if young else (15.0, 5.0)
    return prior(catalogue().find(kind), age_years=age, height_m=height, potted=potted)


def youth_of(young: bool) -> float:
    return float(youth(2.0, 1.2)) if young else float(youth(15.0, 5.0))


def prior_of(name: str, kind: str, *, young: bool = False, potted: bool = False) -> TreePrior:
    """The prior of a tree, its parts adding up to what `plants.tolerance` says of the whole."""
    tolerance = believed(kind, young=young, potted=potted)
    others = TREE_SD_K**2 + AIR_TO_TISSUE_SD_K**2 + (youth_of(young) * YOUNG_GAP_SD_K) ** 2
    chill = tolerance.chill_sd_k
    return TreePrior(
        id=name,
        kind=tolerance.taxon,
        kind_sd_k=float(np.sqrt(max(reference_sd_k(tolerance) ** 2 - others, 0.09))),
        young=youth_of(young),
        chill_kind_sd_k=0.0 if np.isnan(chill) else float(np.sqrt(max(chill**2 - TREE_SD_K**2, 0.09))),
    )


@dataclass
class Truth:
    """What was drawn."""

    scales: np.ndarray
    yard: float
    young: float
    duration: float
    kinds: dict[str, float]
    observers: dict[str, float]
    trees: dict[str, float] = field(default_factory=dict)
    chill: dict[str, float] = field(default_factory=dict)


def grade_of(
    tolerance: Tolerance,
    nights: Sequence[np.ndarray],
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
    scale = scale_of(tolerance)
    carried = worst = 0.0
    for cold in nights:
        felt = felt_c(cold, HOURS, tolerance.duration_k_per_log2h + duration)
        for tissue in range(len(TISSUES)):
            for g in range(1, 8):
                if tolerance.threshold_c[tissue, g] + scale[tissue] * shift + z > felt[tissue]:
                    grade = max(grade, g)
        dose = np.nanmax(np.maximum(tolerance.chill_level_c + chill - cold[LEAF], 0.0) * HOURS)
        carried = CHILL_MEMORY * carried + (0.0 if np.isnan(dose) else float(dose))
        worst = max(worst, carried)
    for g in range(1, 8):
        if worst > 0 and worst + 8.0 * z_chill > tolerance.chill_dose_k_h[g]:
            grade = max(grade, g)
    return grade


def night_near(tolerance: Tolerance, rng: np.random.Generator, *, off: float = 1.0, sd: float = 2.5) -> np.ndarray:
    """A night whose coldest hour lies near the middle of the tree's grades. [tissue, duration]"""
    middle = np.nanmean(tolerance.threshold_c[:, 1:7]) + rng.normal(off, sd)
    cold = middle + np.array([-0.3, 0.0, 0.4, 0.9, 1.8]) + rng.normal(0, 0.1, (len(TISSUES), 1))
    return np.asarray(cold)


def made_yard(
    rng: np.random.Generator,
    *,
    kinds: Sequence[str] = KINDS,
    per_kind: int = 2,
    looks: int = 5,
    nights: int = 2,
    observers: Sequence[str] = ("ana", "ben"),
    fixed_scales: bool = False,
) -> tuple[list[TreePrior], list[Look], Truth]:
    """Draw a yard from the prior, and looks at its trees.

    Parameters
    ----------
    rng : Generator
    kinds : sequence of str
    per_kind : int
        Trees of each: grown ones in the ground, then young ones in pots, in turn.
    looks, nights : int
        Looks at each tree, and the most nights before each.
    observers : sequence of str
    fixed_scales : bool
        Take the scales at their prior's middle.
    """
    scales = np.zeros(3) if fixed_scales else rng.normal(0, HYPER_SD)
    about = [(kind, at % 2 == 1) for kind in kinds for at in range(per_kind)]
    priors = [prior_of(f"t{at:02d}", kind, young=small, potted=small) for at, (kind, small) in enumerate(about)]
    kind_sd = {one.kind: one.kind_sd_k for one in priors}
    chill_sd = {one.kind: one.chill_kind_sd_k for one in priors}
    # One doubt per kind, that of its last tree, as the learner takes it.
    priors = [TreePrior(one.id, one.kind, kind_sd[one.kind], one.tree_sd_k, one.young, chill_sd[one.kind]) for one in priors]
    truth = Truth(
        scales=scales,
        yard=rng.normal(0, AIR_TO_TISSUE_SD_K),
        young=rng.normal(0, YOUNG_GAP_SD_K),
        duration=rng.normal(0, DURATION_SD_K_PER_LOG2H),
        kinds={name: rng.normal(0, sd * np.exp(scales[0])) for name, sd in kind_sd.items()},
        observers={name: rng.normal(0, OBSERVER_SD_K) for name in observers},
    )
    chill_kinds = {name: rng.normal(0, sd * np.exp(scales[0])) if sd else 0.0 for name, sd in chill_sd.items()}
    seen: list[Look] = []
    for one, (kind, small) in zip(priors, about, strict=True):
        tolerance = believed(kind, young=small, potted=small)
        own = rng.normal(0, TREE_SD_K * np.exp(scales[1]))
        truth.trees[one.id] = truth.yard + one.young * truth.young + truth.kinds[one.kind] + own
        truth.chill[one.id] = chill_kinds[one.kind] + rng.normal(0, TREE_SD_K * np.exp(scales[1]))
        for _ in range(looks):
            who = observers[int(rng.integers(len(observers)))]
            colds = [night_near(tolerance, rng) for _ in range(int(rng.integers(1, nights + 1)))]
            grade = grade_of(
                tolerance,
                colds,
                rng,
                shift=truth.trees[one.id] + truth.observers[who],
                chill=truth.chill[one.id],
                duration=truth.duration,
                spread=float(np.exp(scales[2])),
                paled=PALED,
            )
            if rng.random() < MISTAKEN:
                grade = int(rng.integers(8))
            lived = [LivedNight(cold, tolerance) for cold in colds]
            seen.append(
                reduce_look(
                    lived, id=f"l{len(seen):05d}", tree=one.id, observer=who, grade=grade, young=one.young, paled=PALED
                )
            )
    return priors, seen, truth
