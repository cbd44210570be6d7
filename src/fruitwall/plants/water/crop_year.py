"""Crop coefficients through the year: when a kind is at which stage, and how a small crown counts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from fruitwall.plants.water.crop import CropRow, climate_adjusted, crop_rows
from fruitwall.plants.water.ranges import FloatArray, numbers
from fruitwall.plants.water.volume import CROWN_LEAF_AREA, leaf_area_kc

LeafHabit = Literal["evergreen", "deciduous", "briefly_deciduous"]


@dataclass(frozen=True)
class Stages:
    """Lengths of the stages initial, development, mid and late [d], and the day of the year they begin (north)."""

    initial_d: float
    development_d: float
    mid_d: float
    late_d: float
    first_day: float

    @property
    def length_d(self) -> float:
        """Of all stages. [d]"""
        return self.initial_d + self.development_d + self.mid_d + self.late_d


EVERGREEN = Stages(60.0, 90.0, 120.0, 95.0, 1.0)
"""Citrus, Mediterranean, from January: FAO-56 table 11, as transcribed in pyfao56 1.4.3. Taken for all evergreen
kinds, of which the table has no other. [d]"""

DECIDUOUS = Stages(20.0, 70.0, 120.0, 60.0, 60.0)
"""Deciduous orchard, low latitudes, from March: the same table. [d]"""

DECIDUOUS_COOL = Stages(20.0, 70.0, 90.0, 30.0, 60.0)
"""Deciduous orchard, high latitudes, from March: the same table. [d]"""

COOL_LATITUDE_DEG = 40.0
"""From where on the latter is taken. Our judgement. [degrees]"""

LEAFLESS_KC = 0.2
"""Of bare ground with a leafless tree, wetted now and then: low end of FAO-56, ch. 6 and 11. Our judgement. [-]"""

KC_LEAST = 0.15
"""Of dry bare ground: FAO-56 eq. 76. [-]"""

YEAR_D = 365.0


def stages_of(leaf_habit: LeafHabit, latitude_deg: float) -> Stages:
    """Give the lengths of a kind's stages, FAO-56 table 11; those of the south begin half a year later."""
    south = 0.0 if latitude_deg >= 0.0 else YEAR_D / 2.0
    if leaf_habit != "deciduous":
        found = EVERGREEN
    else:
        found = DECIDUOUS if abs(latitude_deg) < COOL_LATITUDE_DEG else DECIDUOUS_COOL
    return Stages(found.initial_d, found.development_d, found.mid_d, found.late_d, found.first_day + south)


def kc_on(
    row: CropRow,
    day_of_year: ArrayLike,
    *,
    leaf_habit: LeafHabit,
    latitude_deg: float,
    rh_min_pct: ArrayLike = 45.0,
    wind_2m_m_s: ArrayLike = 2.0,
    height_m: float | None = None,
) -> FloatArray:
    """Give a kind's crop coefficient on days of the year: the curve of FAO-56, fig. 34.

    Parameters
    ----------
    row : CropRow
    day_of_year : array_like
        1 to 366.
    leaf_habit : {"evergreen", "deciduous", "briefly_deciduous"}
    latitude_deg : float
        South is negative. [degrees]
    rh_min_pct, wind_2m_m_s : array_like
        Of the climate, or the mean of the days around; `crop.climate_adjusted`. [%], [m/s]
    height_m : float, optional
        Of the tree; of the row's trees if left out. [m]

    Returns
    -------
    ndarray
        Level through the stages initial and mid, straight between; `LEAFLESS_KC` outside the season of a deciduous
        kind. A kind in leaf all year begins anew from its end. [-]
    """
    stages = stages_of(leaf_habit, latitude_deg)
    tall = row.height_m if height_m is None else height_m
    since = np.mod(numbers("day_of_year", day_of_year) - stages.first_day, YEAR_D)
    mid = climate_adjusted(row.kc_mid, rh_min_pct, wind_2m_m_s, tall)
    end = climate_adjusted(row.kc_end, rh_min_pct, wind_2m_m_s, tall)
    grown = np.clip((since - stages.initial_d) / stages.development_d, 0.0, 1.0)
    full = stages.initial_d + stages.development_d + stages.mid_d
    aged = np.clip((since - full) / stages.late_d, 0.0, 1.0)
    kc = row.kc_initial + (mid - row.kc_initial) * grown + (end - mid) * aged
    if leaf_habit != "deciduous":
        return np.asarray(kc)
    return np.asarray(np.where(since < stages.length_d, kc, LEAFLESS_KC))


def pot_kc_on(
    row: CropRow,
    day_of_year: ArrayLike,
    *,
    leaf_habit: LeafHabit,
    latitude_deg: float,
    leaf_area_index: float = CROWN_LEAF_AREA,
) -> FloatArray:
    """Give the coefficient of a free-standing tree in a pot, over the ground under its crown.

    Parameters
    ----------
    row : CropRow
    day_of_year : array_like
        1 to 366.
    leaf_habit : {"evergreen", "deciduous", "briefly_deciduous"}
    latitude_deg : float
        South is negative. [degrees]
    leaf_area_index : float
        Of its crown in full leaf. [-]

    Returns
    -------
    ndarray
        By its leaves, as `volume.leaf_area_kc`, in the course of the year that the kind's row has: the share of the
        row's highest coefficient. An orchard's coefficient holds for all its ground, a pot has none but its mouth.
        [-]
    """
    kc = kc_on(row, day_of_year, leaf_habit=leaf_habit, latitude_deg=latitude_deg)
    full = max(row.kc_initial, row.kc_mid, row.kc_end)
    return np.asarray(leaf_area_kc(leaf_area_index) * kc / full)


def covered_kc(kc_full: ArrayLike, cover: ArrayLike, height_m: ArrayLike) -> FloatArray:
    """Give the coefficient of ground of which a crown covers only part, FAO-56 eq. 98.

    Parameters
    ----------
    kc_full : array_like
        Of ground that such trees cover. [-]
    cover : array_like
        Share of the zone's area under the crown. [0-1]
    height_m : array_like
        Of the tree. [m]

    Returns
    -------
    ndarray
        Falls to that of dry bare ground. [-]
    """
    share = numbers("cover", cover, "share")
    reach = np.minimum(1.0, np.minimum(2.0 * share, share ** (1.0 / (1.0 + numbers("height_m", height_m)))))
    return np.asarray(KC_LEAST + (np.asarray(kc_full, dtype=float) - KC_LEAST) * reach)


def citrus_row(cover: float, *, weeds: bool = False) -> CropRow:
    """Give the citrus row for a cover of the ground, straight between the printed 20, 50 and 70 %.

    Parameters
    ----------
    cover : float
        Share of the ground that the crowns cover; the nearest printed one beyond them. [0-1]
    weeds : bool
        Whether weeds or a sward grow between.

    Returns
    -------
    CropRow
    """
    begins = "ground cover or weeds" if weeds else "no ground cover"
    rows = [r for r in crop_rows() if r.taxon == "Citrus spp." and r.condition.startswith(begins)][::-1]
    covers = (0.2, 0.5, 0.7)
    share = float(numbers("cover", cover, "share"))

    def between(values: list[float]) -> float:
        return float(np.interp(share, covers, values))

    return CropRow(
        taxon=rows[0].taxon,
        common_name=rows[0].common_name,
        condition=f"{begins}, {round(100 * share)} % canopy",
        kc_initial=between([r.kc_initial for r in rows]),
        kc_mid=between([r.kc_mid for r in rows]),
        kc_end=between([r.kc_end for r in rows]),
        root_depth_m=(between([r.root_depth_m[0] for r in rows]), between([r.root_depth_m[1] for r in rows])),
        depletion_p=rows[0].depletion_p,
        height_m=between([r.height_m for r in rows]),
        source_key=rows[0].source_key,
        locator=rows[0].locator,
    )
