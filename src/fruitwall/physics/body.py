"""What of a plant the night's heat sees: sizes of leaf, twig, wood and fruit, foliage, crown and root ball.

Which kind has which leaf, and what it stands, is `plants`' to say; this module only keeps the numbers and checks them.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, isnan, nan, pi
from typing import Literal

from fruitwall.physics.checked import Range, check_range

TISSUES = ("leaf", "twig", "wood", "fruit", "root")
"""Order of the tissue axis everywhere."""

PotWall = Literal["plastic", "clay", "timber", "fabric", "metal"]

EXTINCTION = 0.5
"""Share of light from above that a unit of leaf area stops, leaves at all angles (Campbell & Norman 1998, ch. 15,
spherical distribution; from memory)."""

BODY_RANGES = {
    "leaf_width_m": Range(0.0, 2.0, "m", low_open=True),
    "leaf_area_index": Range(0.0, 12.0),
    "twig_diameter_m": Range(0.0, 0.1, "m", low_open=True),
    "wood_diameter_m": Range(0.0, 3.0, "m", low_open=True),
    "fruit_diameter_m": Range(0.0, 0.5, "m", low_open=True),
    "fruit_freezing_c": Range(-15.0, 0.0, "°C"),
    "height_m": Range(0.0, 40.0, "m", low_open=True),
    "crown_diameter_m": Range(0.0, 30.0, "m", low_open=True),
    "pot_volume_l": Range(0.0, 2000.0, "L", low_open=True),
    "root_depth_m": Range(0.0, 1.0, "m"),
}


ABSENT = ("fruit_diameter_m", "fruit_freezing_c", "pot_volume_l")
"""What may be NaN."""


@dataclass(frozen=True)
class Body:
    """One plant as physics sees it.

    Attributes
    ----------
    leaf_width_m : float
        Width of a leaf (or leaflet) across the wind. [m]
    leaf_area_index : float
        Leaf area over crown ground area; 0 for a leafless tree, whose leaf exposures are then NaN. [-]
    twig_diameter_m, wood_diameter_m : float
        Of the youngest wood, and of the limbs and trunk that carry the tree. [m]
    fruit_diameter_m : float
        Of fruit, or of flowers and buds while it blooms; NaN where it carries none; fruit exposures are then NaN. [m]
    fruit_freezing_c : float
        Where the juice of the fruit freezes: it stays there until all is ice. NaN leaves the heat of freezing out, as
        for fruit that undercools. [°C]
    height_m, crown_diameter_m : float
        Of the whole plant, with its container. [m]
    pot_volume_l : float
        True volume of the container; NaN for a tree in the ground. [L]
    pot_wall : {"plastic", "clay", "timber", "fabric", "metal"}
        Material of the container.
    root_depth_m : float
        Depth in the ground at which roots are looked at, for a tree without container. [m]
    """

    leaf_width_m: float = 0.05
    leaf_area_index: float = 2.5
    twig_diameter_m: float = 0.005
    wood_diameter_m: float = 0.04
    fruit_diameter_m: float = nan
    fruit_freezing_c: float = nan
    height_m: float = 2.0
    crown_diameter_m: float = 1.5
    pot_volume_l: float = nan
    pot_wall: PotWall = "plastic"
    root_depth_m: float = 0.10

    def __post_init__(self) -> None:
        for name, allowed in BODY_RANGES.items():
            check_range(name, getattr(self, name), allowed)
        required = [n for n in BODY_RANGES if n not in ABSENT and isnan(getattr(self, n))]
        if required:
            raise ValueError(f"{required[0]} must be a number {BODY_RANGES[required[0]].words()}, got nan")

    @property
    def leafy(self) -> bool:
        """Whether it has leaves to lose."""
        return self.leaf_area_index > 0

    @property
    def potted(self) -> bool:
        """Whether it stands in a container."""
        return not isnan(self.pot_volume_l)

    @property
    def foliage_share(self) -> float:
        """Share of its crown's ground area that leaves hide from the sky. [0-1]"""
        return 1.0 - exp(-EXTINCTION * self.leaf_area_index)

    @property
    def crown_area_m2(self) -> float:
        """Ground area under the crown. [m²]"""
        return pi / 4 * self.crown_diameter_m**2
