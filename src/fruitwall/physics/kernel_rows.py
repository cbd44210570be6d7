"""Where everything stands in the kernel's flat arrays: one place for the offsets of rows and columns.

Module constants, so that the compiler knows them and can prove that rows do not overlap. Those that index lanes are
unsigned: with a signed index Numba allows for counting from the end, and the loops do not become vector loops.
"""

from __future__ import annotations

import numpy as np

TERMS = 6
"""Relaxing terms of the ground."""

LANES = 64
"""Distance of two rows: the most members in one block."""


def _offsets(count: int) -> tuple[np.uint64, ...]:
    """Offsets of so many rows."""
    return tuple(np.uint64(row * LANES) for row in range(count))


# Forcing [block, step, row]: yard air [°C], vapour pressure [kPa], open wind at 10 m [m/s], longwave from the sky, beam
# and diffuse sun on level ground [W/m²], strength of radiative cooling [0-1], longwave of roofs [W/m²].
(F_AIR, F_VAPOUR, F_WIND, F_SKY, F_BEAM, F_DIFFUSE, F_COOLING, F_ROOF) = _offsets(8)
FORCING_SIZE = 8 * LANES

# State and scratch.
STATE_ROWS = 49
(
    X_LEAF, X_AIR, X_COVER, X_SOIL,  # solution of this step
    X_LEAF0, X_AIR0, X_COVER0, X_SOIL0,  # of the step before
    X_TWIG, X_WOOD, X_FRUIT,  # bodies with heat capacity
    X_OPEN0, X_HALF0, X_SHADE0,  # radiation absorbed by exposed, half shaded and shaded wood, step before
    X_OPEN, X_HALF, X_SHADE,  # the same, now
    X_RIM, X_CORE,  # root ball: temperatures
    X_RIM_H, X_CORE_H,  # root ball: heat above unfrozen at 0 °C [J]
    X_TA, X_EA, X_ROOT_U,  # spot: air temperature, vapour pressure, root of the wind
    X_LENV, X_EWALL, X_TWALL, X_EWALL_LOW,  # longwave from above; terms of the walls
    X_SUN, X_RETURN, X_COLD, X_THAW,  # sun from above; the ground's answer, see `kernel_lanes.ground_answer`
    X_DOWN,  # longwave on the leaf's upper side
    X_Z0, X_Z1, X_Z2, X_Z3, X_Z4, X_Z5,  # the ground's terms
    X_FRONT0, X_FRONT, X_BELOW, X_ICE,  # what the terms see as surface; heat from below; latent heat of frozen soil
    X_FRUIT_ICE, X_BARREL, X_BARREL_H,  # latent heat of frozen fruit; water in barrels: temperature and heat
    X_HARD,  # 1 where the ground is frozen hard from before
    X_BOUNCE,  # sun that walls throw back from above
    X_LEAK,  # how much leakier covers are than thought
) = _offsets(STATE_ROWS)  # fmt: skip
STATE_SIZE = STATE_ROWS * LANES

# History of one case [step, row]; the first five are the tissues.
(H_LEAF, H_TWIG, H_WOOD, H_FRUIT, H_ROOT, H_AIR, H_COVER, H_SOIL, H_DOWN) = _offsets(9)
HISTORY_ROWS = 9
H_TISSUES = (H_LEAF, H_TWIG, H_WOOD, H_FRUIT, H_ROOT)
HISTORY_SIZE = HISTORY_ROWS * LANES

# Parameters of one case in one phase.
(
    P_COVERED, P_SKY, P_ROOF, P_AIR_VIEW, P_AIR_VIEW_LOW, P_WALL_LOW,
    P_COOLING, P_WARMER, P_WIND, P_CALM2, P_DIFFUSE,
    P_FOLIAGE, P_LEAF_A, P_LEAF_B, P_IN_WIND_MUL, P_IN_WIND_ADD,
    P_SOIL_A, P_SOIL_B, P_COVER_IN_A, P_COVER_IN_B, P_COVER_OUT_A, P_COVER_OUT_B,
    P_COVER_AREA, P_EXCHANGE0, P_EXCHANGE1, P_WALL_AIR, P_WALL_SHARE,
    P_THROUGH, P_HOLD, P_EMIT_IN, P_REFLECT, P_OUT_ENV, P_OUT_AIR, P_OUT_SUM, P_OUT_FACTOR,
    P_SUN_THROUGH, P_SUN_COVER, P_SUN_AIR, P_ALBEDO,
    P_HEATER, P_THERMOSTAT, P_LAMP_LEAF, P_LAMP_AIR, P_LAMP_COVER, P_LAMP_SOIL,
    P_DEPOSITION, P_STOMATA, P_COVER_DEPOSITION, P_MOIST,
    P_CONTACT_LEAF, P_CONTACT_COVER, P_CONTACT_AIR,
    P_FROZEN_K, P_FROZEN_PER,  # freezing soil: conductivity frozen (0: does not freeze), depth per latent heat [m³/J]
    P_STIFF,  # conductance of a film of ice, or P_OWN where nothing freezes [W/(m² K)]
    P_BARREL,  # exchange of water in barrels with the covered air [W/(m² K)]
    P_DIRECT, P_OWN,  # heat into the ground per kelvin of its surface: at once, and over a step
    P_DECAY,  # first of the ground's terms: share left, response to old and new surface, weight, rest; each TERMS long
) = range(59)  # fmt: skip
P_OLD = P_DECAY + TERMS
P_NEW = P_OLD + TERMS
P_WEIGHT = P_NEW + TERMS
P_REST = P_WEIGHT + TERMS
P_LAG = P_REST + TERMS  # of the start: how much warmer the depths are than the surface
PARAMETERS = P_LAG + TERMS

# Parameters of one tree's bodies.
(
    B_TWIG_C, B_TWIG_A, B_TWIG_B,  # heat capacity per surface [J/(m² K)], forced and free exchange
    B_WOOD_C, B_WOOD_A, B_WOOD_B,
    B_FRUIT_C, B_FRUIT_A, B_FRUIT_B,
    B_SHADE,  # share of the sky that shaded wood sees through the foliage
    B_POTTED,
    B_SKIN_A, B_SKIN_0, B_WALL_R, B_RIM_AREA,  # pot: exchange with the air, wall resistance, area of the rim's skin
    B_TOP_CORE, B_TOP_RIM, B_FLOOR_CORE, B_FLOOR_RIM, B_BETWEEN,  # [W/K]
    B_RIM_C, B_CORE_C, B_RIM_L, B_CORE_L,  # heat capacities [J/K] and heats of freezing [J]
    B_FRUIT_FREEZES, B_FRUIT_L,  # where fruit freezes [°C], and the heat that frees [J/m²]
    B_BARREL_C, B_BARREL_L, B_BARREL_G, B_BARREL_SUN,  # water in barrels, per m² of ground; sun caught over level sun
    B_ROOT_SOIL,  # weight of the surface in the temperature at root depth
    B_ROOT_Z,  # first of the weights of the ground's terms
) = range(32)  # fmt: skip
BODY_PARAMETERS = B_ROOT_Z + TERMS
