"""What does one tree stand tonight?

`Tolerance` is the answer in the form that `plants.injury` needs: the temperature at which each tissue of this tree
reaches each grade of injury, how uncertain that is, and why.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

TISSUES = ("leaf", "twig", "wood", "fruit", "root")
"""Tissues in the order of the tissue axis, the same as the physics layer's."""

LEAF, TWIG, WOOD, FRUIT, ROOT = range(5)

GRADES = (
    "none",
    "paler",
    "some leaf burn (<10 %)",
    "much leaf burn (10-50 %)",
    "most leaf lost (>50 %)",
    "twigs dead",
    "limbs dead",
    "dead",
)
"""Grades of injury 0-7 in words."""


@dataclass(frozen=True, eq=False)
class Tolerance:
    """What one tree stands tonight, as a distribution.

    Attributes
    ----------
    taxon : str
        Scientific name in the catalogue.
    threshold_c : ndarray [tissue, grade]
        Tissue temperature of a one-hour exposure at which half of such trees reach at least this grade. NaN where
        this tissue cannot cause that grade; column 0 is unused. Falls (or stays) along the grades. [°C]
    sd_k : ndarray [tissue]
        Uncertainty of the tissue's thresholds: what is not known of the kind, and how this tree differs from its
        kind. One shift for the whole tree: all tissues are tender or hardy together. [K]
    slope_k : float
        Spread within one tree, by which injury rises gradually instead of at one temperature. [K]
    duration_k_per_log2h : float
        How much milder an exposure of twice the hours may be to hurt as much. [K per doubling]
    fruit_c, fruit_sd_k : float
        Fruit temperature of a one-hour exposure at which half of the fruit is lost, and its uncertainty; NaN without
        fruit. [°C], [K]
    flower_c, flower_sd_k : float
        The same for open flowers; NaN without flowers. [°C], [K]
    chill_level_c, chill_sd_k : float
        Leaf temperature below which a kind that suffers above freezing suffers, and its uncertainty; NaN for the
        other kinds. [°C], [K]
    chill_dose_k_h : ndarray [grade]
        Degree-hours of one night below `chill_level_c` at which each grade is reached; NaN for grades that chilling
        alone does not cause. [K h]
    provenance : tuple of str
        From what all this was made, one plain sentence each.
    """

    taxon: str
    threshold_c: NDArray[np.float64]
    sd_k: NDArray[np.float64]
    slope_k: float
    duration_k_per_log2h: float
    fruit_c: float = float("nan")
    fruit_sd_k: float = float("nan")
    flower_c: float = float("nan")
    flower_sd_k: float = float("nan")
    chill_level_c: float = float("nan")
    chill_sd_k: float = float("nan")
    chill_dose_k_h: NDArray[np.float64] = field(default_factory=lambda: np.full(len(GRADES), np.nan))
    provenance: tuple[str, ...] = ()
