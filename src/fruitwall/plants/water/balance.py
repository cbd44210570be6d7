"""How the water in the root zone comes and goes, hour by hour or day by day.

FAO-56 eq. 85 with Ks of eq. 84, for ground and pots: rain less what the crown catches, irrigation, use, what runs off
and what drains, and the salt that comes with the water. Water and salt are conserved, and a stretch in one batch
equals the same stretch in pieces.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from fruitwall.plants.water.ranges import FloatArray, number, numbers
from fruitwall.plants.water.soil import RootZone

SOIL_WATER_PER_EXTRACT = 2.0
"""Salt in the water of a full soil over that in its saturated extract: FAO 29 (from memory). [-]"""


@dataclass(frozen=True)
class BalanceState:
    """What the balance goes on from.

    Attributes
    ----------
    depletion_mm : float or ndarray [...]
        Water missing from the full root zone, Dr: 0 is full, negative is water standing in a pot without holes. [mm]
    salt_g : float or ndarray [...]
        In the root zone. [g]
    canopy_mm : float or ndarray [...]
        Rain that still clings to the crown. [mm]
    """

    depletion_mm: float | FloatArray
    salt_g: float | FloatArray = 0.0
    canopy_mm: float | FloatArray = 0.0


@dataclass(frozen=True, eq=False)
class Balance:
    """A stretch of the balance; arrays [..., step], depths over the area of the zone. [mm]

    Attributes
    ----------
    depletion_mm : ndarray
        At the end of the step.
    ks : ndarray
        Share of its use that the tree keeps up. [0-1]
    et_actual_mm : ndarray
        Taken from the root zone.
    drainage_mm : ndarray
        Left below.
    intercepted_mm : ndarray
        Rain caught by the crown.
    wet_evaporation_mm : ndarray
        Dried off the crown; counts towards what the air asks for.
    runoff_mm : ndarray
        Rain and irrigation that did not get in, ran over, or fell beside the pot.
    salt_g, salt_leached_g, salt_brought_g : ndarray
        In the zone at the end, and gone and come in the step. [g]
    state_end : BalanceState
    """

    depletion_mm: FloatArray
    ks: FloatArray
    et_actual_mm: FloatArray
    drainage_mm: FloatArray
    intercepted_mm: FloatArray
    wet_evaporation_mm: FloatArray
    runoff_mm: FloatArray
    salt_g: FloatArray
    salt_leached_g: FloatArray
    salt_brought_g: FloatArray
    state_end: BalanceState


def march_balance(
    zone: RootZone,
    state: BalanceState,
    et_mm: ArrayLike,
    rain_mm: ArrayLike,
    irrigation_mm: ArrayLike,
    *,
    step_h: float = 1.0,
    demand_mm_d: ArrayLike | None = None,
    canopy_mm: float = 0.0,
    roof_share: ArrayLike = 0.0,
    ec_water_ds_m: ArrayLike = 0.0,
    stand_still: bool = False,
) -> Balance:
    """March the balance through a stretch of steps.

    Parameters
    ----------
    zone : RootZone
    state : BalanceState
        At its start.
    et_mm : array_like [..., step]
        What the unstressed tree would use in each step, ETc. [mm]
    rain_mm : array_like [..., step]
        In the open. [mm]
    irrigation_mm : array_like [..., step]
        Given over the area of the zone: litres over its square metres. [mm]
    step_h : float
        Length of a step. [h]
    demand_mm_d : array_like [..., step], optional
        Use of the unstressed tree on that day; adjusts the depletion fraction (`soil.adjusted_p`). The fraction of
        the zone holds where it is left out or NaN. [mm/d]
    canopy_mm : float
        Most rain that clings to the crown. [mm]
    roof_share : array_like [..., step]
        Share of the zone's rain that a roof overhead keeps off. [0-1]
    ec_water_ds_m : array_like [..., step]
        Salt of the irrigation water. [dS/m]
    stand_still : bool
        Whether the state waits through steps that are not known (NaN); otherwise all is NaN from the first of them.

    Returns
    -------
    Balance
        Results are NaN in steps that are not known.

    Raises
    ------
    ValueError
        If an amount is negative or a share outside 0 to 1.

    Notes
    -----
    Ks of a step comes from the depletion before it, as in the examples of FAO-56; water given in the step counts after.
    A step never takes more than there is. Use steps of an hour for pots: within a day a small one can run dry.
    """
    from fruitwall.plants.water import balance_kernel as kernel

    steps = [numbers("et_mm", et_mm, "amount"), numbers("rain_mm", rain_mm, "amount")]
    steps.append(numbers("irrigation_mm", irrigation_mm, "amount"))
    steps.append(np.asarray(np.nan if demand_mm_d is None else demand_mm_d, dtype=np.float64))
    steps.append(numbers("roof_share", roof_share, "share"))
    steps.append(numbers("ec_water_ds_m", ec_water_ds_m))
    starts = [np.asarray(x, dtype=np.float64) for x in (state.depletion_mm, state.canopy_mm, state.salt_g)]
    shape = np.broadcast_shapes(*(x.shape for x in steps), *((*x.shape, 1) for x in starts))
    if not any(x.ndim for x in steps):
        raise ValueError("et_mm, rain_mm or irrigation_mm must have a last axis of steps")
    rows = shape[:-1]
    flat = [np.ascontiguousarray(np.broadcast_to(x, shape)).reshape(-1, shape[-1]) for x in steps]
    now = np.stack([np.broadcast_to(x, rows).reshape(-1) for x in starts])
    given = np.array(
        [
            zone.capacity_mm, zone.ready_mm, zone.full_mm, zone.air_mm, zone.infiltration_mm_h, zone.rain_catch,
            float(zone.drains), number("canopy_mm", canopy_mm, "amount"), number("step_h", step_h), zone.area_m2,
            float(stand_still),
        ]
    )  # fmt: skip
    out = np.empty((kernel.RESULTS, *flat[0].shape))
    march: Any = kernel.march
    march(given, now, *flat, out)
    shaped = out.reshape(kernel.RESULTS, *shape)
    ends = [float(x[0]) if not rows else x.reshape(rows) for x in now]
    return Balance(
        depletion_mm=shaped[kernel.R_DEPLETION],
        ks=shaped[kernel.R_KS],
        et_actual_mm=shaped[kernel.R_ET],
        drainage_mm=shaped[kernel.R_DRAINAGE],
        intercepted_mm=shaped[kernel.R_CAUGHT],
        wet_evaporation_mm=shaped[kernel.R_WET],
        runoff_mm=shaped[kernel.R_RUNOFF],
        salt_g=shaped[kernel.R_SALT],
        salt_leached_g=shaped[kernel.R_LEACHED],
        salt_brought_g=shaped[kernel.R_IN],
        state_end=BalanceState(ends[0], salt_g=ends[2], canopy_mm=ends[1]),
    )
