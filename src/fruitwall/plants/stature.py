"""How tall and how wide will a tree stand so many years from now?

A saturating curve from its present size towards what its kind, its own past and its container allow
(docs/winters-model.md). What is published on fruit trees in gardens is thin: most final heights are from memory, the
shape of the curve is our judgement; both only say which size of the yard stands for a year, and nobody should read more
into it.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources
from math import exp, log, log2
from typing import Literal

from fruitwall.plants.catalogue import Taxon

Status = Literal["read", "from_memory", "our_judgement"]

OWN_YEARS = 5.0
"""Age by which a tree's own height says as much on where it will end as its kind does (to 63 %): one that has stood for
many years at 2 m is kept at 2 m, by shears or by its stock, while one of two years may just have been planted. Our
judgement. [years]"""

OWN_MOST = 1.5
"""A tree ahead of its kind is not taken to end more than so many times as tall. Our judgement. [-]"""

POT_GROWTH_PER_DOUBLING = 1.43
"""Biomass of plants in a pot of twice the volume: 43 % more, the mean over 65 studies (Poorter, Bühler, van Dusschoten,
Climent and Postma 2012, Functional Plant Biology 39:839-850, abstract). [-]"""

HEIGHT_POWER = 1.0 / 3.0
"""Height of trees of the same shape goes with the cube root of what they weigh: geometry. [-]"""

POT_VOLUME_L, POT_HEIGHT_M = 55.0, 2.4
"""A tree that is kept for years in a "#15" nursery container (55 L) ends near this height, with the container. Common
practice, no source: tubs of that size hold citrus of a man's height and a little more. [L], [m]"""

POT_UNKNOWN_L = 40.0
"""Volume of a container of which nothing is known. Our judgement. [L]"""


@dataclass(frozen=True)
class GrownSize:
    """What a kind grows to in a garden when nobody cuts it.

    Attributes
    ----------
    height_m : float
        In the end. [m]
    crown_share : float
        Width of the crown over the height. [-]
    half_years : float
        How long a tree in the ground takes from seed to half of that height. [years]
    status : str
        Of the height: ``read`` in a work that the table names, ``from_memory``, or ``our_judgement`` for a kind that it
        does not hold. Years to half of it are from memory but for lychee.
    """

    height_m: float
    crown_share: float
    half_years: float
    status: Status


@dataclass(frozen=True)
class Stature:
    """Size of a tree at some time.

    Attributes
    ----------
    height_m, crown_diameter_m : float
        Top of the crown above the ground, with the container if it has one, and across the crown. [m]
    """

    height_m: float
    crown_diameter_m: float


@cache
def _table() -> dict[str, GrownSize]:
    """Read the packaged table: species and genus to size."""
    text = (resources.files("fruitwall.plants") / "data" / "stature.csv").read_text(encoding="utf-8")
    return {
        row["name"]: GrownSize(
            height_m=float(row["height_m"]),
            crown_share=float(row["crown_share"]),
            half_years=float(row["half_years"]),
            status=row["status"],  # type: ignore[arg-type]  # a test holds the table to these words
        )
        for row in csv.DictReader(text.splitlines())
    }


def grown_size(taxon: Taxon) -> GrownSize:
    """Give what a kind grows to in a garden: of its species, of its genus, or a middling tree."""
    table = _table()
    for name in (taxon.scientific, taxon.like or ""):
        species = name.partition(" (")[0]
        for known in (species, " ".join(species.split()[:2]), species.split(" ")[0]):
            if known in table:
                return table[known]
    return table["*"]


def pot_height_m(volume_l: float | None) -> float:
    """Give at what height a container holds a tree for good. [m]

    Twice the volume: 43 % more plant, and by the cube root 13 % more height.
    """
    ratio = (volume_l or POT_UNKNOWN_L) / POT_VOLUME_L
    return float(POT_HEIGHT_M * ratio ** (HEIGHT_POWER * log2(POT_GROWTH_PER_DOUBLING)))


def final_height_m(
    height_m: float, age_years: float | None, taxon: Taxon, *, potted: bool = False, volume_l: float | None = None
) -> float:
    """Give the height that a tree tends to; never below the one it has.

    Parameters
    ----------
    height_m : float
        Now, greater than 0. [m]
    age_years : float or None
        Now. [years]
    taxon : Taxon
    potted : bool
    volume_l : float or None
        Of its container. [L]

    Returns
    -------
    float
        [m]

    Notes
    -----
    With H and k of the kind, a tree of age a is expected at ``h = H (1 - exp(-k a))``. What it is, against that, is
    taken as its own in the measure of its age: ``H (height/h)^w`` with ``w = 1 - exp(-a / OWN_YEARS)``, at most
    `OWN_MOST` H. In a container at most `pot_height_m`.
    """
    kind = grown_size(taxon)
    end = kind.height_m
    if age_years is not None and age_years > 0.0:
        expected = kind.height_m * (1.0 - exp(-_rate(kind) * age_years))
        own = 1.0 - exp(-age_years / OWN_YEARS)
        end *= min((height_m / expected) ** own, OWN_MOST)
    if potted:
        end = min(end, pot_height_m(volume_l))
    return max(end, height_m)


def grown(
    tree_height_m: float,
    crown_m: float,
    age_years: float | None,
    taxon: Taxon,
    years: float,
    *,
    potted: bool = False,
    volume_l: float | None = None,
) -> Stature:
    """Give how tall and wide a tree stands so many years from now, if nothing befalls it.

    Parameters
    ----------
    tree_height_m, crown_m : float
        Now: top of the crown above the ground, with the container if it has one, and across the crown. [m]
    age_years : float or None
        Now. [years]
    taxon : Taxon
    years : float
        From now, not negative. [years]
    potted : bool
        In a container, which it keeps.
    volume_l : float or None
        Of the container. [L]

    Returns
    -------
    Stature
        Never smaller than now; at 0 years exactly as now.

    Raises
    ------
    ValueError
        For sizes that are not greater than 0, and years below 0.

    Notes
    -----
    ``h(t) = E - (E - h0) exp(-k t)`` with E from `final_height_m` and ``k = ln 2 / half_years``. The crown goes from
    the share of the height that it has now to that of its kind as the height goes from h0 to E, and never shrinks.
    """
    if not (tree_height_m > 0.0 and crown_m > 0.0):
        raise ValueError(f"height and crown must be greater than 0 m, got {tree_height_m} and {crown_m}")
    if not years >= 0.0:
        raise ValueError(f"years must not be negative, got {years}")
    end = final_height_m(tree_height_m, age_years, taxon, potted=potted, volume_l=volume_l)
    kind = grown_size(taxon)
    gone = 1.0 - exp(-_rate(kind) * years)
    height = tree_height_m + (end - tree_height_m) * gone
    share = crown_m / tree_height_m + (kind.crown_share - crown_m / tree_height_m) * gone
    if end <= tree_height_m:
        return Stature(tree_height_m, crown_m)
    return Stature(height, max(share * height, crown_m))


def _rate(kind: GrownSize) -> float:
    """How fast the rest of the way grows smaller. [1/year]"""
    return log(2.0) / kind.half_years
