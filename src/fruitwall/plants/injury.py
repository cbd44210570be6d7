"""How badly will a tree be hurt by what its tissues go through?

From exposures (the coldest 30 min, 1, 2, 4, 8 h of each tissue) and a `Tolerance` to the chance of each grade of
injury, to the share of the tree's worth that is lost, and to the temperature of first injury. Where exposures come
from is the physics layer's question, where tolerance comes from is `plants.tolerance`'s.

Two ways of being hurt are kept apart: freezing (acute; the worst exposure governs) and chilling (slow; degree-hours):
burnt leaf in kinds that suffer above freezing, and leaf that pales in weeks of cool nights in most evergreens. Whatever
is unknown of a tree is the same unknown in every ensemble member,
every night and every tissue: it is one shift of the whole tree, so

- the mean of `grade_chances` over members is the chance under forecast *and* tolerance uncertainty;
- several nights must be joined here (`nights_axis`), not by multiplying nightly chances: a tree that stood Monday's
  frost is a tree that will stand the same again on Tuesday.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fruitwall.plants.effects import PALE_DOSE_K_H, PALE_MEMORY
from fruitwall.plants.normal import ndtr
from fruitwall.plants.tolerance import FRUIT, GRADES, LEAF, ROOT, TISSUES, TWIG, WOOD, Tolerance

DURATIONS_H = (0.5, 1.0, 2.0, 4.0, 8.0)
"""Durations of the exposures, unless the caller names others. [h]"""

LOSS_SHARES = np.array([0.0, 0.01, 0.04, 0.12, 0.25, 0.45, 0.75, 1.0])
"""Share of a tree's worth lost by grade 0-7.

An assumption, not a published scale. Anchors: a dead tree loses all; one whose limbs are dead is cut to stump or trunk
and takes three or four of perhaps five years to come back (0.75); dead twigs cost the next crop and a year's growth
(0.45); full defoliation costs part of a crop (0.25); some burnt leaf is looks and a little growth.
"""

FREEZING_GATE_C = 1.0
"""Below 0 °C by so much, ice may be taken as formed; between, supercooling makes it gradually less likely. [K]

No tissue freezes above 0 °C, however wide the uncertainty of its threshold. Snyder and de Melo-Abreu (2005), Frost
protection (FAO), chapter 4: ice forms in plants from somewhat below 0 °C on, the nuclei decide; the width of the
ramp is an assumption.
"""

CHILL_MEMORY = 0.5
"""Share of a night's chilling that the leaf still carries into the next night. Assumption: recovery within days."""

_P10 = 1.2815515655446004  # standard normal quantile of 0.9


def _standard_normal_nodes(count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Equally spaced nodes and weights for the mean over a standard normal, out to 3.6 standard deviations."""
    nodes = np.linspace(-3.6, 3.6, count)
    weights = np.exp(-0.5 * nodes**2)
    return nodes, weights / weights.sum()


_NODES = _standard_normal_nodes(25)
"""The dose turns sharply into a grade where the level is much less known than `Tolerance.slope_k`: 25 equal steps are
within 0.006 there, as many Gauss-Hermite nodes within 0.03."""


def grade_chances(
    tolerance: Tolerance,
    coldest_c: ArrayLike,
    durations_h: Sequence[float] = DURATIONS_H,
    *,
    nights_axis: int | None = None,
) -> NDArray[np.float64]:
    """Give the chance of each grade of injury.

    Parameters
    ----------
    tolerance : Tolerance
        What the tree stands.
    coldest_c : array_like [..., tissue, duration]
        Lowest running mean of each tissue's temperature over each duration, tissues as in `TISSUES`. NaN where a
        tissue is absent. [°C]
    durations_h : sequence of float
        The durations, each greater than 0. [h]
    nights_axis : int, optional
        Axis of `coldest_c` along which successive nights lie, oldest first; they are joined to the chance of the
        worst grade over all of them. Without it every night stands for itself.

    Returns
    -------
    ndarray [..., 8]
        Chances of grade 0 to 7, summing to one, over what is unknown of the tree. NaN where every tissue is NaN.

    Raises
    ------
    ValueError
        If the last two axes are not tissues and durations, or a duration is not positive.

    Notes
    -----
    A tissue t at temperature T for d hours feels like one hour at T - b log2(d); over its durations the worst counts.
    It reaches grade g or worse if that lies below threshold[t, g] + s[t] z with z standard normal, one z for the whole
    tree, and s² = sd² + slope². The tree is as bad as its worst tissue. All events are half-lines of the same z, so
    their union is the longest of them and the integral over z is exact::

        P(grade ≥ g) = max over t and g' ≥ g of Φ((threshold[t, g'] - felt[t]) / s[t])

    What is not known of b is a second unknown of the tree, summed over three Gauss-Hermite nodes. Chilling works
    through another mechanism with its own unknown: P = 1 - (1 - P_freeze)(1 - P_chill); so does paling, which is
    grade 1 and no more.
    """
    cold, hours = _exposures(coldest_c, durations_h)
    if nights_axis is not None and not 0 <= nights_axis < cold.ndim - 2:
        raise ValueError(
            f"nights_axis must be an axis of coldest_c before tissue and duration, 0 to {cold.ndim - 3}, "
            f"got {nights_axis}"
        )
    at_least = np.zeros(())
    for weight, per_log2h in _durations(tolerance):
        felt = felt_c(cold, hours, per_log2h)
        if nights_axis is not None:
            felt = _nanmin(felt, nights_axis)
        at_least = at_least + weight * _frozen_at_least(tolerance, felt)
    if not np.isnan(tolerance.chill_level_c):
        at_least = 1.0 - (1.0 - at_least) * (1.0 - _chilled_at_least(tolerance, cold, hours, nights_axis))
    if not np.isnan(tolerance.pale_level_c):
        at_least[..., 1] = 1.0 - (1.0 - at_least[..., 1]) * (1.0 - _paler(tolerance, cold, hours, nights_axis))
    at_least[..., 0] = 1.0
    return _from_at_least(_falling(at_least), unknown=np.asarray(np.isnan(felt).all(axis=-1)))


def chances_of_felt(tolerance: Tolerance, felt: ArrayLike) -> NDArray[np.float64]:
    """Give the chance of each grade by freezing alone, from what tissues felt (`felt_c`).

    Parameters
    ----------
    tolerance : Tolerance
        What the tree stands.
    felt : array_like [..., tissue]
        One-hour temperatures as `felt_c` gives them; of several nights the lowest. Infinite without ice. [°C]

    Returns
    -------
    ndarray [..., 8]
        Chances of grade 0 to 7, summing to one; NaN where every tissue is NaN.
    """
    felt = np.asarray(felt, dtype=np.float64)
    at_least = _frozen_at_least(tolerance, felt)
    at_least[..., 0] = 1.0
    return _from_at_least(_falling(at_least), unknown=np.asarray(np.isnan(felt).all(axis=-1)))


def fruit_loss_chance(
    tolerance: Tolerance, coldest_c: ArrayLike, durations_h: Sequence[float] = DURATIONS_H
) -> NDArray[np.float64]:
    """Give the expected share of the fruit (or of the bloom) that the night takes.

    Parameters
    ----------
    tolerance : Tolerance
        What the tree stands; its `fruit_c` and `flower_c` say whether it carries fruit or flowers.
    coldest_c : array_like [..., tissue, duration]
        As for `grade_chances`. Flowers are taken at leaf temperature, or at that of twigs on a leafless tree. [°C]
    durations_h : sequence of float
        The durations. [h]

    Returns
    -------
    ndarray [...]
        0-1; the worse of fruit and flower. 0 if the tree carries neither; NaN if it does but the tissue is NaN.
    """
    cold, hours = _exposures(coldest_c, durations_h)
    lost = np.zeros(cold.shape[:-2])
    for weight, per_log2h in _durations(tolerance):
        lost = lost + weight * _crop_lost(tolerance, felt_c(cold, hours, per_log2h))
    return lost


def _crop_lost(tolerance: Tolerance, felt: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of fruit or bloom lost, for felt temperatures [..., tissue]. [...]"""
    lost = np.zeros(felt.shape[:-1])
    if not np.isnan(tolerance.fruit_c):
        spread = np.hypot(tolerance.fruit_sd_k, tolerance.slope_k)
        lost = np.maximum(lost, ndtr((tolerance.fruit_c - felt[..., FRUIT]) / spread))
    if not np.isnan(tolerance.flower_c):
        at_flower = np.where(np.isnan(felt[..., LEAF]), felt[..., TWIG], felt[..., LEAF])
        spread = np.hypot(tolerance.flower_sd_k, tolerance.slope_k)
        lost = np.maximum(lost, ndtr((tolerance.flower_c - at_flower) / spread))
    return lost


def loss_share(chances: ArrayLike) -> NDArray[np.float64]:
    """Give the expected share of the tree's worth lost.

    Parameters
    ----------
    chances : array_like [..., 8]
        Chances of grade 0 to 7, as from `grade_chances`.

    Returns
    -------
    ndarray [...]
        0-1, by `LOSS_SHARES`.

    Raises
    ------
    ValueError
        If the last axis is not the eight grades.
    """
    p = np.asarray(chances, dtype=np.float64)
    if p.ndim == 0 or p.shape[-1] != len(GRADES):
        raise ValueError(f"chances must have the {len(GRADES)} grades as last axis, got shape {p.shape}")
    return np.asarray(p @ LOSS_SHARES)


def first_injury_c(tolerance: Tolerance, tissue: str) -> tuple[float, float, float]:
    """Give the temperature at which a tissue is first injured within an hour.

    Parameters
    ----------
    tolerance : Tolerance
        What the tree stands.
    tissue : str
        One of `TISSUES`.

    Returns
    -------
    p10, p50, p90 : float
        Coldest first. The least of the grades that count as harm: leaf grade 2, twig 5, wood 6, root 2, and half of
        the fruit. For the leaf of a kind that suffers above freezing the temperature of an eight-hour night that
        gives grade 2 if that is warmer. Freezing counts from 0 °C down. NaN where the tissue is absent. [°C]

    Raises
    ------
    ValueError
        If the tissue is not one of `TISSUES`.
    """
    if tissue not in TISSUES:
        raise ValueError(f"tissue must be one of {', '.join(TISSUES)}, got {tissue!r}")
    t = TISSUES.index(tissue)
    by_chill = False
    if t == FRUIT:
        middle, sd = tolerance.fruit_c, tolerance.fruit_sd_k
    else:
        middle = float(tolerance.threshold_c[t, {LEAF: 2, TWIG: 5, WOOD: 6, ROOT: 2}[t]])
        sd = float(tolerance.sd_k[t])
        chilled = tolerance.chill_level_c - tolerance.chill_dose_k_h[2] / 8.0
        if t == LEAF and chilled > middle:
            middle, sd, by_chill = float(chilled), tolerance.chill_sd_k, True
    spread = _P10 * float(np.hypot(sd, tolerance.slope_k))
    if by_chill:
        return middle - spread, middle, middle + spread
    return min(middle - spread, 0.0), min(middle, 0.0), min(middle + spread, 0.0)


def _durations(tolerance: Tolerance) -> list[tuple[float, float]]:
    """Weights and values that stand for what is not known of the effect of duration: never below 0. [-], [K per log2 h]

    Three Gauss-Hermite nodes, exact for chances that bend up to the fifth power.
    """
    middle, sd = tolerance.duration_k_per_log2h, tolerance.duration_sd_k_per_log2h
    if sd == 0.0:
        return [(1.0, middle)]
    return [(w, max(middle + z * sd, 0.0)) for w, z in ((1 / 6, -np.sqrt(3.0)), (2 / 3, 0.0), (1 / 6, np.sqrt(3.0)))]


def felt_c(
    coldest_c: NDArray[np.float64], hours: NDArray[np.float64], duration_k_per_log2h: float
) -> NDArray[np.float64]:
    """Give the one-hour temperature that hurts a tissue as much as its worst exposure.

    Parameters
    ----------
    coldest_c : ndarray [..., tissue, duration]
        Lowest running means. [°C]
    hours : ndarray [duration]
        Durations. [h]
    duration_k_per_log2h : float
        Effect of duration. [K per doubling]

    Returns
    -------
    ndarray [..., tissue]
        Infinite where no exposure is below 0 °C: without ice there is no freezing injury. NaN where all are NaN. [°C]
    """
    with np.errstate(divide="ignore", over="ignore"):
        # Between 0 and -FREEZING_GATE_C ice is not yet certain: as if it were warmer, without bound at 0.
        supercooled = np.maximum(FREEZING_GATE_C / np.maximum(-coldest_c, 0.0) - 1.0, 0.0)
    return _nanmin(coldest_c - duration_k_per_log2h * np.log2(hours) + supercooled, axis=-1)


def expected_felt_c(
    tolerance: Tolerance, coldest_c: ArrayLike, durations_h: Sequence[float] = DURATIONS_H
) -> NDArray[np.float64]:
    """Give `felt_c` in the mean over what is not known of the effect of duration.

    Colder than with its middle value where several durations hurt nearly alike: for every value the worst of them
    counts. Chances from this single number (`chances_of_felt`) differ from those of `grade_chances` by at most 0.025,
    those from the middle value by up to 0.07.

    Parameters
    ----------
    tolerance : Tolerance
    coldest_c : array_like [..., tissue, duration]
        As for `grade_chances`. [°C]
    durations_h : sequence of float
        [h]

    Returns
    -------
    ndarray [..., tissue]
        [°C]
    """
    cold, hours = _exposures(coldest_c, durations_h)
    return np.asarray(sum(weight * felt_c(cold, hours, per_log2h) for weight, per_log2h in _durations(tolerance)))


def _exposures(coldest_c: ArrayLike, durations_h: Sequence[float]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Check and return exposures and durations as arrays."""
    cold = np.asarray(coldest_c, dtype=np.float64)
    hours = np.asarray(durations_h, dtype=np.float64)
    if not (hours > 0).all():
        raise ValueError(f"durations_h must all be greater than 0 h, got {list(durations_h)}")
    expected = (len(TISSUES), hours.size)
    if cold.shape[-2:] != expected:
        raise ValueError(f"coldest_c must end in the axes tissue, duration of sizes {expected}, got shape {cold.shape}")
    return cold, hours


def _nanmin(values: NDArray[np.float64], axis: int) -> NDArray[np.float64]:
    """Lowest along an axis, passing over NaN; NaN where all are."""
    return np.asarray(np.fmin.reduce(values, axis=axis))


def _frozen_at_least(tolerance: Tolerance, felt: NDArray[np.float64]) -> NDArray[np.float64]:
    """Chance of freezing injury of at least each grade. [..., 8]"""
    at_least = np.zeros((*felt.shape[:-1], len(GRADES)))
    spread = np.hypot(tolerance.sd_k, tolerance.slope_k)
    for t in range(len(TISSUES)):
        causes = np.flatnonzero(~np.isnan(tolerance.threshold_c[t]))
        for g in causes[causes > 0]:
            p = ndtr((tolerance.threshold_c[t, g] - felt[..., t]) / spread[t])
            at_least[..., g] = np.fmax(at_least[..., g], p)
    return at_least


def _chilled_at_least(
    tolerance: Tolerance, cold: NDArray[np.float64], hours: NDArray[np.float64], nights_axis: int | None
) -> NDArray[np.float64]:
    """Chance of chilling injury of at least each grade. [..., 8] without the nights' axis

    The dose bends where the leaf stays above the level, and nights add up: no closed form, so equally spaced nodes
    over what is unknown of the level.
    """
    causes = [g for g in range(1, len(GRADES)) if not np.isnan(tolerance.chill_dose_k_h[g])]
    kept = [n for axis, n in enumerate(cold.shape[:-2]) if axis != nights_axis]
    at_least = np.zeros((*kept, len(GRADES)))
    for node, weight in zip(*_NODES, strict=True):
        level = tolerance.chill_level_c + node * tolerance.chill_sd_k
        dose = _dose(level, cold, hours, nights_axis, CHILL_MEMORY)
        for g in causes:
            at_least[..., g] += weight * _reached(dose, tolerance.chill_dose_k_h[g], tolerance)
    return at_least


def _paler(
    tolerance: Tolerance, cold: NDArray[np.float64], hours: NDArray[np.float64], nights_axis: int | None
) -> NDArray[np.float64]:
    """Chance that cool nights have made the leaf paler. [...] without the nights' axis

    The dose rises with the level: all levels above the one that just suffices pale, found between the nodes by a
    straight line. (A sum over the nodes would be off by half of a node's weight.)
    """
    nodes = _NODES[0][::2]

    def dose(z: float) -> NDArray[np.float64]:
        return _dose(tolerance.pale_level_c + z * tolerance.pale_sd_k, cold, hours, nights_axis, PALE_MEMORY)

    most = dose(nodes[-1])
    if (most < PALE_DOSE_K_H).all():
        return np.zeros(most.shape)
    doses = np.stack([*(dose(z) for z in nodes[:-1]), most])
    above = np.clip((doses < PALE_DOSE_K_H).sum(axis=0), 1, nodes.size - 1)
    low, high = (np.take_along_axis(doses, (above - back)[None], axis=0)[0] for back in (1, 0))
    share = (PALE_DOSE_K_H - low) / np.maximum(high - low, 1e-9)
    just = nodes[above - 1] + np.clip(share, 0.0, 1.0) * (nodes[above] - nodes[above - 1])
    return np.where(most < PALE_DOSE_K_H, 0.0, ndtr(-just))


def _dose(
    level_c: float, cold: NDArray[np.float64], hours: NDArray[np.float64], nights_axis: int | None, memory: float
) -> NDArray[np.float64]:
    """Degree-hours of the leaf below a level, the worst over the nights. [...] without the nights' axis, in [K h]"""
    dose = np.nan_to_num(np.fmax.reduce(np.maximum(level_c - cold[..., LEAF, :], 0.0) * hours, axis=-1))
    return dose if nights_axis is None else _carried(dose, nights_axis, memory)


def _reached(dose: NDArray[np.float64], needed_k_h: float, tolerance: Tolerance) -> NDArray[np.float64]:
    """Share of a crown that a dose has brought over what is needed; none without a dose. [...]"""
    reached = ndtr((dose - needed_k_h) / (8.0 * tolerance.slope_k))
    return np.asarray(np.where(dose > 0, reached, 0.0))


def _carried(dose: NDArray[np.float64], axis: int, memory: float) -> NDArray[np.float64]:
    """Worst chilling over successive nights, each carrying a share into the next. [...] without `axis`"""
    nights = np.moveaxis(dose, axis, 0)
    carried = np.zeros(nights.shape[1:])
    worst = carried
    for night in nights:
        carried = memory * carried + night
        worst = np.maximum(worst, carried)
    return worst


def _falling(at_least: NDArray[np.float64]) -> NDArray[np.float64]:
    """Make each grade at least as likely as the worse ones: a tree with dead limbs has also lost its leaf."""
    return np.maximum.accumulate(at_least[..., ::-1], axis=-1)[..., ::-1]


def _from_at_least(at_least: NDArray[np.float64], *, unknown: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Chances of the single grades. [..., 8]"""
    chances = at_least.copy()
    chances[..., :-1] -= at_least[..., 1:]
    chances[unknown] = np.nan
    return chances
