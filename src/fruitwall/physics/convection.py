"""How much heat moving air carries to or from a surface.

Campbell & Norman's conductances, forced and free, added up. The study of the blend: against leaves computed with the
coefficients of another textbook (`leaf-night-computed-s` in tests/checks/tissue.yaml) the sum is at most 0.3 K off, the
root of the squares 0.6 K, and sums of forced and free conductance are what the widely used two-leaf canopy models take
(Leuning et al. 1995, Plant Cell Environ. 18:1183, from memory).

References
----------
.. [1] Campbell, G. S. and Norman, J. M. (1998). An Introduction to Environmental Biophysics, 2nd ed., table 7.6
   (coefficients as used by the NicheMapR package).
"""

from __future__ import annotations

from math import sqrt

MOLAR_HEAT = 29.3
"""Molar specific heat of air. [J/(mol K)]"""

FORCED = 1.4 * 0.135 * MOLAR_HEAT
"""Exchange per side is this times √(u/d): 0.135 √(u/d) mol/(m² s), 1.4 for the gusts outdoors [1]_. [W s½/(m² K)]"""

FREE = 0.05 * MOLAR_HEAT
"""Exchange per side is this times (ΔT/d)^¼ [1]_. [W m^-7/4 K^-5/4]"""

LEAF_SHAPE = 0.7
"""Characteristic dimension over width of a leaf [1]_."""

VAPOUR_OVER_HEAT = 1.08
"""Boundary-layer conductance for water vapour over that for heat, forced [1]_: 0.147/0.135."""

ROUNDING_K = 0.1
"""Rounds off |ΔT|^¼ at zero, where its slope is infinite. [K]"""


def forced(size_m: float) -> float:
    """Give the exchange at 1 m/s around a body of a size. [W/(m² K) at 1 m/s; grows with the root of the wind]"""
    return FORCED / sqrt(size_m)


def free(size_m: float) -> float:
    """Give the exchange at a difference of 1 K around a body of a size. [W/(m² K); grows with ΔT^¼]"""
    return FREE / sqrt(sqrt(size_m))
