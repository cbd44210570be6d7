"""What do the yard's trees really stand? Learned from graded looks, all trees together.

A tree's limits are those of its kind's prior, moved by one shift [K; above zero: more tender], which is a sum::

    shift = of the yard + young · of young trees + of the kind + of the tree

The yard's part is what is wrong in common with published air temperatures at this yard's trees; the kind's what is
wrong with the published limits of the kind; both are shared, so that one tree teaches the others. Each look says in
which grade the exposures have brought the tree, through an ordinal probit with the spread within a tree as its width,
with the habit of the one who grades, and with the chance that the damage is not of cold, not yet to be seen, or
entered by mistake (`looks`). The scales are learned too.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.gaussian import Design, integrate
from fruitwall.learning.looks import CHILL_SHIFTS_K, LEFT_BY_MISTAKES, MISTAKEN, Look
from fruitwall.learning.matching import Matched, Rows, match
from fruitwall.plants.effects import AIR_TO_TISSUE_SD_K, DURATION_SD_K_PER_LOG2H, TREE_SD_K, YOUNG_GAP_SD_K
from fruitwall.plants.injury import DURATIONS_H

Array = NDArray[np.float64]

OBSERVER_SD_K = 0.3
"""How much milder or harder one person grades than another, as a shift of the limits. Our judgement: half a step
between neighbouring grades of leaf burn."""

CHILL_WIDTH_H = 8.0
"""Spread of the dose of chilling over the spread of the limits: the same as in `plants.injury`. [h]"""

HYPER_SD = np.array([0.35, 0.35, 0.3, DURATION_SD_K_PER_LOG2H])
"""Doubt of the scales. As standard deviations of their logarithms: of the kinds' parts, of the trees' parts, of the
spread within a tree; our judgement: within a factor of two either way, nearly always. And of the effect of duration
[K per doubling], which is among them because the exposure that counts changes with it."""

THREADS, MANY_LOOKS = 2, 200
"""Threads for so many looks; fewer are done before threads have started."""

SCALES = ("kinds", "trees", "spread")


@dataclass(frozen=True)
class TreePrior:
    """What is believed of a tree's shift before anything was learned.

    Attributes
    ----------
    id : str
    kind : str
        Scientific name.
    kind_sd_k, tree_sd_k : float
        Doubt of the published limits of the kind, and how much trees of a kind differ. [K]
    young : float
        How far it counts as young now, 0 to 1.
    chill_kind_sd_k : float
        Doubt of the kind's chill level; zero for kinds that do not suffer above freezing. [K]
    """

    id: str
    kind: str
    kind_sd_k: float
    tree_sd_k: float = TREE_SD_K
    young: float = 0.0
    chill_kind_sd_k: float = 0.0


@dataclass(frozen=True)
class Shift:
    """A shift with its doubt. [K]"""

    mean_k: float
    sd_k: float


@dataclass(frozen=True, eq=False)
class Learned:
    """What was learned of all trees.

    Attributes
    ----------
    trees : dict
        Shift of each tree's limits, the sum of all parts.
    chill : dict
        Shift of each tree's chill level; only of trees that suffer above freezing.
    kinds, observers : dict
        The kinds' parts; the habits of those who grade.
    yard, young : Shift
        The parts that all trees, and all young trees, share.
    duration : Shift
        How much more a doubling of the hours counts than was believed. [K per doubling]
    scales : dict
        Factor on the prior scale of kinds, trees, and spread, with the standard deviation of its logarithm.
    looks : dict
        Number of graded looks by tree.
    pulls : dict
        By look, how far it alone moves the shift of its tree's limits, and that of its chill level (0 where there is
        none): what is believed less what would be without it, the other looks read as they are with it, at the
        likeliest scales. [K]
    """

    trees: dict[str, Shift]
    chill: dict[str, Shift]
    kinds: dict[str, Shift]
    observers: dict[str, Shift]
    yard: Shift
    young: Shift
    duration: Shift
    scales: dict[str, tuple[float, float]]
    looks: dict[str, int]
    pulls: dict[str, tuple[float, float]]


class Layout:
    """Which parameter stands where."""

    def __init__(self, trees: Sequence[TreePrior], observers: Sequence[str]) -> None:
        self.kind_of = {tree.id: tree.kind for tree in trees}
        kinds = sorted({tree.kind for tree in trees})
        chilled = [at for at, tree in enumerate(trees) if tree.chill_kind_sd_k > 0]
        chill_kinds = sorted({trees[at].kind for at in chilled})
        self.kinds = {name: 2 + at for at, name in enumerate(kinds)}
        first_tree = 2 + len(kinds)
        self.tree_at = {tree.id: first_tree + at for at, tree in enumerate(trees)}
        first_observer = first_tree + len(trees)
        first_chill_kind = first_observer + len(observers)
        first_chill_tree = first_chill_kind + len(chill_kinds)
        self.observers = {name: first_observer + at for at, name in enumerate(observers)}
        self.chill_kinds = {name: first_chill_kind + at for at, name in enumerate(chill_kinds)}
        self.chill_trees = {trees[at].id: first_chill_tree + n for n, at in enumerate(chilled)}
        self.size = first_chill_tree + len(chilled)
        sd = np.empty(self.size)
        sd[:2] = AIR_TO_TISSUE_SD_K, YOUNG_GAP_SD_K
        of_kinds, of_trees = np.zeros(self.size, dtype=bool), np.zeros(self.size, dtype=bool)
        for at, tree in enumerate(trees):
            sd[self.kinds[tree.kind]] = tree.kind_sd_k
            of_kinds[self.kinds[tree.kind]] = True
            sd[first_tree + at] = tree.tree_sd_k
            of_trees[first_tree + at] = True
            if tree.id in self.chill_trees:
                # Not under the scales: few kinds suffer above freezing, and frost tells nothing of how these differ.
                sd[self.chill_kinds[tree.kind]] = tree.chill_kind_sd_k
                sd[self.chill_trees[tree.id]] = TREE_SD_K
        sd[first_observer:first_chill_kind] = OBSERVER_SD_K
        self.sd, self.groups = sd, np.array([of_kinds, of_trees])
        self.shift_of = np.zeros((len(trees), self.size))
        self.chill_of = np.zeros((len(trees), self.size))
        for at, tree in enumerate(trees):
            self.shift_of[at, [0, self.kinds[tree.kind], first_tree + at]] = 1.0
            self.shift_of[at, 1] = tree.young
            if tree.id in self.chill_trees:
                self.chill_of[at, [self.chill_kinds[tree.kind], self.chill_trees[tree.id]]] = 1.0

    def marginal_sd(self) -> Array:
        """Prior standard deviations over what is not known of the scales: a log-normal factor's second moment."""
        return self.sd_at(np.array([HYPER_SD[0] ** 2, HYPER_SD[1] ** 2]))

    def sd_at(self, scales: Array) -> Array:
        """Prior standard deviations under scales (their logarithms, as in `HYPER_SD`)."""
        return np.asarray(self.sd * np.exp(scales[:2] @ self.groups))


@dataclass(frozen=True, eq=False)
class Data:
    """The looks as arrays.

    Attributes
    ----------
    beyond_k : ndarray [look, grade or above, tissue, duration]
    scale : ndarray [look, tissue]
    log2h : ndarray [duration]
        Logarithm of the durations.
    cold, seen : ndarray [look]
        As in `Look`, times the chance that the entry is no mistake.
    pale : ndarray [look, grade or above]
        Chance that cool nights alone have not brought grade 1; one for all other grades.
    slope_k, young : ndarray [look]
    dose_k_h : ndarray [look, shift]
    needed_k_h : ndarray [look, grade or above]
    index : ndarray of int [look, part]
        Which parameters a look meets: yard, young, kind, tree, observer, chill of kind and of tree; -1 for none.
    """

    beyond_k: Array
    scale: Array
    log2h: Array
    cold: Array
    seen: Array
    pale: Array
    slope_k: Array
    young: Array
    dose_k_h: Array
    needed_k_h: Array
    index: NDArray[np.int64]

    @property
    def rest(self) -> tuple[Any, ...]:
        """What `matching` needs besides the rows."""
        return (
            LEFT_BY_MISTAKES, self.cold, self.seen, self.pale, self.slope_k, self.dose_k_h, self.needed_k_h,
            CHILL_WIDTH_H, float(CHILL_SHIFTS_K[0]), float(CHILL_SHIFTS_K[1] - CHILL_SHIFTS_K[0]), self.index,
        )  # fmt: skip

    @property
    def weights(self) -> Array:
        """Coefficients of each look's shift over the first five parameters that it meets. [look, 5]"""
        ones = np.ones(len(self.young))
        return np.stack([ones, self.young, ones, ones, ones], axis=1)

    def rows(self, duration_k_per_log2h: float) -> Rows:
        """Give how far the exposures passed the limits, as lines over the shift.

        Parameters
        ----------
        duration_k_per_log2h : float
            How much more a doubling of the hours counts than was believed. [K per doubling]

        Returns
        -------
        Rows
            With one line per tissue: that of its worst hours.
        """
        passed = self.beyond_k + self.log2h * duration_k_per_log2h  # [look, grade or above, tissue, duration]
        hours = passed.argmax(axis=3)
        offset = np.take_along_axis(passed, hours[..., None], axis=3)[..., 0]
        rate = np.broadcast_to(self.scale[:, None, :], offset.shape)
        certain, none = np.isposinf(offset).any(axis=2), np.isneginf(offset)
        order = np.argsort(none, axis=2, kind="stable")
        by_tissue = (np.take_along_axis(one, order, axis=2) for one in (offset, rate, self.log2h[hours]))
        offset, rate, log2h = (np.ascontiguousarray(one) for one in by_tissue)
        return Rows(offset, rate, log2h, np.where(certain, -1, (~none).sum(axis=2)))


def in_order(looks: Sequence[Look]) -> list[Look]:
    """Give the looks in the order of `Data`: tree by tree."""
    return sorted(looks, key=lambda one: (one.tree, one.id))


def _data(looks: Sequence[Look], layout: Layout, hours: Array) -> Data:
    """Put looks into arrays."""
    kind_of = layout.kind_of
    index = [
        (
            0,
            1,
            layout.kinds[kind_of[one.tree]],
            layout.tree_at[one.tree],
            layout.observers[one.observer],
            layout.chill_kinds[kind_of[one.tree]] if one.tree in layout.chill_trees else -1,
            layout.chill_trees.get(one.tree, -1),
        )
        for one in looks
    ]
    return Data(
        beyond_k=np.array([one.beyond_k for one in looks]),
        scale=np.array([one.scale for one in looks]),
        log2h=np.log2(hours),
        cold=np.array([one.cold for one in looks]) * (1.0 - MISTAKEN),
        seen=np.array([one.seen for one in looks]) * (1.0 - MISTAKEN),
        pale=np.array([[1.0 - one.paled if at == 1 else 1.0 for at in (one.grade, one.grade + 1)] for one in looks]),
        slope_k=np.array([one.slope_k for one in looks]),
        young=np.array([one.young for one in looks]),
        dose_k_h=np.array([one.chill_dose_k_h for one in looks]),
        needed_k_h=np.array([one.chill_needed_k_h for one in looks]),
        index=np.array(index, dtype=np.int64),
    )


def learn(trees: Sequence[TreePrior], looks: Sequence[Look], durations_h: Sequence[float] = DURATIONS_H) -> Learned:
    """Learn from all looks at all trees of a yard.

    Parameters
    ----------
    trees : sequence of TreePrior
        All trees that looks name; also trees without looks learn, from their kind's others.
    looks : sequence of Look
        In any order; the result does not depend on it.
    durations_h : sequence of float
        Durations of the exposures in the looks. [h]

    Returns
    -------
    Learned

    Raises
    ------
    ValueError
        If a look names a tree that is not given, or a tree or a look comes twice.

    Notes
    -----
    Normal posteriors by matching of moments (`matching`) at points of the scales, joined by their weights (`gaussian`);
    docs/learning.md tells how far that is from sampling.
    """
    layout, data = prepare(trees, looks, durations_h)
    if data is None:
        return _told(layout, looks, None, {})

    def fit(scales: Array, near: Matched | None) -> Matched:
        spread, duration_k = float(np.exp(scales[2])), float(scales[3])
        return match(data, layout.sd_at(scales), layout.groups, spread, duration_k, near)

    design = integrate(fit, HYPER_SD, threads=THREADS if len(looks) > MANY_LOOKS else 1)
    return _told(layout, looks, design, _pulls(layout, data, looks, design.fits[0]))


def prepare(
    trees: Sequence[TreePrior], looks: Sequence[Look], durations_h: Sequence[float]
) -> tuple[Layout, Data | None]:
    """Put trees and looks in their own order and into arrays; no data without looks.

    Parameters
    ----------
    trees, looks, durations_h
        As for `learn`.

    Raises
    ------
    ValueError
        As `learn`.
    """
    trees = sorted(trees, key=lambda one: one.id)
    names = [one.id for one in trees]
    if len(set(names)) != len(names):
        raise ValueError("trees must not come twice")
    if len({one.id for one in looks}) != len(looks):
        raise ValueError("looks must not come twice")
    if unknown := sorted({one.tree for one in looks} - set(names)):
        raise ValueError(f"looks name trees that are not given: {', '.join(unknown)}")
    layout = Layout(trees, sorted({one.observer for one in looks}))
    hours = np.asarray(durations_h, dtype=np.float64)
    return layout, _data(in_order(looks), layout, hours) if looks else None


def _told(
    layout: Layout, looks: Sequence[Look], design: Design[Matched] | None, pulls: dict[str, tuple[float, float]]
) -> Learned:
    """Read all shifts from the design; the priors where there were no looks."""

    def shift(weights: Array) -> Shift:
        if design is None:
            return Shift(0.0, float(np.sqrt((weights**2) @ layout.marginal_sd() ** 2)))
        means = np.array([weights @ one.mean for one in design.fits])
        variances = np.array([weights @ one.covariance @ weights for one in design.fits])
        mean = float(design.weights @ means)
        return Shift(mean, float(np.sqrt(design.weights @ (variances + (means - mean) ** 2))))

    def single(at: int) -> Shift:
        return shift(np.eye(layout.size)[at])

    points, weights = (np.zeros((1, HYPER_SD.size)), np.ones(1)) if design is None else (design.points, design.weights)
    middle = weights @ points
    doubt = HYPER_SD if design is None else np.sqrt(weights @ (points - middle) ** 2)
    looked = Counter(look.tree for look in looks)
    return Learned(
        trees={name: shift(layout.shift_of[at]) for at, name in enumerate(layout.kind_of)},
        chill={
            name: shift(layout.chill_of[at]) for at, name in enumerate(layout.kind_of) if name in layout.chill_trees
        },
        kinds={name: single(at) for name, at in layout.kinds.items()},
        observers={name: single(at) for name, at in layout.observers.items()},
        yard=single(0),
        young=single(1),
        duration=Shift(float(middle[3]), float(doubt[3])),
        scales={name: (float(np.exp(middle[at])), float(doubt[at])) for at, name in enumerate(SCALES)},
        looks={name: looked[name] for name in layout.kind_of},
        pulls=pulls,
    )


def _pulls(layout: Layout, data: Data, looks: Sequence[Look], fit: Matched) -> dict[str, tuple[float, float]]:
    """Give how far each look moves its own tree."""
    rows = data.index[:, 3] - min(layout.tree_at.values())
    pulls = fit.pulls(data, layout.shift_of[rows], layout.chill_of[rows])
    ids = [one.id for one in in_order(looks)]
    return {name: (float(shift), float(chill)) for name, (shift, chill) in zip(ids, pulls, strict=True)}
