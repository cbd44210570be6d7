"""How much of the reference evapotranspiration a kind of tree uses: crop coefficients of FAO-56.

A kind that the tables do not have takes the row of the nearest group that they have, and says so by its `doubt`.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike

from fruitwall.plants.water.ranges import FloatArray, numbers

if TYPE_CHECKING:
    from fruitwall.plants.catalogue import Taxon

KcStage = Literal["initial", "mid", "end"]

Doubt = Literal["none", "near_relative", "family", "group", "part"]
"""How far the row is from the kind: its own (or its genus as the table means it), a near relative, its family, a
group that only lives alike; "part" is a row of its own of which a part is filled in from a group."""


@dataclass(frozen=True)
class CropRow:
    """What is published on a kind's use of water.

    Attributes
    ----------
    taxon, common_name, condition : str
        Of the table's row.
    kc_initial, kc_mid, kc_end : float
        Single crop coefficients. [-]
    root_depth_m : tuple of float
        Lowest and highest of where it draws its water from, grown. [m]
    depletion_p : float
        Share of the capacity taken without effort. [0-1]
    height_m : float
        Of the trees that the coefficients are for. [m]
    source_key, locator : str
    doubt : str
        How far the row is from the kind that it was asked for.
    """

    taxon: str
    common_name: str
    condition: str
    kc_initial: float
    kc_mid: float
    kc_end: float
    root_depth_m: tuple[float, float]
    depletion_p: float
    height_m: float
    source_key: str
    locator: str
    doubt: Doubt = "none"


@cache
def crop_rows() -> tuple[CropRow, ...]:
    """Give all rows of the table; a figure that a row does not have is NaN."""
    text = (resources.files("fruitwall.plants") / "data" / "crop_water.csv").read_text(encoding="utf-8")
    return tuple(_row(fields) for fields in csv.DictReader(text.splitlines()))


def _row(fields: dict[str, str]) -> CropRow:
    def figure(name: str) -> float:
        return float(fields[name]) if fields[name] else float("nan")

    return CropRow(
        taxon=fields["taxon"],
        common_name=fields["common_name"],
        condition=fields["condition"],
        kc_initial=figure("kc_ini"),
        kc_mid=figure("kc_mid"),
        kc_end=figure("kc_end"),
        root_depth_m=(figure("root_depth_min_m"), figure("root_depth_max_m")),
        depletion_p=figure("depletion_fraction_p"),
        height_m=figure("height_m"),
        source_key=fields["source_key"],
        locator=fields["locator"],
    )


def find_row(taxon: str, condition: str = "") -> CropRow:
    """Give a row by the table's own words.

    Parameters
    ----------
    taxon : str
        As the table names it.
    condition : str
        How its condition begins; any if left out.

    Raises
    ------
    ValueError
        If there is none.
    """
    for row in crop_rows():
        if row.taxon == taxon and row.condition.startswith(condition):
            return row
    raise ValueError(f'no row for "{taxon}", "{condition}" in the table of crop coefficients')


CITRUS = ("Citrus spp.", "no ground cover, 70 %")
STONE_FRUIT = ("Prunus spp.", "no ground cover, no frosts")
AVOCADO = ("Persea americana", "no ground cover")
BANANA = ("Musa spp.", "second year")
PINEAPPLE = ("Ananas comosus", "bare soil")
KIWI = ("Actinidia deliciosa", "")
OLIVE = ("Olea europaea", "")

GENERA: dict[str, tuple[tuple[str, str], Doubt]] = {
    "Citrus": (CITRUS, "none"),
    "Persea": (AVOCADO, "none"),
    "Musa": (BANANA, "none"),
    "Phoenix": (("Phoenix dactylifera", ""), "none"),
    "Theobroma": (("Theobroma cacao", ""), "none"),
    "Coffea": (("Coffea spp.", "bare ground"), "none"),
    "Ananas": (PINEAPPLE, "none"),
    "Prunus": (STONE_FRUIT, "none"),
    "Malus": (("Malus, Pyrus, Prunus avium", "no ground cover, no frosts"), "none"),
    "Pyrus": (("Malus, Pyrus, Prunus avium", "no ground cover, no frosts"), "none"),
    "Actinidia": (KIWI, "none"),
    "Olea": (OLIVE, "none"),
    "Pistacia": (("Pistacia vera", ""), "none"),
    "Juglans": (("Juglans regia", ""), "none"),
    "Vitis": (("Vitis vinifera", ""), "none"),
    "Fragaria": (("Fragaria x ananassa", ""), "none"),
    "Eriobotrya": (CITRUS, "group"),
    "Ceratonia": (OLIVE, "group"),
    "Carica": (BANANA, "group"),
    "Vasconcellea": (BANANA, "group"),
    "Opuntia": (PINEAPPLE, "group"),
    "Selenicereus": (PINEAPPLE, "group"),
    "Passiflora": (KIWI, "group"),
}
"""Row by genus. "group": Our judgement, by what lives alike: loquat is irrigated as citrus is, carob with olive,
papaya is a great herb like banana, cacti close their stomata by day as pineapple does, passion fruit climbs as kiwi
does."""

FAMILIES: dict[str, tuple[tuple[str, str], Doubt]] = {
    "Rutaceae": (CITRUS, "family"),
    "Lauraceae": (AVOCADO, "family"),
    "Arecaceae": (("Arecaceae", ""), "family"),
    "Rosaceae": (STONE_FRUIT, "family"),
}
"""Row by family, for genera that the table does not have."""

CAUTIOUS_P = 0.5
"""Most depletion allowed for a kind that borrows a row: FAO-56 has 0.5 for most orchards; avocado's 0.70 would let a
kind of which nothing is known go dry for long. Our judgement. [-]"""

KC_LOWEST_ADJUSTED = 0.45
"""Coefficients below this are not adjusted for wind and dryness: FAO-56, eq. 62 and 65. [-]"""


def crop_row(taxon: Taxon) -> CropRow:
    """Give the row that holds for a kind, or the nearest one.

    Parameters
    ----------
    taxon : Taxon
        A kind of the catalogue.

    Returns
    -------
    CropRow
        With all figures; its `doubt` says how near it is.
    """
    genus = taxon.scientific.split()[0]
    if genus == "Punica":
        return _pomegranate()
    if genus in GENERA:
        place, doubt = GENERA[genus]
    elif taxon.family in FAMILIES:
        place, doubt = FAMILIES[taxon.family]
    else:
        place, doubt = (STONE_FRUIT if taxon.leaf_habit == "deciduous" else AVOCADO), "group"
    row = find_row(*place)
    p = row.depletion_p if doubt == "none" else min(row.depletion_p, CAUTIOUS_P)
    return replace(row, depletion_p=p, doubt=doubt)


def _pomegranate() -> CropRow:
    """Give the mean of the mature trees' seasons; what they do not say from stone fruit."""
    seasons = [r for r in crop_rows() if r.taxon == "Punica granatum" and "mature" in r.condition]
    like = find_row(*STONE_FRUIT)
    return replace(
        seasons[0],
        condition="drip, Iran, mature trees, mean of three seasons",
        kc_initial=float(np.mean([r.kc_initial for r in seasons])),
        kc_mid=float(np.mean([r.kc_mid for r in seasons])),
        kc_end=like.kc_end,
        root_depth_m=like.root_depth_m,
        depletion_p=like.depletion_p,
        height_m=like.height_m,
        doubt="part",
    )


def crop_coefficient(
    taxon_row: CropRow,
    stage: KcStage,
    rh_min_pct: ArrayLike = 45.0,
    wind_2m_m_s: ArrayLike = 2.0,
    height_m: float | None = None,
) -> FloatArray:
    """Give a kind's crop coefficient in a stage and a climate.

    Parameters
    ----------
    taxon_row : CropRow
    stage : {"initial", "mid", "end"}
    rh_min_pct : array_like
        Mean of the days' lowest humidity. [%]
    wind_2m_m_s : array_like
        Mean wind at 2 m. [m/s]
    height_m : float, optional
        Of the plant; that of the row if left out. [m]

    Returns
    -------
    ndarray
        As tabled at 45 % and 2 m/s, else adjusted in the stages mid and end (`climate_adjusted`). [-]

    Raises
    ------
    ValueError
        If the stage is not known.
    """
    tabled = {"initial": taxon_row.kc_initial, "mid": taxon_row.kc_mid, "end": taxon_row.kc_end}
    if stage not in tabled:
        raise ValueError(f"stage must be one of {', '.join(tabled)}, got {stage!r}")
    if stage == "initial":
        shape = np.broadcast_shapes(np.shape(rh_min_pct), np.shape(wind_2m_m_s))
        return np.full(shape, tabled[stage])
    return climate_adjusted(
        tabled[stage], rh_min_pct, wind_2m_m_s, taxon_row.height_m if height_m is None else height_m
    )


def climate_adjusted(kc: ArrayLike, rh_min_pct: ArrayLike, wind_2m_m_s: ArrayLike, height_m: ArrayLike) -> FloatArray:
    """Adjust a tabled coefficient of the stages mid and end for wind and dryness: FAO-56 eq. 62 and 65.

    Parameters
    ----------
    kc : array_like
        As tabled, for 45 % and 2 m/s. [-]
    rh_min_pct : array_like
        Mean of the days' lowest humidity; taken within 20 to 80, as the equation asks. [%]
    wind_2m_m_s : array_like
        Mean wind at 2 m; taken within 1 to 6. [m/s]
    height_m : array_like
        Of the plant; taken within 0.1 to 10. [m]

    Returns
    -------
    ndarray
        Unchanged where it is below 0.45. [-]
    """
    tabled = np.asarray(kc, dtype=float)
    humidity = np.clip(numbers("rh_min_pct", rh_min_pct), 20.0, 80.0)
    wind = np.clip(numbers("wind_2m_m_s", wind_2m_m_s), 1.0, 6.0)
    height = np.clip(numbers("height_m", height_m), 0.1, 10.0)
    added = (0.04 * (wind - 2.0) - 0.004 * (humidity - 45.0)) * (height / 3.0) ** 0.3
    return np.asarray(np.where(tabled < KC_LOWEST_ADJUSTED, tabled, tabled + added))


def kinds_without_row(taxa: Sequence[Taxon]) -> list[Taxon]:
    """Give the kinds that borrow a row of another."""
    return [t for t in taxa if crop_row(t).doubt not in ("none", "part")]
