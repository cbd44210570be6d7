"""How much water a tree needs: reference evapotranspiration, what its kind uses of it, what its roots can reach.

FAO-56 (Allen et al. 1998) throughout; `docs/season-water.md` lists equations, assumptions and sources. Pure: arrays in,
arrays out. Depths are millimetres over the area of a root zone; one millimetre on one square metre is one litre.
"""

from __future__ import annotations

from fruitwall.plants.water.balance import Balance, BalanceState, march_balance
from fruitwall.plants.water.crop import CropRow, crop_coefficient, crop_row
from fruitwall.plants.water.reference import hargreaves_et, reference_et, reference_et_hourly
from fruitwall.plants.water.soil import RootZone, root_zone_ground, root_zone_pot

__all__ = [
    "Balance",
    "BalanceState",
    "CropRow",
    "RootZone",
    "crop_coefficient",
    "crop_row",
    "hargreaves_et",
    "march_balance",
    "reference_et",
    "reference_et_hourly",
    "root_zone_ground",
    "root_zone_pot",
]
