"""Litres and minutes: what a depth of water means at one tree."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fruitwall.plants.water.ranges import FloatArray, numbers

LITRES_PER_MM_M2 = 1.0
"""A millimetre of water on a square metre, by definition. [L]"""

REFERENCE_LEAF_AREA = 2.88
"""Leaf area index of the reference grass: 24 times its height of 0.12 m (FAO-56, box 5). [-]"""

LEAF_AREA_HIGHEST = 3.0
"""Leaf area index beyond which more leaf uses no more: coffee, Bragantia 2011. [-]"""

CROWN_LEAF_AREA = 3.0
"""Leaf area index of a fruit tree's own crown, where nobody counted its leaves. Our judgement: street trees have
about 4 (Lindsey & Bassuk 1991), thin young crowns 1 to 2. [-]"""

CROWN_HOLDS_MM_PER_LEAF = 0.2
"""Rain that clings to each unit of leaf area index (Dickinson 1984, from memory). [mm]"""


def crown_area_m2(crown_diameter_m: ArrayLike) -> FloatArray:
    """Give the ground under a round crown. [m²]"""
    return np.asarray(np.pi / 4.0 * numbers("crown_diameter_m", crown_diameter_m) ** 2)


def crop_et(et0_mm: ArrayLike, kc: ArrayLike) -> FloatArray:
    """Give what an unstressed tree uses, FAO-56 eq. 58, in the unit of `et0_mm`."""
    return np.asarray(np.asarray(et0_mm, dtype=float) * np.asarray(kc, dtype=float))


def tree_volume_l(et0_mm: ArrayLike, kc: ArrayLike, crown_diameter_m: ArrayLike) -> FloatArray:
    """Give the water that a tree uses, its crown taken round.

    Parameters
    ----------
    et0_mm : array_like
        Reference evapotranspiration. [mm]
    kc : array_like
        Crop coefficient. [-]
    crown_diameter_m : array_like
        [m]

    Returns
    -------
    ndarray
        [L]
    """
    return np.asarray(crop_et(et0_mm, kc) * crown_area_m2(crown_diameter_m) * LITRES_PER_MM_M2)


def leaf_area_kc(leaf_area_index: ArrayLike) -> FloatArray:
    """Give the crop coefficient of a crown from its leaf area index, over the ground under it. [-]"""
    leaves = np.minimum(numbers("leaf_area_index", leaf_area_index), LEAF_AREA_HIGHEST)
    return np.asarray(leaves / REFERENCE_LEAF_AREA)


def leaf_area_use_l(et0_mm: ArrayLike, leaf_area_m2: ArrayLike) -> FloatArray:
    """Give the water that a free-standing tree in a pot uses, by its leaves. [mm], [m²] to [L]"""
    leaves = numbers("leaf_area_m2", leaf_area_m2)
    return np.asarray(np.asarray(et0_mm, dtype=float) * leaves / REFERENCE_LEAF_AREA)


def street_tree_use(
    crown_diameter_m: ArrayLike, leaf_area_index: ArrayLike, pan_mm_d: ArrayLike, ratio: ArrayLike = 0.2
) -> FloatArray:
    """Give the daily use of a tree in a planter from pan evaporation, Lindsey and Bassuk 1991.

    Parameters
    ----------
    crown_diameter_m : array_like
        [m]
    leaf_area_index : array_like
        Of its crown. [-]
    pan_mm_d : array_like
        Evaporation of an open pan. [mm/d]
    ratio : array_like
        Use of a unit of leaf over that of the pan. [-]

    Returns
    -------
    ndarray
        [L/d]
    """
    leaves = crown_area_m2(crown_diameter_m) * numbers("leaf_area_index", leaf_area_index)
    return np.asarray(leaves * np.asarray(pan_mm_d, dtype=float) * np.asarray(ratio, dtype=float))


def volume_for_l(use_l_d: ArrayLike, days: ArrayLike, available_share: ArrayLike) -> FloatArray:
    """Give the soil or mix that carries a tree through days without water.

    Parameters
    ----------
    use_l_d : array_like
        [L/d]
    days : array_like
        Between waterings or rains. [d]
    available_share : array_like
        Water that the roots can take, over the volume. [0-1]

    Returns
    -------
    ndarray
        [L]
    """
    share = numbers("available_share", available_share, "share")
    return np.asarray(np.asarray(use_l_d, dtype=float) * np.asarray(days, dtype=float) / share)


def emitter_minutes(litres: ArrayLike, flow_l_h: ArrayLike) -> FloatArray:
    """Give how long an emitter runs for an amount; infinite without flow. [L], [L/h] to [min]"""
    amount, flow = numbers("litres", litres, "amount"), numbers("flow_l_h", flow_l_h, "amount")
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(amount == 0.0, 0.0, 60.0 * amount / flow))


def to_give_mm(net_mm: ArrayLike, leaching_share: ArrayLike = 0.0, efficiency: ArrayLike = 1.0) -> FloatArray:
    """Give what has to be given so that the roots get an amount.

    Parameters
    ----------
    net_mm : array_like
        To be used by the tree. [mm]
    leaching_share : array_like
        Share of what is given that has to drain and take salt along: `salt.leaching_requirement`. [0-1]
    efficiency : array_like
        Share of what is given that gets to the root zone. [0-1]

    Returns
    -------
    ndarray
        Infinite where all would have to drain. [mm]
    """
    rest = (1.0 - numbers("leaching_share", leaching_share, "share")) * numbers("efficiency", efficiency, "share")
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(rest > 0.0, numbers("net_mm", net_mm, "amount") / rest, np.inf))
