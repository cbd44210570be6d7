"""How hot leaf, fruit, bark and pot get on their sunny side by day.

The night model follows the middle of a tree; what the sun burns is the leaf that faces it, the sunny pole of a fruit,
the sunny side of a trunk and the quarter of a root ball behind a sunlit wall of a pot. These functions answer for
them from the surroundings of one place, hour by hour and member by member. Steady balances, except for the pot, whose
root ball keeps heat for hours.

References
----------
.. [1] Leuning, R. (1995). A critical appraisal of a combined stomatal-photosynthesis model for C3 plants. Plant Cell
   Environ. 18:339-355 (form of the response to vapour pressure deficit).
.. [2] Smart, R. E. and Sinclair, T. R. (1976). Solar heating of grape berries and other spherical fruits. Agric.
Meteorol.
   17:241-259 (the sphere with conduction; the series here is our own derivation).
.. [3] Carslaw, H. S. and Jaeger, J. C. (1959). Conduction of Heat in Solids, 2nd ed.
.. [4] Beljaars, A. C. M. (1995). The parametrization of surface fluxes in large-scale models under free convection.
   Q. J. R. Meteorol. Soc. 121:255-270 (wind of the gusts that warm ground stirs up; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.physics.air import saturation_vapour_pressure
from fruitwall.physics.checked import SHARE, Range, checked
from fruitwall.physics.constants import STEFAN_BOLTZMANN, ZERO_C_K
from fruitwall.physics.convection import forced, free
from fruitwall.physics.rootball import SOLIDS_J_M3K, RootBall
from fruitwall.physics.tissue import body_temperature, leaf_temperature

FloatArray = NDArray[np.float64]

EMISSIVITY = 0.96
"""Of leaf, peel, bark, pot, as in the night model. [-]"""

STOMATA_MOST = 0.25
"""Conductance of both leaf sides together in bright light and moist air: 0.1 to 0.3 for evergreen fruit trees (from
memory; Jones 2014, table of conductances). [mol/(m² s)]"""

STOMATA_SHUT = 0.005
"""What the skin of a leaf lets through with its pores shut (from memory; 0.002 to 0.01). [mol/(m² s)]"""

STOMATA_VPD_KPA = 1.5
"""Vapour pressure deficit that halves the conductance, within the range of [1]_. [kPa]"""

STOMATA_LIGHT_W_M2 = 100.0
"""Sun at which pores are half open. Our judgement. [W/m²]"""

LEAF_ABSORBS = 0.5
"""Of sun at all wavelengths, as in the night model."""

PEEL_ABSORBS = 0.6
"""Of sun at all wavelengths by the peel of a coloured fruit: most of the visible half, a good third of the infrared
one. Our judgement; 0.5 for pale, 0.75 for dark ones. [-]"""

BARK_ABSORBS = 0.7
"""Of sun by weathered bark, as in the night model. [-]"""

PAINT_ABSORBS = 0.3
"""Of sun by whitewash or thinned white latex paint after some weather; fresh it takes 0.2. Our judgement. [-]"""

POT_ABSORBS = {"plastic": 0.9, "clay": 0.7, "timber": 0.65, "fabric": 0.9, "metal": 0.6}
"""Of sun by the wall of a container: black plastic and felt, red clay, weathered timber and metal. From memory of
tables for building materials, ±0.1. [-]"""

FLESH_W_MK = 0.5
"""Conductivity of fruit, mostly water. From memory; 0.4 to 0.6. [W/(m K)]"""

WOOD_W_MK = 0.35
"""Conductivity of green wood across the grain. From memory; 0.3 to 0.4. [W/(m K)]"""

WARMED_K = 10.0
"""Difference at which the free exchange of peel, bark and pot is taken. [K]"""

GROUND_ALBEDO = 0.2
"""Share of sun that the ground throws back, as for walls. [-]"""

GROUND_KEEPS = {"bare": 0.5, "turf": 0.2, "mulch": 0.6, "paving": 0.45, "pond": 0.0}
"""Share of the sun taken in by a surface of the ground that leaves it again by air and radiation; the rest evaporates
water or goes down into it. Our judgement: watered turf evaporates most, dry mulch neither. [-]"""

GROUND_SIZE_M = 1.0
"""Over which wind passes the ground. [m]"""

CLOTH_WIND = 0.4
"""Share of the wind that a cloth which stops all light would take; a cloth of half shade takes half of it. Our
judgement for cloth overhead with open sides. [-]"""

CLOTH_WARMER_K = 3.0
"""How much warmer than the air the threads of a cloth are in 1000 W/m²: thin threads exchange some 150 W/(m² K). [K]"""

SHADY_DIFFUSE = 0.5
SHADY_WIND = 0.8
SHADY_SKY = 0.5
"""Of open shade, such as the north side of a building or below a tall tree: share of the diffuse light, of the wind
and of the sky that are left of an open place. Our judgement. [-]"""

DRY_WATER_SHARE = 0.15
DRY_J_M3K = SOLIDS_J_M3K + 4.188e6 * DRY_WATER_SHARE
DRY_CONDUCTIVITY_W_MK = 0.3
"""Of container mix that was not watered: volume share of water, heat capacity, conductivity; moist values in
`physics.rootball`. From memory. [-], [J/(m³ K)], [W/(m K)]"""

LEAST_WIND_M_S = 0.3
"""Air over sunlit surfaces is never quite still. Our judgement. [m/s]"""

MIXED_LAYER_M = 1000.0
"""Depth of the air that sunny ground stirs, as weather models take it with [4]_. [m]"""

SUN_TO_AIR = 0.25
"""Share of the sun that goes into the air as sensible heat: half of the net radiation, which is half of the sun. Our
judgement; the gusts go with its cube root. [-]"""


@dataclass(frozen=True, eq=False)
class Daylight:
    """What one tree has around it by day.

    Attributes
    ----------
    t_air_c, t_dew_c, wind_m_s : ndarray [member, hour]
        At the crown. [°C], [°C], [m/s]
    beam_w_m2 : ndarray [member, hour]
        Sun from the disc itself on a surface that faces it, in the shade of the surroundings. [W/m²]
    diffuse_w_m2 : ndarray [member, hour]
        Light of the sky on level ground here. [W/m²]
    thrown_w_m2 : ndarray [member, hour]
        Sun that walls throw at the tree. [W/m²]
    ground_sun_w_m2 : ndarray [member, hour]
        All sun on level ground here. [W/m²]
    above_w_m2, below_w_m2 : ndarray [member, hour]
        Longwave from the upper and the lower hemisphere. [W/m²]
    elevation_deg, azimuth_deg : ndarray [hour]
        Where the sun stands. [degrees]
    """

    t_air_c: FloatArray
    t_dew_c: FloatArray
    wind_m_s: FloatArray
    beam_w_m2: FloatArray
    diffuse_w_m2: FloatArray
    thrown_w_m2: FloatArray
    ground_sun_w_m2: FloatArray
    above_w_m2: FloatArray
    below_w_m2: FloatArray
    elevation_deg: FloatArray
    azimuth_deg: FloatArray

    @property
    def longwave_w_m2(self) -> FloatArray:
        """Mean of both hemispheres. [W/m²]"""
        return 0.5 * (self.above_w_m2 + self.below_w_m2)

    @property
    def spread_w_m2(self) -> FloatArray:
        """Light that comes from all round, mean over the directions of a body. [W/m²]"""
        return 0.5 * (self.diffuse_w_m2 + GROUND_ALBEDO * self.ground_sun_w_m2) + self.thrown_w_m2


def under_cloth(light: Daylight, stops: float) -> Daylight:
    """Hang shade cloth over a tree, open at its sides.

    Parameters
    ----------
    light : Daylight
    stops : float
        Share of light that the cloth stops, 0 to 1.

    Returns
    -------
    Daylight
        With less sun, less wind, and threads instead of a part of the sky. The air is taken to be the same.

    Raises
    ------
    ValueError
        If `stops` is outside its range.
    """
    if not 0.0 <= stops <= 1.0:
        raise ValueError(f"stops must be from 0 to 1, got {stops!r}")
    through = 1.0 - stops
    threads = black_body_w_m2(light.t_air_c + CLOTH_WARMER_K * light.ground_sun_w_m2 / 1000.0)
    # The ground that leaves see lies under the cloth as well: what it had beyond the air's warmth shrinks with the sun.
    air = black_body_w_m2(light.t_air_c)
    return replace(
        light,
        wind_m_s=light.wind_m_s * (1.0 - CLOTH_WIND * stops),
        beam_w_m2=light.beam_w_m2 * through,
        diffuse_w_m2=light.diffuse_w_m2 * through,
        thrown_w_m2=light.thrown_w_m2 * through,
        ground_sun_w_m2=light.ground_sun_w_m2 * through,
        above_w_m2=light.above_w_m2 * through + threads * stops,
        below_w_m2=air + (light.below_w_m2 - air) * through,
    )


def in_open_shade(light: Daylight) -> Daylight:
    """Stand a tree in open shade: no sun from the disc, half of the sky, no wall that the sun has warmed."""
    air = black_body_w_m2(light.t_air_c)
    sky = light.diffuse_w_m2 * SHADY_DIFFUSE
    return replace(
        light,
        wind_m_s=light.wind_m_s * SHADY_WIND,
        beam_w_m2=np.zeros_like(light.beam_w_m2),
        diffuse_w_m2=sky,
        thrown_w_m2=np.zeros_like(light.thrown_w_m2),
        ground_sun_w_m2=sky,
        above_w_m2=SHADY_SKY * np.minimum(light.above_w_m2, air) + (1.0 - SHADY_SKY) * air,
        below_w_m2=air,
    )


@checked(vpd_kpa=Range(0.0, 75.0, "kPa"), sun_w_m2=Range(0.0, 3000.0, "W/m²"), water=SHARE)
def stomatal_conductance(vpd_kpa: ArrayLike, sun_w_m2: ArrayLike, water: ArrayLike = 1.0) -> FloatArray:
    """Give how well the pores of a leaf let water vapour out.

    Parameters
    ----------
    vpd_kpa : array_like, broadcast
        Vapour pressure deficit of the air. [kPa]
    sun_w_m2 : array_like, broadcast
        On the leaf. [W/m²]
    water : array_like, broadcast
        1 with moist roots, 0 in drought: the worst case, pores shut. [0-1]

    Returns
    -------
    ndarray, broadcast shape
        Both sides together; falls as the air gets drier. [mol/(m² s)]
    """
    vpd, sun, wet = (np.asarray(value, dtype=np.float64) for value in (vpd_kpa, sun_w_m2, water))
    opened = STOMATA_MOST / (1.0 + vpd / STOMATA_VPD_KPA) * sun / (sun + STOMATA_LIGHT_W_M2)
    return np.asarray(STOMATA_SHUT + wet * opened)


def sunlit_leaf_c(light: Daylight, leaf_width_m: float, *, water: float = 1.0) -> FloatArray:
    """Give the temperature of a leaf that faces the sun.

    Parameters
    ----------
    light : Daylight
    leaf_width_m : float
        Across the wind. [m]
    water : float
        1 with moist roots, 0 with pores shut. [0-1]

    Returns
    -------
    ndarray [member, hour]
        `physics.tissue.leaf_temperature` of the worst leaf of the crown: sun and sky on its face, the ground's light on
        its back, what walls throw on either. [°C]
    """
    sun = light.beam_w_m2 + light.diffuse_w_m2 + GROUND_ALBEDO * light.ground_sun_w_m2 + light.thrown_w_m2
    dry = np.maximum(saturation_vapour_pressure(light.t_air_c) - saturation_vapour_pressure(light.t_dew_c), 0.0)
    return leaf_temperature(
        light.t_air_c,
        light.t_dew_c,
        np.maximum(light.wind_m_s, LEAST_WIND_M_S),
        light.longwave_w_m2,
        np.minimum(sun, 1500.0),
        leaf_width_m,
        absorptance=LEAF_ABSORBS,
        stomatal_mol_m2_s=stomatal_conductance(dry, sun, water),
        deposition=False,
    )


def sunlit_peel_c(
    light: Daylight, diameter_m: float, lit: ArrayLike = 1.0, *, absorptance: float = PEEL_ABSORBS
) -> FloatArray:
    """Give the temperature of the sunny pole of a fruit.

    Parameters
    ----------
    light : Daylight
    diameter_m : float
        Greater than 0. [m]
    lit : array_like [hour]
        Share of the sun that passes the tree's own leaves: 1 at the outside of the crown. [0-1]
    absorptance : float
        Of its peel. [0-1]

    Returns
    -------
    ndarray [member, hour]
        [°C]

    Notes
    -----
    Sun on a sphere is ``max(cos θ, 0) = 1/4 P0 + 1/2 P1 + 5/16 P2 - 3/32 P4 + …``; a field P_l meets the surface
    exchange H and the conduction ``l k / r`` through the flesh, so that the pole is warmer than without sun by the
    sum of ``a_l α S / (H + l k / r)``. Steady: a fruit of 7 cm follows in some 40 minutes; one of 14 cm takes more than
    an hour, and what is told of it is a kelvin or two too hot.
    """
    calm, exchange = _without_sun(light, diameter_m)
    shares = _sphere()
    per = FLESH_W_MK / (0.5 * diameter_m)
    sunny = sum(share / (exchange + order * per) for order, share in shares)
    beam = light.beam_w_m2 * np.asarray(lit)
    return np.asarray(calm + absorptance * (beam * sunny + light.spread_w_m2 / exchange))


def sunlit_bark_c(
    light: Daylight, diameter_m: float, lit: ArrayLike = 1.0, *, absorptance: float = BARK_ABSORBS
) -> FloatArray:
    """Give the temperature of the sunny side of a trunk.

    Parameters
    ----------
    light : Daylight
    diameter_m : float
        Greater than 0. [m]
    lit : array_like [hour]
        Share of the sun that passes the tree's own crown (`own_shade`). [0-1]
    absorptance : float
        `BARK_ABSORBS`, or `PAINT_ABSORBS` under whitewash. [0-1]

    Returns
    -------
    ndarray [member, hour]
        [°C]

    Notes
    -----
    As `sunlit_peel_c`, round an upright cylinder: ``max(cos φ, 0) = 1/π + 1/2 cos φ + 2/(3π) cos 2φ - 2/(15π) cos 4φ
    + …`` with the conduction ``n k / r``. Steady: too warm by a few kelvin for trunks thicker than a hand, which are
    warmed through only in hours; their bark is the thicker one, too.
    """
    calm, exchange = _without_sun(light, diameter_m)
    per = WOOD_W_MK / (0.5 * diameter_m)
    sunny = sum(share / (exchange + order * per) for order, share in _cylinder())
    facing = light.beam_w_m2 * np.cos(np.radians(np.clip(light.elevation_deg, 0.0, 90.0))) * np.asarray(lit)
    return np.asarray(calm + absorptance * (facing * sunny + light.spread_w_m2 / exchange))


@checked(
    elevation_deg=Range(-90.0, 90.0, "degrees"),
    base_m=Range(0.0, 40.0, "m"),
    crown_diameter_m=Range(0.0, 30.0, "m", low_open=True),
    foliage_share=SHARE,
)
def own_shade(
    elevation_deg: ArrayLike, base_m: ArrayLike, crown_diameter_m: ArrayLike, foliage_share: ArrayLike
) -> FloatArray:
    """Give the share of sun that reaches trunk or pot below a tree's own crown.

    Parameters
    ----------
    elevation_deg : array_like
        Of the sun. [degrees]
    base_m : array_like, broadcast
        Height of the lowest leaves above what is looked at, 0 or more. [m]
    crown_diameter_m : array_like, broadcast
        Greater than 0. [m]
    foliage_share : float
        Of light that the crown stops. [0-1]

    Returns
    -------
    ndarray
        1 where the sun comes in below the crown, else what the leaves let through. [-]
    """
    elevation = np.asarray(elevation_deg, dtype=np.float64)
    base, across, stopped = (np.asarray(value, dtype=np.float64) for value in (base_m, crown_diameter_m, foliage_share))
    highest = np.degrees(np.arctan2(base, 0.5 * across))
    return np.where(elevation < highest, 1.0, 1.0 - stopped)


@checked(open_sun_w_m2=Range(0.0, 1500.0, "W/m²"), t_air_c=Range(-60.0, 65.0, "°C"))
def stirred_wind_m_s(open_sun_w_m2: ArrayLike, t_air_c: ArrayLike) -> FloatArray:
    """Give the wind of the gusts that the sun stirs up over open ground when none blows.

    Parameters
    ----------
    open_sun_w_m2 : array_like, broadcast
        Global sun on level open ground. [W/m²]
    t_air_c : array_like, broadcast
        [°C]

    Returns
    -------
    ndarray, broadcast shape
        At 10 m; 0 without sun. NaN gives NaN. [m/s]

    Notes
    -----
    The convective velocity ``w* = (g/T H/(ρ c) z)^(1/3)`` [4]_: about 1.8 m/s at a clear noon. It adds to the mean wind
    as the squares do. Mean winds of calm noons are near zero because the gusts come from all sides; sunlit skins
    are cooled by them all the same.
    """
    sun, air = np.asarray(open_sun_w_m2, dtype=np.float64), np.asarray(t_air_c, dtype=np.float64)
    kelvin = air + ZERO_C_K
    heat = SUN_TO_AIR * sun / (1005.0 * 353.0 / kelvin)  # density of air at sea level: 353/T
    return np.asarray(np.cbrt(9.81 / kelvin * heat * MIXED_LAYER_M))


@checked(elevation_deg=Range(-90.0, 90.0, "degrees"), outside_w_m2=Range(0.0, 1500.0, "W/m²"))
def brightest_beam(elevation_deg: ArrayLike, outside_w_m2: ArrayLike) -> FloatArray:
    """Give how strong the sun can be in clean dry air.

    Parameters
    ----------
    elevation_deg : array_like, broadcast
        Of the sun. [degrees]
    outside_w_m2 : array_like, broadcast
        Irradiance outside the atmosphere facing the sun. [W/m²]

    Returns
    -------
    ndarray, broadcast shape
        On a surface that faces it; 0 with the sun below the horizon. [W/m²]

    Notes
    -----
    ``I0 CLEAREST^(m^0.678)``, form of Meinel and Meinel (1976), with the air mass *m* of Kasten and Young (1989);
    both from memory. An hour's light on level ground over the sine of a low sun would come out brighter than any sun.
    """
    elevation, outside = np.asarray(elevation_deg, dtype=np.float64), np.asarray(outside_w_m2, dtype=np.float64)
    height = np.maximum(elevation, 0.0)
    mass = 1.0 / (np.sin(np.radians(height)) + 0.50572 * (height + 6.07995) ** -1.6364)
    beam = outside * CLEAREST ** (mass**0.678)
    return np.where(elevation < 0.0, 0.0 * beam, beam)


CLEAREST = 0.75
"""Share of the beam that clean dry air lets through from the zenith; 0.7 is usual. From memory. [-]"""


def ground_c(light_w_m2: ArrayLike, t_air_c: ArrayLike, wind_m_s: ArrayLike, surface: str) -> FloatArray:
    """Give about how hot the ground's surface is by day.

    Parameters
    ----------
    light_w_m2, t_air_c, wind_m_s : array_like, broadcast
        Sun on it [W/m²], air [°C], wind [m/s].
    surface : str
        One of `GROUND_KEEPS`.

    Returns
    -------
    ndarray, broadcast shape
        [°C]

    Raises
    ------
    ValueError
        For another surface.
    """
    if surface not in GROUND_KEEPS:
        raise ValueError(f"surface must be one of {', '.join(GROUND_KEEPS)}, got {surface!r}")
    air = np.asarray(t_air_c, dtype=np.float64)
    wind = np.maximum(np.asarray(wind_m_s, dtype=np.float64), LEAST_WIND_M_S)
    exchange = forced(GROUND_SIZE_M) * np.sqrt(wind) + free(GROUND_SIZE_M) * WARMED_K**0.25 + _radiated(air + WARMED_K)
    kept = GROUND_KEEPS[surface] * (1.0 - GROUND_ALBEDO) * np.asarray(light_w_m2, dtype=np.float64)
    return np.asarray(air + kept / exchange)


def root_ball_c(
    light: Daylight, ball: RootBall, lit: ArrayLike, absorptance: float, foliage_share: float
) -> FloatArray:
    """Give the temperature of the hottest quarter of a container's rim, where its roots crowd.

    Parameters
    ----------
    light : Daylight
        Hours in a row.
    ball : RootBall
        Of `physics.rootball.root_ball`: the night's rim is cut here into four quarters.
    lit : array_like [hour]
        Share of the sun that reaches the pot below the crown. [0-1]
    absorptance : float
        Of its wall. [0-1]
    foliage_share : float
        Of light that the crown keeps from the top of the mix. [0-1]

    Returns
    -------
    ndarray [member, hour]
        [°C]

    Notes
    -----
    Four quarters of the rim, looking north, east, south and west, and the core: each quarter exchanges through the
    wall with air that is warmed by what the wall takes in (sol-air temperature), with its neighbours and the core.
    The exchange of the wall is held at that of the mean wind, so that the system is linear and steps of half an hour,
    backward Euler, are one product of matrices. Dew, freezing and evaporation are left out: clay and fabric that are
    wet stay cooler.
    """
    wind = np.maximum(light.wind_m_s, LEAST_WIND_M_S)
    radiated = _radiated(light.t_air_c)
    skin = ball.side_forced * np.sqrt(wind) + ball.side_free + radiated
    beam = light.beam_w_m2 * np.cos(np.radians(np.clip(light.elevation_deg, 0.0, 90.0))) * np.asarray(lit)
    excess = EMISSIVITY * (light.longwave_w_m2 - black_body_w_m2(light.t_air_c))
    around = light.t_air_c + (excess + absorptance * light.spread_w_m2) / skin
    quarters = [
        around + absorptance * beam * _on_quarter(light.azimuth_deg - looks) / skin
        for looks in (0.0, 90.0, 180.0, 270.0)
    ]
    gap = 1.0 - foliage_share
    top = light.t_air_c + GROUND_KEEPS["bare"] * (1.0 - GROUND_ALBEDO) * gap * light.ground_sun_w_m2 / skin
    wall = 0.25 * ball.side_m2 / (1.0 / float(np.nanmean(skin)) + ball.wall_m2kw)
    drives = np.stack(
        [wall * one + 0.25 * ball.top_rim * top + 0.25 * ball.floor_rim * light.t_air_c for one in quarters]
    )
    core = ball.top_core * top + ball.floor_core * light.t_air_c
    drives = np.concatenate([drives, core[None]])  # [node, member, hour]
    capacity = np.array([0.25 * ball.rim_j_k] * 4 + [ball.core_j_k])
    losses = np.zeros((5, 5))
    losses[:4, :4] = np.eye(4) * (wall + 0.25 * (ball.top_rim + ball.floor_rim))
    losses[4, 4] = ball.top_core + ball.floor_core
    ring = 0.25 * ball.between * RING_OVER_CORE
    for node in range(4):
        for other, by in (((node + 1) % 4, ring), ((node - 1) % 4, ring), (4, 0.25 * ball.between)):
            losses[node, node] += by
            losses[node, other] -= by
        losses[4, 4] += 0.25 * ball.between
        losses[4, node] -= 0.25 * ball.between
    step_s = 3600.0 / STEPS_PER_HOUR
    stride = np.linalg.inv(np.eye(5) + step_s * losses / capacity[:, None])
    pushed = np.nan_to_num(step_s * drives / capacity[:, None, None])
    # Begins in balance with the mean of the first day.
    now = np.linalg.solve(losses, np.nan_to_num(drives[:, :, :24]).mean(axis=2))
    found = np.empty_like(light.t_air_c)
    for hour in range(light.t_air_c.shape[-1]):
        for _ in range(STEPS_PER_HOUR):
            now = stride @ (now + pushed[:, :, hour])
        found[:, hour] = now[:4].max(axis=0)
    return np.where(np.isnan(light.t_air_c), np.nan, found)


def _on_quarter(from_middle_deg: FloatArray) -> FloatArray:
    """Give the mean of the sun over a quarter of an upright wall that is round, over that on a flat one. [-]"""
    aside = np.radians(np.abs((np.asarray(from_middle_deg) + 180.0) % 360.0 - 180.0))
    first, last = np.minimum(aside - 0.25 * pi, 0.5 * pi), np.minimum(aside + 0.25 * pi, 0.5 * pi)
    return np.asarray((np.sin(last) - np.sin(first)) / (0.5 * pi))


STEPS_PER_HOUR = 2
RING_OVER_CORE = 0.3
"""Conductance between neighbouring quarters of the rim over that between a quarter and the core: long and narrow
against short and wide (0.29 of the radius thick, a quarter of the way round). [-]"""


def black_body_w_m2(t_c: ArrayLike) -> FloatArray:
    """Give what a black surface sends out. [W/m²]"""
    return np.asarray(STEFAN_BOLTZMANN * (np.asarray(t_c, dtype=np.float64) + ZERO_C_K) ** 4)


def _radiated(t_c: FloatArray) -> FloatArray:
    """Exchange by longwave per kelvin. [W/(m² K)]"""
    return np.asarray(4.0 * EMISSIVITY * STEFAN_BOLTZMANN * (t_c + ZERO_C_K) ** 3)


def _without_sun(light: Daylight, diameter_m: float) -> tuple[FloatArray, FloatArray]:
    """Temperature of a round body that no sun warms, and its exchange with all around. [°C], [W/(m² K)]"""
    if not 0.0 < diameter_m <= 3.0:
        raise ValueError(f"diameter_m must be greater than 0 and at most 3 m, got {diameter_m!r}")
    wind = np.maximum(light.wind_m_s, LEAST_WIND_M_S)
    by_air = forced(diameter_m) * np.sqrt(wind) + free(diameter_m) * WARMED_K**0.25
    calm = body_temperature(light.t_air_c, light.longwave_w_m2, by_air, emissivity=EMISSIVITY)
    return calm, by_air + _radiated(calm + 0.5 * WARMED_K)


def _sphere() -> list[tuple[int, float]]:
    """Orders and weights of max(cos θ, 0) in Legendre polynomials, at its pole."""
    return [(0, 1 / 4), (1, 1 / 2), (2, 5 / 16), (4, -3 / 32), (6, 13 / 256), (8, -17 / 512), (10, 49 / 2048)]


def _cylinder() -> list[tuple[int, float]]:
    """Orders and weights of max(cos φ, 0) in cosines, at the line that faces the sun."""
    even = [(2 * m, 2.0 * (-1) ** (m + 1) / (pi * (4 * m * m - 1))) for m in range(1, 12)]
    return [(0, 1 / pi), (1, 1 / 2), *even]
