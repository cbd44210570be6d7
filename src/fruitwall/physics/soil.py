"""What the ground under a tree is made of: soil by texture and wetness, turf, mulch, paving, a pond.

References
----------
.. [1] Johansen, O. (1975), as set out by Bonan, G. (2019). Climate Change and Terrestrial Ecosystem Modeling.
   Cambridge University Press, ch. 5 and supplemental program 5.1.
.. [2] EN ISO 10456, tabulated design values (concrete, granite, asphalt, timber).
.. [3] ASHRAE Handbook - Fundamentals (2013), ch. 26 (fired brick).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import log10

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.checked import SHARE, check_range
from fruitwall.physics.faces import Layer
from fruitwall.physics.slab import Slab
from fruitwall.physics.spot import Spot

TEXTURES: dict[str, tuple[float, float]] = {
    "sand": (0.92, 0.395),
    "sandy_loam": (0.58, 0.435),
    "loam": (0.43, 0.451),
    "clay_loam": (0.32, 0.476),
    "clay": (0.22, 0.482),
}
"""Quartz share of the solids (taken as the sand share) and porosity, as in [1]_."""

SATURATION = {"dry": 0.2, "moist": 0.5, "wet": 0.8}
"""Share of the pores that water fills, for the words of the yard file (our reading of them)."""

UNFROZEN = {"sand": 0.02, "sandy_loam": 0.04, "loam": 0.07, "clay_loam": 0.11, "clay": 0.15}
"""Water that does not freeze within a few kelvin below 0 °C, share of the soil's volume: it is bound to fine grains
(after Williams & Smith, The Frozen Earth, 1989; from memory, rounded)."""

ICE_J_M3 = 334e6
"""Heat set free when a cubic metre of water freezes. [J/m³]"""

ICE_CONDUCTIVITY = 2.2
"""Of ice. [W/(m K)]"""

YEAR_DAMPING_M = 2.4
"""Depth over which the year's wave falls to a 1/e: √(2a/ω) for the diffusivity 0.58 mm²/s of moist loam. [m]"""

COLDEST_DAY = 17.0
"""Of the year, north of the equator: mid January (common practice, no source). [d]"""

SWING_PER_DEG = 0.22
"""Half the difference of the warmest and the coldest month, per degree of latitude. Our rule for the belts of tender
fruit: Miami 4.3 K, Gainesville 6.7, San Diego 5, Houston 8.7, Valencia 7.2, Seville 8.8 (climate normals, from memory)
are within 2.5 K of it; the heart of a continent swings twice as far. [K/degree]"""

SOIL_DEPTH_M = 1.0
"""Depth below which nothing flows within days. [m]"""

TURF = Layer(0.03, 0.20, 300.0, 2500.0)
"""Mown grass and thatch: moist organic matter with much air. Our estimate; it puts sod below bare soil, as observed."""

MULCH = Layer(0.05, 0.12, 200.0, 2000.0)
"""Chips or straw: k of dry organic layers 0.06-0.2 W/(m K) (from memory)."""

PAVING: dict[str, Layer] = {
    "concrete": Layer(0.10, 2.0, 2400.0, 1000.0),
    "stone": Layer(0.10, 2.8, 2600.0, 1000.0),
    "brick": Layer(0.10, 0.895, 1920.0, 800.0),
    "gravel": Layer(0.10, 0.7, 1800.0, 900.0),
    "asphalt": Layer(0.10, 0.7, 2100.0, 1000.0),
    "timber": Layer(0.04, 0.13, 500.0, 1600.0),
}
"""Hard surfaces, 10 cm thick (boards 4 cm): concrete, granite, asphalt, timber [2]_, brick [3]_, gravel from memory."""

POND = Layer(0.6, 25.0, 1000.0, 4190.0)
"""Open water: a conductivity that stands for stirring, so that all of it takes part within an hour or two."""

ALBEDO = {"bare": 0.20, "turf": 0.23, "mulch": 0.20, "paving": 0.30, "pond": 0.08}
"""Share of sun thrown back (FAO-56 gives 0.23 for grass; the others from memory)."""


def soil_layer(texture: str, saturation: float, thickness_m: float = SOIL_DEPTH_M) -> Layer:
    """Give a soil's heat properties.

    Parameters
    ----------
    texture : {"sand", "sandy_loam", "loam", "clay_loam", "clay"}
        Kind of soil.
    saturation : float
        Share of its pores filled with water, 0 to 1.
    thickness_m : float
        Of the layer. [m]

    Returns
    -------
    Layer
        With the density of 1000 kg/m³ standing in: only its product with the specific heat matters.

    Notes
    -----
    Conductivity by Johansen's interpolation between the dry and the saturated soil; heat capacity
    ``1.926 (1 - n) + 4.188 n s`` MJ/(m³ K) [1]_. Real soils scatter by a quarter.
    """
    check_range("saturation", saturation, SHARE)
    quartz, porosity, dry, solids = _grains(texture)
    saturated = solids ** (1 - porosity) * 0.57**porosity
    coarse = quartz >= 0.5
    kersten = 0.7 * log10(max(saturation, 0.05)) + 1 if coarse else log10(max(saturation, 0.1)) + 1
    capacity = 1.926e6 * (1 - porosity) + 4.188e6 * porosity * saturation
    return Layer(thickness_m, (saturated - dry) * kersten + dry, 1000.0, capacity / 1000.0)


@dataclass(frozen=True)
class Season:
    """Where the year stands, for the warmth that summer has left in the depths.

    Attributes
    ----------
    swing_k : float
        Half the difference between the warmest and the coldest month. [K]
    since_coldest : float
        Share of the year since its coldest day. [0-1]
    """

    swing_k: float
    since_coldest: float


def season_of(moment: np.datetime64, latitude_deg: float) -> Season:
    """Give the season of a place.

    Parameters
    ----------
    moment : numpy.datetime64
    latitude_deg : float
        South is negative. [degrees]

    Returns
    -------
    Season
        With a yearly swing that grows with latitude, `SWING_PER_DEG`.
    """
    day = float((moment - moment.astype("datetime64[Y]")) / np.timedelta64(1, "D"))
    since = (day - COLDEST_DAY) / 365.25 + (0.0 if latitude_deg >= 0.0 else 0.5)
    return Season(SWING_PER_DEG * abs(latitude_deg), since % 1.0)


def lag_k(depth_m: ArrayLike, season: Season) -> NDArray[np.float64]:
    """Give how much warmer the ground is at a depth than the air of these days, by the year's wave alone.

    Parameters
    ----------
    depth_m : array_like
        [m]
    season : Season

    Returns
    -------
    ndarray
        Positive in autumn and winter. [K]

    Notes
    -----
    Air: mean - A cos φ, ground: mean - A exp(-z/D) cos(φ - z/D) with the damping depth D of the year (Carslaw & Jaeger
    1959, 2.6); A is the swing, φ the angle since the coldest day. That bare ground is 1 to 3 K warmer than the air over
    the year is left out.
    """
    z = np.asarray(depth_m, dtype=np.float64) / YEAR_DAMPING_M
    phase = 2.0 * np.pi * season.since_coldest
    return np.asarray(season.swing_k * (np.cos(phase) - np.exp(-z) * np.cos(phase - z)))


def _grains(texture: str) -> tuple[float, float, float, float]:
    """Quartz share, porosity, conductivity when dry and that of the grains. [W/(m K)]"""
    if texture not in TEXTURES:
        raise ValueError(f"texture must be one of {', '.join(TEXTURES)}, got {texture!r}")
    quartz, porosity = TEXTURES[texture]
    bulk = 2700.0 * (1 - porosity)
    return quartz, porosity, (0.135 * bulk + 64.7) / (2700.0 - 0.947 * bulk), 7.7**quartz * 2.0 ** (1 - quartz)


def frozen_soil(texture: str, saturation: float) -> tuple[float, float]:
    """Give how a frozen soil conducts and what its freezing sets free.

    Parameters
    ----------
    texture : {"sand", "sandy_loam", "loam", "clay_loam", "clay"}
        Kind of soil.
    saturation : float
        Share of its pores filled with water, 0 to 1.

    Returns
    -------
    conductivity_w_mk : float
        Johansen's interpolation with the saturated conductivity of ice and the share of the pores that water fills as
        weight [1]_. [W/(m K)]
    latent_j_m3 : float
        Heat set free by the water that freezes near 0 °C; what fine grains bind does not. [J/m³]

    Raises
    ------
    ValueError
        If the texture is unknown or the saturation outside 0 to 1.
    """
    check_range("saturation", saturation, SHARE)
    _, porosity, dry, solids = _grains(texture)
    bound = min(UNFROZEN[texture], porosity)
    saturated = solids ** (1 - porosity) * ICE_CONDUCTIVITY ** (porosity - bound) * 0.57**bound
    freezable = max(porosity * saturation - bound, 0.0)
    return (saturated - dry) * saturation + dry, freezable * ICE_J_M3


def freezing_of(spot: Spot, texture: str, moisture: str) -> tuple[float, float]:
    """Give conductivity when frozen [W/(m K)] and heat of freezing [J/m³] of the ground's surface that a spot sees.

    Both are 0 where the surface does not freeze within a night: under turf and mulch the soil lies behind a hand's
    breadth of air and fibre, paving holds no water, and a pond is stirred.
    """
    ordinary = 1.0 - spot.paving_share - spot.pond_share
    conductivity, latent = frozen_soil(texture, SATURATION[moisture])
    if spot.ground != "bare" or ordinary < 0.5 or latent <= 0.0:
        return 0.0, 0.0
    return conductivity, ordinary * latent


@lru_cache(maxsize=256)
def ground_slab(
    surface: str, texture: str, moisture: str, paving: str | None = None, paving_tenths: int = 0, pond_tenths: int = 0
) -> Slab:
    """Give the ground of a place as one slab.

    Parameters
    ----------
    surface : {"bare", "turf", "mulch"}
        What covers the ordinary ground.
    texture, moisture : str
        As in `TEXTURES` and `SATURATION`.
    paving : str or None
        Material of the paving there, as in `PAVING`.
    paving_tenths, pond_tenths : int
        Tenths of the ground that are paving and open water.

    Returns
    -------
    Slab
        Parts side by side at one surface temperature; the ordinary ground is the first, so that depths are read in it
        (in the paved ground where all is paved).
    """
    if surface not in ("bare", "turf", "mulch"):
        raise ValueError(f'surface must be "bare", "turf" or "mulch", got {surface!r}')
    if moisture not in SATURATION:
        raise ValueError(f"moisture must be one of {', '.join(SATURATION)}, got {moisture!r}")
    soil = soil_layer(texture, SATURATION[moisture])
    top = {"bare": [], "turf": [TURF], "mulch": [MULCH]}[surface]
    ordinary = 10 - paving_tenths - pond_tenths
    parts: list[tuple[float, Slab]] = []
    if ordinary > 0:
        parts.append((ordinary / 10, Slab([*top, soil])))
    if paving_tenths > 0:
        # Soil under paving is shielded from sun and drying: as wet as the rest, no turf.
        parts.append((paving_tenths / 10, Slab([PAVING[paving or "concrete"], soil])))
    if pond_tenths > 0:
        parts.append((pond_tenths / 10, Slab([POND])))
    return Slab.beside(parts)


def ground_of(spot: Spot, texture: str, moisture: str) -> Slab:
    """Give the ground that a spot sees, shares rounded to tenths."""
    paving = round(10 * spot.paving_share)
    pond = min(round(10 * spot.pond_share), 10 - paving)
    return ground_slab(spot.ground, texture, moisture, spot.paving_material if paving else None, paving, pond)


def ground_albedo(spot: Spot) -> float:
    """Give the share of sun that a spot's ground throws back. [0-1]"""
    ordinary = 1.0 - spot.paving_share - spot.pond_share
    return ordinary * ALBEDO[spot.ground] + spot.paving_share * ALBEDO["paving"] + spot.pond_share * ALBEDO["pond"]
