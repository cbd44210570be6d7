"""What becomes of the trees over the years under what was done.

Notes
-----
Every drawn future is a row of winters. In each of them

- a tree reaches grade g by freezing if for any tissue t, with one standard normal value x for the whole tree,
  ``worst[t] < threshold[t, g] + spread[t] x``: the chance is that of `plants.injury.grade_chances` with the nights of
  the winter joined and the effect of duration at its middle value, exactly. x is what is unknown of the tree, which it
  keeps for life, and the spread within its crown, which every winter draws anew:
  ``x = r life + sqrt(1 - r²) crown`` with ``r = sd / spread`` of the wood;
- chilling and paling have an unknown of their own, as there;
- fruit is lost by the share of the crown that got too cold, with the tree's own unknown.

Then it grows a year older, set back by its injury (`plants.setback`); a lost tree is planted anew or stays away. What
is felt, what is done for it and what that takes are those of the yard's size at which it has grown as much as this tree
has; one that stands smaller than today counts as large as today. docs/winters-model.md tells the whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules.ground import Ground
from fruitwall.plans.rules.luck import CHILL, FREEZE, PALE, Luck, drawn_luck
from fruitwall.plans.rules.nightly import Chosen
from fruitwall.plans.rules.standing import Standing
from fruitwall.plans.rules.went_through import WentThrough, went_through
from fruitwall.plants.injury import LOSS_SHARES
from fruitwall.plants.normal import ndtr
from fruitwall.plants.setback import DEAD, UNKNOWN_AGE_YEARS, age_next_winter, no_crop_years, weak_as
from fruitwall.plants.tolerance import FRUIT, GRADES, LEAF, TWIG

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Ahead:
    """How the future is drawn.

    Attributes
    ----------
    years : int
        How far it is looked ahead. [years]
    draws : int
        How many futures.
    seed : int
    replant : bool
        Whether a lost tree is replaced, at its worth.
    """

    years: int = 30
    draws: int = 64
    seed: int = 1
    replant: bool = True


@dataclass(frozen=True, eq=False)
class Outcome:
    """What became of the trees in every drawn future; the same draws for every rule set, so that they compare.

    Attributes
    ----------
    winter : ndarray of int, shape (draw, year)
        Which winter was drawn.
    grade : ndarray of int8, shape (draw, year, tree)
        Worst grade of the winter; 0 too where there was no tree.
    died : ndarray of bool, shape (draw, year, tree)
    fruit_lost : ndarray, shape (draw, year, tree)
        Share of what it would have carried; 0 in years in which it bears nothing. [-]
    stood : ndarray of bool, shape (draw, year, tree)
        Whether there was a tree at all.
    minutes, lifts, kwh, wear : ndarray, shape (draw, year)
    loss : ndarray, shape (draw, year)
        Trees by grade and fruit, at their worth; a death counts the tree's whole worth, which pays for replanting.
        [currency]
    effort : ndarray, shape (draw, year)
        Minutes, lifts, energy at the household's prices, and wear. [currency]
    """

    winter: NDArray[np.int64]
    grade: NDArray[np.int8]
    died: NDArray[np.bool_]
    fruit_lost: FloatArray
    stood: NDArray[np.bool_]
    minutes: FloatArray
    lifts: FloatArray
    kwh: FloatArray
    wear: FloatArray
    loss: FloatArray
    effort: FloatArray


def play(ground: Ground, chosen: Sequence[Chosen], ahead: Ahead) -> Outcome:
    """Play drawn futures.

    Parameters
    ----------
    ground : Ground
        With the same trees at all sizes.
    chosen : sequence of Chosen
        What was done, one for each of the ground's steps.
    ahead : Ahead

    Returns
    -------
    Outcome
        The same for the same arguments, whatever else runs. Rule sets that are played with the same `ahead` meet the
        same winters and trees of the same luck.

    Raises
    ------
    ValueError
        If the choices are not as many as the steps, or years or draws are below 1.
    """
    if len(chosen) != len(ground.steps):
        raise ValueError(f"one choice is needed for each of {len(ground.steps)} steps, got {len(chosen)}")
    trees = [tree.tree for tree in ground.steps[0].trees]
    if any([tree.tree for tree in step.trees] != trees for step in ground.steps):
        raise ValueError("the same trees must stand at all sizes of the yard")
    luck = drawn_luck(ground.nights.weights, trees, ahead.years, ahead.draws, ahead.seed)
    through = [went_through(ground.nights, step, done) for step, done in zip(ground.steps, chosen, strict=True)]
    standing = [Standing(step) for step in ground.steps]
    shape = (ahead.draws, ahead.years, len(trees))
    grade = np.zeros(shape, dtype=np.int8)
    fruit_lost = np.zeros(shape)
    stood = np.zeros(shape, dtype=np.bool_)
    loss, effort = np.zeros(shape[:2]), np.zeros(shape[:2])
    spent = {name: np.zeros(shape[:2]) for name in ("minutes", "lifts", "kwh", "wear")}
    state = _State(ground, luck)
    worth = np.array([tree.worth for tree in ground.steps[0].trees])
    crop = np.array([tree.crop_worth for tree in ground.steps[0].trees])
    taken = {name: np.stack([getattr(one, name) for one in through]) for name in spent}  # [step, winter, tree]
    every = np.arange(len(trees))
    for year in range(ahead.years):
        winter = luck.winter[:, year]
        sizes = _Sizes(through, state.steps(ground, year), winter)
        hurt, lost = _winter(state, standing[ground.step_at(year)], sizes, luck, year)
        grade[:, year], fruit_lost[:, year], stood[:, year] = hurt, lost, state.there
        loss[:, year] = LOSS_SHARES[hurt] @ worth + lost @ crop
        for name, values in spent.items():
            its = taken[name][sizes.step, winter[:, None], every]
            values[:, year] = np.where(state.there, its, 0.0).sum(axis=1)
        state.on(hurt, luck, year, replant=ahead.replant)
    prices = ground.prices
    effort = (
        spent["minutes"] / 60.0 * prices.per_hour
        + spent["lifts"] * prices.per_lift
        + spent["kwh"] * prices.per_kwh
        + spent["wear"]
    )
    return Outcome(
        winter=luck.winter,
        grade=grade,
        died=grade == DEAD,
        fruit_lost=fruit_lost,
        stood=stood,
        **spent,
        loss=loss,
        effort=effort,
    )


class _Sizes:
    """What the trees of all futures went through in one winter, each at the size that it has, shape (draw, tree)."""

    def __init__(self, through: Sequence[WentThrough], step: IntArray, winter: IntArray) -> None:
        self.step = step
        self._through, self._winter = through, winter
        self._every = np.arange(step.shape[1])
        self.worst_c = self._each([one.worst_c for one in through])

    def _each(self, by_step: Sequence[FloatArray]) -> FloatArray:
        return np.stack(by_step)[self.step, self._winter[:, None], self._every]

    @property
    def pale_level_c(self) -> FloatArray:
        """As `WentThrough` has it. [°C]"""
        return self._each([one.pale_level_c for one in self._through])

    def chill_dose_k_h(self, tree: int, level_c: FloatArray) -> FloatArray:
        """Give the worst chilling of a tree whose leaf suffers below a level, shape (draw,). [K h]"""
        dose = np.zeros(level_c.shape)
        for number in np.unique(self.step[:, tree]):
            its = self.step[:, tree] == number
            dose[its] = self._through[number].chill_dose_k_h(self._winter[its], tree, level_c[its])
        return dose


class _State:
    """How the trees of all futures stand before a winter, shape (draw, tree) each."""

    def __init__(self, ground: Ground, luck: Luck) -> None:
        draws, trees = luck.winter.shape[0], ground.steps[0].trees
        now = np.array([np.nan if tree.age_years is None else tree.age_years for tree in trees])
        shape = (draws, now.size)
        self._now = now
        self.age_years = np.tile(now, (draws, 1))
        self.hurt = np.zeros(shape, dtype=np.int64)
        self.barren = np.zeros(shape, dtype=np.int64)
        self.there = np.ones(shape, dtype=np.bool_)
        self.life = luck.life[:, :, 0].copy()

    def steps(self, ground: Ground, year: int) -> IntArray:
        """Give the size step of each tree: the nearest to how much it has grown since today, of equals the smaller.

        One of unknown age counts as grown until it is cut back or planted anew.
        """
        since = self.age_years - np.where(np.isnan(self._now), UNKNOWN_AGE_YEARS, self._now)
        since = np.where(np.isnan(self.age_years), float(year), np.maximum(since, 0.0))
        away = np.abs(np.array([step.years for step in ground.steps]) - since[..., None])
        return np.asarray(np.argmin(away, axis=-1))

    def on(self, grade: IntArray, luck: Luck, year: int, *, replant: bool) -> None:
        """Let a year pass after a winter."""
        died = grade == DEAD
        if replant:
            # The luck of the next year belongs to what is planted in it.
            coming = min(year + 1, luck.winter.shape[1] - 1)
            self.life = np.where(died, luck.life[:, :, coming], self.life)
        else:
            self.there &= ~died
        self.age_years = age_next_winter(self.age_years, grade)
        self.hurt = weak_as(grade)
        self.barren = np.maximum(self.barren - 1, no_crop_years(grade))


def _winter(state: _State, standing: Standing, through: _Sizes, luck: Luck, year: int) -> tuple[IntArray, FloatArray]:
    """Play one winter of all futures: worst grade, and the share of fruit that is lost, shape (draw, tree) each."""
    rows = standing.rows(state.age_years, state.hurt)
    felt = through.worst_c
    grade = _frozen(state, standing, rows, felt, luck.crown[FREEZE, :, year])
    level = standing.number("chill_level_c", rows)
    for tree in np.flatnonzero(~np.isnan(level).all(axis=0)):
        own = rows[:, tree]
        known = np.nan_to_num(
            level[:, tree] + standing.number("chill_sd_k", own) * state.life[CHILL, :, tree], nan=-99.0
        )
        dose = through.chill_dose_k_h(int(tree), known)
        crown = 8.0 * standing.number("slope_k", own) * luck.crown[CHILL, :, year, tree]
        over = (dose - crown)[:, None] >= standing.chill_dose_k_h[own]
        reached = (over & (dose > 0.0)[:, None]) * np.arange(len(GRADES))
        grade[:, tree] = np.maximum(grade[:, tree], reached.max(axis=-1))
    pale = standing.number("pale_level_c", rows)
    if not np.isnan(pale).all():
        own_level = pale + standing.number("pale_sd_k", rows) * state.life[PALE]
        grade = np.where(own_level >= through.pale_level_c, np.maximum(grade, 1), grade)
    lost = _crop_lost(state, standing, rows, felt)
    return np.where(state.there, grade, 0), np.where(state.there & (state.barren == 0), lost, 0.0)


def _frozen(state: _State, standing: Standing, rows: IntArray, felt: FloatArray, crown: FloatArray) -> IntArray:
    """Worst grade by freezing, shape (draw, tree)."""
    kept = standing.kept[rows]
    unknown = kept * state.life[FREEZE] + np.sqrt(1.0 - kept**2) * crown
    with np.errstate(invalid="ignore"):
        limit = standing.threshold_c[rows] + (standing.spread_k[rows] * unknown[..., None])[..., None]
        reached = (felt[..., None] < limit) * np.arange(len(GRADES))  # never where a limit is NaN
    return np.asarray(reached.max(axis=(-1, -2)))


def _crop_lost(state: _State, standing: Standing, rows: IntArray, felt: FloatArray) -> FloatArray:
    """Share of fruit or bloom that a winter takes, the worse of the two, shape (draw, tree)."""
    slope = np.maximum(standing.number("slope_k", rows), 1e-9)
    at_flower = np.where(np.isinf(felt[..., LEAF]), felt[..., TWIG], felt[..., LEAF])
    lost = np.zeros(rows.shape)
    for what, at in (("fruit", felt[..., FRUIT]), ("flower", at_flower)):
        middle = standing.number(f"{what}_c", rows) + standing.number(f"{what}_sd_k", rows) * state.life[FREEZE]
        with np.errstate(invalid="ignore"):
            lost = np.fmax(lost, ndtr((middle - at) / slope))
    return lost
