"""What does one tree stand tonight?

`Tolerance` is the answer in the form that `plants.injury` needs: the temperature at which each tissue of this tree
reaches each grade of injury, how uncertain that is, and why.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fruitwall.plants import effects
from fruitwall.plants.catalogue import Catalogue, Taxon, catalogue, said_taxon
from fruitwall.plants.kinds import Kind, kind
from fruitwall.speech import marked, quantity, say, say_count

Array = NDArray[np.float64]

TISSUES = ("leaf", "twig", "wood", "fruit", "root")
"""Tissues in the order of the tissue axis, the same as the physics layer's."""

LEAF, TWIG, WOOD, FRUIT, ROOT = range(5)

GRADES = (
    marked("none"),
    marked("paler"),
    marked("some leaf burn (<10 %)"),
    marked("much leaf burn (10-50 %)"),
    marked("most leaf lost (>50 %)"),
    marked("twigs dead"),
    marked("limbs dead"),
    marked("dead"),
)
"""Grades of injury 0-7 in words."""


@dataclass(frozen=True, eq=False)
class Tolerance:
    """What one tree stands tonight, as a distribution.

    Attributes
    ----------
    taxon : str
        Scientific name in the catalogue.
    threshold_c : ndarray [tissue, grade]
        Tissue temperature of a one-hour exposure at which half of such trees reach at least this grade. NaN where
        this tissue cannot cause that grade; column 0 is unused. Falls (or stays) along the grades. [°C]
    sd_k : ndarray [tissue]
        Uncertainty of the tissue's thresholds: what is not known of the kind, and how this tree differs from its
        kind. One shift for the whole tree: all tissues are tender or hardy together. [K]
    slope_k : float
        Spread within one tree, by which injury rises gradually instead of at one temperature. [K]
    duration_k_per_log2h : float
        How much milder an exposure of twice the hours may be to hurt as much. [K per doubling]
    duration_sd_k_per_log2h : float
        Its uncertainty, one for the whole tree. [K per doubling]
    fruit_c, fruit_sd_k : float
        Fruit temperature of a one-hour exposure at which half of the fruit is lost, and its uncertainty; NaN without
        fruit. [°C], [K]
    flower_c, flower_sd_k : float
        The same for open flowers; NaN without flowers. [°C], [K]
    chill_level_c, chill_sd_k : float
        Leaf temperature below which a kind that suffers above freezing suffers, and its uncertainty; NaN for the
        other kinds. [°C], [K]
    chill_dose_k_h : ndarray [grade]
        Degree-hours of one night below `chill_level_c` at which each grade is reached; NaN for grades that chilling
        alone does not cause. [K h]
    pale_level_c, pale_sd_k : float
        Leaf temperature of nights below which many of them make the leaf paler, and its uncertainty; NaN for kinds that
        rest leafless and for bare trees. [°C], [K]
    provenance : tuple of str
        From what all this was made, one plain sentence each.
    """

    taxon: str
    threshold_c: NDArray[np.float64]
    sd_k: NDArray[np.float64]
    slope_k: float
    duration_k_per_log2h: float
    fruit_c: float = float("nan")
    fruit_sd_k: float = float("nan")
    flower_c: float = float("nan")
    flower_sd_k: float = float("nan")
    chill_level_c: float = float("nan")
    chill_sd_k: float = float("nan")
    chill_dose_k_h: NDArray[np.float64] = field(default_factory=lambda: np.full(len(GRADES), np.nan))
    duration_sd_k_per_log2h: float = 0.0
    pale_level_c: float = float("nan")
    pale_sd_k: float = float("nan")
    provenance: tuple[str, ...] = ()


def prior(
    taxon: Taxon,
    *,
    age_years: float | None,
    height_m: float | None,
    potted: bool,
    stages: Iterable[str] = ("leafy",),
    origin: str = "unknown",
    acclimation_c: float | None = None,
    root_zone: str = "moist",
    hurt_grade: int = 0,
    known: Catalogue | None = None,
) -> Tolerance:
    """Give what a tree stands before it has been seen to suffer or to stand anything.

    Parameters
    ----------
    taxon : Taxon
        Its kind.
    age_years : float or None
        Age, 0 to 500; None if unknown. [years]
    height_m : float or None
        Height, greater than 0 and at most 40 m; None if unknown. A tree of unknown age and height counts as grown.
    potted : bool
        In a container, so that its roots go through the night's cold.
    stages : iterable of str
        What it carries: any of dormant, leafy, flush, flower, fruit. A kind that sheds its leaf has none when dormant.
    origin : str
        seedling, grafted, cutting or unknown. Seedlings differ more from each other; on average they are the same.
    acclimation_c : float or None
        Mean air temperature of the preceding three weeks or so, -30 to 40 °C; None for a usual winter. [°C]
    root_zone : str
        dry, moist or wet: how its roots have stood these weeks.
    hurt_grade : int
        Grade of injury, 0 to 7, that it carries from earlier this winter.
    known : Catalogue or None
        Catalogue that the kind belongs to; the one that comes with fruitwall if left out.

    Returns
    -------
    Tolerance

    Raises
    ------
    ValueError
        For values outside these ranges and unknown stages, origin or root zone.

    Notes
    -----
    The kind's limits come from `plants.kinds`, the effects from `plants.effects`; `docs/tolerance.md` tells the whole.
    """
    carried = _checked(age_years, height_m, stages, origin, acclimation_c)
    weaker, weaker_sd, weaker_told = _condition(origin, root_zone, hurt_grade)
    about = kind(taxon, known or catalogue())
    notes = [_evidence_note(about)]
    grade_c, grade_sd_k = about.grade_c.copy(), about.grade_sd_k.copy()
    leafless = "dormant" in carried and taxon.leaf_habit != "evergreen"
    if taxon.needs_winter_chill and "dormant" not in carried:
        grade_c, grade_sd_k = _in_leaf(grade_c, grade_sd_k)
        wood = quantity(float(grade_c[7]), "°C", ".1f")
        notes.append(say("in growth, not at rest: wood as tender as {wood}", wood=wood))
    elif leafless:
        notes.append(say("at rest without leaf: no leaf to lose"))
    shift, doubt, told = _hardening(taxon, float(grade_c[7]), acclimation_c)
    notes += told
    young = effects.youth(age_years, height_m)
    gap = young * float(effects.young_gap_k(float(grade_c[7])))
    if gap >= 0.05:
        notes.append(say("young or small: {gap} more tender than a grown tree", gap=quantity(gap, "K", ".1f")))
    notes += weaker_told
    grade_c += shift + gap + weaker
    top_c = float(grade_c[7])
    stump_k = effects.stump_k(taxon.family, origin)
    grade_c[7] -= stump_k
    common = np.sqrt(effects.TREE_SD_K**2 + effects.AIR_TO_TISSUE_SD_K**2 + (young * effects.YOUNG_GAP_SD_K) ** 2)
    grade_sd_k = np.sqrt(grade_sd_k**2 + common**2 + doubt**2 + weaker_sd**2)

    threshold = np.full((len(TISSUES), len(GRADES)), np.nan)
    sd = np.full(len(TISSUES), np.nan)
    threshold[WOOD, 6:], threshold[TWIG, 5] = grade_c[6:], grade_c[5]
    sd[WOOD], sd[TWIG] = grade_sd_k[7], grade_sd_k[5]
    if not leafless:
        threshold[LEAF, 1:5], sd[LEAF] = grade_c[1:5], grade_sd_k[3]
    if "flush" in carried and not leafless:
        notes.append(_soften(threshold, sd, about))
    if potted:
        notes.append(_pot(threshold, sd, top_c))
    chill_level, chill_sd, chilled = (np.nan, np.nan, []) if leafless else _chilling(about, young, acclimation_c)
    pale_level, pale_sd = (np.nan, np.nan) if leafless else _paling(taxon, about)
    fruit, flower = _crop(about, carried)
    return Tolerance(
        taxon=taxon.scientific,
        threshold_c=threshold,
        sd_k=sd,
        slope_k=effects.SLOPE_K,
        duration_k_per_log2h=effects.DURATION_K_PER_LOG2H,
        duration_sd_k_per_log2h=effects.DURATION_SD_K_PER_LOG2H,
        fruit_c=fruit[0],
        fruit_sd_k=fruit[1],
        flower_c=flower[0],
        flower_sd_k=flower[1],
        chill_level_c=chill_level,
        chill_sd_k=chill_sd,
        chill_dose_k_h=np.array(effects.CHILL_DOSE_K_H),
        pale_level_c=pale_level,
        pale_sd_k=pale_sd,
        provenance=(*notes, *chilled, _stump_note(stump_k, origin), _shelter_note()),
    )


STAGES = ("dormant", "leafy", "flush", "flower", "fruit")
ORIGINS = ("seedling", "grafted", "cutting", "unknown")


def _shelter_note() -> str:
    """Say how published air temperatures and hours of cold are taken."""
    return say(
        "published air temperatures taken {lower} lower (± {sd}) for leaf and wood on a clear night; twice the hours "
        "hurt as much at {milder} milder",
        lower=quantity(effects.AIR_TO_TISSUE_K, "K", "g"),
        sd=quantity(effects.AIR_TO_TISSUE_SD_K, "K", "g"),
        milder=quantity(effects.DURATION_K_PER_LOG2H, "K", "g"),
    )


def _checked(
    age_years: float | None, height_m: float | None, stages: Iterable[str], origin: str, acclimation_c: float | None
) -> frozenset[str]:
    """Check the arguments of `prior`; return the stages."""
    if age_years is not None and not 0 <= age_years <= 500:
        raise ValueError(f"age_years must be from 0 to 500 years, got {age_years}")
    if height_m is not None and not 0 < height_m <= 40:
        raise ValueError(f"height_m must be greater than 0 and at most 40 m, got {height_m}")
    if acclimation_c is not None and not -30 <= acclimation_c <= 40:
        raise ValueError(f"acclimation_c must be from -30 to 40 °C, got {acclimation_c}")
    if origin not in ORIGINS:
        raise ValueError(f"origin must be one of {', '.join(ORIGINS)}, got {origin!r}")
    carried = frozenset(stages)
    if unknown := carried - set(STAGES):
        raise ValueError(f"stages must be of {', '.join(STAGES)}, got {', '.join(sorted(unknown))}")
    return carried


def _condition(origin: str, root_zone: str, hurt_grade: int) -> tuple[float, float, list[str]]:
    """Shift by how it was raised, its water and earlier injury, the uncertainty, and notes. [K], [K]"""
    if root_zone not in effects.ROOT_ZONE_K:
        raise ValueError(f"root_zone must be one of {', '.join(effects.ROOT_ZONE_K)}, got {root_zone!r}")
    if hurt_grade not in range(len(GRADES)):
        raise ValueError(f"hurt_grade must be a grade from 0 to {len(GRADES) - 1}, got {hurt_grade}")
    notes = []
    variance = 0.0
    if origin == "seedling":
        variance += effects.SEEDLING_SD_K**2
        notes.append(say("a seedling: no two are alike (± {sd} more)", sd=quantity(effects.SEEDLING_SD_K, "K", "g")))
    water = effects.ROOT_ZONE_K[root_zone]
    variance += effects.ROOT_ZONE_SD_K[root_zone] ** 2
    if root_zone != "moist":
        doubt = effects.ROOT_ZONE_SD_K[root_zone]
        notes.append(
            say(
                "dry roots: {water} more tender (± {doubt}; reports disagree)"
                if root_zone == "dry"
                else "wet roots: {water} more tender (± {doubt}; reports disagree)",
                water=quantity(water, "K", "g"),
                doubt=quantity(doubt, "K", "g"),
            )
        )
    earlier = effects.earlier_injury_k(hurt_grade)
    variance += (effects.EARLIER_INJURY_SD_SHARE * earlier) ** 2
    if earlier:
        notes.append(
            say(
                "hurt earlier this winter ({grade}): {earlier} more tender",
                grade=say(GRADES[hurt_grade]),
                earlier=quantity(earlier, "K", ".1f"),
            )
        )
    return water + earlier, float(np.sqrt(variance)), notes


def _soften(threshold: Array, sd: Array, about: Kind) -> str:
    """Lay soft new growth over the limits of leaf and twig; return a note."""
    soft, soft_sd = about.flush_c
    if soft > threshold[LEAF, 2]:
        sd[LEAF] = np.sqrt(soft_sd**2 + effects.TREE_SD_K**2 + effects.AIR_TO_TISSUE_SD_K**2)
    flush = soft + np.array([effects.PALER_ABOVE_BURN_K, 0.0, -effects.FLUSH_STEP_K])
    threshold[LEAF, 1:4] = np.maximum(threshold[LEAF, 1:4], flush)
    threshold[TWIG, 5] += effects.FLUSH_TWIG_K
    return say("soft new growth is killed near {soft}", soft=quantity(soft, "°C", ".1f"))


def _pot(threshold: Array, sd: Array, top_c: float) -> str:
    """Give the limits of roots in a pot of a tree whose top dies at `top_c`; return a note."""
    dead = effects.root_c(top_c)
    threshold[ROOT, 1:] = dead + effects.ROOT_STEP_K * np.arange(6, -1, -1)
    sd[ROOT] = np.hypot(effects.ROOT_SD_K, effects.TREE_SD_K)
    return say("in a pot: roots die near {dead}", dead=quantity(dead, "°C", ".1f"))


def _in_leaf(grade_c: Array, grade_sd_k: Array) -> tuple[Array, Array]:
    """Limits of a temperate kind in growth: its hardiness beyond a tender kind's belongs to rest."""
    wood = float(grade_c[7])
    lost = effects.hardening_capacity_k(wood, at_rest=True)
    if lost == 0.0:
        return grade_c, grade_sd_k
    gap = float(effects.organ_gap_k(wood + lost))
    active = wood + lost + gap * np.array(effects.GRADE_POSITION)
    active[1] = active[2] + effects.PALER_ABOVE_BURN_K
    # How hardy it is at rest says little about how tender it is in leaf.
    return active, np.where(np.isnan(grade_sd_k), np.nan, np.minimum(grade_sd_k, effects.IN_LEAF_SD_K))


def _hardening(taxon: Taxon, wood_c: float, acclimation_c: float | None) -> tuple[float, float, list[str]]:
    """Shift by hardening, its uncertainty, and a note. [K], [K]"""
    capacity = taxon.acclimation_k
    if capacity is None:
        capacity = effects.hardening_capacity_k(wood_c, at_rest=False)
    if acclimation_c is None:
        return 0.0, effects.HARDENING_UNKNOWN_SD * capacity, []
    shift = capacity * (effects.HARDENING_PUBLISHED - effects.hardened_share(acclimation_c))
    doubt = 0.5 * effects.HARDENING_UNKNOWN_SD * capacity
    if abs(shift) < 0.05:
        return shift, doubt, []
    note = say(
        "weeks at {weeks}: {shift} more tender than in a usual winter"
        if shift > 0
        else "weeks at {weeks}: {shift} hardier than in a usual winter",
        weeks=quantity(acclimation_c, "°C", ".0f"),
        shift=quantity(abs(shift), "K", ".1f"),
    )
    if taxon.acclimation_source:
        source, _, told = taxon.acclimation_source.partition(": ")
        note = say("{note} ({source}: {told})", note=note, source=source, told=say(told))
    return shift, doubt, [note]


def _chilling(about: Kind, young: float, acclimation_c: float | None) -> tuple[float, float, list[str]]:
    """Chill level, its uncertainty, and a note. [°C], [K]"""
    first_burn, sd = about.chill_c
    if np.isnan(first_burn):
        return np.nan, np.nan, []
    doubt = effects.HARDENING_UNKNOWN_SD * effects.CHILL_HARDENING_K
    first_burn += young * effects.CHILL_YOUNG_K
    if acclimation_c is not None:
        share = effects.hardened_share(acclimation_c)
        first_burn += effects.CHILL_HARDENING_K * (effects.CHILL_HARDENING_PUBLISHED - share)
        doubt *= 0.5
    level = first_burn + effects.CHILL_DOSE_K_H[2] / 8.0
    note = say(
        "suffers above freezing: a night of eight hours at {first_burn} burns some leaf",
        first_burn=quantity(first_burn, "°C", ".0f"),
    )
    return level, float(np.sqrt(sd**2 + effects.TREE_SD_K**2 + doubt**2)), [note]


def _paling(taxon: Taxon, about: Kind) -> tuple[float, float]:
    """Night temperature below which the leaf loses chlorophyll, and its uncertainty. [°C], [K]"""
    if taxon.needs_winter_chill:
        return np.nan, np.nan
    hardier = max(effects.PALE_WOOD_C - float(about.grade_c[7]), 0.0)
    return effects.PALE_C - effects.PALE_PER_K * hardier, float(np.hypot(effects.PALE_SD_K, effects.TREE_SD_K))


def _stump_note(stump_k: float, origin: str) -> str:
    """One sentence on what comes again."""
    if stump_k == 0.0:
        return say("a palm whose top is killed does not come again")
    return say(
        "a top that is killed comes again above the graft unless its wood gets {colder} colder still"
        if origin == "grafted"
        else "a top that is killed comes again from the stump unless its wood gets {colder} colder still",
        colder=quantity(stump_k, "K", "g"),
    )


def _crop(about: Kind, carried: frozenset[str]) -> tuple[tuple[float, float], tuple[float, float]]:
    """Limits of fruit and flowers with their uncertainty; NaN where it carries none. [°C], [K]"""
    nothing = (np.nan, np.nan)
    fruit, fruit_sd = about.fruit_c
    flower, flower_sd = about.flower_c
    of_tree = effects.TREE_SD_K
    return (
        (fruit, float(np.sqrt(fruit_sd**2 + of_tree**2 + effects.AIR_TO_FRUIT_SD_K**2)))
        if "fruit" in carried
        else nothing,
        (flower, float(np.sqrt(flower_sd**2 + of_tree**2 + effects.AIR_TO_TISSUE_SD_K**2)))
        if "flower" in carried
        else nothing,
    )


def _evidence_note(about: Kind) -> str:
    """One sentence on what the kind's limits rest on."""
    wood, sd = about.grade_c[7], about.grade_sd_k[7]
    leaf = about.grade_c[2]
    if about.rows == 0:
        return say(
            "{taxon}: nothing published on freezing of the tree itself; from the kinds of its family ({family}) wood "
            "dies near {wood} (± {sd}), grown, in its own tissue",
            taxon=said_taxon(about.taxon.scientific),
            family=about.taxon.family,
            wood=quantity(float(wood), "°C", ".1f"),
            sd=quantity(float(sd), "K", ".1f"),
        )
    return say(
        "{taxon}, {rows} of {voices}: a grown tree's leaf burns near {leaf}, its wood dies near {wood} (± {sd}), in "
        "its own tissue",
        taxon=said_taxon(about.taxon.scientific),
        rows=say_count("{count} statement", "{count} statements", about.rows),
        voices=say_count("{count} independent source", "{count} independent sources", about.voices),
        leaf=quantity(float(leaf), "°C", ".1f"),
        wood=quantity(float(wood), "°C", ".1f"),
        sd=quantity(float(sd), "K", ".1f"),
    )
