"""What a pot holds: water that its filling keeps against draining, and the part that a tree takes easily.

After draining, the water in a pot stands as over a sponge: saturated at the bottom, drier towards the top. So the same
mix keeps less of its volume in a deep pot than in a shallow one.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from fruitwall.plants.water.ranges import number


@dataclass(frozen=True)
class Mix:
    """What a pot is filled with. At a height z over the base it keeps ``rest + (pores - rest) exp(-z / drop_m)``.

    Attributes
    ----------
    pores : float
        Share of the volume that is not solid. [m³/m³]
    rest : float
        What it keeps high above the base. [m³/m³]
    drop_m : float
        Height over which the free water falls to 1/e. [m]
    wilting : float
        What a tree cannot take. [m³/m³]
    """

    pores: float
    rest: float
    drop_m: float
    wilting: float


MIXES: dict[str, Mix] = {
    "potting_mix": Mix(0.80, 0.42, 0.08, 0.27),
    "bark": Mix(0.71, 0.30, 0.058, 0.22),
    "peat": Mix(0.93, 0.66, 0.13, 0.27),
    "coir": Mix(0.94, 0.50, 0.11, 0.22),
    "soil": Mix(0.45, 0.27, 0.10, 0.13),
}
"""Bark: pores, rest and drop fit the two printed states of Bilderback and Fonteno 1987 (43 % water in a one-gallon
pot, 59 % in a shallow cell; pores 71 %), with heights of 16 and 4.5 cm, which the abstract does not print (Our
judgement). The other rows and all wilting points: Our judgement, within the ranges that nurseries aim at (container
capacity 45-65 %, available water 25-35 % of the volume; from memory)."""

EASY_SHARE = 0.5
"""Part of a pot's available water that is taken without effort. Common practice is to water when about half is gone (no
source). [0-1]"""

FILLED_SHARE = 0.92
"""Part of a pot that is filled; the rest is its rim for watering. Our judgement. [0-1]"""

DEPTH_PER_ROOT = 0.92
"""Depth of the filling over the cube root of its volume: pots of 15 to 30 L have 0.90 to 0.94 (facts of
`web_pot_dims`). [-]"""

MOUTH_PER_ROOT = 1.37
"""Area of a pot's mouth over the square of the cube root of its volume: the same pots have 1.34 to 1.41. [-]"""


@dataclass(frozen=True)
class Fill:
    """The filling of a pot when it has drained. [L], mouth in [m²], depth in [m]"""

    medium_l: float
    held_l: float
    available_l: float
    easy_l: float
    air_l: float
    mouth_m2: float
    depth_m: float


def kept_share(mix: str, depth_m: float) -> float:
    """Give the container capacity: the mean over the depth of what is kept. [m³/m³]

    Parameters
    ----------
    mix : str
        A row of `MIXES`.
    depth_m : float
        Of the filling. [m]
    """
    if mix not in MIXES:
        raise ValueError(f"mix must be one of {', '.join(MIXES)}, got {mix!r}")
    m = MIXES[mix]
    ratio = number("depth_m", depth_m, "root_depth_m") / m.drop_m
    return m.rest + (m.pores - m.rest) * (1.0 - exp(-ratio)) / ratio


def fill_of(volume_l: float, mix: str, *, depth_m: float | None = None) -> Fill:
    """Give what a pot holds.

    Parameters
    ----------
    volume_l : float
        Of the pot. [L]
    mix : str
        A row of `MIXES`.
    depth_m : float, optional
        Of the filling; from the volume if left out. [m]

    Returns
    -------
    Fill
    """
    medium_l = FILLED_SHARE * number("volume_l", volume_l)
    side_m = (number("volume_l", volume_l) / 1000.0) ** (1.0 / 3.0)
    depth = DEPTH_PER_ROOT * side_m if depth_m is None else depth_m
    kept = kept_share(mix, depth)
    available_l = (kept - MIXES[mix].wilting) * medium_l
    return Fill(
        medium_l=medium_l,
        held_l=kept * medium_l,
        available_l=available_l,
        easy_l=EASY_SHARE * available_l,
        air_l=(MIXES[mix].pores - kept) * medium_l,
        mouth_m2=MOUTH_PER_ROOT * side_m**2,
        depth_m=depth,
    )
