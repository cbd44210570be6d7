"""What a rule set costs and saves per year, with its spread over drawn futures; the fate of every tree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fruitwall.plans.rules.ground import Ground
from fruitwall.plans.rules.outcome import Outcome
from fruitwall.plants.injury import LOSS_SHARES
from fruitwall.plants.tolerance import GRADES

FloatArray = NDArray[np.float64]

HARM_GRADE = 2
"""From this grade on a tree counts as hurt: some leaf burnt. Grade 1 is a leaf that pales."""


@dataclass(frozen=True)
class Spread:
    """A figure per year over drawn futures: in each future the mean of its years is taken first.

    Attributes
    ----------
    mean : float
        Over all futures.
    p10, p50, p90 : float
        So low or lower is the mean of the years in one, five, nine of ten futures. Single years spread far wider.
    error : float
        Standard error of `mean` by the number of draws: how far it may lie from that of endlessly many futures.
    """

    mean: float
    p10: float
    p50: float
    p90: float
    error: float = 0.0


@dataclass(frozen=True)
class TreeTally:
    """What becomes of one tree.

    Attributes
    ----------
    tree, name : str
    loss_chance : float
        Share of futures in which the tree that stands now is lost within the years. [-]
    losses : float
        How many trees are lost in its place over the years, those planted anew with it; mean.
    grade_shares : tuple of float
        Share of winters with each worst grade 0 to 7, among winters in which a tree stood there. They sum to one. [-]
    hurt_share : float
        Share of those winters with grade 2 or worse. [-]
    fruit_lost : float
        Mean share of a crop lost per year, years without a crop counting 0. [-]
    loss : float
        Mean loss per year: the tree by grade and its fruit. [currency]
    standing : tuple of float
        By year: share of futures in which the tree that stands now still stands after its winter. [-]
    """

    tree: str
    name: str
    loss_chance: float
    losses: float
    grade_shares: tuple[float, ...]
    hurt_share: float
    fruit_lost: float
    loss: float
    standing: tuple[float, ...]


@dataclass(frozen=True)
class Tally:
    """What a rule set costs and saves.

    Attributes
    ----------
    years, draws : int
        As played. [years], [-]
    by_grade : tuple of Spread
        Number of trees per winter whose worst injury is each grade, 0 to 7. Where no tree stands none counts.
    hurt : Spread
        Trees per winter with grade 2 or worse.
    trees_lost : Spread
        Trees per winter with grade 7.
    fruit_lost : Spread
        Fruit and bloom per year. [currency]
    minutes, lifts, kwh, wear : Spread
        Work and wear per winter, evening and morning. [min], [-], [kWh], [currency]
    loss : Spread
        Trees by grade at their worth, and fruit, per year. [currency]
    effort : Spread
        Minutes, lifts and energy at the household's prices, and wear, per winter. [currency]
    total : Spread
        Both together. [currency]
    worst_winter_loss : float
        The loss that one single winter in ten reaches or exceeds, over all futures and years. [currency]
    loss_of_year : tuple of float
        Mean loss of each year: it falls where young trees grow out of their tenderness. [currency]
    trees : tuple of TreeTally
        In the yard's order.
    """

    years: int
    draws: int
    by_grade: tuple[Spread, ...]
    hurt: Spread
    trees_lost: Spread
    fruit_lost: Spread
    minutes: Spread
    lifts: Spread
    kwh: Spread
    wear: Spread
    loss: Spread
    effort: Spread
    total: Spread
    worst_winter_loss: float
    loss_of_year: tuple[float, ...]
    trees: tuple[TreeTally, ...]

    @property
    def money(self) -> Spread:
        """What is spent on protecting, per winter. [currency]"""
        return self.effort


def spread_of(values: FloatArray) -> Spread:
    """Give the spread over futures of what each year brings.

    Parameters
    ----------
    values : ndarray, shape (draw, year)

    Returns
    -------
    Spread
    """
    means = values.mean(axis=1)
    p10, p50, p90 = np.quantile(means, (0.1, 0.5, 0.9))
    error = float(means.std(ddof=1) / np.sqrt(means.size)) if means.size > 1 else 0.0
    return Spread(float(means.mean()), float(p10), float(p50), float(p90), error)


def tally(ground: Ground, outcome: Outcome) -> Tally:
    """Count what an outcome brings.

    Parameters
    ----------
    ground : Ground
        What it was played on.
    outcome : Outcome

    Returns
    -------
    Tally
    """
    draws, years, _ = outcome.grade.shape
    steps = [ground.steps[ground.step_at(year)] for year in range(years)]
    worth = np.array([[tree.worth for tree in step.trees] for step in steps])
    crop = np.array([[tree.crop_worth for tree in step.trees] for step in steps])
    fruit = outcome.fruit_lost * crop
    return Tally(
        years=years,
        draws=draws,
        by_grade=tuple(
            spread_of(((outcome.grade == grade) & outcome.stood).sum(axis=2).astype(np.float64))
            for grade in range(len(GRADES))
        ),
        hurt=spread_of((outcome.grade >= HARM_GRADE).sum(axis=2).astype(np.float64)),
        trees_lost=spread_of(outcome.died.sum(axis=2).astype(np.float64)),
        fruit_lost=spread_of(fruit.sum(axis=2)),
        minutes=spread_of(outcome.minutes),
        lifts=spread_of(outcome.lifts),
        kwh=spread_of(outcome.kwh),
        wear=spread_of(outcome.wear),
        loss=spread_of(outcome.loss),
        effort=spread_of(outcome.effort),
        total=spread_of(outcome.loss + outcome.effort),
        worst_winter_loss=float(np.quantile(outcome.loss, 0.9)),
        loss_of_year=tuple(map(float, outcome.loss.mean(axis=0))),
        trees=tuple(_of_tree(ground, outcome, at, fruit[..., at], worth[:, at]) for at in range(worth.shape[1])),
    )


def _of_tree(ground: Ground, outcome: Outcome, at: int, fruit: FloatArray, worth: FloatArray) -> TreeTally:
    """Count one tree; `fruit` [draw, year] and `worth` [year] in money."""
    tree = ground.steps[0].trees[at]
    grade, stood = outcome.grade[..., at], outcome.stood[..., at]
    counts = np.bincount(grade[stood], minlength=len(GRADES))
    shares = counts / max(counts.sum(), 1)
    return TreeTally(
        tree=tree.tree,
        name=tree.name,
        loss_chance=float(outcome.died[..., at].any(axis=1).mean()),
        losses=float(outcome.died[..., at].sum(axis=1).mean()),
        grade_shares=tuple(map(float, shares)),
        hurt_share=float(shares[HARM_GRADE:].sum()),
        fruit_lost=float(outcome.fruit_lost[..., at].mean()),
        loss=float((LOSS_SHARES[grade] * worth + fruit).mean()),
        standing=tuple(map(float, 1.0 - np.maximum.accumulate(outcome.died[..., at], axis=1).mean(axis=0))),
    )
