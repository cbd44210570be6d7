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

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fruitwall.learning.gaussian import Design, Gaussian, around_mode, integrate
from fruitwall.learning.looks import CHILL_SHIFTS_K, MISTAKEN, Look
from fruitwall.learning.matching import Matched, match
from fruitwall.plants.effects import AIR_TO_TISSUE_SD_K, DURATION_SD_K_PER_LOG2H, TREE_SD_K, YOUNG_GAP_SD_K
from fruitwall.plants.injury import DURATIONS_H

Array = NDArray[np.float64]

OBSERVER_SD_K = 0.3
"""How much milder or harder one person grades than another, as a shift of the limits. Our judgement: half a step
between neighbouring grades of leaf burn."""

CHILL_WIDTH_H = 8.0
"""Spread of the dose of chilling over the spread of the limits: the same as in `plants.injury`. [h]"""

REACHES_K = (-4.0, -1.5, 0.0, 1.5, 4.0)
"""Shifts from the mode at which the counting exposures of a look are picked for the matching of moments. [K]"""

ROUNDS = 4
"""How often the counting exposures are looked at again."""

HYPER_SD = np.array([0.35, 0.35, 0.3])
"""Doubt of the scales, as standard deviations of their logarithms: of the kinds' parts, of the trees' parts, of the
spread within a tree. Our judgement: within a factor of two either way, nearly always."""


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
    scales : dict
        Factor on the prior scale of kinds, trees, and spread, with the standard deviation of its logarithm.
    looks : dict
        Number of graded looks by tree.
    pulls : dict
        By look, how far it alone moved the shift of its tree's limits, and that of its chill level (0 where there is
        none). [K]
    """

    trees: dict[str, Shift]
    chill: dict[str, Shift]
    kinds: dict[str, Shift]
    observers: dict[str, Shift]
    yard: Shift
    young: Shift
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
        self.kinds = {name: 3 + at for at, name in enumerate(kinds)}
        first_tree = 3 + len(kinds)
        self.tree_at = {tree.id: first_tree + at for at, tree in enumerate(trees)}
        first_observer = first_tree + len(trees)
        first_chill_kind = first_observer + len(observers)
        first_chill_tree = first_chill_kind + len(chill_kinds)
        self.observers = {name: first_observer + at for at, name in enumerate(observers)}
        self.chill_kinds = {name: first_chill_kind + at for at, name in enumerate(chill_kinds)}
        self.chill_trees = {trees[at].id: first_chill_tree + n for n, at in enumerate(chilled)}
        self.size = first_chill_tree + len(chilled)
        sd = np.empty(self.size)
        sd[:3] = AIR_TO_TISSUE_SD_K, YOUNG_GAP_SD_K, DURATION_SD_K_PER_LOG2H
        of_kinds, of_trees = np.zeros(self.size, dtype=bool), np.zeros(self.size, dtype=bool)
        for at, tree in enumerate(trees):
            sd[self.kinds[tree.kind]] = tree.kind_sd_k
            of_kinds[self.kinds[tree.kind]] = True
            sd[first_tree + at] = tree.tree_sd_k
            of_trees[first_tree + at] = True
            if tree.id in self.chill_trees:
                sd[self.chill_kinds[tree.kind]] = tree.chill_kind_sd_k
                of_kinds[self.chill_kinds[tree.kind]] = True
                sd[self.chill_trees[tree.id]] = TREE_SD_K
                of_trees[self.chill_trees[tree.id]] = True
        sd[first_observer:first_chill_kind] = OBSERVER_SD_K
        self.sd, self.of_kinds, self.of_trees = sd, of_kinds, of_trees
        self.shift_of = np.zeros((len(trees), self.size))
        self.chill_of = np.zeros((len(trees), self.size))
        for at, tree in enumerate(trees):
            self.shift_of[at, [0, self.kinds[tree.kind], first_tree + at]] = 1.0
            self.shift_of[at, 1] = tree.young
            if tree.id in self.chill_trees:
                self.chill_of[at, [self.chill_kinds[tree.kind], self.chill_trees[tree.id]]] = 1.0

    def sd_at(self, scales: Array) -> Array:
        """Prior standard deviations under hyperparameters."""
        return np.asarray(
            self.sd * np.where(self.of_kinds, np.exp(scales[0]), 1.0) * np.where(self.of_trees, np.exp(scales[1]), 1.0)
        )


class Data:
    """The looks as arrays.

    ``beyond`` [look, grade or above, line] and ``scale`` [look, line] hold `Look.beyond_k` and `Look.scale` with
    tissues and durations in one axis of lines, ``log2h`` [line] the logarithm of the durations; ``pale`` [look, grade or
    above] is the chance that cool nights alone have not brought grade 1 (one for all other grades); ``index``
    [look, part] tells which parameters a look meets, -1 for none.
    """

    def __init__(self, looks: Sequence[Look], layout: Layout, hours: Array) -> None:
        count = len(looks)
        kind_of = layout.kind_of
        self.arrays = (
            np.array([one.beyond_k for one in looks]).reshape(count, 2, -1),
            np.repeat(np.array([one.scale for one in looks]), hours.size, axis=1),
            np.tile(np.log2(hours), looks[0].scale.size),
            np.array([one.cold for one in looks]) * (1.0 - MISTAKEN),
            np.array([one.seen for one in looks]) * (1.0 - MISTAKEN),
            np.array([[1.0 - one.paled if at == 1 else 1.0 for at in (one.grade, one.grade + 1)] for one in looks]),
            np.array([one.slope_k for one in looks]),
            np.array([one.young for one in looks]),
            np.array([one.chill_dose_k_h for one in looks]),
            np.array([one.chill_needed_k_h for one in looks]),
            CHILL_WIDTH_H,
            float(CHILL_SHIFTS_K[0]),
            float(CHILL_SHIFTS_K[1] - CHILL_SHIFTS_K[0]),
            np.array(
                [
                    (
                        0,
                        1,
                        2,
                        layout.kinds[kind_of[one.tree]],
                        layout.tree_at[one.tree],
                        layout.observers[one.observer],
                        layout.chill_kinds[kind_of[one.tree]] if one.tree in layout.chill_trees else -1,
                        layout.chill_trees.get(one.tree, -1),
                    )
                    for one in looks
                ],
                dtype=np.int64,
            ),
        )

    @property
    def index(self) -> NDArray[np.int64]:
        """Which parameters each look meets. [look, part]"""
        return self.arrays[13]

    @property
    def rest(self) -> tuple[Any, ...]:
        """What `matching` needs besides the shift's rows."""
        return tuple(self.arrays[at] for at in (3, 4, 5, 6, 8, 9, 10, 11, 12, 13))

    def shift_rows(self, at: Array) -> tuple[Array, Array, Array]:
        """Give each look's shift scalar with the exposures that count at some parameters.

        Parameters
        ----------
        at : ndarray [parameter]

        Returns
        -------
        weights : ndarray [look, 6]
            Coefficients of the scalar, in kelvin of the tree's shift.
        offset, rate : ndarray [look, 2, line]
            The exposures passed the limit of the grade, and of the grade above, by the largest of
            ``offset + rate · scalar``: the lines that count at one of `REACHES_K` from the mode. [K], [-]
        """
        from fruitwall.learning.looks_kernel import worst_lines

        beyond, scale, log2h, young, index = (self.arrays[one] for one in (0, 1, 2, 7, 13))
        rows = np.arange(len(young))[:, None]
        lines = []
        for reach in REACHES_K:
            there = at.copy()
            there[0] += reach
            lines.append(worst_lines(there, beyond, scale, log2h, young, index))
        at_mode = lines[REACHES_K.index(0.0)]
        # The duration is that of the exposure that cuts: at grade 0 that of the grade above, which alone does.
        cuts = np.where(np.isfinite(beyond[rows[:, 0], 0, at_mode[:, 0]]), 0, 1)
        cutting = at_mode[rows[:, 0], cuts]
        by_duration = log2h[cutting] / np.maximum(scale[rows[:, 0], cutting], 1e-3)
        offset, rate = np.empty((2, len(young), 2, len(lines)))
        for column in (0, 1):
            line = np.stack([one[:, column] for one in lines], axis=1)
            rate[:, column] = scale[rows, line]
            # Where another line has another duration, the duration's effect is that at the mode.
            apart = log2h[line] - rate[:, column] * by_duration[:, None]
            offset[:, column] = beyond[rows, column, line] + apart * at[2]
        ones = np.ones(len(young))
        return np.stack([ones, young, by_duration, ones, ones, ones], axis=1), offset, rate

    def around_mode(self, sd: Array, spread: float, start: Array | None) -> Gaussian:
        """Give the Gaussian around the mode.

        Which exposure counts for a look depends on the shifts: with it held the problem is smooth, so it is held,
        solved, and looked at again, until it stays (or a few times: a mode may sit where two exposures hurt alike).
        """
        from fruitwall.learning.looks_kernel import look_terms, worst_lines

        beyond, scale, log2h, young, index = (self.arrays[at] for at in (0, 1, 2, 7, 13))
        at = np.zeros(sd.size) if start is None else start
        worst = worst_lines(at, beyond, scale, log2h, young, index)
        for _ in range(ROUNDS):
            held = worst
            got = around_mode(lambda there, held=held: look_terms(there, held, spread, *self.arrays), sd, at)
            at = got.mean
            worst = worst_lines(at, beyond, scale, log2h, young, index)
            if (worst == held).all():
                break
        return got


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
        If a look names a tree that is not given, or a tree comes twice.

    Notes
    -----
    Nested Laplace approximation (`gaussian`), checked against NUTS in the tests: means and spreads.
    """
    layout, data = prepare(trees, looks, durations_h)
    if data is None:
        return _told(layout, looks, None)

    def fit(scales: Array, start: Array | None) -> Gaussian:
        spread = float(np.exp(scales[2]))
        return data.around_mode(layout.sd_at(scales), spread, start)

    def refined(scales: Array, near: Gaussian) -> Gaussian:
        return match(data, layout.sd_at(scales), float(np.exp(scales[2])), near.mean)

    return _told(layout, looks, integrate(fit, HYPER_SD, refined))


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
    looks = sorted(looks, key=lambda one: one.id)
    names = [one.id for one in trees]
    if len(set(names)) != len(names):
        raise ValueError("trees must not come twice")
    if unknown := sorted({one.tree for one in looks} - set(names)):
        raise ValueError(f"looks name trees that are not given: {', '.join(unknown)}")
    layout = Layout(trees, sorted({one.observer for one in looks}))
    return layout, Data(looks, layout, np.asarray(durations_h, dtype=np.float64)) if looks else None


def _told(layout: Layout, looks: Sequence[Look], design: Design | None) -> Learned:
    """Read all shifts from the design; the priors where there were no looks."""

    def shift(weights: Array) -> Shift:
        if design is None:
            return Shift(0.0, float(np.sqrt((weights**2) @ layout.sd**2)))
        means = np.array([weights @ one.mean for one in design.fits])
        variances = np.array([weights @ one.covariance @ weights for one in design.fits])
        mean = float(design.weights @ means)
        return Shift(mean, float(np.sqrt(design.weights @ (variances + (means - mean) ** 2))))

    def single(at: int) -> Shift:
        return shift(np.eye(layout.size)[at])

    scales = {}
    for at, name in enumerate(("kinds", "trees", "spread")):
        if design is None:
            scales[name] = (1.0, float(HYPER_SD[at]))
            continue
        logs = design.points[:, at]
        mean = float(design.weights @ logs)
        scales[name] = (float(np.exp(mean)), float(np.sqrt(design.weights @ (logs - mean) ** 2)))
    return Learned(
        trees={name: shift(layout.shift_of[at]) for at, name in enumerate(layout.kind_of)},
        chill={
            name: shift(layout.chill_of[at]) for at, name in enumerate(layout.kind_of) if name in layout.chill_trees
        },
        kinds={name: single(at) for name, at in layout.kinds.items()},
        observers={name: single(at) for name, at in layout.observers.items()},
        yard=single(0),
        young=single(1),
        scales=scales,
        looks={name: sum(look.tree == name for look in looks) for name in layout.kind_of},
        pulls=_pulls(layout, looks, design),
    )


def _pulls(layout: Layout, looks: Sequence[Look], design: Design | None) -> dict[str, tuple[float, float]]:
    """Give how far each look moved its own tree, at the likeliest scales."""
    near = design.fits[0] if design is not None else None
    if not isinstance(near, Matched):
        return {}
    rows = {name: at for at, name in enumerate(layout.kind_of)}
    found = {}
    for at, look in enumerate(sorted(looks, key=lambda one: one.id)):
        row = rows[look.tree]
        chill = near.pull(at, layout.chill_of[row]) if look.tree in layout.chill_trees else 0.0
        found[look.id] = near.pull(at, layout.shift_of[row]), chill
    return found
