"""What do graded looks say, as numbers that a fit can take?

A look grades one tree once. Between it and the look before lie nights, each with what the tree's tissues went through
and what such a tree was believed to stand that night. All that matters of them for the grade is how far the exposures
passed the limits: `look_lines` reduces the nights to that, once; the fit then only adds shifts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.plants.injury import CHILL_MEMORY, DURATIONS_H, FREEZING_GATE_C
from fruitwall.plants.tolerance import GRADES, LEAF, TISSUES, Tolerance

Array = NDArray[np.float64]

CHILL_SHIFTS_K = np.linspace(-9.0, 9.0, 37)
"""Shifts of the chill level at which a look's dose is worked out; between them it is a straight line. [K]"""

MISTAKEN = 0.05
"""Chance that a grade says nothing of this tree, any of the eight being as likely: the wrong tree touched, the wrong
row, a slip, a night that was not as told. Our judgement.

It keeps one absurd entry from dragging a tree, its kind and its age group along.
"""

LEFT_BY_MISTAKES = 1.0 - MISTAKEN + MISTAKEN / len(GRADES)
"""Likelihood of a look that excludes nothing: a mistake would have brought this grade in one case of eight."""

SEEN_AFTER_DAYS = ((0.0, 0.1), (2.0, 0.35), (7.0, 0.6), (14.0, 0.8), (28.0, 1.0))
"""Share of the lasting damage that shows so many days after the night.

Albanese (2010): plants that looked fine in the first week can look killed in the second; Maccubbin (2008): about a
month shows most of the extent on woody plants. The shares between are our judgement.
"""


@dataclass(frozen=True, eq=False)
class LivedNight:
    """One night of one tree.

    Attributes
    ----------
    coldest_c : ndarray [tissue, duration]
        What its tissues went through with what was done for it. [°C]
    tolerance : Tolerance
        What such a tree was believed to stand then, before anything was learned.
    """

    coldest_c: Array
    tolerance: Tolerance


@dataclass(frozen=True, eq=False)
class Look:
    """One graded look at one tree, reduced for the fit.

    Attributes
    ----------
    id : str
        The entry that it comes from.
    tree : str
    observer : str
        Who looked.
    grade : int
        0 to 7.
    cold : float
        Chance that what is seen is of cold at all (the causes' answer), 0 to 1; of no matter at grade 0.
    seen : float
        Share of the damage that shows by now, 0 to 1.
    young : float
        How far the tree counted as young, 0 to 1 (`effects.youth`).
    beyond_k : ndarray [2, tissue, duration]
        How far the worst exposure went below the limit of the grade (row 0) and of the grade above (row 1), or of any
        worse one; minus infinity where nothing could be hurt. A shift of the limits adds to it. [K]
    scale : ndarray [tissue]
        How many kelvin each tissue's limits move when the tree's shift is one kelvin.
    paled : float
        Chance that cool nights alone have paled the leaf, before anything was learned.
    chill_dose_k_h : ndarray [shift]
        Worst dose of chilling over the nights if the level lay higher by `CHILL_SHIFTS_K`. Zero for kinds that do not
        suffer above freezing. [K h]
    chill_needed_k_h : ndarray [2]
        Dose that the grade and the grade above need; infinite where chilling does not cause it. [K h]
    slope_k : float
        Spread within the tree, with what is not known of the exposure. [K]
    """

    id: str
    tree: str
    observer: str
    grade: int
    cold: float
    seen: float
    young: float
    beyond_k: Array
    scale: Array
    paled: float
    chill_dose_k_h: Array
    chill_needed_k_h: Array
    slope_k: float


def share_seen(days: float) -> float:
    """Give the share of the lasting damage that shows so many days after the night.

    Parameters
    ----------
    days : float
        Zero or more. [days]

    Returns
    -------
    float
        0 to 1, by `SEEN_AFTER_DAYS`.
    """
    at, share = zip(*SEEN_AFTER_DAYS, strict=True)
    return float(np.interp(days, at, share))


def reduce_look(
    nights: Sequence[LivedNight],
    *,
    id: str,
    tree: str,
    observer: str,
    grade: int,
    cold: float = 1.0,
    seen: float = 1.0,
    young: float = 0.0,
    paled: float = 0.0,
    exposure_sd_k: float = 0.0,
    at_most: bool = False,
    durations_h: Sequence[float] = DURATIONS_H,
) -> Look:
    """Reduce the nights between two looks to what the grade can say about the tree.

    Parameters
    ----------
    nights : sequence of LivedNight
        Oldest first; at least one.
    id, tree, observer : str
        Entry, tree and person.
    grade : int
        What was seen, 0 to 7.
    cold, seen, young, paled : float
        As in `Look`, each 0 to 1.
    exposure_sd_k : float
        What is not known of the tissue's temperature in these nights. [K]
    at_most : bool
        The tree was as bad before these nights: they brought it to this grade or to a lesser one, nobody can tell.
    durations_h : sequence of float
        Durations of the exposures. [h]

    Returns
    -------
    Look

    Raises
    ------
    ValueError
        Without nights, and for a grade or a share out of range.
    """
    if not nights:
        raise ValueError("nights must hold at least one night; a look without nights says nothing")
    if grade not in range(len(GRADES)):
        raise ValueError(f"grade must be from 0 to {len(GRADES) - 1}, got {grade!r}")
    for name, value in (("cold", cold), ("seen", seen), ("young", young), ("paled", paled)):
        if not 0.0 <= value <= 1.0:
            raise ValueError(f"{name} must be from 0 to 1, got {value}")
    hours = np.asarray(durations_h, dtype=np.float64)
    last = nights[-1].tolerance
    beyond = np.full((2, len(TISSUES), hours.size), -np.inf)
    for night in nights:
        felt = _felt(night.coldest_c, hours, night.tolerance.duration_k_per_log2h)
        for row, least in enumerate((grade, grade + 1)):
            if least == 0:
                continue  # grade 0 or worse is certain, whatever the night
            limit = _warmest_limit(night.tolerance.threshold_c, least)
            beyond[row] = np.fmax(beyond[row], limit[:, None] - felt)
    if grade == 0 or at_most:
        beyond[0] = np.inf
    return Look(
        id=id,
        tree=tree,
        observer=observer,
        grade=grade,
        cold=cold,
        seen=seen,
        young=young,
        beyond_k=np.where(np.isnan(beyond), -np.inf, beyond),
        scale=scale_of(last),
        paled=paled,
        chill_dose_k_h=_doses([one.coldest_c for one in nights], hours, last),
        chill_needed_k_h=np.array([_needed(last, grade), _needed(last, grade + 1)]),
        slope_k=float(np.hypot(last.slope_k, exposure_sd_k)),
    )


def reference_sd_k(tolerance: Tolerance) -> float:
    """Give the uncertainty of the tissue whose limits stand for the tree's shift: leaf, else twig. [K]"""
    for sd in tolerance.sd_k:
        if np.isfinite(sd):
            return float(sd)
    raise ValueError(f"{tolerance.taxon} has no tissue with a limit")


def scale_of(tolerance: Tolerance) -> Array:
    """Give how far each tissue's limits move when the tree's shift is one kelvin. [tissue], 0 where it has none"""
    return np.nan_to_num(tolerance.sd_k / reference_sd_k(tolerance))


def _felt(cold: Array, hours: Array, per_log2h: float) -> Array:
    """One-hour temperature that hurts as much as each exposure; infinite without ice. [tissue, duration]"""
    with np.errstate(divide="ignore", over="ignore"):
        supercooled = np.maximum(FREEZING_GATE_C / np.maximum(-cold, 0.0) - 1.0, 0.0)
    return np.asarray(cold - per_log2h * np.log2(hours) + supercooled)


def _warmest_limit(threshold_c: Array, least: int) -> Array:
    """Warmest limit of a grade or any worse one, by tissue; NaN where there is none. [tissue]"""
    if least >= len(GRADES):
        return np.full(len(threshold_c), np.nan)
    return np.asarray(np.fmax.reduce(threshold_c[:, least:], axis=1))


def _needed(tolerance: Tolerance, least: int) -> float:
    """Dose of chilling that a grade or any worse one needs; infinite where chilling causes none. [K h]"""
    if least == 0 or least >= len(GRADES) or np.isnan(tolerance.chill_level_c):
        return np.inf
    doses = tolerance.chill_dose_k_h[least:]
    return float(np.nanmin(doses)) if np.isfinite(doses).any() else np.inf


def _doses(nights: Sequence[Array], hours: Array, tolerance: Tolerance) -> Array:
    """Worst carried dose of chilling for every shift of the level. [shift]"""
    if np.isnan(tolerance.chill_level_c):
        return np.zeros(CHILL_SHIFTS_K.size)
    level = tolerance.chill_level_c + CHILL_SHIFTS_K
    worst = carried = np.zeros(CHILL_SHIFTS_K.size)
    for cold in nights:
        night = np.nan_to_num(np.fmax.reduce(np.maximum(level[:, None] - cold[LEAF], 0.0) * hours, axis=1))
        carried = CHILL_MEMORY * carried + night
        worst = np.maximum(worst, carried)
    return worst
