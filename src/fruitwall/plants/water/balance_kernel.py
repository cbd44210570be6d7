"""The water balance, compiled: one row of hours after the other, each step by the same arithmetic.

No fast-math: a season in one batch and the same season hour by hour give the same bits.
"""

from __future__ import annotations

from typing import Any

import numba
import numpy as np

from fruitwall.plants.water.salt import GRAMS_PER_LITRE
from fruitwall.plants.water.soil import P_HIGHEST, P_LOWEST, P_REFERENCE_MM_D, P_SLOPE_D_MM

# Places in the numbers of a zone.
CAPACITY, READY, HELD, AIR, INFILTRATION, CATCH, DRAINS, CANOPY, STEP_H, AREA, STAND_STILL = range(11)
# Places in the state.
DEPLETION, CROWN, SALT = range(3)
# Places in the results.
R_DEPLETION, R_KS, R_ET, R_DRAINAGE, R_CAUGHT, R_WET, R_RUNOFF, R_SALT, R_LEACHED, R_IN = range(10)
RESULTS = 10


@numba.njit(nogil=True, cache=True, error_model="numpy")
def march(
    zone: Any, state: Any, et: Any, rain: Any, irrigation: Any, demand: Any, roof: Any, ec: Any, out: Any
) -> None:
    """March all rows [row, step] through all steps into results [place, row, step]; the state is changed in place."""
    capacity, area = zone[CAPACITY], zone[AREA]
    tabled = zone[READY] / capacity
    for row in range(et.shape[0]):
        d, crown, salt = state[DEPLETION, row], state[CROWN, row], state[SALT, row]
        for t in range(et.shape[1]):
            wanted, fallen, given = et[row, t], rain[row, t], irrigation[row, t]
            if np.isnan(wanted + fallen + given):
                for place in range(RESULTS):
                    out[place, row, t] = np.nan
                if zone[STAND_STILL] == 0.0:
                    d, crown, salt = np.nan, np.nan, np.nan
                continue
            fallen *= 1.0 - roof[row, t]
            caught = min(fallen, zone[CANOPY] - crown)
            crown += caught
            wet = min(crown, wanted)
            crown -= wet
            left = wanted - wet

            p = tabled
            if not np.isnan(demand[row, t]):
                p = min(max(tabled + P_SLOPE_D_MM * (P_REFERENCE_MM_D - demand[row, t]), P_LOWEST), P_HIGHEST)
            ks = 1.0
            if d > p * capacity:
                ks = max((capacity - d) / ((1.0 - p) * capacity), 0.0)

            through = (fallen - caught) * zone[CATCH]
            # What is given is given slowly or stands in its basin; only rain can be too fast for the ground.
            soaked = min(through, zone[INFILTRATION] * zone[STEP_H])
            runoff = fallen - caught - soaked
            taken = soaked + given
            used = max(min(ks * left, capacity - d + taken), 0.0)
            d = d + used - taken
            drainage = 0.0
            if d < 0.0:
                if zone[DRAINS] != 0.0:
                    drainage, d = -d, 0.0
                elif d < -zone[AIR]:
                    runoff += -d - zone[AIR]
                    d = -zone[AIR]

            brought = 0.0
            if given > 0.0:
                brought = given * area * ec[row, t] * GRAMS_PER_LITRE
            salt += brought
            leached = 0.0
            if drainage > 0.0:
                leached = salt * (drainage / (zone[HELD] - d + drainage))
            salt -= leached

            out[R_DEPLETION, row, t] = d
            out[R_KS, row, t] = ks
            out[R_ET, row, t] = used
            out[R_DRAINAGE, row, t] = drainage
            out[R_CAUGHT, row, t] = caught
            out[R_WET, row, t] = wet
            out[R_RUNOFF, row, t] = runoff
            out[R_SALT, row, t] = salt
            out[R_LEACHED, row, t] = leached
            out[R_IN, row, t] = brought
        state[DEPLETION, row], state[CROWN, row], state[SALT, row] = d, crown, salt
