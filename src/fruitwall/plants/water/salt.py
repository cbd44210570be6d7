"""Salt that comes with the water: what a kind stands, what has to be washed out, what it costs."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike

from fruitwall.plants.water.balance import SOIL_WATER_PER_EXTRACT
from fruitwall.plants.water.ranges import FloatArray, numbers
from fruitwall.plants.water.soil import RootZone

if TYPE_CHECKING:
    from fruitwall.plants.catalogue import Taxon

GRAMS_PER_LITRE = 0.64
"""Salt in a litre of water for each dS/m: 640 mg/L, FAO 29. [g/L per dS/m]"""

Rating = Literal["S", "MS", "MT", "T"]

RATED: dict[str, tuple[float, float]] = {"S": (1.3, 16.0), "MS": (2.0, 12.0), "MT": (4.5, 8.0), "T": (8.0, 5.0)}
"""Threshold [dS/m] and slope [% per dS/m] of a kind that is rated without figures: inside the divisions of Maas and
Hoffman (sensitive to 1.3, moderately sensitive to 3, moderately tolerant to 6, tolerant to 10; from memory). Our
judgement."""


@dataclass(frozen=True)
class SaltTolerance:
    """What a kind stands of salt in the soil.

    Attributes
    ----------
    threshold_ds_m : float
        Conductivity of the saturated extract at which it begins to suffer. [dS/m]
    slope_pct_per_ds_m : float
        Yield lost for each dS/m more. [%]
    rating : {"S", "MS", "MT", "T"}
        Sensitive, moderately sensitive, moderately tolerant, tolerant.
    source_key : str
    doubt : {"none", "near_relative", "rating", "assumed"}
        Whether the figures are the kind's own, of its genus, of its rating only, or assumed: a kind that nobody has
        rated is taken to be sensitive.
    from_memory : bool
        Whether the source was not at hand when the figures were written down.
    """

    threshold_ds_m: float
    slope_pct_per_ds_m: float
    rating: Rating
    source_key: str
    doubt: Literal["none", "near_relative", "rating", "assumed"]
    from_memory: bool


@cache
def _rows() -> tuple[dict[str, str], ...]:
    text = (resources.files("fruitwall.plants") / "data" / "salt_tolerance.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def salt_tolerance(taxon: Taxon) -> SaltTolerance:
    """Give what a kind stands of salt, by its own row, its genus', its rating, or the careful side."""
    genus = taxon.scientific.split()[0]
    own = [row for row in _rows() if taxon.scientific.startswith(row["taxon"])]
    kin = [row for row in _rows() if row["taxon"].split()[0] == genus]
    for rows, doubt in ((own, "none"), (kin, "near_relative")):
        for row in sorted(rows, key=lambda row: row["taxon"].endswith("spp."), reverse=rows is kin):
            if row["threshold_ds_m"] and row["slope_pct_per_ds_m"]:
                return _tolerance(row, "none" if doubt == "none" else "near_relative")
    for row in (*own, *kin):
        return _tolerance(row, "rating")
    return SaltTolerance(*RATED["S"], "S", "our_judgement", "assumed", False)


def _tolerance(row: dict[str, str], doubt: Literal["none", "near_relative", "rating"]) -> SaltTolerance:
    ratings: dict[str, Rating] = {"S": "S", "MS": "MS", "MT": "MT", "T": "T"}
    threshold, slope = RATED[row["rating"]]
    return SaltTolerance(
        threshold_ds_m=float(row["threshold_ds_m"] or threshold),
        slope_pct_per_ds_m=float(row["slope_pct_per_ds_m"] or slope),
        rating=ratings[row["rating"]],
        source_key=row["source_key"],
        doubt=doubt,
        from_memory=row["status"] == "from_memory",
    )


def leaching_requirement(ec_water_ds_m: ArrayLike, ec_threshold_ds_m: ArrayLike) -> FloatArray:
    """Give the share of what is given that has to drain so that salt does not pile up: FAO 29, eq. 9.

    Parameters
    ----------
    ec_water_ds_m : array_like
        Of the irrigation water. [dS/m]
    ec_threshold_ds_m : array_like
        Of the saturated extract that the kind stands. [dS/m]

    Returns
    -------
    ndarray
        ECw / (5 ECe - ECw); 1 where the water is too salty for any leaching. [0-1]
    """
    water = numbers("ec_water_ds_m", ec_water_ds_m)
    rest = 5.0 * numbers("ec_threshold_ds_m", ec_threshold_ds_m) - water
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(rest > 0.0, np.minimum(water / rest, 1.0), np.where(np.isnan(rest), np.nan, 1.0)))


def leaching_fraction(leached_l: ArrayLike, applied_l: ArrayLike) -> FloatArray:
    """Give the share of what was given that drained; 0 where nothing was given. [L], [L] to [0-1]"""
    leached, applied = numbers("leached_l", leached_l, "amount"), numbers("applied_l", applied_l, "amount")
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(applied == 0.0, 0.0, leached / applied))


def yield_share(ec_soil_ds_m: ArrayLike, threshold_ds_m: ArrayLike, slope_pct_per_ds_m: ArrayLike) -> FloatArray:
    """Give the share of its yield that a kind keeps at a salinity of the soil: Maas and Hoffman 1977.

    Parameters
    ----------
    ec_soil_ds_m : array_like
        Of the saturated extract. [dS/m]
    threshold_ds_m : array_like
        [dS/m]
    slope_pct_per_ds_m : array_like
        [% per dS/m]

    Returns
    -------
    ndarray
        [0-1]
    """
    above = np.maximum(numbers("ec_soil_ds_m", ec_soil_ds_m) - np.asarray(threshold_ds_m, dtype=float), 0.0)
    return np.asarray(np.clip(1.0 - np.asarray(slope_pct_per_ds_m, dtype=float) * above / 100.0, 0.0, 1.0))


def soil_water_ec(zone: RootZone, salt_g: ArrayLike, depletion_mm: ArrayLike = 0.0) -> FloatArray:
    """Give the conductivity of the water in a root zone: of a full pot that is what its drips would show.

    Parameters
    ----------
    zone : RootZone
    salt_g : array_like
        In it. [g]
    depletion_mm : array_like
        Missing from the full zone. [mm]

    Returns
    -------
    ndarray
        [dS/m]
    """
    litres = (zone.full_mm - np.asarray(depletion_mm, dtype=float)) * zone.area_m2
    return np.asarray(numbers("salt_g", salt_g, "amount") / (GRAMS_PER_LITRE * litres))


def extract_ec(zone: RootZone, salt_g: ArrayLike) -> FloatArray:
    """Give the conductivity of the saturated extract, by which kinds are rated: half that of the full soil. [dS/m]"""
    return np.asarray(soil_water_ec(zone, salt_g) / SOIL_WATER_PER_EXTRACT)
