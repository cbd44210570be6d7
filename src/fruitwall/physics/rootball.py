"""How cold roots get in a container: a rim and a core that lose heat to air, sky and ground.

Roots crowd at the wall of a container, so the rim is what counts. Water in the mix freezes at 0 °C and holds the
temperature there until it is gone: a moist 20 L pot holds some 2 MJ of it, more than a frosty night takes.

Sources: conduction in a cylinder (Carslaw & Jaeger 1959, 7.7) judges the two nodes in the tests; heat of container
mixes by the mixture rule ``1.926 (1 - n) + 4.188 θ`` MJ/(m³ K) as for soil, with mineral-poor mixes nearer to
``0.3 + 4.188 θ``; conductivity of moist pine-bark and peat mixes 0.4-0.6 W/(m K) (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log, pi

from fruitwall.physics.body import Body, PotWall
from fruitwall.physics.convection import forced, free

HEIGHT_OVER_DIAMETER = 0.9
"""Of common nursery containers (tapered ones as the cylinder of equal volume and height)."""

RIM_SHARE = 0.5
"""Share of the volume in the rim: the outer 29 % of the radius, 4 to 6 cm in a 30 cm pot."""

CONDUCTIVITY_W_MK = 0.6
"""Of a moist container mix (from memory; a moist loam has 1.2). [W/(m K)]"""

WATER_SHARE = 0.35
"""Volume share of water after a day's drainage (container mixes 0.3-0.5). [-]"""

SOLIDS_J_M3K = 0.4e6
"""Heat capacity of bark, peat and perlite by volume. [J/(m³ K)]"""

FREEZING_J_M3 = 334e3 * 1000.0
"""Heat of freezing by volume of water. [J/m³]"""

FREEZES = 0.85
"""Share of the water that freezes within a few tenths of a degree of 0 °C; the rest stays in roots and fine pores."""

WALL_RESISTANCE: dict[PotWall, float] = {
    "plastic": 0.01,
    "clay": 0.015,
    "timber": 0.15,
    "fabric": 0.01,
    "metal": 0.0005,
}
"""Of the container's wall: 2 mm of plastic, 12 mm of clay, 20 mm of timber, felt, sheet (thickness over conductivity).
[m² K/W]"""

FLOOR_RESISTANCE = 0.10
"""Between pot and what it stands on: feet, drainage holes, an air gap. [m² K/W]"""

SURFACE_W_M2K = 8.0
"""Exchange of the top of the mix with air and sky, mulch and canopy over it. [W/(m² K)]"""

STILL_K = 3.0
"""Difference at which the free exchange of the pot's side is taken. [K]"""


@dataclass(frozen=True)
class RootBall:
    """Rim and core of one container.

    Attributes
    ----------
    diameter_m, height_m : float
        Of the cylinder. [m]
    side_m2 : float
        Area of its wall. [m²]
    wall_m2kw : float
        Resistance of the wall and of half the rim. [m² K/W]
    side_forced, side_free : float
        Exchange of the wall: times the root of the wind, and in still air. [W/(m² K)]
    top_rim, top_core, floor_rim, floor_core, between : float
        Conductances to the air above, to the ground below and between rim and core. [W/K]
    rim_j_k, core_j_k : float
        Heat capacities. [J/K]
    rim_freezing_j, core_freezing_j : float
        Heat that freezing sets free. [J]
    """

    diameter_m: float
    height_m: float
    side_m2: float
    wall_m2kw: float
    side_forced: float
    side_free: float
    top_rim: float
    top_core: float
    floor_rim: float
    floor_core: float
    between: float
    rim_j_k: float
    core_j_k: float
    rim_freezing_j: float
    core_freezing_j: float


def root_ball(
    volume_l: float,
    wall: PotWall = "plastic",
    *,
    conductivity_w_mk: float = CONDUCTIVITY_W_MK,
    capacity_j_m3k: float = SOLIDS_J_M3K + 4.188e6 * WATER_SHARE,
    freezing_j_m3: float = FREEZING_J_M3 * WATER_SHARE * FREEZES,
) -> RootBall:
    """Give the two nodes of a container.

    Parameters
    ----------
    volume_l : float
        True volume, greater than 0. [L]
    wall : {"plastic", "clay", "timber", "fabric", "metal"}
        Its material; clay that evaporates water is colder than this says.
    conductivity_w_mk, capacity_j_m3k, freezing_j_m3 : float
        Of the moist mix. [W/(m K)], [J/(m³ K)], [J/m³]

    Returns
    -------
    RootBall

    Raises
    ------
    ValueError
        If the volume is not greater than 0 or the wall unknown.

    Notes
    -----
    The rim is a shell with half the volume. Its temperature is that of the ring which halves the shell's volume, which
    is where the resistances to wall and core are counted from; the core's that of its own halving ring.
    """
    if not 0 < volume_l <= 2000:
        raise ValueError(f"volume_l must be greater than 0 and at most 2000 L, got {volume_l!r}")
    if wall not in WALL_RESISTANCE:
        raise ValueError(f"wall must be one of {', '.join(WALL_RESISTANCE)}, got {wall!r}")
    volume = volume_l / 1000.0
    diameter = (4 * volume / (pi * HEIGHT_OVER_DIAMETER)) ** (1 / 3)
    height = HEIGHT_OVER_DIAMETER * diameter
    radius = diameter / 2
    rim_ring, core_ring = radius * (1 - RIM_SHARE / 2) ** 0.5, radius * ((1 - RIM_SHARE) / 2) ** 0.5
    to_wall = radius * log(radius / rim_ring) / conductivity_w_mk
    between = 2 * pi * height * conductivity_w_mk / log(rim_ring / core_ring)
    floor = pi * radius**2
    down = 1.0 / (FLOOR_RESISTANCE + height / 4 / conductivity_w_mk)
    up = 1.0 / (1.0 / SURFACE_W_M2K + height / 4 / conductivity_w_mk)
    return RootBall(
        diameter_m=diameter,
        height_m=height,
        side_m2=pi * diameter * height,
        wall_m2kw=WALL_RESISTANCE[wall] + to_wall,
        side_forced=forced(diameter),
        side_free=free(diameter) * STILL_K**0.25,
        top_rim=RIM_SHARE * floor * up,
        top_core=(1 - RIM_SHARE) * floor * up,
        floor_rim=RIM_SHARE * floor * down,
        floor_core=(1 - RIM_SHARE) * floor * down,
        between=between,
        rim_j_k=RIM_SHARE * volume * capacity_j_m3k,
        core_j_k=(1 - RIM_SHARE) * volume * capacity_j_m3k,
        rim_freezing_j=RIM_SHARE * volume * freezing_j_m3,
        core_freezing_j=(1 - RIM_SHARE) * volume * freezing_j_m3,
    )


def root_ball_of(body: Body) -> RootBall:
    """Give the root ball of a potted plant."""
    return root_ball(body.pot_volume_l, body.pot_wall)
