"""How much water a tree needs: reference evapotranspiration, what its kind uses of it, what its roots can reach.

FAO-56 (Allen et al. 1998) throughout; `docs/season-water.md` lists equations, assumptions and sources. Pure: arrays in,
arrays out. Depths are millimetres over the area of a root zone; one millimetre on one square metre is one litre.
"""

from __future__ import annotations

from fruitwall.plants.water.balance import Balance, BalanceState, march_balance
from fruitwall.plants.water.containers import Fill, fill_of
from fruitwall.plants.water.crop import CropRow, climate_adjusted, crop_coefficient, crop_row
from fruitwall.plants.water.crop_year import covered_kc, kc_on, pot_kc_on
from fruitwall.plants.water.filled import Notice, Reference, daily_reference, hourly_reference, said_notice
from fruitwall.plants.water.reference import hargreaves_et, reference_et, reference_et_hourly
from fruitwall.plants.water.salt import (
    SaltTolerance,
    extract_ec,
    leaching_fraction,
    leaching_requirement,
    salt_tolerance,
    soil_water_ec,
    yield_share,
)
from fruitwall.plants.water.soil import RootZone, root_zone_ground, root_zone_pot
from fruitwall.plants.water.volume import (
    crown_area_m2,
    emitter_minutes,
    leaf_area_kc,
    leaf_area_use_l,
    to_give_mm,
    tree_volume_l,
)

__all__ = [
    "Balance",
    "BalanceState",
    "CropRow",
    "Fill",
    "Notice",
    "Reference",
    "RootZone",
    "SaltTolerance",
    "climate_adjusted",
    "covered_kc",
    "crop_coefficient",
    "crop_row",
    "crown_area_m2",
    "daily_reference",
    "emitter_minutes",
    "extract_ec",
    "fill_of",
    "hargreaves_et",
    "hourly_reference",
    "kc_on",
    "leaching_fraction",
    "leaching_requirement",
    "leaf_area_kc",
    "leaf_area_use_l",
    "march_balance",
    "pot_kc_on",
    "reference_et",
    "reference_et_hourly",
    "root_zone_ground",
    "root_zone_pot",
    "said_notice",
    "salt_tolerance",
    "soil_water_ec",
    "to_give_mm",
    "tree_volume_l",
    "yield_share",
]
