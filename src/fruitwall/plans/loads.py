"""What a container weighs and how wide it is, when nobody has weighed or measured it.

Densities of medium, volumes and diameters come from published rows (see `docs/planner.md`); the allowance for the
tree, for the pot's own mass and for how much of the water is left are `common practice, no source`, chosen so that
a nursery tree of nominal 15 gallons (54.9 L) falls inside the published 45 to 68 kg.
"""

from __future__ import annotations

import math
from typing import Literal

Mix = Literal["bark", "mixed", "peat"]
Wetness = Literal["dry", "moist", "wet"]
PotMaterial = Literal["plastic", "clay", "timber", "fabric", "metal"]

# Dry bulk density and water held just after drainage, kg per litre of medium. Bark and peat: International Journal
# of Agronomy 2012:978528, Table 1; mixed is their mean. A tall pot drains better than the laboratory ring.
MEDIA_KG_PER_L: dict[Mix, tuple[float, float]] = {"bark": (0.18, 0.48), "mixed": (0.145, 0.675), "peat": (0.11, 0.87)}

# Share of that water left. common practice, no source.
WATER_LEFT: dict[Wetness, float] = {"dry": 0.35, "moist": 0.75, "wet": 1.0}

# Own mass of the pot per litre. Plastic: about 1 kg for 55 L (published remark); others common practice, no source.
POT_KG_PER_L: dict[PotMaterial, float] = {"plastic": 0.02, "clay": 0.20, "timber": 0.15, "fabric": 0.005, "metal": 0.06}

# Fresh mass of top growth in the box height x crown x crown. common practice, no source.
TREE_KG_PER_M3 = 4.0

# Width and height of a pot over the cube root of its litres, cm. Means of eight published diameters (12.0 to 13.4)
# and heights (9.0 to 11.9) of pots from 6 to 104 L.
WIDTH_CM = 13.0
HEIGHT_CM = 9.8


def medium_mass_kg(volume_l: float, *, mix: Mix = "mixed", wetness: Wetness = "wet") -> float:
    """Give the mass of the medium in a full container.

    Parameters
    ----------
    volume_l : float
        True volume, above 0 to 2000. A "15 gallon" nursery pot holds 54.9 L. [L]
    mix : "bark", "mixed" or "peat"
        What the medium is mostly made of.
    wetness : "dry", "moist" or "wet"
        Wet means watered and just drained.

    Returns
    -------
    float
        [kg]

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Examples
    --------
    >>> round(medium_mass_kg(54.9, mix="peat"), 1)
    53.8
    """
    _check_volume(volume_l)
    dry, water = MEDIA_KG_PER_L[mix]
    return volume_l * (dry + water * WATER_LEFT[wetness])


def container_mass_kg(
    volume_l: float,
    *,
    tree_height_m: float,
    crown_diameter_m: float,
    mix: Mix = "mixed",
    wetness: Wetness = "wet",
    material: PotMaterial = "plastic",
) -> float:
    """Estimate the mass of a container with its tree.

    Parameters
    ----------
    volume_l : float
        True volume, above 0 to 2000. [L]
    tree_height_m, crown_diameter_m : float
        Size of the tree, 0 to 40 and 0 to 30. [m]
    mix, wetness, material
        Of the medium and the pot.

    Returns
    -------
    float
        Medium, pot and tree. An estimate to about a quarter either way: weigh what you mean to lift. [kg]

    Raises
    ------
    ValueError
        If an argument is outside its range.
    """
    for name, value, high in (("tree_height_m", tree_height_m, 40.0), ("crown_diameter_m", crown_diameter_m, 30.0)):
        if not 0.0 <= value <= high:
            raise ValueError(f"{name} must be 0 or more and at most {high:g} m, got {value:g}")
    medium = medium_mass_kg(volume_l, mix=mix, wetness=wetness)
    tree = TREE_KG_PER_M3 * tree_height_m * crown_diameter_m**2
    return medium + POT_KG_PER_L[material] * volume_l + tree


def container_width_m(volume_l: float) -> float:
    """Estimate the width of a round container at its rim from its volume (above 0 to 2000 L). [m]"""
    _check_volume(volume_l)
    return WIDTH_CM / 100.0 * math.cbrt(volume_l)


def container_height_m(volume_l: float) -> float:
    """Estimate the height of a container's rim above the ground from its volume (above 0 to 2000 L). [m]"""
    _check_volume(volume_l)
    return HEIGHT_CM / 100.0 * math.cbrt(volume_l)


def depth_of_taper_m(volume_l: float, top_m: float, base_m: float) -> float:
    """Give the depth of medium in a tapered round pot: V = π h (a² + ab + b²) / 12.

    Parameters
    ----------
    volume_l : float
        Above 0 to 2000. [L]
    top_m, base_m : float
        Diameters, above 0. [m]

    Returns
    -------
    float
        [m]
    """
    _check_volume(volume_l)
    if not (top_m > 0 and base_m > 0):
        raise ValueError(f"top_m and base_m must be greater than 0 m, got {top_m:g} and {base_m:g}")
    return 12.0 * volume_l / 1000.0 / (math.pi * (top_m**2 + top_m * base_m + base_m**2))


def _check_volume(volume_l: float) -> None:
    if not 0.0 < volume_l <= 2000.0:
        raise ValueError(f"volume_l must be greater than 0 and at most 2000 L, got {volume_l:g}")
