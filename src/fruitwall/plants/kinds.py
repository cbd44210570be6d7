"""What does a grown, hardened tree of a kind stand, by all that is published and by what its relatives stand?

Two unknowns per kind: W, the temperature that kills its wood, and e, by how much its leaf is more tender than
usual for such wood. Every statement is a likelihood of them (`plants.reading`); statements of one independent
source share one shift; kinds of one family share one effect. Both are integrated out on a grid, so nothing is
random and nothing is approximated by a curve fit. Soft growth, flowers, fruit and the chill level are one unknown
each.

Temperatures are tissue temperatures of a one-hour exposure.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fruitwall.plants import effects
from fruitwall.plants.catalogue import Catalogue, Taxon
from fruitwall.plants.reading import Organ, Reading, readings

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Scales:
    """Scales of the hierarchy. [K]

    Attributes
    ----------
    source_sd_k, outlier_sd_k, outlier_share
        Independent sources differ by about 2 K; one in ten is far off (EcoCrop on Key lime).
    usual_c, temperate_c, ultra_tropical_c
        Mean limit of wood over kinds, by the two botanical flags of the catalogue. [°C]
    family_sd_k, kind_sd_k
        Between families, and between kinds within a family.
    temperate_stretch, ultra_tropical_stretch
        Factor of both for these kinds.
    """

    source_sd_k: float = 1.7
    outlier_sd_k: float = 4.5
    outlier_share: float = 0.1
    usual_c: float = -7.0
    temperate_c: float = -17.0
    ultra_tropical_c: float = -4.0
    family_sd_k: float = 1.3
    kind_sd_k: float = 2.2
    temperate_stretch: float = 2.5
    ultra_tropical_stretch: float = 0.7


SCALES = Scales()

_WOOD_C = np.arange(-50.0, -0.99, 0.5)
_LEAF_E = np.linspace(-2.75, 2.75, 12)
_FAMILY_U = np.linspace(-3.0, 3.0, 25)
_SOFT_C = np.arange(-12.0, 0.01, 0.25)
_CHILL_C = np.arange(-4.0, 22.01, 0.25)


@dataclass(frozen=True, eq=False)
class Kind:
    """What a grown tree of a kind stands, hardened as trees in published reports are.

    Attributes
    ----------
    grade_c, grade_sd_k : ndarray [grade]
        Tissue temperature that brings half of such trees to each grade, from leaf (1-4) over twig (5) to wood (6,
        7), and what is not known of it. NaN at 0. [°C], [K]
    flush_c, flower_c, fruit_c, chill_c : tuple of float
        Mean and standard deviation: soft growth killed, half of the flowers, half of the fruit lost, some leaf
        burnt by a night of eight hours (NaN for kinds that do not suffer above freezing). [°C], [K]
    voices : int
        Independent sources with something to say on the tree itself.
    rows : int
        Their statements.
    """

    taxon: Taxon
    grade_c: Array
    grade_sd_k: Array
    flush_c: tuple[float, float]
    flower_c: tuple[float, float]
    fruit_c: tuple[float, float]
    chill_c: tuple[float, float]
    voices: int
    rows: int


@lru_cache(maxsize=4096)
def kind(taxon: Taxon, catalogue: Catalogue, scales: Scales = SCALES) -> Kind:
    """Give what a kind stands.

    Parameters
    ----------
    taxon : Taxon
        A kind of the catalogue.
    catalogue : Catalogue
        Where its evidence and its relatives are.
    scales : Scales
        Scales of the hierarchy.

    Returns
    -------
    Kind
    """
    found = readings(catalogue.evidence(taxon), rests=taxon.needs_winter_chill)
    on_tree = [r for r in found if r.organ == "tree"]
    belief = posterior(taxon, catalogue, scales)
    grade_c, grade_sd_k = _grades(belief)
    chill = (np.nan, np.nan)
    if taxon.chill_sensitive:
        chill = _soft("chill", found, _CHILL_C, effects.CHILL_C, effects.CHILL_SD_K, scales)
    return Kind(
        taxon=taxon,
        grade_c=grade_c,
        grade_sd_k=grade_sd_k,
        flush_c=_soft("flush", found, _SOFT_C, effects.FLUSH_C, effects.FLUSH_SD_K, scales),
        flower_c=_soft("flower", found, _SOFT_C, effects.FLOWER_C, effects.FLOWER_SD_K, scales),
        fruit_c=_soft("fruit", found, _SOFT_C, effects.FRUIT_C, effects.FRUIT_SD_K, scales),
        chill_c=chill,
        voices=len({r.voice for r in on_tree}),
        rows=len(on_tree),
    )


def posterior(taxon: Taxon, catalogue: Catalogue, scales: Scales = SCALES) -> Array:
    """Give the joint probabilities of wood limit and leaf deviation on the grid. [wood, leaf]"""
    others = [_wood_likelihood(t, catalogue, scales) for t in catalogue.relatives(taxon)]
    kernels = [_kernel(t, scales) for t in catalogue.relatives(taxon)]
    log_family = -0.5 * _FAMILY_U**2
    for likelihood, kernel in zip(others, kernels, strict=True):
        log_family = log_family + np.log(kernel @ likelihood)
    family = np.exp(log_family - log_family.max())
    wood = (family / family.sum()) @ _kernel(taxon, scales)
    joint: Array = wood[:, None] * _tree_likelihood(taxon, catalogue, scales) * _leaf_weights()
    return np.asarray(joint / joint.sum())


def log_evidence(family: str, catalogue: Catalogue, scales: Scales) -> float:
    """Give the log marginal likelihood of a family's rows under some scales; for choosing the scales."""
    weights = np.exp(-0.5 * _FAMILY_U**2)
    log_family = np.log(weights / weights.sum())
    for taxon in catalogue.family(family):
        log_family = log_family + np.log(_kernel(taxon, scales) @ _wood_likelihood(taxon, catalogue, scales))
    top = log_family.max()
    return float(top + np.log(np.exp(log_family - top).sum()))


def _centre(taxon: Taxon, scales: Scales) -> tuple[float, float]:
    """Mean wood limit of such kinds and stretch of the scales. [°C], [-]"""
    if taxon.needs_winter_chill:
        return scales.temperate_c, scales.temperate_stretch
    if taxon.chill_sensitive:
        return scales.ultra_tropical_c, scales.ultra_tropical_stretch
    return scales.usual_c, 1.0


def _kernel(taxon: Taxon, scales: Scales) -> Array:
    """Probabilities of the wood limit for each family effect. [family, wood]"""
    centre, stretch = _centre(taxon, scales)
    mean = centre + _FAMILY_U[:, None] * scales.family_sd_k * stretch
    density = np.exp(-0.5 * ((_WOOD_C - mean) / (scales.kind_sd_k * stretch)) ** 2)
    return np.asarray(density / density.sum(axis=1, keepdims=True))


def _leaf_weights() -> Array:
    weights = np.exp(-0.5 * _LEAF_E**2)
    return np.asarray(weights / weights.sum())


def leaf_c(wood_c: Array, leaf_e: Array) -> Array:
    """Temperature of first leaf burn on the grid; no leaf freezes above -0.5 °C. [wood, leaf] in [°C]"""
    gap = effects.organ_gap_k(wood_c)[:, None] * np.exp(effects.ORGAN_GAP_LOG_SD * leaf_e)
    return np.minimum(wood_c[:, None] + gap, np.maximum(-0.5, wood_c[:, None]))


@lru_cache(maxsize=4096)
def _tree_likelihood(taxon: Taxon, catalogue: Catalogue, scales: Scales) -> Array:
    """Likelihood of all statements on the tree. [wood, leaf]"""
    wood = _WOOD_C[:, None]
    gap = leaf_c(_WOOD_C, _LEAF_E) - wood
    youth = effects.youth(effects.YOUNG_TREE_YEARS, None)
    total = np.ones_like(gap)
    found = [r for r in readings(catalogue.evidence(taxon), rests=taxon.needs_winter_chill) if r.organ == "tree"]
    for said in _by_voice(found):
        limits = [wood + r.level * gap + (youth * effects.young_gap_k(wood) if r.young else 0.0) for r in said]
        total = total * _one_voice(said, limits, scales)
    return total


@lru_cache(maxsize=4096)
def _wood_likelihood(taxon: Taxon, catalogue: Catalogue, scales: Scales) -> Array:
    """The same without the leaf's unknown. [wood]"""
    return np.asarray(_tree_likelihood(taxon, catalogue, scales) @ _leaf_weights())


def _by_voice(found: Iterable[Reading]) -> list[list[Reading]]:
    voices: dict[str, list[Reading]] = {}
    for reading in found:
        voices.setdefault(reading.voice, []).append(reading)
    return list(voices.values())


def _one_voice(said: Sequence[Reading], limits: Sequence[Array], scales: Scales) -> Array:
    """Likelihood of one source's statements, its common shift integrated out."""
    total = np.zeros(np.broadcast_shapes(*(np.shape(limit) for limit in limits)))
    for shift, weight in zip(*_source_shifts(scales), strict=True):
        product = np.full_like(total, weight)
        for reading, limit in zip(said, limits, strict=True):
            product = product * reading.likelihood(limit + shift)
        total += product
    return total


def _source_shifts(scales: Scales) -> tuple[Array, Array]:
    """Nodes and weights of a source's shift: mostly near, seldom far off. [K]"""
    nodes, weights = np.polynomial.hermite_e.hermegauss(9)
    weights = weights / weights.sum()
    shifts = np.concatenate([nodes * scales.source_sd_k, nodes * scales.outlier_sd_k])
    return shifts, np.concatenate([weights * (1.0 - scales.outlier_share), weights * scales.outlier_share])


def _soft(
    organ: Organ, found: Iterable[Reading], grid: Array, prior_c: float, prior_sd_k: float, scales: Scales
) -> tuple[float, float]:
    """Mean and standard deviation of a limit with one unknown."""
    belief = np.exp(-0.5 * ((grid - prior_c) / prior_sd_k) ** 2)
    for said in _by_voice(r for r in found if r.organ == organ):
        belief = belief * _one_voice(said, [grid] * len(said), scales)
    belief = belief / belief.sum()
    mean = float(belief @ grid)
    return mean, float(np.sqrt(belief @ (grid - mean) ** 2))


def _grades(belief: Array) -> tuple[Array, Array]:
    """Mean and standard deviation of each grade's limit. [grade]"""
    wood = np.broadcast_to(_WOOD_C[:, None], belief.shape)
    gap = leaf_c(_WOOD_C, _LEAF_E) - wood
    mean, sd = np.full(8, np.nan), np.full(8, np.nan)
    for grade in range(1, 8):
        level = effects.GRADE_POSITION[grade] if grade > 1 else 1.0
        limit = wood + level * gap + (effects.PALER_ABOVE_BURN_K if grade == 1 else 0.0)
        mean[grade] = (belief * limit).sum()
        sd[grade] = np.sqrt((belief * (limit - mean[grade]) ** 2).sum())
    return mean, sd
